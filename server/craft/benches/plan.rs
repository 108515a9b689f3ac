//! The plan of a line of 50 km with 200 crossings, wire and reels and time together: no more than 50 ms.

#![allow(clippy::unwrap_used, clippy::panic, reason = "a benchmark whose question is wrong has to stop")]
#![allow(clippy::print_stderr, reason = "what was planned is told beside how long it took")]
#![allow(missing_docs, reason = "criterion's macros make public functions without documentation")]

use std::hint::black_box;

use criterion::{Criterion, criterion_group, criterion_main};
use laywire_craft::construction::Construction;
use laywire_craft::obstacle::Obstacle;
use laywire_craft::reels::{self, Class, Outcome, Reel, Stretch};
use laywire_craft::text::Name;
use laywire_craft::units::{Metres, Minutes};
use laywire_craft::{pace, wire};

const LEGS: u32 = 500;
const CROSSINGS: u32 = 200;

fn metres(value: f64) -> Metres {
    Metres::new(value).unwrap()
}

/// A figure from 0 to 1 that looks like chance and is always the same (Weyl's sequence on the golden ratio).
fn drawn(number: u32) -> f64 {
    (f64::from(number) * 0.618_033_988_749_894_9).fract()
}

fn line() -> wire::Input {
    let leg = wire::Leg { name: None, length_m: metres(50_000.0 / f64::from(LEGS)), slack_percent: None };
    let kinds = [
        (Obstacle::Road, Construction::OverheadLancePoles),
        (Obstacle::DirtRoad, Construction::Buried),
        (Obstacle::Stream, Construction::OverheadTrees),
        (Obstacle::Road, Construction::ThroughCulvert),
        (Obstacle::Railway, Construction::UnderRails),
    ];
    let crossings = (0..CROSSINGS)
        .map(|number| {
            let (obstacle, construction) = kinds[number as usize % kinds.len()];
            let chainage = 250.0 * (f64::from(number) + 0.2 + 0.6 * drawn(number));
            wire::Crossing::foreseen(metres(chainage), obstacle, construction)
        })
        .collect();
    wire::Input {
        legs: vec![leg; LEGS as usize],
        crossings,
        splices: 0,
        figures: wire::Figures::default(),
        at_chainages_m: Vec::new(),
        at_wires_m: Vec::new(),
    }
}

/// Thirty full reels of a mile, ten of half a mile, and forty begun ones.
fn at_hand() -> Vec<Reel> {
    (0..80)
        .map(|number| {
            let left = match number {
                0..30 => 1609.0,
                30..40 => 804.0,
                _ => 200.0 + 1300.0 * drawn(number),
            };
            let label = Name::new(&format!("R{number}")).unwrap();
            Reel { label, left_m: metres(left), wire: None, class: Class::A }
        })
        .collect()
}

fn plan(line: &wire::Input, reels: &[Reel]) -> (wire::Answer, reels::Answer, pace::Answer) {
    let layout = wire::Layout::new(line).unwrap();
    let no_splice = layout.no_splice(line, &wire::NoSplice::default()).unwrap();
    let chosen = reels::reckon(&reels::Input {
        length_m: layout.drawn(),
        no_splice: no_splice.iter().map(|s| Stretch { from_m: s.from, to_m: s.to, what: None }).collect(),
        reels: reels.to_vec(),
        wire: None,
        class_b: false,
        ends_m: None,
    })
    .unwrap();
    let splices = match &chosen.outcome {
        Outcome::Planned(plan) => plan.splices,
        Outcome::Short(short) => panic!("{short:?}"),
    };
    let splices = u16::try_from(splices).unwrap();
    let wire = wire::reckon(&wire::Input { splices, ..line.clone() }).unwrap();
    let time = pace::reckon(&pace::Input {
        legs: line
            .legs
            .iter()
            .map(|leg| pace::Leg { length_m: leg.length_m, ground: pace::Ground::Open })
            .collect(),
        crossings: line
            .crossings
            .iter()
            .map(|crossing| pace::Crossing {
                chainage_m: crossing.chainage_m,
                obstacle: crossing.obstacle,
                construction: crossing.construction,
                lead_min: None,
                follow_up_min: None,
            })
            .collect(),
        reel_changes: splices,
        light: pace::Light::Day,
        lead_means: pace::Means::Vehicle,
        follow_up_means: pace::Means::Vehicle,
        follow_up_after_min: Minutes::ZERO,
        figures: pace::Figures::default(),
    })
    .unwrap();
    (wire, chosen, time)
}

fn whole_plan(criterion: &mut Criterion) {
    let (line, reels) = (line(), at_hand());
    let (wire, chosen, time) = plan(&line, &reels);
    if let Outcome::Planned(plan) = &chosen.outcome {
        eprintln!(
            "{} of wire, {} splices, {} left (proved: {} and {}), through in {}",
            wire.drawn_m,
            plan.splices,
            plan.rest_m,
            plan.fewest_proved,
            plan.least_rest_proved,
            time.through_min
        );
    }
    criterion.bench_function("plan: 50 km and 200 crossings", |bencher| {
        bencher.iter(|| plan(black_box(&line), black_box(&reels)));
    });
    criterion.bench_function("wire: 50 km and 200 crossings", |bencher| {
        bencher.iter(|| wire::reckon(black_box(&line)));
    });
}

criterion_group!(benches, whole_plan);
criterion_main!(benches);
