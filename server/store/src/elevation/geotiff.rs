//! Reads GeoTIFF: one band of 16-bit whole numbers or 32-bit floats, in tiles or strips, uncompressed, deflate or LZW, in
//! EPSG:4326. Everything else is refused with the command that makes one that is read. It looks over the whole header, and
//! where each piece lies in the file, before it unpacks a piece; it holds one row of pieces at a time.
//!
//! # Source
//! TIFF 6.0 (1992); OGC 19-008r4, GeoTIFF 1.1, for the keys and their codes; GDAL's 'GTiff – GeoTIFF File Format' for
//! `GDAL_NODATA`, `GDAL_METADATA` and pieces that are left out of a sparse file.

use std::io::{ErrorKind, Read, Seek};

use tiff::{
    TiffError,
    decoder::{Decoder, DecodingResult},
    tags::Tag,
};
use tokio::sync::mpsc::Sender;

use super::Fault;
use super::blocks::{Blocks, Frame, Sample};
use super::load::Piece;

/// The most heights that one row of tiles, or one strip, may have: as floats 128 MB.
const MOST_HELD: u64 = 32_000_000;
/// So many programs write it for unknown that no ground is believed to lie there.
const USUAL_UNKNOWN: f32 = -9999.0;

/// The tag in which GDAL keeps what no other tag can say.
const GDAL_METADATA: u16 = 42_112;

const PLAIN: &str = "gdal_translate -b 1 -ot Float32 -co TILED=YES -co COMPRESS=DEFLATE IN.tif OUT.tif";

const IN_METRES: &str = "gdal_calc.py -A IN.tif --calc=A*METRES_IN_ONE --type=Float32 --outfile=OUT.tif";

/// A GeoTIFF whose header was looked over.
pub(super) struct GeoTiff<R: Read + Seek> {
    decoder: Decoder<R>,
    /// What it says before its heights.
    pub(super) frame: Frame,
    unknown: Option<f32>,
    /// The bytes of each piece; none has none.
    bytes: Vec<u64>,
    /// Posts of a piece from west to east, and from north to south.
    piece: (u32, u32),
}

fn unsupported(what: impl Into<String>) -> Fault {
    Fault::Unsupported { what: what.into(), command: PLAIN }
}

fn fault(error: &TiffError) -> Fault {
    match error {
        TiffError::IoError(error) if error.kind() == ErrorKind::UnexpectedEof => {
            Fault::Damaged("it ends, or a piece of it does, before it is complete".to_owned())
        }
        TiffError::IoError(error) => Fault::Damaged(error.to_string()),
        TiffError::UnsupportedError(error) => {
            unsupported(format!("it is written in a way that is not read here ({error})"))
        }
        TiffError::LimitsExceeded => Fault::Damaged("it claims more than a grid of heights has".to_owned()),
        other => Fault::Damaged(other.to_string()),
    }
}

impl<R: Read + Seek> GeoTiff<R> {
    /// Looks over the header of a file of this length, in bytes.
    pub(super) fn open(file: R, length: u64, name: &str) -> Result<Self, Fault> {
        // The first image, with the library's own limits: 1 MiB for the value of a tag.
        let mut decoder = Decoder::new(file).map_err(|error| fault(&error))?;
        let mut tags = Tags(&mut decoder);
        let sample = tags.sample()?;
        tags.reference()?;
        tags.plain_heights()?;
        let unknown = tags.unknown()?;
        let (columns, rows) = (tags.number(Tag::ImageWidth, 0)?, tags.number(Tag::ImageLength, 0)?);
        let frame = Frame::new(name.to_owned(), (columns, rows), tags.corners(columns, rows)?, sample)?;
        let (piece, bytes) = tags.pieces(&frame, length)?;
        Ok(Self { decoder, frame, unknown, bytes, piece })
    }

