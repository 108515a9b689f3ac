//! The fold of the log, with every change kept. Each line's part is added up where it stands; for a correction it is added up
//! anew from what it corrects on, after that and all behind it was taken back.

use std::collections::{BTreeMap, HashMap};

use chrono::{DateTime, Utc};

use super::{
    CrossingReplay, Error, LineReplay, MOST_POSITIONS, POSITION, Replay, ReplayCorrection, ReplayLineChange,
    ReplayPiece, ReplayPlace, ReplayPlan, ReplayTeam, STEP,
};
use crate::{
    crossing::Crossing,
    ids::{CrossingId, LineId, ReportId},
    installation::{Before, Broken, Corrected, Installation},
    line::Line,
    party::Party,
    profile::Profile,
    report::{Body, Entry, Kind, Subject},
    text::Name,
};

/// One line's part of the log: what it adds up to so far, the entries that it adds up, and what stood before each of them.
#[derive(Default)]
struct OfLine<'a> {
    place: u32,
    sum: Installation,
    entries: Vec<&'a Entry>,
    before: Vec<Before>,
    corrected: Corrected<'a>,
}

impl OfLine<'_> {
    /// Adds up those of its entries that are not, and says which crossings are altered.
    fn add(&mut self, profile: &Profile) -> Result<Vec<CrossingId>, Broken> {
        let mut altered = Vec::new();
        for entry in &self.entries[self.before.len()..] {
            let before = self.sum.add(entry, &self.corrected, profile)?;
            altered.extend(before.crossings.iter().map(|(id, _)| *id));
            self.before.push(before);
        }
        Ok(altered)
    }

    /// The work of adding up the entries from this place on, and of taking them back.
    fn work_from(&self, place: usize) -> u64 {
        let of = |entry: &&Entry| {
            let body = self.corrected.get(&entry.report.id).copied().unwrap_or(Some(&entry.report.body));
            match body {
                Some(Body::TraceExtended(trace)) => STEP + trace.positions.len() as u64 * POSITION,
                _ => STEP,
            }
        };
        self.entries[place..].iter().map(of).sum()
    }

    /// The place of an entry among the line's own.
    fn place_of(&self, sequence: i64) -> usize {
        self.entries.partition_point(|entry| entry.sequence < sequence)
    }

    /// Adds the line up anew from the entry at this place on, and says which crossings are other than they were.
    fn add_anew(&mut self, place: usize, profile: &Profile) -> Result<Vec<CrossingId>, Broken> {
        let mut were: BTreeMap<CrossingId, Option<Crossing>> = BTreeMap::new();
        while self.before.len() > place
            && let Some(before) = self.before.pop()
        {
            for (id, _) in &before.crossings {
                were.entry(*id).or_insert_with(|| self.sum.crossings.get(id).cloned());
            }
            self.sum.take_back(before);
        }
        self.add(profile)?;
        for (id, was) in self.before.iter().skip(place).flat_map(|before| &before.crossings) {
            were.entry(*id).or_insert_with(|| was.clone());
        }
        let other = |(id, was): &(&CrossingId, &Option<Crossing>)| self.sum.crossings.get(id) != was.as_ref();
        Ok(were.iter().filter(other).map(|(id, _)| *id).collect())
    }
}

/// What a report is about, its number, and its kind.
struct Told {
    line: Option<LineId>,
    crossing: Option<CrossingId>,
    sequence: i64,
    kind: Kind,
}

/// What an entry may have touched: what a report of this kind touches, and whether all from that report on was added up anew.
#[derive(Clone, Copy)]
struct Touched {
    kind: Kind,
    anew: bool,
}

/// A replay that is being made.
pub(super) struct Making<'a> {
    profile: &'a Profile,
    replay: Replay,
    lines: HashMap<LineId, OfLine<'a>>,
    crossings: HashMap<CrossingId, (u32, LineId)>,
    teams: HashMap<Name, u32>,
    kinds: HashMap<Kind, u32>,
    reports: HashMap<ReportId, Told>,
    positions: usize,
    /// The work that is left to be done at most.
    work: u64,
}

