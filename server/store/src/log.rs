//! The wire log: reports come in, entries stand. One transaction takes a batch: it holds the operation's counter row,
//! asks the rules about each report in turn, appends what may stand, writes the state that follows, and tells every
//! process. It never changes or removes an entry.

use std::collections::{HashMap, HashSet};

use chrono::{DateTime, SubsecRound, Utc};
use laywire_craft::{
    geodesy::Position,
    ids::{CrossingId, LineId, OperationId, ReportId},
    installation::Installation,
    party::{Party, Sender},
    profile::Profile,
    refusal::Refusal,
    report::{Body, ClockOffset, Entry, Report, Subject},
};
use sqlx::{FromRow, PgConnection, PgPool, types::Json};
use uuid::Uuid;

use crate::{
    StoreError, crossing, line,
    line::position,
    operation,
    pass::{self, sender},
};

/// The columns of an entry, as [`Row`] reads them.
macro_rules! select_entry {
    ($rest:literal) => {
        concat!(
            "select sequence, id, party, team, at, received_at, clock_offset_ms, made_by_party, made_by_team, longitude, \
             latitude, body from wire_log where operation = $1 ",
            $rest
        )
    };
}

/// What became of a report.
#[derive(Debug, Clone, PartialEq)]
pub enum Outcome {
    /// It stands in the log.
    Recorded {
        /// Its number.
        sequence: i64,
    },
    /// It stood there before.
    AlreadyRecorded {
        /// Its number.
        sequence: i64,
    },
    /// A rule refused it, and nothing changed by it.
    Refused(Refusal),
}

/// Takes a batch in, in its order. Each report stands exactly once, however often and from wherever it is sent.
///
/// # Errors
/// When the operation does not exist, a report is sent for a team that never had a pass, or the database fails; then
/// nothing of the batch stands.
pub async fn record(
    pool: &PgPool,
    operation: OperationId,
    by: &Sender,
    reports: Vec<Report>,
    now: DateTime<Utc>,
) -> Result<Vec<(ReportId, Outcome)>, StoreError> {
    let mut tx = pool.begin().await?;
    let outcomes = record_in(&mut tx, operation, by, reports, now).await?;
    tx.commit().await?;
    Ok(outcomes)
}

/// The same within a transaction that is more than the batch: whoever holds it commits, or lets all of it go.
pub(crate) async fn record_in(
    tx: &mut PgConnection,
    operation: OperationId,
    by: &Sender,
    reports: Vec<Report>,
    now: DateTime<Utc>,
) -> Result<Vec<(ReportId, Outcome)>, StoreError> {
    // The database keeps microseconds: what is decided on now has to be what a rebuild will read.
    let received_at = now.trunc_subsecs(6);
    let (sequence, profile) = operation::hold(&mut *tx, operation).await?;
    // Who has a crossing in hand is known by the call sign: nobody makes one up.
    let makers = reports.iter().filter_map(|report| report.made_by.clone());
    let given = reports.iter().filter_map(|report| match &report.body {
        Body::CrossingGivenOut(given) => given.to.as_ref(),
        _ => None,
    });
    let given = given.map(|to| Sender { party: Party::FollowUpTeam, team: to.team.clone() });
    let mut known = HashSet::from([by.clone()]);
    for sender in makers.chain(given) {
        if !known.contains(&sender) && !pass::ever_given(&mut *tx, operation, &sender).await? {
            return Err(StoreError::NoSuchTeam { team: sender.team.to_string() });
        }
        known.insert(sender);
    }
    let mut desk = Desk { operation, sequence, ..Desk::default() };
    let mut stands = already_there(&mut *tx, operation, &reports).await?;
    let mut outcomes = Vec::with_capacity(reports.len());
    for mut report in reports {
        let id = report.id;
        report.at = report.at.trunc_subsecs(6);
        let outcome = if let Some(&sequence) = stands.get(&id) {
            Outcome::AlreadyRecorded { sequence }
        } else {
            let entry = Entry { sequence: desk.sequence + 1, by: by.clone(), received_at, report };
            match desk.take(&mut *tx, entry, &profile).await? {
                Ok(sequence) => {
                    stands.insert(id, sequence);
                    Outcome::Recorded { sequence }
                }
                Err(refusal) => Outcome::Refused(refusal),
            }
        };
        outcomes.push((id, outcome));
    }
    if desk.entries.is_empty() {
        return Ok(outcomes);
    }
    desk.write(tx).await?;
    Ok(outcomes)
}

