//! The review of operations whose times are known beforehand: every figure, and the entries that it comes from.

use chrono::{DateTime, TimeDelta, Utc};
use laywire_craft::construction::Construction as C;
use laywire_craft::forecast;
use laywire_craft::geodesy::Position;
use laywire_craft::guide::guide;
use laywire_craft::installation::Installation;
use laywire_craft::line_wire::PacePlan;
use laywire_craft::obstacle::Obstacle as O;
use laywire_craft::pace::{Light, Means};
use laywire_craft::party::{Party, Sender};
use laywire_craft::profile::Profile;
use laywire_craft::recovery::OrderedUp;
use laywire_craft::report::{Entry, Report};
use laywire_craft::review::learning::{Learned, cases};
use laywire_craft::review::{Figure, LineReview, Review, TeamReview, review, rows};
use laywire_craft::text::Name;
use laywire_craft::trace::Trace;
use laywire_craft::units::{Metres, Minutes};
use proptest::prelude::*;
use serde_json::{Value, json};
use uuid::Uuid;

const LINE: &str = "01920000-0000-7000-8000-00000000000c";
const REEL: &str = "01920000-0000-7000-8000-00000000000d";
const FIRST: &str = "01920000-0000-7000-8000-0000000000a1";
const SECOND: &str = "01920000-0000-7000-8000-0000000000a2";

fn m(figure: f64) -> Metres {
    Metres::new(figure).unwrap()
}

fn opened() -> DateTime<Utc> {
    "2026-05-04T08:00:00Z".parse().unwrap()
}

/// Two kilometres due north.
fn trace() -> Trace {
    let (start, far) = (Position::new(-4.65, 54.10).unwrap(), Position::new(-4.65, 54.90).unwrap());
    Trace::new(vec![start, far]).unwrap().between(Metres::ZERO, m(2_000.0)).unwrap()
}

fn at(chainage: f64) -> Position {
    let trace = trace();
    trace.at(m(chainage).min(trace.length())).unwrap()
}

/// A log being written: reports by minute after eight, taken in as they happen.
#[derive(Default)]
struct Script {
    entries: Vec<Entry>,
}

impl Script {
    fn tell(&mut self, by: (Party, &str), minute: f64, body: Value) -> &mut Entry {
        let sequence = i64::try_from(self.entries.len()).unwrap() + 1;
        #[allow(clippy::cast_possible_truncation, reason = "minutes of a day")]
        let when = opened() + TimeDelta::seconds((minute * 60.0).round() as i64);
        self.entries.push(Entry {
            sequence,
            by: Sender { party: by.0, team: Name::new(by.1).unwrap() },
            received_at: when,
            report: Report {
                id: laywire_craft::ids::ReportId(Uuid::from_u128(u128::try_from(sequence).unwrap() + 1_000)),
                at: when,
                clock_offset_ms: serde_json::from_value(json!(0)).unwrap(),
                made_by: None,
                position: None,
                body: serde_json::from_value(body).unwrap(),
            },
        });
        self.entries.last_mut().unwrap()
    }

    /// What stands, each report decided on as it comes in.
    fn stands(&self) -> Installation {
        let mut stands = Installation::default();
        for (number, entry) in self.entries.iter().enumerate() {
            let change = stands.decide(entry, &self.entries[..number], Profile::field());
            stands.adopt(change.unwrap_or_else(|refusal| panic!("entry {}: {refusal}", entry.sequence)));
        }
        assert_eq!(stands, Installation::fold(&self.entries, Profile::field()).unwrap());
        stands
    }

    fn review(&self) -> Review {
        review(&self.entries, &self.stands(), Profile::field(), PacePlan::default())
    }
}

const POST: (Party, &str) = (Party::CommandPost, "Kestrel");
const LEAD: (Party, &str) = (Party::LeadTeam, "Plover 1");
const FOLLOW: (Party, &str) = (Party::FollowUpTeam, "Wren 2");

fn done() -> Vec<&'static str> {
    let guide = guide(O::DirtRoad, false, Profile::field());
    let buried = guide.allowed.into_iter().find(|choice| choice.construction == C::Buried).unwrap();
    buried.finish.into_iter().map(|item| item.id).collect()
}

fn marked(crossing: &str, chainage: f64) -> Value {
    json!({ "kind": "crossing_marked", "crossing": crossing, "line": LINE, "position": at(chainage),
        "obstacle": "dirt_road", "construction": "buried" })
}

