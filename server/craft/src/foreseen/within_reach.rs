//! Culverts and bridges along an obstacle, near enough to lead the wire there and back.

use std::collections::VecDeque;

use super::{
    Ground, ReachKind, SpotKind, Structure, Way, WithinReach,
    course::{Bounds, Plane, apart, meet},
    meeting::{Meeting, On, from_segment, one_road},
};
use crate::{
    geodesy::Position,
    grid::{GridReference, Precision},
    obstacle::Obstacle,
    units::Metres,
};

/// A stretch of the obstacle, walked away from the crossing.
struct Walked<'a> {
    way: &'a Way,
    from: Position,
    to: Position,
    /// How far along the obstacle its start is.
    start_m: f64,
}

/// A culvert or bridge that the unit has seen lies on an obstacle that passes so near.
const ON_IT_M: f64 = 20.0;
/// Two findings so near each other are one.
const ONE_PLACE_M: f64 = 5.0;
/// No more of them are told.
const MOST: usize = 8;

/// The places along the obstacle, the nearest first.
pub(super) fn along(
    meeting: &Meeting,
    ground: &Ground,
    boxes: &[Option<Bounds>],
    reach_m: f64,
) -> Vec<WithinReach> {
    let On::Way(start) = meeting.on else { return Vec::new() };
    let plane = Plane::at(meeting.position);
    let mut found: Vec<WithinReach> = Vec::new();
    let about = Bounds { south_west: meeting.position, north_east: meeting.position }.widened(reach_m);
    let near: Vec<(usize, Bounds)> = boxes
        .iter()
        .enumerate()
        .filter_map(|(index, bounds)| Some((index, (*bounds)?)))
        .filter(|(_, bounds)| bounds.meets(about))
        .collect();
    for piece in walk(start, meeting, ground, &near, &plane, reach_m) {
        look(&piece, &plane, ground, &near, reach_m, &mut found);
    }
    found.sort_by(|a, b| a.along_m.cmp(&b.along_m).then(a.kind.cmp(&b.kind)));
    let mut told: Vec<WithinReach> = Vec::new();
    for place in found {
        let known = told.iter().any(|other| {
            other.kind == place.kind
                && (other.drawn == place.drawn
                    || crate::geodesy::distance(other.position, place.position).value() <= ONE_PLACE_M)
        });
        if !known && told.len() < MOST {
            told.push(place);
        }
    }
    told
}

/// Walks the obstacle both ways from the meeting, over the ends of its ways into those that are the same road, as far as
/// the reach.
fn walk<'a>(
    start: usize,
    meeting: &Meeting,
    ground: &'a Ground,
    near: &[(usize, Bounds)],
    plane: &Plane,
    reach_m: f64,
) -> Vec<Walked<'a>> {
    let mut pieces = Vec::new();
    let mut visited = vec![start];
    let mut next: VecDeque<(Position, f64)> = VecDeque::new();
    let way = &ground.ways[start];
    let (before, after) = way.positions.split_at((meeting.segment + 1).min(way.positions.len()));
    let here = std::iter::once(&meeting.position);
    let mut stroll = |way, places: &mut dyn Iterator<Item = &Position>, start_m| {
        stroll(way, places, start_m, reach_m, plane, &mut pieces)
    };
    next.extend(stroll(way, &mut here.clone().chain(after), 0.0));
    next.extend(stroll(way, &mut here.chain(before.iter().rev()), 0.0));
    while let Some((end, start_m)) = next.pop_front() {
        for (index, way) in near.iter().map(|&(index, _)| (index, &ground.ways[index])) {
            let forward = way.positions.first() == Some(&end);
            let backward = way.positions.last() == Some(&end);
            if !(forward || backward)
                || visited.contains(&index)
                || one_road(way) != one_road(&ground.ways[start])
                    && !(bare(way) && bare(&ground.ways[start]) && way.class == ground.ways[start].class)
            {
                continue;
            }
            visited.push(index);
            let end = if forward {
                stroll(way, &mut way.positions.iter(), start_m)
            } else {
                stroll(way, &mut way.positions.iter().rev(), start_m)
            };
            next.extend(end);
        }
    }
    pieces
}

fn bare(way: &Way) -> bool {
    way.reference.is_none() && way.name.is_none()
}

