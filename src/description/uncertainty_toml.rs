//! UNCERTAINTY.toml: sources of uncertainty of S-parameters, trials, and the decision rules.

use super::allowed::Allowed;
use super::amounts_csv::{ALLOWED, AmountTable, StatedAmounts};
use super::closed_form::ParameterAmount;
use super::covariance_csv::read_covariances;
use super::error::DescriptionError;
use super::named_files::NamedFiles;
use super::source::{TextPlace, TomlFile};
use super::uncertainty_entries::{
    AmountEntry, OverFrequencyName, PlacementEntry, SourceEntry, UncertaintyEntries,
};
use crate::component::large_permittivity;
use crate::measurement::{
    DecisionSettings, EntryAmount, EntryCovariances, ErrorSymmetry, MeasurementError,
    OverFrequency, ProbePlacement, TrialSettings,
};
use crate::network::Network;
use crate::requirement::{Limits, Quantity};
use crate::touchstone::ReadOptions;
use crate::units::neper_from_db;
use num_complex::Complex64;
use std::num::NonZeroUsize;
use std::path::{Path, PathBuf};
use std::sync::Arc;
use toml::Spanned;

/// Sources of uncertainty of a description, with their files.
#[derive(Clone, Debug)]
pub struct Uncertainty {
    /// The description; `None` for a stated amount without one.
    pub(super) path: Option<PathBuf>,
    pub(super) sources: Vec<DescribedSource>,
    trials: TrialSettings,
    decisions: DecisionSettings,
    inputs: Vec<PathBuf>,
    warnings: Vec<String>,
}

/// One source, for any number of networks.
#[derive(Clone, Debug)]
pub(super) struct DescribedSource {
    pub(super) name: String,
    /// Names of the blocks; `None` if it applies to all.
    pub(super) blocks: Option<Vec<Located<String>>>,
    /// Ports of the loads of a receiver; `None` if it applies to no load in particular.
    pub(super) loads: Option<Vec<Located<String>>>,
    /// Paths of the files; `None` if it applies to all.
    pub(super) files: Option<Vec<Located<PathBuf>>>,
    pub(super) kind: SourceKind,
    /// Whether all its files and blocks share its errors.
    pub(super) is_shared: bool,
    /// Its place in the description; `None` for a stated amount without one.
    pub(super) place: Option<TextPlace>,
}

/// A value and its place in the description.
#[derive(Clone, Debug)]
pub(super) struct Located<T> {
    pub(super) value: T,
    pub(super) place: TextPlace,
}

/// The content of a source.
#[derive(Clone, Debug)]
pub(super) enum SourceKind {
    /// The same amounts for every entry of a network.
    Constant {
        amount: EntryAmount,
        over_frequency: OverFrequency,
    },
    Entries {
        transmission: StatedAmounts,
        reflection: StatedAmounts,
        symmetry: ErrorSymmetry,
        over_frequency: OverFrequency,
    },
    Passes {
        pass: StatedAmounts,
        placement: Option<ProbePlacement>,
        over_frequency: OverFrequency,
    },
    Repeats(Vec<Network>),
    Covariances(EntryCovariances),
    /// Standard uncertainties of parameters of closed-form blocks and loads.
    Parameters(Vec<(Located<String>, ParameterAmount)>),
}

