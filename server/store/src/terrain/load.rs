//! Loads an extract as the terrain: rows are copied into tables beside the served ones, indexed there, and the names
//! swapped, all in one transaction. It never writes to a served table, so readers are not held up but for the swap
//! itself, and a load that fails at any point leaves the old terrain as it was.

use std::path::Path;

use sqlx::{Executor as _, PgConnection, PgPool, Postgres, Transaction};
use tokio::sync::mpsc;

use super::extract::{self, Header, Piece, Table};
use super::{ATTRIBUTION, TerrainError};

/// How far a load is.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Progress {
    /// What is being done.
    pub stage: Stage,
    /// How much of it is done: bytes of the file while it is read, steps while the database works.
    pub done: u64,
    /// How much there is to do.
    pub total: u64,
}

/// The stages of a load, in their order.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Stage {
    /// Taking the file's checksum.
    Checksum,
    /// Looking for lakes and woods of several parts.
    Relations,
    /// Looking for roads, railways, waters and power lines.
    Ways,
    /// Looking for where those are.
    Nodes,
    /// Copying them into the database.
    Geometry,
    /// Making areas of their boundaries, and indexes.
    Database,
}

/// What a load has brought in.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Loaded {
    /// Stretches of road, railway, stream, power line and coast.
    pub lines: u64,
    /// Waters and woods.
    pub areas: u64,
    /// Named places.
    pub places: u64,
    /// Waters and woods left out because their boundary does not close within the extract.
    pub open_areas: u64,
}

/// The number of the advisory lock that one load at a time holds. Any number will do, as long as nothing else uses it.
const LOCK: i64 = 0x7465_7272_6169_6e00;

/// The new tables are made as the migration made the served ones, but for the indexes, which are quicker to build over
/// rows than to grow with them.
const CREATE: &str = "
create table terrain_area_next (like terrain_area including all excluding indexes);
create table terrain_line_next (like terrain_line including all excluding indexes);
create table terrain_place_next (like terrain_place including all excluding indexes);
create table terrain_spot_next (like terrain_spot including all excluding indexes);
create temporary table terrain_outline (element text, element_id bigint, kind text, class text, name text)
    on commit drop;
create temporary table terrain_edge (
    element text, element_id bigint, inner_ring boolean, ground geometry(linestring, 4326)
) on commit drop;";

/// Rings are put together by PostGIS: what the outer edges enclose, less what the inner ones do. The union before it
/// lets rings touch and lets an edge be shared. Edges that do not close enclose nothing. An area is drawn from the zoom
/// at which it covers 8 by 8 pixels of a tile drawn 512 pixels wide; a wood not before zoom 9.
const ASSEMBLE: &str = "
insert into terrain_area_next (element, element_id, kind, class, name, from_zoom, ground)
with ring as (
    select element, element_id,
        st_buildarea(st_unaryunion(st_collect(ground) filter (where not inner_ring))) as around,
        st_buildarea(st_unaryunion(st_collect(ground) filter (where inner_ring))) as within
    from terrain_edge group by element, element_id
),
assembled as (
    select element, element_id,
        st_multi(case when within is null then around else st_collectionextract(st_difference(around, within), 3) end)
            as ground
    from ring where around is not null
)
select element, element_id, kind, class, name,
    least(13, greatest(case kind when 'wood' then 9 else 5 end,
        ceil(log(2, (8 * 40075016.6855785 / 512 / sqrt(st_area(st_transform(ground, 3857))))::numeric)))),
    ground
from assembled join terrain_outline using (element, element_id)
where not st_isempty(ground)";