fn passed(crossing: &str) -> Value {
    json!({ "kind": "crossing_passed", "crossing": crossing, "clear_of_traffic": true })
}

fn taken(crossing: &str) -> Value {
    json!({ "kind": "crossing_taken", "crossing": crossing })
}

fn finished(crossing: &str) -> Value {
    json!({ "kind": "crossing_finished", "crossing": crossing, "depth_m": 0.3, "done": done() })
}

fn laid(chainages: &[f64]) -> Value {
    let positions: Vec<Position> = chainages.iter().map(|&chainage| at(chainage)).collect();
    json!({ "kind": "trace_extended", "line": LINE, "positions": positions })
}

/// A morning's work, by hand:
///
/// order 0, start 10, first crossing 30 to 34, second 62 to 70, through 90; follow-up: first 40 to 55, second 80 to 100;
/// proved 120.
fn morning() -> Script {
    let mut log = Script::default();
    log.tell(
        POST,
        0.0,
        json!({ "kind": "line_planned", "line": LINE, "designation": "12", "from": "Post",
        "to": "Mill", "trace": trace() }),
    ); // 1
    log.tell(LEAD, 10.0, json!({ "kind": "line_started", "line": LINE })); // 2
    log.tell(
        LEAD,
        11.0,
        json!({ "kind": "reel_started", "line": LINE, "reel": REEL, "label": "R1",
        "length_m": 3_000 }),
    ); // 3
    log.tell(LEAD, 29.0, laid(&[0.0, 500.0])); // 4
    log.tell(LEAD, 30.0, marked(FIRST, 500.0)); // 5
    log.tell(LEAD, 34.0, passed(FIRST)); // 6
    log.tell(LEAD, 36.0, json!({ "kind": "call_back_good", "line": LINE, "from_far_end": false })); // 7
    log.tell(FOLLOW, 40.0, taken(FIRST)); // 8
    log.tell(FOLLOW, 55.0, finished(FIRST)); // 9
    log.tell(LEAD, 61.0, laid(&[1_500.0])); // 10
    log.tell(LEAD, 62.0, marked(SECOND, 1_500.0)); // 11
    log.tell(LEAD, 70.0, passed(SECOND)); // 12
    log.tell(LEAD, 71.0, json!({ "kind": "splice_made", "line": LINE })); // 13
    log.tell(FOLLOW, 80.0, taken(SECOND)); // 14
    log.tell(LEAD, 88.0, laid(&[2_000.0])); // 15
    log.tell(LEAD, 90.0, json!({ "kind": "call_back_good", "line": LINE, "from_far_end": true })); // 16
    log.tell(FOLLOW, 100.0, finished(SECOND)); // 17
    log.tell(POST, 120.0, json!({ "kind": "line_proved", "line": LINE })); // 18
    log
}

fn is(figure: &Figure<Minutes>, minutes: f64, entries: &[i64]) {
    assert!(figure.value.is_some_and(|value| (value.value() - minutes).abs() < 1e-9), "{figure:?} {minutes}");
    assert_eq!(figure.entries, entries, "{figure:?}");
    assert!(figure.unknown.is_none());
}

fn only_line(review: &Review) -> &LineReview {
    let [line] = review.lines.as_slice() else { panic!("{review:?}") };
    line
}

fn team<'a>(review: &'a Review, name: &str) -> &'a TeamReview {
    review.teams.iter().find(|team| team.team.as_str() == name).unwrap()
}

