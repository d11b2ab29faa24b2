//! The parts of the demo are what `data-demo/README.md` says: this builds each from its model by
//! nodal analysis and compares. With `FOURPHASE_WRITE_DEMO=1` it writes the files anew instead.

use crate::nodal::{GROUND, Line, NodalCircuit, Node};
use fourphase::network::{FrequencyGrid, Network, ParameterKind};
use fourphase::touchstone::{
    Comment, FrequencyUnit, NumberFormat, ReadOptions, TouchstoneFile, Version, WriteOptions, read,
    write,
};
use num_complex::Complex64;
use std::f64::consts::TAU;
use std::path::{Path, PathBuf};

const LIGHT_M_PER_S: f64 = 299_792_458.0;
/// The middle of the LO band.
const CENTRE_HZ: f64 = 29e9;

/// A line of the demo's process: its loss in dB per wavelength grows with the root of frequency.
#[derive(Clone, Copy)]
struct Strip {
    impedance_ohm: f64,
    permittivity: f64,
    length_m: f64,
    db_per_wavelength: f64,
}

impl Strip {
    /// A quarter of a wave long at the centre of the band.
    fn quarter(impedance_ohm: f64, permittivity: f64, db_per_wavelength: f64) -> Self {
        let length_m = LIGHT_M_PER_S / (4.0 * CENTRE_HZ * permittivity.sqrt());
        Self { impedance_ohm, permittivity, length_m, db_per_wavelength }
    }

    fn at(self, frequency_hz: f64) -> Line {
        let wavelengths = self.length_m * frequency_hz * self.permittivity.sqrt() / LIGHT_M_PER_S;
        // At the centre the loss is as named; the skin effect makes it grow with the root of frequency.
        let skin = (CENTRE_HZ / frequency_hz).sqrt();
        let attenuation_np =
            self.db_per_wavelength * wavelengths * skin * std::f64::consts::LN_10 / 20.0;
        Line {
            impedance_ohm: self.impedance_ohm,
            exponent: Complex64::new(attenuation_np, TAU * wavelengths),
        }
    }
}

fn capacitor(farad: f64, frequency_hz: f64) -> Complex64 {
    Complex64::new(0.0, TAU * frequency_hz * farad)
}

fn resistor(ohm: f64) -> Complex64 {
    Complex64::from(1.0 / ohm)
}

/// Input, through, coupled, isolated: a quarter-wave coupled pair whose modes differ in speed, with
/// pads, and a longer lead on the coupled side.
fn coupler(frequency_hz: f64) -> Vec<Complex64> {
    coupler_circuit(frequency_hz).scattering(&[0, 1, 2, 3].map(|pad| (pad, 50.0)))
}

fn coupler_circuit(frequency_hz: f64) -> NodalCircuit {
    let (even, odd) = (Strip::quarter(125.0, 7.3, 0.9), Strip::quarter(19.6, 7.3, 1.3));
    // The odd mode travels more in air and is faster; both modes have the same length.
    let odd = Strip { permittivity: 6.2, length_m: even.length_m, ..odd };
    let lead = |length_um: f64| Strip {
        impedance_ohm: 52.0,
        permittivity: 7.0,
        length_m: length_um * 1e-6,
        db_per_wavelength: 0.9,
    };
    let [input, through, coupled, isolated]: [Node; 4] = [0, 1, 2, 3];
    let [inner_in, inner_through, inner_coupled, inner_isolated]: [Node; 4] = [4, 5, 6, 7];
    let mut circuit = NodalCircuit::new(8);
    circuit.coupled(
        [inner_in, inner_through],
        [inner_coupled, inner_isolated],
        even.at(frequency_hz),
        odd.at(frequency_hz),
    );
    for (pad, inner, length_um) in [
        (input, inner_in, 60.0),
        (through, inner_through, 60.0),
        (coupled, inner_coupled, 98.0),
        (isolated, inner_isolated, 60.0),
    ] {
        circuit.line(pad, inner, lead(length_um).at(frequency_hz));
        circuit.branch(pad, GROUND, capacitor(9e-15, frequency_hz));
    }
    // The crossover between the strips adds a little to one inner corner.
    circuit.branch(inner_through, GROUND, capacitor(8e-15, frequency_hz));
    circuit
}

