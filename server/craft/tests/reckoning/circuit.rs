//! What a sound line should measure, against published tables and figures worked by hand.

use laywire_craft::circuit::{
    self, CircuitAnswer, CircuitInput, ReadingVerdict, TalkingVerdict, thin_pair_loss,
};
use laywire_craft::span::SpanWire;
use laywire_craft::units::{FaradsPerMetre, OhmsPerMetre};
use laywire_craft::wire_type::{Gauge, Standing, WireType};
use proptest::prelude::*;
use serde_json::{Value, json};

const MILE_M: f64 = 1609.344;

fn reckon(question: Value) -> CircuitAnswer {
    circuit::reckon(&serde_json::from_value(question).unwrap()).unwrap()
}

fn refused(question: Value) -> String {
    match serde_json::from_value::<CircuitInput>(question) {
        Ok(input) => circuit::reckon(&input).unwrap_err().to_string(),
        Err(error) => error.to_string(),
    }
}

fn near(found: f64, wanted: f64, within: f64) {
    assert!((found - wanted).abs() <= within, "{found} for {wanted} within {within}");
}

fn loop_ohm(answer: &CircuitAnswer) -> f64 {
    answer.expected.as_ref().unwrap().resistance_ohm.value()
}

#[test]
fn copper_by_gauge_agrees_with_the_tables() {
    // 22 and 24 AWG, ohms in 1000 ft: the published table at cirris.com. The others: computed by the definition of the gauge
    // (d = 0.005 in × 92^((36 − n) / 39)) and 10.371 Ω·cmil/ft; columns ohms in 1000 ft, in 1 km, in a loop mile.
    for (gauge, per_1000_ft, per_km, per_loop_mile) in [
        (16, 4.016, 13.17, 42.4),
        (18, 6.385, 20.95, 67.4),
        (19, 8.051, 26.42, 85.0),
        (20, 10.15, 33.31, 107.2),
        (22, 16.14, 52.96, 170.5),
        (23, 20.36, 66.79, 215.0),
        (24, 25.67, 84.21, 271.1),
        (26, 40.82, 133.9, 431.0),
    ] {
        let per_metre = Gauge::new(gauge).unwrap().copper().value();
        near(per_metre * 304.8, per_1000_ft, per_1000_ft * 4e-4);
        near(per_metre * 1000.0, per_km, per_km * 4e-4);
        let mile = reckon(json!({"sections": [{"wire": {"copper_awg": gauge}, "length_m": MILE_M}]}));
        near(loop_ohm(&mile), per_loop_mile, per_loop_mile * 1e-3);
    }
}

#[test]
fn the_copper_of_100_percent_iacs_is_that_of_its_definition() {
    // IEC 28 (1913), from memory: 1/58 Ω·mm²/m at 20 °C. 22 AWG has 0.64380 mm.
    let area_mm2 = std::f64::consts::PI * (0.127 * 92f64.powf(14.0 / 39.0)).powi(2) / 4.0;
    near(Gauge::new(22).unwrap().copper().value(), 1.0 / 58.0 / area_mm2, 1e-5);
}

#[test]
fn wd_1_has_about_204_ohms_in_a_loop_mile() {
    // 4 strands of copper and 3 of steel side by side, 0.011 in each (MIL-DTL-49104C p. 3 for the steel; the copper assumed
    // alike), steel at 6 to 8 times copper's resistivity: 201 to 207 ohms. 10.371 Ω·cmil/ft of copper.
    let cmil = 11.0 * 11.0;
    let loop_mile = |ratio: f64| 2.0 * 5280.0 * 10.371 / (4.0 * cmil + 3.0 * cmil / ratio);
    let mile = reckon(json!({"sections": [{"wire": "wd_1_tt", "length_m": MILE_M}]}));
    near(loop_ohm(&mile), loop_mile(7.0), 0.1);
    assert!(loop_mile(6.0) < loop_ohm(&mile) && loop_ohm(&mile) < loop_mile(8.0));
    // Remembered from manuals, not checked: 200 to 234 ohms. The tolerance has to take them in.
    let expected = mile.expected.unwrap();
    assert!(expected.least_ohm.value() < 200.0 && expected.most_ohm.value() > 234.0);
}

