//! Lines out of GPX: each segment of a track, and each route. The file is gone through once, from front to back, and nothing
//! of it is kept but positions and names: a declaration of its own kind of entities is refused, because no track needs one
//! and a small file can be made to grow without end by it.

use laywire_craft::{
    geodesy::Position,
    trace::{MOST_POSITIONS, Trace, TraceError},
};
use quick_xml::{
    Reader, XmlVersion,
    events::{BytesStart, Event},
};

use super::{Found, place, too_many};
use crate::problem::Problem;

/// Deeper than any track or its extensions go.
const DEEPEST: usize = 32;
/// Most attributes that are looked at in one element.
const ATTRIBUTES: usize = 32;
/// Most letters of a name that are kept.
const NAME: usize = 200;

pub(super) fn read(bytes: &[u8]) -> Result<Found, Problem> {
    let text = std::str::from_utf8(bytes)
        .map_err(|_| Problem::NotXml("it is not UTF-8; save it as UTF-8 and send it again".to_owned()))?;
    let mut file = Reader::from_str(text.trim_start_matches('\u{FEFF}'));
    let mut reading = Reading::default();
    loop {
        let at = file.buffer_position();
        match file.read_event() {
            Err(error) => {
                return Err(Problem::NotXml(format!("{error} (at byte {})", file.error_position())));
            }
            Ok(Event::DocType(_)) => {
                let what =
                    "it declares a document type or entities, which no track needs; export it as plain GPX";
                return Err(Problem::NotXml(what.to_owned()));
            }
            Ok(Event::Eof) if reading.open.is_empty() && reading.begun => return Ok(reading.found),
            Ok(Event::Eof) => return Err(Problem::NotXml("it ends before its end".to_owned())),
            Ok(Event::Start(element)) => reading.begin(&element, at)?,
            Ok(Event::Empty(element)) => {
                reading.begin(&element, at)?;
                reading.end()?;
            }
            Ok(Event::End(_)) => reading.end()?,
            Ok(Event::Text(words)) => reading.say(&words.xml10_content()),
            Ok(Event::CData(words)) => reading.say(&words.xml10_content()),
            Ok(Event::GeneralRef(reference)) => {
                let character = reference.resolve_char_ref().ok().flatten();
                let known = quick_xml::escape::resolve_predefined_entity(&reference);
                match (character, known) {
                    (Some(character), _) => reading.say(character.encode_utf8(&mut [0; 4])),
                    (None, Some(known)) => reading.say(known),
                    (None, None) => {
                        return Err(Problem::NotXml(format!(
                            "it names an entity that it does not have (at byte {at})"
                        )));
                    }
                }
            }
            Ok(_) => {}
        }
    }
}

/// What an element is, as far as it matters.
#[derive(Clone, Copy, PartialEq, Eq)]
enum Element {
    Gpx,
    Track,
    Segment,
    Route,
    Place,
    Name,
    Other,
}

#[derive(Default)]
struct Reading {
    found: Found,
    /// The elements that are open, from the outermost.
    open: Vec<Element>,
    begun: bool,
    name: String,
    places: Vec<Position>,
}

impl Reading {
    fn begin(&mut self, element: &BytesStart<'_>, at: u64) -> Result<(), Problem> {
        if self.open.len() == DEEPEST {
            return Err(Problem::NotXml(format!(
                "its elements stand more than {DEEPEST} deep (at byte {at})"
            )));
        }
        let name = element.local_name();
        let kind = match (self.open.last(), name.as_ref()) {
            (None, "gpx") if !self.begun => Element::Gpx,
            (None, _) => {
                return Err(Problem::NotXml(
                    "its outermost element is not gpx, or not the only one".to_owned(),
                ));
            }
            (Some(Element::Gpx), "trk") => Element::Track,
            (Some(Element::Gpx), "rte") => Element::Route,
            (Some(Element::Gpx), "wpt") => {
                self.found.left_out += 1;
                Element::Other
            }
            (Some(Element::Track), "trkseg") => Element::Segment,
            (Some(Element::Segment), "trkpt") | (Some(Element::Route), "rtept") => Element::Place,
            (Some(Element::Track | Element::Route), "name") => Element::Name,
            _ => Element::Other,
        };
        self.begun = true;
        match kind {
            Element::Track | Element::Route => self.name.clear(),
            Element::Place => {
                let place = position(element).map_err(|what| Problem::Malformed {
                    field: format!("traces[{}].positions[{}]", self.found.traces.len(), self.places.len()),
                    what,
                })?;
                if self.places.len() + self.found.positions == MOST_POSITIONS {
                    return Err(Problem::Malformed { field: ".".to_owned(), what: too_many() });
                }
                self.places.push(place);
            }
            _ => {}
        }
        if matches!(kind, Element::Segment | Element::Route) {
            self.places.clear();
        }
        self.open.push(kind);
        Ok(())
    }

    fn end(&mut self) -> Result<(), Problem> {
        let kind = self.open.pop();
        if !matches!(kind, Some(Element::Segment | Element::Route)) {
            return Ok(());
        }
        let wrong = |what| Problem::Malformed { field: ".".to_owned(), what };
        match Trace::new(std::mem::take(&mut self.places)) {
            Ok(trace) => self.found.add(Some(&self.name), &trace).map_err(wrong),
            // A receiver that was switched on and off leaves such behind.
            Err(TraceError::NoLength { .. }) => {
                self.found.left_out += 1;
                Ok(())
            }
            Err(error) => Err(wrong(error.to_string())),
        }
    }

    fn say(&mut self, words: &str) {
        if self.open.last() == Some(&Element::Name) && self.name.len() < NAME {
            self.name.extend(words.chars().take(NAME));
        }
    }
}

/// The place of a point. Attributes are not compared with each other, which takes long where there are very many.
fn position(element: &BytesStart<'_>) -> Result<Position, String> {
    let (mut lon, mut lat) = (None, None);
    let mut attributes = element.attributes();
    for attribute in attributes.with_checks(false).take(ATTRIBUTES) {
        let attribute = attribute.map_err(|error| error.to_string())?;
        let figure = match attribute.key.as_ref() {
            "lon" => &mut lon,
            "lat" => &mut lat,
            _ => continue,
        };
        let text = attribute.normalized_value(XmlVersion::Implicit1_0).map_err(|error| error.to_string())?;
        *figure = text.trim().parse::<f64>().ok();
    }
    let (Some(lon), Some(lat)) = (lon, lat) else {
        return Err("it has not a number for each of lat and lon".to_owned());
    };
    place(lon, lat)
}
