//! Heights of the ground: loads grids from files (HGT tiles, GeoTIFF), lists and removes them, and reads the blocks about a
//! trace. A grid is loaded whole or not at all, and one of the same name takes the place of the old one without a moment
//! between. It reckons nothing: profiles and lengths are `laywire-craft`'s. What no grid knows is unknown, and never zero.

mod blocks;
mod geotiff;
mod hgt;
mod load;

use std::path::PathBuf;

use chrono::{DateTime, Utc};
use futures::TryStreamExt as _;
use geo_types::{Geometry, LineString, MultiLineString};
use geozero::{CoordDimensions, ToWkb as _};
use laywire_craft::{
    elevation::{self as craft, Grid, Profile, Surface},
    foreseen::{Foreseen, LONGEST},
    trace::Trace,
    units::Metres,
};
use sqlx::PgPool;

use crate::{
    StoreError,
    line::{metres, position},
};

pub use load::{Loaded, Progress, load};

/// The most grids of a database.
pub const MOST_GRIDS: i64 = 2_000;
/// The most blocks that one question may have to look at: as heights some 100 MB.
const MOST_BLOCKS: usize = 400;

/// What is wrong with a file of heights.
#[derive(Debug, thiserror::Error, PartialEq)]
#[non_exhaustive]
pub enum Fault {
    /// It could not be opened or read.
    #[error("it cannot be read: {0}")]
    Unreadable(String),
    /// The path leads to a folder or a device.
    #[error("this is not a file: give an HGT tile or a GeoTIFF")]
    NotAFile,
    /// It is neither of the two.
    #[error("this is neither a GeoTIFF nor an HGT tile: give a file ending in .tif, .tiff or .hgt")]
    NotAGrid,
    /// It is packed.
    #[error("it is packed as {0}: unpack it first, and give what is in it")]
    Packed(&'static str),
    /// A tile whose name is no place.
    #[error(
        "an HGT tile says by its name where it lies, as N54W005.hgt does (its south-west corner): rename it"
    )]
    TileName,
    /// A name that no list could show.
    #[error("its name has to have 1 to 100 characters, none of them a control character: rename it")]
    Name,
    /// A tile of another size.
    #[error(
        "an HGT tile has 2,884,802 bytes (3″) or 25,934,402 (1″), and this one has {length}: it is cut short or no HGT tile; fetch \
         it again, or give it as GeoTIFF"
    )]
    TileSize {
        /// How long it is, in bytes.
        length: u64,
    },
    /// It ends too soon.
    #[error("it is cut short: it has {length} bytes and needs {needed}; fetch it again")]
    Truncated {
        /// How long it is, in bytes.
        length: u64,
        /// How long it has to be, in bytes.
        needed: u64,
    },
    /// Its parts do not fit together.
    #[error("it is damaged: {0}; fetch it again, or from another source")]
    Damaged(String),
    /// It is in another reference system than EPSG:4326.
    #[error(
        "it is in {found} and EPSG:4326 is wanted: make one by 'gdalwarp -t_srs EPSG:4326 -r bilinear -co TILED=YES -co \
         COMPRESS=DEFLATE IN.tif OUT.tif'"
    )]
    OtherReference {
        /// What it is in.
        found: String,
    },
    /// It is written in a way that is not read here.
    #[error("{what}: make one by '{command}'")]
    Unsupported {
        /// What is not read.
        what: String,
        /// What makes one that is.
        command: &'static str,
    },
    /// There is too much in it.
    #[error("{what}: {remedy}")]
    TooLarge {
        /// What there is too much of.
        what: String,
        /// What to do.
        remedy: &'static str,
    },
    /// It does not lie on the Earth.
    #[error(
        "its corners ({west:.6}, {north:.6} and {east:.6}, {south:.6}) are not on the Earth, or not a north-west and a south-east one"
    )]
    Corners {
        /// The westernmost longitude.
        west: f64,
        /// The northernmost latitude.
        north: f64,
        /// The easternmost longitude.
        east: f64,
        /// The southernmost latitude.
        south: f64,
    },
    /// A height that no ground has.
    #[error(
        "the height {height} (column {column}, row {row}, from 0) lies nowhere on the Earth: where that stands for unknown, say so by \
         'gdal_translate -a_nodata {height} IN OUT.tif'; where heights are not metres, turn them into metres"
    )]
    Height {
        /// The height.
        height: f32,
        /// Posts from the west.
        column: u32,
        /// Posts from the north.
        row: u32,
    },
    /// No height is known.
    #[error("it holds no known height at all: check which area it covers")]
    NothingKnown,
    /// Two files make the same grid.
    #[error("another of these files makes the grid {0} as well: give one of them, or rename it")]
    Twice(String),
}

