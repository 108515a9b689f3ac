//! What a planned trace will meet: the crossings foreseen on it, where it runs inside a carriageway, the power lines near
//! it, and the stretches of which the map knows nothing. It reads no map itself: the ground is laid before it, and what
//! is not in the ground is unknown, never absent. It never moves the trace and never decides: what it proposes is
//! for the chief to change.
//!
//! Widths by class, and every distance here without a source of its own, are common practice, no source.

mod approach;
pub(crate) mod course;
mod grouping;
pub(crate) mod meeting;
mod proposal;
mod within_reach;

use serde::Serialize;
use utoipa::ToSchema;

use crate::{
    construction::Construction,
    elevation::{Grid, GroundAbout},
    geodesy::Position,
    obstacle::Obstacle,
    profile::{Distance, Profile},
    trace::Trace,
    units::{Degrees, Kilovolts, Metres, Minutes},
};

pub use course::Bounds;

/// How far along an obstacle a culvert or a bridge is looked for at the most, whatever the profile prefers.
const FARTHEST_REACH: Metres = Metres::from_const(1_000.0);
/// A power line closer than this is reported. A mapped position is good to some ten metres, conductors hang beside their
/// poles' middle, and a lance pole falls as far as it is high.
pub const LOOK_OUT: Metres = Metres::from_const(30.0);
/// The longest trace that is foreseen in one answer.
pub const LONGEST: Metres = Metres::from_const(300_000.0);

/// The most meetings that are made crossings in one answer.
pub const MOST_CROSSINGS: usize = 5_000;

/// Where a thing on the ground was drawn.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord, Serialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum Drawn {
    /// A node of OpenStreetMap, by its number.
    OsmNode(i64),
    /// A way of OpenStreetMap, by its number.
    OsmWay(i64),
    /// A relation of OpenStreetMap, by its number.
    OsmRelation(i64),
    /// A feature of the unit's own, by its number in the list.
    Own(i64),
}

/// How an obstacle is carried past what it meets.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum Structure {
    /// On a bridge.
    Bridge,
    /// Through a culvert.
    Culvert,
    /// Through a tunnel.
    Tunnel,
}

impl Structure {
    /// Every structure.
    pub const ALL: [Self; 3] = [Self::Bridge, Self::Culvert, Self::Tunnel];

    /// The name in the database.
    #[must_use]
    pub const fn as_str(self) -> &'static str {
        match self {
            Self::Bridge => "bridge",
            Self::Culvert => "culvert",
            Self::Tunnel => "tunnel",
        }
    }
}

/// A road, path, railway or stream as the map draws it.
#[derive(Debug, Clone, PartialEq)]
pub struct Way {
    /// Where it was drawn.
    pub drawn: Drawn,
    /// What it is to a wire.
    pub obstacle: Obstacle,
    /// The map's own class.
    pub class: String,
    /// Its name.
    pub name: Option<String>,
    /// Its number, as of a road.
    pub reference: Option<String>,
    /// How it is carried, where the map says so.
    pub structure: Option<Structure>,
    /// Its level above or below the ground, 0 where the map does not say.
    pub layer: i16,
    /// Whether its surface is hard, where the map says what it is made of.
    pub hard_surface: Option<bool>,
    /// Its width, where the map says it.
    pub width: Option<Metres>,
    /// How many lanes it has, where the map says it.
    pub lanes: Option<u8>,
    /// Whether its traffic goes one way, as it is drawn.
    pub one_way: bool,
    /// Its positions, in the order of the map.
    pub positions: Vec<Position>,
}

impl Way {
    /// A way of which no more is known than what and where it is.
    #[must_use]
    pub fn plain(drawn: Drawn, obstacle: Obstacle, class: &str, positions: Vec<Position>) -> Self {
        Self {
            drawn,
            obstacle,
            class: class.to_owned(),
            name: None,
            reference: None,
            structure: None,
            layer: 0,
            hard_surface: None,
            width: None,
            lanes: None,
            one_way: false,
            positions,
        }
    }
}

