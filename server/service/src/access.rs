//! Who gets in. A pass is 140 random bits, shown once; here it is made, hashed and recognised, and here every route but
//! the public few asks for it. What a party may do is not decided here but in `laywire_craft::party`.

use std::{
    collections::HashMap,
    sync::{Arc, PoisonError, RwLock},
    time::{Duration, Instant},
};

use axum::{
    extract::{RawPathParams, Request, State, rejection::RawPathParamsRejection},
    http::{HeaderMap, header},
    middleware::Next,
    response::{IntoResponse, Response},
};
use laywire_craft::duty::Act;
use laywire_store::pass::{self, Pass, SecretHash};
use rand::Rng;
use sha2::{Digest, Sha256};

use crate::{Service, problem::Problem};

/// The letters of a pass: no 0, 1, I, O, which are hard to tell apart when read aloud or by torchlight.
const LETTERS: &[u8; 32] = b"23456789ABCDEFGHJKLMNPQRSTUVWXYZ";
/// 28 letters of 5 bits: 140 bits.
const LENGTH: usize = 28;
/// How long a pass is believed without asking the database again. A revoked one is told at once; this is for lost news.
const BELIEVED: Duration = Duration::from_secs(10);
/// Most passes remembered.
const REMEMBERED: usize = 10_000;

/// A pass's secret: shown once and kept nowhere.
pub struct Secret(String);

impl Secret {
    /// A new one from the system's random source.
    #[must_use]
    pub fn new() -> Self {
        let mut bytes = [0u8; LENGTH];
        rand::rng().fill_bytes(&mut bytes);
        let letters = bytes.iter().map(|byte| char::from(LETTERS[usize::from(byte % 32)]));
        Self(letters.collect())
    }

    /// Reads what a person typed: case, blanks and dashes do not matter.
    #[must_use]
    pub fn typed(text: &str) -> Option<Self> {
        if text.len() > 4 * LENGTH {
            return None;
        }
        let letters: String = text
            .chars()
            .filter(|c| !c.is_whitespace() && *c != '-')
            .map(|c| c.to_ascii_uppercase())
            .collect();
        let known = letters.len() == LENGTH && letters.bytes().all(|b| LETTERS.contains(&b));
        known.then_some(Self(letters))
    }

    /// What the database keeps.
    #[must_use]
    pub fn hash(&self) -> SecretHash {
        Sha256::digest(self.0.as_bytes()).into()
    }

    /// In groups of four, to be read aloud or copied.
    #[must_use]
    pub fn text(&self) -> String {
        let groups: Vec<String> =
            self.0.as_bytes().chunks(4).map(|g| String::from_utf8_lossy(g).into_owned()).collect();
        groups.join("-")
    }
}

impl Default for Secret {
    fn default() -> Self {
        Self::new()
    }
}

/// The passes that were seen a moment ago.
#[derive(Default)]
pub struct Seen(RwLock<Memory>);

#[derive(Default)]
struct Memory {
    passes: HashMap<SecretHash, (Arc<Pass>, Instant)>,
    /// How often all was forgotten: what was looked up before the last time may be out of date.
    forgotten: u64,
}

impl Seen {
    /// Forgets them all: one was revoked, or news may have been lost.
    pub fn forget(&self) {
        let mut memory = self.0.write().unwrap_or_else(PoisonError::into_inner);
        memory.passes.clear();
        memory.forgotten += 1;
    }

    /// The pass, or else how often all was forgotten before it is looked up.
    fn remembered(&self, secret: &SecretHash) -> Result<Arc<Pass>, u64> {
        let memory = self.0.read().unwrap_or_else(PoisonError::into_inner);
        let believed = memory.passes.get(secret).filter(|(_, at)| at.elapsed() < BELIEVED);
        believed.map(|(pass, _)| pass.clone()).ok_or(memory.forgotten)
    }

    fn remember(&self, secret: SecretHash, pass: &Arc<Pass>, forgotten: u64) {
        let mut memory = self.0.write().unwrap_or_else(PoisonError::into_inner);
        if memory.forgotten != forgotten {
            return;
        }
        if memory.passes.len() >= REMEMBERED {
            memory.passes.clear();
        }
        memory.passes.insert(secret, (pass.clone(), Instant::now()));
    }
}

/// Whoever sent the request.
#[derive(Clone)]
pub struct Seat(pub Arc<Pass>);

impl Seat {
    /// Goes on only when the party may do it.
    ///
    /// # Errors
    /// A problem that says whose work it is.
    pub fn must(&self, act: Act) -> Result<(), Problem> {
        if self.0.holder.party.may(act) {
            return Ok(());
        }
        let what = match act {
            Act::See => "see this".to_owned(),
            Act::GivePasses => "give or revoke passes".to_owned(),
            Act::SavePlans => "save a plan".to_owned(),
            Act::SeeCrews => "see where the crews are".to_owned(),
            Act::SharePosition => "share a position".to_owned(),
            Act::Report(kind) => format!("report \"{kind}\""),
        };
        Err(Problem::NotYours(format!("A {} may not {what}: ask the command post.", self.0.holder.party)))
    }
}

