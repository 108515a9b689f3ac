//! All the SQL: operations, passes, the wire log and the state that it adds up to, the queue, where crews are, the terrain, and the
//! private database. It knows no status code and decides no rule of the trade: what may stand is asked of
//! `laywire-craft`, inside the transaction that writes it.

pub mod crew_position;
mod crossing;
pub mod elevation;
mod error;
pub mod features;
pub mod foreseen;
mod line;
pub mod listener;
pub mod log;
pub mod operation;
pub mod pass;
pub mod plan;
pub mod private_cluster;
pub mod queue;
pub mod rebuild;
pub mod review;
pub mod road;
pub mod terrain;

pub use crossing::{crossings, unfinished};
pub use error::StoreError;
pub use line::{ends_of_others, line_with_crossings, lines};
pub use sqlx::{PgPool, postgres::PgConnectOptions};

use sqlx::postgres::PgPoolOptions;

/// A row of the state tables, and the entry that changed it last.
#[derive(Debug, Clone, PartialEq)]
pub struct Current<T> {
    /// The line or crossing.
    pub now: T,
    /// The number of the entry that changed it last.
    pub changed: i64,
}

static MIGRATIONS: sqlx::migrate::Migrator = sqlx::migrate!("../../migrations");

/// Opens a pool of at most `connections` and brings the schema up to date. Processes that start together wait for each
/// other: the migrations run under an advisory lock.
///
/// # Errors
/// When the database does not answer or a migration fails.
pub async fn open(options: PgConnectOptions, connections: u32) -> Result<PgPool, StoreError> {
    let pool = PgPoolOptions::new()
        .max_connections(connections)
        .acquire_timeout(std::time::Duration::from_secs(10))
        .connect_with(options)
        .await?;
    MIGRATIONS.run(&pool).await.map_err(|e| StoreError::Migration(e.to_string()))?;
    Ok(pool)
}

/// The versions of the database and of its PostGIS.
///
/// # Errors
/// When the database does not answer.
pub async fn versions(pool: &PgPool) -> Result<(String, String), StoreError> {
    let row: (String, String) =
        sqlx::query_as("select current_setting('server_version'), postgis_lib_version()")
            .fetch_one(pool)
            .await?;
    Ok(row)
}
