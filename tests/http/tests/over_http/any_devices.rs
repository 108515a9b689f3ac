//! Any number of devices with any luck: the signal goes before a batch is sent, in the middle of it, and after the service
//! has written it and before the device hears so; batches come twice and late; the service is killed between its commit
//! and its answer. Whatever happens, nothing is lost, nothing stands twice, each device's order is kept, and the log adds up
//! to the state.
//!
//! The draws come from a seed. `LAYWIRE_TEST_REPORTS` says how many reports are made, and `LAYWIRE_TEST_SEED` from which seed:
//!
//!     LAYWIRE_TEST_REPORTS=10000 tests/cluster cargo test -p laywire-tests any_devices -- --nocapture

use std::collections::{BTreeMap, HashMap, HashSet, VecDeque};

use laywire_tests::{Crew, Cut, Ground, Kept, Link, id, process};
use rand::{RngExt, SeedableRng, rngs::StdRng, seq::IndexedRandom};
use reqwest::Method;
use serde_json::{Value, json};

/// Devices of each party's teams; the third of each has a clock that is years off and was never set right.
const DEVICES: usize = 12;

fn number(variable: &str, otherwise: u64) -> u64 {
    let said = std::env::var(variable).ok();
    said.map_or(otherwise, |said| said.parse().expect("a whole number"))
}

/// What became of a report, as its device knows it.
#[derive(Debug, Clone, PartialEq)]
enum Outcome {
    Recorded(i64),
    Refused,
}

/// One report, and what the device knows of it.
struct Made {
    report: Value,
    outcome: Option<Outcome>,
    /// It was in a batch of which no answer came: what was refused then may be recorded later, after those behind it.
    unanswered: bool,
}

/// A device, with an outbox as the pages have it: what was made first goes first, in batches, until it is answered.
struct Device {
    rng: StdRng,
    crew: Crew,
    link: Link,
    /// The line that its team lays, and how far it has come.
    line: String,
    laid: u32,
    lead: bool,
    kills: bool,
    clock: Clock,
    made: Vec<Made>,
    waiting: VecDeque<usize>,
    cuts: BTreeMap<&'static str, u32>,
}

struct Clock {
    second: i64,
    offset_ms: Option<i64>,
    wrong_by_s: i64,
}

/// What the devices speak of together: few crossings, so that they meet, and the list of what finishes one.
#[derive(Clone)]
struct Shared {
    crossings: Vec<String>,
    finish: Vec<Value>,
}

impl Device {
    /// One more report, mostly on the team's own work and now and then on what others are at as well.
    fn make(&mut self, shared: &Shared) {
        let crossing = shared.crossings.choose(&mut self.rng).expect("there are some");
        let line = &self.line;
        let corrected = self.made.iter().rev().take(40).find(|made| made.report["body"]["kind"] == "note");
        let body = match self.rng.random_range(0..100) {
            0..25 => {
                let positions: Vec<[f64; 2]> = (0..self.rng.random_range(1..6))
                    .map(|_| {
                        self.laid += 1;
                        [-4.67 + 0.000_01 * f64::from(self.laid), 54.08 + 0.000_005 * f64::from(self.laid)]
                    })
                    .collect();
                if self.lead {
                    json!({ "kind": "trace_extended", "line": line, "positions": positions })
                } else {
                    json!({ "kind": "call_back_good", "line": line, "from_far_end": false })
                }
            }
            25..50 => json!({ "kind": "note", "text": format!("it rains, {}", self.made.len()) }),
            50..56 => json!({ "kind": "splice_made", "line": line, "chainage_m": 0.0 }),
            56..59 if let Some(made) = corrected => {
                json!({ "kind": "correction", "corrects": made.report["id"], "because": "not so" })
            }
            56..68 if self.lead => json!({ "kind": "crossing_passed", "crossing": crossing,
                "clear_of_traffic": self.rng.random_bool(0.5) }),
            68..72 if self.lead => {
                json!({ "kind": "crossing_struck_out", "crossing": crossing, "because": "dry" })
            }
            56..72 => json!({ "kind": "crossing_taken", "crossing": crossing }),
            72..80 => json!({ "kind": "crossing_given_back", "crossing": crossing }),
            80..92 => {
                json!({ "kind": "crossing_finished", "crossing": crossing, "done": shared.finish })
            }
            _ => json!({ "kind": "note", "crossing": crossing, "text": "soft ground" }),
        };
        self.clock.second += self.rng.random_range(1..40);
        let at = chrono_text(self.clock.second + self.clock.wrong_by_s);
        let mut report = json!({ "id": id(), "at": at, "body": body });
        if let Some(offset_ms) = self.clock.offset_ms {
            report["clock_offset_ms"] = json!(offset_ms);
        }
        if self.rng.random_bool(0.3) {
            report["position"] = json!([-4.66, 54.083]);
        }
        self.waiting.push_back(self.made.len());
        self.made.push(Made { report, outcome: None, unanswered: false });
    }

