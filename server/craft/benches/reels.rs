//! The reel plan at the size that it is promised for: 200 reels and 100 stretches without splices within a second. The
//! cases differ in what makes them hard: reels of four issue lengths, reels each of another length, reels that hardly
//! suffice, places for splices that are few, and reels that do not reach.

#![allow(clippy::unwrap_used, clippy::panic, reason = "a benchmark whose question is wrong has to stop")]
#![allow(clippy::print_stderr, reason = "what was planned is told beside how long it took")]
#![allow(missing_docs, reason = "criterion's macros make public functions without documentation")]

use std::hint::black_box;

use criterion::{Criterion, criterion_group, criterion_main};
use laywire_craft::reels::{Class, Input, Outcome, Reel, Stretch, reckon};
use laywire_craft::text::Name;
use laywire_craft::units::Metres;

/// A figure from 0 to 1 that looks like chance and is always the same (Weyl's sequence on the golden ratio).
fn drawn(number: u32) -> f64 {
    (f64::from(number) * 0.618_033_988_749_894_9).fract()
}

fn line(length: f64, closed: f64, left: impl Fn(u32) -> f64) -> Input {
    let apart = length / 101.0;
    let no_splice = (1..=100)
        .map(|number| {
            let from = (f64::from(number) + drawn(number) * 0.1) * apart;
            let to = (from + closed * apart * (0.8 + 0.2 * drawn(number + 7))).min(length);
            Stretch { from_m: Metres::new(from).unwrap(), to_m: Metres::new(to).unwrap(), what: None }
        })
        .collect();
    let reels = (0..200)
        .map(|number| Reel {
            label: Name::new(&format!("R{number}")).unwrap(),
            left_m: Metres::new(left(number)).unwrap(),
            wire: None,
            class: Class::A,
        })
        .collect();
    Input {
        length_m: Metres::new(length).unwrap(),
        no_splice,
        reels,
        wire: None,
        class_b: false,
        ends_m: None,
    }
}

fn cases() -> Vec<(&'static str, Input)> {
    // Issue lengths: 1/4, 1/2, 1 and 2 1/2 miles (SS0440 p. 11, table 1-1).
    let issue = |number: u32| [402.0, 804.0, 1609.0, 4023.0][number as usize % 4];
    let begun = |number: u32| 400.0 + 1200.0 * drawn(number);
    vec![
        ("issue lengths", line(60_000.0, 0.1, issue)),
        ("each of another length", line(60_000.0, 0.1, begun)),
        ("hardly enough", line(198_500.0, 0.02, begun)),
        ("one length", line(60_000.0, 0.1, |_| 1609.0)),
        ("few places, issue lengths", line(60_000.0, 0.9, issue)),
        ("few places, each of another length", line(60_000.0, 0.9, begun)),
        ("too little", line(200_000.0, 0.1, |number| 200.0 + 600.0 * drawn(number))),
        ("no reel spans", line(100_000.0, 0.9, |number| 400.0 + 400.0 * drawn(number))),
        ("splices forbidden", line(60_000.0, 0.9, |number| 540.0 + 40.0 * drawn(number))),
    ]
}

fn reels(criterion: &mut Criterion) {
    let mut group = criterion.benchmark_group("reels: 200 and 100 stretches");
    group.sample_size(10);
    for (name, input) in cases() {
        match reckon(&input).unwrap().outcome {
            Outcome::Planned(plan) => eprintln!(
                "{name}: {} splices, {} left, proved: {} and {}",
                plan.splices, plan.rest_m, plan.fewest_proved, plan.least_rest_proved
            ),
            Outcome::Short(short) => eprintln!("{name}: {}, proved: {}", short.why, short.proved),
        }
        group.bench_function(name, |bencher| bencher.iter(|| reckon(black_box(&input))));
    }
    group.finish();
}

criterion_group!(benches, reels);
criterion_main!(benches);
