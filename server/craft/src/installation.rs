//! An installation: what the wire log adds up to. Here is decided whether a report may stand and what is after it;
//! the same function serves the service as reports come in, the rebuild of the state from the log, and whoever reads
//! the log afterwards. It never reads a clock: every time comes with the entry.

mod crossings;
mod proving;
mod recovery;

use std::collections::{BTreeMap, HashMap};

use chrono::{DateTime, Utc};

use crate::{
    construction::Construction,
    crossing::{Crossing, CrossingState, InHand},
    duty::Act,
    geodesy::{self, Position},
    guide::{self, Choice, Item},
    ids::{CrossingId, LineId, ReportId},
    line::{CallBack, Line, LineState, Reel, Splice},
    obstacle::Obstacle,
    party::{Party, Sender},
    profile::Profile,
    proving::{ProofLost, ProofLostBy},
    refusal::Refusal,
    report::{
        Body, CallBackGood, Correction, CrossingFinished, CrossingGivenBack, CrossingGivenOut,
        CrossingMarked, CrossingPassed, CrossingStruckOut, Entry, Kind, LinePlanned, MOST_POSITIONS_A_REPORT,
        Note, PlanIssued, ReelStarted, SpliceMade, TraceExtended,
    },
    text::Name,
    trace::Laid,
    units::Metres,
};

pub use crossings::Crossings;
use crossings::is_open;

/// A crossing farther than this from its line is a slip of the finger.
const FAR_FROM_LINE: Metres = Metres::from_const(5_000.0);
/// A step in the laid trace longer than this is a wrong position.
const LEAP: Metres = Metres::from_const(5_000.0);
/// A splice may be said this far beyond the laid trace, which the device may not have sent yet.
const AHEAD_OF_TRACE: Metres = Metres::from_const(200.0);
/// Good calls kept on the line itself; the log has them all.
const CALLS_KEPT: usize = 200;

/// Lines and crossings as they stand: all of an operation, or one line with its crossings.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Installation {
    /// The lines.
    pub lines: BTreeMap<LineId, Line>,
    /// The crossings.
    pub crossings: Crossings,
}

/// What an entry changes: each line and crossing as it is afterwards.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Change {
    /// Lines after the entry.
    pub lines: Vec<Line>,
    /// Crossings after the entry.
    pub crossings: Vec<Crossing>,
}

/// What an entry does, as the rules have it: of its line only what becomes of it, so that whoever adds up a log alters the
/// line where it stands and copies nothing of it.
#[derive(Default)]
pub(crate) struct Step {
    of_line: Option<OfLine>,
    crossings: Vec<Crossing>,
}

struct OfLine {
    line: LineId,
    deed: Deed,
    /// Whether a crossing on it is open afterwards.
    unfinished: bool,
}

/// What becomes of a line, beside what follows from its crossings.
enum Deed {
    Nothing,
    Becomes(Box<Line>),
    Lengthens { more: Vec<Position>, length: Metres },
}

/// What stood before an entry was added: with it the entry is taken back.
#[derive(Default)]
pub(crate) struct Before {
    /// The line, how many positions were laid of it, and the rest.
    line: Option<(LineId, usize, LineBefore)>,
    /// The crossings that the entry altered; none for one that it told of first.
    pub(crate) crossings: Vec<(CrossingId, Option<Crossing>)>,
}

enum LineBefore {
    NotThere,
    /// The line without what is laid, which only grows.
    Whole(Box<Line>),
    Standing(Standing),
}

/// What an entry may alter of a line that does not become another.
struct Standing {
    length: Metres,
    state: LineState,
    proved_at: Option<DateTime<Utc>>,
    handed_over_at: Option<DateTime<Utc>>,
    handed_over_to: Option<Name>,
    tags: Vec<Name>,
    proof_lost: Option<ProofLost>,
}

impl Standing {
    fn of(line: &Line) -> Self {
        Self {
            length: line.laid_length,
            state: line.state,
            proved_at: line.proved_at,
            handed_over_at: line.handed_over_at,
            handed_over_to: line.handed_over_to.clone(),
            tags: line.proving.tags.clone(),
            proof_lost: line.proving.proof_lost.clone(),
        }
    }

    fn back_to(self, line: &mut Line) {
        line.laid_length = self.length;
        line.state = self.state;
        line.proved_at = self.proved_at;
        line.handed_over_at = self.handed_over_at;
        line.handed_over_to = self.handed_over_to;
        line.proving.tags = self.tags;
        line.proving.proof_lost = self.proof_lost;
    }
}

/// What the log says instead of the reports that are corrected; none for one that is withdrawn.
pub(crate) type Corrected<'a> = HashMap<ReportId, Option<&'a Body>>;

/// An entry that cannot stand where the log has it.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
#[error("entry {sequence} ({}) cannot stand: {refusal}", kind.words())]
pub struct Broken {
    /// Its number.
    pub sequence: i64,
    /// What it is about.
    pub kind: Kind,
    /// The rule that it breaks.
    pub refusal: Refusal,
}

impl Installation {
    /// Adds a log up. A corrected entry counts as its last correction says, at its own place in the order.
    ///
    /// # Errors
    /// When an entry breaks a rule at its place.
    pub fn fold(entries: &[Entry], profile: &Profile) -> Result<Self, Broken> {
        let corrections = entries.iter().filter_map(|entry| match &entry.report.body {
            Body::Correction(correction) => Some((correction.corrects, correction.instead.as_deref())),
            _ => None,
        });
        let corrected: Corrected<'_> = corrections.collect();
        let mut sum = Self::default();
        for entry in entries {
            sum.add(entry, &corrected, profile)?;
        }
        Ok(sum)
    }

