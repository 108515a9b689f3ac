//! The figures of construction, each with its source. This is the floor that the rules stand on.
//!
//! Sources, by key:
//! - *SS0440* and *SS0444*: US Army correspondence subcourses on field wire and on cable lines, after TC 24-20.
//! - *GO 64-A*: California Public Utilities Commission, General Order 64-A, rule 84.4.
//! - *NESC 232*: IEEE C2, National Electrical Safety Code, rule 232.

use crate::{
    obstacle::Obstacle,
    units::{Metres, feet},
};

/// One figure and where it is from.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Figure {
    /// The value.
    pub value: Metres,
    /// The page it was read on, or 'common practice, no source'.
    pub source: &'static str,
}

/// The figures that the rules use.
#[derive(Debug, Clone, PartialEq)]
pub struct Profile {
    /// Least height of an overhead wire over a main highway.
    pub over_main_highway: Figure,
    /// Least height over a road or dirt road.
    pub over_road: Figure,
    /// Least height over a path.
    pub over_path: Figure,
    /// Least depth of a buried crossing.
    pub burial_depth: Figure,
    /// The span to reckon with when nobody has measured it.
    pub normal_span: Figure,
    /// Wire drawn beyond the ground distance so that the line lies slack, in percent.
    pub slack_percent: u8,
}

impl Profile {
    /// The field rules.
    #[must_use]
    pub fn field() -> Self {
        Self {
            over_main_highway: Figure {
                value: feet(18.0),
                source: "SS0440 pp. 29, 31: at least 18 ft over a primary road",
            },
            over_road: Figure {
                value: feet(14.0),
                source: "SS0440 pp. 29, 31: at least 14 ft over a secondary road",
            },
            over_path: Figure {
                value: feet(8.0),
                source: "GO 64-A rule 84.4: 8 ft where there are only pedestrians",
            },
            burial_depth: Figure { value: feet(0.5), source: "common practice, no source: at least 6 in" },
            normal_span: Figure { value: feet(100.0), source: "SS0440 p. 33: normal span 100 ft" },
            // SS0444 p. 23: about 20 % of the total distance, well distributed.
            slack_percent: 20,
        }
    }

    /// The least height of an overhead wire over the obstacle; over a stream any height above the highest water.
    ///
    /// ```
    /// use laywire_craft::{obstacle::Obstacle, profile::Profile};
    /// let highway = Profile::field().least_height(Obstacle::MainHighway);
    /// assert_eq!(highway.value.to_string(), "5.49 m");
    /// assert_eq!(highway.source, "SS0440 pp. 29, 31: at least 18 ft over a primary road");
    /// ```
    #[must_use]
    pub fn least_height(&self, obstacle: Obstacle) -> Figure {
        match obstacle {
            Obstacle::MainHighway => self.over_main_highway,
            Obstacle::Road | Obstacle::DirtRoad => self.over_road,
            Obstacle::Path => self.over_path,
            Obstacle::Stream | Obstacle::Railway => Figure {
                value: Metres::ZERO,
                source: "common practice, no source: clear of the highest water",
            },
        }
    }
}
