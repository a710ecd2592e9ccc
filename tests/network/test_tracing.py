"""Totals, paths and neighbours along the flow, against plain graph routines."""

from __future__ import annotations

import itertools
import math
from dataclasses import replace
from typing import TYPE_CHECKING

import geopandas as gpd
import networkx as nx
import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st
from network_builders import (
    acyclic_layers,
    end_graph,
    flow_graph,
    layer_of_ids,
    layer_of_lines,
    layer_of_nodes,
    lengths_of,
    row,
    trees,
    with_lengths,
)

from watershedmap.network.order import strahler_order
from watershedmap.network.topology import Network, build_network
from watershedmap.network.tracing import (
    accumulate,
    distance_to_outlet_km,
    downstream_of,
    downstream_path,
    main_stem,
    nearest_sites,
    upstream_of,
)
from watershedmap.network.views import sites_in_view
from watershedmap.network.ways import flow_distance_km, path_between

if TYPE_CHECKING:
    from random import Random

LAYERS = st.one_of(trees(), acyclic_layers())


@st.composite
def sampled_networks(draw: st.DrawFn) -> tuple[Network, nx.DiGraph, np.ndarray, np.ndarray]:
    """Draw a network, its graph, and sites at quarters of the lengths of their reaches."""
    layer = draw(LAYERS)
    network = with_lengths(layer, draw(lengths_of(len(layer))))
    reach = np.array(draw(st.lists(st.integers(-1, len(layer) - 1), min_size=1, max_size=5)), dtype=np.intp)
    quarter = np.array([draw(st.integers(0, 4)) for _ in reach])
    return network, flow_graph(layer), reach, network.length_km[reach] * quarter * 250.0


@given(LAYERS, st.data())
def test_totals_are_what_each_reach_gets_from_those_above(
    layer: gpd.GeoDataFrame, data: st.DataObject
) -> None:
    graph, size = flow_graph(layer), len(layer)
    local = np.array(data.draw(st.lists(st.integers(0, 99), min_size=size, max_size=size)), dtype=float)
    shares = np.zeros((size, size))
    for up, down in graph.edges:
        shares[down, up] = 1 / graph.out_degree(up)
    expected = np.linalg.solve(np.eye(size) - shares, local)
    assert accumulate(build_network(layer)[0], local) == pytest.approx(expected)


@given(trees())
def test_in_trees_totals_count_each_reach_above_once(layer: gpd.GeoDataFrame) -> None:
    graph = flow_graph(layer)
    counted = accumulate(build_network(layer)[0], np.ones(len(layer)))
    assert counted.tolist() == [1 + len(nx.ancestors(graph, reach)) for reach in range(len(layer))]


def test_below_the_reunion_of_branches_the_whole_is_together_again() -> None:
    layer = layer_of_nodes([("a", "b"), ("b", "c"), ("b", "c"), ("c", "d")])
    assert accumulate(build_network(layer)[0], np.array([8.0, 1.0, 0.0, 0.0])).tolist() == [8, 5, 4, 9]


def test_columns_are_totalled_one_by_one_and_the_input_is_left_alone() -> None:
    network, _ = build_network(layer_of_ids({"a": "b", "b": None}))
    local = np.array([[1.0, np.nan], [2.0, 3.0]])
    total = accumulate(network, local)
    assert total[:, 0].tolist() == [1, 3]
    assert np.isnan(total[:, 1]).all()
    assert local[1].tolist() == [2, 3]


def test_totals_need_a_row_for_each_reach() -> None:
    network, _ = build_network(layer_of_ids({"a": None}))
    with pytest.raises(ValueError, match="2 rows given for 1 reaches"):
        accumulate(network, np.ones(2))


@given(LAYERS)
def test_upstream_reaches_are_the_ancestors_and_the_reach_itself(layer: gpd.GeoDataFrame) -> None:
    network, graph = build_network(layer)[0], flow_graph(layer)
    for reach in range(len(layer)):
        expected = layer["reach_id"].to_numpy()[sorted(nx.ancestors(graph, reach) | {reach})]
        assert upstream_of(network, reach).tolist() == expected.tolist()


