//! RECIPE.toml: what is measured on every die, what it must hold, and how the wafer lies.

use super::error::{WaferError, WaferProblem};
use super::manifest::RetestPolicy;
use super::space::{Direction, WaferGeometry};
use crate::diagnostic::Excerpt;
use crate::requirement::{Limit, Limits, Quantity};
use serde::Deserialize;
use std::ops::Range;
use std::path::{Path, PathBuf};
use toml::Spanned;

/// A recipe as written.
#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
struct RecipeFile {
    title: Option<String>,
    manifest: PathBuf,
    uncertainty: Option<PathBuf>,
    #[serde(default)]
    retests: Option<RetestName>,
    analysis: AnalysisEntry,
    map: Option<MapEntry>,
    #[serde(default)]
    require: Option<RequireEntry>,
    #[serde(default)]
    screening: ScreeningEntry,
    #[serde(default)]
    what_if: WhatIfEntry,
}

#[derive(Clone, Copy, Debug, Deserialize)]
#[serde(rename_all = "lowercase")]
enum RetestName {
    First,
    Last,
    Best,
    All,
}

#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
struct AnalysisEntry {
    receiver: Option<Spanned<PathBuf>>,
    splitter: Option<Spanned<SplitterEntry>>,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq, Deserialize)]
#[serde(rename_all = "lowercase")]
enum KindName {
    Quadrature,
    Antiphase,
    Inphase,
}

#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
struct SplitterEntry {
    kind: KindName,
    input: Spanned<usize>,
    outputs: Spanned<[usize; 2]>,
    isolated: Option<Spanned<usize>>,
    column: String,
    band_ghz: Option<Spanned<[f64; 2]>>,
    nominal_deg: Option<Spanned<f64>>,
    reference_ohm: Option<Spanned<f64>>,
}

#[derive(Clone, Copy, Debug, Deserialize)]
#[serde(rename_all = "lowercase")]
enum DirectionName {
    Right,
    Left,
    Up,
    Down,
}

#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
struct MapEntry {
    wafer_diameter_mm: Spanned<f64>,
    die_pitch_mm: Spanned<[f64; 2]>,
    edge_exclusion_mm: Option<Spanned<f64>>,
    notch: Option<DirectionName>,
    x_axis: Option<Spanned<DirectionName>>,
    y_axis: Option<Spanned<DirectionName>>,
    centre_die: Option<Spanned<[f64; 2]>>,
}

#[derive(Debug, Default, Deserialize)]
#[serde(deny_unknown_fields)]
struct RequireEntry {
    image_rejection_db: Option<Spanned<f64>>,
    common_mode_rejection_db: Option<Spanned<f64>>,
    amplitude_imbalance_db: Option<Spanned<f64>>,
    phase_error_deg: Option<Spanned<f64>>,
    quadrature_error_deg: Option<Spanned<f64>>,
    lo_power_dbm_min: Option<Spanned<f64>>,
    yield_percent: Option<Spanned<f64>>,
}

#[derive(Debug, Default, Deserialize)]
#[serde(deny_unknown_fields)]
struct ScreeningEntry {
    sigma: Option<Spanned<f64>>,
}

#[derive(Debug, Default, Deserialize)]
#[serde(deny_unknown_fields)]
struct WhatIfEntry {
    #[serde(default)]
    correction: bool,
    #[serde(default)]
    ideal: Vec<Spanned<String>>,
    assemble: Option<Spanned<u32>>,
    seed: Option<u64>,
}

/// What is measured on every die.
#[derive(Clone, Debug, PartialEq)]
pub enum RecipeAnalysis {
    /// A receiver; the manifest's columns replace its blocks.
    Receiver(PathBuf),
    /// One splitter, whose file a column of the manifest gives.
    Splitter(SplitterRecipe),
}

/// What the splitter on every die is made for.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum RecipeKind {
    /// A quarter turn between the outputs.
    Quadrature,
    /// Half a turn.
    Antiphase,
    /// None.
    Inphase,
}

