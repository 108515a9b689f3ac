//! The terrain's load against osm2pgsql, a loader in wide use, on the same extract and cluster; and its tiles against the bare
//! ST_AsMVT SELECT through the same pool, and against martin, a tile server in wide use, which is given that very SELECT as a
//! function, over HTTP on the same machine. A peer that is not installed is left out, and that is said.

use std::{
    path::{Path, PathBuf},
    process::{Child, Command, Stdio},
    time::{Duration, Instant},
};

use axum::{Router, body::Body, body::to_bytes, http::Request, http::header};
use chrono::Utc;
use laywire::{Service, access::Secret, openapi::app, way::Front};
use laywire_craft::{
    party::{Party, Sender},
    profile::Profile,
    text::Name,
};
use laywire_store::{PgConnectOptions, PgPool, operation, pass, terrain};
use sqlx::{AssertSqlSafe, ConnectOptions, Executor};
use tokio::{net::TcpListener, task::JoinSet};
use tokio_util::sync::CancellationToken;
use tower::ServiceExt;
use uuid::Uuid;

use crate::{Failure, median, micros};

const LOADS: usize = 3;
const TURNS: usize = 3;
/// So many ask for tiles at once over HTTP.
const AT_ONCE: usize = 4;
/// The island's land, and the zooms that a team looks at.
const LAND: [f64; 4] = [-4.83, 54.04, -4.31, 54.42];
const ZOOMS: [u8; 4] = [11, 12, 13, 14];

fn extract() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("../demo/isle-of-man.osm.pbf")
}

pub(crate) async fn measure(pool: &PgPool, database: &PgConnectOptions) -> Result<(), Failure> {
    loads(pool, database).await?;
    tiles(pool, database).await
}

async fn loads(pool: &PgPool, database: &PgConnectOptions) -> Result<(), Failure> {
    let peer_database = format!("peer_{}", Uuid::now_v7().simple());
    let mut maintenance = database.clone().database("postgres").connect().await?;
    maintenance.execute(AssertSqlSafe(format!("create database {peer_database} template template1"))).await?;
    let [mut ours, mut theirs] = [(); 2].map(|()| Vec::with_capacity(LOADS));
    let mut there = true;
    for _ in 0..LOADS {
        let began = Instant::now();
        terrain::load(pool, &extract(), |_| {}).await?;
        ours.push(began.elapsed());
        let began = Instant::now();
        there = there && osm2pgsql(database, &peer_database)?;
        theirs.push(began.elapsed());
    }
    maintenance.execute(AssertSqlSafe(format!("drop database {peer_database} with (force)"))).await?;
    let [ours, theirs] = [&mut ours, &mut theirs].map(|times| micros(median(times)) / 1e6);
    if there {
        println!("load of the extract: {ours:.2} s, osm2pgsql {theirs:.2} s, ratio {:.2}", ours / theirs);
    } else {
        println!("load of the extract: {ours:.2} s; osm2pgsql is not installed");
    }
    Ok(())
}

fn osm2pgsql(database: &PgConnectOptions, name: &str) -> Result<bool, Failure> {
    let run = Command::new("osm2pgsql")
        .args(["--create", "--latlong", "-d", name, "-H"])
        .arg(host(database))
        .args(["-P", &database.get_port().to_string(), "-U", database.get_username()])
        .arg(extract())
        .stdout(Stdio::null())
        .stderr(Stdio::null())
        .status();
    match run {
        Ok(status) if status.success() => Ok(true),
        Ok(status) => Err(format!("osm2pgsql ended with {status}").into()),
        Err(error) if error.kind() == std::io::ErrorKind::NotFound => Ok(false),
        Err(error) => Err(error.into()),
    }
}

fn host(database: &PgConnectOptions) -> String {
    match database.get_socket() {
        Some(socket) => socket.display().to_string(),
        None => database.get_host().to_owned(),
    }
}

async fn tiles(pool: &PgPool, database: &PgConnectOptions) -> Result<(), Failure> {
    let wanted = places();
    let service = Service::new(pool.clone(), CancellationToken::new(), Front::default());
    let router = app(service, None);
    let operation = operation::open(pool, &Name::new("Bench")?, Profile::field(), Utc::now()).await?;
    let secret = Secret::new();
    let holder = Sender { party: Party::Observer, team: Name::new("Guest")? };
    pass::give(pool, operation, &holder, &secret.hash(), Utc::now()).await?;
    let path = |(z, x, y): (u8, u32, u32)| format!("/api/operations/{operation}/tiles/{z}/{x}/{y}");
    let pass = format!("Bearer {}", secret.text());

    let [mut served, mut bare] = [(); 2].map(|()| Vec::new());
    for turn in 0..=TURNS {
        for &place in &wanted {
            let request =
                Request::get(path(place)).header(header::AUTHORIZATION, &pass).body(Body::empty())?;
            let began = Instant::now();
            let answer = router.clone().oneshot(request).await?;
            let bytes = to_bytes(answer.into_body(), 10_000_000).await?.len();
            let took = began.elapsed();
            let (z, x, y) = place;
            let began = Instant::now();
            let tile: Vec<u8> = sqlx::query_scalar(terrain::TILE_QUERY)
                .bind(i32::from(z))
                .bind(i32::try_from(x)?)
                .bind(i32::try_from(y)?)
                .fetch_one(pool)
                .await?;
            let selected = began.elapsed();
            if tile.len() != bytes {
                return Err(format!("{z}/{x}/{y} has {bytes} bytes, and the SELECT {}", tile.len()).into());
            }
            if turn > 0 {
                served.push(took);
                bare.push(selected);
            }
        }
    }
    let rate = |times: &[Duration]| {
        #[allow(clippy::cast_precision_loss, reason = "some thousands")]
        let tiles = times.len() as f64;
        tiles / times.iter().sum::<Duration>().as_secs_f64()
    };
    let (ours, select) = (rate(&served), rate(&bare));
    println!(
        "{} tiles: {ours:.0}/s in-process, bare SELECT {select:.0}/s, ratio {:.2}",
        wanted.len(),
        ours / select
    );
    against_martin(pool, database, &router, &wanted, path, &pass).await
}

