//! `component`: every kind, and what its parameters may be.

use crate::harness::{Sandbox, assert_fits_80_columns, number};

/// Parameters for a kind that has some without a default.
fn parameters(kind: &str) -> &'static str {
    match kind {
        "attenuator" => "loss_db=3",
        "line" => "impedance_ohm=60 center_ghz=29 angle_deg=90",
        "stub" => "impedance_ohm=60 center_ghz=29 angle_deg=90 end=open",
        "radial_stub" => {
            "inner_radius_um=40 outer_radius_um=500 sector_deg=60 height_um=100 \
             effective_permittivity=9"
        }
        "coupled_pair" => "even_ohm=70 odd_ohm=36 center_ghz=29 even_deg=92 odd_deg=88",
        "series" | "shunt" | "load" => "resistance_ohm=50 inductance_ph=20",
        "bond" => "length_um=300 diameter_um=25",
        "microstrip" => "width_um=70 length_um=900 conductivity_ms_per_m=41",
        "coupled_microstrip" => "width_um=60 gap_um=20 length_um=900",
        "coupled_line_coupler"
        | "lange"
        | "branch_line"
        | "rat_race"
        | "wilkinson"
        | "marchand" => "center_ghz=29",
        _ => "",
    }
}

#[test]
fn every_kind_can_be_made() {
    let sandbox = Sandbox::new();
    let listed = sandbox.succeeds("component list");
    assert_fits_80_columns(&listed);
    for (kind, ports, _) in fourphase::component::KINDS {
        let ports = ports.split(' ').count();
        let file = format!("made_{kind}.s{ports}p");
        sandbox.succeeds(&format!(
            "component {kind} {} --grid 24GHz..34GHz:21 --output {file}",
            parameters(kind)
        ));
        assert_eq!(sandbox.touchstone(&file).network.ports(), ports, "{kind}");
        assert!(listed.contains(&format!("\n{kind}\n")), "{kind}");
    }
}

#[test]
fn dimensions_are_given_for_a_substrate() {
    let dimensions = Sandbox::new().json(
        "component branch_line center_ghz=29 \
         --substrate relative_permittivity=12.9,height_um=100",
    );
    // 50 ohm on 100 um of gallium arsenide is some 70 um wide (any substrate table).
    let width_um = number(&dimensions, "/branch_width_um");
    assert!((width_um - 72.0).abs() < 3.0, "{width_um}");
}

#[test]
fn impossible_components_are_refused() {
    let sandbox = Sandbox::new();
    let radial = "radial_stub height_um=100 effective_permittivity=9";
    for (arguments, mention) in [
        ("wilkinson", "center_ghz"),
        ("nothing", "component list"),
        ("line impedance_ohm=50 impedance_ohm=60", "given twice"),
        ("through --output t.s2p", "--grid"),
        ("quadrature_hybrid phase_error_deg=5 --grid 1GHz..2GHz:3 --output q.s4p", "more loss"),
        ("line impedance_ohm=nan center_ghz=29 angle_deg=30", "impedance_ohm"),
        (
            "line impedance_ohm=50 center_ghz=-29 angle_deg=30",
            "center_ghz needs a positive number, got -29",
        ),
        ("attenuator loss_db=-3", "loss_db"),
        ("attenuator loss_db=29GHz", "a number without unit"),
        ("quadrature_hybrid imbalance_db=inf", "imbalance_db"),
        ("quadrature_hybrid isolation_db=3", "more loss"),
        (&format!("{radial} sector_deg=60 inner_radius_um=500 outer_radius_um=50"), "got -450"),
        (&format!("{radial} sector_deg=400 inner_radius_um=50 outer_radius_um=500"), "above 360"),
        ("microstrip width_um=-70 length_um=100", "width_um needs a positive number, got -70"),
        ("bond", "either inductance_ph, or length_um and diameter_um"),
        ("bond inductance_ph=200 length_um=300", "either inductance_ph"),
        ("coupled_line_coupler center_ghz=29 strips=4", "unknown field `strips`"),
        (
            "wilkinson center_ghz=29 stages=3 stage_impedance_ohm=[80,60] \
             stage_resistor_ohm=[90,200]",
            "3 stages",
        ),
        ("list --format json", "is text"),
    ] {
        sandbox.refuses(&format!("component {arguments}"), mention);
    }
    assert!(sandbox.succeeds("component attenuator loss_db=.5").contains("series_ohm"));
}
