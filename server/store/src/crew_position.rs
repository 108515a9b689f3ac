//! Where the crews that share it were last. One row a pass, written over and outside the wire log: nothing is decided by
//! it and nothing of it is kept when its time is up. It never says who may see it; the service does.

use chrono::{DateTime, TimeDelta, Utc};
use laywire_craft::{
    geodesy::Position,
    ids::{OperationId, PassId},
    party::Sender,
    units::Metres,
};
use sqlx::PgPool;
use uuid::Uuid;

use crate::{
    StoreError,
    pass::{Pass, sender},
};

/// A pass writes no oftener than this. Our own choice: a walker is 14 m farther by then.
pub const OFTENEST: TimeDelta = TimeDelta::seconds(10);

/// Where a crew was last.
#[derive(Debug, Clone, PartialEq)]
pub struct CrewPosition {
    /// Its pass: a team with two devices is in two places.
    pub pass: PassId,
    /// Who it is.
    pub holder: Sender,
    /// Where it was.
    pub position: Position,
    /// How well that was known; not, where somebody said it by hand.
    pub accuracy: Option<Metres>,
    /// When.
    pub at: DateTime<Utc>,
    /// Until when it is shared.
    pub until: DateTime<Utc>,
}

type Row = (Uuid, String, String, f64, f64, Option<f64>, DateTime<Utc>, DateTime<Utc>);

fn from_row((pass, party, team, lon, lat, accuracy, at, until): Row) -> Result<CrewPosition, StoreError> {
    Ok(CrewPosition {
        pass: PassId(pass),
        holder: sender(&party, &team)?,
        position: Position::new(lon, lat)
            .map_err(|_| StoreError::corrupt("crew_position.longitude", (lon, lat)))?,
        accuracy: accuracy
            .map(|m| Metres::new(m).map_err(|_| StoreError::corrupt("crew_position.accuracy_m", m)))
            .transpose()?,
        at,
        until,
    })
}

/// Writes where the holder of a pass is, and tells every process. False when the pass wrote less than [`OFTENEST`] ago.
///
/// # Errors
/// When the database does not answer.
pub async fn share(
    pool: &PgPool,
    pass: &Pass,
    position: Position,
    accuracy: Option<Metres>,
    now: DateTime<Utc>,
    until: DateTime<Utc>,
) -> Result<bool, StoreError> {
    let mut tx = pool.begin().await?;
    let written = sqlx::query(
        "insert into crew_position (operation, pass, longitude, latitude, accuracy_m, at, until)
         values ($1, $2, $3, $4, $5, $6, $7)
         on conflict on constraint crew_position_pkey do update set longitude = excluded.longitude,
             latitude = excluded.latitude, accuracy_m = excluded.accuracy_m, at = excluded.at, until = excluded.until
         where crew_position.at <= $8",
    )
    .bind(pass.operation.0)
    .bind(pass.id.0)
    .bind(position.lon())
    .bind(position.lat())
    .bind(accuracy.map(Metres::value))
    .bind(now)
    .bind(until)
    .bind(now - OFTENEST)
    .execute(&mut *tx)
    .await?
    .rows_affected()
        > 0;
    if written {
        tell(&mut tx, pass).await?;
    }
    tx.commit().await?;
    Ok(written)
}

/// The holder of a pass shares no more: the position is forgotten, and every process is told.
///
/// # Errors
/// When the database does not answer.
pub async fn stop(pool: &PgPool, pass: &Pass, now: DateTime<Utc>) -> Result<(), StoreError> {
    let mut tx = pool.begin().await?;
    let stopped = sqlx::query(
        "update crew_position set longitude = null, latitude = null, accuracy_m = null, until = $3
         where operation = $1 and pass = $2 and longitude is not null",
    )
    .bind(pass.operation.0)
    .bind(pass.id.0)
    .bind(now)
    .execute(&mut *tx)
    .await?;
    if stopped.rows_affected() > 0 {
        tell(&mut tx, pass).await?;
    }
    tx.commit().await?;
    Ok(())
}

async fn tell(tx: &mut sqlx::PgTransaction<'_>, pass: &Pass) -> Result<(), StoreError> {
    sqlx::query("select pg_notify('laywire_position', $1)")
        .bind(format!("{}:{}", pass.operation, pass.id))
        .execute(&mut **tx)
        .await?;
    Ok(())
}

/// What is shared in an operation now, by call sign; of one pass alone when it is named.
///
/// # Errors
/// When the database does not answer.
pub async fn shared(
    pool: &PgPool,
    operation: OperationId,
    only: Option<PassId>,
    now: DateTime<Utc>,
) -> Result<Vec<CrewPosition>, StoreError> {
    sqlx::query_as::<_, Row>(
        "select c.pass, p.party, p.team, c.longitude, c.latitude, c.accuracy_m, c.at, c.until
         from crew_position c join pass p on p.operation = c.operation and p.id = c.pass
         where c.operation = $1 and ($2::uuid is null or c.pass = $2) and c.longitude is not null and c.until > $3
             and p.revoked_at is null
         order by p.team, c.pass",
    )
    .bind(operation.0)
    .bind(only.map(|pass| pass.0))
    .bind(now)
    .fetch_all(pool)
    .await?
    .into_iter()
    .map(from_row)
    .collect()
}

/// Forgets every position whose time is up or whose pass was revoked, in all operations.
///
/// # Errors
/// When the database does not answer.
pub async fn forget_old(pool: &PgPool, now: DateTime<Utc>) -> Result<u64, StoreError> {
    let forgotten = sqlx::query(
        "delete from crew_position c using pass p where p.operation = c.operation and p.id = c.pass
             and (c.until <= $1 or p.revoked_at <= $1)",
    )
    .bind(now - OFTENEST)
    .execute(pool)
    .await?;
    Ok(forgotten.rows_affected())
}
