//! The finder of a trace on made-up ground: it goes round what it must not enter, crosses no carriageway unpaid, and its cost
//! is the sum that the finished trace comes to.

use laywire_craft::finder::{Answer, Costs, FinderError, Found, Sought, Toll, find, price};
use laywire_craft::foreseen::{Area, Drawn, Ground, Structure, Way};
use laywire_craft::geodesy::{self, Position};
use laywire_craft::obstacle::Obstacle;
use laywire_craft::profile::Profile;
use laywire_craft::units::{Metres, Minutes};
use proptest::prelude::*;

/// A place so many metres east and north of a corner of the Isle of Man. Near enough to draw with: 1° of latitude at 54° N is
/// 111,310 m and of longitude 65,590 m (from memory; nothing here hangs on it).
fn at(east: f64, north: f64) -> Position {
    Position::new(-4.60 + east / 65_590.0, 54.10 + north / 111_310.0).unwrap()
}

fn way(id: i64, obstacle: Obstacle, class: &str, places: &[(f64, f64)]) -> Way {
    Way::plain(
        Drawn::OsmWay(id),
        obstacle,
        class,
        places.iter().map(|&(east, north)| at(east, north)).collect(),
    )
}

fn area(id: i64, places: &[(f64, f64)]) -> Area {
    let ring = places.iter().map(|&(east, north)| at(east, north)).collect();
    Area { drawn: Drawn::OsmWay(id), class: "water".to_owned(), name: None, rings: vec![ring] }
}

fn from_to(from: (f64, f64), to: (f64, f64)) -> Sought {
    Sought { from: at(from.0, from.1), to: at(to.0, to.1), via: Vec::new(), not_here: Vec::new() }
}

fn costs() -> Costs {
    Costs::of(Profile::field())
}

fn found(sought: &Sought, ground: &Ground) -> Answer {
    find(sought, ground, &costs()).unwrap()
}

fn count(found: &Found, obstacle: Obstacle) -> u32 {
    let items = found.price.items.iter();
    let of_it =
        items.filter(|item| item.toll == Toll::Crossing(obstacle) || item.toll == Toll::ByPassage(obstacle));
    of_it.filter_map(|item| item.count).sum()
}

fn metres(found: &Found, toll: Toll) -> f64 {
    let items = found.price.items.iter().filter(|item| item.toll == toll);
    items.filter_map(|item| item.length_m).map(Metres::value).sum()
}

/// A hedge that bows a little off the straight way.
fn hedge() -> Vec<Position> {
    [(100.0, 60.0), (1_000.0, 120.0), (1_900.0, 60.0)].map(|(east, north)| at(east, north)).to_vec()
}

#[test]
fn a_trace_follows_a_hedge_where_its_foot_is_quicker_than_the_field() {
    let sought = from_to((0.0, 0.0), (2_000.0, 0.0));
    let bare = found(&sought, &Ground::default());
    let ground = Ground { hedges: vec![hedge()], ..Ground::default() };
    let along = &found(&sought, &ground).found[0];
    assert!(metres(along, Toll::Hedge) > 1_500.0, "{:?}", along.price);
    assert!(nearest(along, (1_000.0, 120.0)) < 6.0);
    assert!(along.price.cost_min < bare.found[0].price.cost_min);
    // No quicker than the field, it is not gone to; and it is no obstacle to whoever crosses it.
    let dear = Costs { hedge_min_per_km: costs().open_min_per_km, ..costs() };
    let past = find(&sought, &ground, &dear).unwrap();
    assert!(nearest(&past.found[0], (1_000.0, 120.0)) > 100.0);
    let over = &found(&from_to((1_000.0, -200.0), (1_000.0, 400.0)), &ground).found[0];
    assert!(over.price.items.iter().all(|item| matches!(item.toll, Toll::Open)), "{:?}", over.price);
}

/// How far the trace comes to a place.
fn nearest(found: &Found, place: (f64, f64)) -> f64 {
    found.trace.nearest(at(place.0, place.1)).offset.value()
}

#[test]
fn over_open_ground_it_is_straight() {
    let answer = found(&from_to((0.0, 0.0), (3_000.0, 1_000.0)), &Ground::default());
    let first = &answer.found[0];
    let straight = geodesy::distance(at(0.0, 0.0), at(3_000.0, 1_000.0)).value();
    assert!(first.trace.length().value() < straight * 1.01, "{} for {straight}", first.trace.length());
    // SS0440 and the signaller's account give the rates; here it is only that open ground costs what the model says.
    let open = costs().open_min_per_km.value() * first.trace.length().value() / 1_000.0;
    assert!((first.price.cost_min.value() / open - 1.0).abs() < 0.01, "{:?}", first.price);
}

