//! Where a trace meets what the map draws, and where it runs along inside it.

use std::collections::HashMap;

use super::{
    Along, Area, Drawn, Ground, MOST_CROSSINGS, Met, Passes, Structure, TooManyCrossings, Way,
    course::{Bounds, Course, Piece, Point, apart, azimuth, meet},
    width,
};
use crate::{geodesy::Position, obstacle::Obstacle, units::Metres};

/// What a trace meets, by its place in the ground.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum On {
    Way(usize),
    Water(usize),
}

/// One place where the trace meets one thing.
#[derive(Debug, Clone)]
pub(super) struct Meeting {
    pub(super) on: On,
    pub(super) at_m: f64,
    /// The stretch inside: of water from bank to bank, of a way its middle alone.
    pub(super) from_m: f64,
    pub(super) to_m: f64,
    pub(super) position: Position,
    /// How the way runs there, as it is drawn, and how the trace does.
    pub(super) azimuth: Option<f64>,
    pub(super) trace_azimuth: f64,
    /// On which segment of the way.
    pub(super) segment: usize,
    pub(super) passes: Passes,
}

impl Meeting {
    /// The angle between trace and way, 0 to 90.
    pub(super) fn angle(&self) -> Option<f64> {
        self.azimuth.map(|azimuth| between(azimuth, self.trace_azimuth))
    }

    pub(super) fn way<'a>(&self, ground: &'a Ground) -> Option<&'a Way> {
        match self.on {
            On::Way(index) => ground.ways.get(index),
            On::Water(_) => None,
        }
    }

    pub(super) fn obstacle(&self, ground: &Ground) -> Obstacle {
        self.way(ground).map_or(Obstacle::Stream, |way| way.obstacle)
    }

    pub(super) fn told(&self, ground: &Ground) -> Met {
        let (drawn, obstacle, class) = match self.on {
            On::Way(index) => {
                let way = &ground.ways[index];
                (way.drawn, way.obstacle, way.class.clone())
            }
            On::Water(index) => {
                (ground.waters[index].drawn, Obstacle::Stream, ground.waters[index].class.clone())
            }
        };
        Met {
            drawn,
            obstacle,
            class,
            chainage_m: Metres::bounded(self.at_m),
            position: self.position,
            passes: self.passes,
        }
    }
}

/// The angle between two lines by their directions, 0 to 90 degrees.
pub(super) fn between(a: f64, b: f64) -> f64 {
    let turn = (a - b).rem_euclid(180.0);
    turn.min(180.0 - turn)
}

/// All meetings, from start to end.
///
/// # Errors
/// So many that a track along a road cannot have wavered over it so often.
pub(super) fn find(
    course: &Course,
    ground: &Ground,
    boxes: &[Option<Bounds>],
) -> Result<Vec<Meeting>, TooManyCrossings> {
    const MOST_MEETINGS: usize = 8 * MOST_CROSSINGS;
    let mut found: Vec<Meeting> = Vec::new();
    for stride in course.strides() {
        if found.len() > MOST_MEETINGS {
            return Err(TooManyCrossings);
        }
        let pieces: Vec<(Point, Point, &Piece)> = stride
            .pieces
            .iter()
            .map(|piece| (stride.plane.point(piece.from), stride.plane.point(piece.to), piece))
            .collect();
        // A trace that ends at a road touches it.
        let near = stride.bounds.widened(0.01);
        for (index, way) in ground.ways.iter().enumerate() {
            if !boxes[index].is_some_and(|bounds| bounds.meets(near)) {
                continue;
            }
            let places: Vec<Point> = way.positions.iter().map(|&p| stride.plane.point(p)).collect();
            for (segment, ends) in places.windows(2).enumerate() {
                for &(p, q, piece) in &pieces {
                    if apart(p, q, ends[0], ends[1], 0.01) {
                        continue;
                    }
                    let Some((t, _)) = meet(p, q, ends[0], ends[1]) else { continue };
                    let position = piece.at(t);
                    let at_m = piece.chainage_m(position);
                    found.push(Meeting {
                        on: On::Way(index),
                        at_m,
                        from_m: at_m,
                        to_m: at_m,
                        position,
                        azimuth: Some(azimuth(ends[1].minus(ends[0]))),
                        trace_azimuth: azimuth(q.minus(p)),
                        segment,
                        passes: passes(way),
                    });
                }
            }
        }
    }
    found.extend(ground.waters.iter().enumerate().flat_map(|(index, water)| in_water(course, index, water)));
    found.sort_by(|a, b| a.at_m.total_cmp(&b.at_m));
    once(&mut found);
    follow_bridges(&mut found, ground, boxes);
    Ok(found)
}