/// Both over HTTP, turn by turn, with the same number of askers.
async fn against_martin(
    pool: &PgPool,
    database: &PgConnectOptions,
    router: &Router,
    wanted: &[(u8, u32, u32)],
    path: impl Fn((u8, u32, u32)) -> String,
    pass: &str,
) -> Result<(), Failure> {
    let body = terrain::TILE_QUERY;
    pool.execute(AssertSqlSafe(format!(
        "create or replace function bench_tile(z integer, x integer, y integer) returns bytea language sql stable parallel safe \
         as $body${body}$body$"
    )))
    .await?;
    let Some(martin) = Martin::start(database).await? else {
        println!("martin is not installed");
        return Ok(());
    };
    let listener = TcpListener::bind("127.0.0.1:0").await?;
    let ours = format!("http://{}", listener.local_addr()?);
    let served = tokio::spawn(axum::serve(listener, router.clone()).into_future());
    let [mut mine, mut theirs] = [(); 2].map(|()| Vec::new());
    for turn in 0..=TURNS {
        let own: Vec<String> = wanted.iter().map(|&place| format!("{ours}{}", path(place))).collect();
        let took = fetch(&own, Some(pass)).await?;
        let peer: Vec<String> =
            wanted.iter().map(|(z, x, y)| format!("{}/bench_tile/{z}/{x}/{y}", martin.address)).collect();
        let selected = fetch(&peer, None).await?;
        if turn > 0 {
            mine.push(took);
            theirs.push(selected);
        }
    }
    served.abort();
    #[allow(clippy::cast_precision_loss, reason = "some thousands")]
    let tiles = wanted.len() as f64;
    let [mine, theirs] = [&mut mine, &mut theirs].map(|times| tiles / median(times).as_secs_f64());
    println!(
        "tiles over HTTP, {AT_ONCE} at once: {mine:.0}/s, martin {theirs:.0}/s, ratio {:.2}",
        mine / theirs
    );
    Ok(())
}

async fn fetch(addresses: &[String], pass: Option<&str>) -> Result<Duration, Failure> {
    let client = reqwest::Client::builder().no_proxy().build()?;
    let began = Instant::now();
    let mut askers = JoinSet::new();
    for share in addresses.chunks(addresses.len().div_ceil(AT_ONCE)) {
        let (client, share, pass) = (client.clone(), share.to_vec(), pass.map(str::to_owned));
        askers.spawn(async move {
            for address in share {
                let mut request = client.get(&address);
                if let Some(pass) = &pass {
                    request = request.header("authorization", pass);
                }
                let answer = request.send().await?.error_for_status()?;
                answer.bytes().await?;
            }
            Ok::<(), reqwest::Error>(())
        });
    }
    while let Some(asked) = askers.join_next().await {
        asked??;
    }
    Ok(began.elapsed())
}

/// The peer, without its cache, on a free port; ended with this value.
struct Martin {
    process: Child,
    address: String,
}

impl Martin {
    async fn start(database: &PgConnectOptions) -> Result<Option<Self>, Failure> {
        let port = TcpListener::bind("127.0.0.1:0").await?.local_addr()?.port();
        let name = database.get_database().unwrap_or_default();
        let (user, port_of) = (database.get_username(), database.get_port());
        let url = format!("postgres://{user}@localhost:{port_of}/{name}?host={}", host(database));
        let address = format!("127.0.0.1:{port}");
        let started = Command::new("martin")
            .args(["--listen-addresses", &address, "--cache-size", "0", "--pool-size", "4"])
            .arg(url)
            .stdout(Stdio::null())
            .stderr(Stdio::null())
            .spawn();
        let process = match started {
            Ok(process) => process,
            Err(error) if error.kind() == std::io::ErrorKind::NotFound => return Ok(None),
            Err(error) => return Err(error.into()),
        };
        let martin = Self { process, address: format!("http://{address}") };
        let client = reqwest::Client::builder().no_proxy().build()?;
        let deadline = Instant::now() + Duration::from_secs(30);
        while client.get(format!("{}/health", martin.address)).send().await.is_err() {
            if Instant::now() > deadline {
                return Err("martin does not answer".into());
            }
            tokio::time::sleep(Duration::from_millis(100)).await;
        }
        Ok(Some(martin))
    }
}

impl Drop for Martin {
    fn drop(&mut self) {
        // It may have ended by itself; then there is nothing to end.
        drop(self.process.kill());
        drop(self.process.wait());
    }
}

/// Every tile over the land at those zooms.
fn places() -> Vec<(u8, u32, u32)> {
    let [west, south, east, north] = LAND;
    let mut wanted = Vec::new();
    for z in ZOOMS {
        let [first, last] = [(west, north), (east, south)].map(|(lon, lat)| tile_at(z, lon, lat));
        for x in first.0..=last.0 {
            wanted.extend((first.1..=last.1).map(|y| (z, x, y)));
        }
    }
    wanted
}

#[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "on the island")]
fn tile_at(z: u8, lon: f64, lat: f64) -> (u32, u32) {
    let across = f64::from(1_u32 << z);
    let radians = lat.to_radians();
    let x = (lon + 180.0) / 360.0 * across;
    let y = (1.0 - radians.tan().asinh() / std::f64::consts::PI) / 2.0 * across;
    (x as u32, y as u32)
}
