//! Checks of the modes of a mixed-mode network.

use super::error::NetworkError;
use super::ports::{Port, PortMode};

/// Checks the modes of a network with as many rows: each port is either one row as itself, or in
/// one pair with both of its modes.
pub(super) fn check_modes(modes: &[PortMode], ports: usize) -> Result<(), NetworkError> {
    if modes.len() != ports {
        return Err(NetworkError::ModeCount { ports, found: modes.len() });
    }
    let pairs_of = |port: Port| {
        modes.iter().filter_map(move |mode| match *mode {
            PortMode::Single(own) => (own == port).then_some((own, own, false)),
            PortMode::Differential(plus, minus) => {
                (plus == port || minus == port).then_some((plus, minus, false))
            }
            PortMode::Common(plus, minus) => {
                (plus == port || minus == port).then_some((plus, minus, true))
            }
        })
    };
    for port in modes.iter().flat_map(PortMode::ports) {
        if port.index() >= ports {
            return Err(NetworkError::NoSuchPort { port, ports });
        }
    }
    for port in (0..ports).map(Port::from_index) {
        let found: Vec<_> = pairs_of(port).collect();
        let fits = match found[..] {
            [(plus, minus, is_common)] => plus == minus && !is_common,
            [(plus, minus, first), (other_plus, other_minus, second)] => {
                plus != minus && (plus, minus) == (other_plus, other_minus) && first != second
            }
            _ => false,
        };
        if !fits {
            return Err(NetworkError::ModesOfPort { port });
        }
    }
    Ok(())
}
