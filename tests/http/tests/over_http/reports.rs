//! Reports: each once whatever the network does, refusals with their figures, and the trade's rules at the door.

use laywire_tests::{Answer, Crew, Ground, Process, id, report, until};
use nix::sys::signal::Signal;
use reqwest::Method;
use serde_json::{Value, json};

/// Replaces what differs from run to run, and rounds figures to a millimetre.
fn shape(value: &Value) -> Value {
    match value {
        Value::Object(members) => members.iter().map(|(k, v)| (k.clone(), shape(v))).collect(),
        Value::Array(items) => items.iter().map(shape).collect(),
        Value::Number(n) if n.is_f64() => json!((n.as_f64().unwrap() * 1000.0).round() / 1000.0),
        Value::String(text) if text.len() == 36 && text.matches('-').count() == 4 => json!("ID"),
        Value::String(text) if text.ends_with('Z') && text.contains('T') => json!("TIME"),
        other => other.clone(),
    }
}

#[tokio::test]
async fn of_a_good_batch_one_refused_report_leaves_the_rest() {
    let ground = Ground::open().await;
    let crew = &ground.post;
    let line = crew.line("L-12").await;
    let mark = |obstacle: &str, construction: &str, clearance: Option<f64>| {
        let mut body = json!({ "kind": "crossing_marked", "crossing": id(), "line": line, "position": [-4.65, 54.0886],
            "obstacle": obstacle, "construction": construction });
        if let Some(clearance) = clearance {
            body["clearance_m"] = json!(clearance);
        }
        report(&body)
    };
    let batch = [
        mark("road", "overhead_poles", Some(4.8)),
        // NESC rule 232: 15.5 ft over a road; SS0440 pp. 29, 31: 18 ft over a main highway.
        mark("road", "overhead_poles", Some(4.2)),
        mark("main_highway", "overhead_trees", Some(5.4)),
        // Common practice, no source: never over a railway.
        mark("railway", "overhead_poles", Some(30.0)),
        report(&json!({ "kind": "note", "text": "and on" })),
    ];
    let receipts = crew.reports(&batch).await;
    for (receipt, report) in receipts.iter().zip(&batch) {
        assert_eq!(receipt["id"], report["id"], "receipts come in the reports' order");
    }
    let wanted = json!([
        { "id": "ID", "outcome": "recorded", "sequence": 3, "reason": null },
        { "id": "ID", "outcome": "refused", "sequence": null, "reason": {
            "title": "The wire hangs at 4.20 m and a road asks for at least 4.72 m: raise it and measure again.",
            "refusal": { "rule": "too_low", "obstacle": "road", "given_m": 4.2, "least_m": 4.724 } } },
        { "id": "ID", "outcome": "refused", "sequence": null, "reason": {
            "title": "The wire hangs at 5.40 m and a main highway asks for at least 5.49 m: raise it and measure again.",
            "refusal": { "rule": "too_low", "obstacle": "main_highway", "given_m": 5.4, "least_m": 5.486 } } },
        { "id": "ID", "outcome": "refused", "sequence": null, "reason": {
            "title": "Never over a railway: overhead on poles is refused. Go under the rails, between two ties, with the \
                railway's leave.",
            "refusal": { "rule": "overhead_over_railway", "construction": "overhead_poles" } } },
        { "id": "ID", "outcome": "recorded", "sequence": 4, "reason": null },
    ]);
    assert_eq!(shape(&Value::from(receipts)), wanted);
    assert_eq!(crew.sequence().await, 4);
}

