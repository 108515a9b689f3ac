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
use tokio::sync::Semaphore;
use tokio_util::sync::CancellationToken;

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
    /// How many long reckonings may run at once: the rest of the service goes on beside them.
    pub long_reckonings: Arc<Semaphore>,
}

/// Long reckonings at once: half of the processors, and one at the least.
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

/// Only here is a clock read; everything else is told.
pub(crate) fn clock() -> DateTime<Utc> {
    Utc::now()
}
