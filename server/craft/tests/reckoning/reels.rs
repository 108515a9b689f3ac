//! The reel plan against every choice and order there is and against lines worked by hand.

use laywire_craft::bounds::{NoAnswer, OutOfBounds};
use laywire_craft::reels::{Answer, Class, Input, Outcome, Plan, Reason, Reel, Stretch, reckon};
use laywire_craft::text::Name;
use laywire_craft::units::Metres;
use proptest::prelude::*;

fn metres(value: f64) -> Metres {
    Metres::new(value).unwrap()
}

fn reel(left: f64) -> Reel {
    Reel { label: Name::new("reel").unwrap(), left_m: metres(left), wire: None, class: Class::A }
}

fn stretch(from: f64, to: f64) -> Stretch {
    Stretch { from_m: metres(from), to_m: metres(to), what: None }
}

fn line(length: f64, no_splice: &[(f64, f64)], reels: &[f64]) -> Input {
    Input {
        length_m: metres(length),
        no_splice: no_splice.iter().map(|&(from, to)| stretch(from, to)).collect(),
        reels: reels.iter().map(|&left| reel(left)).collect(),
        wire: None,
        class_b: false,
        ends_m: Some(Metres::ZERO),
    }
}

fn planned(answer: &Answer) -> &Plan {
    match &answer.outcome {
        Outcome::Planned(plan) => plan,
        Outcome::Short(short) => panic!("{short:?}"),
    }
}

/// What must hold of any plan, whoever made it.
fn holds(input: &Input, plan: &Plan) {
    let mut at = Metres::ZERO;
    let mut used = vec![false; input.reels.len()];
    for (number, piece) in plan.pieces.iter().enumerate() {
        assert!(!std::mem::replace(&mut used[piece.reel], true), "a reel is begun once");
        assert_eq!(piece.from_m, at, "pieces follow one another");
        assert!(piece.to_m > piece.from_m);
        let left = input.reels[piece.reel].left_m;
        let ends = input.ends_m.unwrap_or(metres(1.0));
        assert!(
            piece.to_m - piece.from_m + ends <= left + metres(1e-6),
            "no more than is on the reel, its ends taken off"
        );
        assert!(((left - (piece.to_m - piece.from_m)) - piece.rest_m).value().abs() < 1e-6);
        if number + 1 < plan.pieces.len() {
            for s in &input.no_splice {
                assert!(
                    !(s.from_m < piece.to_m && piece.to_m < s.to_m),
                    "a splice in {s:?} at {}",
                    piece.to_m
                );
            }
        }
        at = piece.to_m;
    }
    assert_eq!(at, input.length_m, "the plan reaches the end");
    assert_eq!(plan.splices + 1, plan.pieces.len());
}

#[test]
fn five_miles_at_twenty_percent_slack_are_six_reels_of_a_mile() {
    // A reel count worked by hand: 5.0 mi and 20 % slack (SS0444 p. 23) are 6.0 mi, six 1-mile reels, five splices.
    let answer = reckon(&line(5.0 * 1.2 * 1609.344, &[], &[1610.0; 9])).unwrap();
    let plan = planned(&answer);
    assert_eq!((plan.pieces.len(), plan.splices), (6, 5));
    assert!(plan.fewest_proved && plan.least_rest_proved);
}

#[test]
fn a_splice_never_falls_inside_a_stream_span() {
    let input = line(3000.0, &[(980.0, 1020.0), (1990.0, 2030.0)], &[1000.0, 1000.0, 1000.0, 1000.0]);
    let plan = reckon(&input).unwrap();
    let plan = planned(&plan);
    holds(&input, plan);
    // By hand: 980, then 1,980, then 2,980: the third reel is 20 m too short, so it takes a fourth.
    assert_eq!(plan.splices, 3);
    assert_eq!(plan.pieces[0].stopped_by, Some(0));
    assert_eq!(plan.pieces[0].rest_m, metres(20.0));
    assert_eq!(plan.pieces[1].stopped_by, None, "the second is run out");
}

#[test]
fn fewest_splices_come_before_the_least_rest() {
    // One long reel leaves 500 m; two short ones would leave nothing.
    let input = line(1000.0, &[], &[500.0, 1500.0, 500.0]);
    let answer = reckon(&input).unwrap();
    let plan = planned(&answer);
    assert_eq!((plan.splices, plan.rest_m, plan.pieces[0].reel), (0, metres(500.0), 1));
}

