//! `component`: the list of kinds, files and dimensions.

use crate::harness::{Sandbox, assert_fits_80_columns, number};

#[test]
fn every_kind_is_listed() {
    let listed = Sandbox::new().succeeds("component list");
    assert_fits_80_columns(&listed);
    for kind in fourphase::component::KINDS {
        assert!(listed.contains(&format!("\n{}\n", kind.name())), "{}", kind.name());
    }
}

#[test]
fn a_component_is_written_to_a_file() {
    let sandbox = Sandbox::new();
    sandbox.succeeds("component wilkinson center_ghz=29 --grid 24GHz..34GHz:21 --output made.s3p");
    assert_eq!(sandbox.touchstone("made.s3p").network.ports(), 3);
    assert!(sandbox.succeeds("component attenuator loss_db=.5").contains("series_ohm"));
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
    for (arguments, mention) in [
        (
            "line impedance_ohm=50 center_ghz=-29 angle_deg=30",
            "center_ghz must be above 0, found -29",
        ),
        ("wilkinson", "wilkinson needs center_ghz"),
        ("nothing", "component list"),
        ("through", "kind 'through' is now 'zero_length_line'"),
        ("line impedance_ohm=50 impedance_ohm=60", "duplicate parameter"),
        (
            "branch_line center_ghz=29 --substrate height_um=-1",
            "height_um must be above 0, found -1",
        ),
        ("zero_length_line --output t.s2p", "--grid"),
        ("list --format json", "is text"),
    ] {
        sandbox.refuses(&format!("component {arguments}"), mention);
    }
}
