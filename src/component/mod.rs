//! Closed-form components: ideal ones with set errors, and ones with physical dimensions.
//!
//! Every function takes a frequency grid and parameters in SI units, degrees and dB, and returns a
//! [`Network`](crate::network::Network) in 50 ohm. Components that consist of lines are joined from
//! Components of lines are joined from line networks; the tests compare them with the closed forms
//! of textbooks. [`NamedComponent`] makes a component from the name of its kind and named
//! parameters, as in files and on the command line; [`KINDS`] is the catalogue.
//!
//! | file | subject |
//! |---|---|
//! | `ideal` | quadrature and 180-degree hybrid, balun, divider, attenuator, each with set errors |
//! | `line` | uniform line, zero-length line, stub |
//! | `radial_stub`, `cylinder_functions` | radial stub, and its Bessel functions |
//! | `coupled_line` | coupled pair, coupled-line coupler, interdigitated coupler |
//! | `hybrid` | branch-line hybrid, ring hybrid |
//! | `divider` | divider of stages with isolation resistors |
//! | `balun` | balun of two coupled sections |
//! | `lumped` | R, L and C in series, in shunt and as terminations; open and shorted ends |
//! | `bond` | bond wires |
//! | `microstrip` | impedance and permittivity from width and gap on a substrate, and the inverse |
//! | `microstrip_line` | networks of strips |
//! | `spread_coupler` | couplers of a synthetic wafer |
//! | `catalogue` | the table of kinds: ports, parameters, function, dimensions |
//! | `kind`, `named` | the form of a row of the table; a component made by name |
//! | `parameter_value`, `parameter_rule`, `parameter_limit`, `choice`, `parameter` | parameters by
//! name: values as given, rules, and the list of a kind |
//! | `renamed` | former names, for the error that gives the present ones |
//! | `far_centre`, `odd_value` | values that are likely in another unit |
//! | `dimensions` | dimensions for a layout |
//! | `construction`, `search` | reference impedance, checks, networks; roots and minima |

mod balun;
mod bond;
mod catalogue;
mod choice;
mod construction;
mod coupled_line;
mod cylinder_functions;
mod dimensions;
mod divider;
mod error;
mod far_centre;
mod hybrid;
mod ideal;
mod kind;
mod line;
mod lumped;
pub mod microstrip;
mod microstrip_line;
mod named;
mod odd_value;
mod parameter;
mod parameter_limit;
mod parameter_rule;
mod parameter_value;
mod radial_stub;
mod renamed;
mod search;
mod spread_coupler;

pub use balun::{PlanarBalun, planar_balun};
pub use bond::{Bond, BondConductor, bond, wire_inductance_h};
pub use catalogue::{KINDS, substrate};
pub use choice::Choice;
pub use construction::REFERENCE_OHM;
pub use coupled_line::{
    CoupledLineCoupler, CoupledPair, InterdigitatedCoupler, coupled_line_coupler, coupled_pair,
    coupling_of_strips, interdigitated_coupler, mode_impedances_ohm, strip_impedances_ohm,
};
pub use dimensions::{Dimension, Dimensions};
pub use divider::{Stage, WilkinsonDivider, default_stages, wilkinson_divider};
pub use error::ComponentError;
pub use far_centre::far_centre;
pub use hybrid::{BranchLine, RatRace, branch_line, rat_race};
pub use ideal::{
    IdealSplit, PadTopology, attenuator, ideal_balun, ideal_divider, ideal_hybrid_180,
    ideal_quadrature_hybrid, pad_resistors_ohm,
};
pub use kind::ComponentKind;
pub use line::{Line, Stub, StubEnd, line, stub, zero_length_line};
pub use lumped::{
    Arrangement, Elements, open_end, series_element, shorted_end, shunt_element, termination,
};
pub use microstrip_line::{CoupledMicrostrip, MicrostripLine, coupled_microstrip, microstrip_line};
pub use named::NamedComponent;
pub use odd_value::odd_value;
pub(crate) use odd_value::{
    large_permittivity, large_resistance, small_element, small_impedance, small_resistance,
};
pub use parameter::Parameter;
pub use parameter_limit::ParameterLimit;
pub use parameter_rule::choice;
pub use parameter_value::{GivenParameter, ParameterValue, parse_parameters};
pub use radial_stub::{RadialStub, radial_stub};
pub use spread_coupler::SpreadCoupler;
