//! A receiver solved with parts that deviate: with all errors drawn at random, or with one at a time.

use super::deviating_network::deviating;
use super::error::MeasurementError;
use super::uncertainty_source::{Deviates, Errors, Source};
use crate::downconverter::{Place, PlanPoint, Receiver, ReceiverError, Variation, Varied, Way};
use crate::network::{Network, ParameterKind, convert};
use rand_chacha::ChaCha8Rng;
use std::borrow::Cow;

/// A part, or everything that one file describes, with errors that its places share.
#[derive(Clone, Debug)]
pub struct UncertainPart {
    /// A block's name, or a file's.
    pub name: String,
    /// Where its network is used.
    pub places: Vec<Place>,
    /// Its sources of uncertainty.
    pub sources: Vec<PartSource>,
}

/// A source of uncertainty of a part, at the frequencies of both paths.
#[derive(Clone, Debug)]
pub struct PartSource {
    name: String,
    on_ways: [Option<Source>; 2],
}

impl PartSource {
    /// The same source at the frequencies of the LO path and of the RF path; `None` where the part is
    /// not on that path.
    ///
    /// # Errors
    /// [`MeasurementError::PathsDiffer`] for sources that are not of one kind.
    pub fn new(
        name: impl Into<String>,
        on_ways: [Option<Source>; 2],
    ) -> Result<Self, MeasurementError> {
        let name = name.into();
        if let [Some(lo), Some(rf)] = &on_ways
            && !lo.is_like(rf)
        {
            return Err(MeasurementError::PathsDiffer { name });
        }
        Ok(Self { name, on_ways })
    }

    /// Its name.
    #[must_use]
    pub fn name(&self) -> &str {
        &self.name
    }

    /// Whether the part is on a path.
    #[must_use]
    pub fn is_on_a_path(&self) -> bool {
        self.on_ways.iter().any(Option::is_some)
    }
}

/// Networks of all parts, on either path; `None` for a part's own network.
pub(super) type Networks = Vec<[Option<Network>; 2]>;

/// One independent error of one source of one part.
#[derive(Clone, Copy)]
pub(super) struct Component {
    pub(super) part: usize,
    pub(super) source: usize,
    number: usize,
    /// Whether each frequency has an error of its own.
    pub(super) is_independent: bool,
}

/// A receiver ready to be solved with parts that deviate.
pub(super) struct UncertainReceiver<'a> {
    pub(super) parts: &'a [UncertainPart],
    pub(super) variation: Variation,
    /// The places whose networks change, each with the part in it.
    pub(super) places: Vec<(Place, usize)>,
    /// Each part's own scattering network, on either path.
    nominal: Vec<[Option<Network>; 2]>,
}

impl<'a> UncertainReceiver<'a> {
    pub(super) fn new(
        receiver: &Receiver,
        parts: &'a [UncertainPart],
    ) -> Result<Self, MeasurementError> {
        let mut places = Vec::new();
        let mut nominal = Vec::new();
        for (at, part) in parts.iter().enumerate() {
            let mut own = [None, None];
            for (slot, way) in own.iter_mut().zip(Way::BOTH) {
                let network = part.places.iter().find_map(|&place| receiver.network_at(place, way));
                if let Some(network) = network {
                    let sources = part.sources.iter();
                    for source in sources.filter_map(|one| one.on_ways[index_of(way)].as_ref()) {
                        source.check_network(network)?;
                    }
                    *slot = Some(convert(network, ParameterKind::Scattering)?);
                }
            }
            nominal.push(own);
            places.extend(part.places.iter().map(|&place| (place, at)));
        }
        let changing: Vec<Place> = places.iter().map(|(place, _)| *place).collect();
        let variation = Variation::new(receiver.clone(), &changing, true)?;
        Ok(Self { parts, variation, places, nominal })
    }

