//! Large files, which are read in blocks on several threads: the same numbers, warnings and errors as
//! line by line. A comment on every line makes the reader go line by line.

use fourphase::touchstone::{ReadError, ReadOptions, TouchstoneFile, WarningCode, parse};
use std::fmt::Write as _;
use std::path::Path;

const POINTS: usize = 2_400;

/// Sets of full-length numbers, each as its lines.
fn sets(ports: usize, number_format: &str) -> Vec<Vec<String>> {
    let mut state = 11_u64;
    let mut draw = move || {
        state ^= state << 13;
        state ^= state >> 7;
        state ^= state << 17;
        (state >> 11) as f64 / (1_u64 << 53) as f64 - 0.5
    };
    let of_set = |point: usize| {
        let mut lines = vec![format!("{}", 20e9 + 1e6 * point as f64)];
        for entry in 0..ports * ports {
            // Four pairs a line, and a new line for each row of three ports and more.
            if entry > 0 && ports > 2 && (entry % ports).is_multiple_of(4) {
                lines.push(" ".to_owned());
            }
            let (first, second) = match number_format {
                "RI" => (draw(), draw()),
                "MA" => (draw().abs(), 360.0 * draw()),
                _ => (40.0 * draw() - 25.0, 360.0 * draw()),
            };
            let line = lines.len() - 1;
            write!(lines[line], " {first} {second}").unwrap();
        }
        lines
    };
    (0..POINTS).map(of_set).collect()
}

fn text(head: &str, sets: &[Vec<String>], tail: &str, line_end: &str) -> String {
    let lines: Vec<&str> = sets.iter().flatten().map(String::as_str).collect();
    format!("{head}{}{line_end}{tail}", lines.join(line_end))
}

/// What the reader says: all that a user sees of a file, without its comments.
type Seen = Result<(TouchstoneFile, Vec<(WarningCode, usize, usize)>), (String, usize, usize)>;

fn seen(text: &str, name: &str, threads: usize) -> Seen {
    let pool = rayon::ThreadPoolBuilder::new().num_threads(threads).build().unwrap();
    let read = || parse(text.as_bytes(), Path::new(name), &ReadOptions::default());
    match pool.install(read) {
        Ok(mut file) => {
            file.comments.clear();
            let place = |warning: &fourphase::touchstone::Warning| {
                let position = warning.excerpt.position;
                (warning.code, position.line, position.column)
            };
            let mut warnings: Vec<_> = file.warnings.iter().map(place).collect();
            warnings.sort_by_key(|(code, ..)| code.name());
            file.warnings.clear();
            Ok((file, warnings))
        }
        Err(error) => {
            let position = error.position().unwrap();
            let problem = error.problem().unwrap().to_string();
            assert!(matches!(error, ReadError::Content { .. }));
            Err((problem, position.line, position.column))
        }
    }
}

/// Compares a text with its twin that has a comment on every line of data.
fn compare(what: &str, head: &str, sets: &[Vec<String>], tail: &str, name: &str) -> Seen {
    let twin: Vec<Vec<String>> = sets
        .iter()
        .map(|set| {
            set.iter()
                .map(|line| if line.is_empty() { line.clone() } else { format!("{line} ! c") })
                .collect()
        })
        .collect();
    let want = seen(&text(head, &twin, tail, "\n"), name, 1);
    let plain = text(head, sets, tail, "\n");
    for threads in [1, 2, 5] {
        assert!(seen(&plain, name, threads) == want, "{what}, {threads} threads");
    }
    want
}

#[test]
fn numbers_are_the_same_to_the_last_bit() {
    for (ports, number_format) in [(1, "RI"), (2, "RI"), (3, "MA"), (4, "RI"), (4, "DB"), (5, "RI")]
    {
        let head = format!("! large\n# Hz S {number_format} R 50\n");
        let own = sets(ports, number_format);
        let name = format!("large.s{ports}p");
        let (file, warnings) = compare(&name, &head, &own, "", &name).unwrap();
        assert_eq!((file.network.grid().len(), warnings.len()), (POINTS, 0), "{name}");
        let returned = text(&head, &own, "", "\r\n");
        assert!(seen(&returned, &name, 3) == Ok((file, warnings)), "{name}");
    }
}

