//! One crossing and what is at hand there: which constructions are allowed, the best first, with what each needs and takes;
//! and which are refused, with the rule. It never takes what nobody has said for absent: that is to go and look at.
//!
//! What the trade allows is [`crate::guide`]'s, the heights and distances are the profile's, the wire is
//! [`crate::wire`]'s, poles and guys are [`crate::lance_pole`]'s and the minutes [`crate::pace`]'s. Sources by key: as
//! there.

use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

use crate::{
    bounds::{self, NoAnswer, OutOfBounds},
    construction::Construction,
    figure::GIVEN,
    guide::{self, Choice, Item, PRACTICE, item},
    lance_pole::{self, LancePole, LancePoleSet},
    obstacle::Obstacle,
    pace::{self, Ground, Light, Means},
    profile::{Distance, HIGHEST_VOLTAGE, Profile, feet_and_metres},
    refusal::Refusal,
    units::{Kilovolts, Metres, Minutes, Newtons, feet},
    wire::{self, What},
};

/// The widest obstacle and the longest span.
const WIDEST: f64 = 300.0;
/// The farthest that anything is told of.
const FARTHEST: f64 = 10_000.0;
const TWICE_THE_POLE: &str = "PS 623 p. 44: no power line within twice the pole's height";

/// A place and what is known of it. What is left out nobody has looked at yet.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct SiteInput {
    /// What is crossed.
    pub obstacle: Obstacle,
    /// Whether its surface is hard.
    #[serde(default)]
    pub hard_surface: Option<bool>,
    /// Whether the way is public. Left out: as the profile has it.
    #[serde(default)]
    pub public: Option<bool>,
    /// From side to side, in metres from 0 to 300.
    #[serde(default)]
    pub width_m: Option<Metres>,
    /// Between the supports of an overhead crossing, in metres from 1 to 300, and no less than the width.
    #[serde(default)]
    pub span_m: Option<Metres>,
    /// A culvert.
    #[serde(default)]
    pub culvert: Option<Passage>,
    /// A bridge.
    #[serde(default)]
    pub bridge: Option<Passage>,
    /// Whether trees that carry stand on both sides.
    #[serde(default)]
    pub trees: Option<bool>,
    /// Standing poles on both sides.
    #[serde(default)]
    pub poles: Option<StandingPoles>,
    /// How many lance poles are at hand, from 0 to 65,535.
    #[serde(default)]
    pub lance_poles: Option<u16>,
    /// What kind of lance pole. Left out: the usual one.
    #[serde(default)]
    pub lance_pole: Option<LancePole>,
    /// Whether the ground can be dug: no rock, roots or pipes.
    #[serde(default)]
    pub diggable: Option<bool>,
    /// A power line.
    #[serde(default)]
    pub power_line: Option<NearPowerLine>,
    /// The water of a stream.
    #[serde(default)]
    pub water: Option<Water>,
    /// By which light.
    #[serde(default)]
    pub light: Light,
    /// What carries the lead team's reels.
    #[serde(default)]
    pub lead_means: Means,
    /// What carries the follow-up team.
    #[serde(default)]
    pub follow_up_means: Means,
}

impl SiteInput {
    /// A place of which nothing is known but what is crossed.
    #[must_use]
    pub fn of(obstacle: Obstacle) -> Self {
        Self {
            obstacle,
            hard_surface: None,
            public: None,
            width_m: None,
            span_m: None,
            culvert: None,
            bridge: None,
            trees: None,
            poles: None,
            lance_poles: None,
            lance_pole: None,
            diggable: None,
            power_line: None,
            water: None,
            light: Light::Day,
            lead_means: Means::Foot,
            follow_up_means: Means::Foot,
        }
    }
}

/// A culvert or a bridge.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct Passage {
    /// Whether there is one.
    pub there: bool,
    /// How far it is from the trace, along the obstacle, in metres from 0 to 10,000.
    #[serde(default)]
    pub distance_m: Option<Metres>,
    /// Whether water fills it, or will at its highest.
    #[serde(default)]
    pub flooded: Option<bool>,
}

/// Poles that stand at the place.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct StandingPoles {
    /// Whether there are any, on both sides.
    pub there: bool,
    /// Whether one of them carries power.
    #[serde(default)]
    pub carry_power: Option<bool>,
}

/// A power line near the place.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct NearPowerLine {
    /// Whether there is one.
    pub there: bool,
    /// How near its nearest conductor comes to the work, in metres from 0 to 10,000.
    #[serde(default)]
    pub distance_m: Option<Metres>,
    /// Its voltage, as its owner has said, in kilovolts from 0 to 1,000.
    #[serde(default)]
    pub kilovolts: Option<Kilovolts>,
}

/// How water runs.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum Current {
    /// It stands.
    Still,
    /// It runs slowly.
    Slow,
    /// It runs fast.
    Fast,
}

/// The water of a stream.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct Water {
    /// How high the highest water stands above the ground at the ties, in metres from -20 to 20; negative below it.
    #[serde(default)]
    pub highest_m: Option<Metres>,
    /// How it runs.
    #[serde(default)]
    pub current: Option<Current>,
}

/// Whether what a construction needs is known to be there.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum AtHand {
    /// All of it is.
    There,
    /// Somebody has to go and look.
    Look,
}

