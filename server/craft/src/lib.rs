//! The trade's calculations and rules, for people who lay field telephone wire.
//!
//! Pure: nothing here reads a file, a clock, a database or a socket, and nothing here waits. Every module says where
//! its figures come from.

pub mod geodesy;
pub mod grid;
pub mod trace;
pub mod units;
