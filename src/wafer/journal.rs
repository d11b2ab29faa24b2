//! What has been measured so far, on disk, so that a run that was killed can go on.
//!
//! One line of text per row, in order, behind a line that says what the run is about. A line counts
//! once its end is written: whatever a kill leaves of the next one is cut off when the run goes on.
//! So nothing is counted twice and nothing that was finished is lost. Each line ends in a checksum of
//! its number and its text, so that a journal that was changed is noticed.

use crate::regular_file;
use std::fs::{File, OpenOptions, TryLockError};
use std::io::{BufRead as _, BufReader, Read as _, Seek as _, SeekFrom, Write as _};
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
    /// It is no journal, or its first line was changed.
    #[error("{} is not the journal of a run, or its first line is damaged", .0.display())]
    NotAJournal(PathBuf),
    /// Another process writes it.
    #[error("{} is in use by another run", .0.display())]
    InUse(PathBuf),
    /// A row in it is not as it was written.
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
        /// The error behind it.
        source: std::io::Error,
    },
}

impl JournalError {
    /// What to do about it.
    #[must_use]
    pub fn remedy(&self) -> Option<&'static str> {
        Some(match self {
            Self::Exists(_) => "go on with it, or remove the journal to begin anew",
            Self::OtherRun(_) => {
                "put inputs and settings back as they were to go on with it, or begin anew in \
                 another folder"
            }
            Self::NotAJournal(_) => "move the file away, or choose another folder",
            Self::InUse(_) => "wait until it has ended, or choose another folder",
            Self::Damaged { .. } => "remove the journal to begin anew",
            Self::Io { .. } => return None,
        })
    }
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
        Self::at_start(path, file, subject, origin)
    }

    /// Begins a journal in the place of another run's, if there is one: nobody with these inputs and
    /// settings can go on with it.
    ///
    /// # Errors
    /// [`JournalError::Exists`] for a journal of the same run, which can be gone on with;
    /// [`JournalError::NotAJournal`] for another file; [`JournalError::InUse`]; [`JournalError::Io`].
    pub(crate) fn replace(path: &Path, subject: &str, origin: &str) -> Result<Self, JournalError> {
        let Some(file) = opened(path)? else { return Self::begin(path, subject, origin) };
        let line = first_line_of(&file, path)?;
        if FirstLine::of(&line).is_some_and(|line| line.subject == one_line(subject)) {
            return Err(JournalError::Exists(path.to_owned()));
        }
        if FirstLine::of(&line).is_none() && !is_begun(&line) {
            return Err(JournalError::NotAJournal(path.to_owned()));
        }
        Self::at_start(path, file, subject, origin)
    }

    /// Goes on with the journal of an earlier run, or begins one where there is none.
    ///
    /// # Errors
    /// [`JournalError::OtherRun`] if it is about something else; [`JournalError::NotAJournal`];
    /// [`JournalError::Damaged`] for a row that was changed; [`JournalError::InUse`];
    /// [`JournalError::Io`].
    pub(crate) fn resume(path: &Path, subject: &str, origin: &str) -> Result<Self, JournalError> {
        let failed = |source| JournalError::Io { path: path.to_owned(), source };
        let Some(mut file) = opened(path)? else { return Self::begin(path, subject, origin) };
        let line = first_line_of(&file, path)?;
        match FirstLine::of(&line) {
            Some(line) if line.subject == one_line(subject) => {}
            Some(_) => return Err(JournalError::OtherRun(path.to_owned())),
            // Killed before it knew what it was about.
            None if is_begun(&line) => return Self::at_start(path, file, subject, origin),
            None => return Err(JournalError::NotAJournal(path.to_owned())),
        }
        let (mut whole, mut done) = (line.len() as u64, 0_u64);
        file.seek(SeekFrom::Start(whole)).map_err(failed)?;
        let mut reader = BufReader::new(&file);
        let mut line = Vec::new();
        loop {
            line.clear();
            let length = reader.read_until(b'\n', &mut line).map_err(failed)?;
            let Some(text) = line.strip_suffix(b"\n") else { break };
            if std::str::from_utf8(text).ok().and_then(|text| row_text(done, text)).is_none() {
                return Err(JournalError::Damaged { path: path.to_owned(), row: done + 1 });
            }
            whole += length as u64;
            done += 1;
        }
        file.set_len(whole).map_err(failed)?;
        file.seek(SeekFrom::Start(whole)).map_err(failed)?;
        Ok(Self { path: path.to_owned(), file, done })
    }

    /// A journal of which only the first line is written, into a file whose content is given up.
    fn at_start(
        path: &Path,
        mut file: File,
        subject: &str,
        origin: &str,
    ) -> Result<Self, JournalError> {
        let failed = |source| JournalError::Io { path: path.to_owned(), source };
        file.set_len(0).map_err(failed)?;
        file.seek(SeekFrom::Start(0)).map_err(failed)?;
        let mut journal = Self { path: path.to_owned(), file, done: 0 };
        journal.write(&format!("{}\n", first_line(subject, origin)))?;
        Ok(journal)
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
        let mut text = String::new();
        for (number, row) in (self.done..).zip(rows) {
            push_sealed(&mut text, &one_line(row), number);
        }
        self.write(&text)?;
        self.done += rows.len() as u64;
        Ok(())
    }

    fn write(&mut self, text: &str) -> Result<(), JournalError> {
        // What a killed process has written stays; only a power cut could take it, and waiting for
        // the disk after every batch would slow down all runs.
        let written = self.file.write_all(text.as_bytes());
        written.map_err(|source| JournalError::Io { path: self.path.clone(), source })
    }

    /// What a journal is about, and the origin that was kept beside it.
    ///
    /// # Errors
    /// [`JournalError::Io`] if it cannot be read, [`JournalError::NotAJournal`].
    pub(crate) fn subject(path: &Path) -> Result<(String, String), JournalError> {
        let failed = |source| JournalError::Io { path: path.to_owned(), source };
        let line = first_line_of(&regular_file::open(path).map_err(failed)?, path)?;
        let first = FirstLine::of(&line);
        let first = first.ok_or_else(|| JournalError::NotAJournal(path.to_owned()))?;
        Ok((first.subject.to_owned(), first.origin.to_owned()))
    }

    /// The rows of a journal, read one after the other, with their checksums: [`row_text`] gives what
    /// was added.
    ///
    /// # Errors
    /// [`JournalError::Io`] if it cannot be opened.
    pub(crate) fn rows(
        path: &Path,
    ) -> Result<impl Iterator<Item = Result<String, JournalError>>, JournalError> {
        let failed = |source| JournalError::Io { path: path.to_owned(), source };
        let mut reader = BufReader::new(regular_file::open(path).map_err(failed)?);
        let path = path.to_owned();
        let next = move || {
            let mut line = Vec::new();
            match reader.read_until(b'\n', &mut line) {
                // What is not UTF-8 has no checksum that fits.
                Ok(_) if line.pop() == Some(b'\n') => {
                    Some(Ok(String::from_utf8_lossy(&line).into_owned()))
                }
                // Whatever a kill left of the next row.
                Ok(_) => None,
                Err(source) => Some(Err(JournalError::Io { path: path.clone(), source })),
            }
        };
        Ok(std::iter::from_fn(next).skip(1))
    }
}

