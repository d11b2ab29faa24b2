//! The frequencies at which a receiver is solved: every LO with every IF.
//!
//! In:  LO frequencies at the mixers, IF frequencies, multiplication of the LO, mixing harmonic n.
//! Out: the grid of the LO path, LO over the multiplication after the split; the grid of the RF
//!      path, n LO ± IF, each frequency once; and the points of that grid for every LO and IF.

use super::error::PlanError;
use super::frequency_plan::{FrequencyPlan, Sideband, check_factor, check_unit, plan_of_lo_range};
use super::signal_path::{LoRf, ReceiverPath};
use crate::network::{FrequencyGrid, NetworkError};
use std::ops::RangeInclusive;

/// RF frequencies this close, relatively, are one: sums of LO and IF differ in their last digits.
const SAME_FREQUENCY: f64 = 1e-12;

/// What a receiver's plan is made from.
#[derive(Clone, Debug, PartialEq)]
pub struct LoIfSettings {
    /// LO at the mixers, Hz, ascending.
    pub lo_hz: Vec<f64>,
    /// IF, Hz, ascending.
    pub if_hz: Vec<f64>,
    /// The wanted sideband.
    pub wanted: Sideband,
    /// LO at the mixers over LO input, 1 to 1000.
    pub lo_multiplication: u32,
    /// The part of that multiplication that comes after the LO is split: the LO path works at LO
    /// over this.
    pub lo_multiplication_after_split: u32,
    /// n in RF = n LO ± IF, 1 to 1000.
    pub lo_harmonic: u32,
    /// Power available from the LO source, dBm.
    pub lo_power_dbm: Option<f64>,
}

/// The frequencies of a receiver: at least one LO and one IF, both ascending, with both sidebands
/// above 0 Hz.
#[derive(Clone, Debug, PartialEq)]
pub struct ReceiverPlan {
    settings: LoIfSettings,
    grids: LoRf<FrequencyGrid>,
    /// For each LO, for each IF.
    rf_points: Vec<SidebandPoints>,
}

/// Points of the RF grid for one LO and IF.
#[derive(Clone, Copy, Debug, PartialEq)]
struct SidebandPoints {
    upper: usize,
    lower: usize,
}

impl ReceiverPlan {
    /// From the lowest to the highest frequency at which parts are used, Hz.
    #[must_use]
    pub fn band_hz(&self) -> RangeInclusive<f64> {
        let (lo, rf) = (self.grid(ReceiverPath::Lo), self.grid(ReceiverPath::Rf));
        lo.first_hz().min(rf.first_hz())..=lo.last_hz().max(rf.last_hz())
    }

    /// Checks the settings and lays out the grids of both paths.
    ///
    /// # Errors
    /// [`PlanError`] with the first setting that breaks a rule.
    ///
    /// # Examples
    /// ```
    /// use fourphase::downconverter::{LoIfSettings, ReceiverPlan, Sideband, ReceiverPath};
    ///
    /// let plan = ReceiverPlan::new(LoIfSettings {
    ///     lo_hz: vec![28e9, 29e9],
    ///     if_hz: vec![0.5e9],
    ///     wanted: Sideband::Upper,
    ///     lo_multiplication: 4,
    ///     lo_multiplication_after_split: 1,
    ///     lo_harmonic: 1,
    ///     lo_power_dbm: None,
    /// })?;
    /// // 28.5 GHz is the upper sideband of the first LO and the lower sideband of the second.
    /// assert_eq!(plan.grid(ReceiverPath::Rf).as_hz(), [27.5e9, 28.5e9, 29.5e9]);
    /// # Ok::<(), fourphase::downconverter::PlanError>(())
    /// ```
    pub fn new(settings: LoIfSettings) -> Result<Self, PlanError> {
        check_ascending("LO", &settings.lo_hz)?;
        check_ascending("IF", &settings.if_hz)?;
        let (multiplication, after) =
            (settings.lo_multiplication, settings.lo_multiplication_after_split);
        check_factor("lo_multiplication", multiplication)?;
        check_factor("lo_multiplication_after_split", after)?;
        check_factor("lo_harmonic", settings.lo_harmonic)?;
        if !multiplication.is_multiple_of(after) {
            return Err(PlanError::AfterSplit { multiplication, after });
        }
        if let Some(found_dbm) = settings.lo_power_dbm
            && !(-200.0..=200.0).contains(&found_dbm)
        {
            return Err(PlanError::LoPower { found_dbm });
        }
        let mut sidebands_hz = Vec::with_capacity(2 * settings.lo_hz.len() * settings.if_hz.len());
        for &lo_hz in &settings.lo_hz {
            for &if_hz in &settings.if_hz {
                for sideband in [Sideband::Upper, Sideband::Lower] {
                    sidebands_hz.push(rf_hz(settings.lo_harmonic, lo_hz, if_hz, sideband));
                }
                if sidebands_hz.last().is_some_and(|lower_hz| *lower_hz <= 0.0) {
                    return Err(PlanError::NoLowerSideband { lo_hz, if_hz });
                }
            }
        }
        let (rf_grid_hz, places) = merged(&sidebands_hz);
        let rf_points = places
            .chunks_exact(2)
            .map(|at| SidebandPoints { upper: at[0], lower: at[1] })
            .collect();
        let path_lo_hz = settings.lo_hz.iter().map(|hz| hz / f64::from(after)).collect();
        let grids = LoRf {
            lo: FrequencyGrid::from_hz(path_lo_hz)?,
            rf: FrequencyGrid::from_hz(rf_grid_hz)?,
        };
        Ok(Self { settings, grids, rf_points })
    }

