//! The API's own description: as a document for programs, and as a page for people, made of that document.

use std::fmt::Write;

use axum::{Json, response::Html};
use serde_json::Value;

/// The OpenAPI document.
#[utoipa::path(get, path = "/api/openapi.json", tag = "service", operation_id = "openapi", security(()),
    responses((status = 200, description = "OpenAPI 3.1")))]
pub async fn openapi() -> Json<utoipa::openapi::OpenApi> {
    Json(crate::openapi::document())
}

/// The API on one page.
#[utoipa::path(get, path = "/api", tag = "service", operation_id = "reference", security(()),
    responses((status = 200, description = "A page", content_type = "text/html")))]
pub async fn reference() -> Html<String> {
    let document = serde_json::to_value(crate::openapi::document()).unwrap_or_default();
    Html(page(&document))
}

fn escaped(text: &str) -> String {
    text.replace('&', "&amp;").replace('<', "&lt;").replace('>', "&gt;").replace('"', "&quot;")
}

/// A description: what stands between back-ticks is code.
fn prose(text: &str) -> String {
    let parts = text.split('`').enumerate();
    parts
        .map(|(n, part)| if n % 2 == 1 { format!("<code>{}</code>", escaped(part)) } else { escaped(part) })
        .collect()
}

fn text<'a>(value: &'a Value, pointer: &str) -> &'a str {
    value.pointer(pointer).and_then(Value::as_str).unwrap_or_default()
}

const STYLE: &str = "body{font:16px/1.5 system-ui,sans-serif;max-width:60rem;margin:2rem auto;padding:0 1rem;\
    background:#f7f1e3;color:#1c2530}h2{border-top:2px solid;padding-top:1rem}h3{margin-bottom:.2rem}\
    code{font-size:.95em}table{border-collapse:collapse;width:100%}td,th{text-align:left;vertical-align:top;\
    padding:.25rem .6rem .25rem 0;min-width:5rem;border-bottom:1px solid #cdbfa3}a{color:inherit}";

fn page(document: &Value) -> String {
    let mut html = format!(
        "<!doctype html><html lang=\"en\"><meta charset=\"utf-8\"><meta name=\"viewport\" content=\"width=device-width\">\
         <title>laywire: the API</title><style>{STYLE}</style><h1>The API</h1><p>{}</p>\
         <p>The same for programs: <a href=\"/api/openapi.json\">/api/openapi.json</a>.</p><h2>Calls</h2>",
        prose(text(document, "/info/description"))
    );
    for (path, item) in entries(document.get("paths")) {
        for (method, call) in entries(Some(item)) {
            let public = call.get("security").is_some_and(|s| {
                s.as_array().is_some_and(|all| all.iter().any(|one| one == &serde_json::json!({})))
            });
            let _ = write!(
                html,
                "<h3 id=\"{}\"><code>{} {}</code></h3><p>{} {}{}</p>",
                escaped(text(call, "/operationId")),
                method.to_uppercase(),
                escaped(path),
                prose(text(call, "/summary")),
                prose(text(call, "/description")),
                if public { " <em>Needs no pass.</em>" } else { "" }
            );
            parameters(&mut html, call);
            bodies(&mut html, call);
        }
    }
    html.push_str("<h2>Shapes</h2>");
    for (name, shape) in entries(document.pointer("/components/schemas")) {
        let _ = write!(
            html,
            "<h3 id=\"shape-{0}\">{0}</h3><p>{1}</p>",
            escaped(name),
            prose(text(shape, "/description"))
        );
        fields(&mut html, shape);
    }
    html.push_str("</html>");
    html
}

fn entries(value: Option<&Value>) -> impl Iterator<Item = (&String, &Value)> {
    value.and_then(Value::as_object).into_iter().flatten()
}

fn parameters(html: &mut String, call: &Value) {
    let Some(all) = call.get("parameters").and_then(Value::as_array) else { return };
    html.push_str("<table>");
    for one in all {
        let _ = write!(
            html,
            "<tr><td><code>{}</code><td>{}<td>{}",
            escaped(text(one, "/name")),
            escaped(text(one, "/in")),
            prose(text(one, "/description"))
        );
    }
    html.push_str("</table>");
}

