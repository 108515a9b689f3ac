//! Hears from the database that a log has grown, a crew has moved or a pass was revoked, whichever process did it. One connection a
//! process. It carries no contents: who hears re-reads the log from the last number that it has seen, and does so too
//! after the connection was lost, for then it cannot know what it missed.

use laywire_craft::ids::{OperationId, PassId};
use sqlx::{PgPool, postgres::PgListener};
use uuid::Uuid;

use crate::StoreError;

/// What was heard.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Heard {
    /// The operation's log has grown up to this number.
    Log(OperationId, i64),
    /// The holder of a pass has moved, or shares no more.
    Crew(OperationId, PassId),
    /// A pass was revoked.
    Pass,
    /// The connection was lost and is back: anything may have happened.
    Anything,
}

/// The process's ear.
#[derive(Debug)]
pub struct Listener(PgListener);

impl Listener {
    /// Begins to listen.
    ///
    /// # Errors
    /// When the database does not answer.
    pub async fn start(pool: &PgPool) -> Result<Self, StoreError> {
        let mut listener = PgListener::connect_with(pool).await?;
        listener.listen_all(["laywire_log", "laywire_pass", "laywire_position"]).await?;
        Ok(Self(listener))
    }

    /// Waits for the next thing to hear.
    ///
    /// # Errors
    /// When the connection is lost and could not be had again: start anew.
    pub async fn next(&mut self) -> Result<Heard, StoreError> {
        loop {
            let Some(notification) = self.0.try_recv().await? else { return Ok(Heard::Anything) };
            if notification.channel() == "laywire_pass" {
                return Ok(Heard::Pass);
            }
            let heard = notification.payload().split_once(':').and_then(|(operation, rest)| {
                let operation = OperationId(operation.parse::<Uuid>().ok()?);
                Some(if notification.channel() == "laywire_position" {
                    Heard::Crew(operation, PassId(rest.parse::<Uuid>().ok()?))
                } else {
                    Heard::Log(operation, rest.parse().ok()?)
                })
            });
            if let Some(heard) = heard {
                return Ok(heard);
            }
        }
    }
}
