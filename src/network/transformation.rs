//! Several changes of one network, each done where it finds what it needs.

use super::container::Network;
use super::conversion::convert;
use super::error::NetworkError;
use super::grid::FrequencyGrid;
use super::interpolation::{UnsafeStep, onto_grid};
use super::mixed_mode::{to_mixed_mode, to_single_ended};
use super::parameter_kind::ParameterKind;
use super::port_selection::select_ports;
use super::ports::Port;
use super::quality::nearest_passive;
use super::reference_change::change_reference;
use super::waves::WaveDefinition;
use num_complex::Complex64;

/// What to change of a network; nothing by default.
///
/// The order is: reference impedances of the data, single-ended, grid and band, ports, reference
/// impedances, passive, mixed mode, parameter.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Transformation {
    /// The reference impedances that the data really have, ohms, and their wave definition, where a
    /// file could not state them.
    pub data_reference: Option<(Vec<Complex64>, WaveDefinition)>,
    /// Whether a mixed-mode network becomes single-ended.
    pub single_ended: bool,
    /// The frequencies to interpolate to, hertz; the network's own when absent.
    pub points_hz: Option<Vec<f64>>,
    /// The lowest and highest frequency to keep, hertz.
    pub band_hz: Option<(f64, f64)>,
    /// The ports to keep, in their new order; the others end in their reference impedances. All
    /// when empty.
    pub ports: Vec<Port>,
    /// New reference impedances, ohms: one, or one per port; the old ones when empty.
    pub reference_ohm: Vec<Complex64>,
    /// Whether singular values above 1 are brought down to 1.
    pub make_passive: bool,
    /// Ports that become one differential and one common port each.
    pub pairs: Vec<(Port, Port)>,
    /// The parameter of the result; that of the network when absent.
    pub parameter: Option<ParameterKind>,
}

/// What came of a transformation beside the network.
#[derive(Clone, Copy, Debug, PartialEq)]
#[non_exhaustive]
pub enum TransformationNote {
    /// The network was single-ended before.
    SingleEndedAlready,
    /// The band reaches beyond the data; this is left of it, hertz.
    BandCut {
        /// The lowest frequency left.
        first_hz: f64,
        /// The highest frequency left.
        last_hz: f64,
    },
    /// Neighbouring points turn so far that values between them cannot be trusted.
    UnsafeInterpolation(UnsafeStep),
    /// Entries were changed by up to this much to make the network passive; zero if it was.
    MadePassive {
        /// The largest change of an entry.
        largest_change: f64,
    },
}

impl Transformation {
    /// The changed network, and what should be known of it.
    ///
    /// # Errors
    /// [`NetworkError`] of the first change that cannot be made; [`NetworkError::MixedMode`] where
    /// reference impedances of a mixed-mode network are given, since one per port could not be told
    /// from one per mode; [`NetworkError::EmptyBand`] for a band without a point.
    ///
    /// # Examples
    /// ```
    /// use fourphase::network::{FrequencyGrid, Network, ParameterKind, Transformation};
    ///
    /// // A 75 ohm load as impedance.
    /// let grid = FrequencyGrid::from_hz(vec![1e9])?;
    /// let load = Network::new(ParameterKind::Scattering, grid, 1, vec![0.2.into()], vec![50.0.into()])?;
    /// let wanted = Transformation { parameter: Some(ParameterKind::Impedance), ..Transformation::default() };
    /// let (impedance, notes) = wanted.apply(&load)?;
    /// assert!((impedance.entries()[0].re - 75.0).abs() < 1e-12 && notes.is_empty());
    /// # Ok::<(), fourphase::network::NetworkError>(())
    /// ```
    pub fn apply(
        &self,
        network: &Network,
    ) -> Result<(Network, Vec<TransformationNote>), NetworkError> {
        let mut notes = Vec::new();
        let mut changed = self.with_data_reference(network)?;
        if self.single_ended {
            if changed.modes().is_none() {
                notes.push(TransformationNote::SingleEndedAlready);
            }
            changed = to_single_ended(&changed)?;
        }
        changed = self.on_points(changed, &mut notes)?;
        if !self.ports.is_empty() {
            changed = select_ports(&changed, &self.ports)?;
        }
        changed = self.with_reference(changed)?;
        if self.make_passive {
            let (passive, largest_change) = nearest_passive(&changed)?;
            notes.push(TransformationNote::MadePassive { largest_change });
            changed = passive;
        }
        if !self.pairs.is_empty() {
            changed = to_mixed_mode(&changed, &self.pairs)?;
        }
        if let Some(parameter) = self.parameter {
            changed = convert(&changed, parameter)?;
        }
        Ok((changed, notes))
    }

    /// The same numbers, with the reference impedances that they really have.
    fn with_data_reference(&self, network: &Network) -> Result<Network, NetworkError> {
        let Some((references_ohm, definition)) = &self.data_reference else {
            return Ok(network.clone());
        };
        if network.modes().is_some() {
            return Err(NetworkError::MixedMode);
        }
        let (kind, grid, ports) = (network.kind(), network.grid().clone(), network.ports());
        let entries = network.entries().to_vec();
        Ok(Network::new(kind, grid, ports, entries, references_ohm.clone())?
            .with_wave_definition(*definition))
    }

    fn on_points(
        &self,
        network: Network,
        notes: &mut Vec<TransformationNote>,
    ) -> Result<Network, NetworkError> {
        let own = network.grid();
        let points_hz = match (&self.points_hz, self.band_hz) {
            (None, None) => return Ok(network),
            (given, None) => given.clone().unwrap_or_else(|| own.as_hz().to_vec()),
            (given, Some(band_hz)) => {
                let kept = points_in(given.as_deref().unwrap_or(own.as_hz()), band_hz, own)?;
                if band_hz.0 < own.first_hz() || band_hz.1 > own.last_hz() {
                    let (first_hz, last_hz) = (kept.first_hz(), kept.last_hz());
                    notes.push(TransformationNote::BandCut { first_hz, last_hz });
                }
                kept.as_hz().to_vec()
            }
        };
        let interpolated = onto_grid(&network, &FrequencyGrid::from_hz(points_hz)?)?;
        notes.extend(interpolated.unsafe_step.map(TransformationNote::UnsafeInterpolation));
        Ok(interpolated.network)
    }

    fn with_reference(&self, network: Network) -> Result<Network, NetworkError> {
        let references_ohm = match self.reference_ohm.as_slice() {
            [] if network.wave_definition() == WaveDefinition::Kurokawa => return Ok(network),
            [] => network.references_ohm(0).to_vec(),
            _ if network.modes().is_some() => return Err(NetworkError::MixedMode),
            given => given.to_vec(),
        };
        change_reference(&network, references_ohm, WaveDefinition::Kurokawa)
    }
}

/// The points within a band.
fn points_in(
    points_hz: &[f64],
    (low_hz, high_hz): (f64, f64),
    own: &FrequencyGrid,
) -> Result<FrequencyGrid, NetworkError> {
    let inside: Vec<f64> =
        points_hz.iter().copied().filter(|hz| (low_hz..=high_hz).contains(hz)).collect();
    if inside.is_empty() {
        let (first_hz, last_hz) = (own.first_hz(), own.last_hz());
        return Err(if high_hz < first_hz || low_hz > last_hz {
            NetworkError::OutsideData { frequency_hz: low_hz, first_hz, last_hz }
        } else {
            NetworkError::EmptyBand { low_hz, high_hz }
        });
    }
    FrequencyGrid::from_hz(inside)
}
