//! What a trace meets on ground made here by hand. One thousandth of a degree of latitude is 111.2 m and of longitude
//! 71.7 m at 50° N (GeographicLib: 111.229 m and 71.696 m). Real places are tried in the store's tests.

use laywire_craft::{
    construction::Construction,
    foreseen::{
        Area, Bounds, Cover, Drawn, Foreseen, Ground, Passes, PowerLine, ReachKind, Structure,
        UnknownBecause, Way, WidthFrom, boxes, foresee,
    },
    geodesy::Position,
    obstacle::Obstacle,
    profile::Profile,
    trace::Trace,
    units::{Kilovolts, Metres, feet},
};
use proptest::prelude::*;

/// A place so many thousandths of a degree east and north of 10° E, 50° N.
fn at(east: f64, north: f64) -> Position {
    Position::new(10.0 + east / 1000.0, 50.0 + north / 1000.0).unwrap()
}

fn line(places: &[(f64, f64)]) -> Vec<Position> {
    places.iter().map(|&(east, north)| at(east, north)).collect()
}

fn way(id: i64, obstacle: Obstacle, places: &[(f64, f64)]) -> Way {
    Way::plain(Drawn::OsmWay(id), obstacle, "any", line(places))
}

fn cover() -> Cover {
    Cover {
        land: Some(Bounds { south_west: at(-100.0, -100.0), north_east: at(100.0, 100.0) }),
        nearest_shore: None,
    }
}

fn on(places: &[(f64, f64)], ways: Vec<Way>) -> Foreseen {
    let ground = Ground { ways, ..Ground::default() };
    foresee(&Trace::new(line(places)).unwrap(), &ground, &cover(), Profile::field()).unwrap()
}

fn close(ours: Metres, expected: f64, within: f64) {
    assert!((ours.value() - expected).abs() <= within, "{ours} is not {expected}");
}

/// A trace of 717 m to the east.
const EAST: [(f64, f64); 2] = [(0.0, 0.0), (10.0, 0.0)];

#[test]
fn a_crossing_has_its_chainage_angle_width_and_grid_reference() {
    let road = Way { lanes: Some(2), ..way(1, Obstacle::Road, &[(4.0, -1.0), (5.0, 1.0)]) };
    let answer = on(&EAST, vec![road]);
    let [road] = answer.crossings.as_slice() else { panic!("{answer:#?}") };
    close(road.chainage_m, 4.5 * 71.696, 0.01);
    // By hand: 71.7 m east for 222.5 m north is 72.1° from the trace.
    close(Metres::new(road.angle.unwrap().value()).unwrap(), 72.1, 0.1);
    // Two lanes of 3.25 m.
    assert_eq!((road.width_m.value(), road.width_from), (6.5, WidthFrom::Lanes));
    close(road.to_m, road.from_m.value() + 6.5 / 72.1_f64.to_radians().sin(), 0.01);
    assert!(road.hard_surface && !road.surface_tagged);
    assert_eq!(road.proposed.construction, Some(Construction::OverheadLancePoles));
    assert!(road.grid.starts_with("32U"), "{}", road.grid);
}

#[test]
fn a_trace_that_touches_a_road_or_ends_on_it_meets_it_once() {
    for road in [[(10.0, -1.0), (10.0, 1.0)], [(5.0, 0.0), (5.0, 1.0)], [(0.0, 0.0), (0.0, 1.0)]] {
        assert_eq!(on(&EAST, vec![way(1, Obstacle::Road, &road)]).crossings.len(), 1, "{road:?}");
    }
    // Through a corner of the road, and at a corner of the trace.
    let corner = way(1, Obstacle::Road, &[(4.0, -1.0), (5.0, 0.0), (4.0, 1.0)]);
    assert_eq!(on(&EAST, vec![corner.clone()]).crossings[0].met.len(), 1);
    let answer = on(&[(0.0, 0.0), (5.0, 0.0), (10.0, 0.5)], vec![corner]);
    assert_eq!(answer.crossings.iter().map(|c| c.met.len()).sum::<usize>(), 1);
}