#[test]
fn it_follows_a_verge_and_stays_out_of_the_carriageway() {
    // A road that swings 300 m to the north, beside woods that would be slow.
    let road = way(
        1,
        Obstacle::Road,
        "tertiary",
        &[(-500.0, 150.0), (0.0, 300.0), (4_000.0, 300.0), (4_500.0, 150.0)],
    );
    let wood = area(2, &[(200.0, -900.0), (3_800.0, -900.0), (3_800.0, 250.0), (200.0, 250.0)]);
    let ground = Ground { ways: vec![road], woods: vec![wood], ..Ground::default() };
    let answer = found(&from_to((0.0, 0.0), (4_000.0, 0.0)), &ground);
    let first = &answer.found[0];
    assert!(metres(first, Toll::Roadside) > 3_000.0, "{:?}", first.price);
    assert!(metres(first, Toll::InTraffic) < 1.0, "{:?}", first.price);
    assert_eq!(count(first, Obstacle::Road), 0, "it stays on its side: {:?}", first.price);
}

#[test]
fn it_crosses_rails_where_there_is_no_way_round_and_pays_for_it_once() {
    let rails = way(1, Obstacle::Railway, "rail", &[(1_500.0, -9_000.0), (1_500.0, 9_000.0)]);
    let ground = Ground { ways: vec![rails], ..Ground::default() };
    let answer = found(&from_to((0.0, 0.0), (3_000.0, 0.0)), &ground);
    assert_eq!(count(&answer.found[0], Obstacle::Railway), 1);
}

#[test]
fn a_bridge_is_worth_a_way_round() {
    let mut bridge = way(2, Obstacle::DirtRoad, "track", &[(1_490.0, 400.0), (1_510.0, 400.0)]);
    bridge.structure = Some(Structure::Bridge);
    let stream = way(1, Obstacle::Stream, "river", &[(1_500.0, -9_000.0), (1_500.0, 9_000.0)]);
    let ground = Ground { ways: vec![stream, bridge], ..Ground::default() };
    let mut dear = costs();
    for crossing in &mut dear.crossings {
        if crossing.obstacle == Obstacle::Stream {
            crossing.lead_min = Minutes::new(120.0).unwrap();
            crossing.passage_lead_min = Minutes::new(5.0).unwrap();
        }
    }
    let answer = find(&from_to((0.0, 0.0), (3_000.0, 0.0)), &ground, &dear).unwrap();
    assert!(nearest(&answer.found[0], (1_500.0, 400.0)) < 70.0, "{:?}", answer.found[0].price);
    assert!(answer.found[0].price.items.iter().any(|item| item.toll == Toll::ByPassage(Obstacle::Stream)));
}

#[test]
fn water_and_what_is_to_be_kept_out_of_is_gone_round() {
    let lake = area(1, &[(1_000.0, -700.0), (1_600.0, -700.0), (1_600.0, 500.0), (1_000.0, 500.0)]);
    let ground = Ground { waters: vec![lake], ..Ground::default() };
    let free = found(&from_to((0.0, 0.0), (3_000.0, 0.0)), &ground);
    assert!(nearest(&free.found[0], (1_300.0, 0.0)) >= 299.0);
    assert!(nearest(&free.found[0], (1_300.0, 500.0)) < 120.0, "by the north, which is shorter");
    let ring = [(900.0, 400.0), (1_700.0, 400.0), (1_700.0, 1_500.0), (900.0, 1_500.0)];
    let not_here = vec![ring.iter().map(|&(east, north)| at(east, north)).collect()];
    let round = Sought { not_here, ..from_to((0.0, 0.0), (3_000.0, 0.0)) };
    let round = found(&round, &ground);
    assert!(nearest(&round.found[0], (1_300.0, -700.0)) < 120.0, "then by the south");
}

#[test]
fn it_goes_by_the_places_that_are_given_in_their_order() {
    let via = vec![at(500.0, 900.0), at(2_500.0, -800.0)];
    let answer = found(&Sought { via, ..from_to((0.0, 0.0), (3_000.0, 0.0)) }, &Ground::default());
    let trace = &answer.found[0].trace;
    let (one, other) = (trace.nearest(at(500.0, 900.0)), trace.nearest(at(2_500.0, -800.0)));
    assert!(one.offset.value() < 0.01 && other.offset.value() < 0.01);
    assert!(one.chainage < other.chainage);
}

#[test]
fn another_way_is_another_way() {
    // Two tracks round a hill of woods.
    let north = way(
        1,
        Obstacle::DirtRoad,
        "track",
        &[(0.0, 50.0), (500.0, 1_000.0), (3_500.0, 1_000.0), (4_000.0, 50.0)],
    );
    let south = way(
        2,
        Obstacle::DirtRoad,
        "track",
        &[(0.0, -50.0), (500.0, -1_000.0), (3_500.0, -1_000.0), (4_000.0, -50.0)],
    );
    let wood = area(3, &[(300.0, -900.0), (3_700.0, -900.0), (3_700.0, 900.0), (300.0, 900.0)]);
    let ground = Ground { ways: vec![north, south], woods: vec![wood], ..Ground::default() };
    let answer = found(&from_to((0.0, 0.0), (4_000.0, 0.0)), &ground);
    let [first, other] = answer.found.as_slice() else { panic!("{answer:?}") };
    assert!(first.price.cost_min <= other.price.cost_min);
    let sides = [nearest(first, (2_000.0, 1_000.0)), nearest(other, (2_000.0, 1_000.0))];
    assert!(sides.iter().any(|&off| off < 60.0) && sides.iter().any(|&off| off > 500.0), "{sides:?}");
}

