//! An operation played again: every change of every line and crossing, with the number of the entry that made it, so that a
//! page shows any moment without asking. A moment is the log as it stood after an entry: a correction alters what is shown
//! from its own number on and nothing before. The log is folded once, by [`crate::installation`]'s own rules, line by line; what is
//! kept lies in arrays that are searched by halving.

mod making;

use chrono::{DateTime, Utc};
use serde::{Serialize, Serializer};
use utoipa::ToSchema;

use crate::{
    bounds::NoAnswer,
    construction::Construction,
    crossing::CrossingState,
    geodesy::Position,
    ids::{CrossingId, LineId},
    installation::Broken,
    line::{Designation, LineState},
    obstacle::Obstacle,
    party::Party,
    plan::PlanVersion,
    profile::Profile,
    proving::TroubleStretch,
    report::{Entry, Kind, WireFate},
    text::Name,
    trace::Trace,
    units::Metres,
};

/// Positions of planned and laid traces that one replay holds, the most. Those that a correction lays anew count again.
pub const MOST_POSITIONS: usize = 300_000;
/// Work that the making of a replay may take, the most, in positions that are compared in the same time: some four seconds.
/// An entry is a [`STEP`] and each position that it lays a [`POSITION`]; a correction is all that for each entry of its line
/// from the corrected one on, and each position of the line's laid trace one more.
const MOST_WORK: u64 = 3_000_000_000;
/// A step's work: an entry is added up and taken back in some 2.4 µs.
const STEP: u64 = 2_000;
/// The work of laying a position: its distance from the last is reckoned twice.
const POSITION: u64 = 1_000;

/// Why there is no replay.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum Error {
    /// The log breaks a rule.
    #[error(transparent)]
    Broken(#[from] Broken),
    /// Too many positions.
    #[error("the traces have more than {MOST_POSITIONS} positions: export the log, and look at it in parts")]
    TooManyPositions,
    /// Too many corrections on lines that are too long.
    #[error("too much of the log is corrected to be played again: export it, and look at it in parts")]
    TooMuchWork,
}

impl NoAnswer for Error {
    fn field(&self) -> Option<String> {
        None
    }
}

/// A team, as the arrays number it from 0.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, ToSchema)]
pub struct ReplayTeam {
    /// Its call sign.
    pub team: Name,
    /// Its party; null for one that has reported nothing.
    #[schema(required = true)]
    pub party: Option<Party>,
}

/// The entries, a column each and a row an entry.
#[derive(Debug, Clone, Default, PartialEq, Serialize, ToSchema)]
pub struct ReplayEntries {
    /// Their numbers, ascending.
    pub sequence: Vec<i64>,
    /// When each was taken in, in milliseconds after `from`.
    pub received_ms: Vec<i64>,
    /// When it happened, in milliseconds after `from`; below 0 where it happened before.
    pub happened_ms: Vec<i64>,
    /// Its place in `kinds`.
    pub kind: Vec<u32>,
    /// The place in `lines` of the line that it is about; null for none. A correction is about what it corrects.
    pub line: Vec<Option<u32>>,
    /// The place in `crossings` of the crossing that it is about; null for none.
    pub crossing: Vec<Option<u32>>,
    /// The place in `teams` of who made it.
    pub team: Vec<u32>,
}

/// An entry that corrects another.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, ToSchema)]
pub struct ReplayCorrection {
    /// The correction's number.
    pub sequence: i64,
    /// The number of what it corrects.
    pub corrects: i64,
}

/// What a line is called and where it shall go, from an entry on.
#[derive(Debug, Clone, PartialEq, Serialize, ToSchema)]
pub struct ReplayPlan {
    /// The entry.
    pub sequence: i64,
    /// Its number.
    pub designation: Designation,
    /// The near end.
    pub from: Name,
    /// The far end.
    pub to: Name,
    /// Which of its saved plans; null where it was only drawn.
    #[schema(required = true)]
    pub plan: Option<PlanVersion>,
    /// Where it shall go.
    #[schema(required = true)]
    pub trace: Option<Trace>,
}

/// How a line stands, from an entry on.
#[derive(Debug, Clone, PartialEq, Serialize, ToSchema)]
pub struct ReplayLineChange {
    /// The entry.
    pub sequence: i64,
    /// How far it has come.
    pub state: LineState,
    /// The place in `teams` of the team that lays it.
    #[schema(required = true)]
    pub team: Option<u32>,
    /// The stretch that is left to search for a trouble that is not cleared; null when there is none.
    #[schema(required = true)]
    pub trouble: Option<TroubleStretch>,
    /// Whether nobody can speak over it.
    pub silent: bool,
    /// Whether it is ordered up.
    pub ordered_up: bool,
    /// Reels begun.
    pub reels: usize,
    /// Splices made.
    pub splices: usize,
}

