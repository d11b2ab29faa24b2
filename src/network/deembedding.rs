//! Removal of fixtures, pads and interconnects from a measured network.

use super::extremes::Worst;
use super::lu::Lu;
use super::quality::assess;
use super::reference_change::power_scattering;
use super::{
    Chain, ChainForm, FrequencyGrid, Network, NetworkError, ParameterKind, Port, Terminal,
    WaveDefinition, Wiring, change_reference, convert, from_chain, join, to_chain,
};
use num_complex::Complex64;
use std::f64::consts::{PI, TAU};

/// A network after de-embedding, with figures of its reliability.
#[derive(Clone, Debug)]
pub struct Deembedded {
    /// The network of the device.
    pub network: Network,
    /// Maximum condition number of the matrices inverted: the factor by which measurement errors
    /// may grow.
    pub worst_condition: Worst,
    /// Maximum singular value before de-embedding.
    pub singular_value_before: f64,
    /// Maximum singular value after de-embedding; above 1 the result generates power.
    pub singular_value_after: f64,
    /// Warnings for the user, one sentence each.
    pub warnings: Vec<String>,
}

/// Above this condition number a six-digit measurement keeps four digits at most.
const LARGEST_TRUSTED_CONDITION: f64 = 100.0;

/// Removes known two-ports from a two-port: `left` before its port 1, `right` after its port 2. The
/// signal goes from port 1 to port 2 of each.
///
/// # Errors
/// [`NetworkError::PortCount`], [`NetworkError::MixedMode`], [`NetworkError::UnequalGrids`],
/// [`NetworkError::NoInverse`] with the frequency at which a fixture has no transmission.
pub fn remove_fixtures(
    measured: &Network,
    left: Option<&Network>,
    right: Option<&Network>,
) -> Result<Deembedded, NetworkError> {
    expect_ports(measured, 2)?;
    let mut blocks = Vec::new();
    let mut outside = Vec::new();
    let mut towards = Vec::new();
    // Ports of the joined fixture: first those on the side of the measurement, then those of the
    // device.
    for (fixture, faces_left) in [(left, true), (right, false)] {
        let block = blocks.len();
        let network = match fixture {
            Some(network) => network.clone(),
            None => through(measured.grid())?,
        };
        expect_ports(&network, 2)?;
        let port = |index| Terminal { block, port: Port::from_index(index) };
        let (out, to) = if faces_left { (port(0), port(1)) } else { (port(1), port(0)) };
        blocks.push(network);
        outside.push(out);
        towards.push(to);
    }
    outside.extend(towards);
    let fixture = join(&blocks, &Wiring { joins: vec![], outside })?;
    remove_fixture(measured, &fixture)
}

/// Removes a known access line from each port of an N-port. Each line is a two-port whose port 1 is
/// outside and whose port 2 faces the device; `None` for a port without a line.
///
/// # Errors
/// As [`remove_fixture`]; [`NetworkError::PortCount`] unless there is an entry for each port.
pub fn remove_access_lines(
    measured: &Network,
    feeds: &[Option<&Network>],
) -> Result<Deembedded, NetworkError> {
    expect_ports(measured, feeds.len())?;
    let mut blocks = Vec::new();
    for feed in feeds {
        let network = match feed {
            Some(network) => (*network).clone(),
            None => through(measured.grid())?,
        };
        expect_ports(&network, 2)?;
        blocks.push(network);
    }
    let ends = |index| {
        (0..feeds.len()).map(move |block| Terminal { block, port: Port::from_index(index) })
    };
    let wiring = Wiring { joins: vec![], outside: ends(0).chain(ends(1)).collect() };
    remove_fixture(measured, &join(&blocks, &wiring)?)
}

fn through(grid: &FrequencyGrid) -> Result<Network, NetworkError> {
    let (zero, one) = (Complex64::ZERO, Complex64::ONE);
    let entries = [zero, one, one, zero].repeat(grid.len());
    Network::new(ParameterKind::Scattering, grid.clone(), 2, entries, vec![50.0.into()])
}

