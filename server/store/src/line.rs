//! Lines in the state tables.

use chrono::{DateTime, Utc};
use geozero::{CoordDimensions, ToGeo, ToWkb};
use laywire_craft::{
    crossing::Crossing,
    geodesy::Position,
    ids::{LineId, OperationId},
    line::{CallBack, Designation, Line, LineState, Reel, Splice},
    plan::PlanVersion,
    proving::Proving,
    recovery::Recovery,
    tags::OtherEnd,
    text::Name,
    trace::Trace,
    units::Metres,
};
use sqlx::{FromRow, PgConnection, PgPool, types::Json};
use uuid::Uuid;

use crate::{Current, StoreError, error::named, features::Along};

#[derive(FromRow)]
pub(crate) struct Row {
    id: Uuid,
    designation: String,
    from_end: String,
    to_end: String,
    state: String,
    planned: Option<Vec<u8>>,
    plan: Option<i16>,
    laid: Vec<f64>,
    laid_length_m: f64,
    team: Option<String>,
    reels: Json<Vec<Reel>>,
    splices: Json<Vec<Splice>>,
    call_backs: Json<Vec<CallBack>>,
    started_at: Option<DateTime<Utc>>,
    through_at: Option<DateTime<Utc>>,
    proved_at: Option<DateTime<Utc>>,
    handed_over_at: Option<DateTime<Utc>>,
    handed_over_to: Option<String>,
    proving: Json<Proving>,
    recovery: Json<Recovery>,
    changed: i64,
}

/// The columns of a line, as [`Row`] reads them.
macro_rules! select_line {
    ($rest:literal) => {
        concat!(
            "select id, designation, from_end, to_end, state, ST_AsBinary(planned) as planned, plan, laid, laid_length_m, team, \
             reels, splices, call_backs, started_at, through_at, proved_at, handed_over_at, handed_over_to, proving, \
             recovery, changed from line where operation = $1 ",
            $rest
        )
    };
}

pub(crate) fn metres(what: &'static str, value: f64) -> Result<Metres, StoreError> {
    Metres::new(value).map_err(|_| StoreError::corrupt(what, value))
}

pub(crate) fn position(what: &'static str, lon: f64, lat: f64) -> Result<Position, StoreError> {
    Position::new(lon, lat).map_err(|_| StoreError::corrupt(what, (lon, lat)))
}

pub(crate) fn name(what: &'static str, value: &str) -> Result<Name, StoreError> {
    Name::new(value).map_err(|_| StoreError::corrupt(what, value))
}

pub(crate) fn plan_version(what: &'static str, number: i16) -> Result<PlanVersion, StoreError> {
    let version = u16::try_from(number).ok().and_then(|number| PlanVersion::try_from(number).ok());
    version.ok_or_else(|| StoreError::corrupt(what, number))
}

fn trace_from_wkb(wkb: Vec<u8>) -> Result<Trace, StoreError> {
    let corrupt = |e: &dyn std::fmt::Debug| StoreError::corrupt("line.planned", e);
    let geometry = geozero::wkb::Wkb(wkb).to_geo().map_err(|e| corrupt(&e))?;
    let geo_types::Geometry::LineString(shape) = geometry else {
        return Err(corrupt(&"not a linestring"));
    };
    let positions = shape.coords().map(|c| position("line.planned", c.x, c.y)).collect::<Result<_, _>>()?;
    Trace::new(positions).map_err(|e| corrupt(&e))
}

fn trace_to_wkb(trace: &Trace) -> Result<Vec<u8>, StoreError> {
    let shape: geo_types::LineString = trace.positions().iter().map(|p| (p.lon(), p.lat())).collect();
    geo_types::Geometry::LineString(shape)
        .to_wkb(CoordDimensions::xy())
        .map_err(|e| StoreError::corrupt("line.planned", e))
}

impl TryFrom<Row> for Current<Line> {
    type Error = StoreError;

