//! The ways to get a wire past an obstacle, by name. What is allowed where is in [`crate::guide`].

use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

/// How the wire gets past the obstacle.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum Construction {
    /// Through a culvert that is there already.
    ThroughCulvert,
    /// Under a bridge that is there already, or along its outside.
    UnderBridge,
    /// Under the rails, between two ties.
    UnderRails,
    /// Overhead, tied to trees.
    OverheadTrees,
    /// Overhead, on poles that stand there.
    OverheadPoles,
    /// Overhead, on lance poles of our own.
    OverheadLancePoles,
    /// In a trench.
    Buried,
    /// Each conductor parallel on a hard surface: a temporary measure.
    Ladder,
}

impl Construction {
    /// Every construction, the most lasting and least troublesome first.
    pub const ALL: [Self; 8] = [
        Self::ThroughCulvert,
        Self::UnderBridge,
        Self::UnderRails,
        Self::OverheadTrees,
        Self::OverheadPoles,
        Self::OverheadLancePoles,
        Self::Buried,
        Self::Ladder,
    ];

    /// Whether the wire hangs in the air above the obstacle.
    #[must_use]
    pub fn is_overhead(self) -> bool {
        matches!(self, Self::OverheadTrees | Self::OverheadPoles | Self::OverheadLancePoles)
    }

    /// Whether the wire goes the way of something that is there already, and so may have to make a detour to it.
    #[must_use]
    pub fn is_passage(self) -> bool {
        matches!(self, Self::ThroughCulvert | Self::UnderBridge)
    }

    /// The name in the database and on the wire.
    #[must_use]
    pub fn as_str(self) -> &'static str {
        match self {
            Self::ThroughCulvert => "through_culvert",
            Self::UnderBridge => "under_bridge",
            Self::UnderRails => "under_rails",
            Self::OverheadTrees => "overhead_trees",
            Self::OverheadPoles => "overhead_poles",
            Self::OverheadLancePoles => "overhead_lance_poles",
            Self::Buried => "buried",
            Self::Ladder => "ladder",
        }
    }

    /// The words for a person.
    #[must_use]
    pub fn words(self) -> &'static str {
        match self {
            Self::ThroughCulvert => "through a culvert",
            Self::UnderBridge => "under a bridge",
            Self::UnderRails => "under the rails",
            Self::OverheadTrees => "overhead on trees",
            Self::OverheadPoles => "overhead on poles",
            Self::OverheadLancePoles => "overhead on lance poles",
            Self::Buried => "buried",
            Self::Ladder => "ladder",
        }
    }
}

impl std::fmt::Display for Construction {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str(self.words())
    }
}
