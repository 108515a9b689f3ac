//! An operation in hindsight, from the wire log alone: how long each line took and what of, by leg, crossing, team and
//! construction, beside what was planned. It judges no one: it says what the log has, by which entries, and what the log
//! cannot tell. What stands is [`Installation`]'s; here is only found which entries say so and what lies between them.
//!
//! Times are those of [`Entry::happened_at`]; a corrected entry counts as its last correction says, at its own time, as in
//! the fold. Where two times run backwards the figure is unknown, and never negative.

mod faults;
pub mod learning;
mod rows;
mod told;

use std::collections::BTreeMap;

use chrono::{DateTime, Utc};
use serde::Serialize;
use utoipa::ToSchema;

use crate::{
    construction::Construction,
    crossing::{Crossing, CrossingState},
    forecast,
    ids::{CrossingId, LineId},
    installation::Installation,
    line::{Designation, Line, LineState},
    line_wire::PacePlan,
    obstacle::Obstacle,
    party::Party,
    profile::Profile,
    report::{Body, Entry, Kind, Note},
    stores,
    text::{Name, Remark},
    units::{KilometresPerHour, Metres, Minutes},
};
pub use faults::{ClearingReview, TestsReview, TroubleReview};
pub use rows::{Row, rows};
use told::{Log, Told, union_min};

/// An entry that came in so much later than it happened was told late.
const LATE_MIN: f64 = 10.0;
/// Entries named beside what the log cannot tell, the most; `count` has them all.
const MOST_NAMED: usize = 100;
/// Remarks that a review has, the most; the log has them all.
const MOST_REMARKS: usize = 1_000;

const NOT_YET: &str = "it has not happened, or nobody has reported it";
const BACKWARDS: &str = "the times run backwards: a clock was off, or it was told out of order";
const NEVER_TAKEN: &str = "nobody took it in hand before it was finished";
const NO_WIRE: &str = "no wire is reported on it";
const NO_REELS: &str = "no reel is reported on it";
const NONE_BACK: &str = "nobody has reported that any came back";
const NONE_LOST: &str = "nobody has reported that any was lost or left";
const NO_BOOKS: &str = "the line is too long for the books";

/// A figure and the entries that it comes from.
#[derive(Debug, Clone, PartialEq, Serialize, ToSchema)]
pub struct Figure<T> {
    /// The figure; null where the log does not tell it.
    #[schema(required = true)]
    pub value: Option<T>,
    /// The numbers of the entries that it comes from, corrections among them.
    pub entries: Vec<i64>,
    /// Why it is not known.
    #[schema(required = true)]
    pub unknown: Option<&'static str>,
}

impl<T> Figure<T> {
    fn known(value: T, entries: Vec<i64>) -> Self {
        Self { value: Some(value), entries: in_order(entries), unknown: None }
    }

    fn unknown(why: &'static str, entries: Vec<i64>) -> Self {
        Self { value: None, entries: in_order(entries), unknown: Some(why) }
    }
}

fn in_order(mut entries: Vec<i64>) -> Vec<i64> {
    entries.sort_unstable();
    entries.dedup();
    entries
}

/// How many there are, and which entries say so.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize, ToSchema)]
#[schema(as = ReviewCount)]
pub struct Count {
    /// How many.
    pub count: usize,
    /// The numbers of the entries.
    pub entries: Vec<i64>,
}

/// A way from one crossing, or end, to the next.
#[derive(Debug, Clone, PartialEq, Serialize, ToSchema)]
#[schema(as = ReviewLeg)]
pub struct Leg {
    /// Where it begins, in metres along the line.
    pub from_m: Metres,
    /// Where it ends.
    pub to_m: Metres,
    /// From the start, or from when the last crossing was passed, until the next was marked or the line was through.
    pub laying: Figure<Minutes>,
    /// How fast that was.
    pub rate_km_per_h: Figure<KilometresPerHour>,
}

