"""What is seen along the flow, and where barriers end it."""

from __future__ import annotations

from itertools import pairwise

import geopandas as gpd
import networkx as nx
import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st

from watershedmap.network.topology import Network, build_network
from watershedmap.network.views import Barriers, sites_in_view, sites_seen_by_sites

# Two headwaters a and b meet in c, which flows on in d; each reach is one kilometre in what follows.
A, B, C, D = range(4)


def build(down: list[int]) -> Network:
    """Build a network of reaches of one kilometre each, without lines."""
    ids = [f"r{n}" for n in range(len(down))]
    frame = gpd.GeoDataFrame(
        {
            "reach_id": ids,
            "downstream_id": [ids[n] if n >= 0 else None for n in down],
            "length_km": 1.0,
        },
        geometry=[None] * len(down),
        crs="EPSG:4326",
    )
    return build_network(frame)[0]


@pytest.fixture(name="fork")
def make_fork() -> Network:
    return build([C, C, D, -1])


def barriers(*points: tuple[int, float], closed: tuple[int, ...] = (), size: int = 4) -> Barriers:
    return Barriers(
        reach=np.array([reach for reach, _ in points], dtype=np.intp),
        position_m=np.array([position for _, position in points], dtype=float),
        closed=np.isin(np.arange(size), closed),
    )


def seen(network: Network, reach: int, position_m: float, ends: Barriers) -> dict[int, float]:
    found = sites_in_view(network, np.array([reach]), np.array([position_m]), within_km=10, barriers=ends)
    return dict(zip(found["reach"], found["distance_km"].round(6), strict=True))


def test_without_barriers_a_site_is_seen_from_every_unsampled_reach_along_the_flow(fork: Network) -> None:
    assert seen(fork, C, 250.0, barriers()) == {A: 1.25, B: 1.25, D: 0.75}


def test_a_point_barrier_hides_what_lies_beyond_and_not_what_lies_before(fork: Network) -> None:
    assert seen(fork, C, 250.0, barriers((C, 600.0))) == {D: 0.75}
    assert seen(fork, C, 250.0, barriers((C, 100.0))) == {A: 1.25, B: 1.25}


def test_a_reach_is_seen_when_the_barrier_on_it_lies_beyond_its_middle(fork: Network) -> None:
    assert seen(fork, D, 500.0, barriers((C, 700.0))) == {C: 1.0}
    assert seen(fork, D, 500.0, barriers((C, 300.0))) == {}
    assert seen(fork, D, 500.0, barriers((C, 500.0))) == {}  # in the middle: told from neither side


def test_a_barrier_at_the_place_of_a_site_hides_neither_side(fork: Network) -> None:
    assert seen(fork, C, 250.0, barriers((C, 250.0))) == {A: 1.25, B: 1.25, D: 0.75}


def test_a_barrier_at_the_end_of_a_reach_closes_that_end(fork: Network) -> None:
    assert seen(fork, D, 500.0, barriers((C, 0.0))) == {}
    assert set(seen(fork, D, 500.0, barriers((A, 0.0)))) == {B, C}


def test_a_reach_that_is_a_barrier_sees_nothing_and_lets_nothing_through(fork: Network) -> None:
    assert seen(fork, D, 500.0, barriers(closed=(C,))) == {}
    assert seen(fork, C, 500.0, barriers(closed=(C,))) == {}
    assert set(seen(fork, D, 500.0, barriers(closed=(A,)))) == {B, C}


def test_a_barrier_that_lies_on_no_reach_ends_nothing(fork: Network) -> None:
    assert seen(fork, C, 250.0, barriers((-1, np.nan))) == {A: 1.25, B: 1.25, D: 0.75}


def test_sites_on_one_reach_see_each_other_and_nothing_beyond(fork: Network) -> None:
    reach, position = np.array([C, C, C, D]), np.array([100.0, 500.0, 900.0, 500.0])
    found = sites_seen_by_sites(fork, reach, position, within_km=10)
    pairs = {
        (row.from_site, row.site): (round(row.distance_km, 6), row.upstream) for row in found.itertuples()
    }
    assert pairs[0, 1] == (0.4, True)
    assert pairs[0, 2] == (0.8, True)  # all sites of the first reach that has any
    assert pairs[0, 3] == (0.6, False)
    assert (2, 3) not in pairs
    assert pairs[3, 0] == (0.6, True)


