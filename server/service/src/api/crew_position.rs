//! Where crews are, for those who share it. Off until a crew says so, for a time that it gives, and never in the wire log.

use std::sync::Arc;

use axum::{Extension, Json, extract::State, http::StatusCode};
use chrono::{DateTime, TimeDelta, Utc};
use laywire_craft::{
    duty::Act,
    geodesy::Position,
    ids::{OperationId, PassId},
    party::Party,
    text::Name,
    units::Metres,
};
use laywire_store::crew_position;
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

use crate::{
    Service,
    access::Seat,
    problem::{Problem, ProblemDocument, Sent},
};

/// A position is shared for no longer than this without being asked again. Our own choice: a long shift.
pub const LONGEST_MINUTES: u16 = 720;

/// Where a crew was last.
#[derive(Serialize, ToSchema)]
pub struct CrewPosition {
    /// Its pass's public name: a team with two devices is in two places.
    seat: PassId,
    /// Its party.
    party: Party,
    /// Its call sign.
    team: Name,
    /// Where it was.
    position: Position,
    /// How well its receiver knew that; nothing where the crew said it by hand.
    #[schema(required = true)]
    accuracy_m: Option<Metres>,
    /// When, by the service's clock.
    at: DateTime<Utc>,
    /// Until when it is shared.
    until: DateTime<Utc>,
}

impl From<crew_position::CrewPosition> for CrewPosition {
    fn from(crew: crew_position::CrewPosition) -> Self {
        Self {
            seat: crew.pass,
            party: crew.holder.party,
            team: crew.holder.team,
            position: crew.position,
            accuracy_m: crew.accuracy,
            at: crew.at,
            until: crew.until,
        }
    }
}

/// The crews that share where they are.
#[derive(Serialize, ToSchema)]
pub struct Crews {
    /// The service's time, by which the ages are reckoned.
    now: DateTime<Utc>,
    /// By call sign.
    crews: Vec<CrewPosition>,
}

impl Crews {
    pub(crate) fn of(now: DateTime<Utc>, crews: Vec<crew_position::CrewPosition>) -> Self {
        Self { now, crews: crews.into_iter().map(CrewPosition::from).collect() }
    }
}

/// Where I am, and for how long I share it.
#[derive(Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct MyPosition {
    /// Where I am.
    position: Position,
    /// How well the receiver knows that; left out where I said it by hand.
    #[serde(default)]
    accuracy_m: Option<Metres>,
    /// For how many minutes more it is shared: 1 to 720. Then it is forgotten.
    minutes: ShareMinutes,
}

#[derive(Deserialize, ToSchema)]
#[serde(try_from = "u16")]
#[schema(value_type = u16, minimum = 1, maximum = 720)]
struct ShareMinutes(u16);

impl TryFrom<u16> for ShareMinutes {
    type Error = String;
    fn try_from(minutes: u16) -> Result<Self, String> {
        if (1..=LONGEST_MINUTES).contains(&minutes) {
            Ok(Self(minutes))
        } else {
            Err(format!("{minutes}; share for 1 to {LONGEST_MINUTES} minutes, and then again"))
        }
    }
}

/// Where the crews are that share it. An observer does not see it.
#[utoipa::path(get, path = "/api/operations/{op}/positions", tag = "positions", operation_id = "crews",
    params(("op" = OperationId, Path)),
    responses((status = 200, body = Crews), (status = 401, body = ProblemDocument), (status = 403, body = ProblemDocument),
        (status = 404, body = ProblemDocument)))]
pub async fn crews(
    State(service): State<Arc<Service>>,
    Extension(seat): Extension<Seat>,
) -> Result<Json<Crews>, Problem> {
    seat.must(Act::SeeCrews)?;
    let now = service.now();
    let crews = crew_position::shared(&service.pool, seat.0.operation, None, now).await?;
    Ok(Json(Crews::of(now, crews)))
}

/// Shares where I am, with the command post and the teams, in place of what I shared before. It is written over, never
/// collected, and forgotten when its minutes are up. At most once in ten seconds a pass.
#[utoipa::path(put, path = "/api/operations/{op}/positions/mine", tag = "positions", operation_id = "share_position",
    params(("op" = OperationId, Path)), request_body = MyPosition,
    responses((status = 204), (status = 400, body = ProblemDocument), (status = 401, body = ProblemDocument),
        (status = 403, body = ProblemDocument), (status = 404, body = ProblemDocument), (status = 422, body = ProblemDocument),
        (status = 429, body = ProblemDocument)))]
pub async fn share_position(
    State(service): State<Arc<Service>>,
    Extension(seat): Extension<Seat>,
    Sent(mine): Sent<MyPosition>,
) -> Result<StatusCode, Problem> {
    seat.must(Act::SharePosition)?;
    let now = service.now();
    let until = now + TimeDelta::minutes(mine.minutes.0.into());
    if !crew_position::share(&service.pool, &seat.0, mine.position, mine.accuracy_m, now, until).await? {
        return Err(Problem::TooSoon { wait_s: crew_position::OFTENEST.num_seconds() });
    }
    Ok(StatusCode::NO_CONTENT)
}

/// Shares where I am no more: it is forgotten at once.
#[utoipa::path(delete, path = "/api/operations/{op}/positions/mine", tag = "positions", operation_id = "stop_sharing",
    params(("op" = OperationId, Path)),
    responses((status = 204), (status = 401, body = ProblemDocument), (status = 403, body = ProblemDocument),
        (status = 404, body = ProblemDocument)))]
pub async fn stop_sharing(
    State(service): State<Arc<Service>>,
    Extension(seat): Extension<Seat>,
) -> Result<StatusCode, Problem> {
    seat.must(Act::SharePosition)?;
    crew_position::stop(&service.pool, &seat.0, service.now()).await?;
    Ok(StatusCode::NO_CONTENT)
}