    fn try_from(row: Row) -> Result<Self, StoreError> {
        let laid = row
            .laid
            .chunks(2)
            .map(|pair| match *pair {
                [lon, lat] => position("line.laid", lon, lat),
                _ => Err(StoreError::corrupt("line.laid", "an odd number of coordinates")),
            })
            .collect::<Result<_, _>>()?;
        let line = Line {
            id: LineId(row.id),
            designation: designation(&row.designation)?,
            from: name("line.from_end", &row.from_end)?,
            to: name("line.to_end", &row.to_end)?,
            state: named("line.state", &LineState::ALL, LineState::as_str, &row.state)?,
            planned: row.planned.map(trace_from_wkb).transpose()?,
            plan: row.plan.map(|number| plan_version("line.plan", number)).transpose()?,
            laid,
            laid_length: metres("line.laid_length_m", row.laid_length_m)?,
            team: row.team.map(|t| name("line.team", &t)).transpose()?,
            reels: row.reels.0,
            splices: row.splices.0,
            call_backs: row.call_backs.0,
            started_at: row.started_at,
            through_at: row.through_at,
            proved_at: row.proved_at,
            handed_over_at: row.handed_over_at,
            handed_over_to: row.handed_over_to.map(|t| name("line.handed_over_to", &t)).transpose()?,
            proving: row.proving.0,
            recovery: row.recovery.0,
        };
        Ok(Self { now: line, changed: row.changed })
    }
}

fn all(rows: Vec<Row>) -> Result<Vec<Current<Line>>, StoreError> {
    rows.into_iter().map(Current::try_from).collect()
}

/// The lines of an operation that changed after an entry (0: all of them), by their numbers.
///
/// # Errors
/// When the database does not answer.
pub async fn lines(
    pool: &PgPool,
    operation: OperationId,
    after: i64,
) -> Result<Vec<Current<Line>>, StoreError> {
    all(sqlx::query_as(select_line!("and changed > $2 order by designation, id"))
        .bind(operation.0)
        .bind(after)
        .fetch_all(pool)
        .await?)
}

pub(crate) async fn every(
    connection: &mut PgConnection,
    operation: OperationId,
) -> Result<Vec<Current<Line>>, StoreError> {
    all(sqlx::query_as(select_line!("")).bind(operation.0).fetch_all(connection).await?)
}

/// The lines that anything of a kind lies along.
pub(crate) async fn with_any(
    connection: &mut PgConnection,
    operation: OperationId,
    along: Along,
) -> Result<Vec<LineId>, StoreError> {
    let sql = match along {
        Along::Splices => "select id from line where operation = $1 and splices <> '[]'",
        Along::Reels => "select id from line where operation = $1 and reels <> '[]'",
        Along::Tests => "select id from line where operation = $1 and proving -> 'tests' <> '[]'",
        Along::Tags => "select id from line where operation = $1",
    };
    let ids: Vec<Uuid> = sqlx::query_scalar(sql).bind(operation.0).fetch_all(connection).await?;
    Ok(ids.into_iter().map(LineId).collect())
}

pub(crate) async fn with_id(
    connection: &mut PgConnection,
    operation: OperationId,
    id: LineId,
) -> Result<Option<Line>, StoreError> {
    let row: Option<Row> = sqlx::query_as(select_line!("and id = $2"))
        .bind(operation.0)
        .bind(id.0)
        .fetch_optional(connection)
        .await?;
    Ok(row.map(Current::try_from).transpose()?.map(|current| current.now))
}

/// A line and its crossings, both as of one moment; none when the operation has no such line.
///
/// # Errors
/// When the database does not answer.
pub async fn line_with_crossings(
    pool: &PgPool,
    operation: OperationId,
    id: LineId,
) -> Result<Option<(Line, Vec<Crossing>)>, StoreError> {
    let mut moment = pool.begin_with("begin transaction isolation level repeatable read, read only").await?;
    let Some(line) = with_id(&mut moment, operation, id).await? else { return Ok(None) };
    let crossings = crate::crossing::of_line(&mut moment, operation, id).await?;
    moment.commit().await?;
    Ok(Some((line, crossings)))
}