/// A crossing in hindsight.
#[derive(Debug, Clone, PartialEq, Serialize, ToSchema)]
pub struct CrossingReview {
    /// The crossing.
    pub crossing: CrossingId,
    /// How far it has come.
    pub state: CrossingState,
    /// What is crossed.
    pub obstacle: Obstacle,
    /// How.
    #[schema(required = true)]
    pub construction: Option<Construction>,
    /// Where, in metres along the line.
    pub chainage_m: Metres,
    /// Who got the wire over.
    #[schema(required = true)]
    pub passed_by: Option<Name>,
    /// Who finished it.
    #[schema(required = true)]
    pub finished_by: Option<Name>,
    /// The lead team's least: from when it was marked until it was passed.
    pub passing: Figure<Minutes>,
    /// The same as planned, by day.
    #[schema(required = true)]
    pub passing_planned_min: Option<Minutes>,
    /// From when it was passed until a team took it in hand; 0 where one had it before.
    pub waiting: Figure<Minutes>,
    /// For how long it was in hand until it was finished, all teams together.
    pub finishing: Figure<Minutes>,
    /// The same as planned, by day.
    #[schema(required = true)]
    pub finishing_planned_min: Option<Minutes>,
    /// From when it was passed until it was finished.
    pub unfinished: Figure<Minutes>,
    /// From when it was finished until it was proved.
    pub proving: Figure<Minutes>,
    /// What was told of it by teams that did not know of each other.
    pub conflicts: Count,
}

/// A line's wire.
#[derive(Debug, Clone, PartialEq, Serialize, ToSchema)]
#[schema(as = ReviewWire)]
pub struct Wire {
    /// The planned trace over the ground, in metres; null without a plan.
    #[schema(required = true)]
    pub planned_m: Option<Metres>,
    /// The laid trace over the ground.
    pub laid_m: Figure<Metres>,
    /// Wire on the reels that were begun.
    pub on_reels_m: Figure<Metres>,
    /// Wire drawn from them: all of it, less what is left.
    pub drawn_m: Figure<Metres>,
    /// What is left on them: as it was measured when it came back, else what should be left on the last with the usual slack.
    pub left_m: Figure<Metres>,
    /// Wire that came back: taken up, or never laid and measured.
    pub returned_m: Figure<Metres>,
    /// Wire that was lost or left.
    pub lost_m: Figure<Metres>,
    /// What the books of stores account for nowhere, of the wire on the reels; negative where more came back than was issued.
    pub missing_m: Figure<Metres>,
}

/// A line in hindsight.
#[derive(Debug, Clone, PartialEq, Serialize, ToSchema)]
pub struct LineReview {
    /// The line.
    pub line: LineId,
    /// Its number.
    pub designation: Designation,
    /// How far it has come.
    pub state: LineState,
    /// From the order, the first plan that was issued or else the drawing, until laying began.
    pub order_to_start: Figure<Minutes>,
    /// From the order until a call came from the far end.
    pub order_to_through: Figure<Minutes>,
    /// From the order until it was through and no crossing was unfinished.
    pub order_to_finished: Figure<Minutes>,
    /// From the order until it was proved.
    pub order_to_proved: Figure<Minutes>,
    /// From the start until it was through: `laying` and `at_crossings` add up to it.
    pub start_to_through: Figure<Minutes>,
    /// Of that, while no crossing was marked and not passed.
    pub laying: Figure<Minutes>,
    /// Of that, while one was.
    pub at_crossings: Figure<Minutes>,
    /// From then until no crossing was unfinished.
    pub through_to_finished: Figure<Minutes>,
    /// From then until it was proved.
    pub finished_to_proved: Figure<Minutes>,
    /// How fast it was laid, without the time at crossings.
    pub rate_km_per_h: Figure<KilometresPerHour>,
    /// How fast it was laid, all in all.
    pub overall_rate_km_per_h: Figure<KilometresPerHour>,
    /// The planned rate along a road, by the means and light of the question.
    pub planned_rate_km_per_h: KilometresPerHour,
    /// The lead team's least at all crossings that are known, together.
    pub passing: Figure<Minutes>,
    /// The follow-up teams' finishing of all crossings that are known, together.
    pub finishing: Figure<Minutes>,
    /// The legs, from the near end to the far end.
    pub legs: Vec<Leg>,
    /// The crossings, from the near end to the far end, without those struck out.
    pub crossings: Vec<CrossingReview>,
    /// The wire.
    pub wire: Wire,
    /// Splices.
    pub splices: Count,
    /// Reels begun.
    pub reels: Count,
    /// Good calls, tests that rang and talked among them.
    pub calls: Count,
    /// Calls from the far end after the first, and proofs after the first.
    pub tested_again: Count,
    /// Tests, by their verdicts.
    pub tests: TestsReview,
    /// The longest time without a good call from the start until it was through; `silent` tells when the line was known to be
    /// dead.
    pub longest_without_call: Figure<Minutes>,
    /// Its troubles, the first one first.
    pub troubles: Vec<TroubleReview>,
    /// The time that nobody could speak over it, as far as it is over.
    pub silent: Figure<Minutes>,
    /// Since when nobody can speak over it.
    #[schema(required = true)]
    pub silent_since: Option<DateTime<Utc>>,
    /// Reports on it that were corrected, and the corrections.
    pub corrections: Count,
}

