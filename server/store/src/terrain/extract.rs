//! Reads an OpenStreetMap extract (.osm.pbf) and hands on, as rows to copy, what a wire section needs of it. It never
//! holds the file or its geometry in memory, and never talks to a database.
//!
//! The file is walked several times, each walk decoding only the blocks that hold what it looks for: relations (which
//! ways bound a lake or a wood), ways (which nodes are needed), nodes (where those are), ways again (now with
//! positions, written out as they come). What stays in memory is 16 bytes per needed node and 24 per member of a
//! multipolygon, plus one block (at most 32 MiB unpacked) and the rows under way; it grows with the roads and waters of
//! the country, not with its buildings, and it is bounded. The format is OpenStreetMap's "PBF Format".

use std::fs::File;
use std::io::{BufReader, Read as _, Seek as _, SeekFrom};
use std::path::Path;

use chrono::{DateTime, Utc};
use data_encoding::HEXLOWER;
use laywire_craft::foreseen::Structure;
use osmpbf::{
    BlobDecode, BlobError, BlobReader, ByteOffset, DenseNode, Element, ErrorKind, PrimitiveBlock,
    RelMemberType, Way,
};
use sha2::{Digest as _, Sha256};
use tokio::sync::mpsc::Sender;

use super::classing::{Area, FreeText, Tags};
use super::rows::{Position, Rows};
use super::{Progress, Stage, TerrainError};

/// The most nodes that one extract may need, which bounds the memory of a load at about 1 GB.
const MOST_NODES: usize = 60_000_000;
/// The most ways that bound multipolygons.
const MOST_MEMBERS: usize = 5_000_000;
/// The most nodes in one way. OpenStreetMap itself allows 2,000; older extracts hold some longer ones.
const LONGEST_WAY: usize = 50_000;
/// The largest block that the format allows, packed or not.
const LARGEST_BLOCK: u64 = 32 * 1024 * 1024;
/// What the reader understands of what a file may demand. A history file (several versions of one way) is not in it.
const UNDERSTOOD: [&str; 2] = ["OsmSchema-V0.6", "DenseNodes"];
/// Rows are handed on in pieces of about this size.
const PIECE: usize = 1024 * 1024;
/// Beyond this latitude (in 10⁻⁷ degree) the map's projection has no place for a point.
const MERCATOR_LIMIT_E7: i64 = 850_511_287;

/// A table that rows are meant for.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Table {
    Line,
    Place,
    Spot,
    /// What an area is, by its way or relation.
    Outline,
    /// A stretch of an area's boundary.
    Edge,
}

impl Table {
    const ALL: [Self; 5] = [Self::Line, Self::Place, Self::Spot, Self::Outline, Self::Edge];
}

/// What the reader hands on while it reads.
#[derive(Debug)]
pub(super) enum Piece {
    Progress(Progress),
    Rows(Table, Vec<u8>),
}

/// What is known of the file as such.
#[derive(Clone, Debug)]
pub(super) struct Header {
    pub(super) sha256: String,
    pub(super) mapped_at: Option<DateTime<Utc>>,
}

/// Reads the whole file, blocking, and says what the file is once all of its rows are handed on.
pub(super) fn read(path: &Path, to: &Sender<Piece>) -> Result<Header, TerrainError> {
    let mut file = ExtractFile::open(path, to)?;
    let mut desk = Desk::new(to.clone());
    let boundaries = file.boundaries(&mut desk)?;
    let mut nodes = file.needed_nodes(&boundaries)?;
    file.locate_nodes(&mut nodes, &mut desk)?;
    file.write_ways(&boundaries, &nodes, &mut desk)?;
    desk.close()?;
    Ok(file.header)
}

/// An opened extract: where its blocks are and what kinds of element each holds.
struct ExtractFile {
    reader: BlobReader<BufReader<File>>,
    blocks: Vec<Block>,
    header: Header,
    length: u64,
    to: Sender<Piece>,
}

