//! Reports come in here.

use std::sync::Arc;

use axum::{Extension, Json, extract::State};
use chrono::Datelike;
use laywire_craft::{
    ids::{OperationId, ReportId},
    refusal::Refusal,
    report::Report,
};
use laywire_store::log;
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

use crate::{
    Service,
    access::Seat,
    problem::{Problem, ProblemDocument, Sent},
};

/// Most reports in a batch.
pub const MOST_REPORTS: usize = 200;

/// A batch of reports, in the order in which they were made.
#[derive(Deserialize, ToSchema)]
#[serde(transparent)]
pub struct Batch(Vec<Report>);

/// What became of a report.
#[derive(Serialize, ToSchema)]
pub enum Outcome {
    /// It stands in the log.
    #[serde(rename = "recorded")]
    Recorded,
    /// It stood there before.
    #[serde(rename = "already recorded")]
    AlreadyRecorded,
    /// A rule refused it; nothing changed by it.
    #[serde(rename = "refused")]
    Refused,
}

/// What became of one report of the batch.
#[derive(Serialize, ToSchema)]
pub struct Receipt {
    /// The report.
    id: ReportId,
    /// What became of it.
    outcome: Outcome,
    /// Its number in the log.
    #[schema(required = true)]
    sequence: Option<i64>,
    /// Why it was refused.
    #[schema(required = true)]
    reason: Option<Reason>,
}

/// Why a report was refused.
#[derive(Serialize, ToSchema)]
pub struct Reason {
    /// What is wrong and what to do, for a person.
    title: String,
    /// The rule, with its figures.
    refusal: Refusal,
}

/// Takes a batch in. A batch that cannot be read changes nothing; of one that can, each report is recorded or refused by
/// itself, in order.
#[utoipa::path(post, path = "/api/operations/{op}/reports", tag = "reports", operation_id = "report",
    params(("op" = OperationId, Path)), request_body = Vec<Report>,
    responses((status = 200, body = Vec<Receipt>), (status = 400, body = ProblemDocument), (status = 401, body = ProblemDocument),
        (status = 404, body = ProblemDocument), (status = 413, body = ProblemDocument), (status = 422, body = ProblemDocument)))]
pub async fn report(
    State(service): State<Arc<Service>>,
    Extension(seat): Extension<Seat>,
    Sent(Batch(reports)): Sent<Batch>,
) -> Result<Json<Vec<Receipt>>, Problem> {
    if reports.is_empty() || reports.len() > MOST_REPORTS {
        return Err(Problem::Malformed {
            field: ".".to_owned(),
            what: format!(
                "a batch holds 1 to {MOST_REPORTS} reports and this one {}; send it in parts",
                reports.len()
            ),
        });
    }
    // RFC 3339 writes a year with four digits; what lies beyond fits neither the log nor a watch.
    if let Some(n) = reports.iter().position(|report| !(0..=9999).contains(&report.at.year())) {
        return Err(Problem::Malformed {
            field: format!("[{n}].at"),
            what: "the year has more than four digits; set the device's clock".to_owned(),
        });
    }
    let pass = &seat.0;
    let outcomes = log::record(&service.pool, pass.operation, &pass.holder, reports, service.now()).await?;
    let receipts = outcomes.into_iter().map(|(id, outcome)| match outcome {
        log::Outcome::Recorded { sequence } => {
            Receipt { id, outcome: Outcome::Recorded, sequence: Some(sequence), reason: None }
        }
        log::Outcome::AlreadyRecorded { sequence } => {
            Receipt { id, outcome: Outcome::AlreadyRecorded, sequence: Some(sequence), reason: None }
        }
        log::Outcome::Refused(refusal) => {
            let reason = Reason { title: refusal.to_string(), refusal };
            Receipt { id, outcome: Outcome::Refused, sequence: None, reason: Some(reason) }
        }
    });
    Ok(Json(receipts.collect()))
}
