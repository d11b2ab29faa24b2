//! Files that appear whole or not at all.

use super::output_place::{KnownInputs, PlaceFinder, PublishError, checked_places};
use rayon::prelude::{IntoParallelRefIterator as _, ParallelIterator as _};
use std::collections::BTreeSet;
use std::fs::File;
use std::io::{self, Write};
use std::path::{Path, PathBuf};
use tempfile::TempPath;

/// A file to be written.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct ReportFile {
    /// The path of the file.
    pub path: PathBuf,
    /// The content of the file.
    pub bytes: Vec<u8>,
}

/// A file whose content is made while it is written, because it is too large for memory.
pub struct StreamedFile<'s> {
    /// The path of the file.
    pub path: PathBuf,
    /// Writes the content.
    pub write: WriteContent<'s>,
}

/// Writes the content of a file: the same bytes whenever it is called.
pub type WriteContent<'s> =
    Box<dyn Fn(&mut (dyn Write + Send)) -> io::Result<()> + Send + Sync + 's>;

/// Writes all files, creating their folders: each first under a temporary name beside its place,
/// then renamed, so that no half file is ever seen. Nothing is renamed until all are written and on
/// the disk, and folders made for files that could not be written are taken away again. What a run
/// that was stopped has left of such files is removed.
///
/// # Errors
/// [`PublishError::Exists`] for a file that exists there and may not be replaced,
/// [`PublishError::NotAFile`] for a folder, link or device in its place, [`PublishError::Twice`]
/// for two files of one name, [`PublishError::Input`] for one of `inputs`, however it is spelled,
/// [`PublishError::NameTooLong`]; [`PublishError::Io`] otherwise.
pub fn publish(
    files: &[ReportFile],
    inputs: &[PathBuf],
    overwrite: bool,
) -> Result<(), PublishError> {
    let paths: Vec<&Path> = files.iter().map(|file| file.path.as_path()).collect();
    let places = check(&paths, inputs, overwrite)?;
    write_to(&files.iter().map(NewFile::of).collect::<Vec<_>>(), &places, overwrite)
}

/// Refuses files that [`publish`] would refuse, before the work that makes them.
///
/// # Errors
/// As [`publish`], but for what comes up when files are written.
pub fn check_outputs(
    paths: &[PathBuf],
    inputs: &[PathBuf],
    overwrite: bool,
) -> Result<(), PublishError> {
    let paths: Vec<&Path> = paths.iter().map(PathBuf::as_path).collect();
    check(&paths, inputs, overwrite).map(drop)
}

fn check(
    paths: &[&Path],
    inputs: &[PathBuf],
    overwrite: bool,
) -> Result<Vec<PathBuf>, PublishError> {
    let mut finder = PlaceFinder::default();
    let known = KnownInputs::of(inputs, &mut finder);
    checked_places(paths, &known, overwrite, &mut finder)
}

/// Writes one of very many files that can be made again: whole or not at all, without waiting for the
/// disk.
///
/// # Errors
/// As [`publish`].
pub fn publish_one_of_many(file: &ReportFile, overwrite: bool) -> Result<(), PublishError> {
    let places = check(&[&file.path], &[], overwrite)?;
    let file = [PlacedFile { file: NewFile::of(file), place: &places[0] }];
    write_all(&file, overwrite, false, &mut Vec::new())
}

/// A file to be written, and its content.
#[derive(Clone, Copy)]
pub(super) struct NewFile<'f> {
    pub(super) path: &'f Path,
    content: Content<'f>,
}

#[derive(Clone, Copy)]
enum Content<'f> {
    Bytes(&'f [u8]),
    Streamed(&'f WriteContent<'f>),
}

impl<'f> NewFile<'f> {
    pub(super) fn of(file: &'f ReportFile) -> Self {
        Self { path: &file.path, content: Content::Bytes(&file.bytes) }
    }

    pub(super) fn streamed(file: &'f StreamedFile<'f>) -> Self {
        Self { path: &file.path, content: Content::Streamed(&file.write) }
    }
}

/// A file and its checked place.
struct PlacedFile<'f> {
    file: NewFile<'f>,
    place: &'f Path,
}

impl PlacedFile<'_> {
    fn folder(&self) -> &Path {
        // A checked place has a name, and so a folder.
        self.place.parent().unwrap_or(self.place)
    }

    fn failed(&self, source: io::Error) -> PublishError {
        PublishError::Io { path: self.file.path.to_owned(), source }
    }
}

