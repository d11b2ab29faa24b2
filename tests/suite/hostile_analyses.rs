//! Everything that is computed from a network alone, on networks of any numbers.

use crate::hostile_targets::Outcome;
use fourphase::measurement::{
    DecisionSettings, EntryAmount, EntryAmounts, ErrorSymmetry, OverFrequency, PartialMeasurement,
    RebuildSettings, Source, TrialSettings, UncertainSplitter, drift, rebuild,
    splitter_uncertainty, thru_residual,
};
use fourphase::network::{
    Load, Network, ParameterKind, Port, Terminal, ThruSplit, WaveDefinition, Wiring, assess, chain,
    change_reference, close_ports, compare, convert, join, nearest_passive, remove_access_lines,
    remove_open_short, remove_thru, to_mixed_mode,
};
use fourphase::report::{
    RebuildReport, SeenWith, inspect_text, rebuild_text, splitter_csv, splitter_text,
    splitter_uncertainty_csv,
};
use fourphase::requirement::{Limit, Quantity};
use fourphase::splitter::{
    GivenRoles, SplitterKind, SplitterSettings, analyse, scattering_over_band,
};
use fourphase::touchstone::{
    NumberFormat, ReadOptions, TouchstoneFile, Version, WriteOptions, parse, write,
};
use num_complex::Complex64;
use std::num::NonZeroUsize;

/// What `inspect` prints; refuses a file that is written and does not read back.
pub(crate) fn content(file: &TouchstoneFile) -> Result<String, String> {
    let quality = assess(&file.network).ok();
    let shown = inspect_text("x", file, quality.as_ref(), &[]);
    for version in [None, Some(Version::V1_0), Some(Version::V1_1), Some(Version::V2_0)] {
        for number_format in
            [NumberFormat::RealImaginary, NumberFormat::MagnitudeAngle, NumberFormat::DecibelAngle]
        {
            let options = WriteOptions { version, number_format, ..WriteOptions::default() };
            let mut bytes = Vec::new();
            if write(&mut bytes, file, &options).is_err() {
                continue;
            }
            let name = format!("x.s{}p", file.network.ports());
            let strict = ReadOptions { strict: true, ..ReadOptions::default() };
            let again = parse(&bytes, name.as_ref(), &strict);
            let text = String::from_utf8_lossy(&bytes);
            let has_odd_noise = file.noise.iter().any(|row| {
                row.minimum_noise_figure_db < 0.0 || row.optimum_reflection.norm() > 1.0
            });
            match again {
                Err(error) if !has_odd_noise && !is_at_limit(file) => {
                    return Err(format!("written and not read: {error}\n{text}"));
                }
                Ok(again) if again.network.grid() != file.network.grid() => {
                    return Err(format!("other frequencies come back:\n{text}"));
                }
                _ => {}
            }
        }
    }
    Ok(shown)
}

/// Whether rounding may move an entry or reference out of the range of magnitude.
fn is_at_limit(file: &TouchstoneFile) -> bool {
    let limit = 0.7 * file.network.kind().max_magnitude();
    file.network.entries().iter().any(|entry| entry.norm() > limit)
}

fn port(index: usize) -> Port {
    Port::from_index(index)
}

/// All analyses; a verdict is that of the splitter.
pub(crate) fn analyses_of(network: &Network, shown: String) -> Outcome {
    let _ = nearest_passive(network);
    for kind in [
        ParameterKind::Scattering,
        ParameterKind::Impedance,
        ParameterKind::Admittance,
        ParameterKind::HybridH,
        ParameterKind::HybridG,
    ] {
        if let Ok(there) = convert(network, kind) {
            let _ = convert(&there, network.kind());
        }
    }
    for reference in [Complex64::new(75.0, 10.0), 1e-12.into(), 1e12.into()] {
        let references = vec![reference; network.ports()];
        let _ = change_reference(network, references, WaveDefinition::Kurokawa);
    }
    for load in [Load::Impedance(0.0.into()), Load::Reflection(Complex64::ONE)] {
        let _ = close_ports(network, &[(port(0), load)]);
    }
    let _ = compare(network, network);
    let _ = remove_open_short(network, network, network);
    let _ = remove_access_lines(network, &vec![Some(network); network.ports()]);
    let own_ports: Vec<Port> = (0..network.ports()).map(port).collect();
    let _ = join(&[network.clone(), network.clone()], &wiring(network.ports()));
    match own_ports.len() {
        2 => two_port(network, shown),
        ports if ports >= 3 => {
            let _ = to_mixed_mode(network, &[(port(0), port(1))]);
            splitter(network, shown)
        }
        _ => Outcome::Done { passes: true, shown },
    }
}

