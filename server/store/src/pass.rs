//! Passes: who may come in. The secret never comes here, only its SHA-256.

use chrono::{DateTime, Utc};
use laywire_craft::{
    ids::{OperationId, PassId},
    party::{Party, Sender},
    text::Name,
};
use sqlx::{PgConnection, PgPool};
use uuid::Uuid;

use crate::{StoreError, error::named};

/// The SHA-256 of a pass's secret.
pub type SecretHash = [u8; 32];

/// A pass, without its secret.
#[derive(Debug, Clone, PartialEq)]
pub struct Pass {
    /// Its public name.
    pub id: PassId,
    /// The operation that it lets into.
    pub operation: OperationId,
    /// Whose it is.
    pub holder: Sender,
    /// When it was given.
    pub given_at: DateTime<Utc>,
    /// When it was revoked.
    pub revoked_at: Option<DateTime<Utc>>,
}

type Row = (Uuid, Uuid, String, String, DateTime<Utc>, Option<DateTime<Utc>>);

fn from_row((operation, id, party, team, given_at, revoked_at): Row) -> Result<Pass, StoreError> {
    Ok(Pass {
        id: PassId(id),
        operation: OperationId(operation),
        holder: sender(&party, &team)?,
        given_at,
        revoked_at,
    })
}

pub(crate) fn sender(party: &str, team: &str) -> Result<Sender, StoreError> {
    Ok(Sender {
        party: named("party", &Party::ALL, Party::as_str, party)?,
        team: Name::new(team).map_err(|_| StoreError::corrupt("team", team))?,
    })
}

/// Keeps a new pass. A team may have several, one a device; a call sign belongs to one party.
///
/// # Errors
/// When the operation does not exist, the call sign is another party's, or the database refuses.
pub async fn give(
    pool: &PgPool,
    operation: OperationId,
    holder: &Sender,
    secret: &SecretHash,
    now: DateTime<Utc>,
) -> Result<Pass, StoreError> {
    let id = Uuid::now_v7();
    let given = sqlx::query(
        "insert into pass (operation, id, party, team, secret_sha256, given_at)
         select operation, $2, $3, $4, $5, $6 from operation where operation = $1 and not exists (
             select from pass where operation = $1 and team = $4 and party <> $3 and revoked_at is null)",
    )
    .bind(operation.0)
    .bind(id)
    .bind(holder.party.as_str())
    .bind(holder.team.as_str())
    .bind(&secret[..])
    .bind(now)
    .execute(pool)
    .await?;
    if given.rows_affected() == 0 {
        // What a team has in hand is known by its call sign alone.
        return Err(match crate::operation::get(pool, operation).await? {
            Some(_) => StoreError::CallSignInUse { team: holder.team.to_string() },
            None => StoreError::NoSuchOperation(operation.0),
        });
    }
    Ok(Pass { id: PassId(id), operation, holder: holder.clone(), given_at: now, revoked_at: None })
}

/// The pass with this secret, unless it was revoked.
///
/// # Errors
/// When the database does not answer.
pub async fn with_secret(pool: &PgPool, secret: &SecretHash) -> Result<Option<Pass>, StoreError> {
    sqlx::query_as::<_, Row>(
        "select operation, id, party, team, given_at, revoked_at from pass
         where secret_sha256 = $1 and revoked_at is null",
    )
    .bind(&secret[..])
    .fetch_optional(pool)
    .await?
    .map(from_row)
    .transpose()
}

/// Whether the pass is there and was not revoked.
///
/// # Errors
/// When the database does not answer.
pub async fn holds(pool: &PgPool, operation: OperationId, id: PassId) -> Result<bool, StoreError> {
    let holds: Option<bool> =
        sqlx::query_scalar("select revoked_at is null from pass where operation = $1 and id = $2")
            .bind(operation.0)
            .bind(id.0)
            .fetch_optional(pool)
            .await?;
    Ok(holds.unwrap_or(false))
}

/// Whether the team has or had a pass: one that was revoked counts, since its device may have been lost.
pub(crate) async fn ever_given(
    connection: &mut PgConnection,
    operation: OperationId,
    holder: &Sender,
) -> Result<bool, StoreError> {
    Ok(sqlx::query_scalar(
        "select exists (select from pass where operation = $1 and party = $2 and team = $3)",
    )
    .bind(operation.0)
    .bind(holder.party.as_str())
    .bind(holder.team.as_str())
    .fetch_one(connection)
    .await?)
}

/// Every pass of an operation, the oldest first.
///
/// # Errors
/// When the database does not answer.
pub async fn all(pool: &PgPool, operation: OperationId) -> Result<Vec<Pass>, StoreError> {
    sqlx::query_as::<_, Row>(
        "select operation, id, party, team, given_at, revoked_at from pass where operation = $1 order by given_at, id",
    )
    .bind(operation.0)
    .fetch_all(pool)
    .await?
    .into_iter()
    .map(from_row)
    .collect()
}

/// Revokes a pass, and tells every process on the database. False when there is no such pass.
///
/// # Errors
/// When the database does not answer.
pub async fn revoke(
    pool: &PgPool,
    operation: OperationId,
    id: PassId,
    now: DateTime<Utc>,
) -> Result<bool, StoreError> {
    let mut tx = pool.begin().await?;
    let done =
        sqlx::query("update pass set revoked_at = coalesce(revoked_at, $3) where operation = $1 and id = $2")
            .bind(operation.0)
            .bind(id.0)
            .bind(now)
            .execute(&mut *tx)
            .await?;
    sqlx::query("select pg_notify('laywire_pass', $1)").bind(id.to_string()).execute(&mut *tx).await?;
    tx.commit().await?;
    Ok(done.rows_affected() > 0)
}
