//! Coming in with a pass, and going out.

use std::sync::Arc;

use axum::{
    Extension, Json,
    extract::State,
    http::{StatusCode, header},
    response::{AppendHeaders, IntoResponse},
};
use laywire_craft::{
    ids::{OperationId, PassId},
    party::Party,
    text::Name,
};
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

use crate::{
    Service,
    access::{Seat, Secret, cookie_name, pass_of},
    problem::{Problem, ProblemDocument, Sent},
    way::Way,
};

/// A pass that somebody typed or scanned.
#[derive(Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct Join {
    /// The secret; case, blanks and dashes do not matter.
    #[schema(max_length = 112)]
    pass: String,
}

/// Who is in, and where.
#[derive(Serialize, ToSchema)]
pub struct Session {
    /// The operation.
    operation: OperationId,
    /// The operation's name.
    operation_name: Name,
    /// The party.
    party: Party,
    /// The call sign.
    team: Name,
    /// The pass's public name: says which of several passes a page speaks with.
    seat: PassId,
}

async fn session_of(service: &Service, seat: &Seat) -> Result<Session, Problem> {
    let pass = &seat.0;
    let operation =
        laywire_store::operation::get(&service.pool, pass.operation).await?.ok_or(Problem::NotFound)?;
    Ok(Session {
        operation: pass.operation,
        operation_name: operation.name,
        party: pass.holder.party,
        team: pass.holder.team.clone(),
        seat: pass.id,
    })
}

/// Lets a browser in: the pass goes into an HttpOnly cookie.
#[utoipa::path(post, path = "/api/session", tag = "session", operation_id = "join", security(()),
    request_body = Join,
    responses((status = 200, body = Session), (status = 401, body = ProblemDocument), (status = 422, body = ProblemDocument)))]
pub async fn join(
    State(service): State<Arc<Service>>,
    Extension(way): Extension<Way>,
    Sent(join): Sent<Join>,
) -> Result<impl IntoResponse, Problem> {
    let secret = Secret::typed(&join.pass).ok_or(Problem::NoPass)?;
    let pass = pass_of(&service, &secret).await?;
    let cookie = cookie(way, &cookie_name(&pass), &secret.text(), 60 * 60 * 24 * 60);
    let session = session_of(&service, &Seat(pass)).await?;
    Ok((AppendHeaders([(header::SET_COOKIE, cookie)]), Json(session)))
}

/// Says who is in.
#[utoipa::path(get, path = "/api/session", tag = "session", operation_id = "session",
    responses((status = 200, body = Session), (status = 401, body = ProblemDocument)))]
pub async fn session(
    State(service): State<Arc<Service>>,
    Extension(seat): Extension<Seat>,
) -> Result<Json<Session>, Problem> {
    session_of(&service, &seat).await.map(Json)
}

/// Goes out: the cookie is taken away, and a position that was shared is forgotten. The pass stays good.
#[utoipa::path(delete, path = "/api/session", tag = "session", operation_id = "leave",
    responses((status = 204), (status = 401, body = ProblemDocument)))]
pub async fn leave(
    State(service): State<Arc<Service>>,
    Extension(way): Extension<Way>,
    Extension(seat): Extension<Seat>,
) -> Result<impl IntoResponse, Problem> {
    // Whoever goes out is not followed on the others' maps.
    laywire_store::crew_position::stop(&service.pool, &seat.0, service.now()).await?;
    let cookie = cookie(way, &cookie_name(&seat.0), "", 0);
    Ok((StatusCode::NO_CONTENT, AppendHeaders([(header::SET_COOKIE, cookie)])))
}

fn cookie(way: Way, name: &str, value: &str, seconds: u32) -> String {
    let secure = if way.secure { "; Secure" } else { "" };
    format!("{name}={value}; Path=/api; HttpOnly; SameSite=Strict; Max-Age={seconds}{secure}")
}
