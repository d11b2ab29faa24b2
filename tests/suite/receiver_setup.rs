//! Receivers made without a description: a small one solved, and what is refused.

use fourphase::component::{IdealSplit, ideal_divider, ideal_quadrature_hybrid};
use fourphase::downconverter::{
    Channel, DieReceiver, LoIfSettings, LoRf, Mixer, OutputStage, PowerInput, Receiver,
    ReceiverError, ReceiverLoad, ReceiverPart, ReceiverPath, ReceiverPlan, ReceiverSetup,
    ReferenceImpedances, Sideband, plan_points,
};
use fourphase::network::{FrequencyGrid, Network, ParameterKind, Port, Terminal};
use fourphase::requirement::{Limit, Limits, Quantity};
use num_complex::Complex64;

fn plan() -> ReceiverPlan {
    ReceiverPlan::new(LoIfSettings {
        lo_hz: vec![29e9],
        if_hz: vec![1e9],
        rf_hz: None,
        wanted: Sideband::Upper,
        lo_multiplication: 1,
        lo_multiplication_after_split: 1,
        lo_harmonic: 1,
        lo_power_dbm: None,
    })
    .unwrap()
}

fn port(block: usize, number: usize) -> Terminal {
    Terminal { block, port: Port::from_number(number).unwrap() }
}

fn part(name: &str, ports: usize, networks: LoRf<Option<Network>>) -> ReceiverPart {
    ReceiverPart {
        name: name.to_owned(),
        ports: (1..=ports).map(|number| number.to_string()).collect(),
        kind: None,
        nominal_deg: None,
        pair: None,
        stage: None,
        networks,
        model: None,
    }
}

fn matched(grid: &FrequencyGrid) -> Network {
    let entries = vec![Complex64::ZERO; grid.len()];
    Network::new(ParameterKind::Scattering, grid.clone(), 1, entries, vec![50.0.into()]).unwrap()
}

fn mixer(channel: Channel, lo: Terminal, rf: Terminal) -> Mixer {
    Mixer {
        name: channel.name().to_owned(),
        channel,
        is_subtracted: false,
        ports: LoRf { lo, rf },
        gain: Complex64::ONE,
    }
}

/// A quadrature hybrid of 0.5 dB and 3 degrees of error, a divider and two mixers, all matched.
fn setup() -> ReceiverSetup {
    let plan = plan();
    let errors =
        IdealSplit { imbalance_db: 0.5, phase_error_deg: 3.0, loss_db: 1.0, ..Default::default() };
    let hybrid = ideal_quadrature_hybrid(plan.grid(ReceiverPath::Lo), &errors).unwrap();
    let divider = ideal_divider(plan.grid(ReceiverPath::Rf), &IdealSplit::default()).unwrap();
    let load = |at| ReceiverLoad {
        at,
        networks: LoRf::of_each(|path| Some(matched(plan.grid(path)))),
        model: None,
    };
    let input = |at| PowerInput { at, source_ohm: 50.0.into() };
    ReceiverSetup {
        title: "hybrid, divider and two mixers".to_owned(),
        parts: vec![
            part("hybrid", 4, LoRf { lo: Some(hybrid), rf: None }),
            part("divider", 3, LoRf { lo: None, rf: Some(divider) }),
        ],
        joins: Vec::new(),
        loads: [port(0, 2), port(0, 3), port(0, 4), port(1, 2), port(1, 3)].map(load).into(),
        inputs: LoRf { lo: input(port(0, 1)), rf: input(port(1, 1)) },
        references: ReferenceImpedances::default(),
        mixers: vec![
            mixer(Channel::I, port(0, 2), port(1, 2)),
            mixer(Channel::Q, port(0, 3), port(1, 3)),
        ],
        lo_amplitude_exponent: 1.0,
        switching: None,
        output: OutputStage::without_if_parts(1),
        correction_steps: Default::default(),
        reflection_sweep: Default::default(),
        limits: Limits::default(),
        lo_chain: None,
        spurious_band_hz: None,
        plan,
    }
}

