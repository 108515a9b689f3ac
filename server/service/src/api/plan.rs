//! Planning: what a trace will meet, for a line that stands in the operation or for a trace that is still being drawn.
//! Asking changes nothing.

use std::sync::Arc;

use axum::{
    Extension, Json,
    extract::{Path, State},
};
use chrono::{DateTime, Utc};
use laywire_craft::{
    elevation::Surface,
    foreseen::Foreseen,
    ids::{LineId, OperationId},
    plan::{Plan, PlanFigures},
    trace::Trace,
};
use laywire_store::{foreseen, terrain::Extract};
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

use super::geojson::{self, LineString};
use crate::{
    Service,
    access::Seat,
    problem::{Problem, ProblemDocument, Sent},
};

/// A trace that somebody is drawing.
#[derive(Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct DrawnTrace {
    /// Where the wire shall go.
    #[schema(value_type = LineString)]
    pub(super) trace: ::geojson::Geometry,
}

/// Which trace of a line to look at.
#[derive(Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct PlanQuestion {
    /// Another trace than the one that is planned; left out, the planned one is looked at.
    #[serde(default)]
    #[schema(value_type = Option<LineString>)]
    trace: Option<::geojson::Geometry>,
}

/// What a trace will meet, and on which map.
#[derive(Serialize, ToSchema)]
pub struct ForeseenAnswer {
    /// The map; null when none is loaded, and then nothing is known.
    #[schema(required = true)]
    map: Option<MapUsed>,
    /// What it takes if each crossing is built as proposed; null where that cannot be reckoned, as on a line that is too long.
    #[schema(required = true)]
    figures: Option<PlanFigures>,
    /// What the hills add to the trace; null where no grid of heights lies about it.
    #[schema(required = true)]
    surface: Option<Surface>,
    /// What it meets.
    #[serde(flatten)]
    foreseen: Foreseen,
}

/// The map that an answer is from.
#[derive(Serialize, ToSchema)]
pub struct MapUsed {
    /// The extract's file.
    file_name: String,
    /// When the map was taken, where the file says so.
    #[schema(required = true)]
    mapped_at: Option<DateTime<Utc>>,
    /// What must be shown with it.
    attribution: String,
}

impl From<Extract> for MapUsed {
    fn from(extract: Extract) -> Self {
        Self { file_name: extract.file_name, mapped_at: extract.mapped_at, attribution: extract.attribution }
    }
}

/// What a trace will meet: crossings with their proposed construction, power lines, and where the map knows nothing.
#[utoipa::path(post, path = "/api/operations/{op}/foreseen", tag = "planning", operation_id = "foresee",
    params(("op" = OperationId, Path)), request_body = DrawnTrace,
    responses((status = 200, body = ForeseenAnswer), (status = 401, body = ProblemDocument), (status = 404, body = ProblemDocument),
        (status = 413, body = ProblemDocument), (status = 422, body = ProblemDocument)))]
pub async fn foresee(
    State(service): State<Arc<Service>>,
    Extension(seat): Extension<Seat>,
    Sent(question): Sent<DrawnTrace>,
) -> Result<Json<ForeseenAnswer>, Problem> {
    answer(&service, &seat, read(question.trace)?).await
}

/// What a line's planned trace will meet, or another trace for it.
#[utoipa::path(post, path = "/api/operations/{op}/lines/{line}/plan", tag = "planning", operation_id = "plan",
    params(("op" = OperationId, Path), ("line" = LineId, Path)), request_body = PlanQuestion,
    responses((status = 200, body = ForeseenAnswer), (status = 401, body = ProblemDocument), (status = 404, body = ProblemDocument),
        (status = 413, body = ProblemDocument), (status = 422, body = ProblemDocument)))]
pub async fn plan(
    State(service): State<Arc<Service>>,
    Extension(seat): Extension<Seat>,
    Path((_, line)): Path<(String, String)>,
    Sent(question): Sent<PlanQuestion>,
) -> Result<Json<ForeseenAnswer>, Problem> {
    let (line, _) = super::line::with_crossings(&service, &seat, &line).await?;
    let trace = match question.trace {
        Some(drawn) => read(drawn)?,
        None => line.planned.ok_or_else(|| {
            let why = "this line has no planned trace: draw one, or send one".to_owned();
            Problem::CannotReckon { field: Some("trace".to_owned()), why }
        })?,
    };
    answer(&service, &seat, trace).await
}

pub(super) fn read(drawn: ::geojson::Geometry) -> Result<Trace, Problem> {
    geojson::trace(drawn).map_err(|what| Problem::Malformed { field: "trace".to_owned(), what })
}

async fn answer(service: &Service, seat: &Seat, trace: Trace) -> Result<Json<ForeseenAnswer>, Problem> {
    let profile = laywire_store::operation::profile(&service.pool, seat.0.operation).await?;
    let answer = foreseen::foreseen(&service.pool, trace.clone(), profile.clone()).await?;
    let (map, surface, foreseen) = (answer.map.map(MapUsed::from), answer.surface, answer.foreseen);
    let reckoned = tokio::task::spawn_blocking(move || {
        let figures = Plan::proposed(trace, &foreseen).figures(&profile).ok();
        ForeseenAnswer { map, figures, surface, foreseen }
    });
    Ok(Json(reckoned.await.map_err(|_| Problem::Internal)?))
}
