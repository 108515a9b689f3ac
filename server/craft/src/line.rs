//! A line: a wire route between two ends. What it becomes by a report is decided in [`crate::installation`].

use chrono::{DateTime, Utc};
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

use crate::{
    geodesy::{self, Position},
    ids::{LineId, ReelId},
    plan::PlanVersion,
    proving::Proving,
    recovery::Recovery,
    text::Name,
    trace::{Laid, Trace},
    units::Metres,
};

/// How far a line has come.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum LineState {
    /// Drawn on the map.
    Planned,
    /// The lead team is under way.
    Laying,
    /// A call was made back over the wire from the far end.
    Through,
    /// Through, and no crossing is unfinished.
    Finished,
    /// Tested over its whole length after the last crossing was finished.
    Proved,
    /// In the hands of the switchboard's crew.
    HandedOver,
    /// Nothing of it lies any more that is to come up.
    Recovered,
}

impl LineState {
    /// Every state, in the order of the work.
    pub const ALL: [Self; 7] = [
        Self::Planned,
        Self::Laying,
        Self::Through,
        Self::Finished,
        Self::Proved,
        Self::HandedOver,
        Self::Recovered,
    ];

    /// The name in the database and on the wire.
    #[must_use]
    pub fn as_str(self) -> &'static str {
        match self {
            Self::Planned => "planned",
            Self::Laying => "laying",
            Self::Through => "through",
            Self::Finished => "finished",
            Self::Proved => "proved",
            Self::HandedOver => "handed_over",
            Self::Recovered => "recovered",
        }
    }

    /// The words for a person.
    #[must_use]
    pub fn words(self) -> &'static str {
        match self {
            Self::HandedOver => "handed over",
            other => other.as_str(),
        }
    }
}

impl std::fmt::Display for LineState {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str(self.words())
    }
}

/// A line's number, the same from end to end, and never a unit's name: it has a digit in it and is short.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize, ToSchema)]
#[serde(try_from = "String")]
#[schema(value_type = String, pattern = "^[A-Z]{0,2}-?[0-9]{1,4}[A-Z]?$")]
pub struct Designation(String);

/// Why a designation was not taken.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error(
    "\"{0}\" is no line number: up to two letters, one to four digits and a letter at most, such as 12, 12A or L-12. \
     Tags must not tell the unit, so no names"
)]
pub struct DesignationError(String);

impl Designation {
    /// Checks the number.
    ///
    /// # Errors
    /// When it has not the shape of a line number.
    ///
    /// # Source
    /// SS0444 p. 30, pars. 35 to 39: one number from end to end; markings must not disclose the unit.
    ///
    /// ```
    /// use laywire_craft::line::Designation;
    /// assert_eq!(Designation::new(" l-7 ")?.as_str(), "L-7");
    /// assert!(Designation::new("Signals").is_err());
    /// # Ok::<(), laywire_craft::line::DesignationError>(())
    /// ```
    pub fn new(raw: &str) -> Result<Self, DesignationError> {
        let text = raw.trim().to_ascii_uppercase();
        let rest = text.trim_start_matches(|c: char| c.is_ascii_uppercase());
        let letters = text.len() - rest.len();
        let number = rest.strip_prefix('-').unwrap_or(rest);
        let tail = number.trim_start_matches(|c: char| c.is_ascii_digit());
        let digits = number.len() - tail.len();
        let tail_ok = tail.is_empty() || (tail.len() == 1 && tail.as_bytes()[0].is_ascii_uppercase());
        if letters <= 2 && (1..=4).contains(&digits) && tail_ok {
            Ok(Self(text))
        } else {
            Err(DesignationError(raw.chars().take(40).collect()))
        }
    }

    /// The number.
    #[must_use]
    pub fn as_str(&self) -> &str {
        &self.0
    }
}

impl TryFrom<String> for Designation {
    type Error = DesignationError;
    fn try_from(raw: String) -> Result<Self, DesignationError> {
        Self::new(&raw)
    }
}