/// The pass behind a secret.
///
/// # Errors
/// When there is none that holds, or the database does not answer.
pub async fn pass_of(service: &Service, secret: &Secret) -> Result<Arc<Pass>, Problem> {
    let hash = secret.hash();
    let forgotten = match service.seen.remembered(&hash) {
        Ok(pass) => return Ok(pass),
        Err(forgotten) => forgotten,
    };
    let pass = Arc::new(pass::with_secret(&service.pool, &hash).await?.ok_or(Problem::NoPass)?);
    service.seen.remember(hash, &pass, forgotten);
    Ok(pass)
}

/// The name of the cookie that holds a pass. Each pass has its own, so that two pages in one browser can hold two.
#[must_use]
pub fn cookie_name(pass: &Pass) -> String {
    format!("{COOKIE}{}", pass.id)
}

const COOKIE: &str = "laywire-";

/// The password of Basic authentication (RFC 7617), for programs that know no other: the pass, under any name or none.
/// Nobody is asked for it, because a browser would keep it and send it by itself.
fn password(shown: &str) -> Option<String> {
    let pair = data_encoding::BASE64.decode(shown.trim().as_bytes()).ok()?;
    let pair = String::from_utf8(pair).ok()?;
    pair.split_once(':').map(|(_, password)| password.to_owned())
}

/// The secret that a request shows: a bearer's, a password, or that of the cookie it names, or of the only one there is.
fn shown(headers: &HeaderMap, query: Option<&str>) -> Result<Secret, Problem> {
    if let Some(value) = headers.get(header::AUTHORIZATION) {
        let text = value.to_str().map_err(|_| Problem::NoPass)?;
        let (scheme, shown) = text.split_once(' ').ok_or(Problem::NoPass)?;
        let secret = if scheme.eq_ignore_ascii_case("bearer") {
            Secret::typed(shown)
        } else if scheme.eq_ignore_ascii_case("basic") {
            password(shown).and_then(|password| Secret::typed(&password))
        } else {
            None
        };
        return secret.ok_or(Problem::NoPass);
    }
    let cookies: Vec<(&str, &str)> = headers
        .get_all(header::COOKIE)
        .iter()
        .filter_map(|value| value.to_str().ok())
        .flat_map(|value| value.split(';'))
        .filter_map(|pair| pair.trim().strip_prefix(COOKIE)?.split_once('='))
        .collect();
    let named = headers
        .get("laywire-seat")
        .and_then(|value| value.to_str().ok())
        .or_else(|| query?.split('&').find_map(|pair| pair.strip_prefix("seat=")));
    let secret = match (named, cookies.as_slice()) {
        (Some(seat), all) => all.iter().find(|(name, _)| *name == seat).map(|(_, secret)| *secret),
        (None, []) => None,
        (None, [(_, secret)]) => Some(*secret),
        (None, _) => return Err(Problem::WhichPass),
    };
    secret.and_then(Secret::typed).ok_or(Problem::NoPass)
}

/// Lets a request through that shows a pass for the operation in its path; another operation's pass sees nothing there.
pub async fn required(
    State(service): State<Arc<Service>>,
    path: Result<RawPathParams, RawPathParamsRejection>,
    mut request: Request,
    next: Next,
) -> Response {
    let shown = shown(request.headers(), request.uri().query());
    match seat(&service, path, shown).await {
        Ok(seat) => {
            request.extensions_mut().insert(seat);
            next.run(request).await
        }
        Err(problem) => problem.into_response(),
    }
}

async fn seat(
    service: &Service,
    path: Result<RawPathParams, RawPathParamsRejection>,
    shown: Result<Secret, Problem>,
) -> Result<Seat, Problem> {
    let pass = pass_of(service, &shown?).await?;
    let path = path.map_err(|_| Problem::NotFound)?;
    match path.iter().find(|(name, _)| *name == "op") {
        Some((_, op)) if op != pass.operation.to_string() => Err(Problem::NotFound),
        _ => Ok(Seat(pass)),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_secret_reads_back_however_it_is_typed() {
        let secret = Secret::new();
        let text = secret.text();
        assert_eq!(text.len(), LENGTH + 6);
        let typed = Secret::typed(&format!(" {} ", text.to_lowercase().replace('-', " "))).unwrap();
        assert_eq!(typed.hash(), secret.hash());
        assert!(Secret::typed(&text[1..]).is_none());
        assert!(Secret::typed(&text.replace(|c: char| c.is_ascii_digit(), "0").replace('-', "0")).is_none());
        assert_ne!(Secret::new().hash(), secret.hash());
    }
}
