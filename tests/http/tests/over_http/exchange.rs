//! Files for other programs and from them, and the features of an operation as GDAL reads them: a client that was written by
//! others (Debian's package gdal-bin). It says how many features and which geometries it found.

use std::{path::Path, process::Command};

use laywire_tests::{Answer, Crew, Ground, process};
use reqwest::Method;
use serde_json::{Value, json};

use crate::features::{COLLECTIONS, count, counted, laid_ground};

/// Runs one of GDAL's programs with the crew's pass: what it said, and what it did.
fn gdal(program: &str, crew: &Crew, arguments: &[&str]) -> (String, String) {
    let output = Command::new(program)
        .args(arguments)
        .env("GDAL_HTTP_HEADERS", format!("Authorization: Bearer {}", crew.secret))
        .env("CPL_DEBUG", "OAPIF,HTTP")
        .env("no_proxy", "127.0.0.1")
        .output()
        .unwrap_or_else(|error| panic!("{program}: {error}; it is in Debian's package gdal-bin"));
    let (said, did) =
        (String::from_utf8(output.stdout).unwrap(), String::from_utf8_lossy(&output.stderr).into_owned());
    assert!(output.status.success() && !did.contains("ERROR"), "{arguments:?}\n{said}\n{did}");
    (said, did)
}

/// A layer as GDAL reads it, as GeoJSON.
fn layer(crew: &Crew, source: &str, name: &str, options: &[&str]) -> (Vec<Value>, String) {
    let mut arguments = vec!["-f", "GeoJSON", "/vsistdout/", source];
    arguments.extend((!name.is_empty()).then_some(name));
    arguments.extend(options);
    let (said, did) = gdal("ogr2ogr", crew, &arguments);
    let read: Value = serde_json::from_str(&said).unwrap_or_else(|error| panic!("{error}: {said}"));
    (read["features"].as_array().unwrap().clone(), did)
}

fn kinds(features: &[Value]) -> Vec<String> {
    let mut kinds: Vec<String> = features
        .iter()
        .map(|feature| feature["geometry"]["type"].as_str().unwrap_or("none").to_owned())
        .collect();
    kinds.sort();
    kinds
}

#[tokio::test]
async fn gdal_reads_every_collection_whole_in_whatever_pages() {
    let (ground, _) = laid_ground().await;
    let crew = ground.crew("observer", "Guest").await;
    let pool = ground.database.connect().await;
    let source = format!("OAPIF:{}{}", crew.address, crew.path("/features"));
    let (said, _) = gdal("ogrinfo", &crew, &["-so", &source]);
    for collection in COLLECTIONS {
        assert!(said.contains(&format!(": {collection} (")), "{collection}: {said}");
    }
    for (collection, wanted) in counted(&pool).await {
        let (said, _) = gdal("ogrinfo", &crew, &["-so", &source, collection]);
        assert!(said.contains(&format!("Feature Count: {wanted}\n")), "{collection}: {said}");
        for page in ["PAGE_SIZE=1", "PAGE_SIZE=2", "PAGE_SIZE=1000"] {
            let (features, did) = layer(&crew, &source, collection, &["-oo", page]);
            assert_eq!(i64::try_from(features.len()).unwrap(), wanted, "{collection} {page}");
            assert!(did.contains(&format!("limit={}", &page[10..])), "{did}");
        }
    }
    let (lines, _) = layer(&crew, &source, "lines", &[]);
    assert_eq!(kinds(&lines), ["LineString", "LineString", "MultiLineString", "none"]);
    let place = |feature: &Value| feature["geometry"]["coordinates"].clone();
    let (crossings, _) = layer(&crew, &source, "crossings", &["-lco", "COORDINATE_PRECISION=17"]);
    let ours = crew.get("/features/collections/crossings/items").await.ok(200);
    for (theirs, ours) in crossings.iter().zip(ours["features"].as_array().unwrap()) {
        assert_eq!(place(theirs), place(ours));
        assert_eq!(theirs["properties"]["chainage_m"], ours["properties"]["chainage_m"]);
        assert_eq!(theirs["properties"]["grid"], ours["properties"]["grid"]);
    }
}

