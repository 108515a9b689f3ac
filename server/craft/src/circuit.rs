//! What a sound line should measure and how far it carries speech: loop resistance, loss wet and dry, and the reading to
//! expect at a test. It never looks for a fault (that is [`crate::fault`]) and knows nothing of the ground the wire lies on.
//! The wires' figures are those of [`crate::wire_type`], or one's own; the laws are Ohm's and that of the thin cable.

use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

use crate::{
    bounds::{NoAnswer, OutOfBounds, count, range},
    guide::Item,
    units::{
        Celsius, Decibels, DecibelsPerMetre, FaradsPerMetre, Metres, Ohms, OhmsPerMetre, PerCelsius, Share,
    },
    wire_type::{Figure, OwnFigures, REFERENCE_C, Standing, WireSheet, WireType},
};

/// The most sections that one line may be described in.
pub const MOST_SECTIONS: usize = 200;
/// The frequency of every loss here, in hertz: the one that table 1-1 of SS0440 gives.
const SPEECH_HZ: f64 = 1000.0;

/// A stretch of the line with one kind of wire, lying in one way. Sections follow each other from the near end.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct CircuitSection {
    /// The wire.
    pub wire: WireType,
    /// Length along the wire, slack and all, in metres, 0.1 to 200 000.
    pub length_m: Metres,
    /// Whether the wire lies wet. It decides the loss and the capacitance.
    #[serde(default)]
    pub wet: bool,
    /// Temperature of the wire in degrees Celsius, -60 to 95; 20 when it is not given.
    #[serde(default = "reference")]
    pub temperature_c: Celsius,
    /// Pairs joined side by side, 1 to 8.
    #[serde(default = "one")]
    pub pairs_in_parallel: u8,
    /// Splices in each conductor, 0 to 10 000, taken as spread evenly over the section.
    #[serde(default)]
    pub splices: u16,
    /// Figures measured on this wire, in place of the built-in ones.
    #[serde(default)]
    pub figures: Option<OwnFigures>,
}

const fn reference() -> Celsius {
    Celsius::from_const(REFERENCE_C)
}

const fn one() -> u8 {
    1
}

/// How far an instrument's reading may be off: a part of the reading and a fixed part, added.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct Instrument {
    /// Share of the reading, 0 to 0.2; 0.01 when it is not given (planning value, editable).
    #[serde(default = "Instrument::of_reading")]
    pub of_reading: Share,
    /// Fixed part in ohms, 0 to 100; 0.1 when it is not given (planning value, editable).
    #[serde(default = "Instrument::floor")]
    pub floor_ohm: Ohms,
}

impl Instrument {
    const fn of_reading() -> Share {
        Share::from_const(0.01)
    }

    const fn floor() -> Ohms {
        Ohms::from_const(0.1)
    }

    /// How far a resistance that reads `ohm` may be off.
    pub(crate) fn off(self, ohm: f64) -> f64 {
        self.of_reading.value() * ohm + self.floor_ohm.value()
    }

    pub(crate) fn check(self) -> Result<(), OutOfBounds> {
        range(|| "instrument.of_reading".to_owned(), self.of_reading.value(), 0.0, 0.2)?;
        range(|| "instrument.floor_ohm".to_owned(), self.floor_ohm.value(), 0.0, 100.0)
    }
}

impl Default for Instrument {
    fn default() -> Self {
        Self { of_reading: Self::of_reading(), floor_ohm: Self::floor() }
    }
}

/// What the wire is judged by: the telephone at its ends.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum Telephone {
    /// TA-1, sound-powered.
    #[serde(rename = "ta_1")]
    Ta1,
    /// TA-312, with batteries.
    #[serde(rename = "ta_312")]
    Ta312,
    /// Another telephone, by the loss at 1 kHz that it still talks through: decibels, 1 to 100.
    AllowanceDb(Decibels),
}

impl Telephone {
    /// The loss that the telephone still talks through.
    ///
    /// # Source
    /// The ranges over WD-1 that are told of each, by the loss of that length in table 1-1 of SS0440.
    ///
    /// ```
    /// use laywire_craft::circuit::Telephone;
    /// // 22 miles of dry WD-1 at 1.5 dB in a mile.
    /// assert_eq!(Telephone::Ta312.allowance().value.to_string(), "33.00 dB");
    /// ```
    #[must_use]
    pub fn allowance(self) -> Figure<Decibels> {
        match self {
            Self::Ta1 => Figure {
                value: Decibels::from_const(6.0),
                standing: Standing::Reckoned,
                source: "4 miles over WD-1 (personal.psu.edu/wmc12/telephones/TA-1.html), taken as dry: 4 × 1.5 dB",
            },
            Self::Ta312 => Figure {
                value: Decibels::from_const(33.0),
                standing: Standing::FromMemory,
                source: "TM 11-5805-201-12 (from memory): 22 miles dry, 33 dB, and 14 miles wet, 35 dB, over WD-1; the lesser",
            },
            Self::AllowanceDb(value) => {
                Figure { value, standing: Standing::Given, source: "given with the question" }
            }
        }
    }
}

