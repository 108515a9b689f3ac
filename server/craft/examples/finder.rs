//! Searches for a trace laid open on JSON lines, for comparison with a reference library: one number a line on standard input,
//! from which the ground is made up, one search a line on standard output. tests/reference/test_finder.py searches again.
#![allow(clippy::unwrap_used, reason = "ground that is made up wrong has to stop")]

use std::io::{self, BufRead, BufWriter, Write};

use laywire_craft::{
    finder::{Costs, Sought, laid_open},
    foreseen::{Area, Drawn, Ground, Way},
    geodesy::Position,
    obstacle::Obstacle,
    profile::Profile,
};

/// Figures from 0 to 1 that look like chance and are the same in every run (Weyl's sequence on the golden ratio).
struct Draw(f64);

impl Draw {
    fn next(&mut self) -> f64 {
        self.0 += 0.618_033_988_749_894_9;
        self.0.fract()
    }

    fn place(&mut self) -> Position {
        Position::new(-4.62 + 0.06 * self.next(), 54.08 + 0.04 * self.next()).unwrap()
    }
}

fn main() -> io::Result<()> {
    let mut answers = BufWriter::new(io::stdout().lock());
    for line in io::stdin().lock().lines() {
        let mut draw = Draw(line?.trim().parse().unwrap());
        let kinds = [
            (Obstacle::Road, "tertiary"),
            (Obstacle::DirtRoad, "track"),
            (Obstacle::Stream, "stream"),
            (Obstacle::Railway, "rail"),
        ];
        let ways = (0..12).map(|number| {
            let (obstacle, class) = kinds[number % kinds.len()];
            Way::plain(
                Drawn::OsmWay(1 + i64::try_from(number).unwrap()),
                obstacle,
                class,
                vec![draw.place(), draw.place(), draw.place()],
            )
        });
        let ways = ways.collect();
        let waters = (0..3).map(|number| {
            let ring = vec![draw.place(), draw.place(), draw.place()];
            Area {
                drawn: Drawn::OsmWay(100 + number),
                class: "lake".to_owned(),
                name: None,
                rings: vec![ring],
            }
        });
        let ground = Ground { ways, waters: waters.collect(), ..Ground::default() };
        let sought = Sought { from: draw.place(), to: draw.place(), via: Vec::new(), not_here: Vec::new() };
        let open = laid_open(&sought, &ground, &Costs::of(Profile::field())).unwrap();
        writeln!(answers, "{}", serde_json::to_string(&open)?)?;
    }
    answers.flush()
}
