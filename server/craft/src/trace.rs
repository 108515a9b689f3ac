//! A line's trace over the ground: chainage to position and back, the nearest place on it and the offset from it.
//! It does not know which trace is planned and which is laid, and never moves or thins the positions it was given.
//! Every leg is a geodesic of WGS 84; the foot of a perpendicular is found as Baselga and Martínez-Llario do
//! (Intersection and point-to-line solutions for geodesics on the ellipsoid, Stud. Geophys. Geod. 62, 2018).
//! The standards and papers named here are cited from memory; what holds the figures to account are the published tables in the
//! tests.

mod laid;

use std::fmt;
use std::sync::Arc;

use serde::de::{self, SeqAccess, Visitor};
use serde::{Deserialize, Deserializer, Serialize, Serializer};
use utoipa::openapi::RefOr;
use utoipa::openapi::schema::{ArrayBuilder, Schema};
use utoipa::{PartialSchema, ToSchema};

use crate::geodesy::{self, EQUATORIAL_RADIUS_M, FLATTENING, Position, sin_cos_degrees};
use crate::units::Metres;

pub use laid::Laid;

/// The most positions that a trace may have.
pub const MOST_POSITIONS: usize = 100_000;

/// Closer to the trace than this, a place lies on it and on neither side: the width of a hand is far inside what any
/// receiver can tell, and a millimetre is what the reckoning promises.
const ON_THE_TRACE_M: f64 = 0.001;

/// Why positions do not make a trace.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum TraceError {
    /// Fewer than two places that differ.
    #[error("a trace needs at least two positions that differ; {given} given, all at one place")]
    NoLength {
        /// How many positions were given.
        given: usize,
    },
    /// More positions than [`MOST_POSITIONS`].
    #[error(
        "a trace of {given} positions is too long; {most} is the most, so divide the line or thin the track"
    )]
    TooManyPositions {
        /// How many there would be.
        given: usize,
        /// How many there may be.
        most: usize,
    },
    /// Longer over the ground than [`Metres::MOST`].
    #[error("a trace is at most {most:.0} long; this one goes on")]
    TooLong {
        /// How long it may be.
        most: Metres,
    },
    /// A stretch that is empty, runs backwards or leaves the trace.
    #[error(
        "from {from} to {to} is no stretch of this trace; give two chainages that rise, from 0 to {length}"
    )]
    NoStretch {
        /// Where it would begin.
        from: Metres,
        /// Where it would end.
        to: Metres,
        /// The trace's length.
        length: Metres,
    },
}

/// On which hand of somebody who walks the trace from its start to its end.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum Side {
    /// To the left of the trace.
    Left,
    /// On it, within a millimetre, or straight ahead of its ends.
    On,
    /// To the right of the trace.
    Right,
}

/// The place on a trace that is nearest to another place.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, ToSchema)]
pub struct Nearest {
    /// Distance along the trace from its start.
    #[serde(rename = "chainage_m")]
    pub chainage: Metres,
    /// Distance from the trace, never negative.
    #[serde(rename = "offset_m")]
    pub offset: Metres,
    /// The hand on which the other place lies.
    pub side: Side,
    /// The nearest place itself.
    pub position: Position,
}

/// A line's geometry: geodesic legs between positions, in the order in which the wire runs.
///
/// On the wire it is the coordinates of a GeoJSON `LineString`. Positions may repeat, as they do where a team stood
/// still; the length may not be zero. A clone shares what the trace holds.
#[derive(Debug, Clone)]
pub struct Trace {
    positions: Arc<Vec<Position>>,
    course: Arc<Course>,
}

/// What is reckoned of a trace's positions, each once.
#[derive(Debug, Clone, Default)]
struct Course {
    /// The chainage of each position.
    chainages: Vec<Metres>,
    /// Each position in space, so that far legs are put aside without solving a geodesic.
    in_space: Vec<[f64; 3]>,
    /// The legs, [`TOGETHER`] and [`TOGETHER`], so that most far legs are put aside without being looked at.
    bundles: Vec<Bundle>,
}

/// Legs in a bundle.
const TOGETHER: usize = 64;

/// Legs in a row: the least box in space that holds their chords, and the longest of them.
#[derive(Debug, Clone)]
struct Bundle {
    low: [f64; 3],
    high: [f64; 3],
    longest_m: f64,
}

