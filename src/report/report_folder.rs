//! A folder that holds the report of one run, and the list of what that run wrote into it.
//!
//! The list lets a run that replaces an earlier one remove what the earlier wrote and it does not:
//! no old file remains beside new results, and nothing else is touched. Only one run at a time writes
//! into a folder.

use super::files_error::FilesError;
use super::output_place::{KnownInputs, PlaceFinder, PublishError, checked_places};
use super::publish::{NewFile, ReportFile, StreamedFile, write_to};
use super::text_table::filled;
use crate::diagnostic::printable;
use crate::regular_file::{self, is_at};
use serde::{Deserialize, Serialize};
use std::collections::BTreeSet;
use std::fs::{File, OpenOptions, TryLockError};
use std::path::{Component, Path, PathBuf};

/// The list of a report's files, in its folder.
pub const LIST_OF_FILES: &str = ".fourphase-files";

/// The document that most reports have, in their folder.
pub const REPORT_DOCUMENT: &str = "report.json";

/// The printed text of a report, in its folder.
pub const PRINTED_REPORT: &str = "report.txt";

/// The printed text and, below it, the warnings, which a reader of the folder alone would not see.
pub(super) fn printed_report(text: &str, warnings: &[String]) -> Vec<u8> {
    let mut printed = text.to_owned();
    if !warnings.is_empty() {
        printed.push_str("\nWarnings:\n");
        printed.extend(warnings.iter().map(|warning| filled(&printable(warning))));
    }
    printed.into_bytes()
}

/// Nobody's list is longer.
const LONGEST_LIST: u64 = 1 << 28;

/// The content of the list.
#[derive(Debug, Default, Serialize, Deserialize)]
struct FileList {
    /// What identifies the run whose report is complete; none while it is written.
    #[serde(default)]
    run: Option<String>,
    /// What identifies the run that is writing its report, or was stopped while it did.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    writing: Option<String>,
    /// Relative to the folder.
    fourphase_files: BTreeSet<String>,
}

/// A folder for the report of one run.
#[derive(Clone, Copy, Debug)]
pub struct ReportFolder<'r> {
    /// The folder; made if it is not there.
    pub folder: &'r Path,
    /// What is read and never written.
    pub inputs: &'r [PathBuf],
    /// Whether files that exist are replaced, and what an earlier run wrote is removed.
    pub overwrite: bool,
    /// The description of the run, in whose own folder nothing is replaced all the same.
    pub description: Option<&'r Path>,
}

