//! Crossings: what may go over, under or across what, how high and how deep, and whose work it is.

use laywire_craft::{
    construction::Construction as C,
    crossing::CrossingState as S,
    line::LineState,
    obstacle::Obstacle as O,
    refusal::Refusal,
    report::{Body, CrossingFinished, CrossingMarked, CrossingPassed},
    units::feet,
};

use crate::story::*;

const OVERHEAD: [C; 3] = [C::OverheadTrees, C::OverheadPoles, C::OverheadLancePoles];

#[test]
fn an_overhead_over_a_railway_is_refused_whoever_asks() {
    // SS0444 p. 25: under the rails, between the ties; a train's updraft lifts loose wire.
    for construction in OVERHEAD {
        let refused = Refusal::OverheadOverRailway { construction };
        for hard_surface in [None, Some(false), Some(true)] {
            let over = CrossingMarked {
                hard_surface,
                clearance_m: Some(m(30.0)),
                ..at(1, O::Railway, construction)
            };
            for by in [post(), lead(), follow_up()] {
                let mut story = Story::under_way();
                assert_eq!(story.refuse(&by, marked(over.clone())), refused, "marked by {}", by.party);
            }
            let mut story = Story::under_way();
            assert_eq!(story.refuse(&post(), foreseen(over)), refused, "foreseen");
            story.refuse(&observer(), marked(at(1, O::Railway, construction)));
        }

        for by in [post(), lead(), follow_up()] {
            let mut story = Story::under_way();
            let named = story.tell(&lead(), marked(at(1, O::Railway, C::UnderRails)));
            story.tell(&lead(), Body::CrossingPassed(passed(1)));
            let over = CrossingFinished {
                construction: Some(construction),
                clearance_m: Some(m(30.0)),
                ..finished(1, all(O::Road, construction))
            };
            assert_eq!(story.refuse(&by, Body::CrossingFinished(over)), refused, "finished by {}", by.party);
            let by = if by == follow_up() { post() } else { by };
            let right = marked(at(1, O::Railway, construction));
            assert_eq!(story.refuse(&by, replaced(named, right)), refused, "by correction");
        }
    }
}

#[test]
fn a_road_that_turns_out_to_be_a_railway_takes_its_overhead_down() {
    let mut story = Story::under_way();
    let named = story.tell(&lead(), marked(at(1, O::Road, C::OverheadPoles)));
    let rails = marked(at(1, O::Railway, C::OverheadPoles));
    assert_eq!(
        story.refuse(&lead(), replaced(named, rails)),
        Refusal::OverheadOverRailway { construction: C::OverheadPoles }
    );
    story.tell(&lead(), replaced(named, marked(at(1, O::Railway, C::UnderRails))));
    assert_eq!(story.crossing(1).construction, Some(C::UnderRails));
}

#[test]
fn nothing_lies_on_a_track_either() {
    // Common practice, no source.
    for construction in [C::Buried, C::Ladder] {
        let refusal = Story::under_way().refuse(&lead(), marked(at(1, O::Railway, construction)));
        assert!(
            matches!(refusal, Refusal::ConstructionNotAllowed { obstacle: O::Railway, .. }),
            "{construction}: {refusal}"
        );
    }
}

