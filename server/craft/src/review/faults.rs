//! A line's troubles in hindsight, the time that nobody could speak over it, and its tests by their verdicts. What a trouble is,
//! and when silence begins and ends, is decided in [`crate::installation`]; here is found which entries say so.

use chrono::{DateTime, Utc};
use serde::Serialize;
use utoipa::ToSchema;

use super::{Count, Figure, between, counted, numbers, told::Told};
use crate::{
    crossing::Crossing,
    fault::signs::{FaultKind, Sign},
    line::Line,
    profile::Profile,
    proof::{self, ProofVerdict},
    proving::TroubleStretch,
    report::{Body, Kind, TestedFrom, TroubleCleared},
    text::{Name, Remark},
    units::{Metres, Minutes},
};

/// What cleared a trouble.
#[derive(Debug, Clone, PartialEq, Serialize, ToSchema)]
pub struct ClearingReview {
    /// When.
    pub at: DateTime<Utc>,
    /// By whom.
    pub team: Name,
    /// What it was.
    pub fault: FaultKind,
    /// What caused it.
    pub cause: Remark,
    /// Where it was, along the line; null where it was not on the wire.
    #[schema(required = true)]
    pub chainage_m: Option<Metres>,
    /// Whether wire was cut or parted.
    pub cut: bool,
    /// The numbers of the entries.
    pub entries: Vec<i64>,
}

/// A trouble in hindsight.
#[derive(Debug, Clone, PartialEq, Serialize, ToSchema)]
pub struct TroubleReview {
    /// When it was first told of.
    pub from: DateTime<Utc>,
    /// By whom.
    pub team: Name,
    /// All the signs that were told of it, each once.
    pub signs: Vec<Sign>,
    /// Who told of it.
    pub told: Count,
    /// The steps of the search.
    pub steps: Count,
    /// The stretch that the search left; null where the line's record has let go of it.
    #[schema(required = true)]
    pub stretch: Option<TroubleStretch>,
    /// What cleared it: more than one when two crews found something, none while it is open.
    pub cleared: Vec<ClearingReview>,
    /// From the first word of it until it was cleared.
    pub lasted: Figure<Minutes>,
    /// The time that nobody could speak over the line for it. While that lasts it is not known.
    pub silent: Figure<Minutes>,
}

/// A line's tests, by the worst of their verdicts against the line as it stands. The last 200 are judged.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize, ToSchema)]
pub struct TestsReview {
    /// As a sound line gives.
    pub good: Count,
    /// The line served, and something was worse than it should be.
    pub worse: Count,
    /// The line did not serve.
    pub bad: Count,
    /// Tests after one that was bad: made again.
    pub again: Count,
}

const SILENT_STILL: &str = "nobody can speak over the line yet, as far as is reported";

/// A time in which nobody could speak.
struct Silence<'a> {
    from: &'a Told<'a>,
    to: Option<&'a Told<'a>>,
}

/// Whether speech is possible after it.
fn speaks(told: &Told<'_>) -> bool {
    matches!(told.kind, Kind::TroubleCleared | Kind::LineOrderedUp) || told.is_call_from_far_end()
}

fn silences<'a>(told: &'a [Told<'a>]) -> Vec<Silence<'a>> {
    let mut silences: Vec<Silence<'a>> = Vec::new();
    for told in told {
        let open = silences.last_mut().filter(|silence| silence.to.is_none());
        match (told.body, open) {
            (Body::TroubleReported(trouble), None) if trouble.signs.contains(&Sign::NothingPasses) => {
                silences.push(Silence { from: told, to: None });
            }
            (_, Some(open)) if speaks(told) => open.to = Some(told),
            _ => {}
        }
    }
    silences
}

/// Those that are over, together.
fn together<'a>(silences: impl Iterator<Item = &'a Silence<'a>>) -> Figure<Minutes> {
    let (mut minutes, mut entries) = (Minutes::ZERO, Vec::new());
    for silence in silences.filter(|silence| silence.to.is_some()) {
        let time = between(Some(silence.from), silence.to);
        // Told the wrong way round it is no time, as on the line's record.
        minutes = minutes + time.value.unwrap_or(Minutes::ZERO);
        entries.extend(time.entries);
    }
    Figure::known(minutes, entries)
}