#[test]
fn losses_are_those_of_table_1_1() {
    // SS0440 p. 11, table 1-1: dB in a mile at 1 kHz, wet and dry.
    for (wire, wet, dry) in
        [("wd_1_tt", 2.5, 1.5), ("wd_1a_tt", 2.5, 1.5), ("wd_36_tt", 5.9, 3.6), ("wf_16_u", 2.6, 2.0)]
    {
        let answer = reckon(json!({"sections": [{"wire": wire, "length_m": 10.0 * MILE_M}]}));
        near(answer.loss_wet_db.unwrap().value(), 10.0 * wet, 1e-9);
        near(answer.loss_dry_db.unwrap().value(), 10.0 * dry, 1e-9);
    }
}

#[test]
fn put_ups_are_those_of_table_1_1() {
    // SS0440 p. 11, table 1-1, in miles. (The table misprints their kilometres.)
    for (wire, miles) in [
        (WireType::Wd1Tt, vec![0.25, 0.5, 1.0, 2.5]),
        (WireType::Wd36Tt, vec![0.25, 0.5]),
        (WireType::Wf16U, vec![1.0]),
        // 915th Field Artillery Battalion, p. 63: one mile on a truck's reel.
        (WireType::W110B, vec![1.0]),
    ] {
        let issued: Vec<f64> =
            wire.sheet().put_ups.iter().map(|length| length.value.value() / MILE_M).collect();
        assert_eq!(issued, miles, "{wire}");
    }
}

#[test]
fn weights_and_strengths_are_those_of_table_1_1() {
    // SS0440 p. 11, table 1-1: pounds in a mile, and in kilometres by hand; the pull that breaks it, in pounds.
    for (wire, pounds_a_mile, kg_per_km, breaks_lb) in [
        (WireType::Wd1Tt, 48.0, 13.5, 200.0),
        (WireType::Wd1aTt, 48.0, 13.5, 200.0),
        (WireType::Wd36Tt, 8.5, 2.40, 25.0),
        (WireType::Wf16U, 62.0, 17.5, 200.0),
    ] {
        let sheet = wire.sheet();
        let newtons = sheet.weight.unwrap().value.value();
        near(newtons * MILE_M / 9.806_65 / 0.453_592_37, pounds_a_mile, 1e-9);
        near(newtons * 1000.0 / 9.806_65, kg_per_km, 0.05);
        near(sheet.strength.unwrap().value.value() / 9.806_65 / 0.453_592_37, breaks_lb, 1e-9);
        assert_eq!(sheet.weight.unwrap().standing, Standing::Published, "{wire}");
    }
    // In newtons, by hand: 890 N for 200 lb, 111 N for 25 lb.
    near(WireType::Wd1Tt.sheet().strength.unwrap().value.value(), 890.0, 0.5);
    near(WireType::Wd36Tt.sheet().strength.unwrap().value.value(), 111.0, 0.5);
}

#[test]
fn the_wire_of_a_span_is_the_wire_of_the_sheet() {
    let sheet = WireType::Wd1Tt.sheet();
    let wire = SpanWire::default();
    assert_eq!(sheet.weight.unwrap().value, wire.weight_n_per_m);
    assert_eq!(sheet.diameter.unwrap().value, wire.diameter_m);
    assert_eq!(sheet.strength.unwrap().value, wire.strength_n);
    assert_eq!(sheet.stiffness.unwrap().value, wire.stiffness_n);
    assert_eq!(sheet.expansion.unwrap().value, wire.expansion_per_c);
}

#[test]
fn the_capacitance_of_wd_1_is_the_one_its_losses_imply() {
    // Reckoned from table 1-1 by α = √(π f R C): 29 nF/km dry gives 1.5 dB in a mile, 80 nF/km wet gives 2.5.
    let loop_resistance = OhmsPerMetre::from_const(0.127);
    for (farads, per_mile) in [(29e-12, 1.5), (80e-12, 2.5)] {
        let loss = thin_pair_loss(loop_resistance, FaradsPerMetre::from_const(farads));
        near(loss.value() * MILE_M, per_mile, 0.01);
    }
}

