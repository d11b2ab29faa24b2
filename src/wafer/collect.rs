//! From measured rows to the whole answer, in two walks over them.
//!
//! The first walk keeps the worst of each die, some hundred bytes; then it is known which touchdown
//! counts and which dies stand apart. The second walk takes their points in for curves and trims.

use super::curves::{CurveCollector, Curves};
use super::die::{DieFigures, DieOutcome, DiePoint, DieRecord, DieStatus, MeasuredDie};
use super::group::{Counts, DieRow, GroupResult, Quantiles, YIELD_CONFIDENCE, missed};
use super::manifest::{DieKey, RetestPolicy, standing_rows};
use super::recipe::Recipe;
use super::space::{EdgeComparison, Position, Trend, WaferGeometry, edge_against_centre, trend};
use super::statistics::{Screening, Yield, screen};
use crate::requirement::{Limits, Verdict};
use num_complex::Complex64;
use std::collections::{BTreeMap, HashMap};

/// A part of the channel error over a wafer.
#[derive(Clone, Debug, PartialEq)]
pub struct Spatial {
    /// Plane and bowl through the dies that count and do not stand apart; residuals in the order of
    /// [`WaferResult::fitted`].
    pub trend: Option<Trend>,
    /// The outer ring against the rest.
    pub edge: Option<EdgeComparison>,
}

/// A wafer.
#[derive(Clone, Debug, PartialEq)]
pub struct WaferResult {
    /// Counts, yield and quantiles.
    pub group: GroupResult,
    /// The wafer's rows, as places in [`LotResult::rows`].
    pub rows: Vec<usize>,
    /// What the bulk of its channel errors is like, if any die was measured.
    pub screening: Option<Screening>,
    /// Those of its rows through which the trends go, as places in [`LotResult::rows`].
    pub fitted: Vec<usize>,
    /// Amplitude imbalance over the wafer, dB.
    pub amplitude_db: Spatial,
    /// Phase error over the wafer, degrees.
    pub phase_deg: Spatial,
}

/// A die with several touchdowns.
#[derive(Clone, Debug, PartialEq)]
pub struct Retest {
    /// Which die.
    pub key: DieKey,
    /// Its rows, as places in [`LotResult::rows`].
    pub rows: Vec<usize>,
}

/// The answer to a what-if: rejections alone, judged by the rejection's limit.
#[derive(Clone, Debug, PartialEq)]
pub struct WhatIfResult {
    /// The name by which scripts know it.
    pub name: String,
    /// The same in words.
    pub words: String,
    /// The share that would pass; `None` without a limit on rejection.
    pub passing: Option<Yield>,
    /// Quantiles of the worst rejection of each die, dB.
    pub rejection: Option<Quantiles>,
}

impl WhatIfResult {
    /// From the worst rejection of each die, in any order.
    #[must_use]
    pub fn of(name: String, words: String, mut rejections_db: Vec<f64>, limits: &Limits) -> Self {
        rejections_db.sort_by(f64::total_cmp);
        let passing = limits.rejection().map(|limit| {
            let passing = rejections_db.iter().filter(|db| limit.is_kept_by(**db)).count() as u64;
            Yield::new(passing, rejections_db.len() as u64, YIELD_CONFIDENCE)
        });
        Self { name, words, passing, rejection: Quantiles::of(&rejections_db) }
    }
}

/// The whole answer.
#[derive(Clone, Debug, PartialEq)]
pub struct LotResult {
    /// The limits that every die must hold.
    pub limits: Limits,
    /// The map, with its centre, if the recipe has one.
    pub map: Option<WaferGeometry>,
    /// Dies that lie beyond the wafer's rim on that map.
    pub off_wafer: u64,
    /// Every row, in the order of the manifest.
    pub rows: Vec<DieRow>,
    /// All rows together.
    pub all: GroupResult,
    /// Lot by lot, in the order of the manifest.
    pub lots: Vec<GroupResult>,
    /// Wafer by wafer.
    pub wafers: Vec<WaferResult>,
    /// Dies with several touchdowns.
    pub retests: Vec<Retest>,
    /// The yield under every policy for retests.
    pub yield_by_policy: Vec<(RetestPolicy, Yield)>,
    /// Rejection over frequency.
    pub curves: Curves,
    /// What-ifs.
    pub what_ifs: Vec<WhatIfResult>,
    /// What share must pass.
    pub required_yield: Option<f64>,
}