#[test]
fn ends_in_the_water_too_far_apart_or_cut_off_are_told() {
    let ends = from_to((0.0, 0.0), (3_000.0, 0.0));
    let ask = |sought: &Sought, ground: &Ground| find(sought, ground, &costs()).unwrap_err();
    let pond = area(1, &[(-100.0, -100.0), (100.0, -100.0), (100.0, 100.0), (-100.0, 100.0)]);
    let ground = Ground { waters: vec![pond], ..Ground::default() };
    assert_eq!(ask(&ends, &ground), FinderError::InTheWay { place: "from".to_owned() });
    // The sea's edge between them, from side to side of all that is looked at.
    let shore = vec![at(1_500.0, -90_000.0), at(1_500.0, 90_000.0)];
    let ground = Ground { shores: vec![shore], ..Ground::default() };
    assert!(matches!(ask(&ends, &ground), FinderError::CutOff { .. }));
    let none = Ground::default();
    assert!(matches!(ask(&from_to((0.0, 0.0), (61_000.0, 0.0)), &none), FinderError::TooFar { .. }));
    assert_eq!(ask(&from_to((0.0, 0.0), (0.0, 0.0)), &none), FinderError::NoWay);
    let many = Sought { via: vec![at(1.0, 1.0); 11], ..ends.clone() };
    assert_eq!(ask(&many, &none), FinderError::TooManyVia { given: 11 });
    let ring = Sought { not_here: vec![vec![at(1.0, 1.0); 2]], ..ends };
    assert_eq!(ask(&ring, &none), FinderError::NotHere);
}

/// Roads, streams and rails at random, straight and long.
fn any_ground() -> impl Strategy<Value = Ground> {
    let obstacle = prop::sample::select(vec![
        (Obstacle::Road, "tertiary"),
        (Obstacle::DirtRoad, "track"),
        (Obstacle::Stream, "stream"),
        (Obstacle::Railway, "rail"),
        (Obstacle::MainHighway, "primary"),
    ]);
    let place = || (-1_000.0..3_000.0_f64, -1_000.0..3_000.0_f64);
    let way_of = (obstacle, place(), place(), place());
    prop::collection::vec(way_of, 0..8).prop_map(|ways| {
        let ways = ways
            .into_iter()
            .zip(1..)
            .map(|(((obstacle, class), a, b, c), id)| way(id, obstacle, class, &[a, b, c]));
        Ground { ways: ways.collect(), ..Ground::default() }
    })
}

/// How often a trace goes over a way, reckoned apart from the crate's own geometry: signs of areas.
fn times_over(trace: &[Position], way: &[Position]) -> u32 {
    let side = |a: Position, b: Position, p: Position| {
        (b.lon() - a.lon()) * (p.lat() - a.lat()) - (b.lat() - a.lat()) * (p.lon() - a.lon())
    };
    let mut times = 0;
    for two in trace.windows(2) {
        for leg in way.windows(2) {
            let (p, q, a, b) = (two[0], two[1], leg[0], leg[1]);
            if side(a, b, p) * side(a, b, q) < 0.0 && side(p, q, a) * side(p, q, b) < 0.0 {
                times += 1;
            }
        }
    }
    times
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 24, ..ProptestConfig::default() })]
    #[test]
    fn no_way_is_crossed_unpaid_and_the_cost_is_that_of_the_finished_trace(ground in any_ground()) {
        let sought = from_to((0.0, 0.0), (2_000.0, 2_000.0));
        let answer = found(&sought, &ground);
        for found in &answer.found {
            let again = price(&found.trace, &sought, &ground, &costs()).unwrap();
            prop_assert_eq!(&again, &found.price);
            let sum: f64 = found.price.items.iter().map(|item| item.cost_min.value()).sum();
            prop_assert!((sum - found.price.cost_min.value()).abs() < 1e-4);
            for obstacle in [Obstacle::Road, Obstacle::MainHighway, Obstacle::Railway, Obstacle::Stream] {
                let ways = ground.ways.iter().filter(|way| way.obstacle == obstacle);
                let over: u32 = ways.map(|way| times_over(found.trace.positions(), &way.positions)).sum();
                prop_assert_eq!(count(found, obstacle), over, "{:?}", obstacle);
            }
        }
    }
}
