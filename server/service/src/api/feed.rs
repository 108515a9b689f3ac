//! The feed's route.

use std::{convert::Infallible, sync::Arc, time::Duration};

use axum::{
    Extension,
    extract::State,
    http::{HeaderMap, HeaderName, HeaderValue},
    response::{
        IntoResponse, Response,
        sse::{Event, KeepAlive, Sse},
    },
};
use futures::Stream;
use laywire_craft::ids::OperationId;
use serde::Deserialize;
use utoipa::IntoParams;

use crate::{
    Service,
    access::Seat,
    feed::News,
    problem::{Asked, Problem, ProblemDocument},
};

/// From where to watch.
#[derive(Deserialize, IntoParams)]
#[serde(deny_unknown_fields)]
#[into_params(parameter_in = Query)]
pub struct Ask {
    /// The number of the last entry that the browser has; the header Last-Event-ID says the same and goes before it.
    /// Left out: only what comes from now on.
    #[param(minimum = 0)]
    after: Option<i64>,
    /// Which pass to speak with, in a browser that holds several.
    #[allow(dead_code, reason = "read where passes are checked")]
    seat: Option<String>,
}

/// Watches the wire log as server-sent events. `start` says from where; each `entry` has its number as the event's id and
/// its data is the entry with the lines and crossings that it changed last; `resync` says that the browser is too far
/// behind: read lines and crossings anew, the feed goes on from the number given. `crews` and `crew` have no id, since they
/// are no part of the log: where all the crews are that share it, and news of one.
#[utoipa::path(get, path = "/api/operations/{op}/feed", tag = "feed", operation_id = "feed",
    params(("op" = OperationId, Path), Ask, ("Last-Event-ID" = Option<i64>, Header)),
    responses((status = 200, description = "a stream of `start`, `entry`, `resync`, `crews` and `crew` events; an entry's data is News, that of `crews` is Crews and that of `crew` is CrewNews", body = News, content_type = "text/event-stream"),
        (status = 400, body = ProblemDocument), (status = 401, body = ProblemDocument), (status = 404, body = ProblemDocument)))]
pub async fn feed(
    State(service): State<Arc<Service>>,
    Extension(seat): Extension<Seat>,
    headers: HeaderMap,
    Asked(ask): Asked<Ask>,
) -> Result<Response, Problem> {
    let last =
        headers.get("last-event-id").and_then(|value| value.to_str().ok()).and_then(|text| text.parse().ok());
    let after: Option<i64> = last.or(ask.after);
    if after.is_some_and(|after| after < 0) {
        return Err(Problem::Query("after: a number from 0".to_owned()));
    }
    let stream = service.feeds.watch(seat.0, after).await?;
    Ok(answer(stream))
}

fn answer(stream: impl Stream<Item = Result<Event, Infallible>> + Send + 'static) -> Response {
    let alive = KeepAlive::new().interval(Duration::from_secs(15));
    let mut response = Sse::new(stream).keep_alive(alive).into_response();
    // Some reverse proxies hold a stream back until it ends, unless they are told.
    let unheld = HeaderName::from_static("x-accel-buffering");
    response.headers_mut().insert(unheld, HeaderValue::from_static("no"));
    response
}
