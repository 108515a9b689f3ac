//! The feed: what the wire log gains, to every browser that watches, as server-sent events. One task in the process hears
//! that a log has grown, reads the new entries once, and hands them to all who watch that operation; a watcher that
//! comes late or falls behind reads the log itself. It keeps nothing that another process needs.

use std::{
    collections::HashMap,
    convert::Infallible,
    sync::{Arc, Mutex, PoisonError},
    time::Duration,
};

use axum::response::sse::Event;
use chrono::{DateTime, Utc};
use futures::{Stream, stream};
use laywire_craft::{
    duty::Act,
    ids::{OperationId, PassId},
    report::Entry,
};
use laywire_store::{
    PgPool, StoreError, crew_position,
    listener::{Heard, Listener},
    log,
    pass::{self, Pass},
};
use serde::Serialize;
use tokio::sync::{
    broadcast::{self, error::RecvError},
    watch,
};
use tokio_util::sync::CancellationToken;
use utoipa::ToSchema;

use crate::{
    Service,
    api::{
        crew_position::{CrewPosition, Crews},
        crossing::CrossingFeature,
        line::LineFeature,
    },
};

/// A watcher that is more entries behind than this is told to read the whole state anew.
pub const FAR_BEHIND: i64 = 1_000;
/// Entries that a slow watcher may be behind before it has to read the log.
const IN_HAND: usize = 256;
/// The log is looked at this often even when nothing is heard.
const LOOK: Duration = Duration::from_secs(5);

/// One entry, and the lines and crossings that it was the last to change.
#[derive(Serialize, ToSchema)]
pub struct News {
    /// The entry.
    pub entry: Entry,
    /// Lines as they are now, without geometry: a trace grows by the entry's own positions.
    pub lines: Vec<LineFeature>,
    /// Crossings as they are now.
    pub crossings: Vec<CrossingFeature>,
}

/// What is new of one crew's position.
#[derive(Serialize, ToSchema)]
pub struct CrewNews {
    /// The service's time.
    now: DateTime<Utc>,
    /// The crew's pass by its public name.
    seat: PassId,
    /// Where it is; nothing when it shares that no more.
    #[schema(required = true)]
    crew: Option<CrewPosition>,
}

/// An event that is ready to be sent to many.
#[derive(Debug, Clone)]
enum Ready {
    /// An entry of the log, by its number.
    Entry { sequence: i64, text: Arc<str> },
    /// News of a crew's position, which has no number.
    Crew { text: Arc<str> },
}

struct Watched {
    sender: broadcast::Sender<Ready>,
    sent: i64,
}

/// All the feeds of a process.
pub struct Feeds {
    pool: PgPool,
    watched: Mutex<HashMap<OperationId, Watched>>,
    /// Says to every watcher that its pass may have been revoked.
    doubt: watch::Sender<()>,
    closing: CancellationToken,
}

impl Feeds {
    /// None watched yet.
    #[must_use]
    pub fn new(pool: PgPool, closing: CancellationToken) -> Self {
        Self { pool, watched: Mutex::default(), doubt: watch::Sender::new(()), closing }
    }