struct Block {
    at: ByteOffset,
    holds: Holds,
}

/// Which kinds of element a block holds.
#[derive(Clone, Copy, Debug)]
struct Holds {
    nodes: bool,
    ways: bool,
    relations: bool,
}

impl Holds {
    /// Before a block has been looked into it may hold anything.
    const ANYTHING: Self = Self { nodes: true, ways: true, relations: true };

    fn of(block: &PrimitiveBlock) -> Self {
        Self {
            nodes: block.groups().any(|group| group.dense_nodes().len() > 0 || group.nodes().len() > 0),
            ways: block.groups().any(|group| group.ways().len() > 0),
            relations: block.groups().any(|group| group.relations().len() > 0),
        }
    }
}

impl ExtractFile {
    /// Opens the file, takes its checksum, and walks its blocks from end to end without unpacking them.
    fn open(path: &Path, to: &Sender<Piece>) -> Result<Self, TerrainError> {
        let unreadable = |reason| TerrainError::Unreadable { file: path.to_owned(), reason };
        let mut file = File::open(path).map_err(unreadable)?;
        let metadata = file.metadata().map_err(unreadable)?;
        if !metadata.is_file() {
            return Err(TerrainError::NotAFile { file: path.to_owned() });
        }
        let length = metadata.len();
        let sha256 = checksum(&mut file, length, to).map_err(unreadable)?;
        file.seek(SeekFrom::Start(0)).map_err(unreadable)?;

        let mut reader =
            BlobReader::new_seekable(BufReader::new(file)).map_err(|_| TerrainError::NotAnExtract)?;
        let mut blocks = Vec::new();
        let mut reached = 0;
        while let Some(next) = reader.next_header_skip_blob() {
            let (header, at) = next.map_err(|error| {
                if blocks.is_empty() { TerrainError::NotAnExtract } else { damaged(reached, &error) }
            })?;
            // The size is taken on trust for the jump just made; a negative one jumped back and would do so for ever.
            let fits = u64::try_from(header.get_blob_size()).is_ok_and(|size| size <= LARGEST_BLOCK);
            if !fits {
                return Err(TerrainError::Damaged {
                    at: reached,
                    reason: "no block may be as long as it says",
                });
            }
            reached = reader.seek_raw(SeekFrom::Current(0)).map_err(|error| damaged(reached, &error))?;
            if reached > length {
                return Err(TerrainError::Truncated { length, needed: reached });
            }
            blocks.extend(at.map(|at| Block { at, holds: Holds::ANYTHING }));
        }
        if blocks.is_empty() {
            return Err(TerrainError::NotAnExtract);
        }
        if reached < length {
            // What is left is less than the four bytes that start a block.
            return Err(TerrainError::Truncated { length, needed: reached + 4 });
        }
        let mapped_at = read_header(&mut reader, &blocks[0])?;
        Ok(Self { reader, blocks, header: Header { sha256, mapped_at }, length, to: to.clone() })
    }