/// One thing that a construction needs.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, ToSchema)]
pub struct SiteNeed {
    /// What it is, in words.
    pub what: String,
    /// Whether it is known to be there.
    pub at_hand: AtHand,
}

/// One item of the wire at the crossing.
#[derive(Debug, Clone, PartialEq, Serialize, ToSchema)]
pub struct SiteWireItem {
    /// The sum in words.
    pub why: String,
    /// The wire that leaves the reels for it, in metres.
    pub drawn_m: Metres,
    /// Where the figure in it is from.
    pub source: String,
}

/// The wire at the crossing.
#[derive(Debug, Clone, PartialEq, Serialize, ToSchema)]
pub struct SiteWire {
    /// All of it, in metres.
    pub drawn_m: Metres,
    /// What it is made of. The items add up to it.
    pub items: Vec<SiteWireItem>,
}

/// One kind of thing to bring.
#[derive(Debug, Clone, PartialEq, Serialize, ToSchema)]
pub struct SiteMaterial {
    /// What.
    pub what: String,
    /// How many; none where it is a length alone.
    pub count: Option<u32>,
    /// How long, each where there are several, in metres.
    pub length_m: Option<Metres>,
    /// What it is for.
    pub why: String,
    /// Where that was read.
    pub source: String,
}

/// One item of a team's time.
#[derive(Debug, Clone, PartialEq, Serialize, ToSchema)]
pub struct SiteTimeItem {
    /// What the time is for, in words.
    pub what: String,
    /// In minutes.
    pub minutes: Minutes,
    /// Where the rate or the minutes are from, and what made them longer.
    pub source: String,
}

/// One team's time at the crossing.
#[derive(Debug, Clone, PartialEq, Serialize, ToSchema)]
pub struct SiteTime {
    /// All of it, in minutes.
    pub work_min: Minutes,
    /// What it is made of. The items add up to it.
    pub items: Vec<SiteTimeItem>,
}

/// One construction that is allowed here.
#[derive(Debug, Clone, PartialEq, Serialize, ToSchema)]
pub struct SiteWay {
    /// What the trade says about it: heights, lists and cautions.
    pub choice: Choice,
    /// Why it stands where it stands in the list, with the figures.
    pub reason: String,
    /// Whether all that it needs is known to be there.
    pub at_hand: AtHand,
    /// What it needs.
    pub needs: Vec<SiteNeed>,
    /// The way to a culvert or bridge and back, in metres.
    pub detour_m: Option<Metres>,
    /// Height of the ties over the ground to plan with, for an overhead crossing: the least height and the sag.
    pub tie_height_m: Option<Metres>,
    /// The span that was reckoned with, for an overhead crossing.
    pub span_m: Option<Metres>,
    /// The lance poles of each side, for a crossing on them.
    pub lance_poles: Option<LancePoleSet>,
    /// The wire that the crossing takes.
    pub wire: SiteWire,
    /// What to bring.
    pub materials: Vec<SiteMaterial>,
    /// The lead team's time.
    pub lead: SiteTime,
    /// The follow-up team's time: so long the wire is not safe yet, at the least.
    pub follow_up: SiteTime,
    /// How much of both teams' time is work on the carriageway of a road, in minutes.
    pub on_carriageway_min: Minutes,
}

/// What kind of rule refuses.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum SiteRule {
    /// The trade does not allow it at such an obstacle or surface.
    Trade,
    /// What it needs is not there.
    NotAtHand,
    /// A power line is too near.
    PowerLine,
}

/// One construction that is refused here.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, ToSchema)]
pub struct SiteRefusal {
    /// The construction.
    pub construction: Construction,
    /// What kind of rule it is.
    pub rule: SiteRule,
    /// The rule, in words and with its figures.
    pub reason: String,
}

/// All that the trade says about one place.
#[derive(Debug, Clone, PartialEq, Serialize, ToSchema)]
pub struct SiteAnswer {
    /// What is crossed.
    pub obstacle: Obstacle,
    /// Whether the way was taken for a public one.
    pub public: bool,
    /// The distance to keep from a power line with body, pole and loose wire.
    pub keep_from_power: Distance,
    /// What is allowed, the best first.
    pub ways: Vec<SiteWay>,
    /// What is refused.
    pub refused: Vec<SiteRefusal>,
    /// What nobody has looked at yet, and what depends on it.
    pub look: Vec<String>,
}

/// Why a place was not judged.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum SiteError {
    /// A figure is outside its range.
    #[error(transparent)]
    Bounds(#[from] OutOfBounds),
    /// A figure of something that is not there.
    #[error("{field} goes with {with} alone: leave it out, or say that it is there")]
    OfNothing {
        /// The figure.
        field: &'static str,
        /// What it would belong to.
        with: &'static str,
    },
    /// Figures that the reckoning of wire or of time does not take.
    #[error("{0}")]
    NotReckoned(String),
}

impl NoAnswer for SiteError {
    fn field(&self) -> Option<String> {
        match self {
            Self::Bounds(bounds) => bounds.field(),
            Self::OfNothing { field, .. } => Some((*field).to_owned()),
            Self::NotReckoned(_) => None,
        }
    }
}

fn range(field: &str, value: f64, least: f64, most: f64) -> Result<(), OutOfBounds> {
    bounds::range(|| field.to_owned(), value, least, most)
}

fn only_with(field: &'static str, given: bool, there: bool, with: &'static str) -> Result<(), SiteError> {
    if given && !there { Err(SiteError::OfNothing { field, with }) } else { Ok(()) }
}

