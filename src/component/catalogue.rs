//! The catalogue of components by name.
//!
//! A new kind is a documented function of this folder, a row here, and a test. Each row names the
//! parameters with their rules and defaults. Help texts, the reading of parameters and the error
//! messages follow from the row. The form of a row is explained at `kind!`.

use super::balun::{PlanarBalun, planar_balun};
use super::bond::{Bond, BondConductor, bond};
use super::construction::REFERENCE_OHM;
use super::coupled_line::{
    CoupledLineCoupler, CoupledPair, InterdigitatedCoupler, coupled_line_coupler, coupled_pair,
    interdigitated_coupler, strip_impedances_ohm,
};
use super::divider::{WilkinsonDivider, given_stages, wilkinson_divider};
use super::error::ComponentError;
use super::hybrid::{BranchLine, RatRace, branch_line, rat_race};
use super::ideal::{
    IdealSplit, PadTopology, attenuator, ideal_balun, ideal_divider, ideal_hybrid_180,
    ideal_quadrature_hybrid, pad_resistors_ohm,
};
use super::kind::{ComponentKind, described, kind, parameters};
use super::line::{Line, Stub, StubEnd, line, stub, zero_length_line};
use super::lumped::{
    Arrangement, Elements, open_end, series_element, shorted_end, shunt_element, termination,
};
use super::microstrip::{Substrate, coupled_strips, strip};
use super::microstrip_line::{
    CoupledMicrostrip, MicrostripLine, coupled_microstrip, microstrip_line,
};
use super::parameter::{Given, Parameter};
use super::parameter_rule::{
    AboveOne, BelowHundred, Count, Finite, NotNegative, NotNegativeOrInfinite, OneOf, Optional,
    Positive, PositiveList, PositiveOrInfinite, Rule, UpToFullTurn,
};
use super::parameter_value::GivenParameter;
use super::radial_stub::{RadialStub, radial_stub};
use std::f64::consts::LOG10_2;

const GIGA: f64 = 1e9;
const MEGA: f64 = 1e6;
const MICRO: f64 = 1e-6;
const PICO: f64 = 1e-12;
const FEMTO: f64 = 1e-15;

/// Half the power, dB.
const HALF_POWER_DB: f64 = 10.0 * LOG10_2;
/// Conductivity of gold, MS/m.
const GOLD_MS_PER_M: f64 = 41.0;
/// Relative permittivity of gallium arsenide.
const GALLIUM_ARSENIDE: f64 = 12.9;
/// Height of a common substrate of gallium arsenide, um.
const HEIGHT_UM: f64 = 100.0;

/// A row for an ideal component with set errors.
macro_rules! split_kind {
    (
        $name:literal: $summary:literal,
        ports: $ports:expr,
        example: $example:literal,
        network: $network:expr,
    ) => {
        kind! {
            $name: $summary,
            ports: $ports,
            parameters: {
                imbalance_db: Finite = 0.0,
                phase_error_deg: Finite = 0.0,
                loss_db: NotNegative = 0.0,
                isolation_db: NotNegativeOrInfinite = f64::INFINITY,
            },
            example: $example,
            part: |p| Ok(IdealSplit {
                imbalance_db: p.imbalance_db,
                phase_error_deg: p.phase_error_deg,
                loss_db: p.loss_db,
                isolation_db: p.isolation_db,
            }),
            network: $network,
        }
    };
}

/// A row for lumped elements in an arrangement.
macro_rules! element_kind {
    (
        $name:literal: $summary:literal,
        ports: $ports:expr,
        network: $network:ident,
    ) => {
        kind! {
            $name: $summary,
            ports: $ports,
            parameters: {
                resistance_ohm: Optional<NotNegative>,
                inductance_ph: Optional<NotNegative>,
                capacitance_ff: Optional<NotNegative>,
                arrangement: OneOf<Arrangement> = Arrangement::Series,
            },
            example: "resistance_ohm=50 inductance_ph=20",
            part: |p| {
                let elements = Elements {
                    resistance_ohm: p.resistance_ohm,
                    inductance_h: p.inductance_ph.map(|ph| ph * PICO),
                    capacitance_f: p.capacitance_ff.map(|ff| ff * FEMTO),
                };
                Ok((elements, p.arrangement))
            },
            network: |grid, (elements, arrangement)| $network(grid, elements, *arrangement),
        }
    };
}

