//! A test against what the line as it was laid should give: loop resistance, insulation and loss, each with a verdict in
//! words. It measures nothing, and says of what nobody published that it is a planning value. The electrical figures are
//! those of [`crate::circuit`], the wire's length that of [`crate::line_wire`].

use serde::Serialize;
use utoipa::ToSchema;

use crate::{
    bounds::{OutOfBounds, range},
    circuit::{self, CircuitInput, CircuitSection, ExpectedReading, Instrument, ReadingVerdict, Telephone},
    crossing::Crossing,
    line::Line,
    line_wire,
    profile::Profile,
    proving::Test,
    report::{Quality, Readings, TestedFrom, Weather},
    units::{Celsius, Decibels, Metres, Ohms},
    wire_type::{REFERENCE_C, WireType},
};

/// A loop that reads less than this part of the least, or more than its inverse of the most, that a sound line should: no
/// slack, warmth or lot of wire explains it. Planning value, no source.
const FAR_OFF: f64 = 0.5;
/// Less insulation than this and the wire leaks. Planning value: no figure was found.
const LEAST_INSULATION: Ohms = Ohms::from_const(10_000.0);
/// Less insulation than this and it is worth a look in dry weather. Planning value: no figure was found.
const GOOD_INSULATION: Ohms = Ohms::from_const(1_000_000.0);
/// More loss than expected by this much is worth a word. Planning value: the tables' own last digit over 20 miles of wire.
const LOSS_SLACK: Decibels = Decibels::from_const(3.0);

/// How good something is.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum ProofVerdict {
    /// As a sound line gives.
    Good,
    /// The line serves, and something is worse than it should be.
    Worse,
    /// The line does not serve.
    Bad,
}

/// What was judged.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum Proof {
    /// The call.
    Call,
    /// The loop's resistance.
    Loop,
    /// The insulation.
    Insulation,
    /// The loss.
    Loss,
}

/// One part of a test, judged.
#[derive(Debug, Clone, PartialEq, Serialize, ToSchema)]
pub struct ProofJudgement {
    /// What was judged.
    pub what: Proof,
    /// How good it is.
    pub verdict: ProofVerdict,
    /// The verdict in words, with its figures.
    pub words: String,
}

/// What a sound line as it was laid should give.
#[derive(Debug, Clone, PartialEq, Serialize, ToSchema)]
pub struct ProofExpected {
    /// The wire.
    pub wire: WireType,
    /// Wire between the two ends of the test, in metres.
    pub wire_m: Metres,
    /// Of the loop with the pair joined at the other end; absent when the wire's resistance is not known.
    #[schema(required = true)]
    pub reading: Option<ExpectedReading>,
    /// The loss at 1 kHz with all of the line wet, in decibels.
    #[schema(required = true)]
    pub loss_wet_db: Option<Decibels>,
    /// The loss at 1 kHz with all of the line dry, in decibels.
    #[schema(required = true)]
    pub loss_dry_db: Option<Decibels>,
    /// The loss that the telephone still talks through, in decibels.
    pub allowance_db: Decibels,
    /// Less insulation than this and the line does not serve, in ohms: a planning value, no figure was found.
    pub least_insulation_ohm: Ohms,
    /// What was taken for granted.
    pub notes: Vec<String>,
}

/// A test, judged.
#[derive(Debug, Clone, PartialEq, Serialize, ToSchema)]
pub struct TestJudged {
    /// The worst of the verdicts.
    pub verdict: ProofVerdict,
    /// Each part by itself.
    pub parts: Vec<ProofJudgement>,
    /// What a sound line should give.
    pub expected: ProofExpected,
}

impl TestJudged {
    /// The words of what is bad.
    #[must_use]
    pub fn bad(&self) -> Vec<String> {
        let bad = self.parts.iter().filter(|part| part.verdict == ProofVerdict::Bad);
        bad.map(|part| part.words.clone()).collect()
    }
}

