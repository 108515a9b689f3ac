//! Grid references: a place as the letters and figures that are spoken over the wire and found on a gridded map (MGRS),
//! and the metres of easting and northing under them (UTM between 80° S and 84° N, UPS about the poles), both ways.
//! It knows no datum but WGS 84 and draws no grid. Rules of zones, bands and squares: NGA.STND.0037 (the universal grids
//! and the transverse Mercator and polar stereographic map projections); the transverse Mercator is Krüger's series to
//! the sixth order (Karney, Transverse Mercator with an accuracy of a few nanometers, J. Geodesy 85, 2011).
//!
//! A reference names the square in which a place lies, so figures are cut off and never rounded, and the band is that of
//! the place itself. Within a few nanometres of a grid line, which are the series' own error, the last metre may fall on
//! either side of it.
//! The standards and papers named here are cited from memory; what holds the figures to account are the published tables in the
//! tests.

use std::fmt;
use std::str::FromStr;

use serde::{Deserialize, Serialize};
use utoipa::openapi::schema::Schema;
use utoipa::openapi::{ObjectBuilder, RefOr, Type};
use utoipa::{PartialSchema, ToSchema};

use crate::geodesy::{EQUATORIAL_RADIUS_M, FLATTENING, Position, sin_cos_degrees};
use crate::units::{Metres, OutOfRange, within};

/// The side of a lettered square.
const SQUARE_M: u32 = 100_000;
/// Bands of 8° from 80° S; the last, X, is 12° high and ends at 84° N.
const BANDS: &[u8] = b"CDEFGHJKLMNPQRSTUVWX";
/// Letters of squares from west to east: eight of them for each of three zones in turn.
const COLUMNS: [&[u8]; 3] = [b"ABCDEFGH", b"JKLMNPQR", b"STUVWXYZ"];
/// Letters of squares from south to north: they begin anew every 2000 km, and even zones are five letters ahead.
const ROWS: &[u8] = b"ABCDEFGHJKLMNPQRSTUV";
const EVEN_ZONE_ROWS_AHEAD: usize = 5;

/// The false easting of every UTM zone, and the false northing of its southern half, in metres.
const FALSE_EASTING_M: f64 = 500_000.0;
const FALSE_NORTHING_M: f64 = 10_000_000.0;
const UTM_SCALE: f64 = 0.9996;
/// Both false coordinates of UPS, in metres.
const POLE_M: f64 = 2_000_000.0;
const UPS_SCALE: f64 = 0.994;

/// The longest text that is looked at. The longest reference has 15 letters and figures; the rest is room for spaces.
const MOST_TEXT: usize = 40;

/// Why something is not a grid reference, or not grid coordinates.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum GridError {
    /// Nothing but spaces.
    #[error("there is no grid reference; write one such as 30U VF 02946 01487")]
    Empty,
    /// Far longer than any reference.
    #[error("a grid reference has at most 15 letters and figures; this text is {length} characters long")]
    TooLong {
        /// The text's length in characters.
        length: usize,
    },
    /// A character that no reference has.
    #[error("'{found}' has no place in a grid reference; it has letters A to Z and figures 0 to 9 only")]
    Character {
        /// The first such character.
        found: char,
    },
    /// A zone's number that is not 1 to 60.
    #[error("zone {found} does not exist; zones run from 1 to 60, and near the poles there is no number")]
    Zone {
        /// The figures where the zone stands.
        found: String,
    },
    /// The text stops before the reference is whole.
    #[error(
        "the grid reference stops after '{read}'; it needs zone and band, two letters for the square, and figures"
    )]
    Unfinished {
        /// What was read.
        read: String,
    },
    /// A letter that names no band of latitude there.
    #[error(
        "'{found}' is no band here; after a zone's number stands one of C to X, and A, B, Y or Z only without one"
    )]
    Band {
        /// What stands where the band should.
        found: char,
    },
    /// A zone that makes way for its wider neighbours north of 72° N.
    #[error(
        "zone {zone}X does not exist: about Svalbard zones 31, 33, 35 and 37 are wider and take its place"
    )]
    NoSvalbardZone {
        /// The zone's number.
        zone: u8,
    },
    /// Two letters that name no square in that zone and band.
    #[error("there is no square '{square}' in {designation}; check both letters and what stands before them")]
    Square {
        /// The two letters, or what stands in their place.
        square: String,
        /// Zone and band.
        designation: String,
    },
    /// Figures that are not two equal groups of one to five.
    #[error(
        "{easting} figures east and {northing} north make no reference; give as many for both, 1 to 5 each"
    )]
    Figures {
        /// How many figures stand for the easting.
        easting: usize,
        /// How many stand for the northing.
        northing: usize,
    },
    /// Letters among the figures, or figures in more than two groups.
    #[error(
        "'{found}' can't be read as easting and northing; write them together or as two groups of figures"
    )]
    Groups {
        /// What follows the square's letters.
        found: String,
    },
    /// Metres that lie outside the grid.
    #[error(transparent)]
    OutOfRange(#[from] OutOfRange),
}

