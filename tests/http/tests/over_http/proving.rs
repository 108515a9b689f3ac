//! A line from its plan to the stores again, over HTTP: laid, through, finished, proved, handed over, in trouble, found, cleared,
//! proved, taken up.

use laywire_tests::{Crew, Ground, id};
use serde_json::{Value, json};

/// The ends of the line that [`Crew::line`] plans; the far one is 2,834 m from the near one by GeographicLib 2.1.
const NEAR: [f64; 2] = [-4.67, 54.08];
const FAR: [f64; 2] = [-4.635, 54.095];

fn figure(of: &Value) -> f64 {
    of.as_f64().unwrap_or_else(|| panic!("{of} is no number"))
}

async fn line_of(crew: &Crew, line: &str) -> Value {
    let lines = crew.get("/lines").await.ok(200);
    let found = lines["features"].as_array().unwrap().iter().find(|f| f["id"] == line).unwrap();
    found["properties"].clone()
}

async fn refused(crew: &Crew, body: Value) -> String {
    let receipt = crew.report(body).await;
    assert_eq!(receipt["outcome"], "refused", "{receipt}");
    receipt["reason"]["title"].as_str().unwrap_or_default().to_owned()
}

/// Everything on the finishing list of a dirt road's buried crossing.
async fn whole_list(crew: &Crew) -> Vec<Value> {
    let guides = crew.get("/guide").await.ok(200);
    let soft = |g: &&Value| g["obstacle"] == "dirt_road" && g["hard_surface"] == false;
    let guide = guides.as_array().unwrap().iter().find(soft).unwrap();
    let buried = guide["allowed"].as_array().unwrap().iter().find(|c| c["construction"] == "buried").unwrap();
    buried["finish"].as_array().unwrap().iter().map(|item| item["id"].clone()).collect()
}

/// Line L-12 and those who work on it.
struct Work {
    post: Crew,
    lead: Crew,
    follow_up: Crew,
    line: String,
    first: String,
    second: String,
    road: String,
}

impl Work {
    fn test_from_the_far_end(&self, good: bool) -> Value {
        json!({ "kind": "test_made", "line": self.line, "from": "far_end", "rang": good, "spoke": good })
    }

    fn final_test(&self, loop_ohm: f64) -> Value {
        json!({ "kind": "line_proved", "line": self.line, "readings": { "loop_ohm": loop_ohm, "weather": "dry",
            "temperature_c": 12, "instrument": "ohmmeter 4" } })
    }

    async fn is_laid_and_through(&self) {
        let Self { post, lead, follow_up, line, first, second, road, .. } = self;
        // Planned and laid from two reels, over a dirt road that is buried.
        let reel = |reel: &str, label: &str| json!({ "kind": "reel_started", "line": line, "reel": reel, "label": label, "length_m": 2_000 });
        let on = |positions: Value| json!({ "kind": "trace_extended", "line": line, "positions": positions });
        lead.records(on(json!([NEAR]))).await;
        lead.records(reel(first, "R 1")).await;
        lead.records(on(json!([[-4.6525, 54.0875]]))).await;
        lead.records(reel(second, "R 2")).await;
        lead.records(
            json!({ "kind": "crossing_marked", "crossing": road, "line": line, "position": [-4.6437, 54.0913],
        "obstacle": "dirt_road", "construction": "buried" }),
        )
        .await;
        lead.records(on(json!([FAR]))).await;
        lead.records(json!({ "kind": "crossing_passed", "crossing": road, "clear_of_traffic": false })).await;
        lead.records(
            json!({ "kind": "test_made", "line": line, "from": "along", "rang": true, "spoke": true,
        "to_whom": "Post", "quality": "clear", "after": "reel" }),
        )
        .await;
        assert_eq!(line_of(post, line).await["state"], "laying");

        // Through; somebody stays until the switchboard's crew comes.
        lead.records(self.test_from_the_far_end(true)).await;
        assert_eq!(line_of(post, line).await["state"], "through");
        lead.records(json!({ "kind": "watch_set", "line": line, "who": "Quill" })).await;
        let watched = line_of(post, line).await;
        assert_eq!(watched["watch"]["who"], "Quill");
        follow_up
        .records(
            json!({ "kind": "crossing_finished", "crossing": road, "depth_m": 0.2, "done": whole_list(post).await }),
        )
        .await;
        assert_eq!(line_of(post, line).await["state"], "finished");
    }

