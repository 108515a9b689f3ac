//! The forecast against closed forms: the time plan, the moments of triangular times, and days worked by hand.

use chrono::{DateTime, TimeDelta, Utc};
use laywire_craft::bounds::NoAnswer;
use laywire_craft::construction::Construction as C;
use laywire_craft::forecast::{
    Altered, Answer, Breaks, Done, Input, Order, Range, SoFar, Spread, Standing, UnderTheSun, reckon,
};
use laywire_craft::geodesy::Position;
use laywire_craft::obstacle::Obstacle as O;
use laywire_craft::pace::{self, Ground, Light, Means};
use laywire_craft::sun::{Above, day};
use laywire_craft::units::{Metres, MetresPerMinute, Minutes, Times};
use proptest::prelude::*;

fn m(figure: f64) -> Metres {
    Metres::new(figure).unwrap()
}

pub(super) fn min(figure: f64) -> Minutes {
    Minutes::new(figure).unwrap()
}

pub(super) fn crossing(chainage: f64, obstacle: O, construction: C) -> pace::Crossing {
    pace::Crossing { chainage_m: m(chainage), obstacle, construction, lead_min: None, follow_up_min: None }
}

fn line(length: f64, crossings: Vec<pace::Crossing>) -> pace::Input {
    pace::Input {
        legs: vec![pace::Leg { length_m: m(length), ground: Ground::Roadside }],
        crossings,
        reel_changes: 0,
        light: Light::Day,
        lead_means: Means::Foot,
        follow_up_means: Means::Foot,
        follow_up_after_min: Minutes::ZERO,
        figures: pace::Figures::default(),
    }
}

pub(super) fn asked(line: pace::Input) -> Input {
    Input {
        line,
        follow_up_teams: 1,
        order: Order::Along,
        spread: Spread::NONE,
        sun: None,
        breaks: None,
        so_far: None,
        runs: 3,
        seed: 1,
        try_helps: false,
    }
}

/// 100 m a minute and nothing else.
pub(super) fn steady(length: f64) -> pace::Input {
    let mut line = line(length, Vec::new());
    line.figures.lead_rate_m_per_min = MetresPerMinute::new(100.0).ok();
    line.figures.end_test_min = Some(Minutes::ZERO);
    line
}

fn half(answer: &Answer) -> (f64, f64) {
    (answer.through.time.p50_min.value(), answer.finished.time.p50_min.value())
}

pub(super) fn some_line() -> impl Strategy<Value = pace::Input> {
    let ground = prop::sample::select(Ground::ALL.to_vec());
    let legs = prop::collection::vec((1.0..3_000.0, ground), 1..8);
    let kinds = prop::sample::select(vec![
        (O::Road, C::OverheadLancePoles),
        (O::DirtRoad, C::Buried),
        (O::Stream, C::UnderBridge),
        (O::Railway, C::UnderRails),
        (O::Road, C::Ladder),
    ]);
    let crossings = prop::collection::vec((0.0..1.0, kinds), 0..12);
    let means = || prop::sample::select(vec![Means::Vehicle, Means::Wagon, Means::Foot]);
    let light = prop::sample::select(vec![Light::Day, Light::Night]);
    (legs, crossings, 0..9_u16, light, means(), means(), 0.0..90.0).prop_map(
        |(legs, crossings, reel_changes, light, lead_means, follow_up_means, after)| {
            let length: f64 = legs.iter().map(|(length, _)| length).sum();
            let at = |share: f64| (share * length).min(length * (1.0 - 1e-12));
            pace::Input {
                legs: legs.into_iter().map(|(l, ground)| pace::Leg { length_m: m(l), ground }).collect(),
                crossings: crossings.into_iter().map(|(s, (o, c))| crossing(at(s), o, c)).collect(),
                reel_changes,
                light,
                lead_means,
                follow_up_means,
                follow_up_after_min: min(after),
                figures: pace::Figures::default(),
            }
        },
    )
}

