"""Lines are merged where their parts meet, and taken apart without losing length."""

from __future__ import annotations

import numpy as np
import pytest
import shapely

from watershedmap.network.lines import find_ends, is_in_parts, merge_parts, split_segments


def test_parts_that_meet_become_one_line() -> None:
    merged = merge_parts(shapely.from_wkt(["MULTILINESTRING((1 0,2 0),(0 0,1 0))"]))
    assert shapely.to_wkt(merged[0]) == "LINESTRING (0 0, 1 0, 2 0)"
    assert not is_in_parts(merged)[0]


def test_a_multi_part_line_of_one_part_becomes_a_line() -> None:
    merged = merge_parts(shapely.from_wkt(["MULTILINESTRING((2 0,1 0))"]))
    assert shapely.to_wkt(merged[0]) == "LINESTRING (2 0, 1 0)"


def test_parts_with_a_gap_stay_parts_and_end_at_first_start_and_last_end() -> None:
    merged = merge_parts(shapely.from_wkt(["MULTILINESTRING((0 0,1 0),(5 0,6 0))"]))
    assert is_in_parts(merged)[0]
    assert find_ends(merged)[0].tolist() == [[0, 0], [6, 0]]


def test_missing_empty_and_other_geometries_are_no_lines() -> None:
    given = [None, shapely.from_wkt("LINESTRING EMPTY"), shapely.Point(1, 2), shapely.box(0, 0, 1, 1)]
    merged = merge_parts(np.array(given, dtype=object))
    assert merged.tolist() == [None] * 4
    assert np.isnan(find_ends(merged)).all()
    assert split_segments(merged).line.size == 0


def test_the_layer_given_is_not_changed() -> None:
    given = shapely.from_wkt(["MULTILINESTRING((0 0,1 0),(1 0,2 0))"])
    before = given.copy()
    merge_parts(given)
    assert given.tolist() == before.tolist()


def test_segments_know_their_line_and_what_lies_before_them() -> None:
    segments = split_segments(shapely.from_wkt(["LINESTRING(0 0,0 1,0 2)", "LINESTRING(9 0,9 1)"]))
    assert segments.line.tolist() == [0, 0, 1]
    assert segments.from_m[:2].tolist() == [0.0, segments.length_m[0]]
    assert segments.from_m[2] == pytest.approx(0.0, abs=1e-9)


def test_segments_do_not_bridge_the_gap_between_parts() -> None:
    segments = split_segments(shapely.from_wkt(["MULTILINESTRING((0 0,0 1),(0 5,0 6))"]))
    assert segments.start.tolist() == [[0, 0], [0, 5]]
    assert segments.from_m[1] == segments.length_m[0]


def test_heights_are_left_out_of_lengths() -> None:
    flat, steep = shapely.from_wkt(["LINESTRING(0 0,0 1)", "LINESTRING Z(0 0 0,0 1 9000)"])
    assert split_segments([flat]).length_m == split_segments([steep]).length_m
