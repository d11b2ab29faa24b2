//! `fourphase demo-wafer`.

use super::args::DemoWafer;
use super::console::Console;
use super::failure::Failure;
use super::outcome::Outcome;
use crate::component::SpreadCoupler;
use crate::network::FrequencyGrid;
use crate::report::{ReportFile, publish};
use crate::touchstone::{
    Comment, FrequencyUnit, NumberFormat, TouchstoneFile, Version, WriteOptions, write,
};
use crate::wafer::{Direction, WaferGeometry};
use num_complex::Complex64;
use rand_chacha::ChaCha8Rng;
use rand_chacha::rand_core::{RngCore as _, SeedableRng as _};
use rayon::prelude::{IntoParallelRefIterator as _, ParallelIterator as _};
use statrs::function::erf::erf_inv;
use std::path::Path;

const DIAMETER_MM: f64 = 150.0;
const EDGE_EXCLUSION_MM: f64 = 3.0;
const LOT: &str = "K1";

/// A touchdown to be made.
struct Touchdown {
    wafer: u32,
    die: (i32, i32),
    file: String,
    fault: Option<Fault>,
}

#[derive(Clone, Copy, PartialEq, Eq)]
enum Fault {
    /// A lead far too long.
    Outlier,
    /// A file cut off in the middle.
    Broken,
    /// A file that is named and not there.
    Missing,
    /// A first touchdown with bad contact on one port.
    BadContact,
}

/// Which of a wafer's dies has which fault.
const FAULTS: [(usize, Fault); 4] =
    [(12, Fault::BadContact), (20, Fault::Broken), (31, Fault::Outlier), (44, Fault::Missing)];

pub(super) fn run(given: &DemoWafer, console: &Console) -> Result<Outcome, Failure> {
    if given.dies == 0 || given.dies > 1_000_000 {
        return Err(Failure::Usage("--dies is from 1 to 1000000".to_owned()));
    }
    let geometry = WaferGeometry {
        diameter_mm: DIAMETER_MM,
        die_pitch_mm: given.die_pitch_mm,
        edge_exclusion_mm: EDGE_EXCLUSION_MM,
        notch: Direction::Down,
        x_axis: Direction::Right,
        y_axis: Direction::Up,
        centre_die: (0.0, 0.0),
    };
    let touchdowns = touchdowns(given, &geometry)?;
    let grid = FrequencyGrid::linear(26e9, 32e9, usize::from(given.points))
        .map_err(|source| Failure::Network { file: given.folder.clone(), source })?;
    let texts = [("recipe.toml", recipe(given)), ("dies.csv", list(&touchdowns))];
    let texts = texts
        .map(|(name, text)| ReportFile { path: given.folder.join(name), bytes: text.into_bytes() });
    publish(&texts, &[], given.overwrite)?;
    // One by one, since a million files do not fit into memory.
    touchdowns
        .par_iter()
        .filter(|touchdown| touchdown.fault != Some(Fault::Missing))
        .try_for_each(|touchdown| {
            let path = given.folder.join(&touchdown.file);
            let bytes = file(touchdown, given, &geometry, &grid, &path)?;
            publish(&[ReportFile { path, bytes }], &[], given.overwrite).map_err(Failure::from)
        })?;
    console.notice(&format!(
        "wrote {} touchdowns into {}; try: fourphase wafer {} --out wafer-report",
        touchdowns.len(),
        given.folder.display(),
        given.folder.join("recipe.toml").display()
    ));
    Ok(Outcome::Holds)
}

/// Dies row by row from the top, wafer after wafer; retests come last.
fn touchdowns(given: &DemoWafer, geometry: &WaferGeometry) -> Result<Vec<Touchdown>, Failure> {
    #[expect(clippy::cast_possible_truncation, reason = "a pitch is at least half a millimetre")]
    let reach = |pitch_mm: f64| (0.5 * DIAMETER_MM / pitch_mm).ceil() as i32;
    let (columns, rows) = (reach(given.die_pitch_mm.0), reach(given.die_pitch_mm.1));
    let whole = WaferGeometry { edge_exclusion_mm: 0.0, ..*geometry };
    let places: Vec<(i32, i32)> = (-rows..=rows)
        .rev()
        .flat_map(|y| (-columns..=columns).map(move |x| (x, y)))
        .filter(|&(x, y)| !whole.is_excluded(f64::from(x), f64::from(y)))
        .collect();
    if places.is_empty() {
        return Err(Failure::Usage("no die of this size fits on a wafer".to_owned()));
    }
    let (mut made, mut retests) = (Vec::new(), Vec::new());
    for number in 0..given.dies as usize {
        let (wafer, place) = (number / places.len() + 1, number % places.len());
        let (x, y) = places[place];
        let fault = FAULTS.iter().find(|(at, _)| *at == place && wafer == 1 && !given.no_faults);
        let fault = fault.map(|(_, fault)| *fault);
        let wafer = u32::try_from(wafer).unwrap_or(u32::MAX);
        let named = |more: &str| format!("dies/w{wafer:02}_x{x}_y{y}{more}.s4p");
        made.push(Touchdown { wafer, die: (x, y), file: named(""), fault });
        if fault == Some(Fault::BadContact) {
            retests.push(Touchdown { wafer, die: (x, y), file: named("_again"), fault: None });
        }
    }
    made.extend(retests);
    Ok(made)
}

