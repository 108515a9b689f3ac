//! A stored feature as GeoJSON (RFC 7946).

use laywire_store::features::{Feature, Geometry};
use serde::{Serialize, Serializer, ser::SerializeStruct as _};
use serde_json::{Map, Value};
use utoipa::ToSchema;

use super::FeatureType;

/// A feature.
#[derive(Serialize, ToSchema)]
pub struct FeatureDocument {
    /// Always `Feature`.
    #[serde(rename = "type")]
    kind: FeatureType,
    /// Its id.
    id: String,
    /// A Point, a LineString, or a MultiLineString where a trace crosses the 180th meridian; null where nothing is known.
    #[schema(required = true, value_type = Option<Object>)]
    geometry: Option<Drawn>,
    /// Its figures: those of the collection, each with a value or null.
    #[schema(value_type = Object)]
    properties: Map<String, Value>,
}

impl From<Feature> for FeatureDocument {
    fn from(feature: Feature) -> Self {
        Self {
            kind: FeatureType::Feature,
            id: feature.id.to_string(),
            geometry: feature.geometry.map(Drawn),
            properties: feature.properties,
        }
    }
}

struct Drawn(Geometry);

impl Serialize for Drawn {
    fn serialize<S: Serializer>(&self, to: S) -> Result<S::Ok, S::Error> {
        let mut geometry = to.serialize_struct("Geometry", 2)?;
        match &self.0 {
            Geometry::Point(place) => {
                geometry.serialize_field("type", "Point")?;
                geometry.serialize_field("coordinates", place)?;
            }
            Geometry::Lines(lines) => match lines.as_slice() {
                [line] => {
                    geometry.serialize_field("type", "LineString")?;
                    geometry.serialize_field("coordinates", line)?;
                }
                lines => {
                    geometry.serialize_field("type", "MultiLineString")?;
                    geometry.serialize_field("coordinates", lines)?;
                }
            },
        }
        geometry.end()
    }
}
