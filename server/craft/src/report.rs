//! Reports: the only thing that changes an installation. A report is made on a device, has an id from there, and
//! says one thing that happened. Here is what may be said; whether it may stand is decided in
//! [`crate::installation`].

use chrono::{DateTime, Utc};
use serde::{Deserialize, Deserializer, Serialize, de::Error};
use utoipa::ToSchema;

use crate::{
    construction::Construction,
    geodesy::Position,
    ids::{CrossingId, LineId, ReelId, ReportId},
    line::Designation,
    obstacle::Obstacle,
    party::Sender,
    text::{Name, Remark},
    trace::Trace,
    units::Metres,
};

/// Most positions in one trace report.
pub const MOST_POSITIONS_A_REPORT: usize = 1_000;

/// Most ticks in one report.
const MOST_TICKS: usize = 20;

fn ticks<'de, D: Deserializer<'de>>(deserializer: D) -> Result<Vec<String>, D::Error> {
    let ticks = Vec::<String>::deserialize(deserializer)?;
    if ticks.len() > MOST_TICKS {
        return Err(D::Error::custom(format!("{} items are ticked, more than {MOST_TICKS}", ticks.len())));
    }
    Ok(ticks)
}

/// One report.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct Report {
    /// Made on the device, UUID version 7; the same report sent again has the same id.
    pub id: ReportId,
    /// The device's time.
    pub at: DateTime<Utc>,
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
    LineProved(OnLine),
    /// The line was handed to the switchboard's crew.
    LineHandedOver(LineHandedOver),
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

/// A line handed over.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct LineHandedOver {
    /// The line.
    pub line: LineId,
    /// Who took it.
    pub to: Name,
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
    CrossingTaken = "crossing_taken", "crossing taken in hand";
    CrossingGivenBack = "crossing_given_back", "crossing given back";
    CrossingFinished = "crossing_finished", "crossing finished";
    CrossingProved = "crossing_proved", "crossing proved";
    CrossingStruckOut = "crossing_struck_out", "crossing struck out";
    CallBackGood = "call_back_good", "call-back good";
    LineProved = "line_proved", "line proved";
    LineHandedOver = "line_handed_over", "line handed over";
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
            Self::LineStarted(b) | Self::LineProved(b) => Subject::Line(b.line),
            Self::TraceExtended(b) => Subject::Line(b.line),
            Self::ReelStarted(b) => Subject::Line(b.line),
            Self::SpliceMade(b) => Subject::Line(b.line),
            Self::CallBackGood(b) => Subject::Line(b.line),
            Self::LineHandedOver(b) => Subject::Line(b.line),
            Self::CrossingForeseen(b) | Self::CrossingMarked(b) => {
                Subject::Crossing(b.crossing, Some(b.line))
            }
            Self::CrossingPassed(b) => Subject::Crossing(b.crossing, None),
            Self::CrossingTaken(b) | Self::CrossingProved(b) => Subject::Crossing(b.crossing, None),
            Self::CrossingGivenBack(b) => Subject::Crossing(b.crossing, None),
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
    /// Who sent it.
    pub by: Sender,
    /// When the service took it in.
    pub received_at: DateTime<Utc>,
    /// What was reported.
    pub report: Report,
}

impl Entry {
    /// When it happened: the device's time, but never later than it was taken in.
    #[must_use]
    pub fn happened_at(&self) -> DateTime<Utc> {
        self.report.at.min(self.received_at)
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
    fn names_on_the_wire_are_the_bodies_tags() {
        for kind in Kind::ALL {
            assert_eq!(serde_json::to_string(&kind).unwrap(), format!("\"{}\"", kind.as_str()));
        }
    }
}
