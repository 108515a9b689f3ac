//! The units of every figure that crosses a module's edge: metres, minutes and degrees, checked once when they are made.
//! It never rounds and never holds NaN or an infinity. The only conversion here is the international foot, 0.3048 m
//! exactly (international yard and pound agreement, 1959; 24 FR 5348, cited from memory).

use std::iter::Sum;
use std::ops::{Add, Sub};

use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

/// The standard acceleration of gravity, in metres per second squared (3rd CGPM, 1901).
pub(crate) const GRAVITY: f64 = 9.806_65;
/// One pound-force, in newtons.
const POUND_N: f64 = 0.453_592_37 * GRAVITY;

/// A figure outside the range that its unit allows.
#[derive(Debug, Clone, Copy, PartialEq, thiserror::Error)]
#[error("{what} is {value}; give a number from {least} to {most}")]
pub struct OutOfRange {
    /// What the figure is, in words.
    pub what: &'static str,
    /// The figure as it was given.
    pub value: f64,
    /// The least that is allowed.
    pub least: f64,
    /// The most that is allowed.
    pub most: f64,
}

/// Lets `value` pass when it lies in `least..=most`; NaN and infinities never do, and a negative zero loses its sign.
pub(crate) const fn within(what: &'static str, value: f64, least: f64, most: f64) -> Result<f64, OutOfRange> {
    if value >= least && value <= most {
        Ok(value + 0.0)
    } else {
        Err(OutOfRange { what, value, least, most })
    }
}

/// A length or a height.
///
/// # Units
/// Metres, from -1e8 to 1e8: two and a half times round the Earth, either way. Sums stop at those ends.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(try_from = "f64", into = "f64")]
#[schema(value_type = f64, minimum = -1e8, maximum = 1e8)]
pub struct Metres(f64);

/// A span of time.
///
/// # Units
/// Minutes, from 0 to 1e8. Sums stop at those ends, and so does a difference: no work takes less than no time.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(try_from = "f64", into = "f64")]
#[schema(value_type = f64, minimum = 0, maximum = 1e8)]
pub struct Minutes(f64);

/// A direction over the ground.
///
/// # Units
/// Degrees clockwise from true north, 0 <= d < 360.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(try_from = "f64", into = "f64")]
#[schema(value_type = f64, minimum = 0, exclusive_maximum = 360)]
pub struct Degrees(f64);

/// An electrical resistance.
///
/// # Units
/// Ohms, from 0 to 1e8. Sums stop at those ends.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(try_from = "f64", into = "f64")]
#[schema(value_type = f64, minimum = 0, maximum = 1e8)]
pub struct Ohms(f64);

/// The resistance of one conductor over its length.
///
/// # Units
/// Ohms for each metre, from 0 to 1e6.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(try_from = "f64", into = "f64")]
#[schema(value_type = f64, minimum = 0, maximum = 1e6)]
pub struct OhmsPerMetre(f64);

/// A force.
///
/// # Units
/// Newtons, from 0 to 1e8. Sums stop at those ends, and so does a difference.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(try_from = "f64", into = "f64")]
#[schema(value_type = f64, minimum = 0, maximum = 1e8)]
pub struct Newtons(f64);

/// A load along a wire: its weight, ice or wind.
///
/// # Units
/// Newtons for each metre of wire, from 0 to 1e6.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(try_from = "f64", into = "f64")]
#[schema(value_type = f64, minimum = 0, maximum = 1e6)]
pub struct NewtonsPerMetre(f64);

/// A pressure, as of wind.
///
/// # Units
/// Pascals (newtons for each square metre), from 0 to 1e6.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(try_from = "f64", into = "f64")]
#[schema(value_type = f64, minimum = 0, maximum = 1e6)]
pub struct Pascals(f64);

/// A density, as of ice.
///
/// # Units
/// Kilograms for each cubic metre, from 0 to 1e5.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(try_from = "f64", into = "f64")]
#[schema(value_type = f64, minimum = 0, maximum = 1e5)]
pub struct KilogramsPerCubicMetre(f64);

/// A temperature.
///
/// # Units
/// Degrees Celsius, from -273.15 to 1000.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(try_from = "f64", into = "f64")]
#[schema(value_type = f64, minimum = -273.15, maximum = 1000)]
pub struct Celsius(f64);