    fn watched(&self) -> std::sync::MutexGuard<'_, HashMap<OperationId, Watched>> {
        self.watched.lock().unwrap_or_else(PoisonError::into_inner)
    }

    /// Hears and hands on until the process closes.
    pub async fn run(&self, service: &Service) {
        while !self.closing.is_cancelled() {
            let heard = tokio::select! {
                () = self.closing.cancelled() => return,
                outcome = self.listen(service) => outcome,
            };
            if let Err(error) = heard {
                tracing::warn!(%error, "the feed lost the database and listens anew");
            }
            tokio::select! {
                () = self.closing.cancelled() => return,
                () = tokio::time::sleep(Duration::from_secs(1)) => {}
            }
        }
    }

    async fn listen(&self, service: &Service) -> Result<(), StoreError> {
        let mut listener = Listener::start(&self.pool).await?;
        service.doubt_passes();
        self.look_at_all().await?;
        loop {
            match tokio::time::timeout(LOOK, listener.next()).await {
                Ok(Ok(Heard::Log(operation, sequence))) => self.look(operation, Some(sequence)).await?,
                Ok(Ok(Heard::Crew(operation, crew))) => self.crew(operation, crew, service.now()).await?,
                Ok(Ok(Heard::Pass)) => service.doubt_passes(),
                Ok(Ok(Heard::Anything)) => {
                    service.doubt_passes();
                    self.look_at_all().await?;
                }
                Ok(Err(error)) => return Err(error),
                Err(_) => {
                    self.look_at_all().await?;
                    crew_position::forget_old(&self.pool, service.now()).await?;
                }
            }
        }
    }

    /// Has every watcher's pass looked up again.
    pub fn doubt_passes(&self) {
        self.doubt.send_replace(());
    }

    async fn look_at_all(&self) -> Result<(), StoreError> {
        let all: Vec<OperationId> = self.watched().keys().copied().collect();
        for operation in all {
            self.look(operation, None).await?;
        }
        Ok(())
    }

    /// Tells all who watch where a crew is now.
    async fn crew(&self, operation: OperationId, seat: PassId, now: DateTime<Utc>) -> Result<(), StoreError> {
        if !self.watched().contains_key(&operation) {
            return Ok(());
        }
        let crew = crew_position::shared(&self.pool, operation, Some(seat), now).await?.pop();
        let text = written(&CrewNews { now, seat, crew: crew.map(CrewPosition::from) })?;
        if let Some(feed) = self.watched().get(&operation) {
            // Fails only when nobody watches any more.
            let _ = feed.sender.send(Ready::Crew { text });
        }
        Ok(())
    }

    /// Reads what the log has gained and hands it to all who watch.
    async fn look(&self, operation: OperationId, up_to: Option<i64>) -> Result<(), StoreError> {
        loop {
            let sent = {
                let mut watched = self.watched();
                let Some(feed) = watched.get(&operation) else { return Ok(()) };
                if feed.sender.receiver_count() == 0 {
                    watched.remove(&operation);
                    return Ok(());
                }
                feed.sent
            };
            if up_to.is_some_and(|sequence| sequence <= sent) {
                return Ok(());
            }
            let ready = self.read(operation, sent).await?;
            let Some(last) = ready.last().map(|(sequence, _)| *sequence) else { return Ok(()) };
            if let Some(feed) = self.watched().get_mut(&operation) {
                feed.sent = last;
                for (sequence, text) in ready {
                    // Fails only when nobody watches any more.
                    let _ = feed.sender.send(Ready::Entry { sequence, text });
                }
            }
        }
    }

    /// The next events after a number, ready to be sent. The entries are read first and what they changed afterwards: a
    /// line or crossing that changed once more in between comes with the later entry.
    async fn read(&self, operation: OperationId, after: i64) -> Result<Vec<(i64, Arc<str>)>, StoreError> {
        let mut connection = self.pool.acquire().await?;
        let entries = log::after(&mut connection, operation, after, FAR_BEHIND).await?;
        drop(connection);
        if entries.is_empty() {
            return Ok(Vec::new());
        }
        let lines = laywire_store::lines(&self.pool, operation, after).await?;
        let crossings = laywire_store::crossings(&self.pool, operation, after).await?;
        let slack_percent = if lines.is_empty() {
            0
        } else {
            laywire_store::operation::slack_percent(&self.pool, operation).await?
        };
        let mut news: Vec<News> = entries
            .into_iter()
            .map(|entry| News { entry, lines: Vec::new(), crossings: Vec::new() })
            .collect();
        let first = after + 1;
        for line in lines {
            if let Some(news) = at(&mut news, line.changed - first) {
                news.lines.push(LineFeature::without_geometry(&line, slack_percent));
            }
        }
        for crossing in crossings {
            if let Some(news) = at(&mut news, crossing.changed - first) {
                news.crossings.push(CrossingFeature::from(&crossing));
            }
        }
        news.into_iter().map(|news| Ok((news.entry.sequence, written(&news)?))).collect()
    }

    /// Everything after a number, and on from there, for as long as the pass holds.
    ///
    /// # Errors
    /// When the database does not answer.
    pub async fn watch(
        self: &Arc<Self>,
        pass: Arc<Pass>,
        after: Option<i64>,
    ) -> Result<impl Stream<Item = Result<Event, Infallible>> + Send + use<>, StoreError> {
        let operation = pass.operation;
        let mut doubt = self.doubt.subscribe();
        // It may have been revoked since it was shown.
        doubt.mark_changed();
        let now = laywire_store::operation::get(&self.pool, operation).await?.map_or(0, |o| o.sequence);
        let receiver = {
            let mut watched = self.watched();
            let feed = watched
                .entry(operation)
                .or_insert_with(|| Watched { sender: broadcast::channel(IN_HAND).0, sent: now });
            feed.sender.subscribe()
        };
        let last = after.unwrap_or(now);
        let mut waiting = std::collections::VecDeque::new();
        let mut start = last;
        if now - last > FAR_BEHIND || last > now {
            waiting.push_back(resync(now));
            start = now;
        } else {
            // Said at once, so that a proxy passes the stream on and the browser knows that it stands.
            waiting.push_back(Event::default().event("start").id(start.to_string()).data(start.to_string()));
        }
        let behind_on_crews = pass.holder.party.may(Act::SeeCrews);
        let watcher = Watcher {
            feeds: self.clone(),
            pass,
            doubt,
            receiver,
            last: start,
            waiting,
            behind: true,
            behind_on_crews,
        };
        Ok(stream::unfold(watcher, |mut watcher| async move {
            let event = watcher.next().await?;
            Some((Ok(event), watcher))
        }))
    }
}