/// A team in hindsight.
#[derive(Debug, Clone, PartialEq, Serialize, ToSchema)]
pub struct TeamReview {
    /// Its call sign.
    pub team: Name,
    /// Its party.
    pub party: Party,
    /// Its reports.
    pub reports: Count,
    /// Crossings that it got the wire over.
    pub passed: Count,
    /// Crossings that it finished.
    pub finished: Count,
    /// From the first to the last that it told of its work at crossings: the next three add up to it.
    pub span: Figure<Minutes>,
    /// Of that, with a crossing marked and not passed, or in hand.
    pub at_crossings: Figure<Minutes>,
    /// Of that, with nothing in hand, until the wire was over what it took next.
    pub waiting: Figure<Minutes>,
    /// Of that, the rest: laying, travel and rests.
    pub between: Figure<Minutes>,
}

/// A construction in hindsight.
#[derive(Debug, Clone, PartialEq, Serialize, ToSchema)]
pub struct ConstructionReview {
    /// The construction.
    pub construction: Construction,
    /// At how many crossings.
    pub count: usize,
    /// The lead team's least, on average over those that are known.
    pub passing: Figure<Minutes>,
    /// The same as planned, by day.
    pub passing_planned_min: Minutes,
    /// The finishing, on average over those that are known.
    pub finishing: Figure<Minutes>,
    /// The same as planned, by day.
    pub finishing_planned_min: Minutes,
}

/// A remark: signed by who made it, with its time and what it is about.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, ToSchema)]
pub struct RemarkReview {
    /// Who made it.
    pub team: Name,
    /// Their party.
    pub party: Party,
    /// When it happened, by their device's clock put right.
    pub at: DateTime<Utc>,
    /// When it was taken in.
    pub received_at: DateTime<Utc>,
    /// The line that it is about.
    #[schema(required = true)]
    pub line: Option<LineId>,
    /// The crossing that it is about.
    #[schema(required = true)]
    pub crossing: Option<CrossingId>,
    /// The number of the entry that it is about.
    #[schema(required = true)]
    pub about: Option<i64>,
    /// What was said.
    pub text: Remark,
    /// The numbers of its entry and of its correction.
    pub entries: Vec<i64>,
}

/// Something that the log cannot tell.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, ToSchema)]
pub struct CannotKnow {
    /// What.
    pub what: &'static str,
    /// At how many entries.
    pub count: usize,
    /// Their numbers, the first hundred.
    pub entries: Vec<i64>,
}

/// An operation in hindsight.
#[derive(Debug, Clone, PartialEq, Serialize, ToSchema)]
pub struct Review {
    /// Entries that it was made from.
    pub entries: usize,
    /// The first of them happened.
    #[schema(required = true)]
    pub from: Option<DateTime<Utc>>,
    /// The last of them happened.
    #[schema(required = true)]
    pub to: Option<DateTime<Utc>>,
    /// The lines, by their numbers.
    pub lines: Vec<LineReview>,
    /// The teams, by their call signs.
    pub teams: Vec<TeamReview>,
    /// The constructions that were used.
    pub constructions: Vec<ConstructionReview>,
    /// The time that nobody could speak over a line, of all lines together, as far as it is over.
    pub silent: Figure<Minutes>,
    /// Remarks, in the order of the log: the last 1,000.
    pub remarks: Vec<RemarkReview>,
    /// Corrections.
    pub corrections: Count,
    /// What the log cannot tell.
    pub cannot_know: Vec<CannotKnow>,
}

