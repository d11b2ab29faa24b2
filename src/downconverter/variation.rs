//! One receiver solved many times with other networks at some of its places; the constant parts are
//! prepared once.

use super::drive::{LoPoint, conductances_with, lo_points};
use super::error::{ReceiverError, Result};
use super::iq_balance::{Combination, PlanPoint};
use super::joined_path::{JoinedPath, Terminations};
use super::lo_if_plan::LoIfPoint;
use super::part_model::relabelled;
use super::receiver::{NetworkPlace, Place, Receiver};
use super::signal_path::{LoRf, ReceiverGrid, ReceiverPath};
use super::solution::{
    Evaluation, Solved, SolvedPath, Voltages, check_channels, iq_outputs, outputs_at, points_of,
};
use super::switched_figures::ConversionLoss;
use super::switched_result::{OutputsAndLevels, SwitchedLevels, outputs_with_levels};
use crate::network::{FrequencyGrid, Load, Network, WaveDefinition, change_reference};
use crate::requirement::{Location, Quantity, UndefinedFigure};
use num_complex::Complex64;
use std::borrow::Cow;

/// A receiver in which some networks change.
#[derive(Clone, Debug)]
pub(crate) struct Variation {
    receiver: Receiver,
    paths: LoRf<VariedPath>,
    /// The combination of I and Q, chosen once with the receiver's own networks, so that networks
    /// with phases of the wrong sign are not accepted as good.
    chosen: usize,
}

/// One prepared path.
#[derive(Clone, Debug)]
enum VariedPath {
    /// No network on it changes.
    Fixed(PathSolution),
    /// Some networks on it change.
    Changing(Box<ChangingPath>),
}

/// A path solved with certain networks.
#[derive(Clone, Debug)]
struct PathSolution {
    voltages: Vec<Complex64>,
    /// The conductances of the loads at each mixer's LO port, if the LO power is limited.
    conductances: Option<Vec<Option<f64>>>,
}

#[derive(Clone, Debug)]
struct ChangingPath {
    path: JoinedPath,
    terminations: Terminations,
    /// The changing places of this path.
    slots: Vec<Slot>,
    /// The joined parts, if only loads change.
    reduced: Option<Network>,
}

/// A changing place on a path.
#[derive(Clone, Copy, Debug)]
struct Slot {
    /// Its index among the changing places.
    changing: usize,
    at: SlotPlace,
}

#[derive(Clone, Copy, Debug)]
enum SlotPlace {
    Block(usize),
    Termination(usize),
}

/// A receiver solved with certain networks.
#[derive(Clone, Debug)]
pub(crate) struct Varied {
    paths: LoRf<PathSolution>,
    /// What I and Q are multiplied by at each IF, where it is not the receiver's own.
    transfers: Option<Vec<Combination>>,
}

/// The minimum LO power at any mixer.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct MinLoPower {
    /// The power, dBm.
    pub power_dbm: f64,
    /// LO at the mixers, Hz.
    pub lo_hz: f64,
}

/// The levels of switched mixers over a plan.
#[derive(Clone, Debug, PartialEq)]
pub struct PlanLevels {
    /// The conversion loss at each point.
    pub losses: Vec<ConversionLoss>,
    /// The worst levels.
    pub worst: SwitchedLevels,
}

impl Variation {
    /// Prepares a receiver for other networks at these places. The parts that do not change are
    /// joined into one block in advance.
    pub(crate) fn new(receiver: Receiver, places: &[NetworkPlace]) -> Result<Self> {
        for place in places {
            let what = receiver.place_name(*place)?;
            if matches!(place.0, Place::Part(part) if receiver.stage(part).is_some()) {
                return Err(ReceiverError::StageData { what });
            }
        }
        let Solved { paths: LoRf { lo, rf }, chosen, .. } = Solved::new(&receiver)?;
        let paths = LoRf {
            lo: VariedPath::new(&receiver, lo, places)?,
            rf: VariedPath::new(&receiver, rf, places)?,
        };
        Ok(Self { receiver, paths, chosen })
    }

