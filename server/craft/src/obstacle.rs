//! What a line meets on its way, and what moves on it. Power lines are no obstacle to cross but a hazard to keep
//! away from, so they are not in this list.

use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

/// What a trace meets.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum Obstacle {
    /// A primary road: the main traffic of the country goes here.
    MainHighway,
    /// A secondary road, hard or graded, open to all vehicles.
    Road,
    /// A track or minor dirt road.
    DirtRoad,
    /// A way for people and animals, not for vehicles.
    Path,
    /// Any track that trains or trams run on, in use or not known to be out of use.
    Railway,
    /// Running or standing water.
    Stream,
}

impl Obstacle {
    /// Every obstacle, in the order in which a crew is asked.
    pub const ALL: [Self; 6] =
        [Self::MainHighway, Self::Road, Self::DirtRoad, Self::Path, Self::Railway, Self::Stream];

    /// Whether vehicles or trains run on it, so that wire left on it is a hazard.
    #[must_use]
    pub fn carries_traffic(self) -> bool {
        matches!(self, Self::MainHighway | Self::Road | Self::DirtRoad | Self::Railway)
    }

    /// What to take its surface for when nobody has said: made roads are hard, the rest can be dug.
    #[must_use]
    pub fn usually_hard(self) -> bool {
        matches!(self, Self::MainHighway | Self::Road)
    }

    /// The name in the database and on the wire.
    #[must_use]
    pub fn as_str(self) -> &'static str {
        match self {
            Self::MainHighway => "main_highway",
            Self::Road => "road",
            Self::DirtRoad => "dirt_road",
            Self::Path => "path",
            Self::Railway => "railway",
            Self::Stream => "stream",
        }
    }

    /// The words for a person.
    #[must_use]
    pub fn words(self) -> &'static str {
        match self {
            Self::MainHighway => "main highway",
            Self::Road => "road",
            Self::DirtRoad => "dirt road",
            Self::Path => "path",
            Self::Railway => "railway",
            Self::Stream => "stream",
        }
    }
}

impl std::fmt::Display for Obstacle {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str(self.words())
    }
}
