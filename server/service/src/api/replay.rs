//! An operation, played again.

use std::sync::Arc;

use axum::{Extension, Json, extract::State};
use laywire_craft::{
    ids::OperationId,
    replay::{self, Replay},
};
use serde::Serialize;
use utoipa::ToSchema;

use super::review::MOST_ENTRIES;
use crate::{
    Service,
    access::Seat,
    problem::{Problem, ProblemDocument},
};

/// An operation's replay, and the entry that it goes up to.
#[derive(Serialize, ToSchema)]
pub struct OperationReplay {
    /// The entry up to which it goes.
    sequence: i64,
    /// The replay.
    #[serde(flatten)]
    replay: Replay,
}

/// The operation, played again: every change of every line and crossing with the number of the entry that made it, so that any
/// moment is shown without asking once more. A moment is the log as it stood after an entry; a correction alters what is shown
/// from its own number on.
#[utoipa::path(get, path = "/api/operations/{op}/replay", tag = "reports", operation_id = "replay",
    params(("op" = OperationId, Path)),
    responses((status = 200, body = OperationReplay), (status = 401, body = ProblemDocument), (status = 404, body = ProblemDocument),
        (status = 422, body = ProblemDocument)))]
pub async fn replay(
    State(service): State<Arc<Service>>,
    Extension(seat): Extension<Seat>,
) -> Result<Json<OperationReplay>, Problem> {
    let operation = seat.0.operation;
    let profile = laywire_store::operation::profile(&service.pool, operation).await?;
    // A long log takes memory and a processor.
    let turn = service.turn().await?;
    let log =
        laywire_store::review::whole_log(&service.pool, operation, MOST_ENTRIES, replay::MOST_POSITIONS)
            .await?;
    let entries = log.ok_or_else(|| Problem::CannotReckon {
        field: None,
        why: format!(
            "the log has more than {MOST_ENTRIES} entries, or more than {} positions in them: export it, and look at it in \
             parts",
            replay::MOST_POSITIONS
        ),
    })?;
    let sequence = entries.last().map_or(0, |entry| entry.sequence);
    let replay =
        turn.reckon(move || replay::replay(&entries, &profile)).await?.map_err(Problem::no_answer)?;
    Ok(Json(OperationReplay { sequence, replay }))
}
