//! A collection as a file to take away: GeoJSON (RFC 7946), GPX 1.1, KML 2.2 or CSV (RFC 4180). It is read as of one moment
//! and written whole, so that it is bounded; whoever wants more reads it by pages (`api/features.rs`).

mod csv;
mod gpx;
mod kml;
mod xml;

use std::{io, sync::Arc};

use axum::{
    Extension,
    extract::{Path, State},
    http::{HeaderValue, header},
    response::IntoResponse,
};
use laywire_craft::{ids::OperationId, text::Name};
use laywire_store::{
    PgPool,
    features::{self, Collection, Feature, Portion},
};
use serde::Serialize;
use serde_json::Value;

use super::{
    features::{Ask, FeatureDocument},
    geojson::CollectionType,
};
use crate::{
    Service,
    access::Seat,
    problem::{Asked, Problem, ProblemDocument},
};

/// Most features in a file.
const MOST_FEATURES: u32 = 100_000;
/// Most positions in a file, but for one feature that has more by itself.
const MOST_POSITIONS: u32 = 1_000_000;

/// As what a file is written.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Format {
    /// GeoJSON: everything that a collection has.
    GeoJson,
    /// GPX 1.1: tracks and waypoints for a receiver; what has no geometry is left out.
    Gpx,
    /// KML 2.2.
    Kml,
    /// CSV: points by longitude and latitude, lines as well-known text.
    Csv,
}

impl Format {
    /// Every format.
    pub const ALL: [Self; 4] = [Self::GeoJson, Self::Gpx, Self::Kml, Self::Csv];

    /// The end of a file's name.
    #[must_use]
    pub fn extension(self) -> &'static str {
        match self {
            Self::GeoJson => "geojson",
            Self::Gpx => "gpx",
            Self::Kml => "kml",
            Self::Csv => "csv",
        }
    }

    fn media(self) -> &'static str {
        match self {
            Self::GeoJson => "application/geo+json",
            Self::Gpx => "application/gpx+xml",
            Self::Kml => "application/vnd.google-earth.kml+xml",
            Self::Csv => "text/csv; charset=utf-8; header=present",
        }
    }

    /// Writes features.
    ///
    /// # Errors
    /// None that a reader can cause: memory takes every byte.
    pub fn write(
        self,
        operation: &Name,
        collection: &'static Collection,
        features: Vec<Feature>,
    ) -> io::Result<Vec<u8>> {
        let title = format!("{operation}: {}", collection.title);
        match self {
            Self::GeoJson => {
                let document = |feature| FeatureDocument::of(collection, feature);
                let features = features.into_iter().map(document).collect();
                let whole = Whole { kind: CollectionType::FeatureCollection, features };
                serde_json::to_vec(&whole).map_err(io::Error::other)
            }
            Self::Gpx => gpx::write(&title, collection, &features),
            Self::Kml => kml::write(&title, collection, &features),
            Self::Csv => csv::write(collection, &features),
        }
    }
}

#[derive(Serialize)]
struct Whole {
    #[serde(rename = "type")]
    kind: CollectionType,
    features: Vec<FeatureDocument>,
}

/// The collection and the format that a file's name asks for, such as `crossings.gpx`.
#[must_use]
pub fn named(file: &str) -> Option<(&'static Collection, Format)> {
    let (collection, extension) = file.split_once('.')?;
    let format = Format::ALL.into_iter().find(|format| format.extension() == extension)?;
    Some((Collection::named(collection)?, format))
}

/// What a file is, and under which name it is kept.
pub(crate) struct File {
    pub(crate) name: String,
    pub(crate) text: Vec<u8>,
}

/// Reads and writes a file.
///
/// # Errors
/// When it would be too large, or the database does not answer.
pub(crate) async fn file(
    pool: &PgPool,
    operation: OperationId,
    ask: &Ask,
    format: Format,
) -> Result<File, Problem> {
    let of = laywire_store::operation::get(pool, operation).await?.ok_or(Problem::NotFound)?.name;
    let portion = Portion { after: None, features: MOST_FEATURES, positions: MOST_POSITIONS };
    let page = features::page(pool, operation, ask.collection, &ask.filter, portion).await?;
    if page.more {
        let why = format!(
            "{} features are more than go into one file (at most {MOST_FEATURES}, with {MOST_POSITIONS} positions): \
             ask for fewer with bbox, datetime or a property, or read them by pages under /features",
            page.matched
        );
        return Err(Problem::CannotReckon { field: None, why });
    }
    let collection = ask.collection;
    let name = format!("{}-{}.{}", safe(of.as_str()), collection.name, format.extension());
    let written = tokio::task::spawn_blocking(move || format.write(&of, collection, page.features));
    let text = written.await.map_err(|_| Problem::Internal)?.map_err(|error| {
        tracing::error!(%error, "an export cannot be written");
        Problem::Internal
    })?;
    Ok(File { name, text })
}

