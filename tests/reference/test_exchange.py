"""What the service gives to other programs, held against published schemas and read by readers that others wrote.

KML: the schema of OGC 07-147r2 (ogckml22.xsd), as the package fastkml carries it. GPX: no package carries gpx.xsd, so the
part of it that our files use is written down here from it, and gpxpy reads them. OGC API – Features: the shapes of OGC
17-069r4 as pydantic-ogcapi has them, its definition by openapi-spec-validator (OpenAPI 3.0) and by ogcapi-registry's rules.
"""

import csv
import io
import json
import os
import pathlib
import subprocess
import tempfile
import urllib.request
import uuid

import fastkml
import gpxpy
import pydantic_ogcapi
import pytest
from lxml import etree
from ogcapi_registry import parse_conformance_classes, validate_ogc_api
from openapi_spec_validator import OpenAPIV30SpecValidator

ROOT = pathlib.Path(__file__).parents[2]
COLLECTIONS = ["lines", "laid", "crossings", "splices", "reels", "tests", "tags"]

# The types wptType, trkType, trksegType, metadataType, longitudeType and latitudeType of gpx.xsd, version 1.1
# (http://www.topografix.com/GPX/1/1/gpx.xsd), without what our files never have; order and ranges are the schema's.
GPX = """
<xsd:schema xmlns:xsd="http://www.w3.org/2001/XMLSchema" xmlns="http://www.topografix.com/GPX/1/1"
    targetNamespace="http://www.topografix.com/GPX/1/1" elementFormDefault="qualified">
  <xsd:element name="gpx"><xsd:complexType>
    <xsd:sequence>
      <xsd:element name="metadata" minOccurs="0"><xsd:complexType><xsd:sequence>
        <xsd:element name="name" type="xsd:string" minOccurs="0"/>
        <xsd:element name="desc" type="xsd:string" minOccurs="0"/>
        <xsd:element name="time" type="xsd:dateTime" minOccurs="0"/>
      </xsd:sequence></xsd:complexType></xsd:element>
      <xsd:element name="wpt" type="place" minOccurs="0" maxOccurs="unbounded"/>
      <xsd:element name="trk" minOccurs="0" maxOccurs="unbounded"><xsd:complexType><xsd:sequence>
        <xsd:element name="name" type="xsd:string" minOccurs="0"/>
        <xsd:element name="cmt" type="xsd:string" minOccurs="0"/>
        <xsd:element name="desc" type="xsd:string" minOccurs="0"/>
        <xsd:element name="src" type="xsd:string" minOccurs="0"/>
        <xsd:element name="number" type="xsd:nonNegativeInteger" minOccurs="0"/>
        <xsd:element name="type" type="xsd:string" minOccurs="0"/>
        <xsd:element name="trkseg" minOccurs="0" maxOccurs="unbounded"><xsd:complexType><xsd:sequence>
          <xsd:element name="trkpt" type="place" minOccurs="0" maxOccurs="unbounded"/>
        </xsd:sequence></xsd:complexType></xsd:element>
      </xsd:sequence></xsd:complexType></xsd:element>
    </xsd:sequence>
    <xsd:attribute name="version" type="xsd:string" use="required" fixed="1.1"/>
    <xsd:attribute name="creator" type="xsd:string" use="required"/>
  </xsd:complexType></xsd:element>
  <xsd:complexType name="place">
    <xsd:sequence>
      <xsd:element name="ele" type="xsd:decimal" minOccurs="0"/>
      <xsd:element name="time" type="xsd:dateTime" minOccurs="0"/>
      <xsd:element name="name" type="xsd:string" minOccurs="0"/>
      <xsd:element name="cmt" type="xsd:string" minOccurs="0"/>
      <xsd:element name="desc" type="xsd:string" minOccurs="0"/>
      <xsd:element name="src" type="xsd:string" minOccurs="0"/>
      <xsd:element name="sym" type="xsd:string" minOccurs="0"/>
      <xsd:element name="type" type="xsd:string" minOccurs="0"/>
    </xsd:sequence>
    <xsd:attribute name="lat" use="required"><xsd:simpleType><xsd:restriction base="xsd:decimal">
      <xsd:minInclusive value="-90.0"/><xsd:maxInclusive value="90.0"/></xsd:restriction></xsd:simpleType></xsd:attribute>
    <xsd:attribute name="lon" use="required"><xsd:simpleType><xsd:restriction base="xsd:decimal">
      <xsd:minInclusive value="-180.0"/><xsd:maxExclusive value="180.0"/></xsd:restriction></xsd:simpleType></xsd:attribute>
  </xsd:complexType>
</xsd:schema>
"""


