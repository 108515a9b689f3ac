//! When the sun rises and sets at a place, so that a forecast knows by which light a team works. It reckons with a level
//! horizon and mean refraction: hills, woods and weather make it dark earlier, and nothing here knows of them.
//!
//! # Source
//! Meeus, Astronomical Algorithms, 2nd ed. 1998, ch. 25 (the sun's place to 0.01°) and ch. 28 (the equation of time), in the
//! form that NOAA's Global Monitoring Laboratory publishes as its solar calculator; figures from memory. Rising and
//! setting are sought in the sun's elevation by halving, between noon and the midnights before and after it, so that days
//! without a night, and nights without a day, are answers like any other.

use chrono::{DateTime, NaiveDate, TimeDelta, Utc};
use serde::Serialize;
use utoipa::ToSchema;

use crate::{geodesy::Position, pace::Light};

/// The sun's centre when its upper edge touches the horizon: 34' of refraction and 16' of its own radius.
const HORIZON: f64 = -0.833;
/// The sun's centre at the end of civil twilight (common definition, from memory: until then work outdoors needs no lamp).
const CIVIL_TWILIGHT: f64 = -6.0;
/// 2000 January 1, noon, in seconds after the beginning of 1970.
const J2000: f64 = 946_728_000.0;
const SECONDS_A_DAY: f64 = 86_400.0;
/// Half a day halved so often is less than a hundredth of a second.
const HALVINGS: u32 = 23;

/// What the sun has to stand above.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Above {
    /// The horizon: sunrise and sunset.
    Horizon,
    /// Six degrees below it: civil dawn and dusk.
    CivilTwilight,
}

impl Above {
    fn degrees(self) -> f64 {
        match self {
            Self::Horizon => HORIZON,
            Self::CivilTwilight => CIVIL_TWILIGHT,
        }
    }
}

/// One day's light, about the sun's noon there.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Day {
    /// When the sun stands highest.
    pub noon: DateTime<Utc>,
    /// Whether it is up at noon. If not, it does not come up that day.
    pub up_at_noon: bool,
    /// When it comes up; none where it is up since before midnight, or not at noon either.
    pub rise: Option<DateTime<Utc>>,
    /// When it goes down; none where it stays up past midnight, or is not up at noon either.
    pub set: Option<DateTime<Utc>>,
}

/// From when on there is which light.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, ToSchema)]
#[schema(as = SunChange)]
pub struct Change {
    /// From when.
    pub at: DateTime<Utc>,
    /// Which light.
    pub light: Light,
}

/// How high the sun's centre stands, in degrees, without refraction, and the equation of time, in minutes.
fn elevation_and_equation(place: Position, seconds: f64) -> (f64, f64) {
    let days = (seconds - J2000) / SECONDS_A_DAY;
    let century = days / 36_525.0;
    let mean_longitude = 280.466_46 + century * (36_000.769_83 + century * 0.000_303_2);
    let anomaly = (357.529_11 + century * (35_999.050_29 - 0.000_153_7 * century)).to_radians();
    let eccentricity = 0.016_708_634 - century * (0.000_042_037 + 0.000_000_126_7 * century);
    let centre = anomaly.sin() * (1.914_602 - century * (0.004_817 + 0.000_014 * century))
        + (2.0 * anomaly).sin() * (0.019_993 - 0.000_101 * century)
        + (3.0 * anomaly).sin() * 0.000_289;
    let node = (125.04 - 1_934.136 * century).to_radians();
    let longitude = (mean_longitude + centre - 0.005_69 - 0.004_78 * node.sin()).to_radians();
    let obliquity = 23.0
        + (26.0 + (21.448 - century * (46.815 + century * (0.000_59 - century * 0.001_813))) / 60.0) / 60.0;
    let obliquity = (obliquity + 0.002_56 * node.cos()).to_radians();
    let declination = (obliquity.sin() * longitude.sin()).asin();

    let mean_longitude = mean_longitude.to_radians();
    let y = (obliquity / 2.0).tan().powi(2);
    let equation = y * (2.0 * mean_longitude).sin() - 2.0 * eccentricity * anomaly.sin()
        + 4.0 * eccentricity * y * anomaly.sin() * (2.0 * mean_longitude).cos()
        - 0.5 * y * y * (4.0 * mean_longitude).sin()
        - 1.25 * eccentricity * eccentricity * (2.0 * anomaly).sin();
    let equation_min = 4.0 * equation.to_degrees();

    // A day has 1440 minutes and the sun 360° to go: 4 minutes each.
    let minute_of_day = seconds.rem_euclid(SECONDS_A_DAY) / 60.0;
    let hour_angle = ((minute_of_day + equation_min) / 4.0 + place.lon() - 180.0).to_radians();
    let latitude = place.lat().to_radians();
    let sine = latitude.sin() * declination.sin() + latitude.cos() * declination.cos() * hour_angle.cos();
    (sine.clamp(-1.0, 1.0).asin().to_degrees(), equation_min)
}

/// The time, to the second.
fn time(seconds: f64) -> DateTime<Utc> {
    #[allow(clippy::cast_possible_truncation, reason = "seconds of a calendar day that chrono can hold")]
    let whole = seconds.round() as i64;
    DateTime::from_timestamp(whole, 0).unwrap_or_default()
}

