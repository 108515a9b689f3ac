//! What traces meet on the Isle of Man, from the real extract in `deploy/demo` on a real PostGIS.
//!
//! `tests/data/meetings-isle-of-man.json` was counted apart from this code by `tests/reference/test_foreseen.py` with
//! pyosmium, shapely and GeographicLib from the same file. The places of the grouping rules were looked up in it with
//! pyosmium; the way numbers are OpenStreetMap's.

#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic, reason = "a test fails by panicking")]
#![allow(clippy::unreadable_literal, reason = "coordinates as they were looked up")]

use std::{path::Path, sync::LazyLock};

use laywire_craft::{
    construction::Construction,
    foreseen::{
        Drawn, Foreseen, ForeseenCrossing, GroundKind, Grouped, Met, Passes, ReachKind, UnknownBecause,
        WidthFrom,
    },
    geodesy::{Position, distance},
    obstacle::Obstacle,
    profile::Profile,
    trace::Trace,
    units::{Kilovolts, Metres, feet},
};
use laywire_store::{
    PgPool,
    foreseen::{Answer, ForeseenError, foreseen},
    terrain,
};
use laywire_tests::Scratch;
use serde::Deserialize;
use tokio::{runtime::Runtime, sync::OnceCell};

static RUNTIME: LazyLock<Runtime> = LazyLock::new(|| Runtime::new().unwrap());

/// The island is loaded once for all tests, which only read; the throwaway server takes the database with it.
static ISLAND: OnceCell<(Scratch, PgPool)> = OnceCell::const_new();

fn on_the_island<F: Future>(test: impl FnOnce(PgPool) -> F) -> F::Output {
    RUNTIME.block_on(async {
        let (_, pool) = ISLAND
            .get_or_init(|| async {
                let scratch = Scratch::new().await;
                let pool = laywire_store::open(scratch.options(), 8).await.unwrap();
                let file =
                    Path::new(env!("CARGO_MANIFEST_DIR")).join("../../deploy/demo/isle-of-man.osm.pbf");
                terrain::load(&pool, &file, |_| {}).await.unwrap();
                (scratch, pool)
            })
            .await;
        test(pool.clone()).await
    })
}

fn place(lon: f64, lat: f64) -> Position {
    Position::new(lon, lat).unwrap()
}

fn trace(places: &[(f64, f64)]) -> Trace {
    Trace::new(places.iter().map(|&(lon, lat)| place(lon, lat)).collect()).unwrap()
}

async fn ask(pool: &PgPool, trace: &Trace) -> Answer {
    foreseen(pool, trace.clone(), Profile::field().clone()).await.unwrap()
}

fn on(places: &[(f64, f64)]) -> Foreseen {
    on_the_island(async |pool| ask(&pool, &trace(places)).await.foreseen)
}

/// The one crossing that has a way in it.
#[track_caller]
fn with(answer: &Foreseen, way: i64) -> &ForeseenCrossing {
    let mut has = answer.crossings.iter().filter(|c| c.met.iter().any(|m| m.drawn == Drawn::OsmWay(way)));
    let found = has.next().unwrap_or_else(|| panic!("nothing is foreseen at way {way}: {answer:#?}"));
    assert!(has.next().is_none(), "way {way} is met twice");
    found
}

fn ways(crossing: &ForeseenCrossing) -> Vec<Drawn> {
    crossing.met.iter().map(|m| m.drawn).collect()
}

fn osm<const N: usize>(ways: [i64; N]) -> Vec<Drawn> {
    ways.map(Drawn::OsmWay).to_vec()
}

// ---- Against the independent count ----

#[derive(Deserialize)]
struct Counted {
    trace: Vec<(f64, f64)>,
    length_m: f64,
    meetings: Vec<CountedMeeting>,
}

#[derive(Deserialize)]
struct CountedMeeting {
    way: i64,
    kind: String,
    position: (f64, f64),
    chainage_m: f64,
}

