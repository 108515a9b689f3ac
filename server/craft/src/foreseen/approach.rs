//! Power lines near the trace, ground worth knowing of, and the stretches of which the map knows nothing.

use super::{
    Cover, ForeseenPowerLine, Ground, GroundKind, LOOK_OUT, OnGround, PowerLine, UnknownBecause,
    UnknownStretch,
    course::{Bounds, Course, Plane, Point, apart, meet},
    meeting::{at, boxes, from_segment, inside, joined},
};
use crate::{
    geodesy::Position,
    profile::Profile,
    trace::{Side, Trace},
    units::Metres,
};

/// The power lines within [`LOOK_OUT`] of the trace, each stretch by itself.
pub(super) fn power_lines(course: &Course, ground: &Ground, profile: &Profile) -> Vec<ForeseenPowerLine> {
    let boxes = boxes(ground.power_lines.iter().map(|line| line.positions.as_slice()));
    let mut near: Vec<ForeseenPowerLine> = ground
        .power_lines
        .iter()
        .zip(boxes)
        .filter_map(|(line, bounds)| Some((line, bounds?)))
        .flat_map(|(line, bounds)| stretches(course, line, bounds, profile))
        .collect();
    near.sort_by(|a, b| a.from_m.cmp(&b.from_m).then(a.drawn.cmp(&b.drawn)));
    near
}

/// A stretch within reach of one segment, where it is nearest, and how near: metres.
struct Near {
    from: f64,
    to: f64,
    at: f64,
    distance: f64,
}

fn stretches(course: &Course, line: &PowerLine, bounds: Bounds, profile: &Profile) -> Vec<ForeseenPowerLine> {
    /// Two stretches so near each other are one.
    const GAP_M: f64 = 30.0;
    let look_out = LOOK_OUT.value();
    let mut near: Vec<Near> = Vec::new();
    for stride in course.strides().filter(|stride| stride.bounds.widened(look_out).meets(bounds)) {
        let places: Vec<Point> = line.positions.iter().map(|&p| stride.plane.point(p)).collect();
        for piece in stride.pieces {
            let (p, q) = (stride.plane.point(piece.from), stride.plane.point(piece.to));
            for ends in places.windows(2) {
                if let Some((from, to, at, distance)) = within(p, q, ends[0], ends[1], look_out) {
                    near.push(Near {
                        from: piece.about_m(from),
                        to: piece.about_m(to),
                        at: piece.about_m(at),
                        distance,
                    });
                }
            }
        }
    }
    let keep = profile.power_line.distance(line.voltage);
    joined(near.iter().map(|n| (n.from, n.to)).collect(), GAP_M)
        .into_iter()
        .filter_map(|(from_m, to_m)| {
            let nearest = near
                .iter()
                .filter(|n| n.from >= from_m && n.to <= to_m)
                .min_by(|a, b| a.distance.total_cmp(&b.distance))?;
            Some(ForeseenPowerLine {
                drawn: line.drawn,
                class: line.class.clone(),
                kilovolts: line.voltage,
                from_m: Metres::bounded(from_m),
                to_m: Metres::bounded(to_m),
                chainage_m: Metres::bounded(nearest.at),
                distance_m: Metres::bounded(nearest.distance),
                keep: keep.clone(),
                beneath: nearest.distance <= 0.0,
            })
        })
        .collect()
}

/// The shares of p to q between which it is within reach of a to b, the share where it is nearest, and how near. Two
/// segments that do not meet are nearest at an end of one of them. The distance of a moving place from a segment falls and
/// then rises, so that the edges are found by halving.
fn within(p: Point, q: Point, a: Point, b: Point, reach: f64) -> Option<(f64, f64, f64, f64)> {
    const HALVINGS: usize = 48;
    if apart(p, q, a, b, reach) {
        return None;
    }
    let run = q.minus(p);
    let distance = |share: f64| from_segment(p.plus(run, share), a, b);
    let (nearest, least) = if let Some((share, _)) = meet(p, q, a, b) {
        (share, 0.0)
    } else {
        let beside = |place: Point| (place.minus(p).dot(run) / run.dot(run)).clamp(0.0, 1.0);
        [0.0, 1.0, beside(a), beside(b)]
            .map(|share| (share, distance(share)))
            .into_iter()
            .reduce(|one, other| if other.1 < one.1 { other } else { one })?
    };
    if least > reach {
        return None;
    }
    let edge = |beyond: f64| {
        if distance(beyond) <= reach {
            return beyond;
        }
        let (mut inside, mut outside) = (nearest, beyond);
        for _ in 0..HALVINGS {
            let middle = f64::midpoint(inside, outside);
            if distance(middle) <= reach { inside = middle } else { outside = middle }
        }
        inside
    };
    Some((edge(0.0), edge(1.0), nearest, least))
}

