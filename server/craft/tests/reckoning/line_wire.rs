//! A line of the installation put to the reckonings: what is known of its crossings goes in, what is laid is told apart from
//! what is planned, and the stretches without splices are those that a choice of reels keeps to.

use chrono::{DateTime, Utc};
use laywire_craft::bounds::NoAnswer;
use laywire_craft::construction::Construction;
use laywire_craft::crossing::{Crossing, CrossingState};
use laywire_craft::fault;
use laywire_craft::geodesy::{self, Position};
use laywire_craft::ids::{CrossingId, LineId, ReelId};
use laywire_craft::line::{CallBack, Designation, Line, LineState, Reel, Splice};
use laywire_craft::line_wire::{LineAlong, LineWire, PacePlan, position, reckon, record};
use laywire_craft::obstacle::Obstacle;
use laywire_craft::profile::Profile;
use laywire_craft::reels::{self, Outcome};
use laywire_craft::text::Name;
use laywire_craft::trace::Trace;
use laywire_craft::units::{Metres, Minutes};
use laywire_craft::wire::{self, What};
use laywire_craft::{pace, pace::Light};
use proptest::prelude::*;
use serde_json::{Value, json};
use uuid::Uuid;

fn m(figure: f64) -> Metres {
    Metres::new(figure).unwrap()
}

fn near(found: Metres, hoped: f64) {
    assert!((found.value() - hoped).abs() < 1e-6, "{found:?} against {hoped}");
}

fn noon() -> DateTime<Utc> {
    "2026-05-04T12:00:00Z".parse().unwrap()
}

/// A plan that runs due north from a cove for so many metres.
fn plan(length: f64) -> Trace {
    let start = Position::new(-4.65, 54.10).unwrap();
    let far = Position::new(-4.65, 54.90).unwrap();
    Trace::new(vec![start, far]).unwrap().between(Metres::ZERO, m(length)).unwrap()
}

fn line(planned: Option<Trace>) -> Line {
    Line::drawn(
        LineId(Uuid::from_u128(12)),
        Designation::new("12").unwrap(),
        Name::new("Command post").unwrap(),
        Name::new("Mill exchange").unwrap(),
        planned,
    )
}

/// The same line with so much of its plan laid.
fn laid(length: f64, of: f64) -> Line {
    let plan = plan(of);
    let laid = plan.between(Metres::ZERO, m(length)).unwrap().positions().to_vec();
    let laid_length = laid.windows(2).map(|leg| geodesy::distance(leg[0], leg[1])).sum();
    Line {
        laid: laid.into(),
        laid_length,
        state: LineState::Laying,
        started_at: Some(noon()),
        ..line(Some(plan))
    }
}

fn crossing(number: u128, chainage: f64, obstacle: Obstacle, construction: Option<Construction>) -> Crossing {
    let place = (Position::new(-4.65, 54.10).unwrap(), m(chainage));
    let (id, line) = (CrossingId(Uuid::from_u128(number)), LineId(Uuid::from_u128(12)));
    Crossing::foreseen(id, line, place, obstacle, obstacle.usually_hard(), construction, noon())
}

fn of(line: &Line, crossings: &[Crossing]) -> LineWire {
    reckon(line, crossings, Profile::field(), PacePlan::default()).unwrap()
}

fn drawn(answer: &LineWire, what: What) -> f64 {
    answer.wire.totals.iter().find(|total| total.what == what).map_or(0.0, |total| total.drawn_m.value())
}

#[test]
fn a_planned_line_takes_its_ground_its_slack_and_its_ends() {
    // SS0444 p. 23: about 20 % of the distance. Ends of 10 m: planning value.
    let answer = of(&line(Some(plan(2000.0))), &[]);
    assert_eq!(answer.along, LineAlong::Planned);
    near(answer.wire.ground_m, 2000.0);
    near(answer.draw_m, 2000.0 * 1.2 + 20.0);
    assert_eq!((answer.head, answer.reels.len(), answer.no_splice.len()), (None, 0, 0));
}

