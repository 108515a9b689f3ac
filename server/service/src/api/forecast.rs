//! When a line will be through and finished: from a plan, or from how it stands.

use std::sync::Arc;

use axum::{
    Extension, Json,
    extract::{Path, State},
};
use laywire_craft::{
    forecast::{self, Answer, Input, Order, Shown},
    ids::{LineId, OperationId},
    line_wire::PacePlan,
    pace, review,
    units::Minutes,
};
use laywire_store::review::Hindsight;
use serde::{Deserialize, Serialize};
use utoipa::{IntoParams, ToSchema};
use uuid::Uuid;

use crate::{
    Service,
    access::Seat,
    problem::{Asked, Problem, ProblemDocument, Sent},
};

/// Runs unless the question says how many.
const USUAL_RUNS: u32 = 1_000;

/// How the line shall be forecast.
#[derive(Deserialize, IntoParams)]
#[serde(deny_unknown_fields)]
#[into_params(parameter_in = Query)]
pub struct Ask {
    /// Follow-up teams that share the work, from 1 to 20; 1 unless given.
    #[param(minimum = 1, maximum = 20)]
    follow_up_teams: Option<u8>,
    /// What a follow-up team that is free goes to; the next along the wire unless given.
    #[serde(default)]
    #[param(inline, value_type = Option<Order>)]
    order: Order,
    /// By which light throughout; unless given, as the sun rises and sets there from now on.
    #[param(inline, value_type = Option<pace::Light>)]
    light: Option<pace::Light>,
    /// What carries the lead team's reels; the crew unless given.
    #[serde(default)]
    #[param(inline, value_type = Option<pace::Means>)]
    lead_means: pace::Means,
    /// What carries the follow-up teams; nothing unless given.
    #[serde(default)]
    #[param(inline, value_type = Option<pace::Means>)]
    follow_up_means: pace::Means,
    /// How long after the lead team the follow-up teams set out, in minutes from 0 to 10,000; at once unless given.
    #[param(value_type = Option<f64>, minimum = 0, maximum = 10_000)]
    follow_up_after_min: Option<Minutes>,
    /// How often it is played through, from 1 to 5,000; 1,000 unless given.
    #[param(minimum = 1, maximum = 5_000)]
    runs: Option<u32>,
    /// What chance begins with; 0 unless given.
    #[serde(default)]
    #[param(value_type = Option<u32>)]
    seed: u32,
    /// Which pass to speak with, in a browser that holds several.
    #[allow(dead_code, reason = "read where passes are checked")]
    seat: Option<String>,
}

/// A line's forecast from how it stands.
#[derive(Serialize, ToSchema)]
pub struct LineForecast {
    /// The entry that it stands on.
    sequence: i64,
    /// What its teams have shown so far.
    shown: Shown,
    /// The question that was put to the forecast: alter it and put it again.
    asked: Input,
    /// The forecast.
    forecast: Answer,
}

/// When a line will be through and finished in half and in nine of ten runs, and what would help.
#[utoipa::path(post, path = "/api/reckon/forecast", tag = "reckoning", operation_id = "reckon_forecast",
    request_body = Input,
    responses((status = 200, body = Answer), (status = 401, body = ProblemDocument), (status = 422, body = ProblemDocument)))]
pub async fn reckon_forecast(
    State(service): State<Arc<Service>>,
    Sent(input): Sent<Input>,
) -> Result<Json<Answer>, Problem> {
    let answer = service.turn().await?.reckon(move || forecast::reckon(&input)).await?;
    answer.map(Json).map_err(Problem::no_answer)
}

/// When a line will be through and finished from how it stands now, by what its teams have shown so far, and what would
/// help.
#[utoipa::path(get, path = "/api/operations/{op}/lines/{line}/forecast", tag = "lines", operation_id = "line_forecast",
    params(("op" = OperationId, Path), ("line" = LineId, Path), Ask),
    responses((status = 200, body = LineForecast), (status = 400, body = ProblemDocument), (status = 401, body = ProblemDocument),
        (status = 404, body = ProblemDocument), (status = 422, body = ProblemDocument)))]
pub async fn line_forecast(
    State(service): State<Arc<Service>>,
    Extension(seat): Extension<Seat>,
    Path((_, line)): Path<(String, String)>,
    Asked(ask): Asked<Ask>,
) -> Result<Json<LineForecast>, Problem> {
    let id = LineId(line.parse::<Uuid>().map_err(|_| Problem::NotFound)?);
    let profile = laywire_store::operation::profile(&service.pool, seat.0.operation).await?;
    let Hindsight { sequence, entries, stands } = super::review::read(&service, &seat, Some(id)).await?;
    if !stands.lines.contains_key(&id) {
        return Err(Problem::NotFound);
    }
    let plan = PacePlan {
        light: ask.light.unwrap_or_default(),
        lead_means: ask.lead_means,
        follow_up_means: ask.follow_up_means,
        follow_up_after: ask.follow_up_after_min,
    };
    let asked = forecast::Asked {
        plan,
        follow_up_teams: ask.follow_up_teams.unwrap_or(1),
        order: ask.order,
        now: service.now(),
        under_the_sun: ask.light.is_none(),
        runs: ask.runs.unwrap_or(USUAL_RUNS),
        seed: ask.seed,
    };
    let answer = service.turn().await?.reckon(move || {
        let review = review::review(&entries, &stands, &profile, plan);
        let (Some(line), Some(reviewed)) = (stands.lines.get(&id), review.lines.first()) else {
            return Err(Problem::Internal);
        };
        let crossings: Vec<_> = stands.crossings.into_values().collect();
        let (input, shown) =
            forecast::from_line(line, &crossings, reviewed, &profile, asked).map_err(Problem::no_answer)?;
        let answer = forecast::reckon(&input).map_err(Problem::no_answer)?;
        Ok((shown, input, answer))
    });
    let (shown, asked, forecast) = answer.await??;
    Ok(Json(LineForecast { sequence, shown, asked, forecast }))
}