/// How finely a grid reference tells a place: the number of figures in each of its two groups.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum Precision {
    /// One figure each.
    TenKilometres = 1,
    /// Two figures each.
    Kilometre = 2,
    /// Three figures each.
    HundredMetres = 3,
    /// Four figures each.
    TenMetres = 4,
    /// Five figures each.
    Metre = 5,
}

impl Precision {
    /// Every precision, the coarsest first.
    pub const ALL: [Self; 5] =
        [Self::TenKilometres, Self::Kilometre, Self::HundredMetres, Self::TenMetres, Self::Metre];

    /// Figures in each group.
    #[must_use]
    pub const fn figures(self) -> usize {
        self as usize
    }

    /// The side of the square that is named.
    #[must_use]
    pub fn side(self) -> Metres {
        Metres::bounded(f64::from(self.side_m()))
    }

    const fn side_m(self) -> u32 {
        SQUARE_M / 10_u32.pow(self as u32)
    }
}

/// One half of the Earth.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum Hemisphere {
    /// North of the equator, and the equator itself.
    North,
    /// South of the equator.
    South,
}

/// The projection that eastings and northings belong to.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
enum Zone {
    /// UTM, with the zone's number from 1 to 60.
    Utm(u8),
    /// UPS, about either pole.
    Polar,
}

/// Easting and northing in the zone to which a place belongs.
///
/// # Source
/// Route A's start by pyproj 3.7.2 (EPSG:32630); `tests/reckoning/grid.rs` holds the published table.
///
/// ```
/// use laywire_craft::{geodesy::Position, grid::GridCoordinates};
/// let start = GridCoordinates::of(Position::new(-4.67, 54.08)?);
/// assert_eq!(start.to_string(), "zone 30 north, 390747 m E, 5993712 m N");
/// # Ok::<(), laywire_craft::units::OutOfRange>(())
/// ```
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct GridCoordinates {
    zone: Zone,
    hemisphere: Hemisphere,
    easting_m: f64,
    northing_m: f64,
}

impl GridCoordinates {
    /// Coordinates in a UTM zone.
    ///
    /// # Errors
    /// A zone that is not 1 to 60; an easting outside 100 to 900 km; a northing outside 0 to 9500 km north of the
    /// equator, or 1000 to 10 000 km south of it.
    pub fn utm(
        zone: u8,
        hemisphere: Hemisphere,
        easting: Metres,
        northing: Metres,
    ) -> Result<Self, GridError> {
        if !(1..=60).contains(&zone) {
            return Err(GridError::Zone { found: zone.to_string() });
        }
        let (least, most) = match hemisphere {
            Hemisphere::North => (0.0, 9_500_000.0),
            Hemisphere::South => (1_000_000.0, FALSE_NORTHING_M),
        };
        let easting_m = within("an easting in metres", easting.value(), 100_000.0, 900_000.0)?;
        let northing_m = within("a northing in metres", northing.value(), least, most)?;
        Ok(Self { zone: Zone::Utm(zone), hemisphere, easting_m, northing_m })
    }

    /// Coordinates of UPS, about a pole.
    ///
    /// # Errors
    /// A figure outside 1300 to 2700 km in the north, or 800 to 3200 km in the south.
    pub fn ups(hemisphere: Hemisphere, easting: Metres, northing: Metres) -> Result<Self, GridError> {
        let (least, most) = match hemisphere {
            Hemisphere::North => (1_300_000.0, 2_700_000.0),
            Hemisphere::South => (800_000.0, 3_200_000.0),
        };
        let easting_m = within("an easting in metres", easting.value(), least, most)?;
        let northing_m = within("a northing in metres", northing.value(), least, most)?;
        Ok(Self { zone: Zone::Polar, hemisphere, easting_m, northing_m })
    }

    /// The coordinates of a place in the zone to which it belongs.
    #[must_use]
    pub fn of(position: Position) -> Self {
        let hemisphere = if position.lat() < 0.0 { Hemisphere::South } else { Hemisphere::North };
        let zone = Zone::of(position);
        let (easting_m, northing_m) = match (zone, hemisphere) {
            (Zone::Polar, _) => ups_forward(position, hemisphere),
            (Zone::Utm(number), Hemisphere::North) => utm_forward(position, number),
            (Zone::Utm(number), Hemisphere::South) => {
                let (easting_m, from_equator_m) = utm_forward(position, number);
                // A place less than a nanometre south of the equator stays south of it.
                (easting_m, (from_equator_m + FALSE_NORTHING_M).min(FALSE_NORTHING_M.next_down()))
            }
        };
        Self { zone, hemisphere, easting_m, northing_m }
    }

