//! A line's plan: a trace with its crossings as the chief means to build them, what that takes in wire, reels and time, and
//! how it compares with what was laid. It reckons with [`crate::line_wire`] as a line does of which nothing is laid, and
//! never decides what is issued: that is the report `plan_issued`.

use std::collections::{BTreeMap, HashMap};

use chrono::{DateTime, Utc};
use serde::{Deserialize, Deserializer, Serialize, de::Error as _};
use utoipa::ToSchema;
use uuid::Uuid;

use crate::{
    construction::Construction,
    crossing::{Crossing, CrossingState},
    foreseen::Foreseen,
    geodesy::Position,
    guide,
    ids::{CrossingId, LineId},
    line::Line,
    line_wire::{self, Drawn, PacePlan},
    obstacle::Obstacle,
    pace::{self, Light, Means},
    profile::Profile,
    refusal::Refusal,
    text::Remark,
    trace::Trace,
    units::{Metres, Minutes},
    wire,
};

/// The most crossings in a plan.
pub const MOST_CROSSINGS: usize = 500;
/// The most people in a team.
pub const MOST_PEOPLE: u16 = 100;
/// A laid trace is measured against the plan at no more places than this, evenly along it.
const MOST_PLACES: u32 = 500;

/// Which of a line's plans, from 1 and without gaps.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize, ToSchema)]
#[serde(try_from = "u16", into = "u16")]
#[schema(value_type = u16, minimum = 1, maximum = 1000)]
pub struct PlanVersion(u16);

/// Why a number is no plan's.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
#[error("plans of a line are numbered from 1 to {most}, and this is {0}", most = PlanVersion::LAST)]
pub struct PlanVersionError(u16);

impl PlanVersion {
    /// The last that a line may have.
    pub const LAST: u16 = 1_000;

    /// The number as it is.
    #[must_use]
    pub fn number(self) -> u16 {
        self.0
    }
}

impl TryFrom<u16> for PlanVersion {
    type Error = PlanVersionError;

    fn try_from(number: u16) -> Result<Self, PlanVersionError> {
        if (1..=Self::LAST).contains(&number) { Ok(Self(number)) } else { Err(PlanVersionError(number)) }
    }
}

impl From<PlanVersion> for u16 {
    fn from(version: PlanVersion) -> Self {
        version.0
    }
}

impl std::fmt::Display for PlanVersion {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        self.0.fmt(f)
    }
}

/// A crossing as the chief means to build it.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct PlannedCrossing {
    /// Its id; one that an earlier plan of the line has keeps its own.
    pub crossing: CrossingId,
    /// Where it is.
    pub position: Position,
    /// What is crossed.
    pub obstacle: Obstacle,
    /// Whether the surface is too hard to dig; left out: made roads are, the rest is not.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub hard_surface: Option<bool>,
    /// How; left out, whoever comes there looks and chooses.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub construction: Option<Construction>,
    /// Why so, where the chief chose otherwise than the rules propose.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub because: Option<Remark>,
    /// Distance between the ties, for an overhead crossing, in metres.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub span_m: Option<Metres>,
    /// The way to a culvert or bridge and back, in metres.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub detour_m: Option<Metres>,
}

fn people(most: u16, given: u16) -> Result<u16, String> {
    if (1..=most).contains(&given) {
        Ok(given)
    } else {
        Err(format!("a team of {given}: give 1 to {most}, or leave it out"))
    }
}

fn some_people<'de, D: Deserializer<'de>>(deserializer: D) -> Result<Option<u16>, D::Error> {
    let given = Option::<u16>::deserialize(deserializer)?;
    given.map(|given| people(MOST_PEOPLE, given)).transpose().map_err(D::Error::custom)
}

fn crossings<'de, D: Deserializer<'de>>(deserializer: D) -> Result<Vec<PlannedCrossing>, D::Error> {
    let given = Vec::<PlannedCrossing>::deserialize(deserializer)?;
    if given.len() > MOST_CROSSINGS {
        return Err(D::Error::custom(format!(
            "{} crossings, more than {MOST_CROSSINGS}: divide the line",
            given.len()
        )));
    }
    let mut ids: Vec<CrossingId> = given.iter().map(|crossing| crossing.crossing).collect();
    ids.sort_unstable();
    if ids.windows(2).any(|two| two[0] == two[1]) {
        return Err(D::Error::custom("two crossings have the same id: each has one of its own"));
    }
    Ok(given)
}

