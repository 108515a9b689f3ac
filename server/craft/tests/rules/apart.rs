//! Teams that were apart for hours and come back with what they did. What is in the ground is recorded, whoever says so
//! and however late; nothing is overwritten, the log has both; and where two do not fit, the state shows the danger.
//! Common practice, no source.

use laywire_craft::{
    construction::Construction as C,
    crossing::{Conflict, CrossingState as S},
    line::LineState as L,
    obstacle::Obstacle as O,
    party::Sender,
    refusal::Refusal,
    report::{Body, ClockOffset, CrossingFinished, CrossingMarked, CrossingPassed, Entry, Kind, Report},
};

use crate::story::*;

fn culvert(n: u128) -> CrossingMarked {
    at(n, O::Road, C::ThroughCulvert)
}

fn built(n: u128) -> Body {
    Body::CrossingFinished(finished(n, all(O::Road, C::ThroughCulvert)))
}

fn hung(n: u128, height: f64) -> Body {
    Body::CrossingFinished(CrossingFinished {
        construction: Some(C::OverheadPoles),
        clearance_m: Some(m(height)),
        ..finished(n, all(O::Road, C::OverheadPoles))
    })
}

/// What was told of the crossing against what was known, by whom, and what the crossing was then.
fn told(story: &Story, n: u128) -> Vec<(Kind, String, S)> {
    let conflicts = story.crossing(n).conflicts.iter();
    conflicts.map(|c| (c.told, c.team.to_string(), c.was)).collect()
}

fn one(kind: Kind, by: &Sender, was: S) -> Vec<(Kind, String, S)> {
    vec![(kind, by.team.to_string(), was)]
}

#[test]
fn two_teams_finished_the_same_crossing_and_the_log_has_both() {
    let mut story = Story::under_way();
    story.pass(culvert(1));
    story.tell(&follow_up(), built(1));
    let first = story.crossing(1).clone();
    // Out of reach, the other team did it before.
    story.tell_late(&other_follow_up(), 90, hung(1, 5.0));
    let now = story.crossing(1);
    assert_eq!(
        (now.state, now.finished_at, &now.finished_by),
        (S::Finished, first.finished_at, &first.finished_by)
    );
    assert_eq!(now.construction, Some(C::ThroughCulvert), "what was done there last is there now");
    assert_eq!(told(&story, 1), one(Kind::CrossingFinished, &other_follow_up(), S::Finished));
    let Conflict { at, sequence, .. } = now.conflicts[0].clone();
    assert!(Some(at) < first.finished_at);
    assert_eq!(sequence, i64::try_from(story.log.len()).unwrap(), "and the log can be asked for it");

    // A third, later: what it built is what stands, and it is as it was measured then.
    story.tell(&post(), hung(1, 6.0));
    let now = story.crossing(1);
    assert_eq!((now.construction, now.clearance), (Some(C::OverheadPoles), Some(m(6.0))));
    assert_eq!(now.finished_by, Some(name("Post")));
    let kinds: Vec<_> = story.log.iter().map(|entry| entry.report.body.kind()).collect();
    assert_eq!(kinds.iter().filter(|&&kind| kind == Kind::CrossingFinished).count(), 3);
}

#[test]
fn a_second_finishing_keeps_to_the_same_rules_as_the_first() {
    let mut story = Story::under_way();
    story.pass(culvert(1));
    story.tell(&follow_up(), built(1));
    let low = story.refuse(&other_follow_up(), hung(1, 3.0));
    assert!(matches!(low, Refusal::TooLow { .. }), "{low}");
    let nothing_done = story.refuse(&other_follow_up(), Body::CrossingFinished(finished(1, Vec::new())));
    assert!(matches!(nothing_done, Refusal::ListNotDone { .. }), "{nothing_done}");
}

#[test]
fn what_was_worked_on_after_it_was_proved_is_proved_again_and_what_is_told_late_is_not() {
    let mut story = Story::under_way();
    story.pass(culvert(1));
    story.tell(&follow_up(), built(1));
    story.tell(&follow_up(), crossing_proved(1));
    story.tell_late(&other_follow_up(), 60, built(1));
    assert_eq!(story.crossing_is(1), S::Proved, "it was there when it was tested");
    story.tell(&other_follow_up(), built(1));
    assert_eq!((story.crossing_is(1), story.crossing(1).proved_at), (S::Finished, None));
}

