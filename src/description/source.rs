//! A TOML file with positions: every error about a value shows its line.

use super::allowed::Allowed;
use super::error::{DescriptionError, DescriptionProblem};
use super::toml_words;
use crate::diagnostic::Excerpt;
use crate::regular_file;
use crate::touchstone::ports_in_name;
use serde::Deserialize;
use serde::de::DeserializeOwned;
use std::ops::{Range, RangeInclusive};
use std::path::{Path, PathBuf};
use toml::Spanned;

/// Maximum length of a description, MiB.
const LONGEST_MIB: u64 = 16;

/// A place in a description, for errors found when its text is no longer in memory.
#[derive(Clone, Debug)]
pub(crate) struct TextPlace {
    file: PathBuf,
    excerpt: Excerpt,
}

impl TextPlace {
    /// An error about this place.
    pub(crate) fn error(&self, problem: impl Into<DescriptionProblem>) -> DescriptionError {
        DescriptionError::about_place(&self.file, problem, self.excerpt.clone())
    }

    /// An error with a text about this place.
    pub(crate) fn complaint(&self, what: impl Into<String>) -> DescriptionError {
        self.error(DescriptionProblem::Value { what: what.into() })
    }
}

/// The text of a TOML file, and its path.
#[derive(Clone, Debug)]
pub(crate) struct TomlFile {
    path: PathBuf,
    text: String,
}

impl TomlFile {
    /// Reads the text of a file.
    ///
    /// # Errors
    /// [`DescriptionError`] if the file cannot be read, is longer than any description, or is not
    /// UTF-8.
    pub(crate) fn read(path: &Path) -> Result<Self, DescriptionError> {
        let failed = |problem| DescriptionError::about_file(path, problem);
        let bytes = regular_file::read(path, LONGEST_MIB << 20).map_err(|error| {
            failed(match error.kind() {
                std::io::ErrorKind::FileTooLarge => {
                    DescriptionProblem::TooLong { limit_mib: LONGEST_MIB }
                }
                _ => DescriptionProblem::Io(error),
            })
        })?;
        let text = String::from_utf8(bytes).map_err(|_| failed(DescriptionProblem::NotText))?;
        Ok(Self::of_text(path, text))
    }

    /// A text in memory, with `path` as its file.
    pub(crate) fn of_text(path: &Path, text: impl Into<String>) -> Self {
        Self { path: path.to_owned(), text: text.into() }
    }

    /// The keys and values as a type.
    ///
    /// # Errors
    /// [`DescriptionError`] at the key or value that is unknown, missing or of another type.
    pub(crate) fn parse<D: DeserializeOwned>(&self) -> Result<D, DescriptionError> {
        toml::from_str(&self.text).map_err(|error| {
            let at = error.span().and_then(|span| self.text.get(span));
            // Without a place there is no text to quote.
            let problem = toml_words::problem(error.message(), at.unwrap_or("nothing"));
            let problem = self.likely(problem, error.span());
            match error.span() {
                Some(span) => self.error(problem, span),
                None => self.error_in_file(problem),
            }
        })
    }

    /// The mistake behind text that is not TOML, where it can be recognised.
    fn likely(
        &self,
        problem: DescriptionProblem,
        span: Option<Range<usize>>,
    ) -> DescriptionProblem {
        let DescriptionProblem::NotToml { message } = &problem else { return problem };
        if ports_in_name(&self.path).is_some() {
            return DescriptionProblem::TouchstoneInstead;
        }
        let Some(span) = span.filter(|_| message == "duplicate key") else { return problem };
        let (before, key) = (self.text.get(..span.start), self.text.get(span));
        let (Some(before), Some(key)) = (before, key) else { return problem };
        let line = before.rsplit('\n').next().unwrap_or(before);
        let key = key.trim_matches(['[', ']']).to_owned();
        DescriptionProblem::DuplicateKey { key, is_table: line.starts_with('[') }
    }

    pub(crate) fn path(&self) -> &Path {
        &self.path
    }

    /// The path of a file that is named in this one, relative to it.
    pub(crate) fn beside(&self, file: &Path) -> PathBuf {
        // Only a root or an empty path has no parent, and neither of both is a file.
        self.path.parent().unwrap_or(Path::new("")).join(file)
    }

