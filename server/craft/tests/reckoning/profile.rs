//! A unit's figures beside the built-in ones, the built-in ones beside what is published, and files that nobody should
//! write.

use laywire_craft::{
    construction::Construction,
    obstacle::Obstacle,
    pace::{Light, Means},
    profile::{FigureValue, MOST_BYTES, Profile, ProfileError},
    units::{Kilovolts, Metres, Minutes, feet},
    wire::NoSplice,
};
use proptest::prelude::*;

fn kilovolts(value: f64) -> Kilovolts {
    Kilovolts::new(value).unwrap()
}

fn near(value: Metres, wanted: Metres) {
    assert!((value.value() - wanted.value()).abs() < 1e-9, "{value} is not {wanted}");
}

fn refused(text: &str) -> String {
    Profile::unit(text).unwrap_err().to_string()
}

#[test]
fn the_distance_to_a_power_line_is_that_of_the_published_table() {
    // 29 CFR 1926.1408 table A: up to 50 kV 10 ft, over 50 to 200 kV 15 ft, over 200 to 350 kV 20 ft, over 350 to 500 kV
    // 25 ft, over 500 to 750 kV 35 ft, over 750 to 1000 kV 45 ft.
    for (voltage, distance) in [
        (0.4, 10.0),
        (33.0, 10.0),
        (50.0, 10.0),
        (50.1, 15.0),
        (132.0, 15.0),
        (200.0, 15.0),
        (200.1, 20.0),
        (350.0, 20.0),
        (350.1, 25.0),
        (500.0, 25.0),
        (500.1, 35.0),
        (750.0, 35.0),
        (750.1, 45.0),
        (1000.0, 45.0),
    ] {
        let keep = Profile::field().power_line.distance(Some(kilovolts(voltage)));
        near(keep.least_m, feet(distance));
        assert!(keep.source.starts_with("29 CFR 1926.1408 table A"), "{voltage} kV: {}", keep.source);
    }
}

#[test]
fn a_person_keeps_ten_feet_and_four_inches_more_for_each_ten_kilovolts_above_fifty() {
    // 29 CFR 1910.333(c)(3), from memory. 132 kV are 82 kV above, so nine times 4 in.
    for (voltage, distance) in
        [(0.4, 10.0), (50.0, 10.0), (60.0, 10.0 + 4.0 / 12.0), (132.0, 13.0), (150.0, 10.0 + 40.0 / 12.0)]
    {
        near(Profile::field().power_line.person.distance(kilovolts(voltage)), feet(distance));
    }
    // Where a unit's table is shorter than the rule for people, that rule governs.
    let ours = Profile::unit(
        r#"[[power_line.equipment]]
        to_kv = 1000
        least = { ft = 10, source = "a table of our own" }"#,
    )
    .unwrap();
    let keep = ours.power_line.distance(Some(kilovolts(132.0)));
    near(keep.least_m, feet(13.0));
    assert!(keep.source.starts_with("29 CFR 1910.333(c)(3)"), "{}", keep.source);
    assert_eq!(ours.warnings.len(), 1);
    assert!(
        ours.warnings[0].text.contains("15.0 ft") && ours.warnings[0].text.contains("looser"),
        "{:?}",
        ours.warnings
    );
}

#[test]
fn a_power_line_of_unknown_voltage_is_taken_for_the_highest() {
    // Common practice, no source. The last row of 29 CFR 1926.1408 table A is 45 ft.
    near(Profile::field().power_line.distance(None).least_m, feet(45.0));
}

