//! Compliance of a receiver with its limits: the worst value of each over the plan, and the LOs
//! that pass.

use super::drive::LoPoint;
use super::error::Result;
use super::iq_balance::PlanPoint;
use super::lo_chain_result::LoChainResult;
use super::receiver::Receiver;
use super::switched_result::{SwitchedLo, SwitchedPoint, SwitchingResult};
use crate::requirement::{
    Compliance, Figure, Limit, Location, NoFigure, Quantity, RequirementResult, bands_that_pass_hz,
};

/// The value of a limited quantity at one point of the plan.
#[derive(Clone, Copy)]
struct Reading<'a> {
    figure: Figure,
    /// Index of the LO in the plan.
    lo: usize,
    if_hz: Option<f64>,
    mixer: Option<&'a str>,
}

/// Compares the whole plan with the limits. The ends of the LO ranges that pass are interpolated
/// linearly in the minimum margin of each LO.
///
/// # Errors
/// [`ReceiverError::Undefined`](super::ReceiverError::Undefined) where a limited figure has no number.
pub(super) fn compliance(
    receiver: &Receiver,
    lo: &[LoPoint],
    points: &[PlanPoint],
    switching: Option<&SwitchingResult>,
    chain: Option<&LoChainResult>,
) -> Result<Compliance> {
    let mut compliance = Compliance::default();
    if receiver.limits().is_empty() {
        return Ok(compliance);
    }
    let mut smallest_margin = vec![f64::INFINITY; lo.len()];
    for limit in receiver.limits().iter() {
        let of_parts = switching_readings(receiver, switching, limit)
            .or_else(|| chain_readings(receiver, lo, chain, limit));
        let readings = match of_parts {
            Some(readings) => readings,
            None => readings(receiver, lo, points, limit),
        };
        for (lo, value) in readings.iter().filter_map(|own| Some((own.lo, own.figure.value()?))) {
            smallest_margin[lo] = smallest_margin[lo].min(limit.margin(value));
        }
        let location = |reading: Reading<'_>| Location {
            frequency_hz: lo[reading.lo].lo_hz,
            if_hz: reading.if_hz,
            mixer: reading.mixer.map(str::to_owned),
        };
        let findings = readings.into_iter().map(|reading| (reading.figure, reading));
        compliance.requirements.push(RequirementResult::worst_of(limit, findings, location)?);
    }
    let lo_hz: Vec<f64> = lo.iter().map(|point| point.lo_hz).collect();
    // A band does not reach over LOs that are not in the plan.
    for run in receiver.plan().lo_runs() {
        let passing = passing_lo_hz(&lo_hz[run.clone()], &smallest_margin[run.clone()]);
        compliance.bands_that_pass_hz.extend(passing);
    }
    Ok(compliance)
}

/// The readings of a quantity that only switched mixers have.
fn switching_readings<'a>(
    receiver: &Receiver,
    switching: Option<&SwitchingResult>,
    limit: Limit,
) -> Option<Vec<Reading<'a>>> {
    let switching = switching?;
    let plan = receiver.plan();
    let figure = |value: Option<f64>| match value {
        Some(value) => Figure::new(value),
        None => Figure::none(NoFigure::NoSuchQuantity),
    };
    let of_points = |value: fn(&SwitchedPoint) -> Option<f64>| {
        let reading = |(at, point): (usize, &SwitchedPoint)| Reading {
            figure: figure(value(point)),
            lo: plan.points()[at].lo,
            if_hz: Some(plan.points()[at].if_hz),
            mixer: None,
        };
        switching.points.iter().enumerate().map(reading).collect()
    };
    match limit.quantity() {
        Quantity::ConversionLoss => Some(of_points(|point| point.conversion_loss.both_db)),
        Quantity::NoiseFigure => Some(of_points(|point| point.noise_figure_db)),
        Quantity::LoAtRfPort => {
            let reading = |(lo, own): (usize, &SwitchedLo)| Reading {
                figure: Figure::new(own.lo_at_rf_port_dbm),
                lo,
                if_hz: None,
                mixer: None,
            };
            Some(switching.lo.iter().enumerate().map(reading).collect())
        }
        _ => None,
    }
}

