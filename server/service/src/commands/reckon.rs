//! `laywire reckon WHAT`: reads a question as JSON on standard input and prints the answer, as `POST /api/reckon/WHAT` does.

use std::{io::Read, path::Path};

use clap::ValueEnum;
use laywire_craft::{circuit, fault, forecast, pace, reels, site, span, wire};
use serde::{Serialize, de::DeserializeOwned};

use super::{CommandError, profile, say};
use crate::problem::MOST_BYTES;

/// What to reckon.
#[derive(Clone, Copy, ValueEnum)]
pub(super) enum What {
    /// What a line should measure: loop resistance, loss, and whether it talks.
    Circuit,
    /// What is allowed at a crossing with what is at hand there.
    Crossing,
    /// Where a fault lies, from readings at the ends.
    Fault,
    /// When a line will be through and finished, and how much either may slip.
    Forecast,
    /// How long a line takes the lead team and the follow-up team.
    Pace,
    /// Which reels to take for a line, in which order, and where the splices between them fall.
    Reels,
    /// How an overhead span hangs, and what clearance it leaves.
    Span,
    /// The wire that a line takes, item by item.
    Wire,
}

pub(super) fn run(what: What, unit: Option<&Path>) -> Result<(), CommandError> {
    let profile = profile::of(unit)?;
    let mut question = Vec::new();
    let most = u64::try_from(MOST_BYTES).unwrap_or(u64::MAX);
    std::io::stdin()
        .take(most + 1)
        .read_to_end(&mut question)
        .map_err(|error| CommandError::Io { what: "reading the question".to_owned(), error })?;
    if question.len() > MOST_BYTES {
        return Err(CommandError::Wrong(format!("the question is larger than {} kB", MOST_BYTES / 1000)));
    }
    match what {
        What::Circuit => answer(&question, circuit::reckon),
        What::Crossing => answer(&question, |question| site::reckon(question, &profile)),
        What::Fault => answer(&question, fault::reckon),
        What::Forecast => answer(&question, forecast::reckon),
        What::Pace => answer(&question, pace::reckon),
        What::Reels => answer(&question, reels::reckon),
        What::Span => answer(&question, |question| span::reckon_under(question, &profile)),
        What::Wire => answer(&question, wire::reckon),
    }
}

fn answer<Q: DeserializeOwned, A: Serialize, E: std::fmt::Display>(
    question: &[u8],
    reckon: impl Fn(&Q) -> Result<A, E>,
) -> Result<(), CommandError> {
    let mut json = serde_json::Deserializer::from_slice(question);
    let question = serde_path_to_error::deserialize(&mut json)
        .map_err(|error| CommandError::Wrong(format!("{}: {}", error.path(), error.inner())))?;
    let answer = reckon(&question).map_err(|error| CommandError::Wrong(error.to_string()))?;
    let text =
        serde_json::to_string_pretty(&answer).map_err(|error| CommandError::Wrong(error.to_string()))?;
    say(&text);
    Ok(())
}
