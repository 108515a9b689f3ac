//! OGC API – Features over HTTP: what the standard (OGC 17-069r4; its requirements are named from memory) asks of the answers,
//! and that they are what the database has, counted and measured by PostGIS beside the service.

use std::collections::BTreeSet;

use laywire_tests::{Answer, Crew, Ground, id, process};
use reqwest::Method;
use serde_json::{Value, json};
use sqlx::PgPool;

pub(crate) const COLLECTIONS: [&str; 7] = ["lines", "laid", "crossings", "splices", "reels", "tests", "tags"];

/// Two lines on the Isle of Man, one of them laid in part with two splices, a reel, two tests and four crossings on it, one line of
/// which nothing is known, and one over the 180th meridian with a crossing on either side of it.
pub(crate) async fn laid_ground() -> (Ground, String) {
    let ground = Ground::open().await;
    let post = &ground.post;
    let line = post.line("L-12").await;
    post.line("L-13").await;
    post.records(
        json!({ "kind": "line_planned", "line": id(), "designation": "L-14", "from": "Command post",
        "to": "=HYPERLINK(\"http://wire.example\")" }),
    )
    .await;
    let far = id();
    post.records(json!({ "kind": "line_planned", "line": far, "designation": "L-15", "from": "West <bank>", "to": "East & far",
        "trace": [[179.99, -16.8], [-179.99, -16.81]] }))
        .await;
    post.records(json!({ "kind": "line_started", "line": far })).await;
    post.records(
        json!({ "kind": "reel_started", "line": line, "reel": id(), "label": "R 1", "length_m": 1600 }),
    )
    .await;
    let laid = json!([[-4.67, 54.08], [-4.66, 54.085], [-4.65, 54.0886]]);
    post.records(json!({ "kind": "trace_extended", "line": line, "positions": [laid[0], laid[1]] })).await;
    post.records(json!({ "kind": "splice_made", "line": line })).await;
    post.records(json!({ "kind": "trace_extended", "line": line, "positions": [laid[2]] })).await;
    post.records(json!({ "kind": "splice_made", "line": line })).await;
    for test in [
        json!({ "from": "along", "chainage_m": 900, "to_whom": "Command post", "rang": true, "spoke": true }),
        json!({ "from": "near_end", "rang": false, "spoke": false, "readings": { "loop_ohm": 9000 } }),
    ] {
        let mut report = json!({ "kind": "test_made", "line": line });
        report.as_object_mut().unwrap().extend(test.as_object().unwrap().clone());
        post.records(report).await;
    }
    for (place, passed) in [
        ([-4.668, 54.081], true),
        ([-4.664, 54.083], true),
        ([-4.655, 54.0868], false),
        ([-4.651, 54.0882], false),
    ] {
        let crossing = post.crossing(&line, place).await;
        if passed {
            post.records(
                json!({ "kind": "crossing_passed", "crossing": crossing, "clear_of_traffic": true }),
            )
            .await;
        }
    }
    for place in [[179.995, -16.8025], [-179.995, -16.8075]] {
        post.crossing(&far, place).await;
    }
    (ground, line)
}

pub(crate) async fn count(pool: &PgPool, sql: &'static str) -> i64 {
    sqlx::query_scalar(sql).fetch_one(pool).await.unwrap()
}

/// How many features each collection has, by the tables alone.
pub(crate) async fn counted(pool: &PgPool) -> [(&'static str, i64); 7] {
    // Two at the ends of each line whose course is known, two at each crossing, one where a test was made on the way.
    let tags = "select 2 * (select count(*) from line where planned is not null) + 2 * (select count(*) from crossing) + 1";
    [
        ("lines", count(pool, "select count(*) from line").await),
        ("laid", count(pool, "select count(*) from line where cardinality(laid) > 2").await),
        ("crossings", count(pool, "select count(*) from crossing").await),
        ("splices", count(pool, "select sum(jsonb_array_length(splices)) from line").await),
        ("reels", count(pool, "select sum(jsonb_array_length(reels)) from line").await),
        ("tests", count(pool, "select sum(jsonb_array_length(proving -> 'tests')) from line").await),
        ("tags", count(pool, tags).await),
    ]
}

fn at(rest: &str) -> String {
    format!("/features{rest}")
}

async fn follow(crew: &Crew, href: &str) -> Answer {
    let path = href.strip_prefix(&crew.address).unwrap_or_else(|| panic!("{href} leads elsewhere"));
    Answer::to(crew.request(Method::GET, path)).await
}

fn link<'a>(document: &'a Value, rel: &str) -> Option<&'a str> {
    document["links"].as_array().unwrap().iter().find(|link| link["rel"] == rel)?["href"].as_str()
}

