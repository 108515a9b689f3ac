//! What tests share: a database of their own on real PostGIS, the built binary as a process of its own, the crews that
//! speak to it over HTTP, and their feeds. It knows nothing of the service's insides: it links none of its packages.

#![allow(
    clippy::unwrap_used,
    clippy::expect_used,
    clippy::panic,
    clippy::missing_panics_doc,
    clippy::must_use_candidate,
    reason = "a test that cannot go on fails, and says where; some answers are asked for only to be checked"
)]

pub mod crew;
pub mod device;
pub mod feed;
pub mod link;
pub mod process;
pub mod scratch;
pub mod wait;

use std::sync::atomic::{AtomicU64, Ordering};

use serde_json::{Value, json};

pub use crate::{
    crew::{Answer, Crew},
    device::Device,
    feed::{Event, Feed},
    link::{Cut, Kept, Link},
    process::Process,
    scratch::Scratch,
    wait::until,
};

/// An operation on a database of its own, served by one process.
pub struct Ground {
    /// The process.
    pub process: Process,
    /// The operation's id.
    pub operation: String,
    /// The command post.
    pub post: Crew,
    /// Dropped last: the process holds connections to it.
    pub database: Scratch,
}

impl Ground {
    /// Makes the database, starts the process and opens an operation from the command line.
    pub async fn open() -> Self {
        let database = Scratch::new().await;
        let process = Process::serve(&["--database-url", &database.url]).await;
        let (operation, secret) = new_operation(&["--database-url", &database.url], "Flood relief");
        let post = Crew::new(&process.address, &operation, &secret);
        Self { process, operation, post, database }
    }

    /// Loads the Isle of Man (OpenStreetMap, extract of 2020-03-13, ODbL 1.0).
    pub fn island(&self) {
        let extract =
            std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("../../deploy/demo/isle-of-man.osm.pbf");
        let extract = extract.to_str().expect("the path is text");
        process::succeeds(&["terrain", "load", "--database-url", &self.database.url, extract]);
    }

    /// Checks that the state is what the log adds up to.
    pub fn adds_up(&self) {
        process::succeeds(&[
            "log",
            "rebuild",
            "--check",
            "--database-url",
            &self.database.url,
            &self.operation,
        ]);
    }

    /// A crew with a pass of its own.
    pub async fn crew(&self, party: &str, team: &str) -> Crew {
        self.post.give_pass(party, team).await
    }
}

/// Opens an operation from the command line: its id, and the secret of the command post's pass.
#[must_use]
pub fn new_operation(database: &[&str], name: &str) -> (String, String) {
    let said = process::succeeds(&[&["operation", "new"], database, &[name]].concat());
    let word = |label: &str| {
        let line = said.lines().find_map(|line| line.strip_prefix(label));
        line.unwrap_or_else(|| panic!("no {label} in {said}")).trim().to_owned()
    };
    (word("operation"), word("pass"))
}

/// A new id, as a device makes it.
#[must_use]
pub fn id() -> String {
    uuid::Uuid::now_v7().to_string()
}

/// A report of something that happened just now, as far as a test's clock goes: each a second after the last.
#[must_use]
pub fn report(body: &Value) -> Value {
    static SECOND: AtomicU64 = AtomicU64::new(0);
    let second = SECOND.fetch_add(1, Ordering::Relaxed) % 86_400;
    let (h, m, s) = (second / 3600, second / 60 % 60, second % 60);
    json!({ "id": id(), "at": format!("2026-05-04T{h:02}:{m:02}:{s:02}Z"), "body": body })
}
