//! What is allowed at a place with what is at hand there: sentences about the trade, and places that nobody would tell of.

use laywire_craft::{
    construction::Construction,
    guide,
    obstacle::Obstacle,
    profile::Profile,
    site::{AtHand, SiteAnswer, SiteInput, SiteRule, SiteWay, reckon},
    units::{Metres, Minutes, feet},
};
use proptest::prelude::*;
use serde_json::{Value, json};

use Construction as C;

fn metres(value: f64) -> Metres {
    Metres::new(value).unwrap()
}

fn at_with(profile: &Profile, place: Value) -> SiteAnswer {
    reckon(&serde_json::from_value(place).unwrap(), profile).unwrap()
}

fn at(place: Value) -> SiteAnswer {
    at_with(Profile::field(), place)
}

fn order(answer: &SiteAnswer) -> Vec<Construction> {
    answer.ways.iter().map(|way| way.choice.construction).collect()
}

fn way(answer: &SiteAnswer, construction: Construction) -> &SiteWay {
    answer.ways.iter().find(|way| way.choice.construction == construction).unwrap()
}

fn refused(answer: &SiteAnswer, construction: Construction) -> (SiteRule, &str) {
    let refusal = answer.refused.iter().find(|refusal| refusal.construction == construction).unwrap();
    (refusal.rule, &refusal.reason)
}

fn wrong(place: Value) -> String {
    reckon(&serde_json::from_value(place).unwrap(), Profile::field()).unwrap_err().to_string()
}

/// A hard road with all that could carry or hide a wire, far from power.
fn rich() -> Value {
    json!({ "obstacle": "road", "hard_surface": true, "width_m": 8, "trees": true,
        "poles": { "there": true, "carry_power": false }, "lance_poles": 6, "diggable": false,
        "culvert": { "there": true, "distance_m": 40, "flooded": false },
        "bridge": { "there": true, "distance_m": 900, "flooded": false }, "power_line": { "there": false } })
}

fn but(mut place: Value, key: &str, value: Value) -> Value {
    place[key] = value;
    place
}

#[test]
fn the_best_way_is_the_one_that_the_trade_would_take() {
    // Common practice, no source, but where one is named.
    let soft = |obstacle: &str| {
        json!({ "obstacle": obstacle, "hard_surface": false, "diggable": true, "trees": true,
        "lance_poles": 4, "poles": { "there": true, "carry_power": false }, "power_line": { "there": false },
        "culvert": { "there": false }, "bridge": { "there": false } })
    };
    for (sentence, place, best) in [
        ("a culvert within reach goes first", rich(), C::ThroughCulvert),
        (
            "a bridge within reach goes before trees",
            but(
                but(rich(), "culvert", json!({ "there": false })),
                "bridge",
                json!({ "there": true, "distance_m": 100 }),
            ),
            C::UnderBridge,
        ),
        (
            "a culvert too far away does not",
            but(rich(), "culvert", json!({ "there": true, "distance_m": 2_000, "flooded": false })),
            C::OverheadTrees,
        ),
        (
            "nor does a flooded one",
            but(rich(), "culvert", json!({ "there": true, "distance_m": 40, "flooded": true })),
            C::OverheadTrees,
        ),
        ("a minor road is sooner dug than spanned", soft("dirt_road"), C::Buried),
        ("and so is a path", soft("path"), C::Buried),
        ("a busy road is sooner spanned than dug, with trees at hand", soft("road"), C::OverheadTrees),
        (
            "what is there goes before what somebody has to look for",
            json!({ "obstacle": "stream", "lance_poles": 4, "power_line": { "there": false } }),
            C::OverheadLancePoles,
        ),
        (
            "a track is crossed under the rails (SS0444 p. 25)",
            json!({ "obstacle": "railway" }),
            C::UnderRails,
        ),
        (
            "or through a culvert that is there",
            json!({ "obstacle": "railway", "culvert": { "there": true, "distance_m": 30 } }),
            C::ThroughCulvert,
        ),
    ] {
        let answer = at(place);
        assert_eq!(answer.ways[0].choice.construction, best, "{sentence}: {:?}", order(&answer));
    }
}