    /// The receiver with its own networks.
    pub(crate) fn receiver(&self) -> &Receiver {
        &self.receiver
    }

    /// The combination of I and Q, the same for all networks.
    pub(crate) fn combination(&self) -> &str {
        &self.receiver.output().choices[self.chosen].name
    }

    /// The receiver at one point of its plan only, with the same combination of I and Q.
    pub(crate) fn at_point(&self, point: usize) -> Result<Receiver> {
        Ok(self.receiver.at(point, self.chosen)?)
    }

    /// The frequencies of the sidebands, at which the RF path of switched mixers is solved; `None` for
    /// multipliers.
    pub(crate) fn sideband_grid(&self) -> Option<&FrequencyGrid> {
        self.receiver.sideband_store().map(|store| &store.grid)
    }

    /// Solves with the networks that `network` returns for a changing place, by its index, at the
    /// frequencies of a path: of the RF path of switched mixers at those of all sidebands.
    pub(crate) fn solve<'n>(
        &self,
        network: impl Fn(usize, ReceiverPath) -> Result<Cow<'n, Network>>,
    ) -> Result<Varied> {
        let solved = LoRf::try_of_each(|path| self.solve_path(path, &network))?;
        Ok(Varied { paths: solved, transfers: None })
    }

    /// The same with only the paths for which `is_changed` holds; the others are as in `own`.
    pub(crate) fn solve_from<'n>(
        &self,
        own: &Varied,
        is_changed: impl Fn(ReceiverPath) -> bool,
        network: impl Fn(usize, ReceiverPath) -> Result<Cow<'n, Network>>,
    ) -> Result<Varied> {
        let solved = LoRf::try_of_each(|path| match is_changed(path) {
            true => self.solve_path(path, &network),
            false => Ok(own.paths.get(path).clone()),
        })?;
        Ok(Varied { paths: solved, transfers: None })
    }

    fn solve_path<'n>(
        &self,
        path: ReceiverPath,
        network: impl Fn(usize, ReceiverPath) -> Result<Cow<'n, Network>>,
    ) -> Result<PathSolution> {
        match self.paths.get(path) {
            VariedPath::Fixed(solution) => Ok(solution.clone()),
            VariedPath::Changing(changing) => {
                changing.solve(&self.receiver, |place| network(place, path))
            }
        }
    }

    /// The same with these networks of IF parts.
    pub(crate) fn with_if_networks(
        &self,
        varied: Varied,
        networks: &[(NetworkPlace, &Network)],
    ) -> Varied {
        if networks.is_empty() {
            return varied;
        }
        let output = self.receiver.output();
        let own = |part: usize| {
            let place = NetworkPlace(Place::IfPart(part));
            let given = networks.iter().find(|(other, _)| *other == place);
            given.map_or(&output.parts[part].network, |(_, network)| network)
        };
        let transfers = output.transfers(&output.choices[self.chosen], own);
        Varied { transfers: Some(transfers), ..varied }
    }

    /// Rejection and errors over the plan.
    pub(crate) fn points(&self, varied: &Varied) -> Result<Vec<PlanPoint>> {
        self.points_of_each(|_| varied)
    }

    /// The same with the LO path, the RF path and the IF parts of a solution each.
    pub(crate) fn points_of_each<'v>(
        &self,
        of: impl Fn(ReceiverGrid) -> &'v Varied,
    ) -> Result<Vec<PlanPoint>> {
        let on = |path: ReceiverPath| &of(ReceiverGrid::Path(path)).paths.get(path).voltages;
        let voltages = Voltages { lo: on(ReceiverPath::Lo), rf: on(ReceiverPath::Rf) };
        let real = Evaluation::real(&self.receiver, self.chosen);
        let evaluation = match &of(ReceiverGrid::If).transfers {
            Some(transfers) => Evaluation { transfers, ..real },
            None => real,
        };
        self.points_with(voltages, &evaluation)
    }

    /// Rejection and errors from voltages at the mixers.
    pub(super) fn points_of_voltages(&self, voltages: Voltages<'_>) -> Result<Vec<PlanPoint>> {
        self.points_with(voltages, &Evaluation::real(&self.receiver, self.chosen))
    }

    fn points_with(
        &self,
        voltages: Voltages<'_>,
        evaluation: &Evaluation<'_>,
    ) -> Result<Vec<PlanPoint>> {
        let outputs = iq_outputs(&self.receiver, voltages, true)?;
        check_channels(&self.receiver, &outputs)?;
        points_of(&self.receiver, &outputs, evaluation)
    }

    /// The same with the sidebands of comparisons between many cases.
    pub(crate) fn for_comparisons(self) -> Self {
        Self { receiver: self.receiver.for_comparisons(), ..self }
    }

    /// Rejection and errors over the plan, as [`points_of_each`](Self::points_of_each), with the
    /// levels of switched mixers; `None` for multipliers.
    pub(crate) fn points_and_levels_of_each<'v>(
        &self,
        of: impl Fn(ReceiverGrid) -> &'v Varied,
    ) -> Result<(Vec<PlanPoint>, Option<PlanLevels>)> {
        if self.receiver.switching().is_none() {
            return Ok((self.points_of_each(of)?, None));
        }
        let on = |path: ReceiverPath| &of(ReceiverGrid::Path(path)).paths.get(path).voltages;
        let voltages = Voltages { lo: on(ReceiverPath::Lo), rf: on(ReceiverPath::Rf) };
        let real = Evaluation::real(&self.receiver, self.chosen);
        let transfers = of(ReceiverGrid::If).transfers.as_deref().unwrap_or(real.transfers);
        let OutputsAndLevels { outputs, losses, worst } =
            outputs_with_levels(&self.receiver, voltages, transfers)?;
        check_channels(&self.receiver, &outputs)?;
        let evaluation = Evaluation { transfers, ..real };
        let points = points_of(&self.receiver, &outputs, &evaluation)?;
        Ok((points, Some(PlanLevels { losses, worst })))
    }

    /// Rejection and errors at one point of the plan.
    pub(crate) fn point(&self, varied: &Varied, at: usize) -> Result<PlanPoint> {
        let LoRf { lo, rf } = &varied.paths;
        let voltages = Voltages { lo: &lo.voltages, rf: &rf.voltages };
        let real = Evaluation::real(&self.receiver, self.chosen);
        let transfers = varied.transfers.as_deref().unwrap_or(real.transfers);
        let outputs = outputs_at(&self.receiver, voltages, at)?;
        let evaluation = Evaluation { transfers, ..real };
        let balance = evaluation.balance(&self.receiver, at, &outputs);
        let LoIfPoint { lo_hz, if_hz, .. } = self.receiver.plan().points()[at];
        let unknown = ReceiverError::NoBalance { lo_hz, if_hz };
        if balance.is_known() { Ok(PlanPoint { lo_hz, if_hz, balance }) } else { Err(unknown) }
    }

    /// The minimum LO power at any mixer, where the receiver limits it.
    ///
    /// # Errors
    /// [`ReceiverError::Undefined`](super::ReceiverError::Undefined) where a mixer's LO power has no
    /// level.
    pub(crate) fn min_lo_power(&self, varied: &Varied) -> Result<Option<MinLoPower>> {
        let Some(conductances) = varied.paths.lo.conductances.as_ref() else { return Ok(None) };
        let voltages = Voltages { lo: &varied.paths.lo.voltages, rf: &varied.paths.rf.voltages };
        let mut found: Option<MinLoPower> = None;
        for LoPoint { lo_hz, mixers, .. } in lo_points(&self.receiver, voltages, conductances) {
            for (mixer, drive) in self.receiver.mixers().iter().zip(&mixers) {
                let Some(power) = drive.lo_power_dbm else { continue };
                let power_dbm = power.known().map_err(|reason| UndefinedFigure {
                    quantity: Quantity::LoPower,
                    location: Some(Location {
                        frequency_hz: lo_hz,
                        if_hz: None,
                        mixer: Some(mixer.name.clone()),
                    }),
                    reason,
                })?;
                if found.is_none_or(|least| power_dbm < least.power_dbm) {
                    found = Some(MinLoPower { power_dbm, lo_hz });
                }
            }
        }
        Ok(found)
    }
}

