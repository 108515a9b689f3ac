//! Reports: the only thing that changes an installation. A report is made on a device, has an id from there, and
//! says one thing that happened. Here is what may be said; whether it may stand is decided in
//! [`crate::installation`].

mod proving;
mod recovery;

use chrono::{DateTime, TimeDelta, Utc};
use serde::{Deserialize, Deserializer, Serialize, de::Error};
use utoipa::ToSchema;

use crate::{
    construction::Construction,
    crossing::GivenTo,
    geodesy::Position,
    ids::{CrossingId, LineId, ReelId, ReportId},
    line::Designation,
    obstacle::Obstacle,
    party::Sender,
    plan::PlanVersion,
    text::{Name, Remark},
    trace::Trace,
    units::Metres,
};

pub use proving::{
    Answered, Finding, LineHandedOver, LineProved, MOST_TAGS, Measured, Quality, Readings, TestMade,
    TestedAfter, TestedFrom, TroubleCleared, TroubleNarrowed, TroubleReported, WatchSet, Weather,
};
pub use recovery::{CrossingMadeGood, LineOrderedUp, ReelReturned, SectionTakenUp, WireFate, WireLost};

/// Most positions in one trace report.
pub const MOST_POSITIONS_A_REPORT: usize = 1_000;

/// A clock farther off than this is no clock: a hundred years of milliseconds.
const MOST_CLOCK_OFFSET_MS: i64 = 100 * 366 * 24 * 60 * 60 * 1_000;

/// Most ticks in one report.
const MOST_TICKS: usize = 20;

fn ticks<'de, D: Deserializer<'de>>(deserializer: D) -> Result<Vec<String>, D::Error> {
    let ticks = Vec::<String>::deserialize(deserializer)?;
    if ticks.len() > MOST_TICKS {
        return Err(D::Error::custom(format!("{} items are ticked, more than {MOST_TICKS}", ticks.len())));
    }
    Ok(ticks)
}

/// A list that is neither too short nor too long.
fn bounded<'de, T: Deserialize<'de>, D: Deserializer<'de>, const LEAST: usize, const MOST: usize>(
    deserializer: D,
) -> Result<Vec<T>, D::Error> {
    let list = Vec::<T>::deserialize(deserializer)?;
    if (LEAST..=MOST).contains(&list.len()) {
        Ok(list)
    } else {
        Err(D::Error::custom(format!("the list has {} entries; give {LEAST} to {MOST}", list.len())))
    }
}

/// How far a device's clock is ahead of the service's; negative when it is behind. A device measures it whenever the
/// service answers: what it wrote down while its clock was wrong keeps the time it showed, and this puts it right.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(try_from = "i64")]
#[schema(value_type = i64, minimum = -3_162_240_000_000_i64, maximum = 3_162_240_000_000_i64)]
pub struct ClockOffset(i64);

/// Why a clock's offset was not taken.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error("a clock is not {0} ms off: leave it out where it was not measured")]
pub struct ClockOffsetError(i64);

impl ClockOffset {
    /// Checks the offset, in milliseconds.
    ///
    /// # Errors
    /// When it is more than a hundred years.
    pub fn new(ms: i64) -> Result<Self, ClockOffsetError> {
        if (-MOST_CLOCK_OFFSET_MS..=MOST_CLOCK_OFFSET_MS).contains(&ms) {
            Ok(Self(ms))
        } else {
            Err(ClockOffsetError(ms))
        }
    }

    /// The offset in milliseconds.
    #[must_use]
    pub fn ms(self) -> i64 {
        self.0
    }
}

impl TryFrom<i64> for ClockOffset {
    type Error = ClockOffsetError;
    fn try_from(ms: i64) -> Result<Self, ClockOffsetError> {
        Self::new(ms)
    }
}

/// One report.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct Report {
    /// Made on the device, UUID version 7; the same report sent again has the same id.
    pub id: ReportId,
    /// The device's time, right or wrong.
    pub at: DateTime<Utc>,
    /// How far the device's clock was ahead of the service's, where that was measured: `at` less this is when it happened.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub clock_offset_ms: Option<ClockOffset>,
    /// Who made it, where the command post sends it for a team whose own device could not.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub made_by: Option<Sender>,
    /// Where the device was, if it knew.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub position: Option<Position>,
    /// What happened.
    pub body: Body,
}

