//! The figures of construction and planning, each with its source. The built-in ones stand in `profile/field.toml` and are
//! the floor that the rules stand on; a unit's file changes a part of them. It never decides on a report, and it reads
//! no file: the text comes with the call.
//!
//! An operation keeps the profile that it was opened under, and its log is judged by that for all its time. So what is stored
//! has to stay readable: a figure that is added here comes with a migration that gives it to the rows that lack it.
//!
//! A unit's stricter figure is taken. A looser one is refused for railways; elsewhere it is taken, and a warning with both
//! figures stays with the profile wherever it goes.

use std::{collections::BTreeSet, sync::LazyLock};

use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

use crate::{
    construction::Construction,
    obstacle::Obstacle,
    pace::{self, ConstructionMinutes, Ground, GroundTimes, Light, Means},
    text::{Name, Source},
    units::{Kilovolts, Metres, MetresPerMinute, Minutes, Times},
    wire::{self, NoSplice},
};

/// The longest file that is read, in bytes.
pub const MOST_BYTES: usize = 100_000;
/// The highest voltage of a power line.
pub const HIGHEST_VOLTAGE: Kilovolts = Kilovolts::from_const(1_000.0);
/// The most rows in the table of distances to power lines.
pub const MOST_STEPS: usize = 20;

const METRES_IN_A_FOOT: f64 = 0.3048;

/// A figure of one kind: a value under the name of its unit, and its source.
macro_rules! figure {
    ($(#[$doc:meta])* $name:ident, $unit:literal: $value:ty) => {
        $(#[$doc])*
        #[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
        #[serde(deny_unknown_fields)]
        pub struct $name {
            /// The value.
            #[serde(rename = $unit)]
            pub value: $value,
            /// The page it was read on, or 'common practice, no source'.
            pub source: Source,
        }
    };
}

figure!(
    /// A factor and its source.
    Factor, "times": Times
);
figure!(
    /// A time and its source.
    Time, "min": Minutes
);
figure!(
    /// A part of a whole and its source.
    Percent, "percent": u8
);
figure!(
    /// A rule that holds or does not, and its source.
    Rule, "yes": bool
);

/// A length and its source.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(try_from = "LengthAsWritten")]
pub struct Length {
    /// The value.
    #[serde(rename = "m")]
    pub value: Metres,
    /// The page it was read on, or 'common practice, no source'.
    pub source: Source,
}

/// A rate over the ground and its source.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(try_from = "RateAsWritten")]
pub struct Rate {
    /// The value.
    #[serde(rename = "m_per_min")]
    pub value: MetresPerMinute,
    /// The page it was read on, or 'planning value, editable'.
    pub source: Source,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct LengthAsWritten {
    m: Option<f64>,
    ft: Option<f64>,
    source: Source,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct RateAsWritten {
    m_per_min: Option<f64>,
    mph: Option<f64>,
    source: Source,
}

/// The one of two units that was written, in the first of them.
fn either(one: (&str, Option<f64>), other: (&str, Option<f64>), factor: f64) -> Result<f64, String> {
    match (one.1, other.1) {
        (Some(value), None) => Ok(value),
        (None, Some(value)) => Ok(value * factor),
        (None, None) => Err(format!("the value is missing: give {} or {}", one.0, other.0)),
        (Some(_), Some(_)) => {
            Err(format!("the value is given twice: give {} or {}, not both", one.0, other.0))
        }
    }
}

impl TryFrom<LengthAsWritten> for Length {
    type Error = String;
    fn try_from(written: LengthAsWritten) -> Result<Self, String> {
        let metres = either(("m", written.m), ("ft", written.ft), METRES_IN_A_FOOT)?;
        let value = Metres::new(metres).map_err(|error| error.to_string())?;
        Ok(Self { value, source: written.source })
    }
}

impl TryFrom<RateAsWritten> for Rate {
    type Error = String;
    fn try_from(written: RateAsWritten) -> Result<Self, String> {
        let mph = 5280.0 * METRES_IN_A_FOOT / 60.0;
        let rate = either(("m_per_min", written.m_per_min), ("mph", written.mph), mph)?;
        let value = MetresPerMinute::new(rate).map_err(|error| error.to_string())?;
        Ok(Self { value, source: written.source })
    }
}

/// The figures that the rules and the reckoning use.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Profile {
    /// What the unit calls it.
    pub name: Name,
    /// Least heights of an overhead wire.
    pub heights: Heights,
    /// Buried crossings.
    pub burial: Burial,
    /// Overhead spans.
    pub span: Span,
    /// Crossings of railways.
    pub railway: Railway,
    /// How near to a power line work may come.
    pub power_line: PowerLine,
    /// How far away a culvert or bridge is preferred.
    pub reach: Reach,
    /// Wire beyond the ground distance.
    pub wire: Wire,
    /// Where no splice may fall.
    pub no_splice: NoSpliceRules,
    /// Time.
    pub pace: Pace,
    /// Where the unit's figures are looser than the built-in ones.
    #[serde(default)]
    pub warnings: Vec<ProfileWarning>,
}

/// Least heights by what is crossed.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Heights {
    /// Over a main highway.
    pub main_highway: OverWay,
    /// Over a road.
    pub road: OverWay,
    /// Over a dirt road.
    pub dirt_road: OverWay,
    /// Over a path.
    pub path: OverWay,
}

/// Least heights over one kind of way.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct OverWay {
    /// Whether such a way is public where nobody has said: then the greater height governs, else the field one.
    pub public: Rule,
    /// What the field rule asks.
    pub field: Length,
    /// What the civil code asks.
    pub civil: Length,
}

/// Buried crossings.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Burial {
    /// The least depth.
    pub depth: Length,
}

