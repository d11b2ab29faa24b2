//! Closed-form parts by name: what TOML's `component = { kind = "..." }` and the command line give.
//!
//! Names end in their units: `_ghz`, `_deg`, `_db`, `_ohm`, `_um`, `_ff` (femtofarad), `_ph`
//! (picohenry).

use super::description::ArrangementName;
use crate::component::microstrip::{self, Substrate};
use crate::component::{
    Arrangement, Bond, BranchLine, ComponentError, CoupledLineCoupler, CoupledPair, Elements,
    IdealSplit, InterdigitatedCoupler, Line, PadTopology, PlanarBalun, RadialStub, RatRace, Stage,
    Stub, StubEnd, Terminated, WilkinsonDivider, attenuator, bond, branch_line,
    coupled_line_coupler, coupled_pair, default_stages, ideal_balun, ideal_divider,
    ideal_hybrid_180, ideal_quadrature_hybrid, interdigitated_coupler, line, one_port,
    pad_resistors_ohm, planar_balun, radial_stub, rat_race, series, shunt, strip_impedances_ohm,
    stub, wilkinson_divider,
};
use crate::network::{FrequencyGrid, Network};
use serde::Deserialize;

/// Each kind, its ports and its parameters, for help.
pub const KINDS: [(&str, &str, &str); 24] = [
    (
        "quadrature_hybrid",
        "in through coupled isolated",
        "[imbalance_db phase_error_deg loss_db isolation_db]",
    ),
    (
        "hybrid_180",
        "difference plus minus sum",
        "[imbalance_db phase_error_deg loss_db isolation_db]",
    ),
    ("balun", "in plus minus", "[imbalance_db phase_error_deg loss_db isolation_db]"),
    ("divider", "in out out", "[imbalance_db phase_error_deg loss_db isolation_db]"),
    ("attenuator", "in out", "loss_db [topology=tee|pi]"),
    ("line", "in out", "impedance_ohm center_ghz angle_deg [loss_db dispersion_percent]"),
    ("stub", "in out", "impedance_ohm center_ghz angle_deg end=open|short [loss_db]"),
    (
        "radial_stub",
        "in out",
        "inner_radius_um outer_radius_um sector_deg height_um effective_permittivity",
    ),
    (
        "coupled_pair",
        "1 2 beside_1 beside_2",
        "even_ohm odd_ohm center_ghz even_deg odd_deg [loss_db]",
    ),
    (
        "coupled_line_coupler",
        "in through coupled isolated",
        "center_ghz [coupling_db=3.0103 impedance_ohm=50 loss_db odd_faster_percent]",
    ),
    (
        "lange",
        "in through coupled isolated",
        "center_ghz [strips=4 coupling_db=3.0103 impedance_ohm=50 loss_db odd_faster_percent]",
    ),
    ("branch_line", "in through coupled isolated", "center_ghz [impedance_ohm=50 loss_db]"),
    ("rat_race", "sum out out difference", "center_ghz [impedance_ohm=50 loss_db]"),
    (
        "wilkinson",
        "in out out",
        "center_ghz [stages=1 impedance_ohm=50 loss_db stage_impedance_ohm=[..] stage_resistor_ohm=[..]]",
    ),
    (
        "marchand",
        "in plus minus",
        "center_ghz [load_ohm=50 impedance_ohm=50 loss_db odd_faster_percent]",
    ),
    (
        "series",
        "in out",
        "[resistance_ohm inductance_ph capacitance_ff arrangement=series|parallel]",
    ),
    (
        "shunt",
        "in out",
        "[resistance_ohm inductance_ph capacitance_ff arrangement=series|parallel]",
    ),
    ("load", "in", "[resistance_ohm inductance_ph capacitance_ff arrangement=series|parallel]"),
    ("open", "in", "[capacitance_ff]"),
    ("short", "in", "[inductance_ph]"),
    ("through", "in out", ""),
    (
        "bond",
        "in out",
        "inductance_ph or length_um and diameter_um [resistance_ohm pad_capacitance_ff]",
    ),
    (
        "microstrip",
        "in out",
        "width_um length_um [relative_permittivity height_um thickness_um loss_tangent conductivity_ms_per_m]",
    ),
    (
        "coupled_microstrip",
        "1 2 beside_1 beside_2",
        "width_um gap_um length_um [relative_permittivity height_um]",
    ),
];

