//! Grid references against published output and the standard's own rules. The files' sources stand in
//! tests/data/SOURCES.md.

use laywire_craft::geodesy::{Position, distance};
use laywire_craft::grid::{GridCoordinates, GridError, GridReference, Hemisphere, Precision};
use laywire_craft::units::Metres;
use proptest::prelude::*;

fn place(lat: f64, lon: f64) -> Position {
    Position::new(lon, lat).unwrap()
}

fn reference(text: &str) -> GridReference {
    text.parse().unwrap_or_else(|error| panic!("{text}: {error}"))
}

fn metres(figure: f64) -> Metres {
    Metres::new(figure).unwrap()
}

/// GEOTRANS 3.9 and this reckoning disagree in one way only: GEOTRANS rounds a coordinate to the millimetre before it cuts
/// off the metre's fraction, and here the fraction is cut off as it is. That tells for a place less than half a
/// millimetre short of a metre's line, which GEOTRANS puts beyond it.
#[test]
fn places_have_the_references_that_geotrans_gives_them() {
    let (mut cases, mut short_of_a_line) = (0, 0);
    for line in include_str!("../../../../tests/data/geotrans-3.9-position-to-mgrs.tsv").lines() {
        let [lat, lon, expected] = line.split('\t').collect::<Vec<_>>()[..] else { panic!("{line}") };
        let here = place(lat.parse().unwrap(), lon.parse().unwrap());
        let ours = GridReference::of(here, Precision::Metre).to_string();
        cases += 1;
        if ours != expected {
            let coordinates = GridCoordinates::of(here);
            let short = [coordinates.easting(), coordinates.northing()].map(|m| m.value().ceil() - m.value());
            assert!(
                short.iter().any(|&short| short <= 0.000_5),
                "{line}: {ours}, short of the next metre by {short:?}"
            );
            assert!(
                distance(reference(expected).corner(), reference(&ours).corner()).value() < 1.5,
                "{line}: {ours}"
            );
            short_of_a_line += 1;
        }
    }
    assert_eq!((cases, short_of_a_line), (2078, 4));
}

#[test]
fn references_name_the_places_that_geotrans_gives_them() {
    /// The table has six decimals of a degree.
    const HALF_A_DIGIT: f64 = 0.51e-6;
    let mut cases = 0;
    for line in include_str!("../../../../tests/data/geotrans-3.9-mgrs-to-position.tsv").lines() {
        let [text, lat, lon] = line.split('\t').collect::<Vec<_>>()[..] else { panic!("{line}") };
        let corner = reference(text).corner();
        let (lat, lon): (f64, f64) = (lat.parse().unwrap(), lon.parse().unwrap());
        let east = (corner.lon() - lon).abs();
        assert!((corner.lat() - lat).abs() < HALF_A_DIGIT, "{line}: {corner:?}");
        assert!(east.min(360.0 - east) < HALF_A_DIGIT, "{line}: {corner:?}");
        assert_eq!(reference(text).to_string(), text);
        cases += 1;
    }
    assert_eq!(cases, 2078);
}

/// The zones' widths about Norway and Svalbard, and the ends of the bands: NGA.STND.0037, on the UTM grid.
#[test]
fn zones_and_bands_are_those_of_the_standard() {
    for (lat, lon, designation) in [
        (0.0, 0.0, "31N"),
        (-1e-12, 0.0, "31M"),
        (0.0, -180.0, "01N"),
        (0.0, 180.0, "01N"),
        (0.0, 179.999_999, "60N"),
        (55.999_999, 3.0, "31U"),
        (56.0, 2.999_999, "31V"),
        (56.0, 3.0, "32V"),
        (63.999_999, 11.999_999, "32V"),
        (64.0, 3.0, "31W"),
        (71.999_999, 8.0, "32W"),
        (72.0, 8.999_999, "31X"),
        (72.0, 9.0, "33X"),
        (72.0, 20.999_999, "33X"),
        (72.0, 21.0, "35X"),
        (72.0, 33.0, "37X"),
        (72.0, 41.999_999, "37X"),
        (72.0, 42.0, "38X"),
        (72.0, -0.000_001, "30X"),
        (83.999_999, 10.0, "33X"),
        (-80.0, 0.0, "31C"),
        (-72.000_001, 0.0, "31C"),
        (-72.0, 0.0, "31D"),
    ] {
        let text = GridReference::of(place(lat, lon), Precision::Metre).to_string();
        assert!(text.starts_with(designation), "{lat} {lon}: {text}");
    }
    for (lat, lon, band) in [
        (84.0, -0.1, 'Y'),
        (84.0, 0.0, 'Z'),
        (84.0, 180.0, 'Z'),
        (84.0, -180.0, 'Z'),
        (84.0, -179.999, 'Y'),
        (90.0, -90.0, 'Z'),
        (-80.000_001, -0.1, 'A'),
        (-80.000_001, 0.0, 'B'),
        (-90.0, 0.0, 'B'),
    ] {
        let text = GridReference::of(place(lat, lon), Precision::Metre).to_string();
        assert!(text.starts_with(band), "{lat} {lon}: {text}");
    }
}

