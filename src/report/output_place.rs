//! Where an output lands, and whether it may: found from what is on the disk, not from the spelling of
//! paths.

use std::collections::{HashMap, HashSet};
use std::io;
use std::path::{Component, Path, PathBuf};

/// Why files were not written.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum PublishError {
    /// A file exists there already.
    #[error("{} exists and is not replaced", .0.display())]
    Exists(PathBuf),
    /// A file exists there already, in the folder of what describes the run.
    #[error(
        "{} is in the folder of the run's description, where nothing is replaced",
        .0.display()
    )]
    AmongInputs(PathBuf),
    /// The folder holds what another run wrote.
    #[error("{} holds the report of another run", .0.display())]
    OtherReport(PathBuf),
    /// Another run is writing its report into the folder.
    #[error("another run is writing its report into {}", .0.display())]
    InUse(PathBuf),
    /// A folder, link or device exists there.
    #[error("{} is not a regular file and is not replaced", .0.display())]
    NotAFile(PathBuf),
    /// Two files are to have the same name.
    #[error("two files of this run would be {}", .0.display())]
    Twice(PathBuf),
    /// The file to be written is one that was read.
    #[error("{} is an input of this run and is never written", .0.display())]
    Input(PathBuf),
    /// The file would leave the folder of its report.
    #[error("{} would be written outside the folder {}", path.display(), folder.display())]
    Outside {
        /// The file.
        path: PathBuf,
        /// The folder in which all files of the report belong.
        folder: PathBuf,
    },
    /// The name is longer than file systems take.
    #[error(
        "the name of {} has {} bytes; a file's name has at most {LONGEST_NAME}",
        abridged(.0), name_length(.0)
    )]
    NameTooLong(PathBuf),
    /// The operating system refuses.
    #[error("cannot write {}: {source}", path.display())]
    Io {
        /// The file or folder.
        path: PathBuf,
        /// The error behind it.
        source: io::Error,
    },
}

/// What file systems take, in bytes.
const LONGEST_NAME: usize = 255;

fn name_length(path: &Path) -> usize {
    path.file_name().map_or(0, |name| name.as_encoded_bytes().len())
}

/// The start of a path whose name is too long to be shown.
fn abridged(path: &Path) -> String {
    const SHOWN: usize = 60;
    let text = path.display().to_string();
    if text.chars().count() <= SHOWN {
        return text;
    }
    text.chars().take(SHOWN).chain(std::iter::once('…')).collect()
}

/// Finds places; folders that were found once are kept.
#[derive(Default)]
pub(super) struct PlaceFinder {
    folders: HashMap<PathBuf, PathBuf>,
}

impl PlaceFinder {
    /// Where a file would be: its folder with all links resolved, and its name. What is not there yet
    /// will be a folder, so that `..` after it is the folder before.
    pub(super) fn file(&mut self, path: &Path) -> Result<PathBuf, PublishError> {
        let Some(name) = path.file_name() else {
            return Err(PublishError::NotAFile(path.to_owned()));
        };
        if name_length(path) > LONGEST_NAME {
            return Err(PublishError::NameTooLong(path.to_owned()));
        }
        Ok(self.folder(path.parent().unwrap_or(Path::new("")))?.join(name))
    }

    /// A folder with all links resolved, whether it is there or not.
    pub(super) fn folder(&mut self, path: &Path) -> Result<PathBuf, PublishError> {
        if let Some(known) = self.folders.get(path) {
            return Ok(known.clone());
        }
        let current = if path == Path::new("") { Path::new(".") } else { path };
        let whole = std::path::absolute(current)
            .map_err(|source| PublishError::Io { path: path.to_owned(), source })?;
        let mut place = PathBuf::new();
        for component in whole.components() {
            match component {
                Component::ParentDir => {
                    place.pop();
                }
                Component::CurDir => {}
                Component::Normal(name) => {
                    place.push(name);
                    place = place.canonicalize().unwrap_or(place);
                }
                Component::Prefix(_) | Component::RootDir => place.push(component),
            }
        }
        self.folders.insert(path.to_owned(), place.clone());
        Ok(place)
    }
}

