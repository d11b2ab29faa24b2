//! The laws of amplifiers and frequency multipliers: output level and slope over the drive.
//!
//! | stage | output | slope, dB per dB |
//! |---|---|---|
//! | amplifier | G a / (1 + (G a / a_sat)^(2p))^(1/(2p)) | 1 / (1 + (G a / a_sat)^(2p)) |
//! | multiplier of order n | p_sat / (1 + (p_knee / p)^n) | n / (1 + (p / p_knee)^n) |
//!
//! a is an amplitude, p a power, the exponent p of the amplifier its smoothness. The amplifier's law is
//! that of C. Rapp (1991).

use super::super::error::{ReceiverError, Result};
use crate::units::db_from_neper;
use num_complex::Complex64;

/// A line of a stage at an order of its carrier other than the wanted one.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct StageLine {
    /// Its order, 1 to 100.
    pub order: u32,
    /// Its level against the wanted line at the stage's drive, dB.
    pub dbc: f64,
    /// Its phase beyond order times the phase of the carrier at the input, degrees.
    pub phase_deg: f64,
    /// How its level follows the drive, dB per dB; the stage's slope times order over wanted order
    /// when absent.
    pub slope: Option<f64>,
}

/// What makes an amplifier.
#[derive(Clone, Debug, PartialEq)]
pub struct AmplifierSettings {
    /// Gain far below saturation, dB, -200 to 200.
    pub gain_db: f64,
    /// Saturated output power, dBm, -200 to 200.
    pub saturated_dbm: f64,
    /// How abruptly it saturates, 0.1 to 100: where linear gain reaches saturation the output is
    /// 3.01 dB over this below it.
    pub smoothness: f64,
    /// Harmonics of the carrier.
    pub harmonics: Vec<StageLine>,
    /// Phase of the output over the drive, degrees per dB, -100 to 100; counted from the drive at which
    /// linear gain reaches saturation.
    pub am_pm_deg_per_db: f64,
    /// Phase noise added at the output, dBc/Hz, -400 to 0.
    pub floor_dbc_hz: Option<f64>,
}

/// What makes a frequency multiplier.
#[derive(Clone, Debug, PartialEq)]
pub struct MultiplierSettings {
    /// The wanted order n, 2 to 1000.
    pub order: u32,
    /// The drive at which the output is 3.01 dB below saturation, dBm, -200 to 200.
    pub knee_dbm: f64,
    /// Saturated output power of the wanted order, dBm, -200 to 200.
    pub saturated_dbm: f64,
    /// The other orders at the output.
    pub products: Vec<StageLine>,
    /// Phase noise added at the output, dBc/Hz, -400 to 0.
    pub floor_dbc_hz: Option<f64>,
}

/// An amplifier or a frequency multiplier.
#[derive(Clone, Debug, PartialEq)]
pub struct ActiveStage {
    law: Law,
    saturated_dbm: f64,
    lines: Vec<StageLine>,
    floor_dbc_hz: Option<f64>,
}

#[derive(Clone, Copy, Debug, PartialEq)]
enum Law {
    Amplifier { gain_db: f64, smoothness: f64, am_pm_deg_per_db: f64 },
    Multiplier { order: u32, knee_dbm: f64 },
}

/// A stage at one drive.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct OperatingPoint {
    /// The carrier at the output, dBm.
    pub output_dbm: f64,
    /// d ln of the output amplitude over d ln of the input amplitude: dB per dB.
    pub slope: f64,
    /// Phase that the drive adds to the carrier, radians; 0 without AM-PM conversion.
    pub phase_shift: f64,
    /// Phase of the output over ln of the input amplitude, radians per neper.
    pub am_pm: f64,
}

impl OperatingPoint {
    /// Slope and AM-PM conversion as one complex slope.
    #[must_use]
    pub fn complex_slope(&self) -> Complex64 {
        Complex64::new(self.slope, self.am_pm)
    }
}

/// The most lines of one stage, and the highest order of one.
const MAX_LINE_ORDER: u32 = 100;

impl ActiveStage {
    /// An amplifier.
    ///
    /// # Errors
    /// [`ReceiverError::OutOfRange`] for a setting outside its range, and for a harmonic of order 1 or
    /// one that is given twice.
    ///
    /// # Examples
    /// ```
    /// use fourphase::downconverter::{ActiveStage, AmplifierSettings};
    ///
    /// let driver = ActiveStage::amplifier(AmplifierSettings {
    ///     gain_db: 13.0,
    ///     saturated_dbm: 20.0,
    ///     smoothness: 2.0,
    ///     harmonics: Vec::new(),
    ///     am_pm_deg_per_db: 0.0,
    ///     floor_dbc_hz: None,
    /// })?;
    /// // Linear gain would just reach saturation: 3.01 dB / 2 below it, at half the slope.
    /// let point = driver.at(7.0);
    /// assert!((point.output_dbm - 18.4949).abs() < 1e-4);
    /// assert!((point.slope - 0.5).abs() < 1e-12);
    /// # Ok::<(), fourphase::downconverter::ReceiverError>(())
    /// ```
    pub fn amplifier(settings: AmplifierSettings) -> Result<Self> {
        let AmplifierSettings { gain_db, saturated_dbm, smoothness, am_pm_deg_per_db, .. } =
            settings;
        in_range("gain_db", "from -200 to 200", -200.0, gain_db, 200.0)?;
        in_range("smoothness", "from 0.1 to 100", 0.1, smoothness, 100.0)?;
        in_range("am_pm_deg_per_db", "from -100 to 100", -100.0, am_pm_deg_per_db, 100.0)?;
        let law = Law::Amplifier { gain_db, smoothness, am_pm_deg_per_db };
        Self::checked(law, saturated_dbm, settings.harmonics, settings.floor_dbc_hz)
    }

