//! RECIPE.toml: the analysis of every die of a lot, its limits, and the map of dies.
//!
//! | table | keys |
//! |---|---|
//! | top | `manifest` (the list of dies), `title`, `uncertainty`, `retests` |
//! | `[analysis]` | `receiver` or `splitter` |
//! | `[map]` | size of wafer and dies, axes, notch, centre |
//! | `[require]` | limits for every die, and the yield |
//! | `[screening]` | `sigma`: the threshold of outliers |
//! | `[what_if]` | further questions |
//!
//! Paths are relative to the recipe. The allowed values of settings are those of [`LotSettings`].

use super::allowed::Allowed;
use super::error::DescriptionError;
use super::recipe_entries::{AnalysisEntry, DieSplitterEntry, MapEntry, RecipeEntry, WhatIfEntry};
use super::require_table::RequireTable;
use super::source::{Pair, TomlFile};
use crate::network::Port;
use crate::requirement::Quantity;
use crate::splitter::{GivenRoles, SplitterKind, SplitterSettings};
use crate::units::check_ghz;
use crate::wafer::{
    CentreDie, DieSubject, Direction, LotMap, LotSettings, SettingsError, WaferGeometry,
    WhatIfSettings,
};
use num_complex::Complex64;
use std::ops::Range;
use std::path::{Path, PathBuf};
use toml::Spanned;

/// The required yield, in the table of limits.
const YIELD_PERCENT: &str = "yield_percent";

/// What every die may be judged by.
const DIE_QUANTITIES: [Quantity; 9] = [
    Quantity::ImageRejection,
    Quantity::CommonModeRejection,
    Quantity::AmplitudeImbalance,
    Quantity::PhaseError,
    Quantity::QuadratureError,
    Quantity::LoPower,
    Quantity::ConversionLoss,
    Quantity::NoiseFigure,
    Quantity::LoAtRfPort,
];

/// The analysis of every die.
#[derive(Clone, Debug, PartialEq)]
pub enum RecipeAnalysis {
    /// A receiver, described in its own file; columns of the list of dies replace its blocks.
    Receiver(PathBuf),
    /// One splitter, whose file a column of the list of dies gives.
    Splitter {
        /// The settings of the analysis.
        settings: SplitterSettings,
        /// The column with its files.
        column: String,
    },
}

/// A recipe: the dies of a lot, and the settings of their evaluation.
#[derive(Clone, Debug, PartialEq)]
pub struct Recipe {
    path: PathBuf,
    title: Option<String>,
    manifest: PathBuf,
    uncertainty: Option<PathBuf>,
    analysis: RecipeAnalysis,
    settings: LotSettings,
}

impl Recipe {
    /// The path of the recipe.
    #[must_use]
    pub fn path(&self) -> &Path {
        &self.path
    }

    /// The title, if there is one.
    #[must_use]
    pub fn title(&self) -> Option<&str> {
        self.title.as_deref()
    }

    /// The path of the list of dies, relative to the working folder or absolute.
    #[must_use]
    pub fn manifest(&self) -> &Path {
        &self.manifest
    }

    /// The path of the uncertainty description, relative to the working folder or absolute.
    #[must_use]
    pub fn uncertainty(&self) -> Option<&Path> {
        self.uncertainty.as_deref()
    }

    /// The analysis of every die.
    #[must_use]
    pub fn analysis(&self) -> &RecipeAnalysis {
        &self.analysis
    }

    /// The settings of the lot.
    #[must_use]
    pub fn settings(&self) -> &LotSettings {
        &self.settings
    }
}

/// Reads RECIPE.toml; the files that it names are not opened.
///
/// # Errors
/// [`DescriptionError`] with the line and column of the error.
///
/// # Examples
/// ```
/// use fourphase::description::read_recipe;
/// use fourphase::wafer::{Direction, RetestPolicy};
///
/// let recipe = read_recipe("data-demo/wafer/recipe.toml".as_ref())?;
/// assert!(recipe.manifest().ends_with("wafer/dies.csv"));
/// assert_eq!(recipe.settings().retests(), RetestPolicy::Last);
/// let map = recipe.settings().map().expect("the demo has a map");
/// assert_eq!((map.geometry.diameter_mm(), map.geometry.notch()), (150.0, Direction::Down));
/// # Ok::<(), fourphase::description::DescriptionError>(())
/// ```
#[doc = include_str!("recipe.md")]
pub fn read_recipe(path: &Path) -> Result<Recipe, DescriptionError> {
    RecipeReader { file: &TomlFile::read(path)? }.recipe()
}

