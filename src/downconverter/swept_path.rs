//! A path with one reflection at several of its ports, for many values of that reflection.
//!
//! With T the waves that leave the ports while the swept ports are matched, those that leave with the
//! reflection Γ at the swept ports s are b_s = (1 - Γ T_ss)⁻¹ T_s a there, and T a + Γ T_·s b_s at the
//! others: a system as small as the number of swept ports.

use super::driven_path::{DrivenStage, LoDrive, PathResponse};
use super::error::Result;
use super::joined_path::PathStage;
use super::receiver::Receiver;
use super::solution::SolvedPath;
use crate::network::{Load, Lu, NetworkError};
use num_complex::Complex64;

/// The LO path of a receiver, ready to be solved with any reflection at its swept ports.
pub(super) struct SweptPath<'a> {
    receiver: &'a Receiver,
    solved: &'a SolvedPath,
    ends: &'a [usize],
    /// With the swept ports matched, and driven as the others are.
    matched: PathResponse,
    /// With the reflection that is being solved: of the driven ports alone, in the rows that mixers
    /// and stages take.
    swept: PathResponse,
    /// Those rows.
    rows: Vec<usize>,
    source_wave: Complex64,
    stages: Vec<(PathStage, DrivenStage)>,
}

impl<'a> SweptPath<'a> {
    /// Prepares the LO path with reflections at `ends`.
    ///
    /// # Errors
    /// [`NetworkError::Ringing`] where the path with matched ports is singular.
    pub(super) fn new(
        receiver: &'a Receiver,
        solved: &'a SolvedPath,
        ends: &'a [usize],
    ) -> Result<Self> {
        let SolvedPath { path, reduced, terminations, .. } = solved;
        let mut terminations = terminations.clone();
        for &end in ends {
            terminations[end] = Load::Reflection(Complex64::ZERO);
        }
        let driven = path.driven_ports();
        let swept = path.response_to(driven.clone(), reduced, &terminations)?;
        let mut with_swept = driven;
        with_swept.extend_from_slice(ends);
        Ok(Self {
            receiver,
            solved,
            ends,
            matched: path.response_to(with_swept, reduced, &terminations)?,
            swept,
            rows: path.loading_ports(),
            source_wave: path.source_wave(receiver, reduced, &terminations),
            stages: path.driven_stages(receiver, |_| false),
        })
    }

    /// Volts at each mixer per square root of a watt with a reflection at the swept ports, frequency
    /// after frequency.
    ///
    /// # Errors
    /// [`NetworkError::Ringing`] where the path is singular with it.
    pub(super) fn voltages(&mut self, reflection: Complex64) -> Result<Vec<Complex64>> {
        let (points, swept) = (self.matched.points(), self.ends.len());
        for &end in self.ends {
            self.swept.reflections[end * points..(end + 1) * points].fill(reflection);
        }
        let driven = self.swept.driven.len();
        let mut lu = Lu::new(swept);
        let mut system = vec![Complex64::ZERO; swept * swept];
        let mut waves = vec![Complex64::ZERO; swept * driven];
        for point in 0..points {
            for (at, &end) in self.ends.iter().enumerate() {
                let from = self.matched.row(point, end);
                let row = &self.matched.leaving[from..from + driven + swept];
                let own = &mut system[at * swept..(at + 1) * swept];
                for (entry, value) in own.iter_mut().zip(&row[driven..]) {
                    *entry = -reflection * value;
                }
                own[at] += 1.0;
                waves[at * driven..(at + 1) * driven].copy_from_slice(&row[..driven]);
            }
            let frequency_hz = self.solved.reduced.grid().as_hz()[point];
            lu.factor(&system).map_err(|_| NetworkError::Ringing { frequency_hz })?;
            lu.solve(&mut waves, driven);
            for &row in &self.rows {
                let from = self.matched.row(point, row);
                let matched = &self.matched.leaving[from..from + driven + swept];
                let to = self.swept.row(point, row);
                for (column, leaving) in self.swept.leaving[to..to + driven].iter_mut().enumerate()
                {
                    let column_of = waves[column..].iter().step_by(driven);
                    let returned: Complex64 =
                        matched[driven..].iter().zip(column_of).map(|(t, b)| t * b).sum();
                    *leaving = matched[column] + reflection * returned;
                }
            }
        }
        let drive = |point| -> LoDrive { self.receiver.lo_drive(point).unwrap_or_default() };
        Ok(self.solved.path.driven(&self.swept, self.source_wave, &self.stages, drive))
    }
}
