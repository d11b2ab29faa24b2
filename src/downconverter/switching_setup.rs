//! What a receiver with switched mixers has besides: its elements, IF loads, and the networks of its
//! parts at any frequency.

use super::error::{ReceiverError, Result};
use super::switching::{IF_LOAD_REFERENCE_OHM, Switch};
use crate::component::{
    Arrangement, ComponentError, Elements, GivenParameter, NamedComponent, termination,
};
use crate::network::{FrequencyGrid, Network, NetworkError, ParameterKind, convert, onto_grid};
use num_complex::Complex64;
use std::f64::consts::TAU;

/// How the ports of a block end where its data do not reach.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum OutsideData {
    /// In their references: S = 0.
    #[default]
    Reference,
    /// Open: S = 1.
    Open,
    /// Shorted: S = -1.
    Short,
}

impl OutsideData {
    /// The name by which descriptions and documents know it.
    pub fn name(self) -> &'static str {
        match self {
            Self::Reference => "reference",
            Self::Open => "open",
            Self::Short => "short",
        }
    }

    /// The reflection of every port.
    pub fn reflection(self) -> f64 {
        match self {
            Self::Reference => 0.0,
            Self::Open => 1.0,
            Self::Short => -1.0,
        }
    }
}

/// The element of one mixer.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct ElementSetup {
    /// Its conductance.
    pub switch: Switch,
    /// Capacitance from its LO node to its RF node, F.
    pub lo_to_rf_f: f64,
    /// Capacitance from its LO node to its IF node, F.
    pub lo_to_if_f: f64,
}

/// What every IF node ends in.
#[derive(Clone, Debug, PartialEq)]
pub struct IfLoad {
    /// To ground.
    pub to_ground: IfLoadToGround,
    /// Between the two nodes of a channel, ohm.
    pub differential_ohm: Option<f64>,
}

/// The load from an IF node to ground.
#[derive(Clone, Debug, PartialEq)]
pub enum IfLoadToGround {
    /// A resistance, ohm, infinite where there is none, and a capacitance in parallel, F.
    Elements {
        /// Ohm.
        ohm: f64,
        /// F.
        farad: f64,
    },
    /// A one-port; beyond its frequencies as other data.
    OnePort(Box<Network>),
}

impl Default for IfLoad {
    fn default() -> Self {
        let to_ground = IfLoadToGround::Elements { ohm: 50.0, farad: 0.0 };
        Self { to_ground, differential_ohm: None }
    }
}

/// From what the network of a block or a load is made at any frequency.
#[derive(Clone, Debug, PartialEq)]
pub enum SidebandSource {
    /// From data at their own frequencies.
    Samples(Box<Network>),
    /// A component by its kind and parameters.
    Component {
        /// The kind.
        kind: &'static str,
        /// Its parameters.
        given: Vec<GivenParameter>,
    },
    /// Elements to ground.
    Elements(Elements, Arrangement),
    /// A one-port impedance, ohm.
    Impedance(Complex64),
    /// A one-port reflection of ±1: an open or a short.
    Reflection(f64),
}

/// What makes a receiver's mixers switches.
#[derive(Clone, Debug, PartialEq)]
pub struct SwitchingSetup {
    /// One for each mixer.
    pub elements: Vec<ElementSetup>,
    /// What the IF nodes end in.
    pub if_load: IfLoad,
    /// K, the sidebands on either side of the IF; by convergence when absent.
    pub sidebands: Option<usize>,
    /// How ports of blocks end where their data do not reach.
    pub outside: OutsideData,
    /// Temperature of the RF network, its loads and the elements, K.
    pub temperature_k: f64,
    /// For each part its source; a stage of the LO chain has its resistances instead.
    pub parts: Vec<SidebandSource>,
    /// For each load its source.
    pub loads: Vec<SidebandSource>,
}

/// More sidebands than this are a slip of the pen.
pub const MOST_SIDEBANDS: usize = 256;

