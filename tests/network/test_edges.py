"""Edges are sorted topologically, and cycles are found."""

from __future__ import annotations

import networkx as nx
import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from watershedmap.network.edges import Edges, drop_cycles, drop_self_flow, sort_topologically


def edges_of(pairs: list[tuple[int, int]]) -> Edges:
    up, down = np.array(pairs, dtype=np.intp).reshape(-1, 2).T
    return Edges(up=up, down=down)


PAIRS = st.lists(st.tuples(st.integers(0, 9), st.integers(0, 9)), max_size=25)


@given(PAIRS)
def test_the_cycles_are_those_that_networkx_finds(pairs: list[tuple[int, int]]) -> None:
    graph = nx.DiGraph([pair for pair in pairs if pair[0] != pair[1]])
    expected = sorted(sorted(part) for part in nx.strongly_connected_components(graph) if len(part) > 1)
    edges, own = drop_self_flow(edges_of(pairs))
    left, cycles = drop_cycles(edges, 10)
    assert sorted(sorted(cycle) for cycle in cycles) == expected
    assert sorted(own.tolist()) == sorted(up for up, down in pairs if up == down)
    assert len(sort_topologically(left, 10)) == 10


@given(PAIRS)
def test_every_reach_comes_after_those_that_flow_into_it(pairs: list[tuple[int, int]]) -> None:
    edges = edges_of([(min(pair), max(pair)) for pair in pairs if pair[0] != pair[1]])
    place = {reach: number for number, reach in enumerate(sort_topologically(edges, 10).tolist())}
    assert len(place) == 10
    assert all(
        place[up] < place[down] for up, down in zip(edges.up.tolist(), edges.down.tolist(), strict=True)
    )


def test_a_cycle_is_told_along_the_flow_from_its_first_row() -> None:
    _, cycles = drop_cycles(edges_of([(5, 2), (2, 7), (7, 5), (0, 5), (7, 9)]), 10)
    assert cycles == [[2, 7, 5]]
