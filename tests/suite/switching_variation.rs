//! Parts on the RF path of switched mixers that are replaced: dies, other data, ideal parts. Each is
//! compared with the complete analysis of a description that names the changed file.

use crate::harness::{Sandbox, replaced};
use fourphase::description::read_receiver;
use fourphase::downconverter::{
    Budget, BudgetRow, DieReceiver, DownconverterResult, PlanPoint, Receiver, ReceiverPath,
    SwitchedLevels, analyse_receiver,
};
use fourphase::network::Network;
use fourphase::touchstone::{ReadOptions, TouchstoneFile};
use num_complex::Complex64;

/// The same solution of the same numbers, which are read from text with all digits.
const TOLERANCE_DB: f64 = 1e-9;

/// The demo receiver at two LOs with a divider of which data are known up to the third harmonic, as
/// `wide.s3p`, and with changes that grow with frequency, as `changed.s3p` and, from 25 to 34 GHz, as
/// `narrow.s3p`.
fn sandbox() -> Sandbox {
    let sandbox = Sandbox::with_demo();
    sandbox.succeeds(
        "component wilkinson center_ghz=29 loss_db=0.3 --grid 0.5GHz..100GHz:200 --output wide.s3p",
    );
    let file = sandbox.touchstone("wide.s3p");
    let changed = with_entries(&file.network, |ghz, matrix| {
        for (at, entry) in matrix.iter_mut().enumerate() {
            let size = 0.002 * ghz * (1.0 + 0.3 * f64::from(u8::from(at % 4 == 0)));
            *entry = *entry * Complex64::from_polar(1.0 - 0.3 * size, 0.1 * size) + 0.1 * size;
        }
        matrix[6] *= Complex64::from_polar(1.0 - 0.002 * ghz, 0.002 * ghz);
        (matrix[1], matrix[2], matrix[5]) = (matrix[3], matrix[6], matrix[7]);
    });
    write(&sandbox, "changed.s3p", &file, changed);
    sandbox.succeeds("convert changed.s3p narrow.s3p --grid 25GHz..34GHz:91");
    sandbox
}

/// The description with a file of the divider and a rule for what it does not reach.
fn describe(sandbox: &Sandbox, file: &str, outside: &str) -> Receiver {
    describe_at(sandbox, file, outside, "28.0, 30.0")
}

fn describe_at(sandbox: &Sandbox, file: &str, outside: &str, lo_ghz: &str) -> Receiver {
    let text = replaced(
        &sandbox.read("receiver-switches.toml"),
        &[
            ("lo_ghz = { from = 27.0, to = 31.0, points = 41 }", &format!("lo_ghz = [{lo_ghz}]")),
            ("if_ghz = [0.5, 1.0, 1.5]", "if_ghz = [0.5, 1.0]"),
            ("[mixing]", &format!("[mixing]\nsidebands = 3\noutside = \"{outside}\"")),
            ("combine = \"auto\"", "combine = \"i-jq\""),
            ("divider.s3p", file),
        ],
    );
    sandbox.write("switches.toml", text);
    read_receiver(&sandbox.path("switches.toml"), &ReadOptions::default()).unwrap().receiver
}

fn with_entries(network: &Network, change: impl Fn(f64, &mut [Complex64])) -> Network {
    let (ports, grid) = (network.ports(), network.grid());
    let mut entries = network.entries().to_vec();
    for (matrix, hz) in entries.chunks_exact_mut(ports * ports).zip(grid.as_hz()) {
        change(1e-9 * hz, matrix);
    }
    let references = network.references_ohm(0).to_vec();
    Network::new(network.kind(), grid.clone(), ports, entries, references).unwrap()
}

fn write(sandbox: &Sandbox, name: &str, like: &TouchstoneFile, network: Network) {
    sandbox.write_touchstone(name, &TouchstoneFile { network, ..like.clone() });
}

fn rejections_db(points: &[PlanPoint]) -> Vec<f64> {
    points.iter().map(|point| point.balance.image_rejection_db).collect()
}

fn assert_near(what: &str, got: &[f64], want: &[f64]) {
    assert_eq!(got.len(), want.len(), "{what}");
    for (got, want) in got.iter().zip(want) {
        assert!((got - want).abs() < TOLERANCE_DB, "{what}: {got} {want}");
    }
}

