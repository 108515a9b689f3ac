//! When a line will be through and when it will be finished, with how much either may slip: the lead team and any number of
//! follow-up teams are played through many times, each time with other times for the same work. It starts from a plan, or
//! from how the line stands at any moment. It decides nothing: a forecast is no order, and no team is hurried by it.
//!
//! What each piece of work takes most likely is [`crate::pace`]'s; with no spread, one follow-up team and one light the
//! forecast is its time plan. How far work spreads about that are planning values that nobody has published: replace them
//! by what a unit has measured. The times are triangular: least, likely, most. Reels are changed all along the line, so
//! that their time is spread over its length.

mod clock;
mod course;
mod helps;
mod live;
mod run;
mod several;

use chrono::{DateTime, Datelike, TimeDelta, Utc};
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

use crate::{
    bounds::{NoAnswer, OutOfBounds, count, range},
    geodesy::Position,
    pace::{self, Light},
    sun,
    units::{Metres, Minutes, Times},
};

use clock::Conditions;
use course::Course;
use run::{Play, play};

pub use helps::{Altered, Help};
pub(crate) use live::minutes;
pub use live::{Asked, NotForeseen, Shown, from_line, from_plan, shown};
pub use several::{
    All, LeadTeams, LineTimes, MOST_LINES, NotAllForeseen, NotSeveral, OneOf, Several, SeveralAnswer,
    from_lines, reckon_several,
};

/// The most crossings that are played through.
pub const MOST_CROSSINGS: usize = 500;
/// The most follow-up teams.
pub const MOST_TEAMS: u8 = 20;
/// The most runs.
pub const MOST_RUNS: u32 = 5_000;
/// The most crossings in all runs together.
const MOST_PLAYED: u32 = 500_000;
/// A line that takes longer than this by its time plan is divided: four weeks.
const LONGEST_MIN: f64 = 40_320.0;
/// Sunrises and sunsets are reckoned for so many days; after them the light stays as it is.
const DAYS_OF_LIGHT: u32 = 90;

/// What it takes to forecast a line.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
#[schema(as = ForecastInput)]
pub struct Input {
    /// The line, as the reckoning of time takes it. At most [`MOST_CROSSINGS`] crossings.
    pub line: pace::Input,
    /// Follow-up teams that share the work, from 1 to [`MOST_TEAMS`].
    #[serde(default = "one_team")]
    #[schema(minimum = 1, maximum = 20)]
    pub follow_up_teams: u8,
    /// What a follow-up team that is free goes to.
    #[serde(default)]
    pub order: Order,
    /// How far work spreads about what it takes most likely.
    #[serde(default)]
    pub spread: Spread,
    /// When and where it begins, so that it grows dark and light as it does there. Left out, the line's `light` holds
    /// throughout.
    #[serde(default)]
    pub sun: Option<UnderTheSun>,
    /// Rests; none unless given.
    #[serde(default)]
    pub breaks: Option<Breaks>,
    /// How the line stands; left out, nothing is done yet.
    #[serde(default)]
    pub so_far: Option<SoFar>,
    /// How often it is played through, from 1 to [`MOST_RUNS`]; with many crossings less.
    #[serde(default = "usual_runs")]
    #[schema(minimum = 1, maximum = 5000)]
    pub runs: u32,
    /// What chance begins with: the same question with the same seed has the same answer.
    #[serde(default)]
    pub seed: u32,
    /// Whether to try what would help.
    #[serde(default = "yes")]
    pub try_helps: bool,
}

fn one_team() -> u8 {
    1
}

fn usual_runs() -> u32 {
    1_000
}

fn yes() -> bool {
    true
}

/// What a follow-up team that is free goes to.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
#[schema(as = ForecastOrder)]
pub enum Order {
    /// The next along the wire from the near end, whether the lead team has been there yet or not.
    #[default]
    Along,
    /// The nearest over which the wire is; where there is none, the one that will be passed next.
    Nearest,
    /// Main highways and railways first, then roads, dirt roads and the rest; the nearest of the same rank.
    TrafficFirst,
}

