//! Rows of heights, come from the north one after the other, made into the blocks that are stored. No more rows are held
//! than a block is high.

use laywire_craft::{elevation::Grid, geodesy::Position};
use tokio::sync::mpsc::Sender;

use super::Fault;
use super::load::Piece;

/// The most posts of a block each way.
pub(super) const SIDE: usize = 256;
/// The most posts of a file.
pub(super) const MOST_POSTS: u64 = 400_000_000;
/// The most posts from west to east.
pub(super) const MOST_COLUMNS: u32 = 100_000;
/// A height of whole metres that is not known.
pub(super) const UNKNOWN: i16 = i16::MIN;
/// A post within so many degrees of the Earth's edge lies on it: corners are written with that much rounding.
const ON_THE_EDGE: f64 = 1e-9;

/// How heights are kept.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Sample {
    /// Whole metres.
    Int16,
    /// Metres and parts of them.
    Float32,
}

impl Sample {
    /// The name in the database.
    pub(super) const fn as_str(self) -> &'static str {
        match self {
            Self::Int16 => "int16",
            Self::Float32 => "float32",
        }
    }
}

/// What a file says before its heights: posts that lie evenly, and where the outermost are, in degrees.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Frame {
    pub(super) name: String,
    pub(super) columns: u32,
    pub(super) rows: u32,
    pub(super) west: f64,
    pub(super) south: f64,
    pub(super) east: f64,
    pub(super) north: f64,
    pub(super) sample: Sample,
    /// The shorter side of a cell in its middle, in metres.
    pub(super) cell_m: f64,
}

impl Frame {
    /// Makes a frame of its size and its outermost posts: west, south, east, north.
    pub(super) fn new(
        name: String,
        (columns, rows): (u32, u32),
        [west, south, east, north]: [f64; 4],
        sample: Sample,
    ) -> Result<Self, Fault> {
        if columns < 2 || rows < 2 {
            return Err(Fault::Damaged(format!("{columns} × {rows} heights make no grid")));
        }
        if columns > MOST_COLUMNS || u64::from(columns) * u64::from(rows) > MOST_POSTS {
            return Err(Fault::TooLarge {
                what: format!("{columns} × {rows} heights are too many"),
                remedy: "cut out the ground about the operation by 'gdal_translate -projwin WEST NORTH EAST SOUTH IN.tif OUT.tif', \
                         or take a coarser grid",
            });
        }
        let settle = |degrees: f64, edge: f64| {
            if degrees.abs() - edge < ON_THE_EDGE { degrees.clamp(-edge, edge) } else { degrees }
        };
        let (west, east) = (settle(west, 180.0), settle(east, 180.0));
        let (south, north) = (settle(south, 90.0), settle(north, 90.0));
        let corners = || Fault::Corners { west, north, east, south };
        let place = |lon, lat| Position::new(lon, lat).map_err(|_| corners());
        place(west, north)?;
        place(east, south)?;
        let mut frame = Self { name, columns, rows, west, south, east, north, sample, cell_m: 0.0 };
        let (column, row) = ((columns - 1) / 2, (rows - 1) / 2);
        let middle = place(frame.lon(column), frame.lat(row))?;
        let next = place(frame.lon(column + 1), frame.lat(row + 1))?;
        let cell = Grid::new(middle, next, 2, 2, [None; 4]).map_err(|_| corners())?;
        frame.cell_m = cell.cell().value();
        // Posts closer than their own rounding make no cell.
        if frame.cell_m > 0.001 { Ok(frame) } else { Err(corners()) }
    }

    fn lon(&self, column: u32) -> f64 {
        part(self.west, self.east, column, self.columns)
    }

    fn lat(&self, row: u32) -> f64 {
        part(self.north, self.south, row, self.rows)
    }
}

/// Where a post is, of those that lie evenly from one end to the other: both ends come out to the bit.
fn part(from: f64, to: f64, post: u32, posts: u32) -> f64 {
    let part = f64::from(post) / f64::from(posts - 1);
    from * (1.0 - part) + to * part
}