/// Two ports of the coupler measured, the others in the loads that `rebuild/set.toml` names.
fn pair(one: Node, other: Node, frequency_hz: f64) -> Vec<Complex64> {
    let mut circuit = coupler_circuit(frequency_hz);
    for pad in (0..4).filter(|pad| ![one, other].contains(pad)) {
        let end = match pad {
            0 => resistor(47.0),
            1 => resistor(53.5),
            2 => isolation_admittance(frequency_hz),
            _ => resistor(56.0),
        };
        circuit.branch(pad, GROUND, end);
    }
    circuit.scattering(&[(one, 50.0), (other, 50.0)])
}

/// A line of so many micrometres between two pads and their leads, as a probe meets it; without one the
/// pads stand open, with nought micrometres the leads end in ground.
fn on_pads(length_um: Option<f64>, is_shorted: bool, frequency_hz: f64) -> Vec<Complex64> {
    let lead = Complex64::new(0.35, TAU * frequency_hz * 28e-12).inv();
    let [left, right, inner_left, inner_right]: [Node; 4] = [0, 1, 2, 3];
    let mut circuit = NodalCircuit::new(4);
    for (pad, inner) in [(left, inner_left), (right, inner_right)] {
        circuit.branch(pad, GROUND, capacitor(11e-15, frequency_hz));
        circuit.branch(pad, inner, lead);
        // Keeps nodes that nothing else holds from floating: a picosiemens is nothing.
        let end = if is_shorted { Complex64::from(1e6) } else { Complex64::from(1e-12) };
        circuit.branch(inner, GROUND, end);
    }
    circuit.branch(left, right, capacitor(0.8e-15, frequency_hz));
    if let Some(length_um) = length_um {
        let strip = Strip {
            impedance_ohm: 50.0,
            permittivity: 7.0,
            length_m: length_um * 1e-6,
            db_per_wavelength: 0.9,
        };
        circuit.line(inner_left, inner_right, strip.at(frequency_hz));
    }
    circuit.scattering(&[(left, 50.0), (right, 50.0)])
}

/// Input, plus, minus: two quarter-wave coupled sections, the second slightly shorter.
fn balun(frequency_hz: f64) -> Vec<Complex64> {
    balun_with(0.985, 6e-15, frequency_hz)
}

/// The same on the Q side, a little worse.
fn balun_q(frequency_hz: f64) -> Vec<Complex64> {
    balun_with(0.97, 9e-15, frequency_hz)
}

fn balun_with(second_length: f64, input_pad_f: f64, frequency_hz: f64) -> Vec<Complex64> {
    let (even, odd) = (Strip::quarter(95.0, 7.3, 1.0), Strip::quarter(26.0, 6.8, 1.3));
    let odd = Strip { length_m: even.length_m, ..odd };
    let shorter = |strip: Strip| Strip { length_m: second_length * strip.length_m, ..strip };
    let [input, plus, minus, middle, open]: [Node; 5] = [0, 1, 2, 3, 4];
    let mut circuit = NodalCircuit::new(5);
    // The input line runs past both sections to an open end; each output line is grounded at its
    // outer end and feeds its port at the inner one.
    circuit.coupled([input, middle], [GROUND, plus], even.at(frequency_hz), odd.at(frequency_hz));
    circuit.coupled(
        [middle, open],
        [minus, GROUND],
        shorter(even).at(frequency_hz),
        shorter(odd).at(frequency_hz),
    );
    for (node, pad_f) in [(input, input_pad_f), (plus, 6e-15), (minus, 6e-15)] {
        circuit.branch(node, GROUND, capacitor(pad_f, frequency_hz));
    }
    circuit.branch(open, GROUND, capacitor(3e-15, frequency_hz));
    circuit.scattering(&[(input, 50.0), (plus, 50.0), (minus, 50.0)])
}

/// Input and two outputs: a one-stage divider whose resistor and arms are not quite equal.
fn divider(frequency_hz: f64) -> Vec<Complex64> {
    let arm = Strip::quarter(70.7, 7.1, 0.9);
    let longer = Strip { impedance_ohm: 72.0, length_m: 1.01 * arm.length_m, ..arm };
    let [input, one, two]: [Node; 3] = [0, 1, 2];
    let mut circuit = NodalCircuit::new(3);
    circuit.line(input, one, arm.at(frequency_hz));
    circuit.line(input, two, longer.at(frequency_hz));
    circuit.branch(one, two, resistor(94.0) + capacitor(2e-15, frequency_hz));
    for node in [input, one, two] {
        circuit.branch(node, GROUND, capacitor(5e-15, frequency_hz));
    }
    circuit.scattering(&[(input, 50.0), (one, 50.0), (two, 50.0)])
}