/// A trace with its crossings, and who does it how.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct Plan {
    /// Where the wire shall go.
    pub trace: Trace,
    /// What it crosses, in any order. At most [`MOST_CROSSINGS`].
    #[serde(default, deserialize_with = "crossings")]
    #[schema(max_items = 500)]
    pub crossings: Vec<PlannedCrossing>,
    /// By which light.
    #[serde(default)]
    pub light: Light,
    /// What carries the lead team's reels.
    #[serde(default)]
    pub lead_means: Means,
    /// What carries the follow-up team.
    #[serde(default)]
    pub follow_up_means: Means,
    /// How long after the lead team the follow-up team sets out, in minutes from 0 to 10,000; at once unless given.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub follow_up_after_min: Option<Minutes>,
    /// How many lay, from 1 to 100.
    #[serde(default, skip_serializing_if = "Option::is_none", deserialize_with = "some_people")]
    #[schema(minimum = 1, maximum = 100)]
    pub lead_people: Option<u16>,
    /// How many finish, from 1 to 100.
    #[serde(default, skip_serializing_if = "Option::is_none", deserialize_with = "some_people")]
    #[schema(minimum = 1, maximum = 100)]
    pub follow_up_people: Option<u16>,
}

/// How many crossings of one kind are built in one way.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
pub struct CrossingCount {
    /// What is crossed.
    pub obstacle: Obstacle,
    /// How; null where nobody has chosen.
    #[schema(required = true)]
    pub construction: Option<Construction>,
    /// How many.
    pub count: usize,
}

/// What a plan takes.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct PlanFigures {
    /// The trace over the ground, in metres.
    pub ground_m: Metres,
    /// Wire drawn from the reels, in metres.
    pub wire_m: Metres,
    /// The same by what it is for. They add up to it.
    pub wire: Vec<wire::Total>,
    /// Reels of one mile, a length that field wire is issued in.
    pub reels: usize,
    /// Crossings by kind, the strictest obstacle first.
    pub crossings: Vec<CrossingCount>,
    /// The lead team's work, in minutes.
    pub lead_min: Minutes,
    /// The follow-up team's work, in minutes.
    pub follow_up_min: Minutes,
    /// When the line is through, in minutes after the lead team set out.
    pub through_min: Minutes,
    /// When it is finished and proved, in minutes after the lead team set out.
    pub finished_min: Minutes,
    /// How many it takes, where the plan says so.
    #[schema(required = true)]
    pub people: Option<u16>,
    /// What had to be taken for granted.
    pub remarks: Vec<String>,
}

/// Why a plan was not reckoned.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum PlanError {
    /// A construction that the trade does not allow there.
    #[error("crossings[{crossing}]: {refusal}")]
    Refused {
        /// Which crossing, counted from 0.
        crossing: usize,
        /// The rule.
        refusal: Box<Refusal>,
    },
    /// Wire or time.
    #[error(transparent)]
    Reckoning(#[from] line_wire::Error),
}

impl Plan {
    /// The plan that takes each foreseen crossing as it is proposed.
    #[must_use]
    pub fn proposed(trace: Trace, foreseen: &Foreseen) -> Self {
        let crossings = foreseen.crossings.iter().zip(0_u128..).map(|(found, number)| PlannedCrossing {
            // Nothing of it is kept, so that any name does which is its own here.
            crossing: CrossingId(Uuid::from_u128(number)),
            position: found.position,
            obstacle: found.obstacle,
            hard_surface: Some(found.hard_surface),
            construction: found.proposed.construction,
            because: None,
            span_m: None,
            detour_m: found.proposed.detour_m,
        });
        Self {
            crossings: crossings.collect(),
            trace,
            light: Light::default(),
            lead_means: Means::default(),
            follow_up_means: Means::default(),
            follow_up_after_min: None,
            lead_people: None,
            follow_up_people: None,
        }
    }

