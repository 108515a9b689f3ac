//! Laying: the life of a line, its wire, reels and splices, and the calls over it.

use laywire_craft::{
    construction::Construction as C,
    crossing::CrossingState as S,
    duty::Act,
    fault::signs::Sign,
    line::LineState as L,
    obstacle::Obstacle as O,
    party::{Party, Sender},
    refusal::Refusal,
    report::TestedFrom,
    report::{Body, CallBackGood, CrossingFinished, CrossingMarked, CrossingPassed, Kind, Note},
};

use crate::story::*;

fn built(n: u128, obstacle: O, construction: C) -> Body {
    Body::CrossingFinished(finished(n, all(obstacle, construction)))
}

#[test]
fn a_line_goes_from_planned_to_handed_over() {
    let mut story = Story::new();
    story.tell(&post(), planned(line(1), "12", Some(trace(&ROUTE_A))));
    assert_eq!(story.line_is(1), L::Planned);
    story.tell(&post(), foreseen(at(1, O::Stream, C::UnderBridge)));
    let began = story.clock();
    story.tell(&lead(), started(line(1)));
    assert_eq!((story.line_is(1), story.line(1).started_at), (L::Laying, Some(began)));
    assert_eq!(story.line(1).team, Some(name("Lead 1")));
    story.tell(&lead(), reel_started(line(1), 1, 1_609.0));
    story.tell(&lead(), laid(line(1), vec![on_a(0.0), on_a(1_200.0)]));
    story.pass(at(1, O::Stream, C::UnderBridge));
    story.tell(&lead(), call(line(1), false));
    assert_eq!(story.line_is(1), L::Laying, "a call from half-way does not make it through");
    story.tell(&lead(), laid(line(1), vec![trace(&ROUTE_A).end()]));
    // Route A by GeographicLib 2.1.
    assert!((story.line(1).laid_length.value() - 2_834.290).abs() < 0.001);
    let through = story.clock();
    story.tell(&lead(), call(line(1), true));
    assert_eq!((story.line_is(1), story.line(1).through_at), (L::Through, Some(through)));
    let calls: Vec<_> = story.line(1).call_backs.iter().map(|call| call.chainage_m).collect();
    assert_eq!(calls.len(), 2);
    assert!((calls[0].value() - 1_200.0).abs() < 0.001 && (calls[1].value() - 2_834.290).abs() < 0.001);

    story.tell(&follow_up(), taken(1));
    assert_eq!(story.line_is(1), L::Through);
    story.tell(&follow_up(), built(1, O::Stream, C::UnderBridge));
    assert_eq!(story.line_is(1), L::Finished);
    let proved = story.clock();
    story.tell(&lead(), line_proved(line(1)));
    assert_eq!((story.line_is(1), story.line(1).proved_at), (L::Proved, Some(proved)));
    assert_eq!((story.crossing_is(1), story.crossing(1).proved_at), (S::Proved, Some(proved)));
    story.tell(&post(), handed_over(line(1)));
    assert_eq!(
        (story.line_is(1), &story.line(1).handed_over_to),
        (L::HandedOver, &Some(name("Switchboard crew")))
    );
}

#[test]
fn a_line_that_is_through_wants_nothing_more_of_its_plan() {
    let mut story = Story::laid_to(1_500.0);
    // Route A by GeographicLib 2.1.
    assert!((story.line(1).length().value() - 2_834.290).abs() < 0.001);
    story.tell(&lead(), call(line(1), true));
    assert!((story.line(1).length().value() - 1_500.0).abs() < 0.001);
}

#[test]
fn a_line_keeps_its_latest_two_hundred_good_calls() {
    let mut story = Story::laid_to(500.0);
    let mut made = Vec::new();
    for _ in 0..203 {
        made.push(story.clock());
        story.hear_from(&lead(), None, call(line(1), false)).unwrap();
    }
    let kept: Vec<_> = story.line(1).call_backs.iter().map(|call| call.at).collect();
    assert_eq!(kept, made[3..]);
    assert_eq!(story.now, story.added_up());
}

