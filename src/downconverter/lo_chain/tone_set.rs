//! A carrier with its tones, and how a stage changes them.
//!
//! A pair of small tones beside a carrier is amplitude and phase modulation of it. A stage of order m
//! and slope s multiplies the amplitude modulation by s and the phase modulation by m:
//!
//! r'_d = ((s + m)/2) r_d + ((s - m)/2) conj(r_-d)
//!
//! with r_d the tone at the offset d relative to the carrier. A saturated stage (s = 0) makes two
//! tones of one, each 6 dB down (W. B. Davenport, "Signal-to-noise ratios in band-pass limiters",
//! 1952; J. J. Jones, "Hard-limiting of two signals in random noise", 1963). First order in r.

use super::stage_law::{ActiveStage, OperatingPoint};
use crate::units::{amplitude_from_db, db_from_amplitude};
use num_complex::Complex64;
use std::collections::BTreeMap;
use std::f64::consts::TAU;

/// Tones weaker than this are of no account, dBc.
const WEAKEST_DBC: f64 = -300.0;
/// The most tones that are kept, the strongest.
const MOST_TONES: usize = 1000;
/// Multiples beyond this are above every frequency that a part is described at.
const HIGHEST_MULTIPLE: i64 = 1_000_000;

/// The tone that drives a stage.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Carrier {
    /// Its frequency over that of the grid of tones; above 0.
    pub multiple: i64,
    /// Its available power, dBm.
    pub level_dbm: f64,
    /// Its phase, radians.
    pub phase: f64,
}

/// A carrier and small tones at other multiples of one frequency.
#[derive(Clone, Debug, PartialEq)]
pub struct ToneSet {
    carrier: Carrier,
    /// Complex amplitude over that of the carrier, by multiple.
    relative: BTreeMap<i64, Complex64>,
}

/// A set of tones behind an amplifier or a multiplier.
#[derive(Clone, Debug, PartialEq)]
pub struct Multiplied {
    /// The tones at the output.
    pub tones: ToneSet,
    /// The stage at this drive.
    pub point: OperatingPoint,
    /// m |r| of the largest tone at the input, m being the wanted order: first order does not hold
    /// where it is not small.
    pub largest_modulation: f64,
    /// Whether there were more tones than are kept.
    pub is_cut: bool,
}

/// A set of tones behind a two-port.
#[derive(Clone, Debug, PartialEq)]
pub struct Filtered {
    /// The tones at the output.
    pub tones: ToneSet,
    /// The multiples at which the two-port has no data.
    pub left_out: Vec<i64>,
}

/// The tones behind a stage of order m and complex slope, by offset from the carrier and relative to it.
///
/// # Examples
/// ```
/// use fourphase::downconverter::sidebands;
/// use num_complex::Complex64;
///
/// // A limiter makes two tones of one, each half as large, with opposite signs.
/// let spur = [(1, Complex64::from(0.03))].into_iter().collect();
/// let limited = sidebands(1.0, Complex64::ZERO, &spur);
/// assert_eq!(limited[&1], Complex64::from(0.015));
/// assert_eq!(limited[&-1], Complex64::from(-0.015));
/// ```
#[must_use]
pub fn sidebands(
    order: f64,
    slope: Complex64,
    relative: &BTreeMap<i64, Complex64>,
) -> BTreeMap<i64, Complex64> {
    let (same, mirrored) = (0.5 * (slope + order), 0.5 * (slope - order));
    let mut behind: BTreeMap<i64, Complex64> = BTreeMap::new();
    for (&offset, &tone) in relative {
        *behind.entry(offset).or_default() += same * tone;
        *behind.entry(-offset).or_default() += mirrored * tone.conj();
    }
    behind
}

impl ToneSet {
    /// A carrier with tones relative to it, by multiple. Tones at the carrier, at 0 and below are left
    /// out.
    #[must_use]
    pub fn new(carrier: Carrier, relative: impl IntoIterator<Item = (i64, Complex64)>) -> Self {
        let is_tone =
            |(multiple, _): &(i64, Complex64)| *multiple > 0 && *multiple != carrier.multiple;
        Self { carrier, relative: relative.into_iter().filter(is_tone).collect() }
    }

    /// The carrier.
    #[must_use]
    pub fn carrier(&self) -> &Carrier {
        &self.carrier
    }

