//! From readings to the place of a fault: published examples, and lines that are simulated as meshes of small resistors, whose
//! readings come from solving the mesh and share no formula with the code under test.

use laywire_craft::bounds::NoAnswer;
use laywire_craft::fault::halving::{self, SearchStretch};
use laywire_craft::fault::signs::{FaultKind, Sign, suspects};
use laywire_craft::fault::{
    self, Contradiction, Error, FaultAnswer, FaultInput, Landmark, LandmarkKind, leak_from_both_ends,
    loop_test,
};
use laywire_craft::units::{Metres, Ohms};
use laywire_craft::wire;
use proptest::prelude::*;
use rand::{RngExt, SeedableRng, rngs::StdRng};
use serde_json::{Value, json};

const MILE_M: f64 = 1609.344;

/// A wire of so many ohms in a metre of one conductor, at 20 °C, known within the tolerance.
fn wire(per_metre: f64, length_m: f64, tolerance: f64) -> Value {
    json!({"wire": "other", "length_m": length_m,
        "figures": {"resistance_ohm_per_m": per_metre, "resistance_tolerance": tolerance}})
}

fn ask(sections: &Value, test: &Value) -> Result<FaultAnswer, Error> {
    fault::reckon(&serde_json::from_value(json!({"sections": sections, "test": test})).unwrap())
}

/// By an instrument that is never wrong, at a temperature that is known.
fn exactly(sections: &Value, test: &Value) -> Result<FaultAnswer, Error> {
    fault::reckon(
        &serde_json::from_value(json!({
            "sections": sections,
            "temperature_tolerance_c": 0,
            "instrument": {"of_reading": 0, "floor_ohm": 0},
            "test": test,
        }))
        .unwrap(),
    )
}

fn near(found: f64, wanted: f64, within: f64) {
    assert!((found - wanted).abs() <= within, "{found} for {wanted} within {within}");
}

fn contradiction(result: Result<FaultAnswer, Error>) -> Contradiction {
    match result {
        Err(Error::Contradiction { why, .. }) => why,
        other => panic!("{other:?}"),
    }
}

#[test]
fn hawkins_finds_the_earth_at_1_09_miles() {
    // Hawkins Electrical Guide vol. 3, fig. 597: 16.46 ohms in a mile, loop of 54.07 ohms, slide at 332 of 1000: 1.09 miles
    // (1.0906 recomputed). The line's length is not told: it is the one that makes the loop.
    let per_metre = 16.46 / MILE_M;
    let sections = json!([wire(per_metre, 54.07 / 2.0 / per_metre, 0.02)]);
    let test = json!({"murray": {"faulty_arm": 332, "sound_arm": 668, "loop_ohm": 54.07}});
    let answer = ask(&sections, &test).unwrap();
    near(answer.distance_m.value() / MILE_M, 1.0906, 5e-5);
    near(answer.to_fault_ohm.unwrap().value(), 0.332 * 54.07, 1e-9);
    // All of it is one wire: what it is off by drops out, and only the arms and the instrument are left.
    assert!(answer.shares.iter().all(|share| !share.cause.starts_with("resistance")), "{:?}", answer.shares);
}

#[test]
fn textbook_murray_loops_come_out() {
    // Mehta & Mehta, Principles of Power System (title from memory), ch. 11: ex. 11.21: Q 15, P 45, 300 m: 150 m. Ex. 11.22:
    // P:Q = 3:1, 500 m: 250 m. An examination item (examians.com): 3:1, 600 m: 300 m.
    for (length, faulty, sound, distance) in
        [(300.0, 15, 45, 150.0), (500.0, 1, 3, 250.0), (600.0, 1, 3, 300.0)]
    {
        let answer = ask(
            &json!([wire(0.001, length, 0.02)]),
            &json!({"murray": {"faulty_arm": faulty, "sound_arm": sound}}),
        )
        .unwrap();
        near(answer.distance_m.value(), distance, 1e-9);
    }
    // Ex. 11.23, unequal wires: 500 m, faulty 1.0 and sound 2.25 ohms in 1000 m, P:Q = 2.75:1: 0.433 ohms, 433 m (recomputed).
    let answer = ask(
        &json!([wire(0.001, 500.0, 0.02)]),
        &json!({"murray": {"faulty_arm": 1, "sound_arm": 2.75, "sound_sections": [wire(0.00225, 500.0, 0.02)]}}),
    )
    .unwrap();
    near(answer.to_fault_ohm.unwrap().value(), 1.625 / 3.75, 1e-9);
    near(answer.distance_m.value(), 433.0, 0.5);
}

#[test]
fn textbook_varley_loops_come_out() {
    // Mehta & Mehta, ex. 11.24: equal arms, balance 200 ohms, 20 km of 20 ohms in 1 km: 300 ohms, 15 km (printed).
    let answer = ask(&json!([wire(0.02, 20_000.0, 0.02)]), &json!({"varley": {"balance_ohm": 200}})).unwrap();
    near(answer.to_fault_ohm.unwrap().value(), 300.0, 1e-9);
    near(answer.distance_m.value(), 15_000.0, 1e-6);
    // Worked by hand: loop 40 ohms, balance 24: 8 ohms; unequal arms, 10 to 100: (10 · 40 − 100 · 2) / 110 = 1.818 ohms.
    let ohm = |value: f64| Ohms::new(value).unwrap();
    assert_eq!(loop_test(ohm(40.0), ohm(1.0), ohm(1.0), ohm(24.0)), Ok(ohm(8.0)));
    near(loop_test(ohm(40.0), ohm(10.0), ohm(100.0), ohm(2.0)).unwrap().value(), 1.818_181_8, 1e-6);
    assert_eq!(
        loop_test(ohm(40.0), ohm(1.0), ohm(1.0), ohm(50.0)),
        Err(Contradiction::BeforeTheNearEnd { before: ohm(5.0) })
    );
}

#[test]
fn the_published_leak_lies_at_2000_m() {
    // Problem 2513, 'Leakage' (pho.rs/p/en/2513): 4.0, 8.0 and 3.5 ohms, 5.0e-4 ohms in a metre, taken as that of one wire. The
    // page gives no answer; by hand: leak 2.0 ohms at 2000 m of 8000 m, and 7.0 ohms at the far end with the near end joined.
    let line = json!([wire(5e-4, 8000.0, 0.02)]);
    let leak = |readings: Value| ask(&line, &json!({ "leak": readings })).unwrap();
    for readings in [
        json!({"near_open_ohm": 4, "near_joined_ohm": 3.5, "far_open_ohm": 8}),
        json!({"near_open_ohm": 4, "near_joined_ohm": 3.5, "far_open_ohm": 8, "far_joined_ohm": 7}),
        // The same place from one end: Blavier, the line's 8 ohms known.
        json!({"near_open_ohm": 4, "near_joined_ohm": 3.5}),
    ] {
        let answer = leak(readings);
        near(answer.distance_m.value(), 2000.0, 1e-6);
        near(answer.fault_ohm.unwrap().value(), 2.0, 1e-9);
    }
    let ohm = |value: f64| Ohms::new(value).unwrap();
    let leak = leak_from_both_ends(ohm(4.0), ohm(8.0), ohm(3.5)).unwrap();
    assert_eq!((leak.to_fault, leak.beyond), (ohm(2.0), ohm(6.0)));
}

