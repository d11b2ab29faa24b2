//! JSON documents, and the values that several of them hold.

use num_complex::Complex64;
use serde::Serialize;
use std::io::{self, Write};

/// A document as text, with a final line end.
///
/// # Errors
/// None in practice: every name is a string and every value has a JSON form.
pub fn document<T: Serialize>(content: &T) -> Result<String, serde_json::Error> {
    let mut text = serde_json::to_string_pretty(content)?;
    text.push('\n');
    Ok(text)
}

/// The same, written to `to`.
///
/// # Errors
/// That of `to`.
pub(super) fn write_document<T: Serialize>(
    to: &mut (dyn Write + Send),
    content: &T,
) -> io::Result<()> {
    let mut to = io::BufWriter::new(to);
    serde_json::to_writer_pretty(&mut to, content)?;
    to.write_all(b"\n")?;
    to.flush()
}

/// `[re, im]`.
pub(super) type Pair = [f64; 2];

pub(super) fn pair(value: Complex64) -> Pair {
    [value.re, value.im]
}
