//! Ground: where along its line a crossing lies, behind the laying head, ahead of it, and without a plan. The lengths and
//! the places at their chainages are GeographicLib 2.1's (Python, WGS 84); the obstacles are OpenStreetMap's, extract of the
//! Isle of Man of 2020-03-13 (© OpenStreetMap contributors, ODbL), met by straight legs of longitude and latitude.

use laywire_craft::{
    construction::Construction as C,
    geodesy::Position,
    line::LineState,
    obstacle::Obstacle as O,
    report::{Body, CrossingFinished, CrossingMarked},
};

use crate::story::*;

/// What route A meets: chainage in metres, latitude, longitude, the obstacle and the OpenStreetMap way.
const MET_BY_A: [(f64, f64, f64, O, &str); 7] = [
    (197.58, 54.081_045_544, -4.667_560_396, O::Road, "service road, way 25986459"),
    (211.81, 54.081_120_847, -4.667_384_691, O::MainHighway, "trunk road, way 159709647"),
    (443.73, 54.082_348_133, -4.664_521_023, O::Railway, "narrow-gauge railway, way 64104051"),
    (771.52, 54.084_082_790, -4.660_473_491, O::Stream, "stream, way 63058925"),
    (1_548.29, 54.088_193_625, -4.650_881_541, O::MainHighway, "trunk road, way 158803701"),
    (1_699.08, 54.088_991_669, -4.649_019_439, O::DirtRoad, "track, way 60366129"),
    (2_549.29, 54.093_491_524, -4.638_519_776, O::Path, "path, way 25989498"),
];

/// The same of route B, where a stream is met three times and two tracks lie side by side.
const MET_BY_B: [(f64, f64, f64, O, &str); 6] = [
    (902.65, 54.078_023_344, -4.647_994_164, O::MainHighway, "trunk road"),
    (1_068.24, 54.079_495_218, -4.647_626_195, O::Railway, "railway, first track"),
    (1_073.12, 54.079_538_595, -4.647_615_351, O::Railway, "railway, second track"),
    (1_280.87, 54.081_385_217, -4.647_153_696, O::Stream, "river, way 25988571, first time"),
    (1_662.06, 54.084_773_493, -4.646_306_627, O::Stream, "river, way 25988571, second time"),
    (1_796.98, 54.085_972_755, -4.646_006_811, O::Stream, "river, way 25988571, third time"),
];

/// How a team of this test gets over.
fn way(obstacle: O) -> C {
    match obstacle {
        O::MainHighway | O::Road => C::OverheadPoles,
        O::DirtRoad | O::Path => C::Buried,
        O::Railway => C::UnderRails,
        O::Stream => C::OverheadTrees,
    }
}

fn named(n: u128, lat: f64, lon: f64, obstacle: O) -> CrossingMarked {
    CrossingMarked { position: place(lat, lon), ..at(n, obstacle, way(obstacle)) }
}

#[track_caller]
fn lies_at(story: &Story, n: u128, chainage: f64) {
    let lies = story.crossing(n).chainage.value();
    assert!((lies - chainage).abs() < 0.01, "crossing {n} lies at {lies}, not at {chainage}");
}

#[test]
fn what_a_route_meets_is_found_at_its_chainage_before_and_after_the_wire_is_laid() {
    for (route, length, met) in [(ROUTE_A, 2_834.290, &MET_BY_A[..]), (ROUTE_B, 2_250.055, &MET_BY_B[..])] {
        let numbered = || (1_u128..).zip(met);
        let mut story = Story::new();
        story.tell(&post(), planned(line(1), "12", Some(trace(&route))));
        assert!((story.line(1).length().value() - length).abs() < 0.001, "planned");
        for (n, &(chainage, lat, lon, obstacle, _)) in numbered() {
            story.tell(&post(), foreseen(named(n, lat, lon, obstacle)));
            lies_at(&story, n, chainage);
        }
        story.tell(&lead(), started(line(1)));
        let ends = route.map(|(lat, lon)| place(lat, lon));
        story.tell(&lead(), laid(line(1), ends.to_vec()));
        assert!((story.line(1).laid_length.value() - length).abs() < 0.001, "laid");
        for (n, &(chainage, lat, lon, obstacle, what)) in numbered() {
            story.pass(named(n, lat, lon, obstacle));
            lies_at(&story, n, chainage);
            let built = CrossingFinished {
                clearance_m: Some(m(6.0)),
                depth_m: Some(m(0.2)),
                ..finished(n, all(obstacle, way(obstacle)))
            };
            assert!(story.hear(&follow_up(), Body::CrossingFinished(built)).is_ok(), "{what}");
        }
        story.tell(&lead(), call(line(1), true));
        assert_eq!(story.line_is(1), LineState::Finished);
    }
}

