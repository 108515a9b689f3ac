//! Chainage, nearest place and offset on a trace: against routes of known length, against places that are made by going
//! a known way along and aside, and against a search that knows nothing but distances.

use laywire_craft::geodesy::{Position, destination, direction, distance};
use laywire_craft::trace::{MOST_POSITIONS, Nearest, Side, Trace, TraceError};
use laywire_craft::units::{Degrees, Metres};
use proptest::prelude::*;

fn place(lat: f64, lon: f64) -> Position {
    Position::new(lon, lat).unwrap()
}

fn metres(figure: f64) -> Metres {
    Metres::new(figure).unwrap()
}

fn trace(places: &[(f64, f64)]) -> Trace {
    Trace::new(places.iter().map(|&(lat, lon)| place(lat, lon)).collect()).unwrap()
}

/// Where somebody stands who goes along a trace and then square off it, to the right when `aside_m` is positive.
fn aside(trace: &Trace, chainage_m: f64, aside_m: f64) -> Position {
    let foot = trace.at(metres(chainage_m)).unwrap();
    let ahead = trace.chainages().iter().position(|&end| end.value() > chainage_m).unwrap();
    let turned = direction(foot, trace.positions()[ahead]).value() + 90.0_f64.copysign(aside_m);
    destination(foot, Degrees::new(turned.rem_euclid(360.0)).unwrap(), metres(aside_m.abs()))
}

/// The least distance from `p` to a trace, by closing in on each leg's least distance by thirds.
fn least_by_search(trace: &Trace, p: Position) -> f64 {
    let off = |chainage: f64| distance(trace.at(metres(chainage)).unwrap(), p).value();
    let mut least = f64::INFINITY;
    for ends in trace.chainages().windows(2) {
        let (mut low, mut high) = (ends[0].value(), ends[1].value());
        least = least.min(off(low)).min(off(high));
        for _ in 0..80 {
            let (third, two_thirds) = (low + (high - low) / 3.0, high - (high - low) / 3.0);
            if off(third) < off(two_thirds) { high = two_thirds } else { low = third }
        }
        least = least.min(off(low));
    }
    least
}

/// Chainages of routes A and B, straight legs on the Isle of Man: GeographicLib 2.1.
#[test]
fn routes_have_their_known_lengths() {
    for (ends, length) in [
        ([(54.08, -4.67), (54.095, -4.635)], "2834.290 m"),
        ([(54.07, -4.65), (54.09, -4.645)], "2250.055 m"),
    ] {
        assert_eq!(format!("{:.3}", trace(&ends).length()), length);
    }
}

#[test]
fn a_trace_knows_its_ends_and_its_chainages() {
    let mut laid = trace(&[(54.08, -4.67), (54.08, -4.67), (54.095, -4.635)]);
    assert_eq!(laid.chainages()[..2], [Metres::ZERO, Metres::ZERO]);
    assert_eq!((laid.at(Metres::ZERO), laid.at(laid.length())), (Some(laid.start()), Some(laid.end())));
    assert_eq!((laid.at(metres(-0.001)), laid.at(laid.length() + metres(0.001))), (None, None));
    let before = laid.length();
    laid.extend(&[place(54.1, -4.63)]).unwrap();
    assert_eq!(laid.length(), before + distance(place(54.095, -4.635), place(54.1, -4.63)));
    assert_eq!(laid.at(before), Some(place(54.095, -4.635)), "a recorded position is given back unaltered");
}

#[test]
fn positions_that_make_no_trace_are_refused() {
    let here = place(54.0, -4.0);
    assert_eq!(Trace::new(vec![]), Err(TraceError::NoLength { given: 0 }));
    assert_eq!(Trace::new(vec![here]), Err(TraceError::NoLength { given: 1 }));
    assert_eq!(Trace::new(vec![here; 3]), Err(TraceError::NoLength { given: 3 }));
    assert_eq!(
        Trace::new(vec![place(10.0, 180.0), place(10.0, -180.0)]),
        Err(TraceError::NoLength { given: 2 })
    );
    let many = TraceError::TooManyPositions { given: MOST_POSITIONS + 1, most: MOST_POSITIONS };
    assert_eq!(Trace::new(vec![here; MOST_POSITIONS + 1]), Err(many.clone()));
    let mut short = trace(&[(54.0, -4.0), (54.0, -4.1)]);
    let before = short.clone();
    assert_eq!(short.extend(&vec![here; MOST_POSITIONS - 1]), Err(many));
    let round_the_poles =
        [place(90.0, 0.0), place(-90.0, 0.0), place(90.0, 0.0), place(-90.0, 0.0), place(90.0, 0.0)];
    assert_eq!(short.extend(&round_the_poles.repeat(2)), Err(TraceError::TooLong { most: Metres::MOST }));
    assert_eq!((short.length(), &short), (before.length(), &before), "a refused extension changes nothing");
}

