//! The command line beside a service: what it prints, and the codes it ends with.

use laywire_tests::{Ground, id, process};
use serde_json::{Value, json};

#[tokio::test]
async fn the_check_of_the_log_fails_on_a_difference_and_a_rebuild_mends_it() {
    let ground = Ground::open().await;
    let url = ["--database-url", ground.database.url.as_str()];
    let line = ground.post.line("L-12").await;
    ground.post.crossing(&line, [-4.65, 54.0886]).await;
    let check = || process::run(&[&["log", "rebuild", "--check"], &url[..], &[&ground.operation]].concat());
    let good = check();
    assert_eq!(good.status.code(), Some(0), "{good:?}");
    assert_eq!(String::from_utf8_lossy(&good.stdout), "3 entries add up to the state as it stands\n");

    let pool = ground.database.connect().await;
    sqlx::query("update crossing set state = 'finished'").execute(&pool).await.unwrap();
    let bad = check();
    assert_eq!(bad.status.code(), Some(1), "{bad:?}");
    let said = String::from_utf8_lossy(&bad.stdout).into_owned();
    assert!(said.contains("is finished and should be marked"), "{said}");

    let said = process::succeeds(&[&["log", "rebuild"], &url[..], &[&ground.operation]].concat());
    assert_eq!(said, "built anew from 3 entries\n");
    assert_eq!(check().status.code(), Some(0));
    let unknown = process::run(&[&["log", "rebuild", "--check"], &url[..], &[&id()]].concat());
    assert_eq!(unknown.status.code(), Some(1), "{unknown:?}");
}

#[tokio::test]
async fn the_exported_log_has_every_entry_as_the_api_gives_it() {
    let ground = Ground::open().await;
    ground.post.line("L-12").await;
    for n in 0..7 {
        let batch: Vec<Value> = (0..200)
            .map(|m| laywire_tests::report(&json!({ "kind": "note", "text": format!("{n} {m}") })))
            .collect();
        ground.post.reports(&batch).await;
    }
    let said =
        process::succeeds(&["log", "export", "--database-url", &ground.database.url, &ground.operation]);
    let entries: Vec<Value> = said.lines().map(|line| serde_json::from_str(line).unwrap()).collect();
    let numbers: Vec<i64> = entries.iter().map(|entry| entry["sequence"].as_i64().unwrap()).collect();
    assert_eq!(numbers, (1..=1_402).collect::<Vec<_>>());
    let log = ground.post.get("/log?before=201&limit=200").await.ok(200);
    let first: Vec<Value> = log.as_array().unwrap().iter().rev().cloned().collect();
    assert_eq!(first, entries[..200]);
}

#[tokio::test]
async fn passes_are_given_listed_and_revoked_from_the_command_line() {
    let ground = Ground::open().await;
    let url = ["--database-url", ground.database.url.as_str()];
    let op = ground.operation.as_str();
    let said = process::succeeds(
        &[&["pass", "new"], &url[..], &[op, "lead-team", "Lead 1", "--address", "https://wire.example"]]
            .concat(),
    );
    let secret = said.lines().find_map(|line| line.strip_prefix("pass ")).unwrap().trim();
    assert!(said.contains(&format!("https://wire.example/join#{secret}")), "{said}");
    let lead = laywire_tests::Crew::new(&ground.process.address, op, secret);
    assert_eq!(lead.get("").await.status, 200);
    let list = process::succeeds(&[&["pass", "list"], &url[..], &[op]].concat());
    let pass = list
        .lines()
        .find(|line| line.contains("Lead 1"))
        .unwrap()
        .split_whitespace()
        .next()
        .unwrap()
        .to_owned();
    process::succeeds(&[&["pass", "revoke"], &url[..], &[op, &pass]].concat());
    laywire_tests::until("the service has heard of it", async || lead.get("").await.status == 401).await;
    for wrong in [
        process::run(&[&["pass", "revoke"], &url[..], &[op, &id()]].concat()),
        process::run(&[&["pass", "new"], &url[..], &[&id(), "observer", "Guest"]].concat()),
        process::run(&[&["pass", "new"], &url[..], &[op, "general", "Guest"]].concat()),
        process::run(&[&["pass", "new"], &url[..], &[op, "observer", ""]].concat()),
        process::run(&[&["operation", "new"], &url[..], &[&"x".repeat(41)]].concat()),
        process::run(&["operation", "list", "--database-url", "nonsense"]),
    ] {
        assert!(!wrong.status.success() && !wrong.stderr.is_empty(), "{wrong:?}");
    }
}

#[tokio::test]
async fn the_printed_document_is_the_served_one() {
    let ground = Ground::open().await;
    let printed: Value = serde_json::from_str(&process::succeeds(&["openapi"])).unwrap();
    let request = ground.post.bare(reqwest::Method::GET, "/api/openapi.json");
    assert_eq!(laywire_tests::Answer::to(request).await.ok(200), printed);
}

#[tokio::test]
async fn two_services_may_start_at_once_on_an_empty_database() {
    let database = laywire_tests::Scratch::new().await;
    let url = ["--database-url", database.url.as_str()];
    let (a, b) = tokio::join!(laywire_tests::Process::serve(&url), laywire_tests::Process::serve(&url));
    let (operation, secret) = laywire_tests::new_operation(&url, "Flood relief");
    for process in [&a, &b] {
        let crew = laywire_tests::Crew::new(&process.address, &operation, &secret);
        assert_eq!(crew.sequence().await, 0);
    }
}
