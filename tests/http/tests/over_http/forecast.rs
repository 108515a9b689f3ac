//! A line's forecast over HTTP, from its saved plans and from how the line stands.

use laywire_tests::{Crew, Ground, crew::Answer, id, new_operation};
use reqwest::Method;
use serde_json::{Value, json};

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
    for query in
        ["order=quickest", "runs=many", "follow_up_after_min=-1", "teams=2", "set_out_at=soon", "light=moon"]
    {
        assert_eq!(ground.post.get(&format!("{at}?{query}")).await.status, 400, "{query}");
    }
    ground.post.get(&format!("/lines/{}/forecast", id())).await.problem(404, "not-found");
    ground.post.get("/lines/twelve/forecast").await.problem(404, "not-found");
}

#[tokio::test]
async fn a_saved_plan_is_forecast_before_it_is_issued_as_its_line_is_afterwards() {
    let ground = Ground::open().await;
    let line = id();
    let drawn = [[-4.67, 54.08], [-4.635, 54.095]];
    let planned = json!({ "kind": "line_planned", "line": line, "designation": "L-12", "from": "Post", "to": "Mill",
        "trace": drawn });
    ground.post.records(planned).await;
    let plans = format!("/lines/{line}/plans");
    let crossing = |construction: &str| json!({ "crossing": id(), "position": [-4.65, 54.09], "obstacle": "dirt_road", "construction": construction });
    let trace = [[-4.67, 54.08], [-4.65, 54.09], [-4.635, 54.095]];
    for (construction, light) in [("buried", "night"), ("overhead_lance_poles", "day")] {
        let plan = json!({ "trace": trace, "crossings": [crossing(construction)], "light": light,
            "lead_means": "wagon", "follow_up_after_min": 45.0 });
        ground.post.post(&plans, &json!({ "plan": plan })).await.ok(201);
    }
    let lead = ground.crew("lead_team", "Plover 1").await;
    let of = |version: &str, query: &str| format!("{plans}/{version}/forecast?runs=200&seed=5&{query}");
    let by_plan = lead.get(&of("1", "")).await.ok(200);
    let asked = &by_plan["asked"];
    assert_eq!(
        (&asked["line"]["light"], &asked["sun"]),
        (&json!("night"), &json!(null)),
        "as the plan has it"
    );
    assert_eq!(asked["line"]["lead_means"], "wagon");
    assert_eq!(asked["line"]["follow_up_after_min"], 45.0);
    assert_eq!(asked["line"]["crossings"][0]["construction"], "buried");
    assert_eq!(by_plan["sequence"], json!(ground.post.sequence().await));
    assert_eq!(by_plan["shown"]["lead_times"], 1.0);
    let through = |answer: &Value| answer["forecast"]["through"]["p50_min"].as_f64().unwrap();
    let other = lead.get(&of("2", "")).await.ok(200);
    assert!(through(&other) < through(&by_plan), "by day it is sooner: {other}");
    // The question may have it otherwise, and say when the lead team sets out.
    let otherwise = "light=sun&lead_means=foot&follow_up_after_min=0&set_out_at=2026-05-04T06:30:00Z";
    let at_dawn = lead.get(&of("1", otherwise)).await.ok(200);
    assert_eq!(at_dawn["asked"]["sun"], json!({ "from": "2026-05-04T06:30:00Z", "place": [-4.67, 54.08] }));
    assert_eq!(at_dawn["asked"]["line"]["follow_up_after_min"], 0.0);
    assert!(through(&by_plan) < through(&at_dawn));

    // Once it is issued and before anything is laid, the line has the same question and the same answer.
    ground.post.post(&format!("{plans}/1/issue"), &json!({})).await.ok(200);
    let all = "light=night&lead_means=wagon&follow_up_after_min=45&follow_up_teams=2&break_after_min=60&break_length_min=10";
    for query in [all, otherwise] {
        let of_line = lead.get(&format!("/lines/{line}/forecast?runs=200&seed=5&{query}")).await.ok(200);
        let of_plan = lead.get(&of("1", query)).await.ok(200);
        for what in ["asked", "forecast", "shown"] {
            assert_eq!(of_line[what], of_plan[what], "{what} by {query}");
        }
    }
    // A line that is begun is forecast from now on; its plan is not begun by that.
    lead.records(json!({ "kind": "line_started", "line": line })).await;
    let refused =
        lead.get(&format!("/lines/{line}/forecast?{otherwise}")).await.problem(422, "cannot-reckon");
    assert_eq!(refused["field"], "set_out_at", "{refused}");
    let refused = lead.get(&format!("/forecast?{otherwise}")).await.problem(422, "cannot-reckon");
    assert_eq!(refused["field"], "set_out_at", "{refused}");
    lead.get(&of("1", otherwise)).await.ok(200);

    for version in ["3", "0", "70000", "one"] {
        lead.get(&of(version, "")).await.problem(404, "not-found");
    }
    for other_line in [&id(), "twelve"] {
        lead.get(&format!("/lines/{other_line}/plans/1/forecast")).await.problem(404, "not-found");
    }
    let refused = lead.get(&of("1", "follow_up_teams=21")).await.problem(422, "cannot-reckon");
    assert_eq!(refused["field"], "follow_up_teams");
    let late = "light=sun&set_out_at=2150-01-01T00:00:00Z";
    lead.get(&of("1", late)).await.problem(422, "cannot-reckon");
    // Who is of another operation finds nothing there.
    let (elsewhere, secret) = new_operation(&["--database-url", &ground.database.url], "Harvest");
    let stranger = Crew::new(&ground.process.address, &elsewhere, &secret);
    stranger.get(&of("1", "")).await.problem(404, "not-found");
}

