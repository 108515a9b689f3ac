//! Operations: one command post's lines over one period.

use chrono::{DateTime, Utc};
use laywire_craft::{ids::OperationId, text::Name};
use sqlx::PgPool;
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

/// Opens an operation.
///
/// # Errors
/// When the database refuses.
pub async fn open(pool: &PgPool, name: &Name, now: DateTime<Utc>) -> Result<OperationId, StoreError> {
    let id = Uuid::now_v7();
    sqlx::query("insert into operation (operation, name, opened_at) values ($1, $2, $3)")
        .bind(id)
        .bind(name.as_str())
        .bind(now)
        .execute(pool)
        .await?;
    Ok(OperationId(id))
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
