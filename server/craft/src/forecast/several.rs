//! Several lines in one forecast: each has a lead team of its own or one lays them one after the other, and one set of
//! follow-up teams shares what waits on all of them. One line is the special case, to the last figure.
//!
//! A team that goes from one line to another follows the wire back to the near end, and goes straight to the other's near
//! end where the two lie apart: by road it is further. It all grows dark as it does where the first of the lines is.

use chrono::{DateTime, Utc};
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

use super::{
    Asked, Breaks, CAUTIONS, Error, Moment, NotForeseen, Order, SoFar, Spread, Time, UnderTheSun, check_days,
    check_line,
    clock::Conditions,
    course::Course,
    from_line, helps,
    live::last_finished,
    most_runs,
    run::{Play, play},
    time,
};
use crate::{
    bounds::{NoAnswer, OutOfBounds, count, range},
    geodesy::{self, Position},
    ids::LineId,
    installation::Installation,
    line::{Designation, Line, LineState},
    pace,
    profile::Profile,
    review::LineReview,
    sun,
    units::Metres,
};

/// The most lines in one forecast.
pub const MOST_LINES: usize = 50;
/// The most crossings of all lines together.
const MOST_CROSSINGS: usize = 1_000;

/// Who lays the lines.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
#[schema(as = ForecastLeadTeams)]
pub enum LeadTeams {
    /// Each line has a lead team of its own.
    #[default]
    Each,
    /// One lead team lays them one after the other, those that are begun first.
    One,
}

/// One of the lines.
#[derive(Debug, Clone, PartialEq)]
pub struct OneOf {
    /// Which.
    pub line: LineId,
    /// Its number.
    pub designation: Designation,
    /// Its work. What carries the teams, and how long after the lead team they set out, each line says for itself: teams
    /// set out as soon as one line wants them.
    pub work: pace::Input,
    /// How it stands; none where nothing is done yet.
    pub so_far: Option<SoFar>,
    /// Where it begins; a line of which that is not known begins where the others do.
    pub near_end: Option<Position>,
}

/// What it takes to forecast several lines.
#[derive(Debug, Clone, PartialEq)]
pub struct Several {
    /// The lines, in the order in which one lead team lays them. From 1 to [`MOST_LINES`], with at most 1,000 crossings.
    pub lines: Vec<OneOf>,
    /// Who lays them.
    pub lead_teams: LeadTeams,
    /// Follow-up teams that share the work on all lines, from 1 to [`super::MOST_TEAMS`].
    pub follow_up_teams: u8,
    /// What a follow-up team that is free goes to. Along the wire it stays on its line while anything waits there.
    pub order: Order,
    /// How far work spreads.
    pub spread: Spread,
    /// When and where it begins. Left out, the first line's `light` holds throughout.
    pub sun: Option<UnderTheSun>,
    /// Rests, if any.
    pub breaks: Option<Breaks>,
    /// How often it is played through, from 1 to [`super::MOST_RUNS`]; with many crossings less.
    pub runs: u32,
    /// What chance begins with.
    pub seed: u32,
    /// Whether to try what would help.
    pub try_helps: bool,
}

/// When one of the lines is ready.
#[derive(Debug, Clone, PartialEq, Serialize, ToSchema)]
#[schema(as = ForecastLineTimes)]
pub struct LineTimes {
    /// Which.
    pub line: LineId,
    /// Its number.
    pub designation: Designation,
    /// When it is through.
    pub through: Moment,
    /// When it is finished and proved.
    pub finished: Moment,
}

/// When all lines are ready.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, ToSchema)]
#[schema(as = ForecastAllTimes)]
pub struct All {
    /// When the last of them is through.
    pub through: Moment,
    /// When the last of them is finished and proved.
    pub finished: Moment,
}

/// A forecast of several lines.
#[derive(Debug, Clone, PartialEq, Serialize, ToSchema)]
#[schema(as = ForecastSeveralAnswer)]
pub struct SeveralAnswer {
    /// How often they were played through.
    pub runs: u32,
    /// The lines, in the order of the question.
    pub lines: Vec<LineTimes>,
    /// All of them.
    pub all: All,
    /// How long the follow-up teams wait for lead teams and for each other, all together.
    pub waiting: Time,
    /// For how long wire lies unfinished across traffic, all crossings of all lines together.
    pub in_traffic: Time,
    /// The light as it changes until all is finished in nine of ten runs; empty where it holds throughout.
    pub light: Vec<sun::Change>,
    /// What would help with all of them together, the most first.
    pub helps: Vec<super::Help>,
    /// What to heed.
    pub cautions: Vec<&'static str>,
}

