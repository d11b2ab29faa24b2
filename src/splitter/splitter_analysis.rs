//! A splitter analysed: the quantities at each frequency, their worst values, and the limits kept.

use super::error::SplitterError;
use super::imbalance::{SplitterPoint, output_waves, read_point};
use super::roles::{GivenRoles, Roles, find_roles};
use super::splitter_compliance::{check_limits, compliance};
use super::splitter_kind::SplitterKind;
use crate::network::{
    FrequencyGrid, Load, Network, NetworkError, ParameterKind, Port, WaveDefinition,
    change_reference, close_ports, convert, onto_grid,
};
use crate::requirement::{Compliance, Limits};
use num_complex::Complex64;
use std::borrow::Cow;

/// How a splitter is to be looked at.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct SplitterSettings {
    /// Kind and roles as far as they are given.
    pub roles: GivenRoles,
    /// The band, in hertz; all of the data if absent.
    pub band_hz: Option<(f64, f64)>,
    /// References to move to first: none, one for all ports, or one per port.
    pub references_ohm: Vec<Complex64>,
    /// What ports other than input and outputs are closed by; their references otherwise.
    pub loads: Vec<(Port, Load)>,
    /// The limits that the splitter must keep over the band.
    pub limits: Limits,
}

/// A worst value and where it stands.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct WorstAt {
    /// The value.
    pub value: f64,
    /// Where, in hertz.
    pub frequency_hz: f64,
}

/// Worst values over the band.
#[derive(Clone, Debug, PartialEq)]
pub struct Summary {
    /// The band they hold for, in hertz.
    pub band_hz: (f64, f64),
    /// The smallest rejection.
    pub worst_rejection: WorstAt,
    /// The phase error of largest magnitude, with its sign.
    pub worst_phase_error_deg: WorstAt,
    /// The amplitude imbalance of largest magnitude, with its sign.
    pub worst_amplitude_imbalance_db: WorstAt,
    /// The largest excess loss.
    pub worst_excess_loss_db: WorstAt,
    /// The smallest isolation, where there is an isolated port.
    pub worst_isolation_db: Option<WorstAt>,
    /// The smallest isolation between the outputs.
    pub worst_output_isolation_db: WorstAt,
    /// The smallest return loss of the input.
    pub worst_input_return_loss_db: WorstAt,
    /// Which output leads at band centre, where one does.
    pub leading_output: Option<Port>,
}

/// A splitter analysed.
#[derive(Clone, Debug, PartialEq)]
pub struct SplitterResult {
    /// Kind and roles.
    pub roles: Roles,
    /// Every point of the band; its ends are interpolated where no point lies there.
    pub points: Vec<SplitterPoint>,
    /// Worst values.
    pub summary: Summary,
    /// How far the limits are kept.
    pub compliance: Compliance,
    /// What the user should know about the data.
    pub warnings: Vec<String>,
}

/// Analyses a splitter.
///
/// The network may hold any parameter. It is moved to `references_ohm` (power waves) and the loads
/// are solved into it before anything is read off. With complex references the phases are those of
/// power waves.
///
/// # Errors
/// See [`SplitterError`]: contradicting or ambiguous roles, a band outside the data, an output
/// without signal, a mixed-mode network, requirements that do not apply.
pub fn analyse(
    network: &Network,
    settings: &SplitterSettings,
) -> Result<SplitterResult, SplitterError> {
    if network.modes().is_some() {
        return Err(NetworkError::MixedMode.into());
    }
    let mut warnings = Vec::new();
    let (banded, band_hz) = restrict(network, settings.band_hz, &mut warnings)?;
    let scattering = convert(&banded, ParameterKind::Scattering)?;
    let solved = solved(&scattering, settings)?;
    let closed: Vec<Port> = settings.loads.iter().map(|(port, _)| *port).collect();

    let points = solved.grid().len();
    let centre = solved.grid().nearest(0.5 * (band_hz.0 + band_hz.1));
    // Far from the middle of a wide sweep a part is no longer what it is made for.
    let middle = centre.saturating_sub(points / 10)..(centre + points / 10 + 1).min(points);
    let roles = find_roles(&solved, &settings.roles, middle, centre, &closed)?;
    check_limits(&settings.limits, roles.kind)?;
    let points = (0..points)
        .map(|point| read_point(&solved, point, &roles, &closed))
        .collect::<Result<Vec<_>, _>>()?;
    let summary = summarise(&points, band_hz, centre, &roles);
    let compliance = compliance(&settings.limits, &points);
    Ok(SplitterResult { roles, points, summary, compliance, warnings })
}

/// The scattering matrices of a splitter over the band to judge, in the file's references: what
/// [`analyse`] starts from.
///
/// # Errors
/// As [`analyse`].
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

/// The channel errors of a splitter whose roles are known, point after point, from its scattering
/// matrices over the band: a small part of the work of [`analyse`], for those who look at many.
///
/// # Errors
/// As [`analyse`].
pub fn channel_errors(
    scattering: &Network,
    settings: &SplitterSettings,
    roles: &Roles,
) -> Result<Vec<Complex64>, SplitterError> {
    let solved = solved(scattering, settings)?;
    (0..solved.grid().len())
        .map(|point| Ok(output_waves(&solved, point, roles)?.channel_error))
        .collect()
}

/// In the references and with the loads asked for.
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

/// The network over the band, with its ends interpolated where no point lies there.
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
        warnings.push("no point lies at an end of the band; it is interpolated there".to_owned());
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
    // The point with the largest badness, first of equals; there is always a point.
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
    let input = roles.input.index();
    let difference_deg = points[centre].phase_difference_deg;
    Summary {
        band_hz,
        worst_rejection: worst(&|point| point.rejection_db, &smallest),
        worst_phase_error_deg: worst(&|point| point.phase_error_deg, &f64::abs),
        worst_amplitude_imbalance_db: worst(&|point| point.amplitude_imbalance_db, &f64::abs),
        worst_excess_loss_db: worst(&|point| point.excess_loss_db, &largest),
        worst_isolation_db: roles
            .isolated
            .map(|_| worst(&|point| point.isolation_db.unwrap_or(f64::INFINITY), &smallest)),
        worst_output_isolation_db: worst(&|point| point.output_isolation_db, &smallest),
        worst_input_return_loss_db: worst(
            &|point| point.return_loss_db[input].unwrap_or(f64::INFINITY),
            &smallest,
        ),
        leading_output: (roles.kind == SplitterKind::Quadrature)
            .then(|| roles.outputs[usize::from(difference_deg > 0.0)]),
    }
}
