//! Refusals: there is none that no report can meet, and each says in plain words what is wrong and what to do.

use std::collections::BTreeMap;

use laywire_craft::{
    construction::Construction as C,
    fault::signs::Sign,
    obstacle::Obstacle as O,
    party::Sender,
    refusal::Refusal,
    report::{Body, CrossingFinished, CrossingMarked, LineProved, Readings, TestedFrom},
    units::Decibels,
};

use crate::story::*;

/// Names every rule. A rule that is added to the trade and not to this list does not compile.
macro_rules! rules {
    ($($rule:ident)*) => {
        const RULES: &[&str] = &[$(stringify!($rule)),*];

        fn rule(refusal: &Refusal) -> &'static str {
            match refusal {
                $(Refusal::$rule { .. } => stringify!($rule),)*
            }
        }
    };
}

rules! {
    NotYours NotInYourName NoSuchLine NoSuchCrossing IdInUse DesignationInUse LineState CrossingState InHandOf NotInHand NotPassed
    OverheadOverRailway ConstructionNotAllowed ConstructionNeeded TooLow HeightNeeded InTheWater TooShallow DepthNeeded
    OutOfRange LadderIsTemporary ListNotDone NoSuchItem SpliceInSpan BeyondTheWire TraceLeaps TraceNotTaken FarFromLine
    NoSuchReport NotWithdrawn OtherSubject NotYourReport RestsOnIt NotGood Reading StillAlive NoStretch RecordFull
}

/// One report, in a story that has a crossing of every kind of work, for each rule.
fn met() -> Vec<Refusal> {
    let mut story = Story::laid_to(1_500.0);
    let here =
        |n, chainage, obstacle, way| CrossingMarked { position: on_a(chainage), ..at(n, obstacle, way) };
    story
        .tell(&post(), foreseen(CrossingMarked { construction: None, ..here(1, 100.0, O::Road, C::Ladder) }));
    let named = story.tell(&lead(), marked(here(2, 300.0, O::Road, C::ThroughCulvert)));
    story.tell(&follow_up(), taken(2));
    story.pass(here(3, 500.0, O::Road, C::OverheadTrees));
    story.pass(here(4, 600.0, O::DirtRoad, C::Buried));
    story.pass(here(5, 700.0, O::Road, C::Ladder));
    let over = story.pass(here(6, 800.0, O::Road, C::ThroughCulvert));
    story.tell(&follow_up(), Body::CrossingFinished(finished(6, all(O::Road, C::ThroughCulvert))));
    story.tell(
        &lead(),
        marked(CrossingMarked { span_m: Some(m(20.0)), ..at(7, O::Stream, C::OverheadPoles) }),
    );

    let deep = |n, depth: Option<f64>| {
        let list = all(O::DirtRoad, C::Buried);
        Body::CrossingFinished(CrossingFinished { depth_m: depth.map(m), ..finished(n, list) })
    };
    let hung = |obstacle, height: f64| {
        marked(CrossingMarked { clearance_m: Some(m(height)), ..at(8, obstacle, C::OverheadPoles) })
    };
    let reports: Vec<(Sender, Body)> = vec![
        (observer(), note(None, None)),
        (post(), line_proved(line(9))),
        (post(), crossing_proved(99)),
        (post(), planned(line(1), "13", None)),
        (post(), planned(line(2), "12", None)),
        (post(), handed_over(line(1))),
        (follow_up(), taken(6)),
        (other_follow_up(), taken(2)),
        (follow_up(), given_back(3)),
        (lead(), call(line(1), true)),
        (lead(), marked(at(8, O::Railway, C::OverheadPoles))),
        (lead(), marked(at(8, O::Stream, C::Ladder))),
        (lead(), marked(CrossingMarked { construction: None, ..at(1, O::Road, C::Ladder) })),
        (lead(), hung(O::Road, 4.0)),
        (follow_up(), Body::CrossingFinished(finished(3, all(O::Road, C::OverheadTrees)))),
        (lead(), hung(O::Stream, 0.0)),
        (follow_up(), deep(4, Some(0.1))),
        (follow_up(), deep(4, None)),
        (lead(), hung(O::Road, 200.0)),
        (follow_up(), Body::CrossingFinished(finished(5, all(O::Road, C::Ladder)))),
        (
            follow_up(),
            Body::CrossingFinished(CrossingFinished {
                construction: Some(C::UnderBridge),
                ..finished(5, vec!["tags".to_owned()])
            }),
        ),
        (
            follow_up(),
            Body::CrossingFinished(CrossingFinished {
                construction: Some(C::UnderBridge),
                ..finished(5, vec!["paint".to_owned()])
            }),
        ),
        (lead(), splice(line(1), Some(1_005.0))),
        (lead(), splice(line(1), Some(1_800.0))),
        (lead(), laid(line(1), vec![place(54.4, -4.6)])),
        (lead(), laid(line(1), Vec::new())),
        (lead(), marked(CrossingMarked { position: place(54.4, -4.6), ..at(8, O::Road, C::Ladder) })),
        (post(), withdrawn(laywire_craft::ids::ReportId::default())),
        (post(), withdrawn(named)),
        (post(), replaced(named, note(None, None))),
        (other_lead(), withdrawn(over)),
        (lead(), withdrawn(over)),
    ];
    let mut met: Vec<Refusal> = reports.into_iter().map(|(by, body)| story.refuse(&by, body)).collect();
    met.insert(1, story.refuse_for(&lead(), &other_lead(), note(None, None)));
    met.extend(met_at_the_end());
    met
}