/// Why several lines have no forecast.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum NotSeveral {
    /// What they have in common is at fault.
    #[error(transparent)]
    Common(#[from] Error),
    /// One of them is.
    #[error("line {designation}: {error}")]
    Line {
        /// Which.
        designation: Designation,
        /// Why.
        error: Error,
    },
}

impl From<OutOfBounds> for NotSeveral {
    fn from(bounds: OutOfBounds) -> Self {
        Self::Common(bounds.into())
    }
}

impl NoAnswer for NotSeveral {
    fn field(&self) -> Option<String> {
        match self {
            Self::Common(error) => error.field(),
            Self::Line { .. } => None,
        }
    }
}

fn check(asked: &Several) -> Result<(), NotSeveral> {
    count("lines", asked.lines.len(), 1, MOST_LINES)?;
    for one in &asked.lines {
        check_line(&one.work, one.so_far.as_ref())
            .map_err(|error| NotSeveral::Line { designation: one.designation.clone(), error })?;
    }
    let crossings = crossings(&asked.lines);
    count("lines: their crossings together", crossings, 0, MOST_CROSSINGS)?;
    let teams = f64::from(asked.follow_up_teams);
    range(|| "follow_up_teams".to_owned(), teams, 1.0, f64::from(super::MOST_TEAMS))?;
    range(|| "runs".to_owned(), f64::from(asked.runs), 1.0, f64::from(most_runs(crossings)))?;
    Ok(check_days(&asked.spread, asked.breaks, asked.sun)?)
}

fn crossings(lines: &[OneOf]) -> usize {
    lines.iter().map(|one| one.work.crossings.len()).sum()
}

/// The forecast of several lines with follow-up teams in common: when each and when all of them are through and finished, in
/// half and in nine of ten runs, and what would help.
///
/// # Units
/// Minutes from the beginning, and times in UTC where the question says when that is.
///
/// # Errors
/// Too many lines, or what [`super::reckon`] refuses of one.
///
/// # Source
/// As [`super::reckon`].
pub fn reckon_several(asked: &Several) -> Result<SeveralAnswer, NotSeveral> {
    check(asked)?;
    let light = asked.lines.first().map_or(pace::Light::Day, |one| one.work.light);
    let conditions = Conditions::of(asked.sun, light, asked.breaks);
    let course = |one: &OneOf| {
        let mut course = Course::of(&one.work, one.so_far.as_ref());
        let apart = |other: &OneOf| match (one.near_end, other.near_end) {
            (Some(here), Some(there)) => geodesy::distance(here, there).value(),
            _ => 0.0,
        };
        course.to_near_end_m = asked.lines.iter().map(apart).collect();
        course
    };
    let courses: Vec<Course> = asked.lines.iter().map(course).collect();
    let play_asked = Play {
        courses: &courses,
        follow_up_teams: asked.follow_up_teams,
        one_lead_team: asked.lead_teams == LeadTeams::One,
        order: asked.order,
        spread: asked.spread,
        runs: asked.runs,
        seed: asked.seed,
    };
    let played = play(&play_asked, &conditions);
    let helps = if asked.try_helps {
        let works: Vec<_> = asked.lines.iter().map(|one| (&one.work, one.so_far.as_ref())).collect();
        helps::helps(&play_asked, &works, &conditions, &played)
    } else {
        Vec::new()
    };
    let moment = |runs: &[f64]| Moment::of(time(runs), asked.sun);
    let lines = asked.lines.iter().zip(&played.lines).map(|(one, line)| LineTimes {
        line: one.line,
        designation: one.designation.clone(),
        through: moment(&line.through),
        finished: moment(&line.finished),
    });
    let all = All { through: moment(&played.through), finished: moment(&played.finished) };
    let mut cautions = CAUTIONS.to_vec();
    if asked.lines.len() > 1 {
        cautions.push(
            "From line to line teams are taken to go back along the wire and straight between near ends: by road, and round \
             what lies between, it takes longer.",
        );
    }
    Ok(SeveralAnswer {
        runs: asked.runs,
        lines: lines.collect(),
        all,
        waiting: time(&played.waiting),
        in_traffic: time(&played.in_traffic),
        light: conditions.until(all.finished.p90_at),
        helps,
        cautions,
    })
}

