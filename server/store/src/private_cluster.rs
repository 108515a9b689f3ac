//! The private database: a PostGIS cluster of our own in the data folder, on a Unix socket only, made from the
//! machine's PostgreSQL programs and run as an unprivileged user when root starts us. It never opens a network
//! port, never touches a cluster that is not in its folder, and never runs without the folder's lock. Its
//! settings are a small server's; limits of paths come from unix(7), signals from PostgreSQL's own manual.
//!
//! What stands in the folder: `in-use` (the lock, with our process id in it), `cluster` (PostgreSQL's own
//! files), `socket`, `pg_hba.conf`, and `postgres.log` with its predecessor.

use std::convert::Infallible;
use std::ffi::{OsStr, OsString};
use std::fs::{self, DirBuilder, File, OpenOptions, Permissions, TryLockError};
use std::io::{self, Read as _, Seek as _, SeekFrom, Write as _};
use std::os::unix::ffi::OsStrExt as _;
use std::os::unix::fs::{
    DirBuilderExt as _, MetadataExt as _, OpenOptionsExt as _, PermissionsExt as _, chown,
};
use std::path::{Path, PathBuf};
use std::process::Stdio;
use std::time::Duration;

use nix::errno::Errno;
use nix::sys::signal::{Signal, kill};
use nix::unistd::{Pid, Uid, User, geteuid};
use sqlx::postgres::{PgConnectOptions, PgConnection, PgSslMode};
use sqlx::{ConnectOptions as _, Connection as _};
use tokio::process::{Child, Command};
use tokio::time::{Instant, MissedTickBehavior, interval, sleep};
use tracing::{error, info, warn};

/// The database and its owner have the same name.
const NAME: &str = "laywire";
/// Part of the socket's file name; no network port is opened.
const PORT: u16 = 5432;
/// unix(7): `sun_path` has 108 bytes, the last of which ends the string.
const SOCKET_PATH_MAX: usize = 107;
/// What the service's tables need beyond PostgreSQL itself.
const EXTENSIONS: [(&str, &str); 2] = [
    ("postgis", "create extension if not exists postgis"),
    ("btree_gist", "create extension if not exists btree_gist"),
];
/// Above this PostgreSQL's log becomes `postgres.log.1` and begins anew.
const LOG_MAX_BYTES: u64 = 8 << 20;
/// How much of the log an error quotes.
const QUOTED_LINES: usize = 6;
/// After a power cut PostgreSQL replays its write-ahead log before it answers.
const ANSWER_WITHIN: Duration = Duration::from_mins(5);
/// How often a condition is looked at again while we wait for it.
const LOOK_EVERY: Duration = Duration::from_millis(20);
/// How often somebody who waits is told what for.
const TELL_EVERY: Duration = Duration::from_secs(5);
/// How often the log's size is looked at.
const LOG_LOOK_EVERY: Duration = Duration::from_mins(1);
/// The pause between two attempts to bring back a database that does not come up: doubled up to the second.
const PAUSE: (Duration, Duration) = (Duration::from_secs(1), Duration::from_secs(30));

/// A small server's profile. `fsync` and `synchronous_commit` are the defaults, said aloud: a report that was
/// answered 'recorded' must outlive a power cut. `jit` costs more than it gains on short queries, and
/// `random_page_cost` is that of a solid-state disk.
const SETTINGS: [(&str, &str); 17] = [
    ("listen_addresses", ""),
    ("unix_socket_permissions", "0700"),
    ("logging_collector", "off"),
    ("log_destination", "stderr"),
    ("log_line_prefix", "%m [%p] "),
    ("log_timezone", "UTC"),
    ("timezone", "UTC"),
    ("lc_messages", "C"),
    ("max_connections", "100"),
    ("shared_buffers", "256MB"),
    ("effective_cache_size", "1GB"),
    ("maintenance_work_mem", "128MB"),
    ("work_mem", "8MB"),
    ("random_page_cost", "1.1"),
    ("jit", "off"),
    ("fsync", "on"),
    ("synchronous_commit", "on"),
];

/// Whoever reaches the socket may enter; its folder's mode (0700) decides who does.
const HBA: &str = "# Written at every start.\nlocal all all trust\n";

