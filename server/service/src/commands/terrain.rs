//! `laywire terrain load FILE`: replaces the terrain by an OpenStreetMap extract and tells how far it is. All it does
//! itself is print; reading and loading are the store's.

use std::io::Write as _;
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
}

impl Verb {
    pub(super) async fn run(self) -> Result<(), CommandError> {
        let Self::Load { database, file } = self;
        // Before a database is made for nothing.
        std::fs::File::open(&file)
            .map_err(|error| CommandError::Io { what: format!("cannot read {}", file.display()), error })?;
        let opened = database.open().await?;
        load(&opened.pool, &file).await?;
        opened.close().await
    }
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
