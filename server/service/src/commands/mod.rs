//! The command line, one file a verb.

use std::{io::Write, path::PathBuf};

use clap::{Args, Parser, Subcommand};
use laywire_craft::text::Name;
use laywire_store::{
    PgConnectOptions, PgPool, StoreError,
    elevation::ElevationError,
    private_cluster::{ClusterError, PrivateCluster},
    terrain::{OwnError, TerrainError},
};

use crate::tls::TlsError;

mod demo;
mod elevation;
mod export;
mod log;
mod openapi;
mod operation;
mod pass;
mod profile;
mod reckon;
mod serve;
mod terrain;

/// Lines, crossings and what is unfinished, for people who lay field telephone wire.
#[derive(Parser)]
#[command(name = "laywire", version)]
pub struct Cli {
    #[command(subcommand)]
    verb: Verb,
}

#[derive(Subcommand)]
enum Verb {
    /// Serve the API and the pages.
    Serve(serve::Serve),
    /// Open an operation, or list them.
    #[command(subcommand)]
    Operation(operation::Verb),
    /// Give, list or revoke passes.
    #[command(subcommand)]
    Pass(pass::Verb),
    /// Write the wire log out, or build the state anew from it.
    #[command(subcommand)]
    Log(log::Verb),
    /// Write a collection of an operation out as a file for other programs.
    Export(export::Export),
    /// Load the ground, or add to it what no map has.
    #[command(subcommand)]
    Terrain(terrain::Verb),
    /// Reckon from a question in JSON on standard input.
    Reckon {
        /// What to reckon.
        #[arg(value_enum)]
        what: reckon::What,
        /// A unit's profile, for what is allowed at a crossing. Else the built-in figures.
        #[arg(long, value_name = "FILE")]
        profile: Option<PathBuf>,
    },
    /// Check a unit's profile, and print its figures with their sources and warnings.
    Profile(profile::Check),
    /// Print the OpenAPI document.
    Openapi,
}

/// Where the database is.
#[derive(Args, Clone)]
pub struct Database {
    /// A PostgreSQL server with PostGIS; without it the service runs a private one in the data folder.
    #[arg(long, env = "DATABASE_URL", hide_env_values = true)]
    database_url: Option<String>,
    /// The data folder of the private database.
    #[arg(long, default_value = ".data")]
    data: PathBuf,
}

/// Why a command could not be carried out.
#[derive(Debug, thiserror::Error)]
pub enum CommandError {
    /// The store failed.
    #[error("{0}")]
    Store(#[from] StoreError),
    /// The private database cannot run.
    #[error("{0}")]
    Cluster(#[from] ClusterError),
    /// The ground could not be loaded.
    #[error("{0}")]
    Terrain(#[from] TerrainError),
    /// Grids of heights could not be loaded, listed or removed.
    #[error("{0}")]
    Elevation(#[from] ElevationError),
    /// TLS cannot be served.
    #[error("{0}")]
    Tls(#[from] TlsError),
    /// The unit's own features could not be added, listed or removed.
    #[error("{0}")]
    Own(#[from] OwnError),
    /// The address to listen on is taken or not allowed.
    #[error("cannot listen on {address}: {error}. Choose another with {option}")]
    Listen {
        /// The address.
        address: String,
        /// The option that chooses it.
        option: &'static str,
        /// What the system says.
        error: std::io::Error,
    },
    /// Reading or writing failed.
    #[error("{what}: {error}")]
    Io {
        /// What was being done.
        what: String,
        /// What the system says.
        error: std::io::Error,
    },
    /// A value on the command line is wrong.
    #[error("{0}")]
    Wrong(String),
    /// The state differs from the log.
    #[error("{0} difference(s) between the log and the state")]
    Differs(usize),
}

/// A database that a command has opened, and the private cluster behind it when the command had to start one.
struct Opened {
    pool: PgPool,
    cluster: Option<PrivateCluster>,
}

impl Opened {
    async fn close(self) -> Result<(), CommandError> {
        self.pool.close().await;
        match self.cluster {
            Some(cluster) => Ok(cluster.stop().await?),
            None => Ok(()),
        }
    }
}

impl Database {
    /// Opens the database for a command that runs and ends: the server's, or the private one that a running service
    /// holds, or else the private one started for this command.
    async fn open(&self) -> Result<Opened, CommandError> {
        const CONNECTIONS: u32 = 4;
        if let Some(url) = &self.database_url {
            return Ok(Opened {
                pool: laywire_store::open(options(url)?, CONNECTIONS).await?,
                cluster: None,
            });
        }
        match PrivateCluster::start(&self.data).await {
            Ok(cluster) => {
                let pool = laywire_store::open(cluster.connect_options(), CONNECTIONS).await?;
                Ok(Opened { pool, cluster: Some(cluster) })
            }
            Err(ClusterError::FolderInUse { .. }) => {
                let held = PrivateCluster::held_by_another(&self.data).await?;
                Ok(Opened { pool: laywire_store::open(held, CONNECTIONS).await?, cluster: None })
            }
            Err(error) => Err(error.into()),
        }
    }
}

fn options(url: &str) -> Result<PgConnectOptions, CommandError> {
    url.parse().map_err(|_| {
        CommandError::Wrong(
            "--database-url cannot be read: it has the form postgres://user@host/database".to_owned(),
        )
    })
}

fn name(what: &str, text: &str) -> Result<Name, CommandError> {
    Name::new(text).map_err(|error| CommandError::Wrong(format!("{what}: {error}")))
}

/// Writes a line for the person at the terminal. A reader that has gone away is no fault of ours.
fn say(text: &str) {
    let _ = writeln!(std::io::stdout(), "{text}");
}

/// Does what the command line says.
///
/// # Errors
/// What could not be done, in words.
pub async fn run(cli: Cli) -> Result<(), CommandError> {
    match cli.verb {
        Verb::Serve(serve) => serve.run().await,
        Verb::Operation(verb) => verb.run().await,
        Verb::Pass(verb) => verb.run().await,
        Verb::Log(verb) => verb.run().await,
        Verb::Export(export) => export.run().await,
        Verb::Terrain(verb) => verb.run().await,
        Verb::Reckon { what, profile } => reckon::run(what, profile.as_deref()),
        Verb::Profile(check) => check.run(),
        Verb::Openapi => openapi::run(),
    }
}