/// The question: a line, and what it is asked for.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct CircuitInput {
    /// The line from the near end to the far end, 1 to 200 sections.
    #[schema(min_items = 1, max_items = 200)]
    pub sections: Vec<CircuitSection>,
    /// What one splice adds to one conductor, in ohms, 0 to 10. No published figure was found: a sound splice is taken to
    /// add nothing.
    #[serde(default = "no_ohms")]
    pub splice_ohm: Ohms,
    /// How far the temperatures may be off, all one way, in degrees, 0 to 40; 5 when it is not given (planning value).
    #[serde(default = "five_degrees")]
    pub temperature_tolerance_c: Celsius,
    /// How far the instrument may be off.
    #[serde(default)]
    pub instrument: Instrument,
    /// The telephone to judge the loss by.
    #[serde(default)]
    pub telephone: Option<Telephone>,
    /// The reading of a test with the far ends of the pair joined, in ohms, 0 to 1e8; to be judged.
    #[serde(default)]
    pub reading_ohm: Option<Ohms>,
}

pub(crate) const fn no_ohms() -> Ohms {
    Ohms::ZERO
}

pub(crate) const fn five_degrees() -> Celsius {
    Celsius::from_const(5.0)
}

/// One cause that a reading may be off for, and by how much.
#[derive(Debug, Clone, PartialEq, Serialize, ToSchema)]
pub struct OhmShare {
    /// The cause, in words.
    pub cause: String,
    /// How far it may move the reading, in ohms.
    pub resistance_ohm: Ohms,
}

/// What a test with the far ends joined should read.
#[derive(Debug, Clone, PartialEq, Serialize, ToSchema)]
pub struct ExpectedReading {
    /// The loop's resistance: out by one conductor and back by the other, in ohms.
    pub resistance_ohm: Ohms,
    /// How far a sound line's reading may lie from it, in ohms.
    pub tolerance_ohm: Ohms,
    /// The least that a sound line should read, in ohms.
    pub least_ohm: Ohms,
    /// The most that a sound line should read, in ohms.
    pub most_ohm: Ohms,
    /// The tolerance by cause.
    pub shares: Vec<OhmShare>,
    /// How the tolerance was put together.
    pub how: &'static str,
}

/// What a section gives to the whole.
#[derive(Debug, Clone, PartialEq, Serialize, ToSchema)]
pub struct SectionShare {
    /// Length along the wire in metres.
    pub length_m: Metres,
    /// Loop resistance in ohms; absent when the wire's resistance is not known.
    #[schema(required = true)]
    pub resistance_ohm: Option<Ohms>,
    /// Loss at 1 kHz, wet, in decibels; absent when it is not known.
    #[schema(required = true)]
    pub loss_wet_db: Option<Decibels>,
    /// Loss at 1 kHz, dry, in decibels; absent when it is not known.
    #[schema(required = true)]
    pub loss_dry_db: Option<Decibels>,
}

/// Whether the line will talk.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum TalkingVerdict {
    /// Within the allowance even with all of it wet.
    Talks,
    /// Within the allowance while dry, beyond it when all of it is wet.
    TalksWhileDry,
    /// Beyond the allowance even with all of it dry.
    Beyond,
    /// The loss of a section is not known.
    Unknown,
}

/// The line's loss against the telephone's allowance.
#[derive(Debug, Clone, PartialEq, Serialize, ToSchema)]
pub struct Talking {
    /// The verdict.
    pub verdict: TalkingVerdict,
    /// The loss that the telephone still talks through, in decibels.
    pub allowance_db: Decibels,
    /// What is left of the allowance with all of the line wet, in decibels; negative when it is overdrawn.
    #[schema(required = true)]
    pub margin_wet_db: Option<Decibels>,
    /// What is left of the allowance with all of the line dry, in decibels; negative when it is overdrawn.
    #[schema(required = true)]
    pub margin_dry_db: Option<Decibels>,
    /// The length of such a line that would use up the allowance wet, in metres.
    #[schema(required = true)]
    pub reach_wet_m: Option<Metres>,
    /// The length of such a line that would use up the allowance dry, in metres.
    #[schema(required = true)]
    pub reach_dry_m: Option<Metres>,
}

/// How a reading compares with what a sound line should read.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum ReadingVerdict {
    /// Within the tolerance.
    AsExpected,
    /// Less than a sound line should read.
    Low,
    /// More than a sound line should read.
    High,
}