/// An operation's review, from its log and what stands by it.
///
/// # Units
/// Minutes, metres and kilometres an hour.
#[must_use]
pub fn review(entries: &[Entry], stands: &Installation, profile: &Profile, plan: PacePlan) -> Review {
    let log = Log::of(entries);
    let mut of_line: BTreeMap<LineId, Vec<&Crossing>> = BTreeMap::new();
    for crossing in stands.crossings.values() {
        of_line.entry(crossing.line).or_default().push(crossing);
    }
    let mut lines: Vec<LineReview> = stands
        .lines
        .values()
        .map(|line| {
            let crossings = of_line.remove(&line.id).unwrap_or_default();
            line_review(line, crossings, &log, profile, plan)
        })
        .collect();
    lines.sort_by(|a, b| a.designation.cmp(&b.designation));
    let crossings: Vec<&CrossingReview> = lines.iter().flat_map(|line| &line.crossings).collect();
    let constructions = Construction::ALL
        .into_iter()
        .filter_map(|construction| of_construction(construction, &crossings, profile));
    let constructions = constructions.collect();
    Review {
        entries: entries.len(),
        from: entries.iter().map(Entry::happened_at).min(),
        to: entries.iter().map(Entry::happened_at).max(),
        teams: teams(entries, stands, &log),
        constructions,
        silent: sum(lines.iter().map(|line| &line.silent)),
        remarks: remarks(&log),
        corrections: log.corrections(),
        cannot_know: cannot_know(entries, stands, &log),
        lines,
    }
}

fn remarks(log: &Log<'_>) -> Vec<RemarkReview> {
    let made = log.remarks();
    let last = &made[made.len().saturating_sub(MOST_REMARKS)..];
    let remark = |(told, note, received_at): &(Told<'_>, &Note, DateTime<Utc>)| RemarkReview {
        team: told.by.team.clone(),
        party: told.by.party,
        at: told.at,
        received_at: *received_at,
        line: note.line,
        crossing: note.crossing,
        about: note.about,
        text: note.text.clone(),
        entries: numbers([told]),
    };
    last.iter().map(remark).collect()
}

/// From one entry to another.
fn between(from: Option<&Told<'_>>, to: Option<&Told<'_>>) -> Figure<Minutes> {
    let entries = || from.into_iter().chain(to).flat_map(Told::numbers).collect();
    match (from, to) {
        (Some(a), Some(b)) => match forecast::minutes(a.at, b.at) {
            Some(minutes) => Figure::known(minutes, entries()),
            None => Figure::unknown(BACKWARDS, entries()),
        },
        _ => Figure::unknown(NOT_YET, entries()),
    }
}

fn numbers<'a>(told: impl IntoIterator<Item = &'a Told<'a>>) -> Vec<i64> {
    told.into_iter().flat_map(Told::numbers).collect()
}

fn counted<'a>(told: impl IntoIterator<Item = &'a Told<'a>>) -> Count {
    let told: Vec<&Told<'_>> = told.into_iter().collect();
    Count { count: told.len(), entries: in_order(numbers(told)) }
}

fn rate(length: Metres, time: &Figure<Minutes>, more: &[i64]) -> Figure<KilometresPerHour> {
    let entries: Vec<i64> = time.entries.iter().chain(more).copied().collect();
    match time.value {
        Some(minutes) if minutes > Minutes::ZERO => {
            let rate = length.max(Metres::ZERO).value() / minutes.value() * 0.06;
            Figure::known(KilometresPerHour::bounded(rate), entries)
        }
        Some(_) => Figure::unknown("no time passed between the two entries", entries),
        None => Figure::unknown(time.unknown.unwrap_or(NOT_YET), entries),
    }
}

/// All figures that are known, together.
fn sum<'a>(figures: impl Iterator<Item = &'a Figure<Minutes>>) -> Figure<Minutes> {
    let (mut minutes, mut entries, mut any) = (Minutes::ZERO, Vec::new(), false);
    for figure in figures {
        if let Some(value) = figure.value {
            minutes = minutes + value;
            any = true;
            entries.extend(&figure.entries);
        }
    }
    if any { Figure::known(minutes, entries) } else { Figure::unknown(NOT_YET, entries) }
}