/// Overhead spans.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Span {
    /// The span to reckon with when nobody has measured it.
    pub normal: Length,
}

/// Crossings of railways. None of it may be looser than it is built in.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Railway {
    /// Whether a wire may go over the rails: never.
    pub overhead: Rule,
    /// How far outside the rails the stakes stand, at the least.
    pub stake_distance: Length,
    /// Whether wire may lie slack at the rails: never.
    pub slack: Rule,
    /// Whether the wire is trenched to the edge of the improved ground: always.
    pub trench: Rule,
}

/// How near to a power line a person, a pole or loose wire may come.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct PowerLine {
    /// The rule for people.
    pub person: Approach,
    /// The rule for poles and whatever else reaches up, by rising voltage.
    pub equipment: Vec<Step>,
}

/// A distance that grows with the voltage.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Approach {
    /// The least distance up to a voltage.
    pub least: Length,
    /// That voltage.
    pub to_kv: Kilovolts,
    /// How much more for each 10 kV above, or part of them.
    pub more_per_10_kv: Length,
}

/// A row of a table of distances.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Step {
    /// Up to which voltage it holds.
    pub to_kv: Kilovolts,
    /// The least distance.
    pub least: Length,
}

/// How far from the trace, along the obstacle, a passage that is there is preferred.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Reach {
    /// To a culvert.
    pub culvert: Length,
    /// To a bridge.
    pub bridge: Length,
}

/// Wire beyond the ground distance.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Wire {
    /// Slack of the line, of the ground distance.
    pub slack: Percent,
    /// At each end of the line.
    pub end: Length,
    /// Spare on each side of a crossing.
    pub tail: Length,
    /// Spare in a trench.
    pub trench_spare: Length,
    /// What a splice uses up.
    pub splice: Length,
    /// Sag of a span, of its length.
    pub sag: Percent,
    /// Height of a span over the highest water, to plan with.
    pub over_water: Length,
}

/// Where no splice between reels may fall.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct NoSpliceRules {
    /// In an overhead span over a stream.
    pub stream_spans: Rule,
    /// In any other overhead span.
    pub overhead_spans: Rule,
    /// In a culvert.
    pub culverts: Rule,
    /// Along a bridge.
    pub bridges: Rule,
    /// Under rails.
    pub rails: Rule,
    /// In a trench.
    pub trenches: Rule,
    /// Along a ladder.
    pub ladders: Rule,
    /// How far to keep from each such place, along the wire.
    pub clear: Length,
}

/// Time.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Pace {
    /// How many times as long work at crossings and reels takes at night.
    pub night: Factor,
    /// To begin the next reel, splice and call.
    pub reel_change: Time,
    /// To connect an end and to call from it.
    pub end_test: Time,
    /// How fast wire is laid along a road.
    pub laying: Laying,
    /// How fast a team goes along wire that lies.
    pub following: Following,
    /// How many times as long as along a road other ground takes.
    pub ground: OtherGround,
    /// By construction, by day.
    pub constructions: ByConstruction,
}

/// How fast wire is laid, by what carries the reels.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Laying {
    /// From a vehicle.
    pub vehicle: ByLight,
    /// From a wagon.
    pub wagon: ByLight,
    /// On foot.
    pub foot: ByLight,
}

/// A rate by day and at night.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct ByLight {
    /// By day.
    pub day: Rate,
    /// At night, without lights.
    pub night: Rate,
}

/// How fast a team follows the wire.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Following {
    /// In a vehicle.
    pub vehicle: Rate,
    /// With a wagon.
    pub wagon: Rate,
    /// On foot.
    pub foot: Rate,
}

/// Ground other than the roadside.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct OtherGround {
    /// Fields and open country.
    pub open: Factor,
    /// Woods.
    pub wooded: Factor,
    /// Hills, rocks, hedges and ditches.
    pub broken: Factor,
    /// Ground that does not carry.
    pub wet: Factor,
}