/// The power line nearest to a place, and how far it is, if that is within [`LOOK_OUT`].
pub(super) fn nearest_power_line(from: Position, ground: &Ground) -> Option<(&PowerLine, Metres)> {
    let plane = Plane::at(from);
    let origin = Point { x: 0.0, y: 0.0 };
    ground
        .power_lines
        .iter()
        .flat_map(|line| line.positions.windows(2).map(move |ends| (line, ends)))
        .map(|(line, ends)| (line, plane.point(ends[0]), plane.point(ends[1])))
        .filter(|&(_, a, b)| !apart(origin, origin, a, b, LOOK_OUT.value()))
        .map(|(line, a, b)| (line, from_segment(origin, a, b)))
        .min_by(|(_, a), (_, b)| a.total_cmp(b))
        .map(|(line, distance_m)| (line, Metres::bounded(distance_m)))
        .filter(|(_, distance)| *distance <= LOOK_OUT)
}

pub(super) fn on_ground(course: &Course, ground: &Ground) -> Vec<OnGround> {
    let soft = ground.soft.iter().map(|area| (GroundKind::Soft, area));
    let closed = ground.closed.iter().map(|area| (GroundKind::Closed, area));
    let mut told: Vec<OnGround> = soft
        .chain(closed)
        .flat_map(|(kind, area)| {
            inside(course, area).into_iter().map(move |(from_m, to_m)| OnGround {
                kind,
                drawn: area.drawn,
                name: area.name.clone(),
                from_m: Metres::bounded(from_m),
                to_m: Metres::bounded(to_m),
            })
        })
        .collect();
    told.sort_by(|a, b| a.from_m.cmp(&b.from_m).then(a.drawn.cmp(&b.drawn)));
    told
}

/// Where no map is, and where the sea is.
pub(super) fn unknown(trace: &Trace, course: &Course, ground: &Ground, cover: &Cover) -> Vec<UnknownStretch> {
    let told = |why, text| {
        move |(from, to): (f64, f64)| UnknownStretch {
            from_m: Metres::bounded(from),
            to_m: Metres::bounded(to),
            why,
            text,
        }
    };
    let length = trace.length().value();
    let Some(land) = cover.land else {
        let text = "No map is loaded: every crossing is unknown. Load one, or go and look.";
        return vec![told(UnknownBecause::NoMapLoaded, text)((0.0, length))];
    };
    let known: Vec<(f64, f64)> = course
        .pieces()
        .iter()
        .filter_map(|piece| {
            let (from, to) = within_box(piece.from, piece.to, land)?;
            Some((piece.about_m(from), piece.about_m(to)))
        })
        .collect();
    let text = "There is no map here: crossings are unknown. Load a larger one, or go and look.";
    let mut unknown: Vec<UnknownStretch> = gaps(&joined(known, 0.01), length)
        .into_iter()
        .map(told(UnknownBecause::OutsideTheMap, text))
        .collect();
    let text = "This is sea on the map, which shows no crossing there: lead the trace over land.";
    unknown.extend(
        at_sea(trace, course, ground, cover, land).into_iter().map(told(UnknownBecause::AtSea, text)),
    );
    unknown.sort_by_key(|stretch| stretch.from_m);
    unknown
}

