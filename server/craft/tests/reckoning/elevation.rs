//! Heights and profiles over ground whose shape is known: a plane, a cone, a level ring. The grids are made here, and the
//! figures beside the checks follow from the shapes alone: along the equator a degree is 6,378,137 m × π / 180 (WGS 84).

use laywire_craft::elevation::{ElevationError, Grid, GroundAbout, MOST_THINNED, Profile, height};
use laywire_craft::geodesy::Position;
use laywire_craft::trace::Trace;
use laywire_craft::units::Metres;
use proptest::prelude::*;

/// A degree of the equator, in metres.
const DEGREE_M: f64 = 6_378_137.0 * std::f64::consts::PI / 180.0;
/// Posts each way of the grids below, 0.0005° (56 m) apart.
const POSTS: usize = 41;
const SPACING: f64 = 0.0005;

fn at(lon: f64, lat: f64) -> Position {
    Position::new(lon, lat).unwrap()
}

fn m(height: f64) -> Option<Metres> {
    Metres::new(height).ok()
}

/// A grid of 0.02° about 0° N 0° E, with the height that `ground` gives for a longitude and a latitude.
fn grid(ground: impl Fn(f64, f64) -> Option<f64>) -> Grid {
    let degrees = |post: usize| (f64::from(u32::try_from(post).unwrap()) - 20.0) * SPACING;
    let heights = (0..POSTS * POSTS).map(|post| {
        ground(degrees(post % POSTS), -degrees(post / POSTS)).and_then(|height| Metres::new(height).ok())
    });
    Grid::new(at(-0.01, 0.01), at(0.01, -0.01), POSTS, POSTS, heights).unwrap()
}

fn trace(positions: &[(f64, f64)]) -> Trace {
    Trace::new(positions.iter().map(|&(lon, lat)| at(lon, lat)).collect()).unwrap()
}

fn near(found: Metres, awaited: f64, within: f64) {
    assert!((found.value() - awaited).abs() <= within, "{found} for {awaited}");
}

#[test]
fn a_plane_that_rises_at_45_degrees_makes_a_trace_longer_by_the_root_of_two() {
    let plane = [grid(|lon, _| Some(lon * DEGREE_M))];
    let profile = Profile::new(&trace(&[(-0.0093, 0.0), (0.0071, 0.0)]), &plane).unwrap();
    near(profile.surface_length().unwrap(), 0.0164 * DEGREE_M * 2f64.sqrt(), 0.001);
    let steepest = profile.steepest().unwrap();
    near(steepest.rise, (steepest.to - steepest.from).value(), 0.001);
    let (low, high) = profile.extremes().unwrap();
    near(high.height.unwrap() - low.height.unwrap(), 0.0164 * DEGREE_M, 0.001);
    assert_eq!(profile.unknown(), Metres::ZERO);
}

#[test]
fn a_trace_over_the_top_of_a_cone_is_two_of_its_sides_long() {
    let (base, top) = (0.01 * DEGREE_M, 300.0);
    let cone = [grid(|lon, lat| Some(top * (1.0 - lon.hypot(lat) * DEGREE_M / base)))];
    let profile = Profile::new(&trace(&[(-0.01, 0.0), (0.0, 0.0), (0.01, 0.0)]), &cone).unwrap();
    near(profile.surface_length().unwrap(), 2.0 * base.hypot(top), 0.001);
    let (low, high) = profile.extremes().unwrap();
    near(high.chainage, base, 0.001);
    near(high.height.unwrap(), top, 0.001);
    near(low.height.unwrap(), 0.0, 0.001);
}

#[test]
fn a_trace_along_a_level_is_no_longer_than_the_ground() {
    let level = [grid(|_, _| Some(-3.5))];
    let round = trace(&[(-0.004, 0.003), (0.006, 0.004), (0.005, -0.007)]);
    let profile = Profile::new(&round, &level).unwrap();
    near(profile.surface_length().unwrap(), round.length().value(), 1e-6);
    near(profile.steepest().unwrap().rise, 0.0, 1e-6);
}

