//! The ground reckoning on JSON lines, for comparison with reference libraries: one question a line on standard input,
//! one answer a line on standard output. tests/reference/test_ground.py asks the questions.

use std::io::{self, BufRead, BufWriter, Write};

use laywire_craft::geodesy::{self, Position};
use laywire_craft::grid::{GridCoordinates, GridReference, Hemisphere, Precision};
use laywire_craft::trace::Trace;
use laywire_craft::units::{Degrees, Metres};
use serde::Deserialize;
use serde_json::{Value, json};

#[derive(Deserialize)]
#[serde(tag = "ask", rename_all = "snake_case", deny_unknown_fields)]
enum Question {
    /// Length and direction between two places.
    Between { from: Position, to: Position },
    /// The place at the end of a run.
    Destination { from: Position, direction: Degrees, run_m: Metres },
    /// Coordinates, grid reference, and the place that the coordinates lead back to.
    Grid { at: Position, precision: Precision },
    /// Corner and middle of the square that a reference names.
    Square { reference: GridReference },
    /// The nearest place on a trace.
    Nearest { trace: Trace, to: Position },
}

fn answer(question: Question) -> Value {
    match question {
        Question::Between { from, to } => {
            json!({ "length_m": geodesy::distance(from, to), "direction": geodesy::direction(from, to) })
        }
        Question::Destination { from, direction, run_m } => {
            json!(geodesy::destination(from, direction, run_m))
        }
        Question::Grid { at, precision } => {
            let coordinates = GridCoordinates::of(at);
            json!({
                "zone": coordinates.zone(),
                "north": coordinates.hemisphere() == Hemisphere::North,
                "easting_m": coordinates.easting(),
                "northing_m": coordinates.northing(),
                "back": coordinates.position(),
                "reference": GridReference::of(at, precision),
            })
        }
        Question::Square { reference } => {
            json!({ "corner": reference.corner(), "centre": reference.centre() })
        }
        Question::Nearest { trace, to } => {
            json!({ "length_m": trace.length(), "nearest": trace.nearest(to) })
        }
    }
}

fn main() -> io::Result<()> {
    let mut answers = BufWriter::new(io::stdout().lock());
    for line in io::stdin().lock().lines() {
        let reply = match serde_json::from_str(&line?) {
            Ok(question) => answer(question),
            Err(error) => json!({ "refused": error.to_string() }),
        };
        writeln!(answers, "{reply}")?;
    }
    answers.flush()
}