impl<'a> Making<'a> {
    pub(super) fn new(profile: &'a Profile, work: u64) -> Self {
        Self {
            profile,
            replay: Replay::default(),
            lines: HashMap::new(),
            crossings: HashMap::new(),
            teams: HashMap::new(),
            kinds: HashMap::new(),
            reports: HashMap::new(),
            positions: 0,
            work,
        }
    }

    pub(super) fn of(mut self, entries: &'a [Entry]) -> Result<Replay, Error> {
        self.replay.from = entries.first().map(|entry| entry.received_at);
        for entry in entries {
            let (line, crossing) = self.about(&entry.report.body);
            let (sequence, kind) = (entry.sequence, entry.report.body.kind());
            self.reports.insert(entry.report.id, Told { line, crossing, sequence, kind });
            if let Some(line) = line {
                self.play(entry, line)?;
            }
            self.keep_entry(entry, line, crossing);
        }
        Ok(self.replay)
    }

    /// The line and the crossing that a report is about.
    fn about(&self, body: &Body) -> (Option<LineId>, Option<CrossingId>) {
        match body.subject() {
            Subject::Line(line) => (Some(line), None),
            Subject::Crossing(crossing, named) => {
                (named.or_else(|| self.crossings.get(&crossing).map(|(_, line)| *line)), Some(crossing))
            }
            Subject::Report(id) => self.reports.get(&id).map_or((None, None), |of| (of.line, of.crossing)),
            Subject::Operation => (None, None),
        }
    }

    fn play(&mut self, entry: &'a Entry, id: LineId) -> Result<(), Error> {
        let next = u32::try_from(self.replay.lines.len()).unwrap_or(u32::MAX);
        let corrects = match &entry.report.body {
            Body::Correction(correction) => {
                self.reports.get(&correction.corrects).map(|told| (correction, told.sequence, told.kind))
            }
            _ => None,
        };
        let mut of = self.lines.remove(&id).unwrap_or_else(|| OfLine { place: next, ..OfLine::default() });
        of.entries.push(entry);
        let (altered, touched) = if let Some((correction, corrects, kind)) = corrects {
            of.corrected.insert(correction.corrects, correction.instead.as_deref());
            let place = of.place_of(corrects);
            let laid = of.sum.lines.get(&id).map_or(0, |line| line.laid.len() as u64);
            self.spend(of.work_from(place) + laid)?;
            self.replay.corrections.push(ReplayCorrection { sequence: entry.sequence, corrects });
            (of.add_anew(place, self.profile)?, Touched { kind, anew: true })
        } else {
            self.spend(of.work_from(of.before.len()))?;
            (of.add(self.profile)?, Touched { kind: entry.report.body.kind(), anew: false })
        };
        if let Some(line) = of.sum.lines.get(&id) {
            self.keep_line(entry.sequence, of.place, line, touched)?;
        }
        for crossing in altered.iter().filter_map(|id| of.sum.crossings.get(id)) {
            self.keep_crossing(entry.sequence, of.place, crossing);
        }
        self.lines.insert(id, of);
        Ok(())
    }

    /// Takes work off what is left, before it is done.
    fn spend(&mut self, work: u64) -> Result<(), Error> {
        self.work = self.work.checked_sub(work).ok_or(Error::TooMuchWork)?;
        Ok(())
    }

    fn team(&mut self, team: &Name, party: Option<Party>) -> u32 {
        if let Some(&place) = self.teams.get(team) {
            if let Some(known) = self.replay.teams.get_mut(place as usize) {
                known.party = known.party.or(party);
            }
            return place;
        }
        let place = u32::try_from(self.replay.teams.len()).unwrap_or(u32::MAX);
        self.teams.insert(team.clone(), place);
        self.replay.teams.push(ReplayTeam { team: team.clone(), party });
        place
    }

    fn keep_entry(&mut self, entry: &Entry, line: Option<LineId>, crossing: Option<CrossingId>) {
        let kind = entry.report.body.kind();
        let next = u32::try_from(self.replay.kinds.len()).unwrap_or(u32::MAX);
        let kind_place = *self.kinds.entry(kind).or_insert(next);
        if kind_place == next {
            self.replay.kinds.push(kind);
        }
        let maker = entry.maker();
        let team = self.team(&maker.team, Some(maker.party));
        let from = self.replay.from.unwrap_or(entry.received_at);
        let since = |when: DateTime<Utc>| (when - from).num_milliseconds();
        let rows = &mut self.replay.entries;
        rows.sequence.push(entry.sequence);
        rows.received_ms.push(since(entry.received_at));
        rows.happened_ms.push(since(entry.happened_at()));
        rows.kind.push(kind_place);
        rows.line.push(line.and_then(|line| self.lines.get(&line)).map(|of| of.place));
        rows.crossing.push(crossing.and_then(|crossing| self.crossings.get(&crossing)).map(|of| of.0));
        rows.team.push(team);
    }

