//! From readings to the place of a fault: shorts and crosses, earths, leaks and opens, as a distance along the wire with
//! what it may be off by, and with the line's record as a stretch of the ground. It
//! refuses readings that cannot all be true. Formulas: Hawkins Electrical Guide vol. 3, figs. 597 and 598, the textbook
//! examples named at each function, and Ohm's law.

mod ground;
pub mod halving;
pub mod signs;

pub use ground::{GroundStretch, Landmark, LandmarkKind, LengthsApart, MOST_PLACES, Record, RecordPlace};
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

use crate::{
    bounds::{NoAnswer, OutOfBounds, range},
    circuit::{
        self, Cause, CircuitSection, FigureUsed, Instrument, Laid, Lots, Need, Run, Trial, five_degrees,
        no_ohms, together,
    },
    guide::Item,
    units::{Celsius, Farads, Metres, Ohms, OhmsPerMetre, Share},
    wire,
};

/// The question: the line as it is recorded, the instrument, and the readings of one test.
///
/// All readings are taken with the telephones off the line and the resistance of the test leads taken off.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct FaultInput {
    /// The faulty line from the near end, where the test is made, to the far end: 1 to 200 sections of one pair each.
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
    /// The test and its readings.
    pub test: FaultTest,
    /// The line's record over the ground: with it the answer names the stretch to walk and what lies in it.
    #[serde(default)]
    pub line: Option<Record>,
}

/// A test and its readings.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum FaultTest {
    /// The two conductors of the pair touch.
    Short(ShortTest),
    /// A conductor touches one of another line that runs beside it from the same near end.
    Cross(CrossTest),
    /// A conductor has earth; a sound one is joined to it at the far end, and the bridge's arms are set to balance.
    Murray(MurrayTest),
    /// A conductor has earth; a sound one is joined to it at the far end, and a rheostat in the faulty one set to balance.
    Varley(VarleyTest),
    /// A leak from conductor to conductor, or to earth, with no sound wire to help.
    Leak(LeakTest),
    /// A conductor is broken.
    Open(OpenTest),
}

/// The readings over a short, the far ends parted.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct ShortTest {
    /// Between the conductors at the near end, in ohms, 0 to 1e8.
    pub near_ohm: Ohms,
    /// Between the conductors at the far end, in ohms, 0 to 1e8: with it the fault's own resistance drops out.
    #[serde(default)]
    pub far_ohm: Option<Ohms>,
}

/// The reading over a cross, all far ends parted.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct CrossTest {
    /// Between the two conductors that touch, at the near end, in ohms, 0 to 1e8.
    pub near_ohm: Ohms,
    /// The other line from the same near end, 1 to 200 sections; as the faulty line when it is not given.
    #[serde(default)]
    #[schema(min_items = 1, max_items = 200)]
    pub other_sections: Option<Vec<CircuitSection>>,
}

/// A balance by the arms alone.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct MurrayTest {
    /// The arm on the faulty conductor's side, in ohms or divisions of the slide, 0.001 to 1e8.
    pub faulty_arm: Ohms,
    /// The arm on the sound conductor's side, in the same measure, 0.001 to 1e8.
    pub sound_arm: Ohms,
    /// How far the ratio of the arms may be off, 0 to 0.1; 0.005 when it is not given (planning value, editable).
    #[serde(default = "arms_tolerance")]
    pub arms_tolerance: Share,
    /// The loop of both conductors, measured before, in ohms, 0.001 to 1e8; reckoned from the sections when it is not given.
    #[serde(default)]
    pub loop_ohm: Option<Ohms>,
    /// The sound wire, when it is not the faulty one's mate: 1 to 200 sections. Its length may differ.
    #[serde(default)]
    #[schema(min_items = 1, max_items = 200)]
    pub sound_sections: Option<Vec<CircuitSection>>,
}

/// A balance by a rheostat in series with the faulty conductor.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct VarleyTest {
    /// The rheostat at balance, in ohms, 0 to 1e8.
    pub balance_ohm: Ohms,
    /// The arm on the side of the faulty conductor and the rheostat, in ohms, 0.001 to 1e8; equal arms when none is given.
    #[serde(default = "equal_arm")]
    pub faulty_arm: Ohms,
    /// The arm on the sound conductor's side, in ohms, 0.001 to 1e8.
    #[serde(default = "equal_arm")]
    pub sound_arm: Ohms,
    /// How far the ratio of the arms may be off, 0 to 0.1; 0.005 when it is not given (planning value, editable).
    #[serde(default = "arms_tolerance")]
    pub arms_tolerance: Share,
    /// The loop of both conductors, measured before, in ohms, 0.001 to 1e8; reckoned from the sections when it is not given.
    #[serde(default)]
    pub loop_ohm: Option<Ohms>,
    /// The sound wire, when it is not the faulty one's mate: 1 to 200 sections. Its length may differ.
    #[serde(default)]
    #[schema(min_items = 1, max_items = 200)]
    pub sound_sections: Option<Vec<CircuitSection>>,
}

const fn arms_tolerance() -> Share {
    Share::from_const(0.005)
}

const fn equal_arm() -> Ohms {
    Ohms::from_const(1000.0)
}