fn check(input: &SiteInput) -> Result<(), SiteError> {
    let across = input.width_m.map_or(0.0, Metres::value);
    range("width_m", across, 0.0, WIDEST)?;
    if let Some(span) = input.span_m {
        range("span_m", span.value(), across.max(1.0), WIDEST)?;
    }
    for (field, flooded, with, passage) in [
        ("culvert.distance_m", "culvert.flooded", "a culvert that is there", input.culvert),
        ("bridge.distance_m", "bridge.flooded", "a bridge that is there", input.bridge),
    ] {
        let Some(passage) = passage else { continue };
        only_with(field, passage.distance_m.is_some(), passage.there, with)?;
        only_with(flooded, passage.flooded.is_some(), passage.there, with)?;
        range(field, passage.distance_m.map_or(0.0, Metres::value), 0.0, FARTHEST)?;
    }
    if let Some(poles) = input.poles {
        let with = "poles that are there";
        only_with("poles.carry_power", poles.carry_power.is_some(), poles.there, with)?;
    }
    if let Some(line) = input.power_line {
        let with = "a power line that is there";
        only_with("power_line.distance_m", line.distance_m.is_some(), line.there, with)?;
        only_with("power_line.kilovolts", line.kilovolts.is_some(), line.there, with)?;
        range("power_line.distance_m", line.distance_m.map_or(0.0, Metres::value), 0.0, FARTHEST)?;
        range(
            "power_line.kilovolts",
            line.kilovolts.map_or(0.0, Kilovolts::value),
            0.0,
            HIGHEST_VOLTAGE.value(),
        )?;
    }
    if let Some(water) = input.water {
        only_with("water", true, input.obstacle == Obstacle::Stream, "a stream")?;
        range("water.highest_m", water.highest_m.map_or(0.0, Metres::value), -20.0, 20.0)?;
    }
    if let Some(pole) = input.lance_pole {
        range("lance_pole.length_m", pole.length_m.value(), 1.0, 15.0)?;
        let most = (pole.length_m.value() / 2.0).min(3.0);
        range("lance_pole.set_m", pole.set_m.value(), 0.0, most)?;
    }
    Ok(())
}

/// What is allowed at a place, the best first, and what is refused.
///
/// # Units
/// Metres and minutes.
///
/// # Errors
/// A figure out of range, or one of something that is said not to be there.
///
/// # Source
/// SS0440 p. 33 and SS0444 p. 25 for what is allowed; an existing culvert or bridge first: common practice, no source. The
/// figures name their own.
///
/// ```
/// use laywire_craft::{construction::Construction, profile::Profile, site};
/// let asked = r#"{"obstacle":"road","hard_surface":true,"trees":true,"culvert":{"there":true,"distance_m":40}}"#;
/// let answer = site::reckon(&serde_json::from_str(asked).unwrap(), Profile::field()).unwrap();
/// assert_eq!(answer.ways[0].choice.construction, Construction::ThroughCulvert);
/// assert_eq!(answer.ways[0].detour_m.unwrap().to_string(), "80.00 m");
/// ```
pub fn reckon(input: &SiteInput, profile: &Profile) -> Result<SiteAnswer, SiteError> {
    check(input)?;
    let site = Site { input, profile, power: keep_from_power(input, profile) };
    let mut ranked = Vec::new();
    let mut refused = Vec::new();
    for construction in Construction::ALL {
        match site.allows(construction) {
            Ok(needs) => ranked.push(site.ranked(construction, needs)?),
            Err((rule, reason)) => refused.push(SiteRefusal { construction, rule, reason }),
        }
    }
    // The order is stable: where all else is equal, the trade's own stands.
    ranked.sort_by_key(|way| way.place);
    let ways = ranked.into_iter().map(|way| site.told(way)).collect::<Result<Vec<_>, _>>()?;
    Ok(SiteAnswer {
        obstacle: input.obstacle,
        public: input.public.unwrap_or_else(|| profile.is_public(input.obstacle)),
        look: to_look_at(&ways),
        keep_from_power: site.power,
        ways,
        refused,
    })
}

/// The first of [`reckon`]'s list among some constructions: what the others would take is not reckoned.
pub(crate) fn best(
    input: &SiteInput,
    profile: &Profile,
    among: impl Fn(Construction) -> bool,
) -> Result<Option<SiteWay>, SiteError> {
    check(input)?;
    let site = Site { input, profile, power: keep_from_power(input, profile) };
    let mut best: Option<Ranked> = None;
    for construction in Construction::ALL.into_iter().filter(|&construction| among(construction)) {
        let Ok(needs) = site.allows(construction) else { continue };
        let way = site.ranked(construction, needs)?;
        if best.as_ref().is_none_or(|best| way.place < best.place) {
            best = Some(way);
        }
    }
    best.map(|way| site.told(way)).transpose()
}

