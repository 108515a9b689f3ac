//! Travel by the roads, tracks and paths of the map: how far and how long a team goes to each of several places. It knows
//! no gates, weight limits or state of the road, and no traffic: what the map does not show is unknown. It orders no queue
//! and shares no work out; that is [`crate::share_out`].
//!
//! A team walks from where it stands to a way, and from a way to the crossing, over open ground. Where that walk is as far as
//! the straight way between the two, it walks straight.
//!
//! On foot and by wagon, and by vehicle on a track, the pace is the profile's for following a wire. The two rates of vehicles on
//! made roads are planning values, common practice, no source: slow enough for a loaded truck that looks for its crossing.

use std::ops::Add;

use pathfinding::{num_traits::Zero, prelude::dijkstra_reach};
use rustc_hash::FxHashMap;
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

use crate::{
    foreseen::{
        Area, Bounds, Way,
        course::{Plane, Point},
        meeting::{encloses, nearest_on},
    },
    geodesy::{self, Position},
    obstacle::Obstacle,
    pace::{Ground, Means},
    profile::Profile,
    units::{Metres, MetresPerMinute, Minutes},
};

/// A way farther than this from a place does not lead there.
pub const OFF_ROAD: Metres = Metres::from_const(2_000.0);
/// No two places of one question lie farther apart than this.
pub const FARTHEST: Metres = Metres::from_const(60_000.0);
/// The most places of one question.
pub const MOST_PLACES: usize = 200;

/// A vehicle's rate on a main highway: 50 km/h.
const HIGHWAY: MetresPerMinute = MetresPerMinute::from_const(50_000.0 / 60.0);
/// A vehicle's rate on any other made road: 30 km/h.
const ROAD: MetresPerMinute = MetresPerMinute::from_const(30_000.0 / 60.0);
/// To how many ways about it a place is joined: the nearest may lead nowhere.
const JOINED_TO: usize = 6;
/// So much more ground than the box of the places is looked at: a road goes round.
pub const ROOM: Metres = Metres::from_const(4_000.0);

/// Why travel cannot be told.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum RoadError {
    /// The places are too far apart.
    #[error(
        "the places lie up to {apart:.0} apart, and no more than {FARTHEST:.0} is reckoned by road: ask from nearer by"
    )]
    TooFar {
        /// How far.
        apart: Metres,
    },
}

/// How far and how long it is to a place.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct Travel {
    /// In minutes.
    pub travel_min: Minutes,
    /// In metres, the walk to and from the road included.
    pub distance_m: Metres,
}

/// Whole millionths of a minute and whole millimetres: sums that do not depend on their order.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
struct Cost {
    micro_min: u64,
    mm: u64,
}

impl Add for Cost {
    type Output = Self;
    fn add(self, other: Self) -> Self {
        Self { micro_min: self.micro_min + other.micro_min, mm: self.mm + other.mm }
    }
}

impl Zero for Cost {
    fn zero() -> Self {
        Self { micro_min: 0, mm: 0 }
    }
    fn is_zero(&self) -> bool {
        self.micro_min == 0 && self.mm == 0
    }
}

impl Cost {
    #[allow(
        clippy::cast_possible_truncation,
        clippy::cast_sign_loss,
        reason = "lengths within a box of some hundred kilometres, at a rate that is more than nothing"
    )]
    fn of(length_m: f64, rate: MetresPerMinute) -> Self {
        Self {
            micro_min: (length_m / rate.value() * 1e6).round() as u64,
            mm: (length_m * 1e3).round() as u64,
        }
    }

    #[allow(clippy::cast_precision_loss, reason = "far below what a float holds whole")]
    fn travel(self) -> Travel {
        Travel {
            travel_min: Minutes::bounded(self.micro_min as f64 / 1e6),
            distance_m: Metres::bounded(self.mm as f64 / 1e3),
        }
    }
}

