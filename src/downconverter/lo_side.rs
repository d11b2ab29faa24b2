//! The LO side of a receiver's plain values: its pieces, its stages as networks, its chain.

use super::error::{ReceiverError, Result};
use super::lo_drive_setup::{LoChainSetup, LoSource};
use super::lo_pieces::{LoPieces, PieceSearch, StageBlock};
use super::plan_chain::PlanChain;
use super::receiver_setup::ReceiverSetup;
use super::signal_path::{LoRf, ReceiverPath};
use crate::network::{FrequencyGrid, Load, Network, NetworkError, ParameterKind, Port};
use num_complex::Complex64;

/// The pieces of the LO network.
pub(super) fn lo_pieces(setup: &ReceiverSetup) -> Result<LoPieces> {
    let counts: Vec<usize> = setup.parts.iter().map(|part| part.ports.len()).collect();
    let stages: Vec<Option<StageBlock<'_>>> = setup
        .parts
        .iter()
        .map(|part| {
            let order = part.stage.as_ref()?.law.order();
            Some(StageBlock { name: &part.name, order })
        })
        .collect();
    let search = PieceSearch { port_counts: &counts, joins: &setup.joins, stages: &stages };
    let mixers: Vec<_> =
        setup.mixers.iter().map(|mixer| (mixer.ports.lo, mixer.name.as_str())).collect();
    search.pieces(setup.inputs.lo.at, &mixers).map_err(|refused| refused.error)
}

/// Gives every stage inside the LO network the two terminations that it is for what stands around it.
pub(super) fn make_stage_networks(setup: &mut ReceiverSetup) -> Result<()> {
    let grids = LoRf::of_each(|path| setup.plan.grid(path).clone());
    for part in &mut setup.parts {
        let Some(stage) = &part.stage else { continue };
        if part.ports.len() != 2 {
            let (stage, found) = (part.name.clone(), part.ports.len());
            return Err(ReceiverError::StagePorts { stage, found });
        }
        for (what, found) in [
            ("the input resistance of a stage", stage.input_ohm),
            ("the output resistance of a stage", stage.output_ohm),
        ] {
            if !(1e-3..=1e6).contains(&found) {
                let expected = "from 0.001 to 1e6 ohm";
                return Err(ReceiverError::OutOfRange { what, expected, found });
            }
        }
        let resistances = [stage.input_ohm, stage.output_ohm];
        for path in ReceiverPath::BOTH {
            *part.networks.get_mut(path) = Some(stage_network(grids.get(path), resistances)?);
        }
    }
    Ok(())
}

/// A unilateral part without its forward transmission, which depends on the drive: two terminations,
/// in 50 ohm.
pub(crate) fn stage_network(
    grid: &FrequencyGrid,
    [input_ohm, output_ohm]: [f64; 2],
) -> std::result::Result<Network, NetworkError> {
    let two_port = |entries| {
        let kind = ParameterKind::Scattering;
        Network::new(kind, grid.clone(), 2, entries, vec![50.0.into()])
    };
    let nothing = two_port(vec![Complex64::ZERO; 4 * grid.len()])?;
    let reflections =
        |ohm: f64| Load::Impedance(ohm.into()).reflections(&nothing, Port::from_index(0));
    let (input, output) = (reflections(input_ohm)?, reflections(output_ohm)?);
    let point = |(input, output): (&Complex64, &Complex64)| {
        [*input, Complex64::ZERO, Complex64::ZERO, *output]
    };
    two_port(input.iter().zip(&output).flat_map(point).collect())
}

/// The chain of a receiver that has stages: the one described, or a source at the LO input.
pub(super) fn plan_chain(
    setup: &mut ReceiverSetup,
    pieces: &LoPieces,
) -> Result<Option<PlanChain>> {
    let plan = setup.plan.settings();
    let chain = match (setup.lo_chain.take(), plan.lo_power_dbm) {
        (Some(_), Some(_)) => return Err(ReceiverError::TwoLoPowers),
        (Some(chain), None) => chain,
        (None, _) if pieces.stages().is_empty() => return Ok(None),
        (None, None) => return Err(ReceiverError::NoStagePower),
        (None, Some(power_dbm)) => {
            let source = LoSource { power_dbm, tones: Vec::new(), phase_noise: Vec::new() };
            LoChainSetup { source, stages: Vec::new() }
        }
    };
    let before = chain.stages.iter().map(|stage| stage.kind.order());
    let found = before.fold(pieces.at_mixers(), u32::saturating_mul);
    let found = found.saturating_mul(plan.lo_multiplication_after_split);
    let expected = plan.lo_multiplication;
    if found != expected {
        return Err(ReceiverError::ChainMultiplication { expected, found });
    }
    PlanChain::new(chain, &setup.plan).map(Some)
}
