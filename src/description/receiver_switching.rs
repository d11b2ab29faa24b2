//! Switched mixers in RECEIVER.toml: `[mixing]`, the keys of single mixers, and `[if_load]`.

use super::allowed::Allowed;
use super::error::{DescriptionError, DescriptionProblem};
use super::named_files::NamedFiles;
use super::receiver_plan::{Need, check_cover};
use super::source::TomlFile;
use crate::component::small_element;
use crate::downconverter::{
    ElementSetup, IfLoad, IfLoadToGround, LoIfSettings, MOST_SIDEBANDS, OutsideData,
    SidebandSource, Switch, SwitchSettings, SwitchingSetup,
};
use crate::network::REFERENCE_TEMPERATURE_K;
use serde::Deserialize;
use std::ops::Range;
use std::path::PathBuf;
use toml::Spanned;

/// How all mixers mix.
#[derive(Debug, Default, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct MixingEntry {
    /// a: conversion gain ~ |LO|^a; 1 when absent.
    pub(super) lo_amplitude_exponent: Option<Spanned<f64>>,
    /// n: RF = n LO +/- IF; 1 when absent.
    pub(super) lo_harmonic: Option<Spanned<u32>>,
    /// The mixers are switches; multipliers when absent.
    pub(super) switch: Option<Spanned<SwitchEntry>>,
    /// From LO node to RF node of every mixer; 0 when absent.
    lo_to_rf_ff: Option<Spanned<f64>>,
    /// From LO node to IF node of every mixer; 0 when absent.
    lo_to_if_ff: Option<Spanned<f64>>,
    /// Sidebands on either side; by convergence when absent.
    sidebands: Option<Spanned<u32>>,
    /// `reference` when absent.
    outside: Option<Spanned<OutsideName>>,
    /// 290 when absent.
    temperature_k: Option<Spanned<f64>>,
}

/// A switch, or what differs from that of `[mixing]`.
#[derive(Clone, Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct SwitchEntry {
    on_ohm: Option<Spanned<f64>>,
    /// Infinite when absent.
    off_ohm: Option<Spanned<f64>>,
    /// 0 when absent.
    off_ff: Option<Spanned<f64>>,
    /// 0 when absent.
    threshold_v: Option<Spanned<f64>>,
    /// 0, a hard switch, when absent.
    slope_v: Option<Spanned<f64>>,
}

#[derive(Clone, Copy, Debug, Deserialize)]
#[serde(rename_all = "snake_case")]
enum OutsideName {
    Reference,
    Open,
    Short,
}

/// What every IF node ends in.
#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct IfLoadEntry {
    ohm: Option<Spanned<f64>>,
    /// In parallel; 0 when absent.
    ff: Option<Spanned<f64>>,
    /// A one-port file in place of both.
    file: Option<Spanned<PathBuf>>,
    /// Between the two nodes of a channel.
    differential_ohm: Option<Spanned<f64>>,
}

/// What one mixer says about its switch.
pub(super) struct MixerSwitchEntry {
    pub(super) name: Spanned<String>,
    /// Whether its channel is I, and whether its polarity is plus.
    pub(super) node: (bool, bool),
    pub(super) switch: Option<Spanned<SwitchEntry>>,
    pub(super) lo_to_rf_ff: Option<Spanned<f64>>,
    pub(super) lo_to_if_ff: Option<Spanned<f64>>,
    /// The place of its gain, which a switch has not.
    pub(super) gain: Option<Range<usize>>,
}

/// All keys of switched mixers.
pub(super) struct SwitchingEntries<'a> {
    pub(super) mixing: &'a MixingEntry,
    pub(super) mixers: Vec<MixerSwitchEntry>,
    pub(super) if_load: Option<&'a Spanned<IfLoadEntry>>,
    pub(super) after_split: Option<&'a Spanned<u32>>,
    /// Whether an LO chain gives the LO power.
    pub(super) has_chain: bool,
}

/// Capacitances above this are a slip of the pen, fF.
const MOST_FF: f64 = 1e9;

