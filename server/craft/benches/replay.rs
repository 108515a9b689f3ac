//! The replay of a log of 100,000 entries: how long it takes to make, what it weighs, and one moment of it: no more than 100 ms.

#![allow(clippy::unwrap_used, reason = "a benchmark whose log is wrong has to stop")]
#![allow(clippy::print_stdout, reason = "what a replay weighs is told beside how long it takes")]
#![allow(missing_docs, reason = "criterion's macros make public functions without documentation")]

use std::hint::black_box;

use chrono::{DateTime, TimeDelta, Utc};
use criterion::{Criterion, criterion_group, criterion_main};
use laywire_craft::construction::Construction;
use laywire_craft::geodesy::Position;
use laywire_craft::guide::guide;
use laywire_craft::installation::Installation;
use laywire_craft::obstacle::Obstacle;
use laywire_craft::party::{Party, Sender};
use laywire_craft::profile::Profile;
use laywire_craft::replay::replay;
use laywire_craft::report::Entry;
use laywire_craft::text::Name;
use serde_json::{Value, json};
use uuid::Uuid;

/// Positions of laid trace are reported so often between two crossings.
const TRACES: u32 = 6;

fn opened() -> DateTime<Utc> {
    "2026-05-04T08:00:00Z".parse().unwrap()
}

/// Lines laid at once, each with so many crossings, each by its own two teams, and each corrected once an hour.
fn log(lines: u32, crossings: u32) -> Vec<Entry> {
    let guide = guide(Obstacle::DirtRoad, false, Profile::field());
    let buried =
        guide.allowed.into_iter().find(|choice| choice.construction == Construction::Buried).unwrap();
    let done: Vec<&str> = buried.finish.iter().map(|item| item.id).collect();
    let mut log: Vec<Entry> = Vec::new();
    let mut tell = |party, team: String, body: Value| {
        let sequence = i64::try_from(log.len()).unwrap() + 1;
        let when = opened() + TimeDelta::seconds(sequence);
        let id = Uuid::from_u128(u128::try_from(sequence).unwrap());
        let report = json!({ "id": id, "at": when, "clock_offset_ms": 0, "body": body });
        log.push(Entry {
            sequence,
            by: Sender { party, team: Name::new(&team).unwrap() },
            received_at: when + TimeDelta::milliseconds(137),
            report: serde_json::from_value(report).unwrap(),
        });
        id
    };
    let line = |number: u32| Uuid::from_u128(1_000_000_000 + u128::from(number));
    let place = |number: u32, step: u32| {
        Position::new(-4.65 + f64::from(number) * 0.01, 54.1 + f64::from(step) * 1e-4).unwrap()
    };
    for number in 0..lines {
        let trace = [place(number, 0), place(number, crossings * TRACES)];
        let planned = json!({ "kind": "line_planned", "line": line(number), "designation": number.to_string(),
            "from": "Post", "to": "Mill", "trace": trace });
        tell(Party::CommandPost, "Kestrel".to_owned(), planned);
        let started = json!({ "kind": "line_started", "line": line(number) });
        tell(Party::LeadTeam, format!("Plover {number}"), started);
    }
    for crossing in 0..crossings {
        for number in 0..lines {
            let (lead, follow) = (format!("Plover {number}"), format!("Wren {number}"));
            for part in 0..TRACES {
                let place = place(number, crossing * TRACES + part);
                let laid = json!({ "kind": "trace_extended", "line": line(number), "positions": [place] });
                tell(Party::LeadTeam, lead.clone(), laid);
            }
            let of = Uuid::from_u128(2_000_000_000 + u128::from(crossing * lines + number));
            let marked = json!({ "kind": "crossing_marked", "crossing": of, "line": line(number),
                "position": place(number, crossing * TRACES + TRACES - 1), "obstacle": "dirt_road",
                "construction": "buried" });
            tell(Party::LeadTeam, lead.clone(), marked);
            let passed = json!({ "kind": "crossing_passed", "crossing": of, "clear_of_traffic": false });
            let passed_as = tell(Party::LeadTeam, lead.clone(), passed);
            tell(Party::FollowUpTeam, follow.clone(), json!({ "kind": "crossing_taken", "crossing": of }));
            let finished =
                json!({ "kind": "crossing_finished", "crossing": of, "depth_m": 0.3, "done": done });
            tell(Party::FollowUpTeam, follow, finished);
            if (crossing + number) % 60 == 59 {
                let instead = json!({ "kind": "crossing_passed", "crossing": of, "clear_of_traffic": true });
                let right = json!({ "kind": "correction", "corrects": passed_as, "because": "it was hung up",
                    "instead": instead });
                tell(Party::LeadTeam, lead, right);
            }
        }
    }
    log
}

fn played(criterion: &mut Criterion) {
    let log = log(40, 250);
    assert!(log.len() >= 100_000);
    let made = replay(&log, Profile::field()).unwrap();
    let weight = serde_json::to_vec(&made).unwrap().len();
    let laid: usize = made.lines.iter().map(|line| line.laid.positions.len()).sum();
    println!(
        "{} entries, {} corrections, {laid} positions laid: {:.2} MB of JSON",
        log.len(),
        made.corrections.len(),
        f64::from(u32::try_from(weight).unwrap()) / 1e6
    );
    let mut group = criterion.benchmark_group("replay");
    group.sample_size(10);
    group.bench_function(format!("making it of {} entries", log.len()), |bencher| {
        bencher.iter(|| replay(black_box(&log), Profile::field()).unwrap());
    });
    // The same of one line: an entry must not cost more the longer its line is.
    let one = self::log(1, 10_000);
    group.bench_function(format!("making it of {} entries of one line", one.len()), |bencher| {
        bencher.iter(|| replay(black_box(&one), Profile::field()).unwrap());
    });
    // What the rebuild of the state does, without its database.
    group.bench_function(format!("adding up {} entries", log.len()), |bencher| {
        bencher.iter(|| Installation::fold(black_box(&log), Profile::field()).unwrap());
    });
    let last = i64::try_from(log.len()).unwrap();
    let mut moment = 1;
    group.bench_function("one moment", |bencher| {
        bencher.iter(|| {
            // Every entry's turn comes once before one comes twice: the step and the length have no divisor in common.
            moment = (moment + 61_681) % last;
            made.at(black_box(moment))
        });
    });
    group.finish();
}

criterion_group!(benches, played);
criterion_main!(benches);
