//! The trade's reckoning over HTTP: the same JSON as `laywire reckon WHAT` reads and prints.

use std::sync::Arc;

use axum::{Extension, Json, extract::State};
use laywire_craft::{
    circuit::{self, CircuitAnswer, CircuitInput},
    fault::{self, FaultAnswer, FaultInput},
    site::{self, SiteAnswer, SiteInput},
    span::{self, SpanAnswer, SpanInput},
};

use crate::{
    Service,
    access::Seat,
    problem::{Problem, ProblemDocument, Sent},
};

/// What a line should measure: loop resistance, loss, and whether it talks.
#[utoipa::path(post, path = "/api/reckon/circuit", tag = "reckoning", operation_id = "reckon_circuit",
    request_body = CircuitInput,
    responses((status = 200, body = CircuitAnswer), (status = 401, body = ProblemDocument), (status = 422, body = ProblemDocument)))]
pub async fn reckon_circuit(Sent(input): Sent<CircuitInput>) -> Result<Json<CircuitAnswer>, Problem> {
    circuit::reckon(&input).map(Json).map_err(|error| Problem::CannotReckon(error.to_string()))
}

/// Where a fault lies, from readings at the ends.
#[utoipa::path(post, path = "/api/reckon/fault", tag = "reckoning", operation_id = "reckon_fault",
    request_body = FaultInput,
    responses((status = 200, body = FaultAnswer), (status = 401, body = ProblemDocument), (status = 422, body = ProblemDocument)))]
pub async fn reckon_fault(Sent(input): Sent<FaultInput>) -> Result<Json<FaultAnswer>, Problem> {
    fault::reckon(&input).map(Json).map_err(|error| Problem::CannotReckon(error.to_string()))
}

/// How an overhead span hangs, what clearance it leaves, and what its ties and poles must be.
#[utoipa::path(post, path = "/api/reckon/span", tag = "reckoning", operation_id = "reckon_span",
    request_body = SpanInput,
    responses((status = 200, body = SpanAnswer), (status = 401, body = ProblemDocument), (status = 422, body = ProblemDocument)))]
pub async fn reckon_span(Sent(input): Sent<SpanInput>) -> Result<Json<SpanAnswer>, Problem> {
    span::reckon(&input).map(Json).map_err(|error| Problem::CannotReckon(error.to_string()))
}

/// What is allowed at a crossing with what is at hand there, the best first, and what is refused. The figures are those of
/// the operation's profile.
#[utoipa::path(post, path = "/api/reckon/crossing", tag = "reckoning", operation_id = "reckon_crossing",
    request_body = SiteInput,
    responses((status = 200, body = SiteAnswer), (status = 401, body = ProblemDocument), (status = 422, body = ProblemDocument)))]
pub async fn reckon_crossing(
    State(service): State<Arc<Service>>,
    Extension(seat): Extension<Seat>,
    Sent(input): Sent<SiteInput>,
) -> Result<Json<SiteAnswer>, Problem> {
    let profile = laywire_store::operation::profile(&service.pool, seat.0.operation).await?;
    site::reckon(&input, &profile).map(Json).map_err(|error| Problem::CannotReckon(error.to_string()))
}