#[test]
fn what_is_missing_is_said_and_is_enough_and_no_less_is() {
    let cases = [
        // All together 100 m too short.
        (line(1100.0, &[], &[600.0, 400.0]), 100.0),
        // A culvert of 700 m, and no reel that long: by hand, 100 m, 700 m, 200 m to lay, and the 600 m do the others.
        (line(1000.0, &[(100.0, 800.0)], &[600.0, 600.0]), 700.0),
        // Wire enough, but a span in the middle: by hand, 450 m to the span, 450 m, and 100 m over.
        (line(1000.0, &[(450.0, 550.0)], &[500.0, 500.0]), 50.0),
        // Found by chance where a search that is not deep misses it; by trying every order.
        (
            line(
                228.0,
                &[(0.0, 21.0), (21.0, 54.0), (56.0, 65.0), (67.0, 113.0), (115.0, 174.0), (175.0, 228.0)],
                &[49.0, 28.0, 80.0, 20.0, 49.0],
            ),
            53.0,
        ),
    ];
    for (input, missing) in cases {
        let Outcome::Short(short) = reckon(&input).unwrap().outcome else { panic!("{input:?}") };
        assert!(short.proved);
        let with = |more: f64| {
            let mut input = input.clone();
            input.reels.push(reel(more));
            matches!(reckon(&input).unwrap().outcome, Outcome::Planned(_))
        };
        assert!(with(short.missing_m.value()) && !with(short.missing_m.value() - 1.0), "{short:?}");
        assert_eq!(short.missing_m, metres(missing), "{}", short.why);
    }
}

#[test]
fn the_reason_is_the_one_that_applies() {
    let reason = |input: &Input| match reckon(input).unwrap().outcome {
        Outcome::Short(short) => short.reason,
        Outcome::Planned(plan) => panic!("{plan:?}"),
    };
    assert_eq!(reason(&line(500.0, &[], &[])), Reason::TooLittle { by_m: metres(500.0) });
    assert_eq!(
        reason(&line(1000.0, &[(100.0, 800.0)], &[600.0, 600.0])),
        Reason::NoReelSpans {
            from_m: metres(100.0),
            to_m: metres(800.0),
            longest_m: metres(600.0),
            stretches: 1
        }
    );
    // Two stretches that overlap are as one.
    assert_eq!(
        reason(&line(1000.0, &[(400.0, 800.0), (100.0, 500.0)], &[600.0, 600.0])),
        Reason::NoReelSpans {
            from_m: metres(100.0),
            to_m: metres(800.0),
            longest_m: metres(600.0),
            stretches: 1
        }
    );
    assert_eq!(
        reason(&line(1000.0, &[(450.0, 550.0)], &[500.0, 500.0])),
        Reason::SplicesForbidden { reach_m: metres(950.0) }
    );
}

#[test]
fn reels_that_may_not_be_taken_are_set_aside_with_the_reason() {
    let mut input = line(900.0, &[], &[1000.0, 1000.0, 1000.0, 0.4]);
    input.ends_m = None;
    input.wire = Some(Name::new("light").unwrap());
    input.reels[0].wire = Some(Name::new("heavy").unwrap());
    for number in 1..4 {
        input.reels[number].wire.clone_from(&input.wire);
    }
    input.reels[1].class = Class::B;
    let answer = reckon(&input).unwrap();
    assert_eq!(planned(&answer).pieces[0].reel, 2);
    assert_eq!(answer.at_hand_m, metres(999.0), "its ends taken off");
    let why: Vec<_> = answer.set_aside.iter().map(|aside| (aside.reel, aside.why)).collect();
    assert_eq!(
        why,
        [
            (0, "another wire"),
            (1, "Class B: for training and the rear"),
            (3, "nothing left on it but its ends")
        ]
    );
    input.class_b = true;
    assert_eq!(reckon(&input).unwrap().at_hand_m, metres(1998.0));
}