/// One figure for each construction.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct ByConstruction {
    /// Through a culvert.
    pub through_culvert: ByTeam,
    /// Under a bridge.
    pub under_bridge: ByTeam,
    /// Under the rails.
    pub under_rails: ByTeam,
    /// Overhead on trees.
    pub overhead_trees: ByTeam,
    /// Overhead on poles.
    pub overhead_poles: ByTeam,
    /// Overhead on lance poles.
    pub overhead_lance_poles: ByTeam,
    /// Buried.
    pub buried: ByTeam,
    /// A ladder.
    pub ladder: ByTeam,
}

impl ByConstruction {
    /// The teams' time for one construction.
    #[must_use]
    pub fn of(&self, construction: Construction) -> &ByTeam {
        match construction {
            Construction::ThroughCulvert => &self.through_culvert,
            Construction::UnderBridge => &self.under_bridge,
            Construction::UnderRails => &self.under_rails,
            Construction::OverheadTrees => &self.overhead_trees,
            Construction::OverheadPoles => &self.overhead_poles,
            Construction::OverheadLancePoles => &self.overhead_lance_poles,
            Construction::Buried => &self.buried,
            Construction::Ladder => &self.ladder,
        }
    }
}

/// Each team's time at a crossing.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct ByTeam {
    /// The lead team's: the least that lets traffic pass.
    pub lead: Time,
    /// The follow-up team's: until traffic, water and weather cannot break the wire.
    pub follow_up: Time,
}

/// A value under the name of its unit.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum FigureValue {
    /// Metres.
    M(Metres),
    /// Metres a minute.
    MPerMin(MetresPerMinute),
    /// Minutes.
    Min(Minutes),
    /// A factor.
    Times(Times),
    /// Percent.
    Percent(u8),
    /// Whether a rule holds.
    Yes(bool),
    /// Kilovolts.
    Kv(Kilovolts),
}

impl FigureValue {
    fn number(self) -> f64 {
        match self {
            Self::M(value) => value.value(),
            Self::MPerMin(value) => value.value(),
            Self::Min(value) => value.value(),
            Self::Times(value) => value.value(),
            Self::Percent(value) => f64::from(value),
            Self::Yes(value) => f64::from(u8::from(value)),
            Self::Kv(value) => value.value(),
        }
    }
}

impl std::fmt::Display for FigureValue {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self {
            Self::M(value) => write!(f, "{}", feet_and_metres(*value)),
            Self::MPerMin(value) => value.fmt(f),
            Self::Min(value) => value.fmt(f),
            Self::Times(value) => value.fmt(f),
            Self::Percent(value) => write!(f, "{value} %"),
            Self::Yes(true) => f.write_str("yes"),
            Self::Yes(false) => f.write_str("no"),
            Self::Kv(value) => value.fmt(f),
        }
    }
}

/// A length in both units, for a sentence.
pub(crate) fn feet_and_metres(length: Metres) -> String {
    format!("{:.2} m ({:.1} ft)", length.value(), length.value() / METRES_IN_A_FOOT)
}

/// A figure of a profile, for a list of them.
#[derive(Debug, Clone, PartialEq, Serialize, ToSchema)]
pub struct ProfileFigure {
    /// Where it stands in the file, such as `heights.road.field`.
    pub figure: String,
    /// Its value.
    pub value: FigureValue,
    /// Where it was read.
    #[schema(value_type = String)]
    pub source: Source,
}

/// A unit's figure that is looser than the built-in one.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct ProfileWarning {
    /// Which figure, such as `heights.road.field`.
    pub figure: String,
    /// What is looser, in words, with both figures.
    pub text: String,
    /// The unit's.
    pub value: FigureValue,
    /// The built-in one.
    pub built_in: FigureValue,
}

/// A height that one rule asks for.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, ToSchema)]
pub struct RuledHeight {
    /// The least height, in metres.
    pub least_m: Metres,
    /// The rule.
    pub source: String,
}

impl RuledHeight {
    fn of(length: &Length) -> Self {
        Self { least_m: length.value, source: length.source.to_string() }
    }
}

/// The heights that the rules ask for over one way, and the one that governs.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, ToSchema)]
pub struct HeightRules {
    /// The one that governs: the greater on a public way, else the field one.
    pub governs: RuledHeight,
    /// What the field rule asks.
    pub field: RuledHeight,
    /// What the civil code asks.
    pub civil: RuledHeight,
    /// Whether the way is public, by the profile or as it was said of this place.
    pub public: bool,
}

/// A distance to keep from a power line.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, ToSchema)]
pub struct Distance {
    /// The least distance, in metres.
    pub least_m: Metres,
    /// The rule.
    pub source: String,
}

