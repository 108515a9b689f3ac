//! The follow-up team's queue.

use std::sync::Arc;

use axum::{Extension, extract::State, http::header, response::IntoResponse};
use chrono::{DateTime, Utc};
use laywire_craft::{
    geodesy::{self, Position},
    ids::{LineId, OperationId},
    line::Designation,
    pace::Means,
    units::{Degrees, Metres, Minutes},
};
use laywire_store::queue::{self, MOST};
use serde::{Deserialize, Serialize};
use utoipa::{IntoParams, ToSchema};

use super::crossing::CrossingFeature;
use crate::{
    Service,
    access::Seat,
    problem::{Asked, Problem, ProblemDocument},
};

/// By what the queue is ordered.
#[derive(Debug, Clone, Copy, Default, Deserialize, Serialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum Order {
    /// By distance over the ground.
    #[default]
    Near,
    /// By distance along the line.
    Along,
    /// Wire in traffic first, then by distance over the ground.
    Hazard,
    /// By the minutes of travel along roads, tracks and paths, of the 100 nearest over the ground.
    Road,
}

/// Where the team stands and what it asks for.
#[derive(Deserialize, IntoParams)]
#[serde(deny_unknown_fields)]
#[into_params(parameter_in = Query)]
pub struct Ask {
    /// Where the team stands: longitude, latitude.
    #[param(value_type = String, example = "-4.6350,54.0950")]
    from: Stand,
    /// By what to order.
    #[serde(default)]
    order: Order,
    /// How many, 1 to 100.
    #[serde(default)]
    #[param(value_type = Option<u16>, minimum = 1, maximum = 100)]
    limit: Limit,
    /// By what means the team goes by road.
    #[serde(default)]
    by: Means,
    /// The line to go along.
    line: Option<LineId>,
    /// Which pass to speak with, in a browser that holds several.
    #[allow(dead_code, reason = "read where passes are checked")]
    seat: Option<String>,
}

#[derive(Deserialize)]
#[serde(try_from = "String")]
struct Stand(Position);

impl TryFrom<String> for Stand {
    type Error = String;
    fn try_from(text: String) -> Result<Self, String> {
        let (lon, lat) =
            text.split_once(',').ok_or("two numbers with a comma between them: longitude, latitude")?;
        let number = |part: &str| {
            part.trim().parse::<f64>().map_err(|_| "longitude and latitude are numbers".to_owned())
        };
        Position::new(number(lon)?, number(lat)?).map(Self).map_err(|error| error.to_string())
    }
}

#[derive(Deserialize)]
#[serde(try_from = "u16")]
struct Limit(u16);

impl Default for Limit {
    fn default() -> Self {
        Self(20)
    }
}

impl TryFrom<u16> for Limit {
    type Error = String;
    fn try_from(limit: u16) -> Result<Self, String> {
        if (1..=MOST).contains(&limit) { Ok(Self(limit)) } else { Err(format!("{limit}; give 1 to {MOST}")) }
    }
}

/// The queue.
#[derive(Serialize, ToSchema)]
pub struct Queue {
    /// Where the team stands.
    from: Position,
    /// By what it is ordered.
    order: Order,
    /// The unfinished crossings, the first to do first.
    waiting: Vec<Waiting>,
}

/// One unfinished crossing.
#[derive(Serialize, ToSchema)]
pub struct Waiting {
    /// How far it is: over the ground, or along the line or by road when the order says so.
    distance_m: Metres,
    /// How long it is by road, in minutes; null in another order, and where no way was found.
    #[schema(required = true)]
    travel_min: Option<Minutes>,
    /// In which direction, clockwise from true north.
    direction_deg: Degrees,
    /// The same as one of eight points of the compass.
    compass: &'static str,
    /// The number of its line.
    designation: Designation,
    /// Since when it has stood open: passed, or else marked.
    #[serde(serialize_with = "super::time::at")]
    open_since: DateTime<Utc>,
    /// The crossing.
    crossing: CrossingFeature,
}

/// The unfinished crossings, nearest first.
#[utoipa::path(get, path = "/api/operations/{op}/queue", tag = "crossings", operation_id = "queue",
    params(("op" = OperationId, Path), Ask),
    responses((status = 200, body = Queue), (status = 400, body = ProblemDocument), (status = 401, body = ProblemDocument),
        (status = 404, body = ProblemDocument), (status = 422, body = ProblemDocument)))]
pub async fn queue(
    State(service): State<Arc<Service>>,
    Extension(seat): Extension<Seat>,
    Asked(ask): Asked<Ask>,
) -> Result<impl IntoResponse, Problem> {
    let from = ask.from.0;
    let (pool, operation, limit) = (&service.pool, seat.0.operation, ask.limit.0);
    let waiting = match ask.order {
        Order::Near => queue::queue(pool, operation, from, queue::Order::Near, ask.line, limit).await?,
        Order::Along => queue::queue(pool, operation, from, queue::Order::Along, ask.line, limit).await?,
        Order::Hazard => queue::queue(pool, operation, from, queue::Order::Hazard, ask.line, limit).await?,
        Order::Road => queue::by_road(pool, operation, from, ask.by, limit).await?,
    };
    let waiting = waiting.into_iter().map(|w| Waiting {
        distance_m: w.distance,
        travel_min: w.travel.map(|travel| travel.travel_min),
        direction_deg: w.direction,
        compass: geodesy::compass_point(w.direction),
        designation: w.designation,
        open_since: w.crossing.passed_at.unwrap_or(w.crossing.opened_at),
        crossing: CrossingFeature::of(&w.crossing, w.changed),
    });
    let queue = Queue { from, order: ask.order, waiting: waiting.collect() };
    // In one piece of about the right size: it is asked for more often than anything else.
    let mut answer = Vec::with_capacity(200 + 1_000 * queue.waiting.len());
    serde_json::to_writer(&mut answer, &queue).map_err(|error| {
        tracing::error!(%error, "the queue cannot be written");
        Problem::Internal
    })?;
    Ok(([(header::CONTENT_TYPE, "application/json")], answer))
}