    /// The place that has these coordinates.
    #[must_use]
    pub fn position(self) -> Position {
        match (self.zone, self.hemisphere) {
            (Zone::Polar, hemisphere) => ups_reverse(self.easting_m, self.northing_m, hemisphere),
            (Zone::Utm(number), Hemisphere::North) => utm_reverse(self.easting_m, self.northing_m, number),
            (Zone::Utm(number), Hemisphere::South) => {
                utm_reverse(self.easting_m, self.northing_m - FALSE_NORTHING_M, number)
            }
        }
    }

    /// The UTM zone's number; none about the poles.
    #[must_use]
    pub const fn zone(self) -> Option<u8> {
        match self.zone {
            Zone::Utm(number) => Some(number),
            Zone::Polar => None,
        }
    }

    /// The half of the Earth in which northings are counted.
    #[must_use]
    pub const fn hemisphere(self) -> Hemisphere {
        self.hemisphere
    }

    /// Metres east.
    #[must_use]
    pub fn easting(self) -> Metres {
        Metres::bounded(self.easting_m)
    }

    /// Metres north.
    #[must_use]
    pub fn northing(self) -> Metres {
        Metres::bounded(self.northing_m)
    }
}

impl fmt::Display for GridCoordinates {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self.zone {
            Zone::Utm(number) => write!(f, "zone {number} ")?,
            Zone::Polar => f.write_str("polar ")?,
        }
        let half = match self.hemisphere {
            Hemisphere::North => "north",
            Hemisphere::South => "south",
        };
        write!(f, "{half}, {:.0} m E, {:.0} m N", self.easting_m.floor(), self.northing_m.floor())
    }
}

/// A grid reference: zone and band, the letters of a 100 km square, and figures within it.
///
/// On the wire it is the usual text without spaces; [`spaced`](Self::spaced) is the same text for screens. It is read
/// with or without spaces and in either case of letters.
///
/// # Source
/// The figure below is a line of GEOTRANS 3.9's own output; `tests/reckoning/grid.rs` holds the table.
///
/// ```
/// use laywire_craft::{geodesy::Position, grid::{GridReference, Precision}};
/// let there = Position::new(49.324_809, 76.463_946)?;
/// let reference = GridReference::of(there, Precision::Metre);
/// assert_eq!(reference.to_string(), "39XVE5623787577");
/// assert_eq!(reference.spaced(), "39X VE 56237 87577");
/// assert_eq!("39x ve 562 875".parse(), Ok(reference.at(Precision::HundredMetres)));
/// # Ok::<(), laywire_craft::units::OutOfRange>(())
/// ```
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(try_from = "String", into = "String")]
pub struct GridReference {
    zone: Zone,
    hemisphere: Hemisphere,
    band: u8,
    /// The corner of the small square that is named, in whole metres of the zone's coordinates.
    easting_m: u32,
    northing_m: u32,
    precision: Precision,
}

impl GridReference {
    /// The reference of a place.
    #[must_use]
    pub fn of(position: Position, precision: Precision) -> Self {
        let GridCoordinates { zone, hemisphere, easting_m, northing_m } = GridCoordinates::of(position);
        let (easting_m, northing_m) = (cut(easting_m), cut(northing_m));
        let band = match zone {
            Zone::Utm(_) => BANDS[band_index(position.lat())],
            Zone::Polar => Cap::under(hemisphere, easting_m).band,
        };
        Self { zone, hemisphere, band, easting_m, northing_m, precision: Precision::Metre }.at(precision)
    }

    /// The same place told more coarsely; a finer precision than the reference has changes nothing.
    #[must_use]
    pub fn at(self, precision: Precision) -> Self {
        let precision = self.precision.min(precision);
        let cut = |metres: u32| metres - metres % precision.side_m();
        Self { easting_m: cut(self.easting_m), northing_m: cut(self.northing_m), precision, ..self }
    }

    /// How finely it tells the place.
    #[must_use]
    pub const fn precision(self) -> Precision {
        self.precision
    }

    /// The south-west corner of the square that is named.
    #[must_use]
    pub fn corner(self) -> Position {
        self.inset(0.0).position()
    }

    /// The middle of the square that is named: where to look for something that is known by its reference alone.
    #[must_use]
    pub fn centre(self) -> Position {
        self.inset(f64::from(self.precision.side_m()) / 2.0).position()
    }