/// What a leak leads to.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum LeakPath {
    /// The other conductor of the pair: readings are between the two, and 'joined' means the far ends joined.
    #[default]
    Pair,
    /// Earth: readings are from one conductor to earth, and 'joined' means its far end earthed.
    Earth,
}

/// The readings over a leak.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct LeakTest {
    /// What the leak leads to.
    #[serde(default)]
    pub path: LeakPath,
    /// At the near end with the far end open, in ohms, 0.001 to 1e8.
    pub near_open_ohm: Ohms,
    /// At the near end with the far end joined, in ohms, 0 to 1e8.
    pub near_joined_ohm: Ohms,
    /// At the far end with the near end open, in ohms, 0.001 to 1e8: with it the record of the line is only a check.
    #[serde(default)]
    pub far_open_ohm: Option<Ohms>,
    /// At the far end with the near end joined, in ohms, 0 to 1e8: a check of the three others.
    #[serde(default)]
    pub far_joined_ohm: Option<Ohms>,
}

/// The readings over an open: capacitance between the conductors of the pair.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct OpenTest {
    /// At the near end, in farads, 0 to 1e-3.
    pub near_capacitance_f: Farads,
    /// At the far end, in farads, 0 to 1e-3.
    #[serde(default)]
    pub far_capacitance_f: Option<Farads>,
    /// Of the whole line while it was sound, or of a sound pair beside it, in farads, 1e-12 to 1e-3.
    #[serde(default)]
    pub whole_capacitance_f: Option<Farads>,
}

/// One cause that the distance may be off for, and by how much.
#[derive(Debug, Clone, PartialEq, Serialize, ToSchema)]
pub struct MetreShare {
    /// The cause, in words.
    pub cause: String,
    /// How far it may move the place, in metres along the wire.
    pub shift_m: Metres,
}

/// The answer. Distances are along the wire from the near end.
#[derive(Debug, Clone, PartialEq, Serialize, ToSchema)]
pub struct FaultAnswer {
    /// Where the fault is reckoned to lie, in metres.
    pub distance_m: Metres,
    /// How far it may be off, in metres.
    pub uncertainty_m: Metres,
    /// The near end of the stretch to look in, in metres.
    pub nearest_m: Metres,
    /// The far end of the stretch to look in, in metres.
    pub farthest_m: Metres,
    /// Length of the line along the wire, in metres.
    pub length_m: Metres,
    /// The section the fault lies in, counted from 0 as `sections` is.
    pub section: usize,
    /// How far into that section, in metres.
    pub into_section_m: Metres,
    /// Resistance of the way to the fault, in ohms: out and back for short, cross and leak in the pair, one conductor otherwise.
    #[schema(required = true)]
    pub to_fault_ohm: Option<Ohms>,
    /// Resistance of the fault itself, in ohms, where the test tells it.
    #[schema(required = true)]
    pub fault_ohm: Option<Ohms>,
    /// The stretch of the ground to look in, when the line's record was given.
    #[schema(required = true)]
    pub ground: Option<GroundStretch>,
    /// The uncertainty by cause, greatest first.
    pub shares: Vec<MetreShare>,
    /// How the uncertainty was put together.
    pub how: &'static str,
    /// What to know when looking.
    pub notes: Vec<&'static str>,
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
    /// A figure of the wire is not known.
    #[error(transparent)]
    Circuit(circuit::Error),
    /// The line's record over the ground.
    #[error("line.{0}")]
    Record(wire::Error),
    /// The record and the sections are of two lengths.
    #[error(transparent)]
    LengthsApart(#[from] LengthsApart),
    /// Pairs side by side: resistance does not grow evenly along them when one is faulty.
    #[error(
        "{field} has pairs side by side: part them at both ends and test each pair alone, with pairs_in_parallel 1"
    )]
    SideBySide {
        /// The section at fault.
        field: String,
    },
    /// A reading that tells nothing without another.
    #[error("{field} is given without {needs}: give both, or neither")]
    Alone {
        /// The field that was given.
        field: &'static str,
        /// The field that it needs.
        needs: &'static str,
    },
    /// Readings that cannot all be true.
    #[error("the readings contradict each other: {why}. {allowed:.1} % of the line was allowed for errors")]
    Contradiction {
        /// The reason, with its figures.
        why: Contradiction,
        /// What instrument, wire and temperature may be off by, in percent of the whole line.
        allowed: f64,
    },
}

impl From<circuit::Error> for Error {
    fn from(error: circuit::Error) -> Self {
        match error {
            circuit::Error::Bounds(bounds) => Self::Bounds(bounds),
            unknown @ circuit::Error::Unknown { .. } => Self::Circuit(unknown),
        }
    }
}

impl NoAnswer for Error {
    fn field(&self) -> Option<String> {
        match self {
            Self::Bounds(bounds) => bounds.field(),
            Self::Circuit(error) => error.field(),
            Self::Record(error) => error.field().map(|field| format!("line.{field}")),
            Self::LengthsApart(_) => Some("sections".to_owned()),
            Self::SideBySide { field } => Some(format!("{field}.pairs_in_parallel")),
            Self::Alone { field, .. } => Some((*field).to_owned()),
            Self::Contradiction { .. } => None,
        }
    }
}