/// The least and the most that work may take, as a part of what it takes most likely.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
#[schema(as = ForecastRange)]
pub struct Range {
    /// The least, from 0.1 to 1.
    pub least: Times,
    /// The most, from 1 to 3.
    pub most: Times,
}

impl Range {
    const fn planned(least: f64, most: f64) -> Self {
        Self { least: Times::from_const(least), most: Times::from_const(most) }
    }
}

/// How far work spreads. Each is drawn anew for each leg, crossing and test, and `teams` once for each team and run: a crew
/// is quick or slow all day. All are planning values that nobody has published.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(default, deny_unknown_fields)]
#[schema(as = ForecastSpread)]
pub struct Spread {
    /// Laying from one crossing to the next.
    pub laying: Range,
    /// Going along the wire.
    pub following: Range,
    /// Work at a crossing.
    pub crossings: Range,
    /// Beginning reels.
    pub reel_changes: Range,
    /// Connecting an end and calling.
    pub tests: Range,
    /// A team as a whole.
    pub teams: Range,
}

impl Default for Spread {
    fn default() -> Self {
        Self {
            laying: Range::planned(0.8, 1.5),
            following: Range::planned(0.8, 1.4),
            crossings: Range::planned(0.7, 2.0),
            reel_changes: Range::planned(0.7, 2.0),
            tests: Range::planned(0.8, 2.0),
            teams: Range::planned(0.85, 1.3),
        }
    }
}

impl Spread {
    /// No spread: each piece of work takes what it takes most likely.
    pub const NONE: Self = {
        let one = Range::planned(1.0, 1.0);
        Self { laying: one, following: one, crossings: one, reel_changes: one, tests: one, teams: one }
    };

