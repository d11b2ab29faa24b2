//! One coupler, balun or divider: imbalance, losses, image rejection, and a verdict.
//!
//! | file | subject |
//! |---|---|
//! | `splitter_kind` | quadrature, antiphase or in phase, and which quantities each kind has |
//! | `image_rejection` | image rejection of a pair, its contours and its inverse |
//! | `roles` | kind, input, outputs and isolated port, given or inferred from the data |
//! | `port_order` | checks whether the data agree with the given roles of the ports |
//! | `imbalance` | the quantities at one frequency |
//! | `splitter_compliance` | worst values against the limits, and the bands that pass |
//! | `splitter_analysis` | all of it over a band |
//! | `splitter_analysis` | the analysis over a band |
//! Amplitude imbalance (dB) is 20 log10 |b| / |a| and phase difference (deg) arg b - arg a, for
//! the first output a and the second b; phase error is its distance from the nominal, wrapped to
//! (-180, 180]. Image rejection is positive: wanted over image.

mod allowed_error;
mod error;
mod image_rejection;
mod imbalance;
mod port_order;
mod roles;
mod splitter_analysis;
mod splitter_compliance;
mod splitter_kind;

pub use allowed_error::{AllowedAmplitudeImbalance, AllowedPhaseError, ToleranceResult, tolerance};
pub use error::{RoleToGive, SplitterError};
pub(crate) use image_rejection::worst_rejection_of_errors_db;
pub use image_rejection::{
    ContourFamily, allowed_amplitude_imbalance_db, allowed_phase_error_deg, channel_error, contour,
    contour_family, image_rejection_db, image_rejection_of_error_db,
};
pub use imbalance::SplitterPoint;
pub(crate) use imbalance::channel_error_of_waves;
pub use port_order::{PortOrderFinding, PortRoles, port_order_finding};
pub use roles::{GivenRoles, InferredRole, Roles};
pub(crate) use splitter_analysis::balances;
pub use splitter_analysis::{
    SplitterResult, SplitterSettings, Summary, WorstAt, analyse, channel_errors,
    scattering_over_band,
};
pub use splitter_kind::SplitterKind;
