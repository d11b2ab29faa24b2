//! The frequencies at which a receiver is solved: every LO with every IF whose wanted RF is in the
//! RF band.
//!
//! In:  LO frequencies at the mixers, IF frequencies, RF band, multiplication of the LO, mixing
//!      harmonic n.
//! Out: the points of the plan; the grid of the LO path, LO over the multiplication after the split;
//!      the grid of the RF path, n LO ± IF, each frequency once. LOs, IFs and frequencies of which no
//!      point is in the plan are in neither.

use super::error::PlanError;
use super::frequency_plan::{
    Band, FrequencyPlan, Sideband, SweptBands, check_band, check_factor, check_unit, plan_of_bands,
};
use super::signal_path::{LoRf, ReceiverPath};
use crate::network::{FrequencyGrid, NetworkError};
use std::ops::{Range, RangeInclusive};

/// RF frequencies within this relative distance are equal: sums of LO and IF differ in their last
/// digits.
const SAME_FREQUENCY: f64 = 1e-12;

/// The settings of a receiver's plan.
#[derive(Clone, Debug, PartialEq)]
pub struct LoIfSettings {
    /// LO at the mixers, Hz, ascending.
    pub lo_hz: Vec<f64>,
    /// IF, Hz, ascending.
    pub if_hz: Vec<f64>,
    /// The RF band, both ends included, Hz: a point of LO and IF is in the plan where its wanted RF is
    /// in this band; all are without one.
    pub rf_hz: Option<Band>,
    /// The wanted sideband.
    pub wanted: Sideband,
    /// Ratio of the LO at the mixers to the LO input, 1 to 1000.
    pub lo_multiplication: u32,
    /// The part of that multiplication after the split of the LO: the LO path works at LO divided
    /// by this.
    pub lo_multiplication_after_split: u32,
    /// n in RF = n LO ± IF, 1 to 1000.
    pub lo_harmonic: u32,
    /// Power available from the LO source, dBm.
    pub lo_power_dbm: Option<f64>,
}

/// The frequencies of a receiver: at least one point of LO and IF, with both sidebands above 0 Hz.
///
/// Points are ordered by LO, then by IF. Where an RF band limits the plan an LO need not have every
/// IF: results with one value a point are in the order of [`points`](Self::points), and an LO's are
/// found by [`points_of_lo`](Self::points_of_lo).
#[derive(Clone, Debug, PartialEq)]
pub struct ReceiverPlan {
    settings: LoIfSettings,
    lo_hz: Vec<f64>,
    if_hz: Vec<f64>,
    grids: LoRf<FrequencyGrid>,
    points: Vec<LoIfPoint>,
    /// For each LO the first of its points.
    first_of_lo: Vec<usize>,
    /// LOs between which the settings have no other.
    lo_runs: Vec<Range<usize>>,
}

/// An LO with an IF that is in a plan.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct LoIfPoint {
    /// Index of the LO among those of the plan.
    pub lo: usize,
    /// Index of the IF among those of the plan.
    pub intermediate: usize,
    /// LO at the mixers, Hz.
    pub lo_hz: f64,
    /// IF, Hz.
    pub if_hz: f64,
    rf_points: SidebandPoints,
}

impl LoIfPoint {
    /// The point of the RF grid of a sideband.
    pub(super) fn rf_point(&self, sideband: Sideband) -> usize {
        match sideband {
            Sideband::Upper => self.rf_points.upper,
            Sideband::Lower => self.rf_points.lower,
        }
    }
}

/// Points of the RF grid for one LO and IF.
#[derive(Clone, Copy, Debug, PartialEq)]
struct SidebandPoints {
    upper: usize,
    lower: usize,
}

impl ReceiverPlan {
    /// The range of frequencies at which parts are used, Hz.
    #[must_use]
    pub fn band_hz(&self) -> RangeInclusive<f64> {
        let (lo, rf) = (self.grid(ReceiverPath::Lo), self.grid(ReceiverPath::Rf));
        lo.first_hz().min(rf.first_hz())..=lo.last_hz().max(rf.last_hz())
    }