    /// Adds one entry as the corrections have it, and gives what stood before.
    pub(crate) fn add(
        &mut self,
        entry: &Entry,
        corrected: &Corrected<'_>,
        profile: &Profile,
    ) -> Result<Before, Broken> {
        let body = match corrected.get(&entry.report.id) {
            Some(None) => return Ok(Before::default()),
            Some(Some(instead)) => instead,
            None => &entry.report.body,
        };
        let broken = |refusal| Broken { sequence: entry.sequence, kind: body.kind(), refusal };
        Ok(self.take(self.after(entry, body, profile).map_err(broken)?))
    }

    /// Whether the entry may stand, and what is after it. `history` is what the log holds of the line that a correction
    /// speaks of; for any other report it is not looked at.
    ///
    /// # Errors
    /// The rule that refuses it.
    pub fn decide(&self, entry: &Entry, history: &[Entry], profile: &Profile) -> Result<Change, Refusal> {
        let kind = entry.report.body.kind();
        let maker = entry.maker();
        if *maker != entry.by && entry.by.party != Party::CommandPost {
            return Err(Refusal::NotInYourName { team: maker.team.clone() });
        }
        if !maker.party.may(Act::Report(kind)) {
            return Err(Refusal::NotYours { party: maker.party, report: kind });
        }
        match &entry.report.body {
            Body::Correction(correction) => self.after_correction(entry, correction, history, profile),
            body => self.after(entry, body, profile).map(|step| self.change_by(step)),
        }
    }

    /// Takes a change over.
    pub fn adopt(&mut self, change: Change) {
        self.lines.extend(change.lines.into_iter().map(|line| (line.id, line)));
        self.crossings.extend(change.crossings.into_iter().map(|crossing| (crossing.id, crossing)));
    }

    /// Does what an entry does, and gives what stood before.
    fn take(&mut self, step: Step) -> Before {
        let crossings = step.crossings.into_iter();
        let crossings = crossings.map(|crossing| (crossing.id, self.crossings.insert(crossing))).collect();
        let Some(OfLine { line: id, deed, unfinished }) = step.of_line else {
            return Before { line: None, crossings };
        };
        let laid = self.lines.get(&id).map_or(0, |line| line.laid.len());
        let standing = |line: &mut Line| LineBefore::Standing(Standing::of(line));
        let before = match deed {
            Deed::Becomes(line) => self.lines.insert(id, *line).map(|was| {
                // Nobody else holds what is laid any more, so that it grows where it stands.
                LineBefore::Whole(Box::new(Line { laid: Laid::default(), ..was }))
            }),
            Deed::Nothing => self.lines.get_mut(&id).map(standing),
            Deed::Lengthens { more, length } => self.lines.get_mut(&id).map(|line| {
                let before = standing(line);
                line.laid.lay_on(&more);
                line.laid_length = length;
                before
            }),
        };
        if let Some(line) = self.lines.get_mut(&id) {
            settle(line, unfinished);
        }
        let before = before.unwrap_or(LineBefore::NotThere);
        Before { line: Some((id, laid, before)), crossings }
    }

    /// Takes the last entry back that was added and not taken back yet.
    pub(crate) fn take_back(&mut self, before: Before) {
        for (id, was) in before.crossings {
            match was {
                Some(was) => {
                    self.crossings.insert(was);
                }
                None => self.crossings.remove(id),
            }
        }
        let Some((id, laid, before)) = before.line else { return };
        if let LineBefore::NotThere = before {
            self.lines.remove(&id);
        } else if let Some(line) = self.lines.get_mut(&id) {
            line.laid.shorten(laid);
            match before {
                LineBefore::Whole(was) => {
                    let laid = std::mem::take(&mut line.laid);
                    *line = Line { laid, ..*was };
                }
                LineBefore::Standing(was) => was.back_to(line),
                LineBefore::NotThere => {}
            }
        }
    }

    /// What changes when an entry does this: the line only where anything of it is other than before.
    fn change_by(&self, step: Step) -> Change {
        let line = step.of_line.as_ref().and_then(|of| self.lines.get(&of.line));
        let mut alone = Self::default();
        alone.lines.extend(line.map(|line| (line.id, line.clone())));
        alone.take(step);
        let lines = alone.lines.into_values().filter(|line| self.lines.get(&line.id) != Some(line));
        Change { lines: lines.collect(), crossings: alone.crossings.into_map().into_values().collect() }
    }

