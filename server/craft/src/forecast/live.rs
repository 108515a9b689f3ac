//! A forecast's question from how a line stands, corrected by what its teams have shown so far, or from a plan of it of which
//! nothing is begun.

use chrono::{DateTime, Utc};
use serde::Serialize;
use utoipa::ToSchema;

use super::{Breaks, Done, Input, Order, SoFar, Spread, Standing, UnderTheSun};
use crate::{
    bounds::NoAnswer,
    crossing::{Crossing, CrossingState},
    geodesy::Position,
    line::{Line, LineState},
    line_wire::{self, LineWire, PacePlan},
    pace,
    plan::Plan,
    profile::Profile,
    review::LineReview,
    text::Name,
    units::{Metres, Minutes, Times},
};

/// An hour as planned counts as much as an hour that was shown: a first crossing that went wrong is no forecast.
const AS_PLANNED_MIN: f64 = 60.0;
/// What was shown counts no more than this, nor less than its inverse.
const MOST_SHOWN: f64 = 4.0;

/// How a line shall be forecast.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Asked {
    /// Light, if the sun is not asked, and means.
    pub plan: PacePlan,
    /// Follow-up teams, from 1 to 20.
    pub follow_up_teams: u8,
    /// What a follow-up team that is free goes to.
    pub order: Order,
    /// The moment.
    pub now: DateTime<Utc>,
    /// When the lead team sets out, where that is not now; of what is not begun yet.
    pub set_out_at: Option<DateTime<Utc>>,
    /// Rests, if any.
    pub breaks: Option<Breaks>,
    /// Whether it grows dark and light as it does there. Else the plan's light holds.
    pub under_the_sun: bool,
    /// How often it is played through.
    pub runs: u32,
    /// What chance begins with.
    pub seed: u32,
}

/// How many times as long as planned the teams have shown to take, an hour as planned counted with it.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, ToSchema)]
#[schema(as = ForecastShown)]
pub struct Shown {
    /// The lead team, from its start to the last crossing that it passed, in minutes.
    pub lead_min: Minutes,
    /// The same as planned.
    pub lead_planned_min: Minutes,
    /// How many times as long is reckoned with.
    pub lead_times: Times,
    /// The follow-up teams, at the crossings that they have finished, in minutes.
    pub follow_up_min: Minutes,
    /// The same as planned.
    pub follow_up_planned_min: Minutes,
    /// How many times as long is reckoned with.
    pub follow_up_times: Times,
}

impl Shown {
    /// Before the start.
    const NOTHING: Self = Self {
        lead_min: Minutes::ZERO,
        lead_planned_min: Minutes::ZERO,
        lead_times: Times::from_const(1.0),
        follow_up_min: Minutes::ZERO,
        follow_up_planned_min: Minutes::ZERO,
        follow_up_times: Times::from_const(1.0),
    };
}

/// Why a line has no forecast.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum NotForeseen {
    /// Its time cannot be planned.
    #[error(transparent)]
    Line(#[from] line_wire::Error),
    /// All is done.
    #[error("the line is {0}: there is nothing left to forecast; see the review")]
    Done(LineState),
    /// It is asked from another moment than now, and the teams are under way.
    #[error("the line was begun at {}: leave set_out_at out, and it is forecast from now on", started_at.format("%Y-%m-%d %H:%M UTC"))]
    Begun {
        /// When.
        started_at: DateTime<Utc>,
    },
}

impl NoAnswer for NotForeseen {
    fn field(&self) -> Option<String> {
        match self {
            Self::Line(error) => error.field(),
            Self::Done(_) => None,
            Self::Begun { .. } => Some("set_out_at".to_owned()),
        }
    }
}

fn times(shown: Minutes, planned: Minutes) -> Times {
    let times = (shown.value() + AS_PLANNED_MIN) / (planned.value() + AS_PLANNED_MIN);
    Times::bounded(times.clamp(1.0 / MOST_SHOWN, MOST_SHOWN))
}

/// The minutes from one moment to a later one; none where they are the other way about.
pub(crate) fn minutes(from: DateTime<Utc>, to: DateTime<Utc>) -> Option<Minutes> {
    #[allow(clippy::cast_precision_loss, reason = "milliseconds of an operation")]
    let ms = (to - from).num_milliseconds() as f64;
    Minutes::new(ms / 60_000.0).ok()
}

/// What the teams have shown so far: the lead team up to the last crossing that it passed, the follow-up teams at what they
/// have finished, as the log's review has it. What times run backwards is left out.
#[must_use]
pub fn shown(line: &Line, crossings: &[Crossing], reckoned: &LineWire, review: &LineReview) -> Shown {
    let passed = crossings.iter().filter(|crossing| crossing.state != CrossingState::StruckOut);
    let last = passed.filter_map(|crossing| Some((crossing.passed_at?, crossing.id))).max();
    let planned_at = |id| {
        let number = reckoned.crossings.iter().position(|crossing| crossing.crossing == id)?;
        reckoned.pace.crossings.iter().find(|at| at.crossing == number).map(|at| at.passed_min)
    };
    let lead = last.and_then(|(at, id)| Some((minutes(line.started_at?, at)?, planned_at(id)?)));
    let (lead_min, lead_planned_min) = lead.unwrap_or((Minutes::ZERO, Minutes::ZERO));
    let mut follow_up = (Minutes::ZERO, Minutes::ZERO);
    for crossing in &review.crossings {
        if let (Some(shown), Some(planned)) = (crossing.finishing.value, crossing.finishing_planned_min) {
            follow_up = (follow_up.0 + shown, follow_up.1 + planned);
        }
    }
    Shown {
        lead_min,
        lead_planned_min,
        lead_times: times(lead_min, lead_planned_min),
        follow_up_min: follow_up.0,
        follow_up_planned_min: follow_up.1,
        follow_up_times: times(follow_up.0, follow_up.1),
    }
}

