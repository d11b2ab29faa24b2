//! What is written reads back: the same bits in RI, 1e-12 in MA and DB, and without a warning.

use fourphase::network::{FrequencyGrid, Network, ParameterKind, Port, PortMode};
use fourphase::touchstone::{
    Comment, FrequencyUnit, NoisePoint, NumberFormat, ReadOptions, TouchstoneFile, Version,
    WarningCode, WriteError, WriteOptions, parse, read, write,
};
use num_complex::Complex64;
use proptest::prelude::*;
use std::path::Path;

fn reread(file: &TouchstoneFile, options: &WriteOptions) -> TouchstoneFile {
    let mut bytes = Vec::new();
    write(&mut bytes, file, options).unwrap();
    let name = format!("written.s{}p", file.network.ports());
    let strict = ReadOptions { strict: true, ..ReadOptions::default() };
    let read = parse(&bytes, Path::new(&name), &strict)
        .unwrap_or_else(|error| panic!("{error}\n{}", String::from_utf8_lossy(&bytes)));
    // Impossible noise values are kept, and reported again; nothing else may be.
    let new: Vec<_> =
        read.warnings.iter().filter(|w| w.code != WarningCode::NoiseUnphysical).collect();
    assert!(new.is_empty(), "{new:?}");
    read
}

fn kind() -> impl Strategy<Value = ParameterKind> {
    prop_oneof![
        3 => Just(ParameterKind::Scattering),
        1 => Just(ParameterKind::Impedance),
        1 => Just(ParameterKind::Admittance),
        1 => Just(ParameterKind::HybridH),
        1 => Just(ParameterKind::HybridG),
    ]
}

fn number_format() -> impl Strategy<Value = NumberFormat> {
    prop_oneof![
        Just(NumberFormat::RealImaginary),
        Just(NumberFormat::MagnitudeAngle),
        Just(NumberFormat::DecibelAngle)
    ]
}

fn unit() -> impl Strategy<Value = FrequencyUnit> {
    prop_oneof![
        Just(FrequencyUnit::Hertz),
        Just(FrequencyUnit::Kilohertz),
        Just(FrequencyUnit::Megahertz),
        Just(FrequencyUnit::Gigahertz)
    ]
}

/// Any double of a size that matrices have, zero included where the format can express it.
fn part() -> impl Strategy<Value = f64> {
    prop_oneof![8 => -2.0..2.0_f64, 1 => Just(0.0), 1 => -1e-12..1e-12_f64, 1 => -1e6..1e6_f64]
}

prop_compose! {
    fn generated()(
        kind in kind(),
        ports in 1_usize..7,
        points in 1_usize..5,
        uniform in any::<bool>(),
    )(
        kind in Just(kind),
        ports in Just(if kind.is_two_port_only() { 2 } else { ports }),
        steps in prop::collection::vec(1e-3..5e9_f64, points),
        parts in prop::collection::vec((part(), part()), points * 49),
        references in prop::collection::vec(0.01..500.0_f64, 7),
        uniform in Just(uniform),
        with_noise in any::<bool>(),
        comments in prop::collection::vec("[ -~]{0,30}", 0..3),
    ) -> TouchstoneFile {
        let mut hz = 0.0;
        let frequencies: Vec<f64> = steps.iter().map(|step| { hz += step; hz }).collect();
        let points = frequencies.len();
        let entries = parts.iter().take(points * ports * ports).map(|&(re, im)| Complex64::new(re, im)).collect();
        let references: Vec<f64> =
            (0..ports).map(|port| if uniform { references[0] } else { references[port] }).collect();
        let noise = if with_noise && ports == 2 {
            vec![NoisePoint {
                frequency_hz: frequencies[0],
                minimum_noise_figure_db: 1.25,
                optimum_reflection: Complex64::from_polar(0.4, 0.7),
                noise_resistance_ohm: 17.0,
            }]
        } else {
            vec![]
        };
        let sets = comments.len().min(points);
        TouchstoneFile {
            version: Version::V1_0,
            number_format: NumberFormat::RealImaginary,
            frequency_unit: FrequencyUnit::Gigahertz,
            network: Network::new(
                kind,
                FrequencyGrid::from_hz(frequencies).unwrap(),
                ports,
                entries,
                references.iter().map(|&ohm| ohm.into()).collect(),
            ).unwrap(),
            noise_reference_ohm: references[0],
            port_references_ohm: references,
            noise,
            comments: comments
                .into_iter()
                .enumerate()
                .map(|(at, text)| Comment { text, sets_before: at.min(sets) })
                .collect(),
            warnings: vec![],
        }
    }
}