    /// Walks the blocks that may hold what is wanted, and says how far it is.
    fn walk(
        &mut self,
        stage: Stage,
        wanted: fn(Holds) -> bool,
        mut look: impl FnMut(Element<'_>) -> Result<(), TerrainError>,
    ) -> Result<(), TerrainError> {
        for block in self.blocks.iter_mut().filter(|block| wanted(block.holds)) {
            say(&self.to, stage, block.at.0, self.length)?;
            let at = block.at.0;
            let blob = self.reader.blob_from_offset(block.at).map_err(|error| damaged(at, &error))?;
            match blob.decode().map_err(|error| damaged(at, &error))? {
                BlobDecode::OsmData(contents) => {
                    block.holds = Holds::of(&contents);
                    contents.elements().try_for_each(&mut look)?;
                }
                // A block of a kind that the reader does not know is to be passed over, says the format.
                BlobDecode::OsmHeader(_) | BlobDecode::Unknown(_) => {
                    block.holds = Holds { nodes: false, ways: false, relations: false };
                }
            }
        }
        say(&self.to, stage, self.length, self.length)
    }

    /// Which relations are areas, and which ways bound them.
    fn boundaries(&mut self, desk: &mut Desk) -> Result<Boundaries, TerrainError> {
        let mut members = Vec::new();
        self.walk(
            Stage::Relations,
            |holds| holds.relations,
            |element| {
                let Element::Relation(relation) = element else { return Ok(()) };
                let id = relation.id();
                let tags = whole(id, relation.tags(), relation.raw_tags().len())?;
                let Some(area) = tags.multipolygon() else { return Ok(()) };
                desk.outline(Source::Relation(id), area, tags.name)?;
                for member in relation.members().filter(|member| member.member_type == RelMemberType::Way) {
                    let role = member.role().map_err(|_| TerrainError::Contradictory { element: id })?;
                    members.push(Member { way: member.member_id, relation: id, inner: role == "inner" });
                }
                if members.len() > MOST_MEMBERS {
                    Err(too_large("boundary ways", MOST_MEMBERS))
                } else {
                    Ok(())
                }
            },
        )?;
        members.sort_unstable();
        members.dedup();
        Ok(Boundaries { members })
    }

    /// Which nodes the kept ways and the boundaries need.
    fn needed_nodes(&mut self, boundaries: &Boundaries) -> Result<Nodes, TerrainError> {
        let mut needed = NeededNodes::default();
        self.walk(
            Stage::Ways,
            |holds| holds.ways,
            |element| {
                let Element::Way(way) = element else { return Ok(()) };
                let tags = way_tags(&way)?;
                if tags.lines().next().is_some()
                    || tags.area().is_some()
                    || boundaries.bound_by(way.id()).next().is_some()
                {
                    if way.refs().len() > LONGEST_WAY {
                        return Err(TerrainError::WayTooLong {
                            way: way.id(),
                            nodes: way.refs().len(),
                            most: LONGEST_WAY,
                        });
                    }
                    way.refs().try_for_each(|node| needed.add(node))?;
                }
                Ok(())
            },
        )?;
        Ok(needed.close())
    }

    /// Where the needed nodes are, and which nodes are places.
    fn locate_nodes(&mut self, nodes: &mut Nodes, desk: &mut Desk) -> Result<(), TerrainError> {
        self.walk(
            Stage::Nodes,
            |holds| holds.nodes,
            |element| {
                let (id, lon_nano, lat_nano, tags) = match &element {
                    Element::DenseNode(node) => {
                        (node.id(), node.nano_lon(), node.nano_lat(), dense_tags(node)?)
                    }
                    Element::Node(node) => {
                        let tags = whole(node.id(), node.tags(), node.raw_tags().len())?;
                        (node.id(), node.nano_lon(), node.nano_lat(), tags)
                    }
                    Element::Way(_) | Element::Relation(_) => return Ok(()),
                };
                let Some(position) = position(id, lon_nano, lat_nano)? else { return Ok(()) };
                nodes.place(id, position);
                if let (Some(place), Some(name)) = (tags.place(), tags.name) {
                    desk.places
                        .start(6)
                        .bigint(id)
                        .text(Some(place.kind))
                        .text(Some(FreeText(name)))
                        .smallint(Some(place.rank))
                        .smallint(Some(place.from_zoom))
                        .point(position);
                    desk.hand_on(Table::Place, PIECE)?;
                }
                if let Some(spot) = tags.spot() {
                    desk.spots.start(3).bigint(id).text(Some(spot)).point(position);
                    desk.hand_on(Table::Spot, PIECE)?;
                }
                Ok(())
            },
        )
    }

    /// Writes the lines, and the boundaries of the areas.
    fn write_ways(
        &mut self,
        boundaries: &Boundaries,
        nodes: &Nodes,
        desk: &mut Desk,
    ) -> Result<(), TerrainError> {
        let mut stretches = Stretches::default();
        self.walk(
            Stage::Geometry,
            |holds| holds.ways,
            |element| {
                let Element::Way(way) = element else { return Ok(()) };
                let tags = way_tags(&way)?;
                let bounds = boundaries.bound_by(way.id());
                let area = tags.area().filter(|_| is_closed(&way));
                if tags.lines().next().is_none() && area.is_none() && bounds.clone().next().is_none() {
                    return Ok(());
                }
                stretches.lay(way.refs().map(|node| nodes.get(node)));
                for line in tags.lines() {
                    for (part, stretch) in (0_i16..).zip(stretches.iter()) {
                        desk.lines
                            .start(15)
                            .bigint(way.id())
                            .smallint(Some(part))
                            .text(Some(line.kind.word()))
                            .text(Some(line.class))
                            .smallint(Some(line.from_zoom))
                            .text(tags.name.map(FreeText))
                            .text(tags.reference.map(FreeText))
                            .text(tags.structure().map(Structure::as_str))
                            .text(tags.surface.map(FreeText))
                            .smallint(tags.layer())
                            .real(tags.width_m())
                            .smallint(tags.lanes())
                            .boolean(tags.one_way())
                            .integer(tags.voltage_v())
                            .line(stretch);
                        desk.hand_on(Table::Line, PIECE)?;
                    }
                }
                if let Some(area) = area {
                    desk.outline(Source::Way(way.id()), area, tags.name)?;
                    desk.edges(Source::Way(way.id()), false, &stretches)?;
                }
                for member in bounds {
                    desk.edges(Source::Relation(member.relation), member.inner, &stretches)?;
                }
                Ok(())
            },
        )
    }
}

/// What the reading library found wrong with a block, in words for whoever has to find a better file.
fn damaged(at: u64, error: &osmpbf::Error) -> TerrainError {
    let reason = match error.kind() {
        // The library knows plain and zlib blocks; to it, one packed otherwise is an empty one.
        ErrorKind::Blob(BlobError::Empty) => {
            return TerrainError::Unsupported { feature: "a packing other than zlib".to_owned() };
        }
        ErrorKind::Blob(_) => "it is larger than the format allows",
        ErrorKind::Io(_) => "it cannot be read to its end",
        _ => "it cannot be unpacked",
    };
    TerrainError::Damaged { at, reason }
}

fn too_large(what: &'static str, most: usize) -> TerrainError {
    TerrainError::TooLarge { what, most }
}

fn checksum(file: &mut File, length: u64, to: &Sender<Piece>) -> std::io::Result<String> {
    let mut digest = Sha256::new();
    let mut buffer = vec![0; PIECE];
    let mut done = 0;
    loop {
        let read = file.read(&mut buffer)?;
        if read == 0 {
            return Ok(HEXLOWER.encode(&digest.finalize()));
        }
        digest.update(&buffer[..read]);
        done += read as u64;
        // Nobody listening is noticed at the next walk.
        drop(say(to, Stage::Checksum, done, length));
    }
}

/// Reads the first block, which says what a reader must understand, and gives the time of the map.
fn read_header(
    reader: &mut BlobReader<BufReader<File>>,
    first: &Block,
) -> Result<Option<DateTime<Utc>>, TerrainError> {
    let blob = reader.blob_from_offset(first.at).map_err(|_| TerrainError::NotAnExtract)?;
    let Ok(BlobDecode::OsmHeader(header)) = blob.decode() else { return Err(TerrainError::NotAnExtract) };
    if let Some(feature) =
        header.required_features().iter().find(|feature| !UNDERSTOOD.contains(&feature.as_str()))
    {
        return Err(TerrainError::Unsupported { feature: format!("'{}'", FreeText(feature)) });
    }
    Ok(header.osmosis_replication_timestamp().and_then(|seconds| DateTime::from_timestamp(seconds, 0)))
}

fn say(to: &Sender<Piece>, stage: Stage, done: u64, total: u64) -> Result<(), TerrainError> {
    to.blocking_send(Piece::Progress(Progress { stage, done, total })).map_err(|_| TerrainError::Abandoned)
}

/// The tags of an element, or an error if some of them point nowhere: the reading library would leave those and all
/// that follow out without a word.
fn whole<'a>(
    element: i64,
    pairs: impl Iterator<Item = (&'a str, &'a str)>,
    stated: usize,
) -> Result<Tags<'a>, TerrainError> {
    let mut found = 0;
    let tags = Tags::gather(pairs.inspect(|_| found += 1));
    if found == stated { Ok(tags) } else { Err(TerrainError::Contradictory { element }) }
}