#[test]
fn finished_by_one_while_another_has_it_in_hand_those_have_the_last_word() {
    let mut story = Story::under_way();
    story.pass(culvert(1));
    story.tell(&follow_up(), taken(1));
    story.tell_late(&other_follow_up(), 30, built(1));
    let now = story.crossing(1);
    assert_eq!(now.state, S::InHand, "they may be at work on it");
    assert_eq!(now.in_hand.as_ref().map(|held| held.team.clone()), Some(name("Follow-up 1")));
    assert_eq!(now.finished_by, Some(name("Follow-up 2")));
    assert!(now.wire_in_traffic(), "until they have looked it counts as it was");
    assert_eq!(told(&story, 1), one(Kind::CrossingFinished, &other_follow_up(), S::InHand));
    // They look, and there is nothing left to do.
    story.tell(&follow_up(), given_back(1));
    assert_eq!((story.crossing_is(1), &story.crossing(1).in_hand), (S::Finished, &None));
    assert!(!story.crossing(1).wire_in_traffic());

    // Or they finish it themselves.
    story.pass(culvert(2));
    story.tell(&follow_up(), taken(2));
    story.tell_late(&other_follow_up(), 30, built(2));
    story.tell(&follow_up(), built(2));
    assert_eq!(story.crossing(2).finished_by, Some(name("Follow-up 1")));
    assert_eq!(story.crossing_is(2), S::Finished);
}

#[test]
fn taken_in_hand_by_another_meanwhile_it_stays_with_the_first_who_was_heard() {
    let mut story = Story::under_way();
    story.pass(culvert(1));
    story.tell(&follow_up(), taken(1));
    let refusal = story.refuse(&other_follow_up(), taken(1));
    let Refusal::InHandOf { team, .. } = refusal else { panic!("{refusal}") };
    assert_eq!(team, name("Follow-up 1"));
    // Freed by the command post and taken by another: what the first then did is still recorded.
    story.tell(&post(), given_back(1));
    story.tell(&other_follow_up(), taken(1));
    story.tell(&follow_up(), built(1));
    assert_eq!(told(&story, 1), one(Kind::CrossingFinished, &follow_up(), S::InHand));
}

#[test]
fn wire_over_what_another_struck_out_opens_it_again_and_shows_the_danger() {
    let mut story = Story::under_way();
    story.tell(&lead(), marked(culvert(1)));
    story.tell(&post(), struck_out(1));
    assert!(!story.crossing(1).wire_in_traffic());
    story.tell_late(&lead(), 120, Body::CrossingPassed(passed(1)));
    let now = story.crossing(1);
    assert_eq!((now.state, &now.struck_out_because), (S::Passed, &None));
    assert!(now.wire_in_traffic());
    assert_eq!(told(&story, 1), one(Kind::CrossingPassed, &lead(), S::StruckOut));
}

#[test]
fn struck_out_before_the_wire_came_over_the_wire_still_counts() {
    let mut story = Story::under_way();
    story.pass(culvert(1));
    story.tell_late(&post(), 60, struck_out(1));
    assert_eq!(story.crossing_is(1), S::Passed);
    assert!(story.crossing(1).wire_in_traffic());
    assert_eq!(told(&story, 1), one(Kind::CrossingStruckOut, &post(), S::Passed));
    // The same of one that is finished meanwhile.
    story.pass(culvert(2));
    story.tell(&follow_up(), built(2));
    story.tell_late(&lead(), 60, struck_out(2));
    assert_eq!(story.crossing_is(2), S::Finished);
    // Whoever knows that the wire lies may still say that it is no crossing.
    story.tell(&lead(), struck_out(1));
    assert_eq!(story.crossing_is(1), S::StruckOut);
}

#[test]
fn another_lead_team_does_not_strike_out_wire_that_it_did_not_lay() {
    let mut story = Story::under_way();
    story.pass(culvert(1));
    story.tell(&other_lead(), struck_out(1));
    assert!(story.crossing(1).wire_in_traffic());
    assert_eq!(told(&story, 1), one(Kind::CrossingStruckOut, &other_lead(), S::Passed));
    // Nor what a team has in hand: those are told, and look.
    story.tell(&follow_up(), taken(1));
    story.tell(&lead(), struck_out(1));
    assert_eq!(story.crossing_is(1), S::InHand);
    story.tell(&follow_up(), given_back(1));
    story.tell(&lead(), struck_out(1));
    assert_eq!(story.crossing_is(1), S::StruckOut);
}

