//! Lengths, directions and places against published geodesics. The files' sources stand in tests/data/SOURCES.md.

use laywire_craft::geodesy::{Position, compass_point, destination, direction, distance};
use laywire_craft::units::{Degrees, Metres};
use proptest::prelude::*;

/// One line of a table: both ends, the azimuth at the first, and the length between them.
struct Row {
    from: Position,
    azimuth: f64,
    to: Position,
    length_m: f64,
}

fn rows(table: &str) -> Vec<Row> {
    let place = |lat: f64, lon: f64| Position::new((lon + 180.0).rem_euclid(360.0) - 180.0, lat).unwrap();
    table
        .lines()
        .map(|line| {
            let figures: Vec<f64> = line.split_whitespace().map(|figure| figure.parse().unwrap()).collect();
            Row {
                from: place(figures[0], figures[1]),
                azimuth: figures[2].rem_euclid(360.0),
                to: place(figures[3], figures[4]),
                length_m: figures[6],
            }
        })
        .collect()
}

fn apart(a: f64, b: f64) -> f64 {
    (a - b).abs().min(360.0 - (a - b).abs())
}

fn check(table: &[Row]) {
    for Row { from, azimuth, to, length_m } in table {
        let length = distance(*from, *to).value();
        assert!((length - length_m).abs() < 1e-7, "{from:?} to {to:?}: {length} for {length_m}");
        let run = Metres::new(*length_m).unwrap();
        let reached = destination(*from, Degrees::new(*azimuth).unwrap(), run);
        let missed = distance(reached, *to).value();
        assert!(missed < 1e-7, "{from:?} at {azimuth} for {length_m}: {missed} m from {to:?}");
        let leaving = direction(*from, *to).value();
        // Near the antipode a direction is ill-determined: what matters is how far it misleads, over the first 100 km.
        assert!(
            apart(leaving, *azimuth).to_radians() * 1e5 < 0.001,
            "{from:?} to {to:?}: {leaving} for {azimuth}"
        );
    }
}

#[test]
fn the_20_cases_of_geographiclib_come_out() {
    let table = rows(include_str!("../../../../tests/data/geographiclib-2.1-test-cases.dat"));
    assert_eq!(table.len(), 20);
    check(&table);
}

#[test]
fn the_first_500_geodesics_of_the_test_set_come_out() {
    let table = rows(include_str!("../../../../tests/data/GeodTest-first-500.dat"));
    assert_eq!(table.len(), 500);
    check(&table);
}

#[test]
fn known_lengths_come_out() {
    let place = |lon, lat| Position::new(lon, lat).unwrap();
    // The quarter meridian of WGS 84, 10 001 965.729 m (from memory of Karney, Algorithms for geodesics, 2013).
    assert_eq!(format!("{:.3}", distance(place(0.0, 0.0), place(77.0, 90.0))), "10001965.729 m");
    // A degree of the equator is a·π/180 by definition; here it lies across the anti-meridian.
    let degree_m = 6_378_137.0 * 1f64.to_radians();
    assert!((distance(place(179.5, 0.0), place(-179.5, 0.0)).value() - degree_m).abs() < 1e-8);
    assert_eq!(direction(place(179.5, 0.0), place(-179.5, 0.0)), Degrees::new(90.0).unwrap());
    // Over the pole: two places on opposite meridians.
    assert_eq!(direction(place(0.0, 89.0), place(180.0, 89.0)), Degrees::new(0.0).unwrap());
    assert!(distance(place(-180.0, 10.0), place(180.0, 10.0)).value() < 1e-8);
}

#[test]
fn a_direction_is_told_by_the_nearest_point_of_the_compass() {
    let points = ["N", "NE", "E", "SE", "S", "SW", "W", "NW", "N"];
    for (eighth, point) in (0..).zip(points) {
        for off in [-22.4, 0.0, 22.4] {
            let angle = (f64::from(eighth) * 45.0 + off).rem_euclid(360.0);
            assert_eq!(compass_point(Degrees::new(angle).unwrap()), point, "{angle}");
        }
    }
}

fn anywhere() -> impl Strategy<Value = Position> {
    let lon = prop_oneof![8 => -180.0..=180.0, 1 => Just(180.0), 1 => Just(-180.0), 1 => Just(0.0)];
    let lat = prop_oneof![8 => -90.0..=90.0, 1 => Just(90.0), 1 => Just(-90.0), 1 => Just(0.0)];
    (lon, lat).prop_map(|(lon, lat)| Position::new(lon, lat).unwrap())
}

proptest! {
    #[test]
    fn there_and_back_are_equally_far(a in anywhere(), b in anywhere()) {
        prop_assert!((distance(a, b).value() - distance(b, a).value()).abs() < 1e-6);
        // Nothing lies farther off than half a meridian's ellipse.
        prop_assert!(distance(a, b).value() <= 20_003_932.0);
    }

    #[test]
    fn who_goes_in_the_direction_for_the_distance_arrives(a in anywhere(), b in anywhere()) {
        let arrived = destination(a, direction(a, b), distance(a, b));
        prop_assert!(distance(arrived, b).value() < 1e-6);
    }

    #[test]
    fn every_finite_run_ends_on_the_earth(a in anywhere(), d in 0.0..360.0, run in -1e8..=1e8) {
        let end = destination(a, Degrees::new(d).unwrap(), Metres::new(run).unwrap());
        prop_assert!(Position::new(end.lon(), end.lat()).is_ok());
    }

    #[test]
    fn no_figures_at_all_make_a_panic(lon in any::<f64>(), lat in any::<f64>()) {
        if let Ok(p) = Position::new(lon, lat) {
            prop_assert_eq!(distance(p, p), Metres::ZERO);
        }
    }
}
