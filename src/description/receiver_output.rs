//! What lies behind the mixing elements, and how they mix.

use super::error::{DescriptionError, DescriptionProblem};
use super::named_files::NamedFiles;
use super::receiver_entries::{CombineName, IfHybridEntry, PortChoice, ReceiverDescription};
use super::receiver_plan::Need;
use super::source::TomlFile;
use crate::downconverter::{Combination, CorrectionSteps, OutputChoice, OutputStage, ReceiverPlan};
use crate::network::{FrequencyGrid, Network, ParameterKind, Port, convert};
use crate::units::amplitude_from_db;
use num_complex::Complex64;
use std::ops::Range;
use std::path::PathBuf;
use toml::Spanned;

impl TomlFile {
    pub(super) fn output(
        &self,
        description: &ReceiverDescription,
        plan: &ReceiverPlan,
        notes: &mut NamedFiles<'_>,
    ) -> Result<OutputStage, DescriptionError> {
        let points = plan.if_hz().len();
        let grid = FrequencyGrid::from_hz(plan.if_hz().to_vec())
            .map_err(|error| self.error_in_file(error))?;
        let mut paths = [vec![Complex64::ONE; points], vec![Complex64::ONE; points]];
        let path_files = description.if_path.iter().flat_map(|path| [&path.i, &path.q]);
        for (at, file) in path_files.enumerate() {
            let Some(file) = file else { continue };
            let network = self.if_network(file, &grid, Some(2), notes)?;
            let [input, output] = [Port::from_index(0), Port::from_index(1)];
            paths[at] = (0..points).map(|point| network.matrix(point).at(output, input)).collect();
            if paths[at].iter().any(|transfer| transfer.norm() == 0.0) {
                return Err(self.complaint(file, "this IF path lets nothing through from 1 to 2"));
            }
        }
        let with_paths = |transfers: Vec<Combination>| -> Vec<Combination> {
            transfers
                .into_iter()
                .enumerate()
                .map(|(point, transfer)| Combination {
                    i: transfer.i * paths[0][point],
                    q: transfer.q * paths[1][point],
                })
                .collect()
        };
        let choices = match &description.if_hybrid {
            Some(hybrid) => self.hybrid_choices(description, hybrid, &grid, notes)?,
            None => [
                (CombineName::IPlusJq, "I + jQ", Combination::I_PLUS_JQ),
                (CombineName::IMinusJq, "I - jQ", Combination::I_MINUS_JQ),
            ]
            .into_iter()
            .filter(|(name, _, _)| {
                description.combine == CombineName::Auto || description.combine == *name
            })
            .map(|(_, name, combination)| OutputChoice {
                name: name.to_owned(),
                transfers: vec![combination; points],
                ideal_transfers: vec![combination; points],
            })
            .collect(),
        };
        let choices = choices
            .into_iter()
            .map(|choice| OutputChoice { transfers: with_paths(choice.transfers), ..choice })
            .collect();
        let correction = &description.correction;
        let mut values = [0.0, 0.0];
        for (value, given) in
            values.iter_mut().zip([&correction.amplitude_db, &correction.phase_deg])
        {
            if let Some(given) = given {
                if !(-1000.0..=1000.0).contains(given.get_ref()) {
                    return Err(
                        self.complaint(given, "a correction is a number from -1000 to 1000")
                    );
                }
                *value = *given.get_ref();
            }
        }
        Ok(OutputStage {
            choices,
            correction: Complex64::from_polar(amplitude_from_db(values[0]), values[1].to_radians()),
            has_if_parts: description.if_path.is_some() || description.if_hybrid.is_some(),
            path_ratio: paths[1][0] / paths[0][0],
        })
    }

    fn if_network(
        &self,
        file: &Spanned<PathBuf>,
        grid: &FrequencyGrid,
        ports: Option<usize>,
        notes: &mut NamedFiles<'_>,
    ) -> Result<Network, DescriptionError> {
        let network = notes.network(file)?;
        if let Some(expected) = ports
            && network.ports() != expected
        {
            return Err(self.complaint(
                file,
                format!("an IF path has {expected} ports, this file {}", network.ports()),
            ));
        }
        let what = format!("the IF file {}", file.get_ref().display());
        let needs: Vec<Need> = grid
            .as_hz()
            .iter()
            .map(|&frequency_hz| Need { frequency_hz, purpose: "IF".to_owned() })
            .collect();
        self.check_cover(&network, &needs, &what, file.span())?;
        let scattering = convert(&network, ParameterKind::Scattering)
            .map_err(|error| self.error(error, file.span()))?;
        self.on_grid(&scattering, grid, &what, file.span(), notes)
    }

