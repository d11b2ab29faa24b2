//! A receiver solved with parts that deviate: with all errors drawn at random, or with one at a time.

use super::deviating_network::deviating;
use super::error::MeasurementError;
use super::uncertainty_source::{Deviates, Errors, Source};
use crate::downconverter::{
    LoRf, NetworkPlace, PlanPoint, Receiver, ReceiverError, ReceiverPath, Variation, Varied,
};
use crate::network::{Network, ParameterKind, convert};
use rand_chacha::ChaCha8Rng;
use std::borrow::Cow;

/// A part, or everything that one file describes, with errors that its places share.
#[derive(Clone, Debug)]
pub struct UncertainPart {
    /// A block's name, or a file's.
    pub name: String,
    /// Where its network is used.
    pub places: Vec<NetworkPlace>,
    /// Its sources of uncertainty.
    pub sources: Vec<PartSource>,
}

/// A source of uncertainty of a part, at the frequencies of both paths.
#[derive(Clone, Debug)]
pub struct PartSource {
    name: String,
    on_paths: LoRf<Option<Source>>,
    /// Parts that have a source of one number have its errors in common.
    shared: Option<usize>,
}

impl PartSource {
    /// The same source at the frequencies of the LO path and of the RF path; `None` where the part is
    /// not on that path.
    ///
    /// # Errors
    /// [`MeasurementError::PathsDiffer`] for sources that are not of one kind.
    pub fn new(
        name: impl Into<String>,
        on_paths: LoRf<Option<Source>>,
    ) -> Result<Self, MeasurementError> {
        let name = name.into();
        if let LoRf { lo: Some(lo), rf: Some(rf) } = &on_paths
            && !lo.is_like(rf)
        {
            return Err(MeasurementError::PathsDiffer { name });
        }
        Ok(Self { name, on_paths, shared: None })
    }

    /// With errors that all parts have in common whose sources are shared under this number: a
    /// calibration, for example. Errors of Sij, or of a port, are then the same for the same ports.
    ///
    /// # Errors
    /// [`MeasurementError::NotShareable`] for repeats and covariances.
    pub fn shared(self, number: usize) -> Result<Self, MeasurementError> {
        if self.on_paths.iter().flatten().all(Source::can_be_shared) {
            Ok(Self { shared: Some(number), ..self })
        } else {
            Err(MeasurementError::NotShareable { name: self.name })
        }
    }

    /// The source on either path.
    fn any(&self) -> Option<&Source> {
        self.on_paths.iter().flatten().next()
    }

    /// Its name.
    #[must_use]
    pub fn name(&self) -> &str {
        &self.name
    }

    /// Whether the part is on a path.
    #[must_use]
    pub fn is_on_a_path(&self) -> bool {
        self.on_paths.iter().any(Option::is_some)
    }
}

/// For which errors of repeated measurements are widened: the upper end of a coverage interval of 95 %.
const UPPER_PROBABILITY: f64 = 0.975;

/// Networks of all parts, on either path; `None` for a part's own network.
pub(super) type Networks = Vec<LoRf<Option<Network>>>;

/// Deviates of a source that several parts share, in one trial.
struct SharedDeviates<'s> {
    number: usize,
    path: ReceiverPath,
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
    /// Whether each frequency has an error of its own.
    pub(super) is_independent: bool,
    /// By how much it counts more in decisions, see [`Source::widening`].
    pub(super) widening: f64,
}

/// A receiver ready to be solved with parts that deviate.
pub(super) struct UncertainReceiver<'a> {
    pub(super) parts: &'a [UncertainPart],
    pub(super) variation: Variation,
    /// The places whose networks change, each with the part in it.
    pub(super) places: Vec<(NetworkPlace, usize)>,
    /// Each part's own scattering network, on either path.
    nominal: Vec<LoRf<Option<Network>>>,
}

impl<'a> UncertainReceiver<'a> {
    pub(super) fn new(
        receiver: &Receiver,
        parts: &'a [UncertainPart],
    ) -> Result<Self, MeasurementError> {
        if receiver.switching().is_some() {
            return Err(MeasurementError::SwitchedMixers);
        }
        let mut places = Vec::new();
        let mut nominal = Vec::new();
        for (at, part) in parts.iter().enumerate() {
            let mut own = LoRf::default();
            for path in ReceiverPath::BOTH {
                let mut places = part.places.iter();
                let network = places.find_map(|&place| receiver.network_at(place, path));
                if let Some(network) = network {
                    let sources = part.sources.iter();
                    for source in sources.filter_map(|one| one.on_paths.get(path).as_ref()) {
                        source.check_network(network)?;
                    }
                    *own.get_mut(path) = Some(convert(network, ParameterKind::Scattering)?);
                }
            }
            nominal.push(own);
            places.extend(part.places.iter().map(|&place| (place, at)));
        }
        let changing: Vec<NetworkPlace> = places.iter().map(|(place, _)| *place).collect();
        let variation = Variation::new(receiver.clone(), &changing)?;
        Ok(Self { parts, variation, places, nominal })
    }

