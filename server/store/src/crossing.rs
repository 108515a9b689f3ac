//! Crossings in the state tables.

use std::collections::HashSet;

use chrono::{DateTime, Utc};
use geozero::ToGeo;
use laywire_craft::{
    construction::Construction,
    crossing::{Conflict, Crossing, CrossingState, GivenTo, InHand},
    geodesy::Position,
    ids::{CrossingId, LineId, OperationId},
    obstacle::Obstacle,
    text::{Name, Remark},
    units::Metres,
};
use sqlx::{FromRow, PgConnection, PgPool, Row as _, postgres::PgRow, types::Json};
use uuid::Uuid;

use crate::{
    Current, StoreError,
    error::named,
    line::{metres, name, position},
};

pub(crate) struct Row {
    id: Uuid,
    line: Uuid,
    state: String,
    position: Vec<u8>,
    chainage_m: f64,
    obstacle: String,
    hard_surface: bool,
    construction: Option<String>,
    clearance_m: Option<f64>,
    depth_m: Option<f64>,
    span_m: Option<f64>,
    clear_of_traffic: bool,
    left_undone: Vec<String>,
    opened_at: DateTime<Utc>,
    passed_at: Option<DateTime<Utc>>,
    given_to: Option<String>,
    given_place: Option<i16>,
    in_hand_team: Option<String>,
    in_hand_since: Option<DateTime<Utc>>,
    finished_at: Option<DateTime<Utc>>,
    finished_by: Option<String>,
    proved_at: Option<DateTime<Utc>>,
    because: Option<String>,
    struck_out_because: Option<String>,
    conflicts: Json<Vec<Conflict>>,
    changed: i64,
}

/// The columns of a crossing, in the order in which [`Row`] reads them; the name before each is the table's.
macro_rules! crossing_columns {
    ($of:literal) => {
        concat!(
            "",
            $of,
            "id",
            ", ",
            $of,
            "line",
            ", ",
            $of,
            "state",
            ", ",
            $of,
            "position",
            ", ",
            $of,
            "chainage_m",
            ", ",
            $of,
            "obstacle",
            ", ",
            $of,
            "hard_surface",
            ", ",
            $of,
            "construction",
            ", ",
            $of,
            "clearance_m",
            ", ",
            $of,
            "depth_m",
            ", ",
            $of,
            "span_m",
            ", ",
            $of,
            "clear_of_traffic",
            ", ",
            $of,
            "left_undone",
            ", ",
            $of,
            "opened_at",
            ", ",
            $of,
            "passed_at",
            ", ",
            $of,
            "given_to",
            ", ",
            $of,
            "given_place",
            ", ",
            $of,
            "in_hand_team",
            ", ",
            $of,
            "in_hand_since",
            ", ",
            $of,
            "finished_at",
            ", ",
            $of,
            "finished_by",
            ", ",
            $of,
            "proved_at",
            ", ",
            $of,
            "because",
            ", ",
            $of,
            "struck_out_because",
            ", ",
            $of,
            "conflicts",
            ", ",
            $of,
            "changed"
        )
    };
}
pub(crate) use crossing_columns;

/// How many they are.
pub(crate) const CROSSING_COLUMNS: usize = 26;

/// By place and not by name, and without asking each time whether the column has the type that the schema gives it: the
/// queue reads dozens of rows for each request.
impl FromRow<'_, PgRow> for Row {
    fn from_row(row: &PgRow) -> sqlx::Result<Self> {
        Ok(Self {
            id: row.try_get_unchecked(0)?,
            line: row.try_get_unchecked(1)?,
            state: row.try_get_unchecked(2)?,
            position: row.try_get_unchecked(3)?,
            chainage_m: row.try_get_unchecked(4)?,
            obstacle: row.try_get_unchecked(5)?,
            hard_surface: row.try_get_unchecked(6)?,
            construction: row.try_get_unchecked(7)?,
            clearance_m: row.try_get_unchecked(8)?,
            depth_m: row.try_get_unchecked(9)?,
            span_m: row.try_get_unchecked(10)?,
            clear_of_traffic: row.try_get_unchecked(11)?,
            left_undone: row.try_get_unchecked(12)?,
            opened_at: row.try_get_unchecked(13)?,
            passed_at: row.try_get_unchecked(14)?,
            given_to: row.try_get_unchecked(15)?,
            given_place: row.try_get_unchecked(16)?,
            in_hand_team: row.try_get_unchecked(17)?,
            in_hand_since: row.try_get_unchecked(18)?,
            finished_at: row.try_get_unchecked(19)?,
            finished_by: row.try_get_unchecked(20)?,
            proved_at: row.try_get_unchecked(21)?,
            because: row.try_get_unchecked(22)?,
            struck_out_because: row.try_get_unchecked(23)?,
            conflicts: row.try_get_unchecked(24)?,
            changed: row.try_get_unchecked(25)?,
        })
    }
}

