//! Files that went into a result, and their digests.

use super::error::BatchError;
use serde::Serialize;
use sha2::{Digest as _, Sha256};
use std::path::PathBuf;

/// A file that went in, and its SHA-256 in hexadecimal digits.
#[derive(Clone, Debug, PartialEq, Eq, Serialize)]
pub struct InputFile {
    /// As named.
    pub file: String,
    /// Of its bytes.
    pub sha256: String,
}

impl InputFile {
    /// Reads files and takes their digests.
    ///
    /// # Errors
    /// [`BatchError::Again`] for a file that cannot be read.
    pub fn of(paths: &[PathBuf]) -> Result<Vec<Self>, BatchError> {
        let of_one = |path: &PathBuf| {
            let bytes = std::fs::read(path)
                .map_err(|source| BatchError::Again { path: path.clone(), source })?;
            let digits = Sha256::digest(bytes).iter().map(|byte| format!("{byte:02x}")).collect();
            Ok(Self { file: path.display().to_string(), sha256: digits })
        };
        paths.iter().map(of_one).collect()
    }
}
