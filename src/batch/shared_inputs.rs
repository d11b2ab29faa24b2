//! Inputs that all dies of a lot share: the receiver with its own blocks, or a splitter's settings,
//! and the uncertainty of the files.

use super::die_measurement::{DieMeasurement, Known, MeasuredSubject};
use super::error::BatchError;
use crate::description::{LoadedReceiver, Recipe, RecipeAnalysis, read_receiver, read_uncertainty};
use crate::downconverter::{DieReceiver, Receiver};
use crate::measurement::{NoiseDraws, plan_noise};
use crate::requirement::{Limits, Quantity};
use crate::splitter::SplitterSettings;
use crate::touchstone::ReadOptions;
use std::path::PathBuf;

/// The shared inputs, read before the blocks that change from die to die are known.
pub(super) enum SharedInputs {
    Receiver(Box<LoadedReceiver>),
    Splitter { settings: SplitterSettings, column: String },
}

/// The settings of the analysis of a die, with the inputs read for them.
pub(super) struct Prepared {
    pub(super) measurement: DieMeasurement,
    /// Files that all dies share.
    pub(super) files: Vec<PathBuf>,
    /// Warnings from reading them.
    pub(super) warnings: Vec<String>,
}

impl SharedInputs {
    pub(super) fn read(recipe: &Recipe, options: &ReadOptions) -> Result<Self, BatchError> {
        match recipe.analysis() {
            RecipeAnalysis::Receiver(path) => {
                Ok(Self::Receiver(Box::new(read_receiver(path, options)?)))
            }
            RecipeAnalysis::Splitter { settings, column } => {
                Ok(Self::Splitter { settings: settings.clone(), column: column.clone() })
            }
        }
    }

    /// Valid names for a column of files.
    pub(super) fn blocks(&self) -> Vec<String> {
        match self {
            Self::Receiver(loaded) => {
                loaded.receiver.parts().iter().map(|part| part.name.clone()).collect()
            }
            Self::Splitter { column, .. } => vec![column.clone()],
        }
    }

    /// Prepares the analysis for dies whose files are in these columns.
    pub(super) fn prepare(
        self,
        recipe: &Recipe,
        columns: &[String],
        options: &ReadOptions,
    ) -> Result<Prepared, BatchError> {
        let uncertainty = recipe.uncertainty();
        let uncertainty = uncertainty.map(|path| read_uncertainty(path, options)).transpose()?;
        if let Some(uncertainty) = &uncertainty {
            uncertainty.check_for_dies(matches!(self, Self::Splitter { .. }))?;
        }
        let (mut files, mut warnings, mut plan) = (Vec::new(), Vec::new(), None);
        let (subject, limits) = match self {
            Self::Splitter { settings, .. } => {
                // A splitter has only the limits of the recipe.
                let limits = recipe.settings().limits().cloned().unwrap_or_default();
                (MeasuredSubject::Splitter(settings), limits)
            }
            Self::Receiver(mut loaded) => {
                if let Some(uncertainty) = &uncertainty {
                    let parts = uncertainty.of_receiver(&mut loaded)?;
                    let noise = plan_noise(&loaded.receiver, &parts).map_err(|source| {
                        BatchError::Measurement { file: recipe.path().to_owned(), source }
                    })?;
                    plan = Some(NoiseDraws::new(noise, uncertainty.trials().seed()));
                }
                let LoadedReceiver { receiver, inputs, warnings: told, .. } = *loaded;
                (files, warnings) = (inputs, told);
                warnings.extend(limits_left_out(&receiver, recipe));
                die_receiver(receiver, recipe, columns)?
            }
        };
        if let Some(uncertainty) = &uncertainty {
            files.extend(uncertainty.inputs().iter().cloned());
            warnings.extend(uncertainty.warnings().iter().cloned());
        }
        let known = uncertainty.map(|uncertainty| Known { uncertainty, plan });
        let measurement = DieMeasurement::new(subject, limits, known, recipe, columns, options);
        Ok(Prepared { measurement, files, warnings })
    }
}

/// Whether a quantity of a receiver is judged die by die.
fn is_of_dies(quantity: Quantity) -> bool {
    !matches!(quantity, Quantity::LoPowerMax | Quantity::LoTone | Quantity::SpuriousResponse)
}

/// Which limits of a receiver are not those of its dies, where the recipe gives none of its own.
fn limits_left_out(receiver: &Receiver, recipe: &Recipe) -> Option<String> {
    let left_out: Vec<&str> = receiver
        .limits()
        .iter()
        .filter(|limit| !is_of_dies(limit.quantity()))
        .map(|limit| limit.quantity().name())
        .collect();
    let is_said = recipe.settings().limits().is_none() && !left_out.is_empty();
    is_said.then(|| {
        format!(
            "{} of the receiver: judged for the receiver alone, not die by die",
            left_out.join(", ")
        )
    })
}

/// The receiver prepared for dies with their own networks for the blocks named by `columns`, and
/// the limits for every die.
fn die_receiver(
    receiver: Receiver,
    recipe: &Recipe,
    columns: &[String],
) -> Result<(MeasuredSubject, Limits), BatchError> {
    let failed = |source| BatchError::receiver(recipe, source);
    // What tones beside the LO make is judged for the receiver alone, not die by die.
    let judged =
        |limits: &Limits| limits.iter().filter(|limit| is_of_dies(limit.quantity())).collect();
    let limits: Limits =
        recipe.settings().limits().cloned().unwrap_or_else(|| judged(receiver.limits()));
    if limits.on(Quantity::LoPower).is_some() && !receiver.has_lo_power() {
        return Err(BatchError::NoLoPower { recipe: recipe.path().to_owned() });
    }
    let receiver = receiver.with_limits(limits.clone()).map_err(failed)?;
    let ideal = |name: &String| {
        receiver.group_index(name).map_err(|_| BatchError::NoContributor {
            recipe: recipe.path().to_owned(),
            name: name.clone(),
            known: receiver.group_names().map(str::to_owned).collect(),
        })
    };
    let ideal = recipe.settings().what_if().ideal.iter().map(ideal).collect::<Result<_, _>>()?;
    let blocks = columns.iter().map(|name| receiver.block(name)).collect::<Result<Vec<_>, _>>();
    let blocks = blocks.map_err(failed)?;
    let receiver = Box::new(DieReceiver::new(receiver, &blocks).map_err(failed)?);
    Ok((MeasuredSubject::Receiver { receiver, ideal }, limits))
}
