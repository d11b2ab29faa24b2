//! The journal of measured dies on disk, from which an interrupted run can be resumed.
//!
//! The first line identifies the run; one line per row follows, in order. A line is valid once its
//! end is written: an incomplete line left by an interruption is removed when the run is resumed.
//! No row is counted twice and no finished row is lost. Each line ends in a checksum of its number
//! and its text, which detects changes of the journal.
//!
//! Data written by a killed process are kept by the system. Against a power failure the journal is
//! flushed to the disk once a second, and at its end. Blocks of a file that a power failure leaves
//! unwritten read as zeros, which no row contains: from the first such row on the journal is cut off, and
//! the rows are measured again.

use crate::regular_file::{self, is_at};
use std::fs::{File, OpenOptions, TryLockError};
use std::io::{BufRead as _, BufReader, Read as _, Seek as _, SeekFrom, Write as _};
use std::path::{Path, PathBuf};
use std::time::{Duration, Instant};

/// The reason for which a journal cannot be used.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum JournalError {
    /// There is already a journal.
    #[error("{} holds an unfinished run", .0.display())]
    Exists(PathBuf),
    /// The journal belongs to another run.
    #[error("{} belongs to a run with other inputs or settings; results of different runs are not mixed", .0.display())]
    OtherRun(PathBuf),
    /// The file is not a journal, or its first line was changed.
    #[error("{} is not the journal of a run, or its first line is damaged", .0.display())]
    NotAJournal(PathBuf),
    /// Another process is writing the journal.
    #[error("{} is in use by another run", .0.display())]
    InUse(PathBuf),
    /// A row was changed after it was written.
    #[error("{}: row {row} is damaged; remove it and run again", path.display())]
    Damaged {
        /// The journal.
        path: PathBuf,
        /// Number of the row, from 1.
        row: u64,
    },
    /// The operating system cannot read or write the file.
    #[error("cannot use {}: {source}", path.display())]
    Io {
        /// The journal.
        path: PathBuf,
        /// The error behind it.
        source: std::io::Error,
    },
}

