//! A group of meetings as a crossing: its figures, and what to build there by the trade's ranking and what the map
//! shows. Trees and standing poles are on no map; the lead team may find them.

use super::{
    ForeseenCrossing, Ground, Grouped, NearSpot, Passes, PowerLine, Proposal, ReachKind, SpotKind, WidthFrom,
    WithinReach, approach,
    course::Bounds,
    grouping::Group,
    meeting::{Meeting, On},
    width, within_reach,
};
use crate::{
    construction::Construction,
    geodesy,
    grid::{GridReference, Precision},
    obstacle::Obstacle,
    profile::Profile,
    site::{self, NearPowerLine, Passage, SiteInput},
    trace::Trace,
    units::{Degrees, Metres},
};

/// A level crossing or ford is told when it is this near.
const SPOT_M: f64 = 100.0;
/// Water wider than so many normal spans is not proposed to be spanned.
const MOST_SPANS: f64 = 2.0;

pub(super) fn crossing(
    group: &Group,
    trace: &Trace,
    ground: &Ground,
    boxes: &[Option<Bounds>],
    profile: &Profile,
) -> ForeseenCrossing {
    let head = head(group, ground);
    let obstacle = head.obstacle(ground);
    let (from_m, to_m, width_m, width_from) = extent(group, ground);
    // One meeting is where it is; several are where their middle is.
    let (at_m, position) = if let [only] = group.met.as_slice() {
        (only.at_m, only.position)
    } else {
        let first = group.met.iter().map(|m| m.from_m).fold(f64::INFINITY, f64::min);
        let last = group.met.iter().map(|m| m.to_m).fold(0.0, f64::max);
        let middle = Metres::bounded(f64::midpoint(first, last));
        (middle.value(), trace.at(middle).unwrap_or(head.position))
    };
    let way = head.way(ground);
    let (class, name, reference) = match head.on {
        On::Way(index) => {
            let way = &ground.ways[index];
            (way.class.clone(), way.name.clone(), way.reference.clone())
        }
        On::Water(index) => {
            let water = &ground.waters[index];
            (water.class.clone(), water.name.clone(), None)
        }
    };
    let tagged = way.and_then(|way| way.hard_surface);
    let hard_surface = tagged.unwrap_or_else(|| obstacle.usually_hard());
    let passes = group.met.iter().map(|m| m.passes).min().unwrap_or(head.passes);
    let within_reach = group
        .met
        .iter()
        .find(|m| m.obstacle(ground) == obstacle && m.way(ground).is_some())
        .map(|m| within_reach::along(m, ground, boxes, super::reach(profile).value()))
        .unwrap_or_default();
    let power_line = approach::nearest_power_line(position, ground);
    let found = Found { obstacle, hard_surface, passes, width_m, within_reach: &within_reach, power_line };
    let proposed = propose(&found, profile);
    ForeseenCrossing {
        obstacle,
        class,
        name,
        reference,
        chainage_m: Metres::bounded(at_m),
        from_m: Metres::bounded(from_m.max(0.0)),
        to_m: Metres::bounded(to_m).min(trace.length()),
        position,
        grid: GridReference::of(position, Precision::Metre).spaced(),
        angle: group.met.iter().find_map(Meeting::angle).map(Degrees::turned),
        width_m: Metres::bounded(width_m),
        width_from,
        hard_surface,
        surface_tagged: tagged.is_some(),
        passes,
        grouped: group.by.iter().copied().collect(),
        met: group.met.iter().map(|m| m.told(ground)).collect(),
        within_reach,
        spots: spots(position, obstacle, ground),
        power_line_m: power_line.map(|(_, distance)| distance),
        // Foreseeing has no heights before it: see `Foreseen::look_about`.
        heights: None,
        proposed,
    }
}

/// The meeting that the crossing is named after: the one with the strictest rule, of these the first.
fn head<'a>(group: &'a Group, ground: &Ground) -> &'a Meeting {
    let rank = |m: &Meeting| match (m.obstacle(ground), m.on) {
        (Obstacle::Railway, _) => 0,
        (Obstacle::MainHighway, _) => 1,
        (Obstacle::Road, _) => 2,
        (Obstacle::DirtRoad, _) => 3,
        (Obstacle::Stream, On::Water(_)) => 5,
        (Obstacle::Stream, On::Way(_)) => 4,
        (Obstacle::Path, _) => 6,
    };
    group.met.iter().min_by_key(|m| rank(m)).unwrap_or(&group.met[0])
}

/// From where to where along the trace, and how wide square to the obstacle.
fn extent(group: &Group, ground: &Ground) -> (f64, f64, f64, WidthFrom) {
    /// A trace that runs almost along an obstacle is in it for long, but not for ever.
    const LEAST_SINE: f64 = 0.17;
    let (mut from, mut to) = (f64::INFINITY, f64::NEG_INFINITY);
    let (mut first, mut last) = (f64::INFINITY, f64::NEG_INFINITY);
    let mut sine: f64 = LEAST_SINE;
    let mut of_one = (0.0, WidthFrom::Class);
    for m in &group.met {
        let square = m.angle().map_or(1.0, |angle| angle.to_radians().sin()).max(LEAST_SINE);
        let (wide, from_what) = m.way(ground).map_or((m.to_m - m.from_m, WidthFrom::Measured), width);
        let half = m.way(ground).map_or(0.0, |_| wide / 2.0 / square);
        from = from.min(m.from_m - half);
        to = to.max(m.to_m + half);
        first = first.min(m.from_m);
        last = last.max(m.to_m);
        if m.angle().is_some() {
            sine = sine.max(square);
        }
        if wide > of_one.0 {
            of_one = (wide, from_what);
        }
    }
    let angled = group.met.iter().any(|m| m.angle().is_some());
    let sine = if angled { sine } else { 1.0 };
    if last - first > 0.5 && group.met.len() > 1 || group.by.contains(&Grouped::Banks) {
        return (from, to, ((to - from) * sine).max(of_one.0.min(to - from)), WidthFrom::Measured);
    }
    (from, to, of_one.0, of_one.1)
}

