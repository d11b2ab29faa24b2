//! Blocks and loads as text.

use super::folder_parts::FolderPart;
use std::fmt::Write as _;

/// A block to be written.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) struct PartText {
    pub(super) name: String,
    /// The line that says what it is made from.
    made_from: String,
    /// The names of its ports.
    pub(super) ports: Vec<String>,
    /// Those of them that nothing of the description meets.
    pub(super) left_over: Vec<String>,
    pub(super) pair: Option<&'static str>,
}

/// The names that the ports of a splitter get: input, two outputs, isolated.
pub(super) const SPLIT: [&str; 4] = ["in", "out_i", "out_q", "isolated"];
/// The same for a balun.
pub(super) const BALANCED: [&str; 4] = ["in", "plus", "minus", "isolated"];

impl PartText {
    /// A closed-form component, its ports named in their order.
    pub(super) fn component(name: &str, component: &str, ports: &[&str]) -> Self {
        let left_over = ports.iter().filter(|port| **port == SPLIT[3]);
        Self {
            name: name.to_owned(),
            made_from: format!("component = {component}"),
            left_over: left_over.map(|port| (*port).to_owned()).collect(),
            ports: ports.iter().map(|port| (*port).to_owned()).collect(),
            pair: None,
        }
    }

    /// A file whose ports are named by the roles that its data show.
    pub(super) fn splitter(name: &str, part: &FolderPart, names: [&str; 4]) -> Self {
        let mut ports: Vec<String> = (1..=part.ports()).map(|port| format!("p{port}")).collect();
        let mut left_over = ports.clone();
        if let Some(roles) = &part.roles {
            let named =
                [Some(roles.input), Some(roles.outputs[0]), Some(roles.outputs[1]), roles.isolated];
            for (port, name) in named.into_iter().zip(names) {
                if let Some(port) = port {
                    name.clone_into(&mut ports[port.index()]);
                }
            }
            left_over =
                ports.iter().filter(|port| !names[..3].contains(&port.as_str())).cloned().collect();
        }
        Self { left_over, ..Self::file(name, part, ports) }
    }

    /// A two-port, from 1 to 2.
    pub(super) fn two_port(name: &str, part: &FolderPart) -> Self {
        Self::file(name, part, ["in", "out"].map(str::to_owned).to_vec())
    }

    fn file(name: &str, part: &FolderPart, ports: Vec<String>) -> Self {
        let made_from = format!("file = {}", quoted(&part.name));
        Self { name: name.to_owned(), made_from, ports, left_over: Vec::new(), pair: None }
    }

    pub(super) fn in_pair(mut self, pair: &'static str) -> Self {
        self.pair = Some(pair);
        self
    }

    /// A port as joins and loads name it.
    pub(super) fn port(&self, port: &str) -> String {
        format!("{}.{port}", self.name)
    }

    /// The table `[[block]]`.
    pub(super) fn text(&self) -> String {
        let ports: Vec<String> = self.ports.iter().map(|port| quoted(port)).collect();
        let mut text = format!(
            "\n[[block]]\nname = {}\n{}\nports = [{}]\n",
            quoted(&self.name),
            self.made_from,
            ports.join(", ")
        );
        if let Some(pair) = self.pair {
            let _ = writeln!(text, "pair = \"{pair}\"");
        }
        text
    }
}

/// The table `[[load]]` of a port, with what it is made of.
pub(super) fn load_text(at: &str, made_from: &str) -> String {
    format!("\n[[load]]\nat = {}\n{made_from}\n", quoted(at))
}

/// A text as TOML has it.
pub(super) fn quoted(text: &str) -> String {
    toml::Value::from(text).to_string()
}

/// Gigahertz with as few digits as give the same number.
pub(super) fn ghz(hz: f64) -> String {
    format!("{}", (hz / 1e9 * 1e6).round() / 1e6)
}
