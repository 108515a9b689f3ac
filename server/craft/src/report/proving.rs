//! What is said of tests, of the watch at a line's end, and of trouble.

use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

use super::bounded;
use crate::{
    circuit::Telephone,
    fault::{
        FaultTest,
        signs::{FaultKind, Sign},
    },
    ids::LineId,
    text::{Name, Remark},
    units::{Celsius, Decibels, Metres, Ohms},
    wire_type::WireType,
};

/// Most tags that a line is handed over with.
pub const MOST_TAGS: usize = 500;
/// Most signs in one report; there are no more kinds of them.
const MOST_SIGNS: usize = 7;

/// Where on the line a test is made.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum TestedFrom {
    /// The near end.
    NearEnd,
    /// The far end: a good call from there makes the line through.
    FarEnd,
    /// Somewhere along the wire.
    Along,
}

/// How the call sounded.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum Quality {
    /// Loud and clear.
    Clear,
    /// Weak.
    Weak,
    /// Noise or hum.
    Noisy,
    /// It comes and goes.
    ComesAndGoes,
}

/// What the test follows.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum TestedAfter {
    /// A splice.
    Splice,
    /// A reel that is laid.
    Reel,
    /// A crossing.
    Crossing,
    /// The end of the laying.
    LineLaid,
    /// A fault that was cleared.
    Repair,
}

/// The weather at a test.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
#[schema(as = TestWeather)]
pub enum Weather {
    /// Dry.
    Dry,
    /// Fog, dew, or wet ground.
    Damp,
    /// Rain or melting snow.
    Rain,
    /// Frost or lying snow.
    Frost,
}

impl Weather {
    /// Whether the wire lies wet, as the tables of loss have it: common practice, no source, where it is only damp.
    #[must_use]
    pub fn is_wet(self) -> bool {
        matches!(self, Self::Damp | Self::Rain)
    }
}

/// What an instrument read. The test leads' own resistance is taken off.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct Readings {
    /// Of the loop with the pair joined at the other end, in ohms, 0 to 1e8.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub loop_ohm: Option<Ohms>,
    /// Between the conductors with the pair parted at the other end, in ohms, 0 to 1e8; 1e8 for all that is more.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub insulation_ohm: Option<Ohms>,
    /// The loss at 1 kHz, in decibels, 0 to 200.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub loss_db: Option<Decibels>,
    /// Temperature of the wire, in degrees Celsius, -60 to 95.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub temperature_c: Option<Celsius>,
    /// The weather.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub weather: Option<Weather>,
    /// The wire, where it is not WD-1/TT.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub wire: Option<WireType>,
    /// The telephone that the loss is judged by, where it is not the TA-312.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub telephone: Option<Telephone>,
    /// The instrument.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub instrument: Option<Name>,
}

/// A test over the wire, good or bad.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct TestMade {
    /// The line.
    pub line: LineId,
    /// Where it was made.
    pub from: TestedFrom,
    /// Where along the line, for a test along it; left out: where the device was, or else at the laying head.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub chainage_m: Option<Metres>,
    /// Who was called.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub to_whom: Option<Name>,
    /// Whether it rang at the other end.
    pub rang: bool,
    /// Whether both heard each other.
    pub spoke: bool,
    /// How it sounded.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub quality: Option<Quality>,
    /// What it follows.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub after: Option<TestedAfter>,
    /// What an instrument read.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub readings: Option<Readings>,
}

/// The final test over the whole line.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct LineProved {
    /// The line.
    pub line: LineId,
    /// What an instrument read.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub readings: Option<Readings>,
}

/// A line handed over.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct LineHandedOver {
    /// The line.
    pub line: LineId,
    /// Who took it.
    pub to: Name,
    /// The numbers of the tags at its ends and along it: at most 500.
    #[serde(
        default,
        skip_serializing_if = "Vec::is_empty",
        deserialize_with = "bounded::<_, _, 0, MOST_TAGS>"
    )]
    #[schema(max_items = 500)]
    pub tags: Vec<Name>,
}

/// A telephone and a person left at the line, until the switchboard's crew comes.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct WatchSet {
    /// The line.
    pub line: LineId,
    /// Who is on watch.
    pub who: Name,
    /// Where the telephone is, along the line; left out: at the far end.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub chainage_m: Option<Metres>,
}

/// Trouble on a line, by what the crank and the ear tell.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct TroubleReported {
    /// The line.
    pub line: LineId,
    /// The signs: 1 to 7.
    #[serde(deserialize_with = "bounded::<_, _, 1, MOST_SIGNS>")]
    #[schema(min_items = 1, max_items = 7)]
    pub signs: Vec<Sign>,
    /// What else is known.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub remark: Option<Remark>,
}

/// What was learned of where the trouble is.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum Finding {
    /// Which ends answered from a place on the line.
    Answered(Answered),
    /// An instrument's readings at the near end, or from both.
    Measured(Measured),
}

/// Which ends answered.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct Answered {
    /// Where the test was made.
    pub chainage_m: Metres,
    /// Whether the near end answered.
    pub near_answers: bool,
    /// Whether the far end answered.
    pub far_answers: bool,
}

/// Readings for the place of a fault, and the wire they were taken on.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct Measured {
    /// The test and its readings.
    pub test: FaultTest,
    /// The wire, where it is not WD-1/TT.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub wire: Option<WireType>,
    /// Temperature of the wire, in degrees Celsius, -60 to 95; 20 when it is not given.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub temperature_c: Option<Celsius>,
    /// Whether the wire lies wet.
    #[serde(default)]
    pub wet: bool,
}

/// A step of the search.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct TroubleNarrowed {
    /// The line.
    pub line: LineId,
    /// What was learned.
    pub finding: Finding,
}

/// Trouble cleared.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct TroubleCleared {
    /// The line.
    pub line: LineId,
    /// What it was.
    pub fault: FaultKind,
    /// What caused it.
    pub cause: Remark,
    /// Where it was; left out: it was not on the wire.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub chainage_m: Option<Metres>,
    /// Whether wire was cut or parted: then the line has to be proved again.
    pub cut: bool,
}