@given(LAYERS)
def test_downstream_reaches_are_the_descendants_and_the_reach_itself(layer: gpd.GeoDataFrame) -> None:
    network, graph = build_network(layer)[0], flow_graph(layer)
    for reach in range(len(layer)):
        expected = layer["reach_id"].to_numpy()[sorted(nx.descendants(graph, reach) | {reach})]
        assert downstream_of(network, reach).tolist() == expected.tolist()


@given(LAYERS, st.data())
def test_the_distance_to_the_outlet_is_the_length_of_the_path_below(
    layer: gpd.GeoDataFrame, data: st.DataObject
) -> None:
    network = with_lengths(layer, data.draw(lengths_of(len(layer))))
    distance = distance_to_outlet_km(network)
    for reach in range(len(layer)):
        below = [row(network, name) for name in downstream_path(network, reach)[1:]]
        assert distance[reach] == network.length_km[below].sum()


@given(trees(), st.data())
def test_the_main_stem_takes_the_branch_with_the_most_length_upstream(
    layer: gpd.GeoDataFrame, data: st.DataObject
) -> None:
    network, graph = with_lengths(layer, data.draw(lengths_of(len(layer)))), flow_graph(layer)
    size = {n: sum(network.length_km[list(nx.ancestors(graph, n) | {n})]) for n in graph}
    reach = data.draw(st.integers(0, len(layer) - 1))
    expected = [reach]
    while above := sorted(graph.predecessors(expected[-1])):
        expected.append(max(above, key=size.__getitem__))
    assert main_stem(network, reach).tolist() == network.ids[expected].tolist()


def test_the_main_stem_goes_by_area_where_every_reach_has_one() -> None:
    layer = layer_of_ids({"a": "c", "b": "c", "c": None})
    long_a = replace(with_lengths(layer, [9, 1, 1]), area_km2=np.array([1.0, 5.0, 1.0]))
    assert main_stem(long_a, 2).tolist() == ["c", "b"]
    assert main_stem(replace(long_a, area_km2=np.array([1.0, np.nan, 1.0])), 2).tolist() == ["c", "a"]


def test_reaches_of_a_cycle_that_is_left_out_have_no_totals_and_add_nothing_below() -> None:
    layer = layer_of_ids({"up": "a", "a": "b", "b": "a", "out": None, "in": "out"})
    network, found = build_network(layer, cycles="leave_out")
    assert {fault.severity for fault in found} == {"notice"}
    total = accumulate(network, np.ones(5))
    assert np.isnan(total[1:3]).all()
    assert total[[0, 3, 4]].tolist() == [1, 2, 1]
    # what flows into a circle has no known way to an outlet either
    assert np.isnan(distance_to_outlet_km(network)).tolist() == [True, True, True, False, False]


@given(LAYERS, st.data())
def test_nothing_is_lost_on_the_way_to_the_outlets(layer: gpd.GeoDataFrame, data: st.DataObject) -> None:
    network = build_network(layer)[0]
    size = len(layer)
    local = np.array(data.draw(st.lists(st.integers(0, 999), min_size=size, max_size=size)), dtype=float)
    assert accumulate(network, local)[network.main_down < 0].sum() == pytest.approx(local.sum())


@given(LAYERS, st.randoms(use_true_random=False))
def test_totals_do_not_depend_on_the_names_or_the_order_of_rows(
    layer: gpd.GeoDataFrame, random: Random
) -> None:
    local = np.arange(1.0, len(layer) + 1)
    names = [f"x{number}" for number in range(len(layer))]
    random.shuffle(names)
    renamed = dict(zip(layer["reach_id"], names, strict=True))
    rows = list(range(len(layer)))
    random.shuffle(rows)
    other = layer.assign(reach_id=layer["reach_id"].map(renamed))
    if "downstream_id" in layer:
        other["downstream_id"] = layer["downstream_id"].map(renamed)
    other = other.iloc[rows].reset_index(drop=True)
    total, again = (
        accumulate(build_network(layer)[0], local),
        accumulate(build_network(other)[0], local[rows]),
    )
    assert again == pytest.approx(total[rows])