/// Why grids could not be loaded or removed. Nothing is changed then.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum ElevationError {
    /// A file is wrong.
    #[error("{}: {fault}. Nothing was loaded", file.display())]
    File {
        /// Which.
        file: PathBuf,
        /// What is wrong with it.
        fault: Fault,
    },
    /// There would be too many.
    #[error(
        "there would be {there}, more than the {MOST_GRIDS} grids that there may be: remove some, or make one of several. Nothing was loaded"
    )]
    TooMany {
        /// How many there would be.
        there: i64,
    },
    /// There is no such grid.
    #[error("there is no grid of heights called {name}: see the list. Nothing was removed")]
    NoSuchGrid {
        /// The name asked for.
        name: String,
    },
    /// Another load is under way.
    #[error("another load of heights is under way: wait until it has ended")]
    LoadUnderWay,
    /// The database did not do what it was asked.
    #[error("the database could not be used")]
    Database(#[from] sqlx::Error),
}

/// Why there is no profile.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum ProfileError {
    /// The trace is longer than one question may be.
    #[error("the trace is {length:.0} long and {LONGEST:.0} is the most: divide it and ask for each part")]
    TooLong {
        /// How long it is.
        length: Metres,
    },
    /// The grids about the trace are too fine for its length.
    #[error(
        "the grids of heights about this trace are too fine for its length: divide it and ask for each part"
    )]
    TooMuchGround,
    /// There would be too many places.
    #[error(transparent)]
    Reckoning(#[from] craft::ElevationError),
    /// The database did not do what it was asked, or holds what it should not.
    #[error(transparent)]
    Store(#[from] StoreError),
}

impl From<sqlx::Error> for ProfileError {
    fn from(error: sqlx::Error) -> Self {
        Self::Store(error.into())
    }
}

/// A grid that is loaded.
#[derive(Clone, Debug, PartialEq, sqlx::FromRow)]
pub struct Stored {
    /// Its name: a tile's, or the file's without its ending.
    pub name: String,
    /// The file that it came from.
    pub file_name: String,
    /// Posts from west to east.
    pub columns: i32,
    /// Posts from north to south.
    pub rows: i32,
    /// The westernmost longitude, in degrees.
    pub west: f64,
    /// The southernmost latitude, in degrees.
    pub south: f64,
    /// The easternmost longitude, in degrees.
    pub east: f64,
    /// The northernmost latitude, in degrees.
    pub north: f64,
    /// The shorter side of a cell in its middle, in metres.
    pub cell_m: f64,
    /// When it was loaded.
    pub loaded_at: DateTime<Utc>,
}

/// All grids, by name.
///
/// # Errors
/// When the database does not answer.
pub async fn list(pool: &PgPool) -> Result<Vec<Stored>, ElevationError> {
    let rows = sqlx::query_as(
        "select name, file_name, columns, rows, west, south, east, north, cell_m, loaded_at from elevation_grid order by name",
    );
    Ok(rows.fetch_all(pool).await?)
}

/// Takes grids away, all that are named or none.
///
/// # Errors
/// A name that none has.
pub async fn remove(pool: &PgPool, names: &[String]) -> Result<(), ElevationError> {
    let mut transaction = pool.begin().await?;
    for name in names {
        let gone = sqlx::query("delete from elevation_grid where name = $1").bind(name);
        if gone.execute(&mut *transaction).await?.rows_affected() == 0 {
            return Err(ElevationError::NoSuchGrid { name: name.clone() });
        }
    }
    Ok(transaction.commit().await?)
}

/// What is known of the ground's height along a trace.
#[derive(Debug)]
pub struct Heights {
    /// The grids that it is from, the finest first; none when none lies about the trace.
    pub from: Vec<Stored>,
    /// Their blocks about the trace, in the same order.
    pub grids: Vec<Grid>,
    /// The profile.
    pub profile: Profile,
}

/// Reads the heights along a trace.
///
/// # Errors
/// A trace longer than [`LONGEST`], or too long for grids as fine as those about it.
pub async fn heights(pool: &PgPool, trace: Trace) -> Result<Heights, ProfileError> {
    if trace.length() > LONGEST {
        return Err(ProfileError::TooLong { length: trace.length() });
    }
    let (from, grids) = about(pool, &trace).await?;
    // A profile may have many places; other requests are not held up.
    let reckoned = tokio::task::spawn_blocking(move || {
        let profile = Profile::new(&trace, &grids)?;
        Ok::<_, craft::ElevationError>((grids, profile))
    });
    let (grids, profile) = reckoned
        .await
        .map_err(|_| StoreError::corrupt("elevation_block", "what could not be reckoned with"))??;
    Ok(Heights { from, grids, profile })
}

/// Tells each crossing foreseen on a trace how high the ground is about it, and what the hills add to the whole; none where no
/// grid lies about it, or grids too fine for its length.
pub(crate) async fn about_crossings(
    pool: &PgPool,
    trace: Trace,
    foreseen: &mut Foreseen,
) -> Result<Option<Surface>, StoreError> {
    match heights(pool, trace.clone()).await {
        Ok(known) if !known.from.is_empty() => {
            foreseen.look_about(&trace, &known.grids);
            Ok(Some(known.profile.surface()))
        }
        Err(ProfileError::Store(error)) => Err(error),
        // What a plan cannot be told of heights does not take the rest of it away.
        Ok(_) | Err(_) => Ok(None),
    }
}

/// The blocks about a trace. Public so that its plan can be looked at. A hundred-thousandth of a degree is more than the map's
/// straight line and the geodesic are apart over a leg of [`LEG_M`].
pub const BLOCKS_QUERY: &str = "
with trace as materialized (select st_setsrid(st_geomfromwkb($1), 4326) as way)
select elevation_grid.id, name, file_name, elevation_grid.columns, elevation_grid.rows, elevation_grid.west,
    elevation_grid.south, elevation_grid.east, elevation_grid.north, cell_m, loaded_at, elevation_block.columns as block_columns,
    elevation_block.rows as block_rows, elevation_block.west as block_west, elevation_block.south as block_south,
    elevation_block.east as block_east, elevation_block.north as block_north, sample, heights
from trace join elevation_block on st_dwithin(ground, way, 0.00001)
    join elevation_grid on elevation_grid.id = elevation_block.grid
order by cell_m, elevation_grid.id desc, part
limit $2";

/// Legs that are longer are divided: the map's straight line then lies on the geodesic within two centimetres.
const LEG_M: f64 = 400.0;

#[derive(sqlx::FromRow)]
struct BlockRow {
    id: i64,
    #[sqlx(flatten)]
    of: Stored,
    block_columns: i16,
    block_rows: i16,
    block_west: f64,
    block_south: f64,
    block_east: f64,
    block_north: f64,
    sample: String,
    heights: Vec<u8>,
}

async fn about(pool: &PgPool, trace: &Trace) -> Result<(Vec<Stored>, Vec<Grid>), ProfileError> {
    let way = Geometry::MultiLineString(way(trace)?)
        .to_wkb(CoordDimensions::xy())
        .map_err(|error| StoreError::corrupt("a trace", error))?;
    let limit = i64::try_from(MOST_BLOCKS + 1).unwrap_or(i64::MAX);
    let mut rows = sqlx::query_as::<_, BlockRow>(BLOCKS_QUERY).bind(way).bind(limit).fetch(pool);
    let (mut from, mut last, mut grids) = (Vec::new(), None, Vec::new());
    while let Some(row) = rows.try_next().await? {
        if grids.len() == MOST_BLOCKS {
            return Err(ProfileError::TooMuchGround);
        }
        grids.push(grid(&row)?);
        if last.replace(row.id) != Some(row.id) {
            from.push(row.of);
        }
    }
    Ok((from, grids))
}

/// The trace as the map draws it, in legs short enough; cut where it passes the 180th meridian.
fn way(trace: &Trace) -> Result<MultiLineString, StoreError> {
    let mut places = vec![trace.start()];
    for (leg, end) in trace.chainages().windows(2).zip(trace.positions().iter().skip(1)) {
        let (from, run) = (leg[0].value(), (leg[1] - leg[0]).value());
        let mut at = LEG_M;
        while at < run {
            places.extend(trace.at(metres("a trace", from + at)?));
            at += LEG_M;
        }
        places.push(*end);
    }
    let legs = places.windows(2).filter(|leg| (leg[0].lon() - leg[1].lon()).abs() < 180.0);
    Ok(MultiLineString(
        legs.map(|leg| LineString::from(vec![(leg[0].lon(), leg[0].lat()), (leg[1].lon(), leg[1].lat())]))
            .collect(),
    ))
}

fn grid(row: &BlockRow) -> Result<Grid, StoreError> {
    const HEIGHTS: &str = "elevation_block.heights";
    let corrupt = |error| StoreError::corrupt(HEIGHTS, error);
    let north_west = position("elevation_block.west", row.block_west, row.block_north)?;
    let south_east = position("elevation_block.east", row.block_east, row.block_south)?;
    let columns =
        usize::try_from(row.block_columns).map_err(|_| StoreError::corrupt(HEIGHTS, row.block_columns))?;
    let rows = usize::try_from(row.block_rows).map_err(|_| StoreError::corrupt(HEIGHTS, row.block_rows))?;
    let known = |height: f64| Metres::new(height).ok();
    match row.sample.as_str() {
        "int16" => {
            let heights = row.heights.as_chunks().0.iter().map(|two| match i16::from_le_bytes(*two) {
                blocks::UNKNOWN => None,
                height => known(height.into()),
            });
            Grid::new(north_west, south_east, columns, rows, heights).map_err(corrupt)
        }
        "float32" => {
            let heights =
                row.heights.as_chunks().0.iter().map(|four| known(f32::from_le_bytes(*four).into()));
            Grid::new(north_west, south_east, columns, rows, heights).map_err(corrupt)
        }
        word => Err(StoreError::corrupt("elevation_block.sample", word)),
    }
}
