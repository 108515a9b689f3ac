//! The places that a search may go by, and which lie beside each other: a lattice over the whole area, places along both
//! verges of every road, track and path, and the ends. What a step costs is not its business.

use rustc_hash::FxHashMap;

use super::field::{Field, Point};

/// The lattice is no finer than this.
const FINEST_M: f64 = 40.0;
/// And so coarse that it has no more places than this.
const MOST_PLACES: f64 = 120_000.0;
/// Verges have no more places than this; beyond it they lie farther apart.
const MOST_ON_VERGES: f64 = 120_000.0;

/// The graph of a search.
pub(super) struct Graph {
    points: Vec<Point>,
    beside: Vec<Vec<(u32, u32)>>,
    edges: u32,
    stops: Vec<u32>,
}

impl Graph {
    pub(super) fn over(field: &Field<'_>, stops: &[crate::geodesy::Position]) -> Self {
        let (wide, high) = (field.high.x - field.low.x, field.high.y - field.low.y);
        let spacing = (wide * high / MOST_PLACES).sqrt().max(FINEST_M);
        let mut graph = Self { points: Vec::new(), beside: Vec::new(), edges: 0, stops: Vec::new() };
        let lattice = graph.lattice(field, spacing);
        let length: f64 = field.verges().map(|(points, _)| length(&points)).sum();
        graph.verges(field, &lattice, spacing.max(2.0 * length / MOST_ON_VERGES));
        for &stop in stops {
            let node = graph.add(field.point(stop));
            let around = lattice.around(graph.point(node), 2);
            for other in around {
                graph.join(node, other);
            }
            graph.stops.push(node);
        }
        // Two stops may lie in one square.
        for two in 1..graph.stops.len() {
            graph.join(graph.stops[two - 1], graph.stops[two]);
        }
        graph
    }

    pub(super) fn nodes(&self) -> impl Iterator<Item = u32> {
        0..u32::try_from(self.points.len()).unwrap_or(u32::MAX)
    }

    pub(super) fn point(&self, node: u32) -> Point {
        self.points[node as usize]
    }

    pub(super) fn stop(&self, number: usize) -> u32 {
        self.stops[number]
    }

    /// How many steps there are.
    pub(super) fn steps(&self) -> usize {
        self.edges as usize
    }

    /// The places beside one, and the number of the step there, which is the same there and back.
    pub(super) fn beside(&self, node: u32) -> impl Iterator<Item = (u32, u32)> + '_ {
        self.beside[node as usize].iter().copied()
    }

    fn add(&mut self, point: Point) -> u32 {
        self.points.push(point);
        self.beside.push(Vec::new());
        u32::try_from(self.points.len() - 1).unwrap_or(u32::MAX)
    }

    fn join(&mut self, a: u32, b: u32) {
        if a != b {
            self.beside[a as usize].push((b, self.edges));
            self.beside[b as usize].push((a, self.edges));
            self.edges += 1;
        }
    }

    fn lattice(&mut self, field: &Field<'_>, spacing: f64) -> Lattice {
        let mut lattice = Lattice { low: field.low, spacing, nodes: FxHashMap::default() };
        let (columns, rows) = lattice.square(field.high);
        for column in 0..=columns {
            for row in 0..=rows {
                let point = Point {
                    x: field.low.x + f64::from(column) * spacing,
                    y: field.low.y + f64::from(row) * spacing,
                };
                if field.barred(point) {
                    continue;
                }
                let node = self.add(point);
                lattice.nodes.insert((column, row), node);
                // To those that are there already: west, south and the two diagonals.
                for (across, up) in [(-1, 0), (0, -1), (-1, -1), (-1, 1)] {
                    if let Some(&other) = lattice.nodes.get(&(column + across, row + up)) {
                        self.join(node, other);
                    }
                }
            }
        }
        lattice
    }

    /// Places along both sides of each way, joined along it, across it, and with the lattice about them.
    fn verges(&mut self, field: &Field<'_>, lattice: &Lattice, spacing: f64) {
        let within =
            |p: Point| p.x >= field.low.x && p.x <= field.high.x && p.y >= field.low.y && p.y <= field.high.y;
        for (points, aside) in field.verges() {
            let mut last: [Option<u32>; 2] = [None, None];
            for (place, along) in spaced(&points, spacing) {
                let normal = Point { x: -along.y, y: along.x };
                let sides = [place.plus(normal, aside), place.plus(normal, -aside)];
                let mut here: [Option<u32>; 2] = [None, None];
                for (side, &point) in sides.iter().enumerate() {
                    if !within(point) || field.barred(point) {
                        continue;
                    }
                    let node = self.add(point);
                    for other in lattice.around(point, 1) {
                        self.join(node, other);
                    }
                    if let Some(before) = last[side] {
                        self.join(node, before);
                    }
                    here[side] = Some(node);
                }
                if let [Some(left), Some(right)] = here {
                    self.join(left, right);
                }
                last = here;
            }
        }
    }
}

struct Lattice {
    low: Point,
    spacing: f64,
    nodes: FxHashMap<(i32, i32), u32>,
}

impl Lattice {
    #[allow(clippy::cast_possible_truncation, reason = "the area is some tens of kilometres across")]
    fn square(&self, p: Point) -> (i32, i32) {
        (
            ((p.x - self.low.x) / self.spacing).floor() as i32,
            ((p.y - self.low.y) / self.spacing).floor() as i32,
        )
    }

    /// The places at the corners of the square that the point is in, and of so many squares about it.
    fn around(&self, p: Point, reach: i32) -> Vec<u32> {
        let (column, row) = self.square(p);
        let near = (1 - reach..=reach).flat_map(|x| (1 - reach..=reach).map(move |y| (column + x, row + y)));
        near.filter_map(|place| self.nodes.get(&place).copied()).collect()
    }
}

fn length(points: &[Point]) -> f64 {
    points.windows(2).map(|two| two[1].minus(two[0]).length()).sum()
}

/// Places along a line, its corners among them, with the direction there, of length one.
fn spaced(points: &[Point], spacing: f64) -> Vec<(Point, Point)> {
    let mut places = Vec::new();
    for two in points.windows(2) {
        let run = two[1].minus(two[0]);
        let long = run.length();
        if long < 0.01 {
            continue;
        }
        let along = Point { x: run.x / long, y: run.y / long };
        let pieces = (long / spacing).ceil().max(1.0);
        let mut done = 0.0;
        while done < pieces {
            // In the middle of each piece, so that a corner's two sides do not fall into the carriageway.
            places.push((two[0].plus(run, (done + 0.5) / pieces), along));
            done += 1.0;
        }
    }
    places
}
