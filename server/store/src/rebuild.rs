//! The state tables from the log: are they what it adds up to, and if not, make them so. The rules that fold the log are
//! the same that let the reports in.

use laywire_craft::{ids::OperationId, installation::Installation, report::Entry};
use sqlx::{PgConnection, PgPool};

use crate::{StoreError, crossing, line, log, operation};

const PAGE: i64 = 2_000;

/// Where the state tables and the log differ.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Differences {
    /// Entries read.
    pub entries: usize,
    /// A sentence for each line or crossing that differs.
    pub found: Vec<String>,
}

/// Compares the state tables with what the log adds up to.
///
/// # Errors
/// When the database does not answer, or an entry in the log breaks a rule at its place.
pub async fn check(pool: &PgPool, operation: OperationId) -> Result<Differences, StoreError> {
    let mut tx = pool.begin().await?;
    let (entries, sum) = add_up(&mut tx, operation).await?;
    let mut found = Vec::new();
    let mut lines = sum.lines;
    for stands in line::every(&mut tx, operation).await? {
        match lines.remove(&stands.now.id) {
            Some(line) if line == stands.now => {}
            Some(line) => found.push(format!(
                "line {} {}",
                line.designation,
                differs(stands.now.state.words(), line.state.words())
            )),
            None => found.push(format!("line {} is not in the log", stands.now.designation)),
        }
    }
    found.extend(lines.values().map(|line| format!("line {} is missing", line.designation)));
    let in_traffic = crossing::filed_in_traffic(&mut tx, operation).await?;
    let mut crossings = sum.crossings.into_map();
    for stands in crossing::every(&mut tx, operation).await? {
        let id = stands.now.id;
        match crossings.remove(&id) {
            Some(crossing) if crossing != stands.now => found
                .push(format!("crossing {id} {}", differs(stands.now.state.words(), crossing.state.words()))),
            Some(crossing) if crossing.wire_in_traffic() != in_traffic.contains(&id) => {
                found.push(format!("crossing {id} is wrong in the queue by hazard"));
            }
            Some(_) => {}
            None => found.push(format!("crossing {id} is not in the log")),
        }
    }
    found.extend(crossings.keys().map(|id| format!("crossing {id} is missing")));
    Ok(Differences { entries, found })
}

fn differs(is: &str, should_be: &str) -> String {
    if is == should_be {
        format!("is {is}, as it should be, but differs in its figures")
    } else {
        format!("is {is} and should be {should_be}")
    }
}

/// Writes the state tables anew from the log, and says how many entries it read.
///
/// # Errors
/// When the database does not answer, or an entry in the log breaks a rule at its place; then nothing changes.
pub async fn rebuild(pool: &PgPool, operation: OperationId) -> Result<usize, StoreError> {
    let mut tx = pool.begin().await?;
    let (entries, sum) = add_up(&mut tx, operation).await?;
    sqlx::query("delete from crossing where operation = $1").bind(operation.0).execute(&mut *tx).await?;
    sqlx::query("delete from line where operation = $1").bind(operation.0).execute(&mut *tx).await?;
    let sequence: i64 = sqlx::query_scalar("select sequence from operation where operation = $1")
        .bind(operation.0)
        .fetch_one(&mut *tx)
        .await?;
    for line in sum.lines.values() {
        line::save(&mut tx, operation, line, sequence).await?;
    }
    for crossing in sum.crossings.values() {
        crossing::save(&mut tx, operation, crossing, sequence).await?;
    }
    tx.commit().await?;
    Ok(entries)
}

/// Folds the whole log, while nobody can add to it.
async fn add_up(
    connection: &mut PgConnection,
    operation: OperationId,
) -> Result<(usize, Installation), StoreError> {
    let (_, profile) = operation::hold(&mut *connection, operation).await?;
    let mut entries: Vec<Entry> = Vec::new();
    loop {
        let after = entries.last().map_or(0, |entry| entry.sequence);
        let page = log::after(&mut *connection, operation, after, PAGE).await?;
        if page.is_empty() {
            break;
        }
        entries.extend(page);
    }
    let sum = Installation::fold(&entries, &profile)?;
    Ok((entries.len(), sum))
}