impl LotResult {
    /// Whether what was required holds: the share of dies that pass if the recipe limits that,
    /// otherwise that every die which was judged passes. Without a die judged it does not.
    #[must_use]
    pub fn passes(&self) -> bool {
        self.decision().passes()
    }

    /// What can be said of the dies together: the yield where one is required, every die otherwise,
    /// within the uncertainty of their files where that is stated.
    #[must_use]
    pub fn decision(&self) -> Verdict {
        let counts = &self.all.counts;
        let Some(share) = counts.yield_of_tested().share else { return Verdict::Fail };
        let required = self.required_yield.unwrap_or(1.0);
        #[expect(clippy::cast_precision_loss, reason = "far fewer than 2^53 dies")]
        let (least, most) = match counts.decided {
            None => (share, share),
            Some(decided) => {
                let of = |dies: u64| dies as f64 / counts.tested() as f64;
                (of(decided.pass), of(decided.pass + decided.undecided))
            }
        };
        match (least >= required, most >= required) {
            (true, _) => Verdict::Pass,
            (false, true) => Verdict::Undecided,
            (false, false) => Verdict::Fail,
        }
    }
}

/// The outer ring begins at this share of the radius that counts.
pub const EDGE_RING_SHARE: f64 = 0.75;

/// Gathers rows.
#[derive(Debug)]
pub struct LotCollector<'r> {
    recipe: &'r Recipe,
    limits: Limits,
    rows: Vec<DieRow>,
    /// For each row measured: its smallest rejection with trims of its own and with ideal blocks.
    trims: Vec<Option<Vec<f64>>>,
}

impl<'r> LotCollector<'r> {
    /// For a recipe and the limits that hold.
    #[must_use]
    pub fn new(recipe: &'r Recipe, limits: Limits) -> Self {
        Self { recipe, limits, rows: Vec::new(), trims: Vec::new() }
    }

    /// The first walk: one row after the other, in the order of the manifest.
    pub fn add(&mut self, record: &DieRecord) {
        let mut trims = None;
        let (status, figures, message) = match &record.outcome {
            DieOutcome::Incomplete(message) => (DieStatus::Incomplete, None, message.clone()),
            DieOutcome::Error(message) => (DieStatus::Error, None, message.clone()),
            DieOutcome::Measured(die) => {
                trims = Some(own_trims(die));
                let missed = missed(&die.figures, &self.limits);
                let status = if missed.is_empty() { DieStatus::Pass } else { DieStatus::Fail };
                let names: Vec<&str> = missed.iter().map(|limit| limit.quantity().name()).collect();
                let message = if names.is_empty() {
                    String::new()
                } else {
                    format!("misses {}", names.join(", "))
                };
                (status, Some(die.figures), message)
            }
        };
        self.trims.push(trims);
        self.rows.push(DieRow {
            key: record.key.clone(),
            line: record.line,
            files: record.files.clone(),
            carried: record.carried.clone(),
            status,
            figures,
            message,
            touchdown: 1,
            stands: true,
            is_excluded: false,
            is_outlier: false,
            position: None,
        });
    }

