//! Regular files, opened and read within limits.
//!
//! All files are read by these functions. A pipe may never deliver and a device may never end, so
//! both are refused before they are opened; a file that is too large is refused before memory is
//! allocated for it.

use std::fs::{File, FileType, Metadata};
use std::io::{self, Read as _};
use std::path::Path;

/// Opens a regular file to be read.
///
/// # Errors
/// [`io::ErrorKind::InvalidInput`], with a message for the user, for anything but a regular file;
/// otherwise the error of the operating system.
///
/// # Examples
/// ```
/// use fourphase::regular_file;
///
/// assert!(regular_file::open("data-demo/coupler.s4p".as_ref()).is_ok());
/// let folder = regular_file::open("data-demo".as_ref()).unwrap_err();
/// assert_eq!(folder.to_string(), "expected a regular file, found a folder");
/// ```
pub fn open(path: &Path) -> io::Result<File> {
    check(path)?;
    let file = File::open(path)?;
    // The file of this name may have been replaced since the check.
    checked(&file.metadata()?)?;
    Ok(file)
}

/// Checks that a path is that of a regular file, without opening it.
///
/// # Errors
/// As [`open`].
pub fn check(path: &Path) -> io::Result<()> {
    checked(&std::fs::metadata(path)?)
}

/// Whether a path is that of an open file.
#[cfg(unix)]
pub(crate) fn is_at(file: &File, path: &Path) -> io::Result<bool> {
    use std::os::unix::fs::MetadataExt as _;
    let own = file.metadata()?;
    match std::fs::metadata(path) {
        Err(error) if error.kind() == io::ErrorKind::NotFound => Ok(false),
        found => found.map(|found| (found.dev(), found.ino()) == (own.dev(), own.ino())),
    }
}

/// Whether a path is that of an open file: an open file cannot be removed there.
#[cfg(not(unix))]
#[expect(clippy::unnecessary_wraps, reason = "other systems have to look")]
pub(crate) fn is_at(_: &File, _: &Path) -> io::Result<bool> {
    Ok(true)
}

/// Reads a regular file of at most `most_bytes` bytes.
///
/// # Errors
/// As [`open`]; [`io::ErrorKind::FileTooLarge`] for a larger file, which is not read;
/// [`io::ErrorKind::OutOfMemory`] where memory is not sufficient.
pub fn read(path: &Path, most_bytes: u64) -> io::Result<Vec<u8>> {
    let mut file = open(path)?;
    let too_large = |found: &str| {
        let shown = ShownSize(most_bytes);
        io::Error::new(
            io::ErrorKind::FileTooLarge,
            format!("expected a file of at most {shown}, found {found}"),
        )
    };
    let length = file.metadata()?.len();
    if length > most_bytes {
        return Err(too_large(&ShownSize(length).to_string()));
    }
    let mut bytes = Vec::new();
    let needed =
        usize::try_from(length).map_err(|_| io::Error::from(io::ErrorKind::OutOfMemory))?;
    // One more byte, so that the end is found without a larger buffer.
    bytes.try_reserve_exact(needed.saturating_add(1))?;
    file.by_ref().take(most_bytes).read_to_end(&mut bytes)?;
    if file.read(&mut [0])? > 0 {
        return Err(too_large("one that grows"));
    }
    Ok(bytes)
}

fn checked(found: &Metadata) -> io::Result<()> {
    if found.is_file() {
        return Ok(());
    }
    let kind = kind_name(found.file_type());
    let message = format!("expected a regular file, found {kind}");
    Err(io::Error::new(io::ErrorKind::InvalidInput, message))
}

/// The name of what was found in place of a file.
fn kind_name(kind: FileType) -> &'static str {
    if kind.is_dir() {
        return "a folder";
    }
    #[cfg(unix)]
    {
        use std::os::unix::fs::FileTypeExt as _;
        if kind.is_fifo() {
            return "a pipe (FIFO)";
        }
        if kind.is_socket() {
            return "a socket";
        }
        if kind.is_char_device() || kind.is_block_device() {
            return "a device";
        }
    }
    "something else"
}

/// A number of bytes for display.
struct ShownSize(u64);

impl std::fmt::Display for ShownSize {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self.0 {
            bytes if bytes < 1 << 20 => write!(f, "{bytes} bytes"),
            bytes if bytes < 1 << 30 => write!(f, "{} MiB", bytes >> 20),
            bytes => write!(f, "{} GiB", bytes >> 30),
        }
    }
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use super::*;

    #[test]
    fn only_regular_files_within_their_size_are_read() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("file");
        std::fs::write(&path, "12345").unwrap();
        assert_eq!(read(&path, 5).unwrap(), b"12345");
        let large = read(&path, 4).unwrap_err();
        assert_eq!(large.to_string(), "expected a file of at most 4 bytes, found 5 bytes");
        assert_eq!(large.kind(), io::ErrorKind::FileTooLarge);
        let folder = read(folder.path(), 4).unwrap_err();
        assert_eq!(folder.to_string(), "expected a regular file, found a folder");
        assert_eq!(
            check(&path.with_extension("gone")).unwrap_err().kind(),
            io::ErrorKind::NotFound
        );
        #[cfg(unix)]
        {
            let device = open(Path::new("/dev/zero")).unwrap_err();
            assert_eq!(device.to_string(), "expected a regular file, found a device");
        }
    }

    /// A sparse file: 2 TiB by its length, a few kilobytes on the disk.
    #[test]
    fn a_file_beyond_its_bound_takes_no_memory() {
        let file = tempfile::NamedTempFile::new().unwrap();
        if file.as_file().set_len(1 << 41).is_ok() {
            let error = read(file.path(), 1 << 32).unwrap_err();
            assert!(error.to_string().ends_with("at most 4 GiB, found 2048 GiB"), "{error}");
        }
    }
}