/// What cannot be true of one line with one fault.
#[derive(Debug, Clone, Copy, PartialEq, thiserror::Error)]
pub enum Contradiction {
    /// The fault lies beyond the far end.
    #[error(
        "the way to the fault comes to {to_fault:.2}, and the whole way to the far end has {whole:.2}; look for another kind of \
         fault, a poor joint, or wire that is not recorded"
    )]
    BeyondTheFarEnd {
        /// The way to the fault.
        to_fault: Ohms,
        /// The way to the far end.
        whole: Ohms,
    },
    /// The fault lies before the near end.
    #[error(
        "the fault would lie {before:.2} before the near end; see whether the two ends, or the faulty and the sound conductor, \
         were exchanged"
    )]
    BeforeTheNearEnd {
        /// How far before.
        before: Ohms,
    },
    /// A fault with less than no resistance.
    #[error(
        "both ends together read {missing:.2} less than twice a fault of no resistance would; there are two faults, or less \
         wire than is recorded"
    )]
    LessThanTheLine {
        /// What is missing.
        missing: Ohms,
    },
    /// A reading rose when the far end was joined.
    #[error(
        "the near end reads {open:.2} with the far end open and {joined:.2} with it joined, and joining cannot raise it"
    )]
    JoinedAboveOpen {
        /// With the far end open.
        open: Ohms,
        /// With the far end joined.
        joined: Ohms,
    },
    /// A reading above what the sound line would give.
    #[error(
        "the near end reads {joined:.2} with the far end joined, more than the {whole:.2} of the whole line without any leak; \
         look for a poor splice"
    )]
    JoinedAboveTheLine {
        /// With the far end joined.
        joined: Ohms,
        /// The whole line.
        whole: Ohms,
    },
    /// The measured line is not the recorded one.
    #[error(
        "the readings make the whole {measured:.2}, and the sections as recorded make it {recorded:.2}; see to lengths, kinds \
         of wire and temperatures, or look for a poor splice"
    )]
    NotTheRecordedLine {
        /// As measured.
        measured: Ohms,
        /// As recorded.
        recorded: Ohms,
    },
    /// The fourth reading of a leak does not follow from the three others.
    #[error(
        "the far end reads {read:.2} with the near end joined, and the three other readings ask for {follows:.2}; the leak \
         changed meanwhile, or there is more than one"
    )]
    FarJoinedDoesNotFollow {
        /// As read.
        read: Ohms,
        /// As the others ask.
        follows: Ohms,
    },
    /// More capacitance to the break than the whole line has.
    #[error(
        "to the break the capacitance is {:.2} nF, and the whole line has {:.2} nF; see whether the conductor is broken at all, \
         or the wire wetter than it is recorded",
        near.value() * 1e9, whole.value() * 1e9
    )]
    MoreThanTheWhole {
        /// To the break.
        near: Farads,
        /// The whole line.
        whole: Farads,
    },
    /// The capacitances do not add up to the whole.
    #[error(
        "the capacitances make the whole {:.2} nF, and it should be {:.2} nF; there is more than one break, or the wire lies \
         otherwise than it is recorded",
        measured.value() * 1e9, whole.value() * 1e9
    )]
    NotTheWhole {
        /// As measured in two parts or over the whole.
        measured: Farads,
        /// As it should be.
        whole: Farads,
    },
}

/// The length of conductor that has a resistance.
///
/// # Units
/// Metres of wire, from ohms of ONE conductor and its ohms in a metre: half of what is read out and back.
///
/// # Source
/// d = a / r₁: Hawkins Electrical Guide vol. 3, fig. 597. A resistance of nothing in a metre has no length: `None`.
///
/// ```
/// use laywire_craft::{fault::{length_of, loop_test}, units::{Metres, Ohms, OhmsPerMetre}};
/// // Hawkins: 16.46 ohms in a mile, loop of 54.07 ohms, slide at 332 of 1000: 1.09 miles.
/// let to_fault = loop_test(Ohms::from_const(54.07), Ohms::from_const(332.0), Ohms::from_const(668.0), Ohms::ZERO)?;
/// let miles = length_of(to_fault, OhmsPerMetre::from_const(16.46 / 1609.344)).map(|d| d.value() / 1609.344);
/// assert_eq!(format!("{:.4}", miles.unwrap_or_default()), "1.0906");
/// # Ok::<(), laywire_craft::fault::Contradiction>(())
/// ```
#[must_use]
pub fn length_of(conductor: Ohms, per_metre: OhmsPerMetre) -> Option<Metres> {
    (per_metre.value() > 0.0).then(|| Metres::bounded(conductor.value() / per_metre.value()))
}