#[tokio::test]
async fn a_splice_never_falls_inside_a_stream_span() {
    let ground = Ground::open().await;
    let crew = &ground.post;
    let line = crew.line("L-12").await;
    let laid = json!([[-4.67, 54.08], [-4.66, 54.0843], [-4.65, 54.0886]]);
    crew.records(json!({ "kind": "trace_extended", "line": line, "positions": laid })).await;
    crew.records(
        json!({ "kind": "crossing_marked", "crossing": id(), "line": line, "position": [-4.66, 54.0843],
        "obstacle": "stream", "construction": "overhead_trees", "span_m": 40 }),
    )
    .await;
    let crossings = crew.get("/crossings").await.ok(200);
    let chainage = crossings["features"][0]["properties"]["chainage_m"].as_f64().unwrap();
    let splice =
        async |at: f64| crew.report(json!({ "kind": "splice_made", "line": line, "chainage_m": at })).await;
    for inside in [-19.9, 0.0, 19.9] {
        let receipt = splice(chainage + inside).await;
        let refusal = &receipt["reason"]["refusal"];
        assert_eq!(refusal["rule"], "splice_in_span", "{receipt}");
        let figure = |key: &str| refusal[key].as_f64().unwrap() - chainage;
        assert!(
            (figure("from_m") + 20.0).abs() < 0.001 && (figure("to_m") - 20.0).abs() < 0.001,
            "{receipt}"
        );
    }
    for outside in [-20.1, 20.1] {
        assert_eq!(splice(chainage + outside).await["outcome"], "recorded");
    }
}

#[tokio::test]
async fn a_list_ticked_ten_thousand_times_over_is_not_kept() {
    let ground = Ground::open().await;
    let crew = &ground.post;
    let line = crew.line("L-12").await;
    let crossing = crew.crossing(&line, [-4.65, 54.0886]).await;
    let passed = |ticks: usize| {
        report(&json!({ "kind": "crossing_passed", "crossing": crossing, "clear_of_traffic": true,
            "done": vec!["tags"; ticks] }))
    };
    let document = crew.post("/reports", &json!([passed(10_000)])).await.problem(422, "malformed");
    assert_eq!(document["field"], "[0].body");
    assert!(
        document["title"].as_str().unwrap().contains("10000 items are ticked, more than 20"),
        "{document}"
    );
    crew.post("/reports", &json!([passed(21)])).await.problem(422, "malformed");
    assert_eq!(crew.reports(&[passed(20)]).await[0]["outcome"], "recorded");
}

#[tokio::test]
async fn a_crossing_goes_from_marked_to_finished_and_the_queue_with_it() {
    let ground = Ground::open().await;
    let lead = ground.crew("lead_team", "Lead 1").await;
    let (first, second) = (
        ground.crew("follow_up_team", "Follow-up 1").await,
        ground.crew("follow_up_team", "Follow-up 2").await,
    );
    let line = ground.post.line("L-12").await;
    let crossing = lead.crossing(&line, [-4.65, 54.0886]).await;
    lead.records(json!({ "kind": "crossing_passed", "crossing": crossing, "clear_of_traffic": false, "done": ["tags"] })).await;
    let queue = first.get("/queue?from=-4.65,54.0796&order=hazard").await.ok(200);
    let waiting = &queue["waiting"][0];
    assert_eq!(waiting["crossing"]["properties"]["wire_in_traffic"], true);
    assert_eq!((&waiting["compass"], &waiting["designation"]), (&json!("N"), &json!("L-12")));
    // A degree of latitude is 111.3 km at 54° N on WGS 84 (from memory): 0.009 of it.
    let distance = waiting["distance_m"].as_f64().unwrap();
    assert!((distance - 1_001.7).abs() < 0.5, "{distance}");

    let take = json!({ "kind": "crossing_taken", "crossing": crossing });
    let (a, b) = tokio::join!(first.report(take.clone()), second.report(take));
    let (winner, loser, told) =
        if a["outcome"] == "recorded" { (&first, &second, b) } else { (&second, &first, a) };
    let refusal = &told["reason"]["refusal"];
    assert_eq!(refusal["rule"], "in_hand_of", "{told}");
    let holder = refusal["team"].as_str().unwrap();
    assert!(
        told["reason"]["title"]
            .as_str()
            .unwrap()
            .starts_with(&format!("{holder} has had this crossing in hand"))
    );

    let finished = |done: &[Value]| json!({ "kind": "crossing_finished", "crossing": crossing, "clearance_m": 4.9, "done": done });
    let receipt = loser.report(finished(&[])).await;
    assert_eq!(receipt["reason"]["refusal"]["rule"], "in_hand_of", "{receipt}");
    let hasty = winner.report(finished(&[json!("tags")])).await;
    assert_eq!(hasty["reason"]["refusal"]["rule"], "list_not_done", "{hasty}");
    let mut all = hasty["reason"]["refusal"]["missing"].as_array().unwrap().clone();
    all.push(json!("tags"));
    winner.records(finished(&all)).await;
    let queue = first.get("/queue?from=-4.65,54.0796").await.ok(200);
    assert_eq!(queue["waiting"], json!([]));
    let crossings = lead.get("/crossings").await.ok(200);
    assert_eq!(crossings["features"][0]["properties"]["state"], "finished");
    assert_eq!(crossings["features"][0]["properties"]["finished_by"], holder);
}

