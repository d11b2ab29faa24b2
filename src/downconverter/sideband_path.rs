//! The RF path of switched mixers at every sideband of a plan.
//!
//! In:  the sources of all blocks and loads, which give data at any frequency.
//! Out: the frequencies of the sidebands, and the RF path on them. A part that is replaced is replaced
//!      there, so that it counts at every sideband.

use super::error::{ReceiverError, Result};
use super::joined_path::{JoinedPath, PathNetworks};
use super::lo_if_plan::LoIfPoint;
use super::lo_side::stage_network;
use super::receiver::Receiver;
use super::sideband_store::{SidebandCount, SidebandStore};
use super::signal_path::ReceiverPath;
use super::switching_setup::{IfLoadToGround, SidebandSource, SwitchingSetup};
use crate::network::{FrequencyGrid, Network};

/// Sidebands within this relative distance are one: sums of LO and IF differ in their last digits.
const SAME_FREQUENCY: f64 = 1e-12;

fn switching(receiver: &Receiver) -> Result<&SwitchingSetup> {
    let missing = || ReceiverError::NoSuch { what: "switched element".to_owned() };
    receiver.switching().ok_or_else(missing)
}

/// The sidebands of some points.
pub(super) fn make_store(
    receiver: &Receiver,
    count: SidebandCount,
    points: &[LoIfPoint],
) -> Result<SidebandStore> {
    let switching = switching(receiver)?;
    let grid = FrequencyGrid::from_hz(sideband_frequencies_hz(points, count.sidebands))?;
    let missing = || ReceiverError::NoSuch { what: "switched element".to_owned() };
    let mixer = receiver.switched_mixer().ok_or_else(missing)?;
    let own_path = ReceiverPath::Rf;
    let parts = receiver.parts_on(own_path).filter(|(part, _)| receiver.stage(*part).is_none());
    let parts = parts.map(|(part, _)| &switching.parts[part]);
    let loads = receiver.loads().iter().zip(&switching.loads);
    let loads = loads.filter(|(load, _)| load.networks.rf.is_some()).map(|(_, source)| source);
    let if_load = match &switching.if_load.to_ground {
        IfLoadToGround::OnePort(network) => Some(SidebandSource::Samples(network.clone())),
        IfLoadToGround::Elements { .. } => None,
    };
    let sources: Vec<&SidebandSource> = parts.chain(loads).chain(&if_load).collect();
    let is_outside = |hz: &f64| sources.iter().any(|source| !source.covers(*hz));
    Ok(SidebandStore {
        count,
        outside_hz: runs_hz(grid.as_hz(), is_outside),
        if_load: switching.if_load.reflections(&grid, switching.outside)?,
        ports: mixer.rf_nodes() + 1,
        grid,
    })
}

/// The RF path at the sidebands of a store.
pub(super) fn sideband_path(receiver: &Receiver, store: &SidebandStore) -> Result<JoinedPath> {
    let (switching, grid, own_path) = (switching(receiver)?, &store.grid, ReceiverPath::Rf);
    let on_grid = |source: &SidebandSource, ports: usize| -> Result<Network> {
        Ok(source.onto(grid, ports, switching.outside)?.network)
    };
    let parts = receiver.parts_on(own_path).map(|(part, own)| match receiver.stage(part) {
        Some(stage) => Ok(stage_network(grid, [stage.input_ohm, stage.output_ohm])?),
        None => on_grid(&switching.parts[part], own.ports()),
    });
    let loads =
        receiver.loads().iter().zip(&switching.loads).map(|(load, source)| {
            load.networks.rf.is_some().then(|| on_grid(source, 1)).transpose()
        });
    let of_plan = receiver.plan().grid(own_path);
    let networks = PathNetworks {
        parts: parts.collect::<Result<_>>()?,
        loads: loads.collect::<Result<_>>()?,
        grid: grid.clone(),
        middle: store.place(of_plan.as_hz()[of_plan.len() / 2]),
    };
    JoinedPath::with_networks(receiver, own_path, networks)
}

/// The frequencies of all sidebands of conversion and leakage, each once, ascending.
fn sideband_frequencies_hz(points: &[LoIfPoint], sidebands: usize) -> Vec<f64> {
    let mut all_hz = Vec::with_capacity(3 * points.len() * (sidebands + 1));
    for LoIfPoint { lo_hz, if_hz, .. } in points {
        let mut order = 0.0;
        for _ in 0..=sidebands {
            let tone_hz = order * lo_hz;
            all_hz.extend([tone_hz, tone_hz + if_hz, (if_hz - tone_hz).abs()]);
            order += 1.0;
        }
    }
    all_hz.sort_unstable_by(f64::total_cmp);
    all_hz.dedup_by(|next, kept| *next - *kept <= SAME_FREQUENCY * *next);
    all_hz
}

/// Runs of frequencies for which something holds, by their ends.
fn runs_hz(frequency_hz: &[f64], holds: impl Fn(&f64) -> bool) -> Vec<(f64, f64)> {
    let mut runs: Vec<(f64, f64)> = Vec::new();
    let mut is_open = false;
    for hz in frequency_hz {
        let is_in = holds(hz);
        match runs.last_mut() {
            Some(run) if is_in && is_open => run.1 = *hz,
            _ if is_in => runs.push((*hz, *hz)),
            _ => {}
        }
        is_open = is_in;
    }
    runs
}