    /// After the first walk: what can be told from the worst of each die.
    #[must_use]
    pub fn first_answer(mut self) -> SecondWalk {
        let keys: Vec<DieKey> = self.rows.iter().map(|row| row.key.clone()).collect();
        let retests = number_touchdowns(&mut self.rows);
        let map = self.recipe.map.map(|map| self.centred(map));
        let mut off_wafer = 0;
        if let Some(map) = &map {
            for row in &mut self.rows {
                let (x, y) = (f64::from(row.key.die_x), f64::from(row.key.die_y));
                row.position = Some(map.position(x, y));
                row.is_excluded = map.is_excluded(x, y);
                off_wafer += u64::from(map.is_off_wafer(x, y));
            }
        }
        let ranks: Vec<Option<f64>> = self.rows.iter().map(|row| self.rank(row)).collect();
        let yield_by_policy = RetestPolicy::ALL_POLICIES.map(|policy| {
            for (row, stands) in self.rows.iter_mut().zip(standing_rows(&keys, &ranks, policy)) {
                row.stands = stands;
            }
            (policy, Counts::of(&self.rows).yield_of_tested())
        });
        let stands = standing_rows(&keys, &ranks, self.recipe.retests);
        for (row, stands) in self.rows.iter_mut().zip(stands) {
            row.stands = stands;
        }

        let mut places: Vec<((String, String), Vec<usize>)> = Vec::new();
        let mut place_of: HashMap<(String, String), usize> = HashMap::new();
        for (at, row) in self.rows.iter().enumerate() {
            let name = (row.key.lot.clone(), row.key.wafer.clone());
            let place = *place_of.entry(name.clone()).or_insert_with(|| {
                places.push((name, Vec::new()));
                places.len() - 1
            });
            places[place].1.push(at);
        }
        let screenings: Vec<Option<Screening>> =
            places.iter().map(|(_, rows)| self.screen(rows)).collect();
        let wafers = places
            .into_iter()
            .zip(screenings)
            .map(|((name, rows), screening)| self.wafer(&name, rows, screening, map.as_ref()))
            .collect();
        let all: Vec<&DieRow> = self.rows.iter().collect();
        let mut lot_names: Vec<&str> = Vec::new();
        let mut rows_of_lot: HashMap<&str, Vec<&DieRow>> = HashMap::new();
        for row in &self.rows {
            let rows = rows_of_lot.entry(&row.key.lot).or_default();
            if rows.is_empty() {
                lot_names.push(&row.key.lot);
            }
            rows.push(row);
        }
        let lots = lot_names
            .iter()
            .map(|&lot| GroupResult::of(Some(lot), None, &rows_of_lot[lot], &self.limits))
            .collect();
        let result = LotResult {
            all: GroupResult::of(None, None, &all, &self.limits),
            lots,
            wafers,
            retests,
            yield_by_policy: yield_by_policy.to_vec(),
            curves: Curves::default(),
            what_ifs: Vec::new(),
            required_yield: self.recipe.required_yield,
            limits: self.limits,
            map,
            off_wafer,
            rows: self.rows,
        };
        SecondWalk::new(self.recipe, result, self.trims)
    }

    /// How good a touchdown is: its smallest margin as a share of the limit, or its rejection.
    fn rank(&self, row: &DieRow) -> Option<f64> {
        let figures = row.figures.as_ref()?;
        let margins = self.limits.iter().map(|limit| figures.relative_margin(limit));
        Some(margins.reduce(f64::min).unwrap_or(figures.worst_rejection_db))
    }

    /// The map with the die numbers at its centre: as given; nought where die numbers have both
    /// signs; otherwise the middle of the numbers listed.
    fn centred(&self, mut map: WaferGeometry) -> WaferGeometry {
        let middle = |number: &dyn Fn(&DieKey) -> i32| {
            let numbers = || self.rows.iter().map(|row| number(&row.key));
            let (low, high) = (numbers().min().unwrap_or(0), numbers().max().unwrap_or(0));
            if low < 0 && high > 0 { 0.0 } else { 0.5 * (f64::from(low) + f64::from(high)) }
        };
        if !self.recipe.has_centre {
            map.centre_die = (middle(&|key| key.die_x), middle(&|key| key.die_y));
        }
        map
    }

