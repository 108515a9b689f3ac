//! The reckoning, one file a subject of the crate, each with its sources: published tables and worked examples, hand
//! calculations, and properties that have to hold for any question. One program, so that it is linked once.

#![allow(clippy::unwrap_used, clippy::panic, reason = "a wrong figure in a test's own table should stop it")]

mod any_question;
mod catenary;
mod circuit;
mod elevation;
mod fault;
mod finder;
mod forecast;
mod forecast_plan;
mod forecast_several;
mod foreseen;
mod geodesy;
mod grid;
mod learning;
mod line_wire;
mod pace;
mod plan;
mod profile;
mod reels;
mod review;
mod road;
mod share_out;
mod site;
mod span;
mod sun;
mod trace;
mod wire;
