//! An operation to try things on, and the reports that crews send into it.

use std::sync::atomic::{AtomicI64, Ordering};

use chrono::{DateTime, Utc};
use laywire_craft::{
    construction::Construction,
    geodesy::Position,
    ids::{CrossingId, LineId, OperationId, ReportId},
    line::Designation,
    obstacle::Obstacle,
    party::{Party, Sender},
    profile::Profile,
    report::{Body, CrossingMarked, LinePlanned, Note, OnLine, Report},
    text::{Name, Remark},
    trace::Trace,
};
use laywire_store::{PgPool, log::Outcome};
use laywire_tests::Scratch;
use uuid::Uuid;

pub(crate) struct Ground {
    pub(crate) pool: PgPool,
    pub(crate) operation: OperationId,
    pub(crate) scratch: Scratch,
}

/// A clock that goes on by a second and some nanoseconds, finer than the database keeps, each time it is read.
pub(crate) fn now() -> DateTime<Utc> {
    static SECOND: AtomicI64 = AtomicI64::new(1_780_000_000);
    DateTime::from_timestamp(SECOND.fetch_add(1, Ordering::Relaxed), 123_456_789).unwrap()
}

pub(crate) fn sender(party: Party, team: &str) -> Sender {
    Sender { party, team: Name::new(team).unwrap() }
}

pub(crate) fn post() -> Sender {
    sender(Party::CommandPost, "Command post")
}

pub(crate) fn at(lon: f64, lat: f64) -> Position {
    Position::new(lon, lat).unwrap()
}

pub(crate) fn report(body: Body) -> Report {
    let id = ReportId(Uuid::now_v7());
    Report { id, at: now(), clock_offset_ms: None, made_by: None, position: None, body }
}

pub(crate) fn note(text: &str) -> Report {
    report(Body::Note(Note { line: None, crossing: None, about: None, text: Remark::new(text).unwrap() }))
}

pub(crate) fn planned(line: LineId, designation: &str) -> Body {
    Body::LinePlanned(LinePlanned {
        line,
        designation: Designation::new(designation).unwrap(),
        from: Name::new("Command post").unwrap(),
        to: Name::new("Switchboard").unwrap(),
        trace: Some(Trace::new(vec![at(-4.67, 54.08), at(-4.635, 54.095)]).unwrap()),
    })
}

pub(crate) fn marked(crossing: CrossingId, line: LineId, position: Position) -> Body {
    Body::CrossingMarked(CrossingMarked {
        crossing,
        line,
        position,
        obstacle: Obstacle::Road,
        hard_surface: None,
        construction: Some(Construction::OverheadLancePoles),
        clearance_m: None,
        span_m: None,
        because: None,
    })
}

impl Ground {
    pub(crate) async fn new() -> Self {
        let scratch = Scratch::new().await;
        let pool = laywire_store::open(scratch.options(), 12).await.unwrap();
        let name = Name::new("Flood relief").unwrap();
        let operation = laywire_store::operation::open(&pool, &name, Profile::field(), now()).await.unwrap();
        Self { pool, operation, scratch }
    }

    /// Another operation on the same database, under a unit's profile.
    pub(crate) async fn under(&self, profile: &Profile) -> OperationId {
        let name = Name::new("Training ground").unwrap();
        laywire_store::operation::open(&self.pool, &name, profile, now()).await.unwrap()
    }

    pub(crate) async fn record(&self, by: &Sender, reports: Vec<Report>) -> Vec<Outcome> {
        let outcomes =
            laywire_store::log::record(&self.pool, self.operation, by, reports, now()).await.unwrap();
        outcomes.into_iter().map(|(_, outcome)| outcome).collect()
    }

    /// Records reports that all have to stand.
    pub(crate) async fn stands(&self, by: &Sender, bodies: Vec<Body>) {
        let outcomes = self.record(by, bodies.into_iter().map(report).collect()).await;
        let all = outcomes.iter().all(|outcome| matches!(outcome, Outcome::Recorded { .. }));
        assert!(all, "{outcomes:?}");
    }

    /// A line that is being laid.
    pub(crate) async fn line(&self, designation: &str) -> LineId {
        let line = LineId(Uuid::now_v7());
        self.stands(&post(), vec![planned(line, designation), Body::LineStarted(OnLine { line })]).await;
        line
    }

    /// The numbers in the log, in its order.
    pub(crate) async fn numbers(&self) -> Vec<i64> {
        let mut connection = self.pool.acquire().await.unwrap();
        let entries = laywire_store::log::after(&mut connection, self.operation, 0, 1_000_000).await.unwrap();
        entries.iter().map(|entry| entry.sequence).collect()
    }

    pub(crate) async fn sequence(&self) -> i64 {
        laywire_store::operation::get(&self.pool, self.operation).await.unwrap().unwrap().sequence
    }
}
