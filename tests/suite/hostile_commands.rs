//! Mutated command lines, components by name, and the list that a report folder keeps of its files.
//!
//! Every command line runs as a program of its own, in a folder whose files must stay as they are
//! unless the command line names them.

use crate::harness::Sandbox;
use crate::hostile_targets::{FILES, Outcome, Seed, World};
use fourphase::component::{KINDS, NamedComponent, parse_parameters, substrate};
use fourphase::network::FrequencyGrid;
use fourphase::report::{
    LIST_OF_FILES, ReportFile, ReportFolder, component_values_csv, component_values_text,
};
use std::collections::BTreeMap;
use std::ffi::OsStr;
use std::fs::File;
use std::path::{Path, PathBuf};
use std::process::{Command, ExitStatus};
use std::sync::LazyLock;
use std::time::{Duration, Instant};

/// Every command, and every option in one of them at least.
const COMMANDS: &[&str] = &[
    "inspect coupler.s4p gate.s1p --data --format csv --option-line GHz|S|RI|R|50",
    "inspect coupler.s4p --format json --strict --out report --overwrite",
    "splitter coupler.s4p --kind quadrature --input 1 --outputs 2,3 --isolated 4 --band 27GHz..31GHz \
     --nominal-deg -90 --reference-ohm 50,75,75,40+10j --load 4=43+6j --require-image-rejection-db 12 \
     --require-phase-error-deg 9 --require-amplitude-imbalance-db 3 --accept-active --threads 2",
    "splitter balun.s3p --require-common-mode-rejection-db 3 --plot balun.png --overwrite \
     --format json",
    "splitter coupler.s4p --uncertainty magnitude_db=0.03,phase_deg=0.3,over_frequency=independent \
     --load 4=gate.s1p --format csv",
    "splitter coupler.s4p --uncertainty uncertainty.toml --quiet --require-image-rejection-db 20",
    "tolerance --image-rejection-db 30 --amplitude-imbalance-db 0.3 --format csv",
    "tolerance --image-rejection-db 30 --phase-error-deg 2 --plot allowed.png --overwrite",
    "convert coupler.s4p pair.s2p --ports 1,3 --grid 27GHz..31GHz:11 --parameter Z \
     --number-format MA --frequency-unit MHz --touchstone 2.1 --make-passive",
    "convert coupler.s4p mixed.s4p --pairs 2,3 --reference-ohm 45 --band 26GHz..32GHz \
     --file-reference-ohm 49-2j --wave-definition marks-williams --touchstone 2.0 --overwrite",
    "convert coupler.s4p coupler.ts --single-ended --overwrite",
    "join tree.toml --output tree.s3p --grid 27GHz..31GHz:5 --overwrite",
    "rebuild set.toml --output rebuilt.s4p --covariance entries.csv --format json --overwrite",
    "station station.toml --out bare --accept-active --overwrite --format csv",
    "deembed lead_i.s2p --output d.s2p --left lead_q.s2p --right lead_i.s2p --make-passive",
    "deembed line_d1.s2p --output d.s2p --open open.s2p --short short.s2p --number-format db",
    "deembed line_d1.s2p --output d.s2p --thru through.s2p --split pad",
    "compare balun.s3p divider.s3p --require-vector 0.5 --plot overlay.png --out report --overwrite \
     --format json",
    "component wilkinson center_ghz=29 loss_db=0.3 --grid 24GHz..34GHz:11 --output divider.s3p \
     --substrate relative_permittivity=12.9,height_um=100 --overwrite",
    "component list",
    "plan --rf 27GHz..31GHz --if 0.5GHz..1.5GHz --multiplication 4 --format csv",
    "downconverter few.toml --threads 1 --format json --measured measured.csv",
    "downconverter few.toml --uncertainty uncertainty.toml --format csv",
    "demo-wafer lot --dies 2 --die-pitch-mm 25,25 --points 3 --seed 1 --no-faults --overwrite",
    "wafer recipe.toml --shard 1/2 --out part --threads 1 --overwrite",
    "wafer recipe.toml --out whole --resume --format json",
    "wafer recipe.toml --combine part1 part2 --out joined --format csv",
];

pub(crate) static COMMAND_LINES: LazyLock<Vec<Seed>> = LazyLock::new(|| {
    let lines =
        |line: &&str| line.split_whitespace().map(|word| format!("{word}\n")).collect::<String>();
    let seed = |line| ("command line".to_owned(), lines(line).replace('|', " ").into_bytes());
    COMMANDS.iter().map(seed).collect()
});

pub(crate) static COMPONENTS: LazyLock<Vec<Seed>> = LazyLock::new(|| {
    let lines = |text: &str| text.split_whitespace().collect::<Vec<_>>().join("\n");
    let seed = |name: &str, example: &str| format!("{name}\n{}", lines(example)).into_bytes();
    KINDS.iter().map(|kind| ("component".to_owned(), seed(kind.name(), kind.example()))).collect()
});