proptest! {
    #[test]
    fn one_team_without_spread_is_the_time_plan(line in some_line()) {
        let plan = pace::reckon(&line).unwrap();
        let answer = reckon(&asked(line)).unwrap();
        let close = |a: Minutes, b: Minutes| (a.value() - b.value()).abs() < 1e-9 * (1.0 + b.value());
        for time in [answer.through.time, answer.finished.time, answer.waiting] {
            prop_assert!(close(time.p50_min, time.p90_min) && close(time.mean_min, time.p50_min));
            prop_assert!(time.deviation_min.value() < 1e-6);
        }
        prop_assert!(close(answer.through.time.p50_min, plan.through_min), "{answer:?} {plan:?}");
        prop_assert!(close(answer.finished.time.p50_min, plan.finished_min), "{answer:?} {plan:?}");
        prop_assert!(close(answer.waiting.p50_min, plan.waiting_min), "{answer:?} {plan:?}");
        for (here, there) in answer.crossings.iter().zip(&plan.crossings) {
            prop_assert_eq!(here.crossing, there.crossing);
            prop_assert!(close(here.passed.p50_min, there.passed_min), "{here:?} {there:?}");
            prop_assert!(close(here.finished.p90_min, there.finished_min), "{here:?} {there:?}");
        }
    }

    #[test]
    fn nothing_comes_before_what_it_rests_on_and_the_same_seed_says_the_same(
        line in some_line(), teams in 1..5_u8, seed: u32, order in 0..3_usize,
    ) {
        let question = Input {
            follow_up_teams: teams,
            order: [Order::Along, Order::Nearest, Order::TrafficFirst][order],
            spread: Spread::default(),
            breaks: Some(Breaks { after_min: min(50.0), length_min: min(10.0) }),
            sun: Some(UnderTheSun {
                from: "2026-11-26T14:30:00Z".parse().unwrap(),
                place: Position::new(-4.6, 54.1).unwrap(),
            }),
            runs: 20,
            seed,
            ..asked(line)
        };
        let answer = reckon(&question).unwrap();
        prop_assert_eq!(&answer, &reckon(&question).unwrap());
        let (through, finished) = (answer.through.time, answer.finished.time);
        prop_assert!(through.p50_min <= through.p90_min && finished.p50_min <= finished.p90_min);
        prop_assert!(through.p50_min <= finished.p50_min && through.mean_min <= finished.mean_min);
        for at in &answer.crossings {
            prop_assert!(at.passed.p50_min <= at.finished.p50_min && at.finished.p90_min <= finished.p90_min);
            prop_assert!(at.passed.p90_min <= through.p90_min);
        }
    }
}

#[test]
fn independent_triangular_times_have_their_mean_and_their_variance() {
    // Twelve buried crossings of 10 min each and nothing else. Mean and variance of a triangular distribution from a to b
    // with mode c: (a + b + c) / 3 and (a^2 + b^2 + c^2 - ab - ac - bc) / 18 (Evans, Hastings, Peacock, Statistical
    // Distributions, from memory).
    let (least, most, count) = (0.5, 2.5, 12.0);
    let mut line = steady(0.0);
    line.crossings = (0..12).map(|_| crossing(0.0, O::DirtRoad, C::Buried)).collect();
    for crossing in &mut line.crossings {
        crossing.lead_min = Some(min(10.0));
        crossing.follow_up_min = Some(Minutes::ZERO);
    }
    let crossings = Range { least: Times::new(least).unwrap(), most: Times::new(most).unwrap() };
    let runs = 5_000;
    let question = Input { spread: Spread { crossings, ..Spread::NONE }, runs, ..asked(line) };
    let answer = reckon(&question).unwrap();
    let mean = count * 10.0 * (least + 1.0 + most) / 3.0;
    let squares = least * least + 1.0 + most * most - least - least * most - most;
    let variance = count * 100.0 * squares / 18.0;
    let time = answer.through.time;
    // Four standard errors: of a mean, sigma / sqrt n; of a variance of nearly normal sums, variance * sqrt (2 / n).
    let n = f64::from(runs);
    assert!((time.mean_min.value() - mean).abs() < 4.0 * (variance / n).sqrt(), "{time:?} {mean}");
    let spread = time.deviation_min.value().powi(2) - variance;
    assert!(spread.abs() < 4.0 * variance * (2.0 / n).sqrt(), "{time:?} {variance}");
    // The sum of twelve is nearly normal: its 90 % lie 1.2816 deviations above the mean (handbook table of the normal
    // distribution, from memory); the skew that is left is less than a tenth of a deviation.
    let ninety = (time.p90_min.value() - mean) / variance.sqrt();
    assert!((ninety - 1.2816).abs() < 0.1, "{ninety}");
}