/// How much a length or a resistance grows with warmth, as a part of itself.
///
/// # Units
/// For each degree Celsius, from 0 to 0.01.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(try_from = "f64", into = "f64")]
#[schema(value_type = f64, minimum = 0, maximum = 0.01)]
pub struct PerCelsius(f64);

/// A loss of speech over a wire.
///
/// # Units
/// Decibels at 1 kHz, from -1e8 to 1e8; a margin that is overdrawn is negative.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(try_from = "f64", into = "f64")]
#[schema(value_type = f64, minimum = -1e8, maximum = 1e8)]
pub struct Decibels(f64);

/// The loss of speech over a wire's length.
///
/// # Units
/// Decibels at 1 kHz for each metre, from 0 to 1e6.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(try_from = "f64", into = "f64")]
#[schema(value_type = f64, minimum = 0, maximum = 1e6)]
pub struct DecibelsPerMetre(f64);

/// An electrical capacitance.
///
/// # Units
/// Farads, from 0 to 1e8.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(try_from = "f64", into = "f64")]
#[schema(value_type = f64, minimum = 0, maximum = 1e8)]
pub struct Farads(f64);

/// The capacitance between the two conductors of a pair over its length.
///
/// # Units
/// Farads for each metre, from 0 to 1.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(try_from = "f64", into = "f64")]
#[schema(value_type = f64, minimum = 0, maximum = 1)]
pub struct FaradsPerMetre(f64);

/// The voltage of a power line, between its conductors.
///
/// # Units
/// Kilovolts, from 0 to 2000.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(try_from = "f64", into = "f64")]
#[schema(value_type = f64, minimum = 0, maximum = 2000)]
pub struct Kilovolts(f64);

/// A part of a whole, as of a wire's strength, or a figure's tolerance.
///
/// # Units
/// A bare number from 0, none, to 1, the whole.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(try_from = "f64", into = "f64")]
#[schema(value_type = f64, minimum = 0, maximum = 1)]
pub struct Share(f64);

/// How fast a team gets on over the ground.
///
/// # Units
/// Metres a minute, from 0 to 1e8. Sums stop at those ends.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(try_from = "f64", into = "f64")]
#[schema(value_type = f64, minimum = 0, maximum = 1e8)]
pub struct MetresPerMinute(f64);

/// How fast a team has laid or gone, as it is told to people.
///
/// # Units
/// Kilometres an hour, from 0 to 1e8. Sums stop at those ends.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(try_from = "f64", into = "f64")]
#[schema(value_type = f64, minimum = 0, maximum = 1e8)]
pub struct KilometresPerHour(f64);

/// How many times as long, as much or as far.
///
/// # Units
/// None: a factor from 0 to 1e8.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(try_from = "f64", into = "f64")]
#[schema(value_type = f64, minimum = 0, maximum = 1e8)]
pub struct Times(f64);

/// What quantities share: the range, and sums that stay inside it.
macro_rules! quantity {
    ($unit:ident, $what:literal, $symbol:literal, $least:expr) => {
        impl $unit {
            /// None at all.
            pub const ZERO: Self = Self(0.0);

            /// A computed figure that its maker has already bounded.
            pub(crate) const fn bounded(value: f64) -> Self {
                Self(value.clamp(Self::LEAST.0, Self::MOST.0) + 0.0)
            }
        }

        impl Add for $unit {
            type Output = Self;
            fn add(self, other: Self) -> Self {
                Self::bounded(self.0 + other.0)
            }
        }

        impl Sub for $unit {
            type Output = Self;
            fn sub(self, other: Self) -> Self {
                Self::bounded(self.0 - other.0)
            }
        }

        impl Default for $unit {
            fn default() -> Self {
                Self::ZERO
            }
        }

        impl Sum for $unit {
            fn sum<I: Iterator<Item = Self>>(figures: I) -> Self {
                figures.fold(Self::ZERO, Add::add)
            }
        }

        scale!($unit, $what, $symbol, 2, $least, 1e8);
    };
}

