//! Change of reference impedances.

use super::container::checked_references;
use super::conversion::reframe;
use super::{Network, NetworkError, ParameterKind, WaveDefinition};
use num_complex::Complex64;
use std::borrow::Cow;

/// Brings a network to other reference impedances and, if requested, another wave definition.
///
/// `references_ohm` holds one value for all ports, one per port, or one per port for each frequency
/// point (point-major), each with a positive real part. Matrices other than scattering do not
/// change; their reference impedances do, for when they are converted.
///
/// # Errors
/// [`NetworkError::ReferenceCount`], [`NetworkError::Reference`] naming the port, or
/// [`NetworkError::NoSuchMatrix`] where an active network is singular with the new reference
/// impedances.
///
/// # Method
/// The bilinear form S' = (γ + δ S)(α + β S)⁻¹ that follows from the definition of the waves;
/// no Z or Y is formed. For power waves it is the form of K. Kurokawa, IEEE Trans. MTT 13
/// (1965) 194-202.
///
/// # Examples
/// ```
/// use fourphase::network::{FrequencyGrid, Network, ParameterKind, WaveDefinition, change_reference};
///
/// // A 75 ohm load has a reflection of 0.2 in 50 ohm, and of 0 in 75 ohm.
/// let grid = FrequencyGrid::from_hz(vec![1e9])?;
/// let load = Network::new(ParameterKind::Scattering, grid, 1, vec![0.2.into()], vec![50.0.into()])?;
/// let matched = change_reference(&load, vec![75.0.into()], WaveDefinition::Kurokawa)?;
/// assert!(matched.entries()[0].norm() < 1e-15);
/// # Ok::<(), fourphase::network::NetworkError>(())
/// ```
pub fn change_reference(
    network: &Network,
    references_ohm: Vec<Complex64>,
    waves: WaveDefinition,
) -> Result<Network, NetworkError> {
    let references_ohm = checked_references(references_ohm, network.ports(), network.grid().len())?;
    if network.kind() != ParameterKind::Scattering {
        let entries = network.entries().to_vec();
        return Ok(network
            .with_matrices(network.kind(), entries, references_ohm)?
            .with_wave_definition(waves));
    }
    if waves == network.wave_definition() && references_ohm == network.stored_references() {
        return Ok(network.clone());
    }
    reframe(network, ParameterKind::Scattering, references_ohm, waves)
}

/// The network as S in power waves at its own reference impedances, unchanged if it already is
/// that.
///
/// # Errors
/// [`NetworkError::NoSuchMatrix`] with the frequency at which it has no S.
pub(super) fn power_scattering(network: &Network) -> Result<Cow<'_, Network>, NetworkError> {
    if network.kind() == ParameterKind::Scattering
        && network.wave_definition() == WaveDefinition::Kurokawa
    {
        return Ok(Cow::Borrowed(network));
    }
    let references = network.stored_references().to_vec();
    reframe(network, ParameterKind::Scattering, references, WaveDefinition::Kurokawa)
        .map(Cow::Owned)
}
