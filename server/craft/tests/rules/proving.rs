//! From the first call to the hand-over, and through trouble back to a proof.

use laywire_craft::{
    construction::Construction as C,
    crossing::CrossingState as S,
    fault::{
        FaultTest, ShortTest,
        signs::{FaultKind, Sign},
    },
    line::LineState as L,
    obstacle::Obstacle as O,
    profile::Profile,
    proof::{self, Proof, ProofVerdict},
    proving::{ProofLostBy, Trouble},
    refusal::Refusal,
    report::{
        Body, Finding, Kind, LineProved, Measured, Quality, Readings, TestMade, TestedFrom, TroubleNarrowed,
        Weather,
    },
    tags,
    trouble::{self, TestPlaceKind, TroubleGuide},
    units::{Celsius, Decibels, Minutes, Ohms},
};

use crate::story::*;

fn ohm(figure: f64) -> Ohms {
    Ohms::new(figure).unwrap()
}

/// Line 1 lies over 2,500 m, with a road through a culvert that is finished, and is through.
fn finished_line() -> Story {
    let mut story = Story::laid_to(2_500.0);
    story.pass(at(1, O::Road, C::ThroughCulvert));
    story.tell(&lead(), tested(line(1), TestedFrom::FarEnd, true, None));
    story.tell(&follow_up(), Body::CrossingFinished(finished(1, all(O::Road, C::ThroughCulvert))));
    assert_eq!(story.line_is(1), L::Finished);
    story
}

fn handed_over_line() -> Story {
    let mut story = finished_line();
    story.tell(&lead(), line_proved(line(1)));
    story.tell(&post(), handed_over(line(1)));
    story
}

fn guide(story: &Story, open: &Trouble) -> TroubleGuide {
    let crossings = crossings(story);
    let tags = tags::list(story.line(1), &crossings, &[], Profile::field());
    trouble::guide(story.line(1), &crossings, &tags, Profile::field(), open)
}

fn crossings(story: &Story) -> Vec<laywire_craft::crossing::Crossing> {
    story.now.crossings.values().cloned().collect()
}

#[test]
fn a_line_is_through_by_a_test_that_rings_and_talks_from_its_far_end() {
    let mut story = Story::laid_to(1_500.0);
    story.tell(&lead(), tested(line(1), TestedFrom::Along, true, None));
    assert_eq!((story.line_is(1), story.line(1).through_at), (L::Laying, None));
    // SS0440 p. 69: it must ring and talk.
    let Body::TestMade(test) = tested(line(1), TestedFrom::FarEnd, true, None) else { panic!() };
    story.tell(&lead(), Body::TestMade(TestMade { spoke: false, ..test }));
    assert_eq!(story.line_is(1), L::Laying);
    story.tell(&lead(), tested(line(1), TestedFrom::FarEnd, true, None));
    assert_eq!(story.line_is(1), L::Finished);
    assert_eq!((story.line(1).proving.tests.len(), story.line(1).call_backs.len()), (3, 2));
    assert_eq!(story.line(1).call_backs[1].chainage_m, story.line(1).laid_length);
}

#[test]
fn a_test_from_the_far_end_does_not_make_a_line_through_past_a_crossing_that_nobody_passed() {
    let mut story = Story::laid_to(1_500.0);
    story.tell(&lead(), marked(at(1, O::Road, C::ThroughCulvert)));
    let refusal = story.refuse(&lead(), tested(line(1), TestedFrom::FarEnd, true, None));
    assert!(matches!(refusal, Refusal::NotPassed { count: 1, .. }), "{refusal}");
    // That nothing answers is told whatever lies there.
    story.tell(&lead(), tested(line(1), TestedFrom::FarEnd, false, None));
}

#[test]
fn the_watch_is_named_until_the_switchboards_crew_takes_the_line() {
    let mut story = Story::laid_to(1_500.0);
    let refusal = story.refuse(&lead(), watched(line(1)));
    assert!(refusal.to_string().contains("once a call came from its far end"), "{refusal}");
    story.tell(&lead(), call(line(1), true));
    let since = story.clock();
    story.tell(&follow_up(), watched(line(1)));
    let watch = story.line(1).proving.watch.clone().unwrap();
    assert_eq!((watch.who, watch.since, watch.chainage_m), (name("Quill"), since, story.line(1).laid_length));
    story.tell(&lead(), line_proved(line(1)));
    assert!(story.line(1).proving.watch.is_some(), "they stay until it is handed over");
    story.tell(&post(), handed_over(line(1)));
    assert_eq!((story.line_is(1), &story.line(1).proving.watch), (L::HandedOver, &None));
    assert_eq!(story.line(1).proving.tags, [name("1"), name("2")]);
    let refusal = story.refuse(&lead(), watched(line(1)));
    assert!(refusal.to_string().contains("switchboard's crew has it"), "{refusal}");
}