fn line_review(
    line: &Line,
    mut crossings: Vec<&Crossing>,
    log: &Log<'_>,
    profile: &Profile,
    plan: PacePlan,
) -> LineReview {
    crossings.retain(|crossing| crossing.state != CrossingState::StruckOut);
    crossings.sort_by_key(|crossing| (crossing.chainage, crossing.id));
    let told = log.line(line.id);
    let of = |kind| told.iter().filter(move |told| told.kind == kind);
    let at = |kind, when: Option<DateTime<Utc>>| when.and_then(|when| of(kind).find(|told| told.at == when));
    let order = of(Kind::PlanIssued).next().or_else(|| of(Kind::LinePlanned).next());
    let start = at(Kind::LineStarted, line.started_at);
    let through = line
        .through_at
        .and_then(|when| told.iter().find(|told| told.is_call_from_far_end() && told.at == when));
    let proved = at(Kind::LineProved, line.proved_at);
    let is_finished = line.state >= LineState::Finished;
    let last = crossings.iter().filter_map(|crossing| log.finished(crossing)).max_by_key(|told| told.at);
    let finished = through
        .filter(|_| is_finished)
        .map(|through| last.filter(|last| last.at > through.at).unwrap_or(through));

    let start_to_through = between(start, through);
    let works: Vec<(&Told<'_>, &Told<'_>)> = crossings
        .iter()
        .filter_map(|crossing| Some((log.marked(crossing)?, log.passed(crossing)?)))
        .collect();
    let (laying, at_crossings) =
        if let (Some(whole), Some(start), Some(through)) = (start_to_through.value, start, through) {
            let spans = works.iter().map(|(from, to)| (from.at.max(start.at), to.at.min(through.at)));
            let work = union_min(spans.collect());
            let ends = works.iter().flat_map(|(from, to)| from.numbers().chain(to.numbers()));
            let entries: Vec<i64> = start_to_through.entries.iter().copied().chain(ends).collect();
            (Figure::known(whole - work, entries.clone()), Figure::known(work, entries))
        } else {
            let why = start_to_through.unknown.unwrap_or(NOT_YET);
            (Figure::unknown(why, Vec::new()), Figure::unknown(why, Vec::new()))
        };
    let traces: Vec<i64> = numbers(of(Kind::TraceExtended));
    let laid_m = if line.laid.is_empty() {
        Figure::unknown(NO_WIRE, traces)
    } else {
        Figure::known(line.laid_length, traces)
    };
    let reviews: Vec<CrossingReview> =
        crossings.iter().map(|crossing| crossing_review(crossing, log, profile)).collect();
    let calls: Vec<&Told<'_>> = told.iter().filter(|told| told.is_good_call()).collect();
    let from_far_end = calls.iter().copied().filter(|told| told.is_call_from_far_end());
    let again = from_far_end.skip(1).chain(of(Kind::LineProved).skip(1));
    let planned_rate = profile.pace.laying_rate(plan.lead_means, plan.light).value.value() * 0.06;
    LineReview {
        line: line.id,
        designation: line.designation.clone(),
        state: line.state,
        order_to_start: between(order, start),
        order_to_through: between(order, through),
        order_to_finished: between(order, finished),
        order_to_proved: between(order, proved),
        through_to_finished: between(through, finished),
        finished_to_proved: between(finished, proved),
        rate_km_per_h: rate(line.laid_length, &laying, &laid_m.entries),
        overall_rate_km_per_h: rate(line.laid_length, &start_to_through, &laid_m.entries),
        planned_rate_km_per_h: KilometresPerHour::bounded(planned_rate),
        start_to_through,
        laying,
        at_crossings,
        passing: sum(reviews.iter().map(|crossing| &crossing.passing)),
        finishing: sum(reviews.iter().map(|crossing| &crossing.finishing)),
        legs: legs(line, &crossings, log, start, through),
        wire: wire(line, &crossings, told, laid_m, profile),
        splices: counted(of(Kind::SpliceMade)),
        reels: counted(of(Kind::ReelStarted)),
        tested_again: counted(again),
        tests: faults::tests(line, &crossings, told, profile),
        troubles: faults::troubles(line, told),
        silent: faults::silent(told),
        silent_since: line.proving.silent_since,
        longest_without_call: longest_without_call(start, through, &calls),
        calls: counted(calls),
        corrections: counted(told.iter().filter(|told| told.correction.is_some())),
        crossings: reviews,
    }
}

fn legs(
    line: &Line,
    crossings: &[&Crossing],
    log: &Log<'_>,
    start: Option<&Told<'_>>,
    through: Option<&Told<'_>>,
) -> Vec<Leg> {
    let leg = |from: (Metres, Option<&Told<'_>>), to: (Metres, Option<&Told<'_>>)| {
        let laying = between(from.1, to.1);
        let rate_km_per_h = rate(to.0 - from.0, &laying, &[]);
        Leg { from_m: from.0, to_m: to.0, laying, rate_km_per_h }
    };
    let mut legs = Vec::with_capacity(crossings.len() + 1);
    let mut from = (Metres::ZERO, start);
    for crossing in crossings {
        legs.push(leg(from, (crossing.chainage, log.marked(crossing))));
        from = (crossing.chainage, log.passed(crossing));
    }
    legs.push(leg(from, (line.length().max(from.0), through)));
    legs
}

