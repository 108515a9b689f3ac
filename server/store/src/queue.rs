//! The queue: unfinished crossings, nearest first from where the follow-up team stands. The nearest are taken by the
//! index, on the sphere; what is shown and ordered is measured on the ellipsoid. By road, the nearest are put in the order of
//! the travel to them.

use laywire_craft::{
    crossing::Crossing,
    geodesy::{self, Position},
    ids::{LineId, OperationId},
    line::Designation,
    pace::Means,
    road::Travel,
    units::{Degrees, Metres},
};
use sqlx::{FromRow, PgPool, Row as _, postgres::PgRow};

use crate::{
    Current, StoreError,
    crossing::{CROSSING_COLUMNS, Row as CrossingRow, crossing_columns},
    line::metres,
    road::{self, RoadError},
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
    /// In which direction it lies.
    pub direction: Degrees,
    /// The travel to it by road, where that was asked and a way was found.
    pub travel: Option<Travel>,
}

/// Most crossings that one call answers.
pub const MOST: u16 = 100;

struct Row {
    crossing: CrossingRow,
    designation: String,
    /// On the sphere for the nearest, along the line for `along`.
    measured_m: f64,
}

impl FromRow<'_, PgRow> for Row {
    fn from_row(row: &PgRow) -> sqlx::Result<Self> {
        Ok(Self {
            crossing: CrossingRow::from_row(row)?,
            designation: row.try_get_unchecked(CROSSING_COLUMNS)?,
            measured_m: row.try_get_unchecked(CROSSING_COLUMNS + 1)?,
        })
    }
}

impl Row {
    fn waiting(self, way: impl Fn(&Crossing) -> (Metres, Degrees)) -> Result<Waiting, StoreError> {
        let Current { now: crossing, changed } = Current::try_from(self.crossing)?;
        let (distance, direction) = way(&crossing);
        Ok(Waiting {
            distance,
            direction,
            travel: None,
            crossing,
            changed,
            designation: Designation::new(&self.designation)
                .map_err(|_| StoreError::corrupt("line.designation", &self.designation))?,
        })
    }
}

/// How many more than were asked for are taken by the index, because the sphere's order is not quite the ellipsoid's.
const SPARE: i64 = 2;

/// No distance on the ellipsoid is less than this share of the same on the sphere, where nothing on the way lies nearer
/// to the equator than `latitude`: the radius of curvature along the meridian, the least there is at a place and growing
/// towards the poles, against the mean radius that the sphere has. WGS 84 (NIMA TR8350.2): a = 6,378,137 m, 1/f =
/// 298.257223563.
fn least_share(latitude: f64) -> f64 {
    const A: f64 = 6_378_137.0;
    const F: f64 = 1.0 / 298.257_223_563;
    const E2: f64 = F * (2.0 - F);
    const MEAN: f64 = A * (3.0 - F) / 3.0;
    let sine = latitude.to_radians().sin();
    A * (1.0 - E2) / (1.0 - E2 * sine * sine).powf(1.5) / MEAN
}

macro_rules! nearest {
    ($condition:literal, $limit:literal) => {
        concat!(
            "select ",
            crossing_columns!("c."),
            ", l.designation, c.measured_m from (
                 select *, position <-> ST_MakePoint($2, $3)::geography as measured_m
                 from crossing where operation = $1 and ",
            $condition,
            " order by position <-> ST_MakePoint($2, $3)::geography limit ",
            $limit,
            ") c join line l on l.operation = $1 and l.id = c.line"
        )
    };
}

/// A question for the nearest: as most ask it, and for any number.
pub struct Nearest {
    /// For the nearest [`USUAL`]. The number stands in it: a limit that is a parameter makes the database plan the
    /// question anew each time, because it cannot know how far the scan will go.
    pub usual: &'static str,
    /// For as many as the fourth parameter says.
    pub any: &'static str,
}

/// How many the usual question takes: what a page shows, and the spare ones.
pub const USUAL: i64 = 22;

/// Every unfinished crossing, nearest first. The condition is that of the partial index, to the letter.
pub const NEAREST: Nearest = Nearest {
    usual: nearest!("state in ('marked', 'passed', 'in_hand')", 22),
    any: nearest!("state in ('marked', 'passed', 'in_hand')", "$4"),
};
/// Those with wire in traffic, nearest first.
pub const NEAREST_IN_TRAFFIC: Nearest =
    Nearest { usual: nearest!("wire_in_traffic", 22), any: nearest!("wire_in_traffic", "$4") };