fn spots(position: geodesy::Position, obstacle: Obstacle, ground: &Ground) -> Vec<NearSpot> {
    let about = Bounds { south_west: position, north_east: position }.widened(SPOT_M);
    let mut near: Vec<NearSpot> = ground
        .spots
        .iter()
        .filter(|spot| about.holds(spot.position))
        .filter(|spot| match spot.kind {
            SpotKind::LevelCrossing | SpotKind::FootCrossing => obstacle != Obstacle::Stream,
            SpotKind::Ford => obstacle == Obstacle::Stream,
            SpotKind::Culvert | SpotKind::Bridge => false,
        })
        .map(|spot| NearSpot {
            kind: spot.kind,
            drawn: spot.drawn,
            position: spot.position,
            distance_m: geodesy::distance(position, spot.position),
        })
        .filter(|spot| spot.distance_m.value() <= SPOT_M)
        .collect();
    near.sort_by(|a, b| a.distance_m.cmp(&b.distance_m).then(a.drawn.cmp(&b.drawn)));
    near
}

/// The best that the site allows with what the map shows. Nobody has looked yet: what the map does not show is left open,
/// and neither culvert nor bridge nor trees nor standing poles are proposed where none is known.
fn propose(found: &Found<'_>, profile: &Profile) -> Proposal {
    let passes_by = |construction, because: &str, go_and_look| Proposal {
        construction,
        because: because.to_owned(),
        detour_m: None,
        wire_m: None,
        lead_min: None,
        follow_up_min: None,
        go_and_look,
    };
    match found.passes {
        Passes::Beneath => {
            let because =
                "The map has it beneath the ground here: lay over it, do not dig, and see that it is so.";
            return passes_by(None, because, true);
        }
        Passes::UnderTheTracesBridge => {
            let because =
                "The trace follows a bridge over it: tie to the outside of the bridge, off the roadway.";
            return passes_by(Some(Construction::UnderBridge), because, false);
        }
        Passes::OnABridge => {
            return passes_by(Some(Construction::UnderBridge), "It is on a bridge here: go beneath.", false);
        }
        Passes::OnTheGround | Passes::Unknown => {}
    }
    let go_and_look = found.passes == Passes::Unknown
        || found.within_reach.iter().any(|place| place.kind == ReachKind::GoAndLook);
    let too_wide = found.width_m > MOST_SPANS * profile.span.normal.value.value();
    let site = found.site();
    let best = site::best(&site, profile, |construction| match construction {
        Construction::ThroughCulvert => site.culvert.is_some(),
        Construction::UnderBridge => site.bridge.is_some(),
        Construction::OverheadTrees | Construction::OverheadPoles => false,
        Construction::OverheadLancePoles => found.obstacle != Obstacle::Stream || !too_wide,
        Construction::UnderRails | Construction::Buried | Construction::Ladder => true,
    });
    match best.ok().flatten() {
        Some(way) => Proposal {
            construction: Some(way.choice.construction),
            because: way.reason,
            detour_m: way.detour_m,
            wire_m: Some(way.wire.drawn_m),
            lead_min: Some(way.lead.work_min),
            follow_up_min: Some(way.follow_up.work_min),
            go_and_look,
        },
        None => passes_by(
            None,
            "Nothing that the map shows gets past it here: look for a bridge or a culvert, or lead the trace round it.",
            true,
        ),
    }
}

/// What is known of a crossing when its construction is proposed.
struct Found<'a> {
    obstacle: Obstacle,
    hard_surface: bool,
    passes: Passes,
    width_m: f64,
    within_reach: &'a [WithinReach],
    power_line: Option<(&'a PowerLine, Metres)>,
}

impl Found<'_> {
    fn site(&self) -> SiteInput {
        /// Wider than this no site is judged.
        const WIDEST_M: f64 = 300.0;
        let passage = |kind| {
            let nearest = self.within_reach.iter().find(|place| place.kind == kind)?;
            Some(Passage { there: true, distance_m: Some(nearest.along_m), flooded: None })
        };
        SiteInput {
            hard_surface: Some(self.hard_surface),
            width_m: Some(Metres::bounded(self.width_m.min(WIDEST_M))),
            culvert: passage(ReachKind::Culvert),
            bridge: passage(ReachKind::Bridge),
            power_line: self.power_line.map(|(line, distance)| NearPowerLine {
                there: true,
                distance_m: Some(distance),
                kilovolts: line.voltage,
            }),
            ..SiteInput::of(self.obstacle)
        }
    }
}
