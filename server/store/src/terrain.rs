//! The ground that lines are laid over: loads an OpenStreetMap extract, and serves it as vector tiles. One terrain per
//! database, shared by every operation; loading replaces it as a whole and never shows a half. It never says that
//! something is absent: what no mapper has drawn is unknown. Kinds are this project's words (see `classing`), classes
//! are OpenStreetMap's values.

mod classing;
mod extract;
mod load;
mod own;
mod rows;

use std::{path::PathBuf, sync::LazyLock};

use chrono::{DateTime, Utc};
use sqlx::{AssertSqlSafe, PgConnection, PgPool};

pub use load::{Loaded, Progress, Stage, load};
pub use own::{LARGEST_TEXT, Own, OwnError, add, own, remove};

/// What must be shown wherever the terrain is.
pub const ATTRIBUTION: &str = "© OpenStreetMap contributors";

/// The widest view that there are tiles for.
pub const FIRST_ZOOM: u8 = 5;
/// The closest view that there are tiles for; a browser enlarges these further.
pub const LAST_ZOOM: u8 = 15;

/// Why a terrain could not be loaded or a tile not be made.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum TerrainError {
    /// The file could not be opened or read.
    #[error("cannot read {}: {reason}", file.display())]
    Unreadable {
        /// The file that was asked for.
        file: PathBuf,
        /// What the system says.
        reason: std::io::Error,
    },
    /// The path leads to a folder or a device.
    #[error("{} is not a file: give an OpenStreetMap extract ending in .osm.pbf", file.display())]
    NotAFile {
        /// The path that was asked for.
        file: PathBuf,
    },
    /// The file does not begin as an extract does.
    #[error(
        "this is not an OpenStreetMap extract in PBF form: give a file ending in .osm.pbf, unpacked if it was zipped"
    )]
    NotAnExtract,
    /// The file ends within a block.
    #[error("the extract is cut short: it has {length} bytes and needs at least {needed}; fetch it again")]
    Truncated {
        /// How long the file is, in bytes.
        length: u64,
        /// How long it must be, in bytes, to hold the block that it ends in.
        needed: u64,
    },
    /// A block cannot be unpacked.
    #[error("the extract is damaged in the block at byte {at}: {reason}; fetch it again")]
    Damaged {
        /// Where the block starts.
        at: u64,
        /// What is wrong with it.
        reason: &'static str,
    },
    /// An element's parts do not fit together.
    #[error("the extract contradicts itself in element {element}: fetch it again, or from another source")]
    Contradictory {
        /// The number of the node, way or relation.
        element: i64,
    },
    /// The reading library gave up on the contents.
    #[error("the extract holds numbers that no map has: fetch it again, or from another source")]
    Nonsense,
    /// The file demands of its reader what this one does not know.
    #[error(
        "the extract needs a reader that knows {feature}: give a plain one, without history and packed with zlib"
    )]
    Unsupported {
        /// The feature, in the file's own word where it has one.
        feature: String,
    },
    /// A way or an area occurs twice.
    #[error(
        "the extract holds the same element twice: give a plain extract without history, not one merged from several"
    )]
    Repeated,
    /// A node lies nowhere on the earth.
    #[error("node {node} lies outside the earth's longitudes and latitudes: fetch the extract again")]
    OffTheEarth {
        /// The node's number.
        node: i64,
    },
    /// A way has more nodes than any real one.
    #[error("way {way} has {nodes} nodes, {most} are the most: fetch the extract from another source")]
    WayTooLong {
        /// The way's number.
        way: i64,
        /// How many nodes it has.
        nodes: usize,
        /// How many it may have.
        most: usize,
    },
    /// The extract needs more memory than a load may take.
    #[error("the extract needs more than {most} {what} at once: cut a smaller one around the operation")]
    TooLarge {
        /// What there is too much of.
        what: &'static str,
        /// How many there may be.
        most: usize,
    },
    /// There is nothing in it to draw.
    #[error(
        "the extract holds no road, railway, water, wood, power line, coast or place: check which area it covers"
    )]
    NothingKept,
    /// Another load is under way.
    #[error("another load is under way: wait until it has ended")]
    LoadUnderWay,
    /// Nobody waits for what is read any more.
    #[error("the load was abandoned")]
    Abandoned,
    /// There is no such tile.
    #[error(
        "there is no tile {z}/{x}/{y}: zoom is {FIRST_ZOOM} to {LAST_ZOOM}, and x and y are less than 2 to the zoom"
    )]
    NoSuchTile {
        /// The zoom asked for.
        z: u8,
        /// The column asked for.
        x: u32,
        /// The row asked for.
        y: u32,
    },
    /// The database did not do what it was asked.
    #[error("the database could not be used")]
    Database(#[from] sqlx::Error),
}

