//! The kind of a splitter and the roles of its ports: given, or inferred from the data.

use super::error::SplitterError;
use super::splitter_kind::SplitterKind;
use crate::network::{Network, Port};
use crate::units::{db_from_amplitude, wrap_deg};
use num_complex::Complex64;
use std::fmt;

/// The roles of a splitter that are given; the others are inferred from the data.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct GivenRoles {
    /// Its kind.
    pub kind: Option<SplitterKind>,
    /// The input.
    pub input: Option<Port>,
    /// The two outputs, in order.
    pub outputs: Option<[Port; 2]>,
    /// The isolated port.
    pub isolated: Option<Port>,
    /// The nominal phase difference, degrees.
    pub nominal_deg: Option<f64>,
}

/// Every role of a splitter, with a list of the inferred ones.
#[derive(Clone, Debug, PartialEq)]
pub struct Roles {
    /// The kind.
    pub kind: SplitterKind,
    /// The input.
    pub input: Port,
    /// The two outputs: a, then b.
    pub outputs: [Port; 2],
    /// The isolated port, if there is one.
    pub isolated: Option<Port>,
    /// The nominal phase difference of b against a, degrees.
    pub nominal_deg: f64,
    /// The roles that are inferred from the data, for the user to check.
    pub inferred: Vec<InferredRole>,
}

/// A role inferred from the data; its text is a line for the user.
#[derive(Clone, Debug, PartialEq)]
#[non_exhaustive]
pub enum InferredRole {
    /// The input, with other ports from which the splitter is the same.
    Input {
        /// The port.
        port: Port,
        /// Other ports that would give the same kind and about the same balance.
        equivalent: Vec<Port>,
    },
    /// The outputs.
    Outputs([Port; 2]),
    /// The isolated port.
    Isolated(Port),
    /// The kind, from a phase difference in degrees at band centre.
    Kind {
        /// The kind.
        kind: SplitterKind,
        /// Phase of the second output minus that of the first, degrees.
        difference_deg: f64,
    },
}

impl fmt::Display for InferredRole {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Input { port, equivalent } => {
                write!(f, "input: port {port}")?;
                match equivalent.as_slice() {
                    [] => write!(f, ", whose two outputs are the most similar"),
                    [one] => write!(f, "; equivalent: port {one}"),
                    several => {
                        let ports: Vec<String> = several.iter().map(Port::to_string).collect();
                        write!(f, "; equivalent: ports {}", ports.join(", "))
                    }
                }
            }
            Self::Outputs([a, b]) => write!(f, "outputs: ports {a} and {b}"),
            Self::Isolated(port) => write!(f, "isolated: port {port}"),
            Self::Kind { kind, difference_deg } => write!(
                f,
                "kind: {kind}, from a phase difference of {difference_deg:.1} deg at band centre"
            ),
        }
    }
}

/// Levels that differ by more than this are not those of two outputs.
const LARGEST_PAIR_IMBALANCE_DB: f64 = 6.0;
/// A level below this is not that of an output.
const WEAKEST_OUTPUT_DB: f64 = -15.0;
/// The level of an isolated port is at least this far below the weaker output.
const SMALLEST_ISOLATION_STEP_DB: f64 = 3.0;
/// Candidates whose errors differ by less than this (0.4 dB or 3 deg) are equivalent.
const EQUIVALENT_WITHIN: f64 = 0.05;
/// A kind is inferred from phase differences up to this far from its nominal one.
pub(super) const WIDEST_PHASE_DEG: f64 = 35.0;

