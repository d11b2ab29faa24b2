//! `fourphase join`.

use super::args::Join;
use super::console::Console;
use super::failure::Failure;
use super::outcome::Outcome;
use super::output::Outgoing;
use crate::description::read_network;

pub(super) fn run(given: &Join, console: &Console) -> Result<Outcome, Failure> {
    let grid_hz = given.grid.as_ref().map(|grid| grid.0.clone());
    let circuit = read_network(&given.network, &given.reading.options(), grid_hz)?;
    for warning in circuit.warnings() {
        console.warning(warning);
    }
    Outgoing::check(circuit.ports(), &given.output, &given.form, circuit.inputs())?;
    let network = circuit.join()?;
    let name = given.network.file_name().unwrap_or_default().to_string_lossy();
    let outgoing = Outgoing::made(network, &format!("joined from {name}"));
    outgoing.write(&given.output, &given.form, circuit.inputs(), console)?;
    Ok(Outcome::Holds)
}
