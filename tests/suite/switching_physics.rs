//! Switched mixers against physics: equilibrium noise, the attenuator rule, an exact solution in time,
//! and the published four-phase formulas.

use crate::check_values::{cases, topic};
use crate::switching_cases::SwitchingCase;
use fourphase::downconverter::{
    BeyondSidebands, Channel, ConversionSolver, IF_LOAD_REFERENCE_OHM, IfNode, OutputWeights,
    Sideband, SidebandData, Switch, SwitchSettings, SwitchedElement, SwitchedMixer,
    SwitchedMixerSettings,
};
use num_complex::Complex64;
use std::f64::consts::{FRAC_PI_2, PI, TAU};

const LO_HZ: f64 = 28e9;

/// At one temperature every node has 4 k T Re Z of its own impedance, whatever the LO does (H. Nyquist
/// 1928; pumped conductances: C. Dragone 1968, from memory). The IF loads of this case are lossless, so
/// that all noise is counted; at another temperature than the source's the same sum is that of the
/// attenuator rule, T (4 Re Z - sum |v_k|^2) + 290 K sum |v_k|^2.
#[test]
fn noise_at_one_temperature_is_that_of_the_impedance() {
    let topic = topic("15_switching.json");
    let given = cases(&topic, "floating-dc")[0];
    for temperature_k in [290.0, 77.0, 400.0] {
        let mut case = given.clone();
        case["inputs"]["temperature_k"] = temperature_k.into();
        for (sidebands, beyond) in [(1, BeyondSidebands::Shorted), (4, BeyondSidebands::Shorted)] {
            let mut own = SwitchingCase::of(&case);
            own.solve(sidebands, beyond);
            for node in 0..own.if_nodes.len() {
                let weights: Vec<Complex64> = (0..own.if_nodes.len())
                    .map(|at| Complex64::from(f64::from(u8::from(at == node))))
                    .collect();
                let volts = own.solver.if_voltage(node, Sideband::Upper).norm_sqr();
                let shares =
                    own.solver.noise(OutputWeights::same(&weights), Sideband::Upper).unwrap();
                let source = volts * (1.0 + shares.source_image + shares.source_other);
                let thermal = 4.0 * own.solver.if_impedance_ohm(node).re;
                let want = temperature_k / 290.0 * (thermal - source) + source;
                let got = volts * shares.factor();
                // Rounding of a sum of some hundred terms.
                assert!(
                    (got / want - 1.0).abs() < 1e-11,
                    "{temperature_k} {sidebands}: {got} {want}"
                );
            }
        }
    }
}

/// Four hard switches on one RF node, with a load of `ohm` and `farad` at each IF node.
struct FourPhases {
    source_ohm: f64,
    on_ohm: f64,
    load_ohm: f64,
    farad: f64,
    /// The part of a period for which each is on; at most a quarter.
    duty: f64,
}

impl FourPhases {
    fn solved(&self, if_hz: f64, sidebands: usize) -> ConversionSolver {
        let threshold_v = (PI * self.duty).cos();
        let switch = Switch::new(SwitchSettings {
            on_ohm: self.on_ohm,
            off_ohm: f64::INFINITY,
            off_f: 0.0,
            threshold_v,
            slope_v: 0.0,
        })
        .unwrap();
        let nodes =
            [(Channel::I, false), (Channel::I, true), (Channel::Q, false), (Channel::Q, true)];
        let element = |if_node| SwitchedElement {
            switch,
            lo_to_rf_f: 0.0,
            lo_to_if_f: 0.0,
            rf_node: 0,
            if_node,
        };
        let mixer = SwitchedMixer::new(SwitchedMixerSettings {
            elements: (0..4).map(element).collect(),
            if_nodes: nodes
                .map(|(channel, is_subtracted)| IfNode { channel, is_subtracted })
                .into(),
            references_ohm: vec![50.0; 2],
            source_ohm: self.source_ohm.into(),
            differential_ohm: None,
            lo_harmonic: 1,
            temperature_k: 290.0,
        })
        .unwrap();
        let peaks = [0.0, PI, FRAC_PI_2, -FRAC_PI_2].map(|angle| Complex64::from_polar(1.0, angle));
        let through = [0.0, 1.0, 1.0, 0.0].map(Complex64::from);
        let load = |k: isize| {
            let hz = (if_hz + k as f64 * LO_HZ).abs();
            let relative =
                IF_LOAD_REFERENCE_OHM * Complex64::new(1.0 / self.load_ohm, TAU * hz * self.farad);
            (1.0 - relative) / (1.0 + relative)
        };
        let mut solver = ConversionSolver::new(mixer);
        let data =
            SidebandData { lo_hz: LO_HZ, if_hz, sidebands, rf: &|_| &through, if_load: &load };
        solver.solve(&data, &peaks, BeyondSidebands::Resistance).unwrap();
        solver
    }

