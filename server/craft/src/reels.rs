//! Which reels to take for a line, in which order, and where the splices between them fall. It never moves a stretch in
//! which no splice may fall, and never says that a plan is the best one before it has shown that no better one can be.
//! Its one planning figure is the wire that the two ends of a reel lose when they are bared and spliced.
//!
//! The model: a reel is begun once and lies in one piece of the line. Where it ends inside a stretch that allows no
//! splice, the next reel begins before that stretch, and what is left stays on its reel: it is not lost, but it is
//! carried about. So a plan takes the fewest reels first, and then those that leave the least wire on begun reels.
//! Splices fall on whole metres of wire, because nobody knows better what is left on a reel.
//!
//! The way: with the order of the reels given, running each one out as far as it may go is the best that can be done.
//! So only the choice and the order are searched, first broadly and then deeply. Three bounds cut the search down: the
//! least wire that covers the rest of the line if each reel could be had any number of times; the fewest of the longest
//! reels that cover it; and the least sum, not less than the line, that so many reels of those at hand can have at all.
//! Of two ways to use the same reels, the one that got farther stands for both. To choose and order reels like this is
//! a packing problem, and cruel cases of it can keep any method busy for ever: the work is bounded, and a plan says
//! whether it is proved to be the best.

use std::collections::HashMap;

use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

use crate::{
    bounds::{OutOfBounds, count, range},
    figure::PlanningFigure,
    text::Name,
    units::Metres,
};

/// The most reels at hand.
pub const MOST_REELS: usize = 500;
/// The most stretches without splices.
pub const MOST_STRETCHES: usize = 5_000;
/// The longest line, along its wire.
pub const LONGEST: Metres = Metres::from_const(200_000.0);
/// The most wire on one reel.
pub const FULLEST: Metres = Metres::from_const(20_000.0);

const ENDS: PlanningFigure<Metres> = PlanningFigure::new(
    Metres::from_const(1.0),
    "planning value, editable: 12 to 16 in left out at the start (SS0440 p. 68), and what the splices use up",
);

/// How many steps the search for the best plan may take, and each of those for what is missing. A step is one reel
/// looked at in one place; some ten million take a second at the worst.
const STEPS: u64 = 6_000_000;
const STEPS_FOR_MISSING: u64 = 300_000;
/// What every search may take even when the others have used up the rest.
const STEPS_AT_LEAST: u64 = 20_000;
/// What coming to a place takes beside looking at the reels there.
const STEPS_FOR_PLACE: u64 = 8;
/// How many reels the broad search may look at, and that for what is missing; how many the search for a price may look
/// at; and how many lines the broad search keeps.
const LOOKS: usize = 6_000_000;
const LOOKS_FOR_MISSING: usize = 600_000;
const PRICE_LOOKS: usize = 30_000_000;
const NARROWEST: usize = 8;
const WIDEST: usize = 256;
/// How many words of memory the table of sums may go through.
const SUM_WORDS: usize = 60_000_000;

/// What it takes to choose the reels of a line.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
#[schema(as = ReelsInput)]
pub struct Input {
    /// Wire that the line draws, in metres from 1 to 200,000.
    #[schema(minimum = 1, maximum = 200_000)]
    pub length_m: Metres,
    /// Stretches in which no splice may fall, in any order; they may overlap. At most [`MOST_STRETCHES`].
    #[serde(default)]
    #[schema(max_items = 5_000)]
    pub no_splice: Vec<Stretch>,
    /// The reels at hand. At most [`MOST_REELS`].
    #[schema(max_items = 500)]
    pub reels: Vec<Reel>,
    /// Take reels with this wire alone. Left out, wires may be mixed.
    #[serde(default)]
    pub wire: Option<Name>,
    /// Whether reels of Class B may be taken: more than four splices a conductor in half a mile (SS0440 p. 69).
    #[serde(default)]
    pub class_b: bool,
    /// What both ends of a reel lose when they are bared and spliced, in metres from 0 to 100. Else 1, a planning value.
    #[serde(default)]
    #[schema(minimum = 0, maximum = 100)]
    pub ends_m: Option<Metres>,
}

/// A stretch of wire in which no splice may fall. At its very ends one may.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
#[schema(as = ReelsNoSplice)]
pub struct Stretch {
    /// Where it begins, in metres of wire from 0 to the line's length.
    pub from_m: Metres,
    /// Where it ends, in metres of wire from its beginning to the line's length.
    pub to_m: Metres,
    /// What is there.
    #[serde(default)]
    pub what: Option<Name>,
}