/// Every kind of component, in the order of help.
pub static KINDS: &[ComponentKind] = &[
    split_kind! {
        "quadrature_hybrid": "ideal 90-degree hybrid with set errors",
        ports: ["in", "through", "coupled", "isolated"],
        example: "imbalance_db=0.5 phase_error_deg=2 loss_db=0.5",
        network: ideal_quadrature_hybrid,
    },
    split_kind! {
        "hybrid_180": "ideal 180-degree hybrid with set errors",
        ports: ["difference", "plus", "minus", "sum"],
        example: "imbalance_db=0.5 loss_db=0.5",
        network: ideal_hybrid_180,
    },
    split_kind! {
        "balun": "ideal balun with set errors",
        ports: ["in", "plus", "minus"],
        example: "phase_error_deg=3",
        network: ideal_balun,
    },
    split_kind! {
        "divider": "ideal in-phase divider with set errors",
        ports: ["in", "out", "out"],
        example: "imbalance_db=0.2",
        network: ideal_divider,
    },
    kind! {
        "attenuator": "matched attenuator",
        ports: ["in", "out"],
        parameters: {
            loss_db: NotNegative,
            topology: OneOf<PadTopology> = PadTopology::Tee,
        },
        example: "loss_db=3",
        part: |p| Ok(p),
        network: |grid, p| attenuator(grid, p.loss_db),
        dimensions: |p, list| {
            if p.loss_db > 0.0 {
                let (series_ohm, shunt_ohm) =
                    pad_resistors_ohm(p.topology, p.loss_db, REFERENCE_OHM)?;
                list.value("series_ohm", series_ohm);
                list.value("shunt_ohm", shunt_ohm);
            }
            Ok(())
        },
    },
    kind! {
        "line": "uniform line; dispersion_percent is the excess electrical length per octave above \
                 center_ghz",
        ports: ["in", "out"],
        parameters: {
            impedance_ohm: Positive,
            center_ghz: Positive,
            angle_deg: NotNegative,
            loss_db: NotNegative = 0.0,
            dispersion_percent: Finite = 0.0,
        },
        example: "impedance_ohm=60 center_ghz=29 angle_deg=90",
        part: |p| Ok(Line {
            loss_db: p.loss_db,
            dispersion_percent: p.dispersion_percent,
            ..Line::ideal(p.impedance_ohm, p.center_ghz * GIGA, p.angle_deg)
        }),
        network: line,
        dimensions: |line, list| {
            list.line("line", line.impedance_ohm, line.angle_deg, line.center_hz)
        },
    },
    kind! {
        "zero_length_line": "its two ports connected",
        ports: ["in", "out"],
        parameters: {},
        example: "",
        part: |p| Ok(p),
        network: |grid, _| zero_length_line(grid),
    },
    kind! {
        "stub": "line in shunt to the signal path",
        ports: ["in", "out"],
        parameters: {
            impedance_ohm: Positive,
            center_ghz: Positive,
            angle_deg: NotNegative,
            end: OneOf<StubEnd>,
            loss_db: NotNegative = 0.0,
        },
        example: "impedance_ohm=60 center_ghz=29 angle_deg=90 end=open",
        part: |p| Ok(Stub {
            line: Line {
                loss_db: p.loss_db,
                ..Line::ideal(p.impedance_ohm, p.center_ghz * GIGA, p.angle_deg)
            },
            end: p.end,
        }),
        network: stub,
        dimensions: |stub, list| {
            let Line { impedance_ohm, angle_deg, center_hz, .. } = stub.line;
            match stub.end {
                StubEnd::Open => list.open_line("stub", impedance_ohm, angle_deg, center_hz),
                StubEnd::Short => list.line("stub", impedance_ohm, angle_deg, center_hz),
            }
        },
    },
    kind! {
        "radial_stub": "sector of metal in shunt to the signal path",
        ports: ["in", "out"],
        parameters: {
            inner_radius_um: Positive,
            outer_radius_um: Positive,
            sector_deg: UpToFullTurn,
            height_um: Positive,
            effective_permittivity: Positive,
        },
        example: "inner_radius_um=40 outer_radius_um=500 sector_deg=60 height_um=100 \
                  effective_permittivity=9",
        part: |p| Ok(RadialStub {
            inner_radius_m: p.inner_radius_um * MICRO,
            outer_radius_m: p.outer_radius_um * MICRO,
            sector_deg: p.sector_deg,
            height_m: p.height_um * MICRO,
            effective_permittivity: p.effective_permittivity,
        }),
        network: radial_stub,
    },
    kind! {
        "coupled_pair": "two coupled lines by their modes; ports 1 and 2 are the ends of the first \
                         line, 3 (next to 1) and 4 (next to 2) those of the second",
        ports: ["1", "2", "3", "4"],
        parameters: {
            even_ohm: Positive,
            odd_ohm: Positive,
            center_ghz: Positive,
            even_deg: NotNegative,
            odd_deg: NotNegative,
            loss_db: NotNegative = 0.0,
        },
        example: "even_ohm=70 odd_ohm=36 center_ghz=29 even_deg=92 odd_deg=88",
        part: |p| {
            let mode = |ohm: f64, deg: f64| Line {
                loss_db: p.loss_db,
                ..Line::ideal(ohm, p.center_ghz * GIGA, deg)
            };
            Ok(CoupledPair {
                even: mode(p.even_ohm, p.even_deg),
                odd: mode(p.odd_ohm, p.odd_deg),
            })
        },
        network: coupled_pair,
        dimensions: |pair, list| {
            list.pair("pair", pair.even.impedance_ohm, pair.odd.impedance_ohm, pair.even.center_hz)
        },
    },
    kind! {
        "coupled_line_coupler": "quarter-wave coupler of one coupled pair",
        ports: ["in", "through", "coupled", "isolated"],
        parameters: {
            center_ghz: Positive,
            coupling_db: Positive = HALF_POWER_DB,
            impedance_ohm: Positive = 50.0,
            loss_db: NotNegative = 0.0,
            odd_mode_velocity_excess_percent: BelowHundred = 0.0,
        },
        example: "center_ghz=29 coupling_db=10",
        part: |p| Ok(CoupledLineCoupler {
            coupling_db: p.coupling_db,
            impedance_ohm: p.impedance_ohm,
            center_hz: p.center_ghz * GIGA,
            loss_db: p.loss_db,
            odd_mode_velocity_excess_percent: p.odd_mode_velocity_excess_percent,
        }),
        network: coupled_line_coupler,
        dimensions: |coupler, list| {
            let pair = coupler.pair()?;
            list.pair("pair", pair.even.impedance_ohm, pair.odd.impedance_ohm, coupler.center_hz)
        },
    },
    kind! {
        "lange": "quarter-wave coupler of interdigitated strips; mode speeds that differ are those of \
                  the connected strips, as of one coupled pair",
        ports: ["in", "through", "coupled", "isolated"],
        parameters: {
            center_ghz: Positive,
            strips: Count = 4,
            coupling_db: Positive = HALF_POWER_DB,
            impedance_ohm: Positive = 50.0,
            loss_db: NotNegative = 0.0,
            odd_mode_velocity_excess_percent: BelowHundred = 0.0,
        },
        example: "center_ghz=29 loss_db=0.3",
        part: |p| Ok(InterdigitatedCoupler {
            strips: p.strips,
            coupler: CoupledLineCoupler {
                coupling_db: p.coupling_db,
                impedance_ohm: p.impedance_ohm,
                center_hz: p.center_ghz * GIGA,
                loss_db: p.loss_db,
                odd_mode_velocity_excess_percent: p.odd_mode_velocity_excess_percent,
            },
        }),
        network: interdigitated_coupler,
        dimensions: |lange, list| {
            let coupler = &lange.coupler;
            let (even_ohm, odd_ohm) =
                strip_impedances_ohm(lange.strips, coupler.coupling_db, coupler.impedance_ohm)?;
            list.pair("neighbours", even_ohm, odd_ohm, coupler.center_hz)
        },
    },
    kind! {
        "branch_line": "branch-line hybrid of one section",
        ports: ["in", "through", "coupled", "isolated"],
        parameters: {
            center_ghz: Positive,
            impedance_ohm: Positive = 50.0,
            loss_db: NotNegative = 0.0,
        },
        example: "center_ghz=29 loss_db=0.2",
        part: |p| Ok(BranchLine {
            impedance_ohm: p.impedance_ohm,
            center_hz: p.center_ghz * GIGA,
            loss_db: p.loss_db,
        }),
        network: branch_line,
        dimensions: |hybrid, list| {
            list.line("arm", hybrid.arm_ohm(), 90.0, hybrid.center_hz)?;
            list.line("branch", hybrid.impedance_ohm, 90.0, hybrid.center_hz)
        },
    },
    kind! {
        "rat_race": "ring hybrid of one and a half waves",
        ports: ["sum", "out", "out", "difference"],
        parameters: {
            center_ghz: Positive,
            impedance_ohm: Positive = 50.0,
            loss_db: NotNegative = 0.0,
        },
        example: "center_ghz=29 loss_db=0.2",
        part: |p| Ok(RatRace {
            impedance_ohm: p.impedance_ohm,
            center_hz: p.center_ghz * GIGA,
            loss_db: p.loss_db,
        }),
        network: rat_race,
        dimensions: |hybrid, list| {
            list.line("quarter_arc", hybrid.ring_ohm(), 90.0, hybrid.center_hz)
        },
    },
    kind! {
        "wilkinson": "in-phase divider with isolation resistors; one stage, two with stages=2, or \
                      any number with an impedance and a resistor for each",
        ports: ["in", "out", "out"],
        parameters: {
            center_ghz: Positive,
            stages: Optional<Count>,
            impedance_ohm: Positive = 50.0,
            loss_db: NotNegative = 0.0,
            stage_impedance_ohm: Optional<PositiveList>,
            stage_resistor_ohm: Optional<PositiveList>,
        },
        example: "center_ghz=29 loss_db=0.3",
        part: |p| {
            let (impedances, resistors) =
                (p.stage_impedance_ohm.as_deref(), p.stage_resistor_ohm.as_deref());
            given_stages(p.stages, impedances, resistors, p.impedance_ohm).map(|stages| {
                WilkinsonDivider { stages, center_hz: p.center_ghz * GIGA, loss_db: p.loss_db }
            })
        },
        network: wilkinson_divider,
        dimensions: |divider, list| {
            for (at, stage) in divider.stages.iter().enumerate() {
                let name = format!("stage_{}", at + 1);
                list.line(&name, stage.impedance_ohm, 90.0, divider.center_hz)?;
                list.value(format!("{name}_resistor_ohm"), stage.resistance_ohm);
            }
            Ok(())
        },
    },
    kind! {
        "marchand": "planar balun of two coupled sections",
        ports: ["in", "plus", "minus"],
        parameters: {
            center_ghz: Positive,
            load_ohm: Positive = 50.0,
            impedance_ohm: Positive = 50.0,
            loss_db: NotNegative = 0.0,
            odd_mode_velocity_excess_percent: BelowHundred = 0.0,
        },
        example: "center_ghz=29 load_ohm=60",
        part: |p| PlanarBalun::matched(
            p.impedance_ohm,
            p.load_ohm,
            p.center_ghz * GIGA,
            p.loss_db,
            p.odd_mode_velocity_excess_percent,
        ),
        network: planar_balun,
        dimensions: |balun, list| {
            let CoupledPair { even, odd } = &balun.first;
            list.pair("section", even.impedance_ohm, odd.impedance_ohm, even.center_hz)
        },
    },
    element_kind! {
        "series_element": "resistor, inductor and capacitor in series with the signal path",
        ports: ["in", "out"],
        network: series_element,
    },
    element_kind! {
        "shunt_element": "resistor, inductor and capacitor in shunt to the signal path",
        ports: ["in", "out"],
        network: shunt_element,
    },
    element_kind! {
        "termination": "resistor, inductor and capacitor to ground",
        ports: ["in"],
        network: termination,
    },
    kind! {
        "open_end": "open end with a fringing capacitance",
        ports: ["in"],
        parameters: { capacitance_ff: NotNegative = 0.0 },
        example: "capacitance_ff=5",
        part: |p| Ok(p),
        network: |grid, p| open_end(grid, p.capacitance_ff * FEMTO),
    },
    kind! {
        "shorted_end": "short to ground through an inductance",
        ports: ["in"],
        parameters: { inductance_ph: NotNegative = 0.0 },
        example: "inductance_ph=10",
        part: |p| Ok(p),
        network: |grid, p| shorted_end(grid, p.inductance_ph * PICO),
    },
    kind! {
        "bond": "bond wire or flat ribbon with a pad at each end, by its inductance, by length and \
                 diameter, or by length, width and thickness; with skin effect, of gold by default",
        ports: ["in", "out"],
        parameters: {
            inductance_ph: Optional<NotNegative>,
            length_um: Optional<Positive>,
            diameter_um: Optional<Positive>,
            width_um: Optional<Positive>,
            thickness_um: Optional<Positive>,
            conductivity_ms_per_m: PositiveOrInfinite = GOLD_MS_PER_M,
            resistance_ohm: NotNegative = 0.0,
            pad_capacitance_ff: NotNegative = 0.0,
        },
        example: "length_um=300 diameter_um=25",
        part: |p| {
            let conductivity_s_per_m = p.conductivity_ms_per_m * MEGA;
            let micro = |um: Option<f64>| um.map(|um| um * MICRO);
            let of = (micro(p.length_um), micro(p.diameter_um), micro(p.width_um), micro(p.thickness_um));
            let conductor = match (p.inductance_ph, of) {
                (Some(ph), (None, None, None, None)) => Ok(BondConductor::Inductance(ph * PICO)),
                (None, (Some(length_m), Some(diameter_m), None, None)) => {
                    Ok(BondConductor::Wire { length_m, diameter_m, conductivity_s_per_m })
                }
                (None, (Some(length_m), None, Some(width_m), Some(thickness_m))) => {
                    Ok(BondConductor::Ribbon { length_m, width_m, thickness_m, conductivity_s_per_m })
                }
                _ => Err(ComponentError::BondInductance),
            }?;
            conductor.impedance_ohm(0.0)?;
            Ok(Bond {
                conductor,
                resistance_ohm: p.resistance_ohm,
                pad_capacitance_f: p.pad_capacitance_ff * FEMTO,
            })
        },
        network: bond,
        dimensions: |bond, list| {
            let BondConductor::Inductance(inductance_h) = bond.conductor else {
                for (name, hz) in [("at_0_ghz", 0.0), ("at_1_ghz", 1e9), ("at_30_ghz", 30e9)] {
                    let inductance_h = bond.conductor.inductance_h(hz)?;
                    list.value(format!("inductance_{name}_ph"), inductance_h * 1e12);
                }
                return Ok(());
            };
            list.value("inductance_ph", inductance_h * 1e12);
            Ok(())
        },
    },
    kind! {
        "microstrip": "single strip on a substrate, with dispersion and losses",
        ports: ["in", "out"],
        parameters: {
            width_um: Positive,
            length_um: NotNegative,
            relative_permittivity: AboveOne = GALLIUM_ARSENIDE,
            height_um: Positive = HEIGHT_UM,
            thickness_um: NotNegative = 0.0,
            loss_tangent: NotNegative = 0.0,
            conductivity_ms_per_m: PositiveOrInfinite = f64::INFINITY,
        },
        example: "width_um=70 length_um=900 conductivity_ms_per_m=41",
        part: |p| Ok(MicrostripLine {
            substrate: Substrate {
                relative_permittivity: p.relative_permittivity,
                height_m: p.height_um * MICRO,
                thickness_m: p.thickness_um * MICRO,
                loss_tangent: p.loss_tangent,
                conductivity_s_per_m: p.conductivity_ms_per_m * MEGA,
            },
            width_m: p.width_um * MICRO,
            length_m: p.length_um * MICRO,
        }),
        network: microstrip_line,
        dimensions: |line, list| {
            let strip = strip(&line.substrate, line.width_m)?;
            list.value("impedance_ohm", strip.impedance_ohm);
            list.value("effective_permittivity", strip.effective_permittivity);
            Ok(())
        },
    },
    kind! {
        "coupled_microstrip": "two coupled strips on a substrate, without loss; ports as of \
                               coupled_pair",
        ports: ["1", "2", "3", "4"],
        parameters: {
            width_um: Positive,
            gap_um: Positive,
            length_um: NotNegative,
            relative_permittivity: AboveOne = GALLIUM_ARSENIDE,
            height_um: Positive = HEIGHT_UM,
        },
        example: "width_um=60 gap_um=20 length_um=900",
        part: |p| Ok(CoupledMicrostrip {
            substrate: Substrate {
                relative_permittivity: p.relative_permittivity,
                height_m: p.height_um * MICRO,
                thickness_m: 0.0,
                loss_tangent: 0.0,
                conductivity_s_per_m: f64::INFINITY,
            },
            width_m: p.width_um * MICRO,
            gap_m: p.gap_um * MICRO,
            length_m: p.length_um * MICRO,
        }),
        network: coupled_microstrip,
        dimensions: |pair, list| {
            let strips = coupled_strips(&pair.substrate, pair.width_m, pair.gap_m)?;
            for (name, strip) in [("even", strips.even), ("odd", strips.odd)] {
                list.value(format!("{name}_ohm"), strip.impedance_ohm);
                list.value(
                    format!("{name}_effective_permittivity"),
                    strip.effective_permittivity,
                );
            }
            Ok(())
        },
    },
];

