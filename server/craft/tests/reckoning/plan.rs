//! A line's plan: what it takes against sums by hand from published rates, and beside what was laid.

use chrono::{DateTime, TimeDelta, Utc};
use laywire_craft::construction::Construction as C;
use laywire_craft::crossing::{Crossing, CrossingState};
use laywire_craft::geodesy::{self, Position};
use laywire_craft::ids::{CrossingId, LineId};
use laywire_craft::line::{Designation, Line, LineState};
use laywire_craft::obstacle::Obstacle as O;
use laywire_craft::pace::{Light, Means};
use laywire_craft::plan::{Plan, PlanError, PlanVersion, PlannedCrossing, beside_laid};
use laywire_craft::profile::Profile;
use laywire_craft::text::{Name, Remark};
use laywire_craft::trace::Trace;
use laywire_craft::units::{Degrees, Metres, Minutes};
use laywire_craft::wire::What;
use serde_json::json;
use uuid::Uuid;

fn m(figure: f64) -> Metres {
    Metres::new(figure).unwrap()
}

/// Due north from a cove.
fn north(length: f64) -> Trace {
    let (start, far) = (Position::new(-4.65, 54.10).unwrap(), Position::new(-4.65, 54.90).unwrap());
    Trace::new(vec![start, far]).unwrap().between(Metres::ZERO, m(length)).unwrap()
}

fn crossing(
    number: u128,
    trace: &Trace,
    chainage: f64,
    obstacle: O,
    construction: Option<C>,
) -> PlannedCrossing {
    PlannedCrossing {
        crossing: CrossingId(Uuid::from_u128(number)),
        position: trace.at(m(chainage)).unwrap(),
        obstacle,
        hard_surface: None,
        construction,
        because: None,
        span_m: None,
        detour_m: None,
    }
}

fn plan(trace: Trace, crossings: Vec<PlannedCrossing>) -> Plan {
    Plan {
        trace,
        crossings,
        light: Light::Day,
        lead_means: Means::Foot,
        follow_up_means: Means::Foot,
        follow_up_after_min: None,
        lead_people: None,
        follow_up_people: None,
    }
}

fn drawn(figures: &laywire_craft::plan::PlanFigures, what: What) -> f64 {
    figures.wire.iter().filter(|total| total.what == what).map(|total| total.drawn_m.value()).sum()
}

#[test]
fn a_plan_takes_the_wire_the_reels_and_the_time_of_its_ground_and_crossings() {
    let trace = north(1609.344 * 0.7);
    let buried = crossing(1, &trace, 800.0, O::DirtRoad, Some(C::Buried));
    let plan = Plan {
        light: Light::Night,
        lead_people: Some(3),
        follow_up_people: Some(2),
        ..plan(trace, vec![buried])
    };
    let figures = plan.figures(Profile::field()).unwrap();
    // A signaller's account, 2005: 0.7 mph at night on foot: an hour. Corcoran 1917: 3.5 min for a buried crossing, at night
    // half as much again (by analogy); so for the call from the far end, 5 min.
    assert!((figures.through_min.value() - (60.0 + 1.5 * 3.5 + 1.5 * 5.0)).abs() < 1e-6, "{figures:?}");
    // SS0444 p. 23: about 20 % of the distance, but across the road none is laid slack; one reel of a mile is enough.
    assert!((figures.ground_m.value() - 1609.344 * 0.7).abs() < 1e-6);
    assert_eq!((figures.reels, figures.people), (1, Some(5)));
    let sum: f64 = figures.wire.iter().map(|total| total.drawn_m.value()).sum();
    assert!((sum - figures.wire_m.value()).abs() < 1e-6, "the items add up");
    let [count] = figures.crossings.as_slice() else { panic!("{figures:?}") };
    assert_eq!((count.obstacle, count.construction, count.count), (O::DirtRoad, Some(C::Buried), 1));
}

#[test]
fn six_miles_of_wire_are_six_reels_and_a_bit_with_a_splice_between_each_two() {
    // By hand: 6 miles of wire for 5 of ground at 20 % (SS0444 p. 23), and the ends.
    let figures = plan(north(5.0 * 1609.344), Vec::new()).figures(Profile::field()).unwrap();
    assert_eq!(figures.reels, 7);
    // A splice uses up 0.3 m: planning value.
    assert!((drawn(&figures, What::Splice) - 6.0 * 0.3).abs() < 1e-6);
    assert!((figures.wire_m.value() - (6.0 * 1609.344 + 20.0 + 1.8)).abs() < 1e-6);
}

#[test]
fn the_way_to_a_culvert_and_back_is_drawn_and_to_nothing_else() {
    let trace = north(1_000.0);
    let by = |construction| PlannedCrossing {
        detour_m: Some(m(80.0)),
        ..crossing(1, &trace, 500.0, O::Road, Some(construction))
    };
    let culvert = plan(trace.clone(), vec![by(C::ThroughCulvert)]).figures(Profile::field()).unwrap();
    assert!(drawn(&culvert, What::Detour) >= 80.0, "{culvert:?}");
    let over = plan(trace.clone(), vec![by(C::OverheadLancePoles)]).figures(Profile::field()).unwrap();
    assert!(drawn(&over, What::Detour).abs() < 1e-9);
}

