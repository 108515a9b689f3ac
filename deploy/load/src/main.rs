//! A load run: crews report, browsers watch, and the time from a report's sending to its arrival on each feed is
//! measured. Crews and feeds run in this one process, on the same machine as the service: what it measures is an upper
//! bound. It makes its own passes and lines in the operation whose command-post pass it is given.
#![allow(clippy::print_stdout, reason = "its output is what it is for")]

use std::{
    collections::HashMap,
    sync::{
        Arc, Mutex, PoisonError,
        atomic::{AtomicU64, Ordering},
    },
    time::{Duration, Instant},
};

use chrono::Utc;
use clap::Parser;
use futures::StreamExt;
use hdrhistogram::Histogram;
use reqwest::Client;
use serde_json::{Value, json};
use tokio::{task::JoinSet, time::sleep_until};
use uuid::Uuid;

type Failure = Box<dyn std::error::Error + Send + Sync>;

/// Crews that report and browsers that watch.
#[derive(Parser)]
struct Run {
    /// Where the service is, such as http://127.0.0.1:8474.
    #[arg(long)]
    address: String,
    /// A command-post pass.
    #[arg(long, env = "LAYWIRE_PASS", hide_env_values = true)]
    pass: String,
    /// Crews that report.
    #[arg(long, default_value_t = 50)]
    crews: u32,
    /// Feeds that are open.
    #[arg(long, default_value_t = 200)]
    feeds: u32,
    /// How long.
    #[arg(long, default_value_t = 60)]
    seconds: u64,
    /// How long a crew waits between two reports.
    #[arg(long, default_value_t = 1_000)]
    pause_ms: u64,
    /// The service's process id, to read its memory.
    #[arg(long)]
    pid: Option<u32>,
}

struct Shared {
    client: Client,
    address: String,
    operation: String,
    sent: Mutex<HashMap<String, Instant>>,
    /// From a report's sending to its arrival on a feed, in microseconds.
    delays: Mutex<Histogram<u64>>,
    recorded: AtomicU64,
    refused: AtomicU64,
    errors: AtomicU64,
    broken_feeds: AtomicU64,
}

impl Shared {
    async fn call(&self, pass: &str, path: &str, body: &Value) -> Result<Value, Failure> {
        let url = format!("{}/api/operations/{}/{path}", self.address, self.operation);
        let response = self.client.post(url).bearer_auth(pass).json(body).send().await?;
        let status = response.status();
        let value: Value = response.json().await?;
        if status.is_success() { Ok(value) } else { Err(format!("{status}: {value}").into()) }
    }

    fn sent(&self) -> std::sync::MutexGuard<'_, HashMap<String, Instant>> {
        self.sent.lock().unwrap_or_else(PoisonError::into_inner)
    }

    async fn new_pass(&self, pass: &str, party: &str, team: &str) -> Result<String, Failure> {
        let given = self.call(pass, "passes", &json!({ "party": party, "team": team })).await?;
        Ok(given["secret"].as_str().ok_or("a pass without a secret")?.to_owned())
    }
}

