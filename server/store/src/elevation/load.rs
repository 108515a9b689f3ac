//! Loads files of heights: all of them in one transaction, or none. A file is read on a thread of its own and handed on block
//! by block, few of which wait at once.

use std::fs::{self, File};
use std::io::{BufReader, Read as _, Seek as _};
use std::path::{Path, PathBuf};

use sqlx::{PgConnection, PgPool, Postgres, Transaction};
use tokio::sync::mpsc::{self, Sender};

use super::blocks::{Block, Frame};
use super::geotiff::GeoTiff;
use super::{ElevationError, Fault, MOST_GRIDS, hgt};

/// How far a load is.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Progress {
    /// Which file, from 0.
    pub file: usize,
    /// Rows of it that are stored.
    pub done: u32,
    /// Rows that it has.
    pub total: u32,
}

/// A grid that was loaded.
#[derive(Clone, Debug, PartialEq)]
pub struct Loaded {
    /// Its name.
    pub name: String,
    /// Posts from west to east.
    pub columns: u32,
    /// Posts from north to south.
    pub rows: u32,
    /// The shorter side of a cell in its middle, in metres.
    pub cell_m: f64,
    /// Whether it took the place of one that was there.
    pub replaced: bool,
}

/// What a file is read as, in this order: one frame, then blocks and how many rows have come.
#[derive(Debug)]
pub(super) enum Piece {
    Frame(Frame),
    Block(Block),
    Rows(u32),
}

/// The number of the advisory lock that one load at a time holds. Any number will do, as long as nothing else uses it.
const LOCK: i64 = 0x656c_6576_6174_0000;

/// Loads grids from HGT tiles and GeoTIFF files, and says how far it is as it goes. One of the same name as another takes its
/// place.
///
/// # Errors
/// Whatever is wrong with a file or the database, everything stays as it was. Only one load runs at a time.
pub async fn load(
    pool: &PgPool,
    files: &[PathBuf],
    on_progress: impl FnMut(Progress),
) -> Result<Vec<Loaded>, ElevationError> {
    let mut transaction = pool.begin().await?;
    match fill(&mut transaction, files, on_progress).await {
        Ok(loaded) => {
            transaction.commit().await?;
            Ok(loaded)
        }
        Err(error) => {
            // Waited for, so that whoever tries again at once does not meet this load's lock. Why the load failed is the
            // better answer than that the connection then broke as well.
            drop(transaction.rollback().await);
            Err(error)
        }
    }
}

async fn fill(
    transaction: &mut Transaction<'_, Postgres>,
    files: &[PathBuf],
    mut on_progress: impl FnMut(Progress),
) -> Result<Vec<Loaded>, ElevationError> {
    let alone: bool = sqlx::query_scalar("select pg_try_advisory_xact_lock($1)")
        .bind(LOCK)
        .fetch_one(&mut **transaction)
        .await?;
    if !alone {
        return Err(ElevationError::LoadUnderWay);
    }
    let mut loaded: Vec<Loaded> = Vec::with_capacity(files.len());
    for (number, file) in files.iter().enumerate() {
        let wrong = |fault| ElevationError::File { file: file.clone(), fault };
        let (to, mut from) = mpsc::channel(8);
        let path = file.clone();
        let reading = tokio::task::spawn_blocking(move || read(&path, &to));
        let mut grid = None;
        while let Some(piece) = from.recv().await {
            match piece {
                Piece::Frame(frame) => {
                    if loaded.iter().any(|before| before.name == frame.name) {
                        return Err(wrong(Fault::Twice(frame.name)));
                    }
                    let (id, replaced) = begin(transaction, file, &frame).await?;
                    let Frame { name, columns, rows, sample, cell_m, .. } = frame;
                    loaded.push(Loaded { name, columns, rows, cell_m, replaced });
                    grid = Some((id, sample.as_str(), rows));
                }
                Piece::Block(block) => {
                    if let Some((id, sample, _)) = grid {
                        store(transaction, id, sample, block).await?;
                    }
                }
                Piece::Rows(done) => {
                    if let Some((.., total)) = grid {
                        on_progress(Progress { file: number, done, total });
                    }
                }
            }
        }
        // The reading library checks not all of its arithmetic: what overflows ends as a panic in a debug build.
        let outcome = reading
            .await
            .map_err(|_| wrong(Fault::Damaged("it holds numbers that no grid has".to_owned())))?;
        outcome.map_err(wrong)?;
    }
    let there: i64 =
        sqlx::query_scalar("select count(*) from elevation_grid").fetch_one(&mut **transaction).await?;
    if there > MOST_GRIDS {
        return Err(ElevationError::TooMany { there });
    }
    Ok(loaded)
}