#[test]
fn what_is_known_of_a_crossing_goes_in() {
    let known = [
        Crossing {
            span: Some(m(25.0)),
            clearance: Some(m(5.0)),
            ..crossing(1, 400.0, Obstacle::Road, Some(Construction::OverheadTrees))
        },
        Crossing {
            depth: Some(m(0.4)),
            ..crossing(2, 900.0, Obstacle::DirtRoad, Some(Construction::Buried))
        },
        Crossing {
            state: CrossingState::StruckOut,
            ..crossing(3, 1200.0, Obstacle::Railway, Some(Construction::UnderRails))
        },
    ];
    let answer = of(&line(Some(plan(2000.0))), &known);
    // By hand: the lowest point at 5 m and a sag of 2 % of 25 m put the ties at 5.5 m; the trench is 0.4 m down and up.
    near(m(drawn(&answer, What::UpAndDown)), 2.0 * 5.5 + 2.0 * 0.4);
    near(m(drawn(&answer, What::Span)), 25.0 + 8.0 * 0.5 * 0.5 / (3.0 * 25.0));
    let ids: Vec<CrossingId> = answer.crossings.iter().map(|crossing| crossing.crossing).collect();
    assert_eq!(ids, [known[0].id, known[1].id], "what is struck out is none");
    assert!(answer.crossings.iter().all(|crossing| !crossing.construction_assumed));
    assert_eq!(wire::reckon(&answer.asked_wire).unwrap(), answer.wire, "it is the question that was put");
}

#[test]
fn a_crossing_without_a_construction_gets_the_first_choice_and_it_is_said() {
    let answer = of(&line(Some(plan(2000.0))), &[crossing(1, 400.0, Obstacle::Railway, None)]);
    assert_eq!(answer.asked_wire.crossings[0].construction, Construction::UnderRails);
    assert!(answer.crossings[0].construction_assumed);
    assert!(
        answer.remarks[0].starts_with("crossings[0], a railway, has no construction yet"),
        "{:?}",
        answer.remarks
    );
}

#[test]
fn a_crossing_beyond_the_lines_end_is_put_at_its_end_and_it_is_said() {
    let far = crossing(1, 2500.0, Obstacle::DirtRoad, Some(Construction::Buried));
    let answer = of(&line(Some(plan(2000.0))), &[far]);
    near(answer.asked_wire.crossings[0].chainage_m, 2000.0);
    assert!(answer.remarks[0].contains("lies off the line"), "{:?}", answer.remarks);
}

#[test]
fn reels_and_splices_stand_where_they_were_begun_and_made() {
    let label = |text: &str| Name::new(text).unwrap();
    let reel = |number, text, from: f64| Reel {
        id: ReelId(Uuid::from_u128(number)),
        label: label(text),
        length_m: m(800.0),
        from_chainage_m: m(from),
    };
    let mut half = laid(1000.0, 2000.0);
    half.reels = vec![reel(1, "A 1", 0.0), reel(2, "A 2", 600.0)];
    half.splices =
        vec![Splice { chainage_m: m(600.0), at: noon() }, Splice { chainage_m: m(1100.0), at: noon() }];
    let road = crossing(1, 1100.0, Obstacle::Road, Some(Construction::OverheadPoles));
    let answer = of(&half, std::slice::from_ref(&road));
    assert_eq!(answer.along, LineAlong::LaidThenPlanned);
    near(answer.wire.ground_m, 2000.0);
    // By hand: 10 m at the near end and 20 % of slack (SS0444 p. 23) up to the laying head.
    near(answer.head.unwrap().drawn_m, 10.0 + 1.2 * 1000.0);
    near(answer.reels[0].left_m, 800.0 - (10.0 + 1.2 * 600.0));
    near(answer.reels[1].left_m, 800.0 - 1.2 * 400.0);
    near(answer.reels[1].from.chainage_m, 600.0);
    assert_eq!(answer.splices[0].forbidden_by, None);
    assert_eq!(answer.splices[1].forbidden_by, Some(0), "a splice in the span over the road");
}

