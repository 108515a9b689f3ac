//! An operation's review over HTTP, from the log as it was reported.

use laywire_tests::{Ground, id};
use serde_json::{Value, json};

/// A report of something that happened so many minutes into the operation's morning, by a clock that was measured.
fn at(minute: u32, body: &Value) -> Value {
    let when = format!("2026-05-04T{:02}:{:02}:00Z", 8 + minute / 60, minute % 60);
    json!({ "id": id(), "at": when, "clock_offset_ms": 0, "body": body })
}

#[tokio::test]
async fn a_days_work_is_reviewed_from_the_log_and_each_figure_names_its_entries() {
    let ground = Ground::open().await;
    let (line, crossing) = (id(), id());
    let lead = ground.crew("lead_team", "Plover 1").await;
    let follow = ground.crew("follow_up_team", "Wren 2").await;
    let guides = ground.post.get("/guide").await.ok(200);
    let dirt_road = |guide: &&Value| guide["obstacle"] == "dirt_road" && guide["hard_surface"] == false;
    let guide = guides.as_array().unwrap().iter().find(dirt_road).unwrap();
    let mut allowed = guide["allowed"].as_array().unwrap().iter();
    let buried = allowed.find(|choice| choice["construction"] == "buried").unwrap();
    let list: Vec<&Value> = buried["finish"].as_array().unwrap().iter().map(|item| &item["id"]).collect();
    let place = [-4.6639, 54.0826];
    let planned = json!({ "kind": "line_planned", "line": line, "designation": "L-12", "from": "Post", "to": "Mill",
        "trace": [[-4.67, 54.08], [-4.635, 54.095]] });
    let took = ground.post.reports(&[at(0, &planned)]).await;
    assert_eq!(took[0]["outcome"], "recorded", "{took:?}");
    let laid =
        json!({ "kind": "trace_extended", "line": line, "positions": [[-4.67, 54.08], [-4.635, 54.095]] });
    let took = lead
        .reports(&[
            at(10, &json!({ "kind": "line_started", "line": line })),
            at(29, &laid),
            at(
                30,
                &json!({ "kind": "crossing_marked", "crossing": crossing, "line": line, "position": place,
                "obstacle": "dirt_road", "construction": "buried" }),
            ),
            at(34, &json!({ "kind": "crossing_passed", "crossing": crossing, "clear_of_traffic": true })),
            at(90, &json!({ "kind": "call_back_good", "line": line, "from_far_end": true })),
        ])
        .await;
    assert!(took.iter().all(|report| report["outcome"] == "recorded"), "{took:?}");
    let took = follow
        .reports(&[
            at(40, &json!({ "kind": "crossing_taken", "crossing": crossing })),
            at(
                55,
                &json!({ "kind": "crossing_finished", "crossing": crossing, "depth_m": 0.3, "done": list }),
            ),
        ])
        .await;
    assert!(took.iter().all(|report| report["outcome"] == "recorded"), "{took:?}");

    let observer = ground.crew("observer", "Heron").await;
    let review = observer.get("/review").await.ok(200);
    assert_eq!((&review["sequence"], &review["entries"]), (&json!(8), &json!(8)));
    let reviewed = &review["lines"][0];
    let figure = |figure: &Value, minutes: f64, entries: Value| {
        assert_eq!(figure, &json!({ "value": minutes, "entries": entries, "unknown": null }), "{review}");
    };
    figure(&reviewed["order_to_through"], 90.0, json!([1, 6]));
    figure(&reviewed["order_to_finished"], 90.0, json!([1, 6]));
    figure(&reviewed["start_to_through"], 80.0, json!([2, 6]));
    figure(&reviewed["at_crossings"], 4.0, json!([2, 4, 5, 6]));
    figure(&reviewed["laying"], 76.0, json!([2, 4, 5, 6]));
    figure(&reviewed["crossings"][0]["finishing"], 15.0, json!([7, 8]));
    figure(&reviewed["crossings"][0]["waiting"], 6.0, json!([5, 7]));
    assert_eq!(reviewed["order_to_proved"]["value"], json!(null));
    assert!(reviewed["order_to_proved"]["unknown"].is_string());
    // The way is known though the review reads the log without its positions.
    assert!(reviewed["wire"]["laid_m"]["value"].as_f64().unwrap() > 2_000.0, "{reviewed}");
    assert_eq!(reviewed["wire"]["laid_m"]["entries"], json!([3]));
    // All of it came in long after it happened.
    let late = review["cannot_know"].as_array().unwrap().iter().find(|known| known["count"] == 8).unwrap();
    assert!(late["what"].as_str().unwrap().contains("ten minutes later"), "{late}");
    // The planned rate follows the question: 3 mph from a truck at night (915th).
    let by_truck = observer.get("/review?lead_means=vehicle&light=night").await.ok(200);
    let rate = by_truck["lines"][0]["planned_rate_km_per_h"].as_f64().unwrap();
    assert!((rate - 3.0 * 1.609_344).abs() < 1e-6, "{rate}");
    assert_eq!(observer.get("/review?light=dusk").await.status, 400);

    // The same as a table: a row a figure.
    let table = observer.get("/review.csv").await;
    assert_eq!(
        (table.status, table.header("content-type")),
        (200, "text/csv; charset=utf-8; header=present")
    );
    let rows: Vec<&str> = table.body.split("\r\n").collect();
    assert_eq!(rows[0], "subject,figure,value,unit,entries");
    assert!(rows.contains(&"line L-12,start to through,80,min,2 6"), "{}", table.body);
    assert!(rows.contains(&"line L-12,order to proved,,min,1"), "{}", table.body);
    assert_eq!(observer.get("/review.csv?light=dusk").await.status, 400);

    // The section's own rates: this operation's cases, and those that it brings along.
    let asked = json!({ "light": "day", "lead_means": "foot" });
    let rates = observer.post("/review/rates", &asked).await.ok(200);
    let buried = json!({ "what": "finishing", "construction": "buried", "light": "day" });
    let estimate = |rates: &Value| {
        let estimates = rates["estimates"].as_array().unwrap();
        estimates.iter().find(|estimate| estimate["figure"] == buried).unwrap().clone()
    };
    let alone = estimate(&rates);
    assert_eq!((&alone["all"]["median_min"], &alone["too_few"]), (&json!(15.0), &json!(true)), "{rates}");
    assert_eq!((&rates["profile"], &alone["line"]), (&json!(""), &json!(null)));
    let case = |minutes: f64| json!({ "operation": "01920000-0000-7000-8000-000000000001", "figure": buried, "time_min": minutes, "entries": [4, 9] });
    let earlier: Vec<Value> = [11.0, 12.0, 13.0, 14.0].into_iter().map(case).collect();
    let rates = observer.post("/review/rates", &json!({ "cases": earlier })).await.ok(200);
    let five = estimate(&rates);
    assert_eq!((&five["all"]["median_min"], &five["all"]["cases"]), (&json!(13.0), &json!(5)), "{rates}");
    let line = five["line"].as_str().unwrap();
    assert!(line.starts_with("pace.constructions.buried.follow_up = { min = 13.00, source ="), "{line}");
    assert!(rates["profile"].as_str().unwrap().contains(line));
    // What came out goes in again, and this operation's own cases count once.
    let again = observer.post("/review/rates", &json!({ "cases": rates["cases"] })).await.ok(200);
    assert_eq!(again["cases"], rates["cases"]);
    let slow = json!({ "cases": [case(20_000.0)] });
    let problem = observer.post("/review/rates", &slow).await.problem(422, "cannot-reckon");
    assert_eq!(problem["field"], "cases[0].time_min", "{problem}");
    observer.post("/review/rates", &json!({ "case": [] })).await.problem(422, "malformed");
}

#[tokio::test]
async fn an_operation_in_which_nothing_was_told_has_an_empty_review() {
    let ground = Ground::open().await;
    let review = ground.post.get("/review").await.ok(200);
    assert_eq!(
        (&review["entries"], &review["lines"], &review["from"]),
        (&json!(0), &json!([]), &json!(null))
    );
}