struct RecipeReader<'f> {
    file: &'f TomlFile,
}

impl RecipeReader<'_> {
    fn recipe(&self) -> Result<Recipe, DescriptionError> {
        let entry: RecipeEntry = self.file.parse()?;
        let (analysis, subject) = self.analysis(&entry.analysis)?;
        let mut settings = LotSettings::new(subject);
        if let Some(name) = entry.retests {
            settings = settings.with_retests(name.into());
        }
        if let Some(map) = &entry.map {
            settings = settings.with_map(self.map(map)?);
        }
        if let Some(require) = &entry.require {
            settings = self.require(settings, require)?;
        }
        if let Some(sigma) = &entry.screening.sigma {
            let made = settings.with_screening_sigma(*sigma.get_ref());
            settings = made.map_err(|error| self.refused(error, sigma.span()))?;
        }
        Ok(Recipe {
            path: self.file.path().to_owned(),
            title: entry.title,
            manifest: self.file.beside(&entry.manifest),
            uncertainty: entry.uncertainty.as_ref().map(|name| self.file.beside(name)),
            analysis,
            settings: self.what_if(settings, &entry.what_if)?,
        })
    }

    /// An invalid setting, at the place of its key.
    fn refused(&self, error: SettingsError, span: Range<usize>) -> DescriptionError {
        self.file.error(error, span)
    }

    fn analysis(
        &self,
        entry: &Spanned<AnalysisEntry>,
    ) -> Result<(RecipeAnalysis, DieSubject), DescriptionError> {
        match (&entry.get_ref().receiver, &entry.get_ref().splitter) {
            (Some(receiver), None) => {
                let path = self.file.beside(receiver.get_ref());
                Ok((RecipeAnalysis::Receiver(path), DieSubject::Receiver))
            }
            (None, Some(splitter)) => {
                let subject = match splitter.kind.0 {
                    SplitterKind::Antiphase => DieSubject::AntiphaseSplitter,
                    _ => DieSubject::Splitter,
                };
                let (settings, column) = (self.splitter(splitter)?, splitter.column.clone());
                Ok((RecipeAnalysis::Splitter { settings, column }, subject))
            }
            (Some(receiver), Some(_)) => Err(self.file.complaint(
                receiver,
                "[analysis] must have either receiver or splitter, found both",
            )),
            (None, None) => Err(self.file.complaint(
                entry,
                "[analysis] needs receiver = \"receiver.toml\" or splitter = { .. }",
            )),
        }
    }

    fn splitter(&self, given: &DieSplitterEntry) -> Result<SplitterSettings, DescriptionError> {
        let Pair(a, b) = &given.outputs;
        let mut taken: Vec<Port> = Vec::new();
        let mut port = |given: &Spanned<usize>| {
            let Some(port) = Port::from_number(*given.get_ref()) else {
                return Err(self.file.complaint(given, "ports count from 1, found port 0"));
            };
            if taken.contains(&port) {
                return Err(self.file.complaint(given, format!("duplicate port {port}")));
            }
            taken.push(port);
            Ok(port)
        };
        let (input, a, b) = (port(&given.input)?, port(a)?, port(b)?);
        let isolated = given.isolated.as_ref().map(port).transpose()?;
        let number = |key, given: &Option<Spanned<f64>>, allowed| {
            self.file.optional_number(key, given.as_ref(), allowed)
        };
        let reference_ohm = number("reference_ohm", &given.reference_ohm, Allowed::AboveZero)?;
        Ok(SplitterSettings {
            roles: GivenRoles {
                kind: Some(given.kind.0),
                input: Some(input),
                outputs: Some([a, b]),
                isolated,
                nominal_deg: number("nominal_deg", &given.nominal_deg, Allowed::Finite)?,
            },
            band_hz: given.band_ghz.as_ref().map(|band| self.band_hz(band)).transpose()?,
            references_ohm: reference_ohm.map(Complex64::from).into_iter().collect(),
            ..SplitterSettings::default()
        })
    }

    fn band_hz(&self, given: &Spanned<Pair<f64>>) -> Result<(f64, f64), DescriptionError> {
        let Pair(low, high) = *given.get_ref();
        for ghz in [low, high] {
            check_ghz("band_ghz", ghz)
                .map_err(|error| self.file.complaint(given, error.to_string()))?;
        }
        if low > 0.0 && low <= high && high.is_finite() {
            return Ok((low * 1e9, high * 1e9));
        }
        let what = format!(
            "band_ghz must be [lowest, highest] with 0 < lowest <= highest, found [{low}, {high}]"
        );
        Err(self.file.complaint(given, what))
    }

    fn require(
        &self,
        settings: LotSettings,
        table: &RequireTable,
    ) -> Result<LotSettings, DescriptionError> {
        let refused = |error, name| match table.limit_span(name) {
            Some(span) => self.refused(error, span),
            None => self.file.error_in_file(error),
        };
        let mut settings = settings.with_own_limits();
        for limit in table.limits(self.file, &DIE_QUANTITIES, &[YIELD_PERCENT])?.iter() {
            let made = settings.with_limit(limit);
            settings = made.map_err(|error| refused(error, limit.quantity().name()))?;
        }
        match table.number(YIELD_PERCENT, self.file)? {
            None => Ok(settings),
            Some(given) => settings
                .with_required_yield_percent(*given.get_ref())
                .map_err(|error| refused(error, YIELD_PERCENT)),
        }
    }

    /// Refuses a pitch that is no die's on such a wafer: it is in metres or micrometres.
    fn check_pitch(
        &self,
        given: &Spanned<Pair<f64>>,
        diameter_mm: f64,
    ) -> Result<(), DescriptionError> {
        /// Ours; no die that can be probed is smaller.
        const SMALLEST_MM: f64 = 0.05;
        let Pair(x_mm, y_mm) = *given.get_ref();
        for found in [x_mm, y_mm] {
            let (unit, factor) = match found {
                found if found > 0.0 && found < SMALLEST_MM => ("m", 1e3),
                found if found > diameter_mm && diameter_mm > 0.0 => ("um", 1e-3),
                _ => continue,
            };
            let what = format!(
                "die_pitch_mm is in mm, and {found} mm is no die on a wafer of {diameter_mm} mm; if \
                 {found} {unit} is meant, write {}; wafer_diameter_mm is in mm too",
                found * factor
            );
            return Err(self.file.complaint(given, what));
        }
        Ok(())
    }

    fn map(&self, entry: &MapEntry) -> Result<LotMap, DescriptionError> {
        let diameter_mm = *entry.wafer_diameter_mm.get_ref();
        let Pair(x_mm, y_mm) = *entry.die_pitch_mm.get_ref();
        self.check_pitch(&entry.die_pitch_mm, diameter_mm)?;
        let mut map = WaferGeometry::new(diameter_mm, (x_mm, y_mm)).map_err(|error| {
            // The diameter is checked before the pitch.
            let is_diameter = Allowed::AboveZero.contains(diameter_mm);
            let pitch = entry.die_pitch_mm.span();
            self.refused(error, if is_diameter { pitch } else { entry.wafer_diameter_mm.span() })
        })?;
        if let Some(given) = &entry.edge_exclusion_mm {
            let mm = *given.get_ref();
            // No edge exclusion is as narrow (ours).
            if mm > 0.0 && mm < 0.05 {
                let what = format!(
                    "edge_exclusion_mm = {mm} is in mm; if {mm} m is meant, write {}",
                    1e3 * mm
                );
                return Err(self.file.complaint(given, what));
            }
            map = map
                .with_edge_exclusion_mm(*given.get_ref())
                .map_err(|error| self.refused(error, given.span()))?;
        }
        // If one axis is not given, the other one is wrong.
        if let Some(fault) = entry.y_axis.as_ref().or(entry.x_axis.as_ref()) {
            let x_axis =
                entry.x_axis.as_ref().map_or(map.x_axis(), |given| (*given.get_ref()).into());
            let y_axis =
                entry.y_axis.as_ref().map_or(map.y_axis(), |given| (*given.get_ref()).into());
            map =
                map.with_axes(x_axis, y_axis).map_err(|error| self.refused(error, fault.span()))?;
        }
        if let Some(notch) = entry.notch {
            map = map.with_notch(Direction::from(notch));
        }
        let Some(centre) = &entry.centre_die else {
            return Ok(LotMap { geometry: map, centre: CentreDie::Inferred });
        };
        let Pair(x, y) = *centre.get_ref();
        let geometry =
            map.with_centre_die((x, y)).map_err(|error| self.refused(error, centre.span()))?;
        Ok(LotMap { geometry, centre: CentreDie::Given })
    }

    fn what_if(
        &self,
        settings: LotSettings,
        entry: &WhatIfEntry,
    ) -> Result<LotSettings, DescriptionError> {
        let usual = WhatIfSettings::default();
        let asked = WhatIfSettings {
            correction: entry.correction,
            ideal: entry.ideal.iter().map(|name| name.get_ref().clone()).collect(),
            assemble: entry.assemble.as_ref().map_or(usual.assemble, |given| *given.get_ref()),
            seed: entry.seed.unwrap_or(usual.seed),
        };
        settings.with_what_if(asked).map_err(|error| {
            let ideal = entry.ideal.first().map(Spanned::span);
            let assemble = entry.assemble.as_ref().map(Spanned::span);
            let is_ideal = matches!(error, SettingsError::IdealInSplitter);
            match if is_ideal { ideal } else { assemble } {
                Some(span) => self.refused(error, span),
                None => self.file.error_in_file(error),
            }
        })
    }
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use super::*;
    use crate::wafer::RetestPolicy;

    const SPLITTER: &str = r#"manifest = "dies.csv"