    fn count(&mut self, positions: usize) -> Result<(), Error> {
        self.positions += positions;
        if self.positions > MOST_POSITIONS { Err(Error::TooManyPositions) } else { Ok(()) }
    }

    fn keep_line(&mut self, sequence: i64, place: u32, line: &Line, touched: Touched) -> Result<(), Error> {
        let team = line.team.as_ref().map(|team| self.team(team, Some(Party::LeadTeam)));
        if place as usize == self.replay.lines.len() {
            self.replay.lines.push(LineReplay {
                line: line.id,
                plans: Vec::new(),
                changes: Vec::new(),
                laid: super::ReplayLaid::default(),
                up: Vec::new(),
            });
        }
        let change = ReplayLineChange {
            sequence,
            state: line.state,
            team,
            trouble: line.proving.trouble().map(|trouble| trouble.stretch),
            silent: line.proving.silent_since.is_some(),
            ordered_up: line.recovery.ordered_up.is_some(),
            reels: line.reels.len(),
            splices: line.splices.len(),
        };
        let Some(kept) = self.replay.lines.get_mut(place as usize) else { return Ok(()) };
        if kept.changes.last().is_none_or(|last| ReplayLineChange { sequence, ..last.clone() } != change) {
            kept.changes.push(change);
        }
        // What a report of its kind does not touch is not looked at.
        let more = match touched.kind {
            Kind::LinePlanned | Kind::PlanIssued => kept.call(sequence, line),
            Kind::TraceExtended => kept.lay(sequence, line, touched.anew),
            Kind::SectionTakenUp | Kind::WireLost => {
                kept.take_up(sequence, line, touched);
                0
            }
            _ => 0,
        };
        self.count(more)
    }

    fn keep_crossing(&mut self, sequence: i64, line: u32, crossing: &Crossing) {
        let in_hand = crossing.in_hand.as_ref().map(|held| self.team(&held.team, None));
        let given_to =
            crossing.given_to.as_ref().map(|given| self.team(&given.team, Some(Party::FollowUpTeam)));
        let next = u32::try_from(self.replay.crossings.len()).unwrap_or(u32::MAX);
        let (place, _) = *self.crossings.entry(crossing.id).or_insert((next, crossing.line));
        if place == next {
            self.replay.crossings.push(CrossingReplay {
                crossing: crossing.id,
                line,
                places: Vec::new(),
                states: super::ReplayStates::default(),
            });
        }
        let Some(kept) = self.replay.crossings.get_mut(place as usize) else { return };
        let there = ReplayPlace {
            sequence,
            position: crossing.position,
            chainage_m: crossing.chainage,
            obstacle: crossing.obstacle,
            construction: crossing.construction,
        };
        if kept.places.last().is_none_or(|last| ReplayPlace { sequence, ..last.clone() } != there) {
            kept.places.push(there);
        }
        let rows = &mut kept.states;
        let (in_traffic, conflicts) = (crossing.wire_in_traffic(), crossing.conflicts.len());
        let same = rows.state.last() == Some(&crossing.state)
            && rows.in_hand.last() == Some(&in_hand)
            && rows.given_to.last() == Some(&given_to)
            && rows.in_traffic.last() == Some(&in_traffic)
            && rows.conflicts.last() == Some(&conflicts);
        if !same {
            rows.sequence.push(sequence);
            rows.state.push(crossing.state);
            rows.in_hand.push(in_hand);
            rows.given_to.push(given_to);
            rows.in_traffic.push(in_traffic);
            rows.conflicts.push(conflicts);
        }
    }
}

