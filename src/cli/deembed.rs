//! `fourphase deembed`.

use super::args::{Deembed, Split};
use super::console::Console;
use super::failure::Failure;
use super::outcome::Outcome;
use super::output::{NOISE_LEFT_OUT, Outgoing};
use crate::measurement::{
    StandardFault, check_open_and_short, check_reflecting, check_transmitting,
};
use crate::network::{
    Deembedded, Network, NetworkError, ThruSplit, nearest_passive, onto_grid, remove_fixture,
    remove_fixtures, remove_open_short, remove_thru,
};
use crate::units::ShownFrequency;
use std::path::{Path, PathBuf};

pub(super) fn run(given: &Deembed, console: &Console) -> Result<Outcome, Failure> {
    if given.split.is_some() && given.thru.is_none() {
        return Err(Failure::Usage(
            "--split is the model of a thru, but --thru is not given".to_owned(),
        ));
    }
    let file = given.reading.read_part(&given.input, console)?;
    let measured = file.network;
    if !file.noise.is_empty() {
        console.warning(NOISE_LEFT_OUT);
    }
    let mut inputs = vec![given.input.clone()];
    Outgoing::check(measured.ports(), &given.output, &given.form, &inputs)?;
    let mut standard =
        |path: &Option<PathBuf>, expected: usize| -> Result<Option<Network>, Failure> {
            let Some(path) = path else { return Ok(None) };
            inputs.push(path.clone());
            let network = on_grid_of(&measured, path, given, console)?;
            if network.modes().is_some() {
                let source = NetworkError::MixedMode;
                return Err(Failure::Network { file: path.clone(), source });
            }
            if network.ports() != expected {
                let source = NetworkError::PortCount { expected, found: network.ports() };
                return Err(Failure::Network { file: path.clone(), source });
            }
            Ok(Some(network))
        };
    let ports = measured.ports();
    let (left, right) = (standard(&given.left, 2)?, standard(&given.right, 2)?);
    let (open, short) = (standard(&given.open, ports)?, standard(&given.short, ports)?);
    let (fixture, through) = (standard(&given.fixture, 2 * ports)?, standard(&given.thru, 2)?);
    let removed = match (&fixture, &open, &short, &through) {
        (Some(fixture), ..) => remove_fixture(&measured, fixture),
        (_, Some(open), Some(short), _) => {
            Ok(without_pads(&measured, [open, short], &given.input, console)?)
        }
        (.., Some(through)) => {
            let failed = |source: StandardFault| Failure::Usage(format!("--thru: {source}"));
            check_transmitting(through).map_err(failed)?;
            let split = match given.split.unwrap_or(Split::Line) {
                Split::Line => ThruSplit::Line,
                Split::Pad => ThruSplit::Pad,
            };
            remove_thru(&measured, through, split)
        }
        _ if left.is_some() || right.is_some() => remove_fixtures(&measured, left.as_ref(), right.as_ref()),
        _ => {
            return Err(Failure::Usage(
                "nothing to remove: give --left and --right, --fixture, --open and --short, or --thru".to_owned(),
            ));
        }
    }
    .map_err(|source| Failure::Network { file: given.input.clone(), source })?;
    let mut network = removed.network.clone();
    if given.make_passive {
        let (passive, change) = nearest_passive(&network)
            .map_err(|source| Failure::Network { file: given.input.clone(), source })?;
        console.warning(&format!("made passive: entries change by up to {change:.2e}"));
        network = passive;
    }
    let outgoing = Outgoing {
        network,
        // Comments among rows stay with their rows, which are the same.
        comments: file.comments,
        noise: Vec::new(),
        noise_reference_ohm: file.noise_reference_ohm,
        number_format: file.number_format,
        frequency_unit: file.frequency_unit,
    };
    outgoing.write(&given.output, &given.form, &inputs, console)?;
    report(&removed, given.make_passive, console)?;
    Ok(Outcome::Holds)
}

/// What is left without the pads and interconnects of an open and a short, which are what they are said
/// to be.
fn without_pads(
    measured: &Network,
    [open, short]: [&Network; 2],
    input: &Path,
    console: &Console,
) -> Result<Deembedded, Failure> {
    // What cannot be taken off at all is told first.
    let removed = remove_open_short(measured, open, short)
        .map_err(|source| Failure::Network { file: input.to_owned(), source })?;
    let failed = |source: StandardFault| Failure::Usage(format!("--open and --short: {source}"));
    check_reflecting(open).and(check_reflecting(short)).map_err(failed)?;
    if let Some(delay_s) = check_open_and_short(open, short).map_err(failed)? {
        console.warning(&format!(
            "open and short delay by {:.1} ps there and back: they may include their access lines",
            delay_s * 1e12
        ));
    }
    Ok(removed)
}

/// A standard at the frequencies of the measurement.
fn on_grid_of(
    measured: &Network,
    path: &Path,
    given: &Deembed,
    console: &Console,
) -> Result<Network, Failure> {
    let file = given.reading.read_part(path, console)?;
    let interpolated = onto_grid(&file.network, measured.grid())
        .map_err(|source| Failure::Network { file: path.to_owned(), source })?;
    if let Some(step) = interpolated.unsafe_step {
        console.warning(&format!("{}: {step}", path.display()));
    }
    Ok(interpolated.network)
}

fn report(removed: &Deembedded, made_passive: bool, console: &Console) -> Result<(), Failure> {
    let worst = removed.worst_condition;
    console.data(&format!(
        "condition number at most {:.1}, at {}\nmaximum singular value {:.4} before, {:.4} after{}\n",
        worst.value,
        ShownFrequency(worst.frequency_hz),
        removed.singular_value_before,
        removed.singular_value_after,
        if made_passive { "; written with those above 1 set to 1" } else { "" }
    ))?;
    for warning in &removed.warnings {
        console.warning(warning);
    }
    Ok(())
}