#[test]
fn a_ladder_comes_last_wherever_it_comes() {
    // SS0440 p. 33: an expedient, to be replaced.
    let answer = at(rich());
    assert_eq!(order(&answer).last(), Some(&C::Ladder));
    assert!(!way(&answer, C::Ladder).choice.lasting);
    let bare =
        at(json!({ "obstacle": "road", "hard_surface": true, "trees": false, "culvert": { "there": false },
        "bridge": { "there": false }, "poles": { "there": false }, "lance_poles": 0 }));
    assert_eq!(order(&bare), [C::Ladder]);
}

#[test]
fn what_nobody_has_said_is_not_taken_for_absent() {
    for obstacle in Obstacle::ALL {
        let answer = reckon(&SiteInput::of(obstacle), Profile::field()).unwrap();
        for construction in Construction::ALL {
            let on_some_surface =
                [false, true].iter().any(|&hard| guide::check(obstacle, hard, construction).is_ok());
            assert_eq!(
                order(&answer).contains(&construction),
                on_some_surface,
                "{obstacle} {construction}: only the trade's own rule refuses"
            );
        }
        assert!(answer.refused.iter().all(|refusal| refusal.rule == SiteRule::Trade));
        let unknown = |way: &&SiteWay| way.choice.construction != C::UnderRails;
        assert!(answer.ways.iter().filter(unknown).all(|way| way.at_hand == AtHand::Look), "{obstacle}");
    }
    let road = at(json!({ "obstacle": "road" }));
    assert!(
        road.look
            .iter()
            .any(|need| need.starts_with("trees that carry on both sides: for overhead on trees")),
        "{:?}",
        road.look
    );
}

#[test]
fn what_is_known_to_be_missing_is_refused_with_the_figures() {
    let answer =
        at(json!({ "obstacle": "road", "hard_surface": true, "trees": false, "culvert": { "there": false },
        "poles": { "there": false }, "lance_poles": 3 }));
    for construction in [C::ThroughCulvert, C::OverheadTrees, C::OverheadPoles, C::OverheadLancePoles] {
        assert_eq!(refused(&answer, construction).0, SiteRule::NotAtHand, "{construction}");
    }
    // SS0440 p. 31: for such heights two are lashed, so that a road takes two on each side.
    let (_, reason) = refused(&answer, C::OverheadLancePoles);
    assert_eq!(reason, "It takes 4 lance poles of 4.27 m (14.0 ft), 2 on each side: 3 are at hand");
    let hard = refused(&answer, C::Buried);
    assert_eq!(hard.0, SiteRule::Trade, "{}", hard.1);
    // By hand: poles of 3 m set 0.5 m, two of them with 5 ft of overlap (SS0440 p. 31), carry 3 + 3 - 1.524 - 0.5 = 3.976 m,
    // and 15.5 ft (NESC rule 232) with 2 % of 100 ft of sag are 5.334 m.
    let short =
        at(json!({ "obstacle": "road", "lance_poles": 8, "lance_pole": { "length_m": 3, "set_m": 0.5 } }));
    let (rule, reason) = refused(&short, C::OverheadLancePoles);
    assert_eq!(rule, SiteRule::NotAtHand);
    assert!(reason.contains("5.33 m (17.5 ft)") && reason.contains("3.68 m"), "{reason}");
}

#[test]
fn a_power_line_too_near_forbids_every_overhead_wire() {
    // 29 CFR 1926.1408 table A: 10 ft to 50 kV, 15 ft to 200 kV.
    let by = |kilovolts: f64, distance: f64| {
        at(but(
            rich(),
            "power_line",
            json!({ "there": true, "distance_m": distance, "kilovolts": kilovolts }),
        ))
    };
    for (kilovolts, distance) in [(11.0, 3.0), (33.0, 0.0), (132.0, 4.5)] {
        let answer = by(kilovolts, distance);
        for construction in [C::OverheadTrees, C::OverheadPoles, C::OverheadLancePoles] {
            let (rule, reason) = refused(&answer, construction);
            assert_eq!(rule, SiteRule::PowerLine, "{construction} at {distance} m from {kilovolts} kV");
            assert!(
                reason.contains("keep at least") && reason.contains(&format!("{kilovolts:.0} kV")),
                "{reason}"
            );
        }
        assert!(order(&answer).contains(&C::ThroughCulvert), "what lies on the ground is not refused by it");
    }
    // PS 623 p. 44: a pole stands no nearer than twice its height.
    let beside = by(11.0, 3.1);
    assert!(order(&beside).contains(&C::OverheadTrees));
    assert!(refused(&beside, C::OverheadLancePoles).1.contains("PS 623 p. 44"));
    let text = |answer: &SiteAnswer| {
        let cautions = &way(answer, C::OverheadTrees).choice.cautions;
        cautions.iter().find(|caution| caution.id == "power_near").unwrap().text.clone()
    };
    assert!(
        text(&beside).contains("11 kV") && text(&beside).contains("3.05 m (10.0 ft)"),
        "{}",
        text(&beside)
    );
    // Of unknown voltage it is as bad as the highest, 45 ft.
    let unknown = at(but(rich(), "power_line", json!({ "there": true, "distance_m": 13 })));
    assert_eq!(refused(&unknown, C::OverheadTrees).0, SiteRule::PowerLine);
    let far = at(but(rich(), "power_line", json!({ "there": true, "distance_m": 14 })));
    assert!(text(&far).contains("ask its owner"), "{}", text(&far));
    // A distance that nobody has taken is looked at first.
    let near = at(but(rich(), "power_line", json!({ "there": true, "kilovolts": 11 })));
    assert_eq!(way(&near, C::OverheadTrees).at_hand, AtHand::Look);
}

