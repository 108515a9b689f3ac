//! The reel plan on JSON lines, for comparison with a reference library: one question a line on standard input, one
//! answer a line on standard output. tests/reference/test_reels.py asks the questions.

use std::io::{self, BufRead, BufWriter, Write};

use laywire_craft::reels;
use serde_json::json;

fn main() -> io::Result<()> {
    let mut answers = BufWriter::new(io::stdout().lock());
    for line in io::stdin().lock().lines() {
        let reply = match serde_json::from_str(&line?) {
            Ok(question) => match reels::reckon(&question) {
                Ok(answer) => json!(answer),
                Err(error) => json!({ "refused": error.to_string() }),
            },
            Err(error) => json!({ "refused": error.to_string() }),
        };
        writeln!(answers, "{reply}")?;
    }
    answers.flush()
}
