"""Travel by road on the Isle of Man, searched again by networkx on a graph that is made here from the extract itself.

Speeds and classes stand here once more by themselves. Lengths are on the ellipsoid here and on a plane in the program, which over
the area of the question are one to half a hundredth.
"""

import json
import pathlib
import random

import networkx
import osmium
from geographiclib.geodesic import Geodesic
from shapely import STRtree
from shapely.geometry import LineString, Point

EXTRACT = pathlib.Path(__file__).resolve().parents[2] / "deploy/demo/isle-of-man.osm.pbf"
WEST, SOUTH, EAST, NORTH = -4.72, 54.07, -4.58, 54.15

KINDS = {
    "main_highway": "motorway trunk primary motorway_link trunk_link primary_link",
    "road": "secondary tertiary secondary_link tertiary_link unclassified residential living_street service",
    "dirt_road": "track byway",
    "path": "pedestrian footway path cycleway bridleway steps",
}
KIND = {value: kind for kind, values in KINDS.items() for value in values.split()}
# Metres a minute: 2.5 and 8 mph by the profile, 50 and 30 km/h; over open ground 1.2 times as long as on foot.
FOOT, TRACK, HIGHWAY, ROAD = 2.5 * 1609.344 / 60, 8 * 1609.344 / 60, 50_000 / 60, 30_000 / 60
OVER_GROUND = FOOT / 1.2
RATES = {
    "foot": {"main_highway": FOOT, "road": FOOT, "dirt_road": FOOT, "path": FOOT},
    "vehicle": {"main_highway": HIGHWAY, "road": ROAD, "dirt_road": TRACK},
}


def length(a, b):
    return Geodesic.WGS84.Inverse(a[1], a[0], b[1], b[0])["s12"]


def mapped():
    ways = []
    for entry in osmium.FileProcessor(str(EXTRACT)).with_locations():
        if not entry.is_way() or entry.tags.get("highway") not in KIND:
            continue
        places = [[node.lon, node.lat] for node in entry.nodes if node.location.valid()]
        inside = all(WEST < lon < EAST and SOUTH < lat < NORTH for lon, lat in places)
        if len(places) < 2 or not inside:
            continue
        ways.append(
            {
                "obstacle": KIND[entry.tags.get("highway")],
                "class": entry.tags.get("highway"),
                "one_way": entry.tags.get("oneway") == "yes",
                "positions": places,
            }
        )
    return ways


def searched(ways, by, places):
    graph = networkx.DiGraph()
    usable = [way for way in ways if way["obstacle"] in RATES[by]]

    def join(a, b, minutes, both=True):
        for one, other in [(a, b), (b, a)][: 2 if both else 1]:
            if not graph.has_edge(one, other) or graph[one][other]["weight"] > minutes:
                graph.add_edge(one, other, weight=minutes)

    for way in usable:
        for a, b in zip(way["positions"], way["positions"][1:]):
            both = by == "foot" or not way["one_way"]
            join(tuple(a), tuple(b), length(a, b) / RATES[by][way["obstacle"]], both)
    # On a plane about the middle of the places, to find what is nearest.
    from math import cos, radians

    x, y = 111_320 * cos(radians(54.11)), 111_320
    lines = [LineString([(lon * x, lat * y) for lon, lat in way["positions"]]) for way in usable]
    tree = STRtree(lines)
    cuts = {}
    for number, (lon, lat) in enumerate(places):
        spot = Point(lon * x, lat * y)
        near = sorted(tree.query(spot.buffer(2_000)), key=lambda i: spot.distance(lines[i]))[:6]
        for index in near:
            along = lines[index].project(spot)
            at = lines[index].interpolate(along)
            place = (at.x / x, at.y / y)
            node = ("cut", number, int(index))
            join(number, node, length(places[number], place) / OVER_GROUND)
            cuts.setdefault(int(index), []).append((along, node, place))
    for index, found in cuts.items():
        way, line = usable[index], lines[index]
        stops = [(line.project(Point(p[0] * x, p[1] * y)), tuple(p), p) for p in way["positions"]]
        # A way that comes back to itself has one vertex at both ends of its length.
        stops[-1] = (line.length, stops[-1][1], stops[-1][2])
        row = sorted(stops + found, key=lambda stop: stop[0])
        both = by == "foot" or not way["one_way"]
        for (_, a, here), (_, b, there) in zip(row, row[1:]):
            join(a, b, length(here, there) / RATES[by][way["obstacle"]], both)
    walks = lambda n: min((graph[n][m]["weight"] for m in graph[n]), default=float("inf")) * OVER_GROUND
    far = [walks(n) for n in range(len(places))]
    for a in range(len(places)):
        for b in range(a):
            straight = length(places[a], places[b])
            if straight <= min(far[a] + far[b], 2_000):
                join(a, b, straight / OVER_GROUND)
    reached = [networkx.single_source_dijkstra_path_length(graph, n) for n in range(len(places))]
    return [[row.get(m) for m in range(len(places))] for row in reached]


def test_travel_by_road_is_what_another_search_on_its_own_graph_finds(ask):
    ways, draw = mapped(), random.Random(7)
    assert len(ways) > 1_000
    places = [[draw.uniform(-4.70, -4.60), draw.uniform(54.085, 54.135)] for _ in range(14)]
    questions = [{"by": by, "places": places, "ways": ways} for by in ["foot", "vehicle"]]
    for question, rows in zip(questions, ask("road", questions)):
        compared = 0
        for ours, theirs in zip(rows, searched(ways, question["by"], places)):
            for a, b in zip(ours, theirs):
                assert (a is None) == (b is None), question["by"]
                if a is not None:
                    assert abs(a - b) <= 0.01 * b + 0.05, (question["by"], a, b)
                    compared += 1
        assert compared > 150, (question["by"], compared)