impl Bundle {
    fn beginning_at(there: [f64; 3]) -> Self {
        Self { low: there, high: there, longest_m: 0.0 }
    }

    /// Adds the leg that ends there.
    fn take(&mut self, there: [f64; 3], run: Metres) {
        for (axis, at) in there.into_iter().enumerate() {
            self.low[axis] = self.low[axis].min(at);
            self.high[axis] = self.high[axis].max(at);
        }
        self.longest_m = self.longest_m.max(run.value());
    }

    /// A length that the offset of `q` from no leg of the bundle falls short of.
    fn least_offset(&self, q: [f64; 3]) -> f64 {
        let outside =
            [0, 1, 2].map(|axis| (self.low[axis] - q[axis]).max(q[axis] - self.high[axis]).max(0.0));
        dot(outside, outside).sqrt() - stands_off(self.longest_m)
    }
}

impl Course {
    /// Lays more positions on behind those that are laid. Nothing is changed when that is refused.
    fn extend(&mut self, laid: &[Position], more: &[Position]) -> Result<(), TraceError> {
        let end = laid.last().copied().zip(self.chainages.last().copied());
        let chainages = chainages_of(more, end, laid.len())?;
        for (&position, chainage) in more.iter().zip(chainages) {
            let there = in_space(position);
            if let Some((&from, &passed)) = self.in_space.last().zip(self.chainages.last()) {
                if (self.in_space.len() - 1).is_multiple_of(TOGETHER) {
                    self.bundles.push(Bundle::beginning_at(from));
                }
                if let Some(bundle) = self.bundles.last_mut() {
                    bundle.take(there, chainage - passed);
                }
            }
            self.chainages.push(chainage);
            self.in_space.push(there);
        }
        Ok(())
    }

    /// Leaves so many positions from the start.
    fn shorten(&mut self, positions: usize) {
        self.chainages.truncate(positions);
        self.in_space.truncate(positions);
        let legs = self.in_space.len().saturating_sub(1);
        self.bundles.truncate(legs.div_ceil(TOGETHER));
        if let Some(last) = self.bundles.len().checked_sub(1) {
            let mut bundle = Bundle::beginning_at(self.in_space[last * TOGETHER]);
            for leg in self.legs(last) {
                bundle.take(self.in_space[leg + 1], self.chainages[leg + 1] - self.chainages[leg]);
            }
            self.bundles[last] = bundle;
        }
    }

    /// The course of positions that make a trace.
    fn of(positions: &[Position]) -> Result<Self, TraceError> {
        let mut course = Self::default();
        course.extend(&[], positions)?;
        if course.length() > Metres::ZERO {
            Ok(course)
        } else {
            Err(TraceError::NoLength { given: positions.len() })
        }
    }

    fn length(&self) -> Metres {
        self.chainages.last().copied().unwrap_or(Metres::ZERO)
    }

    /// A length that the offset of `q` from a leg can't fall short of: the straight distance to the leg's chord, less
    /// what the leg can stand off from it.
    fn least_offset(&self, leg: usize, q: [f64; 3]) -> f64 {
        let (a, b) = (self.in_space[leg], self.in_space[leg + 1]);
        let run = (self.chainages[leg + 1] - self.chainages[leg]).value();
        let chord = minus(b, a);
        let reach = minus(q, a);
        let along = if run > 0.0 { (dot(reach, chord) / dot(chord, chord)).clamp(0.0, 1.0) } else { 0.0 };
        let across = minus(reach, chord.map(|c| c * along));
        dot(across, across).sqrt() - stands_off(run)
    }

    /// The legs of a bundle.
    fn legs(&self, bundle: usize) -> std::ops::Range<usize> {
        let first = bundle * TOGETHER;
        first..(first + TOGETHER).min(self.in_space.len() - 1)
    }
}

/// What a leg can stand off from its chord: the way over the ground is never shorter than the straight one, and a curve of
/// length L bent no more than 1/r stays within L²/8r of its chord.
fn stands_off(run_m: f64) -> f64 {
    /// The least radius of curvature of any geodesic: that of the meridian at the equator, b²/a.
    const LEAST_RADIUS_M: f64 = EQUATORIAL_RADIUS_M * (1.0 - FLATTENING) * (1.0 - FLATTENING);
    // A micrometre covers the rounding of coordinates in space.
    run_m * run_m / (8.0 * LEAST_RADIUS_M) + 1e-6
}

