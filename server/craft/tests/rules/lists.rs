//! Lists: what the lead team does at the least and what the follow-up team finishes, ticked item by item.

use laywire_craft::{
    construction::Construction as C,
    crossing::CrossingState as S,
    guide::{check, guide},
    obstacle::Obstacle as O,
    profile::Profile,
    refusal::Refusal,
    report::{Body, CrossingFinished, CrossingMarked, CrossingPassed},
};

use crate::story::*;

/// Every place and construction that is allowed there.
fn allowed() -> impl Iterator<Item = (O, bool, C)> {
    let places = O::ALL.into_iter().flat_map(|obstacle| [(obstacle, false), (obstacle, true)]);
    places.flat_map(|(obstacle, hard)| {
        let ways = C::ALL.into_iter().filter(move |&way| check(obstacle, hard, way).is_ok());
        ways.map(move |way| (obstacle, hard, way))
    })
}

fn at_place(obstacle: O, hard: bool, construction: C) -> CrossingMarked {
    CrossingMarked { hard_surface: Some(hard), ..at(1, obstacle, construction) }
}

/// Finished in every respect but the list.
fn measured(done: Vec<String>) -> Body {
    Body::CrossingFinished(CrossingFinished {
        clearance_m: Some(m(6.0)),
        depth_m: Some(m(0.3)),
        ..finished(1, done)
    })
}

#[test]
fn every_crossing_that_lasts_is_finished_by_its_whole_list_and_by_nothing_less() {
    let mut lasting = 0;
    for (obstacle, hard, construction) in allowed().filter(|&(.., way)| way != C::Ladder) {
        let list = choice(obstacle, construction).finish;
        for left in &list {
            let mut story = Story::under_way();
            story.pass(at_place(obstacle, hard, construction));
            let done = ids(&list).into_iter().filter(|id| id != left.id).collect();
            assert_eq!(
                story.refuse(&follow_up(), measured(done)),
                Refusal::ListNotDone { missing: vec![left.id.to_owned()], texts: vec![left.text.clone()] },
                "{obstacle} {construction}"
            );
        }
        let mut story = Story::under_way();
        story.pass(at_place(obstacle, hard, construction));
        story.tell(&follow_up(), measured(ids(&list)));
        assert_eq!(story.crossing_is(1), S::Finished);
        lasting += 1;
    }
    assert!(lasting > 50, "{lasting} ways to finish a crossing were tried");
}

#[test]
fn what_is_left_is_named_in_the_lists_own_words() {
    let mut story = Story::under_way();
    story.pass(at(1, O::Road, C::ThroughCulvert));
    let refusal = story.refuse(&follow_up(), measured(vec!["tags".to_owned()]));
    assert_eq!(
        refusal.to_string(),
        "Not finished yet. Still to do: Tie both ends outside, above the normal water, clear of debris; \
         Tape or pad it where it bends over an edge; Call both ways over the wire after the last touch."
    );
}

#[test]
fn an_item_that_is_not_on_the_list_is_refused() {
    let mut story = Story::under_way();
    story.tell(&lead(), marked(at(1, O::Road, C::ThroughCulvert)));
    let ticks =
        |item: &str| Body::CrossingPassed(CrossingPassed { done: vec![item.to_owned()], ..passed(1) });
    // A culvert has no stakes, and nobody ties it before it is finished.
    for item in ["stakes", "tie_ends", "", "Tags"] {
        assert_eq!(story.refuse(&lead(), ticks(item)), Refusal::NoSuchItem { item: item.to_owned() });
    }
    let long = "é".repeat(100);
    assert_eq!(story.refuse(&lead(), ticks(&long)), Refusal::NoSuchItem { item: "é".repeat(40) });
    story.tell(&lead(), ticks("tags"));
    let mut done = all(O::Road, C::ThroughCulvert);
    done.push("lash".to_owned());
    assert_eq!(story.refuse(&follow_up(), measured(done)), Refusal::NoSuchItem { item: "lash".to_owned() });
}

