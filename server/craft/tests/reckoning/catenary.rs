//! The curve of a hanging wire against tables that were reckoned apart from it. The tables are by mpmath with 50 digits, the
//! lengths checked again by quadrature; the textbook examples name their books.

#![allow(clippy::excessive_precision, reason = "the tables stand here as they were reckoned")]

use laywire_craft::catenary::Catenary;
use laywire_craft::units::{Metres, Newtons, NewtonsPerMetre};
use proptest::prelude::*;

const UNIT: NewtonsPerMetre = NewtonsPerMetre::from_const(1.0);

fn m(figure: f64) -> Metres {
    Metres::new(figure).unwrap()
}

/// Agreement to a part in a thousand million.
fn same(figure: f64, expected: f64) {
    assert!((figure - expected).abs() <= 1e-9 * expected.abs(), "{figure} is not {expected}");
}

/// mpmath, 50 digits: span, constant, length, sag, tension at a tie over the load.
#[test]
fn level_wires_of_a_constant() {
    for [span, constant, length, sag, tension] in [
        [40.0, 200.0, 40.066_700_007_937_61, 1.000_833_611_160_72, 201.000_833_611_160_72],
        [100.0, 500.0, 100.166_750_019_844_03, 2.502_084_027_901_799_5, 502.502_084_027_901_8],
        [60.0, 150.0, 60.400_800_762_328_196, 3.010_013_342_861_377, 153.010_013_342_861_38],
        [30.0, 30.0, 31.265_718_329_624_842, 3.828_778_956_191_423_6, 33.828_778_956_191_42],
        [50.0, 12.0, 94.880_166_295_477_62, 36.934_256_805_068_285, 48.934_256_805_068_285],
    ] {
        let curve = Catenary::of_constant(m(span), Metres::ZERO, m(constant)).unwrap();
        same(curve.constant().value(), constant);
        same(curve.length().value(), length);
        same(curve.sag().value(), sag);
        same(curve.greatest_sag().1.value(), sag);
        same(curve.lowest().value(), span / 2.0);
        same(curve.tensions(UNIT).0.value(), tension);
        same(curve.tensions(UNIT).1.value(), tension);
        same(curve.level_tension(UNIT).value(), constant);
        same(-curve.height_at(m(span / 2.0)).value(), sag);
    }
}

/// mpmath, 50 digits: span, sag, constant, length.
#[test]
fn level_wires_of_a_sag() {
    for [span, sag, constant, length] in [
        [40.0, 0.5, 400.083_305_572_490_57, 40.016_661_808_426_28],
        [50.0, 1.0, 312.666_524_666_155_27, 50.053_293_571_245_06],
        [60.0, 1.5, 300.249_667_477_719_8, 60.099_883_608_311_9],
        [100.0, 5.0, 250.828_931_759_989_37, 100.663_584_629_197_34],
        [100.0, 20.0, 65.586_258_675_314_16, 109.971_820_881_761_64],
    ] {
        let curve = Catenary::of_sag(m(span), Metres::ZERO, m(sag)).unwrap();
        same(curve.constant().value(), constant);
        same(curve.length().value(), length);
    }
}

/// mpmath, 50 digits, the constant checked again with scipy's brentq: span, length, constant, sag.
#[test]
fn level_wires_of_a_length() {
    for [span, length, constant, sag] in [
        [40.0, 40.1, 163.360_517_927_161_32, 1.225_816_005_612_074_8],
        [50.0, 51.0, 72.384_293_204_591_8, 4.360_321_607_968_922],
        [100.0, 105.0, 91.963_963_003_674_49, 13.930_420_659_205_433],
        [100.0, 200.0, 22.964_021_507_761_16, 79.638_835_586_029_93],
    ] {
        let curve = Catenary::of_length(m(span), Metres::ZERO, m(length)).unwrap();
        same(curve.constant().value(), constant);
        same(curve.sag().value(), sag);
    }
}