    /// A frequency multiplier.
    ///
    /// # Errors
    /// [`ReceiverError::OutOfRange`] for a setting outside its range, and for a product of the wanted
    /// order or one that is given twice.
    pub fn multiplier(settings: MultiplierSettings) -> Result<Self> {
        let MultiplierSettings { order, knee_dbm, saturated_dbm, .. } = settings;
        in_range("order", "a whole number from 2 to 1000", 2.0, f64::from(order), 1000.0)?;
        in_range("knee_dbm", "from -200 to 200", -200.0, knee_dbm, 200.0)?;
        let law = Law::Multiplier { order, knee_dbm };
        Self::checked(law, saturated_dbm, settings.products, settings.floor_dbc_hz)
    }

    fn checked(
        law: Law,
        saturated_dbm: f64,
        mut lines: Vec<StageLine>,
        floor_dbc_hz: Option<f64>,
    ) -> Result<Self> {
        in_range("saturated_dbm", "from -200 to 200", -200.0, saturated_dbm, 200.0)?;
        if let Some(floor) = floor_dbc_hz {
            in_range("floor_dbc_hz", "from -400 to 0", -400.0, floor, 0.0)?;
        }
        lines.sort_by_key(|line| line.order);
        let wanted = law.order();
        for (at, line) in lines.iter().enumerate() {
            let order = f64::from(line.order);
            let what = "the order of a harmonic or product";
            in_range(what, "from 1 to 100", 1.0, order, f64::from(MAX_LINE_ORDER))?;
            if line.order == wanted || lines[..at].iter().any(|other| other.order == line.order) {
                let expected = "given once, and other than the wanted order";
                return Err(ReceiverError::OutOfRange { what, expected, found: order });
            }
            in_range(
                "the level of a harmonic or product",
                "from -400 to 100 dBc",
                -400.0,
                line.dbc,
                100.0,
            )?;
            let what = "the phase of a harmonic or product";
            in_range(what, "from -1000 to 1000 degrees", -1000.0, line.phase_deg, 1000.0)?;
            if let Some(slope) = line.slope {
                let what = "the slope of a harmonic or product";
                in_range(what, "from -1000 to 1000", -1000.0, slope, 1000.0)?;
            }
        }
        Ok(Self { law, saturated_dbm, lines, floor_dbc_hz })
    }

    /// The order of the wanted line: 1 for an amplifier.
    #[must_use]
    pub fn order(&self) -> u32 {
        self.law.order()
    }

    /// Saturated output power, dBm.
    #[must_use]
    pub fn saturated_dbm(&self) -> f64 {
        self.saturated_dbm
    }

    /// The lines at other orders, ascending.
    #[must_use]
    pub fn lines(&self) -> &[StageLine] {
        &self.lines
    }

    /// Phase noise added at the output, dBc/Hz.
    #[must_use]
    pub fn floor_dbc_hz(&self) -> Option<f64> {
        self.floor_dbc_hz
    }

    /// The carrier at the output and the slope for a carrier at the input, dBm.
    #[must_use]
    pub fn at(&self, input_dbm: f64) -> OperatingPoint {
        match self.law {
            Law::Amplifier { gain_db, smoothness, am_pm_deg_per_db } => {
                let linear_dbm = input_dbm + gain_db;
                // Logarithms, since a power of an overdrive exceeds the range of numbers.
                let beyond_db = linear_dbm - self.saturated_dbm;
                let exponent = beyond_db * smoothness / 10.0;
                OperatingPoint {
                    output_dbm: linear_dbm - 10.0 / smoothness * log10_of_one_plus(exponent),
                    slope: 1.0 / (1.0 + 10_f64.powf(exponent)),
                    phase_shift: (am_pm_deg_per_db * beyond_db).to_radians(),
                    am_pm: am_pm_deg_per_db.to_radians() * db_from_neper(1.0),
                }
            }
            Law::Multiplier { order, knee_dbm } => {
                let order = f64::from(order);
                let exponent = order * (knee_dbm - input_dbm) / 10.0;
                OperatingPoint {
                    output_dbm: self.saturated_dbm - 10.0 * log10_of_one_plus(exponent),
                    slope: order / (1.0 + 10_f64.powf(-exponent)),
                    phase_shift: 0.0,
                    am_pm: 0.0,
                }
            }
        }
    }
}

impl Law {
    fn order(self) -> u32 {
        match self {
            Self::Amplifier { .. } => 1,
            Self::Multiplier { order, .. } => order,
        }
    }
}

/// log10(1 + 10^e).
fn log10_of_one_plus(exponent: f64) -> f64 {
    // Beyond 300 the 1 is below rounding, and the power is near the end of the range of numbers.
    if exponent > 300.0 {
        exponent
    } else {
        10_f64.powf(exponent).ln_1p() / std::f64::consts::LN_10
    }
}

fn in_range(
    what: &'static str,
    expected: &'static str,
    low: f64,
    found: f64,
    high: f64,
) -> Result<()> {
    if (low..=high).contains(&found) {
        Ok(())
    } else {
        Err(ReceiverError::OutOfRange { what, expected, found })
    }
}
