//! An operation played again: each moment is the log as it stood then. Every story of these rules is checked so when it ends,
//! random ones among them.

use laywire_craft::{
    construction::Construction as C,
    crossing::{Crossing, CrossingState as S},
    ids::ReportId,
    installation::Installation,
    line::{Line, LineState as L},
    line_wire::PacePlan,
    obstacle::Obstacle as O,
    profile::Profile,
    replay::{CrossingMoment, Error, LineMoment, MOST_POSITIONS, Replay, replay},
    report::{Body, CrossingMarked, Entry, Kind, TestedFrom, WireFate},
    review::review,
    text::Name,
    units::Metres,
};
use uuid::Uuid;

use crate::story::*;

/// Whether the replay of the whole log shows each moment as it was: nothing before the first entry, and then what the log added
/// up to after each.
pub(crate) fn shows_every_moment(log: &[Entry], moments: &[Installation]) {
    let replay = replay(log, Profile::field()).unwrap();
    let nothing = Installation::default();
    for (number, stood) in std::iter::once(&nothing).chain(moments).enumerate() {
        let moment = replay.at(i64::try_from(number).unwrap());
        assert_eq!(moment.lines.len(), stood.lines.len(), "lines after entry {number}");
        for line in &moment.lines {
            line_is(&replay, line, &stood.lines[&line.line], number);
        }
        assert_eq!(moment.crossings.len(), stood.crossings.len(), "crossings after entry {number}");
        for crossing in &moment.crossings {
            crossing_is(crossing, &stood.crossings[&crossing.crossing], number);
        }
    }
    // The state after the last change is what stands.
    let last = moments.last().unwrap_or(&nothing);
    let after_all = replay.at(i64::MAX);
    assert_eq!((after_all.lines.len(), after_all.crossings.len()), (last.lines.len(), last.crossings.len()));
    // And so are, in its review, the time without a word and the troubles.
    let review = review(log, last, Profile::field(), PacePlan::default());
    for line in &review.lines {
        let proving = &last.lines[&line.line].proving;
        assert_eq!((line.silent.value, line.silent_since), (Some(proving.silent_min), proving.silent_since));
        assert_eq!(line.troubles.len(), proving.troubles.len());
        for (told, stood) in line.troubles.iter().zip(&proving.troubles) {
            assert_eq!((told.signs.clone(), told.stretch), (stood.signs(), Some(stood.stretch)));
            assert_eq!(
                (told.told.count, told.steps.count, told.cleared.len()),
                (stood.told.len(), stood.steps.len(), stood.cleared.len())
            );
        }
        let tests = &line.tests;
        assert_eq!(tests.good.count + tests.worse.count + tests.bad.count, proving.tests.len());
    }
    let numbers: Vec<i64> = log.iter().map(|entry| entry.sequence).collect();
    assert_eq!(replay.entries.sequence, numbers);
}

fn line_is(replay: &Replay, shown: &LineMoment<'_>, stood: &Line, number: usize) {
    let team = shown.stands.team.map(|team| &replay.teams[team as usize].team);
    let called =
        (&shown.plan.designation, &shown.plan.from, &shown.plan.to, &shown.plan.trace, shown.plan.plan);
    assert_eq!(
        called,
        (&stood.designation, &stood.from, &stood.to, &stood.planned, stood.plan),
        "after entry {number}"
    );
    assert_eq!((shown.stands.state, team), (stood.state, stood.team.as_ref()), "after entry {number}");
    assert_eq!(
        (shown.laid, shown.laid_length),
        (stood.laid.as_slice(), stood.laid_length),
        "after entry {number}"
    );
    assert_eq!(
        (shown.stands.trouble, shown.stands.silent, shown.stands.ordered_up),
        (
            stood.proving.trouble().map(|trouble| trouble.stretch),
            stood.proving.silent_since.is_some(),
            stood.recovery.ordered_up.is_some()
        ),
        "after entry {number}"
    );
    assert_eq!(
        (shown.stands.reels, shown.stands.splices),
        (stood.reels.len(), stood.splices.len()),
        "after entry {number}"
    );
    let pieces = |pieces: Vec<(Metres, Metres, Option<WireFate>)>| {
        let mut pieces: Vec<String> = pieces.into_iter().map(|piece| format!("{piece:?}")).collect();
        pieces.sort();
        pieces
    };
    let recovery = &stood.recovery;
    let up = recovery.sections.iter().map(|section| (section.from_m, section.to_m, None));
    let gone = recovery.not_back.iter().map(|piece| (piece.from_m, piece.to_m, Some(piece.fate)));
    assert_eq!(
        pieces(shown.up.iter().map(|piece| (piece.from_m, piece.to_m, piece.fate)).collect()),
        pieces(up.chain(gone).collect()),
        "after entry {number}"
    );
}

