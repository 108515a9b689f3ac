//! A crossing: the place where a line meets an obstacle, and what has been done there. What it becomes by a report is
//! decided in [`crate::installation`].

use chrono::{DateTime, Utc};
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

use crate::{
    construction::Construction,
    geodesy::Position,
    ids::{CrossingId, LineId},
    obstacle::Obstacle,
    profile::Profile,
    report::{Entry, Kind},
    text::{Name, Remark},
    units::Metres,
};

/// How far the work at a crossing has come.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum CrossingState {
    /// The plan says that there will be one.
    Foreseen,
    /// The lead team has seen and named it; the wire is not over yet.
    Marked,
    /// The wire is over and talking, but not safe.
    Passed,
    /// A team is at work on it.
    InHand,
    /// Traffic, water and weather cannot break the wire here.
    Finished,
    /// Tested after it was finished.
    Proved,
    /// It turned out not to be one.
    StruckOut,
}

impl CrossingState {
    /// Every state, in the order of the work.
    pub const ALL: [Self; 7] = [
        Self::Foreseen,
        Self::Marked,
        Self::Passed,
        Self::InHand,
        Self::Finished,
        Self::Proved,
        Self::StruckOut,
    ];

    /// Whether work is left: this is what the queue holds.
    #[must_use]
    pub fn is_unfinished(self) -> bool {
        matches!(self, Self::Marked | Self::Passed | Self::InHand)
    }

    /// The name in the database and on the wire.
    #[must_use]
    pub fn as_str(self) -> &'static str {
        match self {
            Self::Foreseen => "foreseen",
            Self::Marked => "marked",
            Self::Passed => "passed",
            Self::InHand => "in_hand",
            Self::Finished => "finished",
            Self::Proved => "proved",
            Self::StruckOut => "struck_out",
        }
    }

    /// The words for a person.
    #[must_use]
    pub fn words(self) -> &'static str {
        match self {
            Self::InHand => "in hand",
            Self::StruckOut => "struck out",
            other => other.as_str(),
        }
    }
}

impl std::fmt::Display for CrossingState {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str(self.words())
    }
}

/// Who has a crossing in hand.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
pub struct InHand {
    /// The team's call sign.
    pub team: Name,
    /// Since when.
    pub since: DateTime<Utc>,
}

/// To which team the command post gave a crossing.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct GivenTo {
    /// The team's call sign.
    pub team: Name,
    /// Its place in the team's round, from 1.
    pub place: RoundPlace,
}

/// A place in a team's round.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize, ToSchema)]
#[serde(try_from = "i16")]
#[schema(value_type = i16, minimum = 1, maximum = 1000)]
pub struct RoundPlace(i16);

impl RoundPlace {
    /// The last place that there is.
    pub const LAST: i16 = 1_000;

    /// The place, as it is counted.
    #[must_use]
    pub fn number(self) -> i16 {
        self.0
    }
}

impl TryFrom<i16> for RoundPlace {
    type Error = String;
    fn try_from(number: i16) -> Result<Self, String> {
        if (1..=Self::LAST).contains(&number) {
            Ok(Self(number))
        } else {
            Err(format!("{number} is no place in a round: give 1 to {}", Self::LAST))
        }
    }
}

/// What was told of a crossing by somebody who did not know how it stood: two teams that were apart and did the same work,
/// or one that found wire where another had struck the crossing out. The log has both; this says that there are two, and
/// where the second is.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
pub struct Conflict {
    /// What was told.
    pub told: Kind,
    /// By which team.
    pub team: Name,
    /// When it happened.
    pub at: DateTime<Utc>,
    /// What the crossing was when it came in.
    pub was: CrossingState,
    /// The entry's number in the log.
    pub sequence: i64,
}

/// Conflicts kept on the crossing itself, the latest; the log has them all.
const CONFLICTS_KEPT: usize = 20;

