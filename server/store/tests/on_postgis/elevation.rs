//! Grids of heights on real PostGIS: read as they are written, and nothing left of a file that is wrong.
//!
//! Every file is made here, byte by byte: HGT as NASA's SRTM quick start has it (from memory), TIFF by the tables of TIFF 6.0
//! (1992), its keys by OGC 19-008r4 (GeoTIFF 1.1). The ground is a plane or a ramp whose heights follow from its formula. Files
//! that GDAL writes are compared in tests/reference/test_elevation.py.

use std::path::{Path, PathBuf};

use laywire_craft::{elevation::Profile, trace::Trace, units::Metres};
use laywire_store::{
    PgPool,
    elevation::{self, ElevationError, Fault, Heights, Loaded, ProfileError},
};
use sqlx::AssertSqlSafe;
use tempfile::TempDir;
use tiff::encoder::{Compression, DeflateLevel, TiffEncoder, colortype::Gray16};

use crate::ground::{Ground, at};

// ---- Files ----

/// A tile with the height that `ground` gives for a column and a row.
fn hgt(side: u16, ground: impl Fn(u16, u16) -> i16) -> Vec<u8> {
    (0..side)
        .flat_map(|row| (0..side).map(move |column| (column, row)))
        .flat_map(|(c, r)| ground(c, r).to_be_bytes())
        .collect()
}

/// The values of a tag.
#[derive(Clone)]
enum Values {
    Short(Vec<u16>),
    Long(Vec<u32>),
    Double(Vec<f64>),
    Text(&'static str),
}

impl Values {
    /// Type, count and bytes (TIFF 6.0, section 2).
    fn written(&self) -> (u16, usize, Vec<u8>) {
        match self {
            Self::Text(text) => (2, text.len() + 1, [text.as_bytes(), &[0]].concat()),
            Self::Short(values) => (3, values.len(), values.iter().flat_map(|v| v.to_le_bytes()).collect()),
            Self::Long(values) => (4, values.len(), values.iter().flat_map(|v| v.to_le_bytes()).collect()),
            Self::Double(values) => (12, values.len(), values.iter().flat_map(|v| v.to_le_bytes()).collect()),
        }
    }
}

const WIDTH: u16 = 256;
const LENGTH: u16 = 257;
const BITS: u16 = 258;
const COMPRESSION: u16 = 259;
const PHOTOMETRIC: u16 = 262;
const STRIP_OFFSETS: u16 = 273;
const BANDS: u16 = 277;
const STRIP_ROWS: u16 = 278;
const STRIP_BYTES: u16 = 279;
const TILE_WIDTH: u16 = 322;
const TILE_LENGTH: u16 = 323;
const TILE_OFFSETS: u16 = 324;
const TILE_BYTES: u16 = 325;
const FORMAT: u16 = 339;
const SCALE: u16 = 33_550;
const TIE: u16 = 33_922;
const KEYS: u16 = 34_735;
const METADATA: u16 = 42_112;
const NODATA: u16 = 42_113;

/// What stands before the first piece: the header of eight bytes.
const BODY: u32 = 8;

/// A TIFF of tags and of pieces that lie one after the other from [`BODY`] on.
#[derive(Clone)]
struct Tiff {
    tags: Vec<(u16, Values)>,
    body: Vec<u8>,
}

impl Tiff {
    /// A grid in one strip, whose north-west cell has its corner at 7° E 51° N: 0.001° a cell, EPSG:4326, a cell being an area.
    fn of(columns: u16, rows: u16, ground: impl Fn(u16, u16) -> f32) -> Self {
        let body: Vec<u8> = (0..rows)
            .flat_map(|row| (0..columns).map(move |column| (column, row)))
            .flat_map(|(c, r)| ground(c, r).to_le_bytes())
            .collect();
        let bytes = u32::try_from(body.len()).unwrap();
        let tags = vec![
            (WIDTH, Values::Short(vec![columns])),
            (LENGTH, Values::Short(vec![rows])),
            (BITS, Values::Short(vec![32])),
            (COMPRESSION, Values::Short(vec![1])),
            (PHOTOMETRIC, Values::Short(vec![1])),
            (STRIP_OFFSETS, Values::Long(vec![BODY])),
            (BANDS, Values::Short(vec![1])),
            (STRIP_ROWS, Values::Short(vec![rows])),
            (STRIP_BYTES, Values::Long(vec![bytes])),
            (FORMAT, Values::Short(vec![3])),
            (SCALE, Values::Double(vec![0.001, 0.001, 0.0])),
            (TIE, Values::Double(vec![0.0, 0.0, 0.0, 7.0, 51.0, 0.0])),
            // GTModelTypeGeoKey geographic, GTRasterTypeGeoKey area, GeodeticCRSGeoKey.
            (KEYS, Values::Short(keys(&[(1024, 2), (1025, 1), (2048, 4326)]))),
        ];
        Self { tags, body }
    }

