//! A name by which crews reach the service: a host's name or an address, without scheme, port or path.

use std::{fmt, net::IpAddr, str::FromStr};

use rustls::pki_types::{DnsName, ServerName};

/// A host's name or an address.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Name {
    /// A host's name, in lower case.
    Host(DnsName<'static>),
    /// An address.
    Address(IpAddr),
}

/// What is not a name.
#[derive(Debug, thiserror::Error)]
#[error(
    "'{0}' is no host name and no address: say `wire.example` or `192.168.8.2` alone, without https:// and without a \
     port; write a name with letters beyond a to z in its xn-- form"
)]
pub struct NoName(String);

impl FromStr for Name {
    type Err = NoName;

    fn from_str(text: &str) -> Result<Self, NoName> {
        if let Ok(address) = text.trim_matches(['[', ']']).parse::<IpAddr>() {
            return if address.is_unspecified() {
                Err(NoName(text.to_owned()))
            } else {
                Ok(Self::Address(address))
            };
        }
        let text = text.strip_suffix('.').unwrap_or(text);
        DnsName::try_from(text.to_ascii_lowercase()).map(Self::Host).map_err(|_| NoName(text.to_owned()))
    }
}

impl fmt::Display for Name {
    /// As it stands in an address: IPv6 in brackets.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Host(host) => f.write_str(host.as_ref()),
            Self::Address(IpAddr::V4(address)) => address.fmt(f),
            Self::Address(IpAddr::V6(address)) => write!(f, "[{address}]"),
        }
    }
}

impl Name {
    /// The name as rustls asks for it.
    #[must_use]
    pub fn asked(&self) -> ServerName<'static> {
        match self {
            Self::Host(host) => ServerName::DnsName(host.clone()),
            Self::Address(address) => ServerName::from(*address),
        }
    }

    /// The names that this machine always has for itself.
    #[must_use]
    pub fn of_this_machine() -> Vec<Self> {
        ["localhost", "127.0.0.1", "::1"].iter().filter_map(|name| name.parse().ok()).collect()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_name_is_a_host_or_an_address_and_nothing_more() {
        for (typed, shown) in [
            ("Wire.Example", "wire.example"),
            ("192.168.8.2", "192.168.8.2"),
            ("fd00::2", "[fd00::2]"),
            ("[fd00::2]", "[fd00::2]"),
            ("post", "post"),
            ("wire.example.", "wire.example"),
        ] {
            assert_eq!(typed.parse::<Name>().unwrap().to_string(), shown);
        }
        let long = format!("{}.example", "x".repeat(64));
        for wrong in
            ["", ".", "https://wire.example", "wire.example:8474", "*.example", "0.0.0.0", "a b", &long, "é"]
        {
            assert!(wrong.parse::<Name>().is_err(), "{wrong}");
        }
    }
}
