//! Heights of the ground from grids, and what they make of a trace: its profile, its length over the hills, its steepest
//! piece. What no grid knows is unknown and never zero, and a length that hangs on it is not told. It reads no file: a grid
//! is given to it cell by cell.
//!
//! # Source
//! Between four posts the height is bilinear, which is what most readers of such grids do; a surface length is the sum of
//! hypotenuses over pieces no longer than a cell (both common practice, no source). Ground lengths are geodesics of the
//! ellipsoid: at 1,000 m above it they are 0.016 % longer (1,000 m in the Earth's radius of 6,371 km), which is left out.

use std::ops::RangeInclusive;

use serde::Serialize;
use utoipa::ToSchema;

use crate::geodesy::{self, Position};
use crate::trace::Trace;
use crate::units::Metres;

/// The most posts of a grid: more than the 3,601 × 3,601 of a tile of one degree at one second of arc.
pub const MOST_POSTS: usize = 16_000_000;
/// The most places of a profile.
pub const MOST_POINTS: usize = 200_000;
/// The most points that a profile is thinned to.
pub const MOST_THINNED: usize = 2_000;
/// No ground lies lower or higher, in metres: Challenger Deep is some 10,935 m deep, Everest 8,849 m high (from memory).
const ON_EARTH_M: RangeInclusive<f64> = -12_000.0..=9_000.0;
/// How far before a crossing, and after it, the ground is looked at: a cell of a grid at one second of arc, and about
/// where the ties of an overhead crossing stand. Planning value of our own.
const ABOUT: Metres = Metres::from_const(30.0);
/// The points that are kept of a group when a profile is thinned: first, last, lowest, highest, first and last unknown.
const KEPT_OF_A_GROUP: usize = 6;

/// Why heights make no grid, or a trace no profile.
#[derive(Debug, Clone, Copy, PartialEq, thiserror::Error)]
pub enum ElevationError {
    /// A grid of one row or column, or with too many posts.
    #[error(
        "a grid of {columns} × {rows} heights cannot be used: give 2 or more each way, {MOST_POSTS} at the most in all"
    )]
    Size {
        /// Posts from west to east.
        columns: usize,
        /// Posts from north to south.
        rows: usize,
    },
    /// Not as many heights as the size says.
    #[error("a grid of {columns} × {rows} needs as many heights; {given} were given, or the first too many")]
    Count {
        /// Posts from west to east.
        columns: usize,
        /// Posts from north to south.
        rows: usize,
        /// How many heights there were before the reading stopped.
        given: usize,
    },
    /// The corners are not north-west and south-east.
    #[error("a grid runs from its north-west post to its south-east one; these corners do not lie so")]
    Corners,
    /// A height that no ground has.
    #[error("the height {height} lies nowhere on the Earth: mark what is unknown as unknown")]
    NotOnEarth {
        /// The height.
        height: Metres,
    },
    /// The trace is too long for its profile.
    #[error(
        "a profile of {points} places is too long; {MOST_POINTS} is the most, so ask for a stretch of the trace"
    )]
    TooLong {
        /// How many places there would be.
        points: usize,
    },
}

/// Heights at posts that lie evenly in longitude and latitude.
#[derive(Debug, Clone)]
pub struct Grid {
    north_west: Position,
    south_east: Position,
    columns: usize,
    rows: usize,
    /// Rows from the north, each from the west; NaN is unknown.
    heights: Vec<f32>,
}