/// What all units share: an order, plain numbers in JSON, and a figure with its symbol on screens.
macro_rules! unit {
    ($unit:ident, $symbol:literal, $places:literal) => {
        // No figure is NaN or a negative zero, so that the total order is the usual one.
        impl Eq for $unit {}

        impl Ord for $unit {
            fn cmp(&self, other: &Self) -> std::cmp::Ordering {
                self.0.total_cmp(&other.0)
            }
        }

        impl PartialOrd for $unit {
            fn partial_cmp(&self, other: &Self) -> Option<std::cmp::Ordering> {
                Some(self.cmp(other))
            }
        }

        impl TryFrom<f64> for $unit {
            type Error = OutOfRange;
            fn try_from(value: f64) -> Result<Self, OutOfRange> {
                Self::new(value)
            }
        }

        impl From<$unit> for f64 {
            fn from(figure: $unit) -> f64 {
                figure.0
            }
        }

        impl std::fmt::Display for $unit {
            fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
                write!(f, concat!("{:.*}", $symbol), f.precision().unwrap_or($places), self.0)
            }
        }
    };
}

/// What scales share, added up or not: the range, checked when a figure is made.
macro_rules! scale {
    ($unit:ident, $what:literal, $symbol:literal, $places:literal, $least:expr, $most:expr) => {
        impl $unit {
            /// The least that can be written.
            pub const LEAST: Self = Self($least);
            /// The most that can be written.
            pub const MOST: Self = Self($most);

            /// Checks a figure that comes from outside.
            ///
            /// # Errors
            /// NaN, an infinity, or a figure outside the unit's range.
            pub const fn new(value: f64) -> Result<Self, OutOfRange> {
                match within($what, value, Self::LEAST.0, Self::MOST.0) {
                    Ok(value) => Ok(Self(value)),
                    Err(error) => Err(error),
                }
            }

            /// A figure written in the source. Use it for a `const`, where a wrong figure stops the build.
            ///
            /// # Panics
            /// On a figure outside the unit's range.
            #[must_use]
            pub const fn from_const(value: f64) -> Self {
                assert!(
                    value >= Self::LEAST.0 && value <= Self::MOST.0,
                    "the figure is outside its unit's range"
                );
                Self(value + 0.0)
            }

            /// The bare number, in the unit.
            #[must_use]
            pub const fn value(self) -> f64 {
                self.0
            }
        }

        unit!($unit, $symbol, $places);
    };
}

quantity!(Metres, "a length in metres", " m", -1e8);
quantity!(Minutes, "a time in minutes", " min", 0.0);
quantity!(MetresPerMinute, "a rate in metres a minute", " m/min", 0.0);
quantity!(KilometresPerHour, "a rate in kilometres an hour", " km/h", 0.0);
quantity!(Times, "a factor", " times", 0.0);
unit!(Degrees, "°", 1);
quantity!(Ohms, "a resistance in ohms", " Ω", 0.0);
quantity!(Decibels, "a loss in decibels", " dB", -1e8);
quantity!(Farads, "a capacitance in farads", " F", 0.0);
scale!(OhmsPerMetre, "a resistance in ohms for each metre", " Ω/m", 5, 0.0, 1e6);
scale!(DecibelsPerMetre, "a loss in decibels for each metre", " dB/m", 6, 0.0, 1e6);
scale!(FaradsPerMetre, "a capacitance in farads for each metre", " F/m", 14, 0.0, 1.0);
quantity!(Newtons, "a force in newtons", " N", 0.0);
scale!(NewtonsPerMetre, "a load in newtons for each metre", " N/m", 3, 0.0, 1e6);
scale!(Pascals, "a pressure in pascals", " Pa", 0, 0.0, 1e6);
scale!(KilogramsPerCubicMetre, "a density in kilograms for each cubic metre", " kg/m³", 0, 0.0, 1e5);
scale!(Celsius, "a temperature in degrees Celsius", " °C", 1, -273.15, 1000.0);
scale!(PerCelsius, "a change for each degree Celsius", "/°C", 7, 0.0, 1e-2);
scale!(Kilovolts, "a voltage in kilovolts", " kV", 0, 0.0, 2e3);
scale!(Share, "a share of the whole", "", 2, 0.0, 1.0);

impl NewtonsPerMetre {
    /// A computed figure that its maker has already bounded.
    pub(crate) const fn bounded(value: f64) -> Self {
        Self(value.clamp(Self::LEAST.0, Self::MOST.0) + 0.0)
    }
}