/// A review's figures as CSV.
///
/// # Errors
/// When they cannot be written.
pub(super) fn table(rows: &[laywire_craft::review::Row]) -> std::io::Result<Vec<u8>> {
    csv::table(rows)
}

/// A name that any system takes for a file: letters and digits of ASCII, and dashes for the rest.
fn safe(name: &str) -> String {
    let words: Vec<String> = name
        .split(|c: char| !c.is_ascii_alphanumeric())
        .filter(|word| !word.is_empty())
        .map(str::to_ascii_lowercase)
        .collect();
    if words.is_empty() { "operation".to_owned() } else { words.join("-") }
}

/// What a feature is called where a format has a name for each: the line's number, what is there, and how far along.
fn label(collection: &Collection, feature: &Feature) -> String {
    let text = |name: &str| collection.value(feature, name).and_then(Value::as_str);
    let mut words = vec![text("designation").unwrap_or(collection.one).to_owned()];
    if let Some(chainage) = collection.value(feature, "chainage_m").and_then(Value::as_f64) {
        words.push(text("obstacle").or(text("label")).unwrap_or(collection.one).replace('_', " "));
        words.push(format!("{chainage:.0} m"));
    }
    words.join(" ")
}

/// A value as words; none where there is none.
fn words(value: &Value) -> Option<String> {
    match value {
        Value::Null => None,
        Value::String(text) => Some(text.clone()),
        other => Some(other.to_string()),
    }
}

/// A collection as a file: `crossings.gpx`, `laid.geojson` … It takes the parameters of the collection's items, but for
/// `limit` and `after`.
#[utoipa::path(get, path = "/api/operations/{op}/export/{file}", tag = "features", operation_id = "export",
    params(("op" = OperationId, Path),
        ("file" = String, Path, description = "lines, laid, crossings, splices or reels, then .geojson, .gpx, .kml or .csv"),
        ("bbox" = Option<String>, Query, description = "West, south, east, north in degrees."),
        ("datetime" = Option<String>, Query, description = "An instant, or from/to with `..` for an open end (RFC 3339).")),
    responses((status = 200, body = String, content_type = "application/octet-stream", description = "The file, under its own media type"),
        (status = 400, body = ProblemDocument), (status = 401, body = ProblemDocument), (status = 404, body = ProblemDocument),
        (status = 422, body = ProblemDocument)))]
pub async fn export(
    State(service): State<Arc<Service>>,
    Extension(seat): Extension<Seat>,
    Path((_, file)): Path<(String, String)>,
    Asked(pairs): Asked<Vec<(String, String)>>,
) -> Result<impl IntoResponse, Problem> {
    let (collection, format) = named(&file).ok_or(Problem::NotFound)?;
    if let Some((name, _)) = pairs.iter().find(|(name, _)| matches!(name.as_str(), "limit" | "after")) {
        return Err(Problem::Query(format!("{name}: a file is whole; leave it out")));
    }
    let ask = Ask::read(collection, pairs)?;
    // A large file takes a while to write: like other long work, not all the processors at once.
    let turn = service.turn().await?;
    let file = self::file(&service.pool, seat.0.operation, &ask, format).await?;
    drop(turn);
    let disposition = HeaderValue::from_str(&format!("attachment; filename=\"{}\"", file.name));
    let headers = [
        (header::CONTENT_TYPE, HeaderValue::from_static(format.media())),
        (header::CONTENT_DISPOSITION, disposition.map_err(|_| Problem::Internal)?),
        (header::CACHE_CONTROL, HeaderValue::from_static("private, no-store")),
    ];
    Ok((headers, file.text))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_files_name_is_safe_whatever_the_operation_is_called() {
        for (name, safe_name) in [
            ("Flood relief 2", "flood-relief-2"),
            ("../../etc/passwd", "etc-passwd"),
            ("a\"; x=\r\nb", "a-x-b"),
            ("電話線", "operation"),
            ("CON", "con"),
        ] {
            assert_eq!(safe(name), safe_name);
        }
    }

    #[test]
    fn a_file_is_asked_for_by_name() {
        for collection in &features::COLLECTIONS {
            for format in Format::ALL {
                let file = format!("{}.{}", collection.name, format.extension());
                assert!(named(&file).is_some_and(|(c, f)| c.name == collection.name && f == format));
            }
        }
        for wrong in
            ["", "crossings", "crossings.", ".gpx", "crossings.tar.gz", "crossings.GPX", "tables.csv"]
        {
            assert!(named(wrong).is_none(), "{wrong}");
        }
    }
}