pub(crate) static FILE_LISTS: LazyLock<Vec<Seed>> = LazyLock::new(|| {
    let text = r#"{"run": "a", "fourphase_files": ["a.csv", "deep/b.png", "../other/c.csv"]}"#;
    vec![("list".to_owned(), text.as_bytes().to_vec())]
});

/// What a command line finds in its folder: the world's files, two shards and an earlier report.
static FOLDER: LazyLock<BTreeMap<PathBuf, Vec<u8>>> = LazyLock::new(|| {
    let sandbox = Sandbox::new();
    FILES.iter().for_each(|(name, bytes)| sandbox.write(name, bytes));
    for (shard, folder) in [("1/2", "part1"), ("2/2", "part2")] {
        sandbox.run(&format!("wafer recipe.toml --shard {shard} --out {folder}"));
    }
    sandbox.run("compare balun.s3p divider.s3p --out report");
    let mut found = BTreeMap::new();
    each_file(sandbox.folder(), &mut |path| {
        let name = path.strip_prefix(sandbox.folder()).unwrap().to_owned();
        found.insert(name, std::fs::read(path).unwrap());
    });
    found
});

fn each_file(folder: &Path, visit: &mut dyn FnMut(&Path)) {
    for entry in std::fs::read_dir(folder).unwrap() {
        let path = entry.unwrap().path();
        if path.is_dir() { each_file(&path, visit) } else { visit(&path) }
    }
}

/// A page without its scripts, whose words are no figures.
fn without_scripts(text: &str) -> String {
    let mut pieces = text.split("<script");
    let first = pieces.next().unwrap_or_default().to_owned();
    pieces.fold(first, |text, piece| {
        text + piece.split_once("</script>").map_or("", |(_, after)| after)
    })
}

/// Whether an argument would be a wish for much work, or lead out of the folder.
fn is_left_out(argument: &OsStr) -> bool {
    let text = argument.to_string_lossy();
    let numbers = text.split(|c: char| !c.is_ascii_digit()).filter_map(|run| run.parse().ok());
    let is_rooted = |part: &str| part.starts_with('/') || part.starts_with('~');
    text.contains('\0')
        || text.split(['=', ',']).any(is_rooted)
        || text.matches("..").count() > 1
        || numbers.into_iter().any(|number: u64| (1000..=1_000_000).contains(&number))
}

#[cfg(unix)]
fn arguments(bytes: &[u8]) -> Vec<&OsStr> {
    use std::os::unix::ffi::OsStrExt as _;
    let lines = bytes.strip_suffix(b"\n").unwrap_or(bytes).split(|&byte| byte == b'\n');
    lines.map(OsStr::from_bytes).collect()
}

#[cfg(not(unix))]
fn arguments(bytes: &[u8]) -> Vec<&OsStr> {
    std::str::from_utf8(bytes)
        .map(|text| text.split('\n').map(OsStr::new).collect())
        .unwrap_or_default()
}

/// Runs the program with arguments; `None` if it does not end.
fn run(folder: &Path, streams: [&Path; 2], arguments: &[&OsStr]) -> Option<ExitStatus> {
    // More address space than this ends the run by a signal: 1.5 GB, a hundred times what the largest
    // input is, and the stacks of 256 threads.
    let bounded = "ulimit -v 1500000; exec \"$0\" \"$@\"";
    let mut child = Command::new("sh")
        .args(["-c", bounded, env!("CARGO_BIN_EXE_fourphase")])
        .args(arguments)
        .envs([("RAYON_NUM_THREADS", "1"), ("MALLOC_ARENA_MAX", "2"), ("RUST_BACKTRACE", "0")])
        .current_dir(folder)
        .stdout(File::create(streams[0]).unwrap())
        .stderr(File::create(streams[1]).unwrap())
        .spawn()
        .ok()?;
    let start = Instant::now();
    loop {
        if let Some(status) = child.try_wait().unwrap() {
            return Some(status);
        }
        // A mutated command may ask for more than an unchanged one, which takes a second at most.
        if start.elapsed() > Duration::from_secs(60) {
            child.kill().unwrap();
            child.wait().unwrap();
            return None;
        }
        std::thread::sleep(Duration::from_millis(1));
    }
}