#[test]
fn kinds_in_series_add_up_as_each_lies() {
    // By hand from table 1-1: a mile of wet WD-1, 2.5 dB, and half a mile of dry WD-36, 1.8 dB.
    let answer = reckon(json!({"sections": [
        {"wire": "wd_1_tt", "length_m": MILE_M, "wet": true},
        {"wire": "wd_36_tt", "length_m": MILE_M / 2.0},
    ]}));
    near(answer.loss_db.unwrap().value(), 4.3, 1e-9);
    near(answer.loss_wet_db.unwrap().value(), 2.5 + 2.95, 1e-9);
    near(answer.loss_dry_db.unwrap().value(), 1.5 + 1.8, 1e-9);
    assert!(answer.notes.iter().any(|note| note.contains("thrown back")));
    let parts: f64 = answer.sections.iter().map(|section| section.resistance_ohm.unwrap().value()).sum();
    near(loop_ohm(&answer), parts, 1e-9);
}

#[test]
fn ten_degrees_add_four_percent_to_copper() {
    // NBS Handbook 100 (from memory): 0.00393 for each degree from 20 °C.
    let at = |celsius: f64| {
        loop_ohm(&reckon(
            json!({"sections": [{"wire": {"copper_awg": 22}, "length_m": 5000, "temperature_c": celsius}]}),
        ))
    };
    near(at(30.0) / at(20.0), 1.0393, 1e-12);
    near(at(-10.0) / at(20.0), 1.0 - 30.0 * 0.00393, 1e-12);
}

#[test]
fn loss_grows_with_the_root_of_the_resistance() {
    // By hand from α = √(π f R C): 2.5 dB in a mile of wet WD-1 at 68 °F (table 1-1); at 45 °C √(1 + 25 × 0.00393) as much.
    let answer = reckon(json!({"sections": [{"wire": "wd_1_tt", "length_m": MILE_M, "temperature_c": 45}]}));
    near(answer.loss_wet_db.unwrap().value(), 2.5 * 1.048_0, 1e-3);
}

#[test]
fn two_pairs_side_by_side_halve_the_resistance() {
    // SS0330, figure 52: the twin pair has half the resistance.
    let of = |pairs: u8| {
        loop_ohm(&reckon(json!({
            "splice_ohm": 0.5,
            "sections": [{"wire": "wd_1_tt", "length_m": 3000, "pairs_in_parallel": pairs, "splices": 4}],
        })))
    };
    near(of(2), of(1) / 2.0, 1e-9);
    // Four splices of half an ohm in each conductor: four ohms in the loop.
    near(of(1), 2.0 * 3000.0 * 0.0635 + 4.0, 1e-9);
}

#[test]
fn a_telephone_talks_as_far_as_is_told_of_it() {
    let verdict = |telephone: Value, miles: f64| {
        reckon(json!({"sections": [{"wire": "wd_1_tt", "length_m": miles * MILE_M}], "telephone": telephone}))
            .talking
            .unwrap()
    };
    // TA-312 (TM 11-5805-201-12, from memory): 14 miles wet, 22 miles dry. With the lesser allowance of the two, 33 dB, wet wire
    // reaches 13.2 miles.
    assert_eq!(verdict(json!("ta_312"), 13.0).verdict, TalkingVerdict::Talks);
    assert_eq!(verdict(json!("ta_312"), 14.0).verdict, TalkingVerdict::TalksWhileDry);
    assert_eq!(verdict(json!("ta_312"), 21.9).verdict, TalkingVerdict::TalksWhileDry);
    assert_eq!(verdict(json!("ta_312"), 22.1).verdict, TalkingVerdict::Beyond);
    near(verdict(json!("ta_312"), 5.0).reach_dry_m.unwrap().value() / MILE_M, 22.0, 1e-9);
    // TA-1 (personal.psu.edu/wmc12/telephones/TA-1.html): 4 miles, whether wet or dry is not told; taken as dry.
    assert_eq!(verdict(json!("ta_1"), 3.9).verdict, TalkingVerdict::TalksWhileDry);
    assert_eq!(verdict(json!("ta_1"), 4.1).verdict, TalkingVerdict::Beyond);
    let own = verdict(json!({"allowance_db": 30}), 10.0);
    near(own.margin_wet_db.unwrap().value(), 5.0, 1e-9);
    near(own.margin_dry_db.unwrap().value(), 15.0, 1e-9);
    let overdrawn = verdict(json!({"allowance_db": 20}), 10.0);
    near(overdrawn.margin_wet_db.unwrap().value(), -5.0, 1e-9);
}