/// A closed-form part and its parameters.
#[derive(Clone, Debug, Deserialize)]
#[serde(tag = "kind", rename_all = "snake_case", deny_unknown_fields)]
#[expect(
    missing_docs,
    reason = "the table KINDS lists every parameter, and each name ends in its unit"
)]
pub enum ComponentSpec {
    QuadratureHybrid(SplitSpec),
    #[serde(rename = "hybrid_180")]
    Hybrid180(SplitSpec),
    Balun(SplitSpec),
    Divider(SplitSpec),
    Attenuator {
        loss_db: f64,
        #[serde(default)]
        topology: TopologyName,
    },
    Line(LineSpec),
    Stub {
        impedance_ohm: f64,
        center_ghz: f64,
        angle_deg: f64,
        end: EndName,
        #[serde(default)]
        loss_db: f64,
    },
    RadialStub {
        inner_radius_um: f64,
        outer_radius_um: f64,
        sector_deg: f64,
        height_um: f64,
        effective_permittivity: f64,
    },
    CoupledPair {
        even_ohm: f64,
        odd_ohm: f64,
        center_ghz: f64,
        even_deg: f64,
        odd_deg: f64,
        #[serde(default)]
        loss_db: f64,
    },
    CoupledLineCoupler(CouplerSpec),
    Lange(CouplerSpec),
    BranchLine(HybridSpec),
    RatRace(HybridSpec),
    Wilkinson(WilkinsonSpec),
    Marchand {
        center_ghz: f64,
        #[serde(default = "fifty")]
        load_ohm: f64,
        #[serde(default = "fifty")]
        impedance_ohm: f64,
        #[serde(default)]
        loss_db: f64,
        #[serde(default)]
        odd_faster_percent: f64,
    },
    Series(ElementsSpec),
    Shunt(ElementsSpec),
    Load(ElementsSpec),
    Open {
        #[serde(default)]
        capacitance_ff: f64,
    },
    Short {
        #[serde(default)]
        inductance_ph: f64,
    },
    Through {},
    Bond {
        inductance_ph: Option<f64>,
        length_um: Option<f64>,
        diameter_um: Option<f64>,
        #[serde(default)]
        resistance_ohm: f64,
        #[serde(default)]
        pad_capacitance_ff: f64,
    },
    Microstrip(MicrostripSpec),
    CoupledMicrostrip {
        width_um: f64,
        gap_um: f64,
        length_um: f64,
        #[serde(default = "gallium_arsenide")]
        relative_permittivity: f64,
        #[serde(default = "hundred")]
        height_um: f64,
    },
}

/// The errors of an ideal part.
#[derive(Clone, Copy, Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct SplitSpec {
    #[serde(default)]
    pub imbalance_db: f64,
    #[serde(default)]
    pub phase_error_deg: f64,
    #[serde(default)]
    pub loss_db: f64,
    #[serde(default = "infinite")]
    pub isolation_db: f64,
}

/// A line.
#[derive(Clone, Copy, Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct LineSpec {
    pub impedance_ohm: f64,
    pub center_ghz: f64,
    pub angle_deg: f64,
    #[serde(default)]
    pub loss_db: f64,
    #[serde(default)]
    pub dispersion_percent: f64,
}

/// A coupled-line coupler, plain or interdigitated.
#[derive(Clone, Copy, Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct CouplerSpec {
    pub center_ghz: f64,
    pub strips: Option<usize>,
    #[serde(default = "half_power_db")]
    pub coupling_db: f64,
    #[serde(default = "fifty")]
    pub impedance_ohm: f64,
    #[serde(default)]
    pub loss_db: f64,
    #[serde(default)]
    pub odd_faster_percent: f64,
}

/// A hybrid of lines.
#[derive(Clone, Copy, Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct HybridSpec {
    pub center_ghz: f64,
    #[serde(default = "fifty")]
    pub impedance_ohm: f64,
    #[serde(default)]
    pub loss_db: f64,
}