/// Each unknown once, with the constructions that wait for it.
fn to_look_at(ways: &[SiteWay]) -> Vec<String> {
    let mut unknown: Vec<(&str, Vec<&'static str>)> = Vec::new();
    for way in ways {
        for need in way.needs.iter().filter(|need| need.at_hand == AtHand::Look) {
            let words = way.choice.construction.words();
            match unknown.iter_mut().find(|(what, _)| *what == need.what) {
                Some((_, waiting)) => waiting.push(words),
                None => unknown.push((&need.what, vec![words])),
            }
        }
    }
    unknown.into_iter().map(|(what, waiting)| format!("{what}: for {}", waiting.join(", "))).collect()
}

fn keep_from_power(input: &SiteInput, profile: &Profile) -> Distance {
    profile.power_line.distance(input.power_line.and_then(|line| line.kilovolts))
}

/// The order in the list: first the group, then the minutes, in thousandths.
type Place = (Group, u64);

/// The groups of the list, the best first.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
enum Group {
    /// A culvert or bridge that is there, within reach.
    Passage,
    /// All that it needs is there.
    There,
    /// Somebody has to go and look.
    Look,
    /// A culvert or bridge that is there, out of reach.
    FarPassage,
    /// It has to be replaced.
    Temporary,
}

/// A construction that is allowed, and what its place in the list is told by.
struct Ranked {
    place: Place,
    construction: Construction,
    needs: Vec<SiteNeed>,
    at_hand: AtHand,
    lead: SiteTime,
    follow_up: SiteTime,
    on_carriageway: Minutes,
}

struct Site<'a> {
    input: &'a SiteInput,
    profile: &'a Profile,
    power: Distance,
}

type Refused = (SiteRule, String);

fn there(what: impl Into<String>) -> SiteNeed {
    SiteNeed { what: what.into(), at_hand: AtHand::There }
}

fn look(what: impl Into<String>) -> SiteNeed {
    SiteNeed { what: what.into(), at_hand: AtHand::Look }
}

/// A need of which it is known whether it is there, or not known.
fn need(known: Option<bool>, what: &str, without: &str) -> Result<SiteNeed, Refused> {
    match known {
        Some(true) => Ok(there(what)),
        None => Ok(look(what)),
        Some(false) => Err((SiteRule::NotAtHand, without.to_owned())),
    }
}

