//! Any reports at all, right and wrong, on several lines and from several teams: they are decided one by one on their own
//! lines, and what stands has to add up to the same, with the trade's rules kept after every entry.

use std::{cell::RefCell, collections::BTreeMap};

use laywire_craft::{
    construction::Construction as C,
    crossing::CrossingState,
    fault::signs::Sign,
    geodesy::{Position, destination},
    line::LineState,
    obstacle::Obstacle as O,
    party::Sender,
    report::{Body, CrossingFinished, CrossingMarked, CrossingPassed, Kind, Readings, Subject, TestedFrom},
    units::{Degrees, Metres, Ohms},
};
use proptest::{
    prelude::*,
    sample::Index,
    test_runner::{Config, RngAlgorithm, TestRng, TestRunner},
};

use crate::story::*;

/// One thing that somebody says. Ids are few, so that reports meet each other.
#[derive(Debug, Clone)]
struct Said {
    by: Who,
    same_batch: bool,
    stood: Option<f64>,
    what: What,
    correction: Option<(Index, bool)>,
}

#[derive(Debug, Clone, Copy)]
enum Who {
    Whose,
    Post,
    Lead,
    OtherLead,
    FollowUp,
    OtherFollowUp,
    Observer,
}

#[derive(Debug, Clone)]
enum What {
    /// The next step at a crossing, done right.
    Next(u128),
    /// The next step of a line, done right.
    NextOfLine(u128),
    /// The next step of taking a line up, done right.
    NextUp(u128),
    Planned {
        line: u128,
        number: u8,
        along: bool,
    },
    Issued {
        line: u128,
        version: u16,
        far: f64,
    },
    Started(u128),
    Laid {
        line: u128,
        step: f64,
        aside: f64,
    },
    Reel {
        line: u128,
        n: u128,
    },
    Splice {
        line: u128,
        chainage: Option<f64>,
    },
    Named {
        foreseen: bool,
        line: u128,
        n: u128,
        chainage: f64,
        obstacle: O,
        way: Option<C>,
        height: Option<f64>,
        span: f64,
    },
    Passed {
        n: u128,
        clear: bool,
        done: Done,
        height: Option<f64>,
    },
    Taken(u128),
    GivenBack(u128),
    GivenOut(u128, bool),
    Finished {
        n: u128,
        way: Option<C>,
        done: Done,
        height: Option<f64>,
        depth: Option<f64>,
    },
    CrossingProved(u128),
    StruckOut(u128),
    Call {
        line: u128,
        far: bool,
    },
    LineProved(u128),
    HandedOver(u128),
    Tested {
        line: u128,
        far: bool,
        answered: bool,
        loop_ohm: Option<f64>,
    },
    Watched(u128),
    Trouble(u128),
    Answered {
        line: u128,
        chainage: f64,
        near: bool,
        far: bool,
    },
    Cleared {
        line: u128,
        cut: bool,
    },
    OrderedUp(u128),
    Up {
        line: u128,
        from: f64,
        run: f64,
        lost: bool,
    },
    MadeGood(u128),
    Returned {
        line: u128,
        n: u128,
        left: f64,
    },
    Note {
        line: Option<u128>,
        n: Option<u128>,
    },
}

#[derive(Debug, Clone, Copy)]
enum Done {
    All,
    Nothing,
    Other,
}

