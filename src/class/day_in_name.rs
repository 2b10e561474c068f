//! The day that a recorder or a file drop wrote into a file's name (ISO 8601, with or without hyphens).

use jiff::civil::Date;

/// The last day that is written in a file's name as `2026-11-20`, `2026_11_20` or `20261120`, also with a time right
/// behind it (`20261120183012`). `None` where there is none: no other order of day and month is guessed at.
pub fn day_in_name(name: &str) -> Option<Date> {
    let bytes = name.as_bytes();
    let digits = |from: usize, count: usize| -> Option<i16> {
        let digits = bytes.get(from..from + count)?;
        digits
            .iter()
            .all(u8::is_ascii_digit)
            .then(|| digits.iter().fold(0, |number, digit| 10 * number + i16::from(digit - b'0')))
    };
    let day_at = |at: usize| {
        let year = digits(at, 4).filter(|year| (2000..2100).contains(year))?;
        let parted = bytes.get(at + 4).is_some_and(|byte| b"-_.".contains(byte));
        let gap = usize::from(parted);
        if parted && bytes.get(at + 7) != bytes.get(at + 4) {
            return None;
        }
        let (month, day) = (digits(at + 4 + gap, 2)?, digits(at + 6 + 2 * gap, 2)?);
        let after = bytes[at + 8 + 2 * gap..].iter().take_while(|byte| byte.is_ascii_digit()).count();
        let alone = after == 0 || (!parted && matches!(after, 4 | 6));
        let first = at == 0 || !bytes[at - 1].is_ascii_digit();
        let date = Date::new(year, i8::try_from(month).ok()?, i8::try_from(day).ok()?).ok()?;
        (alone && first).then_some(date)
    };
    (0..bytes.len()).rev().find_map(day_at)
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn days_of_iso_8601_are_found_and_nothing_else_is() {
        let day = |name| day_in_name(name).map(|day| day.to_string());
        for name in [
            "violin-1 2026-11-20.m4a",
            "2026_11_20/violin-1.m4a",
            "20261120_183012 violin 1.wav",
            "REC20261120183012.wav",
            "2026-01-05 resent 2026.11.20.mp3",
        ] {
            assert_eq!(day(name).as_deref(), Some("2026-11-20"), "{name}");
        }
        for name in [
            "violin-1 20-11-2026.m4a",
            "violin-1 2026-13-20.m4a",
            "2026-02-30",
            "120261120",
            "202611201",
            "2026-1120",
            "take 2026",
            "",
        ] {
            assert_eq!(day(name), None, "{name}");
        }
    }

    proptest! {
        #[test]
        fn a_written_day_is_read_back_and_no_name_breaks_it(
            year in 2000i16..2100, month in 1i8..13, day in 1i8..29, before in "[a-zäß ]{0,9}", other in ".{0,40}",
        ) {
            let date = Date::new(year, month, day).unwrap();
            prop_assert_eq!(day_in_name(&format!("{before}{date}.wav")), Some(date));
            let _ = day_in_name(&other);
        }
    }
}
