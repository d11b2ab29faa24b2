//! Continuous and quantised corrections of Q against an exhaustive search and a limit case.

use fourphase::downconverter::{
    CorrectionPoint, CorrectionSteps, IqCorrection, worst_rejection_db,
};
use num_complex::Complex64;

/// A sweep whose image error wanders, with unequal gains of the sidebands.
fn points() -> Vec<CorrectionPoint> {
    (0..41)
        .map(|at| {
            let x = f64::from(at) / 40.0;
            let error = Complex64::new(0.03 + 0.07 * x, 0.05 - 0.06 * x * x).exp();
            CorrectionPoint {
                wanted_i: Complex64::from(1.0 + 0.1 * x),
                wanted_q: error.conj(),
                image_i: Complex64::ONE,
                image_q: -error,
            }
        })
        .collect()
}

#[test]
fn no_step_anywhere_beats_the_one_found() {
    let points = points();
    let continuous = IqCorrection::best(&points);
    assert!(continuous.worst_db > 25.0, "{continuous:?}");
    for (amplitude_db, phase_deg) in
        [(0.5, 0.1), (0.4, 0.1), (0.1, 0.1), (1.0, 0.01), (0.1, 2.0), (3.0, 7.0)]
    {
        let steps = CorrectionSteps::new(amplitude_db, phase_deg).unwrap();
        let found = IqCorrection::best_quantised(&points, steps);
        let mut best = f64::NEG_INFINITY;
        for gain in -30..=30 {
            for phase in -1000..=1000 {
                let trim = IqCorrection {
                    amplitude_db: f64::from(gain) * amplitude_db,
                    phase_deg: f64::from(phase) * phase_deg,
                    worst_db: 0.0,
                };
                if trim.phase_deg.abs() <= 20.0 {
                    best = best.max(worst_rejection_db(&points, trim.weight()));
                }
            }
        }
        assert!(found.worst_db >= best - 1e-12, "{steps:?}: {found:?}, {best}");
        assert!(found.worst_db <= continuous.worst_db + 1e-9);
    }
}

#[test]
fn a_correction_that_cancels_the_signal_is_not_taken() {
    // I and Q alike in both sidebands: what cancels the image cancels all.
    let alike = [CorrectionPoint {
        wanted_i: Complex64::ONE,
        wanted_q: Complex64::I,
        image_i: Complex64::ONE,
        image_q: Complex64::I,
    }];
    let trim = IqCorrection::best(&alike);
    assert!(trim.worst_db.abs() < 1e-9 && trim.weight() == Complex64::ONE, "{trim:?}");
}
