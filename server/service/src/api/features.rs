//! OGC API – Features, part 1 (OGC 17-069r4), of an operation: a GIS reads lines, crossings, splices, reels, tests and tags live with a
//! pass. It only reads. What the collections are stands in the store; here is what the standard puts around them.

mod asked;
mod definition;
mod geojson;

use std::sync::Arc;

use axum::{
    Extension, Json,
    extract::{Path, State},
    http::{HeaderMap, HeaderValue, Uri, header, uri::Authority},
    response::{IntoResponse, Response},
};
use chrono::{DateTime, SecondsFormat, Utc};
use laywire_craft::ids::OperationId;
use laywire_store::features::{self as stored, COLLECTIONS, Collection, Extent, FeatureId, Portion};
use serde::Serialize;
use utoipa::ToSchema;

use super::geojson::{CollectionType, FeatureType};
use crate::{
    Service,
    access::Seat,
    problem::{Asked, Problem, ProblemDocument},
    way::Way,
};

pub(crate) use asked::Ask;
pub use geojson::FeatureDocument;

/// Most positions in a page; the rest is on the next one.
const PAGE_POSITIONS: u32 = 200_000;

const JSON: &str = "application/json";
const GEOJSON: &str = "application/geo+json";
const OPENAPI: &str = "application/vnd.oai.openapi+json;version=3.0";
/// Longitude and latitude on WGS 84: the only reference system that anything is given in.
const CRS84: &str = "http://www.opengis.net/def/crs/OGC/1.3/CRS84";

/// The classes of the standard that are kept to.
const CONFORMS_TO: [&str; 3] = [
    "http://www.opengis.net/spec/ogcapi-features-1/1.0/conf/core",
    "http://www.opengis.net/spec/ogcapi-features-1/1.0/conf/oas30",
    "http://www.opengis.net/spec/ogcapi-features-1/1.0/conf/geojson",
];

/// Where something else is.
#[derive(Debug, Clone, Serialize, ToSchema)]
pub struct Link {
    /// The address.
    href: String,
    /// What it is to this.
    rel: &'static str,
    /// As what it comes.
    #[serde(rename = "type")]
    media: &'static str,
    /// What it is, for a person.
    title: &'static str,
}

/// What a GIS begins with.
#[derive(Serialize, ToSchema)]
pub struct FeaturesLanding {
    /// The operation's name.
    title: String,
    /// What it is.
    description: &'static str,
    /// Where the rest is.
    links: Vec<Link>,
}

/// What is kept to.
#[derive(Serialize, ToSchema)]
#[serde(rename_all = "camelCase")]
pub struct FeaturesConformance {
    /// The classes of the standard.
    conforms_to: Vec<&'static str>,
}

/// Every collection.
#[derive(Serialize, ToSchema)]
pub struct FeatureCollections {
    /// Where this is.
    links: Vec<Link>,
    /// Each of them.
    collections: Vec<FeatureCollectionDocument>,
}

/// A collection.
#[derive(Serialize, ToSchema)]
#[serde(rename_all = "camelCase")]
pub struct FeatureCollectionDocument {
    /// Its name in addresses.
    id: &'static str,
    /// Its name for a person.
    title: &'static str,
    /// What is in it.
    description: &'static str,
    /// Where its features are.
    links: Vec<Link>,
    /// Where and when they are; left out where that is not known.
    #[serde(skip_serializing_if = "Option::is_none")]
    extent: Option<FeatureExtent>,
    /// Always `feature`.
    item_type: &'static str,
    /// The reference systems in which they can be had.
    crs: [&'static str; 1],
}

/// Where and when features are.
#[derive(Serialize, ToSchema)]
pub struct FeatureExtent {
    /// Where.
    #[serde(skip_serializing_if = "Option::is_none")]
    spatial: Option<SpatialExtent>,
    /// When.
    #[serde(skip_serializing_if = "Option::is_none")]
    temporal: Option<TemporalExtent>,
}

/// Where features are.
#[derive(Serialize, ToSchema)]
pub struct SpatialExtent {
    /// West, south, east, north.
    bbox: [[f64; 4]; 1],
    /// In which reference system.
    crs: &'static str,
}

/// When features are.
#[derive(Serialize, ToSchema)]
pub struct TemporalExtent {
    /// The earliest and the latest time.
    interval: [[String; 2]; 1],
}

/// A page of features.
#[derive(Serialize, ToSchema)]
#[serde(rename_all = "camelCase")]
pub struct FeaturePage {
    /// Always `FeatureCollection`.
    #[serde(rename = "type")]
    kind: CollectionType,
    /// Where this is, and where it goes on.
    links: Vec<Link>,
    /// When it was read.
    #[serde(serialize_with = "super::time::at")]
    time_stamp: DateTime<Utc>,
    /// How many features there are in all.
    number_matched: i64,
    /// How many are here.
    number_returned: usize,
    /// They, in the order of their ids.
    features: Vec<FeatureDocument>,
}

/// One feature by itself.
#[derive(Serialize, ToSchema)]
pub struct SingleFeature {
    /// Where this is, and to what it belongs.
    links: Vec<Link>,
    /// The feature.
    #[serde(flatten)]
    feature: FeatureDocument,
}

/// The address under which everything of an operation's features stands, as the asker wrote it.
struct Base(String);

impl Base {
    fn of(way: Way, headers: &HeaderMap, uri: &Uri, operation: OperationId) -> Self {
        let host = headers.get(header::HOST).and_then(|value| value.to_str().ok());
        // Over HTTP/2 the host stands in the address itself. What is no host is not given back.
        let host = host.and_then(|host| host.parse::<Authority>().ok()).or_else(|| uri.authority().cloned());
        let scheme = if way.secure { "https" } else { "http" };
        let root = host.map(|host| format!("{scheme}://{host}")).unwrap_or_default();
        Self(format!("{root}/api/operations/{operation}/features"))
    }