/// A reading, judged.
#[derive(Debug, Clone, PartialEq, Serialize, ToSchema)]
pub struct Judgement {
    /// The verdict.
    pub verdict: ReadingVerdict,
    /// What it means and what to do.
    pub words: &'static str,
}

/// A figure that the answer stands on.
#[derive(Debug, Clone, PartialEq, Serialize, ToSchema)]
pub struct FigureUsed {
    /// The wire or telephone, and which figure of it.
    pub what: String,
    /// How far it may be trusted.
    pub standing: Standing,
    /// Where it is from.
    pub source: &'static str,
}

/// The answer.
#[derive(Debug, Clone, PartialEq, Serialize, ToSchema)]
pub struct CircuitAnswer {
    /// Length along the wire in metres.
    pub length_m: Metres,
    /// What a test with the far ends joined should read; absent when a wire's resistance is not known.
    #[schema(required = true)]
    pub expected: Option<ExpectedReading>,
    /// Loss at 1 kHz with all of the line wet, in decibels.
    #[schema(required = true)]
    pub loss_wet_db: Option<Decibels>,
    /// Loss at 1 kHz with all of the line dry, in decibels.
    #[schema(required = true)]
    pub loss_dry_db: Option<Decibels>,
    /// Loss at 1 kHz as the sections lie, in decibels.
    #[schema(required = true)]
    pub loss_db: Option<Decibels>,
    /// The loss against the telephone's allowance, when a telephone was given.
    #[schema(required = true)]
    pub talking: Option<Talking>,
    /// The reading, judged, when one was given.
    #[schema(required = true)]
    pub reading: Option<Judgement>,
    /// What each section gives, in their order.
    pub sections: Vec<SectionShare>,
    /// What is not known or was left out.
    pub notes: Vec<String>,
    /// The figures that the answer stands on.
    pub figures: Vec<FigureUsed>,
    /// What can hurt somebody at this test.
    pub cautions: Vec<Item>,
}

/// Why a question was refused.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum Error {
    /// A list or a figure is out of its bounds.
    #[error(transparent)]
    Bounds(#[from] OutOfBounds),
    /// A figure that nobody could read, and that was not given.
    #[error("no {what} is known of {wire}: measure a known length and give {field}")]
    Unknown {
        /// The field to give.
        field: String,
        /// The wire.
        wire: WireType,
        /// What is missing, in words.
        what: &'static str,
    },
}

impl NoAnswer for Error {
    fn field(&self) -> Option<String> {
        match self {
            Self::Bounds(bounds) => bounds.field(),
            Self::Unknown { field, .. } => Some(field.clone()),
        }
    }
}

/// Resistance of a conductor at a temperature.
///
/// # Units
/// Ohms at `temperature`, from ohms at 20 °C and the change for each degree.
///
/// # Source
/// R = R₂₀ (1 + α (t − 20)); for copper α = 0.00393, NBS Handbook 100, 1966 (from memory).
///
/// ```
/// use laywire_craft::{circuit::at_temperature, units::{Celsius, Ohms, PerCelsius}};
/// // 10 degrees warmer: 3.9 % more.
/// let warm = at_temperature(Ohms::from_const(1000.0), PerCelsius::from_const(0.00393), Celsius::from_const(30.0));
/// assert_eq!(warm.to_string(), "1039.30 Ω");
/// ```
#[must_use]
pub fn at_temperature(at_20: Ohms, coefficient: PerCelsius, temperature: Celsius) -> Ohms {
    Ohms::bounded(at_20.value() * warming(coefficient.value(), temperature.value()))
}

fn warming(coefficient: f64, temperature: f64) -> f64 {
    1.0 + coefficient * (temperature - REFERENCE_C)
}

/// The loss of a thin pair at 1 kHz, where resistance and capacitance outweigh all else.
///
/// # Units
/// Decibels in a metre, from the loop's resistance (both conductors) and the pair's capacitance, each in a metre.
///
/// # Source
/// α = √(π f R C) nepers: the telegraph equation with neither inductance nor leakage. For thick wire it says too much.
///
/// ```
/// use laywire_craft::{circuit::thin_pair_loss, units::{FaradsPerMetre, OhmsPerMetre}};
/// // WD-1 dry, 127 Ω/km and 29 nF/km, worked by hand: √(π · 1000 · 0.127 · 29e-12) · 8.686 = 0.000934 dB/m.
/// let loss = thin_pair_loss(OhmsPerMetre::from_const(0.127), FaradsPerMetre::from_const(29e-12));
/// assert_eq!(loss.to_string(), "0.000934 dB/m");
/// ```
#[must_use]
pub fn thin_pair_loss(loop_resistance: OhmsPerMetre, capacitance: FaradsPerMetre) -> DecibelsPerMetre {
    let nepers = (std::f64::consts::PI * SPEECH_HZ * loop_resistance.value() * capacitance.value()).sqrt();
    DecibelsPerMetre::bounded(nepers * 20.0 * std::f64::consts::LOG10_E)
}

