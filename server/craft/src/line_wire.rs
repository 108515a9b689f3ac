//! A line of the installation put to the reckonings of wire, of time and of faults: its length, its crossings as they are
//! known, and what is laid so far. It only translates: what a figure comes to is decided in [`crate::wire`],
//! [`crate::pace`] and [`crate::fault`].
//!
//! Chainages are those of the strip: over the laid trace as far as wire lies, and from the laying head on over the plan.

use std::collections::HashMap;

use chrono::{DateTime, Utc};
use serde::Serialize;
use utoipa::ToSchema;

use crate::{
    bounds::{NoAnswer, OutOfBounds},
    construction::Construction,
    crossing::{Crossing, CrossingState},
    fault,
    geodesy::Position,
    guide,
    ids::{CrossingId, LineId, ReelId},
    line::Line,
    pace,
    profile::{Profile, own},
    text::Name,
    units::{Metres, Minutes},
    wire::{self, Layout},
};

/// A reel of this length is expected after those that are begun: one mile, a length that field wire is issued in (SS0440 p.
/// 11, table 1-1).
const USUAL_REEL: Metres = Metres::from_const(1609.344);
/// A chainage that had to be moved farther than this to lie on the line is worth a remark.
const MOVED: Metres = Metres::from_const(1.0);

/// Which trace a line's chainages run along.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum LineAlong {
    /// The plan: nothing is laid yet.
    Planned,
    /// What is laid, and from the laying head on the plan.
    LaidThenPlanned,
    /// What is laid: there is no plan, or the line is through.
    Laid,
}

/// A crossing of the line, in the order of the question.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, ToSchema)]
pub struct LineCrossing {
    /// The crossing.
    pub crossing: CrossingId,
    /// How far the work has come.
    pub state: CrossingState,
    /// Whether its construction is not settled, so that the trade's first choice was taken that needs nothing to be
    /// there already.
    pub construction_assumed: bool,
}

/// A stretch in which no splice between reels may fall.
#[derive(Debug, Clone, PartialEq, Serialize, ToSchema)]
pub struct LineNoSplice {
    /// Which crossing, counted from 0 in the order of `crossings`.
    pub crossing: usize,
    /// Where it begins, in metres of wire drawn.
    pub from_m: Metres,
    /// Where it ends, in metres of wire drawn.
    pub to_m: Metres,
    /// Where it begins on the ground, in metres.
    pub from_chainage_m: Metres,
    /// Where it ends on the ground, in metres.
    pub to_chainage_m: Metres,
    /// What is there.
    pub what: Name,
}

/// A place of the line: on the ground and along the wire.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, ToSchema)]
pub struct LinePlace {
    /// On the ground, in metres.
    pub chainage_m: Metres,
    /// Along the wire, in metres.
    pub wire_m: Metres,
    /// Wire drawn up to there, in metres.
    pub drawn_m: Metres,
}

/// A reel that was begun.
#[derive(Debug, Clone, PartialEq, Serialize, ToSchema)]
pub struct LineReel {
    /// The reel.
    pub id: ReelId,
    /// What is written on it.
    pub label: Name,
    /// The wire on it when it was begun, in metres.
    pub length_m: Metres,
    /// Where its wire begins.
    pub from: LinePlace,
    /// Where its wire ends: at the next reel, or at the laying head.
    pub to: LinePlace,
    /// What should be left on it by this reckoning, in metres.
    pub left_m: Metres,
}

/// A splice that was made.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, ToSchema)]
pub struct LineSplice {
    /// Where.
    pub place: LinePlace,
    /// When.
    pub at: DateTime<Utc>,
    /// The crossing in whose stretch without splices it lies, counted from 0 in the order of `crossings`.
    #[schema(required = true)]
    pub forbidden_by: Option<usize>,
}