/// Resistance of the faulty conductor to its earth, by a loop with a sound one: Murray's test with no balance, Varley's with one.
///
/// # Units
/// Ohms; the arms in any one measure.
///
/// # Errors
/// A balance so great that the fault would lie before the near end; arms of nothing.
///
/// # Source
/// X = (Q R − P S) / (P + Q) with Q the faulty side's arm, P the sound side's, S the rheostat in the faulty side. Murray:
/// Hawkins Electrical Guide vol. 3, fig. 597. Varley with equal arms: Mehta & Mehta, Principles of Power System (title from
/// memory), ch. 11; with unequal arms from memory, and it follows from the balance.
///
/// ```
/// use laywire_craft::{fault::loop_test, units::Ohms};
/// let ohm = Ohms::from_const;
/// // Mehta & Mehta, ex. 11.24: equal arms, loop 800 ohms, balance 200 ohms: 300 ohms.
/// assert_eq!(loop_test(ohm(800.0), ohm(1000.0), ohm(1000.0), ohm(200.0))?, ohm(300.0));
/// # Ok::<(), laywire_craft::fault::Contradiction>(())
/// ```
pub fn loop_test(
    whole: Ohms,
    faulty_arm: Ohms,
    sound_arm: Ohms,
    balance: Ohms,
) -> Result<Ohms, Contradiction> {
    let x = balanced(whole.value(), faulty_arm.value(), sound_arm.value(), balance.value());
    if x >= 0.0 {
        Ok(Ohms::bounded(x))
    } else {
        Err(Contradiction::BeforeTheNearEnd { before: Ohms::bounded(-x) })
    }
}

/// Arms of nothing put the fault at the near end: the ranges of the question keep them out.
fn balanced(whole: f64, faulty_arm: f64, sound_arm: f64, balance: f64) -> f64 {
    let arms = faulty_arm + sound_arm;
    if arms > 0.0 { (faulty_arm * whole - sound_arm * balance) / arms } else { 0.0 }
}

/// A leak in ohms: the way to it, the leak, and the way beyond.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct LeakOhms {
    /// From the near end to the leak.
    pub to_fault: Ohms,
    /// The leak itself.
    pub fault: Ohms,
    /// From the leak to the far end.
    pub beyond: Ohms,
}

/// A leak by readings from both ends, with no sound wire and no record of the line.
///
/// # Units
/// Ohms.
///
/// # Errors
/// A reading that rises when the far end is joined, or a leak of more than either open reading.
///
/// # Source
/// Ohm's law: near open x + f, far open y + f, near joined x + f·y / (f + y); so f = √(far open (near open − near joined)).
///
/// ```
/// use laywire_craft::{fault::leak_from_both_ends, units::Ohms};
/// let ohm = Ohms::from_const;
/// // Problem 2513, 'Leakage' (pho.rs/p/en/2513): 4.0, 8.0 and 3.5 ohms; the answer, worked by hand: 2, 2 and 6 ohms.
/// let leak = leak_from_both_ends(ohm(4.0), ohm(8.0), ohm(3.5))?;
/// assert_eq!((leak.to_fault, leak.fault, leak.beyond), (ohm(2.0), ohm(2.0), ohm(6.0)));
/// # Ok::<(), laywire_craft::fault::Contradiction>(())
/// ```
pub fn leak_from_both_ends(
    near_open: Ohms,
    far_open: Ohms,
    near_joined: Ohms,
) -> Result<LeakOhms, Contradiction> {
    if near_joined > near_open {
        return Err(Contradiction::JoinedAboveOpen { open: near_open, joined: near_joined });
    }
    let fault = both_ends(near_open.value(), far_open.value(), near_joined.value());
    let (x, y) = (near_open.value() - fault, far_open.value() - fault);
    if x < 0.0 {
        return Err(Contradiction::BeforeTheNearEnd { before: Ohms::bounded(-x) });
    }
    if y < 0.0 {
        return Err(Contradiction::BeyondTheFarEnd {
            to_fault: Ohms::bounded(x),
            whole: Ohms::bounded(x + y),
        });
    }
    Ok(LeakOhms { to_fault: Ohms::bounded(x), fault: Ohms::bounded(fault), beyond: Ohms::bounded(y) })
}

fn both_ends(near_open: f64, far_open: f64, near_joined: f64) -> f64 {
    (far_open * (near_open - near_joined).max(0.0)).sqrt()
}

/// A leak by readings from the near end alone, the whole line's resistance being known: Blavier's test.
///
/// # Units
/// Ohms.
///
/// # Errors
/// A reading that rises when the far end is joined, or is then more than the whole line's.
///
/// # Source
/// x = q − √((R − q)(W − q)) with R open, q joined, W the whole line: Blavier (from memory), and it follows from Ohm's law.
///
/// ```
/// use laywire_craft::{fault::leak_from_one_end, units::Ohms};
/// let ohm = Ohms::from_const;
/// // The line of problem 2513 again, its 8 ohms known: the same place from one end.
/// assert_eq!(leak_from_one_end(ohm(4.0), ohm(3.5), ohm(8.0))?.to_fault, ohm(2.0));
/// # Ok::<(), laywire_craft::fault::Contradiction>(())
/// ```
pub fn leak_from_one_end(near_open: Ohms, near_joined: Ohms, whole: Ohms) -> Result<LeakOhms, Contradiction> {
    if near_joined > near_open {
        return Err(Contradiction::JoinedAboveOpen { open: near_open, joined: near_joined });
    }
    if near_joined > whole {
        return Err(Contradiction::JoinedAboveTheLine { joined: near_joined, whole });
    }
    let x = blavier(near_open.value(), near_joined.value(), whole.value());
    if x < 0.0 {
        return Err(Contradiction::BeforeTheNearEnd { before: Ohms::bounded(-x) });
    }
    Ok(LeakOhms {
        to_fault: Ohms::bounded(x),
        fault: Ohms::bounded(near_open.value() - x),
        beyond: Ohms::bounded(whole.value() - x),
    })
}

