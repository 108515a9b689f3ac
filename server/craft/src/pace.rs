//! How long a line takes: the lead team's time to get through, the follow-up team's to finish, and when each crossing is
//! passed and when it is safe. It plans, and never judges what a team did (that is the review's). Rates and minutes
//! that were published name their source; the rest are planning values, to be replaced by what a unit has measured.
//! Sources by key: *Corcoran 1917*: A. P. Corcoran, Laying Telegraph Cables Under Fire, Popular Science Monthly 90(6),
//! p. 820; *915th*: memoir of the wire crews of the 915th Field Artillery Battalion, p. 62; *Signaller 2005*: an army
//! signaller's account of a night's laying on foot; *Seabee*: Seabee Combat Handbook, table 8-2; *SS0440*: US Army
//! correspondence subcourse on field wire, after TC 24-20.

use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

use crate::{
    bounds::{NoAnswer, OutOfBounds, count, range},
    construction::Construction,
    figure::PlanningFigure,
    guide,
    obstacle::Obstacle,
    profile::Profile,
    refusal::Refusal,
    units::{Metres, MetresPerMinute, Minutes, Times},
};

/// The most legs in a line.
pub const MOST_LEGS: usize = 100_000;
/// The most crossings in a line.
pub const MOST_CROSSINGS: usize = 2_000;
/// The longest line, all its legs together.
pub const LONGEST: Metres = Metres::from_const(500_000.0);

const MOST_MINUTES: f64 = 10_000.0;
const LEAST_RATE: f64 = 0.1;
const MOST_RATE: f64 = 2_000.0;
const MOST_TIMES: f64 = 20.0;

/// Where nothing makes the work longer.
const ONCE: PlanningFigure<f64> = PlanningFigure::new(1.0, "as it is published or given");

/// A figure of the built-in profile.
macro_rules! planned {
    ($figure:expr) => {{
        let figure = $figure;
        PlanningFigure::new(figure.value, figure.source.as_str())
    }};
}

/// Over which ground a leg goes.
#[derive(
    Debug, Clone, Copy, Default, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize, ToSchema,
)]
#[serde(rename_all = "snake_case")]
#[schema(as = PaceGround)]
pub enum Ground {
    /// Along a road or track.
    #[default]
    Roadside,
    /// Fields and open country.
    Open,
    /// Woods, where every few paces something is in the way.
    Wooded,
    /// Hills, rocks, hedges and ditches.
    Broken,
    /// Ground that does not carry.
    Wet,
}

impl Ground {
    /// Every ground, the easiest first.
    pub const ALL: [Self; 5] = [Self::Roadside, Self::Open, Self::Wooded, Self::Broken, Self::Wet];

    fn words(self) -> &'static str {
        match self {
            Self::Roadside => "along a road",
            Self::Open => "over open ground",
            Self::Wooded => "through woods",
            Self::Broken => "over broken ground",
            Self::Wet => "over wet ground",
        }
    }

    /// The name in the profile.
    pub(crate) fn as_str(self) -> &'static str {
        match self {
            Self::Roadside => "roadside",
            Self::Open => "open",
            Self::Wooded => "wooded",
            Self::Broken => "broken",
            Self::Wet => "wet",
        }
    }
}

/// By which light the work is done.
#[derive(
    Debug, Clone, Copy, Default, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize, ToSchema,
)]
#[serde(rename_all = "snake_case")]
#[schema(as = PaceLight)]
pub enum Light {
    /// By day.
    #[default]
    Day,
    /// At night, without lights.
    Night,
}

/// What carries the reels.
#[derive(
    Debug, Clone, Copy, Default, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize, ToSchema,
)]
#[serde(rename_all = "snake_case")]
#[schema(as = PaceMeans)]
pub enum Means {
    /// A motor vehicle.
    Vehicle,
    /// A cart or wagon.
    Wagon,
    /// The crew.
    #[default]
    Foot,
}

impl Means {
    fn words(self) -> &'static str {
        match self {
            Self::Vehicle => "from a vehicle",
            Self::Wagon => "from a wagon",
            Self::Foot => "on foot",
        }
    }
}

