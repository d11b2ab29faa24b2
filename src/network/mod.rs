//! N-port networks over frequency and their algebra.
//!
//! A [`Network`] holds one square matrix per frequency in one contiguous block, row-major, with
//! the reference impedance of every port. Row i is the responding port, column j the driven one.
//! Port numbers are 1-based wherever a person sees them and 0-based inside; [`Port`] converts.
//!
//! | file | subject |
//! |---|---|
//! | `container` | the checked container and its views |
//! | `grid` | frequency grids |
//! | `ports` | port numbers, mixed modes, selection |
//! | `waves` | the three wave definitions in one form |
//! | `bilinear` | the one step behind every conversion and change of reference impedance |
//! | `conversion` | conversion between S, Z, Y, H and G |
//! | `reference_change` | other reference impedances |
//! | `load` | terminated ports |
//! | `interpolation` | other frequencies |
//! | `joining` | connection of networks |
//! | `chain` | ABCD and wave-cascade matrices |
//! | `mixed_mode` | differential and common ports, and back |
//! | `deembedding` | removal of fixtures, pads and interconnects |
//! | `comparison` | comparison of two networks |
//! | `noise` | noise of passive networks |
//! | `quality` | passivity, reciprocity, sampling |
//! | `extremes` | the extreme values behind them |
//! | `lu` | solver for dense systems |

mod bilinear;
mod chain;
mod common_grid;
mod comparison;
mod container;
mod conversion;
mod decomposition;
mod deembedding;
mod error;
mod extremes;
mod grid;
mod interpolation;
mod joining;
mod load;
mod lu;
mod mixed_mode;
mod modes;
mod noise;
mod parameter_kind;
mod passive_part;
mod port_selection;
mod ports;
mod quality;
mod reference_change;
mod transformation;
mod waves;
mod wiring;

pub use chain::{Chain, ChainForm, chain, from_chain, to_chain};
pub(crate) use common_grid::common_grid;
pub use common_grid::on_common_grid;
pub use comparison::{Comparison, Difference, EntryDifference, compare};
pub use container::{MatrixView, Network};
pub use conversion::convert;
pub(crate) use decomposition::{hermitian, singular_values};
pub use deembedding::{
    Deembedded, ThruSplit, remove_access_lines, remove_fixture, remove_fixtures, remove_open_short,
    remove_thru, split_thru,
};
pub use error::NetworkError;
pub use extremes::Worst;
pub use grid::{FrequencyGrid, Spacing};
pub use interpolation::{Interpolated, LARGEST_SAFE_STEP_DEG, UnsafeStep, onto_grid};
pub use joining::{join, port_voltages};
pub(crate) use load::terminated_waves;
pub use load::{Load, close_ports};
pub(crate) use lu::Lu;
pub use mixed_mode::{to_mixed_mode, to_single_ended};
pub use noise::{
    BOLTZMANN_J_PER_K, NoisePath, REFERENCE_TEMPERATURE_K, cascade_noise_factor, noise_correlation,
    noise_factor, single_sideband_noise_factor,
};
pub use parameter_kind::ParameterKind;
pub use passive_part::{LARGEST_PASSIVE_GAIN, PassivePartFinding, passive_part_findings};
pub(crate) use passive_part::{findings_of_quality, gain_finding};
pub use port_selection::select_ports;
pub use ports::{Port, PortMode};
pub use quality::{PASSIVITY_TOLERANCE, Quality, RECIPROCITY_TOLERANCE, assess, nearest_passive};
pub use reference_change::change_reference;
pub use transformation::{Transformation, TransformationNote};
pub use waves::WaveDefinition;
pub use wiring::{Terminal, Wiring};
