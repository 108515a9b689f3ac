//! KML 2.2 (OGC 07-147r2): a placemark a feature, its figures as extended data.

use std::{fmt::Write as _, io};

use laywire_craft::geodesy::Position;
use laywire_store::features::{Collection, Feature, Geometry};

use super::xml::Xml;

pub(super) fn write(title: &str, collection: &Collection, features: &[Feature]) -> io::Result<Vec<u8>> {
    let mut xml = Xml::new()?;
    xml.begin("kml", &[("xmlns", "http://www.opengis.net/kml/2.2")])?;
    xml.begin("Document", &[])?;
    xml.text("name", title)?;
    xml.text("description", collection.says)?;
    for feature in features {
        xml.begin("Placemark", &[])?;
        xml.text("name", &super::label(collection, feature))?;
        xml.begin("ExtendedData", &[])?;
        datum(&mut xml, "id", &feature.id.to_string())?;
        for (property, value) in collection.properties.iter().zip(&feature.values) {
            if let Some(words) = super::words(value) {
                datum(&mut xml, property.name, &words)?;
            }
        }
        xml.end("ExtendedData")?;
        match &feature.geometry {
            Some(Geometry::Point(place)) => drawn(&mut xml, "Point", &[*place])?,
            Some(Geometry::Lines(lines)) => match lines.as_slice() {
                [line] => drawn(&mut xml, "LineString", line)?,
                lines => {
                    xml.begin("MultiGeometry", &[])?;
                    for line in lines {
                        drawn(&mut xml, "LineString", line)?;
                    }
                    xml.end("MultiGeometry")?;
                }
            },
            None => {}
        }
        xml.end("Placemark")?;
    }
    xml.end("Document")?;
    xml.end("kml")?;
    Ok(xml.done())
}

fn datum(xml: &mut Xml, name: &str, words: &str) -> io::Result<()> {
    xml.begin("Data", &[("name", name)])?;
    xml.text("value", words)?;
    xml.end("Data")
}

fn drawn(xml: &mut Xml, kind: &str, places: &[Position]) -> io::Result<()> {
    let mut text = String::with_capacity(40 * places.len());
    for (number, place) in places.iter().enumerate() {
        let blank = if number == 0 { "" } else { " " };
        let _ = write!(text, "{blank}{},{}", place.lon(), place.lat());
    }
    xml.begin(kind, &[])?;
    xml.text("coordinates", &text)?;
    xml.end(kind)
}
