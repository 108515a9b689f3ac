//! `laywire serve`: the API and the pages, on the private database or on a server's, until it is told to stop; over TLS
//! of its own, behind a proxy that speaks TLS, or in the clear on this machine alone.

use std::{
    net::{IpAddr, SocketAddr},
    path::PathBuf,
    sync::Arc,
    time::Duration,
};

use axum::{
    Router,
    serve::{Listener, ListenerExt as _},
};
use chrono::Utc;
use clap::Args;
use ipnet::IpNet;
use laywire_store::{PgConnectOptions, private_cluster::PrivateCluster};
use tokio::{
    net::TcpListener,
    signal::unix::{Signal, SignalKind, signal},
};
use tokio_util::sync::CancellationToken;

use super::{CommandError, Database, options, say};
use crate::{
    Service,
    openapi::app,
    tls::{
        Identity, Source,
        authority::Authority,
        given::Files,
        listener::TlsListener,
        name::Name,
        trust_page::{self, Trust},
    },
    way::{Front, Tls},
};

/// Connections to the database that one process holds at most.
const CONNECTIONS: u32 = 20;

/// How long requests that are under way may take when the process is told to stop.
const LAST_WORD: Duration = Duration::from_secs(3);

/// Most names in one certificate.
const NAMES: usize = 32;

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
    /// Speak TLS: `auto` with an authority of our own, kept in the data folder; or with a certificate and its key from
    /// two files, which are read again when they change and on SIGHUP.
    #[arg(long, num_args = 1..=2, value_names = ["auto|CERTIFICATE", "KEY"])]
    tls: Option<Vec<PathBuf>>,
    /// A name or an address by which crews reach the service; the first is the one that is printed. May be said again.
    #[arg(long, requires = "tls", value_name = "HOST-OR-ADDRESS")]
    name: Vec<Name>,
    /// Where to serve, without TLS, the page by which devices come to trust our authority: the port after that of
    /// --listen, unless said otherwise.
    #[arg(long, requires = "tls", value_name = "ADDRESS")]
    trust_page: Option<SocketAddr>,
    /// A proxy that speaks TLS for us: it alone is believed about who sent a request (X-Forwarded-For) and how
    /// (X-Forwarded-Proto). An address or a network; may be said again.
    #[arg(long, value_name = "ADDRESS[/LENGTH]", value_parser = network)]
    behind: Vec<IpNet>,
    /// Play the demonstration when there is no operation yet, and print its passes.
    #[arg(long, requires = "demo_terrain", value_name = "SCENARIO")]
    demo: Option<PathBuf>,
    /// The ground of the demonstration, an OpenStreetMap extract.
    #[arg(long, value_name = "EXTRACT")]
    demo_terrain: Option<PathBuf>,
}