    /// The text with a space between its parts, for screens: `30U VF 02946 01487`.
    #[must_use]
    pub fn spaced(self) -> String {
        self.text(" ")
    }

    fn inset(self, metres: f64) -> GridCoordinates {
        GridCoordinates {
            zone: self.zone,
            hemisphere: self.hemisphere,
            easting_m: f64::from(self.easting_m) + metres,
            northing_m: f64::from(self.northing_m) + metres,
        }
    }

    fn text(self, space: &str) -> String {
        let [column, row] = [self.easting_m, self.northing_m].map(|metres| (metres / SQUARE_M) as usize);
        let (column, row) = match self.zone {
            Zone::Utm(zone) => {
                (utm_columns(zone)[column - 1], ROWS[(row + utm_rows_ahead(zone)) % ROWS.len()])
            }
            Zone::Polar => {
                let cap = Cap::under(self.hemisphere, self.easting_m);
                (cap.columns[column - cap.first_column], cap.rows[row - cap.first_row])
            }
        };
        let [band, column, row] = [self.band, column, row].map(char::from);
        let mut text = self.zone.to_string();
        text.push(band);
        text.push_str(space);
        text.extend([column, row]);
        for metres in [self.easting_m, self.northing_m] {
            text.push_str(space);
            // From the square's kilometres of ten down to the precision, a figure at a time.
            let mut unit = SQUARE_M / 10;
            while unit >= self.precision.side_m() {
                text.extend(char::from_digit(metres / unit % 10, 10));
                unit /= 10;
            }
        }
        text
    }
}

impl fmt::Display for GridReference {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.pad(&self.text(""))
    }
}

impl From<GridReference> for String {
    fn from(reference: GridReference) -> Self {
        reference.to_string()
    }
}

impl TryFrom<String> for GridReference {
    type Error = GridError;
    fn try_from(text: String) -> Result<Self, GridError> {
        text.parse()
    }
}

impl PartialSchema for GridReference {
    fn schema() -> RefOr<Schema> {
        ObjectBuilder::new()
            .schema_type(Type::String)
            .max_length(Some(MOST_TEXT))
            .description(Some("A grid reference (MGRS), with or without spaces, to 1 m at the finest and 10 km at the coarsest."))
            .examples(["30UVF0294601487"])
            .into()
    }
}

impl ToSchema for GridReference {}

impl FromStr for GridReference {
    type Err = GridError;

    fn from_str(text: &str) -> Result<Self, GridError> {
        let length = text.chars().count();
        if length > MOST_TEXT {
            return Err(GridError::TooLong { length });
        }
        if let Some(found) = text.chars().find(|c| !c.is_ascii_alphanumeric() && !c.is_whitespace()) {
            return Err(GridError::Character { found });
        }
        let text = text.trim().to_ascii_uppercase();
        if text.is_empty() {
            return Err(GridError::Empty);
        }
        let unfinished = || GridError::Unfinished { read: text.clone() };

        let after_zone = text.trim_start_matches(|c: char| c.is_ascii_digit());
        let zone = Zone::named(&text[..text.len() - after_zone.len()])?;
        let (band, after_band) = take_letter(after_zone).ok_or_else(unfinished)?;
        let (column, after_column) = take_letter(after_band).ok_or_else(unfinished)?;
        let (row, figures) = take_letter(after_column).ok_or_else(unfinished)?;
        let square = Square::find(zone, band, column, row)?;
        let (inside_east_m, inside_north_m, precision) =
            read_figures(figures.trim())?.ok_or_else(unfinished)?;
        Ok(Self {
            zone,
            hemisphere: square.hemisphere,
            band,
            easting_m: square.easting_m + inside_east_m,
            northing_m: square.northing_m + inside_north_m,
            precision,
        })
    }
}

/// The next sign of a reference and what follows it, whatever spaces stand before it.
fn take_letter(text: &str) -> Option<(u8, &str)> {
    let (letter, rest) = text.trim_start().split_at_checked(1)?;
    Some((letter.as_bytes()[0], rest))
}

