//! The texts about a run that tables, documents and pictures share.

use super::lot_result::LotResult;
use super::retest::RetestPolicy;
use super::settings::LotSettings;
use super::what_if::WhatIf;
use crate::requirement::{Limit, Quantity};
use crate::units::{shown_band, shown_frequencies};

/// The subject of a run.
#[derive(Clone, Copy, Debug)]
pub struct LotHeading<'a> {
    /// The title, if one is given.
    pub given_title: Option<&'a str>,
    /// The name of its recipe's file.
    pub file: &'a str,
    /// What was measured, how and against which limits.
    pub settings: &'a LotSettings,
    /// The combination of I and Q, for receivers.
    pub combination: Option<&'a str>,
    /// The IFs of receivers, Hz.
    pub if_hz: &'a [f64],
    /// The RF band that limits the plan of receivers, Hz.
    pub rf_band_hz: Option<(f64, f64)>,
    /// Columns of the list of dies that name files.
    pub file_columns: &'a [String],
    /// Columns of the list of dies that are carried through.
    pub carried_columns: &'a [String],
}

impl LotHeading<'_> {
    /// The title, or a description of what is measured.
    #[must_use]
    pub fn title(&self) -> String {
        self.given_title.map_or_else(|| self.file_columns.join(", "), str::to_owned)
    }

    /// The word for frequencies: `LO` or `frequency`.
    #[must_use]
    pub fn frequency_word(&self) -> &'static str {
        self.settings.subject().frequency_word()
    }

    /// The rejection that is limited: of the image or of the common mode.
    #[must_use]
    pub fn rejection(&self) -> Quantity {
        self.settings.subject().rejection()
    }

    /// `, image sideband` for receivers, whose mean errors and trends refer to that sideband.
    #[must_use]
    pub fn of_image_sideband(&self) -> &'static str {
        if self.combination.is_some() { ", image sideband" } else { "" }
    }

    /// `LO 27 to 31 GHz (41), IF 0.5 to 1.5 GHz (3)`.
    #[must_use]
    pub fn frequencies(&self, result: &LotResult) -> String {
        let mut text = match result.curves.all_hz.as_slice() {
            [] => "nothing measured".to_owned(),
            list => format!("{} {}", self.frequency_word(), shown_frequencies(list)),
        };
        if !self.if_hz.is_empty() {
            text.push_str(", IF ");
            text.push_str(&shown_frequencies(self.if_hz));
        }
        if let Some(band) = self.rf_band_hz {
            text.push_str(", wanted RF within ");
            text.push_str(&shown_band(band));
        }
        text
    }

    /// `retest rule: last`.
    #[must_use]
    pub fn retests(&self) -> String {
        match self.settings.retests() {
            RetestPolicy::All => "retest rule: all".to_owned(),
            policy => format!("retest rule: {}", policy.name()),
        }
    }

    /// `notch down, die x to the right, die y up`; empty without a map.
    #[must_use]
    pub fn axes(&self) -> String {
        self.settings.map().map_or_else(String::new, |map| {
            let map = map.geometry;
            let (notch, x, y) = (map.notch().name(), map.x_axis().name(), map.y_axis().name());
            format!("notch {notch}, die x increases {x}, die y {y}")
        })
    }

    /// `image rejection >= 28 dB, |phase error| <= 3 deg`; empty without limits.
    #[must_use]
    pub fn limits(&self, result: &LotResult) -> String {
        let text = |limit: Limit| {
            let quantity = limit.quantity();
            let (label, sign) = (quantity.limited(), quantity.direction().sign());
            format!("{label} {sign} {} {}", limit.value(), quantity.unit())
        };
        result.limits.iter().map(text).collect::<Vec<_>>().join(", ")
    }

    /// The text of a further question.
    #[must_use]
    pub fn what_if(&self, what_if: &WhatIf) -> String {
        let frequency = self.frequency_word();
        match what_if {
            WhatIf::AsMeasured => "as measured".to_owned(),
            WhatIf::CorrectionPerWafer => "one I/Q correction for each wafer".to_owned(),
            WhatIf::CorrectionPerWaferAndFrequency => {
                format!("one for each wafer and {frequency}")
            }
            WhatIf::CorrectionPerDie => "one for each die".to_owned(),
            WhatIf::CorrectionPerDieAndFrequency => format!("one for each die and {frequency}"),
            WhatIf::Ideal { block } => format!("{block} if ideal"),
            WhatIf::Assembled { count } => {
                format!("{count} receivers of blocks from different dies")
            }
        }
    }
}