/// Why the lines of an operation have no forecast.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum NotAllForeseen {
    /// All is done.
    #[error("no line is left to forecast: each is proved or ordered up; see the review")]
    Done,
    /// There are too many.
    #[error(
        "{0} lines are not finished yet, and at most {MOST_LINES} are forecast together: forecast them one by one"
    )]
    TooMany(usize),
    /// One of them cannot be planned.
    #[error("line {designation}: {error}")]
    Line {
        /// Which.
        designation: Designation,
        /// Why.
        error: NotForeseen,
    },
}

impl NoAnswer for NotAllForeseen {
    fn field(&self) -> Option<String> {
        match self {
            Self::Line { error: NotForeseen::Begun { .. }, .. } => Some("set_out_at".to_owned()),
            _ => None,
        }
    }
}

fn is_left(line: &Line) -> bool {
    let done = matches!(line.state, LineState::Proved | LineState::HandedOver | LineState::Recovered);
    !done && line.recovery.ordered_up.is_none()
}

/// The question of all lines of an operation that are not proved yet, nor ordered up, as they stand at a moment: those that
/// are begun first, then by their numbers. `runs` is how often they are played through; none is 1,000, or as often as so
/// many crossings allow.
///
/// # Errors
/// No line left, too many, or one that cannot be planned.
pub fn from_lines(
    stands: &Installation,
    reviews: &[LineReview],
    profile: &Profile,
    asked: Asked,
    runs: Option<u32>,
    lead_teams: LeadTeams,
) -> Result<Several, NotAllForeseen> {
    let mut left: Vec<&Line> = stands.lines.values().filter(|line| is_left(line)).collect();
    match left.len() {
        0 => return Err(NotAllForeseen::Done),
        many if many > MOST_LINES => return Err(NotAllForeseen::TooMany(many)),
        _ => {}
    }
    let begun = |line: &Line| line.started_at.unwrap_or(DateTime::<Utc>::MAX_UTC);
    left.sort_by(|a, b| (begun(a), &a.designation).cmp(&(begun(b), &b.designation)));
    // Where a team was last, on whichever line: it is in one place.
    let mut resting = last_finished(stands.crossings.values());
    resting.truncate(usize::from(asked.follow_up_teams));
    let (mut lines, mut sun) = (Vec::with_capacity(left.len()), None);
    for line in left {
        let designation = || line.designation.clone();
        let Some(review) = reviews.iter().find(|review| review.line == line.id) else { continue };
        let crossings: Vec<_> =
            stands.crossings.values().filter(|crossing| crossing.line == line.id).cloned().collect();
        let (mut input, _) = from_line(line, &crossings, review, profile, asked)
            .map_err(|error| NotAllForeseen::Line { designation: designation(), error })?;
        let length: Metres = input.line.legs.iter().map(|leg| leg.length_m).sum();
        if let Some(so_far) = &mut input.so_far {
            let here = resting.iter().filter(|crossing| crossing.line == line.id);
            so_far.teams_at_m =
                here.map(|crossing| crossing.chainage.max(Metres::ZERO).min(length)).collect();
        }
        sun = sun.or(input.sun);

        let planned = line.planned.as_ref().and_then(|trace| trace.positions().first());
        lines.push(OneOf {
            line: line.id,
            designation: designation(),
            work: input.line,
            so_far: input.so_far,
            near_end: line.laid.first().or(planned).copied(),
        });
    }
    let runs = runs.unwrap_or_else(|| super::usual_runs().min(most_runs(crossings(&lines))));
    Ok(Several {
        lines,
        lead_teams,
        follow_up_teams: asked.follow_up_teams,
        order: asked.order,
        spread: Spread::default(),
        sun,
        breaks: asked.breaks,
        runs,
        seed: asked.seed,
        try_helps: true,
    })
}