/// Water or soft ground with an extent.
#[derive(Debug, Clone, PartialEq)]
pub struct Area {
    /// Where it was drawn.
    pub drawn: Drawn,
    /// The map's own class.
    pub class: String,
    /// Its name.
    pub name: Option<String>,
    /// Its rings, outer and inner alike: what an odd number of them encloses is inside.
    pub rings: Vec<Vec<Position>>,
}

/// An overhead line.
#[derive(Debug, Clone, PartialEq)]
pub struct PowerLine {
    /// Where it was drawn.
    pub drawn: Drawn,
    /// The map's own class.
    pub class: String,
    /// Its voltage, where the map says it.
    pub voltage: Option<Kilovolts>,
    /// Its positions.
    pub positions: Vec<Position>,
}

/// What a single place on the map is.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum SpotKind {
    /// Rails and a road on one level.
    LevelCrossing,
    /// Rails and a path on one level.
    FootCrossing,
    /// A way goes through the water.
    Ford,
    /// A culvert that the unit has seen.
    Culvert,
    /// A bridge that the unit has seen.
    Bridge,
}

impl SpotKind {
    /// Every kind of spot.
    pub const ALL: [Self; 5] =
        [Self::LevelCrossing, Self::FootCrossing, Self::Ford, Self::Culvert, Self::Bridge];

    /// The name in the database.
    #[must_use]
    pub const fn as_str(self) -> &'static str {
        match self {
            Self::LevelCrossing => "level_crossing",
            Self::FootCrossing => "foot_crossing",
            Self::Ford => "ford",
            Self::Culvert => "culvert",
            Self::Bridge => "bridge",
        }
    }
}

/// A single place on the map.
#[derive(Debug, Clone, PartialEq)]
pub struct Spot {
    /// Where it was drawn.
    pub drawn: Drawn,
    /// What it is.
    pub kind: SpotKind,
    /// Where it is.
    pub position: Position,
}

/// The ground about a trace, out to the profile's [`reach`].
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Ground {
    /// Roads, paths, railways and streams.
    pub ways: Vec<Way>,
    /// Lakes, ponds and rivers with banks.
    pub waters: Vec<Area>,
    /// Soft ground.
    pub soft: Vec<Area>,
    /// Power lines.
    pub power_lines: Vec<PowerLine>,
    /// Level crossings, fords, and the unit's own culverts and bridges.
    pub spots: Vec<Spot>,
    /// Ways that the unit has found closed.
    pub closed: Vec<Area>,
    /// The shores near the trace, land on the left.
    pub shores: Vec<Vec<Position>>,
    /// Woods: no obstacle, but slow to lay through. Foreseeing crossings has no need of them.
    pub woods: Vec<Area>,
    /// Hedges: no obstacle, but wire is led along them. Foreseeing crossings has no need of them.
    pub hedges: Vec<Vec<Position>>,
}

/// What the map covers.
#[derive(Debug, Clone, Default)]
pub struct Cover {
    /// The box of its land; none when no map is loaded.
    pub land: Option<Bounds>,
    /// The shore nearest to the start of the trace, land on the left; none where the map has no shore.
    pub nearest_shore: Option<Trace>,
}

/// What a trace will meet.
#[derive(Debug, Clone, PartialEq, Serialize, ToSchema)]
pub struct Foreseen {
    /// The trace's length over the ground.
    pub length_m: Metres,
    /// The crossings, from start to end.
    pub crossings: Vec<ForeseenCrossing>,
    /// Where the trace runs along inside a road, path, railway or stream.
    pub along: Vec<Along>,
    /// Power lines near the trace.
    pub power_lines: Vec<ForeseenPowerLine>,
    /// Ground that is worth knowing of.
    pub ground: Vec<OnGround>,
    /// Where the map knows nothing.
    pub unknown: Vec<UnknownStretch>,
}

impl Foreseen {
    /// Tells each crossing how high the ground is before it and after it, as far as the grids know.
    pub fn look_about(&mut self, trace: &Trace, grids: &[Grid]) {
        for crossing in &mut self.crossings {
            crossing.heights = GroundAbout::of(trace, grids, crossing.from_m, crossing.to_m);
        }
    }
}

