//! I and Q of mixers against closed forms and sampled waveforms.

use fourphase::downconverter::{
    Channel, Combination, Element, IqOutputs, Mixing, Sideband, favourable_combination,
    receiver_balance,
};
use num_complex::Complex64;
use std::f64::consts::{FRAC_PI_2, TAU};

fn element(channel: Channel, is_subtracted: bool, lo: Complex64, rf: Complex64) -> Element {
    Element { channel, is_subtracted, gain: Complex64::ONE, lo, rf_upper: rf, rf_lower: rf }
}

fn favourable(outputs: &IqOutputs, wanted: Sideband) -> Combination {
    Combination::BOTH[favourable_combination(outputs, wanted, &Combination::BOTH).unwrap()]
}

/// Four elements driven at 0, 180, 90 and 270 degrees, with errors on one.
fn four_phase(error: Complex64) -> Vec<Element> {
    let lo = |turn: f64| Complex64::from_polar(0.6, TAU * turn);
    vec![
        element(Channel::I, false, lo(0.0), Complex64::ONE),
        element(Channel::I, true, lo(0.5), Complex64::ONE),
        element(Channel::Q, false, lo(0.25) * error, Complex64::ONE),
        element(Channel::Q, true, lo(0.75) * error, Complex64::ONE),
    ]
}

#[test]
fn an_ideal_receiver_has_no_image_and_an_error_sets_it() {
    let ideal = IqOutputs::of(&four_phase(Complex64::ONE), &Mixing::default());
    for wanted in [Sideband::Upper, Sideband::Lower] {
        let combination = favourable(&ideal, wanted);
        assert!(receiver_balance(&ideal, &combination, wanted).image_rejection_db > 300.0);
    }
    // Swapping I and Q, or the sign, swaps the sideband.
    assert_ne!(favourable(&ideal, Sideband::Upper), favourable(&ideal, Sideband::Lower));
    let error = Complex64::from_polar(10_f64.powf(0.5 / 20.0), 3_f64.to_radians());
    let outputs = IqOutputs::of(&four_phase(error), &Mixing::default());
    let combination = favourable(&outputs, Sideband::Upper);
    let balance = receiver_balance(&outputs, &combination, Sideband::Upper);
    assert!(
        (balance.image_rejection_db - fourphase::splitter::image_rejection_db(0.5, 3.0)).abs()
            < 1e-9
    );
    let image = balance.image();
    assert!((image.amplitude_db - 0.5).abs() < 1e-9);
    assert!((image.phase_deg.abs() - 3.0).abs() < 1e-9);
}

#[test]
fn a_switch_does_not_see_the_drive_and_a_harmonic_counts_phase_twice() {
    let error = Complex64::from_polar(2.0, 0.0);
    let switch = Mixing::new(0.0, 1).unwrap();
    let outputs = IqOutputs::of(&four_phase(error), &switch);
    let combination = favourable(&outputs, Sideband::Upper);
    assert!(receiver_balance(&outputs, &combination, Sideband::Upper).image_rejection_db > 300.0);
    // At the second harmonic 45 degrees of LO make quadrature.
    let lo = |angle: f64| Complex64::from_polar(1.0, angle);
    let pair = [
        element(Channel::I, false, lo(0.0), Complex64::ONE),
        element(Channel::Q, false, lo(FRAC_PI_2 / 2.0), Complex64::ONE),
    ];
    let second = Mixing::new(1.0, 2).unwrap();
    let outputs = IqOutputs::of(&pair, &second);
    let combination = favourable(&outputs, Sideband::Upper);
    assert!(receiver_balance(&outputs, &combination, Sideband::Upper).image_rejection_db > 300.0);
}

/// Both tones multiplied with the LOs in time, averaged over whole periods of the IF, against
/// the phasors.
#[test]
fn phasors_agree_with_sampled_waveforms() {
    const SAMPLES: usize = 4096;
    // Whole periods in the record: LO 200, IF 13.
    let (lo_periods, if_periods) = (200.0, 13.0);
    let lo = [Complex64::from_polar(0.7, 0.3), Complex64::from_polar(0.66, 0.3 + 1.49)];
    let rf = [
        [Complex64::from_polar(1.1, -0.4), Complex64::from_polar(1.05, -0.35)],
        [Complex64::from_polar(0.9, 0.8), Complex64::from_polar(0.93, 0.86)],
    ];
    for (sideband, rf) in [(1.0, rf[0]), (-1.0, rf[1])] {
        let mut measured = [Complex64::ZERO; 2];
        for channel in 0..2 {
            for sample in 0..SAMPLES {
                let t = sample as f64 / SAMPLES as f64;
                let wave = |phasor: Complex64, periods: f64| {
                    (phasor * Complex64::cis(TAU * periods * t)).re
                };
                let product = wave(rf[channel], lo_periods + sideband * if_periods)
                    * wave(lo[channel], lo_periods);
                // The IF phasor is twice the mean of the product against its rotation; the
                // product itself brings in one half.
                measured[channel] +=
                    4.0 * product * Complex64::cis(-TAU * if_periods * t) / SAMPLES as f64;
            }
        }
        let elements = [
            Element {
                rf_upper: rf[0],
                rf_lower: rf[0],
                ..element(Channel::I, false, lo[0], rf[0])
            },
            Element {
                rf_upper: rf[1],
                rf_lower: rf[1],
                ..element(Channel::Q, false, lo[1], rf[1])
            },
        ];
        let outputs = IqOutputs::of(&elements, &Mixing::default());
        let pair = if sideband > 0.0 { outputs.upper } else { outputs.lower };
        assert!((measured[0] - pair.i).norm() < 1e-12, "{} {}", measured[0], pair.i);
        assert!((measured[1] - pair.q).norm() < 1e-12, "{} {}", measured[1], pair.q);
    }
}
