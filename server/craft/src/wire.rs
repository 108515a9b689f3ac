//! The wire that a line takes, item by item: the ground with its slack, what each crossing takes, the ends and the
//! splices; and the way from a distance along the wire to a chainage on the ground and back. It never chooses a
//! construction and never lays out reels. Every figure has its source beside it; sources by key: *SS0440* and *SS0444*
//! are US Army correspondence subcourses on field wire and on cable lines, after TC 24-20.
//!
//! Three distances run along a line and are kept apart. *Chainage* is over the ground. *Distance along the wire* is what
//! a current runs through, and what a fault is measured by. *Wire drawn* is what leaves the reels: it holds the second
//! pair of a ladder and the ends that splices use up as well.

use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

use crate::{
    bounds::{NoAnswer, OutOfBounds, count, range},
    construction::Construction,
    figure::{GIVEN, PLANNING, PlanningFigure},
    guide,
    obstacle::Obstacle,
    profile::{Length, Profile},
    refusal::Refusal,
    text::Name,
    units::Metres,
};

/// The most legs in a line.
pub const MOST_LEGS: usize = 100_000;
/// The most crossings in a line.
pub const MOST_CROSSINGS: usize = 2_000;
/// The most distances to look up at once.
pub const MOST_QUESTIONS: usize = 1_000;
/// The longest line, all its legs together.
pub const LONGEST: Metres = Metres::from_const(500_000.0);
/// The most slack, in percent of the ground.
pub const MOST_SLACK_PERCENT: u8 = 100;

const LONGEST_AT_CROSSING: f64 = 10_000.0;
/// The highest tie.
pub(crate) const HIGHEST: Metres = Metres::from_const(100.0);
/// The deepest trench.
pub(crate) const DEEPEST: Metres = Metres::from_const(10.0);
/// Beyond a fifth of the span the short formula for the wire in it is no longer good enough, see [`span_wire`].
const DEEPEST_SAG: f64 = 0.2;

const REBUILD: &str = "SS0440 p. 31: enough to rebuild the span, half of it on each side";
const IN_TIE_HEIGHT: &str = "least height over this obstacle in the profile, and the sag";
const STRAIGHT: &str = "common practice, no source: straight across";
const NO_SLACK: &str = "SS0444 p. 25: under the rails without slack";
const LADDER: &str = "SS0440 p. 33: each conductor spliced to a pair of its own, so two pairs lie across";

/// What it takes to reckon the wire of a line.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
#[schema(as = WireInput)]
pub struct Input {
    /// The line's legs over the ground, one after the other. 1 to [`MOST_LEGS`].
    #[schema(min_items = 1, max_items = 100_000)]
    pub legs: Vec<Leg>,
    /// The crossings on them, in any order. At most [`MOST_CROSSINGS`].
    #[serde(default)]
    #[schema(max_items = 2_000)]
    pub crossings: Vec<Crossing>,
    /// Splices between reels; those of ladders are counted at their crossing. 0 to 65,535.
    #[serde(default)]
    pub splices: u16,
    /// Figures to take instead of the planning values.
    #[serde(default)]
    pub figures: Figures,
    /// Chainages to find along the wire, in metres from 0 to the line's length. At most [`MOST_QUESTIONS`].
    #[serde(default)]
    #[schema(max_items = 1_000)]
    pub at_chainages_m: Vec<Metres>,
    /// Distances along the wire to find on the ground, in metres from 0 to the wire's length. At most
    /// [`MOST_QUESTIONS`].
    #[serde(default)]
    #[schema(max_items = 1_000)]
    pub at_wires_m: Vec<Metres>,
}

/// A stretch of the line that is laid in one manner.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
#[schema(as = WireLeg)]
pub struct Leg {
    /// What to call it.
    #[serde(default)]
    pub name: Option<Name>,
    /// Its length over the ground, in metres from 0 to 500,000, all legs together no more than that.
    pub length_m: Metres,
    /// Wire laid beyond the ground distance, in percent of it, 0 to 100. Left out: that of the line.
    #[serde(default)]
    #[schema(maximum = 100)]
    pub slack_percent: Option<u8>,
}

/// A crossing and what is known of it. What is left out is filled with planning values.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
#[schema(as = WireCrossing)]
pub struct Crossing {
    /// Where its middle is, in metres along the ground from 0 to the line's length.
    pub chainage_m: Metres,
    /// What is crossed.
    pub obstacle: Obstacle,
    /// How.
    pub construction: Construction,
    /// The ground from side to side, in metres from 0 to 10,000; overhead, from support to support.
    #[serde(default)]
    pub width_m: Option<Metres>,
    /// Overhead only: height of the ties above the ground, in metres from 0 to 100.
    #[serde(default)]
    pub tie_height_m: Option<Metres>,
    /// Overhead only: sag in the middle, in metres from 0 to a fifth of the span.
    #[serde(default)]
    pub sag_m: Option<Metres>,
    /// Overhead only: the wire between the supports where the span has been reckoned, in metres from the width to
    /// 10,000. It goes before the sag.
    #[serde(default)]
    pub span_wire_m: Option<Metres>,
    /// Buried only: depth of the trench, in metres from 0 to 10.
    #[serde(default)]
    pub depth_m: Option<Metres>,
    /// Culvert and bridge only: the way there and back again beyond the planned trace, over the ground, in metres from 0
    /// to 10,000.
    #[serde(default)]
    pub detour_m: Option<Metres>,
    /// Spare wire left on each side, in metres from 0 to 10,000. Not under rails, where none may lie slack.
    #[serde(default)]
    pub tail_m: Option<Metres>,
}