/// What happened.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(tag = "kind", rename_all = "snake_case")]
pub enum Body {
    /// A line was drawn on the map.
    LinePlanned(LinePlanned),
    /// Laying began.
    LineStarted(OnLine),
    /// The laid trace grew.
    TraceExtended(TraceExtended),
    /// A reel was begun.
    ReelStarted(ReelStarted),
    /// Two ends were spliced.
    SpliceMade(SpliceMade),
    /// A crossing is to be expected.
    CrossingForeseen(CrossingMarked),
    /// A crossing was seen and named.
    CrossingMarked(CrossingMarked),
    /// The wire is over and talking.
    CrossingPassed(CrossingPassed),
    /// The command post gave the crossing to a follow-up team to finish, or took it from it.
    CrossingGivenOut(CrossingGivenOut),
    /// A team took the crossing in hand.
    CrossingTaken(OnCrossing),
    /// The team gave it back, or the command post freed it.
    CrossingGivenBack(CrossingGivenBack),
    /// The crossing is safe from traffic, water and weather.
    CrossingFinished(CrossingFinished),
    /// The crossing was tested after it was finished.
    CrossingProved(OnCrossing),
    /// It is no crossing.
    CrossingStruckOut(CrossingStruckOut),
    /// A call over the wire was good.
    CallBackGood(CallBackGood),
    /// The line was tested over its whole length.
    LineProved(LineProved),
    /// A plan was issued: the line's trace is the plan's from now on.
    PlanIssued(PlanIssued),
    /// The line was handed to the switchboard's crew.
    LineHandedOver(LineHandedOver),
    /// A test was made over the wire.
    TestMade(TestMade),
    /// A telephone and a person were left at the line.
    WatchSet(WatchSet),
    /// Something is wrong with the line.
    TroubleReported(TroubleReported),
    /// Something was learned of where the trouble is.
    TroubleNarrowed(TroubleNarrowed),
    /// The trouble is cleared.
    TroubleCleared(TroubleCleared),
    /// The line shall be taken up.
    LineOrderedUp(LineOrderedUp),
    /// A section was taken up.
    SectionTakenUp(SectionTakenUp),
    /// A crossing's place was made good again.
    CrossingMadeGood(CrossingMadeGood),
    /// Wire does not come back.
    WireLost(WireLost),
    /// What was left on a reel came back.
    ReelReturned(ReelReturned),
    /// An earlier report was wrong.
    Correction(Correction),
    /// A remark.
    Note(Note),
}

/// A line.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct OnLine {
    /// The line.
    pub line: LineId,
}

/// A crossing.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct OnCrossing {
    /// The crossing.
    pub crossing: CrossingId,
}

/// A line drawn on the map.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct LinePlanned {
    /// The line's id, made by who plans it.
    pub line: LineId,
    /// Its number, the same from end to end.
    pub designation: Designation,
    /// The near end.
    pub from: Name,
    /// The far end.
    pub to: Name,
    /// Where it shall go.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub trace: Option<Trace>,
}

/// A saved plan given to the lead team. The crossings that it foresees, and those of an earlier plan that it has no more,
/// follow as reports of their own.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct PlanIssued {
    /// The line.
    pub line: LineId,
    /// Which of its plans.
    pub plan: PlanVersion,
    /// Where the wire shall go.
    pub trace: Trace,
}

/// More of the laid trace.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct TraceExtended {
    /// The line.
    pub line: LineId,
    /// Where the wire lies, onward from the laying head: 1 to 1,000 positions.
    #[schema(min_items = 1, max_items = 1000)]
    pub positions: Vec<Position>,
}

/// A reel begun.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct ReelStarted {
    /// The line.
    pub line: LineId,
    /// The reel.
    pub reel: ReelId,
    /// What is written on it.
    pub label: Name,
    /// The wire on it.
    pub length_m: Metres,
}

/// A splice.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct SpliceMade {
    /// The line.
    pub line: LineId,
    /// Where along the line; left out: where the device was, or else at the laying head.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub chainage_m: Option<Metres>,
}

