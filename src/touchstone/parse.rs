//! Entry points for reading: from bytes and a name to a file.

use super::error::{Fault, ReadError};
use super::file::TouchstoneFile;
use super::file_name::ports_in_name;
use super::findings::excerpt;
use super::options::ReadOptions;
use super::reader::Reader;
use crate::regular_file;
use std::path::Path;

/// Maximum size of a file: 64 ports at 10,000 frequencies with all digits need half of it.
const LARGEST_FILE: u64 = 4 << 30;

/// Reads a file of at most 4 GiB.
///
/// # Errors
/// [`ReadError::Io`] if the path is not a regular file, the file is larger, or the operating system
/// cannot read it; [`ReadError::Content`] with line, column and correction if the content does not
/// follow the format.
pub fn read(path: &Path, options: &ReadOptions) -> Result<TouchstoneFile, ReadError> {
    let bytes = regular_file::read(path, LARGEST_FILE)
        .map_err(|source| ReadError::Io { path: path.to_owned(), source })?;
    parse(&bytes, path, options)
}

/// Reads the content of a file. The name gives the number of ports of a version 1 file, if it ends
/// in `.sNp`; no file is opened.
///
/// # Errors
/// [`ReadError::Content`] with line, column and correction.
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
