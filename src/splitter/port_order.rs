//! Checks whether the data of a splitter agree with the given roles of its ports.

use super::roles::{View, WIDEST_PHASE_DEG};
use super::splitter_kind::SplitterKind;
use crate::network::{Network, Port};
use crate::units::wrap_deg;
use num_complex::Complex64;

/// The roles of the ports.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct PortRoles {
    /// The input.
    pub input: Port,
    /// The two outputs.
    pub outputs: [Port; 2],
    /// The isolated port, if there is one.
    pub isolated: Option<Port>,
}

impl PortRoles {
    /// The number of ports with another role than in `given`.
    fn moved_from(&self, given: &Self) -> usize {
        usize::from(self.input != given.input)
            + usize::from(self.isolated != given.isolated)
            + self.outputs.iter().zip(&given.outputs).filter(|(one, other)| one != other).count()
    }
}

/// A contradiction between given roles and the data.
#[derive(Clone, Debug, PartialEq)]
pub struct PortOrderFinding {
    /// The given input.
    pub input: Port,
    /// Mean power from the input to each other port near the middle of the sweep, dB.
    pub levels_db: Vec<(Port, f64)>,
    /// Phase of the second output minus that of the first, degrees.
    pub difference_deg: f64,
    /// Whether an output has so little signal that every figure of the splitter is meaningless.
    pub is_meaningless: bool,
    /// The roles that agree with the data, if there are any.
    pub likely: Option<PortRoles>,
}

impl PortOrderFinding {
    /// A sentence for the user, with the user's names of the ports.
    #[must_use]
    pub fn text(&self, name: impl Fn(Port) -> String) -> String {
        let levels: Vec<String> = self
            .levels_db
            .iter()
            .map(|(port, level_db)| format!("{level_db:.1} dB at {}", name(*port)))
            .collect();
        let found = format!(
            "driven at {}, the data have {}; the outputs differ by {:.0} deg",
            name(self.input),
            levels.join(", "),
            self.difference_deg
        );
        match &self.likely {
            Some(likely) => {
                let [a, b] = likely.outputs.map(&name);
                let isolated = likely.isolated.map(|port| format!(", isolated {}", name(port)));
                format!(
                    "{found}; they fit input {}, outputs {a} and {b}{}: check the order of the ports",
                    name(likely.input),
                    // A three-port has no isolated port.
                    isolated.unwrap_or_default()
                )
            }
            None => format!("{found}, which is not this kind of splitter"),
        }
    }
}

/// A pair farther from its ideal than this (2.2 dB or 14 deg) is compared with other roles.
const DOUBTFUL_DISTANCE: f64 = 0.25;

/// The contradiction between the roles of a splitter with three or four ports and its data; `None`
/// if there is none.
///
/// Levels and phases are taken near the middle of the sweep. Exchanged outputs are not found: they
/// only
/// change the sign of the phase difference alone.
///
/// # Examples
/// ```
/// use fourphase::component::{IdealSplit, ideal_quadrature_hybrid};
/// use fourphase::network::{FrequencyGrid, Port};
/// use fourphase::splitter::{PortRoles, SplitterKind, port_order_finding};
///
/// let grid = FrequencyGrid::linear(27e9, 31e9, 5)?;
/// let hybrid = ideal_quadrature_hybrid(&grid, &IdealSplit::default())?;
/// let [input, through, coupled, isolated] = [0, 1, 2, 3].map(Port::from_index);
/// let right = PortRoles { input, outputs: [through, coupled], isolated: Some(isolated) };
/// let kind = Some(SplitterKind::Quadrature);
/// assert_eq!(port_order_finding(&hybrid, kind, &right), None);
/// let wrong = PortRoles { input, outputs: [through, isolated], isolated: Some(coupled) };
/// assert_eq!(port_order_finding(&hybrid, kind, &wrong).unwrap().likely, Some(right));
/// # Ok::<(), Box<dyn std::error::Error>>(())
/// ```
#[must_use]
pub fn port_order_finding(
    scattering: &Network,
    kind: Option<SplitterKind>,
    given: &PortRoles,
) -> Option<PortOrderFinding> {
    let ports = scattering.ports();
    if !(3..=4).contains(&ports) || (ports == 4) != given.isolated.is_some() {
        return None;
    }
    let view = View::near_the_middle(scattering);
    let own = Fit::of(&view, kind, given);
    if own.is_split && own.distance <= DOUBTFUL_DISTANCE {
        return None;
    }
    let others: Vec<(PortRoles, Fit)> = all_roles(ports)
        .map(|roles| (roles, Fit::of(&view, kind, &roles)))
        .filter(|(_, fit)| fit.is_split && fit.phase_error_deg.abs() <= WIDEST_PHASE_DEG)
        .filter(|(_, fit)| !own.is_split || 2.0 * fit.distance < own.distance)
        .collect();
    let nearest = others.iter().map(|(_, fit)| fit.distance).fold(f64::INFINITY, f64::min);
    let likely = others
        .iter()
        .filter(|(_, fit)| fit.distance <= nearest + 0.2 * DOUBTFUL_DISTANCE)
        .map(|(roles, _)| *roles)
        .min_by_key(|roles| roles.moved_from(given));
    // A poor splitter with correct roles is not a contradiction.
    if likely.is_none() && own.is_split && own.phase_error_deg.abs() <= WIDEST_PHASE_DEG {
        return None;
    }
    let levels_db = (0..ports)
        .map(Port::from_index)
        .filter(|port| *port != given.input)
        .map(|port| (port, view.level_db(port, given.input)))
        .collect();
    Some(PortOrderFinding {
        input: given.input,
        levels_db,
        difference_deg: own.difference_deg,
        is_meaningless: !own.is_split,
        likely,
    })
}