/// Whether the LO power at the mixers is needed from a path.
fn gives_power(receiver: &Receiver, path: ReceiverPath) -> bool {
    path == ReceiverPath::Lo && receiver.limits().on(Quantity::LoPower).is_some()
}

impl VariedPath {
    /// From the path with the receiver's own networks.
    fn new(receiver: &Receiver, own: SolvedPath, places: &[NetworkPlace]) -> Result<Self> {
        let SolvedPath { path, reduced, terminations, voltages } = own;
        let gives_power = gives_power(receiver, path.path());
        let changing: Vec<usize> = places
            .iter()
            .filter_map(|place| match place.0 {
                Place::Part(part) => path.part(part).map(|own| own.part),
                Place::Load(_) | Place::IfPart(_) => None,
            })
            .collect();
        // The power at a mixer needs the blocks connected to it separately.
        let path = if changing.is_empty() || gives_power {
            path
        } else {
            path.gathered(receiver, &changing)?
        };
        let slot = |(changing, place): (usize, &NetworkPlace)| {
            let at = match place.0 {
                Place::Part(part) => SlotPlace::Block(path.part(part)?.block),
                Place::Load(load) => SlotPlace::Termination(path.load_port(load)?),
                Place::IfPart(_) => return None,
            };
            Some(Slot { changing, at })
        };
        let slots: Vec<Slot> = places.iter().enumerate().filter_map(slot).collect();
        if slots.is_empty() {
            let conductances = gives_power
                .then(|| conductances_with(receiver, &path, &path.blocks, &reduced, &terminations))
                .transpose()?;
            return Ok(Self::Fixed(PathSolution { voltages, conductances }));
        }
        let reduced = changing.is_empty().then_some(reduced);
        Ok(Self::Changing(Box::new(ChangingPath { path, terminations, slots, reduced })))
    }
}

