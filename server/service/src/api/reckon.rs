//! The trade's reckoning over HTTP: the same JSON as `laywire reckon WHAT` reads and prints.

use std::sync::Arc;

use axum::{Extension, Json, extract::State};
use laywire_craft::{
    circuit::{self, CircuitAnswer, CircuitInput},
    fault::{self, FaultAnswer, FaultInput},
    pace, reels,
    site::{self, SiteAnswer, SiteInput},
    span::{self, SpanAnswer, SpanInput},
    wire,
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
    circuit::reckon(&input).map(Json).map_err(Problem::no_answer)
}

/// Where a fault lies, from readings at the ends; with the line's record, also where on the ground.
#[utoipa::path(post, path = "/api/reckon/fault", tag = "reckoning", operation_id = "reckon_fault",
    request_body = FaultInput,
    responses((status = 200, body = FaultAnswer), (status = 401, body = ProblemDocument), (status = 422, body = ProblemDocument)))]
pub async fn reckon_fault(Sent(input): Sent<FaultInput>) -> Result<Json<FaultAnswer>, Problem> {
    fault::reckon(&input).map(Json).map_err(Problem::no_answer)
}

/// How long a line takes: the lead team until it is through, the follow-up team until it is finished.
#[utoipa::path(post, path = "/api/reckon/pace", tag = "reckoning", operation_id = "reckon_pace",
    request_body = pace::Input,
    responses((status = 200, body = pace::Answer), (status = 401, body = ProblemDocument), (status = 422, body = ProblemDocument)))]
pub async fn reckon_pace(Sent(input): Sent<pace::Input>) -> Result<Json<pace::Answer>, Problem> {
    pace::reckon(&input).map(Json).map_err(Problem::no_answer)
}

/// Which reels to take for a line, in which order, and where the splices between them fall; or what is missing.
#[utoipa::path(post, path = "/api/reckon/reels", tag = "reckoning", operation_id = "reckon_reels",
    request_body = reels::Input,
    responses((status = 200, body = reels::Answer), (status = 401, body = ProblemDocument), (status = 422, body = ProblemDocument)))]
pub async fn reckon_reels(
    State(service): State<Arc<Service>>,
    Sent(input): Sent<reels::Input>,
) -> Result<Json<reels::Answer>, Problem> {
    // A cruel choice of reels takes a processor for a second.
    let answer = service.turn().await?.reckon(move || reels::reckon(&input)).await?;
    answer.map(Json).map_err(Problem::no_answer)
}

/// How an overhead span hangs, what clearance it leaves, and what its ties and poles must be. The heights are those of the
/// operation's profile.
#[utoipa::path(post, path = "/api/reckon/span", tag = "reckoning", operation_id = "reckon_span",
    request_body = SpanInput,
    responses((status = 200, body = SpanAnswer), (status = 401, body = ProblemDocument), (status = 422, body = ProblemDocument)))]
pub async fn reckon_span(
    State(service): State<Arc<Service>>,
    Extension(seat): Extension<Seat>,
    Sent(input): Sent<SpanInput>,
) -> Result<Json<SpanAnswer>, Problem> {
    let profile = laywire_store::operation::profile(&service.pool, seat.0.operation).await?;
    span::reckon_under(&input, &profile).map(Json).map_err(Problem::no_answer)
}

/// The wire that a line takes, item by item, and the way from a distance along it to the ground and back.
#[utoipa::path(post, path = "/api/reckon/wire", tag = "reckoning", operation_id = "reckon_wire",
    request_body = wire::Input,
    responses((status = 200, body = wire::Answer), (status = 401, body = ProblemDocument), (status = 422, body = ProblemDocument)))]
pub async fn reckon_wire(Sent(input): Sent<wire::Input>) -> Result<Json<wire::Answer>, Problem> {
    wire::reckon(&input).map(Json).map_err(Problem::no_answer)
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
    site::reckon(&input, &profile).map(Json).map_err(Problem::no_answer)
}
