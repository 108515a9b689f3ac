//! The ground of a search on a plane: what lies near a step over it, and what the step costs. The plane touches the ground in
//! the middle of the area and is right to a hundredth over the sixty kilometres that a search may reach.

use rustc_hash::FxHashMap;

use super::cost::{Bill, Costs, Price, Toll};
pub(super) use crate::foreseen::course::Point;
use crate::{
    foreseen::{Area, Bounds, Ground, LOOK_OUT, Structure, course::Plane, meeting::from_segment, width},
    geodesy::Position,
    obstacle::Obstacle,
};

/// A step is looked at in pieces no longer than this.
const PIECE_M: f64 = 50.0;
/// What lies in a square of this side is found together.
const CELL_M: f64 = 100.0;
/// So far from a way's edge wire still lies along it.
const VERGE_M: f64 = 15.0;
/// A piece that turns less than this from a way runs along it: the sine of 20°.
const ALONG_SINE: f64 = 0.342;
/// A bridge or culvert is near when it is within this of the crossing.
const PASSAGE_M: f64 = 60.0;
/// Straightening tries no farther ahead than so many places: a long trace would take for ever.
const MOST_AHEAD: usize = 60;

#[derive(Clone, Copy)]
enum What {
    Way {
        obstacle: Obstacle,
        half_m: f64,
        structure: Option<Structure>,
    },
    Power,
    /// The sea's edge, or that of water or of an area to keep out of.
    Wall,
}

struct Segment {
    a: Point,
    b: Point,
    what: What,
}

#[derive(Clone, Copy, PartialEq, Eq)]
enum Kind {
    Barred,
    Wood,
    Wet,
}

struct Shape {
    kind: Kind,
    rings: Vec<Vec<Point>>,
    low: Point,
    high: Point,
}

impl Shape {
    fn of(kind: Kind, rings: Vec<Vec<Point>>) -> Option<Self> {
        let all = || rings.iter().flatten();
        let fold = |of: fn(f64, f64) -> f64, by: fn(&Point) -> f64| all().map(by).reduce(of);
        let low = Point { x: fold(f64::min, |p| p.x)?, y: fold(f64::min, |p| p.y)? };
        let high = Point { x: fold(f64::max, |p| p.x)?, y: fold(f64::max, |p| p.y)? };
        Some(Self { kind, rings, low, high })
    }

    /// By the number of edges to the east: odd is inside.
    fn holds(&self, p: Point) -> bool {
        if p.x < self.low.x || p.x > self.high.x || p.y < self.low.y || p.y > self.high.y {
            return false;
        }
        let mut inside = false;
        for ring in &self.rings {
            let mut last = ring.last();
            for here in ring {
                if let Some(before) = last
                    && (here.y > p.y) != (before.y > p.y)
                    && p.x < (before.x - here.x) * (p.y - here.y) / (before.y - here.y) + here.x
                {
                    inside = !inside;
                }
                last = Some(here);
            }
        }
        inside
    }
}

type Cell = (i32, i32);

#[allow(clippy::cast_possible_truncation, reason = "the area is some tens of kilometres across")]
fn cell(p: Point) -> Cell {
    ((p.x / CELL_M).floor() as i32, (p.y / CELL_M).floor() as i32)
}

fn cells(a: Point, b: Point, reach: f64) -> impl Iterator<Item = Cell> {
    let low = cell(Point { x: a.x.min(b.x) - reach, y: a.y.min(b.y) - reach });
    let high = cell(Point { x: a.x.max(b.x) + reach, y: a.y.max(b.y) + reach });
    (low.0..=high.0).flat_map(move |x| (low.1..=high.1).map(move |y| (x, y)))
}

/// The ground of a search.
pub(super) struct Field<'a> {
    plane: Plane,
    pub(super) low: Point,
    pub(super) high: Point,
    ground: &'a Ground,
    segments: Vec<Segment>,
    by_cell: FxHashMap<Cell, Vec<u32>>,
    shapes: Vec<Shape>,
    shapes_by_cell: FxHashMap<Cell, Vec<u32>>,
}