#[test]
fn every_time_of_a_scripted_morning_is_told_and_by_which_entries() {
    let review = morning().review();
    let line = only_line(&review);
    is(&line.order_to_start, 10.0, &[1, 2]);
    is(&line.order_to_through, 90.0, &[1, 16]);
    is(&line.order_to_finished, 100.0, &[1, 17]);
    is(&line.order_to_proved, 120.0, &[1, 18]);
    is(&line.start_to_through, 80.0, &[2, 16]);
    is(&line.through_to_finished, 10.0, &[16, 17]);
    is(&line.finished_to_proved, 20.0, &[17, 18]);
    is(&line.at_crossings, 12.0, &[2, 5, 6, 11, 12, 16]);
    is(&line.laying, 68.0, &[2, 5, 6, 11, 12, 16]);
    is(&line.passing, 12.0, &[5, 6, 11, 12]);
    is(&line.finishing, 35.0, &[8, 9, 14, 17]);
    is(&line.longest_without_call, 54.0, &[7, 16]);
    let [first, second] = line.crossings.as_slice() else { panic!("{line:?}") };
    is(&first.passing, 4.0, &[5, 6]);
    is(&first.waiting, 6.0, &[6, 8]);
    is(&first.finishing, 15.0, &[8, 9]);
    is(&first.unfinished, 21.0, &[6, 9]);
    is(&first.proving, 65.0, &[9, 18]);
    is(&second.passing, 8.0, &[11, 12]);
    is(&second.waiting, 10.0, &[12, 14]);
    is(&second.finishing, 20.0, &[14, 17]);
    is(&second.unfinished, 30.0, &[12, 17]);
    // Corcoran 1917: 3 to 4 min for a buried crossing; 15 min to finish it is a planning value.
    assert_eq!(first.passing_planned_min, Minutes::new(3.5).ok());
    assert_eq!(first.finishing_planned_min, Minutes::new(15.0).ok());
    let legs: Vec<(f64, &[i64])> = line
        .legs
        .iter()
        .map(|leg| (leg.laying.value.unwrap().value(), leg.laying.entries.as_slice()))
        .collect();
    assert_eq!(legs, [(20.0, [2, 5].as_slice()), (28.0, &[6, 11]), (20.0, &[12, 16])]);
    // A kilometre in 28 min, and two in 68 and 80.
    let rate = |figure: &Figure<_>| f64::from(figure.value.unwrap());
    assert!((rate(&line.legs[1].rate_km_per_h) - 60.0 / 28.0).abs() < 1e-6);
    assert!((rate(&line.rate_km_per_h) - 120.0 / 68.0).abs() < 1e-6);
    assert!((rate(&line.overall_rate_km_per_h) - 120.0 / 80.0).abs() < 1e-6);
    assert_eq!(line.rate_km_per_h.entries, [2, 4, 5, 6, 10, 11, 12, 15, 16]);
    // 1.05 mph on foot by day, a planning value; the mile of 1609.344 m.
    assert!((line.planned_rate_km_per_h.value() - 1.05 * 1.609_344).abs() < 1e-9);
}

#[test]
fn wire_splices_calls_and_teams_are_counted_with_their_entries() {
    let review = morning().review();
    let line = only_line(&review);
    assert_eq!((line.splices.count, line.splices.entries.as_slice()), (1, [13].as_slice()));
    assert_eq!(line.reels.entries, [3]);
    assert_eq!((line.calls.count, line.calls.entries.as_slice()), (2, [7, 16].as_slice()));
    assert_eq!(line.tested_again.count, 0);
    let value = |figure: &Figure<Metres>| figure.value.unwrap().value();
    // SS0444 p. 23: about 20 % more wire than ground.
    assert!((value(&line.wire.laid_m) - 2_000.0).abs() < 1e-3, "{:?}", line.wire);
    assert_eq!(line.wire.laid_m.entries, [4, 10, 15]);
    assert!((value(&line.wire.on_reels_m) - 3_000.0).abs() < 1e-9);
    assert!((value(&line.wire.drawn_m) - 2_400.0).abs() < 1e-2);
    assert!((value(&line.wire.left_m) - 600.0).abs() < 1e-2);
    assert!((line.wire.planned_m.unwrap().value() - 2_000.0).abs() < 1e-3);
    let lead = team(&review, "Plover 1");
    assert_eq!((lead.reports.count, lead.passed.entries.as_slice()), (12, [6, 12].as_slice()));
    is(&lead.span, 40.0, &[5, 6, 11, 12]);
    is(&lead.at_crossings, 12.0, &[5, 6, 11, 12]);
    is(&lead.between, 28.0, &[5, 6, 11, 12]);
    // Finished at 55 and over at 70, so that it waited a quarter of an hour, and ten minutes went by before it began at 80.
    let follow = team(&review, "Wren 2");
    let entries = [8, 9, 12, 14, 17];
    is(&follow.span, 60.0, &entries);
    is(&follow.at_crossings, 35.0, &entries);
    is(&follow.waiting, 15.0, &entries);
    is(&follow.between, 10.0, &entries);
    assert_eq!(follow.finished.entries, [9, 17]);
    let [buried] = review.constructions.as_slice() else { panic!("{review:?}") };
    assert_eq!((buried.construction, buried.count), (C::Buried, 2));
    is(&buried.passing, 6.0, &[5, 6, 11, 12]);
    is(&buried.finishing, 17.5, &[8, 9, 14, 17]);
    assert!(review.cannot_know.iter().all(|known| known.entries.is_empty()), "every clock was measured");
}

