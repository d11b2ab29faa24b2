//! The sideband rule and the multiplication of phase noise against waveforms in the time domain.
//!
//! A carrier with small tones passes a memoryless nonlinear law sample by sample, and a discrete
//! Fourier transform gives the lines behind it. What is linear in the tones is the difference of two
//! runs with tones of opposite signs, so that only third order and rounding are left.

use fourphase::downconverter::{
    ActiveStage, AmplifierSettings, Carrier, MultiplierSettings, NoiseStage, ToneSet,
    phase_noise_dbc_hz, sidebands,
};
use num_complex::Complex64;
use rustfft::FftPlanner;
use std::collections::BTreeMap;
use std::f64::consts::TAU;

/// Samples in one period of the grid of tones: lines of a limiter fall as 1/order², and 2^14 samples
/// keep what folds back below 1e-7.
const SAMPLES: usize = 1 << 14;

/// The lines of a law driven by a carrier of this amplitude at a multiple, with tones beside it.
fn lines(
    law: impl Fn(f64) -> f64,
    (multiple, amplitude): (i64, f64),
    tones: &BTreeMap<i64, Complex64>,
) -> Vec<Complex64> {
    let mut samples: Vec<Complex64> = (0..SAMPLES)
        .map(|at| {
            #[expect(clippy::cast_precision_loss, reason = "few samples")]
            let turn = |k: i64| Complex64::cis(TAU * k as f64 * at as f64 / SAMPLES as f64);
            let carrier = turn(multiple).re;
            let beside: f64 =
                tones.iter().map(|(offset, r)| (r * turn(multiple + offset)).re).sum();
            law(amplitude * (carrier + beside)).into()
        })
        .collect();
    FftPlanner::new().plan_fft_forward(SAMPLES).process(&mut samples);
    samples
}

/// The lines beside one of the carrier's orders, relative to it and linear in the tones.
fn beside(
    law: impl Fn(f64) -> f64 + Copy,
    carrier: (i64, f64),
    order: i64,
    tones: &BTreeMap<i64, Complex64>,
) -> BTreeMap<i64, Complex64> {
    let negative = tones.iter().map(|(offset, value)| (*offset, -value)).collect();
    let (plus, minus) = (lines(law, carrier, tones), lines(law, carrier, &negative));
    let centre = order * carrier.0;
    let at = |all: &[Complex64], multiple: i64| all[usize::try_from(multiple).unwrap()];
    let own = 0.5 * (at(&plus, centre) + at(&minus, centre));
    let offsets: std::collections::BTreeSet<i64> =
        tones.keys().flat_map(|offset| [*offset, -offset]).collect();
    offsets
        .into_iter()
        .map(|offset| {
            let difference = at(&plus, centre + offset) - at(&minus, centre + offset);
            (offset, 0.5 * difference / own)
        })
        .collect()
}

/// d ln of the line's amplitude over d ln of the drive, from two drives.
fn slope(law: impl Fn(f64) -> f64 + Copy, (multiple, amplitude): (i64, f64), order: i64) -> f64 {
    let step = 1e-3_f64;
    let at = |factor: f64| {
        let all = lines(law, (multiple, amplitude * factor), &BTreeMap::new());
        all[usize::try_from(order * multiple).unwrap()].norm().ln()
    };
    (at(step.exp()) - at((-step).exp())) / (2.0 * step)
}

fn check_rule(law: impl Fn(f64) -> f64 + Copy, carrier: (i64, f64), order: i64, allowed: f64) {
    let tones: BTreeMap<i64, Complex64> = [
        (3, Complex64::new(1.1e-4, -0.4e-4)),
        (-3, Complex64::new(-0.2e-4, 0.7e-4)),
        (5, Complex64::new(0.3e-4, 0.9e-4)),
    ]
    .into();
    let slope = slope(law, carrier, order);
    #[expect(clippy::cast_precision_loss, reason = "small orders")]
    let want = sidebands(order as f64, slope.into(), &tones);
    for (offset, got) in beside(law, carrier, order, &tones) {
        let want = want[&offset];
        let error = (got - want).norm() / 1e-4;
        assert!(error < allowed, "order {order}, {offset}: {got}, expected {want}");
    }
}

#[test]
fn the_sideband_rule_holds_for_smooth_laws_in_the_time_domain() {
    // The slope comes from two drives 1e-3 apart, whose third order is 1e-6; that of tones of 1e-4 is less.
    for order in [1, 3, 5] {
        check_rule(f64::tanh, (64, 1.4), order, 3e-5);
        check_rule(|x| x / (1.0 + x.powi(4)).sqrt().sqrt(), (64, 2.5), order, 3e-5);
    }
    for order in [1, 2, 3] {
        check_rule(|x| (x + 0.4).tanh(), (64, 0.9), order, 3e-5);
    }
}

#[test]
fn the_sideband_rule_holds_for_power_laws_in_the_time_domain() {
    // The highest order of a power law has the law's own slope, and one tone stays one tone.
    for order in [2, 3, 4] {
        let law = move |x: f64| x.powi(order);
        check_rule(law, (64, 1.0), order.into(), 3e-5);
        let one: BTreeMap<i64, Complex64> = [(3, Complex64::from(1e-3))].into();
        let behind = beside(law, (64, 1.0), order.into(), &one);
        let rise = behind[&3].norm() / 1e-3;
        assert!((rise - f64::from(order)).abs() < 1e-5, "order {order}: {rise}");
        assert!(behind[&-3].norm() < 1e-9, "order {order}: {}", behind[&-3]);
    }
}

