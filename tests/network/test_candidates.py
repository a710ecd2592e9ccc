"""Lines near points are all found, each once."""

from __future__ import annotations

import numpy as np
import pytest
import shapely
from geographiclib.geodesic import Geodesic

from watershedmap.network.candidates import find_candidates, index_lines, touch_lines


def test_all_lines_within_the_distance_are_found_nearest_first() -> None:
    index = index_lines(shapely.from_wkt([f"LINESTRING({x} -1, {x} 1)" for x in (0.003, 0.001, -0.002, 0.1)]))
    found = find_candidates(np.array([[np.nan, 0.0], [0.0, 0.0]]), index, within_m=250)
    assert found.point.tolist() == [1, 1]
    assert found.line.tolist() == [1, 2]
    expected = [Geodesic.WGS84.Inverse(0, 0, 0, x)["s12"] for x in (0.001, 0.002)]
    assert found.offset_m.tolist() == pytest.approx(expected, abs=1e-6)


def test_more_points_than_fit_at_a_time_keep_their_rows() -> None:
    index = index_lines(shapely.from_wkt(["LINESTRING(0 -1, 0 1)"]))
    points = np.column_stack([np.where(np.arange(12_001) % 2, 0.0001, 5.0), np.zeros(12_001)])
    found = find_candidates(points, index, within_m=100)
    assert found.point.tolist() == list(range(1, 12_001, 2))


def test_a_pair_is_found_once_beside_the_meridian_of_180_degrees() -> None:
    index = index_lines(shapely.from_wkt(["LINESTRING(179.9 0, -179.9 0)", "LINESTRING(-180 -1, -180 1)"]))
    found = find_candidates(np.array([[180.0, 0.0001], [-180.0, 0.0001], [0.0, 0.0]]), index, within_m=100)
    assert found.point.tolist() == [0, 0, 1, 1]
    assert found.line.tolist() == [1, 0, 1, 0]
    assert np.abs(found.place[:, 0]).tolist() == [180.0] * 4


def test_where_a_line_is_as_near_twice_the_first_place_along_it_is_taken() -> None:
    index = index_lines(shapely.from_wkt(["LINESTRING(-0.001 -1, -0.001 0, 0.001 0.5, 0.001 -1)"]))
    found = touch_lines(np.array([[0.0, -0.5]]), index, np.array([0]), np.array([0]))
    assert found.place[0].tolist() == [-0.001, -0.5]


def test_a_missing_line_is_touched_nowhere() -> None:
    index = index_lines(np.array([None, shapely.Point(0, 0)], dtype=object))
    found = touch_lines(np.zeros((1, 2)), index, np.array([0, 0]), np.array([0, 1]))
    assert np.isnan(found.offset_m).all()
    assert np.isnan(found.place).all()
    assert len(find_candidates(np.zeros((1, 2)), index, within_m=100).point) == 0


def test_lines_of_many_vertices_are_compared_part_by_part(monkeypatch: pytest.MonkeyPatch) -> None:
    rng = np.random.default_rng(3)
    lines = shapely.linestrings(np.cumsum(rng.normal(0, 0.001, (9, 40, 2)), axis=1))
    points = rng.normal(0, 0.005, (30, 2))
    whole = find_candidates(points, index_lines(lines), within_m=300)
    monkeypatch.setattr("watershedmap.network.candidates._MOST_VERTICES", 50)
    parts = find_candidates(points, index_lines(lines), within_m=300)
    assert len(whole.point) > 20
    for name in ("point", "line", "place", "along_m", "offset_m"):
        assert np.array_equal(getattr(parts, name), getattr(whole, name))