    /// The receiver solved with these networks.
    pub(super) fn solve(&self, networks: &Networks) -> Result<Varied, ReceiverError> {
        self.variation.solve(|place, path| {
            let part = self.places[place].1;
            let network = networks[part].get(path).as_ref();
            let network = network.or(self.nominal[part].get(path).as_ref());
            let missing = || ReceiverError::NoNetwork { what: self.parts[part].name.clone(), path };
            network.map(Cow::Borrowed).ok_or_else(missing)
        })
    }

    /// Every part's own network.
    pub(super) fn unchanged(&self) -> Networks {
        self.parts.iter().map(|_| LoRf::default()).collect()
    }

    /// The plan with the receiver's own networks.
    pub(super) fn nominal_points(&self) -> Result<Vec<PlanPoint>, ReceiverError> {
        self.variation.points(&self.solve(&self.unchanged())?)
    }

    /// One part's network with its errors.
    fn with_errors(
        &self,
        part: usize,
        path: ReceiverPath,
        errors: &Errors,
    ) -> Result<Option<Network>, ReceiverError> {
        let Some(own) = self.nominal[part].get(path) else { return Ok(None) };
        Ok(Some(deviating(own, errors)?))
    }

    /// Networks of one trial.
    pub(super) fn drawn(&self, random: &mut ChaCha8Rng) -> Result<Networks, ReceiverError> {
        let mut errors = LoRf::<Errors>::default();
        let mut networks = Vec::with_capacity(self.parts.len());
        let mut drawn = Vec::new();
        for (at, part) in self.parts.iter().enumerate() {
            let nominal = &self.nominal[at];
            for path in ReceiverPath::BOTH {
                // A part that is not on a path has no entries there.
                let entries = nominal.get(path).as_ref().map_or(0, |own| own.entries().len());
                errors.get_mut(path).clear(entries);
            }
            for part_source in &part.sources {
                let mut common: Option<Deviates> = None;
                for path in ReceiverPath::BOTH {
                    let (Some(source), Some(own)) =
                        (part_source.on_paths.get(path), nominal.get(path))
                    else {
                        continue;
                    };
                    let deviates = match common.take().filter(|_| !source.is_independent()) {
                        Some(common) => common,
                        None => {
                            self.drawn_once(part_source.shared, path, source, &mut drawn, random)
                        }
                    };
                    source.add(own.entries(), &deviates, errors.get_mut(path));
                    common = Some(deviates);
                }
            }
            networks.push(LoRf::try_of_each(|path| self.with_errors(at, path, errors.get(path)))?);
        }
        Ok(networks)
    }

    /// The deviates of a source: those that were drawn for a part which shares it, or new ones.
    fn drawn_once<'s>(
        &'s self,
        shared: Option<usize>,
        path: ReceiverPath,
        source: &Source,
        drawn: &mut Vec<SharedDeviates<'s>>,
        random: &mut ChaCha8Rng,
    ) -> Deviates {
        let Some(number) = shared else { return source.draw(random) };
        // What is correlated over frequency is the same on both paths.
        let is_it = |own: &&SharedDeviates<'_>| {
            own.number == number && (own.path == path || !source.is_independent())
        };
        if let Some(own) = drawn.iter().find(is_it) {
            return source.shared(&own.deviates, own.source);
        }
        // The part with the most ports has all errors.
        let largest = self
            .sharing(number)
            .filter_map(|(_, own)| own.on_paths.get(path).as_ref())
            .max_by_key(|own| own.ports());
        let Some(largest) = largest else { return source.draw(random) };
        let deviates = largest.draw(random);
        let own = source.shared(&deviates, largest);
        drawn.push(SharedDeviates { number, path, source: largest, deviates });
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

    /// The parts that an error moves: one, or all that share it, of which the first has the most ports.
    pub(super) fn moved_parts(&self, component: Component) -> Vec<usize> {
        let source = &self.parts[component.part].sources[component.source];
        match source.shared {
            None => vec![component.part],
            Some(number) => self.sharing(number).map(|(at, _)| at).collect(),
        }
    }

    /// Whether this is the part that stands for all that share a source.
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
                    let mut sources = source.on_paths.iter().flatten();
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
            let nominal = &self.nominal[part];
            networks[part] = LoRf::try_of_each(|path| {
                let (Some(source), Some(own)) = (source.on_paths.get(path), nominal.get(path))
                else {
                    return Ok::<_, ReceiverError>(None);
                };
                let mut errors = Errors::default();
                errors.clear(own.entries().len());
                source.add(own.entries(), &source.shared(&deviates, first), &mut errors);
                self.with_errors(part, path, &errors)
            })?;
        }
        Ok(networks)
    }
}