/// Reads UNCERTAINTY.toml and the files it names.
///
/// # Errors
/// [`DescriptionError`] with the line of the description, or with the line of the file it names.
///
/// # Examples
/// ```
/// use fourphase::description::{read_receiver, read_uncertainty};
/// use fourphase::downconverter::analyse_receiver;
/// use fourphase::measurement::receiver_uncertainty;
/// use fourphase::touchstone::ReadOptions;
///
/// let options = ReadOptions::default();
/// let mut read = read_receiver("data-demo/receiver.toml".as_ref(), &options)?;
/// let stated = read_uncertainty("data-demo/uncertainty.toml".as_ref(), &options)?;
/// let parts = stated.of_receiver(&mut read)?;
/// let result = analyse_receiver(&read.receiver)?;
/// let (trials, decisions) = (stated.trials(), stated.decisions());
/// let known = receiver_uncertainty(&read.receiver, &result, &parts, trials, decisions, &|_| {})?;
/// assert!(known.worst_rejection.standard_uncertainty > 0.1);
/// # Ok::<(), Box<dyn std::error::Error>>(())
/// ```
#[doc = include_str!("uncertainty.md")]
pub fn read_uncertainty(
    path: &Path,
    options: &ReadOptions,
) -> Result<Uncertainty, DescriptionError> {
    let source = TomlFile::read(path)?;
    let entries: UncertaintyEntries = source.parse()?;
    let mut files = NamedFiles::of(&source, options);
    let trials = trial_settings(&source, &entries)?;
    files.warnings.extend(few_outside(&trials));
    let decisions = decision_settings(&source, &entries)?;
    let mut sources = Vec::new();
    for (at, entry) in entries.sources.iter().enumerate() {
        sources.push(described_source(&source, entry, at + 1, &mut files)?);
    }
    if sources.is_empty() {
        return Err(source.complaint_in_file("the description needs a [[source]], found none"));
    }
    Ok(Uncertainty {
        path: Some(path.to_owned()),
        sources,
        trials,
        decisions,
        inputs: files.inputs,
        warnings: files.warnings,
    })
}

impl Uncertainty {
    /// A source with the same standard uncertainty for every entry of every file, without a
    /// description.
    ///
    /// # Errors
    /// [`MeasurementError::NotAnAmount`].
    pub fn of_every_entry(
        amount: EntryAmount,
        over_frequency: OverFrequency,
    ) -> Result<Self, MeasurementError> {
        amount.check()?;
        let source = DescribedSource {
            name: "source 1".to_owned(),
            blocks: None,
            loads: None,
            files: None,
            kind: SourceKind::Constant { amount, over_frequency },
            is_shared: false,
            place: None,
        };
        Ok(Self {
            path: None,
            sources: vec![source],
            trials: TrialSettings::default(),
            decisions: DecisionSettings::default(),
            inputs: Vec::new(),
            warnings: amount.remark().into_iter().collect(),
        })
    }

    /// Number of trials, seed and coverage.
    #[must_use]
    pub fn trials(&self) -> &TrialSettings {
        &self.trials
    }

    /// The rules for decisions on requirements.
    #[must_use]
    pub fn decisions(&self) -> &DecisionSettings {
        &self.decisions
    }

    /// The description and every file that was read for it.
    #[must_use]
    pub fn inputs(&self) -> &[PathBuf] {
        &self.inputs
    }

    /// Warnings for the user before any analysis.
    #[must_use]
    pub fn warnings(&self) -> &[String] {
        &self.warnings
    }

    /// Warnings for the user when the limits and the stability of the trials, in dB, are known.
    #[must_use]
    pub fn remarks(&self, limits: &Limits, stability_db: Option<f64>) -> Vec<String> {
        let idle = self.decisions.guarded().filter(|quantity| limits.on(*quantity).is_none());
        let mut remarks: Vec<String> = idle
            .map(|quantity| {
                let name = quantity.name();
                format!("the guard band of {name} has no effect: there is no such limit")
            })
            .collect();
        if self.trials.trials().is_none()
            && let Some(reached) = stability_db.filter(|reached| *reached > self.trials.stability())
        {
            remarks.push(format!(
                "after the maximum number of trials the result is stable to {reached:.3} dB, expected \
                 {} dB",
                self.trials.stability()
            ));
        }
        remarks
    }
}

fn trial_settings(
    source: &TomlFile,
    entries: &UncertaintyEntries,
) -> Result<TrialSettings, DescriptionError> {
    let refused = |error: MeasurementError| source.complaint_in_file(error.to_string());
    let mut settings = TrialSettings::default();
    if let Some(percent) = &entries.coverage_percent {
        let percent = source.number("coverage_percent", percent, PERCENT)?;
        settings = settings.with_coverage(percent / 100.0).map_err(refused)?;
    }
    if let Some(db) = &entries.stability_db {
        let db = source.number("stability_db", db, Allowed::FromTo(1e-3, 10.0))?;
        settings = settings.with_stability(db).map_err(refused)?;
    }
    if let Some(seed) = entries.seed {
        settings = settings.with_seed(seed);
    }
    let trials = entries.trials.as_ref();
    let trials = trials.map(|given| source.whole("trials", given, 100..=10_000_000)).transpose()?;
    if let Some(trials) = trials.and_then(NonZeroUsize::new) {
        settings = settings.with_trials(trials);
    }
    Ok(settings)
}

