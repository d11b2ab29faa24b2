//! Connection of any number of networks, port to port.
//!
//! Ports that are joined share one real reference impedance; blocks are brought to it first. A join
//! of k > 2 ports is an ideal parallel junction, S = 2/k - 1 on the diagonal and 2/k off it, whose
//! ports are then joined pairwise. For a pair (k, l), a_k = b_l and a_l = b_k, so the remaining
//! ports i, j of the blocks concerned change by
//!
//! S_ij += S_ik x_j + S_il y_j,  x_j = ((1 - S_kl) S_lj + S_ll S_kj) / D,
//! y_j = ((1 - S_lk) S_kj + S_kk S_lj) / D,  D = (1 - S_kl)(1 - S_lk) - S_kk S_ll.
//!
//! The order of the pairs is chosen once for a sweep, so that the fewest ports are touched; the
//! sweep itself allocates nothing per frequency. Where D is small the frequency is solved again as
//! one system with pivoting, (P - S_ii) a_i = S_ie a_e with P the matrix of the joins. If that
//! system is singular too, a lossless loop resonates at this frequency.

use super::lu::Lu;
use super::wiring::{Terminal, Wiring};
use super::{
    FrequencyGrid, Network, NetworkError, ParameterKind, Port, WaveDefinition, change_reference,
    convert,
};
use num_complex::Complex64;
use rayon::prelude::{
    IndexedParallelIterator as _, IntoParallelIterator as _, ParallelIterator as _,
    ParallelSliceMut as _,
};
use std::borrow::Cow;

/// Joins with a smaller |D| are solved again with pivoting.
const SMALL_DETERMINANT: f64 = 1e-3;
/// Sweeps with less work than this (multiplications) are not distributed to other threads.
const WORTH_SHARING: usize = 2_000_000;

/// Joins blocks into one network of the outer ports.
///
/// Blocks may have any parameter, reference impedances and waves. The result is S in power waves.
/// The reference impedance of an outer port is the real part of its own, or that of its node where
/// the port is in a join too. The blocks must share one grid: see
/// [`on_common_grid`](super::on_common_grid).
///
/// # Errors
/// [`NetworkError::NoSuchPort`]; [`NetworkError::JoinedTwice`] and [`NetworkError::UnconnectedPort`] for
/// a port that is in two joins or in none; [`NetworkError::MixedMode`];
/// [`NetworkError::UnequalGrids`]; [`NetworkError::SingularLoop`] with the join and the frequency at
/// which a lossless loop has no finite answer.
pub fn join(blocks: &[Network], wiring: &Wiring) -> Result<Network, NetworkError> {
    Assembly::new(blocks, wiring)?.solve()
}

/// Voltages at ports of joined blocks, at one frequency point.
///
/// Returns a row for each of `terminals`, with a column for each outer port of the wiring: volts
/// per square root of a watt that a matched source would deliver into that outer port, all other
/// outer ports being terminated in their reference impedances.
///
/// # Errors
/// Those of [`join`], [`NetworkError::NoSuchBlock`] and [`NetworkError::NoSuchPort`] for a terminal
/// that is not there, [`NetworkError::NoSuchPoint`] for a point beyond the blocks' grid.
///
/// # Examples
/// ```
/// use fourphase::network::{
///     FrequencyGrid, Network, ParameterKind, Port, Terminal, Wiring, port_voltages,
/// };
///
/// // A matched one-port absorbs the whole watt: the square root of 50 ohm, in volts.
/// let grid = FrequencyGrid::from_hz(vec![29e9])?;
/// let matched = Network::new(ParameterKind::Scattering, grid, 1, vec![0.0.into()], vec![50.0.into()])?;
/// let port = Terminal { block: 0, port: Port::from_index(0) };
/// let wiring = Wiring { joins: Vec::new(), outside: vec![port] };
/// let volts = port_voltages(&[matched], &wiring, &[port], 0)?;
/// assert!((volts[0][0].re - 50_f64.sqrt()).abs() < 1e-12);
/// # Ok::<(), fourphase::network::NetworkError>(())
/// ```
pub fn port_voltages(
    blocks: &[Network],
    wiring: &Wiring,
    terminals: &[Terminal],
    point: usize,
) -> Result<Vec<Vec<Complex64>>, NetworkError> {
    let assembly = Assembly::new(blocks, wiring)?;
    if point >= assembly.grid.len() {
        return Err(NetworkError::NoSuchPoint { point, points: assembly.grid.len() });
    }
    for terminal in terminals {
        let block = blocks
            .get(terminal.block)
            .ok_or(NetworkError::NoSuchBlock { block: terminal.block })?;
        block.check_port(terminal.port)?;
    }
    let waves = assembly.waves(point)?;
    Ok(terminals.iter().map(|&terminal| assembly.voltages(&waves, terminal)).collect())
}