#[test]
fn a_line_goes_no_faster_than_its_work() {
    let line_state = |refusal: Refusal| match refusal {
        Refusal::LineState { state, .. } => state,
        other => panic!("{other}"),
    };
    let mut story = Story::new();
    story.tell(&post(), planned(line(1), "12", Some(trace(&ROUTE_A))));
    for body in [
        laid(line(1), vec![on_a(0.0)]),
        reel_started(line(1), 1, 400.0),
        splice(line(1), None),
        marked(at(1, O::Road, C::ThroughCulvert)),
        call(line(1), true),
        line_proved(line(1)),
        handed_over(line(1)),
    ] {
        assert_eq!(line_state(story.refuse(&post(), body)), L::Planned);
    }
    story.tell(&lead(), started(line(1)));
    for body in [started(line(1)), line_proved(line(1)), handed_over(line(1))] {
        assert_eq!(line_state(story.refuse(&post(), body)), L::Laying);
    }
    story.tell(&lead(), laid(line(1), vec![on_a(0.0), on_a(900.0)]));
    story.pass(at(1, O::Road, C::ThroughCulvert));
    story.tell(&lead(), call(line(1), true));
    assert_eq!(
        line_state(story.refuse(&lead(), line_proved(line(1)))),
        L::Through,
        "a crossing is unfinished"
    );
    story.tell(&follow_up(), built(1, O::Road, C::ThroughCulvert));
    assert_eq!(line_state(story.refuse(&post(), handed_over(line(1)))), L::Finished);
    story.tell(&lead(), line_proved(line(1)));
    for closed in [L::Proved, L::HandedOver] {
        for body in [
            laid(line(1), vec![on_a(901.0)]),
            reel_started(line(1), 1, 400.0),
            splice(line(1), None),
            line_proved(line(1)),
        ] {
            assert_eq!(line_state(story.refuse(&post(), body)), closed);
        }
        if closed == L::Proved {
            story.tell(&post(), handed_over(line(1)));
        }
    }
    assert_eq!(line_state(story.refuse(&post(), handed_over(line(1)))), L::HandedOver);
}

#[test]
fn through_is_refused_while_a_crossing_is_not_reported_passed() {
    let mut story = Story::laid_to(1_500.0);
    story.tell(
        &post(),
        foreseen(CrossingMarked { position: on_a(200.0), ..at(9, O::Road, C::ThroughCulvert) }),
    );
    story.tell(
        &lead(),
        marked(CrossingMarked { position: on_a(1_200.0), ..at(1, O::Road, C::ThroughCulvert) }),
    );
    story
        .tell(&lead(), marked(CrossingMarked { position: on_a(700.0), ..at(2, O::Road, C::ThroughCulvert) }));
    story.tell(&follow_up(), taken(2));
    let refusal = story.refuse(&lead(), call(line(1), true));
    let Refusal::NotPassed { designation, count, first_chainage_m } = refusal else { panic!("{refusal}") };
    assert_eq!(
        (designation.as_str(), count),
        ("12", 3),
        "taken in hand is not passed, and at what is foreseen nobody has looked"
    );
    assert!((first_chainage_m.value() - 200.0).abs() < 0.001);
    story.tell(&lead(), call(line(1), false));

    story.tell(&lead(), Body::CrossingPassed(passed(2)));
    story.refuse(&lead(), call(line(1), true));
    story.tell(&lead(), struck_out(1));
    story.refuse(&lead(), call(line(1), true));
    story.tell(&post(), struck_out(9));
    story.tell(&lead(), call(line(1), true));
    assert_eq!(story.line_is(1), L::Through);
    // Once it is through it stays so: a call that was good is not undone by what is named later.
    story.tell(&lead(), marked(at(3, O::Path, C::ThroughCulvert)));
    story.tell(&lead(), call(line(1), true));
    assert_eq!(story.line_is(1), L::Through);
}

