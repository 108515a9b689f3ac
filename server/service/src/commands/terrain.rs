//! `laywire terrain`: replaces the terrain by an OpenStreetMap extract and tells how far it is, and keeps the list of what
//! the unit itself has seen. All it does itself is print; reading and loading are the store's.

use std::io::{Read as _, Write as _};
use std::path::{Path, PathBuf};
use std::time::{Duration, Instant};

use clap::Subcommand;
use laywire_store::PgPool;
use laywire_store::terrain::{self, Progress, Stage, TerrainError};

use super::{CommandError, Database};

/// What to do with the ground.
#[derive(Subcommand)]
pub(super) enum Verb {
    /// Load an OpenStreetMap extract in the place of whatever was loaded before.
    Load {
        #[command(flatten)]
        database: Database,
        /// The extract, .osm.pbf.
        file: PathBuf,
    },
    /// Add features of the unit's own from GeoJSON: culverts that no map has, closed tracks, soft ground. A load keeps them.
    Add {
        #[command(flatten)]
        database: Database,
        /// The features, .geojson; each needs the property `kind`.
        file: PathBuf,
    },
    /// List the unit's own features.
    List {
        #[command(flatten)]
        database: Database,
    },
    /// Load, list or remove grids of heights.
    #[command(subcommand)]
    Elevation(super::elevation::Verb),
    /// Take features of the unit's own away.
    Remove {
        #[command(flatten)]
        database: Database,
        /// Their numbers in the list.
        #[arg(required = true)]
        ids: Vec<i64>,
    },
}

impl Verb {
    pub(super) async fn run(self) -> Result<(), CommandError> {
        match self {
            Self::Load { database, file } => {
                // Before a database is made for nothing.
                std::fs::File::open(&file).map_err(|error| unreadable(&file, error))?;
                let opened = database.open().await?;
                load(&opened.pool, &file).await?;
                opened.close().await
            }
            Self::Add { database, file } => {
                let text = text(&file).map_err(|error| unreadable(&file, error))?;
                let name = file.file_name().map(|name| name.to_string_lossy()).unwrap_or_default();
                let opened = database.open().await?;
                let ids = terrain::add(&opened.pool, &name, &text).await?;
                match ids.as_slice() {
                    [] => {}
                    [only] => say(format_args!("added {only}")),
                    [first, .., last] => say(format_args!("added {}, {first} to {last}", ids.len())),
                }
                opened.close().await
            }
            Self::List { database } => {
                let opened = database.open().await?;
                for own in terrain::own(&opened.pool).await? {
                    say(format_args!(
                        "{}\t{}\t{:.5},{:.5}\t{}\t{}\t{} {}",
                        own.id,
                        own.kind,
                        own.lon,
                        own.lat,
                        own.name.as_deref().unwrap_or("-"),
                        own.note.as_deref().unwrap_or("-"),
                        own.file_name,
                        own.added_at.format("%Y-%m-%d %H:%MZ"),
                    ));
                }
                opened.close().await
            }
            Self::Elevation(verb) => verb.run().await,
            Self::Remove { database, ids } => {
                let opened = database.open().await?;
                terrain::remove(&opened.pool, &ids).await?;
                say(format_args!("removed {}", ids.len()));
                opened.close().await
            }
        }
    }
}

fn unreadable(file: &Path, error: std::io::Error) -> CommandError {
    CommandError::Io { what: format!("cannot read {}", file.display()), error }
}

/// A file's text, read no further than the store would take it.
fn text(file: &Path) -> std::io::Result<String> {
    let mut text = String::new();
    std::fs::File::open(file)?.take(terrain::LARGEST_TEXT as u64 + 1).read_to_string(&mut text)?;
    Ok(text)
}

/// A line of progress at most this often, unless a new stage begins.
const INTERVAL: Duration = Duration::from_secs(1);

/// Loads the extract and prints its progress and what it brought in, one line each.
///
/// # Errors
/// Passes on why the terrain could not be loaded; the old one then stands.
pub(super) async fn load(pool: &PgPool, file: &Path) -> Result<(), TerrainError> {
    let began = Instant::now();
    let mut told: Option<(Stage, Instant)> = None;
    say(format_args!("loading {}", file.display()));
    let loaded = terrain::load(pool, file, |progress| {
        let due = told.is_none_or(|(stage, at)| stage != progress.stage || at.elapsed() >= INTERVAL);
        if due {
            told = Some((progress.stage, Instant::now()));
            say(format_args!("{}: {} %", stage_in_words(progress.stage), percent(progress)));
        }
    })
    .await?;
    say(format_args!(
        "loaded {} stretches of road, railway, stream, power line and coast, {} waters and woods, {} places in {:.1} s",
        loaded.lines,
        loaded.areas,
        loaded.places,
        began.elapsed().as_secs_f64()
    ));
    if loaded.open_areas > 0 {
        say(format_args!(
            "left out {} waters or woods whose edge does not close within the extract",
            loaded.open_areas
        ));
    }
    say(format_args!("show with the map: {}", terrain::ATTRIBUTION));
    Ok(())
}

const fn stage_in_words(stage: Stage) -> &'static str {
    match stage {
        Stage::Checksum => "taking the checksum",
        Stage::Relations => "looking for lakes and woods of several parts",
        Stage::Ways => "looking for roads, railways, waters and power lines",
        Stage::Nodes => "looking for where they are",
        Stage::Geometry => "copying them into the database",
        Stage::Database => "closing areas and building indexes",
    }
}

fn percent(progress: Progress) -> u64 {
    (progress.done * 100).checked_div(progress.total).unwrap_or(100)
}

/// A closed pipe is no reason to stop a load.
fn say(words: std::fmt::Arguments<'_>) {
    drop(writeln!(std::io::stdout().lock(), "{words}"));
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn progress_runs_from_nothing_to_the_whole() {
        let at = |done, total| percent(Progress { stage: Stage::Ways, done, total });
        assert_eq!([at(0, 7), at(3, 7), at(7, 7), at(0, 0)], [0, 42, 100, 100]);
    }
}
