//! Says what an OpenStreetMap element is to a wire section: which kind of line, area or place, or none. Pure tables
//! over tags; it never reads a file or a position. The kinds are this project's words, the classes are OpenStreetMap's
//! own values; from which zoom a class is drawn is our choice, made so that a far view stays small.

use std::fmt;

/// What a line is, in the words that the map style and the planner use.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum LineKind {
    MainHighway,
    Road,
    DirtRoad,
    Path,
    Railway,
    Stream,
    PowerLine,
    Coast,
}

impl LineKind {
    pub(super) const fn word(self) -> &'static str {
        match self {
            Self::MainHighway => "main_highway",
            Self::Road => "road",
            Self::DirtRoad => "dirt_road",
            Self::Path => "path",
            Self::Railway => "railway",
            Self::Stream => "stream",
            Self::PowerLine => "power_line",
            Self::Coast => "coast",
        }
    }
}

/// What an area is.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum AreaKind {
    Water,
    Wood,
}

impl AreaKind {
    pub(super) const fn word(self) -> &'static str {
        match self {
            Self::Water => "water",
            Self::Wood => "wood",
        }
    }
}

/// A line's kind, its class (the OpenStreetMap value) and the zoom from which it is drawn.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Line {
    pub(super) kind: LineKind,
    pub(super) class: &'static str,
    pub(super) from_zoom: i16,
}

/// An area's kind and class. From which zoom it is drawn depends on its size, which tags do not tell.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Area {
    pub(super) kind: AreaKind,
    pub(super) class: &'static str,
}

/// A place's kind, its rank among places (1 is the greatest) and the zoom from which it is named.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Place {
    pub(super) kind: &'static str,
    pub(super) rank: i16,
    pub(super) from_zoom: i16,
}

/// How a line passes what it meets.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Structure {
    Bridge,
    Culvert,
    Tunnel,
}

impl Structure {
    pub(super) const fn word(self) -> &'static str {
        match self {
            Self::Bridge => "bridge",
            Self::Culvert => "culvert",
            Self::Tunnel => "tunnel",
        }
    }
}

/// A class as a table row: the OpenStreetMap value, the kind it belongs to, the zoom from which it is drawn.
type Row = (&'static str, LineKind, i16);

/// Left out: what is planned or torn up (`proposed`, `razed` …), what is inside buildings (`corridor`, `elevator`) and
/// what is no way at all (`platform`, `bus_stop`, `rest_area`, `services`). A road under construction is kept: its
/// traffic is the heaviest.
const HIGHWAYS: &[Row] = &[
    ("motorway", LineKind::MainHighway, 5),
    ("trunk", LineKind::MainHighway, 5),
    ("primary", LineKind::MainHighway, 5),
    ("motorway_link", LineKind::MainHighway, 9),
    ("trunk_link", LineKind::MainHighway, 9),
    ("primary_link", LineKind::MainHighway, 9),
    ("secondary", LineKind::Road, 9),
    ("tertiary", LineKind::Road, 10),
    ("secondary_link", LineKind::Road, 11),
    ("tertiary_link", LineKind::Road, 11),
    ("unclassified", LineKind::Road, 11),
    ("residential", LineKind::Road, 12),
    ("living_street", LineKind::Road, 12),
    ("road", LineKind::Road, 12),
    ("construction", LineKind::Road, 12),
    ("busway", LineKind::Road, 12),
    ("bus_guideway", LineKind::Road, 12),
    ("raceway", LineKind::Road, 13),
    ("escape", LineKind::Road, 13),
    ("service", LineKind::Road, 13),
    ("track", LineKind::DirtRoad, 12),
    ("byway", LineKind::DirtRoad, 12),
    ("pedestrian", LineKind::Path, 13),
    ("footway", LineKind::Path, 13),
    ("path", LineKind::Path, 13),
    ("cycleway", LineKind::Path, 13),
    ("bridleway", LineKind::Path, 13),
    ("steps", LineKind::Path, 13),
];

/// A disused railway is kept under its own class: its rails lie there and may carry a works trolley, so the rule for
/// railways holds until somebody has looked. An abandoned one has no rails and is left out, as are stations and
/// platforms. `yes` says 'a railway' without saying which, and is kept for the same reason.
const RAILWAYS: &[Row] = &[
    ("rail", LineKind::Railway, 9),
    ("light_rail", LineKind::Railway, 9),
    ("narrow_gauge", LineKind::Railway, 9),
    ("preserved", LineKind::Railway, 9),
    ("funicular", LineKind::Railway, 9),
    ("monorail", LineKind::Railway, 9),
    ("tram", LineKind::Railway, 11),
    ("subway", LineKind::Railway, 11),
    ("construction", LineKind::Railway, 11),
    ("disused", LineKind::Railway, 11),
    ("yes", LineKind::Railway, 11),
    ("miniature", LineKind::Railway, 13),
];

/// Flowing water only: dams, weirs, docks and the like are structures in it or areas of it.
const WATERWAYS: &[Row] = &[
    ("river", LineKind::Stream, 9),
    ("canal", LineKind::Stream, 9),
    ("stream", LineKind::Stream, 12),
    ("drain", LineKind::Stream, 13),
    ("ditch", LineKind::Stream, 13),
];

/// Overhead lines. Buried cables are not drawn: the map is no leave to dig.
const POWER: &[Row] = &[("line", LineKind::PowerLine, 11), ("minor_line", LineKind::PowerLine, 13)];

const COAST: &[Row] = &[("coastline", LineKind::Coast, 5)];

/// The tags that say what an element is, taken from it in one walk.
#[derive(Clone, Copy, Debug, Default)]
pub(super) struct Tags<'a> {
    highway: Option<&'a str>,
    railway: Option<&'a str>,
    waterway: Option<&'a str>,
    power: Option<&'a str>,
    natural: Option<&'a str>,
    landuse: Option<&'a str>,
    place: Option<&'a str>,
    relation_type: Option<&'a str>,
    bridge: Option<&'a str>,
    tunnel: Option<&'a str>,
    culvert: Option<&'a str>,
    layer: Option<&'a str>,
    pub(super) surface: Option<&'a str>,
    pub(super) name: Option<&'a str>,
    pub(super) reference: Option<&'a str>,
}

