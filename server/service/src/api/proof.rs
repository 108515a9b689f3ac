//! A line's tests, each beside what a sound line as it was laid should give, and where its tags belong.

use std::sync::Arc;

use axum::{
    Extension, Json,
    extract::{Path, State},
};
use chrono::{DateTime, Utc};
use laywire_craft::{
    crossing::Crossing,
    line::{Line, LineState},
    profile::Profile,
    proof::{self, TestJudged},
    proving::{ProofLost, Test, Watch},
    tags::{self, Tag},
    text::Name,
    units::Minutes,
};
use serde::Serialize;
use utoipa::ToSchema;

use super::line::with_crossings;
use crate::{
    Service,
    access::Seat,
    problem::{Problem, ProblemDocument},
};

/// A test and its verdict.
#[derive(Serialize, ToSchema)]
pub struct JudgedTest {
    /// The test.
    test: Test,
    /// It beside what a sound line should give; null where the line has more wire than the reckoning takes.
    #[schema(required = true)]
    judged: Option<TestJudged>,
}

/// A line's tests.
#[derive(Serialize, ToSchema)]
pub struct LineTests {
    /// The entry up to which this is the state, at the least.
    sequence: i64,
    /// How far the line has come.
    state: LineState,
    /// When a call came from the far end.
    #[schema(required = true)]
    through_at: Option<DateTime<Utc>>,
    /// When it was proved.
    #[schema(required = true)]
    proved_at: Option<DateTime<Utc>>,
    /// The proof that does not hold any more, and why.
    #[schema(required = true)]
    proof_lost: Option<ProofLost>,
    /// Who watches it, until the switchboard's crew comes.
    #[schema(required = true)]
    watch: Option<Watch>,
    /// The numbers of the tags that it was handed over with.
    tags: Vec<Name>,
    /// The time that nobody could speak over it, until now.
    without_communication_min: Minutes,
    /// The last 200 tests, in the order in which they were told.
    tests: Vec<JudgedTest>,
}

/// The line's tests, each against what is expected of the line as it was laid, with a verdict in words.
#[utoipa::path(get, path = "/api/operations/{op}/lines/{line}/tests", tag = "proving", operation_id = "line_tests",
    params(("op" = laywire_craft::ids::OperationId, Path), ("line" = laywire_craft::ids::LineId, Path)),
    responses((status = 200, body = LineTests), (status = 401, body = ProblemDocument), (status = 404, body = ProblemDocument)))]
pub async fn line_tests(
    State(service): State<Arc<Service>>,
    Extension(seat): Extension<Seat>,
    Path((_, line)): Path<(String, String)>,
) -> Result<Json<LineTests>, Problem> {
    let sequence = super::operation::sequence(&service, &seat).await?;
    let (line, crossings) = with_crossings(&service, &seat, &line).await?;
    let profile = laywire_store::operation::profile(&service.pool, seat.0.operation).await?;
    let now = service.now();
    let answer = tokio::task::spawn_blocking(move || {
        let judge = |test: &Test| proof::judge(&line, &crossings, &profile, test).ok();
        let tests = line.proving.tests.iter();
        LineTests {
            sequence,
            state: line.state,
            through_at: line.through_at,
            proved_at: line.proved_at,
            proof_lost: line.proving.proof_lost.clone(),
            watch: line.proving.watch.clone(),
            tags: line.proving.tags.clone(),
            without_communication_min: line.proving.silent(now),
            tests: tests.map(|test| JudgedTest { test: test.clone(), judged: judge(test) }).collect(),
        }
    });
    Ok(Json(answer.await.map_err(|_| Problem::Internal)?))
}

/// A tag and its grid reference.
#[derive(Serialize, ToSchema)]
pub struct PlacedTag {
    /// The tag.
    #[serde(flatten)]
    tag: Tag,
    /// Its grid reference.
    #[schema(required = true)]
    grid: Option<String>,
}

/// A line's tags.
#[derive(Serialize, ToSchema)]
pub struct LineTags {
    /// From the near end.
    tags: Vec<PlacedTag>,
}

/// Where the line's tags belong by the rules, numbered from the near end: both ends, both sides of each crossing, which is
/// where the construction changes, branches, and test points.
#[utoipa::path(get, path = "/api/operations/{op}/lines/{line}/tags", tag = "proving", operation_id = "line_tags",
    params(("op" = laywire_craft::ids::OperationId, Path), ("line" = laywire_craft::ids::LineId, Path)),
    responses((status = 200, body = LineTags), (status = 401, body = ProblemDocument), (status = 404, body = ProblemDocument)))]
pub async fn line_tags(
    State(service): State<Arc<Service>>,
    Extension(seat): Extension<Seat>,
    Path((_, line)): Path<(String, String)>,
) -> Result<Json<LineTags>, Problem> {
    let (line, crossings) = with_crossings(&service, &seat, &line).await?;
    let profile = laywire_store::operation::profile(&service.pool, seat.0.operation).await?;
    let placed = |tag: Tag| PlacedTag { grid: tag.position.map(super::crossing::grid), tag };
    let tags = self::tags(&service, &seat, &line, &crossings, &profile).await?;
    Ok(Json(LineTags { tags: tags.into_iter().map(placed).collect() }))
}

/// A line's tags, with those where the operation's other lines branch off.
pub(super) async fn tags(
    service: &Service,
    seat: &Seat,
    line: &Line,
    crossings: &[Crossing],
    profile: &Profile,
) -> Result<Vec<Tag>, Problem> {
    let others = laywire_store::ends_of_others(&service.pool, seat.0.operation, line.id).await?;
    Ok(tags::list(line, crossings, &others, profile))
}