/// The reference impedances, in ohms, that [`join`] uses: ports of one node take that of its first
/// port, others keep the real part of their own.
///
/// # Panics
/// If the wiring names a port that is not there.
#[must_use]
fn node_references(blocks: &[Network], wiring: &Wiring) -> Vec<Vec<f64>> {
    let own_ohm =
        |terminal: &Terminal| blocks[terminal.block].references_ohm(0)[terminal.port.index()].re;
    let mut targets: Vec<Vec<f64>> = blocks
        .iter()
        .enumerate()
        .map(|(block, network)| {
            let port = |index| Terminal { block, port: Port::from_index(index) };
            (0..network.ports()).map(|index| own_ohm(&port(index))).collect()
        })
        .collect();
    for node in &wiring.joins {
        let node_ohm = own_ohm(&node[0]);
        for terminal in node {
            targets[terminal.block][terminal.port.index()] = node_ohm;
        }
    }
    targets
}

/// The scattering matrices of a network in real reference impedances; its own where they are that
/// already.
fn scattering_in<'n>(
    network: &'n Network,
    targets_ohm: &[f64],
) -> Result<Cow<'n, [Complex64]>, NetworkError> {
    let is_own = |(own, target): (&Complex64, &f64)| *own == Complex64::from(*target);
    if network.kind() == ParameterKind::Scattering
        && network.wave_definition() == WaveDefinition::Kurokawa
        && network.has_constant_references()
        && network.references_ohm(0).iter().zip(targets_ohm).all(is_own)
    {
        return Ok(Cow::Borrowed(network.entries()));
    }
    let scattering = convert(network, ParameterKind::Scattering)?;
    let references = targets_ohm.iter().map(|&ohm| ohm.into()).collect();
    let moved = change_reference(&scattering, references, WaveDefinition::Kurokawa)?;
    Ok(Cow::Owned(moved.entries().to_vec()))
}

/// One pair of ports to eliminate, and the ports it changes.
#[derive(Clone, Debug)]
struct Step {
    k: usize,
    l: usize,
    /// Remaining ports in the block of k, then those in the block of l; the same list twice if k
    /// and l are in one block already.
    beside_k: Vec<usize>,
    beside_l: Vec<usize>,
    is_loop: bool,
    /// Index of its join in the wiring.
    join: usize,
}

/// Networks prepared to be joined: one common grid, real reference impedances, joins in pairs.
#[derive(Clone, Debug)]
struct Assembly<'b> {
    grid: FrequencyGrid,
    /// Scattering matrices of all blocks, junctions included.
    blocks: Vec<Cow<'b, [Complex64]>>,
    /// Ports of each block, and the index of its first port among all.
    sizes: Vec<usize>,
    starts: Vec<usize>,
    /// Reference of every port, all real.
    references_ohm: Vec<f64>,
    pairs: Vec<(usize, usize, usize)>,
    outside: Vec<usize>,
    steps: Vec<Step>,
}