#[test]
fn a_dead_short_is_half_the_loop_away() {
    // By hand: 12.7 ohms over WD-1 of 2 × 0.0635 ohms in a metre: 100 m; 10 degrees warmer, 1.0393 times as much.
    let wd_1 = |celsius: f64| json!([{"wire": "wd_1_tt", "length_m": 3000, "temperature_c": celsius}]);
    near(
        exactly(&wd_1(20.0), &json!({"short": {"near_ohm": 12.7}})).unwrap().distance_m.value(),
        100.0,
        1e-9,
    );
    near(
        exactly(&wd_1(30.0), &json!({"short": {"near_ohm": 12.7 * 1.0393}})).unwrap().distance_m.value(),
        100.0,
        1e-9,
    );
    // From both ends a fault of 5 ohms drops out: 381 ohms of loop, 127 + 5 and 254 + 5 ohms: 1000 m.
    let answer = exactly(&wd_1(20.0), &json!({"short": {"near_ohm": 132, "far_ohm": 259}})).unwrap();
    near(answer.distance_m.value(), 1000.0, 1e-9);
    near(answer.fault_ohm.unwrap().value(), 5.0, 1e-9);
    assert!(answer.notes.is_empty());
}

#[test]
fn mixed_sections_are_walked() {
    // By hand: 1000 m at 0.02 and 500 m at 0.1 ohms in a metre; 40 ohms out and back over the first, then 0.2 in a metre: 60 ohms
    // lies 100 m into the second.
    let line = json!([wire(0.02, 1000.0, 0.02), wire(0.1, 500.0, 0.02)]);
    let answer = exactly(&line, &json!({"short": {"near_ohm": 60}})).unwrap();
    near(answer.distance_m.value(), 1100.0, 1e-9);
    assert_eq!(answer.section, 1);
    near(answer.into_section_m.value(), 100.0, 1e-9);
    assert!(answer.shares.iter().any(|share| share.cause == "resistance of other wire"));
    // A cross with a wire of 0.03 ohms in a metre beside it: (0.02 + 0.03) over the first 1000 m: 25 ohms lies at 500 m.
    let cross = json!({"cross": {"near_ohm": 25, "other_sections": [wire(0.03, 1200.0, 0.02)]}});
    near(exactly(&line, &cross).unwrap().distance_m.value(), 500.0, 1e-9);
    // Beyond 1200 m the other wire is at an end: 50 + 200 × 0.13 = 76 ohms is the most that a cross can read.
    let cross = |near: f64| json!({"cross": {"near_ohm": near, "other_sections": [wire(0.03, 1200.0, 0.0)]}});
    near(exactly(&line, &cross(75.9)).unwrap().distance_m.value(), 1200.0 - 0.1 / 0.13, 1e-9);
    assert!(matches!(contradiction(exactly(&line, &cross(80.0))), Contradiction::BeyondTheFarEnd { .. }));
}

#[test]
fn wire_of_unknown_resistance_is_enough_where_the_test_measures_the_whole() {
    // By hand: a quarter of the loop is half of the conductor; 10 of 10 + 30 ohms is a quarter of the line.
    let line = json!([{"wire": "wf_16_u", "length_m": 1000}, {"wire": "wf_16_u", "length_m": 3000}]);
    for (test, metres) in [
        (json!({"murray": {"faulty_arm": 1, "sound_arm": 3, "loop_ohm": 90}}), 2000.0),
        // 50 ohms of leak, 10 and 30 of line: 60, 80, and 10 + 50 · 30 / 80 = 28.75.
        (json!({"leak": {"near_open_ohm": 60, "near_joined_ohm": 28.75, "far_open_ohm": 80}}), 1000.0),
    ] {
        near(ask(&line, &test).unwrap().distance_m.value(), metres, 1e-6);
    }
    let mut warmer = line.clone();
    warmer[1]["temperature_c"] = json!(30);
    for (line, test) in [
        (&line, json!({"murray": {"faulty_arm": 1, "sound_arm": 3}})),
        (&line, json!({"leak": {"near_open_ohm": 60, "near_joined_ohm": 28.75}})),
        (&line, json!({"short": {"near_ohm": 60}})),
        (&warmer, json!({"murray": {"faulty_arm": 1, "sound_arm": 3, "loop_ohm": 90}})),
    ] {
        let said = ask(line, &test).unwrap_err().to_string();
        assert!(said.starts_with("no resistance is known of WF-16/U: measure a known length"), "{said}");
    }
}

#[test]
fn splices_count_as_wire() {
    // By hand: 0.05 ohms in a metre and ten splices of 0.5 ohms over 1000 m make 55 ohms of conductor, evenly: 55 ohms out and back
    // lie at 500 m. Without the splices it would be 550 m.
    let mut section = wire(0.05, 1000.0, 0.0);
    section["splices"] = json!(10);
    let answer = fault::reckon(
        &serde_json::from_value(
            json!({"sections": [section], "splice_ohm": 0.5, "test": {"short": {"near_ohm": 55}}}),
        )
        .unwrap(),
    );
    near(answer.unwrap().distance_m.value(), 500.0, 1e-9);
}

#[test]
fn an_open_is_found_by_the_ratio_of_capacitances() {
    // By hand: a quarter of the capacitance of a line of one kind is a quarter of its length, whatever the wire.
    let line = json!([{"wire": "w_110_b", "length_m": 4000}]);
    for compared in [
        json!({"near_capacitance_f": 5e-8, "whole_capacitance_f": 2e-7}),
        json!({"near_capacitance_f": 5e-8, "far_capacitance_f": 1.5e-7}),
    ] {
        near(ask(&line, &json!({ "open": compared })).unwrap().distance_m.value(), 1000.0, 1e-6);
    }
    assert_eq!(
        ask(&line, &json!({"open": {"near_capacitance_f": 5e-8}})).unwrap_err().to_string(),
        "no capacitance is known of W-110-B: measure a known length and give sections[0].figures.capacitance_dry_f_per_m"
    );
    // Dry and wet: 1000 m at 50 pF/m and 1000 m at 100 pF/m; 100 nF of 150 nF lies half-way into the wet part.
    let of = |wet: bool| {
        json!({"wire": "other", "length_m": 1000, "wet": wet, "figures": {
        "capacitance_dry_f_per_m": 5e-11, "capacitance_wet_f_per_m": 1e-10, "capacitance_tolerance": 0.02}})
    };
    let test = json!({"open": {"near_capacitance_f": 1e-7, "whole_capacitance_f": 1.5e-7}});
    near(ask(&json!([of(false), of(true)]), &test).unwrap().distance_m.value(), 1500.0, 1e-6);
    // Without anything to compare with it stands on the figure, and is as good as that.
    let answer =
        ask(&json!([of(false), of(true)]), &json!({"open": {"near_capacitance_f": 2.5e-8}})).unwrap();
    near(answer.distance_m.value(), 500.0, 1e-6);
    // By hand: 500 m / 0.98 is 10.2 m farther by the wire's 2 %, and 1 % of the instrument's 5 m: √(10.2² + 5²) = 11.4 m.
    near(answer.uncertainty_m.value(), 11.36, 0.01);
}

