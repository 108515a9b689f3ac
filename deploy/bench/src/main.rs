//! The queue's cost as a ratio: the whole service in-process (router, pass, query, JSON) against the bare nearest-first
//! SELECT on the same rows through the same pool, turn by turn, so that a noisy machine is noisy for both. Needs
//! `LAYWIRE_TEST_DATABASE_URL`, a maintenance database on a cluster with PostGIS; makes a database of its own and drops
//! it. Each size has a thousand unfinished crossings; the rest is finished. With the word `foreseen`, `finder`, `terrain` or
//! `queue` it measures that alone.
#![allow(clippy::print_stdout, reason = "its output is what it is for")]

mod finder;
mod foreseen;
mod terrain;

use std::{
    path::Path,
    time::{Duration, Instant},
};

use axum::{
    Router,
    body::{Body, to_bytes},
    http::{Request, StatusCode, header},
};
use chrono::Utc;
use laywire::{Service, access::Secret, openapi::app, way::Front};
use laywire_craft::{
    geodesy::Position,
    ids::OperationId,
    party::{Party, Sender},
    profile::Profile,
    text::Name,
};
use laywire_store::{
    PgConnectOptions, PgPool,
    queue::{self, Order},
};
use sqlx::{AssertSqlSafe, ConnectOptions, Executor};
use tokio_util::sync::CancellationToken;
use tower::ServiceExt;
use uuid::Uuid;

type Failure = Box<dyn std::error::Error + Send + Sync>;

const SIZES: [i32; 3] = [10_000, 100_000, 1_000_000];
const TURNS: usize = 2_000;
const WARM: usize = 200;
/// The bare index scan: the same columns of the same rows, condition, order and limit, and nothing done with them.
const BARE: &str = "select id, line, state, ST_X(position::geometry) as lon, ST_Y(position::geometry) as lat, chainage_m,
        obstacle, hard_surface, construction, clearance_m, depth_m, span_m, clear_of_traffic, left_undone, opened_at,
        passed_at, in_hand_team, in_hand_since, finished_at, finished_by, proved_at, because, struck_out_because, conflicts, changed,
        position <-> ST_MakePoint($2, $3)::geography as distance_m
    from crossing where operation = $1 and state in ('marked', 'passed', 'in_hand')
    order by position <-> ST_MakePoint($2, $3)::geography limit $4";

#[tokio::main]
async fn main() -> Result<(), Failure> {
    let url = std::env::var("LAYWIRE_TEST_DATABASE_URL")
        .map_err(|_| "set LAYWIRE_TEST_DATABASE_URL to a maintenance database on a cluster with PostGIS")?;
    let server: PgConnectOptions = url.parse()?;
    let name = format!("bench_{}", Uuid::now_v7().simple());
    let mut maintenance = server.connect().await?;
    maintenance.execute(AssertSqlSafe(format!("create database {name} template template1"))).await?;
    let outcome = measure(server.clone().database(&name)).await;
    maintenance.execute(AssertSqlSafe(format!("drop database {name} with (force)"))).await?;
    outcome
}

async fn measure(database: PgConnectOptions) -> Result<(), Failure> {
    let pool = laywire_store::open(database.clone(), 4).await?;
    let only = std::env::args().nth(1);
    let wanted = |what: &str| only.as_deref().is_none_or(|only| only == what);
    if !wanted("queue") || only.is_none() {
        let extract = Path::new(env!("CARGO_MANIFEST_DIR")).join("../demo/isle-of-man.osm.pbf");
        laywire_store::terrain::load(&pool, &extract, |_| {}).await?;
    }
    if wanted("foreseen") {
        foreseen::measure(&pool).await?;
    }
    if wanted("finder") {
        finder::measure(&pool).await?;
    }
    if wanted("terrain") {
        terrain::measure(&pool, &database).await?;
    }
    if wanted("queue") {
        measure_queue(&pool).await?;
    }
    pool.close().await;
    Ok(())
}

async fn measure_queue(pool: &PgPool) -> Result<(), Failure> {
    let service = Service::new(pool.clone(), CancellationToken::new(), Front::default());
    let router = app(service, None);
    println!(
        "{:>9}  {:>12}  {:>12}  {:>12}  {:>12}  {:>7}  {:>7}",
        "crossings", "service", "store alone", "its SELECT", "bare SELECT", "ratio", "to 10^4"
    );
    let mut first = None;
    for size in SIZES {
        let (operation, secret) = fill(pool, size).await?;
        let [mut whole, mut store, mut own, mut bare] = [(); 4].map(|()| Vec::with_capacity(TURNS));
        for turn in 0..WARM + TURNS {
            let (lon, lat) = place(turn);
            let served = serve(&router, operation, &secret, lon, lat).await?;
            let stored = ask_store(pool, operation, lon, lat).await?;
            let asked = select(pool, queue::NEAREST.usual, None, operation, lon, lat).await?;
            let selected = select(pool, BARE, Some(20), operation, lon, lat).await?;
            if turn >= WARM {
                whole.push(served);
                store.push(stored);
                own.push(asked);
                bare.push(selected);
            }
        }
        let [whole, store, own, bare] =
            [&mut whole, &mut store, &mut own, &mut bare].map(|times| median(times));
        let first = *first.get_or_insert(whole);
        println!(
            "{size:>9}  {:>9.0} µs  {:>9.0} µs  {:>9.0} µs  {:>9.0} µs  {:>7.2}  {:>7.2}",
            micros(whole),
            micros(store),
            micros(own),
            micros(bare),
            micros(whole) / micros(bare),
            micros(whole) / micros(first)
        );
    }
    Ok(())
}