/// A place where the trace meets one thing on the map, before what belongs together is made one crossing.
#[derive(Debug, Clone, PartialEq, Serialize, ToSchema)]
pub struct Met {
    /// Where that thing was drawn.
    pub drawn: Drawn,
    /// What it is.
    pub obstacle: Obstacle,
    /// The map's own class.
    pub class: String,
    /// How far along the trace.
    pub chainage_m: Metres,
    /// Where.
    pub position: Position,
    /// How it passes the trace.
    pub passes: Passes,
}

/// How an obstacle passes the trace.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum Passes {
    /// On the ground, as far as the map says.
    OnTheGround,
    /// The map gives a level and no structure: go and look.
    Unknown,
    /// On a bridge: the wire goes beneath it.
    OnABridge,
    /// Beneath a bridge that the trace follows.
    UnderTheTracesBridge,
    /// Beneath the ground, in a tunnel or a culvert.
    Beneath,
}

/// What several meetings were made one crossing by.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum Grouped {
    /// Ways that meet in one place.
    OnePlace,
    /// A street with rails in it.
    StreetWithRails,
    /// The two halves of a road, or the two sides of a roundabout.
    DualCarriageway,
    /// Tracks side by side.
    Tracks,
    /// A road with the ways for people beside it.
    Footways,
    /// A river and its banks.
    Banks,
    /// A stream's bend that one span gets over.
    Bend,
}

/// Where a figure is from.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum WidthFrom {
    /// The map says it.
    Tagged,
    /// Lanes that the map says, at the usual width of one.
    Lanes,
    /// Measured between banks, tracks or halves on the map.
    Measured,
    /// What is usual for the class.
    Class,
}

/// A crossing foreseen.
#[derive(Debug, Clone, PartialEq, Serialize, ToSchema)]
pub struct ForeseenCrossing {
    /// What is crossed; of several the one with the strictest rule.
    pub obstacle: Obstacle,
    /// The map's own class of it.
    pub class: String,
    /// Its name.
    #[schema(required = true)]
    pub name: Option<String>,
    /// Its number.
    #[schema(required = true)]
    pub reference: Option<String>,
    /// How far along the trace: the middle.
    pub chainage_m: Metres,
    /// From where it is in the way.
    pub from_m: Metres,
    /// To where it is in the way.
    pub to_m: Metres,
    /// The middle.
    pub position: Position,
    /// The middle's grid reference (MGRS, 1 m).
    pub grid: String,
    /// Between trace and obstacle, 90 for square; none for water with banks.
    #[schema(required = true)]
    pub angle: Option<Degrees>,
    /// How wide it is, square to it.
    pub width_m: Metres,
    /// Where the width is from.
    pub width_from: WidthFrom,
    /// Whether its surface is hard.
    pub hard_surface: bool,
    /// Whether the map says what the surface is; else it is what is usual.
    pub surface_tagged: bool,
    /// How it passes the trace.
    pub passes: Passes,
    /// What several meetings were made one by.
    pub grouped: Vec<Grouped>,
    /// All that the trace meets here.
    pub met: Vec<Met>,
    /// Culverts, bridges and unknown places along it, the nearest first.
    pub within_reach: Vec<WithinReach>,
    /// Level crossings and fords about it.
    pub spots: Vec<NearSpot>,
    /// How far the nearest power line is, if it is within [`LOOK_OUT`].
    #[schema(required = true)]
    pub power_line_m: Option<Metres>,
    /// The ground before it and after it along the trace; null where it is unknown.
    #[schema(required = true)]
    pub heights: Option<GroundAbout>,
    /// What is proposed; the chief can change it.
    pub proposed: Proposal,
}

/// What is proposed for a crossing.
#[derive(Debug, Clone, PartialEq, Serialize, ToSchema)]
pub struct Proposal {
    /// The construction; none where nothing has to be got past, or nothing can be.
    #[schema(required = true)]
    pub construction: Option<Construction>,
    /// Why.
    pub because: String,
    /// The way to a culvert or bridge and back.
    #[schema(required = true)]
    pub detour_m: Option<Metres>,
    /// The wire that the crossing takes.
    #[schema(required = true)]
    pub wire_m: Option<Metres>,
    /// The lead team's time.
    #[schema(required = true)]
    pub lead_min: Option<Minutes>,
    /// The follow-up team's time.
    #[schema(required = true)]
    pub follow_up_min: Option<Minutes>,
    /// Whether somebody has to go and look before it is relied on.
    pub go_and_look: bool,
}