async fn matched(crew: &Crew, collection: &str, query: &str) -> i64 {
    let page = crew.get(&at(&format!("/collections/{collection}/items{query}"))).await.ok(200);
    let matched = page["numberMatched"].as_i64().unwrap();
    assert_eq!(page["features"].as_array().unwrap().len(), usize::try_from(matched).unwrap(), "{query}");
    assert_eq!(page["numberReturned"], page["numberMatched"]);
    matched
}

#[tokio::test]
async fn a_gis_finds_its_way_from_the_landing_page_to_every_feature() {
    let (ground, _) = laid_ground().await;
    let crew = ground.crew("observer", "Guest").await;
    let landing = crew.get(&at("")).await.ok(200);
    assert_eq!(landing["title"], "Flood relief");
    for rel in ["self", "service-desc", "conformance", "data"] {
        assert_eq!(follow(&crew, link(&landing, rel).unwrap()).await.status, 200, "{rel}");
    }
    assert_eq!(crew.get(&at("/")).await.ok(200)["links"], landing["links"]);
    let conformance = crew.get(&at("/conformance")).await.ok(200);
    for class in ["core", "oas30", "geojson"] {
        let class = format!("http://www.opengis.net/spec/ogcapi-features-1/1.0/conf/{class}");
        assert!(conformance["conformsTo"].as_array().unwrap().contains(&json!(class)), "{class}");
    }
    let collections = follow(&crew, link(&landing, "data").unwrap()).await.ok(200);
    let collections = collections["collections"].as_array().unwrap();
    assert_eq!(collections.iter().map(|c| c["id"].as_str().unwrap()).collect::<Vec<_>>(), COLLECTIONS);
    for collection in collections {
        assert_eq!(&follow(&crew, link(collection, "self").unwrap()).await.ok(200), collection);
        let answer = follow(&crew, link(collection, "items").unwrap()).await;
        assert_eq!(answer.header("content-type"), "application/geo+json");
        let page = answer.ok(200);
        assert!(page["timeStamp"].as_str().unwrap().ends_with('Z'));
        assert!(!page["features"].as_array().unwrap().is_empty(), "{collection}");
        for feature in page["features"].as_array().unwrap() {
            let path = format!(
                "/collections/{}/items/{}",
                collection["id"].as_str().unwrap(),
                feature["id"].as_str().unwrap()
            );
            let mut alone = crew.get(&at(&path)).await.ok(200);
            assert_eq!(follow(&crew, link(&alone, "self").unwrap()).await.ok(200), alone);
            alone.as_object_mut().unwrap().remove("links");
            assert_eq!(&alone, feature, "{path}");
        }
    }
    let definition = crew.get(&at("/api")).await;
    assert_eq!(definition.header("content-type"), "application/vnd.oai.openapi+json;version=3.0");
    let definition = definition.ok(200);
    // Every path of the definition is there.
    for path in definition["paths"].as_object().unwrap().keys().filter(|path| !path.contains('{')) {
        assert_eq!(crew.get(&at(path)).await.status, 200, "{path}");
    }
}

#[tokio::test]
async fn pages_have_every_feature_once_whatever_is_reported_between_them() {
    let (ground, line) = laid_ground().await;
    let pool = ground.database.connect().await;
    for (collection, wanted) in counted(&pool).await {
        let mut seen = BTreeSet::new();
        let mut page =
            ground.post.get(&at(&format!("/collections/{collection}/items?limit=2"))).await.ok(200);
        loop {
            assert_eq!(page["numberMatched"], wanted, "{collection}");
            let features = page["features"].as_array().unwrap();
            assert!((1..=2).contains(&features.len()) && page["numberReturned"] == features.len());
            for feature in features {
                assert!(seen.insert(feature["id"].as_str().unwrap().to_owned()), "{collection} {feature}");
            }
            let Some(next) = link(&page, "next") else { break };
            assert!(next.contains("limit=2"), "{next}");
            page = follow(&ground.post, next).await.ok(200);
        }
        assert_eq!(i64::try_from(seen.len()).unwrap(), wanted, "{collection}");
    }
    // A crossing that is marked meanwhile moves no feature from one page to another.
    let first = ground.post.get(&at("/collections/crossings/items?limit=5")).await.ok(200);
    ground.post.crossing(&line, [-4.66, 54.085]).await;
    let next = follow(&ground.post, link(&first, "next").unwrap()).await.ok(200);
    assert_eq!(next["features"].as_array().unwrap().len(), 2);
    assert_eq!(next["numberMatched"], 7);
    // As the corrected standard has it, a limit beyond the largest is no error.
    assert_eq!(matched(&ground.post, "crossings", "?limit=100000000000").await, 7);
}