impl Grid {
    /// Makes a grid of its outermost posts and its heights: rows from the north, each from the west; none is unknown.
    ///
    /// No more heights are read than the size asks for and one.
    ///
    /// # Errors
    /// A size without an area or beyond [`MOST_POSTS`], heights too few or too many, a height that is not on the Earth.
    pub fn new(
        north_west: Position,
        south_east: Position,
        columns: usize,
        rows: usize,
        heights: impl IntoIterator<Item = Option<Metres>>,
    ) -> Result<Self, ElevationError> {
        let posts = columns.checked_mul(rows).filter(|posts| *posts <= MOST_POSTS);
        let Some(posts) = posts.filter(|_| columns >= 2 && rows >= 2) else {
            return Err(ElevationError::Size { columns, rows });
        };
        if north_west.lon() >= south_east.lon() || north_west.lat() <= south_east.lat() {
            return Err(ElevationError::Corners);
        }
        let heights = heights.into_iter().take(posts + 1).map(post).collect::<Result<Vec<_>, _>>()?;
        if heights.len() != posts {
            return Err(ElevationError::Count { columns, rows, given: heights.len() });
        }
        Ok(Self { north_west, south_east, columns, rows, heights })
    }

    /// The height of the ground at a place; none outside the grid, or beside a post whose height is unknown.
    ///
    /// ```
    /// use laywire_craft::{elevation::Grid, geodesy::Position, units::Metres};
    /// let m = |h| Metres::new(h).ok();
    /// // 10 20
    /// // 30 60   a quarter of the way east, half of the way south: (12.5 + 37.5) / 2
    /// let grid = Grid::new(
    ///     Position::new(7.0, 51.0)?, Position::new(8.0, 50.0)?, 2, 2, [m(10.0), m(20.0), m(30.0), m(60.0)],
    /// )?;
    /// assert_eq!(grid.height(Position::new(7.25, 50.5)?), m(25.0));
    /// assert_eq!(grid.height(Position::new(8.25, 50.5)?), None);
    /// # Ok::<(), Box<dyn std::error::Error>>(())
    /// ```
    #[must_use]
    pub fn height(&self, place: Position) -> Option<Metres> {
        let (west, south) = post_before(
            (place.lon() - self.north_west.lon()) / (self.south_east.lon() - self.north_west.lon()),
            self.columns,
        )
        .zip(post_before(
            (self.north_west.lat() - place.lat()) / (self.north_west.lat() - self.south_east.lat()),
            self.rows,
        ))?;
        let ((column, east_part), (row, south_part)) = (west, south);
        // A post without weight is left out: an unknown one must not spoil a place that lies on its neighbour.
        let height: f64 = [
            (0, 0, (1.0 - east_part) * (1.0 - south_part)),
            (1, 0, east_part * (1.0 - south_part)),
            (0, 1, (1.0 - east_part) * south_part),
            (1, 1, east_part * south_part),
        ]
        .into_iter()
        .filter(|(.., weight)| *weight > 0.0)
        .map(|(east, south, weight)| {
            weight * f64::from(self.heights[(row + south) * self.columns + column + east])
        })
        .sum();
        Metres::new(height).ok()
    }

    /// The shorter side of a cell in the middle of the grid.
    #[must_use]
    pub fn cell(&self) -> Metres {
        let part = |from: f64, to: f64, posts: usize| (to - from) / whole(posts - 1);
        let lon = f64::midpoint(self.north_west.lon(), self.south_east.lon());
        let lat = f64::midpoint(self.north_west.lat(), self.south_east.lat());
        let middle = Position::settled(lon, lat);
        let east = part(self.north_west.lon(), self.south_east.lon(), self.columns);
        let south = part(self.north_west.lat(), self.south_east.lat(), self.rows);
        // Half a cell off the middle is still inside, so that neither runs off the scale.
        let along = geodesy::distance(middle, Position::settled(lon + east / 2.0, lat));
        let across = geodesy::distance(middle, Position::settled(lon, lat + south / 2.0));
        let half = along.min(across);
        half + half
    }
}

/// A height as it is kept.
#[allow(clippy::cast_possible_truncation, reason = "within ON_EARTH_M an f32 is right to half a millimetre")]
fn post(height: Option<Metres>) -> Result<f32, ElevationError> {
    match height {
        None => Ok(f32::NAN),
        Some(height) if ON_EARTH_M.contains(&height.value()) => Ok(height.value() as f32),
        Some(height) => Err(ElevationError::NotOnEarth { height }),
    }
}