#[test]
fn a_trace_travels_as_the_coordinates_of_a_line_string() {
    let laid = trace(&[(54.08, -4.67), (54.095, -4.635)]);
    let text = "[[-4.67,54.08],[-4.635,54.095]]";
    assert_eq!(serde_json::to_string(&laid).unwrap(), text);
    assert_eq!(serde_json::from_str::<Trace>(text).unwrap(), laid);
    for (wrong, reason) in [
        ("[]", "a trace needs at least two positions that differ; 0 given"),
        ("[[1,2],[1,2]]", "a trace needs at least two positions that differ; 2 given"),
        ("[[1,2],[1,200]]", "a latitude in degrees is 200"),
        ("{}", "invalid type: map, expected a trace: 2 to 100000 positions"),
    ] {
        let said = serde_json::from_str::<Trace>(wrong).unwrap_err().to_string();
        assert!(said.starts_with(reason), "{wrong}: {said}");
    }
    let long = format!("[{}[1,2]]", "[1,2],".repeat(MOST_POSITIONS));
    let said = serde_json::from_str::<Trace>(&long).unwrap_err().to_string();
    assert!(said.starts_with("a trace of 100001 positions is too long"), "{said}");
}

#[test]
fn a_stretch_is_a_trace_of_its_own() {
    let whole = trace(&[(54.08, -4.67), (54.09, -4.65), (54.095, -4.635)]);
    let stretch = whole.between(metres(500.0), metres(2500.0)).unwrap();
    assert!((stretch.length().value() - 2000.0).abs() < 1e-6);
    assert_eq!(stretch.positions().len(), 3);
    assert_eq!(Some(stretch.end()), whole.at(metres(2500.0)));
    assert_eq!(whole.between(Metres::ZERO, whole.length()).unwrap(), whole);
    for (from, to) in [(2.0, 1.0), (1.0, 1.0), (-1.0, 5.0), (0.0, 1e6)] {
        let refused = whole.between(metres(from), metres(to)).unwrap_err();
        assert!(matches!(refused, TraceError::NoStretch { .. }), "{from} to {to}: {refused}");
    }
}

/// Legs of up to 100 km: across the anti-meridian, past either pole and over it, and about the middle latitudes.
fn hard_traces() -> Vec<Trace> {
    [
        [(0.0, 179.6), (0.2, -179.8)],
        [(-60.0, 179.2), (-60.3, -179.1)],
        [(89.8, 10.0), (89.7, 160.0)],
        [(89.6, 20.0), (89.6, -160.0)],
        [(-89.7, -170.0), (-89.9, 100.0)],
        [(54.0, -4.7), (54.6, -3.7)],
        [(-35.0, 149.0), (-35.0, 150.0)],
        [(0.0, 0.0), (0.9, 0.0)],
    ]
    .iter()
    .map(|ends| trace(ends))
    .collect()
}

#[test]
fn who_goes_along_and_aside_is_found_there_again() {
    for laid in hard_traces() {
        for share in [0.001, 0.3, 0.5, 0.9] {
            let chainage_m = laid.length().value() * share;
            for aside_m in [-60_000.0, -800.0, -0.5, 0.5, 30.0, 60_000.0] {
                let there = aside(&laid, chainage_m, aside_m);
                let Nearest { chainage, offset, side, position } = laid.nearest(there);
                let told = format!("{:?} {chainage_m} {aside_m}: {chainage} {offset} {side:?}", laid.start());
                assert!((chainage.value() - chainage_m).abs() < 0.001, "{told}");
                assert!((offset.value() - aside_m.abs()).abs() < 0.001, "{told}");
                assert_eq!(side, if aside_m > 0.0 { Side::Right } else { Side::Left }, "{told}");
                assert!(distance(position, laid.at(metres(chainage_m)).unwrap()).value() < 0.001, "{told}");
            }
        }
    }
}

#[test]
fn on_the_trace_and_ahead_of_its_ends_there_is_no_side() {
    let laid = trace(&[(54.0, -4.0), (54.01, -4.0)]);
    assert_eq!(laid.nearest(place(54.005, -4.0)).side, Side::On);
    let ahead = laid.nearest(place(54.02, -4.0));
    assert_eq!((ahead.chainage, ahead.side), (laid.length(), Side::On));
    assert_eq!(ahead.offset, distance(place(54.01, -4.0), place(54.02, -4.0)));
}

/// A line that turns back sharply to the left: everything outside the corner is on its right, whichever leg it is seen
/// from.
#[test]
fn outside_a_sharp_corner_there_is_one_side() {
    let corner = place(54.0, -4.0);
    let laid = trace(&[(54.0, -4.02), (54.0, -4.0), (54.002, -4.02)]);
    for bearing in [5.0, 45.0, 85.0, 89.0, 91.0, 120.0, 175.0] {
        let near = laid.nearest(destination(corner, Degrees::new(bearing).unwrap(), metres(50.0)));
        if near.position == corner {
            assert_eq!(near.side, Side::Right, "{bearing}");
        }
    }
    let along = Degrees::new(95.0).unwrap();
    assert_eq!(laid.nearest(destination(corner, along, metres(50.0))).position, corner);
}

