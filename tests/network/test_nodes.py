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


def comb(teeth: int) -> list[list[tuple[float, float]]]:
    """Draw a stem that flows east and takes up a tributary at each of so many confluences."""
    stem = [[(x, 0.0), (x + 1, 0.0)] for x in range(teeth + 1)]
    return stem + [[(x + 1, 1.0), (x + 1, 0.0)] for x in range(teeth)]


@pytest.mark.parametrize("turned", [1, 3])
def test_the_direction_is_believed_from_four_fifths_of_the_junctions_on(turned: int) -> None:
    lines = comb(10)
    for tooth in lines[11 : 11 + turned]:
        tooth.reverse()  # a tributary that seems to leave spoils its confluence
    check = check_direction(nodes_of(*lines))
    assert (check.junctions, check.confluences) == (10, 10 - turned)
    assert check.believed is (turned == 1)


def test_a_tree_drawn_upstream_is_not_believed_however_many_pieces_its_streams_have() -> None:
    # Nodes that one piece enters and one leaves look the same with every line turned, so they have no vote.
    pieces = [
        [(x0 + (x1 - x0) * k / 6, y0 + (y1 - y0) * k / 6) for k in (part, part + 1)]
        for (x0, y0), (x1, y1) in comb(3)
        for part in range(6)
    ]
    down = check_direction(nodes_of(*pieces))
    assert (down.junctions, down.confluences, down.believed) == (3, 3, True)
    up = check_direction(nodes_of(*(line[::-1] for line in pieces)))
    assert (up.junctions, up.confluences, up.believed) == (3, 0, False)


def test_a_chain_without_confluences_tells_no_direction() -> None:
    check = check_direction(nodes_of(*([(x, 0), (x + 1, 0)] for x in range(11))))
    assert (check.junctions, check.believed) == (0, False)


def test_two_lines_that_both_leave_or_both_arrive_count_against() -> None:
    assert check_direction(nodes_of([(0, 0), (1, 0)], [(0, 0), (-1, 0)])).junctions == 1
    assert check_direction(nodes_of([(1, 0), (0, 0)], [(-1, 0), (0, 0)])).confluences == 0


def test_without_junctions_the_direction_is_not_believed() -> None:
    check = check_direction(nodes_of([(0, 0), (1, 0)], [(5, 5), (6, 6)]))
    assert check.junctions == 0
    assert not check.believed