#[test]
fn a_receiver_made_by_hand_has_the_rejection_of_its_hybrid() {
    let receiver = Receiver::new(setup()).unwrap();
    let got = plan_points(&receiver).unwrap()[0].balance.image_rejection_db;
    // Any rejection of a receiver with matched parts is that of its one error, to rounding.
    assert!((got - fourphase::splitter::image_rejection_db(0.5, 3.0)).abs() < 1e-9, "{got}");
}

#[test]
fn a_receiver_that_breaks_a_rule_is_refused() {
    type Change = fn(&mut ReceiverSetup);
    let bad: [(&str, Change); 17] = [
        ("a reference impedance must be", |s| s.references.default_ohm = 0.0),
        ("duplicate name 'hybrid'", |s| s.parts[1].name = "hybrid".to_owned()),
        ("port 5 of block 1", |s| s.loads[0].at = port(0, 5)),
        ("hybrid.3 must have one load or source", |s| s.loads[0].at = port(0, 3)),
        ("hybrid.4 is unconnected", |s| drop(s.loads.remove(2))),
        ("channel q needs at least one mixer", |s| s.mixers[1].channel = Channel::I),
        ("RF port of mixer 'q'", |s| s.mixers[1].ports.rf = port(0, 4)),
        ("from 1e-6 to 1e6", |s| s.mixers[0].gain = Complex64::ZERO),
        ("block 'hybrid' is on the LO path", |s| s.parts[0].networks.lo = None),
        ("must have 3 ports, found 1", |s| {
            s.parts[1].networks.rf = s.loads[0].networks.rf.clone();
        }),
        ("plan's frequencies of the LO path", |s| {
            s.loads[0].networks.lo = Some(matched(s.plan.grid(ReceiverPath::Rf)));
        }),
        ("positive real part, found -50", |s| s.inputs.rf.source_ohm = (-50.0).into()),
        ("with 1 transfers, one for each IF, found 0", |s| s.output.choices.clear()),
        ("one for each IF, found 2", |s| s.output = OutputStage::without_if_parts(2)),
        ("from 0 to 10, found 11", |s| s.lo_amplitude_exponent = 11.0),
        ("from 0 to below 1, found 1", |s| s.reflection_sweep.mixer_reflection = Some(1.0)),
        ("needs the power of the LO source", |s| {
            s.limits.set(Limit::new(Quantity::LoPower, 5.0).unwrap());
        }),
    ];
    for (says, change) in bad {
        let mut setup = setup();
        change(&mut setup);
        let error = Receiver::new(setup).err().map(|error| error.to_string());
        assert!(error.as_ref().is_some_and(|error| error.contains(says)), "{says}: {error:?}");
    }
}

#[test]
fn places_and_networks_of_other_receivers_are_refused() {
    let mut receiver = Receiver::new(setup()).unwrap();
    let hybrid = receiver.block("hybrid").unwrap();
    assert!(receiver.network_at(hybrid, ReceiverPath::Rf).is_none());
    let load = matched(receiver.plan().grid(ReceiverPath::Lo));
    for (path, says) in
        [(ReceiverPath::Rf, "no block 'hybrid' on the RF path"), (ReceiverPath::Lo, "4 ports")]
    {
        let refused = receiver.set_network_at(hybrid, path, load.clone()).unwrap_err();
        assert!(refused.to_string().contains(says), "{refused}");
    }
    // A receiver with one more load knows a place that this one does not have.
    let mut larger = setup();
    larger.parts.push(part("end", 1, LoRf::default()));
    larger.loads.push(ReceiverLoad { at: port(2, 1), networks: LoRf::default(), model: None });
    let larger = Receiver::new(larger).unwrap();
    for place in [larger.block("end").unwrap(), larger.places().last().unwrap()] {
        let refused = DieReceiver::new(receiver.clone(), &[place]);
        assert!(matches!(refused, Err(ReceiverError::NoSuch { .. })));
    }
    let dies = DieReceiver::new(receiver, &[hybrid]).unwrap();
    assert!(matches!(dies.solve(&[]), Err(ReceiverError::DieNetworks { expected: 1, found: 0 })));
}
