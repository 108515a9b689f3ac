//! Reads HGT tiles: a degree each way, 1,201 × 1,201 posts (3″) or 3,601 × 3,601 (1″), 16 bits each, the most significant byte
//! first, rows from the north, -32768 where nothing is known. The name says where the south-west corner lies.
//!
//! # Source
//! NASA's SRTM quick start, 'SRTM Topography' section 2 (from memory).

use std::io::{self, Read};

use tokio::sync::mpsc::Sender;

use super::Fault;
use super::blocks::{Blocks, Frame, Sample, UNKNOWN};
use super::load::Piece;

/// What a tile's name and length say.
pub(super) fn frame(stem: &str, length: u64) -> Result<Frame, Fault> {
    let (lat, lon) = corner(stem).ok_or(Fault::TileName)?;
    let side = [1_201_u32, 3_601].into_iter().find(|&side| u64::from(side) * u64::from(side) * 2 == length);
    let side = side.ok_or(Fault::TileSize { length })?;
    Frame::new(stem.to_ascii_uppercase(), (side, side), [lon, lat, lon + 1.0, lat + 1.0], Sample::Int16)
}

/// The south-west corner that a name tells: latitude and longitude.
fn corner(stem: &str) -> Option<(f64, f64)> {
    let bytes = stem.as_bytes();
    if bytes.len() != 7 || !stem.is_ascii() {
        return None;
    }
    let degrees = |letter: u8, plus: u8, minus: u8, digits: &str| {
        let number: f64 = digits.bytes().all(|b| b.is_ascii_digit()).then(|| digits.parse().ok())??;
        match letter.to_ascii_uppercase() {
            letter if letter == plus => Some(number),
            letter if letter == minus => Some(-number),
            _ => None,
        }
    };
    let lat = degrees(bytes[0], b'N', b'S', &stem[1..3])?;
    let lon = degrees(bytes[3], b'E', b'W', &stem[4..7])?;
    ((-90.0..90.0).contains(&lat) && (-180.0..180.0).contains(&lon)).then_some((lat, lon))
}

/// Reads the heights.
pub(super) fn read(file: &mut impl Read, frame: &Frame, to: &Sender<Piece>) -> Result<(), Fault> {
    let mut blocks = Blocks::new(frame, to);
    let mut row = vec![0; frame.columns as usize * 2];
    for _ in 0..frame.rows {
        file.read_exact(&mut row).map_err(|error| unreadable(&error))?;
        blocks.row(row.as_chunks().0.iter().map(|&two| match i16::from_be_bytes(two) {
            UNKNOWN => f32::NAN,
            height => height.into(),
        }))?;
    }
    blocks.end()
}

fn unreadable(error: &io::Error) -> Fault {
    Fault::Unreadable(error.to_string())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_tile_says_by_its_name_where_it_lies() {
        assert_eq!(corner("N54W005"), Some((54.0, -5.0)));
        assert_eq!(corner("s01e000"), Some((-1.0, 0.0)));
        for wrong in
            ["", "N54W05", "N90E000", "N54W181", "N54E180", "X54W005", "N5+W005", "N54W00é", "54W005N"]
        {
            assert_eq!(corner(wrong), None, "{wrong}");
        }
    }
}