/// Reckons what a sound line should measure and how far it carries speech.
///
/// # Errors
/// A figure out of its range, or a reading to judge on a wire whose resistance is not known.
///
/// # Source
/// Wires: see [`WireType::sheet`]. The loss of a line is the sum of its sections' losses; what is thrown back where two
/// kinds meet is left out.
pub fn reckon(input: &CircuitInput) -> Result<CircuitAnswer, Error> {
    input.instrument.check()?;
    let mut lots = Lots::default();
    let laid =
        Laid::new("sections", &input.sections, input.splice_ohm, input.temperature_tolerance_c, &mut lots)?;
    let allowance = input.telephone.map(Telephone::allowance);
    if let Some(allowance) = &allowance {
        range(|| "telephone.allowance_db".to_owned(), allowance.value.value(), 1.0, 100.0)?;
    }

    let mut notes = Vec::new();
    let expected = match laid.expected(input.instrument, &lots) {
        Ok(expected) => Some(expected),
        Err(error) if input.reading_ohm.is_some() => return Err(error),
        Err(error) => {
            notes.push(error.to_string());
            None
        }
    };
    let reading =
        expected.as_ref().zip(input.reading_ohm).map(|(expected, reading)| judge(expected, reading));

    let sections: Vec<SectionShare> = laid.pieces.iter().map(Piece::share).collect();
    let sum =
        |loss: fn(&SectionShare) -> Option<Decibels>| sections.iter().map(loss).sum::<Option<Decibels>>();
    let (loss_wet_db, loss_dry_db) = (sum(|s| s.loss_wet_db), sum(|s| s.loss_dry_db));
    let loss_db = sections
        .iter()
        .zip(&input.sections)
        .map(|(share, section)| if section.wet { share.loss_wet_db } else { share.loss_dry_db })
        .sum();
    let unknown = |share: &SectionShare| share.loss_wet_db.is_none() || share.loss_dry_db.is_none();
    if let Some(n) = sections.iter().position(unknown) {
        notes.push(format!(
            "the loss of {} is not known: give sections[{n}].figures.loss_wet_db_per_m and loss_dry_db_per_m",
            input.sections[n].wire
        ));
    }
    if lots.0.len() > 1 {
        notes.push("what is thrown back where two kinds of wire meet is left out of the loss".into());
    }
    if input.sections.iter().any(|section| section.pairs_in_parallel > 1) {
        notes.push(
            "pairs side by side halve the resistance and extend the range (SS0330, twin pair); by how much the loss falls is \
             not published, and it is counted as that of one pair"
                .into(),
        );
    }
    if input.splice_ohm == Ohms::ZERO && input.sections.iter().any(|section| section.splices > 0) {
        notes.push("a sound splice is taken to add no resistance: no published figure was found".into());
    }

    let length_m = laid.length();
    let talking = allowance.map(|allowance| talking(allowance.value, length_m, loss_wet_db, loss_dry_db));
    let mut figures = lots.figures_used(&[Need::Resistance, Need::Loss]);
    figures.extend(allowance.map(|allowance| FigureUsed {
        what: format!("the telephone's allowance of {:.1}", allowance.value),
        standing: allowance.standing,
        source: allowance.source,
    }));
    Ok(CircuitAnswer {
        length_m,
        expected,
        loss_wet_db,
        loss_dry_db,
        loss_db,
        talking,
        reading,
        sections,
        notes,
        figures,
        cautions: cautions(),
    })
}

pub(crate) fn judge(expected: &ExpectedReading, reading: Ohms) -> Judgement {
    let (verdict, words) = if reading < expected.least_ohm {
        (
            ReadingVerdict::Low,
            "Less than the wire alone should read: a short or cross before the far end, or less wire than is recorded. \
             Have the far ends parted and read again: a sound pair then reads open.",
        )
    } else if reading > expected.most_ohm {
        (
            ReadingVerdict::High,
            "More than the wire should read: a poor splice or an open, ends not well joined, or more wire than is recorded. \
             Clean and join the far ends again, then halve the line.",
        )
    } else {
        (ReadingVerdict::AsExpected, "As a sound line should read. Ring and talk over it as well.")
    };
    Judgement { verdict, words }
}

fn talking(allowance: Decibels, length: Metres, wet: Option<Decibels>, dry: Option<Decibels>) -> Talking {
    let verdict = match (wet, dry) {
        (Some(wet), _) if wet <= allowance => TalkingVerdict::Talks,
        (_, Some(dry)) if dry > allowance => TalkingVerdict::Beyond,
        (Some(_), Some(_)) => TalkingVerdict::TalksWhileDry,
        _ => TalkingVerdict::Unknown,
    };
    let reach = |loss: Option<Decibels>| {
        let loss = loss?.value();
        (loss > 0.0).then(|| Metres::bounded(length.value() * allowance.value() / loss))
    };
    Talking {
        verdict,
        allowance_db: allowance,
        margin_wet_db: wet.map(|loss| allowance - loss),
        margin_dry_db: dry.map(|loss| allowance - loss),
        reach_wet_m: reach(wet),
        reach_dry_m: reach(dry),
    }
}