#[test]
fn finished_while_another_struck_it_out_it_is_finished() {
    let mut story = Story::under_way();
    story.pass(culvert(1));
    story.tell(&lead(), struck_out(1));
    story.tell_late(&follow_up(), 60, built(1));
    assert_eq!((story.crossing_is(1), &story.crossing(1).struck_out_because), (S::Finished, &None));
    assert_eq!(told(&story, 1), one(Kind::CrossingFinished, &follow_up(), S::StruckOut));
    // Nobody says that wire was ever there: then the lead team is heard first.
    story.tell(&lead(), marked(culvert(2)));
    story.tell(&lead(), struck_out(2));
    let refusal = story.refuse(&follow_up(), built(2));
    assert!(matches!(refusal, Refusal::CrossingState { state: S::StruckOut, .. }), "{refusal}");
}

#[test]
fn marked_where_another_struck_it_out_it_is_one_after_all() {
    let mut story = Story::under_way();
    story.tell(&post(), foreseen(culvert(1)));
    story.tell(&post(), struck_out(1));
    story.tell_late(&lead(), 45, marked(culvert(1)));
    assert_eq!((story.crossing_is(1), &story.crossing(1).struck_out_because), (S::Marked, &None));
    assert_eq!(told(&story, 1), one(Kind::CrossingMarked, &lead(), S::StruckOut));
    // The rules of the place hold here as well.
    story.tell(&post(), struck_out(1));
    let over = story.refuse(&lead(), marked(at(1, O::Railway, C::OverheadPoles)));
    assert_eq!(over, Refusal::OverheadOverRailway { construction: C::OverheadPoles });
}

#[test]
fn a_span_that_is_open_again_is_unbroken() {
    let mut story = Story::laid_to(1_500.0);
    story.pass(at(1, O::Stream, C::OverheadPoles));
    story.tell(&lead(), struck_out(1));
    story.tell(&lead(), splice(line(1), Some(1_000.0)));
    for body in [
        Body::CrossingPassed(passed(1)),
        Body::CrossingFinished(CrossingFinished {
            clearance_m: Some(m(3.0)),
            ..finished(1, all(O::Stream, C::OverheadPoles))
        }),
    ] {
        let refusal = story.refuse(&post(), body);
        assert!(matches!(refusal, Refusal::SpliceInSpan { .. }), "{refusal}");
    }
}

#[test]
fn of_two_teams_that_got_the_wire_over_the_worse_word_counts() {
    let clear = |n| Body::CrossingPassed(CrossingPassed { clear_of_traffic: true, ..passed(n) });
    let mut story = Story::under_way();
    story.tell(&lead(), marked(culvert(1)));
    story.tell(&lead(), clear(1));
    let first = story.crossing(1).passed_at;
    story.tell_late(&other_lead(), 60, Body::CrossingPassed(passed(1)));
    assert!(story.crossing(1).wire_in_traffic());
    assert_eq!((story.crossing_is(1), story.crossing(1).passed_at), (S::Passed, first));
    story.tell(&lead(), clear(1));
    assert!(story.crossing(1).wire_in_traffic(), "a better word does not take it away; finishing does");
    story.tell(&follow_up(), built(1));
    story.tell_late(&other_lead(), 60, Body::CrossingPassed(passed(1)));
    assert_eq!(story.crossing_is(1), S::Finished);
    assert_eq!(told(&story, 1).last(), one(Kind::CrossingPassed, &other_lead(), S::Finished).last());
}

#[test]
fn only_the_latest_conflicts_stay_with_the_crossing_and_the_log_has_them_all() {
    let mut story = Story::under_way();
    story.pass(culvert(1));
    for _ in 0..30 {
        story.tell(&other_lead(), struck_out(1));
    }
    let kept = &story.crossing(1).conflicts;
    assert_eq!((kept.len(), kept[19].sequence), (20, i64::try_from(story.log.len()).unwrap()));
}

#[test]
fn what_was_laid_before_the_line_was_proved_is_added_however_late_it_is_told() {
    let mut story = Story::laid_to(1_500.0);
    story.tell(&lead(), call(line(1), true));
    story.tell(&lead(), line_proved(line(1)));
    story.tell(&post(), handed_over(line(1)));
    let more = || laid(line(1), vec![on_a(1_600.0)]);
    for body in [more(), splice(line(1), None), reel_started(line(1), 1, 400.0)] {
        let refusal = story.refuse(&lead(), body.clone());
        assert!(matches!(refusal, Refusal::LineState { state: L::HandedOver, .. }), "{refusal}");
        story.tell_late(&lead(), 30, body);
        assert_eq!(story.line_is(1), L::HandedOver, "it lay there when it was proved");
    }
    let now = story.line(1);
    assert_eq!((now.splices.len(), now.reels.len()), (1, 1));
    assert!((now.laid_length.value() - 1_600.0).abs() < 0.001);
}

