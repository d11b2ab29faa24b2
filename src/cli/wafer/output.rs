//! The files of a report.

use super::job::Job;
use crate::cli::failure::Failure;
use crate::plot;
use crate::report::json::document;
use crate::report::wafer_json::LotReport;
use crate::report::{ReportFile, wafer_csv};
use crate::wafer::LotResult;
use rayon::prelude::{IntoParallelIterator as _, ParallelIterator as _};
use std::collections::HashSet;
use std::path::Path;

/// Whether a report may have a file of this name.
pub(super) fn is_ours(name: &str) -> bool {
    let fixed = [
        "dies.csv",
        "summary.json",
        "distribution.png",
        "yield.png",
        "wafers.png",
        "rejection-curves.png",
        "radial.png",
    ];
    fixed.contains(&name) || name.starts_with("wafer-map-") && name.ends_with(".png")
}

pub(super) fn files(
    folder: &Path,
    job: &Job,
    result: &LotResult,
    report: &LotReport,
) -> Result<Vec<ReportFile>, Failure> {
    let file = |name: &str, bytes: Vec<u8>| ReportFile { path: folder.join(name), bytes };
    let mut files = vec![
        file("dies.csv", wafer_csv::dies(result, &job.columns())?.into_bytes()),
        file("summary.json", document(report)?.into_bytes()),
    ];
    let heading = job.heading();
    type Picture =
        fn(&crate::wafer::LotHeading<'_>, &LotResult) -> Result<Vec<u8>, plot::PlotError>;
    let mut pictures: Vec<(&str, Picture)> = vec![
        ("distribution.png", plot::lot_distribution),
        ("yield.png", plot::lot_yield),
        ("wafers.png", plot::lot_wafers),
        ("rejection-curves.png", plot::lot_curves),
    ];
    if result.map.is_some() {
        pictures.push(("radial.png", plot::lot_radial));
    }
    let names = map_names(result);
    let maps = (0..names.len())
        .into_par_iter()
        .map(|wafer| Ok(file(&names[wafer], plot::wafer_map(&heading, result, wafer)?)));
    let drawn = pictures
        .into_par_iter()
        .map(|(name, picture)| Ok(file(name, picture(&heading, result)?)))
        .chain(maps);
    files.extend(drawn.collect::<Result<Vec<_>, plot::PlotError>>()?);
    Ok(files)
}

/// A name for each wafer's map; none where the recipe has no map.
fn map_names(result: &LotResult) -> Vec<String> {
    if result.map.is_none() {
        return Vec::new();
    }
    // What file systems or shells might take amiss becomes a line.
    let plain = |name: &Option<String>| -> String {
        let fits = |c: char| c.is_alphanumeric() || matches!(c, '.' | '_' | '-' | ' ');
        let name = name.as_deref().unwrap_or_default().chars().take(60);
        name.map(|c| if fits(c) { c } else { '_' }).collect()
    };
    let mut taken: HashSet<String> = HashSet::new();
    result
        .wafers
        .iter()
        .map(|wafer| {
            let stem =
                format!("wafer-map-{}-{}", plain(&wafer.group.lot), plain(&wafer.group.wafer));
            let numbered = (2..).map(|number| format!("{stem}-{number}"));
            // Two names that became the same, or differ in case only, are told apart.
            let name = std::iter::once(stem.clone())
                .chain(numbered)
                .find(|name| taken.insert(name.to_lowercase()))
                .unwrap_or(stem);
            name + ".png"
        })
        .collect()
}