fn bodies(html: &mut String, call: &Value) {
    let shown = |content: Option<&Value>| {
        entries(content)
            .map(|(media, body)| {
                format!("{} {}", escaped(media), kind(body.get("schema").unwrap_or(&Value::Null)))
            })
            .collect::<Vec<_>>()
            .join(", ")
    };
    html.push_str("<table>");
    if let Some(body) = call.get("requestBody") {
        let _ = write!(html, "<tr><td>sent<td>{}", shown(body.get("content")));
    }
    for (status, answer) in entries(call.get("responses")) {
        let _ = write!(
            html,
            "<tr><td>{}<td>{} {}",
            escaped(status),
            shown(answer.get("content")),
            prose(text(answer, "/description"))
        );
    }
    html.push_str("</table>");
}

/// A shape's kind in words, with a link where it is one of ours.
fn kind(shape: &Value) -> String {
    if let Some(name) = text(shape, "/$ref").rsplit('/').next().filter(|name| !name.is_empty()) {
        return format!("<a href=\"#shape-{0}\">{0}</a>", escaped(name));
    }
    for union in ["oneOf", "anyOf", "allOf"] {
        if let Some(all) = shape.get(union).and_then(Value::as_array) {
            return all.iter().map(kind).collect::<Vec<_>>().join(if union == "allOf" {
                " and "
            } else {
                " or "
            });
        }
    }
    if let Some(all) = shape.get("enum").and_then(Value::as_array) {
        return all
            .iter()
            .map(|v| format!("<code>{}</code>", escaped(&v.to_string())))
            .collect::<Vec<_>>()
            .join(", ");
    }
    let name = match shape.get("type") {
        Some(Value::String(one)) => one.clone(),
        Some(Value::Array(all)) => all.iter().filter_map(Value::as_str).collect::<Vec<_>>().join(" or "),
        _ => String::new(),
    };
    if name.starts_with("array") {
        return format!("list of {}", shape.get("items").map(kind).unwrap_or_default());
    }
    let bounds: Vec<String> = ["format", "pattern", "minimum", "maximum", "minLength", "maxLength"]
        .iter()
        .filter_map(|key| Some(format!("{key} {}", escaped(shape.get(*key)?.to_string().trim_matches('"')))))
        .collect();
    if bounds.is_empty() { name } else { format!("{name} ({})", bounds.join(", ")) }
}

fn fields(html: &mut String, shape: &Value) {
    if let Some(all) = shape.get("oneOf").and_then(Value::as_array) {
        html.push_str("<ul>");
        for one in all {
            let tag = entries(one.get("properties"))
                .chain(
                    one.get("allOf")
                        .and_then(Value::as_array)
                        .into_iter()
                        .flatten()
                        .flat_map(|part| entries(part.get("properties"))),
                )
                .find_map(|(name, field)| {
                    Some(format!(
                        "<code>{}: {}</code> ",
                        escaped(name),
                        escaped(field.pointer("/enum/0")?.as_str()?)
                    ))
                })
                .unwrap_or_default();
            let _ = write!(html, "<li>{tag}{} {}</li>", kind(one), prose(text(one, "/description")));
        }
        html.push_str("</ul>");
        return;
    }
    let required: Vec<&str> = shape
        .get("required")
        .and_then(Value::as_array)
        .into_iter()
        .flatten()
        .filter_map(Value::as_str)
        .collect();
    let mut any = false;
    for (name, field) in entries(shape.get("properties")) {
        if !any {
            html.push_str("<table>");
            any = true;
        }
        let _ = write!(
            html,
            "<tr><td><code>{}</code>{}<td>{}<td>{}",
            escaped(name),
            if required.contains(&name.as_str()) { "" } else { " (may be left out)" },
            kind(field),
            prose(text(field, "/description"))
        );
    }
    if any {
        html.push_str("</table>");
    } else {
        let _ = write!(html, "<p>{}</p>", kind(shape));
    }
}
