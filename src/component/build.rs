//! Parts built from their descriptions.

use super::catalogue::{
    ArrangementName, ComponentSpec, CouplerSpec, ElementsSpec, EndName, MicrostripSpec, SplitSpec,
    WilkinsonSpec,
};
use crate::component::microstrip::{self, Substrate};
use crate::component::{
    Arrangement, Bond, BranchLine, ComponentError, CoupledLineCoupler, CoupledPair, Elements,
    IdealSplit, InterdigitatedCoupler, Line, PlanarBalun, RadialStub, RatRace, Stage, Stub,
    StubEnd, Terminated, WilkinsonDivider, attenuator, bond, branch_line, coupled_line_coupler,
    coupled_pair, default_stages, ideal_balun, ideal_divider, ideal_hybrid_180,
    ideal_quadrature_hybrid, interdigitated_coupler, line, one_port, planar_balun, radial_stub,
    rat_race, series, shunt, stub, wilkinson_divider,
};
use crate::network::{FrequencyGrid, Network};

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
    pub(super) fn coupler(&self) -> CoupledLineCoupler {
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
    pub(super) fn stages(&self) -> Result<Vec<Stage>, ComponentError> {
        match (&self.stage_impedance_ohm, &self.stage_resistor_ohm) {
            (Some(impedances), Some(resistors))
                if impedances.len() == resistors.len()
                    && self.stages.is_none_or(|stages| stages == impedances.len()) =>
            {
                Ok(impedances
                    .iter()
                    .zip(resistors)
                    .map(|(&impedance_ohm, &resistance_ohm)| Stage {
                        impedance_ohm,
                        resistance_ohm,
                    })
                    .collect())
            }
            (None, None) => default_stages(self.stages.unwrap_or(1), self.impedance_ohm),
            (impedances, resistors) => {
                let listed = [impedances, resistors].into_iter().flatten().map(Vec::len).max();
                Err(ComponentError::Stages { stages: self.stages.or(listed).unwrap_or(0) })
            }
        }
    }
}

impl MicrostripSpec {
    pub(super) fn substrate(&self) -> Substrate {
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
        self.network(grid).map_err(as_described)
    }

    fn network(&self, grid: &FrequencyGrid) -> Result<Network, ComponentError> {
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
            Self::Lange {
                center_ghz,
                strips,
                coupling_db,
                impedance_ohm,
                loss_db,
                odd_faster_percent,
            } => {
                let coupler = CoupledLineCoupler {
                    coupling_db: *coupling_db,
                    impedance_ohm: *impedance_ohm,
                    center_hz: center_ghz * 1e9,
                    loss_db: *loss_db,
                    odd_faster_percent: *odd_faster_percent,
                };
                interdigitated_coupler(grid, &InterdigitatedCoupler { strips: *strips, coupler })
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

    pub(super) fn bond_inductance_h(&self) -> Result<f64, ComponentError> {
        let Self::Bond { inductance_ph, length_um, diameter_um, .. } = self else { return Ok(0.0) };
        match (inductance_ph, length_um, diameter_um) {
            (Some(ph), None, None) => Ok(ph * 1e-12),
            (None, Some(length_um), Some(diameter_um)) => {
                Bond::wire_inductance_h(length_um * 1e-6, diameter_um * 1e-6)
            }
            _ => Err(ComponentError::Either {
                one: "inductance_ph",
                other: "length_um and diameter_um",
            }),
        }
    }
}

/// Parameters as the components name them and as descriptions do, and the factor between.
const DESCRIBED: [(&str, &str, f64); 13] = [
    ("center_hz", "center_ghz", 1e-9),
    ("frequency_hz", "the frequency in GHz", 1e-9),
    ("length_m", "length_um", 1e6),
    ("diameter_m", "diameter_um", 1e6),
    ("width_m", "width_um", 1e6),
    ("gap_m", "gap_um", 1e6),
    ("height_m", "height_um", 1e6),
    ("thickness_m", "thickness_um", 1e6),
    ("inner_radius_m", "inner_radius_um", 1e6),
    ("outer_radius_m less inner_radius_m", "outer_radius_um less inner_radius_um", 1e6),
    ("inductance_h", "inductance_ph", 1e12),
    ("capacitance_f", "capacitance_ff", 1e15),
    ("conductivity_s_per_m", "conductivity_ms_per_m", 1e-6),
];

/// The error in the units in which the parameter was given.
pub(super) fn as_described(mut error: ComponentError) -> ComponentError {
    if let ComponentError::NotPositive { name, value } | ComponentError::Negative { name, value } =
        &mut error
        && let Some((_, described, factor)) = DESCRIBED.iter().find(|(own, ..)| own == name)
    {
        (*name, *value) = (described, *value * factor);
    }
    error
}

/// A coupled pair of strips without loss.
pub(super) fn coupled(
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
