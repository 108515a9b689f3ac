//! What is said while a line is taken up.

use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

use crate::{
    ids::{CrossingId, LineId, ReelId},
    text::{Name, Remark},
    units::Metres,
};

/// The order to take a line up.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct LineOrderedUp {
    /// The line.
    pub line: LineId,
    /// Who confirmed that this number is dead and nobody's any more.
    pub confirmed_dead_by: Name,
}

/// Wire taken up.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct SectionTakenUp {
    /// The line.
    pub line: LineId,
    /// Where the section begins, along the line.
    pub from_m: Metres,
    /// Where it ends.
    pub to_m: Metres,
    /// What is written on the reel that the wire went onto.
    pub onto: Name,
    /// The wire that came up, 0 to 20 000 m.
    pub length_m: Metres,
    /// Splices in each conductor of it.
    pub splices: u16,
}

/// A crossing's place made good again: poles and ties down, trench filled, tags off.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct CrossingMadeGood {
    /// The crossing.
    pub crossing: CrossingId,
    /// What is to be known of it.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub remark: Option<Remark>,
}

/// What became of wire that did not come back.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum WireFate {
    /// It is gone.
    Lost,
    /// It was left where it lies.
    Left,
}

/// Wire that does not come back.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct WireLost {
    /// The line.
    pub line: LineId,
    /// Where it begins, along the line.
    pub from_m: Metres,
    /// Where it ends.
    pub to_m: Metres,
    /// How much wire it is, 0 to 20 000 m.
    pub length_m: Metres,
    /// What became of it.
    pub fate: WireFate,
    /// Why.
    pub because: Remark,
}

/// What was left on a reel, brought back to stores.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct ReelReturned {
    /// The line that it was issued for.
    pub line: LineId,
    /// The reel.
    pub reel: ReelId,
    /// The wire on it that was never laid, measured.
    pub left_m: Metres,
}
