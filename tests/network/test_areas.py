"""Reaches, points and sizes by area."""

from __future__ import annotations

import geopandas as gpd
import numpy as np
import pytest
import shapely
from geographiclib.geodesic import Geodesic
from hypothesis import given
from hypothesis import strategies as st
from network_builders import layer_of_lines

from watershedmap.network.areas import area_km2, area_of_points, share_reaches
from watershedmap.network.distance import line_length_km


def areas_of(*polygons: shapely.Geometry) -> gpd.GeoDataFrame:
    return gpd.GeoDataFrame(geometry=np.array(polygons, dtype=object), crs="EPSG:4326")


WEST, EAST = shapely.box(0, 0, 1, 1), shapely.box(1, 0, 2, 1)


def test_a_reach_is_divided_by_its_length_in_each_area() -> None:
    shares = share_reaches(layer_of_lines([(0.5, 0.5), (1.25, 0.5)]), areas_of(WEST, EAST))
    assert shares[["reach", "area"]].to_numpy().tolist() == [[0, 0], [0, 1]]
    assert shares["share"].tolist() == pytest.approx([2 / 3, 1 / 3], rel=1e-4)
    assert shares["length_km"].sum() == pytest.approx(
        line_length_km([shapely.LineString([(0.5, 0.5), (1.25, 0.5)])])[0]
    )


def test_a_reach_on_a_shared_border_counts_once_in_the_first_area() -> None:
    shares = share_reaches(layer_of_lines([(1, 0.2), (1, 0.8)]), areas_of(EAST, WEST))
    assert shares[["area", "share"]].to_numpy().tolist() == [[0, 1.0]]


def test_a_reach_partly_on_a_border_counts_every_piece_once() -> None:
    layer = layer_of_lines([(0.5, 0.5), (1, 0.5), (1, 0.8), (1.5, 0.8)])
    shares = share_reaches(layer, areas_of(WEST, EAST))
    assert shares["area"].tolist() == [0, 1]
    assert shares["share"].sum() == pytest.approx(1.0, abs=1e-9)
    assert shares["length_km"][0] > shares["length_km"][1]


def test_a_reach_wholly_in_one_area_is_not_split_by_a_border_that_it_touches() -> None:
    layer = layer_of_lines([(1.5, 0.2), (1, 0.4), (1, 0.6), (1.5, 0.8)])
    assert share_reaches(layer, areas_of(WEST, EAST))["area"].tolist() == [1]


def test_what_lies_in_no_area_is_left_out() -> None:
    shares = share_reaches(layer_of_lines([(0.5, 0.5), (0.5, 1.5)], [(5, 5), (6, 6)]), areas_of(WEST))
    assert shares["reach"].tolist() == [0]
    assert shares["share"][0] == pytest.approx(0.5, abs=1e-3)


def test_a_reach_that_only_touches_an_area_has_no_row() -> None:
    shares = share_reaches(layer_of_lines([(1.2, 0.5), (1.0, 0.5)]), areas_of(WEST, EAST))
    assert shares["area"].tolist() == [1]


def test_overlapping_areas_do_not_count_a_piece_twice() -> None:
    layer = layer_of_lines([(-0.5, 0.5), (1.5, 0.5)])
    shares = share_reaches(layer, areas_of(WEST, shapely.box(0.5, 0, 2, 1)))
    assert shares["share"].sum() == pytest.approx(0.75, rel=1e-3)


def test_missing_lines_and_missing_areas_are_passed_over() -> None:
    shares = share_reaches(layer_of_lines(None, [(0.2, 0.5), (0.4, 0.5)]), areas_of(None, WEST))
    assert shares[["reach", "area"]].to_numpy().tolist() == [[1, 1]]
    assert share_reaches(layer_of_lines(None), areas_of(WEST)).empty


def test_a_polygon_that_crosses_itself_is_mended_first() -> None:
    bow_tie = shapely.Polygon([(0, 0), (1, 1), (1, 0), (0, 1)])
    shares = share_reaches(layer_of_lines([(0, 0.5), (1, 0.5)]), areas_of(bow_tie))
    assert shares["share"].tolist() == pytest.approx([1.0])
    assert area_km2(areas_of(bow_tie).geometry)[0] == pytest.approx(
        area_km2(areas_of(WEST).geometry)[0] / 2, rel=1e-3
    )


@given(st.lists(st.tuples(st.integers(0, 12), st.integers(0, 12)), min_size=2, max_size=6, unique=True))
def test_shares_in_a_tiling_sum_to_one_whatever_the_line(points: list[tuple[int, int]]) -> None:
    line = shapely.LineString([(x / 4, y / 4) for x, y in points])
    tiles = areas_of(*(shapely.box(x, y, x + 1, y + 1) for x in range(3) for y in range(3)))
    shares = share_reaches(layer_of_lines(line), tiles)
    if line.is_simple:
        assert shares["share"].sum() == pytest.approx(1.0, abs=1e-9)
    assert shares["share"].sum() <= 1.0 + 1e-9
    assert not shares["area"].duplicated().any()


def test_points_lie_in_the_first_area_that_holds_them() -> None:
    points = gpd.GeoSeries([shapely.Point(0.5, 0.5), shapely.Point(1, 0.5), shapely.Point(9, 9), None])
    assert area_of_points(points, areas_of(EAST, WEST)).tolist() == [1, 0, -1, -1]


def test_areas_are_geodesic_whichever_way_rings_run_and_holes_are_left_out() -> None:
    hole = [(0.4, 0.4), (0.4, 0.6), (0.6, 0.6), (0.6, 0.4)]
    expected = 0.0
    for ring, sign in ((WEST.exterior.coords[:-1], 1), (hole, -1)):
        polygon = Geodesic.WGS84.Polygon()
        for longitude, latitude in ring:
            polygon.AddPoint(latitude, longitude)
        expected += sign * abs(polygon.Compute()[2]) / 1e6
    for turned in (hole, hole[::-1]):
        given_area = area_km2(areas_of(shapely.Polygon(WEST.exterior, [turned])).geometry)
        assert given_area[0] == pytest.approx(expected, rel=1e-9)


def test_parts_are_summed_and_a_missing_polygon_has_no_area() -> None:
    both = area_km2(areas_of(shapely.MultiPolygon([WEST, shapely.box(5, 0, 6, 1)]), None).geometry)
    assert both[0] == pytest.approx(2 * area_km2(areas_of(WEST).geometry)[0])
    assert np.isnan(both[1])