/// Metres east and north inside the square; none when no figures stand there.
fn read_figures(text: &str) -> Result<Option<(u32, u32, Precision)>, GridError> {
    let groups = || GridError::Groups { found: text.to_owned() };
    let parts: Vec<&str> = text.split_whitespace().collect();
    let (easting, northing) = match parts[..] {
        [] => return Ok(None),
        [both] => both.split_at(both.len().div_ceil(2)),
        [easting, northing] => (easting, northing),
        _ => return Err(groups()),
    };
    if parts.iter().any(|part| part.bytes().any(|sign| !sign.is_ascii_digit())) {
        return Err(groups());
    }
    let precision = Precision::ALL
        .into_iter()
        .find(|precision| precision.figures() == easting.len() && easting.len() == northing.len())
        .ok_or(GridError::Figures { easting: easting.len(), northing: northing.len() })?;
    let metres = |figures: &str| {
        figures.parse::<u32>().map(|figures| figures * precision.side_m()).map_err(|_| groups())
    };
    Ok(Some((metres(easting)?, metres(northing)?, precision)))
}

impl Zone {
    /// The zone to which a place belongs, with the exceptions of Norway (32V) and Svalbard (31X to 37X).
    fn of(position: Position) -> Self {
        let (lon, lat) = (position.lon(), position.lat());
        if !(-80.0..84.0).contains(&lat) {
            return Self::Polar;
        }
        let regular = whole((lon + 180.0) / 6.0) % 60 + 1;
        Self::Utm(match lon {
            _ if (56.0..64.0).contains(&lat) && (3.0..12.0).contains(&lon) => 32,
            _ if lat < 72.0 => regular,
            _ if (0.0..9.0).contains(&lon) => 31,
            _ if (9.0..21.0).contains(&lon) => 33,
            _ if (21.0..33.0).contains(&lon) => 35,
            _ if (33.0..42.0).contains(&lon) => 37,
            _ => regular,
        })
    }

    /// The zone that figures name; none stand before a polar reference.
    fn named(figures: &str) -> Result<Self, GridError> {
        match figures.parse::<u8>() {
            _ if figures.is_empty() => Ok(Self::Polar),
            Ok(zone @ 1..=60) if figures.len() <= 2 => Ok(Self::Utm(zone)),
            _ => Err(GridError::Zone { found: figures.to_owned() }),
        }
    }
}

impl fmt::Display for Zone {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Utm(zone) => write!(f, "{zone:02}"),
            Self::Polar => Ok(()),
        }
    }
}

/// One half of a polar cap, with the letters of its squares from its west and south edges.
struct Cap {
    band: u8,
    hemisphere: Hemisphere,
    /// Eastings of its squares begin at this many times 100 km.
    first_column: usize,
    columns: &'static [u8],
    first_row: usize,
    rows: &'static [u8],
}

const CAPS: [Cap; 4] = [
    Cap {
        band: b'A',
        hemisphere: Hemisphere::South,
        first_column: 8,
        columns: b"JKLPQRSTUXYZ",
        first_row: 8,
        rows: b"ABCDEFGHJKLMNPQRSTUVWXYZ",
    },
    Cap {
        band: b'B',
        hemisphere: Hemisphere::South,
        first_column: 20,
        columns: b"ABCFGHJKLPQR",
        first_row: 8,
        rows: b"ABCDEFGHJKLMNPQRSTUVWXYZ",
    },
    Cap {
        band: b'Y',
        hemisphere: Hemisphere::North,
        first_column: 13,
        columns: b"RSTUXYZ",
        first_row: 13,
        rows: b"ABCDEFGHJKLMNP",
    },
    Cap {
        band: b'Z',
        hemisphere: Hemisphere::North,
        first_column: 20,
        columns: b"ABCFGHJ",
        first_row: 13,
        rows: b"ABCDEFGHJKLMNP",
    },
];

impl Cap {
    /// The half of a pole's cap in which an easting lies; the meridians of 0° and 180° belong to the eastern one.
    fn under(hemisphere: Hemisphere, easting_m: u32) -> &'static Self {
        let [south_west, south_east, north_west, north_east] = &CAPS;
        match (hemisphere, f64::from(easting_m) < POLE_M) {
            (Hemisphere::South, true) => south_west,
            (Hemisphere::South, false) => south_east,
            (Hemisphere::North, true) => north_west,
            (Hemisphere::North, false) => north_east,
        }
    }
}

/// The south-west corner of a lettered square.
struct Square {
    hemisphere: Hemisphere,
    easting_m: u32,
    northing_m: u32,
}