impl<'a> Field<'a> {
    pub(super) fn new(area: Bounds, ground: &'a Ground, not_here: &[Vec<Position>]) -> Self {
        let middle = Position::settled(
            f64::midpoint(area.south_west.lon(), area.north_east.lon()),
            f64::midpoint(area.south_west.lat(), area.north_east.lat()),
        );
        let plane = Plane::at(middle);
        let mut field = Self {
            plane,
            low: plane.point(area.south_west),
            high: plane.point(area.north_east),
            ground,
            segments: Vec::new(),
            by_cell: FxHashMap::default(),
            shapes: Vec::new(),
            shapes_by_cell: FxHashMap::default(),
        };
        for way in &ground.ways {
            let half_m = width(way).0 / 2.0;
            field
                .line(&way.positions, What::Way { obstacle: way.obstacle, half_m, structure: way.structure });
        }
        for power in &ground.power_lines {
            field.line(&power.positions, What::Power);
        }
        for shore in &ground.shores {
            field.line(shore, What::Wall);
        }
        let rings = |area: &'a Area| area.rings.as_slice();
        for (kind, rings) in ground
            .waters
            .iter()
            .map(|water| (Kind::Barred, rings(water)))
            .chain(ground.closed.iter().map(|closed| (Kind::Barred, rings(closed))))
            .chain(ground.soft.iter().map(|soft| (Kind::Wet, rings(soft))))
            .chain(ground.woods.iter().map(|wood| (Kind::Wood, rings(wood))))
            .chain(not_here.iter().map(|ring| (Kind::Barred, std::slice::from_ref(ring))))
        {
            field.area(kind, rings);
        }
        field
    }

    fn line(&mut self, places: &[Position], what: What) {
        for two in places.windows(2) {
            let (a, b) = (self.point(two[0]), self.point(two[1]));
            // A long straight segment would fill a box of cells that it only cuts a corner of: it is filed piece by piece.
            let pieces = (b.minus(a).length() / CELL_M).ceil().max(1.0);
            let mut done = 0.0;
            while done < pieces {
                let (from, to) =
                    (a.plus(b.minus(a), done / pieces), a.plus(b.minus(a), (done + 1.0) / pieces));
                let number = u32::try_from(self.segments.len()).unwrap_or(u32::MAX);
                self.segments.push(Segment { a: from, b: to, what });
                for cell in cells(from, to, 0.0) {
                    self.by_cell.entry(cell).or_default().push(number);
                }
                done += 1.0;
            }
        }
    }

    fn area(&mut self, kind: Kind, rings: &[Vec<Position>]) {
        let points: Vec<Vec<Point>> =
            rings.iter().map(|ring| ring.iter().map(|&place| self.point(place)).collect()).collect();
        let Some(shape) = Shape::of(kind, points) else { return };
        if kind == Kind::Barred {
            for ring in rings {
                let mut closed = ring.clone();
                closed.extend(ring.first());
                self.line(&closed, What::Wall);
            }
        }
        let number = u32::try_from(self.shapes.len()).unwrap_or(u32::MAX);
        // What lies outside the area is not asked for.
        let within = |p: Point| Point {
            x: p.x.clamp(self.low.x - CELL_M, self.high.x + CELL_M),
            y: p.y.clamp(self.low.y - CELL_M, self.high.y + CELL_M),
        };
        for cell in cells(within(shape.low), within(shape.high), 0.0) {
            self.shapes_by_cell.entry(cell).or_default().push(number);
        }
        self.shapes.push(shape);
    }

    pub(super) fn point(&self, place: Position) -> Point {
        self.plane.point(place)
    }

    pub(super) fn position(&self, point: Point) -> Position {
        self.plane.place(point)
    }

    /// The ways that wire can lie along: where they are, and how far from their middle it lies.
    pub(super) fn verges(&self) -> impl Iterator<Item = (Vec<Point>, f64)> {
        let ways = self.ground.ways.iter().filter(|way| {
            !matches!(way.obstacle, Obstacle::Railway | Obstacle::Stream) && way.structure.is_none()
        });
        ways.map(|way| {
            let points = way.positions.iter().map(|&place| self.point(place)).collect();
            (points, width(way).0 / 2.0 + 3.0)
        })
    }