/// All that is met, before what belongs together is made one: what stands in crossings and in what the trace runs along.
fn met(answer: &Foreseen) -> Vec<&Met> {
    let mut met: Vec<&Met> = answer
        .crossings
        .iter()
        .flat_map(|c| &c.met)
        .chain(answer.along.iter().flat_map(|along| &along.met))
        // Lakes and banks are not in the count.
        .filter(|m| !matches!(m.class.as_str(), "water" | "reservoir" | "riverbank"))
        .collect();
    met.sort_by(|a, b| {
        let key = |m: &Met| (m.chainage_m, m.drawn, m.obstacle.as_str());
        key(a).cmp(&key(b))
    });
    // Where a trace changes sides, the last place stands as a crossing too.
    met.dedup_by(|a, b| a.drawn == b.drawn && a.obstacle == b.obstacle && a.chainage_m == b.chainage_m);
    met
}

#[test]
fn three_traces_meet_what_shapely_counts_by_kind_and_within_a_metre() {
    let text = include_str!("../../../tests/data/meetings-isle-of-man.json");
    let counted: std::collections::BTreeMap<String, Counted> = serde_json::from_str(text).unwrap();
    assert_eq!(counted.len(), 3);
    for (name, counted) in counted {
        let answer = on(&counted.trace);
        assert!((answer.length_m.value() - counted.length_m).abs() < 0.001, "{name}");
        let ours = met(&answer);
        let mut missing = counted.meetings.iter().collect::<Vec<_>>();
        for met in &ours {
            let at = missing.iter().position(|theirs| {
                met.drawn == Drawn::OsmWay(theirs.way)
                    && met.obstacle.as_str() == theirs.kind
                    && distance(met.position, place(theirs.position.0, theirs.position.1)).value() < 1.0
                    && (met.chainage_m.value() - theirs.chainage_m).abs() < 1.0
            });
            let at = at.unwrap_or_else(|| panic!("{name}: only we meet {met:?}"));
            missing.remove(at);
        }
        let missing: Vec<_> = missing.iter().map(|m| (m.way, &m.kind, m.chainage_m)).collect();
        assert!(missing.is_empty(), "{name}: only shapely meets {missing:?}");
    }
}

#[test]
fn two_routes_meet_what_is_known_of_them() {
    // Ways by tag with pyosmium, chainages by GeographicLib.
    let a = on(&[(-4.67, 54.08), (-4.635, 54.095)]);
    let known = [
        (Obstacle::Road, "service", 197.58),
        (Obstacle::MainHighway, "trunk", 211.81),
        (Obstacle::Railway, "narrow_gauge", 443.73),
        (Obstacle::Stream, "stream", 771.52),
        (Obstacle::MainHighway, "trunk", 1548.29),
        (Obstacle::DirtRoad, "track", 1699.08),
        (Obstacle::Path, "path", 2549.29),
    ];
    assert_eq!(a.crossings.len(), known.len(), "{a:#?}");
    for (crossing, (obstacle, class, chainage_m)) in a.crossings.iter().zip(known) {
        assert_eq!((crossing.obstacle, crossing.class.as_str()), (obstacle, class));
        // The leg is straight there and a geodesic here, which is up to 15 cm aside.
        assert!((crossing.chainage_m.value() - chainage_m).abs() < 1.0, "{crossing:#?}");
    }
    assert!(a.unknown.is_empty() && a.along.is_empty(), "{a:#?}");

    let b = on(&[(-4.65, 54.07), (-4.645, 54.09)]);
    // Two tracks 4.9 m apart are one crossing; a river three times over half a kilometre is three.
    let rails = with(&b, 27_207_588);
    assert_eq!(ways(rails), osm([27_207_588, 64_104_052]));
    assert_eq!(rails.grouped, [Grouped::Tracks]);
    assert!((rails.chainage_m.value() - f64::midpoint(1068.24, 1073.12)).abs() < 0.1);
    let river = b.crossings.iter().filter(|c| ways(c).contains(&Drawn::OsmWay(25_988_571)));
    let at: Vec<f64> = river.map(|c| c.chainage_m.value().round()).collect();
    assert_eq!(at, [1281.0, 1662.0, 1797.0]);
}

// ---- What belongs together, each rule on a real place ----

#[test]
fn the_halves_of_a_trunk_road_are_one_crossing() {
    let answer = on(&[(-4.633368, 54.09117), (-4.63205, 54.090925)]);
    let a5 = with(&answer, 38_517_470);
    assert_eq!((a5.obstacle, a5.reference.as_deref()), (Obstacle::MainHighway, Some("A5")));
    assert_eq!(ways(a5), osm([38_517_470, 25_987_483]));
    assert_eq!(a5.grouped, [Grouped::DualCarriageway]);
    // pyproj: the halves' middles lie 6.3 m apart along the trace.
    assert_eq!(a5.width_from, WidthFrom::Measured);
    assert!((12.0..14.0).contains(&a5.width_m.value()), "{}", a5.width_m);
}