fn what() -> impl Strategy<Value = What> {
    let line = || prop_oneof![8 => Just(1_u128), 4 => Just(2), 1 => Just(3)];
    let n = || 1_u128..6;
    let height = || prop::option::of(prop_oneof![1 => -1.0..4.0_f64, 4 => 5.5..9.0_f64]);
    let done = || prop_oneof![8 => Just(Done::All), 1 => Just(Done::Nothing), 1 => Just(Done::Other)];
    let obstacle = || prop_oneof![3 => Just(O::Stream), 4 => prop::sample::select(&O::ALL[..])];
    let way = || {
        prop_oneof![
            4 => Just(C::ThroughCulvert),
            4 => Just(C::OverheadTrees),
            4 => prop::sample::select(&C::ALL[..])
        ]
    };
    prop_oneof![
        25 => n().prop_map(What::Next),
        12 => line().prop_map(What::NextOfLine),
        3 => line().prop_map(What::NextUp),
        1 => (line(), 1_u8..5, any::<bool>()).prop_map(|(line, number, along)| What::Planned { line, number, along }),
        2 => (line(), 1_u16..9, 500.0..2_800.0_f64).prop_map(|(line, version, far)| What::Issued { line, version, far }),
        2 => line().prop_map(What::Started),
        4 => (line(), prop_oneof![8 => 1.0..600.0_f64, 1 => 0.0..30_000.0_f64], -200.0..200.0_f64)
            .prop_map(|(line, step, aside)| What::Laid { line, step, aside }),
        4 => (line(), 1_u128..4).prop_map(|(line, n)| What::Reel { line, n }),
        3 => (line(), prop::option::of(-10.0..1_000.0_f64)).prop_map(|(line, chainage)| What::Splice { line, chainage }),
        6 => (
            prop::bool::weighted(0.2), line(), n(), 0.0..1_200.0_f64, obstacle(), prop::option::weighted(0.95, way()),
            height(), 0.5..300.0_f64,
        )
            .prop_map(|(foreseen, line, n, chainage, obstacle, way, height, span)| What::Named {
                foreseen, line, n, chainage, obstacle, way, height, span,
            }),
        6 => (n(), any::<bool>(), done(), height())
            .prop_map(|(n, clear, done, height)| What::Passed { n, clear, done, height }),
        3 => n().prop_map(What::Taken),
        2 => n().prop_map(What::GivenBack),
        1 => (n(), any::<bool>()).prop_map(|(n, to)| What::GivenOut(n, to)),
        6 => (n(), prop::option::weighted(0.3, way()), done(), height(), prop::option::of(0.0..1.0_f64))
            .prop_map(|(n, way, done, height, depth)| What::Finished { n, way, done, height, depth }),
        1 => n().prop_map(What::CrossingProved),
        2 => n().prop_map(What::StruckOut),
        3 => (line(), any::<bool>()).prop_map(|(line, far)| What::Call { line, far }),
        2 => line().prop_map(What::LineProved),
        2 => line().prop_map(What::HandedOver),
        3 => (line(), any::<bool>(), prop::bool::weighted(0.6), prop::option::of(1.0..1e3_f64))
            .prop_map(|(line, far, answered, loop_ohm)| What::Tested { line, far, answered, loop_ohm }),
        1 => line().prop_map(What::Watched),
        5 => line().prop_map(What::Trouble),
        2 => (line(), 0.0..1_000.0_f64, any::<bool>(), any::<bool>())
            .prop_map(|(line, chainage, near, far)| What::Answered { line, chainage, near, far }),
        5 => (line(), any::<bool>()).prop_map(|(line, cut)| What::Cleared { line, cut }),
        3 => line().prop_map(What::OrderedUp),
        2 => (line(), 0.0..600.0_f64, -50.0..900.0_f64, prop::bool::weighted(0.3))
            .prop_map(|(line, from, run, lost)| What::Up { line, from, run, lost }),
        5 => n().prop_map(What::MadeGood),
        4 => (line(), 1_u128..4, 0.0..2_000.0_f64).prop_map(|(line, n, left)| What::Returned { line, n, left }),
        1 => (prop::option::of(line()), prop::option::of(n())).prop_map(|(line, n)| What::Note { line, n }),
    ]
}

fn said() -> impl Strategy<Value = Said> {
    let who = prop_oneof![
        12 => Just(Who::Whose),
        2 => Just(Who::Post),
        2 => Just(Who::Lead),
        1 => Just(Who::OtherLead),
        2 => Just(Who::FollowUp),
        1 => Just(Who::OtherFollowUp),
        1 => Just(Who::Observer),
    ];
    let correction = prop::option::weighted(0.2, (any::<Index>(), any::<bool>()));
    (who, any::<bool>(), prop::option::of(0.0..1_500.0_f64), what(), correction).prop_map(
        |(by, same_batch, stood, what, correction)| Said { by, same_batch, stood, what, correction },
    )
}

