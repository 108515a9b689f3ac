"""What three traces on the Isle of Man meet, counted by pyosmium and shapely from the extract itself.

The meetings stand in tests/data/meetings-isle-of-man.json, with which the server's tests compare theirs; here they are
counted anew and compared with that file. `python tests/reference/test_foreseen.py` prints the file. Straight legs in
longitude and latitude, as RFC 7946 has them; chainages by GeographicLib. Legs are short: over two kilometres the straight
leg and the geodesic are some ten centimetres apart at this latitude.
"""

import json
import pathlib

import osmium
from geographiclib.geodesic import Geodesic
from shapely.geometry import LineString

CLONE = pathlib.Path(__file__).resolve().parents[2]
EXTRACT = CLONE / "deploy/demo/isle-of-man.osm.pbf"
PINNED = CLONE / "tests/data/meetings-isle-of-man.json"

TRACES = {
    "A": [[-4.67, 54.08], [-4.635, 54.095]],
    "B": [[-4.65, 54.07], [-4.645, 54.09]],
    # From the country into Douglas, over its station's yard, to the promenade.
    "C": [[-4.53, 54.138], [-4.512, 54.1412], [-4.4945, 54.1468], [-4.4872, 54.1475], [-4.4868, 54.1492], [-4.472, 54.1497]],
}

KIND_OF_HIGHWAY = {
    "main_highway": "motorway trunk primary motorway_link trunk_link primary_link",
    "road": "secondary tertiary secondary_link tertiary_link unclassified residential living_street road construction "
    "busway bus_guideway raceway escape service",
    "dirt_road": "track byway",
    "path": "pedestrian footway path cycleway bridleway steps",
}
HIGHWAYS = {value: kind for kind, values in KIND_OF_HIGHWAY.items() for value in values.split()}
RAILWAYS = set(
    "rail light_rail narrow_gauge preserved funicular monorail tram subway construction disused yes miniature".split()
)
WATERWAYS = set("river canal stream drain ditch".split())


def kinds(tags):
    if tags.get("highway") in HIGHWAYS:
        yield HIGHWAYS[tags.get("highway")]
    if tags.get("railway") in RAILWAYS:
        yield "railway"
    if tags.get("waterway") in WATERWAYS:
        yield "stream"


def points(shape):
    """Every place of an intersection; of an overlap nothing."""
    if shape.geom_type == "Point":
        return [shape]
    return [part for part in getattr(shape, "geoms", []) if part.geom_type == "Point"]


def meetings(ways, trace):
    found, passed = [], 0.0
    for (lon1, lat1), (lon2, lat2) in zip(trace, trace[1:]):
        leg = LineString([(lon1, lat1), (lon2, lat2)])
        for way, kind, shape in ways:
            for place in points(leg.intersection(shape)):
                along = Geodesic.WGS84.Inverse(lat1, lon1, place.y, place.x)["s12"]
                found.append(
                    {
                        "way": way,
                        "kind": kind,
                        "position": [round(place.x, 9), round(place.y, 9)],
                        "chainage_m": round(passed + along, 3),
                    }
                )
        passed += Geodesic.WGS84.Inverse(lat1, lon1, lat2, lon2)["s12"]
    found.sort(key=lambda m: (m["chainage_m"], m["way"], m["kind"]))
    return {"trace": trace, "length_m": round(passed, 3), "meetings": found}


def counted():
    west, south, east, north = -4.7, 54.05, -4.4, 54.2
    ways = []
    for entry in osmium.FileProcessor(str(EXTRACT)).with_locations():
        if not entry.is_way():
            continue
        places = [(node.lon, node.lat) for node in entry.nodes if node.location.valid()]
        if len(places) < 2:
            continue
        shape = LineString(places)
        about = shape.bounds
        if about[0] > east or about[2] < west or about[1] > north or about[3] < south:
            continue
        ways.extend((entry.id, kind, shape) for kind in kinds(entry.tags))
    return {name: meetings(ways, trace) for name, trace in TRACES.items()}


def test_the_meetings_on_three_traces_are_those_that_are_pinned():
    pinned, now = json.loads(PINNED.read_text()), counted()
    assert now.keys() == pinned.keys()
    for name, trace in now.items():
        assert trace["trace"] == pinned[name]["trace"], name
        assert abs(trace["length_m"] - pinned[name]["length_m"]) < 1e-3, name
        ours, theirs = trace["meetings"], pinned[name]["meetings"]
        assert [(m["way"], m["kind"]) for m in ours] == [(m["way"], m["kind"]) for m in theirs], name
        for a, b in zip(ours, theirs):
            assert abs(a["chainage_m"] - b["chainage_m"]) < 0.01, (name, a, b)


if __name__ == "__main__":
    traces = counted()
    rows = lambda trace: ",\n".join("      " + json.dumps(m) for m in trace["meetings"])
    print("{")
    print(
        ",\n".join(
            f'  "{name}": {{\n    "trace": {json.dumps(t["trace"])},\n    "length_m": {t["length_m"]},\n'
            f'    "meetings": [\n{rows(t)}\n    ]\n  }}'
            for name, t in traces.items()
        )
    )
    print("}")
