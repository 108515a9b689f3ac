//! The kinds of wire a crew may lay, with what is known of each: resistance, loss, capacitance, put-ups, weight, strength.
//! Every figure carries where it was read and how far it may be trusted; what nobody could read is absent, not guessed.
//! Figures that a unit has measured on its own wire take the place of any of these.

use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

use crate::units::{
    DecibelsPerMetre, FaradsPerMetre, Metres, Newtons, NewtonsPerMetre, OhmsPerMetre, PerCelsius, Share,
    feet, pounds, pounds_per_foot,
};

const FEET_IN_A_MILE: f64 = 5_280.0;
const METRES_IN_A_MILE: f64 = feet(FEET_IN_A_MILE).value();

/// How far a figure may be trusted.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum Standing {
    /// Read in the source that is named.
    Published,
    /// Reckoned from published figures, in the way that the source tells.
    Reckoned,
    /// From memory, not checked against the source.
    FromMemory,
    /// A value to plan with, which the unit's own measurement should replace.
    PlanningValue,
    /// Given with the question.
    Given,
}

/// One figure, its standing, and where it is from.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Figure<T> {
    /// The value.
    pub value: T,
    /// How far it may be trusted.
    pub standing: Standing,
    /// Where it was read, or how it was reckoned.
    pub source: &'static str,
}

impl<T> Figure<T> {
    const fn new(value: T, standing: Standing, source: &'static str) -> Self {
        Self { value, standing, source }
    }
}

/// A gauge of the American Wire Gauge.
///
/// # Units
/// The gauge's number, from 4 to 40; a greater number is a thinner wire.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(try_from = "u8", into = "u8")]
#[schema(value_type = u8, minimum = 4, maximum = 40)]
pub struct Gauge(u8);

/// A number that is no gauge of the table.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
#[error("a gauge of the American Wire Gauge is {0}; give a number from 4 to 40")]
pub struct GaugeError(u8);

impl Gauge {
    /// Checks the gauge's number.
    ///
    /// # Errors
    /// A number outside 4 to 40.
    pub const fn new(number: u8) -> Result<Self, GaugeError> {
        if number >= 4 && number <= 40 { Ok(Self(number)) } else { Err(GaugeError(number)) }
    }

    /// The number.
    #[must_use]
    pub const fn number(self) -> u8 {
        self.0
    }

    /// Resistance of a solid conductor of annealed copper at 20 °C.
    ///
    /// # Units
    /// Ohms in a metre of one conductor.
    ///
    /// # Source
    /// The gauge by its definition, d = 0.005 in × 92^((36 − n) / 39); copper of 100 % IACS, 10.371 Ω·cmil/ft.
    ///
    /// ```
    /// use laywire_craft::wire_type::Gauge;
    /// // 22 AWG: 52.96 Ω/km (the table at cirris.com: 16.14 Ω in 1000 ft).
    /// assert_eq!(Gauge::new(22)?.copper().to_string(), "0.05296 Ω/m");
    /// # Ok::<(), laywire_craft::wire_type::GaugeError>(())
    /// ```
    #[must_use]
    pub fn copper(self) -> OhmsPerMetre {
        let mils = 5.0 * 92f64.powf((36.0 - f64::from(self.0)) / 39.0);
        OhmsPerMetre::bounded(10.371 / (mils * mils) / 0.3048)
    }

    /// Resistance of a solid conductor of aluminium at 20 °C, taken as 61 % of copper's conductivity (from memory).
    fn aluminium(self) -> OhmsPerMetre {
        OhmsPerMetre::bounded(self.copper().value() / 0.61)
    }
}

impl TryFrom<u8> for Gauge {
    type Error = GaugeError;
    fn try_from(number: u8) -> Result<Self, GaugeError> {
        Self::new(number)
    }
}

impl From<Gauge> for u8 {
    fn from(gauge: Gauge) -> u8 {
        gauge.0
    }
}

