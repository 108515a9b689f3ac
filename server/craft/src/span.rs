//! A span of overhead wire: how it hangs when it is strung, in heat, in ice and in wind, what it asks of its ties and
//! poles, and what clearance it leaves over the road or the water. It never says that a pole, a tree or a knot is sound.
//!
//! The curve is [`crate::catenary`]'s. In wind the wire swings out into the plane of its chord and of the resultant of
//! weight and wind, and is the same curve there. Its stretch is reckoned from the tension along its whole length
//! over its stiffness, its growth from warmth; both are small parts of it. Every default names its source beside it.
//! Sources by key: *SS0440*: US Army correspondence subcourse on field wire, after TC 24-20; *NESC*: IEEE C2, National
//! Electrical Safety Code; *GO 95*: California Public Utilities Commission, General Order 95.

use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

use crate::bounds::NoAnswer;
use crate::catenary::{self, CLOSE, Catenary, LEAST_SPAN, MOST_SPAN, MOST_STEEP, root};
use crate::construction::Construction;
use crate::guide::{self, Item};
use crate::lance_pole::{Guys, HAIR, LancePole, LancePoleSet, guys, pole_set};
use crate::obstacle::Obstacle;
use crate::profile::Profile;
use crate::units::{
    Celsius, Degrees, GRAVITY, KilogramsPerCubicMetre, Metres, Newtons, NewtonsPerMetre, OutOfRange, Pascals,
    PerCelsius, Share, fahrenheit, feet, pounds_per_foot, pounds_per_square_foot, within,
};
use crate::wire_type::{WD_1_DIAMETER, WD_1_EXPANSION, WD_1_STIFFNESS, WD_1_STRENGTH, WD_1_WEIGHT};

/// How many stretches a wire's drawn curve has: the greatest departure of a drawn stretch from the curve is then about a
/// six-hundredth of the sag.
const DRAWN_STRETCHES: u8 = 24;
/// How many stretches a crowned road's drawn surface has.
const DRAWN_SURFACE: u8 = 8;
/// The greatest stretch before it breaks that a wire may have: beyond it the small-stretch reckoning is not the truth.
const MOST_STRETCH: f64 = 0.05;
/// Two of half the span over the constant, over its hyperbolic cosine, where that is greatest: at u tanh u = 1. A wire that
/// may be pulled with a tension T spans at most this many times T over its load, with any sag.
const WIDEST: f64 = 1.325_486_838_798;

/// Why a span was not reckoned.
#[derive(Debug, Clone, Copy, PartialEq, thiserror::Error)]
pub enum SpanError {
    /// A figure outside its range; it names the field.
    #[error(transparent)]
    OutOfRange(#[from] OutOfRange),
    /// A span over a track.
    #[error("no wire goes over a railway, whoever asks: go under the rails, between two ties")]
    OverRailway,
    /// A construction that does not hang.
    #[error("{construction} is no span: give overhead_trees, overhead_poles or overhead_lance_poles")]
    NotOverhead {
        /// What was given.
        construction: Construction,
    },
    /// A road or stream that is not wholly between the ties.
    #[error(
        "over.from_m {from} to over.to_m {to} is not between the ties: give two offsets that rise, from 0 to span_m {span}"
    )]
    SurfaceOutside {
        /// Its left edge.
        from: Metres,
        /// Its right edge.
        to: Metres,
        /// The span.
        span: Metres,
    },
    /// Water that is not level.
    #[error(
        "over.crown_m {crown}, over.from_level_m {from} and over.to_level_m {to} do not fit a stream: its highest water is \
         level, so give one level and no crown"
    )]
    WaterNotLevel {
        /// The crown given.
        crown: Metres,
        /// The level at the left edge.
        from: Metres,
        /// The level at the right edge.
        to: Metres,
    },
    /// Ties so far above one another that the wire falls rather than spans.
    #[error(
        "the right tie is {rise} above the left one, and span_m is {span}: more than five spans up or down is a drop, no \
         span; look over tie_height_m and ground_m of both ends"
    )]
    TooSteep {
        /// How far the right tie is above the left one.
        rise: Metres,
        /// The span.
        span: Metres,
    },
    /// Strung tighter than the wire holds.
    #[error(
        "strung like this the wire is pulled with {tension:.1}, and wire.strength_n is {strength:.1}: string it slacker"
    )]
    TooTight {
        /// The tension at the harder pulled tie.
        tension: Newtons,
        /// What the wire holds.
        strength: Newtons,
    },
    /// A strength and a stiffness that no wire has together.
    #[error(
        "wire.strength_n {strength:.1} and wire.stiffness_n {stiffness:.1} contradict each other: the wire would stretch by \
         more than a twentieth before it breaks; give a stiffness of at least {least:.1}"
    )]
    TooElastic {
        /// The strength given.
        strength: Newtons,
        /// The stiffness given.
        stiffness: Newtons,
        /// The least stiffness that goes with the strength.
        least: Newtons,
    },
    /// Ice in warm air.
    #[error(
        "loading.custom.ice_m {ice:.4} at loading.custom.temperature_c {temperature} contradict each other: ice does not stay \
         on a wire above 0 °C"
    )]
    WarmIce {
        /// The ice's thickness.
        ice: Metres,
        /// The air's warmth.
        temperature: Celsius,
    },
    /// A hottest day that is cooler than the day of the work.
    #[error("hot_c {hot} is below strung_at_c {strung_at}: give the hottest that the wire will be")]
    NotHot {
        /// The hottest, as given.
        hot: Celsius,
        /// The warmth when it is strung.
        strung_at: Celsius,
    },
}

impl NoAnswer for SpanError {
    fn field(&self) -> Option<String> {
        let field = match self {
            Self::OutOfRange(range) => range.what,
            Self::OverRailway => "over.obstacle",
            Self::NotOverhead { .. } => "construction",
            Self::SurfaceOutside { .. } => "over.to_m",
            Self::WaterNotLevel { .. } => "over.crown_m",
            Self::TooSteep { .. } => "right.tie_height_m",
            Self::TooTight { .. } => "strung",
            Self::TooElastic { .. } => "wire.stiffness_n",
            Self::WarmIce { .. } => "loading.custom.ice_m",
            Self::NotHot { .. } => "hot_c",
        };
        Some(field.to_owned())
    }
}

/// What a wire is to a span.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct SpanWire {
    /// Its weight: newtons for each metre, 0.001 to 100.
    pub weight_n_per_m: NewtonsPerMetre,
    /// How broad it is to the wind, insulation and all: metres, 0.0001 to 0.1.
    pub diameter_m: Metres,
    /// The pull that breaks it: newtons, 1 to 1 000 000.
    pub strength_n: Newtons,
    /// Its modulus times its section, the pull that would double its length if it did not break: newtons, at least twenty
    /// times the strength.
    pub stiffness_n: Newtons,
    /// How much it grows with warmth, as a part of itself: for each degree Celsius, 0 to 0.0001.
    pub expansion_per_c: PerCelsius,
}

impl SpanWire {
    /// WD-1/TT and WD-1A/TT, one pair: the figures of [`crate::wire_type`], each with its source there.
    pub const WD_1: Self = Self {
        weight_n_per_m: WD_1_WEIGHT.value,
        diameter_m: WD_1_DIAMETER.value,
        strength_n: WD_1_STRENGTH.value,
        stiffness_n: WD_1_STIFFNESS.value,
        expansion_per_c: WD_1_EXPANSION.value,
    };

