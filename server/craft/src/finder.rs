//! Finds a trace between two ends: the one that is through and finished soonest by a cost model that is open to see and to
//! change. It goes along verges and tracks where that is quicker than over open ground, crosses where crossing is cheap, and
//! keeps off carriageways, rails, water, the sea and power lines. It proposes; what a trace meets in the end is told by
//! [`crate::foreseen`], and what the map does not show it cannot keep off.
//!
//! The ground is a graph: a lattice over open ground, and places along the verges of roads, tracks and paths. The search is
//! A* of the `pathfinding` crate over whole micro-minutes, so that what it adds up and what [`price`] finds on the finished
//! trace is the same sum.

mod cost;
mod field;
mod graph;

use std::cell::RefCell;

use pathfinding::directed::astar::astar;
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

pub use cost::{Costs, CrossingMinutes, Item, Price, Toll};

use crate::{
    foreseen::{Bounds, Ground},
    geodesy::{self, Position},
    profile::Profile,
    trace::Trace,
    units::Metres,
};
use field::{Field, Near, Point};
use graph::Graph;

/// The farthest that the ends may be apart, by way of the places between.
pub const FARTHEST: Metres = Metres::from_const(60_000.0);
/// The most places to go by.
pub const MOST_VIA: usize = 10;
/// The most areas to keep out of.
pub const MOST_NOT_HERE: usize = 20;
/// The most positions in the ring of such an area.
pub const MOST_RING: usize = 200;
/// Beside the straight way the search looks at so much ground, and at the least [`LEAST_ROOM`].
const ROOM_SHARE: f64 = 0.15;
const LEAST_ROOM: f64 = 2_000.0;
/// A second trace shall not run within this of the first one, but for its ends.
const APART_M: f64 = 250.0;
/// What a step near the first trace costs when the second one is sought.
const NEAR_TIMES: f64 = 2.0;
/// A second trace of which more than this share runs near the first is none.
const MOST_NEAR: f64 = 0.6;

/// What is sought.
#[derive(Debug, Clone)]
pub struct Sought {
    /// The near end.
    pub from: Position,
    /// The far end.
    pub to: Position,
    /// Places to go by, in their order. At most [`MOST_VIA`].
    pub via: Vec<Position>,
    /// Rings of areas to keep out of. At most [`MOST_NOT_HERE`].
    pub not_here: Vec<Vec<Position>>,
}

/// Why there is no trace.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum FinderError {
    /// The ends are too far apart.
    #[error("the ends are {length:.0} apart, and {FARTHEST:.0} is the most: find it in parts")]
    TooFar {
        /// How far.
        length: Metres,
    },
    /// Both ends are one place.
    #[error("from and to are one place: give two that lie apart")]
    NoWay,
    /// Too many places to go by.
    #[error("there are {given} places to go by, and {MOST_VIA} are the most: leave some out")]
    TooManyVia {
        /// How many.
        given: usize,
    },
    /// Too many or too large areas to keep out of.
    #[error("give at most {MOST_NOT_HERE} areas to keep out of, each with 3 to {MOST_RING} places")]
    NotHere,
    /// A place lies in the water or where nobody may go.
    #[error("{place} lies in water, at sea or in an area that you keep out of: move it to the ground beside")]
    InTheWay {
        /// Which: `from`, `to` or `via[2]`.
        place: String,
    },
    /// The ground between is cut through.
    #[error(
        "no way over land was found from {from} to {to}: water, the sea or an area that you keep out of lies between; go by another place, or lay it in parts"
    )]
    CutOff {
        /// From which place.
        from: String,
        /// To which.
        to: String,
    },
}

impl FinderError {
    /// The field of the question that is at fault.
    #[must_use]
    pub fn field(&self) -> Option<String> {
        match self {
            Self::InTheWay { place } => Some(place.clone()),
            Self::TooManyVia { .. } => Some("via".to_owned()),
            Self::NotHere => Some("not_here".to_owned()),
            Self::TooFar { .. } | Self::NoWay | Self::CutOff { .. } => Some("to".to_owned()),
        }
    }
}

/// A trace that was found, and what it costs.
#[derive(Debug, Clone)]
pub struct Found {
    /// The trace.
    pub trace: Trace,
    /// Its cost, item by item.
    pub price: Price,
}

