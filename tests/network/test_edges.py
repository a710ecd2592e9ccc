"""Cycles are found, and edges that touch some reaches are taken out."""

from __future__ import annotations

import networkx as nx
import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from watershedmap.network.edges import Edges, drop_self_flow, drop_touching, find_cycles, find_neighbours


def edges_of(pairs: list[tuple[int, int]]) -> Edges:
    up, down = np.array(pairs, dtype=np.intp).reshape(-1, 2).T
    return Edges(up=up, down=down)


PAIRS = st.lists(st.tuples(st.integers(0, 9), st.integers(0, 9)), max_size=25)


@given(PAIRS)
def test_the_cycles_are_those_that_networkx_finds(pairs: list[tuple[int, int]]) -> None:
    graph = nx.DiGraph([pair for pair in pairs if pair[0] != pair[1]])
    expected = sorted(sorted(part) for part in nx.strongly_connected_components(graph) if len(part) > 1)
    edges, own = drop_self_flow(edges_of(pairs))
    cycles = find_cycles(edges, 10)
    assert sorted(sorted(cycle) for cycle in cycles) == expected
    assert sorted(own.tolist()) == sorted(up for up, down in pairs if up == down)


@given(PAIRS)
def test_each_cycle_holds_all_simple_cycles_that_share_a_reach_with_it(pairs: list[tuple[int, int]]) -> None:
    graph = nx.DiGraph([pair for pair in pairs if pair[0] != pair[1]])
    cycles = [set(cycle) for cycle in find_cycles(drop_self_flow(edges_of(pairs))[0], 10)]
    simple = [set(cycle) for cycle in nx.simple_cycles(graph)]
    assert set().union(*cycles) == set().union(*simple)
    assert all(sum(part <= cycle for cycle in cycles) == 1 for part in simple)


def test_a_cycle_is_told_along_the_flow_from_its_first_row() -> None:
    assert find_cycles(edges_of([(5, 2), (2, 7), (7, 5), (0, 5), (7, 9)]), 10) == [[2, 7, 5]]


def test_edges_from_and_to_a_reach_are_taken_out() -> None:
    left = drop_touching(edges_of([(0, 1), (1, 2), (2, 3)]), np.array([False, True, False, False]))
    assert (left.up.tolist(), left.down.tolist()) == ([2], [3])


@given(PAIRS)
def test_neighbours_stand_in_the_order_of_the_pairs(pairs: list[tuple[int, int]]) -> None:
    edges = edges_of(pairs)
    below = find_neighbours(edges.up, edges.down, 10)
    for reach in range(10):
        assert below.of(reach) == [down for up, down in pairs if up == reach]
