//! Travel by road. Figures are worked by hand from the lengths that GeographicLib's geodesics give and the rates that the
//! profile and the module state; the whole is compared with networkx in tests/reference/test_road.py.

use laywire_craft::{
    foreseen::{Area, Drawn, Way},
    geodesy::{self, Position},
    obstacle::Obstacle,
    pace::Means,
    profile::Profile,
    road::{self, Travel, travel},
    units::{Degrees, Metres},
};

fn place(east_m: f64, north_m: f64) -> Position {
    let origin = Position::new(-4.6, 54.1).unwrap();
    let east = geodesy::destination(origin, Degrees::new(90.0).unwrap(), Metres::new(east_m).unwrap());
    geodesy::destination(east, Degrees::new(0.0).unwrap(), Metres::new(north_m).unwrap())
}

fn way(obstacle: Obstacle, class: &str, positions: &[(f64, f64)]) -> Way {
    Way::plain(Drawn::OsmWay(1), obstacle, class, positions.iter().map(|&(x, y)| place(x, y)).collect())
}

fn one(ways: &[Way], by: Means, from: Position, to: Position) -> Option<Travel> {
    travel(ways, &[], by, Profile::field(), &[from, to], 1)[0][1]
}

fn near(a: f64, b: f64, least: f64) -> bool {
    (a - b).abs() <= least
}

#[test]
fn a_team_walks_to_the_road_drives_along_it_and_walks_from_it() {
    let road = [way(Obstacle::Road, "unclassified", &[(0.0, 0.0), (5_000.0, 0.0)])];
    let there = one(&road, Means::Vehicle, place(1_000.0, 100.0), place(4_000.0, -200.0)).unwrap();
    // 100 m and 200 m over open ground at 2.5 mph / 1.2, and 3 km at 30 km/h.
    let walk = 300.0 / (2.5 * 1_609.344 / 60.0 / 1.2);
    assert!(near(there.travel_min.value(), walk + 3_000.0 / 500.0, 0.02), "{there:?}");
    assert!(near(there.distance_m.value(), 3_300.0, 1.0), "{there:?}");
}

#[test]
fn the_quickest_way_is_taken_and_not_the_shortest() {
    // A track straight across, a main highway round: 3 km at 8 mph against 5 km at 50 km/h.
    let ways = [
        way(Obstacle::DirtRoad, "track", &[(0.0, 0.0), (3_000.0, 0.0)]),
        way(
            Obstacle::MainHighway,
            "primary",
            &[(0.0, 0.0), (0.0, 1_000.0), (3_000.0, 1_000.0), (3_000.0, 0.0)],
        ),
    ];
    let wheels = one(&ways, Means::Vehicle, place(0.0, 0.0), place(3_000.0, 0.0)).unwrap();
    assert!(near(wheels.distance_m.value(), 5_000.0, 1.0), "{wheels:?}");
    assert!(near(wheels.travel_min.value(), 6.0, 0.01), "{wheels:?}");
    let foot = one(&ways, Means::Foot, place(0.0, 0.0), place(3_000.0, 0.0)).unwrap();
    assert!(near(foot.distance_m.value(), 3_000.0, 1.0), "{foot:?}");
}

#[test]
fn wheels_keep_to_a_one_way_road_and_walkers_do_not() {
    let mut road = way(Obstacle::Road, "residential", &[(0.0, 0.0), (1_000.0, 0.0)]);
    road.one_way = true;
    let back =
        way(Obstacle::Road, "residential", &[(1_000.0, 0.0), (1_000.0, 500.0), (0.0, 500.0), (0.0, 0.0)]);
    let ways = [road, back];
    let (a, b) = (place(0.0, 0.0), place(1_000.0, 0.0));
    assert!(near(one(&ways, Means::Vehicle, a, b).unwrap().distance_m.value(), 1_000.0, 1.0));
    assert!(near(one(&ways, Means::Vehicle, b, a).unwrap().distance_m.value(), 2_000.0, 1.0));
    assert!(near(one(&ways, Means::Foot, b, a).unwrap().distance_m.value(), 1_000.0, 1.0));
}