#[tokio::test]
async fn gdals_filters_are_answered_by_the_service() {
    let (ground, line) = laid_ground().await;
    let crew = ground.crew("observer", "Guest").await;
    let source = format!("OAPIF:{}{}", crew.address, crew.path("/features"));
    let read = |options: &[&str]| layer(&crew, &source, "crossings", options);
    let (passed, did) = read(&["-where", "state = 'passed'"]);
    assert_eq!(passed.len(), 2);
    assert!(did.contains("state=passed"), "the filter was not sent: {did}");
    let (two, did) = read(&["-where", &format!("line = '{line}' AND state = 'marked'")]);
    assert_eq!(two.len(), 2);
    assert!(did.contains(&format!("line={line}&state=marked")), "{did}");
    let (within, did) = read(&["-spat", "-4.67", "54.08", "-4.66", "54.09"]);
    assert_eq!(within.len(), 2);
    assert!(did.contains("bbox="), "{did}");
    let (both, _) = read(&["-spat", "-4.67", "54.08", "-4.66", "54.09", "-where", "state = 'marked'"]);
    assert!(both.is_empty());
    // What the service has no parameter for, GDAL looks for itself.
    let (long, _) = read(&["-where", "chainage_m > 500", "-oo", "PAGE_SIZE=1"]);
    let pool = ground.database.connect().await;
    let wanted = count(&pool, "select count(*) from crossing where chainage_m > 500").await;
    assert_eq!(i64::try_from(long.len()).unwrap(), wanted);
    let (since, did) = read(&["-where", "opened_at >= '2000/01/01 00:00:00'"]);
    assert_eq!(since.len(), 6, "{did}");
    assert!(did.contains("datetime=2000-01-01T00:00:00Z"), "{did}");
}

#[tokio::test]
async fn gdal_may_show_the_pass_as_a_password() {
    let (ground, _) = laid_ground().await;
    let source = format!("OAPIF:{}{}", ground.post.address, ground.post.path("/features"));
    let output = Command::new("ogrinfo")
        .args(["-so", &source, "splices", "-oo", &format!("USERPWD=gis:{}", ground.post.secret)])
        .env("no_proxy", "127.0.0.1")
        .output()
        .unwrap();
    let said = String::from_utf8_lossy(&output.stdout);
    assert!(said.contains("Feature Count: 2\n"), "{said}{}", String::from_utf8_lossy(&output.stderr));
}

async fn exported(crew: &Crew, folder: &Path, file: &str) -> String {
    let answer = crew.get(&format!("/export/{file}")).await;
    assert_eq!(answer.status, 200, "{answer:?}");
    let named = format!("attachment; filename=\"flood-relief-{file}\"");
    assert_eq!(answer.header("content-disposition"), named);
    let path = folder.join(file);
    std::fs::write(&path, &answer.body).unwrap();
    path.to_str().unwrap().to_owned()
}

