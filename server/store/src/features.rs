//! Lines, crossings and what lies on a line as simple features: each with an id, one geometry and flat properties, as a GIS
//! reads them. Every collection is described here once, by a statement and its columns; what is asked of it (a box, a time,
//! a property's value, the next page) is put around that statement in one place, and every value is bound, never written in.
//!
//! Pages go on after the last feature's key and not by counting, so that a report that comes in between moves none of them.

use chrono::{DateTime, SecondsFormat, Utc};
use futures::TryStreamExt as _;
use geozero::ToGeo;
use laywire_craft::{
    construction::Construction,
    crossing::{Crossing, CrossingState},
    geodesy::Position,
    grid::{GridReference, Precision},
    ids::OperationId,
    line::{Line, LineState},
    line_wire,
    obstacle::Obstacle,
    profile::Profile,
    proof,
    tags::{self, OtherEnd},
    units::Metres,
};
use serde_json::{Value, json};
use sqlx::{
    Arguments as _, FromRow, PgConnection, PgPool, Postgres, QueryBuilder, postgres::PgArguments, types::Json,
};
use uuid::Uuid;

use crate::{StoreError, line::position};

/// What a property holds.
#[derive(Debug, Clone, Copy)]
pub enum Holds {
    /// Words.
    Text,
    /// One of these names.
    OneOf(fn() -> Vec<&'static str>),
    /// An id.
    Id,
    /// A whole number.
    Whole,
    /// A figure.
    Number,
    /// Yes or no.
    Flag,
    /// A time.
    Time,
    /// The grid reference of the feature's point: reckoned, so that nothing is looked for by it.
    Grid,
}

/// A property of a collection's features.
#[derive(Debug)]
pub struct Property {
    /// Its name.
    pub name: &'static str,
    /// What it holds.
    pub holds: Holds,
    /// What it says.
    pub says: &'static str,
}

/// What a collection's geometries are.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Shape {
    /// Each a point.
    Point,
    /// Each a line; several where it is cut at the 180th meridian.
    Line,
}

/// Features of one kind.
#[derive(Debug)]
pub struct Collection {
    /// Its name in addresses and files.
    pub name: &'static str,
    /// Its name for a person.
    pub title: &'static str,
    /// One of its features, for a person.
    pub one: &'static str,
    /// What is in it.
    pub says: &'static str,
    /// What its geometries are.
    pub shape: Shape,
    /// The properties, in the order in which a table shows them.
    pub properties: &'static [Property],
    /// The property that is a feature's time, by which `datetime` chooses.
    pub time: Option<&'static str>,
    /// What along a line its features are, where they have no places of their own.
    along: Option<Along>,
    /// Gives `key`, `part`, `geom` and a column for each property. $1 is the operation; with `along`, $2 to $6 are lines,
    /// numbers along them, longitudes, latitudes and what is there.
    source: &'static str,
}

/// What has a chainage alone.
#[derive(Debug, Clone, Copy)]
pub(crate) enum Along {
    /// Splices.
    Splices,
    /// Reels, each where it was begun.
    Reels,
    /// Tests, each where it was made.
    Tests,
    /// Tags, each where the rules put it.
    Tags,
}

impl Along {
    /// How far along the line each is, and what it is.
    fn of(
        self,
        line: &Line,
        crossings: &[Crossing],
        others: &[OtherEnd],
        profile: &Profile,
    ) -> Vec<(Metres, Value)> {
        match self {
            Self::Splices => line.splices.iter().map(|s| (s.chainage_m, json!({ "at": s.at }))).collect(),
            Self::Reels => line
                .reels
                .iter()
                .map(|r| (r.from_chainage_m, json!({ "id": r.id, "label": r.label, "length_m": r.length_m })))
                .collect(),
            Self::Tests => line
                .proving
                .tests
                .iter()
                .map(|test| {
                    let judged = proof::judge(line, crossings, profile, test).ok();
                    let words = judged.iter().flat_map(|judged| &judged.parts).map(|part| part.words.as_str());
                    let words: Vec<&str> = words.collect();
                    let verdict = judged.as_ref().map(|judged| judged.verdict);
                    (test.chainage_m, json!({ "test": test, "verdict": verdict, "words": words.join(" ") }))
                })
                .collect(),
            Self::Tags => tags::list(line, crossings, others, profile)
                .into_iter()
                .map(|tag| {
                    let what = json!({ "number": tag.number, "at": tag.at, "crossing": tag.crossing, "words": tag.words });
                    (tag.chainage_m, what)
                })
                .collect(),
        }
    }
}

