//! Several changes of one network, in a fixed order.

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

/// The changes of a network; none by default.
///
/// The order is: reference impedances of the data, single-ended, grid and band, ports, reference
/// impedances, passive, mixed mode, parameter.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Transformation {
    /// The true reference impedances of the data, ohms, with their wave definition, where the file
    /// could not state them.
    pub data_reference: Option<(Vec<Complex64>, WaveDefinition)>,
    /// Whether a mixed-mode network becomes single-ended.
    pub single_ended: bool,
    /// The frequencies to interpolate to, hertz; the network's own if `None`.
    pub points_hz: Option<Vec<f64>>,
    /// The lowest and highest frequency to keep, Hz.
    pub band_hz: Option<(f64, f64)>,
    /// The ports to keep, in their new order; the others are terminated in their reference
    /// impedances. All ports if empty.
    pub ports: Vec<Port>,
    /// New reference impedances, ohms: one, or one per port; unchanged if empty.
    pub reference_ohm: Vec<Complex64>,
    /// Whether singular values above 1 are set to 1.
    pub make_passive: bool,
    /// Pairs of ports that become one differential and one common port each.
    pub pairs: Vec<(Port, Port)>,
    /// The parameter of the result; that of the network if `None`.
    pub parameter: Option<ParameterKind>,
}

/// A note on what a transformation did.
#[derive(Clone, Copy, Debug, PartialEq)]
#[non_exhaustive]
pub enum TransformationNote {
    /// The network was already single-ended.
    SingleEndedAlready,
    /// The band reaches beyond the data and was reduced to this, Hz.
    BandCut {
        /// Lowest frequency of the reduced band, Hz.
        first_hz: f64,
        /// Highest frequency of the reduced band, Hz.
        last_hz: f64,
    },
    /// The phase turns too far between neighbouring points for a reliable interpolation.
    UnsafeInterpolation(UnsafeStep),
    /// Entries were changed to make the network passive.
    MadePassive {
        /// Maximum change of an entry; zero if the network was passive.
        largest_change: f64,
    },
}

impl Transformation {
    /// Applies the changes, and returns the new network with notes for the user.
    ///
    /// # Errors
    /// [`NetworkError`] of the first change that cannot be made; [`NetworkError::MixedMode`] where
    /// reference impedances of a mixed-mode network are given, since a list per port and a list per
    /// mode have the same form; [`NetworkError::EmptyBand`] for a band without a point.
    ///
    /// # Examples
    /// ```
    /// use fourphase::network::{FrequencyGrid, Network, ParameterKind, Transformation};
    ///
    /// // A 75 ohm load as an impedance.
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

    /// The same matrices with their true reference impedances.
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
