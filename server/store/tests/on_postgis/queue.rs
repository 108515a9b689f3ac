//! The queue: nearest first by the ellipsoid's distances, whatever index found them, and never by reading every row.
//! Distances are checked against GeographicLib's geodesics (Karney 2013, by the crate geographiclib-rs in `craft`), on
//! every point and not on those that the index chose.

use laywire_craft::{
    crossing::Crossing,
    geodesy::{self, Position},
    ids::LineId,
    profile::Profile,
};
use laywire_store::queue::{NEAREST, NEAREST_IN_TRAFFIC, Order, Waiting, queue};
use rand::{RngExt, SeedableRng, rngs::StdRng};
use serde_json::Value;
use sqlx::{AssertSqlSafe, Connection, PgConnection};
use uuid::Uuid;

use crate::ground::{Ground, at};

/// Writes crossings as rows, which is quicker than as reports: every second one is unfinished, every sixth in traffic.
async fn strew(ground: &Ground, line: LineId, places: &[Position]) {
    let (lon, lat): (Vec<f64>, Vec<f64>) = places.iter().map(|p| (p.lon(), p.lat())).unzip();
    sqlx::query(
        "insert into crossing (operation, id, line, state, position, chainage_m, obstacle, hard_surface, construction,
             clear_of_traffic, wire_in_traffic, opened_at, passed_at, finished_at, changed)
         select $1, gen_random_uuid(), $2, case when n % 2 = 0 then 'passed' else 'finished' end,
             ST_MakePoint(lon, lat)::geography, n, 'road', true, 'overhead_poles', n % 6 <> 0, n % 6 = 0, now(), now(),
             case when n % 2 = 1 then now() end, 1
         from unnest($3::float8[], $4::float8[]) with ordinality as place (lon, lat, n)",
    )
    .bind(ground.operation.0)
    .bind(line.0)
    .bind(lon)
    .bind(lat)
    .execute(&ground.pool)
    .await
    .unwrap();
}

/// Points within some twenty kilometres of a place, and none beyond the ends of the scales.
fn around(rng: &mut StdRng, middle: Position, count: usize) -> Vec<Position> {
    let wide = 0.2 / middle.lat().to_radians().cos();
    let place = |rng: &mut StdRng| {
        let lon = middle.lon() + rng.random_range(-wide..wide);
        at((lon + 540.0).rem_euclid(360.0) - 180.0, middle.lat() + rng.random_range(-0.2..0.2))
    };
    (0..count).map(|_| place(rng)).collect()
}

async fn unfinished(ground: &Ground) -> Vec<Crossing> {
    let all = laywire_store::crossings(&ground.pool, ground.operation, 0).await.unwrap();
    all.into_iter().map(|c| c.now).filter(|c| c.state.is_unfinished()).collect()
}

fn by_distance(crossings: &[Crossing], from: Position) -> Vec<(Uuid, f64)> {
    let mut all: Vec<_> =
        crossings.iter().map(|c| (c.id.0, geodesy::distance(from, c.position).value())).collect();
    all.sort_by(|a, b| a.1.total_cmp(&b.1));
    all
}

fn agree(waiting: &[Waiting], wanted: &[(Uuid, f64)], from: Position) {
    assert_eq!(waiting.len(), wanted.len().min(100));
    for (n, (got, (id, distance))) in waiting.iter().zip(wanted).enumerate() {
        assert_eq!(got.crossing.id.0, *id, "place {n} from {from:?}: {got:?}, wanted at {distance}");
        assert!((got.distance.value() - distance).abs() < 0.001, "{got:?}: wanted {distance}");
    }
}

#[tokio::test]
async fn the_queue_is_what_brute_force_finds() {
    let ground = Ground::new().await;
    let mut rng = StdRng::seed_from_u64(2);
    let middles = [at(0.01, 0.0), at(24.9, 60.2), at(179.95, -16.5), at(-179.99, 65.0), at(-4.6, 54.1)];
    for (n, middle) in middles.iter().enumerate() {
        let line = ground.line(&format!("L-{n}")).await;
        strew(&ground, line, &around(&mut rng, *middle, 1_000)).await;
    }
    let all = unfinished(&ground).await;
    assert_eq!(all.len(), 2_500);
    for middle in middles {
        for from in around(&mut rng, middle, 4) {
            let near = queue(&ground.pool, ground.operation, from, Order::Near, None, 100).await.unwrap();
            let wanted = by_distance(&all, from);
            agree(&near, &wanted, from);

            let hazard = queue(&ground.pool, ground.operation, from, Order::Hazard, None, 100).await.unwrap();
            let (first, rest): (Vec<_>, Vec<_>) = all.iter().cloned().partition(Crossing::wire_in_traffic);
            let mut wanted = by_distance(&first, from);
            wanted.extend(by_distance(&rest, from));
            agree(&hazard, &wanted, from);

            let few = queue(&ground.pool, ground.operation, from, Order::Near, None, 3).await.unwrap();
            assert_eq!(few, near[..3]);
        }
    }
}

#[tokio::test]
async fn hazards_that_run_out_are_followed_by_the_rest() {
    let ground = Ground::new().await;
    let line = ground.line("L-1").await;
    let mut rng = StdRng::seed_from_u64(3);
    strew(&ground, line, &around(&mut rng, at(-4.6, 54.1), 30)).await;
    let from = at(-4.6, 54.1);
    let hazard = queue(&ground.pool, ground.operation, from, Order::Hazard, None, 100).await.unwrap();
    let traffic: Vec<bool> = hazard.iter().map(|w| w.crossing.wire_in_traffic()).collect();
    assert_eq!(traffic, [vec![true; 5], vec![false; 10]].concat());
}