#[test]
fn a_hill_between_two_positions_is_not_stepped_over() {
    let hill = [grid(|lon, _| Some(if lon.abs() < 1e-9 { 80.0 } else { 0.0 }))];
    let profile = Profile::new(&trace(&[(-0.01, 0.0), (0.01, 0.0)]), &hill).unwrap();
    let step = hill[0].cell();
    assert!(profile.points().windows(2).all(|pair| pair[1].chainage - pair[0].chainage <= step));
    // The nearest step is at most half a cell from the ridge, where half of its height is left.
    assert!(profile.extremes().unwrap().1.height >= m(39.9));
}

#[test]
fn an_unknown_height_is_never_zero_and_the_length_over_it_is_not_told() {
    let gap = [grid(|lon, _| (lon.abs() > 0.0012).then_some(50.0))];
    let profile = Profile::new(&trace(&[(-0.01, 0.0), (0.01, 0.0)]), &gap).unwrap();
    assert_eq!(profile.surface_length(), None);
    // The known posts next to the gap stand at 0.0015°, three cells from its middle on either hand.
    near(profile.unknown(), 0.003 * DEGREE_M, 2.0 * gap[0].cell().value());
    assert!(
        profile.points().iter().all(|point| point.height.is_none_or(|height| height == m(50.0).unwrap()))
    );
    // On a known post the unknown neighbour has no weight; a hair beside it, it has.
    assert_eq!(gap[0].height(at(-0.0015, 0.0)), m(50.0));
    assert_eq!(gap[0].height(at(-0.0014, 0.0)), None);
}

#[test]
fn what_the_hills_add_is_told_of_the_known_part_alone() {
    let way = trace(&[(-0.01, 0.0), (0.01, 0.0)]);
    let whole = Profile::new(&way, &[grid(|lon, _| Some(lon * DEGREE_M))]).unwrap().surface();
    near(whole.more_m, 0.02 * DEGREE_M * (2f64.sqrt() - 1.0), 0.001);
    near(whole.length_m.unwrap(), way.length().value() + whole.more_m.value(), 0.001);
    let half =
        Profile::new(&way, &[grid(|lon, _| (lon <= 1e-9).then_some(lon * DEGREE_M))]).unwrap().surface();
    assert_eq!(half.length_m, None);
    let known = way.length().value() - half.unknown_m.value();
    near(half.more_m, known * (2f64.sqrt() - 1.0), 0.001);
    near(half.unknown_m, 0.01 * DEGREE_M, SPACING * DEGREE_M);
}

#[test]
fn the_ground_on_both_sides_of_a_crossing_is_thirty_metres_before_and_after_it() {
    let slope = [grid(|lon, _| Some(100.0 + 0.1 * lon * DEGREE_M))];
    let way = trace(&[(-0.01, 0.0), (0.01, 0.0)]);
    let (middle, ten) = (way.length().half(), Metres::new(10.0).unwrap());
    let river = GroundAbout::of(&way, &slope, middle - ten, middle + ten).unwrap();
    near(river.before_m, 96.0, 0.001);
    near(river.after_m, 104.0, 0.001);
    near(river.apart_m, 80.0, 1e-6);
    // At the start there is no more trace to look back along.
    let start = GroundAbout::of(&way, &slope, Metres::ZERO, ten).unwrap();
    near(start.after_m - start.before_m, 4.0, 0.001);
    near(start.apart_m, 40.0, 1e-6);
    assert_eq!(GroundAbout::of(&way, &[], Metres::ZERO, ten), None);
}

#[test]
fn without_a_grid_the_whole_trace_is_unknown() {
    let way = trace(&[(0.0, 0.0), (0.01, 0.0)]);
    let profile = Profile::new(&way, &[]).unwrap();
    assert_eq!((profile.surface_length(), profile.unknown()), (None, way.length()));
    assert_eq!((profile.steepest(), profile.extremes()), (None, None));
}

#[test]
fn where_one_grid_knows_nothing_the_next_is_asked() {
    let west = grid(|lon, _| (lon <= 0.0).then_some(1.0));
    let whole = grid(|_, _| Some(2.0));
    let both = [west, whole];
    assert_eq!(height(&both, at(-0.005, 0.001)), m(1.0));
    assert_eq!(height(&both, at(0.005, 0.001)), m(2.0));
    assert_eq!(height(&both, at(0.5, 0.0)), None);
}