/// Opens a journal that may be there, and keeps others out.
fn opened(path: &Path) -> Result<Option<File>, JournalError> {
    let failed = |source| JournalError::Io { path: path.to_owned(), source };
    match regular_file::check(path) {
        Err(error) if error.kind() == std::io::ErrorKind::NotFound => return Ok(None),
        checked => checked.map_err(failed)?,
    }
    let file = OpenOptions::new().read(true).write(true).open(path).map_err(failed)?;
    locked(&file, path)?;
    Ok(Some(file))
}

/// Keeps others out until the file is closed. Where a file system knows no locks nothing is lost but
/// this guard.
fn locked(file: &File, path: &Path) -> Result<(), JournalError> {
    match file.try_lock() {
        Err(TryLockError::WouldBlock) => Err(JournalError::InUse(path.to_owned())),
        Ok(()) | Err(TryLockError::Error(_)) => Ok(()),
    }
}

/// What every journal begins with.
const MARK: &str = "fourphase journal ";
/// Stands between subject, origin and checksum, and between a row and its checksum.
const BETWEEN: char = '\t';
/// Longer first lines are no journal's.
const LONGEST_FIRST_LINE: u64 = 1 << 20;

/// What the first line of a journal says.
struct FirstLine<'l> {
    subject: &'l str,
    origin: &'l str,
}

impl<'l> FirstLine<'l> {
    /// `None` for a line that has no end or was not written as it is.
    fn of(line: &'l [u8]) -> Option<Self> {
        let line = std::str::from_utf8(line.strip_suffix(b"\n")?).ok()?;
        let (subject, origin) = unsealed(line, 0)?.strip_prefix(MARK)?.split_once(BETWEEN)?;
        Some(Self { subject, origin })
    }
}

