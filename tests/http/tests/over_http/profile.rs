//! A unit's profile from the command line to the rules: an operation opened under it is judged by it.

use std::path::Path;

use laywire_tests::{Ground, id, process, report};
use serde_json::{Value, json};

fn written(folder: &Path, text: &str) -> String {
    let file = folder.join("profile.toml");
    std::fs::write(&file, text).unwrap();
    file.to_str().unwrap().to_owned()
}

#[tokio::test]
async fn an_operation_is_judged_by_the_profile_that_it_was_opened_under() {
    let ground = Ground::open().await;
    let folder = tempfile::tempdir().unwrap();
    let file = written(
        folder.path(),
        r#"
        name = "Training ground"
        heights.road.public = { yes = false, source = "range standing orders, par. 2" }
        burial.depth = { m = 0.3, source = "range standing orders, par. 3" }
        "#,
    );
    let url = ["--database-url", ground.database.url.as_str()];
    let said =
        process::succeeds(&[&["operation", "new", "--profile", &file], &url[..], &["Exercise"]].concat());
    assert!(said.contains("WARNING: heights.road.public is no"), "{said}");
    let word = |label: &str| said.lines().find_map(|line| line.strip_prefix(label)).unwrap().trim();
    let crew = laywire_tests::Crew::new(&ground.process.address, word("operation"), word("pass"));

    let profile = crew.get("/profile").await.ok(200);
    assert_eq!(profile["name"], "Training ground");
    let figure = |name: &str| {
        let figures = profile["figures"].as_array().unwrap();
        figures.iter().find(|row| row["figure"] == name).unwrap().clone()
    };
    assert_eq!(
        figure("burial.depth"),
        json!({ "figure": "burial.depth", "value": { "m": 0.3 }, "source": "range standing orders, par. 3" })
    );
    let warnings = profile["warnings"].as_array().unwrap();
    assert_eq!(warnings.len(), 1, "{warnings:?}");
    let text = warnings[0]["text"].as_str().unwrap();
    // SS0440 pp. 29, 31: 14 ft over a secondary road; NESC rule 232: 15.5 ft.
    assert!(text.contains("4.27 m (14.0 ft)") && text.contains("4.72 m (15.5 ft)"), "{text}");

    // The same wire over the same road: high enough here, too low where roads are public.
    for (crew, recorded) in [(&crew, true), (&ground.post, false)] {
        let line = crew.line("L-12").await;
        let hung = json!({ "kind": "crossing_marked", "crossing": id(), "line": line, "position": [-4.65, 54.0886],
            "obstacle": "road", "construction": "overhead_poles", "clearance_m": 4.3 });
        let receipts = crew.reports(&[report(&hung)]).await;
        assert_eq!(receipts[0]["outcome"] == "recorded", recorded, "{receipts:?}");
        let guide = crew.get("/guide").await.ok(200);
        let road =
            guide.as_array().unwrap().iter().find(|place| place["obstacle"] == "road").unwrap().clone();
        let allowed = road["allowed"].as_array().unwrap().clone();
        let over = allowed.iter().find(|choice| choice["construction"] == "overhead_poles").unwrap();
        let heights = &over["heights"];
        assert_eq!(heights["public"], json!(!recorded));
        let governs = if recorded { &heights["field"] } else { &heights["civil"] };
        assert_eq!(&heights["governs"], governs);
        assert_eq!(over["least_height_m"], governs["least_m"]);
        let buried = allowed.iter().find(|choice| choice["construction"] == "buried").unwrap();
        assert_eq!(buried["least_depth_m"] == 0.3, recorded, "{buried}");
    }
    let reckoned =
        crew.request(reqwest::Method::POST, "/api/reckon/crossing").json(&json!({ "obstacle": "road" }));
    let answer: Value = laywire_tests::Answer::to(reckoned).await.ok(200);
    assert_eq!(answer["public"], json!(false), "the figures are those of the pass's operation");

    let check = process::succeeds(&[&["log", "rebuild", "--check"], &url[..], &[word("operation")]].concat());
    assert_eq!(check, "3 entries add up to the state as it stands\n");
}

#[test]
fn a_profile_is_checked_before_anybody_relies_on_it() {
    let folder = tempfile::tempdir().unwrap();
    let good = written(folder.path(), r#"wire.slack = { percent = 10, source = "our last exercise" }"#);
    let said = process::succeeds(&["profile", &good]);
    assert!(said.contains("SS0440 pp. 29, 31: at least 18 ft over a primary road"), "{said}");
    assert!(
        said.contains("WARNING: wire.slack is 10 % (our last exercise) and looser than the built-in 20 %"),
        "{said}"
    );
    for (text, wanted) in [
        (
            r#"railway.overhead = { yes = true, source = "us" }"#,
            "nothing may be looser than the built-in rule",
        ),
        (r#"heights.raod.field = { m = 5, source = "us" }"#, "heights.raod"),
        ("burial.depth = { m = 1 }", "missing field `source`"),
        ("burial.depth = ", "line 1: this is not TOML"),
    ] {
        let refused = process::run(&["profile", &written(folder.path(), text)]);
        assert_eq!(refused.status.code(), Some(1), "{text}");
        let said = String::from_utf8_lossy(&refused.stderr).into_owned();
        assert!(said.contains(wanted), "{said}");
    }
    let missing = folder.path().join("nowhere.toml");
    assert_eq!(process::run(&["profile", missing.to_str().unwrap()]).status.code(), Some(1));
}