impl Crossing {
    /// A crossing of which nothing is known but its place and kind.
    #[must_use]
    pub fn foreseen(chainage_m: Metres, obstacle: Obstacle, construction: Construction) -> Self {
        Self {
            chainage_m,
            obstacle,
            construction,
            width_m: None,
            tie_height_m: None,
            sag_m: None,
            span_wire_m: None,
            depth_m: None,
            detour_m: None,
            tail_m: None,
        }
    }
}

/// Figures to take instead of the planning values.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
#[schema(as = WireFigures)]
pub struct Figures {
    /// Wire laid beyond the ground distance, in percent of it, 0 to 100. Else 20 (SS0444 p. 23).
    #[serde(default)]
    #[schema(maximum = 100)]
    pub slack_percent: Option<u8>,
    /// Wire at each end of the line, in metres from 0 to 10,000. Else 10.
    #[serde(default)]
    pub end_m: Option<Metres>,
    /// Spare wire on each side of a crossing, in metres from 0 to 10,000. Else 2, and half the span on lance poles.
    #[serde(default)]
    pub tail_m: Option<Metres>,
    /// Spare wire in a trench, in metres from 0 to 10,000. Else 1.
    #[serde(default)]
    pub trench_spare_m: Option<Metres>,
    /// Wire that a splice uses up, in metres from 0 to 10,000. Else 0.3.
    #[serde(default)]
    pub splice_m: Option<Metres>,
}

/// What a piece of wire is for.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
#[schema(as = WireUse)]
pub enum What {
    /// At an end of the line.
    End,
    /// Over open ground.
    Ground,
    /// Beyond the ground distance, so that the line lies slack.
    Slack,
    /// Spare beside a crossing.
    Tail,
    /// To a culvert or bridge and back to the trace.
    Detour,
    /// Up to a tie, or down from it.
    UpAndDown,
    /// Between the supports of an overhead crossing.
    Span,
    /// Straight across, through a culvert, along a bridge, under rails, in a trench or on a ladder.
    Across,
    /// Spare in a trench.
    TrenchSpare,
    /// A ladder's second pair.
    SecondPair,
    /// Used up by splices.
    Splice,
}

impl What {
    /// Every kind, in the order of a summary.
    pub const ALL: [Self; 11] = [
        Self::Ground,
        Self::Slack,
        Self::Across,
        Self::Span,
        Self::UpAndDown,
        Self::Detour,
        Self::TrenchSpare,
        Self::Tail,
        Self::SecondPair,
        Self::Splice,
        Self::End,
    ];
}

/// One item of the wire, from the near end to the far end. Slack lies in the same stretch of ground as the wire that it
/// is added to, and stands beside it in the same item.
#[derive(Debug, Clone, PartialEq, Serialize, ToSchema)]
#[schema(as = WireItem)]
pub struct Item {
    /// What it is for.
    pub what: What,
    /// Which leg, counted from 0 in the order of the question.
    #[schema(required = true)]
    pub leg: Option<usize>,
    /// Which crossing, counted from 0 in the order of the question.
    #[schema(required = true)]
    pub crossing: Option<usize>,
    /// Where it begins on the ground, in metres.
    pub from_chainage_m: Metres,
    /// Where it ends on the ground, in metres.
    pub to_chainage_m: Metres,
    /// Where it begins along the wire, in metres.
    pub from_wire_m: Metres,
    /// Where it ends along the wire, in metres. Wire that no current runs along takes none of this distance.
    pub to_wire_m: Metres,
    /// The wire that leaves the reels for it, in metres.
    pub drawn_m: Metres,
    /// How much of that is slack, in metres.
    pub slack_m: Metres,
    /// The sum in words.
    pub why: String,
    /// Where the figure in it is from.
    pub source: &'static str,
}

/// The wire of one kind in the whole line.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize, ToSchema)]
#[schema(as = WireTotal)]
pub struct Total {
    /// What it is for.
    pub what: What,
    /// Wire drawn, in metres.
    pub drawn_m: Metres,
}

/// The wire of one leg or of one crossing.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, ToSchema)]
#[schema(as = WireShare)]
pub struct Share {
    /// Which one, counted from 0 in the order of the question.
    pub number: usize,
    /// Where it begins along the wire, in metres.
    pub from_wire_m: Metres,
    /// Where it ends along the wire, in metres.
    pub to_wire_m: Metres,
    /// Wire drawn for it, in metres; a leg's without that of the crossings on it.
    pub drawn_m: Metres,
}