/// What each team that has nothing in hand finished last, the latest first.
pub(super) fn last_finished<'a>(crossings: impl Iterator<Item = &'a Crossing>) -> Vec<&'a Crossing> {
    let crossings: Vec<&Crossing> = crossings.collect();
    let busy = |team: &Name| {
        crossings.iter().any(|crossing| crossing.in_hand.as_ref().is_some_and(|held| held.team == *team))
    };
    let mut finished = crossings.clone();
    finished.retain(|crossing| crossing.finished_at.is_some());
    finished.sort_by_key(|crossing| std::cmp::Reverse(crossing.finished_at));
    let mut known = Vec::new();
    finished.retain(|crossing| match &crossing.finished_by {
        Some(team) if !known.contains(&team) && !busy(team) => {
            known.push(team);
            true
        }
        _ => false,
    });
    finished
}

/// The question of a line as it stands at a moment, and what its teams have shown.
///
/// # Errors
/// A line that is proved already, or one longer or with more crossings than the reckonings take.
pub fn from_line(
    line: &Line,
    crossings: &[Crossing],
    review: &LineReview,
    profile: &Profile,
    asked: Asked,
) -> Result<(Input, Shown), NotForeseen> {
    if matches!(line.state, LineState::Proved | LineState::HandedOver | LineState::Recovered) {
        return Err(NotForeseen::Done(line.state));
    }
    if let (Some(_), Some(started_at)) = (asked.set_out_at, line.started_at) {
        return Err(NotForeseen::Begun { started_at });
    }
    let reckoned = line_wire::reckon(line, crossings, profile, asked.plan)?;
    let shown = shown(line, crossings, &reckoned, review);
    let length: Metres = reckoned.asked_pace.legs.iter().map(|leg| leg.length_m).sum();
    let of = |id| crossings.iter().find(|crossing| crossing.id == id);
    let standing = reckoned.crossings.iter().enumerate().filter_map(|(number, placed)| {
        let crossing = of(placed.crossing)?;
        crossing.passed_at?;
        let (done, for_min) = match (crossing.state, &crossing.in_hand) {
            (CrossingState::Finished | CrossingState::Proved, _) => (Done::Finished, Minutes::ZERO),
            (CrossingState::InHand, Some(held)) => {
                (Done::InHand, minutes(held.since, asked.now).unwrap_or(Minutes::ZERO))
            }
            _ => (Done::Passed, Minutes::ZERO),
        };
        let for_min = if for_min.value() > 10_000.0 { Minutes::from_const(10_000.0) } else { for_min };
        Some(Standing { crossing: number, done, for_min })
    });
    let standing: Vec<Standing> = standing.collect();
    let most = usize::from(asked.follow_up_teams);
    let at = |crossing: &Crossing| crossing.chainage.max(Metres::ZERO).min(length);
    let teams_at_m = last_finished(crossings.iter()).into_iter().take(most).map(at).collect();
    let begun = line.started_at.is_some();
    let mut work = reckoned.asked_pace;
    // Who is under way already does not set out later.
    if !standing.is_empty() {
        work.follow_up_after_min = Minutes::ZERO;
    }
    let planned = line.planned.as_ref().and_then(|trace| trace.positions().first());
    let place = line.laid.last().or(planned).copied();
    let so_far = begun.then_some(SoFar {
        laid_m: line.laid_length.min(length),
        through: line.through_at.is_some(),
        crossings: standing,
        teams_at_m,
        lead_times: shown.lead_times,
        follow_up_times: shown.follow_up_times,
    });
    Ok((Input { so_far, ..question(work, place, asked) }, shown))
}

/// The question of a plan from its start on, whatever its line has come to: what that line's is once the plan is issued and
/// before anything is laid. The ways to culverts and bridges that the plan knows are drawn too, which the line does not keep.
/// How many people the plan has alters nothing: no reckoning of time goes by that.
///
/// # Errors
/// A trace longer, or with more crossings, than the reckonings take.
pub fn from_plan(plan: &Plan, profile: &Profile, asked: Asked) -> Result<(Input, Shown), NotForeseen> {
    let work = plan.reckon(profile, asked.plan)?.asked_pace;
    Ok((question(work, plan.trace.positions().first().copied(), asked), Shown::NOTHING))
}

/// The question of a line's work of which nothing is done.
fn question(work: pace::Input, place: Option<Position>, asked: Asked) -> Input {
    let from = asked.set_out_at.unwrap_or(asked.now);
    Input {
        line: work,
        follow_up_teams: asked.follow_up_teams,
        order: asked.order,
        spread: Spread::default(),
        sun: place.filter(|_| asked.under_the_sun).map(|place| UnderTheSun { from, place }),
        breaks: asked.breaks,
        so_far: None,
        runs: asked.runs,
        seed: asked.seed,
        try_helps: true,
    }
}
