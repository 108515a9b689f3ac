//! How a device comes to trust the service: what the command post reads out and prints.

use std::sync::Arc;

use axum::{Json, extract::State};
use serde::Serialize;
use utoipa::ToSchema;

use crate::{Service, problem::ProblemDocument, tls::trust_page::Trust, way::Tls};

/// What a device has to trust.
#[derive(Serialize, ToSchema)]
pub struct Trusted {
    /// The service's own authority; none when devices trust the service already, or when it is served without TLS.
    #[schema(required = true)]
    authority: Option<Trust>,
}

/// Says which authority devices have to trust, if it is the service's own.
#[utoipa::path(get, path = "/api/trust", tag = "service", operation_id = "trust",
    responses((status = 200, body = Trusted), (status = 401, body = ProblemDocument)))]
pub async fn trust(State(service): State<Arc<Service>>) -> Json<Trusted> {
    let authority = match &service.front.tls {
        Tls::Local(trust) => Some(trust.clone()),
        Tls::None | Tls::Given => None,
    };
    Json(Trusted { authority })
}