/// A chainage found along the wire. At a tie, a tail or a detour the wire runs on while the chainage stands still.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, ToSchema)]
#[schema(as = WireAtChainage)]
pub struct AlongWire {
    /// The place on the ground, in metres.
    pub chainage_m: Metres,
    /// The least distance along the wire that lies there, in metres.
    pub from_wire_m: Metres,
    /// The greatest one, in metres.
    pub to_wire_m: Metres,
}

/// A distance along the wire found on the ground.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, ToSchema)]
#[schema(as = WireOnGround)]
pub struct OnGround {
    /// The distance along the wire, in metres.
    pub wire_m: Metres,
    /// Where it lies on the ground, in metres.
    pub chainage_m: Metres,
    /// What the wire is for there.
    pub what: What,
    /// At which crossing, counted from 0 in the order of the question.
    #[schema(required = true)]
    pub crossing: Option<usize>,
}

/// The wire of a line.
#[derive(Debug, Clone, PartialEq, Serialize, ToSchema)]
#[schema(as = WireAnswer)]
pub struct Answer {
    /// The line's length over the ground, in metres.
    pub ground_m: Metres,
    /// The line's length along the wire, in metres: what a current runs through.
    pub wire_m: Metres,
    /// Wire drawn, in metres: what has to be at hand.
    pub drawn_m: Metres,
    /// Wire drawn by what it is for. They add up to the wire drawn.
    pub totals: Vec<Total>,
    /// Wire by leg.
    pub legs: Vec<Share>,
    /// Wire by crossing.
    pub crossings: Vec<Share>,
    /// Every item from the near end to the far end.
    pub items: Vec<Item>,
    /// The chainages that were asked for.
    pub at_chainages: Vec<AlongWire>,
    /// The distances along the wire that were asked for.
    pub at_wires: Vec<OnGround>,
    /// What a chief should look at: crossings that run into each other or over an end.
    pub remarks: Vec<String>,
}

/// Why the wire was not reckoned.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum Error {
    /// A list or a figure is out of its bounds.
    #[error(transparent)]
    Bounds(#[from] OutOfBounds),
    /// A figure that this construction has not got.
    #[error("{field} does not go with a crossing {construction}; leave it out, or change the construction")]
    NotOfThis {
        /// The figure, such as `crossings[3].depth_m`.
        field: String,
        /// The construction that was given.
        construction: Construction,
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
            Self::NotOfThis { field, .. } => Some(field.clone()),
            Self::Refused { crossing, .. } => Some(format!("crossings[{crossing}].construction")),
        }
    }
}

/// The wire between two level supports, from the span and its sag.
///
/// # Units
/// Metres.
///
/// # Source
/// S + 8 d² / 3 S, the textbooks' short formula. At a sag of a twentieth of the span it is 0.03 mm a metre too long
/// beside the catenary, at a fifth 6.3 mm.
///
/// ```
/// use laywire_craft::{units::Metres, wire::span_wire};
/// // Soni, Gupta, Bhatnagar and Chakrabarti, Power System Engineering, example 5.1: 250 m, sag 2 m, wire 250.043 m.
/// let wire = span_wire(Metres::from_const(250.0), Metres::from_const(2.0));
/// assert!((wire.value() - 250.043).abs() < 0.0005);
/// ```
#[must_use]
pub fn span_wire(span: Metres, sag: Metres) -> Metres {
    if span <= Metres::ZERO {
        return Metres::ZERO;
    }
    Metres::bounded(span.value() + 8.0 * sag.value() * sag.value() / (3.0 * span.value()))
}

/// The sag to plan with where nobody has measured it.
pub(crate) fn usual_sag(span: Metres) -> Metres {
    Metres::bounded(span.value() * f64::from(Profile::field().wire.sag.value) / 100.0)
}

/// A line's wire laid out from the near end to the far end.
#[derive(Debug, Clone, PartialEq)]
pub struct Layout {
    ground: Metres,
    items: Vec<Item>,
    /// Wire drawn before each item, and after the last.
    drawn: Vec<Metres>,
    /// The splices between reels, which lie nowhere in particular until the reels are chosen.
    splices: Item,
    remarks: Vec<String>,
}

/// Where no splice between reels may fall: a setting of the unit, stricter or laxer.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields, default)]
#[allow(clippy::struct_excessive_bools, reason = "each is a place where splices may or may not be")]
pub struct NoSplice {
    /// In an overhead span over a stream, ties included. Common practice, no source.
    pub stream_spans: bool,
    /// In any other overhead span: the weaker conductor of a splice breaks first there (SS04377 p. 22).
    pub overhead_spans: bool,
    /// In a culvert. Common practice, no source.
    pub culverts: bool,
    /// Along a bridge. Common practice, no source.
    pub bridges: bool,
    /// Under rails. Common practice, no source.
    pub rails: bool,
    /// In a trench. Common practice, no source.
    pub trenches: bool,
    /// Along a ladder, which has splices of its own at both sides.
    pub ladders: bool,
    /// How far to keep from each such place, in metres of wire from 0 to 1,000. Planning value, editable.
    #[schema(minimum = 0, maximum = 1_000)]
    pub clear_m: Metres,
}

