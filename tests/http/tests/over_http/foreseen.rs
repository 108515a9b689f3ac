//! What a trace will meet, asked over HTTP on the Isle of Man and with no map at all.

use laywire_tests::{Answer, Ground, id, process};
use reqwest::Method;
use serde_json::{Value, json};

fn terrain(ground: &Ground, verb: &str, arguments: &[&str]) -> String {
    process::succeeds(&[&["terrain", verb, "--database-url", &ground.database.url], arguments].concat())
}

fn line(places: &[[f64; 2]]) -> Value {
    json!({ "trace": { "type": "LineString", "coordinates": places } })
}

#[tokio::test]
async fn a_lines_plan_is_foreseen_and_so_is_a_trace_that_is_being_drawn() {
    let ground = Ground::open().await;
    ground.island();
    // The plan of a line is route A, of which seven meetings are known (pyosmium, shapely).
    let planned = ground.post.line("L-12").await;
    let plan = ground.post.post(&format!("/lines/{planned}/plan"), &json!({})).await.ok(200);
    assert_eq!(plan["crossings"].as_array().unwrap().len(), 7, "{plan}");
    assert_eq!(plan["map"]["attribution"], "© OpenStreetMap contributors");
    let rails = &plan["crossings"][2];
    assert_eq!(rails["obstacle"], "railway");
    assert_eq!(rails["met"][0]["drawn"], json!({ "osm_way": 64_104_051 }));
    // pyosmium: the railway's bridge 60366133 lies some 80 m along it, which is within the profile's reach.
    assert_eq!(rails["within_reach"][0]["drawn"], json!({ "osm_way": 60_366_133 }));
    assert_eq!(rails["proposed"]["construction"], "under_bridge");
    let detour_m = rails["proposed"]["detour_m"].as_f64().unwrap();
    assert!((140.0..190.0).contains(&detour_m), "{detour_m}");
    assert!((rails["chainage_m"].as_f64().unwrap() - 443.73).abs() < 1.0);
    assert!(rails["grid"].as_str().unwrap().starts_with("30U UE"), "{rails}");

    let route = line(&[[-4.67, 54.08], [-4.635, 54.095]]);
    // Who looks on may ask as well.
    let observer = ground.crew("observer", "Guest").await;
    let drawn = observer.post("/foreseen", &route).await.ok(200);
    assert_eq!(drawn, plan);
    let other = line(&[[-4.65, 54.07], [-4.645, 54.09]]);
    let other = ground.post.post(&format!("/lines/{planned}/plan"), &other).await.ok(200);
    assert!((other["length_m"].as_f64().unwrap() - 2250.055).abs() < 0.001);
}

#[tokio::test]
async fn with_no_map_the_answer_says_that_nothing_is_known() {
    let ground = Ground::open().await;
    let answer = ground.post.post("/foreseen", &line(&[[-4.67, 54.08], [-4.635, 54.095]])).await.ok(200);
    assert_eq!(answer["map"], Value::Null);
    assert_eq!(answer["unknown"][0]["why"], "no_map_loaded");
    assert_eq!(answer["unknown"][0]["to_m"], answer["length_m"]);
}

#[tokio::test]
async fn a_trace_that_cannot_be_foreseen_says_why() {
    let ground = Ground::open().await;
    let ask = async |body: Value| ground.post.post("/foreseen", &body).await;
    let bad = |answer: Answer| answer.problem(422, "malformed")["title"].as_str().unwrap().to_owned();
    assert!(bad(ask(line(&[[-4.67, 54.08]])).await).contains("at least two positions"));
    assert!(bad(ask(line(&[[-4.67, 91.0], [0.0, 0.0]])).await).contains("position 0: a latitude"));
    assert!(bad(ask(json!({})).await).contains("missing field `trace`"));
    let polygon =
        json!({ "trace": { "type": "Polygon", "coordinates": [[[0, 0], [1, 0], [1, 1], [0, 0]]] } });
    assert!(bad(ask(polygon).await).contains("a LineString is wanted here and this is a Polygon"));
    let long = ask(line(&[[-4.67, 54.08], [4.67, 54.08]])).await.problem(422, "cannot-reckon");
    assert!(long["title"].as_str().unwrap().ends_with("divide it and ask for each part."), "{long}");
    // A million positions are more than a body may hold.
    let million: Vec<[f64; 2]> = (0..1_000_000).map(|n| [f64::from(n) * 1e-6, 54.0]).collect();
    ask(line(&million)).await.problem(413, "too-large");

    let nowhere = ground.post.post(&format!("/lines/{}/plan", id()), &json!({})).await;
    nowhere.problem(404, "not-found");
    let bare = id();
    ground
        .post
        .records(json!({ "kind": "line_planned", "line": bare, "designation": "L-13", "from": "A", "to": "B", "trace": null }))
        .await;
    let bare =
        ground.post.post(&format!("/lines/{bare}/plan"), &json!({})).await.problem(422, "cannot-reckon");
    assert!(bare["title"].as_str().unwrap().contains("no planned trace"), "{bare}");
    let stranger = ground.post.bare(Method::POST, &ground.post.path("/foreseen")).json(&json!({}));
    Answer::to(stranger).await.problem(401, "no-pass");
}

#[tokio::test]
async fn own_features_are_added_listed_and_removed_from_the_command_line() {
    let ground = Ground::open().await;
    let folder = std::env::temp_dir().join(format!("laywire-own-{}", id()));
    std::fs::create_dir(&folder).unwrap();
    let file = folder.join("seen.geojson");
    let feature = |properties: Value| json!({ "type": "Feature", "properties": properties, "geometry": { "type": "Point", "coordinates": [10.0, 50.0] } });
    let write = |features: Value| {
        std::fs::write(&file, json!({ "type": "FeatureCollection", "features": features }).to_string())
            .unwrap();
    };
    let path = file.to_str().unwrap();
    write(json!([
        feature(json!({ "kind": "culvert", "note": "two pipes" })),
        feature(json!({ "kind": "bridge" }))
    ]));
    assert_eq!(terrain(&ground, "add", &[path]), "added 2, 1 to 2\n");
    write(json!([feature(json!({ "kind": "culvert" })), feature(json!({ "kind": "moat" }))]));
    let refused = process::run(&["terrain", "add", "--database-url", &ground.database.url, path]);
    assert_eq!(refused.status.code(), Some(1), "{refused:?}");
    assert!(String::from_utf8_lossy(&refused.stderr).contains("feature 2: 'moat' is no kind"), "{refused:?}");
    let listed = terrain(&ground, "list", &[]);
    assert_eq!(listed.lines().count(), 2);
    assert!(listed.starts_with("1\tculvert\t10.00000,50.00000\t-\ttwo pipes\tseen.geojson "), "{listed}");
    assert_eq!(terrain(&ground, "remove", &["1"]), "removed 1\n");
    let gone = process::run(&["terrain", "remove", "--database-url", &ground.database.url, "1"]);
    assert_eq!(gone.status.code(), Some(1), "{gone:?}");
    assert_eq!(terrain(&ground, "list", &[]).lines().count(), 1);
    std::fs::remove_dir_all(&folder).unwrap();
}