    fn with(mut self, tag: u16, values: Values) -> Self {
        self.tags.retain(|(number, _)| *number != tag);
        self.tags.push((tag, values));
        self
    }

    fn without(mut self, tag: u16) -> Self {
        self.tags.retain(|(number, _)| *number != tag);
        self
    }

    /// The bytes; the directory comes last.
    fn written(mut self) -> Vec<u8> {
        self.tags.sort_by_key(|(number, _)| *number);
        let mut file = [b"II*\0".as_slice(), &[0; 4], &self.body].concat();
        let mut directory = u16::try_from(self.tags.len()).unwrap().to_le_bytes().to_vec();
        for (number, values) in &self.tags {
            let (kind, count, bytes) = values.written();
            directory.extend(number.to_le_bytes());
            directory.extend(kind.to_le_bytes());
            directory.extend(u32::try_from(count).unwrap().to_le_bytes());
            if bytes.len() <= 4 {
                directory.extend(&bytes);
                directory.extend(vec![0; 4 - bytes.len()]);
            } else {
                directory.extend(u32::try_from(file.len()).unwrap().to_le_bytes());
                file.extend(&bytes);
            }
        }
        directory.extend([0; 4]);
        let at = u32::try_from(file.len()).unwrap().to_le_bytes();
        file[4..8].copy_from_slice(&at);
        file.extend(directory);
        file
    }
}

/// A directory of keys whose values stand in it (OGC 19-008r4, 7.1).
fn keys(keys: &[(u16, u16)]) -> Vec<u16> {
    let count = u16::try_from(keys.len()).unwrap();
    [1, 1, 0, count].into_iter().chain(keys.iter().flat_map(|&(key, value)| [key, 0, 1, value])).collect()
}

/// The deflate stream of that many zeros of 16 bits, as another program writes it.
fn packed_zeros(side: u32) -> Vec<u8> {
    let mut file = std::io::Cursor::new(Vec::new());
    let mut encoder =
        TiffEncoder::new(&mut file).unwrap().with_compression(Compression::Deflate(DeflateLevel::Best));
    let mut image = encoder.new_image::<Gray16>(side, side).unwrap();
    image.rows_per_strip(side).unwrap();
    image.write_data(&vec![0; (side * side) as usize]).unwrap();
    file.set_position(0);
    let mut decoder = tiff::decoder::Decoder::new(file).unwrap();
    let from = decoder.get_tag_u32(tiff::tags::Tag::StripOffsets).unwrap() as usize;
    let bytes = decoder.get_tag_u32(tiff::tags::Tag::StripByteCounts).unwrap() as usize;
    decoder.inner().get_ref()[from..from + bytes].to_vec()
}

struct Folder(TempDir);

impl Folder {
    fn new() -> Self {
        Self(tempfile::tempdir().unwrap())
    }