fn micros(time: Duration) -> f64 {
    time.as_secs_f64() * 1e6
}

fn median(times: &mut [Duration]) -> Duration {
    times.sort_unstable();
    times[times.len() / 2]
}

/// Where the team stands at each turn: some hundred places over the ground, the same for both.
fn place(turn: usize) -> (f64, f64) {
    #[allow(clippy::cast_precision_loss, reason = "a small number")]
    let step = (turn % 97) as f64 / 97.0;
    (-4.8 + step * 0.4, 54.05 + (step * 7.0).fract() * 0.3)
}

/// An operation with so many crossings, a thousand of them unfinished and all spread over the same ground.
async fn fill(pool: &PgPool, size: i32) -> Result<(Uuid, String), Failure> {
    let operation =
        laywire_store::operation::open(pool, &Name::new("Bench")?, Profile::field(), Utc::now()).await?;
    let secret = Secret::new();
    let holder = Sender { party: Party::FollowUpTeam, team: Name::new("Follow-up 1")? };
    laywire_store::pass::give(pool, operation, &holder, &secret.hash(), Utc::now()).await?;
    let line = Uuid::now_v7();
    sqlx::query(
        "insert into line (operation, id, designation, from_end, to_end, state, changed) values ($1, $2, '1', 'a', 'b', 'laying', 1)",
    )
    .bind(operation.0)
    .bind(line)
    .execute(pool)
    .await?;
    sqlx::query(
        "insert into crossing (operation, id, line, state, position, chainage_m, obstacle, hard_surface, construction,
             clear_of_traffic, wire_in_traffic, opened_at, passed_at, changed)
         select $1, gen_random_uuid(), $2, case when n % ($3 / 1000) = 0 then 'passed' else 'finished' end,
             ST_MakePoint(-4.8 + random() * 0.4, 54.05 + random() * 0.3)::geography, n, 'dirt_road', false, 'buried',
             false, n % ($3 / 1000) = 0, now(), now(), 1
         from generate_series(1, $3) n",
    )
    .bind(operation.0)
    .bind(line)
    .bind(size)
    .execute(pool)
    .await?;
    pool.execute("vacuum analyze crossing").await?;
    Ok((operation.0, secret.text()))
}

async fn serve(
    router: &Router,
    operation: Uuid,
    secret: &str,
    lon: f64,
    lat: f64,
) -> Result<Duration, Failure> {
    let request = Request::get(format!("/api/operations/{operation}/queue?from={lon},{lat}&limit=20"))
        .header(header::AUTHORIZATION, format!("Bearer {secret}"))
        .body(Body::empty())?;
    let began = Instant::now();
    let response = router.clone().oneshot(request).await?;
    let status = response.status();
    let body = to_bytes(response.into_body(), 1_000_000).await?;
    let took = began.elapsed();
    if status != StatusCode::OK || body.len() < 1_000 {
        return Err(format!("{status}: {}", String::from_utf8_lossy(&body)).into());
    }
    Ok(took)
}

async fn select(
    pool: &PgPool,
    sql: &'static str,
    limit: Option<i64>,
    operation: Uuid,
    lon: f64,
    lat: f64,
) -> Result<Duration, Failure> {
    let began = Instant::now();
    let query = sqlx::query(sql).bind(operation).bind(lon).bind(lat);
    let query = if let Some(limit) = limit { query.bind(limit) } else { query };
    let rows = query.fetch_all(pool).await?;
    let took = began.elapsed();
    if i64::try_from(rows.len()) != Ok(limit.unwrap_or(queue::USUAL)) {
        return Err(format!("the SELECT found {} rows", rows.len()).into());
    }
    Ok(took)
}

async fn ask_store(pool: &PgPool, operation: Uuid, lon: f64, lat: f64) -> Result<Duration, Failure> {
    let from = Position::new(lon, lat)?;
    let began = Instant::now();
    let waiting = queue::queue(pool, OperationId(operation), from, Order::Near, None, 20).await?;
    let took = began.elapsed();
    if waiting.len() != 20 {
        return Err(format!("the queue has {} crossings", waiting.len()).into());
    }
    Ok(took)
}
