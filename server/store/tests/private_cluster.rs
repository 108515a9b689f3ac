//! The private cluster against the real PostgreSQL and PostGIS of the machine, started, killed and orphaned as
//! it happens in the field. Expectations stand on unix(7), proc(5) and the manuals of PostgreSQL 15 and PostGIS.

#![allow(
    clippy::unwrap_used,
    reason = "a test that cannot go on fails; clippy.toml's leave ends at the #[test] functions"
)]

use std::fs::{self, Permissions};
use std::io::{BufRead as _, BufReader};
use std::os::unix::fs::{MetadataExt as _, PermissionsExt as _};
use std::os::unix::process::ExitStatusExt as _;
use std::path::Path;
use std::process::{Command, Stdio};
use std::time::Duration;

use laywire_store::private_cluster::{ClusterError, PrivateCluster};
use nix::sys::signal::{Signal, kill};
use nix::unistd::{Pid, geteuid};
use sqlx::postgres::PgConnectOptions;
use sqlx::{AssertSqlSafe, ConnectOptions as _, Connection as _};
use tempfile::TempDir;
use tokio::time::{Instant, interval};

/// Long enough for a start on a busy machine; a test that waits this long has failed.
const BOUND: Duration = Duration::from_mins(2);

async fn ask(options: &PgConnectOptions, question: &str) -> sqlx::Result<String> {
    let mut connection = options.connect().await?;
    let answer = sqlx::query_scalar(AssertSqlSafe(question)).fetch_one(&mut connection).await?;
    connection.close().await?;
    Ok(answer)
}

async fn tell(options: &PgConnectOptions, statement: &str) {
    let mut connection = options.connect().await.unwrap();
    sqlx::raw_sql(AssertSqlSafe(statement)).execute(&mut connection).await.unwrap();
    connection.close().await.unwrap();
}

async fn start_and_stop(folder: &Path) {
    PrivateCluster::start(folder).await.unwrap().stop().await.unwrap();
}

/// The first line of postmaster.pid is the postmaster's id (PostgreSQL manual, 'Database File Layout').
fn postmaster(folder: &Path) -> Pid {
    let file = fs::read_to_string(folder.join("cluster/postmaster.pid")).unwrap();
    Pid::from_raw(file.lines().next().unwrap().parse().unwrap())
}

/// proc(5): a process that has ended, taken note of or not, has no command line any more.
fn runs(process: Pid) -> bool {
    fs::read(format!("/proc/{process}/cmdline")).is_ok_and(|line| !line.is_empty())
}

async fn until(condition: impl AsyncFn() -> bool) {
    let deadline = Instant::now() + BOUND;
    let mut look = interval(Duration::from_millis(20));
    while !condition().await {
        assert!(Instant::now() < deadline, "the condition did not come about within {BOUND:?}");
        look.tick().await;
    }
}

#[tokio::test]
async fn what_was_written_is_there_after_a_stop_and_a_start() {
    let folder = TempDir::new().unwrap();
    let cluster = PrivateCluster::start(folder.path()).await.unwrap();
    tell(&cluster.connect_options(), "create table kept (word text); insert into kept values ('through')")
        .await;
    let first = postmaster(folder.path());
    assert!(runs(first));
    cluster.stop().await.unwrap();
    assert!(!runs(first), "a stop leaves no postmaster behind");

    let cluster = PrivateCluster::start(folder.path()).await.unwrap();
    assert_eq!(ask(&cluster.connect_options(), "select word from kept").await.unwrap(), "through");
    cluster.stop().await.unwrap();
}

