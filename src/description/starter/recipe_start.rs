//! RECIPE.toml and its list of dies to begin with, from the names of the files of a folder.

use super::super::error::DescriptionError;
use super::super::name_numbers::{
    DieColumns, NumberColumn, NumberedName, die_columns, number_columns,
};
use super::super::receiver_toml::read_receiver;
use super::folder_parts::{refused, unreadable};
use super::part_text::{ghz, quoted};
use super::starter_files::{Starter, StarterFile};
use crate::downconverter::ReceiverPart;
use crate::network::Port;
use crate::splitter::{Roles, SplitterKind, SplitterSettings, analyse};
use crate::touchstone::{ReadOptions, ports_in_name, read};
use std::collections::BTreeMap;
use std::path::Path;

/// Files are looked for so many folders below.
const DEEPEST: usize = 2;
/// So many files are read to find one with the data of a splitter.
const MOST_READ: usize = 20;

/// The description of a receiver that a folder may hold.
const RECEIVER: &str = "receiver.toml";

const MAP_GUESS: &str = "size of wafer and dies cannot be seen from files: complete [map] for maps";

/// The recipe of a folder's files, or an example. Beside the description of a receiver the dies take the
/// place of one of its blocks.
pub(super) fn recipe_start(
    folder: Option<&Path>,
    options: &ReadOptions,
) -> Result<Starter, DescriptionError> {
    let Some(folder) = folder else {
        return Ok(example());
    };
    let mut files = Vec::new();
    collect(folder, "", DEEPEST, &mut files)?;
    let mut series: BTreeMap<(usize, String), Vec<String>> = BTreeMap::new();
    for file in files {
        let ports = ports_in_name(Path::new(&file)).filter(|ports| *ports >= 3);
        if let Some(ports) = ports {
            let skeleton = NumberedName::of(stem(&file)).skeleton();
            series.entry((ports, skeleton)).or_default().push(file);
        }
    }
    let Some(largest) = series.iter().max_by_key(|(_, files)| files.len()) else {
        return Err(refused(
            folder,
            "expected files of three ports or more (.s3p, .s4p, ..) here or below, found none",
        ));
    };
    let files = largest.1;
    let mut guesses = Vec::new();
    let others: usize = series.values().map(Vec::len).sum::<usize>() - files.len();
    if others > 0 {
        guesses.push(format!(
            "{others} other files have other names or ports than {}, and are not listed",
            files[0]
        ));
    }
    let names: Vec<NumberedName> = files.iter().map(|file| NumberedName::of(stem(file))).collect();
    let columns = number_columns(&names);
    let found = die_columns(&columns).filter(|found| found.die_x.is_some()).ok_or_else(|| {
        refused(
            folder,
            format!(
                "the numbers in names such as {} do not show which count dies; write x and y before \
                 them (x3_y-2), or write the list of dies by hand",
                files[0]
            ),
        )
    })?;
    let (roles, band_hz) = first_roles(folder, files, options).ok_or_else(|| {
        refused(folder, "the data of no file are those of a coupler, balun or divider")
    })?;
    guesses.extend(column_guesses(&columns, found));
    let ports = largest.0.0;
    if let Some(block) = block_of_dies(&folder.join(RECEIVER), options, ports, roles.kind) {
        guesses.push(format!(
            "each file takes the place of block '{block}' of {RECEIVER}, whose data are of the same kind"
        ));
        guesses.push(MAP_GUESS.to_owned());
        let list = list_text(&columns, found, files, &block);
        return Ok(starter(receiver_recipe_text(), list, guesses));
    }
    let name = match roles.kind {
        SplitterKind::Quadrature => "hybrid",
        SplitterKind::Antiphase => "balun",
        SplitterKind::Inphase => "divider",
    };
    let [a, b] = roles.outputs;
    guesses.push(format!(
        "each file is of a {} splitter, input {}, outputs {a} and {b}, from the data of one",
        roles.kind, roles.input
    ));
    guesses.push(MAP_GUESS.to_owned());
    guesses.push("the limits are examples; set your requirements".to_owned());
    let numbers =
        [Some(roles.input), Some(a), Some(b), roles.isolated].map(|port| port.map(Port::number));
    let splitter = splitter_text(roles.kind, numbers, name, band_hz);
    let list = list_text(&columns, found, files, name);
    Ok(starter(recipe_text(roles.kind, &splitter), list, guesses))
}

