//! Where the follow-up teams go: the queue by road and its share-out, asked over HTTP on the Isle of Man and with no map.

use laywire_tests::{Crew, Ground, id};
use serde_json::{Value, json};

/// A place in the village that the line begins at.
const VILLAGE: [f64; 2] = [-4.6705, 54.0795];
/// A place by its far end.
const FAR_END: [f64; 2] = [-4.636, 54.0945];

async fn passed(post: &Crew, line: &str, position: [f64; 2]) -> String {
    let crossing = post.crossing(line, position).await;
    post.records(json!({ "kind": "crossing_passed", "crossing": crossing, "clear_of_traffic": true })).await;
    crossing
}

fn number(value: &Value) -> f64 {
    value.as_f64().unwrap_or_else(|| panic!("{value} is no number"))
}

#[tokio::test]
async fn the_queue_by_road_goes_by_the_travel_and_no_road_is_shorter_than_the_straight_way() {
    let ground = Ground::open().await;
    ground.island();
    let line = ground.post.line("L-12").await;
    for place in [VILLAGE, [-4.66, 54.0845], [-4.65, 54.0885], FAR_END] {
        passed(&ground.post, &line, place).await;
    }
    let ask = async |order: &str| {
        let path = format!("/queue?from=-4.6690,54.0790&order={order}");
        ground.post.get(&path).await.ok(200)["waiting"].as_array().unwrap().clone()
    };
    let near = ask("near").await;
    assert!(near.iter().all(|one| one["travel_min"].is_null()), "{near:?}");
    let straight = |id: &Value| {
        let one = near.iter().find(|one| one["crossing"]["id"] == *id).unwrap();
        number(&one["distance_m"])
    };
    for by in ["foot", "vehicle"] {
        let road = ask(&format!("road&by={by}")).await;
        assert_eq!(road.len(), 4, "{road:?}");
        let minutes: Vec<f64> = road.iter().map(|one| number(&one["travel_min"])).collect();
        assert!(minutes.is_sorted(), "{minutes:?}");
        for one in &road {
            assert!(number(&one["distance_m"]) > straight(&one["crossing"]["id"]) - 1.0, "{one}");
        }
    }
}

#[tokio::test]
async fn a_share_out_is_proposed_given_out_and_changed_by_the_command_post_alone() {
    let ground = Ground::open().await;
    ground.island();
    let line = ground.post.line("L-12").await;
    let [near, far] =
        [passed(&ground.post, &line, VILLAGE).await, passed(&ground.post, &line, FAR_END).await];
    let held = passed(&ground.post, &line, [-4.6695, 54.0802]).await;
    let only_marked = ground.post.crossing(&line, [-4.66, 54.0845]).await;
    let first = ground.crew("follow_up_team", "Follow-up 1").await;
    let second = ground.crew("follow_up_team", "Follow-up 2").await;
    first.records(json!({ "kind": "crossing_taken", "crossing": held })).await;

    let ask = json!({ "by": "vehicle", "teams": [{ "team": "Follow-up 1", "position": VILLAGE },
        { "team": "Follow-up 2", "position": FAR_END }] });
    let answer = ground.post.post("/queue/share-out", &ask).await.ok(200);
    let stops = |round: usize| {
        let stops = answer["rounds"][round]["stops"].as_array().unwrap();
        stops.iter().map(|stop| stop["crossing"].as_str().unwrap()).collect::<Vec<_>>()
    };
    assert_eq!(stops(0), [&held, &near], "what it has in hand it finishes first: {answer}");
    assert_eq!(stops(1), [&far]);
    assert_eq!(answer["left_out"], json!([{ "crossing": only_marked, "because": "not_passed" }]));
    assert_eq!(answer["not_reached"], json!([]));
    // Each end is the begin and the profile's 30 minutes for lance poles; each begin the last end and the way.
    let mut now = 0.0;
    for stop in answer["rounds"][0]["stops"].as_array().unwrap() {
        let begins = number(&stop["begins_after_min"]);
        assert!((begins - now - number(&stop["travel_min"])).abs() < 1e-6, "{stop}");
        now = number(&stop["ends_after_min"]);
        assert!((now - begins - 30.0).abs() < 1e-6, "{stop}");
    }
    assert_eq!(answer["ends_after_min"], json!(now));

    // Put together otherwise, it is timed as it stands.
    let mut other = ask.clone();
    other["teams"][0]["round"] = json!([far]);
    other["teams"][1]["round"] = json!([near]);
    let timed = ground.post.post("/queue/share-out", &other).await.ok(200);
    assert_eq!(timed["rounds"][0]["stops"][1]["crossing"], json!(far), "{timed}");
    assert_eq!(timed["rounds"][1]["stops"][0]["crossing"], json!(near), "{timed}");
    assert!(number(&timed["ends_after_min"]) >= number(&answer["ends_after_min"]), "{timed}");
    other["teams"][1]["round"] = json!([far]);
    let twice = ground.post.post("/queue/share-out", &other).await.problem(422, "malformed");
    assert!(twice["title"].as_str().unwrap().contains("stands in the rounds twice"), "{twice}");

    // What is taken of it goes into the log as reports.
    let give =
        json!({ "kind": "crossing_given_out", "crossing": far, "to": answer["rounds"][1]["stops"][0]["to"] });
    ground.post.records(give.clone()).await;
    let given = async || {
        let all = second.get("/crossings").await.ok(200);
        let all = all["features"].as_array().unwrap().clone();
        all.iter().find(|one| one["id"] == *far).unwrap()["properties"]["given_to"].clone()
    };
    assert_eq!(given().await, json!({ "team": "Follow-up 2", "place": 1 }));
    assert_eq!(second.report(give.clone()).await["reason"]["refusal"]["rule"], "not_yours");
    let nobody = json!({ "kind": "crossing_given_out", "crossing": far });
    ground.post.records(nobody.clone()).await;
    assert_eq!(given().await, Value::Null);
    let unknown = json!([laywire_tests::report(&json!({ "kind": "crossing_given_out", "crossing": far,
        "to": { "team": "Follow-up 9", "place": 1 } }))]);
    let problem = ground.post.post("/reports", &unknown).await.problem(422, "malformed");
    assert!(problem["title"].as_str().unwrap().contains("no team Follow-up 9"), "{problem}");

    // Struck out it is nobody's any more, and nobody can be given it.
    ground.post.records(give.clone()).await;
    ground.post.records(json!({ "kind": "crossing_struck_out", "crossing": far, "because": "none" })).await;
    assert_eq!(given().await, Value::Null);
    assert_eq!(ground.post.report(give).await["reason"]["refusal"]["rule"], "crossing_state");
}