    fn link(&self, path: &str, rel: &'static str, media: &'static str, title: &'static str) -> Link {
        Link { href: format!("{}{path}", self.0), rel, media, title }
    }

    fn landing(&self, title: &str) -> FeaturesLanding {
        FeaturesLanding {
            title: title.to_owned(),
            description: "Field telephone wire: lines, crossings, splices, reels, tests and tags. Positions are WGS 84, lengths metres.",
            links: vec![
                self.link("", "self", JSON, "This document"),
                self.link("/api", "service-desc", OPENAPI, "The definition of this API"),
                self.link("/conformance", "conformance", JSON, "What of the standard it keeps to"),
                self.link("/collections", "data", JSON, "The collections"),
            ],
        }
    }

    fn collection(
        &self,
        collection: &'static Collection,
        extent: Option<&Extent>,
    ) -> FeatureCollectionDocument {
        let at = format!("/collections/{}", collection.name);
        FeatureCollectionDocument {
            id: collection.name,
            title: collection.title,
            description: collection.says,
            links: vec![
                self.link(&at, "self", JSON, "This document"),
                self.link(&format!("{at}/items"), "items", GEOJSON, "The features"),
            ],
            extent: extent.and_then(known),
            item_type: "feature",
            crs: [CRS84],
        }
    }

    fn page(&self, ask: &Ask, page: stored::Page, now: DateTime<Utc>) -> FeaturePage {
        let at = format!("/collections/{}", ask.collection.name);
        let mut links = vec![
            self.link(&ask.address(&at, None), "self", GEOJSON, "This page"),
            self.link(&at, "collection", JSON, "The collection"),
        ];
        if let Some(last) = page.features.last().filter(|_| page.more) {
            links.push(self.link(&ask.address(&at, Some(last.id)), "next", GEOJSON, "The next page"));
        }
        let document = |feature| FeatureDocument::of(ask.collection, feature);
        let features: Vec<FeatureDocument> = page.features.into_iter().map(document).collect();
        FeaturePage {
            kind: CollectionType::FeatureCollection,
            links,
            time_stamp: now,
            number_matched: page.matched,
            number_returned: features.len(),
            features,
        }
    }
}

fn known(extent: &Extent) -> Option<FeatureExtent> {
    let spatial = match (extent.west, extent.south, extent.east, extent.north) {
        (Some(west), Some(south), Some(east), Some(north)) => {
            Some(SpatialExtent { bbox: [[west, south, east, north]], crs: CRS84 })
        }
        _ => None,
    };
    let text = |time: DateTime<Utc>| time.to_rfc3339_opts(SecondsFormat::AutoSi, true);
    let temporal = extent
        .earliest
        .zip(extent.latest)
        .map(|(earliest, latest)| TemporalExtent { interval: [[text(earliest), text(latest)]] });
    (spatial.is_some() || temporal.is_some()).then_some(FeatureExtent { spatial, temporal })
}

fn named(collection: &str) -> Result<&'static Collection, Problem> {
    Collection::named(collection).ok_or(Problem::NotFound)
}

/// Refuses every parameter on an address that takes none.
fn bare(pairs: &[(String, String)]) -> Result<(), Problem> {
    match pairs.iter().find(|(name, _)| name != "seat") {
        Some((name, _)) => {
            Err(Problem::Query(format!("{}: it is not known here; leave it out", asked::short(name))))
        }
        None => Ok(()),
    }
}

