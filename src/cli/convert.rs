//! `fourphase convert`.

use super::args::{Convert, Parameter, WaveDefinitionName};
use super::console::Console;
use super::failure::Failure;
use super::outcome::Outcome;
use super::output::{LATE_NOISE_LEFT_OUT, NOISE_LEFT_OUT, Outgoing};
use crate::network::{ParameterKind, Transformation, TransformationNote, WaveDefinition};
use crate::report::check_outputs;
use crate::touchstone::Comment;
use crate::units::ShownFrequency;

pub(super) fn run(given: &Convert, console: &Console) -> Result<Outcome, Failure> {
    let file = given.reading.read(&given.input, console)?;
    let inputs = [given.input.clone()];
    check_outputs(std::slice::from_ref(&given.output), &inputs, given.form.overwrite)?;
    let failed = |source| Failure::Network { file: given.input.clone(), source };
    let before = file.network;
    let (network, notes) = transformation(given).apply(&before).map_err(failed)?;
    for note in notes {
        console.warning(&shown(note));
    }

    let same_points = network.grid() == before.grid();
    let same_ports = network.ports() == before.ports()
        && given.ports.is_empty()
        && network.modes() == before.modes();
    if !file.noise.is_empty() && !same_ports {
        console.warning(NOISE_LEFT_OUT);
    }
    let last_hz = network.grid().last_hz();
    let is_late = same_ports && file.noise.first().is_some_and(|row| row.frequency_hz > last_hz);
    if is_late {
        console.warning(LATE_NOISE_LEFT_OUT);
    }
    // Comments among rows lose their places when the rows do, and what they say of ports is about the
    // ports that were.
    let place = |comment: Comment| {
        let is_of_ports = !same_ports && comment.text.to_lowercase().contains("port");
        Comment {
            sets_before: if same_points { comment.sets_before } else { 0 },
            text: if is_of_ports {
                format!(" before ports were changed:{}", comment.text)
            } else {
                comment.text
            },
        }
    };
    let outgoing = Outgoing {
        network,
        comments: file.comments.into_iter().map(place).collect(),
        noise: if same_ports && !is_late { file.noise } else { Vec::new() },
        noise_reference_ohm: file.noise_reference_ohm,
        number_format: file.number_format,
        frequency_unit: file.frequency_unit,
    };
    outgoing.write(&given.output, &given.form, &inputs, console)?;
    Ok(Outcome::Holds)
}

fn transformation(given: &Convert) -> Transformation {
    let definition = match given.wave_definition {
        WaveDefinitionName::Kurokawa => WaveDefinition::Kurokawa,
        WaveDefinitionName::MarksWilliams => WaveDefinition::MarksWilliams,
        WaveDefinitionName::LineImpedance => WaveDefinition::LineImpedance,
    };
    let has_reference = !given.file_reference_ohm.is_empty();
    Transformation {
        data_reference: has_reference.then(|| (given.file_reference_ohm.clone(), definition)),
        single_ended: given.single_ended,
        points_hz: given.grid.as_ref().map(|grid| grid.0.clone()),
        band_hz: given.band,
        ports: given.ports.clone(),
        reference_ohm: given.reference_ohm.clone(),
        make_passive: given.make_passive,
        pairs: given.pairs.clone(),
        parameter: given.parameter.map(|parameter| match parameter {
            Parameter::S => ParameterKind::Scattering,
            Parameter::Z => ParameterKind::Impedance,
            Parameter::Y => ParameterKind::Admittance,
            Parameter::H => ParameterKind::HybridH,
            Parameter::G => ParameterKind::HybridG,
        }),
    }
}

fn shown(note: TransformationNote) -> String {
    match note {
        TransformationNote::SingleEndedAlready => "the file is single-ended already".to_owned(),
        TransformationNote::BandCut { first_hz, last_hz } => format!(
            "the band reaches beyond the data: {} to {} remains",
            ShownFrequency(first_hz),
            ShownFrequency(last_hz)
        ),
        TransformationNote::UnsafeInterpolation(step) => step.to_string(),
        TransformationNote::MadePassive { largest_change } if largest_change > 0.0 => {
            format!("made passive: entries change by up to {largest_change:.2e}")
        }
        TransformationNote::MadePassive { .. } => "passive already: nothing is changed".to_owned(),
    }
}
