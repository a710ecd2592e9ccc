"""Topology from codes, and the direction of lines from elevations."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pytest
from network_builders import layer_of_ids, layer_of_lines

from watershedmap.network.topology import build_network

if TYPE_CHECKING:
    import geopandas as gpd

    from watershedmap.errors import Fault
    from watershedmap.network.topology import Network

NAN = float("nan")


def edges_of(network: Network) -> set[tuple[int, int]]:
    return set(zip(network.edge_up.tolist(), network.edge_down.tolist(), strict=True))


def told(found: list[Fault], words: str) -> list[tuple[str, str]]:
    return [(fault.severity, fault.value) for fault in found if words in fault.problem]


def hilly(start: list[float], end: list[float]) -> gpd.GeoDataFrame:
    """Make three lines in a row, the middle one drawn backwards, with elevations at their ends."""
    layer = layer_of_lines([(0, 0), (1, 0)], [(2, 0), (1, 0)], [(2, 0), (3, 0)])
    return layer.assign(start_elevation_m=start, end_elevation_m=end)


def test_nested_codes_are_taken_where_there_are_neither_ids_nor_nodes() -> None:
    layer = layer_of_ids({"a": None, "b": None, "c": None}).assign(nested_code=["3", "1", "2"])
    assert edges_of(build_network(layer)[0]) == set()  # the ids come first
    network, found = build_network(layer.drop(columns="downstream_id"))
    assert edges_of(network) == {(0, 1), (2, 1)}
    assert all(fault.severity == "notice" for fault in found)


def test_repeated_codes_are_a_fault_and_missing_ones_a_notice() -> None:
    layer = layer_of_ids({"a": None, "b": None, "c": None}).assign(nested_code=["3", "3", None])
    _, found = build_network(layer, source="nested_code")
    assert told(found, "share their nested code") == [("fault", "a, b")]
    assert told(found, "no nested code") == [("notice", "c")]


def test_a_line_that_runs_uphill_is_turned() -> None:
    network, found = build_network(hilly([30, 10, 20], [20, 20, 10]))
    assert network.has_flow
    assert network.runs_upstream.tolist() == [False, True, False]
    assert edges_of(network) == {(0, 1), (1, 2)}
    assert told(found, "drawn uphill") == [("notice", "r1")]


def test_elevations_that_tell_of_all_lines_settle_the_direction() -> None:
    network, found = build_network(hilly([30, 20, 20], [20, 10, 30]))
    assert edges_of(network) == {(2, 1)}  # the first and the second come down to one node from both sides
    assert network.runs_upstream.tolist() == [False, False, True]
    assert told(found, "junction") == []
    assert told(found, "do not tell") == []


@pytest.mark.parametrize("unknown", [NAN, 10.0])
def test_lines_with_equal_or_missing_elevations_stay_as_drawn_and_are_listed(unknown: float) -> None:
    layer = layer_of_lines(*([(step, 0), (step + 1, 0)] for step in range(5)))
    layer = layer.assign(start_elevation_m=[50, 40, 30, 20, 10], end_elevation_m=[40, 30, 20, 10, unknown])
    network, found = build_network(layer)
    assert edges_of(network) == {(0, 1), (1, 2), (2, 3), (3, 4)}
    assert not network.runs_upstream.any()
    assert told(found, "do not tell the direction of 1 line") == [("notice", "r4")]


def test_few_elevations_leave_the_direction_to_the_junctions() -> None:
    network, found = build_network(hilly([30, NAN, NAN], [20, NAN, NAN]))
    assert not network.has_flow
    assert told(found, "direction of flow is unknown")
    assert not network.runs_upstream.any()


@pytest.mark.parametrize("direction", ["drawn", "unknown"])
def test_elevations_turn_nothing_where_the_survey_has_said_how_lines_are_drawn(direction: str) -> None:
    network, found = build_network(hilly([30, 10, 20], [20, 20, 10]), direction=direction)
    assert not network.runs_upstream.any()
    assert edges_of(network) == set()
    assert told(found, "uphill") == []


def test_a_missing_line_says_nothing_of_elevations() -> None:
    layer = layer_of_lines([(0, 0), (1, 0)], None).assign(
        start_elevation_m=[2, NAN], end_elevation_m=[1, NAN]
    )
    network, found = build_network(layer)
    assert network.has_flow
    assert told(found, "do not tell") == []


def test_a_reach_without_a_line_has_the_length_that_the_layer_gives() -> None:
    layer = layer_of_ids({"a": "b", "b": "c", "c": None}).assign(length_km=[2.5, np.nan, -1.0])
    network, found = build_network(layer)
    assert network.length_km.tolist() == [2.5, 0.0, 0.0]
    assert told(found, "that of the column") == [("notice", "a")]
    assert told(found, "counts as 0 km") == [("notice", "b, c")]


def test_a_line_is_measured_whatever_length_the_layer_gives() -> None:
    layer = layer_of_lines([(0, 0), (1, 0)]).assign(length_km=[7.0])
    assert build_network(layer)[0].length_km[0] == pytest.approx(111.3, abs=0.1)


def test_own_areas_are_kept_and_missing_ones_stay_missing() -> None:
    layer = layer_of_ids({"a": None, "b": "a"})
    assert np.isnan(build_network(layer)[0].area_km2).all()
    assert build_network(layer.assign(area_km2=[2.0, np.nan]))[0].area_km2[0] == 2.0


def test_cycles_that_are_left_out_are_notices_that_say_what_it_costs() -> None:
    layer = layer_of_ids({"a": "b", "b": "a", "c": "c", "d": "a", "e": None})
    stopped, faults = build_network(layer)
    network, found = build_network(layer, cycles="leave_out")
    assert {fault.severity for fault in found} == {"notice"}
    assert [fault.value for fault in faults if fault.severity == "fault"] == ["c", "a > b"]
    assert told(found, "left out of all tracing") == [("notice", "c"), ("notice", "a > b")]
    assert network.in_cycle.tolist() == stopped.in_cycle.tolist() == [True, True, True, False, False]
    assert edges_of(network) == set()
    assert told(found, "with 1 outlet(s) in all") == [("notice", "")]  # d goes on into the circle


def test_an_unknown_word_for_cycles_is_refused() -> None:
    with pytest.raises(ValueError, match="cycles must be one of stop, leave_out"):
        build_network(layer_of_ids({"a": None}), cycles="cut")