/// All roles, from those given and from the scattering matrices.
///
/// Powers are averaged over `band`, a range of indices of frequency points; the phase is read at the
/// index `centre`. Ports in `closed`, which are terminated by loads, are not considered as input or
/// outputs.
///
/// # Errors
/// invalid given roles, [`SplitterError::NoSignal`] for a given output without signal, and an error
/// with [`roles_to_give`](SplitterError::roles_to_give) where the data do not show a role.
/// with [`roles_to_give`](SplitterError::roles_to_give) where the data do not show a role.
pub(super) fn find_roles(
    scattering: &Network,
    given: &GivenRoles,
    band: std::ops::Range<usize>,
    centre: usize,
    closed: &[Port],
) -> Result<Roles, SplitterError> {
    let view = View { scattering, band, centre, closed };
    check_given(scattering, given, closed)?;
    let mut inferred = Vec::new();

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
        let equivalent = candidates
            .iter()
            .filter(|other| other.input != input && other.kind == kind)
            .map(|other| other.input)
            .collect();
        inferred.push(InferredRole::Input { port: input, equivalent });
    }
    if given.outputs.is_none() {
        inferred.push(InferredRole::Outputs(outputs));
    }
    if given.isolated.is_none()
        && let Some(port) = isolated
    {
        inferred.push(InferredRole::Isolated(port));
    }
    let nominal_deg = given.nominal_deg.unwrap_or_else(|| kind.nominal_deg(difference_deg));
    if given.kind.is_none() {
        inferred.push(InferredRole::Kind { kind, difference_deg });
    }
    Ok(Roles { kind, input, outputs, isolated, nominal_deg, inferred })
}

/// Checks that the given roles agree with each other and with the network.
fn check_given(
    scattering: &Network,
    given: &GivenRoles,
    closed: &[Port],
) -> Result<(), SplitterError> {
    if scattering.ports() < 3 {
        return Err(SplitterError::TooFewPorts { ports: scattering.ports() });
    }
    if let Some(found_deg) = given.nominal_deg.filter(|nominal_deg| !nominal_deg.is_finite()) {
        return Err(SplitterError::Nominal { found_deg });
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
    /// |ln| of the ratio of the outputs divided by its ideal, at band centre.
    distance: f64,
}

/// The candidate nearest to an ideal splitter; an error if others are about as near and of another
/// kind.
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
        .filter(|candidate| candidate.distance <= 2.0 * nearest + EQUIVALENT_WITHIN)
        .collect();
    let Some(&first) = near.first() else {
        return Err(SplitterError::NoInput { kind: given.kind });
    };
    if let Some(other) = near.iter().find(|other| other.kind != first.kind) {
        return Err(SplitterError::TwoKinds {
            first: (first.input, first.kind),
            second: (other.input, other.kind),
        });
    }
    // A four-port that is the same from several ports is analysed from the first of them. In a
    // three-port with this property the input is ambiguous.
    if let [_, second, ..] = near.as_slice()
        && given.outputs.is_none()
        && first.isolated.is_none()
    {
        return Err(SplitterError::EquivalentInputs { first: first.input, second: second.input });
    }
    Ok(first)
}

/// The data of a splitter near the middle of its sweep.
pub(super) struct View<'a> {
    scattering: &'a Network,
    band: std::ops::Range<usize>,
    centre: usize,
    closed: &'a [Port],
}

impl<'a> View<'a> {
    /// The middle fifth of a sweep, as in an analysis of the whole sweep.
    pub(super) fn near_the_middle(scattering: &'a Network) -> Self {
        let grid = scattering.grid();
        let (centre, points) = (grid.nearest(0.5 * (grid.first_hz() + grid.last_hz())), grid.len());
        let band = centre.saturating_sub(points / 10)..(centre + points / 10 + 1).min(points);
        Self { scattering, band, centre, closed: &[] }
    }

    /// The second output over the first at band centre; not finite where there is no signal.
    pub(super) fn ratio(&self, input: Port, [a, b]: [Port; 2]) -> Complex64 {
        let matrix = self.scattering.matrix(self.centre);
        matrix.at(b, input) / matrix.at(a, input)
    }

    /// Whether two outputs have about equal levels, above that of the isolated port.
    pub(super) fn is_split(&self, input: Port, outputs: [Port; 2], isolated: Option<Port>) -> bool {
        let [a_db, b_db] = outputs.map(|port| self.level_db(port, input));
        let weaker_db = a_db.min(b_db);
        (a_db - b_db).abs() <= LARGEST_PAIR_IMBALANCE_DB
            && weaker_db >= WEAKEST_OUTPUT_DB
            && isolated.is_none_or(|port| {
                weaker_db - self.level_db(port, input) >= SMALLEST_ISOLATION_STEP_DB
            })
    }

