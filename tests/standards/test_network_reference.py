"""Lengths against geographiclib; order, sets, totals and cycles against networkx, on thousands of reaches.

geographiclib is the reference implementation of Karney 2013, J. Geodesy 87:43-55.
"""

from __future__ import annotations

import itertools
from dataclasses import replace

import geopandas as gpd
import networkx as nx
import numpy as np
import pytest
import shapely
from geographiclib.geodesic import Geodesic

from watershedmap.network.distance import line_length_km
from watershedmap.network.order import strahler_order
from watershedmap.network.topology import Network, build_network
from watershedmap.network.tracing import accumulate, downstream_of, upstream_of

SIZE = 3_000


@pytest.fixture(scope="module", params=[1, 2])
def tree(request: pytest.FixtureRequest) -> tuple[Network, nx.DiGraph]:
    """Make a random tree in shuffled order, and its graph."""
    rng = np.random.default_rng(request.param)
    lower = np.array([max(0, number - rng.integers(1, 40)) for number in range(1, SIZE)])
    rows = rng.permutation(SIZE)
    names = np.array([f"r{number}" for number in range(SIZE)], dtype=object)
    downstream = np.full(SIZE, None, dtype=object)
    downstream[rows[1:]] = names[rows[lower]]
    layer = gpd.GeoDataFrame(
        {"reach_id": names, "downstream_id": downstream}, geometry=[None] * SIZE, crs="EPSG:4326"
    )
    graph = nx.DiGraph(zip(rows[1:].tolist(), rows[lower].tolist(), strict=True))
    return build_network(layer)[0], graph


@pytest.mark.parametrize("latitude", [0, 45, 60, 84])
def test_lengths_agree_with_geographiclib_to_a_micrometre(latitude: float) -> None:
    rng = np.random.default_rng(latitude)
    lines = np.cumsum(rng.normal(0, 0.003, (20, 30, 2)), axis=1) + np.array([-70.0, latitude])
    expected = [
        sum(Geodesic.WGS84.Inverse(a[1], a[0], b[1], b[0])["s12"] for a, b in itertools.pairwise(line))
        for line in lines
    ]
    found = line_length_km([shapely.LineString(line) for line in lines])
    assert found * 1000 == pytest.approx(expected, abs=1e-6)


def test_order_agrees_with_a_walk_through_networkx(tree: tuple[Network, nx.DiGraph]) -> None:
    network, graph = tree
    order: dict[int, int] = {}
    for reach in nx.topological_sort(graph):
        above = sorted((order[up] for up in graph.predecessors(reach)), reverse=True)
        order[reach] = 1 if not above else above[0] + (above[:2] == [above[0]] * 2)
    assert strahler_order(network).tolist() == [order[reach] for reach in range(SIZE)]


def test_totals_agree_with_sums_over_the_ancestors_in_networkx(tree: tuple[Network, nx.DiGraph]) -> None:
    network, graph = tree
    local = np.random.default_rng(5).uniform(0, 10, SIZE)
    expected = [local[[reach, *nx.ancestors(graph, reach)]].sum() for reach in range(SIZE)]
    assert accumulate(network, local) == pytest.approx(expected, rel=1e-12)


@pytest.fixture(scope="module", params=[3, 4])
def braided(request: pytest.FixtureRequest) -> tuple[Network, nx.DiGraph]:
    """Make a random network with divergences from node names, and its graph."""
    rng = np.random.default_rng(request.param)
    upper = rng.integers(1, SIZE // 2, SIZE)
    lower = np.maximum(0, upper - rng.integers(1, 60, SIZE))
    layer = gpd.GeoDataFrame(
        {
            "reach_id": [f"r{number}" for number in range(SIZE)],
            "from_node": upper.astype(str),
            "to_node": lower.astype(str),
        },
        geometry=[None] * SIZE,
        crs="EPSG:4326",
    )
    pairs = zip(upper.tolist(), lower.tolist(), range(SIZE), strict=True)
    graph = nx.DiGraph()
    graph.add_nodes_from(range(SIZE))
    graph.add_edges_from((up[2], down[2]) for up, down in nx.line_graph(nx.MultiDiGraph(pairs)).edges())
    return build_network(layer)[0], graph


def test_the_edges_of_a_braided_network_are_those_of_the_line_graph(
    braided: tuple[Network, nx.DiGraph],
) -> None:
    network, graph = braided
    assert set(zip(network.edge_up.tolist(), network.edge_down.tolist(), strict=True)) == set(graph.edges)
    assert max(degree for _, degree in graph.out_degree) > 3


def test_sets_and_order_of_a_braided_network_agree_with_networkx(braided: tuple[Network, nx.DiGraph]) -> None:
    network, graph = braided
    place = {row: number for number, row in enumerate(network.order.tolist())}
    assert all(place[up] < place[down] for up, down in graph.edges)
    for reach in range(0, SIZE, 97):
        above, below = nx.ancestors(graph, reach) | {reach}, nx.descendants(graph, reach) | {reach}
        assert set(upstream_of(network, reach)) == set(network.ids[list(above)])
        assert set(downstream_of(network, reach)) == set(network.ids[list(below)])


@pytest.mark.parametrize("rule", ["equal", "first"])
def test_totals_of_a_braided_network_agree_with_a_walk_through_networkx(
    braided: tuple[Network, nx.DiGraph], rule: str
) -> None:
    network, graph = braided
    local = np.random.default_rng(6).uniform(0, 10, SIZE)
    if rule == "first":  # all of it down the first branch of the layer
        is_first = network.main_down[network.edge_up] == network.edge_down
        network = replace(network, edge_share=is_first.astype(float))
    total = local.copy()
    for reach in nx.topological_sort(graph):
        below = sorted(graph.successors(reach))
        for number, low in enumerate(below):
            part = 1 / len(below) if rule == "equal" else float(number == 0)
            total[low] += total[reach] * part
    assert accumulate(network, local) == pytest.approx(total, rel=1e-9)


def test_cycles_among_thousands_of_reaches_agree_with_networkx() -> None:
    rng = np.random.default_rng(8)
    lower = rng.integers(0, SIZE, SIZE)
    ids = np.arange(SIZE).astype(str)
    layer = gpd.GeoDataFrame(
        {"reach_id": ids, "downstream_id": ids[lower]}, geometry=[None] * SIZE, crs="EPSG:4326"
    )
    network, found = build_network(layer, cycles="leave_out")
    cycles = list(nx.simple_cycles(nx.DiGraph(enumerate(lower.tolist()))))
    assert len(cycles) > 1
    assert sorted(np.flatnonzero(network.in_cycle)) == sorted(row for cycle in cycles for row in cycle)
    assert sum("circle" in fault.problem or "itself" in fault.problem for fault in found) == len(cycles)
    assert np.array_equal(np.isnan(accumulate(network, np.ones(SIZE))), network.in_cycle)