impl OhmsPerMetre {
    /// A computed figure that its maker has already bounded.
    pub(crate) const fn bounded(value: f64) -> Self {
        Self(value.clamp(Self::LEAST.0, Self::MOST.0) + 0.0)
    }
}

impl Share {
    /// A computed figure that its maker has already bounded.
    pub(crate) const fn bounded(value: f64) -> Self {
        Self(value.clamp(Self::LEAST.0, Self::MOST.0) + 0.0)
    }
}

impl DecibelsPerMetre {
    /// A computed figure that its maker has already bounded.
    pub(crate) const fn bounded(value: f64) -> Self {
        Self(value.clamp(Self::LEAST.0, Self::MOST.0) + 0.0)
    }
}

impl Metres {
    /// The smaller of the two.
    #[must_use]
    pub fn min(self, other: Self) -> Self {
        if other < self { other } else { self }
    }

    /// The greater of the two.
    #[must_use]
    pub fn max(self, other: Self) -> Self {
        if other > self { other } else { self }
    }

    /// Half of it.
    #[must_use]
    pub fn half(self) -> Self {
        Self(self.0 / 2.0)
    }

    /// The length with slack added, in percent of it.
    ///
    /// ```
    /// use laywire_craft::units::Metres;
    /// assert_eq!(Metres::from_const(100.0).stretched(20), Metres::from_const(120.0));
    /// ```
    #[must_use]
    pub fn stretched(self, percent: u8) -> Self {
        Self::bounded(self.0 * (100.0 + f64::from(percent)) / 100.0)
    }
}

impl Degrees {
    /// Checks a direction that comes from outside.
    ///
    /// # Errors
    /// NaN, an infinity, a negative figure, or 360 and more.
    pub const fn new(value: f64) -> Result<Self, OutOfRange> {
        match within("a direction in degrees from true north", value, 0.0, 360.0_f64.next_down()) {
            Ok(value) => Ok(Self(value)),
            Err(_) => Err(OutOfRange {
                what: "a direction in degrees from true north",
                value,
                least: 0.0,
                most: 359.999_999,
            }),
        }
    }

    /// A finite angle brought into 0 <= d < 360 by whole turns.
    pub(crate) fn turned(angle: f64) -> Self {
        let turned = angle.rem_euclid(360.0);
        // A tiny negative angle comes out as 360 exactly, and a negative zero stays one.
        Self(if turned >= 360.0 { 0.0 } else { turned + 0.0 })
    }

    /// The bare number, in degrees.
    #[must_use]
    pub const fn value(self) -> f64 {
        self.0
    }
}

/// A length that the source gives in feet.
///
/// # Panics
/// On a figure that is not a length; in a `const` that stops the build.
///
/// # Source
/// 1 ft = 0.3048 m exactly: international yard and pound agreement, 1959.
///
/// ```
/// use laywire_craft::units::{Metres, feet};
/// assert_eq!(feet(100.0), Metres::from_const(30.48));
/// assert_eq!(feet(14.0).to_string(), "4.27 m");
/// ```
#[must_use]
pub const fn feet(f: f64) -> Metres {
    Metres::from_const(f * 0.3048)
}

/// A rate that the source gives in miles an hour.
///
/// # Panics
/// On a figure that is not a rate; in a `const` that stops the build.
///
/// # Source
/// 1 mile = 5280 ft, and 1 ft = 0.3048 m exactly: international yard and pound agreement, 1959.
///
/// ```
/// use laywire_craft::units::miles_an_hour;
/// assert_eq!(miles_an_hour(6.0).to_string(), "160.93 m/min");
/// ```
#[must_use]
pub const fn miles_an_hour(rate: f64) -> MetresPerMinute {
    MetresPerMinute::from_const(rate * 5280.0 * 0.3048 / 60.0)
}

/// A force that the source gives in pounds.
///
/// # Panics
/// On a figure that is not a force; in a `const` that stops the build.
///
/// # Source
/// 1 lbf = 0.453 592 37 kg × 9.806 65 m/s² exactly: international yard and pound agreement, 1959, and the standard
/// acceleration of gravity (3rd CGPM, 1901).
///
/// ```
/// use laywire_craft::units::pounds;
/// assert_eq!(pounds(200.0).to_string(), "889.64 N");
/// ```
#[must_use]
pub const fn pounds(lbf: f64) -> Newtons {
    Newtons::from_const(lbf * POUND_N)
}