#[test]
fn an_obstacle_in_a_tunnel_asks_for_nothing_and_one_on_a_bridge_is_gone_under() {
    let north = [(5.0, -1.0), (5.0, 1.0)];
    let with = |structure, layer| {
        let railway = Way { structure, layer, ..way(1, Obstacle::Railway, &north) };
        let answer = on(&EAST, vec![railway]);
        let [crossing] = answer.crossings.as_slice() else { panic!("{answer:#?}") };
        (crossing.passes, crossing.proposed.construction, crossing.proposed.go_and_look)
    };
    assert_eq!(with(Some(Structure::Tunnel), -1), (Passes::Beneath, None, true));
    assert_eq!(with(Some(Structure::Bridge), 1), (Passes::OnABridge, Some(Construction::UnderBridge), false));
    assert_eq!(with(None, 0), (Passes::OnTheGround, Some(Construction::UnderRails), false));
    // A level without a structure: nobody knows.
    assert_eq!(with(None, 1), (Passes::Unknown, Some(Construction::UnderRails), true));
}

#[test]
fn water_with_banks_is_as_wide_as_the_trace_is_in_it_and_holds_its_rivers_line() {
    let banks = Area {
        drawn: Drawn::OsmWay(2),
        class: "riverbank".to_owned(),
        name: None,
        // An island in the middle of a river.
        rings: vec![
            line(&[(4.0, -3.0), (6.0, -3.0), (6.0, 3.0), (4.0, 3.0), (4.0, -3.0)]),
            line(&[(4.8, -1.0), (5.2, -1.0), (5.2, 1.0), (4.8, 1.0), (4.8, -1.0)]),
        ],
    };
    let river = way(1, Obstacle::Stream, &[(4.4, -5.0), (4.4, 5.0)]);
    let ground = Ground { ways: vec![river], waters: vec![banks], ..Ground::default() };
    let answer = foresee(&Trace::new(line(&EAST)).unwrap(), &ground, &cover(), Profile::field()).unwrap();
    let [west, east] = answer.crossings.as_slice() else { panic!("{answer:#?}") };
    assert_eq!(west.met.len(), 2);
    close(west.width_m, 0.8 * 71.696, 0.1);
    close(east.from_m, 5.2 * 71.696, 0.1);
    close(east.to_m, 6.0 * 71.696, 0.1);
    assert_eq!((east.angle, east.width_from), (None, WidthFrom::Measured));
    // 57 m: within two normal spans of 30.48 m.
    assert_eq!(east.proposed.construction, Some(Construction::OverheadLancePoles));

    let wide = Area {
        drawn: Drawn::OsmWay(3),
        class: "water".to_owned(),
        name: None,
        rings: vec![line(&[(2.0, -3.0), (8.0, -3.0), (8.0, 3.0), (2.0, 3.0), (2.0, -3.0)])],
    };
    let ground = Ground { waters: vec![wide], ..Ground::default() };
    let answer = foresee(&Trace::new(line(&EAST)).unwrap(), &ground, &cover(), Profile::field()).unwrap();
    assert_eq!(answer.crossings[0].proposed.construction, None);
}

#[test]
fn running_inside_a_road_is_no_crossing_and_changing_sides_is_one() {
    // The road bends a little; the trace keeps 1 m north of its middle, or 1 m north and then south.
    let road = || way(1, Obstacle::Road, &[(-5.0, 0.0), (5.0, 0.0), (15.0, 1.0)]);
    let north = on(&[(-4.0, 0.009), (4.0, 0.009)], vec![road()]);
    assert!(north.crossings.is_empty());
    let [along] = north.along.as_slice() else { panic!("{north:#?}") };
    assert!(along.in_traffic && along.met.is_empty());
    close(along.inside_m, 8.0 * 71.696, 0.5);
    let across = on(&[(-4.0, 0.009), (4.0, -0.009)], vec![road()]);
    assert_eq!((across.crossings.len(), across.along[0].met.len()), (1, 1));
    let twice = on(&[(-4.0, 0.009), (0.0, -0.009), (4.0, 0.009)], vec![road()]);
    assert_eq!((twice.crossings.len(), twice.along[0].met.len()), (0, 2));
    // On the verge it runs beside the road and not inside.
    let verge = on(&[(-4.0, 0.06), (4.0, 0.06)], vec![road()]);
    assert!(verge.along.is_empty() && verge.crossings.is_empty(), "{verge:#?}");
}