#[test]
fn at_dusk_the_rest_of_the_way_is_laid_at_the_rate_of_the_night() {
    // The line is given 100 m a minute by day; on foot the built-in rates are 1.05 mph by day and 0.7 mph at night, so that
    // night is 66.67 m a minute. One hour before dusk: 6 km by day, 4 km in the first hour of the night.
    let place = Position::new(-4.6, 54.1).unwrap();
    let dusk = day(place, "2026-11-26".parse().unwrap(), Above::CivilTwilight).set.unwrap();
    let sun = Some(UnderTheSun { from: dusk - TimeDelta::hours(1), place });
    let answer = reckon(&Input { sun, ..asked(steady(10_000.0)) }).unwrap();
    assert!((half(&answer).0 - 120.0).abs() < 0.02, "{answer:?}");
    assert_eq!(answer.through.p50_at, Some(dusk + TimeDelta::hours(1)));
    assert_eq!(
        answer.light.iter().map(|change| change.light).collect::<Vec<_>>(),
        [Light::Day, Light::Night]
    );
}

#[test]
fn a_rest_comes_after_so_much_work_and_not_after_the_last() {
    // 300 min of work with 15 min after each 100: two rests, for at the third the work is done.
    let breaks = Some(Breaks { after_min: min(100.0), length_min: min(15.0) });
    let answer = reckon(&Input { breaks, ..asked(steady(30_000.0)) }).unwrap();
    assert!((half(&answer).0 - 330.0).abs() < 1e-9, "{answer:?}");
    let none = Some(Breaks { after_min: min(100.0), length_min: Minutes::ZERO });
    let answer = reckon(&Input { breaks: none, ..asked(steady(30_000.0)) }).unwrap();
    assert!((half(&answer).0 - 300.0).abs() < 1e-9, "{answer:?}");
}

/// Four crossings at the near end, an hour of follow-up work each, over which the lead team is at once.
fn four_hours() -> pace::Input {
    let mut line = steady(0.0);
    line.crossings = [O::Path, O::DirtRoad, O::Road, O::MainHighway]
        .map(|obstacle| crossing(0.0, obstacle, C::OverheadLancePoles))
        .to_vec();
    for crossing in &mut line.crossings {
        crossing.lead_min = Some(Minutes::ZERO);
        crossing.follow_up_min = Some(min(60.0));
    }
    line
}

#[test]
fn teams_share_the_queue() {
    for (teams, hours) in [(1, 4.0), (2, 2.0), (3, 2.0), (4, 1.0), (20, 1.0)] {
        let answer = reckon(&Input { follow_up_teams: teams, ..asked(four_hours()) }).unwrap();
        assert!((half(&answer).1 - 60.0 * hours).abs() < 1e-9, "{teams}");
    }
}

