//! Receivers of closed-form parts and the demo, against closed forms and symmetries.

use crate::harness::{Sandbox, replaced};
use crate::receiver_cases::{Simple, demo, impedance, solve, solve_in, worst_db};
use fourphase::downconverter::{Contributor, CorrectionCover, Imbalance, ReceiverPath};
use fourphase::network::{Network, ParameterKind};
use fourphase::splitter::image_rejection_db;
use fourphase::touchstone::TouchstoneFile;
use fourphase::units::{
    amplitude_from_db, db_from_amplitude, db_from_neper, db_from_power, power_from_db, wrap_deg,
};
use num_complex::Complex64;

#[test]
fn an_ideal_receiver_gives_no_image_for_either_sideband() {
    for sideband in ["upper", "lower"] {
        let (_, result) = Simple { sideband, ..Simple::default() }.solved();
        assert!(worst_db(&result) > 250.0, "{sideband}: {}", worst_db(&result));
        let budget = result.budget.unwrap();
        assert!(budget.total.norm() < 1e-12);
        for row in &budget.rows {
            assert!(row.error.norm() < 1e-12, "{}: {}", row.contributor, row.error);
        }
    }
}

#[test]
fn swapping_i_and_q_swaps_the_sideband() {
    let error =
        r#"{ kind = "quadrature_hybrid", imbalance_db = 0.5, phase_error_deg = 3, loss_db = 0.3 }"#;
    let (_, straight) = Simple { hybrid: error, ..Simple::default() }.solved();
    let (_, swapped) = Simple { hybrid: error, channels: ["q", "i"], ..Simple::default() }.solved();
    let (_, lower) = Simple { hybrid: error, sideband: "lower", ..Simple::default() }.solved();
    assert_ne!(straight.combination, swapped.combination);
    assert_ne!(straight.combination, lower.combination);
    for other in [&swapped, &lower] {
        assert!((worst_db(&straight) - worst_db(other)).abs() < 1e-9);
    }
    let want = image_rejection_db(0.5, 3.0);
    assert!((worst_db(&straight) - want).abs() < 1e-9, "{} {want}", worst_db(&straight));
}

/// Forced the wrong way round, the wanted sideband is the weak one, and a warning says so.
#[test]
fn a_reversed_combination_gives_a_warning() {
    let error =
        r#"{ kind = "quadrature_hybrid", imbalance_db = 0.5, phase_error_deg = 3, loss_db = 0.3 }"#;
    let wrong = Simple { hybrid: error, extra: "combine = \"i+jq\"", ..Simple::default() };
    let (_, wrong) = wrong.solved();
    let right = Simple { hybrid: error, extra: "combine = \"i-jq\"", ..Simple::default() };
    let (_, right) = right.solved();
    let (good, bad) = if worst_db(&right) > 0.0 { (right, wrong) } else { (wrong, right) };
    assert!((worst_db(&good) + worst_db(&bad)).abs() < 1e-9);
    assert!(bad.warnings.iter().any(|warning| warning.contains("not the stronger one")));
    assert!(good.warnings.is_empty());
    assert_eq!(good.summary.reversed_points, 0);
}

#[test]
fn the_same_line_in_both_channels_changes_nothing() {
    let hybrid =
        r#"{ kind = "quadrature_hybrid", imbalance_db = 0.4, phase_error_deg = 2, loss_db = 0.3 }"#;
    let (_, short) = Simple { hybrid, ..Simple::default() }.solved();
    for (lo_lines_deg, rf_lines_deg) in [([333.0; 2], [20.0; 2]), ([30.0; 2], [700.0; 2])] {
        let long = Simple { hybrid, lo_lines_deg, rf_lines_deg, ..Simple::default() };
        let (_, long) = long.solved();
        for (one, other) in short.points.iter().zip(&long.points) {
            let gap = one.balance.channel_error - other.balance.channel_error;
            assert!(gap.norm() < 1e-12, "{gap}");
        }
    }
}