/// How fast a team goes on a way; none where it cannot go.
///
/// ```
/// use laywire_craft::{obstacle::Obstacle, pace::Means, profile::Profile, road::rate};
/// let profile = Profile::field();
/// assert_eq!(rate(Obstacle::Road, "residential", Means::Vehicle, &profile).unwrap().value(), 500.0);
/// assert!(rate(Obstacle::Path, "footway", Means::Vehicle, &profile).is_none());
/// assert!(rate(Obstacle::MainHighway, "motorway", Means::Foot, &profile).is_none());
/// ```
#[must_use]
pub fn rate(obstacle: Obstacle, class: &str, by: Means, profile: &Profile) -> Option<MetresPerMinute> {
    let following = profile.pace.following_rate(by).value;
    let no_walkers = matches!(class, "motorway" | "motorway_link");
    match (by, obstacle) {
        (_, Obstacle::Railway | Obstacle::Stream) | (Means::Vehicle | Means::Wagon, Obstacle::Path) => None,
        // A road that is being built is none yet to drive on, and these are for buses and races alone.
        (_, Obstacle::Road) if matches!(class, "raceway" | "bus_guideway" | "construction") => None,
        (Means::Foot | Means::Wagon, _) => (!no_walkers).then_some(following),
        (Means::Vehicle, Obstacle::MainHighway) => Some(HIGHWAY),
        (Means::Vehicle, Obstacle::Road) => Some(ROAD),
        (Means::Vehicle, Obstacle::DirtRoad) => Some(following),
    }
}

/// The ground on which travel between places is looked for.
///
/// # Errors
/// Places that lie too far apart.
pub fn area(places: &[Position]) -> Result<Option<Bounds>, RoadError> {
    let Some(bounds) = Bounds::about(places) else { return Ok(None) };
    let apart = geodesy::distance(bounds.south_west, bounds.north_east);
    if apart > FARTHEST {
        return Err(RoadError::TooFar { apart });
    }
    Ok(Some(bounds.widened(ROOM.value())))
}

/// The travel from each of the first `from` places to every place, by the quickest way; none where no way was found. Ways
/// that the unit has found closed are closed to wheels.
#[must_use]
pub fn travel(
    ways: &[Way],
    closed: &[Area],
    by: Means,
    profile: &Profile,
    places: &[Position],
    from: usize,
) -> Vec<Vec<Option<Travel>>> {
    let Some(bounds) = Bounds::about(places) else { return Vec::new() };
    let network = Network::new(ways, closed, by, profile, places, bounds);
    (0..from.min(places.len())).map(|start| network.from(start, places.len())).collect()
}

/// Places first, then the places on ways where they are joined to it, then junctions.
struct Network {
    beside: Vec<Vec<(u32, Cost)>>,
}

/// A way that can be gone on.
struct Course {
    rate: MetresPerMinute,
    both_ways: bool,
    points: Vec<Point>,
    /// By the position to a ten-millionth of a degree, which is as fine as the map is kept.
    keys: Vec<(i64, i64)>,
    /// No piece from this point to the next: it is closed.
    shut: Vec<bool>,
    /// Where places are joined to it: the piece, the share of it, the node.
    joins: Vec<(usize, f64, u32)>,
}

#[allow(clippy::cast_possible_truncation, reason = "degrees")]
fn key(place: Position) -> (i64, i64) {
    ((place.lon() * 1e7).round() as i64, (place.lat() * 1e7).round() as i64)
}

impl Network {
    fn new(
        ways: &[Way],
        closed: &[Area],
        by: Means,
        profile: &Profile,
        places: &[Position],
        bounds: Bounds,
    ) -> Self {
        let middle = bounds.middle();
        let plane = Plane::at(middle);
        let spots: Vec<Point> = places.iter().map(|&place| plane.point(place)).collect();
        let closed = if by == Means::Foot { &[] } else { closed };
        let mut courses: Vec<Course> = ways
            .iter()
            .filter_map(|way| {
                let rate = rate(way.obstacle, &way.class, by, profile)?;
                let points: Vec<Point> = way.positions.iter().map(|&p| plane.point(p)).collect();
                let shut = way.positions.windows(2).map(|two| {
                    let middle = Bounds { south_west: two[0], north_east: two[1] }.middle();
                    closed.iter().any(|area| encloses(area, middle))
                });
                Some(Course {
                    rate,
                    both_ways: by == Means::Foot || !way.one_way,
                    keys: way.positions.iter().map(|&p| key(p)).collect(),
                    shut: shut.collect(),
                    points,
                    joins: Vec::new(),
                })
            })
            .collect();

        let mut network = Self { beside: vec![Vec::new(); places.len()] };
        let over_ground = {
            let foot = profile.pace.following_rate(Means::Foot).value.value();
            let times = profile.pace.times(Ground::Open).map_or(1.0, |times| times.value.value());
            MetresPerMinute::bounded(foot / times)
        };
        let mut walks = vec![f64::INFINITY; places.len()];
        for (number, &spot) in spots.iter().enumerate() {
            for (course, piece, share, away) in nearest(&courses, spot) {
                let node = network.node();
                walks[number] = walks[number].min(away);
                network.join(index(number), node, Cost::of(away, over_ground), true);
                courses[course].joins.push((piece, share, node));
            }
        }
        // Where the walk to a way and from it would be as far, straight over the ground.
        for a in 0..places.len() {
            for b in 0..a {
                let straight = spots[a].minus(spots[b]).length();
                if straight <= walks[a] + walks[b] && straight <= OFF_ROAD.value() {
                    network.join(index(a), index(b), Cost::of(straight, over_ground), true);
                }
            }
        }
        network.lay(&mut courses);
        network
    }