    /// The IF phasor of the element whose LO has this phase, exactly: at most one element is on at a
    /// time, so that its capacitor charges through R_s + R_on while it is on and discharges through the
    /// load at all times. v = A e^(lambda t) + B e^(j w t) in each of the two intervals, continuous, and
    /// v(T) = e^(j w_IF T) v(0).
    fn exact_if_v(&self, if_hz: f64, sideband: f64, lo_phase: f64) -> Complex64 {
        let period = 1.0 / LO_HZ;
        let rf = TAU * (LO_HZ + sideband * if_hz) * sideband;
        let emf = 2.0 * self.source_ohm.sqrt();
        let series = self.source_ohm + self.on_ohm;
        let off_rate = -1.0 / (self.load_ohm * self.farad);
        let on_rate = off_rate - 1.0 / (series * self.farad);
        let forced = emf / (series * self.farad) / (Complex64::new(0.0, rf) - on_rate);
        let start = (-lo_phase / TAU - 0.5 * self.duty) * period;
        let (on_s, off_s) = (self.duty * period, (1.0 - self.duty) * period);
        let wave = |t: f64| forced * Complex64::from_polar(1.0, rf * t);
        // v(end of on) = (v0 - wave(start)) e^(on) + wave(end), then decays to v0 e^(j w_IF T).
        let (on_decay, off_decay) = ((on_rate * on_s).exp(), (off_rate * off_s).exp());
        let turn = Complex64::from_polar(1.0, TAU * if_hz * period);
        let v0 = (wave(start + on_s) - wave(start) * on_decay) * off_decay
            / (turn - on_decay * off_decay);
        let own = v0 - wave(start);
        let v1 = own * on_decay + wave(start + on_s);
        // The mean of v e^(-j w_IF t) over a period.
        let mean = |rate: Complex64, from: f64, length: f64| {
            let slope = rate - Complex64::new(0.0, TAU * if_hz);
            let phase = Complex64::from_polar(1.0, -TAU * if_hz * from);
            phase * ((slope * length).exp() - 1.0) / slope / period
        };
        let on = own * mean(on_rate.into(), start, on_s)
            + wave(start) * mean(Complex64::new(0.0, rf), start, on_s);
        on + v1 * mean(off_rate.into(), start + on_s, off_s)
    }
}

#[test]
fn four_phases_agree_with_the_exact_solution_in_time() {
    let circuit =
        FourPhases { source_ohm: 60.0, on_ohm: 7.0, load_ohm: 220.0, farad: 1e-12, duty: 0.23 };
    let if_hz = 0.9e9;
    let solver = circuit.solved(if_hz, 32);
    for (node, phase) in [0.0, PI, FRAC_PI_2, -FRAC_PI_2].into_iter().enumerate() {
        for (sideband, sign) in [(Sideband::Upper, 1.0), (Sideband::Lower, -1.0)] {
            let got = solver.if_voltage(node, sideband);
            let want = circuit.exact_if_v(if_hz, sign, phase);
            // What 32 sidebands leave of a hard switch with a capacitance at one side.
            assert!((got - want).norm() < 1e-5 * want.norm(), "{node} {sideband}: {got} {want}");
        }
    }
}