/// Why a profile was not taken.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum ProfileError {
    /// The text is too long.
    #[error("the file has {given} bytes; it may have at most {most}")]
    TooLong {
        /// Its length.
        given: usize,
        /// The limit.
        most: usize,
    },
    /// The text is no TOML.
    #[error("line {line}: this is not TOML: {what}")]
    NotToml {
        /// Where reading stopped.
        line: usize,
        /// What is wrong.
        what: String,
    },
    /// A key that there is not, one that is missing, or a value of the wrong kind.
    #[error("{figure}: {what}")]
    Malformed {
        /// Where it stands, such as `heights.road.field`.
        figure: String,
        /// What is wrong.
        what: String,
    },
    /// A figure is outside its range.
    #[error("{figure} is {value}; give {least} to {most}")]
    OutOfRange {
        /// Which figure.
        figure: String,
        /// What was given.
        value: FigureValue,
        /// The least that is allowed.
        least: f64,
        /// The most that is allowed.
        most: f64,
    },
    /// The voltages of a table do not rise.
    #[error(
        "{figure} is {value} and does not rise from the row before: put the rows in the order of their voltage"
    )]
    NotRising {
        /// Which figure.
        figure: String,
        /// What was given.
        value: Kilovolts,
    },
    /// Looser than the built-in figure where that is refused.
    #[error(
        "{figure} is {value} and looser than {built_in}: at a railway nothing may be looser than the built-in rule \
         ({source_of_rule}). Leave it out, or give a stricter one"
    )]
    LooserAtRailway {
        /// Which figure.
        figure: String,
        /// The unit's.
        value: FigureValue,
        /// The built-in one.
        built_in: FigureValue,
        /// The built-in rule.
        source_of_rule: Source,
    },
}

/// Which way a figure grows stricter.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Stricter {
    Greater,
    Less,
    /// Neither: a planning value.
    Neither,
}

/// A figure with the range that it may have.
struct Row {
    figure: String,
    value: FigureValue,
    source: Source,
    least: f64,
    most: f64,
    stricter: Stricter,
}

/// The figures in the order of the file.
struct Rows(Vec<Row>);

impl Rows {
    fn add(
        &mut self,
        figure: String,
        value: FigureValue,
        source: &Source,
        range: (f64, f64),
        stricter: Stricter,
    ) {
        let (least, most) = range;
        self.0.push(Row { figure, value, source: source.clone(), least, most, stricter });
    }

    fn length(&mut self, figure: impl Into<String>, length: &Length, range: (f64, f64), stricter: Stricter) {
        self.add(figure.into(), FigureValue::M(length.value), &length.source, range, stricter);
    }

    fn rule(&mut self, figure: impl Into<String>, rule: &Rule, stricter: Stricter) {
        self.add(figure.into(), FigureValue::Yes(rule.value), &rule.source, (0.0, 1.0), stricter);
    }

    fn percent(&mut self, figure: &str, percent: &Percent, most: f64, stricter: Stricter) {
        self.add(figure.into(), FigureValue::Percent(percent.value), &percent.source, (0.0, most), stricter);
    }

    fn rate(&mut self, figure: String, rate: &Rate) {
        let value = FigureValue::MPerMin(rate.value);
        self.add(figure, value, &rate.source, (0.1, 2_000.0), Stricter::Neither);
    }

    fn time(&mut self, figure: impl Into<String>, time: &Time) {
        let value = FigureValue::Min(time.value);
        self.add(figure.into(), value, &time.source, (0.0, 10_000.0), Stricter::Neither);
    }

    fn factor(&mut self, figure: impl Into<String>, factor: &Factor) {
        let value = FigureValue::Times(factor.value);
        self.add(figure.into(), value, &factor.source, (1.0, 20.0), Stricter::Neither);
    }
}

/// The built-in figures, read once.
#[allow(clippy::expect_used, reason = "the text is built in, and the tests read it")]
static FIELD: LazyLock<Profile> = LazyLock::new(|| {
    let table = include_str!("../profile/field.toml").parse().expect("the built-in profile is TOML");
    Profile::of(table).expect("the built-in profile is whole and in range")
});

