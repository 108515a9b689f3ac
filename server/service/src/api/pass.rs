//! Passes: the command post gives them and revokes them.

use std::sync::Arc;

use axum::{
    Extension, Json,
    extract::{Path, State},
    http::StatusCode,
};
use chrono::{DateTime, Utc};
use laywire_craft::{
    duty::Act,
    ids::{OperationId, PassId},
    party::{Party, Sender},
    text::Name,
};
use laywire_store::pass::{self, Pass};
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;
use uuid::Uuid;

use crate::{
    Service,
    access::{Seat, Secret},
    problem::{Problem, ProblemDocument, Sent},
};

/// A pass, without its secret.
#[derive(Serialize, ToSchema)]
pub struct PassFigures {
    /// Its public name.
    id: PassId,
    /// The party that it lets in.
    party: Party,
    /// The call sign.
    team: Name,
    /// When it was given.
    given_at: DateTime<Utc>,
    /// When it was revoked.
    #[schema(required = true)]
    revoked_at: Option<DateTime<Utc>>,
}

impl From<&Pass> for PassFigures {
    fn from(pass: &Pass) -> Self {
        Self {
            id: pass.id,
            party: pass.holder.party,
            team: pass.holder.team.clone(),
            given_at: pass.given_at,
            revoked_at: pass.revoked_at,
        }
    }
}

/// For whom a pass is.
#[derive(Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct NewPass {
    /// The party.
    party: Party,
    /// The call sign.
    team: Name,
}

/// A new pass, with the secret that is shown this once.
#[derive(Serialize, ToSchema)]
pub struct GivenPass {
    /// The secret. It is kept nowhere: write it down or show its QR code now.
    secret: String,
    /// The pass.
    pass: PassFigures,
}

/// The operation's passes, without their secrets.
#[utoipa::path(get, path = "/api/operations/{op}/passes", tag = "passes", operation_id = "passes",
    params(("op" = OperationId, Path)),
    responses((status = 200, body = Vec<PassFigures>), (status = 401, body = ProblemDocument), (status = 403, body = ProblemDocument),
        (status = 404, body = ProblemDocument)))]
pub async fn passes(
    State(service): State<Arc<Service>>,
    Extension(seat): Extension<Seat>,
) -> Result<Json<Vec<PassFigures>>, Problem> {
    seat.must(Act::GivePasses)?;
    let passes = pass::all(&service.pool, seat.0.operation).await?;
    Ok(Json(passes.iter().map(PassFigures::from).collect()))
}

/// Gives a pass.
#[utoipa::path(post, path = "/api/operations/{op}/passes", tag = "passes", operation_id = "give_pass",
    params(("op" = OperationId, Path)), request_body = NewPass,
    responses((status = 201, body = GivenPass), (status = 401, body = ProblemDocument), (status = 403, body = ProblemDocument),
        (status = 404, body = ProblemDocument), (status = 409, body = ProblemDocument), (status = 422, body = ProblemDocument)))]
pub async fn give_pass(
    State(service): State<Arc<Service>>,
    Extension(seat): Extension<Seat>,
    Sent(new): Sent<NewPass>,
) -> Result<(StatusCode, Json<GivenPass>), Problem> {
    seat.must(Act::GivePasses)?;
    let secret = Secret::new();
    let holder = Sender { party: new.party, team: new.team };
    let pass = pass::give(&service.pool, seat.0.operation, &holder, &secret.hash(), service.now()).await?;
    let given = GivenPass { secret: secret.text(), pass: PassFigures::from(&pass) };
    Ok((StatusCode::CREATED, Json(given)))
}

/// Revokes a pass: whoever holds it is out at once.
#[utoipa::path(delete, path = "/api/operations/{op}/passes/{pass}", tag = "passes", operation_id = "revoke_pass",
    params(("op" = OperationId, Path), ("pass" = PassId, Path)),
    responses((status = 204), (status = 401, body = ProblemDocument), (status = 403, body = ProblemDocument),
        (status = 404, body = ProblemDocument)))]
pub async fn revoke_pass(
    State(service): State<Arc<Service>>,
    Extension(seat): Extension<Seat>,
    Path((_, pass)): Path<(String, String)>,
) -> Result<StatusCode, Problem> {
    seat.must(Act::GivePasses)?;
    let id = pass.parse::<Uuid>().map_err(|_| Problem::NotFound)?;
    if !pass::revoke(&service.pool, seat.0.operation, PassId(id), service.now()).await? {
        return Err(Problem::NotFound);
    }
    service.doubt_passes();
    Ok(StatusCode::NO_CONTENT)
}
