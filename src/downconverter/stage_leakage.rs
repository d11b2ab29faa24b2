//! What leaks through the stages of an LO chain, and where it lands: from the orders of the stages
//! alone, without levels.
//!
//! A multiplier of order n gives other orders of its carrier too, 1 to n - 1 and n + 1 the strongest.
//! Beside the LO such a line is at an offset that the multipliers after it leave as it is, and a
//! saturated stage makes its mirror image on the other side. At a mixer it acts as a second LO.

use super::error::PlanError;
use super::frequency_plan::{Band, SidebandPlan, Victim, check_factor};
use std::fmt;

/// Where a line lands.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum LeakageVictim {
    /// The range of LOs.
    Lo,
    /// The RF, the image or the IF band.
    Band(Victim),
    /// It brings in RF of the RF band, above the line by the IF.
    ResponseAbove,
    /// It brings in RF of the RF band, below the line by the IF.
    ResponseBelow,
}

impl LeakageVictim {
    /// A word for tables: `lo`, `rf`, `image`, `if`, `response_above`, `response_below`.
    #[must_use]
    pub fn name(self) -> &'static str {
        match self {
            Self::Lo => "lo",
            Self::Band(Victim::Rf) => "rf",
            Self::Band(Victim::Image) => "image",
            Self::Band(Victim::If) => "if",
            Self::ResponseAbove => "response_above",
            Self::ResponseBelow => "response_below",
        }
    }
}

impl fmt::Display for LeakageVictim {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Lo => f.write_str("LO range"),
            Self::Band(victim) => write!(f, "{victim} band"),
            Self::ResponseAbove => f.write_str("response at +IF"),
            Self::ResponseBelow => f.write_str("response at -IF"),
        }
    }
}

/// A place where a line lands.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct LeakageHit {
    /// What it falls into.
    pub victim: LeakageVictim,
    /// The part of it that the line, or for a response its RF, reaches, Hz.
    pub overlap_hz: Band,
    /// The LOs at which it does, Hz.
    pub lo_hz: Band,
}

/// A line beside the LO that a stage leaks.
#[derive(Clone, Debug, PartialEq)]
pub struct StageLeakage {
    /// The stage, from 1 in the order of the signal.
    pub stage: usize,
    /// Its wanted order.
    pub order: u32,
    /// The order of its carrier that leaks.
    pub leaking_order: u32,
    /// The line beside the LO, as a multiple of the LO input.
    pub multiple: u32,
    /// Whether it is the mirror image that a saturated stage after this one makes.
    pub is_mirror: bool,
    /// The frequencies that it sweeps with the LO, Hz.
    pub swept_hz: Band,
    /// Where it lands; at a mixer it brings in RF whether or not that is in the RF band.
    pub hits: Vec<LeakageHit>,
}

/// The product of the orders of stages.
///
/// # Errors
/// [`PlanError::Factor`] unless it is from 1 to 1000.
pub fn product_of_orders(orders: &[u32]) -> Result<u32, PlanError> {
    let product = orders.iter().fold(1, |product: u32, order| product.saturating_mul(*order));
    check_factor("multiplication", product).map(|()| product)
}

/// The lines that stages of these orders leak beside the LO, for one sideband of a plan whose
/// multiplication is their product: stage after stage, orders ascending.
///
/// # Examples
/// ```
/// use fourphase::downconverter::{PlanSettings, frequency_plan, stage_leakage};
///
/// let settings = PlanSettings { rf_hz: (27e9, 31e9), if_hz: (0.5e9, 1.5e9), multiplication: 6 };
/// let plan = frequency_plan(&settings)?;
/// // The second order of the tripler is at 2 of 3: beside the LO at 5 and 7 of 6.
/// let lines = stage_leakage(&plan.sidebands[0], settings.if_hz, &[3, 2]);
/// let second: Vec<u32> =
///     lines.iter().filter(|line| line.leaking_order == 2).map(|line| line.multiple).collect();
/// assert_eq!(second, [5, 7]);
/// # Ok::<(), fourphase::downconverter::PlanError>(())
/// ```
#[must_use]
pub fn stage_leakage(plan: &SidebandPlan, if_hz: Band, orders: &[u32]) -> Vec<StageLeakage> {
    let product: u32 = orders.iter().fold(1, |product: u32, order| product.saturating_mul(*order));
    let mut lines = Vec::new();
    let mut carrier = 1_u32;
    for (at, &order) in orders.iter().enumerate() {
        let is_last_multiplier = orders[at + 1..].iter().all(|order| *order == 1);
        for leaking_order in (1..=order.saturating_add(1)).filter(|own| *own != order) {
            if order == 1 {
                continue;
            }
            let offset = (i64::from(leaking_order) - i64::from(order)) * i64::from(carrier);
            for (is_mirror, offset) in [(false, offset), (true, -offset)] {
                let multiple = u32::try_from(i64::from(product) + offset).unwrap_or(0);
                // The last multiplier's own lines have no stage behind them that mirrors.
                if multiple > 0 && !(is_mirror && is_last_multiplier) {
                    let swept_hz = swept(plan.lo_hz, multiple, product);
                    lines.push(StageLeakage {
                        stage: at + 1,
                        order,
                        leaking_order,
                        multiple,
                        is_mirror,
                        swept_hz,
                        hits: hits(plan, if_hz, multiple, product),
                    });
                }
            }
        }
        carrier = carrier.saturating_mul(order);
    }
    lines
}

fn swept((low_hz, high_hz): Band, multiple: u32, product: u32) -> Band {
    let ratio = f64::from(multiple) / f64::from(product.max(1));
    (low_hz * ratio, high_hz * ratio)
}

/// Where a line at a multiple lands.
fn hits(plan: &SidebandPlan, if_hz: Band, multiple: u32, product: u32) -> Vec<LeakageHit> {
    let ratio = f64::from(multiple) / f64::from(product.max(1));
    let line_hz = swept(plan.lo_hz, multiple, product);
    let mut found = Vec::new();
    // What is swept by `ratio` LO + shift, for a shift in a range, against a band.
    let mut check = |victim, band_hz: Band, shift_hz: Band| {
        let reached_hz = (line_hz.0 + shift_hz.0, line_hz.1 + shift_hz.1);
        let overlap_hz = (reached_hz.0.max(band_hz.0), reached_hz.1.min(band_hz.1));
        if overlap_hz.0 <= overlap_hz.1 {
            let lo_hz = (
                ((band_hz.0 - shift_hz.1) / ratio).max(plan.lo_hz.0),
                ((band_hz.1 - shift_hz.0) / ratio).min(plan.lo_hz.1),
            );
            found.push(LeakageHit { victim, overlap_hz, lo_hz });
        }
    };
    check(LeakageVictim::Lo, plan.lo_hz, (0.0, 0.0));
    check(LeakageVictim::Band(Victim::Rf), plan.rf_hz, (0.0, 0.0));
    check(LeakageVictim::Band(Victim::Image), plan.image_hz, (0.0, 0.0));
    check(LeakageVictim::Band(Victim::If), if_hz, (0.0, 0.0));
    check(LeakageVictim::ResponseAbove, plan.rf_hz, if_hz);
    check(LeakageVictim::ResponseBelow, plan.rf_hz, (-if_hz.1, -if_hz.0));
    found
}
