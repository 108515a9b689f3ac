//! Share-outs on JSON lines, for comparison with a reference library: one question a line on standard input, in how many minutes
//! the last team ends on standard output. tests/reference/test_share_out.py asks and shares out again.

use std::io::{self, BufRead, BufWriter, Write};

use laywire_craft::{
    road::Travel,
    share_out::{Question, share_out},
    units::{Metres, Minutes},
};
use serde::Deserialize;

#[derive(Deserialize)]
struct Asked {
    ready: Vec<Minutes>,
    work: Vec<Minutes>,
    /// In minutes, from every place to every place: the teams first.
    travel: Vec<Vec<Minutes>>,
}

fn main() -> io::Result<()> {
    let mut answers = BufWriter::new(io::stdout().lock());
    for line in io::stdin().lock().lines() {
        let asked: Asked = serde_json::from_str(&line?)?;
        let way = |&travel_min: &Minutes| Some(Travel { travel_min, distance_m: Metres::ZERO });
        let travel = asked.travel.iter().map(|row| row.iter().map(way).collect()).collect();
        let answer = share_out(&Question { ready: asked.ready, work: asked.work, travel });
        writeln!(answers, "{}", serde_json::to_string(&answer.ends)?)?;
    }
    answers.flush()
}