@given(LAYERS)
def test_the_path_downstream_follows_the_main_branch_to_an_outlet(layer: gpd.GeoDataFrame) -> None:
    network, graph = build_network(layer)[0], flow_graph(layer)
    path = [row(network, name) for name in downstream_path(network, 0)]
    assert path[0] == 0
    assert all(down == min(graph.successors(up)) for up, down in itertools.pairwise(path))
    assert graph.out_degree(path[-1]) == 0


def test_without_a_direction_nothing_is_said_of_upstream_or_downstream() -> None:
    network, _ = build_network(layer_of_lines([(0, 0), (1, 0)], [(1, 0), (2, 0)]), direction="unknown")
    sites = np.array([0]), np.array([10.0])
    for trace in (upstream_of, downstream_of, downstream_path, main_stem):
        with pytest.raises(ValueError, match="unknown"):
            trace(network, 0)
    with pytest.raises(ValueError, match="unknown"):
        path_between(network, 0, 1)
    assert np.isnan(distance_to_outlet_km(network)).all()
    assert np.isnan(accumulate(network, np.ones(2))).all()
    assert nearest_sites(network, *sites)["site_upstream"].tolist() == [-1, -1]
    assert sites_in_view(network, *sites, within_km=1000).empty
    assert flow_distance_km(network, 0, 0, 0, 500) == (0.5, False)
    assert math.isnan(flow_distance_km(network, 0, 0, 1, 0)[0])


def naive_nearest(
    ends: nx.DiGraph, rest_km: dict[int, tuple[int, float]], *, start: tuple[str, int], goal: str
) -> tuple[int, float]:
    """Measure to every site with Dijkstra's way through the graph of ends and take the nearest."""
    found = nx.single_source_dijkstra_path_length(ends, start)
    distances = [
        (found[goal, place] + rest, site)
        for site, (place, rest) in rest_km.items()
        if place != start[1] and (goal, place) in found
    ]
    distance, site = min(distances, default=(math.inf, -1))
    return site, distance


@given(sampled_networks())
def test_nearest_sites_are_those_of_the_shortest_ways(
    drawn: tuple[Network, nx.DiGraph, np.ndarray, np.ndarray],
) -> None:
    network, graph, reach, position = drawn
    ends = end_graph(graph, network.length_km)
    up_km = {n: (int(on), m / 1000) for n, (on, m) in enumerate(zip(reach, position, strict=True)) if on >= 0}
    rest_km = {site: (on, network.length_km[on] - up) for site, (on, up) in up_km.items()}
    found = nearest_sites(network, reach, position)
    for here in found.fillna(math.inf).itertuples():
        below = naive_nearest(ends, rest_km, start=("lower", here.Index), goal="upper")
        above = naive_nearest(ends.reverse(), up_km, start=("upper", here.Index), goal="lower")
        assert (here.site_downstream, here.site_downstream_km) == below
        assert (here.site_upstream, here.site_upstream_km) == above


@given(sampled_networks(), st.integers(0, 30))
def test_sites_in_view_are_reached_along_the_flow_without_passing_a_sampled_reach(
    drawn: tuple[Network, nx.DiGraph, np.ndarray, np.ndarray], within_km: int
) -> None:
    network, graph, reach, position = drawn
    sampled = set(reach.tolist())
    expected = []
    for number in set(range(len(network.ids))) - sampled:
        for site, (place, metres) in enumerate(zip(reach.tolist(), position.tolist(), strict=True)):
            if place < 0:
                continue
            part = graph.subgraph((set(graph) - sampled) | {place})
            ends = end_graph(part, network.length_km)
            half, up = network.length_km[number] / 2, metres / 1000
            for upstream, begin, end, rest in (
                (False, ("lower", number), ("upper", place), network.length_km[place] - up),
                (True, ("lower", place), ("upper", number), up),
            ):
                if nx.has_path(ends, begin, end):
                    distance = nx.dijkstra_path_length(ends, begin, end) + rest + half
                    expected += [(number, site, distance, upstream)] if distance <= within_km else []
    found = sites_in_view(network, reach, position, within_km=within_km)
    assert sorted(found.itertuples(index=False, name=None)) == sorted(expected)
    ordered = found.sort_values(["reach", "distance_km", "site"])
    assert ordered.index.tolist() == found.index.tolist()


