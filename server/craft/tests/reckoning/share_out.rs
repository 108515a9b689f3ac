//! The share-out of the queue: against every share-out there is, on small cases, and on larger ones against OR-tools'
//! vehicle routing in tests/reference/test_share_out.py.

use laywire_craft::{
    road::Travel,
    share_out::{Answer, Question, share_out},
    units::{Metres, Minutes},
};
use proptest::prelude::*;

fn minutes(value: f64) -> Minutes {
    Minutes::new(value).unwrap()
}

/// Places on a plane, a minute for each step.
fn question(teams: &[(f64, f64, f64)], crossings: &[(f64, f64, f64)]) -> Question {
    let places: Vec<(f64, f64)> = teams.iter().chain(crossings).map(|&(x, y, _)| (x, y)).collect();
    let way = |a: (f64, f64), b: (f64, f64)| {
        let long = (a.0 - b.0).hypot(a.1 - b.1);
        Some(Travel { travel_min: minutes(long), distance_m: Metres::new(long * 100.0).unwrap() })
    };
    Question {
        ready: teams.iter().map(|team| minutes(team.2)).collect(),
        work: crossings.iter().map(|crossing| minutes(crossing.2)).collect(),
        travel: places.iter().map(|&a| places.iter().map(|&b| way(a, b)).collect()).collect(),
    }
}

/// Every list of the crossings with every cut of it among the teams: the soonest end.
fn soonest(question: &Question) -> f64 {
    fn go(question: &Question, team: usize, at: usize, now: f64, left: u32) -> f64 {
        if left == 0 {
            return 0.0;
        }
        let mut best = f64::INFINITY;
        for crossing in 0..question.work.len() {
            if left & (1 << crossing) != 0 {
                let place = question.ready.len() + crossing;
                let Some(leg) = question.travel[at][place] else { continue };
                let end = now + leg.travel_min.value() + question.work[crossing].value();
                best = best.min(end.max(go(question, team, place, end, left & !(1 << crossing))));
            }
        }
        if team + 1 < question.ready.len() {
            best = best.min(go(question, team + 1, team + 1, question.ready[team + 1].value(), left));
        }
        best
    }
    go(question, 0, 0, question.ready[0].value(), (1 << question.work.len()) - 1)
}

fn holds(question: &Question, answer: &Answer) {
    let mut seen: Vec<usize> = answer.rounds.iter().flatten().map(|stop| stop.crossing).collect();
    seen.extend(&answer.not_reached);
    seen.sort_unstable();
    assert_eq!(seen, (0..question.work.len()).collect::<Vec<_>>(), "each crossing once");
    assert_eq!(answer.rounds.len(), question.ready.len());
    for (team, round) in answer.rounds.iter().enumerate() {
        let (mut at, mut now) = (team, question.ready[team]);
        for stop in round {
            let place = question.ready.len() + stop.crossing;
            assert_eq!(Some(stop.travel), question.travel[at][place]);
            assert_eq!(stop.begins, now + stop.travel.travel_min);
            assert_eq!(stop.ends, stop.begins + question.work[stop.crossing]);
            (at, now) = (place, stop.ends);
        }
    }
    let last = answer.rounds.iter().flatten().map(|stop| stop.ends).reduce(Minutes::max);
    assert_eq!(answer.ends, last);
}

fn spot() -> impl Strategy<Value = (f64, f64, f64)> {
    (0.0..60.0, 0.0..60.0, 5.0..40.0)
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(24))]

    #[test]
    fn no_other_share_out_of_a_small_queue_ends_sooner(
        teams in prop::collection::vec(spot(), 1..=3),
        crossings in prop::collection::vec(spot(), 1..=6),
    ) {
        let question = question(&teams, &crossings);
        let answer = share_out(&question);
        holds(&question, &answer);
        let least = soonest(&question);
        prop_assert!((answer.ends.unwrap().value() - least).abs() < 1e-6, "{:?} {least}", answer.ends);
    }
}

#[test]
fn two_teams_on_two_sides_of_a_town_each_take_their_side() {
    let question = question(
        &[(0.0, 0.0, 0.0), (100.0, 0.0, 0.0)],
        &[(10.0, 0.0, 20.0), (90.0, 0.0, 20.0), (20.0, 0.0, 20.0), (80.0, 0.0, 20.0)],
    );
    let answer = share_out(&question);
    let numbers: Vec<Vec<usize>> =
        answer.rounds.iter().map(|round| round.iter().map(|stop| stop.crossing).collect()).collect();
    assert_eq!(numbers, [vec![0, 2], vec![1, 3]]);
    // 10 there, 20 at work, 10 on, 20 at work.
    assert_eq!(answer.ends, Some(minutes(60.0)));
    assert_eq!(share_out(&question), answer, "the same answer each time");
}

#[test]
fn a_team_that_is_busy_gets_less() {
    let spots = [(10.0, 0.0, 20.0), (10.0, 1.0, 20.0), (10.0, 2.0, 20.0)];
    let answer = share_out(&question(&[(0.0, 0.0, 30.0), (0.0, 0.0, 0.0)], &spots));
    assert_eq!(answer.rounds.iter().map(Vec::len).collect::<Vec<_>>(), [1, 2]);
}

#[test]
fn an_end_that_is_sooner_by_less_than_a_second_is_worth_half_an_hours_way() {
    // The first team alone: 40 and 20 minutes at one place, no way. The second is there after 9.99 and 30.
    let question = question(&[(0.0, 0.0, 0.0), (30.0, 0.0, 9.99)], &[(0.0, 0.0, 40.0), (0.0, 0.0, 20.0)]);
    assert_eq!(share_out(&question).ends, Some(minutes(59.99)));
}

#[test]
fn what_no_road_reaches_is_named_and_the_rest_is_shared_out() {
    let mut question = question(&[(0.0, 0.0, 0.0)], &[(10.0, 0.0, 5.0), (20.0, 0.0, 5.0)]);
    for row in &mut question.travel {
        row[2] = None;
    }
    let answer = share_out(&question);
    holds(&question, &answer);
    assert_eq!(answer.not_reached, [1]);
    assert_eq!(answer.ends, Some(minutes(15.0)));
}

#[test]
fn nothing_to_do_ends_at_no_time() {
    let answer = share_out(&question(&[(0.0, 0.0, 0.0)], &[]));
    assert_eq!((answer.ends, answer.rounds, answer.not_reached), (None, vec![Vec::new()], Vec::new()));
}

#[test]
fn the_most_that_may_be_asked_is_shared_out_whole() {
    let spot = |n: u32| (f64::from(n * 37 % 61), f64::from(n * 53 % 59), 5.0 + f64::from(n % 7));
    let teams: Vec<_> = (0..10).map(|n| spot(n + 200)).collect();
    let crossings: Vec<_> = (0..100).map(spot).collect();
    let question = question(&teams, &crossings);
    holds(&question, &share_out(&question));
}
