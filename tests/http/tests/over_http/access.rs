//! Who gets in, and what each party may do.

use laywire_tests::{Answer, Crew, Ground, Process, id, new_operation, process, until};
use reqwest::Method;
use serde_json::{Value, json};

/// The calls that need no pass; whoever adds one says so here too.
const PUBLIC: [&str; 4] = ["get /api", "get /api/health", "get /api/openapi.json", "post /api/session"];

const NOBODY: &str = "2222-2222-2222-2222-2222-2222-2222";

#[tokio::test]
async fn every_call_asks_for_a_pass_of_its_operation() {
    let ground = Ground::open().await;
    let (other, secret) = new_operation(&["--database-url", &ground.database.url], "Another");
    let outsider = Crew::new(&ground.process.address, &other, &secret);
    let nobody = Crew::new(&ground.process.address, &ground.operation, NOBODY);
    let document = Answer::to(ground.post.bare(Method::GET, "/api/openapi.json")).await.ok(200);
    let mut public = Vec::new();
    let mut guarded = 0;
    for (template, item) in document["paths"].as_object().unwrap() {
        let path = template
            .replace("{op}", &ground.operation)
            .replace("{pass}", &id())
            .split('/')
            .map(|part| if part.starts_with('{') { "0" } else { part })
            .collect::<Vec<_>>()
            .join("/");
        for (method, call) in item.as_object().unwrap() {
            let name = format!("{method} {template}");
            if call["security"] == json!([{}]) {
                public.push(name);
                continue;
            }
            guarded += 1;
            let method = Method::from_bytes(method.to_uppercase().as_bytes()).unwrap();
            let answer = Answer::to(ground.post.bare(method.clone(), &path)).await;
            answer.problem(401, "no-pass");
            assert_eq!(answer.header("www-authenticate"), "Bearer", "{name}");
            Answer::to(nobody.request(method.clone(), &path)).await.problem(401, "no-pass");
            if template.contains("{op}") {
                Answer::to(outsider.request(method, &path)).await.problem(404, "not-found");
            }
        }
    }
    public.sort();
    assert_eq!(public, PUBLIC);
    assert!(guarded >= 14, "{guarded} guarded calls");
}

#[tokio::test]
async fn what_is_no_pass_lets_nobody_in() {
    let ground = Ground::open().await;
    let path = ground.post.path("");
    let with = |value: &[u8]| {
        let value = reqwest::header::HeaderValue::from_bytes(value).unwrap();
        Answer::to(ground.post.bare(Method::GET, &path).header("authorization", value))
    };
    let secret = &ground.post.secret;
    for wrong in [
        String::new(),
        "Bearer".to_owned(),
        "Bearer ".to_owned(),
        secret.clone(),
        format!("Basic {secret}"),
        format!("Bearer {}", &secret[1..]),
        format!("Bearer {secret}2"),
        format!("Bearer {}", "A".repeat(30_000)),
        "Bearer ' or 1=1 --".to_owned(),
    ] {
        with(wrong.as_bytes()).await.problem(401, "no-pass");
    }
    with(b"Bearer \xff\xfe").await.problem(401, "no-pass");
    // As it is read aloud, case, blanks and dashes do not matter.
    let spoken = format!("bearer {}", secret.to_lowercase().replace('-', " "));
    assert_eq!(with(spoken.as_bytes()).await.status, 200);
}