/// What a place along an obstacle is.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum ReachKind {
    /// A culvert beneath it.
    Culvert,
    /// A bridge that carries it, or one over it when it is a stream, or an underpass.
    Bridge,
    /// The stream runs beneath the ground there.
    Covered,
    /// A stream and a way meet and the map does not say how: go and look.
    GoAndLook,
}

/// A place along an obstacle where the wire may get past with less.
#[derive(Debug, Clone, PartialEq, Serialize, ToSchema)]
pub struct WithinReach {
    /// What it is.
    pub kind: ReachKind,
    /// Where the culvert, bridge or stream was drawn.
    pub drawn: Drawn,
    /// Where it is.
    pub position: Position,
    /// Its grid reference (MGRS, 1 m).
    pub grid: String,
    /// How far along the obstacle.
    pub along_m: Metres,
    /// How much more wire it takes: there and back.
    pub detour_m: Metres,
}

/// A level crossing or ford near a crossing.
#[derive(Debug, Clone, PartialEq, Serialize, ToSchema)]
pub struct NearSpot {
    /// What it is.
    pub kind: SpotKind,
    /// Where it was drawn.
    pub drawn: Drawn,
    /// Where it is.
    pub position: Position,
    /// How far from the crossing.
    pub distance_m: Metres,
}

/// A stretch where the trace runs along inside something, or weaves over it.
#[derive(Debug, Clone, PartialEq, Serialize, ToSchema)]
pub struct Along {
    /// What it runs along.
    pub obstacle: Obstacle,
    /// The map's own class.
    pub class: String,
    /// Its name.
    #[schema(required = true)]
    pub name: Option<String>,
    /// Its number.
    #[schema(required = true)]
    pub reference: Option<String>,
    /// Where it was drawn.
    pub drawn: Vec<Drawn>,
    /// From where.
    pub from_m: Metres,
    /// To where.
    pub to_m: Metres,
    /// How much of the trace lies inside between the two.
    pub inside_m: Metres,
    /// Whether wire would lie where vehicles or trains run.
    pub in_traffic: bool,
    /// Where it goes over the middle; these are no crossings of their own. When they are odd in number the trace
    /// changes sides, and a crossing stands at the last.
    pub met: Vec<Met>,
}

/// A power line near the trace.
#[derive(Debug, Clone, PartialEq, Serialize, ToSchema)]
pub struct ForeseenPowerLine {
    /// Where it was drawn.
    pub drawn: Drawn,
    /// The map's own class.
    pub class: String,
    /// Its voltage, where the map says it.
    #[schema(required = true)]
    pub kilovolts: Option<Kilovolts>,
    /// From where it is within [`LOOK_OUT`].
    pub from_m: Metres,
    /// To where.
    pub to_m: Metres,
    /// Where it is nearest.
    pub chainage_m: Metres,
    /// How near it is there, on the map.
    pub distance_m: Metres,
    /// How far to keep from it with body, pole and loose wire, and by which rule.
    pub keep: Distance,
    /// Whether the trace goes beneath it.
    pub beneath: bool,
}

/// What the ground is over a stretch.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum GroundKind {
    /// Soft ground.
    Soft,
    /// A way that the unit has found closed.
    Closed,
}

/// A stretch of the trace over ground that is worth knowing of.
#[derive(Debug, Clone, PartialEq, Serialize, ToSchema)]
pub struct OnGround {
    /// What it is.
    pub kind: GroundKind,
    /// Where it was drawn.
    pub drawn: Drawn,
    /// Its name.
    #[schema(required = true)]
    pub name: Option<String>,
    /// From where.
    pub from_m: Metres,
    /// To where.
    pub to_m: Metres,
}

/// Why the map knows nothing.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum UnknownBecause {
    /// No map is loaded.
    NoMapLoaded,
    /// The map ends before.
    OutsideTheMap,
    /// It lies at sea.
    AtSea,
}