class Operation:
    """An operation with a line, crossings and a line over the 180th meridian, served by the built binary."""

    def __init__(self, address, said):
        words = dict(line.split(maxsplit=1) for line in said.splitlines() if " " in line)
        self.secret = words["pass"].strip()
        self.path = f"{address}/api/operations/{words['operation'].strip()}"

    def ask(self, path, body=None):
        request = urllib.request.Request(
            path if path.startswith("http") else self.path + path,
            None if body is None else json.dumps(body).encode(),
            {"Authorization": f"Bearer {self.secret}", "Content-Type": "application/json"},
        )
        with urllib.request.build_opener(urllib.request.ProxyHandler({})).open(request, timeout=60) as answer:
            return answer.read()

    def read(self, path):
        return json.loads(self.ask(path))

    def report(self, *bodies):
        reports = [
            {"id": str(uuid.uuid4()), "at": f"2026-05-04T06:00:{second:02}Z", "body": body}
            for second, body in enumerate(bodies)
        ]
        receipts = json.loads(self.ask("/reports", reports))
        assert [receipt["outcome"] for receipt in receipts] == ["recorded"] * len(bodies), receipts


@pytest.fixture(scope="module")
def operation():
    binary = pathlib.Path(os.environ.get("CARGO_TARGET_DIR", ROOT / "target")) / "debug" / "laywire"
    environment = {name: value for name, value in os.environ.items() if name != "DATABASE_URL"}
    with tempfile.TemporaryDirectory() as folder:
        data = ["--data", folder]
        service = subprocess.Popen(
            [binary, "serve", "--listen", "127.0.0.1:0", *data],
            stdout=subprocess.PIPE, text=True, env={**environment, "LAYWIRE_LOG": "off"},
        )
        try:
            said = "laywire serves on "
            address = next(line for line in service.stdout if line.startswith(said)).removeprefix(said).strip()
            opened = subprocess.run(
                [binary, "operation", "new", *data, "Water <works> & more"],
                capture_output=True, text=True, check=True, env=environment,
            )
            operation = Operation(address, opened.stdout)
            line, far = str(uuid.uuid4()), str(uuid.uuid4())
            crossing = str(uuid.uuid4())
            operation.report(
                {"kind": "line_planned", "line": line, "designation": "L-1", "from": "=a", "to": "\uFFFE b ]]> & <c>",
                 "trace": [[-4.67, 54.08], [-4.635, 54.095]]},
                {"kind": "line_planned", "line": far, "designation": "L-2", "from": "a", "to": "b",
                 "trace": [[179.99, -16.8], [-179.99, -16.81]]},
                {"kind": "line_planned", "line": str(uuid.uuid4()), "designation": "L-3", "from": "a", "to": "b"},
                {"kind": "line_started", "line": line},
                {"kind": "reel_started", "line": line, "reel": str(uuid.uuid4()), "label": "R 1", "length_m": 800},
                {"kind": "trace_extended", "line": line, "positions": [[-4.67, 54.08], [-4.66, 54.085]]},
                {"kind": "splice_made", "line": line},
                {"kind": "test_made", "line": line, "from": "along", "to_whom": "Odd <post> & \"co\"", "rang": True, "spoke": True},
                {"kind": "crossing_marked", "crossing": crossing, "line": line, "position": [-4.668, 54.081],
                 "obstacle": "road", "construction": "overhead_lance_poles"},
                {"kind": "crossing_struck_out", "crossing": crossing, "because": "two\nlines, \"quoted\" & <odd>"},
            )
            yield operation
        finally:
            service.terminate()
            service.wait(60)


