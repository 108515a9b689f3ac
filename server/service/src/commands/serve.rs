//! `laywire serve`: the API and the pages, on the private database or on a server's, until it is told to stop.

use std::{net::SocketAddr, path::PathBuf, time::Duration};

use axum::serve::ListenerExt as _;
use clap::Args;
use laywire_store::private_cluster::PrivateCluster;
use tokio::net::TcpListener;
use tokio_util::sync::CancellationToken;

use super::{CommandError, Database, options};
use crate::{Service, openapi::app};

/// Connections to the database that one process holds at most.
const CONNECTIONS: u32 = 20;

/// How long requests that are under way may take when the process is told to stop.
const LAST_WORD: Duration = Duration::from_secs(3);

/// Serve the API and the pages.
#[derive(Args)]
pub(super) struct Serve {
    #[command(flatten)]
    database: Database,
    /// Where to listen.
    #[arg(long, default_value = "127.0.0.1:8474")]
    listen: SocketAddr,
    /// The folder of built pages.
    #[arg(long)]
    web: Option<PathBuf>,
    /// Send cookies over TLS alone: for a service behind a proxy that speaks TLS.
    #[arg(long)]
    secure_cookies: bool,
    /// Play the demonstration when there is no operation yet, and print its passes.
    #[arg(long, requires = "demo_terrain", value_name = "SCENARIO")]
    demo: Option<PathBuf>,
    /// The ground of the demonstration, an OpenStreetMap extract.
    #[arg(long, value_name = "EXTRACT")]
    demo_terrain: Option<PathBuf>,
}

impl Serve {
    /// Runs until SIGINT or SIGTERM.
    pub(super) async fn run(self) -> Result<(), CommandError> {
        let told = told_to_stop()?;
        let Some(url) = &self.database.database_url else {
            let mut cluster = PrivateCluster::start(&self.database.data).await?;
            let connect = cluster.connect_options();
            let outcome = tokio::select! {
                outcome = self.serve(connect, told) => outcome,
                never = cluster.keep_running() => match never {},
            };
            cluster.stop().await?;
            return outcome;
        };
        self.serve(options(url)?, told).await
    }

    async fn serve(
        &self,
        connect: laywire_store::PgConnectOptions,
        told: impl Future<Output = ()> + Send + 'static,
    ) -> Result<(), CommandError> {
        let pool = laywire_store::open(connect, CONNECTIONS).await?;
        let closing = CancellationToken::new();
        let service = Service::new(pool.clone(), closing.clone(), self.secure_cookies);
        let feeds = tokio::spawn({
            let service = service.clone();
            async move { service.feeds.run(&service).await }
        });
        let router = app(service.clone(), self.web.as_deref());
        let listen = |error| CommandError::Listen { address: self.listen.to_string(), error };
        let listener = TcpListener::bind(self.listen).await.map_err(listen)?;
        let address = listener.local_addr().map_err(listen)?;
        if let (Some(scenario), Some(terrain)) = (&self.demo, &self.demo_terrain) {
            super::demo::play(&service, router.clone(), scenario, terrain, &self.database.data, address)
                .await?;
        }
        tracing::info!(%address, "serving");
        super::say(&format!("laywire serves on http://{address}"));
        tokio::spawn({
            let closing = closing.clone();
            async move {
                told.await;
                closing.cancel();
            }
        });
        // A small event must not wait for the next one to fill a packet.
        let listener = listener.tap_io(|stream| {
            if let Err(error) = stream.set_nodelay(true) {
                tracing::debug!(%error, "a connection keeps its delay");
            }
        });
        let serving = axum::serve(listener, router).with_graceful_shutdown(closing.clone().cancelled_owned());
        let too_long = async {
            closing.cancelled().await;
            tokio::time::sleep(LAST_WORD).await;
        };
        tokio::select! {
            outcome = serving.into_future() => outcome.map_err(listen)?,
            // Somebody sends or reads so slowly that the end cannot wait for them.
            () = too_long => tracing::warn!("some requests were cut short"),
        }
        closing.cancel();
        let _ = feeds.await;
        let _ = tokio::time::timeout(LAST_WORD, pool.close()).await;
        Ok(())
    }
}

/// Becomes ready when the process is told to stop.
fn told_to_stop() -> Result<impl Future<Output = ()> + Send + 'static, CommandError> {
    use tokio::signal::unix::{SignalKind, signal};
    let io = |error| CommandError::Io { what: "waiting for signals".to_owned(), error };
    let mut interrupt = signal(SignalKind::interrupt()).map_err(io)?;
    let mut terminate = signal(SignalKind::terminate()).map_err(io)?;
    Ok(async move {
        tokio::select! {
            _ = interrupt.recv() => {}
            _ = terminate.recv() => {}
        }
    })
}