/// What it takes to plan a line's time.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
#[schema(as = PaceInput)]
pub struct Input {
    /// The line's legs over the ground, one after the other. 1 to [`MOST_LEGS`].
    #[schema(min_items = 1, max_items = 100_000)]
    pub legs: Vec<Leg>,
    /// The crossings on them, in any order. At most [`MOST_CROSSINGS`].
    #[serde(default)]
    #[schema(max_items = 2_000)]
    pub crossings: Vec<Crossing>,
    /// Reels begun after the first. 0 to 65,535.
    #[serde(default)]
    pub reel_changes: u16,
    /// By which light.
    #[serde(default)]
    pub light: Light,
    /// What carries the lead team's reels.
    #[serde(default)]
    pub lead_means: Means,
    /// What carries the follow-up team.
    #[serde(default)]
    pub follow_up_means: Means,
    /// How long after the lead team the follow-up team sets out, in minutes from 0 to 10,000.
    #[serde(default = "no_time")]
    pub follow_up_after_min: Minutes,
    /// Figures to take instead of the planning values.
    #[serde(default)]
    pub figures: Figures,
}

fn no_time() -> Minutes {
    Minutes::ZERO
}

/// A stretch of the line over one kind of ground.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
#[schema(as = PaceLeg)]
pub struct Leg {
    /// Its length over the ground, in metres from 0 to 500,000, all legs together no more than that.
    pub length_m: Metres,
    /// What it goes over.
    #[serde(default)]
    pub ground: Ground,
}

/// A crossing that the teams come to.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
#[schema(as = PaceCrossing)]
pub struct Crossing {
    /// Where it is, in metres along the ground from 0 to the line's length.
    pub chainage_m: Metres,
    /// What is crossed.
    pub obstacle: Obstacle,
    /// How.
    pub construction: Construction,
    /// The lead team's minutes here, where they are known better, from 0 to 10,000.
    #[serde(default)]
    pub lead_min: Option<Minutes>,
    /// The follow-up team's minutes here, where they are known better, from 0 to 10,000.
    #[serde(default)]
    pub follow_up_min: Option<Minutes>,
}

/// Figures to take instead of the planning values.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
#[schema(as = PaceFigures)]
pub struct Figures {
    /// How fast the lead team lays along a road by the light and means that are given, in metres a minute from 0.1 to
    /// 2,000.
    #[serde(default)]
    pub lead_rate_m_per_min: Option<MetresPerMinute>,
    /// How fast the follow-up team goes along the wire, in metres a minute from 0.1 to 2,000.
    #[serde(default)]
    pub follow_up_rate_m_per_min: Option<MetresPerMinute>,
    /// How many times as long work at crossings and reels takes at night, from 1 to 20. Else 1.5.
    #[serde(default)]
    pub night_times: Option<Times>,
    /// How many times as long as along a road other ground takes.
    #[serde(default)]
    #[schema(max_items = 5)]
    pub ground_times: Vec<GroundTimes>,
    /// Minutes by construction.
    #[serde(default)]
    #[schema(max_items = 8)]
    pub constructions: Vec<ConstructionMinutes>,
    /// Minutes to begin the next reel, splice and call, from 0 to 10,000. Else 5.
    #[serde(default)]
    pub reel_change_min: Option<Minutes>,
    /// Minutes to connect an end and to call from it, from 0 to 10,000. Else 5; each team does it at the far end.
    #[serde(default)]
    pub end_test_min: Option<Minutes>,
}

/// How many times as long as along a road one kind of ground takes.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
#[schema(as = PaceGroundTimes)]
pub struct GroundTimes {
    /// The ground.
    pub ground: Ground,
    /// The factor, from 1 to 20.
    pub times: Times,
}

/// Minutes for one construction.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
#[schema(as = PaceConstructionMinutes)]
pub struct ConstructionMinutes {
    /// The construction.
    pub construction: Construction,
    /// The lead team's, from 0 to 10,000.
    #[serde(default)]
    pub lead_min: Option<Minutes>,
    /// The follow-up team's, from 0 to 10,000.
    #[serde(default)]
    pub follow_up_min: Option<Minutes>,
}

/// One item of a team's time.
#[derive(Debug, Clone, PartialEq, Serialize, ToSchema)]
#[schema(as = PaceItem)]
pub struct Item {
    /// What the time is for, in words.
    pub what: String,
    /// How many times, or none where it is a length of ground.
    #[schema(required = true)]
    pub count: Option<usize>,
    /// Over how much ground, in metres, or none where it is work at one place.
    #[schema(required = true)]
    pub length_m: Option<Metres>,
    /// All of it, in minutes.
    pub minutes: Minutes,
    /// Where the rate, or the minutes for each, are from.
    pub source: &'static str,
    /// How many times as long as by that rate, or those minutes, it takes: other ground, or night.
    pub times: Times,
    /// Where that factor is from.
    pub times_source: &'static str,
}