impl SwitchingSetup {
    /// Refuses a setup that does not fit a receiver of so many mixers, parts and loads.
    pub(super) fn check(&self, mixers: usize, parts: usize, loads: usize) -> Result<()> {
        for (what, expected, found) in [
            ("elements, one for each mixer", mixers, self.elements.len()),
            ("sources, one for each block", parts, self.parts.len()),
            ("sources, one for each load", loads, self.loads.len()),
        ] {
            if expected != found {
                return Err(ReceiverError::SwitchingCount { what, expected, found });
            }
        }
        if let Some(found) = self.sidebands.filter(|count| !(1..=MOST_SIDEBANDS).contains(count)) {
            #[expect(clippy::cast_precision_loss, reason = "shown in a message")]
            let found = found as f64;
            let (what, expected) = ("sidebands", "from 1 to 256");
            return Err(ReceiverError::OutOfRange { what, expected, found });
        }
        if let IfLoadToGround::Elements { ohm, farad } = self.if_load.to_ground {
            if ohm.is_nan() || ohm < 1e-3 {
                let (what, expected) = ("the resistance of the IF load", "at least 0.001 ohm");
                return Err(ReceiverError::OutOfRange { what, expected, found: ohm });
            }
            if !(0.0..=1e-3).contains(&farad) {
                let (what, expected) = ("the capacitance of the IF load", "from 0 to 1e12 fF");
                return Err(ReceiverError::OutOfRange { what, expected, found: farad * 1e15 });
            }
        }
        Ok(())
    }
}

/// A network at some frequencies, and at which of them its source has no value.
pub(super) struct SidebandNetwork {
    pub(super) network: Network,
    pub(super) is_outside: Vec<bool>,
}

/// Data reach this far beyond their ends, relatively: sums of LO and IF differ in their last digits.
const SAME_FREQUENCY: f64 = 1e-12;

impl SidebandSource {
    /// The S-parameters at each frequency, `outside` where there is none.
    pub(super) fn onto(
        &self,
        grid: &FrequencyGrid,
        ports: usize,
        outside: OutsideData,
    ) -> Result<SidebandNetwork> {
        let covered: Vec<bool> = grid.as_hz().iter().map(|&hz| self.covers(hz)).collect();
        let inside_hz = || grid.as_hz().iter().zip(&covered).filter(|(_, is_in)| **is_in);
        let known: Vec<f64> = inside_hz().map(|(hz, _)| *hz).collect();
        let known = match FrequencyGrid::from_hz(known) {
            Ok(known) => Some(convert(&self.made(&known)?, ParameterKind::Scattering)?),
            // There is no frequency inside.
            Err(_) => None,
        };
        let references = match &known {
            Some(known) => known.references_ohm(0).to_vec(),
            None => self.references_ohm(ports),
        };
        let unit = Complex64::from(outside.reflection());
        let mut entries = Vec::with_capacity(grid.len() * ports * ports);
        let mut next = 0;
        for is_inside in &covered {
            match &known {
                Some(known) if *is_inside => {
                    entries.extend(known.matrix(next).as_slice());
                    next += 1;
                }
                _ => entries.extend(
                    (0..ports * ports)
                        .map(|at| if at / ports == at % ports { unit } else { Complex64::ZERO }),
                ),
            }
        }
        let kind = ParameterKind::Scattering;
        Ok(SidebandNetwork {
            network: Network::new(kind, grid.clone(), ports, entries, references)?,
            is_outside: covered.into_iter().map(|is_inside| !is_inside).collect(),
        })
    }