async fn already_there(
    connection: &mut PgConnection,
    operation: OperationId,
    reports: &[Report],
) -> Result<HashMap<ReportId, i64>, StoreError> {
    let ids: Vec<Uuid> = reports.iter().map(|r| r.id.0).collect();
    let rows: Vec<(Uuid, i64)> =
        sqlx::query_as("select id, sequence from wire_log where operation = $1 and id = any($2)")
            .bind(operation.0)
            .bind(ids)
            .fetch_all(connection)
            .await?;
    Ok(rows.into_iter().map(|(id, sequence)| (ReportId(id), sequence)).collect())
}

/// One batch at work: what has been read so far, and what will be written.
#[derive(Default)]
struct Desk {
    operation: OperationId,
    sequence: i64,
    read: HashSet<LineId>,
    sum: Installation,
    entries: Vec<(Entry, Option<LineId>, Option<CrossingId>)>,
    lines: HashMap<LineId, i64>,
    crossings: HashMap<CrossingId, i64>,
}

impl Desk {
    async fn take(
        &mut self,
        connection: &mut PgConnection,
        entry: Entry,
        profile: &Profile,
    ) -> Result<Result<i64, Refusal>, StoreError> {
        let line = self.lay_out(connection, &entry.report.body).await?;
        let history = match entry.report.body {
            Body::Correction(_) => self.history(connection, line).await?,
            _ => Vec::new(),
        };
        let change = match self.sum.decide(&entry, &history, profile) {
            Ok(change) => change,
            Err(refusal) => return Ok(Err(refusal)),
        };
        self.sequence = entry.sequence;
        self.lines.extend(change.lines.iter().map(|l| (l.id, entry.sequence)));
        self.crossings.extend(change.crossings.iter().map(|c| (c.id, entry.sequence)));
        self.sum.adopt(change);
        let crossing = match entry.report.body.subject() {
            Subject::Crossing(id, _) => Some(id),
            _ => None,
        };
        self.entries.push((entry, line, crossing));
        Ok(Ok(self.sequence))
    }

    /// Reads what the rules have to see for this report: its line with all crossings, and whatever may stand in its way.
    async fn lay_out(
        &mut self,
        connection: &mut PgConnection,
        body: &Body,
    ) -> Result<Option<LineId>, StoreError> {
        let planned = match body {
            Body::LinePlanned(b) => Some(b),
            Body::Correction(c) => match c.instead.as_deref() {
                Some(Body::LinePlanned(b)) => Some(b),
                _ => None,
            },
            _ => None,
        };
        if let Some(planned) = planned {
            let namesake = line::namesakes(connection, self.operation, &planned.designation).await?;
            if let Some(id) = namesake {
                self.read_line(connection, id).await?;
            }
        }
        let line = match body.subject() {
            Subject::Line(line) => Some(line),
            Subject::Crossing(crossing, named) => {
                let of = match self.sum.crossings.get(&crossing) {
                    Some(known) => Some(known.line),
                    None => crossing::line_of(connection, self.operation, crossing).await?,
                };
                if let (Some(named), Some(of)) = (named, of)
                    && named != of
                {
                    self.read_line(connection, of).await?;
                }
                named.or(of)
            }
            Subject::Report(id) => self.line_of_report(connection, id).await?,
            Subject::Operation => None,
        };
        if let Some(line) = line {
            self.read_line(connection, line).await?;
        }
        Ok(line)
    }

