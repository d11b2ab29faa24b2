//! The pictures of a report, drawn on all threads.

use super::page::NamedPicture;
use super::picture_files::PictureForms;
use super::publish::ReportFile;
use crate::plot::{Picture, PlotError};
use rayon::prelude::{IntoParallelIterator as _, ParallelIterator as _};
use std::path::Path;

/// A picture's name, without an ending, and what draws it.
pub(super) struct PictureToDraw<'d> {
    name: String,
    draw: Box<dyn Fn() -> Result<Picture, PlotError> + Sync + Send + 'd>,
}

impl<'d> PictureToDraw<'d> {
    pub(super) fn new(
        name: &str,
        draw: impl Fn() -> Result<Picture, PlotError> + Sync + Send + 'd,
    ) -> Self {
        Self { name: name.to_owned(), draw: Box::new(draw) }
    }
}

/// Draws pictures, in order: themselves for the page, and their files.
pub(super) fn drawn(
    folder: &Path,
    pictures: Vec<PictureToDraw<'_>>,
    forms: PictureForms,
) -> Result<(Vec<NamedPicture>, Vec<ReportFile>), PlotError> {
    let drawn = pictures.into_par_iter().map(|PictureToDraw { name, draw }| {
        let picture = draw()?;
        let files = forms.files(folder, &name, &picture)?;
        Ok((NamedPicture { name, picture }, files))
    });
    let drawn = drawn.collect::<Result<Vec<_>, PlotError>>()?;
    let (pictures, files): (Vec<_>, Vec<_>) = drawn.into_iter().unzip();
    Ok((pictures, files.into_iter().flatten().collect()))
}
