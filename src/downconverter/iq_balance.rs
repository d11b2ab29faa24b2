//! I and Q of a receiver from the voltages at its mixers, and its image rejection.
//!
//! A mixer of gain c with the RF voltage H in the sideband and the LO voltage L gives the IF phasor
//! below; the conversion gain is proportional to |L|^k.
//!
//! | sideband | IF phasor |
//! |---|---|
//! | upper | c H conj(L) \|L\|^(k-1) |
//! | lower | conj(c) conj(H) L \|L\|^(k-1) |
//!
//! With harmonic n the phase of L counts n times. I and Q are sums over their mixers, with minus
//! for those of polarity minus; each has its IF path, Q also the correction, and z = t_I I + t_Q Q.
//! The rejection is |z wanted|² / |z image|². With ρ = t_Q Q / (t_I I) in the wanted sideband and
//! its negative in the image sideband, both ideally 1, it is |(1 + ρ wanted) / (1 - ρ image)|²
//! times the common gain ratio: the error in the image sideband determines the image.

use super::error::{ReceiverError, Result};
use super::frequency_plan::Sideband;
use crate::units::{db_from_amplitude, db_from_neper};
use num_complex::Complex64;

/// An IF channel of the receiver.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Channel {
    /// In phase.
    I,
    /// In quadrature.
    Q,
}

impl Channel {
    /// The name in descriptions and documents: `i` or `q`.
    pub fn name(self) -> &'static str {
        match self {
            Self::I => "i",
            Self::Q => "q",
        }
    }
}

/// A mixer with its voltages, volts per square root of a watt.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Element {
    /// The channel to which its output belongs.
    pub channel: Channel,
    /// Whether its output is subtracted: the second of a balanced pair.
    pub is_subtracted: bool,
    /// Its own relative conversion gain.
    pub gain: Complex64,
    /// The LO voltage.
    pub lo: Complex64,
    /// The RF voltage at n LO + IF.
    pub rf_upper: Complex64,
    /// The RF voltage at n LO - IF.
    pub rf_lower: Complex64,
}

/// The conversion rule of all mixers of a receiver; by default multipliers at the LO itself.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Mixing {
    lo_amplitude_exponent: f64,
    lo_harmonic: i32,
}

impl Mixing {
    /// Conversion gain ~ |LO voltage|^k with k from 0 (hard-driven switch) to 10, 1 for a multiplier;
    /// the LO phase counts `lo_harmonic` times, 1 to 1,000,000.
    ///
    /// # Errors
    /// [`ReceiverError::OutOfRange`] for one that is outside its range.
    pub fn new(lo_amplitude_exponent: f64, lo_harmonic: u32) -> Result<Self> {
        if !(0.0..=10.0).contains(&lo_amplitude_exponent) {
            return Err(ReceiverError::OutOfRange {
                what: "lo_amplitude_exponent",
                expected: "from 0 to 10",
                found: lo_amplitude_exponent,
            });
        }
        match i32::try_from(lo_harmonic) {
            Ok(lo_harmonic @ 1..=1_000_000) => Ok(Self { lo_amplitude_exponent, lo_harmonic }),
            _ => Err(ReceiverError::OutOfRange {
                what: "the harmonic times the multiplication after the split",
                expected: "from 1 to 1000000",
                found: f64::from(lo_harmonic),
            }),
        }
    }

    /// k: conversion gain ~ |LO voltage|^k.
    pub fn lo_amplitude_exponent(&self) -> f64 {
        self.lo_amplitude_exponent
    }

    /// The drive L |L|^(k-1) of an LO voltage L, with n times its phase; zero without LO.
    pub(super) fn drive(&self, lo: Complex64) -> Complex64 {
        if self.lo_harmonic == 1 && self.lo_amplitude_exponent.total_cmp(&1.0).is_eq() {
            return lo;
        }
        let size = lo.norm();
        if size == 0.0 {
            return Complex64::ZERO;
        }
        (lo / size).powi(self.lo_harmonic) * size.powf(self.lo_amplitude_exponent)
    }