fn crossing_is(shown: &CrossingMoment<'_>, stood: &Crossing, number: usize) {
    let place = shown.place;
    assert_eq!(
        (shown.line, place.position, place.chainage_m, place.obstacle, place.construction),
        (stood.line, stood.position, stood.chainage, stood.obstacle, stood.construction),
        "after entry {number}"
    );
    let in_hand = stood.in_hand.as_ref().map(|held| &held.team);
    let given_to = stood.given_to.as_ref().map(|given| &given.team);
    assert_eq!(
        (shown.state, shown.in_hand, shown.given_to, shown.in_traffic, shown.conflicts),
        (stood.state, in_hand, given_to, stood.wire_in_traffic(), stood.conflicts.len()),
        "after entry {number}"
    );
}

#[test]
fn a_correction_alters_what_is_shown_from_its_own_number_on() {
    let mut story = Story::under_way(); // 1, 2
    let wrong = story.tell(&lead(), laid(line(1), vec![on_a(0.0), on_a(900.0)])); // 3
    story.tell(&lead(), laid(line(1), vec![on_a(1_200.0)])); // 4
    story.tell(&lead(), replaced(wrong, laid(line(1), vec![on_a(0.0), on_a(800.0)]))); // 5
    story.tell(&lead(), laid(line(1), vec![on_a(1_300.0)])); // 6
    let replay = replay(&story.log, Profile::field()).unwrap();
    let at = |number| replay.at(number).lines[0].laid.to_vec();
    assert_eq!(at(2), []);
    assert_eq!(at(3), [on_a(0.0), on_a(900.0)]);
    assert_eq!(at(4), [on_a(0.0), on_a(900.0), on_a(1_200.0)]);
    assert_eq!(at(5), [on_a(0.0), on_a(800.0), on_a(1_200.0)]);
    assert_eq!(at(6), [on_a(0.0), on_a(800.0), on_a(1_200.0), on_a(1_300.0)]);
    assert_eq!((replay.corrections[0].sequence, replay.corrections[0].corrects), (5, 3));
    // What a correction lays anew stands behind what was there; what only grows stands where it was.
    let rows = &replay.lines[0].laid;
    assert_eq!(
        (rows.begins.as_slice(), rows.ends.as_slice()),
        ([0, 0, 3, 3].as_slice(), [2, 3, 6, 7].as_slice())
    );
    assert_eq!(rows.sequence, [3, 4, 5, 6]);
}

