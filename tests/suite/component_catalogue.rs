//! Components by the name of their kind and named parameters.

use fourphase::component::{
    ComponentError, GivenParameter, KINDS, NamedComponent, Parameter, ParameterValue,
    parse_parameters, substrate,
};
use fourphase::network::FrequencyGrid;

fn made(kind: &str, parameters: &str) -> Result<NamedComponent, ComponentError> {
    let texts: Vec<&str> = parameters.split_whitespace().collect();
    NamedComponent::new(kind, &parse_parameters(&texts)?)
}

fn refused(kind: &str, parameters: &str) -> ComponentError {
    made(kind, parameters).expect_err(&format!("{kind} {parameters}"))
}

#[test]
fn every_kind_is_made_from_its_example_with_the_ports_that_it_names() {
    let grid = FrequencyGrid::linear(24e9, 34e9, 3).unwrap();
    for kind in KINDS {
        let component = made(kind.name(), kind.example()).unwrap();
        let network = component.network(&grid).unwrap();
        assert_eq!(network.ports(), kind.ports().len(), "{}", kind.name());
        assert!(std::ptr::eq(component.kind(), kind));
        component.dimensions(Some(&substrate(&[]).unwrap())).unwrap();
        assert!(
            KINDS.iter().filter(|other| other.name() == kind.name()).count() == 1,
            "two kinds are named {}",
            kind.name()
        );
    }
}

#[test]
fn defaults_are_those_that_help_states() {
    let grid = FrequencyGrid::linear(24e9, 34e9, 3).unwrap();
    for kind in KINDS {
        let left_out = made(kind.name(), kind.example()).unwrap().network(&grid).unwrap();
        let has_default = |parameter: &&Parameter| {
            let usage = parameter.usage();
            let given = kind
                .example()
                .split(' ')
                .any(|text| text.split_once('=').is_some_and(|(name, _)| name == parameter.name()));
            let value = usage.split_once('=').map(|(_, value)| ParameterValue::from_text(value));
            !given && matches!(value, Some(ParameterValue::Number(_)))
        };
        let defaults: Vec<String> =
            kind.parameters().iter().filter(has_default).map(Parameter::usage).collect();
        let all = format!("{} {}", kind.example(), defaults.join(" "));
        let stated = made(kind.name(), &all).unwrap().network(&grid).unwrap();
        for (one, other) in left_out.entries().iter().zip(stated.entries()) {
            // Help states six digits.
            assert!((one - other).norm() < 1e-5, "{all}: {one} {other}");
        }
    }
}

#[test]
fn a_wrong_parameter_is_named_with_what_it_takes() {
    for (kind, parameters, says) in [
        ("rat_race", "", "rat_race needs center_ghz; it takes center_ghz, impedance_ohm, loss_db"),
        (
            "branch_line",
            "center_ghz=29 foo=1",
            "unknown parameter 'foo' of branch_line; it takes center_ghz, impedance_ohm, loss_db",
        ),
        (
            "zero_length_line",
            "loss_db=1",
            "unknown parameter 'loss_db' of zero_length_line; it takes no parameters",
        ),
        ("branch_line", "center_ghz=-3", "center_ghz must be above 0, found -3"),
        ("branch_line", "center_ghz=nan", "center_ghz must be above 0, found NaN"),
        ("attenuator", "loss_db=abc", "expected a number for loss_db, found 'abc'"),
        ("attenuator", "loss_db=29GHz", "expected a number for loss_db, found '29GHz'"),
        ("attenuator", "loss_db=[1,2]", "expected a number for loss_db, found [1,2]"),
        ("attenuator", "loss_db=-3", "loss_db must be 0 or above, found -3"),
        ("attenuator", "loss_db=3 topology=ring", "expected tee or pi for topology, found 'ring'"),
        ("attenuator", "loss_db=3 topology=1", "expected tee or pi for topology, found 1"),
        ("attenuator", "loss_db=3 loss_db=4", "duplicate parameter 'loss_db'"),
        (
            "quadrature_hybrid",
            "imbalance_db=inf",
            "imbalance_db must be a finite number, found inf",
        ),
        ("lange", "center_ghz=29 strips=4.5", "expected a whole number for strips, found 4.5"),
        (
            "lange",
            "center_ghz=29 strips=3",
            "an interdigitated coupler needs an even number of strips, 2 or more, found 3",
        ),
        (
            "marchand",
            "center_ghz=29 odd_mode_velocity_excess_percent=100",
            "odd_mode_velocity_excess_percent must be below 100, found 100",
        ),
        (
            "wilkinson",
            "center_ghz=29 stage_impedance_ohm=80 stage_resistor_ohm=[90]",
            "expected a list of numbers such as [80,60] for stage_impedance_ohm, found 80",
        ),
        (
            "wilkinson",
            "center_ghz=29 stages=3 stage_impedance_ohm=[80,60] stage_resistor_ohm=[90,200]",
            "each stage of a divider needs an impedance and a resistor, \
             found 2 impedances and 2 resistors for 3 stages",
        ),
        ("microstrip", "width_um=-70 length_um=100", "width_um must be above 0, found -70"),
        (
            "bond",
            "",
            "a bond needs either inductance_ph, or length_um and diameter_um, or length_um, width_um and \
             thickness_um",
        ),
        (
            "bond",
            "length_um=5 diameter_um=25",
            "the inductance of a wire needs a length above half its diameter, \
             found a length of 5 um and a diameter of 25 um",
        ),
        (
            "radial_stub",
            "inner_radius_um=500 outer_radius_um=50 sector_deg=60 height_um=100 \
             effective_permittivity=9",
            "the outer radius of a radial stub must be above its inner radius of 500 um, \
             found 50 um",
        ),
        (
            "radial_stub",
            "inner_radius_um=50 outer_radius_um=500 sector_deg=400 height_um=100 \
             effective_permittivity=9",
            "sector_deg must be above 0 and at most 360, found 400",
        ),
        (
            "quadrature_hybrid",
            "loss_db=3 isolation_db=2",
            "the isolation of a hybrid must be above its loss of 3 dB, found 2 dB",
        ),
    ] {
        assert_eq!(refused(kind, parameters).to_string(), says, "{kind} {parameters}");
    }
    assert!(refused("quadrature_hybrid", "isolation_db=3").to_string().contains("more loss"));
    assert!(
        refused("nothing", "").to_string().starts_with(
            "there is no component of kind 'nothing'; the kinds are quadrature_hybrid, "
        )
    );
}

