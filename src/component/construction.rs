//! Common elements of all components: the reference impedance, constants, checks of parameters,
//! networks and terminals.

use super::error::ComponentError;
use super::parameter_limit::ParameterLimit;
use crate::network::{FrequencyGrid, Network, ParameterKind, Port, Terminal};
use num_complex::Complex64;

/// The reference impedance of every component, ohms.
pub const REFERENCE_OHM: f64 = 50.0;

/// Impedance of free space, ohms (CODATA 2018).
pub(super) const FREE_SPACE_OHM: f64 = 376.730_313_668;

/// A scattering network in the common reference impedance, from one row-major matrix per point.
pub(super) fn scattering(
    grid: &FrequencyGrid,
    ports: usize,
    entries: Vec<Complex64>,
) -> Result<Network, ComponentError> {
    Ok(Network::new(
        ParameterKind::Scattering,
        grid.clone(),
        ports,
        entries,
        vec![REFERENCE_OHM.into()],
    )?)
}

/// Port `number` (from 1) of block `block` (from 0).
pub(super) fn at(block: usize, number: usize) -> Terminal {
    Terminal { block, port: Port::from_index(number - 1) }
}

/// The value if it is within the limit, or an error with the parameter's name.
pub(super) fn checked(
    name: &'static str,
    limit: ParameterLimit,
    value: f64,
) -> Result<f64, ComponentError> {
    if limit.holds(value) {
        Ok(value)
    } else {
        Err(ComponentError::OutOfRange { name, limit, value })
    }
}

/// A finite number above 0, or an error with the parameter's name.
pub(super) fn positive(name: &'static str, value: f64) -> Result<f64, ComponentError> {
    checked(name, ParameterLimit::Positive, value)
}

/// A finite number, or an error with the parameter's name.
pub(super) fn finite(name: &'static str, value: f64) -> Result<f64, ComponentError> {
    checked(name, ParameterLimit::Finite, value)
}

/// A finite number, 0 or above, or an error with the parameter's name.
pub(super) fn not_negative(name: &'static str, value: f64) -> Result<f64, ComponentError> {
    checked(name, ParameterLimit::NotNegative, value)
}
