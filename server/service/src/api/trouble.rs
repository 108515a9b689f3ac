//! A line's trouble: its signs, the stretch that is left to search, and where and how to test next.

use std::sync::Arc;

use axum::{
    Extension, Json,
    extract::{Path, State},
};
use chrono::{DateTime, Utc};
use laywire_craft::{
    proving::Trouble,
    trouble::{self, TroubleGuide},
    units::Minutes,
};
use serde::Serialize;
use utoipa::ToSchema;

use super::line::with_crossings;
use crate::{
    Service,
    access::Seat,
    problem::{Problem, ProblemDocument},
};

/// A line's trouble.
#[derive(Serialize, ToSchema)]
pub struct LineTrouble {
    /// The entry up to which this is the state, at the least.
    sequence: i64,
    /// The trouble that is not cleared; null when there is none.
    #[schema(required = true)]
    open: Option<Trouble>,
    /// What to do about it.
    #[schema(required = true)]
    guide: Option<TroubleGuide>,
    /// The grid reference of the next test.
    #[schema(required = true)]
    next_grid: Option<String>,
    /// The grid reference of the stretch's near end.
    #[schema(required = true)]
    from_grid: Option<String>,
    /// The grid reference of the stretch's far end.
    #[schema(required = true)]
    to_grid: Option<String>,
    /// Since when nobody can speak over the line.
    #[schema(required = true)]
    silent_since: Option<DateTime<Utc>>,
    /// The time that nobody could speak over it, until now.
    without_communication_min: Minutes,
    /// Troubles that are cleared, the newest last; at most 50.
    cleared: Vec<Trouble>,
}

/// What is wrong with the line: what the signs point at, the stretch that is left to search, and where and how to test next.
#[utoipa::path(get, path = "/api/operations/{op}/lines/{line}/trouble", tag = "proving", operation_id = "line_trouble",
    params(("op" = laywire_craft::ids::OperationId, Path), ("line" = laywire_craft::ids::LineId, Path)),
    responses((status = 200, body = LineTrouble), (status = 401, body = ProblemDocument), (status = 404, body = ProblemDocument)))]
pub async fn line_trouble(
    State(service): State<Arc<Service>>,
    Extension(seat): Extension<Seat>,
    Path((_, line)): Path<(String, String)>,
) -> Result<Json<LineTrouble>, Problem> {
    let sequence = super::operation::sequence(&service, &seat).await?;
    let (line, crossings) = with_crossings(&service, &seat, &line).await?;
    let profile = laywire_store::operation::profile(&service.pool, seat.0.operation).await?;
    let open = line.proving.trouble().cloned();
    let tags = super::proof::tags(&service, &seat, &line, &crossings, &profile).await?;
    let guide = open.as_ref().map(|open| trouble::guide(&line, &crossings, &tags, &profile, open));
    let next = guide.as_ref().and_then(|guide| guide.next.as_ref()?.position);
    let (from, to) = (guide.as_ref().and_then(|guide| guide.from), guide.as_ref().and_then(|guide| guide.to));
    Ok(Json(LineTrouble {
        sequence,
        open,
        guide,
        next_grid: next.map(super::crossing::grid),
        from_grid: from.map(super::crossing::grid),
        to_grid: to.map(super::crossing::grid),
        silent_since: line.proving.silent_since,
        without_communication_min: line.proving.silent(service.now()),
        cleared: line.proving.troubles.into_iter().filter(|trouble| !trouble.is_open()).collect(),
    }))
}