#[tokio::test]
async fn lines_that_share_their_follow_up_teams_are_forecast_together() {
    let ground = Ground::open().await;
    let none = ground.post.get("/forecast").await.problem(422, "cannot-reckon");
    assert!(none["title"].as_str().unwrap().starts_with("no line is left"), "{none}");
    let foreseen = |line: &str, place: [f64; 2]| {
        json!({ "kind": "crossing_foreseen", "crossing": id(), "line": line, "position": place,
            "obstacle": "dirt_road", "construction": "buried" })
    };
    let first = ground.post.line("L-12").await;
    ground.post.records(foreseen(&first, [-4.6639, 54.0826])).await;
    // Alone in the list, it is the line's own forecast.
    let asked = "light=day&seed=5&runs=300&break_after_min=60&break_length_min=10";
    let own = ground.post.get(&format!("/lines/{first}/forecast?{asked}")).await.ok(200);
    assert_eq!(own["asked"]["breaks"], json!({ "after_min": 60.0, "length_min": 10.0 }));
    let alone = ground.post.get(&format!("/forecast?{asked}")).await.ok(200);
    assert_eq!(alone["lines"][0]["line"], json!(first));
    for what in ["through", "finished"] {
        assert_eq!(alone["lines"][0][what], own["forecast"][what], "{what}");
        assert_eq!(alone["all"][what], own["forecast"][what], "{what}");
    }

    let second = ground.post.line("L-13").await;
    ground.post.records(foreseen(&second, [-4.6456, 54.0905])).await;
    let finished = |answer: &Value| answer["all"]["finished"]["p50_min"].as_f64().unwrap();
    let one_team = ground.post.get(&format!("/forecast?{asked}")).await.ok(200);
    let two_teams = ground.post.get(&format!("/forecast?{asked}&follow_up_teams=2")).await.ok(200);
    let names: Vec<_> =
        one_team["lines"].as_array().unwrap().iter().map(|line| &line["designation"]).collect();
    assert_eq!(names, ["L-12", "L-13"]);
    assert_eq!(one_team["sequence"], json!(ground.post.sequence().await));
    assert!(finished(&two_teams) < finished(&one_team), "{one_team}");
    // What would help with all of them has another team in it, and says by how much.
    assert_eq!(alone["helps"], own["forecast"]["helps"]);
    let another = |help: &&Value| help["altered"] == json!({ "what": "another_team", "follow_up_teams": 2 });
    let help = one_team["helps"].as_array().unwrap().iter().find(another).unwrap();
    assert_eq!(help["finished"]["p50_min"], two_teams["all"]["finished"]["p50_min"]);
    let sooner = finished(&one_team) - finished(&two_teams);
    assert!((help["finished_sooner_min"].as_f64().unwrap() - sooner).abs() < 1e-9, "{help}");
    let one_lead = ground.post.get(&format!("/forecast?{asked}&lead_teams=one")).await.ok(200);
    let through = |answer: &Value| answer["all"]["through"]["p50_min"].as_f64().unwrap();
    assert!(through(&one_team) < through(&one_lead), "{one_lead}");
    // Under the sun it is told by the clock.
    let sun = ground.post.get("/forecast?runs=50").await.ok(200);
    assert!(sun["all"]["finished"]["p90_at"].is_string(), "{sun}");

    for (query, field) in [
        ("break_after_min=60", "break_length_min"),
        ("break_length_min=10", "break_after_min"),
        ("break_after_min=29&break_length_min=10", "breaks.after_min"),
        ("follow_up_teams=21", "follow_up_teams"),
        ("runs=5001", "runs"),
    ] {
        let refused = ground.post.get(&format!("/forecast?{query}")).await.problem(422, "cannot-reckon");
        assert_eq!(refused["field"], field, "{refused}");
    }
    assert_eq!(ground.post.get("/forecast?lead_teams=two").await.status, 400);
}
