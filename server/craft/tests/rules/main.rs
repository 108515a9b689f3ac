//! The rules of the trade, told as stories: reports come in one by one, and each either stands or is refused. Whatever
//! stands is checked against the log added up anew, so that no story can tell of a state that the log does not give.
//!
//! Sources by key, as in the crate: *SS0440* and *SS0444* are US Army correspondence subcourses on field wire and on cable
//! lines. Where the trade's practice has no source, the check says 'common practice, no source'.

#![allow(
    clippy::unwrap_used,
    clippy::panic,
    reason = "a story that does not go as it is written should stop the test"
)]

mod any_reports;
mod apart;
mod corrections;
mod crossings;
mod ground;
mod laying;
mod lists;
mod plans;
mod proving;
mod recovery;
mod refusals;
mod replay;
mod story;
