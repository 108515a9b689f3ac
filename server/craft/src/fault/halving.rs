//! The halving guide's arithmetic: where on the line to test next, and how many tests are left until a crew can walk what
//! remains. It never measures anything. The way of going about it is that of US Army subcourse SS0440, p. 60.

use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

use crate::units::Metres;

/// What is left to search, along the wire from the near end.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(try_from = "Ends")]
pub struct SearchStretch {
    from_m: Metres,
    to_m: Metres,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Ends {
    from_m: Metres,
    to_m: Metres,
}

impl TryFrom<Ends> for SearchStretch {
    type Error = Error;
    fn try_from(Ends { from_m, to_m }: Ends) -> Result<Self, Error> {
        Self::new(from_m, to_m)
    }
}

/// Why a step of the halving was refused.
#[derive(Debug, Clone, Copy, PartialEq, thiserror::Error)]
pub enum Error {
    /// A stretch that ends before it begins, or begins before the near end.
    #[error(
        "from_m is {from} and to_m is {to}; give 0 or more, and the far end of the stretch beyond its near end"
    )]
    NoStretch {
        /// The near end as it was given.
        from: Metres,
        /// The far end as it was given.
        to: Metres,
    },
    /// A test that was not made inside the stretch.
    #[error("the test at {at} lies outside the stretch from {from} to {to}: it can tell nothing about it")]
    Outside {
        /// Where the test was made.
        at: Metres,
        /// The near end.
        from: Metres,
        /// The far end.
        to: Metres,
    },
    /// Nothing to walk.
    #[error("walkable_m is {0}; give at least 1 m")]
    NotWalkable(Metres),
    /// Both sides are said to be sound.
    #[error(
        "both sides answer at {at}: the fault is not on this stretch, or it was cleared; ring from end to end"
    )]
    NoBadSide {
        /// Where the test was made.
        at: Metres,
    },
    /// Neither side is sound.
    #[error("neither side answers at {at}: there is a fault on each side; halve each side by itself")]
    TwoFaults {
        /// Where the test was made.
        at: Metres,
    },
}

impl SearchStretch {
    /// Checks the ends.
    ///
    /// # Errors
    /// A stretch that ends before it begins, or begins before the near end.
    pub fn new(from: Metres, to: Metres) -> Result<Self, Error> {
        if from >= Metres::ZERO && to > from {
            Ok(Self { from_m: from, to_m: to })
        } else {
            Err(Error::NoStretch { from, to })
        }
    }

    /// Its near end.
    #[must_use]
    pub fn from(self) -> Metres {
        self.from_m
    }

    /// Its far end.
    #[must_use]
    pub fn to(self) -> Metres {
        self.to_m
    }

    /// Its length.
    #[must_use]
    pub fn length(self) -> Metres {
        self.to_m - self.from_m
    }

    /// The most tests needed until what remains is short enough to walk.
    ///
    /// # Errors
    /// Less than 1 m to walk.
    ///
    /// # Source
    /// The logarithm to base 2 of the length over what can be walked, rounded up.
    ///
    /// ```
    /// use laywire_craft::{fault::halving::SearchStretch, units::Metres};
    /// // 8 miles down to a quarter of a mile: 5 tests.
    /// let line = SearchStretch::new(Metres::ZERO, Metres::from_const(8.0 * 1609.344))?;
    /// assert_eq!(line.tests_needed(Metres::from_const(0.25 * 1609.344))?, 5);
    /// # Ok::<(), laywire_craft::fault::halving::Error>(())
    /// ```
    pub fn tests_needed(self, walkable: Metres) -> Result<u32, Error> {
        if walkable < Metres::from_const(1.0) {
            return Err(Error::NotWalkable(walkable));
        }
        let mut left = self.length();
        let mut tests = 0;
        while left > walkable {
            left = left.half();
            tests += 1;
        }
        Ok(tests)
    }

    /// Where to test next: the recorded tag, splice or crossing nearest to the middle, or the middle when none lies inside.
    ///
    /// # Source
    /// SS0440 p. 60: go to the half-way point. That a recorded place is easier to find: common practice, no source.
    #[must_use]
    pub fn next_test(self, recorded: &[Metres]) -> Metres {
        let middle = self.from_m + self.length().half();
        let off = |at: Metres| (at.value() - middle.value()).abs();
        recorded
            .iter()
            .copied()
            .filter(|at| *at > self.from_m && *at < self.to_m)
            .min_by(|a, b| off(*a).total_cmp(&off(*b)))
            .unwrap_or(middle)
    }

    /// What is left after a test inside the stretch, by which ends answered from there.
    ///
    /// # Errors
    /// A test outside the stretch, or answers that leave no single side.
    ///
    /// # Source
    /// SS0440 p. 60: the end that does not answer is the bad side.
    pub fn after_test(self, at: Metres, near_answers: bool, far_answers: bool) -> Result<Self, Error> {
        if at <= self.from_m || at >= self.to_m {
            return Err(Error::Outside { at, from: self.from_m, to: self.to_m });
        }
        match (near_answers, far_answers) {
            (false, true) => Self::new(self.from_m, at),
            (true, false) => Self::new(at, self.to_m),
            (true, true) => Err(Error::NoBadSide { at }),
            (false, false) => Err(Error::TwoFaults { at }),
        }
    }
}