/// What the service listens on, and what it tells crews.
struct Door {
    listener: TcpListener,
    /// Where crews find it: `https://wire.example:8474`.
    address: String,
    front: Front,
    identity: Option<Arc<Identity>>,
    /// Says that the files are to be read again.
    hangup: Option<Signal>,
    trust_page: Option<(TcpListener, Router)>,
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
        connect: PgConnectOptions,
        told: impl Future<Output = ()> + Send + 'static,
    ) -> Result<(), CommandError> {
        let Door { listener, address, front, identity, hangup, trust_page } = self.door().await?;
        let pool = laywire_store::open(connect, CONNECTIONS).await?;
        let closing = CancellationToken::new();
        let trust = match &front.tls {
            Tls::Local(trust) => Some(trust.clone()),
            Tls::None | Tls::Given => None,
        };
        let service = Service::new(pool.clone(), closing.clone(), front);
        let feeds = tokio::spawn({
            let service = service.clone();
            async move { service.feeds.run(&service).await }
        });
        let router = app(service.clone(), self.web.as_deref());
        if let (Some(scenario), Some(terrain)) = (&self.demo, &self.demo_terrain) {
            super::demo::play(&service, router.clone(), scenario, terrain, &self.database.data, &address)
                .await?;
        }
        if let Some(trust) = &trust {
            tell(trust)?;
        }
        tracing::info!(%address, "serving");
        say(&format!("laywire serves on {address}"));
        tokio::spawn({
            let closing = closing.clone();
            async move {
                told.await;
                closing.cancel();
            }
        });
        let page = trust_page.map(|(listener, page)| tokio::spawn(answer(listener, page, closing.clone())));
        let outcome = match identity {
            Some(identity) => {
                let listener = TlsListener::new(listener, identity.server_config()?);
                let listener = listener.tap_io(|stream| at_once(stream.get_ref().0));
                tokio::select! {
                    outcome = answer(listener, router, closing.clone()) => outcome,
                    never = identity.keep(hangup, Utc::now) => match never {},
                }
            }
            None => answer(listener.tap_io(|stream| at_once(stream)), router, closing.clone()).await,
        };
        closing.cancel();
        let _ = feeds.await;
        if let Some(page) = page {
            let _ = page.await;
        }
        let _ = tokio::time::timeout(LAST_WORD, pool.close()).await;
        outcome.map_err(|error| CommandError::Listen {
            address: self.listen.to_string(),
            option: "--listen",
            error,
        })
    }

    /// Opens the door: everything that can be wrong with names, certificates and addresses is found here.
    async fn door(&self) -> Result<Door, CommandError> {
        let names = self.names()?;
        let (listener, at) = listen(self.listen, "--listen").await?;
        let host = names.first().map_or_else(|| Name::Address(at.ip()), Clone::clone);
        let mut door = Door {
            listener,
            address: address("https", &host, at.port()),
            front: Front { behind: self.behind.clone(), ..Front::default() },
            identity: None,
            hangup: None,
            trust_page: None,
        };
        let now = Utc::now();
        match self.tls.as_deref() {
            None => {
                door.address = format!("http://{at}");
                if let Some(warning) = in_the_clear(at, &self.behind) {
                    tracing::warn!("{warning}");
                }
            }
            Some([auto]) if auto.as_os_str() == "auto" => {
                let authority = Authority::open(&self.database.data, &names, now)?;
                let wanted = match self.trust_page {
                    Some(wanted) => wanted,
                    None => SocketAddr::new(at.ip(), at.port().checked_add(1).ok_or_else(no_port_left)?),
                };
                let (page_listener, page_at) = listen(wanted, "--trust-page").await?;
                let trust = Trust::new(address("http", &host, page_at.port()) + "/", authority.certificate());
                let page =
                    trust_page::router(authority.certificate(), authority.until(), &trust, &door.address)?;
                door.trust_page = Some((page_listener, page));
                door.front.tls = Tls::Local(trust);
                door.identity = Some(Identity::new(Source::Authority(Box::new(authority), names), now)?);
            }
            Some([certificate, key]) => {
                if self.trust_page.is_some() {
                    return Err(wrong(
                        "--trust-page is for --tls auto: devices trust a given certificate already",
                    ));
                }
                let files =
                    Files { certificate: certificate.clone(), key: key.clone(), names: self.name.clone() };
                door.front.tls = Tls::Given;
                door.hangup = Some(signal(SignalKind::hangup()).map_err(waiting)?);
                door.identity = Some(Identity::new(Source::Files(files), now)?);
            }
            Some(_) => {
                return Err(wrong("--tls takes `auto`, or a certificate's file and then its key's file"));
            }
        }
        if self.tls.is_some() && !Name::of_this_machine().contains(&host) {
            door.front.address = Some(door.address.clone());
        }
        Ok(door)
    }

    /// The names in the order of their use: those that were said, the address that is listened on, this machine's own.
    fn names(&self) -> Result<Vec<Name>, CommandError> {
        if self.tls.is_none() {
            return Ok(Vec::new());
        }
        if self.name.len() > NAMES {
            return Err(wrong(&format!("--name may be said {NAMES} times at most")));
        }
        let mut names = self.name.clone();
        if !self.listen.ip().is_unspecified() {
            names.push(Name::Address(self.listen.ip()));
        } else if names.is_empty() {
            return Err(wrong(
                "--tls needs --name here: say by which name or address crews reach this machine, for --listen takes them \
                 all",
            ));
        }
        names.extend(Name::of_this_machine());
        let mut once: Vec<Name> = Vec::new();
        for name in names {
            if !once.contains(&name) {
                once.push(name);
            }
        }
        Ok(once)
    }
}

/// Answers requests until it is told to close, and then lets those under way end, for a while.
async fn answer<L>(listener: L, router: Router, closing: CancellationToken) -> std::io::Result<()>
where
    L: Listener<Addr = SocketAddr>,
    SocketAddr: for<'a> axum::extract::connect_info::Connected<axum::serve::IncomingStream<'a, L>>,
{
    let router = router.into_make_service_with_connect_info::<SocketAddr>();
    let serving = axum::serve(listener, router).with_graceful_shutdown(closing.clone().cancelled_owned());
    let too_long = async {
        closing.cancelled().await;
        tokio::time::sleep(LAST_WORD).await;
    };
    tokio::select! {
        outcome = serving.into_future() => outcome,
        // Somebody sends or reads so slowly that the end cannot wait for them.
        () = too_long => {
            tracing::warn!("some requests were cut short");
            Ok(())
        }
    }
}