impl Square {
    /// The square that two letters name in a zone and band. It must have ground in that band; it may lie beyond the
    /// zone's edge, because crews who work across an edge keep to one zone's grid.
    fn find(zone: Zone, band: u8, column: u8, row: u8) -> Result<Self, GridError> {
        let no_band = || GridError::Band { found: char::from(band) };
        let no_square = || GridError::Square {
            square: [column, row].map(char::from).iter().collect(),
            designation: format!("{zone}{}", char::from(band)),
        };
        let place =
            |letters: &[u8], letter: u8| letters.iter().position(|&l| l == letter).ok_or_else(no_square);
        let edge = |index: usize| u32::try_from(index).unwrap_or(0) * SQUARE_M;
        let Zone::Utm(number) = zone else {
            let cap = CAPS.iter().find(|cap| cap.band == band).ok_or_else(no_band)?;
            let square = Self {
                hemisphere: cap.hemisphere,
                easting_m: edge(cap.first_column + place(cap.columns, column)?),
                northing_m: edge(cap.first_row + place(cap.rows, row)?),
            };
            return if square.meets_cap() { Ok(square) } else { Err(no_square()) };
        };
        let band_index = BANDS.iter().position(|&b| b == band).ok_or_else(no_band)?;
        if band == b'X' && matches!(number, 32 | 34 | 36) {
            return Err(GridError::NoSvalbardZone { zone: number });
        }
        let easting_m = edge(1 + place(utm_columns(number), column)?);
        let first_row = (place(ROWS, row)? + ROWS.len() - utm_rows_ahead(number)) % ROWS.len();
        let hemisphere = if band < b'N' { Hemisphere::South } else { Hemisphere::North };
        (first_row..100)
            .step_by(ROWS.len())
            .map(|row| Self { hemisphere, easting_m, northing_m: edge(row) })
            .find(|square| square.meets_band(band_index))
            .ok_or_else(no_square)
    }

    /// Whether some of it lies in a band. Parallels bend away from the equator on both sides of a zone's middle, so the
    /// least latitude of a square is at its far corner on the equator's side, and the greatest right across from it.
    fn meets_band(&self, band_index: usize) -> bool {
        let (west, east) = (f64::from(self.easting_m), f64::from(self.easting_m + SQUARE_M));
        let (south, north) = (f64::from(self.northing_m), f64::from(self.northing_m + SQUARE_M));
        let near = FALSE_EASTING_M.clamp(west, east);
        let far = if FALSE_EASTING_M - west > east - FALSE_EASTING_M { west } else { east };
        let latitude = |easting, northing| utm_reverse(easting, northing, 1).lat();
        let (least, most) = match self.hemisphere {
            Hemisphere::North => (latitude(far, south), latitude(near, north)),
            Hemisphere::South => {
                (latitude(near, south - FALSE_NORTHING_M), latitude(far, north - FALSE_NORTHING_M))
            }
        };
        let (band_south, band_north) = BAND_EDGES[band_index];
        most >= band_south && least < band_north
    }

    /// Whether some of it lies within a pole's cap: its nearest place to the pole tells.
    fn meets_cap(&self) -> bool {
        let toward_pole = |edge: u32| POLE_M.clamp(f64::from(edge), f64::from(edge + SQUARE_M));
        let nearest = ups_reverse(toward_pole(self.easting_m), toward_pole(self.northing_m), self.hemisphere);
        Zone::of(nearest) == Zone::Polar
    }
}

/// South and north edge of each band.
const BAND_EDGES: [(f64, f64); 20] = {
    let mut edges = [(0.0, 0.0); 20];
    let mut south = -80.0;
    let mut band = 0;
    while band < edges.len() {
        edges[band] = (south, south + 8.0);
        south += 8.0;
        band += 1;
    }
    edges[19].1 = 84.0;
    edges
};

/// The place of a latitude's letter in [`BANDS`].
fn band_index(lat: f64) -> usize {
    BAND_EDGES.iter().rposition(|&(south, _)| lat >= south).unwrap_or(0)
}

fn utm_columns(zone: u8) -> &'static [u8] {
    COLUMNS[usize::from(zone - 1) % COLUMNS.len()]
}

const fn utm_rows_ahead(zone: u8) -> usize {
    if zone.is_multiple_of(2) { EVEN_ZONE_ROWS_AHEAD } else { 0 }
}

/// The whole metres of a coordinate: cut off, as the standard has it, and never rounded.
#[allow(
    clippy::cast_possible_truncation,
    clippy::cast_sign_loss,
    reason = "coordinates lie between 0 and 10 000 km"
)]
fn cut(metres: f64) -> u32 {
    metres as u32
}

/// A count of 6° steps from 180° W.
#[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "a longitude makes 0 to 60 steps")]
fn whole(steps: f64) -> u8 {
    steps as u8
}

