//! A section's own rates, estimated from its reviews. Cases go in and cases come out, so that a unit carries them from operation
//! to operation; beside each estimate stand how widely its cases lie and which lie far out, and the lines that a unit's profile
//! would have. Nothing is applied: a profile is changed by whoever answers for it.

use std::collections::BTreeMap;

use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

use super::{Figure, Review};
use crate::{
    bounds::{OutOfBounds, count, range},
    construction::Construction,
    ids::OperationId,
    pace::{Light, Means},
    profile::Profile,
    units::{Metres, Minutes},
};

/// Most cases that are put together.
pub const MOST_CASES: usize = 4_000;
/// Most entries of one case.
const MOST_ENTRIES: usize = 100;
/// The longest time of a case: a week. Nobody works that long on one thing.
const LONGEST_MIN: f64 = 7.0 * 24.0 * 60.0;
/// Fewer cases are too few to trust. Planning value, no source.
const ENOUGH: usize = 5;
/// A leg shorter than this says nothing of how fast wire is laid. Planning value, no source.
const SHORTEST_LEG: Metres = Metres::from_const(100.0);
/// Farther beyond the quartiles than so many times the distance between them, a case lies far out.
///
/// # Source
/// The outer fences of a box plot: NIST/SEMATECH e-Handbook of Statistical Methods, 7.1.6 (from memory).
const FAR_OUT: f64 = 3.0;

/// A figure that can be learned.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize, ToSchema)]
#[serde(tag = "what", rename_all = "snake_case", deny_unknown_fields)]
pub enum Learned {
    /// The laying of a kilometre, without the time at crossings, on the ground as it was.
    Laying {
        /// What carried the reels.
        means: Means,
        /// By which light.
        light: Light,
    },
    /// The lead team's least at a crossing.
    Passing {
        /// How it was crossed.
        construction: Construction,
        /// By which light.
        light: Light,
    },
    /// The follow-up teams' finishing of a crossing.
    Finishing {
        /// How it was crossed.
        construction: Construction,
        /// By which light.
        light: Light,
    },
}

/// How long it took once.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct Case {
    /// In which operation.
    pub operation: OperationId,
    /// What.
    pub figure: Learned,
    /// How long, in minutes: of laying, for each kilometre.
    pub time_min: Minutes,
    /// By which entries of that operation's log.
    #[schema(max_items = 100)]
    pub entries: Vec<i64>,
}

/// Where the middle of some cases lies, and how widely they do.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, ToSchema)]
pub struct Spread {
    /// How many there are.
    pub cases: usize,
    /// As many take longer as take less.
    pub median_min: Minutes,
    /// One in ten takes less.
    pub p10_min: Minutes,
    /// One in ten takes longer.
    pub p90_min: Minutes,
}

/// What the cases say of a figure.
#[derive(Debug, Clone, PartialEq, Serialize, ToSchema)]
pub struct Estimate {
    /// Of which.
    pub figure: Learned,
    /// Its name in a profile; null where a profile has no figure of its own for it.
    #[schema(required = true)]
    pub profile: Option<String>,
    /// What the operation's profile has, in the same minutes.
    #[schema(required = true)]
    pub profile_min: Option<Minutes>,
    /// By all the cases.
    pub all: Spread,
    /// Without those far out; null where none is.
    #[schema(required = true)]
    pub without_far_out: Option<Spread>,
    /// The cases far out: more than three times the distance of the quartiles beyond them.
    pub far_out: Vec<Case>,
    /// Whether there are too few cases to trust it.
    pub too_few: bool,
    /// All that in a sentence.
    pub words: String,
    /// The line that a unit's profile would have; null where there are too few cases or no such figure.
    #[schema(required = true)]
    pub line: Option<String>,
}

/// A section's own rates.
#[derive(Debug, Clone, PartialEq, Serialize, ToSchema)]
pub struct Rates {
    /// All the cases, the earlier ones first: what the next operation's question takes.
    pub cases: Vec<Case>,
    /// Earlier cases that are left out, because there are more than 4,000 in all.
    pub left_out: usize,
    /// What they say, figure by figure.
    pub estimates: Vec<Estimate>,
    /// The lines for a unit's profile, together: a file that `laywire profile` reads. Offered, never applied.
    pub profile: String,
    /// What no case can be had of.
    pub cannot_know: Vec<&'static str>,
}