/// Loss, noise figure and leakage at every point, then offsets in decibels.
fn levels(result: &DownconverterResult) -> Vec<f64> {
    let switching = result.switching.as_ref().unwrap();
    let points = switching.points.iter();
    let of_points = points.flat_map(|own| {
        let loss = own.conversion_loss;
        [loss.i_db, loss.q_db, loss.both_db, own.noise_figure_db].map(Option::unwrap)
    });
    let of_lo = switching.lo.iter().flat_map(|own| {
        let offset_db = |volts: Option<f64>| 20.0 * volts.unwrap().abs().log10();
        [own.lo_at_rf_port_dbm, offset_db(own.offset_i_v), offset_db(own.offset_q_v)]
    });
    of_points.chain(of_lo).collect()
}

fn is_at(one: &PlanPoint, other: &PlanPoint) -> bool {
    one.lo_hz.total_cmp(&other.lo_hz).is_eq() && one.if_hz.total_cmp(&other.if_hz).is_eq()
}

/// How much two lists differ at most.
fn difference(one: &[f64], other: &[f64]) -> f64 {
    one.iter().zip(other).map(|(one, other)| (one - other).abs()).fold(0.0, f64::max)
}

#[test]
fn data_of_a_die_act_at_every_sideband() {
    let sandbox = sandbox();
    for (file, outside) in
        [("changed.s3p", "reference"), ("narrow.s3p", "reference"), ("narrow.s3p", "open")]
    {
        let described = analyse_receiver(&describe(&sandbox, file, outside)).unwrap();
        let receiver = describe(&sandbox, "wide.s3p", outside);
        let place = receiver.block("divider").unwrap();
        let dies = DieReceiver::new(receiver, &[place]).unwrap();
        let die = [sandbox.touchstone(file).network];
        let solved = dies.solve(&die).unwrap();
        let want = rejections_db(&described.points);
        assert_near(file, &rejections_db(&solved.points), &want);
        let (got, of_all) = (
            solved.switched.unwrap().worst,
            SwitchedLevels::of(described.switching.as_ref().unwrap()),
        );
        let levels = |own: SwitchedLevels| {
            [own.conversion_loss_db, own.noise_figure_db, own.lo_at_rf_port_dbm]
        };
        assert_near(file, &levels(got), &levels(of_all));
        // The pair of lines ideal, as the budget of the description has it.
        let lines = dies.receiver().group_index("rf lines").unwrap();
        let ideal = rejections_db(&dies.points_if_ideal(&die, lines).unwrap());
        let budget = described.budget.unwrap();
        let row = row(&budget, "rf lines");
        let worst = described.summary.worst;
        let at = described.points.iter().position(|own| is_at(own, &worst)).unwrap();
        assert_near(file, &[ideal[at]], &[row.if_ideal_db.unwrap()]);
    }
}

/// Only the data beyond 25 to 34 GHz differ between the two.
#[test]
fn data_beyond_the_plan_change_every_figure() {
    let sandbox = sandbox();
    let [wide, narrow] = ["changed.s3p", "narrow.s3p"]
        .map(|file| analyse_receiver(&describe(&sandbox, file, "reference")).unwrap());
    assert!(difference(&levels(&wide), &levels(&narrow)) > 0.01);
    assert!(difference(&rejections_db(&wide.points), &rejections_db(&narrow.points)) > 0.01);
}

#[test]
fn a_network_that_is_put_in_place_acts_at_every_sideband() {
    let sandbox = sandbox();
    for file in ["changed.s3p", "narrow.s3p"] {
        let described = analyse_receiver(&describe(&sandbox, file, "short")).unwrap();
        let mut receiver = describe(&sandbox, "wide.s3p", "short");
        // Sidebands that are known already stay.
        analyse_receiver(&receiver).unwrap();
        let (place, network) =
            (receiver.block("divider").unwrap(), sandbox.touchstone(file).network);
        receiver.set_network_at(place, ReceiverPath::Rf, network).unwrap();
        let own = analyse_receiver(&receiver).unwrap();
        assert_near(file, &rejections_db(&own.points), &rejections_db(&described.points));
        assert_near(file, &levels(&own), &levels(&described));
        let outside =
            |own: &DownconverterResult| own.switching.as_ref().unwrap().outside_hz.clone();
        assert_eq!(outside(&own), outside(&described), "{file}");
    }
}

#[test]
fn a_network_that_does_not_reach_the_plan_is_refused() {
    let sandbox = sandbox();
    sandbox.succeeds("convert narrow.s3p short.s3p --grid 28GHz..34GHz:61");
    let mut receiver = describe(&sandbox, "wide.s3p", "reference");
    let place = receiver.block("divider").unwrap();
    let network = sandbox.touchstone("short.s3p").network;
    let refused = receiver.set_network_at(place, ReceiverPath::Rf, network).unwrap_err();
    assert!(refused.to_string().contains("divider"), "{refused}");
}