#[test]
fn the_uncertainty_is_what_its_causes_add_up_to() {
    // By hand: 0.05 ohms in a metre and conductor, known to 2 %; short at 100 ohms: 1000 m. Instrument 1 % + 0.1 ohms = 1.1 ohms:
    // 11 m. Wire: 1000 / 0.98 − 1000 = 20.4 m. Temperature 5 degrees: 1000 / (1 − 0.01965) − 1000 = 20.0 m. Together 30.6 m.
    let answer = ask(&json!([wire(0.05, 5000.0, 0.02)]), &json!({"short": {"near_ohm": 100}})).unwrap();
    let shifts: Vec<f64> = answer.shares.iter().map(|share| share.shift_m.value()).collect();
    for (found, wanted) in shifts.iter().zip([20.408, 20.044, 11.0]) {
        near(*found, wanted, 0.001);
    }
    near(answer.uncertainty_m.value(), (20.408_f64.powi(2) + 20.044_f64.powi(2) + 121.0).sqrt(), 0.01);
    near(answer.farthest_m.value() - answer.distance_m.value(), answer.uncertainty_m.value(), 1e-9);
    assert!(answer.how.contains("squares") && !answer.cautions.is_empty());
}

#[test]
fn readings_that_cannot_all_be_true_are_refused_with_the_reason() {
    use Contradiction as C;
    let line = json!([wire(0.05, 1000.0, 0.02)]);
    let refuse = |test: Value| contradiction(ask(&line, &test));
    assert!(matches!(refuse(json!({"short": {"near_ohm": 120}})), C::BeyondTheFarEnd { .. }));
    assert!(matches!(refuse(json!({"short": {"near_ohm": 20, "far_ohm": 30}})), C::LessThanTheLine { .. }));
    assert!(matches!(refuse(json!({"short": {"near_ohm": 20, "far_ohm": 400}})), C::BeforeTheNearEnd { .. }));
    assert!(matches!(refuse(json!({"short": {"near_ohm": 400, "far_ohm": 20}})), C::BeyondTheFarEnd { .. }));
    assert!(matches!(refuse(json!({"cross": {"near_ohm": 150}})), C::BeyondTheFarEnd { .. }));
    assert!(matches!(
        refuse(json!({"murray": {"faulty_arm": 600, "sound_arm": 400}})),
        C::BeyondTheFarEnd { .. }
    ));
    assert!(matches!(
        refuse(json!({"murray": {"faulty_arm": 300, "sound_arm": 700, "loop_ohm": 60}})),
        C::NotTheRecordedLine { .. }
    ));
    assert!(matches!(refuse(json!({"varley": {"balance_ohm": 130}})), C::BeforeTheNearEnd { .. }));
    let leak = |readings: Value| refuse(json!({ "leak": readings }));
    assert!(matches!(leak(json!({"near_open_ohm": 50, "near_joined_ohm": 60})), C::JoinedAboveOpen { .. }));
    assert!(matches!(
        leak(json!({"near_open_ohm": 500, "near_joined_ohm": 130})),
        C::JoinedAboveTheLine { .. }
    ));
    // The whole line joined can read no less than a leak at its beginning lets it.
    assert!(matches!(leak(json!({"near_open_ohm": 90, "near_joined_ohm": 10})), C::BeforeTheNearEnd { .. }));
    assert!(matches!(
        leak(json!({"near_open_ohm": 60, "near_joined_ohm": 40, "far_open_ohm": 300})),
        C::BeforeTheNearEnd { .. } | C::NotTheRecordedLine { .. }
    ));
    // x = 20, leak 40, beyond 80: far joined has to read 80 + 40 · 20 / 60 = 93.3.
    assert!(matches!(
        leak(
            json!({"near_open_ohm": 60, "near_joined_ohm": 46.6667, "far_open_ohm": 120, "far_joined_ohm": 110})
        ),
        C::FarJoinedDoesNotFollow { .. }
    ));
    let wd_1 = json!([{"wire": "wd_1_tt", "length_m": 1000}]);
    let open = |readings: Value| contradiction(ask(&wd_1, &json!({ "open": readings })));
    assert!(matches!(
        open(json!({"near_capacitance_f": 40e-9, "whole_capacitance_f": 30e-9})),
        C::MoreThanTheWhole { .. }
    ));
    assert!(matches!(
        open(json!({"near_capacitance_f": 10e-9, "whole_capacitance_f": 90e-9})),
        C::NotTheWhole { .. }
    ));
    assert!(matches!(
        open(json!({"near_capacitance_f": 5e-9, "far_capacitance_f": 20e-9, "whole_capacitance_f": 33e-9})),
        C::NotTheWhole { .. }
    ));
    let said = ask(&line, &json!({"short": {"near_ohm": 120}})).unwrap_err().to_string();
    assert!(
        said.starts_with(
            "the readings contradict each other: the way to the fault comes to 120.00 Ω, and the whole way to the far end has \
             100.00 Ω; look for another kind of fault"
        ),
        "{said}"
    );
}

#[test]
fn a_reading_that_tolerance_explains_is_not_refused() {
    // 2 % of wire, 2 % of temperature and 1.1 ohms of instrument may make 104 ohms of a line of 100.
    let line = json!([wire(0.05, 1000.0, 0.02)]);
    let answer = ask(&line, &json!({"short": {"near_ohm": 104}})).unwrap();
    let end = Metres::new(1000.0).unwrap();
    assert_eq!((answer.distance_m, answer.farthest_m), (end, end));
}

