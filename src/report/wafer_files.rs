//! The files of a report on a lot.

use super::files_error::FilesError;
use super::json_document::write_document;
use super::output_place::PublishError;
use super::page::{PAGE, lot_page};
use super::picture_files::{PictureForm, PictureForms};
use super::pictures_drawn::{PictureToDraw, drawn};
use super::publish::{ReportFile, StreamedFile, WriteContent};
use super::report_folder::{PRINTED_REPORT, printed_report};
use super::wafer_corrections_report::corrections_csv;
use super::wafer_dies_report::write_dies_csv;
use super::wafer_points_table::PointsForm;
use super::wafer_report::{lot_report, wafer_text};
use crate::batch::{LotJob, LotRecords};
use crate::plot::{self, Picture, PlotError, WaferScales};
use crate::wafer::{LotHeading, LotResult};
use std::collections::HashSet;
use std::path::{Path, PathBuf};

const TABLE: &str = "dies.csv";
const CORRECTIONS: &str = "corrections.csv";
const DOCUMENT: &str = "summary.json";

type Draw = fn(&LotHeading<'_>, &LotResult) -> Result<Picture, PlotError>;

/// Pictures of a lot, whether they need a map of the wafers, and what draws them.
const PICTURES: [(&str, bool, Draw); 5] = [
    ("distribution", false, plot::lot_distribution),
    ("yield", false, plot::lot_yield),
    ("wafers", false, plot::lot_wafers),
    ("rejection-curves", false, plot::lot_curves),
    ("radial", true, plot::lot_radial),
];

/// What the names of maps begin with.
const MAP_NAME: &str = "wafer-map-";

/// The text, the corrections, the pictures and the page of a lot, on all threads; no pictures where no die
/// could be judged. `command` is the command that makes them, which the page shows; it may be empty.
///
/// # Errors
/// [`FilesError::Plot`] if drawing fails; the others not in practice.
pub fn lot_files(
    folder: &Path,
    job: &LotJob,
    result: &LotResult,
    forms: PictureForms,
    command: &str,
) -> Result<Vec<ReportFile>, FilesError> {
    let heading = &job.heading();
    let file = |name: &str, bytes: Vec<u8>| ReportFile { path: folder.join(name), bytes };
    let wafers = result.wafers.iter().map(|wafer| (wafer.lot.as_str(), wafer.wafer.as_str()));
    let names = map_names(wafers);
    let scales = &WaferScales::of(result);
    // Pictures of no die would show nothing.
    let is_judged = result.all.counts.tested() > 0;
    let maps = result.map.as_ref().filter(|_| is_judged).map_or(0, |_| names.len());
    let mut pictures: Vec<PictureToDraw<'_>> = PICTURES
        .into_iter()
        .filter(|(_, needs_map, _)| is_judged && (result.map.is_some() || !needs_map))
        .map(|(name, _, draw)| PictureToDraw::new(name, move || draw(heading, result)))
        .collect();
    pictures.extend((0..maps).map(|wafer| {
        let draw = move || plot::wafer_map(heading, result, scales, wafer);
        PictureToDraw::new(&names[wafer], draw)
    }));
    let (pictures, drawn) = drawn(folder, pictures, forms)?;
    // The page has the corrections from their table.
    let report = lot_report(job, result).without_corrections();
    let printed = printed_report(&wafer_text(heading, result), &report.warnings);
    let mut files = vec![file(PRINTED_REPORT, printed)];
    if let Some(corrections) = result.corrections() {
        let table = corrections_csv(result, corrections)?;
        files.push(file(CORRECTIONS, table.into_bytes()));
    }
    let page = lot_page(job, result, &serde_json::to_value(&report)?, &files, &pictures, command)?;
    files.push(file(PAGE, page));
    files.extend(drawn);
    Ok(files)
}

/// The files of a lot that grow with its dies, made while they are written: the table of its dies and its
/// document; also all points, if they are wanted.
#[must_use]
pub fn lot_streams<'l>(
    folder: &Path,
    job: &'l LotJob,
    result: &'l LotResult,
    records: &'l LotRecords,
    points: Option<PointsForm>,
) -> Vec<StreamedFile<'l>> {
    let file =
        |name: &str, write: WriteContent<'l>| StreamedFile { path: folder.join(name), write };
    let mut files = vec![
        file(TABLE, Box::new(move |to| write_dies_csv(to, &job.heading(), result))),
        file(DOCUMENT, Box::new(move |to| write_document(to, &lot_report(job, result)))),
    ];
    if let Some(form) = points {
        let [dies, all] = form.file_names();
        files.push(file(dies, Box::new(move |to| form.write_dies(to, &job.heading(), result))));
        files.push(file(
            all,
            Box::new(move |to| form.write_points(to, &job.heading(), result, records)),
        ));
    }
    files
}