#[tokio::test]
async fn along_goes_by_chainage_on_the_line_where_the_team_stands_or_on_the_one_it_names() {
    let ground = Ground::new().await;
    let (near, far) = (ground.line("L-1").await, ground.line("L-2").await);
    let mut rng = StdRng::seed_from_u64(4);
    strew(&ground, near, &around(&mut rng, at(-4.65, 54.09), 200)).await;
    strew(&ground, far, &around(&mut rng, at(-6.0, 54.09), 200)).await;
    let from = at(-4.65, 54.09);
    let lines = laywire_store::lines(&ground.pool, ground.operation, 0).await.unwrap();
    for (named, of) in [(None, near), (Some(near), near), (Some(far), far)] {
        let line = &lines.iter().find(|l| l.now.id == of).unwrap().now;
        let stands = line.chainage(from).value();
        let mut wanted: Vec<f64> = unfinished(&ground)
            .await
            .iter()
            .filter(|c| c.line == of)
            .map(|c| (c.chainage.value() - stands).abs())
            .collect();
        wanted.sort_by(f64::total_cmp);
        wanted.truncate(50);
        let along = queue(&ground.pool, ground.operation, from, Order::Along, named, 50).await.unwrap();
        assert!(along.iter().all(|w| w.crossing.line == of));
        let got: Vec<f64> = along.iter().map(|w| w.distance.value()).collect();
        assert_eq!(got.len(), 50);
        assert!(got.iter().zip(&wanted).all(|(a, b)| (a - b).abs() < 1e-6), "{got:?} and not {wanted:?}");
    }
    let unknown = Some(LineId(Uuid::now_v7()));
    assert_eq!(queue(&ground.pool, ground.operation, from, Order::Along, unknown, 50).await.unwrap(), []);
}

#[tokio::test]
async fn another_operations_crossings_do_not_wait_here() {
    let ground = Ground::new().await;
    let line = ground.line("L-1").await;
    strew(&ground, line, &[at(-4.6, 54.1), at(-4.61, 54.1)]).await;
    let name = laywire_craft::text::Name::new("Another").unwrap();
    let other = laywire_store::operation::open(&ground.pool, &name, Profile::field(), crate::ground::now())
        .await
        .unwrap();
    for order in [Order::Near, Order::Along, Order::Hazard] {
        assert_eq!(queue(&ground.pool, other, at(-4.6, 54.1), order, None, 10).await.unwrap(), []);
    }
}

fn plans(plan: &Value, found: &mut Vec<(String, String)>) {
    let word = |key: &str| plan[key].as_str().unwrap_or_default().to_owned();
    found.push((word("Node Type"), [word("Index Name"), word("Relation Name")].concat()));
    for inner in plan["Plans"].as_array().into_iter().flatten() {
        plans(inner, found);
    }
}

async fn explained(connection: &mut PgConnection, sql: &str, ground: &Ground) -> Vec<(String, String)> {
    sqlx::raw_sql(AssertSqlSafe(format!("prepare q (uuid, float8, float8, int8, int8) as {sql}")))
        .execute(&mut *connection)
        .await
        .unwrap();
    let explain = format!("explain (format json) execute q ('{}', -4.6, 54.1, 20, 60)", ground.operation);
    let plan: Value = sqlx::query_scalar(AssertSqlSafe(explain)).fetch_one(&mut *connection).await.unwrap();
    sqlx::raw_sql("deallocate q").execute(&mut *connection).await.unwrap();
    let mut found = Vec::new();
    plans(&plan[0]["Plan"], &mut found);
    found
}

/// What the planner says of 10^5 crossings, with figures for the question before it and without.
#[tokio::test]
async fn the_queue_reads_its_partial_index_and_never_every_row() {
    let ground = Ground::new().await;
    let mut rng = StdRng::seed_from_u64(5);
    for n in 0..50 {
        let line = ground.line(&format!("L-{n}")).await;
        strew(&ground, line, &around(&mut rng, at(-4.6, 54.1), 2_000)).await;
    }
    let crossings: i64 =
        sqlx::query_scalar("select count(*) from crossing").fetch_one(&ground.pool).await.unwrap();
    assert_eq!(crossings, 100_000);
    let mut connection = PgConnection::connect_with(&ground.scratch.options()).await.unwrap();
    for statement in ["vacuum analyze crossing", "vacuum analyze line"] {
        sqlx::query(statement).execute(&mut connection).await.unwrap();
    }
    for mode in ["auto", "force_generic_plan", "force_custom_plan"] {
        sqlx::raw_sql(AssertSqlSafe(format!("set plan_cache_mode = {mode}")))
            .execute(&mut connection)
            .await
            .unwrap();
        for (sql, index) in
            [(NEAREST, "crossing_unfinished_idx"), (NEAREST_IN_TRAFFIC, "crossing_in_traffic_idx")]
        {
            let plan = explained(&mut connection, sql, &ground).await;
            assert!(
                plan.iter().any(|(node, on)| node == "Index Scan" && on.starts_with(index)),
                "{mode}: {plan:?}"
            );
            // The operation's fifty lines lie on a page or two, which is read whole: the crossings are what there are many of.
            let whole = |(node, on): &(String, String)| node.contains("Seq Scan") && on != "line";
            assert!(!plan.iter().any(whole), "{mode}: {plan:?}");
        }
    }
}
