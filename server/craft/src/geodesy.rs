//! Lengths, directions and places on the ground, along geodesics of the WGS 84 ellipsoid.
//! It knows nothing of wire, slack or height: a length here is the shortest way over the ellipsoid, not over the hills.
//! The reckoning is Karney's (Algorithms for geodesics, J. Geodesy 87, 2013), by the crate geographiclib-rs.

use std::fmt;
use std::sync::LazyLock;

use geographiclib_rs::{DirectGeodesic, Geodesic, InverseGeodesic};
use serde::de::{self, SeqAccess, Visitor};
use serde::{Deserialize, Deserializer, Serialize, Serializer};
use utoipa::openapi::schema::{ArrayBuilder, Schema};
use utoipa::openapi::{ObjectBuilder, RefOr, Type};
use utoipa::{PartialSchema, ToSchema};

use crate::units::{Degrees, Metres, OutOfRange, within};

/// The equatorial radius of WGS 84, in metres (NGA.STND.0036, table 3.1, cited from memory).
pub(crate) const EQUATORIAL_RADIUS_M: f64 = 6_378_137.0;
/// The flattening of WGS 84 (NGA.STND.0036, table 3.1, cited from memory).
pub(crate) const FLATTENING: f64 = 1.0 / 298.257_223_563;

static WGS84: LazyLock<Geodesic> = LazyLock::new(Geodesic::wgs84);

/// A place on the ground.
///
/// On the wire it is a GeoJSON position, `[longitude, latitude]` (RFC 7946, section 3.1.1). A third number, the height,
/// is read and dropped: a telephone's height is too coarse for anything that is reckoned here.
///
/// # Units
/// Degrees on WGS 84: longitude from -180 to 180, east positive; latitude from -90 to 90, north positive.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Position {
    lon: f64,
    lat: f64,
}

impl Position {
    /// Checks a place that comes from outside.
    ///
    /// # Errors
    /// NaN, an infinity, or a figure that is not on the Earth.
    pub const fn new(lon: f64, lat: f64) -> Result<Self, OutOfRange> {
        match (
            within("a longitude in degrees", lon, -180.0, 180.0),
            within("a latitude in degrees", lat, -90.0, 90.0),
        ) {
            (Ok(lon), Ok(lat)) => Ok(Self { lon, lat }),
            (Err(error), _) | (_, Err(error)) => Err(error),
        }
    }

    /// A computed place: the last digit of a sum may lie beyond the end of the scale, and is brought back.
    pub(crate) fn settled(lon: f64, lat: f64) -> Self {
        let lon = if (-180.0..=180.0).contains(&lon) { lon } else { (lon + 180.0).rem_euclid(360.0) - 180.0 };
        Self { lon, lat: lat.clamp(-90.0, 90.0) }
    }

    /// Longitude in degrees, east positive.
    #[must_use]
    pub const fn lon(self) -> f64 {
        self.lon
    }

    /// Latitude in degrees, north positive.
    #[must_use]
    pub const fn lat(self) -> f64 {
        self.lat
    }
}

/// The length of the shortest way over the ground between two places.
///
/// # Source
/// The figure below is route A's chainage by GeographicLib 2.1 (see `tests/reckoning/geodesy.rs` for the published tables).
///
/// ```
/// use laywire_craft::geodesy::{Position, distance};
/// let a = Position::new(-4.67, 54.08)?;
/// let b = Position::new(-4.635, 54.095)?;
/// assert_eq!(format!("{:.3}", distance(a, b)), "2834.290 m");
/// # Ok::<(), laywire_craft::units::OutOfRange>(())
/// ```
#[must_use]
pub fn distance(a: Position, b: Position) -> Metres {
    Metres::bounded(WGS84.inverse(a.lat, a.lon, b.lat, b.lon))
}

/// The direction in which the shortest way from `a` to `b` leaves `a`; north when the two are one place.
#[must_use]
pub fn direction(a: Position, b: Position) -> Degrees {
    way(a, b).1
}

/// [`distance`] and [`direction`] together, for the price of one.
#[must_use]
pub fn way(a: Position, b: Position) -> (Metres, Degrees) {
    let (length, azimuth) = inverse(a, b);
    (Metres::bounded(length), Degrees::turned(azimuth))
}

/// The place that lies `run` from `a` in a direction; a negative run goes the other way.
#[must_use]
pub fn destination(a: Position, direction: Degrees, run: Metres) -> Position {
    let (position, _) = direct(a, direction.value(), run.value());
    position
}

/// The nearest of the eight points of the compass.
///
/// ```
/// use laywire_craft::{geodesy::compass_point, units::Degrees};
/// assert_eq!(compass_point(Degrees::new(47.0)?), "NE");
/// # Ok::<(), laywire_craft::units::OutOfRange>(())
/// ```
#[must_use]
pub fn compass_point(d: Degrees) -> &'static str {
    match d.value() {
        d if !(22.5..337.5).contains(&d) => "N",
        d if d < 67.5 => "NE",
        d if d < 112.5 => "E",
        d if d < 157.5 => "SE",
        d if d < 202.5 => "S",
        d if d < 247.5 => "SW",
        d if d < 292.5 => "W",
        _ => "NW",
    }
}

