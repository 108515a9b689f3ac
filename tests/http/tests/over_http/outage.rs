//! When the database goes away, and when everything is killed: what was recorded is there, and the service comes back.

use std::path::Path;

use laywire_tests::{Answer, Crew, Cut, Ground, Kept, Process, new_operation, process, report, until};
use nix::{
    sys::signal::{Signal, kill},
    unistd::Pid,
};
use reqwest::Method;
use serde_json::json;
use tempfile::TempDir;

/// A data folder whose database is ended with the test.
struct Data(TempDir);

impl Data {
    fn new() -> Self {
        Self(TempDir::new().unwrap())
    }

    fn path(&self) -> &str {
        self.0.path().to_str().unwrap()
    }

    /// The first line of postmaster.pid is the postmaster's id (PostgreSQL manual, 'Database File Layout').
    fn postmaster(&self) -> Option<Pid> {
        let file = std::fs::read_to_string(self.0.path().join("cluster/postmaster.pid")).ok()?;
        Some(Pid::from_raw(file.lines().next()?.parse().ok()?))
    }
}

impl Drop for Data {
    fn drop(&mut self) {
        if let Some(postmaster) = self.postmaster() {
            let _ = kill(postmaster, Signal::SIGQUIT);
        }
    }
}

fn runs(process: Pid) -> bool {
    // proc(5): a process that has ended has no command line any more.
    std::fs::read(Path::new("/proc").join(process.to_string()).join("cmdline"))
        .is_ok_and(|line| !line.is_empty())
}

async fn health(crew: &Crew) -> Answer {
    Answer::to(crew.bare(Method::GET, "/api/health")).await
}

#[tokio::test]
async fn the_private_database_keeps_what_was_recorded_through_a_killing() {
    let data = Data::new();
    let folder = ["--data", data.path()];
    let service = Process::serve(&folder).await;
    // Beside a service that runs, commands speak to the database that it holds.
    let (operation, secret) = new_operation(&folder, "Flood relief");
    let crew = Crew::new(&service.address, &operation, &secret);
    crew.records(json!({ "kind": "note", "text": "before" })).await;
    let said = process::succeeds(&["log", "export", "--data", data.path(), &operation]);
    assert_eq!(said.lines().count(), 1);

    let holder = service.pid();
    let second = process::run(&["serve", "--listen", "127.0.0.1:0", "--data", data.path()]);
    assert!(!second.status.success());
    let said = String::from_utf8_lossy(&second.stderr).into_owned();
    assert!(said.contains(&format!("in use by process {holder}")), "{said}");

    let postmaster = data.postmaster().unwrap();
    service.end(Signal::SIGKILL).await;
    kill(postmaster, Signal::SIGKILL).unwrap();
    until("the database is dead", async || !runs(postmaster)).await;

    let service = Process::serve(&folder).await;
    let crew = crew.at(&service.address);
    assert_eq!(crew.get("/log").await.ok(200)[0]["report"]["body"]["text"], "before");
    assert_eq!(crew.records(json!({ "kind": "note", "text": "after" })).await, 2);

    // Killed alone, the service leaves its database running; the next one ends it and starts its own.
    let orphan = data.postmaster().unwrap();
    service.end(Signal::SIGKILL).await;
    assert!(runs(orphan));
    let service = Process::serve(&folder).await;
    assert_eq!(crew.at(&service.address).sequence().await, 2);
    assert!(!runs(orphan));

    let postmaster = data.postmaster().unwrap();
    let (status, took) = service.end(Signal::SIGTERM).await;
    assert!(status.success() && took.as_secs() < 20, "{status} after {took:?}");
    assert!(!runs(postmaster), "it takes its database with it");
}

#[tokio::test]
async fn a_batch_of_which_the_service_was_killed_between_its_commit_and_its_answer_stands_once() {
    let Ground { process, operation, post, database } = Ground::open().await;
    let kept = Kept::new(process, vec!["--database-url".to_owned(), database.url.clone()]);
    let link = kept.link().await;
    let crew = post.at(&link.address);
    for round in 1..=3_i64 {
        let batch: Vec<_> =
            (0..10).map(|n| report(&json!({ "kind": "note", "text": format!("{round} {n}") }))).collect();
        let send = || {
            let request = crew.request(Method::POST, &crew.path("/reports")).header("connection", "close");
            request.json(&batch).send()
        };
        link.cut(Cut::KilledBeforeAnswer);
        assert!(send().await.is_err(), "the device hears nothing");
        let address = kept.serves().await;
        assert_eq!(post.at(&address).sequence().await, round * 10, "and yet it is done");
        let receipts: Vec<serde_json::Value> = send().await.unwrap().json().await.unwrap();
        for (n, receipt) in (round * 10 - 9..).zip(&receipts) {
            assert_eq!((&receipt["outcome"], &receipt["sequence"]), (&json!("already recorded"), &json!(n)));
        }
        assert_eq!(post.at(&address).sequence().await, round * 10);
    }
    let database = ["--database-url", database.url.as_str()];
    process::succeeds(&[&["log", "rebuild", "--check"], &database[..], &[operation.as_str()]].concat());
    drop(link);
    assert!(kept.end().await.end(Signal::SIGTERM).await.0.success());
}