/// A splitter on every die.
#[derive(Clone, Debug, PartialEq)]
pub struct SplitterRecipe {
    /// The phase between the outputs that it is made for.
    pub kind: RecipeKind,
    /// Port where the signal enters, from 1.
    pub input: usize,
    /// The outputs, from 1.
    pub outputs: [usize; 2],
    /// The port that should stay quiet, from 1.
    pub isolated: Option<usize>,
    /// The manifest's column.
    pub column: String,
    /// Frequencies to judge, Hz; all of the data when absent.
    pub band_hz: Option<(f64, f64)>,
    /// Nominal phase, degrees; the kind's when absent.
    pub nominal_deg: Option<f64>,
    /// Reference to move all ports to first, ohms.
    pub reference_ohm: Option<f64>,
}

/// Questions beyond the dies as they are.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct WhatIf {
    /// What trims of Q would give.
    pub has_correction: bool,
    /// Blocks or pairs to be thought ideal.
    pub ideal: Vec<String>,
    /// How many receivers to assemble from blocks of different dies.
    pub assemble: u32,
    /// Where the choice of those begins.
    pub seed: u64,
}

/// A recipe, checked.
#[derive(Clone, Debug, PartialEq)]
pub struct Recipe {
    /// Where it stands.
    pub path: PathBuf,
    /// What it is about.
    pub title: Option<String>,
    /// The list of dies, as a path that can be opened.
    pub manifest: PathBuf,
    /// How uncertain the files are: a description, as a path that can be opened.
    pub uncertainty: Option<PathBuf>,
    /// Which touchdown of a die counts.
    pub retests: RetestPolicy,
    /// What is measured.
    pub analysis: RecipeAnalysis,
    /// How the wafer lies, if it says; the middle is found from the dies where `centre_die` is not
    /// given.
    pub map: Option<WaferGeometry>,
    /// Whether the recipe gives the die numbers at the wafer's centre.
    pub has_centre: bool,
    /// What every die must hold; `None` if the recipe says nothing about it.
    pub limits: Option<Limits>,
    /// What share of dies must pass, 0 to 1.
    pub required_yield: Option<f64>,
    /// From how many robust standard deviations on a die stands apart.
    pub screening_sigma: f64,
    /// Further questions.
    pub what_if: WhatIf,
}

/// Of normal errors, one in 5e8 lies further out.
const SCREENING_SIGMA: f64 = 6.0;
/// More assembled receivers than this are a slip of the pen.
const MOST_ASSEMBLED: u32 = 1_000_000;

struct Reader<'a> {
    path: &'a Path,
    text: &'a str,
}

impl Reader<'_> {
    fn at(&self, problem: WaferProblem, span: Range<usize>) -> WaferError {
        let excerpt = Some(Box::new(Excerpt::of_text(self.text, span)));
        WaferError { file: self.path.to_owned(), problem, excerpt }
    }

    fn value<T>(&self, given: &Spanned<T>, what: impl Into<String>) -> WaferError {
        self.at(WaferProblem::Value(what.into()), given.span())
    }

    fn number(
        &self,
        given: Option<&Spanned<f64>>,
        fits: impl Fn(f64) -> bool,
        what: &str,
    ) -> Result<Option<f64>, WaferError> {
        match given {
            Some(given) if !(given.get_ref().is_finite() && fits(*given.get_ref())) => {
                Err(self.value(given, what))
            }
            given => Ok(given.map(|given| *given.get_ref())),
        }
    }
}

impl Recipe {
    /// Reads and checks RECIPE.toml; paths in it are relative to it.
    ///
    /// # Errors
    /// [`WaferError`] with the line and column of what is wrong.
    pub fn read(path: &Path) -> Result<Self, WaferError> {
        let text = std::fs::read_to_string(path).map_err(|error| WaferError {
            file: path.to_owned(),
            problem: WaferProblem::Io(error),
            excerpt: None,
        })?;
        Self::parse(path, &text)
    }

    /// Whether receivers are measured; otherwise a splitter.
    #[must_use]
    pub fn is_of_receivers(&self) -> bool {
        matches!(self.analysis, RecipeAnalysis::Receiver(_))
    }

