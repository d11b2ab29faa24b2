//! The analysis of a splitter: quantities at each frequency, worst values, and compliance with
//! limits.

use super::error::SplitterError;
use super::imbalance::{SplitterPoint, output_waves, read_point};
use super::port_order::{PortOrderFinding, PortRoles, port_order_finding};
use super::roles::{GivenRoles, Roles, WIDEST_PHASE_DEG, find_roles};
use super::splitter_compliance::{check_limits, compliance};
use super::splitter_kind::SplitterKind;
use crate::network::{
    FrequencyGrid, Load, Network, NetworkError, ParameterKind, Port, WaveDefinition,
    change_reference, close_ports, convert, onto_grid,
};
use crate::requirement::{Compliance, Limits};
use crate::units::wrap_deg;
use num_complex::Complex64;
use std::borrow::Cow;

/// The settings of the analysis of a splitter.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct SplitterSettings {
    /// The given kind and roles.
    pub roles: GivenRoles,
    /// The band, Hz; `None` for all of the data.
    pub band_hz: Option<(f64, f64)>,
    /// Reference impedances to change to first, ohms: empty, one for all ports, or one per port.
    pub references_ohm: Vec<Complex64>,
    /// The loads of ports other than input and outputs; the other ports are terminated by their
    /// reference impedances.
    pub loads: Vec<(Port, Load)>,
    /// The limits for the splitter over the band.
    pub limits: Limits,
}

/// A worst value and its frequency.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct WorstAt {
    /// The value.
    pub value: f64,
    /// Its frequency, Hz.
    pub frequency_hz: f64,
}

/// Worst values over the band.
#[derive(Clone, Debug, PartialEq)]
pub struct Summary {
    /// The band, Hz.
    pub band_hz: (f64, f64),
    /// The minimum rejection.
    pub worst_rejection: WorstAt,
    /// The phase error of maximum magnitude, with its sign.
    pub worst_phase_error_deg: WorstAt,
    /// The amplitude imbalance of maximum magnitude, with its sign.
    pub worst_amplitude_imbalance_db: WorstAt,
    /// The maximum excess loss.
    pub worst_excess_loss_db: WorstAt,
    /// The minimum isolation; `None` without an isolated port.
    pub worst_isolation_db: Option<WorstAt>,
    /// The minimum isolation between the outputs.
    pub worst_output_isolation_db: WorstAt,
    /// The minimum return loss of the input.
    pub worst_input_return_loss_db: WorstAt,
    /// The output that leads at band centre; `None` if neither leads.
    pub leading_output: Option<Port>,
}

/// The result of the analysis of a splitter.
#[derive(Clone, Debug, PartialEq)]
pub struct SplitterResult {
    /// Kind and roles.
    pub roles: Roles,
    /// Every point of the band; its ends are interpolated if the data have no point there.
    pub points: Vec<SplitterPoint>,
    /// Worst values.
    pub summary: Summary,
    /// A contradiction between the given roles and the data.
    pub port_order: Option<PortOrderFinding>,
    /// The limits with their worst values, and the bands that pass.
    pub compliance: Compliance,
    /// Warnings about the data for the user.
    pub warnings: Vec<String>,
}

/// Analyses a splitter: balance, losses, isolation, worst values and limits over a band.
///
/// The network may hold any parameter. Its reference impedances are changed to `references_ohm`
/// (power waves) and the loads are connected before anything is read. With complex reference
/// impedances the phases are those of power waves.
///
/// # Errors
/// [`SplitterError`]: contradicting roles, or roles that cannot be inferred; a band outside the data;
/// an output without signal; a mixed-mode network; limits that do not apply to the kind.
///
/// # Examples
/// ```
/// use fourphase::component::{IdealSplit, ideal_quadrature_hybrid};
/// use fourphase::network::FrequencyGrid;
/// use fourphase::splitter::{SplitterKind, SplitterSettings, analyse};
///
/// let grid = FrequencyGrid::linear(27e9, 31e9, 5)?;
/// let split = IdealSplit { imbalance_db: 0.5, phase_error_deg: 3.0, loss_db: 1.0, ..IdealSplit::default() };
/// let hybrid = ideal_quadrature_hybrid(&grid, &split)?;
/// let result = analyse(&hybrid, &SplitterSettings::default())?;
/// assert_eq!(result.roles.kind, SplitterKind::Quadrature);
/// assert!((result.summary.worst_rejection.value - 28.20).abs() < 0.005);
/// # Ok::<(), Box<dyn std::error::Error>>(())
/// ```
pub fn analyse(
    network: &Network,
    settings: &SplitterSettings,
) -> Result<SplitterResult, SplitterError> {
    let prepared = Prepared::new(network, settings)?;
    let Prepared { solved, band_hz, centre, closed, roles, port_order, warnings } = prepared;
    let points = (0..solved.grid().len())
        .map(|point| read_point(&solved, point, &roles, &closed))
        .collect::<Result<Vec<_>, _>>()?;
    let summary = summarise(&points, band_hz, centre, &roles);
    let compliance = compliance(&settings.limits, &points)?;
    Ok(SplitterResult { roles, points, summary, port_order, compliance, warnings })
}