    /// A crossing as it would stand if the plan were issued.
    fn as_foreseen(&self, c: &PlannedCrossing) -> Crossing {
        let place = (c.position, self.trace.nearest(c.position).chainage);
        let hard = c.hard_surface.unwrap_or(c.obstacle.usually_hard());
        let line = LineId(Uuid::nil());
        // When is told by the report; nothing here asks for it.
        let when = DateTime::UNIX_EPOCH;
        Crossing {
            span: c.span_m,
            ..Crossing::foreseen(c.crossing, line, place, c.obstacle, hard, c.construction, when)
        }
    }

    /// By which light and means it is to be done, and when the follow-up team sets out.
    #[must_use]
    pub fn pace_plan(&self) -> PacePlan {
        PacePlan {
            light: self.light,
            lead_means: self.lead_means,
            follow_up_means: self.follow_up_means,
            follow_up_after: self.follow_up_after_min,
        }
    }

    /// Its wire and its time as of a line of which nothing is laid, by its own light and means or by others.
    pub(crate) fn reckon(&self, profile: &Profile, by: PacePlan) -> Result<Drawn, line_wire::Error> {
        let crossings: Vec<Crossing> = self.crossings.iter().map(|c| self.as_foreseen(c)).collect();
        let detours: HashMap<CrossingId, Metres> =
            self.crossings.iter().filter_map(|c| Some((c.crossing, c.detour_m?))).collect();
        line_wire::reckon_drawn(self.trace.length(), &crossings, &detours, profile, by)
    }

    /// What it takes: wire, reels, crossings by kind, and time.
    ///
    /// # Units
    /// Metres and minutes.
    ///
    /// # Errors
    /// A construction that the trade does not allow at its obstacle, or a line longer than the reckonings take.
    pub fn figures(&self, profile: &Profile) -> Result<PlanFigures, PlanError> {
        for (number, c) in self.crossings.iter().enumerate() {
            if let Some(construction) = c.construction {
                let hard = c.hard_surface.unwrap_or(c.obstacle.usually_hard());
                guide::check(c.obstacle, hard, construction)
                    .map_err(|refusal| PlanError::Refused { crossing: number, refusal: Box::new(refusal) })?;
            }
        }
        let reckoned = self.reckon(profile, self.pace_plan())?;
        let mut counts: BTreeMap<(Obstacle, Option<Construction>), usize> = BTreeMap::new();
        for crossing in &self.crossings {
            *counts.entry((crossing.obstacle, crossing.construction)).or_default() += 1;
        }
        let pace::Answer { through_min, finished_min, lead, follow_up, .. } = reckoned.pace;
        Ok(PlanFigures {
            ground_m: reckoned.wire.ground_m,
            wire_m: reckoned.wire.drawn_m,
            wire: reckoned.wire.totals,
            reels: 1 + usize::from(reckoned.reel_changes),
            crossings: counts
                .into_iter()
                .map(|((obstacle, construction), count)| CrossingCount { obstacle, construction, count })
                .collect(),
            lead_min: lead.work_min,
            follow_up_min: follow_up.work_min,
            through_min,
            finished_min,
            people: self.lead_people.zip(self.follow_up_people).map(|(lead, follow_up)| lead + follow_up),
            remarks: reckoned.remarks,
        })
    }
}

/// A crossing of the plan and what became of it.
#[derive(Debug, Clone, PartialEq, Serialize, ToSchema)]
pub struct BuiltOtherwise {
    /// The crossing.
    pub crossing: CrossingId,
    /// How the plan has it.
    #[schema(required = true)]
    pub planned: Option<Construction>,
    /// How it is crossed.
    #[schema(required = true)]
    pub built: Option<Construction>,
    /// Why, where somebody said it.
    #[schema(required = true)]
    pub because: Option<Remark>,
}