#[test]
fn each_entry_tells_when_it_happened_who_made_it_and_what_it_is_about() {
    let mut story = Story::laid_to(1_500.0); // 1 to 3
    let named = story.tell(&lead(), marked(at(1, O::Road, C::ThroughCulvert))); // 4
    story.tell_late(&follow_up(), 30, note(None, Some(crossing(1)))); // 5
    story.tell(&post(), note(None, None)); // 6
    let elsewhere = marked(CrossingMarked { position: on_a(300.0), ..at(1, O::Road, C::ThroughCulvert) });
    story.tell(&lead(), replaced(named, elsewhere)); // 7
    let replay = replay(&story.log, Profile::field()).unwrap();
    let rows = &replay.entries;
    assert_eq!(rows.line, [Some(0), Some(0), Some(0), Some(0), Some(0), None, Some(0)]);
    assert_eq!(rows.crossing, [None, None, None, Some(0), Some(0), None, Some(0)]);
    let kinds: Vec<Kind> = rows.kind.iter().map(|&kind| replay.kinds[kind as usize]).collect();
    let told: Vec<Kind> = story.log.iter().map(|entry| entry.report.body.kind()).collect();
    assert_eq!(kinds, told);
    let teams: Vec<&str> = rows.team.iter().map(|&team| replay.teams[team as usize].team.as_str()).collect();
    assert_eq!(teams, ["Post", "Lead 1", "Lead 1", "Lead 1", "Follow-up 1", "Post", "Lead 1"]);
    // A minute from one report to the next, each taken in five seconds after; one was told half an hour late.
    let minute = 60_000;
    let received: Vec<i64> = (0..7).map(|n| n * minute).collect();
    assert_eq!(rows.received_ms, received);
    let happened: Vec<i64> =
        (0..7).map(|n| n * minute - 5_000 - if n == 4 { 30 * minute } else { 0 }).collect();
    assert_eq!(rows.happened_ms, happened);
    assert_eq!(replay.from, Some(story.log[0].received_at));
}

#[test]
fn a_line_is_seen_to_be_laid_finished_and_taken_up_again() {
    let mut story = Story::laid_to(1_500.0);
    story.tell(&lead(), marked(at(1, O::Road, C::ThroughCulvert)));
    let mut seen = vec![story.log.len()];
    story.tell(&lead(), Body::CrossingPassed(passed(1)));
    seen.push(story.log.len());
    story.tell(&follow_up(), taken(1));
    seen.push(story.log.len());
    let built = finished(1, all(O::Road, C::ThroughCulvert));
    story.tell(&follow_up(), Body::CrossingFinished(built));
    seen.push(story.log.len());
    story.tell(&lead(), call(line(1), true));
    story.tell(&lead(), tested(line(1), TestedFrom::NearEnd, false, None));
    story.tell(&post(), ordered_up(line(1)));
    let section = story.tell(&lead(), taken_up(line(1), 0.0, 600.0, 700.0));
    seen.push(story.log.len());
    story.tell(&lead(), withdrawn(section));
    let replay = replay(&story.log, Profile::field()).unwrap();
    let moment = |row: usize| replay.at(i64::try_from(seen[row]).unwrap());
    let states: Vec<S> = (0..5).map(|row| moment(row).crossings[0].state).collect();
    assert_eq!(states, [S::Marked, S::Passed, S::InHand, S::Finished, S::Finished]);
    assert_eq!(moment(2).crossings[0].in_hand.map(Name::as_str), Some("Follow-up 1"));
    assert!(!moment(0).crossings[0].in_traffic && moment(1).crossings[0].in_traffic);
    assert_eq!(moment(0).lines[0].stands.state, L::Laying);
    assert_eq!(moment(4).lines[0].up.len(), 1);
    assert!(replay.at(i64::MAX).lines[0].up.is_empty(), "it was taken back");
}

#[test]
fn a_log_with_more_positions_than_a_replay_holds_says_so() {
    let mut story = Story::under_way();
    let steps: Vec<f64> = (0..1_000_u32).map(f64::from).collect();
    story.tell(&lead(), laid(line(1), steps.iter().map(|&step| on_a(step)).collect()));
    // Each correction lays all of it anew.
    let (mut log, wrong) = (story.log.clone(), story.log[2].clone());
    for n in 0..MOST_POSITIONS / 1_000 {
        let aside = if n % 2 == 0 { 0.5 } else { 0.0 };
        let right = laid(line(1), steps.iter().map(|&step| on_a(step + aside)).collect());
        let mut entry = wrong.clone();
        entry.sequence = i64::try_from(4 + n).unwrap();
        entry.report.id = ReportId(Uuid::from_u128(0x9000 + n as u128));
        entry.report.body = replaced(wrong.report.id, right);
        log.push(entry);
    }
    assert_eq!(replay(&log, Profile::field()), Err(Error::TooManyPositions));
    // Two of the plan's are there as well.
    log.truncate(log.len() - 2);
    assert!(replay(&log, Profile::field()).is_ok());
}
