//! Waiting on a condition, bounded: a test never sleeps for a time and hopes.

use std::time::Duration;

use tokio::time::{Instant, MissedTickBehavior, interval};

/// Long enough for a busy machine; a test that waits this long has failed.
pub const BOUND: Duration = Duration::from_mins(1);

/// Waits until the condition holds; fails the test when it does not come about.
pub async fn until(what: &str, mut condition: impl AsyncFnMut() -> bool) {
    let deadline = Instant::now() + BOUND;
    let mut look = interval(Duration::from_millis(20));
    look.set_missed_tick_behavior(MissedTickBehavior::Delay);
    while !condition().await {
        assert!(Instant::now() < deadline, "{what}: not within {BOUND:?}");
        look.tick().await;
    }
}

/// Waits for a future; fails the test when it does not end.
pub async fn within<T>(what: &str, future: impl Future<Output = T>) -> T {
    let ended = tokio::time::timeout(BOUND, future).await;
    ended.unwrap_or_else(|_| panic!("{what}: not within {BOUND:?}"))
}