fn trouble(signs: &[&str]) -> Value {
    json!({ "kind": "trouble_reported", "line": LINE, "signs": signs })
}

fn answered(chainage: f64) -> Value {
    json!({ "kind": "trouble_narrowed", "line": LINE,
        "finding": { "answered": { "chainage_m": chainage, "near_answers": true, "far_answers": false } } })
}

fn cleared(cause: &str, cut: bool) -> Value {
    let chainage = cut.then_some(1_700.0);
    json!({ "kind": "trouble_cleared", "line": LINE, "fault": "open", "cause": cause, "chainage_m": chainage, "cut": cut })
}

fn tested(from: &str, good: bool) -> Value {
    json!({ "kind": "test_made", "line": LINE, "from": from, "rang": good, "spoke": good })
}

#[test]
fn each_trouble_is_told_with_its_search_its_cause_and_the_time_without_a_word() {
    let mut log = morning();
    log.tell(POST, 130.0, trouble(&["nothing_passes", "crank_easy"])); // 19
    log.tell(FOLLOW, 135.0, trouble(&["crank_easy", "hum"])); // 20
    log.tell(LEAD, 140.0, tested("near_end", false)); // 21
    log.tell(LEAD, 150.0, answered(1_000.0)); // 22
    log.tell(LEAD, 160.0, answered(1_500.0)); // 23
    log.tell(LEAD, 170.0, cleared("ploughed through", true)); // 24
    log.tell(LEAD, 172.0, tested("far_end", true)); // 25
    log.tell(POST, 180.0, json!({ "kind": "line_proved", "line": LINE })); // 26
    log.tell(POST, 200.0, trouble(&["hum"])); // 27
    log.tell(LEAD, 210.0, cleared("a flat battery", false)); // 28
    log.tell(POST, 220.0, trouble(&["nothing_passes"])); // 29
    let review = log.review();
    let line = only_line(&review);
    let [first, second, third] = line.troubles.as_slice() else { panic!("{:?}", line.troubles) };
    assert_eq!((first.from, first.team.as_str()), (opened() + TimeDelta::minutes(130), "Kestrel"));
    assert_eq!(json!(first.signs), json!(["nothing_passes", "crank_easy", "hum"]));
    assert_eq!(
        (first.told.entries.as_slice(), first.steps.entries.as_slice()),
        ([19, 20].as_slice(), [22, 23].as_slice())
    );
    // Halved from both answers: the far end of the line is two kilometres off.
    let stretch = first.stretch.unwrap();
    assert!((stretch.from_m.value() - 1_500.0).abs() < 1e-6 && (stretch.to_m.value() - 2_000.0).abs() < 1e-3);
    is(&first.lasted, 40.0, &[19, 24]);
    is(&first.silent, 40.0, &[19, 24]);
    let [clearing] = first.cleared.as_slice() else { panic!("{first:?}") };
    assert_eq!(
        (clearing.cause.as_str(), clearing.cut, clearing.entries.as_slice()),
        ("ploughed through", true, [24].as_slice())
    );
    assert_eq!(clearing.chainage_m, Some(m(1_700.0)));
    is(&second.lasted, 10.0, &[27, 28]);
    is(&second.silent, 0.0, &[27]);
    assert_eq!(second.cleared[0].chainage_m, None);
    // The third is still there.
    assert!(third.lasted.value.is_none() && third.silent.value.is_none() && third.cleared.is_empty());
    assert_eq!((third.silent.entries.as_slice(), third.silent.unknown.is_some()), ([29].as_slice(), true));
    is(&line.silent, 40.0, &[19, 24]);
    is(&review.silent, 40.0, &[19, 24]);
    assert_eq!(line.silent_since, Some(opened() + TimeDelta::minutes(220)));
    let tests = &line.tests;
    assert_eq!(tests.good.entries, [18, 25, 26]);
    assert_eq!(
        (tests.bad.entries.as_slice(), tests.again.entries.as_slice()),
        ([21].as_slice(), [25].as_slice())
    );
    assert_eq!(tests.worse.count, 0);
    // A test from the far end is a call as well.
    assert_eq!(line.calls.entries, [7, 16, 25]);
    assert_eq!(line.tested_again.entries, [25, 26]);
}