#[tokio::test]
async fn the_cluster_has_its_extensions_and_no_network_port_and_is_durable() {
    let folder = TempDir::new().unwrap();
    let cluster = PrivateCluster::start(folder.path()).await.unwrap();
    let options = cluster.connect_options();
    let extensions = "select string_agg(extname, ' ' order by extname) from pg_extension";
    assert_eq!(ask(&options, extensions).await.unwrap(), "btree_gist plpgsql postgis");
    // PostgreSQL manual, 'Connections and Authentication': with an empty list no IP interface is listened on.
    assert_eq!(ask(&options, "show listen_addresses").await.unwrap(), "");
    // PostgreSQL manual, 'Write Ahead Log': with one of these off a crash can lose a commit, or everything.
    assert_eq!(ask(&options, "show fsync").await.unwrap(), "on");
    assert_eq!(ask(&options, "show synchronous_commit").await.unwrap(), "on");
    // PostGIS manual, ST_Distance, the geography example: 123.802076746848 m on the spheroid.
    let metres = "select round(ST_Distance('SRID=4326;POINT(-72.1235 42.3521)'::geography, \
                  'SRID=4326;LINESTRING(-72.1260 42.45, -72.123 42.1546)'::geography)::numeric, 6)::text";
    assert_eq!(ask(&options, metres).await.unwrap(), "123.802077");
    cluster.stop().await.unwrap();
}

#[tokio::test]
async fn the_database_never_runs_as_root_and_only_its_user_enters_its_folders() {
    let folder = TempDir::new().unwrap();
    let cluster = PrivateCluster::start(folder.path()).await.unwrap();
    // proc(5): the folder of a process belongs to the user it runs as.
    let runs_as = fs::metadata(format!("/proc/{}", postmaster(folder.path()))).unwrap().uid();
    assert_ne!(runs_as, 0);
    if !geteuid().is_root() {
        assert_eq!(runs_as, geteuid().as_raw());
    }
    for place in ["cluster", "socket"] {
        let found = fs::metadata(folder.path().join(place)).unwrap();
        assert_eq!((found.uid(), found.mode() & 0o777), (runs_as, 0o700), "{place}");
    }
    cluster.stop().await.unwrap();
}

#[tokio::test]
async fn a_folder_in_use_is_refused_with_the_process_that_has_it() {
    let folder = TempDir::new().unwrap();
    let cluster = PrivateCluster::start(folder.path()).await.unwrap();
    let refused = PrivateCluster::start(folder.path()).await.unwrap_err().to_string();
    assert!(refused.contains(&format!("in use by process {}:", std::process::id())), "{refused}");
    assert!(refused.contains("--data"), "{refused}");
    assert_eq!(ask(&cluster.connect_options(), "select 'unharmed'").await.unwrap(), "unharmed");
    cluster.stop().await.unwrap();

    // A stop releases the folder, and so does a drop.
    drop(PrivateCluster::start(folder.path()).await.unwrap());
    start_and_stop(folder.path()).await;
}

#[tokio::test]
async fn a_killed_database_comes_back_with_what_was_committed() {
    let folder = TempDir::new().unwrap();
    let mut cluster = PrivateCluster::start(folder.path()).await.unwrap();
    let options = cluster.connect_options();
    tell(&options, "create table kept (word text); insert into kept values ('committed')").await;
    // A long query: its backend outlives the postmaster and holds the shared memory.
    let mut busy = options.connect().await.unwrap();
    let busy = tokio::spawn(async move { sqlx::query("select pg_sleep(3600)").execute(&mut busy).await });
    let sleeping = "select count(*)::text from pg_stat_activity where wait_event = 'PgSleep'";
    until(async || ask(&options, sleeping).await.unwrap() == "1").await;

    let first = postmaster(folder.path());
    kill(first, Signal::SIGKILL).unwrap();
    let back = async || {
        !runs(first) && ask(&options, "select word from kept").await.is_ok_and(|word| word == "committed")
    };
    tokio::select! {
        _ = cluster.keep_running() => unreachable!("it keeps running"),
        () = until(back) => {}
    }
    assert_ne!(postmaster(folder.path()), first);
    assert!(busy.await.unwrap().is_err(), "a query that was cut off says so");
    cluster.stop().await.unwrap();
}

