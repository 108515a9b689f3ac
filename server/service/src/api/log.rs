//! The wire log, to be read back.

use std::sync::Arc;

use axum::{Extension, Json, extract::State};
use laywire_craft::{ids::OperationId, report::Entry};
use laywire_store::StoreError;
use serde::Deserialize;
use utoipa::IntoParams;

use crate::{
    Service,
    access::Seat,
    problem::{Asked, Problem, ProblemDocument},
};

/// Which entries.
#[derive(Deserialize, IntoParams)]
#[serde(deny_unknown_fields)]
#[into_params(parameter_in = Query)]
pub struct Ask {
    /// Only entries before this number.
    #[param(minimum = 1)]
    before: Option<i64>,
    /// How many, 1 to 200; 50 when left out.
    #[param(minimum = 1, maximum = 200)]
    limit: Option<i64>,
    /// Which pass to speak with, in a browser that holds several.
    #[allow(dead_code, reason = "read where passes are checked")]
    seat: Option<String>,
}

/// The last entries, the newest first.
#[utoipa::path(get, path = "/api/operations/{op}/log", tag = "reports", operation_id = "log",
    params(("op" = OperationId, Path), Ask),
    responses((status = 200, body = Vec<Entry>), (status = 400, body = ProblemDocument), (status = 401, body = ProblemDocument),
        (status = 404, body = ProblemDocument)))]
pub async fn log(
    State(service): State<Arc<Service>>,
    Extension(seat): Extension<Seat>,
    Asked(ask): Asked<Ask>,
) -> Result<Json<Vec<Entry>>, Problem> {
    let limit = ask.limit.unwrap_or(50);
    if !(1..=200).contains(&limit) {
        return Err(Problem::Query(format!("limit: {limit}; give 1 to 200")));
    }
    let before = ask.before.unwrap_or(i64::MAX);
    if before < 1 {
        return Err(Problem::Query(format!("before: {before}; give a number from 1")));
    }
    let mut connection = service.pool.acquire().await.map_err(StoreError::from)?;
    Ok(Json(laywire_store::log::latest(&mut connection, seat.0.operation, before, limit).await?))
}
