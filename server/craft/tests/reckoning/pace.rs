//! A line's time against published rates, worked out by hand.

use laywire_craft::bounds::NoAnswer;
use laywire_craft::construction::Construction;
use laywire_craft::obstacle::Obstacle;
use laywire_craft::pace::{
    ConstructionMinutes, Crossing, Figures, Ground, GroundTimes, Input, Leg, Light, Means, reckon,
};
use laywire_craft::units::{Metres, MetresPerMinute, Minutes, Times};
use proptest::prelude::*;

const MILE: f64 = 1609.344;

fn metres(value: f64) -> Metres {
    Metres::new(value).unwrap()
}

fn minutes(value: f64) -> Minutes {
    Minutes::new(value).unwrap()
}

fn line(length: f64) -> Input {
    Input {
        legs: vec![Leg { length_m: metres(length), ground: Ground::Roadside }],
        crossings: Vec::new(),
        reel_changes: 0,
        light: Light::Day,
        lead_means: Means::Wagon,
        follow_up_means: Means::Wagon,
        follow_up_after_min: Minutes::ZERO,
        figures: Figures { end_test_min: Some(Minutes::ZERO), ..Figures::default() },
    }
}

fn crossing(chainage: f64, construction: Construction) -> Crossing {
    Crossing {
        chainage_m: metres(chainage),
        obstacle: if construction == Construction::Buried { Obstacle::DirtRoad } else { Obstacle::Road },
        construction,
        lead_min: None,
        follow_up_min: None,
    }
}

fn near(found: Minutes, hoped: f64) {
    assert!((found.value() - hoped).abs() < 1e-9, "{found:?} against {hoped}");
}

#[test]
fn ten_miles_with_ten_crossings_are_the_baselines_139_minutes() {
    // Corcoran 1917, p. 820: a cable wagon lays 6 mph; a buried crossing takes 3 to 4 min, one on two poles 5 to 6. Ten
    // miles, 8 buried and 2 overhead, by hand: 100 + 28 + 11 = 139 min.
    let mut input = line(10.0 * MILE);
    for number in 0..10_u32 {
        let construction = if number < 8 { Construction::Buried } else { Construction::OverheadLancePoles };
        input.crossings.push(crossing((f64::from(number) + 0.5) * MILE, construction));
    }
    let answer = reckon(&input).unwrap();
    near(answer.through_min, 139.0);
    let item = |what: &str| answer.lead.items.iter().find(|item| item.what == what).unwrap();
    near(item("laying from a wagon along a road").minutes, 100.0);
    near(item("buried").minutes, 28.0);
    assert_eq!(item("buried").count, Some(8));
    assert!(item("buried").source.starts_with("Corcoran 1917"));
    near(item("overhead on lance poles").minutes, 11.0);
}

#[test]
fn published_rates_hold() {
    let through =
        |means, light| reckon(&Input { lead_means: means, light, ..line(6.0 * MILE) }).unwrap().through_min;
    // The 915th's memoir, p. 62: a laying truck at night without lights, 3 mph.
    near(through(Means::Vehicle, Light::Night), 120.0);
    // A signaller's account, 2005: 2 miles on foot at night in about 3 h: no more than 0.7 mph.
    near(through(Means::Foot, Light::Night), 6.0 / 0.7 * 60.0);
    // By analogy with the Seabee handbook's table 8-2, nights take 1.5 times as long as days.
    near(through(Means::Wagon, Light::Night), 1.5 * 60.0);
    near(through(Means::Foot, Light::Day), 6.0 / 0.7 * 60.0 / 1.5);
}

#[test]
fn night_ground_reels_and_ends_add_up() {
    let mut input = line(6.0 * MILE);
    input.legs.push(Leg { length_m: metres(MILE), ground: Ground::Wooded });
    input.light = Light::Night;
    input.reel_changes = 3;
    input.crossings = vec![crossing(100.0, Construction::Buried)];
    input.figures = Figures {
        lead_rate_m_per_min: Some(MetresPerMinute::new(MILE / 10.0).unwrap()),
        night_times: Some(Times::new(2.0).unwrap()),
        ground_times: vec![GroundTimes { ground: Ground::Wooded, times: Times::new(3.0).unwrap() }],
        reel_change_min: Some(minutes(4.0)),
        end_test_min: Some(minutes(7.0)),
        ..Figures::default()
    };
    let answer = reckon(&input).unwrap();
    // 60 along the road, 10 × 3 in the woods; at night 2 × (3.5 + 3 × 4 + 7).
    near(answer.through_min, 60.0 + 30.0 + 2.0 * (3.5 + 12.0 + 7.0));
    near(answer.lead.work_min, answer.lead.items.iter().map(|item| item.minutes.value()).sum());
    assert!(answer.lead.items.iter().any(|item| item.source == "given with the question"));
    for team in [&answer.lead, &answer.follow_up] {
        for item in &team.items {
            assert!(!item.source.is_empty() && !item.times_source.is_empty());
        }
    }
    let woods = answer.lead.items.iter().find(|item| item.what.ends_with("through woods")).unwrap();
    assert_eq!((woods.times, woods.times_source), (Times::new(3.0).unwrap(), "given with the question"));
    // The minutes of the very crossing are taken as they are, by day and by night.
    input.crossings[0].lead_min = Some(minutes(20.0));
    near(reckon(&input).unwrap().through_min, 60.0 + 30.0 + 20.0 + 2.0 * (12.0 + 7.0));
}

