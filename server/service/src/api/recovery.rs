//! Lines that are taken up, and the books of stores.

use std::{collections::HashMap, sync::Arc};

use axum::{
    Extension, Json,
    extract::{Path, State},
};
use laywire_craft::{
    crossing::{Crossing, CrossingState},
    geodesy::Position,
    ids::{CrossingId, LineId},
    line::LineState,
    line_wire,
    recovery::{self, Recovery},
    stores::{self, Stores},
    units::Metres,
};
use serde::Serialize;
use utoipa::ToSchema;

use super::line::with_crossings;
use crate::{
    Service,
    access::Seat,
    problem::{Problem, ProblemDocument},
};

/// A stretch where wire still lies.
#[derive(Serialize, ToSchema)]
pub struct LyingStretch {
    /// Its near end, along the line.
    from_m: Metres,
    /// Its far end, along the line.
    to_m: Metres,
    /// Its near end on the ground.
    #[schema(required = true)]
    from: Option<Position>,
    /// Its far end on the ground.
    #[schema(required = true)]
    to: Option<Position>,
}

/// How far a line is taken up.
#[derive(Serialize, ToSchema)]
pub struct LineRecovery {
    /// The entry up to which this is the state, at the least.
    sequence: i64,
    /// How far the line has come.
    state: LineState,
    /// The order, what came up, what did not come back, and what was made good.
    recovery: Recovery,
    /// Where wire still lies.
    lying: Vec<LyingStretch>,
    /// Crossings that the wire went over and that are not made good again.
    to_make_good: Vec<CrossingId>,
}

/// How far the line is taken up: the order, sections, what was lost or left, what still lies, and which crossings are still
/// to be made good.
#[utoipa::path(get, path = "/api/operations/{op}/lines/{line}/recovery", tag = "recovery", operation_id = "line_recovery",
    params(("op" = laywire_craft::ids::OperationId, Path), ("line" = LineId, Path)),
    responses((status = 200, body = LineRecovery), (status = 401, body = ProblemDocument), (status = 404, body = ProblemDocument)))]
pub async fn line_recovery(
    State(service): State<Arc<Service>>,
    Extension(seat): Extension<Seat>,
    Path((_, line)): Path<(String, String)>,
) -> Result<Json<LineRecovery>, Problem> {
    let sequence = super::operation::sequence(&service, &seat).await?;
    let (line, crossings) = with_crossings(&service, &seat, &line).await?;
    let lying = recovery::lying(&line).into_iter().map(|stretch| LyingStretch {
        from_m: stretch.from,
        to_m: stretch.to,
        from: line_wire::position(&line, stretch.from),
        to: line_wire::position(&line, stretch.to),
    });
    let built = |crossing: &&Crossing| {
        crossing.passed_at.is_some()
            && crossing.state != CrossingState::StruckOut
            && !line.recovery.made_good.iter().any(|made| made.crossing == crossing.id)
    };
    Ok(Json(LineRecovery {
        sequence,
        state: line.state,
        lying: lying.collect(),
        to_make_good: crossings.iter().filter(built).map(|crossing| crossing.id).collect(),
        recovery: line.recovery,
    }))
}

/// The books of the operation.
#[derive(Serialize, ToSchema)]
pub struct OperationStores {
    /// The entry up to which this is the state, at the least.
    sequence: i64,
    /// The books.
    #[serde(flatten)]
    stores: Stores,
}

/// The books of stores: what was issued on each reel lies, is still on it, came back, or is lost; what is missing is told.
#[utoipa::path(get, path = "/api/operations/{op}/stores", tag = "recovery", operation_id = "stores",
    params(("op" = laywire_craft::ids::OperationId, Path)),
    responses((status = 200, body = OperationStores), (status = 401, body = ProblemDocument), (status = 404, body = ProblemDocument),
        (status = 422, body = ProblemDocument)))]
pub async fn stores(
    State(service): State<Arc<Service>>,
    Extension(seat): Extension<Seat>,
) -> Result<Json<OperationStores>, Problem> {
    let sequence = super::operation::sequence(&service, &seat).await?;
    let operation = seat.0.operation;
    let lines = laywire_store::lines(&service.pool, operation, 0).await?;
    let mut of: HashMap<LineId, Vec<Crossing>> = HashMap::new();
    for crossing in laywire_store::crossings(&service.pool, operation, 0).await? {
        of.entry(crossing.now.line).or_default().push(crossing.now);
    }
    let profile = laywire_store::operation::profile(&service.pool, operation).await?;
    let books = tokio::task::spawn_blocking(move || {
        let lines: Vec<_> = lines
            .into_iter()
            .map(|line| {
                let crossings = of.remove(&line.now.id).unwrap_or_default();
                (line.now, crossings)
            })
            .collect();
        stores::balance(&lines, &profile)
    });
    let stores = books.await.map_err(|_| Problem::Internal)?.map_err(Problem::no_answer)?;
    Ok(Json(OperationStores { sequence, stores }))
}