    fn inside(&self, p: Point, kind: Kind) -> bool {
        self.shapes_by_cell.get(&cell(p)).is_some_and(|numbers| {
            let shapes = numbers.iter().filter_map(|&number| self.shapes.get(number as usize));
            shapes.filter(|shape| shape.kind == kind).any(|shape| shape.holds(p))
        })
    }

    /// Whether nobody may lay wire here.
    pub(super) fn barred(&self, p: Point) -> bool {
        self.inside(p, Kind::Barred)
    }

    /// What a straight step costs; none where it may not be made.
    pub(super) fn step(&self, from: Point, to: Point, costs: &Costs) -> Option<u64> {
        Some(self.bill(from, to, costs)?.sum())
    }

    fn bill(&self, from: Point, to: Point, costs: &Costs) -> Option<Bill> {
        let run = to.minus(from);
        let length = run.length();
        let pieces = (length / PIECE_M).ceil().max(1.0);
        let mut bill = Bill::default();
        let mut done = 0.0;
        while done < pieces {
            let (p, q) = (from.plus(run, done / pieces), from.plus(run, (done + 1.0) / pieces));
            self.piece(p, q, length / pieces, costs, &mut bill)?;
            done += 1.0;
        }
        Some(bill)
    }

    fn piece(&self, p: Point, q: Point, length: f64, costs: &Costs, bill: &mut Bill) -> Option<()> {
        let middle = p.middle(q);
        let run = q.minus(p);
        let (mut beside_way, mut in_traffic, mut near_power) = (false, false, false);
        let mut seen: Vec<u32> = Vec::new();
        for cell in cells(p, q, LOOK_OUT.value()) {
            let Some(numbers) = self.by_cell.get(&cell) else { continue };
            for &number in numbers {
                if seen.contains(&number) {
                    continue;
                }
                seen.push(number);
                let Some(segment) = self.segments.get(number as usize) else { continue };
                let crossed = crosses(p, q, segment.a, segment.b);
                match segment.what {
                    What::Wall if crossed => return None,
                    What::Power => {
                        near_power |=
                            crossed || from_segment(middle, segment.a, segment.b) <= LOOK_OUT.value();
                    }
                    What::Wall
                    | What::Way { structure: Some(Structure::Tunnel | Structure::Culvert), .. } => {}
                    What::Way { obstacle, half_m, structure } => {
                        let along = segment.b.minus(segment.a);
                        let sine = run.cross(along).abs() / (run.length() * along.length()).max(1e-9);
                        let off = from_segment(middle, segment.a, segment.b);
                        if crossed {
                            let near =
                                structure == Some(Structure::Bridge) || self.passage_near(middle, obstacle);
                            let toll =
                                if near { Toll::ByPassage(obstacle) } else { Toll::Crossing(obstacle) };
                            bill.crossing(toll, costs);
                        }
                        let along_it = sine < ALONG_SINE;
                        in_traffic |= along_it && obstacle.carries_traffic() && off < half_m;
                        beside_way |= !matches!(obstacle, Obstacle::Railway | Obstacle::Stream)
                            && off <= half_m + VERGE_M;
                    }
                }
            }
        }
        if self.barred(middle) {
            return None;
        }
        let ground = if beside_way {
            Toll::Roadside
        } else if self.inside(middle, Kind::Wet) {
            Toll::Wet
        } else if self.inside(middle, Kind::Wood) {
            Toll::Wooded
        } else {
            Toll::Open
        };
        bill.ground(ground, length, costs);
        if in_traffic {
            bill.ground(Toll::InTraffic, length, costs);
        }
        if near_power {
            bill.ground(Toll::NearPower, length, costs);
        }
        Some(())
    }

