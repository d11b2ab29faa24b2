//! fourphase: from Touchstone files of a receiver's parts to its quadrature balance and image
//! rejection.
//!
//! In an IQ downconverter the local oscillator is split by a quadrature coupler, made differential
//! by baluns, and drives mixers whose outputs are I and Q. How well amplitude and phase of those
//! splits match sets how well the image is rejected. This crate reads the S-parameters of the
//! parts and says how good they are, over which band, and which one to mend first.
//!
//! Data run one way: Touchstone text becomes a [`network::Network`], analysis makes plain results
//! of it, and [`report`] and [`plot`] show those.
//!
//! | module | what is in it |
//! |---|---|
//! | [`units`] | dB, degrees, `27.5GHz` |
//! | [`diagnostic`] | positions in text files, errors with their source line |
//! | [`requirement`] | quantities, limits and verdicts |
//! | [`network`] | N-ports over frequency and their algebra |
//! | [`component`] | closed-form parts |
//! | [`touchstone`] | reading and writing files |
//! | [`splitter`] | one coupler, balun or divider |
//! | [`downconverter`] | networks and receivers described in TOML; image rejection, its budget and its correction |
//! | [`measurement`] | N-ports rebuilt from measurements of pairs of ports |
//! | [`wafer`] | many dies: positions, trends, yield |
//! | [`batch`] | a job over many dies |
//! | [`plot`] | pictures |
//! | [`report`] | text, JSON, CSV, and files that appear whole |
//! | [`cli`] | the command line |
//!
//! ```
//! use fourphase::splitter::{SplitterSettings, analyse};
//! use fourphase::touchstone::{ReadOptions, parse};
//!
//! // An ideal quadrature hybrid: ports input, through, coupled, isolated.
//! let text = "# GHz S RI R 50
//! 29  0 0         0 -0.70711  -0.70711 0   0 0
//!     0 -0.70711  0 0          0 0        -0.70711 0
//!    -0.70711 0   0 0          0 0         0 -0.70711
//!     0 0        -0.70711 0    0 -0.70711  0 0";
//! let file = parse(text.as_bytes(), "hybrid.s4p".as_ref(), &ReadOptions::default())?;
//! let result = analyse(&file.network, &SplitterSettings::default())?;
//! assert_eq!(result.summary.worst_phase_error_deg.value, 0.0);
//! assert_eq!(result.summary.worst_rejection.value, f64::INFINITY);
//! # Ok::<(), Box<dyn std::error::Error>>(())
//! ```

pub mod batch;
pub mod cli;
pub mod component;
pub mod description;
pub mod diagnostic;
pub mod downconverter;
pub mod measurement;
pub mod network;
pub mod plot;
pub mod report;
pub mod requirement;
pub mod splitter;
pub mod touchstone;
pub mod units;
pub mod wafer;
