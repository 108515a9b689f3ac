//! Travel by road on JSON lines, for comparison with a reference library: one question a line on standard input, the minutes from
//! every place to every place on standard output. tests/reference/test_road.py asks and searches again.
#![allow(clippy::unwrap_used, reason = "a question that is put wrong has to stop")]

use std::io::{self, BufRead, BufWriter, Write};

use laywire_craft::{
    foreseen::{Drawn, Way},
    geodesy::Position,
    obstacle::Obstacle,
    pace::Means,
    profile::Profile,
    road::{Travel, travel},
};
use serde::Deserialize;

#[derive(Deserialize)]
struct Question {
    by: Means,
    places: Vec<Position>,
    ways: Vec<Mapped>,
}

#[derive(Deserialize)]
struct Mapped {
    obstacle: Obstacle,
    class: String,
    one_way: bool,
    positions: Vec<Position>,
}

fn main() -> io::Result<()> {
    let mut answers = BufWriter::new(io::stdout().lock());
    for line in io::stdin().lock().lines() {
        let question: Question = serde_json::from_str(&line?)?;
        let ways = question.ways.into_iter().enumerate().map(|(number, mapped)| Way {
            one_way: mapped.one_way,
            ..Way::plain(
                Drawn::OsmWay(i64::try_from(number).unwrap()),
                mapped.obstacle,
                &mapped.class,
                mapped.positions,
            )
        });
        let ways: Vec<Way> = ways.collect();
        let places = &question.places;
        let rows = travel(&ways, &[], question.by, Profile::field(), places, places.len());
        let minutes = |travel: &Option<Travel>| travel.map(|travel| travel.travel_min);
        let rows: Vec<Vec<_>> = rows.iter().map(|row| row.iter().map(minutes).collect()).collect();
        writeln!(answers, "{}", serde_json::to_string(&rows)?)?;
    }
    answers.flush()
}
