//! The line played through: the lead team first, since it waits for nobody, then the follow-up teams, of whom the one that
//! is free first chooses first. Each piece of work has chances of its own, so that the same day is played again when
//! something is altered.

use rand_xoshiro::{
    Xoshiro256PlusPlus,
    rand_core::{RngCore, SeedableRng},
};

use super::{
    Input, Order, Range, Spread,
    clock::{ByLight, Clock, Conditions},
    course::{Course, between, sum},
};

/// What is played: lines that have their follow-up teams in common. One line is the special case.
#[derive(Clone, Copy)]
pub(super) struct Play<'a> {
    pub(super) courses: &'a [Course],
    pub(super) follow_up_teams: u8,
    /// One lead team lays the lines one after the other; else each has its own.
    pub(super) one_lead_team: bool,
    pub(super) order: Order,
    pub(super) spread: Spread,
    pub(super) runs: u32,
    pub(super) seed: u32,
}

impl<'a> Play<'a> {
    pub(super) fn of(input: &Input, course: &'a Course) -> Self {
        Self {
            courses: std::slice::from_ref(course),
            follow_up_teams: input.follow_up_teams,
            one_lead_team: false,
            order: input.order,
            spread: input.spread,
            runs: input.runs,
            seed: input.seed,
        }
    }
}

/// What all runs came to, in minutes: all lines together, and each.
pub(super) struct Played {
    pub(super) through: Vec<f64>,
    pub(super) finished: Vec<f64>,
    pub(super) waiting: Vec<f64>,
    pub(super) in_traffic: Vec<f64>,
    pub(super) lines: Vec<PlayedLine>,
}

/// What all runs came to on one line, in minutes.
pub(super) struct PlayedLine {
    pub(super) through: Vec<f64>,
    pub(super) finished: Vec<f64>,
    runs: usize,
    /// By crossing, and then by run.
    passed: Vec<f64>,
    finished_at: Vec<f64>,
}