    async fn is_proved_and_handed_over(&self) -> f64 {
        let Self { post, lead, line, .. } = self;
        // A final test that the line does not pass, and one that it does.
        let reason = refused(lead, self.final_test(9_000.0)).await;
        assert!(reason.contains("The loop reads 9000"), "{reason}");
        let tests = lead.get(&format!("/lines/{line}/tests")).await.ok(200);
        let sound = figure(&tests["tests"][1]["judged"]["expected"]["reading"]["resistance_ohm"]);
        // 2.83 km and a fifth more wire (SS0444 p. 23) of WD-1/TT, some 204 ohms in a loop mile (its sheet).
        assert!((sound / (2_834.3 * 1.2 / 1_609.344 * 204.0) - 1.0).abs() < 0.04, "{sound}");
        lead.records(self.final_test(sound.round())).await;
        let tests = lead.get(&format!("/lines/{line}/tests")).await.ok(200);
        assert_eq!(
            (&tests["state"], &tests["tests"][2]["test"]["is_final"]),
            (&json!("proved"), &json!(true))
        );
        assert_eq!(tests["tests"][2]["judged"]["verdict"], "good", "{tests}");
        let tags = lead.get(&format!("/lines/{line}/tags")).await.ok(200);
        let numbers: Vec<String> =
            tags["tags"].as_array().unwrap().iter().map(|tag| tag["number"].to_string()).collect();
        assert!(numbers.len() >= 4 && tags["tags"][0]["grid"].is_string(), "{tags}");
        post.records(
            json!({ "kind": "line_handed_over", "line": line, "to": "Switchboard crew", "tags": numbers }),
        )
        .await;
        let given = line_of(post, line).await;
        assert_eq!((&given["state"], &given["watch"]), (&json!("handed_over"), &Value::Null));
        sound.round()
    }

    async fn is_found_at_fault_and_cleared(&self, sound: f64) {
        let Self { post, lead, follow_up, line, .. } = self;
        // Trouble: two crews halve the line, and both see the same stretch.
        follow_up
        .records(
            json!({ "kind": "trouble_reported", "line": line, "signs": ["crank_easy", "nothing_passes"] }),
        )
        .await;
        let at = format!("/lines/{line}/trouble");
        let trouble = lead.get(&at).await.ok(200);
        assert_eq!(trouble["guide"]["suspects"][0]["fault"], "open");
        assert!(trouble["silent_since"].is_string() && trouble["next_grid"].is_string(), "{trouble}");
        assert_eq!(trouble["guide"]["next"]["cuts"], false, "an open is found by clipping on");
        let fault_m = 700.0;
        let mut tests = 0;
        loop {
            let crew = if tests % 2 == 0 { lead } else { follow_up };
            let trouble = crew.get(&at).await.ok(200);
            let next = &trouble["guide"]["next"];
            if next.is_null() {
                break;
            }
            let here = figure(&next["chainage_m"]);
            crew.records(
            json!({ "kind": "trouble_narrowed", "line": line, "finding": { "answered": { "chainage_m": here,
            "near_answers": here < fault_m, "far_answers": here >= fault_m } } }),
        )
        .await;
            tests += 1;
            assert!(tests < 10, "the search goes on and on: {trouble}");
        }
        let trouble = lead.get(&at).await.ok(200);
        let (from, to) =
            (figure(&trouble["guide"]["stretch"]["from_m"]), figure(&trouble["guide"]["stretch"]["to_m"]));
        // A quarter of a mile and less is walked.
        assert!(from <= fault_m && fault_m <= to && to - from <= 402.4, "{from} to {to} after {tests}");
        lead.records(
            json!({ "kind": "trouble_cleared", "line": line, "fault": "open", "cause": "cut by a plough",
        "chainage_m": fault_m, "cut": true }),
        )
        .await;
        let cleared = line_of(post, line).await;
        assert_eq!((&cleared["state"], &cleared["in_trouble_since"]), (&json!("finished"), &Value::Null));
        assert_eq!(cleared["proof_lost"]["because"], "wire_cut");
        assert!(figure(&cleared["silent_min"]) > 0.0, "{cleared}");
        lead.records(json!({ "kind": "splice_made", "line": line, "chainage_m": fault_m })).await;
        lead.records(self.final_test(sound.round())).await;
        assert_eq!(line_of(post, line).await["state"], "proved");
    }