/// mpmath, 50 digits: span, rise, constant; lowest, length, sag in the middle, greatest sag and its offset, tensions over
/// the load. The lowest point lies outside the span where the wire pulls its lower tie up.
#[test]
fn wires_between_ties_that_are_not_level() {
    for [span, rise, constant, lowest, length, sag, greatest, at, left, right] in [
        [
            40.0,
            3.0,
            200.0,
            5.038_928_067_300_032,
            40.178_855_751_826_33,
            1.003_635_170_514_156,
            1.003_636_725_018_045_2,
            20.024_901_044_275_477,
            200.063_480_348_013_18,
            203.063_480_348_013_18,
        ],
        [
            60.0,
            15.0,
            150.0,
            -6.878_513_656_595_796,
            62.235_494_155_107_875,
            3.101_443_448_466_380_4,
            3.101_643_739_387_335_4,
            30.241_455_575_493_7,
            150.157_740_806_176_18,
            165.157_740_806_176_18,
        ],
        [
            50.0,
            -8.0,
            120.0,
            43.982_544_110_590_21,
            50.993_910_841_164_78,
            2.646_368_129_110_018,
            2.646_446_706_458_875_4,
            24.863_534_526_752_3,
            128.150_905_681_992,
            120.150_905_681_992_01,
        ],
        [
            100.0,
            20.0,
            500.0,
            -49.181_810_306_254_404,
            102.143_907_353_977_42,
            2.551_471_811_626_479,
            2.551_498_987_685_695_6,
            50.163_244_868_366_3,
            502.420_801_373_290_9,
            522.420_801_373_290_9,
        ],
        [
            30.0,
            30.0,
            40.0,
            -19.598_973_807_701_27,
            42.930_018_762_701_5,
            3.978_178_874_703_969,
            3.985_756_276_804_862_6,
            15.655_969_673_080_5,
            44.898_329_098_648_21,
            74.898_329_098_648_21,
        ],
        [
            80.0,
            40.0,
            60.0,
            13.029_633_620_306_842,
            94.900_759_312_431_51,
            15.255_901_460_185_298,
            15.289_462_112_745_415,
            41.902_343_123_883,
            61.420_329_875_797_58,
            101.420_329_875_797_58,
        ],
    ] {
        for curve in [
            Catenary::of_constant(m(span), m(rise), m(constant)).unwrap(),
            Catenary::of_tension(m(span), m(rise), Newtons::new(constant).unwrap(), UNIT).unwrap(),
        ] {
            same(curve.lowest().value(), lowest);
            same(curve.length().value(), length);
            same(curve.sag().value(), sag);
            same(curve.greatest_sag().0.value(), at);
            same(curve.greatest_sag().1.value(), greatest);
            same(curve.tensions(UNIT).0.value(), left);
            same(curve.tensions(UNIT).1.value(), right);
            same(curve.height_at(m(span)).value(), rise);
        }
        same(Catenary::of_sag(m(span), m(rise), m(sag)).unwrap().constant().value(), constant);
        same(Catenary::of_length(m(span), m(rise), m(length)).unwrap().constant().value(), constant);
    }
}

/// mpmath, 50 digits: span, rise, length, constant.
#[test]
fn wires_of_a_length_between_ties_that_are_not_level() {
    for [span, rise, length, constant] in [
        [40.0, 3.0, 40.4, 96.252_141_779_535_35],
        [60.0, 15.0, 65.0, 53.081_546_241_084_754],
        [100.0, 20.0, 110.0, 72.288_087_475_980_87],
    ] {
        same(Catenary::of_length(m(span), m(rise), m(length)).unwrap().constant().value(), constant);
    }
}

/// Beer and Johnston, *Vector Mechanics for Engineers*: 3 lb/ft, 500 ft, sag 100 ft; from memory, edition not checked: the
/// constant about 328 ft, tensions about 984 and 1284 lb, length about 550 ft. Feet and pounds are as good as metres and
/// newtons here.
#[test]
fn a_textbooks_cable_in_feet_and_pounds() {
    let curve = Catenary::of_sag(m(500.0), Metres::ZERO, m(100.0)).unwrap();
    let load = NewtonsPerMetre::from_const(3.0);
    assert_eq!(format!("{:.0}", curve.constant()), "328 m");
    assert_eq!(format!("{:.0}", curve.level_tension(load)), "984 N");
    assert_eq!(format!("{:.0}", curve.tensions(load).0), "1284 N");
    assert_eq!(format!("{:.0}", curve.length()), "550 m");
}

/// Meriam and Kraige, *Engineering Mechanics: Statics*: 12 kg/m, 300 m, sag 60 m; from memory, edition not checked: tensions
/// about 23.2 and 30.2 kN, length about 330 m.
#[test]
fn a_textbooks_cable_in_kilonewtons() {
    let curve = Catenary::of_sag(m(300.0), Metres::ZERO, m(60.0)).unwrap();
    let load = NewtonsPerMetre::from_const(12.0 * 9.81);
    assert_eq!(format!("{:.1}", curve.level_tension(load).value() / 1e3), "23.2");
    assert_eq!(format!("{:.1}", curve.tensions(load).0.value() / 1e3), "30.2");
    assert_eq!(format!("{:.0}", curve.length()), "330 m");
}