impl<'a> Tags<'a> {
    pub(super) fn gather(pairs: impl Iterator<Item = (&'a str, &'a str)>) -> Self {
        let mut tags = Self::default();
        for (key, value) in pairs {
            let slot = match key {
                "highway" => &mut tags.highway,
                "railway" => &mut tags.railway,
                "waterway" => &mut tags.waterway,
                "power" => &mut tags.power,
                "natural" => &mut tags.natural,
                "landuse" => &mut tags.landuse,
                "place" => &mut tags.place,
                "type" => &mut tags.relation_type,
                "bridge" => &mut tags.bridge,
                "tunnel" => &mut tags.tunnel,
                "culvert" => &mut tags.culvert,
                "layer" => &mut tags.layer,
                "surface" => &mut tags.surface,
                "name" => &mut tags.name,
                "ref" => &mut tags.reference,
                _ => continue,
            };
            *slot = Some(value);
        }
        tags
    }

    /// Every kind of line that this way is: a street with a tramway is two.
    pub(super) fn lines(&self) -> impl Iterator<Item = Line> + use<> {
        [
            row(HIGHWAYS, self.highway),
            row(RAILWAYS, self.railway),
            row(WATERWAYS, self.waterway),
            row(POWER, self.power),
            row(COAST, self.natural),
        ]
        .into_iter()
        .flatten()
    }

    /// The area that this way encloses if it is closed, or that this relation's members enclose.
    pub(super) fn area(&self) -> Option<Area> {
        let water = |class| Some(Area { kind: AreaKind::Water, class });
        let wood = |class| Some(Area { kind: AreaKind::Wood, class });
        match (self.natural, self.landuse, self.waterway) {
            (Some("water"), _, _) => water("water"),
            (_, Some("reservoir"), _) => water("reservoir"),
            (_, _, Some("riverbank")) => water("riverbank"),
            (Some("wood"), _, _) => wood("wood"),
            (_, Some("forest"), _) => wood("forest"),
            _ => None,
        }
    }

    /// The area of a relation, which must also say that its members are rings.
    pub(super) fn multipolygon(&self) -> Option<Area> {
        if self.relation_type == Some("multipolygon") { self.area() } else { None }
    }

    /// The place that this node names.
    pub(super) fn place(&self) -> Option<Place> {
        let (kind, rank, from_zoom) = match self.place? {
            "city" => ("city", 1, 5),
            "town" => ("town", 2, 7),
            "village" => ("village", 3, 10),
            "hamlet" => ("hamlet", 4, 12),
            "locality" => ("locality", 5, 13),
            _ => return None,
        };
        Some(Place { kind, rank, from_zoom })
    }

