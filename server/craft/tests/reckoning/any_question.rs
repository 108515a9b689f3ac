//! Whatever is sent to the reckoning is answered or refused, and never breaks it. Each case begins with a good question,
//! spoils it (figures at the edges of what a machine can hold, lists emptied and doubled, fields dropped, renamed and
//! exchanged, bytes overwritten, the end cut off) and puts it as bytes, as it would come over HTTP or on standard input.
//!
//! Longer by hand: `PROPTEST_CASES=20000 cargo test --release -p laywire-craft --test reckoning any_question`

use laywire_craft::bounds::NoAnswer;
use laywire_craft::geodesy::Position;
use laywire_craft::grid::GridReference;
use laywire_craft::profile::Profile;
use laywire_craft::trace::Trace;
use laywire_craft::units::Metres;
use laywire_craft::{circuit, fault, forecast, pace, reels, site, span, wire};
use proptest::prelude::*;
use serde::{Serialize, de::DeserializeOwned};
use serde_json::{Value, json};

/// Puts a question; what comes back has to be of some use, whichever it is.
fn put<Q: DeserializeOwned, A: Serialize, E: NoAnswer>(question: &[u8], reckon: impl Fn(&Q) -> Result<A, E>) {
    let Ok(question) = serde_json::from_slice::<Q>(question) else { return };
    match reckon(&question) {
        Ok(answer) => {
            let written = serde_json::to_string(&answer).unwrap();
            assert!(serde_json::from_str::<Value>(&written).unwrap().is_object());
        }
        Err(error) => {
            assert!(error.to_string().len() > 10, "a refusal says why: {error}");
            assert!(error.field().is_none_or(|field| !field.is_empty() && !field.contains(' ')), "{error}");
        }
    }
}

/// One way to spoil a question, at one of its values.
#[derive(Debug, Clone)]
enum Spoil {
    Number(f64),
    Times(f64),
    Whole(i64),
    Word(&'static str),
    Nothing,
    Emptied,
    Doubled,
    Many(usize),
    Dropped,
    Renamed,
    Wrapped,
    Exchanged(usize),
}

fn spoil() -> impl Strategy<Value = (usize, Spoil)> {
    let edges = prop::sample::select(vec![
        0.0,
        -0.0,
        -1.0,
        0.1,
        0.5,
        1.0,
        99.999_999,
        100.0,
        1e3,
        65_536.0,
        2e5,
        5e5,
        1e8,
        -1e8,
        1e300,
        -1e300,
        f64::MAX,
        f64::MIN_POSITIVE,
        5e-324,
    ]);
    let words = prop::sample::select(vec![
        "",
        " ",
        "\u{0}",
        "railway",
        "stream",
        "ladder",
        "under_rails",
        "overhead_trees",
        "wf_16_u",
        "b",
        "night",
    ]);
    let how = prop_oneof![
        4 => edges.prop_map(Spoil::Number),
        2 => any::<f64>().prop_map(Spoil::Number),
        4 => (0.0..3.0_f64).prop_map(Spoil::Times),
        1 => any::<i64>().prop_map(Spoil::Whole),
        2 => words.prop_map(Spoil::Word),
        1 => Just(Spoil::Nothing),
        1 => Just(Spoil::Emptied),
        2 => Just(Spoil::Doubled),
        1 => (1..60_usize).prop_map(Spoil::Many),
        1 => Just(Spoil::Dropped),
        1 => Just(Spoil::Renamed),
        1 => Just(Spoil::Wrapped),
        2 => any::<usize>().prop_map(Spoil::Exchanged),
    ];
    (any::<usize>(), how)
}

/// How many values a question holds, itself and what is in it.
fn size(value: &Value) -> usize {
    1 + match value {
        Value::Array(list) => list.iter().map(size).sum(),
        Value::Object(fields) => fields.values().map(size).sum(),
        _ => 0,
    }
}

/// The value of a number in the order of reading.
fn nth<'a>(value: &'a mut Value, number: &mut usize) -> Option<&'a mut Value> {
    if *number == 0 {
        return Some(value);
    }
    *number -= 1;
    match value {
        Value::Array(list) => list.iter_mut().find_map(|inner| nth(inner, number)),
        Value::Object(fields) => fields.values_mut().find_map(|inner| nth(inner, number)),
        _ => None,
    }
}

fn at(value: &mut Value, number: usize) -> Option<&mut Value> {
    let mut left = number % size(value);
    nth(value, &mut left)
}