#[test]
fn roads_that_cross_on_a_bridge_do_not_meet() {
    let over = way(Obstacle::Road, "tertiary", &[(0.0, -2_500.0), (0.0, 2_500.0)]);
    let under = way(Obstacle::Road, "tertiary", &[(-2_500.0, 0.0), (2_500.0, 0.0)]);
    let ways = [over, under];
    // Each place is far from the other road, so that nobody walks over to it.
    assert_eq!(one(&ways, Means::Vehicle, place(0.0, 2_450.0), place(2_450.0, 0.0)), None);
    let joined = way(Obstacle::Road, "tertiary", &[(0.0, 0.0), (2_500.0, 0.0)]);
    let met = way(Obstacle::Road, "tertiary", &[(0.0, 0.0), (0.0, 2_500.0)]);
    let there = one(&[joined, met], Means::Vehicle, place(0.0, 2_450.0), place(2_450.0, 0.0)).unwrap();
    assert!(near(there.distance_m.value(), 4_900.0, 1.0), "{there:?}");
}

#[test]
fn a_way_that_the_unit_found_closed_is_closed_to_wheels() {
    let straight =
        way(Obstacle::Road, "tertiary", &[(0.0, 0.0), (900.0, 0.0), (1_100.0, 0.0), (2_000.0, 0.0)]);
    let round =
        way(Obstacle::Road, "tertiary", &[(0.0, 0.0), (0.0, 1_000.0), (2_000.0, 1_000.0), (2_000.0, 0.0)]);
    let ring = [(950.0, -20.0), (1_050.0, -20.0), (1_050.0, 20.0), (950.0, 20.0)];
    let closed = [Area {
        drawn: Drawn::Own(1),
        class: "closed_way".to_owned(),
        name: None,
        rings: vec![ring.iter().map(|&(x, y)| place(x, y)).collect()],
    }];
    let places = [place(0.0, 0.0), place(2_000.0, 0.0)];
    let ways = [straight, round];
    let length =
        |by| travel(&ways, &closed, by, Profile::field(), &places, 1)[0][1].unwrap().distance_m.value();
    assert!(near(length(Means::Vehicle), 4_000.0, 2.0));
    assert!(near(length(Means::Foot), 2_000.0, 1.0));
}

#[test]
fn what_lies_at_hand_is_walked_to_straight_and_what_no_road_reaches_is_not_reached() {
    let road = [way(Obstacle::Road, "tertiary", &[(0.0, 0.0), (5_000.0, 0.0)])];
    // 300 m off the road, 100 m apart: nobody walks 600 m for that.
    let there = one(&road, Means::Foot, place(1_000.0, 300.0), place(1_100.0, 300.0)).unwrap();
    assert!(near(there.distance_m.value(), 100.0, 0.1), "{there:?}");
    assert_eq!(one(&road, Means::Foot, place(0.0, 0.0), place(1_000.0, 2_100.0)), None);
    assert_eq!(one(&[], Means::Foot, place(0.0, 0.0), place(0.0, 2_100.0)), None);
    assert_eq!(travel(&road, &[], Means::Foot, Profile::field(), &[], 1), Vec::<Vec<Option<Travel>>>::new());
}

#[test]
fn a_vehicle_takes_no_path_and_nobody_walks_on_a_motorway_or_rides_on_rails() {
    let profile = Profile::field();
    for by in [Means::Vehicle, Means::Wagon] {
        assert_eq!(road::rate(Obstacle::Path, "path", by, profile), None);
    }
    assert_eq!(road::rate(Obstacle::MainHighway, "motorway_link", Means::Foot, profile), None);
    for by in [Means::Vehicle, Means::Wagon, Means::Foot] {
        assert_eq!(road::rate(Obstacle::Railway, "rail", by, profile), None);
        assert_eq!(road::rate(Obstacle::Stream, "river", by, profile), None);
        assert!(road::rate(Obstacle::DirtRoad, "track", by, profile).is_some());
    }
}

#[test]
fn places_too_far_apart_are_refused_with_the_distance() {
    let error = road::area(&[place(0.0, 0.0), place(70_000.0, 0.0)]).unwrap_err();
    assert!(error.to_string().contains("70000 m"), "{error}");
    assert_eq!(road::area(&[]).unwrap(), None);
    assert!(road::area(&[place(0.0, 0.0), place(10_000.0, 0.0)]).unwrap().is_some());
}