    /// Reads the heights.
    pub(super) fn read(&mut self, to: &Sender<Piece>) -> Result<(), Fault> {
        let Frame { columns, rows, .. } = self.frame;
        let frame = self.frame.clone();
        let mut blocks = Blocks::new(&frame, to);
        let across = columns.div_ceil(self.piece.0);
        let mut held = vec![f32::NAN; columns as usize * self.piece.1.min(rows) as usize];
        for (down, first) in (0..).zip((0..rows).step_by(self.piece.1 as usize)) {
            let high = self.piece.1.min(rows - first) as usize;
            for number in 0..across {
                let west = (number * self.piece.0) as usize;
                let wide = self.piece.0.min(columns - number * self.piece.0) as usize;
                let heights = self.piece(down * across + number, wide * high)?;
                for row in 0..high {
                    let at = row * columns as usize + west;
                    held[at..at + wide].copy_from_slice(&heights[row * wide..(row + 1) * wide]);
                }
            }
            for row in held.chunks_exact(columns as usize).take(high) {
                blocks.row(row.iter().copied())?;
            }
        }
        blocks.end()
    }

    /// The heights of a piece, of which so many lie within the grid.
    #[allow(clippy::float_cmp, reason = "what stands for unknown is written as the very number")]
    fn piece(&mut self, number: u32, posts: usize) -> Result<Vec<f32>, Fault> {
        if self.bytes.get(number as usize).is_none_or(|bytes| *bytes == 0) {
            return Ok(vec![f32::NAN; posts]);
        }
        let heights: Vec<f32> = match self.decoder.read_chunk(number).map_err(|error| fault(&error))? {
            DecodingResult::I16(heights) => heights.into_iter().map(f32::from).collect(),
            DecodingResult::U16(heights) => heights.into_iter().map(f32::from).collect(),
            DecodingResult::F32(heights) => heights,
            _ => return Err(Fault::Damaged("its heights are not what its header says".to_owned())),
        };
        if heights.len() != posts {
            return Err(Fault::Damaged(format!("piece {number} has {} heights, not {posts}", heights.len())));
        }
        match self.unknown {
            Some(unknown) => {
                Ok(heights.into_iter().map(|h| if h == unknown { f32::NAN } else { h }).collect())
            }
            None if heights.contains(&USUAL_UNKNOWN) => Err(Fault::Unsupported {
                what: "it has heights of -9999 m and does not say that these stand for unknown".to_owned(),
                command: "gdal_translate -a_nodata -9999 IN.tif OUT.tif",
            }),
            None => Ok(heights),
        }
    }
}

/// The tags of the first image.
struct Tags<'a, R: Read + Seek>(&'a mut Decoder<R>);

