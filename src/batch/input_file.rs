//! Input files of a result, with their digests.

use super::error::BatchError;
use crate::regular_file;
use serde::Serialize;
use sha2::{Digest as _, Sha256};
use std::io::Read as _;
use std::path::{Path, PathBuf};

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
            let digest = digest(path);
            let digest =
                digest.map_err(|source| BatchError::Again { path: path.clone(), source })?;
            let digits = digest.iter().map(|byte| format!("{byte:02x}")).collect();
            Ok(Self { file: path.display().to_string(), sha256: digits })
        };
        paths.iter().map(of_one).collect()
    }
}

/// The digest of a file of any length, read in pieces.
fn digest(path: &Path) -> std::io::Result<[u8; 32]> {
    let mut file = regular_file::open(path)?;
    let mut digest = Sha256::new();
    let mut piece = vec![0; 1 << 16];
    loop {
        match file.read(&mut piece)? {
            0 => return Ok(digest.finalize().into()),
            length => digest.update(&piece[..length]),
        }
    }
}