/// Removes a known 2N-port from an N-port: ports 1..N of the fixture are on the side of the
/// measurement, its ports N+1..2N face the device.
///
/// The result is in the reference impedances of the fixture's inner ports.
///
/// # Errors
/// [`NetworkError::PortCount`], [`NetworkError::MixedMode`], [`NetworkError::UnequalGrids`],
/// [`NetworkError::NoInverse`] with the frequency at which the fixture has no transmission.
///
/// # Method
/// With the fixture's matrix F in blocks and the measurement M, X = F_oi⁻¹ (M - F_oo) is the wave
/// into the inner ports per wave at the outer ports, and S = X (F_io + F_ii X)⁻¹.
pub fn remove_fixture(measured: &Network, fixture: &Network) -> Result<Deembedded, NetworkError> {
    let n = measured.ports();
    expect_ports(measured, n)?;
    expect_ports(fixture, 2 * n)?;
    if fixture.grid() != measured.grid() {
        return Err(NetworkError::UnequalGrids { block: 1 });
    }
    let fixture = power_scattering(fixture)?;
    // The measurement is brought to the reference impedances of the fixture's outer ports.
    let outer = |point: usize| fixture.references_ohm(point)[..n].iter().copied();
    let outer_ohm: Vec<Complex64> = (0..measured.grid().len()).flat_map(outer).collect();
    let measured_s = change_reference(
        &convert(measured, ParameterKind::Scattering)?,
        outer_ohm,
        WaveDefinition::Kurokawa,
    )?;

    let mut condition = WorstCondition::default();
    let mut lu = Lu::new(n);
    let mut entries = Vec::with_capacity(measured.entries().len());
    for (point, (f, m)) in fixture
        .entries()
        .chunks_exact(4 * n * n)
        .zip(measured_s.entries().chunks_exact(n * n))
        .enumerate()
    {
        let frequency_hz = measured.grid().as_hz()[point];
        let block = |rows: usize, columns: usize| -> Vec<Complex64> {
            (0..n * n).map(|at| f[(rows * n + at / n) * 2 * n + columns * n + at % n]).collect()
        };
        let no_inverse =
            |_| NetworkError::NoInverse { what: "fixture's transmission", frequency_hz };
        lu.factor(&block(0, 1)).map_err(no_inverse)?;
        condition.note(lu.condition(), frequency_hz);
        let mut x: Vec<Complex64> = m.iter().zip(block(0, 0)).map(|(m, f)| m - f).collect();
        lu.solve(&mut x, n);
        let inner = block(1, 1);
        let mut out = block(1, 0);
        for row in 0..n {
            for column in 0..n {
                out[row * n + column] +=
                    (0..n).map(|k| inner[row * n + k] * x[k * n + column]).sum::<Complex64>();
            }
        }
        lu.factor(&out).map_err(no_inverse)?;
        condition.note(lu.condition(), frequency_hz);
        lu.solve_right(&mut x);
        entries.extend(x);
    }
    let references = fixture.stored_references();
    let inner_ohm =
        references.chunks_exact(2 * n).flat_map(|set| set[n..].iter().copied()).collect();
    let network =
        Network::new(ParameterKind::Scattering, measured.grid().clone(), n, entries, inner_ohm)?;
    condition.judge(measured, network)
}

/// Reference impedance of the waves of the short standard, ohms.
const R: f64 = 50.0;
/// A sum of terms around 1 with a result below this is zero within rounding errors.
const CANCELLED: f64 = 1e-12;

