//! `laywire operation`: open one, list them.

use std::path::PathBuf;

use clap::Subcommand;
use laywire_craft::{
    party::{Party, Sender},
    text::Name,
};

use super::{CommandError, Database, name, profile, say};
use crate::access::Secret;

/// What to do with operations.
#[derive(Subcommand)]
pub(super) enum Verb {
    /// Open an operation and give the command post its first pass.
    New {
        #[command(flatten)]
        database: Database,
        /// The operation's name, at most 40 characters.
        name: String,
        /// The command post's call sign.
        #[arg(long, default_value = "Command post")]
        team: String,
        /// The unit's profile, in TOML. Else the built-in figures; either way they hold for the whole operation.
        #[arg(long, value_name = "FILE")]
        profile: Option<PathBuf>,
    },
    /// List the operations.
    List {
        #[command(flatten)]
        database: Database,
    },
}

impl Verb {
    pub(super) async fn run(self) -> Result<(), CommandError> {
        match self {
            Self::New { database, name: called, team, profile: unit } => {
                let (called, team): (Name, Name) =
                    (name("the operation's name", &called)?, name("--team", &team)?);
                let profile = profile::of(unit.as_deref())?;
                let opened = database.open().await?;
                let now = chrono::Utc::now();
                let operation = laywire_store::operation::open(&opened.pool, &called, &profile, now).await?;
                let secret = Secret::new();
                let holder = Sender { party: Party::CommandPost, team };
                laywire_store::pass::give(&opened.pool, operation, &holder, &secret.hash(), now).await?;
                say(&format!("operation {operation}"));
                say(&format!("pass      {}", secret.text()));
                say("The pass is kept nowhere: write it down now.");
                for warning in &profile.warnings {
                    say(&format!("WARNING: {}", warning.text));
                }
                opened.close().await
            }
            Self::List { database } => {
                let opened = database.open().await?;
                for operation in laywire_store::operation::all(&opened.pool).await? {
                    say(&format!("{}  {}  {} entries", operation.id, operation.name, operation.sequence));
                }
                opened.close().await
            }
        }
    }
}
