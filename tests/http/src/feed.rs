//! A feed, read as a browser reads it: server-sent events as in the WHATWG HTML standard, section 9.2.

use std::pin::Pin;

use futures::{Stream, StreamExt};
use reqwest::RequestBuilder;
use serde_json::Value;

use crate::wait::within;

/// One event.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Event {
    /// `start`, `entry`, `resync`, `crews` or `crew`.
    pub name: String,
    /// The event's id: the entry's number. News of crews is no part of the log and has none: 0.
    pub id: i64,
    /// Its data.
    pub data: String,
}

impl Event {
    fn is_of_crews(&self) -> bool {
        self.name.starts_with("crew")
    }

    /// Its data as JSON.
    #[must_use]
    pub fn json(&self) -> Value {
        serde_json::from_str(&self.data).expect("an event's data is JSON")
    }
}

/// What comes in, piece by piece; nothing where the connection broke.
type Pieces = Pin<Box<dyn Stream<Item = Option<Vec<u8>>> + Send>>;

/// An open feed.
pub struct Feed {
    pieces: Pieces,
    read: Vec<u8>,
}

impl Feed {
    /// Opens it and checks that it is one.
    pub async fn open(request: RequestBuilder) -> Self {
        let response = within("the feed opens", request.send()).await.expect("the service answers");
        assert_eq!(response.status(), 200);
        assert_eq!(response.headers()["content-type"], "text/event-stream");
        assert_eq!(response.headers()["x-accel-buffering"], "no");
        let pieces = response.bytes_stream().map(|piece| piece.ok().map(|bytes| bytes.to_vec()));
        Self::of(Box::pin(pieces))
    }

    /// A feed whose bytes come from somewhere else.
    #[must_use]
    pub fn of(pieces: Pieces) -> Self {
        Self { pieces, read: Vec::new() }
    }

    /// The next event of the log; none when the stream has ended, in good order or not.
    pub async fn next(&mut self) -> Option<Event> {
        loop {
            let event = self.any().await?;
            if !event.is_of_crews() {
                return Some(event);
            }
        }
    }

    /// The next event that says where crews are.
    pub async fn crews(&mut self) -> Event {
        loop {
            let event = self.any().await.expect("the feed goes on");
            if event.is_of_crews() {
                return event;
            }
        }
    }

    /// The next event of any kind.
    pub async fn any(&mut self) -> Option<Event> {
        within("the feed's next event", async {
            loop {
                if let Some(end) = self.read.windows(2).position(|pair| pair == b"\n\n") {
                    let block: Vec<u8> = self.read.drain(..end + 2).collect();
                    match event(std::str::from_utf8(&block).expect("events are UTF-8")) {
                        Some(event) => return Some(event),
                        None => continue,
                    }
                }
                self.read.extend(self.pieces.next().await??);
            }
        })
        .await
    }

    /// The numbers of the entries that come, up to this one; every event that comes is an entry.
    pub async fn entries_up_to(&mut self, last: i64) -> Vec<i64> {
        let mut numbers = Vec::new();
        while numbers.last() != Some(&last) {
            let event = self.next().await.expect("the feed goes on");
            assert_eq!(event.name, "entry", "{event:?}");
            numbers.push(event.id);
        }
        numbers
    }
}

/// One event's lines; none for a comment alone.
fn event(block: &str) -> Option<Event> {
    let field = |name: &str| {
        let value = block.lines().find_map(|line| line.strip_prefix(name)?.strip_prefix(':'));
        value.map(|value| value.strip_prefix(' ').unwrap_or(value).to_owned())
    };
    Some(Event {
        name: field("event")?,
        id: field("id").map_or(0, |id| id.parse().expect("ids are numbers")),
        data: field("data")?,
    })
}