    async fn is_taken_up(&self) {
        let Self { post, lead, follow_up, line, first, second, road, .. } = self;
        // Nothing comes up while it lives; then all of it, and the books come out.
        let order =
            json!({ "kind": "line_ordered_up", "line": line, "confirmed_dead_by": "Switchboard crew" });
        let reason = refused(post, order.clone()).await;
        assert!(reason.contains("not confirmed dead"), "{reason}");
        let section = |from: f64, to: f64, length: f64, onto: &str| {
            json!({ "kind": "section_taken_up", "line": line, "from_m": from, "to_m": to, "onto": onto, "length_m": length,
            "splices": 3 })
        };
        refused(follow_up, section(0.0, 500.0, 600.0, "R 1")).await;
        lead.records(self.test_from_the_far_end(false)).await;
        refused(lead, order.clone()).await;
        post.records(order).await;
        let length = figure(&line_of(post, line).await["laid_length_m"]);
        let joint = figure(&line_of(post, line).await["reels"][1]["from_chainage_m"]);
        lead.records(json!({ "kind": "reel_returned", "line": line, "reel": first, "left_m": 300 })).await;
        lead.records(json!({ "kind": "reel_returned", "line": line, "reel": second, "left_m": 250 })).await;
        let books = post.get("/stores").await.ok(200);
        assert_eq!(
            (figure(&books["all"]["issued_m"]), figure(&books["all"]["returned_m"])),
            (4_000.0, 550.0)
        );
        assert!(
            (figure(&books["all"]["laid_m"]) - 3_450.0).abs() < 0.01 && books["all"]["balanced"] == true,
            "{books}"
        );
        follow_up.records(section(0.0, joint, 1_700.0, "R 1")).await;
        follow_up.records(section(joint, length - 100.0, 1_600.0, "R 2")).await;
        follow_up.records(json!({ "kind": "crossing_made_good", "crossing": road })).await;
        let recovery = post.get(&format!("/lines/{line}/recovery")).await.ok(200);
        assert_eq!((recovery["lying"].as_array().unwrap().len(), &recovery["to_make_good"]), (1, &json!([])));
        let lost = |length: f64| {
            json!({ "kind": "wire_lost", "line": line, "from_m": recovery["lying"][0]["from_m"], "to_m": length, "length_m": 110,
            "fate": "lost", "because": "under the new road" })
        };
        follow_up.records(lost(length)).await;
        assert_eq!(line_of(post, line).await["state"], "recovered");
        let books = post.get("/stores").await.ok(200);
        // 4,000 issued; 300 + 250 never laid, 1,700 + 1,600 came up, 110 lost: 40 of the second reel are nowhere.
        assert_eq!(
            (figure(&books["all"]["missing_m"]), &books["all"]["balanced"]),
            (40.0, &json!(false)),
            "{books}"
        );
        assert!(books["words"][0].as_str().unwrap().contains("reel R 2 of line L-12"), "{books}");
        lead.records(json!({ "kind": "reel_returned", "line": line, "reel": second, "left_m": 290 })).await;
        let books = post.get("/stores").await.ok(200);
        let all = &books["all"];
        let out = figure(&all["laid_m"]) + figure(&all["returned_m"]) + figure(&all["lost_m"]);
        assert!((figure(&all["issued_m"]) - out).abs() < 0.01 && all["balanced"] == true, "{books}");
        assert!(books["reels"].as_array().unwrap().iter().all(|reel| reel["balanced"] == true), "{books}");
        // 3 splices in 1,700 m: at most 4 in each half mile is class A (SS0440 p. 69).
        assert_eq!(books["filled"][0]["class"], "a");
    }
}

#[tokio::test]
async fn a_line_is_proved_and_found_at_fault_and_taken_up_and_the_stores_come_out() {
    let ground = Ground::open().await;
    let post = ground.post.clone();
    let work = Work {
        lead: ground.crew("lead_team", "Lead 1").await,
        follow_up: ground.crew("follow_up_team", "Follow-up 1").await,
        line: post.line("L-12").await,
        first: id(),
        second: id(),
        road: id(),
        post,
    };
    work.is_laid_and_through().await;
    let sound = work.is_proved_and_handed_over().await;
    work.is_found_at_fault_and_cleared(sound).await;
    work.is_taken_up().await;
    ground.adds_up();
}

#[tokio::test]
async fn what_is_said_of_tests_and_trouble_has_its_bounds() {
    let ground = Ground::open().await;
    let line = ground.post.line("L-12").await;
    let report = |mut body: Value| {
        body["line"] = json!(line);
        json!([{ "id": id(), "at": "2026-05-04T08:00:00Z", "body": body }])
    };
    for body in [
        json!({ "kind": "trouble_reported", "signs": [] }),
        json!({ "kind": "trouble_reported", "signs": vec!["hum"; 8] }),
        json!({ "kind": "trouble_reported", "signs": ["smoke"] }),
        json!({ "kind": "line_handed_over", "to": "Switchboard", "tags": vec!["1"; 501] }),
        json!({ "kind": "test_made", "from": "along", "rang": true }),
        json!({ "kind": "section_taken_up", "from_m": 0, "to_m": 9, "onto": "R 1", "length_m": 9, "splices": -1 }),
    ] {
        ground.post.post("/reports", &report(body)).await.problem(422, "malformed");
    }
    for what in ["tests", "tags", "trouble", "recovery"] {
        ground.post.get(&format!("/lines/{line}/{what}")).await.ok(200);
        ground.post.get(&format!("/lines/{}/{what}", id())).await.problem(404, "not-found");
    }
    let books = ground.post.get("/stores").await.ok(200);
    assert_eq!((&books["reels"], &books["all"]["balanced"]), (&json!([]), &json!(true)));
}
