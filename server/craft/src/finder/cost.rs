//! The cost model: minutes by ground and by crossing, and what it costs to be where no wire should lie. A minute of the
//! follow-up team counts in part, because the line is through before it is spent.

use std::collections::BTreeMap;

use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

use crate::{
    bounds::{OutOfBounds, range},
    construction::Construction,
    obstacle::Obstacle,
    pace::{Ground, Light, Means},
    profile::Profile,
    site::{self, Passage, SiteInput},
    units::{Metres, Minutes, Share},
};

/// No figure of the model is more than this.
const MOST_MINUTES: f64 = 10_000.0;
/// How far along an obstacle a bridge or culvert is taken to be where one is near.
const PASSAGE_M: f64 = 60.0;

/// Minutes at a crossing of one kind.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct CrossingMinutes {
    /// What is crossed.
    pub obstacle: Obstacle,
    /// The lead team's, from 0 to 10,000.
    pub lead_min: Minutes,
    /// The follow-up team's, from 0 to 10,000.
    pub follow_up_min: Minutes,
    /// The lead team's where a bridge or culvert is near, from 0 to 10,000.
    pub passage_lead_min: Minutes,
    /// The follow-up team's there, from 0 to 10,000.
    pub passage_follow_up_min: Minutes,
}

/// What a trace is judged by.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
#[schema(as = TraceCosts)]
pub struct Costs {
    /// A kilometre along a road, track or path, in minutes from 0.01 to 10,000.
    pub roadside_min_per_km: Minutes,
    /// Along a hedge, out of traffic and of the plough's way.
    pub hedge_min_per_km: Minutes,
    /// Over fields and open country.
    pub open_min_per_km: Minutes,
    /// Through woods.
    pub wooded_min_per_km: Minutes,
    /// Over ground that does not carry.
    pub wet_min_per_km: Minutes,
    /// How much a minute of the follow-up team counts beside one of the lead team, from 0 to 1.
    pub follow_up_counts: Share,
    /// Crossings, each obstacle once.
    #[schema(min_items = 6, max_items = 6)]
    pub crossings: Vec<CrossingMinutes>,
    /// A kilometre in a carriageway or along rails, beside the laying: wire does not belong there.
    pub in_traffic_min_per_km: Minutes,
    /// A kilometre beneath or near a power line, beside the laying.
    pub near_power_min_per_km: Minutes,
}

/// What a stretch or a crossing is paid for.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, ToSchema)]
#[serde(rename_all = "snake_case")]
#[schema(as = TraceToll)]
pub enum Toll {
    /// Along a road, track or path.
    Roadside,
    /// Along a hedge.
    Hedge,
    /// Over open ground.
    Open,
    /// Through woods.
    Wooded,
    /// Over wet ground.
    Wet,
    /// In a carriageway or along rails.
    InTraffic,
    /// Near a power line.
    NearPower,
    /// A crossing.
    Crossing(Obstacle),
    /// A crossing where a bridge or culvert is near.
    ByPassage(Obstacle),
}

/// One item of a trace's cost.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, ToSchema)]
#[schema(as = TraceItem)]
pub struct Item {
    /// What for.
    pub toll: Toll,
    /// Over how much ground, in metres; null for crossings.
    #[schema(required = true)]
    pub length_m: Option<Metres>,
    /// How many; null for ground.
    #[schema(required = true)]
    pub count: Option<u32>,
    /// All of it, in minutes.
    pub cost_min: Minutes,
}

/// A trace's cost.
#[derive(Debug, Clone, PartialEq, Serialize, ToSchema)]
#[schema(as = TracePrice)]
pub struct Price {
    /// All of it, in minutes. The items add up to it.
    pub cost_min: Minutes,
    /// By what it is for.
    pub items: Vec<Item>,
}