fn as_geojson(body: &impl Serialize) -> Result<Response, Problem> {
    let text = serde_json::to_vec(body).map_err(|error| {
        tracing::error!(%error, "features cannot be written");
        Problem::Internal
    })?;
    Ok(([(header::CONTENT_TYPE, HeaderValue::from_static(GEOJSON))], text).into_response())
}

/// OGC API – Features: where a GIS begins.
#[utoipa::path(get, path = "/api/operations/{op}/features", tag = "features", operation_id = "features",
    params(("op" = OperationId, Path)),
    responses((status = 200, body = FeaturesLanding), (status = 400, body = ProblemDocument), (status = 401, body = ProblemDocument),
        (status = 404, body = ProblemDocument)))]
pub async fn features(
    State(service): State<Arc<Service>>,
    Extension(seat): Extension<Seat>,
    Extension(way): Extension<Way>,
    uri: Uri,
    headers: HeaderMap,
    Asked(pairs): Asked<Vec<(String, String)>>,
) -> Result<Json<FeaturesLanding>, Problem> {
    bare(&pairs)?;
    let operation = laywire_store::operation::get(&service.pool, seat.0.operation).await?;
    let operation = operation.ok_or(Problem::NotFound)?;
    Ok(Json(Base::of(way, &headers, &uri, operation.id).landing(operation.name.as_str())))
}

/// OGC API – Features: where a GIS begins, as the definition's paths have it.
#[utoipa::path(get, path = "/api/operations/{op}/features/", tag = "features", operation_id = "features_root",
    params(("op" = OperationId, Path)),
    responses((status = 200, body = FeaturesLanding), (status = 400, body = ProblemDocument), (status = 401, body = ProblemDocument),
        (status = 404, body = ProblemDocument)))]
pub async fn features_root(
    service: State<Arc<Service>>,
    seat: Extension<Seat>,
    way: Extension<Way>,
    uri: Uri,
    headers: HeaderMap,
    pairs: Asked<Vec<(String, String)>>,
) -> Result<Json<FeaturesLanding>, Problem> {
    features(service, seat, way, uri, headers, pairs).await
}

/// OGC API – Features: its definition for this operation, OpenAPI 3.0, with the parameters of each collection.
#[utoipa::path(get, path = "/api/operations/{op}/features/api", tag = "features", operation_id = "features_definition",
    params(("op" = OperationId, Path)),
    responses((status = 200, body = serde_json::Value, content_type = "application/vnd.oai.openapi+json"),
        (status = 400, body = ProblemDocument), (status = 401, body = ProblemDocument), (status = 404, body = ProblemDocument)))]
pub async fn features_definition(
    Extension(seat): Extension<Seat>,
    Extension(way): Extension<Way>,
    uri: Uri,
    headers: HeaderMap,
    Asked(pairs): Asked<Vec<(String, String)>>,
) -> Result<impl IntoResponse, Problem> {
    bare(&pairs)?;
    let base = Base::of(way, &headers, &uri, seat.0.operation);
    Ok((
        [(header::CONTENT_TYPE, HeaderValue::from_static(OPENAPI))],
        definition::document(&base.0).to_string(),
    ))
}

/// OGC API – Features: what of the standard it keeps to.
#[utoipa::path(get, path = "/api/operations/{op}/features/conformance", tag = "features", operation_id = "features_conformance",
    params(("op" = OperationId, Path)),
    responses((status = 200, body = FeaturesConformance), (status = 400, body = ProblemDocument),
        (status = 401, body = ProblemDocument), (status = 404, body = ProblemDocument)))]
pub async fn features_conformance(
    Asked(pairs): Asked<Vec<(String, String)>>,
) -> Result<Json<FeaturesConformance>, Problem> {
    bare(&pairs)?;
    Ok(Json(FeaturesConformance { conforms_to: CONFORMS_TO.to_vec() }))
}

/// OGC API – Features: the collections.
#[utoipa::path(get, path = "/api/operations/{op}/features/collections", tag = "features", operation_id = "feature_collections",
    params(("op" = OperationId, Path)),
    responses((status = 200, body = FeatureCollections), (status = 400, body = ProblemDocument),
        (status = 401, body = ProblemDocument), (status = 404, body = ProblemDocument)))]
pub async fn feature_collections(
    State(service): State<Arc<Service>>,
    Extension(seat): Extension<Seat>,
    Extension(way): Extension<Way>,
    uri: Uri,
    headers: HeaderMap,
    Asked(pairs): Asked<Vec<(String, String)>>,
) -> Result<Json<FeatureCollections>, Problem> {
    bare(&pairs)?;
    let base = Base::of(way, &headers, &uri, seat.0.operation);
    let mut collections = Vec::new();
    for collection in &COLLECTIONS {
        let extent = stored::extent(&service.pool, seat.0.operation, collection).await?;
        collections.push(base.collection(collection, extent.as_ref()));
    }
    let links = vec![base.link("/collections", "self", JSON, "This document")];
    Ok(Json(FeatureCollections { links, collections }))
}

