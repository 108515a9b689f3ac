//! All the routes, and the document that describes them. A route stands here once; the document, the check for a pass
//! and the router are made of the same list, so that none can be forgotten.

use std::{path::Path, sync::Arc, time::Duration};

use axum::{
    Router,
    extract::Request,
    http::{HeaderValue, StatusCode, header},
    middleware::from_fn_with_state,
    response::IntoResponse,
};
use tower_http::{
    catch_panic::CatchPanicLayer,
    compression::CompressionLayer,
    services::{ServeDir, ServeFile},
    set_header::SetResponseHeaderLayer,
    timeout::RequestBodyTimeoutLayer,
    trace::TraceLayer,
};
use utoipa::{
    Modify, OpenApi,
    openapi::{
        OpenApi as Document,
        security::{ApiKey, ApiKeyValue, HttpAuthScheme, HttpBuilder, SecurityScheme},
    },
};
use utoipa_axum::{router::OpenApiRouter, routes};

use crate::{
    Service, access, api, feed, problem,
    way::{self, Tls, Way},
};

/// What stands over the list of routes.
#[derive(OpenApi)]
#[openapi(
    info(
        title = "laywire",
        description = "Field telephone wire: lines, crossings, and what is unfinished. Lengths are metres, times are \
            RFC 3339 in UTC, positions are GeoJSON (WGS 84, longitude first). Every call but the few marked so needs a pass, \
            as `Authorization: Bearer PASS`, as the password of Basic authentication, or as the cookie that POST /api/session \
            sets. Errors are problem documents \
            (RFC 9457).",
        license(name = "MIT OR Apache-2.0", identifier = "MIT OR Apache-2.0")
    ),
    modifiers(&Passes),
    components(schemas(feed::CrewNews)),
    security(("pass" = []), ("cookie" = []))
)]
struct Head;

struct Passes;

impl Modify for Passes {
    fn modify(&self, document: &mut Document) {
        let parts = document.components.get_or_insert_default();
        let bearer = HttpBuilder::new().scheme(HttpAuthScheme::Bearer).build();
        parts.add_security_scheme("pass", SecurityScheme::Http(bearer));
        let cookie = ApiKey::Cookie(ApiKeyValue::new("laywire-{seat}"));
        parts.add_security_scheme("cookie", SecurityScheme::ApiKey(cookie));
    }
}

fn public() -> OpenApiRouter<Arc<Service>> {
    OpenApiRouter::new()
        .routes(routes!(api::health::health))
        .routes(routes!(api::session::join))
        .routes(routes!(api::reference::openapi))
        .routes(routes!(api::reference::reference))
}

fn with_pass() -> OpenApiRouter<Arc<Service>> {
    OpenApiRouter::new()
        .routes(routes!(api::session::session, api::session::leave))
        .routes(routes!(api::operation::operation))
        .routes(routes!(api::operation::operation_profile))
        .routes(routes!(api::line::lines, api::line::plan_line))
        .routes(routes!(api::line::line_wire))
        .routes(routes!(api::line::line_fault))
        .routes(routes!(api::proof::line_tests))
        .routes(routes!(api::proof::line_tags))
        .routes(routes!(api::trouble::line_trouble))
        .routes(routes!(api::recovery::line_recovery))
        .routes(routes!(api::recovery::stores))
        .routes(routes!(api::forecast::line_forecast))
        .routes(routes!(api::forecast::plan_forecast))
        .routes(routes!(api::forecast::operation_forecast))
        .routes(routes!(api::crossing::crossings))
        .routes(routes!(api::crew_position::crews))
        .routes(routes!(api::crew_position::share_position, api::crew_position::stop_sharing))
        .routes(routes!(api::guide::crossing_guide))
        .routes(routes!(api::report::report))
        .routes(routes!(api::queue::queue))
        .routes(routes!(api::share_out::share_out_queue))
        .routes(routes!(api::feed::feed))
        .routes(routes!(api::log::log))
        .routes(routes!(api::review::review))
        .routes(routes!(api::review::review_table))
        .routes(routes!(api::review::review_rates))
        .routes(routes!(api::replay::replay))
        .routes(routes!(api::pass::passes, api::pass::give_pass))
        .routes(routes!(api::pass::revoke_pass))
        .routes(routes!(api::reach::reach))
        .routes(routes!(api::plan::foresee))
        .routes(routes!(api::plan::plan))
        .routes(routes!(api::heights::heights))
        .routes(routes!(api::finder::find_traces))
        .routes(routes!(api::saved_plan::save_plan, api::saved_plan::saved_plans))
        .routes(routes!(api::saved_plan::saved_plan))
        .routes(routes!(api::saved_plan::issue_plan))
        .routes(routes!(api::saved_plan::plan_and_laid))
        .routes(routes!(api::tile::tile))
        .routes(routes!(api::features::features))
        .routes(routes!(api::features::features_root))
        .routes(routes!(api::features::features_definition))
        .routes(routes!(api::features::features_conformance))
        .routes(routes!(api::features::feature_collections))
        .routes(routes!(api::features::feature_collection))
        .routes(routes!(api::features::feature_items))
        .routes(routes!(api::features::feature_item))
        .routes(routes!(api::export::export))
        .routes(routes!(api::traces::read_traces))
        .routes(routes!(api::reckon::reckon_circuit))
        .routes(routes!(api::reckon::reckon_crossing))
        .routes(routes!(api::reckon::reckon_fault))
        .routes(routes!(api::forecast::reckon_forecast))
        .routes(routes!(api::reckon::reckon_pace))
        .routes(routes!(api::reckon::reckon_reels))
        .routes(routes!(api::reckon::reckon_span))
        .routes(routes!(api::reckon::reckon_wire))
}