/// Every choice of roles of a three- or four-port, each pair of outputs in both orders.
fn all_roles(ports: usize) -> impl Iterator<Item = PortRoles> {
    let every = move || (0..ports).map(Port::from_index);
    every().flat_map(move |input| {
        every().flat_map(move |a| {
            let others = every().filter(move |b| ![input, a].contains(b));
            others.filter(move |_| a != input).map(move |b| {
                let isolated = every().find(|port| ![input, a, b].contains(port));
                PortRoles { input, outputs: [a, b], isolated }
            })
        })
    })
}

/// The agreement of the data with roles.
struct Fit {
    /// Whether both outputs have about equal levels, above that of the isolated port.
    is_split: bool,
    /// |ln| of the ratio of the outputs divided by its ideal.
    distance: f64,
    difference_deg: f64,
    phase_error_deg: f64,
}

impl Fit {
    fn of(view: &View<'_>, kind: Option<SplitterKind>, roles: &PortRoles) -> Self {
        let ratio = view.ratio(roles.input, roles.outputs);
        let difference_deg = wrap_deg(ratio.arg().to_degrees());
        let error_deg =
            |kind: SplitterKind| wrap_deg(difference_deg - kind.nominal_deg(difference_deg));
        let kinds =
            SplitterKind::ALL.into_iter().filter(|own| kind.is_none_or(|kind| kind == *own));
        let phase_error_deg = kinds
            .map(error_deg)
            .min_by(|one, other| one.abs().total_cmp(&other.abs()))
            // The list of kinds is not empty.
            .unwrap_or(difference_deg);
        Self {
            is_split: view.is_split(roles.input, roles.outputs, roles.isolated),
            distance: Complex64::new(ratio.norm().ln(), phase_error_deg.to_radians()).norm(),
            difference_deg,
            phase_error_deg,
        }
    }
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use super::*;
    use crate::component::{IdealSplit, ideal_balun, ideal_divider};
    use crate::network::FrequencyGrid;

    fn roles(input: usize, outputs: [usize; 2]) -> PortRoles {
        let port = |number| Port::from_number(number).unwrap();
        PortRoles { input: port(input), outputs: outputs.map(port), isolated: None }
    }

    #[test]
    fn a_part_fed_at_an_output_is_told_with_its_input() {
        let grid = FrequencyGrid::linear(27e9, 31e9, 5).unwrap();
        let split = IdealSplit { imbalance_db: 0.4, loss_db: 0.6, ..IdealSplit::default() };
        for (part, kind) in [
            (ideal_balun(&grid, &split).unwrap(), SplitterKind::Antiphase),
            (ideal_divider(&grid, &split).unwrap(), SplitterKind::Inphase),
        ] {
            assert_eq!(port_order_finding(&part, Some(kind), &roles(1, [2, 3])), None);
            let found = port_order_finding(&part, Some(kind), &roles(2, [1, 3])).unwrap();
            assert_eq!(found.likely.unwrap().input, Port::from_number(1).unwrap());
            assert!(found.text(|port| format!("p{port}")).contains("they fit input p1"));
        }
    }

    #[test]
    fn another_kind_is_told_without_an_order() {
        let grid = FrequencyGrid::linear(27e9, 31e9, 5).unwrap();
        let part = ideal_divider(&grid, &IdealSplit::default()).unwrap();
        let kind = Some(SplitterKind::Antiphase);
        let found = port_order_finding(&part, kind, &roles(1, [2, 3])).unwrap();
        assert!(found.likely.is_none() && !found.is_meaningless);
        assert!(found.text(|port| port.to_string()).ends_with("is not this kind of splitter"));
    }

    #[test]
    fn a_poor_splitter_in_its_right_order_is_not_doubted() {
        let grid = FrequencyGrid::linear(27e9, 31e9, 5).unwrap();
        let split =
            IdealSplit { imbalance_db: 3.0, phase_error_deg: 20.0, ..IdealSplit::default() };
        let part = ideal_divider(&grid, &split).unwrap();
        let kind = Some(SplitterKind::Inphase);
        assert_eq!(port_order_finding(&part, kind, &roles(1, [2, 3])), None);
    }
}
