//! Splitters of the textbooks, ideal and off centre.
//!
//! Source: `tests/check-values/02_components.json`: matrices after D. M. Pozar, "Microwave
//! Engineering", computed by even- and odd-mode forms and by a tableau; and closed forms below.

use crate::check_values::{matrix, topic};
use fourphase::network::{FrequencyGrid, Network, ParameterKind, Port};
use fourphase::splitter::{
    GivenRoles, RoleToGive, SplitterError, SplitterKind, SplitterResult, SplitterSettings, analyse,
};
use fourphase::units::{db_from_amplitude, wrap_deg};
use num_complex::Complex64;

fn part(id: &str) -> Network {
    let topic = topic("02_components.json");
    let case = topic["cases"].as_array().unwrap().iter().find(|case| case["id"] == id).unwrap();
    let s = matrix(&case["expected"]["s"]);
    let ports = s.len().isqrt();
    let grid = FrequencyGrid::from_hz(vec![1e9]).unwrap();
    Network::new(ParameterKind::Scattering, grid, ports, s, vec![50.0.into()]).unwrap()
}

fn port(number: usize) -> Port {
    Port::from_number(number).unwrap()
}

fn analysed(network: &Network, roles: GivenRoles) -> Result<SplitterResult, SplitterError> {
    analyse(network, &SplitterSettings { roles, ..SplitterSettings::default() })
}

#[test]
fn ideal_parts_are_recognised_and_perfect() {
    // The values are zero to 1e-16, so rejections are finite but beyond any receiver.
    let hybrid = analysed(&part("branch-line-ideal"), GivenRoles::default()).unwrap();
    assert_eq!(hybrid.roles.kind, SplitterKind::Quadrature);
    assert_eq!(
        (hybrid.roles.input, hybrid.roles.outputs, hybrid.roles.isolated),
        (port(1), [port(2), port(3)], Some(port(4)))
    );
    // S21 = -j/√2 and S31 = -1/√2: the through port leads by 90 degrees.
    assert_eq!(hybrid.summary.leading_output, Some(port(2)));
    assert!(hybrid.points[0].rejection_db > 280.0);
    assert!((hybrid.points[0].loss_a_db - 3.0103).abs() < 1e-4);
    assert!(hybrid.points[0].excess_loss_db.abs() < 1e-12);

    let divider = analysed(&part("wilkinson-ideal"), GivenRoles::default()).unwrap();
    assert_eq!((divider.roles.kind, divider.roles.input), (SplitterKind::Inphase, port(1)));
    assert!(divider.points[0].rejection_db > 280.0);

    let balun = analysed(
        &part("transformer-balun-ideal"),
        GivenRoles { input: Some(port(1)), ..GivenRoles::default() },
    );
    assert_eq!(balun.unwrap().roles.kind, SplitterKind::Antiphase);
}

#[test]
fn a_ring_that_is_both_is_not_guessed() {
    let ring = part("rat-race-ideal");
    let refused = analysed(&ring, GivenRoles::default()).unwrap_err();
    assert!(
        matches!(refused, SplitterError::TwoKinds { first: (one, _), .. } if one == port(1)),
        "{refused}"
    );
    // Arcs 1-2, 1-3 and 3-4 are quarter waves, 2-4 three: port 1 is the sum, port 4 the difference.
    let sum =
        analysed(&ring, GivenRoles { input: Some(port(1)), ..GivenRoles::default() }).unwrap();
    let difference =
        analysed(&ring, GivenRoles { input: Some(port(4)), ..GivenRoles::default() }).unwrap();
    assert_eq!((sum.roles.kind, sum.roles.isolated), (SplitterKind::Inphase, Some(port(4))));
    assert_eq!(
        (difference.roles.kind, difference.roles.isolated),
        (SplitterKind::Antiphase, Some(port(1)))
    );
}

#[test]
fn an_equal_resistive_star_has_no_input_to_tell() {
    let grid = FrequencyGrid::from_hz(vec![1e9]).unwrap();
    let s = (0..9).map(|at| Complex64::from(if at % 4 == 0 { 0.0 } else { 0.5 })).collect();
    let star = Network::new(ParameterKind::Scattering, grid, 3, s, vec![50.0.into()]).unwrap();
    let refused = analysed(&star, GivenRoles::default()).unwrap_err();
    assert!(matches!(refused, SplitterError::EquivalentInputs { .. }), "{refused}");
    assert_eq!(refused.roles_to_give(), [RoleToGive::Input]);
}

#[test]
fn a_coupled_line_off_centre_keeps_quadrature() {
    // S31 / S21 = j C sin t / √(1 - C²), exactly in quadrature at every electrical length t.
    let coupling = 10_f64.powf(-3.0 / 20.0);
    for (id, ratio) in [("coupled-0.8-3dB", 0.8), ("coupled-1-3dB", 1.0), ("coupled-1.2-3dB", 1.2)]
    {
        let result = analysed(&part(id), GivenRoles::default()).unwrap();
        let angle = std::f64::consts::FRAC_PI_2 * ratio;
        let want_db =
            db_from_amplitude(coupling * angle.sin() / (1.0 - coupling * coupling).sqrt());
        let point = &result.points[0];
        assert!((point.amplitude_imbalance_db - want_db).abs() < 1e-9, "{id}");
        assert!(
            (point.phase_difference_deg - 90.0).abs() < 1e-9,
            "{id}: {}",
            point.phase_difference_deg
        );
    }
}

#[test]
fn imbalance_of_a_branch_line_off_centre_is_read_off_the_matrix() {
    for ratio in ["0.8", "0.95", "1.1"] {
        let network = part(&format!("branch-line-{ratio}"));
        let (s21, s31) =
            (network.matrix(0).at(port(2), port(1)), network.matrix(0).at(port(3), port(1)));
        let point = &analysed(&network, GivenRoles::default()).unwrap().points[0];
        assert!(
            (point.amplitude_imbalance_db - 20.0 * (s31.norm() / s21.norm()).log10()).abs() < 1e-12
        );
        let error_deg = wrap_deg((s31.arg() - s21.arg()).to_degrees() + 90.0);
        assert!((point.phase_error_deg - error_deg).abs() < 1e-10);
        // A lossless reciprocal four-port: what does not reach the outputs is reflected or isolated.
        let lost = 1.0 - 10_f64.powf(-point.excess_loss_db / 10.0);
        let s11 = 10_f64.powf(-point.return_loss_db[0].unwrap() / 10.0);
        let s41 = 10_f64.powf(-point.isolation_db.unwrap() / 10.0);
        assert!((lost - s11 - s41).abs() < 1e-12);
    }
}
