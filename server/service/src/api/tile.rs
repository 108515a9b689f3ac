//! The ground as vector tiles.

use std::sync::Arc;

use axum::{
    extract::{Path, State},
    http::{HeaderMap, HeaderName, HeaderValue, StatusCode, header},
    response::{IntoResponse, Response},
};
use laywire_craft::ids::OperationId;
use laywire_store::terrain;

use crate::{
    Service,
    problem::{Problem, ProblemDocument},
};

/// A browser keeps a tile for a day and then asks whether it is still the same. `private`: it needs a pass.
const KEEP: HeaderValue = HeaderValue::from_static("private, max-age=86400");

/// A vector tile (MVT) of the terrain, with the layers `area`, `line` and `place`.
#[utoipa::path(get, path = "/api/operations/{op}/tiles/{z}/{x}/{y}", tag = "terrain", operation_id = "tile",
    params(("op" = OperationId, Path), ("z" = u8, Path), ("x" = u32, Path), ("y" = u32, Path)),
    responses((status = 200, body = Vec<u8>, content_type = "application/vnd.mapbox-vector-tile"),
        (status = 204, description = "No ground is loaded"), (status = 304, description = "Still the same"),
        (status = 401, body = ProblemDocument), (status = 404, body = ProblemDocument)))]
pub async fn tile(
    State(service): State<Arc<Service>>,
    Path((_, z, x, y)): Path<(String, String, String, String)>,
    headers: HeaderMap,
) -> Result<Response, Problem> {
    let (Ok(z), Ok(x), Ok(y)) = (z.parse::<u8>(), x.parse::<u32>(), y.parse::<u32>()) else {
        return Err(Problem::NotFound);
    };
    // Whoever has the tile asks whether it is still the same: then it need not be made.
    if let Some(known) = headers.get(header::IF_NONE_MATCH) {
        let tag = terrain::version(&service.pool).await?.map(|version| tag(&version)).transpose()?;
        if let Some(tag) = tag.filter(|tag| tag == known) {
            return Ok((StatusCode::NOT_MODIFIED, kept(tag)).into_response());
        }
    }
    let Some((tile, version)) = terrain::tile_and_version(&service.pool, z, x, y).await? else {
        return Ok(StatusCode::NO_CONTENT.into_response());
    };
    let media = [(header::CONTENT_TYPE, HeaderValue::from_static("application/vnd.mapbox-vector-tile"))];
    Ok((kept(tag(&version)?), media, tile).into_response())
}

fn tag(version: &str) -> Result<HeaderValue, Problem> {
    HeaderValue::from_str(&format!("\"{version}\"")).map_err(|_| Problem::Internal)
}

fn kept(tag: HeaderValue) -> [(HeaderName, HeaderValue); 2] {
    [(header::ETAG, tag), (header::CACHE_CONTROL, KEEP)]
}