    /// Whether there is a value at a frequency. At 0 Hz a value must be real.
    pub(super) fn covers(&self, frequency_hz: f64) -> bool {
        if let Self::Samples(network) = self {
            let (first_hz, last_hz) = (network.grid().first_hz(), network.grid().last_hz());
            let slack_hz = SAME_FREQUENCY * frequency_hz;
            return first_hz <= frequency_hz + slack_hz && frequency_hz - slack_hz <= last_hz;
        }
        if frequency_hz > 0.0 {
            return true;
        }
        let made = FrequencyGrid::from_hz(vec![frequency_hz]).map_err(ReceiverError::from);
        let made = made.and_then(|grid| self.made(&grid));
        made.is_ok_and(|network| {
            let is_real = |entry: &Complex64| entry.is_finite() && entry.im.abs() < 1e-9;
            convert(&network, ParameterKind::Scattering)
                .is_ok_and(|network| network.entries().iter().all(is_real))
        })
    }

    fn references_ohm(&self, ports: usize) -> Vec<Complex64> {
        match self {
            Self::Samples(network) => network.references_ohm(0).to_vec(),
            _ => vec![IF_LOAD_REFERENCE_OHM.into(); ports],
        }
    }

    fn made(&self, grid: &FrequencyGrid) -> Result<Network> {
        let failed = |error: ComponentError| ReceiverError::NoComponent { text: error.to_string() };
        let one_port = |reflection: Complex64| {
            let entries = vec![reflection; grid.len()];
            let kind = ParameterKind::Scattering;
            Ok(Network::new(kind, grid.clone(), 1, entries, self.references_ohm(1))?)
        };
        match self {
            Self::Samples(network) => Ok(onto_grid(network, &within(network, grid)?)
                .and_then(|there| on_frequencies(&there.network, grid))?),
            Self::Component { kind, given } => NamedComponent::new(kind, given)
                .and_then(|component| component.network(grid))
                .map_err(failed),
            Self::Elements(elements, arrangement) => {
                termination(grid, elements, *arrangement).map_err(failed)
            }
            Self::Impedance(ohm) => {
                let reference_ohm = IF_LOAD_REFERENCE_OHM;
                one_port((ohm - reference_ohm) / (ohm + reference_ohm))
            }
            Self::Reflection(value) => one_port(Complex64::from(*value)),
        }
    }
}

/// The frequencies moved into the data where only the last digits lie outside.
fn within(network: &Network, grid: &FrequencyGrid) -> Result<FrequencyGrid, NetworkError> {
    let (first_hz, last_hz) = (network.grid().first_hz(), network.grid().last_hz());
    FrequencyGrid::from_hz(grid.as_hz().iter().map(|hz| hz.clamp(first_hz, last_hz)).collect())
}

/// The same matrices at the frequencies of another grid.
fn on_frequencies(network: &Network, grid: &FrequencyGrid) -> Result<Network, NetworkError> {
    let references = network.references_ohm(0).to_vec();
    let entries = network.entries().to_vec();
    let made = Network::new(network.kind(), grid.clone(), network.ports(), entries, references)?;
    Ok(made.with_wave_definition(network.wave_definition()))
}

impl IfLoad {
    /// Reflections of the load to ground in [`IF_LOAD_REFERENCE_OHM`], at each frequency.
    pub(super) fn reflections(
        &self,
        grid: &FrequencyGrid,
        outside: OutsideData,
    ) -> Result<Vec<Complex64>> {
        match &self.to_ground {
            IfLoadToGround::Elements { ohm, farad } => {
                let reflection = |hz: &f64| {
                    let siemens = Complex64::new(1.0 / ohm, TAU * hz * farad);
                    let relative = IF_LOAD_REFERENCE_OHM * siemens;
                    (1.0 - relative) / (1.0 + relative)
                };
                Ok(grid.as_hz().iter().map(reflection).collect())
            }
            IfLoadToGround::OnePort(network) => {
                let made = SidebandSource::Samples(network.clone()).onto(grid, 1, outside)?;
                let references = vec![IF_LOAD_REFERENCE_OHM.into()];
                let waves = made.network.wave_definition();
                let changed = crate::network::change_reference(&made.network, references, waves)?;
                Ok(changed.entries().to_vec())
            }
        }
    }
}