fn apply(question: &mut Value, (place, how): (usize, Spoil)) {
    let other = match how {
        Spoil::Exchanged(other) => at(question, other).cloned(),
        _ => None,
    };
    let Some(value) = at(question, place) else { return };
    match how {
        Spoil::Number(number) => *value = json!(number),
        Spoil::Times(times) => {
            if let Some(number) = value.as_f64() {
                *value = json!(number * times);
            }
        }
        Spoil::Whole(number) => *value = json!(number),
        Spoil::Word(word) => *value = json!(word),
        Spoil::Nothing => *value = Value::Null,
        Spoil::Emptied => match value {
            Value::Array(list) => list.clear(),
            Value::Object(fields) => fields.clear(),
            other => *other = json!([]),
        },
        Spoil::Doubled => {
            if let Value::Array(list) = value {
                list.extend(list.clone());
            }
        }
        Spoil::Many(times) => {
            if let Value::Array(list) = value
                && let Some(first) = list.first().cloned()
                && list.len() < 200
            {
                list.extend(vec![first; times]);
            }
        }
        Spoil::Dropped | Spoil::Renamed => {
            if let Value::Object(fields) = value
                && let Some(name) = fields.keys().nth(place % fields.len().max(1)).cloned()
            {
                let dropped = fields.remove(&name);
                if let (Spoil::Renamed, Some(dropped)) = (how, dropped) {
                    fields.insert(format!("{name}s"), dropped);
                }
            }
        }
        Spoil::Wrapped => *value = json!([value.clone()]),
        Spoil::Exchanged(_) => *value = other.unwrap_or(Value::Null),
    }
}

/// Spoilt questions as bytes; few of them are no JSON at all.
fn spoilt(good: Vec<Value>) -> impl Strategy<Value = Vec<u8>> {
    let bytes = prop_oneof![
        4 => Just(Vec::new()),
        1 => prop::collection::vec((any::<usize>(), any::<u8>()), 1..4),
    ];
    let cut = prop_oneof![9 => Just(None), 1 => any::<usize>().prop_map(Some)];
    (prop::sample::select(good), prop::collection::vec(spoil(), 0..6), bytes, cut).prop_map(
        |(mut question, spoils, bytes, cut)| {
            for spoil in spoils {
                apply(&mut question, spoil);
            }
            let mut text = question.to_string().into_bytes();
            for (place, byte) in bytes {
                let place = place % text.len();
                text[place] = byte;
            }
            if let Some(cut) = cut {
                text.truncate(cut % (text.len() + 1));
            }
            text
        },
    )
}

fn lines() -> Value {
    json!([
        { "wire": "wd_1_tt", "length_m": 3000, "splices": 3, "wet": true, "temperature_c": 5 },
        { "wire": { "copper_awg": 22 }, "length_m": 400, "figures": { "capacitance_dry_f_per_m": 5e-11,
            "capacitance_wet_f_per_m": 8e-11, "loss_dry_db_per_m": 0.001, "resistance_tolerance": 0.01 } },
    ])
}

fn crossings() -> Value {
    json!([
        { "chainage_m": 300, "obstacle": "road", "construction": "overhead_lance_poles", "width_m": 30 },
        { "chainage_m": 900, "obstacle": "dirt_road", "construction": "buried", "depth_m": 0.2, "tail_m": 1 },
        { "chainage_m": 1400, "obstacle": "railway", "construction": "under_rails" },
        { "chainage_m": 1900, "obstacle": "road", "construction": "through_culvert", "detour_m": 40 },
        { "chainage_m": 2500, "obstacle": "road", "construction": "ladder" },
    ])
}

fn circuits() -> Vec<Value> {
    vec![
        json!({ "sections": lines(), "telephone": "ta_312", "reading_ohm": 380, "splice_ohm": 0.02 }),
        json!({ "sections": [{ "wire": "other", "length_m": 10, "pairs_in_parallel": 2 }],
            "telephone": { "allowance_db": 20 }, "instrument": { "of_reading": 0.02, "floor_ohm": 1 } }),
    ]
}

fn faults() -> Vec<Value> {
    let line = json!({ "legs": [{ "length_m": 2000 }, { "length_m": 800, "slack_percent": 10 }], "crossings": crossings(),
        "splices": [{ "chainage_m": 700 }, { "chainage_m": 2100, "name": "reel 2" }],
        "test_points": [{ "chainage_m": 1500, "name": "TP 1" }], "figures": { "end_m": 5 } });
    [
        json!({ "short": { "near_ohm": 120, "far_ohm": 300 } }),
        json!({ "cross": { "near_ohm": 120, "other_sections": lines() } }),
        json!({ "murray": { "faulty_arm": 300, "sound_arm": 700, "loop_ohm": 420, "sound_sections": lines() } }),
        json!({ "varley": { "balance_ohm": 100, "faulty_arm": 10, "sound_arm": 10 } }),
        json!({ "leak": { "path": "earth", "near_open_ohm": 400, "near_joined_ohm": 150, "far_open_ohm": 450 } }),
        json!({ "open": { "near_capacitance_f": 5e-8, "far_capacitance_f": 1.5e-7 } }),
    ]
    .into_iter()
    .map(|test| json!({ "sections": lines(), "test": test, "line": line, "temperature_tolerance_c": 3 }))
    .collect()
}

