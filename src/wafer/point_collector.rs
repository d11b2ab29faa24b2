//! The second pass over measured rows, for curves over frequency and mean channel errors, and a
//! third pass for corrections of wafers.

use super::curves::CurveCollector;
use super::die::{DieOutcome, DiePoint, DieWhatIfs};
use super::die_curves::DieCurveCollector;
use super::die_record::DieRecord;
use super::lot_result::LotResult;
use super::settings::{DieSubject, LotSettings, WhatIfSettings};
use super::shared_correction::{CorrectionModel, DieCorrection, LotCorrections, WaferCorrections};
use super::what_if::{WhatIf, WhatIfResult};
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

/// The minimum rejections of dies with the correction of their wafer, dB.
#[derive(Debug, Default)]
struct SharedCorrections {
    per_wafer_db: Vec<f64>,
    per_wafer_and_frequency_db: Vec<f64>,
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
    shared: SharedCorrections,
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
            shared: SharedCorrections::default(),
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
        let wafer = self.wafer_of[row];
        let corrections = self.corrections.get_or_insert_with(|| LotCorrections {
            acts_on: model.acts_on(),
            wafers: self.means.iter().map(|means| means.corrections(model)).collect(),
            dies: vec![None; self.result.rows.len()],
        });
        corrections.dies[row] = Some(model.best(points));
        let own = &corrections.wafers[wafer];
        // Where all dies of a wafer, or all with one frequency, are outliers, no die is corrected.
        let worst_db = |correction: &dyn Fn(&DiePoint) -> Option<DieCorrection>| {
            let corrected = |point: &DiePoint| match correction(point) {
                Some(correction) => model.corrected_db(point, correction),
                None => point.rejection_db,
            };
            points.iter().map(corrected).fold(f64::INFINITY, f64::min)
        };
        let at = |point: &DiePoint| {
            let place = own
                .by_frequency
                .binary_search_by(|(frequency_hz, _)| frequency_hz.total_cmp(&point.frequency_hz));
            place.ok().map(|place| own.by_frequency[place].1)
        };
        self.shared.per_wafer_db.push(worst_db(&|_| own.all));
        self.shared.per_wafer_and_frequency_db.push(worst_db(&at));
    }

    /// The complete result. `assembled_db` are the minimum rejections of receivers assembled from
    /// blocks of different dies, if requested by the settings.
    pub(crate) fn finish(self, assembled_db: Option<Vec<f64>>) -> LotResult {
        let counted = |rejection_db: &dyn Fn(&DieWhatIfs) -> f64| -> Vec<f64> {
            let rows = self.result.rows.iter().zip(&self.what_ifs);
            let counted = rows.filter(|(row, _)| row.counts());
            counted.filter_map(|(_, what_ifs)| Some(rejection_db(what_ifs.as_ref()?))).collect()
        };
        let mut asked: Vec<(WhatIf, Vec<f64>)> = Vec::new();
        if self.asked.correction {
            asked.push((WhatIf::CorrectionPerWafer, self.shared.per_wafer_db));
            asked.push((
                WhatIf::CorrectionPerWaferAndFrequency,
                self.shared.per_wafer_and_frequency_db,
            ));
            asked.push((WhatIf::CorrectionPerDie, counted(&|die| die.corrected_db)));
            if self.subject == DieSubject::Receiver {
                asked.push((
                    WhatIf::CorrectionPerDieAndFrequency,
                    counted(&|die| die.corrected_per_frequency_db),
                ));
            }
        }
        for (at, block) in self.asked.ideal.iter().enumerate() {
            let rejections_db = counted(&|die| die.ideal_db[at]);
            asked.push((WhatIf::Ideal { block: block.clone() }, rejections_db));
        }
        if let Some(rejections_db) = assembled_db {
            let count = self.asked.assemble;
            asked.push((WhatIf::Assembled { count }, rejections_db));
        }
        if !asked.is_empty() {
            asked.insert(0, (WhatIf::AsMeasured, self.result.all.rejections_db.clone()));
        }
        let limits = &self.result.limits;
        let what_ifs = asked
            .into_iter()
            .map(|(what_if, rejections_db)| WhatIfResult::of(what_if, rejections_db, limits))
            .collect();
        LotResult {
            what_ifs,
            curves: self.curves.finish(),
            die_curves: self.die_curves.finish(),
            corrections: self.corrections,
            ..self.result
        }
    }
}