/// Removes shunt pads and series interconnects from an N-port, by the same structure left open and
/// shorted: M. C. A. M. Koolen, J. A. M. Geelen, M. P. J. G. Versleijen, BCTM 1991.
///
/// # Errors
/// [`NetworkError::PortCount`], [`NetworkError::MixedMode`], [`NetworkError::UnequalGrids`];
/// [`NetworkError::NoSuchMatrix`] where the measurement has no Y, [`NetworkError::InStandard`]
/// where the open has none; [`NetworkError::NoInverse`] where the device or the open equals the
/// short.
///
/// # Method
/// With A = Y - Y_open and L = (Y_short - Y_open)⁻¹, the impedance of the interconnects, Koolen's
/// (A⁻¹ - L)⁻¹ is A (1 - L A)⁻¹. This form also exists for a device that is an open and for an
/// ideal short.
pub fn remove_open_short(
    measured: &Network,
    open: &Network,
    short: &Network,
) -> Result<Deembedded, NetworkError> {
    let n = measured.ports();
    expect_ports(measured, n)?;
    for (block, standard) in [(1, open), (2, short)] {
        expect_ports(standard, n)?;
        if standard.grid() != measured.grid() {
            return Err(NetworkError::UnequalGrids { block });
        }
    }
    let in_standard =
        |standard| move |source| NetworkError::InStandard { standard, source: Box::new(source) };
    let y = convert(measured, ParameterKind::Admittance)?;
    let y_open = convert(open, ParameterKind::Admittance).map_err(in_standard("open"))?;
    // An ideal short has no Y, so the short stays S: with waves in R, v = √R (1 + S) a and
    // i = (1 - S) a / √R.
    let short = convert(short, ParameterKind::Scattering)
        .and_then(|s| change_reference(&s, vec![R.into(); n], WaveDefinition::Kurokawa))
        .map_err(in_standard("short"))?;
    let mut condition = WorstCondition::default();
    let mut lu = Lu::new(n);
    let mut entries = Vec::with_capacity(y.entries().len());
    let points = y
        .entries()
        .chunks_exact(n * n)
        .zip(y_open.entries().chunks_exact(n * n))
        .zip(short.entries().chunks_exact(n * n));
    let unit = |at: usize| if at.is_multiple_of(n + 1) { Complex64::ONE } else { Complex64::ZERO };
    let product = |left: &[Complex64], right: &[Complex64]| -> Vec<Complex64> {
        (0..n * n)
            .map(|at| (0..n).map(|k| left[at / n * n + k] * right[k * n + at % n]).sum())
            .collect()
    };
    for (point, ((y, open), short)) in points.enumerate() {
        let frequency_hz = measured.grid().as_hz()[point];
        let inverted = |lu: &mut Lu, matrix: &[Complex64], what| {
            // Entries that cancel to rounding make the matrix singular too; in a one-port no pivot
            // shows this.
            let cancels = matrix.iter().all(|entry| entry.norm() < CANCELLED);
            let refused = || NetworkError::NoInverse { what, frequency_hz };
            lu.factor(matrix).ok().filter(|()| !cancels).ok_or_else(refused)
        };
        let volts: Vec<Complex64> =
            short.iter().enumerate().map(|(at, s)| (unit(at) + s) * R).collect();
        let leaked = product(open, &volts);
        let amperes: Vec<Complex64> = short
            .iter()
            .zip(leaked)
            .enumerate()
            .map(|(at, (s, leaked))| unit(at) - s - leaked)
            .collect();
        inverted(&mut lu, &amperes, "difference between open and short")?;
        condition.note(lu.condition(), frequency_hz);
        let mut leads = volts;
        lu.solve_right(&mut leads);
        let device: Vec<Complex64> = y.iter().zip(open).map(|(y, open)| y - open).collect();
        let behind: Vec<Complex64> =
            product(&leads, &device).iter().enumerate().map(|(at, la)| unit(at) - la).collect();
        inverted(&mut lu, &behind, "difference between short and device")?;
        condition.note(lu.condition(), frequency_hz);
        let mut inner = device;
        lu.solve_right(&mut inner);
        entries.extend(inner);
    }
    let device = Network::new(
        ParameterKind::Admittance,
        measured.grid().clone(),
        n,
        entries,
        measured.stored_references().to_vec(),
    )?;
    condition.judge(measured, convert(&device, ParameterKind::Scattering)?)
}

