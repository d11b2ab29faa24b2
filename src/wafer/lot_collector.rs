//! The first pass over measured rows: from the worst figures of each die to counts, yield and
//! trends.
//!
//! It stores some hundred bytes per die. The pass determines which measurement of a die counts and
//! which dies are outliers. The second pass reads the points for curves and corrections.

use super::curves::Curves;
use super::die::{DieKey, DieOutcome, DieStatus, DieWhatIfs};
use super::die_curves::DieCurves;
use super::die_record::DieRecord;
use super::geometry::{Position, WaferGeometry};
use super::group::{Counts, DieRow, GroupResult, missed};
use super::lot_result::{LotGroup, LotResult, Retest, Spatial, WaferResult};
use super::point_collector::PointCollector;
use super::retest::{Rank, RetestPolicy, standing_rows};
use super::settings::{CentreDie, LotMap, LotSettings};
use super::statistics::{Screening, Yield, screen};
use super::trend::{PlacedValue, edge_against_centre, trend};
use crate::requirement::Limits;
use crate::units::db_from_neper;
use num_complex::Complex64;
use std::cmp::Ordering;
use std::collections::{HashMap, HashSet};
use std::sync::Arc;

/// The outer ring begins at this share of the counted radius.
pub(crate) const EDGE_RING_SHARE: f64 = 0.75;

/// The names of lot and wafer.
type WaferKey = (Arc<str>, Arc<str>);

/// Collects rows.
#[derive(Debug)]
pub(crate) struct LotCollector<'s> {
    settings: &'s LotSettings,
    limits: Limits,
    rows: Vec<DieRow>,
    /// For each measured row, its rejection under further questions.
    what_ifs: Vec<Option<Box<DieWhatIfs>>>,
    /// Names of lots and wafers, each stored once.
    names: HashSet<Arc<str>>,
}

impl<'s> LotCollector<'s> {
    /// A collector for these settings and limits, with memory for `rows` rows.
    pub(crate) fn new(settings: &'s LotSettings, limits: Limits, rows: usize) -> Self {
        Self {
            settings,
            limits,
            rows: Vec::with_capacity(rows),
            what_ifs: Vec::with_capacity(rows),
            names: HashSet::new(),
        }
    }

    /// A key whose names are stored once for all dies.
    fn interned(&mut self, key: &DieKey) -> DieKey {
        let mut kept = |name: &Arc<str>| match self.names.get(name) {
            Some(kept) => kept.clone(),
            None => {
                self.names.insert(name.clone());
                name.clone()
            }
        };
        DieKey { lot: kept(&key.lot), wafer: kept(&key.wafer), ..*key }
    }

    /// Adds the next row, in the order of the list of dies.
    pub(crate) fn add(&mut self, record: &DieRecord) {
        let (mut what_ifs, mut warnings) = (None, None);
        let (status, figures, message) = match &record.outcome {
            DieOutcome::Incomplete(message) => (DieStatus::Incomplete, None, message.clone()),
            DieOutcome::Error(message) => (DieStatus::Error, None, message.clone()),
            DieOutcome::Measured(die) => {
                what_ifs = Some(Box::new(die.what_ifs.clone()));
                warnings = (!die.warnings.is_empty()).then(|| die.warnings.join("; ").into());
                let missed = missed(&die.figures, &self.limits);
                let names: Vec<&str> = missed.iter().map(|limit| limit.quantity().name()).collect();
                let (status, message) = if names.is_empty() {
                    (DieStatus::Pass, String::new())
                } else {
                    (DieStatus::Fail, format!("misses {}", names.join(", ")))
                };
                (status, Some(Box::new(die.figures)), message)
            }
        };
        self.what_ifs.push(what_ifs);
        let entry = &record.entry;
        let key = self.interned(&entry.key);
        self.rows.push(DieRow {
            key,
            line: entry.line,
            files: entry.files.clone(),
            carried: entry.carried.clone(),
            status,
            figures,
            message,
            warnings,
            touchdown: 1,
            stands: true,
            is_excluded: false,
            is_outlier: false,
            position: None,
        });
    }

