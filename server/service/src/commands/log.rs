//! `laywire log`: write the wire log out, build the state anew from it, or check that it is what the log adds up to.

use clap::Subcommand;
use laywire_craft::ids::OperationId;
use uuid::Uuid;

use super::{CommandError, Database, say};

/// What to do with the log.
#[derive(Subcommand)]
pub(super) enum Verb {
    /// Write the log out, one entry a line, as JSON.
    Export {
        #[command(flatten)]
        database: Database,
        /// The operation.
        operation: Uuid,
    },
    /// Build the state tables anew from the log.
    Rebuild {
        #[command(flatten)]
        database: Database,
        /// The operation.
        operation: Uuid,
        /// Change nothing: compare, and fail on a difference.
        #[arg(long)]
        check: bool,
    },
}

impl Verb {
    pub(super) async fn run(self) -> Result<(), CommandError> {
        match self {
            Self::Export { database, operation } => {
                let opened = database.open().await?;
                let mut connection = opened.pool.acquire().await.map_err(laywire_store::StoreError::from)?;
                let mut after = 0;
                loop {
                    let page =
                        laywire_store::log::after(&mut connection, OperationId(operation), after, 1_000)
                            .await?;
                    let Some(last) = page.last() else { break };
                    after = last.sequence;
                    for entry in &page {
                        let line = serde_json::to_string(entry).map_err(|error| {
                            CommandError::Wrong(format!("entry {}: {error}", entry.sequence))
                        })?;
                        say(&line);
                    }
                }
                drop(connection);
                opened.close().await
            }
            Self::Rebuild { database, operation, check } => {
                let opened = database.open().await?;
                let operation = OperationId(operation);
                if !check {
                    let entries = laywire_store::rebuild::rebuild(&opened.pool, operation).await?;
                    say(&format!("built anew from {entries} entries"));
                    return opened.close().await;
                }
                let differences = laywire_store::rebuild::check(&opened.pool, operation).await?;
                opened.close().await?;
                for found in &differences.found {
                    say(found);
                }
                if differences.found.is_empty() {
                    say(&format!("{} entries add up to the state as it stands", differences.entries));
                    Ok(())
                } else {
                    Err(CommandError::Differs(differences.found.len()))
                }
            }
        }
    }
}