    fn node(&mut self) -> u32 {
        self.beside.push(Vec::new());
        index(self.beside.len() - 1)
    }

    fn join(&mut self, a: u32, b: u32, cost: Cost, both_ways: bool) {
        self.beside[a as usize].push((b, cost));
        if both_ways {
            self.beside[b as usize].push((a, cost));
        }
    }

    /// Joins what lies along each way: its ends, the places where it meets another, and where it is gone to from a place.
    fn lay(&mut self, courses: &mut [Course]) {
        let mut met: FxHashMap<(i64, i64), u32> = FxHashMap::default();
        for course in &*courses {
            for (number, &at) in course.keys.iter().enumerate() {
                let end = number == 0 || number + 1 == course.keys.len();
                *met.entry(at).or_default() += if end { 2 } else { 1 };
            }
        }
        let mut junctions: FxHashMap<(i64, i64), u32> = FxHashMap::default();
        for course in courses {
            course.joins.sort_by(|a, b| a.0.cmp(&b.0).then(a.1.total_cmp(&b.1)));
            let mut joins = course.joins.iter().peekable();
            let (mut last, mut run): (Option<u32>, f64) = (None, 0.0);
            for (number, two) in course.points.windows(2).enumerate() {
                if met[&course.keys[number]] > 1 {
                    let here = *junctions.entry(course.keys[number]).or_insert_with(|| self.node());
                    if let Some(last) = last {
                        self.join(last, here, Cost::of(run, course.rate), course.both_ways);
                    }
                    (last, run) = (Some(here), 0.0);
                }
                let long = two[1].minus(two[0]).length();
                let mut gone = 0.0;
                while let Some(&(_, share, node)) = joins.next_if(|join| join.0 == number) {
                    run += (share * long - gone).max(0.0);
                    gone = share * long;
                    if let Some(last) = last {
                        self.join(last, node, Cost::of(run, course.rate), course.both_ways);
                    }
                    (last, run) = (Some(node), 0.0);
                }
                run += long - gone;
                if course.shut[number] {
                    (last, run) = (None, 0.0);
                }
            }
            if let (Some(last), Some(end)) = (last, course.keys.last()) {
                let here = *junctions.entry(*end).or_insert_with(|| self.node());
                self.join(last, here, Cost::of(run, course.rate), course.both_ways);
            }
        }
    }

    fn from(&self, start: usize, places: usize) -> Vec<Option<Travel>> {
        let mut travel = vec![None; places];
        let mut left = places;
        let reached = dijkstra_reach(&index(start), |&node| self.beside[node as usize].iter().copied());
        for item in reached {
            if let Some(place) = travel.get_mut(item.node as usize) {
                *place = Some(item.total_cost.travel());
                left -= 1;
                if left == 0 {
                    break;
                }
            }
        }
        travel
    }
}

fn index(number: usize) -> u32 {
    u32::try_from(number).unwrap_or(u32::MAX)
}

/// The nearest place on each of the nearest ways within reach: the way, its piece, the share of the piece, and how far away.
fn nearest(courses: &[Course], spot: Point) -> Vec<(usize, usize, f64, f64)> {
    let mut found: Vec<(usize, usize, f64, f64)> = Vec::new();
    for (number, course) in courses.iter().enumerate() {
        let mut best: Option<(usize, f64, f64)> = None;
        for (piece, two) in course.points.windows(2).enumerate() {
            if course.shut[piece] {
                continue;
            }
            let (share, away) = nearest_on(spot, two[0], two[1]);
            if away <= OFF_ROAD.value() && best.is_none_or(|(_, _, least)| away < least) {
                best = Some((piece, share, away));
            }
        }
        if let Some((piece, share, away)) = best {
            found.push((number, piece, share, away));
        }
    }
    found.sort_by(|a, b| a.3.total_cmp(&b.3));
    found.truncate(JOINED_TO);
    found
}
