//! GeoJSON (RFC 7946) on its way in and out: the library's geometries on one side, the trade's positions and traces on the
//! other. A point is written by itself: the queue writes dozens in an answer.

use geojson::{Geometry, GeometryValue};
use laywire_craft::{geodesy::Position, trace::Trace};
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

/// GeoJSON's word for a feature.
#[derive(Serialize, Deserialize, ToSchema)]
pub enum FeatureType {
    /// The only one.
    Feature,
}

/// GeoJSON's word for a collection.
#[derive(Serialize, ToSchema)]
pub enum CollectionType {
    /// The only one.
    FeatureCollection,
}

/// GeoJSON's word for a point.
#[derive(Serialize, ToSchema)]
pub enum PointType {
    /// The only one.
    Point,
}

/// A GeoJSON point, WGS 84.
#[derive(Serialize, ToSchema)]
pub struct Point {
    /// Always `Point`.
    #[serde(rename = "type")]
    kind: PointType,
    /// Longitude, latitude.
    coordinates: Position,
}

/// A GeoJSON line, WGS 84: its shape in the OpenAPI document.
#[derive(ToSchema)]
pub struct LineString {
    /// Always `LineString`.
    #[schema(rename = "type", pattern = "^LineString$")]
    #[allow(dead_code, reason = "a shape for the document")]
    kind: String,
    /// At least two positions, longitude first.
    #[allow(dead_code, reason = "a shape for the document")]
    coordinates: Trace,
}

/// A place as a point.
pub(super) fn point(coordinates: Position) -> Point {
    Point { kind: PointType::Point, coordinates }
}

/// A trace as a line.
pub(super) fn line(trace: &Trace) -> Geometry {
    Geometry::new_line_string(trace.positions().iter().map(|place| [place.lon(), place.lat()]))
}

/// A line as a trace. A third coordinate, the height, is dropped.
///
/// # Errors
/// What is wrong with it and what to do.
pub(super) fn trace(geometry: Geometry) -> Result<Trace, String> {
    let GeometryValue::LineString { coordinates } = geometry.value else {
        return Err(format!("a LineString is wanted here and this is a {}", geometry.value.type_name()));
    };
    let places: Result<Vec<Position>, String> = coordinates
        .iter()
        .enumerate()
        .map(|(number, position)| match *position.as_slice() {
            [lon, lat] | [lon, lat, _] => {
                Position::new(lon, lat).map_err(|wrong| format!("position {number}: {wrong}"))
            }
            _ => Err(format!("position {number} has not two or three numbers")),
        })
        .collect();
    Trace::new(places?).map_err(|wrong| wrong.to_string())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_trace_goes_out_and_comes_back() {
        let places = [(-4.67, 54.08), (-4.635, 54.095)].map(|(lon, lat)| Position::new(lon, lat).unwrap());
        let out = Trace::new(places.to_vec()).unwrap();
        assert_eq!(trace(line(&out)).unwrap().positions(), out.positions());
    }

    #[test]
    fn what_is_no_trace_says_why() {
        let read = |text: &str| trace(text.parse::<Geometry>().unwrap()).unwrap_err();
        assert!(read(r#"{"type":"Point","coordinates":[0,0]}"#).contains("this is a Point"));
        assert!(read(r#"{"type":"LineString","coordinates":[[0,0],[0,91]]}"#).starts_with("position 1: "));
        assert!(!read(r#"{"type":"LineString","coordinates":[[1,1],[1,1]]}"#).is_empty());
    }
}