@pytest.mark.parametrize("collection", COLLECTIONS)
def test_a_kml_file_is_valid_by_the_published_schema(operation, collection):
    schema = etree.XMLSchema(etree.parse(pathlib.Path(fastkml.__file__).parent / "schema" / "ogckml22.xsd"))
    text = operation.ask(f"/export/{collection}.kml")
    schema.assertValid(etree.fromstring(text))
    # What the schema refuses is refused: it is read whole.
    broken = etree.fromstring(text.replace(b"<coordinates>", b"<coordinate>").replace(b"</coordinates>", b"</coordinate>"))
    assert not schema.validate(broken)
    # fastkml takes text without a declaration.
    bare = text.decode().partition("?>")[2]
    placemarks = list(next(iter(fastkml.KML.from_string(bare).features)).features)
    features = operation.read(f"/features/collections/{collection}/items")["features"]
    assert len(placemarks) == len(features) > 0
    for placemark, feature in zip(placemarks, features):
        values = {value.name: value.value for value in placemark.extended_data.elements}
        assert values["id"] == feature["id"]
        assert (placemark.geometry is None) == (feature["geometry"] is None)


@pytest.mark.parametrize("collection", COLLECTIONS)
def test_a_gpx_file_is_valid_and_is_read_back(operation, collection):
    schema = etree.XMLSchema(etree.fromstring(GPX))
    text = operation.ask(f"/export/{collection}.gpx")
    schema.assertValid(etree.fromstring(text))
    read = gpxpy.parse(text.decode())
    features = operation.read(f"/features/collections/{collection}/items")["features"]
    drawn = [feature["geometry"] for feature in features if feature["geometry"]]
    assert len(drawn) > 0
    if drawn[0]["type"] == "Point":
        places = [[point.longitude, point.latitude] for point in read.waypoints]
        assert places == [geometry["coordinates"] for geometry in drawn]
    else:
        for track, geometry in zip(read.tracks, drawn, strict=True):
            parts = [geometry["coordinates"]] if geometry["type"] == "LineString" else geometry["coordinates"]
            for segment, part in zip(track.segments, parts, strict=True):
                places = [(point.longitude, point.latitude) for point in segment.points]
                assert places == [pytest.approx(place, abs=2e-9) for place in part]


@pytest.mark.parametrize("collection", COLLECTIONS)
def test_a_csv_file_has_every_feature_in_a_row(operation, collection):
    text = operation.ask(f"/export/{collection}.csv").decode()
    rows = list(csv.DictReader(io.StringIO(text, newline="")))
    features = operation.read(f"/features/collections/{collection}/items")["features"]
    assert [row["id"] for row in rows] == [feature["id"] for feature in features]
    for row, feature in zip(rows, features):
        for name, value in feature["properties"].items():
            if value is None:
                assert row[name] == ""
            elif isinstance(value, float):
                assert float(row[name]) == value
            elif isinstance(value, str):
                assert row[name] == ("'" + value if value.startswith("=") else value)


def test_the_api_has_the_shapes_of_the_standard(operation):
    landing = pydantic_ogcapi.LandingPage.model_validate(operation.read("/features"))
    links = {link.rel: link.href for link in landing.links}
    pydantic_ogcapi.ConformanceDeclaration.model_validate(operation.read(links["conformance"]))
    collections = pydantic_ogcapi.Collections.model_validate(operation.read(links["data"]))
    assert [collection.id for collection in collections.collections] == COLLECTIONS
    for collection in collections.collections:
        pydantic_ogcapi.Collection.model_validate(operation.read(f"/features/collections/{collection.id}"))
        page = operation.read(f"/features/collections/{collection.id}/items")
        # The library knows no feature without a geometry, which RFC 7946, section 3.2, allows.
        page["features"] = [feature for feature in page["features"] if feature["geometry"]]
        read = pydantic_ogcapi.FeatureCollection.model_validate(page)
        assert len(read.features) > 0
        for feature in page["features"]:
            path = f"/features/collections/{collection.id}/items/{feature['id']}"
            pydantic_ogcapi.Feature.model_validate(operation.read(path))


def test_the_apis_definition_is_openapi_and_has_what_the_standard_asks_for(operation):
    definition = operation.read("/features/api")
    OpenAPIV30SpecValidator(definition).validate()
    classes = parse_conformance_classes(operation.read("/features/conformance")["conformsTo"])
    result = validate_ogc_api(definition, classes)
    assert result.is_valid and result.is_compliant, result
    without = {**definition, "paths": {path: of for path, of in definition["paths"].items() if path != "/conformance"}}
    assert not validate_ogc_api(without, classes).is_compliant
