//! Pictures as files: SVG, PNG or both.

use super::publish::ReportFile;
use crate::plot::{Picture, PlotError};
use std::path::Path;
use std::str::FromStr;

/// The form of a picture's file.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum PictureForm {
    /// Vectors.
    Svg,
    /// Pixels.
    Png,
}

impl PictureForm {
    /// Every form.
    pub const ALL: [Self; 2] = [Self::Svg, Self::Png];

    /// The ending of its files.
    #[must_use]
    pub fn extension(self) -> &'static str {
        match self {
            Self::Svg => "svg",
            Self::Png => "png",
        }
    }

    /// The form that a name of a file asks for by its ending, in either case.
    #[must_use]
    pub fn of_name(path: &Path) -> Option<Self> {
        let extension = path.extension()?;
        Self::ALL.into_iter().find(|form| extension.eq_ignore_ascii_case(form.extension()))
    }

    /// The content of a picture's file.
    ///
    /// # Errors
    /// [`PlotError`] if drawing fails.
    pub fn bytes(self, picture: &Picture) -> Result<Vec<u8>, PlotError> {
        match self {
            Self::Svg => Ok(picture.svg().as_bytes().to_vec()),
            Self::Png => picture.png(),
        }
    }
}

/// The forms in which the pictures of a report are written; at least one.
///
/// # Examples
/// ```
/// use fourphase::report::PictureForms;
///
/// let both: PictureForms = "svg,png".parse()?;
/// assert_eq!(both.names("budget"), ["budget.svg", "budget.png"]);
/// assert_eq!(PictureForms::default().names("budget"), ["budget.png"]);
/// # Ok::<(), String>(())
/// ```
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct PictureForms {
    svg: bool,
    png: bool,
}

/// PNG alone.
impl Default for PictureForms {
    fn default() -> Self {
        Self { svg: false, png: true }
    }
}

/// A list such as `svg,png`.
impl FromStr for PictureForms {
    type Err = String;

    fn from_str(text: &str) -> Result<Self, String> {
        let mut forms = Self { svg: false, png: false };
        for name in text.split(',').map(str::trim) {
            match name.to_ascii_lowercase().as_str() {
                "svg" => forms.svg = true,
                "png" => forms.png = true,
                _ => return Err(format!("expected svg, png or svg,png; found '{name}'")),
            }
        }
        Ok(forms)
    }
}

impl PictureForms {
    fn each(self) -> impl Iterator<Item = PictureForm> {
        let has = move |form: &PictureForm| match form {
            PictureForm::Svg => self.svg,
            PictureForm::Png => self.png,
        };
        PictureForm::ALL.into_iter().filter(has)
    }

    /// The names of a picture's files.
    #[must_use]
    pub fn names(self, name: &str) -> Vec<String> {
        self.each().map(|form| format!("{name}.{}", form.extension())).collect()
    }

    /// The files of a picture in a folder; `name` has no ending.
    ///
    /// # Errors
    /// [`PlotError`] if drawing fails.
    pub fn files(
        self,
        folder: &Path,
        name: &str,
        picture: &Picture,
    ) -> Result<Vec<ReportFile>, PlotError> {
        let file = |form: PictureForm| {
            let path = folder.join(format!("{name}.{}", form.extension()));
            Ok(ReportFile { path, bytes: form.bytes(picture)? })
        };
        self.each().map(file).collect()
    }
}

/// The file of a single picture, in the form that its name asks for; PNG for other names.
///
/// # Errors
/// [`PlotError`] if drawing fails.
pub fn picture_file(path: &Path, picture: &Picture) -> Result<ReportFile, PlotError> {
    let form = PictureForm::of_name(path).unwrap_or(PictureForm::Png);
    Ok(ReportFile { path: path.to_owned(), bytes: form.bytes(picture)? })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn forms_are_named() {
        assert_eq!("SVG".parse(), Ok(PictureForms { svg: true, png: false }));
        assert!("gif".parse::<PictureForms>().is_err());
        assert!("".parse::<PictureForms>().is_err());
        assert_eq!(PictureForm::of_name(Path::new("a.SVG")), Some(PictureForm::Svg));
        assert_eq!(PictureForm::of_name(Path::new("a.pdf")), None);
    }
}