/// Why the private database cannot run, and what to do about it.
#[derive(Debug, thiserror::Error)]
pub enum ClusterError {
    /// Another process holds the folder's lock.
    #[error(
        "{} is in use by process {process}: stop that process first, or choose another folder with --data",
        folder.display()
    )]
    FolderInUse {
        /// The data folder.
        folder: PathBuf,
        /// What the lock file says about its holder.
        process: String,
    },
    /// Root started us, and the unprivileged user cannot get to the folder.
    #[error(
        "the database runs as the user {user}, who cannot reach {}: {} does not let that user pass; choose \
         another folder with --data (/var/lib/laywire, say), or run `chmod o+x {}`",
        folder.display(), blocked_at.display(), blocked_at.display()
    )]
    Unreachable {
        /// The data folder.
        folder: PathBuf,
        /// The folder on the way that cannot be passed.
        blocked_at: PathBuf,
        /// Who cannot pass it.
        user: String,
    },
    /// The folder, or something in it, cannot be made, read or written.
    #[error(
        "{} cannot be used: {reason}; check who owns it, or choose another folder with --data",
        path.display()
    )]
    Unwritable {
        /// What could not be used.
        path: PathBuf,
        /// What the system said.
        reason: io::Error,
    },
    /// No room on the disk.
    #[error("the disk that holds {} is full: make room there, or choose another folder with --data", folder.display())]
    DiskFull {
        /// The data folder.
        folder: PathBuf,
    },
    /// PostgreSQL is not installed.
    #[error(
        "PostgreSQL's server programs (initdb and postgres) were found neither through pg_config nor under \
         /usr/lib/postgresql: on Debian 12 install the packages postgresql-15 and postgresql-15-postgis-3"
    )]
    NoPrograms,
    /// PostgreSQL is there, one of its extensions is not.
    #[error(
        "PostgreSQL {major} has no extension {extension}: on Debian install the package {}",
        if *extension == "postgis" { format!("postgresql-{major}-postgis-3") } else { format!("postgresql-{major}") }
    )]
    NoExtension {
        /// PostgreSQL's major version.
        major: u32,
        /// The missing extension.
        extension: &'static str,
    },
    /// The folder was made by a PostgreSQL that is not installed here.
    #[error(
        "{} was made by PostgreSQL {made_by}, and here is {found}: install postgresql-{made_by} and \
         postgresql-{made_by}-postgis-3, or begin in another folder with --data",
        folder.display()
    )]
    OtherVersion {
        /// The data folder.
        folder: PathBuf,
        /// The major version that made it.
        made_by: String,
        /// The major version found on this machine.
        found: u32,
    },
    /// Root started us, and there is no unprivileged user to run PostgreSQL.
    #[error(
        "PostgreSQL must not run as root, and there is neither a user postgres nor nobody: make one, or start as an ordinary user"
    )]
    NoUser,
    /// Somebody else owns the place in the temporary folder where our socket belongs.
    #[error("{} is not a folder of ours: remove it, or choose a shorter --data so that the socket fits there", path.display())]
    SocketFolderTaken {
        /// The place.
        path: PathBuf,
    },
    /// Neither the folder's path nor the temporary folder's is short enough for a socket.
    #[error("a socket's path may have {SOCKET_PATH_MAX} bytes and {} has more: choose a shorter --data", path.display())]
    SocketPathTooLong {
        /// The path that is too long.
        path: PathBuf,
    },
    /// initdb failed.
    #[error("initdb could not make the database in {}: {report}", folder.display())]
    NotMade {
        /// The data folder.
        folder: PathBuf,
        /// The end of what initdb said.
        report: String,
    },
    /// postgres ended before it answered.
    #[error("the database ended while starting: {report} (all of it in {})", log.display())]
    Ended {
        /// PostgreSQL's log.
        log: PathBuf,
        /// The end of what postgres said.
        report: String,
    },
    /// postgres runs and does not answer.
    #[error("the database did not answer within {seconds} s: see {}", log.display())]
    Silent {
        /// PostgreSQL's log.
        log: PathBuf,
        /// How long we waited.
        seconds: u64,
    },
    /// Processes of this cluster cannot be ended.
    #[error("the database's processes {processes:?} do not end: end them by hand and start again")]
    Stuck {
        /// Their ids.
        processes: Vec<i32>,
    },
    /// A program could not be run.
    #[error("{} cannot be run: {reason}", program.display())]
    NotRun {
        /// The program.
        program: PathBuf,
        /// What the system said.
        reason: io::Error,
    },
    /// The database answered, and refused what a start needs.
    #[error("the private database could not be prepared: {0}")]
    Refused(sqlx::Error),
}

/// A running cluster. Dropping it asks PostgreSQL to end without waiting for it; [`stop`](Self::stop) waits.
#[derive(Debug)]
pub struct PrivateCluster {
    site: Site,
    postmaster: Child,
    /// Held as long as we live: the system drops the lock with us, whatever ends us.
    in_use: File,
}