#[test]
fn what_cannot_be_is_refused_with_field_and_range() {
    let line = json!([wire(0.05, 1000.0, 0.02)]);
    for (test, reason) in [
        (
            json!({"murray": {"faulty_arm": 0, "sound_arm": 1}}),
            "test.murray.faulty_arm is 0; give a number from 0.001",
        ),
        (
            json!({"varley": {"balance_ohm": 1, "arms_tolerance": 0.5}}),
            "test.varley.arms_tolerance is 0.5; give a number from 0 to 0.1",
        ),
        (
            json!({"murray": {"faulty_arm": 1, "sound_arm": 1, "loop_ohm": 0}}),
            "test.murray.loop_ohm is 0; give a number from 0.001",
        ),
        (
            json!({"leak": {"near_open_ohm": 0, "near_joined_ohm": 0}}),
            "test.leak.near_open_ohm is 0; give a number from 0.001",
        ),
        (
            json!({"open": {"near_capacitance_f": 1}}),
            "test.open.near_capacitance_f is 1; give a number from 0 to 0.001",
        ),
        (
            json!({"leak": {"near_open_ohm": 4, "near_joined_ohm": 3, "far_joined_ohm": 3}}),
            "test.leak.far_joined_ohm is given without test.leak.far_open_ohm: give both, or neither",
        ),
        (
            json!({"cross": {"near_ohm": 4, "other_sections": []}}),
            "test.cross.other_sections has 0 entries; give 1 to 200",
        ),
    ] {
        let said = ask(&line, &test).unwrap_err().to_string();
        assert!(said.starts_with(reason), "{said}");
    }
    let doubled = json!([{"wire": "wd_1_tt", "length_m": 100, "pairs_in_parallel": 2}]);
    assert_eq!(
        ask(&doubled, &json!({"short": {"near_ohm": 4}})).unwrap_err(),
        Error::SideBySide { field: "sections[0]".into() }
    );
    for hostile in ["{}", "[]", "{\"test\":{\"short\":{}}}", "{\"sections\":[],\"test\":\"short\"}"] {
        assert!(serde_json::from_str::<FaultInput>(hostile).is_err());
    }
}

#[test]
fn signs_point_at_the_fault_that_shows_them() {
    // SS0440 p. 59 and SS04377 pp. 10, 11: easy crank and nothing passes: open; hard crank: short; hum and weak: ground; another
    // party: cross. SS0438 p. 83: grounds before shorts.
    for (signs, fault) in [
        (vec![Sign::CrankEasy, Sign::NothingPasses], FaultKind::Open),
        (vec![Sign::ComesAndGoes], FaultKind::Open),
        (vec![Sign::CrankHard, Sign::NothingPasses], FaultKind::Short),
        (vec![Sign::Hum, Sign::Weak], FaultKind::Earth),
        (vec![Sign::Weak], FaultKind::Earth),
        (vec![Sign::OtherParty, Sign::OtherParty], FaultKind::Cross),
    ] {
        let suspects = suspects(&signs);
        assert_eq!(suspects[0].fault, fault, "{signs:?}");
    }
    assert!(suspects(&[]).is_empty());
    let weak: Vec<FaultKind> = suspects(&[Sign::Weak]).iter().map(|suspicion| suspicion.fault).collect();
    assert_eq!(weak, [FaultKind::Earth, FaultKind::Short]);
}

#[test]
fn halving_ends_where_the_fault_is() {
    let m = |metres: f64| Metres::new(metres).unwrap();
    let line = SearchStretch::new(Metres::ZERO, m(8.0 * MILE_M)).unwrap();
    // The logarithm to base 2 of 8 over 1/4 miles: 5 tests.
    assert_eq!(line.tests_needed(m(0.25 * MILE_M)), Ok(5));
    assert_eq!(line.tests_needed(line.length()), Ok(0));
    assert_eq!(line.tests_needed(Metres::ZERO), Err(halving::Error::NotWalkable(Metres::ZERO)));
    // The recorded place nearest to the middle, never an end of the stretch.
    let recorded = [Metres::ZERO, m(2000.0), m(6000.0), m(7000.0), m(8.0 * MILE_M)];
    assert_eq!(line.next_test(&recorded), m(6000.0));
    assert_eq!(line.next_test(&[Metres::ZERO]), m(4.0 * MILE_M));
    let at = m(6000.0);
    assert_eq!(line.after_test(at, true, false), SearchStretch::new(at, line.to()));
    assert_eq!(line.after_test(at, true, true), Err(halving::Error::NoBadSide { at }));
    assert_eq!(line.after_test(at, false, false), Err(halving::Error::TwoFaults { at }));
    assert!(line.after_test(m(13_000.0), true, false).is_err());
    assert!(SearchStretch::new(m(2.0), m(1.0)).is_err() && SearchStretch::new(m(-1.0), m(1.0)).is_err());
    assert!(serde_json::from_str::<SearchStretch>("{\"from_m\":2,\"to_m\":1}").is_err());
}

#[test]
fn the_longest_question_is_answered() {
    // 200 sections of 200 kinds on both lines: the most that a question may hold.
    let sections = |more: f64| -> Value {
        (0..200).map(|n| wire(0.01 + more + f64::from(n) * 1e-6, 100.0, 0.02)).collect()
    };
    let test = json!({"cross": {"near_ohm": 200, "other_sections": sections(0.01)}});
    let answer = ask(&sections(0.0), &test).unwrap();
    assert!(answer.distance_m.value() > 6000.0 && answer.shares.len() > 120);
}

proptest! {
    #[test]
    fn halving_at_the_middle_takes_no_more_tests_than_are_told(length in 10.0..1e5f64, part in 0.0..1.0f64) {
        let walkable = Metres::new(5.0).unwrap();
        let mut left = SearchStretch::new(Metres::ZERO, Metres::new(length).unwrap()).unwrap();
        let (told, fault) = (left.tests_needed(walkable).unwrap(), length * part);
        for _ in 0..told {
            let at = left.next_test(&[]);
            left = left.after_test(at, fault >= at.value(), fault < at.value()).unwrap();
        }
        prop_assert!(left.length() <= walkable && left.from().value() <= fault && fault <= left.to().value());
    }
}

/// A mesh of resistors, solved by Kirchhoff's law at every node: what a tester at two of them would read.
#[derive(Default)]
struct Mesh {
    resistors: Vec<(usize, usize, f64)>,
    /// For each node the one that it is joined to, or itself.
    nodes: Vec<usize>,
}

impl Mesh {
    fn node(&mut self) -> usize {
        self.nodes.push(self.nodes.len());
        self.nodes.len() - 1
    }

    fn resolve(&self, node: usize) -> usize {
        let next = self.nodes[node];
        if next == node { node } else { self.resolve(next) }
    }

    /// No ohms at all make one node of two.
    fn join(&mut self, a: usize, b: usize, ohm: f64) {
        if ohm > 0.0 {
            self.resistors.push((a, b, ohm));
        } else {
            let (a, b) = (self.resolve(a), self.resolve(b));
            self.nodes[a] = b;
        }
    }