    fn check(&self) -> Result<(), SpanError> {
        within("wire.weight_n_per_m", self.weight_n_per_m.value(), 1e-3, 100.0)?;
        within("wire.diameter_m", self.diameter_m.value(), 1e-4, 0.1)?;
        let strength = within("wire.strength_n", self.strength_n.value(), 1.0, 1e6)?;
        within("wire.expansion_per_c", self.expansion_per_c.value(), 0.0, 1e-4)?;
        let least = Newtons::bounded(strength / MOST_STRETCH);
        if self.stiffness_n < least {
            return Err(SpanError::TooElastic {
                strength: self.strength_n,
                stiffness: self.stiffness_n,
                least,
            });
        }
        Ok(())
    }
}

impl Default for SpanWire {
    fn default() -> Self {
        Self::WD_1
    }
}

/// Ice, wind and cold together.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct Weather {
    /// The wire's temperature: degrees Celsius, -70 to 60, and not above 0 with ice.
    pub temperature_c: Celsius,
    /// The ice's thickness all round the wire: metres, 0 to 0.1; none unless given.
    #[serde(default = "no_length")]
    pub ice_m: Metres,
    /// The ice's density: kilograms for each cubic metre, 100 to 1000; 913 (57 lb/ft³) unless given.
    #[serde(default = "clear_ice")]
    pub ice_density_kg_per_m3: KilogramsPerCubicMetre,
    /// The wind's pressure on the wire and its ice: pascals, 0 to 5000; none unless given.
    #[serde(default = "no_pressure")]
    pub wind_pa: Pascals,
    /// What a code adds to the resultant of weight and wind: newtons for each metre, 0 to 100; nothing unless given.
    #[serde(default = "no_load")]
    pub added_n_per_m: NewtonsPerMetre,
}

impl Weather {
    const STILL: Self = Self {
        temperature_c: fahrenheit(32.0),
        ice_m: Metres::ZERO,
        ice_density_kg_per_m3: clear_ice(),
        wind_pa: no_pressure(),
        added_n_per_m: no_load(),
    };

    fn check(&self) -> Result<(), SpanError> {
        within("loading.custom.temperature_c", self.temperature_c.value(), -70.0, 60.0)?;
        let ice = within("loading.custom.ice_m", self.ice_m.value(), 0.0, 0.1)?;
        within("loading.custom.ice_density_kg_per_m3", self.ice_density_kg_per_m3.value(), 100.0, 1000.0)?;
        within("loading.custom.wind_pa", self.wind_pa.value(), 0.0, 5000.0)?;
        within("loading.custom.added_n_per_m", self.added_n_per_m.value(), 0.0, 100.0)?;
        if ice > 0.0 && self.temperature_c.value() > 0.0 {
            return Err(SpanError::WarmIce { ice: self.ice_m, temperature: self.temperature_c });
        }
        Ok(())
    }
}

/// The weather that the span has to stand.
#[derive(Debug, Clone, Copy, PartialEq, Default, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum Loading {
    /// NESC 250B heavy district.
    Heavy,
    /// NESC 250B medium district.
    Medium,
    /// NESC 250B light district.
    #[default]
    Light,
    /// Weather of one's own.
    Custom(Weather),
}

impl Loading {
    /// The weather itself.
    ///
    /// # Source
    /// NESC (IEEE C2) rule 250B. The ice of heavy and the temperature, ice and wind of medium agree with pages that were
    /// read; the rest is from memory, and what is added to the resultant differs by edition: check the one in force.
    /// GO 95 rule 43.1 for the ice's density, 57 lb/ft³.
    ///
    /// ```
    /// use laywire_craft::span::Loading;
    /// assert_eq!(Loading::Medium.weather().wind_pa.to_string(), "192 Pa");
    /// ```
    #[must_use]
    pub fn weather(self) -> Weather {
        let district =
            |inches: f64, pounds: Pascals, temperature_c: Celsius, added: NewtonsPerMetre| Weather {
                temperature_c,
                ice_m: Metres::bounded(inches * feet(1.0).value() / 12.0),
                wind_pa: pounds,
                added_n_per_m: added,
                ..Weather::STILL
            };
        match self {
            Self::Heavy => district(0.5, pounds_per_square_foot(4.0), fahrenheit(0.0), pounds_per_foot(0.30)),
            Self::Medium => {
                district(0.25, pounds_per_square_foot(4.0), fahrenheit(15.0), pounds_per_foot(0.20))
            }
            Self::Light => {
                district(0.0, pounds_per_square_foot(9.0), fahrenheit(30.0), pounds_per_foot(0.05))
            }
            Self::Custom(weather) => weather,
        }
    }
}

/// What pulls on each metre of wire.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, ToSchema)]
pub struct WireLoad {
    /// Straight down, wire and ice: newtons for each metre.
    pub down_n_per_m: NewtonsPerMetre,
    /// Across the line, by the wind: newtons for each metre.
    pub across_n_per_m: NewtonsPerMetre,
    /// The resultant, with what a code adds to it along its own direction: newtons for each metre.
    pub resultant_n_per_m: NewtonsPerMetre,
    /// How far the resultant leans from straight down: degrees, 0 to 90.
    pub swing_deg: Degrees,
}

impl WireLoad {
    /// The load on a wire in some weather.
    ///
    /// # Source
    /// A ring of ice of thickness t on a diameter d has the section π t (d + t); wind presses on d + 2 t. With ice of
    /// 57 lb/ft³ that is 1.244 t (d + t) lb/ft in inches.
    ///
    /// ```
    /// use laywire_craft::span::{Loading, SpanWire, WireLoad};
    /// let load = WireLoad::of(SpanWire::WD_1, Loading::Heavy.weather());
    /// assert_eq!(load.resultant_n_per_m.to_string(), "12.604 N/m"); // 0.864 lb/ft
    /// ```
    #[must_use]
    pub fn of(wire: SpanWire, weather: Weather) -> Self {
        let (diameter, ice) = (wire.diameter_m.value(), weather.ice_m.value());
        let ring = std::f64::consts::PI * ice * (diameter + ice);
        let down = wire.weight_n_per_m.value() + weather.ice_density_kg_per_m3.value() * GRAVITY * ring;
        let across = weather.wind_pa.value() * (diameter + 2.0 * ice);
        Self {
            down_n_per_m: NewtonsPerMetre::bounded(down),
            across_n_per_m: NewtonsPerMetre::bounded(across),
            resultant_n_per_m: NewtonsPerMetre::bounded(down.hypot(across) + weather.added_n_per_m.value()),
            swing_deg: Degrees::turned(across.atan2(down).to_degrees()),
        }
    }

    /// Sine and cosine of the swing.
    fn swing(&self) -> (f64, f64) {
        let (down, across) = (self.down_n_per_m.value(), self.across_n_per_m.value());
        let both = down.hypot(across);
        (across / both, down / both)
    }
}

/// Where one end of the span is tied.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct Support {
    /// How high the tie is above the ground at its foot: metres, 0.1 to 100.
    pub tie_height_m: Metres,
    /// How high that ground is above the level from which this span's heights are counted: metres, -1000 to 1000; 0 unless
    /// given.
    #[serde(default = "no_length")]
    pub ground_m: Metres,
}

impl Support {
    fn level(&self) -> Metres {
        self.ground_m + self.tie_height_m
    }
}

