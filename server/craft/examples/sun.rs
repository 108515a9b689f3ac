//! Sunrise and sunset on JSON lines, for comparison with reference libraries: one question a line on standard input, one
//! answer a line on standard output. tests/reference/test_sun.py asks the questions.

use std::io::{self, BufRead, BufWriter, Write};

use chrono::NaiveDate;
use laywire_craft::geodesy::Position;
use laywire_craft::sun::{Above, day};
use serde::Deserialize;
use serde_json::json;

#[derive(Deserialize)]
struct Question {
    place: Position,
    date: NaiveDate,
}

fn main() -> io::Result<()> {
    let mut answers = BufWriter::new(io::stdout().lock());
    for line in io::stdin().lock().lines() {
        let reply = match serde_json::from_str::<Question>(&line?) {
            Ok(Question { place, date }) => {
                let sun = day(place, date, Above::Horizon);
                let twilight = day(place, date, Above::CivilTwilight);
                json!({ "noon": sun.noon, "up_at_noon": sun.up_at_noon, "rise": sun.rise, "set": sun.set,
                    "dawn": twilight.rise, "dusk": twilight.set })
            }
            Err(error) => json!({ "refused": error.to_string() }),
        };
        writeln!(answers, "{reply}")?;
    }
    answers.flush()
}