/// The same of a line that is through, in trouble, and taken up.
fn met_at_the_end() -> Vec<Refusal> {
    let mut story = Story::laid_to(1_500.0);
    story.tell(&lead(), call(line(1), true));
    let loss = |db| Readings { loss_db: Some(Decibels::new(db).unwrap()), ..Readings::default() };
    let proved = |readings| Body::LineProved(LineProved { line: line(1), readings: Some(readings) });
    let mut met = vec![
        story.refuse(&lead(), proved(loss(60.0))),
        story.refuse(&lead(), proved(loss(-3.0))),
        story.refuse(&post(), ordered_up(line(1))),
    ];
    for _ in 0..50 {
        story.tell(&lead(), trouble(line(1), &[Sign::Weak]));
    }
    let full = story.refuse(&lead(), trouble(line(1), &[Sign::Weak]));
    story.tell(&lead(), tested(line(1), TestedFrom::NearEnd, false, None));
    story.tell(&post(), ordered_up(line(1)));
    met.push(story.refuse(&lead(), taken_up(line(1), 400.0, 300.0, 120.0)));
    met.push(full);
    met
}

#[test]
fn there_is_no_rule_that_no_report_can_meet() {
    let met: Vec<&str> = met().iter().map(rule).collect();
    assert_eq!(met, RULES);
}

#[test]
fn a_refusal_is_a_whole_sentence_that_tells_its_figures() {
    for refusal in met() {
        let text = refusal.to_string();
        assert!(text.starts_with(|c: char| c.is_uppercase() || c == '"'), "{text}");
        assert!(text.ends_with('.') && !text.contains("..") && !text.contains("  "), "{text}");
        // Neither 'A observer' nor a figure as the machine sees it.
        assert!(!text.contains("A o") && !text.contains("Some(") && !text.contains('{'), "{text}");
        // Metres in the figures are metres in the text.
        let told = serde_json::to_value(&refusal).unwrap();
        let figures: BTreeMap<String, serde_json::Value> = serde_json::from_value(told).unwrap();
        assert!(figures.contains_key("rule"));
        for (key, figure) in figures.iter().filter(|(key, _)| key.ends_with("_m")) {
            let shown = format!("{:.2} m", figure.as_f64().unwrap());
            assert!(text.contains(&shown), "{key} {shown} is not in: {text}");
        }
    }
}