#[test]
fn the_follow_up_team_waits_for_the_lead_team_and_not_the_other_way_round() {
    let mut input = line(1000.0);
    let rate = Some(MetresPerMinute::new(10.0).unwrap());
    input.figures.lead_rate_m_per_min = rate;
    input.figures.follow_up_rate_m_per_min = Some(MetresPerMinute::new(100.0).unwrap());
    input.figures.constructions = vec![ConstructionMinutes {
        construction: Construction::Buried,
        lead_min: Some(minutes(5.0)),
        follow_up_min: Some(minutes(10.0)),
    }];
    input.figures.end_test_min = Some(minutes(2.0));
    input.crossings = vec![crossing(800.0, Construction::Buried), crossing(200.0, Construction::Buried)];
    let answer = reckon(&input).unwrap();
    // Lead: 20 to the first, 25 past it, 85 to the second, 90 past it, 110 at the end, 112 through. Follow-up: at the
    // first at 2, waits to 25, done at 35; at the second at 41, waits to 90, done at 100; at the end at 102, waits to
    // 112, proved at 114.
    let at: Vec<_> = answer
        .crossings
        .iter()
        .map(|at| (at.crossing, at.passed_min, at.taken_in_hand_min, at.finished_min, at.unsafe_min))
        .collect();
    assert_eq!(
        at,
        [
            (1, minutes(25.0), minutes(25.0), minutes(35.0), minutes(10.0)),
            (0, minutes(90.0), minutes(90.0), minutes(100.0), minutes(10.0))
        ]
    );
    assert_eq!(
        (answer.through_min, answer.finished_min, answer.waiting_min),
        (minutes(112.0), minutes(114.0), minutes(23.0 + 49.0 + 10.0))
    );
    // An hour behind, wire lies unsafe meanwhile: done at the first at 72, at the second at 100.
    input.follow_up_after_min = minutes(60.0);
    let answer = reckon(&input).unwrap();
    assert_eq!(answer.crossings[0].unsafe_min, minutes(72.0 - 25.0));
    assert_eq!(answer.crossings[1].finished_min, minutes(100.0));
}

#[test]
fn what_is_wrong_is_refused_by_name() {
    let field = |change: &dyn Fn(&mut Input)| {
        let mut input = line(1000.0);
        input.crossings = vec![crossing(500.0, Construction::OverheadTrees)];
        change(&mut input);
        reckon(&input).unwrap_err().field().unwrap()
    };
    assert_eq!(field(&|i| i.legs.clear()), "legs");
    assert_eq!(field(&|i| i.legs[0].length_m = metres(500_001.0)), "legs[0].length_m");
    assert_eq!(field(&|i| i.crossings = vec![i.crossings[0]; 2001]), "crossings");
    assert_eq!(field(&|i| i.crossings[0].chainage_m = metres(1001.0)), "crossings[0].chainage_m");
    assert_eq!(
        field(&|i| i.crossings[0].follow_up_min = Some(minutes(10_001.0))),
        "crossings[0].follow_up_min"
    );
    assert_eq!(field(&|i| i.crossings[0].obstacle = Obstacle::Railway), "crossings[0].construction");
    assert_eq!(field(&|i| i.follow_up_after_min = minutes(1e5)), "follow_up_after_min");
    let rate = MetresPerMinute::ZERO;
    assert_eq!(field(&|i| i.figures.lead_rate_m_per_min = Some(rate)), "figures.lead_rate_m_per_min");
    assert_eq!(field(&|i| i.figures.night_times = Some(Times::ZERO)), "figures.night_times");
    let wet = GroundTimes { ground: Ground::Wet, times: Times::new(2.0).unwrap() };
    assert_eq!(field(&|i| i.figures.ground_times = vec![wet; 2]), "figures.ground_times");
}

proptest! {
    #[test]
    fn nobody_is_finished_before_the_line_is_through(
        legs in prop::collection::vec((0.0..5_000.0_f64, 0_usize..5), 1..6),
        crossings in prop::collection::vec((0.0..=1.0_f64, 0_usize..8), 0..12),
        reel_changes in 0_u16..30,
        (night, lead, follow, after) in (any::<bool>(), 0_usize..3, 0_usize..3, 0.0..500.0_f64),
    ) {
        let means = [Means::Vehicle, Means::Wagon, Means::Foot];
        let legs: Vec<_> =
            legs.iter().map(|&(length, ground)| Leg { length_m: metres(length), ground: Ground::ALL[ground] }).collect();
        let length: Metres = legs.iter().map(|leg| leg.length_m).sum();
        let crossings = crossings
            .iter()
            .map(|&(part, kind)| {
                let construction = Construction::ALL[kind];
                let mut crossing = crossing(part * length.value(), construction);
                if construction == Construction::UnderRails {
                    crossing.obstacle = Obstacle::Railway;
                }
                crossing
            })
            .collect();
        let input = Input {
            legs,
            crossings,
            reel_changes,
            light: if night { Light::Night } else { Light::Day },
            lead_means: means[lead],
            follow_up_means: means[follow],
            follow_up_after_min: minutes(after),
            figures: Figures::default(),
        };
        let answer = reckon(&input).unwrap();
        prop_assert!(answer.finished_min >= answer.through_min);
        prop_assert!((answer.lead.work_min.value() - answer.through_min.value()).abs() < 1e-6);
        let done = after + answer.follow_up.work_min.value() + answer.waiting_min.value();
        prop_assert!((answer.finished_min.value() - done).abs() < 1e-6);
        for at in &answer.crossings {
            prop_assert!(at.passed_min <= at.taken_in_hand_min && at.taken_in_hand_min <= at.finished_min);
            prop_assert!(at.passed_min <= answer.through_min && at.finished_min <= answer.finished_min);
        }
    }
}