/// The allowed range of probabilities.
const PERCENT: Allowed = Allowed::FromTo(50.0, 99.9);

/// A warning if very few trials are outside the coverage interval.
fn few_outside(settings: &TrialSettings) -> Option<String> {
    let trials = settings.trials()?;
    #[expect(clippy::cast_precision_loss, reason = "far below 2^53")]
    let outside = trials.get() as f64 * (1.0 - settings.coverage());
    (outside < 20.0).then(|| {
        format!(
            "only {outside:.0} of {trials} trials are outside the interval; its ends are \
             uncertain"
        )
    })
}

fn decision_settings(
    source: &TomlFile,
    entries: &UncertaintyEntries,
) -> Result<DecisionSettings, DescriptionError> {
    let refused = |error: MeasurementError| source.complaint_in_file(error.to_string());
    let mut settings = DecisionSettings::default();
    if let Some(percent) = &entries.decision.conformity_percent {
        let percent = source.number("conformity_percent", percent, PERCENT)?;
        settings = settings.with_conformity(percent / 100.0).map_err(refused)?;
    }
    for (name, width) in &entries.decision.guard_band {
        let Some(quantity) = Quantity::from_name(name.get_ref()) else {
            let known: Vec<&str> = Quantity::ALL.iter().map(|known| known.name()).collect();
            return Err(source.unknown_key(name, &known));
        };
        let width = source.number(name.get_ref(), width, Allowed::FromTo(0.0, 100.0))?;
        settings = settings.with_guard_band(quantity, width).map_err(refused)?;
    }
    Ok(settings)
}

fn described_source(
    source: &TomlFile,
    entry: &Spanned<SourceEntry>,
    number: usize,
    files: &mut NamedFiles<'_>,
) -> Result<DescribedSource, DescriptionError> {
    let given = entry.get_ref();
    let located = |name: &Spanned<String>| Located {
        value: name.get_ref().clone(),
        place: source.place(name.span()),
    };
    let blocks = given.blocks.as_ref().map(|blocks| blocks.iter().map(located).collect());
    let loads = given.loads.as_ref().map(|loads| loads.iter().map(located).collect());
    let named = given.files.as_ref().map(|files| {
        let located = |file: &Spanned<PathBuf>| Located {
            value: source.beside(file.get_ref()),
            place: source.place(file.span()),
        };
        files.iter().map(located).collect()
    });
    let name = given.name.clone().unwrap_or_else(|| format!("source {number}"));
    let kind = source_kind(source, entry, &name, files)?;
    let is_of_one = matches!(
        kind,
        SourceKind::Repeats(_) | SourceKind::Covariances(_) | SourceKind::Parameters(_)
    );
    if given.shared && is_of_one {
        let what = format!(
            "{name}: repeats, a covariance and parameters apply to one part; only stated amounts can \
             be shared"
        );
        return Err(source.complaint(entry, what));
    }
    Ok(DescribedSource {
        name,
        blocks,
        loads,
        files: named,
        kind,
        is_shared: given.shared,
        place: Some(source.place(entry.span())),
    })
}

fn source_kind(
    source: &TomlFile,
    entry: &Spanned<SourceEntry>,
    name: &str,
    files: &mut NamedFiles<'_>,
) -> Result<SourceKind, DescriptionError> {
    let given = entry.get_ref();
    let is_stated = given.transmission.is_some()
        || given.reflection.is_some()
        || given.port.is_some()
        || given.placement.is_some()
        || given.table.is_some();
    let has_parameters = !(given.parameters.is_empty() && given.parameters_percent.is_empty());
    if has_parameters && !is_stated && given.repeats.is_none() && given.covariance.is_none() {
        return parameters(source, entry);
    }
    let kind = match (is_stated || has_parameters, &given.repeats, &given.covariance) {
        (true, None, None) => return stated(source, entry, files),
        (false, Some(repeats), None) => {
            SourceKind::Repeats(read_repeats(source, repeats, name, files)?)
        }
        (false, None, Some(file)) => {
            SourceKind::Covariances(read_covariances(&files.table(file)?)?)
        }
        _ => {
            let what = format!(
                "{name} needs one of: transmission, reflection, port, placement or a \
                 table; repeats; a covariance; parameters or parameters_percent"
            );
            return Err(source.complaint(entry, what));
        }
    };
    match &given.over_frequency {
        Some(given) => {
            let what = "the correlation of repeats follows from their data, and a covariance is independent \
                        from point to point; omit over_frequency";
            Err(source.complaint(given, what))
        }
        None => Ok(kind),
    }
}