fn blavier(near_open: f64, near_joined: f64, whole: f64) -> f64 {
    near_joined - ((near_open - near_joined).max(0.0) * (whole - near_joined).max(0.0)).sqrt()
}

const HOW: &str = "Each cause alone is moved to both ends of its tolerance, the place is found anew, and the larger shift kept; the \
                   shifts are added in squares, as causes that do not depend on one another. All wire of one kind is off one \
                   way. Lengths are taken as recorded.";
const DEAD_SHORT: &str = "The fault is taken to have no resistance of its own. If it has any, the true place is nearer: read at \
                          the far end too.";
const EARTHS_RESISTANCE: &str = "The earth's own resistance at the ends is taken as nothing. If it is not, the place is wrong: \
                                 use a sound wire and Murray's or Varley's test where there is one.";
const REVERSE: &str = "Currents in the earth disturb the balance: take it again with the battery reversed, and use the mean \
                       (common practice, no source).";
const BREAK_MAY_LEAK: &str = "Wire lying broken in water adds to the capacitance or shorts it: parted ends that leak make the \
                              reading useless (common practice, no source).";
const FROM_FIGURES: &str = "No reading of the whole line to compare with: the place stands on the wire's capacitance as it is \
                            recorded. Read at the far end, or on a sound pair beside it, to do better.";
const TWO_DISTANCES: &str = "The two lines are taken to run beside each other from the near end, both distances to the cross the \
                             same.";

/// Finds the place of a fault.
///
/// Where the test measures the whole line too, the place is a part of the recorded line, and what all of the wire is off
/// by in common drops out. Sections of several kinds are walked through one by one.
///
/// # Errors
/// A figure out of its range, a wire whose figures are not known, or readings that cannot all be true.
///
/// # Source
/// See the functions above, and [`crate::circuit::at_temperature`].
pub fn reckon(input: &FaultInput) -> Result<FaultAnswer, Error> {
    input.instrument.check()?;
    let mut lots = Lots::default();
    let bench = Bench::new(input, &mut lots)?;
    let given = bench.find(Trial::AS_GIVEN)?;

    let mut allowed = vec![0.0; given.checks.len()];
    let mut shifts = Vec::new();
    for cause in bench.causes(&lots) {
        let (mut shift, mut moved) = (0.0_f64, vec![0.0_f64; allowed.len()]);
        for trial in Trial::both(cause) {
            let found = bench.find(trial)?;
            shift = shift.max((found.metres - given.metres).abs());
            for (most, (check, tried)) in moved.iter_mut().zip(given.checks.iter().zip(&found.checks)) {
                *most = most.max((tried.spare - check.spare).abs());
            }
        }
        for (sum, most) in allowed.iter_mut().zip(moved) {
            *sum += most;
        }
        shifts.push((cause, shift));
    }
    // A refusal needs every cause at its worst at once: the crew has the benefit of the doubt.
    for (check, allowed) in given.checks.iter().zip(&allowed) {
        if check.spare + allowed < -1e-9 {
            return Err(Error::Contradiction { why: check.why, allowed: allowed * 100.0 });
        }
    }

    let uncertainty = together(shifts.iter().map(|(_, shift)| *shift));
    shifts.retain(|(_, shift)| *shift > 1e-6);
    shifts.sort_by(|a, b| b.1.total_cmp(&a.1));
    let length = bench.line.length();
    let (section, into) = bench.line.section_at(given.metres);
    let distance_m = Metres::bounded(given.metres);
    let nearest_m = Metres::bounded((given.metres - uncertainty).max(0.0));
    let farthest_m = Metres::bounded((given.metres + uncertainty).min(length.value()));
    let on_ground = |record: &Record| record.stretch((nearest_m, distance_m, farthest_m), length);
    let ground = input.line.as_ref().map(on_ground).transpose()?;
    Ok(FaultAnswer {
        distance_m,
        uncertainty_m: Metres::bounded(uncertainty),
        nearest_m,
        farthest_m,
        length_m: length,
        section,
        into_section_m: Metres::bounded(into),
        to_fault_ohm: given.to_fault.map(Ohms::bounded),
        fault_ohm: given.fault.map(Ohms::bounded),
        ground,
        shares: shifts
            .into_iter()
            .map(|(cause, shift)| MetreShare { cause: cause.words(&lots), shift_m: Metres::bounded(shift) })
            .collect(),
        how: HOW,
        notes: notes(&input.test),
        figures: lots.figures_used(match input.test {
            FaultTest::Open(_) => &[Need::Capacitance],
            _ => &[Need::Resistance],
        }),
        cautions: circuit::cautions(),
    })
}

fn notes(test: &FaultTest) -> Vec<&'static str> {
    match test {
        FaultTest::Short(test) if test.far_ohm.is_none() => vec![DEAD_SHORT],
        FaultTest::Cross(_) => vec![TWO_DISTANCES, DEAD_SHORT],
        FaultTest::Murray(_) | FaultTest::Varley(_) => vec![REVERSE],
        FaultTest::Leak(test) if test.path == LeakPath::Earth => vec![EARTHS_RESISTANCE, REVERSE],
        FaultTest::Short(_) | FaultTest::Leak(_) => vec![],
        FaultTest::Open(test) if test.far_capacitance_f.is_none() && test.whole_capacitance_f.is_none() => {
            vec![FROM_FIGURES, BREAK_MAY_LEAK]
        }
        FaultTest::Open(_) => vec![BREAK_MAY_LEAK],
    }
}