/// What is ticked: the whole list of the crossing as it stands or shall be built, nothing, or something else.
fn ticked(story: &Story, n: u128, way: Option<C>, done: Done, lead: bool) -> Vec<String> {
    match done {
        Done::Nothing => Vec::new(),
        Done::Other => vec!["tags".to_owned(), "paint".to_owned()],
        Done::All => {
            let known = story.now.crossings.get(&crossing(n));
            let there = known.and_then(|crossing| Some((crossing.obstacle, way.or(crossing.construction)?)));
            there
                .filter(|&(obstacle, way)| {
                    [false, true]
                        .into_iter()
                        .any(|hard| laywire_craft::guide::check(obstacle, hard, way).is_ok())
                })
                .map(|(obstacle, way)| choice(obstacle, way))
                .map(|choice| ids(if lead { &choice.lead } else { &choice.finish }))
                .unwrap_or_default()
        }
    }
}

/// What follows at a crossing in the order of the work.
fn next(story: &Story, n: u128) -> Body {
    use CrossingState as S;
    let Some(there) = story.now.crossings.get(&crossing(n)) else {
        return marked(at(n, O::Road, C::ThroughCulvert));
    };
    let way = there.construction.filter(|&way| way != C::Ladder).unwrap_or(C::UnderBridge);
    match there.state {
        S::Foreseen => marked(CrossingMarked { line: there.line, ..at(n, there.obstacle, way) }),
        S::Marked => Body::CrossingPassed(passed(n)),
        S::Passed => taken(n),
        S::InHand if there.passed_at.is_none() => Body::CrossingPassed(passed(n)),
        S::InHand => Body::CrossingFinished(CrossingFinished {
            construction: Some(way),
            clearance_m: Some(m(6.0)),
            depth_m: Some(m(0.3)),
            ..finished(n, all(there.obstacle, way))
        }),
        S::Finished | S::Proved | S::StruckOut => crossing_proved(n),
    }
}

/// What follows on a line in the order of the work.
fn next_of_line(story: &Story, n: u128) -> Body {
    match story.now.lines.get(&line(n)).map(|line| line.state) {
        None => planned(line(n), &n.to_string(), None),
        Some(LineState::Planned) => started(line(n)),
        Some(LineState::Laying | LineState::Through) => call(line(n), true),
        Some(LineState::Finished) => line_proved(line(n)),
        Some(LineState::Proved) => handed_over(line(n)),
        Some(LineState::HandedOver | LineState::Recovered) => next_up(story, n),
    }
}

/// What follows when a line is taken up.
fn next_up(story: &Story, n: u128) -> Body {
    let Some(there) = story.now.lines.get(&line(n)) else { return ordered_up(line(n)) };
    let dead = there.proving.tests.last().is_some_and(|test| !test.rang);
    match (&there.recovery.ordered_up, dead) {
        (None, false) => tested(line(n), TestedFrom::NearEnd, false, None),
        (None, true) => ordered_up(line(n)),
        (Some(_), _) => {
            let done = there.recovery.sections.len() + there.recovery.not_back.len();
            let (from, to) = (there.laid_length.value() * 0.4, there.laid_length.value());
            match done % 3 {
                0 => taken_up(line(n), 0.0, from, from),
                1 => lost(line(n), from, from + 1.0, 1.0),
                _ => taken_up(line(n), from, to, to),
            }
        }
    }
}

