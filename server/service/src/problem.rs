//! What a client is told when something cannot be done: problem documents as in RFC 9457, each with a stable `type`, a
//! `title` that a crew can act on, and the field at fault. This is the only place that pairs a fault with a status
//! code. Nothing internal leaves through here; it goes to the service's own log instead.

use axum::{
    Json,
    body::Body,
    extract::{FromRequest, FromRequestParts, Query, Request, rejection::QueryRejection},
    http::{HeaderMap, HeaderValue, StatusCode, header, request::Parts},
    response::{IntoResponse, Response},
};
use futures::StreamExt;
use laywire_craft::{bounds::NoAnswer, refusal::Refusal};
use laywire_store::{
    StoreError, elevation::ProfileError, foreseen::ForeseenError, road::RoadError, terrain::TerrainError,
};
use serde::{Serialize, de::DeserializeOwned};
use utoipa::ToSchema;

/// What cannot be done, and why.
#[derive(Debug)]
pub enum Problem {
    /// No pass was shown, or none that holds.
    NoPass,
    /// Several passes were shown and none was chosen.
    WhichPass,
    /// The party may not do this.
    NotYours(String),
    /// There is nothing here, or nothing that this pass may see.
    NotFound,
    /// The route has no such method.
    MethodNotAllowed,
    /// The body is no JSON.
    NotJson(String),
    /// The body is no XML that can be read.
    NotXml(String),
    /// The body is JSON of the wrong shape.
    Malformed {
        /// The field at fault.
        field: String,
        /// What is wrong with it.
        what: String,
    },
    /// The query string is wrong.
    Query(String),
    /// The body is too large.
    TooLarge {
        /// The limit in bytes.
        most_bytes: usize,
    },
    /// The body is not declared as JSON.
    NotDeclaredJson,
    /// The body is not declared as GeoJSON or GPX.
    NotDeclaredTrace,
    /// A rule of the trade refuses it.
    Refused(Box<Refusal>),
    /// The call sign belongs to another party.
    CallSignInUse(String),
    /// The question has no answer: a figure out of range, or readings that contradict each other.
    CannotReckon {
        /// The field at fault, where it is one alone.
        field: Option<String>,
        /// What is wrong and what to do.
        why: String,
    },
    /// The same pass wrote a moment ago.
    TooSoon {
        /// How long to wait.
        wait_s: i64,
    },
    /// The database is out of reach for now.
    Unavailable,
    /// Something is wrong inside.
    Internal,
}

/// A problem document, RFC 9457.
#[derive(Debug, Serialize, ToSchema)]
pub struct ProblemDocument {
    /// The kind of problem: stable, to be compared by programs.
    #[serde(rename = "type")]
    #[schema(example = "urn:laywire:problem:malformed")]
    pub kind: String,
    /// What is wrong and what to do, for a person.
    pub title: String,
    /// The status code.
    pub status: u16,
    /// The field at fault, as a path into the body or the name of a query parameter.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub field: Option<String>,
    /// The rule that refused it, with its figures.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub refusal: Option<Refusal>,
}

impl Problem {
    /// What a question becomes that has no answer.
    #[allow(clippy::needless_pass_by_value, reason = "the shape of what maps an error")]
    #[must_use]
    pub fn no_answer(error: impl NoAnswer) -> Self {
        Self::CannotReckon { field: error.field(), why: error.to_string() }
    }

    /// What is wrong and what to do, for a person.
    #[must_use]
    pub fn title(self) -> String {
        self.document().title
    }

