//! Closed-form components: ideal parts with set errors, and parts dimensioned as the trade does.
//!
//! Every function takes a frequency grid and its parameters and returns a [`Network`] in 50 ohm.
//! Parts that are made of lines are joined from lines; the textbooks' even- and odd-mode forms are
//! in the tests.
//!
//! | file | parts |
//! |---|---|
//! | `ideal` | quadrature and 180-degree hybrid, balun, divider, attenuator, each with set errors |
//! | `line` | uniform line, stub, radial stub |
//! | `coupled_line` | coupled pair, coupled-line coupler, interdigitated coupler |
//! | `hybrid` | branch-line, ring |
//! | `divider` | n-stage divider with isolation resistors |
//! | `balun` | two coupled sections |
//! | `lumped` | R, L and C in series and shunt, one-ports, bond wires |
//! | `process` | couplers of an invented wafer |
//! | `microstrip` | widths and gaps on a substrate, and back |

mod balun;
mod build;
mod catalogue;
mod coupled_line;
mod dimensions;
mod divider;
mod error;
mod hybrid;
mod ideal;
mod line;
mod lumped;
pub mod microstrip;
mod process;

pub use balun::{PlanarBalun, planar_balun};
pub use catalogue::{ArrangementName, ComponentSpec, KINDS};
pub use coupled_line::{
    CoupledLineCoupler, CoupledPair, InterdigitatedCoupler, coupled_line_coupler, coupled_pair,
    coupling_of_strips, interdigitated_coupler, mode_impedances_ohm, strip_impedances_ohm,
};
pub use dimensions::{Dimension, Dimensions};
pub use divider::{Stage, WilkinsonDivider, default_stages, wilkinson_divider};
pub use error::ComponentError;
pub use hybrid::{BranchLine, RatRace, branch_line, rat_race};
pub use ideal::{
    IdealSplit, PadTopology, attenuator, ideal_balun, ideal_divider, ideal_hybrid_180,
    ideal_quadrature_hybrid, pad_resistors_ohm,
};
pub use line::{Line, RadialStub, Stub, StubEnd, line, radial_stub, stub};
pub use lumped::{Arrangement, Bond, Elements, Terminated, bond, one_port, series, shunt};
pub use process::SpreadCoupler;

use crate::network::{FrequencyGrid, Network, ParameterKind, Port, Terminal};
use num_complex::Complex64;

/// The reference of every component, in ohms.
pub const REFERENCE_OHM: f64 = 50.0;

/// Impedance of free space, ohms (CODATA 2018).
const FREE_SPACE_OHM: f64 = 376.730_313_668;

/// A scattering network in the common reference.
fn scattering(
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
fn at(block: usize, number: usize) -> Terminal {
    Terminal { block, port: Port::from_index(number - 1) }
}

/// Refuses what is not a positive number.
fn positive(name: &'static str, value: f64) -> Result<f64, ComponentError> {
    if value > 0.0 && value.is_finite() {
        Ok(value)
    } else {
        Err(ComponentError::NotPositive { name, value })
    }
}

/// Refuses what is no number.
fn finite(name: &'static str, value: f64) -> Result<f64, ComponentError> {
    if value.is_finite() { Ok(value) } else { Err(ComponentError::NotFinite { name, value }) }
}

/// Refuses negative numbers.
fn not_negative(name: &'static str, value: f64) -> Result<f64, ComponentError> {
    if value >= 0.0 && value.is_finite() {
        Ok(value)
    } else {
        Err(ComponentError::Negative { name, value })
    }
}
