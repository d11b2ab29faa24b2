//! The networks of a receiver's blocks and loads, on the paths that reach them.

use super::allowed::Allowed;
use super::blocks::{Block, Blocks, Origin, PlacedLoad};
use super::error::DescriptionError;
use super::lo_network::{grid_at, needs_in_piece};
use super::named_files::NamedFiles;
use super::receiver_plan::{Need, check_cover, span_of};
use super::receiver_remarks::component_remarks;
use super::source::TomlFile;
use crate::downconverter::{
    Join, LoPieces, LoRf, PowerInput, ReceiverLoad, ReceiverPart, ReceiverPath, ReceiverPlan,
    entry_ports, whole_path,
};
use crate::network::{Network, Port, Terminal};
use std::ops::Range;

/// The port by which each path enters each block; `None` if the path does not reach the block.
pub(super) struct Reached(LoRf<Vec<Option<Port>>>);

impl Reached {
    pub(super) fn new(blocks: &Blocks<'_>, joins: &[Join], inputs: &LoRf<PowerInput>) -> Self {
        let counts: Vec<usize> = blocks.iter().map(|block| block.ports.len()).collect();
        let stages: Vec<bool> = blocks.iter().map(|block| block.origin.stage().is_some()).collect();
        Self(LoRf::of_each(|path| {
            entry_ports(&counts, joins, inputs.get(path).at, whole_path(path, &stages))
        }))
    }

    pub(super) fn has(&self, path: ReceiverPath, block: usize) -> bool {
        self.0.get(path)[block].is_some()
    }

    pub(super) fn warnings(&self, blocks: &Blocks<'_>) -> Vec<String> {
        let is_idle = |block: usize| !ReceiverPath::BOTH.iter().any(|&path| self.has(path, block));
        let blocks = blocks.iter().enumerate().filter(|(block, _)| is_idle(*block));
        blocks
            .map(|(_, own)| format!("block '{}' has no path to the LO or RF input", own.name()))
            .collect()
    }
}

/// Makes the networks of blocks and loads on the paths that reach them.
pub(super) struct Networks<'a> {
    pub(super) plan: &'a ReceiverPlan,
    pub(super) needs: LoRf<Vec<Need>>,
    pub(super) pieces: &'a LoPieces,
    pub(super) reached: &'a Reached,
}

impl Networks<'_> {
    pub(super) fn parts(
        &self,
        blocks: &Blocks<'_>,
        files: &mut NamedFiles<'_>,
    ) -> Result<Vec<ReceiverPart>, DescriptionError> {
        let parts = blocks.iter().enumerate().map(|(at, block)| {
            let (title, span) = (block.title(), block.network_span());
            let port = Terminal { block: at, port: Port::from_index(0) };
            let networks =
                self.on_paths(port, &block.origin, block.entry.active, &title, span, files)?;
            self.remark_component(at, block, files);
            receiver_part(files.source(), block, networks)
        });
        parts.collect()
    }

    pub(super) fn loads(
        &self,
        loads: &[PlacedLoad<'_>],
        files: &mut NamedFiles<'_>,
    ) -> Result<Vec<ReceiverLoad>, DescriptionError> {
        let loads = loads.iter().map(|load| {
            let title = format!("the {}", load.title());
            let networks =
                self.on_paths(load.at, &load.origin, false, &title, load.span(), files)?;
            Ok(ReceiverLoad { at: load.at, networks, model: load.origin.model() })
        });
        loads.collect()
    }

    fn remark_component(&self, at: usize, block: &Block<'_>, files: &mut NamedFiles<'_>) {
        let Some(entry) = &block.entry.component else { return };
        for path in ReceiverPath::BOTH.into_iter().filter(|path| self.reached.has(*path, at)) {
            let band_hz = span_of(self.needs.get(path));
            let remarks =
                component_remarks(files.source(), block.name(), entry.get_ref(), &band_hz);
            let new = remarks.into_iter().filter(|text| !files.warnings.contains(text));
            let new: Vec<String> = new.collect();
            files.warnings.extend(new);
        }
    }

    fn on_paths(
        &self,
        port: Terminal,
        origin: &Origin,
        may_be_active: bool,
        title: &str,
        span: Range<usize>,
        files: &mut NamedFiles<'_>,
    ) -> Result<LoRf<Option<Network>>, DescriptionError> {
        LoRf::try_of_each(|path| {
            // The networks of a stage follow from its resistances.
            if !self.reached.has(path, port.block) || origin.stage().is_some() {
                return Ok(None);
            }
            if let Some(file) = origin.file() {
                let in_piece = match path {
                    ReceiverPath::Lo => needs_in_piece(self.pieces, &port, &self.needs.lo),
                    ReceiverPath::Rf => None,
                };
                // A mistake in the plan is likely only where the file is needed at its frequencies.
                let plan = in_piece.is_none().then_some(self.plan);
                let needs = in_piece.as_ref().unwrap_or(self.needs.get(path));
                let source = files.source();
                check_cover(source, &file.network, needs, title, span.clone(), plan)?;
                let band_hz = span_of(needs);
                files.check_passive(file, band_hz, may_be_active, title, span.clone())?;
            }
            let grid = grid_at(self.plan, self.pieces, path, &port)
                .map_err(|error| files.source().error_in_file(error))?;
            origin.onto(&grid, title, span.clone(), files).map(Some)
        })
    }
}

fn receiver_part(
    source: &TomlFile,
    block: &Block<'_>,
    networks: LoRf<Option<Network>>,
) -> Result<ReceiverPart, DescriptionError> {
    let nominal = block.entry.nominal_deg.as_ref();
    Ok(ReceiverPart {
        name: block.name().to_owned(),
        ports: block.ports.clone(),
        kind: block.entry.kind.map(|kind| kind.0),
        nominal_deg: source.optional_number("nominal_deg", nominal, Allowed::Finite)?,
        pair: block.entry.pair.clone(),
        stage: block.origin.stage().cloned(),
        networks,
        model: block.origin.model(),
    })
}