/// The balance of a splitter without its losses: a part of [`SplitterResult`].
pub(crate) struct SplitterBalances {
    /// Kind and roles.
    pub(crate) roles: Roles,
    /// Every point of the band.
    pub(crate) points: Vec<BalancePoint>,
    /// A contradiction between the given roles and the data.
    pub(crate) port_order: Option<PortOrderFinding>,
    /// Warnings about the data for the user.
    pub(crate) warnings: Vec<String>,
}

/// The balance at a frequency.
pub(crate) struct BalancePoint {
    /// Frequency, Hz.
    pub(crate) frequency_hz: f64,
    /// Nepers and radians.
    pub(crate) channel_error: Complex64,
    /// From the input to each output.
    pub(crate) losses_db: [f64; 2],
}

/// The balance of a splitter over its band: a part of the work of [`analyse`], for lots of many.
///
/// # Errors
/// As [`analyse`], but for limits on figures without a number.
pub(crate) fn balances(
    network: &Network,
    settings: &SplitterSettings,
) -> Result<SplitterBalances, SplitterError> {
    let Prepared { solved, roles, port_order, warnings, .. } = Prepared::new(network, settings)?;
    let frequencies_hz = solved.grid().as_hz().iter().enumerate();
    let points = frequencies_hz
        .map(|(point, &frequency_hz)| {
            let waves = output_waves(&solved, point, &roles)?;
            let (channel_error, losses_db) = (waves.channel_error, waves.losses_db());
            Ok(BalancePoint { frequency_hz, channel_error, losses_db })
        })
        .collect::<Result<_, SplitterError>>()?;
    Ok(SplitterBalances { roles, points, port_order, warnings })
}

/// A splitter over its band, with what is known before its quantities are computed.
struct Prepared {
    /// In the reference impedances and with the loads of the settings.
    solved: Network,
    band_hz: (f64, f64),
    /// The point at band centre.
    centre: usize,
    /// The ports with loads.
    closed: Vec<Port>,
    roles: Roles,
    port_order: Option<PortOrderFinding>,
    warnings: Vec<String>,
}

impl Prepared {
    fn new(network: &Network, settings: &SplitterSettings) -> Result<Self, SplitterError> {
        if network.modes().is_some() {
            return Err(NetworkError::MixedMode.into());
        }
        let mut warnings = Vec::new();
        let (banded, band_hz) = restrict(network, settings.band_hz, &mut warnings)?;
        let scattering = match banded.kind() {
            ParameterKind::Scattering => banded,
            _ => convert(&banded, ParameterKind::Scattering)?,
        };
        let changed = match solved(&scattering, settings)? {
            Cow::Owned(changed) => Some(changed),
            Cow::Borrowed(_) => None,
        };
        let solved = changed.as_ref().unwrap_or(&scattering);
        let closed: Vec<Port> = settings.loads.iter().map(|(port, _)| *port).collect();

        let points = solved.grid().len();
        let centre = solved.grid().nearest(0.5 * (band_hz.0 + band_hz.1));
        // Roles are inferred near the middle: far from it a splitter may act as another kind.
        let middle = centre.saturating_sub(points / 10)..(centre + points / 10 + 1).min(points);
        let roles = find_roles(solved, &settings.roles, middle, centre, &closed)?;
        check_limits(&settings.limits, roles.kind)?;
        let port_order = contradiction(&scattering, settings, &roles)?;
        let told = port_order.as_ref().map(|found| found.text(|port| format!("port {port}")));
        warnings.extend(told);
        // A point without a signal is refused where all points are read.
        if let Ok(at_centre) = read_point(solved, centre, &roles, &closed) {
            warnings.extend(far_nominal(&settings.roles, at_centre.phase_difference_deg));
        }
        let solved = changed.unwrap_or(scattering);
        Ok(Self { solved, band_hz, centre, closed, roles, port_order, warnings })
    }
}

