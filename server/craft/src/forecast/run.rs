//! The line played through: the lead team first, since it waits for nobody, then the follow-up teams, of whom the one that
//! is free first chooses first. Each piece of work has chances of its own, so that the same day is played again when
//! something is altered.

use rand_xoshiro::{
    Xoshiro256PlusPlus,
    rand_core::{RngCore, SeedableRng},
};

use super::{
    Input, Order, Range,
    clock::{ByLight, Clock, Conditions},
    course::{Course, Stop, between},
};

/// What all runs came to, in minutes.
pub(super) struct Played {
    pub(super) through: Vec<f64>,
    pub(super) finished: Vec<f64>,
    pub(super) waiting: Vec<f64>,
    pub(super) in_traffic: Vec<f64>,
    runs: usize,
    /// By crossing, and then by run.
    passed: Vec<f64>,
    finished_at: Vec<f64>,
}

impl Played {
    pub(super) fn passed(&self, stop: usize) -> &[f64] {
        &self.passed[stop * self.runs..(stop + 1) * self.runs]
    }

    pub(super) fn finished_at(&self, stop: usize) -> &[f64] {
        &self.finished_at[stop * self.runs..(stop + 1) * self.runs]
    }
}

/// Whose chances they are. Each has a sequence of its own, so that one team more leaves the others' days as they are.
enum Of {
    Lead,
    Finishing,
    Teams,
    Ways,
}

struct Chance(Xoshiro256PlusPlus);

impl Chance {
    fn new(input: &Input, run: u32, of: &Of) -> Self {
        let of = match of {
            Of::Lead => 0,
            Of::Finishing => 1,
            Of::Teams => 2,
            Of::Ways => 3,
        };
        let seed = (u64::from(input.seed) << 32) | (u64::from(run) << 2) | of;
        Self(Xoshiro256PlusPlus::seed_from_u64(seed))
    }

    /// How many times as long as likely, from a triangular distribution whose mode is 1.
    ///
    /// # Source
    /// The inverse of its distribution function (Evans, Hastings, Peacock, Statistical Distributions, from memory).
    fn times(&mut self, range: Range) -> f64 {
        // The upper 53 bits: every value that a number between 0 and 1 of this width can have, each as often.
        #[allow(clippy::cast_precision_loss, reason = "53 bits are held exactly")]
        let drawn = (self.0.next_u64() >> 11) as f64 / (1_u64 << 53) as f64;
        let (least, most) = (range.least.value(), range.most.value());
        let width = most - least;
        if width <= 0.0 {
            return 1.0;
        }
        let below = (1.0 - least) / width;
        if drawn < below {
            least + (drawn * width * (1.0 - least)).sqrt()
        } else {
            most - ((1.0 - drawn) * width * (most - 1.0)).sqrt()
        }
    }
}

struct Team {
    clock: Clock,
    /// Where it is, by the way from the near end.
    at: ByLight,
    times: f64,
}

/// One run's figures for each crossing.
struct Day {
    passed: Vec<f64>,
    finished: Vec<f64>,
    through: f64,
}

/// Plays the line through as often as is asked.
pub(super) fn play(course: &Course, input: &Input, conditions: &Conditions) -> Played {
    let runs = input.runs as usize;
    let stops = course.stops.len();
    let mut played = Played {
        through: Vec::with_capacity(runs),
        finished: Vec::with_capacity(runs),
        waiting: Vec::with_capacity(runs),
        in_traffic: Vec::with_capacity(runs),
        runs,
        passed: vec![0.0; stops * runs],
        finished_at: vec![0.0; stops * runs],
    };
    let mut day = Day { passed: vec![0.0; stops], finished: vec![0.0; stops], through: 0.0 };
    for run in 0..input.runs {
        lead(course, input, conditions, run, &mut day);
        let (finished, waiting) = follow_up(course, input, conditions, run, &mut day);
        let mut in_traffic = 0.0;
        for (number, stop) in course.stops.iter().enumerate() {
            if stop.carries_traffic {
                in_traffic += day.finished[number] - day.passed[number];
            }
            played.passed[number * runs + run as usize] = day.passed[number];
            played.finished_at[number * runs + run as usize] = day.finished[number];
        }
        played.through.push(day.through);
        played.finished.push(finished);
        played.waiting.push(waiting);
        played.in_traffic.push(in_traffic);
    }
    played
}

