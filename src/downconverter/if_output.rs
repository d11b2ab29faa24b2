//! The stage after the mixers: the IF paths of I and Q, and their combination by numbers or by a
//! hybrid.

use super::iq_balance::Combination;
use super::q_correction::QCorrection;
use super::receiver_setup::{OutputChoice, OutputStage};
use crate::network::{Network, Port};
use num_complex::Complex64;

impl OutputChoice {
    /// The same combination at each of `ifs` IFs.
    #[must_use]
    pub fn of_combination(name: &str, combination: Combination, ifs: usize) -> Self {
        Self {
            name: name.to_owned(),
            transfers: vec![combination; ifs],
            ideal_transfers: vec![combination; ifs],
        }
    }

    /// The +j or -j with which Q is combined by numbers; `None` for an IF hybrid.
    #[must_use]
    pub fn numeric_turn(&self) -> Option<Complex64> {
        let ideal = self.ideal_transfers.first()?;
        let is_turn = ideal.i == Complex64::ONE && [Complex64::I, -Complex64::I].contains(&ideal.q);
        is_turn.then_some(ideal.q)
    }

    /// A port of an IF hybrid, given as scattering parameters at the IFs; `None` if there is no
    /// transmission from I or from Q.
    ///
    /// The ideal hybrid has the transmission from I, and from Q the same rotated by 90 degrees, in
    /// the direction of the hybrid itself at the middle IF.
    #[must_use]
    pub fn of_hybrid(hybrid: &Network, i: Port, q: Port, output: Port) -> Option<Self> {
        let transfer = |point| {
            let matrix = hybrid.matrix(point);
            Combination { i: matrix.at(output, i), q: matrix.at(output, q) }
        };
        let transfers: Vec<Combination> = (0..hybrid.grid().len()).map(transfer).collect();
        if transfers.iter().any(|at| at.i.norm() * at.q.norm() == 0.0) {
            return None;
        }
        let middle = transfers[transfers.len() / 2];
        let turn = if (middle.q / middle.i).im < 0.0 { -Complex64::I } else { Complex64::I };
        let ideal = |at: &Combination| Combination { i: at.i, q: at.i * turn };
        Some(Self {
            name: format!("IF hybrid port {}", output.number()),
            ideal_transfers: transfers.iter().map(ideal).collect(),
            transfers,
        })
    }
}

impl OutputStage {
    /// Combinations of I and Q after IF paths, with a correction of Q. `paths` holds the
    /// transmissions of the paths of I and Q at each IF, 1 without a path.
    #[must_use]
    pub fn behind_paths(
        choices: Vec<OutputChoice>,
        paths: &[Combination],
        correction: QCorrection,
    ) -> Self {
        let behind = |choice: OutputChoice| {
            let pairs = choice.transfers.iter().zip(paths);
            let transfers =
                pairs.map(|(own, path)| Combination { i: own.i * path.i, q: own.q * path.q });
            OutputChoice { transfers: transfers.collect(), ..choice }
        };
        Self {
            choices: choices.into_iter().map(behind).collect(),
            correction,
            has_if_parts: true,
            // Without an IF there is no ratio; a receiver refuses this stage.
            path_ratio: paths.first().map_or(Complex64::ONE, |path| path.q / path.i),
        }
    }
}
