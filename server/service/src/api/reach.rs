//! How crews reach the service and what their devices have to trust: what the command post reads out and prints.

use std::sync::Arc;

use axum::{Json, extract::State};
use serde::Serialize;
use utoipa::ToSchema;

use crate::{Service, problem::ProblemDocument, tls::trust_page::Trust, way::Tls};

/// How crews reach the service.
#[derive(Serialize, ToSchema)]
pub struct Reach {
    /// Its address, when the service was told one; else the one that the page itself came from is as good as any.
    #[schema(required = true)]
    address: Option<String>,
    /// The service's own authority, which devices have to trust; none when they trust the service already, or when it is
    /// served without TLS.
    #[schema(required = true)]
    authority: Option<Trust>,
}

/// Says at which address crews reach the service, and which authority their devices have to trust.
#[utoipa::path(get, path = "/api/reach", tag = "service", operation_id = "reach",
    responses((status = 200, body = Reach), (status = 401, body = ProblemDocument)))]
pub async fn reach(State(service): State<Arc<Service>>) -> Json<Reach> {
    let authority = match &service.front.tls {
        Tls::Local(trust) => Some(trust.clone()),
        Tls::None | Tls::Given => None,
    };
    Json(Reach { address: service.front.address.clone(), authority })
}
