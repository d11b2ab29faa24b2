//! The solution of a receiver with deviating parts: with all errors drawn at random, or one at a
//! time.

use super::deviating_network::deviating;
use super::error::MeasurementError;
use super::uncertainty_source::{Deviates, Errors, Source};
use crate::downconverter::{
    NetworkPlace, OnGrids, Receiver, ReceiverError, ReceiverGrid, ReceiverPath, UsedNetwork,
    Variation, Varied,
};
use crate::network::{Network, onto_grid};
use rand_chacha::ChaCha8Rng;
use std::borrow::Cow;

/// A part, or all parts described by one file, with shared errors.
#[derive(Clone, Debug)]
pub struct UncertainPart {
    /// Name of the block or the file.
    pub name: String,
    /// The places at which its network is used.
    pub places: Vec<NetworkPlace>,
    /// Its sources of uncertainty.
    pub sources: Vec<PartSource>,
}

/// A source of uncertainty of a part, at the frequencies of both paths and at the IFs.
#[derive(Clone, Debug)]
pub struct PartSource {
    name: String,
    on_grids: OnGrids<Option<Source>>,
    /// Parts that have a source of one number have its errors in common.
    shared: Option<usize>,
}

impl PartSource {
    /// The same source at the frequencies of the LO path, of the RF path and at the IFs; `None` where
    /// the part is not there.
    ///
    /// # Errors
    /// [`MeasurementError::PathsDiffer`] for sources that are not of one kind.
    pub fn new(
        name: impl Into<String>,
        on_grids: OnGrids<Option<Source>>,
    ) -> Result<Self, MeasurementError> {
        let name = name.into();
        let differ = {
            let mut present = on_grids.iter().flatten();
            let first = present.next();
            first.is_some_and(|first| present.any(|other| !first.is_like(other)))
        };
        if differ {
            return Err(MeasurementError::PathsDiffer { name });
        }
        Ok(Self { name, on_grids, shared: None })
    }

    /// Shares the errors among all parts whose sources have this number, for example those of a
    /// calibration. Errors of Sij, or of a port, are then equal for equal ports.
    ///
    /// # Errors
    /// [`MeasurementError::NotShareable`] for repeats and covariances.
    pub fn shared(self, number: usize) -> Result<Self, MeasurementError> {
        if self.on_grids.iter().flatten().all(Source::can_be_shared) {
            Ok(Self { shared: Some(number), ..self })
        } else {
            Err(MeasurementError::NotShareable { name: self.name })
        }
    }

    /// The source on either path.
    fn any(&self) -> Option<&Source> {
        self.on_grids.iter().flatten().next()
    }

    /// The name of the source.
    #[must_use]
    pub fn name(&self) -> &str {
        &self.name
    }

    /// Whether the part is on a path or behind the mixers.
    #[must_use]
    pub fn is_used(&self) -> bool {
        self.on_grids.iter().any(Option::is_some)
    }
}

/// The probability for which errors of repeated measurements are widened: the upper end of a
/// coverage interval of 95 %.
const UPPER_PROBABILITY: f64 = 0.975;

/// Networks of all parts where they are used; `None` for a part's own network.
pub(super) type Networks = Vec<OnGrids<Option<Network>>>;

/// Deviates of a source that several parts share, in one trial.
struct SharedDeviates<'s> {
    number: usize,
    grid: ReceiverGrid,
    /// That of the part with the most ports.
    source: &'s Source,
    deviates: Deviates,
}

/// One independent error of one source of one part.
#[derive(Clone, Copy)]
pub(super) struct Component {
    pub(super) part: usize,
    pub(super) source: usize,
    number: usize,
    /// Whether the error is independent at each frequency.
    pub(super) is_independent: bool,
    /// The factor for decisions, see [`Source::widening`].
    pub(super) widening: f64,
}

/// A receiver prepared for solutions with deviating parts.
pub(super) struct UncertainReceiver<'a> {
    pub(super) parts: &'a [UncertainPart],
    pub(super) variation: Variation,
    /// The places whose networks change, each with the part in it.
    pub(super) places: Vec<(NetworkPlace, usize)>,
    /// Each part's own scattering network where it is used.
    nominal: Vec<OnGrids<Option<UsedNetwork>>>,
}

impl<'a> UncertainReceiver<'a> {
    pub(super) fn new(
        receiver: &Receiver,
        parts: &'a [UncertainPart],
    ) -> Result<Self, MeasurementError> {
        let mut places = Vec::new();
        let mut nominal = Vec::new();
        for (at, part) in parts.iter().enumerate() {
            let mut own = OnGrids::default();
            for grid in ReceiverGrid::ALL {
                let mut places = part.places.iter();
                let used = places.find_map(|&place| receiver.used_network(place, grid).transpose());
                if let Some(used) = used.transpose()? {
                    let sources = part.sources.iter();
                    for source in sources.filter_map(|one| one.on_grids.get(grid).as_ref()) {
                        source.check_network(used.network())?;
                    }
                    *own.get_mut(grid) = Some(used);
                }
            }
            nominal.push(own);
            places.extend(part.places.iter().map(|&place| (place, at)));
        }
        let changing: Vec<NetworkPlace> = places.iter().map(|(place, _)| *place).collect();
        // Of switched mixers only differences are needed.
        let variation = Variation::new(receiver.clone(), &changing)?.for_comparisons();
        Ok(Self { parts, variation, places, nominal })
    }