/// The extract that the terrain was made from.
#[derive(Clone, Debug, PartialEq, sqlx::FromRow)]
pub struct Extract {
    /// The file's name, without its folder.
    pub file_name: String,
    /// The file's checksum, in hexadecimal.
    pub sha256: String,
    /// When it was loaded.
    pub loaded_at: DateTime<Utc>,
    /// When the map was taken, where the file says so.
    pub mapped_at: Option<DateTime<Utc>>,
    /// What must be shown with it.
    pub attribution: String,
    /// How far the unit's own features have come: their number, and the last number given.
    pub own: String,
    /// The box of its roads and paths.
    #[sqlx(flatten)]
    pub land: LandBox,
}

impl Extract {
    /// Names this terrain with the unit's own features and no other: the same for every tile until the next load or
    /// addition, so good as an entity tag.
    #[must_use]
    pub fn version(&self) -> String {
        version_of(&self.sha256, self.loaded_at, &self.own)
    }
}

/// What a version is made of.
const VERSION_COLUMNS: &str =
    "sha256, loaded_at, (select concat(count(*), '-', max(id)) from terrain_own) as own";

fn version_of(sha256: &str, loaded_at: DateTime<Utc>, own: &str) -> String {
    format!("{:x}-{}-{own}", loaded_at.timestamp_micros(), sha256.get(..12).unwrap_or(sha256))
}

/// The version of the terrain that is loaded; `None` before the first load.
pub async fn version(pool: &PgPool) -> Result<Option<String>, TerrainError> {
    static QUERY: LazyLock<String> =
        LazyLock::new(|| format!("select {VERSION_COLUMNS} from terrain_extract order by id desc limit 1"));
    let found: Option<(String, DateTime<Utc>, String)> =
        sqlx::query_as(AssertSqlSafe(QUERY.as_str())).fetch_optional(pool).await?;
    Ok(found.map(|(sha256, loaded_at, own)| version_of(&sha256, loaded_at, &own)))
}

/// A box in degrees (WGS 84).
#[derive(Clone, Copy, Debug, PartialEq, sqlx::FromRow)]
pub struct LandBox {
    /// The western longitude.
    pub west: f64,
    /// The southern latitude.
    pub south: f64,
    /// The eastern longitude.
    pub east: f64,
    /// The northern latitude.
    pub north: f64,
}

/// The extract that is loaded, with the box to fit a first view to; `None` before the first load.
pub async fn extract(pool: &PgPool) -> Result<Option<Extract>, TerrainError> {
    extract_in(&mut *pool.acquire().await?).await
}

/// The extract that is loaded, as one connection sees it.
pub(crate) async fn extract_in(connection: &mut PgConnection) -> Result<Option<Extract>, TerrainError> {
    let loaded = sqlx::query_as(
        "select file_name, sha256, loaded_at, mapped_at, attribution,
            (select concat(count(*), '-', max(id)) from terrain_own) as own,
            st_xmin(land) as west, st_ymin(land) as south, st_xmax(land) as east, st_ymax(land) as north
        from terrain_extract order by id desc limit 1",
    );
    Ok(loaded.fetch_optional(connection).await?)
}