/// Each step with its own statements, so that progress can be told between them.
const INDEX: [&str; 4] = [
    "alter table terrain_area_next add constraint terrain_area_next_pkey primary key (element, element_id);
    create index terrain_area_next_shape on terrain_area_next using gist (shape);
    create index terrain_area_next_ground on terrain_area_next using gist (ground);
    analyze terrain_area_next;",
    "alter table terrain_line_next add constraint terrain_line_next_pkey primary key (way_id, kind, part);
    create index terrain_line_next_shape on terrain_line_next using gist (shape);
    create index terrain_line_next_ground on terrain_line_next using gist (ground);
    create index terrain_line_next_coast on terrain_line_next using gist (ground) where kind = 'coast';
    analyze terrain_line_next;",
    "alter table terrain_place_next add constraint terrain_place_next_pkey primary key (node_id);
    create index terrain_place_next_shape on terrain_place_next using gist (shape);
    analyze terrain_place_next;",
    "alter table terrain_spot_next add constraint terrain_spot_next_pkey primary key (node_id);
    create index terrain_spot_next_ground on terrain_spot_next using gist (ground);
    analyze terrain_spot_next;",
];

/// Readers name the tables in alphabetical order, and so does the lock.
const SWAP: &str = "
lock table terrain_area, terrain_line, terrain_place, terrain_spot in access exclusive mode;
drop table terrain_area, terrain_line, terrain_place, terrain_spot;
alter table terrain_area_next rename to terrain_area;
alter table terrain_area rename constraint terrain_area_next_pkey to terrain_area_pkey;
alter index terrain_area_next_shape rename to terrain_area_shape;
alter index terrain_area_next_ground rename to terrain_area_ground;
alter table terrain_line_next rename to terrain_line;
alter table terrain_line rename constraint terrain_line_next_pkey to terrain_line_pkey;
alter index terrain_line_next_shape rename to terrain_line_shape;
alter index terrain_line_next_ground rename to terrain_line_ground;
alter index terrain_line_next_coast rename to terrain_line_coast;
alter table terrain_place_next rename to terrain_place;
alter table terrain_place rename constraint terrain_place_next_pkey to terrain_place_pkey;
alter index terrain_place_next_shape rename to terrain_place_shape;
alter table terrain_spot_next rename to terrain_spot;
alter table terrain_spot rename constraint terrain_spot_next_pkey to terrain_spot_pkey;
alter index terrain_spot_next_ground rename to terrain_spot_ground;";

/// The box of roads and paths, or of whatever else there is where no road is.
const RECORD: &str = "
insert into terrain_extract (file_name, sha256, mapped_at, attribution, land)
select $1, $2, $3, $4, st_envelope(st_buffer(st_setsrid(coalesce(
    (select st_extent(ground) from terrain_line_next where kind in ('main_highway', 'road', 'dirt_road', 'path')),
    (select st_extent(ground) from terrain_line_next),
    (select st_extent(ground) from terrain_area_next),
    (select st_extent(ground) from terrain_place_next)
)::geometry, 4326), 1e-7))";

/// Replaces the terrain by what an OpenStreetMap extract holds, and says how far it is as it goes.
///
/// # Errors
/// Whatever is wrong with the file or the database, the old terrain stands. Only one load runs at a time.
pub async fn load(
    pool: &PgPool,
    file: &Path,
    on_progress: impl FnMut(Progress),
) -> Result<Loaded, TerrainError> {
    let mut next = None;
    let outcome = fill(pool, &mut next, file, on_progress).await;
    match (next, outcome) {
        (Some(transaction), Ok(loaded)) => {
            transaction.commit().await?;
            Ok(loaded)
        }
        (Some(transaction), Err(error)) => {
            // Waited for, so that whoever tries again at once does not meet this load's lock. Why the load failed is
            // the better answer than that the connection then broke as well.
            drop(transaction.rollback().await);
            Err(error)
        }
        (None, outcome) => outcome,
    }
}