#[tokio::test]
async fn features_are_chosen_by_box_time_and_value_as_postgis_chooses_them() {
    let (ground, line) = laid_ground().await;
    let (pool, crew) = (ground.database.connect().await, &ground.post);
    let passed = count(&pool, "select count(*) from crossing where state = 'passed'").await;
    assert_eq!((passed, matched(crew, "crossings", "?state=passed").await), (2, 2));
    let within = count(
        &pool,
        "select count(*) from crossing where ST_Intersects(position::geometry, ST_MakeEnvelope(-4.67, 54.08, -4.655, 54.09, 4326))",
    )
    .await;
    // The crossing at 4.655° W lies on the edge.
    assert_eq!((within, matched(crew, "crossings", "?bbox=-4.67,54.08,-4.655,54.09").await), (3, 3));
    assert_eq!(
        matched(crew, "crossings", "?bbox=-4.655,54.0868,-4.655,54.0868").await,
        1,
        "a box may be a place"
    );
    for (collection, query, wanted) in [
        ("crossings", "?bbox=179,-17,-179,-16", 2),
        ("crossings", "?bbox=179,-17,0,-179,-16,100", 2),
        ("crossings", "?bbox=179,-17,180,-16", 1),
        ("lines", "?bbox=179,-17,-179,-16", 1),
        ("lines", "?bbox=-180,-17,-179.995,-16", 1),
        // The line over the 180th meridian does not go round the world the other way.
        ("lines", "?bbox=-10,-20,10,-10", 0),
        ("lines", "?bbox=-180,-90,180,90", 3),
        ("lines", "", 4),
        ("lines", "?bbox=-4.65,54.05,-4.65,54.12", 2),
        ("lines", "?bbox=-4.67,54.08,-4.67,54.08", 2),
        ("lines", "?bbox=-4.66,54.09,-4.66,54.12", 0),
        ("laid", "?bbox=-4.655,54.05,-4.6,54.12", 1),
        ("laid", "?bbox=-4.64,54.05,-4.6,54.12", 0),
        ("splices", "?bbox=-4.661,54.08,-4.659,54.09", 1),
        ("reels", "?label=R%201&length_m=1600", 1),
        ("reels", "?label=R%202", 0),
        ("tests", "?verdict=bad&rang=false", 1),
        ("tests", "?to_whom=Command%20post&final=false", 1),
        ("tests", "?datetime=../2000-01-01T00:00:00Z", 0),
        ("tags", "?at=test_point&designation=L-12", 1),
        ("tags", "?number=1", 3),
        ("lines", "?designation=L-12&state=laying", 1),
        ("lines", "?to=%3DHYPERLINK(%22http://wire.example%22)", 1),
        ("crossings", "?hard_surface=true&state=marked&bbox=-5,54,-4,55", 2),
        // Two are over, and nobody has said that the wire was lifted clear of the road.
        ("crossings", "?wire_in_traffic=true", 2),
        ("crossings", "?wire_in_traffic=false", 4),
        // A feature without a time is at every time (requirement fc-time-response).
        ("lines", "?datetime=../2000-01-01T00:00:00Z", 1),
        ("crossings", "?datetime=2000-01-01T00:00:00Z/..", 6),
        ("crossings", "?datetime=../2000-01-01T00:00:00Z", 0),
    ] {
        assert_eq!(matched(crew, collection, query).await, wanted, "{collection}{query}");
    }
    assert_eq!(matched(crew, "crossings", &format!("?line={line}")).await, 4);
    let all = crew.get(&at("/collections/crossings/items")).await.ok(200);
    let opened = all["features"][1]["properties"]["opened_at"].as_str().unwrap().to_owned();
    assert_eq!(matched(crew, "crossings", &format!("?opened_at={opened}")).await, 1);
    assert_eq!(matched(crew, "crossings", &format!("?datetime={opened}")).await, 1);
    assert_eq!(matched(crew, "crossings", &format!("?datetime={opened}/..")).await, 5);
}

