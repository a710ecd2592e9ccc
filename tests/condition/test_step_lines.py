"""The lines of steps: cut at the sites, whole between them, along the flow."""

from __future__ import annotations

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
import shapely
from shapely.geometry import LineString, MultiLineString

from watershedmap.condition.step_lines import cut_line, step_lines
from watershedmap.network.distance import line_length_km
from watershedmap.network.topology import Network, build_network

# a flows into b, b into c; b is drawn against the flow.
LINES = [
    LineString([(0.0, 0.06), (0.005, 0.05), (0.0, 0.04)]),
    LineString([(0.01, 0.02), (0.0, 0.04)]),
    LineString([(0.01, 0.02), (0.01, 0.0)]),
]
KM = line_length_km(np.array(LINES, dtype=object))


def _layer(lines: list[object]) -> gpd.GeoDataFrame:
    down = pd.Series(["b", "c", None], dtype="str")
    return gpd.GeoDataFrame(
        {"reach_id": ["a", "b", "c"], "downstream_id": down},
        geometry=np.array(lines, dtype=object),
        crs="EPSG:4326",
    )


def _draw(lines: list[object], up: tuple[int, float], low: tuple[int, float]) -> object:
    layer = _layer(lines)
    network: Network = build_network(layer)[0]
    sites = pd.DataFrame({"site_id": ["up", "low"], "reach": [up[0], low[0]], "position_m": [up[1], low[1]]})
    steps = pd.DataFrame({"site_upstream": ["up"], "site_downstream": ["low"]}, index=[7])
    drawn = step_lines(network, layer, sites, steps)
    assert drawn.index.tolist() == [7]
    assert drawn.crs == layer.crs
    return drawn.iloc[0]


def test_the_line_runs_from_site_to_site_along_the_flow() -> None:
    line = _draw(LINES, (0, 500.0), (2, 300.0))
    assert isinstance(line, LineString)
    assert line_length_km([line])[0] == pytest.approx(0.5 + KM[1] + KM[2] - 0.3, abs=1e-6)
    latitudes = shapely.get_coordinates(line)[:, 1]
    assert (np.diff(latitudes) < 0).all()
    assert shapely.get_coordinates(LINES[1]).tolist()[0] in shapely.get_coordinates(line).tolist()


def test_sites_of_one_reach_get_the_piece_between_them() -> None:
    line = _draw(LINES, (1, 1500.0), (1, 200.0))
    assert line_length_km([line])[0] == pytest.approx(1.3, abs=1e-6)
    assert shapely.get_y(shapely.get_point(line, 0)) > shapely.get_y(shapely.get_point(line, -1))


def test_sites_in_one_place_have_no_line_between_them() -> None:
    assert _draw(LINES, (1, 900.0), (1, 900.0)) is None


def test_a_reach_without_a_line_leaves_a_gap() -> None:
    line = _draw([LINES[0], None, LINES[2]], (0, 500.0), (2, 300.0))
    assert isinstance(line, MultiLineString)
    assert line_length_km([line])[0] == pytest.approx(0.5 + KM[2] - 0.3, abs=1e-6)
    assert _draw([None, None, None], (0, np.nan), (2, np.nan)) is None


def test_a_reach_in_parts_is_taken_whole() -> None:
    parts = MultiLineString([[(0.0, 0.06), (0.0, 0.055)], [(0.0, 0.05), (0.0, 0.04)]])
    line = _draw([parts, LINES[1], LINES[2]], (0, 10.0), (2, 300.0))
    assert line_length_km([line])[0] == pytest.approx(
        line_length_km([parts])[0] + KM[1] + KM[2] - 0.3, abs=1e-6
    )


def test_an_unknown_position_leaves_the_reach_uncut() -> None:
    assert cut_line(LINES[0], below_m=np.nan, above_m=np.nan).equals(LINES[0])
    assert cut_line(LINES[0]).equals(LINES[0])
    assert cut_line(None, below_m=3.0) is None


def test_a_cut_keeps_the_vertices_between_and_both_pieces_make_the_whole() -> None:
    upper, lower = cut_line(LINES[0], above_m=800.0), cut_line(LINES[0], below_m=800.0)
    assert line_length_km([upper, lower]) == pytest.approx([KM[0] - 0.8, 0.8], abs=1e-6)
    assert shapely.get_coordinates(upper)[-1] == pytest.approx(shapely.get_coordinates(lower)[0])
    assert [0.005, 0.05] in shapely.get_coordinates(upper).tolist()


def test_no_steps_have_no_lines() -> None:
    layer = _layer(LINES)
    sites = pd.DataFrame({"site_id": [], "reach": [], "position_m": []})
    steps = pd.DataFrame({"site_upstream": [], "site_downstream": []}, dtype="str")
    assert len(step_lines(build_network(layer)[0], layer, sites, steps)) == 0