#[test]
fn a_hard_limiter_lowers_one_spur_by_6_db_and_makes_its_mirror_image() {
    // J. J. Jones, "Hard-limiting of two signals in random noise" (1963), and W. B. Davenport (1952): the
    // weaker of two signals is suppressed by 6 dB. A limiter of finite slope stands for the hard one:
    // samples must resolve its edge, a sixtieth of a radian, and its slope in dB per dB is 1e-3 or less.
    let law = |x: f64| (60.0 * x).tanh();
    let one: BTreeMap<i64, Complex64> = [(3, Complex64::from(1e-3))].into();
    for order in [1, 3] {
        let behind = beside(law, (4, 1.0), order, &one);
        #[expect(clippy::cast_precision_loss, reason = "small orders")]
        let expected = 20.0 * (order as f64 / 2.0).log10();
        for offset in [3, -3] {
            let change_db = 20.0 * (behind[&offset].norm() / 1e-3).log10();
            assert!((change_db - expected).abs() < 0.02, "order {order}: {change_db} dB");
        }
        assert!(behind[&3].re > 0.0 && behind[&-3].re < 0.0, "order {order}");
    }
    let limited = sidebands(1.0, Complex64::ZERO, &one);
    assert!((20.0 * (limited[&3].norm() / 1e-3).log10() + 6.0206).abs() < 1e-4);
}

#[test]
fn phase_noise_and_small_phase_modulation_rise_by_20_log10_n() {
    for order in [2_u32, 3, 4, 6] {
        let rise_db = 20.0 * f64::from(order).log10();
        let stage = NoiseStage { order, floor_dbc_hz: None };
        let behind = phase_noise_dbc_hz(&[(1e4, -110.0)], &[stage]);
        assert!((behind[0].1 - (-110.0 + rise_db)).abs() < 1e-12);
        // A pair of tones that is phase modulation, r_d = -conj(r_-d), through a saturated multiplier.
        let stage = ActiveStage::multiplier(MultiplierSettings {
            order,
            knee_dbm: -20.0,
            saturated_dbm: 10.0,
            products: Vec::new(),
            floor_dbc_hz: None,
        });
        let carrier = Carrier { multiple: 10, level_dbm: 10.0, phase: 0.3 };
        let side = Complex64::new(1e-3, 2e-3);
        let tones = ToneSet::new(carrier, [(11, side), (9, -side.conj())]);
        let behind = tones.through(&stage.unwrap()).tones;
        let got_db = 20.0 * (behind.at(10 * i64::from(order) + 1).norm() / side.norm()).log10();
        assert!((got_db - rise_db).abs() < 1e-3, "order {order}: {got_db}");
    }
}

#[test]
fn am_pm_conversion_is_a_complex_slope() {
    // The envelope of a carrier through |e|^s exp(j kappa ln|e|) exp(j m arg e), sample by sample.
    let (order, slope, kappa) = (2.0, 0.4, 0.3);
    let tones: BTreeMap<i64, Complex64> =
        [(3, Complex64::new(1.1e-4, -0.4e-4)), (-3, Complex64::new(-0.2e-4, 0.7e-4))].into();
    let envelope = |sign: f64| {
        let mut samples: Vec<Complex64> = (0..64)
            .map(|at| {
                #[expect(clippy::cast_precision_loss, reason = "few samples")]
                let turn = |d: i64| Complex64::cis(TAU * d as f64 * f64::from(at) / 64.0);
                let beside: Complex64 = tones.iter().map(|(d, r)| sign * r * turn(*d)).sum();
                let e = 1.0 + beside;
                let phase = kappa * e.norm().ln() + order * e.arg();
                Complex64::from_polar(e.norm().powf(slope), phase)
            })
            .collect();
        FftPlanner::new().plan_fft_forward(64).process(&mut samples);
        samples
    };
    let (plus, minus) = (envelope(1.0), envelope(-1.0));
    let want = sidebands(order, Complex64::new(slope, kappa), &tones);
    for (offset, at) in [(3, 3), (-3, 61)] {
        let got = (plus[at] - minus[at]) / (plus[0] + minus[0]);
        assert!((got - want[&offset]).norm() < 1e-9, "{offset}: {got}, {}", want[&offset]);
    }
    // The stage's own phase over its drive is that slope.
    let stage = ActiveStage::amplifier(AmplifierSettings {
        gain_db: 10.0,
        saturated_dbm: 15.0,
        smoothness: 2.0,
        harmonics: Vec::new(),
        am_pm_deg_per_db: 2.0,
        floor_dbc_hz: None,
    })
    .unwrap();
    let neper_db = 20.0 / std::f64::consts::LN_10;
    let turned = stage.at(3.0 + neper_db).phase_shift - stage.at(3.0).phase_shift;
    assert!((turned - stage.at(3.0).am_pm).abs() < 1e-12);
}
