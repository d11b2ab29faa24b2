//! The LO network of RECEIVER.toml in pieces, and the frequencies at which each block is needed there.

use super::blocks::{Block, Blocks};
use super::error::{DescriptionError, DescriptionProblem};
use super::lo_chain_entries::LoStageEntry;
use super::receiver_plan::Need;
use super::require_table::RequireTable;
use super::source::TomlFile;
use crate::downconverter::{
    Join, LoPieces, PieceSearch, ReceiverError, ReceiverPath, ReceiverPlan, SWITCHING_QUANTITIES,
    StageBlock,
};
use crate::network::{FrequencyGrid, NetworkError, Terminal};
use crate::requirement::Quantity;
use std::ops::Range;
use toml::Spanned;

/// The LO port of a mixer, as written.
pub(super) struct WrittenLo<'e> {
    pub(super) port: &'e Spanned<String>,
    pub(super) mixer: &'e str,
}

/// The pieces; an error points at the stage or at the mixer that it is about.
pub(super) fn lo_pieces(
    source: &TomlFile,
    blocks: &Blocks<'_>,
    joins: &[Join],
    input: Terminal,
    mixers: &[WrittenLo<'_>],
) -> Result<LoPieces, DescriptionError> {
    let counts: Vec<usize> = blocks.iter().map(|block| block.ports.len()).collect();
    let stages: Vec<Option<StageBlock<'_>>> = blocks
        .iter()
        .map(|block| {
            let order = block.origin.stage()?.law.order();
            Some(StageBlock { name: block.name(), order })
        })
        .collect();
    let mut ports = Vec::new();
    for mixer in mixers {
        ports.push((blocks.terminal_of(mixer.port)?, mixer.mixer));
    }
    let search = PieceSearch { port_counts: &counts, joins, stages: &stages };
    search.pieces(input, &ports).map_err(|refused| {
        let span = match (&refused.error, refused.block) {
            (_, Some(block)) => blocks.iter().nth(block).map(Block::span),
            (ReceiverError::MixersDiffer { mixer, .. }, None) => {
                let own = mixers.iter().find(|own| own.mixer == mixer);
                own.map(|own| own.port.span())
            }
            _ => None,
        };
        match span {
            Some(span) => source.error(refused.error, span),
            None => source.error_in_file(refused.error),
        }
    })
}

/// What all stages multiply the LO by: those before the LO input, and those inside the network.
pub(super) fn multiplication(stages: &[LoStageEntry], pieces: &LoPieces) -> u32 {
    let orders = stages.iter().filter_map(LoStageEntry::order);
    orders.fold(pieces.at_mixers(), |product, order| product.saturating_mul(*order.get_ref()))
}

/// Where an error of a finished receiver about one of its stages points.
pub(super) fn stage_span(stages: &[LoStageEntry], error: &ReceiverError) -> Option<Range<usize>> {
    let (ReceiverError::CarrierOutside { stage, .. } | ReceiverError::NoCarrier { stage, .. }) =
        error
    else {
        return None;
    };
    stages.iter().find(|own| own.name.get_ref() == stage).map(LoStageEntry::span)
}

/// The frequencies at which a block or load at a port is needed on a path.
pub(super) fn grid_at(
    plan: &ReceiverPlan,
    pieces: &LoPieces,
    path: ReceiverPath,
    terminal: &Terminal,
) -> Result<FrequencyGrid, NetworkError> {
    match path {
        ReceiverPath::Lo => pieces.grid(terminal, plan.grid(path)),
        ReceiverPath::Rf => Ok(plan.grid(path).clone()),
    }
}

/// The same with the purpose of each, where it is not that of the whole LO network.
pub(super) fn needs_in_piece(
    pieces: &LoPieces,
    terminal: &Terminal,
    lo: &[Need],
) -> Option<Vec<Need>> {
    let (own, mixers) = pieces.fraction(terminal);
    let need = |need: &Need| Need {
        frequency_hz: need.frequency_hz * f64::from(own) / f64::from(mixers),
        purpose: format!(
            "LO before its multiplication by {} on the way to the mixers",
            mixers / own
        ),
    };
    (own != mixers).then(|| lo.iter().map(need).collect())
}

/// What decides which limits on the LO chain can be kept.
pub(super) struct LimitedChain {
    pub(super) has_power: bool,
    pub(super) has_stages: bool,
    pub(super) is_switched: bool,
}

impl LimitedChain {
    /// Refuses limits on LO power without a power, on what tones make without stages, on what only
    /// switches have, and on spurious responses of switched mixers.
    pub(super) fn check(
        &self,
        source: &TomlFile,
        require: &RequireTable,
    ) -> Result<(), DescriptionError> {
        let limited = |quantities: [Quantity; 2]| {
            let place = |quantity: Quantity| Some((quantity, require.limit_span(quantity.name())?));
            quantities.into_iter().find_map(place)
        };
        if let (Some((quantity, span)), false) =
            (limited([Quantity::LoPower, Quantity::LoPowerMax]), self.has_power)
        {
            return Err(source.error(DescriptionProblem::NoPower { quantity }, span));
        }
        if let (Some((quantity, span)), false) =
            (limited([Quantity::LoTone, Quantity::SpuriousResponse]), self.has_stages)
        {
            return Err(source.error(DescriptionProblem::NoLoChain { quantity }, span));
        }
        let of_switches =
            SWITCHING_QUANTITIES.iter().find_map(|own| require.limit_span(own.name()));
        if let (Some(span), false) = (of_switches, self.is_switched) {
            let what = "only switched mixers have this limit; add switch to [mixing], or remove it";
            return Err(source.place(span).complaint(what));
        }
        match require.limit_span(Quantity::SpuriousResponse.name()) {
            Some(span) if self.is_switched => {
                Err(source.error(ReceiverError::SwitchedResponses, span))
            }
            _ => Ok(()),
        }
    }
}