/// What a run reads, by places and by what the file system knows the files as.
#[derive(Default)]
pub(super) struct KnownInputs {
    places: HashSet<PathBuf>,
    identities: HashSet<(u64, u64)>,
}

impl KnownInputs {
    pub(super) fn of(inputs: &[PathBuf], finder: &mut PlaceFinder) -> Self {
        let mut known = Self::default();
        for input in inputs {
            known.places.extend(finder.file(input));
            known.places.extend(input.canonicalize());
            known.identities.extend(input.metadata().ok().and_then(|found| identity(&found)));
        }
        known
    }

    /// Whether a place is that of an input, or a second name of one.
    pub(super) fn contains(&self, place: &Path) -> bool {
        let found = place.symlink_metadata().ok().and_then(|found| identity(&found));
        self.places.contains(place) || found.is_some_and(|found| self.identities.contains(&found))
    }
}

/// Device and number of a file, where the system has them.
#[cfg(unix)]
#[expect(clippy::unnecessary_wraps, reason = "other systems have none")]
fn identity(found: &std::fs::Metadata) -> Option<(u64, u64)> {
    use std::os::unix::fs::MetadataExt as _;
    Some((found.dev(), found.ino()))
}

#[cfg(not(unix))]
fn identity(_: &std::fs::Metadata) -> Option<(u64, u64)> {
    None
}

/// The places of files to be written, in their order.
///
/// # Errors
/// [`PublishError`] for the first that must not be written.
pub(super) fn checked_places(
    paths: &[&Path],
    inputs: &KnownInputs,
    overwrite: bool,
    finder: &mut PlaceFinder,
) -> Result<Vec<PathBuf>, PublishError> {
    let mut places = Vec::with_capacity(paths.len());
    let mut taken = HashSet::new();
    for path in paths {
        let place = finder.file(path)?;
        if !taken.insert(place.clone()) {
            return Err(PublishError::Twice((*path).to_owned()));
        }
        if inputs.contains(&place) {
            return Err(PublishError::Input((*path).to_owned()));
        }
        match place.symlink_metadata() {
            Ok(found) if !found.is_file() => {
                return Err(PublishError::NotAFile((*path).to_owned()));
            }
            Ok(_) if !overwrite => return Err(PublishError::Exists((*path).to_owned())),
            _ => {}
        }
        places.push(place);
    }
    Ok(places)
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use super::*;

    #[test]
    fn a_place_is_found_through_folders_that_are_not_there() {
        let folder = tempfile::tempdir().unwrap();
        let root = folder.path().canonicalize().unwrap();
        std::fs::create_dir(root.join("real")).unwrap();
        let mut finder = PlaceFinder::default();
        let mut place = |path: &str| finder.file(&folder.path().join(path)).unwrap();
        assert_eq!(place("gone/../in.s4p"), root.join("in.s4p"));
        assert_eq!(place("real/./../gone/deep/../in.s4p"), root.join("gone/in.s4p"));
        #[cfg(unix)]
        {
            std::os::unix::fs::symlink(root.join("real"), root.join("link")).unwrap();
            assert_eq!(place("link/in.s4p"), root.join("real/in.s4p"));
            // The parent of a link is the parent of its target.
            assert_eq!(place("link/../in.s4p"), root.join("in.s4p"));
            assert_eq!(place("gone/../link/in.s4p"), root.join("real/in.s4p"));
        }
        assert!(matches!(finder.file(Path::new("..")), Err(PublishError::NotAFile(_))));
        let long = finder.file(Path::new(&"長".repeat(90))).unwrap_err().to_string();
        assert!(long.contains("has 270 bytes") && long.len() < 300, "{long}");
    }
}
