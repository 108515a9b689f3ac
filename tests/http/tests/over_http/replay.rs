//! An operation played again over HTTP: what a page needs to show any moment of it.

use laywire_tests::{Ground, id, report};
use serde_json::{Value, json};

/// What a row that holds after the entry with this number says: the last with a number not above it.
fn row(sequences: &Value, number: i64) -> Option<usize> {
    let sequences = sequences.as_array().unwrap();
    sequences.partition_point(|at| at.as_i64().unwrap() <= number).checked_sub(1)
}

#[tokio::test]
async fn every_moment_is_shown_as_the_service_had_it_then() {
    let ground = Ground::open().await;
    let lead = ground.crew("lead_team", "Plover 1").await;
    let follow = ground.crew("follow_up_team", "Wren 2").await;
    let line = ground.post.line("L-12").await;
    // What the service says of the line's crossings and wire after each entry.
    let mut stood: Vec<(i64, Value, Value)> = Vec::new();
    let mut wrong = None;
    let crossing = id();
    let marked = json!({ "kind": "crossing_marked", "crossing": crossing, "line": line, "position": [-4.66, 54.0843],
        "obstacle": "road", "construction": "through_culvert" });
    let steps = [
        (
            &lead,
            json!({ "kind": "trace_extended", "line": line, "positions": [[-4.67, 54.08], [-4.66, 54.0843]] }),
        ),
        (&lead, marked),
        (&lead, json!({ "kind": "crossing_passed", "crossing": crossing, "clear_of_traffic": false })),
        (&lead, json!({ "kind": "trace_extended", "line": line, "positions": [[-4.65, 54.0886]] })),
        (&follow, json!({ "kind": "crossing_taken", "crossing": crossing })),
    ];
    for (crew, body) in steps {
        let told = report(&body);
        let took = crew.reports(std::slice::from_ref(&told)).await;
        assert_eq!(took[0]["outcome"], "recorded", "{took:?}");
        wrong = wrong.or_else(|| Some(told["id"].clone()));
        stood.push(stands(&ground, &took[0]).await);
    }
    // The first stretch was misread, and is put right at the end: what was shown until then stays as it was shown.
    let right =
        json!({ "kind": "trace_extended", "line": line, "positions": [[-4.67, 54.08], [-4.66, 54.0845]] });
    let correction =
        json!({ "kind": "correction", "corrects": wrong, "because": "misread", "instead": right });
    let took = lead.reports(&[report(&correction)]).await;
    assert_eq!(took[0]["outcome"], "recorded", "{took:?}");
    stood.push(stands(&ground, &took[0]).await);

    let observer = ground.crew("observer", "Heron").await;
    let replay = observer.get("/replay").await.ok(200);
    assert_eq!(replay["sequence"], json!(8), "{replay}");
    for (number, line, crossings) in &stood {
        let laid = &replay["lines"][0]["laid"];
        let at = row(&laid["sequence"], *number).unwrap();
        let (begins, ends) = (laid["begins"][at].as_u64().unwrap(), laid["ends"][at].as_u64().unwrap());
        let positions = laid["positions"].as_array().unwrap();
        let shown = &positions[usize::try_from(begins).unwrap()..usize::try_from(ends).unwrap()];
        assert_eq!(&json!(shown), &line["laid"], "after entry {number}: {replay}");
        let changes = replay["lines"][0]["changes"].as_array().unwrap();
        let change = changes.iter().rfind(|change| change["sequence"].as_i64().unwrap() <= *number).unwrap();
        assert_eq!(change["state"], line["state"], "after entry {number}: {replay}");
        let there = &replay["crossings"][0];
        let state = row(&there["states"]["sequence"], *number).map(|at| &there["states"]["state"][at]);
        assert_eq!(
            state,
            crossings.get(0).map(|crossing| &crossing["properties"]["state"]),
            "after entry {number}"
        );
    }
    let entries = &replay["entries"];
    assert_eq!(entries["line"], json!([0, 0, 0, 0, 0, 0, 0, 0]));
    assert_eq!(entries["crossing"], json!([null, null, null, 0, 0, null, 0, null]));
    let team =
        |entry: usize| &replay["teams"][usize::try_from(entries["team"][entry].as_u64().unwrap()).unwrap()];
    assert_eq!(team(6), &json!({ "team": "Wren 2", "party": "follow_up_team" }));
    assert_eq!(replay["corrections"], json!([{ "sequence": 8, "corrects": 3 }]));
}

/// The number of an entry, and what the service says of the line and of the crossings after it.
async fn stands(ground: &Ground, receipt: &Value) -> (i64, Value, Value) {
    let number = receipt["sequence"].as_i64().unwrap();
    let lines = ground.post.get("/lines").await.ok(200);
    let crossings = ground.post.get("/crossings").await.ok(200);
    (number, lines["features"][0]["properties"].clone(), crossings["features"].clone())
}

#[tokio::test]
async fn an_operation_in_which_nothing_was_told_is_played_again_as_nothing() {
    let ground = Ground::open().await;
    let replay = ground.post.get("/replay").await.ok(200);
    assert_eq!(
        (&replay["sequence"], &replay["lines"], &replay["from"]),
        (&json!(0), &json!([]), &json!(null))
    );
}
