//! Several lines in one forecast, against each line alone, days worked by hand and closed forms.

use laywire_craft::bounds::NoAnswer;
use laywire_craft::construction::Construction as C;
use laywire_craft::forecast::{
    Altered, Breaks, Done, Help, Input, LeadTeams, LineTimes, MOST_LINES, OneOf, Order, Range, Several,
    SeveralAnswer, SoFar, Spread, Standing, reckon, reckon_several,
};
use laywire_craft::geodesy::Position;
use laywire_craft::ids::LineId;
use laywire_craft::line::Designation;
use laywire_craft::obstacle::Obstacle as O;
use laywire_craft::pace::{self, Means};
use laywire_craft::profile::Profile;
use laywire_craft::units::{Metres, MetresPerMinute, Minutes, Times};
use proptest::prelude::*;
use uuid::Uuid;

use super::forecast::{asked, crossing, min, some_line, steady};

fn one_of(number: u32, work: pace::Input) -> OneOf {
    OneOf {
        line: LineId(Uuid::from_u128(u128::from(number))),
        designation: Designation::new(&format!("L-{number}")).unwrap(),
        work,
        so_far: None,
        near_end: None,
    }
}

fn several(lines: impl IntoIterator<Item = pace::Input>, follow_up_teams: u8) -> Several {
    let of = asked(steady(0.0));
    Several {
        lines: (1..).zip(lines).map(|(number, work)| one_of(number, work)).collect(),
        lead_teams: LeadTeams::Each,
        follow_up_teams,
        order: of.order,
        spread: of.spread,
        sun: of.sun,
        breaks: of.breaks,
        runs: of.runs,
        seed: of.seed,
        try_helps: of.try_helps,
    }
}

fn halves(answer: &SeveralAnswer) -> Vec<(f64, f64)> {
    let half = |line: &LineTimes| (line.through.time.p50_min.value(), line.finished.time.p50_min.value());
    answer.lines.iter().map(half).collect()
}

fn all(answer: &SeveralAnswer) -> (f64, f64) {
    (answer.all.through.time.p50_min.value(), answer.all.finished.time.p50_min.value())
}

#[track_caller]
fn same(is: &[(f64, f64)], should: &[(f64, f64)]) {
    let close = |(a, b): (&(f64, f64), &(f64, f64))| (a.0 - b.0).abs() < 1e-9 && (a.1 - b.1).abs() < 1e-9;
    assert!(is.len() == should.len() && is.iter().zip(should).all(close), "{is:?} is not {should:?}");
}

/// A kilometre, laid and followed at 100 m a minute, with a dirt road at 400 m and one at 800 m: two minutes of the lead
/// team's and twenty of the follow-up team's. By hand: the lead team is past them at 6 and 12 min and through at 14. The
/// follow-up team is there at 4 min, waits until 6, has finished at 26, is at the second at 30, has finished it at 50 and is
/// at the far end at 52.
fn kilometre() -> pace::Input {
    let mut line = steady(1_000.0);
    line.figures.follow_up_rate_m_per_min = MetresPerMinute::new(100.0).ok();
    line.crossings = [400.0, 800.0].map(|at| crossing(at, O::DirtRoad, C::Buried)).to_vec();
    for crossing in &mut line.crossings {
        crossing.lead_min = Some(min(2.0));
        crossing.follow_up_min = Some(min(20.0));
    }
    line
}

/// Crossings at the near end, an hour of follow-up work each, over which the lead team is at once.
fn hours(obstacles: &[O]) -> pace::Input {
    let mut line = steady(0.0);
    line.crossings = obstacles.iter().map(|&at| crossing(0.0, at, C::OverheadLancePoles)).collect();
    for crossing in &mut line.crossings {
        crossing.lead_min = Some(Minutes::ZERO);
        crossing.follow_up_min = Some(min(60.0));
    }
    line
}

