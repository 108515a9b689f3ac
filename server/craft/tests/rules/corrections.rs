//! Corrections: an entry never changes, and a later one says what counts in its place.

use laywire_craft::{
    construction::Construction as C,
    crossing::CrossingState as S,
    ids::ReportId,
    line::LineState as L,
    obstacle::Obstacle as O,
    party::{Party, Sender},
    refusal::Refusal,
    report::{Body, CrossingFinished, CrossingMarked, CrossingPassed, Kind},
};
use uuid::Uuid;

use crate::story::*;

fn culvert(n: u128) -> CrossingMarked {
    at(n, O::Road, C::ThroughCulvert)
}

fn built(n: u128) -> Body {
    Body::CrossingFinished(finished(n, all(O::Road, C::ThroughCulvert)))
}

#[test]
fn what_did_not_happen_is_withdrawn() {
    let mut story = Story::laid_to(1_500.0);
    story.pass(culvert(1));
    let spliced = story.tell(&lead(), splice(line(1), Some(400.0)));
    let called = story.tell(&lead(), call(line(1), true));
    let built = story.tell(&follow_up(), built(1));
    assert_eq!(story.line_is(1), L::Finished);
    story.tell(&follow_up(), withdrawn(built));
    assert_eq!((story.crossing_is(1), story.line_is(1)), (S::Passed, L::Through));
    story.tell(&lead(), withdrawn(called));
    assert_eq!((story.line_is(1), story.line(1).through_at), (L::Laying, None));
    story.tell(&lead(), withdrawn(spliced));
    assert!(story.line(1).splices.is_empty());
}

#[test]
fn a_replaced_report_counts_at_its_own_place_and_time() {
    let mut story = Story::laid_to(1_500.0);
    let opened = story.clock();
    let named = story.tell(&lead(), marked(culvert(1)));
    let over = story.clock();
    let passed_it = story.tell(&lead(), Body::CrossingPassed(passed(1)));
    story.tell(&follow_up(), taken(1));
    let elsewhere = CrossingMarked { position: on_a(300.0), ..culvert(1) };
    story.tell(&lead(), replaced(named, marked(elsewhere)));
    let clear = CrossingPassed { clear_of_traffic: true, ..passed(1) };
    story.tell(&lead(), replaced(passed_it, Body::CrossingPassed(clear)));
    let right = story.crossing(1);
    assert!((right.chainage.value() - 300.0).abs() < 0.001);
    assert_eq!((right.opened_at, right.passed_at), (opened, Some(over)));
    assert!(right.clear_of_traffic && right.state == S::InHand);
}

#[test]
fn a_trace_put_right_moves_what_was_reckoned_from_it() {
    let mut story = Story::under_way();
    let wrong = story.tell(&lead(), laid(line(1), vec![on_a(0.0), on_a(900.0)]));
    story.tell(&lead(), reel_started(line(1), 1, 1_609.0));
    story.tell(&lead(), laid(line(1), vec![on_a(1_200.0)]));
    story.tell(&lead(), reel_started(line(1), 2, 1_609.0));
    let right = vec![on_a(0.0), on_a(800.0)];
    story.tell(&lead(), replaced(wrong, laid(line(1), right)));
    let begun: Vec<_> = story.line(1).reels.iter().map(|reel| reel.from_chainage_m.value()).collect();
    assert!((begun[0] - 800.0).abs() < 0.001 && (begun[1] - 1_200.0).abs() < 0.001, "{begun:?}");
}

#[test]
fn what_rests_on_a_report_is_named_and_has_to_be_corrected_first() {
    let mut story = Story::laid_to(1_500.0);
    story.tell(&lead(), marked(culvert(1)));
    let passed_it = story.tell(&lead(), Body::CrossingPassed(passed(1)));
    let taken_it = story.tell(&follow_up(), taken(1));
    let called = story.tell(&lead(), call(line(1), true));
    let built_it = story.tell(&follow_up(), built(1));

    let refusal = story.refuse(&lead(), withdrawn(passed_it));
    let Refusal::RestsOnIt { sequence, report, ref because } = refusal else { panic!("{refusal}") };
    // Entries: planned 1, started 2, laid 3, marked 4, passed 5, taken 6, called 7, finished 8.
    assert_eq!((sequence, report), (7, Kind::CallBackGood));
    assert!(because.contains("nobody has reported 1 of the crossings passed"), "{because}");
    assert!(refusal.to_string().contains("Entry 7 (call-back good)"), "{refusal}");

    story.tell(&lead(), withdrawn(called));
    let refusal = story.refuse(&lead(), withdrawn(passed_it));
    assert!(
        matches!(refusal, Refusal::RestsOnIt { sequence: 8, report: Kind::CrossingFinished, .. }),
        "{refusal}"
    );
    story.tell(&follow_up(), withdrawn(built_it));
    story.tell(&lead(), withdrawn(passed_it));
    assert_eq!((story.crossing_is(1), story.crossing(1).passed_at), (S::InHand, None));
    story.tell(&follow_up(), withdrawn(taken_it));
    assert_eq!(story.crossing_is(1), S::Marked);

    let started_it = story.log[1].report.id;
    let refusal = story.refuse(&lead(), withdrawn(started_it));
    assert!(
        matches!(refusal, Refusal::RestsOnIt { sequence: 3, report: Kind::TraceExtended, .. }),
        "{refusal}"
    );
}