/// The poles lie at 2 000 000 m E, 2 000 000 m N by definition: NGA.STND.0037, on the UPS grid. The letters are those
/// that GEOTRANS gives them (PyPI package mgrs 1.6.0).
#[test]
fn the_poles_lie_at_their_false_origin() {
    for (lat, text) in [(90.0, "ZAH0000000000"), (-90.0, "BAN0000000000")] {
        let coordinates = GridCoordinates::of(place(lat, 123.0));
        assert_eq!((coordinates.easting(), coordinates.northing()), (metres(2e6), metres(2e6)));
        assert_eq!(GridReference::of(place(lat, 123.0), Precision::Metre).to_string(), text);
        assert_eq!(reference(text).corner().lat().to_bits(), lat.to_bits());
    }
}

#[test]
fn figures_are_cut_off_and_never_rounded() {
    let whole = reference("30UVF9999999999");
    for (precision, text) in
        Precision::ALL.into_iter().zip(["30UVF99", "30UVF9999", "30UVF999999", "30UVF99999999"])
    {
        assert_eq!(whole.at(precision).to_string(), text);
        assert_eq!(reference(text).at(Precision::Metre), reference(text), "a reference never grows figures");
    }
    assert_eq!(whole.spaced(), "30U VF 99999 99999");
    assert_eq!(reference("3n ta 00009 00010").to_string(), "03NTA0000900010");
}

#[test]
fn a_reference_is_read_however_it_is_written() {
    let there = reference("30UVF0294601487");
    for text in
        ["30U VF 02946 01487", " 30uvf 0294601487\n", "30 U V F 0294601487", "30u\u{a0}vf\t02946 01487"]
    {
        assert_eq!(text.parse(), Ok(there), "{text}");
    }
    assert_eq!(serde_json::to_string(&there).unwrap(), "\"30UVF0294601487\"");
    assert_eq!(serde_json::from_str::<GridReference>("\"30u vf 02946 01487\"").unwrap(), there);
}

#[test]
fn what_is_not_a_reference_is_refused_with_the_reason() {
    let square = |square: &str, designation: &str| GridError::Square {
        square: square.to_owned(),
        designation: designation.to_owned(),
    };
    for (text, error) in [
        ("", GridError::Empty),
        (" \t ", GridError::Empty),
        (&"9".repeat(41), GridError::TooLong { length: 41 }),
        ("30U-VF", GridError::Character { found: '-' }),
        ("30UVFé", GridError::Character { found: 'é' }),
        ("０", GridError::Character { found: '０' }),
        ("00NAA11", GridError::Zone { found: "00".into() }),
        ("61NAA11", GridError::Zone { found: "61".into() }),
        ("001NAA11", GridError::Zone { found: "001".into() }),
        ("30", GridError::Unfinished { read: "30".into() }),
        ("30uv", GridError::Unfinished { read: "30UV".into() }),
        ("30UVF", GridError::Unfinished { read: "30UVF".into() }),
        ("Z", GridError::Unfinished { read: "Z".into() }),
        ("30IVF11", GridError::Band { found: 'I' }),
        ("30AVF11", GridError::Band { found: 'A' }),
        ("UVF11", GridError::Band { found: 'U' }),
        ("3 0UVF11", GridError::Band { found: '0' }),
        ("32XMG11", GridError::NoSvalbardZone { zone: 32 }),
        ("30UAF11", square("AF", "30U")),
        ("30UVI11", square("VI", "30U")),
        ("30U1111", square("11", "30U")),
        // Row K of an even zone begins at 500 and 2500 km and so on, and 30U reaches from 5317 to 6208 km.
        ("30UVK11", square("VK", "30U")),
        // The corner of the northern cap's grid lies at about 81° N, where UTM has taken over.
        ("YRA11", square("RA", "Y")),
        ("30UVF123", GridError::Figures { easting: 2, northing: 1 }),
        ("30UVF12 345", GridError::Figures { easting: 2, northing: 3 }),
        ("30UVF 123456 123456", GridError::Figures { easting: 6, northing: 6 }),
        ("30UVF 12 34 56", GridError::Groups { found: "12 34 56".into() }),
        ("30UVF 12N4", GridError::Groups { found: "12N4".into() }),
    ] {
        assert_eq!(text.parse::<GridReference>(), Err(error), "{text}");
    }
    let said = serde_json::from_str::<GridReference>("\"30UVF123\"").unwrap_err().to_string();
    assert!(said.starts_with("2 figures east and 1 north make no reference"), "{said}");
}

