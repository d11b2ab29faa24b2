//! The effect of corrections of Q on the points of a die.

use crate::downconverter::{
    CorrectionDomain, CorrectionPoint, DieReceiver, IqCorrection, QCorrection, weight_against,
};
use crate::units::{amplitude_from_db, db_from_amplitude};
use crate::wafer::{CorrectionModel, DieCorrection, DiePoint};
use num_complex::Complex64;

/// Corrections of a receiver or, as complex weights, of a splitter. They replace the correction of
/// the receiver.
pub(super) struct DieCorrections<'a> {
    receiver: Option<&'a DieReceiver>,
}

impl<'a> DieCorrections<'a> {
    pub(super) fn of_receiver(receiver: &'a DieReceiver) -> Self {
        Self { receiver: Some(receiver) }
    }

    pub(super) fn of_splitter() -> Self {
        Self { receiver: None }
    }

    /// The minimum rejection of a die after the best single correction of its own, and after the
    /// best at each frequency or LO, dB.
    pub(super) fn best_db(&self, points: &[DiePoint]) -> (f64, f64) {
        let corrections: Vec<CorrectionPoint> =
            points.iter().map(|point| self.uncorrected(point)).collect();
        let same_frequency = |one: &DiePoint, other: &DiePoint| {
            one.frequency_hz.total_cmp(&other.frequency_hz).is_eq()
        };
        let mut remaining = corrections.as_slice();
        let per_frequency = points.chunk_by(same_frequency).map(|run| {
            let (of_run, others) = remaining.split_at(run.len());
            remaining = others;
            IqCorrection::best(of_run).worst_db
        });
        let smallest_db = per_frequency.fold(f64::INFINITY, f64::min);
        (IqCorrection::best(&corrections).worst_db, smallest_db)
    }

    /// A point without the receiver's correction.
    fn uncorrected(&self, point: &DiePoint) -> CorrectionPoint {
        let DiePoint { sideband_gain_db, wanted_error, channel_error, .. } = *point;
        match self.receiver {
            Some(own) => own.uncorrected_point(sideband_gain_db, wanted_error, channel_error),
            None => CorrectionPoint::of_errors(sideband_gain_db, wanted_error, channel_error),
        }
    }

    /// A complex weight on Q in the image sideband, as a setting.
    fn setting(&self, weight: Complex64) -> DieCorrection {
        let amplitude_db = db_from_amplitude(weight.norm());
        let phase_deg = match self.receiver {
            Some(own) => own.correction_phase_deg(weight),
            None => weight.arg().to_degrees(),
        };
        DieCorrection { amplitude_db, phase_deg }
    }
}

impl CorrectionModel for DieCorrections<'_> {
    fn acts_on(&self) -> &'static str {
        let own = self.receiver.map(|own| own.receiver().output().correction);
        own.as_ref().map_or(CorrectionDomain::IfPhase, QCorrection::acts_on).name()
    }

    fn against(&self, error: Complex64) -> DieCorrection {
        let error = self.receiver.map_or(error, |own| own.uncorrected_image_error(error));
        self.setting(weight_against(error))
    }

    fn best(&self, points: &[DiePoint]) -> DieCorrection {
        let all: Vec<CorrectionPoint> =
            points.iter().map(|point| self.uncorrected(point)).collect();
        self.setting(IqCorrection::best(&all).weight())
    }

    fn corrected_db(&self, point: &DiePoint, correction: DieCorrection) -> f64 {
        let DieCorrection { amplitude_db, phase_deg } = correction;
        let turned_deg =
            self.receiver.map_or(phase_deg, |own| own.correction_weight_deg(phase_deg));
        let gain = amplitude_from_db(amplitude_db);
        let weight = Complex64::from_polar(gain, turned_deg.to_radians());
        self.uncorrected(point).rejection_db(weight)
    }

    fn corrected_error(&self, point: &DiePoint, correction: DieCorrection) -> Option<Complex64> {
        // The limits of a splitter are on the splitter itself.
        let DieCorrection { amplitude_db, phase_deg } = correction;
        Some(self.receiver?.wanted_error_at((amplitude_db, phase_deg), point.wanted_error))
    }
}