fn spans() -> Vec<Value> {
    let ties = |strung: Value, loading: Value| {
        json!({ "span_m": 30.48, "left": { "tie_height_m": 6.2 }, "right": { "tie_height_m": 6.2, "ground_m": 1 },
            "strung": strung, "loading": loading, "construction": "overhead_trees", "share": 0.5,
            "over": { "obstacle": "road", "from_m": 8, "to_m": 20, "crown_m": 0.1, "least_clearance_m": 4.5 },
            "wire": { "weight_n_per_m": 0.13, "diameter_m": 0.004, "strength_n": 890, "stiffness_n": 130_000,
                "expansion_per_c": 14e-6 }, "lance_pole": { "length_m": 4.3, "set_m": 0.6 } })
    };
    vec![
        ties(json!({ "sag_m": 0.9 }), json!("heavy")),
        ties(json!({ "tension_n": 40 }), json!("light")),
        ties(
            json!({ "wire_length_m": 30.6 }),
            json!({ "custom": { "temperature_c": -5, "ice_m": 0.01, "wind_pa": 200 } }),
        ),
    ]
}

fn sites() -> Vec<Value> {
    vec![
        json!({ "obstacle": "road", "hard_surface": true, "public": true, "width_m": 7.5, "span_m": 24,
            "culvert": { "there": true, "distance_m": 60, "flooded": false }, "bridge": { "there": false }, "trees": true,
            "poles": { "there": true, "carry_power": false }, "lance_poles": 4,
            "lance_pole": { "length_m": 4.3, "set_m": 0.6 }, "diggable": false,
            "power_line": { "there": true, "distance_m": 40, "kilovolts": 33 }, "light": "night", "lead_means": "wagon" }),
        json!({ "obstacle": "stream", "width_m": 12, "span_m": 20, "water": { "highest_m": -0.5, "current": "fast" },
            "bridge": { "there": true, "distance_m": 200, "flooded": false } }),
        json!({ "obstacle": "railway", "width_m": 4, "culvert": { "there": false } }),
    ]
}

fn wires() -> Vec<Value> {
    vec![
        json!({ "legs": [{ "name": "to the wood", "length_m": 2000 }, { "length_m": 800, "slack_percent": 25 }],
        "crossings": crossings(), "splices": 2, "at_chainages_m": [0, 300, 2800], "at_wires_m": [0, 100, 3000],
        "figures": { "slack_percent": 20, "end_m": 10, "tail_m": 2, "trench_spare_m": 1, "splice_m": 0.3 } }),
    ]
}

fn reel_stocks() -> Vec<Value> {
    let reel =
        |label: &str, left: f64| json!({ "label": label, "left_m": left, "wire": "WD-1", "class": "a" });
    vec![json!({ "length_m": 2800, "ends_m": 1, "wire": "WD-1", "class_b": true,
        "no_splice": [{ "from_m": 380, "to_m": 420, "what": "stream" }, { "from_m": 1600, "to_m": 1660 }],
        "reels": [reel("1", 1609.0), reel("2", 805.0), reel("3", 402.0), reel("4", 1609.0)] })]
}

fn paces() -> Vec<Value> {
    let crossings: Vec<Value> = [(300, "road", "overhead_trees"), (900, "dirt_road", "buried")]
        .into_iter()
        .map(|(at, obstacle, how)| json!({ "chainage_m": at, "obstacle": obstacle, "construction": how, "lead_min": 4 }))
        .collect();
    vec![
        json!({ "legs": [{ "length_m": 2000, "ground": "wooded" }, { "length_m": 800 }], "crossings": crossings,
        "reel_changes": 2, "light": "night", "lead_means": "wagon", "follow_up_means": "vehicle", "follow_up_after_min": 15,
        "figures": { "lead_rate_m_per_min": 100, "follow_up_rate_m_per_min": 90, "night_times": 2,
            "ground_times": [{ "ground": "wet", "times": 3 }], "reel_change_min": 4, "end_test_min": 3,
            "constructions": [{ "construction": "buried", "lead_min": 4, "follow_up_min": 12 }] } }),
    ]
}

