//! The forecast of a plan that nobody has begun, against its line's once it is issued, against its own time plan, and against
//! published minutes.

use chrono::{DateTime, TimeDelta, Utc};
use laywire_craft::bounds::NoAnswer;
use laywire_craft::construction::Construction as C;
use laywire_craft::crossing::Crossing;
use laywire_craft::forecast::{Asked, Input, NotForeseen, Order, Spread, from_line, from_plan, reckon};
use laywire_craft::geodesy::Position;
use laywire_craft::ids::{CrossingId, ReportId};
use laywire_craft::installation::Installation;
use laywire_craft::line::Line;
use laywire_craft::obstacle::Obstacle as O;
use laywire_craft::pace::{Light, Means};
use laywire_craft::party::{Party, Sender};
use laywire_craft::plan::{Plan, PlannedCrossing};
use laywire_craft::profile::Profile;
use laywire_craft::report::{Entry, Report};
use laywire_craft::review::review;
use laywire_craft::text::Name;
use laywire_craft::trace::Trace;
use laywire_craft::units::{Metres, Minutes};
use proptest::prelude::*;
use serde_json::{Value, json};
use uuid::Uuid;

const LINE: &str = "01920000-0000-7000-8000-00000000000c";

fn m(figure: f64) -> Metres {
    Metres::new(figure).unwrap()
}

fn now() -> DateTime<Utc> {
    "2026-11-26T14:30:00Z".parse().unwrap()
}

/// Due north from a cove, and back to the south-east.
fn trace(length: f64) -> Trace {
    let at = |lon, lat| Position::new(lon, lat).unwrap();
    let whole = Trace::new(vec![at(-4.65, 54.10), at(-4.65, 54.13), at(-4.55, 54.05)]).unwrap();
    whole.between(Metres::ZERO, m(length)).unwrap()
}

fn plan(length: f64, crossings: &[(f64, O, Option<C>)]) -> Plan {
    let trace = trace(length);
    let crossings = (1..).zip(crossings).map(|(number, &(share, obstacle, construction))| PlannedCrossing {
        crossing: CrossingId(Uuid::from_u128(number)),
        position: trace.at(m(share * length).min(trace.length())).unwrap(),
        obstacle,
        hard_surface: None,
        construction,
        because: None,
        span_m: None,
        detour_m: None,
    });
    Plan {
        crossings: crossings.collect(),
        trace,
        light: Light::Day,
        lead_means: Means::Foot,
        follow_up_means: Means::Foot,
        follow_up_after_min: None,
        lead_people: None,
        follow_up_people: None,
    }
}

/// As the plan has it, by its one light.
fn asked(plan: &Plan) -> Asked {
    Asked {
        plan: plan.pace_plan(),
        follow_up_teams: 1,
        order: Order::Along,
        now: now(),
        set_out_at: None,
        breaks: None,
        under_the_sun: false,
        runs: 20,
        seed: 3,
    }
}

fn entry(sequence: i64, body: &Value) -> Entry {
    Entry {
        sequence,
        by: Sender { party: Party::CommandPost, team: Name::new("Kestrel").unwrap() },
        received_at: now(),
        report: Report {
            id: ReportId(Uuid::from_u128(1_000 + u128::try_from(sequence).unwrap())),
            at: now(),
            clock_offset_ms: None,
            made_by: None,
            position: None,
            body: serde_json::from_value(body.clone()).unwrap(),
        },
    }
}

/// The line that the plan was issued for, after each report was decided on.
fn issued(plan: &Plan, more: &[Value]) -> (Line, Vec<Crossing>, Vec<Entry>, Installation) {
    let drawn = [Position::new(-4.7, 54.2).unwrap(), Position::new(-4.6, 54.2).unwrap()];
    let mut told = vec![
        json!({ "kind": "line_planned", "line": LINE, "designation": "12", "from": "Post", "to": "Mill", "trace": drawn }),
        json!({ "kind": "plan_issued", "line": LINE, "plan": 1, "trace": plan.trace }),
    ];
    told.extend(plan.crossings.iter().map(|crossing| {
        let mut body = json!(crossing);
        body["kind"] = json!("crossing_foreseen");
        body["line"] = json!(LINE);
        body.as_object_mut().unwrap().remove("detour_m");
        body
    }));
    told.extend(more.iter().cloned());
    let entries: Vec<Entry> = (1..).zip(&told).map(|(sequence, body)| entry(sequence, body)).collect();
    let mut stands = Installation::default();
    for (number, entry) in entries.iter().enumerate() {
        let change = stands.decide(entry, &entries[..number], Profile::field());
        stands.adopt(change.unwrap_or_else(|refusal| panic!("entry {}: {refusal}", entry.sequence)));
    }
    let line = stands.lines.values().next().unwrap().clone();
    (line, stands.crossings.values().cloned().collect(), entries, stands)
}

fn of_line(plan: &Plan, more: &[Value], asked: Asked) -> Result<Input, NotForeseen> {
    let (line, crossings, entries, stands) = issued(plan, more);
    let review = review(&entries, &stands, Profile::field(), asked.plan);
    let (input, shown) = from_line(&line, &crossings, &review.lines[0], Profile::field(), asked)?;
    if more.is_empty() {
        assert_eq!(shown, from_plan(plan, Profile::field(), asked).unwrap().1, "nothing is shown yet");
    }
    Ok(input)
}

fn of_plan(plan: &Plan, asked: Asked) -> Input {
    from_plan(plan, Profile::field(), asked).unwrap().0
}