#[tokio::test]
async fn a_private_database_that_is_killed_comes_back_and_the_feed_misses_nothing() {
    let data = Data::new();
    let folder = ["--data", data.path()];
    let service = Process::serve(&folder).await;
    let (operation, secret) = new_operation(&folder, "Flood relief");
    let crew = Crew::new(&service.address, &operation, &secret);
    assert_eq!(crew.records(json!({ "kind": "note", "text": "before" })).await, 1);
    let killed = data.postmaster().unwrap();
    kill(killed, Signal::SIGKILL).unwrap();
    let lost = report(&json!({ "kind": "note", "text": "sent until it stands" }));
    until("the report stands", async || {
        let answer = crew.post("/reports", &json!([lost])).await;
        if answer.status != 200 {
            answer.problem(503, "unavailable");
        }
        answer.status == 200
    })
    .await;
    // Its children may have answered for a moment longer: what they took counts as well.
    until("another database runs", async || data.postmaster().is_some_and(|p| p != killed && runs(p))).await;
    until("the service is in health", async || health(&crew).await.status == 200).await;
    assert_eq!(crew.sequence().await, 2);
    let mut feed = crew.feed("?after=0").await;
    assert_eq!(feed.next().await.unwrap().name, "start");
    assert_eq!(feed.entries_up_to(2).await, [1, 2]);
    assert_eq!(crew.records(json!({ "kind": "note", "text": "after" })).await, 3);
    assert_eq!(feed.entries_up_to(3).await, [3]);
    let (status, _) = service.end(Signal::SIGTERM).await;
    assert!(status.success());
}

#[tokio::test]
async fn without_its_database_the_service_says_so_and_is_back_when_it_is() {
    let data = Data::new();
    let folder = ["--data", data.path()];
    // One service runs the database, another uses it as a server's.
    let keeper = Process::serve(&folder).await;
    let (operation, secret) = new_operation(&folder, "Flood relief");
    let url = format!("postgres://laywire@localhost/laywire?host={}/socket", data.path());
    let service = Process::serve(&["--database-url", &url]).await;
    let crew = Crew::new(&service.address, &operation, &secret);
    let mut feed = crew.feed("").await;
    assert_eq!(feed.next().await.unwrap().name, "start");
    let good = health(&crew).await.ok(200);
    assert!(good["postgresql"].as_str().unwrap().starts_with("15."), "{good}");
    keeper.end(Signal::SIGTERM).await;

    health(&crew).await.problem(503, "unavailable");
    let note = json!([report(&json!({ "kind": "note", "text": "not now" }))]);
    for answer in
        [crew.post("/reports", &note).await, crew.get("").await, crew.get("/queue?from=-4.6,54.1").await]
    {
        let problem = answer.problem(503, "unavailable");
        for inside in ["socket", "sqlx", "postgres", "laywire@"] {
            assert!(!problem.to_string().to_lowercase().contains(inside), "{problem}");
        }
    }
    Answer::to(crew.bare(Method::POST, "/api/session").json(&json!({ "pass": "x" })))
        .await
        .problem(401, "no-pass");

    let keeper = Process::serve(&folder).await;
    until("the service is in health", async || health(&crew).await.status == 200).await;
    let receipts = crew.post("/reports", &note).await.ok(200);
    assert_eq!(receipts[0]["outcome"], "recorded");
    // The feed either ended, and the browser comes anew, or it goes on; either way it misses nothing.
    if let Some(event) = feed.next().await {
        assert_eq!((event.name.as_str(), event.id), ("entry", 1));
    } else {
        let mut feed = crew.feed("?after=0").await;
        assert_eq!(feed.next().await.unwrap().name, "start");
        assert_eq!(feed.entries_up_to(1).await, [1]);
    }
    assert!(service.end(Signal::SIGTERM).await.0.success());
    assert!(keeper.end(Signal::SIGTERM).await.0.success());
}