    /// Potentials with one ampere sent in at `from` and taken out at `to`, which is held at nothing.
    fn potentials(&self, from: usize, to: usize) -> Vec<f64> {
        let n = self.nodes.len();
        let (from, to) = (self.resolve(from), self.resolve(to));
        let mut rows = vec![vec![0.0; n + 1]; n];
        for &(a, b, ohm) in &self.resistors {
            let (a, b, siemens) = (self.resolve(a), self.resolve(b), 1.0 / ohm);
            rows[a][a] += siemens;
            rows[b][b] += siemens;
            rows[a][b] -= siemens;
            rows[b][a] -= siemens;
        }
        rows[from][n] = 1.0;
        for (k, row) in rows.iter_mut().enumerate() {
            if self.resolve(k) != k {
                row[k] = 1.0;
            }
        }
        rows[to] = vec![0.0; n + 1];
        rows[to][to] = 1.0;
        // Gauss, with the largest pivot.
        for k in 0..n {
            let pivot = (k..n).max_by(|a, b| rows[*a][k].abs().total_cmp(&rows[*b][k].abs())).unwrap();
            rows.swap(k, pivot);
            let upper = rows[k].clone();
            for row in rows.iter_mut().skip(k + 1) {
                let factor = row[k] / upper[k];
                for (cell, above) in row.iter_mut().zip(&upper).skip(k) {
                    *cell -= factor * above;
                }
            }
        }
        let mut potentials = vec![0.0; n];
        for k in (0..n).rev() {
            let known: f64 = (k + 1..n).map(|j| rows[k][j] * potentials[j]).sum();
            potentials[k] = (rows[k][n] - known) / rows[k][k];
        }
        (0..n).map(|node| potentials[self.resolve(node)]).collect()
    }

    fn reads(&self, from: usize, to: usize) -> f64 {
        self.potentials(from, to)[from]
    }
}

/// A conductor of a simulated line: near end, the place of the fault, far end.
struct Conductor {
    near: usize,
    fault: usize,
    far: usize,
}

/// A line with a fault: pieces of (ohms in a metre, metres, degrees), and the metres to the fault.
#[derive(Debug, Clone)]
struct Truth {
    pieces: Vec<(f64, f64, f64)>,
    fault_m: f64,
    fault_ohm: f64,
}

impl Truth {
    fn length(&self) -> f64 {
        self.pieces.iter().map(|piece| piece.1).sum()
    }

    fn sections(&self, tolerance: f64) -> Value {
        let section = |(per_metre, length, celsius): &(f64, f64, f64)| {
            let mut section = wire(*per_metre, *length, tolerance);
            section["temperature_c"] = json!(celsius);
            section
        };
        self.pieces.iter().map(section).collect()
    }

    /// Lays one conductor into the mesh in many small resistors, each as warm as its piece.
    fn lay(&self, mesh: &mut Mesh, thicker: f64) -> Conductor {
        let near = mesh.node();
        let (mut last, mut walked, mut fault) = (near, 0.0, None);
        for &(per_metre, length, celsius) in &self.pieces {
            let warm = per_metre * thicker * (1.0 + 0.00393 * (celsius - 20.0));
            let mut cuts: Vec<f64> = (1..=4_u8).map(|n| walked + length * f64::from(n) / 4.0).collect();
            if self.fault_m > walked && self.fault_m < walked + length {
                cuts.push(self.fault_m);
                cuts.sort_by(f64::total_cmp);
                cuts.dedup();
            }
            for cut in cuts {
                if cut - walked < 1e-9 {
                    continue;
                }
                let next = mesh.node();
                mesh.join(last, next, warm * (cut - walked));
                (last, walked) = (next, cut);
                if fault.is_none() && (walked - self.fault_m).abs() < 1e-9 {
                    fault = Some(next);
                }
            }
        }
        Conductor { near, fault: fault.unwrap(), far: last }
    }

    /// A pair with the fault between its conductors, the ends open or joined.
    fn pair(&self, near_joined: bool, far_joined: bool) -> (Mesh, Conductor, Conductor) {
        let mut mesh = Mesh::default();
        let (a, b) = (self.lay(&mut mesh, 1.0), self.lay(&mut mesh, 1.0));
        mesh.join(a.fault, b.fault, self.fault_ohm);
        if near_joined {
            mesh.join(a.near, b.near, 0.0);
        }
        if far_joined {
            mesh.join(a.far, b.far, 0.0);
        }
        (mesh, a, b)
    }

    fn near_reads(&self, far_joined: bool) -> f64 {
        let (mesh, a, b) = self.pair(false, far_joined);
        mesh.reads(a.near, b.near)
    }

    fn far_reads(&self, near_joined: bool) -> f64 {
        let (mesh, a, b) = self.pair(near_joined, false);
        mesh.reads(a.far, b.far)
    }

    /// The loop as it is measured before the test, and the value of `arm` at which no current flows in the galvanometer: a bridge of
    /// arms `faulty` and `sound`, with a rheostat before the faulty conductor, and the battery between the arms and the earth.
    fn balance(&self, sound_thicker: f64, bridge: impl Fn(f64) -> (f64, f64, f64)) -> (f64, f64) {
        let unbalance = |arm: f64| {
            let (faulty_arm, sound_arm, rheostat) = bridge(arm);
            let mut mesh = Mesh::default();
            let (bad, good) = (self.lay(&mut mesh, 1.0), self.lay(&mut mesh, sound_thicker));
            let (apex, left, earth) = (mesh.node(), mesh.node(), mesh.node());
            mesh.join(bad.far, good.far, 0.0);
            mesh.join(apex, left, faulty_arm);
            mesh.join(left, bad.near, rheostat);
            mesh.join(apex, good.near, sound_arm);
            mesh.join(bad.fault, earth, self.fault_ohm);
            let potentials = mesh.potentials(apex, earth);
            potentials[left] - potentials[good.near]
        };
        let (mut low, mut high) = (1e-6, 1e6);
        let falling = unbalance(low) > 0.0;
        for _ in 0..200 {
            let middle = f64::midpoint(low, high);
            if (unbalance(middle) > 0.0) == falling { low = middle } else { high = middle }
        }
        let mut mesh = Mesh::default();
        let (bad, good) = (self.lay(&mut mesh, 1.0), self.lay(&mut mesh, sound_thicker));
        mesh.join(bad.far, good.far, 0.0);
        (low, mesh.reads(bad.near, good.near))
    }
}

fn truth() -> impl Strategy<Value = Truth> {
    (
        prop::collection::vec((0.005..0.2f64, 50.0..3000.0f64, -20.0..45.0f64), 1..4),
        0.02..0.98f64,
        1.0..500.0f64,
    )
        .prop_map(|(pieces, part, fault_ohm)| {
            let length: f64 = pieces.iter().map(|piece| piece.1).sum();
            Truth { pieces, fault_m: length * part, fault_ohm }
        })
}