#[tokio::test]
async fn each_file_is_read_back_by_gdal_with_every_feature() {
    let (ground, _) = laid_ground().await;
    let crew = ground.crew("observer", "Guest").await;
    let folder = tempfile::tempdir().unwrap();
    for collection in COLLECTIONS {
        let page = crew.get(&format!("/features/collections/{collection}/items")).await.ok(200);
        let ours = page["features"].as_array().unwrap();
        let drawn: Vec<Value> =
            ours.iter().filter(|feature| !feature["geometry"].is_null()).cloned().collect();
        let name_of = |feature: &Value| {
            let id = feature["id"].as_str().or(feature["properties"]["id"].as_str());
            id.unwrap_or_default().to_owned()
        };

        let file = exported(&crew, folder.path(), &format!("{collection}.geojson")).await;
        let (read, _) = layer(&crew, &file, "", &["-lco", "COORDINATE_PRECISION=17"]);
        assert_eq!(kinds(&read), kinds(ours), "{collection}.geojson");
        for (theirs, ours) in read.iter().zip(ours) {
            assert_eq!((name_of(theirs), &theirs["geometry"]), (name_of(ours), &ours["geometry"]));
        }

        let file = exported(&crew, folder.path(), &format!("{collection}.csv")).await;
        let (read, _) = layer(
            &crew,
            &file,
            "",
            &[
                "-lco",
                "COORDINATE_PRECISION=17",
                "-oo",
                "GEOM_POSSIBLE_NAMES=wkt",
                "-oo",
                "X_POSSIBLE_NAMES=longitude",
                "-oo",
                "Y_POSSIBLE_NAMES=latitude",
            ],
        );
        assert_eq!(kinds(&read), kinds(ours), "{collection}.csv");
        for (theirs, ours) in read.iter().zip(ours) {
            assert_eq!((name_of(theirs), &theirs["geometry"]), (name_of(ours), &ours["geometry"]));
        }

        let file = exported(&crew, folder.path(), &format!("{collection}.kml")).await;
        let (read, _) = layer(&crew, &file, "", &["-lco", "COORDINATE_PRECISION=17", "-dim", "XY"]);
        assert_eq!(kinds(&read).len(), kinds(ours).len(), "{collection}.kml");
        for (theirs, ours) in read.iter().zip(ours) {
            assert_eq!(name_of(theirs), name_of(ours));
            assert_eq!(theirs["geometry"]["coordinates"], ours["geometry"]["coordinates"]);
        }

        // A track's file has layers of its own kinds; a line that nobody has drawn is not in it.
        let file = exported(&crew, folder.path(), &format!("{collection}.gpx")).await;
        let track = matches!(collection, "lines" | "laid");
        let (read, _) = layer(
            &crew,
            &file,
            if track { "tracks" } else { "waypoints" },
            &["-lco", "COORDINATE_PRECISION=17"],
        );
        assert_eq!(read.len(), drawn.len(), "{collection}.gpx");
        for (theirs, ours) in read.iter().zip(&drawn) {
            let (theirs, ours) = (&theirs["geometry"], &ours["geometry"]);
            let ours = if track && ours["type"] == "LineString" {
                json!([ours["coordinates"]])
            } else {
                ours["coordinates"].clone()
            };
            // GPX has no longitude of 180.
            let ours = ours.to_string().replace("[180.0,", "[179.999999999,");
            assert_eq!(theirs["coordinates"].to_string(), ours, "{collection}.gpx");
        }
    }
    let csv = crew.get("/export/lines.csv").await.body;
    assert!(csv.contains("\"'=HYPERLINK(\"\"http://wire.example\"\")\""), "{csv}");
    let kml = crew.get("/export/lines.kml").await.body;
    assert!(kml.contains("West &lt;bank&gt;") && kml.contains("East &amp; far"), "{kml}");

    let passed = crew.get("/export/crossings.geojson?state=passed").await.ok(200);
    assert_eq!(passed["features"].as_array().unwrap().len(), 2);
    let said = process::succeeds(&[
        "export",
        "--database-url",
        &ground.database.url,
        &ground.operation,
        "crossings.geojson",
    ]);
    assert_eq!(said, crew.get("/export/crossings.geojson").await.body);
    for (path, status, kind) in [
        ("/export/tables.csv", 404, "not-found"),
        ("/export/crossings.pdf", 404, "not-found"),
        ("/export/crossings", 404, "not-found"),
        ("/export/crossings.csv?limit=5", 400, "query"),
        ("/export/crossings.csv?colour=red", 400, "query"),
    ] {
        crew.get(path).await.problem(status, kind);
    }
    let wrong =
        process::run(&["export", "--database-url", &ground.database.url, &ground.operation, "crossings.pdf"]);
    assert!(
        !wrong.status.success() && String::from_utf8_lossy(&wrong.stderr).contains("crossings.pdf"),
        "{wrong:?}"
    );
}

#[tokio::test]
async fn a_file_that_would_be_too_large_says_how_to_ask_for_less() {
    let ground = Ground::open().await;
    let line = ground.post.line("L-12").await;
    let pool = ground.database.connect().await;
    sqlx::query(
        "insert into crossing (operation, id, line, state, position, chainage_m, obstacle, hard_surface, clear_of_traffic,
             wire_in_traffic, opened_at, changed)
         select operation, gen_random_uuid(), id, 'foreseen', ST_MakePoint(n / 1e6, 50)::geography, n, 'path', false, true,
             false, now(), 1
         from line, generate_series(1, 100001) n where id = $1::uuid",
    )
    .bind(&line)
    .execute(&pool)
    .await
    .unwrap();
    let refused = ground.post.get("/export/crossings.csv").await.problem(422, "cannot-reckon");
    assert!(refused["title"].as_str().unwrap().starts_with("100001 features are more than go into one file"));
    let part = ground.post.get("/export/crossings.csv?bbox=0.05,49,0.0501,51").await;
    // A head, and the crossings at 0.050000° to 0.050100°.
    assert_eq!((part.status, part.body.lines().count()), (200, 102));
}