proptest! {
    #[test]
    fn one_line_among_several_is_its_own_forecast_to_the_last_figure(
        line in some_line(),
        follow_up_teams in 1..5_u8,
        order in prop::sample::select(vec![Order::Along, Order::Nearest, Order::TrafficFirst]),
        lead_teams in prop::sample::select(vec![LeadTeams::Each, LeadTeams::One]),
        rests in any::<bool>(),
    ) {
        let breaks = rests.then(|| Breaks { after_min: min(50.0), length_min: min(10.0) });
        let (spread, runs, seed, try_helps) = (Spread::default(), 20, 7, true);
        let alone = asked(line.clone());
        let own = reckon(&Input { follow_up_teams, order, spread, breaks, runs, seed, try_helps, ..alone });
        let own = own.unwrap();
        let several = several([line], follow_up_teams);
        let asked = Several { lead_teams, order, spread, breaks, runs, seed, try_helps, ..several };
        let answer = reckon_several(&asked).unwrap();
        let [only] = answer.lines.as_slice() else { panic!("{answer:?}") };
        prop_assert_eq!((only.through, only.finished), (own.through, own.finished));
        prop_assert_eq!((answer.all.through, answer.all.finished), (own.through, own.finished));
        prop_assert_eq!((answer.waiting, answer.in_traffic), (own.waiting, own.in_traffic));
        prop_assert_eq!(answer.helps, own.helps);
        prop_assert_eq!(answer.cautions, own.cautions);
    }

    #[test]
    fn equal_lines_with_teams_enough_are_each_line_alone(line in some_line(), lines in 2..5_u8) {
        let own = reckon(&asked(line.clone())).unwrap();
        let answer = reckon_several(&several(vec![line; usize::from(lines)], lines)).unwrap();
        for only in &answer.lines {
            prop_assert_eq!((only.through, only.finished), (own.through, own.finished));
        }
        prop_assert_eq!((answer.all.through, answer.all.finished), (own.through, own.finished));
    }

    #[test]
    fn no_line_of_several_is_finished_before_it_is_through_nor_after_all(
        lines in prop::collection::vec(some_line(), 2..4),
        follow_up_teams in 1..4_u8,
        order in prop::sample::select(vec![Order::Along, Order::Nearest, Order::TrafficFirst]),
    ) {
        let asked = Several { order, spread: Spread::default(), ..several(lines, follow_up_teams) };
        let answer = reckon_several(&asked).unwrap();
        for line in &answer.lines {
            prop_assert!(Minutes::ZERO < line.through.time.p50_min);
            prop_assert!(line.through.time.p50_min <= line.finished.time.p50_min);
            prop_assert!(line.through.time.p90_min <= answer.all.through.time.p90_min);
            prop_assert!(line.finished.time.p90_min <= answer.all.finished.time.p90_min);
        }
        prop_assert_eq!(&answer, &reckon_several(&asked).unwrap());
    }
}

#[test]
fn two_lines_with_a_follow_up_team_each_are_ready_together_and_with_one_for_both_one_after_the_other() {
    let lines = || [kilometre(), kilometre()];
    let two = reckon_several(&several(lines(), 2)).unwrap();
    same(&halves(&two), &[(14.0, 52.0), (14.0, 52.0)]);
    same(&[all(&two)], &[(14.0, 52.0)]);
    // The first proved at 52 min, ten minutes back to the near end, 4 to the road, 20, 4 to the next, 20, and 2.
    let one = reckon_several(&several(lines(), 1)).unwrap();
    same(&halves(&one), &[(14.0, 52.0), (14.0, 112.0)]);
    same(&[all(&one)], &[(14.0, 112.0)]);
}

#[test]
fn near_ends_that_lie_apart_are_a_way_of_their_own() {
    let mut asked = several([kilometre(), kilometre()], 1);
    // A hundredth of a degree of the equator: its radius of 6,378,137 m (WGS 84) times the angle.
    for (line, longitude) in asked.lines.iter_mut().zip([0.0, 0.01]) {
        line.near_end = Position::new(longitude, 0.0).ok();
    }
    let apart = 6_378_137.0 * 0.01_f64.to_radians();
    let answer = reckon_several(&asked).unwrap();
    let (first, second) = (halves(&answer)[0], halves(&answer)[1]);
    same(&[first], &[(14.0, 52.0)]);
    assert!((second.1 - 112.0 - apart / 100.0).abs() < 1e-6, "{second:?}");
}

#[test]
fn one_lead_team_lays_the_lines_one_after_the_other() {
    let asked = Several { lead_teams: LeadTeams::One, ..several([kilometre(), kilometre()], 2) };
    let answer = reckon_several(&asked).unwrap();
    // Back over the kilometre at the rate at which wire is followed by those means.
    let back = 1_000.0 / Profile::field().pace.following_rate(Means::Foot).value.value();
    let second = 14.0 + back;
    // Both follow-up teams share the first line: the one has finished the first road at 26 min, the other the second at 32, when
    // the one is at the far end and proves it. From there it is 14 min to the first road of the second line, and from the second
    // road 16 to the second: both are passed by then, or are waited for.
    let roads = (46.0_f64.max(second + 6.0) + 20.0, 48.0_f64.max(second + 12.0) + 20.0);
    let finished = (roads.0 + 6.0).min(roads.1 + 2.0).max(roads.0).max(roads.1);
    same(&halves(&answer), &[(14.0, 32.0), (second + 14.0, finished)]);
    same(&[all(&answer)], &[(second + 14.0, finished)]);
}

