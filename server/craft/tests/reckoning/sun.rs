//! Sunrise and sunset where they are special; ordinary days are compared with reference libraries in tests/reference.

use chrono::{DateTime, NaiveDate, TimeDelta, Utc};
use laywire_craft::geodesy::Position;
use laywire_craft::pace::Light;
use laywire_craft::sun::{Above, day, light};
use proptest::prelude::*;

fn at(lon: f64, lat: f64) -> Position {
    Position::new(lon, lat).unwrap()
}

fn date(text: &str) -> NaiveDate {
    text.parse().unwrap()
}

#[test]
fn beyond_the_polar_circle_the_sun_stays_up_in_june_and_down_in_december() {
    let cape = at(25.78, 71.17);
    let june = day(cape, date("2026-06-21"), Above::Horizon);
    assert!(june.up_at_noon && june.rise.is_none() && june.set.is_none());
    let december = day(cape, date("2026-12-21"), Above::Horizon);
    assert!(!december.up_at_noon && december.rise.is_none() && december.set.is_none());
    // In civil twilight there one works for some hours all the same: the sun is 4.6 degrees below the horizon at noon.
    let twilight = day(cape, date("2026-12-21"), Above::CivilTwilight);
    assert!(twilight.up_at_noon && twilight.rise < Some(twilight.noon) && twilight.set > Some(twilight.noon));
}

#[test]
fn under_the_midnight_sun_it_never_grows_dark_and_in_the_polar_night_never_light() {
    let from: DateTime<Utc> = "2026-06-15T22:00:00Z".parse().unwrap();
    let june = light(at(25.78, 71.17), from, 10);
    assert_eq!(june.iter().map(|change| change.light).collect::<Vec<_>>(), [Light::Day]);
    let from: DateTime<Utc> = "2026-12-15T12:00:00Z".parse().unwrap();
    let december = light(at(15.0, 80.0), from, 10);
    assert_eq!(december.iter().map(|change| change.light).collect::<Vec<_>>(), [Light::Night]);
}

#[test]
fn light_and_darkness_take_turns_and_begin_with_what_is_now() {
    let place = at(-4.6, 54.1);
    let from: DateTime<Utc> = "2026-11-26T12:00:00Z".parse().unwrap();
    let changes = light(place, from, 3);
    let lights: Vec<Light> = changes.iter().map(|change| change.light).collect();
    assert_eq!(
        lights,
        [Light::Day, Light::Night, Light::Day, Light::Night, Light::Day, Light::Night, Light::Day]
    );
    let dusk = day(place, date("2026-11-26"), Above::CivilTwilight).set;
    assert_eq!(changes.get(1).map(|change| change.at), dusk);
}

proptest! {
    #[test]
    fn day_lies_about_noon_and_twilight_about_day(
        lon in -180.0..=180.0, lat in -66.0..=66.0, days in 0..72_000_u64,
    ) {
        let date = date("1901-01-02") + chrono::Days::new(days);
        let sun = day(at(lon, lat), date, Above::Horizon);
        let twilight = day(at(lon, lat), date, Above::CivilTwilight);
        prop_assert_eq!(sun.noon, twilight.noon);
        let noon = sun.noon.date_naive();
        prop_assert!((noon - date).abs() <= TimeDelta::days(1));
        if let (Some(rise), Some(set)) = (sun.rise, sun.set) {
            prop_assert!(rise < sun.noon && sun.noon < set && set - rise < TimeDelta::hours(24));
            prop_assert!(twilight.rise.is_none_or(|dawn| dawn < rise));
            prop_assert!(twilight.set.is_none_or(|dusk| dusk > set));
        }
    }

    #[test]
    fn changes_of_light_are_in_order_and_alternate(
        lon in -180.0..=180.0, lat in -90.0..=90.0, hours in 0..1_700_000_i64, days in 1..40_u32,
    ) {
        let from: DateTime<Utc> = "1901-01-02T00:00:00Z".parse().unwrap();
        let from = from + TimeDelta::hours(hours);
        let changes = light(at(lon, lat), from, days);
        prop_assert_eq!(changes[0].at, from);
        for two in changes.windows(2) {
            prop_assert!(two[0].at < two[1].at && two[0].light != two[1].light, "{:?}", two);
        }
    }
}
