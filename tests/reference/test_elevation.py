"""Heights from files that GDAL wrote, held against what GDAL itself says of them.

The grids are generated here, so nothing is fetched: hills by a formula, written by rasterio (its wheel carries GDAL) in every form
that is read. Heights at random places are GDAL's own, by its warper's bilinear resampling onto a picture of one cell about the
place. The length over the hills is added up by numpy over places that pyproj (GeographicLib) finds along the geodesics.
"""

import json
import os
import pathlib
import random
import subprocess
import tempfile
import urllib.request

import numpy
import pyproj
import pytest
import rasterio
import rasterio.shutil
import rasterio.warp
from rasterio.transform import Affine

ROOT = pathlib.Path(__file__).parents[2]
GEOD = pyproj.Geod(ellps="WGS84")
COLUMNS, ROWS, STEP = 700, 600, 0.0005
WEST, NORTH = 7.1, 50.6
TRANSFORM = Affine(STEP, 0, WEST, 0, -STEP, NORTH)

# Each form that is read, and what rasterio is told to write it.
FORMS = {
    "int16_tiles_deflate": {"dtype": "int16", "tiled": True, "compress": "deflate", "predictor": 2},
    "uint16_strips_lzw": {"dtype": "uint16", "compress": "lzw", "predictor": 2},
    "float32_tiles_deflate": {
        "dtype": "float32", "tiled": True, "blockxsize": 128, "blockysize": 64, "compress": "deflate", "predictor": 3,
    },
    "float32_tiles_lzw": {"dtype": "float32", "tiled": True, "compress": "lzw"},
    "float32_one_strip": {"dtype": "float32", "blockysize": ROWS},
    "int16_big_endian": {"dtype": "int16", "ENDIANNESS": "BIG"},
    "float32_bigtiff": {"dtype": "float32", "BIGTIFF": "YES", "compress": "deflate"},
    "float32_posts": {"dtype": "float32"},
}


def hills(columns, rows):
    x, y = numpy.meshgrid(numpy.arange(columns), numpy.arange(rows))
    return 400 + 180 * numpy.sin(x / 23) * numpy.cos(y / 31) + 25 * numpy.sin(x / 3.1 + y / 4.3)


def write(path, form, heights, **more):
    options = {key: value for key, value in form.items() if key != "dtype"}
    with rasterio.open(
        path, "w", driver="GTiff", width=heights.shape[1], height=heights.shape[0], count=1, dtype=form["dtype"],
        **{"crs": "EPSG:4326", "transform": TRANSFORM, **options, **more},
    ) as grid:
        grid.write(heights.astype(form["dtype"]), 1)


class Service:
    """The built binary with an operation, and the folder in which its grids are made."""

    def __init__(self, binary, data, folder, environment, address):
        self.binary, self.data, self.folder, self.environment, self.address = binary, data, folder, environment, address
        said = self.run("operation", "new", *data, "Hills").stdout
        words = dict(line.split(maxsplit=1) for line in said.splitlines() if " " in line)
        self.secret, self.operation = words["pass"].strip(), words["operation"].strip()

    def run(self, *arguments, check=True):
        return subprocess.run(
            [self.binary, *arguments], capture_output=True, text=True, check=check, env=self.environment
        )

    def elevation(self, verb, *arguments, check=True):
        return self.run("terrain", "elevation", verb, *self.data, *map(str, arguments), check=check)

    def heights(self, *places):
        request = urllib.request.Request(
            f"{self.address}/api/operations/{self.operation}/heights",
            json.dumps({"trace": {"type": "LineString", "coordinates": places}}).encode(),
            {"Authorization": f"Bearer {self.secret}", "Content-Type": "application/json"},
        )
        with urllib.request.build_opener(urllib.request.ProxyHandler({})).open(request, timeout=60) as answer:
            return json.loads(answer.read())


@pytest.fixture(scope="module")
def service():
    binary = pathlib.Path(os.environ.get("CARGO_TARGET_DIR", ROOT / "target")) / "debug" / "laywire"
    environment = {name: value for name, value in os.environ.items() if name != "DATABASE_URL"}
    with tempfile.TemporaryDirectory() as data, tempfile.TemporaryDirectory() as folder:
        serving = subprocess.Popen(
            [binary, "serve", "--listen", "127.0.0.1:0", "--data", data],
            stdout=subprocess.PIPE, text=True, env={**environment, "LAYWIRE_LOG": "off"},
        )
        try:
            said = "laywire serves on "
            address = next(line for line in serving.stdout if line.startswith(said)).removeprefix(said).strip()
            yield Service(binary, ["--data", data], pathlib.Path(folder), environment, address)
        finally:
            serving.terminate()
            serving.wait(60)