    /// The other tones, ascending: multiple and complex amplitude over that of the carrier.
    pub fn tones(&self) -> impl ExactSizeIterator<Item = (i64, Complex64)> + '_ {
        self.relative.iter().map(|(&multiple, &value)| (multiple, value))
    }

    /// The tone at a multiple, relative to the carrier; 1 at the carrier, 0 where there is none.
    #[must_use]
    pub fn at(&self, multiple: i64) -> Complex64 {
        if multiple == self.carrier.multiple {
            return Complex64::ONE;
        }
        self.relative.get(&multiple).copied().unwrap_or_default()
    }

    /// The tones by their offset from the carrier.
    #[must_use]
    pub fn by_offset(&self) -> BTreeMap<i64, Complex64> {
        self.tones().map(|(multiple, value)| (multiple - self.carrier.multiple, value)).collect()
    }

    /// The largest of the tones against the carrier.
    #[must_use]
    pub fn largest(&self) -> f64 {
        self.relative.values().map(|value| value.norm()).fold(0.0, f64::max)
    }

    /// Keeps the strongest so many tones, and says whether there were more.
    pub fn keep_strongest(&mut self, most: usize) -> bool {
        keep_strongest(&mut self.relative, most)
    }

    /// The set behind an amplifier or a multiplier.
    ///
    /// Every order of the stage carries the tones as sidebands. Lines at a negative multiple are their
    /// conjugates at the positive one; one at 0 is gone, and what falls on the carrier is left out, as it
    /// is of second order.
    #[must_use]
    pub fn through(&self, stage: &ActiveStage) -> Multiplied {
        let point = stage.at(self.carrier.level_dbm);
        let order = stage.order();
        let driven = self.carrier.phase + point.phase_shift;
        let carrier = Carrier {
            multiple: i64::from(order).saturating_mul(self.carrier.multiple),
            level_dbm: point.output_dbm,
            phase: (f64::from(order) * driven) % TAU,
        };
        let mut sum = LineSum { carrier, lines: BTreeMap::new() };
        let by_offset = self.by_offset();
        sum.add_sidebands(
            carrier.multiple,
            Complex64::ONE,
            &sidebands(f64::from(order), point.complex_slope(), &by_offset),
        );
        for line in stage.lines() {
            let m = f64::from(line.order);
            let beyond = m - f64::from(order);
            let phase = beyond * driven + line.phase_deg.to_radians();
            let own = Complex64::from_polar(amplitude_from_db(line.dbc), phase);
            let ratio = m / f64::from(order);
            let slope =
                Complex64::new(line.slope.unwrap_or(ratio * point.slope), ratio * point.am_pm);
            let centre = i64::from(line.order).saturating_mul(self.carrier.multiple);
            sum.add(centre, own);
            sum.add_sidebands(centre, own, &sidebands(m, slope, &by_offset));
        }
        let (relative, is_cut) = sum.kept();
        Multiplied {
            largest_modulation: f64::from(order) * self.largest(),
            tones: Self { carrier, relative },
            point,
            is_cut,
        }
    }

    /// The set behind a two-port that has this transmission at the carrier, and at other multiples
    /// that of `transmission`; `None` there leaves a tone out.
    #[must_use]
    pub fn filtered(
        &self,
        at_carrier: Complex64,
        transmission: impl Fn(i64) -> Option<Complex64>,
    ) -> Filtered {
        let mut carrier = self.carrier;
        carrier.level_dbm += db_from_amplitude(at_carrier.norm());
        carrier.phase += at_carrier.arg();
        let mut left_out = Vec::new();
        let mut relative = BTreeMap::new();
        for (multiple, value) in self.tones() {
            match transmission(multiple) {
                Some(own) => {
                    relative.insert(multiple, value * own / at_carrier);
                }
                None => left_out.push(multiple),
            }
        }
        Filtered { tones: Self { carrier, relative }, left_out }
    }
}

/// Keeps the strongest so many, and says whether there were more.
fn keep_strongest(lines: &mut BTreeMap<i64, Complex64>, most: usize) -> bool {
    if lines.len() <= most {
        return false;
    }
    let mut all: Vec<(i64, Complex64)> = std::mem::take(lines).into_iter().collect();
    all.sort_by(|one, other| other.1.norm().total_cmp(&one.1.norm()));
    all.truncate(most);
    lines.extend(all);
    true
}

/// Lines that are being added up.
struct LineSum {
    carrier: Carrier,
    lines: BTreeMap<i64, Complex64>,
}

impl LineSum {
    fn add(&mut self, multiple: i64, value: Complex64) {
        // A line below 0 Hz is the conjugate of one above it; the carrier, against which it counts, is not
        // conjugated with it.
        let (place, value) = if multiple < 0 {
            let twice = Complex64::from_polar(1.0, -2.0 * self.carrier.phase);
            (multiple.saturating_neg(), value.conj() * twice)
        } else {
            (multiple, value)
        };
        if place != 0 && place != self.carrier.multiple && place <= HIGHEST_MULTIPLE {
            *self.lines.entry(place).or_default() += value;
        }
    }

    fn add_sidebands(&mut self, centre: i64, of: Complex64, by_offset: &BTreeMap<i64, Complex64>) {
        for (&offset, &value) in by_offset {
            let place = centre.saturating_add(offset);
            self.add(place, of * value);
        }
    }

    /// The lines that are strong enough to be kept, and whether there were too many.
    fn kept(self) -> (BTreeMap<i64, Complex64>, bool) {
        let least = amplitude_from_db(WEAKEST_DBC);
        let mut lines = self.lines;
        lines.retain(|_, value| value.norm() >= least && value.is_finite());
        let is_cut = keep_strongest(&mut lines, MOST_TONES);
        (lines, is_cut)
    }
}
