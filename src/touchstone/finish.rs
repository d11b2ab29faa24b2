//! The last step of reading: points in order, absolute units, reference impedances.

use super::error::{Fault, Problem, Warning, WarningCode};
use super::file::TouchstoneFile;
use super::findings::excerpt;
use super::normalisation::unnormalise;
use super::reader::Reader;
use crate::network::{FrequencyGrid, Network, PortMode};

impl Reader<'_> {
    /// Completes the file from all that was read.
    pub(super) fn finish(mut self, strict: bool) -> Result<TouchstoneFile, Fault> {
        let last_line = self.last_line.clone();
        let Some(mut sets) = self.sets.take() else {
            return Err(Problem::NoNetworkData.at(last_line));
        };
        sets.sort();
        self.noise.sort_by(|one, other| one.frequency_hz.total_cmp(&other.frequency_hz));
        if self.noise.first().is_some_and(|first| first.frequency_hz > sets.highest_hz) {
            self.findings.warn(WarningCode::NoiseAboveNetwork, self.first_noise.clone());
        }
        if strict
            && let Some((code, span)) = self
                .findings
                .list
                .iter()
                .filter(|(code, _)| code.is_deviation())
                .min_by_key(|(_, span)| span.start)
        {
            return Err(Problem::Strict(*code).at(span.clone()));
        }
        let (option_line, option_span) = self.option_line.take().unwrap_or_default();
        let ports = sets.ports();
        let port_references_ohm = self.references_ohm.take().unwrap_or_else(|| {
            let list = &option_line.resistances_ohm;
            if list.len() == ports { list.clone() } else { vec![list[0]; ports] }
        });
        if !self.version.has_keywords() {
            unnormalise(option_line.parameter, &port_references_ohm, &mut sets.entries);
        }
        let located = |error| Problem::Network(error).at(option_span.clone());
        let grid =
            FrequencyGrid::from_hz(std::mem::take(&mut sets.frequencies_hz)).map_err(located)?;
        let modes = self.modes.take();
        let references_ohm = match &modes {
            None => port_references_ohm.iter().map(|&ohm| ohm.into()).collect(),
            Some(modes) => modes
                .iter()
                .map(|mode| mode_reference_ohm(*mode, &port_references_ohm).into())
                .collect(),
        };
        let entries = std::mem::take(&mut sets.entries);
        let mut network = Network::new(option_line.parameter, grid, ports, entries, references_ohm)
            .map_err(located)?;
        if let Some(modes) = modes {
            network = network.with_modes(modes).map_err(located)?;
        }
        let warnings = self
            .findings
            .list
            .into_iter()
            .map(|(code, span)| Warning { code, excerpt: excerpt(self.file, span) })
            .collect();
        Ok(TouchstoneFile {
            version: self.version,
            number_format: option_line.number_format,
            frequency_unit: option_line.frequency_unit,
            network,
            port_references_ohm,
            noise: self.noise,
            noise_reference_ohm: option_line.resistances_ohm[0],
            comments: self.comments,
            warnings,
        })
    }
}

/// The reference impedance of a mode: the pair in series for the differential, in parallel for the
/// common mode.
fn mode_reference_ohm(mode: PortMode, port_references_ohm: &[f64]) -> f64 {
    let of = |port: crate::network::Port| port_references_ohm[port.index()];
    match mode {
        PortMode::Single(port) => of(port),
        PortMode::Differential(plus, minus) => of(plus) + of(minus),
        PortMode::Common(plus, minus) => of(plus) * of(minus) / (of(plus) + of(minus)),
    }
}