/// THEORY 6: an ideal hybrid with two equal mixer loads and a matched source rejects by the return
/// losses of mixers and isolated port added up, whatever the angles. Derived by ourselves, exact.
#[test]
fn return_losses_of_mixers_and_isolated_port_add_up() {
    for (mixer_db, isolated_db, angle) in [(10.0, 20.0, 0.3), (6.0, 14.0, 2.0), (3.0, 30.0, -1.4)] {
        let mixer = Complex64::from_polar(amplitude_from_db(-mixer_db), 0.7);
        let isolated = Complex64::from_polar(amplitude_from_db(-isolated_db), angle);
        let receiver = Simple {
            mixer_ohm: [impedance(mixer); 2],
            isolated_ohm: impedance(isolated),
            ..Simple::default()
        };
        let (_, result) = receiver.solved();
        for point in &result.points {
            let got = point.balance.image_rejection_db;
            assert!((got - mixer_db - isolated_db).abs() < 1e-9, "{got}");
        }
        // So the ring around either is a circle of constant rejection.
        for ring in &result.load_reflection_sweeps {
            assert!((ring.worst_db - mixer_db - isolated_db).abs() < 1e-9, "{ring:?}");
            assert!((ring.best_db - mixer_db - isolated_db).abs() < 1e-9, "{ring:?}");
        }
        // And the loads alone are all there is to the budget.
        let budget = result.budget.unwrap();
        let loads = budget.rows.iter().find(|row| row.contributor == Contributor::Loads).unwrap();
        assert!((loads.error - budget.total).norm() < 1e-12);
        assert!(loads.if_ideal_db.unwrap() > 250.0);
    }
}

/// THEORY 6: an error common to both baluns cancels out of the rejection and shows as common mode.
#[test]
fn a_balun_error_common_to_both_cancels() {
    let same = demo().replace("balun_q.s3p", "balun.s3p").replace("lead_q.s2p", "lead_i.s2p");
    let (_, result) = solve(&same);
    for name in ["baluns", "leads"] {
        let mut rows = result.budget.as_ref().unwrap().rows.iter();
        let pair = Contributor::Pair(name.to_owned());
        let row = rows.find(|row| row.contributor == pair).unwrap();
        assert!(row.error.norm() < 1e-12, "{name}: {}", row.error);
    }
    for point in &result.lo {
        for pair in &point.pairs {
            assert!(pair.common_mode_rejection_db > 20.0 && pair.common_mode_rejection_db < 80.0);
        }
    }
}

#[test]
fn no_power_is_made() {
    for text in [demo(), demo().replace("lo_power_dbm = 17.0", "lo_power_dbm = 0.0")] {
        let (receiver, result) = solve(&text);
        let available = power_from_db(receiver.plan().settings().lo_power_dbm.unwrap());
        for point in &result.lo {
            let taken: f64 = point
                .mixers
                .iter()
                .map(|drive| power_from_db(drive.lo_power_dbm.unwrap().value().unwrap()))
                .sum();
            assert!(taken < available && taken > 0.3 * available, "{taken} of {available}");
        }
        for path in &result.noise {
            for (loss, figure) in path.loss_db.iter().zip(&path.noise_figure_db) {
                let (loss, figure) = (loss.unwrap(), figure.unwrap());
                // Half the power goes the other way; a load takes no more than is available.
                assert!(figure > 3.0 && loss >= figure - 1e-12, "{loss} {figure}");
            }
        }
    }
}

#[test]
fn lossless_parts_deliver_all_that_is_available() {
    let (_, result) = Simple::default().solved();
    for point in &result.lo {
        let taken: f64 = point
            .mixers
            .iter()
            .map(|drive| power_from_db(drive.lo_power_dbm.unwrap().value().unwrap()))
            .sum();
        assert!((taken - power_from_db(10.0)).abs() < 1e-9, "{taken} mW of 10");
        // An available watt into 50 ohms, halved: 5 volts.
        assert!((point.mixers[0].lo_magnitude - 5.0).abs() < 1e-12);
    }
    // A matched lossless halving: 3.01 dB.
    let half_db = -db_from_power(0.5);
    for path in &result.noise {
        assert!((path.loss_db[0].unwrap() - half_db).abs() < 1e-12);
        assert!((path.noise_figure_db[0].unwrap() - half_db).abs() < 1e-12);
    }
}