fn way_tags<'a>(way: &Way<'a>) -> Result<Tags<'a>, TerrainError> {
    whole(way.id(), way.tags(), way.raw_tags().len())
}

fn dense_tags<'a>(node: &DenseNode<'a>) -> Result<Tags<'a>, TerrainError> {
    whole(node.id(), node.tags(), node.raw_tags().len())
}

fn is_closed(way: &Way<'_>) -> bool {
    let mut refs = way.refs();
    refs.len() >= 4 && refs.next() == way.refs().last()
}

/// A node's position, `None` near the poles where the map's projection ends, an error where there is no such place.
fn position(node: i64, lon_nano: i64, lat_nano: i64) -> Result<Option<Position>, TerrainError> {
    let (lon, lat) = (lon_nano / 100, lat_nano / 100);
    if lon.abs() > 1_800_000_000 || lat.abs() > 900_000_000 {
        return Err(TerrainError::OffTheEarth { node });
    }
    if lat.abs() > MERCATOR_LIMIT_E7 {
        return Ok(None);
    }
    match (i32::try_from(lon), i32::try_from(lat)) {
        (Ok(lon_e7), Ok(lat_e7)) => Ok(Some(Position { lon_e7, lat_e7 })),
        _ => Err(TerrainError::OffTheEarth { node }),
    }
}