#[test]
fn remarks_are_signed_by_who_made_them_and_say_what_they_are_about() {
    let mut log = morning();
    let first =
        json!({ "kind": "note", "line": LINE, "crossing": FIRST, "about": 9, "text": "the ditch runs full" });
    let wrong = log.tell(FOLLOW, 130.0, first).report.id; // 19
    log.tell(LEAD, 131.0, json!({ "kind": "note", "text": "fog all morning" })); // 20
    let right =
        json!({ "kind": "note", "line": LINE, "crossing": FIRST, "about": 9, "text": "the ditch ran full" });
    log.tell(
        FOLLOW,
        132.0,
        json!({ "kind": "correction", "corrects": wrong, "because": "spelling", "instead": right }),
    ); // 21
    let review = log.review();
    let [first, second] = review.remarks.as_slice() else { panic!("{:?}", review.remarks) };
    assert_eq!(
        (first.team.as_str(), first.party, first.text.as_str()),
        ("Wren 2", FOLLOW.0, "the ditch ran full")
    );
    assert_eq!((first.about, first.entries.as_slice()), (Some(9), [19, 21].as_slice()));
    assert_eq!(json!([first.line, first.crossing]), json!([LINE, FIRST]));
    assert_eq!(
        (first.at, first.received_at),
        (opened() + TimeDelta::minutes(130), opened() + TimeDelta::minutes(130))
    );
    assert_eq!((second.team.as_str(), second.about, second.line), ("Plover 1", None, None));
}

#[test]
fn a_morning_has_its_cases_of_laying_passing_and_finishing() {
    let operation = laywire_craft::ids::OperationId(Uuid::from_u128(7));
    let cases = cases(&morning().review(), operation, Means::Foot, Light::Day);
    let times = |wanted: Learned| -> Vec<f64> {
        let of = cases.iter().filter(|case| case.figure == wanted);
        of.map(|case| (case.time_min.value() * 1e3).round() / 1e3).collect()
    };
    // 500 m in 20 min, a kilometre in 28, and 500 m in 20.
    assert_eq!(times(Learned::Laying { means: Means::Foot, light: Light::Day }), [40.0, 28.0, 40.0]);
    let (construction, light) = (C::Buried, Light::Day);
    assert_eq!(times(Learned::Passing { construction, light }), [4.0, 8.0]);
    assert_eq!(times(Learned::Finishing { construction, light }), [15.0, 20.0]);
    assert_eq!(cases.len(), 7);
    assert_eq!(cases[0].entries, [2, 5]);
}

#[test]
fn the_table_has_each_figure_of_the_review_in_a_row() {
    let review = morning().review();
    let rows = rows(&review);
    let find = |subject: &str, figure: &str| {
        let row = rows.iter().find(|row| row.subject == subject && row.figure == figure);
        let row = row.unwrap_or_else(|| panic!("{subject}, {figure}: {rows:?}"));
        (row.value.as_str(), row.unit, row.entries.as_slice())
    };
    assert_eq!(find("line 12", "start to through"), ("80", "min", [2, 16].as_slice()));
    assert_eq!(find("line 12, dirt road at 500 m", "finishing"), ("15", "min", [8, 9].as_slice()));
    assert_eq!(find("line 12", "good calls"), ("2", "", [7, 16].as_slice()));
    assert_eq!(find("line 12", "wire returned"), ("", "m", [].as_slice()), "what is not known has no value");
    assert_eq!(find("follow-up team Wren 2", "waiting").0, "15");
    assert_eq!(find("construction buried", "passing, on average").0, "6");
}

#[test]
fn a_line_that_is_through_by_a_test_has_its_times_as_by_a_call() {
    let mut log = morning();
    log.entries[15].report.body = serde_json::from_value(tested("far_end", true)).unwrap();
    let review = log.review();
    let line = only_line(&review);
    is(&line.start_to_through, 80.0, &[2, 16]);
    is(&line.longest_without_call, 54.0, &[7, 16]);
    assert_eq!(line.tests.good.entries, [16, 18]);
}

