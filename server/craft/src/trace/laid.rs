//! Where wire lies: positions that grow at their end while it is laid, and the trace that they make as soon as they have a
//! length. Clones share what they hold, and the trace is reckoned when it is first asked for and then grows along, so that
//! neither a copy of a line nor one more position costs more the longer the line is.

use std::ops::Deref;
use std::sync::{Arc, OnceLock};

use super::{Course, Trace, TraceError};
use crate::{geodesy::Position, units::Metres};

/// Positions of wire that lies, in the order in which it was laid.
///
/// ```
/// use laywire_craft::{geodesy::Position, trace::Laid};
/// let mut laid = Laid::from(vec![Position::new(-4.65, 54.10)?]);
/// assert!(laid.trace().is_none(), "one place has no length");
/// laid.lay_on(&[Position::new(-4.65, 54.11)?]);
/// assert_eq!(laid.trace().map(|trace| trace.positions().len()), Some(2));
/// # Ok::<(), laywire_craft::units::OutOfRange>(())
/// ```
#[derive(Debug, Clone, Default)]
pub struct Laid {
    positions: Arc<Vec<Position>>,
    course: OnceLock<Result<Arc<Course>, TraceError>>,
}

impl Laid {
    /// Lays more on at the end.
    pub fn lay_on(&mut self, more: &[Position]) {
        match self.course.get_mut() {
            Some(Ok(course)) => {
                if let Err(error) = Arc::make_mut(course).extend(&self.positions, more) {
                    self.course = OnceLock::from(Err(error));
                }
            }
            // More may give it a length.
            Some(Err(TraceError::NoLength { .. })) => self.course = OnceLock::new(),
            // Too many positions or too long it stays; what was not asked for is not reckoned yet.
            Some(Err(_)) | None => {}
        }
        Arc::make_mut(&mut self.positions).extend_from_slice(more);
    }

    /// Leaves so many positions from the beginning.
    pub(crate) fn shorten(&mut self, positions: usize) {
        if positions >= self.positions.len() {
            return;
        }
        Arc::make_mut(&mut self.positions).truncate(positions);
        if let Some(Ok(course)) = self.course.get_mut() {
            let course = Arc::make_mut(course);
            course.shorten(positions);
            if course.length() > Metres::ZERO {
                return;
            }
        }
        self.course = OnceLock::new();
    }

    /// The trace that the positions make: none where [`Trace::new`] refuses them.
    #[must_use]
    pub fn trace(&self) -> Option<Trace> {
        let course = self.course.get_or_init(|| Course::of(&self.positions).map(Arc::new));
        course.as_ref().ok().map(|course| Trace { positions: self.positions.clone(), course: course.clone() })
    }

    /// The positions.
    #[must_use]
    pub fn as_slice(&self) -> &[Position] {
        &self.positions
    }
}

impl Deref for Laid {
    type Target = [Position];

    fn deref(&self) -> &[Position] {
        &self.positions
    }
}

/// All the rest is reckoned from the positions.
impl PartialEq for Laid {
    fn eq(&self, other: &Self) -> bool {
        Arc::ptr_eq(&self.positions, &other.positions) || self.positions == other.positions
    }
}

impl From<Vec<Position>> for Laid {
    fn from(positions: Vec<Position>) -> Self {
        Self { positions: Arc::new(positions), course: OnceLock::new() }
    }
}

impl FromIterator<Position> for Laid {
    fn from_iter<I: IntoIterator<Item = Position>>(positions: I) -> Self {
        positions.into_iter().collect::<Vec<_>>().into()
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::trace::MOST_POSITIONS;

    fn place(step: u32) -> Position {
        Position::new(-4.65 + f64::from(step % 7) * 1e-4, 54.1 + f64::from(step) * 1e-4).unwrap()
    }

    fn the_same(laid: &Laid) {
        match (laid.trace(), Trace::new(laid.to_vec())) {
            (Some(grown), Ok(anew)) => {
                assert_eq!((grown.positions(), grown.chainages()), (anew.positions(), anew.chainages()));
                let aside = Position::new(-4.66, 54.105).unwrap();
                assert_eq!(grown.nearest(aside), anew.nearest(aside));
                assert_eq!(format!("{:?}", grown.course), format!("{:?}", anew.course));
            }
            (None, Err(_)) => {}
            (grown, anew) => panic!("{grown:?} and {anew:?}"),
        }
    }

    #[test]
    fn wire_that_grows_is_measured_as_if_it_were_laid_at_once() {
        let mut laid = Laid::default();
        the_same(&laid);
        // A team that stands still, then one report after the other, over more than two bundles.
        laid.lay_on(&[place(0), place(0)]);
        for step in 1..200 {
            the_same(&laid);
            let before = laid.clone();
            laid.lay_on(&[place(3 * step), place(3 * step + 1)]);
            assert_eq!(before.len() + 2, laid.len(), "a copy stays as it was");
            the_same(&before);
        }
        assert_eq!(laid, laid.to_vec().into());
        assert_ne!(laid, Laid::default());
        // And taken back again, by steps that end within bundles and where one ends.
        for positions in (0..=laid.len()).rev().filter(|positions| positions % 9 == 0 || positions % 64 < 3) {
            laid.shorten(positions);
            assert_eq!(laid.len(), positions);
            the_same(&laid);
        }
        laid.lay_on(&[place(1), place(2)]);
        the_same(&laid);
    }

    #[test]
    fn wire_with_more_positions_than_a_trace_may_have_makes_none() {
        let mut laid: Laid = (0..2).map(place).collect();
        assert!(laid.trace().is_some());
        laid.lay_on(&vec![place(1); MOST_POSITIONS]);
        assert!(laid.trace().is_none());
        laid.lay_on(&[place(2)]);
        assert!(laid.trace().is_none());
        laid.shorten(MOST_POSITIONS);
        assert!(laid.trace().is_some());
    }
}
