//! The schema: brought up to date by whoever comes first.

use laywire_tests::Scratch;

#[tokio::test]
async fn processes_that_start_together_bring_the_schema_up_to_date_once() {
    let scratch = Scratch::new().await;
    let open = || laywire_store::open(scratch.options(), 2);
    let (a, b, c) = tokio::join!(open(), open(), open());
    let (a, _b, _c) = (a.unwrap(), b.unwrap(), c.unwrap());
    let twice: i64 =
        sqlx::query_scalar("select count(*) - count(distinct version) from _sqlx_migrations where success")
            .fetch_one(&a)
            .await
            .unwrap();
    assert_eq!(twice, 0);
    laywire_store::versions(&a).await.unwrap();
}

/// traps of a partial index: finished rows poison it until they are cleared away, so the table asks for that early.
#[tokio::test]
async fn dead_entries_of_the_queue_are_cleared_early() {
    let scratch = Scratch::new().await;
    let pool = laywire_store::open(scratch.options(), 2).await.unwrap();
    let options: Vec<String> =
        sqlx::query_scalar("select reloptions from pg_class where oid = 'crossing'::regclass")
            .fetch_one(&pool)
            .await
            .unwrap();
    for wanted in ["autovacuum_vacuum_scale_factor=0", "autovacuum_vacuum_threshold=500"] {
        assert!(options.iter().any(|option| option == wanted), "{wanted} is not among {options:?}");
    }
}

/// Every key of an operation's table begins with the operation, so that the tables can be spread by it.
#[tokio::test]
async fn every_key_begins_with_the_operation() {
    let scratch = Scratch::new().await;
    let pool = laywire_store::open(scratch.options(), 2).await.unwrap();
    let astray: Vec<String> = sqlx::query_scalar(
        "select c.conname::text from pg_constraint c join pg_attribute a on a.attrelid = c.conrelid
         where c.contype in ('p', 'u', 'f') and c.connamespace = 'public'::regnamespace
           and a.attnum = c.conkey[1] and a.attname <> 'operation'
           and exists (select from pg_attribute o where o.attrelid = c.conrelid and o.attname = 'operation')",
    )
    .fetch_all(&pool)
    .await
    .unwrap();
    assert_eq!(astray, Vec::<String>::new());
}
