//! A line's saved plans, and their issue: the reports that a plan comes to, all of them or none.

use std::collections::HashSet;

use chrono::{DateTime, Utc};
use laywire_craft::{
    crossing::{Crossing, CrossingState},
    ids::{CrossingId, LineId, OperationId, ReportId},
    party::Sender,
    plan::{Plan, PlanFigures, PlanVersion},
    refusal::Refusal,
    report::{Body, CrossingMarked, CrossingStruckOut, PlanIssued, Report},
    text::{Name, Remark},
};
use sqlx::{FromRow, PgPool, types::Json};
use uuid::Uuid;

use crate::{
    StoreError, crossing, line,
    line::{name, plan_version},
    log::{self, Outcome},
    operation,
};

/// What is known of a plan without looking into it.
#[derive(Debug, Clone, PartialEq)]
pub struct Saved {
    /// Its number.
    pub version: PlanVersion,
    /// When it was saved.
    pub saved_at: DateTime<Utc>,
    /// By whom.
    pub by: Name,
    /// What they said of it.
    pub remark: Option<Remark>,
    /// What it takes.
    pub figures: PlanFigures,
}

#[derive(FromRow)]
struct Row {
    version: i16,
    saved_at: DateTime<Utc>,
    team: String,
    remark: Option<String>,
    figures: Json<PlanFigures>,
}

impl TryFrom<Row> for Saved {
    type Error = StoreError;

    fn try_from(row: Row) -> Result<Self, StoreError> {
        let remark = |text: String| Remark::new(&text).map_err(|_| StoreError::corrupt("plan.remark", &text));
        Ok(Self {
            version: plan_version("plan.version", row.version)?,
            saved_at: row.saved_at,
            by: name("plan.team", &row.team)?,
            remark: row.remark.map(remark).transpose()?,
            figures: row.figures.0,
        })
    }
}

/// A plan to be saved.
#[derive(Debug)]
pub struct Draft {
    /// The plan.
    pub plan: Plan,
    /// What it takes.
    pub figures: PlanFigures,
    /// What its author says of it.
    pub remark: Option<Remark>,
}

/// Saves a plan under the line's next number; none when the line has as many as it may have.
///
/// # Errors
/// When the operation or the line does not exist, or the database does not answer.
pub async fn save(
    pool: &PgPool,
    operation: OperationId,
    line: LineId,
    by: &Name,
    draft: &Draft,
    now: DateTime<Utc>,
) -> Result<Option<PlanVersion>, StoreError> {
    let mut tx = pool.begin().await?;
    // One after the other, so that the numbers have no gaps.
    operation::hold(&mut tx, operation).await?;
    let last: Option<i16> =
        sqlx::query_scalar("select max(version) from plan where operation = $1 and line = $2")
            .bind(operation.0)
            .bind(line.0)
            .fetch_one(&mut *tx)
            .await?;
    let next = u16::try_from(last.unwrap_or(0)).unwrap_or(u16::MAX).saturating_add(1);
    let Ok(version) = PlanVersion::try_from(next) else { return Ok(None) };
    sqlx::query(
        "insert into plan (operation, line, version, saved_at, team, remark, plan, figures)
         values ($1, $2, $3, $4, $5, $6, $7, $8)",
    )
    .bind(operation.0)
    .bind(line.0)
    .bind(last.unwrap_or(0) + 1)
    .bind(now)
    .bind(by.as_str())
    .bind(draft.remark.as_ref().map(Remark::as_str))
    .bind(Json(&draft.plan))
    .bind(Json(&draft.figures))
    .execute(&mut *tx)
    .await?;
    tx.commit().await?;
    Ok(Some(version))
}

/// A line's plans, the newest first.
///
/// # Errors
/// When the database does not answer.
pub async fn saved(pool: &PgPool, operation: OperationId, line: LineId) -> Result<Vec<Saved>, StoreError> {
    let rows: Vec<Row> = sqlx::query_as(
        "select version, saved_at, team, remark, figures from plan where operation = $1 and line = $2
         order by version desc",
    )
    .bind(operation.0)
    .bind(line.0)
    .fetch_all(pool)
    .await?;
    rows.into_iter().map(Saved::try_from).collect()
}

/// One plan; none when the line has no such.
///
/// # Errors
/// When the database does not answer.
pub async fn plan(
    pool: &PgPool,
    operation: OperationId,
    line: LineId,
    version: PlanVersion,
) -> Result<Option<(Saved, Plan)>, StoreError> {
    #[derive(FromRow)]
    struct Whole {
        #[sqlx(flatten)]
        row: Row,
        plan: Json<Plan>,
    }
    let found: Option<Whole> = sqlx::query_as(
        "select version, saved_at, team, remark, figures, plan from plan
         where operation = $1 and line = $2 and version = $3",
    )
    .bind(operation.0)
    .bind(line.0)
    .bind(i32::from(version.number()))
    .fetch_optional(pool)
    .await?;
    found.map(|whole| Ok((Saved::try_from(whole.row)?, whole.plan.0))).transpose()
}

