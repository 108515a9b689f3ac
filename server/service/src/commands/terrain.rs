//! `laywire terrain`: load the ground.

use std::path::{Path, PathBuf};

use clap::Subcommand;
use laywire_store::PgPool;

use super::{CommandError, Database, say};

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
        let opened = database.open().await?;
        load(&opened.pool, &file).await?;
        opened.close().await
    }
}

/// Loads the extract and says how far it is.
pub(super) async fn load(_pool: &PgPool, file: &Path) -> Result<(), CommandError> {
    say(&format!("not loaded: {}", file.display()));
    Ok(())
}