proptest! {
    #[test]
    fn shorts_are_found_in_a_simulated_line(truth in truth()) {
        let sections = truth.sections(0.0);
        let dead = Truth { fault_ohm: 0.0, ..truth.clone() };
        let found = exactly(&sections, &json!({"short": {"near_ohm": dead.near_reads(false)}})).unwrap();
        prop_assert!((found.distance_m.value() - truth.fault_m).abs() < 0.01, "{found:?}");
        let test = json!({"short": {"near_ohm": truth.near_reads(false), "far_ohm": truth.far_reads(false)}});
        let found = exactly(&sections, &test).unwrap();
        prop_assert!((found.distance_m.value() - truth.fault_m).abs() < 0.01, "{found:?}");
        prop_assert!((found.fault_ohm.unwrap().value() - truth.fault_ohm).abs() < 1e-3);
    }

    #[test]
    fn leaks_are_found_in_a_simulated_line(truth in truth()) {
        let (open, joined) = (truth.near_reads(false), truth.near_reads(true));
        // A leak that takes next to nothing from the line cannot be told from none: the readings have to differ.
        prop_assume!(open - joined > 1e-3);
        let tests = [
            json!({"leak": {"near_open_ohm": open, "near_joined_ohm": joined}}),
            json!({"leak": {"near_open_ohm": open, "near_joined_ohm": joined,
                "far_open_ohm": truth.far_reads(false), "far_joined_ohm": truth.far_reads(true)}}),
        ];
        for test in tests {
            // Readings by Gauss are good to ten digits or so, and the square root halves them.
            let found = fault::reckon(&serde_json::from_value(json!({
                "sections": truth.sections(0.0), "temperature_tolerance_c": 0,
                "instrument": {"of_reading": 1e-7, "floor_ohm": 1e-6}, "test": test,
            })).unwrap()).unwrap();
            let off = (found.distance_m.value() - truth.fault_m).abs();
            prop_assert!(off < 0.5, "{off} {found:?}");
        }
    }

    #[test]
    fn earths_are_found_by_a_simulated_bridge(truth in truth(), sound in 0.3..3.0f64, ratio in 0.2..5.0f64) {
        let sound_sections = Truth {
            pieces: truth.pieces.iter().map(|(per_metre, length, celsius)| (per_metre * sound, *length, *celsius)).collect(),
            ..truth.clone()
        }
        .sections(0.0);
        // Murray: the faulty side's arm is moved.
        let (faulty_arm, whole) = truth.balance(sound, |arm| (arm, 1000.0, 0.0));
        let test = json!({"murray": {"faulty_arm": faulty_arm, "sound_arm": 1000, "loop_ohm": whole,
            "sound_sections": sound_sections}});
        let found = exactly(&truth.sections(1e-6), &test).unwrap();
        prop_assert!((found.distance_m.value() - truth.fault_m).abs() < 0.01, "{found:?}");
        // Varley: fixed arms, the rheostat is moved. It balances only where the faulty side needs more, not less.
        let whole_way = whole * ratio / (1.0 + ratio);
        if whole_way > found.to_fault_ohm.unwrap().value() * 1.01 {
            let (balance, whole) = truth.balance(sound, |rheostat| (1000.0 * ratio, 1000.0, rheostat));
            let test = json!({"varley": {"balance_ohm": balance, "faulty_arm": 1000.0 * ratio, "sound_arm": 1000,
                "loop_ohm": whole, "sound_sections": sound_sections}});
            let found = exactly(&truth.sections(1e-6), &test).unwrap();
            prop_assert!((found.distance_m.value() - truth.fault_m).abs() < 0.05, "{found:?}");
        }
    }

    #[test]
    fn an_earth_with_no_sound_wire_is_found_by_blavier(truth in truth()) {
        let reads = |far_earthed: bool| {
            let mut mesh = Mesh::default();
            let wire = truth.lay(&mut mesh, 1.0);
            let earth = mesh.node();
            mesh.join(wire.fault, earth, truth.fault_ohm);
            if far_earthed {
                mesh.join(wire.far, earth, 0.0);
            }
            mesh.reads(wire.near, earth)
        };
        let (open, joined) = (reads(false), reads(true));
        prop_assume!(open - joined > 1e-3);
        let test = json!({"leak": {"path": "earth", "near_open_ohm": open, "near_joined_ohm": joined}});
        let found = fault::reckon(&serde_json::from_value(json!({
            "sections": truth.sections(0.0), "temperature_tolerance_c": 0,
            "instrument": {"of_reading": 1e-7, "floor_ohm": 1e-6}, "test": test,
        })).unwrap()).unwrap();
        prop_assert!((found.distance_m.value() - truth.fault_m).abs() < 0.5, "{found:?}");
    }

    /// Whatever one cause is off by within its tolerance, the fault lies in the stretch that is told.
    #[test]
    fn the_true_place_lies_in_the_stretch(truth in truth(), off in -1.0..1.0f64, cause in 0..3) {
        let sections = truth.sections(0.02);
        let dead = Truth { fault_ohm: 0.0, ..truth.clone() };
        let truly = match cause {
            0 => Truth { pieces: dead.pieces.iter().map(|(r, l, t)| (r * (1.0 + 0.02 * off), *l, *t)).collect(), ..dead },
            1 => Truth { pieces: dead.pieces.iter().map(|(r, l, t)| (*r, *l, t + 5.0 * off)).collect(), ..dead },
            _ => dead,
        };
        let reading = truly.near_reads(false);
        let reading = if cause == 2 { (reading + off * 0.99 * (0.01 * reading + 0.1)).max(0.0) } else { reading };
        let found = ask(&sections, &json!({"short": {"near_ohm": reading}})).unwrap();
        // When several kinds of wire are off all one way at once they count as causes apart, added in squares: √3 for three.
        let spread = if cause == 0 { 3f64.sqrt() } else { 1.0 };
        let off_m = (found.distance_m.value() - truth.fault_m).abs();
        prop_assert!(off_m <= spread * found.uncertainty_m.value() + 0.01, "{off_m} {found:?}");
        prop_assert!(found.farthest_m.value() <= truth.length() + 1e-6);
    }
}

fn any_ohm() -> impl Strategy<Value = f64> {
    prop_oneof![Just(0.0), 0.0..1e-6f64, 0.0..1000.0f64, 0.0..=1e8f64, any::<f64>()]
}

