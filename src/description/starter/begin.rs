//! What is asked for, and what is made of it.

use super::super::error::DescriptionError;
use super::folder_parts::FolderParts;
use super::network_start::network_start;
use super::rebuild_start::rebuild_start;
use super::receiver_start::receiver_start;
use super::recipe_start::recipe_start;
use super::starter_files::Starter;
use super::station_start::station_start;
use super::uncertainty_start::uncertainty_start;
use crate::touchstone::ReadOptions;
use std::path::Path;

/// A format to begin with.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum StarterSubject {
    /// RECEIVER.toml.
    Receiver,
    /// NETWORK.toml.
    Network,
    /// RECIPE.toml and its list of dies.
    Recipe,
    /// STATION.toml.
    Station,
    /// SET.toml.
    Rebuild,
    /// UNCERTAINTY.toml.
    Uncertainty,
}

/// A description to begin with: of the Touchstone files of a folder, or without a folder an example.
/// Examples of receivers, networks and uncertainties need no files; the others name files that must be
/// there before they can be used.
///
/// # Errors
/// [`DescriptionError`] for a folder that cannot be read, or that holds no files of which such a
/// description can be made.
///
/// # Examples
/// ```
/// use fourphase::description::{StarterSubject, starter};
/// use fourphase::touchstone::ReadOptions;
///
/// let folder = Some("data-demo".as_ref());
/// let made = starter(StarterSubject::Receiver, folder, &ReadOptions::default())?;
/// assert!(made.files[0].text.contains(r#"file = "coupler.s4p""#));
/// assert!(made.guesses.iter().any(|guess| guess.contains("coupler.s4p")));
/// # Ok::<(), fourphase::description::DescriptionError>(())
/// ```
pub fn starter(
    subject: StarterSubject,
    folder: Option<&Path>,
    options: &ReadOptions,
) -> Result<Starter, DescriptionError> {
    let parts = || folder.map(|folder| FolderParts::read(folder, options)).transpose();
    match subject {
        StarterSubject::Receiver => receiver_start(parts()?.as_ref()),
        StarterSubject::Network => network_start(parts()?.as_ref()),
        StarterSubject::Uncertainty => Ok(uncertainty_start(parts()?.as_ref())),
        StarterSubject::Recipe => recipe_start(folder, options),
        StarterSubject::Station => station_start(parts()?.as_ref()),
        StarterSubject::Rebuild => rebuild_start(parts()?.as_ref()),
    }
}