/// The query behind [`tile`], with zoom, column and row to bind. Public so that its plan can be looked at.
///
/// Below zoom 13 lines and areas are thinned to half a pixel of a tile drawn 512 pixels wide. A line brings
/// its name and number along only where there is room for them: two zooms after the line itself, not before zoom 10, and
/// from zoom 14 always.
pub const TILE_QUERY: &str = "
with frame as materialized (
    select st_tileenvelope($1, $2, $3) as box, st_tileenvelope($1, $2, $3, margin => 64.0 / 4096) as reach,
        40075016.6855785 / 2 ^ $1 / 1024 as thin
),
area as (
    select kind, class,
        st_asmvtgeom(case when $1 < 13 then st_simplify(shape, thin, true) else shape end, box, 4096, 64, true) as shape
    from frame join terrain_area on shape && reach
    where from_zoom <= $1
),
line as (
    select kind, class, structure,
        case when labelled then name end as name, case when labelled then ref end as ref,
        st_asmvtgeom(case when $1 < 13 then st_simplify(shape, thin, true) else shape end, box, 4096, 64, true) as shape
    from frame join terrain_line on shape && reach
        cross join lateral (select $1 >= least(greatest(from_zoom + 2, 10), 14) as labelled) as label
    where from_zoom <= $1
),
place as (
    select kind, name, rank, st_asmvtgeom(shape, box, 4096, 64, true) as shape
    from frame join terrain_place on shape && reach
    where from_zoom <= $1
),
own as (
    select id as number, kind, name, st_asmvtgeom(st_transform(ground, 3857), box, 4096, 64, true) as shape
    from frame join terrain_own on ground && st_transform(reach, 4326)
)
select coalesce((select st_asmvt(area, 'area', 4096, 'shape') from area where shape is not null), '')
    || coalesce((select st_asmvt(line, 'line', 4096, 'shape') from line where shape is not null), '')
    || coalesce((select st_asmvt(place, 'place', 4096, 'shape') from place where shape is not null), '')
    || coalesce((select st_asmvt(own, 'own', 4096, 'shape') from own where shape is not null), '')";

/// One vector tile of the terrain (Mapbox Vector Tile 2, extent 4096, buffer 64), with the layers `area` (kind, class),
/// `line` (kind, class, structure, name, ref), `place` (kind, name, rank) and `own` (number, kind, name): what the unit
/// itself has seen. Where there is nothing it has no bytes.
///
/// # Errors
/// [`TerrainError::NoSuchTile`] outside the zooms [`FIRST_ZOOM`] to [`LAST_ZOOM`] or beside the world.
pub async fn tile(pool: &PgPool, z: u8, x: u32, y: u32) -> Result<Vec<u8>, TerrainError> {
    let [zoom, column, row] = place_of_tile(z, x, y)?;
    Ok(sqlx::query_scalar(TILE_QUERY).bind(zoom).bind(column).bind(row).fetch_one(pool).await?)
}

/// A tile together with the version of the terrain that it is of, in one question; `None` before the first load.
///
/// # Errors
/// As [`tile`].
pub async fn tile_and_version(
    pool: &PgPool,
    z: u8,
    x: u32,
    y: u32,
) -> Result<Option<(Vec<u8>, String)>, TerrainError> {
    static QUERY: LazyLock<String> = LazyLock::new(|| {
        format!(
            "select ({TILE_QUERY}) as tile, {VERSION_COLUMNS} from terrain_extract order by id desc limit 1"
        )
    });
    let [zoom, column, row] = place_of_tile(z, x, y)?;
    let found: Option<(Vec<u8>, String, DateTime<Utc>, String)> =
        sqlx::query_as(AssertSqlSafe(QUERY.as_str()))
            .bind(zoom)
            .bind(column)
            .bind(row)
            .fetch_optional(pool)
            .await?;
    Ok(found.map(|(tile, sha256, loaded_at, own)| (tile, version_of(&sha256, loaded_at, &own))))
}

fn place_of_tile(z: u8, x: u32, y: u32) -> Result<[i32; 3], TerrainError> {
    let no_such_tile = TerrainError::NoSuchTile { z, x, y };
    if !(FIRST_ZOOM..=LAST_ZOOM).contains(&z) || x >> z != 0 || y >> z != 0 {
        return Err(no_such_tile);
    }
    match (i32::try_from(x), i32::try_from(y)) {
        (Ok(column), Ok(row)) => Ok([i32::from(z), column, row]),
        _ => Err(no_such_tile),
    }
}