impl Default for NoSplice {
    fn default() -> Self {
        Profile::field().no_splice()
    }
}

impl NoSplice {
    fn forbids(&self, crossing: &Crossing) -> bool {
        match crossing.construction {
            c if c.is_overhead() && crossing.obstacle == Obstacle::Stream => self.stream_spans,
            Construction::OverheadTrees | Construction::OverheadPoles | Construction::OverheadLancePoles => {
                self.overhead_spans
            }
            Construction::ThroughCulvert => self.culverts,
            Construction::UnderBridge => self.bridges,
            Construction::UnderRails => self.rails,
            Construction::Buried => self.trenches,
            Construction::Ladder => self.ladders,
        }
    }
}

/// A stretch of wire drawn in which no splice may fall.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct NoSpliceStretch {
    /// Which crossing, counted from 0 in the order of the question.
    pub crossing: usize,
    /// Where it begins, in metres of wire drawn.
    pub from: Metres,
    /// Where it ends, in metres of wire drawn.
    pub to: Metres,
}

impl Layout {
    /// Lays the wire out.
    ///
    /// # Errors
    /// A list too long, a figure out of range or out of place, or a construction that the trade refuses there.
    pub fn new(input: &Input) -> Result<Self, Error> {
        check(input)?;
        Ok(Builder::new(input).build())
    }

    /// The line's length over the ground.
    #[must_use]
    pub fn ground(&self) -> Metres {
        self.ground
    }

    /// The line's length along the wire.
    #[must_use]
    pub fn wire(&self) -> Metres {
        self.items.last().map_or(Metres::ZERO, |item| item.to_wire_m)
    }

    /// Wire drawn, without what the splices between reels use up.
    #[must_use]
    pub fn drawn(&self) -> Metres {
        self.drawn.last().copied().unwrap_or(Metres::ZERO)
    }

    /// Every item from the near end to the far end.
    #[must_use]
    pub fn items(&self) -> &[Item] {
        &self.items
    }

    /// Where a distance along the wire lies on the ground. It never runs backwards, and at [`Layout::along_wire`]'s
    /// distances it gives the chainage back.
    ///
    /// # Errors
    /// A distance that is not on the line.
    pub fn on_ground(&self, wire: Metres) -> Result<OnGround, OutOfBounds> {
        range(|| "at_wires_m".to_owned(), wire, 0.0, self.wire().value())?;
        let after = self.items.partition_point(|item| item.from_wire_m <= wire);
        // The last item that begins here and has some length; at the far end, the last of all.
        let item = self.items[..after].iter().rev().find(|item| item.to_wire_m > item.from_wire_m);
        Ok(item.map_or(
            OnGround { wire_m: wire, chainage_m: Metres::ZERO, what: What::End, crossing: None },
            |item| {
                let along = (item.from_wire_m, item.to_wire_m);
                let chainage_m = between(wire, along, (item.from_chainage_m, item.to_chainage_m));
                OnGround { wire_m: wire, chainage_m, what: item.what, crossing: item.crossing }
            },
        ))
    }

    /// Where a length of wire drawn from the reels has got to on the ground: for a splice between reels.
    ///
    /// # Errors
    /// A length that is not on the line.
    pub fn drawn_to(&self, drawn: Metres) -> Result<Metres, OutOfBounds> {
        range(|| "drawn_m".to_owned(), drawn, 0.0, self.drawn().value())?;
        let after = self.drawn.partition_point(|&begin| begin <= drawn).clamp(1, self.items.len());
        let item = &self.items[after - 1];
        let begin = self.drawn[after - 1];
        Ok(between(drawn, (begin, self.drawn[after]), (item.from_chainage_m, item.to_chainage_m)))
    }

    /// The wire drawn from the reels when the laying has come to a chainage; at a crossing, when it begins there.
    ///
    /// # Errors
    /// A chainage that is not on the line.
    pub fn drawn_at(&self, chainage: Metres) -> Result<Metres, OutOfBounds> {
        range(|| "chainage_m".to_owned(), chainage, 0.0, self.ground.value())?;
        let number = self.items.partition_point(|item| item.to_chainage_m < chainage);
        Ok(self.items.get(number).map_or(Metres::ZERO, |item| {
            let ground = (item.from_chainage_m, item.to_chainage_m);
            between(chainage, ground, (self.drawn[number], self.drawn[number + 1]))
        }))
    }

    /// The wire of each crossing, in the order of the question.
    #[must_use]
    pub fn crossings(&self, many: usize) -> Vec<Share> {
        self.shares(many, |item| item.crossing)
    }