/// Kinds of report with a body of each, and whether the lead team and the follow-up team may send it: the table of the
/// issue, written down a second time. The command post may send all, the observer none.
fn kinds() -> Vec<(Value, bool, bool)> {
    let (line, crossing) = (id(), id());
    let marked = |kind: &str| {
        json!({ "kind": kind, "crossing": crossing, "line": line, "position": [-4.65, 54.09], "obstacle": "road",
            "construction": "overhead_poles" })
    };
    vec![
        (
            json!({ "kind": "line_planned", "line": line, "designation": "L-1", "from": "a", "to": "b" }),
            false,
            false,
        ),
        (json!({ "kind": "line_started", "line": line }), true, false),
        (json!({ "kind": "trace_extended", "line": line, "positions": [[-4.65, 54.09]] }), true, false),
        (
            json!({ "kind": "reel_started", "line": line, "reel": id(), "label": "R 1", "length_m": 800 }),
            true,
            false,
        ),
        (json!({ "kind": "splice_made", "line": line }), true, true),
        (marked("crossing_foreseen"), false, false),
        (marked("crossing_marked"), true, true),
        (json!({ "kind": "crossing_passed", "crossing": crossing, "clear_of_traffic": true }), true, false),
        (json!({ "kind": "crossing_taken", "crossing": crossing }), true, true),
        (json!({ "kind": "crossing_given_out", "crossing": crossing }), false, false),
        (json!({ "kind": "crossing_given_back", "crossing": crossing }), true, true),
        (json!({ "kind": "crossing_finished", "crossing": crossing }), true, true),
        (json!({ "kind": "crossing_proved", "crossing": crossing }), false, true),
        (json!({ "kind": "crossing_struck_out", "crossing": crossing, "because": "none" }), true, false),
        (json!({ "kind": "call_back_good", "line": line, "from_far_end": false }), true, true),
        (json!({ "kind": "line_proved", "line": line }), true, false),
        (
            json!({ "kind": "plan_issued", "line": line, "plan": 1, "trace": [[-4.67, 54.08], [-4.65, 54.09]] }),
            false,
            false,
        ),
        (json!({ "kind": "line_handed_over", "line": line, "to": "b" }), false, false),
        (
            json!({ "kind": "test_made", "line": line, "from": "far_end", "rang": true, "spoke": true }),
            true,
            true,
        ),
        (json!({ "kind": "watch_set", "line": line, "who": "Quill" }), true, true),
        (json!({ "kind": "trouble_reported", "line": line, "signs": ["hum"] }), true, true),
        (
            json!({ "kind": "trouble_narrowed", "line": line, "finding": { "answered": { "chainage_m": 5,
                "near_answers": true, "far_answers": false } } }),
            true,
            true,
        ),
        (
            json!({ "kind": "trouble_cleared", "line": line, "fault": "open", "cause": "plough", "cut": true }),
            true,
            true,
        ),
        (json!({ "kind": "line_ordered_up", "line": line, "confirmed_dead_by": "b" }), false, false),
        (
            json!({ "kind": "section_taken_up", "line": line, "from_m": 0, "to_m": 9, "onto": "R 1", "length_m": 9,
                "splices": 0 }),
            true,
            true,
        ),
        (json!({ "kind": "crossing_made_good", "crossing": crossing }), true, true),
        (
            json!({ "kind": "wire_lost", "line": line, "from_m": 0, "to_m": 9, "length_m": 9, "fate": "left",
                "because": "ice" }),
            true,
            true,
        ),
        (json!({ "kind": "reel_returned", "line": line, "reel": id(), "left_m": 9 }), true, true),
        (json!({ "kind": "correction", "corrects": id(), "because": "slip" }), true, true),
        (json!({ "kind": "note", "text": "remark" }), true, true),
    ]
}

