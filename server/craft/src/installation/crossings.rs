//! The crossings of an installation, which know which of them lie on which line and how many of those are open: what follows
//! for a line from its crossings is asked after every entry, and must not cost more the more there are.

use std::collections::{BTreeMap, BTreeSet};
use std::ops::Deref;

use crate::{
    crossing::{Crossing, CrossingState},
    ids::{CrossingId, LineId},
};

/// Crossings by their ids; they are read as the map that they are.
#[derive(Debug, Clone, Default)]
pub struct Crossings {
    all: BTreeMap<CrossingId, Crossing>,
    by_line: BTreeMap<LineId, OnLine>,
}

#[derive(Debug, Clone, Default)]
struct OnLine {
    crossings: BTreeSet<CrossingId>,
    open: usize,
}

/// Whether there is work, or wire that nobody has looked for: what is foreseen and was never looked at is open as well.
pub(super) fn is_open(crossing: &Crossing) -> bool {
    crossing.state.is_unfinished() || crossing.state == CrossingState::Foreseen
}

impl Crossings {
    /// Puts a crossing in, and gives the one with its id whose place it takes.
    pub fn insert(&mut self, crossing: Crossing) -> Option<Crossing> {
        let (id, line, opens) = (crossing.id, crossing.line, usize::from(is_open(&crossing)));
        let old = self.all.insert(id, crossing);
        match &old {
            Some(old) if old.line == line => {
                if let Some(on) = self.by_line.get_mut(&line) {
                    on.open = on.open + opens - usize::from(is_open(old));
                }
            }
            _ => {
                if let Some(old) = &old {
                    self.forget(old);
                }
                let on = self.by_line.entry(line).or_default();
                on.crossings.insert(id);
                on.open += opens;
            }
        }
        old
    }

    /// Takes a crossing out.
    pub(super) fn remove(&mut self, id: CrossingId) {
        if let Some(old) = self.all.remove(&id) {
            self.forget(&old);
        }
    }

    fn forget(&mut self, old: &Crossing) {
        if let Some(on) = self.by_line.get_mut(&old.line) {
            on.crossings.remove(&old.id);
            on.open -= usize::from(is_open(old));
        }
    }

    /// The crossings of a line, by their ids.
    pub(crate) fn of_line(&self, line: LineId) -> impl Iterator<Item = &Crossing> {
        let ids = self.by_line.get(&line).into_iter().flat_map(|on| &on.crossings);
        ids.filter_map(|id| self.all.get(id))
    }

    /// How many crossings of a line are open.
    pub(super) fn open_on(&self, line: LineId) -> usize {
        self.by_line.get(&line).map_or(0, |on| on.open)
    }

    /// The crossings alone.
    #[must_use]
    pub fn into_map(self) -> BTreeMap<CrossingId, Crossing> {
        self.all
    }
}

impl Deref for Crossings {
    type Target = BTreeMap<CrossingId, Crossing>;

    fn deref(&self) -> &Self::Target {
        &self.all
    }
}

/// All the rest is known from the crossings.
impl PartialEq for Crossings {
    fn eq(&self, other: &Self) -> bool {
        self.all == other.all
    }
}

impl Extend<(CrossingId, Crossing)> for Crossings {
    fn extend<I: IntoIterator<Item = (CrossingId, Crossing)>>(&mut self, crossings: I) {
        for (_, crossing) in crossings {
            self.insert(crossing);
        }
    }
}

#[cfg(test)]
mod tests {
    use uuid::Uuid;

    use super::*;
    use crate::{geodesy::Position, obstacle::Obstacle, units::Metres};

    #[test]
    fn a_line_knows_its_crossings_and_how_many_are_open_whatever_becomes_of_them() {
        let crossing = |n: u128, line: u128, state| {
            let (id, line) = (CrossingId(Uuid::from_u128(n)), LineId(Uuid::from_u128(line)));
            let place = (Position::new(-4.65, 54.1).unwrap(), Metres::ZERO);
            let when = chrono::DateTime::UNIX_EPOCH;
            Crossing { state, ..Crossing::foreseen(id, line, place, Obstacle::Road, true, None, when) }
        };
        let lines = [1, 2].map(|line| LineId(Uuid::from_u128(line)));
        let known = |crossings: &Crossings| {
            for line in lines {
                let there: Vec<&Crossing> = crossings.values().filter(|c| c.line == line).collect();
                assert_eq!(crossings.of_line(line).collect::<Vec<_>>(), there);
                assert_eq!(crossings.open_on(line), there.iter().filter(|c| is_open(c)).count());
            }
        };
        let mut crossings = Crossings::default();
        for (n, line, state) in [
            (1, 1, CrossingState::Foreseen),
            (2, 1, CrossingState::Finished),
            (3, 2, CrossingState::Marked),
            (1, 1, CrossingState::Passed),
            (2, 1, CrossingState::InHand),
            (1, 1, CrossingState::StruckOut),
            (2, 2, CrossingState::InHand),
            (2, 2, CrossingState::Proved),
            (3, 1, CrossingState::Proved),
        ] {
            crossings.insert(crossing(n, line, state));
            known(&crossings);
        }
        for n in [2, 1, 2, 3] {
            crossings.remove(CrossingId(Uuid::from_u128(n)));
            known(&crossings);
        }
        assert!(crossings.is_empty());
    }
}