/// A given nominal phase that the data are far from.
fn far_nominal(given: &GivenRoles, difference_deg: f64) -> Option<String> {
    let nominal_deg = given.nominal_deg?;
    (wrap_deg(difference_deg - nominal_deg).abs() > WIDEST_PHASE_DEG).then(|| {
        format!(
            "the outputs differ by {difference_deg:.1} deg at band centre, far from the nominal \
             {nominal_deg} deg: check its sign and its unit, degrees, and the order of the outputs"
        )
    })
}

/// What the data say against roles that are given; an error where no figure would mean anything.
fn contradiction(
    scattering: &Network,
    settings: &SplitterSettings,
    roles: &Roles,
) -> Result<Option<PortOrderFinding>, SplitterError> {
    let given = &settings.roles;
    if given.input.is_none() && given.outputs.is_none() && given.isolated.is_none() {
        return Ok(None);
    }
    let kind = given.kind.filter(|_| given.nominal_deg.is_none());
    let own = PortRoles { input: roles.input, outputs: roles.outputs, isolated: roles.isolated };
    match port_order_finding(scattering, kind, &own) {
        Some(found) if found.is_meaningless && found.likely.is_some() => {
            Err(SplitterError::PortOrder { text: found.text(|port| format!("port {port}")) })
        }
        found => Ok(found),
    }
}

/// The scattering matrices of a splitter over the band of the settings, in the network's reference
/// impedances, with which [`analyse`] starts.
///
/// # Errors
/// [`SplitterError::BandOutsideData`]; [`SplitterError::Network`] for a mixed-mode network or one
/// that cannot be converted.
///
/// # Examples
/// ```
/// use fourphase::component::{IdealSplit, ideal_divider};
/// use fourphase::network::FrequencyGrid;
/// use fourphase::splitter::{SplitterSettings, scattering_over_band};
///
/// let divider = ideal_divider(&FrequencyGrid::linear(24e9, 34e9, 11)?, &IdealSplit::default())?;
/// let settings = SplitterSettings { band_hz: Some((27e9, 31e9)), ..SplitterSettings::default() };
/// assert_eq!(scattering_over_band(&divider, &settings)?.grid().len(), 5);
/// # Ok::<(), Box<dyn std::error::Error>>(())
/// ```
pub fn scattering_over_band(
    network: &Network,
    settings: &SplitterSettings,
) -> Result<Network, SplitterError> {
    if network.modes().is_some() {
        return Err(NetworkError::MixedMode.into());
    }
    let (banded, _) = restrict(network, settings.band_hz, &mut Vec::new())?;
    Ok(convert(&banded, ParameterKind::Scattering)?)
}

/// The channel errors of a splitter with known roles at each frequency point, nepers and radians,
/// from the scattering matrices of [`scattering_over_band`]. It is a small part of the work of
/// [`analyse`], for uncertainties, which need it often.
///
/// # Errors
/// [`SplitterError::NoSignal`] for an output without signal; [`SplitterError::Network`] for a role at
/// a port that the network does not have, and for reference impedances or loads that cannot be.
///
/// # Examples
/// ```
/// use fourphase::component::{IdealSplit, ideal_divider};
/// use fourphase::network::FrequencyGrid;
/// use fourphase::splitter::{SplitterSettings, analyse, channel_errors};
///
/// let divider = ideal_divider(&FrequencyGrid::linear(24e9, 34e9, 11)?, &IdealSplit::default())?;
/// let settings = SplitterSettings {
///     roles: fourphase::splitter::GivenRoles {
///         input: fourphase::network::Port::from_number(1),
///         ..Default::default()
///     },
///     ..SplitterSettings::default()
/// };
/// let result = analyse(&divider, &settings)?;
/// let errors = channel_errors(&divider, &settings, &result.roles)?;
/// assert_eq!(errors[0], result.points[0].channel_error);
/// # Ok::<(), Box<dyn std::error::Error>>(())
/// ```
pub fn channel_errors(
    scattering: &Network,
    settings: &SplitterSettings,
    roles: &Roles,
) -> Result<Vec<Complex64>, SplitterError> {
    for port in [roles.input, roles.outputs[0], roles.outputs[1]] {
        scattering.check_port(port)?;
    }
    let solved = solved(scattering, settings)?;
    (0..solved.grid().len())
        .map(|point| Ok(output_waves(&solved, point, roles)?.channel_error))
        .collect()
}

