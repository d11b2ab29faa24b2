//! Former names of kinds and parameters; the error for them gives the present name.

/// Former and present names of kinds.
const KINDS: [(&str, &str); 6] = [
    ("load", "termination"),
    ("open", "open_end"),
    ("series", "series_element"),
    ("short", "shorted_end"),
    ("shunt", "shunt_element"),
    ("through", "zero_length_line"),
];

/// Former and present names of parameters.
const PARAMETERS: [(&str, &str); 1] = [("odd_faster_percent", "odd_mode_velocity_excess_percent")];

/// The present name of a kind, from its former name.
pub(super) fn kind_now(former: &str) -> Option<&'static str> {
    present(&KINDS, former)
}

/// The present name of a parameter, from its former name.
pub(super) fn parameter_now(former: &str) -> Option<&'static str> {
    present(&PARAMETERS, former)
}

fn present(names: &[(&'static str, &'static str)], former: &str) -> Option<&'static str> {
    names.iter().find(|(name, _)| *name == former).map(|(_, now)| *now)
}
