//! A trace as short straight pieces on a plane, and where a piece and a segment of the map meet on it. A piece is short
//! enough that the straight line between its ends in longitude and latitude, which is how maps draw, and the geodesic
//! between them are one within two centimetres up to 70° of latitude.

use crate::{
    geodesy::{self, EQUATORIAL_RADIUS_M, FLATTENING, Position},
    trace::Trace,
    units::Metres,
};

/// A leg is cut into pieces no longer than this.
const PIECE_M: f64 = 400.0;
/// A stride has no more pieces than this.
const MOST_PIECES: usize = 100;
/// Lines that are this near each other touch.
const TOUCH_M: f64 = 1e-6;

/// A box in longitude and latitude.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Bounds {
    /// The south-western corner.
    pub south_west: Position,
    /// The north-eastern corner.
    pub north_east: Position,
}

impl Bounds {
    /// The box about positions; none about nothing.
    pub(crate) fn about<'a>(positions: impl IntoIterator<Item = &'a Position>) -> Option<Self> {
        positions.into_iter().map(|&p| Self { south_west: p, north_east: p }).reduce(Self::with)
    }

    /// The box with so much more on every side.
    pub(crate) fn widened(self, metres: f64) -> Self {
        let (lon_m, lat_m) = degree_m(self.south_west.lat().abs().max(self.north_east.lat().abs()));
        let (lon, lat) = (metres / lon_m.max(1.0), metres / lat_m);
        Self {
            south_west: Position::settled(
                (self.south_west.lon() - lon).max(-180.0),
                self.south_west.lat() - lat,
            ),
            north_east: Position::settled(
                (self.north_east.lon() + lon).min(180.0),
                self.north_east.lat() + lat,
            ),
        }
    }

    /// The box about this one and another.
    fn with(self, other: Self) -> Self {
        let (a, b) = (self, other);
        Self {
            south_west: Position::settled(
                a.south_west.lon().min(b.south_west.lon()),
                a.south_west.lat().min(b.south_west.lat()),
            ),
            north_east: Position::settled(
                a.north_east.lon().max(b.north_east.lon()),
                a.north_east.lat().max(b.north_east.lat()),
            ),
        }
    }

    /// The middle of the box.
    pub(crate) fn middle(self) -> Position {
        let (low, high) = (self.south_west, self.north_east);
        Position::settled(f64::midpoint(low.lon(), high.lon()), f64::midpoint(low.lat(), high.lat()))
    }

    pub(super) fn meets(self, other: Self) -> bool {
        self.south_west.lon() <= other.north_east.lon()
            && other.south_west.lon() <= self.north_east.lon()
            && self.south_west.lat() <= other.north_east.lat()
            && other.south_west.lat() <= self.north_east.lat()
    }

    pub(super) fn holds(self, p: Position) -> bool {
        self.meets(Self { south_west: p, north_east: p })
    }
}

/// The length of a degree of longitude and of latitude at a latitude, in metres.
fn degree_m(lat: f64) -> (f64, f64) {
    let e2 = FLATTENING * (2.0 - FLATTENING);
    let (sin, cos) = lat.to_radians().sin_cos();
    let w2 = 1.0 - e2 * sin * sin;
    let prime_vertical = EQUATORIAL_RADIUS_M / w2.sqrt();
    let meridian = prime_vertical * (1.0 - e2) / w2;
    ((prime_vertical * cos).to_radians(), meridian.to_radians())
}

/// A place on the plane, in metres east and north.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Point {
    pub(crate) x: f64,
    pub(crate) y: f64,
}

impl Point {
    pub(crate) fn middle(self, other: Self) -> Self {
        Self { x: f64::midpoint(self.x, other.x), y: f64::midpoint(self.y, other.y) }
    }

    pub(crate) fn minus(self, other: Self) -> Self {
        Self { x: self.x - other.x, y: self.y - other.y }
    }

    pub(crate) fn plus(self, other: Self, times: f64) -> Self {
        Self { x: self.x + other.x * times, y: self.y + other.y * times }
    }

    pub(crate) fn dot(self, other: Self) -> f64 {
        self.x * other.x + self.y * other.y
    }

    pub(crate) fn cross(self, other: Self) -> f64 {
        self.x * other.y - self.y * other.x
    }

    pub(crate) fn length(self) -> f64 {
        self.dot(self).sqrt()
    }
}

/// A plane that touches the ground at a place: right to a ten-thousandth over the kilometre about it.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Plane {
    origin: Position,
    lon_m: f64,
    lat_m: f64,
}

impl Plane {
    pub(crate) fn at(origin: Position) -> Self {
        let (lon_m, lat_m) = degree_m(origin.lat());
        Self { origin, lon_m, lat_m }
    }

    /// The place of a point, the other way round.
    pub(crate) fn place(&self, p: Point) -> Position {
        Position::settled(self.origin.lon() + p.x / self.lon_m, self.origin.lat() + p.y / self.lat_m)
    }