impl PrivateCluster {
    /// Takes the folder, makes a cluster in it when there is none, starts PostgreSQL and waits until the
    /// database answers with its extensions. What a killed predecessor left running there is ended first.
    ///
    /// # Errors
    /// Each names what is wrong and what to do: see [`ClusterError`].
    pub async fn start(folder: &Path) -> Result<Self, ClusterError> {
        let unusable = |reason| unusable(folder, reason);
        fs::create_dir_all(folder).map_err(unusable)?;
        let folder = &fs::canonicalize(folder).map_err(unusable)?;
        let fresh = fs::read_dir(folder).map_err(unusable)?.next().is_none();
        let in_use = take(folder)?;
        let site = Site::survey(folder, fresh).await?;
        if !site.cluster().exists() {
            site.make().await?;
        }
        let postmaster = site.launch().await?;
        let cluster = Self { site, postmaster, in_use };
        if let Err(error) = cluster.site.prepare().await {
            cluster.stop().await?;
            return Err(error);
        }
        Ok(cluster)
    }

    /// How to connect to the database. The same for the life of the cluster, restarts included.
    #[must_use]
    pub fn connect_options(&self) -> PgConnectOptions {
        self.site.connect_options(NAME)
    }

    /// How to connect to the database that another process runs in this folder.
    ///
    /// # Errors
    /// When the folder cannot be read, or its socket's place is not ours.
    pub async fn held_by_another(folder: &Path) -> Result<PgConnectOptions, ClusterError> {
        let folder = &fs::canonicalize(folder).map_err(|reason| unusable(folder, reason))?;
        Ok(Site::survey(folder, false).await?.connect_options(NAME))
    }

    /// Brings the database back whenever it ends unasked, for as long as the future is polled. It can be
    /// dropped at any moment: [`stop`](Self::stop) also ends a database that was just coming back.
    pub async fn keep_running(&mut self) -> Infallible {
        let mut look_at_log = interval(LOG_LOOK_EVERY);
        look_at_log.set_missed_tick_behavior(MissedTickBehavior::Delay);
        loop {
            tokio::select! {
                ended = self.postmaster.wait() => {
                    match ended {
                        Ok(status) => warn!(%status, "the database ended unasked; starting it again"),
                        Err(reason) => warn!(%reason, "the database was lost sight of; starting it again"),
                    }
                    self.bring_back().await;
                }
                _ = look_at_log.tick() => {
                    if let Err(reason) = self.site.bound_log() {
                        warn!(%reason, "PostgreSQL's log could not be shortened");
                    }
                }
            }
        }
    }

    async fn bring_back(&mut self) {
        let began = Instant::now();
        let mut pause = PAUSE.0;
        loop {
            match self.site.launch().await {
                Ok(postmaster) => {
                    self.postmaster = postmaster;
                    let took_ms = began.elapsed().as_millis();
                    info!(took_ms, "the database answers again");
                    return;
                }
                Err(reason) => {
                    error!(%reason, pause_s = pause.as_secs(), "the database does not come back; trying again");
                }
            }
            sleep(pause).await;
            pause = PAUSE.1.min(pause * 2);
        }
    }

    /// Ends PostgreSQL in an orderly way, waits for it, and releases the folder.
    ///
    /// # Errors
    /// [`ClusterError::Stuck`] when a process does not end even when killed.
    pub async fn stop(mut self) -> Result<(), ClusterError> {
        self.site.end().await?;
        // Already ended: this only takes its exit status off the system's hands.
        let _ = self.postmaster.wait().await;
        if self.site.socket != self.site.folder.join("socket") {
            let _ = fs::remove_dir_all(&self.site.socket);
        }
        // An empty lock file says 'nobody' to a person who looks.
        let _ = self.in_use.set_len(0);
        Ok(())
    }
}

impl Drop for PrivateCluster {
    fn drop(&mut self) {
        // None once it was waited for; until then the id cannot have become another process's.
        if let Some(id) = self.postmaster.id().and_then(|id| i32::try_from(id).ok()) {
            let _ = kill(Pid::from_raw(id), Signal::SIGINT);
        }
        // Said, not left to the closing of the file: a child that another thread is just starting has the file
        // open too, for the moment between its fork and its exec.
        let _ = self.in_use.unlock();
    }
}

