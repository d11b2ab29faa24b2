//! No description of a network makes the loader panic, and every error names a line of it.
#![allow(missing_docs, clippy::unwrap_used)]

use fourphase::downconverter::load_network;
use fourphase::touchstone::ReadOptions;
use proptest::prelude::*;
use std::path::Path;
use std::sync::LazyLock;

static TREE: LazyLock<String> = LazyLock::new(|| {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("data-demo/tree.toml");
    // A closed-form part in place of each file keeps a run short.
    std::fs::read_to_string(path)
        .unwrap()
        .replace(
            "file = \"coupler.s4p\"",
            "component = { kind = \"branch_line\", center_ghz = 29 }",
        )
        .replace("file = \"balun.s3p\"", "component = { kind = \"balun\" }")
        .replacen("reference_ohm", "grid = \"28GHz..30GHz:3\"\nreference_ohm", 1)
});

const PIECES: [&str; 16] = [
    "\n",
    "\"",
    "[[block]]\n",
    "[[load]]\n",
    "hybrid.in",
    " -- ",
    "é",
    "0",
    "-1",
    "1e999",
    "nan",
    "inf",
    "= [",
    "]",
    "component = { kind = \"lange\" }\n",
    "ohm = [0.0, 0.0]\n",
];

proptest! {
    #![proptest_config(ProptestConfig::with_cases(600))]
    #[test]
    fn mutated_descriptions_never_panic(
        changes in prop::collection::vec((any::<prop::sample::Index>(), 0..PIECES.len(), 0_usize..12), 1..4),
    ) {
        let mut text = TREE.clone();
        for (at, piece, cut) in changes {
            let mut from = at.index(text.len());
            while !text.is_char_boundary(from) {
                from -= 1;
            }
            let mut to = (from + cut).min(text.len());
            while !text.is_char_boundary(to) {
                to += 1;
            }
            text.replace_range(from..to, PIECES[piece]);
        }
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("mutated.toml");
        std::fs::write(&path, &text).unwrap();
        match load_network(&path, &ReadOptions::default(), None) {
            Ok(circuit) => {
                let _ = circuit.join();
            }
            Err(error) => {
                let lines = text.lines().count() + 1;
                prop_assert!(error.excerpt.as_ref().is_none_or(|excerpt| excerpt.position.line <= lines));
                let _ = error.diagnostic().render(true);
            }
        }
    }
}

#[test]
fn the_tree_itself_joins() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("tree.toml");
    std::fs::write(&path, &*TREE).unwrap();
    let joined = load_network(&path, &ReadOptions::default(), None).unwrap().join().unwrap();
    assert_eq!((joined.ports(), joined.grid().len()), (3, 3));
}