proptest! {
    #[test]
    fn written_files_read_back(file in generated(), number_format in number_format(), frequency_unit in unit(), version in 0..4) {
        let version = [None, Some(Version::V1_1), Some(Version::V2_0), Some(Version::V2_1)][version as usize];
        let has_zero = file.network.entries().iter().any(|entry| entry.norm() == 0.0);
        prop_assume!(!(has_zero && number_format == NumberFormat::DecibelAngle));
        let got = reread(&file, &WriteOptions { version, number_format, frequency_unit });
        let (before, after) = (&file.network, &got.network);
        prop_assert_eq!(before.kind(), after.kind());
        prop_assert_eq!(before.grid(), after.grid());
        prop_assert_eq!(&file.port_references_ohm, &got.port_references_ohm);
        prop_assert_eq!(&file.comments, &got.comments);
        // Bits return in RI, unless version 1 had to normalise to R and back.
        let is_absolute = before.kind() == ParameterKind::Scattering || got.version.has_keywords();
        if number_format == NumberFormat::RealImaginary && is_absolute {
            for (one, other) in before.entries().iter().zip(after.entries()) {
                prop_assert_eq!((one.re.to_bits(), one.im.to_bits()), (other.re.to_bits(), other.im.to_bits()));
            }
        }
        for (one, other) in before.entries().iter().zip(after.entries()) {
            prop_assert!((one - other).norm() <= 1e-12 * one.norm(), "{} {}", one, other);
        }
        for (one, other) in file.noise.iter().zip(&got.noise) {
            prop_assert!((one.optimum_reflection - other.optimum_reflection).norm() < 1e-12);
            prop_assert!((one.noise_resistance_ohm - other.noise_resistance_ohm).abs() < 1e-12 * one.noise_resistance_ohm);
        }
        prop_assert_eq!(file.noise.len(), got.noise.len());
    }
}

#[test]
fn every_valid_file_of_the_corpus_writes_and_reads_back() {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/corpus/valid");
    let mut written = 0;
    for entry in std::fs::read_dir(folder).unwrap() {
        let path = entry.unwrap().path();
        let file = read(&path, &ReadOptions::default()).unwrap();
        let options =
            WriteOptions { number_format: NumberFormat::RealImaginary, ..WriteOptions::default() };
        if file.network.grid().first_repeat().is_some() {
            let refused = write(&mut Vec::new(), &file, &options);
            assert!(
                matches!(refused, Err(WriteError::RepeatedFrequency { .. })),
                "{}",
                path.display()
            );
            continue;
        }
        let is_repeated =
            |pair: &[NoisePoint]| pair[0].frequency_hz.total_cmp(&pair[1].frequency_hz).is_eq();
        if file.noise.windows(2).any(is_repeated) {
            continue;
        }
        if file.noise.first().is_some_and(|row| row.frequency_hz > file.network.grid().last_hz()) {
            // The standard allows no such noise; the reader only tolerates it.
            continue;
        }
        let got = reread(&file, &options);
        for (one, other) in file.network.entries().iter().zip(got.network.entries()) {
            assert!((one - other).norm() <= 1e-12 * one.norm(), "{}", path.display());
        }
        assert_eq!(file.network.modes(), got.network.modes(), "{}", path.display());
        written += 1;
    }
    assert!(written > 90, "{written}");
}

#[test]
fn what_a_file_cannot_hold_is_refused_by_name() {
    let grid = || FrequencyGrid::from_hz(vec![1e9]).unwrap();
    let file = |network: Network| TouchstoneFile {
        version: Version::V1_0,
        number_format: NumberFormat::RealImaginary,
        frequency_unit: FrequencyUnit::Gigahertz,
        port_references_ohm: vec![50.0; network.ports()],
        network,
        noise: vec![],
        noise_reference_ohm: 50.0,
        comments: vec![],
        warnings: vec![],
    };
    let refused = |network: Network, options: &WriteOptions| {
        write(&mut Vec::new(), &file(network), options).unwrap_err()
    };
    let one = |reference: Complex64| {
        Network::new(ParameterKind::Scattering, grid(), 1, vec![Complex64::ZERO], vec![reference])
            .unwrap()
    };
    let plain = WriteOptions::default();
    assert!(matches!(
        refused(one(Complex64::new(40.0, 10.0)), &plain),
        WriteError::ComplexReference { port: 1, .. }
    ));
    let decibel = WriteOptions { number_format: NumberFormat::DecibelAngle, ..plain.clone() };
    assert!(matches!(refused(one(50.0.into()), &decibel), WriteError::ZeroInDecibels { .. }));
    // Zero only after the division by the reference that version 1 asks for.
    let tiny = vec![Complex64::new(5e-324, 0.0)];
    let tiny = Network::new(ParameterKind::Impedance, grid(), 1, tiny, vec![50.0.into()]).unwrap();
    assert!(matches!(refused(tiny, &decibel), WriteError::ZeroInDecibels { .. }));
    let pair = |at| Port::from_index(at);
    let mixed = Network::new(
        ParameterKind::Scattering,
        grid(),
        2,
        vec![Complex64::ZERO; 4],
        vec![100.0.into(), 25.0.into()],
    )
    .unwrap()
    .with_modes(vec![PortMode::Differential(pair(0), pair(1)), PortMode::Common(pair(0), pair(1))])
    .unwrap();
    let old = WriteOptions { version: Some(Version::V1_1), ..plain };
    assert!(matches!(refused(mixed, &old), WriteError::NeedsKeywords { what: "mixed modes", .. }));
}