impl Site<'_> {
    /// What the construction needs here, or the rule that refuses it.
    fn allows(&self, construction: Construction) -> Result<Vec<SiteNeed>, Refused> {
        use Construction as C;
        let input = self.input;
        self.trade(construction).map_err(|refusal| (SiteRule::Trade, refusal.to_string()))?;
        let mut needs = Vec::new();
        match construction {
            C::ThroughCulvert => {
                needs.push(passage("culvert", input.culvert)?);
                needs.push(dry(
                    input.culvert,
                    "room in the culvert above the highest water",
                    "Water fills the culvert: it moves and strains wire that lies in it. Go overhead, or along a bridge",
                )?);
            }
            C::UnderBridge => {
                needs.push(passage("bridge", input.bridge)?);
                needs.push(dry(
                    input.bridge,
                    "room under the bridge above the highest water and what it carries",
                    "The water comes up to the bridge and would take the wire along. Go overhead",
                )?);
            }
            C::UnderRails => {}
            C::OverheadTrees => needs.push(need(
                input.trees,
                "trees that carry on both sides",
                "No trees that carry stand on both sides: use poles",
            )?),
            C::OverheadPoles => needs.extend(self.standing_poles()?),
            C::OverheadLancePoles => needs.push(self.lance_poles()?),
            C::Buried => {
                let soft = input.hard_surface.map(|hard| !hard);
                needs.push(need(soft, "a surface that can be dug", "A hard surface cannot be dug")?);
                needs.push(need(
                    input.diggable,
                    "ground that can be dug, without rock, roots, cables or pipes",
                    "The ground cannot be dug here: go overhead, or use a culvert or bridge",
                )?);
            }
            C::Ladder => needs.push(need(
                input.hard_surface,
                "a hard surface that cannot be dug",
                "A ladder is for a hard surface that cannot be dug",
            )?),
        }
        if construction.is_overhead() {
            needs.push(self.clear_of_power(construction)?);
        }
        Ok(needs)
    }

    /// The trade's own rule; where nobody knows the surface, the construction may suit either.
    fn trade(&self, construction: Construction) -> Result<(), Refusal> {
        let check = |hard| guide::check(self.input.obstacle, hard, construction);
        match self.input.hard_surface {
            Some(hard) => check(hard),
            None => check(false).or_else(|refusal| check(true).map_err(|_| refusal)),
        }
    }

    fn standing_poles(&self) -> Result<Vec<SiteNeed>, Refused> {
        let what = "standing poles on both sides";
        let Some(poles) = self.input.poles else {
            return Ok(vec![look(what), look("whether the poles carry power")]);
        };
        let stand = need(Some(poles.there), what, "No poles stand on both sides: use lance poles")?;
        match poles.carry_power {
            Some(true) => Err((
                SiteRule::PowerLine,
                "A pole here carries power: nobody climbs it and no wire is tied to it (WAC 296-54-529; PS 623 p. 44)"
                    .to_owned(),
            )),
            Some(false) => Ok(vec![stand, there("poles that carry no power")]),
            None => Ok(vec![stand, look("whether the poles carry power")]),
        }
    }

    fn lance_poles(&self) -> Result<SiteNeed, Refused> {
        let pole = self.input.lance_pole.unwrap_or_default();
        let height = self.tie_height();
        let set = self.pole_set().map_err(|error| (SiteRule::NotAtHand, error.to_string()))?;
        if !set.enough {
            let reason = format!(
                "Two lance poles of {} lashed do not carry a tie at {}: they have to be {} long at the least",
                feet_and_metres(pole.length_m),
                feet_and_metres(height),
                feet_and_metres(set.least_length_m)
            );
            return Err((SiteRule::NotAtHand, reason));
        }
        let wanted = 2 * u16::from(set.poles);
        let what = format!("{wanted} lance poles of {}", feet_and_metres(pole.length_m));
        match self.input.lance_poles {
            Some(count) if count < wanted => {
                let reason = format!("It takes {what}, {} on each side: {count} are at hand", set.poles);
                Err((SiteRule::NotAtHand, reason))
            }
            Some(_) => Ok(there(what)),
            None => Ok(look(what)),
        }
    }

    /// How far from a power line this construction has to be, and by which rule.
    fn distance_from_power(&self, construction: Construction) -> Distance {
        let twice = Metres::bounded(2.0 * self.tie_height().value());
        if construction == Construction::OverheadLancePoles && twice > self.power.least_m {
            Distance { least_m: twice, source: TWICE_THE_POLE.to_owned() }
        } else {
            self.power.clone()
        }
    }

    fn clear_of_power(&self, construction: Construction) -> Result<SiteNeed, Refused> {
        let keep = self.distance_from_power(construction);
        let what = format!("no power line within {} ({})", feet_and_metres(keep.least_m), keep.source);
        match self.input.power_line {
            Some(NearPowerLine { there: false, .. }) => Ok(there(what)),
            None | Some(NearPowerLine { distance_m: None, .. }) => Ok(look(what)),
            Some(NearPowerLine { distance_m: Some(distance), kilovolts, .. }) if distance < keep.least_m => {
                let of = kilovolts.map_or_else(
                    || "of a voltage that its owner has not said".to_owned(),
                    |kilovolts| format!("of {kilovolts}"),
                );
                let reason = format!(
                    "A power line {of} is {} away: keep at least {} with body, pole and loose wire ({})",
                    feet_and_metres(distance),
                    feet_and_metres(keep.least_m),
                    keep.source
                );
                Err((SiteRule::PowerLine, reason))
            }
            Some(_) => Ok(there(what)),
        }
    }

    fn span(&self) -> Metres {
        let width = self.input.width_m.unwrap_or(Metres::ZERO);
        self.input.span_m.unwrap_or(self.profile.span.normal.value.max(width))
    }

    fn sag(&self) -> Metres {
        // No deeper than the reckoning of wire takes it.
        let part = (f64::from(self.profile.wire.sag.value) / 100.0).min(0.2);
        Metres::bounded(self.span().value() * part)
    }

    /// The lowest point's height over the ground at the ties.
    fn lowest_point(&self) -> (Metres, String) {
        if let Some(heights) = self.profile.heights_over(self.input.obstacle, self.input.public) {
            return (heights.governs.least_m, heights.governs.source);
        }
        let highest = self.input.water.and_then(|water| water.highest_m).unwrap_or(Metres::ZERO);
        let over_water = &self.profile.wire.over_water;
        let source = format!("above the highest water: {}", over_water.source);
        (highest.max(Metres::ZERO) + over_water.value, source)
    }

    fn tie_height(&self) -> Metres {
        self.lowest_point().0 + self.sag()
    }

    fn pole_set(&self) -> Result<LancePoleSet, crate::units::OutOfRange> {
        lance_pole::pole_set(self.input.lance_pole.unwrap_or_default(), self.tie_height())
    }

    fn passage(&self, construction: Construction) -> Option<(Passage, Metres)> {
        let reach = &self.profile.reach;
        let (passage, reach) = match construction {
            Construction::ThroughCulvert => (self.input.culvert?, reach.culvert.value),
            Construction::UnderBridge => (self.input.bridge?, reach.bridge.value),
            _ => return None,
        };
        Some((passage, reach))
    }

    fn distance(&self, construction: Construction) -> Option<Metres> {
        self.passage(construction).and_then(|(passage, _)| passage.distance_m)
    }

    fn detour(&self, construction: Construction) -> Option<Metres> {
        self.distance(construction).map(|distance| distance + distance)
    }

    fn ranked(&self, construction: Construction, needs: Vec<SiteNeed>) -> Result<Ranked, SiteError> {
        let at_hand =
            if needs.iter().all(|need| need.at_hand == AtHand::There) { AtHand::There } else { AtHand::Look };
        let detour = self.detour(construction).unwrap_or(Metres::ZERO);
        let (lead, follow_up) = self.times(construction, detour)?;
        let on_carriageway = self.on_carriageway(construction, &lead, &follow_up);
        let weight = (lead.work_min + follow_up.work_min + on_carriageway).value();
        #[allow(
            clippy::cast_possible_truncation,
            clippy::cast_sign_loss,
            reason = "minutes are not negative, and bounded"
        )]
        let place = (self.group(construction, at_hand), (weight * 1_000.0).round() as u64);
        Ok(Ranked { place, construction, needs, at_hand, lead, follow_up, on_carriageway })
    }

    fn told(&self, ranked: Ranked) -> Result<SiteWay, SiteError> {
        let Ranked { place: (group, _), construction, needs, at_hand, lead, follow_up, on_carriageway } =
            ranked;
        let input = self.input;
        let overhead = construction.is_overhead();
        let detour = self.detour(construction);
        let lance_poles = match construction {
            Construction::OverheadLancePoles => self.pole_set().ok(),
            _ => None,
        };
        let mut choice = guide::choice_where(input.obstacle, input.public, construction, self.profile);
        choice.cautions.extend(self.cautions_here(construction));
        let distance = self.distance(construction);
        let reason = self.reason(group, &choice, distance, (&lead, &follow_up, on_carriageway));
        Ok(SiteWay {
            choice,
            reason,
            at_hand,
            needs,
            detour_m: detour,
            tie_height_m: overhead.then(|| self.tie_height()),
            span_m: overhead.then(|| self.span()),
            lance_poles,
            wire: self.wire(construction, detour)?,
            materials: self.materials(construction, lance_poles),
            lead,
            follow_up,
            on_carriageway_min: on_carriageway,
        })
    }

    fn group(&self, construction: Construction, at_hand: AtHand) -> Group {
        if construction == Construction::Ladder {
            return Group::Temporary;
        }
        match self.passage(construction) {
            Some((Passage { there: true, distance_m: Some(distance), .. }, reach)) => {
                if distance <= reach {
                    Group::Passage
                } else {
                    Group::FarPassage
                }
            }
            _ if at_hand == AtHand::There => Group::There,
            _ => Group::Look,
        }
    }

    /// The time that people work on the carriageway: to lift a wire over it, to dig it up, to lay a ladder on it.
    fn on_carriageway(&self, construction: Construction, lead: &SiteTime, follow_up: &SiteTime) -> Minutes {
        if !matches!(self.input.obstacle, Obstacle::MainHighway | Obstacle::Road) {
            return Minutes::ZERO;
        }
        match construction {
            Construction::Buried | Construction::Ladder => lead.work_min + follow_up.work_min,
            c if c.is_overhead() => lead.work_min,
            _ => Minutes::ZERO,
        }
    }

    fn reason(
        &self,
        group: Group,
        choice: &Choice,
        distance: Option<Metres>,
        (lead, follow_up, on_carriageway): (&SiteTime, &SiteTime, Minutes),
    ) -> String {
        let mut words = choice.reason.to_owned();
        let reach = self.passage(choice.construction).map_or(Metres::ZERO, |(_, reach)| reach);
        let far = distance.map(|distance| format!("{distance:.0} along the {}", self.input.obstacle));
        match (group, far) {
            (Group::Passage, Some(far)) => {
                words = format!("{words} It is {far}, within the {reach:.0} in which it is preferred.");
            }
            (Group::FarPassage, Some(far)) => {
                words = format!("{words} But it is {far}, out of the {reach:.0} in which it is preferred.");
            }
            (Group::Look, _) => words.push_str(" Nobody has said that all it needs is there: go and look."),
            _ => {}
        }
        let minutes = |time: Minutes| format!("{time:.1}");
        words = format!(
            "{words} {} for the lead team and {} for the follow-up team",
            minutes(lead.work_min),
            minutes(follow_up.work_min)
        );
        if on_carriageway > Minutes::ZERO {
            words =
                format!("{words}, {} of it on the carriageway, which counts twice", minutes(on_carriageway));
        }
        words.push('.');
        words
    }

    /// Cautions that follow from what was said of the place.
    fn cautions_here(&self, construction: Construction) -> Vec<Item> {
        let mut list = Vec::new();
        if construction.is_overhead() {
            if let Some(line) = self.input.power_line.filter(|line| line.there) {
                let keep = self.distance_from_power(construction);
                let voltage = match line.kilovolts {
                    Some(kilovolts) => format!("{kilovolts}"),
                    None => "voltage not known, so as for the highest: ask its owner".to_owned(),
                };
                let text = format!(
                    "A power line is near ({voltage}): keep at least {} from it with body, pole and loose wire, and ask its \
                     owner before work begins.",
                    feet_and_metres(keep.least_m)
                );
                list.push(item("power_near", text, keep.source));
            }
            let normal = &self.profile.span.normal;
            if self.span() > normal.value {
                let text = format!(
                    "The span of {} is longer than the normal {}: reckon its sag under ice and wind before it is built.",
                    feet_and_metres(self.span()),
                    feet_and_metres(normal.value)
                );
                list.push(item("long_span", text, normal.source.to_string()));
            }
        }
        if self.input.water.and_then(|water| water.current) == Some(Current::Fast) {
            list.push(item(
                "fast_water",
                "The water runs fast: nobody enters it and no boat ferries the wire. Take it over by the nearest bridge, or by \
                 a line thrown from the bank.",
                PRACTICE,
            ));
        }
        list
    }

    fn wire(&self, construction: Construction, detour: Option<Metres>) -> Result<SiteWire, SiteError> {
        let overhead = construction.is_overhead();
        let span = self.span();
        let own_sag = self.profile.wire.sag != Profile::field().wire.sag;
        let width = if overhead { Some(span) } else { self.input.width_m };
        // Enough ground on both sides that the crossing has all of its width.
        let room = Metres::from_const(100.0) + span + self.input.width_m.unwrap_or(Metres::ZERO);
        let buried = construction == Construction::Buried;
        let crossing = wire::Crossing {
            width_m: width,
            tie_height_m: overhead.then(|| self.tie_height().min(Metres::from_const(100.0))),
            sag_m: (overhead && own_sag).then(|| self.sag()),
            depth_m: buried.then_some(self.profile.burial.depth.value),
            detour_m: detour.map(|detour| detour.min(Metres::from_const(FARTHEST))),
            ..wire::Crossing::foreseen(room, self.input.obstacle, construction)
        };
        let question = wire::Input {
            legs: vec![wire::Leg { name: None, length_m: room + room, slack_percent: None }],
            crossings: vec![crossing],
            splices: 0,
            figures: self.profile.wire_figures(),
            at_chainages_m: Vec::new(),
            at_wires_m: Vec::new(),
        };
        let answer = wire::reckon(&question).map_err(|error| SiteError::NotReckoned(error.to_string()))?;
        let items: Vec<SiteWireItem> = answer
            .items
            .into_iter()
            .filter(|item| item.crossing == Some(0))
            .map(|item| SiteWireItem {
                source: self.wire_source(construction, item.what, item.source),
                why: item.why,
                drawn_m: item.drawn_m,
            })
            .collect();
        Ok(SiteWire { drawn_m: items.iter().map(|item| item.drawn_m).sum(), items })
    }

    /// The source of a figure that came out of the profile and not out of the question.
    fn wire_source(&self, construction: Construction, what: What, source: &str) -> String {
        let wire = &self.profile.wire;
        if what == What::UpAndDown && construction.is_overhead() {
            return format!("the least height and the sag: {}; {}", self.lowest_point().1, wire.sag.source);
        }
        if what == What::Across && source == GIVEN && self.input.width_m.is_none() {
            return PRACTICE.to_owned();
        }
        if source != GIVEN {
            return source.to_owned();
        }
        match what {
            What::UpAndDown => self.profile.burial.depth.source.to_string(),
            What::Tail => wire.tail.source.to_string(),
            What::TrenchSpare => wire.trench_spare.source.to_string(),
            What::Splice => wire.splice.source.to_string(),
            What::Span => wire.sag.source.to_string(),
            _ => GIVEN.to_owned(),
        }
    }

    fn times(&self, construction: Construction, detour: Metres) -> Result<(SiteTime, SiteTime), SiteError> {
        let input = self.input;
        let mut figures = self.profile.pace_figures(input.light, input.lead_means, input.follow_up_means);
        // Only the crossing is asked about, not the line's end.
        figures.end_test_min = Some(Minutes::ZERO);
        let question = pace::Input {
            legs: vec![pace::Leg { length_m: detour, ground: Ground::Roadside }],
            crossings: vec![pace::Crossing {
                chainage_m: detour.half(),
                obstacle: input.obstacle,
                construction,
                lead_min: None,
                follow_up_min: None,
            }],
            reel_changes: 0,
            light: input.light,
            lead_means: input.lead_means,
            follow_up_means: input.follow_up_means,
            follow_up_after_min: Minutes::ZERO,
            figures,
        };
        let answer = pace::reckon(&question).map_err(|error| SiteError::NotReckoned(error.to_string()))?;
        let pace = &self.profile.pace;
        let at_crossing = pace.constructions.of(construction);
        let laying = pace.laying_rate(input.lead_means, input.light).source.as_str();
        let following = pace.following_rate(input.follow_up_means).source.as_str();
        let words = construction.words();
        let time = |team: pace::Team, here: &str, on_the_way: &str| {
            let items: Vec<SiteTimeItem> = team
                .items
                .into_iter()
                .filter(|item| item.minutes > Minutes::ZERO)
                .map(|item| {
                    let own = if item.what == words { here } else { on_the_way };
                    let source = if item.source == GIVEN { own } else { item.source };
                    let night = pace.night.source.as_str();
                    let times = if item.times_source == GIVEN { night } else { item.times_source };
                    let longer = item.times.value() > 1.0;
                    SiteTimeItem {
                        source: if longer { format!("{source}; {times}") } else { source.to_owned() },
                        what: item.what,
                        minutes: item.minutes,
                    }
                })
                .collect();
            SiteTime { work_min: items.iter().map(|item| item.minutes).sum(), items }
        };
        Ok((
            time(answer.lead, at_crossing.lead.source.as_str(), laying),
            time(answer.follow_up, at_crossing.follow_up.source.as_str(), following),
        ))
    }

    fn materials(&self, construction: Construction, poles: Option<LancePoleSet>) -> Vec<SiteMaterial> {
        use Construction as C;
        let width = self.input.width_m;
        let mut list = List(vec![]);
        list.count("tags", 2, "one on each side, with the line's number", "SS0444 p. 30, par. 37");
        match construction {
            C::ThroughCulvert => {
                list.length("rod or line", width, "to pull the wire through", PRACTICE);
                list.count("stakes", 2, "to tie both ends outside, above the normal water", PRACTICE);
                list.count("pads or tape", 2, "where the wire bends over an edge", PRACTICE);
            }
            C::UnderBridge => {
                list.length("marline", width, "ties under or outside the deck, at intervals", PRACTICE);
                list.count("pads or tape", 2, "where the wire bends over an edge", PRACTICE);
            }
            C::UnderRails => {
                list.count("stakes", 2, "one outside the rails on each side", "SS0444 p. 25");
                list.count(
                    "wooden-handled shovel",
                    1,
                    "a trench in the ballast and beyond it",
                    "SS0440 p. 7",
                );
                list.count("mallet", 1, "for the stakes", "SS0440 p. 7");
            }
            C::OverheadTrees | C::OverheadPoles => {
                let height = self.tie_height();
                list.length(
                    "throw-line",
                    Some(height + height + self.span()),
                    "up one side, over and down the other",
                    PRACTICE,
                );
                list.count("stakes", 2, "ground ties on both sides", "SS0440 p. 29");
                list.count("climbing belt", 1, "for a climber who is trained for it", "SS0440 p. 7");
                if construction == C::OverheadPoles {
                    let why = "4 to 6 in (10 to 15 cm) at each insulator";
                    list.lengths("tape", 2, Metres::from_const(0.15), why, "SS0440 p. 31");
                }
            }
            C::OverheadLancePoles => self.lance_pole_materials(&mut list, poles),
            C::Buried => {
                list.count("stakes", 2, "one on each side", "SS0444 p. 25");
                list.count("shovel", 1, "for the trench", "SS0440 p. 7");
                list.count("mattock", 1, "for the trench", "Corcoran 1917");
                list.count("mallet", 1, "for the stakes", "SS0440 p. 7");
            }
            C::Ladder => {
                list.count("stakes", 4, "each conductor on each side", "SS0440 p. 33");
                list.count("pliers and tape", 1, "to splice both conductors on both sides", "SS0440 p. 33");
            }
        }
        list.count("gloves, pairs", 2, "for whoever lets wire run through the hands", "PS 615 pp. 42, 43");
        list.0
    }

    fn lance_pole_materials(&self, list: &mut List, poles: Option<LancePoleSet>) {
        let pole = self.input.lance_pole.unwrap_or_default();
        let each = u32::from(poles.map_or(2, |set| set.poles));
        let why = match poles.and_then(|set| set.overlap_m) {
            Some(overlap) => format!("{each} lashed on each side, overlapping {}", feet_and_metres(overlap)),
            None => "one on each side".to_owned(),
        };
        list.lengths("lance poles", 2 * each, pole.length_m, why, "SS0440 p. 31");
        let guys = lance_pole::guys(self.tie_height(), Newtons::ZERO, Newtons::ZERO);
        let count = 2 * u32::from(guys.guys);
        let why = format!("{} on each side, staked {} out", guys.guys, feet_and_metres(guys.out_m));
        list.lengths("guys", count, guys.length_m, why, "SS0440 p. 31");
        list.count("stakes", count + 2, "one for each guy and one at each pole's foot", "SS0440 p. 31");
        if each > 1 {
            list.count("lashings", 4, "two for each pair of poles", PRACTICE);
        }
        list.count("mallet", 1, "for the stakes", "SS0440 p. 7");
        let why = "4 to 6 in (10 to 15 cm) at each tie";
        list.lengths("tape", 2, feet(0.5), why, "SS0440 p. 31");
    }
}