    fn ranges(&self) -> [(&'static str, Range); 6] {
        [
            ("laying", self.laying),
            ("following", self.following),
            ("crossings", self.crossings),
            ("reel_changes", self.reel_changes),
            ("tests", self.tests),
            ("teams", self.teams),
        ]
    }
}

/// When and where the work begins.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
#[schema(as = ForecastSun)]
pub struct UnderTheSun {
    /// When: the lead team sets out, or the moment of `so_far`. In the years 1901 to 2098.
    pub from: DateTime<Utc>,
    /// Where.
    pub place: Position,
}

/// Rests: each team rests for so long after so much work.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
#[schema(as = ForecastBreaks)]
pub struct Breaks {
    /// After how much work, in minutes from 30 to 1,440.
    pub after_min: Minutes,
    /// For how long, in minutes from 0 to 1,440. A wait that is as long counts as one.
    pub length_min: Minutes,
}

/// How a line stands.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
#[schema(as = ForecastSoFar)]
pub struct SoFar {
    /// How far the wire lies, in metres along the ground.
    pub laid_m: Metres,
    /// Whether a call was made back from the far end.
    #[serde(default)]
    pub through: bool,
    /// Crossings at which something was done; the others are still to come.
    #[serde(default)]
    #[schema(max_items = 500)]
    pub crossings: Vec<Standing>,
    /// Where follow-up teams are that have nothing in hand, in metres along the ground; the rest are at the near end.
    #[serde(default)]
    #[schema(max_items = 20)]
    pub teams_at_m: Vec<Metres>,
    /// How many times as long as planned the lead team has shown to take, from 0.1 to 10.
    #[serde(default = "as_planned")]
    pub lead_times: Times,
    /// The same of the follow-up teams.
    #[serde(default = "as_planned")]
    pub follow_up_times: Times,
}

fn as_planned() -> Times {
    Times::from_const(1.0)
}

/// How one crossing stands.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
#[schema(as = ForecastStanding)]
pub struct Standing {
    /// Which, counted from 0 in the order of the line's crossings.
    pub crossing: usize,
    /// What was done.
    pub done: Done,
    /// How long a team has had it in hand, in minutes from 0 to 10,000.
    #[serde(default = "no_time")]
    pub for_min: Minutes,
}

fn no_time() -> Minutes {
    Minutes::ZERO
}

/// What was done at a crossing.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
#[schema(as = ForecastDone)]
pub enum Done {
    /// The wire is over.
    Passed,
    /// A team is at work on it.
    InHand,
    /// It is finished.
    Finished,
}

/// One time over all runs.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, ToSchema)]
#[schema(as = ForecastTime)]
pub struct Time {
    /// In half of the runs it was no more, in minutes from the beginning.
    pub p50_min: Minutes,
    /// In nine of ten runs it was no more.
    pub p90_min: Minutes,
    /// The mean.
    pub mean_min: Minutes,
    /// The standard deviation.
    pub deviation_min: Minutes,
}

/// A time that is also told by the clock, where the question says when it begins.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, ToSchema)]
#[schema(as = ForecastMoment)]
pub struct Moment {
    /// In minutes.
    #[serde(flatten)]
    pub time: Time,
    /// The time of `p50_min`.
    #[schema(required = true)]
    pub p50_at: Option<DateTime<Utc>>,
    /// The time of `p90_min`.
    #[schema(required = true)]
    pub p90_at: Option<DateTime<Utc>>,
}

impl Moment {
    fn of(time: Time, sun: Option<UnderTheSun>) -> Self {
        let at = |minutes| sun.and_then(|sun| after(sun.from, minutes));
        Self { time, p50_at: at(time.p50_min), p90_at: at(time.p90_min) }
    }
}

/// One crossing over all runs. What is done already is 0.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, ToSchema)]
#[schema(as = ForecastCrossing)]
pub struct AtCrossing {
    /// Which, counted from 0 in the order of the question.
    pub crossing: usize,
    /// Where it is, in metres along the ground.
    pub chainage_m: Metres,
    /// When the wire is past it.
    pub passed: Time,
    /// When it is finished.
    pub finished: Time,
}

/// A line's forecast.
#[derive(Debug, Clone, PartialEq, Serialize, ToSchema)]
#[schema(as = ForecastAnswer)]
pub struct Answer {
    /// How often it was played through.
    pub runs: u32,
    /// When the line is through.
    pub through: Moment,
    /// When it is finished and proved.
    pub finished: Moment,
    /// How long the follow-up teams wait for the lead team and for each other, all together.
    pub waiting: Time,
    /// For how long wire lies unfinished across traffic, all crossings together.
    pub in_traffic: Time,
    /// The crossings, from the near end to the far end.
    pub crossings: Vec<AtCrossing>,
    /// The light as it changes until it is finished in nine of ten runs; empty where it holds throughout.
    pub light: Vec<sun::Change>,
    /// What would help, the most first.
    pub helps: Vec<Help>,
    /// What to heed.
    pub cautions: Vec<&'static str>,
}

/// Why there is no forecast.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum Error {
    /// A list or a figure is out of its bounds.
    #[error(transparent)]
    Bounds(#[from] OutOfBounds),
    /// The line's time cannot be planned.
    #[error("line: {0}")]
    Line(pace::Error),
    /// A crossing stands in two ways.
    #[error("so_far.crossings[{number}] speaks of crossing {crossing} again; leave one out")]
    Twice {
        /// Which entry.
        number: usize,
        /// Which crossing.
        crossing: usize,
    },
    /// A year for which the sun is not reckoned.
    #[error("sun.from is in the year {year}; give one from 1901 to 2098")]
    Year {
        /// The year.
        year: i32,
    },
}

impl NoAnswer for Error {
    fn field(&self) -> Option<String> {
        match self {
            Self::Bounds(bounds) => bounds.field(),
            Self::Line(error) => error.field().map(|field| format!("line.{field}")),
            Self::Twice { number, .. } => Some(format!("so_far.crossings[{number}].crossing")),
            Self::Year { .. } => Some("sun.from".to_owned()),
        }
    }
}

fn check(input: &Input) -> Result<(), Error> {
    check_line(&input.line, input.so_far.as_ref())?;
    range(|| "follow_up_teams".to_owned(), f64::from(input.follow_up_teams), 1.0, f64::from(MOST_TEAMS))?;
    let most_runs = most_runs(input.line.crossings.len());
    range(|| "runs".to_owned(), f64::from(input.runs), 1.0, f64::from(most_runs))?;
    check_days(&input.spread, input.breaks, input.sun)
}

/// How often so many crossings are played through, the most.
fn most_runs(crossings: usize) -> u32 {
    MOST_RUNS.min(MOST_PLAYED / u32::try_from(crossings).unwrap_or(u32::MAX).max(1))
}

fn check_line(line: &pace::Input, so_far: Option<&SoFar>) -> Result<(), Error> {
    count("line.crossings", line.crossings.len(), 0, MOST_CROSSINGS)?;
    let plan = pace::reckon(line).map_err(Error::Line)?;
    range(|| "line: its minutes as planned".to_owned(), plan.finished_min, 0.0, LONGEST_MIN)?;
    so_far.map_or(Ok(()), |so_far| check_so_far(so_far, line))
}

fn check_days(spread: &Spread, breaks: Option<Breaks>, sun: Option<UnderTheSun>) -> Result<(), Error> {
    for (name, spread) in spread.ranges() {
        range(|| format!("spread.{name}.least"), spread.least, 0.1, 1.0)?;
        range(|| format!("spread.{name}.most"), spread.most, 1.0, 3.0)?;
    }
    if let Some(breaks) = breaks {
        range(|| "breaks.after_min".to_owned(), breaks.after_min, 30.0, 1_440.0)?;
        range(|| "breaks.length_min".to_owned(), breaks.length_min, 0.0, 1_440.0)?;
    }
    if let Some(sun) = sun
        && !(1901..=2098).contains(&sun.from.year())
    {
        return Err(Error::Year { year: sun.from.year() });
    }
    Ok(())
}

fn check_so_far(so_far: &SoFar, line: &pace::Input) -> Result<(), Error> {
    let length: Metres = line.legs.iter().map(|leg| leg.length_m).sum();
    range(|| "so_far.laid_m".to_owned(), so_far.laid_m, 0.0, length.value())?;
    range(|| "so_far.lead_times".to_owned(), so_far.lead_times, 0.1, 10.0)?;
    range(|| "so_far.follow_up_times".to_owned(), so_far.follow_up_times, 0.1, 10.0)?;
    count("so_far.teams_at_m", so_far.teams_at_m.len(), 0, usize::from(MOST_TEAMS))?;
    for (number, &at) in so_far.teams_at_m.iter().enumerate() {
        range(|| format!("so_far.teams_at_m[{number}]"), at, 0.0, length.value())?;
    }
    count("so_far.crossings", so_far.crossings.len(), 0, line.crossings.len())?;
    let mut told = vec![false; line.crossings.len()];
    for (number, standing) in so_far.crossings.iter().enumerate() {
        let field = || format!("so_far.crossings[{number}].crossing");
        #[allow(
            clippy::cast_precision_loss,
            reason = "a number that is too large is refused whatever its last digit"
        )]
        let (given, last) = (standing.crossing as f64, line.crossings.len().saturating_sub(1) as f64);
        range(field, given, 0.0, last)?;
        range(|| format!("so_far.crossings[{number}].for_min"), standing.for_min, 0.0, 10_000.0)?;
        match told.get_mut(standing.crossing) {
            Some(told) if !*told => *told = true,
            _ => return Err(Error::Twice { number, crossing: standing.crossing }),
        }
    }
    Ok(())
}