impl std::fmt::Display for Designation {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str(&self.0)
    }
}

/// A reel put on the line.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct Reel {
    /// Its id.
    pub id: ReelId,
    /// What is written on it.
    pub label: Name,
    /// The wire on it when it was begun.
    pub length_m: Metres,
    /// Where it was begun.
    pub from_chainage_m: Metres,
}

/// A splice in the line.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct Splice {
    /// Where.
    pub chainage_m: Metres,
    /// When.
    pub at: DateTime<Utc>,
}

/// A call over the wire that was good.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct CallBack {
    /// When.
    pub at: DateTime<Utc>,
    /// From where on the line.
    pub chainage_m: Metres,
    /// Who made it.
    pub team: Name,
}

/// Where a place lies by a line.
pub(crate) struct Beside {
    /// How far along the line.
    pub(crate) chainage: Metres,
    /// How far from the plan or the wire, whichever is nearer; none where the line has neither.
    pub(crate) offset: Option<Metres>,
}

/// What a line is now.
#[derive(Debug, Clone, PartialEq)]
pub struct Line {
    /// Its id.
    pub id: LineId,
    /// Its number.
    pub designation: Designation,
    /// The near end.
    pub from: Name,
    /// The far end.
    pub to: Name,
    /// How far it has come.
    pub state: LineState,
    /// Where it shall go.
    pub planned: Option<Trace>,
    /// Which of its saved plans that is; none where it was only drawn.
    pub plan: Option<PlanVersion>,
    /// Where it lies.
    pub laid: Laid,
    /// The length of what lies.
    pub laid_length: Metres,
    /// The team that lays it.
    pub team: Option<Name>,
    /// Reels, in the order in which they were begun.
    pub reels: Vec<Reel>,
    /// Splices, in the order in which they were made.
    pub splices: Vec<Splice>,
    /// Good calls, in the order in which they were made.
    pub call_backs: Vec<CallBack>,
    /// When the laying began.
    pub started_at: Option<DateTime<Utc>>,
    /// When a call came from the far end.
    pub through_at: Option<DateTime<Utc>>,
    /// When it was proved.
    pub proved_at: Option<DateTime<Utc>>,
    /// When it was handed over.
    pub handed_over_at: Option<DateTime<Utc>>,
    /// To whom it was handed over.
    pub handed_over_to: Option<Name>,
    /// Its tests, its watch and its troubles.
    pub proving: Proving,
    /// How far it is taken up.
    pub recovery: Recovery,
}

impl Line {
    /// A line of which nothing is laid yet.
    #[must_use]
    pub fn drawn(id: LineId, designation: Designation, from: Name, to: Name, planned: Option<Trace>) -> Self {
        Self {
            id,
            designation,
            from,
            to,
            state: LineState::Planned,
            planned,
            plan: None,
            laid: Laid::default(),
            laid_length: Metres::ZERO,
            team: None,
            reels: Vec::new(),
            splices: Vec::new(),
            call_backs: Vec::new(),
            started_at: None,
            through_at: None,
            proved_at: None,
            handed_over_at: None,
            handed_over_to: None,
            proving: Proving::default(),
            recovery: Recovery::default(),
        }
    }