/// Why a test was not judged.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum Error {
    /// The line's wire.
    #[error(transparent)]
    Line(#[from] line_wire::Error),
    /// The circuit.
    #[error(transparent)]
    Circuit(#[from] circuit::Error),
}

/// Lets readings pass that such an instrument can show.
///
/// # Errors
/// A figure out of its range.
pub fn check(readings: &Readings) -> Result<(), OutOfBounds> {
    if let Some(loss) = readings.loss_db {
        range(|| "loss_db".to_owned(), loss, 0.0, 200.0)?;
    }
    if let Some(Telephone::AllowanceDb(allowance)) = readings.telephone {
        range(|| "telephone.allowance_db".to_owned(), allowance, 1.0, 100.0)?;
    }
    match readings.temperature_c {
        Some(temperature) => range(|| "temperature_c".to_owned(), temperature, -60.0, 95.0),
        None => Ok(()),
    }
}

/// Judges a test by the line as it was laid, between the place of the test and the near end; over the whole line where it
/// was made at an end.
///
/// # Errors
/// A line longer, or with more crossings, than the reckonings take.
///
/// # Source
/// A line must ring and talk: SS0440 p. 69. Loop and loss: see [`circuit::reckon`]. What is *bad* and what only *worse* by
/// its loop and its insulation: planning values, no source.
pub fn judge(
    line: &Line,
    crossings: &[Crossing],
    profile: &Profile,
    test: &Test,
) -> Result<TestJudged, Error> {
    let nothing = Readings::default();
    let readings = test.readings.as_ref().unwrap_or(&nothing);
    let to = if test.from == TestedFrom::Along { test.chainage_m } else { line.laid_length };
    let wire_m = line_wire::wire_to(line, crossings, profile, to)?.max(Metres::from_const(0.1));
    let expected = expected(line, to, wire_m, readings)?;
    let mut parts = vec![call(test)];
    parts.extend(
        readings.loop_ohm.zip(expected.reading.as_ref()).map(|(read, sound)| resistance(read, sound)),
    );
    parts.extend(readings.insulation_ohm.map(|read| insulation(read, readings.weather)));
    parts.extend(readings.loss_db.map(|read| loss(read, &expected, readings.weather)));
    let verdict = parts.iter().map(|part| part.verdict).max().unwrap_or(ProofVerdict::Good);
    Ok(TestJudged { verdict, parts, expected })
}

fn expected(line: &Line, to: Metres, wire_m: Metres, readings: &Readings) -> Result<ProofExpected, Error> {
    let wire = readings.wire.unwrap_or(WireType::Wd1Tt);
    let telephone = readings.telephone.unwrap_or(Telephone::Ta312);
    let splices = line.joints().filter(|&at| at <= to).count();
    let mut notes = Vec::new();
    if readings.wire.is_none() {
        notes.push("the wire was not named: WD-1/TT was taken".to_owned());
    }
    if readings.temperature_c.is_none() {
        notes.push(format!("the temperature was not told: {REFERENCE_C:.0} °C was taken"));
    }
    if readings.telephone.is_none() {
        notes.push("the telephone was not named: the TA-312 was taken".to_owned());
    }
    let sound = circuit::reckon(&CircuitInput {
        sections: vec![CircuitSection {
            wire,
            length_m: wire_m,
            wet: readings.weather.is_some_and(Weather::is_wet),
            temperature_c: readings.temperature_c.unwrap_or(Celsius::from_const(REFERENCE_C)),
            pairs_in_parallel: 1,
            splices: u16::try_from(splices).unwrap_or(10_000).min(10_000),
            figures: None,
        }],
        splice_ohm: circuit::no_ohms(),
        temperature_tolerance_c: circuit::five_degrees(),
        instrument: Instrument::default(),
        telephone: Some(telephone),
        reading_ohm: None,
    })?;
    notes.extend(sound.notes);
    Ok(ProofExpected {
        wire,
        wire_m,
        reading: sound.expected,
        loss_wet_db: sound.loss_wet_db,
        loss_dry_db: sound.loss_dry_db,
        allowance_db: telephone.allowance().value,
        least_insulation_ohm: LEAST_INSULATION,
        notes,
    })
}

fn call(test: &Test) -> ProofJudgement {
    let (verdict, words) = match (test.rang, test.spoke, test.quality) {
        (false, false, _) => {
            (ProofVerdict::Bad, "Neither ring nor talk passes: look for an open or a short.")
        }
        (true, false, _) => {
            (ProofVerdict::Bad, "It rings and does not talk: try another telephone, then look for a short.")
        }
        (false, true, _) => {
            (ProofVerdict::Bad, "It talks and does not ring: try another telephone, then look for a leak.")
        }
        (true, true, Some(Quality::Weak)) => {
            (ProofVerdict::Worse, "It rings and talks, weakly: a poor splice, a leak, or a long line.")
        }
        (true, true, Some(Quality::Noisy)) => {
            (ProofVerdict::Worse, "It rings and talks, with noise: look for a conductor that touches earth.")
        }
        (true, true, Some(Quality::ComesAndGoes)) => {
            (ProofVerdict::Worse, "It rings and talks, and comes and goes: look for a poor splice.")
        }
        (true, true, _) => (ProofVerdict::Good, "It rings and talks."),
    };
    ProofJudgement { what: Proof::Call, verdict, words: words.to_owned() }
}

fn resistance(read: Ohms, sound: &ExpectedReading) -> ProofJudgement {
    let (least, most) = (sound.least_ohm, sound.most_ohm);
    let judged = circuit::judge(sound, read);
    let verdict = match judged.verdict {
        ReadingVerdict::AsExpected => ProofVerdict::Good,
        ReadingVerdict::Low if read.value() < FAR_OFF * least.value() => ProofVerdict::Bad,
        ReadingVerdict::High if read.value() * FAR_OFF > most.value() => ProofVerdict::Bad,
        ReadingVerdict::Low | ReadingVerdict::High => ProofVerdict::Worse,
    };
    let words =
        format!("The loop reads {read:.0}, and should read from {least:.0} to {most:.0}. {}", judged.words);
    ProofJudgement { what: Proof::Loop, verdict, words }
}

fn insulation(read: Ohms, weather: Option<Weather>) -> ProofJudgement {
    let (least, good) = (LEAST_INSULATION, GOOD_INSULATION);
    let (verdict, words) = if read < least {
        let words = format!(
            "The insulation reads {read:.0}, less than {least:.0}: the wire leaks from one conductor to the other."
        );
        (ProofVerdict::Bad, words)
    } else if read < good {
        let wet = weather.is_some_and(Weather::is_wet);
        let what = if wet { "test again when it is dry" } else { "look at splices and ties" };
        let words =
            format!("The insulation reads {read:.0}, less than the {good:.0} of a good line: {what}.");
        (ProofVerdict::Worse, words)
    } else {
        (ProofVerdict::Good, format!("The insulation reads {read:.0}, at least {good:.0}."))
    };
    ProofJudgement {
        what: Proof::Insulation,
        verdict,
        words: words + " Planning values: no figure was found.",
    }
}

fn loss(read: Decibels, expected: &ProofExpected, weather: Option<Weather>) -> ProofJudgement {
    let allowance = expected.allowance_db;
    // Nobody said how the wire lies: then it may be wet.
    let (how, sound) = match weather {
        Some(weather) if !weather.is_wet() => ("dry", expected.loss_dry_db),
        _ => ("wet", expected.loss_wet_db),
    };
    let (verdict, words) = match sound {
        _ if read > allowance => {
            let words = format!(
                "The loss is {read:.1}, more than the {allowance:.1} that the telephone talks through."
            );
            (ProofVerdict::Bad, words)
        }
        Some(sound) if read > sound + LOSS_SLACK => {
            let words = format!(
                "The loss is {read:.1}, and this wire should lose about {sound:.1} {how}: look for a poor splice or a leak."
            );
            (ProofVerdict::Worse, words)
        }
        Some(sound) => {
            (ProofVerdict::Good, format!("The loss is {read:.1}; this wire loses about {sound:.1} {how}."))
        }
        None => {
            let words =
                format!("The loss is {read:.1}, within the {allowance:.1} that the telephone talks through.");
            (ProofVerdict::Good, words)
        }
    };
    ProofJudgement { what: Proof::Loss, verdict, words }
}
