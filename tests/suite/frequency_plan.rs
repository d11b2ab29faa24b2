//! Bands of LO and image, and harmonics of the LO input in them.

use fourphase::downconverter::{PlanSettings, Victim, frequency_plan};

#[test]
fn bands_of_both_sidebands() {
    let settings = PlanSettings { rf_hz: (27e9, 31e9), if_hz: (0.5e9, 1.5e9), multiplication: 4 };
    let plan = frequency_plan(&settings).unwrap();
    let [upper, lower] = plan.sidebands.as_slice() else { panic!("two sidebands") };
    assert_eq!((upper.lo_hz, upper.image_hz), ((25.5e9, 30.5e9), (24e9, 30e9)));
    assert_eq!((lower.lo_hz, lower.image_hz), ((27.5e9, 32.5e9), (28e9, 34e9)));
    // The LO itself sweeps through the RF band, from 27 to 30.5 GHz.
    let lo =
        upper.harmonics.iter().find(|hit| hit.harmonic == 4 && hit.victim == Victim::Rf).unwrap();
    assert_eq!((lo.overlap_hz, lo.lo_input_hz), ((27e9, 30.5e9), (6.75e9, 7.625e9)));
    // The fifth harmonic, from 31.875 GHz, misses it; no harmonic reaches down to the IF.
    assert!(!upper.harmonics.iter().any(|hit| hit.harmonic == 5 || hit.victim == Victim::If));
}

#[test]
fn a_low_lo_input_falls_into_the_if() {
    let settings = PlanSettings { rf_hz: (9e9, 10e9), if_hz: (0.9e9, 1.5e9), multiplication: 8 };
    let plan = frequency_plan(&settings).unwrap();
    assert!(
        plan.sidebands[0].harmonics.iter().any(|hit| hit.harmonic == 1 && hit.victim == Victim::If)
    );
}

#[test]
fn what_is_no_plan() {
    let good = PlanSettings { rf_hz: (27e9, 31e9), if_hz: (0.5e9, 1.5e9), multiplication: 4 };
    assert!(frequency_plan(&PlanSettings { multiplication: 0, ..good }).is_err());
    assert!(frequency_plan(&PlanSettings { if_hz: (0.0, 1e9), ..good }).is_err());
    // An IF above the RF leaves the upper sideband without an LO.
    let high = frequency_plan(&PlanSettings { if_hz: (30e9, 40e9), ..good }).unwrap();
    assert_eq!(high.sidebands.len(), 1);
    // LOs from 4 to 7 GHz with an IF of 6 to 8 GHz: images from 0 to 4 GHz, |LO - IF|.
    let folded = PlanSettings { rf_hz: (12e9, 13e9), if_hz: (6e9, 8e9), ..good };
    assert_eq!(frequency_plan(&folded).unwrap().sidebands[0].image_hz, (0.0, 4e9));
}
