//! Crossings: to see them. They change by reports alone.

use std::sync::Arc;

use axum::{Extension, Json, extract::State};
use chrono::{DateTime, Utc};
use laywire_craft::{
    construction::Construction,
    crossing::{Conflict, Crossing, CrossingState, GivenTo, InHand},
    geodesy::Position,
    grid::{GridReference, Precision},
    ids::{CrossingId, LineId, OperationId},
    obstacle::Obstacle,
    text::{Name, Remark},
    units::Metres,
};
use laywire_store::Current;
use serde::Serialize;
use utoipa::ToSchema;

use super::geojson::{self, CollectionType, FeatureType, Point};
use crate::{
    Service,
    access::Seat,
    problem::{Problem, ProblemDocument},
};

/// A crossing as a GeoJSON feature.
#[derive(Serialize, ToSchema)]
pub struct CrossingFeature {
    /// Always `Feature`.
    #[serde(rename = "type")]
    kind: FeatureType,
    /// The crossing.
    id: CrossingId,
    /// Where it is.
    geometry: Point,
    /// Its figures.
    properties: CrossingProperties,
}

/// A crossing's figures.
#[derive(Serialize, ToSchema)]
pub struct CrossingProperties {
    /// The line that it belongs to.
    line: LineId,
    /// How far the work has come.
    state: CrossingState,
    /// How far along the line.
    chainage_m: Metres,
    /// Its grid reference (MGRS, 1 m).
    grid: String,
    /// What is crossed.
    obstacle: Obstacle,
    /// Whether the surface is too hard to dig.
    hard_surface: bool,
    /// How it is crossed.
    #[schema(required = true)]
    construction: Option<Construction>,
    /// Height of the wire's lowest point.
    #[schema(required = true)]
    clearance_m: Option<Metres>,
    /// Depth of a buried wire.
    #[schema(required = true)]
    depth_m: Option<Metres>,
    /// Distance between the ties.
    #[schema(required = true)]
    span_m: Option<Metres>,
    /// Whether wire lies where vehicles or trains run.
    wire_in_traffic: bool,
    /// Items of the lead team's list that it left undone.
    left_undone: Vec<String>,
    /// When it was foreseen or marked.
    #[serde(serialize_with = "super::time::at")]
    opened_at: DateTime<Utc>,
    /// When the wire was got over.
    #[schema(required = true)]
    #[serde(serialize_with = "super::time::perhaps")]
    passed_at: Option<DateTime<Utc>>,
    /// To which follow-up team the command post gave it.
    #[schema(required = true)]
    given_to: Option<GivenTo>,
    /// Who has it in hand.
    #[schema(required = true)]
    in_hand: Option<InHand>,
    /// When it was finished.
    #[schema(required = true)]
    #[serde(serialize_with = "super::time::perhaps")]
    finished_at: Option<DateTime<Utc>>,
    /// By whom.
    #[schema(required = true)]
    finished_by: Option<Name>,
    /// When it was proved.
    #[schema(required = true)]
    #[serde(serialize_with = "super::time::perhaps")]
    proved_at: Option<DateTime<Utc>>,
    /// Why it is crossed so, where somebody chose otherwise than the rules propose.
    #[schema(required = true)]
    because: Option<Remark>,
    /// Why it was struck out.
    #[schema(required = true)]
    struck_out_because: Option<Remark>,
    /// What was told of it by teams that did not know of each other, the latest 20: the log has each.
    conflicts: Vec<Conflict>,
    /// The entry that changed it last.
    changed: i64,
}

/// A place's grid reference, spaced for reading.
pub(super) fn grid(place: Position) -> String {
    GridReference::of(place, Precision::Metre).spaced()
}

impl CrossingFeature {
    pub(super) fn of(c: &Crossing, changed: i64) -> Self {
        Self {
            kind: FeatureType::Feature,
            id: c.id,
            geometry: geojson::point(c.position),
            properties: CrossingProperties {
                line: c.line,
                state: c.state,
                chainage_m: c.chainage,
                grid: grid(c.position),
                obstacle: c.obstacle,
                hard_surface: c.hard_surface,
                construction: c.construction,
                clearance_m: c.clearance,
                depth_m: c.depth,
                span_m: c.span,
                wire_in_traffic: c.wire_in_traffic(),
                left_undone: c.left_undone.clone(),
                opened_at: c.opened_at,
                passed_at: c.passed_at,
                given_to: c.given_to.clone(),
                in_hand: c.in_hand.clone(),
                finished_at: c.finished_at,
                finished_by: c.finished_by.clone(),
                proved_at: c.proved_at,
                because: c.because.clone(),
                struck_out_because: c.struck_out_because.clone(),
                conflicts: c.conflicts.clone(),
                changed,
            },
        }
    }
}

impl From<&Current<Crossing>> for CrossingFeature {
    fn from(current: &Current<Crossing>) -> Self {
        Self::of(&current.now, current.changed)
    }
}

/// Crossings as a GeoJSON collection.
#[derive(Serialize, ToSchema)]
pub struct CrossingCollection {
    /// Always `FeatureCollection`.
    #[serde(rename = "type")]
    kind: CollectionType,
    /// The entry up to which this is the state, at the least: watch the feed from here.
    sequence: i64,
    /// The crossings, along each line.
    features: Vec<CrossingFeature>,
}

/// The crossings of all lines.
#[utoipa::path(get, path = "/api/operations/{op}/crossings", tag = "crossings", operation_id = "crossings",
    params(("op" = OperationId, Path)),
    responses((status = 200, body = CrossingCollection), (status = 401, body = ProblemDocument), (status = 404, body = ProblemDocument)))]
pub async fn crossings(
    State(service): State<Arc<Service>>,
    Extension(seat): Extension<Seat>,
) -> Result<Json<CrossingCollection>, Problem> {
    let sequence = super::operation::sequence(&service, &seat).await?;
    let crossings = laywire_store::crossings(&service.pool, seat.0.operation, 0).await?;
    let features = crossings.iter().map(CrossingFeature::from).collect();
    Ok(Json(CrossingCollection { kind: CollectionType::FeatureCollection, sequence, features }))
}