#[test]
fn five_miles_with_a_fifth_of_slack_take_six_reels_of_a_mile() {
    // By hand from SS0444 p. 23 (about 20 % of slack) and the mile that wire is issued in (SS0440 p. 11, table 1-1): 6 miles of
    // wire, 6 reels and 5 splices between them.
    let mile = 1609.344;
    // A whole metre more than a mile each: what is left on a reel is taken in whole metres.
    let answer = reckon(&line(5.0 * mile * 1.2, &[], &[1610.0; 8])).unwrap();
    let plan = planned(&answer);
    assert_eq!((plan.pieces.len(), plan.splices), (6, 5));
    assert!(plan.fewest_proved);
}

#[test]
fn a_figure_out_of_range_is_refused_by_name() {
    let refused = |change: &dyn Fn(&mut Input)| {
        let mut input = line(1000.0, &[(1.0, 2.0)], &[1000.0]);
        change(&mut input);
        reckon(&input).unwrap_err()
    };
    let field = |error: &OutOfBounds| error.field().unwrap();
    assert_eq!(field(&refused(&|i| i.length_m = metres(0.5))), "length_m");
    assert_eq!(field(&refused(&|i| i.length_m = metres(200_001.0))), "length_m");
    assert_eq!(field(&refused(&|i| i.reels[0].left_m = metres(-1.0))), "reels[0].left_m");
    assert_eq!(field(&refused(&|i| i.no_splice[0].to_m = metres(0.5))), "no_splice[0].to_m");
    assert_eq!(field(&refused(&|i| i.no_splice[0].to_m = metres(1000.5))), "no_splice[0].to_m");
    assert_eq!(field(&refused(&|i| i.no_splice[0].from_m = metres(-0.5))), "no_splice[0].from_m");
    assert_eq!(field(&refused(&|i| i.ends_m = Some(metres(101.0)))), "ends_m");
    assert_eq!(
        refused(&|i| i.reels = vec![i.reels[0].clone(); 501]).to_string(),
        "reels has 501 entries; give 0 to 500"
    );
    assert_eq!(
        refused(&|i| i.reels[0].left_m = metres(20_001.0)).to_string(),
        "reels[0].left_m is 20001; give a number from 0 to 20000"
    );
}

/// Fewest reels and least sum, by trying every choice in every order and at every place where a reel may end.
fn by_trying_everything(length: usize, free: &[bool], reels: &[usize]) -> Option<(usize, usize)> {
    fn go(
        at: usize,
        length: usize,
        free: &[bool],
        reels: &mut Vec<usize>,
        used: (usize, usize),
        best: &mut Option<(usize, usize)>,
    ) {
        for number in 0..reels.len() {
            let taken = reels.remove(number);
            let now = (used.0 + 1, used.1 + taken);
            if at + taken >= length {
                if best.is_none_or(|best| now < best) {
                    *best = Some(now);
                }
            } else {
                for to in (at + 1..=at + taken).filter(|&to| free[to]) {
                    go(to, length, free, reels, now, best);
                }
            }
            reels.insert(number, taken);
        }
    }
    let mut best = None;
    go(0, length, free, &mut reels.to_vec(), (0, 0), &mut best);
    best
}

/// The same, each reel run out as far as it may go; long lines are done in time with that alone.
fn by_every_order(length: usize, free: &[bool], reels: &[usize]) -> Option<(usize, usize)> {
    fn go(
        at: usize,
        free: &[bool],
        reels: &mut Vec<usize>,
        used: (usize, usize),
        best: &mut Option<(usize, usize)>,
    ) {
        for number in 0..reels.len() {
            let taken = reels.remove(number);
            let now = (used.0 + 1, used.1 + taken);
            let to = (at + taken).min(free.len() - 1);
            let to = (at..=to).rev().find(|&to| free[to]).unwrap();
            if to == free.len() - 1 {
                if best.is_none_or(|best| now < best) {
                    *best = Some(now);
                }
            } else if to > at && best.is_none_or(|best| now.0 < best.0) {
                go(to, free, reels, now, best);
            }
            reels.insert(number, taken);
        }
    }
    assert_eq!(free.len(), length + 1);
    let mut best = None;
    go(0, free, &mut reels.to_vec(), (0, 0), &mut best);
    best
}

fn free_places(length: usize, stretches: &[(usize, usize)]) -> Vec<bool> {
    (0..=length)
        .map(|at| at == 0 || at == length || !stretches.iter().any(|&(from, to)| from < at && at < to))
        .collect()
}