    /// The hybrid's outputs as it is, and as it should be.
    fn hybrid_choices(
        &self,
        description: &ReceiverDescription,
        hybrid: &IfHybridEntry,
        grid: &FrequencyGrid,
        notes: &mut NamedFiles<'_>,
    ) -> Result<Vec<OutputChoice>, DescriptionError> {
        if description.combine != CombineName::Auto {
            return Err(self.complaint(
                &hybrid.output,
                "the IF hybrid puts I and Q together; leave combine out, and choose an output",
            ));
        }
        let network = match (&hybrid.file, &hybrid.component) {
            (Some(file), None) => self.if_network(file, grid, None, notes)?,
            (None, Some(component)) => self
                .component(component)?
                .network(grid)
                .map_err(|error| self.error(error, component.span()))?,
            _ => {
                return Err(
                    self.complaint(&hybrid.output, "the IF hybrid is either a file or a component")
                );
            }
        };
        let port = |number: usize, span: Range<usize>| match Port::from_number(number) {
            Some(port) if number <= network.ports() => Ok(port),
            _ => Err(self.error(
                DescriptionProblem::Value {
                    what: format!("the IF hybrid has ports 1 to {}", network.ports()),
                },
                span,
            )),
        };
        let i = port(*hybrid.i.get_ref(), hybrid.i.span())?;
        let q = port(*hybrid.q.get_ref(), hybrid.q.span())?;
        let outputs = match hybrid.output.get_ref() {
            PortChoice::One(number) => vec![*number],
            PortChoice::AnyOf(list) => list.clone(),
        };
        let mut choices = Vec::new();
        for number in outputs {
            let output = port(number, hybrid.output.span())?;
            if i == q || output == i || output == q {
                return Err(self.complaint(&hybrid.output, "i, q and output are different ports"));
            }
            let transfers: Vec<Combination> = (0..grid.len())
                .map(|point| {
                    let matrix = network.matrix(point);
                    Combination { i: matrix.at(output, i), q: matrix.at(output, q) }
                })
                .collect();
            if transfers.iter().any(|transfer| transfer.i.norm() * transfer.q.norm() == 0.0) {
                return Err(self.complaint(
                    &hybrid.output,
                    format!("nothing comes from i or q to port {number} of the IF hybrid"),
                ));
            }
            // The side on which Q lies is that of the middle of the IF.
            let middle = transfers[transfers.len() / 2];
            let turn = if (middle.q / middle.i).im < 0.0 { -Complex64::I } else { Complex64::I };
            let ideal_transfers =
                transfers.iter().map(|at| Combination { i: at.i, q: at.i * turn }).collect();
            let name = format!("IF hybrid port {number}");
            choices.push(OutputChoice { name, transfers, ideal_transfers });
        }
        if choices.is_empty() {
            return Err(self.complaint(&hybrid.output, "the IF hybrid needs an output"));
        }
        Ok(choices)
    }

    pub(super) fn correction_steps(
        &self,
        description: &ReceiverDescription,
    ) -> Result<CorrectionSteps, DescriptionError> {
        let given = &description.correction;
        let default = CorrectionSteps::default();
        let amplitude_db = self.positive(given.amplitude_step_db.as_ref(), "amplitude_step_db")?;
        let phase_deg = self.positive(given.phase_step_deg.as_ref(), "phase_step_deg")?;
        CorrectionSteps::new(
            amplitude_db.unwrap_or(default.amplitude_db()),
            phase_deg.unwrap_or(default.phase_deg()),
        )
        .map_err(|error| self.error_in_file(error))
    }

    /// 1, a multiplier, when absent.
    pub(super) fn lo_amplitude_exponent(
        &self,
        description: &ReceiverDescription,
    ) -> Result<f64, DescriptionError> {
        match &description.mixing.lo_amplitude_exponent {
            None => Ok(1.0),
            Some(given) if (0.0..=10.0).contains(given.get_ref()) => Ok(*given.get_ref()),
            Some(given) => Err(self.complaint(given, "lo_amplitude_exponent is from 0 to 10")),
        }
    }
}