#[test]
fn wire_that_came_back_or_was_lost_is_told_by_its_entries_and_what_nobody_accounts_for() {
    let mut log = morning();
    log.tell(LEAD, 200.0, tested("near_end", false)); // 19
    log.tell(POST, 210.0, json!({ "kind": "line_ordered_up", "line": LINE, "confirmed_dead_by": "Kestrel" })); // 20
    log.tell(
        LEAD,
        240.0,
        json!({ "kind": "section_taken_up", "line": LINE, "from_m": 0, "to_m": 1_200, "onto": "R7", "length_m": 1_400,
        "splices": 1 }),
    ); // 21
    log.tell(
        LEAD,
        250.0,
        json!({ "kind": "wire_lost", "line": LINE, "from_m": 1_200, "to_m": 2_000, "length_m": 900, "fate": "left",
        "because": "under the river" }),
    ); // 22
    log.tell(LEAD, 260.0, json!({ "kind": "reel_returned", "line": LINE, "reel": REEL, "left_m": 650 })); // 23
    let before = morning().review();
    let wire = &only_line(&before).wire;
    assert!(wire.returned_m.value.is_none() && wire.returned_m.unknown.unwrap().contains("came back"));
    assert!(wire.lost_m.value.is_none() && wire.lost_m.unknown.unwrap().contains("lost"));
    let review = log.review();
    let wire = &only_line(&review).wire;
    // By hand: 3,000 m issued, 650 never laid; 1,400 came up and 900 were left in the river, so that 50 are nowhere.
    let told = |figure: &Figure<Metres>| (figure.value.unwrap().value().round(), figure.entries.clone());
    assert_eq!(told(&wire.returned_m), (2_050.0, vec![21, 23]));
    assert_eq!(told(&wire.lost_m), (900.0, vec![22]));
    assert_eq!(told(&wire.left_m), (650.0, vec![3, 4, 10, 15, 23]));
    assert_eq!(told(&wire.drawn_m), (2_350.0, vec![3, 4, 10, 15, 23]));
    assert_eq!(told(&wire.missing_m), (50.0, vec![3, 4, 10, 15, 21, 22, 23]));
}

#[test]
fn of_a_reel_before_the_last_it_is_said_that_nobody_measured_its_rest() {
    let mut log = morning();
    let second = "01920000-0000-7000-8000-0000000000b2";
    let reel =
        json!({ "kind": "reel_started", "line": LINE, "reel": second, "label": "R2", "length_m": 2_000 });
    log.entries[12].report.body = serde_json::from_value(reel).unwrap(); // 13
    let unmeasured = |review: &Review| {
        let of = review.cannot_know.iter().find(|known| known.what.contains("before the last"));
        of.map(|known| known.entries.clone())
    };
    assert_eq!(unmeasured(&log.review()), Some(vec![3]));
    log.tell(LEAD, 200.0, json!({ "kind": "reel_returned", "line": LINE, "reel": REEL, "left_m": 40 })); // 19
    assert_eq!(unmeasured(&log.review()), None);
}

#[test]
fn a_correction_counts_in_its_place_and_is_named() {
    let mut log = morning();
    // The first call was never made, and the reel was a shorter one.
    let id = |number: usize| log_id(number);
    log.tell(LEAD, 121.0, json!({ "kind": "correction", "corrects": id(7), "because": "wrong line" })); // 19
    log.tell(
        LEAD,
        122.0,
        json!({ "kind": "correction", "corrects": id(3), "because": "misread", "instead":
        { "kind": "reel_started", "line": LINE, "reel": REEL, "label": "R1", "length_m": 2_600 } }),
    ); // 20
    let review = log.review();
    let line = only_line(&review);
    is(&line.longest_without_call, 80.0, &[2, 16]);
    assert_eq!(line.reels.entries, [3, 20]);
    assert!((line.wire.on_reels_m.value.unwrap().value() - 2_600.0).abs() < 1e-9);
    assert_eq!(line.wire.on_reels_m.entries, [3, 20]);
    assert_eq!(review.corrections.entries, [19, 20]);
    assert_eq!(line.corrections.entries, [3, 20]);
}

fn log_id(number: usize) -> String {
    Uuid::from_u128(number as u128 + 1_000).to_string()
}

