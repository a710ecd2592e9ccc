"""Ways between places: along the flow, or down to where two places meet and up again."""

from __future__ import annotations

import itertools
import math
from typing import TYPE_CHECKING

import networkx as nx
import pytest
from hypothesis import given
from hypothesis import strategies as st
from network_builders import (
    acyclic_layers,
    end_graph,
    flow_graph,
    layer_of_ids,
    layer_of_nodes,
    lengths_of,
    trees,
    with_lengths,
)

from watershedmap.network.ways import flow_distance_km, path_between

if TYPE_CHECKING:
    import geopandas as gpd

LAYERS = st.one_of(trees(), acyclic_layers())


def expect_distance(
    layer: gpd.GeoDataFrame, length: list[float], a: tuple[int, float], b: tuple[int, float]
) -> tuple[float, bool]:
    """Measure with networkx: along the flow where water passes, else along the lines whatever the flow."""
    graph = flow_graph(layer)
    if a[0] == b[0]:
        return abs(a[1] - b[1]), True
    ends = end_graph(graph, length)
    for name, (reach, up) in (("a", a), ("b", b)):
        ends.add_edge(name, ("lower", reach), weight=up)
        ends.add_edge(("upper", reach), name, weight=length[reach] - up)
    for begin, goal in (("a", "b"), ("b", "a")):
        if nx.has_path(ends, begin, goal):
            return nx.dijkstra_path_length(ends, begin, goal), True
    around = ends.to_undirected()
    if nx.has_path(around, "a", "b"):
        return nx.dijkstra_path_length(around, "a", "b"), False
    return math.nan, False


@given(LAYERS, st.data())
def test_distances_are_those_of_the_shortest_way(layer: gpd.GeoDataFrame, data: st.DataObject) -> None:
    length = data.draw(lengths_of(len(layer)))
    network = with_lengths(layer, length)
    pick = st.integers(0, len(layer) - 1)
    a, b = (
        (reach, length[reach] * data.draw(st.integers(0, 4)) / 4)
        for reach in (data.draw(pick), data.draw(pick))
    )
    found = flow_distance_km(network, a[0], a[1] * 1000, b[0], b[1] * 1000)
    assert found == pytest.approx(expect_distance(layer, length, a, b), nan_ok=True)


@given(LAYERS, st.data())
def test_distance_is_the_same_both_ways(layer: gpd.GeoDataFrame, data: st.DataObject) -> None:
    length = data.draw(lengths_of(len(layer)))
    network = with_lengths(layer, length)
    places = [
        (reach, length[reach] * data.draw(st.integers(0, 4)) * 250.0)
        for reach in data.draw(st.lists(st.integers(0, len(layer) - 1), min_size=2, max_size=2))
    ]
    there = flow_distance_km(network, *places[0], *places[1])
    assert flow_distance_km(network, *places[1], *places[0]) == pytest.approx(there, nan_ok=True)


@given(trees(), st.data())
def test_no_way_round_is_shorter_along_a_tree(layer: gpd.GeoDataFrame, data: st.DataObject) -> None:
    length = data.draw(lengths_of(len(layer)))
    network = with_lengths(layer, length)
    a, b, c = (
        (reach, length[reach] * data.draw(st.integers(0, 4)) * 250.0)
        for reach in data.draw(st.lists(st.integers(0, len(layer) - 1), min_size=3, max_size=3))
    )
    direct = flow_distance_km(network, *a, *c)[0]
    round_b = flow_distance_km(network, *a, *b)[0] + flow_distance_km(network, *b, *c)[0]
    assert math.isnan(direct) or math.isnan(round_b) or direct <= round_b + 1e-9


@given(LAYERS, st.data())
def test_the_reaches_between_hang_together_and_are_as_long_as_the_distance(
    layer: gpd.GeoDataFrame, data: st.DataObject
) -> None:
    length = data.draw(lengths_of(len(layer)))
    network, graph = with_lengths(layer, length), flow_graph(layer)
    pick = st.integers(0, len(layer) - 1)
    a, b = data.draw(pick), data.draw(pick)
    middle = [kilometres * 500.0 for kilometres in length]
    distance, _ = flow_distance_km(network, a, middle[a], b, middle[b])
    path = path_between(network, a, b).tolist()
    if math.isnan(distance):
        assert path == []
        return
    assert (path[0], path[-1]) == (a, b)
    assert len(path) == len(set(path))
    for one, other in itertools.pairwise(path):
        touch = graph.has_edge(one, other) or graph.has_edge(other, one)
        meet = set(graph.successors(one)) & set(graph.successors(other))
        part = set(graph.predecessors(one)) & set(graph.predecessors(other))
        assert touch or meet or part
    between = sum(length[reach] for reach in path[1:-1])
    assert distance == pytest.approx(between + (length[a] + length[b]) / 2 if a != b else 0.0)


def test_the_way_over_a_confluence_does_not_pass_the_reach_below_it() -> None:
    network = with_lengths(layer_of_ids({"a": "b", "b": "d", "c": "d", "d": None}), [1, 1, 1, 1])
    assert path_between(network, 0, 2).tolist() == [0, 1, 2]
    assert path_between(network, 3, 0).tolist() == [3, 1, 0]
    assert path_between(network, 1, 1).tolist() == [1]


def test_branches_that_part_and_never_meet_are_joined_by_the_way_up() -> None:
    network = with_lengths(layer_of_nodes([("a", "b"), ("b", "c"), ("b", "d")]), [1, 5, 2])
    assert flow_distance_km(network, 1, 0, 2, 0) == (7.0, False)


def test_of_two_ways_down_the_path_is_the_shorter() -> None:
    network = with_lengths(layer_of_nodes([("a", "b"), ("b", "c"), ("b", "c"), ("c", "d")]), [1, 5, 2, 1])
    assert path_between(network, 0, 3).tolist() == [0, 2, 3]
    assert path_between(network, 3, 0).tolist() == [3, 2, 0]
