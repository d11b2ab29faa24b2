//! Closed-form parts by name: what TOML's `component = { kind = "..." }` and the command line give.
//!
//! Names end in their units: `_ghz`, `_deg`, `_db`, `_ohm`, `_um`, `_ff` (femtofarad), `_ph`
//! (picohenry).

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
    Lange {
        center_ghz: f64,
        #[serde(default = "four")]
        strips: usize,
        #[serde(default = "half_power_db")]
        coupling_db: f64,
        #[serde(default = "fifty")]
        impedance_ohm: f64,
        #[serde(default)]
        loss_db: f64,
        #[serde(default)]
        odd_faster_percent: f64,
    },
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

/// A coupled-line coupler.
#[derive(Clone, Copy, Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct CouplerSpec {
    pub center_ghz: f64,
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
    pub stages: Option<usize>,
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
fn four() -> usize {
    4
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

/// `series` or `parallel`.
#[derive(Clone, Copy, Debug, Default, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum ArrangementName {
    /// One after the other.
    #[default]
    Series,
    /// Side by side.
    Parallel,
}