    fn luck(&mut self) -> Cut {
        match self.rng.random_range(0..100) {
            0..6 => Cut::BeforeSending,
            6..13 => Cut::InBody(self.rng.random_range(0..4_000)),
            13..24 => Cut::BeforeAnswer,
            24..29 => Cut::InAnswer(self.rng.random_range(0..400)),
            29 => Cut::KilledBeforeAnswer,
            _ => Cut::Nowhere,
        }
    }

    /// Sends these over its link: the receipts, if the device hears them whole.
    async fn send(&mut self, cut: Cut, batch: &[usize]) -> Option<Vec<Value>> {
        let reports: Vec<&Value> = batch.iter().map(|&n| &self.made[n].report).collect();
        self.link.cut(cut);
        let name = match cut {
            Cut::Nowhere => "nowhere",
            Cut::BeforeSending => "before sending",
            Cut::InBody(_) => "in the body",
            Cut::BeforeAnswer => "before the answer",
            Cut::InAnswer(_) => "in the answer",
            Cut::KilledBeforeAnswer => "killed before the answer",
        };
        *self.cuts.entry(name).or_default() += 1;
        let request = self.crew.bare(Method::POST, &self.crew.path("/reports"));
        let request = request.bearer_auth(&self.crew.secret).header("connection", "close").json(&reports);
        let response = request.send().await.ok()?;
        if response.status() != 200 {
            // Out of reach of its database for a moment, as it is while it starts.
            assert_eq!(response.status(), 503, "{:?}", response.text().await);
            return None;
        }
        let receipts: Vec<Value> = response.json().await.ok()?;
        assert_eq!(receipts.len(), batch.len());
        Some(receipts)
    }

    fn settle(&mut self, batch: &[usize], receipts: &[Value]) {
        for (&n, receipt) in batch.iter().zip(receipts) {
            assert_eq!(receipt["id"], self.made[n].report["id"]);
            self.made[n].outcome = Some(match receipt["outcome"].as_str() {
                Some("refused") => {
                    assert!(receipt["reason"]["title"].as_str().is_some_and(|why| why.ends_with('.')));
                    Outcome::Refused
                }
                Some("recorded" | "already recorded") => {
                    Outcome::Recorded(receipt["sequence"].as_i64().expect("it has a number"))
                }
                other => panic!("{other:?}"),
            });
        }
    }

    /// Makes its reports and sends them until all are answered.
    async fn work(mut self, reports: usize, shared: Shared, kept: &Kept) -> Self {
        let mut sent = 0;
        while self.made.len() < reports || !self.waiting.is_empty() {
            for _ in 0..self.rng.random_range(0..24) {
                if self.made.len() < reports {
                    self.make(&shared);
                }
            }
            let most = self.rng.random_range(1..=40);
            let batch: Vec<usize> = self.waiting.iter().copied().take(most).collect();
            if batch.is_empty() {
                continue;
            }
            sent += 1;
            // However small the run, every way of breaking off is met.
            let cut = match sent {
                1 => Cut::BeforeSending,
                2 => Cut::InBody(300),
                3 => Cut::BeforeAnswer,
                4 => Cut::InAnswer(200),
                5 if self.kills => Cut::KilledBeforeAnswer,
                _ => self.luck(),
            };
            if let Some(receipts) = self.send(cut, &batch).await {
                self.settle(&batch, &receipts);
                self.waiting.drain(..batch.len());
            } else {
                for &n in &batch {
                    self.made[n].unanswered = true;
                }
                kept.serves().await;
            }
            if self.rng.random_bool(0.1) {
                self.send_an_old_batch_again().await;
            }
        }
        self
    }