#[test]
fn what_is_not_known_is_absent_and_said() {
    let answer = reckon(json!({"sections": [{"wire": "wf_16_u", "length_m": 1000}], "telephone": "ta_312"}));
    assert!(answer.expected.is_none() && answer.loss_wet_db.is_some());
    assert!(answer.notes[0].contains("no resistance is known of WF-16/U"), "{:?}", answer.notes);
    assert_eq!(
        refused(json!({"sections": [{"wire": "wf_16_u", "length_m": 1000}], "reading_ohm": 50})),
        "no resistance is known of WF-16/U: measure a known length and give sections[0].figures.resistance_ohm_per_m"
    );
    let answer = reckon(json!({"sections": [{"wire": "w_110_b", "length_m": 1000}], "telephone": "ta_312"}));
    assert_eq!(answer.talking.unwrap().verdict, TalkingVerdict::Unknown);
    assert!(answer.loss_db.is_none() && answer.figures.len() == 1);
    // Own figures fill the gap, and are said to be given.
    let answer = reckon(json!({"sections": [
        {"wire": "w_110_b", "length_m": 1000, "figures": {"resistance_ohm_per_m": 0.02, "capacitance_dry_f_per_m": 5e-11}},
    ]}));
    near(loop_ohm(&answer), 40.0, 1e-9);
    assert!(answer.loss_dry_db.is_some() && answer.loss_wet_db.is_none());
    assert!(answer.figures.iter().any(|figure| figure.standing == Standing::Given));
}

#[test]
fn a_reading_is_judged_by_what_the_line_should_read() {
    let judge = |reading: f64| {
        reckon(json!({
            "sections": [{"wire": {"copper_awg": 22}, "length_m": 2000}],
            "reading_ohm": reading,
        }))
        .reading
        .unwrap()
        .verdict
    };
    // By hand: 2 × 2000 m × 0.05296 = 211.8 ohms. Off by 1 % + 0.1 = 2.22 (instrument), 2 % = 4.24 (wire), 5 degrees = 1.965 % =
    // 4.16 (temperature); together √(2.22² + 4.24² + 4.16²) = 6.34 ohms.
    for (reading, verdict) in [
        (211.8, ReadingVerdict::AsExpected),
        (205.6, ReadingVerdict::AsExpected),
        (218.0, ReadingVerdict::AsExpected),
        (205.3, ReadingVerdict::Low),
        (218.3, ReadingVerdict::High),
        (0.0, ReadingVerdict::Low),
        (1e8, ReadingVerdict::High),
    ] {
        assert_eq!(judge(reading), verdict, "{reading}");
    }
}

#[test]
fn two_lots_of_wire_are_off_each_by_itself_and_one_lot_all_one_way() {
    // By hand: one conductor kind of 100 ohms loop at 10 %: halves of one lot are off 10 ohms, halves of two lots 5 and 5 ohms,
    // √50 = 7.07 together.
    let section = |ohm: f64| {
        json!({"wire": "other", "length_m": 1000, "figures": {
            "resistance_ohm_per_m": ohm, "resistance_tolerance": 0.1, "temperature_coefficient_per_c": 0}})
    };
    let tolerance = |sections: Value| {
        reckon(json!({"sections": sections, "instrument": {"of_reading": 0, "floor_ohm": 0}}))
            .expected
            .unwrap()
            .tolerance_ohm
            .value()
    };
    near(tolerance(json!([section(0.025), section(0.025)])), 10.0, 1e-9);
    near(tolerance(json!([section(0.025), section(0.025 + 1e-12)])), 50f64.sqrt(), 1e-6);
}

