//! A line that is taken up: the gate before it, what came back and what did not, and the books of stores.

use laywire_craft::{
    construction::Construction as C,
    geodesy::Position,
    line::{Designation, LineState as L},
    obstacle::Obstacle as O,
    profile::Profile,
    recovery::{WireClass, lying},
    refusal::Refusal,
    report::{Body, TestedFrom},
    stores::{self, Stores},
    tags::{self, OtherEnd, TagAt},
};

use crate::story::*;

fn dead(story: &mut Story) {
    story.tell(&post(), tested(line(1), TestedFrom::NearEnd, false, None));
}

/// Line 1 lies over 1,000 m from two reels of a mile, and is ordered up.
fn ordered() -> Story {
    let mut story = Story::under_way();
    story.tell(&lead(), laid(line(1), vec![on_a(0.0)]));
    story.tell(&lead(), reel_started(line(1), 1, 1_609.0));
    story.tell(&lead(), laid(line(1), vec![on_a(400.0)]));
    story.tell(&lead(), reel_started(line(1), 2, 1_609.0));
    story.tell(&lead(), laid(line(1), vec![on_a(1_000.0)]));
    story.tell(&lead(), call(line(1), true));
    dead(&mut story);
    story.tell(&post(), ordered_up(line(1)));
    story
}

fn books(story: &Story) -> Stores {
    let line = story.line(1).clone();
    stores::balance(&[(line, story.now.crossings.values().cloned().collect())], Profile::field()).unwrap()
}

#[test]
fn a_line_with_life_on_it_is_not_ordered_up() {
    let mut story = Story::laid_to(1_000.0);
    story.tell(&lead(), call(line(1), true));
    // The 90th Division's history, p. 63: a crew began to take up another unit's new line, thinking it dead.
    let refusal = story.refuse(&post(), ordered_up(line(1)));
    assert!(matches!(refusal, Refusal::StillAlive { .. }), "{refusal}");
    dead(&mut story);
    story.tell(&lead(), tested(line(1), TestedFrom::Along, true, None));
    let refusal = story.refuse(&post(), ordered_up(line(1)));
    assert!(refusal.to_string().contains("Lead 1 had life on it"), "{refusal}");
    dead(&mut story);
    for other in [lead(), follow_up()] {
        assert!(matches!(story.refuse(&other, ordered_up(line(1))), Refusal::NotYours { .. }));
    }
    story.refuse(&lead(), taken_up(line(1), 0.0, 500.0, 600.0));
    story.tell(&post(), ordered_up(line(1)));
    story.refuse(&post(), ordered_up(line(1)));
    story.refuse(&lead(), laid(line(1), vec![on_a(1_200.0)]));
    story.tell(&lead(), taken_up(line(1), 0.0, 500.0, 600.0));
}

#[test]
fn a_line_is_recovered_when_nothing_lies_any_more() {
    let mut story = ordered();
    story.tell(&lead(), taken_up(line(1), 0.0, 400.0, 480.0));
    let lies = lying(story.line(1));
    assert_eq!((lies.len(), lies[0].from), (1, m(400.0)));
    story.tell(&follow_up(), taken_up(line(1), 600.0, 1_000.0, 480.0));
    assert_eq!(story.line_is(1), L::Finished);
    let left = story.tell(&follow_up(), lost(line(1), 400.0, 600.0, 240.0));
    assert_eq!((story.line_is(1), lying(story.line(1))), (L::Recovered, Vec::new()));
    story.refuse(&post(), marked(at(1, O::Road, C::ThroughCulvert)));
    story.tell(&follow_up(), withdrawn(left));
    assert_eq!(story.line_is(1), L::Finished);
    for (from, to) in [(500.0, 500.0), (500.0, 400.0), (-5.0, 400.0)] {
        assert!(matches!(story.refuse(&lead(), taken_up(line(1), from, to, 9.0)), Refusal::NoStretch { .. }));
    }
    assert!(matches!(
        story.refuse(&lead(), taken_up(line(1), 0.0, 1_300.0, 9.0)),
        Refusal::BeyondTheWire { .. }
    ));
}

#[test]
fn a_crossing_is_made_good_once_and_only_on_a_line_that_comes_up() {
    let mut story = Story::laid_to(1_500.0);
    story.pass(at(1, O::Road, C::ThroughCulvert));
    story.refuse(&lead(), made_good(1));
    dead(&mut story);
    story.tell(&post(), ordered_up(line(1)));
    story.tell(&lead(), made_good(1));
    story.tell(&follow_up(), made_good(1));
    let made = &story.line(1).recovery.made_good;
    assert_eq!((made.len(), &made[0].team), (1, &name("Lead 1")));
}