/// A crossing seen and named.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct CrossingMarked {
    /// The crossing's id; a foreseen crossing that is now marked keeps its own.
    pub crossing: CrossingId,
    /// The line.
    pub line: LineId,
    /// Where it is.
    pub position: Position,
    /// What is crossed.
    pub obstacle: Obstacle,
    /// Whether the surface is too hard to dig; left out: made roads are, the rest is not.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub hard_surface: Option<bool>,
    /// How it will be crossed. A foreseen crossing may leave it open.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub construction: Option<Construction>,
    /// Height of the wire's lowest point over the surface or the highest water, for an overhead crossing.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub clearance_m: Option<Metres>,
    /// Distance between the ties, for an overhead crossing.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub span_m: Option<Metres>,
    /// Why it shall be crossed so, where the chief or the team chose otherwise than the rules propose.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub because: Option<Remark>,
}

/// The wire got over.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct CrossingPassed {
    /// The crossing.
    pub crossing: CrossingId,
    /// Whether the wire was left where no traffic reaches it.
    pub clear_of_traffic: bool,
    /// Height of the wire's lowest point, where it was hung up at once.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub clearance_m: Option<Metres>,
    /// Items of the lead team's list that were done.
    #[serde(default, deserialize_with = "ticks")]
    #[schema(max_items = 20)]
    pub done: Vec<String>,
}

/// A crossing given out: whose round it belongs to. Any team may still take it in hand.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct CrossingGivenOut {
    /// The crossing.
    pub crossing: CrossingId,
    /// To which team, and its place in the team's round; left out: to nobody any more.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub to: Option<GivenTo>,
}

/// A crossing given back.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct CrossingGivenBack {
    /// The crossing.
    pub crossing: CrossingId,
    /// Why, and what the next team should know.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub because: Option<Remark>,
}

/// A crossing finished.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct CrossingFinished {
    /// The crossing.
    pub crossing: CrossingId,
    /// How it was built in the end, when that is not what was marked.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub construction: Option<Construction>,
    /// Height of the wire's lowest point over the surface or the highest water, for an overhead crossing.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub clearance_m: Option<Metres>,
    /// Depth of the wire, for a buried crossing.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub depth_m: Option<Metres>,
    /// Items of the finishing list that were done: all of them.
    #[serde(default, deserialize_with = "ticks")]
    #[schema(max_items = 20)]
    pub done: Vec<String>,
}

/// A crossing struck out.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct CrossingStruckOut {
    /// The crossing.
    pub crossing: CrossingId,
    /// Why it is none.
    pub because: Remark,
}

/// A good call.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct CallBackGood {
    /// The line.
    pub line: LineId,
    /// Whether it was made from the far end: then the line is through.
    pub from_far_end: bool,
    /// Where along the line it was made; left out: where the device was, or else at the laying head.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub chainage_m: Option<Metres>,
}

/// An earlier report was wrong. The entry stays as it is; this one says what should stand in its place.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct Correction {
    /// The report that was wrong.
    pub corrects: ReportId,
    /// What stands in its place, of the same kind and on the same thing; left out: it never happened.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schema(no_recursion)]
    pub instead: Option<Box<Body>>,
    /// Why.
    pub because: Remark,
}

/// A remark.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct Note {
    /// The line that it is about.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub line: Option<LineId>,
    /// The crossing that it is about.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub crossing: Option<CrossingId>,
    /// The number of an earlier entry that it is about.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schema(minimum = 1)]
    pub about: Option<i64>,
    /// The remark.
    pub text: Remark,
}

macro_rules! kinds {
    ($($name:ident = $wire:literal, $words:literal;)*) => {
        /// What a report is about, without its particulars.
        #[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize, ToSchema)]
        #[serde(rename_all = "snake_case")]
        pub enum Kind {
            $(#[doc = $words] $name,)*
        }

        impl Kind {
            /// Every kind.
            pub const ALL: [Self; [$($wire),*].len()] = [$(Self::$name),*];

            /// The name in the database and on the wire.
            #[must_use]
            pub fn as_str(self) -> &'static str {
                match self { $(Self::$name => $wire,)* }
            }

            /// The words for a person.
            #[must_use]
            pub fn words(self) -> &'static str {
                match self { $(Self::$name => $words,)* }
            }
        }

        impl Body {
            /// What it is about.
            #[must_use]
            pub fn kind(&self) -> Kind {
                match self { $(Self::$name(_) => Kind::$name,)* }
            }
        }
    };
}