impl Profile {
    /// The field rules: the built-in figures.
    ///
    /// ```
    /// use laywire_craft::{profile::Profile, units::feet};
    /// let heights = &Profile::field().heights;
    /// assert_eq!(heights.main_highway.field.value, feet(18.0));
    /// assert_eq!(heights.main_highway.field.source.as_str(), "SS0440 pp. 29, 31: at least 18 ft over a primary road");
    /// ```
    #[must_use]
    pub fn field() -> &'static Self {
        &FIELD
    }

    /// A unit's profile: its own figures, and the built-in ones where it gives none.
    ///
    /// # Errors
    /// What is wrong with the text, naming the line or the figure; a figure out of its range; one at a railway that is looser
    /// than it is built in.
    ///
    /// ```
    /// use laywire_craft::profile::Profile;
    /// let ours = Profile::unit(r#"burial.depth = { m = 0.3, source = "our standing orders" }"#)?;
    /// assert_eq!(ours.burial.depth.value.to_string(), "0.30 m");
    /// assert!(ours.warnings.is_empty());
    /// # Ok::<(), laywire_craft::profile::ProfileError>(())
    /// ```
    pub fn unit(text: &str) -> Result<Self, ProfileError> {
        if text.len() > MOST_BYTES {
            return Err(ProfileError::TooLong { given: text.len(), most: MOST_BYTES });
        }
        let own: toml::Table = text.parse().map_err(|error: toml::de::Error| {
            let before = error.span().and_then(|span| text.get(..span.start)).unwrap_or_default();
            ProfileError::NotToml {
                line: before.matches('\n').count() + 1,
                what: error.message().trim_end_matches('\n').replace('\n', "; "),
            }
        })?;
        if own.contains_key("warnings") {
            let what = "a unit's file gives figures; the warnings follow from them".to_owned();
            return Err(ProfileError::Malformed { figure: "warnings".to_owned(), what });
        }
        let mut whole: toml::Table = Self::field().table()?;
        whole.remove("warnings");
        if !own.contains_key("name") {
            whole.insert("name".to_owned(), toml::Value::String("A unit's rules".to_owned()));
        }
        lay_over(&mut whole, own);
        let mut profile = Self::of(whole)?;
        profile.warnings = profile.beside(Self::field())?;
        Ok(profile)
    }

    /// The figures as a table, as a file would have them.
    fn table(&self) -> Result<toml::Table, ProfileError> {
        toml::Table::try_from(self).map_err(|error| ProfileError::Malformed {
            figure: "the built-in profile".to_owned(),
            what: error.to_string(),
        })
    }

    fn of(table: toml::Table) -> Result<Self, ProfileError> {
        let profile: Self = serde_path_to_error::deserialize(toml::Value::Table(table)).map_err(|error| {
            ProfileError::Malformed {
                figure: error.path().to_string(),
                what: error.inner().message().trim_end().replace('\n', "; "),
            }
        })?;
        profile.check()?;
        Ok(profile)
    }

    /// Whether every figure is in its range.
    ///
    /// # Errors
    /// The first that is not.
    fn check(&self) -> Result<(), ProfileError> {
        let steps = &self.power_line.equipment;
        if steps.is_empty() || steps.len() > MOST_STEPS {
            return Err(ProfileError::Malformed {
                figure: "power_line.equipment".to_owned(),
                what: format!("it has {} rows; give 1 to {MOST_STEPS}", steps.len()),
            });
        }
        for Row { figure, value, least, most, .. } in self.rows() {
            if !(least..=most).contains(&value.number()) {
                return Err(ProfileError::OutOfRange { figure, value, least, most });
            }
        }
        if let Some(number) = (1..steps.len()).find(|&n| steps[n].to_kv <= steps[n - 1].to_kv) {
            let figure = format!("power_line.equipment[{number}].to_kv");
            return Err(ProfileError::NotRising { figure, value: steps[number].to_kv });
        }
        Ok(())
    }

    /// What of this is looser than the floor.
    fn beside(&self, floor: &Self) -> Result<Vec<ProfileWarning>, ProfileError> {
        let mut warnings = Vec::new();
        let floors = floor.rows();
        for row in self.rows() {
            // The table of distances may have other rows than the floor's, and is compared as a whole.
            let Some(built_in) = floors.iter().find(|built_in| built_in.figure == row.figure) else {
                continue;
            };
            let (ours, theirs) = (row.value.number(), built_in.value.number());
            let looser = match row.stricter {
                Stricter::Greater => ours < theirs,
                Stricter::Less => ours > theirs,
                Stricter::Neither => false,
            };
            // Where the field rule asks for more, it governs on a public way as well.
            if !looser
                || self.ways().iter().any(|(name, way)| {
                    row.figure == format!("heights.{name}.public") && way.civil.value <= way.field.value
                })
            {
                continue;
            }
            let (value, built_in_value) = (row.value, built_in.value);
            if row.figure.starts_with("railway.") {
                return Err(ProfileError::LooserAtRailway {
                    figure: row.figure,
                    value,
                    built_in: built_in_value,
                    source_of_rule: built_in.source.clone(),
                });
            }
            let text = match self.not_public(&row.figure) {
                Some(text) => text,
                None => format!(
                    "{} is {value} ({}) and looser than the built-in {built_in_value} ({})",
                    row.figure, row.source, built_in.source
                ),
            };
            warnings.push(ProfileWarning { figure: row.figure, text, value, built_in: built_in_value });
        }
        warnings.extend(self.nearer_to_power(floor));
        Ok(warnings)
    }

    /// What it comes to when a unit says of a way that it is not public.
    fn not_public(&self, figure: &str) -> Option<String> {
        let (_, way) =
            self.ways().into_iter().find(|(name, _)| figure == format!("heights.{name}.public"))?;
        Some(format!(
            "{figure} is no ({}): the field rule governs there, {} ({}), and not the civil one, {} ({})",
            way.public.source,
            feet_and_metres(way.field.value),
            way.field.source,
            feet_and_metres(way.civil.value),
            way.civil.source
        ))
    }

    fn nearer_to_power(&self, floor: &Self) -> Option<ProfileWarning> {
        let edges = |profile: &Self| {
            let line = &profile.power_line;
            let steps = line.equipment.iter().map(|step| step.to_kv.value());
            steps.chain([line.person.to_kv.value()]).collect::<Vec<_>>()
        };
        // The built-in distance grows at its edges and at each 10 kV, ours only ever grows: it is looser just above one of
        // these, or nowhere.
        let voltages: BTreeSet<Kilovolts> = (0..=100u8)
            .map(|ten| f64::from(ten) * 10.0)
            .chain(edges(self))
            .chain(edges(floor))
            .flat_map(|edge| [edge, edge + 0.001])
            .filter(|&edge| edge <= HIGHEST_VOLTAGE.value())
            .filter_map(|edge| Kilovolts::new(edge).ok())
            .collect();
        voltages.into_iter().find_map(|kilovolts| {
            let ours = self.power_line.distance(Some(kilovolts));
            let theirs = floor.power_line.distance(Some(kilovolts));
            (ours.least_m < theirs.least_m).then(|| ProfileWarning {
                figure: "power_line".to_owned(),
                text: format!(
                    "power_line: at {kilovolts} it is {} ({}) and looser than the built-in {} ({})",
                    feet_and_metres(ours.least_m),
                    ours.source,
                    feet_and_metres(theirs.least_m),
                    theirs.source
                ),
                value: FigureValue::M(ours.least_m),
                built_in: FigureValue::M(theirs.least_m),
            })
        })
    }

    fn ways(&self) -> [(&'static str, &OverWay); 4] {
        let heights = &self.heights;
        [
            ("main_highway", &heights.main_highway),
            ("road", &heights.road),
            ("dirt_road", &heights.dirt_road),
            ("path", &heights.path),
        ]
    }

    /// Every figure with its source, in the order of the file.
    #[must_use]
    pub fn figures(&self) -> Vec<ProfileFigure> {
        self.rows()
            .into_iter()
            .map(|row| ProfileFigure { figure: row.figure, value: row.value, source: row.source })
            .collect()
    }

    fn rows(&self) -> Vec<Row> {
        let mut rows = Rows(Vec::with_capacity(96));
        for (name, way) in self.ways() {
            rows.rule(format!("heights.{name}.public"), &way.public, Stricter::Greater);
            rows.length(format!("heights.{name}.field"), &way.field, (0.5, 30.0), Stricter::Greater);
            rows.length(format!("heights.{name}.civil"), &way.civil, (0.5, 30.0), Stricter::Greater);
        }
        rows.length("burial.depth", &self.burial.depth, (0.05, 3.0), Stricter::Greater);
        rows.length("span.normal", &self.span.normal, (1.0, 300.0), Stricter::Less);
        self.danger_rows(&mut rows);
        rows.length("reach.culvert", &self.reach.culvert, (0.0, 10_000.0), Stricter::Neither);
        rows.length("reach.bridge", &self.reach.bridge, (0.0, 10_000.0), Stricter::Neither);
        self.wire_rows(&mut rows);
        self.pace_rows(&mut rows);
        rows.0
    }

    fn danger_rows(&self, rows: &mut Rows) {
        let railway = &self.railway;
        rows.rule("railway.overhead", &railway.overhead, Stricter::Less);
        rows.length("railway.stake_distance", &railway.stake_distance, (0.0, 5.0), Stricter::Greater);
        rows.rule("railway.slack", &railway.slack, Stricter::Less);
        rows.rule("railway.trench", &railway.trench, Stricter::Greater);
        let person = &self.power_line.person;
        // Looser distances are found by comparing what the whole comes to at each voltage.
        rows.length("power_line.person.least", &person.least, (1.0, 100.0), Stricter::Neither);
        let more = &person.more_per_10_kv;
        rows.length("power_line.person.more_per_10_kv", more, (0.0, 10.0), Stricter::Neither);
        for (number, step) in self.power_line.equipment.iter().enumerate() {
            let figure = format!("power_line.equipment[{number}].least");
            rows.length(figure, &step.least, (1.0, 100.0), Stricter::Neither);
        }
    }

    fn wire_rows(&self, rows: &mut Rows) {
        const AT_A_PLACE: (f64, f64) = (0.0, 1_000.0);
        let wire = &self.wire;
        rows.percent("wire.slack", &wire.slack, 100.0, Stricter::Greater);
        rows.length("wire.end", &wire.end, AT_A_PLACE, Stricter::Neither);
        rows.length("wire.tail", &wire.tail, AT_A_PLACE, Stricter::Neither);
        rows.length("wire.trench_spare", &wire.trench_spare, AT_A_PLACE, Stricter::Neither);
        rows.length("wire.splice", &wire.splice, AT_A_PLACE, Stricter::Neither);
        rows.percent("wire.sag", &wire.sag, 20.0, Stricter::Neither);
        rows.length("wire.over_water", &wire.over_water, (0.1, 30.0), Stricter::Greater);
        let rules = &self.no_splice;
        for (name, rule) in [
            ("stream_spans", &rules.stream_spans),
            ("overhead_spans", &rules.overhead_spans),
            ("culverts", &rules.culverts),
            ("bridges", &rules.bridges),
            ("rails", &rules.rails),
            ("trenches", &rules.trenches),
            ("ladders", &rules.ladders),
        ] {
            rows.rule(format!("no_splice.{name}"), rule, Stricter::Greater);
        }
        rows.length("no_splice.clear", &rules.clear, AT_A_PLACE, Stricter::Greater);
    }

    fn pace_rows(&self, rows: &mut Rows) {
        let pace = &self.pace;
        rows.factor("pace.night", &pace.night);
        rows.time("pace.reel_change", &pace.reel_change);
        rows.time("pace.end_test", &pace.end_test);
        for (name, rates, following) in [
            ("vehicle", &pace.laying.vehicle, &pace.following.vehicle),
            ("wagon", &pace.laying.wagon, &pace.following.wagon),
            ("foot", &pace.laying.foot, &pace.following.foot),
        ] {
            rows.rate(format!("pace.laying.{name}.day"), &rates.day);
            rows.rate(format!("pace.laying.{name}.night"), &rates.night);
            rows.rate(format!("pace.following.{name}"), following);
        }
        for ground in Ground::ALL {
            if let Some(factor) = pace.times(ground) {
                rows.factor(format!("pace.ground.{}", ground.as_str()), factor);
            }
        }
        for construction in Construction::ALL {
            let times = pace.constructions.of(construction);
            let name = construction.as_str();
            rows.time(format!("pace.constructions.{name}.lead"), &times.lead);
            rows.time(format!("pace.constructions.{name}.follow_up"), &times.follow_up);
        }
    }

    fn over(&self, obstacle: Obstacle) -> Option<&OverWay> {
        match obstacle {
            Obstacle::MainHighway => Some(&self.heights.main_highway),
            Obstacle::Road => Some(&self.heights.road),
            Obstacle::DirtRoad => Some(&self.heights.dirt_road),
            Obstacle::Path => Some(&self.heights.path),
            Obstacle::Railway | Obstacle::Stream => None,
        }
    }

    /// The heights that the rules ask for over a way that is public, or not, or as the profile has it. Over a stream any
    /// height above the highest water is enough, and over a railway there is none.
    #[must_use]
    pub fn heights_over(&self, obstacle: Obstacle, public: Option<bool>) -> Option<HeightRules> {
        let way = self.over(obstacle)?;
        let public = public.unwrap_or(way.public.value);
        let governs = if public && way.civil.value > way.field.value { &way.civil } else { &way.field };
        Some(HeightRules {
            governs: RuledHeight::of(governs),
            field: RuledHeight::of(&way.field),
            civil: RuledHeight::of(&way.civil),
            public,
        })
    }

    /// The least height of an overhead wire over the obstacle, where a rule asks for one.
    ///
    /// ```
    /// use laywire_craft::{obstacle::Obstacle, profile::Profile};
    /// // The field rule asks for 14 ft, the civil one for 15.5 ft.
    /// let road = Profile::field().least_height(Obstacle::Road).ok_or("no rule")?;
    /// assert_eq!(road.value.to_string(), "4.72 m");
    /// assert!(road.source.as_str().starts_with("NESC rule 232"));
    /// # Ok::<(), &str>(())
    /// ```
    #[must_use]
    pub fn least_height(&self, obstacle: Obstacle) -> Option<&Length> {
        let way = self.over(obstacle)?;
        let civil_governs = way.public.value && way.civil.value > way.field.value;
        Some(if civil_governs { &way.civil } else { &way.field })
    }

    /// Whether the profile takes such a way for a public one.
    #[must_use]
    pub fn is_public(&self, obstacle: Obstacle) -> bool {
        self.over(obstacle).is_some_and(|way| way.public.value)
    }

    /// The figures for reckoning wire that are this profile's own.
    #[must_use]
    pub fn wire_figures(&self) -> wire::Figures {
        let (ours, theirs) = (&self.wire, &Self::field().wire);
        wire::Figures {
            slack_percent: own(ours.slack.value, theirs.slack.value),
            end_m: own(ours.end.value, theirs.end.value),
            tail_m: own(ours.tail.value, theirs.tail.value),
            trench_spare_m: own(ours.trench_spare.value, theirs.trench_spare.value),
            splice_m: own(ours.splice.value, theirs.splice.value),
        }
    }

    /// Where no splice between reels may fall.
    #[must_use]
    pub fn no_splice(&self) -> NoSplice {
        let rules = &self.no_splice;
        NoSplice {
            stream_spans: rules.stream_spans.value,
            overhead_spans: rules.overhead_spans.value,
            culverts: rules.culverts.value,
            bridges: rules.bridges.value,
            rails: rules.rails.value,
            trenches: rules.trenches.value,
            ladders: rules.ladders.value,
            clear_m: rules.clear.value,
        }
    }

    /// The figures for planning time that are this profile's own, by the light and by what carries each team.
    #[must_use]
    pub fn pace_figures(&self, light: Light, lead: Means, follow_up: Means) -> pace::Figures {
        let (ours, theirs) = (&self.pace, &Self::field().pace);
        let ground_times = Ground::ALL
            .into_iter()
            .filter_map(|ground| {
                let times = own(ours.times(ground)?.value, theirs.times(ground)?.value)?;
                Some(GroundTimes { ground, times })
            })
            .collect();
        let constructions = Construction::ALL
            .into_iter()
            .filter_map(|construction| {
                let (here, there) =
                    (ours.constructions.of(construction), theirs.constructions.of(construction));
                let lead_min = own(here.lead.value, there.lead.value);
                let follow_up_min = own(here.follow_up.value, there.follow_up.value);
                (lead_min.is_some() || follow_up_min.is_some()).then_some(ConstructionMinutes {
                    construction,
                    lead_min,
                    follow_up_min,
                })
            })
            .collect();
        pace::Figures {
            lead_rate_m_per_min: own(
                ours.laying_rate(lead, light).value,
                theirs.laying_rate(lead, light).value,
            ),
            follow_up_rate_m_per_min: own(
                ours.following_rate(follow_up).value,
                theirs.following_rate(follow_up).value,
            ),
            night_times: own(ours.night.value, theirs.night.value),
            ground_times,
            constructions,
            reel_change_min: own(ours.reel_change.value, theirs.reel_change.value),
            end_test_min: own(ours.end_test.value, theirs.end_test.value),
        }
    }
}

