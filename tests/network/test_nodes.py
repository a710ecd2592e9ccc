"""Line ends become nodes, and the drawn direction is believed only when it looks like flow."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from network_builders import GEOD, layer_of_lines

from watershedmap.network.lines import find_ends, merge_parts
from watershedmap.network.nodes import Nodes, check_direction, join_ends, read_nodes


def nodes_of(*lines: list[tuple[float, float]], join_m: float = 1.0) -> Nodes:
    return join_ends(find_ends(merge_parts(layer_of_lines(*lines).geometry)), join_m=join_m)


def test_ends_within_the_distance_meet_and_others_do_not_even_at_80_degrees_north() -> None:
    start = (10.0, 80.0)
    near, far = (GEOD.fwd(*start, 90, metres)[:2] for metres in (0.9, 1.1))
    nodes = nodes_of([(10, 79), start], [near, (11, 81)], join_m=1.0)
    assert nodes.lower[0] == nodes.upper[1]
    nodes = nodes_of([(10, 79), start], [far, (11, 81)], join_m=1.0)
    assert nodes.lower[0] != nodes.upper[1]


def test_ends_meet_across_the_date_line() -> None:
    nodes = nodes_of([(179, 0), (180, 0)], [(-180, 0), (-179, 0)])
    assert nodes.lower[0] == nodes.upper[1]


def test_a_line_shorter_than_the_joining_distance_keeps_two_nodes() -> None:
    short = 0.5 / 111_320
    nodes = nodes_of([(-1, 0), (0, 0)], [(0, 0), (short, 0)], [(short, 0), (1, 0)])
    assert nodes.lower[0] == nodes.upper[1] != nodes.lower[1] == nodes.upper[2]


def test_missing_lines_meet_nothing() -> None:
    ends = np.full((2, 2, 2), np.nan)
    nodes = join_ends(ends, join_m=1.0)
    assert len({*nodes.upper.tolist(), *nodes.lower.tolist()}) == 4


def test_joining_nothing_gives_nothing() -> None:
    assert join_ends(np.zeros((0, 2, 2)), join_m=1.0).upper.size == 0


def test_named_nodes_meet_by_name_and_missing_names_do_not() -> None:
    frame = pd.DataFrame({"from_node": ["a", "b", None], "to_node": ["b", "c", None]}, dtype="str")
    nodes = read_nodes(frame)
    assert nodes.lower[0] == nodes.upper[1]
    assert nodes.upper[2] != nodes.lower[2]


def test_a_junction_counts_when_one_line_leaves_and_others_arrive() -> None:
    check = check_direction(nodes_of([(0, 1), (0, 0)], [(1, 1), (0, 0)], [(0, 0), (0, -1)]))
    assert (check.junctions, check.confluences, check.believed) == (1, 1, True)


@pytest.mark.parametrize("reversed_lines", [1, 2])
def test_the_direction_is_believed_from_four_fifths_of_the_junctions_on(reversed_lines: int) -> None:
    chain = [[(x, 0), (x + 1, 0)] for x in range(11)]  # ten junctions
    for number in range(reversed_lines):
        chain[3 + 4 * number].reverse()  # spoils the two junctions next to it
    check = check_direction(nodes_of(*chain))
    assert check.junctions == 10
    assert check.confluences == 10 - 2 * reversed_lines
    assert check.believed is (reversed_lines == 1)


def test_without_junctions_the_direction_is_not_believed() -> None:
    check = check_direction(nodes_of([(0, 0), (1, 0)], [(5, 5), (6, 6)]))
    assert check.junctions == 0
    assert not check.believed