/// Where the cluster stands, who runs it and with which programs: all that a start needs to know.
#[derive(Debug)]
struct Site {
    folder: PathBuf,
    socket: PathBuf,
    /// PostgreSQL's `cluster_name`, which it shows in the title of each of its processes: how we know them.
    name: String,
    /// None: as ourselves.
    run_as: Option<RunAs>,
    programs: Programs,
}

impl Site {
    async fn survey(folder: &Path, fresh: bool) -> Result<Self, ClusterError> {
        let unusable = |reason| unusable(folder, reason);
        let run_as = RunAs::choose(&folder.join("cluster"))?;
        if fresh && run_as.is_some() {
            // A folder of our own, which the unprivileged user must be able to pass, but not to list.
            fs::set_permissions(folder, Permissions::from_mode(0o711)).map_err(unusable)?;
        }
        let made_by = match fs::read_to_string(folder.join("cluster/PG_VERSION")) {
            Ok(version) => Some(version.trim().to_owned()),
            Err(reason) if reason.kind() == io::ErrorKind::NotFound => None,
            Err(reason) => return Err(unusable(reason)),
        };
        let programs = Programs::find(folder, made_by.as_deref(), run_as.as_ref()).await?;
        let place = fs::metadata(folder).map_err(unusable)?;
        // Device and inode, not the path: a folder that was moved while an orphan runs in it is still itself.
        let name = format!("{NAME}-{:x}-{:x}", place.dev(), place.ino());
        let socket = socket_folder(folder, &name, run_as.as_ref())?;
        Ok(Self { folder: folder.to_owned(), socket, name, run_as, programs })
    }

    fn cluster(&self) -> PathBuf {
        self.folder.join("cluster")
    }

    fn log(&self) -> PathBuf {
        self.folder.join("postgres.log")
    }

    fn command(&self, program: &str) -> Command {
        command(&self.programs.folder.join(program), &self.folder, self.run_as.as_ref())
    }

    /// initdb works in a folder beside, which gets its name when all of it is there: a start that is cut off
    /// half-way leaves nothing that looks like a cluster.
    async fn make(&self) -> Result<(), ClusterError> {
        info!(folder = %self.folder.display(), "making the database");
        let unusable = |reason| unusable(&self.folder, reason);
        let unfinished = self.folder.join("cluster.new");
        match fs::remove_dir_all(&unfinished) {
            Err(reason) if reason.kind() != io::ErrorKind::NotFound => return Err(unusable(reason)),
            _ => {}
        }
        make_private_folder(&unfinished, self.run_as.as_ref()).map_err(unusable)?;
        let made = self
            .command("initdb")
            .arg("--pgdata")
            .arg(&unfinished)
            .args(["--username", NAME, "--encoding", "UTF8", "--locale", "C.UTF-8", "--data-checksums"])
            .args(["--auth-local", "trust", "--auth-host", "reject", "--no-instructions"])
            .output()
            .await
            .map_err(|reason| self.not_run("initdb", reason))?;
        if !made.status.success() {
            let said = String::from_utf8_lossy(&made.stderr);
            if NO_SPACE.iter().any(|words| said.contains(words)) {
                return Err(ClusterError::DiskFull { folder: self.folder.clone() });
            }
            return Err(ClusterError::NotMade { folder: self.folder.clone(), report: last_lines(&said) });
        }
        fs::rename(&unfinished, self.cluster()).map_err(unusable)
    }

    /// Starts PostgreSQL and waits until it answers.
    async fn launch(&self) -> Result<Child, ClusterError> {
        self.end().await?;
        self.clear_stale_locks()?;
        self.bound_log().map_err(|reason| unusable(&self.log(), reason))?;
        let hba = self.folder.join("pg_hba.conf");
        // Root may have a umask of 077; the unprivileged user must be able to read this.
        fs::write(&hba, HBA)
            .and_then(|()| fs::set_permissions(&hba, Permissions::from_mode(0o644)))
            .map_err(|reason| unusable(&hba, reason))?;
        let log = OpenOptions::new().append(true).create(true).mode(0o600).open(self.log());
        let log = log.map_err(|reason| unusable(&self.log(), reason))?;
        let log_began = log.metadata().map_err(|reason| unusable(&self.log(), reason))?.len();
        let also = log.try_clone().map_err(|reason| unusable(&self.log(), reason))?;
        let mut postmaster = self
            .command("postgres")
            .arg("-D")
            .arg(self.cluster())
            .args(self.settings())
            .stdout(log)
            .stderr(also)
            .spawn()
            .map_err(|reason| self.not_run("postgres", reason))?;
        if let Err(error) = self.await_answer(&mut postmaster, log_began).await {
            // Nothing is left running that nobody has a hold on.
            self.end().await?;
            return Err(error);
        }
        Ok(postmaster)
    }