impl<'b> Assembly<'b> {
    /// Checks the wiring and plans the order of elimination.
    ///
    /// # Errors
    /// See [`join`].
    fn new(blocks: &'b [Network], wiring: &Wiring) -> Result<Self, NetworkError> {
        let grid =
            blocks.first().map(|block| block.grid().clone()).ok_or(NetworkError::NoNetworks)?;
        for (at, block) in blocks.iter().enumerate() {
            if block.modes().is_some() {
                return Err(NetworkError::MixedMode);
            }
            if *block.grid() != grid {
                return Err(NetworkError::UnequalGrids { block: at });
            }
        }
        check_wiring(blocks, wiring)?;

        let targets = node_references(blocks, wiring);
        let mut made = Self {
            blocks: Vec::new(),
            sizes: Vec::new(),
            starts: Vec::new(),
            references_ohm: Vec::new(),
            pairs: Vec::new(),
            outside: Vec::new(),
            steps: Vec::new(),
            grid,
        };
        for (network, targets_ohm) in blocks.iter().zip(&targets) {
            made.push(scattering_in(network, targets_ohm)?, targets_ohm);
        }
        let place =
            |made: &Self, terminal: &Terminal| made.starts[terminal.block] + terminal.port.index();
        for terminal in &wiring.outside {
            let at = place(&made, terminal);
            made.outside.push(at);
        }
        for (join, node) in wiring.joins.iter().enumerate() {
            let members: Vec<usize> = node.iter().map(|terminal| place(&made, terminal)).collect();
            let taps: Vec<usize> =
                (0..made.outside.len()).filter(|&at| node.contains(&wiring.outside[at])).collect();
            if members.len() == 2 && taps.is_empty() {
                made.pairs.push((members[0], members[1], join));
                continue;
            }
            let node_ohm = made.references_ohm[members[0]];
            let ports = members.len() + taps.len();
            let start = made.push_junction(ports, node_ohm);
            for (at, member) in members.iter().enumerate() {
                made.pairs.push((*member, start + at, join));
            }
            for (at, tap) in taps.iter().enumerate() {
                made.outside[*tap] = start + members.len() + at;
            }
        }
        made.plan();
        Ok(made)
    }

    fn push(&mut self, entries: Cow<'b, [Complex64]>, references_ohm: &[f64]) {
        self.starts.push(self.references_ohm.len());
        self.sizes.push(references_ohm.len());
        self.references_ohm.extend(references_ohm);
        self.blocks.push(entries);
    }

    /// Adds an ideal parallel junction and returns its first port.
    fn push_junction(&mut self, ports: usize, reference_ohm: f64) -> usize {
        #[expect(clippy::cast_precision_loss, reason = "a node has few ports")]
        let through = 2.0 / ports as f64;
        let matrix = (0..ports * ports)
            .map(|at| Complex64::from(if at % (ports + 1) == 0 { through - 1.0 } else { through }));
        let one: Vec<Complex64> = matrix.collect();
        let start = self.references_ohm.len();
        self.push(one.repeat(self.grid.len()).into(), &vec![reference_ohm; ports]);
        start
    }

