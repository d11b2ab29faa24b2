//! Components made by the name of their kind and named parameters.

use super::catalogue::KINDS;
use super::dimensions::Dimensions;
use super::error::ComponentError;
use super::kind::{ComponentKind, Part};
use super::microstrip::Substrate;
use super::parameter_value::GivenParameter;
use super::renamed::kind_now;
use crate::network::{FrequencyGrid, Network};

/// A component of a named kind with checked parameters.
///
/// # Examples
/// ```
/// use fourphase::component::{NamedComponent, parse_parameters};
/// use fourphase::network::FrequencyGrid;
///
/// let divider = NamedComponent::new("wilkinson", &parse_parameters(&["center_ghz=29"])?)?;
/// let network = divider.network(&FrequencyGrid::linear(24e9, 34e9, 11)?)?;
/// assert_eq!(network.ports(), 3);
/// let arm = &divider.dimensions(None)?.list[0];
/// assert_eq!(arm.name, "stage_1_impedance_ohm");
/// assert!((arm.value - 70.7).abs() < 0.1);
/// # Ok::<(), Box<dyn std::error::Error>>(())
/// ```
#[derive(Debug)]
pub struct NamedComponent {
    kind: &'static ComponentKind,
    part: Box<dyn Part>,
}

impl NamedComponent {
    /// Makes a component of a kind of [`KINDS`]. All parameters are checked here.
    ///
    /// # Errors
    /// [`ComponentError`] for a wrong kind or parameter; [`ComponentError::parameter`] names the
    /// parameter.
    pub fn new(kind: &str, given: &[GivenParameter]) -> Result<Self, ComponentError> {
        let kind = find(kind)?;
        let made = Self { kind, part: (kind.part)(given)? };
        // Computing the network once, at any frequency, checks the parameters against each other.
        made.network(&FrequencyGrid::from_hz(vec![1e9])?)?;
        Ok(made)
    }

    /// The kind of the component.
    #[must_use]
    pub fn kind(&self) -> &'static ComponentKind {
        self.kind
    }

    /// The network on a grid, in 50 ohm, with the ports of the kind.
    ///
    /// # Errors
    /// [`ComponentError`] where the network cannot be made at a frequency.
    pub fn network(&self, grid: &FrequencyGrid) -> Result<Network, ComponentError> {
        self.part.network(grid)
    }

    /// The dimensions for a layout; the list is empty for kinds without any. On a substrate lines
    /// get widths, gaps and lengths.
    ///
    /// # Errors
    /// [`ComponentError`] for a substrate with a parameter out of range.
    pub fn dimensions(&self, substrate: Option<&Substrate>) -> Result<Dimensions, ComponentError> {
        self.part.dimensions(substrate)
    }
}

fn find(name: &str) -> Result<&'static ComponentKind, ComponentError> {
    KINDS.iter().find(|kind| kind.name == name).ok_or_else(|| match kind_now(name) {
        Some(now) => ComponentError::RenamedKind { kind: name.to_owned(), now },
        None => ComponentError::UnknownKind {
            kind: name.to_owned(),
            known: KINDS.iter().map(|kind| kind.name).collect(),
        },
    })
}