#[test]
fn what_the_lead_team_leaves_undone_is_told_to_who_comes_behind() {
    for (obstacle, hard, construction) in allowed() {
        let list = ids(&choice(obstacle, construction).lead);
        let mut story = Story::under_way();
        story.tell(&lead(), marked(at_place(obstacle, hard, construction)));
        let (done, left) = list.split_at(list.len() / 2);
        // Ticked twice is done once.
        let done = [done, done].concat();
        story.tell(&lead(), Body::CrossingPassed(CrossingPassed { done, ..passed(1) }));
        assert_eq!(story.crossing(1).left_undone, left, "{obstacle} {construction}");
    }
}

#[test]
fn the_list_is_that_of_what_was_built_in_the_end() {
    let mut story = Story::under_way();
    story.pass(at(1, O::Road, C::OverheadTrees));
    let on_poles = |done| {
        Body::CrossingFinished(CrossingFinished {
            construction: Some(C::OverheadLancePoles),
            clearance_m: Some(m(4.9)),
            ..finished(1, done)
        })
    };
    assert_eq!(
        story.refuse(&follow_up(), on_poles(all(O::Road, C::OverheadTrees))),
        Refusal::NoSuchItem { item: "tree_tie".to_owned() }
    );
    story.tell(&follow_up(), on_poles(all(O::Road, C::OverheadLancePoles)));
}

#[test]
fn what_cannot_be_built_in_a_place_is_refused_at_every_step() {
    let mut tried = 0;
    for obstacle in O::ALL {
        for hard in [false, true] {
            let there = guide(obstacle, hard, Profile::field());
            let way = there.allowed.iter().find(|choice| choice.lasting).unwrap().construction;
            for forbidden in there.refused {
                let refusal = check(obstacle, hard, forbidden.construction).unwrap_err();
                assert_eq!(forbidden.reason, refusal.to_string());
                let mut story = Story::under_way();
                let wrong = at_place(obstacle, hard, forbidden.construction);
                assert_eq!(story.refuse(&post(), foreseen(wrong.clone())), refusal);
                assert_eq!(story.refuse(&lead(), marked(wrong)), refusal);
                story.pass(at_place(obstacle, hard, way));
                let built = CrossingFinished {
                    construction: Some(forbidden.construction),
                    ..finished(1, Vec::new())
                };
                assert_eq!(story.refuse(&follow_up(), Body::CrossingFinished(built)), refusal);
                tried += 1;
            }
        }
    }
    assert!(tried > 20, "{tried} forbidden ways were tried");
}

#[test]
fn every_list_shows_the_cautions_that_go_with_the_work() {
    // The sources stand beside each caution's text.
    for (obstacle, hard, construction) in allowed() {
        let guide = guide(obstacle, hard, Profile::field());
        let choice = guide.allowed.iter().find(|choice| choice.construction == construction).unwrap();
        let cautions = ids(&choice.cautions);
        let mut wanted = vec!["local"];
        match obstacle {
            O::MainHighway | O::Road | O::DirtRoad => wanted.push("traffic"),
            O::Railway => wanted.push("trains"),
            O::Stream => wanted.push("water"),
            O::Path => {}
        }
        match construction {
            C::OverheadTrees | C::OverheadPoles => wanted.extend(["power", "storm", "climbing"]),
            C::OverheadLancePoles => wanted.extend(["power", "storm", "poles"]),
            C::UnderRails | C::Buried => wanted.push("digging"),
            C::ThroughCulvert => wanted.push("culvert"),
            C::UnderBridge => wanted.push("bridge"),
            C::Ladder => wanted.push("ladder"),
        }
        for caution in wanted {
            assert!(cautions.iter().any(|id| id == caution), "{obstacle} {construction}: {caution}");
        }
        assert_eq!(cautions.last().unwrap(), "local", "local codes and licensed practice have the last word");
        for item in choice.lead.iter().chain(&choice.finish).chain(&choice.cautions) {
            assert!(!item.text.is_empty() && !item.source.is_empty(), "{}", item.id);
        }
    }
}
