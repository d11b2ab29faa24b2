//! Receivers for tests: the demo, a simple one of closed-form parts, and their solutions.

use crate::harness::{Sandbox, project};
use fourphase::description::read_receiver;
use fourphase::downconverter::{DownconverterResult, Receiver, analyse_receiver};
use fourphase::touchstone::ReadOptions;
use num_complex::Complex64;

/// The demo's description.
pub(crate) fn demo() -> String {
    std::fs::read_to_string(project("data-demo/receiver.toml")).unwrap()
}

/// Loads and solves a description whose files are in the sandbox.
pub(crate) fn solve_in(sandbox: &Sandbox, text: &str) -> (Receiver, DownconverterResult) {
    sandbox.write("under-test.toml", text);
    let loaded = read_receiver(&sandbox.path("under-test.toml"), &ReadOptions::default())
        .unwrap_or_else(|error| panic!("{}", error.diagnostic().render(false)));
    let result = analyse_receiver(&loaded.receiver).unwrap();
    (loaded.receiver, result)
}

/// Loads and solves a description with the demo's files.
pub(crate) fn solve(text: &str) -> (Receiver, DownconverterResult) {
    solve_in(&Sandbox::with_demo(), text)
}

/// The impedance of a reflection at 50 ohm.
pub(crate) fn impedance(reflection: Complex64) -> Complex64 {
    50.0 * (1.0 + reflection) / (1.0 - reflection)
}

/// A complex number as TOML has it.
pub(crate) fn pair(value: Complex64) -> String {
    format!("[{:?}, {:?}]", value.re, value.im)
}

pub(crate) fn worst_db(result: &DownconverterResult) -> f64 {
    result.summary.worst.balance.image_rejection_db
}

/// A receiver of closed-form parts: hybrid, one mixer per channel, divider.
pub(crate) struct Simple {
    pub(crate) hybrid: &'static str,
    pub(crate) mixer_ohm: [Complex64; 2],
    pub(crate) isolated_ohm: Complex64,
    pub(crate) lo_lines_deg: [f64; 2],
    pub(crate) rf_lines_deg: [f64; 2],
    pub(crate) sideband: &'static str,
    pub(crate) channels: [&'static str; 2],
    pub(crate) extra: &'static str,
}

impl Default for Simple {
    fn default() -> Self {
        Self {
            hybrid: r#"{ kind = "quadrature_hybrid" }"#,
            mixer_ohm: [50.0.into(); 2],
            isolated_ohm: 50.0.into(),
            lo_lines_deg: [30.0; 2],
            rf_lines_deg: [20.0; 2],
            sideband: "upper",
            channels: ["i", "q"],
            extra: "",
        }
    }
}

impl Simple {
    /// The description.
    pub(crate) fn text(&self) -> String {
        let Self { hybrid, sideband, extra, .. } = self;
        let [lo_i_deg, lo_q_deg] = self.lo_lines_deg;
        let [rf_i_deg, rf_q_deg] = self.rf_lines_deg;
        let [i, q] = self.channels;
        let [i_ohm, q_ohm] = self.mixer_ohm.map(pair);
        let isolated_ohm = pair(self.isolated_ohm);
        format!(
            r#"
lo_input = "hybrid.in"
rf_input = "divider.in"
{extra}
joins = [
    "hybrid.a -- lo_i.1",
    "hybrid.b -- lo_q.1",
    "divider.i -- rf_i.1",
    "divider.q -- rf_q.1",
]
[frequency_plan]
lo_ghz = {{ from = 28, to = 30, points = 5 }}
if_ghz = [0.5, 1]
wanted_sideband = "{sideband}"
lo_power_dbm = 10
[[block]]
name = "hybrid"
component = {hybrid}
ports = ["in", "a", "b", "isolated"]
[[block]]
name = "divider"
component = {{ kind = "divider" }}
ports = ["in", "i", "q"]
[[block]]
name = "lo_i"
pair = "lo lines"
component = {{ kind = "line", impedance_ohm = 50, center_ghz = 29, angle_deg = {lo_i_deg:?} }}
[[block]]
name = "lo_q"
pair = "lo lines"
component = {{ kind = "line", impedance_ohm = 50, center_ghz = 29, angle_deg = {lo_q_deg:?} }}
[[block]]
name = "rf_i"
pair = "rf lines"
component = {{ kind = "line", impedance_ohm = 50, center_ghz = 29, angle_deg = {rf_i_deg:?} }}
[[block]]
name = "rf_q"
pair = "rf lines"
component = {{ kind = "line", impedance_ohm = 50, center_ghz = 29, angle_deg = {rf_q_deg:?} }}
[[load]]
at = "hybrid.isolated"
ohm = {isolated_ohm}
[[load]]
at = "lo_i.2"
ohm = {i_ohm}
[[load]]
at = "lo_q.2"
ohm = {q_ohm}
[[load]]
at = "rf_i.2"
ohm = 50
[[load]]
at = "rf_q.2"
ohm = 50
[[mixer]]
name = "i"
channel = "{i}"
lo = "lo_i.2"
rf = "rf_i.2"
[[mixer]]
name = "q"
channel = "{q}"
lo = "lo_q.2"
rf = "rf_q.2"
"#
        )
    }

    pub(crate) fn solved(&self) -> (Receiver, DownconverterResult) {
        solve_in(&Sandbox::new(), &self.text())
    }
}