#[test]
fn a_curve_out_of_range_is_refused_by_its_field() {
    let refused = |curve: Result<Catenary, laywire_craft::units::OutOfRange>| curve.unwrap_err().to_string();
    assert_eq!(
        refused(Catenary::of_sag(m(0.1), m(0.0), m(1.0))),
        "span_m is 0.1; give a number from 0.5 to 2000"
    );
    assert_eq!(
        refused(Catenary::of_sag(m(10.0), m(51.0), m(1.0))),
        "rise_m is 51; give a number from -50 to 50"
    );
    for (curve, field) in [
        (Catenary::of_sag(m(10.0), m(0.0), m(0.0)), "sag_m is 0;"),
        (Catenary::of_sag(m(10.0), m(0.0), m(-1.0)), "sag_m is -1;"),
        (Catenary::of_sag(m(10.0), m(0.0), m(1e8)), "sag_m is 100000000;"),
        (Catenary::of_length(m(10.0), m(0.0), m(10.0)), "wire_length_m is 10;"),
        (Catenary::of_length(m(3.0), m(4.0), m(4.9)), "wire_length_m is 4.9;"),
        (Catenary::of_constant(m(10.0), m(0.0), m(0.0)), "constant_m is 0;"),
        (Catenary::of_tension(m(10.0), m(0.0), Newtons::ZERO, UNIT), "tension_n is 0;"),
        (Catenary::of_tension(m(10.0), m(0.0), Newtons::MOST, NewtonsPerMetre::LEAST), "load_n_per_m is 0;"),
    ] {
        let error = refused(curve);
        assert!(error.starts_with(field), "{error}");
    }
}

/// A span, a rise and a slackness anywhere in the range.
fn any_curve() -> impl Strategy<Value = (f64, f64, f64)> {
    (0.5..2000.0_f64, -5.0..5.0_f64, 1e-5_f64.ln()..4.9_f64.ln())
        .prop_map(|(span, steep, half)| (span, span * steep, span / (2.0 * half.exp())))
}

proptest! {
    /// The pull of the whole wire's weight is the difference between its ends, whatever its shape.
    #[test]
    fn the_ends_differ_by_the_weight_of_the_rise((span, rise, constant) in any_curve()) {
        let curve = Catenary::of_constant(m(span), m(rise), m(constant)).unwrap();
        // A light load, so that the tightest wire's tension can still be written.
        let load = 1e-3;
        let (left, right) = curve.tensions(NewtonsPerMetre::from_const(load));
        let (left, right, level) = (left.value(), right.value(), load * constant);
        prop_assert!(((right - left) - load * rise).abs() <= 1e-9 * (left + right));
        prop_assert!(left >= level * (1.0 - 1e-12) && right >= level * (1.0 - 1e-12));
        prop_assert!((curve.height_at(m(span)).value() - rise).abs() <= 1e-9 * (1.0 + rise.abs()));
    }

    /// No wire is shorter than the straight line, and a catenary sags more than the parabola of the same tension.
    #[test]
    fn a_wire_is_longer_than_the_straight_line_and_lower_than_the_parabola((span, rise, constant) in any_curve()) {
        let curve = Catenary::of_constant(m(span), m(rise), m(constant)).unwrap();
        prop_assert!(curve.length().value() >= span.hypot(rise) * (1.0 - 1e-15));
        prop_assert!(curve.sag().value() >= span * span / (8.0 * constant) * (1.0 - 1e-12));
        prop_assert!(curve.greatest_sag().1 >= curve.sag());
    }

    /// What is told by its constant, its sag and its length is one curve.
    #[test]
    fn a_curve_is_found_again_by_its_sag_and_by_its_length((span, rise, constant) in any_curve()) {
        let curve = Catenary::of_constant(m(span), m(rise), m(constant)).unwrap();
        let by_sag = Catenary::of_sag(m(span), m(rise), curve.sag()).unwrap();
        prop_assert!((by_sag.constant().value() / constant - 1.0).abs() < 1e-9);
        let excess = curve.length().value() / span.hypot(rise) - 1.0;
        match Catenary::of_length(m(span), m(rise), curve.length()) {
            // The length itself is rounded: what that leaves of the excess is what the constant can be known to.
            Ok(by_length) => {
                let known = 1e-15 / excess + 1e-12;
                prop_assert!((by_length.constant().value() / constant - 1.0).abs() < known, "{excess}");
            }
            Err(_) => prop_assert!(excess < 1.01e-6),
        }
    }

    /// The length of the curve is the sum of its small straight pieces, which no formula of it shares.
    #[test]
    fn the_length_is_that_of_the_drawn_curve((span, rise, constant) in any_curve()) {
        let curve = Catenary::of_constant(m(span), m(rise), m(constant)).unwrap();
        let pieces = 4000;
        let point = |n: i32| {
            let x = span * f64::from(n) / f64::from(pieces);
            (x, curve.height_at(m(x)).value())
        };
        let drawn: f64 = (0..pieces)
            .map(|n| (point(n), point(n + 1)))
            .map(|((x, y), (next_x, next_y))| (next_x - x).hypot(next_y - y))
            .sum();
        prop_assert!((drawn / curve.length().value() - 1.0).abs() < 1e-4);
    }
}