#[test]
fn coordinates_outside_the_grid_are_refused() {
    use Hemisphere::{North, South};
    assert!(matches!(GridCoordinates::utm(0, North, metres(5e5), metres(0.0)), Err(GridError::Zone { .. })));
    for (hemisphere, easting, northing) in [
        (North, 99_999.0, 0.0),
        (North, 900_001.0, 0.0),
        (North, 5e5, -1.0),
        (North, 5e5, 9_500_001.0),
        (South, 5e5, 999_999.0),
        (South, 5e5, 10_000_001.0),
    ] {
        let refused = GridCoordinates::utm(31, hemisphere, metres(easting), metres(northing)).unwrap_err();
        assert!(matches!(refused, GridError::OutOfRange(_)), "{refused}");
    }
    assert!(GridCoordinates::ups(North, metres(1_299_999.0), metres(2e6)).is_err());
    assert!(GridCoordinates::ups(South, metres(2e6), metres(3_200_001.0)).is_err());
    let pole = GridCoordinates::ups(South, metres(2e6), metres(2e6)).unwrap();
    assert_eq!(
        (pole.zone(), pole.hemisphere(), pole.position().lat().to_bits()),
        (None, South, (-90.0_f64).to_bits())
    );
}

fn anywhere() -> impl Strategy<Value = Position> {
    let lon = prop_oneof![
        6 => -180.0..=180.0,
        1 => (-30..=30_i32).prop_map(|zone| f64::from(zone) * 6.0),
        2 => 0.0..=42.0,
    ];
    let lat = prop_oneof![
        6 => -90.0..=90.0,
        1 => (-10..=11_i32).prop_map(|band| f64::from(band) * 8.0),
        1 => 56.0..=84.0,
        1 => Just(84.0),
        1 => Just(84.0_f64.next_down()),
        1 => Just((-80.0_f64).next_down()),
        1 => prop_oneof![Just(90.0), Just(-90.0), Just(-f64::MIN_POSITIVE), Just(-1e-15), Just(-0.0)],
    ];
    (lon, lat).prop_map(|(lon, lat)| Position::new(lon, lat).unwrap())
}

fn precision() -> impl Strategy<Value = Precision> {
    proptest::sample::select(Precision::ALL.to_vec())
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(4096))]

    #[test]
    fn coordinates_lead_back_to_their_place(here in anywhere()) {
        let coordinates = GridCoordinates::of(here);
        prop_assert!(distance(coordinates.position(), here).value() < 1e-7, "{coordinates}");
        let (zone, half) = (coordinates.zone(), coordinates.hemisphere());
        let (easting, northing) = (coordinates.easting(), coordinates.northing());
        let again = match zone {
            Some(zone) => GridCoordinates::utm(zone, half, easting, northing),
            None => GridCoordinates::ups(half, easting, northing),
        };
        prop_assert_eq!(again, Ok(coordinates));
    }

    #[test]
    fn a_reference_is_read_back_as_itself(here in anywhere(), precision in precision()) {
        let reference = GridReference::of(here, precision);
        prop_assert_eq!(reference.to_string().parse(), Ok(reference));
        prop_assert_eq!(reference.spaced().to_lowercase().parse(), Ok(reference));
    }

    #[test]
    fn a_place_lies_in_the_square_that_its_reference_names(here in anywhere(), precision in precision()) {
        let reference = GridReference::of(here, precision);
        // Half a diagonal, a scale that shrinks ground by up to 1 in 160 at the poles, and a little.
        let reach = precision.side().value() * 0.7072 * 1.007 + 1e-6;
        prop_assert!(distance(reference.centre(), here).value() <= reach, "{reference}");
        prop_assert_eq!(GridReference::of(here, Precision::Metre).at(precision), reference);
    }

    #[test]
    fn no_text_makes_a_panic(text in "\\PC*") {
        let _ = text.parse::<GridReference>();
    }

    #[test]
    fn what_looks_like_a_reference_is_read_or_refused(
        text in "[0-9]{0,3} ?[A-Za-z]{0,4} ?[0-9]{0,6} ?[0-9]{0,6}",
    ) {
        if let Ok(reference) = text.parse::<GridReference>() {
            prop_assert_eq!(reference.to_string().parse(), Ok(reference));
            let corner = reference.corner();
            prop_assert!(Position::new(corner.lon(), corner.lat()).is_ok());
        }
    }
}
