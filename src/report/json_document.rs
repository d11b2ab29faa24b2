//! JSON documents, and the values that several of them hold.

use num_complex::Complex64;
use serde::Serialize;

/// A document as text, with a final line end.
///
/// # Errors
/// None in practice: every name is a string and every value has a JSON form.
pub fn document<T: Serialize>(content: &T) -> Result<String, serde_json::Error> {
    let mut text = serde_json::to_string_pretty(content)?;
    text.push('\n');
    Ok(text)
}

/// `[re, im]`.
pub(super) type Pair = [f64; 2];

pub(super) fn pair(value: Complex64) -> Pair {
    [value.re, value.im]
}