/// A reel at hand.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
#[schema(as = ReelAtHand)]
pub struct Reel {
    /// What is written on it.
    pub label: Name,
    /// What is left on it, in metres from 0 to 20,000.
    #[schema(minimum = 0, maximum = 20_000)]
    pub left_m: Metres,
    /// The kind of wire.
    #[serde(default)]
    pub wire: Option<Name>,
    /// The class on its tag.
    #[serde(default)]
    pub class: Class,
}

/// A serviced reel's class, as its tag has it.
///
/// # Source
/// SS0440 p. 69.
#[derive(
    Debug, Clone, Copy, Default, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize, ToSchema,
)]
#[serde(rename_all = "snake_case")]
#[schema(as = ReelClass)]
pub enum Class {
    /// At most four splices a conductor in half a mile.
    #[default]
    A,
    /// More: for training and the rear.
    B,
}

/// The reels of a line.
#[derive(Debug, Clone, PartialEq, Serialize, ToSchema)]
#[schema(as = ReelsAnswer)]
pub struct Answer {
    /// Wire that the line draws, in metres.
    pub length_m: Metres,
    /// Wire that the reels give that may be taken, their ends taken off, in metres.
    pub at_hand_m: Metres,
    /// What both ends of a reel lose, in metres.
    pub ends_m: Metres,
    /// Where that figure is from.
    pub ends_source: &'static str,
    /// Reels that may not be taken.
    pub set_aside: Vec<SetAside>,
    /// The plan, or why there is none.
    pub outcome: Outcome,
}

/// A reel that may not be taken.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, ToSchema)]
#[schema(as = ReelSetAside)]
pub struct SetAside {
    /// Which one, counted from 0 in the order of the question.
    pub reel: usize,
    /// Why.
    pub why: &'static str,
}

/// The plan, or why there is none.
#[derive(Debug, Clone, PartialEq, Serialize, ToSchema)]
#[serde(tag = "outcome", rename_all = "snake_case")]
#[schema(as = ReelsOutcome)]
pub enum Outcome {
    /// The reels reach.
    Planned(Plan),
    /// They do not.
    Short(Short),
}

/// The reels in the order in which they are laid.
#[derive(Debug, Clone, PartialEq, Serialize, ToSchema)]
#[schema(as = ReelsPlan)]
pub struct Plan {
    /// Each reel's piece of the line.
    pub pieces: Vec<Piece>,
    /// Splices between them.
    pub splices: usize,
    /// Wire that is left on the begun reels, in metres, all together.
    pub rest_m: Metres,
    /// Whether it is shown that no plan has fewer splices.
    pub fewest_proved: bool,
    /// Whether it is shown that no plan with so many splices leaves less.
    pub least_rest_proved: bool,
}

/// A reel's piece of the line.
#[derive(Debug, Clone, PartialEq, Serialize, ToSchema)]
#[schema(as = ReelPiece)]
pub struct Piece {
    /// Which reel, counted from 0 in the order of the question.
    pub reel: usize,
    /// What is written on it.
    pub label: Name,
    /// Where its wire begins, in metres of wire.
    pub from_m: Metres,
    /// Where its wire ends, in metres of wire.
    pub to_m: Metres,
    /// What is left on it afterwards, in metres, its ends among it.
    pub rest_m: Metres,
    /// Why it is not run out: the stretch, counted from 0 in the order of the question, that its splice stands before.
    #[schema(required = true)]
    pub stopped_by: Option<usize>,
}

/// Why the reels do not reach, and what is missing.
#[derive(Debug, Clone, PartialEq, Serialize, ToSchema)]
#[schema(as = ReelsShort)]
pub struct Short {
    /// The reason.
    pub reason: Reason,
    /// It in words.
    pub why: String,
    /// How much one more reel has to hold for the line to be laid, in metres: the least.
    pub missing_m: Metres,
    /// Whether it is shown that no shorter one would do, and that there is no plan.
    pub proved: bool,
}

/// Why the reels do not reach.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, ToSchema)]
#[serde(tag = "kind", rename_all = "snake_case")]
#[schema(as = ReelsShortReason)]
pub enum Reason {
    /// All reels together are shorter than the line.
    TooLittle {
        /// By how much, in metres.
        by_m: Metres,
    },
    /// No reel is long enough for a stretch that allows no splice.
    NoReelSpans {
        /// Where the stretch begins, in metres of wire.
        from_m: Metres,
        /// Where it ends, in metres of wire.
        to_m: Metres,
        /// The longest reel, its ends taken off, in metres.
        longest_m: Metres,
        /// How many stretches are too long for it, this one among them.
        stretches: usize,
    },
    /// There is wire enough, but in no order do the splices fall where they may.
    SplicesForbidden {
        /// How far the reels get when of those at hand the one that leaves the least is always next, in metres of wire.
        reach_m: Metres,
    },
}