    /// Chooses the order of the pairs: always the pair that touches the fewest ports.
    fn plan(&mut self) {
        let mut group_of: Vec<usize> = Vec::with_capacity(self.references_ohm.len());
        for (block, &size) in self.sizes.iter().enumerate() {
            group_of.extend(std::iter::repeat_n(block, size));
        }
        let mut members: Vec<Vec<usize>> = self
            .starts
            .iter()
            .zip(&self.sizes)
            .map(|(&start, &size)| (start..start + size).collect())
            .collect();
        let mut open = self.pairs.clone();
        loop {
            let cost = |&(k, l, _): &(usize, usize, usize)| {
                let (one, other) = (group_of[k], group_of[l]);
                if one == other {
                    2 * members[one].len().pow(2)
                } else {
                    (members[one].len() + members[other].len()).pow(2)
                }
            };
            let Some(cheapest) = (0..open.len()).min_by_key(|&at| cost(&open[at])) else { break };
            let (k, l, join) = open.swap_remove(cheapest);
            let (one, other) = (group_of[k], group_of[l]);
            let is_loop = one == other;
            let beside = |group: usize| -> Vec<usize> {
                members[group].iter().copied().filter(|&port| port != k && port != l).collect()
            };
            let (beside_k, beside_l) = (beside(one), beside(other));
            if is_loop {
                members[one].clone_from(&beside_k);
            } else {
                members[one] = beside_k.iter().chain(&beside_l).copied().collect();
                members[other].clear();
                for &port in &beside_l {
                    group_of[port] = one;
                }
            }
            self.steps.push(Step { k, l, beside_k, beside_l, is_loop, join });
        }
    }

    /// Solves for the network of the outer ports.
    ///
    /// # Errors
    /// [`NetworkError::SingularLoop`].
    fn solve(&self) -> Result<Network, NetworkError> {
        let outside = self.outside.len();
        let size = outside * outside;
        let mut entries = vec![Complex64::ZERO; self.grid.len() * size];
        let work: usize =
            self.steps.iter().map(|step| (step.beside_k.len() + step.beside_l.len()).pow(2)).sum();
        if size > 0 {
            let solve = |workspace: &mut Workspace, point: usize, matrix: &mut [Complex64]| {
                self.solve_point(workspace, point, matrix)
            };
            if work * self.grid.len() > WORTH_SHARING {
                entries
                    .par_chunks_exact_mut(size)
                    .zip((0..self.grid.len()).into_par_iter())
                    .try_for_each_init(
                        || Workspace::new(self),
                        |workspace, (matrix, point)| solve(workspace, point, matrix),
                    )?;
            } else {
                let mut workspace = Workspace::new(self);
                for (point, matrix) in entries.chunks_exact_mut(size).enumerate() {
                    solve(&mut workspace, point, matrix)?;
                }
            }
        }
        let references =
            self.outside.iter().map(|&port| self.references_ohm[port].into()).collect();
        Network::new(ParameterKind::Scattering, self.grid.clone(), outside, entries, references)
    }

    fn solve_point(
        &self,
        workspace: &mut Workspace,
        point: usize,
        matrix: &mut [Complex64],
    ) -> Result<(), NetworkError> {
        self.load(&mut workspace.scattering, point);
        let outside = self.outside.len();
        for step in &self.steps {
            if !workspace.eliminate(step) {
                let waves = self.waves(point)?;
                matrix.copy_from_slice(&waves.outgoing_outside(self));
                return Ok(());
            }
        }
        let all = self.references_ohm.len();
        for (row, &to) in self.outside.iter().enumerate() {
            for (column, &from) in self.outside.iter().enumerate() {
                matrix[row * outside + column] = workspace.scattering[to * all + from];
            }
        }
        Ok(())
    }

    /// Copies the blocks' matrices of one point into one matrix over all ports. Entries between
    /// different blocks are never read before they are written.
    fn load(&self, scattering: &mut [Complex64], point: usize) {
        let all = self.references_ohm.len();
        scattering.fill(Complex64::ZERO);
        for ((entries, &size), &start) in self.blocks.iter().zip(&self.sizes).zip(&self.starts) {
            let matrix = &entries[point * size * size..(point + 1) * size * size];
            for (row, values) in matrix.chunks_exact(size).enumerate() {
                let from = (start + row) * all + start;
                scattering[from..from + size].copy_from_slice(values);
            }
        }
    }