#[tokio::test]
async fn a_question_that_cannot_be_answered_says_why() {
    let ground = Ground::open().await;
    let line = ground.post.line("L-12").await;
    let crossing = passed(&ground.post, &line, VILLAGE).await;
    let ask = async |body: Value| ground.post.post("/queue/share-out", &body).await;
    let team = |name: &str, position: [f64; 2]| json!({ "team": name, "position": position });
    let one = json!({ "teams": [team("Follow-up 1", VILLAGE)] });
    let no_map = ask(one.clone()).await.problem(422, "cannot-reckon");
    assert!(no_map["title"].as_str().unwrap().contains("no map is loaded"), "{no_map}");
    let queue = ground.post.get("/queue?from=-4.669,54.079&order=road").await.problem(422, "cannot-reckon");
    assert!(queue["title"].as_str().unwrap().contains("no map is loaded"), "{queue}");

    ground.island();
    let bad = async |body: Value| ask(body).await.problem(422, "malformed")["title"].to_string();
    assert!(bad(json!({ "teams": [] })).await.contains("0 teams are named; give 1 to 10"));
    let twice = json!({ "teams": [team("Follow-up 1", VILLAGE), team("Follow-up 1", FAR_END)] });
    assert!(bad(twice).await.contains("a team is named twice"));
    let many: Vec<String> = (0..101).map(|_| id()).collect();
    let many = json!({ "teams": [team("Follow-up 1", VILLAGE)], "crossings": many });
    assert!(bad(many).await.contains("101 crossings are named; give 1 to 100"));
    let away = json!({ "teams": [team("Follow-up 1", [-5.9, 54.6])] });
    let away = ask(away).await.problem(422, "cannot-reckon");
    assert!(away["title"].as_str().unwrap().contains("no more than 60000 m"), "{away}");
    // At sea no road leads to it; what is not there is said to be not there.
    let gone = id();
    let sea = json!({ "teams": [team("Follow-up 1", [-4.9, 54.0])], "crossings": [crossing, gone] });
    let sea = ask(sea).await.ok(200);
    assert_eq!(sea["not_reached"], json!([crossing]));
    assert_eq!(sea["left_out"], json!([{ "crossing": gone, "because": "not_unfinished" }]));
    assert_eq!(sea["ends_after_min"], Value::Null);

    let crew = ground.crew("follow_up_team", "Follow-up 1").await;
    crew.post("/queue/share-out", &one).await.problem(403, "not-yours");
}