fn body(story: &Story, what: &What) -> Body {
    match *what {
        What::Next(n) => next(story, n),
        What::NextOfLine(n) => next_of_line(story, n),
        What::NextUp(n) => next_up(story, n),
        What::Planned { line: n, number, along } => {
            planned(line(n), &number.to_string(), along.then(|| trace(&ROUTE_A)))
        }
        What::Issued { line: n, version, far } => {
            issued(line(n), version, trace(&ROUTE_A).between(m(far / 10.0), m(far)).unwrap())
        }
        What::Started(n) => started(line(n)),
        What::Laid { line: n, step, aside } => {
            let head = story.now.lines.get(&line(n)).and_then(|line| line.laid.last().copied());
            let onward = |from: Position, bearing: f64, run: f64| {
                destination(from, Degrees::new(bearing).unwrap(), m(run))
            };
            let next = onward(head.unwrap_or(on_a(0.0)), 54.0, step);
            laid(line(n), vec![head.unwrap_or(on_a(0.0)), onward(next, 144.0, aside)])
        }
        What::Reel { line: on, n } => reel_started(line(on), n, 1_609.0),
        What::Splice { line: n, chainage } => splice(line(n), chainage),
        What::Named { foreseen: ahead, line: on, n, chainage, obstacle, way, height, span } => {
            let what = CrossingMarked {
                line: line(on),
                position: on_a(chainage),
                construction: way,
                clearance_m: height.map(m),
                span_m: Some(m(span)),
                ..at(n, obstacle, C::Ladder)
            };
            if ahead { foreseen(what) } else { marked(what) }
        }
        What::Passed { n, clear, done, height } => Body::CrossingPassed(CrossingPassed {
            clear_of_traffic: clear,
            clearance_m: height.map(m),
            done: ticked(story, n, None, done, true),
            ..passed(n)
        }),
        What::Taken(n) => taken(n),
        What::GivenBack(n) => given_back(n),
        What::GivenOut(n, to) => given_out(n, to.then_some(("Follow-up 1", 1))),
        What::Finished { n, way, done, height, depth } => Body::CrossingFinished(CrossingFinished {
            construction: way,
            clearance_m: height.map(m),
            depth_m: depth.map(m),
            ..finished(n, ticked(story, n, way, done, false))
        }),
        What::CrossingProved(n) => crossing_proved(n),
        What::StruckOut(n) => struck_out(n),
        What::Call { line: n, far } => call(line(n), far),
        What::LineProved(n) => line_proved(line(n)),
        What::HandedOver(n) => handed_over(line(n)),
        What::Tested { line: n, far, answered, loop_ohm } => {
            let from = if far { TestedFrom::FarEnd } else { TestedFrom::Along };
            let readings = loop_ohm
                .map(|ohm| Readings { loop_ohm: Some(Ohms::new(ohm).unwrap()), ..Readings::default() });
            tested(line(n), from, answered, readings)
        }
        What::Watched(n) => watched(line(n)),
        What::Trouble(n) => trouble(line(n), &[Sign::NothingPasses, Sign::CrankEasy]),
        What::Answered { line: n, chainage, near, far } => answered(line(n), chainage, near, far),
        What::Cleared { line: n, cut } => cleared(line(n), cut),
        What::OrderedUp(n) => ordered_up(line(n)),
        What::Up { line: n, from, run, lost: true } => lost(line(n), from, from + run, 100.0),
        What::Up { line: n, from, run, lost: false } => taken_up(line(n), from, from + run, 700.0),
        What::MadeGood(n) => made_good(n),
        What::Returned { line: on, n, left } => returned(line(on), n, left),
        What::Note { line: on, n } => note(on.map(line), n.map(crossing)),
    }
}

/// The report that is said: that which the draw tells, or a correction of an earlier one, which keeps to its subject where
/// the draw is of the same kind and says the same again otherwise.
fn report(story: &Story, said: &Said) -> Body {
    let fresh = body(story, &said.what);
    match &said.correction {
        Some((which, withdraw)) if !story.log.is_empty() => {
            let earlier = &story.log[which.index(story.log.len())].report;
            if *withdraw {
                withdrawn(earlier.id)
            } else {
                replaced(earlier.id, other_figures(&earlier.body, fresh))
            }
        }
        _ => fresh,
    }
}