    /// The receiver solved with these networks.
    pub(super) fn solve(&self, networks: &Networks) -> Result<Varied, ReceiverError> {
        self.variation.solve(|place, way| {
            let part = self.places[place].1;
            let index = index_of(way);
            let network = networks[part][index].as_ref().or(self.nominal[part][index].as_ref());
            let missing = || ReceiverError::NoBlock { name: self.parts[part].name.clone() };
            network.map(Cow::Borrowed).ok_or_else(missing)
        })
    }

    /// Every part's own network.
    pub(super) fn unchanged(&self) -> Networks {
        self.parts.iter().map(|_| [None, None]).collect()
    }

    /// The plan with the receiver's own networks.
    pub(super) fn nominal_points(&self) -> Result<Vec<PlanPoint>, ReceiverError> {
        self.variation.points(&self.solve(&self.unchanged())?)
    }

    /// One part's network with its errors.
    fn with_errors(
        &self,
        part: usize,
        way: usize,
        errors: &Errors,
    ) -> Result<Option<Network>, ReceiverError> {
        let Some(own) = &self.nominal[part][way] else { return Ok(None) };
        Ok(Some(deviating(own, errors)?))
    }

    /// Networks of one trial.
    pub(super) fn drawn(&self, random: &mut ChaCha8Rng) -> Result<Networks, ReceiverError> {
        let mut errors = [Errors::default(), Errors::default()];
        let mut networks = Vec::with_capacity(self.parts.len());
        for (at, part) in self.parts.iter().enumerate() {
            for (errors, own) in errors.iter_mut().zip(&self.nominal[at]) {
                // A part that is not on a path has no entries there.
                errors.clear(own.as_ref().map_or(0, |own| own.entries().len()));
            }
            for source in &part.sources {
                let mut common: Option<Deviates> = None;
                let ways = source.on_ways.iter().zip(&self.nominal[at]).zip(&mut errors);
                for ((source, own), errors) in ways {
                    let (Some(source), Some(own)) = (source, own) else { continue };
                    let deviates = match common.take().filter(|_| !source.is_independent()) {
                        Some(common) => common,
                        None => source.draw(random),
                    };
                    source.add(own.entries(), &deviates, errors);
                    common = Some(deviates);
                }
            }
            networks
                .push([self.with_errors(at, 0, &errors[0])?, self.with_errors(at, 1, &errors[1])?]);
        }
        Ok(networks)
    }

    /// Every error that has an effect.
    pub(super) fn components(&self) -> Vec<Component> {
        let mut all = Vec::new();
        for (at, part) in self.parts.iter().enumerate() {
            for (number, source) in part.sources.iter().enumerate() {
                let Some(any) = source.on_ways.iter().flatten().next() else { continue };
                let acting = (0..any.components()).filter(|&component| {
                    let mut ways = source.on_ways.iter().flatten();
                    ways.any(|source| source.has_effect(component))
                });
                all.extend(acting.map(|component| Component {
                    part: at,
                    source: number,
                    number: component,
                    is_independent: any.is_independent(),
                }));
            }
        }
        all
    }

    /// Networks with one error of `size` standard deviations, at every frequency.
    pub(super) fn moved(&self, component: Component, size: f64) -> Result<Networks, ReceiverError> {
        let mut networks = self.unchanged();
        let source = &self.parts[component.part].sources[component.source];
        let ways = source.on_ways.iter().zip(&self.nominal[component.part]);
        for (way, (source, own)) in ways.enumerate() {
            let (Some(source), Some(own)) = (source, own) else { continue };
            let deviates = source.only(component.number, size);
            let mut errors = Errors::default();
            errors.clear(own.entries().len());
            source.add(own.entries(), &deviates, &mut errors);
            networks[component.part][way] = self.with_errors(component.part, way, &errors)?;
        }
        Ok(networks)
    }
}

/// The place of a path in a list of both.
pub(super) fn index_of(way: Way) -> usize {
    match way {
        Way::Lo => 0,
        Way::Rf => 1,
    }
}