#[tokio::test]
async fn each_party_may_report_what_the_table_says() {
    let ground = Ground::open().await;
    let document = Answer::to(ground.post.bare(Method::GET, "/api/openapi.json")).await.ok(200);
    let mut known: Vec<_> = document["components"]["schemas"]["Kind"]["enum"]
        .as_array()
        .unwrap()
        .iter()
        .map(Value::to_string)
        .collect();
    let mut tried: Vec<_> = kinds().iter().map(|(body, ..)| body["kind"].to_string()).collect();
    known.sort();
    tried.sort();
    assert_eq!(tried, known, "every kind of report has its row in the table");
    for party in ["command_post", "lead_team", "follow_up_team", "observer"] {
        let crew = ground.crew(party, &format!("{party} 1")).await;
        for (body, lead, follow_up) in kinds() {
            let may = match party {
                "command_post" => true,
                "lead_team" => lead,
                "follow_up_team" => follow_up,
                _ => false,
            };
            let receipt = crew.report(body.clone()).await;
            let not_yours = receipt["reason"]["refusal"]["rule"] == "not_yours";
            assert_eq!(!not_yours, may, "{party} {}: {receipt}", body["kind"]);
        }
        let boss = party == "command_post";
        assert_eq!(crew.get("").await.status, 200);
        for path in ["/lines", "/crossings", "/guide", "/log", "/queue?from=-4.6,54.1"] {
            assert_eq!(crew.get(path).await.status, 200, "{party} {path}");
        }
        let line = json!({ "type": "Feature", "geometry": null, "properties": { "designation": format!("N-{}", party.len()),
            "from": "a", "to": "b" } });
        for (answer, status) in [
            (crew.post("/lines", &line).await, 201),
            (crew.get("/passes").await, 200),
            (crew.post("/passes", &json!({ "party": "observer", "team": "Guest" })).await, 201),
        ] {
            if boss {
                assert_eq!(answer.status, status, "{answer:?}");
            } else {
                answer.problem(403, "not-yours");
            }
        }
        let mine = ground.post.get("/passes").await.ok(200)[0]["id"].as_str().unwrap().to_owned();
        if !boss {
            let revoke = crew.request(Method::DELETE, &crew.path(&format!("/passes/{mine}")));
            Answer::to(revoke).await.problem(403, "not-yours");
        }
    }
}

async fn joined(crew: &Crew) -> (Answer, String, String) {
    let body = json!({ "pass": crew.secret });
    let answer = Answer::to(crew.bare(Method::POST, "/api/session").json(&body)).await;
    let seat = answer.ok(200)["seat"].as_str().unwrap().to_owned();
    let cookie = answer.header("set-cookie").split(';').next().unwrap().to_owned();
    (answer, seat, cookie)
}

#[tokio::test]
async fn a_browser_holds_its_passes_in_cookies_that_no_script_and_no_other_site_reads() {
    let ground = Ground::open().await;
    let lead = ground.crew("lead_team", "Lead 1").await;
    let (answer, post_seat, post_cookie) = joined(&ground.post).await;
    for part in ["HttpOnly", "SameSite=Strict", "Path=/api", "Max-Age="] {
        assert!(answer.header("set-cookie").contains(part), "{part}: {}", answer.header("set-cookie"));
    }
    assert!(!answer.body.contains(&ground.post.secret), "the body does not say the secret again");
    let (_, lead_seat, lead_cookie) = joined(&lead).await;
    let ask = |path: &str, cookies: &str| lead.bare(Method::GET, path).header("cookie", cookies);

    let one = Answer::to(ask("/api/session", &post_cookie)).await.ok(200);
    assert_eq!((&one["seat"], &one["party"]), (&json!(post_seat), &json!("command_post")));
    let both = format!("{post_cookie}; {lead_cookie}");
    Answer::to(ask("/api/session", &both)).await.problem(401, "which-pass");
    for (seat, party) in [(&post_seat, "command_post"), (&lead_seat, "lead_team")] {
        let by_header =
            Answer::to(ask("/api/session", &both).header("laywire-seat", seat.as_str())).await.ok(200);
        assert_eq!(by_header["party"], party);
        let path = lead.path(&format!("/log?seat={seat}"));
        assert_eq!(Answer::to(ask(&path, &both)).await.status, 200);
    }
    Answer::to(ask("/api/session", &both).header("laywire-seat", id())).await.problem(401, "no-pass");

    let leave = lead.bare(Method::DELETE, "/api/session").header("cookie", &lead_cookie);
    let left = Answer::to(leave).await;
    assert_eq!(left.status, 204);
    assert!(left.header("set-cookie").contains("Max-Age=0"), "{left:?}");
}