/// What is known of the wire when it is strung.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize, ToSchema)]
pub enum Strung {
    /// The tension along the level, which a balance at a tie shows but for the weight of the sag: newtons.
    #[serde(rename = "tension_n")]
    Tension(Newtons),
    /// How far it hangs below the straight line between the ties, straight down in the middle: metres.
    #[serde(rename = "sag_m")]
    Sag(Metres),
    /// The length of the wire between the ties: metres.
    #[serde(rename = "wire_length_m")]
    WireLength(Metres),
}

/// What the wire hangs over.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct Over {
    /// What it is; a railway is refused.
    pub obstacle: Obstacle,
    /// Its left edge, from the left tie: metres, 0 to the span.
    pub from_m: Metres,
    /// Its right edge, from the left tie: metres, from the left edge to the span.
    pub to_m: Metres,
    /// Its level at the left edge, for a stream its highest water: metres, -1000 to 1000; 0 unless given.
    #[serde(default = "no_length")]
    pub from_level_m: Metres,
    /// Its level at the right edge: metres, -1000 to 1000; 0 unless given.
    #[serde(default = "no_length")]
    pub to_level_m: Metres,
    /// How high its middle stands above the straight line between its edges: metres, 0 to 3; 0 unless given.
    #[serde(default = "no_length")]
    pub crown_m: Metres,
    /// The clearance that is asked here: metres, 0 to 50. Unless given, what the profile asks: on a public way the greater of the field's and the civil rule.
    #[serde(default)]
    pub least_clearance_m: Option<Metres>,
}

impl Over {
    fn check(&self, span: Metres) -> Result<(), SpanError> {
        if self.obstacle == Obstacle::Railway {
            return Err(SpanError::OverRailway);
        }
        within("over.from_level_m", self.from_level_m.value(), -1000.0, 1000.0)?;
        within("over.to_level_m", self.to_level_m.value(), -1000.0, 1000.0)?;
        within("over.crown_m", self.crown_m.value(), 0.0, 3.0)?;
        if let Some(least) = self.least_clearance_m {
            within("over.least_clearance_m", least.value(), 0.0, 50.0)?;
        }
        if self.from_m < Metres::ZERO || self.to_m <= self.from_m || self.to_m > span {
            return Err(SpanError::SurfaceOutside { from: self.from_m, to: self.to_m, span });
        }
        let level = self.from_level_m == self.to_level_m && self.crown_m == Metres::ZERO;
        if self.obstacle == Obstacle::Stream && !level {
            return Err(SpanError::WaterNotLevel {
                crown: self.crown_m,
                from: self.from_level_m,
                to: self.to_level_m,
            });
        }
        Ok(())
    }

    /// Its level at an offset from the left tie: a straight line with a parabola for a crown.
    fn level_at(&self, x: f64) -> f64 {
        let (from, to) = (self.from_level_m.value(), self.to_level_m.value());
        let part = (x - self.from_m.value()) / self.width();
        from + (to - from) * part + 4.0 * self.crown_m.value() * part * (1.0 - part)
    }

    fn slope_at(&self, x: f64) -> f64 {
        let part = (x - self.from_m.value()) / self.width();
        let fall = self.to_level_m.value() - self.from_level_m.value();
        (fall + 4.0 * self.crown_m.value() * (1.0 - 2.0 * part)) / self.width()
    }

    fn width(&self) -> f64 {
        self.to_m.value() - self.from_m.value()
    }

    /// No part of it stands above this.
    fn top(&self) -> Metres {
        self.from_level_m.max(self.to_level_m) + self.crown_m
    }
}

/// A span to be reckoned. Heights are counted from one level, which is the surface that is crossed unless given otherwise.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct SpanInput {
    /// The level distance between the ties: metres, 0.5 to 2000.
    pub span_m: Metres,
    /// The left end.
    pub left: Support,
    /// The right end; its tie at most five spans above or below the left one.
    pub right: Support,
    /// What is known of the wire when it is strung.
    pub strung: Strung,
    /// The warmth when it is strung: degrees Celsius, -60 to 60; 15.6 (60 °F) unless given.
    #[serde(default = "usual_day")]
    pub strung_at_c: Celsius,
    /// The hottest that the wire will be: degrees Celsius, from the above to 100; 48.9 (120 °F) unless given.
    #[serde(default = "usual_heat")]
    pub hot_c: Celsius,
    /// The wire, whole; one pair of WD-1 unless given.
    #[serde(default)]
    pub wire: SpanWire,
    /// The weather that it has to stand; the light district's unless given.
    #[serde(default)]
    pub loading: Loading,
    /// What it hangs over.
    #[serde(default)]
    pub over: Option<Over>,
    /// What carries it: one of the three overhead constructions; lance poles unless given.
    #[serde(default = "lance_poles")]
    pub construction: Construction,
    /// The share of its strength that the wire may be pulled with: 0.05 to 1; a half unless given.
    #[serde(default = "half")]
    pub share: Share,
    /// The lance poles at hand.
    #[serde(default)]
    pub lance_pole: LancePole,
}

const fn no_length() -> Metres {
    Metres::ZERO
}
const fn no_pressure() -> Pascals {
    Pascals::from_const(0.0)
}
const fn no_load() -> NewtonsPerMetre {
    NewtonsPerMetre::from_const(0.0)
}
/// GO 95 rule 43.1: ice of 57 lb/ft³.
const fn clear_ice() -> KilogramsPerCubicMetre {
    KilogramsPerCubicMetre::from_const(57.0 * 0.453_592_37 / (0.3048 * 0.3048 * 0.3048))
}
/// GO 95 rule 43.1: 60 °F is the normal temperature.
const fn usual_day() -> Celsius {
    fahrenheit(60.0)
}
/// NESC rule 232: clearances hold at 120 °F.
const fn usual_heat() -> Celsius {
    fahrenheit(120.0)
}
const fn lance_poles() -> Construction {
    Construction::OverheadLancePoles
}
/// A safety factor of two, as in the textbooks' examples (Mehta and Mehta, Principles of Power System, ex. 8.17);
/// planning value, editable.
const fn half() -> Share {
    Share::from_const(0.5)
}

/// A state of the span that is reckoned.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum Condition {
    /// As it is strung: bare, in still air.
    Stringing,
    /// On the hottest day: bare, in still air.
    Hot,
    /// With all its ice, at 0 °C, in still air.
    Iced,
    /// With all its ice, and wind, in the cold of the district.
    Windy,
}

impl Condition {
    /// The words for a person.
    #[must_use]
    pub fn words(self) -> &'static str {
        match self {
            Self::Stringing => "as it is strung",
            Self::Hot => "on the hottest day",
            Self::Iced => "with its ice on it",
            Self::Windy => "in the wind and cold it has to stand",
        }
    }
}

impl std::fmt::Display for Condition {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str(self.words())
    }
}

/// One end of the span.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum End {
    /// The left one.
    Left,
    /// The right one.
    Right,
}

/// A point of the span's drawing.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, ToSchema)]
pub struct SpanPoint {
    /// From the left tie, level: metres.
    pub offset_m: Metres,
    /// Above the level from which heights are counted: metres.
    pub height_m: Metres,
}

/// The least clearance in one condition.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, ToSchema)]
pub struct SpanClearance {
    /// Where it is least: metres from the left tie.
    pub offset_m: Metres,
    /// How far the wire is above the surface there: metres, negative when it hangs below.
    pub clearance_m: Metres,
}

