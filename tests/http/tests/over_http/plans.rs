//! A line's plans over HTTP: saved with their numbers, issued as reports, and beside what was laid.

use laywire_tests::{Crew, Ground, id};
use serde_json::{Value, json};

fn crossing(id: &str, place: [f64; 2], obstacle: &str, construction: &str) -> Value {
    json!({ "crossing": id, "position": place, "obstacle": obstacle, "construction": construction })
}

fn plan(crossings: &[Value]) -> Value {
    let trace = [[-4.67, 54.08], [-4.65, 54.09], [-4.635, 54.095]];
    json!({ "plan": { "trace": trace, "crossings": crossings }, "remark": "by the mill" })
}

async fn foreseen(crew: &Crew) -> Vec<(String, String)> {
    let all = crew.get("/crossings").await.ok(200);
    let each = all["features"].as_array().unwrap().iter();
    let mut states: Vec<(String, String)> = each
        .map(|c| {
            (c["id"].as_str().unwrap().to_owned(), c["properties"]["state"].as_str().unwrap().to_owned())
        })
        .collect();
    states.sort();
    states
}

#[tokio::test]
async fn a_plan_is_saved_issued_and_laid_and_the_log_has_it_whole() {
    let ground = Ground::open().await;
    let line = ground.post.line("L-12").await;
    let at = format!("/lines/{line}/plans");
    let (road, ditch, track) = (id(), id(), id());
    let bury = crossing(&track, [-4.64, 54.0933], "dirt_road", "buried");
    let mut lance = crossing(&road, [-4.66, 54.085], "road", "overhead_lance_poles");
    lance["because"] = json!("no tree within a furlong");
    let bridge = crossing(&ditch, [-4.65, 54.09], "stream", "under_bridge");

    let first = ground.post.post(&at, &plan(&[lance.clone(), bridge])).await.ok(201);
    assert_eq!((&first["version"], &first["issued"]), (&json!(1), &json!(false)));
    assert_eq!(first["figures"]["reels"], 3, "{first}");
    // About 2.8 km, a fifth more wire (SS0444 p. 23), and ends, spans and tails beside.
    let wire_m = first["figures"]["wire_m"].as_f64().unwrap();
    assert!((3_300.0..3_700.0).contains(&wire_m), "{wire_m}");
    let second = ground.post.post(&at, &plan(&[lance.clone(), bury])).await.ok(201);
    assert_eq!(second["version"], 2);
    assert!(foreseen(&ground.post).await.is_empty(), "saving changes nothing");

    let lead = ground.crew("lead_team", "Lead 1").await;
    let issued = ground.post.post(&format!("{at}/1/issue"), &json!({})).await.ok(200);
    assert_eq!((&issued["foreseen"], &issued["struck_out"]), (&json!(2), &json!(0)));
    let states = foreseen(&lead).await;
    assert_eq!(states.iter().filter(|(_, state)| state == "foreseen").count(), 2, "{states:?}");
    // The other plan meets the track and not the stream; the road stays as it is.
    let again = ground.post.post(&format!("{at}/2/issue"), &json!({})).await.ok(200);
    assert_eq!((&again["foreseen"], &again["struck_out"]), (&json!(1), &json!(1)));
    let states = foreseen(&lead).await;
    assert!(states.contains(&(ditch.clone(), "struck_out".to_owned())), "{states:?}");
    let lines = lead.get("/lines").await.ok(200);
    assert_eq!(lines["features"][0]["properties"]["plan"], 2);
    let listed = lead.get(&at).await.ok(200);
    let marks: Vec<_> = listed["plans"]
        .as_array()
        .unwrap()
        .iter()
        .map(|p| (p["version"].clone(), p["issued"].clone()))
        .collect();
    assert_eq!(marks, [(json!(2), json!(true)), (json!(1), json!(false))]);
    let whole = lead.get(&format!("{at}/2")).await.ok(200);
    assert_eq!(whole["plan"]["crossings"][0]["because"], "no tree within a furlong");
    assert_eq!(whole["remark"], "by the mill");

    // What is laid stands beside it.
    lead.report(
        json!({ "kind": "trace_extended", "line": line, "positions": [[-4.67, 54.08], [-4.65, 54.09]] }),
    )
    .await;
    let beside = lead.get(&format!("{at}/2/laid")).await.ok(200);
    assert!(beside["farthest_m"].as_f64().unwrap() < 1.0, "{beside}");
    assert_eq!(beside["not_come_to"].as_array().unwrap().len(), 2);
    ground.adds_up();
}

#[tokio::test]
async fn a_plan_that_cannot_stand_says_why_and_leaves_everything_as_it_was() {
    let ground = Ground::open().await;
    let line = ground.post.line("L-12").await;
    let at = format!("/lines/{line}/plans");
    let over_rails = crossing(&id(), [-4.65, 54.09], "railway", "overhead_trees");
    let refused = ground.post.post(&at, &plan(&[over_rails])).await.problem(422, "cannot-reckon");
    assert_eq!(refused["field"], "plan.crossings[0].construction");
    let twice = crossing(&id(), [-4.65, 54.09], "road", "through_culvert");
    let twice = ground.post.post(&at, &plan(&[twice.clone(), twice])).await.problem(422, "malformed");
    assert_eq!(twice["field"], "plan.crossings", "{twice}");
    let many = vec![[-4.67, 54.08]; 100_001];
    let body = json!({ "plan": { "trace": many } });
    ground.post.post(&at, &body).await.problem(413, "too-large");
    let none = json!({ "plan": { "trace": [[-4.67, 54.08]] } });
    ground.post.post(&at, &none).await.problem(422, "malformed");
    assert_eq!(ground.post.get(&at).await.ok(200)["plans"], json!([]));
    for version in ["1", "0", "70000", "one"] {
        ground.post.post(&format!("{at}/{version}/issue"), &json!({})).await.problem(404, "not-found");
    }
    // The teams read plans, and neither save nor issue them.
    let lead = ground.crew("lead_team", "Lead 1").await;
    lead.post(&at, &plan(&[])).await.problem(403, "not-yours");
    ground.post.post(&at, &plan(&[])).await.ok(201);
    lead.post(&format!("{at}/1/issue"), &json!({})).await.problem(403, "not-yours");

    // A rule that refuses one crossing refuses the issue: an id that another line's crossing has.
    let other = ground.post.line("L-13").await;
    let taken = id();
    let known = crossing(&taken, [-4.65, 54.09], "road", "through_culvert");
    let mut report = known.clone();
    report["kind"] = json!("crossing_foreseen");
    report["line"] = json!(other);
    ground.post.records(report).await;
    let fresh = crossing(&id(), [-4.66, 54.085], "road", "through_culvert");
    ground.post.post(&at, &plan(&[fresh, known])).await.ok(201);
    ground.post.post(&format!("{at}/2/issue"), &json!({})).await.problem(409, "refused");
    assert_eq!(foreseen(&ground.post).await.len(), 1, "nothing of it stands");
    assert_eq!(ground.post.get("/lines").await.ok(200)["features"][0]["properties"]["plan"], Value::Null);
}
