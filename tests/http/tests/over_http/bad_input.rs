//! Bad input: each answers a problem document with a stable type and the field at fault, and changes nothing.

use laywire_tests::{Answer, Ground, id, report};
use reqwest::Method;
use serde_json::{Value, json};

struct Wrong {
    name: &'static str,
    body: Vec<u8>,
    status: u16,
    kind: &'static str,
    field: Option<&'static str>,
}

fn wrong(
    name: &'static str,
    body: impl Into<Vec<u8>>,
    (status, kind): (u16, &'static str),
    field: Option<&'static str>,
) -> Wrong {
    Wrong { name, body: body.into(), status, kind, field }
}

const NOT_JSON: (u16, &str) = (400, "not-json");
const MALFORMED: (u16, &str) = (422, "malformed");

fn note(text: &str) -> Value {
    report(&json!({ "kind": "note", "text": text }))
}

/// A note with one member put in its place, or beside what is there.
fn with(member: &str, value: Value) -> Vec<u8> {
    let mut note = note("fine");
    note[member] = value;
    json!([note]).to_string().into()
}

fn body(body: &Value) -> Vec<u8> {
    json!([report(body)]).to_string().into()
}

fn nested(depth: usize) -> Vec<u8> {
    let mut body = json!({ "kind": "note", "text": "innermost" });
    for _ in 0..depth {
        body = json!({ "kind": "correction", "corrects": id(), "because": "deep", "instead": body });
    }
    json!([report(&body)]).to_string().into()
}

fn batches() -> Vec<Wrong> {
    let good = json!([note("fine")]).to_string();
    let place = |lon: &str| {
        let text = good.replace("\"body\"", &format!("\"position\":[{lon},54.1],\"body\""));
        text.into_bytes()
    };
    let (line, crossing) = (id(), id());
    let mark = |key: &str, value: Value| {
        let mut mark = json!({ "kind": "crossing_marked", "crossing": crossing, "line": line, "position": [-4.6, 54.1],
            "obstacle": "road", "construction": "overhead_poles" });
        mark[key] = value;
        body(&mark)
    };
    let many: Vec<Value> = (0..201).map(|n| note(&format!("{n}"))).collect();
    vec![
        wrong("nothing", "", NOT_JSON, None),
        wrong("blank", "   ", NOT_JSON, None),
        wrong("half", &good.as_bytes()[..good.len() - 2], NOT_JSON, None),
        wrong("two", format!("{good} {good}"), NOT_JSON, None),
        wrong("not UTF-8", b"[\"\xff\xfe\"]".to_vec(), NOT_JSON, None),
        wrong("half a surrogate", good.replace("fine", "\\ud800"), NOT_JSON, None),
        wrong("NaN", place("NaN"), NOT_JSON, None),
        wrong("Infinity", place("-Infinity"), NOT_JSON, None),
        wrong("beyond a double", place("1e400"), NOT_JSON, None),
        wrong("100,000 brackets", "[".repeat(100_000), MALFORMED, Some("[0][0]")),
        wrong("corrections of corrections", nested(200), NOT_JSON, None),
        wrong("an empty batch", "[]", MALFORMED, Some(".")),
        wrong("201 reports", Value::from(many).to_string(), MALFORMED, Some(".")),
        wrong("an object", note("fine").to_string(), MALFORMED, Some(".")),
        wrong("a number", "7", MALFORMED, Some(".")),
        wrong("longitude 181", place("181"), MALFORMED, Some("[0].position")),
        wrong("latitude -91", with("position", json!([0, -91])), MALFORMED, Some("[0].position")),
        wrong("one number", with("position", json!([0])), MALFORMED, Some("[0].position")),
        wrong("text for a place", with("position", json!("here")), MALFORMED, Some("[0].position")),
        wrong("a number for an id", with("id", json!(5)), MALFORMED, Some("[0].id")),
        wrong("no UUID", with("id", json!("5")), MALFORMED, Some("[0].id")),
        wrong("no time", with("at", json!("yesterday")), MALFORMED, Some("[0].at")),
        wrong("a far time", with("at", json!("+99999-01-01T00:00:00Z")), MALFORMED, Some("[0].at")),
        wrong("an early time", with("at", json!("-9999-01-01T00:00:00Z")), MALFORMED, Some("[0].at")),
        wrong("an unknown field", with("rank", json!(1)), MALFORMED, Some("[0].rank")),
        wrong("an unknown kind", body(&json!({ "kind": "line_cut" })), MALFORMED, Some("[0].body.kind")),
        wrong("no kind", body(&json!({ "text": "x" })), MALFORMED, Some("[0].body")),
        wrong(
            "a field too many",
            body(&json!({ "kind": "note", "text": "x", "rank": 1 })),
            MALFORMED,
            Some("[0].body"),
        ),
        wrong("an empty remark", body(&json!({ "kind": "note", "text": " " })), MALFORMED, Some("[0].body")),
        wrong(
            "a long remark",
            body(&json!({ "kind": "note", "text": "x".repeat(100_000) })),
            MALFORMED,
            Some("[0].body"),
        ),
        wrong("NUL", body(&json!({ "kind": "note", "text": "a\u{0}b" })), MALFORMED, Some("[0].body")),
        wrong(
            "turned round",
            body(&json!({ "kind": "note", "text": "a\u{202e}b" })),
            MALFORMED,
            Some("[0].body"),
        ),
        wrong("an unknown obstacle", mark("obstacle", json!("moat")), MALFORMED, Some("[0].body")),
        wrong("an unknown construction", mark("construction", json!("kite")), MALFORMED, Some("[0].body")),
        wrong("a place off the Earth", mark("position", json!([-4.6, 154.1])), MALFORMED, Some("[0].body")),
        wrong("text for a height", mark("clearance_m", json!("high")), MALFORMED, Some("[0].body")),
        wrong(
            "a unit's name for a number",
            body(
                &json!({ "kind": "line_planned", "line": id(), "designation": "1st Signals", "from": "a", "to": "b" }),
            ),
            MALFORMED,
            Some("[0].body"),
        ),
        wrong(
            "a trace of one place",
            body(
                &json!({ "kind": "line_planned", "line": id(), "designation": "L-1", "from": "a", "to": "b",
                "trace": [[-4.6, 54.1]] }),
            ),
            MALFORMED,
            Some("[0].body"),
        ),
        wrong("1.1 MB", " ".repeat(1_100_000), (413, "too-large"), None),
        wrong("10 MB", " ".repeat(10_000_000), (413, "too-large"), None),
    ]
}

#[tokio::test]
async fn a_malformed_batch_changes_nothing_and_says_what_is_wrong() {
    let ground = Ground::open().await;
    let crew = &ground.post;
    let path = crew.path("/reports");
    let mut faults = Vec::new();
    for wrong in batches() {
        let request = crew.request(Method::POST, &path).header("content-type", "application/json");
        let answer = Answer::to(request.body(wrong.body)).await;
        let document = serde_json::from_str(&answer.body).unwrap_or(Value::Null);
        let kind = format!("urn:laywire:problem:{}", wrong.kind);
        let title = document["title"].as_str().unwrap_or_default();
        if answer.status != wrong.status
            || document["type"] != kind
            || document["field"].as_str() != wrong.field
            || answer.header("content-type") != "application/problem+json"
            // The longest names every kind of report.
            || !(10..800).contains(&title.len())
        {
            faults.push(format!("{}: {} {}", wrong.name, answer.status, answer.body));
        }
        if crew.sequence().await != 0 {
            faults.push(format!("{} was recorded", wrong.name));
        }
    }
    assert!(faults.is_empty(), "{faults:#?}");
}

#[tokio::test]
async fn a_body_has_to_be_declared_as_json() {
    let ground = Ground::open().await;
    let crew = &ground.post;
    let good = json!([note("fine")]).to_string();
    for media in [
        None,
        Some("text/plain"),
        Some("application/x-www-form-urlencoded"),
        Some("application/jsonp"),
        Some("json"),
    ] {
        let mut request = crew.request(Method::POST, &crew.path("/reports")).body(good.clone());
        if let Some(media) = media {
            request = request.header("content-type", media);
        }
        Answer::to(request).await.problem(415, "not-declared-json");
    }
    assert_eq!(crew.sequence().await, 0);
    let request = crew.request(Method::POST, &crew.path("/reports")).body(good);
    assert_eq!(
        Answer::to(request.header("content-type", "Application/JSON; charset=utf-8")).await.status,
        200
    );
}

#[tokio::test]
async fn a_wrong_question_names_the_parameter_at_fault() {
    let ground = Ground::open().await;
    let crew = &ground.post;
    let mut faults = Vec::new();
    for (path, field) in [
        ("/queue", "from"),
        ("/queue?from=", "from"),
        ("/queue?from=1", "from"),
        ("/queue?from=1;2", "from"),
        ("/queue?from=NaN,54", "from"),
        ("/queue?from=inf,54", "from"),
        ("/queue?from=1e400,54", "from"),
        ("/queue?from=181,0", "from"),
        ("/queue?from=0,-90.5", "from"),
        ("/queue?from=1,2,3", "from"),
        ("/queue?from=1,2&from=3,4", "from"),
        ("/queue?from=1,2&limit=0", "limit"),
        ("/queue?from=1,2&limit=101", "limit"),
        ("/queue?from=1,2&limit=-1", "limit"),
        ("/queue?from=1,2&limit=many", "limit"),
        ("/queue?from=1,2&order=fast", "order"),
        ("/queue?from=1,2&line=12", "line"),
        ("/queue?from=1,2&rank=1", "rank"),
        ("/queue?from=1,2&order=%FF", "order"),
        ("/log?limit=0", "limit"),
        ("/log?limit=201", "limit"),
        ("/log?limit=99999999999999999999", "limit"),
        ("/log?before=0", "before"),
        ("/log?before=x", "before"),
        ("/log?rank=1", "rank"),
        ("/feed?after=-1", "after"),
        ("/feed?after=x", "after"),
        ("/feed?rank=1", "rank"),
    ] {
        let answer = crew.get(path).await;
        let document = serde_json::from_str(&answer.body).unwrap_or(Value::Null);
        if answer.status != 400
            || document["type"] != "urn:laywire:problem:query"
            || document["field"] != field
        {
            faults.push(format!("{path}: {} {}", answer.status, answer.body));
        }
    }
    assert!(faults.is_empty(), "{faults:#?}");
}

#[tokio::test]
async fn what_is_not_there_is_said_not_to_be_there() {
    let ground = Ground::open().await;
    let crew = &ground.post;
    let op = &ground.operation;
    for path in [
        "/api/nothing".to_owned(),
        "/api/nothing/at/all".to_owned(),
        "/api/operations".to_owned(),
        "/api/operations/12".to_owned(),
        "/api/operations/%FF".to_owned(),
        "/api/operations/%00".to_owned(),
        "/api/operations/..%2f..%2fetc%2fpasswd".to_owned(),
        format!("/api/operations/{}", id()),
        format!("/api/operations/{op}/nothing"),
        format!("/api/operations/{op}%20"),
        format!("/api/operations/{}", "9".repeat(10_000)),
    ] {
        Answer::to(crew.request(Method::GET, &path)).await.problem(404, "not-found");
    }
    for pass in ["12", &id(), "%FF", "'%20or%201=1"] {
        let revoke = crew.request(Method::DELETE, &crew.path(&format!("/passes/{pass}")));
        Answer::to(revoke).await.problem(404, "not-found");
    }
    for (method, path) in [
        (Method::DELETE, crew.path("")),
        (Method::PUT, crew.path("/reports")),
        (Method::GET, crew.path("/reports")),
        (Method::POST, crew.path("/queue")),
        (Method::PATCH, "/api/session".to_owned()),
        (Method::POST, "/api/health".to_owned()),
    ] {
        Answer::to(crew.request(method, &path)).await.problem(405, "method-not-allowed");
    }
}

#[tokio::test]
async fn passes_lines_and_sessions_are_as_strict_as_reports() {
    let ground = Ground::open().await;
    let crew = &ground.post;
    let feature = |geometry: Value, properties: Value| json!({ "type": "Feature", "geometry": geometry, "properties": properties });
    let called = json!({ "designation": "L-1", "from": "a", "to": "b" });
    let mut faults = Vec::new();
    for (path, body, field) in [
        ("/passes", json!({ "party": "general", "team": "Lead 1" }), "party"),
        ("/passes", json!({ "party": "observer", "team": "" }), "team"),
        ("/passes", json!({ "party": "observer", "team": "x".repeat(41) }), "team"),
        ("/passes", json!({ "party": "observer", "team": "a\u{2066}b" }), "team"),
        ("/passes", json!({ "party": "observer" }), "."),
        ("/passes", json!({ "party": "observer", "team": "a", "rank": 1 }), "rank"),
        ("/lines", json!({ "type": "Feature" }), "."),
        (
            "/lines",
            feature(json!({ "type": "MultiPoint", "coordinates": [[0, 0], [1, 1]] }), called.clone()),
            "geometry",
        ),
        ("/lines", feature(json!({ "type": "LineString", "coordinates": [] }), called.clone()), "geometry"),
        (
            "/lines",
            feature(json!({ "type": "LineString", "coordinates": [[0, 0], [0, 91]] }), called.clone()),
            "geometry",
        ),
        (
            "/lines",
            feature(Value::Null, json!({ "designation": "A Company", "from": "a", "to": "b" })),
            "properties.designation",
        ),
    ] {
        let answer = crew.post(path, &body).await;
        let document = answer.json();
        if answer.status != 422 || document["field"] != field {
            faults.push(format!("{path} {body}: {} {}", answer.status, answer.body));
        }
    }
    assert!(faults.is_empty(), "{faults:#?}");
    let join = async |body: Value| Answer::to(crew.bare(Method::POST, "/api/session").json(&body)).await;
    for pass in ["", "x", &"A".repeat(100_000), "\u{0}", "' or 1=1 --"] {
        join(json!({ "pass": pass })).await.problem(401, "no-pass");
    }
    join(json!({ "pass": 5 })).await.problem(422, "malformed");
    join(json!({ "pass": "x", "party": "command_post" })).await.problem(422, "malformed");
    let added = feature(Value::Null, called);
    crew.post("/lines", &added).await.ok(201);
    let again = crew.post("/lines", &added).await.problem(409, "refused");
    assert_eq!(again["refusal"]["rule"], "designation_in_use");
}

/// What looks like SQL, HTML or a format string is only text: it is kept and given back as it was written.
#[tokio::test]
async fn odd_texts_come_back_as_they_were_written() {
    let ground = Ground::open().await;
    let crew = &ground.post;
    let texts = [
        "'; drop table wire_log; --",
        "<script>alert(1)</script>",
        "${jndi:ldap://x} {0} %s %n",
        "\\u0000 \\x00",
        "Ⅷ — 電話線 — Ω ≤ 5 kΩ — é e\u{301}",
        "\"quoted\" and \\ back-slashed",
        "two\nlines",
        "👨‍👩‍👧",
    ];
    for text in texts {
        crew.records(json!({ "kind": "note", "text": text })).await;
    }
    let log = crew.get("/log").await.ok(200);
    let back: Vec<&str> =
        log.as_array().unwrap().iter().rev().map(|e| e["report"]["body"]["text"].as_str().unwrap()).collect();
    assert_eq!(back, texts);
}