    /// The wire that lies at a chainage: one distance on open ground, a stretch where the wire runs up, down or aside.
    ///
    /// # Errors
    /// A chainage that is not on the line.
    pub fn along_wire(&self, chainage: Metres) -> Result<AlongWire, OutOfBounds> {
        range(|| "at_chainages_m".to_owned(), chainage, 0.0, self.ground.value())?;
        let first = self.items.partition_point(|item| item.to_chainage_m < chainage);
        let after = self.items.partition_point(|item| item.from_chainage_m <= chainage);
        let at = |item: &Item, or: Metres| {
            if item.to_chainage_m > item.from_chainage_m {
                let ground = (item.from_chainage_m, item.to_chainage_m);
                between(chainage, ground, (item.from_wire_m, item.to_wire_m))
            } else {
                or
            }
        };
        let from_wire_m = self.items.get(first).map_or(Metres::ZERO, |item| at(item, item.from_wire_m));
        let to_wire_m = self.items[..after].last().map_or(Metres::ZERO, |item| at(item, item.to_wire_m));
        Ok(AlongWire { chainage_m: chainage, from_wire_m, to_wire_m: to_wire_m.max(from_wire_m) })
    }

    /// Where no splice between reels may fall, in the order in which the wire is drawn. Stretches may touch or overlap.
    ///
    /// # Errors
    /// A clearance out of range.
    pub fn no_splice(&self, input: &Input, setting: &NoSplice) -> Result<Vec<NoSpliceStretch>, OutOfBounds> {
        range(|| "clear_m".to_owned(), setting.clear_m, 0.0, 1_000.0)?;
        let mut stretches: Vec<NoSpliceStretch> = Vec::new();
        for (number, item) in self.items.iter().enumerate() {
            let Some(crossing) = item.crossing else { continue };
            let apart = matches!(item.what, What::Tail | What::Detour);
            if apart || !input.crossings.get(crossing).is_some_and(|c| setting.forbids(c)) {
                continue;
            }
            let from = (self.drawn[number] - setting.clear_m).max(Metres::ZERO);
            let to = (self.drawn[number + 1] + setting.clear_m).min(self.drawn());
            match stretches.last_mut() {
                Some(last) if last.crossing == crossing => last.to = to,
                _ => stretches.push(NoSpliceStretch { crossing, from, to }),
            }
        }
        Ok(stretches)
    }

    fn totals(&self) -> Vec<Total> {
        let mut sums = [0.0; What::ALL.len()];
        let place = |what| What::ALL.iter().position(|&w| w == what).unwrap_or_default();
        for item in self.items.iter().chain([&self.splices]) {
            sums[place(item.what)] += (item.drawn_m - item.slack_m).value();
            sums[place(What::Slack)] += item.slack_m.value();
        }
        What::ALL
            .into_iter()
            .zip(sums)
            .filter(|&(_, sum)| sum > 0.0)
            .map(|(what, sum)| Total { what, drawn_m: Metres::bounded(sum) })
            .collect()
    }

    fn shares(&self, many: usize, of: impl Fn(&Item) -> Option<usize>) -> Vec<Share> {
        let mut shares: Vec<Option<Share>> = vec![None; many];
        for item in &self.items {
            let Some(number) = of(item) else { continue };
            let Some(slot) = shares.get_mut(number) else { continue };
            let share = slot.get_or_insert(Share {
                number,
                from_wire_m: item.from_wire_m,
                to_wire_m: item.to_wire_m,
                drawn_m: Metres::ZERO,
            });
            share.to_wire_m = item.to_wire_m;
            share.drawn_m = share.drawn_m + item.drawn_m;
        }
        shares.into_iter().flatten().collect()
    }
}

/// What `at` in one stretch is in another, in proportion; inside the other's ends whatever the rounding does.
fn between(at: Metres, (from, to): (Metres, Metres), (begin, end): (Metres, Metres)) -> Metres {
    if to <= from {
        return begin;
    }
    let part = (at - from).value() / (to - from).value();
    Metres::bounded(begin.value() + part * (end - begin).value()).max(begin).min(end)
}

/// The wire that a line takes, item by item.
///
/// # Units
/// Metres.
///
/// # Errors
/// As [`Layout::new`], and distances to look up that are not on the line.
///
/// # Source
/// The slack is SS0444 p. 23; each item names its own.
///
/// ```
/// use laywire_craft::wire::{Input, reckon};
/// // 5 miles of ground at 20 % slack are 6 miles of wire.
/// let asked = r#"{"legs":[{"length_m":8046.72}],"figures":{"end_m":0}}"#;
/// let answer = reckon(&serde_json::from_str::<Input>(asked).unwrap()).unwrap();
/// assert!((answer.drawn_m.value() - 6.0 * 1609.344).abs() < 1e-9);
/// ```
pub fn reckon(input: &Input) -> Result<Answer, Error> {
    count("at_chainages_m", input.at_chainages_m.len(), 0, MOST_QUESTIONS)?;
    count("at_wires_m", input.at_wires_m.len(), 0, MOST_QUESTIONS)?;
    let layout = Layout::new(input)?;
    let at_chainages =
        input.at_chainages_m.iter().map(|&c| layout.along_wire(c)).collect::<Result<_, _>>()?;
    let at_wires = input.at_wires_m.iter().map(|&w| layout.on_ground(w)).collect::<Result<_, _>>()?;
    let totals = layout.totals();
    let legs = layout.shares(input.legs.len(), |item| if item.crossing.is_none() { item.leg } else { None });
    let crossings = layout.crossings(input.crossings.len());
    let (ground_m, wire_m) = (layout.ground(), layout.wire());
    let drawn_m = layout.drawn() + layout.splices.drawn_m;
    let mut items = layout.items;
    if input.splices > 0 {
        items.push(layout.splices);
    }
    Ok(Answer {
        ground_m,
        wire_m,
        drawn_m,
        totals,
        legs,
        crossings,
        items,
        at_chainages,
        at_wires,
        remarks: layout.remarks,
    })
}