#[test]
fn a_wire_hangs_as_high_as_the_class_of_the_road_asks() {
    // SS0440 pp. 29, 31: 18 ft over a primary road, 14 ft over a secondary one; GO 64-A rule 84.4: 8 ft over foot traffic. On
    // a public way the civil height governs where it is greater, NESC rule 232: 15.5 ft over a road, 9.5 ft over foot
    // traffic (as quoted by engineerfix.com). A dirt road counts as a secondary road: common practice, no source.
    for (obstacle, least, low, high) in [
        (O::MainHighway, feet(18.0), 5.47, 5.49),
        (O::Road, feet(15.5), 4.71, 4.72),
        (O::DirtRoad, feet(15.5), 4.71, 4.72),
        (O::Path, feet(9.5), 2.88, 2.9),
    ] {
        let refused = Refusal::TooLow { obstacle, given_m: m(low), least_m: least };
        let text = refused.to_string();
        assert!(text.contains(&format!("{low:.2} m")) && text.contains(&least.to_string()), "{text}");
        for construction in OVERHEAD {
            let hangs = |height: f64| CrossingMarked {
                clearance_m: Some(m(height)),
                ..at(1, obstacle, construction)
            };
            let mut story = Story::under_way();
            assert_eq!(story.refuse(&post(), foreseen(hangs(low))), refused);
            assert_eq!(story.refuse(&lead(), marked(hangs(low))), refused);
            story.tell(&lead(), marked(at(1, obstacle, construction)));

            let over = |height| CrossingPassed { clearance_m: Some(m(height)), ..passed(1) };
            assert_eq!(story.refuse(&lead(), Body::CrossingPassed(over(low))), refused);
            story.tell(&lead(), Body::CrossingPassed(passed(1)));

            let list = all(obstacle, construction);
            let built = |height| CrossingFinished { clearance_m: height, ..finished(1, list.clone()) };
            assert_eq!(
                story.refuse(&follow_up(), Body::CrossingFinished(built(None))),
                Refusal::HeightNeeded { obstacle, least_m: least }
            );
            assert_eq!(story.refuse(&follow_up(), Body::CrossingFinished(built(Some(m(low))))), refused);
            story.tell(&follow_up(), Body::CrossingFinished(built(Some(m(high)))));
            assert_eq!(story.crossing(1).clearance, Some(m(high)));
        }
    }
}

#[test]
fn a_height_measured_by_the_lead_team_serves_until_the_construction_changes() {
    let story = || {
        let mut story = Story::under_way();
        story.tell(&lead(), marked(at(1, O::Road, C::OverheadTrees)));
        let over = CrossingPassed { clearance_m: Some(m(4.8)), ..passed(1) };
        story.tell(&lead(), Body::CrossingPassed(over));
        story
    };
    let mut same = story();
    same.tell(&follow_up(), Body::CrossingFinished(finished(1, all(O::Road, C::OverheadTrees))));
    assert_eq!(same.crossing(1).clearance, Some(m(4.8)));

    // What hung on trees says nothing of what hangs on poles. Common practice, no source.
    let mut other = story();
    let on_poles = |clearance_m| {
        Body::CrossingFinished(CrossingFinished {
            construction: Some(C::OverheadPoles),
            clearance_m,
            ..finished(1, all(O::Road, C::OverheadPoles))
        })
    };
    assert_eq!(
        other.refuse(&follow_up(), on_poles(None)),
        Refusal::HeightNeeded { obstacle: O::Road, least_m: feet(15.5) }
    );
    other.tell(&follow_up(), on_poles(Some(m(4.9))));
    assert_eq!(other.crossing(1).clearance, Some(m(4.9)));

    // And a culvert has no height at all.
    let mut under = story();
    under.tell(
        &follow_up(),
        Body::CrossingFinished(CrossingFinished {
            construction: Some(C::ThroughCulvert),
            ..finished(1, all(O::Road, C::ThroughCulvert))
        }),
    );
    assert_eq!(under.crossing(1).clearance, None);
}

#[test]
fn a_wire_over_a_stream_hangs_clear_of_the_highest_water() {
    // Common practice, no source.
    let mut story = Story::under_way();
    let hangs =
        |height| CrossingMarked { clearance_m: Some(m(height)), ..at(1, O::Stream, C::OverheadTrees) };
    for height in [0.0, -0.3] {
        assert_eq!(story.refuse(&lead(), marked(hangs(height))), Refusal::InTheWater { given_m: m(height) });
    }
    story.pass(hangs(0.6));
    story.tell(&follow_up(), Body::CrossingFinished(finished(1, all(O::Stream, C::OverheadTrees))));
    assert_eq!(story.crossing_is(1), S::Finished);
}

