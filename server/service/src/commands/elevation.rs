//! `laywire terrain elevation`: loads grids of heights, lists them and takes them away. All it does itself is print; reading
//! and loading are the store's.

use std::path::{Path, PathBuf};
use std::time::{Duration, Instant};

use clap::Subcommand;
use laywire_store::PgPool;
use laywire_store::elevation::{self, ElevationError, Progress};

use super::{CommandError, Database, say};

/// What to do with the heights.
#[derive(Subcommand)]
pub(super) enum Verb {
    /// Load grids of heights, all of them or none; one of the same name as another takes its place.
    ///
    /// Tiles of HGT share their edges. Tiles of GeoTIFF often do not, and the heights between two of them are unknown then: make
    /// one file of them first, as by 'gdalwarp A.tif B.tif OUT.tif'.
    Load {
        #[command(flatten)]
        database: Database,
        /// HGT tiles (.hgt, 1″ or 3″, named by their place as N54W005.hgt), or GeoTIFF in EPSG:4326 with heights in metres.
        #[arg(required = true)]
        files: Vec<PathBuf>,
    },
    /// List the grids.
    List {
        #[command(flatten)]
        database: Database,
    },
    /// Take grids away, all that are named or none.
    Remove {
        #[command(flatten)]
        database: Database,
        /// Their names in the list.
        #[arg(required = true)]
        names: Vec<String>,
    },
}

impl Verb {
    pub(super) async fn run(self) -> Result<(), CommandError> {
        match self {
            Self::Load { database, files } => {
                // Before a database is made for nothing.
                for file in &files {
                    std::fs::metadata(file).map_err(|error| CommandError::Io {
                        what: format!("cannot read {}", file.display()),
                        error,
                    })?;
                }
                let opened = database.open().await?;
                load(&opened.pool, &files).await?;
                opened.close().await
            }
            Self::List { database } => {
                let opened = database.open().await?;
                for grid in elevation::list(&opened.pool).await? {
                    say(&format!(
                        "{}\t{} × {}\t{:.1} m\t{:.5},{:.5} to {:.5},{:.5}\t{} {}",
                        grid.name,
                        grid.columns,
                        grid.rows,
                        grid.cell_m,
                        grid.west,
                        grid.south,
                        grid.east,
                        grid.north,
                        grid.file_name,
                        grid.loaded_at.format("%Y-%m-%d %H:%MZ"),
                    ));
                }
                opened.close().await
            }
            Self::Remove { database, names } => {
                let opened = database.open().await?;
                elevation::remove(&opened.pool, &names).await?;
                say(&format!("removed {}", names.len()));
                opened.close().await
            }
        }
    }
}

/// A load that is over sooner says nothing of how far it is.
const QUIET: Duration = Duration::from_secs(5);
/// A line of progress at most this often.
const INTERVAL: Duration = Duration::from_secs(1);

async fn load(pool: &PgPool, files: &[PathBuf]) -> Result<(), ElevationError> {
    let began = Instant::now();
    let mut told = began;
    let name = |file: &Path| file.file_name().unwrap_or_default().to_string_lossy().into_owned();
    let loaded = elevation::load(pool, files, |Progress { file, done, total }| {
        if began.elapsed() >= QUIET && told.elapsed() >= INTERVAL {
            told = Instant::now();
            let percent = u64::from(done) * 100 / u64::from(total.max(1));
            say(&format!("{} ({} of {}): {percent} %", name(&files[file]), file + 1, files.len()));
        }
    })
    .await?;
    for grid in &loaded {
        say(&format!(
            "{} {}: {} × {} heights, {:.1} m apart",
            if grid.replaced { "replaced" } else { "loaded" },
            grid.name,
            grid.columns,
            grid.rows,
            grid.cell_m,
        ));
    }
    say(&format!("{} in {:.1} s", loaded.len(), began.elapsed().as_secs_f64()));
    Ok(())
}
