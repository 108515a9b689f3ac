//! The reckoning: the same JSON over HTTP as on the command line, and a question without an answer says why.

use std::{io::Write, process::Stdio};

use laywire_tests::{
    Ground,
    crew::{Answer, Crew},
    process::binary,
};
use reqwest::Method;
use serde_json::{Value, json};

fn on_the_command_line(what: &str, question: &Value) -> (bool, String) {
    let mut child = std::process::Command::new(binary())
        .args(["reckon", what])
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .unwrap();
    child.stdin.take().unwrap().write_all(question.to_string().as_bytes()).unwrap();
    let output = child.wait_with_output().unwrap();
    let said = if output.status.success() { output.stdout } else { output.stderr };
    (output.status.success(), String::from_utf8(said).unwrap())
}

async fn asked(ground: &Ground, what: &str, question: &Value) -> Answer {
    Answer::to(ground.post.request(Method::POST, &format!("/api/reckon/{what}")).json(question)).await
}

/// A question for each kind of reckoning that is offered.
fn questions() -> [(&'static str, Value); 8] {
    let line = json!([{ "wire": "wd_1_tt", "length_m": 6400 }]);
    [
        ("circuit", json!({ "sections": line, "telephone": "ta_312" })),
        (
            "crossing",
            json!({ "obstacle": "road", "hard_surface": true, "trees": true, "light": "night",
                "culvert": { "there": true, "distance_m": 40 }, "power_line": { "there": false } }),
        ),
        (
            "fault",
            json!({ "sections": line, "test": { "short": { "near_ohm": 300, "far_ohm": 515 } },
                "line": { "legs": [{ "length_m": 5300 }], "splices": [{ "chainage_m": 2000 }] } }),
        ),
        (
            "forecast",
            json!({ "line": { "legs": [{ "length_m": 3000 }], "crossings": [
                { "chainage_m": 500, "obstacle": "dirt_road", "construction": "overhead_lance_poles" }] },
                "sun": { "from": "2026-11-26T15:00:00Z", "place": [-4.6, 54.1] }, "runs": 200, "seed": 3 }),
        ),
        (
            "pace",
            json!({ "legs": [{ "length_m": 3000, "ground": "wooded" }], "lead_means": "foot", "light": "night",
                "crossings": [{ "chainage_m": 500, "obstacle": "dirt_road", "construction": "buried" }] }),
        ),
        (
            "reels",
            json!({ "length_m": 2800, "no_splice": [{ "from_m": 1600, "to_m": 1660, "what": "stream" }],
                "reels": [{ "label": "A 1", "left_m": 1620 }, { "label": "A 2", "left_m": 1300 }] }),
        ),
        (
            "span",
            json!({ "span_m": 30.48, "left": { "tie_height_m": 6.2 }, "right": { "tie_height_m": 6.2 },
                "strung": { "sag_m": 0.9 } }),
        ),
        (
            "wire",
            json!({ "legs": [{ "length_m": 3000 }], "at_wires_m": [700],
                "crossings": [{ "chainage_m": 500, "obstacle": "road", "construction": "overhead_trees" }] }),
        ),
    ]
}

#[tokio::test]
async fn the_answer_is_the_same_over_http_and_on_the_command_line() {
    let ground = Ground::open().await;
    for (what, question) in questions() {
        let answer = asked(&ground, what, &question).await.ok(200);
        let (good, said) = on_the_command_line(what, &question);
        assert!(good, "{said}");
        assert_eq!(serde_json::from_str::<Value>(&said).unwrap(), answer, "{what}");
    }
}

#[tokio::test]
async fn a_question_without_an_answer_names_the_field() {
    let ground = Ground::open().await;
    for (what, question, field, why) in [
        (
            "circuit",
            json!({ "sections": [{ "wire": "wd_1_tt", "length_m": -1 }] }),
            "sections[0].length_m",
            "sections[0].length_m is -1; give a number from 0.1 to 200000",
        ),
        (
            "fault",
            json!({ "sections": [{ "wire": "wd_1_tt", "length_m": 12 }], "test": { "short": { "near_ohm": 1 } },
                "line": { "legs": [{ "length_m": 10, "slack_percent": 101 }] } }),
            "line.legs[0].slack_percent",
            "line.legs[0].slack_percent is 101; give a number from 0 to 100",
        ),
        ("pace", json!({ "legs": [] }), "legs", "legs has 0 entries; give 1 to 100000"),
        (
            "reels",
            json!({ "length_m": 100, "reels": [{ "label": "A 1", "left_m": 20_001 }] }),
            "reels[0].left_m",
            "reels[0].left_m is 20001; give a number from 0 to 20000",
        ),
        (
            "span",
            json!({ "span_m": 0.1, "left": { "tie_height_m": 6 }, "right": { "tie_height_m": 6 },
                "strung": { "sag_m": 0.9 } }),
            "span_m",
            "span_m is 0.1; give a number from 0.5 to 2000",
        ),
        (
            "wire",
            json!({ "legs": [{ "length_m": 100 }], "crossings": [{ "chainage_m": 101, "obstacle": "road",
                "construction": "overhead_trees" }] }),
            "crossings[0].chainage_m",
            "crossings[0].chainage_m is 101; give a number from 0 to 100",
        ),
    ] {
        let document = asked(&ground, what, &question).await.problem(422, "cannot-reckon");
        assert_eq!(document["field"], field, "{document}");
        assert_eq!(document["title"], format!("{why}."), "{what}");
        let (good, said) = on_the_command_line(what, &question);
        assert!(!good && said.contains(why), "{said}");
    }
}

#[tokio::test]
async fn readings_that_contradict_each_other_name_no_field() {
    let ground = Ground::open().await;
    let question = json!({ "sections": [{ "wire": "wd_1_tt", "length_m": 100 }], "test": { "short": { "near_ohm": 900 } } });
    let document = asked(&ground, "fault", &question).await.problem(422, "cannot-reckon");
    assert!(document.get("field").is_none(), "{document}");
}

#[tokio::test]
async fn a_larger_question_than_the_service_takes_is_refused_before_it_is_reckoned() {
    let ground = Ground::open().await;
    let question =
        json!({ "length_m": 100, "reels": vec![json!({ "label": "x".repeat(40), "left_m": 1 }); 20_000] });
    asked(&ground, "reels", &question).await.problem(413, "too-large");
    let many = json!({ "length_m": 100, "reels": vec![json!({ "label": "A", "left_m": 1 }); 501] });
    let document = asked(&ground, "reels", &many).await.problem(422, "cannot-reckon");
    assert_eq!((document["field"].as_str(), document["status"].as_i64()), (Some("reels"), Some(422)));
}

/// A lead team, its line, and a road that it has marked on it.
async fn line(ground: &Ground) -> (Crew, String, String) {
    let lead = ground.crew("lead_team", "Lead 1").await;
    let line = ground.post.line("12").await;
    let road = lead.crossing(&line, [-4.66, 54.0843]).await;
    (lead, line, road)
}

#[tokio::test]
async fn a_stored_line_is_reckoned_as_the_same_question_put_by_hand() {
    let ground = Ground::open().await;
    let (_, line, road) = line(&ground).await;
    let told = ground.post.get("/lines").await.ok(200);
    let length = &told["features"][0]["properties"]["length_m"];
    let answer = ground.post.get(&format!("/lines/{line}/wire?light=night&lead_means=vehicle")).await.ok(200);
    assert_eq!(answer["line"], line);
    assert_eq!(answer["along"], "planned");
    assert_eq!(&answer["wire"]["ground_m"], length);
    assert_eq!(answer["crossings"][0]["crossing"], road);
    assert_eq!(answer["asked_wire"]["crossings"][0]["construction"], "overhead_lance_poles");
    for (what, question, hoped) in
        [("wire", &answer["asked_wire"], &answer["wire"]), ("pace", &answer["asked_pace"], &answer["pace"])]
    {
        assert_eq!(&asked(&ground, what, question).await.ok(200), hoped, "{what}");
    }
    assert_eq!(answer["asked_pace"]["light"], "night");
    // The stretches are a question of reels as they stand.
    let stretches = answer["no_splice"].as_array().unwrap();
    assert_eq!(stretches.len(), 1);
    let no_splice: Vec<Value> = stretches
        .iter()
        .map(|s| json!({ "from_m": s["from_m"], "to_m": s["to_m"], "what": s["what"] }))
        .collect();
    let question = json!({ "length_m": answer["draw_m"], "no_splice": no_splice,
        "reels": vec![json!({ "label": "mile", "left_m": 1609 }); 3] });
    let plan = asked(&ground, "reels", &question).await.ok(200);
    assert_eq!(plan["outcome"]["outcome"], "planned", "{plan}");
}

#[tokio::test]
async fn what_is_laid_stands_in_the_lines_wire() {
    let ground = Ground::open().await;
    let (lead, line, _) = line(&ground).await;
    let reel = json!({ "kind": "reel_started", "line": line, "reel": laywire_tests::id(), "label": "A 1", "length_m": 1600 });
    lead.records(reel).await;
    lead.records(
        json!({ "kind": "trace_extended", "line": line, "positions": [[-4.67, 54.08], [-4.665, 54.0821]] }),
    )
    .await;
    let answer = ground.post.get(&format!("/lines/{line}/wire")).await.ok(200);
    assert_eq!(answer["along"], "laid_then_planned");
    let laid = answer["head"]["chainage_m"].as_f64().unwrap();
    assert!(laid > 300.0 && answer["head"]["drawn_m"].as_f64().unwrap() > 1.2 * laid);
    let left = answer["reels"][0]["left_m"].as_f64().unwrap();
    assert!((left - (1600.0 - answer["head"]["drawn_m"].as_f64().unwrap())).abs() < 1e-6, "{left}");
}

#[tokio::test]
async fn a_fault_of_a_stored_line_is_told_on_its_ground() {
    let ground = Ground::open().await;
    let (lead, line, road) = line(&ground).await;
    let wire = ground.post.get(&format!("/lines/{line}/wire")).await.ok(200);
    let crossing = &wire["wire"]["crossings"][0];
    let middle =
        f64::midpoint(crossing["from_wire_m"].as_f64().unwrap(), crossing["to_wire_m"].as_f64().unwrap());
    let question = json!({ "sections": [{ "wire": "wd_1_tt", "length_m": wire["wire"]["wire_m"] }],
        "test": { "short": { "near_ohm": 0.127 * middle } } });
    let found = lead.post(&format!("/lines/{line}/fault"), &question).await.ok(200);
    assert_eq!(found["crossings"], json!([road]));
    let inside = found["answer"]["ground"]["inside"].as_array().unwrap();
    assert!(inside.iter().any(|mark| mark["kind"] == "crossing" && mark["number"] == 0), "{inside:?}");
    // It is where the crossing was marked, as near as its span.
    let at: Vec<f64> = found["at"].as_array().unwrap().iter().map(|n| n.as_f64().unwrap()).collect();
    assert!((at[0] + 4.66).abs() < 0.001 && (at[1] - 54.0843).abs() < 0.001, "{at:?}");

    let mut own = question.clone();
    own["line"] = json!({ "legs": [{ "length_m": 1 }] });
    let document = lead.post(&format!("/lines/{line}/fault"), &own).await.problem(422, "malformed");
    assert_eq!(document["field"], "line");
    let mut short = question;
    short["sections"][0]["length_m"] = json!(100);
    short["test"]["short"]["near_ohm"] = json!(1);
    let document = lead.post(&format!("/lines/{line}/fault"), &short).await.problem(422, "cannot-reckon");
    assert_eq!(document["field"], "sections");
}

#[tokio::test]
async fn a_line_that_is_not_there_has_no_wire() {
    let ground = Ground::open().await;
    ground.post.get(&format!("/lines/{}/wire", laywire_tests::id())).await.problem(404, "not-found");
    ground.post.get("/lines/12/wire").await.problem(404, "not-found");
    let (_, line, _) = line(&ground).await;
    let document = ground.post.get(&format!("/lines/{line}/wire?light=dusk")).await.problem(400, "query");
    assert_eq!(document["field"], "light");
    let bare =
        Answer::to(ground.post.bare(Method::GET, &ground.post.path(&format!("/lines/{line}/wire")))).await;
    bare.problem(401, "no-pass");
}