/// How the wire hangs in one condition.
#[derive(Debug, Clone, PartialEq, Serialize, ToSchema)]
pub struct SpanHang {
    /// Its drop below the straight line between the ties, straight down in the middle of the span: metres.
    pub sag_m: Metres,
    /// The same in the plane into which the wind swings the wire: metres.
    pub slant_sag_m: Metres,
    /// The greatest drop straight down from the straight line: metres.
    pub greatest_sag_m: Metres,
    /// Where that is: metres from the left tie.
    pub greatest_sag_offset_m: Metres,
    /// How far the wind blows it aside at the most: metres.
    pub blown_aside_m: Metres,
    /// The length of the wire between the ties: metres.
    pub wire_length_m: Metres,
    /// The tension along the straight course between the ties, the same all along: newtons.
    pub level_tension_n: Newtons,
    /// The tension at the left tie: newtons.
    pub left_tension_n: Newtons,
    /// The tension at the right tie: newtons.
    pub right_tension_n: Newtons,
    /// The greater of these as a share of the wire's strength.
    pub share: Share,
    /// The wire's lowest point between the ties.
    pub lowest: SpanPoint,
    /// Where its curve is lowest, which may be outside the span: metres from the left tie.
    pub curve_lowest_offset_m: Metres,
    /// The end whose tie the wire pulls up, if it does.
    #[schema(required = true)]
    pub uplift: Option<End>,
    /// The least clearance over what is crossed.
    #[schema(required = true)]
    pub clearance: Option<SpanClearance>,
    /// Its shape from tie to tie.
    pub wire: Vec<SpanPoint>,
}

/// One condition and what the wire does in it.
#[derive(Debug, Clone, PartialEq, Serialize, ToSchema)]
pub struct SpanCondition {
    /// Which.
    pub condition: Condition,
    /// The wire's temperature: degrees Celsius.
    pub temperature_c: Celsius,
    /// What pulls on it.
    pub load: WireLoad,
    /// How it hangs; none when it breaks.
    #[schema(required = true)]
    pub hang: Option<SpanHang>,
}

/// A rule on the height over what is crossed.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, ToSchema)]
pub struct ClearanceRule {
    /// The least clearance: metres.
    pub least_m: Metres,
    /// Whose rule it is.
    pub source: String,
}

/// The clearance at its worst.
#[derive(Debug, Clone, PartialEq, Serialize, ToSchema)]
pub struct ClearanceVerdict {
    /// The condition that governs: the one with the least clearance, or that in which the wire breaks.
    pub governs: Condition,
    /// What is required: metres.
    pub required_m: Metres,
    /// The rules that bear on it; the greatest is required unless a clearance was given.
    pub rules: Vec<ClearanceRule>,
    /// What is left at the worst: metres; none when the wire breaks.
    #[schema(required = true)]
    pub least_m: Option<Metres>,
    /// How high the left tie has to be above its ground for what is required, with the sag as it is: metres.
    #[schema(required = true)]
    pub left_tie_height_m: Option<Metres>,
    /// The same for the right tie: metres.
    #[schema(required = true)]
    pub right_tie_height_m: Option<Metres>,
    /// Whether it is enough.
    pub enough: bool,
}

/// The wire's tension at its worst.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, ToSchema)]
pub struct StrengthVerdict {
    /// The condition that governs: the one with the greatest tension, or that in which the wire breaks.
    pub governs: Condition,
    /// What the wire may be pulled with: newtons.
    pub allowed_n: Newtons,
    /// The greatest tension: newtons; none when the wire breaks.
    #[schema(required = true)]
    pub greatest_n: Option<Newtons>,
    /// Whether it is no more than is allowed.
    pub enough: bool,
}

/// What keeps a span from being longer.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum SpanLimit {
    /// The wire would hang too low.
    Height,
    /// The wire would be pulled too hard, however slack it is hung.
    Strength,
    /// Nothing but the longest span that is reckoned.
    Reckoning,
}

/// The longest span that a wire bears.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, ToSchema)]
pub struct LargestSpan {
    /// Between level ties: metres.
    pub span_m: Metres,
    /// The sag to string it with: metres.
    pub sag_m: Metres,
    /// The tension along the level to string it with: newtons.
    pub tension_n: Newtons,
    /// What keeps it from being longer.
    pub limit: SpanLimit,
}

/// What does not move when the weather does.
#[derive(Debug, Clone, PartialEq, Serialize, ToSchema)]
pub struct SpanDrawing {
    /// The left support, from its foot to its tie.
    pub left: Vec<SpanPoint>,
    /// The right support, from its foot to its tie.
    pub right: Vec<SpanPoint>,
    /// The road's or the water's surface; empty when nothing is crossed.
    pub surface: Vec<SpanPoint>,
    /// The surface raised by the required clearance: the wire may not come below it.
    pub clearance_line: Vec<SpanPoint>,
}

/// A default that was used, and where it is from.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, ToSchema)]
pub struct SpanDefault {
    /// The field.
    pub field: &'static str,
    /// Where its figure is from.
    pub source: &'static str,
}

/// Something that is wrong with the span, and what to do.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, ToSchema)]
pub struct SpanFinding {
    /// A stable name.
    pub id: &'static str,
    /// What is wrong and what to do.
    pub text: String,
}

/// All that is reckoned of a span.
#[derive(Debug, Clone, PartialEq, Serialize, ToSchema)]
pub struct SpanAnswer {
    /// Whether nothing was found wrong.
    pub good: bool,
    /// What was found wrong, and what to do.
    pub findings: Vec<SpanFinding>,
    /// Each condition: stringing, hot, iced where there is ice, windy.
    pub conditions: Vec<SpanCondition>,
    /// The wire's strength at its worst.
    pub strength: StrengthVerdict,
    /// The clearance at its worst; none when nothing is crossed.
    #[schema(required = true)]
    pub clearance: Option<ClearanceVerdict>,
    /// The longest span between level ties at the height of the lower one here, over what is crossed here (the ground, when
    /// nothing is), within the share of the strength; none when even the shortest hangs too low.
    #[schema(required = true)]
    pub largest_span: Option<LargestSpan>,
    /// The lance poles on the left; none when other things carry the wire.
    #[schema(required = true)]
    pub left_poles: Option<LancePoleSet>,
    /// The lance poles on the right.
    #[schema(required = true)]
    pub right_poles: Option<LancePoleSet>,
    /// The guys on the left; none when the wire breaks, or other things carry it.
    #[schema(required = true)]
    pub left_guys: Option<Guys>,
    /// The guys on the right.
    #[schema(required = true)]
    pub right_guys: Option<Guys>,
    /// What stands still in the drawing; each condition has its wire.
    pub drawing: SpanDrawing,
    /// The defaults that were used, each with its source.
    pub defaults: Vec<SpanDefault>,
    /// The cautions that go with the work.
    pub cautions: Vec<Item>,
}

/// The plane of the chord and of the load, into which the wind swings the wire. In it the wire is a catenary whose
/// 'down' is the load's direction.
#[derive(Debug, Clone, Copy)]
struct Plane {
    /// The level span between the ties.
    level: f64,
    /// The span and the rise in the plane, square to the load and against it.
    span: f64,
    rise: f64,
    sin: f64,
    cos: f64,
    /// The straight line between the ties, which no swing changes.
    chord: f64,
    /// What a metre along the plane's span rises: nothing unless a tilted chord swings.
    tilt: f64,
    load: f64,
}