#[test]
fn a_side_road_is_crossed_while_the_trace_runs_along_the_main_road() {
    let main = way(1, Obstacle::Road, &[(-5.0, 0.0), (15.0, 0.0)]);
    let side = way(2, Obstacle::Road, &[(5.0, 0.0), (5.0, 3.0)]);
    let answer = on(&[(0.0, 0.01), (10.0, 0.01)], vec![main, side]);
    assert_eq!(answer.crossings.len(), 1);
    assert_eq!(answer.crossings[0].met[0].drawn, Drawn::OsmWay(2));
    assert_eq!(answer.along.len(), 1);
}

#[test]
fn culverts_and_bridges_are_found_along_the_road_over_the_ends_of_its_ways() {
    let named = |id, places: &[(f64, f64)]| Way {
        name: Some("Mill Road".to_owned()),
        ..way(id, Obstacle::Road, places)
    };
    let culvert =
        Way { structure: Some(Structure::Culvert), ..way(3, Obstacle::Stream, &[(4.9, 0.4), (5.1, 0.4)]) };
    // Beyond the reach, and on another road.
    let far =
        Way { structure: Some(Structure::Culvert), ..way(4, Obstacle::Stream, &[(4.9, 2.9), (5.1, 2.9)]) };
    let brook = way(5, Obstacle::Stream, &[(4.9, -0.9), (5.1, -0.9)]);
    let answer = on(
        &EAST,
        vec![named(1, &[(5.0, -2.0), (5.0, 0.2)]), named(2, &[(5.0, 3.0), (5.0, 0.2)]), culvert, far, brook],
    );
    let [road] = answer.crossings.as_slice() else { panic!("{answer:#?}") };
    let [near, open] = road.within_reach.as_slice() else { panic!("{road:#?}") };
    assert_eq!((near.kind, near.drawn), (ReachKind::Culvert, Drawn::OsmWay(3)));
    // The trace is a geodesic, which in its middle runs a centimetre north of the parallel.
    close(near.along_m, 0.4 * 111.229, 0.02);
    close(near.detour_m, 0.8 * 111.229, 0.04);
    assert_eq!((open.kind, open.drawn), (ReachKind::GoAndLook, Drawn::OsmWay(5)));
    close(open.along_m, 0.9 * 111.229, 0.02);
    assert_eq!(road.proposed.construction, Some(Construction::ThroughCulvert));
}

#[test]
fn a_stream_is_taken_over_a_bridge_or_where_it_runs_beneath_the_ground() {
    let stream = way(1, Obstacle::Stream, &[(5.0, -1.0), (5.0, 1.0)]);
    let bridge =
        Way { structure: Some(Structure::Bridge), ..way(2, Obstacle::Road, &[(4.9, 0.3), (5.1, 0.3)]) };
    let answer = on(&EAST, vec![stream.clone(), bridge.clone()]);
    assert_eq!(answer.crossings[0].within_reach[0].kind, ReachKind::Bridge);
    assert_eq!(answer.crossings[0].proposed.construction, Some(Construction::UnderBridge));
    // A railway's bridge is not ours to use.
    let railway = Way { obstacle: Obstacle::Railway, ..bridge };
    let answer = on(&EAST, vec![stream.clone(), railway]);
    assert!(answer.crossings[0].within_reach.is_empty());
    assert_eq!(answer.crossings[0].proposed.construction, Some(Construction::OverheadLancePoles));
    let covered =
        Way { structure: Some(Structure::Tunnel), ..way(3, Obstacle::Stream, &[(5.0, 1.0), (5.0, 2.0)]) };
    let answer = on(&EAST, vec![stream, covered]);
    assert_eq!(answer.crossings[0].within_reach[0].kind, ReachKind::Covered);
}