proptest! {
    // Longer by hand: PROPTEST_CASES=100000 cargo test -p laywire-craft --test reckoning fault
    #[test]
    fn any_readings_are_answered_or_refused(
        a in any_ohm(), b in any_ohm(), c in any_ohm(), d in any_ohm(),
        lengths in prop::collection::vec((0.0..3e5f64, 0usize..5, any::<bool>(), 0u8..3), 0..5),
        method in 0..12,
    ) {
        let wires = [json!("wd_1_tt"), json!("wd_36_tt"), json!({"copper_awg": 22}), json!("wf_16_u"), json!("w_110_b")];
        let sections: Vec<Value> = lengths
            .iter()
            .map(|(length, wire, wet, pairs)| json!({"wire": wires[*wire], "length_m": length, "wet": wet,
                "pairs_in_parallel": pairs}))
            .collect();
        let test = match method {
            0 => json!({"short": {"near_ohm": a}}),
            1 => json!({"short": {"near_ohm": a, "far_ohm": b}}),
            2 => json!({"cross": {"near_ohm": a, "other_sections": sections}}),
            3 => json!({"murray": {"faulty_arm": a, "sound_arm": b}}),
            4 => json!({"murray": {"faulty_arm": a, "sound_arm": b, "loop_ohm": c, "sound_sections": sections}}),
            5 => json!({"varley": {"balance_ohm": a, "faulty_arm": b, "sound_arm": c, "loop_ohm": d}}),
            6 => json!({"leak": {"near_open_ohm": a, "near_joined_ohm": b}}),
            7 => json!({"leak": {"path": "earth", "near_open_ohm": a, "near_joined_ohm": b, "far_open_ohm": c,
                "far_joined_ohm": d}}),
            8 => json!({"open": {"near_capacitance_f": a * 1e-9}}),
            9 => json!({"open": {"near_capacitance_f": a * 1e-9, "far_capacitance_f": b * 1e-9}}),
            10 => json!({"open": {"near_capacitance_f": a * 1e-9, "far_capacitance_f": b * 1e-9,
                "whole_capacitance_f": c * 1e-9}}),
            _ => json!({"leak": {"near_open_ohm": [a], "near_joined_ohm": {"a": b}}, "short": c}),
        };
        if let Ok(input) = serde_json::from_value::<FaultInput>(json!({"sections": sections, "test": test}))
            && let Ok(answer) = fault::reckon(&input)
        {
            let length = answer.length_m;
            prop_assert!(answer.nearest_m <= answer.distance_m && answer.distance_m <= answer.farthest_m, "{answer:?}");
            prop_assert!(answer.nearest_m >= Metres::ZERO && answer.farthest_m <= length, "{answer:?}");
            prop_assert!(answer.uncertainty_m.value().is_finite() && answer.section < input.sections.len());
        }
    }
}

/// A line of 1,000 m of ground with 20 % of slack and 10 m at each end: 1,220 m of wire.
fn on_the_ground(line: &Value, length: f64, tolerance: f64, to_fault_m: f64) -> Result<FaultAnswer, Error> {
    fault::reckon(
        &serde_json::from_value(json!({
            "sections": [wire(0.0635, length, tolerance)], "temperature_tolerance_c": 0,
            "instrument": {"of_reading": 0, "floor_ohm": 0},
            "test": {"short": {"near_ohm": 2.0 * 0.0635 * to_fault_m}}, "line": line,
        }))
        .unwrap(),
    )
}

#[test]
fn a_distance_along_the_wire_is_a_stretch_of_the_ground_with_what_lies_in_it() {
    let line = json!({"legs": [{"length_m": 1000}],
        "splices": [{"chainage_m": 500}, {"chainage_m": 900}, {"chainage_m": 452, "name": "reel 2"}],
        "test_points": [{"chainage_m": 445, "name": "oak"}, {"chainage_m": 600}]});
    // By hand: 610 m of wire are 10 m of end and 600 m over 500 m of ground (SS0444 p. 23: 20 % of slack).
    let exact = on_the_ground(&line, 1220.0, 0.0, 610.0).unwrap().ground.unwrap();
    for chainage in [exact.from_chainage_m, exact.chainage_m, exact.to_chainage_m] {
        near(chainage.value(), 500.0, 1e-6);
    }
    let words = |marks: &[Landmark]| marks.iter().map(|mark| mark.words.clone()).collect::<Vec<_>>();
    // The wire is known within a tenth: the place may be at 610 / 1.1 or at 610 / 0.9 m, and the larger shift is kept.
    let vague = on_the_ground(&line, 1220.0, 0.1, 610.0).unwrap();
    let ground = vague.ground.clone().unwrap();
    near(ground.from_chainage_m.value(), (vague.nearest_m.value() - 10.0) / 1.2, 1e-6);
    near(ground.to_chainage_m.value(), (vague.farthest_m.value() - 10.0) / 1.2, 1e-6);
    near(vague.farthest_m.value(), 610.0 / 0.9, 1e-6);
    assert_eq!(words(&ground.inside), ["test point oak", "splice reel 2", "splice"]);
    assert_eq!(ground.before, None);
    let beyond = ground.beyond.unwrap();
    assert_eq!(
        (beyond.kind, beyond.number, beyond.words.as_str()),
        (LandmarkKind::TestPoint, 1, "test point")
    );
    assert!(ground.notes.iter().any(|note| note.contains("slack")));
}

#[test]
fn a_fault_in_a_crossings_own_wire_lies_at_the_crossing() {
    // By hand: a span of 30 m from 485 to 515 m of chainage, up 6 m before it: 10 + 1.2 × 485 + 15 (half the span for a spare,
    // SS0440 p. 31) to the tie's foot; 3 m farther is the wire up to the tie.
    let line = json!({"legs": [{"length_m": 1000}], "crossings": [{"chainage_m": 500, "obstacle": "road",
        "construction": "overhead_lance_poles", "width_m": 30, "tie_height_m": 6}]});
    let foot = 10.0 + 1.2 * 485.0 + 15.0;
    let whole = 20.0 + 1.2 * 970.0 + 30.0 + 12.0 + (30.0 + 8.0 * 0.36 / 90.0);
    let ground = on_the_ground(&line, whole, 0.0, foot + 3.0).unwrap().ground.unwrap();
    near(ground.wire_m.value(), whole, 1e-6);
    near(ground.chainage_m.value(), 485.0, 1e-6);
    assert_eq!(ground.inside.len(), 1);
    assert_eq!((ground.inside[0].kind, ground.inside[0].number), (LandmarkKind::Crossing, 0));
    assert_eq!(ground.inside[0].words, "road overhead on lance poles");
}

#[test]
fn sections_and_record_of_two_lengths_are_taken_in_proportion_or_refused() {
    let line = json!({"legs": [{"length_m": 1000}]});
    // Told as 1,342 m, a tenth more than the 1,220 m of the record: half of the one is half of the other.
    let ground = on_the_ground(&line, 1342.0, 0.0, 671.0).unwrap().ground.unwrap();
    near(ground.chainage_m.value(), 500.0, 1e-6);
    assert!(ground.notes.iter().any(|note| note.contains("in proportion")), "{:?}", ground.notes);
    let error = on_the_ground(&line, 2000.0, 0.0, 671.0).unwrap_err();
    assert_eq!(error.field().unwrap(), "sections");
    assert!(error.to_string().starts_with("sections come to 2000.00 m of wire"), "{error}");
}