/// What can hurt somebody, or cut somebody off, at a test of the wire.
pub(crate) fn cautions() -> Vec<Item> {
    [
        (
            "in-use",
            "Never open a circuit that is in use: listen first, and ask the command post whose it is.",
            "US Army subcourse SS04377 p. 10",
        ),
        (
            "ringing",
            "Tell both ends before wire is cut, bared or joined, and let nobody crank meanwhile: a hand generator gives a shock.",
            "US Army subcourse SS04377 p. 10; the shock from memory",
        ),
        (
            "storm",
            "No testing with thunder about: the wire brings the lightning in. Shelter when thunder follows lightning within \
             30 s; go back 30 min after the last.",
            "WAC 296-45-385; 30/30 as in contractors' rules",
        ),
        (
            "power",
            "Wire that may touch a power line is live until the line's owner says otherwise: keep off it, and off the instrument. \
             Local codes and licensed practice come first.",
            "PS 623 p. 44; WAC 296-54-529",
        ),
    ]
    .map(|(id, text, source)| Item { id, text: text.to_owned(), source: source.into() })
    .into()
}

/// One thing that may be off.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) enum Cause {
    /// The resistance of one kind of wire, all of it one way.
    Resistance(usize),
    /// The capacitance of one kind of wire, all of it one way.
    Capacitance(usize),
    /// The temperature, everywhere one way.
    Temperature,
    /// One reading, named by its field.
    Reading(&'static str),
    /// The ratio of the bridge's arms.
    Arms,
}

impl Cause {
    pub(crate) fn words(self, lots: &Lots) -> String {
        match self {
            Self::Resistance(lot) => format!("resistance of {}", lots.0[lot].wire),
            Self::Capacitance(lot) => format!("capacitance of {}", lots.0[lot].wire),
            Self::Temperature => "temperature of the wire".into(),
            Self::Reading(field) => format!("instrument, at {field}"),
            Self::Arms => "ratio of the bridge's arms".into(),
        }
    }
}

/// A trial: nothing off, or one cause moved to one end of its tolerance.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Trial(Option<(Cause, f64)>);

impl Trial {
    /// Everything as it was given.
    pub(crate) const AS_GIVEN: Self = Self(None);

    /// The cause at either end of its tolerance.
    pub(crate) fn both(cause: Cause) -> [Self; 2] {
        [-1.0, 1.0].map(|side| Self(Some((cause, side))))
    }

    /// -1, 0 or 1: the end that this cause is moved to.
    pub(crate) fn side(self, cause: Cause) -> f64 {
        match self.0 {
            Some((moved, side)) if moved == cause => side,
            _ => 0.0,
        }
    }
}

/// Tolerances that do not depend on one another, put together.
pub(crate) fn together(shifts: impl Iterator<Item = f64>) -> f64 {
    shifts.map(|shift| shift * shift).sum::<f64>().sqrt()
}

/// What a reckoning needs to know of its wire.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Need {
    Resistance,
    Loss,
    Capacitance,
}

/// The kinds of wire in a question. Wire of one kind with the same figures is one lot: it is off all one way.
#[derive(Debug, Default)]
pub(crate) struct Lots(Vec<Lot>);

#[derive(Debug)]
struct Lot {
    wire: WireType,
    own: Option<OwnFigures>,
    sheet: WireSheet,
}

impl Lots {
    fn find(&mut self, section: &CircuitSection) -> usize {
        let same = |lot: &Lot| lot.wire == section.wire && lot.own == section.figures;
        self.0.iter().position(same).unwrap_or_else(|| {
            let sheet = section.wire.sheet().with(section.figures.as_ref());
            self.0.push(Lot { wire: section.wire, own: section.figures, sheet });
            self.0.len() - 1
        })
    }

    pub(crate) fn len(&self) -> usize {
        self.0.len()
    }