#[test]
fn a_replacement_that_breaks_a_rule_itself_is_refused_with_that_rule() {
    let mut story = Story::under_way();
    let named = story.tell(&lead(), marked(at(1, O::Road, C::OverheadPoles)));
    let low = CrossingMarked { clearance_m: Some(m(3.0)), ..at(1, O::Road, C::OverheadPoles) };
    let refusal = story.refuse(&lead(), replaced(named, marked(low)));
    assert!(matches!(refusal, Refusal::TooLow { .. }), "{refusal}");
}

#[test]
fn a_corrected_span_keeps_splices_out_as_well() {
    let mut story = Story::laid_to(1_500.0);
    let bridge = story.tell(&lead(), marked(at(1, O::Stream, C::UnderBridge)));
    let spliced = story.tell(&lead(), splice(line(1), Some(1_000.0)));
    let overhead = || marked(at(1, O::Stream, C::OverheadTrees));
    let refusal = story.refuse(&lead(), replaced(bridge, overhead()));
    assert!(matches!(refusal, Refusal::RestsOnIt { report: Kind::SpliceMade, .. }), "{refusal}");
    story.tell(&lead(), replaced(spliced, splice(line(1), Some(900.0))));
    story.tell(&lead(), replaced(bridge, overhead()));
    let refusal = story.refuse(&lead(), replaced(spliced, splice(line(1), Some(1_000.0))));
    assert!(matches!(refusal, Refusal::SpliceInSpan { .. }), "{refusal}");
}

#[test]
fn only_who_sent_a_report_or_the_command_post_corrects_it() {
    let mut story = Story::laid_to(1_500.0);
    let named = story.tell(&lead(), marked(culvert(1)));
    let not_yours = Refusal::NotYourReport { team: name("Lead 1") };
    // A follow-up team that happens to share the call sign is another team.
    let namesake = Sender { party: Party::FollowUpTeam, team: name("Lead 1") };
    for by in [other_lead(), follow_up(), namesake] {
        let refusal = story.refuse(&by, replaced(named, marked(culvert(1))));
        assert_eq!(refusal, not_yours, "{} {}", by.party, by.team);
    }
    story.tell(&lead(), replaced(named, marked(at(1, O::Road, C::UnderBridge))));
    story.tell(&post(), replaced(named, marked(at(1, O::Road, C::OverheadPoles))));
    assert_eq!(story.crossing(1).construction, Some(C::OverheadPoles));
    let by_post = story.tell(&post(), note(Some(line(1)), None));
    assert_eq!(story.refuse(&lead(), withdrawn(by_post)), Refusal::NotYourReport { team: name("Post") });
}

#[test]
fn a_correction_says_the_same_thing_right() {
    let mut story = Story::laid_to(1_500.0);
    story.tell(&post(), planned(line(2), "13", None));
    let named = story.tell(&lead(), marked(culvert(1)));
    let passed_it = story.tell(&lead(), Body::CrossingPassed(passed(1)));
    let spliced = story.tell(&lead(), splice(line(1), None));
    for (wrong, instead) in [
        (named, Body::CrossingPassed(passed(1))),
        (named, marked(culvert(2))),
        (named, marked(CrossingMarked { line: line(2), ..culvert(1) })),
        (passed_it, Body::CrossingPassed(passed(2))),
        (spliced, splice(line(2), None)),
        (spliced, note(Some(line(1)), None)),
        (spliced, withdrawn(named)),
    ] {
        let kind = story.log.iter().find(|entry| entry.report.id == wrong).unwrap().report.body.kind();
        assert_eq!(story.refuse(&post(), replaced(wrong, instead)), Refusal::OtherSubject { report: kind });
    }
}