/// A kind of wire.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum WireType {
    /// WD-1/TT: a twisted pair, each conductor of four copper and three steel strands.
    #[serde(rename = "wd_1_tt")]
    Wd1Tt,
    /// WD-1A/TT: as WD-1/TT, without the nylon jacket, the pair bonded.
    #[serde(rename = "wd_1a_tt")]
    Wd1aTt,
    /// WD-36/TT: the light assault wire, solid aluminium of 23 AWG.
    #[serde(rename = "wd_36_tt")]
    Wd36Tt,
    /// WF-16/U: four conductors of copper-cadmium.
    #[serde(rename = "wf_16_u")]
    Wf16U,
    /// W-110-B: the older, heavier pair.
    #[serde(rename = "w_110_b")]
    W110B,
    /// A pair of solid copper conductors of a gauge.
    CopperAwg(Gauge),
    /// Any other wire: its figures have to be given.
    Other,
}

impl std::fmt::Display for WireType {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self {
            Self::Wd1Tt => f.write_str("WD-1/TT"),
            Self::Wd1aTt => f.write_str("WD-1A/TT"),
            Self::Wd36Tt => f.write_str("WD-36/TT"),
            Self::Wf16U => f.write_str("WF-16/U"),
            Self::W110B => f.write_str("W-110-B"),
            Self::CopperAwg(gauge) => write!(f, "copper of {} AWG", gauge.number()),
            Self::Other => f.write_str("other wire"),
        }
    }
}

/// Figures that were measured on the wire at hand, or read on its label. Each one given takes the place of the built-in.
#[derive(Debug, Clone, Copy, PartialEq, Default, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct OwnFigures {
    /// Resistance of ONE conductor at 20 °C, in ohms per metre, 1e-5 to 10. Half of a pair's loop resistance.
    #[serde(default)]
    pub resistance_ohm_per_m: Option<OhmsPerMetre>,
    /// How far the resistance may be off, as a share of it, 0 to 0.5.
    #[serde(default)]
    pub resistance_tolerance: Option<Share>,
    /// Change of resistance for each degree, as a share of the resistance at 20 °C, 0 to 0.007.
    #[serde(default)]
    pub temperature_coefficient_per_c: Option<PerCelsius>,
    /// Loss at 1 kHz with the wire wet, in decibels per metre, 0 to 0.1.
    #[serde(default)]
    pub loss_wet_db_per_m: Option<DecibelsPerMetre>,
    /// Loss at 1 kHz with the wire dry, in decibels per metre, 0 to 0.1.
    #[serde(default)]
    pub loss_dry_db_per_m: Option<DecibelsPerMetre>,
    /// Capacitance between the two conductors with the wire wet, in farads per metre, 1e-12 to 1e-8.
    #[serde(default)]
    pub capacitance_wet_f_per_m: Option<FaradsPerMetre>,
    /// Capacitance between the two conductors with the wire dry, in farads per metre, 1e-12 to 1e-8.
    #[serde(default)]
    pub capacitance_dry_f_per_m: Option<FaradsPerMetre>,
    /// How far the capacitance may be off, as a share of it, 0 to 0.9.
    #[serde(default)]
    pub capacitance_tolerance: Option<Share>,
}