    /// What the entry does, if this is what it says.
    fn after(&self, entry: &Entry, body: &Body, profile: &Profile) -> Result<Step, Refusal> {
        let when = entry.happened_at();
        let stood = entry.report.position;
        let by = entry.maker();
        match body {
            Body::LinePlanned(b) => self.line_planned(b),
            Body::LineStarted(b) => self.line_started(b.line, by, when),
            Body::TraceExtended(b) => self.trace_extended(b, when),
            Body::ReelStarted(b) => self.reel_started(b, when, profile),
            Body::SpliceMade(b) => self.splice_made(b, stood, when, profile),
            Body::CrossingForeseen(b) => self.crossing_foreseen(b, when, profile),
            Body::CrossingMarked(b) => self.crossing_marked(b, entry, profile),
            Body::CrossingPassed(b) => self.crossing_passed(b, entry, profile),
            Body::CrossingGivenOut(b) => self.crossing_given_out(b),
            Body::CrossingTaken(b) => self.crossing_taken(b.crossing, by, when),
            Body::CrossingGivenBack(b) => self.crossing_given_back(b, by),
            Body::CrossingFinished(b) => self.crossing_finished(b, entry, profile),
            Body::CrossingProved(b) => self.crossing_proved(b.crossing, when),
            Body::CrossingStruckOut(b) => self.crossing_struck_out(b, entry),
            Body::CallBackGood(b) => self.call_back_good(b, stood, by, when),
            Body::LineProved(b) => self.line_proved(b, by, when, profile),
            Body::LineHandedOver(b) => self.line_handed_over(b, when),
            Body::PlanIssued(b) => self.plan_issued(b, profile),
            Body::TestMade(b) => self.test_made(b, stood, by, when),
            Body::WatchSet(b) => self.watch_set(b, by, when),
            Body::TroubleReported(b) => self.trouble_reported(b, by, when),
            Body::TroubleNarrowed(b) => self.trouble_narrowed(b, by, when, profile),
            Body::TroubleCleared(b) => self.trouble_cleared(b, by, when),
            Body::LineOrderedUp(b) => self.line_ordered_up(b, when),
            Body::SectionTakenUp(b) => self.section_taken_up(b, by, when),
            Body::CrossingMadeGood(b) => self.crossing_made_good(b, by, when),
            Body::WireLost(b) => self.wire_lost(b, by, when),
            Body::ReelReturned(b) => self.reel_returned(b, when),
            Body::Note(b) => self.note(b, entry),
            Body::Correction(_) => Ok(Step::default()),
        }
    }

    // ── lines ────────────────────────────────────────────────────────────────────────────────────────────────────

    fn line(&self, id: LineId) -> Result<&Line, Refusal> {
        self.lines.get(&id).ok_or(Refusal::NoSuchLine)
    }

    /// The line, which has to have been started and not to be closed. What happened before it was proved and is told of
    /// late lay in the ground when it was proved: that is added.
    fn line_under_way(&self, id: LineId, when: DateTime<Utc>) -> Result<&Line, Refusal> {
        let line = self.line(id)?;
        if line.recovery.ordered_up.as_ref().is_some_and(|order| order.at <= when) {
            return Err(wants(line, "it is ordered up, and nothing is added to it any more"));
        }
        match line.state {
            LineState::Planned => Err(wants(line, "start it first")),
            LineState::Proved | LineState::HandedOver if !before_it_was_proved(line, when) => {
                Err(wants(line, "nothing is added to it any more; mark a crossing to open it again"))
            }
            _ => Ok(line),
        }
    }

    fn line_planned(&self, b: &LinePlanned) -> Result<Step, Refusal> {
        if self.lines.contains_key(&b.line) {
            return Err(Refusal::IdInUse);
        }
        self.number_is_free(b)?;
        let line = Line::drawn(b.line, b.designation.clone(), b.from.clone(), b.to.clone(), b.trace.clone());
        Ok(self.settled(line, Vec::new()))
    }

    fn number_is_free(&self, b: &LinePlanned) -> Result<(), Refusal> {
        if self.lines.values().any(|l| l.id != b.line && l.designation == b.designation) {
            return Err(Refusal::DesignationInUse { designation: b.designation.clone() });
        }
        Ok(())
    }

    /// The line's trace is the plan's from now on. What lies counts where it lies; what nobody has come to yet is measured
    /// along the new plan.
    fn plan_issued(&self, b: &PlanIssued, profile: &Profile) -> Result<Step, Refusal> {
        let mut line = self.line(b.line)?.clone();
        if line.through_at.is_some() {
            return Err(wants(&line, "a plan is issued before it is through"));
        }
        line.planned = Some(b.trace.clone());
        line.plan = Some(b.plan);
        let ahead = self.crossings.of_line(line.id).filter(|c| c.passed_at.is_none());
        let moved = ahead.filter_map(|c| {
            let chainage = line.chainage(c.position);
            (chainage != c.chainage).then(|| Crossing { chainage, ..c.clone() })
        });
        let moved: Vec<Crossing> = moved.collect();
        for crossing in &moved {
            self.span_is_unbroken(crossing, profile)?;
        }
        Ok(self.settled(line, moved))
    }

    fn line_started(&self, id: LineId, by: &Sender, when: DateTime<Utc>) -> Result<Step, Refusal> {
        let mut line = self.line(id)?.clone();
        if line.started_at.is_some() {
            let other = line.team.as_ref().filter(|team| **team != by.team);
            return Err(match other {
                Some(team) => wants(
                    &line,
                    &format!(
                        "{team} started it, and a line is started only once; what else you report on it counts"
                    ),
                ),
                None => wants(&line, "it is started only once"),
            });
        }
        line.started_at = Some(when);
        line.team = Some(by.team.clone());
        Ok(self.settled(line, Vec::new()))
    }

    fn trace_extended(&self, b: &TraceExtended, when: DateTime<Utc>) -> Result<Step, Refusal> {
        let line = self.line_under_way(b.line, when)?;
        if b.positions.is_empty() || b.positions.len() > MOST_POSITIONS_A_REPORT {
            return Err(Refusal::TraceNotTaken {
                what: format!(
                    "A trace report holds 1 to {MOST_POSITIONS_A_REPORT} positions and this one {}: send it in parts.",
                    b.positions.len()
                ),
            });
        }
        let (mut head, mut length) = (line.laid.last().copied(), line.laid_length);
        let mut more = Vec::with_capacity(b.positions.len());
        for &position in &b.positions {
            if head == Some(position) {
                continue;
            }
            if let Some(head) = head {
                let step = geodesy::distance(head, position);
                if step > LEAP {
                    return Err(Refusal::TraceLeaps { distance_m: step, most_m: LEAP });
                }
                length = length + step;
            }
            more.push(position);
            head = Some(position);
        }
        let positions = line.laid.len() + more.len();
        if positions > crate::trace::MOST_POSITIONS {
            return Err(Refusal::TraceNotTaken {
                what: format!(
                    "The laid trace would have {positions} positions, more than {}: send fewer, farther apart.",
                    crate::trace::MOST_POSITIONS
                ),
            });
        }
        Ok(self.step(line.id, Deed::Lengthens { more, length }, Vec::new()))
    }