#[test]
fn a_height_that_no_wire_has_is_asked_again() {
    for height in [-20.5, 100.5] {
        let over = CrossingMarked { clearance_m: Some(m(height)), ..at(1, O::Road, C::OverheadPoles) };
        let refusal = Story::under_way().refuse(&lead(), marked(over));
        assert!(matches!(refusal, Refusal::OutOfRange { given_m, .. } if given_m == m(height)), "{refusal}");
    }
    for span in [0.5, 500.5] {
        let over = CrossingMarked { span_m: Some(m(span)), ..at(1, O::Road, C::OverheadPoles) };
        let refusal = Story::under_way().refuse(&lead(), marked(over));
        assert!(matches!(refusal, Refusal::OutOfRange { given_m, .. } if given_m == m(span)), "{refusal}");
    }
}

#[test]
fn a_buried_wire_lies_half_a_foot_deep() {
    // Common practice, no source: at least 6 in.
    let mut story = Story::under_way();
    story.pass(at(1, O::DirtRoad, C::Buried));
    let buried = |depth: Option<f64>| {
        let list = all(O::DirtRoad, C::Buried);
        Body::CrossingFinished(CrossingFinished { depth_m: depth.map(m), ..finished(1, list) })
    };
    assert_eq!(story.refuse(&follow_up(), buried(None)), Refusal::DepthNeeded { least_m: feet(0.5) });
    let shallow = Refusal::TooShallow { given_m: m(0.15), least_m: feet(0.5) };
    assert_eq!(story.refuse(&follow_up(), buried(Some(0.15))), shallow);
    let refusal = story.refuse(&follow_up(), buried(Some(5.1)));
    assert!(matches!(refusal, Refusal::OutOfRange { .. }), "{refusal}");
    story.tell(&follow_up(), buried(Some(0.2)));
    assert_eq!(story.crossing(1).depth, Some(m(0.2)));
}

#[test]
fn a_ladder_is_never_finished() {
    // SS0440 p. 33: an expedient, to be replaced by an aerial crossing when the line is policed.
    let mut story = Story::under_way();
    story.pass(at(1, O::Road, C::Ladder));
    let list = all(O::Road, C::Ladder);
    for construction in [None, Some(C::Ladder)] {
        for by in [post(), lead(), follow_up()] {
            let laddered = CrossingFinished { construction, ..finished(1, list.clone()) };
            assert_eq!(story.refuse(&by, Body::CrossingFinished(laddered)), Refusal::LadderIsTemporary);
        }
    }
    let replaced_by = CrossingFinished {
        construction: Some(C::OverheadLancePoles),
        clearance_m: Some(m(4.9)),
        ..finished(1, all(O::Road, C::OverheadLancePoles))
    };
    story.tell(&follow_up(), Body::CrossingFinished(replaced_by));
    assert_eq!(story.crossing(1).construction, Some(C::OverheadLancePoles));
    assert_eq!(story.crossing_is(1), S::Finished);
}

#[test]
fn wire_lies_in_traffic_from_when_it_is_over_until_it_is_finished_or_left_clear() {
    let mut story = Story::under_way();
    story.tell(&lead(), marked(at(1, O::Road, C::ThroughCulvert)));
    assert!(!story.crossing(1).wire_in_traffic(), "nothing is over yet");
    story.tell(&lead(), Body::CrossingPassed(passed(1)));
    assert!(story.crossing(1).wire_in_traffic());
    story.tell(&follow_up(), taken(1));
    assert!(story.crossing(1).wire_in_traffic(), "it lies there while they work");
    story.tell(&follow_up(), Body::CrossingFinished(finished(1, all(O::Road, C::ThroughCulvert))));
    assert!(!story.crossing(1).wire_in_traffic());

    let clear = |n| Body::CrossingPassed(CrossingPassed { clear_of_traffic: true, ..passed(n) });
    story.tell(&lead(), marked(at(2, O::Road, C::ThroughCulvert)));
    story.tell(&lead(), clear(2));
    assert!(!story.crossing(2).wire_in_traffic(), "it was left clear");
    story.pass(at(3, O::Stream, C::UnderBridge));
    assert!(!story.crossing(3).wire_in_traffic(), "nothing drives on a stream");
    // SS0440 p. 33: a ladder is laid on the road itself, for vehicles to run over.
    story.tell(&lead(), marked(at(4, O::Road, C::Ladder)));
    story.tell(&lead(), clear(4));
    assert!(story.crossing(4).wire_in_traffic(), "a ladder is never clear of traffic");
}

