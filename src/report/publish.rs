//! Files that appear whole or not at all.

use std::io::Write as _;
use std::path::{Path, PathBuf};

/// A file to be written.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct ReportFile {
    /// Where.
    pub path: PathBuf,
    /// What.
    pub bytes: Vec<u8>,
}

/// Why files were not written.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum PublishError {
    /// A file stands there already.
    #[error("{} exists and is not replaced", .0.display())]
    Exists(PathBuf),
    /// A folder, link or device stands there.
    #[error("{} is not a regular file and is not replaced", .0.display())]
    NotAFile(PathBuf),
    /// Two files are to have the same name.
    #[error("two files of this run would be {}", .0.display())]
    Twice(PathBuf),
    /// The file to be written is one that was read.
    #[error("{} is an input of this run and is never written", .0.display())]
    Input(PathBuf),
    /// The operating system refuses.
    #[error("cannot write {}: {source}", path.display())]
    Io {
        /// The file or folder.
        path: PathBuf,
        /// Why.
        source: std::io::Error,
    },
}

/// Writes all files, creating their folders: each first under a temporary name beside its place,
/// then renamed, so that no half file is ever seen. Nothing is renamed until all are written, and
/// folders made for files that could not be written are taken away again.
///
/// # Errors
/// [`PublishError::Exists`] for a file that stands there and may not be replaced,
/// [`PublishError::NotAFile`] for a folder, link or device in its place, [`PublishError::Twice`]
/// for two files of one name, [`PublishError::Input`] for one of `inputs`, [`PublishError::Io`]
/// otherwise.
pub fn publish(
    files: &[ReportFile],
    inputs: &[PathBuf],
    overwrite: bool,
) -> Result<(), PublishError> {
    let inputs: Vec<PathBuf> =
        inputs.iter().filter_map(|input| input.canonicalize().ok()).collect();
    for (at, file) in files.iter().enumerate() {
        if files[..at].iter().any(|earlier| earlier.path == file.path) {
            return Err(PublishError::Twice(file.path.clone()));
        }
        if file.path.canonicalize().is_ok_and(|place| inputs.contains(&place)) {
            return Err(PublishError::Input(file.path.clone()));
        }
        match file.path.symlink_metadata() {
            Ok(found) if !found.is_file() => return Err(PublishError::NotAFile(file.path.clone())),
            Ok(_) if !overwrite => return Err(PublishError::Exists(file.path.clone())),
            _ => {}
        }
    }
    let mut made = Vec::new();
    let written = write_all(files, overwrite, &mut made);
    if written.is_err() {
        for folder in made.iter().rev() {
            // One that holds something is not ours alone.
            let _ = std::fs::remove_dir(folder);
        }
    }
    written
}

fn write_all(
    files: &[ReportFile],
    overwrite: bool,
    made: &mut Vec<PathBuf>,
) -> Result<(), PublishError> {
    let failed = |path: &Path, source| PublishError::Io { path: path.to_owned(), source };
    let mut written = Vec::new();
    for file in files {
        let folder = match file.path.parent() {
            Some(folder) if folder != Path::new("") => folder,
            _ => Path::new("."),
        };
        let missing: Vec<&Path> =
            folder.ancestors().take_while(|folder| !folder.exists()).collect();
        for folder in missing.into_iter().rev().filter(|folder| *folder != Path::new("")) {
            match std::fs::create_dir(folder) {
                Ok(()) => made.push(folder.to_owned()),
                // Another thread or process may have been first.
                Err(_) if folder.is_dir() => {}
                Err(source) => return Err(failed(folder, source)),
            }
        }
        let mut temporary = new_file(folder).map_err(|source| failed(&file.path, source))?;
        temporary.write_all(&file.bytes).map_err(|source| failed(&file.path, source))?;
        written.push((temporary, &file.path));
    }
    for (temporary, path) in written {
        let renamed =
            if overwrite { temporary.persist(path) } else { temporary.persist_noclobber(path) };
        renamed.map_err(|error| match error.error.kind() {
            std::io::ErrorKind::AlreadyExists => PublishError::Exists(path.clone()),
            _ => failed(path, error.error),
        })?;
    }
    Ok(())
}

