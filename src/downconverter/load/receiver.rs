//! RECEIVER.toml: parts at the frequencies of the plan.

use super::parts::{Joins, Loader, Notes, Part, read_text};
use crate::downconverter::description::{BlockEntry, KindName};
use crate::downconverter::error::{DescriptionError, DescriptionProblem};
use crate::downconverter::receiver::{
    Mixer, OnWays, OutputChoice, OutputStage, PartKind, PowerInput, Receiver, ReceiverLimits,
    ReceiverLoad, ReceiverPart, ReceiverPlan, RingSettings, TrimSteps, Way, reached,
};
use crate::downconverter::receiver_description::{
    ChannelName, CombineName, FrequencyPlanEntry, IfHybridEntry, PolarityName, PortChoice,
    ReceiverDescription, SidebandName, Sweep,
};
use crate::downconverter::{Channel, Combination, Mixing, Sideband};
use crate::network::{FrequencyGrid, Network, ParameterKind, Port, Terminal, convert};
use crate::splitter::SplitterKind;
use crate::touchstone::ReadOptions;
use crate::units::{ShownFrequency, amplitude_from_db, equidistant};
use num_complex::Complex64;

use std::ops::Range;
use std::path::{Path, PathBuf};
use toml::Spanned;

/// A receiver, the files it was read from, and what the user should know.
#[derive(Debug)]
pub struct LoadedReceiver {
    /// The receiver.
    pub receiver: Receiver,
    /// The description and every file it names.
    pub inputs: Vec<PathBuf>,
    /// What came up on the way.
    pub warnings: Vec<String>,
}

/// Reads RECEIVER.toml and the files it names.
///
/// # Errors
/// [`DescriptionError`] with the line of the description, or with the line of the file it names.
pub fn load_receiver(
    path: &Path,
    options: &ReadOptions,
) -> Result<LoadedReceiver, DescriptionError> {
    let text = read_text(path)?;
    let loader = Loader { path, text: &text, options };
    let description: ReceiverDescription = loader.description()?;
    let mut notes = Notes { inputs: vec![path.to_owned()], ..Notes::default() };
    let receiver = loader.receiver(&description, &mut notes)?;
    Ok(LoadedReceiver { receiver, inputs: notes.inputs, warnings: notes.warnings })
}

/// More points than this are a slip of the pen.
const MOST_PLAN_POINTS: usize = 200_000;
/// Frequencies this close, relatively, are one: sums of LO and IF differ in their last digits.
const SAME_FREQUENCY: f64 = 1e-12;

/// A frequency at which files are needed, and what for.
struct Need {
    frequency_hz: f64,
    purpose: String,
}

