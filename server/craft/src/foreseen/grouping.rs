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
                if from != to {
                    first.iter_mut().filter(|of| **of == from).for_each(|of| *of = to);
                }
                if reasons.last() != Some(&(later, rule)) {
                    reasons.push((later, rule));
                }
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
        return Some(if one.obstacle == other.obstacle {
            Grouped::OnePlace
        } else {
            Grouped::StreetWithRails
        });
    }
    if level(a.passes) != level(b.passes) {
        return None;
    }
    if apart_m <= ONE_PLACE_M && one.obstacle == other.obstacle {
        return Some(Grouped::OnePlace);
    }
    if one.drawn == other.drawn && one.obstacle == Obstacle::Stream {
        return (apart_m <= profile.span.normal.value.value()).then_some(Grouped::Bend);
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
        (Obstacle::Railway, _) if road(other) => in_the_street(one, other, square_m),
        (_, Obstacle::Railway) if road(one) => in_the_street(other, one, square_m),
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

/// A tramway in or between the halves of a street is of the street; a railway beside a road is not.
fn in_the_street(rails: &Way, road: &Way, square_m: f64) -> Option<Grouped> {
    (rails.class == "tram" && square_m <= width(road).0 / 2.0 + VERGE_M).then_some(Grouped::StreetWithRails)
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

#[cfg(test)]
mod tests {
    use super::super::{Drawn, Structure, meeting::On};
    use super::*;
    use crate::geodesy::Position;

    fn way(id: i64, obstacle: Obstacle, class: &str) -> Way {
        Way::plain(Drawn::OsmWay(id), obstacle, class, Vec::new())
    }

    fn half(id: i64, name: &str) -> Way {
        let name = Some(name.to_owned());
        Way { name, one_way: true, ..way(id, Obstacle::MainHighway, "primary") }
    }

    /// A trace to the east meets each way at a chainage, the way running in a direction.
    fn groups(met: &[(f64, f64, Way)]) -> Vec<(Vec<f64>, Vec<Grouped>)> {
        let ground = Ground { ways: met.iter().map(|(.., way)| way.clone()).collect(), ..Ground::default() };
        let meetings = met
            .iter()
            .enumerate()
            .map(|(index, (at_m, azimuth, way))| Meeting {
                on: On::Way(index),
                at_m: *at_m,
                from_m: *at_m,
                to_m: *at_m,
                position: Position::new(0.0, 54.0).unwrap(),
                azimuth: Some(*azimuth),
                trace_azimuth: 90.0,
                segment: 0,
                passes: match way.structure {
                    Some(Structure::Bridge) => Passes::OnABridge,
                    Some(_) => Passes::Beneath,
                    None => Passes::OnTheGround,
                },
            })
            .collect();
        group(meetings, &ground, Profile::field())
            .into_iter()
            .map(|group| (group.met.iter().map(|m| m.at_m).collect(), group.by.into_iter().collect()))
            .collect()
    }

    #[test]
    fn the_halves_of_a_dual_carriageway_are_one_crossing() {
        let one = groups(&[(100.0, 2.0, half(1, "Coast Road")), (118.0, 181.0, half(2, "Coast Road"))]);
        assert_eq!(one, [(vec![100.0, 118.0], vec![Grouped::DualCarriageway])]);
        // Another road, or the same direction, or too far off, or across: two.
        for (at, azimuth, name) in [
            (118.0, 181.0, "Mill Road"),
            (118.0, 1.0, "Coast Road"),
            (151.0, 181.0, "Coast Road"),
            (118.0, 120.0, "Coast Road"),
        ] {
            let two = groups(&[(100.0, 2.0, half(1, "Coast Road")), (at, azimuth, half(2, name))]);
            assert_eq!(two.len(), 2, "{at} {azimuth} {name}");
        }
        // A street open both ways is no half.
        let both_ways = Way { one_way: false, ..half(2, "Coast Road") };
        assert_eq!(groups(&[(100.0, 2.0, half(1, "Coast Road")), (118.0, 181.0, both_ways)]).len(), 2);
    }

    #[test]
    fn the_two_sides_of_a_roundabout_are_one_crossing() {
        let round = half(1, "A5");
        let one = groups(&[(100.0, 10.0, round.clone()), (140.0, 190.0, round)]);
        assert_eq!(one, [(vec![100.0, 140.0], vec![Grouped::DualCarriageway])]);
    }

    #[test]
    fn tracks_side_by_side_are_one_crossing_and_a_line_apart_is_another() {
        let track = |id| way(id, Obstacle::Railway, "rail");
        let one = groups(&[
            (100.0, 0.0, track(1)),
            (104.0, 180.0, track(2)),
            (116.0, 5.0, track(3)),
            (140.0, 0.0, track(4)),
        ]);
        assert_eq!(one, [(vec![100.0, 104.0, 116.0], vec![Grouped::Tracks]), (vec![140.0], vec![])]);
        // Met aslant, they lie apart along the trace and not square to them: 30 m × sin 20° is 10 m.
        assert_eq!(groups(&[(100.0, 70.0, track(1)), (130.0, 70.0, track(2))]).len(), 1);
        // One of them on a bridge over the other's cutting.
        let bridge = Way { structure: Some(Structure::Bridge), ..track(2) };
        assert_eq!(groups(&[(100.0, 0.0, track(1)), (104.0, 0.0, bridge)]).len(), 2);
    }

    #[test]
    fn footways_beside_a_road_are_crossed_with_it() {
        let footway = |id| way(id, Obstacle::Path, "footway");
        let road = way(2, Obstacle::Road, "residential");
        let one = groups(&[(95.0, 3.0, footway(1)), (100.0, 0.0, road.clone()), (106.0, 180.0, footway(3))]);
        assert_eq!(one, [(vec![95.0, 100.0, 106.0], vec![Grouped::Footways])]);
        // Too far off, across, steps, or beside a track: a crossing of its own.
        assert_eq!(groups(&[(85.0, 0.0, footway(1)), (100.0, 0.0, road.clone())]).len(), 2);
        assert_eq!(groups(&[(95.0, 60.0, footway(1)), (100.0, 0.0, road.clone())]).len(), 2);
        assert_eq!(groups(&[(95.0, 0.0, way(1, Obstacle::Path, "steps")), (100.0, 0.0, road)]).len(), 2);
        let track = way(2, Obstacle::DirtRoad, "track");
        assert_eq!(groups(&[(95.0, 0.0, footway(1)), (100.0, 0.0, track)]).len(), 2);
    }

    #[test]
    fn rails_in_a_street_are_crossed_with_it_and_rails_beside_a_road_are_not() {
        let street = way(7, Obstacle::Road, "residential");
        let rails = way(7, Obstacle::Railway, "tram");
        let one = groups(&[(100.0, 0.0, street.clone()), (100.0, 0.0, rails)]);
        assert_eq!(one, [(vec![100.0, 100.0], vec![Grouped::StreetWithRails])]);
        let between = way(8, Obstacle::Railway, "tram");
        assert_eq!(groups(&[(100.0, 0.0, street.clone()), (104.0, 0.0, between)]).len(), 1);
        let beside = way(8, Obstacle::Railway, "rail");
        assert_eq!(groups(&[(100.0, 0.0, street), (104.0, 0.0, beside)]).len(), 2);
    }

    #[test]
    fn ways_that_end_where_the_trace_passes_are_one_crossing() {
        let one = groups(&[
            (100.0, 0.0, way(1, Obstacle::Road, "tertiary")),
            (100.0, 40.0, way(2, Obstacle::Road, "tertiary")),
        ]);
        assert_eq!(one, [(vec![100.0, 100.0], vec![Grouped::OnePlace])]);
    }

    #[test]
    fn a_bend_that_one_span_gets_over_is_one_crossing() {
        // SS0440 p. 33: normal span 100 ft, 30.48 m.
        let brook = way(1, Obstacle::Stream, "stream");
        let met = [(100.0, 0.0, brook.clone()), (130.0, 150.0, brook.clone()), (170.0, 0.0, brook)];
        assert_eq!(groups(&met), [(vec![100.0, 130.0], vec![Grouped::Bend]), (vec![170.0], vec![])]);
    }
}