#[test]
fn what_others_may_have_seen_is_replaced_and_not_withdrawn() {
    let mut story = Story::new();
    let drawn = story.tell(&post(), planned(line(1), "12", Some(trace(&ROUTE_A))));
    let expected = story.tell(&post(), foreseen(culvert(1)));
    story.tell(&lead(), started(line(1)));
    let named = story.tell(&lead(), marked(culvert(2)));
    for wrong in [drawn, expected, named] {
        let refusal = story.refuse(&post(), withdrawn(wrong));
        assert!(matches!(refusal, Refusal::NotWithdrawn { .. }), "{refusal}");
    }
    story.tell(&post(), replaced(expected, foreseen(at(1, O::Road, C::Ladder))));
    assert_eq!(story.crossing(1).construction, Some(C::Ladder));
}

#[test]
fn a_correction_is_not_corrected_but_what_it_corrected_once_more() {
    let mut story = Story::laid_to(1_500.0);
    let spliced = story.tell(&lead(), splice(line(1), Some(400.0)));
    let withdrew = story.tell(&lead(), withdrawn(spliced));
    assert!(story.line(1).splices.is_empty());
    for again in [withdrawn(withdrew), replaced(withdrew, splice(line(1), Some(500.0)))] {
        let refusal = story.refuse(&lead(), again);
        assert!(matches!(refusal, Refusal::NotWithdrawn { report: Kind::Correction, .. }), "{refusal}");
    }
    for chainage in [500.0, 600.0] {
        story.tell(&lead(), replaced(spliced, splice(line(1), Some(chainage))));
        let joints: Vec<_> = story.line(1).splices.iter().map(|splice| splice.chainage_m).collect();
        assert_eq!(joints, [m(chainage)], "the last correction counts");
    }
    story.tell(&post(), withdrawn(spliced));
    assert!(story.line(1).splices.is_empty());
}

#[test]
fn a_report_that_is_not_in_the_log_is_not_corrected() {
    let mut story = Story::under_way();
    let unheard = ReportId(Uuid::from_u128(1));
    assert_eq!(story.refuse(&post(), withdrawn(unheard)), Refusal::NoSuchReport);
    story.refuse(&lead(), started(line(1)));
    // A refused report is not in the log either.
    let refused = ReportId(Uuid::from_u128(0x4000 + 2));
    assert_eq!(story.refuse(&post(), withdrawn(refused)), Refusal::NoSuchReport);
}

#[test]
fn a_number_is_put_right_and_stays_the_only_one() {
    let mut story = Story::new();
    let drawn = story.tell(&post(), planned(line(1), "12", None));
    let other = story.tell(&post(), planned(line(2), "13", None));
    let refusal = story.refuse(&post(), replaced(other, planned(line(2), "12", None)));
    assert!(matches!(refusal, Refusal::DesignationInUse { .. }), "{refusal}");
    story.tell(&post(), replaced(drawn, planned(line(1), "14", None)));
    story.tell(&post(), replaced(other, planned(line(2), "12", None)));
    story.tell(&post(), replaced(drawn, planned(line(1), "13", Some(trace(&ROUTE_B)))));
    let numbers: Vec<_> = story.now.lines.values().map(|line| line.designation.as_str()).collect();
    assert_eq!(numbers, ["13", "12"]);
    assert!((story.line(1).length().value() - 2_250.055).abs() < 0.001, "route B by GeographicLib 2.1");
}

#[test]
fn a_finish_put_right_is_checked_like_any_other() {
    let mut story = Story::laid_to(1_500.0);
    story.pass(at(1, O::Road, C::OverheadTrees));
    let hung = |height, done| {
        Body::CrossingFinished(CrossingFinished { clearance_m: Some(m(height)), ..finished(1, done) })
    };
    let list = all(O::Road, C::OverheadTrees);
    let built = story.tell(&follow_up(), hung(4.8, list.clone()));
    let refusal = story.refuse(&follow_up(), replaced(built, hung(4.0, list.clone())));
    assert!(matches!(refusal, Refusal::TooLow { .. }), "{refusal}");
    let refusal = story.refuse(&follow_up(), replaced(built, hung(4.8, Vec::new())));
    assert!(matches!(refusal, Refusal::ListNotDone { .. }), "{refusal}");
    story.tell(&follow_up(), replaced(built, hung(4.9, list)));
    assert_eq!(story.crossing(1).clearance, Some(m(4.9)));
}

#[test]
fn a_note_about_no_line_is_withdrawn_too() {
    let mut story = Story::under_way();
    let said = story.tell(&lead(), note(None, None));
    let before = story.now.clone();
    story.tell(&lead(), replaced(said, note(None, None)));
    story.tell(&lead(), withdrawn(said));
    assert_eq!(story.now, before);
}