impl LineReplay {
    /// Keeps what the line is called and where it shall go, and says how many positions that took.
    fn call(&mut self, sequence: i64, line: &Line) -> usize {
        let plan = ReplayPlan {
            sequence,
            designation: line.designation.clone(),
            from: line.from.clone(),
            to: line.to.clone(),
            plan: line.plan,
            trace: line.planned.clone(),
        };
        if self.plans.last().is_some_and(|last| ReplayPlan { sequence, ..last.clone() } == plan) {
            return 0;
        }
        let more = plan.trace.as_ref().map_or(0, |trace| trace.positions().len());
        self.plans.push(plan);
        more
    }

    /// Keeps where the wire lies now, and says how many positions that took. Added up anew, it may lie elsewhere from its
    /// beginning on; otherwise it has grown at its end.
    fn lay(&mut self, sequence: i64, line: &Line, anew: bool) -> usize {
        let rows = &mut self.laid;
        let begins = rows.begins.last().copied().unwrap_or(0);
        let lay = &rows.positions[begins as usize..];
        let grown = !anew || line.laid.starts_with(lay);
        let (begins, more) = if grown {
            (begins, line.laid.get(lay.len()..).unwrap_or_default())
        } else {
            (u32::try_from(rows.positions.len()).unwrap_or(u32::MAX), line.laid.as_slice())
        };
        if grown && more.is_empty() && rows.length_m.last().copied().unwrap_or_default() == line.laid_length {
            return 0;
        }
        rows.positions.extend_from_slice(more);
        rows.sequence.push(sequence);
        rows.begins.push(begins);
        rows.ends.push(u32::try_from(rows.positions.len()).unwrap_or(u32::MAX));
        rows.length_m.push(line.laid_length);
        more.len()
    }

    /// Keeps what of the line came up or never will.
    fn take_up(&mut self, sequence: i64, line: &Line, touched: Touched) {
        let up = line.recovery.sections.iter().map(|section| (section.from_m, section.to_m, None));
        let gone = line.recovery.not_back.iter().map(|piece| (piece.from_m, piece.to_m, Some(piece.fate)));
        let now: Vec<_> = if touched.anew {
            let mut now: Vec<_> = up.chain(gone).collect();
            for kept in self.up.iter_mut().filter(|kept| kept.until.is_none()) {
                match now.iter().position(|piece| *piece == (kept.from_m, kept.to_m, kept.fate)) {
                    Some(same) => {
                        now.swap_remove(same);
                    }
                    None => kept.until = Some(sequence),
                }
            }
            now
        } else if touched.kind == Kind::WireLost {
            gone.rev().take(1).collect()
        } else {
            up.rev().take(1).collect()
        };
        let new = now.into_iter().map(|(from_m, to_m, fate)| ReplayPiece {
            sequence,
            until: None,
            from_m,
            to_m,
            fate,
        });
        self.up.extend(new);
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::replay::MOST_WORK;

    #[test]
    fn a_log_that_is_corrected_without_end_is_refused_before_it_is_folded_so_often() {
        let entry = |sequence: i64, body: &str| -> Entry {
            let text = format!(
                r#"{{"sequence":{sequence},"by":{{"party":"command_post","team":"Kestrel"}},
                "received_at":"2026-05-04T08:00:00Z","report":{{"id":"01920000-0000-7000-8000-{sequence:012}",
                "at":"2026-05-04T08:00:00Z","body":{body}}}}}"#
            );
            serde_json::from_str(&text).unwrap()
        };
        let line = "01920000-0000-7000-8000-00000000000c";
        let planned = format!(
            r#"{{"kind":"line_planned","line":"{line}","designation":"12","from":"Post","to":"Mill"}}"#
        );
        let note = format!(r#"{{"kind":"note","line":"{line}","text":"wet"}}"#);
        let right =
            r#"{"kind":"correction","corrects":"01920000-0000-7000-8000-000000000002","because":"dry"}"#;
        let log = [entry(1, &planned), entry(2, &note), entry(3, right), entry(4, right)];
        // One step, one step; two for the first correction, which is a step itself, and three for the second.
        let of = |work: u64| Making::new(Profile::field(), work).of(&log);
        assert_eq!(of(7 * STEP - 1), Err(Error::TooMuchWork));
        assert!(of(7 * STEP).is_ok_and(|replay| replay.corrections.len() == 2));
        assert_eq!(of(MOST_WORK), of(7 * STEP));
    }
}