/// A block as it is stored.
#[derive(Debug)]
pub(super) struct Block {
    pub(super) part: i32,
    pub(super) columns: i16,
    pub(super) rows: i16,
    pub(super) west: f64,
    pub(super) south: f64,
    pub(super) east: f64,
    pub(super) north: f64,
    pub(super) heights: Vec<u8>,
}

/// Rows on their way into blocks.
pub(super) struct Blocks<'a> {
    frame: &'a Frame,
    to: &'a Sender<Piece>,
    /// The rows that are held, one after the other; NaN is unknown.
    held: Vec<f32>,
    /// How many rows have come.
    come: u32,
    /// How many blocks there have been, with those that are not kept.
    parts: i32,
    known: bool,
}

impl<'a> Blocks<'a> {
    pub(super) fn new(frame: &'a Frame, to: &'a Sender<Piece>) -> Self {
        Self { frame, to, held: Vec::new(), come: 0, parts: 0, known: false }
    }

    /// Takes the next row, from the west; NaN is unknown.
    pub(super) fn row(&mut self, heights: impl Iterator<Item = f32>) -> Result<(), Fault> {
        let columns = self.frame.columns as usize;
        let before = self.held.len();
        self.held.extend(heights.take(columns));
        if self.held.len() - before != columns {
            return Err(Fault::Damaged(format!("row {} has not {columns} heights", self.come)));
        }
        for (column, &height) in (0..).zip(&self.held[before..]) {
            if !(height.is_nan() || (-12_000.0..=9_000.0).contains(&height)) {
                return Err(Fault::Height { height, column, row: self.come });
            }
        }
        self.come += 1;
        let rows = self.held.len() / columns;
        if rows == SIDE || (self.come == self.frame.rows && rows > 1) {
            self.band(rows)?;
            self.held.drain(..(rows - 1) * columns);
        }
        Ok(())
    }

    /// Ends the grid.
    pub(super) fn end(self) -> Result<(), Fault> {
        if self.come != self.frame.rows {
            return Err(Fault::Damaged(format!("it has {} rows, not {}", self.come, self.frame.rows)));
        }
        if self.known { Ok(()) } else { Err(Fault::NothingKnown) }
    }

    /// Makes blocks of all the rows that are held. Neighbours share a column, and the row that stays is shared as well.
    #[allow(
        clippy::cast_possible_truncation,
        clippy::cast_possible_wrap,
        reason = "columns are at most MOST_COLUMNS, a block's sides SIDE"
    )]
    fn band(&mut self, rows: usize) -> Result<(), Fault> {
        let last_column = self.frame.columns as usize - 1;
        let first_row = self.come - rows as u32;
        for west in (0..last_column).step_by(SIDE - 1) {
            let east = (west + SIDE - 1).min(last_column);
            let part = self.parts;
            self.parts += 1;
            let posts = || self.held.chunks_exact(last_column + 1).flat_map(|row| &row[west..=east]);
            if posts().all(|height| height.is_nan()) {
                continue;
            }
            self.known = true;
            let heights = match self.frame.sample {
                Sample::Int16 => posts().flat_map(|&height| whole(height).to_le_bytes()).collect(),
                Sample::Float32 => posts().flat_map(|height| height.to_le_bytes()).collect(),
            };
            let block = Block {
                part,
                columns: (east - west + 1) as i16,
                rows: rows as i16,
                west: self.frame.lon(west as u32),
                south: self.frame.lat(self.come - 1),
                east: self.frame.lon(east as u32),
                north: self.frame.lat(first_row),
                heights,
            };
            self.send(Piece::Block(block))?;
        }
        self.send(Piece::Rows(self.come))
    }

    fn send(&self, piece: Piece) -> Result<(), Fault> {
        // Whoever waited has gone away with an error of their own, which is the one that is told.
        self.to.blocking_send(piece).map_err(|_| Fault::Unreadable("the load was abandoned".to_owned()))
    }
}

/// A height that came as a whole number.
#[allow(clippy::cast_possible_truncation, reason = "within the heights of the Earth, and never NaN")]
fn whole(height: f32) -> i16 {
    if height.is_nan() { UNKNOWN } else { height as i16 }
}
