//! The feed: whatever is cut, killed or late, every entry comes once and in its order.

use laywire_tests::{Feed, Ground, Process, id, report, until};
use nix::sys::signal::Signal;
use reqwest::Method;
use serde_json::{Value, json};

async fn notes(ground: &Ground, count: usize) -> i64 {
    let batch: Vec<Value> =
        (0..count).map(|n| report(&json!({ "kind": "note", "text": format!("note {n}") }))).collect();
    ground.post.reports(&batch).await.last().unwrap()["sequence"].as_i64().unwrap()
}

async fn starts_at(feed: &mut Feed, sequence: i64) {
    let start = feed.next().await.unwrap();
    assert_eq!((start.name.as_str(), start.id), ("start", sequence));
}

#[tokio::test]
async fn a_feed_resumes_where_it_was_told_to() {
    let ground = Ground::open().await;
    notes(&ground, 5).await;
    let mut from_now = ground.post.feed("").await;
    starts_at(&mut from_now, 5).await;
    let mut from_two = ground.post.feed("?after=2").await;
    starts_at(&mut from_two, 2).await;
    assert_eq!(from_two.entries_up_to(5).await, [3, 4, 5]);
    let request = ground.post.request(Method::GET, &ground.post.path("/feed?after=1"));
    let mut by_header = Feed::open(request.header("last-event-id", "4")).await;
    starts_at(&mut by_header, 4).await;
    assert_eq!(by_header.entries_up_to(5).await, [5]);
    notes(&ground, 3).await;
    for feed in [&mut from_now, &mut from_two, &mut by_header] {
        assert_eq!(feed.entries_up_to(8).await, [6, 7, 8]);
    }
}

#[tokio::test]
async fn an_entry_comes_with_the_line_and_the_crossing_that_it_changed() {
    let ground = Ground::open().await;
    let lead = ground.crew("lead_team", "Lead 1").await;
    let line = ground.post.line("L-12").await;
    let mut feed = ground.post.feed("").await;
    starts_at(&mut feed, 2).await;
    let crossing = lead.crossing(&line, [-4.65, 54.0886]).await;
    let event = feed.next().await.unwrap();
    let news = event.json();
    assert_eq!((event.name.as_str(), event.id), ("entry", 3));
    assert_eq!(news["entry"]["by"], json!({ "party": "lead_team", "team": "Lead 1" }));
    assert_eq!(news["entry"]["report"]["body"]["kind"], "crossing_marked");
    assert_eq!(news["crossings"][0]["id"], crossing);
    assert_eq!(news["crossings"][0]["properties"]["state"], "marked");
    assert_eq!(news["crossings"][0]["properties"]["changed"], 3);
    assert_eq!(news["lines"], json!([]), "the line itself is as it was");
}

#[tokio::test]
async fn who_is_too_far_behind_is_told_to_read_everything_anew() {
    let ground = Ground::open().await;
    for _ in 0..5 {
        notes(&ground, 200).await;
    }
    let mut just = ground.post.feed("?after=0").await;
    starts_at(&mut just, 0).await;
    assert_eq!(just.entries_up_to(1_000).await, (1..=1_000).collect::<Vec<_>>());
    notes(&ground, 1).await;
    let mut behind = ground.post.feed("?after=0").await;
    let resync = behind.next().await.unwrap();
    assert_eq!((resync.name.as_str(), resync.id, resync.data.as_str()), ("resync", 1_001, "1001"));
    notes(&ground, 1).await;
    assert_eq!(behind.entries_up_to(1_002).await, [1_002], "it goes on from the number that it gave");
    // Who claims to have seen more than there is has seen another log.
    for after in [5_000, i64::MAX] {
        let mut feed = ground.post.feed(&format!("?after={after}")).await;
        assert_eq!(feed.next().await.unwrap().name, "resync", "after {after}");
    }
}

/// More than the sockets between hold (tcp(7): at most some 10 MB here), so that the feed has to fall behind.
#[tokio::test]
async fn a_slow_reader_misses_nothing() {
    let ground = Ground::open().await;
    let mut feed = ground.post.feed("").await;
    let trace: Vec<Value> =
        (0..1_000).map(|n| json!([-4.670_012_345_678 + f64::from(n) * 1e-5, 54.080_012_345_678])).collect();
    for batch in 0..24 {
        let lines: Vec<Value> = (0..25)
            .map(|n| {
                let designation = format!("{}", 25 * batch + n + 1);
                report(&json!({ "kind": "line_planned", "line": id(), "designation": designation, "from": "a", "to": "b",
                    "trace": trace }))
            })
            .collect();
        assert!(ground.post.reports(&lines).await.iter().all(|receipt| receipt["outcome"] == "recorded"));
    }
    starts_at(&mut feed, 0).await;
    assert_eq!(feed.entries_up_to(600).await, (1..=600).collect::<Vec<_>>());
}

#[tokio::test]
async fn what_is_reported_at_one_process_is_heard_at_another() {
    let ground = Ground::open().await;
    let second = Process::serve(&["--database-url", &ground.database.url]).await;
    let mut there = ground.post.at(&second.address).feed("").await;
    starts_at(&mut there, 0).await;
    for n in 1..=20 {
        assert_eq!(notes(&ground, 1).await, n);
        assert_eq!(there.entries_up_to(n).await, [n]);
    }
}

#[tokio::test]
async fn nothing_is_missed_when_the_listening_connection_is_cut() {
    let ground = Ground::open().await;
    let pool = ground.database.connect().await;
    let mut feed = ground.post.feed("").await;
    starts_at(&mut feed, 0).await;
    let mut cuts = 0;
    for round in 1..=10 {
        notes(&ground, 3).await;
        let cut: i64 = sqlx::query_scalar(
            "select count(pg_terminate_backend(pid)) from pg_stat_activity
             where datname = current_database() and query like 'LISTEN%'",
        )
        .fetch_one(&pool)
        .await
        .unwrap();
        cuts += cut;
        let last = notes(&ground, 3).await;
        assert_eq!(last, round * 6);
        let first = last - 5;
        assert_eq!(feed.entries_up_to(last).await, (first..=last).collect::<Vec<_>>());
    }
    assert!(cuts >= 5, "only {cuts} connections were there to cut");
}

#[tokio::test]
async fn a_feed_ends_and_the_process_with_it_when_it_is_told_to_stop() {
    let ground = Ground::open().await;
    let mut feeds = Vec::new();
    for _ in 0..5 {
        let mut feed = ground.post.feed("").await;
        starts_at(&mut feed, 0).await;
        feeds.push(feed);
    }
    // Somebody who began to send and never goes on must not hold the end up.
    let mut half =
        tokio::net::TcpStream::connect(ground.process.address.trim_start_matches("http://")).await.unwrap();
    let secret = &ground.post.secret;
    let head = format!(
        "POST {} HTTP/1.1\r\nhost: laywire\r\nauthorization: Bearer {secret}\r\ncontent-type: application/json\r\n\
         content-length: 100\r\n\r\n[",
        ground.post.path("/reports")
    );
    tokio::io::AsyncWriteExt::write_all(&mut half, head.as_bytes()).await.unwrap();
    until("the service has answered once more", async || ground.post.get("").await.status == 200).await;
    let (status, took) = ground.process.end(Signal::SIGTERM).await;
    assert!(status.success(), "{status}");
    assert!(took.as_secs() < 10, "{took:?}");
    for mut feed in feeds {
        assert_eq!(feed.next().await, None);
    }
}
