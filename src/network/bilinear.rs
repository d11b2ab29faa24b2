//! One method for every change of parameter, wave definition and reference impedance.
//!
//! A matrix M of any parameter relates a dependent to an independent quantity at each port:
//! d = M x, with (x, d) = (a, b) for S, (I, V) for Z, (V, I) for Y, and a mixture for H and G.
//! At every port (x, d) = Q (V, I) with a 2 by 2 matrix Q that the parameter, the reference and
//! the wave definition set. Going from Q to Q' is local to the port,
//!
//! x' = α x + β d,  d' = γ x + δ d,  so  M' = (γ + δ M)(α + β M)⁻¹
//!
//! with diagonal matrices α to δ. Every conversion between parameters, wave definitions and
//! reference impedances is this one step. No intermediate matrix is needed that may not exist: an
//! ideal zero-length line has no Z, yet its reference impedance can be changed.

use super::lu::{Lu, Singular};
use super::waves::PortWaves;
use super::{ParameterKind, WaveDefinition};
use num_complex::Complex64;

/// Q of one port, row-major: x = q0 V + q1 I, d = q2 V + q3 I.
#[derive(Clone, Copy, Debug)]
pub(super) struct PortFrame([Complex64; 4]);

impl PortFrame {
    pub(super) fn new(
        kind: ParameterKind,
        port: usize,
        reference_ohm: Complex64,
        waves: WaveDefinition,
    ) -> Self {
        const ZERO: Complex64 = Complex64::ZERO;
        const ONE: Complex64 = Complex64::ONE;
        let voltage_from_current = Self([ZERO, ONE, ONE, ZERO]);
        let current_from_voltage = Self([ONE, ZERO, ZERO, ONE]);
        match (kind, port) {
            (ParameterKind::Impedance, _)
            | (ParameterKind::HybridH, 0)
            | (ParameterKind::HybridG, 1) => voltage_from_current,
            (ParameterKind::Admittance, _)
            | (ParameterKind::HybridH, _)
            | (ParameterKind::HybridG, _) => current_from_voltage,
            (ParameterKind::Scattering, _) => {
                let PortWaves { factor, reference, reflected } =
                    PortWaves::new(waves, reference_ohm);
                Self([factor, factor * reference, factor, -factor * reflected])
            }
        }
    }
}

/// The diagonal entries α, β, γ, δ of one port.
#[derive(Clone, Copy, Debug)]
struct PortStep([Complex64; 4]);

impl PortStep {
    /// The step Q' Q⁻¹ from one frame to another.
    fn between(from: PortFrame, to: PortFrame) -> Self {
        let (PortFrame([a, b, c, d]), PortFrame([p, q, r, s])) = (from, to);
        let scale = (a * d - b * c).inv();
        Self([
            (p * d - q * c) * scale,
            (q * a - p * b) * scale,
            (r * d - s * c) * scale,
            (s * a - r * b) * scale,
        ])
    }
}

/// Buffers for transforming one matrix after another.
#[derive(Debug)]
pub(super) struct Bilinear {
    ports: usize,
    denominator: Vec<Complex64>,
    weights: Vec<f64>,
    lu: Lu,
}

impl Bilinear {
    pub(super) fn new(ports: usize) -> Self {
        Self {
            ports,
            denominator: vec![Complex64::ZERO; ports * ports],
            weights: vec![1.0; ports],
            lu: Lu::new(ports),
        }
    }

    /// Transforms `matrix` in place, port by port, from the first frame of a pair to the second.
    pub(super) fn transform(
        &mut self,
        matrix: &mut [Complex64],
        frames: impl Iterator<Item = (PortFrame, PortFrame)>,
    ) -> Result<(), Singular> {
        let n = self.ports;
        for (row, (from, to)) in frames.enumerate() {
            let PortStep([alpha, beta, gamma, delta]) = PortStep::between(from, to);
            // Volts and amperes differ in size; scaling the rows of the denominator makes the test
            // for singularity independent of units. The scale is removed at the end.
            let weight = 1.0 / (alpha.norm() + beta.norm());
            let range = row * n..(row + 1) * n;
            for (entry, below) in
                matrix[range.clone()].iter_mut().zip(&mut self.denominator[range.clone()])
            {
                *below = beta * *entry * weight;
                *entry *= delta;
            }
            matrix[row * n + row] += gamma;
            self.denominator[row * n + row] += alpha * weight;
            self.weights[row] = weight;
        }
        self.lu.factor(&self.denominator)?;
        self.lu.solve_right(matrix);
        for row in matrix.chunks_exact_mut(n) {
            for (entry, weight) in row.iter_mut().zip(&self.weights) {
                *entry *= weight;
            }
        }
        Ok(())
    }
}