/// A figure that differs from the built-in one.
fn own<T: PartialEq>(ours: T, built_in: T) -> Option<T> {
    (ours != built_in).then_some(ours)
}

/// Lays a unit's table over the whole one. A figure is replaced whole, so that none keeps another's source.
fn lay_over(whole: &mut toml::Table, own: toml::Table) {
    for (key, value) in own {
        match (whole.get_mut(&key), value) {
            (Some(toml::Value::Table(under)), toml::Value::Table(over)) if !under.contains_key("source") => {
                lay_over(under, over);
            }
            (_, value) => {
                whole.insert(key, value);
            }
        }
    }
}

impl PowerLine {
    /// How far to keep from a power line of this voltage. Nobody knows it: as far as from the highest in the table, until
    /// its owner has said.
    ///
    /// # Units
    /// Metres, from the nearest conductor.
    ///
    /// # Source
    /// The greater of 29 CFR 1910.333(c)(3) for people and 29 CFR 1926.1408 table A for what reaches up, as the profile has
    /// them. Above the table's end the last row is not enough: the owner says how far.
    #[must_use]
    pub fn distance(&self, kilovolts: Option<Kilovolts>) -> Distance {
        let of = |length: &Length| Distance { least_m: length.value, source: length.source.to_string() };
        let last = self.equipment.last();
        let Some(kilovolts) = kilovolts else {
            let most = self.equipment.iter().map(|step| &step.least).max_by_key(|length| length.value);
            return of(most.unwrap_or(&self.person.least));
        };
        let row = self.equipment.iter().find(|step| kilovolts <= step.to_kv).or(last);
        let equipment = row.map_or(&self.person.least, |step| &step.least);
        let person = self.person.distance(kilovolts);
        if person > equipment.value {
            let length = if person > self.person.least.value {
                &self.person.more_per_10_kv
            } else {
                &self.person.least
            };
            Distance { least_m: person, source: length.source.to_string() }
        } else {
            of(equipment)
        }
    }
}

