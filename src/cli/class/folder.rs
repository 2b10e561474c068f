//! Everything that lies in the folder of takes, sorted into what it may be; nothing is left out without a word.

use crate::cli::shared::failure::{Failure, said};
use fingertape::class::by_number;
use fingertape::formats::is_melody_ending;
use std::fs;
use std::path::{Path, PathBuf};

/// Folders inside folders are opened down to this depth.
const DEEPEST: usize = 8;
/// Of more files than this nothing is judged: it is not a class's folder.
const MOST: usize = 50_000;

/// A file inside the folder.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Found {
    /// Where it is.
    pub path: PathBuf,
    /// Its path inside the folder, parted by `/`.
    pub name: String,
    /// What it may be.
    pub kind: FoundKind,
}

/// What a file may be, by its name and its kind on the disk; its content is looked at later.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum FoundKind {
    /// Perhaps a recording.
    Take,
    /// A melody by its ending.
    Melody,
    /// Neither: a table, a text, a picture; or the file of a system.
    Other,
    /// It is not looked at, for this reason.
    Refused(String),
}

impl Found {
    /// The parts of the path, the last one without its ending: what a name is looked for in.
    pub fn parts(&self) -> Vec<String> {
        let mut parts: Vec<String> = self.name.split('/').map(str::to_owned).collect();
        if let Some(last) = parts.last_mut()
            && let Some((stem, _)) = last.rsplit_once('.')
            && !stem.is_empty()
        {
            *last = stem.to_owned();
        }
        parts
    }
}

/// The files of a folder and of the folders in it, in the order of their names as people count. `skip` are places that
/// belong to the program or to the class itself.
pub fn files_of(folder: &Path, skip: &[PathBuf]) -> miette::Result<Vec<Found>> {
    let unreadable = |path: &Path, error: std::io::Error| {
        Failure::new(
            format!("the folder {} cannot be read: {}", path.display(), said(&error)),
            "give the folder that the takes are in, and check that you may open it",
        )
    };
    let real = folder.canonicalize().map_err(|error| unreadable(folder, error))?;
    let skip: Vec<PathBuf> = skip.iter().filter_map(|path| path.canonicalize().ok()).collect();
    let mut found = Vec::new();
    let mut folders = vec![(real.clone(), String::new(), 0)];
    while let Some((place, inside, depth)) = folders.pop() {
        let entries = match fs::read_dir(&place) {
            Ok(entries) => entries,
            Err(error) if depth == 0 => return Err(unreadable(&place, error).into()),
            Err(error) => {
                let kind = FoundKind::Refused(format!("the folder cannot be opened: {}", said(&error)));
                found.push(Found { path: place, name: inside, kind });
                continue;
            }
        };
        for entry in entries {
            let entry = entry.map_err(|error| unreadable(&place, error))?;
            let path = entry.path();
            if skip.contains(&path) {
                continue;
            }
            let own = entry.file_name().to_string_lossy().into_owned();
            let name = if inside.is_empty() { own.clone() } else { format!("{inside}/{own}") };
            let refused = |why: &str| FoundKind::Refused(why.to_owned());
            let kind = match entry.file_type() {
                Err(error) => refused(&format!("it cannot be looked at: {}", said(&error))),
                Ok(kind) if kind.is_dir() && depth >= DEEPEST => refused("folders are not opened this deep"),
                Ok(kind) if kind.is_dir() => {
                    folders.push((path, name, depth + 1));
                    continue;
                }
                Ok(kind) if kind.is_symlink() => match path.canonicalize() {
                    Ok(target) if !target.starts_with(&real) => {
                        refused("it is a link that leads out of the folder")
                    }
                    Ok(target) if target.is_file() => by_ending(&own),
                    _ => refused("it is a link to something that is no file"),
                },
                Ok(kind) if !kind.is_file() => refused("it is no file but a pipe or a device"),
                Ok(_) => by_ending(&own),
            };
            found.push(Found { path, name, kind });
            if found.len() > MOST {
                let what = format!("{} holds more than {MOST} files", folder.display());
                return Err(Failure::new(what, "give the folder of one class").into());
            }
        }
    }
    found.sort_by(|one, other| by_number(&one.name, &other.name));
    Ok(found)
}

/// What files are usually called that are no takes.
const NO_TAKES: [&str; 22] = [
    "csv", "xlsx", "xls", "ods", "tsv", "txt", "md", "pdf", "doc", "docx", "odt", "rtf", "html", "htm",
    "json", "png", "jpg", "jpeg", "gif", "heic", "ini", "mid",
];

fn by_ending(name: &str) -> FoundKind {
    let ending = name.rsplit_once('.').map(|(_, ending)| ending.to_lowercase()).unwrap_or_default();
    match ending.as_str() {
        _ if name.starts_with('.') || name.starts_with("~$") || name == "Thumbs.db" => FoundKind::Other,
        melody if is_melody_ending(melody) => FoundKind::Melody,
        other if NO_TAKES.contains(&other) => FoundKind::Other,
        _ => FoundKind::Take,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn files_are_sorted_into_what_they_may_be() {
        let folder = tempfile::tempdir().unwrap();
        let place = |name: &str| folder.path().join(name);
        fs::create_dir_all(place("violin-1/again")).unwrap();
        for name in
            ["violin-1/again/take 10.m4a", "violin-1/again/take 2.m4a", "a.toml", "a.csv", ".DS_Store"]
        {
            fs::write(place(name), "x").unwrap();
        }
        let found = files_of(folder.path(), &[place("a.csv")]).unwrap();
        let names: Vec<(&str, &FoundKind)> = found.iter().map(|one| (one.name.as_str(), &one.kind)).collect();
        assert_eq!(
            names,
            [
                (".DS_Store", &FoundKind::Other),
                ("a.toml", &FoundKind::Melody),
                ("violin-1/again/take 2.m4a", &FoundKind::Take),
                ("violin-1/again/take 10.m4a", &FoundKind::Take),
            ]
        );
        assert_eq!(found[2].parts(), ["violin-1", "again", "take 2"]);
    }

    #[cfg(unix)]
    #[test]
    fn a_link_out_of_the_folder_is_refused_and_one_inside_is_a_file() {
        use std::os::unix::fs::symlink;
        let folder = tempfile::tempdir().unwrap();
        let outside = tempfile::NamedTempFile::new().unwrap();
        fs::write(folder.path().join("real.wav"), "x").unwrap();
        symlink(outside.path(), folder.path().join("out.wav")).unwrap();
        symlink("real.wav", folder.path().join("in.wav")).unwrap();
        symlink("/", folder.path().join("root")).unwrap();
        let found = files_of(folder.path(), &[]).unwrap();
        let kinds: Vec<bool> = found.iter().map(|one| one.kind == FoundKind::Take).collect();
        assert_eq!(kinds, [true, false, true, false], "{found:?}");
    }
}