    async fn read_line(&mut self, connection: &mut PgConnection, id: LineId) -> Result<(), StoreError> {
        if !self.read.insert(id) {
            return Ok(());
        }
        if let Some(line) = line::with_id(&mut *connection, self.operation, id).await? {
            self.sum.lines.insert(id, line);
            let crossings = crossing::of_line(connection, self.operation, id).await?;
            self.sum.crossings.extend(crossings.into_iter().map(|c| (c.id, c)));
        }
        Ok(())
    }

    async fn line_of_report(
        &self,
        connection: &mut PgConnection,
        id: ReportId,
    ) -> Result<Option<LineId>, StoreError> {
        if let Some((_, line, _)) = self.entries.iter().find(|(entry, ..)| entry.report.id == id) {
            return Ok(*line);
        }
        let line: Option<Option<Uuid>> =
            sqlx::query_scalar("select line from wire_log where operation = $1 and id = $2")
                .bind(self.operation.0)
                .bind(id.0)
                .fetch_optional(connection)
                .await?;
        Ok(line.flatten().map(LineId))
    }

    /// Everything that the log holds of the line, this batch's own entries included.
    async fn history(
        &self,
        connection: &mut PgConnection,
        line: Option<LineId>,
    ) -> Result<Vec<Entry>, StoreError> {
        let rows: Vec<Row> =
            sqlx::query_as(select_entry!("and line is not distinct from $2 order by sequence"))
                .bind(self.operation.0)
                .bind(line.map(|l| l.0))
                .fetch_all(connection)
                .await?;
        let mut history = rows.into_iter().map(Entry::try_from).collect::<Result<Vec<_>, _>>()?;
        history.extend(self.entries.iter().filter(|(_, of, _)| *of == line).map(|(entry, ..)| entry.clone()));
        Ok(history)
    }

    async fn write(&self, connection: &mut PgConnection) -> Result<(), StoreError> {
        for (id, changed) in &self.lines {
            if let Some(line) = self.sum.lines.get(id) {
                line::save(connection, self.operation, line, *changed).await?;
            }
        }
        for (id, changed) in &self.crossings {
            if let Some(crossing) = self.sum.crossings.get(id) {
                crossing::save(connection, self.operation, crossing, *changed).await?;
            }
        }
        for (entry, line, crossing) in &self.entries {
            append(connection, self.operation, entry, *line, *crossing).await?;
        }
        sqlx::query("update operation set sequence = $2 where operation = $1")
            .bind(self.operation.0)
            .bind(self.sequence)
            .execute(&mut *connection)
            .await?;
        sqlx::query("select pg_notify('laywire_log', $1)")
            .bind(format!("{}:{}", self.operation, self.sequence))
            .execute(&mut *connection)
            .await?;
        Ok(())
    }
}

async fn append(
    connection: &mut PgConnection,
    operation: OperationId,
    entry: &Entry,
    line: Option<LineId>,
    crossing: Option<CrossingId>,
) -> Result<(), StoreError> {
    let report = &entry.report;
    sqlx::query(
        "insert into wire_log (operation, sequence, id, kind, line, crossing, party, team, at, received_at, clock_offset_ms,
             made_by_party, made_by_team, longitude, latitude, body)
         values ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10, $11, $12, $13, $14, $15, $16)",
    )
    .bind(operation.0)
    .bind(entry.sequence)
    .bind(report.id.0)
    .bind(report.body.kind().as_str())
    .bind(line.map(|l| l.0))
    .bind(crossing.map(|c| c.0))
    .bind(entry.by.party.as_str())
    .bind(entry.by.team.as_str())
    .bind(report.at)
    .bind(entry.received_at)
    .bind(report.clock_offset_ms.map(ClockOffset::ms))
    .bind(report.made_by.as_ref().map(|maker| maker.party.as_str()))
    .bind(report.made_by.as_ref().map(|maker| maker.team.as_str()))
    .bind(report.position.map(Position::lon))
    .bind(report.position.map(Position::lat))
    .bind(Json(&report.body))
    .execute(connection)
    .await?;
    Ok(())
}