#[allow(clippy::cast_precision_loss, reason = "small lines of whole metres")]
fn agrees(
    length: usize,
    stretches: &[(usize, usize)],
    reels: &[usize],
    truth: Option<(usize, usize)>,
) -> Result<(), TestCaseError> {
    let stretches: Vec<_> = stretches.iter().map(|&(from, to)| (from as f64, to as f64)).collect();
    let given: Vec<_> = reels.iter().map(|&left| left as f64).collect();
    let input = line(length as f64, &stretches, &given);
    match (reckon(&input).unwrap().outcome, truth) {
        (Outcome::Planned(plan), Some((count, sum))) => {
            holds(&input, &plan);
            prop_assert!(plan.fewest_proved && plan.least_rest_proved);
            prop_assert_eq!(plan.pieces.len(), count);
            prop_assert_eq!(plan.rest_m, metres((sum - length) as f64));
        }
        (Outcome::Short(short), None) => {
            prop_assert!(short.proved);
            let with = |more: f64| {
                let mut input = input.clone();
                input.reels.push(reel(more));
                matches!(reckon(&input).unwrap().outcome, Outcome::Planned(_))
            };
            let missing = short.missing_m.value();
            prop_assert!(missing > FULLEST || with(missing), "{missing} is not enough");
            prop_assert!(
                missing <= 1.0 || missing > FULLEST || !with(missing - 1.0),
                "less than {missing} is"
            );
        }
        (found, truth) => prop_assert!(false, "{found:?} against {truth:?}"),
    }
    Ok(())
}

const FULLEST: f64 = 20_000.0;

/// A line of some length, stretches on it in any order and overlapping as they like, and reels.
fn small_line(
    length: std::ops::Range<usize>,
    reels: usize,
) -> impl Strategy<Value = (usize, Vec<(usize, usize)>, Vec<usize>)> {
    length.prop_flat_map(move |length| {
        let stretch =
            (0..length, 1..=length / 4 + 1).prop_map(move |(from, more)| (from, (from + more).min(length)));
        let reel = 0..=(length / 2 + 2);
        (Just(length), prop::collection::vec(stretch, 0..6), prop::collection::vec(reel, 0..=reels))
    })
}

proptest! {
    #[test]
    fn no_plan_is_better_by_any_choice_order_or_place((length, stretches, reels) in small_line(1..16, 5)) {
        let free = free_places(length, &stretches);
        let truth = by_trying_everything(length, &free, &reels);
        prop_assert_eq!(by_every_order(length, &free, &reels), truth);
        agrees(length, &stretches, &reels, truth)?;
    }

    #[test]
    fn no_plan_is_better_by_any_choice_or_order((length, stretches, reels) in small_line(20..400, 7)) {
        let truth = by_every_order(length, &free_places(length, &stretches), &reels);
        agrees(length, &stretches, &reels, truth)?;
    }

    /// Places where a splice may be are few and narrow, so that most reels are stopped before they are run out.
    #[test]
    fn no_plan_is_better_where_splices_are_hardly_allowed(
        gaps in prop::collection::vec((5_usize..60, 0_usize..3), 2..9),
        reels in prop::collection::vec(20_usize..120, 2..8),
    ) {
        let mut at = 0;
        let mut stretches = Vec::new();
        for (closed, open) in gaps {
            stretches.push((at, at + closed));
            at += closed + open;
        }
        let truth = by_every_order(at, &free_places(at, &stretches), &reels);
        agrees(at, &stretches, &reels, truth)?;
    }

    /// Figures that are no whole metres are never taken for more than they are.
    #[test]
    fn a_plan_holds_to_the_millimetre(
        length in 100.0..5_000.0_f64,
        stretches in prop::collection::vec((0.0..1.0_f64, 0.0..0.1_f64), 0..20),
        reels in prop::collection::vec(0.0..2_000.0_f64, 0..20),
        ends in 0.0..5.0_f64,
    ) {
        let stretches: Vec<_> =
            stretches.iter().map(|&(from, more)| (from * length, ((from + more) * length).min(length))).collect();
        let mut input = line(length, &stretches, &reels);
        input.ends_m = Some(metres(ends));
        if let Outcome::Planned(plan) = reckon(&input).unwrap().outcome {
            holds(&input, &plan);
        }
    }
}
