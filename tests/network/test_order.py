"""Strahler's order and Shreve's magnitude."""

from __future__ import annotations

from typing import TYPE_CHECKING

import networkx as nx
import numpy as np
import pytest
from hypothesis import given
from network_builders import acyclic_layers, flow_graph, layer_of_ids, layer_of_lines, layer_of_nodes, trees

from watershedmap.network.order import shreve_magnitude, strahler_order
from watershedmap.network.topology import build_network

if TYPE_CHECKING:
    import geopandas as gpd


def naive_order(graph: nx.DiGraph, reach: int) -> int:
    """Follow the definition word by word; a branch that is not the main one has no tributaries."""
    tributaries = [up for up in graph.predecessors(reach) if min(graph.successors(up)) == reach]
    orders = [naive_order(graph, up) for up in tributaries]
    if not orders:
        return 1
    return max(orders) + (orders.count(max(orders)) >= 2)


def order_of(layer: gpd.GeoDataFrame) -> list[int]:
    return [int(order) for order in strahler_order(build_network(layer)[0])]


@given(trees())
def test_order_in_trees_follows_the_definition(layer: gpd.GeoDataFrame) -> None:
    graph = flow_graph(layer)
    assert order_of(layer) == [naive_order(graph, reach) for reach in range(len(layer))]


@given(acyclic_layers())
def test_order_at_divergences_goes_on_in_the_main_branch_only(layer: gpd.GeoDataFrame) -> None:
    graph = flow_graph(layer)
    assert order_of(layer) == [naive_order(graph, reach) for reach in range(len(layer))]


@pytest.mark.parametrize("tributaries", [2, 3, 7])
def test_any_number_of_the_same_order_at_one_node_raises_it_once(tributaries: int) -> None:
    layer = layer_of_ids({**{f"t{n}": "out" for n in range(tributaries)}, "out": None})
    assert order_of(layer) == [1] * tributaries + [2]


def test_a_lower_order_changes_nothing() -> None:
    assert order_of(layer_of_ids({"a": "f", "b": "f", "f": "h", "e": "h", "h": None})) == [1, 1, 2, 1, 2]


def test_the_side_branch_of_a_divergence_starts_again() -> None:
    layer = layer_of_nodes([("a", "c"), ("b", "c"), ("c", "d"), ("d", "e"), ("d", "f")])
    assert order_of(layer) == [1, 1, 2, 2, 1]


@given(acyclic_layers())
def test_order_never_falls_along_the_main_branch(layer: gpd.GeoDataFrame) -> None:
    network, _ = build_network(layer)
    order = strahler_order(network)
    flows_on = np.flatnonzero(network.main_down >= 0)
    assert (order[network.main_down[flows_on]] >= order[flows_on]).all()


@given(trees())
def test_magnitude_in_trees_is_the_number_of_sources_upstream(layer: gpd.GeoDataFrame) -> None:
    graph = flow_graph(layer)
    sources = {reach for reach in graph if not graph.in_degree(reach)}
    expected = [len(sources & (nx.ancestors(graph, reach) | {reach})) for reach in range(len(layer))]
    assert shreve_magnitude(build_network(layer)[0]).tolist() == expected


def test_sources_go_on_in_the_main_branch_of_a_divergence_only() -> None:
    layer = layer_of_nodes(
        [("a", "c"), ("b", "c"), ("c", "d"), ("d", "e"), ("d", "f"), ("g", "f"), ("f", "h")]
    )
    assert shreve_magnitude(build_network(layer)[0]).tolist() == [1, 1, 2, 2, 0, 1, 1]


def test_reaches_of_a_cycle_have_no_order() -> None:
    network, _ = build_network(layer_of_ids({"a": "b", "b": "a", "c": None}), cycles="leave_out")
    assert strahler_order(network).tolist() == [0, 0, 1]
    assert shreve_magnitude(network).tolist() == [0, 0, 1]


def test_without_a_direction_there_is_no_order() -> None:
    network, _ = build_network(layer_of_lines([(0, 0), (1, 0)], [(1, 0), (2, 0)]), direction="unknown")
    assert np.all(strahler_order(network) == 0)
    assert np.all(shreve_magnitude(network) == 0)