/// A line's wire and time.
#[derive(Debug, Clone, PartialEq, Serialize, ToSchema)]
pub struct LineWire {
    /// The line.
    pub line: LineId,
    /// Which trace its chainages run along.
    pub along: LineAlong,
    /// Its crossings, in the order in which the questions have them. Those struck out are left out.
    pub crossings: Vec<LineCrossing>,
    /// The question that was put to the reckoning of wire: alter it and put it again.
    pub asked_wire: wire::Input,
    /// The wire, item by item.
    pub wire: wire::Answer,
    /// Wire that the reels have to give, in metres: as drawn, without what their own splices use up.
    pub draw_m: Metres,
    /// Where no splice between reels may fall.
    pub no_splice: Vec<LineNoSplice>,
    /// The laying head, when wire lies.
    #[schema(required = true)]
    pub head: Option<LinePlace>,
    /// Reels, in the order in which they were begun.
    pub reels: Vec<LineReel>,
    /// Splices, in the order in which they were made.
    pub splices: Vec<LineSplice>,
    /// The question that was put to the reckoning of time: alter it and put it again.
    pub asked_pace: pace::Input,
    /// The time of the lead team and of the follow-up team.
    pub pace: pace::Answer,
    /// What had to be taken for granted.
    pub remarks: Vec<String>,
}

/// How a line's time shall be planned.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub struct PacePlan {
    /// By which light.
    pub light: pace::Light,
    /// What carries the lead team's reels.
    pub lead_means: pace::Means,
    /// What carries the follow-up team.
    pub follow_up_means: pace::Means,
    /// How long after the lead team the follow-up team sets out; at once unless given.
    pub follow_up_after: Option<Minutes>,
}

