//! Networks that deviate from their nominal values.

use super::uncertainty_source::Errors;
use crate::network::{Network, NetworkError};

/// A network with errors added to its entries; kind, frequencies and reference impedances are
/// unchanged.
pub(super) fn deviating(own: &Network, errors: &Errors) -> Result<Network, NetworkError> {
    let entries = errors.applied(own.entries());
    let references = own.stored_references().to_vec();
    let network = Network::new(own.kind(), own.grid().clone(), own.ports(), entries, references)?;
    Ok(network.with_wave_definition(own.wave_definition()))
}
