//! The service: HTTP, passes, the feed and the command line. It is the only place that knows a status code; what may
//! be reported is decided in `laywire-craft`, and all the SQL is in `laywire-store`.

pub mod access;
pub mod api;
pub mod commands;
pub mod feed;
pub mod openapi;
pub mod problem;

use std::sync::Arc;

use chrono::{DateTime, Utc};
use laywire_store::PgPool;
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
    /// Whether cookies go over TLS alone.
    pub secure_cookies: bool,
}

impl Service {
    /// A service on a database whose schema is up to date.
    #[must_use]
    pub fn new(pool: PgPool, closing: CancellationToken, secure_cookies: bool) -> Arc<Self> {
        let feeds = Arc::new(feed::Feeds::new(pool.clone(), closing.clone()));
        Arc::new(Self { pool, seen: access::Seen::default(), feeds, closing, secure_cookies })
    }

    /// Has every pass looked up again, in requests to come and in feeds that are open.
    pub fn doubt_passes(&self) {
        self.seen.forget();
        self.feeds.doubt_passes();
    }

    /// The time. Only here is a clock read; everything else is told.
    #[must_use]
    pub fn now(&self) -> DateTime<Utc> {
        Utc::now()
    }
}