/// The line from the coupler to the I balun.
fn lead_i(frequency_hz: f64) -> Vec<Complex64> {
    lead(420.0, 51.0, frequency_hz)
}

/// That to the Q balun: longer by 10 um.
fn lead_q(frequency_hz: f64) -> Vec<Complex64> {
    lead(430.0, 51.0, frequency_hz)
}

fn lead(length_um: f64, impedance_ohm: f64, frequency_hz: f64) -> Vec<Complex64> {
    let strip = Strip {
        impedance_ohm,
        permittivity: 7.0,
        length_m: length_um * 1e-6,
        db_per_wavelength: 0.9,
    };
    let mut circuit = NodalCircuit::new(2);
    circuit.line(0, 1, strip.at(frequency_hz));
    circuit.scattering(&[(0, 50.0), (1, 50.0)])
}

/// A mixer's gate with the resistor that tames it.
fn gate(frequency_hz: f64) -> Vec<Complex64> {
    let omega = TAU * frequency_hz;
    let channel = Complex64::new(12.0, omega * 40e-12 - 1.0 / (omega * 70e-15));
    let mut circuit = NodalCircuit::new(1);
    circuit.branch(0, GROUND, resistor(70.0));
    circuit.branch(0, GROUND, channel.inv());
    circuit.scattering(&[(0, 50.0)])
}

/// What ends the coupler's isolated port: a film resistor and the via behind it.
fn isolation_resistor(frequency_hz: f64) -> Vec<Complex64> {
    let mut circuit = NodalCircuit::new(1);
    circuit.branch(0, GROUND, isolation_admittance(frequency_hz));
    circuit.scattering(&[(0, 50.0)])
}

fn isolation_admittance(frequency_hz: f64) -> Complex64 {
    let film = Complex64::new(46.5, TAU * frequency_hz * 14e-12);
    film.inv() + capacitor(6e-15, frequency_hz)
}

struct Part {
    name: &'static str,
    ports: usize,
    comments: &'static [&'static str],
    model: fn(f64) -> Vec<Complex64>,
}

const PARTS: [Part; 21] = [
    Part {
        name: "coupler.s4p",
        ports: 4,
        comments: &[
            " synthetic quadrature coupler for 27 to 31 GHz, see README.md beside this file",
            " ports: 1 input, 2 through, 3 coupled, 4 isolated",
        ],
        model: coupler,
    },
    Part {
        name: "balun.s3p",
        ports: 3,
        comments: &[
            " synthetic balun for 27 to 31 GHz, see README.md beside this file",
            " ports: 1 unbalanced, 2 plus, 3 minus",
        ],
        model: balun,
    },
    Part {
        name: "divider.s3p",
        ports: 3,
        comments: &[
            " synthetic in-phase divider for 25.5 to 32.5 GHz, see README.md beside this file",
            " ports: 1 input, 2 and 3 outputs",
        ],
        model: divider,
    },
    Part {
        name: "balun_q.s3p",
        ports: 3,
        comments: &[
            " synthetic balun of the Q side for 27 to 31 GHz, see README.md beside this file",
            " ports: 1 unbalanced, 2 plus, 3 minus",
        ],
        model: balun_q,
    },
    Part {
        name: "lead_i.s2p",
        ports: 2,
        comments: &[" synthetic line from coupler to I balun, see README.md beside this file"],
        model: lead_i,
    },
    Part {
        name: "lead_q.s2p",
        ports: 2,
        comments: &[" synthetic line from coupler to Q balun, see README.md beside this file"],
        model: lead_q,
    },
    Part {
        name: "gate.s1p",
        ports: 1,
        comments: &[" synthetic LO port of a mixer transistor, see README.md beside this file"],
        model: gate,
    },
    Part {
        name: "isolation_resistor.s1p",
        ports: 1,
        comments: &[" synthetic resistor of an isolated port, see README.md beside this file"],
        model: isolation_resistor,
    },
    Part {
        name: "rebuild/p12.s2p",
        ports: 2,
        comments: &[" synthetic: ports 1 and 2 of the coupler, see README.md one folder up"],
        model: |hz| pair(0, 1, hz),
    },
    Part {
        name: "rebuild/p13.s2p",
        ports: 2,
        comments: &[" synthetic: ports 1 and 3 of the coupler, see README.md one folder up"],
        model: |hz| pair(0, 2, hz),
    },
    Part {
        name: "rebuild/p14.s2p",
        ports: 2,
        comments: &[" synthetic: ports 1 and 4 of the coupler, see README.md one folder up"],
        model: |hz| pair(0, 3, hz),
    },
    Part {
        name: "rebuild/p23.s2p",
        ports: 2,
        comments: &[" synthetic: ports 2 and 3 of the coupler, see README.md one folder up"],
        model: |hz| pair(1, 2, hz),
    },
    Part {
        name: "rebuild/p24.s2p",
        ports: 2,
        comments: &[" synthetic: ports 2 and 4 of the coupler, see README.md one folder up"],
        model: |hz| pair(1, 3, hz),
    },
    Part {
        name: "rebuild/p34.s2p",
        ports: 2,
        comments: &[" synthetic: ports 3 and 4 of the coupler, see README.md one folder up"],
        model: |hz| pair(2, 3, hz),
    },
    Part {
        name: "station/open.s2p",
        ports: 2,
        comments: &[" synthetic: the pads, nothing between them, see README.md one folder up"],
        model: |hz| on_pads(None, false, hz),
    },
    Part {
        name: "station/short.s2p",
        ports: 2,
        comments: &[" synthetic: the leads ending in ground, see README.md one folder up"],
        model: |hz| on_pads(None, true, hz),
    },
    Part {
        name: "station/through.s2p",
        ports: 2,
        comments: &[" synthetic: 25 um between the leads, see README.md one folder up"],
        model: |hz| on_pads(Some(25.0), false, hz),
    },
    Part {
        name: "station/through_after.s2p",
        ports: 2,
        comments: &[
            " synthetic: the through an hour later, a probe 4 um off, see README.md one folder up",
        ],
        model: |hz| on_pads(Some(29.0), false, hz),
    },
    Part {
        name: "station/line_d1.s2p",
        ports: 2,
        comments: &[" synthetic: a line of 420 um on die 1, see README.md one folder up"],
        model: |hz| on_pads(Some(420.0), false, hz),
    },
    Part {
        name: "station/line_d2.s2p",
        ports: 2,
        comments: &[" synthetic: a line of 430 um on die 2, see README.md one folder up"],
        model: |hz| on_pads(Some(430.0), false, hz),
    },
    Part {
        name: "station/line_d3.s2p",
        ports: 2,
        comments: &[" synthetic: a line of 424 um on die 3, see README.md one folder up"],
        model: |hz| on_pads(Some(424.0), false, hz),
    },
];