/// One thing that has to be true: what it has to spare, as a part of the whole line, and the contradiction if that is negative.
struct Check {
    spare: f64,
    why: Contradiction,
}

/// The place by one trial, before it is judged.
struct Found {
    metres: f64,
    to_fault: Option<f64>,
    fault: Option<f64>,
    checks: Vec<Check>,
}

/// The test's set-up: the lines that take part, checked, and the readings.
struct Bench<'a> {
    line: Laid,
    other: Option<Laid>,
    instrument: Instrument,
    test: &'a FaultTest,
}

impl<'a> Bench<'a> {
    fn new(input: &'a FaultInput, lots: &mut Lots) -> Result<Self, Error> {
        let mut lay = |field, sections: &[CircuitSection]| -> Result<Laid, Error> {
            let laid = Laid::new(field, sections, input.splice_ohm, input.temperature_tolerance_c, lots)?;
            match laid.doubled() {
                Some(field) => Err(Error::SideBySide { field: field.to_owned() }),
                None => Ok(laid),
            }
        };
        let line = lay("sections", &input.sections)?;
        let other = match &input.test {
            FaultTest::Cross(CrossTest { other_sections: Some(sections), .. }) => {
                Some(lay("test.cross.other_sections", sections)?)
            }
            FaultTest::Murray(MurrayTest { sound_sections: Some(sections), .. }) => {
                Some(lay("test.murray.sound_sections", sections)?)
            }
            FaultTest::Varley(VarleyTest { sound_sections: Some(sections), .. }) => {
                Some(lay("test.varley.sound_sections", sections)?)
            }
            _ => None,
        };
        check_ranges(&input.test)?;
        Ok(Self { line, other, instrument: input.instrument, test: &input.test })
    }

    /// Everything that the place may be off for.
    fn causes(&self, lots: &Lots) -> Vec<Cause> {
        let mut causes: Vec<Cause> = readings(self.test).into_iter().map(Cause::Reading).collect();
        match self.test {
            FaultTest::Open(_) => causes.extend((0..lots.len()).map(Cause::Capacitance)),
            FaultTest::Murray(_) | FaultTest::Varley(_) => causes.push(Cause::Arms),
            _ => {}
        }
        if !matches!(self.test, FaultTest::Open(_)) {
            causes.extend((0..lots.len()).map(Cause::Resistance));
            causes.push(Cause::Temperature);
        }
        causes
    }

    fn ohm(&self, field: &'static str, reading: Ohms, trial: Trial) -> f64 {
        let off = self.instrument.off(reading.value());
        (reading.value() + trial.side(Cause::Reading(field)) * off).max(0.0)
    }

    fn farad(&self, field: &'static str, reading: Farads, trial: Trial) -> f64 {
        reading.value() * (1.0 + trial.side(Cause::Reading(field)) * self.instrument.of_reading.value())
    }

    /// Resistance out and back along the pair, against distance.
    fn pair(&self, trial: Trial) -> Result<Run, Error> {
        Ok(self.line.conductor(trial)?.times(2.0))
    }

    /// Resistance of one conductor against distance; or only what it is in proportion to, when nobody knows the wire's
    /// resistance, the test measures the whole, and the line is alike from end to end. Tells whether it is known.
    fn in_proportion(&self, trial: Trial, whole_is_measured: bool) -> Result<(Run, bool), Error> {
        match self.line.conductor(trial) {
            Err(_) if whole_is_measured && self.line.alike_in_resistance() => {
                Ok((self.line.evenly()?, false))
            }
            conductor => Ok((conductor?, true)),
        }
    }

    fn find(&self, trial: Trial) -> Result<Found, Error> {
        match self.test {
            FaultTest::Short(test) => self.short(test, trial),
            FaultTest::Cross(test) => self.cross(test, trial),
            FaultTest::Murray(test) => {
                let arms = (test.faulty_arm, test.sound_arm, test.arms_tolerance);
                self.bridge(arms, test.loop_ohm, 0.0, trial)
            }
            FaultTest::Varley(test) => {
                let arms = (test.faulty_arm, test.sound_arm, test.arms_tolerance);
                self.bridge(arms, test.loop_ohm, self.ohm("balance_ohm", test.balance_ohm, trial), trial)
            }
            FaultTest::Leak(test) => self.leak(test, trial),
            FaultTest::Open(test) => self.open(test, trial),
        }
    }

    fn short(&self, test: &ShortTest, trial: Trial) -> Result<Found, Error> {
        let pair = self.pair(trial)?;
        let whole = pair.total();
        let near = self.ohm("near_ohm", test.near_ohm, trial);
        let Some(far) = test.far_ohm.map(|far| self.ohm("far_ohm", far, trial)) else {
            return Ok(Found {
                metres: pair.metres_at(near),
                to_fault: Some(near),
                fault: None,
                checks: vec![not_beyond(near, whole)],
            });
        };
        let (to_fault, fault) = (f64::midpoint(near - far, whole), f64::midpoint(near - whole, far));
        let missing = Ohms::bounded(-2.0 * fault);
        Ok(Found {
            metres: pair.metres_at(to_fault),
            to_fault: Some(to_fault),
            fault: Some(fault),
            checks: vec![
                Check { spare: part(fault, whole), why: Contradiction::LessThanTheLine { missing } },
                not_before(to_fault, whole),
                not_beyond(to_fault, whole),
            ],
        })
    }