async fn traces(crew: &Crew, media: &str, body: impl Into<reqwest::Body>) -> Answer {
    let request = crew.request(Method::POST, &crew.path("/traces/read"));
    Answer::to(request.header("content-type", media).body(body)).await
}

const GEOJSON: &str = "application/geo+json";
const GPX: &str = "application/gpx+xml";

fn gpx(inside: &str) -> String {
    format!(
        "<?xml version=\"1.0\"?><gpx version=\"1.1\" creator=\"t\" xmlns=\"http://www.topografix.com/GPX/1/1\">{inside}</gpx>"
    )
}

#[tokio::test]
async fn what_was_written_as_a_file_is_read_back_as_traces() {
    let (ground, _) = laid_ground().await;
    let crew = ground.crew("lead_team", "Lead 1").await;
    let ours = crew.get("/features/collections/lines/items?bbox=-5,54,-4,55").await.ok(200);
    let places: Vec<Value> = ours["features"]
        .as_array()
        .unwrap()
        .iter()
        .map(|line| line["geometry"]["coordinates"].clone())
        .collect();
    for (extension, media) in [("geojson", GEOJSON), ("gpx", GPX)] {
        let file = crew.get(&format!("/export/lines.{extension}?bbox=-5,54,-4,55")).await.body;
        let read = traces(&crew, media, file).await.ok(200);
        let read = read["traces"].as_array().unwrap();
        let back: Vec<Value> = read.iter().map(|trace| trace["trace"]["coordinates"].clone()).collect();
        assert_eq!(back, places, "{extension}");
        assert_eq!((&read[0]["name"], &read[0]["positions"]), (&json!("L-12"), &json!(2)), "{extension}");
        let foreseen = crew.post("/foreseen", &json!({ "trace": read[0]["trace"] })).await;
        foreseen.ok(200);
    }
}

#[tokio::test]
async fn lines_are_read_from_what_other_programs_write() {
    let ground = Ground::open().await;
    // Written by GDAL: three forms of one file.
    let folder = tempfile::tempdir().unwrap();
    let source = folder.path().join("in.geojson");
    let line = |name: &str, places: Value| {
        json!({ "type": "Feature", "properties": { "name": name },
            "geometry": { "type": "LineString", "coordinates": places } })
    };
    let file = json!({ "type": "FeatureCollection", "features": [
        line("To the <mill> & back", json!([[-4.67, 54.08], [-4.66, 54.085], [-4.65, 54.0886]])),
        line("Second", json!([[-4.5, 54.1], [-4.4, 54.2]])),
    ] });
    std::fs::write(&source, file.to_string()).unwrap();
    for (format, out, media) in [("GPX", "out.gpx", GPX), ("GeoJSON", "out.geojson", GEOJSON)] {
        let out = folder.path().join(out);
        gdal("ogr2ogr", &ground.post, &["-f", format, out.to_str().unwrap(), source.to_str().unwrap()]);
        let read = traces(&ground.post, media, std::fs::read(&out).unwrap()).await.ok(200);
        assert_eq!(read["left_out"], 0);
        let names: Vec<_> = read["traces"].as_array().unwrap().iter().map(|t| t["name"].clone()).collect();
        assert_eq!(names, ["To the <mill> & back", "Second"], "{format}");
        assert_eq!(read["traces"][0]["positions"], 3);
    }
    let segments = gpx(
        "<wpt lat='1' lon='2'><name>W</name></wpt><trk><name><![CDATA[Two <pieces>]]> &#38; more</name>\
        <trkseg><trkpt lat='54' lon='-4'><ele>3</ele><name>not this</name></trkpt><trkpt lat='54.1' lon='-4'/></trkseg>\
        <trkseg><trkpt lat='54' lon='-4'/></trkseg>\
        <trkseg><trkpt lon='-4.1' lat='54.2'/><trkpt lat='54.3' lon='-4'/></trkseg></trk>\
        <rte><rtept lat='54' lon='-4'/><rtept lat='54' lon='-4.5'/></rte>",
    );
    let read = traces(&ground.post, "text/xml; charset=utf-8", segments).await.ok(200);
    assert_eq!(
        read,
        json!({ "left_out": 2, "traces": [
        { "name": "Two <pieces> & more", "positions": 2, "trace": { "type": "LineString", "coordinates": [[-4.0, 54.0], [-4.0, 54.1]] } },
        { "name": "Two <pieces> & more", "positions": 2, "trace": { "type": "LineString", "coordinates": [[-4.1, 54.2], [-4.0, 54.3]] } },
        { "name": null, "positions": 2, "trace": { "type": "LineString", "coordinates": [[-4.0, 54.0], [-4.5, 54.0]] } },
    ] })
    );
    let mixed = json!({ "type": "GeometryCollection", "geometries": [
        { "type": "Point", "coordinates": [0, 0] },
        // A ring that is not closed: no line, whatever it was meant to be.
        { "type": "Polygon", "coordinates": [[[0, 0], [1, 0], [1, 1]]] },
        { "type": "MultiLineString", "coordinates": [[[0, 0, 12.5], [1, 0, 13]], [[2, 2], [3, 3]]] },
    ] });
    let read = traces(&ground.post, GEOJSON, mixed.to_string()).await.ok(200);
    assert_eq!((read["traces"].as_array().unwrap().len(), &read["left_out"]), (2, &json!(2)));
}