/// A trace that passes through a corner of a way meets both segments there, and is told once.
fn once(found: &mut Vec<Meeting>) {
    const ONE_PLACE_M: f64 = 0.01;
    let mut last: HashMap<usize, f64> = HashMap::new();
    found.retain(|meeting| {
        let On::Way(index) = meeting.on else { return true };
        last.insert(index, meeting.at_m).is_none_or(|before| meeting.at_m - before > ONE_PLACE_M)
    });
}

pub(super) fn boxes<'a>(shapes: impl Iterator<Item = &'a [Position]>) -> Vec<Option<Bounds>> {
    shapes.map(Bounds::about).collect()
}

fn passes(way: &Way) -> Passes {
    match (way.structure, way.layer) {
        (Some(Structure::Bridge), _) => Passes::OnABridge,
        (Some(Structure::Culvert | Structure::Tunnel), _) => Passes::Beneath,
        (None, 0) => Passes::OnTheGround,
        (None, _) => Passes::Unknown,
    }
}

/// Where the trace itself follows a bridge, what it meets there passes beneath it.
fn follow_bridges(found: &mut [Meeting], ground: &Ground, boxes: &[Option<Bounds>]) {
    /// A wire beside the roadway still hangs on the bridge.
    const BESIDE_M: f64 = 2.0;
    const WITH_IT: f64 = 30.0;
    let carries = |way: &Way| {
        way.structure == Some(Structure::Bridge)
            && !matches!(way.obstacle, Obstacle::Railway | Obstacle::Stream)
    };
    let bridges: Vec<(&Way, Bounds)> = ground
        .ways
        .iter()
        .zip(boxes)
        .filter_map(|(way, bounds)| Some((way, (*bounds)?)))
        .filter(|(way, _)| carries(way))
        .collect();
    for meeting in found {
        if meeting.passes == Passes::OnABridge || meeting.way(ground).is_some_and(carries) {
            continue;
        }
        let plane = super::course::Plane::at(meeting.position);
        let here = Point { x: 0.0, y: 0.0 };
        let followed = bridges.iter().any(|(bridge, bounds)| {
            let reach = width(bridge).0 / 2.0 + BESIDE_M;
            bounds.widened(reach).holds(meeting.position)
                && bridge.positions.windows(2).any(|ends| {
                    let (a, b) = (plane.point(ends[0]), plane.point(ends[1]));
                    between(azimuth(b.minus(a)), meeting.trace_azimuth) <= WITH_IT
                        && from_segment(here, a, b) <= reach
                })
        });
        if followed {
            meeting.passes = Passes::UnderTheTracesBridge;
        }
    }
}

/// How far a place is from a segment.
pub(crate) fn from_segment(place: Point, a: Point, b: Point) -> f64 {
    nearest_on(place, a, b).1
}

/// The share of a segment at which it comes nearest to a place, and how far the two are apart there.
pub(crate) fn nearest_on(place: Point, a: Point, b: Point) -> (f64, f64) {
    let along = b.minus(a);
    let square = along.dot(along);
    let share = if square > 0.0 { (place.minus(a).dot(along) / square).clamp(0.0, 1.0) } else { 0.0 };
    (share, place.minus(a.plus(along, share)).length())
}

/// The stretches of the trace inside an area.
pub(super) fn inside(course: &Course, area: &Area) -> Vec<(f64, f64)> {
    let Some(bounds) = Bounds::about(area.rings.iter().flatten()) else { return Vec::new() };
    let mut marks = Vec::new();
    for stride in course.strides().filter(|stride| stride.bounds.meets(bounds)) {
        for ring in &area.rings {
            let places: Vec<Point> = ring.iter().map(|&p| stride.plane.point(p)).collect();
            for piece in stride.pieces {
                let (p, q) = (stride.plane.point(piece.from), stride.plane.point(piece.to));
                let hits = places
                    .windows(2)
                    .filter(|ends| !apart(p, q, ends[0], ends[1], 0.01))
                    .filter_map(|ends| meet(p, q, ends[0], ends[1]));
                marks.extend(hits.map(|(t, _)| piece.chainage_m(piece.at(t))));
            }
        }
    }
    let (Some(first), Some(last)) = (course.pieces().first(), course.pieces().last()) else {
        return Vec::new();
    };
    marks.extend([first.start_m, last.end_m]);
    marks.sort_by(f64::total_cmp);
    let mut stretches: Vec<(f64, f64)> = Vec::new();
    for ends in marks.windows(2) {
        let (from, to) = (ends[0], ends[1]);
        if to - from < 0.001
            || !at(course, f64::midpoint(from, to)).is_some_and(|place| encloses(area, place))
        {
            continue;
        }
        match stretches.last_mut() {
            Some(last) if from - last.1 < 0.001 => last.1 = to,
            _ => stretches.push((from, to)),
        }
    }
    stretches
}

