//! A synthetic lot of any size, for trying the analysis of many dies: couplers with process
//! variation over the wafer, and a few typical measurement faults.
//!
//! Coupling decreases from the centre to the edge, the length of one interconnect varies across the
//! wafer, and every die has random deviations (see [`SpreadCoupler`]).

use super::error::BatchError;
use crate::component::SpreadCoupler;
use crate::network::{FrequencyGrid, Network};
use crate::touchstone::{
    Comment, FrequencyUnit, NumberFormat, TouchstoneFile, Version, WriteOptions, write,
};
use crate::wafer::WaferGeometry;
use num_complex::Complex64;
use rand_chacha::ChaCha8Rng;
use rand_chacha::rand_core::{RngCore as _, SeedableRng as _};
use rayon::prelude::{IntoParallelRefIterator as _, ParallelIterator as _};
use statrs::function::erf::erf_inv;
use std::ops::RangeInclusive;

const DIAMETER_MM: f64 = 150.0;
const EDGE_EXCLUSION_MM: f64 = 3.0;
const LOT: &str = "K1";
/// Frequencies of every file, Hz.
const BAND_HZ: (f64, f64) = (26e9, 32e9);

const DIES: RangeInclusive<u32> = 1..=1_000_000;
const PITCH_MM: RangeInclusive<f64> = 0.5..=60.0;

/// The settings of a synthetic lot.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct SyntheticLotSettings {
    /// Number of dies, 1 to a million; wafers of 150 mm are filled one after the other.
    pub dies: u32,
    /// Die pitch along x and y, 0.5 to 60 mm.
    pub die_pitch_mm: (f64, f64),
    /// Number of frequencies in each file, from 26 to 32 GHz.
    pub points: u16,
    /// Seed of the deviations.
    pub seed: u64,
    /// Whether the first wafer has an outlier, a die measured twice, a damaged and a missing file.
    pub has_faults: bool,
}

/// A synthetic lot: a recipe, a list of dies and a Touchstone file for each.
///
/// # Examples
/// ```
/// use fourphase::batch::{SyntheticLot, SyntheticLotSettings};
///
/// let settings = SyntheticLotSettings {
///     dies: 20,
///     die_pitch_mm: (25.0, 25.0),
///     points: 13,
///     seed: 1,
///     has_faults: true,
/// };
/// let lot = SyntheticLot::new(settings)?;
/// assert!(lot.list().starts_with("lot,wafer,die_x,die_y"));
/// lot.each_file(|_, bytes| {
///     assert!(!bytes.is_empty());
///     Ok::<(), Box<dyn std::error::Error + Send + Sync>>(())
/// })?;
/// # Ok::<(), Box<dyn std::error::Error + Send + Sync>>(())
/// ```
#[derive(Clone, Debug)]
pub struct SyntheticLot {
    settings: SyntheticLotSettings,
    wafer: WaferGeometry,
    grid: FrequencyGrid,
    measurements: Vec<Measurement>,
}

/// One measurement of a die.
#[derive(Clone, Debug)]
struct Measurement {
    wafer: usize,
    die: (i32, i32),
    file: String,
    note: &'static str,
    fault: Option<Fault>,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Fault {
    /// An interconnect that is far too long.
    Outlier,
    /// A truncated file.
    Broken,
    /// A file in the list that does not exist.
    Missing,
    /// A first measurement with bad contact on one port.
    BadContact,
}

/// Dies of the first wafer with a fault, by their position in the order of measurement.
const FAULTS: [(usize, Fault); 4] =
    [(12, Fault::BadContact), (20, Fault::Broken), (31, Fault::Outlier), (44, Fault::Missing)];

impl SyntheticLot {
    /// Positions the dies and chooses those with faults.
    ///
    /// # Errors
    /// [`BatchError`] for settings out of their range, or if no die of this size fits on a wafer.
    pub fn new(settings: SyntheticLotSettings) -> Result<Self, BatchError> {
        let SyntheticLotSettings { dies, die_pitch_mm, points, .. } = settings;
        if !DIES.contains(&dies) {
            return Err(BatchError::SyntheticDies { most: *DIES.end(), found: dies });
        }
        for found in [die_pitch_mm.0, die_pitch_mm.1] {
            if !PITCH_MM.contains(&found) {
                let (least, most) = PITCH_MM.into_inner();
                return Err(BatchError::SyntheticPitch { least, most, found });
            }
        }
        let wafer = WaferGeometry::new(DIAMETER_MM, die_pitch_mm)?;
        let (low, high) = BAND_HZ;
        let grid = FrequencyGrid::linear(low, high, usize::from(points))?;
        let measurements = measurements(&settings, &wafer)?;
        Ok(Self { settings, wafer, grid, measurements })
    }

