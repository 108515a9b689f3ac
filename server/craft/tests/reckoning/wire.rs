//! The wire of a line against sums worked by hand from published figures, and the way from wire to ground and back.

use laywire_craft::bounds::NoAnswer;
use laywire_craft::construction::Construction;
use laywire_craft::obstacle::Obstacle;
use laywire_craft::units::{Metres, feet};
use laywire_craft::wire::{
    Answer, Crossing, Error, Figures, Input, Layout, Leg, NoSplice, What, reckon, span_wire,
};
use proptest::prelude::*;

fn metres(value: f64) -> Metres {
    Metres::new(value).unwrap()
}

fn leg(length: f64) -> Leg {
    Leg { name: None, length_m: metres(length), slack_percent: None }
}

fn line(length: f64, crossings: Vec<Crossing>) -> Input {
    Input {
        legs: vec![leg(length)],
        crossings,
        splices: 0,
        figures: Figures::default(),
        at_chainages_m: Vec::new(),
        at_wires_m: Vec::new(),
    }
}

fn crossing(chainage: f64, obstacle: Obstacle, construction: Construction) -> Crossing {
    Crossing::foreseen(metres(chainage), obstacle, construction)
}

fn near(found: Metres, hoped: f64) {
    assert!((found.value() - hoped).abs() < 1e-6, "{found:?} against {hoped}");
}

fn of(answer: &Answer, what: What) -> f64 {
    answer.totals.iter().find(|total| total.what == what).map_or(0.0, |total| total.drawn_m.value())
}

#[test]
fn the_wire_in_a_span_is_the_textbooks() {
    // Soni, Gupta, Bhatnagar and Chakrabarti, Power System Engineering, 2nd ed., example 5.1.
    assert!((span_wire(metres(250.0), metres(2.0)).value() - 250.043).abs() < 5e-4);
    // Catenaries by mpmath to 50 digits: span, sag, length. The short formula is good to the stated part of the length.
    for (span, sag, length, part) in [
        (40.0, 0.5, 40.016_661_808_426_28, 1e-6),
        (50.0, 1.0, 50.053_293_571_245_06, 1e-6),
        (60.0, 1.5, 60.099_883_608_311_9, 2e-6),
        (100.0, 5.0, 100.663_584_629_197_34, 4e-5),
        (100.0, 20.0, 109.971_820_881_761_64, 7e-3),
    ] {
        let found = span_wire(metres(span), metres(sag)).value();
        assert!((0.0..part).contains(&(found / length - 1.0)), "{span} {sag}: {found} against {length}");
    }
}

#[test]
fn surface_wire_is_the_ground_and_its_slack() {
    // SS0444 p. 23: about 20 % of the total distance. The 915th's memoir, p. 63: at least 25 % more than appeared needed.
    let mut input = line(1000.0, Vec::new());
    input.legs.push(Leg { slack_percent: Some(25), ..leg(400.0) });
    input.splices = 2;
    let answer = reckon(&input).unwrap();
    near(answer.ground_m, 1400.0);
    near(answer.wire_m, 1200.0 + 500.0 + 2.0 * 10.0);
    near(answer.drawn_m, 1200.0 + 500.0 + 2.0 * 10.0 + 2.0 * 0.3);
    near(answer.legs[1].drawn_m, 500.0 + 10.0);
    assert!((of(&answer, What::Slack) - 300.0).abs() < 1e-9);
    assert!((of(&answer, What::Ground) - 1400.0).abs() < 1e-9);
}