fn check(input: &Input) -> Result<(), OutOfBounds> {
    count("reels", input.reels.len(), 0, MOST_REELS)?;
    count("no_splice", input.no_splice.len(), 0, MOST_STRETCHES)?;
    range(|| "length_m".to_owned(), input.length_m, 1.0, LONGEST.value())?;
    if let Some(ends) = input.ends_m {
        range(|| "ends_m".to_owned(), ends, 0.0, 100.0)?;
    }
    let length = input.length_m.value();
    for (number, stretch) in input.no_splice.iter().enumerate() {
        range(|| format!("no_splice[{number}].from_m"), stretch.from_m, 0.0, length)?;
        range(|| format!("no_splice[{number}].to_m"), stretch.to_m, stretch.from_m.value(), length)?;
    }
    for (number, reel) in input.reels.iter().enumerate() {
        range(|| format!("reels[{number}].left_m"), reel.left_m, 0.0, FULLEST.value())?;
    }
    Ok(())
}

/// The reels to take, in order: fewest splices first, then least wire left on begun reels; or what is missing.
///
/// # Units
/// Metres.
///
/// # Errors
/// A list too long or a figure out of range.
///
/// # Source
/// Common practice, no source, for where splices may not be; SS0440 p. 69 for the classes.
///
/// ```
/// use laywire_craft::reels::{Input, Outcome, reckon};
/// // Worked by hand: 1,000 m first would end in the span at 950 m; 900 m first leaves the second to span it.
/// let asked = r#"{"length_m":1800,"ends_m":0,"no_splice":[{"from_m":950,"to_m":1050}],
///     "reels":[{"label":"1","left_m":1000},{"label":"2","left_m":900}]}"#;
/// let answer = reckon(&serde_json::from_str::<Input>(asked).unwrap()).unwrap();
/// let Outcome::Planned(plan) = answer.outcome else { panic!() };
/// assert_eq!((plan.pieces[0].reel, plan.splices, plan.rest_m.value()), (1, 1, 100.0));
/// ```
pub fn reckon(input: &Input) -> Result<Answer, OutOfBounds> {
    check(input)?;
    let ends = ENDS.or_given(input.ends_m);
    let mut set_aside = Vec::new();
    let mut stock: Vec<(usize, usize)> = Vec::new();
    for (number, reel) in input.reels.iter().enumerate() {
        let metres = whole(reel.left_m.value() - ends.value.value());
        let why = match (&input.wire, &reel.wire) {
            (Some(wanted), found) if found.as_ref() != Some(wanted) => Some("another wire"),
            _ if reel.class == Class::B && !input.class_b => Some("Class B: for training and the rear"),
            _ if metres == 0 => Some("nothing left on it but its ends"),
            _ => None,
        };
        match why {
            Some(why) => set_aside.push(SetAside { reel: number, why }),
            None => stock.push((metres, number)),
        }
    }
    stock.sort_by_key(|&(metres, number)| (std::cmp::Reverse(metres), number));
    let at_hand: usize = stock.iter().map(|&(metres, _)| metres).sum();
    let course = Course::new(input);
    let lengths: Vec<usize> = stock.iter().map(|&(metres, _)| metres).collect();
    let outcome = match best(&course, &lengths) {
        Ok(found) => Outcome::Planned(plan(input, &course, stock, found)),
        Err(nothing) => Outcome::Short(short(&course, &lengths, ends.value, &nothing)),
    };
    Ok(Answer {
        length_m: input.length_m,
        at_hand_m: metres(at_hand),
        ends_m: ends.value,
        ends_source: ends.source,
        set_aside,
        outcome,
    })
}

/// The whole metres in a length that is not much over [`LONGEST`]; none in a negative one.
#[allow(
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    reason = "the figure is bounded on both sides"
)]
fn whole(length: f64) -> usize {
    length.clamp(0.0, LONGEST.value()).floor() as usize
}

#[allow(clippy::cast_precision_loss, reason = "no more than 500 reels of 20,000 m")]
fn metres(whole: usize) -> Metres {
    Metres::bounded(whole as f64)
}