/// What is known of a wire. A figure that nobody could read is `None`.
#[derive(Debug, Clone, PartialEq)]
pub struct WireSheet {
    /// Resistance of one conductor at 20 °C.
    pub resistance: Option<Figure<OhmsPerMetre>>,
    /// How far the resistance may be off.
    pub resistance_tolerance: Figure<Share>,
    /// Change of resistance for each degree.
    pub temperature_coefficient: Figure<PerCelsius>,
    /// Loss at 1 kHz, wet.
    pub loss_wet: Option<Figure<DecibelsPerMetre>>,
    /// Loss at 1 kHz, dry.
    pub loss_dry: Option<Figure<DecibelsPerMetre>>,
    /// Capacitance of the pair, wet.
    pub capacitance_wet: Option<Figure<FaradsPerMetre>>,
    /// Capacitance of the pair, dry.
    pub capacitance_dry: Option<Figure<FaradsPerMetre>>,
    /// How far the capacitance may be off.
    pub capacitance_tolerance: Figure<Share>,
    /// The lengths it is issued in, shortest first.
    pub put_ups: Vec<Figure<Metres>>,
    /// Its weight, all conductors together.
    pub weight: Option<Figure<NewtonsPerMetre>>,
    /// How broad it is, insulation and all.
    pub diameter: Option<Figure<Metres>>,
    /// The pull that breaks it, all conductors together.
    pub strength: Option<Figure<Newtons>>,
    /// The pull that would double its length if it did not break.
    pub stiffness: Option<Figure<Newtons>>,
    /// How much it grows with warmth, as a part of itself.
    pub expansion: Option<Figure<PerCelsius>>,
}

const TABLE_1_1: &str = "US Army subcourse SS0440 p. 11, table 1-1";
const GIVEN: &str = "given with the question";
const COPPER_COEFFICIENT: Figure<PerCelsius> = Figure::new(
    PerCelsius::from_const(0.003_93),
    Standing::FromMemory,
    "annealed copper at 20 °C, 0.00393 per degree: NBS Handbook 100, Copper Wire Tables, 1966 (from memory)",
);
/// What one pair of WD-1 is to a span.
pub(crate) const WD_1_WEIGHT: Figure<NewtonsPerMetre> = Figure::new(
    pounds_per_foot(48.0 / FEET_IN_A_MILE),
    Standing::Published,
    "SS0440 p. 11, table 1-1: WD-1/TT, 48 lb a mile",
);
pub(crate) const WD_1_DIAMETER: Figure<Metres> = Figure::new(
    feet(0.15 / 12.0),
    Standing::FromMemory,
    "from memory, not checked: 0.12 to 0.15 in; the greater, which catches more wind and ice",
);
pub(crate) const WD_1_STRENGTH: Figure<Newtons> =
    Figure::new(pounds(200.0), Standing::Published, "SS0440 p. 11, table 1-1: about 200 lb, both conductors");
pub(crate) const WD_1_STIFFNESS: Figure<Newtons> = Figure::new(
    Newtons::from_const(130_000.0),
    Standing::PlanningValue,
    "planning value, editable: two conductors of four copper and three steel strands, as the resistance has them, of 117 and \
     200 GPa (from memory): 131 kN, rounded",
);
pub(crate) const WD_1_EXPANSION: Figure<PerCelsius> = Figure::new(
    PerCelsius::from_const(14e-6),
    Standing::PlanningValue,
    "planning value, editable: copper's 17e-6 and steel's 12e-6 (from memory) by their stiffness",
);

/// 20 °C: the temperature that every resistance here is given at.
pub(crate) const REFERENCE_C: f64 = 20.0;

