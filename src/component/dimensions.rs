//! The dimensions of a component for its layout.

use super::error::ComponentError;
use super::microstrip::{
    Strip, Substrate, coupled_strips, dispersed_permittivity, length_m, open_end_extension_m,
    width_and_gap_m, width_m,
};

/// A figure for the layout of a component.
#[derive(Clone, Debug, PartialEq)]
pub struct Dimension {
    /// Its name, which ends in its unit.
    pub name: String,
    /// Its value.
    pub value: f64,
}

/// The dimensions of a component, with notes on what cannot be made.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Dimensions {
    /// The dimensions in order.
    pub list: Vec<Dimension>,
    /// A sentence for each line that cannot be made on the substrate.
    pub notes: Vec<String>,
}

/// The dimensions while they are collected. On a substrate lines get widths, gaps and lengths.
pub(super) struct DimensionList<'a> {
    substrate: Option<&'a Substrate>,
    made: Dimensions,
}

impl<'a> DimensionList<'a> {
    pub(super) fn new(substrate: Option<&'a Substrate>) -> Self {
        Self { substrate, made: Dimensions::default() }
    }

    pub(super) fn into_dimensions(self) -> Dimensions {
        self.made
    }

    /// Adds a dimension.
    pub(super) fn value(&mut self, name: impl Into<String>, value: f64) {
        self.made.list.push(Dimension { name: name.into(), value });
    }

    /// Adds the impedance of a line in ohms; on the substrate also its width and length, for an
    /// electrical length in degrees at a frequency in Hz.
    pub(super) fn line(
        &mut self,
        name: &str,
        impedance_ohm: f64,
        angle_deg: f64,
        center_hz: f64,
    ) -> Result<(), ComponentError> {
        self.value(format!("{name}_impedance_ohm"), impedance_ohm);
        let Some(substrate) = self.substrate else { return Ok(()) };
        let Some(width_m) = self.or_note(name, width_m(substrate, impedance_ohm))? else {
            return Ok(());
        };
        let permittivity = dispersed_permittivity(substrate, width_m, center_hz)?;
        let length_m = length_m(permittivity, angle_deg, center_hz)?;
        self.value(format!("{name}_width_um"), width_m * 1e6);
        self.value(format!("{name}_length_um"), length_m * 1e6);
        Ok(())
    }

    /// Adds a line with an open end, shorter by the extension of the end.
    pub(super) fn open_line(
        &mut self,
        name: &str,
        impedance_ohm: f64,
        angle_deg: f64,
        center_hz: f64,
    ) -> Result<(), ComponentError> {
        self.line(name, impedance_ohm, angle_deg, center_hz)?;
        let Some(substrate) = self.substrate else { return Ok(()) };
        let Ok(width_m) = width_m(substrate, impedance_ohm) else { return Ok(()) };
        let extension_um = open_end_extension_m(substrate, width_m)? * 1e6;
        let length = format!("{name}_length_um");
        if let Some(own) = self.made.list.iter_mut().find(|own| own.name == length) {
            own.value -= extension_um;
            if own.value < 0.0 {
                let note = "its open end alone is longer than the line";
                self.made.notes.push(format!("{name}: {note}"));
            }
        }
        self.value(format!("{name}_open_end_extension_um"), extension_um);
        Ok(())
    }

    /// Adds the mode impedances of a coupled pair in ohms; on the substrate also its width and gap,
    /// and the mean of its modes' quarter-wave lengths at a frequency in Hz.
    pub(super) fn pair(
        &mut self,
        name: &str,
        even_ohm: f64,
        odd_ohm: f64,
        center_hz: f64,
    ) -> Result<(), ComponentError> {
        self.value(format!("{name}_even_ohm"), even_ohm);
        self.value(format!("{name}_odd_ohm"), odd_ohm);
        let Some(substrate) = self.substrate else { return Ok(()) };
        let geometry = width_and_gap_m(substrate, even_ohm, odd_ohm);
        let Some((width_m, gap_m)) = self.or_note(name, geometry)? else { return Ok(()) };
        let strips = coupled_strips(substrate, width_m, gap_m)?;
        let quarter_m = |strip: Strip| length_m(strip.effective_permittivity, 90.0, center_hz);
        let length_um = 0.5e6 * (quarter_m(strips.even)? + quarter_m(strips.odd)?);
        self.value(format!("{name}_width_um"), width_m * 1e6);
        self.value(format!("{name}_gap_um"), gap_m * 1e6);
        self.value(format!("{name}_length_um"), length_um);
        Ok(())
    }

    /// Adds a geometry, or a note if it cannot be made on the substrate.
    fn or_note<T>(
        &mut self,
        name: &str,
        geometry: Result<T, ComponentError>,
    ) -> Result<Option<T>, ComponentError> {
        match geometry {
            Ok(geometry) => Ok(Some(geometry)),
            Err(
                error
                @ (ComponentError::NoGeometry { .. } | ComponentError::OutsideFormulas { .. }),
            ) => {
                self.made.notes.push(format!("{name}: {error}"));
                Ok(None)
            }
            Err(other) => Err(other),
        }
    }
}
