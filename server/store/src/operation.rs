//! Operations: one command post's lines over one period.

use chrono::{DateTime, Utc};
use laywire_craft::{ids::OperationId, profile::Profile, text::Name};
use sqlx::{PgConnection, PgPool, types::Json};
use uuid::Uuid;

use crate::StoreError;

/// An operation.
#[derive(Debug, Clone, PartialEq)]
pub struct Operation {
    /// Its id.
    pub id: OperationId,
    /// Its name.
    pub name: Name,
    /// When it was opened.
    pub opened_at: DateTime<Utc>,
    /// The last number given in its wire log.
    pub sequence: i64,
}

type Row = (Uuid, String, DateTime<Utc>, i64);

fn from_row((id, name, opened_at, sequence): Row) -> Result<Operation, StoreError> {
    let name = Name::new(&name).map_err(|_| StoreError::corrupt("operation.name", &name))?;
    Ok(Operation { id: OperationId(id), name, opened_at, sequence })
}

/// Opens an operation under a profile, which holds for all its time.
///
/// # Errors
/// When the database refuses.
pub async fn open(
    pool: &PgPool,
    name: &Name,
    profile: &Profile,
    now: DateTime<Utc>,
) -> Result<OperationId, StoreError> {
    let id = Uuid::now_v7();
    sqlx::query("insert into operation (operation, name, opened_at, profile) values ($1, $2, $3, $4)")
        .bind(id)
        .bind(name.as_str())
        .bind(now)
        .bind(Json(profile))
        .execute(pool)
        .await?;
    Ok(OperationId(id))
}

/// The figures that the operation was opened under.
///
/// # Errors
/// When there is no such operation, or the database does not answer.
pub async fn profile(pool: &PgPool, id: OperationId) -> Result<Profile, StoreError> {
    profile_in(&mut *pool.acquire().await?, id).await
}

pub(crate) async fn profile_in(
    connection: &mut PgConnection,
    id: OperationId,
) -> Result<Profile, StoreError> {
    let row: Option<(Json<Profile>,)> = sqlx::query_as("select profile from operation where operation = $1")
        .bind(id.0)
        .fetch_optional(connection)
        .await?;
    row.map(|(profile,)| profile.0).ok_or(StoreError::NoSuchOperation(id.0))
}

/// The slack of the profile alone: whoever shows a line asks for it, and the feed does so all day.
///
/// # Errors
/// When there is no such operation, or the database does not answer.
pub async fn slack_percent(pool: &PgPool, id: OperationId) -> Result<u8, StoreError> {
    let row: Option<(i32,)> = sqlx::query_as(
        "select (profile #> '{wire,slack,percent}')::int4 from operation where operation = $1",
    )
    .bind(id.0)
    .fetch_optional(pool)
    .await?;
    let (percent,) = row.ok_or(StoreError::NoSuchOperation(id.0))?;
    u8::try_from(percent).map_err(|_| StoreError::corrupt("operation.profile", percent))
}

/// Holds the operation's counter row to the end of the transaction: nobody adds to its log meanwhile. Gives the last
/// number in the log, and the figures that its reports are judged by.
pub(crate) async fn hold(
    connection: &mut PgConnection,
    id: OperationId,
) -> Result<(i64, Profile), StoreError> {
    let row: Option<(i64, Json<Profile>)> =
        sqlx::query_as("select sequence, profile from operation where operation = $1 for update")
            .bind(id.0)
            .fetch_optional(connection)
            .await?;
    row.map(|(sequence, profile)| (sequence, profile.0)).ok_or(StoreError::NoSuchOperation(id.0))
}

/// The operation, if there is one.
///
/// # Errors
/// When the database does not answer.
pub async fn get(pool: &PgPool, id: OperationId) -> Result<Option<Operation>, StoreError> {
    sqlx::query_as::<_, Row>(
        "select operation, name, opened_at, sequence from operation where operation = $1",
    )
    .bind(id.0)
    .fetch_optional(pool)
    .await?
    .map(from_row)
    .transpose()
}

/// Every operation, the oldest first.
///
/// # Errors
/// When the database does not answer.
pub async fn all(pool: &PgPool) -> Result<Vec<Operation>, StoreError> {
    sqlx::query_as::<_, Row>(
        "select operation, name, opened_at, sequence from operation order by opened_at, operation",
    )
    .fetch_all(pool)
    .await?
    .into_iter()
    .map(from_row)
    .collect()
}
