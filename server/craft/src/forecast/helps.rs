//! What would help: one thing is altered at a time, and the same days are played again. It alters what a section can alter
//! (teams, order, when they set out, how a crossing is built) and never what is done already.

use serde::Serialize;
use utoipa::ToSchema;

use super::{
    MOST_TEAMS, Order, SoFar, Time,
    clock::Conditions,
    course::Course,
    mean,
    run::{Play, Played, play},
    time,
};
use crate::{construction::Construction, guide, obstacle::Obstacle, pace, profile::Profile, units::Minutes};

/// Other constructions that are tried, the most.
const MOST_OTHERS: usize = 5;
/// Runs times the square of the crossings, the most for each thing that is tried: a team that is free looks at all that is open.
/// It is what one line comes to with the most crossings that it may have.
const MOST_LOOKED_AT: u32 = 250_000_000;

/// What was altered to see whether it helps.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, ToSchema)]
#[serde(tag = "what", rename_all = "snake_case")]
#[schema(as = ForecastAltered)]
pub enum Altered {
    /// One follow-up team more.
    AnotherTeam {
        /// How many then.
        follow_up_teams: u8,
    },
    /// Another order of the follow-up teams' work.
    AnotherOrder {
        /// Which.
        order: Order,
    },
    /// The follow-up team sets out with the lead team.
    AtOnce,
    /// Another construction, wherever nobody has begun to build.
    AnotherConstruction {
        /// At which obstacles.
        obstacle: Obstacle,
        /// In place of which.
        instead_of: Construction,
        /// Which.
        construction: Construction,
        /// At how many crossings.
        count: usize,
    },
}

/// What would help, and how much. A figure below zero says that it would do harm.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, ToSchema)]
#[schema(as = ForecastHelp)]
pub struct Help {
    /// What was altered.
    pub altered: Altered,
    /// When the line is through then; of several, the last.
    pub through: Time,
    /// When it is finished then; of several, the last.
    pub finished: Time,
    /// Minutes of the time in which it is through in half of the runs.
    pub through_sooner_min: f64,
    /// Minutes of the time in which it is finished in half of the runs.
    pub finished_sooner_min: f64,
    /// Minutes for which wire lies unfinished across traffic, all crossings together, on average.
    pub unsafe_less_min: f64,
}

/// A line's work, and how it stands.
pub(super) type Work<'a> = (&'a pace::Input, Option<&'a SoFar>);

/// What would help with the lines that were played, the most first. `works` are those lines, in their order. Several lines
/// with more crossings than one may have are compared on the first of the days alone.
pub(super) fn helps(
    asked: &Play<'_>,
    works: &[Work<'_>],
    conditions: &Conditions,
    played: &Played,
) -> Vec<Help> {
    let asked = &Play { runs: asked.runs.min(most_runs(asked)), ..*asked };
    let half = |runs: &[f64]| time(runs).p50_min.value();
    let days = ..asked.runs as usize;
    let (through, finished) = (half(&played.through[days]), half(&played.finished[days]));
    let in_traffic = mean(&played.in_traffic[days]);
    let mut helps: Vec<Help> = alterations(asked, works)
        .into_iter()
        .map(|altered| {
            let with = play_altered(altered, asked, works, conditions);
            Help {
                altered,
                through: time(&with.through),
                finished: time(&with.finished),
                through_sooner_min: through - half(&with.through),
                finished_sooner_min: finished - half(&with.finished),
                unsafe_less_min: in_traffic - mean(&with.in_traffic),
            }
        })
        .collect();
    helps.sort_by(|a, b| {
        let sooner = b.finished_sooner_min.total_cmp(&a.finished_sooner_min);
        sooner.then(b.unsafe_less_min.total_cmp(&a.unsafe_less_min))
    });
    helps
}

fn most_runs(asked: &Play<'_>) -> u32 {
    let crossings: usize = asked.courses.iter().map(|course| course.stops.len()).sum();
    let crossings = u32::try_from(crossings).unwrap_or(u32::MAX);
    (MOST_LOOKED_AT / crossings.saturating_mul(crossings).max(1)).max(1)
}

fn alterations(asked: &Play<'_>, works: &[Work<'_>]) -> Vec<Altered> {
    let mut tried = Vec::new();
    let open = asked.courses.iter().flat_map(|course| &course.stops).filter(|stop| !stop.finished).count();
    if asked.follow_up_teams < MOST_TEAMS && open > 0 {
        tried.push(Altered::AnotherTeam { follow_up_teams: asked.follow_up_teams + 1 });
    }
    for order in [Order::Along, Order::Nearest, Order::TrafficFirst] {
        if order != asked.order && open > 1 {
            tried.push(Altered::AnotherOrder { order });
        }
    }
    // Teams set out as soon as one line wants them.
    if works.iter().all(|(line, _)| line.follow_up_after_min > Minutes::ZERO) {
        tried.push(Altered::AtOnce);
    }
    tried.extend(other_constructions(asked, works));
    tried
}