#[test]
fn reels_chosen_by_the_stretches_splice_nowhere_in_them() {
    let crossings = [
        crossing(1, 1310.0, Obstacle::Stream, Some(Construction::OverheadTrees)),
        crossing(2, 2650.0, Obstacle::Road, Some(Construction::ThroughCulvert)),
    ];
    let answer = of(&line(Some(plan(4000.0))), &crossings);
    assert_eq!(answer.no_splice.len(), 2);
    let stream = &answer.no_splice[0];
    assert_eq!(stream.what.as_str(), "stream, overhead on trees");
    // The span of 100 ft (SS0440 p. 33) about the stream; where the wire stands up a tie, the ground does not go on.
    assert!(stream.from_chainage_m < m(1310.0 - 15.0) && stream.to_chainage_m > m(1310.0 + 15.0));
    let question: reels::Input = serde_json::from_value(json!({
        "length_m": answer.draw_m,
        "no_splice": answer.no_splice.iter().map(|s| json!({ "from_m": s.from_m, "to_m": s.to_m, "what": s.what })).collect::<Vec<Value>>(),
        "reels": vec![json!({ "label": "mile", "left_m": 1609.344 }); 5],
    }))
    .unwrap();
    let Outcome::Planned(plan) = reels::reckon(&question).unwrap().outcome else { panic!("the reels reach") };
    for piece in &plan.pieces[..plan.pieces.len() - 1] {
        let inside =
            |s: &laywire_craft::line_wire::LineNoSplice| s.from_m < piece.to_m && piece.to_m < s.to_m;
        assert!(!answer.no_splice.iter().any(inside), "{piece:?}");
    }
}

#[test]
fn its_time_is_that_of_its_length_and_crossings() {
    let road = crossing(1, 800.0, Obstacle::DirtRoad, Some(Construction::Buried));
    let line = line(Some(plan(1609.344 * 0.7)));
    let night = PacePlan {
        light: Light::Night,
        follow_up_after: Some(Minutes::from_const(30.0)),
        ..PacePlan::default()
    };
    let answer = reckon(&line, &[road], Profile::field(), night).unwrap();
    // A signaller's account, 2005: 0.7 mph at night on foot: an hour. Corcoran 1917: 3.5 min for a buried crossing, at night
    // half as much again (by analogy); so for the call from the far end, 5 min. One reel is enough: 1.2 × 0.7 miles.
    assert_eq!(answer.asked_pace.reel_changes, 0);
    assert!((answer.pace.through_min.value() - (60.0 + 1.5 * 3.5 + 1.5 * 5.0)).abs() < 1e-6);
    assert_eq!(pace::reckon(&answer.asked_pace).unwrap(), answer.pace, "it is the question that was put");
}

#[test]
fn further_reels_of_a_mile_are_expected() {
    // By hand: 6 miles of wire for 5 of ground at 20 % (SS0444 p. 23), and the ends: six reels and a bit.
    assert_eq!(of(&line(Some(plan(5.0 * 1609.344))), &[]).asked_pace.reel_changes, 6);
}

#[test]
fn a_line_that_is_longer_than_can_be_reckoned_is_refused_by_its_field() {
    let start = Position::new(0.0, 0.0).unwrap();
    let far = Position::new(6.0, 0.0).unwrap();
    let error = reckon(
        &line(Some(Trace::new(vec![start, far]).unwrap())),
        &[],
        Profile::field(),
        PacePlan::default(),
    );
    assert_eq!(error.unwrap_err().field().unwrap(), "legs[0].length_m");
}