    /// The number of measurements.
    #[must_use]
    pub fn measurements(&self) -> usize {
        self.measurements.len()
    }

    /// The list of dies, for a file `dies.csv`.
    #[must_use]
    pub fn list(&self) -> String {
        let mut text = "lot,wafer,die_x,die_y,hybrid,touchdown_note\n".to_owned();
        for Measurement { wafer, die: (x, y), file, note, .. } in &self.measurements {
            text.push_str(&format!("{LOT},W{wafer:02},{x},{y},{file},{note}\n"));
        }
        text
    }

    /// The recipe, for a file beside the list.
    #[must_use]
    pub fn recipe(&self) -> String {
        let ((x_mm, y_mm), seed) = (self.settings.die_pitch_mm, self.settings.seed);
        format!(
            r#"# Synthetic: see `fourphase demo-wafer --help`.
title = "Synthetic couplers, seed {seed}"
manifest = "dies.csv"
retests = "last"

[analysis]
splitter = {{ kind = "quadrature", input = 1, outputs = [2, 3], isolated = 4, column = "hybrid", band_ghz = [27, 31] }}

[map]
wafer_diameter_mm = {DIAMETER_MM}
die_pitch_mm = [{x_mm}, {y_mm}]
edge_exclusion_mm = {EDGE_EXCLUSION_MM}
centre_die = [0, 0]
notch = "down"
x_axis = "right"
y_axis = "up"

[require]
image_rejection_db = 31.0
amplitude_imbalance_db = 0.6
phase_error_deg = 2.5

[what_if]
correction = true
"#
        )
    }

    /// Passes the name (relative to the list, such as `dies/w01_x0_y0.s4p`) and the bytes of each
    /// Touchstone file to `hand_on`, from several threads: a million files do not fit into memory.
    ///
    /// # Errors
    /// The first error of `hand_on`, or of a network that cannot be made.
    pub fn each_file<Error: From<BatchError> + Send>(
        &self,
        hand_on: impl Fn(&str, Vec<u8>) -> Result<(), Error> + Sync,
    ) -> Result<(), Error> {
        let present = self.measurements.par_iter();
        present
            .filter(|measurement| measurement.fault != Some(Fault::Missing))
            .try_for_each(|measurement| hand_on(&measurement.file, self.bytes(measurement)?))
    }

    /// The coupler of a die as it was measured.
    fn coupler(&self, measurement: &Measurement) -> SpreadCoupler {
        let (x, y) = measurement.die;
        let place = self.wafer.position(f64::from(x), f64::from(y));
        let mut random = ChaCha8Rng::seed_from_u64(self.settings.seed);
        // Each die has its own random stream, independent of the number of dies.
        let place_bits =
            (u64::from(x.cast_unsigned() & 0xffff) << 16) | u64::from(y.cast_unsigned() & 0xffff);
        random.set_stream(((measurement.wafer as u64) << 32) | place_bits);
        let radius_mm = self.wafer.radius_mm();
        let mut coupler = SpreadCoupler::on_wafer(
            (place.x_mm / radius_mm, place.y_mm / radius_mm),
            std::array::from_fn(|_| normal(&mut random)),
        );
        match measurement.fault {
            Some(Fault::Outlier) => coupler.interconnect_deg += 11.0,
            Some(Fault::BadContact) => {
                coupler.interconnect_deg += 5.0;
                coupler.interconnect_loss_db += 1.1;
            }
            Some(Fault::Broken | Fault::Missing) | None => {}
        }
        coupler
    }