/// A recipe of files that are not there.
fn example() -> Starter {
    let list = "lot,wafer,die_x,die_y,hybrid\nL1,W1,0,0,dies/x0_y0.s4p\nL1,W1,1,0,dies/x1_y0.s4p\n";
    let ports = [1, 2, 3, 4].map(Some);
    let splitter = splitter_text(SplitterKind::Quadrature, ports, "hybrid", (27e9, 31e9));
    let guess = "the example names files that are not there: replace them by yours";
    let recipe = recipe_text(SplitterKind::Quadrature, &splitter);
    starter(recipe, list.to_owned(), vec![guess.to_owned()])
}

/// The first block of a receiver whose file has so many ports and is a splitter of this kind; `None` where
/// there is no description that can be read.
fn block_of_dies(
    description: &Path,
    options: &ReadOptions,
    ports: usize,
    kind: SplitterKind,
) -> Option<String> {
    let receiver = read_receiver(description, options).ok()?.receiver;
    let is_alike = |part: &&ReceiverPart| {
        let network = part.networks.lo.as_ref().or(part.networks.rf.as_ref());
        network.filter(|network| network.ports() == ports).is_some_and(|network| {
            analyse(network, &SplitterSettings::default())
                .is_ok_and(|result| result.roles.kind == kind)
        })
    };
    receiver.parts().iter().find(is_alike).map(|part| part.name.clone())
}

fn starter(recipe: String, list: String, guesses: Vec<String>) -> Starter {
    let mut made = Starter::of("recipe.toml", recipe, guesses);
    made.files.push(StarterFile { name: "dies.csv", text: list });
    made
}

/// The last part of a path with `/`, without its ending.
fn stem(file: &str) -> &str {
    let name = file.rsplit('/').next().unwrap_or(file);
    name.rsplit_once('.').map_or(name, |(stem, _)| stem)
}

/// Touchstone files of a folder and below, as the list of dies names them, in order.
fn collect(
    folder: &Path,
    before: &str,
    deeper: usize,
    files: &mut Vec<String>,
) -> Result<(), DescriptionError> {
    let failed = |error: std::io::Error| unreadable(folder, &error);
    let mut entries = Vec::new();
    for entry in std::fs::read_dir(folder).map_err(failed)? {
        let entry = entry.map_err(failed)?;
        // Links to folders are not followed, so that a loop of them cannot trap the walk.
        let is_folder = entry.file_type().map_err(failed)?.is_dir();
        // Names that are not UTF-8 could not stand in the list.
        if let Ok(name) = entry.file_name().into_string() {
            entries.push((name, is_folder));
        }
    }
    entries.sort();
    for (name, is_folder) in entries {
        if is_folder && deeper > 0 {
            collect(&folder.join(&name), &format!("{before}{name}/"), deeper - 1, files)?;
        } else if !is_folder && ports_in_name(Path::new(&name)).is_some() {
            files.push(format!("{before}{name}"));
        }
    }
    Ok(())
}

/// The roles and the band of the first file whose data are those of a splitter.
fn first_roles(
    folder: &Path,
    files: &[String],
    options: &ReadOptions,
) -> Option<(Roles, (f64, f64))> {
    files.iter().take(MOST_READ).find_map(|file| {
        let network = read(&folder.join(file), options).ok()?.network;
        let grid = network.grid();
        let band_hz = (grid.first_hz(), grid.last_hz());
        let roles = analyse(&network, &SplitterSettings::default()).ok()?.roles;
        Some((roles, band_hz))
    })
}