/// Why a line was not reckoned.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum Error {
    /// Its wire.
    #[error(transparent)]
    Wire(#[from] wire::Error),
    /// Its time.
    #[error(transparent)]
    Pace(#[from] pace::Error),
}

impl From<OutOfBounds> for Error {
    fn from(bounds: OutOfBounds) -> Self {
        Self::Wire(bounds.into())
    }
}

impl NoAnswer for Error {
    fn field(&self) -> Option<String> {
        match self {
            Self::Wire(error) => error.field(),
            Self::Pace(error) => error.field(),
        }
    }
}

/// A line's wire by item, where no splice may fall, what is laid of it, and its time.
///
/// # Units
/// Metres and minutes.
///
/// # Errors
/// A line longer, or with more crossings, than the reckonings take.
pub fn reckon(
    line: &Line,
    crossings: &[Crossing],
    profile: &Profile,
    plan: PacePlan,
) -> Result<LineWire, Error> {
    let asked = Asked::of(line.length(), line.splices.len(), crossings, profile);
    let layout = Layout::new(&asked.wire)?;
    let stand = |chainage: Metres| -> Result<LinePlace, OutOfBounds> {
        let chainage_m = asked.on_line(chainage);
        let along = layout.along_wire(chainage_m)?;
        Ok(LinePlace { chainage_m, wire_m: along.from_wire_m, drawn_m: layout.drawn_at(chainage_m)? })
    };
    let no_splice = no_splice(&asked, &layout, profile)?;
    let head = if line.laid.is_empty() { None } else { Some(stand(line.laid_length)?) };
    let mut reels = Vec::with_capacity(line.reels.len());
    for (number, reel) in line.reels.iter().enumerate() {
        let end = line.reels.get(number + 1).map_or(line.laid_length, |next| next.from_chainage_m);
        let (from, to) = (stand(reel.from_chainage_m)?, stand(end)?);
        let left_m = (reel.length_m - (to.drawn_m - from.drawn_m)).max(Metres::ZERO);
        reels.push(LineReel {
            id: reel.id,
            label: reel.label.clone(),
            length_m: reel.length_m,
            from,
            to,
            left_m,
        });
    }
    let mut splices = Vec::with_capacity(line.splices.len());
    for splice in &line.splices {
        let place = stand(splice.chainage_m)?;
        let inside = |stretch: &&LineNoSplice| stretch.from_m < place.drawn_m && place.drawn_m < stretch.to_m;
        let forbidden_by = no_splice.iter().find(inside).map(|stretch| stretch.crossing);
        splices.push(LineSplice { place, at: splice.at, forbidden_by });
    }

    let draw_m = layout.drawn();
    let drawn = head.map_or(Metres::ZERO, |head| head.drawn_m);
    let left = reels.last().map_or(Metres::ZERO, |reel| reel.left_m);
    let asked_pace = asked.pace(plan, reel_changes(line.reels.len(), draw_m - drawn, left), profile);
    let pace = pace::reckon(&asked_pace)?;
    let wire = wire::reckon(&asked.wire)?;
    Ok(LineWire {
        line: line.id,
        along: along(line),
        crossings: asked.crossings,
        asked_wire: asked.wire,
        wire,
        draw_m,
        no_splice,
        head,
        reels,
        splices,
        asked_pace,
        pace,
        remarks: asked.remarks,
    })
}

/// The wire and the time of a line that is only drawn.
pub(crate) struct Drawn {
    /// The wire, item by item.
    pub(crate) wire: wire::Answer,
    /// Reels to be begun after the first.
    pub(crate) reel_changes: u16,
    /// The question that was put to the reckoning of time.
    pub(crate) asked_pace: pace::Input,
    /// The time of the lead team and of the follow-up team.
    pub(crate) pace: pace::Answer,
    /// What had to be taken for granted.
    pub(crate) remarks: Vec<String>,
}

/// The wire and the time of a line of which nothing is laid, with the ways to culverts and bridges that are known.
pub(crate) fn reckon_drawn(
    length: Metres,
    crossings: &[Crossing],
    detours: &HashMap<CrossingId, Metres>,
    profile: &Profile,
    plan: PacePlan,
) -> Result<Drawn, Error> {
    let mut asked = Asked::of(length, 0, crossings, profile);
    for (crossing, of) in asked.wire.crossings.iter_mut().zip(&asked.crossings) {
        let detour = detours.get(&of.crossing).copied();
        crossing.detour_m = detour.filter(|_| crossing.construction.is_passage());
    }
    let reel_changes = reel_changes(0, Layout::new(&asked.wire)?.drawn(), Metres::ZERO);
    // Each reel that is begun is spliced to the one before.
    asked.wire.splices = reel_changes;
    let wire = wire::reckon(&asked.wire)?;
    let asked_pace = asked.pace(plan, reel_changes, profile);
    let pace = pace::reckon(&asked_pace)?;
    Ok(Drawn { wire, reel_changes, asked_pace, pace, remarks: asked.remarks })
}

/// A line's record as the reckoning of a fault takes it, and the crossings in its order. Where a call was made the line was
/// tested, and where a reel was begun after the first the wire is spliced.
#[must_use]
pub fn record(line: &Line, crossings: &[Crossing], profile: &Profile) -> (fault::Record, Vec<CrossingId>) {
    let asked = Asked::of(line.length(), line.splices.len(), crossings, profile);
    let at = |chainage: Metres, name: Option<&Name>| fault::RecordPlace {
        chainage_m: asked.on_line(chainage),
        name: name.cloned(),
    };
    let made = line.splices.iter().map(|splice| at(splice.chainage_m, None));
    let begun = line.reels.iter().skip(1).map(|reel| at(reel.from_chainage_m, Some(&reel.label)));
    let mut test_points: Vec<fault::RecordPlace> = Vec::new();
    for call in &line.call_backs {
        let point = at(call.chainage_m, Some(&call.team));
        if !test_points.iter().any(|known| known.chainage_m == point.chainage_m) {
            test_points.push(point);
        }
    }
    let record = fault::Record {
        splices: made.chain(begun).collect(),
        test_points,
        legs: asked.wire.legs,
        crossings: asked.wire.crossings,
        figures: asked.wire.figures,
    };
    (record, asked.crossings.into_iter().map(|crossing| crossing.crossing).collect())
}

/// The wire from the near end to a chainage, a crossing's own wire there included.
///
/// # Errors
/// A line longer, or with more crossings, than the reckoning takes.
pub fn wire_to(
    line: &Line,
    crossings: &[Crossing],
    profile: &Profile,
    chainage: Metres,
) -> Result<Metres, Error> {
    let asked = Asked::of(line.length(), line.splices.len(), crossings, profile);
    let layout = Layout::new(&asked.wire)?;
    Ok(layout.along_wire(asked.on_line(chainage))?.to_wire_m)
}

/// The place of a chainage of the strip; none off the line.
#[must_use]
pub fn position(line: &Line, chainage: Metres) -> Option<Position> {
    positions(line, &[chainage]).pop().flatten()
}

/// [`position`] of several chainages of one line, for which its trace is reckoned once.
#[must_use]
pub fn positions(line: &Line, chainages: &[Metres]) -> Vec<Option<Position>> {
    let laid = line.laid.trace();
    let plan = line.planned.as_ref();
    let from = plan.map(|plan| line.laid.last().map_or(Metres::ZERO, |&head| plan.nearest(head).chainage));
    let place = |&chainage: &Metres| match &laid {
        Some(laid) if chainage <= line.laid_length => laid.at(chainage),
        _ => plan
            .zip(from)
            .and_then(|(plan, from)| plan.at((from + (chainage - line.laid_length)).min(plan.length()))),
    };
    chainages.iter().map(place).collect()
}

/// Reels to be begun after the first: those that were, and so many more as what is still to be drawn takes.
fn reel_changes(begun: usize, still: Metres, left: Metres) -> u16 {
    let wanted = ((still - left).max(Metres::ZERO).value() / USUAL_REEL.value()).ceil();
    #[allow(
        clippy::cast_possible_truncation,
        clippy::cast_sign_loss,
        reason = "a length of wire over a mile is a small number, and not negative"
    )]
    let more = wanted as usize;
    u16::try_from((begun + more).saturating_sub(1)).unwrap_or(u16::MAX)
}