#[tokio::main]
async fn main() -> Result<(), Failure> {
    let run = Run::parse();
    let client = Client::builder().pool_max_idle_per_host(usize::MAX).build()?;
    let session: Value = client
        .get(format!("{}/api/session", run.address))
        .bearer_auth(&run.pass)
        .send()
        .await?
        .error_for_status()?
        .json()
        .await?;
    let shared = Arc::new(Shared {
        client,
        address: run.address.clone(),
        operation: session["operation"].as_str().ok_or("a session without an operation")?.to_owned(),
        sent: Mutex::default(),
        delays: Mutex::new(Histogram::new_with_bounds(1, 600_000_000, 3)?),
        recorded: AtomicU64::new(0),
        refused: AtomicU64::new(0),
        errors: AtomicU64::new(0),
        broken_feeds: AtomicU64::new(0),
    });

    let watcher = shared.new_pass(&run.pass, "observer", "Load watcher").await?;
    let mut feeds = JoinSet::new();
    let open = Arc::new(tokio::sync::Semaphore::new(0));
    for _ in 0..run.feeds {
        feeds.spawn(watch(shared.clone(), watcher.clone(), open.clone()));
    }
    let ready = tokio::time::timeout(Duration::from_secs(30), open.acquire_many(run.feeds)).await;
    ready.map_err(|_| "not every feed opened within 30 s")??.forget();

    let mut crews = JoinSet::new();
    let end = Instant::now() + Duration::from_secs(run.seconds);
    let pause = Duration::from_millis(run.pause_ms);
    for number in 0..run.crews {
        let lead = shared.new_pass(&run.pass, "lead_team", &format!("Load lead {number}")).await?;
        let follow =
            shared.new_pass(&run.pass, "follow_up_team", &format!("Load follow-up {number}")).await?;
        let north = 54.1 + f64::from(number) * 0.002;
        let line = plan_line(&shared, &run.pass, number, north).await?;
        // Spread over the pause, so that they do not all report in the same instant.
        let first = Instant::now() + pause * number / run.crews.max(1);
        let crew = Crew { lead, follow, line, north };
        crews.spawn(report(shared.clone(), crew, first, end, pause));
    }
    let began = Instant::now();
    println!("{} crews report and {} feeds watch for {} s", run.crews, run.feeds, run.seconds);
    while let Some(outcome) = crews.join_next().await {
        outcome?;
    }
    let took = began.elapsed();
    // The last reports have to arrive: wait until nothing is on its way, within a bound.
    tokio::time::sleep(Duration::from_secs(2)).await;
    let memory = run.pid.map(memory);
    feeds.abort_all();
    let get = |counter: &AtomicU64| counter.load(Ordering::Relaxed);
    let (recorded, refused) = (get(&shared.recorded), get(&shared.refused));
    let (errors, broken) = (get(&shared.errors), get(&shared.broken_feeds));
    let delays = shared.delays.lock().unwrap_or_else(PoisonError::into_inner).clone();
    let ms = |quantile: f64| {
        #[allow(clippy::cast_precision_loss, reason = "microseconds of a minute")]
        let value = delays.value_at_quantile(quantile) as f64 / 1_000.0;
        value
    };
    println!("reports recorded  {recorded} ({:.1}/s), refused {refused}, errors {errors}", {
        #[allow(clippy::cast_precision_loss, reason = "a count of reports")]
        let rate = recorded as f64 / took.as_secs_f64();
        rate
    });
    println!(
        "arrivals on feeds {} of {}, broken feeds {broken}",
        delays.len(),
        recorded * u64::from(run.feeds)
    );
    println!("sent to shown     p50 {:.1} ms, p99 {:.1} ms, most {:.1} ms", ms(0.5), ms(0.99), ms(1.0));
    if let Some(memory) = memory {
        println!("service's memory  {}", memory?);
    }
    if errors > 0 || refused > 0 || broken > 0 || delays.len() != recorded * u64::from(run.feeds) {
        return Err("something was lost, refused or broken".into());
    }
    Ok(())
}

/// A feed, until it is aborted. The report's id stands early in each event's data.
async fn watch(shared: Arc<Shared>, pass: String, open: Arc<tokio::sync::Semaphore>) {
    let url = format!("{}/api/operations/{}/feed", shared.address, shared.operation);
    let opened = shared.client.get(url).bearer_auth(&pass).send().await;
    let Ok(response) = opened.and_then(reqwest::Response::error_for_status) else {
        shared.broken_feeds.fetch_add(1, Ordering::Relaxed);
        return;
    };
    let mut stream = response.bytes_stream();
    let mut held = String::new();
    let mut told = false;
    while let Some(Ok(bytes)) = stream.next().await {
        let now = Instant::now();
        held.push_str(&String::from_utf8_lossy(&bytes));
        while let Some(end) = held.find("\n\n") {
            let event: String = held.drain(..end + 2).collect();
            if event.starts_with("event: start") && !told {
                told = true;
                open.add_permits(1);
            }
            let id = event.split_once("\"report\":{\"id\":\"").and_then(|(_, rest)| rest.get(..36));
            let sent = id.and_then(|id| shared.sent().get(id).copied());
            if let Some(sent) = sent {
                let delay = u64::try_from((now - sent).as_micros()).unwrap_or(u64::MAX);
                shared.delays.lock().unwrap_or_else(PoisonError::into_inner).saturating_record(delay);
            }
        }
    }
    shared.broken_feeds.fetch_add(1, Ordering::Relaxed);
}