/// The document, OpenAPI 3.1.
#[must_use]
pub fn document() -> Document {
    OpenApiRouter::with_openapi(Head::openapi()).merge(public()).merge(with_pass()).split_for_parts().1
}

/// What a browser may load on our pages: only what comes from here.
const CONTENT_POLICY: &str = "default-src 'self'; worker-src 'self'; img-src 'self' data: blob:; \
    style-src 'self' 'unsafe-inline'; connect-src 'self'; frame-ancestors 'none'; base-uri 'none'; form-action 'self'";

/// The whole service; with the folder of built pages, if there is one.
pub fn app(service: Arc<Service>, web: Option<&Path>) -> Router {
    let guarded = with_pass().route_layer(from_fn_with_state(service.clone(), access::required));
    let (router, _) = OpenApiRouter::new().merge(public()).merge(guarded).split_for_parts();
    let api = router
        .method_not_allowed_fallback(|| async { problem::Problem::MethodNotAllowed })
        .route("/api/{*rest}", axum::routing::any(|| async { problem::Problem::NotFound }))
        .with_state(service.clone());
    let fixed = |name: header::HeaderName, value: &'static str| {
        SetResponseHeaderLayer::if_not_present(name, HeaderValue::from_static(value))
    };
    let pages = match web {
        Some(folder) => api.merge(pages(folder)),
        None => api.fallback(|| async {
            (StatusCode::NOT_FOUND, "There are no pages here; the API is under /api.\n")
        }),
    };
    pages
        .layer(CompressionLayer::new())
        .layer(RequestBodyTimeoutLayer::new(Duration::from_secs(30)))
        .layer(CatchPanicLayer::custom(problem::on_panic))
        .layer(fixed(header::CONTENT_SECURITY_POLICY, CONTENT_POLICY))
        .layer(fixed(header::X_CONTENT_TYPE_OPTIONS, "nosniff"))
        .layer(fixed(header::REFERRER_POLICY, "no-referrer"))
        .layer(tower::util::option_layer(lasting_tls(&service)))
        .layer(TraceLayer::new_for_http().make_span_with(span))
        .layer(from_fn_with_state(service, way::told))
}

/// With a certificate that browsers trust anyway, they are asked not to come without TLS again for a month; never with
/// one of our own authority, which is gone after the operation while its name goes on.
fn lasting_tls(service: &Service) -> Option<SetResponseHeaderLayer<HeaderValue>> {
    let month = HeaderValue::from_static("max-age=2592000");
    matches!(service.front.tls, Tls::Given)
        .then(|| SetResponseHeaderLayer::overriding(header::STRICT_TRANSPORT_SECURITY, month))
}

/// What the service's own log says about a request.
fn span(request: &Request) -> tracing::Span {
    let from = request.extensions().get::<Way>().and_then(|way| way.from).map(tracing::field::display);
    tracing::debug_span!("request", method = %request.method(), uri = %request.uri(), from)
}

/// The built pages: files under /assets never change under their name, an unknown one is not found, and any other
/// address is the one page, which finds its way by itself.
fn pages(folder: &Path) -> Router {
    let lasting = SetResponseHeaderLayer::overriding(header::CACHE_CONTROL, lasting);
    let fresh =
        SetResponseHeaderLayer::overriding(header::CACHE_CONTROL, HeaderValue::from_static("no-cache"));
    let assets = ServeDir::new(folder.join("assets")).fallback(tower::service_fn(|_| async {
        Ok::<_, std::convert::Infallible>(StatusCode::NOT_FOUND.into_response())
    }));
    let rest = ServeDir::new(folder).fallback(ServeFile::new(folder.join("index.html")));
    Router::new()
        .nest_service("/assets", tower::ServiceBuilder::new().layer(lasting).service(assets))
        .fallback_service(tower::ServiceBuilder::new().layer(fresh).service(rest))
}

#[allow(clippy::unnecessary_wraps, reason = "the layer's shape")]
fn lasting<B>(response: &axum::http::Response<B>) -> Option<HeaderValue> {
    let value =
        if response.status().is_success() { "public, max-age=31536000, immutable" } else { "no-store" };
    Some(HeaderValue::from_static(value))
}