impl Plane {
    fn of(level: f64, rise: f64, load: &WireLoad) -> Self {
        let (sin, cos) = load.swing();
        // The chord less its part along the load is what is left square to it.
        let span = level.hypot(rise * sin);
        Self {
            level,
            span,
            rise: rise * cos,
            sin,
            cos,
            chord: level.hypot(rise),
            tilt: rise * sin * sin / span,
            load: load.resultant_n_per_m.value(),
        }
    }

    fn curve(&self, half: f64) -> Catenary {
        Catenary::settled(self.span, self.rise, half)
    }

    /// How much longer than the chord the wire would be with no pull on it: its length less its stretch, which is the mean
    /// tension times the length over the stiffness. The integral of the tension along a catenary is
    /// H / 2 (span + c cosh 2m sinh 2u). With it, how fast that rises with the half-span over the constant.
    fn slack(&self, half: f64, stiffness: f64) -> (f64, f64) {
        let over_less_one = catenary::sinh_over_less_one(half);
        let over = 1.0 + over_less_one;
        let sinh = over * half;
        let cosh = (1.0 + sinh * sinh).sqrt();
        let over_rises = (cosh - over) / half;
        let level = self.span * over;
        let length = (self.rise * self.rise + level * level).sqrt();
        let excess = self.span * self.span * over_less_one * (2.0 + over_less_one) / (length + self.chord);
        let steep = 2.0 * (self.rise / level) * (self.rise / level);
        let twice = (1.0 + steep) * over * cosh;
        let twice_rises = (1.0 - steep) * over_rises * cosh + (1.0 + steep) * over * sinh;
        let pull = self.load * self.span * self.span / (4.0 * half * stiffness);
        let slack = excess - pull * (1.0 + twice);
        let rises = self.span * level * over_rises / length + pull * ((1.0 + twice) / half - twice_rises);
        (slack, rises)
    }

    /// The curve in which a wire of this slack hangs; none when it breaks.
    ///
    /// Times its half-span over the constant, the slack is nearly a cubic, the textbooks' change of state. Newton's method
    /// is quick on it, and is kept between a curve that is too tight and one that is too slack.
    fn hang(&self, slack: f64, wire: &SpanWire) -> Option<Catenary> {
        let (strength, stiffness) = (wire.strength_n.value(), wire.stiffness_n.value());
        let chord = self.chord;
        // A tenth longer than the wire is too slack: what it can bear stretches it by half that.
        let longest = 1.1 * (chord + slack);
        if longest <= chord * (1.0 + MOST_STRETCH) {
            return None;
        }
        let mut tight = self.load * self.span / (2.0 * strength);
        // Where that is little over the span, the parabola's bound is near enough, and cheap.
        let over = ((longest - self.rise) * (longest + self.rise)).sqrt() / self.span - 1.0;
        let mut slackest = if over < 1.0 {
            (6.0 * over).sqrt()
        } else {
            catenary::half_of_length(self.span, self.rise, longest)
        };
        if slackest <= tight || self.slack(tight, stiffness).0 > slack {
            return None;
        }
        let bend = self.span * self.span / (6.0 * chord);
        let stretch = self.load * chord * chord / (2.0 * stiffness);
        let mut half = (slack.max(0.0) / bend).sqrt() + (stretch / bend).cbrt();
        for _ in 0..200 {
            if !(half > tight && half < slackest) {
                half = f64::midpoint(tight, slackest);
            }
            let (here, rises) = self.slack(half, stiffness);
            let off = here - slack;
            if off > 0.0 {
                slackest = half;
            } else {
                tight = half;
            }
            let step = half * off / (off + half * rises);
            half -= step;
            // The next step would be the square of this one.
            if step.abs() <= 1e-9 * half || slackest - tight <= CLOSE * half {
                break;
            }
        }
        let curve = self.curve(half);
        (self.greatest_tension(&curve) <= strength).then_some(curve)
    }

    fn greatest_tension(&self, curve: &Catenary) -> f64 {
        let (left, right) = curve.tensions(NewtonsPerMetre::bounded(self.load));
        left.max(right).value()
    }

    /// From an offset along the level to one in the plane.
    fn along(&self, x: f64) -> f64 {
        x * (self.span / self.level)
    }

    /// The wire's height above the left tie, straight up.
    fn height(&self, curve: &Catenary, x: f64) -> f64 {
        let s = self.along(x);
        s * self.tilt + self.cos * curve.y(s)
    }

    fn slope(&self, curve: &Catenary, x: f64) -> f64 {
        (self.tilt + self.cos * curve.slope(self.along(x))) * (self.span / self.level)
    }

    /// Where the wire has this slope along the level.
    fn offset_of_slope(&self, curve: &Catenary, slope: f64) -> f64 {
        let inside = (slope * (self.level / self.span) - self.tilt) / self.cos;
        curve.offset_of_slope(inside) * (self.level / self.span)
    }

    /// The pull on an end along the line and across it.
    fn pulls(&self, curve: &Catenary, end: End) -> (Newtons, Newtons) {
        let s = match end {
            End::Left => 0.0,
            End::Right => self.span,
        };
        let pull = self.load * curve.c();
        let across = self.sin * (self.rise / self.span - curve.slope(s));
        (Newtons::bounded(pull * (self.level / self.span)), Newtons::bounded((pull * across).abs()))
    }

    fn clearance(&self, curve: &Catenary, left: f64, over: &Over) -> SpanClearance {
        let (from, to) = (over.from_m.value(), over.to_m.value());
        // A hanging wire less a road is a valley: it has one bottom.
        let closing = |x: f64| self.slope(curve, x) - over.slope_at(x);
        let offset = if over.crown_m == Metres::ZERO {
            self.offset_of_slope(curve, over.slope_at(from)).clamp(from, to)
        } else if closing(from) >= 0.0 {
            from
        } else if closing(to) <= 0.0 {
            to
        } else {
            root(from, to, 1e-12, closing)
        };
        SpanClearance {
            offset_m: Metres::bounded(offset),
            clearance_m: Metres::bounded(left + self.height(curve, offset) - over.level_at(offset)),
        }
    }
}

/// A state to be reckoned: its load and its warmth.
#[derive(Debug, Clone, Copy)]
struct State {
    condition: Condition,
    temperature_c: Celsius,
    load: WireLoad,
}

/// The states that a wire goes through.
fn states(wire: SpanWire, strung_at: Celsius, hot: Celsius, weather: Weather) -> Vec<State> {
    let bare = WireLoad::of(wire, Weather::STILL);
    let mut states = vec![
        State { condition: Condition::Stringing, temperature_c: strung_at, load: bare },
        State { condition: Condition::Hot, temperature_c: hot, load: bare },
    ];
    if weather.ice_m > Metres::ZERO {
        let still = Weather { wind_pa: no_pressure(), added_n_per_m: no_load(), ..weather };
        states.push(State {
            condition: Condition::Iced,
            temperature_c: Weather::STILL.temperature_c,
            load: WireLoad::of(wire, still),
        });
    }
    states.push(State {
        condition: Condition::Windy,
        temperature_c: weather.temperature_c,
        load: WireLoad::of(wire, weather),
    });
    states
}

/// How a slack changes from one warmth to another.
fn warmed(slack: f64, chord: f64, wire: &SpanWire, from: Celsius, to: Celsius) -> f64 {
    let growth = wire.expansion_per_c.value() * (to.value() - from.value());
    slack + growth * (chord + slack)
}

