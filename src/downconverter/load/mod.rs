//! From descriptions and the files they name to networks, wiring and receivers. Only here are
//! files read.
//!
//! | file | subject |
//! |---|---|
//! | `parts` | what all descriptions share: blocks, loads, port names, joins |
//! | `network` | NETWORK.toml: networks on one grid, and how they meet |
//! | `receiver` | RECEIVER.toml: parts at the frequencies of the plan |
//! | `plan` | those frequencies, and what files must cover |
//! | `output` | IF paths, IF hybrid, correction |

mod network;
mod output;
mod parts;
mod plan;
mod receiver;

pub use network::{Circuit, load_network};
pub use receiver::{LoadedReceiver, load_receiver};