fn along(line: &Line) -> LineAlong {
    if line.planned.is_none() || line.through_at.is_some() {
        LineAlong::Laid
    } else if line.laid.is_empty() {
        LineAlong::Planned
    } else {
        LineAlong::LaidThenPlanned
    }
}

fn no_splice(asked: &Asked, layout: &Layout, profile: &Profile) -> Result<Vec<LineNoSplice>, OutOfBounds> {
    let stretches = layout.no_splice(&asked.wire, &profile.no_splice())?;
    let mut named = Vec::with_capacity(stretches.len());
    for stretch in stretches {
        let crossing = &asked.wire.crossings[stretch.crossing];
        let words = format!("{}, {}", crossing.obstacle, crossing.construction);
        // The longest obstacle's and the longest construction's words together are shorter than a name may be.
        let Ok(what) = Name::new(&words) else { continue };
        named.push(LineNoSplice {
            crossing: stretch.crossing,
            from_m: stretch.from,
            to_m: stretch.to,
            from_chainage_m: layout.drawn_to(stretch.from)?,
            to_chainage_m: layout.drawn_to(stretch.to)?,
            what,
        });
    }
    Ok(named)
}

/// Whether a construction can be planned on before anybody has been there: it wants no culvert, bridge, tree or pole.
fn needs_nothing_there(construction: Construction) -> bool {
    use Construction as C;
    matches!(construction, C::UnderRails | C::OverheadLancePoles | C::Buried | C::Ladder)
}

/// The questions that a line comes to.
struct Asked {
    length: Metres,
    wire: wire::Input,
    crossings: Vec<LineCrossing>,
    remarks: Vec<String>,
}

