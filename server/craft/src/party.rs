//! Who may do what. The table in [`Party::may`] is the only place that says so; the service and the rules both ask
//! it and keep no list of their own.

use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

use crate::{report::Kind, text::Name};

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

/// What somebody wants to do.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Act {
    /// Read the operation.
    See,
    /// Hand out, list and revoke passes.
    GivePasses,
    /// Send a report of this kind.
    Report(Kind),
}

impl Party {
    /// Every party.
    pub const ALL: [Self; 4] = [Self::CommandPost, Self::LeadTeam, Self::FollowUpTeam, Self::Observer];

    /// Whether the party may do it.
    ///
    /// ```
    /// use laywire_craft::{party::{Act, Party}, report::Kind};
    /// assert!(Party::FollowUpTeam.may(Act::Report(Kind::CrossingFinished)));
    /// assert!(!Party::Observer.may(Act::Report(Kind::Note)));
    /// ```
    #[must_use]
    pub fn may(self, act: Act) -> bool {
        match (self, act) {
            (_, Act::See) | (Self::CommandPost, _) => true,
            (Self::Observer, _) | (_, Act::GivePasses) => false,
            (Self::LeadTeam, Act::Report(kind)) => !matches!(
                kind,
                Kind::LinePlanned | Kind::CrossingForeseen | Kind::CrossingProved | Kind::LineHandedOver
            ),
            (Self::FollowUpTeam, Act::Report(kind)) => matches!(
                kind,
                Kind::CrossingMarked
                    | Kind::CrossingTaken
                    | Kind::CrossingGivenBack
                    | Kind::CrossingFinished
                    | Kind::CrossingProved
                    | Kind::SpliceMade
                    | Kind::CallBackGood
                    | Kind::Correction
                    | Kind::Note
            ),
        }
    }

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
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
pub struct Sender {
    /// The party.
    pub party: Party,
    /// The team's call sign.
    pub team: Name,
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn an_observer_changes_nothing() {
        assert!(Party::Observer.may(Act::See));
        assert!(!Party::Observer.may(Act::GivePasses));
        for kind in Kind::ALL {
            assert!(!Party::Observer.may(Act::Report(kind)), "{kind:?}");
            assert!(Party::CommandPost.may(Act::Report(kind)), "{kind:?}");
        }
    }

    #[test]
    fn only_the_command_post_plans_and_hands_over() {
        for party in [Party::LeadTeam, Party::FollowUpTeam] {
            for kind in [Kind::LinePlanned, Kind::CrossingForeseen, Kind::LineHandedOver] {
                assert!(!party.may(Act::Report(kind)), "{party} {kind:?}");
            }
        }
        assert!(Party::LeadTeam.may(Act::Report(Kind::CrossingMarked)));
        assert!(!Party::FollowUpTeam.may(Act::Report(Kind::CrossingPassed)));
    }
}