impl JournalError {
    /// The correction to make.
    #[must_use]
    pub fn remedy(&self) -> Option<&'static str> {
        Some(match self {
            Self::Exists(_) => "resume the run, or remove the journal to start again",
            Self::OtherRun(_) => {
                "restore the inputs and settings to resume it, or start again in \
                 another folder"
            }
            Self::NotAJournal(_) => "move the file away, or choose another folder",
            Self::InUse(_) => "wait until it has ended, or choose another folder",
            Self::Damaged { .. } => "remove the journal to start again",
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
    /// Bytes and rows when it was opened.
    opened_with: (u64, u64),
    /// When the file was last flushed to the disk.
    flushed: Instant,
}

/// How much work a power failure may cost at most, besides the rows being measured: flushing after every
/// batch would slow down runs whose dies take less than a millisecond.
const FLUSH_INTERVAL: Duration = Duration::from_secs(1);

impl Journal {
    /// Creates a journal for the run that the one-line text `subject` identifies. `origin` is
    /// stored for information and is not compared with anything.
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
        let journal = Self::at_start(path, file, subject, origin)?;
        // The name lasts too, where the system can flush a folder.
        let folder = path.parent().filter(|folder| *folder != Path::new(""));
        let _ = File::open(folder.unwrap_or(Path::new("."))).and_then(|folder| folder.sync_all());
        Ok(journal)
    }

    /// Creates a journal in place of another run's, if there is one: that run cannot be resumed
    /// with these inputs and settings.
    ///
    /// # Errors
    /// [`JournalError::Exists`] for a journal of the same run, which can be resumed;
    /// [`JournalError::NotAJournal`] for another file; [`JournalError::InUse`];
    /// [`JournalError::Io`].
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

    /// Resumes the journal of an earlier run, or creates one if there is none.
    ///
    /// # Errors
    /// [`JournalError::OtherRun`] for the journal of another run; [`JournalError::NotAJournal`];
    /// [`JournalError::Damaged`] for a row that was changed; [`JournalError::InUse`];
    /// [`JournalError::Io`].
    pub(crate) fn resume(path: &Path, subject: &str, origin: &str) -> Result<Self, JournalError> {
        let failed = |source| JournalError::Io { path: path.to_owned(), source };
        let Some(mut file) = opened(path)? else { return Self::begin(path, subject, origin) };
        let line = first_line_of(&file, path)?;
        match FirstLine::of(&line) {
            Some(line) if line.subject == one_line(subject) => {}
            Some(_) => return Err(JournalError::OtherRun(path.to_owned())),
            // Interrupted before the first line was complete.
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
            if is_unwritten(text) {
                break;
            }
            if std::str::from_utf8(text).ok().and_then(|text| row_text(done, text)).is_none() {
                return Err(JournalError::Damaged { path: path.to_owned(), row: done + 1 });
            }
            whole += length as u64;
            done += 1;
        }
        file.set_len(whole).map_err(failed)?;
        file.seek(SeekFrom::Start(whole)).map_err(failed)?;
        let opened_with = (whole, done);
        Ok(Self { path: path.to_owned(), file, done, opened_with, flushed: Instant::now() })
    }

    /// A journal with its first line only, in a file whose content is discarded.
    fn at_start(
        path: &Path,
        mut file: File,
        subject: &str,
        origin: &str,
    ) -> Result<Self, JournalError> {
        let failed = |source| JournalError::Io { path: path.to_owned(), source };
        file.set_len(0).map_err(failed)?;
        file.seek(SeekFrom::Start(0)).map_err(failed)?;
        let first = format!("{}\n", first_line(subject, origin));
        let (path, opened_with) = (path.to_owned(), (first.len() as u64, 0));
        let mut journal = Self { path, file, done: 0, opened_with, flushed: Instant::now() };
        journal.write(&first)?;
        journal.flush()?;
        Ok(journal)
    }

    /// Number of finished rows.
    pub(crate) fn done(&self) -> u64 {
        self.done
    }

    /// Adds finished rows; line ends within them become blanks.
    ///
    /// # Errors
    /// [`JournalError::Io`]; rows written before remain valid.
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
        let written = self.file.write_all(text.as_bytes());
        written.map_err(|source| JournalError::Io { path: self.path.clone(), source })?;
        if self.flushed.elapsed() >= FLUSH_INTERVAL { self.flush() } else { Ok(()) }
    }

    /// Waits until all rows are on the disk.
    ///
    /// # Errors
    /// [`JournalError::Io`], also for what the system could not write before.
    pub(crate) fn flush(&mut self) -> Result<(), JournalError> {
        let flushed = match self.file.sync_data() {
            // Some file systems, such as those of other programs, cannot flush.
            Err(error) if error.kind() == std::io::ErrorKind::Unsupported => Ok(()),
            flushed => flushed,
        };
        flushed.map_err(|source| JournalError::Io { path: self.path.clone(), source })?;
        self.flushed = Instant::now();
        Ok(())
    }

    /// Removes the rows that were added since the journal was opened.
    ///
    /// # Errors
    /// [`JournalError::Io`].
    pub(crate) fn discard_added(&mut self) -> Result<(), JournalError> {
        let (bytes, rows) = self.opened_with;
        let cut = self.file.set_len(bytes).and_then(|()| self.file.seek(SeekFrom::Start(bytes)));
        cut.map_err(|source| JournalError::Io { path: self.path.clone(), source })?;
        self.done = rows;
        self.flush()
    }

    /// Removes the journal, whose rows are in a report now. The lock is kept up to the end, so that no
    /// other run resumes it meanwhile.
    ///
    /// # Errors
    /// [`JournalError::Io`].
    pub(crate) fn remove(self) -> Result<(), JournalError> {
        std::fs::remove_file(&self.path)
            .map_err(|source| JournalError::Io { path: self.path.clone(), source })
    }

    /// The subject of a journal, and its origin.
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

