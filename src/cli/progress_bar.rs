//! The progress of a long run, as a bar on the terminal.

use super::console::Console;
use crate::batch::{Progress, Work};
use indicatif::{ProgressBar, ProgressState, ProgressStyle};
use std::fmt::Write;
use std::sync::{Mutex, PoisonError};
use std::time::Duration;

/// A bar for each work of a run, in turn; nothing where progress is not to be shown.
pub(super) struct Bar {
    is_shown: bool,
    current: Mutex<Option<(Work, ProgressBar)>>,
}

impl Bar {
    pub(super) fn new(console: &Console) -> Self {
        Self { is_shown: console.shows_progress(), current: Mutex::new(None) }
    }

    /// Shows how far a run is.
    pub(super) fn show(&self, progress: Progress) {
        if !self.is_shown {
            return;
        }
        let mut current = self.current.lock().unwrap_or_else(PoisonError::into_inner);
        match &*current {
            Some((work, bar)) if *work == progress.work => {
                bar.set_length(progress.total);
                bar.set_position(progress.done);
            }
            earlier => {
                if let Some((_, bar)) = earlier {
                    bar.finish_and_clear();
                }
                *current = Some((progress.work, begun(progress)));
            }
        }
    }

    /// Prints something while the bar is away.
    pub(super) fn beside(&self, print: impl FnOnce()) {
        let current = self.current.lock().unwrap_or_else(PoisonError::into_inner);
        match &*current {
            Some((_, bar)) => bar.suspend(print),
            None => print(),
        }
    }
}

impl Drop for Bar {
    fn drop(&mut self) {
        let current = self.current.get_mut().unwrap_or_else(PoisonError::into_inner);
        if let Some((_, bar)) = current {
            bar.finish_and_clear();
        }
    }
}

fn begun(progress: Progress) -> ProgressBar {
    let bar = ProgressBar::new(progress.total);
    let unit = match progress.work {
        Work::Measuring => "dies",
        Work::Assembling => "receivers",
        Work::Rebuilding => "frequencies",
        Work::Files => "files",
        Work::Trials => "trials",
        Work::Points => "points",
    };
    let template = format!("{{bar:32}} {{pos}}/{{len}} {unit}, {{rate}}, {{eta}} left");
    if let Ok(style) = ProgressStyle::with_template(&template) {
        bar.set_style(style.with_key("rate", |state: &ProgressState, to: &mut dyn Write| {
            let rate = state.per_sec();
            let places = if rate < 10.0 { 1 } else { 0 };
            // A line that cannot be drawn is drawn at the next step.
            let _ = write!(to, "{rate:.places$}/s");
        }));
    }
    bar.enable_steady_tick(Duration::from_millis(200));
    bar.set_position(progress.done);
    // What an earlier run has done says nothing about the speed of this one.
    bar.reset_eta();
    bar
}
