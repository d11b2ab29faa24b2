//! What has been measured so far, on disk, so that a run that was killed can go on.
//!
//! One line of text per row, in order, behind a line that says what the run is about. A line counts
//! once its end is written: whatever a kill leaves of the next one is cut off when the run goes on.
//! So nothing is counted twice and nothing that was finished is lost.

use std::fs::{File, OpenOptions, TryLockError};
use std::io::{BufRead as _, BufReader, Seek as _, SeekFrom, Write as _};
use std::path::{Path, PathBuf};

/// Why a journal cannot be used.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum JournalError {
    /// There is one already.
    #[error("{} holds an unfinished run", .0.display())]
    Exists(PathBuf),
    /// It belongs to another run.
    #[error("{} belongs to a run with other inputs or settings; nothing is mixed", .0.display())]
    OtherRun(PathBuf),
    /// Another process writes it.
    #[error("{} is in use by another run", .0.display())]
    InUse(PathBuf),
    /// A row in it makes no sense.
    #[error("{}: row {row} is damaged; remove it and run again", path.display())]
    Damaged {
        /// The journal.
        path: PathBuf,
        /// Which row, counted from 1.
        row: u64,
    },
    /// The operating system refuses.
    #[error("cannot use {}: {source}", path.display())]
    Io {
        /// The journal.
        path: PathBuf,
        /// Why.
        source: std::io::Error,
    },
}

/// A journal, open at its end.
#[derive(Debug)]
pub(crate) struct Journal {
    path: PathBuf,
    file: File,
    done: u64,
}

impl Journal {
    /// Begins a journal for a run that `subject`, one line, identifies; `origin` is kept beside it for
    /// whoever asks, and compared with nothing.
    ///
    /// # Errors
    /// [`JournalError::Exists`] if there is one; [`JournalError::Io`].
    pub(crate) fn begin(path: &Path, subject: &str, origin: &str) -> Result<Self, JournalError> {
        let opened = OpenOptions::new().write(true).create_new(true).open(path);
        let file = opened.map_err(|source| match source.kind() {
            std::io::ErrorKind::AlreadyExists => JournalError::Exists(path.to_owned()),
            _ => JournalError::Io { path: path.to_owned(), source },
        })?;
        locked(&file, path)?;
        let mut journal = Self { path: path.to_owned(), file, done: 0 };
        journal.write(&[first_line(subject, origin)])?;
        Ok(journal)
    }

    /// Goes on with the journal of an earlier run, or begins one where there is none.
    ///
    /// # Errors
    /// [`JournalError::OtherRun`] if it is about something else; [`JournalError::InUse`];
    /// [`JournalError::Io`].
    pub(crate) fn resume(path: &Path, subject: &str, origin: &str) -> Result<Self, JournalError> {
        let failed = |source| JournalError::Io { path: path.to_owned(), source };
        let mut file = match OpenOptions::new().read(true).write(true).open(path) {
            Ok(file) => file,
            Err(error) if error.kind() == std::io::ErrorKind::NotFound => {
                return Self::begin(path, subject, origin);
            }
            Err(error) => return Err(failed(error)),
        };
        locked(&file, path)?;
        let (mut whole, mut lines) = (0_u64, 0_u64);
        let mut reader = BufReader::new(&file);
        let mut line = Vec::new();
        loop {
            line.clear();
            let length = reader.read_until(b'\n', &mut line).map_err(failed)?;
            if line.last() != Some(&b'\n') {
                break;
            }
            if lines == 0 && subject_of(&line[..line.len() - 1]) != one_line(subject).as_bytes() {
                return Err(JournalError::OtherRun(path.to_owned()));
            }
            whole += length as u64;
            lines += 1;
        }
        if lines == 0 {
            // Killed before it knew what it was about: whatever is there must be a piece of that.
            if !one_line(subject).as_bytes().starts_with(subject_of(&line)) {
                return Err(JournalError::OtherRun(path.to_owned()));
            }
            file.set_len(0).map_err(failed)?;
            file.seek(SeekFrom::Start(0)).map_err(failed)?;
            let mut journal = Self { path: path.to_owned(), file, done: 0 };
            journal.write(&[first_line(subject, origin)])?;
            return Ok(journal);
        }
        file.set_len(whole).map_err(failed)?;
        file.seek(SeekFrom::Start(whole)).map_err(failed)?;
        Ok(Self { path: path.to_owned(), file, done: lines - 1 })
    }

    /// How many rows are done.
    pub(crate) fn done(&self) -> u64 {
        self.done
    }

    /// Adds rows that are done; line ends within them become blanks.
    ///
    /// # Errors
    /// [`JournalError::Io`]; what was whole before stays whole.
    pub(crate) fn add(&mut self, rows: &[String]) -> Result<(), JournalError> {
        let lines: Vec<String> = rows.iter().map(|row| one_line(row)).collect();
        self.write(&lines)?;
        self.done += rows.len() as u64;
        Ok(())
    }

    fn write(&mut self, lines: &[String]) -> Result<(), JournalError> {
        let mut text = lines.join("\n");
        if !lines.is_empty() {
            text.push('\n');
        }
        // What a killed process has written stays; only a power cut could take it, and waiting for
        // the disk after every batch would slow down all runs.
        let written = self.file.write_all(text.as_bytes());
        written.map_err(|source| JournalError::Io { path: self.path.clone(), source })
    }