    /// The rows of a journal with their checksums, read one after the other.
    ///
    /// # Errors
    /// [`JournalError::Io`] if it cannot be opened.
    pub(crate) fn rows(path: &Path) -> Result<JournalRows, JournalError> {
        let mut rows = JournalRows { path: path.to_owned(), position: 0, reader: None };
        rows.open()?;
        // The first line is that of the run.
        match rows.next() {
            Some(Err(error)) => Err(error),
            _ => Ok(rows),
        }
    }
}

/// The rows of a journal; [`row_text`] returns the text that was added.
#[derive(Debug)]
pub(crate) struct JournalRows {
    path: PathBuf,
    /// The bytes read.
    position: u64,
    reader: Option<BufReader<File>>,
}

impl JournalRows {
    /// Closes the file until the next row is read, so that thousands of journals are read in turns with
    /// few files open.
    pub(crate) fn close(&mut self) {
        self.reader = None;
    }

    fn open(&mut self) -> Result<&mut BufReader<File>, JournalError> {
        let opened = || {
            let mut file = regular_file::open(&self.path)?;
            file.seek(SeekFrom::Start(self.position))?;
            Ok(BufReader::new(file))
        };
        match &mut self.reader {
            Some(reader) => Ok(reader),
            closed => Ok(closed.insert(
                opened().map_err(|source| JournalError::Io { path: self.path.clone(), source })?,
            )),
        }
    }

    fn read(&mut self) -> Result<Option<String>, JournalError> {
        let mut line = Vec::new();
        let read = self.open()?.read_until(b'\n', &mut line);
        let length = read.map_err(|source| JournalError::Io { path: self.path.clone(), source })?;
        // The last row may be incomplete after an interruption.
        if line.pop() != Some(b'\n') {
            return Ok(None);
        }
        self.position += length as u64;
        // A line that is not UTF-8 has no valid checksum.
        Ok(Some(String::from_utf8_lossy(&line).into_owned()))
    }
}

impl Iterator for JournalRows {
    type Item = Result<String, JournalError>;

    fn next(&mut self) -> Option<Self::Item> {
        self.read().transpose()
    }
}

/// Opens a journal that may exist, and locks it.
fn opened(path: &Path) -> Result<Option<File>, JournalError> {
    let failed = |source| JournalError::Io { path: path.to_owned(), source };
    loop {
        match regular_file::check(path) {
            Err(error) if error.kind() == std::io::ErrorKind::NotFound => return Ok(None),
            checked => checked.map_err(failed)?,
        }
        let file = match OpenOptions::new().read(true).write(true).open(path) {
            Err(error) if error.kind() == std::io::ErrorKind::NotFound => return Ok(None),
            file => file.map_err(failed)?,
        };
        locked(&file, path)?;
        // Another run may have ended, and removed its journal, between opening and locking.
        if is_at(&file, path).map_err(failed)? {
            return Ok(Some(file));
        }
    }
}

/// Locks the file until it is closed. A file system without locks only lacks this protection.
fn locked(file: &File, path: &Path) -> Result<(), JournalError> {
    match file.try_lock() {
        Err(TryLockError::WouldBlock) => Err(JournalError::InUse(path.to_owned())),
        Ok(()) | Err(TryLockError::Error(_)) => Ok(()),
    }
}

/// The start of every journal.
const MARK: &str = "fourphase journal ";
/// The separator of subject, origin and checksum, and of a row and its checksum.
const BETWEEN: char = '\t';
/// Maximum length of the first line of a journal.
const LONGEST_FIRST_LINE: u64 = 1 << 20;

/// The content of the first line of a journal.
struct FirstLine<'l> {
    subject: &'l str,
    origin: &'l str,
}

impl<'l> FirstLine<'l> {
    /// Reads a line; `None` if it has no end or a wrong checksum.
    fn of(line: &'l [u8]) -> Option<Self> {
        let line = std::str::from_utf8(line.strip_suffix(b"\n")?).ok()?;
        let (subject, origin) = unsealed(line, 0)?.strip_prefix(MARK)?.split_once(BETWEEN)?;
        Some(Self { subject, origin })
    }
}