impl<R: Read + Seek> Tags<'_, R> {
    fn number(&mut self, tag: Tag, usual: u32) -> Result<u32, Fault> {
        Ok(self.0.find_tag_unsigned(tag).map_err(|error| fault(&error))?.unwrap_or(usual))
    }

    fn numbers(&mut self, tag: Tag) -> Result<Option<Vec<u64>>, Fault> {
        self.0.find_tag_unsigned_vec(tag).map_err(|error| fault(&error))
    }

    fn reals(&mut self, tag: Tag) -> Result<Option<Vec<f64>>, Fault> {
        let value = self.0.find_tag(tag).map_err(|error| fault(&error))?;
        value.map(|value| value.into_f64_vec().map_err(|error| fault(&error))).transpose()
    }

    fn text(&mut self, tag: Tag) -> Result<Option<String>, Fault> {
        let value = self.0.find_tag(tag).map_err(|error| fault(&error))?;
        value.map(|value| value.into_string().map_err(|error| fault(&error))).transpose()
    }

    fn sample(&mut self) -> Result<Sample, Fault> {
        let bands = self.number(Tag::SamplesPerPixel, 1)?;
        if bands != 1 {
            return Err(unsupported(format!("it has {bands} bands, and one of heights is wanted")));
        }
        // 1 none, 5 LZW, 8 and 32946 deflate.
        let compression = self.number(Tag::Compression, 1)?;
        if ![1, 5, 8, 32_946].contains(&compression) {
            return Err(unsupported(format!("its compression (number {compression}) is not read here")));
        }
        // Written as white is nothing, the heights would be read upside down.
        let photometric = self.number(Tag::PhotometricInterpretation, 1)?;
        if photometric != 1 {
            return Err(unsupported(format!(
                "it is a picture (photometric interpretation {photometric}), not heights"
            )));
        }
        // 1 whole numbers without a sign, 2 with one, 3 floats.
        match (self.number(Tag::SampleFormat, 1)?, self.number(Tag::BitsPerSample, 1)?) {
            (1 | 2, 16) => Ok(Sample::Int16),
            (3, 32) => Ok(Sample::Float32),
            (format, bits) => Err(unsupported(format!(
                "its heights have {bits} bits (sample format {format}), and whole numbers of 16 or floats of 32 are wanted"
            ))),
        }
    }

    /// Whether it is in EPSG:4326, in degrees.
    fn reference(&mut self) -> Result<(), Fault> {
        const MODEL: u64 = 1024;
        const GEOGRAPHIC: u64 = 2048;
        const ANGLE: u64 = 2054;
        const PROJECTED: u64 = 3072;
        const VERTICAL_UNIT: u64 = 4099;
        const METRE: u64 = 9001;
        const DEGREE: u64 = 9102;
        let other = |found: String| Err(Fault::OtherReference { found });
        let key = |number: u64, keys: &[u64]| {
            // Four numbers a key: its own, where its value stands (0: here), how many, the value.
            keys.chunks_exact(4).skip(1).find(|key| key[0] == number && key[1] == 0).map(|key| key[3])
        };
        let Some(keys) = self.numbers(Tag::GeoKeyDirectoryTag)? else {
            return other("no reference system that it names".to_owned());
        };
        if let Some(unit) = key(VERTICAL_UNIT, &keys).filter(|unit| *unit != METRE) {
            return Err(Fault::Unsupported {
                what: format!("its heights are not metres (unit EPSG:{unit})"),
                command: IN_METRES,
            });
        }
        match (key(MODEL, &keys), key(GEOGRAPHIC, &keys), key(PROJECTED, &keys)) {
            (_, _, Some(32_767)) => other("a projection of its own".to_owned()),
            (Some(2), Some(4326), None) => match key(ANGLE, &keys) {
                None | Some(DEGREE) => Ok(()),
                Some(unit) => other(format!("EPSG:4326 with angles in the unit EPSG:{unit}")),
            },
            (_, Some(32_767) | None, None) => other("a reference system of its own".to_owned()),
            (_, _, Some(code)) | (_, Some(code), None) => other(format!("EPSG:{code}")),
        }
    }

    /// Whether what is written are heights in metres, and not something that they have to be reckoned from.
    fn plain_heights(&mut self) -> Result<(), Fault> {
        let Some(metadata) = self.text(Tag::Unknown(GDAL_METADATA))? else { return Ok(()) };
        // GDAL's items: <Item name="SCALE" sample="0" role="scale">0.1</Item>
        for item in metadata.split("<Item").skip(1) {
            let value = item
                .split_once('>')
                .and_then(|(_, rest)| rest.split_once('<'))
                .map_or("", |(value, _)| value.trim());
            let is = |role: &str| item.contains(&format!("role=\"{role}\""));
            let number = value.parse::<f64>();
            if (is("scale") && number != Ok(1.0)) || (is("offset") && number != Ok(0.0)) {
                return Err(Fault::Unsupported {
                    what: "its heights are written with a scale or an offset".to_owned(),
                    command: "gdal_translate -unscale -ot Float32 IN.tif OUT.tif",
                });
            }
            if is("unittype")
                && !["", "m", "metre", "meter", "metres", "meters"].contains(&value.to_lowercase().as_str())
            {
                return Err(Fault::Unsupported {
                    what: format!(
                        "its heights are in '{}', not in metres",
                        value.chars().take(20).collect::<String>()
                    ),
                    command: IN_METRES,
                });
            }
        }
        Ok(())
    }

    #[allow(
        clippy::cast_possible_truncation,
        reason = "what is looked for among floats of 32 bits is one of them"
    )]
    fn unknown(&mut self) -> Result<Option<f32>, Fault> {
        let Some(text) = self.text(Tag::GdalNodata)? else { return Ok(None) };
        let number = text.trim_matches(|c: char| c == '\0' || c.is_whitespace()).parse::<f64>();
        number
            .map(|number| Some(number as f32))
            .map_err(|_| Fault::Damaged("what stands for unknown is no number".to_owned()))
    }

    /// The outermost posts: west, south, east, north.
    fn corners(&mut self, columns: u32, rows: u32) -> Result<[f64; 4], Fault> {
        let other = |found: &str| Fault::OtherReference { found: found.to_owned() };
        let (scale, tie) = (self.reals(Tag::ModelPixelScaleTag)?, self.reals(Tag::ModelTiepointTag)?);
        let ([lon_step, lat_step, ..], [column, row, _, lon, lat, above]) =
            (scale.as_deref().unwrap_or_default(), tie.as_deref().unwrap_or_default())
        else {
            return Err(other("a grid that is turned, or does not say where it lies"));
        };
        let scaled = scale.as_deref().and_then(|scale| scale.get(2)).is_some_and(|z| ![0.0, 1.0].contains(z));
        if scaled || *above != 0.0 {
            return Err(unsupported("its heights are counted from another level, or in another unit"));
        }
        // A picture's point is the middle of its cell, unless the file says that it is a post: GTRasterTypeGeoKey, 2.
        let keys = self.numbers(Tag::GeoKeyDirectoryTag)?.unwrap_or_default();
        let is_post = keys.chunks_exact(4).skip(1).any(|key| key[0] == 1025 && key[3] == 2);
        let half = if is_post { 0.0 } else { 0.5 };
        let (west, north) = (lon + (half - column) * lon_step, lat - (half - row) * lat_step);
        let east = west + f64::from(columns.saturating_sub(1)) * lon_step;
        let south = north - f64::from(rows.saturating_sub(1)) * lat_step;
        Ok([west, south, east, north])
    }

    /// How large a piece is, and how many bytes each has. Every piece lies within the file, and no two share a byte: a small
    /// file cannot hold a large grid by telling one piece over and over.
    fn pieces(&mut self, frame: &Frame, length: u64) -> Result<((u32, u32), Vec<u64>), Fault> {
        let in_tiles = self.numbers(Tag::TileOffsets)?;
        let tiled = in_tiles.is_some();
        let offsets = match in_tiles {
            Some(offsets) => offsets,
            None => self.numbers(Tag::StripOffsets)?.unwrap_or_default(),
        };
        let counts = if tiled { Tag::TileByteCounts } else { Tag::StripByteCounts };
        let bytes = self.numbers(counts)?.unwrap_or_default();
        let (wide, high) = if tiled {
            (self.number(Tag::TileWidth, 0)?, self.number(Tag::TileLength, 0)?)
        } else {
            (frame.columns, self.number(Tag::RowsPerStrip, frame.rows)?.min(frame.rows))
        };
        if wide == 0 || high == 0 {
            return Err(Fault::Damaged("its pieces have no size".to_owned()));
        }
        let across = u64::from(frame.columns.div_ceil(wide));
        if across * u64::from(wide) * u64::from(high) > MOST_HELD {
            return Err(Fault::TooLarge {
                what: format!("its pieces of {wide} × {high} heights are too large"),
                remedy: "make one of smaller pieces by 'gdal_translate -co TILED=YES -co COMPRESS=DEFLATE IN.tif OUT.tif'",
            });
        }
        let pieces = across * u64::from(frame.rows.div_ceil(high));
        if offsets.len() as u64 != pieces || bytes.len() as u64 != pieces {
            return Err(Fault::Damaged(format!(
                "it has {} pieces and its size asks for {pieces}",
                offsets.len()
            )));
        }
        let mut lie: Vec<(u64, u64)> =
            offsets.iter().copied().zip(bytes.iter().copied()).filter(|(_, bytes)| *bytes > 0).collect();
        lie.sort_unstable();
        let needed = lie.iter().map(|(from, bytes)| from.saturating_add(*bytes)).max().unwrap_or(0);
        if needed > length {
            return Err(Fault::Truncated { length, needed });
        }
        if lie.windows(2).any(|two| two[0].0 + two[0].1 > two[1].0) {
            return Err(Fault::Damaged("two of its pieces lie in the same bytes".to_owned()));
        }
        // Nothing but its length says where a piece ends that is not compressed.
        if self.number(Tag::Compression, 1)? == 1 {
            let of_a_height = if frame.sample == Sample::Int16 { 2 } else { 4 };
            let last = if tiled { high } else { frame.rows - (frame.rows - 1) / high * high };
            let row = u64::from(wide) * of_a_height;
            let whole =
                |number: usize| row * u64::from(if number as u64 + 1 == pieces { last } else { high });
            if bytes.iter().enumerate().any(|(number, bytes)| *bytes != 0 && *bytes < whole(number)) {
                return Err(Fault::Damaged("one of its pieces has fewer bytes than heights".to_owned()));
            }
        }
        Ok(((wide, high), bytes))
    }
}
