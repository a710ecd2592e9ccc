"""Lines that nearly meet, are drawn twice, against the flow, far from the next or over themselves are found."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pytest
import shapely
from network_builders import GEOD, layer_of_ids, layer_of_lines

from watershedmap.network.inspection import inspect_reaches
from watershedmap.network.topology import build_network

if TYPE_CHECKING:
    import geopandas as gpd
    import pandas as pd

PLACE = (10.0, 50.0)


def inspect(layer: gpd.GeoDataFrame, kind: str, *, near_miss_m: float = 20.0) -> pd.DataFrame:
    network, _ = build_network(layer, direction="drawn")
    found = inspect_reaches(layer, network, near_miss_m=near_miss_m, direction="drawn")
    return found[found["finding"] == kind].reset_index(drop=True)


def beside(metres: float) -> tuple[float, float]:
    longitude, latitude, _ = GEOD.fwd(*PLACE, 90, metres)
    return longitude, latitude


def test_ends_that_nearly_meet_are_found_with_their_distance() -> None:
    layer = layer_of_lines([(10, 51), PLACE], [beside(7.5), (10, 49)])
    found = inspect(layer, "near miss")
    assert found["ids"].tolist() == ["r0; r1"]
    assert "7.5 m apart" in found["note"].iloc[0]
    assert found.geometry.iloc[0].distance(shapely.Point(PLACE)) < 1e-4


@pytest.mark.parametrize("metres", [0.5, 25.0])
def test_ends_that_meet_or_lie_farther_apart_are_no_near_miss(metres: float) -> None:
    assert inspect(layer_of_lines([(10, 51), PLACE], [beside(metres), (10, 49)]), "near miss").empty


def test_the_nearest_misses_stand_first() -> None:
    far = [(20, 51), (20, 50)], [GEOD.fwd(20, 50, 90, 15)[:2], (20, 49)]
    layer = layer_of_lines(*far, [(10, 51), PLACE], [beside(3), (10, 49)])
    assert inspect(layer, "near miss")["ids"].tolist() == ["r2; r3", "r0; r1"]


def test_a_short_reach_and_reaches_that_ids_link_are_no_near_miss() -> None:
    short = layer_of_lines([(10, 51), PLACE], [PLACE, beside(9)], [beside(9), (10, 49)])
    assert inspect(short, "near miss").empty
    lines = [shapely.LineString([(10, 51), PLACE]), line_from(beside(9))]
    assert inspect(layer_of_ids({"a": "b", "b": None}, lines), "near miss").empty
    apart = layer_of_ids({"a": None, "b": None}, lines)
    assert inspect(apart, "near miss")["ids"].tolist() == ["a; b"]


def line_from(place: tuple[float, float]) -> shapely.LineString:
    return shapely.LineString([place, (10, 49)])


def test_an_end_on_the_middle_of_a_line_is_found_where_ids_do_not_link_it() -> None:
    main = shapely.LineString([(10, 51), (10, 49)])
    side = shapely.LineString([(10.5, 50), beside(6)])
    found = inspect(layer_of_ids({"side": None, "main": None}, [side, main]), "end beside a line")
    assert found["ids"].tolist() == ["side; main"]
    assert "6.0 m from" in found["note"].iloc[0]
    assert found.geometry.iloc[0].equals(shapely.Point(beside(6)))
    linked = layer_of_ids({"side": "main", "main": None}, [side, main])
    assert inspect(linked, "end beside a line").empty
    far = shapely.LineString([(10.5, 50), beside(25)])
    assert inspect(layer_of_ids({"side": None, "main": None}, [far, main]), "end beside a line").empty


def test_a_spring_beside_a_line_is_nothing_odd_where_the_flow_is_known() -> None:
    main = shapely.LineString([(10, 51), (10, 49)])
    away = shapely.LineString([beside(6), (10.5, 50)])
    below = layer_of_ids(
        {"away": "next", "next": None, "main": None}, [away, shapely.LineString([(10.5, 50), (11, 50)]), main]
    )
    assert inspect(below, "end beside a line").empty


def test_a_reach_far_from_what_it_flows_into_has_a_gap() -> None:
    lines = [shapely.LineString([(10, 51), PLACE]), line_from(beside(500))]
    found = inspect(layer_of_ids({"a": "b", "b": None}, lines), "gap along the flow")
    assert found["ids"].tolist() == ["a; b"]
    assert "500 m away" in found["note"].iloc[0]
    assert found.geometry.iloc[0].equals(shapely.Point(PLACE))


def test_a_tributary_that_joins_between_the_ends_has_no_gap() -> None:
    lines = [shapely.LineString([(11, 50), PLACE]), shapely.LineString([(10, 51), (10, 49)])]
    assert inspect(layer_of_ids({"a": "b", "b": None}, lines), "gap along the flow").empty


def test_a_line_drawn_against_the_ids_is_reversed() -> None:
    lines = [shapely.LineString([PLACE, (10, 51)]), line_from(PLACE)]
    found = inspect(layer_of_ids({"a": "b", "b": None}, lines), "reversed line")
    assert found["ids"].tolist() == ["a"]
    assert found.geometry.iloc[0].equals(shapely.Point(10, 50.5))


def test_lines_drawn_twice_are_found_in_either_direction() -> None:
    bend = [(10, 51), (10.5, 50.5), (10, 50)]
    straight = [(10, 51), (9.5, 50.5), (10, 50)]  # between the same ends, another way
    layer = layer_of_lines(bend, straight, bend[::-1], [(3, 3), (4, 4)], [(3, 3), (4, 4)])
    found = inspect(layer, "duplicate line")
    assert found["ids"].tolist() == ["r0; r2", "r3; r4"]
    assert ["not all in the same direction" in note for note in found["note"]] == [True, False]


def test_a_line_that_crosses_itself_is_found() -> None:
    loop = [(0, 0), (2, 0), (2, 1), (1, 1), (1, -1)]
    assert inspect(layer_of_lines(loop, [(1, -1), (1, -3)]), "line crosses itself")["ids"].tolist() == ["r0"]


def test_reaches_without_a_line_are_listed_unless_all_are() -> None:
    layer = layer_of_ids({"a": "b", "b": None}, np.array([None, line_from(PLACE)], dtype=object))
    found = inspect(layer, "no line")
    assert found["ids"].tolist() == ["a"]
    assert found.geometry.isna().all()
    assert inspect(layer_of_ids({"a": "b", "b": None}), "no line").empty


def test_row_order_does_not_change_what_is_found() -> None:
    loop = [(0, 0), (2, 0), (2, 1), (1, 1), (1, -1)]
    layer = layer_of_lines([(10, 51), PLACE], [beside(7.5), (10, 49)], [(10, 51), PLACE], loop)
    turned = layer.iloc[::-1].reset_index(drop=True)
    sets = []
    for frame in (layer, turned):
        network, _ = build_network(frame, direction="drawn")
        found = inspect_reaches(frame, network, direction="drawn")
        rows = zip(found["finding"], found["ids"], strict=True)
        sets.append(sorted((kind, tuple(sorted(ids.split("; ")))) for kind, ids in rows))
    assert sets[0] == sets[1]
    assert len(sets[0]) > 4