#[test]
fn each_construction_takes_what_its_parts_take() {
    use Construction as C;
    let taken = |crossing: Crossing| {
        let answer = reckon(&line(1000.0, vec![crossing])).unwrap();
        (answer.crossings[0].drawn_m, answer.crossings[0].to_wire_m - answer.crossings[0].from_wire_m)
    };
    // By hand. Lance poles over a road: span 100 ft (SS0440 p. 33), sag 2 % of it, ties at 15.5 ft (NESC rule 232) and the
    // sag, half a span of tail on each side (SS0440 p. 31: enough to rebuild it).
    let span = 30.48;
    let sag = 0.02 * span;
    let hangs = span + 8.0 * sag * sag / (3.0 * span);
    let (drawn, along) = taken(crossing(500.0, Obstacle::Road, C::OverheadLancePoles));
    near(drawn, hangs + 2.0 * (4.7244 + sag) + span);
    near(along, drawn.value());
    // Trees with figures of their own: 20 m, reckoned elsewhere as 20.2 m of wire, ties at 6 m, 3 m of tail.
    let trees = Crossing {
        width_m: Some(metres(20.0)),
        span_wire_m: Some(metres(20.2)),
        tie_height_m: Some(metres(6.0)),
        tail_m: Some(metres(3.0)),
        ..crossing(500.0, Obstacle::MainHighway, C::OverheadTrees)
    };
    near(taken(trees).0, 20.2 + 12.0 + 6.0);
    // Under rails: straight, without slack (SS0444 p. 25).
    near(taken(crossing(500.0, Obstacle::Railway, C::UnderRails)).0, 6.0);
    // A trench 4 m long and 6 in deep, 1 m of spare in it, and a tail of 2 m on each side.
    near(taken(crossing(500.0, Obstacle::DirtRoad, C::Buried)).0, 4.0 + 2.0 * 0.1524 + 1.0 + 4.0);
    // A culvert 30 m down the road: 60 m of way there and back at 20 % slack.
    let culvert =
        Crossing { detour_m: Some(metres(60.0)), ..crossing(500.0, Obstacle::Road, C::ThroughCulvert) };
    near(taken(culvert).0, 8.0 + 72.0 + 4.0);
    // A ladder: two pairs across and two splices, but a current runs across once (SS0440 p. 33).
    let (drawn, along) = taken(crossing(500.0, Obstacle::Road, C::Ladder));
    near(drawn, 8.0 * 2.0 + 0.6 + 4.0);
    near(along, 8.0 + 4.0);
}

#[test]
fn items_follow_one_another_and_add_up() {
    let input = busy_line();
    let answer = reckon(&input).unwrap();
    let layout = Layout::new(&input).unwrap();
    let (mut chainage, mut wire, mut drawn) = (Metres::ZERO, Metres::ZERO, 0.0);
    for item in layout.items() {
        assert_eq!((item.from_chainage_m, item.from_wire_m), (chainage, wire));
        assert!(!item.why.is_empty() && !item.source.is_empty());
        (chainage, wire) = (item.to_chainage_m, item.to_wire_m);
        drawn += item.drawn_m.value();
    }
    assert_eq!((chainage, wire), (answer.ground_m, answer.wire_m));
    let splices = 3.0 * 0.3;
    near(answer.drawn_m, drawn + splices);
    near(answer.totals.iter().map(|total| total.drawn_m).sum(), answer.drawn_m.value());
    let shared: Metres = answer.legs.iter().chain(&answer.crossings).map(|share| share.drawn_m).sum();
    near(shared, answer.drawn_m.value() - splices);
}

/// Two legs, every construction, two crossings that run into each other and one at each end.
fn busy_line() -> Input {
    use Construction as C;
    let mut input = line(
        2_000.0,
        vec![
            crossing(1500.0, Obstacle::Railway, C::UnderRails),
            crossing(300.0, Obstacle::Stream, C::OverheadTrees),
            crossing(310.0, Obstacle::Road, C::OverheadLancePoles),
            crossing(700.0, Obstacle::DirtRoad, C::Buried),
            Crossing { detour_m: Some(metres(40.0)), ..crossing(900.0, Obstacle::Road, C::ThroughCulvert) },
            crossing(1000.0, Obstacle::Road, C::Ladder),
            crossing(1200.0, Obstacle::Stream, C::UnderBridge),
            crossing(0.0, Obstacle::Path, C::OverheadPoles),
            crossing(3000.0, Obstacle::Road, C::OverheadPoles),
        ],
    );
    input.legs.push(Leg { slack_percent: Some(25), ..leg(1_000.0) });
    input.splices = 3;
    input
}

#[test]
fn crossings_that_run_into_each_other_are_remarked() {
    let answer = reckon(&busy_line()).unwrap();
    let about = |number: usize| {
        answer.remarks.iter().filter(|r| r.starts_with(&format!("crossings[{number}]"))).count()
    };
    assert_eq!((about(2), about(7), about(8), answer.remarks.len()), (1, 1, 1, 3), "{:?}", answer.remarks);
}

