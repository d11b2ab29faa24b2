//! What a workshop or layout needs to know of a part.

use super::build::{as_described, coupled};
use super::catalogue::{ComponentSpec, TopologyName};
use crate::component::microstrip::{self, Substrate};
use crate::component::{
    ComponentError, PadTopology, PlanarBalun, pad_resistors_ohm, strip_impedances_ohm,
};
use crate::network::FrequencyGrid;

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

impl ComponentSpec {
    /// What a workshop or layout needs to know, where the part has dimensions. On a substrate
    /// lines get widths, gaps and lengths.
    ///
    /// # Errors
    /// [`ComponentError`] with the parameter that cannot be.
    pub fn dimensions(&self, substrate: Option<&Substrate>) -> Result<Dimensions, ComponentError> {
        // Making the part once, at any frequency, checks all its parameters.
        self.build(&FrequencyGrid::from_hz(vec![1e9])?)?;
        self.figures(substrate).map_err(as_described)
    }

    fn figures(&self, substrate: Option<&Substrate>) -> Result<Dimensions, ComponentError> {
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
            Self::Lange { strips, coupling_db, impedance_ohm, center_ghz, .. } => {
                let (even_ohm, odd_ohm) =
                    strip_impedances_ohm(*strips, *coupling_db, *impedance_ohm)?;
                pair_of(&mut list, "neighbours", even_ohm, odd_ohm, *center_ghz, substrate)?;
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