#[test]
fn a_crossing_that_opens_again_takes_the_proof_away_and_says_so() {
    let mut story = finished_line();
    let proved_at = story.clock();
    let tested_whole = story.tell(&lead(), line_proved(line(1)));
    assert_eq!((story.line_is(1), story.crossing_is(1)), (L::Proved, S::Proved));
    assert!(story.line(1).proving.tests.last().unwrap().is_final);
    story.tell(&post(), marked(at(2, O::DirtRoad, C::Buried)));
    assert_eq!((story.line_is(1), story.line(1).proved_at), (L::Through, None));
    let lost = story.line(1).proving.proof_lost.clone().unwrap();
    assert_eq!((lost.was_proved_at, lost.because), (proved_at, ProofLostBy::CrossingOpen));
    // Struck out again, the line still wants another proof; and then the old one is forgotten.
    story.tell(&post(), struck_out(2));
    assert_eq!(story.line_is(1), L::Finished);
    story.tell(&lead(), line_proved(line(1)));
    assert_eq!((story.line_is(1), &story.line(1).proving.proof_lost), (L::Proved, &None));
    story.tell(&post(), withdrawn(tested_whole));
    assert_eq!(story.line_is(1), L::Proved, "the second proof stands by itself");
}

#[test]
fn a_final_test_is_refused_by_what_is_bad_and_not_by_what_is_only_worse() {
    let mut story = finished_line();
    let proved = |readings| Body::LineProved(LineProved { line: line(1), readings: Some(readings) });
    // 2.5 km and a fifth more, with ends and ties some 3.1 km of WD-1/TT at 204 ohms in a loop mile (reckoned, see its
    // sheet): about 400 ohms. The telephone is the TA-312.
    for (readings, says) in [
        (Readings { loop_ohm: Some(ohm(60.0)), ..Readings::default() }, "The loop reads 60"),
        (Readings { loop_ohm: Some(ohm(2_000.0)), ..Readings::default() }, "The loop reads 2000"),
        (Readings { insulation_ohm: Some(ohm(800.0)), ..Readings::default() }, "The insulation reads 800"),
        // TM 11-5805-201-12 (from memory): 33 dB.
        (
            Readings { loss_db: Some(Decibels::from_const(34.0)), ..Readings::default() },
            "more than the 33.0 dB",
        ),
    ] {
        let refusal = story.refuse(&lead(), proved(readings));
        assert!(
            matches!(refusal, Refusal::NotGood { .. }) && refusal.to_string().contains(says),
            "{refusal}"
        );
    }
    let hot = Readings { temperature_c: Some(Celsius::from_const(200.0)), ..Readings::default() };
    let refusal = story.refuse(&lead(), proved(hot));
    assert!(matches!(refusal, Refusal::Reading { .. }), "{refusal}");
    let worse = Readings {
        loop_ohm: Some(ohm(600.0)),
        insulation_ohm: Some(ohm(200_000.0)),
        weather: Some(Weather::Rain),
        ..Readings::default()
    };
    story.tell(&lead(), proved(worse));
    assert_eq!(story.line_is(1), L::Proved);
    let (line, test) = (story.line(1), story.line(1).proving.tests.last().unwrap());
    let judged = proof::judge(line, &crossings(&story), Profile::field(), test).unwrap();
    assert_eq!(judged.verdict, ProofVerdict::Worse);
    let parts: Vec<_> = judged.parts.iter().map(|part| (part.what, part.verdict)).collect();
    assert_eq!(
        parts,
        [
            (Proof::Call, ProofVerdict::Good),
            (Proof::Loop, ProofVerdict::Worse),
            (Proof::Insulation, ProofVerdict::Worse)
        ]
    );
}

