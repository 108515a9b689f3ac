//! A database of a test's own, made from `template1` on the cluster that `LAYWIRE_TEST_DATABASE_URL` names and dropped
//! when the test ends, failed or not.

use std::str::FromStr;

use sqlx::{
    AssertSqlSafe, Connection, PgConnection, PgPool,
    postgres::{PgConnectOptions, PgPoolOptions},
};

/// The variable that names the maintenance database of a cluster whose `template1` has PostGIS and `btree_gist`.
pub const VARIABLE: &str = "LAYWIRE_TEST_DATABASE_URL";

/// The database.
#[derive(Debug)]
pub struct Scratch {
    /// How to reach it.
    pub url: String,
    name: String,
}

fn maintenance() -> String {
    std::env::var(VARIABLE).unwrap_or_else(|_| {
        panic!(
            "{VARIABLE} is not set: it names the database `postgres` of a throw-away PostgreSQL cluster whose template1 has \
             the extensions postgis and btree_gist"
        )
    })
}

async fn tell(statement: String) {
    let options = PgConnectOptions::from_str(&maintenance()).expect("the variable holds a database URL");
    let mut connection = PgConnection::connect_with(&options).await.expect("the test cluster answers");
    sqlx::raw_sql(AssertSqlSafe(statement)).execute(&mut connection).await.expect("the test cluster obeys");
    connection.close().await.expect("the connection closes");
}

impl Scratch {
    /// Makes one, empty but for the extensions.
    pub async fn new() -> Self {
        let name = format!("laywire_test_{}", uuid::Uuid::now_v7().simple());
        tell(format!("create database {name} template template1")).await;
        let maintenance = maintenance();
        let (server, query) = maintenance.split_once('?').unwrap_or((&maintenance, ""));
        let (server, _) = server.rsplit_once('/').expect("the URL ends with a database's name");
        Self { url: format!("{server}/{name}?{query}"), name }
    }

    /// How to connect to it.
    #[must_use]
    pub fn options(&self) -> PgConnectOptions {
        PgConnectOptions::from_str(&self.url).expect("the URL is one")
    }

    /// Connections to it, for a test that looks behind the service.
    pub async fn connect(&self) -> PgPool {
        PgPoolOptions::new().max_connections(16).connect_with(self.options()).await.expect("it answers")
    }
}

impl Drop for Scratch {
    fn drop(&mut self) {
        let statement = format!("drop database if exists {} with (force)", self.name);
        // A test's own runtime may be ending just now: this one is for the last word alone.
        let dropped = std::thread::spawn(|| {
            let runtime = tokio::runtime::Builder::new_current_thread().enable_all().build();
            runtime.expect("a runtime").block_on(tell(statement));
        });
        assert!(dropped.join().is_ok() || std::thread::panicking(), "the database could not be dropped");
    }
}
