//! Input files of a result, with their digests.

use super::error::BatchError;
use crate::regular_file;
use serde::Serialize;
use sha2::{Digest as _, Sha256};
use std::fs::File;
use std::io::Read as _;
use std::path::PathBuf;

/// An input file with its SHA-256 in hexadecimal digits.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct InputFile {
    /// The name as given.
    pub file: String,
    /// The digest of its bytes.
    pub sha256: String,
}

impl InputFile {
    /// Reads files and computes their digests.
    ///
    /// # Errors
    /// [`BatchError::Again`] for a file that cannot be read.
    pub fn of(paths: &[PathBuf]) -> Result<Vec<Self>, BatchError> {
        let of_one = |path: &PathBuf| {
            let sha256 = regular_file::open(path).and_then(|mut file| digest(&mut file));
            let sha256 =
                sha256.map_err(|source| BatchError::Again { path: path.clone(), source })?;
            Ok(Self { file: path.display().to_string(), sha256 })
        };
        paths.iter().map(of_one).collect()
    }
}

/// The digest of a file of any length, read in pieces, in hexadecimal digits.
pub(super) fn digest(file: &mut File) -> std::io::Result<String> {
    let mut digest = Sha256::new();
    let mut piece = vec![0; 1 << 16];
    loop {
        match file.read(&mut piece)? {
            0 => return Ok(digest.finalize().iter().map(|byte| format!("{byte:02x}")).collect()),
            length => digest.update(&piece[..length]),
        }
    }
}
