//! The ground about a trace, read for the rules that foresee its crossings. It decides nothing itself. What belongs to the
//! extract and what the unit has added stand side by side; a load that ends meanwhile is waited out, so that nothing is
//! read half from the old terrain and half from the new.

use geo_types::{Geometry, LineString, Polygon};
use geozero::ToGeo;
use laywire_craft::{
    elevation::Surface,
    foreseen::{
        self, Area, Cover, Drawn, Foreseen, Ground, LONGEST, PowerLine, Spot, SpotKind, Structure,
        TooManyCrossings, Way,
    },
    geodesy::Position,
    obstacle::Obstacle,
    profile::Profile,
    trace::Trace,
    units::{Kilovolts, Metres},
};
use sqlx::{Executor as _, PgConnection, PgPool};

use crate::{
    StoreError, elevation,
    error::named,
    line::{metres, position},
    terrain::{self, Extract, TerrainError},
};

/// The most ways, areas or spots that one question may have to look at.
const MOST_ROWS: i64 = 100_000;

/// Why crossings cannot be foreseen.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum ForeseenError {
    /// The trace is longer than one question may be.
    #[error("the trace is {length:.0} long and {LONGEST:.0} is the most: divide it and ask for each part")]
    TooLong {
        /// How long it is.
        length: Metres,
    },
    /// There is too much on the map about the trace.
    #[error(
        "there is more on the map about this trace than one question may ask for: divide it and ask for each part"
    )]
    TooMuchGround,
    /// The trace goes over too much.
    #[error(transparent)]
    TooManyCrossings(#[from] TooManyCrossings),
    /// The database did not do what it was asked, or holds what it should not.
    #[error(transparent)]
    Store(#[from] StoreError),
}

impl From<sqlx::Error> for ForeseenError {
    fn from(error: sqlx::Error) -> Self {
        Self::Store(error.into())
    }
}

impl From<TerrainError> for ForeseenError {
    fn from(error: TerrainError) -> Self {
        match error {
            TerrainError::Database(error) => error.into(),
            other => Self::Store(StoreError::corrupt("terrain", other)),
        }
    }
}

/// What a trace will meet, and the map that says so.
#[derive(Debug)]
pub struct Answer {
    /// What it meets.
    pub foreseen: Foreseen,
    /// The map; none when none is loaded.
    pub map: Option<Extract>,
    /// What the hills add; none where no grid of heights lies about the trace.
    pub surface: Option<Surface>,
}

/// Foresees what a trace meets on the terrain and on the unit's own features.
///
/// # Errors
/// A trace longer than [`LONGEST`], or too much on the map about it.
pub async fn foreseen(pool: &PgPool, trace: Trace, profile: Profile) -> Result<Answer, ForeseenError> {
    if trace.length() > LONGEST {
        return Err(ForeseenError::TooLong { length: trace.length() });
    }
    let mut connection = pool.begin().await?;
    // In alphabetical order, as every reader of several of them: from here on no load can swap them.
    connection.execute("lock table terrain_area, terrain_line, terrain_spot in access share mode").await?;
    let map = terrain::extract_in(&mut connection).await?;
    let (ground, cover) = read(&mut connection, &trace, &profile, map.as_ref()).await?;
    connection.commit().await?;
    // Long traces take a while; the connection is given back and other requests are not held up.
    let way = trace.clone();
    let mut foreseen =
        tokio::task::spawn_blocking(move || foreseen::foresee(&way, &ground, &cover, &profile))
            .await
            .map_err(|_| StoreError::corrupt("terrain", "what could not be reckoned with"))??;
    let surface = elevation::about_crossings(pool, trace, &mut foreseen).await?;
    Ok(Answer { foreseen, map, surface })
}

/// The ground in a box, with its woods and hedges, and the map that it is from.
///
/// # Errors
/// Too much ground, or when the database does not answer.
pub async fn ground_in(
    pool: &PgPool,
    area: foreseen::Bounds,
) -> Result<(Ground, Option<Extract>), ForeseenError> {
    let mut connection = pool.begin().await?;
    connection.execute("lock table terrain_area, terrain_line, terrain_spot in access share mode").await?;
    let map = terrain::extract_in(&mut connection).await?;
    let mut boxes = Boxes::default();
    boxes.push(area);
    let mut ground = in_boxes(&mut connection, &boxes).await?;
    woods(&mut connection, &boxes, &mut ground).await?;
    hedges(&mut connection, &boxes, &mut ground).await?;
    connection.commit().await?;
    Ok((ground, map))
}

async fn in_boxes(connection: &mut PgConnection, boxes: &Boxes) -> Result<Ground, ForeseenError> {
    let mut ground = Ground::default();
    lines(connection, boxes, &mut ground).await?;
    areas(connection, boxes, &mut ground).await?;
    spots(connection, boxes, &mut ground).await?;
    own(connection, boxes, &mut ground).await?;
    Ok(ground)
}

/// The roads, tracks and paths in a box, as the map and the unit know them, and what the unit has found closed; none where no
/// map is loaded.
///
/// # Errors
/// Too much ground, or when the database does not answer.
pub(crate) async fn ways_in(
    pool: &PgPool,
    area: foreseen::Bounds,
) -> Result<Option<(Ground, Extract)>, ForeseenError> {
    let mut connection = pool.begin().await?;
    connection.execute("lock table terrain_line in access share mode").await?;
    let Some(map) = terrain::extract_in(&mut connection).await? else { return Ok(None) };
    let mut boxes = Boxes::default();
    boxes.push(area);
    let mut ground = Ground::default();
    lines(&mut connection, &boxes, &mut ground).await?;
    own(&mut connection, &boxes, &mut ground).await?;
    connection.commit().await?;
    Ok(Some((ground, map)))
}

async fn read(
    connection: &mut PgConnection,
    trace: &Trace,
    profile: &Profile,
    map: Option<&Extract>,
) -> Result<(Ground, Cover), ForeseenError> {
    let ground = in_boxes(connection, &Boxes::about(trace, profile)).await?;
    let land = map.map(|map| bounds(map.land)).transpose()?;
    let nearest_shore = if land.is_some() { shore(connection, trace.start()).await? } else { None };
    Ok((ground, Cover { land, nearest_shore }))
}

fn bounds(land: terrain::LandBox) -> Result<foreseen::Bounds, StoreError> {
    Ok(foreseen::Bounds {
        south_west: position("terrain_extract.land", land.west, land.south)?,
        north_east: position("terrain_extract.land", land.east, land.north)?,
    })
}

/// The boxes about the trace, a column for each side.
#[derive(Default)]
struct Boxes {
    west: Vec<f64>,
    south: Vec<f64>,
    east: Vec<f64>,
    north: Vec<f64>,
}

impl Boxes {
    fn about(trace: &Trace, profile: &Profile) -> Self {
        let mut boxes = Self::default();
        for bounds in foreseen::boxes(trace, profile) {
            boxes.push(bounds);
        }
        boxes
    }

    fn push(&mut self, bounds: foreseen::Bounds) {
        self.west.push(bounds.south_west.lon());
        self.south.push(bounds.south_west.lat());
        self.east.push(bounds.north_east.lon());
        self.north.push(bounds.north_east.lat());
    }
}

/// The lines that a trace may meet: a hedge is none. Public so that its plan can be looked at.
pub const LINES_QUERY: &str = "
select way_id, kind, class, name, ref, structure, layer, surface, width_m, lanes, one_way, voltage_v, st_asbinary(ground)
from terrain_line join (
    select distinct way_id, kind, part
    from unnest($1::float8[], $2::float8[], $3::float8[], $4::float8[]) as box (west, south, east, north)
        join terrain_line on ground && st_makeenvelope(west, south, east, north, 4326)
    where kind <> 'hedge'
) as hit using (way_id, kind, part)
limit $5";

const AREAS_QUERY: &str = "
select element, element_id, class, name, st_asbinary(ground)
from terrain_area join (
    select distinct element, element_id
    from unnest($1::float8[], $2::float8[], $3::float8[], $4::float8[]) as box (west, south, east, north)
        join terrain_area on ground && st_makeenvelope(west, south, east, north, 4326)
    where kind = 'water'
) as hit using (element, element_id)
limit $5";

const SPOTS_QUERY: &str = "
select distinct node_id, kind, st_x(ground), st_y(ground)
from unnest($1::float8[], $2::float8[], $3::float8[], $4::float8[]) as box (west, south, east, north)
    join terrain_spot on ground && st_makeenvelope(west, south, east, north, 4326)
limit $5";

/// A closed way drawn as a line is as wide as a track and its verges. A culvert or bridge drawn as a line is where its middle is.
const OWN_QUERY: &str = "
select id, kind, name, width_m, hard_surface, voltage_v, st_asbinary(case
    when kind in ('culvert', 'bridge') and geometrytype(ground) = 'LINESTRING' then st_lineinterpolatepoint(ground, 0.5)
    when kind = 'closed_way' and geometrytype(ground) = 'LINESTRING' then st_buffer(ground::geography, 5)::geometry
    else ground end)
from terrain_own join (
    select distinct id
    from unnest($1::float8[], $2::float8[], $3::float8[], $4::float8[]) as box (west, south, east, north)
        join terrain_own on ground && st_makeenvelope(west, south, east, north, 4326)
) as hit using (id)
limit $5";

/// Reads what a query finds in the boxes, or says that it is too much.
macro_rules! found {
    ($connection:expr, $query:expr, $boxes:expr) => {{
        let rows = sqlx::query_as($query)
            .bind(&$boxes.west)
            .bind(&$boxes.south)
            .bind(&$boxes.east)
            .bind(&$boxes.north)
            .bind(MOST_ROWS + 1)
            .fetch_all(&mut *$connection)
            .await?;
        if i64::try_from(rows.len()).is_ok_and(|rows| rows <= MOST_ROWS) {
            rows
        } else {
            return Err(ForeseenError::TooMuchGround);
        }
    }};
}

type LineRow = (
    i64,
    String,
    String,
    Option<String>,
    Option<String>,
    Option<String>,
    Option<i16>,
    Option<String>,
    Option<f32>,
    Option<i16>,
    bool,
    Option<i32>,
    Vec<u8>,
);

async fn lines(
    connection: &mut PgConnection,
    boxes: &Boxes,
    ground: &mut Ground,
) -> Result<(), ForeseenError> {
    let rows: Vec<LineRow> = found!(connection, LINES_QUERY, boxes);
    for row in rows {
        let (
            id,
            kind,
            class,
            name,
            reference,
            structure,
            layer,
            surface,
            width,
            lanes,
            one_way,
            voltage,
            wkb,
        ) = row;
        let drawn = Drawn::OsmWay(id);
        let positions = line("terrain_line.ground", wkb)?;
        match kind.as_str() {
            "coast" => ground.shores.push(positions),
            "power_line" => ground.power_lines.push(PowerLine {
                drawn,
                class,
                voltage: voltage.and_then(kilovolts),
                positions,
            }),
            kind => ground.ways.push(Way {
                drawn,
                obstacle: named("terrain_line.kind", &Obstacle::ALL, Obstacle::as_str, kind)?,
                class,
                name,
                reference,
                structure: structure
                    .map(|word| named("terrain_line.structure", &Structure::ALL, Structure::as_str, &word))
                    .transpose()?,
                layer: layer.unwrap_or(0),
                hard_surface: surface.as_deref().and_then(is_hard),
                width: width.map(|width| metres("terrain_line.width_m", width.into())).transpose()?,
                lanes: lanes.and_then(|lanes| u8::try_from(lanes).ok()),
                one_way,
                positions,
            }),
        }
    }
    Ok(())
}

/// Whether a surface, in OpenStreetMap's words, is too hard to dig; none where the word does not tell.
fn is_hard(surface: &str) -> Option<bool> {
    match surface {
        "asphalt" | "paved" | "concrete" | "concrete:plates" | "concrete:lanes" | "paving_stones"
        | "sett" | "cobblestone" | "unhewn_cobblestone" | "metal" | "bricks" | "chipseal" | "rock" => {
            Some(true)
        }
        "unpaved" | "gravel" | "fine_gravel" | "compacted" | "dirt" | "earth" | "ground" | "grass"
        | "mud" | "sand" | "pebblestone" | "woodchips" | "grass_paver" => Some(false),
        _ => None,
    }
}

type AreaRow = (String, i64, String, Option<String>, Vec<u8>);

async fn areas(
    connection: &mut PgConnection,
    boxes: &Boxes,
    ground: &mut Ground,
) -> Result<(), ForeseenError> {
    let rows: Vec<AreaRow> = found!(connection, AREAS_QUERY, boxes);
    for row in rows {
        ground.waters.push(area(row)?);
    }
    Ok(())
}

/// Woods hold no wire up, but they are slow to lay through.
const WOODS_QUERY: &str = "
select element, element_id, class, name, st_asbinary(ground)
from terrain_area join (
    select distinct element, element_id
    from unnest($1::float8[], $2::float8[], $3::float8[], $4::float8[]) as box (west, south, east, north)
        join terrain_area on ground && st_makeenvelope(west, south, east, north, 4326)
    where kind = 'wood'
) as hit using (element, element_id)
limit $5";

async fn woods(
    connection: &mut PgConnection,
    boxes: &Boxes,
    ground: &mut Ground,
) -> Result<(), ForeseenError> {
    let rows: Vec<AreaRow> = found!(connection, WOODS_QUERY, boxes);
    for row in rows {
        ground.woods.push(area(row)?);
    }
    Ok(())
}

const HEDGES_QUERY: &str = "
select st_asbinary(ground)
from terrain_line join (
    select distinct way_id, kind, part
    from unnest($1::float8[], $2::float8[], $3::float8[], $4::float8[]) as box (west, south, east, north)
        join terrain_line on ground && st_makeenvelope(west, south, east, north, 4326)
    where kind = 'hedge'
) as hit using (way_id, kind, part)
limit $5";

async fn hedges(
    connection: &mut PgConnection,
    boxes: &Boxes,
    ground: &mut Ground,
) -> Result<(), ForeseenError> {
    let rows: Vec<(Vec<u8>,)> = found!(connection, HEDGES_QUERY, boxes);
    for (wkb,) in rows {
        ground.hedges.push(line("terrain_line.ground", wkb)?);
    }
    Ok(())
}

fn area((element, id, class, name, wkb): AreaRow) -> Result<Area, StoreError> {
    let drawn = if element == "way" { Drawn::OsmWay(id) } else { Drawn::OsmRelation(id) };
    Ok(Area { drawn, class, name, rings: rings("terrain_area.ground", wkb)? })
}

async fn spots(
    connection: &mut PgConnection,
    boxes: &Boxes,
    ground: &mut Ground,
) -> Result<(), ForeseenError> {
    let rows: Vec<(i64, String, f64, f64)> = found!(connection, SPOTS_QUERY, boxes);
    for (id, kind, lon, lat) in rows {
        ground.spots.push(Spot {
            drawn: Drawn::OsmNode(id),
            kind: named("terrain_spot.kind", &SpotKind::ALL, SpotKind::as_str, &kind)?,
            position: position("terrain_spot.ground", lon, lat)?,
        });
    }
    Ok(())
}

type OwnRow = (i64, String, Option<String>, Option<f32>, Option<bool>, Option<i32>, Vec<u8>);

async fn own(connection: &mut PgConnection, boxes: &Boxes, ground: &mut Ground) -> Result<(), ForeseenError> {
    const GROUND: &str = "terrain_own.ground";
    let rows: Vec<OwnRow> = found!(connection, OWN_QUERY, boxes);
    for (id, kind, name, width, hard_surface, voltage, wkb) in rows {
        let drawn = Drawn::Own(id);
        let area = |name, wkb| {
            Ok::<_, StoreError>(Area { drawn, class: kind.clone(), name, rings: rings(GROUND, wkb)? })
        };
        match kind.as_str() {
            "culvert" | "bridge" => ground.spots.push(Spot {
                drawn,
                kind: named("terrain_own.kind", &SpotKind::ALL, SpotKind::as_str, &kind)?,
                position: point(GROUND, wkb)?,
            }),
            "water" => ground.waters.push(area(name, wkb)?),
            "soft_ground" => ground.soft.push(area(name, wkb)?),
            "closed_way" => ground.closed.push(area(name, wkb)?),
            // Trees are no obstacle, but slow to lay through.
            "wood" => ground.woods.push(area(name, wkb)?),
            "power_line" => ground.power_lines.push(PowerLine {
                drawn,
                class: kind,
                voltage: voltage.and_then(kilovolts),
                positions: line(GROUND, wkb)?,
            }),
            word => ground.ways.push(Way {
                name,
                hard_surface,
                width: width.map(|width| metres("terrain_own.width_m", width.into())).transpose()?,
                ..Way::plain(
                    drawn,
                    named("terrain_own.kind", &Obstacle::ALL, Obstacle::as_str, word)?,
                    word,
                    line(GROUND, wkb)?,
                )
            }),
        }
    }
    Ok(())
}

/// The shore that is nearest to a place; its length is at least two positions.
async fn shore(connection: &mut PgConnection, place: Position) -> Result<Option<Trace>, ForeseenError> {
    let nearest: Option<Vec<u8>> = sqlx::query_scalar(
        "select st_asbinary(ground) from terrain_line where kind = 'coast'
        order by ground <-> st_setsrid(st_makepoint($1, $2), 4326) limit 1",
    )
    .bind(place.lon())
    .bind(place.lat())
    .fetch_optional(connection)
    .await?;
    let Some(wkb) = nearest else { return Ok(None) };
    Ok(Trace::new(line("terrain_line.ground", wkb)?).ok())
}

fn kilovolts(volts: i32) -> Option<Kilovolts> {
    Kilovolts::new(f64::from(volts) / 1_000.0).ok()
}

fn read_shape(what: &'static str, wkb: Vec<u8>) -> Result<Geometry, StoreError> {
    geozero::wkb::Wkb(wkb).to_geo().map_err(|error| StoreError::corrupt(what, error))
}

fn positions(what: &'static str, line: &LineString) -> Result<Vec<Position>, StoreError> {
    line.coords().map(|place| position(what, place.x, place.y)).collect()
}

fn line(what: &'static str, wkb: Vec<u8>) -> Result<Vec<Position>, StoreError> {
    match read_shape(what, wkb)? {
        Geometry::LineString(line) => positions(what, &line),
        other => Err(StoreError::corrupt(what, other)),
    }
}

fn point(what: &'static str, wkb: Vec<u8>) -> Result<Position, StoreError> {
    match read_shape(what, wkb)? {
        Geometry::Point(place) => position(what, place.x(), place.y()),
        other => Err(StoreError::corrupt(what, other)),
    }
}

fn rings(what: &'static str, wkb: Vec<u8>) -> Result<Vec<Vec<Position>>, StoreError> {
    let of = |polygon: &Polygon| -> Result<Vec<Vec<Position>>, StoreError> {
        std::iter::once(polygon.exterior())
            .chain(polygon.interiors())
            .map(|ring| positions(what, ring))
            .collect()
    };
    match read_shape(what, wkb)? {
        Geometry::Polygon(polygon) => of(&polygon),
        Geometry::MultiPolygon(polygons) => {
            Ok(polygons.iter().map(of).collect::<Result<Vec<_>, _>>()?.into_iter().flatten().collect())
        }
        other => Err(StoreError::corrupt(what, other)),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_surface_is_hard_or_soft_or_unknown() {
        assert_eq!(is_hard("asphalt"), Some(true));
        assert_eq!(is_hard("gravel"), Some(false));
        assert_eq!(is_hard("tartan"), None);
    }
}
