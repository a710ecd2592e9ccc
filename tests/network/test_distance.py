"""Lengths and distances are geodesic."""

from __future__ import annotations

import numpy as np
import pytest
import shapely
from geographiclib.geodesic import Geodesic

from watershedmap.network.distance import line_length_km, point_distance_m

GEODESIC = Geodesic.WGS84


def test_each_line_is_as_long_as_its_geodesics_together() -> None:
    rng = np.random.default_rng(3)
    lines = [shapely.LineString(rng.uniform([-179, -80], [179, 80], (size, 2))) for size in (2, 3, 9)]
    expected = [
        sum(
            GEODESIC.Inverse(a[1], a[0], b[1], b[0])["s12"]
            for a, b in zip(line.coords, line.coords[1:], strict=False)
        )
        for line in lines
    ]
    assert line_length_km(lines) * 1000 == pytest.approx(expected, rel=1e-12)


def test_gaps_between_parts_are_not_counted() -> None:
    parts = shapely.from_wkt(["LINESTRING(0 0,0 1)", "LINESTRING(0 5,0 6)"])
    assert line_length_km([shapely.union_all(parts)])[0] == pytest.approx(line_length_km(parts).sum())


def test_a_missing_line_has_no_length_and_an_empty_one_has_length_zero() -> None:
    lengths = line_length_km(np.array([None, shapely.from_wkt("LINESTRING EMPTY")], dtype=object))
    assert np.isnan(lengths[0])
    assert lengths[1] == 0.0


def test_no_lines_give_no_lengths() -> None:
    assert line_length_km([]).shape == (0,)


def test_lines_across_the_date_line_go_the_short_way() -> None:
    line = shapely.LineString([(179.9, 0), (-179.9, 0)])
    assert line_length_km([line])[0] == pytest.approx(22.26, abs=0.01)


def test_points_are_measured_pair_by_pair_and_broadcast() -> None:
    metres = point_distance_m(0.0, 60.0, [0.0, 1.0], [60.0, 60.0])
    assert metres[0] == 0.0
    assert metres[1] == pytest.approx(GEODESIC.Inverse(60, 0, 60, 1)["s12"], rel=1e-12)


def test_an_unknown_place_has_an_unknown_distance() -> None:
    assert np.isnan(point_distance_m(np.nan, 0.0, 1.0, 1.0))