/// A stretch of which the map knows nothing.
#[derive(Debug, Clone, PartialEq, Serialize, ToSchema)]
pub struct UnknownStretch {
    /// From where.
    pub from_m: Metres,
    /// To where.
    pub to_m: Metres,
    /// Why.
    pub why: UnknownBecause,
    /// What to do, in words.
    pub text: &'static str,
}

/// A trace that goes over what the map draws more often than any line does.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
#[error(
    "the trace goes over things on the map more than {MOST_CROSSINGS} times: draw it straighter, or divide it"
)]
pub struct TooManyCrossings;

/// Foresees what a trace will meet.
///
/// # Errors
/// More than [`MOST_CROSSINGS`] meetings that are not part of running along something.
pub fn foresee(
    trace: &Trace,
    ground: &Ground,
    cover: &Cover,
    profile: &Profile,
) -> Result<Foreseen, TooManyCrossings> {
    let course = course::Course::of(trace);
    let boxes = meeting::boxes(ground.ways.iter().map(|way| way.positions.as_slice()));
    let mut found = meeting::find(&course, ground, &boxes)?;
    let along = meeting::run_along(&course, ground, &boxes, &mut found);
    if found.len() > MOST_CROSSINGS {
        return Err(TooManyCrossings);
    }
    let power_lines = approach::power_lines(&course, ground, profile);
    let crossings = grouping::group(found, ground, profile)
        .into_iter()
        .map(|group| proposal::crossing(&group, trace, ground, &boxes, profile))
        .collect();
    Ok(Foreseen {
        length_m: trace.length(),
        crossings,
        along: along.into_iter().map(|run| run.told(ground)).collect(),
        power_lines,
        ground: approach::on_ground(&course, ground),
        unknown: approach::unknown(trace, &course, ground, cover),
    })
}

/// The boxes about the trace in which the ground has to be known, each about a stretch of some hundred metres: few enough to
/// ask an index for, and short enough that it finds little beside what is wanted.
#[must_use]
pub fn boxes(trace: &Trace, profile: &Profile) -> Vec<Bounds> {
    course::Course::of(trace).boxes(reach(profile).value())
}

/// How far along an obstacle a culvert or a bridge is looked for, from the place where the trace meets it: as far as the profile
/// prefers either. The ground that is laid before [`foresee`] has to reach as far from the trace.
#[must_use]
pub fn reach(profile: &Profile) -> Metres {
    profile.reach.culvert.value.max(profile.reach.bridge.value).min(FARTHEST_REACH)
}

/// How wide a way is, and where that is from.
pub(crate) fn width(way: &Way) -> (f64, WidthFrom) {
    /// The usual width of a lane in a public road.
    const LANE_M: f64 = 3.25;
    if let Some(width) = way.width {
        return (width.value(), WidthFrom::Tagged);
    }
    let road = matches!(way.obstacle, Obstacle::MainHighway | Obstacle::Road);
    match way.lanes {
        Some(lanes) if road => (f64::from(lanes) * LANE_M, WidthFrom::Lanes),
        _ => (usual_width_m(way), WidthFrom::Class),
    }
}

/// What is usual for the class, in metres: common practice, no source.
fn usual_width_m(way: &Way) -> f64 {
    match (way.obstacle, way.class.as_str(), way.one_way) {
        (_, "motorway", _) => 11.0,
        (Obstacle::MainHighway, _, false) => 7.3,
        (Obstacle::MainHighway, _, true) | (Obstacle::Road, "secondary", _) => 6.5,
        // Of a railway: from one end of the ties to the other and a step beside them.
        (Obstacle::Railway, ..) | (Obstacle::Road, "service", _) => 4.0,
        (Obstacle::Road, _, true) => 4.5,
        (Obstacle::Road, ..) => 5.5,
        (Obstacle::DirtRoad, ..) => 3.0,
        (Obstacle::Stream, "river" | "canal", _) => 10.0,
        (Obstacle::Stream, "drain" | "ditch", _) => 1.5,
        (Obstacle::Stream | Obstacle::Path, ..) => 2.0,
    }
}