/// A line of its own for the crew, on open ground, so that crews meet only in the log.
async fn plan_line(shared: &Shared, pass: &str, number: u32, north: f64) -> Result<String, Failure> {
    let line = json!({
        "type": "Feature",
        "geometry": { "type": "LineString", "coordinates": [[-4.7, north], [-4.3, north]] },
        "properties": { "designation": format!("L{number}"), "from": "Post", "to": "Exchange" },
    });
    let added = shared.call(pass, "lines", &line).await?;
    Ok(added["id"].as_str().ok_or("a line without an id")?.to_owned())
}

/// A lead and a follow-up team on a line of their own.
struct Crew {
    lead: String,
    follow: String,
    line: String,
    north: f64,
}

/// A crew's working hour in small: lays on, marks, passes, and its follow-up team takes and finishes.
async fn report(shared: Arc<Shared>, crew: Crew, first: Instant, end: Instant, pause: Duration) {
    let Crew { lead, follow, line, mut north } = crew;
    let mut next = first;
    let mut step = 0_u32;
    let mut east = -4.7;
    let mut crossing = Uuid::now_v7();
    let list = ["depth", "stakes", "backfill", "tags", "call"];
    while Instant::now() < end {
        sleep_until(next.into()).await;
        next += pause;
        let (pass, body) = match step {
            0 => (&lead, json!({ "kind": "line_started", "line": line })),
            _ => match step % 5 {
                1 => {
                    east += 0.0005;
                    north += 0.00001;
                    (&lead, json!({ "kind": "trace_extended", "line": line, "positions": [[east, north]] }))
                }
                2 => {
                    crossing = Uuid::now_v7();
                    let body = json!({ "kind": "crossing_marked", "crossing": crossing, "line": line,
                        "position": [east, north], "obstacle": "dirt_road", "construction": "buried" });
                    (&lead, body)
                }
                3 => (
                    &lead,
                    json!({ "kind": "crossing_passed", "crossing": crossing, "clear_of_traffic": false }),
                ),
                4 => (&follow, json!({ "kind": "crossing_taken", "crossing": crossing })),
                _ => {
                    let body = json!({ "kind": "crossing_finished", "crossing": crossing, "depth_m": 0.2, "done": list });
                    (&follow, body)
                }
            },
        };
        step += 1;
        let id = Uuid::now_v7().to_string();
        let sent = json!([{ "id": id, "at": Utc::now().to_rfc3339(), "body": body }]);
        shared.sent().insert(id, Instant::now());
        match shared.call(pass, "reports", &sent).await {
            Ok(receipts) if receipts[0]["outcome"] == "recorded" => {
                shared.recorded.fetch_add(1, Ordering::Relaxed);
            }
            Ok(receipts) => {
                shared.refused.fetch_add(1, Ordering::Relaxed);
                println!("refused: {receipts}");
            }
            Err(error) => {
                shared.errors.fetch_add(1, Ordering::Relaxed);
                println!("error: {error}");
            }
        }
    }
}

/// What the process holds resident now, and held at most (proc(5)).
fn memory(pid: u32) -> Result<String, Failure> {
    let status = std::fs::read_to_string(format!("/proc/{pid}/status"))?;
    let line = |name: &str| {
        status.lines().find_map(|line| line.strip_prefix(name)).map_or("unknown", str::trim).to_owned()
    };
    Ok(format!("{} resident, {} at most", line("VmRSS:"), line("VmHWM:")))
}
