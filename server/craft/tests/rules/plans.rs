//! A plan given to the lead team: what becomes of the trace and of the crossings that stand.

use laywire_craft::{
    construction::Construction as C, crossing::CrossingState as S, line::LineState as L,
    obstacle::Obstacle as O, plan::PlanVersion, refusal::Refusal, report::CrossingMarked, units::Metres,
};

use crate::story::*;

#[test]
fn an_issued_plan_is_the_lines_trace_and_what_nobody_has_come_to_is_measured_along_it() {
    let mut story = Story::new();
    story.tell(&post(), planned(line(1), "12", Some(trace(&ROUTE_A))));
    story.tell(&post(), foreseen(at(1, O::Road, C::OverheadLancePoles)));
    assert!((story.crossing(1).chainage.value() - 1_000.0).abs() < 0.01);
    // The same route from a place 400 m along it.
    let shorter = trace(&ROUTE_A).between(m(400.0), m(2_800.0)).unwrap();
    story.tell(&post(), issued(line(1), 3, shorter.clone()));
    assert_eq!(story.line(1).planned, Some(shorter));
    assert_eq!(story.line(1).plan.map(PlanVersion::number), Some(3));
    assert!((story.crossing(1).chainage.value() - 600.0).abs() < 0.01);
    assert_eq!(story.line_is(1), L::Planned, "no wire lies because of it");
}

#[test]
fn wire_that_lies_keeps_its_chainage_when_the_plan_is_another() {
    let mut story = Story::new();
    story.tell(&post(), planned(line(1), "12", Some(trace(&ROUTE_A))));
    story.tell(&lead(), started(line(1)));
    story.tell(&lead(), laid(line(1), vec![on_a(0.0), on_a(1_200.0)]));
    story.pass(at(1, O::Road, C::OverheadLancePoles));
    let before = story.crossing(1).chainage;
    story.tell(&post(), issued(line(1), 1, trace(&ROUTE_A).between(m(900.0), m(2_000.0)).unwrap()));
    assert_eq!((story.crossing(1).chainage, story.crossing_is(1)), (before, S::Passed));
    // From the head on it is the new plan that is still wanted: 1,200 m laid, and from there to 2,000 m of route A.
    assert!((story.line(1).length().value() - 2_000.0).abs() < 0.5);
}

#[test]
fn a_crossing_is_foreseen_anew_until_somebody_has_come_to_it() {
    let mut story = Story::new();
    story.tell(&post(), planned(line(1), "12", Some(trace(&ROUTE_A))));
    story.tell(&post(), foreseen(at(1, O::DirtRoad, C::Buried)));
    let why = because("the bank is soft");
    let other = CrossingMarked { because: Some(why.clone()), ..at(1, O::DirtRoad, C::OverheadLancePoles) };
    story.tell(&post(), foreseen(other));
    assert_eq!(story.crossing(1).construction, Some(C::OverheadLancePoles));
    assert_eq!(story.crossing(1).because, Some(why.clone()));

    // A plan that does not meet it strikes it out, and the next may meet it again.
    story.tell(&post(), struck_out(1));
    story.tell(
        &post(),
        foreseen(CrossingMarked { because: Some(why.clone()), ..at(1, O::DirtRoad, C::Buried) }),
    );
    assert_eq!(story.crossing_is(1), S::Foreseen);
    assert_eq!(story.crossing(1).struck_out_because, None);

    // The team that marks it as planned builds it for the plan's reason; another construction has its own.
    story.tell(&lead(), started(line(1)));
    story.tell(&lead(), marked(at(1, O::DirtRoad, C::Buried)));
    assert_eq!(story.crossing(1).because, Some(why));
    assert_eq!(story.refuse(&post(), foreseen(at(1, O::DirtRoad, C::Buried))), Refusal::IdInUse);
}

#[test]
fn a_line_that_is_through_takes_no_plan() {
    let mut story = Story::new();
    story.tell(&post(), planned(line(1), "12", Some(trace(&ROUTE_A))));
    story.tell(&lead(), started(line(1)));
    story.tell(&lead(), laid(line(1), vec![on_a(0.0), on_a(2_800.0)]));
    story.tell(&lead(), call(line(1), true));
    let refusal = story.refuse(&post(), issued(line(1), 1, trace(&ROUTE_A)));
    assert!(matches!(refusal, Refusal::LineState { .. }), "{refusal:?}");
}

#[test]
fn a_plan_may_not_draw_a_stream_span_over_a_splice() {
    let mut story = Story::new();
    story.tell(&post(), planned(line(1), "12", Some(trace(&ROUTE_A))));
    story.tell(&lead(), started(line(1)));
    story.tell(&lead(), laid(line(1), vec![on_a(0.0), on_a(100.0)]));
    story.tell(&lead(), splice(line(1), Some(100.0)));
    story.tell(&post(), foreseen(at(1, O::Stream, C::OverheadTrees)));
    // By this plan the stream would be met just ahead of the laying head.
    let nearer = trace(&ROUTE_A).between(m(995.0), m(2_000.0)).unwrap();
    let refusal = story.refuse(&post(), issued(line(1), 1, nearer));
    let Refusal::SpliceInSpan { chainage_m, .. } = refusal else { panic!("{refusal:?}") };
    assert!((chainage_m - m(100.0)).max(Metres::ZERO) < m(0.01));
}