/// The line in whole metres: from each metre back to the last one where a splice may be.
struct Course {
    /// Its length, rounded up.
    length: usize,
    /// The greatest place, at or before each metre, where a splice may be. The far end counts as one, the near end too.
    back: Vec<u32>,
    /// The stretch that stands after each such place, if one does.
    stretch: HashMap<usize, usize>,
}

impl Course {
    #[allow(clippy::cast_possible_truncation, reason = "no line is longer than 200,000 m")]
    fn new(input: &Input) -> Self {
        let exact = input.length_m.value();
        let length = whole(exact) + usize::from(exact.fract() > 0.0);
        // How many stretches begin, less how many end, at each metre.
        let mut turns = vec![0_i32; length + 1];
        let mut stretch = HashMap::new();
        for (number, Stretch { from_m, to_m, .. }) in input.no_splice.iter().enumerate() {
            // Whole metres strictly inside.
            let first = whole(from_m.value()) + 1;
            let end = whole(to_m.value()) + usize::from(to_m.value().fract() > 0.0);
            if first < end {
                turns[first] += 1;
                turns[end] -= 1;
                stretch.insert(first - 1, number);
            }
        }
        let (mut inside, mut last) = (0, 0);
        let back = (0..=length)
            .map(|at| {
                inside += turns[at];
                if inside == 0 {
                    last = at as u32;
                }
                last
            })
            .collect();
        Self { length, back, stretch }
    }

    /// How far a reel gets from a place: to the end, or to the last place where its splice may be.
    fn reach(&self, from: usize, reel: usize) -> usize {
        self.back[(from + reel).min(self.length)] as usize
    }

    /// The least wire that covers the line from each place on, if reels of these lengths could be had any number of times
    /// and each had a price beside, in metres of wire.
    fn least_wire(&self, lengths: &[usize], price: usize) -> Vec<usize> {
        let kinds = kinds(lengths);
        let mut least = vec![usize::MAX; self.length + 1];
        least[self.length] = 0;
        for from in (0..self.length).rev().filter(|&from| self.back[from] as usize == from) {
            least[from] = kinds
                .iter()
                .filter_map(|kind| {
                    let to = self.reach(from, kind.length);
                    (to > from && least[to] < usize::MAX).then(|| least[to] + kind.length + price)
                })
                .min()
                .unwrap_or(usize::MAX);
        }
        least
    }

    /// As [`Course::least_wire`], with the price at which such a line has about so many reels: then what it costs without
    /// the price is the best bound for lines of that many.
    fn least_wire_of(&self, lengths: &[usize], count: usize) -> (Vec<usize>, usize) {
        let kinds = kinds(lengths);
        let bound = |least: &[usize], price: usize| least[0].saturating_sub(price * count);
        let (mut low, mut high) = (0, lengths.first().copied().unwrap_or(0));
        let mut best = (self.least_wire(lengths, 0), 0);
        let tries = PRICE_LOOKS / (self.length * kinds.len()).max(1);
        for _ in 0..tries.min(8) {
            let price = usize::midpoint(low, high);
            let least = self.least_wire(lengths, price);
            let (mut at, mut reels) = (0, 0);
            while at < self.length {
                let next = kinds
                    .iter()
                    .map(|kind| (self.reach(at, kind.length), kind.length + price))
                    .find(|&(to, cost)| to > at && least[to] < usize::MAX && least[to] + cost == least[at]);
                let Some((to, _)) = next else { return best };
                (at, reels) = (to, reels + 1);
            }
            if bound(&least, price) > bound(&best.0, best.1) {
                best = (least, price);
            }
            if reels > count {
                low = price;
            } else {
                high = price;
            }
        }
        best
    }

    /// The fewest reels of the greatest length that cover the line, or none when a stretch is too long for them.
    fn fewest(&self, longest: usize) -> Option<usize> {
        let (mut at, mut reels) = (0, 0);
        while at < self.length {
            let to = self.reach(at, longest);
            if to <= at {
                return None;
            }
            (at, reels) = (to, reels + 1);
        }
        Some(reels)
    }
}

/// Reels of one length.
#[derive(Debug, Clone, Copy, PartialEq)]
struct Kind {
    length: usize,
    count: usize,
}

/// Sorts reels, longest first, into kinds.
fn kinds(lengths: &[usize]) -> Vec<Kind> {
    lengths.chunk_by(|a, b| a == b).map(|same| Kind { length: same[0], count: same.len() }).collect()
}

/// The lengths in the order in which they are laid, and what is proved of them.
struct Found {
    order: Vec<usize>,
    fewest_proved: bool,
    least_rest_proved: bool,
}

