//! Which port does what, and which kind of splitter it is: given, or told from the data.

use super::error::SplitterError;
use super::splitter_kind::SplitterKind;
use crate::network::{Network, Port};
use crate::units::{db_from_amplitude, wrap_deg};
use num_complex::Complex64;

/// What the user says about a splitter; the rest is told from the data.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct GivenRoles {
    /// Its kind.
    pub kind: Option<SplitterKind>,
    /// Where the signal enters.
    pub input: Option<Port>,
    /// The two outputs, in order.
    pub outputs: Option<[Port; 2]>,
    /// The port that should stay quiet.
    pub isolated: Option<Port>,
    /// The nominal phase difference, degrees.
    pub nominal_deg: Option<f64>,
}

/// Every role, and what was told from the data rather than given.
#[derive(Clone, Debug, PartialEq)]
pub struct Roles {
    /// The kind.
    pub kind: SplitterKind,
    /// Where the signal enters.
    pub input: Port,
    /// The two outputs: a, then b.
    pub outputs: [Port; 2],
    /// The port that should stay quiet, if the part has one.
    pub isolated: Option<Port>,
    /// The nominal phase difference of b against a, degrees.
    pub nominal_deg: f64,
    /// Sentences about what was told from the data, for the user to check.
    pub told: Vec<String>,
}

/// Outputs further apart than this are no pair.
const LARGEST_PAIR_IMBALANCE_DB: f64 = 6.0;
/// Outputs weaker than this carry no useful signal.
const WEAKEST_OUTPUT_DB: f64 = -15.0;
/// An isolated port must stay this far below the weaker output.
const SMALLEST_ISOLATION_STEP_DB: f64 = 3.0;
/// Candidates closer than this (0.4 dB or 3 deg) are told apart by nothing but noise.
const SMALLEST_TELLING_DISTANCE: f64 = 0.05;
/// Phase differences further than this from a nominal do not tell the kind.
const WIDEST_PHASE_DEG: f64 = 35.0;

/// Settles all roles, from what is given and from the scattering matrices over `band`.
///
/// Powers are averaged over `band` (a range of point indices); the phase is read
/// at `centre`. Ports in `closed` (by a load) take no part in guessing.
///
/// # Errors
/// [`SplitterError::SamePort`] for a port in two roles, [`SplitterError::Ambiguous`] with the
/// option that settles it where the data do not.
pub fn find_roles(
    scattering: &Network,
    given: &GivenRoles,
    band: std::ops::Range<usize>,
    centre: usize,
    closed: &[Port],
) -> Result<Roles, SplitterError> {
    let view = View { scattering, band, centre, closed };
    check_given(scattering, given, closed)?;
    let mut told = Vec::new();

    let candidates: Vec<Candidate> = match given.input {
        Some(input) => vec![view.candidate(given, input)?],
        None => {
            let taken = |port: &Port| {
                Some(*port) == given.isolated
                    || given.outputs.is_some_and(|outputs| outputs.contains(port))
            };
            let inputs = view.open_ports().filter(|port| !taken(port));
            inputs.filter_map(|input| view.candidate(given, input).ok()).collect()
        }
    };
    let chosen = choose(&candidates, given)?;
    let Candidate { input, outputs, isolated, kind, difference_deg, .. } = chosen.clone();
    if given.input.is_none() {
        let others: Vec<String> = candidates
            .iter()
            .filter(|other| other.input != input && other.kind == kind)
            .map(|other| other.input.to_string())
            .collect();
        told.push(if others.is_empty() {
            format!("input: port {input}, the one that feeds two others most alike")
        } else {
            format!("input: port {input}; so would serve port {}", others.join(" or port "))
        });
    }
    if given.outputs.is_none() {
        told.push(format!("outputs: ports {} and {}", outputs[0], outputs[1]));
    }
    if given.isolated.is_none()
        && let Some(port) = isolated
    {
        told.push(format!("isolated: port {port}"));
    }
    let nominal_deg = given.nominal_deg.unwrap_or_else(|| kind.nominal_deg(difference_deg));
    if given.kind.is_none() {
        told.push(format!(
            "kind: {kind}, from a phase difference of {difference_deg:.1} deg at band centre"
        ));
    }
    Ok(Roles { kind, input, outputs, isolated, nominal_deg, told })
}