/// The place at a chainage, as a map draws the trace.
pub(super) fn at(course: &Course, chainage_m: f64) -> Option<Position> {
    let index = course.pieces().partition_point(|piece| piece.end_m < chainage_m);
    let piece = course.pieces().get(index)?;
    let run = piece.end_m - piece.start_m;
    Some(piece.at(((chainage_m - piece.start_m) / run).clamp(0.0, 1.0)))
}

/// Whether a ray from the place crosses the rings an odd number of times.
pub(crate) fn encloses(area: &Area, place: Position) -> bool {
    let (x, y) = (place.lon(), place.lat());
    let crossed = area.rings.iter().flat_map(|ring| ring.windows(2)).filter(|ends| {
        let (a, b) = (ends[0], ends[1]);
        (a.lat() > y) != (b.lat() > y)
            && x < (b.lon() - a.lon()) * (y - a.lat()) / (b.lat() - a.lat()) + a.lon()
    });
    crossed.count() % 2 == 1
}

fn in_water(course: &Course, index: usize, water: &Area) -> Vec<Meeting> {
    let stretches = inside(course, water);
    stretches
        .into_iter()
        .filter_map(|(from_m, to_m)| {
            let at_m = f64::midpoint(from_m, to_m);
            let piece = course.pieces().get(course.pieces().partition_point(|piece| piece.end_m < at_m))?;
            let plane = super::course::Plane::at(piece.from);
            Some(Meeting {
                on: On::Water(index),
                at_m,
                from_m,
                to_m,
                position: at(course, at_m)?,
                azimuth: None,
                trace_azimuth: azimuth(plane.point(piece.to)),
                segment: 0,
                passes: Passes::OnTheGround,
            })
        })
        .collect()
}

/// A stretch where the trace runs along inside a way, or ways that are one road.
pub(super) struct Run {
    ways: Vec<usize>,
    from_m: f64,
    to_m: f64,
    inside_m: f64,
    met: Vec<Meeting>,
}

impl Run {
    pub(super) fn told(self, ground: &Ground) -> Along {
        let way = &ground.ways[self.ways[0]];
        let drawn: Vec<Drawn> = self.ways.iter().map(|&index| ground.ways[index].drawn).collect();
        Along {
            obstacle: way.obstacle,
            class: way.class.clone(),
            name: way.name.clone(),
            reference: way.reference.clone(),
            drawn,
            from_m: Metres::bounded(self.from_m),
            to_m: Metres::bounded(self.to_m),
            inside_m: Metres::bounded(self.inside_m),
            in_traffic: way.obstacle.carries_traffic() && self.inside_m > 0.0,
            met: self.met.iter().map(|meeting| meeting.told(ground)).collect(),
        }
    }
}

/// Trace and way run the same way when they differ by no more than this.
const SAME_WAY: f64 = 30.0;
/// A drawn trace follows a drawn road within this of its edge: both are good to some ten metres.
const BESIDE_M: f64 = 10.0;
/// Gaps in running beside a way that are no leaving of it.
const GAP_M: f64 = 25.0;
/// Inside for less is no running along: a slanting crossing is that long.
const LEAST_RUN_M: f64 = 25.0;
const LEAST_WIDTHS: f64 = 3.0;
/// So many meetings while beside a way are no crossings but a wavering line.
const WEAVING: usize = 3;

struct Beside {
    way: usize,
    from_m: f64,
    to_m: f64,
    inside: bool,
}

/// Finds where the trace runs along inside a way, and takes the meetings with that way out of those found; when the trace
/// changes sides the last one stays.
pub(super) fn run_along(
    course: &Course,
    ground: &Ground,
    boxes: &[Option<Bounds>],
    found: &mut Vec<Meeting>,
) -> Vec<Run> {
    let mut roads: HashMap<(Obstacle, &str, Option<Drawn>), Vec<Beside>> = HashMap::new();
    for stride in course.strides() {
        let near = stride.bounds.widened(50.0);
        for (index, way) in ground.ways.iter().enumerate() {
            if !boxes[index].is_some_and(|bounds| bounds.meets(near)) || passes(way) == Passes::Beneath {
                continue;
            }
            let half = width(way).0 / 2.0;
            let places: Vec<Point> = way.positions.iter().map(|&p| stride.plane.point(p)).collect();
            for ends in places.windows(2) {
                for piece in stride.pieces {
                    let (p, q) = (stride.plane.point(piece.from), stride.plane.point(piece.to));
                    if apart(p, q, ends[0], ends[1], half + BESIDE_M) {
                        continue;
                    }
                    for (reach, inside) in [(half + BESIDE_M, false), (half, true)] {
                        let Some((from, to)) = beside(p, q, ends[0], ends[1], reach) else { continue };
                        let (from_m, to_m) = (piece.about_m(from), piece.about_m(to));
                        roads.entry(one_road(way)).or_default().push(Beside {
                            way: index,
                            from_m,
                            to_m,
                            inside,
                        });
                    }
                }
            }
        }
    }
    let mut runs: Vec<Run> = roads.into_values().flat_map(|beside| runs(&beside, ground, found)).collect();
    runs.sort_by(|a, b| a.from_m.total_cmp(&b.from_m).then(a.ways.cmp(&b.ways)));
    runs
}

