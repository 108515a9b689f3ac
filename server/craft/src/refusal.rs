//! Why a report may not stand: the rule, with the figures that a person needs to put it right.

use chrono::{DateTime, Utc};
use serde::Serialize;
use utoipa::ToSchema;

use crate::{
    construction::Construction,
    crossing::CrossingState,
    line::{Designation, LineState},
    obstacle::Obstacle,
    party::Party,
    report::Kind,
    text::Name,
    units::Metres,
};

/// The rule that a report breaks. The text of each says what is wrong and what to do.
#[derive(Debug, Clone, PartialEq, Serialize, ToSchema, thiserror::Error)]
#[serde(tag = "rule", rename_all = "snake_case")]
pub enum Refusal {
    /// The party may not say this.
    #[error("The {party} does not report \"{}\": ask the party whose work it is.", report.words())]
    NotYours {
        /// The party.
        party: Party,
        /// What it wanted to report.
        report: Kind,
    },
    /// Only the command post sends for others.
    #[error(
        "{team} made this report: it goes out with a pass of {team}, or the command post sends it for them."
    )]
    NotInYourName {
        /// Who made it.
        team: Name,
    },
    /// No such line.
    #[error("There is no such line in this operation: reload the page and choose the line again.")]
    NoSuchLine,
    /// No such crossing.
    #[error(
        "There is no such crossing in this operation or on this line: choose it again, or mark it first."
    )]
    NoSuchCrossing,
    /// The id stands for another thing already.
    #[error("This id is in use for something else: make a new one and send again.")]
    IdInUse,
    /// The number is in use.
    #[error("Line {designation} exists already: a number is used once in an operation.")]
    DesignationInUse {
        /// The number.
        designation: Designation,
    },
    /// The line is not in a state for this.
    #[error("Line {designation} is {state}: {need}.")]
    LineState {
        /// The line's number.
        designation: Designation,
        /// Its state.
        state: LineState,
        /// What has to be so first.
        need: String,
    },
    /// The crossing is not in a state for this.
    #[error("This crossing is {state}: {need}.")]
    CrossingState {
        /// Its state.
        state: CrossingState,
        /// What has to be so first.
        need: String,
    },
    /// Another team has it.
    #[error("{team} has had this crossing in hand since {}: choose another, or ask the command post to free it.", since.format("%H:%M UTC"))]
    InHandOf {
        /// The team.
        team: Name,
        /// Since when.
        since: DateTime<Utc>,
    },
    /// Nobody has it.
    #[error("Nobody has this crossing in hand: there is nothing to give back.")]
    NotInHand,
    /// Crossings are named but not passed.
    #[error(
        "On line {designation} nobody has reported {count} of the crossings passed, the first at {first_chainage_m} along: report \
         them passed, or strike them out, and then the call."
    )]
    NotPassed {
        /// The line's number.
        designation: Designation,
        /// How many.
        count: usize,
        /// Where the first is.
        first_chainage_m: Metres,
    },
    /// An overhead crossing of a railway.
    #[error(
        "Never over a railway: {construction} is refused. Go under the rails, between two ties, with the railway's leave."
    )]
    OverheadOverRailway {
        /// What was asked.
        construction: Construction,
    },
    /// The construction does not suit the obstacle.
    #[error("A {obstacle} is not crossed this way ({construction}): {why}; {instead}.")]
    ConstructionNotAllowed {
        /// The obstacle.
        obstacle: Obstacle,
        /// What was asked.
        construction: Construction,
        /// Why not.
        why: String,
        /// What to do.
        instead: String,
    },
    /// No construction was said.
    #[error("Say how the {obstacle} is crossed.")]
    ConstructionNeeded {
        /// The obstacle.
        obstacle: Obstacle,
    },
    /// The wire hangs too low.
    #[error(
        "The wire hangs at {given_m} and a {obstacle} asks for at least {least_m}: raise it and measure again."
    )]
    TooLow {
        /// The obstacle.
        obstacle: Obstacle,
        /// The height reported.
        given_m: Metres,
        /// The least height.
        least_m: Metres,
    },
    /// Nobody measured the height.
    #[error(
        "Measure the height of the wire's lowest point over the {obstacle} and report it: at least {least_m}."
    )]
    HeightNeeded {
        /// The obstacle.
        obstacle: Obstacle,
        /// The least height.
        least_m: Metres,
    },
    /// The wire touches the highest water.
    #[error("The wire hangs {given_m} over the highest water: it must hang clear of it.")]
    InTheWater {
        /// The height reported.
        given_m: Metres,
    },
    /// The trench is too shallow.
    #[error("The wire lies {given_m} deep and must lie at least {least_m} deep: dig deeper.")]
    TooShallow {
        /// The depth reported.
        given_m: Metres,
        /// The least depth.
        least_m: Metres,
    },
    /// Nobody measured the depth.
    #[error("Measure the depth of the wire and report it: at least {least_m}.")]
    DepthNeeded {
        /// The least depth.
        least_m: Metres,
    },
    /// A figure that no such thing has.
    #[error("{what} of {given_m} is out of range, {least_m} to {most_m}: check the figure.")]
    OutOfRange {
        /// What was measured.
        what: &'static str,
        /// The figure reported.
        given_m: Metres,
        /// The least.
        least_m: Metres,
        /// The most.
        most_m: Metres,
    },
    /// A ladder is not lasting.
    #[error(
        "A ladder lies in traffic and is no finished crossing: replace it, and report the construction that took its place."
    )]
    LadderIsTemporary,
    /// The finishing list has items left.
    #[error("Not finished yet. Still to do: {}.", texts.join("; "))]
    ListNotDone {
        /// The items' ids.
        missing: Vec<String>,
        /// The items' texts.
        texts: Vec<String>,
    },
    /// The list has no such item.
    #[error("\"{item}\" is not on the list for this crossing: reload the page and tick again.")]
    NoSuchItem {
        /// What was ticked.
        item: String,
    },
    /// A splice where none may be.
    #[error(
        "A splice at {chainage_m} falls inside the span over the stream, from {from_m} to {to_m}: a span carries unbroken wire. Splice \
         outside it."
    )]
    SpliceInSpan {
        /// Where the splice is.
        chainage_m: Metres,
        /// Where the span begins.
        from_m: Metres,
        /// Where it ends.
        to_m: Metres,
    },
    /// The splice lies beyond the wire.
    #[error(
        "No wire lies at {chainage_m}: it goes from 0 to {laid_m}. Check the figure, or report the trace first."
    )]
    BeyondTheWire {
        /// What was said.
        chainage_m: Metres,
        /// Where the wire ends.
        laid_m: Metres,
    },
    /// The trace makes a leap.
    #[error("The trace leaps {distance_m} to its next position, more than {most_m}: check the position.")]
    TraceLeaps {
        /// The leap.
        distance_m: Metres,
        /// The most.
        most_m: Metres,
    },
    /// The trace grew too long to hold.
    #[error("{what}")]
    TraceNotTaken {
        /// What is wrong with it.
        what: String,
    },
    /// The crossing is far from the line.
    #[error("This place is {distance_m} from the line, more than {most_m}: check the line and the position.")]
    FarFromLine {
        /// How far.
        distance_m: Metres,
        /// The most.
        most_m: Metres,
    },
    /// There is no such report.
    #[error("There is no such report in this operation's log: reload the page and choose the report again.")]
    NoSuchReport,
    /// It cannot be corrected by withdrawing.
    #[error("The report \"{}\" is not withdrawn: {instead}.", report.words())]
    NotWithdrawn {
        /// What it was.
        report: Kind,
        /// What to do.
        instead: String,
    },
    /// The replacement speaks of something else.
    #[error("A correction says the same thing right: report \"{}\" on the same line or crossing.", report.words())]
    OtherSubject {
        /// What it must be.
        report: Kind,
    },
    /// The final test says that the line is not good.
    #[error("Line {designation} is not proved by this test. {} Find the trouble and test again.", words.join(" "))]
    NotGood {
        /// The line's number.
        designation: Designation,
        /// What is wrong, with the figures.
        words: Vec<String>,
    },
    /// A reading that cannot be.
    #[error("This reading cannot stand: {what}. Read again.")]
    Reading {
        /// What is wrong with it.
        what: String,
    },
    /// The line was alive when it was tested last.
    #[error(
        "Line {designation} is not confirmed dead: {team} had life on it at {}. Confirm its number and its owner, test it once more, \
         and report the test before it is ordered up.", at.format("%H:%M UTC")
    )]
    StillAlive {
        /// The line's number.
        designation: Designation,
        /// Who tested it.
        team: Name,
        /// When.
        at: DateTime<Utc>,
    },
    /// A stretch that ends before it begins.
    #[error("The stretch goes from {from_m} to {to_m}: give its near end first, and its far end beyond it.")]
    NoStretch {
        /// Its near end as given.
        from_m: Metres,
        /// Its far end as given.
        to_m: Metres,
    },
    /// More than a line's record holds.
    #[error(
        "Line {designation} has {most} {what} on record, which is the most: put what follows into a note."
    )]
    RecordFull {
        /// The line's number.
        designation: Designation,
        /// What there is too much of.
        what: &'static str,
        /// The most.
        most: usize,
    },
    /// Only who sent it, or the command post, may correct it.
    #[error("{team} sent that report: only {team} or the command post may correct it.")]
    NotYourReport {
        /// Who sent it.
        team: Name,
    },
    /// Something later rests on it.
    #[error("Entry {sequence} ({}) rests on that report and could not stand without it: {because} Correct that one first.", report.words())]
    RestsOnIt {
        /// The later entry.
        sequence: i64,
        /// What it was.
        report: Kind,
        /// Why it could not stand.
        because: String,
    },
}