    fn open_ports(&self) -> impl Iterator<Item = Port> + '_ {
        (0..self.scattering.ports())
            .map(Port::from_index)
            .filter(|port| !self.closed.contains(port))
    }

    /// Mean power from one port to another over the band, dB.
    pub(super) fn level_db(&self, to: Port, from: Port) -> f64 {
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
            Some(outputs) if outputs.contains(&input) => return Err(no_pair(input, levels)),
            Some(outputs) => outputs,
            None => strongest_pair(input, &levels)?,
        };
        let isolated = given.isolated.or_else(|| {
            // The fourth port of a four-port is the isolated one unless another is given.
            let mut quiet = (0..self.scattering.ports())
                .map(Port::from_index)
                .filter(|port| *port != input && !outputs.contains(port));
            match (quiet.next(), quiet.next()) {
                (Some(port), None) => Some(port),
                _ => None,
            }
        });
        let difference_ratio = self.output_ratio(input, outputs)?;
        let difference_deg = wrap_deg(difference_ratio.arg().to_degrees());
        let kind = match given.kind {
            Some(kind) => kind,
            None => kind_of(difference_deg)
                .ok_or(SplitterError::UnclearKind { outputs, difference_deg })?,
        };
        let phase_error_deg = wrap_deg(difference_deg - kind.nominal_deg(difference_deg));
        if given.input.is_none() && phase_error_deg.abs() > WIDEST_PHASE_DEG {
            return Err(no_pair(input, levels));
        }
        let distance =
            Complex64::new(difference_ratio.norm().ln(), phase_error_deg.to_radians()).norm();
        Ok(Candidate { input, outputs, isolated, kind, difference_deg, distance })
    }

    /// The second output over the first at band centre; an output without signal has no phase.
    fn output_ratio(&self, input: Port, outputs: [Port; 2]) -> Result<Complex64, SplitterError> {
        let matrix = self.scattering.matrix(self.centre);
        let frequency_hz = self.scattering.grid().as_hz()[self.centre];
        let [a, b] = outputs.map(|port| (port, matrix.at(port, input)));
        for (port, wave) in [a, b] {
            if wave.norm() == 0.0 {
                return Err(SplitterError::NoSignal { port, input, frequency_hz });
            }
        }
        Ok(b.1 / a.1)
    }
}

/// The two ports with the highest levels, in order, if these are similar and above all others.
fn strongest_pair(input: Port, levels: &[(Port, f64)]) -> Result<[Port; 2], SplitterError> {
    let [(first, first_db), (second, second_db), ..] = *levels else {
        return Err(no_pair(input, levels.to_vec()));
    };
    let is_pair =
        first_db - second_db <= LARGEST_PAIR_IMBALANCE_DB && second_db >= WEAKEST_OUTPUT_DB;
    let is_above_others = levels
        .get(2)
        .is_none_or(|(_, third_db)| second_db - third_db >= SMALLEST_ISOLATION_STEP_DB);
    if !(is_pair && is_above_others) {
        return Err(no_pair(input, levels.to_vec()));
    }
    Ok(if first < second { [first, second] } else { [second, first] })
}

fn no_pair(input: Port, levels_db: Vec<(Port, f64)>) -> SplitterError {
    SplitterError::UnclearOutputs { input, levels_db }
}

fn kind_of(difference_deg: f64) -> Option<SplitterKind> {
    SplitterKind::ALL
        .into_iter()
        .map(|kind| (wrap_deg(difference_deg - kind.nominal_deg(difference_deg)).abs(), kind))
        .min_by(|one, other| one.0.total_cmp(&other.0))
        .filter(|(distance_deg, _)| *distance_deg <= WIDEST_PHASE_DEG)
        .map(|(_, kind)| kind)
}