    /// Ends the pass: computes everything that the worst figures of each die determine, and
    /// prepares the second pass.
    pub(crate) fn finish(mut self) -> PointCollector {
        self.refuse_exchanged();
        let retests = number_measurements(&mut self.rows);
        let map = self.settings.map().map(|map| self.centred(map));
        let off_wafer = map.as_ref().map_or(0, |map| self.place(map));
        let yield_by_policy = self.choose_measurements();
        let wafers = self.wafers(map.as_ref());
        let all: Vec<&DieRow> = self.rows.iter().collect();
        let result = LotResult {
            all: GroupResult::of(&all, &self.limits),
            lots: self.lots(),
            wafers,
            retests,
            yield_by_policy,
            curves: Curves::default(),
            die_curves: DieCurves::default(),
            what_ifs: Vec::new(),
            corrections: None,
            required_yield: self.settings.required_yield(),
            limits: self.limits,
            map,
            off_wafer,
            rows: self.rows,
        };
        PointCollector::new(self.settings, result, self.what_ifs)
    }

    /// Marks rows whose nominal phase difference differs from that of most rows as errors: a die
    /// with exchanged outputs is as balanced as the others, but exchanges a receiver's channels.
    fn refuse_exchanged(&mut self) {
        let nominal_of = |row: &DieRow| row.figures.as_ref()?.nominal_deg;
        let lagging =
            self.rows.iter().filter_map(nominal_of).filter(|nominal| *nominal < 0.0).count();
        let all = self.rows.iter().filter_map(nominal_of).count();
        // If both are equally frequent, that of the first row is used.
        let usual_deg = match (2 * lagging).cmp(&all) {
            Ordering::Less => {
                self.rows.iter().filter_map(nominal_of).find(|nominal| *nominal >= 0.0)
            }
            Ordering::Equal => self.rows.iter().find_map(nominal_of),
            Ordering::Greater => {
                self.rows.iter().filter_map(nominal_of).find(|nominal| *nominal < 0.0)
            }
        };
        let Some(usual_deg) = usual_deg else { return };
        for (row, what_ifs) in self.rows.iter_mut().zip(&mut self.what_ifs) {
            let Some(own_deg) = nominal_of(row) else { continue };
            if (own_deg < 0.0) == (usual_deg < 0.0) {
                continue;
            }
            row.status = DieStatus::Error;
            row.message = format!(
                "its outputs are exchanged: {own_deg:.0} deg between them, {usual_deg:.0} deg on most \
                 dies of the run"
            );
            row.figures = None;
            *what_ifs = None;
        }
    }

    /// The map with the die numbers at its centre: the given ones; zero if die numbers have both
    /// signs; otherwise the middle of the listed numbers.
    fn centred(&self, map: &LotMap) -> WaferGeometry {
        let middle = |number: &dyn Fn(&DieKey) -> i32| {
            let numbers = || self.rows.iter().map(|row| number(&row.key));
            let (low, high) = (numbers().min()?, numbers().max()?);
            let is_across = low < 0 && high > 0;
            Some(if is_across { 0.0 } else { 0.5 * (f64::from(low) + f64::from(high)) })
        };
        match (map.centre, middle(&|key| key.die_x), middle(&|key| key.die_y)) {
            (CentreDie::Inferred, Some(x), Some(y)) => map.geometry.centred_at((x, y)),
            _ => map.geometry,
        }
    }

    /// Positions every row on the map; returns the number of rows off the wafer.
    fn place(&mut self, map: &WaferGeometry) -> u64 {
        let mut off_wafer = 0;
        for row in &mut self.rows {
            let (x, y) = (f64::from(row.key.die_x), f64::from(row.key.die_y));
            row.position = Some(map.position(x, y));
            row.is_excluded = map.is_excluded(x, y);
            off_wafer += u64::from(map.is_off_wafer(x, y));
        }
        off_wafer
    }

    /// Marks the measurements that count; returns the yield under every retest rule.
    fn choose_measurements(&mut self) -> Vec<(RetestPolicy, Yield)> {
        let ranks: Vec<Option<Rank>> = self.rows.iter().map(|row| self.rank(row)).collect();
        let mut choose = |policy| {
            let keys = self.rows.iter().map(|row| &row.key);
            let ranked: Vec<(&DieKey, Option<Rank>)> = keys.zip(ranks.iter().copied()).collect();
            let standing = standing_rows(&ranked, policy);
            for (row, stands) in self.rows.iter_mut().zip(standing) {
                row.stands = stands;
            }
            (policy, Counts::of(&self.rows).yield_of_tested())
        };
        let yields = RetestPolicy::ALL_POLICIES.map(&mut choose).to_vec();
        choose(self.settings.retests());
        yields
    }