#[test]
fn a_team_that_has_finished_its_line_helps_on_the_next() {
    let lines = || [hours(&[O::DirtRoad]), hours(&[O::DirtRoad; 3])];
    let answer = reckon_several(&several(lines(), 2)).unwrap();
    same(&halves(&answer), &[(0.0, 60.0), (0.0, 120.0)]);
    let answer = reckon_several(&several(lines(), 4)).unwrap();
    same(&halves(&answer), &[(0.0, 60.0), (0.0, 60.0)]);
}

#[test]
fn traffic_first_makes_the_highway_of_any_line_safe_before_the_roads_of_all() {
    let lines = [hours(&[O::Path, O::Road]), hours(&[O::DirtRoad, O::MainHighway])];
    let along = reckon_several(&several(lines.clone(), 1)).unwrap();
    // Path, road, dirt road, highway: road 2 h, dirt road 3 h and highway 4 h lie in traffic.
    assert!((along.in_traffic.mean_min.value() - 540.0).abs() < 1e-9, "{along:?}");
    let first = Several { order: Order::TrafficFirst, ..several(lines, 1) };
    // Highway 1 h, road 2 h, dirt road 3 h, and the path last.
    let first = reckon_several(&first).unwrap();
    assert!((first.in_traffic.mean_min.value() - 360.0).abs() < 1e-9, "{first:?}");
    same(&[all(&along), all(&first)], &[(0.0, 240.0), (0.0, 240.0)]);
}

fn tried(asked: Several) -> Vec<Help> {
    reckon_several(&Several { try_helps: true, ..asked }).unwrap().helps
}

fn with(helps: &[Help], altered: Altered) -> Help {
    *helps.iter().find(|help| help.altered == altered).unwrap_or_else(|| panic!("{altered:?} in {helps:?}"))
}

#[test]
fn what_helps_most_with_all_lines_stands_first_and_is_what_it_comes_to_when_it_is_done() {
    // Worked by hand above: highway, road and dirt road lie 3 h shorter in traffic if they come first, and all is finished
    // in 4 h all the same; a second team halves that.
    let lines = [hours(&[O::Path, O::Road]), hours(&[O::DirtRoad, O::MainHighway])];
    let helps = tried(several(lines.clone(), 1));
    let order = with(&helps, Altered::AnotherOrder { order: Order::TrafficFirst });
    assert!(
        (order.unsafe_less_min - 180.0).abs() < 1e-9 && order.finished_sooner_min.abs() < 1e-9,
        "{order:?}"
    );
    let team = with(&helps, Altered::AnotherTeam { follow_up_teams: 2 });
    assert!((team.finished_sooner_min - 120.0).abs() < 1e-9, "{team:?}");
    assert_eq!(helps[0], team);
    let done = reckon_several(&several(lines, 2)).unwrap();
    assert_eq!((team.through, team.finished), (done.all.through.time, done.all.finished.time));
    // One on the first line and four on the second: two teams take 3 h, for one hour nobody has but the one; three take 2 h.
    let helps = tried(several([hours(&[O::DirtRoad]), hours(&[O::DirtRoad; 4])], 2));
    let team = with(&helps, Altered::AnotherTeam { follow_up_teams: 3 });
    assert!((team.finished_sooner_min - 60.0).abs() < 1e-9, "{team:?}");
}

#[test]
fn setting_out_at_once_is_tried_where_no_line_has_the_teams_out_already() {
    let line = |after: f64| {
        let mut line = hours(&[O::DirtRoad]);
        line.follow_up_after_min = min(after);
        line
    };
    let helps = tried(several([line(60.0), line(90.0)], 2));
    // Out after an hour, both are finished after two.
    assert!((with(&helps, Altered::AtOnce).finished_sooner_min - 60.0).abs() < 1e-9, "{helps:?}");
    let helps = tried(several([line(0.0), line(90.0)], 2));
    assert!(helps.iter().all(|help| help.altered != Altered::AtOnce), "{helps:?}");
}

