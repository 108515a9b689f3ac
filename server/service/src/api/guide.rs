//! What the trade says about every kind of crossing, for the pages to show and to keep on the device.

use std::sync::Arc;

use axum::{Extension, Json, extract::State};
use laywire_craft::{
    guide::{Guide, guide},
    ids::OperationId,
    obstacle::Obstacle,
};

use crate::{
    Service,
    access::Seat,
    problem::{Problem, ProblemDocument},
};

/// For each obstacle, on a soft and on a hard surface: the constructions allowed, the best first, with lists and
/// cautions, and those refused, with the rule.
#[utoipa::path(get, path = "/api/operations/{op}/guide", tag = "crossings", operation_id = "crossing_guide",
    params(("op" = OperationId, Path)),
    responses((status = 200, body = Vec<Guide>), (status = 401, body = ProblemDocument), (status = 404, body = ProblemDocument)))]
pub async fn crossing_guide(
    State(service): State<Arc<Service>>,
    Extension(seat): Extension<Seat>,
) -> Result<Json<Vec<Guide>>, Problem> {
    let profile = laywire_store::operation::profile(&service.pool, seat.0.operation).await?;
    let places = Obstacle::ALL.into_iter().flat_map(|obstacle| [(obstacle, false), (obstacle, true)]);
    Ok(Json(places.map(|(obstacle, hard)| guide(obstacle, hard, &profile)).collect()))
}