#[test]
fn what_the_trade_does_not_allow_is_not_planned() {
    let trace = north(1_000.0);
    let over_rails = crossing(1, &trace, 500.0, O::Railway, Some(C::OverheadTrees));
    let fine = crossing(2, &trace, 300.0, O::Path, None);
    let refused = plan(trace, vec![fine, over_rails]).figures(Profile::field()).unwrap_err();
    assert!(matches!(refused, PlanError::Refused { crossing: 1, .. }), "{refused}");
}

#[test]
fn a_plan_reads_as_it_was_written_and_is_bounded() {
    let trace = north(1_000.0);
    let because = Some(Remark::new("the bank is soft").unwrap());
    let one = PlannedCrossing { because, ..crossing(1, &trace, 500.0, O::Road, Some(C::ThroughCulvert)) };
    let whole = plan(trace, vec![one]);
    let text = serde_json::to_value(&whole).unwrap();
    assert_eq!(serde_json::from_value::<Plan>(text.clone()).unwrap(), whole);
    let read = |field: &str, value: serde_json::Value| {
        let mut text = text.clone();
        text[field] = value;
        serde_json::from_value::<Plan>(text).map_err(|error| error.to_string())
    };
    let twice = json!([text["crossings"][0], text["crossings"][0]]);
    assert!(read("crossings", twice).unwrap_err().contains("same id"));
    let many = json!(vec![text["crossings"][0].clone(); 501]);
    assert!(read("crossings", many).unwrap_err().contains("more than 500"));
    assert!(read("lead_people", json!(0)).unwrap_err().contains("1 to 100"));
    assert!(read("lead_people", json!(101)).is_err());
    assert!(read("weather", json!("wet")).is_err(), "unknown");
    assert!(PlanVersion::try_from(0).is_err() && PlanVersion::try_from(1_001).is_err());
}

#[test]
fn a_plan_stands_beside_what_was_laid() {
    let noon: DateTime<Utc> = "2026-05-04T12:00:00Z".parse().unwrap();
    let trace = north(2_000.0);
    let planned = plan(
        trace.clone(),
        vec![
            crossing(1, &trace, 400.0, O::Road, Some(C::OverheadLancePoles)),
            crossing(2, &trace, 800.0, O::DirtRoad, Some(C::Buried)),
            crossing(3, &trace, 1_200.0, O::Stream, Some(C::UnderBridge)),
            crossing(4, &trace, 1_600.0, O::Path, None),
            crossing(5, &trace, 1_800.0, O::Path, None),
        ],
    );
    // Laid 30 m to the east of it, from end to end.
    let east = |place| geodesy::destination(place, Degrees::new(90.0).unwrap(), m(30.0));
    let laid = vec![east(trace.start()), east(trace.end())];
    let line = Line {
        laid_length: geodesy::distance(laid[0], laid[1]),
        laid: laid.into(),
        state: LineState::Through,
        started_at: Some(noon),
        through_at: Some(noon + TimeDelta::minutes(95)),
        ..Line::drawn(
            LineId(Uuid::nil()),
            Designation::new("12").unwrap(),
            Name::new("Post").unwrap(),
            Name::new("Mill exchange").unwrap(),
            Some(trace.clone()),
        )
    };
    let stands = |number: u128, state, construction| Crossing {
        state,
        because: Some(Remark::new("it could not be dug").unwrap()),
        ..Crossing::foreseen(
            CrossingId(Uuid::from_u128(number)),
            line.id,
            (trace.at(m(400.0)).unwrap(), m(400.0)),
            O::Road,
            true,
            construction,
            noon,
        )
    };
    let crossings = [
        stands(1, CrossingState::Finished, Some(C::OverheadLancePoles)),
        stands(2, CrossingState::Passed, Some(C::OverheadTrees)),
        stands(3, CrossingState::StruckOut, Some(C::UnderBridge)),
        stands(4, CrossingState::Foreseen, None),
        stands(9, CrossingState::Passed, Some(C::ThroughCulvert)),
    ];
    let answer = beside_laid(&planned, &line, &crossings, Profile::field()).unwrap();
    let numbers = |ids: &[CrossingId]| ids.iter().map(|id| id.0.as_u128()).collect::<Vec<_>>();
    assert_eq!(numbers(&answer.as_planned), [1]);
    let [otherwise] = answer.otherwise.as_slice() else { panic!("{answer:?}") };
    assert_eq!((otherwise.planned, otherwise.built), (Some(C::Buried), Some(C::OverheadTrees)));
    assert_eq!(otherwise.because.as_ref().unwrap().as_str(), "it could not be dug");
    assert_eq!(numbers(&answer.not_met), [3, 5]);
    assert_eq!(numbers(&answer.not_come_to), [4]);
    assert_eq!(numbers(&answer.not_foreseen), [9]);
    // A parallel to the meridian 30 m away: the offset is 30 m but for the meridians' running together, under 1 mm here.
    assert!((answer.farthest_m.unwrap().value() - 30.0).abs() < 0.05, "{answer:?}");
    assert!((answer.mean_m.unwrap().value() - 30.0).abs() < 0.05);
    assert!((answer.laid_m.value() - 2_000.0).abs() < 0.1);
    assert_eq!(answer.through_min, Some(Minutes::from_const(95.0)));
}