impl Approach {
    /// The distance at a voltage: each 10 kV that are begun count whole.
    #[must_use]
    pub fn distance(&self, kilovolts: Kilovolts) -> Metres {
        let above = ((kilovolts.value() - self.to_kv.value()) / 10.0).ceil().max(0.0);
        Metres::bounded(self.least.value.value() + above * self.more_per_10_kv.value.value())
    }
}

impl Pace {
    /// How fast wire is laid along a road.
    #[must_use]
    pub fn laying_rate(&self, means: Means, light: Light) -> &Rate {
        let rates = match means {
            Means::Vehicle => &self.laying.vehicle,
            Means::Wagon => &self.laying.wagon,
            Means::Foot => &self.laying.foot,
        };
        match light {
            Light::Day => &rates.day,
            Light::Night => &rates.night,
        }
    }

    /// How fast a team goes along wire that lies.
    #[must_use]
    pub fn following_rate(&self, means: Means) -> &Rate {
        match means {
            Means::Vehicle => &self.following.vehicle,
            Means::Wagon => &self.following.wagon,
            Means::Foot => &self.following.foot,
        }
    }

    /// How many times as long as along a road other ground takes.
    #[must_use]
    pub fn times(&self, ground: Ground) -> Option<&Factor> {
        match ground {
            Ground::Roadside => None,
            Ground::Open => Some(&self.ground.open),
            Ground::Wooded => Some(&self.ground.wooded),
            Ground::Broken => Some(&self.ground.broken),
            Ground::Wet => Some(&self.ground.wet),
        }
    }
}