    fn cross(&self, test: &CrossTest, trial: Trial) -> Result<Found, Error> {
        let conductor = self.line.conductor(trial)?;
        let both = match &self.other {
            Some(other) => conductor.beside(&other.conductor(trial)?),
            None => conductor.times(2.0),
        };
        let near = self.ohm("near_ohm", test.near_ohm, trial);
        Ok(Found {
            metres: both.metres_at(near),
            to_fault: Some(near),
            fault: None,
            checks: vec![not_beyond(near, both.total())],
        })
    }

    fn bridge(
        &self,
        (faulty_arm, sound_arm, tolerance): (Ohms, Ohms, Share),
        measured: Option<Ohms>,
        balance: f64,
        trial: Trial,
    ) -> Result<Found, Error> {
        let measured = measured.map(|measured| self.ohm("loop_ohm", measured, trial));
        let (faulty, known) = self.in_proportion(trial, measured.is_some() && self.other.is_none())?;
        let sound = match &self.other {
            Some(other) => other.conductor(trial)?.total(),
            None => faulty.total(),
        };
        let recorded = faulty.total() + sound;
        let whole = measured.unwrap_or(recorded);
        let faulty_arm = faulty_arm.value() * (1.0 + tolerance.value() * trial.side(Cause::Arms));
        let to_fault = balanced(whole, faulty_arm, sound_arm.value(), balance);
        let faulty = faulty.times(whole / recorded);
        let mut checks = vec![not_before(to_fault, whole), not_beyond(to_fault, faulty.total())];
        if known {
            checks.push(as_recorded(whole, recorded));
        }
        Ok(Found { metres: faulty.metres_at(to_fault), to_fault: Some(to_fault), fault: None, checks })
    }

    fn leak(&self, test: &LeakTest, trial: Trial) -> Result<Found, Error> {
        let (conductor, known) = self.in_proportion(trial, test.far_open_ohm.is_some())?;
        let way = match test.path {
            LeakPath::Pair => conductor.times(2.0),
            LeakPath::Earth => conductor,
        };
        let recorded = way.total();
        let open = self.ohm("near_open_ohm", test.near_open_ohm, trial);
        let joined = self.ohm("near_joined_ohm", test.near_joined_ohm, trial);
        let mut checks = vec![Check {
            spare: part(open - joined, open),
            why: Contradiction::JoinedAboveOpen { open: test.near_open_ohm, joined: test.near_joined_ohm },
        }];
        let Some(far_open) = test.far_open_ohm.map(|far| self.ohm("far_open_ohm", far, trial)) else {
            let to_fault = blavier(open, joined, recorded);
            checks.push(Check {
                spare: part(recorded - joined, recorded),
                why: Contradiction::JoinedAboveTheLine {
                    joined: test.near_joined_ohm,
                    whole: Ohms::bounded(recorded),
                },
            });
            checks.push(not_before(to_fault, recorded));
            return Ok(Found {
                metres: way.metres_at(to_fault),
                to_fault: Some(to_fault),
                fault: Some(open - to_fault),
                checks,
            });
        };
        let fault = both_ends(open, far_open, joined);
        let (to_fault, beyond) = (open - fault, far_open - fault);
        let whole = to_fault + beyond;
        checks.push(not_before(to_fault, whole));
        checks.push(not_beyond(to_fault, whole));
        if known {
            checks.push(as_recorded(whole, recorded));
        }
        if let Some(far_joined) = test.far_joined_ohm.map(|far| self.ohm("far_joined_ohm", far, trial)) {
            // The way to the fault and the fault side by side, seen from the far end.
            let aside = if open > 0.0 { fault * to_fault / open } else { 0.0 };
            let follows = beyond + aside;
            checks.push(Check {
                spare: -part((far_joined - follows).abs(), far_open),
                why: Contradiction::FarJoinedDoesNotFollow {
                    read: Ohms::bounded(far_joined),
                    follows: Ohms::bounded(follows),
                },
            });
        }
        Ok(Found {
            metres: way.times(whole / recorded).metres_at(to_fault),
            to_fault: Some(to_fault),
            fault: Some(fault),
            checks,
        })
    }

    fn open(&self, test: &OpenTest, trial: Trial) -> Result<Found, Error> {
        let near = self.farad("near_capacitance_f", test.near_capacitance_f, trial);
        let far = test.far_capacitance_f.map(|far| self.farad("far_capacitance_f", far, trial));
        let sound = test.whole_capacitance_f.map(|whole| self.farad("whole_capacitance_f", whole, trial));
        let measured = far.map(|far| near + far).or(sound);

        let recorded = self.line.capacitance(trial);
        // A line of one kind that is compared with itself needs no figure from a sheet.
        let (way, known) = match (recorded, measured) {
            (Err(_), Some(_)) if self.line.alike_in_capacitance() => (self.line.evenly()?, false),
            (recorded, _) => (recorded?, true),
        };
        let whole = measured.unwrap_or(way.total());
        let sum = |spare: f64, why| Check { spare: part(spare, whole), why };
        let mut checks = vec![sum(
            whole - near,
            Contradiction::MoreThanTheWhole { near: Farads::bounded(near), whole: Farads::bounded(whole) },
        )];
        let not_the_whole = |measured, whole| Contradiction::NotTheWhole {
            measured: Farads::bounded(measured),
            whole: Farads::bounded(whole),
        };
        if known {
            checks.push(sum(-(whole - way.total()).abs(), not_the_whole(whole, way.total())));
        }
        if let (Some(_), Some(sound)) = (far, sound) {
            checks.push(sum(-(whole - sound).abs(), not_the_whole(whole, sound)));
        }
        Ok(Found {
            metres: way.times(whole / way.total()).metres_at(near),
            to_fault: None,
            fault: None,
            checks,
        })
    }
}

