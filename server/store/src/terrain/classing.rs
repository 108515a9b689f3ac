//! Says what an OpenStreetMap element is to a wire section: which kind of line, area or place, or none. Pure tables
//! over tags; it never reads a file or a position. The kinds are this project's words, the classes are OpenStreetMap's
//! own values; from which zoom a class is drawn is our choice, made so that a far view stays small.

use std::fmt;

use laywire_craft::foreseen::Structure;

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
    Hedge,
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
            Self::Hedge => "hedge",
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

/// What wire is led along. Walls and fences are left out: which of them a wire may be tied to, nobody can tell from a map.
const BARRIERS: &[Row] = &[("hedge", LineKind::Hedge, 14)];

/// The tags that say what an element is, taken from it in one walk.
#[derive(Clone, Copy, Debug, Default)]
pub(super) struct Tags<'a> {
    highway: Option<&'a str>,
    railway: Option<&'a str>,
    waterway: Option<&'a str>,
    power: Option<&'a str>,
    natural: Option<&'a str>,
    barrier: Option<&'a str>,
    landuse: Option<&'a str>,
    place: Option<&'a str>,
    relation_type: Option<&'a str>,
    bridge: Option<&'a str>,
    tunnel: Option<&'a str>,
    culvert: Option<&'a str>,
    layer: Option<&'a str>,
    width: Option<&'a str>,
    estimated_width: Option<&'a str>,
    lanes: Option<&'a str>,
    one_way: Option<&'a str>,
    junction: Option<&'a str>,
    voltage: Option<&'a str>,
    ford: Option<&'a str>,
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
                "barrier" => &mut tags.barrier,
                "landuse" => &mut tags.landuse,
                "place" => &mut tags.place,
                "type" => &mut tags.relation_type,
                "bridge" => &mut tags.bridge,
                "tunnel" => &mut tags.tunnel,
                "culvert" => &mut tags.culvert,
                "layer" => &mut tags.layer,
                "width" => &mut tags.width,
                "est_width" => &mut tags.estimated_width,
                "lanes" => &mut tags.lanes,
                "oneway" => &mut tags.one_way,
                "junction" => &mut tags.junction,
                "voltage" => &mut tags.voltage,
                "ford" => &mut tags.ford,
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
            row(BARRIERS, self.barrier),
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

    /// The spot that this node marks: where rails and a road or a path meet on one level, or where a way goes through water.
    pub(super) fn spot(&self) -> Option<&'static str> {
        match self.railway {
            Some("level_crossing") => Some("level_crossing"),
            Some("crossing") => Some("foot_crossing"),
            _ if self.ford.is_some_and(|value| value != "no") || self.highway == Some("ford") => Some("ford"),
            _ => None,
        }
    }

    /// The width in metres, where a mapper gave a plain number, with or without the unit. Measured goes before estimated.
    pub(super) fn width_m(&self) -> Option<f32> {
        let metres = self.width.or(self.estimated_width)?.trim().trim_end_matches('m').trim_end();
        metres.parse().ok().filter(|width| (0.1..=2000.0).contains(width))
    }

    /// How many lanes, both ways together.
    pub(super) fn lanes(&self) -> Option<i16> {
        self.lanes?.trim().parse().ok().filter(|lanes| (1..=20).contains(lanes))
    }

    /// Whether traffic goes one way, as on each half of a dual carriageway and round a roundabout. A one-way street drawn
    /// against its traffic (`-1`) is one too; which way it is drawn then tells nothing, so that it counts as none.
    pub(super) fn one_way(&self) -> bool {
        match self.one_way {
            Some("yes" | "true" | "1") => true,
            Some(_) => false,
            None => {
                matches!(self.junction, Some("roundabout" | "circular"))
                    || matches!(self.highway, Some("motorway" | "motorway_link"))
            }
        }
    }

    /// The highest of a power line's voltages, in volts. A railway's is another matter.
    pub(super) fn voltage_v(&self) -> Option<i32> {
        self.power?;
        let volts = self.voltage?.split(';').filter_map(|value| value.trim().parse().ok());
        volts.filter(|volts| (1..=2_000_000).contains(volts)).max()
    }

    /// Bridge, culvert or tunnel. A culvert is looked for first: it is the one a wire can be drawn through. A passage through
    /// a building is no tunnel: its traffic runs on the ground.
    pub(super) fn structure(&self) -> Option<Structure> {
        let said = |value: Option<&str>| value.is_some_and(|value| value != "no");
        if self.tunnel == Some("culvert") || said(self.culvert) {
            Some(Structure::Culvert)
        } else if said(self.bridge) {
            Some(Structure::Bridge)
        } else if said(self.tunnel) && self.tunnel != Some("building_passage") {
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
    fn wire_is_led_along_a_hedge_and_not_along_a_wall() {
        assert_eq!(words(&[("barrier", "hedge")]), [("hedge", "hedge")]);
        assert_eq!(words(&[("barrier", "wall")]), []);
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
            Tags::gather(pairs.iter().copied()).structure().map(Structure::as_str)
        };
        assert_eq!(structure(&[("tunnel", "culvert")]), Some("culvert"));
        assert_eq!(structure(&[("culvert", "yes"), ("bridge", "yes")]), Some("culvert"));
        assert_eq!(structure(&[("tunnel", "yes")]), Some("tunnel"));
        assert_eq!(structure(&[("tunnel", "building_passage")]), None);
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
    fn a_width_is_a_number_of_metres_or_unknown() {
        let width = |pairs: &[(&'static str, &'static str)]| Tags::gather(pairs.iter().copied()).width_m();
        assert_eq!(width(&[("width", "7.3")]), Some(7.3));
        assert_eq!(width(&[("width", "3 m"), ("est_width", "5")]), Some(3.0));
        assert_eq!(width(&[("est_width", "2")]), Some(2.0));
        for odd in ["", "narrow", "-3", "0", "1e9", "NaN", "2;3", "6'"] {
            assert_eq!(width(&[("width", odd)]), None, "{odd:?}");
        }
    }

    #[test]
    fn a_roundabout_and_a_motorway_go_one_way_unless_said_otherwise() {
        let one_way = |pairs: &[(&'static str, &'static str)]| Tags::gather(pairs.iter().copied()).one_way();
        assert!(one_way(&[("highway", "primary"), ("oneway", "yes")]));
        assert!(one_way(&[("highway", "primary"), ("junction", "roundabout")]));
        assert!(one_way(&[("highway", "motorway")]));
        assert!(!one_way(&[("highway", "primary")]));
        assert!(!one_way(&[("highway", "motorway_link"), ("oneway", "no")]));
        assert!(!one_way(&[("highway", "primary"), ("oneway", "-1")]));
    }

    #[test]
    fn a_power_line_has_the_highest_of_its_voltages() {
        let of = |key, value| Tags::gather([(key, "line"), ("voltage", value)].into_iter()).voltage_v();
        let voltage = |value| of("power", value);
        assert_eq!(of("railway", "550"), None);
        assert_eq!(voltage("33000"), Some(33_000));
        assert_eq!(voltage("33000;90000"), Some(90_000));
        assert_eq!(voltage("medium"), None);
        assert_eq!(voltage("99999999999"), None);
    }

    #[test]
    fn spots_are_where_a_way_meets_rails_or_water_on_one_level() {
        let spot = |key, value| Tags::gather([(key, value)].into_iter()).spot();
        assert_eq!(spot("railway", "level_crossing"), Some("level_crossing"));
        assert_eq!(spot("railway", "crossing"), Some("foot_crossing"));
        assert_eq!(spot("ford", "yes"), Some("ford"));
        assert_eq!(spot("ford", "no"), None);
        assert_eq!(spot("railway", "switch"), None);
    }

    #[test]
    fn free_text_loses_control_characters_and_is_cut_at_a_tags_length() {
        assert_eq!(FreeText("Lord\0 Street\n").to_string(), "Lord Street");
        assert_eq!(FreeText(&"ö".repeat(1000)).to_string().chars().count(), 255);
    }
}