/// The post before a place that lies at a part of the way between the first and the last, and the part of a cell after it.
#[allow(
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    reason = "the place lies between the first post and the last, of which there are at most MOST_POSTS"
)]
fn post_before(part: f64, posts: usize) -> Option<(usize, f64)> {
    if !(0.0..=1.0).contains(&part) {
        return None;
    }
    let place = part * whole(posts - 1);
    let before = (place as usize).min(posts - 2);
    Some((before, place - whole(before)))
}

#[allow(clippy::cast_precision_loss, reason = "counts here stay far below 2^53")]
const fn whole(count: usize) -> f64 {
    count as f64
}

/// The height at a place by the first of several grids that knows it.
#[must_use]
pub fn height(grids: &[Grid], place: Position) -> Option<Metres> {
    grids.iter().find_map(|grid| grid.height(place))
}

/// A place of a profile.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Point {
    /// Distance along the trace over the ground.
    pub chainage: Metres,
    /// The ground's height there; none is unknown.
    pub height: Option<Metres>,
}

/// The steepest piece of a profile.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Steepest {
    /// Where it begins.
    pub from: Metres,
    /// Where it ends.
    pub to: Metres,
    /// How much higher the end is than the beginning; negative where it falls.
    pub rise: Metres,
}

/// What the hills add to a trace.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, ToSchema)]
pub struct Surface {
    /// The length over the hills, in metres; null where the height of any part is unknown.
    #[schema(required = true)]
    pub length_m: Option<Metres>,
    /// How much more that is than over level ground, of what is known, in metres.
    pub more_m: Metres,
    /// How much of the trace has an unknown height at one of its ends, in metres.
    pub unknown_m: Metres,
}

/// The ground before a crossing and after it.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, ToSchema)]
pub struct GroundAbout {
    /// How high it is 30 m before the near edge, in metres.
    pub before_m: Metres,
    /// How high it is 30 m after the far edge, in metres.
    pub after_m: Metres,
    /// How far apart the two are along the trace, in metres: less where the trace begins or ends.
    pub apart_m: Metres,
}

impl GroundAbout {
    /// Looks before the edge at which a trace comes to what it crosses, and after the one at which it leaves it; none where
    /// either height is unknown.
    #[must_use]
    pub fn of(trace: &Trace, grids: &[Grid], from: Metres, to: Metres) -> Option<Self> {
        let (before, after) = ((from - ABOUT).max(Metres::ZERO), (to + ABOUT).min(trace.length()));
        let known = |chainage| height(grids, trace.at(chainage)?);
        Some(Self { before_m: known(before)?, after_m: known(after)?, apart_m: after - before })
    }
}

/// A trace's heights, from its start to its end.
#[derive(Debug, Clone, PartialEq)]
pub struct Profile {
    points: Vec<Point>,
}

impl Profile {
    /// Takes the heights along a trace: at each of its positions, and between them at steps no longer than a cell of the finest
    /// grid: a ridge of a single post may show at half its height.
    ///
    /// # Errors
    /// More than [`MOST_POINTS`] places.
    pub fn new(trace: &Trace, grids: &[Grid]) -> Result<Self, ElevationError> {
        let step = grids.iter().map(Grid::cell).reduce(Metres::min);
        let legs = || trace.chainages().windows(2).map(|leg| (leg[0], leg[1], pieces(leg[1] - leg[0], step)));
        let points = legs().fold(1, |sum: usize, (.., pieces)| sum.saturating_add(pieces));
        if points > MOST_POINTS {
            return Err(ElevationError::TooLong { points });
        }
        let between = legs().flat_map(|(from, to, pieces)| {
            (1..=pieces).map(move |piece| {
                if piece == pieces {
                    return to;
                }
                let run = (to - from).value() * whole(piece) / whole(pieces);
                from + Metres::bounded(run)
            })
        });
        let points = std::iter::once(Metres::ZERO)
            .chain(between)
            .map(|chainage| Point {
                chainage,
                height: trace.at(chainage).and_then(|place| height(grids, place)),
            })
            .collect();
        Ok(Self { points })
    }