def test_sites_part_where_a_barrier_lies_between(fork: Network) -> None:
    reach, position = np.array([C, C]), np.array([100.0, 900.0])
    for at, count in ((500.0, 0), (50.0, 2), (100.0, 2)):
        found = sites_seen_by_sites(fork, reach, position, within_km=10, barriers=barriers((C, at)))
        assert len(found) == count


@st.composite
def surveys(draw: st.DrawFn) -> tuple[list[int], list[int], list[float], list[tuple[int, float]]]:
    size = draw(st.integers(2, 12))
    down = [-1] + [draw(st.integers(0, n - 1)) for n in range(1, size)]
    count = draw(st.integers(1, 6))
    place = st.integers(0, size - 1)
    spot = st.integers(1, 9).map(lambda tenth: tenth * 100.0)
    reach = draw(st.lists(place, min_size=count, max_size=count))
    position = draw(st.lists(spot, min_size=count, max_size=count))
    ends = draw(st.lists(st.tuples(place, spot.map(lambda metres: metres + 7.0)), max_size=3))
    return down, reach, position, ends


@settings(max_examples=150, deadline=None)
@given(surveys())
def test_views_agree_with_networkx_on_a_graph_cut_at_barriers(
    survey: tuple[list[int], list[int], list[float], list[tuple[int, float]]],
) -> None:
    """The same question asked of a general graph library: a node a place, edges cut where a barrier lies."""
    down, reach, position, ends = survey
    network = build(down)
    found = sites_in_view(
        network, np.array(reach), np.array(position), within_km=3.2, barriers=barriers(*ends, size=len(down))
    )
    ours = {(row.reach, row.site): round(row.distance_km, 6) for row in found.itertuples()}
    theirs = {}
    for target in range(len(down)):
        if target in reach:
            continue
        for site, (place, metres) in enumerate(zip(reach, position, strict=True)):
            graph = draw_graph(
                down, ends, blocked=set(reach) - {place}, extra=[(place, metres), (target, 500.0)]
            )
            for one, other in (((place, metres), (target, 500.0)), ((target, 500.0), (place, metres))):
                if nx.has_path(graph, one, other):
                    distance = nx.shortest_path_length(graph, one, other, weight="km")
                    if distance <= 3.2 + 1e-9:
                        theirs[target, site] = round(distance, 6)
    assert ours == theirs


def draw_graph(
    down: list[int], ends: list[tuple[int, float]], *, blocked: set[int], extra: list[tuple[int, float]]
) -> nx.DiGraph:
    """Draw places along the flow as nodes; no edge passes a barrier or enters a blocked reach."""
    graph = nx.DiGraph()
    for reach, lower in enumerate(down):
        places = sorted({1000.0, 0.0, *(metres for row, metres in extra if row == reach)}, reverse=True)
        graph.add_nodes_from((reach, metres) for metres in places)
        for above, below in pairwise(places):
            cut = any(row == reach and below < metres < above for row, metres in ends)
            if not cut and reach not in blocked:
                graph.add_edge((reach, above), (reach, below), km=(above - below) / 1000)
        if lower >= 0:
            graph.add_edge((reach, 0.0), (lower, 1000.0), km=0.0)
    return graph


def test_lines_give_the_same_views_as_lengths() -> None:
    lines = [shapely.LineString([(0, 0.02), (0, 0.01)]), shapely.LineString([(0, 0.01), (0, 0)])]
    frame = gpd.GeoDataFrame(
        {"reach_id": ["a", "b"], "downstream_id": ["b", None]}, geometry=lines, crs="EPSG:4326"
    )
    network, _ = build_network(frame)
    found = sites_in_view(network, np.array([1]), np.array([500.0]), within_km=10)
    expected = network.length_km[1] - 0.5 + network.length_km[0] / 2
    assert found["distance_km"].tolist() == pytest.approx([expected])