#[test]
fn a_bridge_is_looked_for_as_far_as_the_profile_prefers_it() {
    // 2.4 thousandths of a degree: 267 m along the stream, where the trade's profile prefers a bridge within 300 m.
    let ways = vec![
        way(1, Obstacle::Stream, &[(5.0, -1.0), (5.0, 3.0)]),
        Way { structure: Some(Structure::Bridge), ..way(2, Obstacle::Road, &[(4.9, 2.4), (5.1, 2.4)]) },
    ];
    let ground = Ground { ways, ..Ground::default() };
    let within = |profile: &Profile| {
        let trace = Trace::new(line(&EAST)).unwrap();
        foresee(&trace, &ground, &cover(), profile).unwrap().crossings[0].within_reach.clone()
    };
    let [bridge] = within(Profile::field()).try_into().unwrap();
    assert_eq!(bridge.kind, ReachKind::Bridge);
    close(bridge.along_m, 2.4 * 111.229, 0.05);
    let nearer = Profile::unit("[reach]\nbridge = { m = 250, source = \"unit's own\" }").unwrap();
    assert!(within(&nearer).is_empty());
}

#[test]
fn a_power_line_beside_the_trace_is_told_where_it_is_nearest() {
    let line = |places: &[(f64, f64)], kilovolts: Option<f64>| PowerLine {
        drawn: Drawn::OsmWay(1),
        class: "line".to_owned(),
        voltage: kilovolts.map(|kilovolts| Kilovolts::new(kilovolts).unwrap()),
        positions: line(places),
    };
    let near = |power: PowerLine| {
        let ground = Ground { power_lines: vec![power], ..Ground::default() };
        let trace = Trace::new(crate::foreseen::line(&EAST)).unwrap();
        foresee(&trace, &ground, &cover(), Profile::field()).unwrap().power_lines
    };
    // It ends 0.2 thousandths north of the trace's middle: 22.2 m.
    let told = near(line(&[(5.0, 5.0), (5.0, 0.2)], None));
    let [told] = told.as_slice() else { panic!("{told:#?}") };
    close(told.distance_m, 0.2 * 111.229, 0.02);
    close(told.chainage_m, 5.0 * 71.696, 0.1);
    assert!(!told.beneath);
    // Within 30 m of it: √(30² − 22.246²) = 20.13 m to either side.
    close(told.from_m, 5.0 * 71.696 - 20.13, 0.1);
    close(told.to_m, 5.0 * 71.696 + 20.13, 0.1);
    assert!(near(line(&[(5.0, 5.0), (5.0, 0.3)], None)).is_empty());
    let across = near(line(&[(5.0, 5.0), (5.0, -5.0)], Some(400.0)));
    assert!(across[0].beneath && across[0].distance_m == Metres::ZERO);
    // 29 CFR 1926.1408 table A: 25 ft over 350 to 500 kV, more than 1910.333(c)(3) has for people.
    assert_eq!(across[0].keep.least_m, feet(25.0));
}

#[test]
fn the_sea_is_on_the_right_of_the_shore_and_off_the_map_nothing_is_known() {
    // The shore is drawn northward: its left, the land, is the west.
    let shore = line(&[(5.0, -50.0), (5.0, 50.0)]);
    let ask = |places: &[(f64, f64)]| {
        let ground = Ground { shores: vec![shore.clone()], ..Ground::default() };
        let cover = Cover { nearest_shore: Some(Trace::new(shore.clone()).unwrap()), ..cover() };
        let trace = Trace::new(line(places)).unwrap();
        let unknown = foresee(&trace, &ground, &cover, Profile::field()).unwrap().unknown;
        unknown.into_iter().map(|u| (u.why, u.from_m.value(), u.to_m.value())).collect::<Vec<_>>()
    };
    let out = ask(&EAST);
    let [(UnknownBecause::AtSea, from, to)] = out[..] else { panic!("{out:?}") };
    assert!((from - 358.48).abs() < 0.1 && (to - 716.96).abs() < 0.1, "{out:?}");
    assert_eq!(ask(&[(0.0, 0.0), (4.0, 0.0)]), []);
    let off = ask(&[(0.0, 90.0), (0.0, 110.0)]);
    let [(UnknownBecause::OutsideTheMap, from, to)] = off[..] else { panic!("{off:?}") };
    assert!((from - 10.0 * 111.229).abs() < 0.5 && (to - 20.0 * 111.229).abs() < 0.5, "{off:?}");
    let nothing =
        foresee(&Trace::new(line(&EAST)).unwrap(), &Ground::default(), &Cover::default(), Profile::field())
            .unwrap();
    assert_eq!(nothing.unknown[0].why, UnknownBecause::NoMapLoaded);
    assert_eq!(nothing.unknown[0].to_m, nothing.length_m);
}