/// A divider of stages.
#[derive(Clone, Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct WilkinsonSpec {
    pub center_ghz: f64,
    #[serde(default = "one")]
    pub stages: usize,
    #[serde(default = "fifty")]
    pub impedance_ohm: f64,
    #[serde(default)]
    pub loss_db: f64,
    pub stage_impedance_ohm: Option<Vec<f64>>,
    pub stage_resistor_ohm: Option<Vec<f64>>,
}

/// Lumped elements.
#[derive(Clone, Copy, Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct ElementsSpec {
    pub resistance_ohm: Option<f64>,
    pub inductance_ph: Option<f64>,
    pub capacitance_ff: Option<f64>,
    #[serde(default)]
    pub arrangement: ArrangementName,
}

/// A piece of microstrip; gallium arsenide of 100 um where the substrate is not given.
#[derive(Clone, Copy, Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct MicrostripSpec {
    pub width_um: f64,
    pub length_um: f64,
    #[serde(default = "gallium_arsenide")]
    pub relative_permittivity: f64,
    #[serde(default = "hundred")]
    pub height_um: f64,
    #[serde(default)]
    pub thickness_um: f64,
    #[serde(default)]
    pub loss_tangent: f64,
    /// In 10^6 siemens per metre; no loss in the metal when absent.
    #[serde(default = "infinite")]
    pub conductivity_ms_per_m: f64,
}

/// How a pad's resistors stand.
#[derive(Clone, Copy, Debug, Default, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum TopologyName {
    #[default]
    Tee,
    Pi,
}

/// What a stub ends in.
#[derive(Clone, Copy, Debug, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum EndName {
    Open,
    Short,
}

fn fifty() -> f64 {
    50.0
}
fn one() -> usize {
    1
}
fn infinite() -> f64 {
    f64::INFINITY
}
fn half_power_db() -> f64 {
    10.0 * std::f64::consts::LOG10_2
}
fn gallium_arsenide() -> f64 {
    12.9
}
fn hundred() -> f64 {
    100.0
}

/// A figure that a workshop or layout needs.
#[derive(Clone, Debug, PartialEq)]
pub struct Dimension {
    /// What it is; ends in its unit.
    pub name: String,
    /// How much.
    pub value: f64,
}

/// The figures of a part, and what stands in the way of some.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Dimensions {
    /// Name by name.
    pub list: Vec<Dimension>,
    /// Sentences about what cannot be made.
    pub notes: Vec<String>,
}

impl Dimensions {
    fn push(&mut self, dimension: Dimension) {
        self.list.push(dimension);
    }
}

fn dimension(name: impl Into<String>, value: f64) -> Dimension {
    Dimension { name: name.into(), value }
}

impl SplitSpec {
    fn split(&self) -> IdealSplit {
        IdealSplit {
            imbalance_db: self.imbalance_db,
            phase_error_deg: self.phase_error_deg,
            loss_db: self.loss_db,
            isolation_db: self.isolation_db,
        }
    }
}

impl CouplerSpec {
    fn coupler(&self) -> CoupledLineCoupler {
        CoupledLineCoupler {
            coupling_db: self.coupling_db,
            impedance_ohm: self.impedance_ohm,
            center_hz: self.center_ghz * 1e9,
            loss_db: self.loss_db,
            odd_faster_percent: self.odd_faster_percent,
        }
    }
}

impl ElementsSpec {
    fn elements(&self) -> (Elements, Arrangement) {
        let elements = Elements {
            resistance_ohm: self.resistance_ohm,
            inductance_h: self.inductance_ph.map(|ph| ph * 1e-12),
            capacitance_f: self.capacitance_ff.map(|ff| ff * 1e-15),
        };
        (elements, self.arrangement.into())
    }
}

impl From<ArrangementName> for Arrangement {
    fn from(name: ArrangementName) -> Self {
        match name {
            ArrangementName::Series => Self::Series,
            ArrangementName::Parallel => Self::Parallel,
        }
    }
}

impl WilkinsonSpec {
    fn stages(&self) -> Result<Vec<Stage>, ComponentError> {
        match (&self.stage_impedance_ohm, &self.stage_resistor_ohm) {
            (Some(impedances), Some(resistors)) if impedances.len() == resistors.len() => {
                Ok(impedances
                    .iter()
                    .zip(resistors)
                    .map(|(&impedance_ohm, &resistance_ohm)| Stage {
                        impedance_ohm,
                        resistance_ohm,
                    })
                    .collect())
            }
            (None, None) => default_stages(self.stages, self.impedance_ohm),
            (impedances, resistors) => {
                let stages =
                    [impedances, resistors].into_iter().flatten().map(Vec::len).max().unwrap_or(0);
                Err(ComponentError::Stages { stages })
            }
        }
    }
}

