//! Ports in another order than their names or roles say: told with the order that the data fit, on
//! splitters, in receivers and on wafers.

use crate::harness::{Sandbox, number, replaced, unfolded};
use crate::wafer_lot::{RECIPE, rows, run_recipe, sandbox_with_dies};
use fourphase::network::{Port, select_ports};
use fourphase::touchstone::TouchstoneFile;

/// Rewrites a file with its ports in another order.
fn reorder(sandbox: &Sandbox, from: &str, to: &str, order: &[usize]) {
    let file = sandbox.touchstone(from);
    let ports: Vec<Port> = order.iter().map(|&number| Port::from_number(number).unwrap()).collect();
    let network = select_ports(&file.network, &ports).unwrap();
    sandbox.write_touchstone(to, &TouchstoneFile { network, ..file });
}

#[test]
fn roles_of_a_splitter_that_its_data_contradict_are_refused() {
    let sandbox = Sandbox::with_demo();
    let told = sandbox.refused("splitter coupler.s4p --input 1 --outputs 2,4 --isolated 3");
    assert!(unfolded(&told).contains("they fit input port 1, outputs port 2 and port 3"), "{told}");
    let run = sandbox.run("splitter balun.s3p --kind antiphase --input 2 --outputs 1,3");
    let all = unfolded(&run.stderr);
    assert!(all.contains("they fit input port 1, outputs port 2 and port 3"), "{all}");
}

#[test]
fn a_block_in_another_order_is_told_with_its_ports() {
    let sandbox = Sandbox::with_demo();
    // The isolated port and the coupled one, exchanged in the file.
    reorder(&sandbox, "coupler.s4p", "coupler.s4p", &[1, 2, 4, 3]);
    let told = unfolded(&sandbox.refused("downconverter receiver.toml"));
    assert!(told.contains("block 'hybrid': driven at in, the data have"), "{told}");
    assert!(told.contains(r#"ports = ["in", "through", "isolated", "coupled"]"#), "{told}");
    // Typed in, the advice gives the receiver as it was.
    let worst = |sandbox: &Sandbox| {
        let report = sandbox.json("downconverter receiver.toml");
        number(&report, "/summary/worst_image_rejection_db")
    };
    let before = worst(&Sandbox::with_demo());
    let text = replaced(
        &sandbox.read("receiver.toml"),
        &[(
            r#"ports = ["in", "through", "coupled", "isolated"]"#,
            r#"ports = ["in", "through", "isolated", "coupled"]"#,
        )],
    );
    sandbox.write("receiver.toml", text);
    // The order of sums differs.
    assert!((worst(&sandbox) - before).abs() < 1e-9);
}

#[test]
fn a_balun_fed_at_an_output_is_told() {
    for (file, order, names) in [
        ("balun.s3p", [2, 1, 3], r#"ports = ["plus", "in", "minus"]"#),
        ("divider.s3p", [3, 2, 1], r#"ports = ["out_q", "out_i", "in"]"#),
    ] {
        let sandbox = Sandbox::with_demo();
        reorder(&sandbox, file, file, &order);
        let run = sandbox.run("downconverter receiver.toml");
        assert!(unfolded(&run.stderr).contains(names), "{file}: {}", run.stderr);
    }
}

#[test]
fn exchanged_outputs_do_not_pass_on_a_wafer() {
    let sandbox = sandbox_with_dies(9, "");
    sandbox.write("demo/recipe.toml", RECIPE);
    let names = sandbox.names("demo/dies");
    for name in &names[..4] {
        let file = format!("demo/dies/{name}");
        reorder(&sandbox, &file, &file, &[1, 3, 2, 4]);
    }
    run_recipe(&sandbox, "demo/recipe.toml", "out");
    let exchanged: Vec<_> = rows(&sandbox, "out")
        .into_iter()
        .filter(|row| row["message"].contains("its outputs are exchanged: -90 deg"))
        .collect();
    assert_eq!(exchanged.len(), 4);
    assert!(exchanged.iter().all(|row| row["status"] == "error"));
}

#[test]
fn a_die_in_another_order_is_an_error() {
    let sandbox = sandbox_with_dies(9, "");
    sandbox.write("demo/recipe.toml", RECIPE);
    let name = format!("demo/dies/{}", sandbox.names("demo/dies")[2]);
    reorder(&sandbox, &name, &name, &[1, 2, 4, 3]);
    run_recipe(&sandbox, "demo/recipe.toml", "out");
    let rows = rows(&sandbox, "out");
    let wrong: Vec<_> =
        rows.iter().filter(|row| row["message"].contains("they fit input")).collect();
    assert!(wrong.len() == 1 && wrong[0]["status"] == "error", "{wrong:?}");
}
