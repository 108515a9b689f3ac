//! The definition of an operation's features as OpenAPI 3.0, which is what programs that know the standard read: each
//! collection by its own address with its own parameters. The document of the whole API is another (OpenAPI 3.1).

use laywire_store::features::{COLLECTIONS, Collection, Holds, Property};
use serde_json::{Map, Value, json};

use super::asked::MOST;

fn schema(property: &Property) -> Value {
    match property.holds {
        Holds::OneOf(names) => json!({ "type": "string", "enum": names() }),
        Holds::Text | Holds::Grid => json!({ "type": "string" }),
        Holds::Id => json!({ "type": "string", "format": "uuid" }),
        Holds::Whole => json!({ "type": "integer", "format": "int64" }),
        Holds::Number => json!({ "type": "number", "format": "double" }),
        Holds::Flag => json!({ "type": "boolean" }),
        Holds::Time => json!({ "type": "string", "format": "date-time" }),
    }
}

fn query(name: &str, says: &str, schema: &Value) -> Value {
    json!({ "name": name, "in": "query", "required": false, "style": "form", "explode": false, "description": says,
        "schema": schema })
}

fn answer(says: &str, media: &str, shape: &str) -> Value {
    let shape = json!({ "$ref": format!("#/components/schemas/{shape}") });
    let problem = |says: &str| {
        json!({ "description": says,
            "content": { "application/problem+json": { "schema": { "$ref": "#/components/schemas/problem" } } } })
    };
    json!({
        "200": { "description": says, "content": { media: { "schema": shape } } },
        "400": problem("A parameter is not known, or wrong."),
        "401": problem("No pass that holds."),
        "404": problem("There is nothing here, or nothing that the pass lets one see."),
    })
}

fn get(id: &str, says: &str, media: &str, shape: &str) -> Value {
    json!({ "get": { "operationId": id, "summary": says, "responses": answer(says, media, shape) } })
}

fn items(collection: &Collection) -> Value {
    let figures = |count: u32| json!({ "minItems": count, "maxItems": count });
    let mut parameters = vec![
        query(
            "limit",
            "How many at most; of a larger number, the maximum is sent.",
            &json!({ "type": "integer", "minimum": 1, "maximum": MOST, "default": 100 }),
        ),
        query(
            "bbox",
            "West, south, east, north in degrees; west may lie east of east, over the 180th meridian.",
            &json!({ "type": "array", "items": { "type": "number" }, "oneOf": [figures(4), figures(6)] }),
        ),
        query(
            "datetime",
            "An instant, or from/to with `..` for an open end (RFC 3339).",
            &json!({ "type": "string" }),
        ),
        query(
            "after",
            "As the link `next` has it: only features after this one.",
            &json!({ "type": "string" }),
        ),
    ];
    let known = collection.properties.iter().filter(|property| !matches!(property.holds, Holds::Grid));
    parameters.extend(known.map(|property| query(property.name, property.says, &schema(property))));
    let id = format!("items_{}", collection.name);
    let mut path = get(&id, collection.says, "application/geo+json", "featureCollection");
    path["get"]["parameters"] = Value::from(parameters);
    path
}

fn item(collection: &Collection) -> Value {
    let says = format!("One {}.", collection.one);
    let mut path = get(&format!("item_{}", collection.name), &says, "application/geo+json", "feature");
    path["get"]["parameters"] =
        json!([{ "name": "featureId", "in": "path", "required": true, "schema": { "type": "string" } }]);
    path
}

/// The definition, under the address at which it stands.
pub(super) fn document(base: &str) -> Value {
    let mut paths = Map::new();
    let mut add = |path: String, what: Value| paths.insert(path, what);
    add("/".to_owned(), get("landing", "Where everything is.", "application/json", "document"));
    add(
        "/api".to_owned(),
        get("definition", "This document.", "application/vnd.oai.openapi+json;version=3.0", "document"),
    );
    let conformance = get("conformance", "What of the standard it keeps to.", "application/json", "document");
    add("/conformance".to_owned(), conformance);
    add("/collections".to_owned(), get("collections", "The collections.", "application/json", "document"));
    for collection in &COLLECTIONS {
        let at = format!("/collections/{}", collection.name);
        let id = format!("collection_{}", collection.name);
        add(at.clone(), get(&id, collection.title, "application/json", "document"));
        add(format!("{at}/items"), items(collection));
        add(format!("{at}/items/{{featureId}}"), item(collection));
    }
    json!({
        "openapi": "3.0.3",
        "info": {
            "title": "laywire: features of an operation",
            "version": env!("CARGO_PKG_VERSION"),
            "description": "Lines, crossings, splices, reels, tests and tags by OGC API – Features. Every call needs a pass.",
        },
        "servers": [{ "url": base }],
        "security": [{ "pass": [] }, { "password": [] }],
        "paths": paths,
        "components": {
            "securitySchemes": {
                "pass": { "type": "http", "scheme": "bearer" },
                "password": { "type": "http", "scheme": "basic", "description": "The pass as password, under any name." },
            },
            "schemas": {
                "document": { "type": "object" },
                "problem": {
                    "type": "object",
                    "required": ["type", "title", "status"],
                    "properties": {
                        "type": { "type": "string" },
                        "title": { "type": "string" },
                        "status": { "type": "integer" },
                        "field": { "type": "string" },
                    },
                },
                "feature": {
                    "type": "object",
                    "required": ["type", "geometry", "properties"],
                    "properties": {
                        "type": { "type": "string", "enum": ["Feature"] },
                        "id": { "type": "string" },
                        "geometry": { "type": "object", "nullable": true },
                        "properties": { "type": "object" },
                    },
                },
                "featureCollection": {
                    "type": "object",
                    "required": ["type", "features"],
                    "properties": {
                        "type": { "type": "string", "enum": ["FeatureCollection"] },
                        "numberMatched": { "type": "integer" },
                        "numberReturned": { "type": "integer" },
                        "timeStamp": { "type": "string", "format": "date-time" },
                        "features": { "type": "array", "items": { "$ref": "#/components/schemas/feature" } },
                    },
                },
            },
        },
    })
}