    /// The factor with which the LO phase counts.
    pub fn lo_harmonic(&self) -> i32 {
        self.lo_harmonic
    }
}

impl Default for Mixing {
    fn default() -> Self {
        Self { lo_amplitude_exponent: 1.0, lo_harmonic: 1 }
    }
}

/// IF phasors of the two channels for one sideband.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct IqPair {
    /// In phase.
    pub i: Complex64,
    /// In quadrature.
    pub q: Complex64,
}

/// IF phasors for a unit of RF in each sideband.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct IqOutputs {
    /// RF at LO + IF.
    pub upper: IqPair,
    /// RF at LO - IF.
    pub lower: IqPair,
}

impl IqOutputs {
    /// I and Q of both sidebands: sums over the mixers.
    pub fn of(elements: &[Element], mixing: &Mixing) -> Self {
        let mut outputs = Self::default();
        for element in elements {
            outputs.add(element, mixing.drive(element.lo));
        }
        outputs
    }

    /// Adds what a mixer with a drive gives.
    pub(super) fn add(&mut self, element: &Element, drive: Complex64) {
        let sign = if element.is_subtracted { -1.0 } else { 1.0 };
        let upper = sign * element.gain * element.rf_upper * drive.conj();
        let lower = sign * element.gain.conj() * element.rf_lower.conj() * drive;
        let (into_upper, into_lower) = match element.channel {
            Channel::I => (&mut self.upper.i, &mut self.lower.i),
            Channel::Q => (&mut self.upper.q, &mut self.lower.q),
        };
        *into_upper += upper;
        *into_lower += lower;
    }

    /// The pair of one sideband.
    pub fn of_sideband(&self, sideband: Sideband) -> IqPair {
        match sideband {
            Sideband::Upper => self.upper,
            Sideband::Lower => self.lower,
        }
    }
}

/// A combination of I and Q: z = t_I I + t_Q Q.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Combination {
    /// t_I, with the IF path of I.
    pub i: Complex64,
    /// t_Q, with the IF path of Q, its correction and the ±j of the combination.
    pub q: Complex64,
}

impl Combination {
    /// I + jQ.
    pub const I_PLUS_JQ: Self = Self { i: Complex64::ONE, q: Complex64::I };
    /// I - jQ.
    pub const I_MINUS_JQ: Self = Self { i: Complex64::ONE, q: Complex64::new(0.0, -1.0) };
    /// Both combinations.
    pub const BOTH: [Self; 2] = [Self::I_PLUS_JQ, Self::I_MINUS_JQ];

    /// The combined output.
    pub fn apply(&self, pair: IqPair) -> Complex64 {
        self.i * pair.i + self.q * pair.q
    }
}

/// Image rejection without a wanted signal, dB: far below the rounding of double precision.
pub const NOTHING_WANTED_DB: f64 = -400.0;

/// The balance of I and Q at one LO and IF.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct ReceiverBalance {
    /// Wanted over image power at the combined output, dB; infinite without an image, and
    /// [`NOTHING_WANTED_DB`] without output in the wanted sideband.
    pub image_rejection_db: f64,
    /// Gain of the paths before I in the wanted sideband over that in the image sideband, dB: part
    /// of the rejection that does not come from balance.
    pub sideband_gain_db: f64,
    /// ln of ρ in the wanted sideband: imbalance in nepers and quadrature error in radians.
    pub wanted_error: Complex64,
    /// ln of ρ in the image sideband: the receiver's I/Q channel error.
    pub channel_error: Complex64,
}

/// Q over I, divided by the ideal.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Imbalance {
    /// Amplitude imbalance, dB.
    pub amplitude_db: f64,
    /// Quadrature error, degrees.
    pub phase_deg: f64,
}

impl Imbalance {
    /// The imbalance from the logarithm of the ratio, nepers and radians; zero has no sign.
    fn of_error(error: Complex64) -> Self {
        Self { amplitude_db: db_from_neper(error.re) + 0.0, phase_deg: error.im.to_degrees() + 0.0 }
    }
}