macro_rules! select_crossing {
    ($rest:literal) => {
        concat!("select ", crossing_columns!(""), " from crossing where operation = $1 ", $rest)
    };
}

/// A point as the database itself writes it (EWKB): cheaper than to have it take the point apart.
fn point(ewkb: Vec<u8>) -> Result<Position, StoreError> {
    let corrupt = |e: &dyn std::fmt::Debug| StoreError::corrupt("crossing.position", e);
    match geozero::wkb::Ewkb(ewkb).to_geo().map_err(|e| corrupt(&e))? {
        geo_types::Geometry::Point(at) => position("crossing.position", at.x(), at.y()),
        other => Err(corrupt(&other)),
    }
}

fn optional(what: &'static str, value: Option<f64>) -> Result<Option<Metres>, StoreError> {
    value.map(|v| metres(what, v)).transpose()
}

impl TryFrom<Row> for Current<Crossing> {
    type Error = StoreError;

    fn try_from(row: Row) -> Result<Self, StoreError> {
        let in_hand = match (row.in_hand_team, row.in_hand_since) {
            (Some(team), Some(since)) => Some(InHand { team: name("crossing.in_hand_team", &team)?, since }),
            _ => None,
        };
        let given_to = match (row.given_to, row.given_place) {
            (Some(team), Some(place)) => Some(GivenTo {
                team: name("crossing.given_to", &team)?,
                place: place.try_into().map_err(|_| StoreError::corrupt("crossing.given_place", place))?,
            }),
            _ => None,
        };
        let construction = row
            .construction
            .map(|c| named("crossing.construction", &Construction::ALL, Construction::as_str, &c))
            .transpose()?;
        let remark = |what, text: Option<String>| {
            text.map(|text| Remark::new(&text).map_err(|_| StoreError::corrupt(what, &text))).transpose()
        };
        let crossing = Crossing {
            id: CrossingId(row.id),
            line: LineId(row.line),
            state: named("crossing.state", &CrossingState::ALL, CrossingState::as_str, &row.state)?,
            position: point(row.position)?,
            chainage: metres("crossing.chainage_m", row.chainage_m)?,
            obstacle: named("crossing.obstacle", &Obstacle::ALL, Obstacle::as_str, &row.obstacle)?,
            hard_surface: row.hard_surface,
            construction,
            clearance: optional("crossing.clearance_m", row.clearance_m)?,
            depth: optional("crossing.depth_m", row.depth_m)?,
            span: optional("crossing.span_m", row.span_m)?,
            clear_of_traffic: row.clear_of_traffic,
            left_undone: row.left_undone,
            opened_at: row.opened_at,
            passed_at: row.passed_at,
            given_to,
            in_hand,
            finished_at: row.finished_at,
            finished_by: row.finished_by.map(|t| name("crossing.finished_by", &t)).transpose()?,
            proved_at: row.proved_at,
            because: remark("crossing.because", row.because)?,
            struck_out_because: remark("crossing.struck_out_because", row.struck_out_because)?,
            conflicts: row.conflicts.0,
        };
        Ok(Self { now: crossing, changed: row.changed })
    }
}

pub(crate) fn all(rows: Vec<Row>) -> Result<Vec<Current<Crossing>>, StoreError> {
    rows.into_iter().map(Current::try_from).collect()
}

/// The crossings of an operation that changed after an entry (0: all of them), along each line.
///
/// # Errors
/// When the database does not answer.
pub async fn crossings(
    pool: &PgPool,
    operation: OperationId,
    after: i64,
) -> Result<Vec<Current<Crossing>>, StoreError> {
    all(sqlx::query_as(select_crossing!("and changed > $2 order by line, chainage_m, id"))
        .bind(operation.0)
        .bind(after)
        .fetch_all(pool)
        .await?)
}

/// The unfinished crossings, of those that are named or of all, the first that was opened first; at most so many.
///
/// # Errors
/// When the database does not answer.
pub async fn unfinished(
    pool: &PgPool,
    operation: OperationId,
    named: Option<&[CrossingId]>,
    most: i64,
) -> Result<Vec<Crossing>, StoreError> {
    let named: Option<Vec<Uuid>> = named.map(|ids| ids.iter().map(|id| id.0).collect());
    let rows = sqlx::query_as(select_crossing!(
        "and state in ('marked', 'passed', 'in_hand') and ($2::uuid[] is null or id = any($2))
         order by opened_at, id limit $3"
    ))
    .bind(operation.0)
    .bind(named)
    .bind(most)
    .fetch_all(pool)
    .await?;
    Ok(all(rows)?.into_iter().map(|current| current.now).collect())
}