#[test]
fn a_late_crossing_takes_proved_and_handed_over_away() {
    let mut story = Story::laid_to(1_500.0);
    story.pass(at(1, O::Road, C::ThroughCulvert));
    story.tell(&follow_up(), built(1, O::Road, C::ThroughCulvert));
    story.tell(&lead(), call(line(1), true));
    story.tell(&lead(), line_proved(line(1)));
    story.tell(&post(), handed_over(line(1)));
    // Only the command post opens a line that is out of the crews' hands.
    for crew in [lead(), follow_up()] {
        let refusal = story.refuse(&crew, marked(at(2, O::Path, C::ThroughCulvert)));
        assert!(matches!(refusal, Refusal::LineState { state: L::HandedOver, .. }), "{refusal}");
    }
    story.tell(&post(), marked(at(2, O::Path, C::ThroughCulvert)));
    let open = story.line(1);
    assert_eq!((open.state, open.proved_at, open.handed_over_at), (L::Through, None, None));
    assert_eq!(open.handed_over_to, None);
    assert_eq!(story.crossing_is(1), S::Proved, "what was proved there was proved");

    story.tell(&lead(), Body::CrossingPassed(CrossingPassed { clear_of_traffic: true, ..passed(2) }));
    story.tell(&follow_up(), built(2, O::Path, C::ThroughCulvert));
    assert_eq!(story.line_is(1), L::Finished, "it has to be proved anew");
    story.tell(&lead(), line_proved(line(1)));
    assert_eq!((story.line_is(1), story.crossing_is(2)), (L::Proved, S::Proved));

    story.tell(&post(), foreseen(at(3, O::Path, C::ThroughCulvert)));
    assert_eq!(story.line_is(1), L::Through, "nobody has looked there yet");
    story.tell(&lead(), struck_out(3));
    assert_eq!(story.line_is(1), L::Finished, "also when it turned out to be none");
}

#[test]
fn a_splice_never_falls_inside_a_stream_span() {
    // Common practice, no source. The span is 40 m about the crossing at 1,000 m.
    let stream = || CrossingMarked { span_m: Some(m(40.0)), ..at(1, O::Stream, C::OverheadTrees) };
    let inside = [980.5, 1_000.0, 1_019.5];
    let outside = [979.5, 1_020.5];

    for chainage in inside {
        let mut story = Story::laid_to(1_200.0);
        story.tell(&lead(), marked(stream()));
        let refusal = story.refuse(&lead(), splice(line(1), Some(chainage)));
        let Refusal::SpliceInSpan { chainage_m, from_m, to_m } = refusal else { panic!("{refusal}") };
        assert_eq!(chainage_m, m(chainage));
        assert!((from_m.value() - 980.0).abs() < 0.001 && (to_m.value() - 1_020.0).abs() < 0.001);

        let mut other = Story::laid_to(1_200.0);
        other.tell(&lead(), splice(line(1), Some(chainage)));
        assert_eq!(
            other.refuse(&lead(), marked(stream())),
            refusal,
            "the same, when the span is named after it"
        );
        assert_eq!(other.refuse(&post(), foreseen(stream())), refusal);
    }
    for chainage in outside {
        let mut story = Story::laid_to(1_200.0);
        story.tell(&lead(), marked(stream()));
        story.tell(&lead(), splice(line(1), Some(chainage)));
        let mut story = Story::laid_to(1_200.0);
        story.tell(&lead(), splice(line(1), Some(chainage)));
        story.tell(&lead(), marked(stream()));
    }
}

#[test]
fn a_span_that_nobody_measured_is_taken_for_a_normal_one() {
    // SS0440 p. 33: normal span 100 ft, which is 30.48 m: 15.24 m on either hand.
    let mut story = Story::laid_to(1_200.0);
    story.tell(&lead(), marked(at(1, O::Stream, C::OverheadPoles)));
    for chainage in [985.0, 1_015.0] {
        let refusal = story.refuse(&lead(), splice(line(1), Some(chainage)));
        assert!(matches!(refusal, Refusal::SpliceInSpan { .. }), "{refusal}");
    }
    for chainage in [984.5, 1_015.5] {
        story.tell(&lead(), splice(line(1), Some(chainage)));
    }
}

#[test]
fn reels_are_not_changed_inside_a_stream_span() {
    // Common practice, no source.
    let stream = || CrossingMarked { span_m: Some(m(40.0)), ..at(1, O::Stream, C::OverheadTrees) };
    let mut story = Story::laid_to(1_010.0);
    story.tell(&lead(), marked(stream()));
    story.tell(&lead(), reel_started(line(1), 1, 400.0));
    let refusal = story.refuse(&lead(), reel_started(line(1), 2, 400.0));
    assert!(
        matches!(refusal, Refusal::SpliceInSpan { .. }),
        "the second reel is spliced to the first: {refusal}"
    );
    story.tell(&lead(), laid(line(1), vec![on_a(1_025.0)]));
    story.tell(&lead(), reel_started(line(1), 2, 400.0));

    let mut story = Story::laid_to(1_010.0);
    story.tell(&lead(), reel_started(line(1), 1, 400.0));
    story.tell(&lead(), marked(stream()));
    let mut story = Story::laid_to(1_010.0);
    story.tell(&lead(), reel_started(line(1), 1, 400.0));
    story.tell(&lead(), reel_started(line(1), 2, 400.0));
    let refusal = story.refuse(&lead(), marked(stream()));
    assert!(matches!(refusal, Refusal::SpliceInSpan { .. }), "{refusal}");
}