#[test]
fn multiplication_after_the_split_counts_the_phase_so_often() {
    // A split of 22.5 degrees and times four after it makes quadrature.
    let split = r#"{ kind = "divider", phase_error_deg = 23, imbalance_db = 0.1 }"#;
    let chain = "lo_multiplication = 8\nlo_multiplication_after_split = 4\nlo_power_dbm";
    let isolated = "[[load]]\nat = \"hybrid.isolated\"\nohm = [50.0, 0.0]\n";
    let text = replaced(
        &Simple { hybrid: split, ..Simple::default() }.text(),
        &[
            ("lo_power_dbm", chain),
            (r#"["in", "a", "b", "isolated"]"#, "[\"in\", \"a\", \"b\"]\nnominal_deg = 22.5"),
            (isolated, ""),
        ],
    );
    let (receiver, result) = solve_in(&Sandbox::new(), &text);
    assert!((result.lo[0].lo_input_hz - 3.5e9).abs() < 1.0);
    assert!((receiver.plan().grid(ReceiverPath::Lo).first_hz() - 7e9).abs() < 1.0);
    for point in &result.points {
        // Half a degree counts four times; the amplitude does not.
        let Imbalance { amplitude_db, phase_deg } = point.balance.image();
        assert!((amplitude_db.abs() - 0.1).abs() < 1e-9, "{amplitude_db}");
        assert!((phase_deg.abs() - 2.0).abs() < 1e-9, "{phase_deg}");
    }
    let budget = result.budget.unwrap();
    assert_eq!(budget.rows[0].contributor, Contributor::Block("hybrid".to_owned()));
    assert!((budget.rows[0].error.im.abs().to_degrees() - 2.0).abs() < 1e-9);
}

#[test]
fn quadrature_may_lie_in_the_rf_path() {
    // In-phase LO, a hybrid at the RF input: it is read at both sidebands.
    let error =
        r#"{ kind = "quadrature_hybrid", imbalance_db = 0.3, phase_error_deg = 2, loss_db = 0.3 }"#;
    let text = Simple { hybrid: error, ..Simple::default() }.text();
    let text = replaced(
        &text,
        &[
            (r#"lo_input = "hybrid.in""#, r#"lo_input = "divider.in""#),
            (r#"rf_input = "divider.in""#, r#"rf_input = "hybrid.in""#),
            ("hybrid.a -- lo_i.1", "divider.i -- lo_i.1"),
            ("hybrid.b -- lo_q.1", "divider.q -- lo_q.1"),
            ("divider.i -- rf_i.1", "hybrid.a -- rf_i.1"),
            ("divider.q -- rf_q.1", "hybrid.b -- rf_q.1"),
        ],
    );
    let (_, result) = solve_in(&Sandbox::new(), &text);
    let want = image_rejection_db(0.3, 2.0);
    assert!((worst_db(&result) - want).abs() < 1e-9, "{} {want}", worst_db(&result));
}

#[test]
fn quadrature_may_lie_in_the_if_path() {
    // In-phase LO and RF would reject nothing in one element each; the hybrid at IF needs LO in
    // quadrature as well, and keeps one sideband at one port, the other at the other.
    let text = |output: &str| {
        let hybrid = format!(
            r#"
[if_hybrid]
component = {{ kind = "quadrature_hybrid", imbalance_db = 0.5, phase_error_deg = 3, loss_db = 0.3 }}
i = 1
q = 4
output = {output}
"#
        );
        Simple::default().text() + &hybrid
    };
    let sandbox = Sandbox::new();
    let (_, chosen) = solve_in(&sandbox, &text("[2, 3]"));
    assert!(chosen.is_chosen);
    let (_, two) = solve_in(&sandbox, &text("2"));
    let (_, three) = solve_in(&sandbox, &text("3"));
    let best = worst_db(&two).max(worst_db(&three));
    assert!((worst_db(&chosen) - best).abs() < 1e-12);
    let want = image_rejection_db(0.5, 3.0);
    assert!((best - want).abs() < 1e-9, "{best} {want}");
    assert!(worst_db(&two).min(worst_db(&three)) < 0.0);
    let budget = chosen.budget.unwrap();
    assert_eq!(budget.rows[0].contributor, Contributor::IfParts);
}

#[test]
fn a_budget_adds_up_and_names_what_to_fix() {
    let (_, result) = solve(&demo());
    let budget = result.budget.as_ref().unwrap();
    let sum: Complex64 = budget.rows.iter().map(|row| row.error).sum();
    assert!((sum - budget.total).norm() < 1e-12);
    let first = result.fix_first().unwrap();
    assert_eq!(first.contributor, Contributor::Block("hybrid".to_owned()));
    assert!(budget.rows.windows(2).all(|pair| {
        pair[0].if_ideal_db.unwrap_or(f64::NEG_INFINITY)
            >= pair[1].if_ideal_db.unwrap_or(f64::NEG_INFINITY)
    }));
}

/// The ideal of the demo's two baluns on their grid: matched, the geometric mean of their four
/// transfers to both outputs, in antiphase.
fn ideal_balun(sandbox: &Sandbox) -> TouchstoneFile {
    let [i, q] = ["balun.s3p", "balun_q.s3p"].map(|name| sandbox.touchstone(name));
    let grid = i.network.grid().clone();
    let entries = (0..grid.len()).flat_map(|point| {
        let [i, q] = [&i, &q].map(|file| file.network.matrix(point).as_slice());
        let logarithms = (-i[6] / i[3]).ln() + (q[3] / i[3]).ln() + (-q[6] / i[3]).ln();
        let mean = i[3] * (logarithms / 4.0).exp();
        let none = Complex64::ZERO;
        [none, mean, -mean, mean, none, none, -mean, none, none]
    });
    let references = vec![50.0.into(); 3];
    let network =
        Network::new(ParameterKind::Scattering, grid.clone(), 3, entries.collect(), references);
    TouchstoneFile { network: network.unwrap(), ..i }
}

/// The row of a pair gives the rejection of the receiver with the pair's ideal in the place of both.
#[test]
fn a_budget_gives_the_rejection_with_an_ideal_pair() {
    let (_, result) = solve(&demo());
    let budget = result.budget.unwrap();
    let baluns = Contributor::Pair("baluns".to_owned());
    let row = budget.rows.iter().find(|row| row.contributor == baluns).unwrap();
    let sandbox = Sandbox::with_demo();
    sandbox.write_touchstone("ideal.s3p", &ideal_balun(&sandbox));
    let files = [("\"balun.s3p\"", "\"ideal.s3p\""), ("\"balun_q.s3p\"", "\"ideal.s3p\"")];
    let (_, ideal) = solve_in(&sandbox, &replaced(&demo(), &files));
    let (got, want) = (worst_db(&ideal), row.plan_if_ideal_db.unwrap());
    assert!((got - want).abs() < 1e-9, "{got} {want}");
}

#[test]
fn a_load_across_a_path_is_no_isolated_port() {
    // 100 ohms across one output of an ideal hybrid: what that does to I alone is known, and the
    // ring of isolated ports turns only the one at the isolated port.
    let text = Simple { isolated_ohm: 40.0.into(), ..Simple::default() }.text()
        + "[[load]]\nat = \"hybrid.a\"\nohm = 100\n";
    let (_, result) = solve_in(&Sandbox::new(), &text);
    let isolated = &result.load_reflection_sweeps[1];
    assert!((isolated.reflection - 1.0 / 9.0).abs() < 1e-9, "{isolated:?}");
    assert!(isolated.worst_db <= worst_db(&result) && worst_db(&result) <= isolated.best_db + 1e-9);
}

#[test]
fn nothing_wanted_is_no_perfect_rejection() {
    // The other output of an ideal IF hybrid: only the image comes through.
    let hybrid = r#"
[if_hybrid]
component = { kind = "quadrature_hybrid" }
i = 1
q = 4
output = 3
"#;
    let text = Simple::default().text() + hybrid;
    let sandbox = Sandbox::new();
    let (_, one) = solve_in(&sandbox, &text);
    let (_, other) = solve_in(&sandbox, &replaced(&text, &[("output = 3", "output = 2")]));
    let (bad, good) = if worst_db(&one) < 0.0 { (one, other) } else { (other, one) };
    assert!(worst_db(&good) > 250.0 && worst_db(&bad) < -250.0 && worst_db(&bad).is_finite());
    assert_eq!(bad.summary.reversed_points, bad.points.len());
}

/// THEORY 5: |ε| <= 2 atan(10^(-R/20)) keeps R dB at whatever angle.
#[test]
fn shares_add_up_to_what_the_requirement_allows() {
    for required_db in [15.0, 25.0, 40.0] {
        let text = demo()
            .replace("image_rejection_db = 25.0", &format!("image_rejection_db = {required_db:?}"));
        let (_, result) = solve(&text);
        let allocation = result.allocation.unwrap();
        let sum: f64 = allocation.allowances.iter().map(|share| share.allowed).sum();
        assert!((sum - allocation.allowed_total).abs() < 1e-12);
        for (share, row) in allocation.allowances.iter().zip(&result.budget.unwrap().rows) {
            assert!((share.present - row.error.norm()).abs() < 1e-15);
            assert!((share.allowed - share.present * allocation.factor).abs() < 1e-15);
        }
        // At the worst angle, the imaginary one, just the requirement is left.
        let phase_deg = allocation.allowed_total.to_degrees();
        let left_db = image_rejection_db(0.0, phase_deg);
        assert!((left_db - required_db).abs() < 1e-9, "{left_db}");
    }
}

/// For an ideal hybrid the sum of the return losses is the loads' rejection; so what the allocation
/// asks for, put in place of the present loads, gives the loads just their share.
#[test]
fn the_return_losses_asked_for_give_the_loads_their_share() {
    let solved = |isolated_db: f64| {
        let reflection = |db: f64, angle: f64| Complex64::from_polar(amplitude_from_db(-db), angle);
        let simple = Simple {
            mixer_ohm: [impedance(reflection(12.0, 0.4)); 2],
            isolated_ohm: impedance(reflection(isolated_db, -1.1)),
            lo_lines_deg: [30.0, 30.0],
            ..Simple::default()
        };
        let text = simple.text() + "[require]\nimage_rejection_db = 40\n";
        solve_in(&Sandbox::new(), &text).1
    };
    let losses = solved(16.0).allocation.unwrap().return_losses.unwrap();
    assert!((losses.mixers_db - 12.0).abs() < 1e-9 && (losses.isolated_db - 16.0).abs() < 1e-9);
    let mended = solved(losses.isolated_needed_db);
    // Rejections are -20 log10 of tan or tanh of half the channel error, x, by its angle, and the
    // allocation scales the error: that is off by 8.7 dB (x1^2 + x2^2) / 3 at most, with x1 of 0.04
    // now and x2 of 0.01 allowed.
    assert!((worst_db(&mended) - 40.0).abs() < 0.005, "{}", worst_db(&mended));
}

/// The worst return losses are those over all LOs, read from the loads themselves, and both the LO and
/// the figures at the LO of worst rejection are named.
#[test]
fn return_losses_are_the_worst_over_all_los() {
    let (receiver, result) = solve(&demo());
    let losses = result.allocation.unwrap().return_losses.unwrap();
    for (port, found) in [("balun", losses.worst_mixers), ("hybrid", losses.worst_isolated)] {
        let own = receiver
            .loads()
            .iter()
            .filter(|load| receiver.port_name(load.at).is_some_and(|name| name.starts_with(port)));
        let mut worst = (f64::INFINITY, 0.0);
        for load in own {
            let network = load.networks.lo.as_ref().unwrap();
            for (reflection, lo_hz) in network.entries().iter().zip(receiver.plan().lo_hz()) {
                let db = -20.0 * reflection.norm().log10();
                if db < worst.0 {
                    worst = (db, *lo_hz);
                }
            }
        }
        assert!((found.db - worst.0).abs() < 1e-9, "{port}: {found:?} {worst:?}");
        assert!((found.at_lo_hz - worst.1).abs() < 1.0, "{port}: {found:?} {worst:?}");
    }
    assert!(losses.mixers_db >= losses.worst_mixers.db);
    assert!(losses.isolated_db >= losses.worst_isolated.db);
    let text = Sandbox::with_demo().succeeds("downconverter receiver.toml");
    assert!(text.contains("Worst return losses over LO: mixers"), "{text}");
}

#[test]
fn a_kind_that_does_not_fit_is_said() {
    let text =
        demo().replace("file = \"lead_i.s2p\"", "file = \"lead_i.s2p\"\nkind = \"antiphase\"");
    let (_, result) = solve(&text);
    assert!(result.warnings.iter().any(|warning| warning.contains("'lead_i' has kind antiphase")));
    let text = demo().replace("file = \"lead_i.s2p\"", "file = \"lead_i.s2p\"\nnominal_deg = 45.0");
    let (_, result) = solve(&text);
    assert!(result.warnings.iter().any(|warning| warning.contains("nominal phase")));
    assert!(solve(&demo()).1.warnings.is_empty());
}

#[test]
fn a_budget_without_rows_or_none_can_be_drawn() {
    let (_, mut result) = Simple::default().solved();
    if let Some(budget) = &mut result.budget {
        budget.rows.clear();
    }
    assert!(
        fourphase::plot::receiver_budget(&fourphase::plot::Caption::default(), &result).is_ok()
    );
    result.budget = None;
    assert!(
        fourphase::plot::receiver_budget(&fourphase::plot::Caption::default(), &result).is_ok()
    );
}

#[test]
fn one_error_alone_is_all_of_the_budget() {
    // A matched part with a known error in a matched receiver contributes just that.
    let hybrid =
        r#"{ kind = "quadrature_hybrid", imbalance_db = 0.5, phase_error_deg = 3, loss_db = 0.3 }"#;
    let (_, result) = Simple { hybrid, ..Simple::default() }.solved();
    let budget = result.budget.unwrap();
    let row = &budget.rows[0];
    assert_eq!(row.contributor, Contributor::Block("hybrid".to_owned()));
    assert!((db_from_neper(row.error.re).abs() - 0.5).abs() < 1e-9);
    assert!((row.error.im.to_degrees().abs() - 3.0).abs() < 1e-9);
    assert!(row.if_ideal_db.unwrap() > 250.0);
}

/// 3 degrees at 29 GHz, in proportion elsewhere.
#[test]
fn lines_of_unequal_length_are_all_of_the_budget() {
    let lines = Simple { lo_lines_deg: [30.0, 33.0], ..Simple::default() };
    let (_, result) = lines.solved();
    let worst = result.summary.worst;
    let row = &result.budget.unwrap().rows[0];
    assert_eq!(row.contributor, Contributor::Pair("lo lines".to_owned()));
    let want = 3.0 * worst.lo_hz / 29e9;
    assert!((row.error.im.to_degrees().abs() - want).abs() < 1e-9);
    let corrected = &result.correction;
    assert!(corrected.per_lo_db() > 150.0, "{}", corrected.per_lo_db());
    // One trim for all leaves half of the spread over 28 to 30 GHz, to second order.
    let half_spread = (3.0_f64 / 29.0).to_radians();
    // The trim turns the wanted sideband the other way: 2 cos 3 deg is left of 2.
    let kept = 3.0_f64.to_radians().cos();
    let (got, want) = (corrected.single.worst_db, -db_from_amplitude(half_spread / 2.0 / kept));
    assert!((got - want).abs() < 1e-3, "{got} {want}");
}

#[test]
fn the_correction_in_the_description_is_applied_to_q() {
    let (_, before) = solve(&demo());
    let trim = before.correction.single;
    let with = demo().replace(
        "amplitude_step_db",
        &format!(
            "amplitude_db = {:?}\nphase_deg = {:?}\namplitude_step_db",
            trim.amplitude_db, trim.phase_deg
        ),
    );
    let (_, after) = solve(&with);
    assert!((worst_db(&after) - trim.worst_db).abs() < 1e-9);
    // The advice is absolute: applied, it stays.
    assert!((after.correction.single.amplitude_db - trim.amplitude_db).abs() < 1e-9);
    let row = after.budget.as_ref().unwrap().rows.iter();
    assert!(row.clone().any(|row| row.contributor == Contributor::Correction));
    // In steps no trim is better than the free one, and the free one is found.
    let plan = &before.correction;
    assert!(plan.single_quantised.worst_db <= plan.single.worst_db + 1e-9);
    assert!(plan.per_lo_quantised_db() <= plan.per_lo_db() + 1e-9);
    assert!(plan.per_lo_db() >= plan.single.worst_db);
}

#[test]
fn trims_cover_the_band_as_often_as_needed() {
    let with = |db: f64| {
        demo().replace("image_rejection_db = 25.0", &format!("image_rejection_db = {db:?}"))
    };
    let needed = |db: f64| match solve(&with(db)).1.correction.cover.unwrap() {
        CorrectionCover::Holds(segments) => {
            assert!(segments.iter().all(|segment| segment.correction.worst_db >= db));
            // The segments follow one another without gaps.
            for pair in segments.windows(2) {
                assert!((pair[1].lo_hz.0 - pair[0].lo_hz.1 - 0.1e9).abs() < 1.0);
            }
            segments.len()
        }
        CorrectionCover::Impossible { .. } => usize::MAX,
    };
    let counts = [25.0, 34.0, 40.0, 50.0, 90.0].map(needed);
    assert_eq!((counts[0], counts[1]), (1, 1));
    assert!(counts[2] > 1 && counts[3] > counts[2] && counts[3] < 41, "{counts:?}");
    assert_eq!(counts[4], usize::MAX);
}

#[test]
fn phases_are_unwrapped_and_near_their_ideals() {
    let (_, result) = solve(&demo());
    for pair in result.lo.windows(2) {
        for (one, other) in pair[0].mixers.iter().zip(&pair[1].mixers) {
            assert!((other.lo_phase_deg - one.lo_phase_deg).abs() < 20.0);
            assert!(other.lo_phase_deg < one.lo_phase_deg, "phase falls with frequency");
        }
    }
    for point in &result.lo {
        let errors: f64 = point.mixers.iter().map(|drive| drive.lo_phase_error_deg).sum();
        assert!(errors.abs() < 1e-9);
        assert!(point.mixers.iter().all(|drive| drive.lo_phase_error_deg.abs() < 3.0));
        let first = &point.mixers[0];
        for drive in &point.mixers {
            let quarter = wrap_deg(drive.lo_phase_deg - first.lo_phase_deg) / 90.0;
            assert!((quarter - quarter.round()).abs() < 0.1);
        }
    }
}

#[test]
fn gains_and_sources_count() {
    // A gain of one element shows as the error it is.
    let text =
        Simple::default().text().replace("lo = \"lo_q.2\"", "gain = [1.1, 0.0]\nlo = \"lo_q.2\"");
    let (_, result) = solve_in(&Sandbox::new(), &text);
    let amplitude_db = result.points[0].balance.image().amplitude_db;
    assert!((amplitude_db - db_from_amplitude(1.1)).abs() < 1e-9);
    let budget = result.budget.unwrap();
    assert_eq!(budget.rows[0].contributor, Contributor::MixerGains);
    // A source of another impedance delivers less into a matched tree: (1 - |Γ|²).
    let text = Simple { extra: "lo_source_ohm = [30.0, 20.0]", ..Simple::default() }.text();
    let (_, result) = solve_in(&Sandbox::new(), &text);
    let z = Complex64::new(30.0, 20.0);
    let reflection = (z - 50.0) / (z + 50.0);
    let taken: f64 = result.lo[0]
        .mixers
        .iter()
        .map(|m| power_from_db(m.lo_power_dbm.unwrap().value().unwrap()))
        .sum();
    assert!((taken - 10.0 * (1.0 - reflection.norm_sqr())).abs() < 1e-9, "{taken}");
}

/// Phases near a set of quarter turns that the first mixer itself is far from: the set is that nearest
/// to all of them.
#[test]
fn phase_errors_are_those_from_the_nearest_quarter_turns() {
    let hybrid = r#"{ kind = "quadrature_hybrid" }"#;
    let lines = |q_deg: f64| Simple { hybrid, lo_lines_deg: [30.0, q_deg], ..Simple::default() };
    for (q_deg, error_deg) in [(30.0, 0.0), (70.0, 20.0), (80.0, 20.0), (60.0, 15.0)] {
        // A second mixer of I and a third behind the same line weigh on the set.
        let text = lines(q_deg).text();
        let more = "[[mixer]]\nname = \"i2\"\nchannel = \"i\"\nlo = \"lo_i.2\"\nrf = \"rf_i.2\"\n";
        let (_, result) = solve_in(&Sandbox::new(), &text);
        let centre = &result.lo[2];
        let errors: Vec<f64> = centre.mixers.iter().map(|mixer| mixer.lo_phase_error_deg).collect();
        assert!((errors[0].abs() - error_deg).abs() < 1e-9, "{q_deg}: {errors:?}");
        let (_, result) = solve_in(&Sandbox::new(), &format!("{text}{more}"));
        let errors = result.lo[2].mixers.iter().map(|mixer| mixer.lo_phase_error_deg);
        let squares: f64 = errors.clone().map(|error| error * error).sum();
        // No other set is nearer: brute force over quarter turns of the single mixers.
        let phases: Vec<f64> = result.lo[2].mixers.iter().map(|mixer| mixer.lo_phase_deg).collect();
        let mut least = f64::INFINITY;
        for turns in 0..64 {
            let own = phases.iter().enumerate().map(|(at, deg)| {
                let turn = f64::from((turns >> (2 * at)) & 3);
                wrap_deg(deg - phases[0] - 90.0 * turn)
            });
            let own: Vec<f64> = own.collect();
            let mean = own.iter().sum::<f64>() / 3.0;
            least = least.min(own.iter().map(|deg| (deg - mean).powi(2)).sum());
        }
        assert!((squares - least).abs() < 1e-9, "{q_deg}: {squares} {least}");
    }
}