    /// A batch of long ago that comes once more, as when a device did not hear what became of it.
    async fn send_an_old_batch_again(&mut self) {
        let from = self.rng.random_range(0..self.made.len());
        let recorded = |n: &usize| matches!(self.made[*n].outcome, Some(Outcome::Recorded(_)));
        let batch: Vec<usize> = (from..self.made.len()).filter(recorded).take(10).collect();
        if batch.is_empty() {
            return;
        }
        let cut = self.luck();
        let Some(receipts) = self.send(cut, &batch).await else { return };
        for (&n, receipt) in batch.iter().zip(&receipts) {
            assert_eq!(receipt["outcome"], "already recorded", "{receipt}");
            let known = receipt["sequence"].as_i64().map(Outcome::Recorded);
            assert_eq!(known, self.made[n].outcome);
        }
    }
}

/// A time of 4 May 2026, or of another year where a clock is that far off.
fn chrono_text(second: i64) -> String {
    // Days, hours, minutes and seconds from 2026-05-01T00:00:00Z; years off are whole years.
    let year = 2026 + second.div_euclid(31_536_000);
    let rest = second.rem_euclid(31_536_000) % (28 * 86_400);
    let (d, h, m, s) = (rest / 86_400 + 1, rest / 3_600 % 24, rest / 60 % 60, rest % 60);
    format!("{year:04}-05-{d:02}T{h:02}:{m:02}:{s:02}Z")
}

