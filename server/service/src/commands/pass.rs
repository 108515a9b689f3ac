//! `laywire pass`: give one, list them, revoke one.

use clap::{Subcommand, ValueEnum};
use laywire_craft::{
    ids::{OperationId, PassId},
    party::{Party, Sender},
};
use uuid::Uuid;

use super::{CommandError, Database, name, say};
use crate::access::Secret;

/// The party that a pass lets in.
#[derive(Clone, Copy, ValueEnum)]
pub(super) enum For {
    /// Sees and may report everything, gives passes.
    CommandPost,
    /// Lays wire.
    LeadTeam,
    /// Finishes crossings.
    FollowUpTeam,
    /// Looks on.
    Observer,
}

/// What to do with passes.
#[derive(Subcommand)]
pub(super) enum Verb {
    /// Give a pass, shown once as text, and as a QR code when the service's address is said.
    New {
        #[command(flatten)]
        database: Database,
        /// The operation.
        operation: Uuid,
        /// The party.
        #[arg(value_enum)]
        party: For,
        /// The team's call sign, at most 40 characters.
        team: String,
        /// The address at which the crews reach the service, for the QR code.
        #[arg(long)]
        address: Option<String>,
    },
    /// List an operation's passes, without their secrets.
    List {
        #[command(flatten)]
        database: Database,
        /// The operation.
        operation: Uuid,
    },
    /// Revoke a pass.
    Revoke {
        #[command(flatten)]
        database: Database,
        /// The operation.
        operation: Uuid,
        /// The pass's id, as `list` shows it.
        pass: Uuid,
    },
}

impl Verb {
    pub(super) async fn run(self) -> Result<(), CommandError> {
        match self {
            Self::New { database, operation, party, team, address } => {
                let party = match party {
                    For::CommandPost => Party::CommandPost,
                    For::LeadTeam => Party::LeadTeam,
                    For::FollowUpTeam => Party::FollowUpTeam,
                    For::Observer => Party::Observer,
                };
                let holder = Sender { party, team: name("the call sign", &team)? };
                let opened = database.open().await?;
                let secret = Secret::new();
                let now = chrono::Utc::now();
                laywire_store::pass::give(&opened.pool, OperationId(operation), &holder, &secret.hash(), now)
                    .await?;
                say(&format!("pass {}", secret.text()));
                if let Some(address) = address {
                    let link = format!("{}/join#{}", address.trim_end_matches('/'), secret.text());
                    let code = qrcode::QrCode::new(&link).map_err(|error| {
                        CommandError::Wrong(format!("--address is too long for a QR code: {error}"))
                    })?;
                    say(&link);
                    say(&code.render::<qrcode::render::unicode::Dense1x2>().build());
                }
                say("The pass is kept nowhere: write it down now.");
                opened.close().await
            }
            Self::List { database, operation } => {
                let opened = database.open().await?;
                for pass in laywire_store::pass::all(&opened.pool, OperationId(operation)).await? {
                    let state = pass.revoked_at.map_or("holds".to_owned(), |at| format!("revoked {at}"));
                    say(&format!("{}  {}  {}  {state}", pass.id, pass.holder.party, pass.holder.team));
                }
                opened.close().await
            }
            Self::Revoke { database, operation, pass } => {
                let opened = database.open().await?;
                let now = chrono::Utc::now();
                let done =
                    laywire_store::pass::revoke(&opened.pool, OperationId(operation), PassId(pass), now)
                        .await?;
                opened.close().await?;
                if done {
                    say("revoked");
                    Ok(())
                } else {
                    Err(CommandError::Wrong(
                        "There is no such pass in that operation: see `laywire pass list`".to_owned(),
                    ))
                }
            }
        }
    }
}