#[test]
fn triangles_counts_and_noise_are_read_after_blocks() {
    let triangle: Vec<Vec<String>> = (0..30_000)
        .map(|point| {
            vec![
                format!("{} 0.1 0.2", 20e9 + 1e6 * f64::from(point)),
                format!(" 0.3 {} 0.5 0.6", 0.01 * f64::from(point % 7)),
            ]
        })
        .collect();
    let head = |count: usize| {
        format!(
            "[Version] 2.0\n# Hz S RI R 50\n[Number of Ports] 2\n[Two-Port Data Order] 21_12\n[Number of Frequencies] {count}\n[Matrix Format] Lower\n[Network Data]\n"
        )
    };
    let (file, _) = compare("triangle", &head(30_000), &triangle, "[End]\n", "x.ts").unwrap();
    let last = file.network.matrix(29_999).as_slice().to_vec();
    assert_eq!(last[1], last[2]);
    for wrong in [29_999, 30_001, 12_345] {
        assert!(compare("count", &head(wrong), &triangle, "[End]\n", "x.ts").is_err());
    }
    let own = sets(2, "MA");
    let noise = "20 0.5 0.2 30 0.1\n21000000000 0.6 0.2 31 0.1\n";
    let (file, _) = compare("noise", "# Hz S MA R 50\n", &own, noise, "x.s2p").unwrap();
    assert_eq!(file.noise.len(), 2);
}

/// The name of a fault, and what makes it of a set's lines.
type Fault = (&'static str, fn(&mut Vec<String>));

/// Everything that is not regular, early, in the middle and at the end.
#[test]
fn warnings_and_errors_stay_at_their_places() {
    let faults: [Fault; 17] = [
        ("word", |set| set[1].push_str(" x")),
        ("number with a word", |set| set[1] = set[1].replacen(' ', " 1x", 2)),
        ("joined numbers", |set| set[2] = set[2].replacen(" 0.", "-0.", 2)),
        ("surplus number", |set| set[3].push_str(" 0.5")),
        ("surplus pair", |set| set[2].push_str(" 0.5 0.5")),
        ("missing number", |set| set[1] = set[1].rsplit_once(' ').unwrap().0.to_owned()),
        ("missing line", |set| drop(set.remove(2))),
        ("joined lines", |set| {
            let second = set.remove(1);
            set[0].push_str(&second);
        }),
        ("infinite", |set| set[1] = " inf 0 0 0 0 0 0 0".to_owned()),
        ("not a number", |set| set[1] = " 0 nan 0 0 0 0 0 0".to_owned()),
        ("too large", |set| set[1] = " 1e10 0 0 0 0 0 0 0".to_owned()),
        ("descending", |set| set[0] = set[0].replacen("2", "1", 1)),
        ("negative frequency", |set| set[0].insert(0, '-')),
        ("tab", |set| set[1] = set[1].replacen(' ', "\t", 1)),
        ("exponent", |set| set[1] = " 0.1D-1 0 0 0 0 0 0 0".to_owned()),
        ("comment", |set| set[2].push_str(" ! a word")),
        ("empty line", |set| set.insert(2, String::new())),
    ];
    let good = sets(4, "RI");
    for (what, change) in faults {
        for at in [1, POINTS / 2, POINTS - 1] {
            let mut own = good.clone();
            change(&mut own[at]);
            let _ = compare(&format!("{what} at {at}"), "# Hz S RI R 50\n", &own, "", "x.s4p");
        }
    }
    let mut repeated = good.clone();
    repeated[1500] = repeated[1499].clone();
    let (_, warnings) = compare("repeated", "# Hz S RI R 50\n", &repeated, "", "x.s4p").unwrap();
    assert_eq!(warnings[0].0, WarningCode::DuplicateFrequency);
    let mut negative = sets(4, "MA");
    negative[1000][2] = " -0.5 10 0 0 0 0 0 0".to_owned();
    let (_, warnings) = compare("negative", "# Hz S MA R 50\n", &negative, "", "x.s4p").unwrap();
    assert_eq!(warnings[0].0, WarningCode::NegativeMagnitude);
}