#[test]
fn a_bridge_over_a_stream_may_carry_a_splice_until_the_wire_goes_overhead() {
    // Common practice, no source.
    let mut story = Story::laid_to(1_200.0);
    story.pass(at(1, O::Stream, C::UnderBridge));
    story.tell(&lead(), splice(line(1), Some(1_000.0)));
    let overhead = CrossingFinished {
        construction: Some(C::OverheadPoles),
        clearance_m: Some(m(3.0)),
        ..finished(1, all(O::Stream, C::OverheadPoles))
    };
    let refusal = story.refuse(&follow_up(), Body::CrossingFinished(overhead));
    assert!(matches!(refusal, Refusal::SpliceInSpan { .. }), "{refusal}");
    story.tell(&follow_up(), built(1, O::Stream, C::UnderBridge));

    let mut story = Story::laid_to(1_200.0);
    story.tell(&lead(), marked(at(1, O::Road, C::OverheadPoles)));
    story.tell(&lead(), splice(line(1), Some(1_000.0)));
}

#[test]
fn a_splice_lies_on_the_wire() {
    let mut story = Story::laid_to(500.0);
    let head = story.line(1).laid_length;
    for chainage in [-0.5, 701.0] {
        assert_eq!(
            story.refuse(&lead(), splice(line(1), Some(chainage))),
            Refusal::BeyondTheWire { chainage_m: m(chainage), laid_m: head }
        );
    }
    story.tell(&lead(), splice(line(1), Some(0.0)));
    story.tell(&lead(), splice(line(1), Some(699.0)));
    story.tell(&lead(), splice(line(1), None));
    story.hear_from(&lead(), Some(on_a(250.0)), splice(line(1), None)).unwrap();
    story.hear_from(&lead(), Some(on_a(900.0)), splice(line(1), None)).unwrap();
    let lies: Vec<f64> = story.line(1).splices.iter().map(|splice| splice.chainage_m.value()).collect();
    for (lies, expected) in lies.into_iter().zip([0.0, 699.0, 500.0, 250.0, 500.0]) {
        assert!((lies - expected).abs() < 0.001, "{lies} is not {expected}");
    }
    let from_afar = CallBackGood { line: line(1), from_far_end: false, chainage_m: Some(m(701.0)) };
    let refusal = story.refuse(&lead(), Body::CallBackGood(from_afar));
    assert!(matches!(refusal, Refusal::BeyondTheWire { .. }), "{refusal}");
}

#[test]
fn a_reel_is_begun_once_and_holds_what_a_reel_can_hold() {
    let mut story = Story::laid_to(500.0);
    for length in [9.0, 10_001.0] {
        let refusal = story.refuse(&lead(), reel_started(line(1), 1, length));
        assert!(matches!(refusal, Refusal::OutOfRange { given_m, .. } if given_m == m(length)), "{refusal}");
    }
    // SS0440 p. 11, table 1-1: put-ups of 1/4 to 2 1/2 miles, which are 402 m to 4,023 m.
    story.tell(&lead(), reel_started(line(1), 1, 402.0));
    assert_eq!(story.refuse(&lead(), reel_started(line(1), 1, 402.0)), Refusal::IdInUse);
    story.tell(&lead(), reel_started(line(1), 2, 4_023.0));
    // SS0444 p. 23: about 20 % of slack, so that 100 m of ground draw 120 m of wire.
    story.tell(&lead(), laid(line(1), vec![on_a(600.0)]));
    let left = story.line(1).left_on_reel(20).unwrap();
    assert!((left.value() - 3_903.0).abs() < 0.01, "{left}");
}

