//! The work on a line as the teams come to it: what each piece takes most likely, by day and by night.

use super::{Done, SoFar, by, clock::ByLight};
use crate::{
    obstacle::Obstacle,
    pace::{self, Light},
    profile::Profile,
    units::Metres,
};

/// A crossing as the teams come to it.
pub(super) struct Stop {
    /// Its place in the question.
    pub(super) number: usize,
    pub(super) chainage: Metres,
    /// Laying to it from the one before, or from the laying head.
    pub(super) laying: ByLight,
    /// Reels begun on that way.
    pub(super) reels: ByLight,
    /// The lead team's work at it.
    pub(super) lead: ByLight,
    /// Following the wire to it from the near end.
    pub(super) from_start: ByLight,
    /// The follow-up team's work at it.
    pub(super) follow_up: ByLight,
    /// How soon it comes in the order of traffic.
    pub(super) rank: u8,
    pub(super) carries_traffic: bool,
    /// Nobody has got the wire over yet.
    pub(super) untouched: bool,
    pub(super) finished: bool,
    /// For how long a team has had it in hand.
    pub(super) in_hand: Option<f64>,
}

/// A line's work.
pub(super) struct Course {
    /// From the near end to the far end.
    pub(super) stops: Vec<Stop>,
    /// Laying from the last crossing on.
    pub(super) laying: ByLight,
    /// Reels begun from there on.
    pub(super) reels: ByLight,
    /// Following the wire over its whole length.
    pub(super) from_start: ByLight,
    /// Connecting an end and calling.
    pub(super) test: ByLight,
    /// Whether it is through already.
    pub(super) through: bool,
    /// Where the follow-up teams are that have nothing in hand.
    pub(super) teams_at: Vec<ByLight>,
    pub(super) set_out: f64,
    /// For the lead team: back from the far end to the near end, and from there to the laying head.
    pub(super) lead_back: ByLight,
    pub(super) lead_to_head: ByLight,
    /// From its near end to that of each line, in metres; nothing where they begin at one place.
    pub(super) to_near_end_m: Vec<f64>,
    /// Minutes a metre for the follow-up team and the lead team, as they go without work.
    following: ByLight,
    leading: ByLight,
    /// The light of the question.
    light: usize,
}

/// Minutes along the line up to the end of each leg.
struct Along {
    ends: Vec<f64>,
    laying: Vec<ByLight>,
    following: Vec<ByLight>,
}

pub(super) fn sum(a: ByLight, b: ByLight) -> ByLight {
    [a[0] + b[0], a[1] + b[1]]
}

/// What is between two places; the same place is no way at all.
pub(super) fn between(from: ByLight, to: ByLight) -> ByLight {
    [(to[0] - from[0]).abs(), (to[1] - from[1]).abs()]
}

fn scaled(a: ByLight, by: f64) -> ByLight {
    [a[0] * by, a[1] * by]
}

