//! The share-out of the queue: which of several follow-up teams finishes which crossings, in which order, so that the last of
//! them ends soonest. It is a proposal: the command post takes it, changes it or leaves it. It reckons no travel itself; that is
//! [`crate::road`].
//!
//! The search is simulated annealing (Kirkpatrick, Gelatt and Vecchi, Science 220, 1983, by the crate argmin) from the best of a
//! simple rule, and after it every single move is tried until none is better. It takes the same course each time: the seed is
//! fixed, and the number of turns goes by the size of the question and never by a clock.

use std::cell::RefCell;

use argmin::{
    core::{CostFunction, Error, Executor},
    solver::simulatedannealing::{Anneal, SATempFunc, SimulatedAnnealing},
};
use rand_xoshiro::{
    Xoshiro256PlusPlus,
    rand_core::{RngCore, SeedableRng},
};

use crate::{road::Travel, units::Minutes};

/// The most teams that a queue is shared out among.
pub const MOST_TEAMS: usize = 10;
/// The most crossings that are shared out at once.
pub const MOST_CROSSINGS: usize = 100;

/// A minute's later end counts as much as so many minutes of travel: more than there can be, so that travel only tells those apart
/// that end as soon.
const END_COUNTS: f64 = 1e9;
/// What it counts where no road leads.
const NO_ROAD: f64 = 1e9;
/// Turns of the search, for each crossing and at the most.
const TURNS_EACH: u64 = 5_000;
const MOST_TURNS: u64 = 150_000;
/// In one of the two searches a minute's later end counts as so many minutes of travel only: less travel anywhere is the way to an
/// earlier end.
const END_COUNTS_AT_FIRST: f64 = 4.0;
/// The search begins so ready to take a worse step, in minutes of the end, and ends at the least.
const BEGINS_AT_MIN: f64 = 30.0;
const ENDS_AT_MIN: f64 = 0.01;
const SEED: u64 = 0x006c_6179_7769_7265;

/// What is shared out. Places are numbered: the teams first, then the crossings.
#[derive(Debug, Clone, PartialEq)]
pub struct Question {
    /// When each team can set out, in minutes from now.
    pub ready: Vec<Minutes>,
    /// How long the work at each crossing takes.
    pub work: Vec<Minutes>,
    /// The travel from every place to every place; none where no way leads.
    pub travel: Vec<Vec<Option<Travel>>>,
}

/// A crossing in a team's round.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Stop {
    /// Which crossing, by its number in the question.
    pub crossing: usize,
    /// The way there.
    pub travel: Travel,
    /// When the work begins, in minutes from now.
    pub begins: Minutes,
    /// When it is finished.
    pub ends: Minutes,
}

/// Who does what.
#[derive(Debug, Clone, PartialEq)]
pub struct Answer {
    /// Each team's round.
    pub rounds: Vec<Vec<Stop>>,
    /// Crossings to which no way leads from any team.
    pub not_reached: Vec<usize>,
    /// When the last of all is finished; none when there is nothing to do.
    pub ends: Option<Minutes>,
}

/// Shares the work out. The lists have to be as long as they should: one row of travel for each team and each crossing.
#[must_use]
pub fn share_out(question: &Question) -> Answer {
    let search = Search::new(question);
    let order = search.soonest();
    search.answer(&order)
}

/// The same for rounds that somebody has put together: when each stop begins and ends. A crossing that stands in none is in
/// nobody's, and one that the round does not lead to is not reached.
#[must_use]
pub fn timed(question: &Question, rounds: &[Vec<usize>]) -> Answer {
    let between = |team: usize| (team > 0).then(|| question.work.len() + team - 1);
    let round = |team: usize| rounds.get(team).into_iter().flatten().copied();
    let order: Order =
        (0..question.ready.len()).flat_map(|team| between(team).into_iter().chain(round(team))).collect();
    Search { not_reached: Vec::new(), ..Search::new(question) }.answer(&order)
}