const fn property(name: &'static str, holds: Holds, says: &'static str) -> Property {
    Property { name, holds, says }
}

fn line_states() -> Vec<&'static str> {
    LineState::ALL.map(LineState::as_str).to_vec()
}

fn crossing_states() -> Vec<&'static str> {
    CrossingState::ALL.map(CrossingState::as_str).to_vec()
}

fn obstacles() -> Vec<&'static str> {
    Obstacle::ALL.map(Obstacle::as_str).to_vec()
}

fn constructions() -> Vec<&'static str> {
    Construction::ALL.map(Construction::as_str).to_vec()
}

const LINE: Property = property("line", Holds::Id, "The line that it belongs to.");
const DESIGNATION: Property = property("designation", Holds::Text, "The line's number.");
const CHAINAGE: Property = property("chainage_m", Holds::Number, "How far along the line.");
const GRID: Property = property("grid", Holds::Grid, "Its grid reference (MGRS, 1 m).");
const CHANGED: Property = property("changed", Holds::Whole, "The entry that changed it last.");
const FROM: Property = property("from", Holds::Text, "The near end.");
const TO: Property = property("to", Holds::Text, "The far end.");
const LINE_STATE: Property = property("state", Holds::OneOf(line_states), "How far the line has come.");
const TEAM: Property = property("team", Holds::Text, "The team that lays it.");
const LAID_LENGTH: Property = property("laid_length_m", Holds::Number, "The length of what lies.");
const STARTED: Property = property("started_at", Holds::Time, "When the laying began.");

/// The statement of what lies along lines: with which key, and with which columns of its own.
macro_rules! along {
    ($key:literal, $columns:literal) => {
        concat!(
            "select ",
            $key,
            ", ST_SetSRID(ST_MakePoint(p.lon, p.lat), 4326) as geom, l.id as line, l.designation,
            (p.what ->> 'chainage_m')::float8 as chainage_m, ",
            $columns,
            " from unnest($2::uuid[], $3::int4[], $4::float8[], $5::float8[], $6::jsonb[]) as p (line, part, lon, lat, what)
            join line l on l.operation = $1 and l.id = p.line"
        )
    };
}