    /// Checks the settings and computes the grids of both paths.
    ///
    /// # Errors
    /// [`PlanError`] with the first invalid setting.
    ///
    /// # Examples
    /// ```
    /// use fourphase::downconverter::{LoIfSettings, ReceiverPlan, Sideband, ReceiverPath};
    ///
    /// let plan = ReceiverPlan::new(LoIfSettings {
    ///     lo_hz: vec![28e9, 29e9],
    ///     if_hz: vec![0.5e9],
    ///     rf_hz: None,
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
        if let Some(band) = settings.rf_hz {
            check_rf_band(&settings, band)?;
        }
        let kept = kept_points(&settings)?;
        let (los, lo_places) = used(&kept.iter().map(|own| own.lo).collect::<Vec<_>>());
        let (ifs, if_places) = used(&kept.iter().map(|own| own.intermediate).collect::<Vec<_>>());
        let lo_hz: Vec<f64> = los.iter().map(|&at| settings.lo_hz[at]).collect();
        let if_hz: Vec<f64> = ifs.iter().map(|&at| settings.if_hz[at]).collect();
        let sidebands_hz: Vec<f64> = kept.iter().flat_map(|own| own.sidebands_hz).collect();
        let (rf_grid_hz, rf_places) = merged(&sidebands_hz);
        let places = lo_places.iter().zip(&if_places).zip(rf_places.chunks_exact(2));
        let points: Vec<LoIfPoint> = places
            .map(|((&lo, &intermediate), rf)| LoIfPoint {
                lo,
                intermediate,
                lo_hz: lo_hz[lo],
                if_hz: if_hz[intermediate],
                rf_points: SidebandPoints { upper: rf[0], lower: rf[1] },
            })
            .collect();
        let path_lo_hz = lo_hz.iter().map(|hz| hz / f64::from(after)).collect();
        let grids = LoRf {
            lo: FrequencyGrid::from_hz(path_lo_hz)?,
            rf: FrequencyGrid::from_hz(rf_grid_hz)?,
        };
        let first = |lo: usize| points.partition_point(|point| point.lo < lo);
        let first_of_lo = (0..lo_hz.len()).map(first).collect();
        Ok(Self { lo_runs: runs(&los), settings, lo_hz, if_hz, grids, points, first_of_lo })
    }

    /// LO at the mixers of which at least one point is in the plan, Hz, ascending; at least one.
    pub fn lo_hz(&self) -> &[f64] {
        &self.lo_hz
    }

    /// IF of which at least one point is in the plan, Hz, ascending; at least one.
    pub fn if_hz(&self) -> &[f64] {
        &self.if_hz
    }

    /// The points, by LO, then by IF; at least one.
    pub fn points(&self) -> &[LoIfPoint] {
        &self.points
    }

    /// The points of an LO, by its index: at least one; none for an LO that the plan does not have.
    pub fn points_of_lo(&self, lo: usize) -> Range<usize> {
        let end = self.points.len();
        let first = |lo: usize| self.first_of_lo.get(lo).copied().unwrap_or(end);
        first(lo)..first(lo.saturating_add(1))
    }

    /// The point of an LO and an IF, by their indices; `None` where it is not in the plan.
    pub fn point_of(&self, lo: usize, intermediate: usize) -> Option<usize> {
        let own = self.points_of_lo(lo);
        let start = own.start;
        let found = self.points[own].binary_search_by_key(&intermediate, |one| one.intermediate);
        found.ok().map(|at| start + at)
    }

    /// Runs of LOs, by their indices, between which none is left out: curves over LO are drawn, and
    /// bands of LO reach, along such a run only.
    pub fn lo_runs(&self) -> &[Range<usize>] {
        &self.lo_runs
    }

    /// How many points of LO and IF are not in the plan, their wanted RF being outside the RF band.
    pub fn points_left_out(&self) -> usize {
        self.settings.lo_hz.len() * self.settings.if_hz.len() - self.points.len()
    }

    /// The wanted sideband.
    pub fn wanted(&self) -> Sideband {
        self.settings.wanted
    }

    /// The settings of the plan.
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

    /// The first point of the LO nearest to the middle.
    pub fn centre_point(&self) -> usize {
        self.points_of_lo(self.centre()).start
    }

    /// Bands of RF, image and LO, and harmonics of the LO input in them.
    pub fn frequency_plan(&self) -> FrequencyPlan {
        let band = |list: &[f64]| (list[0], list[list.len() - 1]);
        let rf_grid_hz = self.grid(ReceiverPath::Rf).as_hz();
        let swept = |sideband: Sideband| {
            let places = self.points.iter().map(|point| point.rf_point(sideband));
            let (low, high) =
                places.fold((usize::MAX, 0), |(low, high), at| (low.min(at), high.max(at)));
            (rf_grid_hz[low], rf_grid_hz[high])
        };
        let bands = SweptBands {
            lo_hz: band(self.lo_hz()),
            if_hz: band(self.if_hz()),
            upper_hz: swept(Sideband::Upper),
            lower_hz: swept(Sideband::Lower),
        };
        plan_of_bands(&bands, self.settings.lo_multiplication, self.wanted())
    }

    /// The plan of one point alone.
    pub(super) fn at(&self, point: usize) -> Result<Self, NetworkError> {
        let own = self.points[point];
        let (upper, lower) = (own.rf_point(Sideband::Upper), own.rf_point(Sideband::Lower));
        let [lo_grid_hz, rf_grid_hz] = ReceiverPath::BOTH.map(|path| self.grid(path).as_hz());
        // The lower sideband is below the upper one, as every IF is above 0 Hz, unless the IF is
        // too small for two different points.
        let (rf_hz, upper) = if lower == upper {
            (vec![rf_grid_hz[lower]], 0)
        } else {
            (vec![rf_grid_hz[lower], rf_grid_hz[upper]], 1)
        };
        let rf_points = SidebandPoints { upper, lower: 0 };
        Ok(Self {
            settings: LoIfSettings {
                lo_hz: vec![own.lo_hz],
                if_hz: vec![own.if_hz],
                ..self.settings
            },
            lo_hz: vec![own.lo_hz],
            if_hz: vec![own.if_hz],
            grids: LoRf {
                lo: FrequencyGrid::from_hz(vec![lo_grid_hz[own.lo]])?,
                rf: FrequencyGrid::from_hz(rf_hz)?,
            },
            points: vec![LoIfPoint { lo: 0, intermediate: 0, rf_points, ..own }],
            first_of_lo: vec![0],
            lo_runs: std::iter::once(0..1).collect(),
        })
    }
}