/// WGS 84's first eccentricity, squared.
const E2: f64 = FLATTENING * (2.0 - FLATTENING);
/// WGS 84's third flattening.
const N: f64 = FLATTENING / (2.0 - FLATTENING);
const N2: f64 = N * N;
const N3: f64 = N2 * N;
const N4: f64 = N3 * N;
const N5: f64 = N4 * N;
const N6: f64 = N5 * N;
/// A quarter meridian over a right angle (Karney 2011, equation 14).
const RECTIFYING_RADIUS_M: f64 = EQUATORIAL_RADIUS_M / (1.0 + N) * (1.0 + N2 / 4.0 + N4 / 64.0 + N6 / 256.0);
/// Krüger's series from the sphere to the ellipsoid (Karney 2011, equation 35).
const ALPHA: [f64; 6] = [
    N / 2.0 - N2 * 2.0 / 3.0 + N3 * 5.0 / 16.0 + N4 * 41.0 / 180.0 - N5 * 127.0 / 288.0
        + N6 * 7891.0 / 37800.0,
    N2 * 13.0 / 48.0 - N3 * 3.0 / 5.0 + N4 * 557.0 / 1440.0 + N5 * 281.0 / 630.0
        - N6 * 1_983_433.0 / 1_935_360.0,
    N3 * 61.0 / 240.0 - N4 * 103.0 / 140.0 + N5 * 15061.0 / 26880.0 + N6 * 167_603.0 / 181_440.0,
    N4 * 49561.0 / 161_280.0 - N5 * 179.0 / 168.0 + N6 * 6_601_661.0 / 7_257_600.0,
    N5 * 34729.0 / 80640.0 - N6 * 3_418_889.0 / 1_995_840.0,
    N6 * 212_378_941.0 / 319_334_400.0,
];
/// And back (equation 36).
const BETA: [f64; 6] = [
    N / 2.0 - N2 * 2.0 / 3.0 + N3 * 37.0 / 96.0 - N4 / 360.0 - N5 * 81.0 / 512.0 + N6 * 96199.0 / 604_800.0,
    N2 / 48.0 + N3 / 15.0 - N4 * 437.0 / 1440.0 + N5 * 46.0 / 105.0 - N6 * 1_118_711.0 / 3_870_720.0,
    N3 * 17.0 / 480.0 - N4 * 37.0 / 840.0 - N5 * 209.0 / 4480.0 + N6 * 5569.0 / 90720.0,
    N4 * 4397.0 / 161_280.0 - N5 * 11.0 / 504.0 - N6 * 830_251.0 / 7_257_600.0,
    N5 * 4583.0 / 161_280.0 - N6 * 108_847.0 / 3_991_680.0,
    N6 * 20_648_693.0 / 638_668_800.0,
];

/// Sums a series of Krüger's at a point of the plane: the steps to add northward and eastward.
fn series(coefficients: &[f64; 6], north: f64, east: f64) -> (f64, f64) {
    let mut sum = (0.0, 0.0);
    let mut twice_j = 0.0;
    for coefficient in coefficients {
        twice_j += 2.0;
        let (sin, cos) = (twice_j * north).sin_cos();
        sum.0 += coefficient * sin * (twice_j * east).cosh();
        sum.1 += coefficient * cos * (twice_j * east).sinh();
    }
    sum
}

/// The tangent of the conformal latitude (Karney 2011, equations 7 to 9): infinite at a pole.
fn conformal(sin_lat: f64, cos_lat: f64) -> f64 {
    let e = E2.sqrt();
    let sigma = (e * (e * sin_lat).atanh()).sinh();
    (sin_lat * sigma.hypot(1.0) - sigma) / cos_lat
}

/// The latitude in degrees whose conformal latitude has this tangent: Newton's method (Karney 2011, equations 19 to 21),
/// which reaches the last digit in two or three steps.
fn latitude(conformal_tangent: f64) -> f64 {
    const MOST_STEPS: usize = 6;
    if conformal_tangent.is_infinite() {
        return 90.0_f64.copysign(conformal_tangent);
    }
    let mut tangent = conformal_tangent / (1.0 - E2);
    for _ in 0..MOST_STEPS {
        let secant = tangent.hypot(1.0);
        let reached = conformal(tangent / secant, 1.0 / secant);
        let step = (conformal_tangent - reached) / reached.hypot(1.0)
            * (1.0 + (1.0 - E2) * tangent * tangent)
            / ((1.0 - E2) * secant);
        tangent += step;
        if step.abs() <= 1e-9 * tangent.abs().max(1.0) {
            break;
        }
    }
    tangent.atan().to_degrees()
}

fn middle_meridian(zone: u8) -> f64 {
    6.0 * f64::from(zone) - 183.0
}