    /// All waves at one point, for a unit wave into each outer port in turn, by one system with
    /// pivoting.
    ///
    /// # Errors
    /// [`NetworkError::SingularLoop`].
    ///
    /// # Panics
    /// If there is no such point.
    fn waves(&self, point: usize) -> Result<Waves, NetworkError> {
        let all = self.references_ohm.len();
        let mut scattering = vec![Complex64::ZERO; all * all];
        self.load(&mut scattering, point);
        // a = P b + e with P the joins; b = S a. So (1 - P S) a = e.
        let mut partner: Vec<Option<usize>> = vec![None; all];
        for &(k, l, _) in &self.pairs {
            partner[k] = Some(l);
            partner[l] = Some(k);
        }
        let mut system = vec![Complex64::ZERO; all * all];
        for port in 0..all {
            if let Some(other) = partner[port] {
                for column in 0..all {
                    system[port * all + column] = -scattering[other * all + column];
                }
            }
            system[port * all + port] += 1.0;
        }
        let columns = self.outside.len();
        let mut incoming = vec![Complex64::ZERO; all * columns];
        for (column, &port) in self.outside.iter().enumerate() {
            incoming[port * columns + column] = Complex64::ONE;
        }
        let mut lu = Lu::new(all);
        if lu.factor(&system).is_err() {
            return Err(self.ringing(point));
        }
        lu.solve(&mut incoming, columns);
        let mut outgoing = vec![Complex64::ZERO; all * columns];
        for (row, out) in scattering.chunks_exact(all).zip(outgoing.chunks_exact_mut(columns)) {
            for (factor, into) in row.iter().zip(incoming.chunks_exact(columns)) {
                for (sum, wave) in out.iter_mut().zip(into) {
                    *sum += factor * wave;
                }
            }
        }
        Ok(Waves { columns, incoming, outgoing })
    }

    /// The singular join: the one with the smallest determinant.
    fn ringing(&self, point: usize) -> NetworkError {
        let mut workspace = Workspace::new(self);
        self.load(&mut workspace.scattering, point);
        let mut worst = (f64::INFINITY, 0);
        for step in &self.steps {
            let size = workspace.determinant(step).norm();
            if size < worst.0 {
                worst = (size, step.join);
            }
            if !workspace.eliminate(step) {
                break;
            }
        }
        NetworkError::SingularLoop { join: worst.1, frequency_hz: self.grid.as_hz()[point] }
    }

    /// Volts at a port of a block per square root of a watt into each outer port, from the waves of
    /// the same assembly.
    #[must_use]
    fn voltages(&self, waves: &Waves, terminal: Terminal) -> Vec<Complex64> {
        let port = self.starts[terminal.block] + terminal.port.index();
        let scale = self.references_ohm[port].sqrt();
        let at = |column: usize| port * waves.columns + column;
        (0..waves.columns)
            .map(|column| (waves.incoming[at(column)] + waves.outgoing[at(column)]) * scale)
            .collect()
    }
}

/// Waves into and out of every port, one column per driven outer port.
#[derive(Clone, Debug)]
struct Waves {
    columns: usize,
    incoming: Vec<Complex64>,
    outgoing: Vec<Complex64>,
}

impl Waves {
    fn outgoing_outside(&self, assembly: &Assembly<'_>) -> Vec<Complex64> {
        let rows = assembly.outside.iter();
        rows.flat_map(|&port| {
            self.outgoing[port * self.columns..(port + 1) * self.columns].iter().copied()
        })
        .collect()
    }
}

/// Buffers of one thread, used for one frequency after the other.
struct Workspace {
    ports: usize,
    scattering: Vec<Complex64>,
    x: Vec<Complex64>,
    y: Vec<Complex64>,
}

impl Workspace {
    fn new(assembly: &Assembly<'_>) -> Self {
        let ports = assembly.references_ohm.len();
        let zeros = |length| vec![Complex64::ZERO; length];
        Self { ports, scattering: zeros(ports * ports), x: zeros(ports), y: zeros(ports) }
    }