/// All rounds in one list of crossings, one after the other, with a number above the crossings' between two teams.
type Order = Vec<usize>;

struct Search<'a> {
    question: &'a Question,
    reached: Vec<usize>,
    not_reached: Vec<usize>,
    draw: RefCell<Xoshiro256PlusPlus>,
}

impl<'a> Search<'a> {
    fn new(question: &'a Question) -> Self {
        let teams = question.ready.len();
        let (reached, not_reached) = (0..question.work.len())
            .partition(|&crossing| (0..teams).any(|team| question.leg(team, crossing).is_some()));
        let draw = RefCell::new(Xoshiro256PlusPlus::seed_from_u64(SEED));
        Self { question, reached, not_reached, draw }
    }

    /// Each next crossing goes to whoever is done with it first.
    fn by_simple_rule(&self) -> Order {
        let question = self.question;
        let mut rounds: Vec<Vec<usize>> = vec![Vec::new(); question.ready.len()];
        let mut free: Vec<(usize, f64)> =
            question.ready.iter().enumerate().map(|(team, ready)| (team, ready.value())).collect();
        let mut left = self.reached.clone();
        while !left.is_empty() {
            let mut best = (f64::INFINITY, 0, 0);
            for (team, &(at, since)) in free.iter().enumerate() {
                for (number, &crossing) in left.iter().enumerate() {
                    let way = question.leg(at, crossing).map_or(NO_ROAD, |t| t.travel_min.value());
                    let end = since + way + question.work[crossing].value();
                    if end < best.0 {
                        best = (end, team, number);
                    }
                }
            }
            let (end, team, number) = best;
            let crossing = left.remove(number);
            rounds[team].push(crossing);
            free[team] = (question.ready.len() + crossing, end);
        }
        let mut order = Vec::new();
        for (team, round) in rounds.into_iter().enumerate() {
            if team > 0 {
                order.push(question.work.len() + team - 1);
            }
            order.extend(round);
        }
        order
    }

    /// The better of two searches: one that goes by the end alone, which finds the best of a small queue, and one that goes by the
    /// travel as well, which finds its way in a large one.
    fn soonest(&self) -> Order {
        let first = self.by_simple_rule();
        if self.reached.len() < 2 {
            return self.polished(first);
        }
        let found =
            [END_COUNTS_AT_FIRST, END_COUNTS].map(|counts| self.polished(self.annealed(&first, counts)));
        let [a, b] = found;
        if self.cost(&b, END_COUNTS) < self.cost(&a, END_COUNTS) { b } else { a }
    }

    fn annealed(&self, first: &Order, end_counts: f64) -> Order {
        let turns = (TURNS_EACH * self.reached.len() as u64).min(MOST_TURNS);
        #[allow(clippy::cast_precision_loss, reason = "some hundred thousand")]
        let cooling = (ENDS_AT_MIN / BEGINS_AT_MIN).powf(1.0 / turns as f64);
        let rng = Xoshiro256PlusPlus::seed_from_u64(SEED);
        let done = SimulatedAnnealing::new_with_rng(BEGINS_AT_MIN * end_counts, rng)
            .map(|solver| solver.with_temp_func(SATempFunc::Exponential(cooling)))
            .and_then(|solver| {
                Executor::new(Annealed { search: self, end_counts }, solver)
                    .configure(|state| state.param(first.clone()).max_iters(turns))
                    .run()
            });
        // A search that fails leaves the simple rule's answer, which is one.
        done.ok().and_then(|mut done| done.state.take_best_param()).unwrap_or_else(|| first.clone())
    }

    /// Every move of one crossing and every exchange of two, until none is better.
    fn polished(&self, mut order: Order) -> Order {
        let mut cost = self.cost(&order, END_COUNTS);
        loop {
            let before = cost;
            for from in 0..order.len() {
                for to in 0..order.len() {
                    for next in [moved(&order, from, to), exchanged(&order, from, to)] {
                        let now = self.cost(&next, END_COUNTS);
                        if now < cost {
                            (order, cost) = (next, now);
                        }
                    }
                }
            }
            if cost >= before {
                return order;
            }
        }
    }