#[test]
fn what_was_issued_lies_or_came_back_or_is_lost_or_is_missing_by_name() {
    let mut story = ordered();
    let all = books(&story).all;
    assert!(all.balanced && all.returned_m == m(0.0), "{all:?}");
    assert!(
        (all.issued_m - all.laid_m - all.on_reel_m).value().abs() < 1e-6 && all.laid_m > m(1_190.0),
        "{all:?}"
    );
    // The rests are measured: 1,609 less 480, and 1,609 less 720.
    story.tell(&lead(), returned(line(1), 1, 1_129.0));
    story.tell(&lead(), returned(line(1), 2, 889.0));
    assert!(matches!(story.refuse(&lead(), returned(line(1), 2, 1_700.0)), Refusal::OutOfRange { .. }));
    story.refuse(&lead(), returned(line(1), 3, 10.0));
    // One length over the joint: 400 m from the first reel and 200 m from the second.
    story.tell(&lead(), taken_up(line(1), 0.0, 600.0, 720.0));
    story.tell(&lead(), lost(line(1), 600.0, 1_000.0, 400.0));
    let books = books(&story);
    let [first, second] = &books.reels[..] else { panic!("{books:?}") };
    assert!((first.account.returned_m.value() - 1_129.0 - 480.0).abs() < 0.01, "{first:?}");
    assert!(first.account.balanced && first.rest_measured, "{first:?}");
    assert!(!second.account.balanced, "{second:?}");
    assert!((second.account.missing_m.value() - 80.0).abs() < 0.01, "{second:?}");
    assert!((books.all.missing_m.value() - 80.0).abs() < 0.01 && !books.all.balanced, "{books:?}");
    assert!(books.words[0].contains("80 m is accounted for nowhere"), "{:?}", books.words);
    assert_eq!((books.filled.len(), books.filled[0].length_m), (1, m(720.0)));
    assert_eq!((books.filled[0].splices, books.filled[0].class), (2, WireClass::A));
}

#[test]
fn tags_are_numbered_from_the_near_end_on_both_sides_of_every_crossing() {
    let mut story = Story::laid_to(2_500.0);
    story.pass(at(1, O::Road, C::ThroughCulvert));
    let span = laywire_craft::report::CrossingMarked {
        position: on_a(400.0),
        span_m: Some(m(40.0)),
        ..at(2, O::Road, C::OverheadTrees)
    };
    story.pass(span);
    story.tell(&lead(), tested(line(1), TestedFrom::Along, true, None));
    let Body::TestMade(mut half) = tested(line(1), TestedFrom::Along, true, None) else { panic!() };
    half.chainage_m = Some(m(1_700.0));
    story.tell(&lead(), Body::TestMade(half));
    let crossings: Vec<_> = story.now.crossings.values().cloned().collect();
    // One line ends on this one, one begins where this one does, and one ends out in the country.
    let end = |number: &str, position| OtherEnd { designation: Designation::new(number).unwrap(), position };
    let off = Position::new(on_a(1_200.0).lon(), on_a(1_200.0).lat() + 0.01).unwrap();
    let others = [end("14", on_a(1_200.0)), end("15", on_a(0.0)), end("16", off)];
    let tags = tags::list(story.line(1), &crossings, &others, Profile::field());
    let seen: Vec<_> = tags.iter().map(|tag| (tag.number, tag.at, tag.chainage_m.value().round())).collect();
    let length = story.line(1).length().value().round();
    assert_eq!(
        seen,
        [
            (1, TagAt::NearEnd, 0.0),
            (2, TagAt::BeforeCrossing, 380.0),
            (3, TagAt::BeyondCrossing, 420.0),
            (4, TagAt::BeforeCrossing, 997.0),
            (5, TagAt::BeyondCrossing, 1_003.0),
            (6, TagAt::Branch, 1_200.0),
            (7, TagAt::TestPoint, 1_700.0),
            (8, TagAt::TestPoint, 2_500.0),
            (9, TagAt::FarEnd, length),
        ]
    );
    assert!(tags.iter().all(|tag| tag.marking.as_str() == "12" && tag.position.is_some()));
}
