//! A terminated path driven from its input and by the stages inside it: voltages at its open ports.
//!
//! A stage takes the wave that its input absorbs, and drives what stands behind it as a source of its
//! output resistance. Everything is counted per square root of a watt at the path's input.

use super::lo_chain::ActiveStage;
use num_complex::Complex64;

/// A path with its terminations, ready to be driven.
#[derive(Clone, Debug)]
pub(super) struct PathResponse {
    /// The waves that leave every port for a unit wave into each driven one: point after point, a row
    /// for each port, a column for each driven one.
    pub(super) leaving: Vec<Complex64>,
    /// The ports that a source or a stage drives.
    pub(super) driven: Vec<usize>,
    /// b/a of every termination: port after port, point after point.
    pub(super) reflections: Vec<Complex64>,
    /// Reference of each port, ohm.
    pub(super) references_ohm: Vec<f64>,
}

/// A wave into an open port.
#[derive(Clone, Copy, Debug)]
pub(super) struct DrivingWave {
    pub(super) end: usize,
    pub(super) wave: Complex64,
}

/// The carrier at the path's input at one point.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub(super) struct LoDrive {
    /// Available power, dBm.
    pub(super) power_dbm: f64,
    /// Phase, radians.
    pub(super) phase: f64,
}

/// A stage with its resistances; several laws stand for their mean.
#[derive(Clone, Debug)]
pub(super) struct DrivenStage {
    pub(super) laws: Vec<ActiveStage>,
    pub(super) input_ohm: f64,
    pub(super) output_ohm: f64,
}

impl PathResponse {
    pub(super) fn points(&self) -> usize {
        self.reflections.len() / self.references_ohm.len()
    }

    /// Where the waves that leave a port at a point begin.
    pub(super) fn row(&self, point: usize, end: usize) -> usize {
        (point * self.references_ohm.len() + end) * self.driven.len()
    }

    /// The voltage at an open port for waves into driven ones.
    pub(super) fn volts(&self, point: usize, end: usize, waves: &[DrivingWave]) -> Complex64 {
        let row = self.row(point, end);
        let reflection = self.reflections[end * self.points() + point];
        let root_ohm = self.references_ohm[end].sqrt();
        let of_one = |driving: &DrivingWave| {
            let column = self.driven.iter().position(|own| *own == driving.end);
            // A wave into a port that is not driven is none.
            let leaving = column.map_or(Complex64::ZERO, |at| self.leaving[row + at]);
            let leaving = leaving * driving.wave;
            // What leaves, what the termination reflects, and at a driven port its own wave.
            let own = if end == driving.end { driving.wave } else { Complex64::ZERO };
            (leaving + reflection * leaving + own) * root_ohm
        };
        waves.iter().map(of_one).sum()
    }

    /// The wave into an open port that a source of an available amplitude (square root of a watt)
    /// behind a resistance makes, where that resistance is part of the network.
    pub(super) fn wave_of_stage(
        &self,
        point: usize,
        end: usize,
        amplitude: Complex64,
        output_ohm: f64,
    ) -> DrivingWave {
        // The source's short-circuit current, of which the termination of the port takes its part.
        let current = 2.0 * amplitude / output_ohm.sqrt();
        let reflection = self.reflections[end * self.points() + point];
        let wave = current * self.references_ohm[end].sqrt() * 0.5 * (1.0 + reflection);
        DrivingWave { end, wave }
    }
}

impl DrivenStage {
    /// The power that a voltage at the input drives the stage with, dBm. Voltages are per root of the
    /// power available at the path's input.
    pub(super) fn drive_dbm(&self, volts: Complex64, power_dbm: f64) -> f64 {
        power_dbm + 20.0 * (volts.norm() / self.input_ohm.sqrt()).log10()
    }

    /// The available amplitude at the output over the root of the power available at the path's input.
    pub(super) fn amplitude(&self, volts: Complex64, power_dbm: f64) -> Complex64 {
        if volts.norm() == 0.0 {
            return Complex64::ZERO;
        }
        let drive_dbm = self.drive_dbm(volts, power_dbm);
        let (mut output_dbm, mut shift, mut order) = (0.0, 0.0, 1.0);
        #[expect(clippy::cast_precision_loss, reason = "a pair has few stages")]
        let count = self.laws.len().max(1) as f64;
        for law in &self.laws {
            let point = law.at(drive_dbm);
            output_dbm += point.output_dbm / count;
            shift += point.phase_shift / count;
            order = f64::from(law.order());
        }
        let size = 10_f64.powf((output_dbm - power_dbm) / 20.0);
        Complex64::from_polar(size, order * (volts.arg() + shift))
    }
}
