//! The heights of the ground along a trace, from the grids that are loaded. Asking changes nothing; what no grid knows is null.

use std::sync::Arc;

use axum::{Extension, Json, extract::State};
use chrono::{DateTime, Utc};
use laywire_craft::{
    elevation::{Point, Steepest},
    ids::OperationId,
    units::Metres,
};
use laywire_store::elevation::{self, Stored};
use serde::Serialize;
use utoipa::ToSchema;

use super::plan::{self, DrawnTrace};
use crate::{
    Service,
    access::Seat,
    problem::{Problem, ProblemDocument, Sent},
};

/// A grid that heights are from.
#[derive(Serialize, ToSchema)]
pub struct HeightGrid {
    /// Its name: a tile's, or the file's without its ending.
    name: String,
    /// The file that it came from.
    file_name: String,
    /// The shorter side of a cell in its middle, in metres.
    cell_m: f64,
    /// When it was loaded.
    loaded_at: DateTime<Utc>,
}

impl From<Stored> for HeightGrid {
    fn from(Stored { name, file_name, cell_m, loaded_at, .. }: Stored) -> Self {
        Self { name, file_name, cell_m, loaded_at }
    }
}

/// The ground's height at a place of the trace.
#[derive(Serialize, ToSchema)]
pub struct HeightPoint {
    /// Along the trace over the ground, in metres.
    chainage_m: Metres,
    /// Above the level that the grids count from, in metres; null where it is unknown.
    #[schema(required = true)]
    height_m: Option<Metres>,
}

impl From<Point> for HeightPoint {
    fn from(Point { chainage, height }: Point) -> Self {
        Self { chainage_m: chainage, height_m: height }
    }
}

/// The steepest piece.
#[derive(Serialize, ToSchema)]
#[allow(clippy::struct_field_names, reason = "a length bears its unit in its name")]
pub struct SteepestPiece {
    /// Where it begins along the trace, in metres.
    from_m: Metres,
    /// Where it ends, in metres.
    to_m: Metres,
    /// How much higher its end is than its beginning, in metres; negative where it falls.
    rise_m: Metres,
}

impl From<Steepest> for SteepestPiece {
    fn from(Steepest { from, to, rise }: Steepest) -> Self {
        Self { from_m: from, to_m: to, rise_m: rise }
    }
}

/// The heights along a trace.
#[derive(Serialize, ToSchema)]
pub struct TraceHeights {
    /// The grids that they are from, the finest first; empty when none lies about the trace, and then nothing is known.
    grids: Vec<HeightGrid>,
    /// The trace over level ground, in metres.
    length_m: Metres,
    /// The trace over the hills, in metres; null where the height of any part is unknown.
    #[schema(required = true)]
    surface_length_m: Option<Metres>,
    /// How much of it has an unknown height at one of its ends, in metres.
    unknown_m: Metres,
    /// The highest place that is known.
    #[schema(required = true)]
    highest: Option<HeightPoint>,
    /// The lowest place that is known.
    #[schema(required = true)]
    lowest: Option<HeightPoint>,
    /// The steepest piece that is known at both ends, up or down.
    #[schema(required = true)]
    steepest: Option<SteepestPiece>,
    /// Places along it: with both ends, the lowest and the highest, and the ends of what is unknown.
    #[schema(max_items = 2000)]
    points: Vec<HeightPoint>,
}

/// The heights of the ground along a trace: its profile, its length over the hills, its steepest piece.
#[utoipa::path(post, path = "/api/operations/{op}/heights", tag = "planning", operation_id = "heights",
    params(("op" = OperationId, Path)), request_body = DrawnTrace,
    responses((status = 200, body = TraceHeights), (status = 401, body = ProblemDocument), (status = 404, body = ProblemDocument),
        (status = 413, body = ProblemDocument), (status = 422, body = ProblemDocument)))]
pub async fn heights(
    State(service): State<Arc<Service>>,
    Extension(_): Extension<Seat>,
    Sent(question): Sent<DrawnTrace>,
) -> Result<Json<TraceHeights>, Problem> {
    let trace = plan::read(question.trace)?;
    let length_m = trace.length();
    // The grids about a long trace take room, and its profile time: so such questions wait for each other.
    let _turn = service.turn().await?;
    let known = elevation::heights(&service.pool, trace).await?;
    let profile = known.profile;
    let (lowest, highest) = profile.extremes().unzip();
    Ok(Json(TraceHeights {
        grids: known.from.into_iter().map(HeightGrid::from).collect(),
        length_m,
        surface_length_m: profile.surface_length(),
        unknown_m: profile.unknown(),
        highest: highest.map(HeightPoint::from),
        lowest: lowest.map(HeightPoint::from),
        steepest: profile.steepest().map(SteepestPiece::from),
        points: profile.thinned().into_iter().map(HeightPoint::from).collect(),
    }))
}