/// A culvert or a bridge: whether it is there, and how far.
fn passage(what: &str, passage: Option<Passage>) -> Result<SiteNeed, Refused> {
    let Some(passage) = passage else { return Ok(look(format!("a {what} within reach"))) };
    if !passage.there {
        return Err((SiteRule::NotAtHand, format!("There is no {what} within reach")));
    }
    Ok(match passage.distance_m {
        Some(distance) => there(format!("a {what}, {distance:.0} away")),
        None => look(format!("how far the {what} is")),
    })
}

/// Whether water leaves a culvert or a bridge open.
fn dry(passage: Option<Passage>, what: &str, without: &str) -> Result<SiteNeed, Refused> {
    need(passage.and_then(|passage| passage.flooded).map(|flooded| !flooded), what, without)
}

/// Materials as they add up.
struct List(Vec<SiteMaterial>);

impl List {
    fn add(
        &mut self,
        what: &str,
        count: Option<u32>,
        length_m: Option<Metres>,
        why: impl Into<String>,
        source: &str,
    ) {
        let (what, why, source) = (what.to_owned(), why.into(), source.to_owned());
        self.0.push(SiteMaterial { what, count, length_m, why, source });
    }

    fn count(&mut self, what: &str, count: u32, why: impl Into<String>, source: &str) {
        self.add(what, Some(count), None, why, source);
    }