#[test]
fn a_roundabout_is_one_crossing() {
    let answer = on(&[(-4.634661, 54.089427), (-4.633279, 54.089481)]);
    let round = with(&answer, 25_986_754);
    assert_eq!(ways(round), osm([25_986_754, 25_986_754]));
    assert_eq!(round.grouped, [Grouped::DualCarriageway]);
}

#[test]
fn the_tracks_of_a_station_are_one_crossing() {
    // Douglas, the steam railway.
    let answer = on(&[(-4.487888, 54.147587), (-4.487763, 54.148392)]);
    let yard = with(&answer, 38_482_818);
    assert_eq!(yard.obstacle, Obstacle::Railway);
    assert_eq!(ways(yard), osm([64_104_050, 38_482_818, 38_482_819, 64_104_059]));
    assert_eq!(yard.grouped, [Grouped::Tracks]);
    assert_eq!(yard.proposed.construction, Some(Construction::UnderRails));
    // The service road beside the yard stays a crossing of its own.
    assert_eq!(ways(with(&answer, 80_994_130)), osm([80_994_130]));
}

#[test]
fn the_electric_railways_two_tracks_are_one_and_the_road_beside_them_is_another() {
    let answer = on(&[(-4.405069, 54.230339), (-4.404565, 54.231092)]);
    assert_eq!(ways(with(&answer, 25_986_379)), osm([314_756_816, 25_986_379]));
    assert_eq!(ways(with(&answer, 53_560_905)), osm([53_560_905]));
}

#[test]
fn a_street_and_the_footways_beside_it_are_one_crossing() {
    // Carrick Park, a footway on each side.
    let answer = on(&[(-4.473787, 54.321609), (-4.47328, 54.321946)]);
    let street = with(&answer, 25_988_192);
    assert_eq!((street.obstacle, street.name.as_deref()), (Obstacle::Road, Some("Carrick Park")));
    assert_eq!(ways(street), osm([453_780_664, 25_988_192, 453_780_665]));
    assert_eq!(street.grouped, [Grouped::Footways]);
}

#[test]
fn the_tramway_in_the_promenade_and_its_halves_are_one_crossing_by_the_railways_rule() {
    let answer = on(&[(-4.475044, 54.149417), (-4.47575, 54.148722)]);
    let promenade = with(&answer, 25_986_942);
    assert_eq!(ways(promenade), osm([158_230_635, 715_061_297, 715_061_295, 25_986_942]));
    assert_eq!(promenade.obstacle, Obstacle::Railway);
    assert!(promenade.grouped.contains(&Grouped::StreetWithRails));
    assert!(!promenade.proposed.construction.unwrap().is_overhead());
}

#[test]
fn rails_in_a_service_road_are_one_crossing() {
    let answer = on(&[(-4.637987, 54.170276), (-4.637511, 54.170503)]);
    let yard = with_both(&answer, 113_573_718);
    assert_eq!(
        (yard.obstacle, yard.grouped.as_slice()),
        (Obstacle::Railway, &[Grouped::StreetWithRails][..])
    );
}

fn with_both(answer: &Foreseen, way: i64) -> &ForeseenCrossing {
    let crossing = with(answer, way);
    assert_eq!(ways(crossing), osm([way, way]));
    crossing
}

// ---- Bridges, culverts, and what nobody knows ----

#[test]
fn a_railway_on_a_bridge_is_gone_under_and_the_road_beneath_it_is_crossed() {
    let answer = on(&[(-4.508605, 54.142448), (-4.5093, 54.142802)]);
    let rails = with(&answer, 25_989_092);
    assert_eq!((rails.obstacle, rails.passes), (Obstacle::Railway, Passes::OnABridge));
    assert_eq!(rails.proposed.construction, Some(Construction::UnderBridge));
    let road = with(&answer, 38_863_072);
    assert_eq!((road.obstacle, road.passes), (Obstacle::MainHighway, Passes::OnTheGround));
}

