//! fourphase: from Touchstone files of a receiver's parts to its quadrature balance and image
//! rejection.
//!
//! In an IQ downconverter the local oscillator is split by a quadrature coupler, made differential
//! by baluns, and drives mixers whose outputs are I and Q. How well amplitude and phase of those
//! splits match sets how well the image is rejected. This crate reads the S-parameters of the
//! parts and computes how good the receiver is, over which band, and which part limits it.
//!
//! # Read, describe, solve, report
//!
//! Data run one way: a file becomes a checked value, an analysis makes plain results of it, and
//! [`report`] and [`plot`] show those. Whatever a command of the command line does, one call does.
//!
//! | module | what is in it |
//! |---|---|
//! | [`units`] | dB, degrees, `27.5GHz` |
//! | [`diagnostic`] | positions in text files, errors with their source line |
//! | [`regular_file`] | files that are opened only if they are regular, and read within bounds |
//! | [`quantile`] | quantiles of sorted values |
//! | [`requirement`] | quantity, limit, verdict |
//! | [`network`] | N-ports over frequency and their algebra |
//! | [`touchstone`] | reading and writing Touchstone files |
//! | [`component`] | closed-form parts |
//! | [`splitter`] | one coupler, balun or divider |
//! | [`downconverter`] | the receiver: image rejection, its budget and its correction |
//! | [`measurement`] | uncertainty, decisions, measured tones, N-ports rebuilt from partial measurements |
//! | [`wafer`] | many dies: positions, statistics, trends, yield |
//! | [`description`] | the text formats: NETWORK, RECEIVER, UNCERTAINTY, SET, STATION, RECIPE, tables |
//! | [`batch`] | jobs: a receiver, a splitter, a lot of dies, the files of a probe station |
//! | [`plot`] | pictures |
//! | [`report`] | text, JSON, CSV, and files that appear whole |
//! | [`cli`] | the command line |
//!
//! ## A receiver
//! ```
//! use fourphase::batch::{ReceiverJob, assess_receiver};
//! use fourphase::report::receiver_text;
//!
//! let job = ReceiverJob { receiver: "data-demo/receiver.toml".into(), ..ReceiverJob::default() };
//! let assessed = assess_receiver(&job)?;
//! let report = receiver_text(&assessed.receiver, &assessed.result, None);
//! assert!(report.contains("image rejection"));
//! # Ok::<(), fourphase::batch::BatchError>(())
//! ```
//!
//! ## A splitter, with a requirement and an uncertainty
//! ```
//! use fourphase::batch::{SplitterJob, assess_splitter};
//! use fourphase::description::Uncertainty;
//! use fourphase::measurement::{EntryAmount, OverFrequency};
//! use fourphase::requirement::{Limit, Quantity};
//! use fourphase::splitter::SplitterSettings;
//! use fourphase::units::neper_from_db;
//!
//! // 0.03 dB and 0.3 degrees in every entry of the file; 25 dB are required around 29 GHz.
//! let amount = EntryAmount {
//!     magnitude_np: neper_from_db(0.03),
//!     phase_rad: 0.3_f64.to_radians(),
//!     ..EntryAmount::default()
//! };
//! let mut settings =
//!     SplitterSettings { band_hz: Some((28.9e9, 29.1e9)), ..SplitterSettings::default() };
//! settings.limits.set(Limit::new(Quantity::ImageRejection, 25.0)?);
//! let job = SplitterJob {
//!     file: "data-demo/coupler.s4p".into(),
//!     settings,
//!     uncertainty: Some(Uncertainty::of_every_entry(amount, OverFrequency::Correlated)?),
//!     ..SplitterJob::default()
//! };
//! assert!(assess_splitter(&job)?.passes());
//! # Ok::<(), Box<dyn std::error::Error>>(())
//! ```
//!
//! ## A wafer
//! See [`batch::run_lot`].
//!
//! ## A reconstruction
//! ```
//! use fourphase::description::read_rebuild_set;
//! use fourphase::measurement::rebuild;
//! use fourphase::touchstone::ReadOptions;
//!
//! // A coupler from measurements of two of its ports at a time.
//! let set = read_rebuild_set("data-demo/rebuild/set.toml".as_ref(), &ReadOptions::default())?;
//! let rebuilt = rebuild(&set.settings, &set.measurements)?;
//! assert_eq!(rebuilt.network.ports(), 4);
//! # Ok::<(), Box<dyn std::error::Error>>(())
//! ```
//!
//! ## A file of one's own
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
//!
#![doc = include_str!("conventions.md")]

pub mod batch;
pub mod cli;
pub mod component;
pub mod description;
pub mod diagnostic;
pub mod downconverter;
pub mod measurement;
pub mod network;
pub mod plot;
pub mod quantile;
pub mod regular_file;
pub mod report;
pub mod requirement;
pub mod splitter;
pub mod touchstone;
pub mod units;
pub mod wafer;