impl Asked {
    fn of(length: Metres, splices: usize, crossings: &[Crossing], profile: &Profile) -> Self {
        let mut asked = Self {
            length,
            wire: wire::Input {
                legs: vec![wire::Leg { name: None, length_m: length, slack_percent: None }],
                crossings: Vec::new(),
                splices: u16::try_from(splices).unwrap_or(u16::MAX),
                figures: profile.wire_figures(),
                at_chainages_m: Vec::new(),
                at_wires_m: Vec::new(),
            },
            crossings: Vec::new(),
            remarks: Vec::new(),
        };
        let mut order: Vec<&Crossing> =
            crossings.iter().filter(|crossing| crossing.state != CrossingState::StruckOut).collect();
        order.sort_by(|a, b| a.chainage.value().total_cmp(&b.chainage.value()).then_with(|| a.id.cmp(&b.id)));
        for crossing in order {
            asked.add(crossing, profile);
        }
        asked
    }

    fn add(&mut self, crossing: &Crossing, profile: &Profile) {
        let known = crossing.construction;
        let first_choice = || {
            let guide = guide::guide(crossing.obstacle, crossing.hard_surface, profile);
            let mut choices = guide.allowed.iter().map(|choice| choice.construction);
            choices.find(|&construction| needs_nothing_there(construction))
        };
        let number = self.crossings.len();
        let Some(construction) = known.or_else(first_choice) else {
            self.remarks.push(format!(
                "the {} at {} is left out: it takes something that has to be found there first",
                crossing.obstacle, crossing.chainage
            ));
            return;
        };
        if known.is_none() {
            self.remarks.push(format!(
                "crossings[{number}], a {}, has no construction yet: {construction} was taken",
                crossing.obstacle
            ));
        }
        let chainage_m = self.on_line(crossing.chainage);
        if (crossing.chainage - chainage_m).max(chainage_m - crossing.chainage) > MOVED {
            self.remarks.push(format!(
                "crossings[{number}] at {} lies off the line's {}: it was put at its end",
                crossing.chainage, self.length
            ));
        }
        let overhead = construction.is_overhead();
        // What the profile leaves as it is built in keeps the built-in source.
        let (ours, field) = (profile, Profile::field());
        let usual = own(ours.span.normal.value, field.span.normal.value);
        let width_m = crossing.span.or(usual).filter(|_| overhead);
        let tie_height_m = crossing.clearance.filter(|_| overhead).map(|clearance| {
            let span = width_m.unwrap_or(field.span.normal.value);
            (clearance + wire::usual_sag(span)).min(wire::HIGHEST)
        });
        let usual = own(ours.burial.depth.value, field.burial.depth.value);
        let depth_m = crossing.depth.or(usual).filter(|_| construction == Construction::Buried);
        self.wire.crossings.push(wire::Crossing {
            width_m,
            tie_height_m,
            depth_m: depth_m.map(|depth| depth.min(wire::DEEPEST)),
            ..wire::Crossing::foreseen(chainage_m, crossing.obstacle, construction)
        });
        self.crossings.push(LineCrossing {
            crossing: crossing.id,
            state: crossing.state,
            construction_assumed: known.is_none(),
        });
    }

    /// The chainage, brought onto the line: a splice may be told ahead of the trace, and a plan may have been shortened.
    fn on_line(&self, chainage: Metres) -> Metres {
        chainage.max(Metres::ZERO).min(self.length)
    }

    fn pace(&self, plan: PacePlan, reel_changes: u16, profile: &Profile) -> pace::Input {
        let at = |crossing: &wire::Crossing| pace::Crossing {
            chainage_m: crossing.chainage_m,
            obstacle: crossing.obstacle,
            construction: crossing.construction,
            lead_min: None,
            follow_up_min: None,
        };
        pace::Input {
            legs: vec![pace::Leg { length_m: self.length, ground: pace::Ground::default() }],
            crossings: self.wire.crossings.iter().map(at).collect(),
            reel_changes,
            light: plan.light,
            lead_means: plan.lead_means,
            follow_up_means: plan.follow_up_means,
            follow_up_after_min: plan.follow_up_after.unwrap_or(Minutes::ZERO),
            figures: profile.pace_figures(plan.light, plan.lead_means, plan.follow_up_means),
        }
    }
}