/// The same thing said with the fresh draw's figures.
fn other_figures(earlier: &Body, fresh: Body) -> Body {
    match (earlier, fresh) {
        (Body::CrossingMarked(was), Body::CrossingMarked(now) | Body::CrossingForeseen(now)) => {
            marked(CrossingMarked { crossing: was.crossing, line: was.line, ..now })
        }
        (Body::CrossingForeseen(was), Body::CrossingMarked(now) | Body::CrossingForeseen(now)) => {
            foreseen(CrossingMarked { crossing: was.crossing, line: was.line, ..now })
        }
        (Body::CrossingPassed(was), Body::CrossingPassed(now)) => {
            Body::CrossingPassed(CrossingPassed { crossing: was.crossing, done: Vec::new(), ..now })
        }
        (Body::SpliceMade(was), Body::SpliceMade(now)) => splice(was.line, now.chainage_m.map(Metres::value)),
        (Body::TraceExtended(was), Body::TraceExtended(now)) => laid(was.line, now.positions),
        (Body::LinePlanned(was), Body::LinePlanned(now)) => {
            planned(was.line, now.designation.as_str(), now.trace)
        }
        (Body::SpliceMade(was), _) => splice(was.line, Some(40.0)),
        (earlier, fresh) if earlier.kind() == fresh.kind() => fresh,
        (earlier, _) => earlier.clone(),
    }
}

/// Who says it: whose work it is, or anybody.
fn sender(said: &Said, story: &Story, report: &Body) -> Sender {
    let in_hand = || match report.subject() {
        Subject::Crossing(id, _) => story.now.crossings.get(&id)?.in_hand.clone(),
        _ => None,
    };
    match said.by {
        Who::Whose => match report.kind() {
            Kind::LinePlanned
            | Kind::PlanIssued
            | Kind::CrossingForeseen
            | Kind::CrossingGivenOut
            | Kind::LineHandedOver
            | Kind::LineOrderedUp
            | Kind::Correction => post(),
            Kind::CrossingTaken | Kind::CrossingGivenBack | Kind::CrossingFinished | Kind::CrossingProved => {
                in_hand().map_or_else(follow_up, |held| Sender { team: held.team, ..follow_up() })
            }
            _ => lead(),
        },
        Who::Post => post(),
        Who::Lead => lead(),
        Who::OtherLead => other_lead(),
        Who::FollowUp => follow_up(),
        Who::OtherFollowUp => other_follow_up(),
        Who::Observer => observer(),
    }
}

/// The trade's rules, said here once more without asking the crate's own words for them.
fn rules_are_kept(story: &Story) -> Result<(), TestCaseError> {
    use CrossingState as S;
    for crossing in story.now.crossings.values() {
        let line = &story.now.lines[&crossing.line];
        let open = matches!(crossing.state, S::Marked | S::Passed | S::InHand);
        let overhead = matches!(
            crossing.construction,
            Some(C::OverheadTrees | C::OverheadPoles | C::OverheadLancePoles)
        );
        if open {
            prop_assert!(
                !matches!(line.state, LineState::Finished | LineState::Proved | LineState::HandedOver)
                    && line.proved_at.is_none()
                    && line.handed_over_at.is_none(),
                "work is open on a line that is {}",
                line.state
            );
        }
        prop_assert_eq!(crossing.in_hand.is_some(), crossing.state == S::InHand);
        prop_assert!(!(overhead && crossing.obstacle == O::Railway), "overhead over a railway");
        prop_assert!(!crossing.wire_in_traffic() || (open && crossing.passed_at.is_some()));
        // Finished by one team while another has it in hand: it is open until those have looked.
        let said_finished = crossing.finished_at.is_some();
        let is_finished = matches!(crossing.state, S::Finished | S::Proved);
        prop_assert!(is_finished == said_finished || (said_finished && crossing.state == S::InHand));
        if matches!(crossing.state, S::Finished | S::Proved) {
            prop_assert!(crossing.passed_at.is_some() && crossing.construction != Some(C::Ladder));
            prop_assert!(!overhead || crossing.clearance.is_some(), "nobody measured the height");
        }
        if overhead && crossing.obstacle == O::Stream && crossing.state != S::StruckOut {
            let half = crossing.span.map_or(15.24, |span| span.value() / 2.0);
            let changes = line.reels.iter().skip(1).map(|reel| reel.from_chainage_m);
            for joint in line.splices.iter().map(|splice| splice.chainage_m).chain(changes) {
                let off = (joint - crossing.chainage).value().abs();
                prop_assert!(
                    off > half - 1e-6,
                    "a joint {off} m from a stream's middle, span {} m",
                    half * 2.0
                );
            }
        }
    }
    let numbers: std::collections::BTreeSet<_> =
        story.now.lines.values().map(|line| &line.designation).collect();
    prop_assert_eq!(numbers.len(), story.now.lines.len(), "a number is used once");
    Ok(())
}