type Bad = (&'static str, String, u16, &'static str);

fn line_string(coordinates: &str) -> String {
    format!("{{\"type\":\"LineString\",\"coordinates\":{coordinates}}}")
}

/// Places in one spot, and one more.
fn places(count: usize) -> String {
    format!("[{}[1,51]]", "[0.1,50.1],".repeat(count))
}

fn lines(count: usize) -> String {
    let lines = vec![line_string("[[0,0],[1,1]]"); count];
    format!("{{\"type\":\"GeometryCollection\",\"geometries\":[{}]}}", lines.join(","))
}

fn points(count: usize) -> String {
    let points = "<trkpt lat='0' lon='0'/>".repeat(count);
    gpx(&format!("<trk><trkseg>{points}<trkpt lat='1' lon='1'/></trkseg></trk>"))
}

fn bad_geojson() -> Vec<Bad> {
    let string = line_string;
    let nested = |depth: usize| {
        let (open, close) = ("{\"type\":\"GeometryCollection\",\"geometries\":[", "]}");
        format!("{}{}{}", open.repeat(depth), string("[[0,0],[1,1]]"), close.repeat(depth))
    };
    vec![
        ("nothing", String::new(), 400, "not-json"),
        ("half", "{\"type\":\"LineString\",".to_owned(), 400, "not-json"),
        ("XML as JSON", gpx(""), 400, "not-json"),
        ("other JSON", "{\"type\":\"Topology\"}".to_owned(), 422, "malformed"),
        ("a number", "7".to_owned(), 422, "malformed"),
        (
            "an open ring",
            "{\"type\":\"Polygon\",\"coordinates\":[[[0,0],[1,0]]]}".to_owned(),
            422,
            "malformed",
        ),
        ("one place", string("[[0,0]]"), 422, "malformed"),
        ("twice one place", string("[[0,0],[0,0]]"), 422, "malformed"),
        ("NaN", string("[[NaN,0],[0,1]]"), 400, "not-json"),
        ("no number", string("[[\"0\",0],[0,1]]"), 422, "malformed"),
        ("half a place", string("[[0],[1]]"), 422, "malformed"),
        ("off the Earth", string("[[0,0],[0,91]]"), 422, "malformed"),
        ("metres, not degrees", string("[[421000,5992000],[421100,5992100]]"), 422, "malformed"),
        ("100,002 places", string(&places(100_001)), 422, "malformed"),
        ("a million places", string(&places(1_000_000)), 413, "too-large"),
        ("100,000 brackets", "[".repeat(100_000), 422, "malformed"),
        ("collections in collections", nested(20_000), 400, "not-json"),
        ("1,001 lines", lines(1_001), 422, "malformed"),
    ]
}