fn wire(
    line: &Line,
    crossings: &[&Crossing],
    told: &[Told<'_>],
    laid_m: Figure<Metres>,
    profile: &Profile,
) -> Wire {
    let of = |kinds: &[Kind]| numbers(told.iter().filter(|told| kinds.contains(&told.kind)));
    let and = |entries: &[i64], more: &[i64]| [entries, more].concat();
    let reels = of(&[Kind::ReelStarted]);
    let on_reels: Metres = line.reels.iter().map(|reel| reel.length_m).sum();
    let rests = &line.recovery.rests;
    let measured: Metres = rests.iter().map(|rest| rest.left_m).sum();
    // The rest of the last reel is reckoned where nobody has measured it.
    let last = line.reels.last().filter(|reel| rests.iter().all(|rest| rest.reel != reel.id));
    let reckoned = last.and_then(|_| line.left_on_reel(profile.wire.slack.value));
    let left = (!line.reels.is_empty()).then(|| measured + reckoned.unwrap_or(Metres::ZERO));
    let returned = of(&[Kind::ReelReturned]);
    let left_entries = and(&and(&reels, &laid_m.entries), &returned);
    let figure = |value: Option<Metres>, why, entries: Vec<i64>| match value {
        Some(value) => Figure::known(value, entries),
        None => Figure::unknown(why, entries),
    };
    let up: Metres = line.recovery.sections.iter().map(|section| section.length_m).sum();
    let gone: Metres = line.recovery.not_back.iter().map(|piece| piece.length_m).sum();
    let (back, gone_by) = (of(&[Kind::SectionTakenUp, Kind::ReelReturned]), of(&[Kind::WireLost]));
    let known = |value, entries: &[i64]| (!entries.is_empty()).then_some(value);
    let missing_m = if line.reels.is_empty() {
        Figure::unknown(NO_REELS, Vec::new())
    } else {
        let crossings = crossings.iter().map(|&crossing| crossing.clone()).collect();
        let books = stores::balance(&[(line.clone(), crossings)], profile);
        let entries = and(&and(&left_entries, &back), &gone_by);
        figure(books.ok().map(|books| books.all.missing_m), NO_BOOKS, entries)
    };
    Wire {
        planned_m: line.planned.as_ref().map(crate::trace::Trace::length),
        on_reels_m: figure(left.map(|_| on_reels), NO_REELS, reels),
        drawn_m: figure(left.map(|left| on_reels - left), NO_REELS, left_entries.clone()),
        left_m: figure(left, NO_REELS, left_entries),
        returned_m: figure(known(up + measured, &back), NONE_BACK, back),
        lost_m: figure(known(gone, &gone_by), NONE_LOST, gone_by),
        missing_m,
        laid_m,
    }
}

/// From the start to the first good call, from each to the next, and from the last to when it was through, which is one.
fn longest_without_call(
    start: Option<&Told<'_>>,
    through: Option<&Told<'_>>,
    calls: &[&Told<'_>],
) -> Figure<Minutes> {
    let (Some(start), Some(through)) = (start, through) else {
        return Figure::unknown(NOT_YET, numbers(start.into_iter().chain(through)));
    };
    let mut moments: Vec<&Told<'_>> =
        calls.iter().copied().filter(|call| start.at <= call.at && call.at <= through.at).collect();
    moments.sort_by_key(|call| call.at);
    let mut from = start;
    let mut longest = between(Some(start), Some(start));
    for call in moments {
        let time = between(Some(from), Some(call));
        if time.value > longest.value {
            longest = time;
        }
        from = call;
    }
    if through.at < start.at { between(Some(start), Some(through)) } else { longest }
}

fn crossing_review(crossing: &Crossing, log: &Log<'_>, profile: &Profile) -> CrossingReview {
    let (marked, passed, finished) = (log.marked(crossing), log.passed(crossing), log.finished(crossing));
    let hands = log.hands(crossing.id);
    let waiting = match (passed, hands.first()) {
        (Some(passed), Some((taken, _))) if taken.at < passed.at => {
            Figure::known(Minutes::ZERO, numbers([passed, taken]))
        }
        (passed, first) => between(passed, first.map(|(taken, _)| *taken)),
    };
    let finishing = match finished {
        None => Figure::unknown(NOT_YET, Vec::new()),
        Some(finished) if hands.is_empty() => Figure::unknown(NEVER_TAKEN, numbers([finished])),
        Some(_) => in_hand(&hands),
    };
    let times = crossing.construction.map(|construction| profile.pace.constructions.of(construction));
    let proved = crossing.proved_at.and_then(|when| {
        let alone = log
            .crossing(crossing.id)
            .iter()
            .find(|told| told.kind == Kind::CrossingProved && told.at == when);
        let of_line =
            || log.line(crossing.line).iter().find(|told| told.kind == Kind::LineProved && told.at == when);
        alone.or_else(of_line)
    });
    CrossingReview {
        crossing: crossing.id,
        state: crossing.state,
        obstacle: crossing.obstacle,
        construction: crossing.construction,
        chainage_m: crossing.chainage,
        passed_by: passed.map(|told| told.by.team.clone()),
        finished_by: crossing.finished_by.clone(),
        passing: between(marked, passed),
        passing_planned_min: times.map(|times| times.lead.value),
        waiting,
        finishing,
        finishing_planned_min: times.map(|times| times.follow_up.value),
        unfinished: between(passed, finished),
        proving: between(finished, proved),
        conflicts: Count {
            count: crossing.conflicts.len(),
            entries: crossing.conflicts.iter().map(|conflict| conflict.sequence).collect(),
        },
    }
}

/// For how long a crossing was in hand, all teams together.
fn in_hand(hands: &[(&Told<'_>, Option<&Told<'_>>)]) -> Figure<Minutes> {
    let mut together = Figure::known(Minutes::ZERO, Vec::new());
    for (taken, done) in hands {
        let time = between(Some(taken), *done);
        together.entries.extend(&time.entries);
        together.value = together.value.zip(time.value).map(|(sum, time)| sum + time);
        together.unknown = together.unknown.or(time.unknown);
    }
    together.entries = in_order(together.entries);
    together
}

fn of_construction(
    construction: Construction,
    crossings: &[&CrossingReview],
    profile: &Profile,
) -> Option<ConstructionReview> {
    let built: Vec<&&CrossingReview> =
        crossings.iter().filter(|crossing| crossing.construction == Some(construction)).collect();
    let times = profile.pace.constructions.of(construction);
    let mean = |which: fn(&CrossingReview) -> &Figure<Minutes>| {
        let known = built.iter().filter(|crossing| which(crossing).value.is_some()).count();
        let mut mean = sum(built.iter().map(|crossing| which(crossing)));
        #[allow(clippy::cast_precision_loss, reason = "crossings of an operation")]
        let known = known.max(1) as f64;
        mean.value = mean.value.map(|sum| Minutes::bounded(sum.value() / known));
        mean
    };
    (!built.is_empty()).then(|| ConstructionReview {
        construction,
        count: built.len(),
        passing: mean(|crossing| &crossing.passing),
        passing_planned_min: times.lead.value,
        finishing: mean(|crossing| &crossing.finishing),
        finishing_planned_min: times.follow_up.value,
    })
}

/// A team's work at one crossing, and when the wire was over where that is what it had to wait for.
struct Work<'a> {
    from: &'a Told<'a>,
    to: &'a Told<'a>,
    over: Option<&'a Told<'a>>,
}

fn teams(entries: &[Entry], stands: &Installation, log: &Log<'_>) -> Vec<TeamReview> {
    let mut reports: BTreeMap<(&Name, Party), Count> = BTreeMap::new();
    for entry in entries {
        let maker = entry.maker();
        let count = reports.entry((&maker.team, maker.party)).or_default();
        count.count += 1;
        count.entries.push(entry.sequence);
    }
    let mut work: BTreeMap<(&Name, Party), Vec<Work<'_>>> = BTreeMap::new();
    let mut passed_by: BTreeMap<(&Name, Party), Vec<&Told<'_>>> = BTreeMap::new();
    let mut finished_by: BTreeMap<(&Name, Party), Vec<&Told<'_>>> = BTreeMap::new();
    for crossing in stands.crossings.values() {
        let passed = log.passed(crossing);
        if let Some(passed) = passed {
            passed_by.entry(passed.team()).or_default().push(passed);
            if let Some(marked) = log.marked(crossing).filter(|marked| marked.at <= passed.at) {
                work.entry(passed.team()).or_default().push(Work { from: marked, to: passed, over: None });
            }
        }
        if let Some(finished) = log.finished(crossing) {
            finished_by.entry(finished.team()).or_default().push(finished);
        }
        for (taken, done) in log.hands(crossing.id) {
            if let Some(done) = done.filter(|done| taken.at <= done.at) {
                work.entry(taken.team()).or_default().push(Work { from: taken, to: done, over: passed });
            }
        }
    }
    reports
        .into_iter()
        .map(|(team, reports)| {
            let count = |by: &BTreeMap<(&Name, Party), Vec<&Told<'_>>>| {
                by.get(&team).map(|told| counted(told.iter().copied())).unwrap_or_default()
            };
            let [span, at_crossings, waiting, between] = team_time(work.remove(&team).unwrap_or_default());
            TeamReview {
                team: team.0.clone(),
                party: team.1,
                passed: count(&passed_by),
                finished: count(&finished_by),
                reports,
                span,
                at_crossings,
                waiting,
                between,
            }
        })
        .collect()
}