    fn determinant(&self, step: &Step) -> Complex64 {
        let at = |row: usize, column: usize| self.scattering[row * self.ports + column];
        let (k, l) = (step.k, step.l);
        (1.0 - at(k, l)) * (1.0 - at(l, k)) - at(k, k) * at(l, l)
    }

    /// Eliminates one pair; false where it should be solved with pivoting instead.
    fn eliminate(&mut self, step: &Step) -> bool {
        let determinant = self.determinant(step);
        // The square of the limit is far from the smallest number.
        if determinant.norm_sqr() < SMALL_DETERMINANT * SMALL_DETERMINANT {
            return false;
        }
        let inverse = determinant.inv();
        let (n, s) = (self.ports, &mut self.scattering);
        let (k, l) = (step.k, step.l);
        if step.is_loop {
            let (kk, kl) = (s[k * n + k] * inverse, (1.0 - s[k * n + l]) * inverse);
            let (lk, ll) = ((1.0 - s[l * n + k]) * inverse, s[l * n + l] * inverse);
            for (at, &j) in step.beside_k.iter().enumerate() {
                let (from_k, from_l) = (s[k * n + j], s[l * n + j]);
                self.x[at] = kl * from_l + ll * from_k;
                self.y[at] = lk * from_k + kk * from_l;
            }
            for &i in &step.beside_k {
                let (to_k, to_l) = (s[i * n + k], s[i * n + l]);
                let row = &mut s[i * n..(i + 1) * n];
                for ((&j, x), y) in step.beside_k.iter().zip(&self.x).zip(&self.y) {
                    row[j] += to_k * x + to_l * y;
                }
            }
            return true;
        }
        // Two blocks: S_kl = S_lk = 0, and one product couples them.
        let (kk, ll) = (s[k * n + k] * inverse, s[l * n + l] * inverse);
        let half = step.beside_k.len();
        for (at, &j) in step.beside_k.iter().enumerate() {
            let from_k = s[k * n + j];
            self.x[at] = ll * from_k;
            self.y[at] = inverse * from_k;
        }
        for (at, &j) in step.beside_l.iter().enumerate() {
            let from_l = s[l * n + j];
            self.x[half + at] = inverse * from_l;
            self.y[half + at] = kk * from_l;
        }
        for (side, through, factors) in [(&step.beside_k, k, &self.x), (&step.beside_l, l, &self.y)]
        {
            for &i in side {
                let to = s[i * n + through];
                let row = &mut s[i * n..(i + 1) * n];
                for (&j, factor) in step.beside_k.iter().chain(&step.beside_l).zip(factors) {
                    row[j] += to * factor;
                }
            }
        }
        true
    }
}

fn check_wiring(blocks: &[Network], wiring: &Wiring) -> Result<(), NetworkError> {
    let mut joined = std::collections::HashSet::new();
    let check = |terminal: &Terminal| -> Result<(), NetworkError> {
        let block = blocks
            .get(terminal.block)
            .ok_or(NetworkError::NoSuchBlock { block: terminal.block })?;
        block.check_port(terminal.port).map(drop)
    };
    for node in &wiring.joins {
        if node.len() < 2 {
            return Err(NetworkError::JoinTooSmall);
        }
        for terminal in node {
            check(terminal)?;
            if !joined.insert(*terminal) {
                return Err(NetworkError::JoinedTwice { terminal: *terminal });
            }
        }
    }
    let mut outside = std::collections::HashSet::new();
    for terminal in &wiring.outside {
        check(terminal)?;
        if !outside.insert(*terminal) {
            return Err(NetworkError::JoinedTwice { terminal: *terminal });
        }
    }
    for (block, network) in blocks.iter().enumerate() {
        for index in 0..network.ports() {
            let terminal = Terminal { block, port: Port::from_index(index) };
            if !joined.contains(&terminal) && !outside.contains(&terminal) {
                return Err(NetworkError::UnconnectedPort { terminal });
            }
        }
    }
    Ok(())
}
