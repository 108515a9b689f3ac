//! Lines: to see them and to add one.

use std::sync::Arc;

use axum::{Extension, Json, extract::State, http::StatusCode};
use chrono::{DateTime, Utc};
use laywire_craft::{
    duty::Act,
    geodesy::Position,
    ids::{LineId, OperationId, ReportId},
    line::{CallBack, Designation, Line, LineState, Reel, Splice},
    report::{Body, Kind, LinePlanned, Report},
    text::Name,
    units::Metres,
};
use laywire_store::{Current, log::Outcome};
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;
use uuid::Uuid;

use super::geojson::{self, CollectionType, FeatureType, LineString};
use crate::{
    Service,
    access::Seat,
    problem::{Problem, ProblemDocument, Sent},
};

/// A line as a GeoJSON feature. Its geometry is where it shall go; where it lies is in `laid`.
#[derive(Serialize, ToSchema)]
pub struct LineFeature {
    /// Always `Feature`.
    #[serde(rename = "type")]
    kind: FeatureType,
    /// The line.
    id: LineId,
    /// The planned trace.
    #[schema(required = true, value_type = Option<LineString>)]
    geometry: Option<::geojson::Geometry>,
    /// Its figures.
    properties: LineProperties,
}

/// A line's figures.
#[derive(Serialize, ToSchema)]
pub struct LineProperties {
    /// Its number, the same from end to end.
    designation: Designation,
    /// The near end.
    from: Name,
    /// The far end.
    to: Name,
    /// How far it has come.
    state: LineState,
    /// The team that lays it.
    #[schema(required = true)]
    team: Option<Name>,
    /// What lies, and what the plan still wants.
    length_m: Metres,
    /// What lies.
    laid_length_m: Metres,
    /// Where it lies, from the near end; left out in the feed, where the entry has the positions that were added.
    #[serde(skip_serializing_if = "Option::is_none")]
    laid: Option<Vec<Position>>,
    /// The laying head.
    #[schema(required = true)]
    head: Option<Position>,
    /// The laying head's grid reference.
    #[schema(required = true)]
    head_grid: Option<String>,
    /// Reels, in the order in which they were begun.
    reels: Vec<Reel>,
    /// About what is left on the reel in use, with the usual slack.
    #[schema(required = true)]
    reel_left_m: Option<Metres>,
    /// Splices.
    splices: Vec<Splice>,
    /// Good calls, the last 200.
    call_backs: Vec<CallBack>,
    /// When the laying began.
    #[schema(required = true)]
    started_at: Option<DateTime<Utc>>,
    /// When a call came from the far end.
    #[schema(required = true)]
    through_at: Option<DateTime<Utc>>,
    /// When it was proved.
    #[schema(required = true)]
    proved_at: Option<DateTime<Utc>>,
    /// When it was handed over.
    #[schema(required = true)]
    handed_over_at: Option<DateTime<Utc>>,
    /// To whom.
    #[schema(required = true)]
    handed_over_to: Option<Name>,
}

impl LineProperties {
    /// A line's figures, without where it lies.
    #[must_use]
    pub fn of(line: &Line, slack_percent: u8) -> Self {
        let head = line.laid.last().copied();
        Self {
            designation: line.designation.clone(),
            from: line.from.clone(),
            to: line.to.clone(),
            state: line.state,
            team: line.team.clone(),
            length_m: line.length(),
            laid_length_m: line.laid_length,
            laid: None,
            head,
            head_grid: head.map(super::crossing::grid),
            reels: line.reels.clone(),
            reel_left_m: line.left_on_reel(slack_percent),
            splices: line.splices.clone(),
            call_backs: line.call_backs.clone(),
            started_at: line.started_at,
            through_at: line.through_at,
            proved_at: line.proved_at,
            handed_over_at: line.handed_over_at,
            handed_over_to: line.handed_over_to.clone(),
        }
    }
}

impl LineFeature {
    /// The whole line.
    #[must_use]
    pub fn whole(line: &Current<Line>, slack_percent: u8) -> Self {
        let mut feature = Self::without_geometry(line, slack_percent);
        feature.geometry = line.now.planned.as_ref().map(geojson::line);
        feature.properties.laid = Some(line.now.laid.clone());
        feature
    }

    /// The line's figures alone.
    #[must_use]
    pub fn without_geometry(line: &Current<Line>, slack_percent: u8) -> Self {
        Self {
            kind: FeatureType::Feature,
            id: line.now.id,
            geometry: None,
            properties: LineProperties::of(&line.now, slack_percent),
        }
    }
}

