"""A sketch of the layers has the right shape, and stays small however many lines there are."""

from __future__ import annotations

import re

import geopandas as gpd
import numpy as np
import pytest
import shapely
from shapely.geometry import LineString, Polygon

from watershedmap.render.layer_sketch import (
    LOWEST,
    MARGIN,
    MOST_SEGMENTS,
    TALLEST,
    WIDTH,
    draw_dots,
    draw_path,
    frame_layers,
)


def series(*shapes: object) -> gpd.GeoSeries:
    return gpd.GeoSeries(np.array(shapes, dtype=object), crs="EPSG:4326")


def numbers(path: str) -> list[float]:
    return [float(number) for number in re.findall(r"-?\d+(?:\.\d+)?", path)]


def test_the_layer_fills_the_width_with_north_up() -> None:
    frame = frame_layers([series(LineString([(10, 0.1), (11, -0.1)]))])
    assert frame is not None
    (west, north), (east, south) = frame.place(np.array([[10, 0.1], [11, -0.1]])).tolist()
    assert west == pytest.approx(MARGIN)
    assert east == pytest.approx(WIDTH - MARGIN)
    assert north < south


def test_a_degree_of_longitude_is_half_as_wide_at_sixty_degrees() -> None:
    frame = frame_layers([series(LineString([(10, 59.5), (12, 60.5)]))])
    assert frame is not None
    assert frame.across / frame.along == pytest.approx(0.5, abs=1e-3)


def test_long_and_flat_layers_stay_within_the_sketch() -> None:
    for line in (LineString([(10, -5), (10, 5)]), LineString([(5, 0), (6, 0)]), LineString([(5, 0), (5, 0)])):
        frame = frame_layers([series(line)])
        assert frame is not None
        assert LOWEST <= frame.height <= TALLEST
        places = frame.place(shapely.get_coordinates(line))
        assert (places >= 0).all()
        assert (places <= [frame.width, frame.height]).all()


def test_nothing_with_a_place_has_no_sketch() -> None:
    assert frame_layers([series(None), series()]) is None


def test_a_line_is_drawn_through_its_vertices_and_a_missing_one_is_not() -> None:
    shapes = series(LineString([(0, 0), (1, 0), (1, -1)]), None)
    frame = frame_layers([shapes])
    assert frame is not None
    path = draw_path(shapes, frame)
    assert re.fullmatch(r"M[\d. ]+L[\d. ]+L[\d. ]+", path)
    assert numbers(path) == pytest.approx(frame.place(np.array([(0, 0), (1, 0), (1, -1)])).ravel(), abs=0.5)


def test_a_segment_drawn_twice_is_there_once_in_whatever_direction() -> None:
    line = LineString([(0, 0), (1, 0.5)])
    shapes = series(line, line.reverse(), line)
    frame = frame_layers([shapes])
    assert frame is not None
    assert draw_path(shapes, frame).count("L") == 1


def test_a_polygon_is_drawn_by_its_border() -> None:
    shapes = series(Polygon([(0, 0), (1, 0), (1, 1)]))
    frame = frame_layers([shapes])
    assert frame is not None
    assert draw_path(shapes, frame).count("L") == 3


def test_very_many_lines_make_a_path_that_stays_small() -> None:
    rng = np.random.default_rng(1)
    ends = rng.uniform(0, 1, (50_000, 2, 2))
    shapes = gpd.GeoSeries(shapely.linestrings(ends), crs="EPSG:4326")
    frame = frame_layers([shapes])
    assert frame is not None
    path = draw_path(shapes, frame)
    assert path.count("L") == MOST_SEGMENTS
    assert len(path) < 400_000


def test_dots_that_fall_together_are_one() -> None:
    assert draw_dots(np.array([[10.1, 10.2], [10.3, 10.4], [50.0, 20.0]])) == "M10 10h0M50 20h0"
