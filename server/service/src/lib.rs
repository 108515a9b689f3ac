//! The service: HTTP, passes, the feed and the command line. It is the only place that knows a status code; what may
//! be reported is decided in `laywire-craft`, and all the SQL is in `laywire-store`.

pub mod access;
pub mod api;
pub mod commands;
pub mod feed;
pub mod openapi;
pub mod problem;
pub mod tls;
pub mod way;

use std::sync::Arc;

use chrono::{DateTime, Utc};
use laywire_store::PgPool;
use tokio::sync::{OwnedSemaphorePermit, Semaphore};
use tokio_util::sync::CancellationToken;

use crate::problem::Problem;

/// What every request needs. Nothing here is needed by another process: any number of them run on one database.
pub struct Service {
    /// The database.
    pub pool: PgPool,
    /// Passes seen a moment ago.
    pub seen: access::Seen,
    /// Who watches.
    pub feeds: Arc<feed::Feeds>,
    /// Cancelled when the process closes.
    pub closing: CancellationToken,
    /// What stands between it and the crews.
    pub front: way::Front,
    /// Whose turn it is to reckon for long.
    long_reckonings: Arc<Semaphore>,
}

/// How many long reckonings run at once: half of the processors, and one at the least. The rest of the service goes on beside
/// them.
fn long_reckonings() -> usize {
    std::thread::available_parallelism().map_or(1, |processors| (processors.get() / 2).max(1))
}

impl Service {
    /// A service on a database whose schema is up to date.
    #[must_use]
    pub fn new(pool: PgPool, closing: CancellationToken, front: way::Front) -> Arc<Self> {
        let feeds = Arc::new(feed::Feeds::new(pool.clone(), closing.clone()));
        Arc::new(Self {
            pool,
            seen: access::Seen::default(),
            feeds,
            closing,
            front,
            long_reckonings: Arc::new(Semaphore::new(long_reckonings())),
        })
    }

    /// Waits for a turn at a long reckoning: such questions wait for each other, and nothing else does.
    pub(crate) async fn turn(&self) -> Result<Turn, Problem> {
        let turn = self.long_reckonings.clone().acquire_owned().await;
        turn.map(Turn).map_err(|_| Problem::Unavailable)
    }

    /// Has every pass looked up again, in requests to come and in feeds that are open.
    pub fn doubt_passes(&self) {
        self.seen.forget();
        self.feeds.doubt_passes();
    }

    /// The time.
    #[must_use]
    pub fn now(&self) -> DateTime<Utc> {
        clock()
    }
}

/// A turn at a long reckoning, until it is dropped.
pub(crate) struct Turn(OwnedSemaphorePermit);

impl Turn {
    /// Reckons beside what else the service does. The turn goes with the work, which runs to its end even when nobody waits for
    /// the answer any more.
    pub(crate) async fn reckon<T: Send + 'static>(
        self,
        reckon: impl FnOnce() -> T + Send + 'static,
    ) -> Result<T, Problem> {
        let reckoned = tokio::task::spawn_blocking(move || {
            let answer = reckon();
            drop(self.0);
            answer
        });
        reckoned.await.map_err(|error| {
            tracing::error!(%error, "a long reckoning broke off");
            Problem::Internal
        })
    }
}

/// Only here is a clock read; everything else is told.
pub(crate) fn clock() -> DateTime<Utc> {
    Utc::now()
}