/// Uncertain parameters of closed-form blocks and loads; these must be named.
fn parameters(
    source: &TomlFile,
    entry: &Spanned<SourceEntry>,
) -> Result<SourceKind, DescriptionError> {
    let given = entry.get_ref();
    if given.blocks.is_none() && given.loads.is_none() {
        let what = "parameters apply to closed-form parts; name these with blocks or loads";
        return Err(source.complaint(entry, what));
    }
    if let Some(over_frequency) = &given.over_frequency {
        let what = "a parameter is the same at all frequencies; omit over_frequency";
        return Err(source.complaint(over_frequency, what));
    }
    type Make = fn(f64) -> ParameterAmount;
    let lists: [(_, Make); 2] = [
        (&given.parameters, ParameterAmount::Absolute),
        (&given.parameters_percent, ParameterAmount::Percent),
    ];
    let mut amounts = Vec::new();
    for (list, make) in lists {
        for (name, amount) in list {
            let amount = source.number(name.get_ref(), amount, ALLOWED)?;
            let name = Located { value: name.get_ref().clone(), place: source.place(name.span()) };
            amounts.push((name, make(amount)));
        }
    }
    Ok(SourceKind::Parameters(amounts))
}

/// Whether two measurements agree to six digits of their largest entry: noise of measurements is larger, and
/// another number format of one file is not.
fn is_copy(one: &Network, other: &Network) -> bool {
    const SMALLEST_NOISE: f64 = 1e-6;
    let largest = one.entries().iter().map(|entry| entry.norm()).fold(0.0, f64::max);
    let is_near = |(a, b): (&Complex64, &Complex64)| (a - b).norm() <= SMALLEST_NOISE * largest;
    one.kind() == other.kind()
        && one.entries().len() == other.entries().len()
        && one.entries().iter().zip(other.entries()).all(is_near)
}

fn read_repeats(
    source: &TomlFile,
    repeats: &Spanned<Vec<PathBuf>>,
    name: &str,
    files: &mut NamedFiles<'_>,
) -> Result<Vec<Network>, DescriptionError> {
    let mut networks = Vec::new();
    for file in repeats.get_ref() {
        networks.push(files.network_at(file, repeats.span())?);
    }
    let count = networks.len();
    for (at, network) in networks.iter().enumerate() {
        if let Some(first) = networks[..at].iter().position(|other| is_copy(other, network)) {
            let what = format!(
                "repeats {} and {} hold the same numbers: they must be measurements of their own",
                first + 1,
                at + 1
            );
            return Err(source.complaint(repeats, what));
        }
    }
    if count < 2 {
        let what = format!("repeats must name two or more files of one part, found {count}");
        return Err(source.complaint(repeats, what));
    }
    if count < 4 {
        // Student's distribution has no variance with fewer than three degrees of freedom.
        files.warnings.push(format!(
            "{name}: the standard deviation of {count} repeats is uncertain; use four or more"
        ));
    }
    Ok(networks)
}