#[test]
fn a_crossing_that_the_proof_did_not_know_of_opens_the_line_again() {
    let mut story = Story::laid_to(1_500.0);
    story.tell(&lead(), call(line(1), true));
    story.tell(&lead(), line_proved(line(1)));
    story.tell(&post(), handed_over(line(1)));
    story.tell_late(&lead(), 60, marked(culvert(1)));
    story.tell_late(&lead(), 60, Body::CrossingPassed(passed(1)));
    assert_eq!(story.line_is(1), L::Through);
    assert!(story.crossing(1).wire_in_traffic());
    story.tell(&follow_up(), built(1));
    assert_eq!(story.line_is(1), L::Finished, "and it is proved anew");
}

#[test]
fn a_line_that_another_team_started_takes_what_the_second_lays() {
    let mut story = Story::under_way();
    let refusal = story.refuse(&other_lead(), started(line(1)));
    assert!(refusal.to_string().contains("Lead 1 started it"), "{refusal}");
    story.tell(&other_lead(), laid(line(1), vec![on_a(0.0), on_a(100.0)]));
    assert!((story.line(1).laid_length.value() - 100.0).abs() < 0.001);
}

#[test]
fn a_plan_drawn_anew_leaves_what_a_crew_did_on_the_old_one() {
    // Route A and route B lie up to some 2 km apart.
    let mut story = Story::new();
    let plan = story.tell(&post(), planned(line(1), "12", Some(trace(&ROUTE_A))));
    story.tell(&lead(), started(line(1)));
    story.tell(&post(), foreseen(culvert(1)));
    story.tell(&post(), replaced(plan, planned(line(1), "12", Some(trace(&ROUTE_B)))));
    // The crew was out of reach and went on along the old trace.
    story.tell_late(&lead(), 90, laid(line(1), vec![on_a(0.0), on_a(1_100.0)]));
    story.tell_late(&lead(), 80, marked(culvert(1)));
    story.tell_late(&lead(), 70, Body::CrossingPassed(passed(1)));
    let lies = story.crossing(1);
    assert_eq!(lies.state, S::Passed);
    assert!((lies.chainage.value() - 1_000.0).abs() < 0.01, "its chainage is on the wire: {}", lies.chainage);
    assert_eq!(story.line(1).planned, Some(trace(&ROUTE_B)), "and the plan is the new one");
    assert!((story.line(1).laid_length.value() - 1_100.0).abs() < 0.001);
    // The plan can be drawn back, and nothing of what lies changes.
    let lies = story.line(1).laid.clone();
    story.tell(&post(), replaced(plan, planned(line(1), "12", Some(trace(&ROUTE_A)))));
    assert_eq!((story.crossing_is(1), &story.line(1).laid), (S::Passed, &lies));
}

#[test]
fn the_command_post_sends_for_a_team_and_it_is_the_teams_work() {
    let mut story = Story::under_way();
    story.pass(culvert(1));
    let entry = |by: Sender, made_by: Option<Sender>, body| Entry {
        sequence: 99,
        by,
        received_at: story.clock(),
        report: Report {
            id: laywire_craft::ids::ReportId::default(),
            at: story.clock(),
            clock_offset_ms: ClockOffset::new(0).ok(),
            made_by,
            position: None,
            body,
        },
    };
    let decide = |entry: &Entry| story.now.decide(entry, &[], laywire_craft::profile::Profile::field());
    let change = decide(&entry(post(), Some(follow_up()), taken(1))).unwrap();
    let held = change.crossings[0].in_hand.clone().unwrap();
    assert_eq!(held.team, name("Follow-up 1"));
    // Not what that team may not say, not by whom may not send for it, and in one's own name always.
    let overstepping = decide(&entry(post(), Some(observer()), taken(1))).unwrap_err();
    assert!(matches!(overstepping, Refusal::NotYours { .. }), "{overstepping}");
    let strange = decide(&entry(other_follow_up(), Some(follow_up()), taken(1))).unwrap_err();
    assert_eq!(strange, Refusal::NotInYourName { team: name("Follow-up 1") });
    assert!(decide(&entry(follow_up(), Some(follow_up()), taken(1))).is_ok());
}
