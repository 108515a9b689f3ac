//! A device that trusts one authority and no other, and speaks HTTP/2 over TLS with the service. It sees the certificate
//! that it was shown, which browsers and most clients keep to themselves.

use std::{io, pin::Pin, sync::Arc};

use futures::{Stream, StreamExt};
use http_body_util::{BodyExt, BodyStream, Full};
use hyper::{
    Request,
    body::{Bytes, Incoming},
    client::conn::http2::{self, SendRequest},
};
use hyper_util::rt::{TokioExecutor, TokioIo};
use rustls::{
    ClientConfig, RootCertStore,
    pki_types::{CertificateDer, ServerName},
};
use tokio::net::TcpStream;
use tokio_rustls::TlsConnector;

use crate::{Answer, Feed, wait::within};

/// A device, connected.
pub struct Device {
    /// The server's certificate, as it was shown.
    pub certificate: CertificateDer<'static>,
    address: String,
    sender: SendRequest<Full<Bytes>>,
}

impl Device {
    /// Connects to a port of this machine, asks there for the service by this name, and believes the authority alone.
    ///
    /// # Errors
    /// Why the device does not believe that it speaks with the service.
    pub async fn connect(port: u16, name: &str, authority: &[u8]) -> io::Result<Self> {
        // A handshake under way is large: it is kept off the stacks of those who wait for it.
        let handshake = Box::pin(async {
            let mut roots = RootCertStore::empty();
            roots.add(CertificateDer::from(authority.to_vec())).expect("an authority's certificate");
            let ring = Arc::new(rustls::crypto::ring::default_provider());
            let mut config = ClientConfig::builder_with_provider(ring)
                .with_safe_default_protocol_versions()
                .expect("TLS 1.2 and 1.3")
                .with_root_certificates(roots)
                .with_no_client_auth();
            config.alpn_protocols = vec![b"h2".to_vec()];
            let asked = ServerName::try_from(name.to_owned()).expect("a name");
            let tcp = TcpStream::connect(("127.0.0.1", port)).await?;
            let tls = TlsConnector::from(Arc::new(config)).connect(asked, tcp).await?;
            let shown = tls.get_ref().1.peer_certificates().expect("a server shows one");
            let certificate = shown[0].clone().into_owned();
            let (sender, connection) =
                http2::handshake(TokioExecutor::new(), TokioIo::new(tls)).await.map_err(io::Error::other)?;
            tokio::spawn(connection);
            let host = if name.contains(':') { format!("[{name}]") } else { name.to_owned() };
            Ok(Self { certificate, address: format!("https://{host}:{port}"), sender })
        });
        within("the handshake ends", handshake).await
    }

    /// Sends a request on this connection.
    async fn send(
        &self,
        method: &str,
        path: &str,
        pass: Option<&str>,
        body: &str,
    ) -> hyper::Response<Incoming> {
        let mut request = Request::builder()
            .method(method)
            .uri(format!("{}{path}", self.address))
            .header("content-type", "application/json");
        if let Some(pass) = pass {
            request = request.header("authorization", format!("Bearer {pass}"));
        }
        let request = request.body(Full::from(body.to_owned())).expect("a request");
        let sent = self.sender.clone().send_request(request);
        within("the service answers", sent).await.expect("the service answers")
    }

    /// Sends a request and reads the answer whole.
    pub async fn ask(&self, method: &str, path: &str, pass: Option<&str>, body: &str) -> Answer {
        let response = self.send(method, path, pass, body).await;
        let (status, headers) = (response.status().as_u16(), response.headers().clone());
        let body = within("the answer ends", response.into_body().collect()).await.expect("a whole answer");
        let body = String::from_utf8(body.to_bytes().to_vec()).expect("the body is text");
        Answer { status, headers, body }
    }

    /// Opens a feed on this connection.
    pub async fn feed(&self, path: &str, pass: &str) -> Feed {
        let response = self.send("GET", path, Some(pass), "").await;
        assert_eq!(response.status(), 200);
        let pieces: Pin<Box<dyn Stream<Item = Option<Vec<u8>>> + Send>> =
            Box::pin(BodyStream::new(response.into_body()).map(|frame| {
                frame.ok().map(|frame| frame.into_data().map_or_else(|_| Vec::new(), |data| data.to_vec()))
            }));
        Feed::of(pieces)
    }
}