/// Plays both sides: started again by itself with a folder in the environment, it holds a cluster there until it
/// is killed, as a service is by `kill -9`; PostgreSQL lives on without it.
#[tokio::test]
#[allow(clippy::print_stdout, reason = "how the one process tells the other that it has started")]
async fn a_killed_service_leaves_an_orphan_that_the_next_start_ends() {
    const FOLDER: &str = "LAYWIRE_TEST_HOLD_FOLDER";
    if let Some(folder) = std::env::var_os(FOLDER) {
        let mut cluster = PrivateCluster::start(Path::new(&folder)).await.unwrap();
        tell(&cluster.connect_options(), "create table kept (word text); insert into kept values ('orphan')")
            .await;
        println!("\nholds the folder");
        cluster.keep_running().await;
    }
    let folder = TempDir::new().unwrap();
    let mut service = Command::new(std::env::current_exe().unwrap())
        .args(["--exact", "a_killed_service_leaves_an_orphan_that_the_next_start_ends", "--nocapture"])
        .env(FOLDER, folder.path())
        .stdout(Stdio::piped())
        .spawn()
        .unwrap();
    let said = BufReader::new(service.stdout.take().unwrap()).lines();
    assert!(
        said.map_while(Result::ok).any(|line| line == "holds the folder"),
        "the other process did not start"
    );
    service.kill().unwrap();
    assert_eq!(service.wait().unwrap().signal(), Some(9));
    let orphan = postmaster(folder.path());
    assert!(runs(orphan), "PostgreSQL outlives the service");

    let cluster = PrivateCluster::start(folder.path()).await.unwrap();
    assert!(!runs(orphan), "the orphan is ended");
    assert_ne!(postmaster(folder.path()), orphan);
    assert_eq!(ask(&cluster.connect_options(), "select word from kept").await.unwrap(), "orphan");
    cluster.stop().await.unwrap();
}

#[tokio::test]
async fn stale_locks_that_name_a_living_process_do_not_stop_a_start() {
    let folder = TempDir::new().unwrap();
    start_and_stop(folder.path()).await;
    // As after a power cut, when the ids have become other processes'.
    let text = format!("{}\n{}\n", std::process::id(), folder.path().join("cluster").display());
    for lock in ["cluster/postmaster.pid", "socket/.s.PGSQL.5432.lock", "in-use"] {
        fs::write(folder.path().join(lock), &text).unwrap();
    }
    start_and_stop(folder.path()).await;
}

#[tokio::test]
async fn a_start_that_was_cut_off_half_way_is_begun_anew() {
    let folder = TempDir::new().unwrap();
    fs::set_permissions(folder.path(), Permissions::from_mode(0o711)).unwrap();
    fs::create_dir(folder.path().join("cluster.new")).unwrap();
    fs::write(folder.path().join("cluster.new/PG_VERSION"), "15\n").unwrap();
    start_and_stop(folder.path()).await;
    assert!(!folder.path().join("cluster.new").exists());
}

#[tokio::test]
async fn a_folder_too_long_for_a_socket_works() {
    let parent = TempDir::new().unwrap();
    fs::set_permissions(parent.path(), Permissions::from_mode(0o711)).unwrap();
    // unix(7): the path of a socket has at most 107 bytes and a zero. This folder's alone has more.
    let long = parent
        .path()
        .join("a wire section's exercise, ".repeat(2))
        .join("östlich der \"Straße\", ".repeat(3));
    assert!(long.as_os_str().len() > 107);
    let cluster = PrivateCluster::start(&long).await.unwrap();
    let options = cluster.connect_options();
    assert_eq!(ask(&options, "select 'through'").await.unwrap(), "through");
    let socket = options.get_socket().unwrap().clone();
    assert!(socket.starts_with(std::env::temp_dir()), "{}", socket.display());
    assert_eq!(fs::metadata(&socket).unwrap().mode() & 0o777, 0o700);
    cluster.stop().await.unwrap();
    assert!(!socket.exists(), "the short folder goes with the cluster");
}