#[test]
fn given_back_and_taken_again_both_times_in_hand_count() {
    let mut log = Script::default();
    log.tell(
        POST,
        0.0,
        json!({ "kind": "line_planned", "line": LINE, "designation": "12", "from": "Post",
        "to": "Mill", "trace": trace() }),
    );
    log.tell(LEAD, 10.0, json!({ "kind": "line_started", "line": LINE }));
    log.tell(LEAD, 30.0, marked(FIRST, 500.0));
    log.tell(LEAD, 34.0, passed(FIRST));
    log.tell(FOLLOW, 40.0, taken(FIRST)); // 5
    log.tell(
        FOLLOW,
        45.0,
        json!({ "kind": "crossing_given_back", "crossing": FIRST, "because": "no spade" }),
    ); // 6
    let other = (Party::FollowUpTeam, "Wren 3");
    log.tell(other, 60.0, taken(FIRST)); // 7
    log.tell(other, 72.0, finished(FIRST)); // 8
    let review = log.review();
    let crossing = &only_line(&review).crossings[0];
    is(&crossing.finishing, 17.0, &[5, 6, 7, 8]);
    is(&crossing.unfinished, 38.0, &[4, 8]);
    assert_eq!(crossing.finished_by.as_ref().map(Name::as_str), Some("Wren 3"));
    is(&team(&review, "Wren 2").at_crossings, 5.0, &[5, 6]);
    is(&team(&review, "Wren 3").at_crossings, 12.0, &[7, 8]);
    let line = only_line(&review);
    assert!(line.order_to_through.value.is_none() && line.order_to_through.unknown.is_some());
    assert!(line.legs[1].laying.value.is_none());
}

#[test]
fn clocks_that_are_off_late_reports_and_times_out_of_order_are_told_and_nothing_is_negative() {
    let mut log = morning();
    let minutes = TimeDelta::minutes;
    // Nobody measured this clock, and it was twenty minutes behind: passed before it was marked.
    log.entries[11].report.clock_offset_ms = None;
    log.entries[11].report.at -= minutes(20);
    // This one was an hour ahead and not measured: its receipt stands.
    log.entries[8].report.clock_offset_ms = None;
    log.entries[8].report.at += minutes(60);
    // This one was an hour ahead and measured.
    log.entries[15].report.at += minutes(60);
    log.entries[15].report.clock_offset_ms = serde_json::from_value(json!(3_600_000)).unwrap();
    // This one was out of reach for an hour; the entries after it came in later still.
    log.entries[17].received_at += minutes(60);
    let review = log.review();
    let line = only_line(&review);
    let second = &line.crossings[1];
    assert!(second.passing.value.is_none() && second.passing.unknown.unwrap().contains("backwards"));
    assert_eq!(second.passing.entries, [11, 12]);
    is(&line.crossings[0].finishing, 15.0, &[8, 9]);
    is(&line.start_to_through, 80.0, &[2, 16]);
    is(&line.at_crossings, 4.0, &[2, 5, 6, 11, 12, 16]);
    is(&line.laying, 76.0, &[2, 5, 6, 11, 12, 16]);
    let about = |word: &str| {
        review.cannot_know.iter().find(|known| known.what.contains(word)).map(|known| known.entries.clone())
    };
    assert_eq!(about("taken as it is"), Some(vec![12]));
    assert_eq!(about("receipt stands"), Some(vec![9]));
    assert_eq!(about("ten minutes later"), Some(vec![12, 18]));
    assert_eq!(about("in which order"), Some(vec![12]));
    assert_eq!(about("refused"), Some(Vec::new()));
}