    fn cost(&self, order: &[usize], end_counts: f64) -> f64 {
        let question = self.question;
        let (mut team, mut at, mut now) = (0, 0, question.ready.first().map_or(0.0, |ready| ready.value()));
        let (mut last, mut gone, mut worked) = (0.0_f64, 0.0, false);
        for &stop in order {
            if stop >= question.work.len() {
                last = if worked { last.max(now) } else { last };
                team += 1;
                (at, now, worked) = (team, question.ready[team].value(), false);
                continue;
            }
            let way = question.leg(at, stop).map_or(NO_ROAD, |travel| travel.travel_min.value());
            gone += way;
            now += way + question.work[stop].value();
            (at, worked) = (question.ready.len() + stop, true);
        }
        last = if worked { last.max(now) } else { last };
        last * end_counts + gone
    }

    fn answer(mut self, order: &[usize]) -> Answer {
        let question = self.question;
        let mut rounds = Vec::with_capacity(question.ready.len());
        let mut stops = order.split(|&stop| stop >= question.work.len());
        for (team, ready) in question.ready.iter().enumerate() {
            let (mut at, mut now) = (team, *ready);
            let mut round = Vec::new();
            for &crossing in stops.next().unwrap_or_default() {
                let Some(travel) = question.leg(at, crossing) else {
                    // Reached from another team alone, and that one cannot go on from where it is.
                    self.not_reached.push(crossing);
                    continue;
                };
                let begins = now + travel.travel_min;
                let ends = begins + question.work[crossing];
                round.push(Stop { crossing, travel, begins, ends });
                (at, now) = (question.ready.len() + crossing, ends);
            }
            rounds.push(round);
        }
        self.not_reached.sort_unstable();
        let ends = rounds.iter().filter_map(|round| round.last()).map(|stop| stop.ends).reduce(Minutes::max);
        Answer { rounds, not_reached: self.not_reached, ends }
    }
}

impl Question {
    fn leg(&self, from: usize, crossing: usize) -> Option<Travel> {
        *self.travel.get(from)?.get(self.ready.len() + crossing)?
    }
}

/// The list with one entry in another place.
fn moved(order: &[usize], from: usize, to: usize) -> Order {
    let mut order = order.to_vec();
    let one = order.remove(from);
    order.insert(to, one);
    order
}

/// The list with two entries exchanged.
fn exchanged(order: &[usize], a: usize, b: usize) -> Order {
    let mut order = order.to_vec();
    order.swap(a, b);
    order
}

struct Annealed<'a, 'b> {
    search: &'a Search<'b>,
    end_counts: f64,
}

impl CostFunction for Annealed<'_, '_> {
    type Param = Order;
    type Output = f64;

    fn cost(&self, order: &Order) -> Result<f64, Error> {
        Ok(self.search.cost(order, self.end_counts))
    }
}

impl Anneal for Annealed<'_, '_> {
    type Param = Order;
    type Output = Order;
    type Float = f64;

    fn anneal(&self, order: &Order, _: f64) -> Result<Order, Error> {
        let mut draw = self.search.draw.borrow_mut();
        let below = |draw: &mut Xoshiro256PlusPlus, bound: usize| {
            usize::try_from(draw.next_u64() % (bound as u64)).unwrap_or(0)
        };
        let (a, b) = (below(&mut draw, order.len()), below(&mut draw, order.len()));
        Ok(match below(&mut draw, 3) {
            0 => moved(order, a, b),
            1 => exchanged(order, a, b),
            _ => {
                let mut order = order.clone();
                order[a.min(b)..=a.max(b)].reverse();
                order
            }
        })
    }
}
