//! A kind of component: the content of a row of the catalogue, and the form of the row.

use super::dimensions::{DimensionList, Dimensions};
use super::error::ComponentError;
use super::microstrip::Substrate;
use super::parameter::Parameter;
use super::parameter_value::GivenParameter;
use crate::network::{FrequencyGrid, Network};
use std::fmt;

/// Makes a part from its parameters as given.
pub(super) type MakePart = fn(&[GivenParameter]) -> Result<Box<dyn Part>, ComponentError>;

/// A kind of component.
#[derive(Clone, Copy, Debug)]
pub struct ComponentKind {
    pub(super) name: &'static str,
    pub(super) summary: &'static str,
    pub(super) ports: &'static [&'static str],
    pub(super) parameters: &'static [Parameter],
    pub(super) example: &'static str,
    pub(super) part: MakePart,
}

impl ComponentKind {
    /// The name of the kind, such as `wilkinson`.
    #[must_use]
    pub fn name(&self) -> &'static str {
        self.name
    }

    /// A description in a few words.
    #[must_use]
    pub fn summary(&self) -> &'static str {
        self.summary
    }

    /// The roles of its ports 1, 2, .. in order.
    #[must_use]
    pub fn ports(&self) -> &'static [&'static str] {
        self.ports
    }

    /// The parameters of the kind.
    #[must_use]
    pub fn parameters(&self) -> &'static [Parameter] {
        self.parameters
    }

    /// Parameters of an example, as `NAME=VALUE` separated by spaces.
    #[must_use]
    pub fn example(&self) -> &'static str {
        self.example
    }
}

/// A component with its parameters read.
pub(super) trait Part: fmt::Debug + Send + Sync {
    /// Its network in 50 ohm.
    fn network(&self, grid: &FrequencyGrid) -> Result<Network, ComponentError>;
    /// Its dimensions; on a substrate those of its lines too.
    fn dimensions(&self, substrate: Option<&Substrate>) -> Result<Dimensions, ComponentError>;
}

type NetworkOf<T> = fn(&FrequencyGrid, &T) -> Result<Network, ComponentError>;
type DimensionsOf<T> = fn(&T, &mut DimensionList<'_>) -> Result<(), ComponentError>;

/// The parameters of a component's function, with the function and the dimensions.
struct Described<T> {
    part: T,
    network: NetworkOf<T>,
    dimensions: DimensionsOf<T>,
}

/// A component from the parameters of its function, that function, and its dimensions.
pub(super) fn described<T: fmt::Debug + Send + Sync + 'static>(
    part: Result<T, ComponentError>,
    network: NetworkOf<T>,
    dimensions: DimensionsOf<T>,
) -> Result<Box<dyn Part>, ComponentError> {
    Ok(Box::new(Described { part: part?, network, dimensions }))
}

impl<T: fmt::Debug> fmt::Debug for Described<T> {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        self.part.fmt(f)
    }
}

impl<T: fmt::Debug + Send + Sync> Part for Described<T> {
    fn network(&self, grid: &FrequencyGrid) -> Result<Network, ComponentError> {
        (self.network)(grid, &self.part)
    }

    fn dimensions(&self, substrate: Option<&Substrate>) -> Result<Dimensions, ComponentError> {
        let mut list = DimensionList::new(substrate);
        (self.dimensions)(&self.part, &mut list)?;
        Ok(list.into_dimensions())
    }
}

/// A structure of parameters, `name: Rule` or `name: Rule = default`, that can be read from given
/// parameters. Each field has the type of its rule's value.
macro_rules! parameters {
    (struct $values:ident {
        $($parameter:ident: $rule:ty $(= $default:expr)?),* $(,)?
    }) => {
        #[derive(Debug)]
        struct $values {
            $($parameter: <$rule as Rule>::Value,)*
        }

        impl $values {
            const LIST: &'static [Parameter] = &[$(Parameter {
                name: stringify!($parameter),
                is_required: || {
                    let default: Option<<$rule as Rule>::Value> =
                        parameters!(@default $($default)?);
                    default.or(<$rule as Rule>::ABSENT).is_none()
                },
                usage: || <$rule as Rule>::usage(
                    stringify!($parameter),
                    parameters!(@default $($default)?),
                ),
            },)*];

            fn read(
                of: &'static str,
                given: &[GivenParameter],
            ) -> Result<Self, ComponentError> {
                #[allow(unused_variables, reason = "a kind may take no parameters")]
                let given = Given::new(of, Self::LIST, given)?;
                Ok(Self {
                    $($parameter: given.value::<$rule>(
                        stringify!($parameter),
                        parameters!(@default $($default)?),
                    )?,)*
                })
            }
        }
    };
    (@default) => { None };
    (@default $default:expr) => { Some($default) };
}

/// A row of the catalogue:
///
/// ```text
/// kind! {
///     "name": "what it is",
///     ports: ["role of port 1", ..],
///     parameters: { name_unit: Rule, name_unit: Rule = default, .. },
///     example: "name_unit=value",
///     part: |p| parameters of the component's function from the values p, a Result,
///     network: the component's function, of a grid and those parameters,
///     dimensions: |part, list| what to add to the list of dimensions, a Result,
/// }
/// ```
///
/// `dimensions` is omitted for a component without any.
macro_rules! kind {
    (
        $name:literal: $summary:literal,
        ports: $ports:expr,
        parameters: { $($parameters:tt)* },
        example: $example:literal,
        part: |$p:ident| $part:expr,
        network: $network:expr,
        $(dimensions: |$built:ident, $list:ident| $dimensions:expr,)?
    ) => {{
        parameters! { struct Values { $($parameters)* } }
        ComponentKind {
            name: $name,
            summary: $summary,
            ports: &$ports,
            parameters: Values::LIST,
            example: $example,
            part: |given| {
                let $p = Values::read($name, given)?;
                described($part, $network, kind!(@dimensions $(|$built, $list| $dimensions)?))
            },
        }
    }};
    (@dimensions) => { |_, _| Ok(()) };
    (@dimensions |$built:ident, $list:ident| $dimensions:expr) => {
        |$built, $list| $dimensions
    };
}

pub(super) use {kind, parameters};