/// A leg of 100 km stands 196 m off its own chord in the middle: it must not be taken for that far away.
#[test]
fn a_long_leg_is_found_though_its_chord_runs_underground() {
    let long = trace(&[(54.0, -4.0), (54.9, -4.0)]);
    let middle = long.at(metres(long.length().value() / 2.0)).unwrap();
    let beside = destination(middle, Degrees::new(90.0).unwrap(), metres(60.0));
    let back = Trace::new(vec![long.start(), long.end(), beside]).unwrap();
    let near = back.nearest(middle);
    assert!(near.offset.value() < 0.001 && near.chainage < long.length(), "{near:?}");
}

#[test]
fn of_places_that_are_equally_near_the_earliest_is_told() {
    let there_and_back = trace(&[(0.0, 0.0), (0.0, 0.01), (0.0, 0.0)]);
    let near = there_and_back.nearest(place(0.001, 0.005));
    assert!(near.chainage < there_and_back.chainages()[1], "{near:?}");
}

/// Routes of a few legs about any place, the poles and the anti-meridian among them.
fn routes() -> impl Strategy<Value = Trace> {
    let middle = prop_oneof![
        4 => (-90.0..=90.0, -180.0..=180.0),
        1 => (-0.5..0.5, 179.5..=180.0),
        1 => (89.5..=90.0, -180.0..=180.0),
        1 => (-90.0..=-89.5, -180.0..=180.0),
    ];
    let legs = proptest::collection::vec((0.0..360.0, 0.0..100_000.0), 1..6);
    (middle, legs).prop_filter_map("a route needs length", |((lat, lon), legs)| {
        let mut positions = vec![place(lat, lon)];
        for (bearing, run_m) in legs {
            let last = positions[positions.len() - 1];
            positions.push(destination(last, Degrees::new(bearing).unwrap(), metres(run_m)));
        }
        Trace::new(positions).ok()
    })
}

proptest! {
    #[test]
    fn nothing_on_the_trace_is_nearer_than_the_nearest(laid in routes(), bearing in 0.0..360.0, off_m in 0.0..100_000.0) {
        let p = destination(laid.start(), Degrees::new(bearing).unwrap(), metres(off_m));
        let near = laid.nearest(p);
        let least = least_by_search(&laid, p);
        prop_assert!((near.offset.value() - least).abs() < 0.001, "{near:?} for {least}");
        prop_assert!((distance(p, near.position).value() - near.offset.value()).abs() < 1e-6);
        prop_assert!(distance(laid.at(near.chainage).unwrap(), near.position).value() < 1e-4);
    }

    #[test]
    fn a_long_trace_is_as_near_as_the_nearest_of_its_legs(
        turns in proptest::collection::vec((-40.0..40.0_f64, 0.0..300.0), 200..400),
        bearing in 0.0..360.0, off_m in 0.0..20_000.0,
    ) {
        let (mut positions, mut ahead) = (vec![place(54.08, -4.67)], 0.0_f64);
        for (turn, run_m) in turns {
            ahead = (ahead + turn).rem_euclid(360.0);
            positions.push(destination(positions[positions.len() - 1], Degrees::new(ahead).unwrap(), metres(run_m)));
        }
        let p = destination(positions[positions.len() / 2], Degrees::new(bearing).unwrap(), metres(off_m));
        let legs = positions.windows(2).filter_map(|ends| Trace::new(ends.to_vec()).ok());
        let least = legs.map(|leg| leg.nearest(p).offset).reduce(Metres::min);
        prop_assert_eq!(Some(Trace::new(positions).unwrap().nearest(p).offset), least);
    }

    #[test]
    fn what_lies_on_the_trace_is_found_at_its_chainage(laid in routes(), share in 0.0..=1.0) {
        let chainage = metres(laid.length().value() * share);
        let there = laid.at(chainage).unwrap();
        let near = laid.nearest(there);
        prop_assert!(near.offset.value() < 1e-4, "{near:?}");
        // A route may cross itself: then it is an earlier place that is found, and it is the same one.
        prop_assert!(distance(laid.at(near.chainage).unwrap(), there).value() < 1e-3);
    }

    #[test]
    fn any_places_at_all_make_a_trace_or_a_refusal(
        places in proptest::collection::vec((-90.0..=90.0, -180.0..=180.0), 0..8),
        (lat, lon) in (-90.0..=90.0, -180.0..=180.0),
    ) {
        if let Ok(laid) = Trace::new(places.iter().map(|&(lat, lon)| place(lat, lon)).collect()) {
            let near = laid.nearest(place(lat, lon));
            prop_assert!(near.chainage <= laid.length());
            prop_assert!(laid.at(near.chainage).is_some());
        }
    }
}
