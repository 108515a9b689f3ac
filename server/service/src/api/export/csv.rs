//! CSV (RFC 4180): a row a feature, a column a property. A point has its longitude and latitude, a line its well-known text
//! (OGC 06-103r4, section 7), in a column of its own.

use std::{fmt::Write as _, io};

use csv::{IntoInnerError, Terminator, WriterBuilder};
use laywire_craft::{geodesy::Position, review::Row};
use laywire_store::features::{Collection, Feature, Geometry, Shape};
use serde_json::Value;

/// A text that a spreadsheet would take for a formula gets an apostrophe before it, as the advice of OWASP on CSV injection
/// has it (from memory): = + - @, tab and carriage return. Figures are not text: a longitude keeps its sign.
fn cell(value: &Value) -> String {
    match value {
        Value::String(text) if text.starts_with(['=', '+', '-', '@', '\t', '\r']) => format!("'{text}"),
        value => super::words(value).unwrap_or_default(),
    }
}

fn list(places: &[Position]) -> String {
    let mut text = String::with_capacity(40 * places.len());
    for (number, place) in places.iter().enumerate() {
        let comma = if number == 0 { "" } else { ", " };
        let _ = write!(text, "{comma}{} {}", place.lon(), place.lat());
    }
    text
}

fn well_known(geometry: &Geometry) -> String {
    match geometry {
        Geometry::Point(place) => format!("POINT ({})", list(&[*place])),
        Geometry::Lines(lines) => match lines.as_slice() {
            [line] => format!("LINESTRING ({})", list(line)),
            lines => {
                let parts: Vec<String> = lines.iter().map(|line| format!("({})", list(line))).collect();
                format!("MULTILINESTRING ({})", parts.join(", "))
            }
        },
    }
}

pub(super) fn write(collection: &Collection, features: &[Feature]) -> io::Result<Vec<u8>> {
    let mut rows = WriterBuilder::new().terminator(Terminator::CRLF).from_writer(Vec::new());
    let names = collection.properties.iter().map(|property| property.name);
    let places: &[&str] = match collection.shape {
        Shape::Point => &["longitude", "latitude"],
        Shape::Line => &["wkt"],
    };
    rows.write_record(["id"].into_iter().chain(names).chain(places.iter().copied()))?;
    for feature in features {
        let mut row = vec![feature.id.to_string()];
        row.extend(feature.values.iter().map(cell));
        match (collection.shape, &feature.geometry) {
            (Shape::Point, Some(Geometry::Point(place))) => {
                row.extend([place.lon().to_string(), place.lat().to_string()]);
            }
            (Shape::Point, _) => row.extend([String::new(), String::new()]),
            (Shape::Line, geometry) => row.push(geometry.as_ref().map(well_known).unwrap_or_default()),
        }
        rows.write_record(row)?;
    }
    rows.into_inner().map_err(IntoInnerError::into_error)
}

/// A review's figures: a row a figure, its entries with a space between.
pub(super) fn table(figures: &[Row]) -> io::Result<Vec<u8>> {
    let mut rows = WriterBuilder::new().terminator(Terminator::CRLF).from_writer(Vec::new());
    rows.write_record(["subject", "figure", "value", "unit", "entries"])?;
    for Row { subject, figure, value, unit, entries } in figures {
        let entries: Vec<String> = entries.iter().map(i64::to_string).collect();
        // A subject begins with a word of ours; a figure may be negative and is no text.
        rows.write_record([subject.as_str(), figure, value, unit, &entries.join(" ")])?;
    }
    rows.into_inner().map_err(IntoInnerError::into_error)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_a_spreadsheet_would_reckon_stays_text() {
        for formula in ["=1+1", "+44", "-2", "@SUM(A1)", "\t=1", "\r=1"] {
            assert_eq!(cell(&Value::from(formula)), format!("'{formula}"));
        }
        assert_eq!(cell(&Value::from(-4.67)), "-4.67");
        assert_eq!(cell(&Value::from("L-12")), "L-12");
        assert_eq!(cell(&Value::Null), "");
    }
}