impl PlayedLine {
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
    fn new(play: &Play<'_>, line: usize, run: u32, of: &Of) -> Self {
        let of = match of {
            Of::Lead => 0,
            Of::Finishing => 1,
            Of::Teams => 2,
            Of::Ways => 3,
        };
        // Runs take 13 bits and lines 6: none shares its chances with another.
        let seed = (u64::from(play.seed) << 32) | ((line as u64) << 20) | (u64::from(run) << 2) | of;
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
    /// On which line; none before it was at any.
    line: Option<usize>,
    /// Where it is, by the way from that line's near end, or from the first's.
    at: ByLight,
    times: f64,
}

impl Team {
    /// The way to a place on a line; on another line than its own, back along the wire and from near end to near end.
    fn way(&self, courses: &[Course], line: usize, to: ByLight) -> ByLight {
        let own = self.line.unwrap_or(0);
        if own == line {
            return between(self.at, to);
        }
        let across = courses[own].to_near_end_m.get(line).copied().unwrap_or(0.0);
        sum(sum(self.at, courses[line].following_over(across)), to)
    }
}

/// One run's figures for one line.
struct Day {
    passed: Vec<f64>,
    finished: Vec<f64>,
    through: f64,
    proved: f64,
}

/// What waits for a follow-up team: a crossing, or the proof of a line none of whose crossings waits any more.
struct Job {
    line: usize,
    /// None is the proof.
    stop: Option<usize>,
    at: ByLight,
    rank: u8,
    /// From when on it can be worked on.
    ready: f64,
}

/// Plays the lines through as often as is asked.
pub(super) fn play(play: &Play<'_>, conditions: &Conditions) -> Played {
    let runs = play.runs as usize;
    let all = || Vec::with_capacity(runs);
    let line = |course: &Course| {
        let stops = course.stops.len();
        let none = || vec![0.0; stops * runs];
        PlayedLine { through: all(), finished: all(), runs, passed: none(), finished_at: none() }
    };
    let mut played = Played {
        through: all(),
        finished: all(),
        waiting: all(),
        in_traffic: all(),
        lines: play.courses.iter().map(line).collect(),
    };
    let day = |course: &Course| {
        let none = || vec![0.0; course.stops.len()];
        Day { passed: none(), finished: none(), through: 0.0, proved: 0.0 }
    };
    let mut days: Vec<Day> = play.courses.iter().map(day).collect();
    for run in 0..play.runs {
        lead(play, conditions, run, &mut days);
        let waiting = follow_up(play, conditions, run, &mut days);
        let mut in_traffic = 0.0;
        for ((course, day), line) in play.courses.iter().zip(&days).zip(&mut played.lines) {
            for (number, stop) in course.stops.iter().enumerate() {
                if stop.carries_traffic {
                    in_traffic += day.finished[number] - day.passed[number];
                }
                line.passed[number * runs + run as usize] = day.passed[number];
                line.finished_at[number * runs + run as usize] = day.finished[number];
            }
            line.through.push(day.through);
            line.finished.push(day.proved);
        }
        played.through.push(days.iter().map(|day| day.through).fold(0.0, f64::max));
        played.finished.push(days.iter().map(|day| day.proved).fold(0.0, f64::max));
        played.waiting.push(waiting);
        played.in_traffic.push(in_traffic);
    }
    played
}

/// The lead teams lay from crossing to crossing, and call from the far end. One that lays several lines goes back to the
/// near end and on to the next; a line that is through has nothing left for it.
fn lead(play: &Play<'_>, conditions: &Conditions, run: u32, days: &mut [Day]) {
    let spread = &play.spread;
    let mut before: Option<(usize, Clock, f64)> = None;
    for (number, (course, day)) in play.courses.iter().zip(days).enumerate() {
        let mut chance = Chance::new(play, number, run, &Of::Lead);
        let mut clock = Clock::at(0.0);
        let mut team = chance.times(spread.teams);
        if let Some((last, since, times)) = before
            && !course.through
        {
            (clock, team) = (since, times);
            let last = &play.courses[last];
            let across = course.leading_over(last.to_near_end_m.get(number).copied().unwrap_or(0.0));
            let way = team * Chance::new(play, number, run, &Of::Ways).times(spread.following);
            clock.work(sum(sum(last.lead_back, across), course.lead_to_head), way, conditions);
        }
        for (stop, passed) in course.stops.iter().zip(&mut day.passed) {
            let [laying, reels, here] = [spread.laying, spread.reel_changes, spread.crossings]
                .map(|range| team * chance.times(range));
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
        if play.one_lead_team && !course.through {
            before = Some((number, clock, team));
        }
    }
}

/// The follow-up teams finish what is passed on all lines, and prove each line from its far end. Says for how long they
/// waited.
fn follow_up(play: &Play<'_>, conditions: &Conditions, run: u32, days: &mut [Day]) -> f64 {
    let (spread, courses) = (&play.spread, play.courses);
    let chances = courses.iter().enumerate().map(|(line, course)| {
        let mut chance = Chance::new(play, line, run, &Of::Finishing);
        let finishing: Vec<f64> = course.stops.iter().map(|_| chance.times(spread.crossings)).collect();
        (finishing, chance.times(spread.tests))
    });
    let chances: Vec<_> = chances.collect();
    let mut chance = Chance::new(play, 0, run, &Of::Teams);
    let mut ways = Chance::new(play, 0, run, &Of::Ways);
    let mut teams = Vec::with_capacity(usize::from(play.follow_up_teams));
    let mut open = Vec::new();
    let mut unfinished = vec![0_usize; courses.len()];
    for (line, (course, day)) in courses.iter().zip(days.iter_mut()).enumerate() {
        for (number, stop) in course.stops.iter().enumerate() {
            day.finished[number] = 0.0;
            if let Some(done) = stop.in_hand {
                let (clock, at) = (Clock::at(0.0), stop.from_start);
                let mut team = Team { clock, line: Some(line), at, times: chance.times(spread.teams) };
                let times = team.times * chances[line].0[number] * course.left(stop.follow_up, done);
                team.clock.work(stop.follow_up, times, conditions);
                day.finished[number] = team.clock.now;
                teams.push(team);
            } else if !stop.finished {
                let (at, rank, ready) = (stop.from_start, stop.rank, day.passed[number]);
                open.push(Job { line, stop: Some(number), at, rank, ready });
                unfinished[line] += 1;
            }
        }
        if unfinished[line] == 0 {
            open.push(proof(line, course, day));
        }
    }
    let mut places = courses
        .iter()
        .enumerate()
        .flat_map(|(line, course)| course.teams_at.iter().map(move |&at| (Some(line), at)));
    let set_out = courses.iter().map(|course| course.set_out).fold(f64::INFINITY, f64::min);
    while teams.len() < usize::from(play.follow_up_teams) {
        let (line, at) = places.next().unwrap_or((None, [0.0; 2]));
        teams.push(Team { clock: Clock::at(set_out), line, at, times: chance.times(spread.teams) });
    }
    let mut waiting = 0.0;
    while let Some(free) = first(teams.iter().map(|team| team.clock.now)) {
        let Some(chosen) = choose(&open, play, &teams, free) else { break };
        let job = open.remove(chosen);
        let (course, day) = (&courses[job.line], &mut days[job.line]);
        let (finishing, test) = &chances[job.line];
        let mut way = |team: &Team| {
            let mut clock = team.clock;
            let times = ways.times(spread.following) * team.times;
            clock.work(team.way(courses, job.line, job.at), times, conditions);
            clock
        };
        if let Some(number) = job.stop {
            let there = way(&teams[free]);
            let team = &mut teams[free];
            team.clock = there;
            waiting += team.clock.wait(job.ready, conditions);
            let work = course.stops[number].follow_up;
            team.clock.work(work, team.times * finishing[number], conditions);
            (team.line, team.at) = (Some(job.line), job.at);
            day.finished[number] = team.clock.now;
            unfinished[job.line] -= 1;
            if unfinished[job.line] == 0 {
                open.push(proof(job.line, course, day));
            }
        } else {
            // Whoever can be there first proves it, once it is through and nobody has anything in hand there.
            let there: Vec<Clock> = teams.iter().map(way).collect();
            let Some(by) = first(there.iter().map(|clock| clock.now)) else { break };
            let team = &mut teams[by];
            team.clock = there[by];
            waiting += team.clock.wait(job.ready, conditions);
            team.clock.work(course.test, team.times * test, conditions);
            (team.line, team.at) = (Some(job.line), job.at);
            day.proved = team.clock.now;
        }
    }
    waiting
}

/// The place of the least, and of the first of equals.
fn first(of: impl Iterator<Item = f64>) -> Option<usize> {
    of.enumerate().min_by(|(_, a), (_, b)| a.total_cmp(b)).map(|(place, _)| place)
}

/// The proof of a line all of whose crossings are taken in hand.
fn proof(line: usize, course: &Course, day: &Day) -> Job {
    let ready = day.finished.iter().copied().fold(day.through, f64::max);
    Job { line, stop: None, at: course.from_start, rank: u8::MAX, ready }
}

/// The place in `open` of what a team that is free goes to.
fn choose(open: &[Job], play: &Play<'_>, teams: &[Team], free: usize) -> Option<usize> {
    let team = &teams[free];
    if play.order == Order::Along {
        let on = |line: usize| open.iter().position(|job| job.line == line);
        return team.line.and_then(on).or_else(|| another_line(open, play, teams));
    }
    let way = |job: &Job| team.way(play.courses, job.line, job.at)[0];
    let rank = |job: &Job| if play.order == Order::TrafficFirst { job.rank } else { 0 };
    let over = open.iter().enumerate().filter(|(_, job)| job.ready <= team.clock.now);
    let best = over.min_by(|(_, a), (_, b)| rank(a).cmp(&rank(b)).then(way(a).total_cmp(&way(b))));
    let next = || open.iter().enumerate().min_by(|(_, a), (_, b)| a.ready.total_cmp(&b.ready));
    best.or_else(next).map(|(place, _)| place)
}

/// A team that has nothing left on its line goes to the line with a crossing to finish at which the fewest teams are; where
/// one lead team lays them one after the other, to the first of them.
fn another_line(open: &[Job], play: &Play<'_>, teams: &[Team]) -> Option<usize> {
    let mut there = vec![0_usize; play.courses.len()];
    if !play.one_lead_team {
        teams.iter().filter_map(|team| team.line).for_each(|line| there[line] += 1);
    }
    let place = |job: &Job| (job.stop.is_none(), there[job.line], job.line);
    open.iter().enumerate().min_by_key(|(_, job)| place(job)).map(|(place, _)| place)
}
