//! An operation in hindsight.

use std::sync::Arc;

use axum::{Extension, Json, extract::State, http::header, response::IntoResponse};
use laywire_craft::{
    ids::{LineId, OperationId},
    line_wire::PacePlan,
    pace,
    review::{
        self, Review,
        learning::{self, Case, Rates},
    },
};
use laywire_store::review::{Hindsight, hindsight};
use serde::{Deserialize, Serialize};
use utoipa::{IntoParams, ToSchema};

use crate::{
    Service,
    access::Seat,
    problem::{Asked, Problem, ProblemDocument, Sent},
};

/// Entries that one review is made from, the most.
pub(super) const MOST_ENTRIES: usize = 100_000;

/// What the laying is held against.
#[derive(Deserialize, IntoParams)]
#[serde(deny_unknown_fields)]
#[into_params(parameter_in = Query)]
pub struct Planned {
    /// By which light; by day unless given.
    #[serde(default)]
    #[param(inline, value_type = Option<pace::Light>)]
    light: pace::Light,
    /// What carried the lead team's reels; the crew unless given.
    #[serde(default)]
    #[param(inline, value_type = Option<pace::Means>)]
    lead_means: pace::Means,
    /// Which pass to speak with, in a browser that holds several.
    #[allow(dead_code, reason = "read where passes are checked")]
    seat: Option<String>,
}

/// An operation's review, and the entry that it stands on.
#[derive(Serialize, ToSchema)]
pub struct OperationReview {
    /// The entry up to which it goes.
    sequence: i64,
    /// The review.
    #[serde(flatten)]
    review: Review,
}

/// The operation in hindsight, from its log alone: how long each line took, by leg, crossing, team and construction, beside
/// what is planned for such work. Every figure names the entries that it comes from; what is not known says why.
#[utoipa::path(get, path = "/api/operations/{op}/review", tag = "reports", operation_id = "review",
    params(("op" = OperationId, Path), Planned),
    responses((status = 200, body = OperationReview), (status = 400, body = ProblemDocument), (status = 401, body = ProblemDocument),
        (status = 404, body = ProblemDocument), (status = 422, body = ProblemDocument)))]
pub async fn review(
    State(service): State<Arc<Service>>,
    Extension(seat): Extension<Seat>,
    Asked(planned): Asked<Planned>,
) -> Result<Json<OperationReview>, Problem> {
    let profile = laywire_store::operation::profile(&service.pool, seat.0.operation).await?;
    // A long log takes memory and a processor.
    let turn = service.turn().await?;
    let Hindsight { sequence, entries, stands } = read(&service, &seat, None).await?;
    let plan = PacePlan { light: planned.light, lead_means: planned.lead_means, ..PacePlan::default() };
    let review = turn.reckon(move || review::review(&entries, &stands, &profile, plan)).await?;
    Ok(Json(OperationReview { sequence, review }))
}

/// The operation in hindsight as a table (CSV, RFC 4180): a row a figure, with its subject, unit and entries. A figure that is not
/// known has no value.
#[utoipa::path(get, path = "/api/operations/{op}/review.csv", tag = "reports", operation_id = "review_table",
    params(("op" = OperationId, Path), Planned),
    responses((status = 200, body = String, content_type = "text/csv"), (status = 400, body = ProblemDocument),
        (status = 401, body = ProblemDocument), (status = 404, body = ProblemDocument), (status = 422, body = ProblemDocument)))]
pub async fn review_table(
    State(service): State<Arc<Service>>,
    Extension(seat): Extension<Seat>,
    Asked(planned): Asked<Planned>,
) -> Result<impl IntoResponse, Problem> {
    let profile = laywire_store::operation::profile(&service.pool, seat.0.operation).await?;
    let turn = service.turn().await?;
    let Hindsight { entries, stands, .. } = read(&service, &seat, None).await?;
    let plan = PacePlan { light: planned.light, lead_means: planned.lead_means, ..PacePlan::default() };
    let rows = turn.reckon(move || review::rows(&review::review(&entries, &stands, &profile, plan))).await?;
    let text = super::export::table(&rows).map_err(|error| {
        tracing::error!(%error, "a review cannot be written");
        Problem::Internal
    })?;
    let headers = [
        (header::CONTENT_TYPE, "text/csv; charset=utf-8; header=present"),
        (header::CONTENT_DISPOSITION, "attachment; filename=\"review.csv\""),
        (header::CACHE_CONTROL, "private, no-store"),
    ];
    Ok((headers, text))
}

/// What the section's own rates are estimated from.
#[derive(Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct RatesAsked {
    /// By which light this operation's lines were laid; by day unless given.
    #[serde(default)]
    light: pace::Light,
    /// What carried the lead team's reels; the crew unless given.
    #[serde(default)]
    lead_means: pace::Means,
    /// Cases of earlier operations, as this same call answered there: at most 4,000.
    #[serde(default)]
    #[schema(max_items = 4000)]
    cases: Vec<Case>,
}

/// The section's own rates from this operation's review and from cases that it brings along from earlier ones: median and spread
/// of each figure, what lies far out, and the lines that a unit's profile would have. Nothing is applied. Keep `cases`, and send
/// it along in the next operation.
#[utoipa::path(post, path = "/api/operations/{op}/review/rates", tag = "reports", operation_id = "review_rates",
    params(("op" = OperationId, Path)), request_body = RatesAsked,
    responses((status = 200, body = Rates), (status = 401, body = ProblemDocument), (status = 404, body = ProblemDocument),
        (status = 422, body = ProblemDocument)))]
pub async fn review_rates(
    State(service): State<Arc<Service>>,
    Extension(seat): Extension<Seat>,
    Sent(asked): Sent<RatesAsked>,
) -> Result<Json<Rates>, Problem> {
    learning::check(&asked.cases).map_err(Problem::no_answer)?;
    let operation = seat.0.operation;
    let profile = laywire_store::operation::profile(&service.pool, operation).await?;
    let turn = service.turn().await?;
    let Hindsight { entries, stands, .. } = read(&service, &seat, None).await?;
    let rates = turn.reckon(move || {
        let plan = PacePlan { light: asked.light, lead_means: asked.lead_means, ..PacePlan::default() };
        let review = review::review(&entries, &stands, &profile, plan);
        let own = learning::cases(&review, operation, asked.lead_means, asked.light);
        learning::rates(asked.cases, operation, own, &profile)
    });
    Ok(Json(rates.await?))
}

/// The log of the operation or of one line, and what stands by it.
pub(super) async fn read(service: &Service, seat: &Seat, of: Option<LineId>) -> Result<Hindsight, Problem> {
    let found = hindsight(&service.pool, seat.0.operation, of, MOST_ENTRIES).await?;
    found.ok_or_else(|| Problem::CannotReckon {
        field: None,
        why: format!("the log has more than {MOST_ENTRIES} entries: export it, and review it in parts"),
    })
}