    fn settings(&self) -> Vec<OsString> {
        let mut hba = OsString::from("hba_file=");
        hba.push(self.folder.join("pg_hba.conf"));
        let mut socket = OsString::from("unix_socket_directories=\"");
        socket.push(&self.socket);
        socket.push("\"");
        let fixed = SETTINGS.iter().map(|(name, value)| OsString::from(format!("{name}={value}")));
        let own = [format!("port={PORT}").into(), format!("cluster_name={}", self.name).into(), hba, socket];
        own.into_iter().chain(fixed).flat_map(|setting| [OsString::from("-c"), setting]).collect()
    }

    /// No process of this cluster is left and the folder's lock is ours, so PostgreSQL's own lock files say
    /// nothing any more. Left there, they stop a start when the id in them has become another process's,
    /// which after a restart of a container is the rule.
    fn clear_stale_locks(&self) -> Result<(), ClusterError> {
        let socket = format!(".s.PGSQL.{PORT}");
        let locks = [
            self.cluster().join("postmaster.pid"),
            self.socket.join(format!("{socket}.lock")),
            self.socket.join(socket),
        ];
        for lock in locks {
            match fs::remove_file(&lock) {
                Err(reason) if reason.kind() != io::ErrorKind::NotFound => {
                    return Err(unusable(&lock, reason));
                }
                _ => {}
            }
        }
        Ok(())
    }

    fn bound_log(&self) -> io::Result<()> {
        let log = self.log();
        match fs::metadata(&log) {
            Ok(found) if found.len() > LOG_MAX_BYTES => {
                // Copied, not moved: the running PostgreSQL goes on writing to the same file, at its new end.
                fs::copy(&log, self.folder.join("postgres.log.1"))?;
                OpenOptions::new().write(true).open(&log)?.set_len(0)
            }
            Err(reason) if reason.kind() != io::ErrorKind::NotFound => Err(reason),
            _ => Ok(()),
        }
    }

    async fn await_answer(&self, postmaster: &mut Child, log_began: u64) -> Result<(), ClusterError> {
        let options = self.connect_options("postgres");
        let began = Instant::now();
        let mut look = interval(LOOK_EVERY);
        let mut told = began;
        loop {
            look.tick().await;
            if let Ok(Some(_)) = postmaster.try_wait() {
                return Err(self.ended(log_began));
            }
            match options.connect().await {
                Ok(connection) => return connection.close().await.map_err(ClusterError::Refused),
                // Not there yet, or there and still starting.
                Err(sqlx::Error::Io(_)) => {}
                Err(sqlx::Error::Database(refusal))
                    if refusal.code().as_deref() == Some(CANNOT_CONNECT_NOW) => {}
                Err(other) => return Err(ClusterError::Refused(other)),
            }
            if began.elapsed() > ANSWER_WITHIN {
                return Err(ClusterError::Silent { log: self.log(), seconds: ANSWER_WITHIN.as_secs() });
            }
            if told.elapsed() > TELL_EVERY {
                told = Instant::now();
                info!(waited_s = began.elapsed().as_secs(), "waiting for the database to answer");
            }
        }
    }

    /// What the log says since this start began.
    fn ended(&self, log_began: u64) -> ClusterError {
        let mut said = Vec::new();
        if let Ok(mut log) = File::open(self.log())
            && log.seek(SeekFrom::Start(log_began)).is_ok()
        {
            let _ = log.take(64 << 10).read_to_end(&mut said);
        }
        let said = String::from_utf8_lossy(&said);
        if NO_SPACE.iter().any(|words| said.contains(words)) {
            return ClusterError::DiskFull { folder: self.folder.clone() };
        }
        ClusterError::Ended { log: self.log(), report: last_lines(&said) }
    }

    fn connect_options(&self, database: &str) -> PgConnectOptions {
        // Everything that the PG… variables of the environment could set otherwise is set here.
        PgConnectOptions::new_without_pgpass()
            .socket(&self.socket)
            .port(PORT)
            .username(NAME)
            .database(database)
            .ssl_mode(PgSslMode::Disable)
    }