/// Whether a first line without end may be an interrupted first line of a journal.
fn is_begun(line: &[u8]) -> bool {
    let shared = line.len().min(MARK.len());
    line.last() != Some(&b'\n') && line[..shared] == MARK.as_bytes()[..shared]
}

/// The bytes of the first line, with its end if present.
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

/// The text of a row, counted from 0, without its checksum; `None` if the checksum is wrong or
/// belongs to another row.
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

/// The hash of Fowler, Noll and Vo (FNV-1a, 64 bits) of a line's number and its text: every change
/// of one byte changes the hash, other changes do with a probability of 1 - 2^-64.
fn checksum(number: u64, text: &str) -> u64 {
    let add = |hash: u64, byte: u8| (hash ^ u64::from(byte)).wrapping_mul(0x0100_0000_01b3);
    let start = number.to_le_bytes().into_iter().fold(0xcbf2_9ce4_8422_2325, add);
    text.bytes().fold(start, add)
}

/// Whether a row was in a block that a power failure left unwritten.
fn is_unwritten(row: &[u8]) -> bool {
    row.contains(&0)
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

    /// The journal is cut at every byte, as an interruption may do: the completed run equals an
    /// uninterrupted one.
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

    /// A power failure may leave zeros in place of blocks, with later blocks written.
    #[test]
    fn blocks_lost_by_a_power_failure_are_measured_again() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("journal");
        let rows: Vec<String> = (0..12).map(row).collect();
        Journal::begin(&path, "subject", "here").unwrap().add(&rows).unwrap();
        let want = std::fs::read(&path).unwrap();
        let first = want.iter().position(|byte| *byte == b'\n').unwrap() + 1;
        for start in first..want.len() {
            for length in [1, 40, want.len()] {
                let mut torn = want.clone();
                torn[start..].iter_mut().take(length).for_each(|byte| *byte = 0);
                std::fs::write(&path, &torn).unwrap();
                let mut journal = Journal::resume(&path, "subject", "here").unwrap();
                let whole = want[..start].iter().filter(|byte| **byte == b'\n').count();
                assert_eq!(journal.done(), whole as u64 - 1, "zeros from {start}");
                journal.add(&rows[whole - 1..]).unwrap();
                assert_eq!(std::fs::read(&path).unwrap(), want);
            }
        }
    }

    /// A journal that is closed between rows is read on from where it was.
    #[test]
    fn a_closed_journal_is_read_on() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("journal");
        let rows: Vec<String> = (0..5).map(row).collect();
        Journal::begin(&path, "subject", "here").unwrap().add(&rows).unwrap();
        let mut read = Journal::rows(&path).unwrap();
        for (at, row) in (0..).zip(&rows) {
            read.close();
            let line = read.next().unwrap().unwrap();
            assert_eq!(row_text(at, &line), Some(row.as_str()));
        }
        assert!(read.next().is_none());
    }

    #[test]
    fn runs_are_not_mixed() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("journal");
        let mut journal = Journal::resume(&path, "one", "").unwrap();
        journal.add(&["a\nb".to_owned()]).unwrap();
        assert!(matches!(Journal::begin(&path, "one", ""), Err(JournalError::Exists(_))));
        // Two processes that write the same rows alternately would damage it.
        assert!(matches!(Journal::resume(&path, "one", ""), Err(JournalError::InUse(_))));
        drop(journal);
        assert!(matches!(Journal::resume(&path, "two", ""), Err(JournalError::OtherRun(_))));
        // The folder in which it was created has no influence.
        assert_eq!(Journal::resume(&path, "one", "elsewhere").unwrap().done(), 1);
        assert_eq!(Journal::subject(&path).unwrap(), ("one".to_owned(), String::new()));
        // A foreign file is not used as a journal, and is not changed.
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

    /// Every byte changed; every row removed, duplicated or exchanged with the next.
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