/// The lead team lays from crossing to crossing, and calls from the far end.
fn lead(course: &Course, input: &Input, conditions: &Conditions, run: u32, day: &mut Day) {
    let spread = &input.spread;
    let mut chance = Chance::new(input, run, &Of::Lead);
    let mut clock = Clock::at(0.0);
    let team = chance.times(spread.teams);
    for (stop, passed) in course.stops.iter().zip(&mut day.passed) {
        let [laying, reels, here] =
            [spread.laying, spread.reel_changes, spread.crossings].map(|range| team * chance.times(range));
        clock.work(stop.laying, laying, conditions);
        clock.work(stop.reels, reels, conditions);
        if stop.untouched {
            clock.work(stop.lead, here, conditions);
            *passed = clock.now;
        } else {
            *passed = 0.0;
        }
    }
    let [laying, reels, test] =
        [spread.laying, spread.reel_changes, spread.tests].map(|range| team * chance.times(range));
    clock.work(course.laying, laying, conditions);
    clock.work(course.reels, reels, conditions);
    clock.work(course.test, test, conditions);
    day.through = if course.through { 0.0 } else { clock.now };
}

/// The follow-up teams finish what is passed, and one of them proves the line from its far end. Says when that was, and for
/// how long they waited.
fn follow_up(course: &Course, input: &Input, conditions: &Conditions, run: u32, day: &mut Day) -> (f64, f64) {
    let spread = &input.spread;
    let mut chance = Chance::new(input, run, &Of::Finishing);
    let finishing: Vec<f64> = course.stops.iter().map(|_| chance.times(spread.crossings)).collect();
    let test = chance.times(spread.tests);
    let mut chance = Chance::new(input, run, &Of::Teams);
    let mut ways = Chance::new(input, run, &Of::Ways);
    let mut teams = Vec::with_capacity(usize::from(input.follow_up_teams));
    let mut open = Vec::with_capacity(course.stops.len());
    for (number, stop) in course.stops.iter().enumerate() {
        day.finished[number] = 0.0;
        if let Some(done) = stop.in_hand {
            let mut team =
                Team { clock: Clock::at(0.0), at: stop.from_start, times: chance.times(spread.teams) };
            let left = Course::left(stop.follow_up, done, input);
            team.clock.work(stop.follow_up, team.times * finishing[number] * left, conditions);
            day.finished[number] = team.clock.now;
            teams.push(team);
        } else if !stop.finished {
            open.push(number);
        }
    }
    let mut places = course.teams_at.iter();
    while teams.len() < usize::from(input.follow_up_teams) {
        let at = places.next().copied().unwrap_or([0.0; 2]);
        teams.push(Team { clock: Clock::at(course.set_out), at, times: chance.times(spread.teams) });
    }
    let mut waiting = 0.0;
    while !open.is_empty() {
        let Some(team) = teams.iter_mut().min_by(|a, b| a.clock.now.total_cmp(&b.clock.now)) else { break };
        let chosen = choose(&open, &course.stops, &day.passed, team, input.order);
        let number = open.remove(chosen);
        let stop = &course.stops[number];
        let way = ways.times(spread.following) * team.times;
        team.clock.work(between(team.at, stop.from_start), way, conditions);
        waiting += team.clock.wait(day.passed[number], conditions);
        team.clock.work(stop.follow_up, team.times * finishing[number], conditions);
        team.at = stop.from_start;
        day.finished[number] = team.clock.now;
    }
    // Whoever is there first proves it, once it is through and nobody has anything in hand.
    let ready = day.finished.iter().copied().fold(day.through, f64::max);
    for team in &mut teams {
        let way = ways.times(spread.following) * team.times;
        team.clock.work(between(team.at, course.from_start), way, conditions);
    }
    let Some(team) = teams.iter_mut().min_by(|a, b| a.clock.now.total_cmp(&b.clock.now)) else {
        return (ready, waiting);
    };
    waiting += team.clock.wait(ready, conditions);
    team.clock.work(course.test, team.times * test, conditions);
    (team.clock.now, waiting)
}

/// The place in `open` of what a team that is free goes to.
fn choose(open: &[usize], stops: &[Stop], passed: &[f64], team: &Team, order: Order) -> usize {
    if order == Order::Along {
        return 0;
    }
    let way = |number: usize| between(team.at, stops[number].from_start)[0];
    let rank = |number: usize| if order == Order::TrafficFirst { stops[number].rank } else { 0 };
    let over = open.iter().enumerate().filter(|&(_, &number)| passed[number] <= team.clock.now);
    let best = over.min_by(|(_, a), (_, b)| rank(**a).cmp(&rank(**b)).then(way(**a).total_cmp(&way(**b))));
    let next = || open.iter().enumerate().min_by(|(_, a), (_, b)| passed[**a].total_cmp(&passed[**b]));
    best.or_else(next).map_or(0, |(place, _)| place)
}