/// Names of files that are not finished.
const PREFIX: &str = ".fourphase-";
const SUFFIX: &str = ".part";

/// Removes what a killed run left of files that it was writing into a folder.
///
/// # Errors
/// If the operating system refuses.
pub fn remove_unfinished(folder: &Path) -> std::io::Result<()> {
    for entry in std::fs::read_dir(folder)? {
        let entry = entry?;
        let name = entry.file_name();
        let is_ours =
            name.to_str().is_some_and(|name| name.starts_with(PREFIX) && name.ends_with(SUFFIX));
        if is_ours && entry.file_type()?.is_file() {
            std::fs::remove_file(entry.path())?;
        }
    }
    Ok(())
}

/// A temporary file with the permissions of an ordinary one.
fn new_file(folder: &Path) -> std::io::Result<tempfile::NamedTempFile> {
    let mut builder = tempfile::Builder::new();
    builder.prefix(PREFIX).suffix(SUFFIX);
    #[cfg(unix)]
    {
        use std::os::unix::fs::PermissionsExt as _;
        // The user's mask takes away from this what it takes from any new file.
        builder.permissions(std::fs::Permissions::from_mode(0o666));
    }
    builder.tempfile_in(folder)
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use super::*;

    fn file(path: PathBuf, text: &str) -> ReportFile {
        ReportFile { path, bytes: text.as_bytes().to_vec() }
    }

    #[test]
    fn nothing_is_replaced_unasked_and_nothing_is_left_half_done() {
        let folder = tempfile::tempdir().unwrap();
        let (old, new) = (folder.path().join("old.csv"), folder.path().join("deep/er/new.csv"));
        std::fs::write(&old, "mine").unwrap();
        let files = [file(new.clone(), "n"), file(old.clone(), "theirs")];
        assert!(
            matches!(publish(&files, &[], false), Err(PublishError::Exists(path)) if path == old)
        );
        assert_eq!(std::fs::read_to_string(&old).unwrap(), "mine");
        assert!(!new.exists());
        publish(&files, &[], true).unwrap();
        assert_eq!(std::fs::read_to_string(&old).unwrap(), "theirs");
        assert_eq!(std::fs::read_to_string(&new).unwrap(), "n");
        let names: Vec<_> =
            std::fs::read_dir(folder.path()).unwrap().map(|e| e.unwrap().file_name()).collect();
        assert_eq!(names.len(), 2, "{names:?}");
    }

    #[test]
    fn what_is_no_ordinary_file_stays() {
        let folder = tempfile::tempdir().unwrap();
        let place = folder.path().join("place");
        std::fs::create_dir(&place).unwrap();
        assert!(matches!(publish(&[file(place, "x")], &[], true), Err(PublishError::NotAFile(_))));
        let twice = || file(folder.path().join("new/a"), "x");
        assert!(matches!(publish(&[twice(), twice()], &[], true), Err(PublishError::Twice(_))));
        // A file stands where a folder is needed: the other folder made on the way goes again.
        std::fs::write(folder.path().join("blocked"), "x").unwrap();
        let files = [
            file(folder.path().join("new/deep/a"), "x"),
            file(folder.path().join("blocked/b"), "x"),
        ];
        assert!(matches!(publish(&files, &[], true), Err(PublishError::Io { .. })));
        assert!(!folder.path().join("new").exists());
    }

    #[test]
    fn inputs_are_never_written() {
        let folder = tempfile::tempdir().unwrap();
        let input = folder.path().join("in.s4p");
        std::fs::write(&input, "data").unwrap();
        let roundabout = folder.path().join(".").join("in.s4p");
        let refused = publish(&[file(roundabout, "x")], std::slice::from_ref(&input), true);
        assert!(matches!(refused, Err(PublishError::Input(_))));
        assert_eq!(std::fs::read_to_string(&input).unwrap(), "data");
    }
}