#[test]
fn a_grid_that_cannot_be_one_is_refused() {
    let (nw, se) = (at(7.0, 51.0), at(8.0, 50.0));
    let none = || std::iter::repeat(None);
    assert!(matches!(Grid::new(nw, se, 1, 9, none()), Err(ElevationError::Size { .. })));
    assert!(matches!(Grid::new(nw, se, usize::MAX, 2, none()), Err(ElevationError::Size { .. })));
    assert!(matches!(Grid::new(nw, se, 4001, 4000, none()), Err(ElevationError::Size { .. })));
    assert!(matches!(Grid::new(se, nw, 2, 2, none()), Err(ElevationError::Corners)));
    assert!(matches!(Grid::new(nw, se, 2, 2, none()), Err(ElevationError::Count { given: 5, .. })));
    assert!(matches!(Grid::new(nw, se, 2, 2, none().take(3)), Err(ElevationError::Count { given: 3, .. })));
    assert!(matches!(
        Grid::new(nw, se, 2, 2, [m(0.0), m(-32768.0), m(0.0), m(0.0)]),
        Err(ElevationError::NotOnEarth { .. })
    ));
}

#[test]
fn a_trace_round_the_earth_is_refused_before_its_heights_are_taken() {
    let fine = [grid(|_, _| Some(0.0))];
    let long = trace(&[(-170.0, 0.0), (0.0, 10.0), (170.0, 0.0)]);
    assert!(
        matches!(Profile::new(&long, &fine), Err(ElevationError::TooLong { points }) if points > 200_000)
    );
}

#[test]
fn thinning_keeps_ends_extremes_and_the_ends_of_what_is_unknown() {
    let saw = [grid(|lon, lat| {
        (!(0.0019..0.0031).contains(&lon)).then_some((lon * 9000.0).sin() * 20.0 + lat * 3000.0)
    })];
    let to_and_fro: Vec<_> = (0..150_u32)
        .map(|turn| (if turn % 2 == 0 { -0.0098 } else { 0.0098 }, f64::from(turn) * 0.0001 - 0.0075))
        .collect();
    let profile = Profile::new(&trace(&to_and_fro), &saw).unwrap();
    assert!(profile.points().len() > 2 * MOST_THINNED);
    let thinned = profile.thinned();
    assert!(thinned.len() <= MOST_THINNED, "{}", thinned.len());
    assert!(thinned.windows(2).all(|pair| pair[0].chainage < pair[1].chainage));
    assert_eq!((thinned.first(), thinned.last()), (profile.points().first(), profile.points().last()));
    let (low, high) = profile.extremes().unwrap();
    assert!(thinned.contains(&low) && thinned.contains(&high));
    assert!(thinned.iter().any(|point| point.height.is_none()));
}

proptest! {
    #[test]
    fn over_the_hills_is_never_shorter_than_over_the_ground(
        ends in prop::collection::vec((-0.0099..0.0099, -0.0099..0.0099), 2..8), steep in 0.0..900.0,
    ) {
        let hills = [grid(|lon, lat| Some((lon * 2000.0).sin() * (lat * 3000.0).cos() * steep))];
        let way = trace(&ends);
        let surface = Profile::new(&way, &hills).unwrap().surface_length().unwrap();
        prop_assert!(surface.value() >= way.length().value() - 1e-6);
    }

    #[test]
    fn a_height_lies_between_the_four_about_it(posts in prop::array::uniform4(-400.0..8000.0), lon in 7.0..=8.0, lat in 50.0..=51.0) {
        let grid = Grid::new(at(7.0, 51.0), at(8.0, 50.0), 2, 2, posts.map(m)).unwrap();
        let found = grid.height(at(lon, lat)).unwrap().value();
        let (low, high) = posts.iter().fold((f64::MAX, f64::MIN), |(l, h), p: &f64| (l.min(*p), h.max(*p)));
        prop_assert!(found >= low - 0.001 && found <= high + 0.001);
    }
}