parameters! {
    struct SubstrateParameters {
        relative_permittivity: AboveOne = GALLIUM_ARSENIDE,
        height_um: Positive = HEIGHT_UM,
        thickness_um: NotNegative = 0.0,
        loss_tangent: NotNegative = 0.0,
    }
}

/// A substrate from parameters: `relative_permittivity`, `height_um`, `thickness_um` and
/// `loss_tangent`, each with a default. Without any it is 100 um of gallium arsenide.
///
/// # Errors
/// [`ComponentError`] with the parameter that is unknown or out of range.
///
/// # Examples
/// ```
/// use fourphase::component::{parse_parameters, substrate};
///
/// let alumina = substrate(&parse_parameters(&["relative_permittivity=9.8", "height_um=254"])?)?;
/// assert_eq!(alumina.relative_permittivity, 9.8);
/// # Ok::<(), fourphase::component::ComponentError>(())
/// ```
pub fn substrate(given: &[GivenParameter]) -> Result<Substrate, ComponentError> {
    let read = SubstrateParameters::read("a substrate", given)?;
    Ok(Substrate {
        relative_permittivity: read.relative_permittivity,
        height_m: read.height_um * MICRO,
        thickness_m: read.thickness_um * MICRO,
        loss_tangent: read.loss_tangent,
        conductivity_s_per_m: f64::INFINITY,
    })
}
