//! Heights along a trace, over HTTP, from a tile that is made here: a plane whose height is five metres more with each post to the
//! east and one more with each to the south (1,200 posts a degree), so that every awaited figure follows from a longitude and a
//! latitude. The tile's form is that of NASA's SRTM quick start (from memory).

use laywire_tests::{Ground, process};
use serde_json::{Value, json};

fn tile() -> Vec<u8> {
    (0..1201_i16)
        .flat_map(|row| (0..1201).flat_map(move |column: i16| (5 * column + row).to_be_bytes()))
        .collect()
}

fn plane(lon: f64, lat: f64) -> f64 {
    (5.0 * (lon + 5.0) + (55.0 - lat)) * 1200.0
}

fn elevation(ground: &Ground, verb: &str, arguments: &[&str]) -> String {
    let all = [&["terrain", "elevation", verb, "--database-url", &ground.database.url], arguments].concat();
    process::succeeds(&all)
}

fn near(found: &Value, awaited: f64, within: f64) {
    let figure = found.as_f64().unwrap_or_else(|| panic!("{found} is no figure"));
    assert!((figure - awaited).abs() <= within, "{figure} is not {awaited}");
}

#[tokio::test]
async fn a_trace_has_its_heights_from_the_grids_and_a_plan_has_what_the_hills_add() {
    let ground = Ground::open().await;
    ground.island();
    let line = ground.post.line("L-12").await;
    let (from, to) = ([-4.67, 54.08], [-4.635, 54.095]);
    let trace = json!({ "trace": { "type": "LineString", "coordinates": [from, to] } });

    // Without a grid nothing is known, and nothing is zero.
    let none = ground.post.post("/heights", &trace).await.ok(200);
    assert_eq!(none["grids"], json!([]));
    assert_eq!([&none["surface_length_m"], &none["highest"], &none["steepest"]], [&Value::Null; 3]);
    assert_eq!(none["unknown_m"], none["length_m"]);
    let plan = ground.post.post(&format!("/lines/{line}/plan"), &json!({})).await.ok(200);
    assert_eq!([&plan["surface"], &plan["crossings"][0]["heights"]], [&Value::Null; 2]);

    let folder = tempfile::tempdir().unwrap();
    let file = folder.path().join("N54W005.hgt");
    std::fs::write(&file, tile()).unwrap();
    let said = elevation(&ground, "load", &[file.to_str().unwrap()]);
    assert!(said.starts_with("loaded N54W005: 1201 × 1201 heights"), "{said}");

    let known = ground.post.post("/heights", &trace).await.ok(200);
    assert_eq!(known["grids"][0]["name"], "N54W005");
    let points = known["points"].as_array().unwrap();
    near(&points[0]["height_m"], plane(from[0], from[1]), 0.01);
    near(&points.last().unwrap()["height_m"], plane(to[0], to[1]), 0.01);
    near(&known["lowest"]["height_m"], plane(from[0], from[1]), 0.01);
    near(&known["highest"]["height_m"], plane(to[0], to[1]), 0.01);
    assert_eq!(known["unknown_m"], 0.0);
    // A straight trace up a plane is the long side of a right-angled triangle.
    let length_m = known["length_m"].as_f64().unwrap();
    let rises_m = plane(to[0], to[1]) - plane(from[0], from[1]);
    near(&known["surface_length_m"], length_m.hypot(rises_m), 0.01);

    let plan = ground.post.post(&format!("/lines/{line}/plan"), &json!({})).await.ok(200);
    assert_eq!(plan["surface"]["length_m"], known["surface_length_m"]);
    near(&plan["surface"]["more_m"], length_m.hypot(rises_m) - length_m, 0.01);
    for crossing in plan["crossings"].as_array().unwrap() {
        let heights = &crossing["heights"];
        let apart_m = heights["apart_m"].as_f64().unwrap();
        let rises = heights["after_m"].as_f64().unwrap() - heights["before_m"].as_f64().unwrap();
        // The plane rises evenly along the trace.
        assert!((rises / apart_m - rises_m / length_m).abs() < 1e-4, "{crossing}");
    }

    let list = elevation(&ground, "list", &[]);
    assert!(list.starts_with("N54W005\t1201 × 1201\t"), "{list}");
    // Not another operation's question, and not without a pass: the walk over all routes sees to that.
    let long = json!({ "trace": { "type": "LineString", "coordinates": [[-4.0, 54.0], [4.0, 54.0]] } });
    let refused = ground.post.post("/heights", &long).await.problem(422, "cannot-reckon")["title"].clone();
    assert!(refused.as_str().unwrap().contains("divide it"), "{refused}");
    ground.post.post("/heights", &json!({ "trace": 7 })).await.problem(422, "malformed");

    elevation(&ground, "remove", &["N54W005"]);
    assert_eq!(ground.post.post("/heights", &trace).await.ok(200), none);
}

#[tokio::test]
async fn a_file_that_is_no_grid_is_refused_on_the_command_line_and_nothing_is_loaded() {
    let ground = Ground::open().await;
    let folder = tempfile::tempdir().unwrap();
    let (good, cut) = (folder.path().join("N54W005.hgt"), folder.path().join("N54W004.hgt"));
    std::fs::write(&good, tile()).unwrap();
    std::fs::write(&cut, &tile()[..1_000_000]).unwrap();
    let load = ["terrain", "elevation", "load", "--database-url", &ground.database.url];
    let output = process::run(&[&load[..], &[good.to_str().unwrap(), cut.to_str().unwrap()]].concat());
    assert!(!output.status.success());
    let said = String::from_utf8(output.stderr).unwrap();
    assert!(
        said.contains("N54W004.hgt: an HGT tile has 2,884,802 bytes") && said.contains("Nothing was loaded"),
        "{said}"
    );
    assert_eq!(elevation(&ground, "list", &[]), "");
}
