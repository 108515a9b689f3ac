//! The ground of a search on a plane: what lies near a step over it, and what the step costs. The plane touches the ground in
//! the middle of the area and is right to a hundredth over the sixty kilometres that a search may reach.

use std::ops::Range;

use super::cost::{Bill, Costs, Price, Toll};
pub(super) use crate::foreseen::course::Point;
use crate::{
    foreseen::{
        Area, Bounds, Ground, LOOK_OUT, Structure,
        course::{Plane, apart},
        meeting::from_segment,
        width,
    },
    geodesy::Position,
    obstacle::Obstacle,
};

/// A step is looked at in pieces no longer than this.
const PIECE_M: f64 = 50.0;
/// What lies in a square of this side is found together.
const CELL_M: f64 = 100.0;
/// So far from a way's edge wire still lies along it.
const VERGE_M: f64 = 15.0;
/// So far from a hedge's middle wire still lies along it.
const HEDGE_M: f64 = 5.0;
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
    Hedge,
    /// The sea's edge, or that of water or of an area to keep out of.
    Wall,
}

impl What {
    /// Farther away it is nothing to a piece of wire.
    fn matters_within(self) -> f64 {
        match self {
            Self::Way { half_m, .. } => half_m + VERGE_M,
            Self::Power => LOOK_OUT.value(),
            Self::Hedge => HEDGE_M,
            Self::Wall => 0.0,
        }
    }
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

/// What lies in each square of the area, by its number. A square outside the area holds nothing.
struct Squares {
    low: Point,
    columns: usize,
    rows: usize,
    numbers: Vec<Vec<u32>>,
}

impl Squares {
    fn over(low: Point, high: Point) -> Self {
        let [columns, rows] =
            [high.x - low.x, high.y - low.y].map(|side| index(side / CELL_M).unwrap_or(0) + 1);
        Self { low, columns, rows, numbers: vec![Vec::new(); columns * rows] }
    }

    /// The columns and rows that a box touches, with so much more on every side.
    fn touched(&self, a: Point, b: Point, reach: f64) -> (Range<usize>, Range<usize>) {
        let span = |a: f64, b: f64, low: f64, count: usize| {
            let from = index((a.min(b) - reach - low).max(0.0) / CELL_M).unwrap_or(count);
            let to = index((a.max(b) + reach - low) / CELL_M).map_or(0, |to| (to + 1).min(count));
            from..to
        };
        (span(a.x, b.x, self.low.x, self.columns), span(a.y, b.y, self.low.y, self.rows))
    }

    fn file(&mut self, number: u32, a: Point, b: Point, reach: f64) {
        let (columns, rows) = self.touched(a, b, reach);
        for row in rows {
            for column in columns.clone() {
                self.numbers[row * self.columns + column].push(number);
            }
        }
    }

    /// What lies in the squares that a box touches; what lies in several comes as often.
    fn near(&self, a: Point, b: Point, reach: f64) -> impl Iterator<Item = u32> + '_ {
        let (columns, rows) = self.touched(a, b, reach);
        rows.flat_map(move |row| {
            let row = row * self.columns;
            // A row's squares lie beside each other.
            self.numbers.get(row + columns.start..row + columns.end.max(columns.start)).unwrap_or_default()
        })
        .flatten()
        .copied()
    }

    fn at(&self, p: Point) -> &[u32] {
        let (columns, rows) = self.touched(p, p, 0.0);
        let square =
            (!columns.is_empty() && !rows.is_empty()).then(|| rows.start * self.columns + columns.start);
        square.and_then(|square| self.numbers.get(square)).map_or(&[], Vec::as_slice)
    }
}

/// The square that so many squares lie before; none before the first.
#[allow(
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    reason = "the area is some tens of kilometres across"
)]
fn index(squares: f64) -> Option<usize> {
    (squares >= 0.0).then_some(squares as usize)
}

/// The ground of a search.
pub(super) struct Field<'a> {
    plane: Plane,
    pub(super) low: Point,
    pub(super) high: Point,
    ground: &'a Ground,
    segments: Vec<Segment>,
    squares: Squares,
    shapes: Vec<Shape>,
    shape_squares: Squares,
}