    fn document(self) -> ProblemDocument {
        let mut field = None;
        let mut refusal = None;
        let (status, kind, title) = match self {
            Self::NoPass => (
                StatusCode::UNAUTHORIZED,
                "no-pass",
                "No pass that holds: enter your pass again, or ask the command post for a new one.".to_owned(),
            ),
            Self::WhichPass => (
                StatusCode::UNAUTHORIZED,
                "which-pass",
                "This browser holds several passes: say which one with the Laywire-Seat header or the seat parameter."
                    .to_owned(),
            ),
            Self::NotYours(what) => (StatusCode::FORBIDDEN, "not-yours", what),
            Self::NotFound => (
                StatusCode::NOT_FOUND,
                "not-found",
                "There is nothing here, or nothing that your pass lets you see: check the address.".to_owned(),
            ),
            Self::MethodNotAllowed => (
                StatusCode::METHOD_NOT_ALLOWED,
                "method-not-allowed",
                "This address does not take that method: see /api.".to_owned(),
            ),
            Self::NotJson(what) => {
                (StatusCode::BAD_REQUEST, "not-json", format!("The body is not readable as JSON: {what}."))
            }
            Self::NotXml(what) => {
                (StatusCode::BAD_REQUEST, "not-xml", format!("The body is not readable as GPX: {what}."))
            }
            Self::Malformed { field: at, what } => {
                let title = format!("{at}: {what}.");
                field = Some(at);
                (StatusCode::UNPROCESSABLE_ENTITY, "malformed", title)
            }
            Self::Query(what) => {
                // "limit: …" names it in front, "missing field `from`" within.
                field = match what.split_once(": ") {
                    Some((name, _)) if !name.contains(' ') => Some(name.to_owned()),
                    _ => what.split('`').nth(1).map(str::to_owned),
                };
                (StatusCode::BAD_REQUEST, "query", format!("The query is wrong: {what}."))
            }
            Self::TooLarge { most_bytes } => (
                StatusCode::PAYLOAD_TOO_LARGE,
                "too-large",
                format!("The body is larger than {} kB: send it in parts.", most_bytes / 1000),
            ),
            Self::NotDeclaredJson => (
                StatusCode::UNSUPPORTED_MEDIA_TYPE,
                "not-declared-json",
                "Send the body as JSON, with Content-Type: application/json.".to_owned(),
            ),
            Self::NotDeclaredTrace => (
                StatusCode::UNSUPPORTED_MEDIA_TYPE,
                "not-declared-trace",
                "Send the file as what it is, with Content-Type: application/geo+json or application/gpx+xml."
                    .to_owned(),
            ),
            Self::Refused(rule) => {
                let title = rule.to_string();
                refusal = Some(*rule);
                (StatusCode::CONFLICT, "refused", title)
            }
            Self::CannotReckon { field: at, why } => {
                field = at;
                (StatusCode::UNPROCESSABLE_ENTITY, "cannot-reckon", format!("{}.", why.trim_end_matches('.')))
            }
            Self::CallSignInUse(team) => {
                field = Some("team".to_owned());
                let title = format!("{team} is another party's call sign already: choose another, or revoke that pass first.");
                (StatusCode::CONFLICT, "call-sign-in-use", title)
            }
            Self::TooSoon { wait_s } => (
                StatusCode::TOO_MANY_REQUESTS,
                "too-soon",
                format!("A position was sent less than {wait_s} s ago: send the next one later."),
            ),
            Self::Unavailable => (
                StatusCode::SERVICE_UNAVAILABLE,
                "unavailable",
                "The database does not answer just now. Send it again: a report stands once, however often it is sent."
                    .to_owned(),
            ),
            Self::Internal => (
                StatusCode::INTERNAL_SERVER_ERROR,
                "internal",
                "Something went wrong in the service. It is in its log: tell who runs it the time.".to_owned(),
            ),
        };
        ProblemDocument {
            kind: format!("urn:laywire:problem:{kind}"),
            title,
            status: status.as_u16(),
            field,
            refusal,
        }
    }
}