async fn device(n: usize, seed: u64, post: &Crew, kept: &Kept) -> Device {
    let lead = n.is_multiple_of(2);
    let (party, team) =
        if lead { ("lead_team", format!("Lead {n}")) } else { ("follow_up_team", format!("Follow-up {n}")) };
    let line = post.line(&format!("L-{n}")).await;
    let way = kept.link().await;
    let crew = post.give_pass(party, &team).await.at(&way.address);
    let clock = match n % 3 {
        0 => Clock { second: 3 * 86_400, offset_ms: Some(400), wrong_by_s: 0 },
        1 => Clock { second: 3 * 86_400, offset_ms: Some(-3 * 3_600_000), wrong_by_s: -3 * 3_600 },
        _ => {
            Clock { second: 3 * 86_400, offset_ms: None, wrong_by_s: 31_536_000 * if lead { 9 } else { -20 } }
        }
    };
    Device {
        rng: StdRng::seed_from_u64(seed + n as u64),
        crew,
        link: way,
        line,
        laid: 0,
        lead,
        kills: n.is_multiple_of(4),
        clock,
        made: Vec::new(),
        waiting: VecDeque::new(),
        cuts: BTreeMap::new(),
    }
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn any_devices_with_any_luck_lose_nothing_and_nothing_stands_twice() {
    let (reports, seed) = (number("LAYWIRE_TEST_REPORTS", 1_200), number("LAYWIRE_TEST_SEED", 20_260_504));
    let began = std::time::Instant::now();
    let ground = Ground::open().await;
    // Crossings that everybody meets at.
    let line = ground.post.line("L-99").await;
    let mut shared = Shared { crossings: Vec::new(), finish: Vec::new() };
    for n in 0..reports / 25 {
        #[allow(clippy::cast_precision_loss, reason = "a place for each")]
        let along = n as f64 / (reports / 25) as f64;
        let place = [-4.67 + 0.035 * along, 54.08 + 0.015 * along];
        let crossing = id();
        ground
            .post
            .records(
                json!({ "kind": "crossing_marked", "crossing": crossing, "line": line, "position": place,
                "obstacle": "road", "construction": "through_culvert" }),
            )
            .await;
        shared.crossings.push(crossing);
    }
    let guides = ground.post.get("/guide").await.ok(200);
    let road =
        guides.as_array().unwrap().iter().find(|g| g["obstacle"] == "road" && g["hard_surface"] == true);
    let ways = road.unwrap()["allowed"].as_array().unwrap();
    let culvert = ways.iter().find(|way| way["construction"] == "through_culvert").unwrap();
    shared.finish = culvert["finish"].as_array().unwrap().iter().map(|item| item["id"].clone()).collect();

    let set_up = usize::try_from(ground.post.sequence().await).unwrap();
    let Ground { process, operation, post, database: scratch } = ground;
    let kept = Kept::new(process, vec!["--database-url".to_owned(), scratch.url.clone()]);
    let mut devices = Vec::new();
    for n in 0..DEVICES {
        devices.push(device(n, seed, &post, &kept).await);
    }
    let lines = DEVICES * 2;
    let each = usize::try_from(reports).unwrap().div_ceil(DEVICES);
    let at_work = devices.into_iter().map(|device| device.work(each, shared.clone(), &kept));
    let devices: Vec<Device> = futures::future::join_all(at_work).await;
    let took = began.elapsed();

    // What the log has, against what each device made and was told.
    let database = ["--database-url", scratch.url.as_str()];
    let said = process::succeeds(&[&["log", "export"], &database[..], &[operation.as_str()]].concat());
    let log: Vec<Value> = said.lines().map(|line| serde_json::from_str(line).unwrap()).collect();
    let numbers: Vec<i64> = log.iter().map(|entry| entry["sequence"].as_i64().unwrap()).collect();
    assert_eq!(numbers, (1..=i64::try_from(log.len()).unwrap()).collect::<Vec<_>>(), "no gap");
    let mut by_id: HashMap<&str, &Value> = HashMap::new();
    for entry in &log {
        let id = entry["report"]["id"].as_str().unwrap();
        assert!(by_id.insert(id, entry).is_none(), "{id} stands twice");
    }
    let (mut recorded, mut refused, mut cuts) = (0, 0, BTreeMap::<&str, u32>::new());
    for device in &devices {
        let mut last = 0;
        for Made { report, outcome, unanswered } in &device.made {
            let entry = by_id.get(report["id"].as_str().unwrap());
            match outcome.as_ref().expect("every report was answered in the end") {
                Outcome::Refused => {
                    assert!(entry.is_none(), "refused, and in the log: {report}");
                    refused += 1;
                }
                Outcome::Recorded(sequence) => {
                    let entry = entry.unwrap_or_else(|| panic!("recorded, and not in the log: {report}"));
                    assert_eq!(entry["sequence"], *sequence);
                    for field in ["id", "at", "position", "clock_offset_ms"] {
                        assert_eq!(entry["report"][field], report[field], "{field}");
                    }
                    assert_eq!(entry["report"]["body"]["kind"], report["body"]["kind"]);
                    recorded += 1;
                    // What only this team speaks of is never refused, so that its place is its first one.
                    let contested = report["body"]["crossing"].is_string();
                    if !(*unanswered && contested) {
                        assert!(last < *sequence, "out of its device's order: {report}");
                        last = *sequence;
                    }
                }
            }
        }
        for (cut, times) in &device.cuts {
            *cuts.entry(cut).or_default() += times;
        }
    }
    assert_eq!(recorded + refused, each * DEVICES, "nothing is lost");
    assert_eq!(recorded, log.len() - set_up - lines, "and nothing else is in the log");
    assert!(refused > 0 && cuts.len() == 6, "the run met too little: {refused} refused, {cuts:?}");

    // And the state is what the log adds up to.
    let said =
        process::succeeds(&[&["log", "rebuild", "--check"], &database[..], &[operation.as_str()]].concat());
    assert!(said.contains(&format!("{} entries add up", log.len())), "{said}");
    let crossings = post.at(&kept.serves().await).get("/crossings").await.ok(200);
    let conflicts: HashSet<&str> = crossings["features"]
        .as_array()
        .unwrap()
        .iter()
        .flat_map(|crossing| crossing["properties"]["conflicts"].as_array().unwrap())
        .map(|conflict| conflict["told"].as_str().unwrap())
        .collect();
    assert!(conflicts.len() >= 2, "the teams never met: {conflicts:?}");
    #[allow(clippy::print_stdout, reason = "the run's figures, for whoever asks for them")]
    {
        println!(
            "{recorded} recorded and {refused} refused of {} by {DEVICES} devices in {:.1} s; cuts {cuts:?}; seed {seed}",
            each * DEVICES,
            took.as_secs_f64()
        );
    }
}
