"""The paths that the browser's thinning of a track is checked with (web/src/track), against Shapely."""

import json
import pathlib

import pytest
import shapely

CASES = json.loads((pathlib.Path(__file__).parents[1] / "data" / "simplified-paths.json").read_text())


@pytest.mark.parametrize("case", CASES)
def test_what_is_kept_of_a_path_is_what_shapely_keeps(case):
    thinned = shapely.LineString(case["path"]).simplify(case["tolerance_m"], preserve_topology=False)
    assert [list(corner) for corner in thinned.coords] == case["kept"]
