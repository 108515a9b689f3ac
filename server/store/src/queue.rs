//! The queue: unfinished crossings, nearest first from where the follow-up team stands. The nearest are taken by the
//! index, on the sphere; what is shown and ordered is measured on the ellipsoid.

use laywire_craft::{
    crossing::Crossing,
    geodesy::Position,
    ids::{LineId, OperationId},
    line::Designation,
    units::Metres,
};
use sqlx::{FromRow, PgPool};

use crate::{
    Current, StoreError,
    crossing::{Row as CrossingRow, crossing_columns},
    line::metres,
};

/// By what the queue is ordered.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Order {
    /// By distance over the ground.
    Near,
    /// By distance along the line that the team stands at, or along the one that is named.
    Along,
    /// Wire in traffic first, then by distance over the ground.
    Hazard,
}

/// One crossing that waits.
#[derive(Debug, Clone, PartialEq)]
pub struct Waiting {
    /// The crossing.
    pub crossing: Crossing,
    /// The number of the entry that changed it last.
    pub changed: i64,
    /// The number of its line.
    pub designation: Designation,
    /// How far it is, in the order's own measure.
    pub distance: Metres,
}

/// Most crossings that one call answers.
pub const MOST: u16 = 100;

#[derive(FromRow)]
struct Row {
    #[sqlx(flatten)]
    crossing: CrossingRow,
    designation: String,
    distance_m: f64,
}

impl TryFrom<Row> for Waiting {
    type Error = StoreError;

    fn try_from(row: Row) -> Result<Self, StoreError> {
        let Current { now: crossing, changed } = Current::try_from(row.crossing)?;
        Ok(Self {
            crossing,
            changed,
            designation: Designation::new(&row.designation)
                .map_err(|_| StoreError::corrupt("line.designation", &row.designation))?,
            distance: metres("distance_m", row.distance_m)?,
        })
    }
}

/// The nearest by the index are more than are asked for, because the sphere's order is not quite the ellipsoid's.
const SPARE: i64 = 40;

macro_rules! nearest {
    ($condition:literal) => {
        concat!(
            "select ",
            crossing_columns!(),
            ", designation, distance_m from (
                 select c.*, l.designation, ST_Distance(c.position, ST_MakePoint($2, $3)::geography) as distance_m
                 from (
                     select * from crossing where operation = $1 and ",
            $condition,
            " order by position <-> ST_MakePoint($2, $3)::geography limit $5
                 ) c join line l on l.operation = $1 and l.id = c.line
             ) near order by distance_m, id limit $4"
        )
    };
}

/// Every unfinished crossing, nearest first. The condition is that of the partial index, to the letter.
pub const NEAREST: &str = nearest!("state in ('marked', 'passed', 'in_hand')");
/// Those with wire in traffic, nearest first.
pub const NEAREST_IN_TRAFFIC: &str = nearest!("wire_in_traffic");
/// Those of one line, by distance along it.
pub const ALONG: &str = concat!(
    "select ",
    crossing_columns!(),
    ", designation, distance_m from (
         select c.*, l.designation, abs(c.chainage_m - $3) as distance_m
         from crossing c join line l on l.operation = c.operation and l.id = c.line
         where c.operation = $1 and c.line = $2 and c.state in ('marked', 'passed', 'in_hand')
     ) along order by distance_m, id limit $4"
);

/// The queue from where the team stands. `along` goes by the line that is named, or else by that of the nearest unfinished
/// crossing.
///
/// # Errors
/// When the database does not answer.
pub async fn queue(
    pool: &PgPool,
    operation: OperationId,
    from: Position,
    order: Order,
    line: Option<LineId>,
    limit: u16,
) -> Result<Vec<Waiting>, StoreError> {
    let limit = i64::from(limit.min(MOST));
    match order {
        Order::Near => nearest(pool, NEAREST, operation, from, limit).await,
        Order::Hazard => {
            let mut first = nearest(pool, NEAREST_IN_TRAFFIC, operation, from, limit).await?;
            let rest = nearest(pool, NEAREST, operation, from, limit).await?;
            first.extend(rest.into_iter().filter(|w| !w.crossing.wire_in_traffic()));
            first.truncate(usize::try_from(limit).unwrap_or(usize::MAX));
            Ok(first)
        }
        Order::Along => {
            let line = match line {
                Some(line) => line,
                None => match nearest(pool, NEAREST, operation, from, 1).await?.first() {
                    Some(waiting) => waiting.crossing.line,
                    None => return Ok(Vec::new()),
                },
            };
            along(pool, operation, from, line, limit).await
        }
    }
}

async fn nearest(
    pool: &PgPool,
    sql: &'static str,
    operation: OperationId,
    from: Position,
    limit: i64,
) -> Result<Vec<Waiting>, StoreError> {
    let rows: Vec<Row> = sqlx::query_as(sql)
        .bind(operation.0)
        .bind(from.lon())
        .bind(from.lat())
        .bind(limit)
        .bind(limit + SPARE)
        .fetch_all(pool)
        .await?;
    rows.into_iter().map(Waiting::try_from).collect()
}

async fn along(
    pool: &PgPool,
    operation: OperationId,
    from: Position,
    line: LineId,
    limit: i64,
) -> Result<Vec<Waiting>, StoreError> {
    let mut connection = pool.acquire().await?;
    let Some(stands) = crate::line::with_id(&mut connection, operation, line).await? else {
        return Ok(Vec::new());
    };
    let rows: Vec<Row> = sqlx::query_as(ALONG)
        .bind(operation.0)
        .bind(line.0)
        .bind(stands.chainage(from).value())
        .bind(limit)
        .fetch_all(&mut *connection)
        .await?;
    rows.into_iter().map(Waiting::try_from).collect()
}
