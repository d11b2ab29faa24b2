//! Bands of LO and image, and harmonics of the LO input in them.

use crate::harness::{Sandbox, replaced};
use crate::receiver_cases::Simple;
use fourphase::description::read_receiver;
use fourphase::downconverter::{MOST_HARMONICS, PlanSettings, Victim, frequency_plan};
use fourphase::report::plan_text;
use fourphase::touchstone::ReadOptions;

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

#[test]
fn an_lo_near_zero_has_a_list_of_harmonics_that_ends() {
    let near =
        PlanSettings { rf_hz: (27e9, 31e9), if_hz: (26.9e9, 26.999_999e9), multiplication: 1 };
    let plan = frequency_plan(&near).unwrap();
    for side in &plan.sidebands {
        assert!(side.harmonics.len() <= MOST_HARMONICS, "{}", side.harmonics.len());
    }
    let upper = &plan.sidebands[0];
    let last = upper.harmonics.last().unwrap().harmonic;
    assert_eq!(upper.harmonics_cut_after, Some(last));
    assert!(plan_text(&plan, &[]).contains(&format!("The list ends at harmonic {last};")));
    assert!(plan.notes[0].contains("is above the minimum LO, 1 kHz"), "{}", plan.notes[0]);
    // Harmonics that miss all bands end as well.
    let low = PlanSettings { rf_hz: (1e14, 1e14), if_hz: (1e14 - 1.0, 1e14 - 1.0), ..near };
    assert!(frequency_plan(&low).unwrap().sidebands[0].harmonics.len() <= MOST_HARMONICS);
}

#[test]
fn frequencies_in_another_unit_are_told() {
    let good = PlanSettings { rf_hz: (27e9, 31e9), if_hz: (0.5e9, 1.5e9), multiplication: 4 };
    let wrong = PlanSettings { rf_hz: (27e18, 31e18), ..good };
    let message = frequency_plan(&wrong).unwrap_err().to_string();
    assert!(message.contains("the RF of 31000000000 GHz is beyond 1e6 GHz"), "{message}");

    let text = Simple::default().text();
    let lo = "lo_ghz = { from = 28, to = 30, points = 5 }";
    for (from, to, says) in [
        (lo, "lo_ghz = [28, 30e9]", "lo_ghz is in GHz, and 30000000000 GHz is beyond"),
        (lo, "lo_ghz = 28e9", "if 28000000000 Hz is meant, write 28"),
        ("if_ghz = [0.5, 1]", "if_ghz = 500e6", "if 500000000 Hz is meant, write 0.5"),
        (r#"kind = "divider""#, r#"kind = "wilkinson", center_ghz = 29e9"#, "center_ghz is in GHz"),
    ] {
        let sandbox = Sandbox::new();
        sandbox.write("receiver.toml", replaced(&text, &[(from, to)]));
        let read = read_receiver(&sandbox.path("receiver.toml"), &ReadOptions::default());
        let message = read.unwrap_err().to_string();
        assert!(message.contains(says), "{message}");
    }
}