/// What to say when it is served to a network without TLS.
fn in_the_clear(at: SocketAddr, behind: &[IpNet]) -> Option<String> {
    (!at.ip().is_loopback() && behind.is_empty()).then(|| {
        format!(
            "whoever is on the network can read what is sent to http://{at}, passes too, and browsers give its pages no \
             position and no offline store: it is served without TLS. Use --tls auto, or --behind a proxy that speaks TLS"
        )
    })
}

/// A small event must not wait for the next one to fill a packet.
fn at_once(stream: &tokio::net::TcpStream) {
    if let Err(error) = stream.set_nodelay(true) {
        tracing::debug!(%error, "a connection keeps its delay");
    }
}

async fn listen(
    address: SocketAddr,
    option: &'static str,
) -> Result<(TcpListener, SocketAddr), CommandError> {
    let failed = |error| CommandError::Listen { address: address.to_string(), option, error };
    let listener = TcpListener::bind(address).await.map_err(failed)?;
    let at = listener.local_addr().map_err(failed)?;
    Ok((listener, at))
}

/// An address for browsers, without the port that they take by themselves.
fn address(scheme: &str, host: &Name, port: u16) -> String {
    match (scheme, port) {
        ("https", 443) | ("http", 80) => format!("{scheme}://{host}"),
        _ => format!("{scheme}://{host}:{port}"),
    }
}

/// Tells the person at the terminal how devices come to trust the service.
fn tell(trust: &Trust) -> Result<(), CommandError> {
    say("Devices have to trust this service's own authority once; they get it at");
    say(&format!("  {}", trust.page()));
    let code = qrcode::QrCode::new(trust.page()).map_err(|error| wrong(&format!("--name: {error}")))?;
    say(&code.render::<qrcode::render::unicode::Dense1x2>().build());
    say("Read its SHA-256 out to whoever installs it, and have it removed when the operation is over:");
    say(&format!("  {}", trust.sha256()));
    Ok(())
}

fn network(text: &str) -> Result<IpNet, String> {
    let one = text.parse::<IpAddr>().map(IpNet::from);
    one.or_else(|_| text.parse::<IpNet>()).map_err(|_| {
        "it has the form 10.0.0.5 or 10.0.0.0/24, of the proxy as this machine sees it".to_owned()
    })
}

fn wrong(text: &str) -> CommandError {
    CommandError::Wrong(text.to_owned())
}

fn no_port_left() -> CommandError {
    wrong("there is no port after that of --listen: say one with --trust-page")
}

fn waiting(error: std::io::Error) -> CommandError {
    CommandError::Io { what: "waiting for signals".to_owned(), error }
}

/// Becomes ready when the process is told to stop.
fn told_to_stop() -> Result<impl Future<Output = ()> + Send + 'static, CommandError> {
    let mut interrupt = signal(SignalKind::interrupt()).map_err(waiting)?;
    let mut terminate = signal(SignalKind::terminate()).map_err(waiting)?;
    Ok(async move {
        tokio::select! {
            _ = interrupt.recv() => {}
            _ = terminate.recv() => {}
        }
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn whoever_serves_a_network_in_the_clear_is_told_so() {
        let proxy = [network("10.0.0.5").unwrap()];
        let warning = |at: &str, behind: &[IpNet]| in_the_clear(at.parse().unwrap(), behind);
        for own in ["127.0.0.1:8474", "[::1]:8474"] {
            assert_eq!(warning(own, &[]), None);
        }
        for open in ["0.0.0.0:8474", "192.168.8.2:8474", "[::]:8474"] {
            assert!(warning(open, &[]).unwrap().contains("without TLS"), "{open}");
            assert_eq!(warning(open, &proxy), None);
        }
    }

    #[test]
    fn a_proxy_is_an_address_or_a_network() {
        let contains =
            |text: &str, address: &str| network(text).unwrap().contains(&address.parse::<IpAddr>().unwrap());
        assert!(contains("10.0.0.5", "10.0.0.5") && !contains("10.0.0.5", "10.0.0.6"));
        assert!(contains("10.0.0.0/24", "10.0.0.6") && !contains("10.0.0.0/24", "10.0.1.6"));
        assert!(contains("fd00::/8", "fd12::1") && !contains("::1", "::2"));
        for wrong in ["", "proxy", "10.0.0.0/33", "10.0.0", "10.0.0.5:80"] {
            assert!(network(wrong).is_err(), "{wrong}");
        }
    }
}