    /// Makes the database and its extensions when they are not there yet.
    async fn prepare(&self) -> Result<(), ClusterError> {
        let mut connection =
            self.connect_options("postgres").connect().await.map_err(ClusterError::Refused)?;
        let there: bool = sqlx::query_scalar("select exists (select from pg_database where datname = $1)")
            .bind(NAME)
            .fetch_one(&mut connection)
            .await
            .map_err(ClusterError::Refused)?;
        if !there {
            sqlx::raw_sql("create database laywire")
                .execute(&mut connection)
                .await
                .map_err(ClusterError::Refused)?;
        }
        connection.close().await.map_err(ClusterError::Refused)?;

        let mut connection = self.connect_options(NAME).connect().await.map_err(ClusterError::Refused)?;
        self.prepare_extensions(&mut connection).await?;
        connection.close().await.map_err(ClusterError::Refused)
    }

    async fn prepare_extensions(&self, connection: &mut PgConnection) -> Result<(), ClusterError> {
        // Without the notices that say 'already there' at every start.
        let quietly = "set client_min_messages = warning";
        sqlx::raw_sql(quietly).execute(&mut *connection).await.map_err(ClusterError::Refused)?;
        for (extension, create) in EXTENSIONS {
            match sqlx::raw_sql(create).execute(&mut *connection).await {
                Ok(_) => {}
                Err(sqlx::Error::Database(refusal))
                    if refusal.code().is_some_and(|code| NOT_INSTALLED.contains(&code.as_ref())) =>
                {
                    return Err(ClusterError::NoExtension { major: self.programs.major, extension });
                }
                Err(other) => return Err(ClusterError::Refused(other)),
            }
        }
        Ok(())
    }

    /// Ends whatever runs of this cluster, ours or an orphan of a killed predecessor: first as an orderly
    /// 'fast' shutdown (SIGINT to the postmaster), then at once (SIGQUIT), then by force.
    async fn end(&self) -> Result<(), ClusterError> {
        let rounds = [(Signal::SIGINT, 60), (Signal::SIGQUIT, 10), (Signal::SIGKILL, 10)];
        for (signal, patience_s) in rounds {
            let running = self.processes();
            if running.is_empty() {
                return Ok(());
            }
            let orderly = signal == Signal::SIGINT;
            if orderly && !running.iter().any(|process| process.postmaster) {
                // Backends whose postmaster was killed: there is nobody to end them in an orderly way.
                continue;
            }
            for process in running.iter().filter(|process| process.postmaster || !orderly) {
                match kill(process.id, signal) {
                    Ok(()) | Err(Errno::ESRCH) => {}
                    Err(reason) => warn!(process = process.id.as_raw(), %reason, "cannot be signalled"),
                }
            }
            if until(Duration::from_secs(patience_s), || self.processes().is_empty()).await {
                return Ok(());
            }
            warn!(?signal, patience_s, "the database has not ended yet");
        }
        Err(ClusterError::Stuck {
            processes: self.processes().iter().map(|process| process.id.as_raw()).collect(),
        })
    }

    /// This cluster's processes: the postmaster has our `cluster_name` among its arguments, the others show it
    /// in their title. Of the right user only, so that nobody else can pose as one.
    fn processes(&self) -> Vec<Process> {
        let owner = self.run_as.as_ref().map_or(geteuid().as_raw(), |run_as| run_as.uid);
        let argument = format!("cluster_name={}", self.name);
        let title = format!("postgres: {}: ", self.name);
        let Ok(proc) = fs::read_dir("/proc") else { return Vec::new() };
        proc.flatten()
            .filter_map(|entry| {
                let id: i32 = entry.file_name().to_str()?.parse().ok()?;
                let command_line = fs::read(entry.path().join("cmdline")).ok()?;
                let postmaster =
                    command_line.split(|byte| *byte == 0).any(|word| word == argument.as_bytes());
                let ours = postmaster || command_line.starts_with(title.as_bytes());
                (ours && entry.metadata().ok()?.uid() == owner)
                    .then_some(Process { id: Pid::from_raw(id), postmaster })
            })
            .collect()
    }

    fn not_run(&self, program: &str, reason: io::Error) -> ClusterError {
        not_run(&self.programs.folder.join(program), &self.folder, self.run_as.as_ref(), reason)
    }
}

struct Process {
    id: Pid,
    postmaster: bool,
}

/// The unprivileged user whom root's database runs as.
#[derive(Debug)]
struct RunAs {
    uid: u32,
    gid: u32,
    name: String,
}