#[test]
fn a_culvert_within_reach_is_proposed_with_its_detour() {
    // The Mountain Road, 35 m along it from the culvert 167226977, which it passes at (-4.423989, 54.285722) (shapely).
    let culvert = place(-4.423989, 54.285722);
    let answer = on(&[(-4.423438, 54.285837), (-4.423751, 54.286035)]);
    let road = with(&answer, 162_961_262);
    let there = &road.within_reach[0];
    assert_eq!((there.kind, there.drawn), (ReachKind::Culvert, Drawn::OsmWay(167_226_977)), "{road:#?}");
    assert!((there.along_m.value() - 35.0).abs() < 1.0, "{}", there.along_m);
    assert!((there.detour_m.value() - 70.0).abs() < 2.0);
    assert!(distance(there.position, culvert).value() < 1.0);
    assert_eq!(road.proposed.construction, Some(Construction::ThroughCulvert));
    assert!((road.proposed.detour_m.unwrap().value() - 70.0).abs() < 2.0);
}

#[test]
fn a_stream_that_meets_a_road_without_a_word_reads_go_and_look() {
    // shapely: 403 of the 677 meetings of road and stream have neither bridge nor culvert nor a node in common. One of them
    // is Ballanard Road and the stream 25988807 at (-4.493965, 54.182153), 30 m along the road from this trace.
    let answer = on(&[(-4.493836, 54.181888), (-4.493452, 54.182037)]);
    let road = with(&answer, 25_985_919);
    let open = road.within_reach.iter().find(|w| w.drawn == Drawn::OsmWay(25_988_807)).unwrap();
    assert_eq!(open.kind, ReachKind::GoAndLook);
    assert!((open.along_m.value() - 30.0).abs() < 1.0, "{}", open.along_m);
    assert!(distance(open.position, place(-4.493965, 54.182153)).value() < 1.0);
    assert!(road.proposed.go_and_look);
    assert_ne!(road.proposed.construction, Some(Construction::ThroughCulvert));
}

#[test]
fn what_the_trace_meets_from_a_bridge_passes_beneath_it() {
    // Along Alexandra Bridge, Castletown, whose ends lie at these places, over the Silverburn.
    let answer = on(&[
        (-4.6511, 54.077550),
        (-4.6510261, 54.0775366),
        (-4.6508421, 54.0775032),
        (-4.65078, 54.077492),
    ]);
    let river = with(&answer, 25_988_571);
    assert_eq!((river.obstacle, river.passes), (Obstacle::Stream, Passes::UnderTheTracesBridge));
    assert_eq!(river.proposed.construction, Some(Construction::UnderBridge));
}

#[test]
fn a_power_line_over_the_trace_is_told_with_the_distance_to_keep() {
    // Middle River to Castletown, 33 kV, way 144007917: from (-4.65884, 54.08242) to (-4.65901, 54.08360).
    let answer = on(&[(-4.6592, 54.0830), (-4.6580, 54.0830)]);
    let line = answer.power_lines.iter().find(|l| l.drawn == Drawn::OsmWay(144_007_917)).unwrap();
    assert_eq!((line.kilovolts.map(Kilovolts::value), line.beneath), (Some(33.0), true));
    // 29 CFR 1910.333(c)(3)(i) and 1926.1408 table A: 10 ft up to 50 kV.
    assert_eq!(line.keep.least_m, feet(10.0));
    assert!(line.from_m < line.chainage_m && line.chainage_m < line.to_m);
}

// ---- Running along ----

