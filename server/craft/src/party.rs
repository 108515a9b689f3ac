//! The parties to an operation, and who sent a report. What each may do is in [`crate::duty`].

use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

use crate::text::Name;

/// The four parties to an operation.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum Party {
    /// Waits for the lines, plans them, frees what was left, and speaks for teams that only have a telephone.
    CommandPost,
    /// Lays wire and does the least at a crossing that keeps the line alive.
    LeadTeam,
    /// Comes behind and finishes each crossing.
    FollowUpTeam,
    /// May look and change nothing.
    Observer,
}

impl Party {
    /// Every party.
    pub const ALL: [Self; 4] = [Self::CommandPost, Self::LeadTeam, Self::FollowUpTeam, Self::Observer];

    /// The name in the database and on the wire.
    #[must_use]
    pub fn as_str(self) -> &'static str {
        match self {
            Self::CommandPost => "command_post",
            Self::LeadTeam => "lead_team",
            Self::FollowUpTeam => "follow_up_team",
            Self::Observer => "observer",
        }
    }

    /// The words for a person.
    #[must_use]
    pub fn words(self) -> &'static str {
        match self {
            Self::CommandPost => "command post",
            Self::LeadTeam => "lead team",
            Self::FollowUpTeam => "follow-up team",
            Self::Observer => "observer",
        }
    }
}

impl std::fmt::Display for Party {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str(self.words())
    }
}

/// Who sent a report: the party and the call sign on the pass.
#[derive(Debug, Clone, PartialEq, Eq, Hash, Serialize, Deserialize, ToSchema)]
pub struct Sender {
    /// The party.
    pub party: Party,
    /// The team's call sign.
    pub team: Name,
}
