//! The second pass over measured rows, for curves over frequency and mean channel errors, and a
//! third pass for corrections of wafers.

use super::curves::CurveCollector;
use super::die::{DieFigures, DieOutcome, DiePoint, DieWhatIfs};
use super::die_curves::DieCurveCollector;
use super::die_record::DieRecord;
use super::group::missed;
use super::lot_result::LotResult;
use super::settings::{DieSubject, LotSettings, WhatIfSettings};
use super::shared_correction::{CorrectionModel, DieCorrection, LotCorrections, WaferCorrections};
use super::what_if::{WhatIf, WhatIfResult};
use crate::requirement::Limits;
use num_complex::Complex64;
use std::collections::BTreeMap;

/// A mean of channel errors.
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

    /// The mean; `None` without errors.
    fn of_all(&self) -> Option<Complex64> {
        (self.count > 0).then(|| self.sum / f64::from(self.count))
    }
}

/// Mean errors of a wafer: of all points, and of each frequency, indexed by its bits.
#[derive(Clone, Debug, Default)]
struct WaferMeans {
    all: Mean,
    by_frequency: BTreeMap<u64, Mean>,
}

impl WaferMeans {
    fn add(&mut self, point: &DiePoint) {
        self.all.add(point.channel_error);
        let at = self.by_frequency.entry(point.frequency_hz.to_bits()).or_default();
        at.add(point.channel_error);
    }

    /// The corrections that cancel the means; frequencies ascend, as the bits of positive numbers
    /// do.
    fn corrections(&self, model: &impl CorrectionModel) -> WaferCorrections {
        let at = |(bits, mean): (&u64, &Mean)| {
            Some((f64::from_bits(*bits), model.against(mean.of_all()?)))
        };
        WaferCorrections {
            all: self.all.of_all().map(|error| model.against(error)),
            by_frequency: self.by_frequency.iter().filter_map(at).collect(),
        }
    }
}

/// Dies with a correction.
#[derive(Debug, Default)]
struct CorrectedDies {
    /// Their minimum rejections, dB.
    rejections_db: Vec<f64>,
    /// How many of them meet all limits.
    meeting_all: usize,
}

impl CorrectedDies {
    fn add(&mut self, figures: DieFigures, limits: &Limits) {
        self.rejections_db.push(figures.worst_rejection_db);
        self.meeting_all += usize::from(missed(&figures, limits).is_empty());
    }
}

/// Dies with the corrections of the further questions.
#[derive(Debug, Default)]
struct Corrected {
    per_wafer: CorrectedDies,
    per_wafer_and_frequency: CorrectedDies,
    per_die: CorrectedDies,
    per_die_and_frequency: CorrectedDies,
}

/// A counted die and what corrections do to it.
struct MeasuredPoints<'p, M> {
    points: &'p [DiePoint],
    measured: &'p DieFigures,
    model: &'p M,
}

impl<M: CorrectionModel> MeasuredPoints<'_, M> {
    /// The figures with a correction of each point, or none; what no correction changes is as measured.
    fn corrected(&self, corrections: &[Option<DieCorrection>]) -> DieFigures {
        let pairs = || self.points.iter().zip(corrections);
        let rejections_db = pairs().map(|(point, correction)| match *correction {
            Some(correction) => self.model.corrected_db(point, correction),
            None => point.rejection_db,
        });
        let worst_rejection_db = rejections_db.fold(f64::INFINITY, f64::min);
        let errors: Option<Vec<Complex64>> = pairs()
            .map(|(point, correction)| match *correction {
                Some(correction) => self.model.corrected_error(point, correction),
                None => Some(point.wanted_error),
            })
            .collect();
        let figures = DieFigures { worst_rejection_db, ..*self.measured };
        errors.map_or(figures, |errors| figures.with_errors(&errors))
    }
}

/// For each point the best correction of all points with its frequency.
fn best_by_frequency(
    points: &[DiePoint],
    model: &impl CorrectionModel,
) -> Vec<Option<DieCorrection>> {
    let same_frequency =
        |one: &DiePoint, other: &DiePoint| one.frequency_hz.total_cmp(&other.frequency_hz).is_eq();
    let runs = points.chunk_by(same_frequency);
    runs.flat_map(|run| vec![Some(model.best(run)); run.len()]).collect()
}

/// Collects points of the rows that count.
#[derive(Debug)]
pub(crate) struct PointCollector {
    result: LotResult,
    subject: DieSubject,
    asked: WhatIfSettings,
    /// For each measured row, its rejection under further questions.
    what_ifs: Vec<Option<Box<DieWhatIfs>>>,
    /// The wafer of each row, as an index of the result's wafers.
    wafer_of: Vec<usize>,
    curves: CurveCollector,
    die_curves: DieCurveCollector,
    means: Vec<WaferMeans>,
    corrected: Corrected,
    corrections: Option<LotCorrections>,
}

impl PointCollector {
    pub(super) fn new(
        settings: &LotSettings,
        result: LotResult,
        what_ifs: Vec<Option<Box<DieWhatIfs>>>,
    ) -> Self {
        let mut wafer_of = vec![0; result.rows.len()];
        for (at, wafer) in result.wafers.iter().enumerate() {
            for &row in &wafer.rows {
                wafer_of[row] = at;
            }
        }
        Self {
            subject: settings.subject(),
            asked: settings.what_if().clone(),
            what_ifs,
            wafer_of,
            curves: CurveCollector::new(result.all.counts.tested()),
            die_curves: DieCurveCollector::new(result.rows.len()),
            means: vec![WaferMeans::default(); result.wafers.len()],
            corrected: Corrected::default(),
            corrections: None,
            result,
        }
    }