fn column_guesses(columns: &[NumberColumn], found: DieColumns) -> Vec<String> {
    let shown = |what: &str, at: Option<usize>| {
        let column = &columns[at?];
        let (first, last) = (column.values.iter().min()?, column.values.iter().max()?);
        let label = match column.label.as_str() {
            "" => "its place in the name".to_owned(),
            label => format!("'{label}'"),
        };
        Some(format!("{what}, from {label}: {first} to {last}"))
    };
    let all = [
        shown("lot", found.lot),
        shown("wafer", found.wafer),
        shown("die_x", found.die_x),
        shown("die_y", found.die_y),
    ];
    let mut guesses: Vec<String> = all.into_iter().flatten().collect();
    if found.die_y.is_none() {
        guesses.push("the names have one number of the die: die_y is 0".to_owned());
    }
    for (what, at, name) in [("lot", found.lot, "L1"), ("wafer", found.wafer, "W1")] {
        if at.is_none() {
            guesses.push(format!("the names have no number of the {what}: it is {name}"));
        }
    }
    guesses
}

fn list_text(columns: &[NumberColumn], found: DieColumns, files: &[String], name: &str) -> String {
    let mut table = csv::Writer::from_writer(Vec::new());
    let digits = |at: Option<usize>, letter: &str, row: usize| match at {
        Some(at) => format!("{letter}{}", columns[at].digits[row]),
        None => format!("{letter}1"),
    };
    let value = |at: Option<usize>, row: usize| match at {
        Some(at) => columns[at].values[row].to_string(),
        None => "0".to_owned(),
    };
    // Writing into memory does not fail.
    let _ = table.write_record(["lot", "wafer", "die_x", "die_y", name]);
    for (row, file) in files.iter().enumerate() {
        let _ = table.write_record([
            digits(found.lot, "L", row),
            digits(found.wafer, "W", row),
            value(found.die_x, row),
            value(found.die_y, row),
            file.clone(),
        ]);
    }
    let bytes = table.into_inner().unwrap_or_default();
    String::from_utf8_lossy(&bytes).into_owned()
}

fn splitter_text(
    kind: SplitterKind,
    [input, a, b, isolated]: [Option<usize>; 4],
    column: &str,
    (low_hz, high_hz): (f64, f64),
) -> String {
    let number = |port: Option<usize>| port.unwrap_or_default();
    let isolated = isolated.map(|port| format!("isolated = {port}\n"));
    format!(
        "[analysis.splitter]\nkind = \"{}\"\ninput = {}\noutputs = [{}, {}]\n{}column = {}       \
         # of the list: names the file\nband_ghz = [{}, {}]\n",
        kind.name(),
        number(input),
        number(a),
        number(b),
        isolated.unwrap_or_default(),
        quoted(column),
        ghz(low_hz),
        ghz(high_hz)
    )
}

fn receiver_recipe_text() -> String {
    let analysis = format!(
        "# A receiver with every die's own files; the list has a column for each block that dies replace.\n\
         # The limits are those of the receiver.\n\
         [analysis]\n\
         receiver = {}\n",
        quoted(RECEIVER)
    );
    recipe_with(&analysis, "")
}

fn recipe_text(kind: SplitterKind, splitter: &str) -> String {
    let analysis = format!(
        "# A splitter on every die; or, instead of this table,\n\
         # [analysis]\n\
         # receiver = \"receiver.toml\"      # a column for each block that dies replace\n\
         {splitter}"
    );
    let limits = format!(
        "{} = 25.0\n\
         # amplitude_imbalance_db = 0.8\n\
         # phase_error_deg = 3.5\n",
        kind.rejection().name()
    );
    recipe_with(&analysis, &limits)
}

fn recipe_with(analysis: &str, limits: &str) -> String {
    format!(
        "# A lot of dies. 'fourphase manual recipe' explains every key.\n\
         title = \"my lot\"\n\
         manifest = \"dies.csv\"\n\
         retests = \"last\"\n\n\
         {analysis}\n\
         # Needed for maps and trends.\n\
         # [map]\n\
         # wafer_diameter_mm = 150.0\n\
         # die_pitch_mm = [15.0, 14.0]\n\
         # edge_exclusion_mm = 3.0\n\n\
         [require]\n\
         {limits}yield_percent = 80.0\n"
    )
}
