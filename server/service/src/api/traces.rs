//! Traces out of a file that another program wrote, GeoJSON (RFC 7946) or GPX (1.0 or 1.1): read, judged and handed back, so
//! that somebody can plan with them. Nothing is kept.

mod geojson;
mod gpx;

use axum::{Json, extract::Request};
use laywire_craft::{
    geodesy::Position,
    ids::OperationId,
    text::Name,
    trace::{MOST_POSITIONS, Trace},
};
use serde::Serialize;
use utoipa::ToSchema;

use super::geojson::LineString;
use crate::problem::{Problem, ProblemDocument, media, read};

/// Most bytes of a file.
const MOST_BYTES: usize = 5_000_000;
/// Most traces in a file.
const MOST_TRACES: usize = 1_000;

/// What a file has.
#[derive(Serialize, ToSchema)]
pub struct TracesRead {
    /// Its lines, in the order of the file.
    traces: Vec<TraceRead>,
    /// Shapes that are no lines, such as single places and areas, and pieces of a track without a length.
    left_out: usize,
}

/// A line out of a file.
#[derive(Serialize, ToSchema)]
pub struct TraceRead {
    /// What the file calls it, as far as that is a name here.
    #[schema(required = true)]
    name: Option<Name>,
    /// Where it goes.
    #[schema(value_type = LineString)]
    trace: ::geojson::Geometry,
    /// How many positions it has.
    positions: usize,
}

/// What was found so far, bounded.
#[derive(Default)]
struct Found {
    traces: Vec<TraceRead>,
    positions: usize,
    left_out: usize,
}

impl Found {
    fn add(&mut self, name: Option<&str>, trace: &Trace) -> Result<(), String> {
        if self.traces.len() == MOST_TRACES {
            return Err(format!("there are more than {MOST_TRACES} lines in it; send a part of it"));
        }
        let positions = trace.positions().len();
        self.positions += positions;
        if self.positions > MOST_POSITIONS {
            return Err(too_many());
        }
        let name = name.and_then(called);
        self.traces.push(TraceRead { name, trace: super::geojson::line(trace), positions });
        Ok(())
    }
}

fn too_many() -> String {
    format!("its lines have more than {MOST_POSITIONS} positions; thin the track, or send a part of it")
}

/// What somebody else's program called it, cut to what is a name here.
fn called(text: &str) -> Option<Name> {
    let blank = |c: char| if c.is_whitespace() || c.is_control() { ' ' } else { c };
    let cut: String = text.trim().chars().map(blank).take(40).collect();
    Name::new(&cut).ok()
}

fn place(lon: f64, lat: f64) -> Result<Position, String> {
    Position::new(lon, lat).map_err(|wrong| wrong.to_string())
}

/// The lines of a file, each as a trace to plan with. At most 5 MB, 1,000 lines and 100,000 positions. A track's segments
/// come one by one: nobody knows how the wire would run over the gap.
#[utoipa::path(post, path = "/api/operations/{op}/traces/read", tag = "planning", operation_id = "read_traces",
    params(("op" = OperationId, Path)),
    request_body(content((serde_json::Value = "application/geo+json"), (String = "application/gpx+xml")),
        description = "GeoJSON as application/geo+json (or application/json), or GPX as application/gpx+xml (or application/xml, text/xml)."),
    responses((status = 200, body = TracesRead), (status = 400, body = ProblemDocument), (status = 401, body = ProblemDocument),
        (status = 404, body = ProblemDocument), (status = 413, body = ProblemDocument), (status = 415, body = ProblemDocument),
        (status = 422, body = ProblemDocument)))]
pub async fn read_traces(request: Request) -> Result<Json<TracesRead>, Problem> {
    let media = media(request.headers()).to_ascii_lowercase();
    let reader = match media.as_str() {
        "application/geo+json" | "application/json" => geojson::read,
        "application/gpx+xml" | "application/xml" | "text/xml" => gpx::read,
        _ => return Err(Problem::NotDeclaredTrace),
    };
    let bytes = read(request.into_body(), MOST_BYTES).await?;
    let found =
        tokio::task::spawn_blocking(move || reader(&bytes)).await.map_err(|_| Problem::Internal)??;
    if found.traces.is_empty() {
        let what = "there is no line in it: a LineString, a track or a route is wanted".to_owned();
        return Err(Problem::Malformed { field: ".".to_owned(), what });
    }
    Ok(Json(TracesRead { traces: found.traces, left_out: found.left_out }))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_another_program_calls_a_line_becomes_a_name_or_none() {
        assert_eq!(called(" To the\tmill \n").unwrap().as_str(), "To the mill");
        assert_eq!(called(&"é".repeat(60)).unwrap().as_str(), "é".repeat(40));
        assert!(called(" ").is_none() && called("a\u{202E}b").is_none());
    }
}