    /// The result before the second walk.
    pub(crate) fn so_far(&self) -> &LotResult {
        &self.result
    }

    /// The points of a row, if it counts.
    fn counted<'p>(&self, row: usize, record: &'p DieRecord) -> Option<&'p [DiePoint]> {
        match &record.outcome {
            DieOutcome::Measured(die) if self.result.rows[row].counted_figures().is_some() => {
                Some(&die.points)
            }
            _ => None,
        }
    }

    /// The second pass: the same rows in the same order, counted from 0.
    pub(crate) fn add(&mut self, row: usize, record: &DieRecord) {
        match &record.outcome {
            DieOutcome::Measured(die) => self.die_curves.add(&die.points),
            _ => self.die_curves.add(&[]),
        }
        let Some(points) = self.counted(row, record) else { return };
        self.curves.add(points);
        if self.asked.correction && !self.result.rows[row].is_outlier {
            let means = &mut self.means[self.wafer_of[row]];
            points.iter().for_each(|point| means.add(point));
        }
    }

    /// Whether a third pass is needed.
    pub(crate) fn wants_third_walk(&self) -> bool {
        self.asked.correction
    }

    /// The third pass: the same rows, with the effect of a correction on a point.
    pub(crate) fn add_corrected(
        &mut self,
        row: usize,
        record: &DieRecord,
        model: &impl CorrectionModel,
    ) {
        let Some(points) = self.counted(row, record) else { return };
        let Some(measured) = self.result.rows[row].counted_figures() else { return };
        let Some(known) = &self.what_ifs[row] else { return };
        let wafer = self.wafer_of[row];
        let corrections = self.corrections.get_or_insert_with(|| LotCorrections {
            acts_on: model.acts_on(),
            wafers: self.means.iter().map(|means| means.corrections(model)).collect(),
            dies: vec![None; self.result.rows.len()],
        });
        let best = model.best(points);
        corrections.dies[row] = Some(best);
        let own = &corrections.wafers[wafer];
        // Where all dies of a wafer, or all with one frequency, are outliers, no die is corrected.
        let at = |point: &DiePoint| {
            let place = own
                .by_frequency
                .binary_search_by(|(frequency_hz, _)| frequency_hz.total_cmp(&point.frequency_hz));
            place.ok().map(|place| own.by_frequency[place].1)
        };
        let limits = &self.result.limits;
        let die = MeasuredPoints { points, measured, model };
        let all = |correction| vec![correction; points.len()];
        self.corrected.per_wafer.add(die.corrected(&all(own.all)), limits);
        let by_frequency: Vec<_> = points.iter().map(at).collect();
        self.corrected.per_wafer_and_frequency.add(die.corrected(&by_frequency), limits);
        let of_die = die.corrected(&all(Some(best)));
        let of_die = DieFigures { worst_rejection_db: known.corrected_db, ..of_die };
        self.corrected.per_die.add(of_die, limits);
        if self.subject == DieSubject::Receiver {
            let of_die = die.corrected(&best_by_frequency(points, model));
            let worst_rejection_db = known.corrected_per_frequency_db;
            let of_die = DieFigures { worst_rejection_db, ..of_die };
            self.corrected.per_die_and_frequency.add(of_die, limits);
        }
    }

    /// The complete result. `assembled_db` are the minimum rejections of receivers assembled from
    /// blocks of different dies, if requested by the settings.
    pub(crate) fn finish(self, assembled_db: Option<Vec<f64>>) -> LotResult {
        let counted = |rejection_db: &dyn Fn(&DieWhatIfs) -> f64| -> Vec<f64> {
            let rows = self.result.rows.iter().zip(&self.what_ifs);
            let counted = rows.filter(|(row, _)| row.counts());
            counted.filter_map(|(_, what_ifs)| Some(rejection_db(what_ifs.as_ref()?))).collect()
        };
        let limits = &self.result.limits;
        let mut what_ifs = Vec::new();
        let mut add = |what_if, rejections_db, meeting_all| {
            what_ifs.push(WhatIfResult::of(what_if, rejections_db, meeting_all, limits));
        };
        if self.asked.correction || !self.asked.ideal.is_empty() || assembled_db.is_some() {
            let all = &self.result.all;
            let passing = usize::try_from(all.counts.pass).ok();
            add(WhatIf::AsMeasured, all.rejections_db.clone(), passing);
        }
        if self.asked.correction {
            let own = self.corrected;
            let mut questions = vec![
                (WhatIf::CorrectionPerWafer, own.per_wafer),
                (WhatIf::CorrectionPerWaferAndFrequency, own.per_wafer_and_frequency),
                (WhatIf::CorrectionPerDie, own.per_die),
            ];
            if self.subject == DieSubject::Receiver {
                questions.push((WhatIf::CorrectionPerDieAndFrequency, own.per_die_and_frequency));
            }
            for (what_if, dies) in questions {
                add(what_if, dies.rejections_db, Some(dies.meeting_all));
            }
        }
        for (at, block) in self.asked.ideal.iter().enumerate() {
            let rejections_db = counted(&|die| die.ideal_db[at]);
            add(WhatIf::Ideal { block: block.clone() }, rejections_db, None);
        }
        if let Some(rejections_db) = assembled_db {
            add(WhatIf::Assembled { count: self.asked.assemble }, rejections_db, None);
        }
        LotResult {
            what_ifs,
            curves: self.curves.finish(),
            die_curves: self.die_curves.finish(),
            corrections: self.corrections,
            ..self.result
        }
    }
}