/// Where the other lines of an operation begin and end, as planned.
///
/// # Errors
/// When the database does not answer.
pub async fn ends_of_others(
    pool: &PgPool,
    operation: OperationId,
    line: LineId,
) -> Result<Vec<OtherEnd>, StoreError> {
    ends_of_others_in(&mut *pool.acquire().await?, operation, line).await
}

pub(crate) async fn ends_of_others_in(
    connection: &mut PgConnection,
    operation: OperationId,
    line: LineId,
) -> Result<Vec<OtherEnd>, StoreError> {
    let rows: Vec<(String, f64, f64)> = sqlx::query_as(
        "select designation, st_x(place), st_y(place)
        from line, unnest(array[st_startpoint(planned::geometry), st_endpoint(planned::geometry)]) as place
        where operation = $1 and id <> $2 and planned is not null order by designation, place",
    )
    .bind(operation.0)
    .bind(line.0)
    .fetch_all(connection)
    .await?;
    let end = |(number, lon, lat): (String, f64, f64)| {
        Ok(OtherEnd { designation: designation(&number)?, position: position("line.planned", lon, lat)? })
    };
    rows.into_iter().map(end).collect()
}

fn designation(number: &str) -> Result<Designation, StoreError> {
    Designation::new(number).map_err(|_| StoreError::corrupt("line.designation", number))
}

/// The ids of the lines that bear this number or this id.
pub(crate) async fn namesakes(
    connection: &mut PgConnection,
    operation: OperationId,
    designation: &Designation,
) -> Result<Option<LineId>, StoreError> {
    let id: Option<Uuid> =
        sqlx::query_scalar("select id from line where operation = $1 and designation = $2")
            .bind(operation.0)
            .bind(designation.as_str())
            .fetch_optional(connection)
            .await?;
    Ok(id.map(LineId))
}

pub(crate) async fn save(
    connection: &mut PgConnection,
    operation: OperationId,
    line: &Line,
    changed: i64,
) -> Result<(), StoreError> {
    let laid: Vec<f64> = line.laid.iter().flat_map(|p| [p.lon(), p.lat()]).collect();
    sqlx::query(
        "insert into line (operation, id, designation, from_end, to_end, state, planned, plan, laid, laid_length_m, team,
             reels, splices, call_backs, started_at, through_at, proved_at, handed_over_at, handed_over_to, proving,
             recovery, changed)
         values ($1, $2, $3, $4, $5, $6, ST_GeogFromWKB($7), $8, $9, $10, $11, $12, $13, $14, $15, $16, $17, $18, $19, $20,
             $21, $22)
         on conflict on constraint line_pkey do update set
             designation = excluded.designation, from_end = excluded.from_end, to_end = excluded.to_end,
             state = excluded.state, planned = excluded.planned, plan = excluded.plan, laid = excluded.laid,
             laid_length_m = excluded.laid_length_m, team = excluded.team, reels = excluded.reels,
             splices = excluded.splices, call_backs = excluded.call_backs, started_at = excluded.started_at,
             through_at = excluded.through_at, proved_at = excluded.proved_at,
             handed_over_at = excluded.handed_over_at, handed_over_to = excluded.handed_over_to,
             proving = excluded.proving, recovery = excluded.recovery, changed = excluded.changed",
    )
    .bind(operation.0)
    .bind(line.id.0)
    .bind(line.designation.as_str())
    .bind(line.from.as_str())
    .bind(line.to.as_str())
    .bind(line.state.as_str())
    .bind(line.planned.as_ref().map(trace_to_wkb).transpose()?)
    .bind(line.plan.map(|plan| i16::try_from(plan.number()).unwrap_or(i16::MAX)))
    .bind(laid)
    .bind(line.laid_length.value())
    .bind(line.team.as_ref().map(Name::as_str))
    .bind(Json(&line.reels))
    .bind(Json(&line.splices))
    .bind(Json(&line.call_backs))
    .bind(line.started_at)
    .bind(line.through_at)
    .bind(line.proved_at)
    .bind(line.handed_over_at)
    .bind(line.handed_over_to.as_ref().map(Name::as_str))
    .bind(Json(&line.proving))
    .bind(Json(&line.recovery))
    .bind(changed)
    .execute(connection)
    .await?;
    Ok(())
}
