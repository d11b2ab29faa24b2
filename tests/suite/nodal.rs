//! A small nodal-analysis solver, for checks only.
//!
//! It shares nothing with the library: a circuit is a matrix of node admittances, ports are nodes
//! with a reference resistance to ground, and S = 2 √G (Y + G)⁻¹ √G - 1. Lines and coupled lines
//! enter by their admittance matrices (cosh and sinh forms, any textbook on transmission lines).

use nalgebra::DMatrix;
use num_complex::Complex64;

/// A node; ground is [`GROUND`].
pub(crate) type Node = usize;

/// The reference node.
pub(crate) const GROUND: Node = usize::MAX;

/// A uniform line: impedance in ohm and propagation exponent (attenuation in neper + j angle).
#[derive(Clone, Copy, Debug)]
pub(crate) struct Line {
    pub(crate) impedance_ohm: f64,
    pub(crate) exponent: Complex64,
}

impl Line {
    /// The diagonal and off-diagonal entries of its admittance matrix.
    fn admittance(self) -> (Complex64, Complex64) {
        let (sinh, cosh) = (self.exponent.sinh(), self.exponent.cosh());
        (cosh / sinh / self.impedance_ohm, -1.0 / sinh / self.impedance_ohm)
    }
}

/// A circuit at one frequency.
pub(crate) struct NodalCircuit {
    admittance: DMatrix<Complex64>,
}

impl NodalCircuit {
    pub(crate) fn new(nodes: usize) -> Self {
        Self { admittance: DMatrix::zeros(nodes, nodes) }
    }

    fn add(&mut self, row: Node, column: Node, value: Complex64) {
        if row != GROUND && column != GROUND {
            self.admittance[(row, column)] += value;
        }
    }

    /// An admittance in siemens between two nodes.
    pub(crate) fn branch(&mut self, a: Node, b: Node, siemens: Complex64) {
        self.add(a, a, siemens);
        self.add(b, b, siemens);
        self.add(a, b, -siemens);
        self.add(b, a, -siemens);
    }

    /// A line from a to b above ground.
    pub(crate) fn line(&mut self, a: Node, b: Node, line: Line) {
        let (same, other) = line.admittance();
        for (row, column, value) in [(a, a, same), (b, b, same), (a, b, other), (b, a, other)] {
            self.add(row, column, value);
        }
    }

    /// Two equal coupled lines, one from a1 to a2, the other from b1 to b2, by their modes.
    pub(crate) fn coupled(
        &mut self,
        [a1, a2]: [Node; 2],
        [b1, b2]: [Node; 2],
        even: Line,
        odd: Line,
    ) {
        let ((even_same, even_other), (odd_same, odd_other)) =
            (even.admittance(), odd.admittance());
        let own = (0.5 * (even_same + odd_same), 0.5 * (even_other + odd_other));
        let mutual = (0.5 * (even_same - odd_same), 0.5 * (even_other - odd_other));
        for (from, to, (same, other)) in [
            ([a1, a2], [a1, a2], own),
            ([b1, b2], [b1, b2], own),
            ([a1, a2], [b1, b2], mutual),
            ([b1, b2], [a1, a2], mutual),
        ] {
            self.add(from[0], to[0], same);
            self.add(from[1], to[1], same);
            self.add(from[0], to[1], other);
            self.add(from[1], to[0], other);
        }
    }

    /// The scattering matrix seen at nodes with real references, row-major.
    pub(crate) fn scattering(&self, ports: &[(Node, f64)]) -> Vec<Complex64> {
        let mut loaded = self.admittance.clone();
        for &(node, reference_ohm) in ports {
            loaded[(node, node)] += Complex64::from(1.0 / reference_ohm);
        }
        let impedance = loaded.try_inverse().expect("a circuit for a check has a solution");
        let mut s = Vec::new();
        for (row, &(to, to_ohm)) in ports.iter().enumerate() {
            for (column, &(from, from_ohm)) in ports.iter().enumerate() {
                let unit = if row == column { 1.0 } else { 0.0 };
                s.push(2.0 * impedance[(to, from)] / (to_ohm * from_ohm).sqrt() - unit);
            }
        }
        s
    }
}