    /// Marks the dies of a wafer that stand apart.
    fn screen(&mut self, rows: &[usize]) -> Option<Screening> {
        let counted: Vec<(usize, Complex64)> = rows
            .iter()
            .filter_map(|&row| Some((row, self.rows[row].counted_figures()?.mean_error)))
            .collect();
        if counted.is_empty() {
            return None;
        }
        let errors: Vec<Complex64> = counted.iter().map(|(_, error)| *error).collect();
        let screening = screen(&errors, self.recipe.screening_sigma);
        for ((row, _), is_outlier) in counted.iter().zip(&screening.is_outlier) {
            self.rows[*row].is_outlier = *is_outlier;
        }
        Some(screening)
    }

    fn wafer(
        &self,
        (lot, wafer): &(String, String),
        rows: Vec<usize>,
        screening: Option<Screening>,
        map: Option<&WaferGeometry>,
    ) -> WaferResult {
        let group: Vec<&DieRow> = rows.iter().map(|&row| &self.rows[row]).collect();
        let fitted: Vec<(usize, Position, Complex64)> = rows
            .iter()
            .filter(|&&row| !self.rows[row].is_outlier)
            .filter_map(|&row| {
                let of_row = &self.rows[row];
                Some((row, of_row.position?, of_row.counted_figures()?.mean_error))
            })
            .collect();
        let positions: Vec<Position> = fitted.iter().map(|(_, position, _)| *position).collect();
        let spatial = |part: &dyn Fn(Complex64) -> f64| {
            let values: Vec<f64> = fitted.iter().map(|(_, _, error)| part(*error)).collect();
            let Some(map) = map else { return Spatial { trend: None, edge: None } };
            let radius_mm = 0.5 * map.diameter_mm;
            let ring_mm = EDGE_RING_SHARE * (radius_mm - map.edge_exclusion_mm);
            Spatial {
                trend: trend(&positions, &values, radius_mm),
                edge: edge_against_centre(&positions, &values, ring_mm),
            }
        };
        WaferResult {
            group: GroupResult::of(Some(lot), Some(wafer), &group, &self.limits),
            amplitude_db: spatial(&|error| crate::units::db_from_neper(error.re)),
            phase_deg: spatial(&|error| error.im.to_degrees()),
            fitted: fitted.iter().map(|(row, _, _)| *row).collect(),
            rows,
            screening,
        }
    }
}

/// Counts each die's touchdowns and lists the dies that have several, in the order of the first.
fn number_touchdowns(rows: &mut [DieRow]) -> Vec<Retest> {
    let mut rows_of: HashMap<DieKey, Vec<usize>> = HashMap::new();
    for (at, row) in rows.iter_mut().enumerate() {
        let earlier = rows_of.entry(row.key.clone()).or_default();
        earlier.push(at);
        row.touchdown = u32::try_from(earlier.len()).unwrap_or(u32::MAX);
    }
    let mut retests: Vec<Retest> = rows_of
        .into_iter()
        .filter(|(_, rows)| rows.len() > 1)
        .map(|(key, rows)| Retest { key, rows })
        .collect();
    retests.sort_by_key(|retest| retest.rows[0]);
    retests
}

fn own_trims(die: &MeasuredDie) -> Vec<f64> {
    [die.own_trim_db, die.own_trims_db].into_iter().chain(die.if_ideal_db.iter().copied()).collect()
}

/// A sum of channel errors.
#[derive(Clone, Copy, Debug, Default)]
struct Mean {
    sum: Complex64,
    count: u32,
}

impl Mean {
    fn add(&mut self, error: Complex64) {
        self.sum += error;
        self.count += 1;
    }

    /// What Q has to be multiplied by to cancel the mean error.
    fn trim(&self) -> Complex64 {
        if self.count == 0 { Complex64::ONE } else { (-self.sum / f64::from(self.count)).exp() }
    }
}

