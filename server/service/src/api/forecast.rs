//! When a line will be through and finished: from how it stands, or from one of its saved plans before the start.

use std::sync::Arc;

use axum::{
    Extension, Json,
    extract::{Path, State},
};
use chrono::{DateTime, Utc};
use laywire_craft::{
    forecast::{self, Answer, Breaks, Input, LeadTeams, Order, SeveralAnswer, Shown},
    ids::{LineId, OperationId},
    line_wire::PacePlan,
    pace,
    plan::PlanVersion,
    review,
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

/// By which light a line shall be forecast.
#[derive(Clone, Copy, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum ForecastLight {
    /// As the sun rises and sets there.
    Sun,
    /// By day throughout.
    Day,
    /// At night throughout.
    Night,
}

impl From<pace::Light> for ForecastLight {
    fn from(light: pace::Light) -> Self {
        match light {
            pace::Light::Day => Self::Day,
            pace::Light::Night => Self::Night,
        }
    }
}

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
    /// By which light; unless given, as the sun rises and sets there, and for a plan by the plan's.
    #[param(inline, value_type = Option<ForecastLight>)]
    light: Option<ForecastLight>,
    /// What carries the lead team's reels; the crew unless given, and for a plan what the plan has.
    #[param(inline, value_type = Option<pace::Means>)]
    lead_means: Option<pace::Means>,
    /// What carries the follow-up teams; nothing unless given, and for a plan what the plan has.
    #[param(inline, value_type = Option<pace::Means>)]
    follow_up_means: Option<pace::Means>,
    /// When the lead team sets out, as a time in UTC; now unless given. Not of a line that is begun.
    set_out_at: Option<DateTime<Utc>>,
    /// How long after the lead team the follow-up teams set out, in minutes from 0 to 10,000; at once unless given, and for a
    /// plan as it has it.
    #[param(value_type = Option<f64>, minimum = 0, maximum = 10_000)]
    follow_up_after_min: Option<Minutes>,
    /// After how much work each team rests, in minutes from 30 to 1,440; no rests unless given. Give it with
    /// `break_length_min`.
    #[param(value_type = Option<f64>, minimum = 30, maximum = 1_440)]
    break_after_min: Option<Minutes>,
    /// For how long it rests, in minutes from 0 to 1,440.
    #[param(value_type = Option<f64>, minimum = 0, maximum = 1_440)]
    break_length_min: Option<Minutes>,
    /// Who lays several lines: each its own lead team unless given. On one line alone it alters nothing.
    #[serde(default)]
    #[param(inline, value_type = Option<LeadTeams>)]
    lead_teams: LeadTeams,
    /// How often it is played through, from 1 to 5,000; 1,000 unless given, and less of many lines with many crossings.
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

impl Ask {
    fn breaks(&self) -> Result<Option<Breaks>, Problem> {
        let half = |field: &str| Problem::CannotReckon {
            field: Some(field.to_owned()),
            why: "rests want both figures: give break_after_min and break_length_min, or neither".to_owned(),
        };
        match (self.break_after_min, self.break_length_min) {
            (Some(after_min), Some(length_min)) => Ok(Some(Breaks { after_min, length_min })),
            (None, None) => Ok(None),
            (None, Some(_)) => Err(half("break_after_min")),
            (Some(_), None) => Err(half("break_length_min")),
        }
    }

    /// What the question leaves open is as `open` and `light` have it.
    fn asked(
        &self,
        now: DateTime<Utc>,
        open: PacePlan,
        light: ForecastLight,
    ) -> Result<forecast::Asked, Problem> {
        let light = self.light.unwrap_or(light);
        let plan = PacePlan {
            light: match light {
                ForecastLight::Sun | ForecastLight::Day => pace::Light::Day,
                ForecastLight::Night => pace::Light::Night,
            },
            lead_means: self.lead_means.unwrap_or(open.lead_means),
            follow_up_means: self.follow_up_means.unwrap_or(open.follow_up_means),
            follow_up_after: self.follow_up_after_min.or(open.follow_up_after),
        };
        Ok(forecast::Asked {
            plan,
            follow_up_teams: self.follow_up_teams.unwrap_or(1),
            order: self.order,
            now,
            set_out_at: self.set_out_at,
            breaks: self.breaks()?,
            under_the_sun: matches!(light, ForecastLight::Sun),
            runs: self.runs.unwrap_or(USUAL_RUNS),
            seed: self.seed,
        })
    }

    /// Of lines as they stand, under the sun unless the question has another light.
    fn of_lines(&self, now: DateTime<Utc>) -> Result<forecast::Asked, Problem> {
        self.asked(now, PacePlan::default(), ForecastLight::Sun)
    }
}

/// A line's forecast, from how it stands or from a plan of it.
#[derive(Serialize, ToSchema)]
pub struct LineForecast {
    /// The entry that it stands on; a plan's stands on none, and this is the last when it was reckoned.
    sequence: i64,
    /// What its teams have shown so far; before the start, nothing.
    shown: Shown,
    /// The question that was put to the forecast: alter it and put it again.
    asked: Input,
    /// The forecast.
    forecast: Answer,
}