/// Where a line's wire lies, a row from each entry on that changes it: `positions[begins..ends]`, the end not included. It grows
/// at its end; what a correction alters is laid anew behind all the rest.
#[derive(Debug, Clone, Default, PartialEq, Serialize, ToSchema)]
pub struct ReplayLaid {
    /// The entries, ascending.
    pub sequence: Vec<i64>,
    /// Where in `positions` the wire begins.
    pub begins: Vec<u32>,
    /// Where in `positions` it ends.
    pub ends: Vec<u32>,
    /// How long it is, in metres; written to the millimetre.
    #[serde(serialize_with = "to_the_millimetre")]
    pub length_m: Vec<Metres>,
    /// The positions.
    pub positions: Vec<Position>,
}

/// A screen shows no more, and a long log's weight is lengths.
fn to_the_millimetre<S: Serializer>(lengths: &[Metres], serializer: S) -> Result<S::Ok, S::Error> {
    serializer.collect_seq(lengths.iter().map(|length| (length.value() * 1_000.0).round() / 1_000.0))
}

/// A piece of a line that came up, or never will.
#[derive(Debug, Clone, PartialEq, Serialize, ToSchema)]
pub struct ReplayPiece {
    /// From which entry on.
    pub sequence: i64,
    /// From which entry on no more, where a correction took it back.
    #[schema(required = true)]
    pub until: Option<i64>,
    /// Where it begins, along the line.
    pub from_m: Metres,
    /// Where it ends.
    pub to_m: Metres,
    /// What became of wire that did not come back; null for what did.
    #[schema(required = true)]
    pub fate: Option<WireFate>,
}

/// A line, played again. In each of its arrays the last row with a number not above the moment's holds; before the first the
/// line is not there.
#[derive(Debug, Clone, PartialEq, Serialize, ToSchema)]
pub struct LineReplay {
    /// The line.
    pub line: LineId,
    /// What it is called and where it shall go.
    pub plans: Vec<ReplayPlan>,
    /// How it stands.
    pub changes: Vec<ReplayLineChange>,
    /// Where its wire lies.
    pub laid: ReplayLaid,
    /// What of it came up or never will.
    pub up: Vec<ReplayPiece>,
}

/// What a crossing is and where, from an entry on.
#[derive(Debug, Clone, PartialEq, Serialize, ToSchema)]
pub struct ReplayPlace {
    /// The entry.
    pub sequence: i64,
    /// Where it is.
    pub position: Position,
    /// How far along the line.
    pub chainage_m: Metres,
    /// What is crossed.
    pub obstacle: Obstacle,
    /// How; null where that is open.
    #[schema(required = true)]
    pub construction: Option<Construction>,
}

/// How far a crossing has come, a row from each entry on that changes it.
#[derive(Debug, Clone, Default, PartialEq, Serialize, ToSchema)]
pub struct ReplayStates {
    /// The entries, ascending.
    pub sequence: Vec<i64>,
    /// How far it has come.
    pub state: Vec<CrossingState>,
    /// The place in `teams` of who has it in hand.
    pub in_hand: Vec<Option<u32>>,
    /// The place in `teams` of whom it was given to.
    pub given_to: Vec<Option<u32>>,
    /// Whether wire lies where vehicles or trains run.
    pub in_traffic: Vec<bool>,
    /// How often it was told of by teams that did not know of each other.
    pub conflicts: Vec<usize>,
}

/// A crossing, played again. In each of its arrays the last row with a number not above the moment's holds; before the first the
/// crossing is not there.
#[derive(Debug, Clone, PartialEq, Serialize, ToSchema)]
pub struct CrossingReplay {
    /// The crossing.
    pub crossing: CrossingId,
    /// The place in `lines` of its line.
    pub line: u32,
    /// What it is and where.
    pub places: Vec<ReplayPlace>,
    /// How far it has come.
    pub states: ReplayStates,
}

/// An operation, played again.
#[derive(Debug, Clone, Default, PartialEq, Serialize, ToSchema)]
pub struct Replay {
    /// When the first entry was taken in: the entries' times are counted from it.
    #[schema(required = true)]
    pub from: Option<DateTime<Utc>>,
    /// Who reported, and who was given something.
    pub teams: Vec<ReplayTeam>,
    /// The kinds of the entries.
    pub kinds: Vec<Kind>,
    /// The entries.
    pub entries: ReplayEntries,
    /// Which of them correct others, in order.
    pub corrections: Vec<ReplayCorrection>,
    /// The lines, in the order in which they were planned.
    pub lines: Vec<LineReplay>,
    /// The crossings, in the order in which they were first told of.
    pub crossings: Vec<CrossingReplay>,
}