fn check(input: &Input) -> Result<(), Error> {
    count("legs", input.legs.len(), 1, MOST_LEGS)?;
    count("crossings", input.crossings.len(), 0, MOST_CROSSINGS)?;
    let slack = |field: &dyn Fn() -> String, percent: Option<u8>| {
        percent.map_or(Ok(()), |percent| range(field, percent, 0.0, f64::from(MOST_SLACK_PERCENT)))
    };
    let figures = &input.figures;
    slack(&|| "figures.slack_percent".to_owned(), figures.slack_percent)?;
    for (field, figure) in [
        ("figures.end_m", figures.end_m),
        ("figures.tail_m", figures.tail_m),
        ("figures.trench_spare_m", figures.trench_spare_m),
        ("figures.splice_m", figures.splice_m),
    ] {
        if let Some(figure) = figure {
            range(|| field.to_owned(), figure, 0.0, LONGEST_AT_CROSSING)?;
        }
    }
    let mut length = Metres::ZERO;
    for (number, leg) in input.legs.iter().enumerate() {
        range(
            || format!("legs[{number}].length_m"),
            leg.length_m,
            0.0,
            (LONGEST - length).max(Metres::ZERO).value(),
        )?;
        slack(&|| format!("legs[{number}].slack_percent"), leg.slack_percent)?;
        length = length + leg.length_m;
    }
    for (number, crossing) in input.crossings.iter().enumerate() {
        range(|| format!("crossings[{number}].chainage_m"), crossing.chainage_m, 0.0, length.value())?;
        check_crossing(number, crossing)?;
    }
    Ok(())
}

fn check_crossing(number: usize, crossing: &Crossing) -> Result<(), Error> {
    let construction = crossing.construction;
    // Whether the surface can be dug was settled with the construction: only a hard one gets a ladder.
    guide::check(crossing.obstacle, construction == Construction::Ladder, construction)
        .map_err(|refusal| Error::Refused { crossing: number, refusal })?;
    let overhead = construction.is_overhead();
    let aside = matches!(construction, Construction::ThroughCulvert | Construction::UnderBridge);
    let width = width(crossing).value.value();
    let figures = [
        ("width_m", crossing.width_m, true, 0.0, LONGEST_AT_CROSSING),
        ("tie_height_m", crossing.tie_height_m, overhead, 0.0, HIGHEST.value()),
        ("sag_m", crossing.sag_m, overhead, 0.0, width * DEEPEST_SAG),
        ("span_wire_m", crossing.span_wire_m, overhead, width, LONGEST_AT_CROSSING),
        ("depth_m", crossing.depth_m, construction == Construction::Buried, 0.0, DEEPEST.value()),
        ("detour_m", crossing.detour_m, aside, 0.0, LONGEST_AT_CROSSING),
        ("tail_m", crossing.tail_m, construction != Construction::UnderRails, 0.0, LONGEST_AT_CROSSING),
    ];
    for (name, figure, belongs, least, most) in figures {
        let Some(figure) = figure else { continue };
        let field = || format!("crossings[{number}].{name}");
        if !belongs {
            return Err(Error::NotOfThis { field: field(), construction });
        }
        range(field, figure, least, most)?;
    }
    Ok(())
}

/// A length of the built-in profile.
fn planned(length: &'static Length) -> PlanningFigure<Metres> {
    PlanningFigure::new(length.value, length.source.as_str())
}

/// The ground that a crossing takes.
fn width(crossing: &Crossing) -> PlanningFigure<Metres> {
    let planned = if crossing.construction.is_overhead() {
        planned(&Profile::field().span.normal)
    } else {
        let metres = match crossing.obstacle {
            Obstacle::MainHighway => 15.0,
            Obstacle::Road => 8.0,
            Obstacle::DirtRoad => 4.0,
            Obstacle::Path => 2.0,
            Obstacle::Railway => 6.0,
            Obstacle::Stream => 10.0,
        };
        PlanningFigure::new(Metres::from_const(metres), PLANNING)
    };
    planned.or_given(crossing.width_m)
}

/// Lays items one behind the other.
struct Builder<'a> {
    input: &'a Input,
    slack: PlanningFigure<u8>,
    items: Vec<Item>,
    drawn: Vec<Metres>,
    remarks: Vec<String>,
    /// Leg that the chainage stands in, and where that leg ends.
    leg: usize,
    leg_end: Metres,
    chainage: Metres,
    wire: Metres,
}

impl<'a> Builder<'a> {
    fn new(input: &'a Input) -> Self {
        let slack = &Profile::field().wire.slack;
        let slack =
            PlanningFigure::new(slack.value, slack.source.as_str()).or_given(input.figures.slack_percent);
        Self {
            input,
            slack,
            items: Vec::new(),
            drawn: vec![Metres::ZERO],
            remarks: Vec::new(),
            leg: 0,
            leg_end: input.legs.first().map_or(Metres::ZERO, |leg| leg.length_m),
            chainage: Metres::ZERO,
            wire: Metres::ZERO,
        }
    }