impl MicrostripSpec {
    fn substrate(&self) -> Substrate {
        Substrate {
            relative_permittivity: self.relative_permittivity,
            height_m: self.height_um * 1e-6,
            thickness_m: self.thickness_um * 1e-6,
            loss_tangent: self.loss_tangent,
            conductivity_s_per_m: self.conductivity_ms_per_m * 1e6,
        }
    }

    /// The line it is at each frequency: dispersion and loss follow the substrate, so each point
    /// has its own.
    fn line_at(&self, frequency_hz: f64) -> Result<Line, ComponentError> {
        let (substrate, width_m) = (self.substrate(), self.width_um * 1e-6);
        let strip = microstrip::strip(&substrate, width_m)?;
        let permittivity = microstrip::dispersed_permittivity(&substrate, width_m, frequency_hz)?;
        let length_m = self.length_um * 1e-6;
        let wavelength_m = microstrip::length_m(permittivity, 360.0, frequency_hz);
        Ok(Line {
            loss_db: microstrip::loss_db_per_m(&substrate, width_m, frequency_hz)? * length_m,
            ..Line::ideal(strip.impedance_ohm, frequency_hz, 360.0 * length_m / wavelength_m)
        })
    }
}

/// A network built point by point from a line that is another one at each frequency.
fn pointwise(
    grid: &FrequencyGrid,
    ports: usize,
    build: impl Fn(&FrequencyGrid, f64) -> Result<Network, ComponentError>,
) -> Result<Network, ComponentError> {
    let mut entries = Vec::new();
    for &hz in grid.as_hz() {
        let point = FrequencyGrid::from_hz(vec![hz])?;
        // At zero frequency a line is its own limit from above.
        entries.extend_from_slice(build(&point, hz.max(1.0))?.entries());
    }
    let references = vec![crate::component::REFERENCE_OHM.into()];
    Ok(Network::new(
        crate::network::ParameterKind::Scattering,
        grid.clone(),
        ports,
        entries,
        references,
    )?)
}