#[test]
fn former_names_are_refused_with_the_present_ones() {
    for (former, present) in [
        ("open", "open_end"),
        ("short", "shorted_end"),
        ("load", "termination"),
        ("shunt", "shunt_element"),
        ("series", "series_element"),
        ("through", "zero_length_line"),
    ] {
        let error = refused(former, "");
        assert_eq!(error.to_string(), format!("kind '{former}' is now '{present}'"));
        made(present, "").unwrap();
    }
    let former = refused("marchand", "center_ghz=29 odd_faster_percent=6");
    assert_eq!(
        former.to_string(),
        "parameter 'odd_faster_percent' is now 'odd_mode_velocity_excess_percent'"
    );
    // A kind without the present parameter does not propose it.
    let unknown = refused("branch_line", "center_ghz=29 odd_faster_percent=6");
    assert!(matches!(unknown, ComponentError::UnknownParameter { .. }));
}

#[test]
fn an_error_names_the_parameter_that_it_is_about() {
    for (kind, parameters, parameter) in [
        ("line", "impedance_ohm=50 center_ghz=29 angle_deg=x", Some("angle_deg")),
        ("line", "impedance_ohm=50 center_ghz=29 angle_deg=9 foo=1", Some("foo")),
        ("line", "impedance_ohm=50", None),
        ("through", "", Some("kind")),
        ("coupled_line_coupler", "center_ghz=29 coupling_db=1e9", Some("coupling_db")),
    ] {
        assert_eq!(refused(kind, parameters).parameter(), parameter, "{kind} {parameters}");
    }
}

#[test]
fn parameters_are_read_from_texts() {
    let value = ParameterValue::from_text;
    assert_eq!(value(" .5 "), ParameterValue::Number(0.5));
    assert_eq!(value("inf"), ParameterValue::Number(f64::INFINITY));
    assert_eq!(value("[80, 60]"), ParameterValue::Numbers(vec![80.0, 60.0]));
    assert_eq!(value("[80, x]"), ParameterValue::Word("[80, x]".to_owned()));
    assert_eq!(
        parse_parameters(&["loss-db=.5"]).unwrap(),
        [GivenParameter { name: "loss_db".to_owned(), value: ParameterValue::Number(0.5) }]
    );
    let error = parse_parameters(&["29"]).unwrap_err().to_string();
    assert_eq!(error, "'29' is not a parameter: expected NAME=VALUE, such as center_ghz=29");
    let error = substrate(&parse_parameters(&["hight_um=100"]).unwrap()).unwrap_err().to_string();
    assert!(error.starts_with("unknown parameter 'hight_um' of a substrate; it takes "), "{error}");
}
