//! The powers of a source from which everything behind it stays within its limits.

/// The input powers that keep all limits.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum PowerWindow {
    /// No power will do.
    Empty,
    /// From the lowest to the highest, dBm; `None` where nothing limits it.
    Open {
        /// The lowest power.
        low_dbm: Option<f64>,
        /// The highest power.
        high_dbm: Option<f64>,
    },
}

/// Source powers that are looked at, dBm.
const SOUGHT_DBM: (f64, f64) = (-200.0, 200.0);
/// Halvings of 400 dB: to less than the rounding of the bounds.
const HALVINGS: u32 = 60;

/// The window for conditions that hold from some power upwards (`reaches`) and up to some power
/// (`bears`); powers in dBm. Between -200 and 200 dBm, beyond which there is no limit.
///
/// # Errors
/// That of a condition.
pub fn power_window<E>(
    mut reaches: impl FnMut(f64) -> Result<bool, E>,
    mut bears: impl FnMut(f64) -> Result<bool, E>,
) -> Result<PowerWindow, E> {
    let (lowest, highest) = SOUGHT_DBM;
    if !reaches(highest)? || !bears(lowest)? {
        return Ok(PowerWindow::Empty);
    }
    let low_dbm = if reaches(lowest)? {
        None
    } else {
        let (mut without, mut with) = (lowest, highest);
        for _ in 0..HALVINGS {
            let middle = 0.5 * (without + with);
            let end = if reaches(middle)? { &mut with } else { &mut without };
            *end = middle;
        }
        Some(with)
    };
    let high_dbm = if bears(highest)? {
        None
    } else {
        let (mut with, mut without) = (lowest, highest);
        for _ in 0..HALVINGS {
            let middle = 0.5 * (with + without);
            let end = if bears(middle)? { &mut with } else { &mut without };
            *end = middle;
        }
        Some(with)
    };
    Ok(match (low_dbm, high_dbm) {
        (Some(low), Some(high)) if low > high => PowerWindow::Empty,
        _ => PowerWindow::Open { low_dbm, high_dbm },
    })
}
