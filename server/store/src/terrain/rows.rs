//! Writes rows in the database's binary COPY format, with positions as extended well-known binary. It never talks to a
//! database. The formats are PostgreSQL's ("COPY", Binary Format) and PostGIS's (EWKB) as their manuals describe them.

use std::fmt::Display;
use std::io::Write as _;

/// A position as OpenStreetMap keeps it: longitude and latitude in units of 10⁻⁷ degree, eight bytes in all.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Position {
    pub(super) lon_e7: i32,
    pub(super) lat_e7: i32,
}

const SIGNATURE: &[u8] = b"PGCOPY\n\xff\r\n\0\0\0\0\0\0\0\0\0";
const TRAILER: [u8; 2] = (-1_i16).to_be_bytes();

const EWKB_LITTLE_ENDIAN: u8 = 1;
const EWKB_HAS_SRID: u32 = 0x2000_0000;
const EWKB_POINT: u32 = 1;
const EWKB_LINE: u32 = 2;
const WGS84: u32 = 4326;

/// Rows for one table, growing in memory until they are taken.
#[derive(Debug, Default)]
pub(super) struct Rows {
    bytes: Vec<u8>,
}

impl Rows {
    pub(super) fn len(&self) -> usize {
        self.bytes.len()
    }

    /// Takes the rows written so far as one complete COPY stream, or nothing if there are none.
    pub(super) fn take(&mut self) -> Option<Vec<u8>> {
        if self.bytes.is_empty() {
            return None;
        }
        self.bytes.extend_from_slice(&TRAILER);
        Some(std::mem::take(&mut self.bytes))
    }

    pub(super) fn start(&mut self, fields: i16) -> &mut Self {
        if self.bytes.is_empty() {
            self.bytes.extend_from_slice(SIGNATURE);
        }
        self.bytes.extend_from_slice(&fields.to_be_bytes());
        self
    }

    pub(super) fn bigint(&mut self, value: i64) -> &mut Self {
        self.field(|bytes| bytes.extend_from_slice(&value.to_be_bytes()))
    }

    pub(super) fn smallint(&mut self, value: Option<i16>) -> &mut Self {
        match value {
            Some(value) => self.field(|bytes| bytes.extend_from_slice(&value.to_be_bytes())),
            None => self.null(),
        }
    }

    pub(super) fn integer(&mut self, value: Option<i32>) -> &mut Self {
        match value {
            Some(value) => self.field(|bytes| bytes.extend_from_slice(&value.to_be_bytes())),
            None => self.null(),
        }
    }

    pub(super) fn real(&mut self, value: Option<f32>) -> &mut Self {
        match value {
            Some(value) => self.field(|bytes| bytes.extend_from_slice(&value.to_be_bytes())),
            None => self.null(),
        }
    }

    pub(super) fn boolean(&mut self, value: bool) -> &mut Self {
        self.field(|bytes| bytes.push(u8::from(value)))
    }

    pub(super) fn text<T: Display>(&mut self, value: Option<T>) -> &mut Self {
        match value {
            // Writing to memory does not fail.
            Some(value) => self.field(|bytes| drop(write!(bytes, "{value}"))),
            None => self.null(),
        }
    }

    pub(super) fn point(&mut self, position: Position) -> &mut Self {
        self.field(|bytes| {
            start_ewkb(bytes, EWKB_POINT);
            coordinates(bytes, position);
        })
    }

    pub(super) fn line(&mut self, positions: &[Position]) -> &mut Self {
        self.field(|bytes| {
            start_ewkb(bytes, EWKB_LINE);
            bytes.extend_from_slice(&length(positions.len()).to_le_bytes());
            for &position in positions {
                coordinates(bytes, position);
            }
        })
    }

    fn null(&mut self) -> &mut Self {
        self.bytes.extend_from_slice(&(-1_i32).to_be_bytes());
        self
    }

    /// A field is its length in bytes, then its bytes.
    fn field(&mut self, fill: impl FnOnce(&mut Vec<u8>)) -> &mut Self {
        let at = self.bytes.len();
        self.bytes.extend_from_slice(&[0; 4]);
        fill(&mut self.bytes);
        let written = length(self.bytes.len() - at - 4);
        self.bytes[at..at + 4].copy_from_slice(&written.to_be_bytes());
        self
    }
}

fn start_ewkb(bytes: &mut Vec<u8>, shape: u32) {
    bytes.push(EWKB_LITTLE_ENDIAN);
    bytes.extend_from_slice(&(shape | EWKB_HAS_SRID).to_le_bytes());
    bytes.extend_from_slice(&WGS84.to_le_bytes());
}

fn coordinates(bytes: &mut Vec<u8>, position: Position) {
    for e7 in [position.lon_e7, position.lat_e7] {
        bytes.extend_from_slice(&(f64::from(e7) / 1e7).to_le_bytes());
    }
}

/// Every field is bounded far below 4 GiB by the bounds on ways and texts.
fn length(len: usize) -> u32 {
    u32::try_from(len).unwrap_or(u32::MAX)
}