/// Mean errors of a wafer: of all points, and at each frequency by its bits.
#[derive(Clone, Debug, Default)]
struct WaferMeans {
    all: Mean,
    by_frequency: BTreeMap<u64, Mean>,
}

/// The second walk and, where a common trim is asked for, a third.
#[derive(Debug)]
pub struct SecondWalk {
    result: LotResult,
    has_correction: bool,
    is_of_receivers: bool,
    frequency_word: &'static str,
    ideal: Vec<String>,
    trims: Vec<Option<Vec<f64>>>,
    wafer_of: Vec<usize>,
    curves: CurveCollector,
    means: Vec<WaferMeans>,
    common_db: [Vec<f64>; 2],
}

impl SecondWalk {
    fn new(recipe: &Recipe, result: LotResult, trims: Vec<Option<Vec<f64>>>) -> Self {
        let mut wafer_of = vec![0; result.rows.len()];
        for (at, wafer) in result.wafers.iter().enumerate() {
            for &row in &wafer.rows {
                wafer_of[row] = at;
            }
        }
        Self {
            has_correction: recipe.what_if.has_correction,
            is_of_receivers: recipe.is_of_receivers(),
            frequency_word: recipe.frequency_word(),
            ideal: recipe.what_if.ideal.clone(),
            trims,
            wafer_of,
            curves: CurveCollector::new(result.all.counts.tested()),
            means: vec![WaferMeans::default(); result.wafers.len()],
            common_db: [Vec::new(), Vec::new()],
            result,
        }
    }

    /// What is known before the second walk.
    #[must_use]
    pub fn so_far(&self) -> &LotResult {
        &self.result
    }

    /// A row's points, if it counts.
    fn counted<'p>(&self, row: usize, record: &'p DieRecord) -> Option<&'p [DiePoint]> {
        match &record.outcome {
            DieOutcome::Measured(die) if self.result.rows[row].counts() => Some(&die.points),
            _ => None,
        }
    }

    /// The second walk: the same rows in the same order.
    pub fn add(&mut self, row: usize, record: &DieRecord) {
        let Some(points) = self.counted(row, record) else { return };
        self.curves.add(points);
        if self.has_correction && !self.result.rows[row].is_outlier {
            let means = &mut self.means[self.wafer_of[row]];
            for point in points {
                means.all.add(point.channel_error);
                means
                    .by_frequency
                    .entry(point.frequency_hz.to_bits())
                    .or_default()
                    .add(point.channel_error);
            }
        }
    }

    /// Whether a third walk is needed.
    #[must_use]
    pub fn wants_third_walk(&self) -> bool {
        self.has_correction
    }

    /// The third walk: the same rows again. `trimmed_db` gives the rejection of a point whose Q is
    /// multiplied by a weight.
    pub fn add_trimmed(
        &mut self,
        row: usize,
        record: &DieRecord,
        trimmed_db: impl Fn(&DiePoint, Complex64) -> f64,
    ) {
        let Some(points) = self.counted(row, record) else { return };
        let means = &self.means[self.wafer_of[row]];
        let worst = |weight: &dyn Fn(&DiePoint) -> Complex64| {
            points
                .iter()
                .map(|point| trimmed_db(point, weight(point)))
                .fold(f64::INFINITY, f64::min)
        };
        let one = means.all.trim();
        let single_db = worst(&|_| one);
        let several_db = worst(&|point| {
            let mean = means.by_frequency.get(&point.frequency_hz.to_bits());
            mean.map_or(Complex64::ONE, Mean::trim)
        });
        self.common_db[0].push(single_db);
        self.common_db[1].push(several_db);
    }

    /// The whole answer; receivers assembled from different dies are added by the caller.
    #[must_use]
    pub fn finish(self) -> LotResult {
        let frequency_word = self.frequency_word;
        let mut result = self.result;
        let counted = |place: usize| -> Vec<f64> {
            let rows = result.rows.iter().zip(&self.trims).filter(|(row, _)| row.counts());
            rows.filter_map(|(_, trims)| trims.as_ref()?.get(place).copied()).collect()
        };
        let mut asked: Vec<(String, String, Vec<f64>)> = Vec::new();
        if self.has_correction {
            let [single, several] = self.common_db;
            asked.push(("trim_per_wafer".into(), "one trim of Q for each wafer".into(), single));
            asked.push((
                "trim_per_wafer_and_frequency".into(),
                format!("one for each wafer and {frequency_word}"),
                several,
            ));
            asked.push(("trim_per_die".into(), "one for each die".into(), counted(0)));
            // At one frequency a splitter's trim is perfect by definition.
            if self.is_of_receivers {
                asked.push((
                    "trim_per_die_and_frequency".into(),
                    format!("one for each die and {frequency_word}"),
                    counted(1),
                ));
            }
        }
        for (at, name) in self.ideal.iter().enumerate() {
            asked.push((format!("ideal_{name}"), format!("{name} ideal"), counted(2 + at)));
        }
        if !asked.is_empty() {
            asked.insert(
                0,
                ("as_measured".into(), "as measured".into(), result.all.rejections_db.clone()),
            );
        }
        let answers = asked.into_iter().map(|(name, words, rejections_db)| {
            WhatIfResult::of(name, words, rejections_db, &result.limits)
        });
        result.what_ifs = answers.collect();
        result.curves = self.curves.finish();
        result
    }
}