    /// Solves the receiver with these networks.
    pub(super) fn solve(&self, networks: &Networks) -> Result<Varied, ReceiverError> {
        let varied = self.variation.solve(|place, path| self.network(networks, place, path))?;
        Ok(self.with_if_networks(varied, networks))
    }

    /// The same from a solution `own` with the nominal networks: paths of which no network is given are
    /// not solved again.
    pub(super) fn solve_from(
        &self,
        own: &Varied,
        networks: &Networks,
    ) -> Result<Varied, ReceiverError> {
        let is_changed =
            |path| networks.iter().any(|networks| networks.get(ReceiverGrid::Path(path)).is_some());
        let network = |place, path| self.network(networks, place, path);
        let varied = self.variation.solve_from(own, is_changed, network)?;
        Ok(self.with_if_networks(varied, networks))
    }

    /// The network in a place: the given one, or the part's own.
    fn network<'n>(
        &'n self,
        networks: &'n Networks,
        place: usize,
        path: ReceiverPath,
    ) -> Result<Cow<'n, Network>, ReceiverError> {
        let (part, grid) = (self.places[place].1, ReceiverGrid::Path(path));
        let network = networks[part].get(grid).as_ref().or(self.nominal(part, grid));
        let missing = || ReceiverError::NoNetwork { what: self.parts[part].name.clone(), path };
        network.map(Cow::Borrowed).ok_or_else(missing)
    }

    fn with_if_networks(&self, varied: Varied, networks: &Networks) -> Varied {
        let at_if = self.places.iter().filter_map(|&(place, part)| {
            Some((place, networks[part].get(ReceiverGrid::If).as_ref()?))
        });
        self.variation.with_if_networks(varied, &at_if.collect::<Vec<_>>())
    }

    /// A part's own network where it is used.
    fn nominal(&self, part: usize, grid: ReceiverGrid) -> Option<&Network> {
        self.nominal[part].get(grid).as_ref().map(UsedNetwork::network)
    }

    /// Puts a network of a part with errors in a place of another receiver of the same kind.
    pub(super) fn put(
        &self,
        receiver: &mut Receiver,
        (place, part): (NetworkPlace, usize),
        grid: ReceiverGrid,
        network: &Network,
    ) -> Result<(), ReceiverError> {
        let used = (self.nominal[part].get(grid).as_ref(), receiver.network_on(place, grid));
        let (Some(nominal), Some(there)) = used else { return Ok(()) };
        let is_at_sidebands =
            receiver.switching().is_some() && grid == ReceiverGrid::Path(ReceiverPath::Rf);
        if is_at_sidebands {
            let moved = nominal.with_marked(&vec![true; network.grid().len()], network)?;
            return receiver.set_used_network(place, grid, &moved);
        }
        let there = onto_grid(network, there.grid())?.network;
        receiver.set_network_on(place, grid, there)
    }

    /// The nominal network of every part.
    pub(super) fn unchanged(&self) -> Networks {
        self.parts.iter().map(|_| OnGrids::default()).collect()
    }

    /// The network of one part with its errors.
    fn with_errors(
        &self,
        part: usize,
        grid: ReceiverGrid,
        errors: &Errors,
    ) -> Result<Option<Network>, ReceiverError> {
        let Some(own) = self.nominal(part, grid) else { return Ok(None) };
        Ok(Some(deviating(own, errors)?))
    }

    /// Networks of one trial.
    pub(super) fn drawn(&self, random: &mut ChaCha8Rng) -> Result<Networks, ReceiverError> {
        let mut errors = OnGrids::<Errors>::default();
        let mut networks = Vec::with_capacity(self.parts.len());
        let mut drawn = Vec::new();
        for (at, part) in self.parts.iter().enumerate() {
            for grid in ReceiverGrid::ALL {
                // A part that is not on a grid has no entries there.
                let entries = self.nominal(at, grid).map_or(0, |own| own.entries().len());
                errors.get_mut(grid).clear(entries);
            }
            for part_source in &part.sources {
                let mut common: Option<Deviates> = None;
                for grid in ReceiverGrid::ALL {
                    let (Some(source), Some(own)) =
                        (part_source.on_grids.get(grid), self.nominal(at, grid))
                    else {
                        continue;
                    };
                    let deviates = match common.take().filter(|_| !source.is_independent()) {
                        Some(common) => common,
                        None => {
                            self.drawn_once(part_source.shared, grid, source, &mut drawn, random)
                        }
                    };
                    source.add(own.entries(), &deviates, errors.get_mut(grid));
                    common = Some(deviates);
                }
            }
            networks
                .push(OnGrids::try_of_each(|grid| self.with_errors(at, grid, errors.get(grid)))?);
        }
        Ok(networks)
    }

    /// The deviates of a source: those drawn for another part that shares it, or new ones.
    fn drawn_once<'s>(
        &'s self,
        shared: Option<usize>,
        grid: ReceiverGrid,
        source: &Source,
        drawn: &mut Vec<SharedDeviates<'s>>,
        random: &mut ChaCha8Rng,
    ) -> Deviates {
        let Some(number) = shared else { return source.draw(random) };
        // What is correlated over frequency is the same everywhere.
        let is_it = |own: &&SharedDeviates<'_>| {
            own.number == number && (own.grid == grid || !source.is_independent())
        };
        if let Some(own) = drawn.iter().find(is_it) {
            return source.shared(&own.deviates, own.source);
        }
        // The part with the most ports has all errors.
        let largest = self
            .sharing(number)
            .filter_map(|(_, own)| own.on_grids.get(grid).as_ref())
            .max_by_key(|own| own.ports());
        let Some(largest) = largest else { return source.draw(random) };
        let deviates = largest.draw(random);
        let own = source.shared(&deviates, largest);
        drawn.push(SharedDeviates { number, grid, source: largest, deviates });
        own
    }

    /// The parts that have a shared source, with their places.
    fn sharing(&self, number: usize) -> impl Iterator<Item = (usize, &PartSource)> {
        let all = self.parts.iter().enumerate();
        all.flat_map(move |(at, part)| {
            let own = part.sources.iter().filter(move |source| source.shared == Some(number));
            own.map(move |source| (at, source))
        })
    }

    /// Where the errors of a component are: of its part, and of those that share it.
    pub(super) fn grids_of(&self, component: Component) -> Vec<ReceiverGrid> {
        let own = &self.parts[component.part].sources[component.source];
        let is_there = |grid: &ReceiverGrid| match own.shared {
            None => own.on_grids.get(*grid).is_some(),
            Some(number) => self.sharing(number).any(|(_, own)| own.on_grids.get(*grid).is_some()),
        };
        ReceiverGrid::ALL.into_iter().filter(is_there).collect()
    }

    /// The parts that an error moves: one, or all that share it, of which the first has the most ports.
    pub(super) fn moved_parts(&self, component: Component) -> Vec<usize> {
        let source = &self.parts[component.part].sources[component.source];
        match source.shared {
            None => vec![component.part],
            Some(number) => self.sharing(number).map(|(at, _)| at).collect(),
        }
    }

    /// Whether this part represents all that share a source.
    fn stands_for_all(&self, part: usize, source: &PartSource) -> bool {
        let Some(number) = source.shared else { return true };
        let ports = |own: &PartSource| own.any().map_or(0, Source::ports);
        let first = self.sharing(number).map(|(at, own)| (std::cmp::Reverse(ports(own)), at)).min();
        first.is_some_and(|(_, at)| at == part)
    }

    /// The part of a contribution, or all that share its source.
    pub(super) fn names_of(&self, part: usize, source: &PartSource) -> Option<String> {
        let name = |at: usize| self.parts[at].name.as_str();
        match source.shared {
            None => Some(name(part).to_owned()),
            Some(number) if self.stands_for_all(part, source) => {
                let names: Vec<&str> = self.sharing(number).map(|(at, _)| name(at)).collect();
                Some(names.join(" and "))
            }
            Some(_) => None,
        }
    }

    /// Every error that has an effect.
    pub(super) fn components(&self) -> Vec<Component> {
        let mut all = Vec::new();
        for (at, part) in self.parts.iter().enumerate() {
            for (number, source) in part.sources.iter().enumerate() {
                let Some(any) = source.any() else { continue };
                if !self.stands_for_all(at, source) {
                    continue;
                }
                let acting = (0..any.components()).filter(|&component| {
                    let mut sources = source.on_grids.iter().flatten();
                    sources.any(|source| source.has_effect(component))
                });
                all.extend(acting.map(|component| Component {
                    part: at,
                    source: number,
                    number: component,
                    is_independent: any.is_independent(),
                    widening: any.widening(UPPER_PROBABILITY),
                }));
            }
        }
        all
    }

    /// Networks with one error of `size` standard deviations, at every frequency.
    pub(super) fn moved(&self, component: Component, size: f64) -> Result<Networks, ReceiverError> {
        let mut networks = self.unchanged();
        let own = &self.parts[component.part].sources[component.source];
        let Some(first) = own.any() else { return Ok(networks) };
        let deviates = first.only(component.number, size);
        let moved: Vec<(usize, &PartSource)> = match own.shared {
            None => vec![(component.part, own)],
            Some(number) => self.sharing(number).collect(),
        };
        for (part, source) in moved {
            networks[part] = OnGrids::try_of_each(|grid| {
                let own = self.nominal(part, grid);
                let (Some(source), Some(own)) = (source.on_grids.get(grid), own) else {
                    return Ok::<_, ReceiverError>(None);
                };
                let mut errors = Errors::default();
                errors.clear(own.entries().len());
                source.add(own.entries(), &source.shared(&deviates, first), &mut errors);
                self.with_errors(part, grid, &errors)
            })?;
        }
        Ok(networks)
    }
}
