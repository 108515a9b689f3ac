//! The operation as a whole.

use std::sync::Arc;

use axum::{Extension, Json, extract::State};
use chrono::{DateTime, Utc};
use laywire_craft::{
    crossing::CrossingState,
    ids::OperationId,
    line::LineState,
    profile::{ProfileFigure, ProfileWarning},
    text::Name,
    units::Metres,
};
use serde::Serialize;
use utoipa::ToSchema;

use super::line::LineProperties;
use crate::{
    Service,
    access::Seat,
    problem::{Problem, ProblemDocument},
};

/// An operation, its lines and their figures.
#[derive(Serialize, ToSchema)]
pub struct Operation {
    /// Its id.
    id: OperationId,
    /// Its name.
    name: Name,
    /// When it was opened.
    opened_at: DateTime<Utc>,
    /// The last number in its wire log.
    sequence: i64,
    /// The service's time, for a device that wants to know how wrong its own is.
    now: DateTime<Utc>,
    /// Its lines.
    lines: Vec<LineFigures>,
    /// The ground that is loaded, if any.
    terrain: Option<Terrain>,
}

/// A line and what is unfinished on it.
#[derive(Serialize, ToSchema)]
pub struct LineFigures {
    /// The line.
    line: LineProperties,
    /// Its id.
    id: laywire_craft::ids::LineId,
    /// Crossings on it that are not struck out.
    crossings: usize,
    /// Those that are foreseen and not yet come to.
    foreseen: usize,
    /// Those that are marked, passed or in hand.
    unfinished: usize,
    /// Those with wire in traffic.
    in_traffic: usize,
    /// Where the first unfinished one is.
    first_unfinished_m: Option<Metres>,
    /// How far it has come.
    state: LineState,
}

/// The ground that is loaded.
#[derive(Serialize, ToSchema)]
pub struct Terrain {
    /// West, south, east, north.
    bounds: [f64; 4],
    /// Changes when another extract is loaded.
    version: String,
    /// Whose the map data is.
    attribution: String,
}

/// The operation, its lines and their figures.
#[utoipa::path(get, path = "/api/operations/{op}", tag = "operation", operation_id = "operation",
    params(("op" = OperationId, Path)),
    responses((status = 200, body = Operation), (status = 401, body = ProblemDocument), (status = 404, body = ProblemDocument)))]
pub async fn operation(
    State(service): State<Arc<Service>>,
    Extension(seat): Extension<Seat>,
) -> Result<Json<Operation>, Problem> {
    let id = seat.0.operation;
    let pool = &service.pool;
    let operation = laywire_store::operation::get(pool, id).await?.ok_or(Problem::NotFound)?;
    let slack_percent = laywire_store::operation::slack_percent(pool, id).await?;
    let lines = laywire_store::lines(pool, id, 0).await?;
    let crossings = laywire_store::crossings(pool, id, 0).await?;
    let figures = lines
        .iter()
        .map(|line| {
            let on: Vec<_> = crossings.iter().map(|c| &c.now).filter(|c| c.line == line.now.id).collect();
            let unfinished: Vec<_> = on.iter().filter(|c| c.state.is_unfinished()).collect();
            LineFigures {
                id: line.now.id,
                line: LineProperties::of(&line.now, slack_percent),
                crossings: on.iter().filter(|c| c.state != CrossingState::StruckOut).count(),
                foreseen: on.iter().filter(|c| c.state == CrossingState::Foreseen).count(),
                unfinished: unfinished.len(),
                in_traffic: unfinished.iter().filter(|c| c.wire_in_traffic()).count(),
                first_unfinished_m: unfinished.iter().map(|c| c.chainage).reduce(Metres::min),
                state: line.now.state,
            }
        })
        .collect();
    Ok(Json(Operation {
        id,
        name: operation.name,
        opened_at: operation.opened_at,
        sequence: operation.sequence,
        now: service.now(),
        lines: figures,
        terrain: terrain(&service).await?,
    }))
}

/// The figures that hold for an operation.
#[derive(Serialize, ToSchema)]
pub struct OperationProfile {
    /// What the unit calls it.
    name: Name,
    /// Every figure with its source.
    figures: Vec<ProfileFigure>,
    /// Where a figure is looser than the built-in one.
    warnings: Vec<ProfileWarning>,
}

/// The figures that hold for the operation, each with its source, and what is looser than the built-in ones. They were
/// given when it was opened and do not change.
#[utoipa::path(get, path = "/api/operations/{op}/profile", tag = "operation", operation_id = "operation_profile",
    params(("op" = OperationId, Path)),
    responses((status = 200, body = OperationProfile), (status = 401, body = ProblemDocument), (status = 404, body = ProblemDocument)))]
pub async fn operation_profile(
    State(service): State<Arc<Service>>,
    Extension(seat): Extension<Seat>,
) -> Result<Json<OperationProfile>, Problem> {
    let profile = laywire_store::operation::profile(&service.pool, seat.0.operation).await?;
    let figures = profile.figures();
    Ok(Json(OperationProfile { name: profile.name, figures, warnings: profile.warnings }))
}

async fn terrain(service: &Service) -> Result<Option<Terrain>, Problem> {
    let extract = laywire_store::terrain::extract(&service.pool).await?;
    Ok(extract.map(|extract| {
        let land = extract.land;
        Terrain {
            bounds: [land.west, land.south, land.east, land.north],
            version: extract.version(),
            attribution: extract.attribution,
        }
    }))
}

/// The last number in the operation's log, read before the state is, so that a feed from there misses nothing.
pub(super) async fn sequence(service: &Service, seat: &Seat) -> Result<i64, Problem> {
    let operation = laywire_store::operation::get(&service.pool, seat.0.operation).await?;
    Ok(operation.ok_or(Problem::NotFound)?.sequence)
}
