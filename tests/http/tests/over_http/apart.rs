//! Devices that were out of reach: with clocks that are wrong, with work that others did as well, and with reports that
//! somebody else sends for them.

use laywire_tests::{Crew, Ground, id, report};
use serde_json::{Value, json};

/// A crossing that the lead team marked and passed, and the whole list that finishes it.
async fn passed(post: &Crew, lead: &Crew) -> (String, Value) {
    let line = post.line("L-12").await;
    let crossing = id();
    lead.records(json!({ "kind": "crossing_marked", "crossing": crossing, "line": line,
        "position": [-4.65, 54.0886], "obstacle": "road", "construction": "through_culvert" }))
        .await;
    lead.records(json!({ "kind": "crossing_passed", "crossing": crossing, "clear_of_traffic": false })).await;
    let guides = post.get("/guide").await.ok(200);
    let road =
        guides.as_array().unwrap().iter().find(|g| g["obstacle"] == "road" && g["hard_surface"] == true);
    let ways = road.unwrap()["allowed"].as_array().unwrap();
    let culvert = ways.iter().find(|way| way["construction"] == "through_culvert").unwrap();
    let list = culvert["finish"].as_array().unwrap().iter().map(|item| item["id"].clone()).collect();
    (crossing, list)
}

async fn facts(crew: &Crew) -> Value {
    crew.get("/crossings").await.ok(200)["features"][0]["properties"].clone()
}

#[tokio::test]
async fn a_clock_that_is_years_off_is_not_refused_and_disorders_nothing() {
    let ground = Ground::open().await;
    let crew = &ground.post;
    let note = |at: &str, offset: Value| {
        let mut report = report(&json!({ "kind": "note", "text": "wet" }));
        report["at"] = json!(at);
        report["clock_offset_ms"] = offset;
        report
    };
    let batch = [
        note("2001-01-01T00:00:10Z", Value::Null),
        note("2031-06-01T08:00:00.250Z", json!(158_112_000_000_i64)),
        note("1970-01-01T00:00:01Z", json!(-1_777_881_599_000_i64)),
        note("9999-12-31T23:59:59Z", Value::Null),
    ];
    let receipts = crew.reports(&batch).await;
    for (n, receipt) in (1..).zip(&receipts) {
        assert_eq!((&receipt["outcome"], &receipt["sequence"]), (&json!("recorded"), &json!(n)));
    }
    let log = crew.get("/log").await.ok(200);
    for (entry, sent) in log.as_array().unwrap().iter().rev().zip(&batch) {
        assert_eq!(
            (&entry["report"]["at"], &entry["report"]["clock_offset_ms"]),
            (&sent["at"], &sent["clock_offset_ms"])
        );
        assert!(entry["received_at"].as_str().unwrap() > "2026", "and when it was taken in");
    }

    // More than a hundred years is no clock.
    let off =
        crew.post("/reports", &json!([note("2026-05-04T08:00:00Z", json!(4_000_000_000_000_i64))])).await;
    let problem = off.problem(422, "malformed");
    assert_eq!(problem["field"], "[0].clock_offset_ms");
}

#[tokio::test]
async fn what_happened_by_a_wrong_clock_is_told_by_the_right_one() {
    let ground = Ground::open().await;
    let lead = ground.crew("lead_team", "Lead 1").await;
    let follow_up = ground.crew("follow_up_team", "Follow-up 1").await;
    let (crossing, _) = passed(&ground.post, &lead).await;
    let mut take = report(&json!({ "kind": "crossing_taken", "crossing": crossing }));
    // 28 May 2029, by a clock that is 1,120 days fast: 4 May 2026.
    take["at"] = json!("2029-05-28T10:00:00Z");
    take["clock_offset_ms"] = json!(1_120_i64 * 86_400_000);
    assert_eq!(follow_up.reports(&[take]).await[0]["outcome"], "recorded");
    assert_eq!(facts(&lead).await["in_hand"]["since"], "2026-05-04T10:00:00Z");
}