    /// The figures of every lot that a reckoning of such things stands on, as far as they are known, with their sources.
    pub(crate) fn figures_used(&self, needs: &[Need]) -> Vec<FigureUsed> {
        fn used<T: Copy>(
            wire: WireType,
            figure: Option<Figure<T>>,
            words: impl Fn(T) -> String,
        ) -> Option<FigureUsed> {
            figure.map(|figure| FigureUsed {
                what: format!("{wire}: {}", words(figure.value)),
                standing: figure.standing,
                source: figure.source,
            })
        }
        let percent = |tolerance: Share| tolerance.value() * 100.0;
        let farads =
            |words: &'static str| move |c: FaradsPerMetre| format!("{words}, {:.0} pF/m", c.value() * 1e12);
        let of_lot = |Lot { wire, sheet, .. }: &Lot| {
            let when = |need, known| needs.contains(&need) && known;
            let resistance = when(Need::Resistance, sheet.resistance.is_some());
            let loss = when(Need::Loss, true);
            let capacitance = when(Need::Capacitance, true);
            let tolerance =
                when(Need::Capacitance, sheet.capacitance_wet.is_some() || sheet.capacitance_dry.is_some());
            // Where a loss is published, it does not stand on the capacitance.
            let wet = capacitance || loss && sheet.loss_wet.is_none();
            let dry = capacitance || loss && sheet.loss_dry.is_none();
            [
                used(*wire, sheet.resistance.filter(|_| resistance), |r| {
                    format!("one conductor at 20 °C, {r}")
                }),
                used(*wire, resistance.then_some(sheet.resistance_tolerance), |t| {
                    format!("resistance within {:.1} %", percent(t))
                }),
                used(*wire, resistance.then_some(sheet.temperature_coefficient), |c| {
                    format!("resistance grows by {:.3} % with each degree", c.value() * 100.0)
                }),
                used(*wire, sheet.loss_wet.filter(|_| loss), |l| format!("loss wet, {l}")),
                used(*wire, sheet.loss_dry.filter(|_| loss), |l| format!("loss dry, {l}")),
                used(*wire, sheet.capacitance_wet.filter(|_| wet), farads("pair wet")),
                used(*wire, sheet.capacitance_dry.filter(|_| dry), farads("pair dry")),
                used(*wire, tolerance.then_some(sheet.capacitance_tolerance), |t| {
                    format!("capacitance within {:.0} %", percent(t))
                }),
            ]
        };
        self.0.iter().flat_map(of_lot).flatten().collect()
    }
}

/// A line whose figures have been checked. It holds one section at least.
#[derive(Debug)]
pub(crate) struct Laid {
    pieces: Vec<Piece>,
    temperature_tolerance: f64,
}

#[derive(Debug)]
struct Piece {
    field: String,
    wire: WireType,
    sheet: WireSheet,
    lot: usize,
    length: f64,
    wet: bool,
    temperature: f64,
    pairs: f64,
    splices_ohm: f64,
}

impl Laid {
    /// Checks the sections of the field.
    pub(crate) fn new(
        field: &'static str,
        sections: &[CircuitSection],
        splice: Ohms,
        temperature_tolerance: Celsius,
        lots: &mut Lots,
    ) -> Result<Self, Error> {
        range(|| "splice_ohm".to_owned(), splice.value(), 0.0, 10.0)?;
        range(|| "temperature_tolerance_c".to_owned(), temperature_tolerance.value(), 0.0, 40.0)?;
        count(field, sections.len(), 1, MOST_SECTIONS)?;
        let piece = |(n, section): (usize, &CircuitSection)| {
            let field = format!("{field}[{n}]");
            section.check(&field)?;
            let lot = lots.find(section);
            let pairs = f64::from(section.pairs_in_parallel);
            Ok(Piece {
                field,
                wire: section.wire,
                sheet: section.wire.sheet().with(section.figures.as_ref()),
                lot,
                length: section.length_m.value(),
                wet: section.wet,
                temperature: section.temperature_c.value(),
                pairs,
                splices_ohm: f64::from(section.splices) * splice.value() / pairs,
            })
        };
        Ok(Self {
            pieces: sections.iter().enumerate().map(piece).collect::<Result<_, Error>>()?,
            temperature_tolerance: temperature_tolerance.value(),
        })
    }

    pub(crate) fn length(&self) -> Metres {
        Metres::bounded(self.pieces.iter().map(|piece| piece.length).sum())
    }

    /// The first section with more than one pair.
    pub(crate) fn doubled(&self) -> Option<&str> {
        self.pieces.iter().find(|piece| piece.pairs > 1.0).map(|piece| piece.field.as_str())
    }

    /// Which section holds the distance, and how far into it.
    pub(crate) fn section_at(&self, metres: f64) -> (usize, f64) {
        let mut start = 0.0;
        for (n, piece) in self.pieces.iter().enumerate() {
            if metres <= start + piece.length || n + 1 == self.pieces.len() {
                return (n, metres - start);
            }
            start += piece.length;
        }
        (0, metres)
    }

    /// Resistance of one conductor against length.
    pub(crate) fn conductor(&self, trial: Trial) -> Result<Run, Error> {
        let off = self.temperature_tolerance * trial.side(Cause::Temperature);
        Run::new(self.pieces.iter().map(|piece| Ok((piece.length, piece.conductor_ohm(trial, off)?))))
    }