/// One team's time.
#[derive(Debug, Clone, PartialEq, Serialize, ToSchema)]
#[schema(as = PaceTeam)]
pub struct Team {
    /// Its work, in minutes, without waiting.
    pub work_min: Minutes,
    /// What the work is made of. The items add up to it.
    pub items: Vec<Item>,
}

/// When the teams are at a crossing, in minutes after the lead team set out.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, ToSchema)]
#[schema(as = PaceAtCrossing)]
pub struct AtCrossing {
    /// Which one, counted from 0 in the order of the question.
    pub crossing: usize,
    /// Where it is, in metres along the ground.
    pub chainage_m: Metres,
    /// When the wire is past it.
    pub passed_min: Minutes,
    /// When the follow-up team begins.
    pub taken_in_hand_min: Minutes,
    /// When it is finished.
    pub finished_min: Minutes,
    /// How long wire lies there that is not safe yet.
    pub unsafe_min: Minutes,
}

/// A line's time.
#[derive(Debug, Clone, PartialEq, Serialize, ToSchema)]
#[schema(as = PaceAnswer)]
pub struct Answer {
    /// When the line is through, in minutes after the lead team set out.
    pub through_min: Minutes,
    /// When it is finished and proved, in minutes after the lead team set out.
    pub finished_min: Minutes,
    /// How long the follow-up team waits for the lead team, in minutes.
    pub waiting_min: Minutes,
    /// The lead team's time.
    pub lead: Team,
    /// The follow-up team's time.
    pub follow_up: Team,
    /// The crossings, from the near end to the far end.
    pub crossings: Vec<AtCrossing>,
    /// What to heed.
    pub cautions: Vec<&'static str>,
}

/// Why the time was not planned.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum Error {
    /// A list or a figure is out of its bounds.
    #[error(transparent)]
    Bounds(#[from] OutOfBounds),
    /// Two figures for the same thing.
    #[error("{field} gives figures for {what} twice; leave one out")]
    Twice {
        /// The list.
        field: &'static str,
        /// What has two figures.
        what: &'static str,
    },
    /// The trade does not allow this construction at this obstacle.
    #[error("crossings[{crossing}]: {refusal}")]
    Refused {
        /// Which crossing.
        crossing: usize,
        /// The rule.
        refusal: Refusal,
    },
}

impl NoAnswer for Error {
    fn field(&self) -> Option<String> {
        match self {
            Self::Bounds(bounds) => bounds.field(),
            Self::Twice { field, .. } => Some((*field).to_owned()),
            Self::Refused { crossing, .. } => Some(format!("crossings[{crossing}].construction")),
        }
    }
}

fn minutes(field: impl FnOnce() -> String, value: Option<Minutes>) -> Result<(), OutOfBounds> {
    value.map_or(Ok(()), |value| range(field, value.value(), 0.0, MOST_MINUTES))
}

fn check(input: &Input) -> Result<(), Error> {
    count("legs", input.legs.len(), 1, MOST_LEGS)?;
    count("crossings", input.crossings.len(), 0, MOST_CROSSINGS)?;
    let mut length = Metres::ZERO;
    for (number, leg) in input.legs.iter().enumerate() {
        range(
            || format!("legs[{number}].length_m"),
            leg.length_m,
            0.0,
            (LONGEST - length).max(Metres::ZERO).value(),
        )?;
        length = length + leg.length_m;
    }
    for (number, crossing) in input.crossings.iter().enumerate() {
        let chainage = crossing.chainage_m.value();
        range(|| format!("crossings[{number}].chainage_m"), chainage, 0.0, length.value())?;
        minutes(|| format!("crossings[{number}].lead_min"), crossing.lead_min)?;
        minutes(|| format!("crossings[{number}].follow_up_min"), crossing.follow_up_min)?;
        // Whether the surface can be dug was settled with the construction: only a hard one gets a ladder.
        let hard = crossing.construction == Construction::Ladder;
        guide::check(crossing.obstacle, hard, crossing.construction)
            .map_err(|refusal| Error::Refused { crossing: number, refusal })?;
    }
    minutes(|| "follow_up_after_min".to_owned(), Some(input.follow_up_after_min))?;
    check_figures(&input.figures)
}