    /// The rank of a measurement: the number of limits that it misses, then its margin, or its
    /// rejection without limits.
    fn rank(&self, row: &DieRow) -> Option<Rank> {
        let figures = row.figures.as_ref()?;
        let missed = self.limits.iter().filter(|limit| figures.margin(*limit) < 0.0).count();
        let mut limits = self.limits.iter();
        let margin = match (limits.next(), limits.next()) {
            (None, _) => figures.worst_rejection_db,
            (Some(only), None) => figures.margin(only),
            _ => {
                let margins = self.limits.iter().map(|limit| figures.relative_margin(limit));
                margins.fold(f64::INFINITY, f64::min)
            }
        };
        // The number of limited quantities is small.
        Some(Rank::new(u32::try_from(missed).unwrap_or(u32::MAX), margin))
    }

    /// The rows of each lot, in the order of the first row.
    fn lots(&self) -> Vec<LotGroup> {
        let mut names: Vec<&str> = Vec::new();
        let mut rows_of: HashMap<&str, Vec<&DieRow>> = HashMap::new();
        for row in &self.rows {
            let rows = rows_of.entry(&row.key.lot).or_default();
            if rows.is_empty() {
                names.push(&row.key.lot);
            }
            rows.push(row);
        }
        let group = |lot: &str| GroupResult::of(&rows_of[lot], &self.limits);
        names.into_iter().map(|lot| LotGroup { lot: lot.to_owned(), group: group(lot) }).collect()
    }

    /// Finds the outliers of each wafer and computes its results, in the order of the first row.
    fn wafers(&mut self, map: Option<&WaferGeometry>) -> Vec<WaferResult> {
        let mut places: Vec<(WaferKey, Vec<usize>)> = Vec::new();
        let mut place_of: HashMap<WaferKey, usize> = HashMap::new();
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
        places
            .into_iter()
            .zip(screenings)
            .map(|((name, rows), screening)| self.wafer(name, rows, screening, map))
            .collect()
    }

    /// Marks the outliers of a wafer.
    fn screen(&mut self, rows: &[usize]) -> Option<Screening> {
        let counted: Vec<(usize, Complex64)> = rows
            .iter()
            .filter_map(|&row| Some((row, self.rows[row].counted_figures()?.mean_error)))
            .collect();
        let errors: Vec<Complex64> = counted.iter().map(|(_, error)| *error).collect();
        let screening = screen(&errors, self.settings.screening_sigma())?;
        for ((row, _), is_outlier) in counted.iter().zip(&screening.is_outlier) {
            self.rows[*row].is_outlier = *is_outlier;
        }
        Some(screening)
    }

    fn wafer(
        &self,
        (lot, wafer): WaferKey,
        rows: Vec<usize>,
        screening: Option<Screening>,
        map: Option<&WaferGeometry>,
    ) -> WaferResult {
        let group: Vec<&DieRow> = rows.iter().map(|&row| &self.rows[row]).collect();
        let fitted: Vec<usize> = rows
            .iter()
            .copied()
            .filter(|&row| !self.rows[row].is_outlier && self.placed_error(row).is_some())
            .collect();
        let spatial = |part: &dyn Fn(Complex64) -> f64| {
            let Some(map) = map else { return Spatial { trend: None, edge: None } };
            let placed = fitted.iter().filter_map(|&row| self.placed_error(row));
            let values: Vec<PlacedValue> = placed
                .map(|(position, error)| PlacedValue { position, value: part(error) })
                .collect();
            Spatial {
                trend: trend(&values, map.radius_mm()),
                edge: edge_against_centre(&values, EDGE_RING_SHARE * map.counted_radius_mm()),
            }
        };
        WaferResult {
            group: GroupResult::of(&group, &self.limits),
            amplitude_db: spatial(&|error| db_from_neper(error.re)),
            phase_deg: spatial(&|error| error.im.to_degrees()),
            lot: lot.to_string(),
            wafer: wafer.to_string(),
            fitted,
            rows,
            screening,
        }
    }

    /// The position and the mean channel error of a die that counts.
    fn placed_error(&self, row: usize) -> Option<(Position, Complex64)> {
        let row = &self.rows[row];
        Some((row.position?, row.counted_figures()?.mean_error))
    }
}