impl Costs {
    /// Checks figures that come from outside.
    ///
    /// # Errors
    /// A figure out of its range, or an obstacle that is missing or there twice.
    pub fn check(&self) -> Result<(), OutOfBounds> {
        let check = |name: String, figure: Minutes, least: f64| {
            range(|| name.clone(), figure.value(), least, MOST_MINUTES)
        };
        for (name, figure, least) in [
            ("roadside_min_per_km", self.roadside_min_per_km, 0.01),
            ("hedge_min_per_km", self.hedge_min_per_km, 0.01),
            ("open_min_per_km", self.open_min_per_km, 0.01),
            ("wooded_min_per_km", self.wooded_min_per_km, 0.01),
            ("wet_min_per_km", self.wet_min_per_km, 0.01),
            ("in_traffic_min_per_km", self.in_traffic_min_per_km, 0.0),
            ("near_power_min_per_km", self.near_power_min_per_km, 0.0),
        ] {
            check(format!("costs.{name}"), figure, least)?;
        }
        for (number, crossing) in self.crossings.iter().enumerate() {
            for (name, figure) in [
                ("lead_min", crossing.lead_min),
                ("follow_up_min", crossing.follow_up_min),
                ("passage_lead_min", crossing.passage_lead_min),
                ("passage_follow_up_min", crossing.passage_follow_up_min),
            ] {
                check(format!("costs.crossings[{number}].{name}"), figure, 0.0)?;
            }
        }
        Ok(())
    }

    /// Whether each obstacle stands in it once.
    #[must_use]
    pub fn whole(&self) -> bool {
        Obstacle::ALL.iter().all(|obstacle| {
            self.crossings.iter().filter(|crossing| crossing.obstacle == *obstacle).count() == 1
        }) && self.crossings.len() == Obstacle::ALL.len()
    }

    pub(super) fn per_m(&self, toll: Toll) -> f64 {
        let per_km = match toll {
            Toll::Roadside => self.roadside_min_per_km,
            Toll::Hedge => self.hedge_min_per_km,
            Toll::Open => self.open_min_per_km,
            Toll::Wooded => self.wooded_min_per_km,
            Toll::Wet => self.wet_min_per_km,
            Toll::InTraffic => self.in_traffic_min_per_km,
            Toll::NearPower => self.near_power_min_per_km,
            Toll::Crossing(_) | Toll::ByPassage(_) => Minutes::ZERO,
        };
        per_km.value() / 1_000.0
    }

    pub(super) fn at(&self, toll: Toll) -> f64 {
        let (Toll::Crossing(obstacle) | Toll::ByPassage(obstacle)) = toll else { return 0.0 };
        let Some(minutes) = self.crossings.iter().find(|crossing| crossing.obstacle == obstacle) else {
            return 0.0;
        };
        let (lead, follow_up) = match toll {
            Toll::ByPassage(_) => (minutes.passage_lead_min, minutes.passage_follow_up_min),
            _ => (minutes.lead_min, minutes.follow_up_min),
        };
        lead.value() + self.follow_up_counts.value() * follow_up.value()
    }

    /// No metre costs less.
    pub(super) fn least_micro_per_m(&self) -> f64 {
        let least = self
            .roadside_min_per_km
            .min(self.hedge_min_per_km)
            .min(self.open_min_per_km)
            .min(self.wooded_min_per_km)
            .min(self.wet_min_per_km);
        least.value() / 1_000.0
    }
}

/// Minutes as the search counts them: whole micro-minutes, so that a sum is the same in every order.
#[allow(
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    reason = "not negative, and far from the end"
)]
pub(super) fn micro(minutes: f64) -> u64 {
    (minutes * 1e6).max(0.0) as u64
}

/// So many times as much.
#[allow(clippy::cast_precision_loss, reason = "far below the end of whole numbers")]
pub(super) fn times(micro_min: u64, times: f64) -> u64 {
    micro(micro_min as f64 / 1e6 * times)
}

#[allow(clippy::cast_precision_loss, reason = "far below the end of whole numbers")]
fn minutes(micro_min: u64) -> Minutes {
    Minutes::bounded(micro_min as f64 / 1e6)
}

/// Adds up what a trace is paid for.
#[derive(Default)]
pub(super) struct Bill {
    items: BTreeMap<Toll, (f64, u32, u64)>,
}