/// A line's forecast: when it is through and when it is finished in half and in nine of ten runs, and what would help.
///
/// # Units
/// Minutes from the beginning, and times in UTC where the question says when that is.
///
/// # Errors
/// A list too long, a figure out of range or given twice, or a construction that the trade refuses there.
///
/// # Source
/// What work takes most likely, as [`pace::reckon`]; its spread, planning values.
///
/// ```
/// use laywire_craft::forecast::{Input, reckon};
/// // With no spread it is the time plan: three miles from a wagon at 6 mph (Corcoran 1917).
/// let asked = r#"{"line":{"legs":[{"length_m":4828.032}],"lead_means":"wagon","figures":{"end_test_min":0}},
///     "spread":{"laying":{"least":1,"most":1},"teams":{"least":1,"most":1}},"runs":10}"#;
/// let answer = reckon(&serde_json::from_str::<Input>(asked).unwrap()).unwrap();
/// assert_eq!(answer.through.time.p90_min.to_string(), "30.00 min");
/// ```
pub fn reckon(input: &Input) -> Result<Answer, Error> {
    check(input)?;
    let conditions = Conditions::of(input.sun, input.line.light, input.breaks);
    let so_far = input.so_far.as_ref();
    let course = Course::of(&input.line, so_far);
    let asked = Play::of(input, &course);
    let played = play(&asked, &conditions);
    let helps = if input.try_helps {
        helps::helps(&asked, &[(&input.line, so_far)], &conditions, &played)
    } else {
        Vec::new()
    };
    let through = time(&played.through);
    let finished = time(&played.finished);
    let line = &played.lines[0];
    let crossings = course.stops.iter().enumerate().map(|(stop, at)| AtCrossing {
        crossing: at.number,
        chainage_m: at.chainage,
        passed: time(line.passed(stop)),
        finished: time(line.finished_at(stop)),
    });
    let finished_at = Moment::of(finished, input.sun);
    Ok(Answer {
        runs: input.runs,
        through: Moment::of(through, input.sun),
        finished: finished_at,
        waiting: time(&played.waiting),
        in_traffic: time(&played.in_traffic),
        crossings: crossings.collect(),
        light: conditions.until(finished_at.p90_at),
        helps,
        cautions: CAUTIONS.to_vec(),
    })
}