    fn reel_started(&self, b: &ReelStarted, when: DateTime<Utc>, profile: &Profile) -> Result<Step, Refusal> {
        let mut line = self.line_under_way(b.line, when)?.clone();
        in_range("A reel", b.length_m, 10.0, 10_000.0)?;
        if line.reels.iter().any(|reel| reel.id == b.reel) {
            return Err(Refusal::IdInUse);
        }
        let joint = line.laid_length;
        if !line.reels.is_empty() {
            self.joint_may_fall(line.id, joint, profile)?;
        }
        line.reels.push(Reel {
            id: b.reel,
            label: b.label.clone(),
            length_m: b.length_m,
            from_chainage_m: joint,
        });
        Ok(self.settled(line, Vec::new()))
    }

    fn splice_made(
        &self,
        b: &SpliceMade,
        stood: Option<Position>,
        when: DateTime<Utc>,
        profile: &Profile,
    ) -> Result<Step, Refusal> {
        let mut line = self.line_under_way(b.line, when)?.clone();
        let chainage = said_or_stood(&line, b.chainage_m, stood)?;
        self.joint_may_fall(line.id, chainage, profile)?;
        line.splices.push(Splice { chainage_m: chainage, at: when });
        Ok(self.settled(line, Vec::new()))
    }

    fn call_back_good(
        &self,
        b: &CallBackGood,
        stood: Option<Position>,
        by: &Sender,
        when: DateTime<Utc>,
    ) -> Result<Step, Refusal> {
        let mut line = self.line(b.line)?.clone();
        let chainage =
            if b.from_far_end { line.laid_length } else { said_or_stood(&line, b.chainage_m, stood)? };
        self.called(&mut line, b.from_far_end, chainage, by, when)?;
        Ok(self.settled(line, Vec::new()))
    }

    /// A good call over the line: from the far end it is through.
    fn called(
        &self,
        line: &mut Line,
        from_far_end: bool,
        chainage: Metres,
        by: &Sender,
        when: DateTime<Utc>,
    ) -> Result<(), Refusal> {
        if line.started_at.is_none() {
            return Err(wants(line, "start it first"));
        }
        if from_far_end && line.through_at.is_none() {
            // A crossing that is only foreseen is one that nobody has looked at: wire may lie across it.
            let open = self.crossings.of_line(line.id).filter(|c| c.passed_at.is_none() && is_open(c));
            let not_passed: Vec<Metres> = open.map(|c| c.chainage).collect();
            if let Some(first) = not_passed.iter().copied().reduce(Metres::min) {
                return Err(Refusal::NotPassed {
                    designation: line.designation.clone(),
                    count: not_passed.len(),
                    first_chainage_m: first,
                });
            }
            if line.laid.is_empty() {
                return Err(wants(
                    line,
                    "no wire is reported on it; report where it lies, and then the call from the far end",
                ));
            }
            line.through_at = Some(when);
        }
        if from_far_end {
            line.proving.speaks(when);
        }
        line.call_backs.push(CallBack { at: when, chainage_m: chainage, team: by.team.clone() });
        let over = line.call_backs.len().saturating_sub(CALLS_KEPT);
        line.call_backs.drain(..over);
        Ok(())
    }

    fn note(&self, b: &Note, entry: &Entry) -> Result<Step, Refusal> {
        // The log has every number below its own.
        if b.about.is_some_and(|about| !(1..entry.sequence).contains(&about)) {
            return Err(Refusal::NoSuchReport);
        }
        if b.line.is_some_and(|line| !self.lines.contains_key(&line)) {
            return Err(Refusal::NoSuchLine);
        }
        if let Some(id) = b.crossing {
            let crossing = self.crossing(id)?;
            // Filed under one line, it could not be read with the history of the other.
            if b.line.is_some_and(|line| line != crossing.line) {
                return Err(Refusal::NoSuchCrossing);
            }
        }
        Ok(Step::default())
    }

    // ── crossings ────────────────────────────────────────────────────────────────────────────────────────────────

    fn crossing(&self, id: CrossingId) -> Result<Crossing, Refusal> {
        self.crossings.get(&id).cloned().ok_or(Refusal::NoSuchCrossing)
    }

    fn crossing_foreseen(
        &self,
        b: &CrossingMarked,
        when: DateTime<Utc>,
        p: &Profile,
    ) -> Result<Step, Refusal> {
        let mut crossing = self.named(b, CrossingState::Foreseen, when, p)?;
        match self.crossings.get(&b.crossing) {
            None => {}
            // Nobody has come there yet, or another plan struck it out before they did: the last plan counts.
            Some(old)
                if old.line == b.line
                    && old.passed_at.is_none()
                    && matches!(old.state, CrossingState::Foreseen | CrossingState::StruckOut) =>
            {
                crossing.opened_at = old.opened_at;
                crossing.conflicts.clone_from(&old.conflicts);
            }
            Some(_) => return Err(Refusal::IdInUse),
        }
        self.change(crossing)
    }