kinds! {
    LinePlanned = "line_planned", "line planned";
    LineStarted = "line_started", "line started";
    TraceExtended = "trace_extended", "trace extended";
    ReelStarted = "reel_started", "reel started";
    SpliceMade = "splice_made", "splice made";
    CrossingForeseen = "crossing_foreseen", "crossing foreseen";
    CrossingMarked = "crossing_marked", "crossing marked";
    CrossingPassed = "crossing_passed", "crossing passed";
    CrossingGivenOut = "crossing_given_out", "crossing given out";
    CrossingTaken = "crossing_taken", "crossing taken in hand";
    CrossingGivenBack = "crossing_given_back", "crossing given back";
    CrossingFinished = "crossing_finished", "crossing finished";
    CrossingProved = "crossing_proved", "crossing proved";
    CrossingStruckOut = "crossing_struck_out", "crossing struck out";
    CallBackGood = "call_back_good", "call-back good";
    LineProved = "line_proved", "line proved";
    PlanIssued = "plan_issued", "plan issued";
    LineHandedOver = "line_handed_over", "line handed over";
    TestMade = "test_made", "test made";
    WatchSet = "watch_set", "watch set";
    TroubleReported = "trouble_reported", "trouble reported";
    TroubleNarrowed = "trouble_narrowed", "trouble narrowed";
    TroubleCleared = "trouble_cleared", "trouble cleared";
    LineOrderedUp = "line_ordered_up", "line ordered up";
    SectionTakenUp = "section_taken_up", "section taken up";
    CrossingMadeGood = "crossing_made_good", "crossing made good";
    WireLost = "wire_lost", "wire lost";
    ReelReturned = "reel_returned", "reel returned";
    Correction = "correction", "correction";
    Note = "note", "note";
}

impl std::fmt::Display for Kind {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str(self.words())
    }
}

/// What a report speaks of. A correction speaks of whatever the report that it corrects spoke of.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Subject {
    /// A line.
    Line(LineId),
    /// A crossing, and its line where the report names it.
    Crossing(CrossingId, Option<LineId>),
    /// An earlier report.
    Report(ReportId),
    /// The operation as a whole.
    Operation,
}

impl Body {
    /// What it speaks of.
    #[must_use]
    pub fn subject(&self) -> Subject {
        match self {
            Self::LinePlanned(b) => Subject::Line(b.line),
            Self::LineStarted(b) => Subject::Line(b.line),
            Self::LineProved(b) => Subject::Line(b.line),
            Self::TestMade(b) => Subject::Line(b.line),
            Self::WatchSet(b) => Subject::Line(b.line),
            Self::TroubleReported(b) => Subject::Line(b.line),
            Self::TroubleNarrowed(b) => Subject::Line(b.line),
            Self::TroubleCleared(b) => Subject::Line(b.line),
            Self::LineOrderedUp(b) => Subject::Line(b.line),
            Self::SectionTakenUp(b) => Subject::Line(b.line),
            Self::WireLost(b) => Subject::Line(b.line),
            Self::ReelReturned(b) => Subject::Line(b.line),
            Self::CrossingMadeGood(b) => Subject::Crossing(b.crossing, None),
            Self::TraceExtended(b) => Subject::Line(b.line),
            Self::ReelStarted(b) => Subject::Line(b.line),
            Self::SpliceMade(b) => Subject::Line(b.line),
            Self::CallBackGood(b) => Subject::Line(b.line),
            Self::LineHandedOver(b) => Subject::Line(b.line),
            Self::PlanIssued(b) => Subject::Line(b.line),
            Self::CrossingForeseen(b) | Self::CrossingMarked(b) => {
                Subject::Crossing(b.crossing, Some(b.line))
            }
            Self::CrossingPassed(b) => Subject::Crossing(b.crossing, None),
            Self::CrossingTaken(b) | Self::CrossingProved(b) => Subject::Crossing(b.crossing, None),
            Self::CrossingGivenBack(b) => Subject::Crossing(b.crossing, None),
            Self::CrossingGivenOut(b) => Subject::Crossing(b.crossing, None),
            Self::CrossingFinished(b) => Subject::Crossing(b.crossing, None),
            Self::CrossingStruckOut(b) => Subject::Crossing(b.crossing, None),
            Self::Correction(b) => Subject::Report(b.corrects),
            Self::Note(b) => match (b.crossing, b.line) {
                (Some(crossing), line) => Subject::Crossing(crossing, line),
                (None, Some(line)) => Subject::Line(line),
                (None, None) => Subject::Operation,
            },
        }
    }
}