/// A plan beside what was laid.
#[derive(Debug, Clone, PartialEq, Serialize, ToSchema)]
pub struct PlanAndLaid {
    /// The planned trace, in metres.
    pub planned_m: Metres,
    /// What lies, in metres.
    pub laid_m: Metres,
    /// How far the wire lies from the plan where it is farthest, in metres; null when nothing lies.
    #[schema(required = true)]
    pub farthest_m: Option<Metres>,
    /// The same on average along the wire, in metres.
    #[schema(required = true)]
    pub mean_m: Option<Metres>,
    /// Wire that the plan draws, in metres.
    pub wire_planned_m: Metres,
    /// Wire that the reels which were begun should have given, in metres.
    pub wire_drawn_m: Metres,
    /// Crossings that were built as the plan has them.
    pub as_planned: Vec<CrossingId>,
    /// Crossings that were built in another way.
    pub otherwise: Vec<BuiltOtherwise>,
    /// Crossings of the plan that nobody has come to yet.
    pub not_come_to: Vec<CrossingId>,
    /// Crossings of the plan that were struck out, or that the line has no more.
    pub not_met: Vec<CrossingId>,
    /// Crossings of the line that the plan did not foresee.
    pub not_foreseen: Vec<CrossingId>,
    /// When the plan has the line through, in minutes after the lead team set out.
    pub through_planned_min: Minutes,
    /// How long it took, in minutes; null before it is through.
    #[schema(required = true)]
    pub through_min: Option<Minutes>,
}

/// A plan beside what was laid.
///
/// # Units
/// Metres and minutes.
///
/// # Errors
/// As [`Plan::figures`].
pub fn beside_laid(
    plan: &Plan,
    line: &Line,
    crossings: &[Crossing],
    profile: &Profile,
) -> Result<PlanAndLaid, PlanError> {
    let figures = plan.figures(profile)?;
    let lies = line_wire::reckon(line, crossings, profile, PacePlan::default())?;
    let offsets = offsets(&plan.trace, &line.laid);
    let mut answer = PlanAndLaid {
        planned_m: plan.trace.length(),
        laid_m: line.laid_length,
        farthest_m: offsets.iter().copied().reduce(Metres::max),
        mean_m: mean(&offsets),
        wire_planned_m: figures.wire_m,
        wire_drawn_m: lies.head.map_or(Metres::ZERO, |head| head.drawn_m),
        as_planned: Vec::new(),
        otherwise: Vec::new(),
        not_come_to: Vec::new(),
        not_met: Vec::new(),
        not_foreseen: Vec::new(),
        through_planned_min: figures.through_min,
        through_min: line.started_at.zip(line.through_at).and_then(|(from, to)| between(from, to)),
    };
    for planned in &plan.crossings {
        let id = planned.crossing;
        match crossings.iter().find(|c| c.id == id) {
            None => answer.not_met.push(id),
            Some(c) => match c.state {
                CrossingState::StruckOut => answer.not_met.push(id),
                CrossingState::Foreseen => answer.not_come_to.push(id),
                _ if c.construction == planned.construction => answer.as_planned.push(id),
                _ => answer.otherwise.push(BuiltOtherwise {
                    crossing: id,
                    planned: planned.construction,
                    built: c.construction,
                    because: c.because.clone(),
                }),
            },
        }
    }
    let foreseen = |c: &&Crossing| plan.crossings.iter().any(|planned| planned.crossing == c.id);
    let gone = |c: &&Crossing| matches!(c.state, CrossingState::StruckOut | CrossingState::Foreseen);
    answer.not_foreseen = crossings.iter().filter(|c| !foreseen(c) && !gone(c)).map(|c| c.id).collect();
    Ok(answer)
}

fn between(from: DateTime<Utc>, to: DateTime<Utc>) -> Option<Minutes> {
    #[allow(clippy::cast_precision_loss, reason = "milliseconds of an operation")]
    let ms = (to - from).num_milliseconds() as f64;
    Minutes::new(ms / 60_000.0).ok()
}

/// How far the laid trace is from the planned one, at its start and end and evenly between.
fn offsets(planned: &Trace, laid: &[Position]) -> Vec<Metres> {
    let Ok(laid) = Trace::new(laid.to_vec()) else { return Vec::new() };
    let step = laid.length().value() / f64::from(MOST_PLACES - 1);
    let places = (0..MOST_PLACES).filter_map(|number| {
        let at = Metres::new(step * f64::from(number)).ok()?;
        laid.at(at.min(laid.length()))
    });
    places.map(|place| planned.nearest(place).offset).collect()
}

fn mean(offsets: &[Metres]) -> Option<Metres> {
    let sum: f64 = offsets.iter().map(|offset| offset.value()).sum();
    #[allow(clippy::cast_precision_loss, reason = "at most MOST_PLACES")]
    let count = offsets.len() as f64;
    Metres::new(sum / count).ok()
}