impl ReportFolder<'_> {
    /// Refuses files that [`ReportFolder::publish`] would refuse, before the work that makes them.
    ///
    /// # Errors
    /// As [`ReportFolder::publish`], but for what comes up when files are written.
    pub fn check<P: AsRef<Path>>(&self, paths: &[P]) -> Result<(), PublishError> {
        let paths: Vec<&Path> = paths.iter().map(AsRef::as_ref).collect();
        let mut finder = PlaceFinder::default();
        let known = KnownInputs::of(self.inputs, &mut finder);
        self.checked(&paths, &known, &mut finder).map(drop)
    }

    /// Writes the files of a report, which are all in the folder or below, and those `beside` it,
    /// which may be anywhere; both completely or not at all. `run` identifies the run for
    /// [`finished_run`].
    ///
    /// # Errors
    /// [`PublishError::Outside`] for a file of the report that is not in the folder or below, links
    /// resolved; [`PublishError::OtherReport`] and [`PublishError::AmongInputs`] for what is not
    /// replaced; [`PublishError::InUse`] while another run writes into the folder; otherwise as
    /// [`publish`](super::publish()).
    pub fn publish(
        &self,
        files: &[ReportFile],
        beside: &[ReportFile],
        run: Option<&str>,
    ) -> Result<(), FilesError> {
        self.publish_with(files, &[], beside, run)
    }

    /// The same with files of the report that are made while they are written.
    ///
    /// # Errors
    /// As [`ReportFolder::publish`].
    pub fn publish_with(
        &self,
        files: &[ReportFile],
        streamed: &[StreamedFile<'_>],
        beside: &[ReportFile],
        run: Option<&str>,
    ) -> Result<(), FilesError> {
        let streamed = streamed.iter().map(NewFile::streamed);
        let own: Vec<NewFile<'_>> = files.iter().map(NewFile::of).chain(streamed).collect();
        let beside: Vec<NewFile<'_>> = beside.iter().map(NewFile::of).collect();
        // Before a folder is made for what is refused.
        let (root, ..) = self.places(&own, &beside)?;
        let made: Vec<&Path> = root.ancestors().take_while(|folder| !folder.exists()).collect();
        let written = std::fs::create_dir_all(&root)
            .map_err(|source| PublishError::Io { path: root.clone(), source }.into())
            .and_then(|()| {
                let _lock = FolderLock::take(&root)?;
                self.write_locked(&own, &beside, run)
            });
        if written.is_err() {
            made.into_iter().for_each(|folder| drop(std::fs::remove_dir(folder)));
        }
        written
    }

    /// The folder with all links resolved, where the files will be, and what is never written.
    fn places(
        &self,
        own: &[NewFile<'_>],
        beside: &[NewFile<'_>],
    ) -> Result<(PathBuf, Vec<PathBuf>, KnownInputs), PublishError> {
        let mut finder = PlaceFinder::default();
        let known = KnownInputs::of(self.inputs, &mut finder);
        let paths: Vec<&Path> = own.iter().map(|file| file.path).collect();
        self.checked(&paths, &known, &mut finder)?;
        let paths: Vec<&Path> = own.iter().chain(beside).map(|file| file.path).collect();
        let places = checked_places(&paths, &known, self.overwrite, &mut finder)?;
        Ok((finder.folder(self.folder)?, places, known))
    }

    /// Writes the files into a folder that this run has locked.
    fn write_locked(
        &self,
        own: &[NewFile<'_>],
        beside: &[NewFile<'_>],
        run: Option<&str>,
    ) -> Result<(), FilesError> {
        // Another run may have written since they were found first.
        let (root, places, known) = self.places(own, beside)?;
        let names: BTreeSet<String> =
            places.iter().filter_map(|place| name_below(&root, place)).collect();
        let former = read_list(&root).unwrap_or_default();
        // A run that is stopped from here on leaves a list of all that may be there.
        let all = former.fourphase_files.union(&names).cloned().collect();
        let run = run.map(str::to_owned);
        let list = FileList { run: None, writing: run.clone(), fourphase_files: all };
        let had_list = root.join(LIST_OF_FILES).exists();
        write_list(&root, &list)?;
        let files: Vec<NewFile<'_>> = own.iter().chain(beside).copied().collect();
        if let Err(error) = write_to(&files, &places, self.overwrite) {
            // Without success nothing is left behind, and what is not written is not listed.
            if had_list {
                let _ = write_list(&root, &former);
            } else {
                let _ = std::fs::remove_file(root.join(LIST_OF_FILES));
            }
            return Err(error.into());
        }
        for name in former.fourphase_files.difference(&names) {
            remove_former(&root, name, &known)?;
        }
        write_list(&root, &FileList { run, writing: None, fourphase_files: names })
    }

    fn checked(
        &self,
        paths: &[&Path],
        known: &KnownInputs,
        finder: &mut PlaceFinder,
    ) -> Result<Vec<PathBuf>, PublishError> {
        let places = checked_places(paths, known, self.overwrite, finder)?;
        let root = finder.folder(self.folder)?;
        for (place, path) in places.iter().zip(paths) {
            if !place.starts_with(&root) {
                let (path, folder) = ((*path).to_owned(), self.folder.to_owned());
                return Err(PublishError::Outside { path, folder });
            }
        }
        let list = root.join(LIST_OF_FILES);
        if let Some(at) = places.iter().position(|place| *place == list) {
            return Err(PublishError::Twice(paths[at].to_owned()));
        }
        if !self.overwrite && list.symlink_metadata().is_ok() {
            return Err(PublishError::OtherReport(self.folder.to_owned()));
        }
        let home = self.description.map(|description| finder.file(description)).transpose()?;
        if home.is_some_and(|home| home.parent() == Some(root.as_path())) {
            let existing = places.iter().zip(paths).find(|(place, _)| place.exists());
            if let Some((_, path)) = existing {
                return Err(PublishError::AmongInputs((*path).to_owned()));
            }
        }
        Ok(places)
    }
}

/// What identifies the run whose complete report a folder holds; `None` where it holds none, or where
/// a file of it is gone.
#[must_use]
pub fn finished_run(folder: &Path) -> Option<String> {
    let list = read_list(folder)?;
    let is_there = |name: &String| folder.join(name).is_file();
    list.run.filter(|_| list.fourphase_files.iter().all(is_there))
}

/// What identifies the run that was stopped while it wrote its report into a folder; `None` where none
/// was.
#[must_use]
pub fn interrupted_run(folder: &Path) -> Option<String> {
    read_list(folder)?.writing
}

/// Removes what a run has left of its lock that was stopped after its report was complete; not the lock
/// of a run that is at work.
pub fn remove_left_lock(folder: &Path) {
    if folder.join(LOCK).exists() {
        drop(FolderLock::take(folder));
    }
}

/// The name of the file that is locked while a report is written.
const LOCK: &str = ".fourphase-lock";

/// A folder into which no other run writes its report. The file of the lock is gone afterwards.
struct FolderLock {
    path: PathBuf,
    _file: File,
}

impl FolderLock {
    fn take(root: &Path) -> Result<Self, PublishError> {
        let path = root.join(LOCK);
        let failed = |source| PublishError::Io { path: path.clone(), source };
        loop {
            let mut open = OpenOptions::new();
            let file = open.write(true).create(true).truncate(false).open(&path).map_err(failed)?;
            match file.try_lock() {
                Err(TryLockError::WouldBlock) => return Err(PublishError::InUse(root.to_owned())),
                // A file system without locks only lacks this protection.
                Ok(()) | Err(TryLockError::Error(_)) => {}
            }
            // Another run may have ended, and removed the file, between opening and locking.
            if is_at(&file, &path).map_err(failed)? {
                return Ok(Self { path, _file: file });
            }
        }
    }
}

impl Drop for FolderLock {
    fn drop(&mut self) {
        // A file that stays locks nothing.
        let _ = std::fs::remove_file(&self.path);
    }
}

/// A place as the list has it: relative to the folder, with `/` between folders.
fn name_below(root: &Path, place: &Path) -> Option<String> {
    let parts = place.strip_prefix(root).ok()?.components();
    let parts: Vec<&str> =
        parts.map(|part| part.as_os_str().to_str()).collect::<Option<Vec<_>>>()?;
    Some(parts.join("/"))
}

/// The list of a folder; `None` where there is none that can be read.
fn read_list(folder: &Path) -> Option<FileList> {
    let bytes = regular_file::read(&folder.join(LIST_OF_FILES), LONGEST_LIST).ok()?;
    serde_json::from_slice(&bytes).ok()
}

fn write_list(root: &Path, list: &FileList) -> Result<(), FilesError> {
    let mut bytes = serde_json::to_vec_pretty(list)?;
    bytes.push(b'\n');
    let place = root.join(LIST_OF_FILES);
    let file = ReportFile { path: place.clone(), bytes };
    Ok(write_to(&[NewFile::of(&file)], &[place], true)?)
}

/// Removes a file of the former run. What the list names outside its folder, what is no regular file
/// and what this run reads stays.
fn remove_former(root: &Path, name: &str, known: &KnownInputs) -> Result<(), PublishError> {
    let relative = Path::new(name);
    let is_below = relative.components().all(|part| matches!(part, Component::Normal(_)));
    let place = root.join(relative);
    let folder = place.parent().and_then(|folder| folder.canonicalize().ok());
    let is_file = place.symlink_metadata().is_ok_and(|found| found.is_file());
    let is_inside = folder.is_some_and(|folder| folder.starts_with(root));
    if !is_below || !is_file || !is_inside || known.contains(&place) {
        return Ok(());
    }
    std::fs::remove_file(&place).map_err(|source| PublishError::Io { path: place, source })
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use super::*;

    /// Publishes files of these names into the folder `out` of a folder.
    fn report(root: &Path, names: &[&str], overwrite: bool) -> Result<(), FilesError> {
        let out = root.join("out");
        let file = |name: &&str| ReportFile { path: out.join(name), bytes: name.as_bytes().into() };
        let files: Vec<ReportFile> = names.iter().map(file).collect();
        let description = Some(root.join("recipe.toml"));
        let description = description.as_deref();
        let folder = ReportFolder { folder: &out, inputs: &[], overwrite, description };
        folder.publish(&files, &[], Some("run"))
    }

    #[test]
    fn what_a_former_run_wrote_goes_and_nothing_else() {
        let root = tempfile::tempdir().unwrap();
        let path = |name: &str| root.path().join("out").join(name);
        report(root.path(), &["a.csv", "b.png", "deep/c.png"], false).unwrap();
        assert_eq!(finished_run(&path("")).as_deref(), Some("run"));
        std::fs::write(path("mine.txt"), "mine").unwrap();
        let refused = report(root.path(), &["d.csv"], false).unwrap_err();
        assert!(refused.to_string().contains("the report of another run"), "{refused}");
        report(root.path(), &["a.csv", "d.csv"], true).unwrap();
        for (name, is_there) in
            [("a.csv", true), ("b.png", false), ("deep/c.png", false), ("mine.txt", true)]
        {
            assert_eq!(path(name).exists(), is_there, "{name}");
        }
        // A file that this run writes beside its report stays, wherever it is.
        let beside = [ReportFile { path: path("d.csv"), bytes: b"new".to_vec() }];
        let out = path("");
        let folder = ReportFolder { folder: &out, inputs: &[], overwrite: true, description: None };
        folder.publish(&[], &beside, Some("run")).unwrap();
        assert!(path("d.csv").exists() && !path("a.csv").exists());
        assert_eq!(finished_run(&out).as_deref(), Some("run"));
        std::fs::remove_file(path("d.csv")).unwrap();
        assert_eq!(finished_run(&out), None);
        let refused = report(root.path(), &[LIST_OF_FILES], true).unwrap_err();
        assert!(refused.to_string().contains("two files"), "{refused}");
    }

    /// A run that comes while another writes is refused and changes nothing; what a stopped run has left
    /// of its lock stops nobody.
    #[test]
    fn one_run_at_a_time_writes() {
        let root = tempfile::tempdir().unwrap();
        let out = root.path().join("out");
        std::fs::create_dir(&out).unwrap();
        let other = FolderLock::take(&out).unwrap();
        let refused = report(root.path(), &["a.csv"], false).unwrap_err();
        assert!(refused.to_string().contains("another run is writing"), "{refused}");
        assert_eq!(std::fs::read_dir(&out).unwrap().count(), 1);
        drop(other);
        std::fs::write(out.join(LOCK), "").unwrap();
        report(root.path(), &["a.csv"], false).unwrap();
        assert!(!out.join(LOCK).exists());
        assert_eq!(interrupted_run(&out), None);
        // After a kill between the report's end and the removal of its lock, and while a run works.
        std::fs::write(out.join(LOCK), "").unwrap();
        remove_left_lock(&out);
        assert!(!out.join(LOCK).exists());
        let at_work = FolderLock::take(&out).unwrap();
        remove_left_lock(&out);
        assert!(out.join(LOCK).exists());
        drop(at_work);
    }

    /// Files that cannot be made leave nothing, also where they are made while they are written.
    #[test]
    fn a_file_that_cannot_be_made_leaves_nothing() {
        let root = tempfile::tempdir().unwrap();
        let out = root.path().join("new/out");
        let folder =
            ReportFolder { folder: &out, inputs: &[], overwrite: false, description: None };
        let fails = StreamedFile {
            path: out.join("a.parquet"),
            write: Box::new(|to| {
                to.write_all(b"half")?;
                Err(std::io::Error::other("its rows are damaged"))
            }),
        };
        let file = ReportFile { path: out.join("b.csv"), bytes: b"x".to_vec() };
        let files = std::slice::from_ref(&file);
        let refused = folder.publish_with(files, &[fails], &[], Some("run")).unwrap_err();
        assert!(refused.to_string().contains("a.parquet: its rows are damaged"), "{refused}");
        assert!(!root.path().join("new").exists());
        let made = StreamedFile {
            path: out.join("a.parquet"),
            write: Box::new(|to| to.write_all(b"all")),
        };
        folder.publish_with(files, &[made], &[], Some("run")).unwrap();
        assert_eq!(std::fs::read(out.join("a.parquet")).unwrap(), b"all");
        assert_eq!(finished_run(&out).as_deref(), Some("run"));
    }

    #[test]
    fn a_list_removes_nothing_outside_its_folder() {
        let root = tempfile::tempdir().unwrap();
        report(root.path(), &["a.csv"], false).unwrap();
        let outside = root.path().join("precious");
        std::fs::write(&outside, "mine").unwrap();
        let list = FileList {
            run: None,
            writing: None,
            fourphase_files: ["../precious", "a.csv", &outside.display().to_string()]
                .map(str::to_owned)
                .into(),
        };
        let place = root.path().join("out").join(LIST_OF_FILES);
        std::fs::write(&place, serde_json::to_vec(&list).unwrap()).unwrap();
        report(root.path(), &["b.csv"], true).unwrap();
        assert!(outside.exists() && !root.path().join("out/a.csv").exists());
        // Nor does it stop a run where it is no list.
        std::fs::write(&place, "my notes").unwrap();
        report(root.path(), &["b.csv"], true).unwrap();
    }

    #[test]
    fn a_report_stays_in_its_folder_and_replaces_nothing_beside_its_description() {
        let root = tempfile::tempdir().unwrap();
        let refused = report(root.path(), &["a.csv", "../b.csv"], true).unwrap_err();
        assert!(refused.to_string().contains("outside the folder"), "{refused}");
        assert!(!root.path().join("out").exists());
        #[cfg(unix)]
        {
            std::fs::create_dir_all(root.path().join("out")).unwrap();
            std::os::unix::fs::symlink(root.path(), root.path().join("out/link")).unwrap();
            let refused = report(root.path(), &["link/b.csv"], true).unwrap_err();
            assert!(refused.to_string().contains("outside the folder"), "{refused}");
        }
        let file = ReportFile { path: root.path().join("a.csv"), bytes: b"x".to_vec() };
        let description = Some(root.path().join("recipe.toml"));
        let description = description.as_deref();
        let folder =
            ReportFolder { folder: root.path(), inputs: &[], overwrite: true, description };
        folder.publish(std::slice::from_ref(&file), &[], None).unwrap();
        let refused = folder.publish(&[file], &[], None).unwrap_err();
        assert!(refused.to_string().contains("nothing is replaced"), "{refused}");
    }
}
