//! A line being taken up: the order, what came up, what did not come back, and what still lies. What these become by a
//! report is decided in [`crate::installation`]; what stores make of it in [`crate::stores`].

use chrono::{DateTime, Utc};
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

use crate::{
    crossing::Stretch,
    ids::{CrossingId, ReelId},
    line::Line,
    report::WireFate,
    text::{Name, Remark},
    units::Metres,
};

/// Half a statute mile.
const HALF_MILE: Metres = Metres::from_const(804.672);
/// Splices in each conductor that half a mile of class A may have.
const MOST_SPLICES: f64 = 4.0;
/// Chainages are told to the metre or so: less than this between two sections is no wire.
const NOTHING: Metres = Metres::from_const(2.0);

/// What wire is good for after it was taken up.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum WireClass {
    /// For use in the field.
    A,
    /// For training and in the rear.
    B,
}

impl WireClass {
    /// The class of a length of wire with so many splices in each conductor.
    ///
    /// # Source
    /// SS0440 p. 69: at most 4 splices in each conductor in half a mile is class A, more is class B. It is the average that is
    /// judged, and a shorter piece as if it were half a mile: common practice, no source.
    ///
    /// ```
    /// use laywire_craft::{recovery::WireClass, units::Metres};
    /// assert_eq!(WireClass::of(Metres::from_const(1_609.344), 8), WireClass::A);
    /// assert_eq!(WireClass::of(Metres::from_const(1_609.344), 9), WireClass::B);
    /// assert_eq!(WireClass::of(Metres::from_const(100.0), 4), WireClass::A);
    /// ```
    #[must_use]
    pub fn of(length: Metres, splices: u16) -> Self {
        let halves = (length.value() / HALF_MILE.value()).max(1.0);
        if f64::from(splices) <= MOST_SPLICES * halves { Self::A } else { Self::B }
    }
}

/// The order to take the line up.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct OrderedUp {
    /// When.
    pub at: DateTime<Utc>,
    /// Who confirmed that it is dead.
    pub confirmed_dead_by: Name,
}

/// A section that was taken up.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct SectionUp {
    /// When.
    pub at: DateTime<Utc>,
    /// By whom.
    pub team: Name,
    /// Where it began.
    pub from_m: Metres,
    /// Where it ended.
    pub to_m: Metres,
    /// What is written on the reel that it went onto.
    pub onto: Name,
    /// The wire that came up.
    pub length_m: Metres,
    /// Splices in each conductor of it.
    pub splices: u16,
    /// Its class.
    pub class: WireClass,
}

/// Wire that did not come back.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct NotBack {
    /// When it was told.
    pub at: DateTime<Utc>,
    /// By whom.
    pub team: Name,
    /// Where it began.
    pub from_m: Metres,
    /// Where it ended.
    pub to_m: Metres,
    /// How much it is.
    pub length_m: Metres,
    /// What became of it.
    pub fate: WireFate,
    /// Why.
    pub because: Remark,
}

/// A crossing made good again.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct MadeGood {
    /// The crossing.
    pub crossing: CrossingId,
    /// When.
    pub at: DateTime<Utc>,
    /// By whom.
    pub team: Name,
    /// What is to be known of it.
    #[schema(required = true)]
    pub remark: Option<Remark>,
}

/// What was left on a reel, brought back.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct RestReturned {
    /// The reel.
    pub reel: ReelId,
    /// When.
    pub at: DateTime<Utc>,
    /// The wire on it that was never laid.
    pub left_m: Metres,
}

/// A line being taken up.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize, ToSchema)]
#[serde(default)]
pub struct Recovery {
    /// The order, where it was given.
    #[schema(required = true)]
    pub ordered_up: Option<OrderedUp>,
    /// Sections taken up, in the order of the log.
    pub sections: Vec<SectionUp>,
    /// Wire that did not come back.
    pub not_back: Vec<NotBack>,
    /// Crossings made good again.
    pub made_good: Vec<MadeGood>,
    /// What was left on reels.
    pub rests: Vec<RestReturned>,
}

/// The stretches of the line where wire still lies that is to come up, from the near end.
#[must_use]
pub fn lying(line: &Line) -> Vec<Stretch> {
    let up = line.recovery.sections.iter().map(|section| (section.from_m, section.to_m));
    let gone = line.recovery.not_back.iter().map(|piece| (piece.from_m, piece.to_m));
    let mut done: Vec<(Metres, Metres)> = up.chain(gone).collect();
    done.sort_by(|a, b| a.0.value().total_cmp(&b.0.value()));
    let mut lying = Vec::new();
    let mut from = Metres::ZERO;
    for (begins, ends) in done {
        if begins - from > NOTHING {
            lying.push(Stretch { from, to: begins.min(line.laid_length) });
        }
        from = from.max(ends);
    }
    if line.laid_length - from > NOTHING {
        lying.push(Stretch { from, to: line.laid_length });
    }
    lying
}