    /// The place of a span, for errors that are found later.
    pub(crate) fn place(&self, span: Range<usize>) -> TextPlace {
        TextPlace { file: self.path.clone(), excerpt: Excerpt::of_text(&self.text, span) }
    }

    /// An error about a span of the text.
    pub(crate) fn error(
        &self,
        problem: impl Into<DescriptionProblem>,
        span: Range<usize>,
    ) -> DescriptionError {
        self.place(span).error(problem)
    }

    /// A sentence for the user about a span of the text, with its place.
    pub(crate) fn remark(&self, span: Range<usize>, text: &str) -> String {
        let position = Excerpt::of_text(&self.text, span).position;
        format!("{}:{position}: {text}", self.path.display())
    }

    /// An error about the file as a whole.
    pub(crate) fn error_in_file(&self, problem: impl Into<DescriptionProblem>) -> DescriptionError {
        DescriptionError::about_file(&self.path, problem)
    }

    /// An error with a text about a value.
    pub(crate) fn complaint<T>(
        &self,
        given: &Spanned<T>,
        what: impl Into<String>,
    ) -> DescriptionError {
        self.error(DescriptionProblem::Value { what: what.into() }, given.span())
    }

    /// An error with a text about the file as a whole.
    pub(crate) fn complaint_in_file(&self, what: impl Into<String>) -> DescriptionError {
        self.error_in_file(DescriptionProblem::Value { what: what.into() })
    }

    /// An error for an unknown key, among keys that are read as a map.
    pub(crate) fn unknown_key(&self, key: &Spanned<String>, known: &[&str]) -> DescriptionError {
        let found = key.get_ref().clone();
        let known = known.iter().map(|name| (*name).to_owned()).collect();
        self.error(DescriptionProblem::UnknownKey { found, known }, key.span())
    }

    /// A number, checked against its allowed values.
    pub(crate) fn number(
        &self,
        key: &str,
        given: &Spanned<f64>,
        allowed: Allowed,
    ) -> Result<f64, DescriptionError> {
        self.check_number(key, *given.get_ref(), allowed, given.span())
    }

    /// Checks a number that is part of a longer value.
    pub(crate) fn check_number(
        &self,
        key: &str,
        found: f64,
        allowed: Allowed,
        span: Range<usize>,
    ) -> Result<f64, DescriptionError> {
        if allowed.contains(found) {
            return Ok(found);
        }
        let key = key.to_owned();
        Err(self.error(DescriptionProblem::Number { key, allowed, found }, span))
    }

    /// An optional number, checked against its allowed values.
    pub(crate) fn optional_number(
        &self,
        key: &str,
        given: Option<&Spanned<f64>>,
        allowed: Allowed,
    ) -> Result<Option<f64>, DescriptionError> {
        given.map(|given| self.number(key, given, allowed)).transpose()
    }

    /// A whole number, checked against a range.
    pub(crate) fn whole<N: WholeNumber>(
        &self,
        key: &str,
        given: &Spanned<N>,
        range: RangeInclusive<N>,
    ) -> Result<N, DescriptionError> {
        let found = *given.get_ref();
        if range.contains(&found) {
            return Ok(found);
        }
        let problem = DescriptionProblem::Whole {
            key: key.to_owned(),
            from: range.start().to_u64(),
            to: range.end().to_u64(),
            found: found.to_u64(),
        };
        Err(self.error(problem, given.span()))
    }
}

/// A list of exactly two values.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Deserialize)]
#[serde(try_from = "Vec<T>")]
pub(crate) struct Pair<T>(pub(crate) T, pub(crate) T);

impl<T> TryFrom<Vec<T>> for Pair<T> {
    type Error = &'static str;

    fn try_from(list: Vec<T>) -> Result<Self, Self::Error> {
        match <[T; 2]>::try_from(list) {
            Ok([first, second]) => Ok(Self(first, second)),
            Err(_) => Err("expected a list of two values"),
        }
    }
}

/// The types of whole numbers that formats use.
pub(crate) trait WholeNumber: Copy + PartialOrd {
    fn to_u64(self) -> u64;
}

impl WholeNumber for u32 {
    fn to_u64(self) -> u64 {
        self.into()
    }
}

impl WholeNumber for usize {
    fn to_u64(self) -> u64 {
        self as u64
    }
}

