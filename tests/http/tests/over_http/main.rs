//! The built binary over real HTTP, each test with a database and a process of its own.

#![allow(
    clippy::unwrap_used,
    clippy::expect_used,
    clippy::panic,
    reason = "a test that cannot go on fails, and says where"
)]

mod access;
mod any_devices;
mod apart;
mod bad_input;
mod command_line;
mod exchange;
mod features;
mod feed;
mod finder;
mod forecast;
mod foreseen;
mod outage;
mod plans;
mod positions;
mod profile;
mod proving;
mod reckon;
mod replay;
mod reports;
mod review;
mod share_out;
mod tls;
