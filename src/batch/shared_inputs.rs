//! What all dies of a lot share: the receiver with its own blocks, or a splitter's settings, and how
//! uncertain their files are.

use super::die_measurement::{DieMeasurement, DieSubject, Known};
use super::error::BatchError;
use crate::description::{LoadedReceiver, read_receiver, read_uncertainty};
use crate::downconverter::{DieReceiver, Receiver};
use crate::measurement::plan_covariances;
use crate::network::Port;
use crate::requirement::{Limits, Quantity};
use crate::splitter::{GivenRoles, SplitterKind, SplitterSettings};
use crate::touchstone::ReadOptions;
use crate::wafer::{Recipe, RecipeAnalysis, RecipeKind, SplitterRecipe};
use num_complex::Complex64;
use std::path::PathBuf;

/// What all dies share, read before it is known which blocks change from die to die.
pub(super) enum SharedInputs {
    Receiver(Box<LoadedReceiver>),
    Splitter(SplitterRecipe),
}

/// How dies are measured, and what came in with it.
pub(super) struct Prepared {
    pub(super) measurement: DieMeasurement,
    /// Files that all dies share.
    pub(super) files: Vec<PathBuf>,
    /// What came up when those were read.
    pub(super) warnings: Vec<String>,
}

impl SharedInputs {
    pub(super) fn read(recipe: &Recipe, options: &ReadOptions) -> Result<Self, BatchError> {
        match &recipe.analysis {
            RecipeAnalysis::Receiver(path) => {
                Ok(Self::Receiver(Box::new(read_receiver(path, options)?)))
            }
            RecipeAnalysis::Splitter(splitter) => Ok(Self::Splitter(splitter.clone())),
        }
    }

    /// Names that a column of files may have.
    pub(super) fn blocks(&self) -> Vec<String> {
        match self {
            Self::Receiver(loaded) => {
                loaded.receiver.parts().iter().map(|part| part.name.clone()).collect()
            }
            Self::Splitter(splitter) => vec![splitter.column.clone()],
        }
    }

    /// Ready for dies whose files stand in these columns.
    pub(super) fn prepare(
        self,
        recipe: &Recipe,
        columns: &[String],
        options: &ReadOptions,
    ) -> Result<Prepared, BatchError> {
        let uncertainty = recipe.uncertainty.as_ref();
        let uncertainty = uncertainty.map(|path| read_uncertainty(path, options)).transpose()?;
        if let Some(uncertainty) = &uncertainty {
            uncertainty.check_for_dies(matches!(self, Self::Splitter(_)))?;
        }
        let (mut files, mut warnings, mut plan) = (Vec::new(), Vec::new(), Vec::new());
        let (subject, limits) = match self {
            Self::Splitter(splitter) => {
                let limits = recipe.limits.clone().unwrap_or_default();
                (DieSubject::Splitter(settings(&splitter)), limits)
            }
            Self::Receiver(mut loaded) => {
                if let Some(uncertainty) = &uncertainty {
                    let parts = uncertainty.of_receiver(&mut loaded)?;
                    plan = plan_covariances(&loaded.receiver, &parts).map_err(|source| {
                        BatchError::Measurement { file: recipe.path.clone(), source }
                    })?;
                }
                let LoadedReceiver { receiver, inputs, warnings: told, .. } = *loaded;
                (files, warnings) = (inputs, told);
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

/// The receiver prepared for dies that bring their own networks for the blocks named by `columns`,
/// and what every die must hold.
fn die_receiver(
    receiver: Receiver,
    recipe: &Recipe,
    columns: &[String],
) -> Result<(DieSubject, Limits), BatchError> {
    let failed = |source| BatchError::receiver(recipe, source);
    let limits = recipe.limits.clone().unwrap_or_else(|| receiver.limits().clone());
    if limits.on(Quantity::LoPower).is_some() && receiver.plan().lo_power_dbm().is_none() {
        return Err(BatchError::NoLoPower { recipe: recipe.path.clone() });
    }
    let receiver = receiver.with_limits(limits.clone()).map_err(failed)?;
    let ideal = |name: &String| {
        receiver.group_index(name).map_err(|_| BatchError::NoContributor {
            recipe: recipe.path.clone(),
            name: name.clone(),
            known: receiver.group_names().map(str::to_owned).collect(),
        })
    };
    let ideal = recipe.what_if.ideal.iter().map(ideal).collect::<Result<_, _>>()?;
    let blocks =
        columns.iter().map(|name| receiver.part_index(name)).collect::<Result<Vec<_>, _>>();
    let blocks = blocks.map_err(failed)?;
    let receiver = Box::new(DieReceiver::new(receiver, &blocks).map_err(failed)?);
    Ok((DieSubject::Receiver { receiver, ideal }, limits))
}

fn settings(recipe: &SplitterRecipe) -> SplitterSettings {
    let port = |number: usize| Port::from_number(number);
    let [a, b] = recipe.outputs;
    SplitterSettings {
        roles: GivenRoles {
            kind: Some(match recipe.kind {
                RecipeKind::Quadrature => SplitterKind::Quadrature,
                RecipeKind::Antiphase => SplitterKind::Antiphase,
                RecipeKind::Inphase => SplitterKind::Inphase,
            }),
            input: port(recipe.input),
            outputs: port(a).zip(port(b)).map(|(a, b)| [a, b]),
            isolated: recipe.isolated.and_then(port),
            nominal_deg: recipe.nominal_deg,
        },
        band_hz: recipe.band_hz,
        references_ohm: recipe.reference_ohm.map(Complex64::from).into_iter().collect(),
        loads: Vec::new(),
        limits: Limits::default(),
    }
}