/// What came of an issue.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Issued {
    /// The number of its last entry in the log.
    pub sequence: i64,
    /// Crossings that are foreseen by it, or foreseen in another way than before.
    pub foreseen: usize,
    /// Crossings that it has no more, and that nobody had come to.
    pub struck_out: usize,
}

/// Issues a plan: the line's trace is the plan's from now on, what it crosses is foreseen, and what an earlier plan foresaw
/// and nobody has come to is struck out. All of it stands in the log, or nothing.
///
/// # Errors
/// When the database does not answer. A rule that refuses a part of it is the inner error.
pub async fn issue(
    pool: &PgPool,
    operation: OperationId,
    by: &Sender,
    on: LineId,
    version: PlanVersion,
    plan: Plan,
    now: DateTime<Utc>,
) -> Result<Result<Issued, Refusal>, StoreError> {
    let mut tx = pool.begin().await?;
    // What is read here must still hold when the reports are decided on.
    operation::hold(&mut tx, operation).await?;
    if line::with_id(&mut tx, operation, on).await?.is_none() {
        return Ok(Err(Refusal::NoSuchLine));
    }
    let stand = crossing::of_line(&mut tx, operation, on).await?;
    let (foreseen, struck_out) = changes(on, version, &plan, &stand)?;
    let counts = (foreseen.len(), struck_out.len());
    let head = Body::PlanIssued(PlanIssued { line: on, plan: version, trace: plan.trace });
    let bodies = std::iter::once(head)
        .chain(struck_out.into_iter().map(Body::CrossingStruckOut))
        .chain(foreseen.into_iter().map(Body::CrossingForeseen));
    let reports = bodies.map(|body| Report {
        id: ReportId(Uuid::now_v7()),
        at: now,
        clock_offset_ms: None,
        made_by: None,
        position: None,
        body,
    });
    let outcomes = log::record_in(&mut tx, operation, by, reports.collect(), now).await?;
    let mut sequence = 0;
    for (_, outcome) in outcomes {
        match outcome {
            Outcome::Recorded { sequence: number } | Outcome::AlreadyRecorded { sequence: number } => {
                sequence = number;
            }
            Outcome::Refused(refusal) => return Ok(Err(refusal)),
        }
    }
    tx.commit().await?;
    Ok(Ok(Issued { sequence, foreseen: counts.0, struck_out: counts.1 }))
}

/// What a plan changes in the crossings that stand: those to be foreseen, and those to be struck out. Whatever a team has
/// come to stays as it is.
fn changes(
    line: LineId,
    version: PlanVersion,
    plan: &Plan,
    stand: &[Crossing],
) -> Result<(Vec<CrossingMarked>, Vec<CrossingStruckOut>), StoreError> {
    let untouched = |c: &Crossing| c.passed_at.is_none() && c.state == CrossingState::Foreseen;
    let mut foreseen = Vec::new();
    for planned in &plan.crossings {
        let known = stand.iter().find(|c| c.id == planned.crossing);
        let as_it_stands = known.is_some_and(|c| {
            let hard = planned.hard_surface.unwrap_or(planned.obstacle.usually_hard());
            untouched(c)
                && (c.position, c.obstacle, c.hard_surface) == (planned.position, planned.obstacle, hard)
                && (c.construction, c.span, &c.because)
                    == (planned.construction, planned.span_m, &planned.because)
        });
        let come_to = known.is_some_and(|c| !untouched(c) && c.state != CrossingState::StruckOut);
        if as_it_stands || come_to {
            continue;
        }
        foreseen.push(CrossingMarked {
            crossing: planned.crossing,
            line,
            position: planned.position,
            obstacle: planned.obstacle,
            hard_surface: planned.hard_surface,
            construction: planned.construction,
            clearance_m: None,
            span_m: planned.span_m,
            because: planned.because.clone(),
        });
    }
    let kept: HashSet<CrossingId> = plan.crossings.iter().map(|planned| planned.crossing).collect();
    let words = format!("plan {version} does not meet it");
    let because = Remark::new(&words).map_err(|_| StoreError::corrupt("plan.version", version))?;
    let struck_out = stand
        .iter()
        .filter(|c| untouched(c) && !kept.contains(&c.id))
        .map(|c| CrossingStruckOut { crossing: c.id, because: because.clone() })
        .collect();
    Ok((foreseen, struck_out))
}
