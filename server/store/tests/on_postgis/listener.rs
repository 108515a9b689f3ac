//! The ear: it hears every process's reports, and says so when it may have missed some.

use laywire_store::listener::{Heard, Listener};

use crate::ground::{Ground, note, post};

#[tokio::test]
async fn a_report_is_heard_with_its_number() {
    let ground = Ground::new().await;
    let mut listener = Listener::start(&ground.pool).await.unwrap();
    ground.record(&post(), vec![note("one"), note("two")]).await;
    assert_eq!(listener.next().await.unwrap(), Heard::Log(ground.operation, 2));
}

#[tokio::test]
async fn a_lost_connection_is_said_to_be_lost() {
    let ground = Ground::new().await;
    let mut listener = Listener::start(&ground.pool).await.unwrap();
    let cut: i64 = sqlx::query_scalar(
        "select count(pg_terminate_backend(pid)) from pg_stat_activity
         where datname = current_database() and query like 'LISTEN%'",
    )
    .fetch_one(&ground.pool)
    .await
    .unwrap();
    assert_eq!(cut, 1);
    ground.record(&post(), vec![note("unheard")]).await;
    // The server says goodbye before it cuts: an error is as good a sign as any, and the feed then listens anew.
    let heard = listener.next().await;
    assert!(matches!(heard, Ok(Heard::Anything) | Err(_)), "{heard:?}");
}
