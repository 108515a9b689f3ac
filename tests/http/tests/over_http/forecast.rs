//! A line's forecast over HTTP, from a plan and from how the line stands.

use laywire_tests::{Ground, crew::Answer, id};
use reqwest::Method;
use serde_json::json;

#[tokio::test]
async fn a_line_is_forecast_from_how_it_stands_and_the_forecast_goes_on_with_it() {
    let ground = Ground::open().await;
    let line = ground.post.line("L-12").await;
    let lead = ground.crew("lead_team", "Plover 1").await;
    let (near, far) = (id(), id());
    for (crossing, place) in [(&near, [-4.6639, 54.0826]), (&far, [-4.6456, 54.0905])] {
        let kind = json!({ "kind": "crossing_foreseen", "crossing": crossing, "line": line, "position": place,
            "obstacle": "dirt_road", "construction": "buried" });
        ground.post.records(kind).await;
    }
    let at = format!("/lines/{line}/forecast");
    let first = lead.get(&format!("{at}?light=day&follow_up_teams=2&seed=5&runs=300")).await.ok(200);
    let forecast = &first["forecast"];
    let minutes = |of: &str, what: &str| forecast[of][what].as_f64().unwrap();
    assert!(0.0 < minutes("through", "p50_min"), "{first}");
    assert!(minutes("through", "p50_min") <= minutes("through", "p90_min"));
    assert!(minutes("through", "p50_min") < minutes("finished", "p50_min"));
    assert_eq!(forecast["through"]["p50_at"], json!(null), "by one light it does not ask the clock");
    assert_eq!(forecast["crossings"].as_array().unwrap().len(), 2);
    assert_eq!(first["asked"]["follow_up_teams"], 2);
    assert_eq!(first["sequence"], json!(ground.post.sequence().await));
    // Put again as a question, it has the same answer.
    let question = ground.post.request(Method::POST, "/api/reckon/forecast").json(&first["asked"]);
    assert_eq!(&Answer::to(question).await.ok(200), forecast);

    // The near one is passed: it is behind the teams now, and the rest is shorter.
    let marked = json!({ "kind": "crossing_marked", "crossing": near, "line": line, "position": [-4.6639, 54.0826],
        "obstacle": "dirt_road", "construction": "buried" });
    lead.records(
        json!({ "kind": "trace_extended", "line": line, "positions": [[-4.67, 54.08], [-4.6639, 54.0826]] }),
    )
    .await;
    lead.records(marked).await;
    lead.records(json!({ "kind": "crossing_passed", "crossing": near, "clear_of_traffic": true })).await;
    let second = lead.get(&format!("{at}?light=day&follow_up_teams=2&seed=5&runs=300")).await.ok(200);
    assert!(second["asked"]["so_far"]["laid_m"].as_f64().unwrap() > 400.0, "{second}");
    assert_eq!(second["forecast"]["crossings"][0]["passed"]["p90_min"], 0.0, "{second}");
    // What was shown in no time at all counts little against an hour as planned.
    assert!(second["shown"]["lead_times"].as_f64().unwrap() < 1.0, "{second}");
    assert!(second["forecast"]["through"]["p50_min"].as_f64() < forecast["through"]["p50_min"].as_f64());
    // Under the sun it is told by the clock.
    let sun = lead.get(&format!("{at}?runs=50")).await.ok(200);
    assert!(sun["forecast"]["through"]["p90_at"].is_string(), "{sun}");
    assert!(!sun["forecast"]["light"].as_array().unwrap().is_empty(), "{sun}");
}

#[tokio::test]
async fn a_forecast_that_cannot_be_made_says_why() {
    let ground = Ground::open().await;
    let line = ground.post.line("L-12").await;
    let at = format!("/lines/{line}/forecast");
    for (query, field) in [
        ("follow_up_teams=0", "follow_up_teams"),
        ("follow_up_teams=21", "follow_up_teams"),
        ("runs=5001", "runs"),
    ] {
        let refused = ground.post.get(&format!("{at}?{query}")).await.problem(422, "cannot-reckon");
        assert_eq!(refused["field"], field, "{refused}");
    }
    for query in ["order=quickest", "runs=many", "follow_up_after_min=-1", "teams=2"] {
        assert_eq!(ground.post.get(&format!("{at}?{query}")).await.status, 400, "{query}");
    }
    ground.post.get(&format!("/lines/{}/forecast", id())).await.problem(404, "not-found");
    ground.post.get("/lines/twelve/forecast").await.problem(404, "not-found");
}
