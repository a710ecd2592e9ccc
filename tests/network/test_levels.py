"""Levels hold every reach once, in topological order, whatever the shape of the network."""

from __future__ import annotations

from dataclasses import replace

import networkx as nx
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from watershedmap.network import levels as module
from watershedmap.network.edges import Edges
from watershedmap.network.levels import Levels, rank_branching, sort_levels, total_down


def edges_of(pairs: list[tuple[int, int]]) -> Edges:
    up, down = np.array(pairs, dtype=np.intp).reshape(-1, 2).T
    return Edges(up=up, down=down)


def graph_of(pairs: list[tuple[int, int]], size: int) -> nx.DiGraph:
    graph = nx.DiGraph()
    graph.add_nodes_from(range(size))
    graph.add_edges_from(pairs)
    return graph


ACYCLIC = st.lists(
    st.tuples(st.integers(0, 9), st.integers(0, 9))
    .filter(lambda pair: pair[0] != pair[1])
    .map(sorted)
    .map(tuple),
    max_size=30,
)
THINS = st.sampled_from([0, 2, 32])  # all levels as arrays, some, or none


@pytest.fixture(params=[0, 2, 4, 32])
def thin(request: pytest.FixtureRequest, monkeypatch: pytest.MonkeyPatch) -> int:
    """Walk levels narrower than this one by one."""
    monkeypatch.setattr(module, "THIN", request.param)
    return int(request.param)


def random_network(seed: int, *, most_down: int) -> tuple[Edges, int]:
    """Draw 600 reaches that each flow into up to so many of the next few, in shuffled rows."""
    rng = np.random.default_rng(seed)
    size = 600
    rows = rng.permutation(size)
    pairs = {
        (int(rows[n]), int(rows[low]))
        for n in range(1, size)
        for low in rng.integers(max(0, n - 25), n, rng.integers(0 if n % 50 == 0 else 1, most_down + 1))
    }
    return edges_of(sorted(pairs)), size


@pytest.mark.usefixtures("thin")
@pytest.mark.parametrize("most_down", [1, 3])
def test_levels_are_the_longest_ways_down_to_an_outlet(most_down: int) -> None:
    edges, size = random_network(3, most_down=most_down)
    graph = graph_of(list(zip(edges.up.tolist(), edges.down.tolist(), strict=True)), size)
    steps: dict[int, int] = {}
    for reach in reversed(list(nx.topological_sort(graph))):
        steps[reach] = max((steps[low] + 1 for low in graph.successors(reach)), default=0)
    levels = sort_levels(edges, size)
    number = np.repeat(np.arange(len(levels.starts) - 1)[::-1], np.diff(levels.starts))
    assert {int(row): int(level) for row, level in zip(levels.order, number, strict=True)} == steps


@pytest.mark.usefixtures("thin")
@pytest.mark.parametrize("most_down", [1, 3])
def test_totals_and_orders_do_not_depend_on_how_levels_are_walked(most_down: int) -> None:
    edges, size = random_network(4, most_down=most_down)
    levels = sort_levels(edges, size)
    share = None if levels.upper is None else np.random.default_rng(1).random(len(levels.upper))
    main = None if share is None else share > 0.4
    local = np.random.default_rng(2).random(size)
    total, order = local.copy(), np.zeros(size, dtype=int)
    highest: list[list[int]] = [[] for _ in range(size)]
    place = {int(row): number for number, row in enumerate(levels.order)}
    pairs = zip(levels.edge_up.tolist(), levels.edge_down.tolist(), strict=True)
    edge_list = sorted(enumerate(pairs), key=lambda edge: place[edge[1][0]])
    for row in levels.order.tolist():
        top = max(highest[row], default=0)
        order[row] = max(1, top + (highest[row].count(top) > 1))
        while edge_list and edge_list[0][1][0] == row:
            number, (up, down) = edge_list.pop(0)
            total[down] += total[up] * (1.0 if share is None else share[number])
            if main is None or main[number]:
                highest[down].append(int(order[up]))
    assert not edge_list
    assert total_down(levels, local, share) == pytest.approx(total, rel=1e-12)
    assert rank_branching(levels, main).tolist() == order.tolist()


@given(ACYCLIC, THINS)
def test_every_reach_comes_after_those_that_flow_into_it(pairs: list[tuple[int, int]], thin: int) -> None:
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(module, "THIN", thin)
        levels = sort_levels(edges_of(pairs), 10)
    place = {reach: number for number, reach in enumerate(levels.order.tolist())}
    assert sorted(place) == list(range(10))
    found = list(zip(levels.edge_up.tolist(), levels.edge_down.tolist(), strict=True))
    assert sorted(found) == sorted(set(pairs))
    assert all(place[up] < place[down] for up, down in found)
    lower = [place[down] for _, down in found]
    assert lower == sorted(lower)


@given(st.lists(st.tuples(st.integers(0, 9), st.integers(0, 9)), max_size=25), THINS)
def test_what_is_left_over_lies_in_a_cycle_or_above_one(pairs: list[tuple[int, int]], thin: int) -> None:
    graph = graph_of(pairs, 10)
    cyclic = {row for part in nx.strongly_connected_components(graph) if len(part) > 1 for row in part}
    cyclic |= {up for up, down in pairs if up == down}
    left = cyclic.union(*(nx.ancestors(graph, row) for row in cyclic))
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(module, "THIN", thin)
        levels = sort_levels(edges_of(pairs), 10)
    assert sorted(levels.order.tolist()) == sorted(set(range(10)) - left)


@pytest.mark.usefixtures("thin")
def test_nothing_is_known_below_the_unknown_and_all_beside_it() -> None:
    levels = sort_levels(edges_of([(0, 2), (1, 2), (2, 4), (3, 4)]), 6)
    total = total_down(levels, np.array([np.nan, 1, 1, 1, 1, 1]), None)
    assert np.isnan(total).tolist() == [True, False, True, False, True, False]


def test_a_comb_of_a_million_reaches_is_sorted_and_totalled() -> None:
    spine = np.arange(500_000)
    up = np.concatenate([spine[:-1], spine + 500_000])  # each reach of the spine has one more beside it
    down = np.concatenate([spine[1:], spine])
    levels = sort_levels(Edges(up=up, down=down), 1_000_000)
    assert len(levels.starts) == 500_002
    assert total_down(levels, np.ones(1_000_000), None)[499_999] == 1_000_000
    assert rank_branching(levels, None).max() == 2


def test_a_star_of_many_reaches_is_one_level_above_its_centre() -> None:
    levels = sort_levels(Edges(up=np.arange(1, 100_000), down=np.zeros(99_999, dtype=int)), 100_000)
    assert levels.starts.tolist() == [0, 99_999, 100_000]
    assert rank_branching(levels, None)[0] == 2


def test_no_reaches_have_no_levels() -> None:
    levels = sort_levels(edges_of([]), 0)
    assert levels.starts.tolist() == [0]
    assert total_down(levels, np.zeros(0), None).shape == rank_branching(levels, None).shape == (0,)


def test_parts_that_do_not_belong_together_are_refused() -> None:
    levels = sort_levels(edges_of([(0, 1), (0, 2), (1, 2)]), 3)
    assert isinstance(levels, Levels)
    with pytest.raises(ValueError, match="hold every reach"):
        replace(levels, order=levels.order[1:])
    with pytest.raises(ValueError, match="an upper reach"):
        replace(levels, upper=np.zeros(1, dtype=np.int32))
    with pytest.raises(ValueError, match="after those"):
        replace(levels, upper=np.full(3, 2, dtype=np.int32))