/// Nothing found, and whether there is nothing to find.
struct Nothing {
    proved: bool,
}

/// The best order of reels; `lengths` are sorted, the longest first.
fn best(course: &Course, lengths: &[usize]) -> Result<Found, Nothing> {
    let total: usize = lengths.iter().sum();
    let reels = lengths.first().and_then(|&longest| course.fewest(longest));
    let (Some(at_least), true) = (reels, total >= course.length) else {
        return Err(Nothing { proved: true });
    };
    let least = course.least_wire(lengths, 0);
    let enough =
        (at_least..=lengths.len()).find(|&count| lengths[..count].iter().sum::<usize>() >= course.length);
    let at_least = enough.unwrap_or(lengths.len());
    // Whatever so many reels can do, the longest of them can, and one more never does harm.
    let mut steps = STEPS;
    let mut search_for = |count: usize| {
        let mut search =
            Search::new(course, &least, kinds(&lengths[..count]), count, steps / 4 + STEPS_AT_LEAST);
        let order = search.any(LOOKS);
        steps = steps.saturating_sub(search.spent());
        order.ok_or(!search.exhausted())
    };
    // Ever longer strides up to a count that does, and then halves back to the first one.
    let (mut stride, mut count) = (1, at_least);
    let mut too_few: Option<(usize, bool)> = None;
    let mut order = loop {
        match search_for(count) {
            Ok(order) => break order,
            Err(proved) if count == lengths.len() => return Err(Nothing { proved }),
            Err(proved) => too_few = Some((count, proved)),
        }
        count = (count + stride).min(lengths.len());
        stride *= 2;
    };
    while let Some((few, _)) = too_few
        && order.len() - few > 1
    {
        let middle = few.midpoint(order.len());
        match search_for(middle) {
            Ok(found) => order = found,
            Err(proved) => too_few = Some((middle, proved)),
        }
    }
    let fewest_proved = too_few.is_none_or(|(_, proved)| proved);
    let (order, least_rest_proved) = least_rest(course, &least, lengths, order, steps + STEPS_AT_LEAST);
    Ok(Found { order, fewest_proved, least_rest_proved })
}

/// As few reels as in `order`, with the least wire on them.
fn least_rest(
    course: &Course,
    least: &[usize],
    lengths: &[usize],
    order: Vec<usize>,
    steps: u64,
) -> (Vec<usize>, bool) {
    let count = order.len();
    let longest: usize = lengths[..count - 1].iter().sum();
    // A reel that does not reach even with the longest ones beside it is of no use.
    let useful: Vec<usize> =
        lengths.iter().copied().filter(|length| length + longest >= course.length).collect();
    let sum: usize = order.iter().sum();
    let floor = least_sum(&useful, count, course.length.max(least[0]), sum);
    if sum <= floor {
        return (order, true);
    }
    let (priced, price) = course.least_wire_of(&useful, count);
    let floor = floor.max(priced[0].saturating_sub(price * count));
    if sum <= floor {
        return (order, true);
    }
    let mut search = Search::new(course, &priced, kinds(&useful), count, steps);
    search.price = price;
    let better = search.least(sum, floor);
    let proved = !search.exhausted();
    (better.unwrap_or(order), proved)
}

/// The least sum of so many of these lengths that is not below `need`. `known` is one such sum, and stands when finding a
/// lesser one would take too much work.
fn least_sum(lengths: &[usize], count: usize, need: usize, known: usize) -> usize {
    let words = known / 64 + 1;
    if words.saturating_mul(count).saturating_mul(lengths.len()) > SUM_WORDS {
        return need;
    }
    // sums[n] has the bit s when some n of the lengths looked at so far add up to s.
    let mut sums = vec![vec![0_u64; words]; count + 1];
    sums[0][0] = 1;
    for (seen, &length) in lengths.iter().enumerate() {
        let (whole, bits) = (length / 64, length % 64);
        for n in (1..=count.min(seen + 1)).rev() {
            let (before, after) = sums.split_at_mut(n);
            let (from, to) = (&before[n - 1], &mut after[0]);
            for word in whole..words {
                let mut moved = from[word - whole] << bits;
                if bits > 0 && word > whole {
                    moved |= from[word - whole - 1] >> (64 - bits);
                }
                to[word] |= moved;
            }
        }
    }
    (need..=known).find(|&sum| sums[count][sum / 64] >> (sum % 64) & 1 == 1).unwrap_or(known)
}