#[derive(FromRow)]
pub(crate) struct Row {
    sequence: i64,
    id: Uuid,
    party: String,
    team: String,
    at: DateTime<Utc>,
    received_at: DateTime<Utc>,
    clock_offset_ms: Option<i64>,
    made_by_party: Option<String>,
    made_by_team: Option<String>,
    longitude: Option<f64>,
    latitude: Option<f64>,
    body: Json<Body>,
}

impl TryFrom<Row> for Entry {
    type Error = StoreError;

    fn try_from(row: Row) -> Result<Self, StoreError> {
        let stood = match (row.longitude, row.latitude) {
            (Some(lon), Some(lat)) => Some(position("wire_log.position", lon, lat)?),
            _ => None,
        };
        let offset = row
            .clock_offset_ms
            .map(|ms| ClockOffset::new(ms).map_err(|_| StoreError::corrupt("wire_log.clock_offset_ms", ms)))
            .transpose()?;
        let made_by = match (row.made_by_party, row.made_by_team) {
            (Some(party), Some(team)) => Some(sender(&party, &team)?),
            _ => None,
        };
        Ok(Self {
            sequence: row.sequence,
            by: sender(&row.party, &row.team)?,
            received_at: row.received_at,
            report: Report {
                id: ReportId(row.id),
                at: row.at,
                clock_offset_ms: offset,
                made_by,
                position: stood,
                body: row.body.0,
            },
        })
    }
}

/// The entries after a number, in order, at most `most` of them.
///
/// # Errors
/// When the database does not answer.
pub async fn after(
    connection: &mut PgConnection,
    operation: OperationId,
    sequence: i64,
    most: i64,
) -> Result<Vec<Entry>, StoreError> {
    let rows: Vec<Row> = sqlx::query_as(select_entry!("and sequence > $2 order by sequence limit $3"))
        .bind(operation.0)
        .bind(sequence)
        .bind(most)
        .fetch_all(connection)
        .await?;
    rows.into_iter().map(Entry::try_from).collect()
}

/// The entries after a number, of the operation or of one line, in order, at most `most` of them, and without the positions
/// of laid traces: a day's laying is most of a log's weight, and whoever asks when things happened does not need it.
pub(crate) async fn in_outline(
    connection: &mut PgConnection,
    operation: OperationId,
    line: Option<LineId>,
    sequence: i64,
    most: i64,
) -> Result<Vec<Entry>, StoreError> {
    let rows: Vec<Row> = sqlx::query_as(
        "select sequence, id, party, team, at, received_at, clock_offset_ms, made_by_party, made_by_team, longitude, latitude,
             case kind when 'trace_extended' then jsonb_set(body, '{positions}', '[]') else body end as body
         from wire_log where operation = $1 and sequence > $2 and ($4::uuid is null or line = $4)
         order by sequence limit $3",
    )
    .bind(operation.0)
    .bind(sequence)
    .bind(most)
    .bind(line.map(|line| line.0))
    .fetch_all(connection)
    .await?;
    rows.into_iter().map(Entry::try_from).collect()
}

/// The last entries, the newest first, at most `most` of them.
///
/// # Errors
/// When the database does not answer.
pub async fn latest(
    connection: &mut PgConnection,
    operation: OperationId,
    before: i64,
    most: i64,
) -> Result<Vec<Entry>, StoreError> {
    let rows: Vec<Row> = sqlx::query_as(select_entry!("and sequence < $2 order by sequence desc limit $3"))
        .bind(operation.0)
        .bind(before)
        .bind(most)
        .fetch_all(connection)
        .await?;
    rows.into_iter().map(Entry::try_from).collect()
}