/// What no report has a beginning and an end of.
const NO_CASES: [&str; 3] = [
    "splices and changes of reel: a report says when one was made, and nobody when it was begun",
    "the ground and the light of each leg: no report has them, so that the cases count by the light and the means asked for",
    "what follows the wire: nobody reports setting out",
];

/// Checks cases that somebody kept.
///
/// # Errors
/// More than [`MOST_CASES`], a time that is none or longer than a week, or too many entries.
pub fn check(cases: &[Case]) -> Result<(), OutOfBounds> {
    count("cases", cases.len(), 0, MOST_CASES)?;
    for (number, case) in cases.iter().enumerate() {
        range(|| format!("cases[{number}].time_min"), case.time_min, 0.0, LONGEST_MIN)?;
        count(&format!("cases[{number}].entries"), case.entries.len(), 0, MOST_ENTRIES)?;
    }
    Ok(())
}

/// The cases that a review has: each leg of some length, each passing and each finishing whose time is known.
#[must_use]
pub fn cases(review: &Review, operation: OperationId, means: Means, light: Light) -> Vec<Case> {
    let case = |figure, time: &Figure<Minutes>, times: f64| {
        let time_min = Minutes::bounded(time.value?.value() * times);
        let sound = time_min > Minutes::ZERO && time_min.value() <= LONGEST_MIN;
        let entries = time.entries.iter().copied().take(MOST_ENTRIES).collect();
        sound.then_some(Case { operation, figure, time_min, entries })
    };
    let mut cases = Vec::new();
    for line in &review.lines {
        let legs = line.legs.iter().filter(|leg| leg.to_m - leg.from_m >= SHORTEST_LEG);
        cases.extend(legs.filter_map(|leg| {
            let kilometres = (leg.to_m - leg.from_m).value() / 1_000.0;
            case(Learned::Laying { means, light }, &leg.laying, 1.0 / kilometres)
        }));
        for crossing in &line.crossings {
            let Some(construction) = crossing.construction else { continue };
            cases.extend(case(Learned::Passing { construction, light }, &crossing.passing, 1.0));
            cases.extend(case(Learned::Finishing { construction, light }, &crossing.finishing, 1.0));
        }
    }
    cases
}

/// Puts earlier cases and those of an operation together, and says what they come to. What the earlier ones have of the same
/// operation is replaced.
#[must_use]
pub fn rates(earlier: Vec<Case>, operation: OperationId, own: Vec<Case>, profile: &Profile) -> Rates {
    let mut cases: Vec<Case> = earlier.into_iter().filter(|case| case.operation != operation).collect();
    cases.extend(own);
    let left_out = cases.len().saturating_sub(MOST_CASES);
    cases.drain(..left_out);
    let mut by_figure: BTreeMap<Learned, Vec<&Case>> = BTreeMap::new();
    for case in &cases {
        by_figure.entry(case.figure).or_default().push(case);
    }
    let estimates: Vec<Estimate> =
        by_figure.into_iter().filter_map(|(figure, cases)| estimate(figure, &cases, profile)).collect();
    let lines: Vec<&str> = estimates.iter().filter_map(|estimate| estimate.line.as_deref()).collect();
    let profile = if lines.is_empty() {
        String::new()
    } else {
        format!(
            "# The section's own rates, from its reviews. Look at each before you take it over.\n{}\n",
            lines.join("\n")
        )
    };
    Rates { left_out, estimates, profile, cannot_know: NO_CASES.to_vec(), cases }
}

/// The value below which a part of the sorted values lies, between two of them in proportion.
///
/// # Source
/// Hyndman and Fan 1996, definition 7: (n − 1) p counted from the first; what numpy's `percentile` does unless told otherwise.
fn quantile(sorted: &[f64], part: f64) -> f64 {
    #[allow(clippy::cast_precision_loss, reason = "cases are few")]
    let place = (sorted.len().saturating_sub(1)) as f64 * part;
    #[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "a place in the list")]
    let below = place.floor() as usize;
    let at = |place: usize| sorted.get(place).or(sorted.last()).copied().unwrap_or(0.0);
    at(below) + (at(below + 1) - at(below)) * place.fract()
}