impl Trace {
    /// Makes a trace of positions.
    ///
    /// # Errors
    /// Fewer than two positions that differ, or more than [`MOST_POSITIONS`], or more than [`Metres::MOST`] of length.
    pub fn new(positions: Vec<Position>) -> Result<Self, TraceError> {
        let course = Arc::new(Course::of(&positions)?);
        Ok(Self { positions: Arc::new(positions), course })
    }

    /// Lays more legs on at the end. Nothing is changed when that is refused.
    ///
    /// # Errors
    /// More than [`MOST_POSITIONS`] in all, or more than [`Metres::MOST`] of length.
    pub fn extend(&mut self, more: &[Position]) -> Result<(), TraceError> {
        Arc::make_mut(&mut self.course).extend(&self.positions, more)?;
        Arc::make_mut(&mut self.positions).extend_from_slice(more);
        Ok(())
    }

    /// The positions, from start to end.
    #[must_use]
    pub fn positions(&self) -> &[Position] {
        &self.positions
    }

    /// The chainage of each position, from 0 to the length.
    #[must_use]
    pub fn chainages(&self) -> &[Metres] {
        &self.course.chainages
    }

    /// Where the trace starts.
    #[must_use]
    pub fn start(&self) -> Position {
        self.positions[0]
    }

    /// Where the trace ends.
    #[must_use]
    pub fn end(&self) -> Position {
        self.positions[self.positions.len() - 1]
    }

    /// The whole length over the ground.
    #[must_use]
    pub fn length(&self) -> Metres {
        self.course.length()
    }

    /// The place at a chainage; none before the start or past the end.
    #[must_use]
    pub fn at(&self, chainage: Metres) -> Option<Position> {
        if !(Metres::ZERO..=self.length()).contains(&chainage) {
            return None;
        }
        // The first position at or past the chainage ends the leg; a place that was recorded is given back unaltered.
        let end = self.course.chainages.partition_point(|&passed| passed < chainage);
        if self.course.chainages[end] == chainage {
            return Some(self.positions[end]);
        }
        let leg = self.leg(end - 1);
        let (position, _) =
            geodesy::direct(leg.from, leg.azimuth, (chainage - self.course.chainages[end - 1]).value());
        Some(position)
    }

    /// The stretch between two chainages, as a trace of its own that starts at chainage 0.
    ///
    /// # Errors
    /// Chainages that do not rise, or that are not on the trace.
    pub fn between(&self, from: Metres, to: Metres) -> Result<Self, TraceError> {
        let refused = || TraceError::NoStretch { from, to, length: self.length() };
        if from >= to {
            return Err(refused());
        }
        let (first, last) = self.at(from).zip(self.at(to)).ok_or_else(refused)?;
        let inside = self.chainages().iter().zip(self.positions());
        let inside = inside.filter(|(at, _)| **at > from && **at < to);
        let mut positions = vec![first];
        positions.extend(inside.map(|(_, position)| *position));
        positions.push(last);
        // Two chainages a nanometre apart are one place.
        Self::new(positions).map_err(|_| refused())
    }

    /// The place on the trace that is nearest to `p`; the earliest of several that are equally near.
    ///
    /// Offset and position are right to a millimetre for legs up to 100 km and places within 100 km of them, and the
    /// chainage likewise unless `p` stands so far off that the nearest place itself is vague. Legs that cannot matter are
    /// put aside by their chords in space, and most of them with all of their bundle, so that the cost is a few geodesics and
    /// one pass over the bundles.
    #[must_use]
    pub fn nearest(&self, p: Position) -> Nearest {
        let (course, q) = (&*self.course, in_space(p));
        let bounds: Vec<f64> = course.bundles.iter().map(|bundle| bundle.least_offset(q)).collect();
        let first = (0..bounds.len()).min_by(|&a, &b| bounds[a].total_cmp(&bounds[b])).unwrap_or(0);
        let by_chord = |leg: usize| course.least_offset(leg, q);
        let promising = course.legs(first).min_by(|&a, &b| by_chord(a).total_cmp(&by_chord(b))).unwrap_or(0);
        let mut nearest = self.leg(promising).foot(p);
        let mut on = promising;
        for (bundle, &bound) in bounds.iter().enumerate() {
            if bound > nearest.offset_m {
                continue;
            }
            for leg in course.legs(bundle) {
                if leg == promising || by_chord(leg) > nearest.offset_m {
                    continue;
                }
                // From far off the chords tell little: then one geodesic to the leg's start settles most legs.
                let run = course.chainages[leg + 1] - course.chainages[leg];
                if (geodesy::distance(self.positions[leg], p) - run).value() > nearest.offset_m {
                    continue;
                }
                let foot = self.leg(leg).foot(p);
                if foot.offset_m < nearest.offset_m || (leg < on && foot.offset_m <= nearest.offset_m) {
                    (nearest, on) = (foot, leg);
                }
            }
        }
        Nearest {
            // A leg's run and its chainages can differ in the last digit: no place lies past the leg's own end.
            chainage: Metres::bounded(self.course.chainages[on].value() + nearest.run_m)
                .min(self.course.chainages[on + 1]),
            offset: Metres::bounded(nearest.offset_m),
            side: self.side(on, &nearest, p),
            position: nearest.position,
        }
    }