fn bad_gpx() -> Vec<Bad> {
    let entities: Vec<String> = ('b'..='j')
        .zip('a'..='i')
        .map(|(name, of)| format!("<!ENTITY {name} \"{}\">", format!("&{of};").repeat(10)))
        .collect();
    let bomb = format!(
        "<!DOCTYPE gpx [<!ENTITY a \"ha\">{}]><gpx><trk><name>&j;</name></trk></gpx>",
        entities.concat()
    );
    let outside =
        "<!DOCTYPE gpx [<!ENTITY a SYSTEM \"file:///etc/passwd\">]><gpx><trk><name>&a;</name></trk></gpx>";
    let attributes: Vec<String> = (0..200_000).map(|n| format!(" a{n}='1'")).collect();
    let attributes = attributes.concat();
    vec![
        ("nothing", String::new(), 400, "not-xml"),
        ("JSON as XML", line_string("[[0,0],[1,1]]"), 400, "not-xml"),
        ("another document", "<kml><trk/></kml>".to_owned(), 400, "not-xml"),
        ("half", gpx("<trk>").replace("</gpx>", ""), 400, "not-xml"),
        ("crossed ends", gpx("<trk><trkseg></trk></trkseg>"), 400, "not-xml"),
        ("two documents", format!("{}<gpx/>", gpx("")), 400, "not-xml"),
        ("entities in entities", bomb, 400, "not-xml"),
        ("an entity from outside", outside.to_owned(), 400, "not-xml"),
        ("an unknown entity", gpx("<trk><name>&nbsp;</name></trk>"), 400, "not-xml"),
        ("deep", gpx(&"<x>".repeat(100_000)), 400, "not-xml"),
        ("no track", gpx("<wpt lat='1' lon='2'/>"), 422, "malformed"),
        ("an empty track", gpx("<trk><trkseg/></trk>"), 422, "malformed"),
        ("no latitude", gpx("<trk><trkseg><trkpt lon='1'/></trkseg></trk>"), 422, "malformed"),
        ("NaN", gpx("<trk><trkseg><trkpt lon='NaN' lat='1'/></trkseg></trk>"), 422, "malformed"),
        ("off the Earth", gpx("<trk><trkseg><trkpt lon='1' lat='-91'/></trkseg></trk>"), 422, "malformed"),
        (
            "very many attributes",
            gpx(&format!("<trk><trkseg><trkpt{attributes}/></trkseg></trk>")),
            422,
            "malformed",
        ),
        ("100,001 places", points(100_000), 422, "malformed"),
        ("more than 5 MB", points(300_000), 413, "too-large"),
    ]
}

#[tokio::test]
async fn a_file_that_is_none_or_means_harm_is_answered_clearly() {
    let ground = Ground::open().await;
    let json = bad_geojson().into_iter().map(|bad| (GEOJSON, bad));
    for (media, (name, body, status, kind)) in json.chain(bad_gpx().into_iter().map(|bad| (GPX, bad))) {
        let answer = traces(&ground.post, media, body).await;
        assert!(answer.status == status, "{name} as {media}: {} {}", answer.status, answer.body);
        answer.problem(status, kind);
        assert!(answer.body.len() < 1_000, "{name}: {}", answer.body);
    }
    let undeclared = traces(&ground.post, "text/plain", line_string("[[0,0],[1,1]]")).await;
    undeclared.problem(415, "not-declared-trace");
    let wrong = traces(&ground.post, GPX, b"<gpx>\xff\xfe</gpx>".to_vec()).await;
    wrong.problem(400, "not-xml");
    let latitude = traces(&ground.post, GEOJSON, json!({ "type": "FeatureCollection", "features": [
        { "type": "Feature", "properties": null, "geometry": null },
        { "type": "Feature", "properties": {}, "geometry": { "type": "LineString", "coordinates": [[0, 0], [0, 91]] } },
    ] }).to_string()).await.problem(422, "malformed");
    assert_eq!(latitude["field"], "features[1].geometry");
    assert!(
        latitude["title"].as_str().unwrap().contains("position 1: a latitude in degrees is 91"),
        "{latitude}"
    );
    // The most that goes.
    assert_eq!(
        traces(&ground.post, GEOJSON, line_string(&places(99_999))).await.ok(200)["traces"][0]["positions"],
        100_000
    );
    assert_eq!(traces(&ground.post, GPX, points(99_999)).await.ok(200)["traces"][0]["positions"], 100_000);
    assert_eq!(
        traces(&ground.post, GEOJSON, lines(1_000)).await.ok(200)["traces"].as_array().unwrap().len(),
        1_000
    );
}