/// Whether a first line without end may be what a kill left of one.
fn is_begun(line: &[u8]) -> bool {
    let shared = line.len().min(MARK.len());
    line.last() != Some(&b'\n') && line[..shared] == MARK.as_bytes()[..shared]
}

/// The bytes of the first line, with its end where it has one.
fn first_line_of(file: &File, path: &Path) -> Result<Vec<u8>, JournalError> {
    let mut line = Vec::new();
    let read = BufReader::new(file).take(LONGEST_FIRST_LINE).read_until(b'\n', &mut line);
    read.map_err(|source| JournalError::Io { path: path.to_owned(), source })?;
    Ok(line)
}

fn first_line(subject: &str, origin: &str) -> String {
    let text = format!("{MARK}{}{BETWEEN}{}", one_line(subject), one_line(origin));
    format!("{text}{BETWEEN}{:016x}", checksum(0, &text))
}

/// The text of a row, counted from 0, without its checksum; `None` if the two do not fit, or if the
/// row is another's.
pub(crate) fn row_text(number: u64, line: &str) -> Option<&str> {
    // The first line has number 0.
    unsealed(line, number + 1)
}

fn push_sealed(text: &mut String, row: &str, number: u64) {
    text.push_str(row);
    text.push_str(&format!("{BETWEEN}{:016x}\n", checksum(number + 1, row)));
}

fn unsealed(line: &str, number: u64) -> Option<&str> {
    let (text, sum) = line.rsplit_once(BETWEEN)?;
    (sum.len() == 16 && sum == format!("{:016x}", checksum(number, text))).then_some(text)
}

/// The hash of Fowler, Noll and Vo (FNV-1a, 64 bits) of a line's number and its text: every change of
/// one byte changes it, others with all but one part in 2^64.
fn checksum(number: u64, text: &str) -> u64 {
    let add = |hash: u64, byte: u8| (hash ^ u64::from(byte)).wrapping_mul(0x0100_0000_01b3);
    let start = number.to_le_bytes().into_iter().fold(0xcbf2_9ce4_8422_2325, add);
    text.bytes().fold(start, add)
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
        for (at, line) in (0..).zip(&rows) {
            assert_eq!(row_text(at, line), Some(row(at).as_str()));
        }
        assert_eq!(rows.len(), 12);
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
            let refused =
                [Journal::resume(&foreign, "one", ""), Journal::replace(&foreign, "one", "")];
            let is_foreign = |refused| matches!(refused, Err(JournalError::NotAJournal(_)));
            assert!(refused.into_iter().all(is_foreign));
            assert_eq!(std::fs::read_to_string(&foreign).unwrap(), text);
        }
        // Only another run's journal is replaced.
        assert!(matches!(Journal::replace(&path, "one", ""), Err(JournalError::Exists(_))));
        assert_eq!(Journal::replace(&path, "two", "").unwrap().done(), 0);
        assert_eq!(Journal::subject(&path).unwrap().0, "two");
        let missing = folder.path().join("no/such/folder");
        assert!(matches!(Journal::begin(&missing, "one", ""), Err(JournalError::Io { .. })));
    }

    /// Every byte changed, every row left out, doubled or exchanged with the next.
    #[test]
    fn a_changed_journal_is_noticed() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("journal");
        let rows: Vec<String> = (0..4).map(row).collect();
        Journal::begin(&path, "subject", "here").unwrap().add(&rows).unwrap();
        let kept = std::fs::read(&path).unwrap();
        let refused = |bytes: &[u8]| {
            std::fs::write(&path, bytes).unwrap();
            let wrong = Journal::resume(&path, "subject", "here").unwrap_err();
            assert!(wrong.remedy().is_some());
        };
        for at in 0..kept.len() - 1 {
            let mut changed = kept.clone();
            changed[at] ^= 1;
            refused(&changed);
        }
        let lines: Vec<&[u8]> = kept.split_inclusive(|byte| *byte == b'\n').collect();
        for at in 1..lines.len() - 1 {
            refused(&[&lines[..at], &lines[at + 1..]].concat().concat());
            refused(&[&lines[..=at], &lines[at..]].concat().concat());
            let mut exchanged = lines.clone();
            exchanged.swap(at, at + 1);
            refused(&exchanged.concat());
        }
    }
}
