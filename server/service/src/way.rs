//! By which way a request came: from which address, and whether over TLS all the way from the browser. A proxy says both
//! in `X-Forwarded-For` and `X-Forwarded-Proto`, which anybody can write: they count only when they come from a proxy
//! that was named at the start.

use std::{
    net::{IpAddr, SocketAddr},
    sync::Arc,
};

use axum::{
    extract::{ConnectInfo, Request, State},
    http::HeaderMap,
    middleware::Next,
    response::Response,
};
use ipnet::IpNet;

use crate::{Service, tls::trust_page::Trust};

/// Most addresses read from one request's `X-Forwarded-For`, from its end.
const PROXIES: usize = 16;

/// What stands between the service and the crews.
#[derive(Default)]
pub struct Front {
    /// TLS of our own.
    pub tls: Tls,
    /// The address at which crews reach the service, when it was said.
    pub address: Option<String>,
    /// The proxies that are believed.
    pub behind: Vec<IpNet>,
}

/// TLS of our own.
#[derive(Default)]
pub enum Tls {
    /// None: plain HTTP.
    #[default]
    None,
    /// With a certificate from our own authority.
    Local(Trust),
    /// With a certificate that was given to us.
    Given,
}

/// By which way a request came.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Way {
    /// Who sent it, as far as is known.
    pub from: Option<IpAddr>,
    /// Whether the browser spoke TLS.
    pub secure: bool,
}

impl Front {
    /// The way of a request that came over a connection from this address.
    #[must_use]
    pub fn way(&self, peer: Option<IpAddr>, headers: &HeaderMap) -> Way {
        let own = !matches!(self.tls, Tls::None);
        let Some(peer) = peer.map(|peer| peer.to_canonical()) else { return Way { from: None, secure: own } };
        if !self.believed(peer) {
            return Way { from: Some(peer), secure: own };
        }
        let mut from = peer;
        for hop in from_the_end(headers, "x-forwarded-for").take(PROXIES) {
            let Ok(address) = hop.parse::<IpAddr>() else { break };
            from = address.to_canonical();
            if !self.believed(from) {
                break;
            }
        }
        let said = from_the_end(headers, "x-forwarded-proto").next();
        Way { from: Some(from), secure: said.map_or(own, |scheme| scheme.eq_ignore_ascii_case("https")) }
    }

    fn believed(&self, address: IpAddr) -> bool {
        self.behind.iter().any(|network| network.contains(&address))
    }
}

/// A list's values from the last one, which the nearest proxy wrote.
fn from_the_end<'a>(headers: &'a HeaderMap, name: &str) -> impl Iterator<Item = &'a str> + use<'a> {
    let fields: Vec<&str> = headers.get_all(name).iter().filter_map(|value| value.to_str().ok()).collect();
    fields.into_iter().rev().flat_map(|field| field.rsplit(',')).map(str::trim)
}

/// Tells each request by which way it came.
pub async fn told(State(service): State<Arc<Service>>, mut request: Request, next: Next) -> Response {
    let peer = request.extensions().get::<ConnectInfo<SocketAddr>>().map(|ConnectInfo(peer)| peer.ip());
    let way = service.front.way(peer, request.headers());
    request.extensions_mut().insert(way);
    next.run(request).await
}

#[cfg(test)]
mod tests {
    use axum::http::HeaderValue;

    use super::*;

    fn headers(fields: &[(&'static str, &'static str)]) -> HeaderMap {
        let mut headers = HeaderMap::new();
        for (name, value) in fields {
            headers.append(*name, HeaderValue::from_static(value));
        }
        headers
    }

    fn ip(text: &str) -> IpAddr {
        text.parse().unwrap()
    }

    #[test]
    fn only_a_named_proxy_is_believed_about_where_a_request_came_from() {
        let behind = vec!["10.9.0.0/16".parse().unwrap(), "::1/128".parse().unwrap()];
        let front = Front { behind, ..Front::default() };
        let said = headers(&[("x-forwarded-for", "198.51.100.7"), ("x-forwarded-proto", "https")]);
        let way = |peer: &str, headers: &HeaderMap| front.way(Some(ip(peer)), headers);
        let proxied = Way { from: Some(ip("198.51.100.7")), secure: true };
        for proxy in ["10.9.1.1", "::1", "::ffff:10.9.1.1"] {
            assert_eq!(way(proxy, &said), proxied, "{proxy}");
        }
        for other in ["10.8.1.1", "127.0.0.1", "fe80::1"] {
            assert_eq!(way(other, &said), Way { from: Some(ip(other)), secure: false }, "{other}");
        }
        assert_eq!(front.way(None, &said), Way { from: None, secure: false });
    }

    #[test]
    fn what_the_nearest_proxy_wrote_counts_before_what_its_sender_wrote() {
        let front = Front { behind: vec!["10.9.0.0/16".parse().unwrap()], ..Front::default() };
        let way = |fields: &[(&'static str, &'static str)]| front.way(Some(ip("10.9.1.1")), &headers(fields));
        // The sender wrote 127.0.0.1 and https; one proxy added the sender's address, the next the first proxy's.
        let lied = way(&[
            ("x-forwarded-for", "127.0.0.1, 198.51.100.7, 10.9.2.2"),
            ("x-forwarded-proto", "https"),
            ("x-forwarded-proto", "http"),
        ]);
        assert_eq!(lied, Way { from: Some(ip("198.51.100.7")), secure: false });
        let nonsense = way(&[("x-forwarded-for", "198.51.100.7, somebody"), ("x-forwarded-proto", "HTTPS")]);
        assert_eq!(nonsense, Way { from: Some(ip("10.9.1.1")), secure: true });
        assert_eq!(way(&[]), Way { from: Some(ip("10.9.1.1")), secure: false });
    }

    #[test]
    fn tls_of_our_own_is_secure_whatever_a_stranger_writes() {
        let front = Front { tls: Tls::Given, ..Front::default() };
        let way = front.way(Some(ip("198.51.100.7")), &headers(&[("x-forwarded-proto", "http")]));
        assert!(way.secure);
    }
}