/// What was found.
#[derive(Debug, Clone)]
pub struct Answer {
    /// The cheapest trace, and another way if there is one.
    pub found: Vec<Found>,
    /// Why there is one only.
    pub why_one_only: Option<WhyOneOnly>,
}

/// Why there is no second trace.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum WhyOneOnly {
    /// Every other way runs beside the first for the most part.
    NoOtherWay,
}

impl Sought {
    /// The box of ground that the search looks at.
    ///
    /// # Errors
    /// Ends too far apart or too much to keep to.
    pub fn area(&self) -> Result<Bounds, FinderError> {
        if self.via.len() > MOST_VIA {
            return Err(FinderError::TooManyVia { given: self.via.len() });
        }
        let ring = |ring: &Vec<Position>| (3..=MOST_RING).contains(&ring.len());
        if self.not_here.len() > MOST_NOT_HERE || !self.not_here.iter().all(ring) {
            return Err(FinderError::NotHere);
        }
        let stops = self.stops();
        let length: Metres = stops.windows(2).map(|two| geodesy::distance(two[0], two[1])).sum();
        if length > FARTHEST {
            return Err(FinderError::TooFar { length });
        }
        if length.value() < 1.0 {
            return Err(FinderError::NoWay);
        }
        let room = (length.value() * ROOM_SHARE).max(LEAST_ROOM);
        Bounds::about(&stops).map(|bounds| bounds.widened(room)).ok_or(FinderError::NoWay)
    }

    fn stops(&self) -> Vec<Position> {
        std::iter::once(self.from).chain(self.via.iter().copied()).chain([self.to]).collect()
    }

    fn name(&self, stop: usize) -> String {
        match stop {
            0 => "from".to_owned(),
            n if n > self.via.len() => "to".to_owned(),
            n => format!("via[{}]", n - 1),
        }
    }
}

/// Finds the cheapest trace and, if there is one, another way.
///
/// # Errors
/// Ends that lie in the water, or between which no way over land was found.
pub fn find(sought: &Sought, ground: &Ground, costs: &Costs) -> Result<Answer, FinderError> {
    let area = sought.area()?;
    let stops = sought.stops();
    let field = Field::new(area, ground, &sought.not_here);
    for (number, stop) in stops.iter().enumerate() {
        if field.barred(field.point(*stop)) {
            return Err(FinderError::InTheWay { place: sought.name(number) });
        }
    }
    let graph = Graph::over(&field, &stops);
    let search = Search::new(&graph, &field, costs);
    let first = search.way(sought, None)?;
    let mut found = vec![done(&first, &field, costs)?];
    let other = search.way(sought, Some(&first))?;
    let near = Near::about(&first, APART_M).share_of(&other);
    let why_one_only = if near > MOST_NEAR {
        Some(WhyOneOnly::NoOtherWay)
    } else {
        found.push(done(&other, &field, costs)?);
        found.sort_by_key(|found| found.price.cost_min);
        None
    };
    Ok(Answer { found, why_one_only })
}

fn done(points: &[Point], field: &Field<'_>, costs: &Costs) -> Result<Found, FinderError> {
    let places: Vec<Position> = points.iter().map(|&point| field.position(point)).collect();
    // What is told is the price of the places as they are written down.
    let points: Vec<Point> = places.iter().map(|&place| field.point(place)).collect();
    let price = field.price(&points, costs);
    let trace = Trace::new(places).map_err(|_| FinderError::NoWay)?;
    Ok(Found { trace, price })
}

/// A search at work: what each step costs is reckoned when it is first asked for, and kept for the way back and for the
/// second way.
struct Search<'a> {
    graph: &'a Graph,
    field: &'a Field<'a>,
    costs: &'a Costs,
    known: RefCell<Vec<Step>>,
}

#[derive(Clone, Copy)]
enum Step {
    Unasked,
    Barred,
    Costs(u64),
}

impl<'a> Search<'a> {
    fn new(graph: &'a Graph, field: &'a Field<'a>, costs: &'a Costs) -> Self {
        Self { graph, field, costs, known: RefCell::new(vec![Step::Unasked; graph.steps()]) }
    }

    /// What a step costs; none where it may not be made.
    fn step(&self, from: u32, to: u32, number: u32) -> Option<u64> {
        let mut known = self.known.borrow_mut();
        let step = &mut known[number as usize];
        if let Step::Unasked = step {
            // In one order, so that there and back are the same to the last millionth.
            let (a, b) = (self.graph.point(from.min(to)), self.graph.point(from.max(to)));
            *step = self.field.step(a, b, self.costs).map_or(Step::Barred, Step::Costs);
        }
        match *step {
            Step::Costs(cost) => Some(cost),
            Step::Unasked | Step::Barred => None,
        }
    }

