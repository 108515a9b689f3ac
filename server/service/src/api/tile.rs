//! The ground as vector tiles.

use std::sync::Arc;

use axum::{
    extract::{Path, State},
    http::HeaderMap,
    response::Response,
};
use laywire_craft::ids::OperationId;

use crate::{
    Service,
    problem::{Problem, ProblemDocument},
};

/// A vector tile (MVT) of the terrain, with the layers `area`, `line` and `place`.
#[utoipa::path(get, path = "/api/operations/{op}/tiles/{z}/{x}/{y}", tag = "terrain", operation_id = "tile",
    params(("op" = OperationId, Path), ("z" = u8, Path), ("x" = u32, Path), ("y" = u32, Path)),
    responses((status = 200, body = Vec<u8>, content_type = "application/vnd.mapbox-vector-tile"), (status = 304),
        (status = 401, body = ProblemDocument), (status = 404, body = ProblemDocument)))]
pub async fn tile(
    State(_service): State<Arc<Service>>,
    Path((_, _z, _x, _y)): Path<(String, u8, u32, u32)>,
    _headers: HeaderMap,
) -> Result<Response, Problem> {
    Err(Problem::NotFound)
}