#[test]
fn the_greater_of_the_field_and_the_civil_height_governs_on_a_public_way() {
    // SS0440 pp. 29, 31: 18 ft over a primary road, 14 ft over a secondary one. GO 64-A rule 84.4: 8 ft over pedestrians.
    // NESC rule 232: 15.5 ft over roads, streets and land open to trucks; 9.5 ft over pedestrians, as engineerfix.com quotes.
    for (obstacle, field, civil, governs, whose) in [
        (Obstacle::MainHighway, 18.0, 15.5, 18.0, "SS0440"),
        (Obstacle::Road, 14.0, 15.5, 15.5, "NESC rule 232"),
        (Obstacle::DirtRoad, 14.0, 15.5, 15.5, "NESC rule 232"),
        (Obstacle::Path, 8.0, 9.5, 9.5, "NESC rule 232"),
    ] {
        let profile = Profile::field();
        let rules = profile.heights_over(obstacle, None).unwrap();
        assert!(rules.public);
        assert_eq!(
            (rules.field.least_m, rules.civil.least_m, rules.governs.least_m),
            (feet(field), feet(civil), feet(governs)),
            "{obstacle}"
        );
        assert!(rules.governs.source.starts_with(whose), "{obstacle}: {}", rules.governs.source);
        assert_eq!(profile.least_height(obstacle).unwrap().value, rules.governs.least_m);
        // Where somebody says that this very place is not public, the field rule governs it.
        assert_eq!(profile.heights_over(obstacle, Some(false)).unwrap().governs, rules.field);
    }
    for obstacle in [Obstacle::Railway, Obstacle::Stream] {
        assert_eq!(Profile::field().heights_over(obstacle, Some(true)), None);
    }
}

