//! Lines: to see them and to add one.

use std::sync::Arc;

use axum::{
    Extension, Json,
    extract::{Path, State},
    http::StatusCode,
};
use chrono::{DateTime, Utc};
use laywire_craft::{
    crossing::Crossing,
    duty::Act,
    fault::{self, FaultAnswer, FaultInput},
    geodesy::Position,
    ids::{CrossingId, LineId, OperationId, ReportId},
    line::{CallBack, Designation, Line, LineState, Reel, Splice},
    line_wire::{self, LineWire, PacePlan},
    pace,
    plan::PlanVersion,
    proving::{ProofLost, Watch},
    recovery::OrderedUp,
    report::{Body, Kind, LinePlanned, Report},
    text::Name,
    units::{Metres, Minutes},
};
use laywire_store::{Current, log::Outcome};
use serde::{Deserialize, Serialize};
use utoipa::{IntoParams, ToSchema};
use uuid::Uuid;

use super::geojson::{self, CollectionType, FeatureType, LineString};
use crate::{
    Service,
    access::Seat,
    problem::{Asked, Problem, ProblemDocument, Sent},
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
    /// Which of its saved plans its trace is; null where it was only drawn.
    #[schema(required = true)]
    plan: Option<PlanVersion>,
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
    /// The proof that does not hold any more, and why.
    #[schema(required = true)]
    proof_lost: Option<ProofLost>,
    /// Who watches it, until the switchboard's crew comes.
    #[schema(required = true)]
    watch: Option<Watch>,
    /// Since when it is in trouble; null when it is in none.
    #[schema(required = true)]
    in_trouble_since: Option<DateTime<Utc>>,
    /// Time without communication that is over, in minutes.
    silent_min: Minutes,
    /// Since when nobody can speak over it; null when somebody can.
    #[schema(required = true)]
    silent_since: Option<DateTime<Utc>>,
    /// The order to take it up.
    #[schema(required = true)]
    ordered_up: Option<OrderedUp>,
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
            plan: line.plan,
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
            proof_lost: line.proving.proof_lost.clone(),
            watch: line.proving.watch.clone(),
            in_trouble_since: line.proving.trouble().and_then(|trouble| Some(trouble.told.first()?.at)),
            silent_min: line.proving.silent_min,
            silent_since: line.proving.silent_since,
            ordered_up: line.recovery.ordered_up.clone(),
        }
    }
}

impl LineFeature {
    /// The whole line.
    #[must_use]
    pub fn whole(line: &Current<Line>, slack_percent: u8) -> Self {
        let mut feature = Self::without_geometry(line, slack_percent);
        feature.geometry = line.now.planned.as_ref().map(geojson::line);
        feature.properties.laid = Some(line.now.laid.to_vec());
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
    let slack_percent = laywire_store::operation::slack_percent(&service.pool, seat.0.operation).await?;
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
        clock_offset_ms: None,
        made_by: None,
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
    let slack_percent = laywire_store::operation::slack_percent(&service.pool, pass.operation).await?;
    let added = lines.iter().find(|l| l.now.id == line).ok_or(Problem::Internal)?;
    Ok((StatusCode::CREATED, Json(LineFeature::whole(added, slack_percent))))
}

/// How the line's time shall be planned.
#[derive(Deserialize, IntoParams)]
#[serde(deny_unknown_fields)]
#[into_params(parameter_in = Query)]
pub struct Planned {
    /// By which light; by day unless given.
    #[serde(default)]
    #[param(inline, value_type = Option<pace::Light>)]
    light: pace::Light,
    /// What carries the lead team's reels; the crew unless given.
    #[serde(default)]
    #[param(inline, value_type = Option<pace::Means>)]
    lead_means: pace::Means,
    /// What carries the follow-up team; nothing unless given.
    #[serde(default)]
    #[param(inline, value_type = Option<pace::Means>)]
    follow_up_means: pace::Means,
    /// How long after the lead team the follow-up team sets out, in minutes from 0 to 10,000; at once unless given.
    #[param(value_type = Option<f64>, minimum = 0, maximum = 10_000)]
    follow_up_after_min: Option<Minutes>,
    /// Which pass to speak with, in a browser that holds several.
    #[allow(dead_code, reason = "read where passes are checked")]
    seat: Option<String>,
}

/// A line's wire and time, and the entry that they stand on.
#[derive(Serialize, ToSchema)]
pub struct LineReckoning {
    /// The entry up to which this is the state, at the least.
    sequence: i64,
    /// Its wire and time.
    #[serde(flatten)]
    reckoned: LineWire,
}

/// A line's wire by item, where no splice may fall, what is laid of it, and how long it takes.
#[utoipa::path(get, path = "/api/operations/{op}/lines/{line}/wire", tag = "lines", operation_id = "line_wire",
    params(("op" = OperationId, Path), ("line" = LineId, Path), Planned),
    responses((status = 200, body = LineReckoning), (status = 400, body = ProblemDocument), (status = 401, body = ProblemDocument),
        (status = 404, body = ProblemDocument), (status = 422, body = ProblemDocument)))]
