//! The demonstration: a scenario that is sent through the API report by report, as crews would. It writes no table.

use std::{
    collections::HashMap, fmt::Write as _, net::SocketAddr, os::unix::fs::OpenOptionsExt, path::Path,
    sync::Arc,
};

use axum::{
    Router,
    body::Body,
    http::{Request, StatusCode, header},
};
use chrono::{Duration, SecondsFormat};
use laywire_craft::{
    party::{Party, Sender},
    profile::Profile,
    text::Name,
};
use serde::Deserialize;
use serde_json::{Value, json};
use tower::ServiceExt;
use uuid::Uuid;

use super::{CommandError, say};
use crate::{Service, access::Secret};

/// A scenario file.
#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Scenario {
    /// The operation's name.
    operation: Name,
    /// How long before now it began.
    began_minutes_ago: i64,
    /// Who takes part.
    passes: Vec<Part>,
    /// What is reported, in order.
    reports: Vec<Told>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Part {
    party: Party,
    team: Name,
}

/// One report. A string that begins with `@` anywhere in the body stands for an id: the same word, the same id.
#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Told {
    /// A word for the report itself, where a later one corrects it.
    #[serde(default)]
    id: Option<String>,
    by: Name,
    minute: f64,
    #[serde(default)]
    position: Option<[f64; 2]>,
    body: Value,
}

/// Where the demonstration's passes are kept, so that a second start can print them again.
const PASSES: &str = "demo-passes.txt";

/// Loads the ground and plays the scenario when there is no operation yet; prints the passes.
pub(super) async fn play(
    service: &Arc<Service>,
    router: Router,
    scenario: &Path,
    terrain: &Path,
    data: &Path,
    address: SocketAddr,
) -> Result<(), CommandError> {
    let kept = data.join(PASSES);
    if laywire_store::operation::all(&service.pool).await?.is_empty() {
        super::terrain::load(&service.pool, terrain).await?;
        let passes = send(service, router, scenario).await?;
        keep(&kept, &passes)?;
    }
    match std::fs::read_to_string(&kept) {
        Ok(passes) => {
            say("Passes of the demonstration; each opens its party's page:");
            for line in passes.lines() {
                let (who, secret) = line.split_once('\t').unwrap_or(("", line));
                say(&format!("  {who:<28} http://{address}/join#{secret}"));
            }
        }
        Err(_) => say("There are operations here already; the demonstration was not played."),
    }
    Ok(())
}

fn keep(path: &Path, passes: &str) -> Result<(), CommandError> {
    use std::io::Write as _;
    let io = |error| CommandError::Io { what: path.display().to_string(), error };
    let mut file = std::fs::OpenOptions::new()
        .write(true)
        .create(true)
        .truncate(true)
        .mode(0o600)
        .open(path)
        .map_err(io)?;
    file.write_all(passes.as_bytes()).map_err(io)
}

async fn send(service: &Arc<Service>, router: Router, file: &Path) -> Result<String, CommandError> {
    let io = |error| CommandError::Io { what: file.display().to_string(), error };
    let text = std::fs::read_to_string(file).map_err(io)?;
    let wrong = |what: String| CommandError::Wrong(format!("{}: {what}", file.display()));
    let scenario: Scenario = serde_json::from_str(&text).map_err(|error| wrong(error.to_string()))?;
    let now = service.now();
    let began = now - Duration::minutes(scenario.began_minutes_ago);
    let profile = Profile::field();
    let operation =
        laywire_store::operation::open(&service.pool, &scenario.operation, profile, began).await?;
    let mut secrets = HashMap::new();
    let mut passes = String::new();
    for part in &scenario.passes {
        let secret = Secret::new();
        let holder = Sender { party: part.party, team: part.team.clone() };
        laywire_store::pass::give(&service.pool, operation, &holder, &secret.hash(), began).await?;
        let _ = writeln!(passes, "{}, {}\t{}", part.party, part.team, secret.text());
        secrets.insert(part.team.clone(), secret.text());
    }
    let mut ids = HashMap::new();
    let told = scenario.reports.len();
    for (number, report) in scenario.reports.into_iter().enumerate() {
        #[allow(clippy::cast_possible_truncation, reason = "minutes of one day")]
        let at = began + Duration::seconds((report.minute * 60.0) as i64);
        let id = report.id.map_or_else(Uuid::now_v7, |word| *ids.entry(word).or_insert_with(Uuid::now_v7));
        let mut body = report.body;
        name_ids(&mut body, &mut ids);
        let secret =
            secrets.get(&report.by).ok_or_else(|| wrong(format!("nobody is called {}", report.by)))?;
        let mut sent = json!({
            "id": id,
            "at": at.to_rfc3339_opts(SecondsFormat::Secs, true),
            "body": body,
        });
        if let Some(position) = report.position {
            sent["position"] = json!(position);
        }
        let receipt = post(&router, operation.0, secret, &json!([sent])).await.map_err(&wrong)?;
        if receipt.pointer("/0/outcome").and_then(Value::as_str) != Some("recorded") {
            return Err(wrong(format!("report {} was not recorded: {receipt}", number + 1)));
        }
    }
    say(&format!("The demonstration was played: {told} reports."));
    Ok(passes)
}

/// Puts an id in the place of each word that stands for one.
fn name_ids(value: &mut Value, ids: &mut HashMap<String, Uuid>) {
    match value {
        Value::String(text) if text.starts_with('@') => {
            let id = *ids.entry(text.clone()).or_insert_with(Uuid::now_v7);
            *text = id.to_string();
        }
        Value::Array(all) => all.iter_mut().for_each(|one| name_ids(one, ids)),
        Value::Object(all) => all.values_mut().for_each(|one| name_ids(one, ids)),
        _ => {}
    }
}

async fn post(router: &Router, operation: Uuid, secret: &str, reports: &Value) -> Result<Value, String> {
    let request = Request::post(format!("/api/operations/{operation}/reports"))
        .header(header::AUTHORIZATION, format!("Bearer {secret}"))
        .header(header::CONTENT_TYPE, "application/json")
        .body(Body::from(reports.to_string()))
        .map_err(|error| error.to_string())?;
    let response = match router.clone().oneshot(request).await {
        Ok(response) => response,
        Err(never) => match never {},
    };
    let status = response.status();
    let bytes =
        axum::body::to_bytes(response.into_body(), 1_000_000).await.map_err(|error| error.to_string())?;
    let text = String::from_utf8_lossy(&bytes);
    if status != StatusCode::OK {
        return Err(text.into_owned());
    }
    serde_json::from_str(&text).map_err(|error| error.to_string())
}
