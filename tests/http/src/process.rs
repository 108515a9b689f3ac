//! The built binary: as a service that runs beside the test, and as a command that runs and ends. A process is ended by
//! its id and only when the test started it.

use std::{
    path::PathBuf,
    process::{ExitStatus, Output, Stdio},
    time::Duration,
};

use nix::{
    sys::signal::{Signal, kill},
    unistd::Pid,
};
use tokio::{
    io::{AsyncBufReadExt, BufReader, Lines},
    process::{Child, ChildStdout, Command},
};

use crate::wait::within;

/// The built binary, beside the tests' own.
#[must_use]
pub fn binary() -> PathBuf {
    let this = std::env::current_exe().expect("a test knows its own file");
    let beside = this.parent().and_then(|deps| deps.parent()).expect("tests stand in target/*/deps");
    let binary = beside.join("laywire");
    assert!(binary.exists(), "{} is missing: build it first, `cargo build -p laywire`", binary.display());
    binary
}

/// Runs a command to its end.
#[must_use]
pub fn run(arguments: &[&str]) -> Output {
    std::process::Command::new(binary())
        .args(arguments)
        .env_remove("DATABASE_URL")
        .env_remove("LAYWIRE_LOG")
        .output()
        .expect("the binary runs")
}

/// Runs a command that has to succeed: what it said.
pub fn succeeds(arguments: &[&str]) -> String {
    let output = run(arguments);
    let said = String::from_utf8(output.stdout).expect("it speaks UTF-8");
    assert!(
        output.status.success(),
        "laywire {arguments:?}: {}\n{said}\n{}",
        output.status,
        String::from_utf8_lossy(&output.stderr)
    );
    said
}

/// A service.
pub struct Process {
    /// Where it serves: `http://127.0.0.1:PORT`.
    pub address: String,
    /// What it said before.
    pub said: Vec<String>,
    child: Child,
    /// Kept open: a service that says something more must not find its reader gone.
    _said: Lines<BufReader<ChildStdout>>,
}

impl Process {
    /// Starts `laywire serve` on a port that the system chooses, and waits until it says that it serves.
    /// It keeps its log to itself unless `LAYWIRE_LOG` says otherwise.
    pub async fn serve(arguments: &[&str]) -> Self {
        let mut child = Command::new(binary())
            .args(["serve", "--listen", "127.0.0.1:0"])
            .args(arguments)
            .env_remove("DATABASE_URL")
            .env("LAYWIRE_LOG", std::env::var("LAYWIRE_LOG").as_deref().unwrap_or("off"))
            .stdout(Stdio::piped())
            .kill_on_drop(true)
            .spawn()
            .expect("the binary runs");
        let mut said = BufReader::new(child.stdout.take().expect("it is piped")).lines();
        let mut before = Vec::new();
        let address = within("the service says where it serves", async {
            loop {
                let line = said.next_line().await.expect("it speaks UTF-8");
                let line = line.expect("the service says where it serves before it ends");
                if let Some(address) = line.strip_prefix("laywire serves on ") {
                    return address.to_owned();
                }
                before.push(line);
            }
        })
        .await;
        Self { address, said: before, child, _said: said }
    }

    /// The port on which it serves.
    #[must_use]
    pub fn port(&self) -> u16 {
        self.address.rsplit_once(':').and_then(|(_, port)| port.parse().ok()).expect("an address has a port")
    }

    /// Its process id.
    #[must_use]
    pub fn pid(&self) -> Pid {
        let id = self.child.id().expect("it was not waited for yet");
        Pid::from_raw(i32::try_from(id).expect("ids are small"))
    }

    /// Sends it a signal and waits for its end: how it ended, and how long it took.
    pub async fn end(mut self, signal: Signal) -> (ExitStatus, Duration) {
        let began = tokio::time::Instant::now();
        kill(self.pid(), signal).expect("it runs");
        let status = within("the service ends", self.child.wait()).await.expect("it is ours");
        (status, began.elapsed())
    }
}
