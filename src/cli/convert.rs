//! `fourphase convert`.

use super::args::{Convert, Parameter, WaveDefinitionName};
use super::console::Console;
use super::failure::Failure;
use super::outcome::Outcome;
use super::output::{NOISE_LEFT_OUT, Outgoing};
use crate::network::{
    FrequencyGrid, Network, NetworkError, ParameterKind, WaveDefinition, change_reference, convert,
    nearest_passive, onto_grid, select_ports, to_mixed_mode, to_single_ended,
};
use crate::touchstone::Comment;
use crate::units::ShownFrequency;

pub(super) fn run(given: &Convert, console: &Console) -> Result<Outcome, Failure> {
    let file = given.reading.read(&given.input, console)?;
    let failed = |source| Failure::Network { file: given.input.clone(), source };
    let before = file.network.clone();
    let network = changed(given, file.network, console).map_err(failed)?;

    let same_points = network.grid() == before.grid();
    let same_ports = network.ports() == before.ports()
        && given.ports.is_empty()
        && network.modes() == before.modes();
    if !file.noise.is_empty() && !same_ports {
        console.warning(NOISE_LEFT_OUT);
    }
    // Comments among rows lose their places when the rows do.
    let place = |comment: Comment| Comment {
        sets_before: if same_points { comment.sets_before } else { 0 },
        ..comment
    };
    let outgoing = Outgoing {
        network,
        comments: file.comments.into_iter().map(place).collect(),
        noise: if same_ports { file.noise } else { Vec::new() },
        noise_reference_ohm: file.noise_reference_ohm,
        number_format: file.number_format,
        frequency_unit: file.frequency_unit,
    };
    outgoing.write(&given.output, &given.form, std::slice::from_ref(&given.input), console)?;
    Ok(Outcome::Holds)
}

/// All changes, in an order in which each finds what it needs.
fn changed(given: &Convert, read: Network, console: &Console) -> Result<Network, NetworkError> {
    let definition = match given.wave_definition {
        WaveDefinitionName::Kurokawa => WaveDefinition::Kurokawa,
        WaveDefinitionName::MarksWilliams => WaveDefinition::MarksWilliams,
        WaveDefinitionName::LineImpedance => WaveDefinition::LineImpedance,
    };
    let mut network = read;
    if network.modes().is_some() && !given.file_reference_ohm.is_empty() {
        return Err(NetworkError::MixedMode);
    }
    if !given.file_reference_ohm.is_empty() {
        // The same numbers, said to refer to something else.
        let entries = network.entries().to_vec();
        let references = given.file_reference_ohm.clone();
        network = Network::new(
            network.kind(),
            network.grid().clone(),
            network.ports(),
            entries,
            references,
        )?
        .with_wave_definition(definition);
    }
    if given.single_ended {
        if network.modes().is_none() {
            console.warning("the file is single-ended already");
        }
        network = to_single_ended(&network)?;
    }
    if let Some(points_hz) = wanted_points(given, &network)? {
        if let Some((low_hz, high_hz)) = given.band
            && (low_hz < network.grid().first_hz() || high_hz > network.grid().last_hz())
        {
            console.warning(&format!(
                "the band reaches beyond the data: {} to {} is left",
                ShownFrequency(points_hz[0]),
                ShownFrequency(points_hz[points_hz.len() - 1])
            ));
        }
        let interpolated = onto_grid(&network, &FrequencyGrid::from_hz(points_hz)?)?;
        if let Some(step) = interpolated.unsafe_step {
            console.warning(&step.to_string());
        }
        network = interpolated.network;
    }
    if !given.ports.is_empty() {
        network = select_ports(&network, &given.ports)?;
    }
    if !given.reference_ohm.is_empty() && network.modes().is_some() {
        // One reference per port could not be told from one per mode.
        return Err(NetworkError::MixedMode);
    }
    if !given.reference_ohm.is_empty() || network.wave_definition() != WaveDefinition::Kurokawa {
        let references = match given.reference_ohm.as_slice() {
            [] => network.references_ohm(0).to_vec(),
            list => list.to_vec(),
        };
        network = change_reference(&network, references, WaveDefinition::Kurokawa)?;
    }
    if given.make_passive {
        let (passive, change) = nearest_passive(&network)?;
        console.warning(&if change > 0.0 {
            format!("made passive: entries change by up to {change:.2e}")
        } else {
            "passive already: nothing is changed".to_owned()
        });
        network = passive;
    }
    if !given.pairs.is_empty() {
        network = to_mixed_mode(&network, &given.pairs)?;
    }
    match given.parameter {
        None => Ok(network),
        Some(parameter) => convert(
            &network,
            match parameter {
                Parameter::S => ParameterKind::Scattering,
                Parameter::Z => ParameterKind::Impedance,
                Parameter::Y => ParameterKind::Admittance,
                Parameter::H => ParameterKind::HybridH,
                Parameter::G => ParameterKind::HybridG,
            },
        ),
    }
}

/// The frequencies asked for, if other than the file's: those of the grid, or of the file, in the
/// band.
fn wanted_points(given: &Convert, network: &Network) -> Result<Option<Vec<f64>>, NetworkError> {
    let own = network.grid();
    let points = match (&given.grid, given.band) {
        (None, None) => return Ok(None),
        (Some(grid), _) => grid.0.as_slice(),
        (None, Some(_)) => own.as_hz(),
    };
    let Some((low_hz, high_hz)) = given.band else { return Ok(Some(points.to_vec())) };
    let inside: Vec<f64> =
        points.iter().copied().filter(|hz| (low_hz..=high_hz).contains(hz)).collect();
    if inside.is_empty() {
        let (first_hz, last_hz) = (own.first_hz(), own.last_hz());
        return Err(if high_hz < first_hz || low_hz > last_hz {
            NetworkError::OutsideData { frequency_hz: low_hz, first_hz, last_hz }
        } else {
            NetworkError::EmptyBand { low_hz, high_hz }
        });
    }
    Ok(Some(inside))
}