    /// Capacitance of the pair against length.
    pub(crate) fn capacitance(&self, trial: Trial) -> Result<Run, Error> {
        Run::new(self.pieces.iter().map(|piece| Ok((piece.length, piece.farad(trial)?))))
    }

    /// Whether resistance grows alike from end to end, whatever it is.
    pub(crate) fn alike_in_resistance(&self) -> bool {
        let first = &self.pieces[0];
        let alike = |piece: &Piece| {
            piece.lot == first.lot
                && piece.temperature.to_bits() == first.temperature.to_bits()
                && piece.splices_ohm <= 0.0
        };
        self.pieces.iter().all(alike)
    }

    /// Whether capacitance grows alike from end to end, whatever it is.
    pub(crate) fn alike_in_capacitance(&self) -> bool {
        self.pieces.iter().all(|piece| piece.lot == self.pieces[0].lot && piece.wet == self.pieces[0].wet)
    }

    /// Length against length: what a line alike from end to end stands in proportion to, when nobody knows its figures.
    pub(crate) fn evenly(&self) -> Result<Run, Error> {
        Run::new(self.pieces.iter().map(|piece| Ok((piece.length, piece.length))))
    }

    fn expected(&self, instrument: Instrument, lots: &Lots) -> Result<ExpectedReading, Error> {
        let loop_ohm = |trial| self.conductor(trial).map(|run| 2.0 * run.total());
        let resistance = loop_ohm(Trial::AS_GIVEN)?;
        let mut shifts = vec![(Cause::Reading("reading_ohm"), instrument.off(resistance))];
        for cause in (0..lots.len()).map(Cause::Resistance).chain([Cause::Temperature]) {
            let mut most = 0.0_f64;
            for trial in Trial::both(cause) {
                most = most.max((loop_ohm(trial)? - resistance).abs());
            }
            shifts.push((cause, most));
        }
        let tolerance = together(shifts.iter().map(|(_, shift)| *shift));
        Ok(ExpectedReading {
            resistance_ohm: Ohms::bounded(resistance),
            tolerance_ohm: Ohms::bounded(tolerance),
            least_ohm: Ohms::bounded(resistance - tolerance),
            most_ohm: Ohms::bounded(resistance + tolerance),
            shares: shifts
                .into_iter()
                .map(|(cause, shift)| OhmShare {
                    cause: cause.words(lots),
                    resistance_ohm: Ohms::bounded(shift),
                })
                .collect(),
            how: "Each cause alone is moved to both ends of its tolerance and the larger change of the reading kept; the changes \
                  are added in squares, as causes that do not depend on one another. All wire of one kind is off one way.",
        })
    }
}

impl CircuitSection {
    fn check(&self, field: &str) -> Result<(), OutOfBounds> {
        range(|| format!("{field}.length_m"), self.length_m.value(), 0.1, 200_000.0)?;
        range(|| format!("{field}.temperature_c"), self.temperature_c.value(), -60.0, 95.0)?;
        range(|| format!("{field}.pairs_in_parallel"), f64::from(self.pairs_in_parallel), 1.0, 8.0)?;
        range(|| format!("{field}.splices"), f64::from(self.splices), 0.0, 10_000.0)?;
        let Some(own) = &self.figures else { return Ok(()) };
        for (name, value, least, most) in [
            ("resistance_ohm_per_m", own.resistance_ohm_per_m.map(f64::from), 1e-5, 10.0),
            ("resistance_tolerance", own.resistance_tolerance.map(f64::from), 0.0, 0.5),
            ("temperature_coefficient_per_c", own.temperature_coefficient_per_c.map(f64::from), 0.0, 0.007),
            ("loss_wet_db_per_m", own.loss_wet_db_per_m.map(f64::from), 0.0, 0.1),
            ("loss_dry_db_per_m", own.loss_dry_db_per_m.map(f64::from), 0.0, 0.1),
            ("capacitance_wet_f_per_m", own.capacitance_wet_f_per_m.map(f64::from), 1e-12, 1e-8),
            ("capacitance_dry_f_per_m", own.capacitance_dry_f_per_m.map(f64::from), 1e-12, 1e-8),
            ("capacitance_tolerance", own.capacitance_tolerance.map(f64::from), 0.0, 0.9),
        ] {
            if let Some(value) = value {
                range(|| format!("{field}.figures.{name}"), value, least, most)?;
            }
        }
        Ok(())
    }
}

