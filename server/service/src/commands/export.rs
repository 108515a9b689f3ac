//! `laywire export`: a collection of an operation as a file, on standard output.

use std::io::Write as _;

use clap::Args;
use laywire_craft::ids::OperationId;
use uuid::Uuid;

use super::{CommandError, Database};
use crate::{
    api::{export, features::Ask},
    problem::Problem,
};

/// Which file.
#[derive(Args)]
pub(super) struct Export {
    #[command(flatten)]
    database: Database,
    /// The operation.
    operation: Uuid,
    /// The collection and the format: lines, laid, crossings, splices, reels, tests or tags, then .geojson, .gpx, .kml or .csv.
    file: String,
}

impl Export {
    pub(super) async fn run(self) -> Result<(), CommandError> {
        let wrong = |problem: Problem| CommandError::Wrong(problem.title());
        let (collection, format) = export::named(&self.file).ok_or_else(|| {
            CommandError::Wrong(format!("{}: no such file; see laywire export --help", self.file))
        })?;
        let ask = Ask::read(collection, Vec::new()).map_err(wrong)?;
        let opened = self.database.open().await?;
        let file = export::file(&opened.pool, OperationId(self.operation), &ask, format).await;
        opened.close().await?;
        // A reader that has gone away is no fault of ours.
        let _ = std::io::stdout().write_all(&file.map_err(wrong)?.text);
        Ok(())
    }
}
