//! Who may do what. The table in [`Party::may`] is the only place that says so; the service and the rules both ask
//! it and keep no list of their own.

use crate::{party::Party, report::Kind};

/// What somebody wants to do.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Act {
    /// Read the operation.
    See,
    /// Hand out, list and revoke passes.
    GivePasses,
    /// Save a line's plan.
    SavePlans,
    /// See where the crews are that share it.
    SeeCrews,
    /// Share where one is.
    SharePosition,
    /// Send a report of this kind.
    Report(Kind),
}

impl Party {
    /// Whether the party may do it.
    ///
    /// ```
    /// use laywire_craft::{duty::Act, party::Party, report::Kind};
    /// assert!(Party::FollowUpTeam.may(Act::Report(Kind::CrossingFinished)));
    /// assert!(!Party::Observer.may(Act::Report(Kind::Note)));
    /// ```
    #[must_use]
    pub fn may(self, act: Act) -> bool {
        match (self, act) {
            (_, Act::See) | (Self::CommandPost, _) => true,
            (Self::Observer, _) | (_, Act::GivePasses | Act::SavePlans) => false,
            // Those who work together see each other; who only looks on does not see where people are.
            (_, Act::SeeCrews | Act::SharePosition) => true,
            (Self::LeadTeam, Act::Report(kind)) => !matches!(
                kind,
                Kind::LinePlanned
                    | Kind::PlanIssued
                    | Kind::CrossingForeseen
                    | Kind::CrossingProved
                    | Kind::CrossingGivenOut
                    | Kind::LineHandedOver
                    | Kind::LineOrderedUp
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
                    | Kind::TestMade
                    | Kind::WatchSet
                    | Kind::TroubleReported
                    | Kind::TroubleNarrowed
                    | Kind::TroubleCleared
                    | Kind::SectionTakenUp
                    | Kind::CrossingMadeGood
                    | Kind::WireLost
                    | Kind::ReelReturned
                    | Kind::Correction
                    | Kind::Note
            ),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn an_observer_changes_nothing() {
        assert!(Party::Observer.may(Act::See));
        assert!(!Party::Observer.may(Act::GivePasses));
        assert!(!Party::Observer.may(Act::SharePosition));
        for kind in Kind::ALL {
            assert!(!Party::Observer.may(Act::Report(kind)), "{kind:?}");
            assert!(Party::CommandPost.may(Act::Report(kind)), "{kind:?}");
        }
    }

    #[test]
    fn where_crews_are_is_seen_by_those_who_work_with_them_and_by_no_onlooker() {
        for party in Party::ALL {
            assert_eq!(party.may(Act::SeeCrews), party != Party::Observer, "{party}");
            assert_eq!(party.may(Act::SharePosition), party != Party::Observer, "{party}");
        }
    }

    #[test]
    fn only_the_command_post_plans_and_hands_over() {
        for party in [Party::LeadTeam, Party::FollowUpTeam] {
            assert!(!party.may(Act::SavePlans), "{party}");
            for kind in [
                Kind::LinePlanned,
                Kind::PlanIssued,
                Kind::CrossingForeseen,
                Kind::CrossingGivenOut,
                Kind::LineHandedOver,
                Kind::LineOrderedUp,
            ] {
                assert!(!party.may(Act::Report(kind)), "{party} {kind:?}");
            }
        }
        assert!(Party::LeadTeam.may(Act::Report(Kind::CrossingMarked)));
        assert!(!Party::FollowUpTeam.may(Act::Report(Kind::CrossingPassed)));
    }
}
