//! The review of a log of 100,000 entries: no more than 500 ms.

#![allow(clippy::unwrap_used, reason = "a benchmark whose log is wrong has to stop")]
#![allow(missing_docs, reason = "criterion's macros make public functions without documentation")]

use std::hint::black_box;

use chrono::{DateTime, TimeDelta, Utc};
use criterion::{Criterion, criterion_group, criterion_main};
use laywire_craft::crossing::{Crossing, CrossingState};
use laywire_craft::geodesy::Position;
use laywire_craft::ids::{CrossingId, LineId, ReportId};
use laywire_craft::installation::Installation;
use laywire_craft::line::{Designation, Line, LineState};
use laywire_craft::line_wire::PacePlan;
use laywire_craft::obstacle::Obstacle;
use laywire_craft::party::{Party, Sender};
use laywire_craft::profile::Profile;
use laywire_craft::report::{Body, Entry, Report};
use laywire_craft::review::review;
use laywire_craft::text::Name;
use laywire_craft::units::Metres;
use serde_json::{Value, json};
use uuid::Uuid;

const LINES: u128 = 40;
const CROSSINGS: u128 = 250;
/// Positions of laid trace are reported so often between two crossings.
const TRACES: u128 = 6;

fn opened() -> DateTime<Utc> {
    "2026-05-04T08:00:00Z".parse().unwrap()
}

fn body(body: Value) -> Body {
    serde_json::from_value(body).unwrap()
}

/// Forty lines side by side, and what stands of them: the log of [`Installation::fold`] without its rules, which are not
/// what is measured here.
fn operation() -> (Vec<Entry>, Installation) {
    let mut entries: Vec<Entry> = Vec::new();
    let mut stands = Installation::default();
    let mut tell = |party, team: &str, body| {
        let sequence = i64::try_from(entries.len()).unwrap() + 1;
        let when = opened() + TimeDelta::seconds(sequence);
        entries.push(Entry {
            sequence,
            by: Sender { party, team: Name::new(team).unwrap() },
            received_at: when,
            report: Report {
                id: ReportId(Uuid::from_u128(u128::try_from(sequence).unwrap())),
                at: when,
                clock_offset_ms: None,
                made_by: None,
                position: None,
                body,
            },
        });
        when
    };
    for number in 0..LINES {
        let id = LineId(Uuid::from_u128(1_000 + number));
        let name = |text: &str| Name::new(text).unwrap();
        let designation = Designation::new(&format!("{number}")).unwrap();
        let mut line = Line::drawn(id, designation.clone(), name("Post"), name("Mill"), None);
        let (lead, follow) = (format!("Plover {number}"), format!("Wren {number}"));
        let planned = json!({ "kind": "line_planned", "line": id, "designation": designation, "from": "Post", "to": "Mill" });
        tell(Party::CommandPost, "Kestrel", body(planned));
        let start = body(json!({ "kind": "line_started", "line": id }));
        line.started_at = Some(tell(Party::LeadTeam, &lead, start));
        for crossing in 0..CROSSINGS {
            for part in 0..TRACES {
                let step = u32::try_from(crossing * TRACES + part).unwrap();
                let place = Position::new(-4.65, 54.1 + f64::from(step) * 1e-4).unwrap();
                let trace = json!({ "kind": "trace_extended", "line": id, "positions": [place] });
                tell(Party::LeadTeam, &lead, body(trace));
                line.laid.lay_on(&[place]);
            }
            let of = CrossingId(Uuid::from_u128((number + 1) * 1_000_000 + crossing));
            let head = *line.laid.last().unwrap();
            let marked = json!({ "kind": "crossing_marked", "crossing": of, "line": id, "position": head,
                "obstacle": "dirt_road", "construction": "buried" });
            tell(Party::LeadTeam, &lead, body(marked));
            let passed = json!({ "kind": "crossing_passed", "crossing": of, "clear_of_traffic": true });
            let passed_at = tell(Party::LeadTeam, &lead, body(passed));
            tell(Party::FollowUpTeam, &follow, body(json!({ "kind": "crossing_taken", "crossing": of })));
            let finished = json!({ "kind": "crossing_finished", "crossing": of, "depth_m": 0.3 });
            let finished_at = tell(Party::FollowUpTeam, &follow, body(finished));
            let chainage = Metres::new(f64::from(u32::try_from(crossing).unwrap()) * 66.0).unwrap();
            let foreseen =
                Crossing::foreseen(of, id, (head, chainage), Obstacle::DirtRoad, false, None, passed_at);
            stands.crossings.insert(Crossing {
                state: CrossingState::Finished,
                passed_at: Some(passed_at),
                finished_at: Some(finished_at),
                ..foreseen
            });
        }
        let through = json!({ "kind": "call_back_good", "line": id, "from_far_end": true });
        line.through_at = Some(tell(Party::LeadTeam, &lead, body(through)));
        line.laid_length = Metres::new(16_500.0).unwrap();
        line.state = LineState::Finished;
        stands.lines.insert(id, line);
    }
    (entries, stands)
}

fn whole_review(criterion: &mut Criterion) {
    let (entries, stands) = operation();
    assert!(entries.len() >= 100_000);
    let answer = review(&entries, &stands, Profile::field(), PacePlan::default());
    assert!(answer.lines.iter().all(|line| line.start_to_through.value.is_some()));
    let mut group = criterion.benchmark_group("review");
    group.sample_size(20);
    let name = format!("{} entries", entries.len());
    group.bench_function(name, |bencher| {
        bencher
            .iter(|| review(black_box(&entries), black_box(&stands), Profile::field(), PacePlan::default()));
    });
    group.finish();
}

criterion_group!(benches, whole_review);
criterion_main!(benches);