/// Reckons a span.
///
/// # Units
/// As each field says.
///
/// # Errors
/// A figure out of its range, by its field's name; a span over a railway; figures that contradict each other.
///
/// # Source
/// As in the module's head; checked in `tests/reckoning/span.rs` against published examples and tables.
///
/// ```
/// use laywire_craft::span::{Condition, SpanInput, reckon};
/// // One pair of WD-1 over 100 ft with 2 ft of sag, ties at 6 m: by the parabola 5.7 lb (25.3 N) when it is strung.
/// let input: SpanInput = serde_json::from_str(
///     r#"{"span_m": 30.48, "left": {"tie_height_m": 6}, "right": {"tie_height_m": 6}, "strung": {"sag_m": 0.6096}}"#,
/// )?;
/// let answer = reckon(&input)?;
/// let strung = answer.conditions[0].hang.as_ref().unwrap();
/// assert_eq!(format!("{:.1}", strung.level_tension_n), "25.3 N");
/// assert_eq!(answer.strength.governs, Condition::Windy);
/// # Ok::<(), Box<dyn std::error::Error>>(())
/// ```
pub fn reckon(input: &SpanInput) -> Result<SpanAnswer, SpanError> {
    reckon_under(input, Profile::field())
}

/// [`reckon`], with the heights of a profile.
///
/// # Errors
/// As there.
pub fn reckon_under(input: &SpanInput, profile: &Profile) -> Result<SpanAnswer, SpanError> {
    let weather = check(input)?;
    let rise = input.right.level() - input.left.level();
    if rise.value().abs() > MOST_STEEP * input.span_m.value() {
        return Err(SpanError::TooSteep { rise, span: input.span_m });
    }
    let bare = WireLoad::of(input.wire, Weather::STILL);
    let strung = strung(input, rise, &bare)?;
    let plane = Plane::of(input.span_m.value(), rise.value(), &bare);
    let (slack, _) = plane.slack(plane.span / (2.0 * strung.c()), input.wire.stiffness_n.value());

    let mut conditions = Vec::with_capacity(4);
    let mut pulls = [Some((Newtons::ZERO, Newtons::ZERO)); 2];
    for state in states(input.wire, input.strung_at_c, input.hot_c, weather) {
        let plane = Plane::of(input.span_m.value(), rise.value(), &state.load);
        let curve = if state.condition == Condition::Stringing {
            Some(strung)
        } else {
            let slack = warmed(slack, plane.chord, &input.wire, input.strung_at_c, state.temperature_c);
            plane.hang(slack, &input.wire)
        };
        for (worst, end) in pulls.iter_mut().zip([End::Left, End::Right]) {
            *worst = worst.zip(curve).map(|((along, across), curve)| {
                let (more_along, more_across) = plane.pulls(&curve, end);
                if more_along + more_across > along + across {
                    (more_along, more_across)
                } else {
                    (along, across)
                }
            });
        }
        let hang = curve.map(|curve| hang(input, &plane, &curve));
        conditions.push(SpanCondition {
            condition: state.condition,
            temperature_c: state.temperature_c,
            load: state.load,
            hang,
        });
    }

    let strength = strength_verdict(input, &conditions);
    let clearance = input.over.as_ref().map(|over| clearance_verdict(input, over, profile, &conditions));
    let floor = match (&input.over, &clearance) {
        (Some(over), Some(verdict)) => over.top() + verdict.required_m,
        _ => input.left.ground_m.max(input.right.ground_m),
    };
    let drop = input.left.level().min(input.right.level()) - floor;
    let largest = longest(input.wire, input.strung_at_c, input.hot_c, weather, input.share, drop);
    let on_lance_poles = input.construction == Construction::OverheadLancePoles;
    let poles = |height| on_lance_poles.then(|| pole_set(input.lance_pole, height)).transpose();
    let stayed = |height, worst: Option<(Newtons, Newtons)>| {
        worst.filter(|_| on_lance_poles).map(|(along, across)| guys(height, along, across))
    };
    let mut answer = SpanAnswer {
        good: false,
        findings: Vec::new(),
        strength,
        largest_span: largest,
        left_poles: poles(input.left.tie_height_m)?,
        right_poles: poles(input.right.tie_height_m)?,
        left_guys: stayed(input.left.tie_height_m, pulls[0]),
        right_guys: stayed(input.right.tie_height_m, pulls[1]),
        drawing: drawing(input, clearance.as_ref().map(|verdict| verdict.required_m)),
        defaults: defaults(input),
        cautions: cautions(input),
        conditions,
        clearance,
    };
    answer.findings = findings(input, &answer);
    answer.good = answer.findings.is_empty();
    Ok(answer)
}

/// The longest span between level ties that keeps a wire within a share of its strength and within a drop below its ties,
/// strung just so tight, on a day of 60 °F, that the worst weather pulls it with no more; its hottest day has 120 °F.
///
/// # Units
/// The drop is in metres, from the ties to the lowest that the wire may hang.
///
/// # Errors
/// A wire, a weather or a share out of range.
///
/// # Source
/// By hand: with height to spare a wire spans 1.3255 T / w, for u tanh u = 1. One pair of WD-1 of 0.15 in bears 0.8637 lb/ft
/// in heavy loading, and held to 100 lb spans 153.5 ft.
///
/// ```
/// use laywire_craft::span::{Loading, SpanLimit, SpanWire, largest_span};
/// use laywire_craft::units::{Share, feet};
/// let half = Share::from_const(0.5);
/// let longest = largest_span(SpanWire::WD_1, Loading::Heavy, half, feet(100.0))?.unwrap();
/// assert_eq!(longest.limit, SpanLimit::Strength);
/// assert_eq!(format!("{:.1}", longest.span_m.value() / 0.3048), "153.5");
/// # Ok::<(), laywire_craft::span::SpanError>(())
/// ```
pub fn largest_span(
    wire: SpanWire,
    loading: Loading,
    share: Share,
    drop: Metres,
) -> Result<Option<LargestSpan>, SpanError> {
    wire.check()?;
    let weather = loading.weather();
    weather.check()?;
    within("share", share.value(), 0.05, 1.0)?;
    Ok(longest(wire, usual_day(), usual_heat(), weather, share, drop))
}