pub(crate) async fn every(
    connection: &mut PgConnection,
    operation: OperationId,
) -> Result<Vec<Current<Crossing>>, StoreError> {
    all(sqlx::query_as(select_crossing!("")).bind(operation.0).fetch_all(connection).await?)
}

/// Those that the queue by hazard puts first: a column of its own, because an index cannot ask the rules.
pub(crate) async fn filed_in_traffic(
    connection: &mut PgConnection,
    operation: OperationId,
) -> Result<HashSet<CrossingId>, StoreError> {
    let ids: Vec<Uuid> =
        sqlx::query_scalar("select id from crossing where operation = $1 and wire_in_traffic")
            .bind(operation.0)
            .fetch_all(connection)
            .await?;
    Ok(ids.into_iter().map(CrossingId).collect())
}

pub(crate) async fn of_line(
    connection: &mut PgConnection,
    operation: OperationId,
    line: LineId,
) -> Result<Vec<Crossing>, StoreError> {
    let rows = sqlx::query_as(select_crossing!("and line = $2"))
        .bind(operation.0)
        .bind(line.0)
        .fetch_all(connection)
        .await?;
    Ok(all(rows)?.into_iter().map(|current| current.now).collect())
}

pub(crate) async fn line_of(
    connection: &mut PgConnection,
    operation: OperationId,
    id: CrossingId,
) -> Result<Option<LineId>, StoreError> {
    let line: Option<Uuid> = sqlx::query_scalar("select line from crossing where operation = $1 and id = $2")
        .bind(operation.0)
        .bind(id.0)
        .fetch_optional(connection)
        .await?;
    Ok(line.map(LineId))
}

pub(crate) async fn save(
    connection: &mut PgConnection,
    operation: OperationId,
    c: &Crossing,
    changed: i64,
) -> Result<(), StoreError> {
    sqlx::query(
        "insert into crossing (operation, id, line, state, position, chainage_m, obstacle, hard_surface, construction,
             clearance_m, depth_m, span_m, clear_of_traffic, wire_in_traffic, left_undone, opened_at, passed_at,
             given_to, given_place, in_hand_team, in_hand_since, finished_at, finished_by, proved_at, because,
             struck_out_because, conflicts, changed)
         values ($1, $2, $3, $4, ST_MakePoint($5, $6)::geography, $7, $8, $9, $10, $11, $12, $13, $14, $15, $16, $17, $18,
             $19, $20, $21, $22, $23, $24, $25, $26, $27, $28, $29)
         on conflict on constraint crossing_pkey do update set
             line = excluded.line, state = excluded.state, position = excluded.position,
             chainage_m = excluded.chainage_m, obstacle = excluded.obstacle, hard_surface = excluded.hard_surface,
             construction = excluded.construction, clearance_m = excluded.clearance_m, depth_m = excluded.depth_m,
             span_m = excluded.span_m, clear_of_traffic = excluded.clear_of_traffic,
             wire_in_traffic = excluded.wire_in_traffic, left_undone = excluded.left_undone,
             opened_at = excluded.opened_at, passed_at = excluded.passed_at,
             given_to = excluded.given_to, given_place = excluded.given_place, in_hand_team = excluded.in_hand_team,
             in_hand_since = excluded.in_hand_since, finished_at = excluded.finished_at,
             finished_by = excluded.finished_by, proved_at = excluded.proved_at,
             because = excluded.because, struck_out_because = excluded.struck_out_because, conflicts = excluded.conflicts,
             changed = excluded.changed",
    )
    .bind(operation.0)
    .bind(c.id.0)
    .bind(c.line.0)
    .bind(c.state.as_str())
    .bind(c.position.lon())
    .bind(c.position.lat())
    .bind(c.chainage.value())
    .bind(c.obstacle.as_str())
    .bind(c.hard_surface)
    .bind(c.construction.map(Construction::as_str))
    .bind(c.clearance.map(Metres::value))
    .bind(c.depth.map(Metres::value))
    .bind(c.span.map(Metres::value))
    .bind(c.clear_of_traffic)
    .bind(c.wire_in_traffic())
    .bind(&c.left_undone)
    .bind(c.opened_at)
    .bind(c.passed_at)
    .bind(c.given_to.as_ref().map(|given| given.team.as_str()))
    .bind(c.given_to.as_ref().map(|given| given.place.number()))
    .bind(c.in_hand.as_ref().map(|held| held.team.as_str()))
    .bind(c.in_hand.as_ref().map(|held| held.since))
    .bind(c.finished_at)
    .bind(c.finished_by.as_ref().map(Name::as_str))
    .bind(c.proved_at)
    .bind(c.because.as_ref().map(Remark::as_str))
    .bind(c.struck_out_because.as_ref().map(Remark::as_str))
    .bind(Json(&c.conflicts))
    .bind(changed)
    .execute(connection)
    .await?;
    Ok(())
}