/// A search through choices and orders of reels.
struct Search<'a> {
    course: &'a Course,
    /// What is still on hand, the longest first.
    kinds: Vec<Kind>,
    /// How many reels a plan has, or may have at the most.
    count: usize,
    /// The least wire that covers the line from each place on, whatever reels are left.
    least: &'a [usize],
    /// What that counts for each reel beside its wire.
    price: usize,
    /// What a reel of each kind adds to the number of a set of reels; none when sets are too many to number.
    weights: Option<Vec<u128>>,
    /// How far each set of reels has got, by its number.
    seen: HashMap<u128, u32>,
    order: Vec<usize>,
    best: Option<Vec<usize>>,
    /// The sum to beat, and the one that cannot be beaten.
    sum: usize,
    floor: usize,
    steps: u64,
    left: u64,
}

impl<'a> Search<'a> {
    fn new(course: &'a Course, least: &'a [usize], kinds: Vec<Kind>, count: usize, steps: u64) -> Self {
        let mut next = Some(1_u128);
        let weights = kinds
            .iter()
            .map(|kind| {
                let weight = next?;
                next = weight.checked_mul(kind.count as u128 + 1);
                next.map(|_| weight)
            })
            .collect();
        Self {
            course,
            least,
            price: 0,
            kinds,
            count,
            weights,
            seen: HashMap::new(),
            order: Vec::new(),
            best: None,
            sum: usize::MAX,
            floor: 0,
            steps,
            left: steps,
        }
    }

    /// The least wire that so many more reels need from a place on; none when nothing leads on from there.
    fn rest(&self, at: usize, more: usize) -> Option<usize> {
        let rest = self.least[at];
        (rest < usize::MAX).then(|| rest.saturating_sub(self.price * more).max(self.course.length - at))
    }

    fn spent(&self) -> u64 {
        self.steps - self.left
    }

    fn exhausted(&self) -> bool {
        self.left == 0
    }

    /// Any plan with at most so many reels. All reels of the search may be used, so what they add up to is known.
    fn any(&mut self, looks: usize) -> Option<Vec<usize>> {
        self.sum = self.kinds.iter().map(|kind| kind.length * kind.count).sum::<usize>() + 1;
        self.floor = self.sum;
        if !self.broad(looks, false) {
            self.lay(0, 0, 0);
        }
        self.best.take()
    }

    /// The plan with exactly so many reels and the least sum below `sum`; none is below `floor`.
    fn least(&mut self, sum: usize, floor: usize) -> Option<Vec<usize>> {
        (self.sum, self.floor) = (sum, floor);
        if !self.broad(LOOKS, true) {
            self.lay(0, 0, 0);
        }
        self.best.take()
    }

    /// Goes through all lines of one reel, of two, of three and so on at the same time, and keeps those of each number
    /// that promise most; where the reels are to be chosen, also those that get on evenly, for else short reels come first
    /// and long ones have to make up for them. It proves nothing, but finds good plans where going deep first is caught by an early choice.
    /// True when the search is over.
    fn broad(&mut self, looks: usize, evenly: bool) -> bool {
        struct Step {
            at: usize,
            used: usize,
            before: usize,
            kind: usize,
        }
        let width = (looks / (self.count * self.kinds.len()).max(1)).clamp(NARROWEST, WIDEST);
        let full: Vec<usize> = self.kinds.iter().map(|kind| kind.count).collect();
        let mut steps = vec![Step { at: 0, used: 0, before: 0, kind: 0 }];
        let mut lines: Vec<(usize, Vec<usize>)> = vec![(0, full.clone())];
        let mut last = None;
        for laid in 0..self.count {
            let mut next: Vec<(usize, usize, usize, usize, usize)> = Vec::new();
            let even = self.course.length * (laid + 1) / self.count;
            for (line, (step, counts)) in lines.iter().enumerate() {
                let Step { at, used, .. } = steps[*step];
                for (number, kind) in self.kinds.iter().enumerate().filter(|&(number, _)| counts[number] > 0)
                {
                    let (to, used) = (self.course.reach(at, kind.length), used + kind.length);
                    let rest = self.rest(to, self.count - laid - 1);
                    if to == self.course.length && used < self.sum {
                        self.sum = used;
                        last = Some((*step, kind.length));
                    } else if let Some(rest) = rest
                        && to > at
                        && used + rest < self.sum
                    {
                        let uneven = if evenly { to.abs_diff(even) / 4 } else { 0 };
                        next.push((used + rest + uneven, used, to, line, number));
                    }
                }
            }
            // Many promise the same: many more than are kept are looked at, and one of each place and sum is kept.
            let some = width * 4;
            if next.len() > some {
                next.select_nth_unstable(some);
                next.truncate(some);
            }
            next.sort_unstable();
            next.dedup_by_key(|&mut (_, used, to, ..)| (used, to));
            let mut kept = Vec::new();
            for (_, used, to, line, number) in next {
                let (before, counts) = &lines[line];
                let mut counts = counts.clone();
                counts[number] -= 1;
                self.count_as(&counts);
                if self.can_end(to, used, self.count - laid - 1) {
                    steps.push(Step { at: to, used, before: *before, kind: number });
                    kept.push((steps.len() - 1, counts));
                    if kept.len() == width {
                        break;
                    }
                }
            }
            lines = kept;
        }
        self.count_as(&full);
        if let Some((mut step, length)) = last {
            let mut order = vec![length];
            while step > 0 {
                order.push(self.kinds[steps[step].kind].length);
                step = steps[step].before;
            }
            order.reverse();
            self.best = Some(order);
        }
        self.best.is_some() && self.sum <= self.floor
    }

