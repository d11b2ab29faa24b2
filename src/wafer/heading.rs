//! What a run is about, in the words that tables, documents and pictures share.

use super::collect::LotResult;
use super::recipe::Recipe;
use crate::requirement::Quantity;
use crate::units::shown_frequencies;

/// What a run is about.
#[derive(Clone, Copy, Debug)]
pub struct LotHeading<'a> {
    /// The recipe.
    pub recipe: &'a Recipe,
    /// How I and Q are put together on every die of receivers.
    pub combination: Option<&'a str>,
    /// The IFs of receivers, Hz.
    pub if_hz: &'a [f64],
    /// The manifest's columns that name files.
    pub file_columns: &'a [String],
    /// What frequencies are called: `LO` or `frequency`.
    pub frequency_word: &'static str,
    /// The rejection that is judged: of image or of common mode.
    pub rejection: Quantity,
}

impl LotHeading<'_> {
    /// The title, or what is measured.
    #[must_use]
    pub fn title(&self) -> String {
        self.recipe.title.clone().unwrap_or_else(|| self.file_columns.join(", "))
    }

    /// `LO 27 to 31 GHz (41), IF 0.5 to 1.5 GHz (3)`.
    #[must_use]
    pub fn frequencies(&self, result: &LotResult) -> String {
        let mut text = match result.curves.all_hz.as_slice() {
            [] => "nothing measured".to_owned(),
            list => format!("{} {}", self.frequency_word, shown_frequencies(list)),
        };
        if !self.if_hz.is_empty() {
            text.push_str(", IF ");
            text.push_str(&shown_frequencies(self.if_hz));
        }
        text
    }

    /// `retests: the last counts`.
    #[must_use]
    pub fn retests(&self) -> String {
        use super::RetestPolicy::{All, Best, First, Last};
        match self.recipe.retests {
            policy @ (First | Last | Best) => {
                format!("of several touchdowns the {} counts", policy.name())
            }
            All => "every touchdown counts".to_owned(),
        }
    }

    /// `notch down, x right, y up`.
    #[must_use]
    pub fn axes(&self) -> Option<String> {
        let map = self.recipe.map?;
        let (notch, x, y) = (map.notch.name(), map.x_axis.name(), map.y_axis.name());
        Some(format!("notch {notch}, die x grows {x}, die y {y}"))
    }

    /// `image rejection >= 28 dB, phase error <= 3 deg`; empty without limits.
    #[must_use]
    pub fn limits(&self, result: &LotResult) -> String {
        let texts: Vec<String> = result
            .limits
            .iter()
            .map(|limit| {
                let quantity = limit.quantity();
                let (label, sign) = (quantity.label(), quantity.direction().sign());
                format!("{label} {sign} {} {}", limit.value(), quantity.unit())
            })
            .collect();
        texts.join(", ")
    }
}