/// Two copies of a network, the first port of one at the last of the other.
fn wiring(ports: usize) -> Wiring {
    let end = |block: usize, index: usize| Terminal { block, port: port(index) };
    let all = (0..2).flat_map(|block| (0..ports).map(move |index| end(block, index)));
    let joined = [end(0, 0), end(1, ports - 1)];
    Wiring {
        joins: vec![joined.to_vec()],
        outside: all.filter(|one| !joined.contains(one)).collect(),
    }
}

fn two_port(network: &Network, mut shown: String) -> Outcome {
    let _ = chain(network, network);
    for split in [ThruSplit::Line, ThruSplit::Pad] {
        let _ = remove_thru(network, network, split);
    }
    if let Ok(residual) = thru_residual(network) {
        shown.push_str(&format!(" {residual:?}"));
    }
    if let Ok(drift) = drift(network, network) {
        shown.push_str(&format!(" {drift:?}"));
    }
    let terminations = vec![vec![Complex64::ZERO; network.grid().len()]; 2];
    let measurement = |standard_uncertainty| PartialMeasurement {
        network: network.clone(),
        ports: vec![port(0), port(1)],
        terminations: terminations.clone(),
        standard_uncertainty,
    };
    for ohm in [50.0, 1e-12, 1e12] {
        let settings = RebuildSettings {
            ports: 2,
            reference_ohm: ohm,
            is_reciprocal: true,
            symmetries: vec![],
        };
        if let Ok(rebuilt) = rebuild(&settings, &[measurement(Some(1e-15)), measurement(Some(1e6))])
        {
            shown.push_str(&rebuild_text(&RebuildReport::new("x", &rebuilt)));
        }
    }
    Outcome::Done { passes: true, shown }
}

fn splitter(network: &Network, mut shown: String) -> Outcome {
    let limits = [
        Limit::new(Quantity::ImageRejection, 0.0),
        Limit::new(Quantity::AmplitudeImbalance, 40.0),
        Limit::new(Quantity::PhaseError, 90.0),
    ];
    let settings = SplitterSettings {
        roles: GivenRoles {
            kind: Some(SplitterKind::Quadrature),
            input: Some(port(0)),
            outputs: Some([port(1), port(2)]),
            ..GivenRoles::default()
        },
        limits: limits.into_iter().map(Result::unwrap).collect(),
        ..SplitterSettings::default()
    };
    let Ok(result) = analyse(network, &settings) else {
        return Outcome::Done { passes: false, shown };
    };
    let seen = SeenWith { references_ohm: vec![], loads: vec![] };
    shown.push_str(&splitter_text("x", &result, &seen, None));
    shown.push_str(&splitter_csv(&result).unwrap());
    let mut passes = result.compliance.passes();
    let Ok(own) = scattering_over_band(network, &settings) else {
        return Outcome::Broken("no matrices of a splitter that was analysed".to_owned());
    };
    let amount = |magnitude_np, magnitude_linear, phase_rad| EntryAmount {
        magnitude_np,
        magnitude_linear,
        phase_rad,
    };
    let points = own.grid().len();
    let amounts = EntryAmounts {
        transmission: vec![amount(0.01, 0.002, 0.01); points],
        reflection: vec![amount(0.0, 0.002, 0.0); points],
        symmetry: ErrorSymmetry::Reciprocal,
    };
    let known = Source::of_entries(&own, amounts, OverFrequency::Correlated)
        .and_then(|source| UncertainSplitter::new(&own, &settings, &result.roles, vec![source]))
        .and_then(|uncertain| {
            let trials = TrialSettings::default().with_trials(NonZeroUsize::new(50).unwrap());
            splitter_uncertainty(
                &uncertain,
                &result,
                &trials,
                &DecisionSettings::default(),
                &|_| {},
            )
        });
    if let Ok(known) = known {
        passes &= known.assessment.decision.passes();
        shown.push_str(&splitter_text("x", &result, &seen, Some(&known)));
        shown.push_str(&splitter_uncertainty_csv(&known, &result).unwrap());
    }
    Outcome::Done { passes, shown }
}