impl Loader<'_> {
    fn value<T>(&self, given: &Spanned<T>, what: impl Into<String>) -> DescriptionError {
        self.at(DescriptionProblem::Value { what: what.into() }, given.span())
    }

    fn receiver(
        &self,
        description: &ReceiverDescription,
        notes: &mut Notes,
    ) -> Result<Receiver, DescriptionError> {
        let (plan, rf_hz, needs) = self.plan(description)?;
        let parts = self.parts(&description.blocks, notes)?;
        let load_files = self.load_files(&description.loads, notes)?;
        let joins = self.joins(&description.joins, &description.blocks, &parts)?;
        let loads_at = self.loads_at(description, &parts)?;
        let inputs = self.inputs(description, &plan, rf_hz, &parts, &loads_at)?;
        self.check_all_ports(&parts, &joins, &loads_at, &inputs)?;
        let reaches =
            Way::BOTH.map(|way| reached(parts.len(), &joins.nodes, inputs[way.index()].at));
        let mixers = self.mixers(description, &parts, &reaches)?;
        for (part, name) in parts.iter().enumerate().map(|(at, part)| (at, &part.name)) {
            if !reaches.iter().any(|reach| reach[part]) {
                notes.warnings.push(format!("block '{name}' is joined to neither LO nor RF input"));
            }
        }

        let on_ways = |block: usize,
                       network: Option<&Network>,
                       what: &str,
                       span: Range<usize>,
                       build: &dyn Fn(&FrequencyGrid) -> Result<Network, DescriptionError>,
                       notes: &mut Notes| {
            let mut made = OnWays::default();
            for way in Way::BOTH {
                if !reaches[way.index()][block] {
                    continue;
                }
                let grid = &inputs[way.index()].grid;
                made.0[way.index()] = Some(match network {
                    Some(network) => {
                        self.check_cover(network, &needs[way.index()], what, span.clone())?;
                        self.on_grid(network, grid, what, span.clone(), notes)?
                    }
                    None => build(grid)?,
                });
            }
            Ok(made)
        };
        let mut receiver_parts = Vec::new();
        for (at, (block, part)) in description.blocks.iter().zip(&parts).enumerate() {
            let what = match &block.file {
                Some(file) => format!("block '{}' ({})", part.name, file.get_ref().display()),
                None => format!("block '{}'", part.name),
            };
            let build = |grid: &FrequencyGrid| self.built(block, grid, part.span.clone());
            let network =
                on_ways(at, part.network.as_ref(), &what, part.span.clone(), &build, notes)?;
            receiver_parts.push(self.receiver_part(block, part, network)?);
        }
        let mut loads = Vec::new();
        for (at, (load, terminal)) in description.loads.iter().zip(&loads_at).enumerate() {
            let what = format!("the load at {}", load.at.get_ref());
            let build = |grid: &FrequencyGrid| self.lumped_load(load, grid);
            let file = load_files.get(&at);
            let network = on_ways(terminal.block, file, &what, load.at.span(), &build, notes)?;
            loads.push(ReceiverLoad { at: *terminal, network });
        }
        Ok(Receiver {
            title: description.title.clone().unwrap_or_else(|| "receiver".to_owned()),
            parts: receiver_parts,
            joins: joins.nodes,
            join_texts: joins.texts,
            loads,
            mixers,
            mixing: self.mixing(description, &plan)?,
            output: self.output(description, &plan, notes)?,
            trim_steps: self.trim_steps(description)?,
            ring: self.ring(description)?,
            limits: self.limits(description)?,
            inputs,
            plan,
        })
    }

    fn sweep(&self, given: &Spanned<Sweep>, what: &str) -> Result<Vec<f64>, DescriptionError> {
        let hz = |ghz: f64| {
            let hz = ghz * 1e9;
            // 24.1 GHz is meant as a whole number of hertz.
            if (hz - hz.round()).abs() < 1e-3 { hz.round() } else { hz }
        };
        let list: Vec<f64> = match given.get_ref() {
            Sweep::One(ghz) => vec![hz(*ghz)],
            Sweep::List(list) => list.iter().copied().map(hz).collect(),
            Sweep::Range(range) => {
                if !(1..=MOST_PLAN_POINTS).contains(&range.points) {
                    return Err(
                        self.value(given, format!("points is from 1 to {MOST_PLAN_POINTS}"))
                    );
                }
                if range.points == 1 && range.from < range.to {
                    return Err(self.value(given, "one point cannot be at both from and to"));
                }
                equidistant(hz(range.from), hz(range.to), range.points)
            }
        };
        let is_ascending = list.windows(2).all(|pair| pair[0] < pair[1]);
        if list.is_empty() || !list.iter().all(|hz| *hz > 0.0 && hz.is_finite()) || !is_ascending {
            return Err(self.value(
                given,
                format!("{what} needs positive frequencies in ascending order, in GHz"),
            ));
        }
        Ok(list)
    }

    fn whole(&self, given: Option<&Spanned<u32>>, name: &str) -> Result<u32, DescriptionError> {
        match given {
            None => Ok(1),
            Some(given) if (1..=1000).contains(given.get_ref()) => Ok(*given.get_ref()),
            Some(given) => {
                Err(self.value(given, format!("{name} is a whole number from 1 to 1000")))
            }
        }
    }

    /// The plan, the RF grid, and what each way needs.
    #[allow(clippy::type_complexity, reason = "taken apart at once by its one caller")]
    fn plan(
        &self,
        description: &ReceiverDescription,
    ) -> Result<(ReceiverPlan, Vec<f64>, [Vec<Need>; 2]), DescriptionError> {
        let entry: &FrequencyPlanEntry = &description.frequency_plan;
        let lo_hz = self.sweep(&entry.lo_ghz, "lo_ghz")?;
        let if_hz = self.sweep(&entry.if_ghz, "if_ghz")?;
        if lo_hz.len().saturating_mul(if_hz.len()) > MOST_PLAN_POINTS {
            return Err(self.value(
                &entry.lo_ghz,
                format!("LO times IF points are more than {MOST_PLAN_POINTS}"),
            ));
        }
        let multiplication = self.whole(entry.lo_multiplication.as_ref(), "lo_multiplication")?;
        let after = self
            .whole(entry.lo_multiplication_after_split.as_ref(), "lo_multiplication_after_split")?;
        if let Some(given) = &entry.lo_multiplication_after_split
            && !multiplication.is_multiple_of(after)
        {
            return Err(self.value(
                given,
                format!("{after} is no part of the multiplication by {multiplication}"),
            ));
        }
        let harmonic = self.whole(description.mixing.lo_harmonic.as_ref(), "lo_harmonic")?;
        if let Some(power) = &entry.lo_power_dbm
            && !power.get_ref().is_finite()
        {
            return Err(self.value(power, "lo_power_dbm is a finite number"));
        }
        if let (None, Some(limit)) = (&entry.lo_power_dbm, &description.require.lo_power_dbm_min) {
            return Err(self.at(DescriptionProblem::NoPower, limit.span()));
        }

        // RF points of both sidebands; many coincide.
        let times = f64::from(harmonic);
        let mut wanted: Vec<f64> = Vec::new();
        let mut rf_needs = Vec::new();
        for &lo in &lo_hz {
            for &intermediate in &if_hz {
                let (upper, lower) = (times * lo + intermediate, times * lo - intermediate);
                if lower <= 0.0 {
                    return Err(self.value(
                        &entry.if_ghz,
                        format!(
                            "an IF of {} leaves no lower sideband at an LO of {}",
                            ShownFrequency(intermediate),
                            ShownFrequency(lo)
                        ),
                    ));
                }
                for (name, frequency_hz) in [("upper", upper), ("lower", lower)] {
                    wanted.push(frequency_hz);
                    rf_needs.push(Need {
                        frequency_hz,
                        purpose: format!(
                            "RF {name}, LO {}, IF {}",
                            ShownFrequency(lo),
                            ShownFrequency(intermediate)
                        ),
                    });
                }
            }
        }
        let mut rf_hz = wanted.clone();
        rf_hz.sort_by(f64::total_cmp);
        rf_hz.dedup_by(|next, kept| *next - *kept <= SAME_FREQUENCY * *next);
        let place = |hz: f64| {
            let above = rf_hz.partition_point(|point| *point <= hz * (1.0 + SAME_FREQUENCY));
            above.saturating_sub(1)
        };
        let rf_points =
            wanted.chunks_exact(2).map(|pair| [place(pair[0]), place(pair[1])]).collect();
        let lo_needs = lo_hz.iter().map(|&lo| Need {
            frequency_hz: lo / f64::from(after),
            purpose: if after == 1 {
                "LO".to_owned()
            } else {
                format!("LO before its last multiplication by {after}")
            },
        });
        let needs = [lo_needs.collect(), rf_needs];
        let plan = ReceiverPlan {
            lo_hz,
            if_hz,
            wanted: match entry.wanted_sideband {
                SidebandName::Upper => Sideband::Upper,
                SidebandName::Lower => Sideband::Lower,
            },
            lo_multiplication: multiplication,
            lo_multiplication_after_split: after,
            lo_harmonic: harmonic,
            lo_power_dbm: entry.lo_power_dbm.as_ref().map(|power| *power.get_ref()),
            rf_points,
        };
        Ok((plan, rf_hz, needs))
    }

    fn loads_at(
        &self,
        description: &ReceiverDescription,
        parts: &[Part],
    ) -> Result<Vec<Terminal>, DescriptionError> {
        let mut found: Vec<Terminal> = Vec::new();
        for load in &description.loads {
            let text = load.at.get_ref();
            let terminal = self.terminal(text, load.at.span(), parts)?;
            if found.contains(&terminal) {
                let port = text.clone();
                return Err(self.at(DescriptionProblem::LoadedTwice { port }, load.at.span()));
            }
            found.push(terminal);
        }
        Ok(found)
    }

    fn inputs(
        &self,
        description: &ReceiverDescription,
        plan: &ReceiverPlan,
        rf_hz: Vec<f64>,
        parts: &[Part],
        loads_at: &[Terminal],
    ) -> Result<[PowerInput; 2], DescriptionError> {
        let input = |port: &Spanned<String>, source: Option<&Spanned<_>>, hz: Vec<f64>| {
            let at = self.terminal(port.get_ref(), port.span(), parts)?;
            if loads_at.contains(&at) {
                let port_name = port.get_ref().clone();
                return Err(
                    self.at(DescriptionProblem::LoadedInput { port: port_name }, port.span())
                );
            }
            let source_ohm = source.map_or(50.0.into(), |ohm| Complex64::from(*ohm.get_ref()));
            if let Some(given) = source
                && !(source_ohm.re > 0.0 && source_ohm.is_finite())
            {
                return Err(self.value(given, "a source's impedance has a positive real part"));
            }
            let grid =
                FrequencyGrid::from_hz(hz).map_err(|error| self.at(error.into(), port.span()))?;
            Ok(PowerInput { at, source_ohm, grid })
        };
        let after = f64::from(plan.lo_multiplication_after_split);
        let lo_hz = plan.lo_hz.iter().map(|hz| hz / after).collect();
        let lo = input(&description.lo_input, description.lo_source_ohm.as_ref(), lo_hz)?;
        let rf = input(&description.rf_input, description.rf_source_ohm.as_ref(), rf_hz)?;
        if lo.at == rf.at {
            return Err(self.value(&description.rf_input, "LO and RF enter by the same port"));
        }
        Ok([lo, rf])
    }

    /// Every port is joined, loaded or an input.
    fn check_all_ports(
        &self,
        parts: &[Part],
        joins: &Joins,
        loads_at: &[Terminal],
        inputs: &[PowerInput; 2],
    ) -> Result<(), DescriptionError> {
        for (block, part) in parts.iter().enumerate() {
            for (index, port) in part.ports.iter().enumerate() {
                let terminal = Terminal { block, port: Port::from_index(index) };
                let is_placed = joins.node_of.contains_key(&terminal)
                    || loads_at.contains(&terminal)
                    || inputs.iter().any(|input| input.at == terminal);
                if !is_placed {
                    let port = format!("{}.{port}", part.name);
                    let problem = DescriptionProblem::LeftOverInReceiver { port };
                    return Err(self.at(problem, part.span.clone()));
                }
            }
        }
        Ok(())
    }

    fn mixers(
        &self,
        description: &ReceiverDescription,
        parts: &[Part],
        reaches: &[Vec<bool>; 2],
    ) -> Result<Vec<Mixer>, DescriptionError> {
        let mut mixers: Vec<Mixer> = Vec::new();
        for entry in &description.mixers {
            let name = entry.name.get_ref().clone();
            if mixers.iter().any(|mixer| mixer.name == name) {
                return Err(self.at(DescriptionProblem::MixerTwice { name }, entry.name.span()));
            }
            let ways = [
                (&entry.lo, "lo", &description.lo_input),
                (&entry.rf, "rf", &description.rf_input),
            ];
            let mut terminals = Vec::new();
            for ((port, what, input), reach) in ways.into_iter().zip(reaches) {
                let terminal = self.terminal(port.get_ref(), port.span(), parts)?;
                if !reach[terminal.block] {
                    let problem = DescriptionProblem::Unreached {
                        port: port.get_ref().clone(),
                        what,
                        mixer: name,
                        input: input.get_ref().clone(),
                    };
                    return Err(self.at(problem, port.span()));
                }
                terminals.push(terminal);
            }
            let gain = entry.gain.as_ref().map_or(Complex64::ONE, |gain| (*gain.get_ref()).into());
            if let Some(given) = &entry.gain
                && !(gain.norm() > 0.0 && gain.is_finite())
            {
                return Err(self.value(given, "a gain is a finite number other than zero"));
            }
            mixers.push(Mixer {
                name,
                channel: match entry.channel {
                    ChannelName::I => Channel::I,
                    ChannelName::Q => Channel::Q,
                },
                is_subtracted: entry.polarity == PolarityName::Minus,
                lo: terminals[0],
                rf: terminals[1],
                gain,
            });
        }
        for (channel, name) in [(Channel::I, "i"), (Channel::Q, "q")] {
            if !mixers.iter().any(|mixer| mixer.channel == channel) {
                return Err(self.anywhere(DescriptionProblem::EmptyChannel { channel: name }));
            }
        }
        Ok(mixers)
    }

    /// The farthest frequency outside a file's data is an error.
    fn check_cover(
        &self,
        network: &Network,
        needs: &[Need],
        what: &str,
        span: Range<usize>,
    ) -> Result<(), DescriptionError> {
        let (first_hz, last_hz) = (network.grid().first_hz(), network.grid().last_hz());
        let beyond = |need: &&Need| (first_hz - need.frequency_hz).max(need.frequency_hz - last_hz);
        match needs.iter().max_by(|one, other| beyond(one).total_cmp(&beyond(other))) {
            Some(need) if beyond(&need) > 0.0 => Err(self.at(
                DescriptionProblem::OutsideFile {
                    what: what.to_owned(),
                    covers: format!(
                        "covers {} to {}",
                        ShownFrequency(first_hz),
                        ShownFrequency(last_hz)
                    ),
                    frequency_hz: need.frequency_hz,
                    need: need.purpose.clone(),
                },
                span,
            )),
            _ => Ok(()),
        }
    }

    fn built(
        &self,
        block: &BlockEntry,
        grid: &FrequencyGrid,
        span: Range<usize>,
    ) -> Result<Network, DescriptionError> {
        match &block.component {
            Some(component) => component
                .get_ref()
                .build(grid)
                .map_err(|error| self.at(error.into(), component.span())),
            None => {
                let name = block.name.get_ref().clone();
                Err(self.at(DescriptionProblem::NoSource { name }, span))
            }
        }
    }

    fn receiver_part(
        &self,
        block: &BlockEntry,
        part: &Part,
        network: OnWays,
    ) -> Result<ReceiverPart, DescriptionError> {
        if let Some(nominal) = &block.nominal_deg
            && !nominal.get_ref().is_finite()
        {
            return Err(self.value(nominal, "nominal_deg is a finite number"));
        }
        Ok(ReceiverPart {
            name: part.name.clone(),
            ports: part.ports.clone(),
            kind: block.kind.as_ref().map(|kind| match kind.get_ref() {
                KindName::Quadrature => PartKind::Splitter(SplitterKind::Quadrature),
                KindName::Antiphase => PartKind::Splitter(SplitterKind::Antiphase),
                KindName::Inphase => PartKind::Splitter(SplitterKind::Inphase),
                KindName::Line => PartKind::Line,
            }),
            nominal_deg: block.nominal_deg.as_ref().map(|nominal| *nominal.get_ref()),
            pair: block.pair.clone(),
            network,
        })
    }

    fn mixing(
        &self,
        description: &ReceiverDescription,
        plan: &ReceiverPlan,
    ) -> Result<Mixing, DescriptionError> {
        let exponent = match &description.mixing.lo_amplitude_exponent {
            None => 1.0,
            Some(given) if (0.0..=10.0).contains(given.get_ref()) => *given.get_ref(),
            Some(given) => {
                return Err(self.value(given, "lo_amplitude_exponent is from 0 to 10"));
            }
        };
        // Both factors are at most 1000.
        let turns = plan.lo_harmonic * plan.lo_multiplication_after_split;
        Ok(Mixing {
            lo_amplitude_exponent: exponent,
            lo_harmonic: i32::try_from(turns).unwrap_or(i32::MAX),
        })
    }

    fn output(
        &self,
        description: &ReceiverDescription,
        plan: &ReceiverPlan,
        notes: &mut Notes,
    ) -> Result<OutputStage, DescriptionError> {
        let points = plan.if_hz.len();
        let grid = FrequencyGrid::from_hz(plan.if_hz.clone())
            .map_err(|error| self.anywhere(error.into()))?;
        let mut paths = [vec![Complex64::ONE; points], vec![Complex64::ONE; points]];
        let path_files = description.if_path.iter().flat_map(|path| [&path.i, &path.q]);
        for (at, file) in path_files.enumerate() {
            let Some(file) = file else { continue };
            let network = self.if_network(file, &grid, notes)?;
            if network.ports() != 2 {
                return Err(self.value(
                    file,
                    format!("an IF path has two ports, this file {}", network.ports()),
                ));
            }
            let [input, output] = [Port::from_index(0), Port::from_index(1)];
            paths[at] = (0..points).map(|point| network.matrix(point).at(output, input)).collect();
            if paths[at].iter().any(|transfer| transfer.norm() == 0.0) {
                return Err(self.value(file, "this IF path lets nothing through from 1 to 2"));
            }
        }
        let with_paths = |transfers: Vec<Combination>| -> Vec<Combination> {
            transfers
                .into_iter()
                .enumerate()
                .map(|(point, transfer)| Combination {
                    i: transfer.i * paths[0][point],
                    q: transfer.q * paths[1][point],
                })
                .collect()
        };
        let (choices, ideal_choices) = match &description.if_hybrid {
            Some(hybrid) => self.hybrid_choices(description, hybrid, &grid, notes)?,
            None => {
                let (plus, minus) = (Combination::I_PLUS_JQ, Combination::I_MINUS_JQ);
                let made: Vec<OutputChoice> = [
                    (CombineName::IPlusJq, "I + jQ", plus),
                    (CombineName::IMinusJq, "I - jQ", minus),
                ]
                .into_iter()
                .filter(|(name, _, _)| {
                    description.combine == CombineName::Auto || description.combine == *name
                })
                .map(|(_, name, combination)| OutputChoice {
                    name: name.to_owned(),
                    transfers: vec![combination; points],
                })
                .collect();
                (made.clone(), made)
            }
        };
        let choices = choices
            .into_iter()
            .map(|choice| OutputChoice { transfers: with_paths(choice.transfers), ..choice })
            .collect();
        let correction = &description.correction;
        let mut values = [0.0, 0.0];
        for (value, given) in
            values.iter_mut().zip([&correction.amplitude_db, &correction.phase_deg])
        {
            if let Some(given) = given {
                if !(-1000.0..=1000.0).contains(given.get_ref()) {
                    return Err(self.value(given, "a correction is a number from -1000 to 1000"));
                }
                *value = *given.get_ref();
            }
        }
        Ok(OutputStage {
            choices,
            ideal_choices,
            correction: Complex64::from_polar(amplitude_from_db(values[0]), values[1].to_radians()),
            has_if_parts: description.if_path.is_some() || description.if_hybrid.is_some(),
        })
    }

    fn if_network(
        &self,
        file: &Spanned<PathBuf>,
        grid: &FrequencyGrid,
        notes: &mut Notes,
    ) -> Result<Network, DescriptionError> {
        let network = self.read(file, notes)?;
        let what = format!("the IF file {}", file.get_ref().display());
        let needs: Vec<Need> = grid
            .as_hz()
            .iter()
            .map(|&frequency_hz| Need { frequency_hz, purpose: "IF".to_owned() })
            .collect();
        self.check_cover(&network, &needs, &what, file.span())?;
        let scattering = convert(&network, ParameterKind::Scattering)
            .map_err(|error| self.at(error.into(), file.span()))?;
        self.on_grid(&scattering, grid, &what, file.span(), notes)
    }

    /// The hybrid's outputs as it is, and as it should be.
    fn hybrid_choices(
        &self,
        description: &ReceiverDescription,
        hybrid: &IfHybridEntry,
        grid: &FrequencyGrid,
        notes: &mut Notes,
    ) -> Result<(Vec<OutputChoice>, Vec<OutputChoice>), DescriptionError> {
        if description.combine != CombineName::Auto {
            return Err(self.value(
                &hybrid.output,
                "the IF hybrid puts I and Q together; leave combine out, and choose an output",
            ));
        }
        let network = match (&hybrid.file, &hybrid.component) {
            (Some(file), None) => self.if_network(file, grid, notes)?,
            (None, Some(component)) => component
                .get_ref()
                .build(grid)
                .map_err(|error| self.at(error.into(), component.span()))?,
            _ => {
                return Err(
                    self.value(&hybrid.output, "the IF hybrid is either a file or a component")
                );
            }
        };
        let port = |number: usize, span: Range<usize>| match Port::from_number(number) {
            Some(port) if number <= network.ports() => Ok(port),
            _ => Err(self.at(
                DescriptionProblem::Value {
                    what: format!("the IF hybrid has ports 1 to {}", network.ports()),
                },
                span,
            )),
        };
        let i = port(*hybrid.i.get_ref(), hybrid.i.span())?;
        let q = port(*hybrid.q.get_ref(), hybrid.q.span())?;
        let outputs = match hybrid.output.get_ref() {
            PortChoice::One(number) => vec![*number],
            PortChoice::AnyOf(list) => list.clone(),
        };
        let (mut real, mut ideal) = (Vec::new(), Vec::new());
        for number in outputs {
            let output = port(number, hybrid.output.span())?;
            if i == q || output == i || output == q {
                return Err(self.value(&hybrid.output, "i, q and output are different ports"));
            }
            let transfers: Vec<Combination> = (0..grid.len())
                .map(|point| {
                    let matrix = network.matrix(point);
                    Combination { i: matrix.at(output, i), q: matrix.at(output, q) }
                })
                .collect();
            if transfers.iter().any(|transfer| transfer.i.norm() * transfer.q.norm() == 0.0) {
                return Err(self.value(
                    &hybrid.output,
                    format!("nothing comes from i or q to port {number} of the IF hybrid"),
                ));
            }
            // The side on which Q lies is that of the middle of the IF.
            let middle = transfers[transfers.len() / 2];
            let turn = if (middle.q / middle.i).im < 0.0 { -Complex64::I } else { Complex64::I };
            let name = format!("IF hybrid port {number}");
            let matched =
                transfers.iter().map(|at| Combination { i: at.i, q: at.i * turn }).collect();
            real.push(OutputChoice { name: name.clone(), transfers });
            ideal.push(OutputChoice { name, transfers: matched });
        }
        if real.is_empty() {
            return Err(self.value(&hybrid.output, "the IF hybrid needs an output"));
        }
        Ok((real, ideal))
    }

    fn positive(
        &self,
        given: Option<&Spanned<f64>>,
        name: &str,
    ) -> Result<Option<f64>, DescriptionError> {
        match given {
            Some(given) if !(*given.get_ref() > 0.0 && given.get_ref().is_finite()) => {
                Err(self.value(given, format!("{name} is a positive number")))
            }
            given => Ok(given.map(|given| *given.get_ref())),
        }
    }

    fn trim_steps(&self, description: &ReceiverDescription) -> Result<TrimSteps, DescriptionError> {
        let given = &description.correction;
        Ok(TrimSteps {
            amplitude_db: self
                .positive(given.amplitude_step_db.as_ref(), "amplitude_step_db")?
                .unwrap_or(0.1),
            phase_deg: self
                .positive(given.phase_step_deg.as_ref(), "phase_step_deg")?
                .unwrap_or(0.5),
        })
    }

    fn ring(&self, description: &ReceiverDescription) -> Result<RingSettings, DescriptionError> {
        let magnitude = |given: &Option<Spanned<f64>>| match given {
            Some(given) if !(0.0..1.0).contains(given.get_ref()) => {
                Err(self.value(given, "a reflection's magnitude is from 0 to below 1"))
            }
            given => Ok(given.as_ref().map(|given| *given.get_ref())),
        };
        Ok(RingSettings {
            mixer_reflection: magnitude(&description.load_ring.mixer_reflection)?,
            isolated_reflection: magnitude(&description.load_ring.isolated_reflection)?,
        })
    }

    fn limits(
        &self,
        description: &ReceiverDescription,
    ) -> Result<ReceiverLimits, DescriptionError> {
        let require = &description.require;
        if let Some(limit) = &require.lo_power_dbm_min
            && !limit.get_ref().is_finite()
        {
            return Err(self.value(limit, "lo_power_dbm_min is a finite number"));
        }
        Ok(ReceiverLimits {
            image_rejection_db: self
                .positive(require.image_rejection_db.as_ref(), "image_rejection_db")?,
            amplitude_imbalance_db: self
                .positive(require.amplitude_imbalance_db.as_ref(), "amplitude_imbalance_db")?,
            quadrature_error_deg: self
                .positive(require.quadrature_error_deg.as_ref(), "quadrature_error_deg")?,
            lo_power_dbm_min: require.lo_power_dbm_min.as_ref().map(|limit| *limit.get_ref()),
        })
    }
}