/// Refuses a folder that holds a file which a report on a lot may have, so that hours of work do not
/// end at a file with the name of a folder.
///
/// # Errors
/// [`PublishError::Exists`] with the first of those files.
pub fn refuse_lot_files(folder: &Path) -> Result<(), PublishError> {
    // A folder that is absent or cannot be read is an error when it is written to.
    let there = std::fs::read_dir(folder).into_iter().flatten().flatten();
    let mut names: Vec<_> = there.map(|entry| entry.file_name()).collect();
    names.sort();
    match names.into_iter().find(|name| name.to_str().is_some_and(is_ours)) {
        Some(name) => Err(PublishError::Exists(folder.join(name))),
        None => Ok(()),
    }
}

/// Whether a report may have a file of this name.
fn is_ours(name: &str) -> bool {
    let picture = PictureForm::of_name(Path::new(name)).and_then(|_| name.rsplit_once('.'));
    [TABLE, CORRECTIONS, DOCUMENT, PRINTED_REPORT, PAGE].contains(&name)
        || PointsForm::Parquet.file_names().contains(&name)
        || picture.is_some_and(|(stem, _)| {
            PICTURES.iter().any(|(own, ..)| *own == stem) || stem.starts_with(MAP_NAME)
        })
}

/// The files that a report on a lot will have, known before it is measured.
#[must_use]
pub fn lot_file_paths(
    folder: &Path,
    job: &LotJob,
    forms: PictureForms,
    points: Option<PointsForm>,
) -> Vec<PathBuf> {
    let has_map = job.recipe().settings().map().is_some();
    let pictures = PICTURES.iter().filter(|(_, needs_map, _)| has_map || !needs_map);
    let wafers = job.wafers().iter().filter(|_| has_map);
    let maps = map_names(wafers.map(|wafer| (wafer.lot.as_str(), wafer.wafer.as_str())));
    let has_corrections = job.recipe().settings().what_if().correction;
    let corrections = has_corrections.then_some(CORRECTIONS);
    let pictures = pictures.map(|(name, ..)| (*name).to_owned()).chain(maps);
    let pictures = pictures.flat_map(|name| forms.names(&name));
    let points = points.into_iter().flat_map(PointsForm::file_names);
    let tables =
        [PRINTED_REPORT, TABLE, DOCUMENT, PAGE].into_iter().chain(corrections).chain(points);
    tables.map(str::to_owned).chain(pictures).map(|name| folder.join(name)).collect()
}

/// Bytes that a lot and a wafer may each take of the name of a map: file systems take 255 in all, and
/// many characters take three.
const LONGEST_PART: usize = 90;

/// A name for each wafer's map, without an ending, from its lot and its name in the lot.
fn map_names<'w>(wafers: impl Iterator<Item = (&'w str, &'w str)>) -> Vec<String> {
    // What file systems or shells might take amiss becomes a line.
    let plain = |name: &str| -> String {
        let fits = |c: char| c.is_alphanumeric() || matches!(c, '.' | '_' | '-' | ' ');
        let mut plain = String::new();
        for c in name.chars().map(|c| if fits(c) { c } else { '_' }).take(60) {
            if plain.len() + c.len_utf8() > LONGEST_PART {
                break;
            }
            plain.push(c);
        }
        plain
    };
    let mut taken: HashSet<String> = HashSet::new();
    wafers
        .map(|(lot, wafer)| {
            let stem = format!("{MAP_NAME}{}-{}", plain(lot), plain(wafer));
            let mut name = stem.clone();
            let mut number = 1;
            // Two names that became the same, or differ in case only, get different numbers.
            while !taken.insert(name.to_lowercase()) {
                number += 1;
                name = format!("{stem}-{number}");
            }
            name
        })
        .collect()
}
