//! A line's saved plans: to save one, to put one beside another and beside what was laid, and to issue one to the lead team.
//! Saving changes nothing in the installation; issuing does, by reports in the log.

use std::sync::Arc;

use axum::{
    Extension, Json,
    extract::{Path, State},
    http::StatusCode,
};
use chrono::{DateTime, Utc};
use laywire_craft::{
    bounds::NoAnswer,
    duty::Act,
    ids::{LineId, OperationId},
    plan::{self, Plan, PlanAndLaid, PlanError, PlanFigures, PlanVersion},
    report::Kind,
    text::{Name, Remark},
};
use laywire_store::plan::{self as store, Draft, Issued, Saved};
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

use super::line::with_crossings;
use crate::{
    Service,
    access::Seat,
    problem::{Problem, ProblemDocument, Sent},
};

/// A plan to be saved.
#[derive(Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct NewPlan {
    /// The plan.
    plan: Plan,
    /// What the chief says of it.
    #[serde(default)]
    remark: Option<Remark>,
}

/// A saved plan without its trace and crossings.
#[derive(Serialize, ToSchema)]
pub struct SavedPlan {
    /// Its number among the line's plans.
    version: PlanVersion,
    /// When it was saved.
    saved_at: DateTime<Utc>,
    /// By whom.
    by: Name,
    /// What they said of it.
    #[schema(required = true)]
    remark: Option<Remark>,
    /// Whether it is the one that the line's trace is from.
    issued: bool,
    /// What it takes, as reckoned when it was saved.
    figures: PlanFigures,
}

impl SavedPlan {
    fn of(saved: Saved, issued: Option<PlanVersion>) -> Self {
        Self {
            issued: issued == Some(saved.version),
            version: saved.version,
            saved_at: saved.saved_at,
            by: saved.by,
            remark: saved.remark,
            figures: saved.figures,
        }
    }
}

/// A line's plans.
#[derive(Serialize, ToSchema)]
pub struct SavedPlans {
    /// The newest first.
    plans: Vec<SavedPlan>,
}

/// A saved plan.
#[derive(Serialize, ToSchema)]
pub struct WholePlan {
    /// What is known of it.
    #[serde(flatten)]
    saved: SavedPlan,
    /// The plan.
    plan: Plan,
}

/// What came of an issue.
#[derive(Serialize, ToSchema)]
pub struct PlanIssue {
    /// The number of its last entry in the log.
    sequence: i64,
    /// Crossings that are foreseen by it, or foreseen in another way than before.
    foreseen: usize,
    /// Crossings that it has no more, and that nobody had come to.
    struck_out: usize,
}

impl From<PlanError> for Problem {
    fn from(error: PlanError) -> Self {
        let field = match &error {
            PlanError::Refused { crossing, .. } => Some(format!("plan.crossings[{crossing}].construction")),
            PlanError::Reckoning(error) => error.field(),
        };
        Self::CannotReckon { field, why: error.to_string() }
    }
}

/// Saves a plan of the line under the next number.
#[utoipa::path(post, path = "/api/operations/{op}/lines/{line}/plans", tag = "planning", operation_id = "save_plan",
    params(("op" = OperationId, Path), ("line" = LineId, Path)), request_body = NewPlan,
    responses((status = 201, body = SavedPlan), (status = 401, body = ProblemDocument), (status = 403, body = ProblemDocument),
        (status = 404, body = ProblemDocument), (status = 413, body = ProblemDocument), (status = 422, body = ProblemDocument)))]
pub async fn save_plan(
    State(service): State<Arc<Service>>,
    Extension(seat): Extension<Seat>,
    Path((_, line)): Path<(String, String)>,
    Sent(new): Sent<NewPlan>,
) -> Result<(StatusCode, Json<SavedPlan>), Problem> {
    seat.must(Act::SavePlans)?;
    let (line, _) = with_crossings(&service, &seat, &line).await?;
    let pass = &seat.0;
    let profile = laywire_store::operation::profile(&service.pool, pass.operation).await?;
    let draft = tokio::task::spawn_blocking(move || {
        let figures = new.plan.figures(&profile)?;
        Ok::<_, PlanError>(Draft { plan: new.plan, figures, remark: new.remark })
    });
    let draft = draft.await.map_err(|_| Problem::Internal)??;
    let by = &pass.holder.team;
    let saved_at = service.now();
    let version = store::save(&service.pool, pass.operation, line.id, by, &draft, saved_at).await?;
    let version = version.ok_or_else(|| Problem::CannotReckon {
        field: None,
        why: format!(
            "the line has {} plans, which is the most: plan it under another number",
            PlanVersion::LAST
        ),
    })?;
    let Draft { figures, remark, .. } = draft;
    let saved = Saved { version, saved_at, by: by.clone(), remark, figures };
    Ok((StatusCode::CREATED, Json(SavedPlan::of(saved, line.plan))))
}

