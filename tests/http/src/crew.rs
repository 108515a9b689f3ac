//! A crew: whoever holds a pass and speaks to the service.

use reqwest::{Method, RequestBuilder, header::HeaderMap};
use serde_json::{Value, json};

use crate::{Feed, wait::within};

/// What the service answered.
#[derive(Debug, Clone)]
pub struct Answer {
    /// The status code.
    pub status: u16,
    /// The header fields.
    pub headers: HeaderMap,
    /// The body.
    pub body: String,
}

impl Answer {
    /// Sends the request and reads the answer whole.
    pub async fn to(request: RequestBuilder) -> Self {
        within("the service answers", async {
            let response = request.send().await.expect("the service answers");
            let (status, headers) = (response.status().as_u16(), response.headers().clone());
            Self { status, headers, body: response.text().await.expect("the body is text") }
        })
        .await
    }

    /// A header field.
    #[must_use]
    pub fn header(&self, name: &str) -> &str {
        self.headers.get(name).map_or("", |value| value.to_str().expect("header fields are text"))
    }

    /// The body as JSON.
    #[must_use]
    pub fn json(&self) -> Value {
        serde_json::from_str(&self.body).unwrap_or_else(|error| panic!("{error} in {self:?}"))
    }

    /// The body as JSON, of an answer with this status.
    pub fn ok(&self, status: u16) -> Value {
        assert_eq!(self.status, status, "{}", self.body);
        self.json()
    }

    /// Checks that it is a problem document (RFC 9457) of this kind and gives it.
    pub fn problem(&self, status: u16, kind: &str) -> Value {
        assert_eq!(self.status, status, "{self:?}");
        assert_eq!(self.header("content-type"), "application/problem+json", "{self:?}");
        let document = self.json();
        assert_eq!(document["type"], format!("urn:laywire:problem:{kind}"), "{document}");
        assert_eq!(document["status"], status, "{document}");
        assert!(document["title"].as_str().is_some_and(|title| title.len() > 10), "{document}");
        document
    }
}

/// A crew with its pass.
#[derive(Debug, Clone)]
pub struct Crew {
    /// Where the service is.
    pub address: String,
    /// The operation.
    pub operation: String,
    /// The pass.
    pub secret: String,
    http: reqwest::Client,
}

impl Crew {
    /// A crew that holds this pass.
    #[must_use]
    pub fn new(address: &str, operation: &str, secret: &str) -> Self {
        let http = reqwest::Client::builder().no_proxy().build().expect("a client");
        Self { address: address.to_owned(), operation: operation.to_owned(), secret: secret.to_owned(), http }
    }

    /// The same crew at another process.
    #[must_use]
    pub fn at(&self, address: &str) -> Self {
        Self::new(address, &self.operation, &self.secret)
    }

    /// A request without the pass, to a path from the root.
    pub fn bare(&self, method: Method, path: &str) -> RequestBuilder {
        self.http.request(method, format!("{}{path}", self.address))
    }

    /// A request with the pass, to a path from the root.
    pub fn request(&self, method: Method, path: &str) -> RequestBuilder {
        self.bare(method, path).bearer_auth(&self.secret)
    }

    /// A path within the operation.
    #[must_use]
    pub fn path(&self, rest: &str) -> String {
        format!("/api/operations/{}{rest}", self.operation)
    }

    /// Reads something of the operation.
    pub async fn get(&self, rest: &str) -> Answer {
        Answer::to(self.request(Method::GET, &self.path(rest))).await
    }

    /// Sends something to the operation.
    pub async fn post(&self, rest: &str, body: &Value) -> Answer {
        Answer::to(self.request(Method::POST, &self.path(rest)).json(body)).await
    }

    /// Sends a batch that has to be taken: what became of each report.
    pub async fn reports(&self, batch: &[Value]) -> Vec<Value> {
        let receipts = self.post("/reports", &Value::from(batch)).await.ok(200);
        receipts.as_array().expect("receipts are a list").clone()
    }

    /// Reports one thing: what became of it.
    pub async fn report(&self, body: Value) -> Value {
        self.reports(&[crate::report(&body)]).await.remove(0)
    }

    /// Reports one thing that has to be recorded: its number.
    pub async fn records(&self, body: Value) -> i64 {
        let receipt = self.report(body).await;
        assert_eq!(receipt["outcome"], "recorded", "{receipt}");
        receipt["sequence"].as_i64().expect("it has a number")
    }

    /// Plans and starts a line: its id.
    pub async fn line(&self, designation: &str) -> String {
        let line = crate::id();
        self.records(
            json!({ "kind": "line_planned", "line": line, "designation": designation, "from": "Command post",
            "to": "Switchboard", "trace": [[-4.67, 54.08], [-4.635, 54.095]] }),
        )
        .await;
        self.records(json!({ "kind": "line_started", "line": line })).await;
        line
    }

    /// Marks a road to be crossed on lance poles: the crossing's id.
    pub async fn crossing(&self, line: &str, position: [f64; 2]) -> String {
        let crossing = crate::id();
        self.records(
            json!({ "kind": "crossing_marked", "crossing": crossing, "line": line, "position": position,
            "obstacle": "road", "construction": "overhead_lance_poles" }),
        )
        .await;
        crossing
    }

    /// The number of the last entry in the log.
    pub async fn sequence(&self) -> i64 {
        self.get("").await.ok(200)["sequence"].as_i64().expect("it is a number")
    }

    /// Has the command post give a pass to another crew.
    pub async fn give_pass(&self, party: &str, team: &str) -> Self {
        let given = self.post("/passes", &json!({ "party": party, "team": team })).await.ok(201);
        Self::new(&self.address, &self.operation, given["secret"].as_str().expect("it is shown once"))
    }

    /// Opens the feed; `query` with its question mark.
    pub async fn feed(&self, query: &str) -> Feed {
        Feed::open(self.request(Method::GET, &self.path(&format!("/feed{query}")))).await
    }
}
