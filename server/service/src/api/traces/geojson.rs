//! Lines out of GeoJSON: LineStrings and MultiLineStrings, alone, in features or in collections.

use geojson::{GeoJson, Geometry, GeometryValue, Position as Coordinates};
use laywire_craft::trace::{MOST_POSITIONS, Trace};
use serde_json::{Map, Value, error::Category};

use super::{Found, place, too_many};
use crate::problem::Problem;

/// Members that programs write a feature's name into, the likeliest first.
const NAMES: [&str; 6] = ["name", "Name", "NAME", "designation", "title", "id"];

pub(super) fn read(bytes: &[u8]) -> Result<Found, Problem> {
    let file: GeoJson = serde_json::from_slice(bytes).map_err(|error| match error.classify() {
        Category::Data => Problem::Malformed {
            field: ".".to_owned(),
            what: format!("it is no GeoJSON: {}", bounded(&error)),
        },
        _ => Problem::NotJson(bounded(&error)),
    })?;
    let mut found = Found::default();
    let at = |field: String| move |what: String| Problem::Malformed { field, what };
    match file {
        GeoJson::Geometry(geometry) => {
            lines(&geometry, None, &mut found).map_err(at(".".to_owned()))?;
        }
        GeoJson::Feature(feature) => {
            if let Some(geometry) = &feature.geometry {
                lines(geometry, name(feature.properties.as_ref()), &mut found)
                    .map_err(at("geometry".to_owned()))?;
            }
        }
        GeoJson::FeatureCollection(collection) => {
            for (number, feature) in collection.features.iter().enumerate() {
                if let Some(geometry) = &feature.geometry {
                    lines(geometry, name(feature.properties.as_ref()), &mut found)
                        .map_err(at(format!("features[{number}].geometry")))?;
                }
            }
        }
    }
    Ok(found)
}

/// A reader's own words, which may have a piece of the file in them.
fn bounded(error: &serde_json::Error) -> String {
    let text = error.to_string();
    // The place in the text says nothing where all that is known of it is its beginning.
    let text = text.strip_suffix(" at line 1 column 0").unwrap_or(&text);
    text.chars().filter(|c| !c.is_control()).take(160).collect()
}

fn name(properties: Option<&Map<String, Value>>) -> Option<&str> {
    let properties = properties?;
    NAMES.iter().find_map(|name| properties.get(*name)?.as_str())
}

fn lines(geometry: &Geometry, name: Option<&str>, found: &mut Found) -> Result<(), String> {
    match &geometry.value {
        GeometryValue::LineString { coordinates } => found.add(name, &trace(coordinates)?),
        GeometryValue::MultiLineString { coordinates } => {
            coordinates.iter().enumerate().try_for_each(|(number, part)| {
                let part = trace(part).map_err(|what| format!("part {number}: {what}"))?;
                found.add(name, &part)
            })
        }
        // As deep as the JSON at the most.
        GeometryValue::GeometryCollection { geometries } => {
            geometries.iter().try_for_each(|geometry| lines(geometry, name, found))
        }
        _ => {
            found.left_out += 1;
            Ok(())
        }
    }
}

fn trace(coordinates: &[Coordinates]) -> Result<Trace, String> {
    if coordinates.len() > MOST_POSITIONS {
        return Err(too_many());
    }
    let places = coordinates.iter().enumerate().map(|(number, position)| match *position.as_slice() {
        // A height, and whatever else a program adds to it, is not looked at.
        [lon, lat, ..] => place(lon, lat).map_err(|wrong| format!("position {number}: {wrong}")),
        _ => Err(format!("position {number} has not two numbers")),
    });
    Trace::new(places.collect::<Result<_, _>>()?).map_err(|wrong| wrong.to_string())
}
