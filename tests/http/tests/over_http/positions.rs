//! Where crews are: shared by who chose to, with those who work with them, for as long as they said, and never in the log.

use laywire_tests::{Answer, Crew, Ground, until};
use reqwest::Method;
use serde_json::{Value, json};

async fn share(crew: &Crew, body: &Value) -> Answer {
    Answer::to(crew.request(Method::PUT, &crew.path("/positions/mine")).json(body)).await
}

async fn stop(crew: &Crew) {
    let answer = Answer::to(crew.request(Method::DELETE, &crew.path("/positions/mine"))).await;
    assert_eq!(answer.status, 204, "{answer:?}");
}

async fn seen(by: &Crew) -> Vec<Value> {
    by.get("/positions").await.ok(200)["crews"].as_array().unwrap().clone()
}

fn here() -> Value {
    json!({ "position": [-4.65, 54.0886], "accuracy_m": 6, "minutes": 240 })
}

#[tokio::test]
async fn a_crew_is_on_nobodys_map_until_it_shares_and_no_more_once_it_stops() {
    let ground = Ground::open().await;
    let lead = ground.crew("lead_team", "Lead 1").await;
    let follow_up = ground.crew("follow_up_team", "Follow-up 1").await;
    let before = ground.post.sequence().await;
    ground.post.line("L-1").await;
    lead.records(json!({ "kind": "note", "text": "on the way" })).await;
    assert_eq!(seen(&ground.post).await, Vec::<Value>::new(), "a team that only reports is not followed");
    assert_eq!(share(&lead, &here()).await.status, 204);
    for other in [&ground.post, &follow_up] {
        let crews = seen(other).await;
        assert_eq!(crews.len(), 1);
        assert_eq!((&crews[0]["team"], &crews[0]["party"]), (&json!("Lead 1"), &json!("lead_team")));
        assert_eq!(crews[0]["position"], here()["position"]);
        assert_eq!(crews[0]["accuracy_m"].as_f64(), Some(6.0));
    }
    stop(&lead).await;
    assert_eq!(seen(&ground.post).await, Vec::<Value>::new());
    stop(&lead).await;
    let log = ground.post.get("/log").await.ok(200);
    assert_eq!(ground.post.sequence().await, before + 3, "none of it went through the log: {log}");
}

#[tokio::test]
async fn an_onlooker_neither_sees_where_crews_are_nor_is_told_by_the_feed() {
    let ground = Ground::open().await;
    let lead = ground.crew("lead_team", "Lead 1").await;
    let umpire = ground.crew("observer", "Umpire").await;
    umpire.get("/positions").await.problem(403, "not-yours");
    share(&umpire, &here()).await.problem(403, "not-yours");
    let mut theirs = umpire.feed("").await;
    let mut ours = ground.post.feed("").await;
    assert_eq!(share(&lead, &here()).await.status, 204);
    // Once the command post has heard of it, the umpire's feed has had its turn: the next that it hears is the note.
    while ours.crews().await.name != "crew" {}
    ground.post.records(json!({ "kind": "note", "text": "after it" })).await;
    assert_eq!(theirs.any().await.unwrap().name, "start");
    assert_eq!(theirs.any().await.unwrap().name, "entry");
}

#[tokio::test]
async fn the_feed_says_where_all_are_at_first_and_then_who_moved_or_stopped() {
    let ground = Ground::open().await;
    let lead = ground.crew("lead_team", "Lead 1").await;
    let follow_up = ground.crew("follow_up_team", "Follow-up 1").await;
    assert_eq!(share(&lead, &here()).await.status, 204);
    let mut feed = ground.post.feed("").await;
    let all = feed.crews().await;
    assert_eq!((all.name.as_str(), all.id), ("crews", 0), "it takes no number from the log");
    assert_eq!(all.json()["crews"][0]["team"], "Lead 1");
    let by_hand = json!({ "position": [-4.66, 54.084], "minutes": 5 });
    assert_eq!(share(&follow_up, &by_hand).await.status, 204);
    let mut moved = feed.crews().await;
    // What was shared just before the feed began may be told once more.
    while moved.json()["crew"]["team"] == "Lead 1" {
        moved = feed.crews().await;
    }
    assert_eq!(moved.name, "crew");
    assert_eq!(moved.json()["crew"]["team"], "Follow-up 1");
    assert_eq!(moved.json()["crew"]["accuracy_m"], Value::Null);
    stop(&follow_up).await;
    let stopped = feed.crews().await.json();
    assert_eq!(stopped["crew"], Value::Null);
    assert_eq!(stopped["seat"], moved.json()["seat"]);
}