[analysis]
splitter = { kind = "quadrature", input = 1, outputs = [2, 3], column = "hybrid" }
"#;

    fn parsed(path: &str, text: &str) -> Result<Recipe, DescriptionError> {
        RecipeReader { file: &TomlFile::of_text(path.as_ref(), text) }.recipe()
    }

    #[test]
    fn a_recipe_is_read_into_settings() {
        let text = r#"[map]
wafer_diameter_mm = 150
die_pitch_mm = [2.4, 2]
notch = "left"
y_axis = "down"
[require]
image_rejection_db = 28
yield_percent = 90
"#;
        let recipe = parsed("a/b.toml", &format!("{SPLITTER}{text}")).unwrap();
        assert_eq!(recipe.manifest(), Path::new("a/dies.csv"));
        let settings = recipe.settings();
        assert_eq!(settings.retests(), RetestPolicy::Last);
        let map = settings.map().unwrap();
        assert_eq!(
            (map.geometry.notch(), map.geometry.x_axis(), map.geometry.y_axis(), map.centre),
            (Direction::Left, Direction::Right, Direction::Down, CentreDie::Inferred)
        );
        assert_eq!(settings.limits().unwrap().on(Quantity::ImageRejection), Some(28.0));
        assert_eq!(settings.required_yield(), Some(0.9));
    }

    #[test]
    fn errors_stand_at_their_line_and_column() {
        let below = |text: &str| format!("{SPLITTER}{text}");
        for (text, says, place) in [
            ("manifest = 3\n[analysis]\n".to_owned(), "expected text in quotes, found 3", "1:12"),
            (
                "manifest = \"d\"\n[analysis]\nreciever = \"r\"\n".to_owned(),
                "unknown key 'reciever'",
                "3:1",
            ),
            (
                below("[require]\nimage_rejection_db = -1\n"),
                "image_rejection_db must be from 0 to 200, found -1",
                "5:22",
            ),
            (
                below("[require]\nquadrature_error_deg = 1\n"),
                "a splitter has no quadrature_error_deg; use phase_error_deg",
                "5:24",
            ),
            (
                below("[require]\nyield_percent = 120\n"),
                "yield_percent must be in percent, above 1 and up to 100, or 0, found 120",
                "5:17",
            ),
            (SPLITTER.replace("[2, 3]", "[2, 1]"), "duplicate port 1", "3:60"),
            (
                below("[map]\nwafer_diameter_mm = -150\ndie_pitch_mm = [1, 1]\n"),
                "wafer_diameter_mm must be above 0, found -150",
                "5:21",
            ),
            (
                below("[map]\nwafer_diameter_mm = 150\ndie_pitch_mm = [1, 1]\nx_axis = \"up\"\n"),
                "x_axis and y_axis must be at a right angle, found up and up",
                "7:10",
            ),
            (below("[what_if]\nideal = [\"balun\"]\n"), "no other block", "5:10"),
            ("manifest = \"d\"\n[analysis]\n".to_owned(), "needs receiver", "2:1"),
        ] {
            let error = parsed("r.toml", &text).unwrap_err();
            assert!(error.to_string().contains(says), "{error}");
            let found = error.position().map(|position| position.to_string());
            assert_eq!(found.unwrap_or_default(), place, "{text}");
        }
    }
}