/// The file of an ideal divider: with the mean loss and phase of the changed one at every frequency.
fn write_ideal(sandbox: &Sandbox) {
    let file = sandbox.touchstone("changed.s3p");
    let ideal = with_entries(&file.network, |_, matrix| {
        let mean = matrix[3] * (matrix[6] / matrix[3]).sqrt();
        matrix.fill(Complex64::ZERO);
        for at in [1, 2, 3, 6] {
            matrix[at] = mean;
        }
    });
    write(sandbox, "ideal.s3p", &file, ideal);
}

fn row<'b>(budget: &'b Budget, name: &str) -> &'b BudgetRow {
    budget.rows.iter().find(|row| row.contributor.to_string() == name).unwrap()
}

/// The ideal of a part has the part's mean loss and phase at every frequency of its data: the budget
/// against a description with such a file.
#[test]
fn an_ideal_divider_is_ideal_at_every_sideband() {
    let sandbox = sandbox();
    write_ideal(&sandbox);
    let described = analyse_receiver(&describe(&sandbox, "ideal.s3p", "reference")).unwrap();
    let own = analyse_receiver(&describe(&sandbox, "changed.s3p", "reference")).unwrap();
    let worst = own.summary.worst;
    let same = described.points.iter().find(|point| is_at(point, &worst)).unwrap();
    let budget = own.budget.unwrap();
    let row = row(&budget, "divider");
    // All sidebands are frequencies of the file.
    assert_near("divider", &[row.if_ideal_db.unwrap()], &[same.balance.image_rejection_db]);
    assert!((same.balance.image_rejection_db - worst.balance.image_rejection_db).abs() > 0.05);
}

/// What an ideal divider makes of the plan: of a small plan everywhere, of a larger one at the point of worst
/// rejection and at the worst IF of the first, the centre and the last LO.
#[test]
fn ideal_parts_are_compared_at_a_few_points_of_the_plan() {
    let sandbox = sandbox();
    write_ideal(&sandbox);
    for (lo_ghz, most) in [("28.0, 30.0", 4), ("27.0, 28.0, 29.0, 30.0, 31.0", 4)] {
        let analyse = |file: &str| {
            let receiver = describe_at(&sandbox, file, "reference", lo_ghz);
            analyse_receiver(&receiver).unwrap()
        };
        let (own, ideal) = (analyse("changed.s3p"), analyse("ideal.s3p"));
        let budget = own.budget.as_ref().unwrap();
        let compared = budget.compared.as_ref().unwrap();
        assert!(compared.len() <= most, "{compared:?}");
        let is_compared = |point: &PlanPoint| {
            let is_it = |own: &&(f64, f64)| {
                own.0.total_cmp(&point.lo_hz).is_eq() && own.1.total_cmp(&point.if_hz).is_eq()
            };
            compared.iter().find(is_it).is_some()
        };
        assert!(is_compared(&own.summary.worst));
        let worst_of_lo = |lo_hz: f64| {
            let own = own.points.iter().filter(|point| point.lo_hz.total_cmp(&lo_hz).is_eq());
            let db = |point: &PlanPoint| point.balance.image_rejection_db;
            *own.min_by(|one, other| db(one).total_cmp(&db(other))).unwrap()
        };
        let lo_hz: Vec<f64> = own.lo.iter().map(|own| own.lo_hz).collect();
        for lo_hz in [lo_hz[0], lo_hz[lo_hz.len() / 2], lo_hz[lo_hz.len() - 1]] {
            assert!(is_compared(&worst_of_lo(lo_hz)), "{lo_hz}");
        }
        let there = ideal.points.iter().filter(|point| is_compared(point));
        let least_db = rejections_db(&there.copied().collect::<Vec<_>>());
        let least_db = least_db.into_iter().fold(f64::INFINITY, f64::min);
        assert_near(lo_ghz, &[row(budget, "divider").plan_if_ideal_db.unwrap()], &[least_db]);
        // What acts through several parts is compared there too.
        let at_worst = |own: &BudgetRow| own.plan_if_ideal_db.unwrap() <= own.if_ideal_db.unwrap();
        assert!(!budget.mechanisms.is_empty() && budget.mechanisms.iter().all(at_worst));
    }
}