/// Easting, and northing from the equator.
fn utm_forward(position: Position, zone: u8) -> (f64, f64) {
    let mut east_of_middle = position.lon() - middle_meridian(zone);
    if east_of_middle > 180.0 {
        east_of_middle -= 360.0;
    }
    let (sin_lat, cos_lat) = sin_cos_degrees(position.lat());
    let (sin_lon, cos_lon) = sin_cos_degrees(east_of_middle);
    let tangent = conformal(sin_lat, cos_lat);
    let (north, east) = (tangent.atan2(cos_lon), (sin_lon / tangent.hypot(cos_lon)).asinh());
    let (more_north, more_east) = series(&ALPHA, north, east);
    let metres = UTM_SCALE * RECTIFYING_RADIUS_M;
    (FALSE_EASTING_M + metres * (east + more_east), metres * (north + more_north))
}

fn utm_reverse(easting_m: f64, from_equator_m: f64, zone: u8) -> Position {
    let metres = UTM_SCALE * RECTIFYING_RADIUS_M;
    let (north, east) = (from_equator_m / metres, (easting_m - FALSE_EASTING_M) / metres);
    let (more_north, more_east) = series(&BETA, north, east);
    let (sin_north, cos_north) = (north - more_north).sin_cos();
    let sinh_east = (east - more_east).sinh();
    let lon = middle_meridian(zone) + sinh_east.atan2(cos_north).to_degrees();
    Position::settled(lon, latitude(sin_north / sinh_east.hypot(cos_north)))
}

/// Metres from the pole to a parallel of conformal tangent 0: the length that scales the polar stereographic projection
/// (NGA.STND.0037, section 3; Karney's form of it).
fn ups_unit_m() -> f64 {
    let e = E2.sqrt();
    2.0 * UPS_SCALE * EQUATORIAL_RADIUS_M / ((1.0 - FLATTENING) * (e * e.atanh()).exp())
}

fn ups_forward(position: Position, hemisphere: Hemisphere) -> (f64, f64) {
    let (sin_lat, cos_lat) = sin_cos_degrees(position.lat().abs());
    let (sin_lon, cos_lon) = sin_cos_degrees(position.lon());
    let tangent = conformal(sin_lat, cos_lat);
    let from_pole_m = ups_unit_m() / (tangent + tangent.hypot(1.0));
    let north_m = match hemisphere {
        Hemisphere::North => -from_pole_m * cos_lon,
        Hemisphere::South => from_pole_m * cos_lon,
    };
    (POLE_M + from_pole_m * sin_lon, POLE_M + north_m)
}

fn ups_reverse(easting_m: f64, northing_m: f64, hemisphere: Hemisphere) -> Position {
    let (east_m, north_m) = (easting_m - POLE_M, northing_m - POLE_M);
    let tangent_of_half = east_m.hypot(north_m) / ups_unit_m();
    let lat = latitude((1.0 / tangent_of_half - tangent_of_half) / 2.0);
    match hemisphere {
        Hemisphere::North => Position::settled(east_m.atan2(-north_m).to_degrees(), lat),
        Hemisphere::South => Position::settled(east_m.atan2(north_m).to_degrees(), -lat),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Krüger's series to the sixth order is good to 5 nm within 3900 km of the middle meridian (Karney 2011, section 5),
    /// ten times as far as any reference reaches. The table's source stands in tests/data/SOURCES.md.
    #[test]
    fn the_transverse_mercator_agrees_with_the_published_table() {
        const ZONE: u8 = 31;
        let mut rows = 0;
        for line in include_str!("../../../tests/data/TMcoords-first-258.dat").lines() {
            let figures: Vec<f64> = line.split_whitespace().map(|figure| figure.parse().unwrap()).collect();
            let [lat, lon, easting_m, northing_m] = figures[..4] else { panic!("{line}") };
            if easting_m > 3.9e6 {
                continue;
            }
            rows += 1;
            // The table's middle meridian is that of Greenwich.
            let here = Position::new(lon + middle_meridian(ZONE), lat).unwrap();
            let (easting, northing) = utm_forward(here, ZONE);
            assert!((easting - FALSE_EASTING_M - easting_m).abs() < 1e-8, "{line}: {easting}");
            assert!((northing - northing_m).abs() < 1e-8, "{line}: {northing}");
            let back = utm_reverse(easting_m + FALSE_EASTING_M, northing_m, ZONE);
            assert!(crate::geodesy::distance(back, here).value() < 2e-8, "{line}: {back:?}");
        }
        assert_eq!(rows, 142);
    }

    #[test]
    fn bands_meet_without_a_gap() {
        for pair in BAND_EDGES.windows(2) {
            assert_eq!(pair[0].1.to_bits(), pair[1].0.to_bits());
        }
        assert_eq!(BAND_EDGES.map(|(south, _)| BANDS[band_index(south)]).as_slice(), BANDS);
        assert_eq!(BANDS[band_index(84.0_f64.next_down())], b'X');
    }
}