/// Lines as a GeoJSON collection.
#[derive(Serialize, ToSchema)]
pub struct LineCollection {
    /// Always `FeatureCollection`.
    #[serde(rename = "type")]
    kind: CollectionType,
    /// The entry up to which this is the state, at the least: watch the feed from here.
    sequence: i64,
    /// The lines, by their numbers.
    features: Vec<LineFeature>,
}

/// The lines and their traces.
#[utoipa::path(get, path = "/api/operations/{op}/lines", tag = "lines", operation_id = "lines",
    params(("op" = OperationId, Path)),
    responses((status = 200, body = LineCollection), (status = 401, body = ProblemDocument), (status = 404, body = ProblemDocument)))]
pub async fn lines(
    State(service): State<Arc<Service>>,
    Extension(seat): Extension<Seat>,
) -> Result<Json<LineCollection>, Problem> {
    let sequence = super::operation::sequence(&service, &seat).await?;
    let lines = laywire_store::lines(&service.pool, seat.0.operation, 0).await?;
    let profile = laywire_store::operation::profile(&service.pool, seat.0.operation).await?;
    let slack_percent = profile.wire.slack.value;
    let features = lines.iter().map(|line| LineFeature::whole(line, slack_percent)).collect();
    Ok(Json(LineCollection { kind: CollectionType::FeatureCollection, sequence, features }))
}

/// A line to be added, as a GeoJSON feature. Foreign members beside these are not looked at, as RFC 7946 has it.
#[derive(Deserialize, ToSchema)]
pub struct NewLine {
    /// Always `Feature`.
    #[serde(rename = "type")]
    #[allow(dead_code, reason = "reading it is the check that it is there and says Feature")]
    kind: FeatureType,
    /// The line's id, if the sender has made one; the same id sent again adds nothing.
    #[serde(default)]
    id: Option<LineId>,
    /// Where it shall go: a LineString, or null for a line without a plan.
    #[schema(required = true, value_type = Option<LineString>)]
    geometry: Option<::geojson::Geometry>,
    /// What it is called.
    properties: NewLineProperties,
}

/// What a line to be added is called.
#[derive(Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct NewLineProperties {
    /// Its number.
    designation: Designation,
    /// The near end.
    from: Name,
    /// The far end.
    to: Name,
}

/// Adds a line. It is the report `line_planned` in another shape, and stands in the log as that.
#[utoipa::path(post, path = "/api/operations/{op}/lines", tag = "lines", operation_id = "plan_line",
    params(("op" = OperationId, Path)), request_body = NewLine,
    responses((status = 201, body = LineFeature), (status = 401, body = ProblemDocument), (status = 403, body = ProblemDocument),
        (status = 404, body = ProblemDocument), (status = 409, body = ProblemDocument), (status = 422, body = ProblemDocument)))]
pub async fn plan_line(
    State(service): State<Arc<Service>>,
    Extension(seat): Extension<Seat>,
    Sent(new): Sent<NewLine>,
) -> Result<(StatusCode, Json<LineFeature>), Problem> {
    seat.must(Act::Report(Kind::LinePlanned))?;
    let trace = new
        .geometry
        .map(geojson::trace)
        .transpose()
        .map_err(|what| Problem::Malformed { field: "geometry".to_owned(), what })?;
    let line = new.id.unwrap_or_else(|| LineId(Uuid::now_v7()));
    let now = service.now();
    let report = Report {
        id: ReportId(Uuid::now_v7()),
        at: now,
        position: None,
        body: Body::LinePlanned(LinePlanned {
            line,
            designation: new.properties.designation,
            from: new.properties.from,
            to: new.properties.to,
            trace,
        }),
    };
    let pass = &seat.0;
    let outcomes =
        laywire_store::log::record(&service.pool, pass.operation, &pass.holder, vec![report], now).await?;
    if let Some((_, Outcome::Refused(refusal))) = outcomes.into_iter().next() {
        return Err(Problem::Refused(Box::new(refusal)));
    }
    let lines = laywire_store::lines(&service.pool, pass.operation, 0).await?;
    let slack_percent =
        laywire_store::operation::profile(&service.pool, pass.operation).await?.wire.slack.value;
    let added = lines.iter().find(|l| l.now.id == line).ok_or(Problem::Internal)?;
    Ok((StatusCode::CREATED, Json(LineFeature::whole(added, slack_percent))))
}
