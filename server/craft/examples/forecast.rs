//! The forecast on JSON lines, for comparison with another simulation: one question a line on standard input, one answer
//! a line on standard output. tests/reference/test_forecast.py asks the questions.

use std::io::{self, BufRead, BufWriter, Write};

use laywire_craft::forecast;
use serde_json::json;

fn main() -> io::Result<()> {
    let mut answers = BufWriter::new(io::stdout().lock());
    for line in io::stdin().lock().lines() {
        let reply = match serde_json::from_str(&line?) {
            Ok(question) => match forecast::reckon(&question) {
                Ok(answer) => json!(answer),
                Err(error) => json!({ "refused": error.to_string() }),
            },
            Err(error) => json!({ "refused": error.to_string() }),
        };
        writeln!(answers, "{reply}")?;
    }
    answers.flush()
}