fn stated(
    source: &TomlFile,
    entry: &Spanned<SourceEntry>,
    files: &mut NamedFiles<'_>,
) -> Result<SourceKind, DescriptionError> {
    let given = entry.get_ref();
    let table = match &given.table {
        Some(file) => Some(Arc::new(AmountTable::read(&files.table(file)?)?)),
        None => None,
    };
    let none = AmountEntry { magnitude_db: None, magnitude: None, phase_deg: None };
    let port = given.port.as_ref().map(|port| AmountEntry {
        magnitude_db: port.magnitude_db.clone(),
        magnitude: None,
        phase_deg: port.phase_deg.clone(),
    });
    let amounts = |kind: &str, entry: Option<&AmountEntry>| {
        StatedAmounts::read(source, kind, entry.unwrap_or(&none), table.as_ref())
    };
    let transmission = amounts("transmission", given.transmission.as_ref())?;
    let reflection = amounts("reflection", given.reflection.as_ref())?;
    let pass = amounts("port", port.as_ref())?;
    for (kind, entry, read) in [
        ("transmission", &given.transmission, &transmission),
        ("reflection", &given.reflection, &reflection),
        ("port", &port, &pass),
    ] {
        let of_key = entry.as_ref().and_then(|entry| large_amount(source, entry));
        let remark = of_key.or_else(|| {
            let file = given.table.as_ref().map(|table| format!("{}: ", table.get_ref().display()));
            Some(format!("{}{kind}: {}", file.unwrap_or_default(), read.remark()?))
        });
        files.warnings.extend(remark);
    }
    let placement = match &given.placement {
        Some(placement) => {
            files.warnings.extend(odd_placement(source, placement));
            read_placement(source, placement)?
        }
        None => None,
    };
    // Correlated by default: a drift or a connection is the same over the sweep.
    let over_frequency = given
        .over_frequency
        .as_ref()
        .map_or(OverFrequencyName::default(), |name| *name.get_ref())
        .into();
    let has_entries = !(transmission.is_zero() && reflection.is_zero());
    match (has_entries, !pass.is_zero() || placement.is_some()) {
        (true, true) => {
            let what = "port and placement need their own [[source]], without transmission \
                        and reflection";
            Err(source.complaint(entry, what))
        }
        (false, false) => {
            let what = "this source has no uncertainty above 0; give transmission, reflection, \
                        port or placement";
            Err(source.complaint(entry, what))
        }
        (false, true) => Ok(SourceKind::Passes { pass, placement, over_frequency }),
        (true, false) => {
            let symmetry =
                if given.reciprocal { ErrorSymmetry::Reciprocal } else { ErrorSymmetry::Unrelated };
            Ok(SourceKind::Entries { transmission, reflection, symmetry, over_frequency })
        }
    }
}

/// A remark at the first amount of an entry that no calibrated measurement has.
fn large_amount(source: &TomlFile, entry: &AmountEntry) -> Option<String> {
    let remark = |given: &Option<Spanned<f64>>, amount: &dyn Fn(f64) -> EntryAmount| {
        let given = given.as_ref()?;
        Some(source.remark(given.span(), &amount(*given.get_ref()).remark()?))
    };
    let none = EntryAmount::default();
    remark(&entry.magnitude_db, &|db| EntryAmount { magnitude_np: neper_from_db(db), ..none })
        .or_else(|| {
            remark(&entry.phase_deg, &|deg| EntryAmount { phase_rad: deg.to_radians(), ..none })
        })
        .or_else(|| {
            remark(&entry.magnitude, &|linear| EntryAmount { magnitude_linear: linear, ..none })
        })
}

/// A remark at a placement that is meant in millimetres.
fn odd_placement(source: &TomlFile, entry: &PlacementEntry) -> Option<String> {
    /// Below what any probe station positions (ours).
    const SMALLEST_UM: f64 = 0.1;
    let um = *entry.um.get_ref();
    let text = format!(
        "um = {um} is below what a probe station positions; if {um} mm is meant, write {}",
        um * 1e3
    );
    let permittivity = &entry.effective_permittivity;
    (um > 0.0 && um < SMALLEST_UM).then(|| source.remark(entry.um.span(), &text)).or_else(|| {
        let text = large_permittivity("effective_permittivity", *permittivity.get_ref())?;
        Some(source.remark(permittivity.span(), &text))
    })
}

/// The placement; `None` if it has no uncertainty.
fn read_placement(
    source: &TomlFile,
    entry: &PlacementEntry,
) -> Result<Option<ProbePlacement>, DescriptionError> {
    let um = source.number("um", &entry.um, ALLOWED)?;
    let given = &entry.effective_permittivity;
    let allowed = Allowed::FromTo(1.0, 1000.0);
    let permittivity = source.number("effective_permittivity", given, allowed)?;
    let placement = ProbePlacement::new(um, permittivity)
        .map_err(|error| source.complaint(given, error.to_string()))?;
    Ok(Some(placement).filter(|_| um > 0.0))
}