/// Metres from `a` to `b`, and the azimuth at `a` in degrees: 0 when they are one place.
pub(crate) fn inverse(a: Position, b: Position) -> (f64, f64) {
    let (metres, azimuth, _, _): (f64, f64, f64, f64) = WGS84.inverse(a.lat, a.lon, b.lat, b.lon);
    if metres > 0.0 { (metres, azimuth) } else { (0.0, 0.0) }
}

/// The place `metres` from `a`, and the azimuth with which the way arrives there.
pub(crate) fn direct(a: Position, azimuth: f64, metres: f64) -> (Position, f64) {
    let (lat, lon, azimuth): (f64, f64, f64) = WGS84.direct(a.lat, a.lon, azimuth, metres);
    (Position::settled(lon, lat), azimuth)
}

/// Sine and cosine of an angle in degrees, exact at every quarter turn.
pub(crate) fn sin_cos_degrees(angle: f64) -> (f64, f64) {
    let quarters = (angle / 90.0).round();
    let (sin, cos) = (angle - 90.0 * quarters).to_radians().sin_cos();
    // Taken from zero, so that no zero is negative: a tangent over it must not change sides.
    match quarters.rem_euclid(4.0) {
        1.0 => (cos, 0.0 - sin),
        2.0 => (0.0 - sin, -cos),
        3.0 => (-cos, sin),
        _ => (sin, cos),
    }
}

impl Serialize for Position {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        [self.lon, self.lat].serialize(serializer)
    }
}

impl<'de> Deserialize<'de> for Position {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        struct Pair;

        impl<'de> Visitor<'de> for Pair {
            type Value = Position;

            fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
                f.write_str("a position: [longitude, latitude] in degrees")
            }

            fn visit_seq<A: SeqAccess<'de>>(self, mut numbers: A) -> Result<Position, A::Error> {
                let lon: f64 = numbers.next_element()?.ok_or_else(|| de::Error::invalid_length(0, &self))?;
                let lat: f64 = numbers.next_element()?.ok_or_else(|| de::Error::invalid_length(1, &self))?;
                let height: Option<f64> = numbers.next_element()?;
                if height.is_some() && numbers.next_element::<de::IgnoredAny>()?.is_some() {
                    return Err(de::Error::invalid_length(4, &self));
                }
                Position::new(lon, lat).map_err(de::Error::custom)
            }
        }

        deserializer.deserialize_seq(Pair)
    }
}

impl PartialSchema for Position {
    fn schema() -> RefOr<Schema> {
        ArrayBuilder::new()
            .items(ObjectBuilder::new().schema_type(Type::Number))
            .min_items(Some(2))
            .max_items(Some(3))
            .description(Some(
                "A GeoJSON position on WGS 84: [longitude, latitude] in degrees; a height is dropped.",
            ))
            .into()
    }
}

impl ToSchema for Position {}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_position_travels_as_geojson() {
        let here = Position::new(-4.67, 54.08).unwrap();
        assert_eq!(serde_json::to_string(&here).unwrap(), "[-4.67,54.08]");
        for text in ["[-4.67,54.08]", "[-4.67,54.08,31.5]"] {
            assert_eq!(serde_json::from_str::<Position>(text).unwrap(), here);
        }
    }

    #[test]
    fn what_is_not_a_position_is_refused_with_the_reason() {
        for (text, reason) in [
            ("[200,54]", "a longitude in degrees is 200; give a number from -180 to 180"),
            ("[54,-91]", "a latitude in degrees is -91; give a number from -90 to 90"),
            ("[]", "invalid length 0, expected a position: [longitude, latitude] in degrees"),
            ("[1]", "invalid length 1, expected a position"),
            ("[1,2,3,4]", "invalid length 4, expected a position"),
            ("\"here\"", "invalid type: string \"here\", expected a position"),
            ("[null,2]", "invalid type: null"),
            ("[1e999,2]", "number out of range"),
        ] {
            let error = serde_json::from_str::<Position>(text).unwrap_err().to_string();
            assert!(error.starts_with(reason), "{text}: {error}");
        }
        assert!(Position::new(f64::NAN, 0.0).is_err() && Position::new(0.0, f64::INFINITY).is_err());
    }

    #[test]
    fn quarter_turns_are_exact() {
        for (angle, sin_cos) in
            [(0.0, (0.0, 1.0)), (90.0, (1.0, 0.0)), (180.0, (0.0, -1.0)), (-90.0, (-1.0, 0.0))]
        {
            assert_eq!(sin_cos_degrees(angle), sin_cos);
        }
    }

    #[test]
    fn one_place_lies_nowhere_from_itself() {
        for lat in [-90.0, -30.0, 0.0, 30.0, 90.0] {
            let here = Position::new(12.0, lat).unwrap();
            assert_eq!((distance(here, here), direction(here, here).value()), (Metres::ZERO, 0.0));
        }
    }
}