/// What to heed with every forecast.
const CAUTIONS: [&str; 4] = [
    "Speed should not restrict good construction practices (SS0440 p. 37).",
    "Wire that is passed and not finished is a hazard to traffic and crews: see how long it lies so.",
    "A forecast is no order: no team is to be hurried by it past a caution, a rest, a local code or an owner's rule.",
    "Hills, woods and weather make it dark earlier than the sun alone; stop for storms, high water and trains.",
];

/// A time so many minutes later.
fn after(from: DateTime<Utc>, minutes: Minutes) -> Option<DateTime<Utc>> {
    #[allow(clippy::cast_possible_truncation, reason = "at most 1e8 minutes")]
    let seconds = (minutes.value() * 60.0).round() as i64;
    from.checked_add_signed(TimeDelta::seconds(seconds))
}

/// A time over all runs; by nearest rank, so that what is told has happened in a run.
fn time(runs: &[f64]) -> Time {
    let mut sorted = runs.to_vec();
    sorted.sort_unstable_by(f64::total_cmp);
    let rank = |tenths: usize| {
        let place = (sorted.len() * tenths).div_ceil(10).saturating_sub(1);
        Minutes::bounded(sorted.get(place).copied().unwrap_or(0.0))
    };
    let mean = mean(runs);
    #[allow(clippy::cast_precision_loss, reason = "at most MOST_RUNS")]
    let freedom = runs.len().saturating_sub(1).max(1) as f64;
    let squares: f64 = runs.iter().map(|run| (run - mean).powi(2)).sum();
    Time {
        p50_min: rank(5),
        p90_min: rank(9),
        mean_min: Minutes::bounded(mean),
        deviation_min: Minutes::bounded((squares / freedom).sqrt()),
    }
}

fn mean(runs: &[f64]) -> f64 {
    #[allow(clippy::cast_precision_loss, reason = "at most MOST_RUNS")]
    let count = runs.len().max(1) as f64;
    // About the first, so that equal times have that very time as their mean.
    let first = runs.first().copied().unwrap_or(0.0);
    first + runs.iter().map(|run| run - first).sum::<f64>() / count
}

/// The light that a question names, as a place in what is kept for each light.
fn by(light: Light) -> usize {
    match light {
        Light::Day => 0,
        Light::Night => 1,
    }
}
