//! The bounds of a question: each figure has its range and each list its length, and what lies outside is refused by the
//! name of its field. It never mends a figure, and knows nothing of what the figure is for.

/// A figure or a list of a question that lies outside its bounds.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum OutOfBounds {
    /// A figure is outside its range.
    #[error("{field} is {value}; give a number from {least} to {most}")]
    Figure {
        /// The figure, such as `crossings[3].sag_m`.
        field: String,
        /// What was given.
        value: f64,
        /// The least that is allowed.
        least: f64,
        /// The most that is allowed.
        most: f64,
    },
    /// A list is too short or too long.
    #[error("{field} has {given} entries; give {least} to {most}")]
    Count {
        /// The list.
        field: String,
        /// How many entries there are.
        given: usize,
        /// The fewest.
        least: usize,
        /// The most.
        most: usize,
    },
}

/// A question that has no answer: which field is at fault, where it is one alone.
pub trait NoAnswer: std::error::Error {
    /// The field at fault, as a path into the question.
    fn field(&self) -> Option<String>;
}

impl NoAnswer for OutOfBounds {
    fn field(&self) -> Option<String> {
        let (Self::Figure { field, .. } | Self::Count { field, .. }) = self;
        Some(field.clone())
    }
}

/// Lets a figure pass that lies in its range; NaN never does.
pub(crate) fn range(
    field: impl FnOnce() -> String,
    value: impl Into<f64>,
    least: f64,
    most: f64,
) -> Result<(), OutOfBounds> {
    let value = value.into();
    if (least..=most).contains(&value) {
        Ok(())
    } else {
        Err(OutOfBounds::Figure { field: field(), value, least, most })
    }
}

/// Lets a list pass that is neither too short nor too long.
pub(crate) fn count(field: &str, given: usize, least: usize, most: usize) -> Result<(), OutOfBounds> {
    if (least..=most).contains(&given) {
        Ok(())
    } else {
        Err(OutOfBounds::Count { field: field.to_owned(), given, least, most })
    }
}
