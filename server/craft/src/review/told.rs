//! What the log tells, sorted by what it speaks of, with corrections in their places.

use std::collections::HashMap;

use chrono::{DateTime, Utc};

use super::{Count, in_order};
use crate::{
    crossing::Crossing,
    forecast,
    ids::{CrossingId, LineId, ReportId},
    party::{Party, Sender},
    report::{Body, Entry, Kind, Note, Subject},
    text::Name,
    units::Minutes,
};

/// One entry, as it counts.
#[derive(Debug, Clone)]
pub(super) struct Told<'a> {
    pub(super) kind: Kind,
    pub(super) at: DateTime<Utc>,
    pub(super) sequence: i64,
    /// The number of the last correction.
    pub(super) correction: Option<i64>,
    pub(super) by: &'a Sender,
    pub(super) body: &'a Body,
}

impl Told<'_> {
    /// The entries that it comes from.
    pub(super) fn numbers(&self) -> impl Iterator<Item = i64> + use<> {
        std::iter::once(self.sequence).chain(self.correction)
    }

    pub(super) fn team(&self) -> (&Name, Party) {
        (&self.by.team, self.by.party)
    }
}

/// A log, sorted.
pub(super) struct Log<'a> {
    lines: HashMap<LineId, Vec<Told<'a>>>,
    crossings: HashMap<CrossingId, Vec<Told<'a>>>,
    corrections: Vec<i64>,
    /// Remarks, in order, each with its receipt.
    remarks: Vec<(Told<'a>, &'a Note, DateTime<Utc>)>,
}

/// A team's taking a crossing in hand, and its giving it back or finishing it.
pub(super) type Hand<'a> = (&'a Told<'a>, Option<&'a Told<'a>>);

impl<'a> Log<'a> {
    pub(super) fn of(entries: &'a [Entry]) -> Self {
        let mut corrected: HashMap<ReportId, (Option<&Body>, i64)> = HashMap::new();
        let mut corrections = Vec::new();
        for entry in entries {
            if let Body::Correction(correction) = &entry.report.body {
                corrected.insert(correction.corrects, (correction.instead.as_deref(), entry.sequence));
                corrections.push(entry.sequence);
            }
        }
        let mut log =
            Self { lines: HashMap::new(), crossings: HashMap::new(), corrections, remarks: Vec::new() };
        for entry in entries {
            let (body, correction) = match corrected.get(&entry.report.id) {
                // It never happened.
                Some((None, _)) => continue,
                Some((Some(instead), by)) => (*instead, Some(*by)),
                None => (&entry.report.body, None),
            };
            let told = Told {
                kind: body.kind(),
                at: entry.happened_at(),
                sequence: entry.sequence,
                correction,
                by: entry.maker(),
                body,
            };
            if let Body::Note(note) = body {
                log.remarks.push((told.clone(), note, entry.received_at));
            }
            match body.subject() {
                Subject::Line(line) => log.lines.entry(line).or_default().push(told),
                Subject::Crossing(crossing, _) => log.crossings.entry(crossing).or_default().push(told),
                Subject::Report(_) | Subject::Operation => {}
            }
        }
        log
    }

    pub(super) fn line(&self, line: LineId) -> &[Told<'a>] {
        self.lines.get(&line).map_or(&[], Vec::as_slice)
    }

    pub(super) fn crossing(&self, crossing: CrossingId) -> &[Told<'a>] {
        self.crossings.get(&crossing).map_or(&[], Vec::as_slice)
    }

    pub(super) fn remarks(&self) -> &[(Told<'a>, &'a Note, DateTime<Utc>)] {
        &self.remarks
    }

    pub(super) fn corrections(&self) -> Count {
        Count { count: self.corrections.len(), entries: in_order(self.corrections.clone()) }
    }

    fn stands(&self, crossing: &Crossing, kind: Kind, when: Option<DateTime<Utc>>) -> Option<&Told<'a>> {
        let when = when?;
        self.crossing(crossing.id).iter().find(|told| told.kind == kind && told.at == when)
    }

    /// The entry by which the crossing was marked: the last, where it was struck out between.
    pub(super) fn marked(&self, crossing: &Crossing) -> Option<&Told<'a>> {
        self.crossing(crossing.id).iter().rfind(|told| told.kind == Kind::CrossingMarked)
    }

    /// The entry by which the wire is over.
    pub(super) fn passed(&self, crossing: &Crossing) -> Option<&Told<'a>> {
        self.stands(crossing, Kind::CrossingPassed, crossing.passed_at)
    }

    /// The entry by which it is finished.
    pub(super) fn finished(&self, crossing: &Crossing) -> Option<&Told<'a>> {
        self.stands(crossing, Kind::CrossingFinished, crossing.finished_at)
    }

    /// Each taking in hand, with what ended it.
    pub(super) fn hands(&self, crossing: CrossingId) -> Vec<Hand<'_>> {
        let mut hands: Vec<Hand<'_>> = Vec::new();
        for told in self.crossing(crossing) {
            match told.kind {
                Kind::CrossingTaken => hands.push((told, None)),
                Kind::CrossingGivenBack | Kind::CrossingFinished | Kind::CrossingStruckOut => {
                    // What another team says of it does not take it out of the hand of who has it.
                    if let Some((taken, done @ None)) = hands.last_mut()
                        && (taken.by.team == told.by.team || told.by.party == Party::CommandPost)
                    {
                        *done = Some(told);
                    }
                }
                _ => {}
            }
        }
        hands
    }
}

/// How long at least one of the spans lasts. Those that run backwards are none.
pub(super) fn union_min(mut spans: Vec<(DateTime<Utc>, DateTime<Utc>)>) -> Minutes {
    spans.sort_unstable();
    let mut reached: Option<DateTime<Utc>> = None;
    let mut minutes = Minutes::ZERO;
    for (from, to) in spans {
        let from = reached.map_or(from, |reached| reached.max(from));
        if let Some(more) = forecast::minutes(from, to) {
            minutes = minutes + more;
            reached = Some(to);
        }
    }
    minutes
}