fn check_figures(figures: &Figures) -> Result<(), Error> {
    for (field, rate) in [
        ("figures.lead_rate_m_per_min", figures.lead_rate_m_per_min),
        ("figures.follow_up_rate_m_per_min", figures.follow_up_rate_m_per_min),
    ] {
        if let Some(rate) = rate {
            range(|| field.to_owned(), rate.value(), LEAST_RATE, MOST_RATE)?;
        }
    }
    if let Some(times) = figures.night_times {
        range(|| "figures.night_times".to_owned(), times.value(), 1.0, MOST_TIMES)?;
    }
    minutes(|| "figures.reel_change_min".to_owned(), figures.reel_change_min)?;
    minutes(|| "figures.end_test_min".to_owned(), figures.end_test_min)?;
    for (number, own) in figures.ground_times.iter().enumerate() {
        range(|| format!("figures.ground_times[{number}].times"), own.times.value(), 1.0, MOST_TIMES)?;
        if figures.ground_times[..number].iter().any(|other| other.ground == own.ground) {
            return Err(Error::Twice { field: "figures.ground_times", what: own.ground.words() });
        }
    }
    for (number, own) in figures.constructions.iter().enumerate() {
        minutes(|| format!("figures.constructions[{number}].lead_min"), own.lead_min)?;
        minutes(|| format!("figures.constructions[{number}].follow_up_min"), own.follow_up_min)?;
        if figures.constructions[..number].iter().any(|other| other.construction == own.construction) {
            return Err(Error::Twice { field: "figures.constructions", what: own.construction.words() });
        }
    }
    Ok(())
}

/// The lead team's minutes at a crossing by day: the least that lets traffic pass.
///
/// # Units
/// Minutes.
///
/// # Source
/// Corcoran 1917: a buried crossing takes two men 3 to 4 minutes, one on two poles four men at least 5 to 6. The others
/// are planning values.
///
/// ```
/// use laywire_craft::{construction::Construction, pace::lead_minutes};
/// assert_eq!(lead_minutes(Construction::Buried).0.value(), 3.5);
/// assert_eq!(lead_minutes(Construction::OverheadLancePoles).0.value(), 5.5);
/// ```
#[must_use]
pub fn lead_minutes(construction: Construction) -> (Minutes, &'static str) {
    let time = &Profile::field().pace.constructions.of(construction).lead;
    (time.value, time.source.as_str())
}

/// The follow-up team's minutes at a crossing by day: until traffic, water and weather cannot break the wire.
///
/// # Units
/// Minutes.
///
/// # Source
/// Planning values: nobody has published them.
#[must_use]
pub fn follow_up_minutes(construction: Construction) -> (Minutes, &'static str) {
    let time = &Profile::field().pace.constructions.of(construction).follow_up;
    (time.value, time.source.as_str())
}

/// The work of one team, as it adds up.
struct Work {
    items: Vec<Item>,
    total: f64,
}

impl Work {
    fn new() -> Self {
        Self { items: Vec::new(), total: 0.0 }
    }

    /// Adds to the item with these words and this source, or makes it. There are some dozens of items at the most.
    fn add(
        &mut self,
        what: &str,
        ground: Option<Metres>,
        minutes: f64,
        source: &'static str,
        times: PlanningFigure<f64>,
    ) {
        self.total += minutes;
        if let Some(item) = self.items.iter_mut().find(|item| {
            item.what == what
                && (item.source, item.times_source) == (source, times.source)
                && item.times.value().total_cmp(&times.value).is_eq()
        }) {
            item.minutes = item.minutes + Minutes::bounded(minutes);
            item.count = item.count.map(|count| count + 1);
            item.length_m = item.length_m.map(|length| length + ground.unwrap_or(Metres::ZERO));
        } else {
            self.items.push(Item {
                what: what.to_owned(),
                count: if ground.is_some() { None } else { Some(1) },
                length_m: ground,
                minutes: Minutes::bounded(minutes),
                source,
                times: Times::bounded(times.value),
                times_source: times.source,
            });
        }
    }

    fn team(self) -> Team {
        Team { work_min: Minutes::bounded(self.total), items: self.items }
    }
}