    pub(crate) fn point(&self, p: Position) -> Point {
        Point { x: (p.lon() - self.origin.lon()) * self.lon_m, y: (p.lat() - self.origin.lat()) * self.lat_m }
    }
}

/// The direction of a segment in degrees clockwise from north, 0 to 360.
pub(super) fn azimuth(along: Point) -> f64 {
    along.x.atan2(along.y).to_degrees().rem_euclid(360.0)
}

/// Whether p to q is surely farther than that from a to b, by the boxes about them: most of what a way has is nowhere near.
pub(crate) fn apart(p: Point, q: Point, a: Point, b: Point, by: f64) -> bool {
    let on_axis = |p: f64, q: f64, a: f64, b: f64| p.min(q) > a.max(b) + by || p.max(q) < a.min(b) - by;
    on_axis(p.x, q.x, a.x, b.x) || on_axis(p.y, q.y, a.y, b.y)
}

/// Where two segments meet: the share of the first and of the second. None when they are parallel, also where they
/// overlap: those are told by what runs along.
#[allow(clippy::many_single_char_names, reason = "the letters that geometry has for them")]
pub(super) fn meet(p: Point, q: Point, a: Point, b: Point) -> Option<(f64, f64)> {
    let (d, e) = (q.minus(p), b.minus(a));
    let (long, wide) = (d.length(), e.length());
    let turn = d.cross(e);
    if turn.abs() <= 1e-12 * long * wide {
        return None;
    }
    let from = a.minus(p);
    let (t, u) = (from.cross(e) / turn, from.cross(d) / turn);
    let (slack_t, slack_u) = (TOUCH_M / long, TOUCH_M / wide);
    ((-slack_t..=1.0 + slack_t).contains(&t) && (-slack_u..=1.0 + slack_u).contains(&u))
        .then(|| (t.clamp(0.0, 1.0), u.clamp(0.0, 1.0)))
}

/// A piece of the trace.
#[derive(Debug, Clone, Copy)]
pub(super) struct Piece {
    pub(super) from: Position,
    pub(super) to: Position,
    /// Where it begins and ends along the trace, in metres.
    pub(super) start_m: f64,
    pub(super) end_m: f64,
}

impl Piece {
    /// The place at a share of the piece, as a map draws it.
    pub(super) fn at(&self, share: f64) -> Position {
        let along = |from: f64, to: f64| from + (to - from) * share;
        Position::settled(along(self.from.lon(), self.to.lon()), along(self.from.lat(), self.to.lat()))
    }

    /// How far along the trace a place on the piece is: by the geodesic from the piece's start.
    pub(super) fn chainage_m(&self, place: Position) -> f64 {
        (self.start_m + geodesy::distance(self.from, place).value()).min(self.end_m)
    }

    /// How far along the trace a share of the piece is, near enough for a stretch.
    pub(super) fn about_m(&self, share: f64) -> f64 {
        self.start_m + (self.end_m - self.start_m) * share
    }
}

/// Some pieces that follow each other, with the box about them and a plane to reckon on.
pub(super) struct Stride<'a> {
    pub(super) pieces: &'a [Piece],
    pub(super) bounds: Bounds,
    pub(super) plane: Plane,
}

/// The whole trace in pieces, and those in strides.
pub(super) struct Course {
    pieces: Vec<Piece>,
    /// Where each stride ends in `pieces`, and the box about it.
    strides: Vec<(usize, Bounds)>,
}

impl Course {
    /// A piece over the 180th meridian is left out: no map is drawn across it.
    pub(super) fn of(trace: &Trace) -> Self {
        let mut pieces = Vec::new();
        for (places, chainages) in trace.positions().windows(2).zip(trace.chainages().windows(2)) {
            let (&[from, to], &[start, end]) = (places, chainages) else { continue };
            let (start_m, end_m) = (start.value(), end.value());
            let run = end_m - start_m;
            if run <= 0.0 {
                continue;
            }
            let direction = geodesy::direction(from, to);
            let cuts = (run / PIECE_M).ceil().max(1.0);
            let mut last = (from, start_m);
            let mut cut = 1.0;
            while cut <= cuts {
                let at = run * cut / cuts;
                let next = if cut < cuts {
                    (geodesy::destination(from, direction, Metres::bounded(at)), start_m + at)
                } else {
                    (to, end_m)
                };
                if (next.0.lon() - last.0.lon()).abs() <= 180.0 {
                    pieces.push(Piece { from: last.0, to: next.0, start_m: last.1, end_m: next.1 });
                }
                last = next;
                cut += 1.0;
            }
        }
        let mut strides: Vec<(usize, Bounds)> = Vec::new();
        let mut begun: Option<(usize, Bounds)> = None;
        for (index, piece) in pieces.iter().enumerate() {
            let Some(own) = Bounds::about([&piece.from, &piece.to]) else { continue };
            begun = Some(match begun {
                Some((first, bounds))
                    if index - first < MOST_PIECES
                        && piece.end_m - pieces[first].start_m <= PIECE_M
                        && piece.start_m <= pieces[index - 1].end_m =>
                {
                    (first, bounds.with(own))
                }
                Some((_, bounds)) => {
                    strides.push((index, bounds));
                    (index, own)
                }
                None => (index, own),
            });
        }
        strides.extend(begun.map(|(_, bounds)| (pieces.len(), bounds)));
        Self { pieces, strides }
    }