/// How often each kind stood and was refused.
type Counts = BTreeMap<Kind, (u32, u32)>;

/// Draws that are the same in every run.
fn draws(cases: u32) -> TestRunner {
    let rng = TestRng::deterministic_rng(RngAlgorithm::ChaCha);
    TestRunner::new_with_rng(Config { failure_persistence: None, cases, ..Config::default() }, rng)
}

/// Two lines, one of them under way or not, and what is said of them: what stands adds up to the state, what is refused changes
/// nothing, and the rules are kept.
fn told(under_way: bool, reports: &[Said], counts: &mut Counts) -> Result<Story, TestCaseError> {
    let mut story = Story::new();
    story.tell(&post(), planned(line(1), "1", Some(trace(&ROUTE_A))));
    story.tell(&post(), planned(line(2), "2", None));
    if under_way {
        story.tell(&lead(), started(line(1)));
        story.tell(&lead(), laid(line(1), vec![on_a(0.0), on_a(800.0)]));
    }
    for said in reports {
        if !said.same_batch {
            story.begin_batch();
        }
        let report = report(&story, said);
        let kind = report.kind();
        let by = sender(said, &story, &report);
        let before = story.now.clone();
        let stands = story.hear_in_batch(&by, said.stood.map(on_a), report).is_ok();
        let count = counts.entry(kind).or_default();
        if stands {
            count.0 += 1;
            rules_are_kept(&story)?;
            if kind == Kind::Correction {
                prop_assert_eq!(&story.now, &story.added_up());
            }
        } else {
            count.1 += 1;
            prop_assert_eq!(&story.now, &before, "what is refused changes nothing");
        }
    }
    prop_assert_eq!(&story.now, &story.added_up());
    Ok(story)
}

#[test]
fn whatever_is_reported_the_log_adds_up_to_the_state_and_the_rules_are_kept() {
    // How often each kind stood and was refused is counted, so that a draw that never gets anywhere fails.
    let counts: RefCell<Counts> = RefCell::default();
    let any_reports = (any::<bool>(), prop::collection::vec(said(), 10..70));
    draws(Config::default().cases)
        .run(&any_reports, |(under_way, reports)| {
            told(under_way, &reports, &mut counts.borrow_mut()).map(|_| ())
        })
        .unwrap();
    for kind in Kind::ALL {
        let (stood, refused) = counts.borrow().get(&kind).copied().unwrap_or_default();
        assert!(stood > 0 && refused > 0, "{kind}: {stood} stood and {refused} were refused");
    }
}

#[test]
fn a_long_log_that_is_corrected_far_back_time_and_again_shows_every_moment() {
    // Each story's replay is compared with each of its moments when it ends: here with copies of the lines on the way, some
    // of which a correction makes void.
    let far_back = RefCell::new(0);
    let long = (Just(true), prop::collection::vec(said(), 300..400));
    draws(12)
        .run(&long, |(under_way, reports)| {
            let story = told(under_way, &reports, &mut Counts::default())?;
            for entry in &story.log {
                if let Body::Correction(correction) = &entry.report.body {
                    let wrong =
                        story.log.iter().find(|wrong| wrong.report.id == correction.corrects).unwrap();
                    *far_back.borrow_mut() += u32::from(entry.sequence - wrong.sequence > 50);
                }
            }
            Ok(())
        })
        .unwrap();
    assert!(far_back.take() > 100, "few corrections go far back");
}
