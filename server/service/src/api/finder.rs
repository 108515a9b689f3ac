//! The finder of a trace: between two ends over the terrain, two ways side by side. Asking changes nothing.

use std::sync::Arc;

use axum::{Extension, Json, extract::State};
use geojson::GeometryValue;
use laywire_craft::{
    finder::{self, Costs, FinderError, Price, Sought, WhyOneOnly},
    foreseen::Foreseen,
    geodesy::Position,
    ids::OperationId,
    plan::{Plan, PlanFigures},
    trace::Trace,
};
use laywire_store::foreseen;
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

use super::plan::MapUsed;
use crate::{
    Service,
    access::Seat,
    problem::{Problem, ProblemDocument, Sent},
};

/// What is sought.
#[derive(Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct TraceQuestion {
    /// The near end.
    from: Position,
    /// The far end; no more than 60 km away, by way of the places between.
    to: Position,
    /// Places to go by, in their order.
    #[serde(default)]
    #[schema(max_items = 10)]
    via: Vec<Position>,
    /// Areas to keep out of.
    #[serde(default)]
    #[schema(value_type = Vec<NotHere>, max_items = 20)]
    not_here: Vec<geojson::Geometry>,
    /// What the trace is judged by: as another answer has it, and altered; left out, by the operation's profile, by day and on foot.
    #[serde(default)]
    costs: Option<Costs>,
}

/// A GeoJSON polygon, WGS 84: its shape in the OpenAPI document.
#[derive(ToSchema)]
pub struct NotHere {
    /// Always `Polygon`.
    #[schema(rename = "type", pattern = "^Polygon$")]
    #[allow(dead_code, reason = "a shape for the document")]
    kind: String,
    /// One ring of 4 to 200 positions, the first of which is the last.
    #[allow(dead_code, reason = "a shape for the document")]
    coordinates: Vec<Vec<Position>>,
}

/// A trace that was found.
#[derive(Serialize, ToSchema)]
pub struct FoundTrace {
    /// Where the wire may go.
    trace: Trace,
    /// What it costs by the model, item by item.
    price: Price,
    /// What it takes if each crossing is built as proposed.
    #[schema(required = true)]
    figures: Option<PlanFigures>,
    /// What it will meet.
    foreseen: Foreseen,
}

/// What was found.
#[derive(Serialize, ToSchema)]
pub struct FoundTraces {
    /// The map.
    map: MapUsed,
    /// What the traces were judged by.
    costs: Costs,
    /// One or two, the cheaper first.
    traces: Vec<FoundTrace>,
    /// Why there is one only.
    #[schema(required = true)]
    why_one_only: Option<WhyOneOnly>,
}

fn cannot(error: &FinderError) -> Problem {
    Problem::CannotReckon { field: error.field(), why: error.to_string() }
}

/// Finds a trace between two ends, and another way if there is one: the soonest by the cost model, which keeps off carriageways,
/// rails, water and power lines. What the map does not show it does not know.
#[utoipa::path(post, path = "/api/operations/{op}/traces", tag = "planning", operation_id = "find_traces",
    params(("op" = OperationId, Path)), request_body = TraceQuestion,
    responses((status = 200, body = FoundTraces), (status = 401, body = ProblemDocument), (status = 404, body = ProblemDocument),
        (status = 413, body = ProblemDocument), (status = 422, body = ProblemDocument)))]
pub async fn find_traces(
    State(service): State<Arc<Service>>,
    Extension(seat): Extension<Seat>,
    Sent(question): Sent<TraceQuestion>,
) -> Result<Json<FoundTraces>, Problem> {
    let not_here = question.not_here.into_iter().enumerate().map(ring).collect::<Result<_, _>>()?;
    let sought = Sought { from: question.from, to: question.to, via: question.via, not_here };
    let area = sought.area().map_err(|error| cannot(&error))?;
    let profile = laywire_store::operation::profile(&service.pool, seat.0.operation).await?;
    let costs = question.costs.unwrap_or_else(|| Costs::of(&profile));
    costs.check().map_err(Problem::no_answer)?;
    if !costs.whole() {
        let what = "give each obstacle once, as another answer has them".to_owned();
        return Err(Problem::Malformed { field: "costs.crossings".to_owned(), what });
    }
    // A search holds a processor for a second or two: the rest of the service goes on beside it.
    let turn = service.turn().await?;
    let (ground, map) = foreseen::ground_in(&service.pool, area).await?;
    let map = map.ok_or_else(|| Problem::CannotReckon {
        field: None,
        why: "no map is loaded, and without one no trace can be found: load an extract, or draw it"
            .to_owned(),
    })?;
    let asked = costs.clone();
    let answer = turn.reckon(move || finder::find(&sought, &ground, &asked)).await?;
    let answer = answer.map_err(|error| cannot(&error))?;
    let mut traces = Vec::with_capacity(answer.found.len());
    for found in answer.found {
        let met = foreseen::foreseen(&service.pool, found.trace.clone(), profile.clone()).await?;
        let figures = Plan::proposed(found.trace.clone(), &met.foreseen).figures(&profile).ok();
        traces.push(FoundTrace { trace: found.trace, price: found.price, figures, foreseen: met.foreseen });
    }
    Ok(Json(FoundTraces { map: map.into(), costs, traces, why_one_only: answer.why_one_only }))
}

/// A polygon's ring, without the place that closes it.
fn ring((number, area): (usize, geojson::Geometry)) -> Result<Vec<Position>, Problem> {
    let malformed = |what: String| Problem::Malformed { field: format!("not_here[{number}]"), what };
    let GeometryValue::Polygon { coordinates } = area.value else {
        return Err(malformed(format!("a Polygon is wanted here and this is a {}", area.value.type_name())));
    };
    let [ring] = coordinates.as_slice() else {
        return Err(malformed("give a polygon of one ring, without holes".to_owned()));
    };
    if ring.len() < 4 || ring.first() != ring.last() {
        return Err(malformed("a ring has four positions or more, and its last is its first".to_owned()));
    }
    let places = ring[1..].iter().map(|position| match *position.as_slice() {
        [lon, lat] | [lon, lat, _] => Position::new(lon, lat).map_err(|wrong| malformed(wrong.to_string())),
        _ => Err(malformed("a position is not two or three numbers".to_owned())),
    });
    places.collect()
}