#[tokio::test]
async fn a_proxy_is_believed_about_tls_only_when_it_was_named() {
    let ground = Ground::open().await;
    for (behind, header, secure) in [
        ("127.0.0.1", Some("https"), true),
        ("127.0.0.0/8", Some("http"), false),
        ("127.0.0.1", None, false),
        ("192.0.2.1", Some("https"), false),
    ] {
        let process = Process::serve(&["--database-url", &ground.database.url, "--behind", behind]).await;
        let crew = ground.post.at(&process.address);
        let mut join = crew.bare(Method::POST, "/api/session").json(&json!({ "pass": crew.secret }));
        if let Some(scheme) = header {
            join = join.header("x-forwarded-proto", scheme).header("x-forwarded-for", "198.51.100.7");
        }
        let answer = Answer::to(join).await;
        answer.ok(200);
        assert_eq!(answer.header("set-cookie").contains("; Secure"), secure, "{behind} {header:?}");
    }
}

#[tokio::test]
async fn a_secret_is_shown_once_and_kept_nowhere() {
    let ground = Ground::open().await;
    let lead = ground.crew("lead_team", "Lead 1").await;
    lead.records(json!({ "kind": "note", "text": "here" })).await;
    for path in ["", "/passes", "/log", "/lines"] {
        let answer = ground.post.get(path).await;
        assert!(!answer.body.contains(&lead.secret) && !answer.body.contains(&ground.post.secret), "{path}");
    }
    let listed =
        process::succeeds(&["pass", "list", "--database-url", &ground.database.url, &ground.operation]);
    assert!(!listed.contains(&lead.secret));
    let pool = ground.database.connect().await;
    let dump: Vec<String> = sqlx::query_scalar(
        "select p::text from pass p union all select o::text from operation o union all select w::text from wire_log w",
    )
    .fetch_all(&pool)
    .await
    .unwrap();
    assert!(dump.len() >= 4);
    let dump = dump.join("\n").to_uppercase();
    for secret in [&lead.secret, &ground.post.secret] {
        let letters = secret.replace('-', "");
        // PostgreSQL writes bytes as hexadecimal digits: look for the secret in that shape too.
        let hexadecimal = letters.bytes().map(|byte| format!("{byte:02X}")).collect::<Vec<_>>().concat();
        for shape in [secret.as_str(), &letters, &hexadecimal] {
            assert!(!dump.contains(shape), "a secret is in the database");
        }
    }
}

#[tokio::test]
async fn a_revoked_pass_is_out_at_once_and_its_feed_ends() {
    let ground = Ground::open().await;
    let second = Process::serve(&["--database-url", &ground.database.url]).await;
    let lead = ground.crew("lead_team", "Lead 1").await;
    let there = lead.at(&second.address);
    let (mut here_feed, mut there_feed) = (lead.feed("").await, there.feed("").await);
    let mut kept = ground.post.feed("").await;
    for feed in [&mut here_feed, &mut there_feed, &mut kept] {
        assert_eq!(feed.next().await.unwrap().name, "start");
    }
    assert_eq!(there.get("").await.status, 200);
    let passes = ground.post.get("/passes").await.ok(200);
    let pass = passes.as_array().unwrap().iter().find(|pass| pass["team"] == "Lead 1").unwrap()["id"].clone();
    let path = ground.post.path(&format!("/passes/{}", pass.as_str().unwrap()));
    assert_eq!(Answer::to(ground.post.request(Method::DELETE, &path)).await.status, 204);

    lead.get("").await.problem(401, "no-pass");
    assert_eq!(here_feed.next().await, None, "the feed at the same process ends");
    assert_eq!(there_feed.next().await, None, "the feed at another process ends");
    until("the other process lets nobody in", async || there.get("").await.status == 401).await;
    ground.post.records(json!({ "kind": "note", "text": "still here" })).await;
    assert_eq!(kept.next().await.unwrap().name, "entry", "other passes' feeds go on");
    Answer::to(lead.bare(Method::POST, "/api/session").json(&json!({ "pass": lead.secret })))
        .await
        .problem(401, "no-pass");
}