#[test]
fn a_fault_at_a_tie_is_found_at_its_support() {
    let input = line(1000.0, vec![crossing(500.0, Obstacle::Road, Construction::OverheadLancePoles)]);
    let layout = Layout::new(&input).unwrap();
    // By hand: 10 m at the end, the ground to the near support at 20 % slack, half a span of tail.
    let support = 500.0 - 15.24;
    let up = 10.0 + support * 1.2 + 15.24;
    let found = layout.on_ground(metres(up + 1.0)).unwrap();
    assert_eq!((found.what, found.crossing), (What::UpAndDown, Some(0)));
    near(found.chainage_m, support);
    let there = layout.along_wire(metres(support)).unwrap();
    near(there.from_wire_m, up - 15.24);
    near(there.to_wire_m, up + 4.7244 + 0.02 * 30.48);
    let before = layout.on_ground(metres(10.0 + 120.0)).unwrap();
    assert_eq!((before.what, before.crossing), (What::Ground, None));
    near(before.chainage_m, 100.0);
}

#[test]
fn no_splice_may_fall_where_the_setting_says_so() {
    let input = busy_line();
    let layout = Layout::new(&input).unwrap();
    let stretches = layout.no_splice(&input, &NoSplice::default()).unwrap();
    let crossings: Vec<_> = stretches.iter().map(|stretch| stretch.crossing).collect();
    assert_eq!(crossings, [7, 1, 2, 3, 4, 5, 0, 8], "all but the bridge");
    let none = NoSplice {
        stream_spans: false,
        overhead_spans: false,
        culverts: false,
        bridges: true,
        rails: false,
        trenches: false,
        ladders: false,
        clear_m: Metres::ZERO,
    };
    let bridge = layout.no_splice(&input, &none).unwrap();
    assert_eq!(bridge.len(), 1);
    near(bridge[0].to - bridge[0].from, 10.0);
    // Lance poles over a road: from the ground up, over and down again, and 2 m clear on both sides.
    let alone = line(1000.0, vec![crossing(500.0, Obstacle::Road, Construction::OverheadLancePoles)]);
    let stretch = Layout::new(&alone).unwrap().no_splice(&alone, &NoSplice::default()).unwrap()[0];
    let sag = 0.02 * 30.48;
    near(stretch.to - stretch.from, 30.48 + 8.0 * sag * sag / (3.0 * 30.48) + 2.0 * (4.7244 + sag) + 4.0);
}

#[test]
fn what_is_wrong_is_refused_by_name() {
    use Construction as C;
    let refused = |change: &dyn Fn(&mut Input)| {
        let mut input = line(1000.0, vec![crossing(500.0, Obstacle::Road, C::OverheadTrees)]);
        change(&mut input);
        reckon(&input).unwrap_err()
    };
    let field = |change: &dyn Fn(&mut Input)| refused(change).field().unwrap();
    assert_eq!(field(&|i| i.legs.clear()), "legs");
    assert_eq!(field(&|i| i.crossings = vec![i.crossings[0].clone(); 2001]), "crossings");
    assert_eq!(field(&|i| i.at_wires_m = vec![Metres::ZERO; 1001]), "at_wires_m");
    assert_eq!(field(&|i| i.legs[0].length_m = metres(-1.0)), "legs[0].length_m");
    assert_eq!(field(&|i| i.legs[0].slack_percent = Some(101)), "legs[0].slack_percent");
    assert_eq!(field(&|i| i.crossings[0].chainage_m = metres(1000.1)), "crossings[0].chainage_m");
    assert_eq!(field(&|i| i.crossings[0].sag_m = Some(metres(6.1))), "crossings[0].sag_m");
    assert_eq!(field(&|i| i.crossings[0].span_wire_m = Some(feet(99.0))), "crossings[0].span_wire_m");
    assert_eq!(field(&|i| i.figures.splice_m = Some(metres(-0.1))), "figures.splice_m");
    assert_eq!(field(&|i| i.at_wires_m = vec![metres(1e6)]), "at_wires_m");
    assert_eq!(field(&|i| i.at_chainages_m = vec![metres(-1.0)]), "at_chainages_m");
    assert_eq!(
        refused(&|i| i.crossings[0].depth_m = Some(metres(0.1))).to_string(),
        "crossings[0].depth_m does not go with a crossing overhead on trees; leave it out, or change the construction"
    );
    let rails = refused(&|i| i.crossings[0].obstacle = Obstacle::Railway);
    assert!(matches!(rails, Error::Refused { crossing: 0, .. }), "{rails}");
}