#[test]
fn mode_references_that_do_not_belong_together_are_refused() {
    let port = Port::from_index;
    let modes = vec![PortMode::Differential(port(0), port(1)), PortMode::Common(port(0), port(1))];
    let grid = FrequencyGrid::from_hz(vec![1e9]).unwrap();
    let entries = vec![Complex64::ZERO; 4];
    let network =
        Network::new(ParameterKind::Scattering, grid, 2, entries, vec![75.0.into()]).unwrap();
    let file = TouchstoneFile {
        version: Version::V2_0,
        number_format: NumberFormat::RealImaginary,
        frequency_unit: FrequencyUnit::Gigahertz,
        network: network.with_modes(modes).unwrap(),
        port_references_ohm: vec![],
        noise: vec![],
        noise_reference_ohm: 50.0,
        comments: vec![],
        warnings: vec![],
    };
    let refused = write(&mut Vec::new(), &file, &WriteOptions::default());
    assert!(matches!(refused, Err(WriteError::ModeReferences { .. })));
}

#[test]
fn comments_keep_their_places() {
    let text = "! head\n# GHz S RI R 50\n1 0 0 ! first\n! between\n2 0 0\n! last\n";
    let file = parse(text.as_bytes(), Path::new("a.s1p"), &ReadOptions::default()).unwrap();
    let places: Vec<_> = file.comments.iter().map(|c| (c.text.trim(), c.sets_before)).collect();
    assert_eq!(places, [("head", 0), ("first", 1), ("between", 1), ("last", 2)]);
    let mut bytes = Vec::new();
    let options =
        WriteOptions { number_format: NumberFormat::RealImaginary, ..WriteOptions::default() };
    write(&mut bytes, &file, &options).unwrap();
    let want = "! head\n# GHz S RI R 50\n1 0 0\n! first\n! between\n2 0 0\n! last\n";
    assert_eq!(String::from_utf8(bytes).unwrap(), want);
}

#[test]
fn noise_above_the_network_is_refused() {
    let text = "# GHz S RI R 50\n1 0 0 .5 0 .5 0 0 0\n2 1 .3 40 .2\n";
    let file = parse(text.as_bytes(), Path::new("a.s2p"), &ReadOptions::default()).unwrap();
    for version in [None, Some(Version::V1_0), Some(Version::V2_0)] {
        let options = WriteOptions { version, ..WriteOptions::default() };
        let refused = write(&mut Vec::new(), &file, &options).unwrap_err();
        assert!(matches!(refused, WriteError::NoiseAboveNetwork { .. }), "{refused}");
    }
}

#[test]
fn frequencies_above_four_terahertz_come_back_to_the_bit() {
    let places: [f64; 3] = [4.2e12, 5e12, 9.1e13];
    let hz = places.into_iter().flat_map(|hz| [hz, hz.next_up(), hz.next_up().next_up()]).collect();
    let grid = FrequencyGrid::from_hz(hz).unwrap();
    let entries = vec![Complex64::ZERO; grid.len()];
    let network =
        Network::new(ParameterKind::Scattering, grid, 1, entries, vec![50.0.into()]).unwrap();
    let text = b"# GHz S RI R 50\n1 0 0\n";
    let like = parse(text, Path::new("a.s1p"), &ReadOptions::default()).unwrap();
    let file = TouchstoneFile { network, ..like };
    for frequency_unit in [FrequencyUnit::Gigahertz, FrequencyUnit::Hertz] {
        let options = WriteOptions { frequency_unit, ..WriteOptions::default() };
        assert_eq!(reread(&file, &options).network.grid(), file.network.grid());
    }
}

#[test]
fn version_1_normalises_to_the_last_bit_or_next_to_it() {
    for (kind, entry) in [("Z", 37.3), ("Y", 0.0193), ("Z", 1e-7 / 3.0), ("Y", 2.0 / 7e3)] {
        let text = format!("# GHz {kind} RI R 50\n1 {entry} {}\n", entry / 3.0);
        let file = parse(text.as_bytes(), Path::new("a.s1p"), &ReadOptions::default()).unwrap();
        let number_format = NumberFormat::RealImaginary;
        let version = Some(Version::V1_0);
        let options = WriteOptions { version, number_format, ..WriteOptions::default() };
        let (own, back) = (file.network.entries()[0], reread(&file, &options).network.entries()[0]);
        // It was read from a version 1 file, so there is a number that gives the same bits.
        assert_eq!(own, back, "{kind} {entry}");
    }
    // 1e29 S are 1e36 in units of 1/R for R = 1e7 ohm, which the reader refuses.
    let text = "[Version] 2.0\n# GHz Y RI R 1e7\n[Number of Ports] 1\n\
                [Number of Frequencies] 1\n[Reference] 1e7\n[Network Data]\n1 1e29 0\n[End]\n";
    let file = parse(text.as_bytes(), Path::new("a.ts"), &ReadOptions::default()).unwrap();
    let options = WriteOptions { version: Some(Version::V1_0), ..WriteOptions::default() };
    let refused = write(&mut Vec::new(), &file, &options).unwrap_err();
    assert!(matches!(refused, WriteError::TooLarge { .. }), "{refused}");
}