impl ChangingPath {
    fn solve<'n>(
        &self,
        receiver: &Receiver,
        network: impl Fn(usize) -> Result<Cow<'n, Network>>,
    ) -> Result<PathSolution> {
        let mut terminations = self.terminations.clone();
        let mut blocks = Cow::Borrowed(&self.path.blocks);
        for slot in &self.slots {
            let network = network(slot.changing)?;
            match slot.at {
                SlotPlace::Termination(end) => {
                    let network = relabelled(network.into_owned(), self.path.grid())?;
                    terminations[end] = Load::OnePort(network);
                }
                SlotPlace::Block(block) => {
                    let references = self.path.blocks[block].references_ohm(0).to_vec();
                    let own = change_reference(&network, references, WaveDefinition::Kurokawa)?;
                    blocks.to_mut()[block] = relabelled(own, self.path.grid())?;
                }
            }
        }
        let reduced = match &self.reduced {
            Some(reduced) => Cow::Borrowed(reduced),
            None => Cow::Owned(self.path.reduce(receiver, &blocks)?),
        };
        let voltages = self.path.voltages(receiver, &reduced, &terminations)?;
        let conductances = gives_power(receiver, self.path.path())
            .then(|| conductances_with(receiver, &self.path, &blocks, &reduced, &terminations))
            .transpose()?;
        Ok(PathSolution { voltages, conductances })
    }
}