impl ComponentSpec {
    /// The part on a grid, in 50 ohm.
    ///
    /// # Errors
    /// [`ComponentError`] with the parameter that cannot be.
    pub fn build(&self, grid: &FrequencyGrid) -> Result<Network, ComponentError> {
        match self {
            Self::QuadratureHybrid(spec) => ideal_quadrature_hybrid(grid, &spec.split()),
            Self::Hybrid180(spec) => ideal_hybrid_180(grid, &spec.split()),
            Self::Balun(spec) => ideal_balun(grid, &spec.split()),
            Self::Divider(spec) => ideal_divider(grid, &spec.split()),
            Self::Attenuator { loss_db, .. } => attenuator(grid, *loss_db),
            Self::Line(spec) => line(
                grid,
                &Line {
                    loss_db: spec.loss_db,
                    dispersion_percent: spec.dispersion_percent,
                    ..Line::ideal(spec.impedance_ohm, spec.center_ghz * 1e9, spec.angle_deg)
                },
            ),
            Self::Stub { impedance_ohm, center_ghz, angle_deg, end, loss_db } => {
                let line = Line {
                    loss_db: *loss_db,
                    ..Line::ideal(*impedance_ohm, center_ghz * 1e9, *angle_deg)
                };
                let end = match end {
                    EndName::Open => StubEnd::Open,
                    EndName::Short => StubEnd::Short,
                };
                stub(grid, &Stub { line, end })
            }
            Self::RadialStub {
                inner_radius_um,
                outer_radius_um,
                sector_deg,
                height_um,
                effective_permittivity,
            } => radial_stub(
                grid,
                &RadialStub {
                    inner_radius_m: inner_radius_um * 1e-6,
                    outer_radius_m: outer_radius_um * 1e-6,
                    sector_deg: *sector_deg,
                    height_m: height_um * 1e-6,
                    effective_permittivity: *effective_permittivity,
                },
            ),
            Self::CoupledPair { even_ohm, odd_ohm, center_ghz, even_deg, odd_deg, loss_db } => {
                let mode = |ohm: f64, deg: f64| Line {
                    loss_db: *loss_db,
                    ..Line::ideal(ohm, center_ghz * 1e9, deg)
                };
                coupled_pair(
                    grid,
                    &CoupledPair {
                        even: mode(*even_ohm, *even_deg),
                        odd: mode(*odd_ohm, *odd_deg),
                    },
                )
            }
            Self::CoupledLineCoupler(spec) => coupled_line_coupler(grid, &spec.coupler()),
            Self::Lange(spec) => {
                let strips = spec.strips.unwrap_or(4);
                interdigitated_coupler(
                    grid,
                    &InterdigitatedCoupler { strips, coupler: spec.coupler() },
                )
            }
            Self::BranchLine(spec) => branch_line(
                grid,
                &BranchLine {
                    impedance_ohm: spec.impedance_ohm,
                    center_hz: spec.center_ghz * 1e9,
                    loss_db: spec.loss_db,
                },
            ),
            Self::RatRace(spec) => rat_race(
                grid,
                &RatRace {
                    impedance_ohm: spec.impedance_ohm,
                    center_hz: spec.center_ghz * 1e9,
                    loss_db: spec.loss_db,
                },
            ),
            Self::Wilkinson(spec) => {
                let stages = spec.stages()?;
                wilkinson_divider(
                    grid,
                    &WilkinsonDivider {
                        stages,
                        center_hz: spec.center_ghz * 1e9,
                        loss_db: spec.loss_db,
                    },
                )
            }
            Self::Marchand { center_ghz, load_ohm, impedance_ohm, loss_db, odd_faster_percent } => {
                let center_hz = center_ghz * 1e9;
                let balun = PlanarBalun::matched(
                    *impedance_ohm,
                    *load_ohm,
                    center_hz,
                    *loss_db,
                    *odd_faster_percent,
                )?;
                planar_balun(grid, &balun)
            }
            Self::Series(spec) => {
                let (elements, arrangement) = spec.elements();
                series(grid, &elements, arrangement)
            }
            Self::Shunt(spec) => {
                let (elements, arrangement) = spec.elements();
                shunt(grid, &elements, arrangement)
            }
            Self::Load(spec) => {
                let (elements, arrangement) = spec.elements();
                one_port(grid, &Terminated::Load { elements, arrangement })
            }
            Self::Open { capacitance_ff } => {
                one_port(grid, &Terminated::Open { capacitance_f: capacitance_ff * 1e-15 })
            }
            Self::Short { inductance_ph } => {
                one_port(grid, &Terminated::Short { inductance_h: inductance_ph * 1e-12 })
            }
            Self::Through {} => attenuator(grid, 0.0),
            Self::Bond { resistance_ohm, pad_capacitance_ff, .. } => bond(
                grid,
                &Bond {
                    inductance_h: self.bond_inductance_h()?,
                    resistance_ohm: *resistance_ohm,
                    pad_capacitance_f: pad_capacitance_ff * 1e-15,
                },
            ),
            Self::Microstrip(spec) => {
                pointwise(grid, 2, |point, hz| line(point, &spec.line_at(hz)?))
            }
            Self::CoupledMicrostrip {
                width_um,
                gap_um,
                length_um,
                relative_permittivity,
                height_um,
            } => {
                let strips = coupled(*relative_permittivity, *height_um, *width_um, *gap_um)?;
                let mode = |strip: microstrip::Strip, hz: f64| {
                    let wavelength_m =
                        microstrip::length_m(strip.effective_permittivity, 360.0, hz);
                    Line::ideal(strip.impedance_ohm, hz, 360.0 * length_um * 1e-6 / wavelength_m)
                };
                let center_hz = grid.last_hz().max(1.0);
                coupled_pair(
                    grid,
                    &CoupledPair {
                        even: mode(strips.even, center_hz),
                        odd: mode(strips.odd, center_hz),
                    },
                )
            }
        }
    }

