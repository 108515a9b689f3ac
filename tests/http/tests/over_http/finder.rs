//! The finder of a trace, asked over HTTP on the Isle of Man and with no map at all.

use laywire_tests::Ground;
use serde_json::{Value, json};

/// A village inland, and a place by the coast some five kilometres away.
const BALLASALLA: [f64; 2] = [-4.634, 54.102];
const NEWTOWN: [f64; 2] = [-4.567, 54.133];

#[tokio::test]
async fn two_ways_are_found_with_what_each_takes_and_the_costs_can_be_altered() {
    let ground = Ground::open().await;
    ground.island();
    let ask = json!({ "from": BALLASALLA, "to": NEWTOWN });
    let answer = ground.post.post("/traces", &ask).await.ok(200);
    let traces = answer["traces"].as_array().unwrap();
    let first = &traces[0];
    assert_eq!(first["trace"].as_array().unwrap().first().unwrap(), &json!(BALLASALLA));
    // The straight way is 5.6 km: what is laid is no shorter, and not half as long again.
    let ground_m = first["figures"]["ground_m"].as_f64().unwrap();
    assert!((5_500.0..8_500.0).contains(&ground_m), "{ground_m}");
    let sum = |price: &Value| {
        let items = price["items"].as_array().unwrap().iter();
        items.map(|item| item["cost_min"].as_f64().unwrap()).sum::<f64>()
    };
    for trace in traces {
        assert!((sum(&trace["price"]) - trace["price"]["cost_min"].as_f64().unwrap()).abs() < 1e-3);
        assert!(
            trace["foreseen"]["unknown"].as_array().unwrap().is_empty(),
            "it stays on the map and off the sea"
        );
        let along = trace["foreseen"]["along"].as_array().unwrap();
        let in_traffic: f64 = along
            .iter()
            .filter(|run| run["in_traffic"] == true)
            .map(|run| run["inside_m"].as_f64().unwrap())
            .sum();
        assert!(in_traffic < 200.0, "{in_traffic} m in a carriageway");
    }
    // Roads that cost nothing to be in are gone along; the answer has the costs that it was asked with.
    let mut costs = answer["costs"].clone();
    for crossing in costs["crossings"].as_array_mut().unwrap() {
        for figure in ["lead_min", "follow_up_min", "passage_lead_min", "passage_follow_up_min"] {
            crossing[figure] = json!(0.0);
        }
    }
    // The same once more with crossings that cost nothing, by another place and round an area.
    let mut other = ask.clone();
    let by = [-4.612, 54.126];
    let square = [[-4.61, 54.112], [-4.59, 54.112], [-4.59, 54.124], [-4.61, 54.124], [-4.61, 54.112]];
    other["costs"] = costs.clone();
    other["via"] = json!([by]);
    other["not_here"] = json!([{ "type": "Polygon", "coordinates": [square] }]);
    let otherwise = ground.post.post("/traces", &other).await.ok(200);
    assert_eq!(otherwise["costs"], costs);
    let places = otherwise["traces"][0]["trace"].as_array().unwrap();
    for place in places {
        let (lon, lat) = (place[0].as_f64().unwrap(), place[1].as_f64().unwrap());
        assert!(!((-4.61..-4.59).contains(&lon) && (54.112..54.124).contains(&lat)), "{place}");
    }
    let paid = |item: &Value| item["count"].as_u64().is_some() && item["cost_min"] != 0.0;
    assert!(!otherwise["traces"][0]["price"]["items"].as_array().unwrap().iter().any(paid));
    let goes_by = |place: &Value| {
        (place[0].as_f64().unwrap() - by[0]).abs() < 1e-7 && (place[1].as_f64().unwrap() - by[1]).abs() < 1e-7
    };
    assert!(places.iter().any(goes_by));
}

#[tokio::test]
async fn what_cannot_be_found_says_why() {
    let ground = Ground::open().await;
    let ask = json!({ "from": BALLASALLA, "to": NEWTOWN });
    let no_map = ground.post.post("/traces", &ask).await.problem(422, "cannot-reckon");
    assert!(no_map["title"].as_str().unwrap().contains("no map is loaded"), "{no_map}");
    ground.island();
    let with = |field: &str, value: Value| {
        let mut ask = ask.clone();
        ask[field] = value;
        ask
    };
    // Out at sea to the south, and on the Calf of Man, an island of its own.
    for (to, field) in [(json!([-4.60, 54.02]), "to"), (json!([-4.8180, 54.0560]), "to")] {
        let answer = ground.post.post("/traces", &with("to", to.clone())).await.problem(422, "cannot-reckon");
        assert_eq!(answer["field"], field, "{to}: {answer}");
    }
    let far =
        ground.post.post("/traces", &with("to", json!([-3.0, 54.9]))).await.problem(422, "cannot-reckon");
    assert!(far["title"].as_str().unwrap().contains("60000 m"), "{far}");
    for (field, value) in [
        ("not_here", json!([{ "type": "Point", "coordinates": [1, 2] }])),
        ("not_here", json!([{ "type": "Polygon", "coordinates": [[[1, 2], [3, 4], [1, 2]]] }])),
        ("from", json!([500, 2])),
        ("costs", json!({ "open_min_per_km": 3 })),
        ("weather", json!("wet")),
    ] {
        ground.post.post("/traces", &with(field, value)).await.problem(422, "malformed");
    }
    let many = vec![BALLASALLA; 11];
    ground.post.post("/traces", &with("via", json!(many))).await.problem(422, "cannot-reckon");
}