impl Along {
    fn of(line: &pace::Input, plans: &[pace::Plan<'_>; 2], laying_rate: ByLight) -> Self {
        let mut along = Self { ends: vec![0.0], laying: vec![[0.0; 2]], following: vec![[0.0; 2]] };
        let (mut end, mut laying, mut following) = (0.0, [0.0; 2], [0.0; 2]);
        let follow =
            |ground: f64, plan: &pace::Plan<'_>| ground * plan.night.value / plan.following.value.value();
        for leg in &line.legs {
            let ground = leg.length_m.value() * plans[0].times(leg.ground).value;
            end += leg.length_m.value();
            laying = sum(laying, [ground / laying_rate[0], ground / laying_rate[1]]);
            following = sum(following, [follow(ground, &plans[0]), follow(ground, &plans[1])]);
            along.ends.push(end);
            along.laying.push(laying);
            along.following.push(following);
        }
        along
    }

    fn at(&self, minutes: &[ByLight], chainage: f64) -> ByLight {
        let leg = self.ends.partition_point(|&end| end < chainage).clamp(1, self.ends.len() - 1);
        let (from, to) = (self.ends[leg - 1], self.ends[leg]);
        if chainage >= to || to <= from {
            return minutes[leg];
        }
        let share = (chainage - from) / (to - from);
        sum(minutes[leg - 1], scaled(between(minutes[leg - 1], minutes[leg]), share))
    }
}

impl Course {
    pub(super) fn of(line: &pace::Input, so_far: Option<&SoFar>) -> Self {
        let lit = |light: Light| pace::Input { light, ..line.clone() };
        let questions = [lit(Light::Day), lit(Light::Night)];
        let plans = [pace::Plan::of(&questions[0]), pace::Plan::of(&questions[1])];
        // A rate that was given holds by the light that was asked for; by the other it changes as the built-in one does.
        let built_in = |light| Profile::field().pace.laying_rate(line.lead_means, light).value.value();
        let rates = [Light::Day, Light::Night].map(|light| match line.figures.lead_rate_m_per_min {
            Some(rate) => rate.value() * built_in(light) / built_in(line.light),
            None => built_in(light),
        });
        let along = Along::of(line, &plans, rates);
        let ground = along.ends.last().copied().unwrap_or(0.0);
        let changes = plans
            .each_ref()
            .map(|plan| f64::from(line.reel_changes) * plan.reel_change.value.value() * plan.night.value);
        let work = |at: &pace::Crossing, which: &dyn Fn(&pace::Plan<'_>, &pace::Crossing) -> f64| {
            [which(&plans[0], at), which(&plans[1], at)]
        };
        let (lead_times, follow_up_times) =
            so_far.map_or((1.0, 1.0), |so_far| (so_far.lead_times.value(), so_far.follow_up_times.value()));
        let head = so_far.map_or(0.0, |so_far| so_far.laid_m.value());
        let mut order: Vec<usize> = (0..line.crossings.len()).collect();
        order.sort_by_key(|&number| (line.crossings[number].chainage_m, number));
        let standing = |number: usize| so_far?.crossings.iter().find(|standing| standing.crossing == number);
        let mut reached = head;
        let mut first = true;
        // The way from where the last piece of work was, and the reels that are begun on it. On no ground at all they are
        // begun at once.
        let mut way = |to: f64| {
            let to_here = to.max(reached);
            let laid = between(along.at(&along.laying, reached), along.at(&along.laying, to_here));
            let share = if ground > 0.0 { (to_here - reached) / ground } else { f64::from(u8::from(first)) };
            first = false;
            reached = to_here;
            (scaled(laid, lead_times), scaled(changes, share * lead_times))
        };
        let mut stops = Vec::with_capacity(order.len());
        for number in order {
            let crossing = &line.crossings[number];
            let chainage = crossing.chainage_m.value();
            let (laying, reels) = way(chainage);
            let done = standing(number);
            let lead = work(crossing, &|plan, at| {
                let (minutes, times) = plan.lead(at);
                minutes.value.value() * times.value * lead_times
            });
            let follow_up = work(crossing, &|plan, at| {
                let (minutes, times) = plan.follow_up(at);
                minutes.value.value() * times.value * follow_up_times
            });
            stops.push(Stop {
                number,
                chainage: crossing.chainage_m,
                laying,
                reels,
                lead,
                from_start: scaled(along.at(&along.following, chainage), follow_up_times),
                follow_up,
                rank: rank(crossing.obstacle),
                carries_traffic: crossing.obstacle.carries_traffic(),
                untouched: done.is_none(),
                finished: done.is_some_and(|standing| standing.done == Done::Finished),
                in_hand: done
                    .filter(|standing| standing.done == Done::InHand)
                    .map(|standing| standing.for_min.value()),
            });
        }
        let (laying, reels) = way(ground);
        let teams_at = so_far.map_or_else(Vec::new, |so_far| {
            let at =
                |chainage: &Metres| scaled(along.at(&along.following, chainage.value()), follow_up_times);
            so_far.teams_at_m.iter().map(at).collect()
        });
        let following = plans.each_ref().map(|plan| plan.night.value / plan.following.value.value());
        let lead_rate = Profile::field().pace.following_rate(line.lead_means).value.value();
        let leading = plans.each_ref().map(|plan| plan.night.value / lead_rate * lead_times);
        // The lead team follows the wire back at the rate of its own means.
        let gone = |minutes: ByLight| [0, 1].map(|light| minutes[light] / following[light] * leading[light]);
        let (whole, to_head) = (along.at(&along.following, ground), along.at(&along.following, head));
        Self {
            stops,
            laying,
            reels,
            from_start: scaled(along.at(&along.following, ground), follow_up_times),
            test: plans.each_ref().map(|plan| plan.end_test.value.value() * plan.night.value),
            through: so_far.is_some_and(|so_far| so_far.through),
            teams_at,
            set_out: line.follow_up_after_min.value(),
            lead_back: gone(whole),
            lead_to_head: gone(to_head),
            to_near_end_m: Vec::new(),
            following: scaled(following, follow_up_times),
            leading,
            light: by(line.light),
        }
    }

    /// A way of so many metres to this line's near end, for the follow-up team.
    pub(super) fn following_over(&self, metres: f64) -> ByLight {
        scaled(self.following, metres)
    }

    /// The same for the lead team.
    pub(super) fn leading_over(&self, metres: f64) -> ByLight {
        scaled(self.leading, metres)
    }

    /// The share of a piece of work that so many minutes have done, by the light of the question.
    pub(super) fn left(&self, minutes: ByLight, done: f64) -> f64 {
        let whole = minutes[self.light];
        if whole > 0.0 { (1.0 - done / whole).max(0.0) } else { 0.0 }
    }
}

fn rank(obstacle: Obstacle) -> u8 {
    match obstacle {
        Obstacle::MainHighway | Obstacle::Railway => 0,
        Obstacle::Road => 1,
        Obstacle::DirtRoad => 2,
        Obstacle::Path | Obstacle::Stream => 3,
    }
}