#[test]
fn a_trace_comes_in_bounded_parts_and_makes_no_leap() {
    let mut story = Story::laid_to(500.0);
    for positions in [vec![], vec![on_a(600.0); 1_001]] {
        let refusal = story.refuse(&lead(), laid(line(1), positions));
        assert!(matches!(refusal, Refusal::TraceNotTaken { .. }), "{refusal}");
    }
    let refusal = story.refuse(&lead(), laid(line(1), vec![on_a(600.0), place(54.4, -4.6)]));
    assert!(matches!(refusal, Refusal::TraceLeaps { .. }), "{refusal}");
    let before = story.line(1).clone();
    story.tell(&lead(), laid(line(1), vec![on_a(500.0); 1_000]));
    assert_eq!(story.line(1), &before, "a team that stands still lays nothing");

    // A laid trace of as many positions as a trace may have takes no more.
    story.now.lines.get_mut(&line(1)).unwrap().laid =
        vec![on_a(500.0); laywire_craft::trace::MOST_POSITIONS].into();
    let refusal = story.hear_from(&lead(), None, laid(line(1), vec![on_a(600.0)])).unwrap_err();
    assert!(matches!(refusal, Refusal::TraceNotTaken { .. }), "{refusal}");
}

#[test]
fn a_number_is_used_once_in_an_operation() {
    let mut story = Story::under_way();
    let again = story.refuse(&post(), planned(line(2), " 12 ", None));
    assert!(
        matches!(again, Refusal::DesignationInUse { ref designation } if designation.as_str() == "12"),
        "{again}"
    );
    assert_eq!(story.refuse(&post(), planned(line(1), "13", None)), Refusal::IdInUse);
    story.tell(&post(), planned(line(2), "12A", None));
}

#[test]
fn what_is_not_there_is_not_reported_on() {
    let mut story = Story::under_way();
    for body in [
        started(line(7)),
        laid(line(7), vec![on_a(0.0)]),
        reel_started(line(7), 1, 400.0),
        splice(line(7), None),
        foreseen(CrossingMarked { line: line(7), ..at(1, O::Road, C::ThroughCulvert) }),
        marked(CrossingMarked { line: line(7), ..at(1, O::Road, C::ThroughCulvert) }),
        call(line(7), true),
        line_proved(line(7)),
        handed_over(line(7)),
        note(Some(line(7)), None),
    ] {
        assert_eq!(story.refuse(&post(), body), Refusal::NoSuchLine);
    }
    for body in [
        Body::CrossingPassed(passed(7)),
        taken(7),
        given_back(7),
        built(7, O::Road, C::ThroughCulvert),
        crossing_proved(7),
        struck_out(7),
        note(None, Some(crossing(7))),
        note(Some(line(1)), Some(crossing(7))),
    ] {
        assert_eq!(story.refuse(&post(), body), Refusal::NoSuchCrossing);
    }
}

#[test]
fn a_note_changes_nothing_and_speaks_of_one_line() {
    let mut story = Story::under_way();
    story.tell(&lead(), marked(at(1, O::Road, C::ThroughCulvert)));
    let before = story.now.clone();
    for body in [
        note(None, None),
        note(Some(line(1)), None),
        note(None, Some(crossing(1))),
        note(Some(line(1)), Some(crossing(1))),
    ] {
        story.tell(&follow_up(), body);
    }
    assert_eq!(story.now, before);

    // A note in line 2's log that speaks of line 1's crossing could not be read without line 1.
    let second = story.tell(&post(), planned(line(2), "13", None));
    assert_eq!(story.refuse(&post(), note(Some(line(2)), Some(crossing(1)))), Refusal::NoSuchCrossing);
    story.tell(&post(), replaced(second, planned(line(2), "14", None)));
}

