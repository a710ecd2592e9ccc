"""Lengths against geographiclib, and order and totals against networkx, on networks of some thousand reaches.

geographiclib is the reference implementation of Karney 2013, J. Geodesy 87:43-55.
"""

from __future__ import annotations

import itertools

import geopandas as gpd
import networkx as nx
import numpy as np
import pytest
import shapely
from geographiclib.geodesic import Geodesic

from watershedmap.network.distance import line_length_km
from watershedmap.network.order import strahler_order
from watershedmap.network.topology import Network, build_network
from watershedmap.network.tracing import accumulate

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