    /// The cheapest way by all stops; with another way given, one that keeps away from it.
    fn way(&self, sought: &Sought, away: Option<&[Point]>) -> Result<Vec<Point>, FinderError> {
        let near = away.map(|points| Near::about(points, APART_M));
        let mut points = Vec::new();
        for stop in 1..sought.via.len() + 2 {
            let (from, to) = (self.graph.stop(stop - 1), self.graph.stop(stop));
            let Some((nodes, _)) = self.cheapest(near.as_ref(), from, to) else {
                return Err(FinderError::CutOff { from: sought.name(stop - 1), to: sought.name(stop) });
            };
            let leg: Vec<Point> = nodes.into_iter().map(|node| self.graph.point(node)).collect();
            // Each leg by itself: the places to go by stay.
            points.extend(self.field.straightened(&leg, self.costs).into_iter().skip(usize::from(stop > 1)));
        }
        Ok(points)
    }

    /// The cheapest way between two places of the graph, and what it costs; what lies near the other way is shunned.
    fn cheapest(&self, near: Option<&Near>, from: u32, to: u32) -> Option<(Vec<u32>, u64)> {
        let goal = self.graph.point(to);
        let least = self.costs.least_micro_per_m();
        astar(
            &from,
            |&node| {
                let here = self.graph.point(node);
                let steps = self.graph.beside(node).filter_map(move |(next, number)| {
                    let step = self.step(node, next, number)?;
                    let shunned = near.is_some_and(|near| near.holds(here.middle(self.graph.point(next))));
                    Some((next, if shunned { cost::times(step, NEAR_TIMES) } else { step }))
                });
                steps.collect::<Vec<_>>()
            },
            |&node| cost::micro(self.graph.point(node).minus(goal).length() * least),
            |&node| node == to,
        )
    }
}

/// A search laid open, so that another program can make it again.
#[derive(Debug, Clone, Serialize)]
pub struct LaidOpen {
    /// Which places lie beside each other, each two once, and what the step between them costs in millionths of a minute.
    pub steps: Vec<(u32, u32, u64)>,
    /// The near end.
    pub from: u32,
    /// The far end.
    pub to: u32,
    /// What the cheapest way costs before it is straightened; none where there is no way.
    pub cost: Option<u64>,
}

/// The graph of a search between two ends with nothing to go by, and what its cheapest way costs.
///
/// # Errors
/// As [`Sought::area`].
pub fn laid_open(sought: &Sought, ground: &Ground, costs: &Costs) -> Result<LaidOpen, FinderError> {
    let field = Field::new(sought.area()?, ground, &sought.not_here);
    let graph = Graph::over(&field, &[sought.from, sought.to]);
    let search = Search::new(&graph, &field, costs);
    let mut steps = Vec::new();
    for node in graph.nodes() {
        for (next, number) in graph.beside(node).filter(|&(next, _)| next > node) {
            if let Some(cost) = search.step(node, next, number) {
                steps.push((node, next, cost));
            }
        }
    }
    let (from, to) = (graph.stop(0), graph.stop(1));
    let cost = search.cheapest(None, from, to).map(|(_, cost)| cost);
    Ok(LaidOpen { steps, from, to, cost })
}

/// What a trace costs by the model, item by item; the same sum as the search's for a trace that it found.
///
/// # Errors
/// A trace through water, over the sea or into an area to keep out of has no price.
pub fn price(trace: &Trace, sought: &Sought, ground: &Ground, costs: &Costs) -> Result<Price, FinderError> {
    let field = Field::new(sought.area()?, ground, &sought.not_here);
    let points: Vec<Point> = trace.positions().iter().map(|&place| field.point(place)).collect();
    let cut_off = || FinderError::CutOff { from: "from".to_owned(), to: "to".to_owned() };
    if points.windows(2).any(|two| field.step(two[0], two[1], costs).is_none()) {
        return Err(cut_off());
    }
    Ok(field.price(&points, costs))
}

impl Costs {
    /// The costs by a profile: rates and minutes as the reckoning of time has them.
    #[must_use]
    pub fn of(profile: &Profile) -> Self {
        cost::by_profile(profile)
    }
}