/// Every collection.
pub static COLLECTIONS: [Collection; 7] = [
    Collection {
        name: "lines",
        title: "Lines as planned",
        one: "line",
        says: "Every line with its planned trace; without a geometry where nothing is planned.",
        shape: Shape::Line,
        properties: &[
            DESIGNATION,
            FROM,
            TO,
            LINE_STATE,
            property("plan", Holds::Whole, "Which of its saved plans the trace is."),
            TEAM,
            property("planned_length_m", Holds::Number, "The length of the planned trace."),
            LAID_LENGTH,
            STARTED,
            property("through_at", Holds::Time, "When a call came from the far end."),
            property("proved_at", Holds::Time, "When it was proved."),
            property("handed_over_at", Holds::Time, "When it was handed over."),
            property("handed_over_to", Holds::Text, "To whom it was handed over."),
            CHANGED,
        ],
        time: Some("started_at"),
        along: None,
        source: r#"select id as key, 0 as part, planned::geometry as geom, designation, from_end as "from", to_end as "to",
                state, plan, team, ST_Length(planned) as planned_length_m, laid_length_m, started_at, through_at, proved_at,
                handed_over_at, handed_over_to, changed
            from line where operation = $1"#,
    },
    Collection {
        name: "laid",
        title: "Wire as laid",
        one: "laid wire",
        says: "Where the wire of each line lies, as far as it is laid; a line of which two places are known at the least.",
        shape: Shape::Line,
        properties: &[DESIGNATION, FROM, TO, LINE_STATE, TEAM, LAID_LENGTH, STARTED, CHANGED],
        time: Some("started_at"),
        along: None,
        // The list's figures as they are, after the head of a line in well-known binary (big-endian): point by point it
        // takes many times as long.
        source: r#"select id as key, 0 as part,
                ST_GeomFromWKB('\x0000000002'::bytea || int4send(cardinality(laid) / 2) || (
                    select string_agg(float8send(figure), ''::bytea order by n)
                    from unnest(laid) with ordinality as figures (figure, n)), 4326) as geom,
                designation, from_end as "from", to_end as "to", state, team, laid_length_m, started_at, changed
            from line where operation = $1 and cardinality(laid) >= 4"#,
    },
    Collection {
        name: "crossings",
        title: "Crossings",
        one: "crossing",
        says: "Every crossing, in whatever state, also those that were struck out.",
        shape: Shape::Point,
        properties: &[
            LINE,
            DESIGNATION,
            CHAINAGE,
            GRID,
            property("state", Holds::OneOf(crossing_states), "How far the work has come."),
            property("obstacle", Holds::OneOf(obstacles), "What is crossed."),
            property("construction", Holds::OneOf(constructions), "How it is crossed."),
            property("hard_surface", Holds::Flag, "Whether the surface is too hard to dig."),
            property("wire_in_traffic", Holds::Flag, "Whether wire lies where vehicles or trains run."),
            property("clearance_m", Holds::Number, "Height of the wire's lowest point."),
            property("depth_m", Holds::Number, "Depth of a buried wire."),
            property("span_m", Holds::Number, "Distance between the ties."),
            property("opened_at", Holds::Time, "When it was foreseen or marked."),
            property("passed_at", Holds::Time, "When the wire was got over."),
            property("given_to", Holds::Text, "Into whose share of the work it was given."),
            property("in_hand_team", Holds::Text, "Who has it in hand."),
            property("finished_at", Holds::Time, "When it was finished."),
            property("finished_by", Holds::Text, "Who finished it."),
            property("proved_at", Holds::Time, "When it was proved."),
            property("because", Holds::Text, "Why it is crossed otherwise than the rules propose."),
            property("struck_out_because", Holds::Text, "Why it was struck out."),
            CHANGED,
        ],
        time: Some("opened_at"),
        along: None,
        source: "select c.id as key, 0 as part, c.position::geometry as geom, c.line, l.designation, c.chainage_m, c.state,
                c.obstacle, c.construction, c.hard_surface, c.wire_in_traffic, c.clearance_m, c.depth_m, c.span_m, c.opened_at,
                c.passed_at, c.given_to, c.in_hand_team, c.finished_at, c.finished_by, c.proved_at, c.because, c.struck_out_because,
                c.changed
            from crossing c join line l on l.operation = c.operation and l.id = c.line where c.operation = $1",
    },
    Collection {
        name: "splices",
        title: "Splices",
        one: "splice",
        says: "Every splice, where it lies on its line. Its id is the line's and its number on it.",
        shape: Shape::Point,
        properties: &[LINE, DESIGNATION, CHAINAGE, GRID, property("at", Holds::Time, "When it was made.")],
        time: Some("at"),
        along: Some(Along::Splices),
        source: along!("l.id as key, p.part", "(p.what ->> 'at')::timestamptz as at"),
    },
    Collection {
        name: "reels",
        title: "Reels",
        one: "reel",
        says: "Every reel that was begun, where it was begun.",
        shape: Shape::Point,
        properties: &[
            LINE,
            DESIGNATION,
            CHAINAGE,
            GRID,
            property("label", Holds::Text, "What is written on it."),
            property("length_m", Holds::Number, "The wire on it when it was begun."),
        ],
        time: None,
        along: Some(Along::Reels),
        source: along!(
            "(p.what ->> 'id')::uuid as key, 0 as part",
            "p.what ->> 'label' as label, (p.what ->> 'length_m')::float8 as length_m"
        ),
    },
    Collection {
        name: "tests",
        title: "Tests",
        one: "test",
        says: "The last 200 tests of every line, each where it was made, against what a sound line as it was laid should give. \
               Its id is the line's and its number among them.",
        shape: Shape::Point,
        properties: &[
            LINE,
            DESIGNATION,
            CHAINAGE,
            GRID,
            property("at", Holds::Time, "When it was made."),
            property("team", Holds::Text, "Who made it."),
            property("to_whom", Holds::Text, "Who was called."),
            property("rang", Holds::Flag, "Whether it rang at the other end."),
            property("spoke", Holds::Flag, "Whether both heard each other."),
            property("quality", Holds::Text, "How it sounded."),
            property("final", Holds::Flag, "Whether it is the final test over the whole line."),
            property("loop_ohm", Holds::Number, "Resistance of the loop."),
            property("insulation_ohm", Holds::Number, "Insulation between the conductors."),
            property("loss_db", Holds::Number, "Loss at 1 kHz."),
            property("verdict", Holds::Text, "good, worse or bad."),
            property("words", Holds::Text, "The verdict in words."),
        ],
        time: Some("at"),
        along: Some(Along::Tests),
        source: along!(
            "l.id as key, p.part",
            r#"(p.what #>> '{test,at}')::timestamptz as at, p.what #>> '{test,team}' as team,
            p.what #>> '{test,to_whom}' as to_whom, (p.what #>> '{test,rang}')::bool as rang,
            (p.what #>> '{test,spoke}')::bool as spoke, p.what #>> '{test,quality}' as quality,
            (p.what #>> '{test,is_final}')::bool as "final", (p.what #>> '{test,readings,loop_ohm}')::float8 as loop_ohm,
            (p.what #>> '{test,readings,insulation_ohm}')::float8 as insulation_ohm,
            (p.what #>> '{test,readings,loss_db}')::float8 as loss_db, p.what ->> 'verdict' as verdict,
            p.what ->> 'words' as words"#
        ),
    },
    Collection {
        name: "tags",
        title: "Tags",
        one: "tag",
        says: "Where the tags of every line belong by the rules, numbered from its near end. A tag's id is the line's and its \
               number.",
        shape: Shape::Point,
        properties: &[
            LINE,
            DESIGNATION,
            CHAINAGE,
            GRID,
            property("number", Holds::Whole, "Its number along the line."),
            property("at", Holds::Text, "What it is at."),
            property("crossing", Holds::Id, "The crossing that it is beside."),
            property("words", Holds::Text, "What it is at, in words."),
        ],
        time: None,
        along: Some(Along::Tags),
        source: along!(
            "l.id as key, p.part",
            "(p.what ->> 'number')::int8 as number, p.what ->> 'at' as at, (p.what ->> 'crossing')::uuid as crossing,
            p.what ->> 'words' as words"
        ),
    },
];

impl Collection {
    /// A feature's value of a property, where the collection has it.
    #[must_use]
    pub fn value<'f>(&self, feature: &'f Feature, name: &str) -> Option<&'f Value> {
        let place = self.properties.iter().position(|property| property.name == name)?;
        feature.values.get(place)
    }

    /// The collection of this name.
    #[must_use]
    pub fn named(name: &str) -> Option<&'static Self> {
        COLLECTIONS.iter().find(|collection| collection.name == name)
    }
}

/// A feature's id: a key, and a number where several features have one key.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub struct FeatureId {
    key: Uuid,
    part: i32,
}

