//! What belongs together is one crossing: the wire gets past it in one go. Each rule joins two meetings; what is joined in
//! turn is one. The distances are common practice, no source, where none is named.

use std::collections::BTreeSet;

use super::{
    Ground, Grouped, Passes, Way,
    meeting::{Meeting, between},
    width,
};
use crate::{obstacle::Obstacle, profile::Profile};

/// Meetings that are one crossing, from start to end.
pub(super) struct Group {
    pub(super) met: Vec<Meeting>,
    pub(super) by: BTreeSet<Grouped>,
}

/// Ways that run beside each other differ in direction by no more than this.
const PARALLEL: f64 = 25.0;
/// The two halves of a road lie no farther apart, middle to middle.
const HALVES_M: f64 = 50.0;
/// Tracks side by side lie no farther apart, middle to middle: a platform or a row of lamps may stand between.
const TRACKS_M: f64 = 15.0;
/// A footway belongs to a road whose edge is no farther from it.
const VERGE_M: f64 = 8.0;
/// Places that are one, for ways whose ends meet there.
const ONE_PLACE_M: f64 = 0.5;
/// No rule joins meetings that are farther apart along the trace.
const FARTHEST_M: f64 = 150.0;

/// Makes groups of meetings in the order of the trace; the groups come in that order too.
pub(super) fn group(met: Vec<Meeting>, ground: &Ground, profile: &Profile) -> Vec<Group> {
    // Which group each meeting is in, by the first meeting of the group.
    let mut first: Vec<usize> = (0..met.len()).collect();
    let mut reasons: Vec<(usize, Grouped)> = Vec::new();
    for (later, b) in met.iter().enumerate() {
        for (earlier, a) in met[..later].iter().enumerate().rev() {
            if b.from_m - a.to_m > FARTHEST_M && b.at_m - a.at_m > FARTHEST_M {
                // Water may reach far back; what begins so much earlier does not.
                if met[..earlier].iter().all(|other| b.from_m - other.to_m > FARTHEST_M) {
                    break;
                }
                continue;
            }
            if let Some(rule) = one(a, b, ground, profile) {
                let (from, to) = (first[later].max(first[earlier]), first[later].min(first[earlier]));
                first.iter_mut().filter(|of| **of == from).for_each(|of| *of = to);
                reasons.push((later, rule));
            }
        }
    }
    let mut groups: Vec<(usize, Group)> = Vec::new();
    for (index, meeting) in met.into_iter().enumerate() {
        match groups.iter_mut().rev().find(|(of, _)| *of == first[index]) {
            Some((_, group)) => group.met.push(meeting),
            None => groups.push((first[index], Group { met: vec![meeting], by: BTreeSet::new() })),
        }
    }
    for (index, rule) in reasons {
        if let Some((_, group)) = groups.iter_mut().find(|(of, _)| *of == first[index]) {
            group.by.insert(rule);
        }
    }
    groups.into_iter().map(|(_, group)| group).collect()
}

/// The rule that makes two meetings one crossing, the earlier first.
fn one(a: &Meeting, b: &Meeting, ground: &Ground, profile: &Profile) -> Option<Grouped> {
    let (Some(one), Some(other)) = (a.way(ground), b.way(ground)) else { return banks(a, b, ground) };
    let apart_m = b.at_m - a.at_m;
    if apart_m <= ONE_PLACE_M && one.drawn == other.drawn {
        // One way that is two things, or one thing in two stretches.
        return Some(if one.obstacle == other.obstacle { Grouped::OnePlace } else { Grouped::StreetWithRails });
    }
    if level(a.passes) != level(b.passes) {
        return None;
    }
    if apart_m <= ONE_PLACE_M && one.obstacle == other.obstacle {
        return Some(Grouped::OnePlace);
    }
    if one.drawn == other.drawn && one.obstacle == Obstacle::Stream {
        return (apart_m <= profile.normal_span.value.value()).then_some(Grouped::Bend);
    }
    let (Some(azimuth_a), Some(azimuth_b)) = (a.azimuth, b.azimuth) else { return None };
    if between(azimuth_a, azimuth_b) > PARALLEL {
        return None;
    }
    // Square to them, not along the trace.
    let square_m = apart_m * a.angle().unwrap_or(90.0).max(b.angle().unwrap_or(90.0)).to_radians().sin();
    let road = |way: &Way| matches!(way.obstacle, Obstacle::MainHighway | Obstacle::Road);
    match (one.obstacle, other.obstacle) {
        (Obstacle::Railway, Obstacle::Railway) => (square_m <= TRACKS_M).then_some(Grouped::Tracks),
        (Obstacle::Path, Obstacle::Path) => None,
        (Obstacle::Path, _) if road(other) => footway(one, other, square_m),
        (_, Obstacle::Path) if road(one) => footway(other, one, square_m),
        _ if road(one) && road(other) => {
            let against = (azimuth_a - azimuth_b).rem_euclid(360.0);
            let halves = one.one_way
                && other.one_way
                && (180.0 - PARALLEL..=180.0 + PARALLEL).contains(&against)
                && same_road(one, other);
            (halves && square_m <= HALVES_M).then_some(Grouped::DualCarriageway)
        }
        _ => None,
    }
}

/// What lies on one level can be got past in one go.
fn level(passes: Passes) -> Passes {
    match passes {
        Passes::Unknown => Passes::OnTheGround,
        other => other,
    }
}

/// By number or name; where neither half has either, by class.
fn same_road(a: &Way, b: &Way) -> bool {
    let same = |x: &Option<String>, y: &Option<String>| x.is_some() && x == y;
    let bare = |way: &Way| way.reference.is_none() && way.name.is_none();
    a.drawn == b.drawn
        || same(&a.reference, &b.reference)
        || same(&a.name, &b.name)
        || (bare(a) && bare(b) && a.class == b.class)
}

/// Ways for people beside a road; steps lead away from one.
fn footway(path: &Way, road: &Way, square_m: f64) -> Option<Grouped> {
    let beside = matches!(path.class.as_str(), "footway" | "cycleway" | "path" | "bridleway" | "pedestrian");
    (beside && square_m <= width(road).0 / 2.0 + VERGE_M).then_some(Grouped::Footways)
}

/// A river's line lies between its banks, and two waters that touch are one.
fn banks(a: &Meeting, b: &Meeting, ground: &Ground) -> Option<Grouped> {
    let water = |m: &Meeting| m.obstacle(ground) == Obstacle::Stream && m.passes != Passes::Beneath;
    let overlap = a.from_m <= b.to_m + ONE_PLACE_M && b.from_m <= a.to_m + ONE_PLACE_M;
    (water(a) && water(b) && overlap).then_some(Grouped::Banks)
}