#[tokio::test]
async fn two_teams_that_finished_the_same_crossing_are_both_in_the_log_and_on_the_crossing() {
    let ground = Ground::open().await;
    let lead = ground.crew("lead_team", "Lead 1").await;
    let (first, second) = (
        ground.crew("follow_up_team", "Follow-up 1").await,
        ground.crew("follow_up_team", "Follow-up 2").await,
    );
    let (crossing, list) = passed(&ground.post, &lead).await;
    let finished = json!({ "kind": "crossing_finished", "crossing": crossing, "done": list });
    first.records(finished.clone()).await;
    let sequence = second.records(finished).await;
    let facts = facts(&lead).await;
    assert_eq!((&facts["state"], &facts["finished_by"]), (&json!("finished"), &json!("Follow-up 2")));
    let conflict = &facts["conflicts"][0];
    assert_eq!(conflict["told"], "crossing_finished");
    assert_eq!((&conflict["team"], &conflict["was"]), (&json!("Follow-up 2"), &json!("finished")));
    assert_eq!(conflict["sequence"], sequence);
    let log = lead.get("/log?limit=2").await.ok(200);
    let by: Vec<&Value> = log.as_array().unwrap().iter().map(|entry| &entry["by"]["team"]).collect();
    assert_eq!(by, ["Follow-up 2", "Follow-up 1"]);
}

#[tokio::test]
async fn the_command_post_sends_what_a_team_could_not_and_it_stays_the_teams_word() {
    let ground = Ground::open().await;
    let lead = ground.crew("lead_team", "Lead 1").await;
    let (first, second) = (
        ground.crew("follow_up_team", "Follow-up 1").await,
        ground.crew("follow_up_team", "Follow-up 2").await,
    );
    let (crossing, list) = passed(&ground.post, &lead).await;
    let own = |body: &Value| report(body);
    let take = own(&json!({ "kind": "crossing_taken", "crossing": crossing }));
    let finish = own(&json!({ "kind": "crossing_finished", "crossing": crossing, "done": list }));
    let made_by = |report: &Value, party: &str, team: &str| {
        let mut sent = report.clone();
        sent["made_by"] = json!({ "party": party, "team": team });
        sent
    };

    // Another team does not send it in its own name, and nobody sends it for a team that is none.
    let strange = second.reports(&[made_by(&take, "follow_up_team", "Follow-up 1")]).await;
    assert_eq!(strange[0]["reason"]["refusal"]["rule"], "not_in_your_name", "{strange:?}");
    let of_no_team = ground.post.post("/reports", &json!([made_by(&take, "lead_team", "Follow-up 1")])).await;
    let problem = of_no_team.problem(422, "malformed");
    assert!(problem["title"].as_str().unwrap().contains("no team Follow-up 1"), "{problem}");

    let batch =
        [made_by(&take, "follow_up_team", "Follow-up 1"), made_by(&finish, "follow_up_team", "Follow-up 1")];
    for receipt in ground.post.reports(&batch).await {
        assert_eq!(receipt["outcome"], "recorded", "{receipt}");
    }
    // The lost device turns up again and sends the same itself.
    for receipt in first.reports(&[take, finish]).await {
        assert_eq!(receipt["outcome"], "already recorded", "{receipt}");
    }
    let facts = facts(&lead).await;
    assert_eq!((&facts["state"], &facts["finished_by"]), (&json!("finished"), &json!("Follow-up 1")));
    assert_eq!(facts["conflicts"], json!([]));
    let entry = &lead.get("/log?limit=1").await.ok(200)[0];
    assert_eq!(entry["by"]["party"], "command_post");
    assert_eq!(entry["report"]["made_by"], json!({ "party": "follow_up_team", "team": "Follow-up 1" }));

    // A pass that was revoked with a lost device says nothing against the team.
    let passes = ground.post.get("/passes").await.ok(200);
    let pass = passes.as_array().unwrap().iter().find(|pass| pass["team"] == "Follow-up 1").unwrap();
    let path = ground.post.path(&format!("/passes/{}", pass["id"].as_str().unwrap()));
    let revoked = ground.post.request(reqwest::Method::DELETE, &path).send().await.unwrap();
    assert!(revoked.status().is_success());
    let note = made_by(&own(&json!({ "kind": "note", "text": "late" })), "follow_up_team", "Follow-up 1");
    assert_eq!(ground.post.reports(&[note]).await[0]["outcome"], "recorded");
}