impl std::fmt::Display for FeatureId {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self.part {
            0 => write!(f, "{}", self.key),
            part => write!(f, "{}.{part}", self.key),
        }
    }
}

impl std::str::FromStr for FeatureId {
    type Err = ();

    fn from_str(text: &str) -> Result<Self, ()> {
        let (key, part) = text.split_once('.').unwrap_or((text, "0"));
        let part = part.parse().ok().filter(|part| *part >= 0).ok_or(())?;
        Ok(Self { key: key.parse().map_err(|_| ())?, part })
    }
}

/// A feature's geometry.
#[derive(Debug, Clone, PartialEq)]
pub enum Geometry {
    /// A place.
    Point(Position),
    /// A trace; in parts where it crosses the 180th meridian, cut there as RFC 7946, section 3.1.9, has it.
    Lines(Vec<Vec<Position>>),
}

/// A feature.
#[derive(Debug, Clone, PartialEq)]
pub struct Feature {
    /// Its id.
    pub id: FeatureId,
    /// Where it is.
    pub geometry: Option<Geometry>,
    /// A value, or null, for each property of its collection, in the collection's order.
    pub values: Vec<Value>,
}

/// A value that a property shall have.
#[derive(Debug, Clone)]
pub enum Wanted {
    /// Words or a name.
    Text(String),
    /// An id.
    Id(Uuid),
    /// A whole number.
    Whole(i64),
    /// A figure.
    Number(f64),
    /// Yes or no.
    Flag(bool),
    /// A time.
    Time(DateTime<Utc>),
}

