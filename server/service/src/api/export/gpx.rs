//! GPX 1.1 (<http://www.topografix.com/GPX/1/1/>): a line is a track, a point a waypoint. A feature without a geometry has
//! no place in it and is left out.

use std::io;

use laywire_craft::geodesy::Position;
use laywire_store::features::{Collection, Feature, Geometry, Shape};
use serde_json::Value;

use super::xml::Xml;

pub(super) fn write(title: &str, collection: &Collection, features: &[Feature]) -> io::Result<Vec<u8>> {
    let mut xml = Xml::new()?;
    xml.begin(
        "gpx",
        &[
            ("version", "1.1"),
            ("creator", "laywire"),
            ("xmlns", "http://www.topografix.com/GPX/1/1"),
            ("xmlns:xsi", "http://www.w3.org/2001/XMLSchema-instance"),
            (
                "xsi:schemaLocation",
                "http://www.topografix.com/GPX/1/1 http://www.topografix.com/GPX/1/1/gpx.xsd",
            ),
        ],
    )?;
    xml.begin("metadata", &[])?;
    xml.text("name", title)?;
    xml.end("metadata")?;
    for feature in features {
        match &feature.geometry {
            Some(Geometry::Point(place)) => waypoint(&mut xml, collection, feature, *place)?,
            Some(Geometry::Lines(lines)) => track(&mut xml, collection, feature, lines)?,
            None => {}
        }
    }
    xml.end("gpx")?;
    Ok(xml.done())
}

/// The schema knows no longitude of 180 (maxExclusive). On the other side of the meridian it would draw a line round the
/// world: a tenth of a millimetre before it, it does not.
fn longitude(place: Position) -> String {
    if place.lon() >= 180.0 { "179.999999999".to_owned() } else { place.lon().to_string() }
}

/// Its elements stand in the schema's order: the time before the name.
fn waypoint(xml: &mut Xml, collection: &Collection, feature: &Feature, place: Position) -> io::Result<()> {
    xml.begin("wpt", &[("lat", &place.lat().to_string()), ("lon", &longitude(place))])?;
    let time = collection.time.and_then(|time| collection.value(feature, time)).and_then(Value::as_str);
    if let Some(time) = time {
        xml.text("time", time)?;
    }
    names(xml, collection, feature)?;
    xml.end("wpt")
}

fn track(
    xml: &mut Xml,
    collection: &Collection,
    feature: &Feature,
    lines: &[Vec<Position>],
) -> io::Result<()> {
    xml.begin("trk", &[])?;
    names(xml, collection, feature)?;
    for line in lines {
        xml.begin("trkseg", &[])?;
        for place in line {
            xml.empty("trkpt", &[("lat", &place.lat().to_string()), ("lon", &longitude(*place))])?;
        }
        xml.end("trkseg")?;
    }
    xml.end("trk")
}

fn names(xml: &mut Xml, collection: &Collection, feature: &Feature) -> io::Result<()> {
    xml.text("name", &super::label(collection, feature))?;
    let said = collection.properties.iter().zip(&feature.values).filter_map(|(property, value)| {
        let words = super::words(value)?;
        Some(format!("{}: {words}", property.name))
    });
    xml.text("desc", &said.collect::<Vec<_>>().join("\n"))?;
    let kind = match collection.shape {
        Shape::Point => collection.value(feature, "obstacle").and_then(Value::as_str),
        Shape::Line => None,
    };
    xml.text("type", kind.unwrap_or(collection.one))
}