def by_gdal(grid, lon, lat):
    """GDAL's bilinear height at a place: a picture of one cell, as large as the grid's, whose middle is there."""
    wide, high = grid.transform.a, -grid.transform.e
    height = numpy.full((1, 1), numpy.nan)
    rasterio.warp.reproject(
        rasterio.band(grid, 1), height, dst_crs=grid.crs, dst_nodata=numpy.nan,
        dst_transform=Affine(wide, 0, lon - wide / 2, 0, -high, lat + high / 2),
        resampling=rasterio.warp.Resampling.bilinear, tolerance=0,
    )
    return float(height[0, 0])


def pairs(count, seed, west, south, east, north):
    """Random places inside a box, two and two some hundred metres apart."""
    chance = random.Random(seed)
    for _ in range(count):
        lon, lat = chance.uniform(west, east), chance.uniform(south, north)
        yield (lon, lat), (lon + chance.uniform(-1, 1) * 0.002, lat + chance.uniform(-1, 1) * 0.002)


def compare(service, path, places):
    compared = 0
    with rasterio.open(path) as grid:
        for ends in places:
            points = service.heights(*ends)["points"]
            for point, (lon, lat) in zip((points[0], points[-1]), ends):
                assert point["height_m"] == pytest.approx(by_gdal(grid, lon, lat), abs=0.01), (lon, lat)
                compared += 1
    return compared


@pytest.mark.parametrize("name", FORMS)
def test_heights_at_random_places_are_gdals(service, name):
    path = service.folder / f"{name}.tif"
    write(path, FORMS[name], hills(COLUMNS, ROWS))
    if name.endswith("posts"):
        with rasterio.open(path, "r+") as grid:
            grid.update_tags(AREA_OR_POINT="Point")
    service.elevation("load", path)
    with rasterio.open(path) as grid:
        box = grid.bounds
    margin = 0.003
    inside = (box.left + margin, box.bottom + margin, box.right - margin, box.top - margin)
    assert compare(service, path, pairs(63, 11, *inside)) == 126
    service.elevation("remove", name)


def test_a_tile_of_hgt_that_gdal_wrote_has_gdals_heights(service):
    whole = service.folder / "whole.tif"
    side = 1201
    # A tile's outermost posts lie on the degree: half a cell of it hangs over.
    write(
        whole, {"dtype": "int16"}, hills(side, side),
        transform=Affine(1 / 1200, 0, 7 - 1 / 2400, 0, -1 / 1200, 51 + 1 / 2400),
    )
    tile = service.folder / "N50E007.hgt"
    rasterio.shutil.copy(whole, tile, driver="SRTMHGT")
    service.elevation("load", tile)
    assert compare(service, tile, pairs(50, 12, 7.003, 50.003, 7.997, 50.997)) == 100
    service.elevation("remove", "N50E007")


def bilinear(heights, lon, lat):
    column = (numpy.asarray(lon) - WEST) / STEP - 0.5
    row = (NORTH - numpy.asarray(lat)) / STEP - 0.5
    c, r = numpy.floor(column).astype(int), numpy.floor(row).astype(int)
    x, y = column - c, row - r
    return (
        heights[r, c] * (1 - x) * (1 - y) + heights[r, c + 1] * x * (1 - y)
        + heights[r + 1, c] * (1 - x) * y + heights[r + 1, c + 1] * x * y
    )


