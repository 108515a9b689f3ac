//! What is known of a line beside where it lies: its tests, who watches it, its troubles, and the time that nobody could speak
//! over it. What these become by a report is decided in [`crate::installation`]; what a reading should be in [`crate::proof`].

use chrono::{DateTime, Utc};
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

use crate::{
    fault::signs::{FaultKind, Sign},
    report::{Finding, Quality, Readings, TestedAfter, TestedFrom},
    text::{Name, Remark},
    units::{Metres, Minutes},
};

/// A test over the line.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
#[schema(as = LineTest)]
pub struct Test {
    /// When.
    pub at: DateTime<Utc>,
    /// Who made it.
    pub team: Name,
    /// From which end.
    pub from: TestedFrom,
    /// From where on the line.
    pub chainage_m: Metres,
    /// Who was called.
    #[schema(required = true)]
    pub to_whom: Option<Name>,
    /// Whether it rang at the other end.
    pub rang: bool,
    /// Whether both heard each other.
    pub spoke: bool,
    /// How it sounded.
    #[schema(required = true)]
    pub quality: Option<Quality>,
    /// What it follows.
    #[schema(required = true)]
    pub after: Option<TestedAfter>,
    /// What an instrument read.
    #[schema(required = true)]
    pub readings: Option<Readings>,
    /// Whether it is the final test, over the whole line after its last crossing was finished.
    pub is_final: bool,
}

impl Test {
    /// Whether it was good.
    ///
    /// # Source
    /// SS0440 p. 69: a line must ring and talk.
    #[must_use]
    pub fn is_good(&self) -> bool {
        self.rang && self.spoke
    }

    /// Whether there was any life in the line.
    #[must_use]
    pub fn is_alive(&self) -> bool {
        self.rang || self.spoke
    }
}

/// A person with a telephone at the line, until the switchboard's crew comes.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct Watch {
    /// Who.
    pub who: Name,
    /// Since when.
    pub since: DateTime<Utc>,
    /// Where the telephone is.
    pub chainage_m: Metres,
    /// Who left them there.
    pub team: Name,
}

/// Why a line that was proved is so no more.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum ProofLostBy {
    /// A crossing is open again, or a new one is.
    CrossingOpen,
    /// The wire was cut to clear a fault.
    WireCut,
}

/// A proof that does not hold any more.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct ProofLost {
    /// When the line had been proved.
    pub was_proved_at: DateTime<Utc>,
    /// Why that holds no more.
    pub because: ProofLostBy,
}

/// Signs of trouble, told by somebody.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct TroubleTold {
    /// When.
    pub at: DateTime<Utc>,
    /// By whom.
    pub team: Name,
    /// The signs.
    pub signs: Vec<Sign>,
    /// What else was said.
    #[schema(required = true)]
    pub remark: Option<Remark>,
}

/// A stretch to search, along the line.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct TroubleStretch {
    /// Its near end.
    pub from_m: Metres,
    /// Its far end.
    pub to_m: Metres,
}

/// A step of the search.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct TroubleStep {
    /// When.
    pub at: DateTime<Utc>,
    /// By whom.
    pub team: Name,
    /// What was learned.
    pub finding: Finding,
    /// The stretch that is left to search after it.
    pub stretch: TroubleStretch,
    /// Why it did not narrow the stretch, where it did not.
    #[schema(required = true)]
    pub told_nothing: Option<String>,
}

/// A fault cleared.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct TroubleClearing {
    /// When.
    pub at: DateTime<Utc>,
    /// By whom.
    pub team: Name,
    /// What it was.
    pub fault: FaultKind,
    /// What caused it.
    pub cause: Remark,
    /// Where it was.
    #[schema(required = true)]
    pub chainage_m: Option<Metres>,
    /// Whether wire was cut or parted.
    pub cut: bool,
}

/// A trouble on the line, from the first sign to its clearing.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct Trouble {
    /// What was told of it, in the order of the log.
    pub told: Vec<TroubleTold>,
    /// The steps of the search.
    pub steps: Vec<TroubleStep>,
    /// What is left to search.
    pub stretch: TroubleStretch,
    /// What cleared it: more than one when two crews found something.
    pub cleared: Vec<TroubleClearing>,
}

impl Trouble {
    /// Whether it is still there.
    #[must_use]
    pub fn is_open(&self) -> bool {
        self.cleared.is_empty()
    }

    /// All the signs that were told of it, each once.
    #[must_use]
    pub fn signs(&self) -> Vec<Sign> {
        let mut signs = Vec::new();
        for sign in self.told.iter().flat_map(|told| &told.signs) {
            if !signs.contains(sign) {
                signs.push(*sign);
            }
        }
        signs
    }
}

/// What is known of a line beside where it lies.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize, ToSchema)]
#[serde(default)]
pub struct Proving {
    /// The last 200 tests, in the order of the log.
    pub tests: Vec<Test>,
    /// The numbers of the tags that it was handed over with.
    pub tags: Vec<Name>,
    /// Who watches it.
    #[schema(required = true)]
    pub watch: Option<Watch>,
    /// The proof that does not hold any more.
    #[schema(required = true)]
    pub proof_lost: Option<ProofLost>,
    /// The last 50 troubles, the newest last.
    pub troubles: Vec<Trouble>,
    /// Time without communication that is over.
    pub silent_min: Minutes,
    /// Since when nobody can speak over it.
    #[schema(required = true)]
    pub silent_since: Option<DateTime<Utc>>,
}

impl Proving {
    /// The trouble that is not cleared.
    #[must_use]
    pub fn trouble(&self) -> Option<&Trouble> {
        self.troubles.last().filter(|trouble| trouble.is_open())
    }

    /// The time that nobody could speak over the line, until now.
    ///
    /// ```
    /// use laywire_craft::{proving::Proving, units::Minutes};
    /// let at = |text: &str| text.parse::<chrono::DateTime<chrono::Utc>>();
    /// let line = Proving {
    ///     silent_min: Minutes::from_const(12.0),
    ///     silent_since: Some(at("2026-05-04T08:00:00Z")?),
    ///     ..Proving::default()
    /// };
    /// assert_eq!(line.silent(at("2026-05-04T08:30:00Z")?), Minutes::from_const(42.0));
    /// # Ok::<(), chrono::ParseError>(())
    /// ```
    #[must_use]
    pub fn silent(&self, now: DateTime<Utc>) -> Minutes {
        self.silent_since.map_or(self.silent_min, |since| self.silent_min + minutes_between(since, now))
    }

    /// Speech is possible again, or never was impossible.
    pub(crate) fn speaks(&mut self, when: DateTime<Utc>) {
        if let Some(since) = self.silent_since.take() {
            self.silent_min = self.silent_min + minutes_between(since, when);
        }
    }
}

/// No time is less than none: what was told late may lie the wrong way round.
#[allow(clippy::cast_precision_loss, reason = "milliseconds of a life are far below 2^53")]
fn minutes_between(from: DateTime<Utc>, to: DateTime<Utc>) -> Minutes {
    Minutes::bounded((to - from).num_milliseconds().max(0) as f64 / 60_000.0)
}
