//! One coupler, balun or divider: imbalance, losses, image rejection, and a verdict.
//!
//! | file | subject |
//! |---|---|
//! | `image_rejection` | image rejection of a pair, its contours and its inverse |
//! | `roles` | kind, input, outputs and isolated port, given or guessed |
//! | `imbalance` | the quantities at each frequency |
//! | `requirement` | limits, the bands that meet them, the verdict |
//!
//! Amplitude imbalance (dB) is 20 log10 |b| / |a| and phase difference (deg) arg b - arg a, for
//! the first output a and the second b; phase error is its distance from the nominal, wrapped to
//! (-180, 180]. Image rejection is positive: wanted over image.

mod error;
mod image_rejection;
mod imbalance;
mod requirement;
mod roles;

pub use error::SplitterError;
pub use image_rejection::{
    ContourFamily, allowed_amplitude_imbalance_db, allowed_phase_error_deg, channel_error, contour,
    contour_family, image_rejection_db, image_rejection_of_error_db,
};
pub use imbalance::{
    SplitterPoint, SplitterResult, SplitterSettings, Summary, WorstAt, analyse, channel_errors,
    scattering_over_band,
};
pub use requirement::{Requirement, RequirementKind, RequirementResult, Verdict};
pub use roles::{GivenRoles, Roles, SplitterKind, find_roles};