#[test]
fn nobody_ties_to_a_pole_that_carries_power() {
    let answer = at(but(rich(), "poles", json!({ "there": true, "carry_power": true })));
    assert_eq!(refused(&answer, C::OverheadPoles).0, SiteRule::PowerLine);
    let unknown = at(but(rich(), "poles", json!({ "there": true })));
    assert_eq!(way(&unknown, C::OverheadPoles).at_hand, AtHand::Look);
}

#[test]
fn a_crossing_takes_the_wire_that_its_parts_take() {
    // By hand. A culvert 40 m away: 40 m there and back with 20 % slack (SS0444 p. 23), 8 m across, 2 m spare on each side.
    let answer = at(rich());
    let culvert = way(&answer, C::ThroughCulvert);
    assert_eq!(culvert.detour_m, Some(metres(80.0)));
    assert!(
        (culvert.wire.drawn_m.value() - (2.0 * 40.0 * 1.2 + 8.0 + 4.0)).abs() < 1e-9,
        "{:?}",
        culvert.wire
    );
    // Lance poles: span 100 ft (SS0440 p. 33), sag 2 %, ties at 15.5 ft (NESC rule 232) and the sag, half a span of spare on
    // each side (SS0440 p. 31).
    let poles = way(&answer, C::OverheadLancePoles);
    let sag = 0.02 * 30.48;
    let hangs = 30.48 + 8.0 * sag * sag / (3.0 * 30.48);
    assert!(
        (poles.wire.drawn_m.value() - (hangs + 2.0 * (4.7244 + sag) + 30.48)).abs() < 1e-9,
        "{:?}",
        poles.wire
    );
    assert!((poles.tie_height_m.unwrap().value() - (4.7244 + sag)).abs() < 1e-9);
    let up = poles.wire.items.iter().find(|item| item.why.starts_with("up to")).unwrap();
    assert!(up.source.contains("NESC rule 232"), "{}", up.source);
    // SS0444 p. 25: no slack under the rails: 6 m of track and nothing else.
    let rails = at(json!({ "obstacle": "railway" }));
    assert!((way(&rails, C::UnderRails).wire.drawn_m.value() - 6.0).abs() < 1e-9);
}