fn folder() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("data-demo")
}

fn built(part: &Part) -> TouchstoneFile {
    let grid = FrequencyGrid::linear(24e9, 34e9, 101).unwrap();
    // Six digits, as a probe station writes them.
    let rounded = |value: f64| (value * 1e6).round() / 1e6;
    let entries = grid
        .as_hz()
        .iter()
        .flat_map(|&hz| (part.model)(hz))
        .map(|value| Complex64::new(rounded(value.re), rounded(value.im)))
        .collect();
    let network =
        Network::new(ParameterKind::Scattering, grid, part.ports, entries, vec![50.0.into()])
            .unwrap();
    TouchstoneFile {
        version: Version::V1_0,
        number_format: NumberFormat::RealImaginary,
        frequency_unit: FrequencyUnit::Gigahertz,
        network,
        port_references_ohm: vec![50.0; part.ports],
        noise: Vec::new(),
        noise_reference_ohm: 50.0,
        comments: part
            .comments
            .iter()
            .map(|text| Comment { text: (*text).to_owned(), sets_before: 0 })
            .collect(),
        warnings: Vec::new(),
    }
}

#[test]
fn files_are_what_their_models_give() {
    for part in &PARTS {
        let path = folder().join(part.name);
        let file = built(part);
        if std::env::var_os("FOURPHASE_WRITE_DEMO").is_some() {
            let options = WriteOptions {
                number_format: NumberFormat::RealImaginary,
                ..WriteOptions::default()
            };
            let mut bytes = Vec::new();
            write(&mut bytes, &file, &options).unwrap();
            std::fs::create_dir_all(path.parent().unwrap()).unwrap();
            std::fs::write(&path, bytes).unwrap();
        }
        let strict = ReadOptions { strict: true, ..ReadOptions::default() };
        let stored = read(&path, &strict).unwrap();
        // The last digit may round the other way on another machine's sine.
        let worst = stored
            .network
            .entries()
            .iter()
            .zip(file.network.entries())
            .map(|(one, other)| (one - other).norm())
            .fold(0.0, f64::max);
        assert!(worst < 2e-6, "{}: {worst:e}", part.name);
        assert_eq!(stored.comments, file.comments);
    }
}
