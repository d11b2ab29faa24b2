//! Touchstone files, versions 1.0, 1.1, 2.0 and 2.1: reading and writing.
//!
//! ```text
//! version 1 file   := { blank | comment } option-line { data-line | blank | comment }
//! version 2 file   := "[Version]" ("2.0" | "2.1") option-line { header-keyword }
//!                     "[Network Data]" { data-line } [ "[Noise Data]" { data-line } ] "[End]"
//! option-line      := "#" { unit | parameter | format | "R" number { number } }
//! unit             := "Hz" | "kHz" | "MHz" | "GHz"          (GHz)
//! parameter        := "S" | "Y" | "Z" | "H" | "G"           (S)
//! format           := "MA" | "DB" | "RI"                    (MA)
//! header-keyword   := "[Number of Ports]" n | "[Two-Port Data Order]" ("12_21" | "21_12")
//!                   | "[Number of Frequencies]" n | "[Number of Noise Frequencies]" n
//!                   | "[Reference]" number { number }
//!                   | "[Matrix Format]" ("Full" | "Lower" | "Upper")
//!                   | "[Mixed-Mode Order]" { "S" p | "D" p "," q | "C" p "," q }
//!                   | "[Begin Information]" anything "[End Information]"
//! data-line        := number { number } [ comment ]
//! number           := [ sign ] ( digits [ "." [ digits ] ] | "." digits ) [ "e" [ sign ] digits ]
//! comment          := "!" anything
//! ```
//!
//! Ambiguous or wrong content is an error with line, column and correction. Harmless deviations of
//! real files are read and reported as [`Warning`]s, each with a [`WarningCode`]. The *deviations*
//! among them are errors when [`ReadOptions::strict`] is set, the *advisories* never are.
//!
//! | accepted with a warning | refused |
//! |---|---|
//! | byte-order mark, non-ASCII text in comments, a final 0x1A | other bytes outside ASCII |
//! | exponents written with D | commas, NaN, infinity, words, hexadecimal |
//! | sets wrapped in other places, with whole pairs | sets with a number too many or too few |
//! | frequencies out of order (sorted) or repeated (kept) | negative frequencies |
//! | missing `[End]` and counts | counts that disagree with the data, missing `[Two-Port Data Order]` |
//! | content after `[End]`, further option lines (ignored) | no option line, fields given twice |
//!
//! The reader stores Z, Y, H and G in ohms, siemens and ratios: version 1 files hold them
//! normalised to R, version 2 files do not. It never changes reference impedances, interpolates or
//! repairs.
//! Source: the Touchstone File Format Specification of the IBIS Open Forum, revisions 1.1, 2.0
//! and 2.1.
//!
#![doc = include_str!("touchstone.md")]

mod assemble;
mod error;
mod file;
mod file_name;
mod findings;
mod finish;
mod grammar;
mod header;
mod keywords;
mod layout;
mod lines;
mod normalisation;
mod option_line;
mod options;
mod parse;
mod passive_file;
mod reader;
mod reader_data;
mod regular_sets;
mod rows;
mod write;

pub use error::{Problem, ReadError, Warning, WarningCode};
pub use file::{Comment, NoisePoint, TouchstoneFile, Version};
pub use file_name::ports_in_name;
pub use option_line::{FrequencyUnit, NumberFormat, OptionLine};
pub use options::ReadOptions;
pub use parse::{parse, read};
pub use passive_file::{
    Mislabelling, PassiveFileError, findings_beside_quality, mislabelled, passive_file_findings,
};
pub use write::{WriteError, WriteOptions, write};