#[test]
fn taking_in_hand_is_exclusive_and_tells_who_and_since_when() {
    // Common practice, no source.
    let mut story = Story::under_way();
    story.pass(at(1, O::Road, C::ThroughCulvert));
    let since = story.clock();
    story.tell(&follow_up(), taken(1));
    let held = Refusal::InHandOf { team: name("Follow-up 1"), since };
    assert!(
        held.to_string().starts_with(&format!(
            "Follow-up 1 has had this crossing in hand since {}",
            since.format("%H:%M")
        ))
    );
    let built = finished(1, all(O::Road, C::ThroughCulvert));
    for by in [other_follow_up(), lead()] {
        assert_eq!(story.refuse(&by, taken(1)), held);
        assert_eq!(story.refuse(&by, given_back(1)), held);
    }
    assert_eq!(story.refuse(&post(), taken(1)), held, "the command post frees it first");
    assert_eq!(story.refuse(&follow_up(), taken(1)), held, "not twice either");

    story.tell(&follow_up(), given_back(1));
    assert_eq!((story.crossing_is(1), &story.crossing(1).in_hand), (S::Passed, &None));
    assert_eq!(story.refuse(&follow_up(), given_back(1)), Refusal::NotInHand);
    story.tell(&other_follow_up(), taken(1));
    story.tell(&post(), given_back(1));
    assert_eq!(story.crossing_is(1), S::Passed, "the command post freed it");

    story.tell(&follow_up(), taken(1));
    story.tell(&follow_up(), Body::CrossingFinished(built));
    assert_eq!(story.crossing(1).in_hand, None);
    assert_eq!(story.crossing(1).finished_by, Some(name("Follow-up 1")));
}

#[test]
fn a_team_may_take_in_hand_what_the_wire_is_not_over_yet() {
    let mut story = Story::under_way();
    story.tell(&lead(), marked(at(1, O::Road, C::ThroughCulvert)));
    story.tell(&follow_up(), taken(1));
    let refusal =
        story.refuse(&follow_up(), Body::CrossingFinished(finished(1, all(O::Road, C::ThroughCulvert))));
    assert!(matches!(refusal, Refusal::CrossingState { state: S::InHand, .. }), "{refusal}");
    story.tell(&lead(), Body::CrossingPassed(passed(1)));
    assert_eq!(story.crossing_is(1), S::InHand, "it stays in hand");
    story.tell(&follow_up(), given_back(1));
    assert_eq!(story.crossing_is(1), S::Passed);

    story.tell(&lead(), marked(at(2, O::Road, C::ThroughCulvert)));
    story.tell(&follow_up(), taken(2));
    story.tell(&follow_up(), given_back(2));
    assert_eq!(story.crossing_is(2), S::Marked, "and goes back to what it was");
}

#[test]
fn work_at_a_crossing_goes_in_its_order() {
    let mut story = Story::under_way();
    let state = |refusal: Refusal| match refusal {
        Refusal::CrossingState { state, .. } => state,
        other => panic!("{other}"),
    };
    let built = || Body::CrossingFinished(finished(1, all(O::Road, C::ThroughCulvert)));
    let over = || Body::CrossingPassed(passed(1));
    let culvert = || at(1, O::Road, C::ThroughCulvert);

    story.tell(&post(), foreseen(CrossingMarked { construction: None, ..culvert() }));
    for body in [over(), taken(1), built(), crossing_proved(1)] {
        assert_eq!(state(story.refuse(&post(), body)), S::Foreseen);
    }
    assert_eq!(
        story.refuse(&lead(), marked(CrossingMarked { construction: None, ..culvert() })),
        Refusal::ConstructionNeeded { obstacle: O::Road }
    );
    story.tell(&lead(), marked(culvert()));
    assert_eq!(story.refuse(&post(), foreseen(culvert())), Refusal::IdInUse);
    for body in [marked(culvert()), built(), crossing_proved(1)] {
        assert_eq!(state(story.refuse(&post(), body)), S::Marked);
    }
    story.tell(&lead(), over());
    for body in [marked(culvert()), crossing_proved(1)] {
        assert_eq!(state(story.refuse(&post(), body)), S::Passed);
    }
    story.tell(&follow_up(), built());
    for body in [marked(culvert()), taken(1), struck_out(1)] {
        assert_eq!(state(story.refuse(&post(), body)), S::Finished);
    }
    let at_this_time = story.clock();
    story.tell(&follow_up(), crossing_proved(1));
    assert_eq!(story.crossing(1).proved_at, Some(at_this_time));
    for body in [marked(culvert()), taken(1), struck_out(1), crossing_proved(1)] {
        assert_eq!(state(story.refuse(&post(), body)), S::Proved);
    }
}