/// Which ways bound the areas that are relations.
struct Boundaries {
    /// Sorted by way.
    members: Vec<Member>,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
struct Member {
    way: i64,
    relation: i64,
    inner: bool,
}

impl Boundaries {
    /// The relations that a way bounds.
    fn bound_by(&self, way: i64) -> impl Iterator<Item = &Member> + Clone + use<'_> {
        let from = self.members.partition_point(|member| member.way < way);
        self.members[from..].iter().take_while(move |member| member.way == way)
    }
}

/// Node numbers as they are collected: sorted and freed of doubles whenever the room is used up.
#[derive(Default)]
struct NeededNodes {
    ids: Vec<i64>,
}

impl NeededNodes {
    fn add(&mut self, id: i64) -> Result<(), TerrainError> {
        if self.ids.len() == self.ids.capacity() {
            self.ids.sort_unstable();
            self.ids.dedup();
            if self.ids.len() > MOST_NODES {
                return Err(too_large("nodes", MOST_NODES));
            }
            // By a quarter at a time: doubling would take up to twice the memory that is needed.
            self.ids.reserve_exact((self.ids.len() / 4).max(1 << 16));
        }
        self.ids.push(id);
        Ok(())
    }

    fn close(mut self) -> Nodes {
        self.ids.sort_unstable();
        self.ids.dedup();
        self.ids.shrink_to_fit();
        let at = vec![NOWHERE; self.ids.len()];
        Nodes { ids: self.ids, at }
    }
}

/// The needed nodes, sorted by number, with the position of each.
struct Nodes {
    ids: Vec<i64>,
    at: Vec<Position>,
}

/// Stands for a node that the extract does not hold. No longitude is as large.
const NOWHERE: Position = Position { lon_e7: i32::MAX, lat_e7: i32::MAX };