/// Reads the file and fills the new tables, in a transaction that starts with the first rows: it is not held open over
/// most of the reading.
async fn fill(
    pool: &PgPool,
    next: &mut Option<Transaction<'static, Postgres>>,
    file: &Path,
    mut on_progress: impl FnMut(Progress),
) -> Result<Loaded, TerrainError> {
    // Few pieces wait at once: a slow database slows the reading, it does not fill the memory.
    let (to, mut from) = mpsc::channel(4);
    let path = file.to_owned();
    let reading = tokio::task::spawn_blocking(move || extract::read(&path, &to));
    while let Some(piece) = from.recv().await {
        match piece {
            Piece::Progress(progress) => on_progress(progress),
            Piece::Rows(table, rows) => {
                if next.is_none() {
                    prepare(next.insert(pool.begin().await?)).await?;
                }
                if let Some(transaction) = next {
                    copy(transaction, table, &rows).await?;
                }
            }
        }
    }
    // The reading library checks no arithmetic of its own: deltas that overflow end as a panic in a debug build.
    let header = reading.await.map_err(|_| TerrainError::Nonsense)??;
    let transaction = next.as_mut().ok_or(TerrainError::NothingKept)?;
    finish(transaction, file, &header, on_progress).await
}

async fn prepare(connection: &mut PgConnection) -> Result<(), TerrainError> {
    let alone: bool = sqlx::query_scalar("select pg_try_advisory_xact_lock($1)")
        .bind(LOCK)
        .fetch_one(&mut *connection)
        .await?;
    if !alone {
        return Err(TerrainError::LoadUnderWay);
    }
    connection.execute(CREATE).await?;
    Ok(())
}

async fn copy(connection: &mut PgConnection, table: Table, rows: &[u8]) -> Result<(), TerrainError> {
    let statement = match table {
        Table::Line => {
            "copy terrain_line_next (way_id, part, kind, class, from_zoom, name, ref, structure, surface, layer, width_m,
                lanes, one_way, voltage_v, ground)
            from stdin (format binary)"
        }
        Table::Place => {
            "copy terrain_place_next (node_id, kind, name, rank, from_zoom, ground) from stdin (format binary)"
        }
        Table::Spot => "copy terrain_spot_next (node_id, kind, ground) from stdin (format binary)",
        Table::Outline => {
            "copy terrain_outline (element, element_id, kind, class, name) from stdin (format binary)"
        }
        Table::Edge => {
            "copy terrain_edge (element, element_id, inner_ring, ground) from stdin (format binary)"
        }
    };
    let mut copy = connection.copy_in_raw(statement).await?;
    copy.send(rows).await?;
    copy.finish().await?;
    Ok(())
}

async fn finish(
    connection: &mut PgConnection,
    file: &Path,
    header: &Header,
    mut on_progress: impl FnMut(Progress),
) -> Result<Loaded, TerrainError> {
    let total = INDEX.len() as u64 + 2;
    let mut step = (0..).map(|done| on_progress(Progress { stage: Stage::Database, done, total }));

    step.next();
    let areas = sqlx::query(ASSEMBLE).execute(&mut *connection).await?.rows_affected();
    let (outlines, lines, places): (i64, i64, i64) = sqlx::query_as(
        "select (select count(*) from terrain_outline), (select count(*) from terrain_line_next),
            (select count(*) from terrain_place_next)",
    )
    .fetch_one(&mut *connection)
    .await?;
    let loaded = Loaded {
        lines: lines.unsigned_abs(),
        areas,
        places: places.unsigned_abs(),
        open_areas: outlines.unsigned_abs().saturating_sub(areas),
    };
    if loaded.lines + loaded.areas + loaded.places == 0 {
        return Err(TerrainError::NothingKept);
    }
    for statements in INDEX {
        step.next();
        connection.execute(statements).await.map_err(repeated)?;
    }
    step.next();
    sqlx::query("delete from terrain_extract").execute(&mut *connection).await?;
    sqlx::query(RECORD)
        .bind(file.file_name().map(|name| name.to_string_lossy().into_owned()).unwrap_or_default())
        .bind(&header.sha256)
        .bind(header.mapped_at)
        .bind(ATTRIBUTION)
        .execute(&mut *connection)
        .await?;
    connection.execute(SWAP).await?;
    step.next();
    Ok(loaded)
}

/// A primary key that cannot be made means that the extract holds something twice.
fn repeated(error: sqlx::Error) -> TerrainError {
    let twice = error.as_database_error().is_some_and(sqlx::error::DatabaseError::is_unique_violation);
    if twice { TerrainError::Repeated } else { TerrainError::Database(error) }
}
