//! Networks as Touchstone files on disk.

use super::args::{FileForm, NumberForm, Unit, Writing};
use super::console::Console;
use super::failure::Failure;
use crate::network::Network;
use crate::report::{REPORT_DOCUMENT, ReportFile, ReportFolder, check_outputs, publish};
use crate::touchstone::{
    Comment, FrequencyUnit, NoisePoint, NumberFormat, TouchstoneFile, Version, WriteOptions,
    ports_in_name, write,
};
use std::path::{Path, PathBuf};

/// Said where noise data start above the network data, as no Touchstone file may have them.
pub(super) const LATE_NOISE_LEFT_OUT: &str = "the noise data start above the network data, which a Touchstone file may not hold; they are \
     left out";

/// Said where a network changes and its noise data no longer fit.
pub(super) const NOISE_LEFT_OUT: &str =
    "the noise data belong to the file's own ports and are left out";

/// A network on its way into a file, and what goes with it.
pub(super) struct Outgoing {
    pub(super) network: Network,
    pub(super) comments: Vec<Comment>,
    pub(super) noise: Vec<NoisePoint>,
    pub(super) noise_reference_ohm: f64,
    /// The form where the options do not say.
    pub(super) number_format: NumberFormat,
    pub(super) frequency_unit: FrequencyUnit,
}

impl Outgoing {
    /// A network of ours, with a line that says what it is.
    pub(super) fn made(network: Network, comment: &str) -> Self {
        Self {
            network,
            comments: vec![Comment { text: format!(" {comment}"), sets_before: 0 }],
            noise: Vec::new(),
            noise_reference_ohm: 50.0,
            number_format: NumberFormat::RealImaginary,
            frequency_unit: FrequencyUnit::Gigahertz,
        }
    }

    /// Refuses a name that disagrees with the network.
    fn check_name(ports: usize, path: &Path) -> Result<(), Failure> {
        match ports_in_name(path) {
            Some(named) if named != ports => Err(Failure::Usage(format!(
                "{} is a name for {named} ports, the network has {ports}; call it .s{ports}p or .ts",
                path.display()
            ))),
            _ => Ok(()),
        }
    }

    /// Refuses a file that could not be written, or whose name disagrees with the network, before any
    /// work is lost.
    pub(super) fn check(
        ports: usize,
        path: &Path,
        form: &FileForm,
        inputs: &[PathBuf],
    ) -> Result<(), Failure> {
        Self::check_name(ports, path)?;
        Ok(check_outputs(&[path.to_owned()], inputs, form.overwrite)?)
    }

    /// Writes the file, whole or not at all.
    pub(super) fn write(
        self,
        path: &Path,
        form: &FileForm,
        inputs: &[PathBuf],
        console: &Console,
    ) -> Result<(), Failure> {
        let bytes = self.formed(path, form)?;
        publish(&[ReportFile { path: path.to_owned(), bytes }], inputs, form.overwrite)?;
        console.notice(&format!("wrote {}", path.display()));
        Ok(())
    }

    /// The file's content in the form asked for.
    pub(super) fn formed(self, path: &Path, form: &FileForm) -> Result<Vec<u8>, Failure> {
        Self::check_name(self.network.ports(), path)?;
        let options = WriteOptions {
            version: form.touchstone,
            number_format: form.number_format.map_or(self.number_format, |format| match format {
                NumberForm::Ri => NumberFormat::RealImaginary,
                NumberForm::Ma => NumberFormat::MagnitudeAngle,
                NumberForm::Db => NumberFormat::DecibelAngle,
            }),
            frequency_unit: form.frequency_unit.map_or(self.frequency_unit, |unit| match unit {
                Unit::Hz => FrequencyUnit::Hertz,
                Unit::Khz => FrequencyUnit::Kilohertz,
                Unit::Mhz => FrequencyUnit::Megahertz,
                Unit::Ghz => FrequencyUnit::Gigahertz,
            }),
        };
        let file = TouchstoneFile {
            // These three are the reader's; the writer goes by its options.
            version: Version::V1_0,
            number_format: options.number_format,
            frequency_unit: options.frequency_unit,
            port_references_ohm: Vec::new(),
            network: self.network,
            noise: self.noise,
            noise_reference_ohm: self.noise_reference_ohm,
            comments: self.comments,
            warnings: Vec::new(),
        };
        let mut bytes = Vec::new();
        write(&mut bytes, &file, &options)?;
        Ok(bytes)
    }
}

impl Writing {
    /// Refuses a folder into which no report can go, before the work that makes the report. The whole
    /// of it is checked again when it is written.
    pub(super) fn check(
        &self,
        inputs: &[PathBuf],
        description: Option<&Path>,
    ) -> Result<(), Failure> {
        match self.folder(inputs, description) {
            Some(place) => Ok(place.check(&[place.folder.join(REPORT_DOCUMENT)])?),
            None => Ok(()),
        }
    }

    /// Writes a report into the folder asked for, if there is one, and other files beside it.
    pub(super) fn publish(
        &self,
        files: &[ReportFile],
        beside: &[ReportFile],
        inputs: &[PathBuf],
        description: Option<&Path>,
    ) -> Result<(), Failure> {
        match self.folder(inputs, description) {
            Some(place) => Ok(place.publish(files, beside, None)?),
            None => Ok(publish(beside, inputs, self.overwrite)?),
        }
    }

    fn folder<'r>(
        &'r self,
        inputs: &'r [PathBuf],
        description: Option<&'r Path>,
    ) -> Option<ReportFolder<'r>> {
        let folder = self.out.as_deref()?;
        Some(ReportFolder { folder, inputs, overwrite: self.overwrite, description })
    }
}
