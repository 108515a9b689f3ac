//! What a review is made from: the wire log, and what stands by it, both as of one moment.

use laywire_craft::{
    ids::{LineId, OperationId},
    installation::Installation,
    report::Entry,
};
use sqlx::PgPool;

use crate::{StoreError, crossing, line, log};

/// Read at a time.
const PAGE: i64 = 2_000;

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