#[tokio::test]
async fn a_feature_is_where_the_line_has_it() {
    let (ground, line) = laid_ground().await;
    let pool = ground.database.connect().await;
    let splices = ground.post.get(&at("/collections/splices/items")).await.ok(200);
    let splices = splices["features"].as_array().unwrap();
    assert_eq!(splices[0]["id"], format!("{line}.1"));
    let place = |feature: &Value, n: usize| feature["geometry"]["coordinates"][n].as_f64().unwrap();
    // The first splice is on the first leg: PostGIS measures its chainage on the spheroid.
    let measured: f64 = sqlx::query_scalar(
        "select ST_Distance(ST_MakePoint(-4.67, 54.08)::geography, ST_MakePoint($1, $2)::geography)",
    )
    .bind(place(&splices[0], 0))
    .bind(place(&splices[0], 1))
    .fetch_one(&pool)
    .await
    .unwrap();
    let chainage = splices[0]["properties"]["chainage_m"].as_f64().unwrap();
    assert!((measured - chainage).abs() < 0.001, "{measured} {chainage}");
    assert!((place(&splices[1], 0) + 4.65).abs() < 1e-9 && (place(&splices[1], 1) - 54.0886).abs() < 1e-9);
    let lines = ground.post.get(&at("/collections/lines/items")).await.ok(200);
    let of = |designation: &str| {
        let lines = lines["features"].as_array().unwrap();
        lines.iter().find(|line| line["properties"]["designation"] == designation).unwrap().clone()
    };
    assert_eq!(
        of("L-12")["geometry"],
        json!({ "type": "LineString", "coordinates": [[-4.67, 54.08], [-4.635, 54.095]] })
    );
    assert_eq!(of("L-14")["geometry"], Value::Null);
    // The length of route A by GeographicLib 2.1, as in the craft's own tests.
    assert!((of("L-12")["properties"]["planned_length_m"].as_f64().unwrap() - 2834.290).abs() < 0.001);
    // Cut at the 180th meridian, as RFC 7946, section 3.1.9, has it.
    let far = of("L-15");
    assert_eq!(far["geometry"]["type"], "MultiLineString", "{far}");
    let ends: Vec<f64> = far["geometry"]["coordinates"]
        .as_array()
        .unwrap()
        .iter()
        .flat_map(|part| {
            part.as_array().unwrap().iter().map(|place| place[0].as_f64().unwrap()).collect::<Vec<_>>()
        })
        .collect();
    assert!([180.0, -180.0].iter().all(|edge| ends.contains(edge)), "{ends:?}");
    assert!(ends.iter().all(|lon| lon.abs() >= 179.99), "{ends:?}");
    let laid = ground.post.get(&at("/collections/laid/items")).await.ok(200);
    assert_eq!(
        laid["features"][0]["geometry"]["coordinates"],
        json!([[-4.67, 54.08], [-4.66, 54.085], [-4.65, 54.0886]])
    );
    let crossings = ground.post.get(&at("/collections/crossings/items?limit=1")).await.ok(200);
    let listed = ground.post.get("/crossings").await.ok(200);
    let crossing = &crossings["features"][0];
    let same = listed["features"].as_array().unwrap().iter().find(|c| c["id"] == crossing["id"]).unwrap();
    for property in [
        "line",
        "state",
        "chainage_m",
        "grid",
        "obstacle",
        "construction",
        "wire_in_traffic",
        "opened_at",
        "passed_at",
        "changed",
    ] {
        assert_eq!(crossing["properties"][property], same["properties"][property], "{property}");
    }
    assert_eq!(crossing["geometry"], same["geometry"]);
}

#[tokio::test]
async fn long_traces_go_on_the_next_page() {
    let ground = Ground::open().await;
    let pool = ground.database.connect().await;
    for line in ["L-1", "L-2", "L-3"] {
        ground.post.line(line).await;
    }
    sqlx::query(
        "update line set planned = (select ST_SetSRID(ST_MakeLine(ST_MakePoint(n / 1e5, 50) order by n), 4326)::geography
             from generate_series(1, 90000) n)",
    )
    .execute(&pool)
    .await
    .unwrap();
    let mut page = ground.post.get(&at("/collections/lines/items?limit=10")).await.ok(200);
    let mut lengths = vec![page["features"].as_array().unwrap().len()];
    while let Some(next) = link(&page, "next") {
        page = follow(&ground.post, next).await.ok(200);
        lengths.push(page["features"].as_array().unwrap().len());
    }
    // Pages are cut before 200,000 positions are passed by a further line.
    assert_eq!(lengths, [3], "the third begins before the 200,000th position");
    sqlx::query("update line set planned = (select ST_SetSRID(ST_MakeLine(ST_MakePoint(n / 1e6, 50) order by n), 4326)::geography
             from generate_series(1, 100000) n)").execute(&pool).await.unwrap();
    let page = ground.post.get(&at("/collections/lines/items?limit=10")).await.ok(200);
    assert_eq!((page["features"].as_array().unwrap().len(), &page["numberMatched"]), (2, &json!(3)));
    let rest = follow(&ground.post, link(&page, "next").unwrap()).await.ok(200);
    assert_eq!(rest["features"].as_array().unwrap().len(), 1);
    assert!(link(&rest, "next").is_none());
}