#[test]
fn another_construction_is_tried_on_all_lines_at_once_and_never_over_rails_nor_where_work_is_begun() {
    // Corcoran 1917, p. 820: 3.5 min for a buried crossing, 5.5 for two poles, the means of what he gives.
    let line = || {
        let mut line = steady(1_000.0);
        let dirt = crossing(500.0, O::DirtRoad, C::OverheadLancePoles);
        line.crossings = vec![dirt, crossing(800.0, O::Railway, C::UnderRails)];
        line
    };
    let others = |asked: Several| {
        let mut helps = tried(asked);
        helps.retain(|help| matches!(help.altered, Altered::AnotherConstruction { .. }));
        helps
    };
    let buried = |count| Altered::AnotherConstruction {
        obstacle: O::DirtRoad,
        instead_of: C::OverheadLancePoles,
        construction: C::Buried,
        count,
    };
    let helps = others(several([line(), line()], 2));
    let [both] = helps.as_slice() else { panic!("{helps:?}") };
    assert_eq!(both.altered, buried(2));
    assert!((both.through_sooner_min - 2.0).abs() < 1e-9, "{both:?}");
    // Over the first line's dirt road the wire is already.
    let mut begun = several([line(), line()], 2);
    begun.lines[0].so_far = Some(SoFar {
        laid_m: Metres::new(600.0).unwrap(),
        through: false,
        crossings: vec![Standing { crossing: 0, done: Done::Passed, for_min: Minutes::ZERO }],
        teams_at_m: Vec::new(),
        lead_times: Times::new(1.0).unwrap(),
        follow_up_times: Times::new(1.0).unwrap(),
    });
    let helps = others(begun);
    let [other] = helps.as_slice() else { panic!("{helps:?}") };
    assert_eq!(other.altered, buried(1));
}

#[test]
fn many_lines_are_compared_on_the_first_of_their_days_so_that_it_takes_no_longer_than_with_one() {
    // All crossings but the last of each line are finished.
    let mut line = steady(1_000.0);
    line.crossings = vec![crossing(500.0, O::DirtRoad, C::OverheadLancePoles); 400];
    let finished = |crossing| Standing { crossing, done: Done::Finished, for_min: Minutes::ZERO };
    let so_far = SoFar {
        laid_m: Metres::new(600.0).unwrap(),
        through: false,
        crossings: (0..399).map(finished).collect(),
        teams_at_m: Vec::new(),
        lead_times: Times::new(1.0).unwrap(),
        follow_up_times: Times::new(1.0).unwrap(),
    };
    let helps = |runs| {
        let mut asked =
            Several { spread: Spread::default(), runs, ..several([line.clone(), line.clone()], 1) };
        asked.lines.iter_mut().for_each(|line| line.so_far = Some(so_far.clone()));
        tried(asked)
    };
    // 1,000 runs of 500 crossings looked through for each are 390 of 800.
    assert_eq!(helps(625), helps(390));
    assert_ne!(helps(390), helps(300));
}

#[test]
fn the_lead_teams_of_two_lines_have_chances_of_their_own() {
    // Only the teams spread, so that a line is through in 100 min times a triangular figure from 0.5 over 1 to 2. The later of two
    // independent ones is at its median where each is with the chance of the root of a half (order statistics; triangular
    // distribution: Evans, Hastings, Peacock, Statistical Distributions, from memory).
    let teams = Range { least: Times::new(0.5).unwrap(), most: Times::new(2.0).unwrap() };
    let spread = Spread { teams, ..Spread::NONE };
    let asked = Several { spread, runs: 5_000, ..several([steady(10_000.0), steady(10_000.0)], 2) };
    let answer = reckon_several(&asked).unwrap();
    let quantile = |chance: f64| 100.0 * (2.0 - ((1.0 - chance) * 1.5_f64).sqrt());
    // Six standard errors of a median of 5,000.
    assert!((all(&answer).0 - quantile(0.5_f64.sqrt())).abs() < 3.5, "{answer:?}");
    for (through, _) in halves(&answer) {
        assert!((through - quantile(0.5)).abs() < 3.5, "{answer:?}");
    }
}

#[test]
fn several_lines_out_of_bounds_are_refused_by_field_or_by_line() {
    let refused = |alter: &dyn Fn(&mut Several)| {
        let mut asked = several([kilometre(), kilometre()], 2);
        alter(&mut asked);
        let error = reckon_several(&asked).unwrap_err();
        (error.field(), error.to_string())
    };
    let field = |alter: &dyn Fn(&mut Several)| refused(alter).0.unwrap();
    assert_eq!(field(&|q| q.lines.clear()), "lines");
    assert_eq!(field(&|q| q.lines = vec![q.lines[0].clone(); MOST_LINES + 1]), "lines");
    assert_eq!(field(&|q| q.follow_up_teams = 0), "follow_up_teams");
    assert_eq!(field(&|q| q.runs = 5_001), "runs");
    let crossings = |count| vec![crossing(500.0, O::DirtRoad, C::Buried); count];
    let many = |q: &mut Several| q.lines.iter_mut().for_each(|line| line.work.crossings = crossings(400));
    assert_eq!(field(&|q| (many(q), q.runs = 626).1), "runs");
    let too_many = |q: &mut Several| {
        q.lines.push(q.lines[0].clone());
        many(q);
    };
    assert_eq!(field(&too_many), "lines: their crossings together");
    let (none, why) = refused(&|q| q.lines[1].work.crossings = crossings(501));
    assert_eq!(none, None);
    assert!(why.starts_with("line L-2: line.crossings has 501 entries"), "{why}");
}