/// The network in the reference impedances and with the loads of the settings.
fn solved<'n>(
    scattering: &'n Network,
    settings: &SplitterSettings,
) -> Result<Cow<'n, Network>, SplitterError> {
    let mut solved = Cow::Borrowed(scattering);
    if !settings.references_ohm.is_empty() {
        let references = settings.references_ohm.clone();
        solved = Cow::Owned(change_reference(scattering, references, WaveDefinition::Kurokawa)?);
    }
    if !settings.loads.is_empty() {
        solved = Cow::Owned(close_ports(&solved, &settings.loads)?);
    }
    Ok(solved)
}

/// The network over the band, with its ends interpolated if the data have no point there.
fn restrict(
    network: &Network,
    band_hz: Option<(f64, f64)>,
    warnings: &mut Vec<String>,
) -> Result<(Network, (f64, f64)), SplitterError> {
    let grid = network.grid();
    let data_hz = (grid.first_hz(), grid.last_hz());
    let Some((low_hz, high_hz)) = band_hz else { return Ok((network.clone(), data_hz)) };
    if low_hz < data_hz.0 || high_hz > data_hz.1 || low_hz > high_hz {
        return Err(SplitterError::BandOutsideData { band_hz: (low_hz, high_hz), data_hz });
    }
    let inside = grid.as_hz().iter().copied().filter(|&hz| hz > low_hz && hz < high_hz);
    let mut points_hz: Vec<f64> =
        std::iter::once(low_hz).chain(inside).chain(std::iter::once(high_hz)).collect();
    points_hz.dedup();
    let interpolated = onto_grid(network, &FrequencyGrid::from_hz(points_hz)?)?;
    let on_grid = |hz: f64| grid.as_hz()[grid.nearest(hz)].total_cmp(&hz).is_eq();
    if !(on_grid(low_hz) && on_grid(high_hz)) {
        warnings.push(
            "the data have no point at an end of the band; it is interpolated there".to_owned(),
        );
        if let Some(step) = interpolated.unsafe_step {
            warnings.push(step.to_string());
        }
    }
    Ok((interpolated.network, (low_hz, high_hz)))
}

fn summarise(
    points: &[SplitterPoint],
    band_hz: (f64, f64),
    centre: usize,
    roles: &Roles,
) -> Summary {
    // The first of the points with the maximum badness; a grid has at least one point.
    let worst = |value: &dyn Fn(&SplitterPoint) -> f64, badness: &dyn Fn(f64) -> f64| {
        let mut found = WorstAt { value: value(&points[0]), frequency_hz: points[0].frequency_hz };
        for point in &points[1..] {
            if badness(value(point)) > badness(found.value) {
                found = WorstAt { value: value(point), frequency_hz: point.frequency_hz };
            }
        }
        found
    };
    let smallest = |value: f64| -value;
    let largest = |value: f64| value;
    let isolations = points.iter().filter_map(|point| {
        point.isolation_db.map(|value| WorstAt { value, frequency_hz: point.frequency_hz })
    });
    let difference_deg = points[centre].phase_difference_deg;
    Summary {
        band_hz,
        worst_rejection: worst(&|point| point.rejection_db, &smallest),
        worst_phase_error_deg: worst(&|point| point.phase_error_deg, &f64::abs),
        worst_amplitude_imbalance_db: worst(&|point| point.amplitude_imbalance_db, &f64::abs),
        worst_excess_loss_db: worst(&|point| point.excess_loss_db, &largest),
        worst_isolation_db: isolations.min_by(|one, other| one.value.total_cmp(&other.value)),
        worst_output_isolation_db: worst(&|point| point.output_isolation_db, &smallest),
        worst_input_return_loss_db: worst(&|point| point.input_return_loss_db, &smallest),
        leading_output: (roles.kind == SplitterKind::Quadrature)
            .then(|| roles.outputs[usize::from(difference_deg > 0.0)]),
    }
}