/// The model by which a symmetric 2x-thru is split.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum ThruSplit {
    /// Two equal lengths of uniform line, of any impedance and loss.
    #[default]
    Line,
    /// Two shunt pads with a series interconnect between them: one shunt and one series element on
    /// each side.
    Pad,
}

/// Splits a symmetric 2x-thru into its left and right halves.
///
/// # Errors
/// [`NetworkError::PortCount`]; [`NetworkError::NoInverse`] and [`NetworkError::NoSuchMatrix`]
/// where the thru has no chain or Y matrix.
pub fn split_thru(through: &Network, split: ThruSplit) -> Result<(Network, Network), NetworkError> {
    expect_ports(through, 2)?;
    let references = through.stored_references().to_vec();
    let chains: Vec<[Complex64; 4]> = match split {
        ThruSplit::Line => line_halves(through)?,
        ThruSplit::Pad => {
            let admittance = convert(through, ParameterKind::Admittance)?;
            let half = |y: &[Complex64]| {
                // The π form: (Y11 + Y12) to ground at each end, -Y12 between them; half of -Y12 in
                // series on each side.
                let (mean, transfer) = (0.5 * (y[0] + y[3]), 0.5 * (y[1] + y[2]));
                let (shunt, series) = (mean + transfer, -0.5 / transfer);
                [Complex64::ONE, series, shunt, 1.0 + shunt * series]
            };
            admittance.entries().chunks_exact(4).map(half).collect()
        }
    };
    let build = |entries: Vec<Complex64>| {
        let chain = Chain::new(ChainForm::Voltage, 1, through.grid().clone(), entries)?;
        from_chain(&chain, references.clone(), through.wave_definition())
    };
    let left = build(chains.concat())?;
    // Exchanging the ports of a reciprocal two-port exchanges A and D.
    let right = build(chains.iter().flat_map(|&[a, b, c, d]| [d, b, c, a]).collect())?;
    Ok((left, right))
}

/// The ABCD matrices of half a line, point by point, with its exponent followed over frequency.
fn line_halves(through: &Network) -> Result<Vec<[Complex64; 4]>, NetworkError> {
    let chain = to_chain(through, ChainForm::Voltage)?;
    let hz = through.grid().as_hz();
    // A = cosh γl has two exponents; the one that decays is used.
    let mut turned: Vec<f64> = Vec::with_capacity(hz.len());
    let mut decays = Vec::with_capacity(hz.len());
    for m in chain.entries().chunks_exact(4) {
        let cosh = 0.5 * (m[0] + m[3]);
        let sinh = (cosh * cosh - 1.0).sqrt();
        let (one, other) = (cosh - sinh, cosh + sinh);
        // Without loss both have magnitude 1; then the one with positive delay is used.
        let transfer = if (one.norm() - other.norm()).abs() > 1e-9 {
            if one.norm() < other.norm() { one } else { other }
        } else if one.arg() <= 0.0 {
            one
        } else {
            other
        };
        let raw = transfer.arg();
        turned.push(match turned.last() {
            Some(previous) => raw + TAU * ((previous - raw) / TAU).round(),
            None => raw,
        });
        decays.push(transfer.norm().ln());
    }
    // The phase at zero frequency is zero: the number of whole turns is chosen for which a straight
    // line through the phases comes nearest to that.
    let turns = if hz.len() > 1 {
        let count = hz.iter().map(|_| 1.0).sum::<f64>();
        let (mean_hz, mean) = (hz.iter().sum::<f64>() / count, turned.iter().sum::<f64>() / count);
        let slope = hz.iter().zip(&turned).map(|(f, p)| (f - mean_hz) * (p - mean)).sum::<f64>()
            / hz.iter().map(|f| (f - mean_hz).powi(2)).sum::<f64>();
        ((mean - slope * mean_hz) / TAU).round()
    } else {
        0.0
    };
    Ok(chain
        .entries()
        .chunks_exact(4)
        .zip(turned.iter().zip(decays))
        .map(|(m, (phase, decay))| {
            // In a lossless sweep from 0 Hz the first half turn is that of the thru.
            let exponent = Complex64::new(-decay, -(phase - TAU * turns));
            let half = 0.5 * exponent;
            let image_ohm = (m[1] / m[2]).sqrt();
            let image_ohm = if image_ohm.re < 0.0 { -image_ohm } else { image_ohm };
            [half.cosh(), image_ohm * half.sinh(), half.sinh() / image_ohm, half.cosh()]
        })
        .collect())
}