    fn count_as(&mut self, counts: &[usize]) {
        for (kind, &count) in self.kinds.iter_mut().zip(counts) {
            kind.count = count;
        }
    }

    /// Whether this set of reels has already got at least as far.
    fn was_here(&mut self, set: u128, at: usize) -> bool {
        if self.weights.is_none() {
            return false;
        }
        let at = u32::try_from(at).unwrap_or(u32::MAX);
        match self.seen.entry(set) {
            std::collections::hash_map::Entry::Occupied(mut entry) => {
                let before = entry.insert(at.max(*entry.get()));
                before >= at
            }
            std::collections::hash_map::Entry::Vacant(entry) => {
                entry.insert(at);
                false
            }
        }
    }

    /// Lays one reel more from a place on. True when the search is over.
    fn lay(&mut self, at: usize, used: usize, set: u128) -> bool {
        let more = self.count - self.order.len();
        if more <= 1 {
            return self.lay_last(at, used);
        }
        self.left = self.left.saturating_sub(self.kinds.len() as u64 + STEPS_FOR_PLACE);
        if self.left == 0 {
            return true;
        }
        if self.rest(at, more).is_none_or(|rest| used + rest >= self.sum)
            || !self.can_end(at, used, more)
            || self.was_here(set, at)
        {
            return false;
        }
        let mut next: Vec<(usize, usize, usize)> = self
            .kinds
            .iter()
            .enumerate()
            .filter(|(_, kind)| kind.count > 0)
            .map(|(number, kind)| (number, kind.length, self.course.reach(at, kind.length)))
            .filter(|&(_, _, to)| to > at)
            .collect();
        // The least left on the reel first, and of those the longest: they leave the most for those that follow.
        next.sort_by_key(|&(number, length, to)| (at + length - to, number));
        for (number, length, to) in next {
            self.kinds[number].count -= 1;
            self.order.push(length);
            let over = if to == self.course.length {
                self.end(used + length)
            } else {
                let weight = self.weights.as_ref().map_or(0, |weights| weights[number]);
                self.lay(to, used + length, set + weight)
            };
            self.order.pop();
            self.kinds[number].count += 1;
            if over {
                return true;
            }
        }
        false
    }

    /// Whether the longest that are left reach the end, and the shortest are not already too much.
    fn can_end(&self, at: usize, used: usize, more: usize) -> bool {
        let sum = |kinds: &mut dyn Iterator<Item = &Kind>| {
            let mut left = more;
            let mut sum = 0;
            for kind in kinds {
                let taken = kind.count.min(left);
                sum += taken * kind.length;
                left -= taken;
                if left == 0 {
                    break;
                }
            }
            sum
        };
        at + sum(&mut self.kinds.iter()) >= self.course.length
            && used + sum(&mut self.kinds.iter().rev()) < self.sum
    }

    /// Ends the line with the shortest reel that reaches.
    fn lay_last(&mut self, at: usize, used: usize) -> bool {
        let need = self.course.length - at;
        let long_enough = self.kinds.partition_point(|kind| kind.length >= need);
        let Some(kind) = self.kinds[..long_enough].iter().rev().find(|kind| kind.count > 0) else {
            return false;
        };
        let length = kind.length;
        self.order.push(length);
        let over = self.end(used + length);
        self.order.pop();
        over
    }

