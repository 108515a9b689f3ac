//! What is asked of a collection, read from the query string. A parameter that is not known, stands twice or cannot be read
//! is refused by name, as the standard has it (OGC 17-069r4, requirements query-param-unknown and query-param-invalid).

use chrono::{DateTime, Utc};
use laywire_store::features::{Bounds, Collection, FeatureId, Filter, Holds, Property, Times, Wanted};

use crate::problem::Problem;

/// Features in a page unless it says how many.
const USUAL: u32 = 100;
/// Most features in a page; whoever asks for more gets so many (requirement fc-limit-response-1).
pub(super) const MOST: u32 = 1_000;

/// What is asked of a collection.
pub(crate) struct Ask {
    pub(crate) collection: &'static Collection,
    pub(crate) filter: Filter,
    pub(super) limit: u32,
    pub(super) after: Option<FeatureId>,
    /// As it was written, for the addresses of other pages.
    pairs: Vec<(String, String)>,
}

/// A name that somebody made up, bounded.
pub(super) fn short(text: &str) -> String {
    text.chars().filter(|c| !c.is_control() && !c.is_whitespace()).take(40).collect()
}

impl Ask {
    /// Reads the parameters of a collection.
    ///
    /// # Errors
    /// Which parameter is wrong, and what to give.
    pub(crate) fn read(
        collection: &'static Collection,
        pairs: Vec<(String, String)>,
    ) -> Result<Self, Problem> {
        let mut ask =
            Self { collection, filter: Filter::default(), limit: USUAL, after: None, pairs: Vec::new() };
        for (number, (name, value)) in pairs.iter().enumerate() {
            if pairs.iter().take(number).any(|(before, _)| before == name) {
                return Err(Problem::Query(format!("{}: it stands there twice; give it once", short(name))));
            }
            ask.take(name, value).map_err(|what| Problem::Query(format!("{}: {what}", short(name))))?;
        }
        ask.pairs = pairs;
        Ok(ask)
    }

    fn take(&mut self, name: &str, value: &str) -> Result<(), String> {
        match name {
            // Read where passes are checked.
            "seat" => {}
            "limit" => {
                let limit = value.parse::<u64>().ok().filter(|limit| *limit >= 1);
                let limit = limit.ok_or("it is no whole number from 1")?;
                self.limit = u32::try_from(limit).map_or(MOST, |limit| limit.min(MOST));
            }
            "after" => {
                let id =
                    value.parse().map_err(|()| "it is not what a link `next` gives; begin without it")?;
                self.after = Some(id);
            }
            "bbox" => self.filter.bounds = Some(bounds(value)?),
            "datetime" => self.filter.times = Some(times(value)?),
            _ => {
                let properties = self.collection.properties.iter();
                let property = properties
                    .clone()
                    .find(|property| property.name == name && !matches!(property.holds, Holds::Grid));
                let property = property.ok_or_else(|| {
                    let known = properties.filter(|property| !matches!(property.holds, Holds::Grid));
                    let known: Vec<&str> = known.map(|property| property.name).collect();
                    format!(
                        "it is not known here; there are limit, bbox, datetime, after and the properties {}",
                        known.join(", ")
                    )
                })?;
                self.filter.properties.push((property, wanted(property, value)?));
            }
        }
        Ok(())
    }

    /// The address of this page, or of the one after a feature.
    pub(super) fn address(&self, collection: &str, after: Option<FeatureId>) -> String {
        let mut query = form_urlencoded::Serializer::new(String::new());
        for (name, value) in self.pairs.iter().filter(|(name, _)| after.is_none() || name != "after") {
            query.append_pair(name, value);
        }
        if let Some(after) = after {
            query.append_pair("after", &after.to_string());
        }
        match query.finish() {
            query if query.is_empty() => format!("{collection}/items"),
            query => format!("{collection}/items?{query}"),
        }
    }
}

fn bounds(text: &str) -> Result<Bounds, String> {
    let figures: Vec<f64> = text
        .split(',')
        .take(7)
        .map(|part| part.trim().parse::<f64>().ok().filter(|figure| figure.is_finite()))
        .collect::<Option<_>>()
        .ok_or("its figures are numbers with commas between them")?;
    let (west, south, east, north) = match figures[..] {
        [west, south, east, north] => (west, south, east, north),
        // Nothing here has a height.
        [west, south, lowest, east, north, highest] if lowest <= highest => (west, south, east, north),
        [_, _, _, _, _, _] => {
            return Err("its third figure, the lowest height, is above the sixth".to_owned());
        }
        _ => return Err("give four figures, west, south, east, north, or six with heights".to_owned()),
    };
    if ![west, east].iter().all(|lon| (-180.0..=180.0).contains(lon)) {
        return Err("longitudes go from -180 to 180".to_owned());
    }
    if ![south, north].iter().all(|lat| (-90.0..=90.0).contains(lat)) {
        return Err("latitudes go from -90 to 90".to_owned());
    }
    if south > north {
        return Err("south lies north of north; give west, south, east, north".to_owned());
    }
    Ok(Bounds { west, south, east, north })
}