impl SwitchingEntries<'_> {
    /// The switches; `None` where the mixers are multipliers. `sources` are those of blocks and loads.
    pub(super) fn read(
        &self,
        plan: &LoIfSettings,
        [parts, loads]: [Vec<SidebandSource>; 2],
        files: &mut NamedFiles<'_>,
    ) -> Result<Option<SwitchingSetup>, DescriptionError> {
        let source = files.source();
        let Some(first) = self.first_switch() else {
            return self.check_no_keys(source).map(|()| None);
        };
        self.check_plan(source, plan, first)?;
        let elements: Vec<ElementSetup> = self
            .mixers
            .iter()
            .map(|mixer| self.element(source, mixer))
            .collect::<Result<_, _>>()?;
        let mixing = self.mixing;
        let most = u32::try_from(MOST_SIDEBANDS).unwrap_or(u32::MAX);
        let sidebands = match &mixing.sidebands {
            Some(given) => {
                Some(source.whole("sidebands", given, plan.lo_harmonic.max(1)..=most)?)
            }
            None => None,
        };
        let switch = mixing.switch.as_ref().map(Spanned::get_ref);
        for (key, given) in [
            ("lo_to_rf_ff", mixing.lo_to_rf_ff.as_ref()),
            ("lo_to_if_ff", mixing.lo_to_if_ff.as_ref()),
            ("off_ff", switch.and_then(|own| own.off_ff.as_ref())),
        ] {
            let Some(given) = given else { continue };
            let text = small_element(key, *given.get_ref());
            files.warnings.extend(text.map(|text| source.remark(given.span(), &text)));
        }
        let temperature = mixing.temperature_k.as_ref();
        let temperature_k =
            source.optional_number("temperature_k", temperature, Allowed::FromTo(0.0, 1e6))?;
        if let (Some(given), Some(kelvin)) = (temperature, temperature_k)
            && (15.0..=60.0).contains(&kelvin)
        {
            // Liquid nitrogen has 77 K and liquid helium 4.2 K.
            let text = format!(
                "temperature_k = {kelvin} is in kelvin; if {kelvin} deg C is meant, write {}",
                kelvin + 273.15
            );
            files.warnings.push(source.remark(given.span(), &text));
        }
        Ok(Some(SwitchingSetup {
            elements,
            if_load: self.if_load(&plan.if_hz, files)?,
            sidebands: sidebands.and_then(|count| usize::try_from(count).ok()),
            outside: match mixing.outside.as_ref().map(|name| *name.get_ref()) {
                None | Some(OutsideName::Reference) => OutsideData::Reference,
                Some(OutsideName::Open) => OutsideData::Open,
                Some(OutsideName::Short) => OutsideData::Short,
            },
            temperature_k: temperature_k.unwrap_or(REFERENCE_TEMPERATURE_K),
            parts,
            loads,
        }))
    }

    fn first_switch(&self) -> Option<Range<usize>> {
        let of_mixers = self.mixers.iter().filter_map(|mixer| mixer.switch.as_ref());
        self.mixing.switch.iter().chain(of_mixers).next().map(Spanned::span)
    }

    /// Refuses keys that only switches have.
    fn check_no_keys(&self, source: &TomlFile) -> Result<(), DescriptionError> {
        let mixing = self.mixing;
        let own = self.mixers.iter().flat_map(|mixer| {
            [("lo_to_rf_ff", &mixer.lo_to_rf_ff), ("lo_to_if_ff", &mixer.lo_to_if_ff)]
        });
        let numbers = [
            ("lo_to_rf_ff", &mixing.lo_to_rf_ff),
            ("lo_to_if_ff", &mixing.lo_to_if_ff),
            ("temperature_k", &mixing.temperature_k),
        ];
        let numbers = numbers.into_iter().chain(own);
        let given = numbers.filter_map(|(key, given)| Some((key, given.as_ref()?.span())));
        let sidebands = mixing.sidebands.as_ref().map(|own| ("sidebands", own.span()));
        let outside = mixing.outside.as_ref().map(|own| ("outside", own.span()));
        let if_load = self.if_load.map(|own| ("[if_load]", own.span()));
        let mut all = given.chain(sidebands).chain(outside).chain(if_load);
        match all.next() {
            Some((key, span)) => {
                let what = format!("{key} is of mixers that are switches; add switch to [mixing]");
                Err(complaint_at(source, span, what))
            }
            None => Ok(()),
        }
    }

    /// Refuses what contradicts switches, or leaves them without an LO.
    fn check_plan(
        &self,
        source: &TomlFile,
        plan: &LoIfSettings,
        switch: Range<usize>,
    ) -> Result<(), DescriptionError> {
        if let Some(exponent) = &self.mixing.lo_amplitude_exponent {
            let what = "lo_amplitude_exponent is of multipliers, and these mixers are switches; \
                        remove one of the two";
            return Err(source.complaint(exponent, what));
        }
        if let Some(gain) = self.mixers.iter().find_map(|mixer| mixer.gain.clone()) {
            let what = "a switch has no gain of its own; remove gain, or give this mixer other values \
                        of switch";
            return Err(complaint_at(source, gain, what));
        }
        if let Some(after) = self.after_split.filter(|after| *after.get_ref() != 1) {
            let what = format!(
                "switches need the LO itself at their nodes, found a multiplication by {} after the \
                 split; remove lo_multiplication_after_split",
                after.get_ref()
            );
            return Err(source.complaint(after, what));
        }
        if plan.lo_power_dbm.is_none() && !self.has_chain {
            let what = "there is no LO to switch with: lo_power_dbm is missing in [frequency_plan], \
                        and there is no LO chain";
            return Err(complaint_at(source, switch, what));
        }
        Ok(())
    }

    fn element(
        &self,
        source: &TomlFile,
        mixer: &MixerSwitchEntry,
    ) -> Result<ElementSetup, DescriptionError> {
        let own = mixer.switch.as_ref().map(Spanned::get_ref);
        let common = self.mixing.switch.as_ref().map(Spanned::get_ref);
        let key = |of: fn(&SwitchEntry) -> Option<&Spanned<f64>>| {
            own.and_then(of).or_else(|| common.and_then(of))
        };
        let number = |name: &str, given: Option<&Spanned<f64>>, allowed| {
            source.optional_number(name, given, allowed)
        };
        let on = key(|entry| entry.on_ohm.as_ref());
        let Some(on_ohm) = number("on_ohm", on, Allowed::FromTo(1e-6, 1e9))? else {
            let what = format!(
                "mixer '{}' needs on_ohm in its switch or in that of [mixing]",
                mixer.name.get_ref()
            );
            return Err(source.complaint(&mixer.name, what));
        };
        let off = key(|entry| entry.off_ohm.as_ref());
        let off_ohm = number("off_ohm", off, Allowed::AboveZero)?;
        if let (Some(given), Some(off_ohm)) = (off, off_ohm)
            && off_ohm <= on_ohm
        {
            let what = format!(
                "off_ohm must be above on_ohm, which is {on_ohm}, found {off_ohm}; are they \
                 exchanged, or is one of them not in ohm?"
            );
            return Err(source.complaint(given, what));
        }
        let farads = |name: &str, given: Option<&Spanned<f64>>| {
            let femto = number(name, given, Allowed::FromTo(0.0, MOST_FF))?;
            Ok::<f64, DescriptionError>(1e-15 * femto.unwrap_or(0.0))
        };
        let threshold = key(|entry| entry.threshold_v.as_ref());
        let slope = key(|entry| entry.slope_v.as_ref());
        let slope_v = number("slope_v", slope, Allowed::FromTo(0.0, 1e3))?.unwrap_or(0.0);
        if let Some(given) = slope.filter(|_| slope_v > 0.0 && slope_v < 1e-6) {
            let what =
                format!("slope_v must be 0, a hard switch, or at least 1e-6, found {slope_v}");
            return Err(source.complaint(given, what));
        }
        let settings = SwitchSettings {
            on_ohm,
            off_ohm: off_ohm.unwrap_or(f64::INFINITY),
            off_f: farads("off_ff", key(|entry| entry.off_ff.as_ref()))?,
            threshold_v: number("threshold_v", threshold, Allowed::FromTo(-1e3, 1e3))?
                .unwrap_or(0.0),
            slope_v,
        };
        let place = || mixer.switch.as_ref().map_or_else(|| mixer.name.span(), Spanned::span);
        let to_rf = mixer.lo_to_rf_ff.as_ref().or(self.mixing.lo_to_rf_ff.as_ref());
        let to_if = mixer.lo_to_if_ff.as_ref().or(self.mixing.lo_to_if_ff.as_ref());
        Ok(ElementSetup {
            switch: Switch::new(settings).map_err(|error| source.error(error, place()))?,
            lo_to_rf_f: farads("lo_to_rf_ff", to_rf)?,
            lo_to_if_f: farads("lo_to_if_ff", to_if)?,
        })
    }

    fn if_load(
        &self,
        if_hz: &[f64],
        files: &mut NamedFiles<'_>,
    ) -> Result<IfLoad, DescriptionError> {
        let Some(spanned) = self.if_load else { return Ok(IfLoad::default()) };
        let source = files.source();
        let entry = spanned.get_ref();
        let allowed = Allowed::FromTo(1e-3, 1e12);
        let ohm = source.optional_number("ohm", entry.ohm.as_ref(), allowed)?;
        let ff = source.optional_number("ff", entry.ff.as_ref(), Allowed::FromTo(0.0, 1e12))?;
        let differential = entry.differential_ohm.as_ref();
        let differential_ohm = source.optional_number("differential_ohm", differential, allowed)?;
        if let Some(given) = differential {
            self.check_both_nodes(source, given)?;
        }
        let to_ground = match &entry.file {
            Some(file) if entry.ohm.is_some() || entry.ff.is_some() => {
                let what = "[if_load] needs either a file or ohm and ff";
                return Err(source.complaint(file, what));
            }
            Some(file) => {
                let network = files.network(file)?;
                if network.ports() != 1 {
                    let what = format!("an IF load has 1 port, this file has {}", network.ports());
                    return Err(source.complaint(file, what));
                }
                let need = |&frequency_hz: &f64| Need { frequency_hz, purpose: "IF".to_owned() };
                let needs: Vec<Need> = if_hz.iter().map(need).collect();
                let title = format!("the IF load {}", file.get_ref().display());
                check_cover(source, &network, &needs, &title, file.span(), None)?;
                IfLoadToGround::OnePort(Box::new(network))
            }
            None => {
                let farad = 1e-15 * ff.unwrap_or(0.0);
                let ohm = ohm.unwrap_or(f64::INFINITY);
                if ohm.is_infinite() && farad == 0.0 && differential_ohm.is_none() {
                    let what =
                        "the IF nodes float: [if_load] needs ohm, ff, file or differential_ohm";
                    return Err(source.complaint(spanned, what));
                }
                IfLoadToGround::Elements { ohm, farad }
            }
        };
        Ok(IfLoad { to_ground, differential_ohm })
    }

    /// A resistance between the nodes of a channel needs both.
    fn check_both_nodes(
        &self,
        source: &TomlFile,
        given: &Spanned<f64>,
    ) -> Result<(), DescriptionError> {
        for (is_i, name) in [(true, "i"), (false, "q")] {
            let has = |is_plus| self.mixers.iter().any(|mixer| mixer.node == (is_i, is_plus));
            if !(has(true) && has(false)) {
                let what = format!(
                    "differential_ohm needs mixers of both polarities in a channel, and channel {name} \
                     has one only"
                );
                return Err(source.complaint(given, what));
            }
        }
        Ok(())
    }
}

fn complaint_at(
    source: &TomlFile,
    span: Range<usize>,
    what: impl Into<String>,
) -> DescriptionError {
    source.error(DescriptionProblem::Value { what: what.into() }, span)
}