/// The time that nobody could speak over the line, as far as it is over.
pub(super) fn silent(told: &[Told<'_>]) -> Figure<Minutes> {
    together(silences(told).iter())
}

/// A trouble being gathered from the log.
#[derive(Default)]
struct Gathered<'a> {
    told: Vec<&'a Told<'a>>,
    steps: Vec<&'a Told<'a>>,
    cleared: Vec<(&'a Told<'a>, &'a TroubleCleared)>,
}

/// The line's troubles, the first one first.
pub(super) fn troubles(line: &Line, told: &[Told<'_>]) -> Vec<TroubleReview> {
    let mut troubles: Vec<Gathered<'_>> = Vec::new();
    for told in told {
        match (told.body, troubles.last_mut()) {
            (Body::TroubleReported(_), Some(open)) if open.cleared.is_empty() => open.told.push(told),
            (Body::TroubleReported(_), _) => {
                troubles.push(Gathered { told: vec![told], ..Gathered::default() });
            }
            (Body::TroubleNarrowed(_), Some(open)) => open.steps.push(told),
            (Body::TroubleCleared(cleared), Some(open)) => open.cleared.push((told, cleared)),
            _ => {}
        }
    }
    let silences = silences(told);
    let kept = &line.proving.troubles;
    let gone = troubles.len().saturating_sub(kept.len());
    let review = |(number, trouble): (usize, Gathered<'_>)| {
        let first = *trouble.told.first()?;
        let mut signs: Vec<Sign> = Vec::new();
        for told in &trouble.told {
            if let Body::TroubleReported(told) = told.body {
                let new: Vec<Sign> =
                    told.signs.iter().copied().filter(|sign| !signs.contains(sign)).collect();
                signs.extend(new);
            }
        }
        // Silence begins with a word of trouble, so that it belongs to that trouble.
        let words: Vec<i64> = trouble.told.iter().map(|told| told.sequence).collect();
        let of_it = || silences.iter().filter(|silence| words.contains(&silence.from.sequence));
        let mut silent = together(of_it());
        if let Some(open) = of_it().find(|silence| silence.to.is_none()) {
            silent = Figure::unknown(SILENT_STILL, numbers([open.from]));
        } else if silent.entries.is_empty() {
            silent.entries = numbers([first]);
        }
        let cleared = trouble.cleared.iter().map(|(told, cleared)| ClearingReview {
            at: told.at,
            team: told.by.team.clone(),
            fault: cleared.fault,
            cause: cleared.cause.clone(),
            chainage_m: cleared.chainage_m,
            cut: cleared.cut,
            entries: numbers([*told]),
        });
        Some(TroubleReview {
            from: first.at,
            team: first.by.team.clone(),
            signs,
            stretch: number.checked_sub(gone).and_then(|place| kept.get(place)).map(|kept| kept.stretch),
            lasted: between(Some(first), trouble.cleared.first().map(|(told, _)| *told)),
            silent,
            cleared: cleared.collect(),
            told: counted(trouble.told),
            steps: counted(trouble.steps),
        })
    };
    troubles.into_iter().enumerate().filter_map(review).collect()
}

/// The line's tests by their verdicts.
pub(super) fn tests(
    line: &Line,
    crossings: &[&Crossing],
    told: &[Told<'_>],
    profile: &Profile,
) -> TestsReview {
    let made: Vec<&Told<'_>> =
        told.iter().filter(|told| matches!(told.kind, Kind::TestMade | Kind::LineProved)).collect();
    let tests = &line.proving.tests;
    let crossings: Vec<Crossing> = if tests.is_empty() {
        Vec::new()
    } else {
        crossings.iter().map(|&crossing| crossing.clone()).collect()
    };
    let (mut good, mut worse, mut bad, mut again) = (Vec::new(), Vec::new(), Vec::new(), Vec::new());
    let mut last = ProofVerdict::Good;
    // The record has the last of them, in the order of the log.
    for (test, told) in tests.iter().zip(&made[made.len().saturating_sub(tests.len())..]) {
        if last == ProofVerdict::Bad {
            again.push(*told);
        }
        let by_the_call = if test.is_good() { ProofVerdict::Good } else { ProofVerdict::Bad };
        last = proof::judge(line, &crossings, profile, test).map_or(by_the_call, |judged| judged.verdict);
        match last {
            ProofVerdict::Good => good.push(*told),
            ProofVerdict::Worse => worse.push(*told),
            ProofVerdict::Bad => bad.push(*told),
        }
    }
    TestsReview { good: counted(good), worse: counted(worse), bad: counted(bad), again: counted(again) }
}

impl Told<'_> {
    /// Whether a call was good.
    pub(super) fn is_good_call(&self) -> bool {
        match self.body {
            Body::CallBackGood(_) => true,
            Body::TestMade(test) => test.rang && test.spoke,
            _ => false,
        }
    }

    /// Whether it was good and came from the far end.
    pub(super) fn is_call_from_far_end(&self) -> bool {
        match self.body {
            Body::CallBackGood(call) => call.from_far_end,
            Body::TestMade(test) => test.from == TestedFrom::FarEnd && self.is_good_call(),
            _ => false,
        }
    }
}