/// Writes files to their checked places.
pub(super) fn write_to(
    files: &[NewFile<'_>],
    places: &[PathBuf],
    overwrite: bool,
) -> Result<(), PublishError> {
    let files: Vec<PlacedFile<'_>> =
        files.iter().copied().zip(places).map(|(file, place)| PlacedFile { file, place }).collect();
    let mut made = Vec::new();
    let written = write_all(&files, overwrite, true, &mut made);
    if written.is_err() {
        for folder in made.iter().rev() {
            // One that holds something is not ours alone.
            let _ = std::fs::remove_dir(folder);
        }
    }
    written
}

/// More folders than these are not guarded: each takes a file descriptor.
const MOST_GUARDED_FOLDERS: usize = 32;

fn write_all(
    files: &[PlacedFile<'_>],
    overwrite: bool,
    is_lasting: bool,
    made: &mut Vec<PathBuf>,
) -> Result<(), PublishError> {
    for file in files {
        make_folder(file.folder(), made)?;
    }
    let folders: BTreeSet<&Path> = files.iter().map(PlacedFile::folder).collect();
    let guarded = folders.iter().take(if is_lasting { MOST_GUARDED_FOLDERS } else { 0 });
    // Held until all is renamed, so that no other run takes the unfinished files for left ones.
    let _guards: Vec<File> = guarded.filter_map(|folder| guarded_folder(folder)).collect();
    // Paths are kept and files closed: a process may have few open.
    let write = |file: &PlacedFile<'_>| {
        written_beside(file, is_lasting).map_err(|source| file.failed(source))
    };
    let written: Vec<Result<TempPath, PublishError>> = files.par_iter().map(write).collect();
    let written = written.into_iter().collect::<Result<Vec<TempPath>, _>>()?;
    for (temporary, file) in written.into_iter().zip(files) {
        let renamed = if overwrite {
            temporary.persist(file.place)
        } else {
            temporary.persist_noclobber(file.place)
        };
        renamed.map_err(|error| match error.error.kind() {
            io::ErrorKind::AlreadyExists => PublishError::Exists(file.file.path.to_owned()),
            _ => file.failed(error.error),
        })?;
    }
    if is_lasting {
        for folder in folders {
            // The names last too, where the system can say so of a folder.
            let _ = File::open(folder).and_then(|folder| folder.sync_all());
        }
    }
    Ok(())
}

/// Makes a folder and those above it that are missing, and lists them.
fn make_folder(folder: &Path, made: &mut Vec<PathBuf>) -> Result<(), PublishError> {
    let missing: Vec<&Path> = folder.ancestors().take_while(|folder| !folder.exists()).collect();
    for folder in missing.into_iter().rev() {
        match std::fs::create_dir(folder) {
            Ok(()) => made.push(folder.to_owned()),
            // Another thread or process may have been first.
            Err(_) if folder.is_dir() => {}
            Err(source) => return Err(PublishError::Io { path: folder.to_owned(), source }),
        }
    }
    Ok(())
}

/// Names of files that are not finished.
const PREFIX: &str = ".fourphase-";
const SUFFIX: &str = ".part";

/// A file's content under a temporary name beside its place, closed again.
fn written_beside(file: &PlacedFile<'_>, is_lasting: bool) -> io::Result<TempPath> {
    let mut builder = tempfile::Builder::new();
    builder.prefix(PREFIX).suffix(SUFFIX);
    #[cfg(unix)]
    {
        use std::os::unix::fs::PermissionsExt as _;
        // The user's mask takes away from this what it takes from any new file.
        builder.permissions(std::fs::Permissions::from_mode(0o666));
    }
    let mut temporary = builder.tempfile_in(file.folder())?;
    match file.file.content {
        Content::Bytes(bytes) => temporary.write_all(bytes)?,
        Content::Streamed(write) => write(&mut temporary)?,
    }
    if is_lasting {
        temporary.as_file().sync_all()?;
    }
    Ok(temporary.into_temp_path())
}

/// Opens a folder that is written to, after what stopped runs left in it is removed; none where the
/// system does not lock folders.
fn guarded_folder(folder: &Path) -> Option<File> {
    let guard = File::open(folder).ok()?;
    // Nobody else is writing: what is unfinished stays unfinished.
    if guard.try_lock().is_ok() {
        // What cannot be removed harms nobody.
        let _ = remove_unfinished(folder);
        guard.unlock().ok()?;
    }
    guard.lock_shared().ok()?;
    Some(guard)
}

fn remove_unfinished(folder: &Path) -> io::Result<()> {
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
        // A file has the name of a needed folder: the other folder that was made is removed.
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

    #[test]
    fn an_input_is_known_by_what_it_is() {
        let folder = tempfile::tempdir().unwrap();
        let input = folder.path().join("in.s4p");
        std::fs::write(&input, "data").unwrap();
        let mut roundabout = vec![folder.path().join("gone/../in.s4p")];
        std::fs::hard_link(&input, folder.path().join("second.s4p")).unwrap();
        #[cfg(unix)]
        {
            roundabout.push(folder.path().join("second.s4p"));
            std::os::unix::fs::symlink(folder.path(), folder.path().join("link")).unwrap();
            roundabout.push(folder.path().join("link/in.s4p"));
        }
        for path in roundabout {
            let refused = publish(&[file(path, "x")], std::slice::from_ref(&input), true);
            assert!(matches!(refused, Err(PublishError::Input(_))), "{refused:?}");
            assert_eq!(std::fs::read_to_string(&input).unwrap(), "data");
        }
        assert!(!folder.path().join("gone").exists());
    }

    /// What a signal leaves goes with the next run; what another run is writing stays.
    #[test]
    fn what_is_left_of_a_stopped_run_is_removed() {
        let folder = tempfile::tempdir().unwrap();
        let left = folder.path().join(".fourphase-a1b2c3.part");
        let write =
            |name: &str| publish(&[file(folder.path().join(name), "x")], &[], true).unwrap();
        std::fs::write(&left, "half").unwrap();
        let other = File::open(folder.path()).unwrap();
        other.lock_shared().unwrap();
        write("one");
        assert!(left.exists());
        drop(other);
        write("two");
        assert!(!left.exists());
    }
}