fn time(text: &str) -> Result<DateTime<Utc>, String> {
    let time = DateTime::parse_from_rfc3339(text).map(|time| time.to_utc());
    // A day by itself, as some programs write it, begins at midnight.
    let time =
        time.or_else(|_| DateTime::parse_from_rfc3339(&format!("{text}T00:00:00Z")).map(|day| day.to_utc()));
    let known = time.ok().filter(|time| (-62_135_596_800..253_402_300_800).contains(&time.timestamp()));
    known.ok_or_else(|| "a time is written as 2026-05-04T06:30:00Z".to_owned())
}

fn times(text: &str) -> Result<Times, String> {
    let Some((from, to)) = text.split_once('/') else {
        let at = Some(time(text)?);
        return Ok(Times { from: at, to: at });
    };
    let end = |text: &str| if matches!(text, "" | "..") { Ok(None) } else { time(text).map(Some) };
    let (from, to) = (end(from)?, end(to)?);
    match (from, to) {
        (Some(from), Some(to)) if from > to => Err("it ends before it begins".to_owned()),
        _ => Ok(Times { from, to }),
    }
}

fn wanted(property: &Property, text: &str) -> Result<Wanted, String> {
    match property.holds {
        Holds::OneOf(names) => {
            let names = names();
            if names.contains(&text) {
                Ok(Wanted::Text(text.to_owned()))
            } else {
                Err(format!("it is one of {}", names.join(", ")))
            }
        }
        // No text in the database is longer, and none has a zero in it.
        Holds::Text | Holds::Grid if text.len() <= 4_000 && !text.contains('\0') => {
            Ok(Wanted::Text(text.to_owned()))
        }
        Holds::Text | Holds::Grid => Err("no such text is kept; give a shorter one".to_owned()),
        Holds::Id => text.parse().map(Wanted::Id).map_err(|_| "it is an id (UUID)".to_owned()),
        Holds::Whole => text.parse().map(Wanted::Whole).map_err(|_| "it is a whole number".to_owned()),
        Holds::Number => {
            let number = text.parse::<f64>().ok().filter(|number| number.is_finite());
            number.map(Wanted::Number).ok_or_else(|| "it is a number".to_owned())
        }
        Holds::Flag => text.parse().map(Wanted::Flag).map_err(|_| "it is true or false".to_owned()),
        Holds::Time => time(text).map(Wanted::Time),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_box_may_lie_over_the_180th_meridian_and_may_have_heights() {
        assert_eq!(bounds("177,-20,-178,-16").unwrap(), bounds("177,-20,0,-178,-16,90").unwrap());
        for wrong in [
            "",
            "1,2,3",
            "1,2,3,4,5",
            "1,2,3,4,5,6,7",
            "0,5,0,4",
            "0,0,181,1",
            "0,-91,0,0",
            "NaN,0,1,1",
            "0,0,inf,1",
            "0,0,9,1,1,2",
            "a,b,c,d",
        ] {
            assert!(bounds(wrong).is_err(), "{wrong}");
        }
    }

    #[test]
    fn a_time_is_an_instant_or_a_stretch_that_may_be_open() {
        let at = |text: &str| Some(text.parse::<DateTime<Utc>>().unwrap());
        let six = "2026-05-04T06:00:00Z";
        assert_eq!(times(six).unwrap(), Times { from: at(six), to: at(six) });
        assert_eq!(times("2026-05-04T08:00:00+02:00/..").unwrap(), Times { from: at(six), to: None });
        assert_eq!(times("../2026-05-04T06:00:00Z").unwrap(), times("/2026-05-04T06:00:00Z").unwrap());
        assert_eq!(times("2026-05-04").unwrap().from, at("2026-05-04T00:00:00Z"));
        for wrong in
            ["", "yesterday", "2026-05-04T06:00:00", "2026-05-05/2026-05-04", "a/b", "+99999-01-01T00:00:00Z"]
        {
            assert!(times(wrong).is_err(), "{wrong}");
        }
    }
}