/// The forecast of an operation's lines, from how they stand.
#[derive(Serialize, ToSchema)]
pub struct OperationForecast {
    /// The entry that it stands on.
    sequence: i64,
    /// The forecast.
    #[serde(flatten)]
    forecast: SeveralAnswer,
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
    let asked = ask.of_lines(service.now())?;
    let profile = laywire_store::operation::profile(&service.pool, seat.0.operation).await?;
    let Hindsight { sequence, entries, stands } = super::review::read(&service, &seat, Some(id)).await?;
    if !stands.lines.contains_key(&id) {
        return Err(Problem::NotFound);
    }
    let answer = service.turn().await?.reckon(move || {
        let review = review::review(&entries, &stands, &profile, asked.plan);
        let (Some(line), Some(reviewed)) = (stands.lines.get(&id), review.lines.first()) else {
            return Err(Problem::Internal);
        };
        let crossings: Vec<_> = stands.crossings.into_map().into_values().collect();
        let (input, shown) =
            forecast::from_line(line, &crossings, reviewed, &profile, asked).map_err(Problem::no_answer)?;
        let answer = forecast::reckon(&input).map_err(Problem::no_answer)?;
        Ok((shown, input, answer))
    });
    let (shown, asked, forecast) = answer.await??;
    Ok(Json(LineForecast { sequence, shown, asked, forecast }))
}

/// When a line would be through and finished by one of its saved plans, issued or not, before the start: with the plan's trace,
/// crossings, constructions, light and means unless the question says otherwise, and what would help.
#[utoipa::path(get, path = "/api/operations/{op}/lines/{line}/plans/{version}/forecast", tag = "planning", operation_id = "plan_forecast",
    params(("op" = OperationId, Path), ("line" = LineId, Path), ("version" = PlanVersion, Path), Ask),
    responses((status = 200, body = LineForecast), (status = 400, body = ProblemDocument), (status = 401, body = ProblemDocument),
        (status = 404, body = ProblemDocument), (status = 422, body = ProblemDocument)))]
pub async fn plan_forecast(
    State(service): State<Arc<Service>>,
    Extension(seat): Extension<Seat>,
    Path((_, line, version)): Path<(String, String, String)>,
    Asked(ask): Asked<Ask>,
) -> Result<Json<LineForecast>, Problem> {
    let id = LineId(line.parse::<Uuid>().map_err(|_| Problem::NotFound)?);
    let (_, plan) = super::saved_plan::find(&service, &seat, id, &version).await?;
    let asked = ask.asked(service.now(), plan.pace_plan(), plan.light.into())?;
    let operation = laywire_store::operation::get(&service.pool, seat.0.operation).await?;
    let sequence = operation.ok_or(Problem::NotFound)?.sequence;
    let profile = laywire_store::operation::profile(&service.pool, seat.0.operation).await?;
    let answer = service.turn().await?.reckon(move || {
        let (input, shown) = forecast::from_plan(&plan, &profile, asked).map_err(Problem::no_answer)?;
        let answer = forecast::reckon(&input).map_err(Problem::no_answer)?;
        Ok::<_, Problem>((shown, input, answer))
    });
    let (shown, asked, forecast) = answer.await??;
    Ok(Json(LineForecast { sequence, shown, asked, forecast }))
}

/// When each line that is not proved yet, nor ordered up, and all of them will be through and finished from how they stand
/// now, and what would help: the follow-up teams share what waits on all lines. At most 50 lines, with at most 1,000 crossings.
#[utoipa::path(get, path = "/api/operations/{op}/forecast", tag = "lines", operation_id = "operation_forecast",
    params(("op" = OperationId, Path), Ask),
    responses((status = 200, body = OperationForecast), (status = 400, body = ProblemDocument), (status = 401, body = ProblemDocument),
        (status = 404, body = ProblemDocument), (status = 422, body = ProblemDocument)))]
pub async fn operation_forecast(
    State(service): State<Arc<Service>>,
    Extension(seat): Extension<Seat>,
    Asked(ask): Asked<Ask>,
) -> Result<Json<OperationForecast>, Problem> {
    let asked = ask.of_lines(service.now())?;
    let profile = laywire_store::operation::profile(&service.pool, seat.0.operation).await?;
    // A long log takes memory and a processor.
    let turn = service.turn().await?;
    let Hindsight { sequence, entries, stands } = super::review::read(&service, &seat, None).await?;
    let answer = turn.reckon(move || {
        let lines = review::review(&entries, &stands, &profile, asked.plan).lines;
        let several = forecast::from_lines(&stands, &lines, &profile, asked, ask.runs, ask.lead_teams)
            .map_err(Problem::no_answer)?;
        forecast::reckon_several(&several).map_err(Problem::no_answer)
    });
    let forecast = answer.await??;
    Ok(Json(OperationForecast { sequence, forecast }))
}