/// A point of the settings that is in the plan.
struct KeptPoint {
    lo: usize,
    intermediate: usize,
    /// Upper, then lower.
    sidebands_hz: [f64; 2],
}

/// The points whose wanted RF is in the RF band, by LO, then by IF; at least one.
fn kept_points(settings: &LoIfSettings) -> Result<Vec<KeptPoint>, PlanError> {
    let mut kept = Vec::with_capacity(settings.lo_hz.len() * settings.if_hz.len());
    for (lo, &lo_hz) in settings.lo_hz.iter().enumerate() {
        for (intermediate, &if_hz) in settings.if_hz.iter().enumerate() {
            let of = |sideband| rf_hz(settings.lo_harmonic, lo_hz, if_hz, sideband);
            let is_kept =
                settings.rf_hz.is_none_or(|band| distance_hz(band, of(settings.wanted)) <= 0.0);
            if !is_kept {
                continue;
            }
            let sidebands_hz = [Sideband::Upper, Sideband::Lower].map(of);
            if sidebands_hz[1] <= 0.0 {
                return Err(PlanError::NoLowerSideband { lo_hz, if_hz });
            }
            kept.push(KeptPoint { lo, intermediate, sidebands_hz });
        }
    }
    Ok(kept)
}

/// By how much a frequency is outside a band, Hz: at most 0 within, ends included.
fn distance_hz((low_hz, high_hz): Band, hz: f64) -> f64 {
    let beyond_hz = (low_hz - hz).max(hz - high_hz);
    if beyond_hz <= SAME_FREQUENCY * hz.abs() { 0.0 } else { beyond_hz }
}

/// An end of the RF band so many times beyond the plan is in another unit.
const OTHER_UNIT: f64 = 100.0;

/// Refuses an RF band in another unit, and one that leaves no point.
fn check_rf_band(settings: &LoIfSettings, band: Band) -> Result<(), PlanError> {
    check_band("RF", band)?;
    let wanted = settings.lo_hz.iter().flat_map(|&lo_hz| {
        let of_if = move |&if_hz: &f64| {
            (rf_hz(settings.lo_harmonic, lo_hz, if_hz, settings.wanted), lo_hz, if_hz)
        };
        settings.if_hz.iter().map(of_if)
    });
    let (mut first_hz, mut last_hz) = (f64::INFINITY, f64::NEG_INFINITY);
    let mut nearest: Option<(f64, f64, f64)> = None;
    for point in wanted {
        (first_hz, last_hz) = (first_hz.min(point.0), last_hz.max(point.0));
        let is_nearer =
            |found: (f64, f64, f64)| distance_hz(band, point.0) < distance_hz(band, found.0);
        if nearest.is_none_or(is_nearer) {
            nearest = Some(point);
        }
    }
    for found_hz in [band.0, band.1] {
        if found_hz > OTHER_UNIT * last_hz || found_hz * OTHER_UNIT < first_hz {
            return Err(PlanError::RfUnit { found_hz, first_hz, last_hz });
        }
    }
    match nearest {
        Some((nearest_hz, lo_hz, if_hz)) if distance_hz(band, nearest_hz) > 0.0 => {
            Err(PlanError::NoPointInRfBand { band, first_hz, last_hz, nearest_hz, lo_hz, if_hz })
        }
        _ => Ok(()),
    }
}

/// The numbers of a list, each once, ascending, and for each of the list its place among them.
fn used(list: &[usize]) -> (Vec<usize>, Vec<usize>) {
    let mut numbers = list.to_vec();
    numbers.sort_unstable();
    numbers.dedup();
    let places = list.iter().map(|own| numbers.partition_point(|number| number < own)).collect();
    (numbers, places)
}

/// Runs of consecutive numbers, by their places.
fn runs(ascending: &[usize]) -> Vec<Range<usize>> {
    let mut start = 0;
    let runs = ascending.chunk_by(|one, other| one + 1 == *other).map(|run| {
        let own = start..start + run.len();
        start = own.end;
        own
    });
    runs.collect()
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

/// Every frequency once, ascending, and for each entry of the list its index among them.
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
