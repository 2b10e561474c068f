//! A melody's file name becomes a folder name that every system takes.

/// At most so many characters, so that a path stays short enough for every system.
const LONGEST: usize = 60;

/// Names that Windows keeps for devices (Microsoft, "Naming Files, Paths, and Namespaces").
const RESERVED: [&str; 6] = ["con", "prn", "aux", "nul", "com", "lpt"];

/// A folder's name from the name of a melody: letters, digits, `-` and `_` of any script stay; runs of
/// anything else become one `-`. Never empty, never hidden, never a path, and safe twice is safe once.
pub fn safe_name(name: &str) -> String {
    let mut safe = String::new();
    for letter in name.chars() {
        if safe.chars().count() == LONGEST {
            break;
        }
        if letter.is_alphanumeric() || letter == '_' {
            safe.push(letter);
        } else if !safe.is_empty() && !safe.ends_with('-') {
            safe.push('-');
        }
    }
    let safe = safe.trim_end_matches('-');
    let stem = safe.to_lowercase();
    let stem = stem.trim_end_matches(|letter: char| letter.is_ascii_digit());
    match safe {
        "" => "melody".to_owned(),
        _ if RESERVED.contains(&stem) => format!("melody-{safe}"),
        _ => safe.to_owned(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn usual_names_stay_as_they_are() {
        for name in ["my-melody", "Swing_Gate", "melodie-für-anna", "虹", "8bars"] {
            assert_eq!(safe_name(name), name);
        }
        assert_eq!(safe_name("my melody (2)"), "my-melody-2");
    }

    #[test]
    fn a_name_is_never_a_path_and_never_hidden() {
        assert_eq!(safe_name("../../etc/passwd"), "etc-passwd");
        assert_eq!(safe_name(".hidden"), "hidden");
        assert_eq!(safe_name("--book"), "book");
        assert_eq!(safe_name(".."), "melody");
        assert_eq!(safe_name("CON"), "melody-CON");
        assert_eq!(safe_name("lpt1"), "melody-lpt1");
    }

    proptest! {
        #[test]
        fn any_name_becomes_one_folder(name in any::<String>()) {
            let safe = safe_name(&name);
            prop_assert!(!safe.is_empty() && !safe.starts_with(['-', '.']));
            prop_assert!(safe.chars().all(|one| one.is_alphanumeric() || one == '-' || one == '_'));
            prop_assert!(safe.chars().count() <= LONGEST + "melody-".len());
            prop_assert_eq!(safe_name(&safe), safe);
        }
    }
}
