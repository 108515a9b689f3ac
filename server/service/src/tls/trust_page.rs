//! The one page that is served without TLS: it gives the authority's certificate to devices that do not trust it yet, and
//! says how to check it. Nothing else is on it. What it says can be changed on its way; that is why it sends people to the
//! command post's voice. The ways through each system's settings are from memory.

use axum::{
    Router,
    http::{HeaderValue, StatusCode, header},
    response::{Html, IntoResponse},
    routing::get,
};
use chrono::{DateTime, Utc};
use data_encoding::BASE64;
use rustls::pki_types::CertificateDer;
use serde::Serialize;
use sha2::{Digest, Sha256};
use tower_http::set_header::SetResponseHeaderLayer;
use utoipa::ToSchema;

use super::{TlsError, fingerprint};

const PAGE: &str = include_str!("trust_page.html");
const STYLE: &str = include_str!("trust_page.css");

/// How a device comes to trust the service's own authority.
#[derive(Clone, Serialize, ToSchema)]
pub struct Trust {
    /// The page, over plain HTTP, with the authority's certificate and how to install it.
    page: String,
    /// The SHA-256 of the authority's certificate, to be read out to whoever installs it.
    sha256: String,
}

impl Trust {
    /// Trust in this authority, got at this page.
    #[must_use]
    pub fn new(page: String, authority: &CertificateDer<'_>) -> Self {
        Self { page, sha256: fingerprint(authority) }
    }

    /// The page's address.
    #[must_use]
    pub fn page(&self) -> &str {
        &self.page
    }

    /// The fingerprint.
    #[must_use]
    pub fn sha256(&self) -> &str {
        &self.sha256
    }
}

/// The page and the certificate in its two forms, under addresses of their own; everything else is not found.
///
/// # Errors
/// When an address of the page is too long for a QR code or for a header.
pub fn router(
    authority: &CertificateDer<'static>,
    until: DateTime<Utc>,
    trust: &Trust,
    service: &str,
) -> Result<Router, TlsError> {
    let not_made =
        |error: &dyn std::fmt::Display| TlsError::NotMade(format!("the page to trust it by: {error}"));
    let code = qrcode::QrCode::new(&trust.page).map_err(|error| not_made(&error))?;
    let code = code.render::<qrcode::render::svg::Color<'_>>().min_dimensions(220, 220).build();
    let page = PAGE
        .replace("{style}", STYLE)
        .replace("{code}", code.find("<svg").map_or("", |start| &code[start..]))
        .replace("{page}", &trust.page)
        .replace("{service}", service)
        .replace("{until}", &until.format("%-d %B %Y").to_string())
        .replace("{sha256}", &trust.sha256.replace(':', ":<wbr>"));
    let policy = format!(
        "default-src 'none'; style-src 'sha256-{}'; base-uri 'none'; form-action 'none'; frame-ancestors 'none'",
        BASE64.encode(&Sha256::digest(STYLE))
    );
    let policy = HeaderValue::try_from(policy).map_err(|error| not_made(&error))?;
    let der = authority.to_vec();
    let pem = pem(authority);
    let fixed =
        |name, value: &'static str| SetResponseHeaderLayer::overriding(name, HeaderValue::from_static(value));
    // RFC 8555, 9.1 for PEM; `application/x-x509-ca-cert` is what browsers and phones know an authority by.
    let of = |media: &'static str| [(header::CONTENT_TYPE, media)];
    Ok(Router::new()
        .route("/", get(move || async move { Html(page) }))
        .route("/laywire-authority.crt", get(move || async move { (of("application/x-x509-ca-cert"), der) }))
        .route(
            "/laywire-authority.pem",
            get(move || async move { (of("application/pem-certificate-chain"), pem) }),
        )
        .fallback(|| async {
            (StatusCode::NOT_FOUND, "There is nothing here; the page is at /.\n").into_response()
        })
        .layer(SetResponseHeaderLayer::overriding(header::CONTENT_SECURITY_POLICY, policy))
        .layer(fixed(header::X_CONTENT_TYPE_OPTIONS, "nosniff"))
        .layer(fixed(header::REFERRER_POLICY, "no-referrer"))
        .layer(fixed(header::CACHE_CONTROL, "no-store")))
}

/// A certificate as text: RFC 7468, lines of 64 letters.
fn pem(certificate: &CertificateDer<'_>) -> String {
    let mut text = "-----BEGIN CERTIFICATE-----\n".to_owned();
    for line in certificate.chunks(48) {
        BASE64.encode_append(line, &mut text);
        text.push('\n');
    }
    text + "-----END CERTIFICATE-----\n"
}