    /// Every place, by chainage.
    #[must_use]
    pub fn points(&self) -> &[Point] {
        &self.points
    }

    /// The length over the hills: that of the ground laid on a level, and what its slopes add. None where any of it is unknown.
    #[must_use]
    pub fn surface_length(&self) -> Option<Metres> {
        self.pieces()
            .map(|(run, rise)| rise.map(|rise| Metres::bounded(run.value().hypot(rise.value()))))
            .sum()
    }

    /// What the hills add.
    #[must_use]
    pub fn surface(&self) -> Surface {
        let more = |(run, rise): (Metres, Option<Metres>)| {
            Some(Metres::bounded(run.value().hypot(rise?.value()) - run.value()))
        };
        Surface {
            length_m: self.surface_length(),
            more_m: self.pieces().filter_map(more).sum(),
            unknown_m: self.unknown(),
        }
    }

    /// How much of the trace has an unknown height at one of its ends.
    #[must_use]
    pub fn unknown(&self) -> Metres {
        self.pieces().filter(|(_, rise)| rise.is_none()).map(|(run, _)| run).sum()
    }

    /// The steepest piece, up or down, the first of several; none where no piece is known at both ends.
    #[must_use]
    pub fn steepest(&self) -> Option<Steepest> {
        let slope = |s: &Steepest| (s.rise.value() / (s.to - s.from).value()).abs();
        self.points
            .windows(2)
            .filter(|pair| pair[1].chainage > pair[0].chainage)
            .filter_map(|pair| {
                let rise = pair[1].height? - pair[0].height?;
                Some(Steepest { from: pair[0].chainage, to: pair[1].chainage, rise })
            })
            .reduce(|most, next| if slope(&next) > slope(&most) { next } else { most })
    }

    /// The lowest place and the highest that are known, the first of several.
    #[must_use]
    pub fn extremes(&self) -> Option<(Point, Point)> {
        extremes(&self.points)
    }

    /// At most [`MOST_THINNED`] of the points: with the ends, the lowest and the highest, and the ends of what is unknown.
    #[must_use]
    pub fn thinned(&self) -> Vec<Point> {
        if self.points.len() <= MOST_THINNED {
            return self.points.clone();
        }
        let group = self.points.len().div_ceil(MOST_THINNED / KEPT_OF_A_GROUP);
        self.points.chunks(group).flat_map(of_a_group).collect()
    }

    /// The run over the ground and the rise of each piece.
    fn pieces(&self) -> impl Iterator<Item = (Metres, Option<Metres>)> {
        self.points.windows(2).map(|pair| {
            let rise = pair[0].height.zip(pair[1].height).map(|(from, to)| to - from);
            (pair[1].chainage - pair[0].chainage, rise)
        })
    }
}

/// Into how many pieces a leg is divided.
#[allow(
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    reason = "never negative, and a cast stops at the end of the scale"
)]
fn pieces(leg: Metres, step: Option<Metres>) -> usize {
    step.map_or(1, |step| ((leg.value() / step.value()).ceil() as usize).max(1))
}

fn extremes(points: &[Point]) -> Option<(Point, Point)> {
    points.iter().copied().filter(|point| point.height.is_some()).fold(None, |found, point| match found {
        None => Some((point, point)),
        Some((low, high)) => Some((
            if point.height < low.height { point } else { low },
            if point.height > high.height { point } else { high },
        )),
    })
}

/// What is kept of a group of points, by chainage.
fn of_a_group(points: &[Point]) -> Vec<Point> {
    let unknown = |point: &&Point| point.height.is_none();
    let mut kept: Vec<Point> =
        [points.first(), points.last(), points.iter().find(unknown), points.iter().rfind(unknown)]
            .into_iter()
            .flatten()
            .copied()
            .chain(extremes(points).into_iter().flat_map(|(low, high)| [low, high]))
            .collect();
    kept.sort_by(|a, b| a.chainage.value().total_cmp(&b.chainage.value()));
    kept.dedup();
    kept
}