#[test]
fn traffic_first_makes_the_highway_safe_first_and_finishes_no_sooner() {
    let along = reckon(&Input { try_helps: true, ..asked(four_hours()) }).unwrap();
    let order = |answer: &Answer| {
        let mut order: Vec<(f64, usize)> =
            answer.crossings.iter().map(|at| (at.finished.p50_min.value(), at.crossing)).collect();
        order.sort_by(|a, b| a.0.total_cmp(&b.0));
        order.into_iter().map(|(_, number)| number).collect::<Vec<_>>()
    };
    assert_eq!(order(&along), [0, 1, 2, 3]);
    // Dirt road, road and highway: 2 + 3 + 4 hours, and the other way about 3 + 2 + 1.
    assert!((along.in_traffic.mean_min.value() - 540.0).abs() < 1e-9);
    let traffic = reckon(&Input { order: Order::TrafficFirst, ..asked(four_hours()) }).unwrap();
    assert_eq!(order(&traffic), [3, 2, 1, 0]);
    assert!((traffic.in_traffic.mean_min.value() - 360.0).abs() < 1e-9);
    let help = |altered| along.helps.iter().find(|help| help.altered == altered).unwrap();
    let order = help(Altered::AnotherOrder { order: Order::TrafficFirst });
    assert!((order.unsafe_less_min - 180.0).abs() < 1e-9 && order.finished_sooner_min.abs() < 1e-9);
    let team = help(Altered::AnotherTeam { follow_up_teams: 2 });
    assert!((team.finished_sooner_min - 120.0).abs() < 1e-9, "{team:?}");
    assert_eq!(
        along.helps.first().map(|help| help.altered),
        Some(team.altered),
        "what helps most stands first"
    );
}

#[test]
fn another_construction_is_tried_where_the_trade_allows_it_and_never_over_rails() {
    // A dirt road can be dug: 3.5 min instead of 5.5 (Corcoran 1917), and 15 instead of 30 (planning values).
    let crossings =
        vec![crossing(500.0, O::DirtRoad, C::OverheadLancePoles), crossing(800.0, O::Railway, C::UnderRails)];
    let answer = reckon(&Input { try_helps: true, ..asked(line(1_000.0, crossings)) }).unwrap();
    let others: Vec<_> = answer
        .helps
        .iter()
        .filter(|help| matches!(help.altered, Altered::AnotherConstruction { .. }))
        .collect();
    let [other] = others.as_slice() else { panic!("{others:?}") };
    let buried = Altered::AnotherConstruction {
        obstacle: O::DirtRoad,
        instead_of: C::OverheadLancePoles,
        construction: C::Buried,
        count: 1,
    };
    assert_eq!(other.altered, buried);
    assert!((other.through_sooner_min - 2.0).abs() < 1e-9, "{other:?}");
}

#[test]
fn from_the_state_only_what_is_left_is_reckoned_and_by_what_the_teams_have_shown() {
    // Half of 10 km lies; the lead team takes twice as long as planned: 5 km at 50 m a minute.
    let mut line = steady(10_000.0);
    line.figures.follow_up_rate_m_per_min = MetresPerMinute::new(1_000.0).ok();
    line.crossings = vec![
        crossing(1_000.0, O::DirtRoad, C::Buried),
        crossing(2_000.0, O::DirtRoad, C::Buried),
        crossing(4_000.0, O::DirtRoad, C::Buried),
    ];
    for crossing in &mut line.crossings {
        crossing.lead_min = Some(min(7.0));
        crossing.follow_up_min = Some(min(40.0));
    }
    let stand = |crossing, done, for_min| Standing { crossing, done, for_min: min(for_min) };
    let so_far = SoFar {
        laid_m: m(5_000.0),
        through: false,
        crossings: vec![
            stand(0, Done::Finished, 0.0),
            stand(1, Done::InHand, 30.0),
            stand(2, Done::Passed, 0.0),
        ],
        teams_at_m: Vec::new(),
        lead_times: Times::new(2.0).unwrap(),
        follow_up_times: Times::new(1.0).unwrap(),
    };
    let answer = reckon(&Input { so_far: Some(so_far.clone()), ..asked(line.clone()) }).unwrap();
    let finished: Vec<f64> = answer.crossings.iter().map(|at| at.finished.p50_min.value()).collect();
    // Ten minutes are left at the second; then 2 km at 1 km a minute, and 40 min.
    for (is, should) in finished.iter().zip([0.0, 10.0, 52.0]) {
        assert!((is - should).abs() < 1e-9, "{finished:?}");
    }
    assert!((half(&answer).0 - 100.0).abs() < 1e-9, "{answer:?}");
    assert!(answer.crossings.iter().all(|at| at.passed.p90_min == Minutes::ZERO));
    // All done but the proof.
    let done = SoFar {
        laid_m: m(10_000.0),
        through: true,
        crossings: (0..3).map(|number| stand(number, Done::Finished, 0.0)).collect(),
        teams_at_m: vec![m(9_000.0)],
        ..so_far
    };
    let answer = reckon(&Input { so_far: Some(done), try_helps: true, ..asked(line) }).unwrap();
    assert_eq!(answer.through.time.p90_min, Minutes::ZERO);
    assert!(
        (half(&answer).1 - 1.0).abs() < 1e-9,
        "a kilometre to go, and a test that takes no time: {answer:?}"
    );
    assert!(answer.helps.iter().all(|help| !matches!(help.altered, Altered::AnotherTeam { .. })));
}

