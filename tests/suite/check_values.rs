//! Access to the JSON files of check values.

use num_complex::Complex64;
use serde_json::Value;

/// The content of a file in `tests/check-values`.
pub(crate) fn topic(name: &str) -> Value {
    let path = crate::harness::project("tests/check-values").join(name);
    serde_json::from_slice(&std::fs::read(path).unwrap()).unwrap()
}

/// The cases of a file whose id starts with a prefix; none at all is a mistake in the test.
pub(crate) fn cases<'v>(topic: &'v Value, prefix: &'v str) -> Vec<&'v Value> {
    let found: Vec<&Value> = topic["cases"]
        .as_array()
        .unwrap()
        .iter()
        .filter(|case| case["id"].as_str().unwrap().starts_with(prefix))
        .collect();
    assert!(!found.is_empty(), "no case starts with {prefix}");
    found
}

/// `[re, im]`.
pub(crate) fn complex(value: &Value) -> Complex64 {
    Complex64::new(value[0].as_f64().unwrap(), value[1].as_f64().unwrap())
}

/// A list of complex numbers.
pub(crate) fn list(value: &Value) -> Vec<Complex64> {
    value.as_array().unwrap().iter().map(complex).collect()
}

/// A matrix, row-major.
pub(crate) fn matrix(value: &Value) -> Vec<Complex64> {
    value.as_array().unwrap().iter().flat_map(list).collect()
}

/// Fails unless a number is within the case's own tolerance.
pub(crate) fn check(case: &Value, what: &str, got: f64, want: f64) {
    let tolerance = &case["tolerance"];
    let allowed =
        tolerance["abs"].as_f64().unwrap() + tolerance["rel"].as_f64().unwrap() * want.abs();
    assert!((got - want).abs() <= allowed, "{} {what}: {got}, expected {want}", case["id"]);
}

/// The same for a number that the case expects under a name.
pub(crate) fn check_expected(case: &Value, name: &str, got: f64) {
    check(case, name, got, case["expected"][name].as_f64().unwrap());
}

/// The same for every entry of a matrix.
pub(crate) fn check_matrix(case: &Value, what: &str, got: &[Complex64], want: &Value) {
    let want = matrix(want);
    assert_eq!(got.len(), want.len(), "{} {what}", case["id"]);
    for (at, (got, want)) in got.iter().zip(&want).enumerate() {
        check(case, &format!("{what} entry {at}, real"), got.re, want.re);
        check(case, &format!("{what} entry {at}, imaginary"), got.im, want.im);
    }
}