fn list(touchdowns: &[Touchdown]) -> String {
    let mut text = "lot,wafer,die_x,die_y,hybrid,touchdown_note\n".to_owned();
    for touchdown in touchdowns {
        let note = if touchdown.file.ends_with("_again.s4p") { "cleaned the probe" } else { "" };
        let (x, y) = touchdown.die;
        text.push_str(&format!(
            "{LOT},W{:02},{x},{y},{},{note}\n",
            touchdown.wafer, touchdown.file
        ));
    }
    text
}

fn recipe(given: &DemoWafer) -> String {
    let (x_mm, y_mm) = given.die_pitch_mm;
    format!(
        "# Invented: see `fourphase demo-wafer --help`.\n\
         title = \"Invented couplers, seed {}\"\n\
         manifest = \"dies.csv\"\n\
         retests = \"last\"\n\
         \n\
         [analysis]\n\
         splitter = {{ kind = \"quadrature\", input = 1, outputs = [2, 3], isolated = 4, \
         column = \"hybrid\", band_ghz = [27, 31] }}\n\
         \n\
         [map]\n\
         wafer_diameter_mm = {DIAMETER_MM}\n\
         die_pitch_mm = [{x_mm}, {y_mm}]\n\
         edge_exclusion_mm = {EDGE_EXCLUSION_MM}\n\
         centre_die = [0, 0]\n\
         notch = \"down\"\n\
         x_axis = \"right\"\n\
         y_axis = \"up\"\n\
         \n\
         [require]\n\
         image_rejection_db = 31.0\n\
         amplitude_imbalance_db = 0.6\n\
         phase_error_deg = 2.5\n\
         \n\
         [what_if]\n\
         correction = true\n",
        given.seed
    )
}

/// A die's file.
fn file(
    touchdown: &Touchdown,
    given: &DemoWafer,
    geometry: &WaferGeometry,
    grid: &FrequencyGrid,
    path: &Path,
) -> Result<Vec<u8>, Failure> {
    let (x, y) = touchdown.die;
    let place = geometry.position(f64::from(x), f64::from(y));
    let mut random = ChaCha8Rng::seed_from_u64(given.seed);
    // A stream for each die, so that it does not depend on how many there are.
    let place_bits =
        (u64::from(x.cast_unsigned() & 0xffff) << 16) | u64::from(y.cast_unsigned() & 0xffff);
    random.set_stream((u64::from(touchdown.wafer) << 32) | place_bits);
    let radius = 0.5 * DIAMETER_MM;
    let mut coupler = SpreadCoupler::on_wafer(
        (place.x_mm / radius, place.y_mm / radius),
        std::array::from_fn(|_| normal(&mut random)),
    );
    match touchdown.fault {
        Some(Fault::Outlier) => coupler.interconnect_deg += 11.0,
        Some(Fault::BadContact) => {
            coupler.interconnect_deg += 5.0;
            coupler.interconnect_loss_db += 1.1;
        }
        _ => {}
    }
    let network = coupler.network(grid)?;
    let comment =
        format!(" invented coupler, wafer {}, die {x} {y}, seed {}", touchdown.wafer, given.seed);
    let rounded = network
        .entries()
        .iter()
        .map(|entry| Complex64::new(rounded(entry.re), rounded(entry.im)))
        .collect();
    let network = crate::network::Network::new(
        network.kind(),
        grid.clone(),
        network.ports(),
        rounded,
        network.references_ohm(0).to_vec(),
    )
    .map_err(|source| Failure::Network { file: path.to_owned(), source })?;
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
    if touchdown.fault == Some(Fault::Broken) {
        bytes.truncate(bytes.len() / 2);
    }
    Ok(bytes)
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