#[test]
fn a_reading_is_shown_against_the_table_of_the_wire_as_it_was_laid() {
    let mut story = finished_line();
    // SS0440 p. 11, table 1-1: WD-1 loses 1.5 dB in a mile dry and 2.5 dB wet. A fifth more wire than ground (SS0444 p. 23).
    let least_miles = 2_500.0 * 1.2 / 1_609.344;
    let readings = Readings {
        loop_ohm: Some(ohm(least_miles * 204.0)),
        loss_db: Some(Decibels::new(least_miles * 1.5).unwrap()),
        insulation_ohm: Some(ohm(5e6)),
        temperature_c: Some(Celsius::from_const(20.0)),
        weather: Some(Weather::Dry),
        instrument: Some(name("ohmmeter 4")),
        ..Readings::default()
    };
    story.tell(&lead(), tested(line(1), TestedFrom::FarEnd, true, Some(readings)));
    let (line, test) = (story.line(1), story.line(1).proving.tests.last().unwrap());
    let judged = proof::judge(line, &crossings(&story), Profile::field(), test).unwrap();
    assert_eq!(judged.verdict, ProofVerdict::Good, "{:?}", judged.parts);
    let (dry, wet) = (judged.expected.loss_dry_db.unwrap(), judged.expected.loss_wet_db.unwrap());
    assert!((wet.value() / dry.value() - 2.5 / 1.5).abs() < 1e-9);
    let miles = judged.expected.wire_m.value() / 1_609.344;
    assert!(
        (dry.value() - 1.5 * miles).abs() < 0.01 && miles >= least_miles && miles < least_miles * 1.06,
        "{miles}"
    );
    let sound = judged.expected.reading.unwrap();
    assert!((sound.resistance_ohm.value() / (204.0 * miles) - 1.0).abs() < 0.01, "{sound:?}");
    // From half way, half of it.
    let Body::TestMade(half) = tested(story.line(1).id, TestedFrom::Along, true, None) else { panic!() };
    let half = TestMade { chainage_m: Some(m(1_250.0)), quality: Some(Quality::Weak), ..half };
    story.tell(&lead(), Body::TestMade(half));
    let (line, test) = (story.line(1), story.line(1).proving.tests.last().unwrap());
    let judged = proof::judge(line, &crossings(&story), Profile::field(), test).unwrap();
    let part = judged.expected.wire_m.value() / 1_609.344 / miles;
    assert!((0.49..0.52).contains(&part), "{part}");
    assert_eq!(judged.verdict, ProofVerdict::Worse);
}

#[test]
fn trouble_lies_over_the_lines_state_and_is_counted_while_nothing_passes() {
    let mut story = handed_over_line();
    story.tell(&lead(), trouble(line(1), &[Sign::Weak]));
    assert_eq!((story.line_is(1), story.line(1).proving.silent_since), (L::HandedOver, None));
    let silent = story.clock();
    story.tell(&follow_up(), trouble(line(1), &[Sign::NothingPasses, Sign::CrankEasy]));
    let told = story.line(1).proving.trouble().unwrap();
    assert_eq!((told.told.len(), told.signs().len()), (2, 3), "both saw the same trouble");
    story.tell(&post(), note(Some(line(1)), None));
    assert_eq!(story.line(1).proving.silent(story.clock()), Minutes::from_const(2.0));
    assert_eq!(story.line(1).proving.silent_since, Some(silent));
    story.tell(&follow_up(), cleared(line(1), false));
    assert_eq!(story.line(1).proving.silent_min, Minutes::from_const(2.0));
    assert_eq!((story.line_is(1), story.line(1).proving.trouble()), (L::HandedOver, None));
    // A crew that found something as well tells it late: both are in the ground.
    story.tell_late(&lead(), 1, cleared(line(1), true));
    assert_eq!(story.line(1).proving.troubles.last().unwrap().cleared.len(), 2);
    assert_eq!(story.line(1).proving.proof_lost.as_ref().unwrap().because, ProofLostBy::WireCut);
}