#[tokio::test]
async fn what_is_asked_wrongly_is_named() {
    let ground = Ground::open().await;
    ground.post.line("L-12").await;
    for (path, field) in [
        ("/collections/lines/items?colour=red", "colour"),
        ("/collections/lines/items?obstacle=road", "obstacle"),
        ("/collections/crossings/items?grid=30UVF", "grid"),
        ("/collections/lines/items?limit=0", "limit"),
        ("/collections/lines/items?limit=-1", "limit"),
        ("/collections/lines/items?limit=ten", "limit"),
        ("/collections/lines/items?limit=1&limit=2", "limit"),
        ("/collections/lines/items?after=5", "after"),
        ("/collections/lines/items?bbox=1,2,3", "bbox"),
        ("/collections/lines/items?bbox=0,5,0,4", "bbox"),
        ("/collections/lines/items?bbox=0,0,200,1", "bbox"),
        ("/collections/lines/items?bbox=NaN,0,1,1", "bbox"),
        ("/collections/lines/items?bbox-crs=http://www.opengis.net/def/crs/EPSG/0/4326", "bbox-crs"),
        ("/collections/lines/items?datetime=today", "datetime"),
        ("/collections/lines/items?datetime=2026-05-05T00:00:00Z/2026-05-04T00:00:00Z", "datetime"),
        ("/collections/lines/items?state=lost", "state"),
        ("/collections/lines/items?plan=one", "plan"),
        ("/collections/lines/items?laid_length_m=long", "laid_length_m"),
        ("/collections/lines/items?designation=a%00b", "designation"),
        ("/collections/crossings/items?line=5", "line"),
        ("/collections/crossings/items?hard_surface=perhaps", "hard_surface"),
        ("/collections/lines?f=html", "f"),
        ("/collections?f=html", "f"),
        ("/conformance?x=1", "x"),
        ("?x=1", "x"),
        ("/api?x=1", "x"),
    ] {
        let problem = ground.post.get(&at(path)).await.problem(400, "query");
        assert_eq!(problem["field"], field, "{path}");
    }
    let quoted = "/collections/lines/items?designation=%27%3B%20drop%20table%20line%3B--";
    assert_eq!(ground.post.get(&at(quoted)).await.ok(200)["numberMatched"], 0);
    for path in [
        "/collections/tables".to_owned(),
        "/collections/tables/items".to_owned(),
        "/collections/lines/items/5".to_owned(),
        format!("/collections/lines/items/{}", id()),
        format!("/collections/lines/items/{}.99999999999", id()),
        "/tiles".to_owned(),
    ] {
        ground.post.get(&at(&path)).await.problem(404, "not-found");
    }
    // What is no host is not written into links.
    let odd = ground.post.request(Method::GET, &ground.post.path(&at(""))).header("host", "<script>");
    let odd = Answer::to(odd).await;
    assert!(odd.status == 400 || !odd.body.contains("<script>"), "{odd:?}");
}

#[tokio::test]
async fn a_pass_may_be_shown_as_a_password() {
    let ground = Ground::open().await;
    let crew = ground.crew("observer", "Guest").await;
    let path = crew.path(&at("/collections"));
    let with = |name: &str, password: &str| {
        Answer::to(crew.bare(Method::GET, &path).basic_auth(name, Some(password)))
    };
    assert_eq!(with("", &crew.secret).await.status, 200);
    assert_eq!(with("anybody", &crew.secret.to_lowercase()).await.status, 200);
    with("anybody", "").await.problem(401, "no-pass");
    with(&crew.secret, "").await.problem(401, "no-pass");
    with("anybody", &format!("{}2", crew.secret)).await.problem(401, "no-pass");
    for header in ["Basic", "Basic !", "Basic Og==", "Basic /////w=="] {
        Answer::to(crew.bare(Method::GET, &path).header("authorization", header))
            .await
            .problem(401, "no-pass");
    }
    let said =
        process::succeeds(&["pass", "list", "--database-url", &ground.database.url, &ground.operation]);
    assert!(said.contains("Guest"));
}
