//! What a review is made from: the wire log, and what stands by it, both as of one moment. And what a replay is made from: the
//! log alone, whole.

use laywire_craft::{
    ids::{LineId, OperationId},
    installation::Installation,
    report::{Body, Entry},
    trace::Trace,
};
use sqlx::PgPool;

use crate::{StoreError, crossing, line, log};

/// Read at a time.
const PAGE: i64 = 2_000;
/// Read at a time with the positions: a plan's trace alone may have a hundred thousand.
const WHOLE_PAGE: i64 = 500;

/// A log, and what stands by it.
#[derive(Debug, Clone, PartialEq)]
pub struct Hindsight {
    /// The number of the last entry of the operation.
    pub sequence: i64,
    /// The entries, without the positions of laid traces, which stand in the lines.
    pub entries: Vec<Entry>,
    /// Lines and crossings.
    pub stands: Installation,
}

/// Reads the log of an operation, or what it has of one line, and what stands; none when there are more than `most` entries.
///
/// # Errors
/// When the database does not answer.
pub async fn hindsight(
    pool: &PgPool,
    operation: OperationId,
    of: Option<LineId>,
    most: usize,
) -> Result<Option<Hindsight>, StoreError> {
    let mut moment = pool.begin_with("begin transaction isolation level repeatable read, read only").await?;
    let sequence: Option<i64> = sqlx::query_scalar("select sequence from operation where operation = $1")
        .bind(operation.0)
        .fetch_optional(&mut *moment)
        .await?;
    let mut stands = Installation::default();
    if let Some(id) = of {
        if let Some(line) = line::with_id(&mut moment, operation, id).await? {
            stands.lines.insert(id, line);
        }
        let crossings = crossing::of_line(&mut moment, operation, id).await?;
        stands.crossings.extend(crossings.into_iter().map(|crossing| (crossing.id, crossing)));
    } else {
        let lines = line::every(&mut moment, operation).await?;
        stands.lines.extend(lines.into_iter().map(|line| (line.now.id, line.now)));
        let crossings = crossing::every(&mut moment, operation).await?;
        stands.crossings.extend(crossings.into_iter().map(|crossing| (crossing.now.id, crossing.now)));
    }
    let mut entries: Vec<Entry> = Vec::new();
    loop {
        let after = entries.last().map_or(0, |entry| entry.sequence);
        let page = log::in_outline(&mut moment, operation, of, after, PAGE).await?;
        if page.is_empty() {
            break;
        }
        entries.extend(page);
        if entries.len() > most {
            return Ok(None);
        }
    }
    moment.commit().await?;
    Ok(Some(Hindsight { sequence: sequence.unwrap_or(0), entries, stands }))
}

/// Reads the whole log of an operation, positions of traces included; none when there are more than `most` entries, or more than
/// `most_positions` in them.
///
/// # Errors
/// When the database does not answer.
pub async fn whole_log(
    pool: &PgPool,
    operation: OperationId,
    most: usize,
    most_positions: usize,
) -> Result<Option<Vec<Entry>>, StoreError> {
    let mut moment = pool.begin_with("begin transaction isolation level repeatable read, read only").await?;
    let mut entries: Vec<Entry> = Vec::new();
    let mut left = most_positions;
    loop {
        let after = entries.last().map_or(0, |entry| entry.sequence);
        let page = log::after(&mut moment, operation, after, WHOLE_PAGE).await?;
        if page.is_empty() {
            break;
        }
        let Some(still) = left.checked_sub(page.iter().map(|entry| positions(&entry.report.body)).sum())
        else {
            return Ok(None);
        };
        left = still;
        entries.extend(page);
        if entries.len() > most {
            return Ok(None);
        }
    }
    moment.commit().await?;
    Ok(Some(entries))
}

/// The positions of the traces in it.
fn positions(body: &Body) -> usize {
    let of = |trace: &Trace| trace.positions().len();
    match body {
        Body::TraceExtended(extended) => extended.positions.len(),
        Body::PlanIssued(issued) => of(&issued.trace),
        Body::LinePlanned(planned) => planned.trace.as_ref().map_or(0, of),
        Body::Correction(correction) => correction.instead.as_deref().map_or(0, positions),
        _ => 0,
    }
}
