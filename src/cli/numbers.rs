//! Numbers of the command line.

pub(super) fn finite(text: &str) -> Result<f64, String> {
    let value = text.trim().parse::<f64>().ok().filter(|value| value.is_finite());
    value.ok_or_else(|| "expected a number".to_owned())
}

/// An order of multiplication.
pub(super) fn order(text: &str) -> Result<u32, String> {
    let order = text.trim().parse::<u32>().ok().filter(|order| *order > 0);
    order
        .ok_or_else(|| "expected whole numbers above 0 with commas between, such as 3,2".to_owned())
}

/// Entries of passive parts differ by at most 2.
pub(super) fn vector_difference(text: &str) -> Result<f64, String> {
    let value = finite(text)?;
    if (0.0..=2.0).contains(&value) {
        return Ok(value);
    }
    let ratio = crate::units::amplitude_from_db(-value.abs());
    Err(format!(
        "expected a linear difference from 0 to 2; if {} dB is meant, write {ratio:.3e}",
        -value.abs()
    ))
}

pub(super) fn not_negative(text: &str) -> Result<f64, String> {
    let value = finite(text)?;
    if value >= 0.0 { Ok(value) } else { Err("expected zero or a positive number".to_owned()) }
}