#[test]
fn running_inside_a_carriageway_is_told_as_that_and_not_as_many_crossings() {
    on_the_island(async |pool| {
        // The A3 north of St John's, way 25988041, followed for its whole length with a wavering hand: 2 m to either side in turn.
        let wavering: Vec<(f64, f64)> = sqlx::query_as(
            "select st_x(p), st_y(p) from (
                select st_project(st_lineinterpolatepoint(ground, n * 10 / l)::geography, case when n % 2 = 0 then 2 else -2 end,
                    st_azimuth(st_lineinterpolatepoint(ground, n * 10 / l)::geography,
                        st_lineinterpolatepoint(ground, n * 10 / l + 1e-6)::geography) + pi() / 2)::geometry as p, n
                from (select ground, st_length(ground::geography) as l from terrain_line where way_id = 25988041) as road,
                    generate_series(1, floor(l / 10)::int - 1) as n) as there order by n",
        )
        .fetch_all(&pool)
        .await
        .unwrap();
        assert!(wavering.len() > 20, "{}", wavering.len());
        let answer = ask(&pool, &trace(&wavering)).await.foreseen;
        let along = answer
            .along
            .iter()
            .find(|along| along.drawn.contains(&Drawn::OsmWay(25_988_041)))
            .unwrap_or_else(|| panic!("{answer:#?}"));
        assert!(along.in_traffic && along.obstacle == Obstacle::MainHighway);
        assert!(along.met.len() >= wavering.len() - 3, "{} of {}", along.met.len(), wavering.len());
        assert!(along.inside_m.value() > 0.8 * answer.length_m.value());
        let as_crossings =
            answer.crossings.iter().filter(|c| ways(c).contains(&Drawn::OsmWay(25_988_041))).count();
        assert_eq!(as_crossings, along.met.len() % 2);
    });
}

// ---- What the map does not know ----

#[test]
fn a_trace_at_sea_and_a_trace_off_the_map_say_so() {
    // From the middle of Douglas Bay out, within the box of the island's roads; from the land into the bay; and in France.
    let sea = on(&[(-4.45, 54.155), (-4.40, 54.15)]);
    assert!(sea.crossings.is_empty());
    assert_eq!(sea.unknown.len(), 1);
    assert_eq!(
        (sea.unknown[0].why, sea.unknown[0].from_m, sea.unknown[0].to_m),
        (UnknownBecause::AtSea, Metres::ZERO, sea.length_m)
    );
    let out = on(&[(-4.4790, 54.1590), (-4.46, 54.1590)]);
    assert_eq!(out.unknown.len(), 1, "{:#?}", out.unknown);
    assert_eq!((out.unknown[0].why, out.unknown[0].to_m), (UnknownBecause::AtSea, out.length_m));
    assert!(out.unknown[0].from_m.value() > 50.0);
    let france = on(&[(2.0, 48.0), (2.01, 48.01)]);
    assert_eq!(france.unknown.len(), 1);
    assert_eq!(
        (france.unknown[0].why, france.unknown[0].to_m),
        (UnknownBecause::OutsideTheMap, france.length_m)
    );
    assert!(on(&[(-4.67, 54.08), (-4.635, 54.095)]).unknown.is_empty());
}

#[test]
fn a_trace_that_is_too_long_is_refused_with_the_length() {
    let error = on_the_island(async |pool| {
        foreseen(&pool, trace(&[(-4.6, 54.0), (2.0, 54.0)]), Profile::field().clone()).await.unwrap_err()
    });
    assert!(matches!(error, ForeseenError::TooLong { .. }));
    assert!(error.to_string().ends_with("divide it and ask for each part"), "{error}");
}

#[test]
fn the_lines_about_a_trace_are_found_by_index() {
    on_the_island(async |pool| {
        let plan: Vec<String> = sqlx::query_scalar(sqlx::AssertSqlSafe(format!(
            "explain {}",
            laywire_store::foreseen::LINES_QUERY
        )))
        .bind(vec![-4.67])
        .bind(vec![54.08])
        .bind(vec![-4.66])
        .bind(vec![54.09])
        .bind(1000_i64)
        .fetch_all(&pool)
        .await
        .unwrap();
        let plan = plan.join("\n");
        assert!(plan.contains("terrain_line_ground") && !plan.contains("Seq Scan on terrain"), "{plan}");
    });
}

// ---- The unit's own features, on a map of nothing ----

async fn empty() -> (Scratch, PgPool) {
    let scratch = Scratch::new().await;
    let pool = laywire_store::open(scratch.options(), 4).await.unwrap();
    (scratch, pool)
}