#[test]
fn what_the_teams_have_shown_corrects_the_forecast() {
    let mut log = morning();
    log.entries.truncate(12);
    let stands = log.stands();
    let review = log.review();
    let line = stands.lines.values().next().unwrap();
    let crossings: Vec<_> = stands.crossings.values().cloned().collect();
    let asked = forecast::Asked {
        plan: PacePlan::default(),
        follow_up_teams: 1,
        order: forecast::Order::Along,
        now: opened() + TimeDelta::minutes(70),
        set_out_at: None,
        breaks: None,
        under_the_sun: true,
        runs: 200,
        seed: 1,
    };
    let (question, shown) =
        forecast::from_line(line, &crossings, only_line(&review), Profile::field(), asked).unwrap();
    // The lead team took an hour to the second crossing, the follow-up team 15 min for one, as planned.
    assert_eq!(shown.lead_min, Minutes::new(60.0).unwrap());
    assert_eq!(
        (shown.follow_up_min, shown.follow_up_planned_min),
        (Minutes::new(15.0).unwrap(), Minutes::new(15.0).unwrap())
    );
    assert!((shown.follow_up_times.value() - 1.0).abs() < 1e-9);
    let times = (60.0 + 60.0) / (shown.lead_planned_min.value() + 60.0);
    assert!((shown.lead_times.value() - times).abs() < 1e-9, "{shown:?}");
    let so_far = question.so_far.as_ref().unwrap();
    assert!((so_far.laid_m.value() - 1_500.0).abs() < 1e-3 && so_far.crossings.len() == 2);
    let answer = forecast::reckon(&question).unwrap();
    assert_eq!(answer.crossings[0].finished.p90_min, Minutes::ZERO);
    assert!(answer.crossings[1].finished.p50_min > Minutes::ZERO);
    assert!(answer.through.p50_at > Some(asked.now));
    // Among all lines that are left it is the same question, and has the same answer.
    let each = forecast::LeadTeams::Each;
    let all = |stands: &Installation| {
        forecast::from_lines(stands, &review.lines, Profile::field(), asked, Some(200), each)
    };
    let several = all(&stands).unwrap();
    let [only] = several.lines.as_slice() else { panic!("{several:?}") };
    assert_eq!((&only.work, &only.so_far), (&question.line, &question.so_far));
    let together = forecast::reckon_several(&several).unwrap();
    assert_eq!((together.all.through, together.all.finished), (answer.through, answer.finished));
    assert_eq!(together.light, answer.light);
    // Ordered up, nobody forecasts it.
    let mut ordered = stands.clone();
    for line in ordered.lines.values_mut() {
        line.recovery.ordered_up =
            Some(OrderedUp { at: asked.now, confirmed_dead_by: Name::new("Sedge 4").unwrap() });
    }
    assert_eq!(all(&ordered), Err(forecast::NotAllForeseen::Done));
    // Proved, there is nothing to forecast.
    let done = morning().stands();
    assert_eq!(all(&done), Err(forecast::NotAllForeseen::Done));
    let crossings: Vec<_> = done.crossings.values().cloned().collect();
    let line = done.lines.values().next().unwrap();
    assert!(forecast::from_line(line, &crossings, only_line(&review), Profile::field(), asked).is_err());
}

proptest! {
    #[test]
    fn whatever_the_clocks_say_nothing_is_negative_and_parts_add_up(
        shifts in prop::collection::vec(-90_i64..90, 18), measured in prop::collection::vec(any::<bool>(), 18),
    ) {
        let mut log = morning();
        for ((entry, shift), measured) in log.entries.iter_mut().zip(shifts).zip(measured) {
            entry.report.at += TimeDelta::minutes(shift);
            if !measured {
                entry.report.clock_offset_ms = None;
            }
        }
        // Some times run so that a report is refused; the fold of what is left is another test's.
        let Ok(stands) = Installation::fold(&log.entries, Profile::field()) else { return Ok(()) };
        let review = review(&log.entries, &stands, Profile::field(), PacePlan::default());
        let line = only_line(&review);
        let adds = |whole: &Figure<Minutes>, parts: &[&Figure<Minutes>]| {
            let sum: Option<f64> = parts.iter().map(|part| part.value.map(Minutes::value)).sum();
            match (whole.value, sum) {
                (Some(whole), Some(sum)) => (whole.value() - sum).abs() < 1e-9,
                _ => true,
            }
        };
        prop_assert!(adds(&line.start_to_through, &[&line.laying, &line.at_crossings]), "{line:?}");
        let steps = [&line.order_to_start, &line.start_to_through, &line.through_to_finished, &line.finished_to_proved];
        prop_assert!(adds(&line.order_to_proved, &steps), "{line:?}");
        for team in &review.teams {
            prop_assert!(adds(&team.span, &[&team.at_crossings, &team.waiting, &team.between]), "{team:?}");
        }
        // A figure is known, or it is said why not.
        for crossing in &line.crossings {
            for figure in [&crossing.passing, &crossing.waiting, &crossing.finishing, &crossing.unfinished] {
                prop_assert_eq!(figure.value.is_none(), figure.unknown.is_some(), "{:?}", figure);
            }
        }
    }
}