#[test]
fn what_turns_out_to_be_no_crossing_is_struck_out() {
    let mut story = Story::under_way();
    story.tell(&post(), foreseen(at(1, O::Stream, C::OverheadTrees)));
    story.tell(&lead(), marked(at(2, O::Stream, C::OverheadTrees)));
    story.pass(at(3, O::Road, C::ThroughCulvert));
    story.pass(at(4, O::Road, C::ThroughCulvert));
    story.tell(&lead(), taken(4));
    for n in 1..=4 {
        story.tell(&lead(), struck_out(n));
        let struck = story.crossing(n);
        assert_eq!((struck.state, &struck.in_hand), (S::StruckOut, &None));
        assert_eq!(struck.struck_out_because, Some(because("dry ditch")));
        let refusal = story.refuse(&post(), struck_out(n));
        assert!(matches!(refusal, Refusal::CrossingState { state: S::StruckOut, .. }), "{refusal}");
        let refusal = story.refuse(&post(), taken(n));
        assert!(matches!(refusal, Refusal::CrossingState { state: S::StruckOut, .. }), "{refusal}");
    }
    // No work is left, and no span is there to keep unbroken.
    story.tell(&lead(), laid(line(1), vec![on_a(0.0), on_a(1_100.0)]));
    story.tell(&lead(), splice(line(1), Some(1_000.0)));
    story.tell(&lead(), call(line(1), true));
    assert_eq!(story.line_is(1), LineState::Finished);
}

#[test]
fn a_crossing_keeps_to_its_own_line() {
    let mut story = Story::under_way();
    story.tell(&post(), planned(line(2), "13", Some(trace(&ROUTE_B))));
    story.tell(&other_lead(), started(line(2)));
    story.tell(&post(), foreseen(at(1, O::Road, C::ThroughCulvert)));
    let elsewhere = || CrossingMarked { line: line(2), ..at(1, O::Road, C::ThroughCulvert) };
    assert_eq!(story.refuse(&other_lead(), marked(elsewhere())), Refusal::IdInUse);
    assert_eq!(story.refuse(&post(), foreseen(elsewhere())), Refusal::IdInUse);
}

#[test]
fn a_crossing_far_from_its_line_is_a_slip_of_the_finger() {
    let mut story = Story::laid_to(500.0);
    let far = CrossingMarked { position: place(54.2, -4.635), ..at(1, O::Road, C::ThroughCulvert) };
    let refusal = story.refuse(&lead(), marked(far));
    let Refusal::FarFromLine { distance_m, most_m } = refusal else { panic!("{refusal}") };
    // To the plan's far end, by GeographicLib 2.1.
    assert!((distance_m.value() - 11_687.314).abs() < 0.001, "{distance_m:.3}");
    assert_eq!(most_m, m(5_000.0));
}

#[test]
fn wire_that_was_not_lifted_lies_on_the_road_whatever_was_ticked() {
    // Common practice, no source.
    let mut story = Story::laid_to(1_500.0);
    story.tell(&lead(), marked(at(1, O::Road, C::OverheadTrees)));
    story.tell(&lead(), Body::CrossingPassed(CrossingPassed { clear_of_traffic: true, ..passed(1) }));
    assert!(story.crossing(1).wire_in_traffic());
    story.tell(&lead(), marked(at(2, O::Road, C::OverheadTrees)));
    let lifted = CrossingPassed { clear_of_traffic: true, done: vec!["lift".to_owned()], ..passed(2) };
    story.tell(&lead(), Body::CrossingPassed(lifted));
    assert!(!story.crossing(2).wire_in_traffic());
}