    /// What a die's frequencies are called.
    #[must_use]
    pub fn frequency_word(&self) -> &'static str {
        if self.is_of_receivers() { "LO" } else { "frequency" }
    }

    fn parse(path: &Path, text: &str) -> Result<Self, WaferError> {
        let reader = Reader { path, text };
        let file: RecipeFile = toml::from_str(text).map_err(|error| {
            let problem = WaferProblem::Toml(error.message().trim().replace('\n', "; "));
            match error.span() {
                Some(span) => reader.at(problem, span),
                None => WaferError { file: path.to_owned(), problem, excerpt: None },
            }
        })?;
        let folder = path.parent().unwrap_or(Path::new(""));
        let analysis = reader.analysis(&file.analysis, folder)?;
        let limits = match &file.require {
            Some(require) => Some(reader.limits(require, &analysis)?),
            None => None,
        };
        let required_yield = reader.number(
            file.require.as_ref().and_then(|require| require.yield_percent.as_ref()),
            |percent| (0.0..=100.0).contains(&percent),
            "yield_percent is from 0 to 100",
        )?;
        let map = match &file.map {
            Some(map) => Some(reader.map(map)?),
            None => None,
        };
        Ok(Self {
            path: path.to_owned(),
            title: file.title,
            manifest: folder.join(&file.manifest),
            uncertainty: file.uncertainty.as_ref().map(|name| folder.join(name)),
            retests: match file.retests {
                Some(RetestName::First) => RetestPolicy::First,
                Some(RetestName::Best) => RetestPolicy::Best,
                Some(RetestName::All) => RetestPolicy::All,
                Some(RetestName::Last) | None => RetestPolicy::Last,
            },
            what_if: reader.what_if(&file.what_if, &analysis)?,
            analysis,
            has_centre: file.map.as_ref().is_some_and(|map| map.centre_die.is_some()),
            map,
            limits,
            required_yield: required_yield.map(|percent| percent / 100.0),
            screening_sigma: reader
                .number(file.screening.sigma.as_ref(), |sigma| sigma > 0.0, "sigma is positive")?
                .unwrap_or(SCREENING_SIGMA),
        })
    }
}