#[test]
fn a_question_out_of_bounds_names_its_field() {
    let field = |alter: &dyn Fn(&mut Input)| {
        let mut question = asked(line(1_000.0, vec![crossing(500.0, O::DirtRoad, C::Buried)]));
        alter(&mut question);
        reckon(&question).unwrap_err().field().unwrap()
    };
    let so_far = || SoFar {
        laid_m: m(100.0),
        through: false,
        crossings: Vec::new(),
        teams_at_m: Vec::new(),
        lead_times: Times::new(1.0).unwrap(),
        follow_up_times: Times::new(1.0).unwrap(),
    };
    let stand = |crossing| Standing { crossing, done: Done::Passed, for_min: Minutes::ZERO };
    assert_eq!(field(&|q| q.runs = 0), "runs");
    assert_eq!(field(&|q| q.runs = 5_001), "runs");
    assert_eq!(field(&|q| q.follow_up_teams = 0), "follow_up_teams");
    assert_eq!(field(&|q| q.follow_up_teams = 21), "follow_up_teams");
    assert_eq!(field(&|q| q.spread.teams.most = Times::new(3.1).unwrap()), "spread.teams.most");
    assert_eq!(field(&|q| q.spread.laying.least = Times::ZERO), "spread.laying.least");
    assert_eq!(field(&|q| q.line.crossings[0].construction = C::Ladder), "line.crossings[0].construction");
    assert_eq!(field(&|q| q.line.crossings = vec![q.line.crossings[0]; 501]), "line.crossings");
    let short = Breaks { after_min: min(1.0), length_min: Minutes::ZERO };
    assert_eq!(field(&|q| q.breaks = Some(short)), "breaks.after_min");
    assert_eq!(field(&|q| q.so_far = Some(SoFar { laid_m: m(1_001.0), ..so_far() })), "so_far.laid_m");
    let beyond = || SoFar { crossings: vec![stand(1)], ..so_far() };
    assert_eq!(field(&|q| q.so_far = Some(beyond())), "so_far.crossings[0].crossing");
    let from: DateTime<Utc> = "1900-12-31T00:00:00Z".parse().unwrap();
    let sun = UnderTheSun { from, place: Position::new(0.0, 0.0).unwrap() };
    assert_eq!(field(&|q| q.sun = Some(sun)), "sun.from");
    // 500 km on foot over wet ground take weeks: the line is to be divided.
    let wet = pace::Leg { length_m: m(500_000.0), ground: Ground::Wet };
    let wet = |q: &mut Input| {
        q.line.legs = vec![wet];
        q.line.figures.lead_rate_m_per_min = MetresPerMinute::new(1.0).ok();
    };
    assert!(field(&wet).starts_with("line"));
}