#[test]
fn on_a_closed_training_ground_the_field_height_governs_and_the_civil_one_is_shown() {
    let ours = Profile::unit(r#"heights.road.public = { yes = false, source = "training ground, closed" }"#)
        .unwrap();
    assert_eq!(ours.least_height(Obstacle::Road).unwrap().value, feet(14.0));
    assert_eq!(ours.least_height(Obstacle::DirtRoad).unwrap().value, feet(15.5), "nobody spoke of those");
    let [warning] = ours.warnings.as_slice() else { panic!("{:?}", ours.warnings) };
    assert_eq!(warning.figure, "heights.road.public");
    for said in ["training ground, closed", "4.27 m (14.0 ft)", "4.72 m (15.5 ft)", "SS0440", "NESC"] {
        assert!(warning.text.contains(said), "{said} is not in {}", warning.text);
    }
    // Over a main highway the field rule asks for more in any case, so that nothing grows looser.
    let highway = r#"heights.main_highway.public = { yes = false, source = "training ground, closed" }"#;
    assert!(Profile::unit(highway).unwrap().warnings.is_empty());
}

#[test]
fn a_stricter_figure_is_taken_without_a_word() {
    let ours = Profile::unit(
        r#"
        name = "3rd section"
        burial.depth = { m = 0.3, source = "our standing orders, par. 4" }
        span.normal = { m = 25, source = "our standing orders, par. 5" }
        railway.stake_distance = { ft = 2, source = "the railway's own rule" }
        no_splice.bridges = { yes = true, source = "our standing orders, par. 6" }
        wire.slack = { percent = 25, source = "915th, p. 63: at least 25 % more than appears needed" }
        [heights.road]
        field = { m = 6, source = "our standing orders, par. 7" }
        "#,
    )
    .unwrap();
    assert!(ours.warnings.is_empty(), "{:?}", ours.warnings);
    assert_eq!(ours.name.as_str(), "3rd section");
    assert_eq!(ours.least_height(Obstacle::Road).unwrap().value, Metres::new(6.0).unwrap());
    assert_eq!(ours.burial.depth.source.as_str(), "our standing orders, par. 4");
    // What the file does not give is as it is built in, its source with it.
    assert_eq!(ours.heights.path, Profile::field().heights.path);
    assert_eq!(ours.wire_figures().slack_percent, Some(25));
    assert_eq!(ours.wire_figures().end_m, None, "the built-in figure keeps its source");
    assert!(ours.no_splice().bridges && !Profile::field().no_splice().bridges);
}

#[test]
fn a_looser_figure_is_taken_with_a_warning_that_shows_both() {
    for (text, figure, ours, built_in) in [
        (r#"burial.depth = { m = 0.1, source = "PSM90" }"#, "burial.depth", "0.10 m", "0.15 m (0.5 ft)"),
        (r#"span.normal = { m = 60, source = "us" }"#, "span.normal", "60.00 m", "30.48 m (100.0 ft)"),
        (r#"wire.slack = { percent = 5, source = "us" }"#, "wire.slack", "5 %", "20 %"),
        (
            r#"heights.road.field = { m = 3, source = "us" }"#,
            "heights.road.field",
            "3.00 m",
            "4.27 m (14.0 ft)",
        ),
        (
            r#"heights.road.civil = { m = 3, source = "us" }"#,
            "heights.road.civil",
            "3.00 m",
            "4.72 m (15.5 ft)",
        ),
        (r#"no_splice.culverts = { yes = false, source = "us" }"#, "no_splice.culverts", "is no", "yes"),
        (r#"power_line.person.least = { ft = 5, source = "us" }"#, "", "", ""),
    ] {
        let profile = Profile::unit(text).unwrap();
        if figure.is_empty() {
            // The table for equipment still asks for its 10 ft, so that nobody comes nearer.
            assert!(profile.warnings.is_empty(), "{:?}", profile.warnings);
            continue;
        }
        let [warning] = profile.warnings.as_slice() else { panic!("{text}: {:?}", profile.warnings) };
        assert_eq!(warning.figure, figure);
        assert!(warning.text.contains(ours) && warning.text.contains(built_in), "{}", warning.text);
    }
}

#[test]
fn nothing_at_a_railway_may_be_looser() {
    for (text, figure) in [
        (r#"railway.overhead = { yes = true, source = "us" }"#, "railway.overhead"),
        (r#"railway.slack = { yes = true, source = "us" }"#, "railway.slack"),
        (r#"railway.trench = { yes = false, source = "us" }"#, "railway.trench"),
        (r#"railway.stake_distance = { m = 0.2, source = "us" }"#, "railway.stake_distance"),
    ] {
        let error = Profile::unit(text).unwrap_err();
        let ProfileError::LooserAtRailway { figure: named, .. } = &error else { panic!("{error}") };
        assert_eq!(named, figure);
        assert!(error.to_string().contains("looser than"), "{error}");
    }
}

#[test]
fn what_is_wrong_with_a_file_is_said_by_the_place_of_it() {
    for (text, wanted) in [
        ("heights.road.feild = { m = 5, source = \"us\" }", "heights.road"),
        ("heights.road.field = { m = 5 }", "heights.road.field: missing field `source`"),
        ("heights.road.field = { m = 5, source = \" \" }", "heights.road.field.source: it is empty"),
        (
            "heights.road.field = { source = \"us\" }",
            "heights.road.field: the value is missing: give m or ft",
        ),
        (
            "heights.road.field = { m = 5, ft = 16, source = \"us\" }",
            "heights.road.field: the value is given twice",
        ),
        (
            "heights.road.field = { yards = 5, source = \"us\" }",
            "heights.road.field.yards: unknown field `yards`",
        ),
        ("heights.road.field = 5", "heights.road.field"),
        ("heights = 5", "heights"),
        (
            "heights.road.field = { m = nan, source = \"us\" }",
            "heights.road.field: a length in metres is NaN",
        ),
        (
            "heights.road.field = { ft = inf, source = \"us\" }",
            "heights.road.field: a length in metres is inf",
        ),
        ("heights.road.field = { ft = 1e300, source = \"us\" }", "heights.road.field: a length in metres is"),
        (
            "heights.road.field = { m = 31, source = \"us\" }",
            "heights.road.field is 31.00 m (101.7 ft); give 0.5 to 30",
        ),
        ("heights.road.field = { m = -1, source = \"us\" }", "heights.road.field is -1.00 m"),
        ("wire.slack = { percent = 101, source = \"us\" }", "wire.slack is 101 %; give 0 to 100"),
        ("wire.slack = { percent = 300, source = \"us\" }", "wire.slack"),
        ("pace.night = { times = 0.5, source = \"us\" }", "pace.night is 0.50 times; give 1 to 20"),
        (
            "pace.laying.foot.day = { mph = 0, source = \"us\" }",
            "pace.laying.foot.day is 0.00 m/min; give 0.1 to 2000",
        ),
        ("pace.reel_change = { min = -1, source = \"us\" }", "pace.reel_change"),
        ("power_line.equipment = []", "power_line.equipment: it has 0 rows"),
        ("warnings = []", "warnings: a unit's file gives figures"),
        ("name = \"\"", "name: it is empty"),
        ("\n\nheights road", "line 3: this is not TOML"),
    ] {
        let said = refused(text);
        assert!(said.starts_with(wanted), "{text}: {said}");
    }
    let falling = r#"
        [[power_line.equipment]]
        to_kv = 500
        least = { m = 20, source = "us" }
        [[power_line.equipment]]
        to_kv = 100
        least = { m = 20, source = "us" }"#;
    assert!(
        refused(falling).starts_with("power_line.equipment[1].to_kv is 100 kV and does not rise"),
        "{}",
        refused(falling)
    );
    assert!(refused(&"#".repeat(MOST_BYTES + 1)).starts_with("the file has 100001 bytes"));
    assert_eq!(Profile::unit("").unwrap().heights, Profile::field().heights, "an empty file changes nothing");
}

#[test]
fn every_built_in_figure_names_its_source() {
    let figures = Profile::field().figures();
    let known = [
        "SS04",
        "NESC",
        "GO 64-A",
        "29 CFR",
        "Corcoran 1917",
        "915th",
        "Signaller 2005",
        "Seabee",
        "planning value",
        "common practice",
    ];
    for row in &figures {
        assert!(
            known.iter().any(|key| row.source.as_str().starts_with(key)),
            "{}: {}",
            row.figure,
            row.source
        );
    }
    assert_eq!(figures.len(), 75);
    let depth = figures.iter().find(|row| row.figure == "burial.depth").unwrap();
    assert_eq!(depth.value, FigureValue::M(feet(0.5)));
    assert!(Profile::field().warnings.is_empty());
}

#[test]
fn a_profile_is_read_back_as_it_was_stored() {
    let ours = Profile::unit(
        r#"heights.road.public = { yes = false, source = "closed" }
        pace.laying.foot.night = { mph = 0.9, source = "our own nights" }"#,
    )
    .unwrap();
    for profile in [Profile::field(), &ours] {
        let text = serde_json::to_string(profile).unwrap();
        assert_eq!(&serde_json::from_str::<Profile>(&text).unwrap(), profile);
    }
}

#[test]
fn the_reckoning_gets_only_the_figures_that_are_the_units_own() {
    let figures = |profile: &Profile| profile.pace_figures(Light::Night, Means::Foot, Means::Foot);
    assert_eq!(figures(Profile::field()), laywire_craft::pace::Figures::default());
    assert_eq!(Profile::field().wire_figures(), laywire_craft::wire::Figures::default());
    assert_eq!(Profile::field().no_splice(), NoSplice::default());
    let ours = Profile::unit(
        r#"pace.constructions.buried.lead = { min = 6, source = "our own log" }
        pace.ground.wet = { times = 3, source = "our own log" }"#,
    )
    .unwrap();
    let own = figures(&ours);
    assert_eq!(own.constructions.len(), 1);
    assert_eq!(own.constructions[0].construction, Construction::Buried);
    assert_eq!(own.constructions[0].lead_min, Some(Minutes::new(6.0).unwrap()));
    assert_eq!((own.constructions[0].follow_up_min, own.ground_times.len()), (None, 1));
}

proptest! {
    /// Whatever stands in a file, it is taken or refused with a reason.
    #[test]
    fn no_text_makes_it_panic(text in "\\PC{0,200}") {
        if let Err(error) = Profile::unit(&text) {
            prop_assert!(!error.to_string().is_empty());
        }
    }

    /// Whatever number stands for a figure: what is taken is in range, and at a railway no looser.
    #[test]
    fn no_figure_makes_it_panic(
        figure in prop::sample::select(Profile::field().figures()),
        number in prop_oneof![any::<f64>(), -1e3..1e3, 0.0..30.0],
        unit in prop::sample::select(vec!["m", "ft", "percent", "min", "times", "mph", "m_per_min", "yes"]),
    ) {
        let figure = figure.figure.replace("equipment[", "equipment.").replace(']', "");
        let number = if number.is_nan() { "nan".to_owned() } else { format!("{number:?}") };
        let value = if unit == "yes" { "true".to_owned() } else { number };
        let text = format!("{figure} = {{ {unit} = {value}, source = \"us\" }}");
        if let Ok(profile) = Profile::unit(&text) {
            prop_assert!(!profile.railway.overhead.value && !profile.railway.slack.value && profile.railway.trench.value);
            prop_assert!(profile.railway.stake_distance.value >= feet(1.0));
            let stored = serde_json::to_string(&profile).unwrap();
            prop_assert_eq!(serde_json::from_str::<Profile>(&stored).unwrap(), profile);
        }
    }
}