    pub(super) fn pieces(&self) -> &[Piece] {
        &self.pieces
    }

    pub(super) fn strides(&self) -> impl Iterator<Item = Stride<'_>> {
        let mut from = 0;
        self.strides.iter().map(move |&(to, bounds)| {
            let pieces = &self.pieces[std::mem::replace(&mut from, to)..to];
            Stride { pieces, bounds, plane: Plane::at(bounds.south_west) }
        })
    }

    /// The boxes about the trace, out to the reach. One about each short stride would overlap its neighbours for most of its ground,
    /// and one about a long slanting stretch would hold much that is nowhere near.
    pub(super) fn boxes(&self, reach_m: f64) -> Vec<Bounds> {
        /// As many reaches of the trace lie in one box: two boxes of half the length hold as much.
        const REACHES: f64 = 4.0;
        let mut boxes: Vec<Bounds> = Vec::new();
        let mut begun_m = 0.0;
        for stride in self.strides() {
            let (Some(first), Some(last)) = (stride.pieces.first(), stride.pieces.last()) else { continue };
            let own = stride.bounds.widened(reach_m);
            match boxes.last_mut() {
                Some(bounds) if last.end_m - begun_m <= REACHES * reach_m => *bounds = bounds.with(own),
                _ => {
                    begun_m = first.start_m;
                    boxes.push(own);
                }
            }
        }
        boxes
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn place(lon: f64, lat: f64) -> Position {
        Position::new(lon, lat).unwrap()
    }

    #[test]
    fn a_degree_is_as_long_as_the_geodesic_says() {
        for lat in [0.0, 30.0, 54.2, 70.0, 85.0] {
            let (lon_m, lat_m) = degree_m(lat);
            let east = geodesy::distance(place(10.0, lat), place(10.001, lat)).value() * 1000.0;
            let north = geodesy::distance(place(10.0, lat), place(10.0, lat + 0.001)).value() * 1000.0;
            assert!((lon_m / east - 1.0).abs() < 1e-6, "{lat}: {lon_m} {east}");
            assert!((lat_m / north - 1.0).abs() < 1e-5, "{lat}: {lat_m} {north}");
        }
    }

    #[test]
    fn pieces_cover_the_trace_and_lie_on_its_geodesics() {
        let trace = Trace::new(vec![place(-4.67, 54.08), place(-4.4, 54.3), place(-4.4, 54.31)]).unwrap();
        let course = Course::of(&trace);
        let mut reached = 0.0;
        for piece in course.pieces() {
            assert_eq!(piece.start_m.to_bits(), f64::to_bits(reached));
            assert!(piece.end_m - piece.start_m <= PIECE_M + 1e-6);
            reached = piece.end_m;
            // The map's straight line and the geodesic stay within two centimetres.
            let middle = piece.at(0.5);
            assert!(trace.nearest(middle).offset.value() < 0.02);
        }
        assert_eq!(Metres::new(reached).unwrap(), trace.length());
        assert_eq!(course.strides().map(|stride| stride.pieces.len()).sum::<usize>(), course.pieces().len());
        let boxes = course.boxes(200.0);
        assert!(boxes.len() <= course.strides().count() * 2 / 3);
        for stride in course.strides() {
            for piece in stride.pieces {
                assert!(stride.bounds.holds(piece.from) && stride.bounds.holds(piece.to));
                let aside = geodesy::destination(
                    piece.from,
                    crate::units::Degrees::new(45.0).unwrap(),
                    Metres::from_const(199.0),
                );
                assert!(boxes.iter().any(|bounds| bounds.holds(aside)));
            }
        }
    }

    #[test]
    fn a_trace_over_the_180th_meridian_has_no_piece_round_the_world() {
        let trace = Trace::new(vec![place(179.99, 10.0), place(-179.99, 10.0)]).unwrap();
        for bounds in Course::of(&trace).boxes(200.0) {
            assert!(bounds.north_east.lon() - bounds.south_west.lon() < 1.0, "{bounds:?}");
        }
    }

    #[test]
    fn segments_meet_at_their_ends_and_not_beyond() {
        let point = |x, y| Point { x, y };
        let (p, q) = (point(0.0, 0.0), point(10.0, 0.0));
        assert_eq!(meet(p, q, point(4.0, -1.0), point(4.0, 3.0)), Some((0.4, 0.25)));
        assert_eq!(meet(p, q, point(10.0, 0.0), point(10.0, 3.0)), Some((1.0, 0.0)));
        assert_eq!(meet(p, q, point(10.1, -1.0), point(10.1, 1.0)), None);
        assert_eq!(meet(p, q, point(2.0, 0.0), point(8.0, 0.0)), None);
    }
}