/// A part of the whole; of a whole that is nothing, as good as nothing or the whole of it.
fn part(figure: f64, whole: f64) -> f64 {
    if whole > 0.0 { figure / whole } else { figure.clamp(-1.0, 1.0) }
}

fn not_before(to_fault: f64, whole: f64) -> Check {
    Check {
        spare: part(to_fault, whole),
        why: Contradiction::BeforeTheNearEnd { before: Ohms::bounded(-to_fault) },
    }
}

fn not_beyond(to_fault: f64, whole: f64) -> Check {
    let why =
        Contradiction::BeyondTheFarEnd { to_fault: Ohms::bounded(to_fault), whole: Ohms::bounded(whole) };
    Check { spare: part(whole - to_fault, whole), why }
}

fn as_recorded(measured: f64, recorded: f64) -> Check {
    Check {
        spare: -part((measured - recorded).abs(), recorded),
        why: Contradiction::NotTheRecordedLine {
            measured: Ohms::bounded(measured),
            recorded: Ohms::bounded(recorded),
        },
    }
}

/// The readings of the test, by their fields.
fn readings(test: &FaultTest) -> Vec<&'static str> {
    let given = |field, there: bool| there.then_some(field);
    let fields: Vec<Option<&'static str>> = match test {
        FaultTest::Short(test) => vec![Some("near_ohm"), given("far_ohm", test.far_ohm.is_some())],
        FaultTest::Cross(_) => vec![Some("near_ohm")],
        FaultTest::Murray(test) => vec![given("loop_ohm", test.loop_ohm.is_some())],
        FaultTest::Varley(test) => vec![Some("balance_ohm"), given("loop_ohm", test.loop_ohm.is_some())],
        FaultTest::Leak(test) => vec![
            Some("near_open_ohm"),
            Some("near_joined_ohm"),
            given("far_open_ohm", test.far_open_ohm.is_some()),
            given("far_joined_ohm", test.far_joined_ohm.is_some()),
        ],
        FaultTest::Open(test) => vec![
            Some("near_capacitance_f"),
            given("far_capacitance_f", test.far_capacitance_f.is_some()),
            given("whole_capacitance_f", test.whole_capacitance_f.is_some()),
        ],
    };
    fields.into_iter().flatten().collect()
}

fn check_ranges(test: &FaultTest) -> Result<(), Error> {
    let arms = |method: &str, faulty: Ohms, sound: Ohms, tolerance: Share| -> Result<(), OutOfBounds> {
        range(|| format!("test.{method}.faulty_arm"), faulty.value(), 0.001, 1e8)?;
        range(|| format!("test.{method}.sound_arm"), sound.value(), 0.001, 1e8)?;
        range(|| format!("test.{method}.arms_tolerance"), tolerance.value(), 0.0, 0.1)?;
        Ok(())
    };
    let ohms = |field: &str, ohm: Option<Ohms>| match ohm {
        Some(ohm) => range(|| field.to_owned(), ohm, 0.001, 1e8),
        None => Ok(()),
    };
    match test {
        FaultTest::Murray(test) => {
            ohms("test.murray.loop_ohm", test.loop_ohm)?;
            arms("murray", test.faulty_arm, test.sound_arm, test.arms_tolerance)?;
        }
        FaultTest::Varley(test) => {
            ohms("test.varley.loop_ohm", test.loop_ohm)?;
            arms("varley", test.faulty_arm, test.sound_arm, test.arms_tolerance)?;
        }
        FaultTest::Leak(LeakTest { far_joined_ohm: Some(_), far_open_ohm: None, .. }) => {
            return Err(Error::Alone { field: "test.leak.far_joined_ohm", needs: "test.leak.far_open_ohm" });
        }
        FaultTest::Leak(test) => {
            ohms("test.leak.near_open_ohm", Some(test.near_open_ohm))?;
            ohms("test.leak.far_open_ohm", test.far_open_ohm)?;
        }
        FaultTest::Open(test) => {
            range(|| "test.open.near_capacitance_f".to_owned(), test.near_capacitance_f.value(), 0.0, 1e-3)?;
            if let Some(far) = test.far_capacitance_f {
                range(|| "test.open.far_capacitance_f".to_owned(), far.value(), 0.0, 1e-3)?;
            }
            if let Some(whole) = test.whole_capacitance_f {
                range(|| "test.open.whole_capacitance_f".to_owned(), whole.value(), 1e-12, 1e-3)?;
            }
        }
        FaultTest::Short(_) | FaultTest::Cross(_) => {}
    }
    Ok(())
}