#[tokio::test]
async fn whoever_leaves_or_loses_the_pass_is_not_followed_any_more() {
    let ground = Ground::open().await;
    let lead = ground.crew("lead_team", "Lead 1").await;
    let follow_up = ground.crew("follow_up_team", "Follow-up 1").await;
    assert_eq!(share(&lead, &here()).await.status, 204);
    assert_eq!(share(&follow_up, &here()).await.status, 204);
    let left = Answer::to(lead.request(Method::DELETE, "/api/session")).await;
    assert_eq!(left.status, 204);
    let crews = seen(&ground.post).await;
    assert_eq!(crews.len(), 1);
    let pass = crews[0]["seat"].as_str().unwrap();
    let revoked =
        Answer::to(ground.post.request(Method::DELETE, &ground.post.path(&format!("/passes/{pass}")))).await;
    assert_eq!(revoked.status, 204);
    assert_eq!(seen(&ground.post).await, Vec::<Value>::new());
}

#[tokio::test]
async fn a_pass_writes_at_most_once_in_ten_seconds_also_by_switching_off_and_on() {
    let ground = Ground::open().await;
    let lead = ground.crew("lead_team", "Lead 1").await;
    assert_eq!(share(&lead, &here()).await.status, 204);
    let again = share(&lead, &here()).await;
    again.problem(429, "too-soon");
    assert_eq!(again.header("retry-after"), "10");
    stop(&lead).await;
    share(&lead, &here()).await.problem(429, "too-soon");
    assert_eq!(seen(&ground.post).await, Vec::<Value>::new());
}

#[tokio::test]
async fn a_position_that_cannot_be_is_refused_and_says_which_field_is_wrong() {
    let ground = Ground::open().await;
    let lead = ground.crew("lead_team", "Lead 1").await;
    for (body, field) in [
        (json!({ "position": [-4.65, 91.0], "minutes": 5 }), "position"),
        (json!({ "position": [-4.65, 54.0], "minutes": 0 }), "minutes"),
        (json!({ "position": [-4.65, 54.0], "minutes": 721 }), "minutes"),
        (json!({ "position": [-4.65, 54.0], "minutes": 5, "accuracy_m": -1e300 }), "accuracy_m"),
    ] {
        let problem = share(&lead, &body).await.problem(422, "malformed");
        assert!(problem["field"].as_str().unwrap().starts_with(field), "{problem}");
    }
    assert_eq!(
        share(&lead, &json!({ "position": [-4.65, 54.0] })).await.status,
        422,
        "for how long has to be said"
    );
    assert_eq!(seen(&ground.post).await, Vec::<Value>::new());
}

#[tokio::test]
async fn news_of_a_crew_reaches_those_who_watch_another_process() {
    let ground = Ground::open().await;
    let other = laywire_tests::Process::serve(&["--database-url", &ground.database.url]).await;
    let lead = ground.crew("lead_team", "Lead 1").await;
    let mut feed = ground.post.at(&other.address).feed("").await;
    assert_eq!(feed.crews().await.json()["crews"], json!([]));
    assert_eq!(share(&lead, &here()).await.status, 204);
    assert_eq!(feed.crews().await.json()["crew"]["team"], "Lead 1");
    until("the other process shows it too", async || seen(&ground.post.at(&other.address)).await.len() == 1)
        .await;
}