    /// LO at the mixers, Hz, ascending; at least one.
    pub fn lo_hz(&self) -> &[f64] {
        &self.settings.lo_hz
    }

    /// IF, Hz, ascending; at least one.
    pub fn if_hz(&self) -> &[f64] {
        &self.settings.if_hz
    }

    /// The wanted sideband.
    pub fn wanted(&self) -> Sideband {
        self.settings.wanted
    }

    /// What the plan was made from.
    pub fn settings(&self) -> &LoIfSettings {
        &self.settings
    }

    /// The frequencies at which the networks of a path are needed.
    pub fn grid(&self, path: ReceiverPath) -> &FrequencyGrid {
        self.grids.get(path)
    }

    /// RF of a sideband, Hz: n LO ± IF.
    pub fn rf_hz(&self, lo_hz: f64, if_hz: f64, sideband: Sideband) -> f64 {
        rf_hz(self.settings.lo_harmonic, lo_hz, if_hz, sideband)
    }

    /// Frequency at the LO input, Hz, for an LO at the mixers.
    pub fn lo_input_hz(&self, lo_hz: f64) -> f64 {
        lo_hz / f64::from(self.settings.lo_multiplication)
    }

    /// The index of the LO nearest to the middle of the LO range; the lower one of equals.
    pub fn centre(&self) -> usize {
        let lo_hz = self.lo_hz();
        let middle_hz = 0.5 * (lo_hz[0] + lo_hz[lo_hz.len() - 1]);
        let distance_hz = |at: usize| (lo_hz[at] - middle_hz).abs();
        let nearer = |one, other| if distance_hz(other) < distance_hz(one) { other } else { one };
        (1..lo_hz.len()).fold(0, nearer)
    }

    /// Bands of RF, image and LO, and harmonics of the LO input in them.
    pub fn frequency_plan(&self) -> FrequencyPlan {
        let band = |list: &[f64]| (list[0], list[list.len() - 1]);
        plan_of_lo_range(
            band(self.lo_hz()),
            band(self.if_hz()),
            self.settings.lo_multiplication,
            self.settings.lo_harmonic,
            self.wanted(),
        )
    }

    /// The point of the RF grid for an LO, an IF and a sideband.
    pub(super) fn rf_point(&self, lo: usize, intermediate: usize, sideband: Sideband) -> usize {
        let points = self.rf_points[lo * self.if_hz().len() + intermediate];
        match sideband {
            Sideband::Upper => points.upper,
            Sideband::Lower => points.lower,
        }
    }

    /// The plan of one LO and IF alone.
    pub(super) fn at(&self, lo: usize, intermediate: usize) -> Result<Self, NetworkError> {
        let (upper, lower) = (
            self.rf_point(lo, intermediate, Sideband::Upper),
            self.rf_point(lo, intermediate, Sideband::Lower),
        );
        let [lo_grid_hz, rf_grid_hz] = ReceiverPath::BOTH.map(|path| self.grid(path).as_hz());
        // The lower sideband lies below the upper one, as every IF is above 0 Hz, unless the IF is
        // too small for two points.
        let (rf_hz, upper) = if lower == upper {
            (vec![rf_grid_hz[lower]], 0)
        } else {
            (vec![rf_grid_hz[lower], rf_grid_hz[upper]], 1)
        };
        Ok(Self {
            settings: LoIfSettings {
                lo_hz: vec![self.lo_hz()[lo]],
                if_hz: vec![self.if_hz()[intermediate]],
                ..self.settings
            },
            grids: LoRf {
                lo: FrequencyGrid::from_hz(vec![lo_grid_hz[lo]])?,
                rf: FrequencyGrid::from_hz(rf_hz)?,
            },
            rf_points: vec![SidebandPoints { upper, lower: 0 }],
        })
    }
}

fn rf_hz(lo_harmonic: u32, lo_hz: f64, if_hz: f64, sideband: Sideband) -> f64 {
    let mixed_hz = f64::from(lo_harmonic) * lo_hz;
    match sideband {
        Sideband::Upper => mixed_hz + if_hz,
        Sideband::Lower => mixed_hz - if_hz,
    }
}

fn check_ascending(what: &'static str, list_hz: &[f64]) -> Result<(), PlanError> {
    let mut previous_hz = 0.0;
    for (index, &found_hz) in list_hz.iter().enumerate() {
        if !(found_hz > previous_hz && found_hz.is_finite()) {
            return Err(PlanError::NotAscending { what, index, found_hz });
        }
        check_unit(what, found_hz)?;
        previous_hz = found_hz;
    }
    if list_hz.is_empty() { Err(PlanError::NoFrequencies { what }) } else { Ok(()) }
}

/// Every frequency once, ascending, and for each of the list its place among them.
pub(super) fn merged(list_hz: &[f64]) -> (Vec<f64>, Vec<usize>) {
    let mut order: Vec<usize> = (0..list_hz.len()).collect();
    order.sort_by(|&one, &other| list_hz[one].total_cmp(&list_hz[other]));
    let mut kept_hz: Vec<f64> = Vec::new();
    let mut places = vec![0; list_hz.len()];
    for at in order {
        let hz = list_hz[at];
        if kept_hz.last().is_none_or(|kept| hz - kept > SAME_FREQUENCY * hz) {
            kept_hz.push(hz);
        }
        places[at] = kept_hz.len() - 1;
    }
    (kept_hz, places)
}