def test_the_length_over_the_hills_is_what_numpy_adds_up(service):
    heights = hills(COLUMNS, ROWS).astype("float32").astype(float)
    path = service.folder / "hills.tif"
    write(path, FORMS["float32_tiles_deflate"], heights)
    service.elevation("load", path)
    trace = [(7.11, 50.59), (7.2, 50.5), (7.21, 50.42), (7.4, 50.33)]
    answer = service.heights(*trace)
    legs = [GEOD.inv(*one, *other) for one, other in zip(trace, trace[1:])]
    ends = numpy.concatenate([[0], numpy.cumsum([leg[2] for leg in legs])])
    assert answer["length_m"] == pytest.approx(ends[-1], abs=0.001)
    assert answer["unknown_m"] == 0

    def places(chainages):
        leg = numpy.clip(numpy.searchsorted(ends, chainages, side="right") - 1, 0, len(legs) - 1)
        start = numpy.array(trace)[leg]
        azimuth = numpy.array([legs[n][0] for n in leg])
        lon, lat, _ = GEOD.fwd(start[:, 0], start[:, 1], azimuth, chainages - ends[leg])
        return lon, lat

    def added_up(chainages):
        rises = numpy.diff(bilinear(heights, *places(chainages)))
        return numpy.hypot(numpy.diff(chainages), rises).sum()

    told = numpy.array([point["chainage_m"] for point in answer["points"]])
    assert 500 < len(told) < 2000
    found = numpy.array([point["height_m"] for point in answer["points"]])
    assert numpy.abs(found - bilinear(heights, *places(told))).max() < 0.01
    assert answer["surface_length_m"] == pytest.approx(added_up(told), abs=0.01)
    assert answer["highest"]["height_m"] == found.max() and answer["lowest"]["height_m"] == found.min()
    # Steps of two metres see a little more of the hills than steps of a cell.
    finely = added_up(numpy.linspace(0, ends[-1], int(ends[-1] / 2)))
    assert answer["surface_length_m"] == pytest.approx(finely, rel=0.002)
    assert answer["surface_length_m"] > 1.005 * answer["length_m"]
    service.elevation("remove", "hills")


def test_what_gdal_calls_unknown_is_unknown(service):
    heights = hills(COLUMNS, ROWS)
    heights[200:260, 300:400] = -32768
    path = service.folder / "gap.tif"
    write(path, FORMS["int16_tiles_deflate"], heights, nodata=-32768)
    service.elevation("load", path)
    answer = service.heights((7.15, 50.485), (7.38, 50.485))
    unknown = [point["height_m"] is None for point in answer["points"]]
    assert any(unknown) and not unknown[0] and not unknown[-1]
    # A hundred cells and one more, of which either edge is a known post.
    across = GEOD.inv(7.0, 50.485, 7.0 + 101 * STEP, 50.485)[2]
    assert answer["surface_length_m"] is None
    assert answer["unknown_m"] == pytest.approx(across, abs=80)
    service.elevation("remove", "gap")


@pytest.mark.parametrize(
    ("name", "more", "words"),
    [
        ("utm", {"crs": "EPSG:25832", "transform": Affine(30, 0, 400000, 0, -30, 5600000)}, "gdalwarp -t_srs EPSG:4326"),
        ("etrs", {"crs": "EPSG:4258"}, "EPSG:4258"),
        ("turned", {"transform": Affine(STEP, 0.0001, WEST, 0.0001, -STEP, NORTH)}, "gdalwarp"),
        ("nowhere", {"crs": None}, "no reference system"),
        ("doubles", {"dtype": "float64"}, "-ot Float32"),
        ("packed", {"compress": "packbits"}, "COMPRESS=DEFLATE"),
        ("zstd", {"compress": "zstd"}, "COMPRESS=DEFLATE"),
    ],
)
def test_what_is_not_read_is_refused_with_the_command_that_helps(service, name, more, words):
    path = service.folder / f"{name}.tif"
    form = {"dtype": more.pop("dtype", "float32")}
    write(path, form, hills(40, 30), **more)
    said = service.elevation("load", path, check=False)
    assert said.returncode != 0
    assert words in said.stderr and "Nothing was loaded" in said.stderr, said.stderr
    assert service.elevation("list").stdout == ""


def test_heights_in_feet_or_with_a_scale_are_refused(service):
    for name, alter in [("feet", {"units": ("ft",)}), ("scaled", {"scales": (0.1,)}), ("offset", {"offsets": (100.0,)})]:
        path = service.folder / f"{name}.tif"
        write(path, {"dtype": "int16"}, hills(40, 30))
        with rasterio.open(path, "r+") as grid:
            for attribute, value in alter.items():
                setattr(grid, attribute, value)
        said = service.elevation("load", path, check=False)
        assert said.returncode != 0 and "gdal_" in said.stderr, said.stderr
    assert service.elevation("list").stdout == ""