    /// Bridge, culvert or tunnel. A culvert is looked for first: it is the one a wire can be drawn through.
    pub(super) fn structure(&self) -> Option<Structure> {
        let said = |value: Option<&str>| value.is_some_and(|value| value != "no");
        if self.tunnel == Some("culvert") || said(self.culvert) {
            Some(Structure::Culvert)
        } else if said(self.bridge) {
            Some(Structure::Bridge)
        } else if said(self.tunnel) {
            Some(Structure::Tunnel)
        } else {
            None
        }
    }

    /// The level above or below the ground, where it is a number that the map knows (−5 to 5 by its convention; twice
    /// that is let pass).
    pub(super) fn layer(&self) -> Option<i16> {
        self.layer?.trim().parse().ok().filter(|layer| (-10..=10).contains(layer))
    }
}

fn row(table: &[Row], value: Option<&str>) -> Option<Line> {
    let value = value?;
    table.iter().find(|(class, ..)| *class == value).map(|&(class, kind, from_zoom)| Line {
        kind,
        class,
        from_zoom,
    })
}

/// OpenStreetMap's own limit on the length of a tag's value, in characters.
const LONGEST_TEXT: usize = 255;

/// A mapper's free text, made fit to store and show: no control characters, no longer than a tag may be.
#[derive(Clone, Copy, Debug)]
pub(super) struct FreeText<'a>(pub(super) &'a str);

impl fmt::Display for FreeText<'_> {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        use fmt::Write as _;
        self.0.chars().filter(|c| !c.is_control()).take(LONGEST_TEXT).try_for_each(|c| f.write_char(c))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn words(pairs: &[(&'static str, &'static str)]) -> Vec<(&'static str, &'static str)> {
        Tags::gather(pairs.iter().copied()).lines().map(|line| (line.kind.word(), line.class)).collect()
    }

    #[test]
    fn a_street_with_a_tramway_is_a_road_and_a_railway() {
        assert_eq!(
            words(&[("highway", "residential"), ("railway", "tram")]),
            [("road", "residential"), ("railway", "tram")]
        );
    }

    #[test]
    fn a_disused_railway_is_still_a_railway_and_an_abandoned_one_is_not() {
        assert_eq!(words(&[("railway", "disused")]), [("railway", "disused")]);
        assert_eq!(words(&[("railway", "abandoned"), ("highway", "footway")]), [("path", "footway")]);
    }

    #[test]
    fn what_is_no_way_on_the_ground_is_left_out() {
        for (key, value) in [
            ("highway", "proposed"),
            ("highway", "platform"),
            ("railway", "station"),
            ("waterway", "dam"),
            ("power", "cable"),
            ("natural", "cliff"),
            ("route", "ferry"),
        ] {
            assert_eq!(words(&[(key, value)]), [], "{key}={value}");
        }
    }

    #[test]
    fn a_culvert_is_told_from_a_tunnel_and_no_is_not_yes() {
        let structure = |pairs: &[(&'static str, &'static str)]| {
            Tags::gather(pairs.iter().copied()).structure().map(Structure::word)
        };
        assert_eq!(structure(&[("tunnel", "culvert")]), Some("culvert"));
        assert_eq!(structure(&[("culvert", "yes"), ("bridge", "yes")]), Some("culvert"));
        assert_eq!(structure(&[("tunnel", "building_passage")]), Some("tunnel"));
        assert_eq!(structure(&[("bridge", "viaduct")]), Some("bridge"));
        assert_eq!(structure(&[("bridge", "no"), ("tunnel", "no"), ("culvert", "no")]), None);
    }

    #[test]
    fn a_layer_is_a_small_number_or_unknown() {
        let layer = |value| Tags::gather([("layer", value)].into_iter()).layer();
        assert_eq!(layer("-1"), Some(-1));
        assert_eq!(layer(" 2 "), Some(2));
        for odd in ["", "1;2", "-32768", "99", "1e1", "ground"] {
            assert_eq!(layer(odd), None, "{odd:?}");
        }
    }

    #[test]
    fn free_text_loses_control_characters_and_is_cut_at_a_tags_length() {
        assert_eq!(FreeText("Lord\0 Street\n").to_string(), "Lord Street");
        assert_eq!(FreeText(&"ö".repeat(1000)).to_string().chars().count(), 255);
    }
}