async fn begin(
    connection: &mut PgConnection,
    file: &Path,
    frame: &Frame,
) -> Result<(i64, bool), sqlx::Error> {
    let gone = sqlx::query("delete from elevation_grid where name = $1")
        .bind(&frame.name)
        .execute(&mut *connection)
        .await?;
    let id = sqlx::query_scalar(
        "insert into elevation_grid (name, file_name, columns, rows, west, south, east, north, cell_m)
        values ($1, $2, $3, $4, $5, $6, $7, $8, $9) returning id",
    )
    .bind(&frame.name)
    .bind(file.file_name().map(|name| name.to_string_lossy().into_owned()).unwrap_or_default())
    .bind(i64::from(frame.columns))
    .bind(i64::from(frame.rows))
    .bind(frame.west)
    .bind(frame.south)
    .bind(frame.east)
    .bind(frame.north)
    .bind(frame.cell_m)
    .fetch_one(connection)
    .await?;
    Ok((id, gone.rows_affected() > 0))
}

async fn store(
    connection: &mut PgConnection,
    grid: i64,
    sample: &'static str,
    block: Block,
) -> Result<(), sqlx::Error> {
    sqlx::query(
        "insert into elevation_block (grid, part, columns, rows, west, south, east, north, sample, heights)
        values ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10)",
    )
    .bind(grid)
    .bind(block.part)
    .bind(block.columns)
    .bind(block.rows)
    .bind(block.west)
    .bind(block.south)
    .bind(block.east)
    .bind(block.north)
    .bind(sample)
    .bind(block.heights)
    .execute(connection)
    .await?;
    Ok(())
}

/// Reads a file and hands on its frame and its blocks.
fn read(path: &Path, to: &Sender<Piece>) -> Result<(), Fault> {
    let unreadable = |error: std::io::Error| Fault::Unreadable(error.to_string());
    // Asked before it is opened: to open a pipe would wait for somebody to write into it.
    let about = fs::metadata(path).map_err(unreadable)?;
    if !about.is_file() {
        return Err(Fault::NotAFile);
    }
    let stem = path.file_stem().and_then(|stem| stem.to_str()).ok_or(Fault::Name)?;
    if stem.is_empty() || stem.chars().count() > 100 || stem.chars().any(char::is_control) {
        return Err(Fault::Name);
    }
    let mut file = BufReader::new(File::open(path).map_err(unreadable)?);
    let mut start = Vec::new();
    file.by_ref().take(4).read_to_end(&mut start).map_err(unreadable)?;
    file.rewind().map_err(unreadable)?;
    let send = |frame: &Frame| {
        to.blocking_send(Piece::Frame(frame.clone()))
            .map_err(|_| Fault::Unreadable("the load was abandoned".to_owned()))
    };
    let ending = path.extension().and_then(|ending| ending.to_str()).unwrap_or_default().to_ascii_lowercase();
    match (start.as_slice(), ending.as_str()) {
        // By its ending first: a tile begins with heights, and these may be any four bytes.
        (_, "hgt") => {
            let frame = hgt::frame(stem, about.len())?;
            send(&frame)?;
            hgt::read(&mut file, &frame, to)
        }
        (b"II*\0" | b"MM\0*" | b"II+\0" | b"MM\0+", _) => {
            let mut grid = GeoTiff::open(file, about.len(), stem)?;
            send(&grid.frame)?;
            grid.read(to)
        }
        ([b'P', b'K', 3, 4], _) => Err(Fault::Packed("a zip")),
        ([0x1f, 0x8b, ..], _) => Err(Fault::Packed("gzip")),
        (_, "tif" | "tiff") => Err(Fault::Damaged("it does not begin as a TIFF does".to_owned())),
        _ => Err(Fault::NotAGrid),
    }
}