/// A command line, one argument a line.
pub(crate) fn command(world: &World, _: &str, bytes: &[u8]) -> Outcome {
    let arguments = arguments(bytes);
    if arguments.iter().any(|argument| is_left_out(argument)) {
        return Outcome::Refused("left out".to_owned());
    }
    // One folder deeper than the world, for a path that leads up.
    let folder = world.path("commands/folder");
    if !folder.exists() {
        restore(&folder, |_| {});
    }
    let streams = ["out", "err"].map(|name| world.path(name));
    let status = run(&folder, [&streams[0], &streams[1]], &arguments);
    let read = |path: &Path| String::from_utf8_lossy(&std::fs::read(path).unwrap()).into_owned();
    let [mut shown, said] = [&streams[0], &streams[1]].map(|path| read(path));
    let mut fault = None;
    let has_name = |name: &OsStr| {
        arguments.iter().any(|given| given.to_string_lossy().contains(&*name.to_string_lossy()))
    };
    restore(&folder, |path| {
        let (name, extension) = (path.file_name().unwrap(), path.extension());
        let is_network = extension.is_some_and(|own| own.to_string_lossy().ends_with('p'));
        let known = path.strip_prefix(&folder).ok().and_then(|name| FOLDER.get(name));
        if is_network && known.is_some() && !has_name(name) {
            fault = Some(format!("{} was written over", path.display()));
        }
        if extension.is_none_or(|own| own != "png") && path.is_file() {
            let text = read(path);
            shown.push_str(&format!("\n{}\n{}", name.to_string_lossy(), without_scripts(&text)));
        }
    });
    let code = status.map(|status| status.code());
    let fault = match code {
        None => Some("no end within a minute".to_owned()),
        Some(None) => Some(format!("a signal: {said}")),
        Some(Some(2)) if !said.starts_with("error: ") && !said.contains("warning: ") => {
            Some(format!("status 2 and no error: {said}"))
        }
        Some(Some(0..=2)) if !said.contains("panicked at") => fault,
        Some(Some(status)) => Some(format!("status {status}: {said}")),
    };
    match (fault, code) {
        (Some(fault), _) => Outcome::Broken(fault),
        (None, Some(Some(2))) => Outcome::Refused(said),
        (None, code) => Outcome::Done { passes: code == Some(Some(0)), shown },
    }
}

/// Puts the files of the folder back; what is new or changed, there and above, is visited before.
fn restore(folder: &Path, mut visit: impl FnMut(&Path)) {
    std::fs::create_dir_all(folder).unwrap();
    let above = folder.parent().unwrap();
    let mut kept = 0;
    each_file(above, &mut |path| {
        let known = path.strip_prefix(folder).ok().and_then(|name| FOLDER.get(name));
        if known.is_some_and(|known| std::fs::read(path).is_ok_and(|bytes| bytes == *known)) {
            kept += 1;
        } else {
            visit(path);
            kept = usize::MAX / 2;
        }
    });
    if kept == FOLDER.len() {
        return;
    }
    std::fs::remove_dir_all(above).unwrap();
    for (name, bytes) in &*FOLDER {
        let path = folder.join(name);
        std::fs::create_dir_all(path.parent().unwrap()).unwrap();
        std::fs::write(path, bytes).unwrap();
    }
}

/// A component: its kind, then one parameter a line.
pub(crate) fn component(_: &World, _: &str, bytes: &[u8]) -> Outcome {
    let text = String::from_utf8_lossy(bytes);
    let mut lines = text.lines();
    let kind = lines.next().unwrap_or_default();
    let given: Vec<&str> = lines.collect();
    let grid = FrequencyGrid::linear(24e9, 34e9, 3).unwrap();
    let made = parse_parameters(&given)
        .and_then(|given| NamedComponent::new(kind, &given))
        .and_then(|made| {
            made.network(&grid)?;
            made.dimensions(Some(&substrate(&[])?))
        });
    match made {
        Err(error) => Outcome::Refused(error.to_string()),
        Ok(dimensions) => {
            let list: Vec<(String, f64)> =
                dimensions.list.into_iter().map(|own| (own.name, own.value)).collect();
            let shown = component_values_text(&list) + &component_values_csv(&list).unwrap();
            Outcome::Done { passes: true, shown }
        }
    }
}

/// A report into a folder whose list of files is mutated: nothing is removed but what it names in it.
pub(crate) fn file_list(world: &World, _: &str, bytes: &[u8]) -> Outcome {
    let (folder, other) = (world.path("listed"), world.path("other/c.csv"));
    let write = |path: &Path, content: &[u8]| {
        std::fs::create_dir_all(path.parent().unwrap()).unwrap();
        std::fs::write(path, content).unwrap();
    };
    let mine = folder.join("mine.txt");
    write(&other, b"other");
    write(&mine, b"mine");
    write(&folder.join("a.csv"), b"a");
    write(&folder.join("deep/b.png"), b"b");
    write(&folder.join(LIST_OF_FILES), bytes);
    let place = ReportFolder { folder: &folder, inputs: &[], overwrite: true, description: None };
    let file = ReportFile { path: folder.join("new.csv"), bytes: b"new".to_vec() };
    let published = place.publish(&[file], &[], Some("b"));
    if !other.exists() || !mine.exists() {
        return Outcome::Broken("a file was removed that no run has written".to_owned());
    }
    match published {
        Err(error) => Outcome::Refused(error.to_string()),
        Ok(()) => Outcome::Done { passes: true, shown: String::new() },
    }
}

#[test]
fn outputs_are_searched_and_files_put_back() {
    let world = World::new();
    let outcome = command(&world, "", b"convert\ncoupler.s4p\n../x.s4p");
    assert!(matches!(&outcome, Outcome::Done { passes: true, shown } if shown.contains("x.s4p")));
    assert!(!world.path("commands/x.s4p").exists());
    let outcome = command(&world, "", b"convert\nnone.s4p\nx.s4p");
    assert!(matches!(&outcome, Outcome::Refused(message) if message.contains("none.s4p")));
}