    /// What a journal is about, and the origin that was kept beside it.
    ///
    /// # Errors
    /// [`JournalError::Io`] if it cannot be read.
    pub(crate) fn subject(path: &Path) -> Result<(String, String), JournalError> {
        let failed = |source| JournalError::Io { path: path.to_owned(), source };
        let file = File::open(path).map_err(failed)?;
        let mut line = String::new();
        BufReader::new(file).read_line(&mut line).map_err(failed)?;
        let line = line.trim_end_matches('\n');
        let (subject, origin) = line.split_once(BETWEEN).unwrap_or((line, ""));
        Ok((subject.to_owned(), origin.to_owned()))
    }

    /// The rows of a journal, read one after the other.
    ///
    /// # Errors
    /// [`JournalError::Io`] if it cannot be opened.
    pub(crate) fn rows(
        path: &Path,
    ) -> Result<impl Iterator<Item = Result<String, JournalError>>, JournalError> {
        let failed = |source| JournalError::Io { path: path.to_owned(), source };
        let mut reader = BufReader::new(File::open(path).map_err(failed)?);
        let path = path.to_owned();
        let next = move || {
            let mut line = String::new();
            match reader.read_line(&mut line) {
                Ok(_) if line.pop() == Some('\n') => Some(Ok(line)),
                // Whatever a kill left of the next row.
                Ok(_) => None,
                Err(source) => Some(Err(JournalError::Io { path: path.clone(), source })),
            }
        };
        Ok(std::iter::from_fn(next).skip(1))
    }
}

/// Keeps others out until the file is closed. Where a file system knows no locks nothing is lost but
/// this guard.
fn locked(file: &File, path: &Path) -> Result<(), JournalError> {
    match file.try_lock() {
        Err(TryLockError::WouldBlock) => Err(JournalError::InUse(path.to_owned())),
        Ok(()) | Err(TryLockError::Error(_)) => Ok(()),
    }
}

/// Stands between subject and origin.
const BETWEEN: char = '\t';

fn first_line(subject: &str, origin: &str) -> String {
    format!("{}{BETWEEN}{}", one_line(subject), one_line(origin))
}

fn subject_of(line: &[u8]) -> &[u8] {
    line.split(|byte| *byte == BETWEEN as u8).next().unwrap_or(line)
}

fn one_line(text: &str) -> String {
    text.replace(['\n', '\r', BETWEEN], " ")
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use super::*;

    fn row(at: u64) -> String {
        format!("row {at}, ünï {}", at * at)
    }

    /// Cut at every byte, as a kill may: what is finished afterwards is what one run gives.
    #[test]
    fn a_run_goes_on_from_wherever_it_was_killed() {
        let folder = tempfile::tempdir().unwrap();
        let whole = folder.path().join("whole");
        let mut journal = Journal::begin(&whole, "subject", "here").unwrap();
        for at in 0..12 {
            journal.add(&[row(at)]).unwrap();
        }
        let want = std::fs::read(&whole).unwrap();
        for cut in 0..=want.len() {
            let path = folder.path().join("cut");
            std::fs::write(&path, &want[..cut]).unwrap();
            let mut journal = Journal::resume(&path, "subject", "here").unwrap();
            let done = journal.done();
            let rest: Vec<String> = (done..12).map(row).collect();
            journal.add(&rest).unwrap();
            assert_eq!(std::fs::read(&path).unwrap(), want, "cut at {cut}, {done} done");
        }
        let rows: Vec<String> = Journal::rows(&whole).unwrap().map(Result::unwrap).collect();
        assert!(rows.iter().cloned().eq((0..12).map(row)));
    }

    #[test]
    fn runs_are_not_mixed() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("journal");
        let mut journal = Journal::resume(&path, "one", "").unwrap();
        journal.add(&["a\nb".to_owned()]).unwrap();
        assert!(matches!(Journal::begin(&path, "one", ""), Err(JournalError::Exists(_))));
        // Two that wrote the same rows in turns would spoil it.
        assert!(matches!(Journal::resume(&path, "one", ""), Err(JournalError::InUse(_))));
        drop(journal);
        assert!(matches!(Journal::resume(&path, "two", ""), Err(JournalError::OtherRun(_))));
        // Wherever it was begun.
        assert_eq!(Journal::resume(&path, "one", "elsewhere").unwrap().done(), 1);
        assert_eq!(Journal::subject(&path).unwrap(), ("one".to_owned(), String::new()));
        // A file of somebody else's is not taken for a journal, and stays as it is.
        let foreign = folder.path().join("foreign");
        for text in ["my notes", "my notes\nmore\n"] {
            std::fs::write(&foreign, text).unwrap();
            assert!(matches!(Journal::resume(&foreign, "one", ""), Err(JournalError::OtherRun(_))));
            assert_eq!(std::fs::read_to_string(&foreign).unwrap(), text);
        }
        let missing = folder.path().join("no/such/folder");
        assert!(matches!(Journal::begin(&missing, "one", ""), Err(JournalError::Io { .. })));
    }
}