/// Refuses roles that contradict each other or the network.
fn check_given(
    scattering: &Network,
    given: &GivenRoles,
    closed: &[Port],
) -> Result<(), SplitterError> {
    if scattering.ports() < 3 {
        return Err(SplitterError::TooFewPorts { ports: scattering.ports() });
    }
    let mut named: Vec<(Port, &'static str)> = Vec::new();
    let outputs = given
        .outputs
        .iter()
        .flat_map(|[a, b]| [(*a, "the first output"), (*b, "the second output")]);
    let input = given.input.iter().map(|&port| (port, "the input"));
    let isolated = given.isolated.iter().map(|&port| (port, "the isolated port"));
    for (port, role) in input.chain(outputs).chain(isolated) {
        scattering.check_port(port)?;
        if let Some((_, first)) = named.iter().find(|(known, _)| *known == port) {
            return Err(SplitterError::SamePort { port, first, second: role });
        }
        if role != "the isolated port" && closed.contains(&port) {
            return Err(SplitterError::LoadedRole { port, role });
        }
        named.push((port, role));
    }
    Ok(())
}

#[derive(Clone, Debug)]
struct Candidate {
    input: Port,
    outputs: [Port; 2],
    isolated: Option<Port>,
    kind: SplitterKind,
    difference_deg: f64,
    /// |ln| of the ratio of the outputs over its ideal, at band centre.
    distance: f64,
}

/// The candidate nearest to an ideal splitter, unless others come about as near and differ.
fn choose<'c>(
    candidates: &'c [Candidate],
    given: &GivenRoles,
) -> Result<&'c Candidate, SplitterError> {
    if let (Some(_), [only]) = (given.input, candidates) {
        return Ok(only);
    }
    let nearest =
        candidates.iter().map(|candidate| candidate.distance).fold(f64::INFINITY, f64::min);
    let near: Vec<&Candidate> = candidates
        .iter()
        .filter(|candidate| candidate.distance <= 2.0 * nearest + SMALLEST_TELLING_DISTANCE)
        .collect();
    let Some(&first) = near.first() else {
        return Err(SplitterError::Ambiguous {
            what: "the input",
            why: match given.kind {
                None => "no port feeds two others alike, near 0, 90 or 180 deg".to_owned(),
                Some(kind) => format!("no port feeds two others alike and {kind}"),
            },
            needed: "--kind, --input and --outputs",
        });
    };
    if let Some(other) = near.iter().find(|other| other.kind != first.kind) {
        return Err(SplitterError::Ambiguous {
            what: "the input",
            why: format!(
                "from port {} the part is {}, from port {} it is {}",
                first.input, first.kind, other.input, other.kind
            ),
            needed: "--input",
        });
    }
    // A four-port that looks alike from several ports is read from the first of them, as it is
    // drawn; a three-port that does has no input to tell.
    if near.len() > 1 && given.outputs.is_none() && first.isolated.is_none() {
        return Err(SplitterError::Ambiguous {
            what: "the input",
            why: format!("ports {} and {} would both serve", first.input, near[1].input),
            needed: "--input",
        });
    }
    Ok(first)
}

struct View<'a> {
    scattering: &'a Network,
    band: std::ops::Range<usize>,
    centre: usize,
    closed: &'a [Port],
}

