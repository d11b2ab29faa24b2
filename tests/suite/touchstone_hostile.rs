//! No input makes the reader panic, hang, or take memory out of proportion.

use fourphase::touchstone::{ReadOptions, parse};
use proptest::prelude::*;
use std::path::{Path, PathBuf};
use std::process::Command;
use std::sync::LazyLock;

fn corpus(folder: &str) -> Vec<(PathBuf, Vec<u8>)> {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/corpus").join(folder);
    let paths = std::fs::read_dir(folder).unwrap().map(|entry| entry.unwrap().path());
    paths.map(|path| (path.clone(), std::fs::read(path).unwrap())).collect()
}

static FILES: LazyLock<Vec<(PathBuf, Vec<u8>)>> =
    LazyLock::new(|| [corpus("valid"), corpus("invalid")].concat());

/// Pieces that mean something to a reader, and some that should not.
const PIECES: [&[u8]; 20] = [
    b"\n",
    b"\r",
    b"!",
    b"#",
    b"[",
    b"]",
    b"[End]\n",
    b"[Network Data]\n",
    b"[Noise Data]\n",
    b"[Reference]",
    b"[Number of Ports] 4000000\n",
    b"[Mixed-Mode Order] D1,2",
    b" 1e999 ",
    b" -0 ",
    b"\x00",
    b"\xFF",
    b"\x1A",
    b" 99999999999999999999 ",
    b"R",
    b"\t",
];

#[derive(Clone, Debug)]
enum Mutation {
    Cut(prop::sample::Index, prop::sample::Index),
    Insert(prop::sample::Index, usize),
    Flip(prop::sample::Index, u8),
    Double(prop::sample::Index, prop::sample::Index),
}

fn mutation() -> impl Strategy<Value = Mutation> {
    prop_oneof![
        (any::<prop::sample::Index>(), any::<prop::sample::Index>())
            .prop_map(|(a, b)| Mutation::Cut(a, b)),
        (any::<prop::sample::Index>(), 0..PIECES.len())
            .prop_map(|(a, piece)| Mutation::Insert(a, piece)),
        (any::<prop::sample::Index>(), any::<u8>()).prop_map(|(a, byte)| Mutation::Flip(a, byte)),
        (any::<prop::sample::Index>(), any::<prop::sample::Index>())
            .prop_map(|(a, b)| Mutation::Double(a, b)),
    ]
}

fn apply(bytes: &mut Vec<u8>, mutation: &Mutation) {
    if bytes.is_empty() {
        return;
    }
    let length = bytes.len();
    match mutation {
        Mutation::Cut(a, b) => {
            let (from, to) =
                (a.index(length).min(b.index(length)), a.index(length).max(b.index(length)));
            bytes.drain(from..to.min(from + 40));
        }
        Mutation::Insert(at, piece) => {
            let at = at.index(length);
            bytes.splice(at..at, PIECES[*piece].iter().copied());
        }
        Mutation::Flip(at, byte) => bytes[at.index(length)] = *byte,
        Mutation::Double(a, b) => {
            let (from, to) =
                (a.index(length).min(b.index(length)), a.index(length).max(b.index(length)));
            let copy = bytes[from..to.min(from + 60)].to_vec();
            bytes.splice(from..from, copy);
        }
    }
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(4000))]
    #[test]
    fn mutated_files_never_panic(
        file in any::<prop::sample::Index>(),
        mutations in prop::collection::vec(mutation(), 1..6),
        strict in any::<bool>(),
        option_line in any::<bool>(),
    ) {
        let (path, bytes) = &FILES[file.index(FILES.len())];
        let mut bytes = bytes.clone();
        for mutation in &mutations {
            apply(&mut bytes, mutation);
        }
        let option_line = option_line.then(|| "GHz S MA R 50".parse().unwrap());
        match parse(&bytes, path, &ReadOptions { strict, option_line, accept_active: false }) {
            // Showing an error or a warning must not panic either, and must name a line of the file.
            Err(error) => {
                let lines = bytes.iter().filter(|&&byte| byte == b'\n' || byte == b'\r').count() + 1;
                prop_assert!(error.position().unwrap().line <= lines);
                prop_assert!(!error.diagnostic().render(false).contains('\x00'));
            }
            Ok(file) => {
                for warning in &file.warnings {
                    let _ = warning.diagnostic("file").render(true);
                }
            }
        }
    }

    #[test]
    fn any_bytes_never_panic(bytes in prop::collection::vec(any::<u8>(), 0..300)) {
        let _ = parse(&bytes, Path::new("any.s2p"), &ReadOptions::default());
        let _ = parse(&bytes, Path::new("any.ts"), &ReadOptions::default());
    }
}