/// What a crossing is now.
#[derive(Debug, Clone, PartialEq)]
pub struct Crossing {
    /// Its id, made by the device that marked it.
    pub id: CrossingId,
    /// The line that it belongs to.
    pub line: LineId,
    /// How far the work has come.
    pub state: CrossingState,
    /// Where it is.
    pub position: Position,
    /// How far along the line.
    pub chainage: Metres,
    /// What is crossed.
    pub obstacle: Obstacle,
    /// Whether the surface is hard.
    pub hard_surface: bool,
    /// How it is crossed; a foreseen crossing may leave that open.
    pub construction: Option<Construction>,
    /// Height of the wire's lowest point over the surface or the highest water.
    pub clearance: Option<Metres>,
    /// Depth of a buried wire.
    pub depth: Option<Metres>,
    /// Distance between the ties of an overhead crossing.
    pub span: Option<Metres>,
    /// The lead team left the wire clear of traffic.
    pub clear_of_traffic: bool,
    /// Items of the lead team's list that it left undone.
    pub left_undone: Vec<String>,
    /// When it was first foreseen or marked.
    pub opened_at: DateTime<Utc>,
    /// When the wire was got over.
    pub passed_at: Option<DateTime<Utc>>,
    /// To which team the command post gave it, while there is work.
    pub given_to: Option<GivenTo>,
    /// Who has it in hand.
    pub in_hand: Option<InHand>,
    /// When it was finished.
    pub finished_at: Option<DateTime<Utc>>,
    /// Who finished it.
    pub finished_by: Option<Name>,
    /// When it was proved.
    pub proved_at: Option<DateTime<Utc>>,
    /// Why it shall be crossed so, where somebody chose otherwise than the rules propose.
    pub because: Option<Remark>,
    /// Why it was struck out.
    pub struck_out_because: Option<Remark>,
    /// What was told of it by teams that did not know of each other.
    pub conflicts: Vec<Conflict>,
}

/// A stretch of a line, from one chainage to another.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Stretch {
    /// Where it begins.
    pub from: Metres,
    /// Where it ends.
    pub to: Metres,
}

impl Stretch {
    /// Whether the chainage lies in it, its ends included.
    ///
    /// ```
    /// use laywire_craft::{crossing::Stretch, units::Metres};
    /// let span = Stretch { from: Metres::from_const(980.0), to: Metres::from_const(1_020.0) };
    /// assert!(span.holds(span.from) && span.holds(span.to));
    /// assert!(!span.holds(Metres::from_const(1_020.5)));
    /// ```
    #[must_use]
    pub fn holds(&self, chainage: Metres) -> bool {
        self.from <= chainage && chainage <= self.to
    }
}

impl Crossing {
    /// One that is foreseen and that nobody has come to.
    #[must_use]
    pub fn foreseen(
        id: CrossingId,
        line: LineId,
        place: (Position, Metres),
        obstacle: Obstacle,
        hard_surface: bool,
        construction: Option<Construction>,
        when: DateTime<Utc>,
    ) -> Self {
        let (position, chainage) = place;
        Self {
            id,
            line,
            state: CrossingState::Foreseen,
            position,
            chainage,
            obstacle,
            hard_surface,
            construction,
            clearance: None,
            depth: None,
            span: None,
            clear_of_traffic: false,
            left_undone: Vec::new(),
            opened_at: when,
            passed_at: None,
            given_to: None,
            in_hand: None,
            finished_at: None,
            finished_by: None,
            proved_at: None,
            because: None,
            struck_out_because: None,
            conflicts: Vec::new(),
        }
    }

    /// Whether wire lies where vehicles or trains run: got over, not finished, and not left clear. A ladder never is clear:
    /// it is made for vehicles to run over.
    ///
    /// # Source
    /// SS0440 p. 33, on ladders: laid on the hard road, to be replaced when the line is policed.
    #[must_use]
    pub fn wire_in_traffic(&self) -> bool {
        self.state.is_unfinished()
            && self.passed_at.is_some()
            && self.obstacle.carries_traffic()
            && (!self.clear_of_traffic || self.construction == Some(Construction::Ladder))
    }

    /// Notes that this was told of it as it stands, by somebody who did not know that.
    pub(crate) fn contradicted(&mut self, told: Kind, entry: &Entry) {
        self.conflicts.push(Conflict {
            told,
            team: entry.maker().team.clone(),
            at: entry.happened_at(),
            was: self.state,
            sequence: entry.sequence,
        });
        let over = self.conflicts.len().saturating_sub(CONFLICTS_KEPT);
        self.conflicts.drain(..over);
    }

    /// The stretch in which no splice may fall: the span over a stream.
    #[must_use]
    pub fn unbroken(&self, profile: &Profile) -> Option<Stretch> {
        let spans = self.construction.is_some_and(Construction::is_overhead);
        if self.obstacle != Obstacle::Stream || !spans || self.state == CrossingState::StruckOut {
            return None;
        }
        let half = self.span.unwrap_or(profile.span.normal.value).half();
        Some(Stretch { from: self.chainage - half, to: self.chainage + half })
    }
}