#[test]
fn a_chainage_has_its_place_on_what_is_laid_and_on_the_plan() {
    let half = laid(1000.0, 2000.0);
    for chainage in [0.0, 500.0, 1000.0, 1500.0, 2000.0] {
        let place = position(&half, m(chainage)).unwrap();
        let hoped = plan(2000.0).at(m(chainage).min(plan(2000.0).length())).unwrap();
        assert!(geodesy::distance(place, hoped) < m(0.001), "{chainage}: {place:?} against {hoped:?}");
    }
    assert_eq!(position(&line(None), m(0.0)), None);
}

#[test]
fn a_fault_of_the_line_is_told_by_what_the_line_has() {
    let mut half = laid(1000.0, 2000.0);
    half.splices = vec![Splice { chainage_m: m(700.0), at: noon() }];
    let call =
        |chainage: f64| CallBack { at: noon(), chainage_m: m(chainage), team: Name::new("Lead 1").unwrap() };
    half.call_backs = vec![call(300.0), call(900.0), call(300.0)];
    let road = crossing(7, 720.0, Obstacle::DirtRoad, Some(Construction::Buried));
    let (record, crossings) = record(&half, &[road], Profile::field());
    assert_eq!(crossings, [CrossingId(Uuid::from_u128(7))]);
    assert_eq!((record.splices.len(), record.test_points.len()), (1, 2), "a place of several calls is one");
    let answer = of(&half, &[]);
    let mut question: fault::FaultInput = serde_json::from_value(json!({
        "sections": [{ "wire": "wd_1_tt", "length_m": answer.wire.wire_m }],
        "test": { "short": { "near_ohm": 0.127 * (10.0 + 1.2 * 700.0) } },
    }))
    .unwrap();
    question.line = Some(record);
    let ground = fault::reckon(&question).unwrap().ground.unwrap();
    let words: Vec<&str> = ground.inside.iter().map(|mark| mark.words.as_str()).collect();
    assert!(words.contains(&"splice") && words.contains(&"dirt road buried"), "{words:?}");
    assert_eq!(ground.before.unwrap().words, "test point Lead 1");
}

proptest! {
    /// Whatever the reports left behind, the line is reckoned, and what was laid lies on it.
    #[test]
    fn any_line_of_the_installation_is_reckoned(
        of_plan in 100.0..20_000.0_f64, part in 0.01..1.0_f64,
        places in prop::collection::vec((0.0..25_000.0_f64, 0..6_usize, prop::option::of(0..8_usize),
            prop::option::of(1.0..500.0_f64), prop::option::of(0.0..60.0_f64)), 0..10),
        joints in prop::collection::vec(0.0..25_000.0_f64, 0..6),
    ) {
        let mut line = laid(part * of_plan, of_plan);
        line.splices = joints.iter().map(|&at| Splice { chainage_m: m(at), at: noon() }).collect();
        let crossings: Vec<Crossing> = places
            .into_iter()
            .enumerate()
            .filter_map(|(number, (at, obstacle, construction, span, height))| {
                let (obstacle, construction) = (Obstacle::ALL[obstacle], construction.map(|c| Construction::ALL[c]));
                let hard = construction == Some(Construction::Ladder);
                if let Some(construction) = construction {
                    laywire_craft::guide::check(obstacle, hard, construction).ok()?;
                }
                Some(Crossing {
                    span: span.map(m), clearance: height.map(m), depth: height.map(m),
                    ..crossing(number as u128, at, obstacle, construction)
                })
            })
            .collect();
        let answer = reckon(&line, &crossings, Profile::field(), PacePlan::default()).unwrap();
        prop_assert_eq!(answer.crossings.len(), crossings.len());
        prop_assert!(answer.head.unwrap().drawn_m <= answer.draw_m);
        for stretch in &answer.no_splice {
            prop_assert!(stretch.from_m <= stretch.to_m && stretch.from_chainage_m <= stretch.to_chainage_m);
            prop_assert!(stretch.to_m <= answer.draw_m);
        }
        for splice in &answer.splices {
            prop_assert!(splice.place.chainage_m <= answer.wire.ground_m);
        }
        prop_assert!(position(&line, answer.wire.ground_m).is_some());
    }
}