#[test]
fn a_record_that_cannot_be_is_refused_by_the_field_in_it() {
    for (line, field) in [
        (json!({"legs": []}), "line.legs"),
        (json!({"legs": [{"length_m": 10}], "splices": [{"chainage_m": 11}]}), "line.splices[0].chainage_m"),
        (
            json!({"legs": [{"length_m": 10}], "test_points": [{"chainage_m": -1}]}),
            "line.test_points[0].chainage_m",
        ),
        (
            json!({"legs": [{"length_m": 10}], "crossings": [{"chainage_m": 5, "obstacle": "railway",
                "construction": "overhead_trees"}]}),
            "line.crossings[0].construction",
        ),
    ] {
        let error = on_the_ground(&line, 32.0, 0.0, 5.0).unwrap_err();
        assert_eq!(error.field().unwrap(), field, "{error}");
        assert!(error.to_string().starts_with("line."), "{error}");
    }
}

proptest! {
    /// The place on the ground is where the record lays the wire, and what is named is what the wire of the stretch passes.
    #[test]
    fn the_ground_is_where_the_record_lays_the_wire(
        length in 200.0..5_000.0_f64, at in prop::collection::vec(0.0..=1.0_f64, 0..6), splices in prop::collection::vec(0.0..=1.0_f64, 0..6),
        part in 0.0..=1.0_f64, tolerance in 0.0..0.1_f64,
    ) {
        let crossings: Vec<Value> = at
            .iter()
            .map(|part| json!({"chainage_m": part * length, "obstacle": "dirt_road", "construction": "buried"}))
            .collect();
        let input: wire::Input = serde_json::from_value(json!({"legs": [{"length_m": length}], "crossings": crossings})).unwrap();
        let layout = wire::Layout::new(&input).unwrap();
        let whole = layout.wire().value();
        let places: Vec<Value> = splices.iter().map(|part| json!({"chainage_m": part * length})).collect();
        let line = json!({"legs": [{"length_m": length}], "crossings": crossings, "splices": places});
        let answer = on_the_ground(&line, whole, tolerance, part * whole).unwrap();
        let ground = answer.ground.unwrap();
        prop_assert!(ground.from_chainage_m <= ground.chainage_m && ground.chainage_m <= ground.to_chainage_m);
        let hoped = layout.on_ground(answer.distance_m.min(layout.wire())).unwrap().chainage_m;
        prop_assert!((hoped - ground.chainage_m).value().abs() < 1e-6);
        let inside = |from: Metres, to: Metres| from <= answer.farthest_m && to >= answer.nearest_m;
        let splices_inside = splices.iter().filter(|part| {
            let along = layout.along_wire(Metres::new(*part * length).unwrap()).unwrap();
            inside(along.from_wire_m, along.to_wire_m)
        });
        let named = ground.inside.iter().filter(|mark| mark.kind == LandmarkKind::Splice);
        // Exactly at an end of the stretch, rounding decides.
        let edge = splices.iter().any(|part| {
            let along = layout.along_wire(Metres::new(*part * length).unwrap()).unwrap();
            (along.from_wire_m - answer.farthest_m).value().abs() < 1e-6 || (along.to_wire_m - answer.nearest_m).value().abs() < 1e-6
        });
        prop_assert!(edge || splices_inside.count() == named.count());
        let chainages: Vec<f64> = ground.inside.iter().map(|mark| mark.chainage_m.value()).collect();
        prop_assert!(chainages.is_sorted());
    }
}

/// What is stated: 'the stretch named contains the fault in at least this share'.
const STATED: f64 = 0.95;

/// A thousand faults of three kinds on lines of WD-1/TT, each line, lot of wire, temperature and reading off by its own. The
/// readings come from solving the mesh; what is off is drawn here: a lot as a rectangle within the tolerance of its sheet, the
/// temperature by up to 5 degrees, the instrument as a rectangle within what it is said to be off by.
#[test]
#[allow(clippy::print_stdout, reason = "what was measured is shown to whoever asks for it")]
fn of_a_thousand_faults_the_stretch_named_has_at_least_the_stated_share() {
    // What the sheet says of WD-1/TT: 0.0635 ohms in a metre of one conductor, known within 15 % (planning value).
    const PER_METRE: f64 = 0.0635;
    let mut rng = StdRng::seed_from_u64(26_11);
    let mut told = std::collections::BTreeMap::<&str, (u32, u32, Vec<f64>)>::new();
    for number in 0..1_000 {
        let length: f64 = rng.random_range(500.0..12_000.0);
        let celsius: f64 = rng.random_range(-15.0..35.0);
        let lot = 1.0 + 0.15 * rng.random_range(-1.0..1.0);
        let warmer = 5.0 * rng.random_range(-1.0..1.0);
        let truth = Truth {
            pieces: vec![(PER_METRE * lot, length, celsius + warmer)],
            fault_m: length * rng.random_range(0.02..0.98),
            fault_ohm: rng.random_range(1.0..400.0),
        };
        let arms = rng.random_range(-1.0..1.0);
        let mut read = |ohm: f64| (ohm + rng.random_range(-1.0..1.0) * (0.01 * ohm + 0.1)).max(0.0);
        let (kind, test) = match number % 3 {
            0 => {
                let dead = Truth { fault_ohm: 0.0, ..truth.clone() };
                ("short, dead, one end", json!({"short": {"near_ohm": read(dead.near_reads(false))}}))
            }
            1 => {
                let (near, far) = (read(truth.near_reads(false)), read(truth.far_reads(false)));
                ("short, both ends", json!({"short": {"near_ohm": near, "far_ohm": far}}))
            }
            _ => {
                let (arm, whole) = truth.balance(1.0, |arm| (arm, 1000.0, 0.0));
                let arm = arm * (1.0 + 0.005 * arms);
                let test = json!({"murray": {"faulty_arm": arm, "sound_arm": 1000, "loop_ohm": read(whole)}});
                ("earth, Murray", test)
            }
        };
        let sections = json!([{"wire": "wd_1_tt", "length_m": length, "temperature_c": celsius}]);
        let found = ask(&sections, &test);
        let entry = told.entry(kind).or_default();
        entry.0 += 1;
        // Readings that are refused name no stretch: they count as not found.
        let Ok(found) = found else { continue };
        let (nearest, farthest) = (found.nearest_m.value(), found.farthest_m.value());
        entry.1 += u32::from(nearest <= truth.fault_m && truth.fault_m <= farthest);
        entry.2.push((farthest - nearest) / length);
    }
    let (mut all, mut held) = (0, 0);
    for (kind, (faults, inside, lengths)) in &mut told {
        lengths.sort_by(f64::total_cmp);
        let median = lengths[lengths.len() / 2];
        println!(
            "{kind}: {inside} of {faults} in the stretch named; its length is {:.1} % of the line in the middle case, {:.1} % at most",
            median * 100.0,
            lengths.last().unwrap() * 100.0
        );
        // A stretch that is the whole line would hold any fault.
        assert!(median < 0.25, "{kind}: {median}");
        (all, held) = (all + *faults, held + *inside);
    }
    assert_eq!(all, 1_000);
    assert!(f64::from(held) >= STATED * f64::from(all), "{held} of {all}: {told:?}");
}