    fn crossing_marked(&self, b: &CrossingMarked, entry: &Entry, p: &Profile) -> Result<Step, Refusal> {
        let (by, when) = (entry.maker(), entry.happened_at());
        let line = self.line(b.line)?;
        // A crossing that was marked before the line was proved was not proved with it: told of late, it opens the line.
        let closed = matches!(line.state, LineState::Proved | LineState::HandedOver)
            && !before_it_was_proved(line, when);
        if closed && by.party != Party::CommandPost {
            return Err(wants(
                line,
                "tell the command post what is to be crossed, which may open the line again",
            ));
        }
        if line.started_at.is_none() {
            return Err(wants(line, "start it first, then mark what it meets"));
        }
        if line.state == LineState::Recovered {
            return Err(wants(line, "no wire lies there any more"));
        }
        if b.construction.is_none() {
            return Err(Refusal::ConstructionNeeded { obstacle: b.obstacle });
        }
        match self.crossings.get(&b.crossing) {
            None => {}
            Some(old) if old.line != b.line => return Err(Refusal::IdInUse),
            Some(old) if matches!(old.state, CrossingState::Foreseen | CrossingState::StruckOut) => {}
            Some(old) => {
                return Err(has_to_be(old, "it is marked only once; correct the report to change it"));
            }
        }
        let mut crossing = self.named(b, CrossingState::Marked, when, p)?;
        if let Some(old) = self.crossings.get(&b.crossing).filter(|old| old.construction == b.construction) {
            // Built as it was planned, it is built so for the plan's reason.
            crossing.because = crossing.because.or_else(|| old.because.clone());
        }
        if let Some(old) = self.crossings.get(&b.crossing).filter(|old| old.state == CrossingState::StruckOut)
        {
            // Whoever stands before it knows best: it is one after all.
            let mut old = old.clone();
            old.contradicted(Kind::CrossingMarked, entry);
            crossing.conflicts = old.conflicts;
        }
        self.change(crossing)
    }

    /// A crossing as a report names it, checked against the rules of the place.
    fn named(
        &self,
        b: &CrossingMarked,
        state: CrossingState,
        when: DateTime<Utc>,
        profile: &Profile,
    ) -> Result<Crossing, Refusal> {
        let line = self.line(b.line)?;
        let hard_surface = b.hard_surface.unwrap_or(b.obstacle.usually_hard());
        if let Some(construction) = b.construction {
            guide::check(b.obstacle, hard_surface, construction)?;
        }
        if let Some(span) = b.span_m {
            in_range("A span", span, 1.0, 500.0)?;
        }
        high_enough(b.obstacle, b.construction, b.clearance_m, profile)?;
        let beside = line.beside(b.position);
        if let Some(away) = beside.offset.filter(|&away| away > FAR_FROM_LINE) {
            return Err(Refusal::FarFromLine { distance_m: away, most_m: FAR_FROM_LINE });
        }
        let place = (b.position, beside.chainage);
        let crossing = Crossing {
            state,
            clearance: b.clearance_m,
            span: b.span_m,
            because: b.because.clone(),
            ..Crossing::foreseen(b.crossing, b.line, place, b.obstacle, hard_surface, b.construction, when)
        };
        self.span_is_unbroken(&crossing, profile)?;
        Ok(crossing)
    }

    fn crossing_passed(&self, b: &CrossingPassed, entry: &Entry, p: &Profile) -> Result<Step, Refusal> {
        let before = self.crossing(b.crossing)?;
        if before.state == CrossingState::Foreseen {
            return Err(has_to_be(&before, "mark it first: say what it is and how it is crossed"));
        }
        let mut crossing = before.clone();
        let construction =
            crossing.construction.ok_or(Refusal::ConstructionNeeded { obstacle: crossing.obstacle })?;
        high_enough(crossing.obstacle, Some(construction), b.clearance_m, p)?;
        let list = list_for(crossing.obstacle, crossing.hard_surface, construction, p, |choice| choice.lead);
        crossing.left_undone =
            left_undone(&list, &b.done)?.into_iter().map(|item| item.id.to_owned()).collect();
        crossing.clearance = b.clearance_m.or(crossing.clearance);
        // Wire that was not lifted over lies on the road, whatever was ticked.
        crossing.clear_of_traffic = b.clear_of_traffic && !crossing.left_undone.iter().any(|id| id == "lift");
        crossing.passed_at = Some(entry.happened_at());
        match before.state {
            CrossingState::Marked => crossing.state = CrossingState::Passed,
            CrossingState::InHand if before.passed_at.is_none() => {}
            CrossingState::StruckOut => {
                // Wire lies where another saw nothing to cross: the danger counts.
                crossing.contradicted(Kind::CrossingPassed, entry);
                crossing.state = CrossingState::Passed;
                crossing.struck_out_because = None;
                self.span_is_unbroken(&crossing, p)?;
            }
            _ => {
                // Got over twice: the first stays, and the worse of the two is what the next team has to reckon with.
                let clear_of_traffic = before.clear_of_traffic && crossing.clear_of_traffic;
                crossing = Crossing { clear_of_traffic, ..before };
                crossing.contradicted(Kind::CrossingPassed, entry);
            }
        }
        self.change(crossing)
    }

    fn crossing_given_out(&self, b: &CrossingGivenOut) -> Result<Step, Refusal> {
        let mut crossing = self.crossing(b.crossing)?;
        if !crossing.state.is_unfinished() {
            return Err(has_to_be(&crossing, "only what is marked and not finished is given out"));
        }
        crossing.given_to.clone_from(&b.to);
        self.change(crossing)
    }