/// A load that the source gives in pounds for each foot.
///
/// # Panics
/// On a figure that is not a load; in a `const` that stops the build.
///
/// ```
/// use laywire_craft::units::pounds_per_foot;
/// assert_eq!(pounds_per_foot(0.3).to_string(), "4.378 N/m");
/// ```
#[must_use]
pub const fn pounds_per_foot(load: f64) -> NewtonsPerMetre {
    NewtonsPerMetre::from_const(load * POUND_N / 0.3048)
}

/// A pressure that the source gives in pounds for each square foot.
///
/// # Panics
/// On a figure that is not a pressure; in a `const` that stops the build.
///
/// ```
/// use laywire_craft::units::pounds_per_square_foot;
/// assert_eq!(pounds_per_square_foot(9.0).to_string(), "431 Pa");
/// ```
#[must_use]
pub const fn pounds_per_square_foot(pressure: f64) -> Pascals {
    Pascals::from_const(pressure * POUND_N / (0.3048 * 0.3048))
}

/// A temperature that the source gives in degrees Fahrenheit.
///
/// # Panics
/// On a figure that is not a temperature; in a `const` that stops the build.
///
/// ```
/// use laywire_craft::units::{Celsius, fahrenheit};
/// assert_eq!(fahrenheit(32.0), Celsius::from_const(0.0));
/// assert_eq!(fahrenheit(120.0).to_string(), "48.9 °C");
/// ```
#[must_use]
pub const fn fahrenheit(degrees: f64) -> Celsius {
    Celsius::from_const((degrees - 32.0) / 1.8)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn figures_travel_as_plain_numbers() {
        assert_eq!(serde_json::to_string(&Metres::from_const(4.27)).unwrap(), "4.27");
        assert_eq!(serde_json::from_str::<Minutes>("12").unwrap(), Minutes::from_const(12.0));
        assert_eq!(serde_json::from_str::<Degrees>("359.5").unwrap().to_string(), "359.5°");
    }

    #[test]
    fn a_figure_is_read_back_as_it_was_written() {
        // A reader that is content with nearly right reads this one as 194.7372075387752.
        let written = Metres::from_const(194.737_207_538_775_18);
        let text = serde_json::to_string(&written).unwrap();
        assert_eq!(serde_json::from_str::<Metres>(&text).unwrap(), written);
    }

    #[test]
    fn a_figure_out_of_range_says_what_is_wrong() {
        let refused = |error: serde_json::Error| error.to_string();
        assert_eq!(
            refused(serde_json::from_str::<Minutes>("-1").unwrap_err()),
            "a time in minutes is -1; give a number from 0 to 100000000"
        );
        assert!(
            refused(serde_json::from_str::<Metres>("1e9").unwrap_err())
                .starts_with("a length in metres is 1000000000")
        );
        assert!(
            refused(serde_json::from_str::<Degrees>("360").unwrap_err()).ends_with("from 0 to 359.999999")
        );
        for wrong in [f64::NAN, f64::INFINITY, f64::NEG_INFINITY] {
            assert!(
                Metres::new(wrong).is_err() && Minutes::new(wrong).is_err() && Degrees::new(wrong).is_err()
            );
        }
    }

    #[test]
    fn sums_stay_in_range() {
        assert_eq!(Metres::MOST + Metres::MOST, Metres::MOST);
        assert_eq!(Metres::LEAST - Metres::MOST, Metres::LEAST);
        assert_eq!(Minutes::from_const(1.0) - Minutes::from_const(2.0), Minutes::ZERO);
        assert_eq!([feet(1.0), feet(2.0)].into_iter().sum::<Metres>(), feet(1.0) + feet(2.0));
    }

    #[test]
    fn an_angle_is_turned_into_one_turn() {
        for (angle, turned) in [(-90.0, 270.0), (-1e-20, 0.0), (-0.0, 0.0), (720.0, 0.0)] {
            assert_eq!(Degrees::turned(angle), Degrees::new(turned).unwrap());
        }
        assert!(Degrees::turned(-0.0).value().is_sign_positive());
    }
}
