//! What a unit has seen on the ground and no map has: read from GeoJSON (RFC 7946), checked whole, and added whole or not
//! at all. It outlasts every load of an extract. Kinds are this project's words; the shape has to fit the kind.

use chrono::{DateTime, Utc};
use geojson::{Feature, FeatureCollection, GeoJson, GeometryValue, JsonObject, JsonValue, Position};
use sqlx::{Executor as _, PgPool};

use super::classing::FreeText;

/// The most bytes of text.
pub const LARGEST_TEXT: usize = 20_000_000;
/// The most features in a file.
const MOST_FEATURES: usize = 10_000;
/// The most features in all.
const MOST_IN_ALL: i64 = 50_000;
/// The most positions in a feature.
const MOST_POSITIONS: usize = 20_000;
/// The longest name or note, in characters.
const LONGEST_TEXT: usize = 255;

/// The kinds, and which shapes each may have.
const KINDS: &[(&str, &[&str])] = &[
    ("main_highway", LINE),
    ("road", LINE),
    ("dirt_road", LINE),
    ("path", LINE),
    ("railway", LINE),
    ("stream", LINE),
    ("power_line", LINE),
    ("culvert", &["Point", "LineString"]),
    ("bridge", &["Point", "LineString"]),
    ("closed_way", &["LineString", "Polygon", "MultiPolygon"]),
    ("water", AREA),
    ("wood", AREA),
    ("soft_ground", AREA),
];
const LINE: &[&str] = &["LineString"];
const AREA: &[&str] = &["Polygon", "MultiPolygon"];

/// Why features cannot be added. Nothing of the file is added then.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum OwnError {
    /// The text is no GeoJSON.
    #[error("this is not GeoJSON: {reason}. Give a FeatureCollection as RFC 7946 has it")]
    NotGeoJson {
        /// What is wrong with it.
        reason: String,
    },
    /// A feature is wrong.
    #[error("feature {number}: {what}. Nothing was added")]
    Feature {
        /// Which one, counted from 1.
        number: usize,
        /// What is wrong and what to do.
        what: String,
    },
    /// There is nothing in it.
    #[error("there is no feature in it")]
    Empty,
    /// There is too much.
    #[error("{what} is more than there may be ({most}). Nothing was added")]
    TooMuch {
        /// What there is too much of.
        what: String,
        /// How many there may be.
        most: i64,
    },
    /// There is no such feature.
    #[error("there is no own feature {id}: see the list")]
    NoSuchFeature {
        /// The number asked for.
        id: i64,
    },
    /// The database did not do what it was asked.
    #[error("the database could not be used")]
    Database(#[from] sqlx::Error),
}

/// A feature of the unit's own.
#[derive(Clone, Debug, PartialEq, sqlx::FromRow)]
pub struct Own {
    /// Its number.
    pub id: i64,
    /// Its kind.
    pub kind: String,
    /// Its name.
    pub name: Option<String>,
    /// What there is to know of it.
    pub note: Option<String>,
    /// The file it came from.
    pub file_name: String,
    /// When it was added.
    pub added_at: DateTime<Utc>,
    /// The middle of the box about it: longitude and latitude.
    pub lon: f64,
    /// See [`Own::lon`].
    pub lat: f64,
}

/// All own features, by number.
pub async fn own(pool: &PgPool) -> Result<Vec<Own>, OwnError> {
    let rows = sqlx::query_as(
        "select id, kind, name, note, file_name, added_at,
            st_x(st_centroid(st_envelope(ground))) as lon, st_y(st_centroid(st_envelope(ground))) as lat
        from terrain_own order by id",
    );
    Ok(rows.fetch_all(pool).await?)
}

/// Takes features away, all that are named or none.
///
/// # Errors
/// A number that none has.
pub async fn remove(pool: &PgPool, ids: &[i64]) -> Result<(), OwnError> {
    let mut transaction = pool.begin().await?;
    for &id in ids {
        let gone = sqlx::query("delete from terrain_own where id = $1").bind(id).execute(&mut *transaction);
        if gone.await?.rows_affected() == 0 {
            return Err(OwnError::NoSuchFeature { id });
        }
    }
    Ok(transaction.commit().await?)
}