#[test]
fn a_crossing_takes_the_minutes_that_are_published() {
    // Corcoran 1917: a buried crossing 3 to 4 min, one on two poles 5 to 6 min. Seabee: at night 1.5 times as long.
    let place = |light: &str| json!({ "obstacle": "dirt_road", "hard_surface": false, "light": light });
    let (day, night) = (at(place("day")), at(place("night")));
    for (construction, minutes) in [(C::Buried, 3.5), (C::OverheadLancePoles, 5.5)] {
        let lead = &way(&day, construction).lead;
        assert_eq!(lead.work_min, Minutes::new(minutes).unwrap());
        assert!(lead.items[0].source.starts_with("Corcoran 1917"), "{:?}", lead.items);
        let lead = &way(&night, construction).lead;
        assert_eq!(lead.work_min, Minutes::new(1.5 * minutes).unwrap());
        assert!(lead.items[0].source.contains("Seabee"), "{:?}", lead.items);
    }
    // By hand: 80 m at 1.05 mph (28.16352 m/min) to the culvert and back, and its 5 min.
    let culvert = at(rich());
    let lead = way(&culvert, C::ThroughCulvert).lead.work_min.value();
    assert!((lead - (5.0 + 80.0 / 28.163_52)).abs() < 1e-9, "{lead}");
    // A unit's own figure comes with the unit's own source.
    let ours =
        Profile::unit(r#"pace.constructions.buried.lead = { min = 6, source = "our log of last year" }"#)
            .unwrap();
    let ours = at_with(&ours, place("day"));
    let lead = &way(&ours, C::Buried).lead;
    assert_eq!(
        (lead.work_min, lead.items[0].source.as_str()),
        (Minutes::new(6.0).unwrap(), "our log of last year")
    );
}

#[test]
fn work_on_the_carriageway_of_a_road_counts_twice_and_is_told() {
    let place = |obstacle: &str| json!({ "obstacle": obstacle, "hard_surface": false });
    let road = at(place("road"));
    assert_eq!(way(&road, C::Buried).on_carriageway_min, Minutes::new(18.5).unwrap());
    assert_eq!(way(&road, C::OverheadTrees).on_carriageway_min, Minutes::new(8.0).unwrap());
    assert!(
        way(&road, C::Buried).reason.contains("18.5 min of it on the carriageway"),
        "{}",
        way(&road, C::Buried).reason
    );
    assert_eq!(way(&at(place("path")), C::Buried).on_carriageway_min, Minutes::ZERO);
}

#[test]
fn two_lashed_poles_a_side_and_their_guys_are_on_the_list() {
    let answer = at(rich());
    let poles = way(&answer, C::OverheadLancePoles);
    let set = poles.lance_poles.unwrap();
    // SS0440 p. 31: two are lashed for such a height. By hand: 28 ft less 2 ft in the ground less 5.334 m.
    assert_eq!((set.poles, set.enough), (2, true));
    assert!((set.overlap_m.unwrap().value() - (26.0 * 0.3048 - 5.334)).abs() < 1e-9);
    let bring = |what: &str| poles.materials.iter().find(|material| material.what == what).unwrap();
    assert_eq!((bring("lance poles").count, bring("lance poles").length_m), (Some(4), Some(feet(14.0))));
    // SS0440 p. 31: guys one to one, so that each is √2 times as long as the tie is high; a stake for each and for each foot.
    assert_eq!((bring("guys").count, bring("stakes").count), (Some(4), Some(6)));
    assert!((bring("guys").length_m.unwrap().value() - 5.334 * std::f64::consts::SQRT_2).abs() < 1e-9);
    for way in &answer.ways {
        assert_eq!(way.materials[0].what, "tags", "both sides of every crossing are tagged");
        assert!(way.materials.iter().all(|material| !material.source.is_empty() && !material.why.is_empty()));
    }
}

#[test]
fn a_place_that_is_not_public_takes_the_field_height_and_shows_both() {
    let answer = at(but(rich(), "public", json!(false)));
    assert!(!answer.public);
    let choice = &way(&answer, C::OverheadTrees).choice;
    assert_eq!(choice.least_height_m, Some(feet(14.0)));
    let heights = choice.heights.as_ref().unwrap();
    assert_eq!((heights.field.least_m, heights.civil.least_m), (feet(14.0), feet(15.5)));
    let height = choice.finish.iter().find(|item| item.id == "height").unwrap();
    assert!(
        height.text.contains("4.27 m (14.0 ft)") && height.text.contains("4.72 m (15.5 ft)"),
        "{}",
        height.text
    );
}

#[test]
fn over_a_stream_the_ties_rise_with_the_highest_water() {
    let stream = |highest: f64| {
        at(
            json!({ "obstacle": "stream", "span_m": 20, "water": { "highest_m": highest, "current": "fast" } }),
        )
    };
    let tie = |answer: &SiteAnswer| way(answer, C::OverheadTrees).tie_height_m.unwrap().value();
    // By hand: 3 m over the water to plan with, and 2 % of 20 m of sag.
    assert!((tie(&stream(1.5)) - (1.5 + 3.0 + 0.4)).abs() < 1e-9);
    assert!(
        (tie(&stream(-2.0)) - (3.0 + 0.4)).abs() < 1e-9,
        "below the ground at the ties it changes nothing"
    );
    let fast = stream(0.0);
    assert!(fast.ways.iter().all(|way| way.choice.cautions.iter().any(|caution| caution.id == "fast_water")));
}

#[test]
fn a_figure_of_nothing_or_out_of_range_is_refused_by_name() {
    for (place, field) in [
        (json!({ "obstacle": "road", "width_m": 301 }), "width_m is 301; give a number from 0 to 300"),
        (
            json!({ "obstacle": "road", "width_m": 20, "span_m": 19 }),
            "span_m is 19; give a number from 20 to 300",
        ),
        (
            json!({ "obstacle": "road", "culvert": { "there": true, "distance_m": -1 } }),
            "culvert.distance_m is -1",
        ),
        (
            json!({ "obstacle": "road", "bridge": { "there": false, "distance_m": 1 } }),
            "bridge.distance_m goes with a bridge",
        ),
        (
            json!({ "obstacle": "road", "poles": { "there": false, "carry_power": false } }),
            "poles.carry_power goes with",
        ),
        (
            json!({ "obstacle": "road", "power_line": { "there": true, "kilovolts": 1500 } }),
            "power_line.kilovolts is 1500",
        ),
        (
            json!({ "obstacle": "road", "power_line": { "there": false, "kilovolts": 11 } }),
            "power_line.kilovolts goes with",
        ),
        (json!({ "obstacle": "road", "water": { "highest_m": 1 } }), "water goes with a stream"),
        (json!({ "obstacle": "stream", "water": { "highest_m": 21 } }), "water.highest_m is 21"),
        (
            json!({ "obstacle": "road", "lance_pole": { "length_m": 0.5, "set_m": 0 } }),
            "lance_pole.length_m is 0.5",
        ),
        (
            json!({ "obstacle": "road", "lance_pole": { "length_m": 4, "set_m": 2.5 } }),
            "lance_pole.set_m is 2.5; give a number from 0 to 2",
        ),
    ] {
        let said = wrong(place);
        assert!(said.starts_with(field), "{said}");
    }
    let unknown =
        serde_json::from_value::<SiteInput>(json!({ "obstacle": "road", "tunnel": true })).unwrap_err();
    assert!(unknown.to_string().starts_with("unknown field `tunnel`"), "{unknown}");
}

/// JSON of any shape, some of it near to a place.
fn any_json() -> impl Strategy<Value = Value> {
    let leaf = prop_oneof![
        Just(Value::Null),
        any::<bool>().prop_map(Value::from),
        any::<f64>().prop_map(Value::from),
        (-50.0..400.0f64).prop_map(Value::from),
        any::<u32>().prop_map(Value::from),
        prop::sample::select(vec!["road", "night", "vehicle", "fast", "railway", ""]).prop_map(Value::from),
    ];
    leaf.prop_recursive(2, 12, 4, |inner| {
        let key = prop::sample::select(vec![
            "there",
            "distance_m",
            "flooded",
            "carry_power",
            "kilovolts",
            "highest_m",
            "current",
            "length_m",
            "set_m",
        ]);
        prop::collection::btree_map(key, inner, 0..4).prop_map(|map| json!(map))
    })
}

fn any_place() -> impl Strategy<Value = Value> {
    let keys = [
        "hard_surface",
        "public",
        "width_m",
        "span_m",
        "culvert",
        "bridge",
        "trees",
        "poles",
        "lance_poles",
        "lance_pole",
        "diggable",
        "power_line",
        "water",
        "light",
        "lead_means",
        "follow_up_means",
    ];
    let obstacle = prop::sample::select(Obstacle::ALL.to_vec()).prop_map(|obstacle| json!(obstacle.as_str()));
    (obstacle, prop::collection::btree_map(prop::sample::select(keys.to_vec()), any_json(), 0..5))
        .prop_map(|(obstacle, map)| but(json!(map), "obstacle", obstacle))
}

/// A place that is taken, whatever is at hand there.
fn good_place() -> impl Strategy<Value = SiteInput> {
    let passage = || prop::option::of((any::<bool>(), 0.0..5_000.0f64, prop::option::of(any::<bool>())));
    (
        prop::sample::select(Obstacle::ALL.to_vec()),
        (prop::option::of(any::<bool>()), prop::option::of(any::<bool>()), prop::option::of(any::<bool>())),
        (passage(), passage()),
        (prop::option::of(0.0..100.0f64), prop::option::of(0u16..12), prop::option::of(1.0..15.0f64)),
        prop::option::of((0.0..60.0f64, prop::option::of(0.0..1_000.0f64))),
    )
        .prop_map(|(obstacle, (hard, public, trees), (culvert, bridge), (width, poles, pole), power)| {
            let passage = |told: Option<(bool, f64, Option<bool>)>| {
                told.map(|(there, far, flooded)| {
                    if there { json!({ "there": true, "distance_m": far, "flooded": flooded }) } else { json!({ "there": false }) }
                })
            };
            serde_json::from_value(json!({
                "obstacle": obstacle.as_str(), "hard_surface": hard, "public": public, "trees": trees,
                "culvert": passage(culvert), "bridge": passage(bridge), "width_m": width, "lance_poles": poles,
                "lance_pole": pole.map(|length| json!({ "length_m": length, "set_m": (length / 4.0).min(3.0) })),
                "power_line": power.map(|(far, kv)| json!({ "there": true, "distance_m": far, "kilovolts": kv })),
            }))
            .unwrap()
        })
}

/// A unit's profile of figures that may be strict or loose.
fn any_profile() -> impl Strategy<Value = Profile> {
    (0.5..30.0f64, 1.0..300.0f64, 0.05..3.0f64, 0..=20u8, any::<bool>(), 0.0..10_000.0f64).prop_map(
        |(height, span, depth, sag, public, reach)| {
            Profile::unit(&format!(
                "heights.road.field = {{ m = {height:?}, source = \"us\" }}
                heights.path.public = {{ yes = {public}, source = \"us\" }}
                span.normal = {{ m = {span:?}, source = \"us\" }}
                burial.depth = {{ m = {depth:?}, source = \"us\" }}
                wire.sag = {{ percent = {sag}, source = \"us\" }}
                reach.culvert = {{ m = {reach:?}, source = \"us\" }}"
            ))
            .unwrap()
        },
    )
}

proptest! {
    /// SS0444 p. 25: under the rails, whatever the profile says and whatever is at hand.
    #[test]
    fn no_wire_ever_goes_over_rails(place in good_place(), profile in any_profile()) {
        let place = SiteInput { obstacle: Obstacle::Railway, ..place };
        let answer = reckon(&place, &profile).unwrap();
        for way in &answer.ways {
            let allowed = [C::UnderRails, C::ThroughCulvert, C::UnderBridge];
            prop_assert!(allowed.contains(&way.choice.construction), "{}", way.choice.construction);
        }
        prop_assert!(order(&answer).contains(&C::UnderRails), "that way is never shut");
    }

    /// Every construction is either allowed or refused, what is allowed adds up, and a ladder is last.
    #[test]
    fn every_construction_has_its_answer(place in good_place(), profile in any_profile()) {
        let answer = reckon(&place, &profile).unwrap();
        prop_assert_eq!(answer.ways.len() + answer.refused.len(), Construction::ALL.len());
        for (number, way) in answer.ways.iter().enumerate() {
            let construction = way.choice.construction;
            let surfaces = [place.hard_surface.unwrap_or(false), place.hard_surface.unwrap_or(true)];
            prop_assert!(surfaces.iter().any(|&hard| guide::check(place.obstacle, hard, construction).is_ok()));
            prop_assert!(construction != C::Ladder || number + 1 == answer.ways.len());
            let drawn: Metres = way.wire.items.iter().map(|item| item.drawn_m).sum();
            prop_assert!((drawn.value() - way.wire.drawn_m.value()).abs() < 1e-9);
            prop_assert!(way.wire.items.iter().all(|item| !item.source.is_empty()));
            prop_assert!(way.lead.items.iter().chain(&way.follow_up.items).all(|item| !item.source.is_empty()));
            let near = place.power_line.and_then(|line| line.distance_m).is_some_and(|far| far < answer.keep_from_power.least_m);
            prop_assert!(!(near && construction.is_overhead()), "{construction} too near to power");
        }
    }

    /// Whatever JSON is sent, it is judged or refused with a reason.
    #[test]
    fn no_place_makes_it_panic(place in any_place(), profile in any_profile()) {
        if let Ok(place) = serde_json::from_value::<SiteInput>(place)
            && let Err(error) = reckon(&place, &profile)
        {
            prop_assert!(!error.to_string().is_empty());
        }
    }
}