impl Reader<'_> {
    fn analysis(&self, entry: &AnalysisEntry, folder: &Path) -> Result<RecipeAnalysis, WaferError> {
        match (&entry.receiver, &entry.splitter) {
            (Some(receiver), None) => Ok(RecipeAnalysis::Receiver(folder.join(receiver.get_ref()))),
            (None, Some(splitter)) => Ok(RecipeAnalysis::Splitter(self.splitter(splitter)?)),
            (Some(receiver), Some(_)) => {
                Err(self.value(receiver, "[analysis] is either a receiver or a splitter"))
            }
            (None, None) => Err(WaferError {
                file: self.path.to_owned(),
                problem: WaferProblem::Value(
                    "[analysis] needs receiver = \"receiver.toml\" or splitter = { .. }".to_owned(),
                ),
                excerpt: None,
            }),
        }
    }

    fn splitter(&self, entry: &Spanned<SplitterEntry>) -> Result<SplitterRecipe, WaferError> {
        let given = entry.get_ref();
        let mut ports = vec![(*given.input.get_ref(), given.input.span())];
        ports.extend(given.outputs.get_ref().map(|port| (port, given.outputs.span())));
        ports.extend(given.isolated.as_ref().map(|port| (*port.get_ref(), port.span())));
        for (at, (port, span)) in ports.iter().enumerate() {
            if *port == 0 {
                let what = "ports count from 1".to_owned();
                return Err(self.at(WaferProblem::Value(what), span.clone()));
            }
            if ports[..at].iter().any(|(other, _)| other == port) {
                let what = format!("port {port} is named twice");
                return Err(self.at(WaferProblem::Value(what), span.clone()));
            }
        }
        let band_hz = match &given.band_ghz {
            Some(band) => {
                let [low, high] = *band.get_ref();
                if !(low > 0.0 && low <= high && high.is_finite()) {
                    return Err(self.value(band, "band_ghz is [lowest, highest], positive"));
                }
                Some((low * 1e9, high * 1e9))
            }
            None => None,
        };
        Ok(SplitterRecipe {
            kind: match given.kind {
                KindName::Quadrature => RecipeKind::Quadrature,
                KindName::Antiphase => RecipeKind::Antiphase,
                KindName::Inphase => RecipeKind::Inphase,
            },
            input: *given.input.get_ref(),
            outputs: *given.outputs.get_ref(),
            isolated: given.isolated.as_ref().map(|port| *port.get_ref()),
            column: given.column.clone(),
            band_hz,
            nominal_deg: self.number(
                given.nominal_deg.as_ref(),
                |_| true,
                "nominal_deg is a finite number",
            )?,
            reference_ohm: self.number(
                given.reference_ohm.as_ref(),
                |ohm| ohm > 0.0,
                "reference_ohm is positive",
            )?,
        })
    }

    fn limits(
        &self,
        entry: &RequireEntry,
        analysis: &RecipeAnalysis,
    ) -> Result<Limits, WaferError> {
        let is_receiver = matches!(analysis, RecipeAnalysis::Receiver(_));
        let is_antiphase = matches!(
            analysis,
            RecipeAnalysis::Splitter(SplitterRecipe { kind: RecipeKind::Antiphase, .. })
        );
        let mut limits = Limits::default();
        for (given, quantity, applies, instead) in [
            (
                &entry.image_rejection_db,
                Quantity::ImageRejection,
                !is_antiphase,
                "an antiphase splitter has common_mode_rejection_db",
            ),
            (
                &entry.common_mode_rejection_db,
                Quantity::CommonModeRejection,
                is_antiphase,
                "only an antiphase splitter has common_mode_rejection_db; use image_rejection_db",
            ),
            (&entry.amplitude_imbalance_db, Quantity::AmplitudeImbalance, true, ""),
            (
                &entry.phase_error_deg,
                Quantity::PhaseError,
                !is_receiver,
                "a receiver has quadrature_error_deg",
            ),
            (
                &entry.quadrature_error_deg,
                Quantity::QuadratureError,
                is_receiver,
                "a splitter has phase_error_deg",
            ),
            (&entry.lo_power_dbm_min, Quantity::LoPower, is_receiver, "a splitter has no LO power"),
        ] {
            let Some(given) = given else { continue };
            if !applies {
                return Err(self.value(given, instead));
            }
            let limit = Limit::new(quantity, *given.get_ref());
            limits.set(limit.map_err(|error| self.value(given, error.to_string()))?);
        }
        Ok(limits)
    }

    fn map(&self, entry: &MapEntry) -> Result<WaferGeometry, WaferError> {
        let positive = |given: &Spanned<f64>, what: &str| {
            let number = self.number(Some(given), |mm| mm > 0.0, what)?;
            Ok::<f64, WaferError>(number.unwrap_or_default())
        };
        let diameter_mm = positive(&entry.wafer_diameter_mm, "wafer_diameter_mm is positive")?;
        let [x_mm, y_mm] = *entry.die_pitch_mm.get_ref();
        if ![x_mm, y_mm].into_iter().all(|mm| mm > 0.0 && mm.is_finite()) {
            return Err(self.value(&entry.die_pitch_mm, "die_pitch_mm is two positive numbers"));
        }
        let direction = |name: DirectionName| match name {
            DirectionName::Right => Direction::Right,
            DirectionName::Left => Direction::Left,
            DirectionName::Up => Direction::Up,
            DirectionName::Down => Direction::Down,
        };
        let axis = |given: &Option<Spanned<DirectionName>>, usual: Direction| {
            given.as_ref().map_or(usual, |given| direction(*given.get_ref()))
        };
        let (x_axis, y_axis) =
            (axis(&entry.x_axis, Direction::Right), axis(&entry.y_axis, Direction::Up));
        if !x_axis.is_across(y_axis) {
            let what = format!(
                "x_axis is {} and y_axis {}; they must be across one another",
                x_axis.name(),
                y_axis.name()
            );
            // If one is left out the other is at fault.
            let span = entry.y_axis.as_ref().or(entry.x_axis.as_ref()).map(Spanned::span);
            return Err(self.at(WaferProblem::Value(what), span.unwrap_or_default()));
        }
        let centre = match &entry.centre_die {
            Some(centre) if !centre.get_ref().iter().all(|at| at.is_finite()) => {
                return Err(self.value(centre, "centre_die is two finite numbers"));
            }
            centre => centre.as_ref().map_or([0.0, 0.0], |centre| *centre.get_ref()),
        };
        let exclusion = self.number(
            entry.edge_exclusion_mm.as_ref(),
            |mm| (0.0..0.5 * diameter_mm).contains(&mm),
            "edge_exclusion_mm is from 0 to less than the wafer's radius",
        )?;
        Ok(WaferGeometry {
            diameter_mm,
            die_pitch_mm: (x_mm, y_mm),
            edge_exclusion_mm: exclusion.unwrap_or(0.0),
            notch: entry.notch.map_or(Direction::Down, direction),
            x_axis,
            y_axis,
            centre_die: (centre[0], centre[1]),
        })
    }

    fn what_if(
        &self,
        entry: &WhatIfEntry,
        analysis: &RecipeAnalysis,
    ) -> Result<WhatIf, WaferError> {
        if let RecipeAnalysis::Splitter(_) = analysis {
            if let Some(ideal) = entry.ideal.first() {
                return Err(self.value(ideal, "a splitter alone has no other block to ask about"));
            }
            if let Some(assemble) = &entry.assemble {
                return Err(self.value(assemble, "only receivers are assembled from blocks"));
            }
        }
        let assemble = entry.assemble.as_ref().map_or(0, |given| *given.get_ref());
        if let Some(given) = &entry.assemble
            && assemble > MOST_ASSEMBLED
        {
            return Err(self.value(given, format!("assemble is at most {MOST_ASSEMBLED}")));
        }
        Ok(WhatIf {
            has_correction: entry.correction,
            ideal: entry.ideal.iter().map(|name| name.get_ref().clone()).collect(),
            assemble,
            seed: entry.seed.unwrap_or(1),
        })
    }
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use super::*;

    const SPLITTER: &str = "manifest = \"dies.csv\"\n[analysis]\nsplitter = { kind = \"quadrature\", input = 1, outputs = [2, 3], column = \"hybrid\" }\n";

    #[test]
    fn a_recipe_says_what_it_says() {
        let text = format!(
            "{SPLITTER}[map]\nwafer_diameter_mm = 150\ndie_pitch_mm = [2.4, 2]\nnotch = \"left\"\ny_axis = \"down\"\n[require]\nimage_rejection_db = 28\nyield_percent = 90\n"
        );
        let recipe = Recipe::parse(Path::new("a/b.toml"), &text).unwrap();
        assert_eq!(recipe.manifest, Path::new("a/dies.csv"));
        assert_eq!(recipe.retests, RetestPolicy::Last);
        let map = recipe.map.unwrap();
        assert_eq!(
            (map.notch, map.x_axis, map.y_axis),
            (Direction::Left, Direction::Right, Direction::Down)
        );
        assert_eq!(recipe.limits.unwrap().on(Quantity::ImageRejection), Some(28.0));
        assert_eq!(recipe.required_yield, Some(0.9));
        assert!(!recipe.has_centre);
    }

    #[test]
    fn errors_stand_at_their_line_and_column() {
        for (text, says, line, column) in [
            ("manifest = 3\n[analysis]\n", "invalid type", 1, 12),
            ("manifest = \"d\"\n[analysis]\nreciever = \"r\"\n", "unknown field", 3, 1),
            (
                &format!("{SPLITTER}[require]\nimage_rejection_db = -1\n"),
                "must be 0 or above, found -1",
                5,
                22,
            ),
            (
                &format!("{SPLITTER}[require]\nquadrature_error_deg = 1\n"),
                "a splitter has phase_error_deg",
                5,
                24,
            ),
            (&SPLITTER.replace("[2, 3]", "[2, 1]"), "port 1 is named twice", 3, 56),
            (
                &format!(
                    "{SPLITTER}[map]\nwafer_diameter_mm = 150\ndie_pitch_mm = [1, 1]\nx_axis = \"up\"\n"
                ),
                "must be across",
                7,
                10,
            ),
            (&format!("{SPLITTER}[what_if]\nideal = [\"balun\"]\n"), "no other block", 5, 10),
        ] {
            let error = Recipe::parse(Path::new("r.toml"), text).unwrap_err();
            assert!(error.to_string().contains(says), "{error}");
            let place = error.excerpt.as_ref().unwrap().position;
            assert_eq!((place.line, place.column), (line, column), "{text}");
        }
        let none = Recipe::parse(Path::new("r.toml"), "manifest = \"d\"\n[analysis]\n");
        assert!(none.unwrap_err().to_string().contains("needs receiver"));
    }
}