#[test]
fn a_field_that_nobody_knows_is_refused() {
    let wrong = r#"{"legs":[{"length_m":1,"slak_percent":20}]}"#;
    let refused = serde_json::from_str::<Input>(wrong).unwrap_err().to_string();
    assert!(refused.starts_with("unknown field `slak_percent`"), "{refused}");
}

fn any_line() -> impl Strategy<Value = Input> {
    let leg = (0.0..3_000.0_f64, prop::option::of(0_u8..=100))
        .prop_map(|(length, slack_percent)| Leg { slack_percent, ..leg(length) });
    let allowed: Vec<(Obstacle, Construction)> = Obstacle::ALL
        .into_iter()
        .flat_map(|o| Construction::ALL.map(|c| (o, c)))
        .filter(|&(o, c)| laywire_craft::guide::check(o, c == Construction::Ladder, c).is_ok())
        .collect();
    let crossing = (0.0..=1.0_f64, prop::sample::select(allowed), prop::option::of(0.0..200.0_f64));
    (prop::collection::vec(leg, 1..6), prop::collection::vec(crossing, 0..12)).prop_map(
        |(legs, crossings)| {
            let length: Metres = legs.iter().map(|leg| leg.length_m).sum();
            let crossings = crossings
                .into_iter()
                .map(|(part, (obstacle, construction), width)| Crossing {
                    width_m: width.map(metres),
                    ..crossing_at(part * length.value(), obstacle, construction)
                })
                .collect();
            Input { legs, ..line(0.0, crossings) }
        },
    )
}

fn crossing_at(chainage: f64, obstacle: Obstacle, construction: Construction) -> Crossing {
    crossing(chainage, obstacle, construction)
}

proptest! {
    #[test]
    fn from_the_ground_to_the_wire_and_back_is_the_same_place(input in any_line(), parts in prop::collection::vec(0.0..=1.0_f64, 8)) {
        let layout = Layout::new(&input).unwrap();
        let size = layout.wire().value();
        for part in parts {
            let chainage = metres(part * layout.ground().value()).min(layout.ground());
            let along = layout.along_wire(chainage).unwrap();
            prop_assert!(along.from_wire_m <= along.to_wire_m);
            for wire in [along.from_wire_m, along.to_wire_m] {
                let back = layout.on_ground(wire).unwrap().chainage_m;
                prop_assert!((back - chainage).value().abs() <= 1e-12 * size + 1e-9, "{back:?} for {chainage:?}");
            }
            let wire = metres(part * size).min(layout.wire());
            let place = layout.on_ground(wire).unwrap();
            let there = layout.along_wire(place.chainage_m).unwrap();
            let near = metres(1e-9 + 1e-9 * size);
            prop_assert!(there.from_wire_m <= wire + near && wire <= there.to_wire_m + near, "{wire:?} not in {there:?}");
        }
    }

    #[test]
    fn farther_along_the_wire_is_never_nearer_on_the_ground(input in any_line(), parts in prop::collection::vec(0.0..=1.0_f64, 20)) {
        let layout = Layout::new(&input).unwrap();
        let mut parts = parts;
        parts.sort_by(f64::total_cmp);
        let mut last = (Metres::ZERO, Metres::ZERO, Metres::ZERO);
        for part in parts {
            let ground = layout.on_ground(metres(part * layout.wire().value()).min(layout.wire())).unwrap().chainage_m;
            let wire = layout.along_wire(metres(part * layout.ground().value()).min(layout.ground())).unwrap().to_wire_m;
            let drawn = layout.drawn_to(metres(part * layout.drawn().value()).min(layout.drawn())).unwrap();
            prop_assert!(ground >= last.0 && wire >= last.1 && drawn >= last.2);
            last = (ground, wire, drawn);
        }
        prop_assert!(layout.drawn() >= layout.wire());
        prop_assert!(layout.wire() + metres(1e-6) >= layout.ground(), "wire is never shorter than the ground");
    }
}
