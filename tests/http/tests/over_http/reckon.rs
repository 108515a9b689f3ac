//! The reckoning: the same JSON over HTTP as on the command line, and a question without an answer says why.

use std::{io::Write, process::Stdio};

use laywire_tests::{Ground, crew::Answer, process::binary};
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
fn questions() -> [(&'static str, Value); 4] {
    let line = json!([{ "wire": "wd_1_tt", "length_m": 6400 }]);
    [
        ("circuit", json!({ "sections": line, "telephone": "ta_312" })),
        (
            "crossing",
            json!({ "obstacle": "road", "hard_surface": true, "trees": true, "light": "night",
                "culvert": { "there": true, "distance_m": 40 }, "power_line": { "there": false } }),
        ),
        ("fault", json!({ "sections": line, "test": { "short": { "near_ohm": 300, "far_ohm": 515 } } })),
        (
            "span",
            json!({ "span_m": 30.48, "left": { "tie_height_m": 6.2 }, "right": { "tie_height_m": 6.2 },
                "strung": { "sag_m": 0.9 } }),
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
    let question = json!({ "sections": [{ "wire": "wd_1_tt", "length_m": -1 }] });
    let answer = asked(&ground, "circuit", &question).await;
    let document = answer.problem(422, "cannot-reckon");
    assert!(document["title"].as_str().unwrap().starts_with("sections[0].length_m is -1;"), "{document}");
    let (good, said) = on_the_command_line("circuit", &question);
    assert!(!good && said.contains("sections[0].length_m is -1;"), "{said}");
}
