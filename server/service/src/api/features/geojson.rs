//! A stored feature as GeoJSON (RFC 7946).

use laywire_store::features::{Collection, Feature, Geometry};
use serde::{Serialize, Serializer, ser::SerializeStruct as _};
use serde_json::Value;
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
    properties: Figures,
}

impl FeatureDocument {
    /// A feature of a collection.
    #[must_use]
    pub fn of(collection: &'static Collection, feature: Feature) -> Self {
        Self {
            kind: FeatureType::Feature,
            id: feature.id.to_string(),
            geometry: feature.geometry.map(Drawn),
            properties: Figures { collection, values: feature.values },
        }
    }
}

struct Figures {
    collection: &'static Collection,
    values: Vec<Value>,
}

impl Serialize for Figures {
    fn serialize<S: Serializer>(&self, to: S) -> Result<S::Ok, S::Error> {
        to.collect_map(self.collection.properties.iter().map(|property| property.name).zip(&self.values))
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