    fn length(&mut self, what: &str, length: Option<Metres>, why: impl Into<String>, source: &str) {
        self.add(what, None, length, why, source);
    }

    fn lengths(&mut self, what: &str, count: u32, length: Metres, why: impl Into<String>, source: &str) {
        self.add(what, Some(count), Some(length), why, source);
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_best_of_some_constructions_is_the_first_of_them_in_the_whole_list() {
        let passage = |distance| {
            Some(Passage { there: true, distance_m: Some(Metres::from_const(distance)), flooded: None })
        };
        let places =
            [(None, None), (passage(40.0), None), (passage(900.0), passage(60.0)), (None, passage(0.0))];
        for obstacle in Obstacle::ALL {
            for hard_surface in [None, Some(true), Some(false)] {
                for (culvert, bridge) in places {
                    let site = SiteInput { hard_surface, culvert, bridge, ..SiteInput::of(obstacle) };
                    let ways = reckon(&site, Profile::field()).unwrap().ways;
                    for left_out in Construction::ALL {
                        let among = |construction| construction != left_out;
                        let first = ways.iter().find(|way| among(way.choice.construction)).cloned();
                        assert_eq!(best(&site, Profile::field(), among).unwrap(), first);
                    }
                    assert_eq!(best(&site, Profile::field(), |_| false).unwrap(), None);
                }
            }
        }
    }
}
