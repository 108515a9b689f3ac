//! Whether the service can do its work.

use std::sync::Arc;

use axum::{Json, extract::State};
use serde::Serialize;
use utoipa::ToSchema;

use crate::{
    Service,
    problem::{Problem, ProblemDocument},
};

/// The versions at work.
#[derive(Serialize, ToSchema)]
pub struct Health {
    /// The service's.
    laywire: &'static str,
    /// PostgreSQL's.
    postgresql: String,
    /// PostGIS'.
    postgis: String,
}

/// Answers 200 when the database answers.
#[utoipa::path(get, path = "/api/health", tag = "service", operation_id = "health", security(()),
    responses((status = 200, body = Health), (status = 503, body = ProblemDocument)))]
pub async fn health(State(service): State<Arc<Service>>) -> Result<Json<Health>, Problem> {
    match laywire_store::versions(&service.pool).await {
        Ok((postgresql, postgis)) => {
            Ok(Json(Health { laywire: env!("CARGO_PKG_VERSION"), postgresql, postgis }))
        }
        Err(error) => {
            tracing::warn!(%error, "the database does not answer");
            Err(Problem::Unavailable)
        }
    }
}