#[tokio::test]
async fn the_same_batch_on_two_connections_at_once_stands_once() {
    let ground = Ground::open().await;
    for round in 1..=10 {
        let batch: Vec<Value> =
            (0..10).map(|n| report(&json!({ "kind": "note", "text": format!("{round} {n}") }))).collect();
        let other = Crew::new(&ground.process.address, &ground.operation, &ground.post.secret);
        let (a, b) = tokio::join!(ground.post.reports(&batch), other.reports(&batch));
        for (a, b) in a.iter().zip(&b) {
            let mut outcomes = [a["outcome"].as_str().unwrap(), b["outcome"].as_str().unwrap()];
            outcomes.sort_unstable();
            assert_eq!(outcomes, ["already recorded", "recorded"]);
            assert_eq!(a["sequence"], b["sequence"]);
        }
        assert_eq!(ground.post.sequence().await, round * 10);
    }
}

#[tokio::test]
async fn a_batch_that_a_killed_service_had_in_hand_stands_once_when_it_is_sent_again() {
    let Ground { mut process, post, database, .. } = Ground::open().await;
    let pool = database.connect().await;
    let writing = async || {
        let writing: bool = sqlx::query_scalar(
            "select exists (select from pg_stat_activity where datname = current_database()
                 and query like 'insert into wire_log%' and state in ('active', 'idle in transaction'))",
        )
        .fetch_one(&pool)
        .await
        .unwrap();
        writing
    };
    let mut cut_short = 0;
    for round in 1..=4 {
        let batch: Vec<Value> =
            (0..200).map(|n| report(&json!({ "kind": "note", "text": format!("{round} {n}") }))).collect();
        let crew = post.at(&process.address);
        let sending = tokio::spawn({
            let request = crew.request(Method::POST, &crew.path("/reports")).json(&batch);
            async move { request.send().await.is_ok() }
        });
        until("the batch is being written", async || writing().await || sending.is_finished()).await;
        process.end(Signal::SIGKILL).await;
        if !sending.await.unwrap() {
            cut_short += 1;
        }
        process = Process::serve(&["--database-url", &database.url]).await;
        let crew = post.at(&process.address);
        let receipts = crew.reports(&batch).await;
        let numbers: Vec<i64> = receipts.iter().map(|r| r["sequence"].as_i64().unwrap()).collect();
        assert_eq!(numbers, ((round - 1) * 200 + 1..=round * 200).collect::<Vec<_>>());
        assert_eq!(crew.sequence().await, round * 200);
    }
    assert!(cut_short > 0, "the service was never killed in the middle");
}

#[tokio::test]
async fn a_line_sent_as_a_feature_stands_in_the_log_as_a_report() {
    let ground = Ground::open().await;
    let crew = &ground.post;
    let line = id();
    let feature = json!({ "type": "Feature", "id": line, "geometry": { "type": "LineString",
        "coordinates": [[-4.67, 54.08], [-4.635, 54.095]] },
        "properties": { "designation": "l-7", "from": "Command post", "to": "Switchboard" } });
    let added = crew.post("/lines", &feature).await.ok(201);
    assert_eq!(added["id"], line);
    assert_eq!(added["properties"]["designation"], "L-7");
    // Route A of craft's geodesy tests, by GeographicLib 2.1: 2834.290 m.
    assert_eq!(shape(&added["properties"]["length_m"]), json!(2834.29));
    let log = crew.get("/log").await.ok(200);
    assert_eq!(log[0]["report"]["body"]["kind"], "line_planned");
    let answer = Answer::to(crew.request(Method::GET, &crew.path("/lines"))).await.ok(200);
    assert_eq!(answer["features"].as_array().unwrap().len(), 1);
}