/// A feature that was read and may be written.
struct Read {
    kind: &'static str,
    name: Option<String>,
    note: Option<String>,
    width_m: Option<f32>,
    hard_surface: Option<bool>,
    voltage_v: Option<i32>,
    /// The geometry as GeoJSON, two coordinates a position.
    ground: String,
}

/// Adds the features of a GeoJSON text, all or none, and says their numbers.
///
/// # Errors
/// The first feature that is wrong, by its number, and what is wrong with it.
pub async fn add(pool: &PgPool, file_name: &str, text: &str) -> Result<Vec<i64>, OwnError> {
    let features = read(text)?;
    let mut transaction = pool.begin().await?;
    // Two that add at once could pass the most together.
    transaction.execute("lock table terrain_own in share row exclusive mode").await?;
    let before: i64 =
        sqlx::query_scalar("select count(*) from terrain_own").fetch_one(&mut *transaction).await?;
    if before.saturating_add(i64::try_from(features.len()).unwrap_or(i64::MAX)) > MOST_IN_ALL {
        let what = format!("{} beside the {before} that are there", features.len());
        return Err(OwnError::TooMuch { what, most: MOST_IN_ALL });
    }
    let mut ids = Vec::with_capacity(features.len());
    for (number, feature) in (1..).zip(features) {
        let wrong: Option<String> = sqlx::query_scalar(
            "select case when st_dimension(shape) = 2 and not st_isvalid(shape) then st_isvalidreason(shape)
                when st_dimension(shape) = 1 and st_length(shape) = 0 then 'all its positions are one' end
            from (select st_setsrid(st_geomfromgeojson($1), 4326) as shape) as given",
        )
        .bind(&feature.ground)
        .fetch_one(&mut *transaction)
        .await?;
        if let Some(reason) = wrong {
            let what = format!("its shape is wrong: {}", reason.to_lowercase());
            return Err(OwnError::Feature { number, what });
        }
        let id = sqlx::query_scalar(
            "insert into terrain_own (kind, name, note, width_m, hard_surface, voltage_v, file_name, ground)
            values ($1, $2, $3, $4, $5, $6, $7, st_setsrid(st_geomfromgeojson($8), 4326)) returning id",
        )
        .bind(feature.kind)
        .bind(feature.name)
        .bind(feature.note)
        .bind(feature.width_m)
        .bind(feature.hard_surface)
        .bind(feature.voltage_v)
        .bind(FreeText(file_name).to_string())
        .bind(feature.ground)
        .fetch_one(&mut *transaction)
        .await?;
        ids.push(id);
    }
    transaction.commit().await?;
    Ok(ids)
}

fn read(text: &str) -> Result<Vec<Read>, OwnError> {
    if text.len() > LARGEST_TEXT {
        let most = LARGEST_TEXT.try_into().unwrap_or(i64::MAX);
        return Err(OwnError::TooMuch { what: format!("{} bytes of text", text.len()), most });
    }
    let features = match text.parse::<GeoJson>() {
        Ok(GeoJson::FeatureCollection(FeatureCollection { features, .. })) => features,
        Ok(GeoJson::Feature(feature)) => vec![feature],
        Ok(GeoJson::Geometry(_)) => {
            let reason = "a shape alone does not say what it is".to_owned();
            return Err(OwnError::NotGeoJson { reason });
        }
        Err(error) => return Err(OwnError::NotGeoJson { reason: error.to_string() }),
    };
    if features.is_empty() {
        return Err(OwnError::Empty);
    }
    if features.len() > MOST_FEATURES {
        let what = format!("{} features in a file", features.len());
        return Err(OwnError::TooMuch { what, most: MOST_FEATURES.try_into().unwrap_or(i64::MAX) });
    }
    (1..)
        .zip(&features)
        .map(|(number, feature)| one(feature).map_err(|what| OwnError::Feature { number, what }))
        .collect()
}