/// The figures that hold for one question.
pub(crate) struct Plan<'a> {
    input: &'a Input,
    pub(crate) night: PlanningFigure<f64>,
    pub(crate) laying: PlanningFigure<MetresPerMinute>,
    pub(crate) following: PlanningFigure<MetresPerMinute>,
    pub(crate) reel_change: PlanningFigure<Minutes>,
    pub(crate) end_test: PlanningFigure<Minutes>,
}

impl<'a> Plan<'a> {
    /// The figures of a question that was checked.
    pub(crate) fn of(input: &'a Input) -> Self {
        let figures = &input.figures;
        let built_in = &Profile::field().pace;
        let at_night = PlanningFigure::new(built_in.night.value.value(), built_in.night.source.as_str());
        Self {
            input,
            night: match input.light {
                Light::Day => ONCE,
                Light::Night => at_night.or_given(figures.night_times.map(Times::value)),
            },
            laying: planned!(built_in.laying_rate(input.lead_means, input.light))
                .or_given(figures.lead_rate_m_per_min),
            following: planned!(built_in.following_rate(input.follow_up_means))
                .or_given(figures.follow_up_rate_m_per_min),
            reel_change: planned!(&built_in.reel_change).or_given(figures.reel_change_min),
            end_test: planned!(&built_in.end_test).or_given(figures.end_test_min),
        }
    }

    pub(crate) fn times(&self, ground: Ground) -> PlanningFigure<f64> {
        let own = self.input.figures.ground_times.iter().find(|own| own.ground == ground);
        let planned = match Profile::field().pace.times(ground) {
            Some(factor) => PlanningFigure::new(factor.value.value(), factor.source.as_str()),
            None => ONCE,
        };
        planned.or_given(own.map(|own| own.times.value()))
    }

    fn own(&self, construction: Construction) -> Option<&ConstructionMinutes> {
        self.input.figures.constructions.iter().find(|own| own.construction == construction)
    }

    pub(crate) fn lead(&self, crossing: &Crossing) -> (PlanningFigure<Minutes>, PlanningFigure<f64>) {
        let (value, source) = lead_minutes(crossing.construction);
        let own = self.own(crossing.construction).and_then(|own| own.lead_min);
        self.by_light(PlanningFigure::new(value, source).or_given(own), crossing.lead_min)
    }

    pub(crate) fn follow_up(&self, crossing: &Crossing) -> (PlanningFigure<Minutes>, PlanningFigure<f64>) {
        let (value, source) = follow_up_minutes(crossing.construction);
        let own = self.own(crossing.construction).and_then(|own| own.follow_up_min);
        self.by_light(PlanningFigure::new(value, source).or_given(own), crossing.follow_up_min)
    }

    /// Minutes by day are longer at night; those of the very crossing are taken as they are.
    fn by_light(
        &self,
        by_day: PlanningFigure<Minutes>,
        here: Option<Minutes>,
    ) -> (PlanningFigure<Minutes>, PlanningFigure<f64>) {
        (by_day.or_given(here), if here.is_some() { ONCE } else { self.night })
    }
}