/// OGC API – Features: one collection.
#[utoipa::path(get, path = "/api/operations/{op}/features/collections/{collection}", tag = "features",
    operation_id = "feature_collection", params(("op" = OperationId, Path), ("collection" = String, Path)),
    responses((status = 200, body = FeatureCollectionDocument), (status = 400, body = ProblemDocument),
        (status = 401, body = ProblemDocument), (status = 404, body = ProblemDocument)))]
pub async fn feature_collection(
    State(service): State<Arc<Service>>,
    Extension(seat): Extension<Seat>,
    Extension(way): Extension<Way>,
    uri: Uri,
    headers: HeaderMap,
    Path((_, collection)): Path<(String, String)>,
    Asked(pairs): Asked<Vec<(String, String)>>,
) -> Result<Json<FeatureCollectionDocument>, Problem> {
    let collection = named(&collection)?;
    bare(&pairs)?;
    let extent = stored::extent(&service.pool, seat.0.operation, collection).await?;
    Ok(Json(Base::of(way, &headers, &uri, seat.0.operation).collection(collection, extent.as_ref())))
}

/// OGC API – Features: a page of a collection's features. Beside the parameters named here, each simple property of the
/// collection is one: `state=passed` gives the features that have that value.
#[utoipa::path(get, path = "/api/operations/{op}/features/collections/{collection}/items", tag = "features",
    operation_id = "feature_items",
    params(("op" = OperationId, Path), ("collection" = String, Path),
        ("limit" = Option<u32>, Query, description = "How many at most, from 1; 100 when left out. More than 1,000 are never sent at once.", minimum = 1),
        ("bbox" = Option<String>, Query, description = "West, south, east, north in degrees; west may lie east of east, over the 180th meridian. With six figures the heights are not looked at."),
        ("datetime" = Option<String>, Query, description = "An instant, or from/to with `..` for an open end (RFC 3339)."),
        ("after" = Option<String>, Query, description = "As the link `next` has it: only features after this one.")),
    responses((status = 200, body = FeaturePage, content_type = "application/geo+json"), (status = 400, body = ProblemDocument),
        (status = 401, body = ProblemDocument), (status = 404, body = ProblemDocument)))]
pub async fn feature_items(
    State(service): State<Arc<Service>>,
    Extension(seat): Extension<Seat>,
    Extension(way): Extension<Way>,
    uri: Uri,
    headers: HeaderMap,
    Path((_, collection)): Path<(String, String)>,
    Asked(pairs): Asked<Vec<(String, String)>>,
) -> Result<Response, Problem> {
    let ask = Ask::read(named(&collection)?, pairs)?;
    let portion = Portion { after: ask.after, features: ask.limit, positions: PAGE_POSITIONS };
    let now = service.now();
    let page = stored::page(&service.pool, seat.0.operation, ask.collection, &ask.filter, portion).await?;
    as_geojson(&Base::of(way, &headers, &uri, seat.0.operation).page(&ask, page, now))
}

/// OGC API – Features: one feature.
#[utoipa::path(get, path = "/api/operations/{op}/features/collections/{collection}/items/{item}", tag = "features",
    operation_id = "feature_item",
    params(("op" = OperationId, Path), ("collection" = String, Path), ("item" = String, Path)),
    responses((status = 200, body = SingleFeature, content_type = "application/geo+json"), (status = 400, body = ProblemDocument),
        (status = 401, body = ProblemDocument), (status = 404, body = ProblemDocument)))]
pub async fn feature_item(
    State(service): State<Arc<Service>>,
    Extension(seat): Extension<Seat>,
    Extension(way): Extension<Way>,
    uri: Uri,
    headers: HeaderMap,
    Path((_, collection, item)): Path<(String, String, String)>,
    Asked(pairs): Asked<Vec<(String, String)>>,
) -> Result<Response, Problem> {
    let collection = named(&collection)?;
    bare(&pairs)?;
    let id: FeatureId = item.parse().map_err(|()| Problem::NotFound)?;
    let feature = stored::feature(&service.pool, seat.0.operation, collection, id).await?;
    let feature = FeatureDocument::of(collection, feature.ok_or(Problem::NotFound)?);
    let base = Base::of(way, &headers, &uri, seat.0.operation);
    let at = format!("/collections/{}", collection.name);
    let links = vec![
        base.link(&format!("{at}/items/{id}"), "self", GEOJSON, "This feature"),
        base.link(&at, "collection", JSON, "The collection"),
    ];
    as_geojson(&SingleFeature { links, feature })
}