/// A line at a moment.
#[derive(Debug, Clone, PartialEq)]
pub struct LineMoment<'a> {
    /// The line.
    pub line: LineId,
    /// What it is called and where it shall go.
    pub plan: &'a ReplayPlan,
    /// How it stands.
    pub stands: &'a ReplayLineChange,
    /// Where its wire lies.
    pub laid: &'a [Position],
    /// How long that is.
    pub laid_length: Metres,
    /// What of it has come up or never will.
    pub up: Vec<&'a ReplayPiece>,
}

/// A crossing at a moment.
#[derive(Debug, Clone, PartialEq)]
pub struct CrossingMoment<'a> {
    /// The crossing.
    pub crossing: CrossingId,
    /// Its line.
    pub line: LineId,
    /// What it is and where.
    pub place: &'a ReplayPlace,
    /// How far it has come.
    pub state: CrossingState,
    /// Who has it in hand.
    pub in_hand: Option<&'a Name>,
    /// Whom it was given to.
    pub given_to: Option<&'a Name>,
    /// Whether wire lies in traffic.
    pub in_traffic: bool,
    /// How often it was told of by teams that did not know of each other.
    pub conflicts: usize,
}

/// The operation at a moment.
#[derive(Debug, Clone, PartialEq)]
pub struct Moment<'a> {
    /// The lines that were planned by then.
    pub lines: Vec<LineMoment<'a>>,
    /// The crossings that were told of by then.
    pub crossings: Vec<CrossingMoment<'a>>,
}

/// Plays a whole log again.
///
/// # Errors
/// An entry that breaks a rule at its place, more than [`MOST_POSITIONS`] positions, or too many corrections on long lines.
pub fn replay(entries: &[Entry], profile: &Profile) -> Result<Replay, Error> {
    making::Making::new(profile, MOST_WORK).of(entries)
}

/// The last row that holds after the entry with this number.
fn row(sequences: &[i64], sequence: i64) -> Option<usize> {
    sequences.partition_point(|&at| at <= sequence).checked_sub(1)
}

fn row_of<T>(rows: &[T], sequence: i64, of: impl Fn(&T) -> i64) -> Option<&T> {
    rows[..rows.partition_point(|row| of(row) <= sequence)].last()
}

impl LineReplay {
    fn at(&self, sequence: i64) -> Option<LineMoment<'_>> {
        let laid = row(&self.laid.sequence, sequence);
        let (begins, ends) =
            laid.map_or((0, 0), |row| (self.laid.begins[row] as usize, self.laid.ends[row] as usize));
        let there = |piece: &&ReplayPiece| {
            piece.sequence <= sequence && piece.until.is_none_or(|until| sequence < until)
        };
        Some(LineMoment {
            line: self.line,
            plan: row_of(&self.plans, sequence, |plan| plan.sequence)?,
            stands: row_of(&self.changes, sequence, |change| change.sequence)?,
            laid: &self.laid.positions[begins..ends],
            laid_length: laid.map_or(Metres::ZERO, |row| self.laid.length_m[row]),
            up: self.up.iter().filter(there).collect(),
        })
    }
}

impl Replay {
    /// The operation as the log had it after the entry with this number.
    #[must_use]
    pub fn at(&self, sequence: i64) -> Moment<'_> {
        Moment {
            lines: self.lines.iter().filter_map(|line| line.at(sequence)).collect(),
            crossings: self
                .crossings
                .iter()
                .filter_map(|crossing| self.crossing_at(crossing, sequence))
                .collect(),
        }
    }

    fn crossing_at<'a>(&'a self, crossing: &'a CrossingReplay, sequence: i64) -> Option<CrossingMoment<'a>> {
        let team = |team: Option<u32>| team.map(|team| &self.teams[team as usize].team);
        let at = row(&crossing.states.sequence, sequence)?;
        Some(CrossingMoment {
            crossing: crossing.crossing,
            line: self.lines[crossing.line as usize].line,
            place: row_of(&crossing.places, sequence, |place| place.sequence)?,
            state: crossing.states.state[at],
            in_hand: team(crossing.states.in_hand[at]),
            given_to: team(crossing.states.given_to[at]),
            in_traffic: crossing.states.in_traffic[at],
            conflicts: crossing.states.conflicts[at],
        })
    }
}
