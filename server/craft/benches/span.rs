//! How long a span takes to reckon. The goal is 20 µs for the whole answer: four conditions, their drawings, the verdicts
//! and the largest span.

#![allow(
    missing_docs,
    clippy::unwrap_used,
    reason = "criterion's macros make public items, and a question is well formed"
)]

use std::hint::black_box;

use criterion::{Criterion, criterion_group, criterion_main};
use laywire_craft::catenary::Catenary;
use laywire_craft::span::{SpanInput, reckon};
use laywire_craft::units::Metres;

fn spans(c: &mut Criterion) {
    let road: SpanInput = serde_json::from_value(serde_json::json!({
        "span_m": 30.48,
        "left": { "tie_height_m": 7.5 },
        "right": { "tie_height_m": 6.5, "ground_m": 2.0 },
        "strung": { "sag_m": 0.8 },
        "loading": "heavy",
        "over": { "obstacle": "road", "from_m": 10.0, "to_m": 18.0, "crown_m": 0.1 },
    }))
    .unwrap();
    c.bench_function("span, heavy loading, over a crowned road", |b| b.iter(|| reckon(black_box(&road))));
    let [span, rise, wire] = [60.0, 15.0, 65.0].map(Metres::from_const);
    c.bench_function("catenary of a length", |b| {
        b.iter(|| Catenary::of_length(black_box(span), black_box(rise), black_box(wire)));
    });
}

criterion_group!(benches, spans);
criterion_main!(benches);