impl RunAs {
    /// PostgreSQL refuses to run as root. A cluster that is already there keeps its owner, so that a folder
    /// which an ordinary user made still works when root starts us on it.
    fn choose(cluster: &Path) -> Result<Option<Self>, ClusterError> {
        if !geteuid().is_root() {
            return Ok(None);
        }
        if let Ok(found) = fs::metadata(cluster)
            && found.uid() != 0
        {
            let name = User::from_uid(Uid::from_raw(found.uid())).ok().flatten().map(|user| user.name);
            let name = name.unwrap_or_else(|| found.uid().to_string());
            return Ok(Some(Self { uid: found.uid(), gid: found.gid(), name }));
        }
        let user = ["postgres", "nobody"].into_iter().find_map(|name| User::from_name(name).ok().flatten());
        let user = user.ok_or(ClusterError::NoUser)?;
        Ok(Some(Self { uid: user.uid.as_raw(), gid: user.gid.as_raw(), name: user.name }))
    }

    /// Whether this user may pass a folder. Supplementary groups do not count: the process gets none.
    fn may_pass(&self, folder: &Path) -> bool {
        let Ok(found) = fs::metadata(folder) else { return false };
        let bit = if found.uid() == self.uid {
            0o100
        } else if found.gid() == self.gid {
            0o010
        } else {
            0o001
        };
        found.mode() & bit != 0
    }
}

/// The machine's PostgreSQL programs.
#[derive(Debug)]
struct Programs {
    folder: PathBuf,
    major: u32,
}

impl Programs {
    /// The programs that made the cluster, or for a new one those that pg_config names, or else the newest.
    async fn find(
        folder: &Path,
        made_by: Option<&str>,
        run_as: Option<&RunAs>,
    ) -> Result<Self, ClusterError> {
        let mut newest = None;
        for bin in Self::candidates().await {
            let postgres = bin.join("postgres");
            let asked = command(&postgres, folder, run_as).arg("--version").output().await;
            let asked = asked.map_err(|reason| not_run(&postgres, folder, run_as, reason))?;
            let Some(major) = major_version(&String::from_utf8_lossy(&asked.stdout)) else { continue };
            if made_by.is_none_or(|made_by| made_by == major.to_string()) {
                return Ok(Self { folder: bin, major });
            }
            newest = newest.max(Some(major));
        }
        match (made_by, newest) {
            (Some(made_by), Some(found)) => Err(ClusterError::OtherVersion {
                folder: folder.to_owned(),
                made_by: made_by.to_owned(),
                found,
            }),
            _ => Err(ClusterError::NoPrograms),
        }
    }

    async fn candidates() -> Vec<PathBuf> {
        let mut found = Vec::new();
        if let Ok(asked) = Command::new("pg_config").arg("--bindir").stdin(Stdio::null()).output().await {
            let line = asked.stdout.strip_suffix(b"\n").unwrap_or(&asked.stdout);
            found.push(PathBuf::from(OsStr::from_bytes(line)));
        }
        let mut majors: Vec<u32> = fs::read_dir("/usr/lib/postgresql")
            .into_iter()
            .flatten()
            .filter_map(|entry| entry.ok()?.file_name().to_str()?.parse().ok())
            .collect();
        majors.sort_unstable_by(|a, b| b.cmp(a));
        found.extend(majors.iter().map(|major| PathBuf::from(format!("/usr/lib/postgresql/{major}/bin"))));
        found.retain(|bin| ["initdb", "postgres"].iter().all(|program| bin.join(program).is_file()));
        found
    }
}

/// `postgres (PostgreSQL) 15.13 (Debian 15.13-0+deb12u1)` is 15.
fn major_version(said: &str) -> Option<u32> {
    let version = said.strip_prefix("postgres (PostgreSQL) ")?;
    let digits = version.find(|letter: char| !letter.is_ascii_digit()).unwrap_or(version.len());
    version[..digits].parse().ok()
}

/// A full disk in English: the system's words (strerror of ENOSPC), and PostgreSQL's hint after a short write.
const NO_SPACE: [&str; 2] = ["No space left on device", "Check free disk space"];
/// SQLSTATE of a server that is starting, recovering or ending.
const CANNOT_CONNECT_NOW: &str = "57P03";
/// SQLSTATEs of an extension of which the control file is missing (feature_not_supported), or the library
/// (undefined_file).
const NOT_INSTALLED: [&str; 2] = ["0A000", "58P01"];

