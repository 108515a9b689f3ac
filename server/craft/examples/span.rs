//! The span's reckoning on JSON lines, for comparison with a reference library: one question a line on standard input, one
//! answer a line on standard output. tests/reference/test_span.py asks the questions.

use std::io::{self, BufRead, BufWriter, Write};

use laywire_craft::catenary::Catenary;
use laywire_craft::span::{SpanInput, reckon};
use laywire_craft::units::{Metres, NewtonsPerMetre, OutOfRange};
use serde::Deserialize;
use serde_json::{Value, json};

#[derive(Deserialize)]
#[serde(tag = "ask", rename_all = "snake_case", deny_unknown_fields)]
enum Question {
    /// The curve of a constant.
    OfConstant { span_m: Metres, rise_m: Metres, constant_m: Metres },
    /// The curve of a sag.
    OfSag { span_m: Metres, rise_m: Metres, sag_m: Metres },
    /// The curve of a length.
    OfLength { span_m: Metres, rise_m: Metres, wire_length_m: Metres },
    /// A whole span.
    Span { span: Box<SpanInput> },
}

fn curve(curve: Result<Catenary, OutOfRange>) -> Value {
    curve.map_or_else(refused, |curve| {
        let (greatest_sag_offset, greatest_sag) = curve.greatest_sag();
        let (left_tension, right_tension) = curve.tensions(NewtonsPerMetre::from_const(1.0));
        json!({
            "constant_m": curve.constant(),
            "length_m": curve.length(),
            "sag_m": curve.sag(),
            "greatest_sag_m": greatest_sag,
            "greatest_sag_offset_m": greatest_sag_offset,
            "lowest_m": curve.lowest(),
            "left_tension_n": left_tension,
            "right_tension_n": right_tension,
        })
    })
}

#[allow(clippy::needless_pass_by_value, reason = "it stands where an error is handed over")]
fn refused(error: impl ToString) -> Value {
    json!({ "refused": error.to_string() })
}

fn answer(question: Question) -> Value {
    match question {
        Question::OfConstant { span_m, rise_m, constant_m } => {
            curve(Catenary::of_constant(span_m, rise_m, constant_m))
        }
        Question::OfSag { span_m, rise_m, sag_m } => curve(Catenary::of_sag(span_m, rise_m, sag_m)),
        Question::OfLength { span_m, rise_m, wire_length_m } => {
            curve(Catenary::of_length(span_m, rise_m, wire_length_m))
        }
        Question::Span { span } => reckon(&span).map_or_else(refused, |answer| json!(answer)),
    }
}

fn main() -> io::Result<()> {
    let mut answers = BufWriter::new(io::stdout().lock());
    for line in io::stdin().lock().lines() {
        let reply = serde_json::from_str(&line?).map_or_else(refused, answer);
        writeln!(answers, "{reply}")?;
    }
    answers.flush()
}