fn longest(
    wire: SpanWire,
    strung_at: Celsius,
    hot: Celsius,
    weather: Weather,
    share: Share,
    drop: Metres,
) -> Option<LargestSpan> {
    let states = states(wire, strung_at, hot, weather);
    let stiffness = wire.stiffness_n.value();
    let allowed = wire.strength_n.value() * share.value();
    let level = |span: f64, state: &State| Plane::of(span, 0.0, &state.load);
    // The tightest wire that is pulled with no more than is allowed: its slack in the warmth of stringing, and the state that
    // pulls it so, with its curve. Heat slackens a bare wire and still air an iced one, so that only the other two can.
    let hardest = |span: f64| {
        let pulled = |state: &State| {
            let plane = level(span, state);
            let half = tightest(plane.load * span, allowed);
            let (slack, _) = plane.slack(half, stiffness);
            let growth = wire.expansion_per_c.value() * (state.temperature_c.value() - strung_at.value());
            (slack - growth / (1.0 + growth) * (span + slack), state.condition, plane.curve(half))
        };
        let pulling = |state: &&State| !matches!(state.condition, Condition::Hot | Condition::Iced);
        states.iter().filter(pulling).map(pulled).max_by(|one, other| one.0.total_cmp(&other.0))
    };
    // As the drop is nearly the square of the span, its root is nearly straight, and its crossing soon found.
    let lowest = |span: f64| {
        let Some((slack, condition, curve)) = hardest(span) else { return f64::INFINITY };
        let drop_in = |state: &State| {
            let plane = level(span, state);
            let curve = if state.condition == condition {
                Some(curve)
            } else {
                plane.hang(warmed(slack, span, &wire, strung_at, state.temperature_c), &wire)
            };
            curve.map_or(f64::INFINITY, |curve| curve.sag().value() * plane.cos)
        };
        states.iter().skip(1).map(drop_in).fold(0.0, f64::max).sqrt()
    };
    let most = states
        .iter()
        .map(|state| WIDEST * allowed / state.load.resultant_n_per_m.value())
        .fold(MOST_SPAN.value(), f64::min);
    let least = LEAST_SPAN.value();
    let reach = drop.value().max(0.0).sqrt();
    if most <= least || lowest(least) >= reach {
        return None;
    }
    let (span, limit) = if lowest(most) > reach {
        (root(least, most, 1e-7, |span| lowest(span) - reach), SpanLimit::Height)
    } else if most < MOST_SPAN.value() {
        (most, SpanLimit::Strength)
    } else {
        (most, SpanLimit::Reckoning)
    };
    let stringing = states.first()?;
    let plane = level(span, stringing);
    let (slack, _, _) = hardest(span)?;
    let curve = plane.hang(slack, &wire)?;
    Some(LargestSpan {
        span_m: Metres::bounded(span),
        sag_m: curve.sag(),
        tension_n: curve.level_tension(stringing.load.resultant_n_per_m),
        limit,
    })
}

/// Half the span over the constant for a level wire with this tension at its ties, the tighter of the two: c cosh u = T / w.
/// By Newton's method, from below, where it never oversteps.
fn tightest(weight: f64, tension: f64) -> f64 {
    let pull = 2.0 * tension / weight;
    let mut half = 1.0 / pull;
    for _ in 0..100 {
        let sinh = half.sinh();
        let cosh = (1.0 + sinh * sinh).sqrt();
        let next = half + (cosh - half * pull) / (pull - sinh);
        // At the widest span the two curves meet, and rounding may step past: stay.
        if !(next > half && next < 1.2) {
            break;
        }
        // The next step would be the square of this one.
        let near = next <= half * (1.0 + 1e-8);
        half = next;
        if near {
            break;
        }
    }
    half
}

fn check(input: &SpanInput) -> Result<Weather, SpanError> {
    within("span_m", input.span_m.value(), LEAST_SPAN.value(), MOST_SPAN.value())?;
    within("left.tie_height_m", input.left.tie_height_m.value(), 0.1, 100.0)?;
    within("right.tie_height_m", input.right.tie_height_m.value(), 0.1, 100.0)?;
    within("left.ground_m", input.left.ground_m.value(), -1000.0, 1000.0)?;
    within("right.ground_m", input.right.ground_m.value(), -1000.0, 1000.0)?;
    within("strung_at_c", input.strung_at_c.value(), -60.0, 60.0)?;
    within("hot_c", input.hot_c.value(), -60.0, 100.0)?;
    within("share", input.share.value(), 0.05, 1.0)?;
    if input.hot_c < input.strung_at_c {
        return Err(SpanError::NotHot { hot: input.hot_c, strung_at: input.strung_at_c });
    }
    if !input.construction.is_overhead() {
        return Err(SpanError::NotOverhead { construction: input.construction });
    }
    input.wire.check()?;
    let weather = input.loading.weather();
    weather.check()?;
    if let Some(over) = &input.over {
        over.check(input.span_m)?;
    }
    Ok(weather)
}

/// The curve in which the wire is strung.
fn strung(input: &SpanInput, rise: Metres, bare: &WireLoad) -> Result<Catenary, SpanError> {
    let load = bare.resultant_n_per_m;
    // Span, rise and load have been looked at: what is out of range now is what it is strung by.
    let (curve, what) = match input.strung {
        Strung::Tension(tension) => {
            (Catenary::of_tension(input.span_m, rise, tension, load), "strung.tension_n")
        }
        Strung::Sag(sag) => (Catenary::of_sag(input.span_m, rise, sag), "strung.sag_m"),
        Strung::WireLength(wire) => (Catenary::of_length(input.span_m, rise, wire), "strung.wire_length_m"),
    };
    let curve = curve.map_err(|error| OutOfRange { what, ..error })?;
    let (left, right) = curve.tensions(load);
    let tension = left.max(right);
    if tension > input.wire.strength_n {
        return Err(SpanError::TooTight { tension, strength: input.wire.strength_n });
    }
    Ok(curve)
}

fn hang(input: &SpanInput, plane: &Plane, curve: &Catenary) -> SpanHang {
    let load = NewtonsPerMetre::bounded(plane.load);
    let (left_tension_n, right_tension_n) = curve.tensions(load);
    let (slant_offset, slant_greatest) = curve.greatest_sag();
    let span = input.span_m.value();
    let left = input.left.level().value();
    let point = |x: f64| SpanPoint {
        offset_m: Metres::bounded(x),
        height_m: Metres::bounded(left + plane.height(curve, x)),
    };
    let curve_lowest = plane.offset_of_slope(curve, 0.0);
    let lowest = point(curve_lowest.clamp(0.0, span));
    let uplift = if curve_lowest < 0.0 {
        Some(End::Left)
    } else if curve_lowest > span {
        Some(End::Right)
    } else {
        None
    };
    SpanHang {
        sag_m: Metres::bounded(curve.sag().value() * plane.cos),
        slant_sag_m: curve.sag(),
        greatest_sag_m: Metres::bounded(slant_greatest.value() * plane.cos),
        greatest_sag_offset_m: Metres::bounded(slant_offset.value() * (plane.level / plane.span)),
        blown_aside_m: Metres::bounded(slant_greatest.value() * plane.sin),
        wire_length_m: curve.length(),
        level_tension_n: curve.level_tension(load),
        left_tension_n,
        right_tension_n,
        share: Share::bounded(left_tension_n.max(right_tension_n).value() / input.wire.strength_n.value()),
        lowest,
        curve_lowest_offset_m: Metres::bounded(curve_lowest),
        uplift,
        clearance: input.over.as_ref().map(|over| plane.clearance(curve, left, over)),
        wire: (0..=DRAWN_STRETCHES)
            .map(|n| point(span * f64::from(n) / f64::from(DRAWN_STRETCHES)))
            .collect(),
    }
}

fn strength_verdict(input: &SpanInput, conditions: &[SpanCondition]) -> StrengthVerdict {
    let allowed = Newtons::bounded(input.wire.strength_n.value() * input.share.value());
    let mut verdict = StrengthVerdict {
        governs: Condition::Stringing,
        allowed_n: allowed,
        greatest_n: Some(Newtons::ZERO),
        enough: true,
    };
    for state in conditions {
        let tension = state.hang.as_ref().map(|hang| hang.left_tension_n.max(hang.right_tension_n));
        // A wire that breaks outweighs every tension; of several, the first.
        let worse = verdict.greatest_n.is_some_and(|so_far| tension.is_none_or(|tension| tension > so_far));
        if worse {
            verdict = StrengthVerdict {
                governs: state.condition,
                allowed_n: allowed,
                greatest_n: tension,
                enough: tension.is_some_and(|tension| tension <= allowed),
            };
        }
    }
    verdict
}