#[test]
fn counts_that_the_data_do_not_bear_out_cost_nothing() {
    let refuse = |text: &str, name: &str| {
        parse(text.as_bytes(), Path::new(name), &ReadOptions::default()).unwrap_err()
    };
    for ports in ["4000000", "18446744073709551615"] {
        for extra in
            ["", "[Reference] 50\n", "[Matrix Format] Lower\n", "[Mixed-Mode Order] D1,2 C1,2\n"]
        {
            let text = format!(
                "[Version] 2.0\n# GHz S RI R 50\n[Number of Ports] {ports}\n[Number of Frequencies] {ports}\n{extra}[Network Data]\n1 0 0\n[End]\n"
            );
            refuse(&text, "many.ts");
        }
        refuse("# GHz S RI R 50\n1 0 0\n", &format!("many.s{ports}p"));
    }
}

/// The memory in KiB that the process below may use in all; it needs some 10 MiB by itself.
#[cfg(target_os = "linux")]
const SPARE_KIB: u64 = 100_000;

#[cfg(target_os = "linux")]
fn inspect_within(path: &Path, limit_kib: u64) -> std::process::Output {
    Command::new("sh")
        .arg("-c")
        .arg(format!("ulimit -v {limit_kib}; exec \"$0\" inspect \"$1\""))
        .arg(env!("CARGO_BIN_EXE_fourphase"))
        .arg(path)
        .output()
        .unwrap()
}

#[test]
#[cfg(target_os = "linux")]
fn memory_stays_in_proportion_to_the_file() {
    let folder = tempfile::tempdir().unwrap();
    let megabytes = 40;
    let contents: [(&str, Vec<u8>); 6] = [
        ("ports.ts", b"[Version] 2.0\n# GHz S RI R 50\n[Number of Ports] 4000000\n[Number of Frequencies] 1\n[Network Data]\n1 0 0\n[End]\n".to_vec()),
        ("ports.s4000000p", b"# GHz S RI R 50\n1 0 0\n".to_vec()),
        ("one_number.s2p", [b"# GHz S RI R 50\n".to_vec(), vec![b'1'; megabytes << 20]].concat()),
        ("one_line.s2p", [b"# GHz S RI R 50\n".to_vec(), b"1 ".repeat(megabytes << 19)].concat()),
        ("one_comment.s2p", [b"# GHz S RI R 50\n!".to_vec(), vec![b'x'; megabytes << 20]].concat()),
        ("zeros.s2p", vec![0; megabytes << 20]),
    ];
    for (name, bytes) in contents {
        let path = folder.path().join(name);
        std::fs::write(&path, &bytes).unwrap();
        // The file itself, a copy of its longest piece, and what any run needs.
        let limit_kib = SPARE_KIB + 3 * (bytes.len() as u64 >> 10);
        let output = inspect_within(&path, limit_kib);
        let error = String::from_utf8_lossy(&output.stderr);
        assert_eq!(output.status.code(), Some(2), "{name}: {error}");
        assert!(error.starts_with("error: ") && error.len() < 2000, "{name}: {error}");
    }
}