/// Walks one way's positions, and says where it ended if that is within reach.
fn stroll<'a, 'p>(
    way: &'a Way,
    places: impl Iterator<Item = &'p Position>,
    start_m: f64,
    reach_m: f64,
    plane: &Plane,
    pieces: &mut Vec<Walked<'a>>,
) -> Option<(Position, f64)> {
    let mut reached_m = start_m;
    let mut last: Option<Position> = None;
    for &place in places {
        if let Some(from) = last {
            pieces.push(Walked { way, from, to: place, start_m: reached_m });
            // Right to a ten-thousandth so near, and a geodesic for each would be the dearest part of the whole.
            reached_m += plane.point(place).minus(plane.point(from)).length();
            if reached_m > reach_m {
                return None;
            }
        }
        last = Some(place);
    }
    last.map(|end| (end, reached_m))
}

fn look(
    piece: &Walked<'_>,
    plane: &Plane,
    ground: &Ground,
    near: &[(usize, Bounds)],
    reach_m: f64,
    found: &mut Vec<WithinReach>,
) {
    let (p, q) = (plane.point(piece.from), plane.point(piece.to));
    let long = q.minus(p).length();
    let obstacle = piece.way.obstacle;
    let mut tell = |kind, drawn, share: f64| {
        let along_m = piece.start_m + long * share;
        if along_m <= reach_m {
            let position = between(piece.from, piece.to, share);
            found.push(WithinReach {
                kind,
                drawn,
                position,
                grid: GridReference::of(position, Precision::Metre).spaced(),
                along_m: Metres::bounded(along_m),
                detour_m: Metres::bounded(2.0 * along_m),
            });
        }
    };
    // The obstacle itself leaves the ground here.
    match (obstacle, piece.way.structure) {
        (Obstacle::Stream, Some(Structure::Culvert | Structure::Tunnel)) => {
            tell(ReachKind::Covered, piece.way.drawn, 0.0);
        }
        (obstacle, Some(Structure::Bridge)) if obstacle != Obstacle::Stream => {
            tell(ReachKind::Bridge, piece.way.drawn, 0.0);
        }
        _ => {}
    }
    let Some(bounds) = Bounds::about([&piece.from, &piece.to]) else { return };
    for (other, about) in near.iter().map(|&(index, about)| (&ground.ways[index], about)) {
        if !about.meets(bounds) {
            continue;
        }
        let Some(kind) = what(piece.way, other) else { continue };
        let mut places = other.positions.iter().map(|&place| plane.point(place));
        let Some(mut from) = places.next() else { continue };
        for to in places {
            if !apart(p, q, from, to, 0.01)
                && let Some((share, _)) = meet(p, q, from, to)
            {
                tell(kind, other.drawn, share);
            }
            from = to;
        }
    }
    for spot in &ground.spots {
        let kind = match spot.kind {
            SpotKind::Culvert if obstacle != Obstacle::Stream => ReachKind::Culvert,
            SpotKind::Culvert => ReachKind::Covered,
            SpotKind::Bridge => ReachKind::Bridge,
            _ => continue,
        };
        let there = plane.point(spot.position);
        if bounds.widened(ON_IT_M).holds(spot.position) && from_segment(there, p, q) <= ON_IT_M && long > 0.0
        {
            tell(kind, spot.drawn, (there.minus(p).dot(q.minus(p)) / (long * long)).clamp(0.0, 1.0));
        }
    }
}

/// What another way is to a wire that has to get past this one, where the two meet.
fn what(this: &Way, other: &Way) -> Option<ReachKind> {
    let foot_or_road = !matches!(other.obstacle, Obstacle::Railway | Obstacle::Stream);
    match (this.obstacle, other.obstacle, other.structure) {
        // A railway bridge is no place for a wire that is not the railway's.
        (Obstacle::Stream, _, Some(Structure::Bridge)) if foot_or_road => Some(ReachKind::Bridge),
        (Obstacle::Stream, _, None) if foot_or_road && this.structure.is_none() => Some(ReachKind::GoAndLook),
        (Obstacle::Stream, ..) => None,
        (_, Obstacle::Stream, Some(Structure::Culvert | Structure::Tunnel)) => Some(ReachKind::Culvert),
        (_, Obstacle::Stream, None) if this.structure.is_none() => Some(ReachKind::GoAndLook),
        (_, _, Some(Structure::Tunnel)) if foot_or_road => Some(ReachKind::Bridge),
        _ => None,
    }
}

fn between(from: Position, to: Position, share: f64) -> Position {
    let along = |a: f64, b: f64| a + (b - a) * share;
    Position::settled(along(from.lon(), to.lon()), along(from.lat(), to.lat()))
}