impl ReceiverBalance {
    /// Whether every figure has a number. Only a rejection may be infinite.
    pub(super) fn is_known(&self) -> bool {
        let is_finite = self.wanted_error.is_finite() && self.channel_error.is_finite();
        is_finite && self.sideband_gain_db.is_finite() && !self.image_rejection_db.is_nan()
    }

    /// Q over I in the wanted sideband.
    pub fn wanted(&self) -> Imbalance {
        Imbalance::of_error(self.wanted_error)
    }

    /// Q over I in the image sideband.
    pub fn image(&self) -> Imbalance {
        Imbalance::of_error(self.channel_error)
    }
}

/// The balance at one LO and IF of a plan.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct PlanPoint {
    /// LO at the mixers, Hz.
    pub lo_hz: f64,
    /// IF, Hz.
    pub if_hz: f64,
    /// Rejection, and errors in both sidebands.
    pub balance: ReceiverBalance,
}

/// Wanted over image, dB.
pub(super) fn rejection_db(wanted: Complex64, image: Complex64) -> f64 {
    // Magnitudes, not their squares: the square of 1e-170 is 0.
    let (wanted, image) = (wanted.norm(), image.norm());
    if wanted > 0.0 {
        db_from_amplitude(wanted / image).max(NOTHING_WANTED_DB)
    } else {
        NOTHING_WANTED_DB
    }
}

/// Wanted over image power, for comparisons: 0 without a wanted signal.
pub(super) fn power_ratio(wanted: Complex64, image: Complex64) -> f64 {
    let (wanted_square, image_square) = (wanted.norm_sqr(), image.norm_sqr());
    if wanted_square.is_normal() && image_square.is_normal() {
        return wanted_square / image_square;
    }
    let (wanted, image) = (wanted.norm(), image.norm());
    if wanted > 0.0 { (wanted / image).powi(2) } else { 0.0 }
}

/// The balance of a receiver for the wanted sideband and a combination.
///
/// # Method
/// See the relations at the head of this module's source: rejection = |z wanted|² / |z image|².
///
/// # Examples
/// ```
/// use fourphase::downconverter::{Combination, IqOutputs, IqPair, Sideband, receiver_balance};
/// use num_complex::Complex64;
///
/// // Q is 0.5 dB too large and 3 degrees off quadrature in both sidebands.
/// let q = Complex64::from_polar(10_f64.powf(0.5 / 20.0), 3_f64.to_radians()) * Complex64::I;
/// let outputs = IqOutputs {
///     upper: IqPair { i: Complex64::ONE, q: -q },
///     lower: IqPair { i: Complex64::ONE, q },
/// };
/// let balance = receiver_balance(&outputs, &Combination::I_PLUS_JQ, Sideband::Upper);
/// assert!((balance.image_rejection_db - 28.20).abs() < 0.01);
/// assert!((balance.image().phase_deg - 3.0).abs() < 1e-9);
/// ```
pub fn receiver_balance(
    outputs: &IqOutputs,
    combination: &Combination,
    wanted: Sideband,
) -> ReceiverBalance {
    let (wanted, image) = (outputs.of_sideband(wanted), outputs.of_sideband(wanted.opposite()));
    let ratio = |pair: IqPair| combination.q * pair.q / (combination.i * pair.i);
    ReceiverBalance {
        image_rejection_db: rejection_db(combination.apply(wanted), combination.apply(image)),
        sideband_gain_db: db_from_amplitude(wanted.i.norm() / image.i.norm()),
        wanted_error: ratio(wanted).ln(),
        channel_error: (-ratio(image)).ln(),
    }
}

/// The index of the combination with the highest image rejection; the first of equals, `None`
/// without any.
pub fn favourable_combination(
    outputs: &IqOutputs,
    wanted: Sideband,
    choices: &[Combination],
) -> Option<usize> {
    let rejection = |at: usize| receiver_balance(outputs, &choices[at], wanted).image_rejection_db;
    let better = |best, at| if rejection(at) > rejection(best) { at } else { best };
    (0..choices.len()).reduce(better)
}