impl WireType {
    /// What is known of the wire, before any figures of one's own.
    #[must_use]
    pub fn sheet(self) -> WireSheet {
        let blank = WireSheet {
            resistance: None,
            resistance_tolerance: planned(0.05, "planning value, editable: no tolerance was found"),
            temperature_coefficient: COPPER_COEFFICIENT,
            loss_wet: None,
            loss_dry: None,
            capacitance_wet: None,
            capacitance_dry: None,
            capacitance_tolerance: planned(0.1, "planning value, editable: no tolerance was found"),
            put_ups: Vec::new(),
            weight: None,
            diameter: None,
            strength: None,
            stiffness: None,
            expansion: None,
        };
        match self {
            Self::Wd1Tt | Self::Wd1aTt => WireSheet {
                // 4 copper strands of 121 cmil and 3 of steel at 7 times copper's resistivity: 204 ohms in a loop mile.
                resistance: Some(Figure::new(
                    OhmsPerMetre::from_const(0.063_5),
                    Standing::Reckoned,
                    "reckoned, 204 Ω in a loop mile: 4 copper strands assumed of 0.011 in as MIL-DTL-49104C has the steel ones, \
                     3 steel strands at 7 times copper's resistivity",
                )),
                resistance_tolerance: planned(
                    0.15,
                    "planning value, editable: takes in the 200 to 234 Ω in a loop mile remembered from manuals; \
                     measure a reel of known length to do better",
                ),
                loss_wet: Some(loss_per_mile(2.5)),
                loss_dry: Some(loss_per_mile(1.5)),
                capacitance_wet: Some(capacitance(80e-12)),
                capacitance_dry: Some(capacitance(29e-12)),
                capacitance_tolerance: planned(
                    0.3,
                    "planning value, editable: nobody measured it; compare with a good pair of the same line to do better",
                ),
                put_ups: issued(&[0.25, 0.5, 1.0, 2.5]),
                weight: Some(WD_1_WEIGHT),
                diameter: Some(WD_1_DIAMETER),
                strength: Some(WD_1_STRENGTH),
                stiffness: Some(WD_1_STIFFNESS),
                expansion: Some(WD_1_EXPANSION),
                ..blank
            },
            Self::Wd36Tt => WireSheet {
                resistance: Gauge::new(23).ok().map(|gauge| {
                    Figure::new(
                        gauge.aluminium(),
                        Standing::Reckoned,
                        "reckoned: solid aluminium of 23 AWG (SS0440 p. 11, table 1-1) at 61 % of copper's conductivity \
                         (from memory)",
                    )
                }),
                temperature_coefficient: Figure::new(
                    PerCelsius::from_const(0.004_03),
                    Standing::FromMemory,
                    "aluminium at 20 °C, 0.00403 per degree (from memory)",
                ),
                loss_wet: Some(loss_per_mile(5.9)),
                loss_dry: Some(loss_per_mile(3.6)),
                put_ups: issued(&[0.25, 0.5]),
                weight: Some(weight_of_a_mile(8.5)),
                strength: Some(breaks_at(25.0)),
                ..blank
            },
            Self::Wf16U => WireSheet {
                loss_wet: Some(loss_per_mile(2.6)),
                loss_dry: Some(loss_per_mile(2.0)),
                put_ups: issued(&[1.0]),
                weight: Some(weight_of_a_mile(62.0)),
                strength: Some(breaks_at(200.0)),
                ..blank
            },
            Self::CopperAwg(gauge) => WireSheet {
                resistance: Some(Figure::new(
                    gauge.copper(),
                    Standing::Reckoned,
                    "reckoned from the definition of the gauge and 10.371 Ω·cmil/ft; agrees with the table at cirris.com",
                )),
                resistance_tolerance: planned(
                    0.02,
                    "planning value, editable: 1 % of the diameter either way (from memory)",
                ),
                ..blank
            },
            Self::W110B => WireSheet {
                put_ups: vec![Figure::new(
                    Metres::from_const(METRES_IN_A_MILE),
                    Standing::Published,
                    "memoir of the wire crews of the 915th Field Artillery Battalion, p. 63: a reel of one mile",
                )],
                weight: Some(Figure::new(
                    pounds_per_foot(131.0 / FEET_IN_A_MILE),
                    Standing::FromMemory,
                    "130 to 132 lb a mile (from memory); the mean",
                )),
                ..blank
            },
            Self::Other => blank,
        }
    }
}