impl IntoResponse for Problem {
    fn into_response(self) -> Response {
        let wait_s = if let Self::TooSoon { wait_s } = &self { Some(*wait_s) } else { None };
        let document = self.document();
        let status = StatusCode::from_u16(document.status).unwrap_or(StatusCode::INTERNAL_SERVER_ERROR);
        let mut response = (status, Json(document)).into_response();
        let headers = response.headers_mut();
        headers.insert(header::CONTENT_TYPE, HeaderValue::from_static("application/problem+json"));
        headers.insert(header::CACHE_CONTROL, HeaderValue::from_static("no-store"));
        if let Some(wait_s) = wait_s {
            headers.insert(header::RETRY_AFTER, HeaderValue::from(wait_s));
        }
        if status == StatusCode::UNAUTHORIZED {
            headers.insert(header::WWW_AUTHENTICATE, HeaderValue::from_static("Bearer"));
        }
        response
    }
}

impl From<StoreError> for Problem {
    fn from(error: StoreError) -> Self {
        match error {
            StoreError::NoSuchOperation(_) => return Self::NotFound,
            StoreError::CallSignInUse { team } => return Self::CallSignInUse(team),
            StoreError::NoSuchTeam { team } => {
                return Self::Malformed {
                    field: "team".to_owned(),
                    what: format!(
                        "no team {team} of that party ever had a pass into this operation; check the file"
                    ),
                };
            }
            _ => {}
        }
        if error.is_passing() {
            tracing::warn!(%error, "the database is out of reach");
            return Self::Unavailable;
        }
        tracing::error!(%error, "the store failed");
        Self::Internal
    }
}

impl From<RoadError> for Problem {
    fn from(error: RoadError) -> Self {
        match error {
            RoadError::Ground(ForeseenError::Store(error)) => error.into(),
            RoadError::Ground(ForeseenError::TooMuchGround) => Self::CannotReckon {
                field: None,
                why: "there is more on the map between these places than one question may ask for: ask from nearer by"
                    .to_owned(),
            },
            other => Self::CannotReckon { field: None, why: other.to_string() },
        }
    }
}

impl From<ForeseenError> for Problem {
    fn from(error: ForeseenError) -> Self {
        match error {
            ForeseenError::Store(error) => error.into(),
            asked_too_much => {
                Self::CannotReckon { field: Some("trace".to_owned()), why: asked_too_much.to_string() }
            }
        }
    }
}

impl From<ProfileError> for Problem {
    fn from(error: ProfileError) -> Self {
        match error {
            ProfileError::Store(error) => error.into(),
            asked_too_much => {
                Self::CannotReckon { field: Some("trace".to_owned()), why: asked_too_much.to_string() }
            }
        }
    }
}

impl From<TerrainError> for Problem {
    fn from(error: TerrainError) -> Self {
        match error {
            TerrainError::NoSuchTile { .. } => Self::NotFound,
            TerrainError::Database(error) => StoreError::from(error).into(),
            error => {
                tracing::error!(%error, "the terrain failed");
                Self::Internal
            }
        }
    }
}

/// What a panic becomes: the text goes to the log alone.
#[must_use]
#[allow(clippy::needless_pass_by_value, reason = "the layer's shape")]
pub fn on_panic(panic: Box<dyn std::any::Any + Send + 'static>) -> Response {
    let text = panic
        .downcast_ref::<String>()
        .map(String::as_str)
        .or_else(|| panic.downcast_ref::<&str>().copied())
        .unwrap_or("a panic without a text");
    tracing::error!(panic = text, "a request panicked");
    Problem::Internal.into_response()
}

/// Most bytes of a body.
pub const MOST_BYTES: usize = 1_000_000;

/// A larger body is heard out up to here, and forgotten: who is still sending does not hear the answer.
const HEARD_OUT: usize = 20_000_000;

/// A JSON body that was read whole, bounded and checked, or a problem that names the field at fault.
pub struct Sent<T>(pub T);

impl<S: Send + Sync, T: DeserializeOwned> FromRequest<S> for Sent<T> {
    type Rejection = Problem;