    /// The hand on which `p` lies. At a corner two legs are nearest, and in the wedge outside a sharp one they disagree:
    /// the leg whose line passes farther from `p` tells the truth.
    fn side(&self, on: usize, nearest: &Foot, p: Position) -> Side {
        if nearest.offset_m < ON_THE_TRACE_M {
            return Side::On;
        }
        let (_, to_p) = geodesy::inverse(nearest.position, p);
        let across = |azimuth: f64| (to_p - azimuth).to_radians().sin();
        let mut rightward = across(nearest.azimuth);
        let neighbour = match nearest.on {
            Within::Start => {
                (0..on).rev().map(|leg| self.leg(leg)).find(|leg| leg.run_m > 0.0).map(|leg| leg.end().1)
            }
            Within::Inside => None,
            Within::End => (on + 1..self.positions.len() - 1)
                .map(|leg| self.leg(leg))
                .find(|leg| leg.run_m > 0.0)
                .map(|leg| leg.azimuth),
        };
        if let Some(other) = neighbour.map(across).filter(|other| other.abs() > rightward.abs()) {
            rightward = other;
        }
        match rightward * nearest.offset_m {
            r if r >= ON_THE_TRACE_M => Side::Right,
            r if r <= -ON_THE_TRACE_M => Side::Left,
            _ => Side::On,
        }
    }

    fn leg(&self, index: usize) -> Leg {
        let (from, to) = (self.positions[index], self.positions[index + 1]);
        let (run_m, azimuth) = geodesy::inverse(from, to);
        Leg { from, to, run_m, azimuth }
    }
}

/// The chainages of positions that follow an end already laid, of so many positions.
fn chainages_of(
    positions: &[Position],
    end: Option<(Position, Metres)>,
    laid: usize,
) -> Result<Vec<Metres>, TraceError> {
    let given = laid.saturating_add(positions.len());
    if given > MOST_POSITIONS {
        return Err(TraceError::TooManyPositions { given, most: MOST_POSITIONS });
    }
    let (mut last, mut chainage) = end.map_or((None, 0.0), |(end, length)| (Some(end), length.value()));
    positions
        .iter()
        .map(|&position| {
            chainage += last.map_or(0.0, |last| geodesy::distance(last, position).value());
            last = Some(position);
            Metres::new(chainage).map_err(|_| TraceError::TooLong { most: Metres::MOST })
        })
        .collect()
}

/// One geodesic leg of a trace.
struct Leg {
    from: Position,
    to: Position,
    run_m: f64,
    azimuth: f64,
}

/// Where on its leg a foot lies.
#[derive(Clone, Copy)]
enum Within {
    Start,
    Inside,
    End,
}

/// The place of a leg that is nearest to something.
#[derive(Clone, Copy)]
struct Foot {
    on: Within,
    run_m: f64,
    offset_m: f64,
    position: Position,
    /// The leg's own azimuth there.
    azimuth: f64,
}

impl Leg {
    /// The last position, and the azimuth with which the leg arrives there.
    fn end(&self) -> (Position, f64) {
        let (_, azimuth) = geodesy::direct(self.from, self.azimuth, self.run_m);
        (self.to, azimuth)
    }