def test_a_reach_sees_all_sites_of_the_first_sampled_reach_and_nothing_beyond() -> None:
    network = with_lengths(layer_of_ids({"a": "b", "b": "c", "c": None}), [2, 2, 2])
    view = sites_in_view(network, np.array([1, 1, 2]), np.array([500.0, 1500.0, 1000.0]), within_km=10)
    assert not view["upstream"].any()
    assert view[["reach", "site", "distance_km"]].to_numpy().tolist() == [[0, 1, 1.5], [0, 0, 2.5]]


def test_of_two_sites_at_the_node_between_two_reaches_the_first_is_the_nearest() -> None:
    network = with_lengths(layer_of_ids({"a": "b", "b": "c", "c": None}), [0.5, 0.5, 0.5])
    reach, position = np.array([0, 1]), np.array([0.0, 500.0])  # the lower end of a is the upper end of b
    for turn in (1, -1):
        assert nearest_sites(network, reach[::turn], position[::turn])["site_upstream"][2] == 0


def test_a_neighbour_across_a_confluence_is_never_seen() -> None:
    network = with_lengths(layer_of_ids({"a": "c", "b": "c", "c": None}), [2, 2, 2])
    view = sites_in_view(network, np.array([0]), np.array([0.0]), within_km=10)
    assert view["reach"].tolist() == [2]
    assert view["upstream"].tolist() == [True]


def test_no_sites_are_seen_from_anywhere_when_there_are_none() -> None:
    network = with_lengths(layer_of_ids({"a": "b", "b": None}), [2, 2])
    view = sites_in_view(network, np.zeros(0, dtype=np.intp), np.zeros(0), within_km=10)
    assert view.empty
    assert view["upstream"].dtype == bool
    assert nearest_sites(network, np.array([-1]), np.array([np.nan]))["site_upstream"].tolist() == [-1, -1]


def test_of_two_ways_down_the_shorter_counts() -> None:
    layer = layer_of_nodes([("a", "b"), ("b", "c"), ("b", "c"), ("c", "d")])
    network = with_lengths(layer, [1, 5, 2, 1])
    assert flow_distance_km(network, 0, 0, 3, 1000) == (2.0, True)
    assert nearest_sites(network, np.array([3]), np.array([1000.0]))["site_downstream_km"][0] == 2.0


def test_a_chain_of_a_million_reaches_is_traced_whole() -> None:
    size = 1_000_000
    names = np.arange(size).astype(str)
    downstream = pd.Series(np.append(names[1:], ""), dtype="str").mask(np.arange(size) == size - 1)
    layer = gpd.GeoDataFrame(
        {"reach_id": names, "downstream_id": downstream}, geometry=np.full(size, None), crs="EPSG:4326"
    )
    network = with_lengths(layer, np.ones(size))
    assert accumulate(network, np.ones(size))[-1] == size
    assert (strahler_order(network) == 1).all()
    assert distance_to_outlet_km(network)[0] == size - 1
    assert len(upstream_of(network, size - 1)) == len(downstream_path(network, 0)) == size
    assert flow_distance_km(network, 0, 0, size - 1, 1000) == (size - 2, True)


def test_sites_along_a_chain_of_100000_reaches_are_found() -> None:
    size = 100_000
    chain = {str(number): str(number + 1) for number in range(size - 1)}
    network = with_lengths(layer_of_ids({**chain, str(size - 1): None}), np.ones(size))
    near = nearest_sites(network, np.array([0]), np.array([0.0]))
    assert near["site_upstream_km"].iloc[-1] == size - 2
    assert len(sites_in_view(network, np.array([0]), np.array([0.0]), within_km=5)) == 5