impl Bill {
    pub(super) fn ground(&mut self, toll: Toll, length_m: f64, costs: &Costs) {
        let item = self.items.entry(toll).or_default();
        item.0 += length_m;
        item.2 += micro(length_m * costs.per_m(toll));
    }

    pub(super) fn crossing(&mut self, toll: Toll, costs: &Costs) {
        let item = self.items.entry(toll).or_default();
        item.1 += 1;
        item.2 += micro(costs.at(toll));
    }

    pub(super) fn sum(&self) -> u64 {
        self.items.values().map(|item| item.2).sum()
    }

    pub(super) fn add(&mut self, other: Self) {
        for (toll, (length, count, cost)) in other.items {
            let item = self.items.entry(toll).or_default();
            *item = (item.0 + length, item.1 + count, item.2 + cost);
        }
    }

    pub(super) fn price(self) -> Price {
        let cost_min = minutes(self.sum());
        let items = self.items.into_iter().map(|(toll, (length, count, cost))| {
            let crossing = matches!(toll, Toll::Crossing(_) | Toll::ByPassage(_));
            Item {
                toll,
                length_m: (!crossing).then(|| Metres::bounded(length)),
                count: crossing.then_some(count),
                cost_min: minutes(cost),
            }
        });
        Price { cost_min, items: items.collect() }
    }
}

/// By day and on foot, with rates and minutes as the reckonings of time and of a site have them. What it costs to be in
/// traffic or near power lines, how much the follow-up team counts, and that a hedge's foot is as quick as a roadside: common
/// practice, no source.
pub(super) fn by_profile(profile: &Profile) -> Costs {
    let rate = profile.pace.laying_rate(Means::Foot, Light::Day).value.value();
    let per_km = |ground: Ground| {
        let times = profile.pace.times(ground).map_or(1.0, |factor| factor.value.value());
        Minutes::bounded(1_000.0 / rate * times)
    };
    let crossings = Obstacle::ALL.into_iter().map(|obstacle| {
        let passage =
            Some(Passage { there: true, distance_m: Some(Metres::from_const(PASSAGE_M)), flooded: None });
        let open = best(&SiteInput::of(obstacle), false, profile);
        let near = SiteInput { culvert: passage, bridge: passage, ..SiteInput::of(obstacle) };
        let near =
            best(&near, true, profile).filter(|near| near.0 + near.1 < open.map_or(f64::MAX, |o| o.0 + o.1));
        // Where the profile allows nothing, it is dear and not forbidden: somebody may find a way there.
        let open = open.unwrap_or((120.0, 120.0));
        let near = near.unwrap_or(open);
        CrossingMinutes {
            obstacle,
            lead_min: Minutes::bounded(open.0),
            follow_up_min: Minutes::bounded(open.1),
            passage_lead_min: Minutes::bounded(near.0),
            passage_follow_up_min: Minutes::bounded(near.1),
        }
    });
    Costs {
        roadside_min_per_km: per_km(Ground::Roadside),
        hedge_min_per_km: per_km(Ground::Roadside),
        open_min_per_km: per_km(Ground::Open),
        wooded_min_per_km: per_km(Ground::Wooded),
        wet_min_per_km: per_km(Ground::Wet),
        follow_up_counts: Share::bounded(0.5),
        crossings: crossings.collect(),
        in_traffic_min_per_km: Minutes::bounded(60.0),
        near_power_min_per_km: Minutes::bounded(60.0),
    }
}

/// The least minutes of both teams by a construction that needs nothing to be there, or by a passage that is near.
fn best(site: &SiteInput, by_passage: bool, profile: &Profile) -> Option<(f64, f64)> {
    let ways = site::reckon(site, profile).ok()?.ways.into_iter();
    ways.filter(|way| match way.choice.construction {
        Construction::ThroughCulvert | Construction::UnderBridge => by_passage,
        Construction::OverheadTrees | Construction::OverheadPoles | Construction::Ladder => false,
        Construction::UnderRails | Construction::OverheadLancePoles | Construction::Buried => !by_passage,
    })
    .map(|way| (way.lead.work_min.value(), way.follow_up.work_min.value()))
    .min_by(|a, b| (a.0 + a.1).total_cmp(&(b.0 + b.1)))
}
