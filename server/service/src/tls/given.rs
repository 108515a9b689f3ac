//! A certificate and its key from files that somebody else keeps and renews: read again when they change.

use std::path::PathBuf;

use chrono::{DateTime, Utc};
use rustls::{
    client::verify_server_name,
    pki_types::{CertificateDer, PrivateKeyDer, pem::PemObject},
    server::ParsedCertificate,
    sign::CertifiedKey,
};
use x509_parser::parse_x509_certificate;

use super::{TlsError, authority::validity, cryptography, name::Name, read_bounded};

/// The two files, and the names that the certificate has to stand for.
pub struct Files {
    /// The server's certificate, and those between it and a public authority.
    pub certificate: PathBuf,
    /// The key.
    pub key: PathBuf,
    /// The names.
    pub names: Vec<Name>,
}

impl Files {
    /// Reads both, and checks that they belong together and hold now.
    pub(super) fn read(&self, now: DateTime<Utc>) -> Result<CertifiedKey, TlsError> {
        let path = || self.certificate.clone();
        let chain: Vec<_> = CertificateDer::pem_slice_iter(&read_bounded(&self.certificate)?)
            .collect::<Result<_, _>>()
            .map_err(|_| TlsError::NoCertificate { path: path() })?;
        let first = chain.first().ok_or_else(|| TlsError::NoCertificate { path: path() })?;
        let unreadable = |error: String| TlsError::Unreadable { path: path(), error };
        let (_, parsed) = parse_x509_certificate(first).map_err(|error| unreadable(error.to_string()))?;
        let (from, until) =
            validity(&parsed).ok_or_else(|| unreadable("its dates make no sense".to_owned()))?;
        if now < from || now >= until {
            return Err(TlsError::NotNow { path: path(), from, until, now });
        }
        let server = ParsedCertificate::try_from(first).map_err(|error| unreadable(error.to_string()))?;
        for name in &self.names {
            verify_server_name(&server, &name.asked())
                .map_err(|_| TlsError::OtherName { path: path(), name: name.clone() })?;
        }
        let no_key = || TlsError::NoKey { path: self.key.clone() };
        let key = PrivateKeyDer::from_pem_slice(&read_bounded(&self.key)?).map_err(|_| no_key())?;
        CertifiedKey::from_der(chain.clone(), key, &cryptography()).map_err(|error| match error {
            rustls::Error::InconsistentKeys(_) => {
                TlsError::NotAPair { certificate: path(), key: self.key.clone() }
            }
            _ => no_key(),
        })
    }
}