fn readings<'a>(
    receiver: &'a Receiver,
    lo: &'a [LoPoint],
    points: &'a [PlanPoint],
    limit: Limit,
) -> Vec<Reading<'a>> {
    let of_points = |value: fn(&PlanPoint) -> Figure| {
        let reading = |(at, point): (usize, &PlanPoint)| Reading {
            figure: value(point),
            lo: receiver.plan().points()[at].lo,
            if_hz: Some(point.if_hz),
            mixer: None,
        };
        points.iter().enumerate().map(reading).collect()
    };
    match limit.quantity() {
        Quantity::ImageRejection => {
            of_points(|point| Figure::new(point.balance.image_rejection_db))
        }
        Quantity::AmplitudeImbalance => {
            of_points(|point| Figure::new(point.balance.wanted().amplitude_db))
        }
        Quantity::QuadratureError => {
            of_points(|point| Figure::new(point.balance.wanted().phase_deg))
        }
        Quantity::LoPower | Quantity::LoPowerMax => lo
            .iter()
            .enumerate()
            .flat_map(|(at, point)| {
                receiver.mixers().iter().zip(&point.mixers).map(move |(mixer, drive)| Reading {
                    // A mixer without a load absorbs no power.
                    figure: drive.lo_power_dbm.unwrap_or(Figure::new(f64::NEG_INFINITY)),
                    lo: at,
                    if_hz: None,
                    mixer: Some(mixer.name.as_str()),
                })
            })
            .collect(),
        Quantity::CommonModeRejection
        | Quantity::PhaseError
        | Quantity::ConversionLoss
        | Quantity::NoiseFigure
        | Quantity::LoAtRfPort
        | Quantity::LoTone
        | Quantity::SpuriousResponse => of_points(|_| Figure::none(NoFigure::NoSuchQuantity)),
    }
}

/// The readings of a quantity that only an LO chain has.
fn chain_readings<'a>(
    receiver: &'a Receiver,
    lo: &[LoPoint],
    chain: Option<&LoChainResult>,
    limit: Limit,
) -> Option<Vec<Reading<'a>>> {
    match limit.quantity() {
        Quantity::LoTone => Some(tone_readings(receiver, lo, chain?)),
        Quantity::SpuriousResponse => Some(response_readings(lo, chain?)),
        _ => None,
    }
}

/// Every tone at every mixer; where there is none, one below all.
fn tone_readings<'a>(
    receiver: &'a Receiver,
    lo: &[LoPoint],
    chain: &LoChainResult,
) -> Vec<Reading<'a>> {
    let mut all = at_each_lo(lo, f64::NEG_INFINITY);
    for tone in &chain.tones_at_mixers {
        let Some(at) = lo.iter().position(|point| point.lo_hz >= tone.lo_hz) else { continue };
        let mixers = receiver.mixers().iter().zip(&tone.dbc_by_mixer);
        all.extend(mixers.map(|(mixer, &dbc)| Reading {
            figure: Figure::new(dbc),
            lo: at,
            if_hz: None,
            mixer: Some(mixer.name.as_str()),
        }));
    }
    all
}

/// How far every limited spurious response is below the wanted one; where there is none, without end.
fn response_readings<'a>(lo: &[LoPoint], chain: &LoChainResult) -> Vec<Reading<'a>> {
    let mut all = at_each_lo(lo, f64::INFINITY);
    for response in chain.spurious_responses.iter().filter(|response| response.is_judged) {
        let Some(at) = lo.iter().position(|point| point.lo_hz >= response.lo_hz) else { continue };
        let (figure, if_hz) = (Figure::new(-response.relative_db()), Some(response.if_hz));
        all.push(Reading { figure, lo: at, if_hz, mixer: None });
    }
    all
}

/// One value at each LO.
fn at_each_lo<'a>(lo: &[LoPoint], value: f64) -> Vec<Reading<'a>> {
    let reading = |at| Reading { figure: Figure::new(value), lo: at, if_hz: None, mixer: None };
    (0..lo.len()).map(reading).collect()
}

/// The ranges of LO over which the minimum margin is not negative, Hz.
fn passing_lo_hz(lo_hz: &[f64], margin: &[f64]) -> Vec<(f64, f64)> {
    let crossing_hz = |inside: usize, outside: usize| {
        let (good, bad) = (margin[inside], margin[outside]);
        if !good.is_finite() || !bad.is_finite() {
            return lo_hz[inside];
        }
        lo_hz[inside] + (lo_hz[outside] - lo_hz[inside]) * good / (good - bad)
    };
    bands_that_pass_hz(lo_hz, |at| margin[at] >= 0.0, crossing_hz)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn ranges_end_where_the_margin_is_zero() {
        let hz = [1.0, 2.0, 3.0, 4.0, 5.0];
        assert_eq!(passing_lo_hz(&hz, &[-1.0, 1.0, 3.0, -3.0, 1.0]), [(1.5, 3.5), (4.75, 5.0)]);
        assert_eq!(passing_lo_hz(&hz, &[0.0; 5]), [(1.0, 5.0)]);
        assert!(passing_lo_hz(&hz, &[-1.0; 5]).is_empty());
        assert_eq!(passing_lo_hz(&hz[..1], &[2.0]), [(1.0, 1.0)]);
    }
}