#[tokio::test]
async fn a_place_for_the_socket_that_is_somebody_elses_is_refused() {
    let parent = TempDir::new().unwrap();
    fs::set_permissions(parent.path(), Permissions::from_mode(0o711)).unwrap();
    let long = parent.path().join("l".repeat(100));
    let cluster = PrivateCluster::start(&long).await.unwrap();
    let place = cluster.connect_options().get_socket().unwrap().clone();
    cluster.stop().await.unwrap();

    fs::create_dir(&place).unwrap();
    fs::set_permissions(&place, Permissions::from_mode(0o777)).unwrap();
    let refused = PrivateCluster::start(&long).await.unwrap_err();
    fs::remove_dir(&place).unwrap();
    assert!(matches!(&refused, ClusterError::SocketFolderTaken { path } if *path == place), "{refused}");
}

#[tokio::test]
async fn a_folder_that_cannot_be_reached_is_named_with_what_to_do() {
    let closed = TempDir::new().unwrap();
    let folder = closed.path().join("exercise");
    let said = if geteuid().is_root() {
        // As /root is: the unprivileged user cannot pass it.
        fs::set_permissions(closed.path(), Permissions::from_mode(0o700)).unwrap();
        let refused = PrivateCluster::start(&folder).await.unwrap_err();
        let said = refused.to_string();
        assert!(
            matches!(refused, ClusterError::Unreachable { blocked_at, .. } if blocked_at == closed.path()),
            "{said}"
        );
        said
    } else {
        fs::set_permissions(closed.path(), Permissions::from_mode(0o500)).unwrap();
        let refused = PrivateCluster::start(&folder).await.unwrap_err();
        assert!(matches!(refused, ClusterError::Unwritable { .. }), "{refused}");
        refused.to_string()
    };
    assert!(said.contains(&folder.display().to_string()) && said.contains("--data"), "{said}");
}

#[tokio::test]
async fn a_folder_below_a_file_is_refused() {
    let parent = TempDir::new().unwrap();
    let file = parent.path().join("file");
    fs::write(&file, "").unwrap();
    let refused = PrivateCluster::start(&file.join("exercise")).await.unwrap_err();
    assert!(matches!(refused, ClusterError::Unwritable { .. }), "{refused}");
}

#[tokio::test]
async fn a_folder_made_by_another_postgresql_is_refused_with_both_versions() {
    let folder = TempDir::new().unwrap();
    start_and_stop(folder.path()).await;
    let version = folder.path().join("cluster/PG_VERSION");
    let made_by = fs::read_to_string(&version).unwrap();
    fs::write(&version, "9.6\n").unwrap();
    let refused = PrivateCluster::start(folder.path()).await.unwrap_err().to_string();
    assert!(refused.contains("PostgreSQL 9.6") && refused.contains(made_by.trim()), "{refused}");
    fs::write(&version, made_by).unwrap();
    start_and_stop(folder.path()).await;
}

#[tokio::test]
async fn a_cluster_that_cannot_start_says_why_in_the_databases_own_words() {
    let folder = TempDir::new().unwrap();
    start_and_stop(folder.path()).await;
    fs::rename(folder.path().join("cluster/global"), folder.path().join("cluster/lost")).unwrap();
    let refused = PrivateCluster::start(folder.path()).await.unwrap_err().to_string();
    assert!(refused.contains("pg_control") && refused.contains("postgres.log"), "{refused}");
}

#[tokio::test]
async fn the_log_is_bounded() {
    let folder = TempDir::new().unwrap();
    let log = folder.path().join("postgres.log");
    start_and_stop(folder.path()).await;
    fs::OpenOptions::new().write(true).open(&log).unwrap().set_len(9 << 20).unwrap();
    start_and_stop(folder.path()).await;
    assert!(fs::metadata(&log).unwrap().len() < 1 << 20);
    assert_eq!(fs::metadata(folder.path().join("postgres.log.1")).unwrap().len(), 9 << 20);
}
