//! The reckoning of circuits and faults on JSON lines, for comparison with independent forms of it: one question a line on
//! standard input, one answer a line on standard output. tests/reference/test_circuit.py asks the questions.

use std::io::{self, BufRead, BufWriter, Write};

use laywire_craft::circuit::{self, CircuitInput};
use laywire_craft::fault::{self, FaultInput};
use serde::Deserialize;
use serde_json::{Value, json};

#[derive(Deserialize)]
#[serde(rename_all = "snake_case", deny_unknown_fields)]
enum Question {
    Circuit(CircuitInput),
    Fault(Box<FaultInput>),
}

fn answer(question: &Question) -> Value {
    match question {
        Question::Circuit(input) => {
            circuit::reckon(input).map_or_else(|error| json!({ "refused": error.to_string() }), |a| json!(a))
        }
        Question::Fault(input) => {
            fault::reckon(input).map_or_else(|error| json!({ "refused": error.to_string() }), |a| json!(a))
        }
    }
}

fn main() -> io::Result<()> {
    let mut answers = BufWriter::new(io::stdout().lock());
    for line in io::stdin().lock().lines() {
        let reply = match serde_json::from_str(&line?) {
            Ok(question) => answer(&question),
            Err(error) => json!({ "refused": error.to_string() }),
        };
        writeln!(answers, "{reply}")?;
    }
    answers.flush()
}