fn gaps(known: &[(f64, f64)], length: f64) -> Vec<(f64, f64)> {
    let ends = known.iter().copied().chain([(length, length)]);
    let mut reached = 0.0;
    ends.filter_map(|(from, to)| {
        let gap = (reached, from);
        reached = to;
        (gap.1 - gap.0 > 0.01).then_some(gap)
    })
    .collect()
}

/// The shares of a straight piece that lie in a box.
fn within_box(from: Position, to: Position, land: Bounds) -> Option<(f64, f64)> {
    let sides = [
        (from.lon(), to.lon(), land.south_west.lon(), land.north_east.lon()),
        (from.lat(), to.lat(), land.south_west.lat(), land.north_east.lat()),
    ];
    let (mut start, mut end) = (0.0_f64, 1.0_f64);
    for (a, b, least, most) in sides {
        if a.to_bits() == b.to_bits() {
            if a < least || a > most {
                return None;
            }
            continue;
        }
        let (one, other) = ((least - a) / (b - a), (most - a) / (b - a));
        start = start.max(one.min(other));
        end = end.min(one.max(other));
    }
    (start <= end).then_some((start, end))
}

/// The stretches within the map that lie at sea. Which side of the shore the trace starts on is told by the nearest
/// shore, and every shore that it meets changes that.
fn at_sea(trace: &Trace, course: &Course, ground: &Ground, cover: &Cover, land: Bounds) -> Vec<(f64, f64)> {
    let Some(shore) = &cover.nearest_shore else { return Vec::new() };
    let mut marks: Vec<f64> = Vec::new();
    let about = boxes(ground.shores.iter().map(Vec::as_slice));
    for stride in course.strides() {
        for (ring, bounds) in ground.shores.iter().zip(&about) {
            if !bounds.is_some_and(|bounds| bounds.meets(stride.bounds)) {
                continue;
            }
            let places: Vec<Point> = ring.iter().map(|&p| stride.plane.point(p)).collect();
            for piece in stride.pieces {
                let (p, q) = (stride.plane.point(piece.from), stride.plane.point(piece.to));
                let hits = places.windows(2).filter_map(|ends| meet(p, q, ends[0], ends[1]));
                marks.extend(hits.map(|(share, _)| piece.about_m(share)));
            }
        }
    }
    marks.sort_by(f64::total_cmp);
    marks.dedup_by(|a, b| *a - *b < 0.01);
    let mut wet = shore.nearest(trace.start()).side == Side::Right;
    let mut stretches = Vec::new();
    let mut reached = 0.0;
    for mark in marks.into_iter().chain([trace.length().value()]) {
        let middle = at(course, f64::midpoint(reached, mark));
        if wet && mark - reached > 0.01 && middle.is_some_and(|place| land.holds(place)) {
            stretches.push((reached, mark));
        }
        wet = !wet;
        reached = mark;
    }
    stretches
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    prop_compose! {
        fn place()(x in -300.0..300.0_f64, y in -300.0..300.0_f64) -> Point { Point { x, y } }
    }

    proptest! {
        #[test]
        fn the_stretch_within_reach_is_the_one_that_steps_along_the_trace_find(
            p in place(), q in place(), a in place(), b in place(), reach in 1.0..150.0_f64,
        ) {
            const STEPS: u32 = 2_000;
            let run = q.minus(p);
            let step = run.length() / f64::from(STEPS);
            let stepped = (0..=STEPS).map(|step| f64::from(step) / f64::from(STEPS));
            let distances: Vec<(f64, f64)> =
                stepped.map(|share| (share, from_segment(p.plus(run, share), a, b))).collect();
            let least = distances.iter().map(|d| d.1).fold(f64::INFINITY, f64::min);
            match within(p, q, a, b, reach) {
                // A step that is nearer would be within reach.
                None => prop_assert!(least > reach),
                Some((from, to, nearest, distance)) => {
                    prop_assert!(distance <= least && least - distance <= step);
                    prop_assert!((from..=to).contains(&nearest));
                    for (share, distance) in distances {
                        let inside = (from..=to).contains(&share);
                        prop_assert!(inside == (distance <= reach) || (distance - reach).abs() < 1e-6);
                    }
                }
            }
        }
    }
}