#[test]
fn a_crossing_behind_the_head_lies_on_the_laid_wire_and_one_ahead_on_the_plan() {
    let mut story = Story::under_way();
    story.tell(&lead(), laid(line(1), vec![on_a(0.0), on_a(600.0)]));
    for (n, &(chainage, lat, lon, obstacle, _)) in (1..).zip(&MET_BY_A) {
        story.tell(&lead(), marked(named(n, lat, lon, obstacle)));
        lies_at(&story, n, chainage);
    }
    assert!((story.line(1).length().value() - 2_834.290).abs() < 0.001);
}

#[test]
fn nothing_lies_before_the_start() {
    let mut story = Story::under_way();
    story.tell(&lead(), laid(line(1), vec![on_a(600.0)]));
    let (_, lat, lon, obstacle, _) = MET_BY_A[0];
    story.tell(&lead(), marked(named(1, lat, lon, obstacle)));
    lies_at(&story, 1, 0.0);
}

#[test]
fn a_detour_puts_what_lies_ahead_farther_along() {
    // North to the corner and back to the plan at 600 m: 333.920 m and 485.159 m, by GeographicLib 2.1.
    let mut story = Story::under_way();
    let corner = place(54.083, -4.67);
    story.tell(&lead(), laid(line(1), vec![on_a(0.0), corner, on_a(600.0)]));
    let longer = 333.920 + 485.159 - 600.0;
    assert!((story.line(1).laid_length.value() - (600.0 + longer)).abs() < 0.01);
    let (chainage, lat, lon, obstacle, _) = MET_BY_A[4];
    story.tell(&lead(), marked(named(1, lat, lon, obstacle)));
    lies_at(&story, 1, chainage + longer);
    assert!((story.line(1).length().value() - (2_834.290 + longer)).abs() < 0.01);
}

#[test]
fn without_a_plan_a_crossing_ahead_lies_straight_on_from_the_head() {
    let mut story = Story::new();
    story.tell(&post(), planned(line(1), "12", None));
    story.tell(&lead(), started(line(1)));
    let (_, lat, lon, obstacle, _) = MET_BY_A[3];
    story.tell(&lead(), marked(named(1, lat, lon, obstacle)));
    lies_at(&story, 1, 0.0);
    story.tell(&lead(), laid(line(1), vec![on_a(0.0)]));
    story.tell(&lead(), marked(named(2, lat, lon, obstacle)));
    lies_at(&story, 2, 771.52);
    story.tell(&lead(), laid(line(1), vec![on_a(500.0)]));
    story.tell(&lead(), marked(named(3, lat, lon, obstacle)));
    lies_at(&story, 3, 771.52);
    story.tell(&lead(), laid(line(1), vec![on_a(1_000.0)]));
    story.tell(&lead(), marked(named(4, lat, lon, obstacle)));
    lies_at(&story, 4, 771.52);
}

/// The hairpin's first leg, its second, and half of its third, by GeographicLib 2.1.
const HAIRPIN_LEGS: [f64; 3] = [1_311.515, 333.915, 655.711];

/// Out to the east, a little to the north, and back to the west.
fn hairpin() -> Vec<Position> {
    vec![place(54.0, -4.0), place(54.0, -3.98), place(54.003, -3.98), place(54.003, -4.0)]
}

#[test]
fn where_a_plan_turns_back_on_itself_what_lies_ahead_is_not_put_on_the_wire_beside_it() {
    let [out, across, half_back] = HAIRPIN_LEGS;
    let mut story = Story::new();
    let there = laywire_craft::trace::Trace::new(hairpin()).unwrap();
    story.tell(&post(), planned(line(1), "12", Some(there)));
    story.tell(&lead(), started(line(1)));
    story.tell(&lead(), laid(line(1), hairpin()[..2].to_vec()));
    // Half-way back, 334 m north of wire that lies already.
    story.tell(
        &lead(),
        marked(CrossingMarked { position: place(54.003, -3.99), ..at(1, O::Road, C::ThroughCulvert) }),
    );
    lies_at(&story, 1, out + across + half_back);
    // A step beside the laid wire it is the wire's, whatever the plan says.
    story.tell(
        &lead(),
        marked(CrossingMarked { position: place(54.000_1, -3.99), ..at(2, O::Road, C::ThroughCulvert) }),
    );
    let lies = story.crossing(2).chainage.value();
    assert!((lies - out / 2.0).abs() < 0.5, "{lies}");
}