/// What makes ways one road: number, or name, or being the same way.
pub(super) fn one_road(way: &Way) -> (Obstacle, &str, Option<Drawn>) {
    match way.reference.as_deref().or(way.name.as_deref()) {
        Some(known) => (way.obstacle, known, None),
        None => (way.obstacle, "", Some(way.drawn)),
    }
}

/// The shares of p to q between which it runs the way of a to b and within reach of it.
#[allow(clippy::many_single_char_names, reason = "the letters that geometry has for them")]
fn beside(p: Point, q: Point, a: Point, b: Point, reach: f64) -> Option<(f64, f64)> {
    let (d, e) = (q.minus(p), b.minus(a));
    let (long, wide) = (d.length(), e.length());
    if long == 0.0 || wide == 0.0 || between(azimuth(d), azimuth(e)) > SAME_WAY {
        return None;
    }
    let start = p.minus(a);
    // Offset and advance along a to b are linear in the share.
    let offset = (e.cross(start) / wide, e.cross(d) / wide);
    let advance = (e.dot(start) / wide, e.dot(d) / wide);
    let (mut from, mut to) = (0.0_f64, 1.0_f64);
    for ((at, rate), least, most) in [(offset, -reach, reach), (advance, 0.0, wide)] {
        if rate.abs() < 1e-12 {
            if at < least || at > most {
                return None;
            }
            continue;
        }
        let (one, other) = ((least - at) / rate, (most - at) / rate);
        from = from.max(one.min(other));
        to = to.min(one.max(other));
    }
    (from < to).then_some((from, to))
}

/// Joins stretches that overlap or are no farther apart than the gap.
pub(super) fn joined(mut stretches: Vec<(f64, f64)>, gap_m: f64) -> Vec<(f64, f64)> {
    stretches.sort_by(|a, b| a.0.total_cmp(&b.0));
    let mut joined: Vec<(f64, f64)> = Vec::new();
    for (from, to) in stretches {
        match joined.last_mut() {
            Some(last) if from - last.1 <= gap_m => last.1 = last.1.max(to),
            _ => joined.push((from, to)),
        }
    }
    joined
}

fn runs(beside: &[Beside], ground: &Ground, found: &mut Vec<Meeting>) -> Vec<Run> {
    let stretches = |wanted: &dyn Fn(&Beside) -> bool, gap| {
        joined(beside.iter().filter(|b| wanted(b)).map(|b| (b.from_m, b.to_m)).collect(), gap)
    };
    let inside = stretches(&|b| b.inside, 0.0);
    let mut runs = Vec::new();
    for (from, to) in stretches(&|_| true, GAP_M) {
        let mut ways: Vec<usize> =
            beside.iter().filter(|b| b.from_m >= from && b.to_m <= to).map(|b| b.way).collect();
        ways.sort_unstable();
        ways.dedup();
        let Some(&first) = ways.first() else { continue };
        let here = |m: &Meeting| {
            m.at_m >= from - 0.5
                && m.at_m <= to + 0.5
                && matches!(m.on, On::Way(index) if ways.binary_search(&index).is_ok())
        };
        let met: Vec<Meeting> = found.iter().filter(|m| here(m)).cloned().collect();
        let within: Vec<_> = inside.iter().filter(|(a, b)| *a >= from && *b <= to).collect();
        let inside_m: f64 = within.iter().map(|(a, b)| b - a).sum();
        let long = inside_m >= LEAST_RUN_M.max(LEAST_WIDTHS * width(&ground.ways[first]).0);
        if !long && met.len() < WEAVING {
            continue;
        }
        let ends = within.iter().flat_map(|(a, b)| [*a, *b]).chain(met.iter().map(|m| m.at_m));
        let (from_m, to_m) =
            ends.fold((f64::INFINITY, f64::NEG_INFINITY), |(least, most), at| (least.min(at), most.max(at)));
        let keep = if met.len() % 2 == 1 { met.last().map(|m| (m.on, m.at_m)) } else { None };
        found.retain(|m| !here(m) || keep == Some((m.on, m.at_m)));
        runs.push(Run { ways, from_m, to_m, inside_m, met });
    }
    runs
}