    fn bytes(&self, measurement: &Measurement) -> Result<Vec<u8>, BatchError> {
        let network = self.coupler(measurement).network(&self.grid)?;
        let rounded = network
            .entries()
            .iter()
            .map(|entry| Complex64::new(rounded(entry.re), rounded(entry.im)))
            .collect();
        let network = Network::new(
            network.kind(),
            self.grid.clone(),
            network.ports(),
            rounded,
            network.references_ohm(0).to_vec(),
        )?;
        let ((x, y), wafer, seed) = (measurement.die, measurement.wafer, self.settings.seed);
        let comment = format!(" synthetic coupler, wafer {wafer}, die {x} {y}, seed {seed}");
        let content = TouchstoneFile {
            version: Version::V1_0,
            number_format: NumberFormat::RealImaginary,
            frequency_unit: FrequencyUnit::Gigahertz,
            port_references_ohm: Vec::new(),
            network,
            noise: Vec::new(),
            noise_reference_ohm: 50.0,
            comments: vec![Comment { text: comment, sets_before: 0 }],
            warnings: Vec::new(),
        };
        let options = WriteOptions {
            version: None,
            number_format: NumberFormat::RealImaginary,
            frequency_unit: FrequencyUnit::Gigahertz,
        };
        let mut bytes = Vec::new();
        write(&mut bytes, &content, &options)?;
        if measurement.fault == Some(Fault::Broken) {
            bytes.truncate(bytes.len() / 2);
        }
        Ok(bytes)
    }
}

/// Dies row by row from the top, wafer after wafer; second measurements are last.
fn measurements(
    settings: &SyntheticLotSettings,
    wafer: &WaferGeometry,
) -> Result<Vec<Measurement>, BatchError> {
    #[expect(clippy::cast_possible_truncation, reason = "a pitch is at least half a millimetre")]
    let reach = |pitch_mm: f64| (wafer.radius_mm() / pitch_mm).ceil() as i32;
    let (columns, rows) = (reach(settings.die_pitch_mm.0), reach(settings.die_pitch_mm.1));
    let places: Vec<(i32, i32)> = (-rows..=rows)
        .rev()
        .flat_map(|y| (-columns..=columns).map(move |x| (x, y)))
        .filter(|&(x, y)| !wafer.is_excluded(f64::from(x), f64::from(y)))
        .collect();
    if places.is_empty() {
        return Err(BatchError::NoSyntheticDie { diameter_mm: DIAMETER_MM });
    }
    let (mut made, mut retests) = (Vec::new(), Vec::new());
    for number in 0..settings.dies as usize {
        let (wafer, place) = (number / places.len() + 1, number % places.len());
        let (x, y) = places[place];
        let is_faulty = settings.has_faults && wafer == 1;
        let fault = FAULTS.iter().find(|(at, _)| is_faulty && *at == place);
        let fault = fault.map(|(_, fault)| *fault);
        let named = |more: &str| format!("dies/w{wafer:02}_x{x}_y{y}{more}.s4p");
        made.push(Measurement { wafer, die: (x, y), file: named(""), note: "", fault });
        if fault == Some(Fault::BadContact) {
            let (file, note) = (named("_again"), "cleaned the probe");
            retests.push(Measurement { wafer, die: (x, y), file, note, fault: None });
        }
    }
    made.extend(retests);
    Ok(made)
}

/// Six decimals, as an analyser writes them.
fn rounded(value: f64) -> f64 {
    (value * 1e6).round() / 1e6
}

/// A standard normal deviate.
fn normal(random: &mut ChaCha8Rng) -> f64 {
    #[expect(clippy::cast_precision_loss, reason = "53 bits fit")]
    let even = ((random.next_u64() >> 11) as f64 + 0.5) / (1_u64 << 53) as f64;
    std::f64::consts::SQRT_2 * erf_inv(2.0 * even - 1.0)
}