/// Splits a symmetric 2x-thru and removes its halves from a two-port.
///
/// # Errors
/// Those of [`split_thru`] and [`remove_fixtures`].
pub fn remove_thru(
    measured: &Network,
    through: &Network,
    split: ThruSplit,
) -> Result<Deembedded, NetworkError> {
    let (left, right) = split_thru(through, split)?;
    let mut removed = remove_fixtures(measured, Some(&left), Some(&right))?;
    let scattering = power_scattering(through)?;
    let asymmetry = scattering
        .entries()
        .chunks_exact(4)
        .map(|s| (s[0] - s[3]).norm().max((s[1] - s[2]).norm()))
        .fold(0.0, f64::max);
    if asymmetry > LARGEST_ASYMMETRY {
        removed
            .warnings
            .push(format!("the thru is not symmetric: S11 and S22 differ by up to {asymmetry:.3}"));
    }
    let steps = scattering.entries().chunks_exact(4).map(|s| s[2].arg()).collect::<Vec<_>>();
    if steps
        .windows(2)
        .any(|pair| (pair[1] - pair[0]).abs() > PI / 2.0 && (pair[1] - pair[0]).abs() < 1.5 * PI)
    {
        removed.warnings.push(
            "the phase of the thru turns by more than 90 deg between points; its half may be wrong"
                .to_owned(),
        );
    }
    Ok(removed)
}

/// Above this |S11 - S22| a thru is not symmetric.
const LARGEST_ASYMMETRY: f64 = 0.02;

#[derive(Default)]
struct WorstCondition {
    value: f64,
    frequency_hz: f64,
}

impl WorstCondition {
    fn note(&mut self, value: f64, frequency_hz: f64) {
        if value > self.value {
            *self = Self { value, frequency_hz };
        }
    }

    fn judge(self, before: &Network, network: Network) -> Result<Deembedded, NetworkError> {
        let singular_value_before = assess(before)?.max_singular_value.value;
        let after = assess(&network)?.max_singular_value;
        let mut warnings = Vec::new();
        if self.value > LARGEST_TRUSTED_CONDITION {
            warnings.push(format!(
                "ill-conditioned de-embedding: errors may grow by a factor of {:.0} near {}",
                self.value,
                crate::units::ShownFrequency(self.frequency_hz)
            ));
        }
        let is_passive = |value: f64| value <= 1.0 + super::PASSIVITY_TOLERANCE;
        if is_passive(singular_value_before) && !is_passive(after.value) {
            warnings.push(format!(
                "the de-embedded network is not passive: singular value {:.4} at {}",
                after.value,
                crate::units::ShownFrequency(after.frequency_hz)
            ));
        }
        let worst_condition =
            Worst { value: self.value, frequency_hz: self.frequency_hz, entry: None };
        Ok(Deembedded {
            network,
            worst_condition,
            singular_value_before,
            singular_value_after: after.value,
            warnings,
        })
    }
}

fn expect_ports(network: &Network, expected: usize) -> Result<(), NetworkError> {
    if network.modes().is_some() {
        return Err(NetworkError::MixedMode);
    }
    if network.ports() == expected {
        Ok(())
    } else {
        Err(NetworkError::PortCount { expected, found: network.ports() })
    }
}