/// A team's time from its first to its last work at a crossing: all of it, at crossings, waiting, and the rest.
fn team_time(mut work: Vec<Work<'_>>) -> [Figure<Minutes>; 4] {
    work.sort_by_key(|work| (work.from.at, work.from.sequence));
    let Some(first) = work.first() else {
        return std::array::from_fn(|_| Figure::unknown(NOT_YET, Vec::new()));
    };
    let mut reached = first.from.at;
    let (mut at_crossings, mut waiting, mut between) = (Minutes::ZERO, Minutes::ZERO, Minutes::ZERO);
    let mut entries = Vec::new();
    let minutes = |from, to| forecast::minutes(from, to).unwrap_or(Minutes::ZERO);
    for one in &work {
        entries.extend(one.from.numbers().chain(one.to.numbers()));
        if one.from.at > reached {
            let over = one.over.map_or(reached, |over| over.at).clamp(reached, one.from.at);
            if over > reached {
                entries.extend(one.over.into_iter().flat_map(Told::numbers));
            }
            waiting = waiting + minutes(reached, over);
            between = between + minutes(over, one.from.at);
            reached = one.from.at;
        }
        at_crossings = at_crossings + minutes(reached, one.to.at);
        reached = reached.max(one.to.at);
    }
    let whole = minutes(first.from.at, reached);
    [whole, at_crossings, waiting, between].map(|time| Figure::known(time, entries.clone()))
}