impl Piece {
    fn conductor_ohm(&self, trial: Trial, warmer: f64) -> Result<f64, Error> {
        let resistance = self.sheet.resistance.ok_or_else(|| Error::Unknown {
            field: format!("{}.figures.resistance_ohm_per_m", self.field),
            wire: self.wire,
            what: "resistance",
        })?;
        let tolerance =
            self.sheet.resistance_tolerance.value.value() * trial.side(Cause::Resistance(self.lot));
        let warming = warming(self.sheet.temperature_coefficient.value.value(), self.temperature + warmer);
        let wire = resistance.value.value() * self.length * (1.0 + tolerance) * warming;
        Ok(wire / self.pairs + self.splices_ohm)
    }

    fn farad(&self, trial: Trial) -> Result<f64, Error> {
        let (known, name) = if self.wet {
            (self.sheet.capacitance_wet, "capacitance_wet_f_per_m")
        } else {
            (self.sheet.capacitance_dry, "capacitance_dry_f_per_m")
        };
        let capacitance = known.ok_or_else(|| Error::Unknown {
            field: format!("{}.figures.{name}", self.field),
            wire: self.wire,
            what: "capacitance",
        })?;
        let tolerance =
            self.sheet.capacitance_tolerance.value.value() * trial.side(Cause::Capacitance(self.lot));
        Ok(capacitance.value.value() * self.length * (1.0 + tolerance))
    }

    fn share(&self) -> SectionShare {
        SectionShare {
            length_m: Metres::bounded(self.length),
            resistance_ohm: self.conductor_ohm(Trial::AS_GIVEN, 0.0).ok().map(|ohm| Ohms::bounded(2.0 * ohm)),
            loss_wet_db: self.loss(self.sheet.loss_wet, self.sheet.capacitance_wet),
            loss_dry_db: self.loss(self.sheet.loss_dry, self.sheet.capacitance_dry),
        }
    }

    /// The published loss, or that of a thin pair; both stand for 20 °C and grow with the root of the resistance.
    fn loss(
        &self,
        published: Option<Figure<DecibelsPerMetre>>,
        capacitance: Option<Figure<FaradsPerMetre>>,
    ) -> Option<Decibels> {
        let at_20 = match (published, self.sheet.resistance, capacitance) {
            (Some(loss), _, _) => loss.value,
            (None, Some(resistance), Some(capacitance)) => {
                thin_pair_loss(OhmsPerMetre::bounded(2.0 * resistance.value.value()), capacitance.value)
            }
            _ => return None,
        };
        let warming = warming(self.sheet.temperature_coefficient.value.value(), self.temperature);
        Some(Decibels::bounded(at_20.value() * self.length * warming.sqrt()))
    }
}

/// A figure that grows along the wire, in straight pieces: for each piece's end its distance and the figure so far.
#[derive(Debug, Clone)]
pub(crate) struct Run(Vec<(f64, f64)>);

impl Run {
    fn new(pieces: impl Iterator<Item = Result<(f64, f64), Error>>) -> Result<Self, Error> {
        let (mut end, mut sum) = (0.0, 0.0);
        pieces
            .map(|piece| {
                let (length, grows) = piece?;
                end += length;
                sum += grows;
                Ok((end, sum))
            })
            .collect::<Result<_, Error>>()
            .map(Self)
    }

    /// The figure at the far end.
    pub(crate) fn total(&self) -> f64 {
        self.0.last().map_or(0.0, |(_, sum)| *sum)
    }

    /// The length.
    pub(crate) fn end(&self) -> f64 {
        self.0.last().map_or(0.0, |(end, _)| *end)
    }

    /// The figure at a distance.
    pub(crate) fn at(&self, metres: f64) -> f64 {
        self.walk(metres, |(end, sum)| (end, sum))
    }

    /// The distance at which the figure is reached; the ends for less than nothing and more than all.
    pub(crate) fn metres_at(&self, figure: f64) -> f64 {
        self.walk(figure, |(end, sum)| (sum, end))
    }

    fn walk(&self, target: f64, sides: impl Fn((f64, f64)) -> (f64, f64)) -> f64 {
        let (mut from, mut found) = (0.0, 0.0);
        for &corner in &self.0 {
            let (to, reaches) = sides(corner);
            if target <= to {
                let part = if to > from { (target - from) / (to - from) } else { 1.0 };
                return found + part.clamp(0.0, 1.0) * (reaches - found);
            }
            (from, found) = (to, reaches);
        }
        found
    }

    /// The two side by side, as far as both reach.
    pub(crate) fn beside(&self, other: &Self) -> Self {
        let end = self.end().min(other.end());
        let mut corners: Vec<f64> =
            self.0.iter().chain(&other.0).map(|(at, _)| *at).filter(|at| *at < end).collect();
        corners.push(end);
        corners.sort_by(f64::total_cmp);
        Self(corners.into_iter().map(|at| (at, self.at(at) + other.at(at))).collect())
    }

    /// Every figure so many times as great.
    pub(crate) fn times(&self, factor: f64) -> Self {
        Self(self.0.iter().map(|(end, sum)| (*end, sum * factor)).collect())
    }
}