#[cfg(test)]
#[allow(clippy::unwrap_used)]
mod tests {
    use super::*;

    #[derive(Debug, Deserialize)]
    #[serde(deny_unknown_fields)]
    struct Keys {
        #[expect(dead_code, reason = "only its type matters")]
        title: Option<String>,
        #[expect(dead_code, reason = "only its type matters")]
        count: Option<u32>,
        size_mm: Spanned<f64>,
        #[expect(dead_code, reason = "only its type matters")]
        side: Option<Side>,
        #[expect(dead_code, reason = "only its type matters")]
        pair: Option<Pair<f64>>,
        #[expect(dead_code, reason = "only its type matters")]
        inner: Option<Inner>,
        #[expect(dead_code, reason = "only its type matters")]
        either: Option<Either>,
    }

    #[derive(Debug, Deserialize)]
    #[serde(rename_all = "snake_case")]
    enum Side {
        Left,
        Right,
        Upper,
    }

    #[derive(Debug, Deserialize)]
    #[serde(deny_unknown_fields)]
    struct Inner {}

    #[derive(Debug, Deserialize)]
    #[serde(untagged, expecting = "expected a number or a list of numbers")]
    enum Either {
        One(#[expect(dead_code, reason = "only its type matters")] f64),
        Many(#[expect(dead_code, reason = "only its type matters")] Vec<f64>),
    }

    #[test]
    fn no_word_of_the_libraries_below_reaches_a_user() {
        for (text, place, says) in [
            ("sise_mm = 1", "1:1", "unknown key 'sise_mm'; known keys: title, count, size_mm,"),
            ("title = \"a\"", "1:1", "the key 'size_mm' is missing here"),
            ("size_mm = \"big\"", "1:11", "expected a number, found text \"big\""),
            ("size_mm = true", "1:11", "expected a number, found true"),
            ("size_mm = [1]", "1:11", "expected a number, found a list"),
            ("title = 3", "1:9", "expected text in quotes, found 3"),
            ("count = -1", "1:9", "expected a whole number from 0 to 4294967295, found -1"),
            ("count = 1.5", "1:9", "expected a whole number from 0 to 4294967295, found 1.5"),
            ("side = \"up\"", "1:8", "unknown value 'up'; known values: left, right, upper"),
            ("side = 3", "1:8", "expected text in quotes, found 3"),
            ("pair = [1, 2, 3]", "1:8", "expected a list of two values, found [1, 2, 3]"),
            ("pair = [1]", "1:8", "expected a list of two values, found [1]"),
            ("pair = 1", "1:8", "expected a list, found 1"),
            ("inner = 1", "1:9", "expected a table of keys, found 1"),
            ("inner = { a = 1 }", "1:11", "unknown key 'a'; known keys: none"),
            ("either = \"x\"", "1:10", "expected a number or a list of numbers, found \"x\""),
            ("size_mm = ", "1:11", "this is not TOML: "),
            ("size_mm = 1\nsize_mm = 2", "2:1", "duplicate key 'size_mm'"),
        ] {
            let error = TomlFile::of_text("a.toml".as_ref(), text).parse::<Keys>().unwrap_err();
            assert!(error.problem().to_string().contains(says), "{text}: {error}");
            let found = error.position().map(|position| position.to_string()).unwrap_or_default();
            assert_eq!(found, place, "{text}: {error}");
        }
    }

    #[test]
    fn a_key_that_is_nearly_right_is_proposed() {
        let error =
            TomlFile::of_text("a.toml".as_ref(), "sise_mm = 1").parse::<Keys>().unwrap_err();
        assert!(error.diagnostic().render(false).contains("did you mean 'size_mm'?"));
    }

    #[test]
    fn a_number_out_of_range_is_named_with_its_key() {
        let file = TomlFile::of_text("a/b.toml".as_ref(), "size_mm = -150");
        let keys: Keys = file.parse().unwrap();
        let error = file.number("size_mm", &keys.size_mm, Allowed::AboveZero).unwrap_err();
        assert_eq!(error.to_string(), "a/b.toml:1:11: size_mm must be above 0, found -150");
        assert_eq!(file.beside("c.s2p".as_ref()), Path::new("a/c.s2p"));
    }
}