    /// The nearest place to `p`: the foot of the perpendicular where it falls on the leg, else the nearer end.
    fn foot(&self, p: Position) -> Foot {
        /// Each step leaves about a hundredth of the error, so that ten are ample for any leg on the Earth.
        const MOST_STEPS: usize = 10;
        let (to_start, to_p) = geodesy::inverse(self.from, p);
        let start = Foot {
            on: Within::Start,
            run_m: 0.0,
            offset_m: to_start,
            position: self.from,
            azimuth: self.azimuth,
        };
        if self.run_m <= 0.0 {
            return start;
        }
        let (to, arriving) = self.end();
        let to_end = geodesy::distance(to, p).value();
        let end =
            Foot { on: Within::End, run_m: self.run_m, offset_m: to_end, position: to, azimuth: arriving };

        let mut inside = Foot { on: Within::Inside, ..start };
        let mut bearing = to_p;
        for _ in 0..MOST_STEPS {
            let run_m =
                (inside.run_m + along(inside.offset_m, bearing - inside.azimuth)).clamp(0.0, self.run_m);
            if (run_m - inside.run_m).abs() < 1e-6 {
                break;
            }
            let (position, azimuth) = geodesy::direct(self.from, self.azimuth, run_m);
            let (offset_m, to_p) = geodesy::inverse(position, p);
            inside = Foot { on: Within::Inside, run_m, offset_m, position, azimuth };
            bearing = to_p;
        }
        // An end wins a draw: it is a recorded position, and its corner has two legs to ask for the side.
        let nearer_end = if end.offset_m < start.offset_m { end } else { start };
        if inside.offset_m < nearer_end.offset_m { inside } else { nearer_end }
    }
}

/// How far along a leg the foot of a perpendicular lies, seen from a place on it: the right-angled spherical triangle
/// tan(along) = tan(offset) · cos(angle). The Earth's flattening leaves an error that shrinks at every step.
fn along(offset_m: f64, angle: f64) -> f64 {
    let (sin, cos) = (offset_m / EQUATORIAL_RADIUS_M).sin_cos();
    (sin * angle.to_radians().cos()).atan2(cos) * EQUATORIAL_RADIUS_M
}

/// The place in space on the ellipsoid's own axes, in metres.
fn in_space(p: Position) -> [f64; 3] {
    const E2: f64 = FLATTENING * (2.0 - FLATTENING);
    let ((sin_lat, cos_lat), (sin_lon, cos_lon)) = (sin_cos_degrees(p.lat()), sin_cos_degrees(p.lon()));
    let normal = EQUATORIAL_RADIUS_M / (1.0 - E2 * sin_lat * sin_lat).sqrt();
    [normal * cos_lat * cos_lon, normal * cos_lat * sin_lon, normal * (1.0 - E2) * sin_lat]
}

fn minus(a: [f64; 3], b: [f64; 3]) -> [f64; 3] {
    [a[0] - b[0], a[1] - b[1], a[2] - b[2]]
}

fn dot(a: [f64; 3], b: [f64; 3]) -> f64 {
    a[0] * b[0] + a[1] * b[1] + a[2] * b[2]
}

/// Two traces are the same when their positions are: all the rest is reckoned from them.
impl PartialEq for Trace {
    fn eq(&self, other: &Self) -> bool {
        Arc::ptr_eq(&self.positions, &other.positions) || self.positions == other.positions
    }
}

impl Serialize for Trace {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        self.positions.serialize(serializer)
    }
}

impl<'de> Deserialize<'de> for Trace {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        struct Coordinates;

        impl<'de> Visitor<'de> for Coordinates {
            type Value = Trace;

            fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
                write!(f, "a trace: 2 to {MOST_POSITIONS} positions [longitude, latitude]")
            }

            fn visit_seq<A: SeqAccess<'de>>(self, mut positions: A) -> Result<Trace, A::Error> {
                let mut read = Vec::new();
                while let Some(position) = positions.next_element()? {
                    read.push(position);
                    if read.len() > MOST_POSITIONS {
                        let error = TraceError::TooManyPositions { given: read.len(), most: MOST_POSITIONS };
                        return Err(de::Error::custom(error));
                    }
                }
                Trace::new(read).map_err(de::Error::custom)
            }
        }

        deserializer.deserialize_seq(Coordinates)
    }
}

impl PartialSchema for Trace {
    fn schema() -> RefOr<Schema> {
        ArrayBuilder::new()
            .items(Position::schema())
            .min_items(Some(2))
            .max_items(Some(MOST_POSITIONS))
            .description(Some(
                "The coordinates of a GeoJSON LineString, in the order in which the wire runs.",
            ))
            .into()
    }
}

impl ToSchema for Trace {}