#[test]
fn what_cannot_be_is_refused_with_field_and_range() {
    let with = |name: &str, value: Value| {
        let mut section = json!({"wire": "wd_1_tt", "length_m": 100});
        section[name] = value;
        json!({ "sections": [section] })
    };
    for (question, reason) in [
        (json!({"sections": []}), "sections has 0 entries; give 1 to 200"),
        (with("length_m", json!(0)), "sections[0].length_m is 0; give a number from 0.1 to 200000"),
        (with("temperature_c", json!(-61)), "sections[0].temperature_c is -61; give a number from -60 to 95"),
        (
            with("pairs_in_parallel", json!(0)),
            "sections[0].pairs_in_parallel is 0; give a number from 1 to 8",
        ),
        (with("splices", json!(10001)), "sections[0].splices is 10001; give a number from 0 to 10000"),
        (
            with("figures", json!({"resistance_ohm_per_m": 0})),
            "sections[0].figures.resistance_ohm_per_m is 0; give a number from 0.00001 to 10",
        ),
        (with("length_m", json!(-1e9)), "a length in metres is -1000000000; give a number from"),
        (with("wire", json!("string")), "unknown variant `string`"),
        (with("colour", json!("red")), "unknown field `colour`"),
        (with("length_m", Value::Null), "invalid type: null"),
    ] {
        let said = refused(question);
        assert!(said.starts_with(reason), "{said}");
    }
    let line = json!([{"wire": "wd_1_tt", "length_m": 100}]);
    for (name, value, reason) in [
        ("splice_ohm", json!(11), "splice_ohm is 11; give a number from 0 to 10"),
        ("temperature_tolerance_c", json!(-1), "temperature_tolerance_c is -1; give a number from 0 to 40"),
        (
            "instrument",
            json!({"of_reading": 0.3}),
            "instrument.of_reading is 0.3; give a number from 0 to 0.2",
        ),
        ("instrument", json!({"floor_ohm": 101}), "instrument.floor_ohm is 101; give a number from 0 to 100"),
        ("telephone", json!({"allowance_db": 0}), "telephone.allowance_db is 0; give a number from 1 to 100"),
    ] {
        let mut question = json!({"sections": line});
        question[name] = value;
        assert_eq!(refused(question), reason);
    }
    let long = json!({"sections": vec![json!({"wire": "wd_1_tt", "length_m": 100}); 201]});
    assert_eq!(refused(long), "sections has 201 entries; give 1 to 200");
}

fn any_wire() -> impl Strategy<Value = Value> {
    prop_oneof![
        Just(json!("wd_1_tt")),
        Just(json!("wd_36_tt")),
        Just(json!("wf_16_u")),
        Just(json!("other")),
        (0u8..50).prop_map(|gauge| json!({ "copper_awg": gauge })),
    ]
}

proptest! {
    #[test]
    fn every_answer_is_a_number(
        lines in prop::collection::vec((any_wire(), -1e3..1e6f64, -70.0..100.0f64, 0u8..9, any::<u16>(), any::<bool>()), 0..6),
        reading in 0.0..1e8f64,
        splice in 0.0..11.0f64,
    ) {
        let sections: Vec<Value> = lines
            .into_iter()
            .map(|(wire, length, celsius, pairs, splices, wet)| json!({"wire": wire, "length_m": length, "temperature_c": celsius,
                "pairs_in_parallel": pairs, "splices": splices, "wet": wet}))
            .collect();
        let question = json!({"sections": sections, "reading_ohm": reading, "splice_ohm": splice, "telephone": "ta_312"});
        if let Ok(input) = serde_json::from_value::<CircuitInput>(question)
            && let Ok(answer) = circuit::reckon(&input)
        {
            let text = serde_json::to_value(&answer).unwrap();
            // A figure that is no number would be written as null.
            let expected = answer.expected.unwrap();
            prop_assert!(!text["expected"]["resistance_ohm"].is_null() && !text["expected"]["tolerance_ohm"].is_null());
            prop_assert!(expected.least_ohm <= expected.resistance_ohm && expected.resistance_ohm <= expected.most_ohm);
            prop_assert!(answer.loss_wet_db >= answer.loss_dry_db);
        }
    }
}