fn at(news: &mut [News], index: i64) -> Option<&mut News> {
    usize::try_from(index).ok().and_then(|index| news.get_mut(index))
}

fn written(news: &impl Serialize) -> Result<Arc<str>, StoreError> {
    let text = serde_json::to_string(news)
        .map_err(|e| StoreError::Corrupt { what: "wire_log.body", value: e.to_string() })?;
    Ok(text.into())
}

fn resync(sequence: i64) -> Event {
    Event::default().event("resync").id(sequence.to_string()).data(sequence.to_string())
}

struct Watcher {
    feeds: Arc<Feeds>,
    pass: Arc<Pass>,
    doubt: watch::Receiver<()>,
    receiver: broadcast::Receiver<Ready>,
    last: i64,
    waiting: std::collections::VecDeque<Event>,
    /// Whether the log has to be read before the receiver can be trusted to have everything.
    behind: bool,
    /// Whether all crews' positions have to be read, for one that may see them.
    behind_on_crews: bool,
}

impl Watcher {
    async fn next(&mut self) -> Option<Event> {
        loop {
            if self.doubt.has_changed().unwrap_or(true) {
                self.look_at_pass().await?;
            }
            if let Some(event) = self.waiting.pop_front() {
                return Some(event);
            }
            if self.behind {
                self.catch_up().await?;
                continue;
            }
            let received = tokio::select! {
                () = self.feeds.closing.cancelled() => return None,
                _ = self.doubt.changed() => {
                    self.doubt.mark_changed();
                    continue;
                }
                received = self.receiver.recv() => received,
            };
            match received {
                Ok(Ready::Crew { text }) => {
                    if self.sees_crews() {
                        self.waiting.push_back(Event::default().event("crew").data(&*text));
                    }
                }
                Ok(Ready::Entry { sequence, .. }) if sequence <= self.last => {}
                Ok(Ready::Entry { sequence, text }) if sequence == self.last + 1 => {
                    self.push(sequence, &text);
                }
                Ok(Ready::Entry { .. }) => self.behind = true,
                Err(RecvError::Lagged(_)) => {
                    self.behind = true;
                    self.behind_on_crews = self.sees_crews();
                }
                Err(RecvError::Closed) => return None,
            }
        }
    }

    /// Ends the stream when the pass was revoked, or when that cannot be told.
    async fn look_at_pass(&mut self) -> Option<()> {
        self.doubt.borrow_and_update();
        match pass::holds(&self.feeds.pool, self.pass.operation, self.pass.id).await {
            Ok(holds) => holds.then_some(()),
            Err(error) => {
                tracing::warn!(%error, "a feed could not look up its pass");
                None
            }
        }
    }

    fn sees_crews(&self) -> bool {
        self.pass.holder.party.may(Act::SeeCrews)
    }

    fn push(&mut self, sequence: i64, text: &str) {
        self.last = sequence;
        self.waiting.push_back(Event::default().event("entry").id(sequence.to_string()).data(text));
    }

    async fn missed(&self) -> Result<(Vec<(i64, Arc<str>)>, Option<Arc<str>>), StoreError> {
        let entries = self.feeds.read(self.pass.operation, self.last).await?;
        if !self.behind_on_crews {
            return Ok((entries, None));
        }
        let now = crate::clock();
        let crews = crew_position::shared(&self.feeds.pool, self.pass.operation, None, now).await?;
        Ok((entries, Some(written(&Crews::of(now, crews))?)))
    }

    /// Reads the log on from the last number; ends the stream when the database is lost, so that the browser comes anew.
    async fn catch_up(&mut self) -> Option<()> {
        match self.missed().await {
            Ok((entries, crews)) => {
                self.behind = i64::try_from(entries.len()).is_ok_and(|read| read >= FAR_BEHIND);
                self.behind_on_crews = false;
                if let Some(text) = crews {
                    self.waiting.push_back(Event::default().event("crews").data(&*text));
                }
                for (sequence, text) in &entries {
                    self.push(*sequence, text);
                }
                Some(())
            }
            Err(error) => {
                tracing::warn!(%error, "a feed could not read the log");
                None
            }
        }
    }
}