/// C. Andrews and A. C. Molnar, IEEE J. Solid-State Circuits 45 (2010) 2696 (from memory; derived anew
/// in the check values): R_in = R_sw + (gamma R_B || R_sh), gamma = 2/pi^2,
/// R_sh = (R_a + R_sw) 4 gamma/(1 - 4 gamma), and F = (pi^2/8)(1 + R_sw/R_a) without R_B.
#[test]
fn four_phases_with_large_capacitances_have_the_published_input_resistance() {
    let (source_ohm, on_ohm, load_ohm) = (50.0, 5.0, 400.0);
    let gamma = 2.0 / PI.powi(2);
    let harmonics_ohm = (source_ohm + on_ohm) * 4.0 * gamma / (1.0 - 4.0 * gamma);
    let want_ohm = on_ohm + 1.0 / (1.0 / (gamma * load_ohm) + 1.0 / harmonics_ohm);
    let circuit = FourPhases { source_ohm, on_ohm, load_ohm, farad: 1e-9, duty: 0.25 };
    let mut solver = circuit.solved(1e2, 16);
    let input_ohm = solver.rf_response(Sideband::Upper).unwrap().input_ohm;
    // 16 sidebands leave 4e-5 ohm according to the check values, the capacitance 1e-2 of reactance.
    assert!((input_ohm - want_ohm).norm() < 2e-2, "{input_ohm} {want_ohm}");
    let circuit = FourPhases { load_ohm: 1e9, ..circuit };
    let mut solver = circuit.solved(1e2, 16);
    let weights = [1.0, -1.0, 0.0, 0.0].map(Complex64::from);
    let turned = [Complex64::ZERO, Complex64::ZERO, Complex64::I, -Complex64::I];
    let z: Vec<Complex64> = weights.iter().zip(turned).map(|(i, q)| i + q).collect();
    let factor = solver.noise(OutputWeights::same(&z), Sideband::Upper).unwrap().factor();
    let want = PI.powi(2) / 8.0 * (1.0 + on_ohm / source_ohm);
    assert!((factor - want).abs() < 1e-4, "{factor} {want}");
}

/// Two RF nodes with an element of each channel at each.
fn four_elements(switch: Switch) -> SwitchedMixer {
    let nodes = [(Channel::I, false), (Channel::I, true), (Channel::Q, false), (Channel::Q, true)];
    SwitchedMixer::new(SwitchedMixerSettings {
        elements: (0..4)
            .map(|at| SwitchedElement {
                switch,
                lo_to_rf_f: 0.0,
                lo_to_if_f: 0.0,
                rf_node: at / 2,
                if_node: at,
            })
            .collect(),
        if_nodes: nodes.map(|(channel, is_subtracted)| IfNode { channel, is_subtracted }).into(),
        references_ohm: vec![50.0; 3],
        source_ohm: 50.0.into(),
        differential_ohm: None,
        lo_harmonic: 1,
        temperature_k: 290.0,
    })
    .unwrap()
}

/// Points after the first: hard and smooth switches, with a resistance beyond the sidebands and without.
#[test]
fn nothing_is_allocated_per_point() {
    let divider = [0.1, 0.6, 0.6, 0.6, 0.1, 0.2, 0.6, 0.2, 0.1].map(Complex64::from);
    let load = Complex64::new(0.3, -0.1);
    for (off_f, slope_v) in [(0.0, 0.0), (0.0, 0.1), (15e-15, 0.0), (15e-15, 0.1)] {
        let (on_ohm, off_ohm, threshold_v) = (8.0, 5e3, 0.1);
        let settings = SwitchSettings { on_ohm, off_ohm, off_f, threshold_v, slope_v };
        let mut solver = ConversionSolver::new(four_elements(Switch::new(settings).unwrap()));
        let turn = [Complex64::ONE, -Complex64::ONE, Complex64::I, -Complex64::I];
        let mut solve = |step: u32| {
            let scale = 1.0 + 0.1 * f64::from(step);
            let peaks = [0.0, PI, FRAC_PI_2, -FRAC_PI_2].map(|at| Complex64::from_polar(scale, at));
            let data = SidebandData {
                lo_hz: LO_HZ,
                if_hz: 1e8 * scale,
                sidebands: 6,
                rf: &|_| &divider,
                if_load: &|_| load,
            };
            solver.solve(&data, &peaks, BeyondSidebands::Resistance).unwrap();
            let shares = solver.noise(OutputWeights::same(&turn), Sideband::Upper).unwrap();
            let response = solver.rf_response(Sideband::Lower).unwrap().reflection;
            let volts = solver.if_voltage(2, Sideband::Upper).norm();
            shares.factor() + response + volts + solver.if_impedance_ohm(1).norm()
        };
        let first = solve(0);
        let mut sum = 0.0;
        let measured = allocation_counter::measure(|| sum = (1..4).map(&mut solve).sum());
        assert!(first.is_finite() && sum.is_finite());
        assert_eq!(measured.count_total, 0, "{off_f} {slope_v}");
    }
}