/// A line's time: when it is through, when it is finished, and what that is made of.
///
/// # Units
/// Minutes.
///
/// # Errors
/// A list too long, a figure out of range or given twice, or a construction that the trade refuses there.
///
/// # Source
/// As in [`lead_minutes`] and [`follow_up_minutes`]; laying rates by Corcoran 1917 (wagon, 6 mph), the 915th (truck at
/// night, 3 mph) and Signaller 2005 (on foot at night, 0.7 mph).
///
/// ```
/// use laywire_craft::pace::{Input, reckon};
/// // Three miles from a wagon at 6 mph.
/// let asked = r#"{"legs":[{"length_m":4828.032}],"lead_means":"wagon","figures":{"end_test_min":0}}"#;
/// let answer = reckon(&serde_json::from_str::<Input>(asked).unwrap()).unwrap();
/// assert_eq!(answer.through_min.to_string(), "30.00 min");
/// ```
pub fn reckon(input: &Input) -> Result<Answer, Error> {
    check(input)?;
    let plan = Plan::of(input);
    let night = plan.night;
    let ground: Metres = input.legs.iter().map(|leg| leg.length_m).sum();
    let (reel_change, end_test) = (plan.reel_change, plan.end_test);
    let changes = f64::from(input.reel_changes) * reel_change.value.value() * night.value;

    let mut lead = Work::new();
    let mut follow_up = Work::new();
    let mut waiting = 0.0;
    let mut order: Vec<usize> = (0..input.crossings.len()).collect();
    order.sort_by_key(|&number| (input.crossings[number].chainage_m, number));
    let mut legs = Legs { plan: &plan, leg: 0, leg_end: Metres::ZERO, at: Metres::ZERO };
    let mut crossings = Vec::with_capacity(order.len());
    // Reels are changed all along the line, so their time is spread over its length.
    let reels_by = |chainage: Metres| {
        if ground > Metres::ZERO { changes * (chainage.value() / ground.value()) } else { changes }
    };
    let set_out = input.follow_up_after_min.value();
    for number in order {
        let crossing = &input.crossings[number];
        legs.go(crossing.chainage_m, &mut lead, &mut follow_up);
        let (here, there) = (plan.lead(crossing), plan.follow_up(crossing));
        let there_min = there.0.value.value() * there.1.value;
        let words = crossing.construction.words();
        lead.add(words, None, here.0.value.value() * here.1.value, here.0.source, here.1);
        let passed = lead.total + reels_by(crossing.chainage_m);
        let arrived = set_out + follow_up.total + waiting;
        let begun = arrived.max(passed);
        waiting += begun - arrived;
        follow_up.add(words, None, there_min, there.0.source, there.1);
        crossings.push(AtCrossing {
            crossing: number,
            chainage_m: crossing.chainage_m,
            passed_min: Minutes::bounded(passed),
            taken_in_hand_min: Minutes::bounded(begun),
            finished_min: Minutes::bounded(begun + there_min),
            unsafe_min: Minutes::bounded(begun + there_min - passed),
        });
    }
    legs.go(ground, &mut lead, &mut follow_up);
    if input.reel_changes > 0 {
        lead.add("changing reels", None, changes, reel_change.source, night);
        if let Some(item) = lead.items.last_mut() {
            item.count = Some(usize::from(input.reel_changes));
        }
    }
    let test = end_test.value.value() * night.value;
    lead.add("connecting the far end and calling", None, test, end_test.source, night);
    let arrived = set_out + follow_up.total + waiting;
    let begun = arrived.max(lead.total);
    waiting += begun - arrived;
    follow_up.add("proving the line from the far end", None, test, end_test.source, night);
    Ok(Answer {
        through_min: Minutes::bounded(lead.total),
        finished_min: Minutes::bounded(begun + test),
        waiting_min: Minutes::bounded(waiting),
        lead: lead.team(),
        follow_up: follow_up.team(),
        crossings,
        cautions: vec![
            "Speed should not restrict good construction practices (SS0440 p. 37).",
            "Wire that is passed and not finished is a hazard to traffic and crews: see how long each crossing waits.",
            "These are planning figures: no team is to be hurried by them past a caution, a local code or an owner's rule.",
        ],
    })
}

/// The legs as both teams go along them.
struct Legs<'a> {
    plan: &'a Plan<'a>,
    leg: usize,
    /// Where the leg before this one ended.
    leg_end: Metres,
    at: Metres,
}

impl Legs<'_> {
    fn go(&mut self, to: Metres, lead: &mut Work, follow_up: &mut Work) {
        let legs = &self.plan.input.legs;
        while self.at < to {
            let Some(leg) = legs.get(self.leg) else { return };
            let end = self.leg_end + leg.length_m;
            let stop = end.min(to);
            let length = stop - self.at;
            if length > Metres::ZERO {
                let times = self.plan.times(leg.ground);
                let ground = length.value() * times.value;
                let (laying, following) = (self.plan.laying, self.plan.following);
                let words = leg.ground.words();
                let laid = format!("laying {} {words}", self.plan.input.lead_means.words());
                lead.add(&laid, Some(length), ground / laying.value.value(), laying.source, times);
                let gone = format!("following the wire {words}");
                let night = self.plan.night;
                let minutes = ground * night.value / following.value.value();
                let slower = match (times == ONCE, night == ONCE) {
                    (_, true) => times,
                    (true, false) => night,
                    (false, false) => PlanningFigure::new(
                        times.value * night.value,
                        "the factors of the ground and of the night",
                    ),
                };
                follow_up.add(&gone, Some(length), minutes, following.source, slower);
            }
            self.at = stop.max(self.at);
            if end <= to {
                self.leg += 1;
                self.leg_end = end;
            }
        }
    }
}