/// What the log cannot tell, and at which entries.
fn cannot_know(entries: &[Entry], stands: &Installation, log: &Log<'_>) -> Vec<CannotKnow> {
    let mut last: BTreeMap<&Name, DateTime<Utc>> = BTreeMap::new();
    let (mut unmeasured, mut ahead, mut late, mut earlier) = (Vec::new(), Vec::new(), Vec::new(), Vec::new());
    for entry in entries {
        let happened = entry.happened_at();
        match entry.report.clock_offset_ms {
            None if entry.report.at > entry.received_at => ahead.push(entry.sequence),
            None => unmeasured.push(entry.sequence),
            Some(_) => {}
        }
        if forecast::minutes(happened, entry.received_at).is_some_and(|late| late.value() > LATE_MIN) {
            late.push(entry.sequence);
        }
        let before = last.entry(&entry.maker().team).or_insert(happened);
        if happened < *before {
            earlier.push(entry.sequence);
        }
        *before = happened.max(*before);
    }
    let at = |what, entries: Vec<i64>| CannotKnow {
        what,
        count: entries.len(),
        entries: entries.into_iter().take(MOST_NAMED).collect(),
    };
    let unweighed = stands.lines.values().flat_map(|line| {
        let before_the_last = line.reels.iter().rev().skip(1);
        let not_measured = before_the_last
            .filter(|reel| line.recovery.rests.iter().all(|rest| rest.reel != reel.id))
            .map(|reel| reel.id);
        let not_measured: Vec<_> = not_measured.collect();
        let begun = log.line(line.id).iter().filter(
            move |told| matches!(told.body, Body::ReelStarted(begun) if not_measured.contains(&begun.reel)),
        );
        numbers(begun)
    });
    let told = [
        at("how far the device's clock was off: its time is taken as it is", unmeasured),
        at("when it happened: the device's clock was ahead, and the time of receipt stands for it", ahead),
        at("whether its time is right: it came in more than ten minutes later", late),
        at("in which order it happened: the team told something later before", earlier),
        at("what was left on reels before the last: nobody has measured it", in_order(unweighed.collect())),
    ];
    let never = [
        at("reports that were refused: they are kept on the device, and not in the log", Vec::new()),
        at("rests and travel apart: nobody reports them", Vec::new()),
    ];
    told.into_iter().filter(|known| known.count > 0).chain(never).collect()
}
