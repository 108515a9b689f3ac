//! The store on real PostGIS, each test in a database of its own (see `laywire_tests::scratch`).

#![allow(
    clippy::unwrap_used,
    clippy::expect_used,
    clippy::panic,
    reason = "a test that cannot go on fails, and says where"
)]

mod crew_position;
mod elevation;
mod ground;
mod listener;
mod log;
mod migration;
mod pass;
mod profile;
mod queue;
mod rebuild;