/// The worst that a die is, for those who measure it.
#[must_use]
pub fn measured(points: Vec<DiePoint>, least_lo_power_dbm: Option<f64>) -> Option<MeasuredDie> {
    let figures = DieFigures::of(&points, least_lo_power_dbm)?;
    let untrimmed_db = figures.worst_rejection_db;
    Some(MeasuredDie {
        figures,
        points,
        own_trim_db: untrimmed_db,
        own_trims_db: untrimmed_db,
        if_ideal_db: Vec::new(),
    })
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use super::*;
    use crate::requirement::{Limit, Quantity};
    use crate::wafer::{DieEntry, RecipeAnalysis, WhatIf};
    use std::path::PathBuf;

    fn recipe(retests: RetestPolicy) -> Recipe {
        Recipe {
            path: PathBuf::from("r.toml"),
            title: None,
            manifest: PathBuf::from("d.csv"),
            uncertainty: None,
            retests,
            analysis: RecipeAnalysis::Receiver(PathBuf::from("x.toml")),
            map: None,
            has_centre: false,
            limits: None,
            required_yield: None,
            screening_sigma: 6.0,
            what_if: WhatIf { has_correction: true, ..WhatIf::default() },
        }
    }

    fn limits() -> Limits {
        Limits::from_iter([Limit::new(Quantity::ImageRejection, 30.0).unwrap()])
    }

    /// |1 + ρ|² / |1 - ρ|² with ρ = w e^ε in both sidebands: THEORY's exact form, written out.
    fn rejection_db(error: Complex64, weight: Complex64) -> f64 {
        let rho = weight * error.exp();
        10.0 * ((1.0 + rho).norm_sqr() / (1.0 - rho).norm_sqr()).log10()
    }

    fn record(wafer: &str, die_x: i32, errors: &[Complex64]) -> DieRecord {
        let points: Vec<DiePoint> = (1_u32..)
            .zip(errors)
            .map(|(at, &error)| DiePoint {
                frequency_hz: 1e9 * f64::from(at),
                if_hz: Some(1e8),
                rejection_db: rejection_db(error, Complex64::ONE),
                sideband_gain_db: 0.0,
                wanted_error: error,
                channel_error: error,
            })
            .collect();
        let outcome = match measured(points, None) {
            Some(die) => DieOutcome::Measured(Box::new(die)),
            None => DieOutcome::Error("no points".to_owned()),
        };
        let key = DieKey { lot: "L".into(), wafer: wafer.into(), die_x, die_y: 0 };
        let entry = DieEntry { line: 2, key, files: Vec::new(), carried: Vec::new() };
        DieRecord::new(&entry, outcome)
    }

    fn answer(recipe: &Recipe, records: &[DieRecord]) -> LotResult {
        let mut collector = LotCollector::new(recipe, limits());
        records.iter().for_each(|record| collector.add(record));
        let mut second = collector.first_answer();
        for (row, record) in records.iter().enumerate() {
            second.add(row, record);
        }
        assert!(second.wants_third_walk());
        for (row, record) in records.iter().enumerate() {
            let trimmed =
                |point: &DiePoint, weight: Complex64| rejection_db(point.channel_error, weight);
            second.add_trimmed(row, record, trimmed);
        }
        second.finish()
    }

    fn least(result: &LotResult, name: &str) -> f64 {
        let found = result.what_ifs.iter().find(|answer| answer.name == name).unwrap();
        found.rejection.unwrap().least
    }

    /// Two wafers with an error of their own: one trim per wafer cancels it. An error that turns
    /// over frequency needs one trim per frequency.
    #[test]
    fn a_trim_mends_what_is_common() {
        let (one, other) = (Complex64::new(0.05, 0.1), Complex64::new(-0.08, 0.02));
        let turning = [Complex64::new(0.0, 0.1), Complex64::new(0.0, -0.1)];
        let alike: Vec<DieRecord> = (0..4)
            .map(|die| match die {
                0 | 1 => record("A", die, &[one, one]),
                _ => record("B", die, &[other, other]),
            })
            .collect();
        let result = answer(&recipe(RetestPolicy::Last), &alike);
        let worst = rejection_db(one, Complex64::ONE).min(rejection_db(other, Complex64::ONE));
        assert!((least(&result, "as_measured") - worst).abs() < 1e-9);
        assert!(least(&result, "trim_per_wafer") > 250.0);
        assert_eq!(result.all.counts.pass, 0);

        let result = answer(&recipe(RetestPolicy::Last), &[record("A", 0, &turning)]);
        let untrimmed = rejection_db(turning[0], Complex64::ONE);
        assert!((least(&result, "trim_per_wafer") - untrimmed).abs() < 1e-9);
        assert!(least(&result, "trim_per_wafer_and_frequency") > 250.0);
    }

    #[test]
    fn each_policy_has_its_yield_and_unread_dies_are_no_fails() {
        let (good, bad) = (Complex64::new(0.0, 0.01), Complex64::new(0.0, 0.2));
        let records = [
            record("A", 0, &[bad]),
            record("A", 1, &[good]),
            record("A", 0, &[good]),
            record("A", 2, &[]),
            record("A", 1, &[bad]),
        ];
        for (policy, pass, fail, superseded) in [
            (RetestPolicy::First, 1, 1, 2),
            (RetestPolicy::Last, 1, 1, 2),
            (RetestPolicy::Best, 2, 0, 2),
            (RetestPolicy::All, 2, 2, 0),
        ] {
            let result = answer(&recipe(policy), &records);
            let counts = result.all.counts;
            assert_eq!((counts.pass, counts.fail, counts.error), (pass, fail, 1), "{policy:?}");
            assert_eq!((counts.rows, counts.superseded), (5, superseded));
            assert_eq!(result.passes(), fail == 0);
            assert_eq!(result.retests.len(), 2);
            // All four yields are there whichever policy holds.
            let shares: Vec<u64> =
                result.yield_by_policy.iter().map(|(_, share)| share.passed).collect();
            assert_eq!(shares, [1, 1, 2, 2]);
            assert_eq!(result.wafers[0].group.counts, result.lots[0].counts);
        }
        let nothing = answer(&recipe(RetestPolicy::Last), &[record("A", 0, &[])]);
        assert!(!nothing.passes() && nothing.all.rejection.is_none());
    }
}