/// Locks the folder for this process and writes its id into the lock file.
fn take(folder: &Path) -> Result<File, ClusterError> {
    let path = folder.join("in-use");
    let unusable = |reason| unusable(&path, reason);
    let options =
        OpenOptions::new().read(true).write(true).create(true).truncate(false).mode(0o644).open(&path);
    let mut lock = options.map_err(unusable)?;
    match lock.try_lock() {
        Ok(()) => {}
        Err(TryLockError::WouldBlock) => {
            let mut holder = String::new();
            let _ = lock.take(32).read_to_string(&mut holder);
            let holder = holder.trim();
            // The holder may not have written its id yet.
            let process = if holder.is_empty() { "(not named yet)" } else { holder };
            return Err(ClusterError::FolderInUse { folder: folder.to_owned(), process: process.to_owned() });
        }
        Err(TryLockError::Error(reason)) => return Err(unusable(reason)),
    }
    lock.set_len(0).and_then(|()| writeln!(lock, "{}", std::process::id())).map_err(unusable)?;
    Ok(lock)
}

/// The folder for the socket: in the data folder, or when that does not fit into a socket's address or into
/// PostgreSQL's list of folders, a short one in the system's temporary folder.
fn socket_folder(folder: &Path, name: &str, run_as: Option<&RunAs>) -> Result<PathBuf, ClusterError> {
    let fits = |place: &Path| {
        let longest = place.join(format!(".s.PGSQL.{PORT}"));
        let plain = place.to_str().is_some_and(|text| !text.contains(['"', '\\']));
        plain && longest.as_os_str().len() <= SOCKET_PATH_MAX
    };
    let own = folder.join("socket");
    let place = if fits(&own) { own } else { std::env::temp_dir().join(name) };
    if !fits(&place) {
        return Err(ClusterError::SocketPathTooLong { path: place });
    }
    match make_private_folder(&place, run_as) {
        Ok(()) => Ok(place),
        Err(reason) if reason.kind() == io::ErrorKind::AlreadyExists => {
            // Whoever may write to the temporary folder could have put it there.
            let found = fs::symlink_metadata(&place).map_err(|reason| unusable(&place, reason))?;
            let owner = run_as.map_or(geteuid().as_raw(), |run_as| run_as.uid);
            if found.is_dir() && found.uid() == owner && found.mode() & 0o777 == 0o700 {
                Ok(place)
            } else {
                Err(ClusterError::SocketFolderTaken { path: place })
            }
        }
        Err(reason) => Err(unusable(&place, reason)),
    }
}

/// Makes a folder that only the database's user may enter.
fn make_private_folder(path: &Path, run_as: Option<&RunAs>) -> io::Result<()> {
    DirBuilder::new().mode(0o700).create(path)?;
    run_as.map_or(Ok(()), |run_as| chown(path, Some(run_as.uid), Some(run_as.gid)))
}

/// One of PostgreSQL's programs, as the user who is to run it: with nothing of our environment (it may hold
/// secrets) and in a process group of its own, so that Ctrl-C at a terminal reaches us and not the database.
fn command(program: &Path, folder: &Path, run_as: Option<&RunAs>) -> Command {
    let mut command = Command::new(program);
    command.env_clear().env("LC_ALL", "C.UTF-8").env("PATH", "/usr/bin:/bin");
    command.current_dir(folder).stdin(Stdio::null()).process_group(0);
    if let Some(run_as) = run_as {
        command.uid(run_as.uid).gid(run_as.gid);
    }
    command
}

fn not_run(program: &Path, folder: &Path, run_as: Option<&RunAs>, reason: io::Error) -> ClusterError {
    if reason.kind() == io::ErrorKind::PermissionDenied
        && let Some(run_as) = run_as
        && let Some(blocked_at) =
            folder.ancestors().collect::<Vec<_>>().into_iter().rev().find(|f| !run_as.may_pass(f))
    {
        return ClusterError::Unreachable {
            folder: folder.to_owned(),
            blocked_at: blocked_at.to_owned(),
            user: run_as.name.clone(),
        };
    }
    ClusterError::NotRun { program: program.to_owned(), reason }
}

fn unusable(path: &Path, reason: io::Error) -> ClusterError {
    if reason.kind() == io::ErrorKind::StorageFull {
        return ClusterError::DiskFull { folder: path.to_owned() };
    }
    ClusterError::Unwritable { path: path.to_owned(), reason }
}

/// The end of what a program said, on one line.
fn last_lines(said: &str) -> String {
    let lines: Vec<&str> = said.lines().filter(|line| !line.trim().is_empty()).collect();
    lines[lines.len().saturating_sub(QUOTED_LINES)..].join(" / ")
}

/// Waits until the condition holds; false when it does not within the bound.
async fn until(bound: Duration, condition: impl Fn() -> bool) -> bool {
    let deadline = Instant::now() + bound;
    let mut look = interval(LOOK_EVERY);
    loop {
        look.tick().await;
        if condition() {
            return true;
        }
        if Instant::now() > deadline {
            return false;
        }
    }
}
