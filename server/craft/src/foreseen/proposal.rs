//! A group of meetings as a crossing: its figures, and what to build there by the trade's ranking and what the map
//! shows. Trees and standing poles are on no map; the lead team may find them.

use super::{
    ForeseenCrossing, WidthFrom, Ground, Grouped, LOOK_OUT, NearSpot, Passes, Proposal, ReachKind, SpotKind, Way,
    WithinReach, approach,
    grouping::Group,
    meeting::{Meeting, On},
    within_reach, width,
};
use crate::{
    construction::Construction,
    geodesy,
    grid::{GridReference, Precision},
    guide,
    obstacle::Obstacle,
    profile::Profile,
    trace::Trace,
    units::{Degrees, Metres},
};

/// A level crossing or ford is told when it is this near.
const SPOT_M: f64 = 100.0;
/// A detour that takes more wire than this is not proposed.
const MOST_DETOUR_M: f64 = 100.0;
/// Water wider than so many normal spans is not proposed to be spanned.
const MOST_SPANS: f64 = 2.0;

pub(super) fn crossing(group: &Group, trace: &Trace, ground: &Ground, profile: &Profile) -> ForeseenCrossing {
    let head = head(group, ground);
    let obstacle = head.obstacle(ground);
    let (from_m, to_m, width_m, width_from) = extent(group, ground);
    // One meeting is where it is; several are where their middle is.
    let (at_m, position) = match group.met.as_slice() {
        [only] => (only.at_m, only.position),
        _ => {
            let first = group.met.iter().map(|m| m.from_m).fold(f64::INFINITY, f64::min);
            let last = group.met.iter().map(|m| m.to_m).fold(0.0, f64::max);
            let middle = Metres::bounded((first + last) / 2.0);
            (middle.value(), trace.at(middle).unwrap_or(head.position))
        }
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
        .map(|m| within_reach::along(m, ground))
        .unwrap_or_default();
    let proposed =
        propose(obstacle, hard_surface, passes, width_m, &within_reach, head_is_open(head, way), profile);
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
        power_line_m: approach::nearest_power_line(position, ground).filter(|near| *near <= LOOK_OUT),
        proposed,
    }
}

fn head_is_open(head: &Meeting, way: Option<&Way>) -> bool {
    within_reach::is_open(head) && way.is_some()
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
    let mut near: Vec<NearSpot> = ground
        .spots
        .iter()
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

fn propose(
    obstacle: Obstacle,
    hard_surface: bool,
    passes: Passes,
    width_m: f64,
    within_reach: &[WithinReach],
    open: bool,
    profile: &Profile,
) -> Proposal {
    let say = |construction, because: String, go_and_look| Proposal { construction, because, go_and_look };
    let look = within_reach.iter().any(|place| place.kind == ReachKind::GoAndLook);
    match passes {
        Passes::Beneath => {
            return say(
                None,
                "The map has it beneath the ground here: lay over it, do not dig, and see that it is so.".into(),
                true,
            );
        }
        Passes::UnderTheTracesBridge => {
            return say(
                Some(Construction::UnderBridge),
                "The trace follows a bridge over it: tie to the outside of the bridge, off the roadway.".into(),
                false,
            );
        }
        Passes::OnABridge => {
            return say(Some(Construction::UnderBridge), "It is on a bridge here: go beneath.".into(), false);
        }
        Passes::OnTheGround | Passes::Unknown => {}
    }
    let reached = |kind| {
        within_reach
            .iter()
            .find(|place| place.kind == kind && place.detour_m.value() <= MOST_DETOUR_M)
            .map(|place| place.detour_m)
    };
    for choice in guide::guide(obstacle, hard_surface, profile).allowed {
        let because = match choice.construction {
            Construction::ThroughCulvert => match reached(ReachKind::Culvert) {
                Some(detour) => format!("{} The detour is {detour:.0}.", choice.reason),
                None => continue,
            },
            Construction::UnderBridge => match reached(ReachKind::Bridge) {
                Some(detour) => format!("{} The detour is {detour:.0}.", choice.reason),
                None => continue,
            },
            // On no map.
            Construction::OverheadTrees | Construction::OverheadPoles => continue,
            Construction::OverheadLancePoles
                if obstacle == Obstacle::Stream
                    && width_m > MOST_SPANS * profile.normal_span.value.value() =>
            {
                continue;
            }
            _ => choice.reason.to_owned(),
        };
        return say(Some(choice.construction), because, open || look);
    }
    say(None, "Too wide to span: look for a bridge, or lead the trace round it.".into(), true)
}
