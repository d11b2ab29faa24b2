//! Whole receivers with an LO chain against values computed independently (topic 16): each case is a
//! RECEIVER.toml with its files and what the document must hold.

use crate::check_values::{cases, check, topic};
use crate::harness::Sandbox;
use serde_json::Value;

fn list<'v>(document: &'v Value, pointer: &str) -> &'v [Value] {
    document.pointer(pointer).and_then(Value::as_array).map_or(&[], Vec::as_slice)
}

/// Numbers are equal within 1e-9 of their size, everything else exactly.
fn is_same(one: &Value, other: &Value) -> bool {
    match (one.as_f64(), other.as_f64()) {
        (Some(one), Some(other)) => (one - other).abs() <= 1e-9 * other.abs(),
        _ => one == other,
    }
}

/// The record of a list that agrees in these keys; there must be one.
fn record<'v>(all: &'v [Value], like: &Value, keys: &[&str]) -> &'v Value {
    let found: Vec<&Value> =
        all.iter().filter(|own| keys.iter().all(|key| is_same(&own[*key], &like[*key]))).collect();
    assert_eq!(found.len(), 1, "{keys:?} of {like}");
    found[0]
}

/// Every number of `want` is that of `got`, however deep; what has no number is equal.
fn check_like(case: &Value, what: &str, got: &Value, want: &Value) {
    match want {
        Value::Object(fields) => {
            for (key, want) in fields {
                check_like(case, &format!("{what}/{key}"), &got[key], want);
            }
        }
        Value::Array(items) => {
            assert_eq!(got.as_array().map(Vec::len), Some(items.len()), "{what}: {got}");
            for (at, want) in items.iter().enumerate() {
                check_like(case, &format!("{what}/{at}"), &got[at], want);
            }
        }
        Value::Number(want) => {
            let got = got.as_f64().unwrap_or_else(|| panic!("{} {what}: {got}", case["id"]));
            check(case, what, got, want.as_f64().unwrap());
        }
        _ => assert_eq!(got, want, "{} {what}", case["id"]),
    }
}

/// Every record of a list is there, and no other.
fn check_records(case: &Value, document: &Value, pointer: &str, keys: &[&str]) {
    let want = list(&case["expected"], pointer);
    let got = list(document, pointer);
    for own in want {
        check_like(case, pointer, record(got, own, keys), own);
    }
    assert_eq!(got.len(), want.len(), "{} {pointer}", case["id"]);
}

fn check_chain(case: &Value, document: &Value) {
    check_records(case, document, "/lo_chain/tones_at_mixers", &["lo_hz", "multiple"]);
    let keys = ["lo_hz", "if_hz", "multiple", "sideband"];
    check_records(case, document, "/lo_chain/spurious_responses", &keys);
    check_records(case, document, "/lo_chain/left_out", &["lo_hz", "where", "multiple"]);
    let stages = list(document, "/lo_chain/stages");
    for want in list(&case["expected"], "/lo_chain/stages") {
        let got = record(stages, want, &["name"]);
        for key in ["carrier_hz", "carrier_dbm", "gain_db", "slope"] {
            check_like(case, key, &got[key], &want[key]);
        }
        let tones = list(got, "/tones");
        for tone in list(want, "/tones") {
            check_like(case, "tones", record(tones, tone, &["lo_hz", "multiple"]), tone);
        }
        assert_eq!(tones.len(), list(want, "/tones").len(), "{} {}", case["id"], want["name"]);
    }
    let chain = &case["expected"]["lo_chain"];
    for key in ["phase_noise_at_mixers", "input_window_dbm"] {
        if let Some(want) = chain.get(key) {
            check_like(case, key, &document["lo_chain"][key], want);
        }
    }
}

fn check_receiver(case: &Value) {
    let sandbox = Sandbox::new();
    sandbox.write("receiver.toml", case["inputs"]["receiver_toml"].as_str().unwrap());
    for (name, text) in case["inputs"]["files"].as_object().unwrap() {
        sandbox.write(name, text.as_str().unwrap());
    }
    let run = sandbox.run("downconverter receiver.toml --format json");
    assert!(run.status < 2, "{}: {}", case["id"], run.stderr);
    let (document, expected) = (run.json(), &case["expected"]);
    for want in list(expected, "/lo") {
        let got = record(list(&document, "/lo"), want, &["lo_hz"]);
        check(
            case,
            "lo_input_hz",
            got["lo_input_hz"].as_f64().unwrap(),
            want["lo_input_hz"].as_f64().unwrap(),
        );
        for mixer in list(want, "/mixers") {
            check_like(case, "mixers", record(list(got, "/mixers"), mixer, &["name"]), mixer);
        }
    }
    for want in list(expected, "/points") {
        let got = record(list(&document, "/points"), want, &["lo_hz", "if_hz"]);
        check_like(case, "points", got, want);
    }
    check_chain(case, &document);
    for want in list(expected, "/verdict/requirements") {
        let got = record(list(&document, "/verdict/requirements"), want, &["name"]);
        check_like(case, "verdict", got, want);
    }
    if let Some(want) = expected.get("exit_status") {
        assert_eq!(want.as_i64(), Some(run.status.into()), "{}", case["id"]);
    }
    if let Some(want) = expected.get("combine") {
        assert_eq!(&document["combine"], want, "{}", case["id"]);
    }
}

#[test]
fn receivers_with_a_chain_have_the_documents_of_the_cases() {
    let topic = topic("16_lo_chain.json");
    let all = cases(&topic, "receiver-");
    assert_eq!(all.len(), 8);
    all.into_iter().for_each(check_receiver);
}
