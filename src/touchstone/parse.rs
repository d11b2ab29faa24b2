//! The way in: from bytes and a name to a file.

use super::error::{Fault, ReadError};
use super::file::TouchstoneFile;
use super::findings::excerpt;
use super::option_line::OptionLine;
use super::reader::Reader;
use std::path::Path;

/// How to read.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct ReadOptions {
    /// Whether deviations from the standard are errors.
    pub strict: bool,
    /// What stands in where a version 1 file has no option line. Never guessed.
    pub option_line: Option<OptionLine>,
}

/// Reads a file.
///
/// # Errors
/// [`ReadError::Io`] if the operating system refuses, [`ReadError::Content`] with line, column
/// and remedy if the content breaks the format.
pub fn read(path: &Path, options: &ReadOptions) -> Result<TouchstoneFile, ReadError> {
    let bytes =
        std::fs::read(path).map_err(|source| ReadError::Io { path: path.to_owned(), source })?;
    parse(&bytes, path, options)
}

/// Reads the content of a file. The name gives the number of ports of a version 1 file, if it
/// ends in `.sNp`; nothing is opened.
///
/// # Errors
/// [`ReadError::Content`] with line, column and remedy.
///
/// # Examples
/// ```
/// use fourphase::touchstone::{ReadOptions, parse};
/// use std::path::Path;
///
/// let text = b"# GHz S RI R 50\n29 0.2 -0.1\n";
/// let file = parse(text, Path::new("load.s1p"), &ReadOptions::default()).unwrap();
/// assert_eq!(file.network.grid().as_hz(), [29e9]);
///
/// let wrong = parse(b"# GHz S RI R 50\n29 0.2\n", Path::new("load.s1p"), &ReadOptions::default());
/// assert_eq!(wrong.unwrap_err().to_string(), "load.s1p:2:1: expected 3 numbers, found 2");
/// ```
pub fn parse(
    bytes: &[u8],
    name: &Path,
    options: &ReadOptions,
) -> Result<TouchstoneFile, ReadError> {
    let located = |fault: Fault| ReadError::Content {
        file: name.to_owned(),
        problem: Box::new(fault.problem),
        excerpt: Box::new(excerpt(bytes, fault.span)),
    };
    let mut reader = Reader::new(bytes, ports_in_name(name), options).map_err(located)?;
    reader.run().map_err(located)?;
    reader.finish(options.strict).map_err(located)
}

/// The N of a name that ends in `.sNp`, in either case.
///
/// ```
/// use fourphase::touchstone::ports_in_name;
/// assert_eq!(ports_in_name("HYBRID.S4P".as_ref()), Some(4));
/// assert_eq!(ports_in_name("hybrid.ts".as_ref()), None);
/// ```
#[must_use]
pub fn ports_in_name(name: &Path) -> Option<usize> {
    let extension = name.extension()?.to_str()?.to_ascii_lowercase();
    let digits = extension.strip_prefix('s')?.strip_suffix('p')?;
    if digits.bytes().all(|byte| byte.is_ascii_digit()) { digits.parse().ok() } else { None }
}
