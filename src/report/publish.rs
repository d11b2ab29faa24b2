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
    #[error("{} exists; give --overwrite to replace it", .0.display())]
    Exists(PathBuf),
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
/// then renamed, so that no half file is ever seen. Nothing is renamed until all are written.
///
/// # Errors
/// [`PublishError::Exists`] for a file that stands there and may not be replaced,
/// [`PublishError::Input`] for one of `inputs`, [`PublishError::Io`] otherwise.
pub fn publish(
    files: &[ReportFile],
    inputs: &[PathBuf],
    overwrite: bool,
) -> Result<(), PublishError> {
    let inputs: Vec<PathBuf> =
        inputs.iter().filter_map(|input| input.canonicalize().ok()).collect();
    for file in files {
        if file.path.canonicalize().is_ok_and(|place| inputs.contains(&place)) {
            return Err(PublishError::Input(file.path.clone()));
        }
        if !overwrite && file.path.symlink_metadata().is_ok() {
            return Err(PublishError::Exists(file.path.clone()));
        }
    }
    let failed = |path: &Path, source| PublishError::Io { path: path.to_owned(), source };
    let mut written = Vec::new();
    for file in files {
        let folder = match file.path.parent() {
            Some(folder) if folder != Path::new("") => folder,
            _ => Path::new("."),
        };
        std::fs::create_dir_all(folder).map_err(|source| failed(folder, source))?;
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

/// A temporary file with the permissions of an ordinary one.
fn new_file(folder: &Path) -> std::io::Result<tempfile::NamedTempFile> {
    let mut builder = tempfile::Builder::new();
    builder.prefix(".fourphase-").suffix(".part");
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