#[test]
fn each_party_reports_its_own_work() {
    // The command post plans, and speaks for teams that only have a telephone; the lead team lays, the follow-up team
    // finishes, an observer looks. Common practice, no source.
    let lays = [
        Kind::LineStarted,
        Kind::TraceExtended,
        Kind::ReelStarted,
        Kind::CrossingPassed,
        Kind::CrossingStruckOut,
        Kind::LineProved,
    ];
    let finishes = [Kind::CrossingProved];
    let both = [
        Kind::SpliceMade,
        Kind::CrossingMarked,
        Kind::CrossingTaken,
        Kind::CrossingGivenBack,
        Kind::CrossingFinished,
        Kind::CallBackGood,
        Kind::TestMade,
        Kind::WatchSet,
        Kind::TroubleReported,
        Kind::TroubleNarrowed,
        Kind::TroubleCleared,
        Kind::SectionTakenUp,
        Kind::CrossingMadeGood,
        Kind::WireLost,
        Kind::ReelReturned,
        Kind::Correction,
        Kind::Note,
    ];
    let plans = [
        Kind::LinePlanned,
        Kind::PlanIssued,
        Kind::CrossingForeseen,
        Kind::CrossingGivenOut,
        Kind::LineHandedOver,
        Kind::LineOrderedUp,
    ];
    assert_eq!(lays.len() + finishes.len() + both.len() + plans.len(), Kind::ALL.len());
    let bodies = |refers| {
        [
            planned(line(2), "13", None),
            issued(line(1), 1, trace(&ROUTE_A)),
            started(line(1)),
            laid(line(1), vec![on_a(0.0)]),
            reel_started(line(1), 1, 400.0),
            splice(line(1), None),
            foreseen(at(1, O::Road, C::ThroughCulvert)),
            marked(at(1, O::Road, C::ThroughCulvert)),
            Body::CrossingPassed(passed(1)),
            taken(1),
            given_out(1, Some(("Follow-up 1", 1))),
            given_back(1),
            built(1, O::Road, C::ThroughCulvert),
            crossing_proved(1),
            struck_out(1),
            call(line(1), true),
            line_proved(line(1)),
            handed_over(line(1)),
            tested(line(1), TestedFrom::Along, true, None),
            watched(line(1)),
            trouble(line(1), &[Sign::Hum]),
            answered(line(1), 100.0, true, false),
            cleared(line(1), false),
            ordered_up(line(1)),
            taken_up(line(1), 0.0, 10.0, 12.0),
            made_good(1),
            lost(line(1), 0.0, 10.0, 12.0),
            returned(line(1), 1, 5.0),
            withdrawn(refers),
            note(None, None),
        ]
    };
    for by in [post(), lead(), follow_up(), observer()] {
        let may = |kind: Kind| match by.party {
            Party::CommandPost => true,
            Party::LeadTeam => lays.contains(&kind) || both.contains(&kind),
            Party::FollowUpTeam => finishes.contains(&kind) || both.contains(&kind),
            Party::Observer => false,
        };
        let mut told = Vec::new();
        for n in 0..Kind::ALL.len() {
            let mut story = Story::under_way();
            let refers = story.tell(&who_notes(by.party), note(None, None));
            let body = bodies(refers)[n].clone();
            let kind = body.kind();
            told.push(kind);
            assert_eq!(by.party.may(Act::Report(kind)), may(kind), "{} {kind}", by.party);
            let not_yours = Refusal::NotYours { party: by.party, report: kind };
            let refused = story.hear(&by, body).is_err_and(|refusal| refusal == not_yours);
            assert_eq!(refused, !may(kind), "{} {kind}", by.party);
        }
        told.sort();
        told.dedup();
        assert_eq!(told.len(), Kind::ALL.len(), "every kind was tried");
    }
}

/// A sender of the party, or of the command post where the party says nothing.
fn who_notes(party: Party) -> Sender {
    match party {
        Party::LeadTeam => lead(),
        Party::FollowUpTeam => follow_up(),
        Party::CommandPost | Party::Observer => post(),
    }
}

#[test]
fn a_line_without_wire_is_not_through() {
    let mut story = Story::under_way();
    let refusal = story.refuse(&lead(), call(line(1), true));
    assert!(matches!(refusal, Refusal::LineState { state: L::Laying, .. }), "{refusal}");
    story.tell(&lead(), laid(line(1), vec![on_a(0.0), on_a(1_000.0)]));
    story.tell(&lead(), call(line(1), true));
    assert_eq!(story.line_is(1), L::Finished);
}

#[test]
fn a_remark_may_be_about_any_earlier_entry_and_about_none_that_is_not_there() {
    let mut story = Story::laid_to(1_500.0);
    let last = i64::try_from(story.log.len()).unwrap();
    let about = |about: i64| match note(Some(line(1)), None) {
        Body::Note(note) => Body::Note(Note { about: Some(about), ..note }),
        other => other,
    };
    story.tell(&lead(), about(last));
    for wrong in [last + 2, 0, -1, i64::MIN, i64::MAX] {
        assert_eq!(story.refuse(&lead(), about(wrong)), Refusal::NoSuchReport, "{wrong}");
    }
    // Logs that were written before remarks could be about an entry read as they did.
    let old = format!(r#"{{"kind":"note","line":"{}","text":"wet"}}"#, line(1));
    let read: Body = serde_json::from_str(&old).unwrap();
    assert!(matches!(&read, Body::Note(note) if note.about.is_none()));
    assert_eq!(serde_json::to_string(&read).unwrap(), old);
}