#[test]
fn wire_that_was_cut_wants_another_final_test() {
    let mut story = handed_over_line();
    let found = story.tell(&lead(), trouble(line(1), &[Sign::CrankHard]));
    let mended = story.tell(&lead(), cleared(line(1), true));
    assert_eq!((story.line_is(1), story.line(1).handed_over_at), (L::Finished, None));
    story.tell(&lead(), splice(line(1), Some(700.0)));
    story.tell(&lead(), line_proved(line(1)));
    assert_eq!(story.line_is(1), L::Proved);
    // What rests on the report of the trouble is told by name.
    let refusal = story.refuse(&lead(), withdrawn(found));
    assert!(matches!(refusal, Refusal::RestsOnIt { report: Kind::TroubleCleared, .. }), "{refusal}");
    let other = Body::CallBackGood(laywire_craft::report::CallBackGood {
        line: line(1),
        from_far_end: false,
        chainage_m: None,
    });
    assert!(matches!(story.refuse(&lead(), replaced(mended, other)), Refusal::OtherSubject { .. }));
}

#[test]
fn a_line_in_trouble_is_neither_proved_nor_handed_over() {
    let mut story = finished_line();
    story.tell(&lead(), trouble(line(1), &[Sign::Hum]));
    let refusal = story.refuse(&lead(), line_proved(line(1)));
    assert!(refusal.to_string().contains("Lead 1 reported trouble on it"), "{refusal}");
    story.tell(&lead(), cleared(line(1), false));
    story.tell(&lead(), line_proved(line(1)));
    story.tell(&lead(), trouble(line(1), &[Sign::Hum]));
    story.refuse(&post(), handed_over(line(1)));
    let mut none = finished_line();
    none.refuse(&lead(), cleared(line(1), false));
    none.refuse(&lead(), answered(line(1), 700.0, true, false));
}

#[test]
fn each_answer_leaves_half_of_the_line_and_an_answer_that_tells_nothing_stays_on_record() {
    let mut story = handed_over_line();
    story.tell(&lead(), trouble(line(1), &[Sign::CrankEasy, Sign::NothingPasses]));
    story.tell(&lead(), answered(line(1), 1_250.0, true, false));
    story.tell(&other_lead(), answered(line(1), 1_900.0, false, true));
    let open = story.line(1).proving.trouble().unwrap();
    assert_eq!((open.stretch.from_m, open.stretch.to_m), (m(1_250.0), m(1_900.0)));
    for (at, near, far, why) in [
        (1_600.0, true, true, "both sides answer"),
        (1_600.0, false, false, "neither side"),
        (300.0, true, false, "outside"),
    ] {
        story.tell(&lead(), answered(line(1), at, near, far));
        let open = story.line(1).proving.trouble().unwrap();
        let step = open.steps.last().unwrap();
        assert!(step.told_nothing.as_ref().unwrap().contains(why), "{step:?}");
        assert_eq!((open.stretch.from_m, open.stretch.to_m), (m(1_250.0), m(1_900.0)));
    }
}

#[test]
fn readings_name_the_stretch_and_are_put_together_with_the_answers() {
    let mut story = handed_over_line();
    story.tell(&lead(), trouble(line(1), &[Sign::CrankHard]));
    let wire =
        laywire_craft::line_wire::wire_to(story.line(1), &crossings(&story), Profile::field(), m(700.0));
    // A dead short 700 m along, out and back over WD-1/TT at 204 ohms in a loop mile.
    let near_ohm = Ohms::new(wire.unwrap().value() / 1_609.344 * 204.0).unwrap();
    let measured = |near_ohm| {
        let test = FaultTest::Short(ShortTest { near_ohm, far_ohm: None });
        let measured = Measured { test, wire: None, temperature_c: None, wet: false };
        Body::TroubleNarrowed(TroubleNarrowed { line: line(1), finding: Finding::Measured(measured) })
    };
    story.tell(&lead(), measured(near_ohm));
    let stretch = story.line(1).proving.trouble().unwrap().stretch;
    assert!(stretch.from_m < m(700.0) && m(700.0) < stretch.to_m, "{stretch:?}");
    assert!((stretch.to_m - stretch.from_m).value() < 400.0, "{stretch:?}");
    story.tell(&lead(), answered(line(1), 690.0, true, false));
    assert_eq!(story.line(1).proving.trouble().unwrap().stretch.from_m, m(690.0));
    // More than the whole line has: no such fault.
    let refusal = story.refuse(&lead(), measured(Ohms::from_const(5_000.0)));
    assert!(matches!(refusal, Refusal::Reading { .. }), "{refusal}");
}