fn spread(sorted: &[f64]) -> Spread {
    let at = |part| Minutes::bounded(quantile(sorted, part));
    Spread { cases: sorted.len(), median_min: at(0.5), p10_min: at(0.1), p90_min: at(0.9) }
}

fn estimate(figure: Learned, cases: &[&Case], profile: &Profile) -> Option<Estimate> {
    if cases.is_empty() {
        return None;
    }
    let sorted = |cases: &mut dyn Iterator<Item = &&Case>| {
        let mut times: Vec<f64> = cases.map(|case| case.time_min.value()).collect();
        times.sort_by(f64::total_cmp);
        times
    };
    let times = sorted(&mut cases.iter());
    let all = spread(&times);
    let too_few = times.len() < ENOUGH;
    let (low, high) = (quantile(&times, 0.25), quantile(&times, 0.75));
    let beyond = FAR_OUT * (high - low);
    let is_far_out = |case: &Case| {
        let time = case.time_min.value();
        !too_few && (time < low - beyond || time > high + beyond)
    };
    let far_out: Vec<Case> = cases.iter().filter(|case| is_far_out(case)).map(|&case| case.clone()).collect();
    let without_far_out =
        (!far_out.is_empty()).then(|| spread(&sorted(&mut cases.iter().filter(|case| !is_far_out(case)))));
    let name = figure.profile();
    let best = without_far_out.unwrap_or(all);
    let spread_words = |spread: &Spread| {
        format!(
            "{:.1} min, from {:.1} to {:.1} in eight of ten",
            spread.median_min.value(),
            spread.p10_min.value(),
            spread.p90_min.value()
        )
    };
    let mut words = format!("{} cases: {}", all.cases, spread_words(&all));
    if let Some(without) = &without_far_out {
        words = format!("{words}; without the {} far out: {}", far_out.len(), spread_words(without));
    }
    if too_few {
        words = format!("{words}. Fewer than {ENOUGH} cases are too few to trust");
    }
    let line = name.as_ref().filter(|_| !too_few).map(|name| figure.line(name, &best, &words));
    Some(Estimate {
        figure,
        profile_min: figure.planned(profile),
        profile: name,
        all,
        without_far_out,
        far_out,
        too_few,
        words,
        // What a profile would refuse is not offered.
        line: line.filter(|line| Profile::unit(line).is_ok()),
    })
}

impl Learned {
    /// Its name in a profile.
    fn profile(self) -> Option<String> {
        // A construction's name on the wire is its name in the file.
        let word = |means| match means {
            Means::Vehicle => "vehicle",
            Means::Wagon => "wagon",
            Means::Foot => "foot",
        };
        match self {
            Self::Laying { means, light: Light::Day } => Some(format!("pace.laying.{}.day", word(means))),
            Self::Laying { means, light: Light::Night } => Some(format!("pace.laying.{}.night", word(means))),
            Self::Passing { construction, light: Light::Day } => {
                Some(format!("pace.constructions.{}.lead", construction.as_str()))
            }
            Self::Finishing { construction, light: Light::Day } => {
                Some(format!("pace.constructions.{}.follow_up", construction.as_str()))
            }
            // A profile has the work by day, and one factor for all of it at night.
            Self::Passing { .. } | Self::Finishing { .. } => None,
        }
    }

    /// What a profile has, in minutes.
    fn planned(self, profile: &Profile) -> Option<Minutes> {
        match self {
            Self::Laying { means, light } => {
                let rate = profile.pace.laying_rate(means, light).value.value();
                (rate > 0.0).then(|| Minutes::bounded(1_000.0 / rate))
            }
            Self::Passing { construction, light: Light::Day } => {
                Some(profile.pace.constructions.of(construction).lead.value)
            }
            Self::Finishing { construction, light: Light::Day } => {
                Some(profile.pace.constructions.of(construction).follow_up.value)
            }
            Self::Passing { .. } | Self::Finishing { .. } => None,
        }
    }

    /// The line that a profile would have.
    fn line(self, name: &str, spread: &Spread, words: &str) -> String {
        let median = spread.median_min.value();
        let value = match self {
            Self::Laying { .. } => format!("m_per_min = {:.2}", 1_000.0 / median),
            Self::Passing { .. } | Self::Finishing { .. } => format!("min = {median:.2}"),
        };
        format!("{name} = {{ {value}, source = \"own reviews, {words}\" }}")
    }
}