    fn bond_inductance_h(&self) -> Result<f64, ComponentError> {
        let Self::Bond { inductance_ph, length_um, diameter_um, .. } = self else { return Ok(0.0) };
        match (inductance_ph, length_um, diameter_um) {
            (Some(ph), _, _) => Ok(ph * 1e-12),
            (None, length, diameter) => Bond::wire_inductance_h(
                length.unwrap_or(0.0) * 1e-6,
                diameter.unwrap_or(0.0) * 1e-6,
            ),
        }
    }

    /// What a workshop or layout needs to know, where the part has dimensions. On a substrate
    /// lines get widths, gaps and lengths.
    ///
    /// # Errors
    /// [`ComponentError`] with the parameter that cannot be.
    pub fn dimensions(&self, substrate: Option<&Substrate>) -> Result<Dimensions, ComponentError> {
        let mut list = Dimensions::default();
        match self {
            Self::Attenuator { loss_db, topology } if *loss_db > 0.0 => {
                let topology = match topology {
                    TopologyName::Tee => PadTopology::Tee,
                    TopologyName::Pi => PadTopology::Pi,
                };
                let (series_ohm, shunt_ohm) = pad_resistors_ohm(topology, *loss_db, 50.0)?;
                list.push(dimension("series_ohm", series_ohm));
                list.push(dimension("shunt_ohm", shunt_ohm));
            }
            Self::Line(spec) => strip_of(
                &mut list,
                "line",
                spec.impedance_ohm,
                spec.angle_deg,
                spec.center_ghz,
                substrate,
            )?,
            Self::Stub { impedance_ohm, angle_deg, center_ghz, .. } => {
                strip_of(&mut list, "stub", *impedance_ohm, *angle_deg, *center_ghz, substrate)?;
            }
            Self::CoupledPair { even_ohm, odd_ohm, center_ghz, .. } => {
                pair_of(&mut list, "pair", *even_ohm, *odd_ohm, *center_ghz, substrate)?;
            }
            Self::CoupledLineCoupler(spec) => {
                let pair = spec.coupler().pair()?;
                let (even_ohm, odd_ohm) = (pair.even.impedance_ohm, pair.odd.impedance_ohm);
                pair_of(&mut list, "pair", even_ohm, odd_ohm, spec.center_ghz, substrate)?;
            }
            Self::Lange(spec) => {
                let strips = spec.strips.unwrap_or(4);
                let (even_ohm, odd_ohm) =
                    strip_impedances_ohm(strips, spec.coupling_db, spec.impedance_ohm)?;
                pair_of(&mut list, "neighbours", even_ohm, odd_ohm, spec.center_ghz, substrate)?;
            }
            Self::BranchLine(spec) => {
                let arm = spec.impedance_ohm * std::f64::consts::FRAC_1_SQRT_2;
                strip_of(&mut list, "arm", arm, 90.0, spec.center_ghz, substrate)?;
                strip_of(
                    &mut list,
                    "branch",
                    spec.impedance_ohm,
                    90.0,
                    spec.center_ghz,
                    substrate,
                )?;
            }
            Self::RatRace(spec) => {
                let ring = spec.impedance_ohm * std::f64::consts::SQRT_2;
                strip_of(&mut list, "quarter_arc", ring, 90.0, spec.center_ghz, substrate)?;
            }
            Self::Wilkinson(spec) => {
                for (at, stage) in spec.stages()?.iter().enumerate() {
                    let name = format!("stage_{}", at + 1);
                    strip_of(
                        &mut list,
                        &name,
                        stage.impedance_ohm,
                        90.0,
                        spec.center_ghz,
                        substrate,
                    )?;
                    list.push(dimension(format!("{name}_resistor_ohm"), stage.resistance_ohm));
                }
            }
            Self::Marchand { center_ghz, load_ohm, impedance_ohm, loss_db, odd_faster_percent } => {
                let center_hz = center_ghz * 1e9;
                let balun = PlanarBalun::matched(
                    *impedance_ohm,
                    *load_ohm,
                    center_hz,
                    *loss_db,
                    *odd_faster_percent,
                )?;
                let (even_ohm, odd_ohm) =
                    (balun.first.even.impedance_ohm, balun.first.odd.impedance_ohm);
                pair_of(&mut list, "section", even_ohm, odd_ohm, *center_ghz, substrate)?;
            }
            Self::Bond { .. } => {
                list.push(dimension("inductance_ph", self.bond_inductance_h()? * 1e12));
            }
            Self::Microstrip(spec) => {
                let strip = microstrip::strip(&spec.substrate(), spec.width_um * 1e-6)?;
                list.push(dimension("impedance_ohm", strip.impedance_ohm));
                list.push(dimension("effective_permittivity", strip.effective_permittivity));
            }
            Self::CoupledMicrostrip {
                width_um, gap_um, relative_permittivity, height_um, ..
            } => {
                let strips = coupled(*relative_permittivity, *height_um, *width_um, *gap_um)?;
                for (name, strip) in [("even", strips.even), ("odd", strips.odd)] {
                    list.push(dimension(format!("{name}_ohm"), strip.impedance_ohm));
                    list.push(dimension(
                        format!("{name}_effective_permittivity"),
                        strip.effective_permittivity,
                    ));
                }
            }
            _ => {}
        }
        Ok(list)
    }
}