impl View<'_> {
    fn open_ports(&self) -> impl Iterator<Item = Port> + '_ {
        (0..self.scattering.ports())
            .map(Port::from_index)
            .filter(|port| !self.closed.contains(port))
    }

    /// Mean power from one port to another over the band, dB.
    fn level_db(&self, to: Port, from: Port) -> f64 {
        #[expect(clippy::cast_precision_loss, reason = "a sweep is far shorter than 2^53")]
        let points = self.band.len() as f64;
        let power: f64 = self
            .band
            .clone()
            .map(|point| self.scattering.matrix(point).at(to, from).norm_sqr())
            .sum();
        0.5 * db_from_amplitude(power / points)
    }

    fn candidate(&self, given: &GivenRoles, input: Port) -> Result<Candidate, SplitterError> {
        let is_other = |port: &Port| *port != input && Some(*port) != given.isolated;
        let mut levels: Vec<(Port, f64)> = self
            .open_ports()
            .filter(is_other)
            .map(|port| (port, self.level_db(port, input)))
            .collect();
        levels.sort_by(|one, other| other.1.total_cmp(&one.1).then(one.0.cmp(&other.0)));
        let outputs = match given.outputs {
            Some(outputs) if outputs.contains(&input) => return Err(self.no_pair(input, &levels)),
            Some(outputs) => outputs,
            None => self.strongest_pair(input, &levels)?,
        };
        let isolated = given.isolated.or_else(|| {
            // With a fourth port and no word about it, the quiet one is the isolated one.
            let mut quiet = (0..self.scattering.ports())
                .map(Port::from_index)
                .filter(|port| *port != input && !outputs.contains(port));
            match (quiet.next(), quiet.next()) {
                (Some(port), None) => Some(port),
                _ => None,
            }
        });
        let matrix = self.scattering.matrix(self.centre);
        let ratio = matrix.at(outputs[1], input) / matrix.at(outputs[0], input);
        let difference_deg = phase_deg(ratio);
        let kind = match given.kind {
            Some(kind) => kind,
            None => kind_of(difference_deg).ok_or_else(|| SplitterError::Ambiguous {
                what: "the kind",
                why: format!(
                    "ports {} and {} are {difference_deg:.1} deg apart at band centre",
                    outputs[0], outputs[1]
                ),
                needed: "--kind",
            })?,
        };
        let phase_error_deg = wrap_deg(difference_deg - kind.nominal_deg(difference_deg));
        if given.input.is_none() && phase_error_deg.abs() > WIDEST_PHASE_DEG {
            return Err(self.no_pair(input, &levels));
        }
        let distance = Complex64::new(ratio.norm().ln(), phase_error_deg.to_radians()).norm();
        Ok(Candidate { input, outputs, isolated, kind, difference_deg, distance })
    }

    fn strongest_pair(
        &self,
        input: Port,
        levels: &[(Port, f64)],
    ) -> Result<[Port; 2], SplitterError> {
        let [(first, first_db), (second, second_db), ..] = *levels else {
            return Err(self.no_pair(input, levels));
        };
        let is_pair =
            first_db - second_db <= LARGEST_PAIR_IMBALANCE_DB && second_db >= WEAKEST_OUTPUT_DB;
        let stands_out = levels
            .get(2)
            .is_none_or(|(_, third_db)| second_db - third_db >= SMALLEST_ISOLATION_STEP_DB);
        if !(is_pair && stands_out) {
            return Err(self.no_pair(input, levels));
        }
        Ok(if first < second { [first, second] } else { [second, first] })
    }

    fn no_pair(&self, input: Port, levels: &[(Port, f64)]) -> SplitterError {
        let shown: Vec<String> =
            levels.iter().map(|(port, level)| format!("port {port} at {level:.1} dB")).collect();
        SplitterError::Ambiguous {
            what: "the outputs",
            why: format!("port {input} feeds {}", shown.join(", ")),
            needed: "--outputs",
        }
    }
}

fn kind_of(difference_deg: f64) -> Option<SplitterKind> {
    SplitterKind::ALL
        .into_iter()
        .map(|kind| (wrap_deg(difference_deg - kind.nominal_deg(difference_deg)).abs(), kind))
        .min_by(|one, other| one.0.total_cmp(&other.0))
        .filter(|(distance_deg, _)| *distance_deg <= WIDEST_PHASE_DEG)
        .map(|(_, kind)| kind)
}

/// The angle of a ratio in degrees, 180 rather than -180; zero where the ratio has none.
fn phase_deg(ratio: Complex64) -> f64 {
    let angle_deg = wrap_deg(ratio.arg().to_degrees());
    if angle_deg.is_finite() { angle_deg } else { 0.0 }
}