#[test]
fn an_open_is_looked_for_by_clipping_on_and_a_short_only_with_the_wire_parted() {
    let mut story = Story::laid_to(2_500.0);
    story.tell(&lead(), splice(line(1), Some(1_300.0)));
    story.tell(&lead(), call(line(1), true));
    story.tell(&lead(), trouble(line(1), &[Sign::CrankEasy]));
    let ask = |story: &Story| {
        let open = story.line(1).proving.trouble().unwrap();
        guide(story, open)
    };
    let guide = ask(&story);
    assert_eq!(guide.suspects[0].fault, FaultKind::Open);
    let next = guide.next.unwrap();
    // SS0440 p. 60: the half-way point; bare, clip on, ring both ways. The splice is the mark nearest to it.
    assert_eq!((next.chainage_m, next.kind, next.cuts), (m(1_300.0), TestPlaceKind::Splice, false));
    assert!(next.position.is_some() && next.how[0].contains("Do not cut"), "{:?}", next.how);
    // 2.5 km down to a quarter of a mile: ceil(log2(2500 / 402)) = 3.
    assert_eq!(guide.tests_left, 3);
    story.tell(&lead(), cleared(line(1), false));
    story.tell(&lead(), trouble(line(1), &[Sign::CrankHard, Sign::NothingPasses]));
    let next = ask(&story).next.unwrap();
    assert!(next.cuts && next.how[1].contains("Open the splice"), "{:?}", next.how);
    story.tell(&lead(), answered(line(1), 1_300.0, false, true));
    story.tell(&lead(), answered(line(1), 650.0, false, true));
    story.tell(&lead(), answered(line(1), 325.0, false, true));
    let guide = ask(&story);
    assert_eq!((guide.tests_left, guide.next), (0, None), "what is left is walked");
}

#[test]
fn no_test_is_asked_for_in_a_span_over_water() {
    let mut story = Story::laid_to(2_000.0);
    let over =
        laywire_craft::report::CrossingMarked { span_m: Some(m(60.0)), ..at(1, O::Stream, C::OverheadTrees) };
    story.pass(over);
    story.tell(&lead(), trouble(line(1), &[Sign::CrankHard]));
    let open = story.line(1).proving.trouble().unwrap();
    let next = guide(&story, open).next.unwrap();
    assert!((next.chainage_m.value() - 1_000.0).abs() > 29.9, "{next:?}");
    assert!(next.words.contains("stream"), "{next:?}");
}

#[test]
fn whoever_follows_the_guide_comes_to_the_fault() {
    // Marks at every distance from each other, and a stream that no test is made over.
    let mut story = Story::laid_to(2_800.0);
    let over = laywire_craft::report::CrossingMarked {
        span_m: Some(m(60.0)),
        position: on_a(1_400.0),
        ..at(1, O::Stream, C::OverheadTrees)
    };
    story.pass(over);
    for chainage in [12.0, 90.0, 700.0, 705.0, 1_900.0, 2_790.0] {
        story.tell(&lead(), splice(line(1), Some(chainage)));
    }
    story.tell(&lead(), trouble(line(1), &[Sign::CrankEasy]));
    let mut longest = 0;
    for part in 1_u8..40 {
        let fault = f64::from(part) * 2_800.0 / 40.0;
        let mut steps = Vec::new();
        loop {
            let open = story.line(1).proving.trouble().unwrap();
            let guide = guide(&story, open);
            let Some(next) = guide.next else {
                let stretch = guide.stretch;
                assert!(stretch.from_m <= m(fault) && m(fault) <= stretch.to_m, "{fault}: {stretch:?}");
                // A quarter of a mile is walked.
                assert!((stretch.to_m - stretch.from_m).value() <= 402.34, "{stretch:?}");
                break;
            };
            let here = next.chainage_m.value();
            assert!(!(1_370.5..1_429.5).contains(&here), "a test at {here} over the stream");
            steps.push(story.tell(&follow_up(), answered(line(1), here, here < fault, here >= fault)));
        }
        longest = longest.max(steps.len());
        // Taken back, the search begins anew.
        for step in steps.into_iter().rev() {
            story.tell(&follow_up(), withdrawn(step));
        }
    }
    // ceil(log2(2800 / 402)) = 3 at the middle; at marks up to a quarter off it, ceil(log(2800 / 402) / log(4 / 3)) = 7.
    assert!((3..=7).contains(&longest), "{longest}");
    assert!(story.line(1).proving.trouble().unwrap().steps.is_empty());
}