impl WireSheet {
    /// The sheet with the figures of one's own in place of its own.
    #[must_use]
    pub fn with(mut self, own: Option<&OwnFigures>) -> Self {
        let Some(own) = own else { return self };
        place(&mut self.resistance, own.resistance_ohm_per_m);
        place(&mut self.loss_wet, own.loss_wet_db_per_m);
        place(&mut self.loss_dry, own.loss_dry_db_per_m);
        place(&mut self.capacitance_wet, own.capacitance_wet_f_per_m);
        place(&mut self.capacitance_dry, own.capacitance_dry_f_per_m);
        replace(&mut self.resistance_tolerance, own.resistance_tolerance);
        replace(&mut self.temperature_coefficient, own.temperature_coefficient_per_c);
        replace(&mut self.capacitance_tolerance, own.capacitance_tolerance);
        self
    }
}

fn place<T>(figure: &mut Option<Figure<T>>, own: Option<T>) {
    if let Some(value) = own {
        *figure = Some(Figure::new(value, Standing::Given, GIVEN));
    }
}

fn replace<T>(figure: &mut Figure<T>, own: Option<T>) {
    if let Some(value) = own {
        *figure = Figure::new(value, Standing::Given, GIVEN);
    }
}

const fn planned(value: f64, source: &'static str) -> Figure<Share> {
    Figure::new(Share::from_const(value), Standing::PlanningValue, source)
}

const fn loss_per_mile(decibels: f64) -> Figure<DecibelsPerMetre> {
    let value = DecibelsPerMetre::from_const(decibels / METRES_IN_A_MILE);
    Figure::new(value, Standing::Published, TABLE_1_1)
}

fn weight_of_a_mile(pounds: f64) -> Figure<NewtonsPerMetre> {
    Figure::new(pounds_per_foot(pounds / FEET_IN_A_MILE), Standing::Published, TABLE_1_1)
}

fn breaks_at(tension: f64) -> Figure<Newtons> {
    Figure::new(pounds(tension), Standing::Published, TABLE_1_1)
}

const fn capacitance(value: f64) -> Figure<FaradsPerMetre> {
    Figure::new(
        FaradsPerMetre::from_const(value),
        Standing::Reckoned,
        "reckoned from the published loss by α = √(π f R C): an estimate, of little weight",
    )
}

fn issued(miles: &[f64]) -> Vec<Figure<Metres>> {
    let length = |miles: &f64| Metres::bounded(miles * METRES_IN_A_MILE);
    miles.iter().map(|miles| Figure::new(length(miles), Standing::Published, TABLE_1_1)).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn wires_travel_by_name() {
        for (wire, text) in [
            (WireType::Wd1Tt, "\"wd_1_tt\""),
            (WireType::Wd1aTt, "\"wd_1a_tt\""),
            (WireType::Wd36Tt, "\"wd_36_tt\""),
            (WireType::Wf16U, "\"wf_16_u\""),
            (WireType::W110B, "\"w_110_b\""),
            (WireType::CopperAwg(Gauge(22)), "{\"copper_awg\":22}"),
            (WireType::Other, "\"other\""),
        ] {
            assert_eq!(serde_json::to_string(&wire).unwrap(), text);
            assert_eq!(serde_json::from_str::<WireType>(text).unwrap(), wire);
        }
        let refused = serde_json::from_str::<WireType>("{\"copper_awg\":41}").unwrap_err().to_string();
        assert!(refused.starts_with("a gauge of the American Wire Gauge is 41; give a number from 4 to 40"));
    }

    #[test]
    fn own_figures_take_the_place_of_the_sheet_and_say_so() {
        let own = OwnFigures {
            resistance_ohm_per_m: Some(OhmsPerMetre::from_const(0.07)),
            resistance_tolerance: Some(Share::from_const(0.01)),
            ..OwnFigures::default()
        };
        let sheet = WireType::Wf16U.sheet().with(Some(&own));
        assert_eq!(
            sheet.resistance,
            Some(Figure::new(OhmsPerMetre::from_const(0.07), Standing::Given, GIVEN))
        );
        assert_eq!(sheet.resistance_tolerance.standing, Standing::Given);
        assert_eq!(sheet.loss_wet, WireType::Wf16U.sheet().loss_wet);
    }
}