#[test]
fn the_boxes_to_know_are_few_and_short_however_the_trace_is_drawn() {
    // Six kilometres and a half either way, with boxes of four times the reach, 1,200 m.
    let straight = Trace::new(line(&[(0.0, 0.0), (90.0, 0.0)])).unwrap();
    let dense = (0..=9_000_u32).map(|n| at(f64::from(n) / 100.0, f64::from(n % 2) / 1e4)).collect();
    for trace in [straight, Trace::new(dense).unwrap()] {
        let boxes = boxes(&trace, Profile::field());
        assert!((5..=7).contains(&boxes.len()), "{}", boxes.len());
        for bounds in boxes {
            let wide = (bounds.north_east.lon() - bounds.south_west.lon()) * 71_600.0;
            assert!((600.0..=1_810.0).contains(&wide), "{wide}");
        }
    }
}

#[test]
fn a_trace_that_goes_to_and_fro_over_a_road_without_end_is_refused() {
    let road = way(1, Obstacle::Road, &[(0.0, -1.0), (0.0, 1.0)]);
    let ground = Ground { ways: vec![road], ..Ground::default() };
    let to_and_fro: Vec<_> =
        (0..6_000_u32).map(|n| (if n % 2 == 0 { -1.0 } else { 1.0 }, f64::from(n) / 1e5)).collect();
    let refused = |places: &[(f64, f64)]| {
        foresee(&Trace::new(line(places)).unwrap(), &ground, &cover(), Profile::field()).unwrap_err()
    };
    let said = refused(&to_and_fro).to_string();
    assert!(said.ends_with("5000 times: draw it straighter, or divide it"), "{said}");
}

proptest! {
    /// Walked from the other end, the same things are met at the same places.
    #[test]
    fn a_trace_meets_the_same_from_either_end(
        corners in prop::collection::vec((0.0..10.0_f64, 0.0..10.0_f64), 2..6),
        roads in prop::collection::vec(prop::collection::vec((0.0..10.0_f64, 0.0..10.0_f64), 2..5), 1..8),
    ) {
        let ways: Vec<Way> = (1..).zip(&roads).map(|(id, road)| way(id, Obstacle::Path, road)).collect();
        let there = on(&corners, ways.clone());
        let back: Vec<_> = corners.iter().rev().copied().collect();
        let back = on(&back, ways);
        let met = |answer: &Foreseen| {
            let along = answer.along.iter().flat_map(|along| along.met.clone());
            let mut met: Vec<_> = answer.crossings.iter().flat_map(|c| c.met.clone()).chain(along)
                .map(|m| (m.drawn, m.position)).collect();
            met.sort_by(|a, b| {
                let key = |p: &(Drawn, Position)| (p.0, (p.1.lon() * 1e7).round(), (p.1.lat() * 1e7).round());
                key(a).partial_cmp(&key(b)).unwrap()
            });
            met.dedup_by(|a, b| a.0 == b.0 && laywire_craft::geodesy::distance(a.1, b.1).value() < 0.05);
            met
        };
        let (there, back) = (met(&there), met(&back));
        prop_assert_eq!(there.len(), back.len());
        for (a, b) in there.iter().zip(&back) {
            prop_assert_eq!(a.0, b.0);
            prop_assert!(laywire_craft::geodesy::distance(a.1, b.1).value() < 0.05);
        }
    }
}