/// Those of one line, by distance along it.
pub const ALONG: &str = concat!(
    "select ",
    crossing_columns!("c."),
    ", l.designation, abs(c.chainage_m - $3) as measured_m
     from crossing c join line l on l.operation = c.operation and l.id = c.line
     where c.operation = $1 and c.line = $2 and c.state in ('marked', 'passed', 'in_hand')
     order by measured_m, c.id limit $4"
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

/// The nearest, the soonest reached by road first; those to which no way was found come last, by distance over the ground.
///
/// # Errors
/// As [`road::travel`].
pub async fn by_road(
    pool: &PgPool,
    operation: OperationId,
    from: Position,
    by: Means,
    limit: u16,
) -> Result<Vec<Waiting>, RoadError> {
    let mut waiting = nearest(pool, NEAREST, operation, from, i64::from(MOST)).await?;
    let places = std::iter::once(from).chain(waiting.iter().map(|one| one.crossing.position)).collect();
    let profile = crate::operation::profile(pool, operation).await?;
    let (travel, _) = road::travel(pool, places, 1, by, profile).await?;
    for (one, travel) in waiting.iter_mut().zip(travel.into_iter().flatten().skip(1)) {
        one.travel = travel;
        one.distance = travel.map_or(one.distance, |travel| travel.distance_m);
    }
    waiting.sort_by(|a, b| {
        let minutes = |one: &Waiting| one.travel.map(|travel| travel.travel_min);
        (minutes(a).is_none(), minutes(a), a.distance, a.crossing.id).cmp(&(
            minutes(b).is_none(),
            minutes(b),
            b.distance,
            b.crossing.id,
        ))
    });
    waiting.truncate(limit.into());
    Ok(waiting)
}

/// The nearest by the index, measured on the ellipsoid; more are taken until none that was left out can be nearer.
async fn nearest(
    pool: &PgPool,
    sql: Nearest,
    operation: OperationId,
    from: Position,
    limit: i64,
) -> Result<Vec<Waiting>, StoreError> {
    let mut take = (limit + SPARE).max(USUAL);
    loop {
        let usual = take == USUAL;
        let query = sqlx::query(if usual { sql.usual } else { sql.any });
        let query = query.bind(operation.0).bind(from.lon()).bind(from.lat());
        let query = if usual { query } else { query.bind(take) };
        let rows = query.fetch_all(pool).await?;
        let all_of_them = i64::try_from(rows.len()).is_ok_and(|taken| taken < take);
        let mut waiting = Vec::with_capacity(rows.len());
        let (mut farthest, mut latitude) = (0.0_f64, from.lat().abs());
        for row in &rows {
            let row = Row::from_row(row)?;
            farthest = farthest.max(row.measured_m);
            let one = row.waiting(|crossing| geodesy::way(from, crossing.position))?;
            let lat = one.crossing.position.lat();
            latitude = if lat * from.lat() > 0.0 { latitude.min(lat.abs()) } else { 0.0 };
            waiting.push(one);
        }
        waiting.sort_by(|a, b| a.distance.cmp(&b.distance).then(a.crossing.id.cmp(&b.crossing.id)));
        waiting.truncate(usize::try_from(limit).unwrap_or(usize::MAX));
        let last = waiting.last().map_or(0.0, |waiting| waiting.distance.value());
        if all_of_them || last <= farthest * least_share(latitude) {
            return Ok(waiting);
        }
        take *= 2;
    }
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
    rows.into_iter()
        .map(|row| {
            let along = metres("measured_m", row.measured_m)?;
            row.waiting(|crossing| (along, geodesy::direction(from, crossing.position)))
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_least_radius_of_curvature_is_that_of_wgs_84() {
        // NIMA TR8350.2, table 3.3: a = 6,378,137.0 m, polar radius of curvature 6,399,593.6258 m, mean radius of the
        // three semi-axes 6,371,008.7714 m. At the equator it is a(1 - e²), e² = 6.69437999014e-3 in the same table.
        let radius = |latitude| least_share(latitude) * 6_371_008.771_4;
        assert!((radius(90.0) - 6_399_593.625_8).abs() < 1e-3);
        assert!((radius(-90.0) - radius(90.0)).abs() < 1e-6);
        assert!((radius(0.0) - 6_378_137.0 * (1.0 - 6.694_379_990_14e-3)).abs() < 1e-3);
    }
}