/// For each obstacle and construction, the quickest that the trade allows there too and that wants nothing to be there; the
/// most frequent first.
fn other_constructions(asked: &Play<'_>, works: &[Work<'_>]) -> Vec<Altered> {
    let minutes = |construction| pace::lead_minutes(construction).0 + pace::follow_up_minutes(construction).0;
    let untouched = asked.courses.iter().zip(works).flat_map(|(course, (line, _))| {
        let untouched = course.stops.iter().filter(|stop| stop.untouched);
        untouched.filter_map(|stop| line.crossings.get(stop.number))
    });
    let mut kinds: Vec<(Obstacle, Construction, usize)> = Vec::new();
    for crossing in untouched {
        let same = |kind: &&mut (Obstacle, Construction, usize)| {
            (kind.0, kind.1) == (crossing.obstacle, crossing.construction)
        };
        match kinds.iter_mut().find(same) {
            Some(kind) => kind.2 += 1,
            None => kinds.push((crossing.obstacle, crossing.construction, 1)),
        }
    }
    kinds.sort_by_key(|&(.., count)| std::cmp::Reverse(count));
    let others = kinds.into_iter().filter_map(|(obstacle, instead_of, count)| {
        // Whether it can be dug there nobody has said here: what usually holds is taken.
        let guide = guide::guide(obstacle, obstacle.usually_hard(), Profile::field());
        let allowed = guide.allowed.iter().map(|choice| choice.construction).filter(|&construction| {
            matches!(construction, Construction::OverheadLancePoles | Construction::Buried)
        });
        let construction = allowed.min_by_key(|&construction| minutes(construction))?;
        (minutes(construction) < minutes(instead_of)).then_some(Altered::AnotherConstruction {
            obstacle,
            instead_of,
            construction,
            count,
        })
    });
    others.take(MOST_OTHERS).collect()
}

/// The same days with one thing altered.
fn play_altered(altered: Altered, asked: &Play<'_>, works: &[Work<'_>], conditions: &Conditions) -> Played {
    let with_lines = |alter: &dyn Fn(&Course, &mut pace::Input)| {
        let courses = asked.courses.iter().zip(works).map(|(course, &(line, so_far))| {
            let mut line = line.clone();
            alter(course, &mut line);
            let mut other = Course::of(&line, so_far);
            other.to_near_end_m.clone_from(&course.to_near_end_m);
            other
        });
        let courses: Vec<Course> = courses.collect();
        play(&Play { courses: &courses, ..*asked }, conditions)
    };
    match altered {
        Altered::AnotherTeam { follow_up_teams } => play(&Play { follow_up_teams, ..*asked }, conditions),
        Altered::AnotherOrder { order } => play(&Play { order, ..*asked }, conditions),
        Altered::AtOnce => with_lines(&|_, line| line.follow_up_after_min = Minutes::ZERO),
        Altered::AnotherConstruction { obstacle, instead_of, construction, .. } => {
            with_lines(&|course, line| {
                for stop in course.stops.iter().filter(|stop| stop.untouched) {
                    if let Some(crossing) = line.crossings.get_mut(stop.number)
                        && (crossing.obstacle, crossing.construction) == (obstacle, instead_of)
                    {
                        crossing.construction = construction;
                    }
                }
            })
        }
    }
}