pub async fn line_wire(
    State(service): State<Arc<Service>>,
    Extension(seat): Extension<Seat>,
    Path((_, line)): Path<(String, String)>,
    Asked(planned): Asked<Planned>,
) -> Result<Json<LineReckoning>, Problem> {
    let sequence = super::operation::sequence(&service, &seat).await?;
    let (line, crossings) = with_crossings(&service, &seat, &line).await?;
    let plan = PacePlan {
        light: planned.light,
        lead_means: planned.lead_means,
        follow_up_means: planned.follow_up_means,
        follow_up_after: planned.follow_up_after_min,
    };
    let profile = laywire_store::operation::profile(&service.pool, seat.0.operation).await?;
    let reckoned = line_wire::reckon(&line, &crossings, &profile, plan).map_err(Problem::no_answer)?;
    Ok(Json(LineReckoning { sequence, reckoned }))
}

/// Where a fault of the line lies.
#[derive(Serialize, ToSchema)]
pub struct LineFault {
    /// The answer; its `ground` is there always.
    answer: FaultAnswer,
    /// The line's crossings, in the order in which the answer counts them.
    crossings: Vec<CrossingId>,
    /// Where it is reckoned to lie.
    #[schema(required = true)]
    at: Option<Position>,
    /// The near end of the stretch to look in.
    #[schema(required = true)]
    from: Option<Position>,
    /// The far end of the stretch to look in.
    #[schema(required = true)]
    to: Option<Position>,
}

/// Where a fault of this line lies, from readings at the ends: along the wire, and on the ground by what the line is known
/// to be. The question is that of `/api/reckon/fault` without `line`.
#[utoipa::path(post, path = "/api/operations/{op}/lines/{line}/fault", tag = "lines", operation_id = "line_fault",
    params(("op" = OperationId, Path), ("line" = LineId, Path)), request_body = FaultInput,
    responses((status = 200, body = LineFault), (status = 401, body = ProblemDocument), (status = 404, body = ProblemDocument),
        (status = 422, body = ProblemDocument)))]
pub async fn line_fault(
    State(service): State<Arc<Service>>,
    Extension(seat): Extension<Seat>,
    Path((_, line)): Path<(String, String)>,
    Sent(mut input): Sent<FaultInput>,
) -> Result<Json<LineFault>, Problem> {
    if input.line.is_some() {
        let what = "the line is the one in the address: leave this out".to_owned();
        return Err(Problem::Malformed { field: "line".to_owned(), what });
    }
    let (line, crossings) = with_crossings(&service, &seat, &line).await?;
    let profile = laywire_store::operation::profile(&service.pool, seat.0.operation).await?;
    let (record, crossings) = line_wire::record(&line, &crossings, &profile);
    input.line = Some(record);
    let answer = fault::reckon(&input).map_err(Problem::no_answer)?;
    let place = |of: fn(&fault::GroundStretch) -> Metres| {
        answer.ground.as_ref().and_then(|ground| line_wire::position(&line, of(ground)))
    };
    let (at, from, to) = (place(|g| g.chainage_m), place(|g| g.from_chainage_m), place(|g| g.to_chainage_m));
    Ok(Json(LineFault { answer, crossings, at, from, to }))
}

/// The line in the address, and its crossings.
pub(super) async fn with_crossings(
    service: &Service,
    seat: &Seat,
    line: &str,
) -> Result<(Line, Vec<Crossing>), Problem> {
    let line = line.parse::<Uuid>().map_err(|_| Problem::NotFound)?;
    let found = laywire_store::line_with_crossings(&service.pool, seat.0.operation, LineId(line)).await?;
    found.ok_or(Problem::NotFound)
}