    fn crossing_taken(&self, id: CrossingId, by: &Sender, when: DateTime<Utc>) -> Result<Step, Refusal> {
        let mut crossing = self.crossing(id)?;
        match (crossing.state, &crossing.in_hand) {
            (_, Some(held)) => return Err(Refusal::InHandOf { team: held.team.clone(), since: held.since }),
            (CrossingState::Marked | CrossingState::Passed, None) => {}
            (CrossingState::Foreseen, None) => {
                return Err(has_to_be(&crossing, "the lead team has not come to it yet"));
            }
            _ => return Err(has_to_be(&crossing, "there is nothing left to do")),
        }
        crossing.state = CrossingState::InHand;
        crossing.in_hand = Some(InHand { team: by.team.clone(), since: when });
        self.change(crossing)
    }

    fn crossing_given_back(&self, b: &CrossingGivenBack, by: &Sender) -> Result<Step, Refusal> {
        let mut crossing = self.crossing(b.crossing)?;
        if crossing.in_hand.is_none() {
            return Err(Refusal::NotInHand);
        }
        not_of_another_team(&crossing, by)?;
        crossing.in_hand = None;
        crossing.state = match (crossing.finished_at, crossing.passed_at) {
            // Another team said so meanwhile, and whoever had it in hand has looked.
            (Some(_), _) => CrossingState::Finished,
            (None, Some(_)) => CrossingState::Passed,
            (None, None) => CrossingState::Marked,
        };
        self.change(crossing)
    }

    fn crossing_finished(
        &self,
        b: &CrossingFinished,
        entry: &Entry,
        profile: &Profile,
    ) -> Result<Step, Refusal> {
        let (by, when) = (entry.maker(), entry.happened_at());
        let before = self.crossing(b.crossing)?;
        if matches!(before.state, CrossingState::Marked | CrossingState::Foreseen) {
            return Err(has_to_be(&before, "the wire has to be over before it can be finished"));
        }
        if before.passed_at.is_none() {
            return Err(has_to_be(&before, "the lead team has not reported the wire over yet"));
        }
        let mut crossing = before.clone();
        if before.state == CrossingState::StruckOut {
            // It was built, so that it is one.
            crossing.contradicted(Kind::CrossingFinished, entry);
            crossing.state = CrossingState::Passed;
            crossing.struck_out_because = None;
        }
        let obstacle = crossing.obstacle;
        let marked = crossing.construction;
        let construction = b.construction.or(marked).ok_or(Refusal::ConstructionNeeded { obstacle })?;
        guide::check(obstacle, crossing.hard_surface, construction)?;
        if construction == Construction::Ladder {
            return Err(Refusal::LadderIsTemporary);
        }
        // What was measured on trees says nothing of what hangs on poles.
        let measured = crossing.clearance.filter(|_| marked == Some(construction));
        crossing.construction = Some(construction);
        crossing.clearance = b.clearance_m.or(measured);
        crossing.depth = b.depth_m;
        if construction.is_overhead() && crossing.clearance.is_none() {
            return Err(Refusal::HeightNeeded { obstacle, least_m: least_height(obstacle, profile) });
        }
        high_enough(obstacle, Some(construction), crossing.clearance, profile)?;
        if construction == Construction::Buried {
            let least_m = profile.burial.depth.value;
            let given_m = crossing.depth.ok_or(Refusal::DepthNeeded { least_m })?;
            in_range("A depth", given_m, 0.0, 5.0)?;
            if given_m < least_m {
                return Err(Refusal::TooShallow { given_m, least_m });
            }
        }
        let list = list_for(obstacle, crossing.hard_surface, construction, profile, |choice| choice.finish);
        let left = left_undone(&list, &b.done)?;
        if !left.is_empty() {
            return Err(Refusal::ListNotDone {
                missing: left.iter().map(|item| item.id.to_owned()).collect(),
                texts: left.iter().map(|item| item.text.clone()).collect(),
            });
        }
        self.span_is_unbroken(&crossing, profile)?;
        crossing.finished_at = Some(when);
        crossing.finished_by = Some(by.team.clone());
        match before.state {
            CrossingState::InHand if not_of_another_team(&before, by).is_err() => {
                // Whoever has it in hand looks, and has the last word: it stays with them until they finish it or give it
                // back.
                crossing.contradicted(Kind::CrossingFinished, entry);
            }
            CrossingState::Finished | CrossingState::Proved => {
                // Finished twice: what was done there last is what is there now.
                if before.finished_at.is_some_and(|first| when < first) {
                    crossing = before;
                }
                crossing.contradicted(Kind::CrossingFinished, entry);
                if crossing.proved_at.is_some_and(|proved| proved < when) {
                    crossing.state = CrossingState::Finished;
                    crossing.proved_at = None;
                }
            }
            _ => {
                crossing.state = CrossingState::Finished;
                crossing.in_hand = None;
            }
        }
        self.change(crossing)
    }

    fn crossing_proved(&self, id: CrossingId, when: DateTime<Utc>) -> Result<Step, Refusal> {
        let mut crossing = self.crossing(id)?;
        if crossing.state != CrossingState::Finished {
            return Err(has_to_be(&crossing, "it is proved after it is finished"));
        }
        crossing.state = CrossingState::Proved;
        crossing.proved_at = Some(when);
        self.change(crossing)
    }