impl Nodes {
    fn place(&mut self, id: i64, position: Position) {
        if let Ok(index) = self.ids.binary_search(&id) {
            self.at[index] = position;
        }
    }

    fn get(&self, id: i64) -> Option<Position> {
        let index = self.ids.binary_search(&id).ok()?;
        Some(self.at[index]).filter(|&position| position != NOWHERE)
    }
}

/// A way cut where the extract lacks nodes: the stretches between, each of two points or more. Nothing is drawn across
/// a gap.
#[derive(Default)]
struct Stretches {
    points: Vec<Position>,
    /// Where each stretch ends in `points`.
    ends: Vec<usize>,
}

impl Stretches {
    fn lay(&mut self, points: impl Iterator<Item = Option<Position>>) {
        self.points.clear();
        self.ends.clear();
        for point in points {
            match point {
                // A point given twice in a row adds nothing.
                Some(point) if self.points.len() > self.start() && self.points.last() == Some(&point) => {}
                Some(point) => self.points.push(point),
                None => self.end(),
            }
        }
        self.end();
    }

    fn start(&self) -> usize {
        self.ends.last().copied().unwrap_or(0)
    }

    fn end(&mut self) {
        let start = self.start();
        match self.points.len() - start {
            0 => {}
            1 => self.points.truncate(start),
            _ => self.ends.push(self.points.len()),
        }
    }

    fn iter(&self) -> impl Iterator<Item = &[Position]> {
        let mut from = 0;
        self.ends.iter().map(move |&to| &self.points[std::mem::replace(&mut from, to)..to])
    }
}

/// Where rows wait until there are enough of them to hand on.
struct Desk {
    lines: Rows,
    places: Rows,
    spots: Rows,
    outlines: Rows,
    edges: Rows,
    to: Sender<Piece>,
}

impl Desk {
    fn new(to: Sender<Piece>) -> Self {
        let rows = Rows::default;
        Self { lines: rows(), places: rows(), spots: rows(), outlines: rows(), edges: rows(), to }
    }

    fn outline(&mut self, element: Source, area: Area, name: Option<&str>) -> Result<(), TerrainError> {
        self.outlines
            .start(5)
            .text(Some(element.word()))
            .bigint(element.id())
            .text(Some(area.kind.word()))
            .text(Some(area.class))
            .text(name.map(FreeText));
        self.hand_on(Table::Outline, PIECE)
    }

    fn edges(&mut self, element: Source, inner: bool, stretches: &Stretches) -> Result<(), TerrainError> {
        for stretch in stretches.iter() {
            self.edges.start(4).text(Some(element.word())).bigint(element.id()).boolean(inner).line(stretch);
        }
        self.hand_on(Table::Edge, PIECE)
    }

    /// Hands on a table's rows once there are `at_least` so many bytes of them.
    fn hand_on(&mut self, table: Table, at_least: usize) -> Result<(), TerrainError> {
        let rows = match table {
            Table::Line => &mut self.lines,
            Table::Place => &mut self.places,
            Table::Spot => &mut self.spots,
            Table::Outline => &mut self.outlines,
            Table::Edge => &mut self.edges,
        };
        if rows.len() < at_least {
            return Ok(());
        }
        let Some(bytes) = rows.take() else { return Ok(()) };
        self.to.blocking_send(Piece::Rows(table, bytes)).map_err(|_| TerrainError::Abandoned)
    }

    fn close(mut self) -> Result<(), TerrainError> {
        Table::ALL.into_iter().try_for_each(|table| self.hand_on(table, 0))
    }
}

/// What an area was made from. Ways and relations are numbered apart.
#[derive(Clone, Copy, Debug)]
enum Source {
    Way(i64),
    Relation(i64),
}

impl Source {
    const fn word(self) -> &'static str {
        match self {
            Self::Way(_) => "way",
            Self::Relation(_) => "relation",
        }
    }

    const fn id(self) -> i64 {
        match self {
            Self::Way(id) | Self::Relation(id) => id,
        }
    }
}