    fn build(mut self) -> Layout {
        let ground: Metres = self.input.legs.iter().map(|leg| leg.length_m).sum();
        let end = planned(&Profile::field().wire.end).or_given(self.input.figures.end_m);
        self.add(What::End, None, end.value, "at the near end".to_owned(), end.source);
        let mut order: Vec<usize> = (0..self.input.crossings.len()).collect();
        order.sort_by_key(|&number| (self.input.crossings[number].chainage_m, number));
        let mut last = None;
        for number in order {
            self.cross(number, last, ground);
            last = Some(number);
        }
        self.open_ground(ground);
        self.add(What::End, None, end.value, "at the far end".to_owned(), end.source);
        let splice = planned(&Profile::field().wire.splice).or_given(self.input.figures.splice_m);
        let splices = Item {
            what: What::Splice,
            leg: None,
            crossing: None,
            from_chainage_m: Metres::ZERO,
            to_chainage_m: ground,
            from_wire_m: self.wire,
            to_wire_m: self.wire,
            drawn_m: Metres::bounded(f64::from(self.input.splices) * splice.value.value()),
            slack_m: Metres::ZERO,
            why: format!("{} splices between reels at {}", self.input.splices, splice.value),
            source: splice.source,
        };
        Layout { ground, items: self.items, drawn: self.drawn, splices, remarks: self.remarks }
    }

    fn push(&mut self, item: Item) {
        let drawn = self.drawn.last().copied().unwrap_or(Metres::ZERO) + item.drawn_m;
        self.chainage = item.to_chainage_m;
        self.wire = item.to_wire_m;
        self.drawn.push(drawn);
        self.items.push(item);
    }

    /// Wire that lies at one place.
    fn add(&mut self, what: What, crossing: Option<usize>, wire: Metres, why: String, source: &'static str) {
        self.add_to(what, crossing, self.chainage, wire, wire, why, source);
    }

    /// Wire that no current runs along: it is drawn, and that is all.
    fn add_beside(&mut self, what: What, crossing: usize, drawn: Metres, why: String, source: &'static str) {
        self.add_to(what, Some(crossing), self.chainage, Metres::ZERO, drawn, why, source);
    }

