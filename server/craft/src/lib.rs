//! The trade's calculations and rules.
//!
//! This crate decides: whether a report may stand, what the installation is after it, which constructions a
//! crossing may have and what each asks of the crews. It never reads a file, a clock, a socket or a database, and
//! every figure in it names its source or says 'common practice, no source'.

pub mod bounds;
pub mod catenary;
pub mod circuit;
pub mod construction;
pub mod crossing;
pub mod duty;
pub mod fault;
mod figure;
pub mod finder;
pub mod forecast;
pub mod foreseen;
pub mod geodesy;
pub mod grid;
pub mod guide;
pub mod ids;
pub mod installation;
pub mod lance_pole;
pub mod line;
pub mod line_wire;
pub mod obstacle;
pub mod pace;
pub mod party;
pub mod plan;
pub mod profile;
pub mod proof;
pub mod proving;
pub mod recovery;
pub mod reels;
pub mod refusal;
pub mod replay;
pub mod report;
pub mod review;
pub mod road;
pub mod share_out;
pub mod site;
pub mod span;
pub mod stores;
pub mod sun;
pub mod tags;
pub mod text;
pub mod trace;
pub mod trouble;
pub mod units;
pub mod wire;
pub mod wire_type;