/// What the field and the civil code ask over an obstacle, and which of them governs.
fn rules(over: &Over, profile: &Profile) -> (Vec<ClearanceRule>, Metres) {
    let Some(rules) = profile.heights_over(over.obstacle, None) else {
        let source = "common practice, no source: clear of the highest water".to_owned();
        return (vec![ClearanceRule { least_m: Metres::ZERO, source }], Metres::ZERO);
    };
    let both = [rules.field, rules.civil];
    let governs = rules.governs.least_m;
    (both.map(|rule| ClearanceRule { least_m: rule.least_m, source: rule.source }).into(), governs)
}

fn clearance_verdict(
    input: &SpanInput,
    over: &Over,
    profile: &Profile,
    conditions: &[SpanCondition],
) -> ClearanceVerdict {
    let (rules, governs_m) = rules(over, profile);
    let required = over.least_clearance_m.unwrap_or(governs_m);
    let mut governs = Condition::Stringing;
    let mut least = Some(Metres::MOST);
    for state in conditions {
        let here = state.hang.as_ref().and_then(|hang| hang.clearance).map(|clearance| clearance.clearance_m);
        if least.is_some_and(|so_far| here.is_none_or(|here| here < so_far)) {
            (governs, least) = (state.condition, here);
        }
    }
    let raised = |tie: Metres| least.map(|least| (tie + (required - least)).max(Metres::ZERO));
    ClearanceVerdict {
        governs,
        required_m: required,
        rules,
        least_m: least,
        left_tie_height_m: raised(input.left.tie_height_m),
        right_tie_height_m: raised(input.right.tie_height_m),
        enough: least.is_some_and(|least| least.value() >= required.value() - HAIR),
    }
}

fn drawing(input: &SpanInput, required: Option<Metres>) -> SpanDrawing {
    let support = |offset_m, support: &Support| {
        [support.ground_m, support.level()].map(|height_m| SpanPoint { offset_m, height_m }).to_vec()
    };
    let surface: Vec<_> = input.over.as_ref().map_or_else(Vec::new, |over| {
        let stretches = if over.crown_m == Metres::ZERO { 1 } else { DRAWN_SURFACE };
        let offset = |n: u8| over.from_m.value() + over.width() * f64::from(n) / f64::from(stretches);
        let point =
            |x: f64| SpanPoint { offset_m: Metres::bounded(x), height_m: Metres::bounded(over.level_at(x)) };
        (0..=stretches).map(|n| point(offset(n))).collect()
    });
    let required = required.unwrap_or(Metres::ZERO);
    let raised = |point: &SpanPoint| SpanPoint { height_m: point.height_m + required, ..*point };
    SpanDrawing {
        left: support(Metres::ZERO, &input.left),
        right: support(input.span_m, &input.right),
        clearance_line: surface.iter().map(raised).collect(),
        surface,
    }
}

fn findings(input: &SpanInput, answer: &SpanAnswer) -> Vec<SpanFinding> {
    let mut found = Vec::new();
    let mut find = |id, text| found.push(SpanFinding { id, text });
    let strength = &answer.strength;
    match strength.greatest_n {
        None => find(
            "breaks",
            format!(
                "The wire breaks {}: shorten the span or hang it slacker, or go another way than overhead.",
                strength.governs
            ),
        ),
        Some(greatest) if !strength.enough => find(
            "over_share",
            format!(
                "The wire is pulled with {greatest:.0} {}, and {:.0} is allowed: hang it slacker or shorten the span.",
                strength.governs, strength.allowed_n
            ),
        ),
        Some(_) => {}
    }
    if let Some(clearance) = &answer.clearance {
        if let (Some(least), Some(left), Some(right), false) =
            (clearance.least_m, clearance.left_tie_height_m, clearance.right_tie_height_m, clearance.enough)
        {
            find(
                "too_low",
                format!(
                    "The wire is {least} above the surface {}, and {} is required: tie it at {left} on the left and {right} \
                     on the right, or with less sag.",
                    clearance.governs, clearance.required_m
                ),
            );
        }
        for rule in clearance.rules.iter().filter(|rule| rule.least_m > clearance.required_m) {
            find(
                "below_rule",
                format!(
                    "A clearance of {} was asked for, which is less than the rule's {} ({}).",
                    clearance.required_m, rule.least_m, rule.source
                ),
            );
        }
    }
    let lifted = |end| {
        let up = |state: &&SpanCondition| state.hang.as_ref().is_some_and(|hang| hang.uplift == Some(end));
        answer.conditions.iter().find(up).map(|state| state.condition)
    };
    for (end, id, side) in [(End::Left, "uplift_left", "left"), (End::Right, "uplift_right", "right")] {
        if let Some(condition) = lifted(end) {
            find(
                id,
                format!(
                    "The wire pulls its {side} tie up {condition}: anchor that tie to the ground, raise it, or hang the wire \
                     slacker."
                ),
            );
        }
    }
    for (set, id, side) in
        [(answer.left_poles, "poles_left", "left"), (answer.right_poles, "poles_right", "right")]
    {
        if let Some(set) = set.filter(|set| !set.enough) {
            find(
                id,
                format!(
                    "Two lance poles of {} do not carry the {side} tie with an overlap of 1.52 m (5 ft): take poles of {}, or \
                     a tree or a standing pole.",
                    input.lance_pole.length_m, set.least_length_m
                ),
            );
        }
    }
    found
}

fn defaults(input: &SpanInput) -> Vec<SpanDefault> {
    let mut used = Vec::new();
    let mut name = |field, source| used.push(SpanDefault { field, source });
    if input.wire == SpanWire::WD_1 {
        name("wire.weight_n_per_m", WD_1_WEIGHT.source);
        name("wire.strength_n", WD_1_STRENGTH.source);
        name("wire.diameter_m", WD_1_DIAMETER.source);
        name("wire.stiffness_n", WD_1_STIFFNESS.source);
        name("wire.expansion_per_c", WD_1_EXPANSION.source);
    }
    match input.loading {
        Loading::Custom(weather) => {
            if weather.ice_m > Metres::ZERO && weather.ice_density_kg_per_m3 == clear_ice() {
                name("loading.custom.ice_density_kg_per_m3", "GO 95 rule 43.1: 57 lb/ft³");
            }
        }
        Loading::Heavy | Loading::Medium | Loading::Light => name(
            "loading",
            "NESC (IEEE C2) rule 250B, in part from memory: check the edition in force; ice of 57 lb/ft³ by GO 95 rule 43.1",
        ),
    }
    if input.strung_at_c == usual_day() {
        name("strung_at_c", "GO 95 rule 43.1: 60 °F is the normal temperature");
    }
    if input.hot_c == usual_heat() {
        name("hot_c", "NESC rule 232: clearances hold at 120 °F");
    }
    if input.share == half() {
        name("share", "planning value, editable: a safety factor of two");
    }
    if input.construction == Construction::OverheadLancePoles && input.lance_pole == LancePole::USUAL {
        name("lance_pole.length_m", "from memory, editable: 14 ft");
        name("lance_pole.set_m", "International encyclopedia, Military Telegraph: lances 2 ft in the ground");
    }
    used
}

/// The construction's own cautions; over nothing, those of a path, which adds none.
fn cautions(input: &SpanInput) -> Vec<Item> {
    let obstacle = input.over.as_ref().map_or(Obstacle::Path, |over| over.obstacle);
    guide::cautions(obstacle, input.construction)
}