    fn crossing_struck_out(&self, b: &CrossingStruckOut, entry: &Entry) -> Result<Step, Refusal> {
        let (by, when) = (entry.maker(), entry.happened_at());
        let mut crossing = self.crossing(b.crossing)?;
        // Said before the wire came over, it cannot speak of that wire.
        let overtaken = [crossing.passed_at, crossing.finished_at].iter().flatten().any(|&then| when < then);
        match crossing.state {
            CrossingState::Finished | CrossingState::Proved if !overtaken => {
                return Err(has_to_be(
                    &crossing,
                    "what is built is not struck out; correct the report instead",
                ));
            }
            CrossingState::StruckOut => {
                return Err(has_to_be(&crossing, "there is nothing left to strike out"));
            }
            _ => {}
        }
        // Wire that lies is struck out only by the team that lays the line or by the command post, and what another team
        // has in hand by that team: from anybody else it is a word to those, and the wire still counts.
        let laid_by_others = crossing.passed_at.is_some()
            && self.line(crossing.line)?.team.as_ref().is_some_and(|team| *team != by.team);
        let not_theirs = by.party != Party::CommandPost && laid_by_others && crossing.in_hand.is_none();
        if overtaken || not_theirs || not_of_another_team(&crossing, by).is_err() {
            crossing.contradicted(Kind::CrossingStruckOut, entry);
            return self.change(crossing);
        }
        crossing.state = CrossingState::StruckOut;
        crossing.in_hand = None;
        crossing.finished_at = None;
        crossing.finished_by = None;
        crossing.struck_out_because = Some(b.because.clone());
        self.change(crossing)
    }

    /// A joint in the wire may not fall inside a span over a stream.
    fn joint_may_fall(&self, line: LineId, chainage: Metres, profile: &Profile) -> Result<(), Refusal> {
        let mut spans = self.crossings.of_line(line).filter_map(|c| c.unbroken(profile));
        match spans.find(|span| span.holds(chainage)) {
            Some(span) => {
                Err(Refusal::SpliceInSpan { chainage_m: chainage, from_m: span.from, to_m: span.to })
            }
            None => Ok(()),
        }
    }

    /// The same rule, when the span is named after the joint was made.
    fn span_is_unbroken(&self, crossing: &Crossing, profile: &Profile) -> Result<(), Refusal> {
        let (Some(span), Some(line)) = (crossing.unbroken(profile), self.lines.get(&crossing.line)) else {
            return Ok(());
        };
        match line.joints().find(|&joint| span.holds(joint)) {
            Some(joint) => Err(Refusal::SpliceInSpan { chainage_m: joint, from_m: span.from, to_m: span.to }),
            None => Ok(()),
        }
    }

    // ── what follows ─────────────────────────────────────────────────────────────────────────────────────────────

    fn change(&self, mut crossing: Crossing) -> Result<Step, Refusal> {
        let line = self.line(crossing.line)?.id;
        if !crossing.state.is_unfinished() {
            crossing.given_to = None;
        }
        Ok(self.step(line, Deed::Nothing, vec![crossing]))
    }

    fn settled(&self, line: Line, crossings: Vec<Crossing>) -> Step {
        self.step(line.id, Deed::Becomes(Box::new(line)), crossings)
    }

    /// The step, with what its crossings make of the line: those that stay as they are, and those that it alters.
    fn step(&self, line: LineId, deed: Deed, crossings: Vec<Crossing>) -> Step {
        let before = crossings.iter().filter_map(|now| self.crossings.get(&now.id));
        let open_before = before.filter(|c| c.line == line && is_open(c)).count();
        let unfinished = crossings.iter().any(is_open) || self.crossings.open_on(line) > open_before;
        Step { of_line: Some(OfLine { line, deed, unfinished }), crossings }
    }

    // ── corrections ──────────────────────────────────────────────────────────────────────────────────────────────

    fn after_correction(
        &self,
        entry: &Entry,
        correction: &Correction,
        history: &[Entry],
        profile: &Profile,
    ) -> Result<Change, Refusal> {
        let wrong =
            history.iter().find(|e| e.report.id == correction.corrects).ok_or(Refusal::NoSuchReport)?;
        if entry.by.party != Party::CommandPost && entry.maker() != wrong.maker() {
            return Err(Refusal::NotYourReport { team: wrong.maker().team.clone() });
        }
        may_be_corrected(&wrong.report.body, correction.instead.as_deref())?;
        if let Some(Body::LinePlanned(right)) = correction.instead.as_deref() {
            self.number_is_free(right)?;
        }
        let mut log = history.to_vec();
        log.push(entry.clone());
        let sum = Self::fold(&log, profile).map_err(|broken| {
            if broken.sequence == wrong.sequence {
                broken.refusal
            } else {
                Refusal::RestsOnIt {
                    sequence: broken.sequence,
                    report: broken.kind,
                    because: broken.refusal.to_string(),
                }
            }
        })?;
        let lines = sum.lines.into_values().filter(|line| self.lines.get(&line.id) != Some(line));
        let crossings =
            sum.crossings.into_map().into_values().filter(|c| self.crossings.get(&c.id) != Some(c));
        Ok(Change { lines: lines.collect(), crossings: crossings.collect() })
    }
}

/// The line's state as it follows from the rest: open work takes 'proved' and 'handed over' away.
fn settle(line: &mut Line, unfinished: bool) {
    if unfinished || line.through_at.is_none() {
        proving::lose_proof(line, ProofLostBy::CrossingOpen);
    }
    let up = line.recovery.ordered_up.is_some() && crate::recovery::lying(line).is_empty();
    line.state = if up {
        LineState::Recovered
    } else if line.handed_over_at.is_some() {
        LineState::HandedOver
    } else if line.proved_at.is_some() {
        LineState::Proved
    } else if line.through_at.is_some() {
        if unfinished { LineState::Through } else { LineState::Finished }
    } else if line.started_at.is_some() {
        LineState::Laying
    } else {
        LineState::Planned
    };
}