    #[allow(
        clippy::too_many_arguments,
        reason = "an item has that many parts, and this is where it gets them"
    )]
    fn add_to(
        &mut self,
        what: What,
        crossing: Option<usize>,
        to_chainage_m: Metres,
        wire: Metres,
        drawn_m: Metres,
        why: String,
        source: &'static str,
    ) {
        if drawn_m <= Metres::ZERO && to_chainage_m <= self.chainage {
            return;
        }
        self.push(Item {
            what,
            leg: Some(self.leg),
            crossing,
            from_chainage_m: self.chainage,
            to_chainage_m,
            from_wire_m: self.wire,
            to_wire_m: self.wire + wire,
            drawn_m,
            slack_m: Metres::ZERO,
            why,
            source,
        });
    }

    /// Steps into the next leg where this one has ended, and gives its slack.
    fn leg_slack(&mut self) -> PlanningFigure<u8> {
        while self.chainage >= self.leg_end && self.leg + 1 < self.input.legs.len() {
            self.leg += 1;
            self.leg_end = self.leg_end + self.input.legs[self.leg].length_m;
        }
        self.slack.or_given(self.input.legs[self.leg].slack_percent)
    }

    fn open_ground(&mut self, to: Metres) {
        while self.chainage < to {
            let slack = self.leg_slack();
            let stop = if self.leg + 1 < self.input.legs.len() { self.leg_end.min(to) } else { to };
            let ground = stop - self.chainage;
            let wire = ground.stretched(slack.value);
            self.push(Item {
                what: What::Ground,
                leg: Some(self.leg),
                crossing: None,
                from_chainage_m: self.chainage,
                to_chainage_m: stop,
                from_wire_m: self.wire,
                to_wire_m: self.wire + wire,
                drawn_m: wire,
                slack_m: wire - ground,
                why: format!("{ground} of ground and {} % slack", slack.value),
                source: slack.source,
            });
        }
    }

    fn cross(&mut self, number: usize, last: Option<usize>, ground: Metres) {
        let crossing = &self.input.crossings[number];
        let width = width(crossing);
        let half = width.value.half();
        let from = crossing.chainage_m - half;
        let to = crossing.chainage_m + half;
        if let (true, Some(last)) = (from < self.chainage, last) {
            self.remarks.push(format!(
                "crossings[{number}] at {} begins before crossings[{last}] has ended: see whether one {} takes both",
                crossing.chainage_m, crossing.construction
            ));
        }
        if from < Metres::ZERO || to > ground {
            self.remarks.push(format!(
                "crossings[{number}] at {} reaches over the line's end: move the end, or make the crossing narrower",
                crossing.chainage_m
            ));
        }
        let from = from.max(self.chainage);
        let to = to.min(ground).max(from);
        self.open_ground(from);
        self.leg_slack();
        // What lies across is in proportion to the ground that is left for it between its neighbours.
        let part = if width.value > Metres::ZERO { (to - from).value() / width.value.value() } else { 1.0 };
        if crossing.construction.is_overhead() {
            self.overhead(number, to, width, part);
        } else {
            self.on_the_ground(number, to, width, part);
        }
    }

    fn overhead(&mut self, number: usize, to: Metres, width: PlanningFigure<Metres>, part: f64) {
        let crossing = &self.input.crossings[number];
        let span = width.value;
        let source = Profile::field().wire.sag.source.as_str();
        let sag = PlanningFigure::new(usual_sag(span), source).or_given(crossing.sag_m);
        let tail = if crossing.construction == Construction::OverheadLancePoles {
            PlanningFigure::new(span.half(), REBUILD)
        } else {
            planned(&Profile::field().wire.tail)
        };
        let tail = tail.or_given(self.input.figures.tail_m).or_given(crossing.tail_m);
        let field = Profile::field();
        let least = field.least_height(crossing.obstacle).unwrap_or(&field.wire.over_water).value;
        let height = PlanningFigure::new(least + sag.value, IN_TIE_HEIGHT).or_given(crossing.tie_height_m);
        let (wire, why, source) = match crossing.span_wire_m {
            Some(wire) => (wire, format!("span of {span}"), GIVEN),
            None => {
                (span_wire(span, sag.value), format!("span of {span} with {} of sag", sag.value), sag.source)
            }
        };
        let wire = Metres::bounded(wire.value() * part);
        let at = Some(number);
        self.add(What::Tail, at, tail.value, "spare behind the near tie".to_owned(), tail.source);
        self.add(What::UpAndDown, at, height.value, "up to the near tie".to_owned(), height.source);
        self.add_to(What::Span, at, to, wire, wire, why, source);
        self.add(What::UpAndDown, at, height.value, "down from the far tie".to_owned(), height.source);
        self.add(What::Tail, at, tail.value, "spare behind the far tie".to_owned(), tail.source);
    }

    fn on_the_ground(&mut self, number: usize, to: Metres, width: PlanningFigure<Metres>, part: f64) {
        use Construction as C;
        let crossing = &self.input.crossings[number];
        let construction = crossing.construction;
        let at = Some(number);
        let none = PlanningFigure::new(Metres::ZERO, NO_SLACK);
        let tail = if construction == C::UnderRails {
            none
        } else {
            planned(&Profile::field().wire.tail).or_given(self.input.figures.tail_m).or_given(crossing.tail_m)
        };
        let across = Metres::bounded(width.value.value() * part);
        let source = match construction {
            C::UnderRails => NO_SLACK,
            C::Ladder => LADDER,
            _ if width.source == PLANNING => PLANNING,
            _ => STRAIGHT,
        };
        let way = crossing.detour_m.unwrap_or(Metres::ZERO).half();
        let slack = self.leg_slack();
        let detour = way.stretched(slack.value);
        let why = |where_to: &str| format!("{way} {where_to} and {} % slack", slack.value);
        let depth = planned(&Profile::field().burial.depth).or_given(crossing.depth_m);
        let depth = if construction == C::Buried { depth } else { none };
        let splice = planned(&Profile::field().wire.splice).or_given(self.input.figures.splice_m);

        self.detour(number, detour, why("aside"));
        self.add(What::Tail, at, tail.value, "spare on the near side".to_owned(), tail.source);
        self.add(What::UpAndDown, at, depth.value, "down into the trench".to_owned(), depth.source);
        if construction == C::Ladder {
            self.add_beside(
                What::Splice,
                number,
                splice.value,
                "splice on the near side".to_owned(),
                splice.source,
            );
            self.add_beside(What::SecondPair, number, across, "the ladder's second pair".to_owned(), LADDER);
        }
        self.add_to(What::Across, at, to, across, across, format!("{across} {construction}"), source);
        if construction == C::Ladder {
            self.add_beside(
                What::Splice,
                number,
                splice.value,
                "splice on the far side".to_owned(),
                splice.source,
            );
        }
        if construction == C::Buried {
            let spare =
                planned(&Profile::field().wire.trench_spare).or_given(self.input.figures.trench_spare_m);
            self.add(What::TrenchSpare, at, spare.value, "spare in the trench".to_owned(), spare.source);
        }
        self.add(What::UpAndDown, at, depth.value, "up out of the trench".to_owned(), depth.source);
        self.add(What::Tail, at, tail.value, "spare on the far side".to_owned(), tail.source);
        self.detour(number, detour, why("back to the trace"));
    }

    fn detour(&mut self, number: usize, wire: Metres, why: String) {
        let before = self.items.len();
        self.add(What::Detour, Some(number), wire, why, GIVEN);
        let ground = self.input.crossings[number].detour_m.unwrap_or(Metres::ZERO).half();
        if let Some(item) = self.items.get_mut(before) {
            item.slack_m = wire - ground;
        }
    }
}