    async fn from_request(request: Request, _: &S) -> Result<Self, Problem> {
        let media = media(request.headers());
        if !media.eq_ignore_ascii_case("application/json")
            && !media.eq_ignore_ascii_case("application/geo+json")
        {
            return Err(Problem::NotDeclaredJson);
        }
        let bytes = read(request.into_body(), MOST_BYTES).await?;
        let mut json = serde_json::Deserializer::from_slice(&bytes);
        let value = serde_path_to_error::deserialize(&mut json).map_err(|error| {
            let field = error.path().to_string();
            let inner = error.into_inner();
            match inner.classify() {
                serde_json::error::Category::Data => {
                    // The place in the text says nothing to a person; the path does.
                    let text = inner.to_string();
                    let what =
                        text.rsplit_once(" at line ").map_or(text.as_str(), |(what, _)| what).to_owned();
                    Problem::Malformed { field, what }
                }
                _ => Problem::NotJson(inner.to_string()),
            }
        })?;
        json.end().map_err(|error| Problem::NotJson(error.to_string()))?;
        Ok(Self(value))
    }
}

/// What a body is declared as, without parameters.
#[must_use]
pub fn media(headers: &HeaderMap) -> &str {
    let declared = headers.get(header::CONTENT_TYPE).and_then(|value| value.to_str().ok());
    declared.unwrap_or_default().split(';').next().unwrap_or_default().trim()
}

/// A body of so many bytes at most, read whole.
///
/// # Errors
/// When it is larger, or breaks off.
pub async fn read(body: Body, most_bytes: usize) -> Result<Vec<u8>, Problem> {
    let mut pieces = body.into_data_stream();
    let mut read = Vec::new();
    let mut heard = 0;
    while let Some(piece) = pieces.next().await {
        let piece = piece.map_err(|_| Problem::NotJson("it broke off before its end".to_owned()))?;
        heard += piece.len();
        if heard <= most_bytes {
            read.extend_from_slice(&piece);
        } else if heard > HEARD_OUT {
            break;
        }
    }
    if heard > most_bytes { Err(Problem::TooLarge { most_bytes }) } else { Ok(read) }
}

/// Query parameters that were checked, or a problem that names the one at fault.
pub struct Asked<T>(pub T);

impl<S: Send + Sync, T: DeserializeOwned> FromRequestParts<S> for Asked<T> {
    type Rejection = Problem;

    async fn from_request_parts(parts: &mut Parts, state: &S) -> Result<Self, Problem> {
        let Query(value) =
            Query::from_request_parts(parts, state).await.map_err(|rejection| match rejection {
                QueryRejection::FailedToDeserializeQueryString(error) => {
                    let text = error.body_text();
                    Problem::Query(text.trim_start_matches("Failed to deserialize query string: ").to_owned())
                }
                _ => Problem::Query("it cannot be read".to_owned()),
            })?;
        Ok(Self(value))
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use axum::{Router, body::Body, routing::get};
    use tower::ServiceExt;
    use tower_http::catch_panic::CatchPanicLayer;

    async fn broken() {
        panic!("the password of the database is swordfish");
    }

    #[tokio::test]
    async fn a_panic_becomes_a_problem_that_tells_nothing_of_the_inside() {
        let router: Router = Router::new().route("/", get(broken)).layer(CatchPanicLayer::custom(on_panic));
        let response = router.oneshot(Request::new(Body::empty())).await.unwrap();
        assert_eq!(response.status(), StatusCode::INTERNAL_SERVER_ERROR);
        assert_eq!(response.headers()[header::CONTENT_TYPE], "application/problem+json");
        let body = axum::body::to_bytes(response.into_body(), MOST_BYTES).await.unwrap();
        let text = String::from_utf8(body.to_vec()).unwrap();
        assert!(text.contains("urn:laywire:problem:internal"), "{text}");
        assert!(!text.contains("swordfish") && !text.contains("panic"), "{text}");
    }
}