fn collection(features: &[(&str, &str)]) -> String {
    let features: Vec<String> = features
        .iter()
        .map(|(properties, geometry)| {
            format!(r#"{{"type":"Feature","properties":{properties},"geometry":{geometry}}}"#)
        })
        .collect();
    format!(r#"{{"type":"FeatureCollection","features":[{}]}}"#, features.join(","))
}

#[tokio::test]
async fn with_no_map_every_crossing_is_unknown_and_own_features_are_met_all_the_same() {
    let (_scratch, pool) = empty().await;
    let east = trace(&[(10.0, 50.0), (10.01, 50.0)]);
    let answer = ask(&pool, &east).await;
    assert!(answer.map.is_none() && answer.foreseen.crossings.is_empty());
    assert_eq!(answer.foreseen.unknown.len(), 1);
    assert_eq!(answer.foreseen.unknown[0].why, UnknownBecause::NoMapLoaded);
    assert_eq!(answer.foreseen.unknown[0].to_m, answer.foreseen.length_m);

    let text = collection(&[
        (
            r#"{"kind":"dirt_road","name":"Haul road","width_m":4}"#,
            r#"{"type":"LineString","coordinates":[[10.005,49.99],[10.005,50.01]]}"#,
        ),
        (r#"{"kind":"culvert"}"#, r#"{"type":"Point","coordinates":[10.005,50.0003]}"#),
        (
            r#"{"kind":"soft_ground","name":"Bog"}"#,
            r#"{"type":"Polygon","coordinates":[[[10.001,49.999],[10.002,49.999],[10.002,50.001],[10.001,50.001],[10.001,49.999]]]}"#,
        ),
        (
            r#"{"kind":"power_line","voltage_v":132000}"#,
            r#"{"type":"LineString","coordinates":[[10.008,49.99],[10.008,50.01]]}"#,
        ),
        (
            r#"{"kind":"closed_way"}"#,
            r#"{"type":"LineString","coordinates":[[10.009,49.999],[10.009,50.001]]}"#,
        ),
    ]);
    let ids = terrain::add(&pool, "seen.geojson", &text).await.unwrap();
    assert_eq!(ids.len(), 5);
    let answer = ask(&pool, &east).await.foreseen;
    let [haul] = answer.crossings.as_slice() else { panic!("{answer:#?}") };
    assert_eq!((haul.obstacle, haul.met[0].drawn), (Obstacle::DirtRoad, Drawn::Own(ids[0])));
    assert_eq!((haul.width_m.value(), haul.width_from), (4.0, WidthFrom::Tagged));
    // GeographicLib: 0.0003° of latitude are 33.37 m here, 0.005° of longitude 358.48 m.
    assert_eq!(
        (haul.within_reach[0].kind, haul.within_reach[0].drawn),
        (ReachKind::Culvert, Drawn::Own(ids[1]))
    );
    assert!((haul.within_reach[0].along_m.value() - 33.37).abs() < 0.05, "{}", haul.within_reach[0].along_m);
    assert_eq!(haul.proposed.construction, Some(Construction::ThroughCulvert));
    assert!((haul.chainage_m.value() - 358.48).abs() < 0.05, "{}", haul.chainage_m);
    let [line] = answer.power_lines.as_slice() else { panic!("{answer:#?}") };
    // 29 CFR 1926.1408 table A: 15 ft over 50 to 200 kV.
    assert!(line.beneath && line.keep.least_m == feet(15.0));
    let ground: Vec<_> = answer.ground.iter().map(|g| (g.kind, g.drawn)).collect();
    assert_eq!(ground, [(GroundKind::Soft, Drawn::Own(ids[2])), (GroundKind::Closed, Drawn::Own(ids[4]))]);
    assert!((answer.ground[0].to_m.value() - answer.ground[0].from_m.value() - 71.7).abs() < 0.1);

    assert_eq!(terrain::own(&pool).await.unwrap().len(), 5);
    assert!(terrain::remove(&pool, &[ids[0], 999]).await.is_err());
    assert_eq!(terrain::own(&pool).await.unwrap().len(), 5, "all that are named or none");
    terrain::remove(&pool, &[ids[0]]).await.unwrap();
    assert!(ask(&pool, &east).await.foreseen.crossings.is_empty());
}

#[tokio::test]
async fn own_features_that_are_wrong_are_told_by_number_and_nothing_is_added() {
    let (_scratch, pool) = empty().await;
    let good = (r#"{"kind":"culvert"}"#, r#"{"type":"Point","coordinates":[10,50]}"#);
    let polygon = |rings: &str| format!(r#"{{"type":"Polygon","coordinates":{rings}}}"#);
    let open = polygon("[[[0,0],[1,0],[1,1],[0,1]]]");
    let crossed = polygon("[[[0,0],[1,1],[1,0],[0,1],[0,0]]]");
    let short = polygon("[[[0,0],[1,0],[0,0]]]");
    let none = polygon("[]");
    let outside = polygon("[[[0,0],[181,0],[1,1],[0,0]]]");
    let soft = r#"{"kind":"soft_ground"}"#;
    let long =
        format!(r#"{{"type":"LineString","coordinates":[{}]}}"#, vec!["[0,0],[1,1]"; 10_001].join(","));
    for (properties, geometry, reason) in [
        (soft, open.as_str(), "a ring needs four positions or more"),
        (soft, &crossed, "its shape is wrong: self-intersection"),
        (soft, &short, "a ring needs four positions or more"),
        (soft, &none, "it has no ring"),
        (soft, &outside, "a longitude in degrees is 181"),
        (soft, good.1, "a soft_ground is drawn as Polygon or MultiPolygon and this is a Point"),
        (r#"{"kind":"castle"}"#, good.1, "'castle' is no kind: give one of main_highway, road"),
        ("{}", good.1, "it has no property kind"),
        (r#"{"kind":"culvert","width_m":"wide"}"#, good.1, "width_m has to be a number"),
        (r#"{"kind":"culvert","name":5}"#, good.1, "name has to be a text"),
        (r#"{"kind":"culvert"}"#, "null", "it has no geometry"),
        (r#"{"kind":"road"}"#, r#"{"type":"LineString","coordinates":[[1,1],[1,1]]}"#, "its shape is wrong"),
        (r#"{"kind":"road"}"#, &long, "it has more than 20000 positions"),
    ] {
        let error = terrain::add(&pool, "f", &collection(&[good, (properties, geometry)])).await.unwrap_err();
        let said = error.to_string();
        assert!(said.starts_with(&format!("feature 2: {reason}")), "{said}");
        assert!(said.ends_with("Nothing was added"), "{said}");
    }
    for (text, reason) in [
        ("", "this is not GeoJSON"),
        (r#"{"type":"Point","coordinates":[0,0]}"#, "this is not GeoJSON: a shape alone"),
        (r#"{"type":"FeatureCollection","features":[]}"#, "there is no feature in it"),
        (r#"{"type":"FeatureCollection","features":[{"type":"Feature"}"#, "this is not GeoJSON"),
    ] {
        let said = terrain::add(&pool, "f", text).await.unwrap_err().to_string();
        assert!(said.starts_with(reason), "{said}");
    }
    let many = vec![good; 10_001];
    let said = terrain::add(&pool, "f", &collection(&many)).await.unwrap_err().to_string();
    assert!(said.starts_with("10001 features in a file is more than there may be (10000)"), "{said}");
    let huge = " ".repeat(terrain::LARGEST_TEXT + 1);
    assert!(terrain::add(&pool, "f", &huge).await.unwrap_err().to_string().contains("bytes of text"));
    assert!(terrain::own(&pool).await.unwrap().is_empty());
}

#[tokio::test]
async fn own_features_outlast_a_load() {
    let (_scratch, pool) = empty().await;
    let text = collection(&[(r#"{"kind":"culvert"}"#, r#"{"type":"Point","coordinates":[10,50]}"#)]);
    let ids = terrain::add(&pool, "seen.geojson", &text).await.unwrap();
    let file = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../deploy/demo/isle-of-man.osm.pbf");
    terrain::load(&pool, &file, |_| {}).await.unwrap();
    let before = terrain::extract(&pool).await.unwrap().unwrap().version();
    let more = collection(&[(r#"{"kind":"bridge"}"#, r#"{"type":"Point","coordinates":[-4.48,54.15]}"#)]);
    let bridge = terrain::add(&pool, "more.geojson", &more).await.unwrap();
    assert_ne!(terrain::extract(&pool).await.unwrap().unwrap().version(), before, "a tile has changed");
    // The usual tiling puts -4.48, 54.15 at 7988.11, 5248.97 of zoom 14. A layer begins with its name: field 1, 3 bytes.
    let tile = terrain::tile(&pool, 14, 7988, 5248).await.unwrap();
    assert!(tile.windows(5).any(|bytes| bytes == b"\x0a\x03own"), "the bridge is on the map");
    terrain::remove(&pool, &bridge).await.unwrap();
    let kept: Vec<i64> = terrain::own(&pool).await.unwrap().into_iter().map(|own| own.id).collect();
    assert_eq!(kept, ids);
}