    /// Where the wire is joined: at its splices, and where a reel was begun after the first.
    pub fn joints(&self) -> impl Iterator<Item = Metres> + '_ {
        let begun = self.reels.iter().skip(1).map(|reel| reel.from_chainage_m);
        self.splices.iter().map(|splice| splice.chainage_m).chain(begun)
    }

    /// How far along the line a place is: on what is laid where the wire lies beside it, else from the laying head on
    /// along the plan, else straight on from the head. A place that the plan ahead comes nearer to than the wire does lies
    /// ahead, however the wire behind the head winds.
    #[must_use]
    pub fn chainage(&self, place: Position) -> Metres {
        self.beside(place).chainage
    }

    /// The same, and how far it is from the line.
    pub(crate) fn beside(&self, place: Position) -> Beside {
        let wire = self.laid.trace().map(|laid| laid.nearest(place));
        let plan = self.planned.as_ref().map(|plan| (plan, plan.nearest(place)));
        let offsets = [plan.map(|(_, near)| near.offset), wire.map(|near| near.offset)];
        let offset = offsets.into_iter().flatten().reduce(Metres::min);
        let Some(&head) = self.laid.last() else {
            return Beside { chainage: plan.map_or(Metres::ZERO, |(_, near)| near.chainage), offset };
        };
        let on_wire = wire.filter(|near| near.chainage < self.laid_length);
        let chainage = match (on_wire, plan) {
            (Some(wire), None) => wire.chainage,
            (None, None) => self.laid_length + geodesy::distance(head, place),
            // A plan that turns back comes near the wire again: what lies nearer to the plan's rest is still ahead.
            (Some(wire), Some((_, near))) if wire.offset <= near.offset => wire.chainage,
            (on_wire, Some((plan, near))) => {
                let ahead = near.chainage - plan.nearest(head).chainage;
                match on_wire {
                    Some(wire) if ahead <= Metres::ZERO => wire.chainage,
                    _ => self.laid_length + ahead.max(Metres::ZERO),
                }
            }
        };
        Beside { chainage, offset }
    }

    /// The whole length: what is laid, and what the plan still wants from the laying head on.
    #[must_use]
    pub fn length(&self) -> Metres {
        match (&self.planned, self.laid.last()) {
            (None, _) => self.laid_length,
            (Some(plan), None) => plan.length(),
            (Some(plan), Some(&head)) => {
                let left = plan.length() - plan.nearest(head).chainage;
                if self.through_at.is_some() {
                    self.laid_length
                } else {
                    self.laid_length + left.max(Metres::ZERO)
                }
            }
        }
    }

    /// What is left on the reel in use, if the wire was drawn with this slack.
    #[must_use]
    pub fn left_on_reel(&self, slack_percent: u8) -> Option<Metres> {
        let reel = self.reels.last()?;
        let drawn = (self.laid_length - reel.from_chainage_m).stretched(slack_percent);
        Some((reel.length_m - drawn).max(Metres::ZERO))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_number_is_a_number_and_not_a_name() {
        for good in ["12", "12A", "L-12", "AB1234", "l-7"] {
            assert!(Designation::new(good).is_ok(), "{good}");
        }
        for bad in ["", "ALPHA", "1st Signals", "12345", "12AB", "ABC1", "-", "A-", "12-"] {
            assert!(Designation::new(bad).is_err(), "{bad}");
        }
        assert_eq!(Designation::new(" l-7 ").unwrap().as_str(), "L-7");
    }

    #[test]
    fn a_place_on_the_plan_ahead_is_not_taken_for_one_beside_the_wire_behind() {
        // North, east, and south again; the wire lies along the first leg. Lengths by GeographicLib 2.1 (Python).
        let at = |lon, lat| Position::new(lon, lat).unwrap();
        let plan = vec![at(-4.65, 54.10), at(-4.65, 54.11), at(-4.64, 54.11), at(-4.64, 54.10)];
        let laid = plan[..2].to_vec();
        let line = Line {
            laid_length: geodesy::distance(laid[0], laid[1]),
            laid: laid.into(),
            state: LineState::Laying,
            ..Line::drawn(
                LineId(uuid::Uuid::from_u128(12)),
                Designation::new("12").unwrap(),
                Name::new("Command post").unwrap(),
                Name::new("Mill exchange").unwrap(),
                Some(Trace::new(plan).unwrap()),
            )
        };
        assert!((line.chainage(at(-4.64, 54.102)).value() - 2657.5531).abs() < 0.001);
        assert!(
            (line.chainage(at(-4.65, 54.104)).value() - 445.2276).abs() < 0.001,
            "beside the wire it stays there"
        );
    }
}
