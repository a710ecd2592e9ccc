"""What joins a stream between two places on it."""

from __future__ import annotations

import numpy as np

from watershedmap.condition.junctions import list_tributaries
from watershedmap.network.edges import find_neighbours


def _list(path: list[int], *edges: tuple[int, int]) -> list[tuple[int, int]]:
    up, down = (np.array(column, dtype=np.intp) for column in zip(*edges, strict=True))
    size = int(max(up.max(), down.max())) + 1
    return list_tributaries(path, find_neighbours(down, up, size), find_neighbours(up, down, size))


def test_tributaries_come_in_the_order_of_the_flow_with_the_reach_just_above() -> None:
    assert _list([0, 1, 2], (0, 1), (1, 2), (5, 2), (4, 1)) == [(4, 0), (5, 1)]


def test_what_joins_above_the_upper_or_below_the_lower_place_is_not_between() -> None:
    assert _list([0, 1], (9, 0), (0, 1), (1, 2), (8, 2)) == []


def test_one_reach_has_no_junction_within() -> None:
    assert _list([0], (9, 0), (0, 1)) == []


def test_a_side_branch_is_no_tributary_and_what_joins_it_is_told_once() -> None:
    # 3 and 4 leave reach 0 and come back above 2; 5 joins them
    assert _list([0, 1, 2], (0, 1), (0, 3), (3, 4), (4, 2), (1, 2), (5, 4)) == [(5, 1)]


def test_a_branch_that_leaves_for_good_hides_nothing() -> None:
    assert _list([0, 1, 2], (0, 1), (1, 2), (1, 6), (6, 7), (5, 2)) == [(5, 1)]


def test_a_tributary_with_two_mouths_is_told_once() -> None:
    assert _list([0, 1, 2], (0, 1), (1, 2), (5, 1), (5, 2)) == [(5, 0)]