/// Numbers the measurements of each die and lists dies with several, in the order of the first.
fn number_measurements(rows: &mut [DieRow]) -> Vec<Retest> {
    // The rows of each die together, in the order of the list.
    let mut order: Vec<usize> = (0..rows.len()).collect();
    order.sort_by(|&one, &other| rows[one].key.cmp(&rows[other].key));
    let mut retests = Vec::new();
    for of_die in order.chunk_by(|&one, &other| rows[one].key == rows[other].key) {
        if of_die.len() > 1 {
            retests.push(Retest { key: rows[of_die[0]].key.clone(), rows: of_die.to_vec() });
        }
    }
    for retest in &retests {
        for (number, &row) in (1..).zip(&retest.rows) {
            rows[row].touchdown = number;
        }
    }
    retests.sort_by(|one, other| one.rows.cmp(&other.rows));
    retests
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use super::super::die::{DieEntry, DieFigures, DiePoint, MeasuredDie};
    use super::super::settings::{DieSubject, WhatIfSettings};
    use super::super::shared_correction::{CorrectionModel, DieCorrection};
    use super::super::what_if::WhatIf;
    use super::*;
    use crate::requirement::{Limit, Quantity};

    fn settings(retests: RetestPolicy) -> LotSettings {
        LotSettings::new(DieSubject::Receiver)
            .with_retests(retests)
            .with_what_if(WhatIfSettings { correction: true, ..WhatIfSettings::default() })
            .unwrap()
    }

    fn limits() -> Limits {
        Limits::from_iter([Limit::new(Quantity::ImageRejection, 30.0).unwrap()])
    }

    /// |1 + ρ|² / |1 - ρ|² with ρ = e^ε in both sidebands: the exact form, written out.
    fn rejection_db(error: Complex64) -> f64 {
        let rho = error.exp();
        10.0 * ((1.0 + rho).norm_sqr() / (1.0 - rho).norm_sqr()).log10()
    }

    fn record(wafer: &str, die_x: i32, errors: &[Complex64]) -> DieRecord {
        let points: Vec<DiePoint> = (1_u32..)
            .zip(errors)
            .map(|(at, &error)| DiePoint {
                frequency_hz: 1e9 * f64::from(at),
                if_hz: Some(1e8),
                rejection_db: rejection_db(error),
                sideband_gain_db: 0.0,
                wanted_error: error,
                channel_error: error,
                losses_db: None,
            })
            .collect();
        let outcome = match DieFigures::of(&points, None) {
            Some(figures) => {
                let rejection_db = figures.worst_rejection_db;
                let what_ifs = DieWhatIfs {
                    corrected_db: rejection_db,
                    corrected_per_frequency_db: rejection_db,
                    ideal_db: Vec::new(),
                };
                DieOutcome::Measured(Box::new(MeasuredDie {
                    figures,
                    points,
                    what_ifs,
                    warnings: Vec::new(),
                }))
            }
            None => DieOutcome::Error("no points".to_owned()),
        };
        let key = DieKey { lot: "L".into(), wafer: wafer.into(), die_x, die_y: 0 };
        let entry = DieEntry { line: 2, key, files: Vec::new(), carried: Vec::new() };
        DieRecord { entry, outcome }
    }

    /// A correction in which the channel error itself, in dB and degrees, stands for its
    /// cancellation.
    struct Cancelling;

    impl CorrectionModel for Cancelling {
        fn acts_on(&self) -> &'static str {
            "if_phase"
        }

        fn against(&self, error: Complex64) -> DieCorrection {
            DieCorrection { amplitude_db: error.re, phase_deg: error.im }
        }

        fn best(&self, points: &[DiePoint]) -> DieCorrection {
            self.against(points[0].channel_error)
        }

        fn corrected_db(&self, point: &DiePoint, own: DieCorrection) -> f64 {
            rejection_db(point.channel_error - Complex64::new(own.amplitude_db, own.phase_deg))
        }

        fn corrected_error(&self, point: &DiePoint, own: DieCorrection) -> Option<Complex64> {
            Some(point.wanted_error - Complex64::new(own.amplitude_db, own.phase_deg))
        }
    }

    fn answer(settings: &LotSettings, records: &[DieRecord]) -> LotResult {
        answer_with(settings, limits(), records)
    }

    fn answer_with(settings: &LotSettings, limits: Limits, records: &[DieRecord]) -> LotResult {
        let mut collector = LotCollector::new(settings, limits, records.len());
        records.iter().for_each(|record| collector.add(record));
        let mut points = collector.finish();
        for (row, record) in records.iter().enumerate() {
            points.add(row, record);
        }
        assert!(points.wants_third_walk());
        for (row, record) in records.iter().enumerate() {
            points.add_corrected(row, record, &Cancelling);
        }
        points.finish(None)
    }

    fn least(result: &LotResult, what_if: &WhatIf) -> f64 {
        let found = result.what_ifs.iter().find(|answer| answer.what_if == *what_if).unwrap();
        found.rejection.unwrap().least
    }

    /// Two wafers with different errors: one correction per wafer cancels each. An error that
    /// rotates over frequency needs one correction per frequency.
    #[test]
    fn a_correction_cancels_the_error_that_dies_share() {
        let (one, other) = (Complex64::new(0.05, 0.1), Complex64::new(-0.08, 0.02));
        let turning = [Complex64::new(0.0, 0.1), Complex64::new(0.0, -0.1)];
        let alike: Vec<DieRecord> = (0..4)
            .map(|die| match die {
                0 | 1 => record("A", die, &[one, one]),
                _ => record("B", die, &[other, other]),
            })
            .collect();
        let result = answer(&settings(RetestPolicy::Last), &alike);
        let worst = rejection_db(one).min(rejection_db(other));
        assert!((least(&result, &WhatIf::AsMeasured) - worst).abs() < 1e-9);
        assert!(least(&result, &WhatIf::CorrectionPerWafer) > 250.0);
        let listed = result.corrections().unwrap();
        let wafers: Vec<f64> =
            listed.wafers.iter().map(|own| own.all.unwrap().amplitude_db).collect();
        assert!((wafers[0] - one.re).abs() < 1e-12 && (wafers[1] - other.re).abs() < 1e-12);
        assert_eq!(listed.wafers[1].by_frequency.len(), 2);
        assert!(listed.dies.iter().all(Option::is_some));
        assert_eq!(result.all.counts.pass, 0);

        let result = answer(&settings(RetestPolicy::Last), &[record("A", 0, &turning)]);
        let untrimmed = rejection_db(turning[0]);
        assert!((least(&result, &WhatIf::CorrectionPerWafer) - untrimmed).abs() < 1e-9);
        assert!(least(&result, &WhatIf::CorrectionPerWaferAndFrequency) > 250.0);
    }

    /// A correction of the wafer's mean moves the error of one die beyond a limit that it met.
    #[test]
    fn corrected_dies_are_judged_by_all_limits() {
        let errors = [0.0, 0.0, 0.0, 0.2].map(|radians| Complex64::new(0.0, radians));
        let records: Vec<DieRecord> =
            (0..).zip(errors).map(|(die, error)| record("A", die, &[error, error])).collect();
        let tight = [(Quantity::ImageRejection, 20.0), (Quantity::PhaseError, 2.0)];
        let limits =
            Limits::from_iter(tight.map(|(quantity, value)| Limit::new(quantity, value).unwrap()));
        let result = answer_with(&settings(RetestPolicy::Last), limits, &records);
        let found = |asked: &WhatIf| {
            let answer = result.what_ifs.iter().find(|answer| answer.what_if == *asked).unwrap();
            let share = |share: &Option<Yield>| share.as_ref().map(|share| share.passed);
            (share(&answer.passing), share(&answer.passing_all))
        };
        assert_eq!(found(&WhatIf::AsMeasured), (Some(3), Some(3)));
        // The mean of all is 0.05 rad, 2.9 degrees: every rejection passes, no phase error does.
        assert_eq!(found(&WhatIf::CorrectionPerWafer), (Some(4), Some(0)));
        assert_eq!(found(&WhatIf::CorrectionPerDie).1, Some(3));
        assert_eq!(found(&WhatIf::CorrectionPerDieAndFrequency).1, Some(3));
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
            let result = answer(&settings(policy), &records);
            let counts = result.all.counts;
            assert_eq!((counts.pass, counts.fail, counts.error), (pass, fail, 1), "{policy:?}");
            assert_eq!((counts.rows, counts.superseded), (5, superseded));
            assert_eq!(result.passes(), fail == 0);
            assert_eq!(result.retests.len(), 2);
            // All four yields are present under every retest rule.
            let shares: Vec<u64> =
                result.yield_by_policy.iter().map(|(_, share)| share.passed).collect();
            assert_eq!(shares, [1, 1, 2, 2]);
            assert_eq!(result.wafers[0].group.counts, result.lots[0].group.counts);
        }
        let nothing = answer(&settings(RetestPolicy::Last), &[record("A", 0, &[])]);
        assert!(!nothing.passes() && nothing.all.rejection.is_none());
    }
}