/// The line's plans and what each takes.
#[utoipa::path(get, path = "/api/operations/{op}/lines/{line}/plans", tag = "planning", operation_id = "saved_plans",
    params(("op" = OperationId, Path), ("line" = LineId, Path)),
    responses((status = 200, body = SavedPlans), (status = 401, body = ProblemDocument), (status = 404, body = ProblemDocument)))]
pub async fn saved_plans(
    State(service): State<Arc<Service>>,
    Extension(seat): Extension<Seat>,
    Path((_, line)): Path<(String, String)>,
) -> Result<Json<SavedPlans>, Problem> {
    let (line, _) = with_crossings(&service, &seat, &line).await?;
    let plans = store::saved(&service.pool, seat.0.operation, line.id).await?;
    Ok(Json(SavedPlans { plans: plans.into_iter().map(|saved| SavedPlan::of(saved, line.plan)).collect() }))
}

/// One plan, whole.
#[utoipa::path(get, path = "/api/operations/{op}/lines/{line}/plans/{version}", tag = "planning", operation_id = "saved_plan",
    params(("op" = OperationId, Path), ("line" = LineId, Path), ("version" = PlanVersion, Path)),
    responses((status = 200, body = WholePlan), (status = 401, body = ProblemDocument), (status = 404, body = ProblemDocument)))]
pub async fn saved_plan(
    State(service): State<Arc<Service>>,
    Extension(seat): Extension<Seat>,
    Path((_, line, version)): Path<(String, String, String)>,
) -> Result<Json<WholePlan>, Problem> {
    let (line, _) = with_crossings(&service, &seat, &line).await?;
    let (saved, plan) = find(&service, &seat, line.id, &version).await?;
    Ok(Json(WholePlan { saved: SavedPlan::of(saved, line.plan), plan }))
}

/// Gives a plan to the lead team: its trace is the line's, and its crossings are foreseen on it. Crossings of an earlier plan
/// that nobody has come to and that this one does not meet are struck out. All of it stands in the log, or nothing.
#[utoipa::path(post, path = "/api/operations/{op}/lines/{line}/plans/{version}/issue", tag = "planning", operation_id = "issue_plan",
    params(("op" = OperationId, Path), ("line" = LineId, Path), ("version" = PlanVersion, Path)),
    responses((status = 200, body = PlanIssue), (status = 401, body = ProblemDocument), (status = 403, body = ProblemDocument),
        (status = 404, body = ProblemDocument), (status = 409, body = ProblemDocument)))]
pub async fn issue_plan(
    State(service): State<Arc<Service>>,
    Extension(seat): Extension<Seat>,
    Path((_, line, version)): Path<(String, String, String)>,
) -> Result<Json<PlanIssue>, Problem> {
    seat.must(Act::Report(Kind::PlanIssued))?;
    let (line, _) = with_crossings(&service, &seat, &line).await?;
    let (saved, plan) = find(&service, &seat, line.id, &version).await?;
    let pass = &seat.0;
    let now = service.now();
    let issued =
        store::issue(&service.pool, pass.operation, &pass.holder, line.id, saved.version, plan, now).await?;
    let Issued { sequence, foreseen, struck_out } =
        issued.map_err(|refusal| Problem::Refused(Box::new(refusal)))?;
    Ok(Json(PlanIssue { sequence, foreseen, struck_out }))
}

/// A plan beside what was laid: lengths, wire, how far the wire lies from the plan, crossings and time.
#[utoipa::path(get, path = "/api/operations/{op}/lines/{line}/plans/{version}/laid", tag = "planning", operation_id = "plan_and_laid",
    params(("op" = OperationId, Path), ("line" = LineId, Path), ("version" = PlanVersion, Path)),
    responses((status = 200, body = PlanAndLaid), (status = 401, body = ProblemDocument), (status = 404, body = ProblemDocument),
        (status = 422, body = ProblemDocument)))]
pub async fn plan_and_laid(
    State(service): State<Arc<Service>>,
    Extension(seat): Extension<Seat>,
    Path((_, line, version)): Path<(String, String, String)>,
) -> Result<Json<PlanAndLaid>, Problem> {
    let (line, crossings) = with_crossings(&service, &seat, &line).await?;
    let (_, planned) = find(&service, &seat, line.id, &version).await?;
    let profile = laywire_store::operation::profile(&service.pool, seat.0.operation).await?;
    let answer =
        tokio::task::spawn_blocking(move || plan::beside_laid(&planned, &line, &crossings, &profile));
    Ok(Json(answer.await.map_err(|_| Problem::Internal)??))
}

pub(super) async fn find(
    service: &Service,
    seat: &Seat,
    line: LineId,
    version: &str,
) -> Result<(Saved, Plan), Problem> {
    let version = version.parse::<u16>().ok().and_then(|number| PlanVersion::try_from(number).ok());
    let version = version.ok_or(Problem::NotFound)?;
    store::plan(&service.pool, seat.0.operation, line, version).await?.ok_or(Problem::NotFound)
}