impl<'a> Field<'a> {
    pub(super) fn new(area: Bounds, ground: &'a Ground, not_here: &[Vec<Position>]) -> Self {
        let middle = Position::settled(
            f64::midpoint(area.south_west.lon(), area.north_east.lon()),
            f64::midpoint(area.south_west.lat(), area.north_east.lat()),
        );
        let plane = Plane::at(middle);
        let (low, high) = (plane.point(area.south_west), plane.point(area.north_east));
        let mut field = Self {
            plane,
            low,
            high,
            ground,
            segments: Vec::new(),
            squares: Squares::over(low, high),
            shapes: Vec::new(),
            shape_squares: Squares::over(low, high),
        };
        for way in &ground.ways {
            let half_m = width(way).0 / 2.0;
            field
                .line(&way.positions, What::Way { obstacle: way.obstacle, half_m, structure: way.structure });
        }
        for power in &ground.power_lines {
            field.line(&power.positions, What::Power);
        }
        for hedge in &ground.hedges {
            field.line(hedge, What::Hedge);
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
                // Filed where it matters: a piece of wire then looks only at the squares that it lies in.
                self.squares.file(number, from, to, what.matters_within());
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
        self.shape_squares.file(number, shape.low, shape.high, 0.0);
        self.shapes.push(shape);
    }

    pub(super) fn point(&self, place: Position) -> Point {
        self.plane.point(place)
    }

    pub(super) fn position(&self, point: Point) -> Position {
        self.plane.place(point)
    }

    /// The ways and hedges that wire can lie along: where they are, and how far from their middle it lies.
    pub(super) fn verges(&self) -> impl Iterator<Item = (Vec<Point>, f64)> {
        let ways = self.ground.ways.iter().filter(|way| {
            !matches!(way.obstacle, Obstacle::Railway | Obstacle::Stream) && way.structure.is_none()
        });
        let ways = ways.map(|way| (&way.positions, width(way).0 / 2.0 + 3.0));
        let hedges = self.ground.hedges.iter().map(|hedge| (hedge, HEDGE_M / 2.0));
        ways.chain(hedges).map(|(line, aside)| (line.iter().map(|&place| self.point(place)).collect(), aside))
    }

    fn inside(&self, p: Point, kind: Kind) -> bool {
        let shapes = self.shape_squares.at(p).iter().filter_map(|&number| self.shapes.get(number as usize));
        shapes.filter(|shape| shape.kind == kind).any(|shape| shape.holds(p))
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
        let (mut beside_way, mut in_traffic, mut near_power, mut by_hedge) = (false, false, false, false);
        let mut over: Vec<u32> = Vec::new();
        for number in self.squares.near(p, q, 0.0) {
            let Some(segment) = self.segments.get(number as usize) else { continue };
            if apart(p, q, segment.a, segment.b, segment.what.matters_within()) {
                continue;
            }
            let crossed = crosses(p, q, segment.a, segment.b);
            match segment.what {
                What::Wall if crossed => return None,
                What::Power => {
                    near_power |= crossed || from_segment(middle, segment.a, segment.b) <= LOOK_OUT.value();
                }
                What::Hedge => {
                    by_hedge |= from_segment(middle, segment.a, segment.b) <= HEDGE_M
                        && runs_along(run, segment.b.minus(segment.a));
                }
                What::Wall | What::Way { structure: Some(Structure::Tunnel | Structure::Culvert), .. } => {}
                What::Way { obstacle, half_m, structure } => {
                    let off = from_segment(middle, segment.a, segment.b);
                    // In two squares it is still crossed once.
                    if crossed && !over.contains(&number) {
                        over.push(number);
                        let near =
                            structure == Some(Structure::Bridge) || self.passage_near(middle, obstacle);
                        let toll = if near { Toll::ByPassage(obstacle) } else { Toll::Crossing(obstacle) };
                        bill.crossing(toll, costs);
                    }
                    in_traffic |= off < half_m
                        && obstacle.carries_traffic()
                        && runs_along(run, segment.b.minus(segment.a));
                    beside_way |=
                        !matches!(obstacle, Obstacle::Railway | Obstacle::Stream) && off <= half_m + VERGE_M;
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
        } else if by_hedge {
            Toll::Hedge
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
        let near = self.squares.near(p, p, PASSAGE_M);
        near.filter_map(|number| self.segments.get(number as usize)).any(|segment| {
            let serves = match segment.what {
                // A culvert leads a stream beneath a way; a bridge leads a way over a stream or rails.
                What::Way { structure: Some(Structure::Culvert), .. } => obstacle != Obstacle::Stream,
                What::Way { structure: Some(Structure::Bridge), .. } => true,
                _ => false,
            };
            serves && from_segment(p, segment.a, segment.b) <= PASSAGE_M
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
    legs: Vec<(Point, Point)>,
    squares: Squares,
}

impl Near {
    /// The ground within a distance of a way, but for its ends.
    pub(super) fn about(points: &[Point], reach: f64) -> Self {
        let (first, last) = (points[0], points[points.len() - 1]);
        let fold =
            |of: fn(f64, f64) -> f64, by: fn(&Point) -> f64| points.iter().map(by).fold(by(&first), of);
        let low = Point { x: fold(f64::min, |p| p.x) - reach, y: fold(f64::min, |p| p.y) - reach };
        let high = Point { x: fold(f64::max, |p| p.x) + reach, y: fold(f64::max, |p| p.y) + reach };
        let mut near = Self { reach, legs: Vec::new(), squares: Squares::over(low, high) };
        for two in points.windows(2) {
            let run = two[1].minus(two[0]);
            // A long leg is filed piece by piece: the box about it would hold much that is not near.
            let pieces = (run.length() / CELL_M).ceil().max(1.0);
            let mut done = 0.0;
            while done < pieces {
                let (a, b) = (two[0].plus(run, done / pieces), two[0].plus(run, (done + 1.0) / pieces));
                done += 1.0;
                let middle = a.middle(b);
                if [first, last].iter().any(|end| end.minus(middle).length() < 2.0 * reach) {
                    continue;
                }
                let number = u32::try_from(near.legs.len()).unwrap_or(u32::MAX);
                near.legs.push((a, b));
                near.squares.file(number, a, b, reach);
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
        let mut near = self.squares.at(p).iter().filter_map(|&number| self.legs.get(number as usize));
        near.any(|&(a, b)| from_segment(p, a, b) <= self.reach)
    }
}

/// Whether two directions are nearly one.
fn runs_along(run: Point, way: Point) -> bool {
    run.cross(way).abs() < ALONG_SINE * run.length() * way.length()
}

/// Whether a piece goes over a segment, told by sides alone. A place right on a line counts to one side of it, so that a way
/// that is met at its corner is met once; and the piece is taken in one order, so that there and back are the same.
fn crosses(p: Point, q: Point, a: Point, b: Point) -> bool {
    let (p, q) = if (p.x, p.y) <= (q.x, q.y) { (p, q) } else { (q, p) };
    let left = |from: Point, to: Point, of: Point| to.minus(from).cross(of.minus(from)) >= 0.0;
    left(p, q, a) != left(p, q, b) && left(a, b, p) != left(a, b, q)
}