    fn file(&self, name: &str, bytes: &[u8]) -> PathBuf {
        let path = self.0.path().join(name);
        std::fs::write(&path, bytes).unwrap();
        path
    }
}

// ---- Questions ----

async fn load(pool: &PgPool, file: &Path) -> Result<Vec<Loaded>, ElevationError> {
    elevation::load(pool, &[file.to_owned()], |_| {}).await
}

fn trace(places: &[(f64, f64)]) -> Trace {
    Trace::new(places.iter().map(|&(lon, lat)| at(lon, lat)).collect()).unwrap()
}

async fn heights(pool: &PgPool, places: &[(f64, f64)]) -> Heights {
    elevation::heights(pool, trace(places)).await.unwrap()
}

/// The heights at the two ends of a trace.
fn ends(profile: &Profile) -> [Option<f64>; 2] {
    [profile.points().first(), profile.points().last()].map(|point| point.unwrap().height.map(Metres::value))
}

async fn counted(pool: &PgPool) -> (i64, i64) {
    sqlx::query_as("select (select count(*) from elevation_grid), (select count(*) from elevation_block)")
        .fetch_one(pool)
        .await
        .unwrap()
}

#[track_caller]
fn near(found: Option<f64>, awaited: f64) {
    assert!(found.is_some_and(|found| (found - awaited).abs() < 0.001), "{found:?} is not {awaited}");
}

// ---- What is read ----

#[tokio::test]
async fn a_tile_is_read_as_it_is_written_and_has_no_seam() {
    let (ground, folder) = (Ground::new().await, Folder::new());
    // A metre a column to the east, two a row to the south: a plane, over which bilinear heights are exact.
    let plane = hgt(1201, |column, row| i16::try_from(column + 2 * row).unwrap() - 1000);
    let loaded = load(&ground.pool, &folder.file("n54w005.hgt", &plane)).await.unwrap();
    assert_eq!(loaded.len(), 1);
    assert_eq!((loaded[0].name.as_str(), loaded[0].columns, loaded[0].replaced), ("N54W005", 1201, false));
    // 255 cells a block: five blocks each way for 1,200 cells.
    assert_eq!(counted(&ground.pool).await, (1, 25));

    let exactly = |lon: f64, lat: f64| (lon + 5.0) * 1200.0 + 2.0 * (55.0 - lat) * 1200.0 - 1000.0;
    let (from, to) = ((-4.9, 54.9), (-4.05, 54.13));
    let known = heights(&ground.pool, &[from, to]).await;
    assert_eq!(known.profile.unknown(), Metres::ZERO);
    let [first, last] = ends(&known.profile);
    near(first, exactly(from.0, from.1));
    near(last, exactly(to.0, to.1));
    let way = trace(&[from, to]);
    for point in known.profile.points() {
        let there = way.at(point.chainage).unwrap();
        near(point.height.map(Metres::value), exactly(there.lon(), there.lat()));
    }
    assert_eq!(known.from.len(), 1);
    assert_eq!(elevation::list(&ground.pool).await.unwrap(), known.from);
    // The corner posts are the corners of the degree.
    let corners = heights(&ground.pool, &[(-5.0, 55.0), (-4.0, 54.0)]).await;
    assert_eq!(ends(&corners.profile), [Some(-1000.0), Some(2600.0)]);
}

#[tokio::test]
async fn a_geotiff_is_read_at_the_middle_of_its_cells_or_at_its_posts() {
    let (ground, folder) = (Ground::new().await, Folder::new());
    let slope = |column: u16, row: u16| f32::from(column) * 0.5 + f32::from(row) * 0.25;
    load(&ground.pool, &folder.file("area.tif", &Tiff::of(300, 270, slope).written())).await.unwrap();
    // The middle of the cell in column 10, row 20, and of the one in column 280, row 260, in another block.
    let places = [(7.0105, 50.9795), (7.2805, 50.7395)];
    let [first, last] = ends(&heights(&ground.pool, &places).await.profile);
    near(first, 10.0);
    near(last, 205.0);

    let post =
        Tiff::of(300, 270, slope).with(KEYS, Values::Short(keys(&[(1024, 2), (1025, 2), (2048, 4326)])));
    load(&ground.pool, &folder.file("area.tif", &post.written())).await.unwrap();
    let [first, last] = ends(&heights(&ground.pool, &[(7.01, 50.98), (7.28, 50.74)]).await.profile);
    near(first, 10.0);
    near(last, 205.0);
}

#[tokio::test]
async fn tiles_and_pieces_that_a_sparse_file_leaves_out_are_read() {
    let (ground, folder) = (Ground::new().await, Folder::new());
    // 40 × 20 whole numbers in tiles of 16: six of them, the fourth of which is left out (GDAL: no bytes).
    let tile = |across: i16, down: i16| -> Vec<u8> {
        let height = move |n: i16| across * 16 + n % 16 + 100 * (down * 16 + n / 16);
        (0..256).flat_map(|n| height(n).to_le_bytes()).collect()
    };
    let body: Vec<u8> =
        [(0, 0), (1, 0), (2, 0), (1, 1), (2, 1)].into_iter().flat_map(|(a, d)| tile(a, d)).collect();
    let offsets =
        [0, 512, 1024].map(|at| BODY + at).into_iter().chain([0]).chain([1536, 2048].map(|at| BODY + at));
    let tiled = Tiff { body, ..Tiff::of(40, 20, |_, _| 0.0) }
        .without(STRIP_OFFSETS)
        .without(STRIP_BYTES)
        .without(STRIP_ROWS)
        .with(BITS, Values::Short(vec![16]))
        .with(FORMAT, Values::Short(vec![2]))
        .with(TILE_WIDTH, Values::Short(vec![16]))
        .with(TILE_LENGTH, Values::Short(vec![16]))
        .with(TILE_OFFSETS, Values::Long(offsets.collect()))
        .with(TILE_BYTES, Values::Long(vec![512, 512, 512, 0, 512, 512]));
    load(&ground.pool, &folder.file("tiles.tiff", &tiled.written())).await.unwrap();
    // Column 3, row 10 and column 37, row 18; and within the piece that is not there, column 3, row 18.
    let [first, last] = ends(&heights(&ground.pool, &[(7.0035, 50.9895), (7.0375, 50.9815)]).await.profile);
    near(first, 1003.0);
    near(last, 1837.0);
    let gap = heights(&ground.pool, &[(7.0035, 50.9815), (7.0045, 50.9815)]).await;
    assert_eq!(ends(&gap.profile), [None, None]);
}

#[tokio::test]
async fn what_a_file_calls_unknown_is_unknown_and_never_zero() {
    let (ground, folder) = (Ground::new().await, Folder::new());
    // The western half of the tile is unknown: of 25 blocks ten hold nothing and are not kept.
    let tile = hgt(1201, |column, _| if column < 600 { i16::MIN } else { 40 });
    load(&ground.pool, &folder.file("S01E000.hgt", &tile)).await.unwrap();
    assert_eq!(counted(&ground.pool).await, (1, 15));
    let over = heights(&ground.pool, &[(0.3, -0.5), (0.7, -0.5)]).await.profile;
    assert_eq!(ends(&over), [None, Some(40.0)]);
    assert_eq!(over.surface_length(), None);

    let lake = Tiff::of(8, 8, |column, _| if column == 3 { -9999.0 } else { 5.0 });
    let said =
        load(&ground.pool, &folder.file("lake.tif", &lake.clone().written())).await.unwrap_err().to_string();
    assert!(said.contains("gdal_translate -a_nodata -9999"), "{said}");
    load(&ground.pool, &folder.file("lake.tif", &lake.with(NODATA, Values::Text("-9999")).written()))
        .await
        .unwrap();
    let over = heights(&ground.pool, &[(7.0015, 50.9965), (7.0035, 50.9965)]).await.profile;
    let [first, last] = ends(&over);
    near(first, 5.0);
    assert_eq!(last, None);
}

#[tokio::test]
async fn where_grids_overlap_the_finer_one_is_asked_first() {
    let (ground, folder) = (Ground::new().await, Folder::new());
    let fine = Tiff::of(20, 20, |column, _| if column < 10 { 7.0 } else { f32::NAN });
    load(&ground.pool, &folder.file("fine.tif", &fine.written())).await.unwrap();
    let coarse = Tiff::of(4, 4, |_, _| 9.0).with(SCALE, Values::Double(vec![0.01, 0.01, 0.0]));
    load(&ground.pool, &folder.file("coarse.tif", &coarse.written())).await.unwrap();
    let known = heights(&ground.pool, &[(7.006, 50.99), (7.014, 50.99)]).await;
    assert_eq!(ends(&known.profile), [Some(7.0), Some(9.0)]);
    let names: Vec<_> = known.from.iter().map(|grid| grid.name.as_str()).collect();
    assert_eq!(names, ["fine", "coarse"]);
    // No grid lies here, and then nothing is known.
    let beyond = heights(&ground.pool, &[(8.0, 40.0), (8.1, 40.0)]).await;
    assert!(beyond.from.is_empty() && beyond.profile.extremes().is_none());
}

// ---- One and the next ----

#[tokio::test(flavor = "multi_thread")]
async fn a_grid_is_replaced_without_a_moment_in_which_there_is_none() {
    let (ground, folder) = (Ground::new().await, Folder::new());
    let file = |height: f32| folder.file("hills.tif", &Tiff::of(30, 600, |_, _| height).written());
    load(&ground.pool, &file(100.0)).await.unwrap();
    let (pool, mut asked) = (ground.pool.clone(), 0);
    let higher = [file(200.0)];
    let again = elevation::load(&ground.pool, &higher, |progress| {
        assert!(progress.done <= progress.total);
        let reading = heights(&pool, &[(7.005, 50.9), (7.006, 50.8)]);
        let meanwhile = tokio::task::block_in_place(|| tokio::runtime::Handle::current().block_on(reading));
        assert_eq!(ends(&meanwhile.profile), [Some(100.0), Some(100.0)]);
        asked += 1;
    });
    assert!(again.await.unwrap()[0].replaced);
    assert_eq!(asked, 3);
    let after = heights(&ground.pool, &[(7.005, 50.9), (7.006, 50.8)]).await;
    assert_eq!(ends(&after.profile), [Some(200.0), Some(200.0)]);
    assert_eq!(counted(&ground.pool).await, (1, 3));
}

#[tokio::test]
async fn of_several_files_all_are_loaded_or_none() {
    let (ground, folder) = (Ground::new().await, Folder::new());
    let good = folder.file("good.tif", &Tiff::of(4, 4, |_, _| 1.0).written());
    let cut = folder.file("cut.tif", &Tiff::of(4, 4, |_, _| f32::NAN).written());
    let said = elevation::load(&ground.pool, &[good.clone(), cut], |_| {}).await.unwrap_err().to_string();
    assert!(said.contains("cut.tif") && said.ends_with("Nothing was loaded"), "{said}");
    assert_eq!(counted(&ground.pool).await, (0, 0));
    let twice = elevation::load(&ground.pool, &[good.clone(), good.clone()], |_| {}).await;
    assert!(matches!(twice, Err(ElevationError::File { fault: Fault::Twice(name), .. }) if name == "good"));
    assert_eq!(counted(&ground.pool).await, (0, 0));
    load(&ground.pool, &good).await.unwrap();
    assert_eq!(counted(&ground.pool).await, (1, 1));
}

#[tokio::test]
async fn grids_are_removed_by_name_all_or_none() {
    let (ground, folder) = (Ground::new().await, Folder::new());
    let files = ["a.tif", "b.tif"].map(|name| folder.file(name, &Tiff::of(4, 4, |_, _| 1.0).written()));
    elevation::load(&ground.pool, &files, |_| {}).await.unwrap();
    let names = |names: &[&str]| names.iter().map(|&name| name.to_owned()).collect::<Vec<_>>();
    let wrong = elevation::remove(&ground.pool, &names(&["a", "c"])).await;
    assert!(matches!(wrong, Err(ElevationError::NoSuchGrid { name }) if name == "c"));
    assert_eq!(counted(&ground.pool).await, (2, 2));
    elevation::remove(&ground.pool, &names(&["b", "a"])).await.unwrap();
    assert_eq!(counted(&ground.pool).await, (0, 0));
}

#[tokio::test]
async fn two_loads_do_not_run_at_once() {
    let (ground, folder) = (Ground::new().await, Folder::new());
    let file = folder.file("good.tif", &Tiff::of(4, 4, |_, _| 1.0).written());
    let mut other = ground.pool.begin().await.unwrap();
    sqlx::query("select pg_advisory_xact_lock($1)")
        .bind(0x656c_6576_6174_0000_i64)
        .execute(&mut *other)
        .await
        .unwrap();
    assert!(matches!(load(&ground.pool, &file).await, Err(ElevationError::LoadUnderWay)));
    other.rollback().await.unwrap();
    load(&ground.pool, &file).await.unwrap();
}

// ---- What is refused ----

fn plain() -> Tiff {
    Tiff::of(4, 4, |_, _| 1.0)
}

/// The name of a file that is wrong, its bytes, and words that have to be said of it.
#[allow(clippy::too_many_lines, reason = "a table, one file a line or a few")]
fn wrong_files() -> Vec<(&'static str, Vec<u8>, &'static str)> {
    let short = |values: &[u16]| Values::Short(values.to_vec());
    let long = |values: &[u32]| Values::Long(values.to_vec());
    let crs = |values: &[(u16, u16)]| plain().with(KEYS, Values::Short(keys(values))).written();
    let cut = |file: Vec<u8>, bytes: usize| file[..bytes].to_vec();
    // Whose directory stands before the heights, so that it is the heights that are cut off.
    let heights_last = |beyond: u32| plain().with(STRIP_OFFSETS, long(&[beyond])).written();
    let bomb = {
        // 1,600 tiles that all are the same 512 bytes: 400,000 heights out of 500.
        let tiles = 1600;
        Tiff { body: vec![0; 512], ..Tiff::of(640, 640, |_, _| 0.0) }
            .without(STRIP_OFFSETS)
            .without(STRIP_BYTES)
            .without(STRIP_ROWS)
            .with(BITS, short(&[16]))
            .with(FORMAT, short(&[2]))
            .with(TILE_WIDTH, short(&[16]))
            .with(TILE_LENGTH, short(&[16]))
            .with(TILE_OFFSETS, Values::Long(vec![BODY; tiles]))
            .with(TILE_BYTES, Values::Long(vec![512; tiles]))
            .written()
    };
    let item = |text| plain().with(METADATA, Values::Text(text)).written();
    vec![
        ("N54W005.hgt", hgt(1200, |_, _| 1), "2,884,802 bytes"),
        ("N54W005.hgt", cut(hgt(1201, |_, _| 1), 2_884_800), "cut short or no HGT tile"),
        ("N54W005.hgt", hgt(1201, |_, _| i16::MIN), "no known height"),
        (
            "N54W005.hgt",
            hgt(1201, |column, row| if (column, row) == (7, 9) { 9001 } else { 0 }),
            "column 7, row 9",
        ),
        ("north.hgt", hgt(1201, |_, _| 1), "N54W005.hgt"),
        ("N90E000.hgt", hgt(1201, |_, _| 1), "rename it"),
        ("N54W005.hgt", Vec::new(), "has 0"),
        ("tiles.zip", b"PK\x03\x04rest".to_vec(), "packed as a zip: unpack it"),
        ("tile.hgt.gz", vec![0x1f, 0x8b, 8, 0], "packed as gzip: unpack it"),
        ("notes.txt", b"heights of the hills".to_vec(), "neither a GeoTIFF nor an HGT tile"),
        ("empty.tif", Vec::new(), "does not begin as a TIFF"),
        ("cut.tif", cut(plain().written(), 6), "damaged"),
        ("cut.tif", cut(plain().written(), 60), "damaged"),
        (
            "cut.tif",
            {
                let file = plain().written();
                let half = file.len() - 30;
                cut(file, half)
            },
            "damaged",
        ),
        ("heights.tif", heights_last(1_000_000), "cut short: it has"),
        ("heights.tif", heights_last(u32::MAX), "needs 4294967359"),
        ("few.tif", plain().with(STRIP_BYTES, long(&[8])).written(), "fewer bytes than heights"),
        ("none.tif", plain().with(WIDTH, short(&[0])).written(), "damaged"),
        ("one.tif", Tiff::of(1, 4, |_, _| 1.0).written(), "make no grid"),
        ("wide.tif", plain().with(WIDTH, long(&[u32::MAX])).written(), "too many"),
        (
            "both.tif",
            plain()
                .with(WIDTH, long(&[90_000]))
                .with(LENGTH, long(&[90_000]))
                .with(STRIP_ROWS, long(&[90_000]))
                .written(),
            "too many",
        ),
        (
            "rows.tif",
            plain().with(LENGTH, short(&[5])).with(STRIP_ROWS, short(&[5])).written(),
            "fewer bytes than heights",
        ),
        ("strips.tif", plain().with(STRIP_ROWS, short(&[1])).written(), "damaged"),
        ("strips.tif", plain().with(STRIP_ROWS, short(&[0])).written(), "damaged"),
        (
            "tile.tif",
            plain()
                .without(STRIP_OFFSETS)
                .without(STRIP_BYTES)
                .with(TILE_WIDTH, long(&[1 << 31]))
                .with(TILE_LENGTH, long(&[1 << 31]))
                .with(TILE_OFFSETS, long(&[BODY]))
                .with(TILE_BYTES, long(&[64]))
                .written(),
            "too large",
        ),
        ("bomb.tif", bomb, "lie in the same bytes"),
        ("lzw.tif", plain().with(COMPRESSION, short(&[5])).written(), "damaged"),
        ("deflate.tif", plain().with(COMPRESSION, short(&[8])).written(), "damaged"),
        ("jpeg.tif", plain().with(COMPRESSION, short(&[7])).written(), "COMPRESS=DEFLATE"),
        ("bands.tif", plain().with(BANDS, short(&[3])).with(BITS, short(&[32, 32, 32])).written(), "3 bands"),
        ("bits.tif", plain().with(BITS, short(&[8])).with(FORMAT, short(&[1])).written(), "8 bits"),
        ("double.tif", plain().with(BITS, short(&[64])).written(), "-ot Float32"),
        ("white.tif", plain().with(PHOTOMETRIC, short(&[0])).written(), "a picture"),
        ("plain.tif", plain().without(KEYS).written(), "no reference system"),
        (
            "utm.tif",
            crs(&[(1024, 1), (1025, 1), (3072, 25_832)]),
            "EPSG:25832 and EPSG:4326 is wanted: make one by 'gdalwarp -t_srs EPSG:4326",
        ),
        ("own.tif", crs(&[(1024, 1), (3072, 32_767)]), "a projection of its own"),
        ("etrs.tif", crs(&[(1024, 2), (2048, 4258)]), "EPSG:4258"),
        ("other.tif", crs(&[(1024, 2), (2048, 32_767)]), "a reference system of its own"),
        ("grads.tif", crs(&[(1024, 2), (2048, 4326), (2054, 9105)]), "EPSG:9105"),
        ("feet.tif", crs(&[(1024, 2), (2048, 4326), (4099, 9002)]), "not metres"),
        ("odd.tif", plain().with(KEYS, short(&[1, 1, 0])).written(), "reference system"),
        ("turned.tif", plain().without(SCALE).written(), "turned"),
        (
            "nowhere.tif",
            plain().with(TIE, Values::Double(vec![0.0, 0.0, 0.0, 7.0, 91.0, 0.0])).written(),
            "not on the Earth",
        ),
        (
            "nan.tif",
            plain().with(TIE, Values::Double(vec![0.0, 0.0, 0.0, f64::NAN, 51.0, 0.0])).written(),
            "not on the Earth",
        ),
        ("mirror.tif", plain().with(SCALE, Values::Double(vec![-0.001, 0.001, 0.0])).written(), "north-west"),
        ("tiny.tif", plain().with(SCALE, Values::Double(vec![1e-300, 1e-300, 0.0])).written(), "north-west"),
        (
            "level.tif",
            plain().with(SCALE, Values::Double(vec![0.001, 0.001, 0.1])).written(),
            "another level",
        ),
        (
            "scaled.tif",
            item("<GDALMetadata><Item name=\"SCALE\" sample=\"0\" role=\"scale\">0.1</Item></GDALMetadata>"),
            "-unscale",
        ),
        (
            "offset.tif",
            item("<GDALMetadata><Item name=\"OFFSET\" sample=\"0\" role=\"offset\">12</Item></GDALMetadata>"),
            "-unscale",
        ),
        (
            "unit.tif",
            item(
                "<GDALMetadata><Item name=\"UNITTYPE\" sample=\"0\" role=\"unittype\">ft</Item></GDALMetadata>",
            ),
            "in 'ft', not in metres",
        ),
        ("nodata.tif", plain().with(NODATA, Values::Text("none")).written(), "no number"),
        (
            "high.tif",
            Tiff::of(4, 4, |c, r| if (c, r) == (1, 2) { 3.4e38 } else { 1.0 }).written(),
            "column 1, row 2",
        ),
        ("infinite.tif", Tiff::of(4, 4, |_, _| f32::INFINITY).written(), "nowhere on the Earth"),
        ("unknown.tif", Tiff::of(4, 4, |_, _| f32::NAN).written(), "no known height"),
        ("\u{1}.tif", plain().written(), "control character"),
    ]
}

#[tokio::test]
async fn a_file_that_is_wrong_says_what_to_do_and_leaves_everything_as_it_was() {
    let (ground, folder) = (Ground::new().await, Folder::new());
    load(&ground.pool, &folder.file("N54W005.hgt", &hgt(1201, |_, _| 77))).await.unwrap();
    let (before, list) = (counted(&ground.pool).await, elevation::list(&ground.pool).await.unwrap());
    let mut otherwise = Vec::new();
    for (name, bytes, words) in wrong_files() {
        let wrong = Folder::new();
        let said = load(&ground.pool, &wrong.file(name, &bytes))
            .await
            .map_or_else(|error| error.to_string(), |_| "loaded".into());
        if !said.contains(words) || !said.ends_with("Nothing was loaded") {
            otherwise.push(format!("{name} ({words}): {said}"));
        }
        assert_eq!(counted(&ground.pool).await, before, "{name}");
    }
    assert!(otherwise.is_empty(), "{}", otherwise.join("\n"));
    let nothing = load(&ground.pool, &folder.0.path().join("missing.hgt")).await.unwrap_err().to_string();
    assert!(nothing.contains("cannot be read"), "{nothing}");
    let of_files = load(&ground.pool, folder.0.path()).await.unwrap_err().to_string();
    assert!(of_files.contains("not a file"), "{of_files}");
    assert_eq!(elevation::list(&ground.pool).await.unwrap(), list);
    assert_eq!(ends(&heights(&ground.pool, &[(-4.5, 54.5), (-4.4, 54.5)]).await.profile), [Some(77.0); 2]);
}

#[tokio::test]
async fn a_grid_that_is_cut_off_anywhere_is_refused() {
    let (ground, folder) = (Ground::new().await, Folder::new());
    let whole =
        Tiff::of(5, 4, |column, row| f32::from(column + row)).with(NODATA, Values::Text("-9999")).written();
    for length in 0..whole.len() - 4 {
        let refused = load(&ground.pool, &folder.file("cut.tif", &whole[..length])).await;
        assert!(
            matches!(refused, Err(ElevationError::File { .. })),
            "{length} of {}: {refused:?}",
            whole.len()
        );
    }
    assert_eq!(counted(&ground.pool).await, (0, 0));
    // The last four bytes say that no other picture follows.
    load(&ground.pool, &folder.file("cut.tif", &whole)).await.unwrap();
}

#[tokio::test]
async fn a_header_with_any_byte_spoiled_is_read_or_refused_and_never_half_loaded() {
    let (ground, folder) = (Ground::new().await, Folder::new());
    let whole = Tiff::of(5, 4, |column, row| f32::from(column + row)).written();
    let mut refused = 0;
    for at in (0..8).chain(88..whole.len()) {
        let mut spoiled = whole.clone();
        spoiled[at] ^= 0xff;
        match load(&ground.pool, &folder.file("spoiled.tif", &spoiled)).await {
            Ok(loaded) => {
                assert!(loaded.len() == 1);
                elevation::remove(&ground.pool, &["spoiled".to_owned()]).await.unwrap();
            }
            Err(ElevationError::File { .. }) => refused += 1,
            Err(other) => panic!("byte {at}: {other:?}"),
        }
        assert_eq!(counted(&ground.pool).await, (0, 0), "byte {at}");
    }
    assert!(refused > 100, "{refused}");
}

#[tokio::test]
async fn a_piece_that_unpacks_to_more_than_it_should_is_read_no_further() {
    let (ground, folder) = (Ground::new().await, Folder::new());
    // 32 MB of zeros in some 32 kB, of which the header asks for sixteen.
    let body = packed_zeros(4096);
    let bytes = u32::try_from(body.len()).unwrap();
    assert!(bytes < 100_000, "{bytes}");
    let bomb = Tiff { body, ..plain() }
        .with(BITS, Values::Short(vec![16]))
        .with(FORMAT, Values::Short(vec![2]))
        .with(COMPRESSION, Values::Short(vec![8]))
        .with(STRIP_BYTES, Values::Long(vec![bytes]));
    let loaded = load(&ground.pool, &folder.file("bomb.tif", &bomb.clone().written())).await.unwrap();
    assert_eq!((loaded[0].columns, loaded[0].rows), (4, 4));
    let stored: i64 = sqlx::query_scalar("select sum(octet_length(heights)) from elevation_block")
        .fetch_one(&ground.pool)
        .await
        .unwrap();
    assert_eq!(stored, 32);
    // And one that asks for more than it has ends as damaged, with nothing loaded.
    let hungry = bomb
        .with(WIDTH, Values::Long(vec![4097]))
        .with(LENGTH, Values::Long(vec![4097]))
        .with(STRIP_ROWS, Values::Long(vec![4097]))
        .with(SCALE, Values::Double(vec![0.0001, 0.0001, 0.0]));
    let said =
        load(&ground.pool, &folder.file("hungry.tif", &hungry.written())).await.unwrap_err().to_string();
    assert!(said.contains("damaged"), "{said}");
    assert_eq!(counted(&ground.pool).await, (1, 1));
}

// ---- Large ground ----

#[tokio::test]
async fn a_grid_too_fine_for_a_trace_is_told_before_its_heights_are_in_memory() {
    let (ground, folder) = (Ground::new().await, Folder::new());
    // Two columns and 40,000 rows, 2.5 m apart: 157 blocks in a hundred kilometres.
    let strip = Tiff::of(2, 40_000, |_, _| 3.0).with(SCALE, Values::Double(vec![0.002, 0.000_022_5, 0.0]));
    let files = [0.0, 0.9, 1.8].map(|north| {
        let tie = Values::Double(vec![0.0, 0.0, 0.0, 7.0, 51.0 - north, 0.0]);
        folder.file(&format!("strip{north}.tif"), &strip.clone().with(TIE, tie).written())
    });
    elevation::load(&ground.pool, &files, |_| {}).await.unwrap();
    let (_, blocks) = counted(&ground.pool).await;
    assert!(blocks > 400, "{blocks}");
    let way = |to: f64| trace(&[(7.002, 50.999), (7.002, to)]);
    let refused = elevation::heights(&ground.pool, way(48.31)).await;
    assert!(matches!(refused, Err(ProfileError::TooMuchGround)), "{refused:?}");
    let near_by = elevation::heights(&ground.pool, way(50.9)).await.unwrap();
    assert!(near_by.grids.len() < 20 && near_by.profile.unknown() == Metres::ZERO);
    let far = elevation::heights(&ground.pool, trace(&[(7.0, 51.0), (7.0, 48.0)])).await;
    assert!(matches!(far, Err(ProfileError::TooLong { .. })), "{far:?}");
}

#[tokio::test]
async fn the_blocks_about_a_trace_are_found_by_their_index() {
    let (ground, folder) = (Ground::new().await, Folder::new());
    load(&ground.pool, &folder.file("N54W005.hgt", &hgt(1201, |_, _| 77))).await.unwrap();
    // As many more, far away, as make reading all of them dear.
    sqlx::query(
        "insert into elevation_block (grid, part, columns, rows, west, south, east, north, sample, heights)
        select grid, 1000 + n, 2, 2, n % 100, n / 100 - 60, n % 100 + 0.9, n / 100 - 59.1, 'int16', '\\x0000000000000000'
        from (select grid from elevation_block limit 1) as one, generate_series(0, 9999) as n",
    )
    .execute(&ground.pool)
    .await
    .unwrap();
    sqlx::query("analyze elevation_block").execute(&ground.pool).await.unwrap();
    let explain = format!("explain {}", elevation::BLOCKS_QUERY);
    // A LINESTRING from -4.5 54.5 to -4.4 54.4 as WKB (OGC 06-103r4, 8.2).
    let places = [-4.5_f64, 54.5, -4.4, 54.4].into_iter().flat_map(f64::to_le_bytes);
    let way: Vec<u8> = [1, 2, 0, 0, 0, 2, 0, 0, 0].into_iter().chain(places).collect();
    let plan: Vec<String> = sqlx::query_scalar(AssertSqlSafe(explain))
        .bind(way)
        .bind(401_i64)
        .fetch_all(&ground.pool)
        .await
        .unwrap();
    let plan = plan.join("\n");
    assert!(
        plan.contains("elevation_block_ground") && !plan.contains("Seq Scan on elevation_block"),
        "{plan}"
    );
}