fn one(feature: &Feature) -> Result<Read, String> {
    let none = JsonObject::new();
    let properties = feature.properties.as_ref().unwrap_or(&none);
    let words = || KINDS.iter().map(|(word, _)| *word).collect::<Vec<_>>().join(", ");
    let Some(word) = text(properties, "kind")? else {
        return Err(format!("it has no property kind: give one of {}", words()));
    };
    let Some(&(kind, shapes)) = KINDS.iter().find(|(known, _)| *known == word) else {
        return Err(format!("'{}' is no kind: give one of {}", FreeText(&word), words()));
    };
    let Some(geometry) = &feature.geometry else { return Err("it has no geometry".to_owned()) };
    let shape = geometry.value.type_name();
    if !shapes.contains(&shape) {
        return Err(format!("a {kind} is drawn as {} and this is a {shape}", shapes.join(" or ")));
    }
    let ground = checked(&geometry.value)?;
    let number = |key: &str, least: f64, most: f64| match properties.get(key) {
        None | Some(JsonValue::Null) => Ok(None),
        Some(value) => match value.as_f64().filter(|number| (least..=most).contains(number)) {
            Some(number) => Ok(Some(number)),
            None => Err(format!("{key} has to be a number from {least} to {most}")),
        },
    };
    let hard_surface = match properties.get("hard_surface") {
        None | Some(JsonValue::Null) => None,
        Some(JsonValue::Bool(hard)) => Some(*hard),
        Some(_) => return Err("hard_surface has to be true or false".to_owned()),
    };
    #[allow(clippy::cast_possible_truncation, reason = "bounded just before")]
    Ok(Read {
        kind,
        name: text(properties, "name")?,
        note: text(properties, "note")?,
        width_m: number("width_m", 0.1, 2_000.0)?.map(|width| width as f32),
        hard_surface,
        voltage_v: number("voltage_v", 1.0, 2_000_000.0)?.map(|volts| volts as i32),
        ground,
    })
}

fn text(properties: &JsonObject, key: &str) -> Result<Option<String>, String> {
    match properties.get(key) {
        None | Some(JsonValue::Null) => Ok(None),
        Some(JsonValue::String(text)) if text.chars().count() <= LONGEST_TEXT => {
            Ok(Some(FreeText(text).to_string()))
        }
        Some(_) => Err(format!("{key} has to be a text of at most {LONGEST_TEXT} characters")),
    }
}

/// The shape as GeoJSON text, its positions and rings checked and heights left out.
fn checked(shape: &GeometryValue) -> Result<String, String> {
    let mut count = 0;
    let mut place = |position: &Position| match *position.as_slice() {
        [lon, lat] | [lon, lat, _] => {
            count += 1;
            if count > MOST_POSITIONS {
                return Err(format!("it has more than {MOST_POSITIONS} positions: draw it coarser"));
            }
            laywire_craft::geodesy::Position::new(lon, lat)
                .map(|place| vec![place.lon(), place.lat()])
                .map_err(|wrong| wrong.to_string())
        }
        _ => Err("a position has not two or three numbers".to_owned()),
    };
    let mut line =
        |positions: &[Position]| positions.iter().map(&mut place).collect::<Result<Vec<_>, String>>();
    let value = match shape {
        GeometryValue::Point { coordinates } => {
            let mut one = line(std::slice::from_ref(coordinates))?;
            geojson::GeometryValue::new_point(one.remove(0))
        }
        GeometryValue::LineString { coordinates } => {
            if coordinates.len() < 2 {
                return Err("a LineString needs two positions".to_owned());
            }
            GeometryValue::new_line_string(line(coordinates)?)
        }
        GeometryValue::Polygon { coordinates } => GeometryValue::new_polygon(rings(coordinates, &mut line)?),
        GeometryValue::MultiPolygon { coordinates } => {
            let polygons =
                coordinates.iter().map(|polygon| rings(polygon, &mut line)).collect::<Result<Vec<_>, _>>()?;
            if polygons.is_empty() {
                return Err("it has no ring".to_owned());
            }
            GeometryValue::new_multi_polygon(polygons)
        }
        other => return Err(format!("a {} cannot be added", other.type_name())),
    };
    Ok(geojson::Geometry::new(value).to_string())
}

/// A ring that is not closed is told: closing it is the sender's business, who may have lost a part of it.
fn rings(
    rings: &[Vec<Position>],
    line: &mut impl FnMut(&[Position]) -> Result<Vec<Vec<f64>>, String>,
) -> Result<Vec<Vec<Vec<f64>>>, String> {
    if rings.is_empty() {
        return Err("it has no ring".to_owned());
    }
    rings
        .iter()
        .map(|ring| {
            let ring = line(ring)?;
            if ring.len() < 4 || ring.first() != ring.last() {
                return Err("a ring needs four positions or more, the last the same as the first".to_owned());
            }
            Ok(ring)
        })
        .collect()
}