fn forecasts() -> Vec<Value> {
    let wide = json!({ "least": 0.5, "most": 2 });
    vec![
        json!({ "line": paces()[0], "follow_up_teams": 3, "order": "nearest", "runs": 20, "seed": 7, "try_helps": true,
        "spread": { "laying": wide, "crossings": wide, "teams": wide },
        "sun": { "from": "2026-11-26T15:00:00Z", "place": [-4.6, 54.1] },
        "breaks": { "after_min": 60, "length_min": 10 },
        "so_far": { "laid_m": 500, "crossings": [{ "crossing": 0, "done": "in_hand", "for_min": 5 }],
            "teams_at_m": [100], "lead_times": 1.5, "follow_up_times": 0.8 } }),
    ]
}

fn traces() -> Vec<Value> {
    vec![
        json!([[-4.65, 54.10], [-4.65, 54.11], [-4.64, 54.11]]),
        json!([[179.9, -10.0], [-179.9, -10.1]]),
        json!([[0, 89.99], [180, 89.99], [90, 90]]),
    ]
}

fn answered<Q: DeserializeOwned, A, E: NoAnswer>(questions: Vec<Value>, reckon: impl Fn(&Q) -> Result<A, E>) {
    for question in questions {
        let read: Q = serde_json::from_value(question).unwrap();
        if let Err(error) = reckon(&read) {
            panic!("{error}");
        }
    }
}

#[test]
fn every_question_is_good_before_it_is_spoilt() {
    answered(circuits(), circuit::reckon);
    answered(faults(), fault::reckon);
    answered(spans(), span::reckon);
    answered(sites(), |question| site::reckon(question, Profile::field()));
    answered(wires(), wire::reckon);
    answered(paces(), pace::reckon);
    answered(forecasts(), forecast::reckon);
    answered(reel_stocks(), reels::reckon);
    for trace in traces() {
        serde_json::from_value::<Trace>(trace).unwrap();
    }
}

proptest! {
    #[test]
    fn any_circuit_is_answered_or_refused(question in spoilt(circuits())) {
        put(&question, circuit::reckon);
    }

    #[test]
    fn any_fault_is_answered_or_refused(question in spoilt(faults())) {
        put(&question, fault::reckon);
    }

    #[test]
    fn any_span_is_answered_or_refused(question in spoilt(spans())) {
        put(&question, span::reckon);
    }

    #[test]
    fn any_crossing_is_answered_or_refused(question in spoilt(sites())) {
        put(&question, |question| site::reckon(question, Profile::field()));
    }

    #[test]
    fn any_wire_is_answered_or_refused(question in spoilt(wires())) {
        put(&question, wire::reckon);
    }

    #[test]
    fn any_pace_is_answered_or_refused(question in spoilt(paces())) {
        put(&question, pace::reckon);
    }

    #[test]
    fn any_trace_is_taken_or_refused(question in spoilt(traces()), part in -0.1..1.1_f64, lon in any::<f64>(), lat in -91.0..91.0_f64) {
        let Ok(trace) = serde_json::from_slice::<Trace>(&question) else { return Ok(()) };
        if let Ok(chainage) = Metres::new(part * trace.length().value()) {
            prop_assert_eq!(trace.at(chainage).is_some(), chainage >= Metres::ZERO && chainage <= trace.length());
        }
        if let Ok(place) = Position::new(lon, lat) {
            let nearest = trace.nearest(place);
            prop_assert!(nearest.offset >= Metres::ZERO && nearest.chainage <= trace.length());
        }
    }

    #[test]
    fn any_text_is_a_grid_reference_or_refused(text in prop_oneof!["[0-9A-Z ]{0,20}", "[1-6]?[0-9][C-HJ-NP-X][A-HJ-NP-Z][A-HJ-NP-V][0-9]{0,12}", "\\PC{0,40}"]) {
        match text.parse::<GridReference>() {
            Ok(reference) => prop_assert!(reference.spaced().parse::<GridReference>().is_ok(), "{text}"),
            Err(error) => prop_assert!(!error.to_string().is_empty()),
        }
    }
}

proptest! {
    // A choice of reels and a forecast are long work: an eighth of the others' cases.
    #![proptest_config(ProptestConfig { cases: ProptestConfig::default().cases.div_ceil(8), ..ProptestConfig::default() })]

    #[test]
    fn any_forecast_is_answered_or_refused(question in spoilt(forecasts())) {
        put(&question, forecast::reckon);
    }

    #[test]
    fn any_stock_of_reels_is_answered_or_refused(question in spoilt(reel_stocks())) {
        put(&question, reels::reckon);
    }
}