fn coupled(
    er: f64,
    height_um: f64,
    width_um: f64,
    gap_um: f64,
) -> Result<microstrip::StripPair, ComponentError> {
    let substrate = Substrate {
        relative_permittivity: er,
        height_m: height_um * 1e-6,
        thickness_m: 0.0,
        loss_tangent: 0.0,
        conductivity_s_per_m: f64::INFINITY,
    };
    microstrip::coupled_strips(&substrate, width_um * 1e-6, gap_um * 1e-6)
}

/// A geometry, or a note in its place if the substrate does not allow it.
fn makeable<T>(
    geometry: Result<T, ComponentError>,
    name: &str,
    list: &mut Dimensions,
) -> Result<Option<T>, ComponentError> {
    match geometry {
        Ok(geometry) => Ok(Some(geometry)),
        Err(error @ ComponentError::NoGeometry { .. }) => {
            list.notes.push(format!("{name}: {error}"));
            Ok(None)
        }
        Err(other) => Err(other),
    }
}

/// Impedance of a line, and on a substrate its width and length.
fn strip_of(
    list: &mut Dimensions,
    name: &str,
    impedance_ohm: f64,
    angle_deg: f64,
    center_ghz: f64,
    substrate: Option<&Substrate>,
) -> Result<(), ComponentError> {
    list.push(dimension(format!("{name}_impedance_ohm"), impedance_ohm));
    if let Some(substrate) = substrate {
        let Some(width_m) = makeable(microstrip::width_m(substrate, impedance_ohm), name, list)?
        else {
            return Ok(());
        };
        let permittivity =
            microstrip::dispersed_permittivity(substrate, width_m, center_ghz * 1e9)?;
        list.push(dimension(format!("{name}_width_um"), width_m * 1e6));
        let length_m = microstrip::length_m(permittivity, angle_deg, center_ghz * 1e9);
        list.push(dimension(format!("{name}_length_um"), length_m * 1e6));
    }
    Ok(())
}

/// Mode impedances of a pair, and on a substrate its width, gap and length.
fn pair_of(
    list: &mut Dimensions,
    name: &str,
    even_ohm: f64,
    odd_ohm: f64,
    center_ghz: f64,
    substrate: Option<&Substrate>,
) -> Result<(), ComponentError> {
    list.push(dimension(format!("{name}_even_ohm"), even_ohm));
    list.push(dimension(format!("{name}_odd_ohm"), odd_ohm));
    if let Some(substrate) = substrate {
        let geometry = microstrip::width_and_gap_m(substrate, even_ohm, odd_ohm);
        let Some((width_m, gap_m)) = makeable(geometry, name, list)? else { return Ok(()) };
        let strips = microstrip::coupled_strips(substrate, width_m, gap_m)?;
        // The mean of the modes' quarter waves.
        let quarter = |strip: microstrip::Strip| {
            microstrip::length_m(strip.effective_permittivity, 90.0, center_ghz * 1e9)
        };
        list.push(dimension(format!("{name}_width_um"), width_m * 1e6));
        list.push(dimension(format!("{name}_gap_um"), gap_m * 1e6));
        list.push(dimension(
            format!("{name}_length_um"),
            0.5e6 * (quarter(strips.even) + quarter(strips.odd)),
        ));
    }
    Ok(())
}