/// The moment between the two at which the sun passes the height, which it has on one side only.
fn passes(place: Position, height: f64, mut low: f64, mut high: f64) -> f64 {
    for _ in 0..HALVINGS {
        let middle = f64::midpoint(low, high);
        if elevation_and_equation(place, middle).0 < height { low = middle } else { high = middle }
    }
    f64::midpoint(low, high)
}

/// When the sun comes up and goes down on a day: the day whose noon at the place falls on this date in UTC.
///
/// # Source
/// As the module says; it holds to a minute between the polar circles, from 1901 to 2099. Near the days on which the sun
/// just touches the horizon a minute is a few hundredths of a degree, and no reckoning without the weather is as good.
///
/// ```
/// use laywire_craft::{geodesy::Position, sun::{Above, day}};
/// // About the equinox a day is twelve hours long, and some minutes for the sun's own size and the refraction.
/// let place = Position::new(-4.6, 54.1).unwrap();
/// let sun = day(place, "2026-03-20".parse().unwrap(), Above::Horizon);
/// let long = sun.set.unwrap() - sun.rise.unwrap();
/// assert!((720..735).contains(&long.num_minutes()));
/// ```
#[must_use]
pub fn day(place: Position, date: NaiveDate, above: Above) -> Day {
    #[allow(clippy::cast_precision_loss, reason = "seconds of a calendar day are far below 2^53")]
    let midnight = date.and_time(chrono::NaiveTime::MIN).and_utc().timestamp() as f64;
    let middle = (720.0 - 4.0 * place.lon()).rem_euclid(1_440.0) * 60.0 + midnight;
    let noon = middle - elevation_and_equation(place, middle).1 * 60.0;
    let height = above.degrees();
    let is_up = |at: f64| elevation_and_equation(place, at).0 >= height;
    let (before, after) = (noon - SECONDS_A_DAY / 2.0, noon + SECONDS_A_DAY / 2.0);
    let up_at_noon = is_up(noon);
    Day {
        noon: time(noon),
        up_at_noon,
        rise: (up_at_noon && !is_up(before)).then(|| time(passes(place, height, before, noon))),
        set: (up_at_noon && !is_up(after)).then(|| time(passes(place, height, after, noon))),
    }
}

/// By which light one works from a moment on: its light, and every change in so many days. Day is until civil dusk.
#[must_use]
pub fn light(place: Position, from: DateTime<Utc>, days: u32) -> Vec<Change> {
    let first = from.date_naive().checked_sub_days(chrono::Days::new(2)).unwrap_or(from.date_naive());
    let until = from.checked_add_signed(TimeDelta::days(i64::from(days))).unwrap_or(from);
    let mut changes = vec![Change { at: DateTime::<Utc>::MIN_UTC, light: Light::Night }];
    for date in first.iter_days().take(days as usize + 4) {
        let day = day(place, date, Above::CivilTwilight);
        if !day.up_at_noon {
            continue;
        }
        let midnight = day.noon - TimeDelta::hours(12);
        changes.push(Change { at: day.rise.unwrap_or(midnight), light: Light::Day });
        let dark = Change { at: day.set.unwrap_or(day.noon + TimeDelta::hours(12)), light: Light::Night };
        changes.push(dark);
    }
    // Where the sun stays up from one day into the next, nothing changes between them.
    let mut told: Vec<Change> = Vec::new();
    for change in changes {
        let touches = |last: &Change| (change.at - last.at).abs() < TimeDelta::minutes(2);
        if change.light == Light::Day && told.last().is_some_and(touches) {
            told.pop();
        } else {
            told.push(change);
        }
    }
    let now = told.iter().rev().find(|change| change.at <= from).map_or(Light::Night, |change| change.light);
    let coming = told.into_iter().filter(|change| change.at > from && change.at < until);
    let mut last = now;
    let coming = coming.filter(|change| std::mem::replace(&mut last, change.light) != change.light);
    std::iter::once(Change { at: from, light: now }).chain(coming.collect::<Vec<_>>()).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn from_the_pole_the_sun_stands_as_high_as_its_declination() {
        // Meeus, Astronomical Algorithms, example 25.a: 1992 October 13, 0h TD, apparent declination -7.78507 (cited from
        // memory). UT was 59 s behind, in which it changes by less than 0.0003 degrees.
        let pole = Position::new(0.0, 90.0).unwrap();
        let when: DateTime<Utc> = "1992-10-13T00:00:00Z".parse().unwrap();
        #[allow(clippy::cast_precision_loss, reason = "a time of our days")]
        let (elevation, _) = elevation_and_equation(pole, when.timestamp() as f64);
        assert!((elevation - -7.78507).abs() < 0.001, "{elevation}");
    }

    #[test]
    fn the_equation_of_time_is_that_of_the_book() {
        // Meeus, example 28.b: 1992 October 13, 0h TD: +13 min 42.7 s by the low-accuracy formula (cited from memory).
        let when: DateTime<Utc> = "1992-10-13T00:00:00Z".parse().unwrap();
        #[allow(clippy::cast_precision_loss, reason = "a time of our days")]
        let (_, equation) = elevation_and_equation(Position::new(0.0, 0.0).unwrap(), when.timestamp() as f64);
        assert!((equation - (13.0 + 42.7 / 60.0)).abs() < 0.02, "{equation}");
    }
}