/// Whether a report of this kind can be put right in this way.
fn may_be_corrected(wrong: &Body, instead: Option<&Body>) -> Result<(), Refusal> {
    let kind = wrong.kind();
    let not_withdrawn = |what: &str| Err(Refusal::NotWithdrawn { report: kind, instead: what.to_owned() });
    match (kind, instead) {
        (Kind::Correction, _) => not_withdrawn("correct the report that it corrected once more"),
        (Kind::CrossingForeseen | Kind::CrossingMarked, None) => {
            not_withdrawn("strike the crossing out, or say what should stand instead")
        }
        (Kind::LinePlanned, None) => not_withdrawn("say what should stand instead"),
        (_, Some(right)) if right.kind() != kind || right.subject() != wrong.subject() => {
            Err(Refusal::OtherSubject { report: kind })
        }
        _ => Ok(()),
    }
}

fn wants(line: &Line, need: &str) -> Refusal {
    Refusal::LineState { designation: line.designation.clone(), state: line.state, need: need.to_owned() }
}

/// Whether something happened before the line was proved, so that the proof found it in the ground.
fn before_it_was_proved(line: &Line, when: DateTime<Utc>) -> bool {
    line.proved_at.is_some_and(|proved| when < proved)
}

fn full(line: &Line, what: &'static str, most: usize) -> Refusal {
    Refusal::RecordFull { designation: line.designation.clone(), what, most }
}

/// Whether there is room on the line's record for one more.
fn room(line: &Line, what: &'static str, there: usize, most: usize) -> Result<(), Refusal> {
    if there < most { Ok(()) } else { Err(full(line, what, most)) }
}

fn has_to_be(crossing: &Crossing, need: &str) -> Refusal {
    Refusal::CrossingState { state: crossing.state, need: need.to_owned() }
}

/// What one team has in hand, only that team or the command post may touch.
fn not_of_another_team(crossing: &Crossing, by: &Sender) -> Result<(), Refusal> {
    match &crossing.in_hand {
        Some(held) if held.team != by.team && by.party != Party::CommandPost => {
            Err(Refusal::InHandOf { team: held.team.clone(), since: held.since })
        }
        _ => Ok(()),
    }
}

fn in_range(what: &'static str, given_m: Metres, least: f64, most: f64) -> Result<(), Refusal> {
    let (least_m, most_m) = (Metres::from_const(least), Metres::from_const(most));
    if (least_m..=most_m).contains(&given_m) {
        Ok(())
    } else {
        Err(Refusal::OutOfRange { what, given_m, least_m, most_m })
    }
}

/// The least height of an overhead wire for the place; over water any height above the highest.
fn least_height(obstacle: Obstacle, profile: &Profile) -> Metres {
    profile.least_height(obstacle).map_or(Metres::ZERO, |length| length.value)
}

/// An overhead wire's height, where one was reported, against the least for the place.
fn high_enough(
    obstacle: Obstacle,
    construction: Option<Construction>,
    clearance: Option<Metres>,
    profile: &Profile,
) -> Result<(), Refusal> {
    let (Some(given_m), true) = (clearance, construction.is_some_and(Construction::is_overhead)) else {
        return Ok(());
    };
    in_range("A height", given_m, -20.0, 100.0)?;
    let least_m = least_height(obstacle, profile);
    if obstacle == Obstacle::Stream {
        return if given_m > Metres::ZERO { Ok(()) } else { Err(Refusal::InTheWater { given_m }) };
    }
    // Heights are measured with a tape: what reads the same to a centimetre is the same.
    if given_m + Metres::from_const(0.005) < least_m {
        Err(Refusal::TooLow { obstacle, given_m, least_m })
    } else {
        Ok(())
    }
}

fn list_for(
    obstacle: Obstacle,
    hard_surface: bool,
    construction: Construction,
    profile: &Profile,
    which: impl Fn(Choice) -> Vec<Item>,
) -> Vec<Item> {
    match guide::check(obstacle, hard_surface, construction) {
        Ok(()) => which(guide::choice_where(obstacle, None, construction, profile)),
        Err(_) => Vec::new(),
    }
}

/// The items of the list that are not done.
fn left_undone<'a>(list: &'a [Item], done: &[String]) -> Result<Vec<&'a Item>, Refusal> {
    if let Some(item) = done.iter().find(|id| !list.iter().any(|item| item.id == id.as_str())) {
        return Err(Refusal::NoSuchItem { item: item.chars().take(40).collect() });
    }
    Ok(list.iter().filter(|item| !done.iter().any(|id| id == item.id)).collect())
}

/// The chainage that was said, or of where the device was, or of the laying head.
fn said_or_stood(line: &Line, said: Option<Metres>, stood: Option<Position>) -> Result<Metres, Refusal> {
    match (said, stood) {
        (Some(said), _) if said > line.laid_length + AHEAD_OF_TRACE || said < Metres::ZERO => {
            Err(Refusal::BeyondTheWire { chainage_m: said, laid_m: line.laid_length })
        }
        (Some(said), _) => Ok(said),
        (None, Some(stood)) => Ok(line.chainage(stood).min(line.laid_length)),
        (None, None) => Ok(line.laid_length),
    }
}
