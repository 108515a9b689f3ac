//! A thousand runs of a line of 50 km with 200 crossings: no more than a second. And the most that one question may ask, with
//! what would help: one line, and many lines that share their teams.

#![allow(clippy::unwrap_used, reason = "a benchmark whose question is wrong has to stop")]
#![allow(clippy::print_stderr, reason = "what was forecast is told beside how long it took")]
#![allow(missing_docs, reason = "criterion's macros make public functions without documentation")]

use std::hint::black_box;

use criterion::{Criterion, criterion_group, criterion_main};
use laywire_craft::construction::Construction;
use laywire_craft::forecast::{
    Breaks, Input, LeadTeams, OneOf, Order, Several, Spread, UnderTheSun, reckon, reckon_several,
};
use laywire_craft::geodesy::Position;
use laywire_craft::ids::LineId;
use laywire_craft::line::Designation;
use laywire_craft::obstacle::Obstacle;
use laywire_craft::pace::{self, Ground, Light, Means};
use laywire_craft::units::{Metres, Minutes};
use uuid::Uuid;

fn minutes(value: f64) -> Minutes {
    Minutes::new(value).unwrap()
}

/// A crossing each 250 m.
fn question(crossings: u32) -> Input {
    let kinds = [
        (Obstacle::Road, Construction::OverheadLancePoles),
        (Obstacle::DirtRoad, Construction::Buried),
        (Obstacle::Stream, Construction::OverheadTrees),
        (Obstacle::Road, Construction::ThroughCulvert),
        (Obstacle::Railway, Construction::UnderRails),
    ];
    let legs = crossings as usize * 5 / 2;
    let crossings = (0..crossings).map(|number| {
        let (obstacle, construction) = kinds[number as usize % kinds.len()];
        pace::Crossing {
            chainage_m: Metres::new(250.0 * (f64::from(number) + 0.5)).unwrap(),
            obstacle,
            construction,
            lead_min: None,
            follow_up_min: None,
        }
    });
    let leg = |number: usize| pace::Leg {
        length_m: Metres::new(100.0).unwrap(),
        ground: Ground::ALL[number % Ground::ALL.len()],
    };
    Input {
        line: pace::Input {
            legs: (0..legs).map(leg).collect(),
            crossings: crossings.collect(),
            reel_changes: 38,
            light: Light::Day,
            lead_means: Means::Vehicle,
            follow_up_means: Means::Vehicle,
            follow_up_after_min: minutes(30.0),
            figures: pace::Figures::default(),
        },
        follow_up_teams: 3,
        order: Order::TrafficFirst,
        spread: Spread::default(),
        sun: Some(UnderTheSun {
            from: "2026-11-26T07:00:00Z".parse().unwrap(),
            place: Position::new(-4.6, 54.1).unwrap(),
        }),
        breaks: Some(Breaks { after_min: minutes(120.0), length_min: minutes(15.0) }),
        so_far: None,
        runs: 1_000,
        seed: 1,
        try_helps: false,
    }
}

fn thousand_runs(criterion: &mut Criterion) {
    let alone = question(200);
    let with_helps = Input { try_helps: true, ..alone.clone() };
    let answer = reckon(&with_helps).unwrap();
    eprintln!(
        "finished in {} at 50 % and {} at 90 %; {} things tried",
        answer.finished.time.p50_min,
        answer.finished.time.p90_min,
        answer.helps.len()
    );
    let mut group = criterion.benchmark_group("forecast: 1,000 runs, 50 km, 200 crossings");
    group.sample_size(10);
    group.bench_function("alone", |bencher| bencher.iter(|| reckon(black_box(&alone))));
    group.bench_function("and what would help", |bencher| bencher.iter(|| reckon(black_box(&with_helps))));
    group.finish();
}

fn the_most(criterion: &mut Criterion) {
    let one = Input { try_helps: true, ..question(500) };
    let of = question(50);
    let line = |number: u32| OneOf {
        line: LineId(Uuid::from_u128(u128::from(number))),
        designation: Designation::new(&format!("L-{number}")).unwrap(),
        work: of.line.clone(),
        so_far: None,
        near_end: Position::new(-4.6 + 0.01 * f64::from(number), 54.1).ok(),
    };
    let several = |runs, try_helps| Several {
        lines: (1..=20).map(line).collect(),
        lead_teams: LeadTeams::Each,
        follow_up_teams: of.follow_up_teams,
        order: of.order,
        spread: of.spread,
        sun: of.sun,
        breaks: of.breaks,
        runs,
        seed: of.seed,
        try_helps,
    };
    let mut group = criterion.benchmark_group("forecast: the most");
    group.sample_size(10);
    group.bench_function("one line, 500 crossings, 1,000 runs", |bencher| {
        bencher.iter(|| reckon(black_box(&one)));
    });
    for (name, try_helps) in [("alone", false), ("and what would help", true)] {
        let asked = several(500, try_helps);
        group.bench_function(format!("20 lines, 1,000 crossings, 500 runs, {name}"), |bencher| {
            bencher.iter(|| reckon_several(black_box(&asked)));
        });
    }
    group.finish();
}

criterion_group!(benches, thousand_runs, the_most);
criterion_main!(benches);