    /// The far end is reached. True when nothing better can be found.
    fn end(&mut self, used: usize) -> bool {
        if used < self.sum {
            self.sum = used;
            self.best = Some(self.order.clone());
        }
        self.sum <= self.floor
    }
}

fn plan(input: &Input, course: &Course, mut stock: Vec<(usize, usize)>, found: Found) -> Plan {
    let mut pieces = Vec::new();
    let mut at = 0;
    for length in found.order {
        let place = stock.iter().position(|&(metres, _)| metres == length).unwrap_or_default();
        let (_, reel) = stock.remove(place);
        let to = course.reach(at, length);
        let to_m = if to == course.length { input.length_m } else { metres(to) };
        let from_m = metres(at);
        let cut_short = at + length > to && to < course.length;
        pieces.push(Piece {
            reel,
            label: input.reels[reel].label.clone(),
            from_m,
            to_m,
            rest_m: (input.reels[reel].left_m - (to_m - from_m)).max(Metres::ZERO),
            stopped_by: if cut_short { course.stretch.get(&to).copied() } else { None },
        });
        at = to;
    }
    Plan {
        splices: pieces.len().saturating_sub(1),
        rest_m: pieces.iter().map(|piece| piece.rest_m).sum(),
        pieces,
        fewest_proved: found.fewest_proved,
        least_rest_proved: found.least_rest_proved,
    }
}

fn short(course: &Course, lengths: &[usize], ends: Metres, nothing: &Nothing) -> Short {
    let total: usize = lengths.iter().sum();
    let longest = lengths.first().copied().unwrap_or(0);
    // The longest way from one place where a splice may be to the next.
    let (from, to, stretches) = widest(course, longest);
    let reason = if total < course.length {
        Reason::TooLittle { by_m: metres(course.length - total) }
    } else if to - from > longest {
        Reason::NoReelSpans { from_m: metres(from), to_m: metres(to), longest_m: metres(longest), stretches }
    } else {
        Reason::SplicesForbidden { reach_m: metres(far(course, lengths)) }
    };
    // One more reel is the more use the longer it is; as long as the line, it is enough.
    let mut too_short = course.length.saturating_sub(total).max(1) - 1;
    if to - from > longest {
        too_short = too_short.max(to - from - 1);
    }
    let mut enough = course.length;
    // The missing reel is of any length, so nothing is known of the rest of the line but how long it is.
    let least: Vec<usize> = (0..=course.length).rev().collect();
    let mut proved = nothing.proved;
    while enough - too_short > 1 {
        let middle = too_short.midpoint(enough);
        let mut more = lengths.to_vec();
        more.insert(more.partition_point(|&length| length >= middle), middle);
        let mut search = Search::new(course, &least, kinds(&more), more.len(), STEPS_FOR_MISSING);
        if search.any(LOOKS_FOR_MISSING).is_some() {
            enough = middle;
        } else {
            too_short = middle;
            proved &= !search.exhausted();
        }
    }
    let missing_m = metres(enough) + ends;
    let why = match reason {
        Reason::TooLittle { by_m } => {
            format!("the reels are {by_m} too short all together; one more with {missing_m} on it would do")
        }
        Reason::NoReelSpans { from_m, to_m, longest_m, stretches } => format!(
            "{stretches} stretches without splices are longer than the longest reel, which gives {longest_m}: the longest \
             goes from {from_m} to {to_m} of the wire; one more reel with {missing_m} on it would do for all"
        ),
        Reason::SplicesForbidden { reach_m } => format!(
            "in no order do the splices fall where they may: the reels get to {reach_m} of the wire; one more with \
             {missing_m} on it would do"
        ),
    };
    Short { reason, why, missing_m, proved }
}

/// How far the reels get when the one that leaves the least on it is always next.
fn far(course: &Course, lengths: &[usize]) -> usize {
    let mut left = lengths.to_vec();
    let mut at = 0;
    while let Some(next) = (0..left.len()).min_by_key(|&n| at + left[n] - course.reach(at, left[n])) {
        at = course.reach(at, left.remove(next));
    }
    at
}

/// The longest stretch between two neighbouring places where a splice may be, and how many are longer than a reel.
fn widest(course: &Course, reel: usize) -> (usize, usize, usize) {
    let mut widest = (0, 0, 0);
    let mut last = 0;
    for at in (0..=course.length).filter(|&at| course.back[at] as usize == at) {
        if at - last > widest.1 - widest.0 {
            (widest.0, widest.1) = (last, at);
        }
        widest.2 += usize::from(at - last > reel);
        last = at;
    }
    widest
}