/// When it is through and finished where every piece of work takes what it takes most likely.
fn likely(plan: &Plan) -> (f64, f64) {
    let answer = reckon(&Input { spread: Spread::NONE, ..of_plan(plan, asked(plan)) }).unwrap();
    (answer.through.time.p90_min.value(), answer.finished.time.p90_min.value())
}

fn some_plan() -> impl Strategy<Value = Plan> {
    let kinds = prop::sample::select(vec![
        (O::Road, Some(C::OverheadLancePoles)),
        (O::DirtRoad, Some(C::Buried)),
        (O::Stream, Some(C::UnderBridge)),
        (O::Railway, Some(C::UnderRails)),
        (O::Road, Some(C::Ladder)),
        (O::Road, None),
        (O::Railway, None),
    ]);
    let crossings = prop::collection::vec((0.0..1.0, kinds), 0..8);
    let means = || prop::sample::select(vec![Means::Vehicle, Means::Wagon, Means::Foot]);
    let light = prop::sample::select(vec![Light::Day, Light::Night]);
    let after = prop::option::of(0.0..200.0);
    (200.0..9_000.0, crossings, light, means(), means(), after).prop_map(
        |(length, crossings, light, lead_means, follow_up_means, after)| {
            let crossings: Vec<_> = crossings.into_iter().map(|(share, (o, c))| (share, o, c)).collect();
            let follow_up_after_min = after.map(|after| Minutes::new(after).unwrap());
            Plan { light, lead_means, follow_up_means, follow_up_after_min, ..plan(length, &crossings) }
        },
    )
}

proptest! {
    #[test]
    fn a_plan_is_forecast_as_its_line_is_once_it_is_issued_and_nothing_is_laid(
        plan in some_plan(), follow_up_teams in 1..5_u8, under_the_sun: bool, later in prop::option::of(0..3_000_i64),
    ) {
        let set_out_at = later.map(|minutes| now() + TimeDelta::minutes(minutes));
        let asked = Asked { follow_up_teams, under_the_sun, set_out_at, ..asked(&plan) };
        let input = of_plan(&plan, asked);
        prop_assert_eq!(&input, &of_line(&plan, &[], asked).unwrap());
        prop_assert_eq!(input.sun.map(|sun| sun.from), under_the_sun.then_some(set_out_at.unwrap_or(now())));
    }

    #[test]
    fn without_spread_a_plan_takes_what_its_time_plan_says(plan in some_plan()) {
        let figures = plan.figures(Profile::field()).unwrap();
        let (through, finished) = likely(&plan);
        let close = |a: f64, b: Minutes| (a - b.value()).abs() < 1e-9 * (1.0 + b.value());
        prop_assert!(close(through, figures.through_min) && close(finished, figures.finished_min));
    }
}

#[test]
fn a_plan_with_other_constructions_light_or_means_has_another_forecast() {
    let over = plan(2_000.0, &[(0.5, O::DirtRoad, Some(C::OverheadLancePoles))]);
    let usual = likely(&over);
    // Corcoran 1917, p. 820: 3 to 4 min to bury a crossing, 5 to 6 to get over on two poles: the mean of each.
    let buried = likely(&plan(2_000.0, &[(0.5, O::DirtRoad, Some(C::Buried))]));
    assert!((usual.0 - buried.0 - 2.0).abs() < 1e-9, "{usual:?} {buried:?}");
    assert!(buried.1 < usual.1);
    // Ten hours later it finishes long after the line is through.
    let later = Plan { follow_up_after_min: Minutes::new(600.0).ok(), ..over.clone() };
    assert!((likely(&later).0 - usual.0).abs() < 1e-9 && likely(&later).1 > usual.1 + 60.0);
    let night = Plan { light: Light::Night, ..over.clone() };
    let wagon = Plan { lead_means: Means::Wagon, ..over.clone() };
    assert!(likely(&night).0 > usual.0 && likely(&wagon).0 < usual.0);
    // The question may say otherwise: by night it is the night's plan.
    let by_night = Asked { plan: night.pace_plan(), ..asked(&over) };
    assert_eq!(of_plan(&over, by_night), of_plan(&night, asked(&night)));
}

#[test]
fn the_way_to_a_culvert_that_a_plan_knows_takes_reels_in_its_forecast_too() {
    let mut plan = plan(1_200.0, &[(0.5, O::Road, Some(C::ThroughCulvert))]);
    let near = of_plan(&plan, asked(&plan)).line.reel_changes;
    plan.crossings[0].detour_m = Some(m(800.0));
    let far = of_plan(&plan, asked(&plan)).line.reel_changes;
    // 1.2 km and a fifth more (SS0444 p. 23) are within a mile; 0.8 km more are not.
    assert_eq!((near, far), (0, 1));
    assert_eq!(plan.figures(Profile::field()).unwrap().reels, 2);
}

#[test]
fn a_line_that_is_begun_is_forecast_from_now_and_not_from_another_start() {
    let plan = plan(2_000.0, &[(0.5, O::DirtRoad, Some(C::Buried))]);
    let begun = [json!({ "kind": "line_started", "line": LINE })];
    let asked = Asked { set_out_at: Some(now() + TimeDelta::hours(16)), ..asked(&plan) };
    let refused = of_line(&plan, &begun, asked).unwrap_err();
    assert_eq!(refused, NotForeseen::Begun { started_at: now() });
    assert_eq!(refused.field().as_deref(), Some("set_out_at"));
    assert!(refused.to_string().starts_with("the line was begun at 2026-11-26 14:30 UTC"), "{refused}");
    assert!(of_line(&plan, &begun, Asked { set_out_at: None, ..asked }).is_ok());
    // The plan itself is not begun by that.
    assert_eq!(of_plan(&plan, asked).so_far, None);
}