    /// Whether a bridge or culvert that may serve to get past is drawn near.
    fn passage_near(&self, p: Point, obstacle: Obstacle) -> bool {
        cells(p, p, PASSAGE_M).any(|cell| {
            let numbers = self.by_cell.get(&cell).map(Vec::as_slice).unwrap_or_default();
            numbers.iter().filter_map(|&number| self.segments.get(number as usize)).any(|segment| {
                let serves = match segment.what {
                    // A culvert leads a stream beneath a way; a bridge leads a way over a stream or rails.
                    What::Way { structure: Some(Structure::Culvert), .. } => obstacle != Obstacle::Stream,
                    What::Way { structure: Some(Structure::Bridge), .. } => true,
                    _ => false,
                };
                serves && from_segment(p, segment.a, segment.b) <= PASSAGE_M
            })
        })
    }

    /// What a trace costs, item by item. A step that may not be made costs nothing here: the search makes none.
    pub(super) fn price(&self, points: &[Point], costs: &Costs) -> Price {
        let mut whole = Bill::default();
        for two in points.windows(2) {
            if let Some(bill) = self.bill(two[0], two[1], costs) {
                whole.add(bill);
            }
        }
        whole.price()
    }

    /// The same way with fewer places: a place is left out where the straight step past it costs no more.
    pub(super) fn straightened(&self, points: &[Point], costs: &Costs) -> Vec<Point> {
        let steps: Vec<u64> =
            points.windows(2).map(|two| self.step(two[0], two[1], costs).unwrap_or(u64::MAX / 4)).collect();
        let mut kept = vec![points[0]];
        let mut at = 0;
        while at + 1 < points.len() {
            let mut next = at + 1;
            let mut spent = steps[at];
            let mut best = next;
            while next + 1 < points.len() && next - at < MOST_AHEAD {
                spent = spent.saturating_add(steps[next]);
                next += 1;
                match self.step(points[at], points[next], costs) {
                    Some(straight) if straight <= spent => best = next,
                    _ => {}
                }
            }
            kept.push(points[best]);
            at = best;
        }
        kept
    }
}

/// Ground within a distance of a way.
pub(super) struct Near {
    reach: f64,
    cells: FxHashMap<Cell, Vec<(Point, Point)>>,
}

impl Near {
    /// The ground within a distance of a way, but for its ends.
    pub(super) fn about(points: &[Point], reach: f64) -> Self {
        let (first, last) = (points[0], points[points.len() - 1]);
        let mut near = Self { reach, cells: FxHashMap::default() };
        for two in points.windows(2) {
            let middle = two[0].middle(two[1]);
            let at_end = [first, last].iter().any(|end| end.minus(middle).length() < 2.0 * reach);
            if at_end {
                continue;
            }
            for cell in cells(two[0], two[1], reach) {
                near.cells.entry(cell).or_default().push((two[0], two[1]));
            }
        }
        near
    }

    /// How much of a way runs there.
    pub(super) fn share_of(&self, points: &[Point]) -> f64 {
        let (mut whole, mut beside) = (0.0, 0.0);
        for two in points.windows(2) {
            let run = two[1].minus(two[0]);
            let pieces = (run.length() / PIECE_M).ceil().max(1.0);
            let mut done = 0.0;
            while done < pieces {
                let length = run.length() / pieces;
                whole += length;
                if self.holds(two[0].plus(run, (done + 0.5) / pieces)) {
                    beside += length;
                }
                done += 1.0;
            }
        }
        if whole > 0.0 { beside / whole } else { 1.0 }
    }

    pub(super) fn holds(&self, p: Point) -> bool {
        let near = self.cells.get(&cell(p)).map(Vec::as_slice).unwrap_or_default();
        near.iter().any(|&(a, b)| from_segment(p, a, b) <= self.reach)
    }
}

/// Whether a piece goes over a segment, told by sides alone. A place right on a line counts to one side of it, so that a way
/// that is met at its corner is met once; and the piece is taken in one order, so that there and back are the same.
fn crosses(p: Point, q: Point, a: Point, b: Point) -> bool {
    let (p, q) = if (p.x, p.y) <= (q.x, q.y) { (p, q) } else { (q, p) };
    let left = |from: Point, to: Point, of: Point| to.minus(from).cross(of.minus(from)) >= 0.0;
    left(p, q, a) != left(p, q, b) && left(a, b, p) != left(a, b, q)
}
