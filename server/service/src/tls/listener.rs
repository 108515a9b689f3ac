//! Connections over TLS. Handshakes run beside each other, with a bound on how many and how long, so that a device that
//! says nothing keeps nobody out.

use std::{io, net::SocketAddr, sync::Arc, time::Duration};

use axum::serve::Listener;
use futures::{FutureExt, StreamExt, future::BoxFuture, stream::FuturesUnordered};
use rustls::ServerConfig;
use tokio::net::{TcpListener, TcpStream};
use tokio_rustls::{TlsAcceptor, server::TlsStream};

/// How long a handshake may take; a phone at the edge of reach needs some seconds.
const HANDSHAKE: Duration = Duration::from_secs(15);
/// Most handshakes under way. Whoever comes after them waits in the system's queue.
const HANDSHAKES: usize = 512;

type Connection = (TlsStream<TcpStream>, SocketAddr);

/// A listener whose connections are over TLS.
pub struct TlsListener {
    tcp: TcpListener,
    acceptor: TlsAcceptor,
    handshakes: FuturesUnordered<BoxFuture<'static, Option<Connection>>>,
}

impl TlsListener {
    /// TLS over this listener.
    #[must_use]
    pub fn new(tcp: TcpListener, config: Arc<ServerConfig>) -> Self {
        Self { tcp, acceptor: TlsAcceptor::from(config), handshakes: FuturesUnordered::new() }
    }
}

impl Listener for TlsListener {
    type Io = TlsStream<TcpStream>;
    type Addr = SocketAddr;

    async fn accept(&mut self) -> Connection {
        loop {
            tokio::select! {
                Some(done) = self.handshakes.next() => {
                    if let Some(connection) = done {
                        return connection;
                    }
                }
                (stream, from) = Listener::accept(&mut self.tcp), if self.handshakes.len() < HANDSHAKES => {
                    self.handshakes.push(handshake(self.acceptor.clone(), stream, from).boxed());
                }
            }
        }
    }

    fn local_addr(&self) -> io::Result<SocketAddr> {
        self.tcp.local_addr()
    }
}

async fn handshake(acceptor: TlsAcceptor, stream: TcpStream, from: SocketAddr) -> Option<Connection> {
    match tokio::time::timeout(HANDSHAKE, acceptor.accept(stream)).await {
        Ok(Ok(stream)) => Some((stream, from)),
        Ok(Err(error)) => {
            tracing::debug!(%from, %error, "no TLS");
            None
        }
        Err(_) => {
            tracing::debug!(%from, "no TLS in time");
            None
        }
    }
}
