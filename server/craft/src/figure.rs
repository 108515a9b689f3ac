//! A planning figure and where it is from: what the reckonings of wire and of pace take when nobody has given a better
//! one. It never decides which figure is right; a given one always goes before a planned one.

/// The source of a figure that came with the question.
pub(crate) const GIVEN: &str = "given with the question";

/// The source of a figure that nobody has published: to be replaced by what a unit has measured.
pub(crate) const PLANNING: &str = "planning value, editable";

/// A value and its source.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct PlanningFigure<T> {
    /// The value.
    pub(crate) value: T,
    /// Where it was read, or [`PLANNING`], or [`GIVEN`].
    pub(crate) source: &'static str,
}

impl<T: Copy> PlanningFigure<T> {
    /// A figure with its source.
    pub(crate) const fn new(value: T, source: &'static str) -> Self {
        Self { value, source }
    }

    /// The given figure where there is one, else this.
    pub(crate) fn or_given(self, given: Option<T>) -> Self {
        given.map_or(self, |value| Self { value, source: GIVEN })
    }
}