/// A report as it stands in the wire log.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct Entry {
    /// Its number in the operation's log, from 1, without gaps.
    pub sequence: i64,
    /// Who sent it: whose pass it came with.
    pub by: Sender,
    /// When the service took it in.
    pub received_at: DateTime<Utc>,
    /// What was reported.
    pub report: Report,
}

impl Entry {
    /// When it happened: the device's time, put right where its clock was known to be off, but never later than it was
    /// taken in.
    #[must_use]
    pub fn happened_at(&self) -> DateTime<Utc> {
        let offset = self.report.clock_offset_ms.map_or(0, ClockOffset::ms);
        let right = self.report.at.checked_sub_signed(TimeDelta::milliseconds(offset));
        right.unwrap_or(self.report.at).min(self.received_at)
    }

    /// Whose work it is: who made the report, which is not who sent it where the command post sends for a team.
    #[must_use]
    pub fn maker(&self) -> &Sender {
        self.report.made_by.as_ref().unwrap_or(&self.by)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_report_reads_as_it_was_written_and_an_unknown_field_is_refused() {
        let text = r#"{"id":"01920000-0000-7000-8000-000000000001","at":"2026-05-04T08:00:00Z","position":[-4.6,54.1],
            "body":{"kind":"crossing_passed","crossing":"01920000-0000-7000-8000-000000000002","clear_of_traffic":false,
            "done":["tags"]}}"#;
        let report: Report = serde_json::from_str(text).unwrap();
        assert_eq!(report.body.kind(), Kind::CrossingPassed);
        let again: Report = serde_json::from_str(&serde_json::to_string(&report).unwrap()).unwrap();
        assert_eq!(report, again);
        assert!(serde_json::from_str::<Report>(&text.replace("\"done\"", "\"dune\"")).is_err());
        assert!(serde_json::from_str::<Report>(&text.replace("\"at\"", "\"when\"")).is_err());
    }

    #[test]
    fn a_clock_that_is_off_is_put_right_and_both_times_stay() {
        let text = r#"{"sequence":1,"by":{"party":"lead_team","team":"Lead 1"},"received_at":"2026-05-04T09:00:00Z",
            "report":{"id":"01920000-0000-7000-8000-000000000001","at":"AT","clock_offset_ms":OFF,
            "body":{"kind":"note","text":"wet"}}}"#;
        let entry = |at: &str, off: &str| {
            serde_json::from_str::<Entry>(&text.replace("AT", at).replace("OFF", off)).unwrap()
        };
        // Three years and a day ahead, a day behind, and right; the last is told before it can have happened.
        for (at, off, happened) in [
            ("2029-05-05T08:30:00Z", "94780800000", "2026-05-04T08:30:00Z"),
            ("2026-05-03T08:30:00Z", "-86400000", "2026-05-04T08:30:00Z"),
            ("2026-05-04T08:30:00Z", "0", "2026-05-04T08:30:00Z"),
            ("2026-05-04T08:30:00Z", "null", "2026-05-04T08:30:00Z"),
            ("2031-01-01T00:00:00Z", "null", "2026-05-04T09:00:00Z"),
        ] {
            let entry = entry(at, off);
            assert_eq!(entry.happened_at(), happened.parse::<DateTime<Utc>>().unwrap(), "{at} {off}");
            assert_eq!(entry.report.at, at.parse::<DateTime<Utc>>().unwrap());
        }
        assert!(ClockOffset::new(MOST_CLOCK_OFFSET_MS).is_ok());
        assert!(ClockOffset::new(MOST_CLOCK_OFFSET_MS + 1).is_err());
        assert!(ClockOffset::new(i64::MIN).is_err());
    }

    #[test]
    fn names_on_the_wire_are_the_bodies_tags() {
        for kind in Kind::ALL {
            assert_eq!(serde_json::to_string(&kind).unwrap(), format!("\"{}\"", kind.as_str()));
        }
    }
}