/// West, south, east, north; west may lie east of east, and then it is the box over the 180th meridian.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Bounds {
    /// The western edge.
    pub west: f64,
    /// The southern edge.
    pub south: f64,
    /// The eastern edge.
    pub east: f64,
    /// The northern edge.
    pub north: f64,
}

/// From and to, both included; open where there is none.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Times {
    /// From then on.
    pub from: Option<DateTime<Utc>>,
    /// Until then.
    pub to: Option<DateTime<Utc>>,
}

/// Which features are asked for; all of them unless it says otherwise.
#[derive(Debug, Clone, Default)]
pub struct Filter {
    /// In this box. A feature without a geometry is in none.
    pub bounds: Option<Bounds>,
    /// Between these times. A feature without a time is at every time.
    pub times: Option<Times>,
    /// With these values.
    pub properties: Vec<(&'static Property, Wanted)>,
}

/// How much is asked for at once.
#[derive(Debug, Clone, Copy)]
pub struct Portion {
    /// Only features after this one.
    pub after: Option<FeatureId>,
    /// Most features.
    pub features: u32,
    /// Most positions, but for one feature that has more by itself.
    pub positions: u32,
}

/// Some of the features.
#[derive(Debug)]
pub struct Page {
    /// How many there are in all.
    pub matched: i64,
    /// These, in the order of their ids.
    pub features: Vec<Feature>,
    /// Whether there are more after them.
    pub more: bool,
}

/// Where and when a collection's features are.
#[derive(Debug, FromRow)]
pub struct Extent {
    /// The western edge; like the other three none where no feature has a geometry.
    pub west: Option<f64>,
    /// The southern edge.
    pub south: Option<f64>,
    /// The eastern edge.
    pub east: Option<f64>,
    /// The northern edge.
    pub north: Option<f64>,
    /// The earliest time.
    pub earliest: Option<DateTime<Utc>>,
    /// The latest time.
    pub latest: Option<DateTime<Utc>>,
}

/// Features of a collection, and how many there are, as of one moment.
///
/// # Errors
/// When the database does not answer.
pub async fn page(
    pool: &PgPool,
    operation: OperationId,
    collection: &'static Collection,
    filter: &Filter,
    portion: Portion,
) -> Result<Page, StoreError> {
    let mut moment = pool.begin_with("begin transaction isolation level repeatable read, read only").await?;
    let places = Places::of(&mut moment, operation, collection).await?;
    let each = Each::of(filter);
    let mut count = question(operation, collection, &places, each, "select count(*) from source where true")?;
    narrow(&mut count, collection, filter);
    let matched: i64 = count.build_query_scalar().fetch_one(&mut *moment).await?;
    let (features, more) = some(&mut moment, operation, collection, &places, filter, portion).await?;
    moment.commit().await?;
    Ok(Page { matched, features, more })
}

/// One feature.
///
/// # Errors
/// When the database does not answer.
pub async fn feature(
    pool: &PgPool,
    operation: OperationId,
    collection: &'static Collection,
    id: FeatureId,
) -> Result<Option<Feature>, StoreError> {
    let mut moment = pool.begin_with("begin transaction isolation level repeatable read, read only").await?;
    let places = Places::of(&mut moment, operation, collection).await?;
    let wanted = format!(
        "select key, part, ST_AsBinary({SHAPE}) as shape, properties from (select key, part, geom, {} as properties
             from source where (key, part) = (",
        values(collection)
    );
    let mut query = question(operation, collection, &places, Each::WhenRead, &wanted)?;
    query.push_bind(id.key).push(", ").push_bind(id.part).push(") limit 1) as one");
    let row: Option<Row> = query.build_query_as().fetch_optional(&mut *moment).await?;
    moment.commit().await?;
    row.map(|row| row.feature(collection)).transpose()
}

/// Where and when a collection's features are; nothing of those whose places are reckoned line by line.
///
/// # Errors
/// When the database does not answer.
pub async fn extent(
    pool: &PgPool,
    operation: OperationId,
    collection: &'static Collection,
) -> Result<Option<Extent>, StoreError> {
    if collection.along.is_some() {
        return Ok(None);
    }
    let time = collection.time.map_or_else(|| "null::timestamptz".to_owned(), quoted);
    let wanted = format!(
        "select min(ST_XMin(shape)) as west, min(ST_YMin(shape)) as south, max(ST_XMax(shape)) as east,
             max(ST_YMax(shape)) as north, min(time) as earliest, max(time) as latest
         from (select {SHAPE} as shape, {time} as time from source offset 0) as each"
    );
    let mut query = question(operation, collection, &Places::default(), Each::Once, &wanted)?;
    Ok(Some(query.build_query_as().fetch_one(pool).await?))
}

/// Where what lies along all lines is: reckoned along the geodesics of each line's trace, as everywhere else.
#[derive(Default)]
struct Places {
    lines: Vec<Uuid>,
    parts: Vec<i32>,
    lon: Vec<f64>,
    lat: Vec<f64>,
    what: Vec<Json<Value>>,
}

impl Places {
    async fn of(
        connection: &mut PgConnection,
        operation: OperationId,
        collection: &Collection,
    ) -> Result<Self, StoreError> {
        let mut places = Self::default();
        let Some(along) = collection.along else { return Ok(places) };
        let profile = crate::operation::profile_in(connection, operation).await?;
        // One line after the other, so that never all the traces are held at once.
        for id in crate::line::with_any(connection, operation, along).await? {
            let Some(line) = crate::line::with_id(connection, operation, id).await? else { continue };
            let crossings = match along {
                Along::Splices | Along::Reels => Vec::new(),
                Along::Tests | Along::Tags => crate::crossing::of_line(connection, operation, id).await?,
            };
            let others = match along {
                Along::Tags => crate::line::ends_of_others_in(connection, operation, id).await?,
                Along::Splices | Along::Reels | Along::Tests => Vec::new(),
            };
            let (chainages, what): (Vec<_>, Vec<_>) =
                along.of(&line, &crossings, &others, &profile).into_iter().unzip();
            let there = line_wire::positions(&line, &chainages).into_iter().zip(chainages).zip(what);
            for (part, ((place, chainage), mut what)) in (1..).zip(there) {
                // Nothing is known of the line's course where nothing of it is planned or laid.
                let Some(place) = place else { continue };
                what["chainage_m"] = json!(chainage);
                places.lines.push(id.0);
                places.parts.push(part);
                places.lon.push(place.lon());
                places.lat.push(place.lat());
                places.what.push(Json(what));
            }
        }
        Ok(places)
    }
}

/// A feature's geometry as it goes out: cut at the 180th meridian where it crosses it. No wire goes half round the world.
const SHAPE: &str = "case when ST_XMax(geom) - ST_XMin(geom) > 180
    then ST_WrapX(ST_ShiftLongitude(geom), 180, -360) else geom end";

/// How often the statement's geometries are made.
#[derive(Clone, Copy)]
enum Each {
    /// Once each, because they are looked at one and all.
    Once,
    /// Only those that are read.
    WhenRead,
}

impl Each {
    fn of(filter: &Filter) -> Self {
        if filter.bounds.is_some() { Self::Once } else { Self::WhenRead }
    }
}

/// The statement that `source` stands for, and what is asked of it.
fn question(
    operation: OperationId,
    collection: &Collection,
    places: &Places,
    each: Each,
    wanted: &str,
) -> Result<QueryBuilder<Postgres>, StoreError> {
    let mut arguments = PgArguments::default();
    let added = (|| {
        arguments.add(operation.0)?;
        if collection.along.is_some() {
            arguments.add(&places.lines)?;
            arguments.add(&places.parts)?;
            arguments.add(&places.lon)?;
            arguments.add(&places.lat)?;
            arguments.add(&places.what)?;
        }
        Ok(())
    })();
    added.map_err(sqlx::Error::Encode)?;
    let once = match each {
        Each::Once => "materialized",
        Each::WhenRead => "not materialized",
    };
    let head = format!("with source as {once} ({}) {wanted}", collection.source);
    Ok(QueryBuilder::with_arguments(head, arguments))
}

/// A column's name, which may be a word of SQL.
fn quoted(name: &str) -> String {
    format!("\"{name}\"")
}

/// The values of a feature as a list, in the collection's order.
fn values(collection: &Collection) -> String {
    let columns = collection.properties.iter().map(|property| match property.holds {
        Holds::Grid => "null".to_owned(),
        _ => quoted(property.name),
    });
    format!("json_build_array({})", columns.collect::<Vec<_>>().join(", "))
}

fn narrow(query: &mut QueryBuilder<Postgres>, collection: &Collection, filter: &Filter) {
    if let Some(bounds) = filter.bounds {
        let halves = if bounds.west <= bounds.east {
            vec![(bounds.west, bounds.east)]
        } else {
            vec![(bounds.west, 180.0), (-180.0, bounds.east)]
        };
        query.push(" and (false");
        for (west, east) in halves {
            // A point is looked for by its very figures: an edge, or a box without a breadth, counts as in it.
            match collection.shape {
                Shape::Point => {
                    query.push(" or (ST_X(geom) between ").push_bind(west).push(" and ").push_bind(east);
                    query.push(" and ST_Y(geom) between ").push_bind(bounds.south);
                    query.push(" and ").push_bind(bounds.north).push(")");
                }
                Shape::Line => {
                    // As an envelope it is a line or a place where it has no breadth, and not a broken area.
                    query.push(format!(
                        " or ST_Intersects({SHAPE}, ST_SetSRID(ST_Envelope(ST_MakeLine(ST_MakePoint("
                    ));
                    query.push_bind(west).push(", ").push_bind(bounds.south).push("), ST_MakePoint(");
                    query.push_bind(east).push(", ").push_bind(bounds.north).push("))), 4326))");
                }
            }
        }
        query.push(")");
    }
    if let (Some(times), Some(time)) = (filter.times, collection.time.map(quoted)) {
        query.push(format!(" and ({time} is null or ({time} >= coalesce(")).push_bind(times.from);
        query
            .push(format!(", '-infinity') and {time} <= coalesce("))
            .push_bind(times.to)
            .push(", 'infinity')))");
    }
    for (property, wanted) in &filter.properties {
        query.push(format!(" and {} = ", quoted(property.name)));
        match wanted {
            Wanted::Text(text) => query.push_bind(text.clone()),
            Wanted::Id(id) => query.push_bind(*id),
            Wanted::Whole(number) => query.push_bind(*number),
            Wanted::Number(number) => query.push_bind(*number),
            Wanted::Flag(flag) => query.push_bind(*flag),
            Wanted::Time(time) => query.push_bind(*time),
        };
    }
}

async fn some(
    connection: &mut PgConnection,
    operation: OperationId,
    collection: &'static Collection,
    places: &Places,
    filter: &Filter,
    portion: Portion,
) -> Result<(Vec<Feature>, bool), StoreError> {
    // A geometry is made for the features that are chosen, and written only for those that are sent.
    let wanted = format!(
        "select key, part, ST_AsBinary(shape) as shape, properties, found from (
             select drawn.*, count(*) over () as found,
                 sum(coalesce(ST_NPoints(shape), 1)) over (order by key, part) - coalesce(ST_NPoints(shape), 1) as before
             from (select key, part, {SHAPE} as shape, properties
                 from (select key, part, geom, {} as properties from source where true",
        values(collection)
    );
    let mut query = question(operation, collection, places, Each::of(filter), &wanted)?;
    narrow(&mut query, collection, filter);
    if let Some(after) = portion.after {
        query.push(" and (key, part) > (").push_bind(after.key).push(", ").push_bind(after.part).push(")");
    }
    query.push(" order by key, part limit ").push_bind(i64::from(portion.features) + 1);
    query.push(") as chosen offset 0) as drawn) as counted where before < ");
    query.push_bind(i64::from(portion.positions));
    query.push(" order by key, part limit ").push_bind(i64::from(portion.features));
    let mut rows = query.build_query_as::<Row>().fetch(connection);
    let (mut features, mut found) = (Vec::new(), 0);
    while let Some(row) = rows.try_next().await? {
        found = row.found;
        features.push(row.feature(collection)?);
    }
    let more = i64::try_from(features.len()).is_ok_and(|sent| sent < found);
    Ok((features, more))
}

#[derive(FromRow)]
struct Row {
    key: Uuid,
    part: i32,
    shape: Option<Vec<u8>>,
    properties: Json<Vec<Value>>,
    /// How many there were before the positions were counted.
    #[sqlx(default)]
    found: i64,
}

impl Row {
    fn feature(self, collection: &'static Collection) -> Result<Feature, StoreError> {
        let geometry = self.shape.map(geometry).transpose()?;
        let values = collection.properties.iter().zip(self.properties.0);
        let values = values.map(|(property, value)| shown(property, value, geometry.as_ref()));
        let values = values.collect::<Result<_, _>>()?;
        Ok(Feature { id: FeatureId { key: self.key, part: self.part }, geometry, values })
    }
}

/// A value as it goes out: a figure always with its point, so that no reader takes the column for one of whole numbers, and
/// a time in UTC.
fn shown(property: &Property, value: Value, geometry: Option<&Geometry>) -> Result<Value, StoreError> {
    match (property.holds, value) {
        (Holds::Grid, _) => Ok(match geometry {
            Some(Geometry::Point(place)) => Value::from(GridReference::of(*place, Precision::Metre).spaced()),
            _ => Value::Null,
        }),
        (Holds::Number, Value::Number(number)) => Ok(number.as_f64().map_or(Value::Null, Value::from)),
        (Holds::Time, Value::String(text)) => {
            let time =
                DateTime::parse_from_rfc3339(&text).map_err(|_| StoreError::corrupt(property.name, &text))?;
            Ok(Value::from(time.to_utc().to_rfc3339_opts(SecondsFormat::AutoSi, true)))
        }
        (_, value) => Ok(value),
    }
}

fn geometry(wkb: Vec<u8>) -> Result<Geometry, StoreError> {
    let corrupt = |e: &dyn std::fmt::Debug| StoreError::corrupt("feature.shape", e);
    let places = |line: &geo_types::LineString| -> Result<Vec<Position>, StoreError> {
        line.coords().map(|c| position("feature.shape", c.x, c.y)).collect()
    };
    match geozero::wkb::Wkb(wkb).to_geo().map_err(|e| corrupt(&e))? {
        geo_types::Geometry::Point(at) => Ok(Geometry::Point(position("feature.shape", at.x(), at.y())?)),
        geo_types::Geometry::LineString(line) => Ok(Geometry::Lines(vec![places(&line)?])),
        geo_types::Geometry::MultiLineString(lines) => {
            Ok(Geometry::Lines(lines.iter().map(places).collect::<Result<_, _>>()?))
        }
        other => Err(corrupt(&other)),
    }
}
