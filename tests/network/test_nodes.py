"""Line ends become nodes, and the drawn direction is believed only when it looks like flow."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from network_builders import GEOD, layer_of_lines

from watershedmap.network.lines import find_ends, merge_parts
from watershedmap.network.nodes import (
    EARTH_RADIUS_M,
    Nodes,
    check_direction,
    find_near_pairs,
    find_odd_junctions,
    join_ends,
    read_nodes,
    turn_by_elevation,
)


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


def every_near_pair(places: np.ndarray, within_m: float) -> set[tuple[int, int]]:
    """Compare all places with all, by the haversine of their angle on the sphere of the code."""
    longitude, latitude = np.radians(places.T)
    half = np.sin((latitude[:, None] - latitude) / 2) ** 2
    half += np.cos(latitude[:, None]) * np.cos(latitude) * np.sin((longitude[:, None] - longitude) / 2) ** 2
    chord = 2 * EARTH_RADIUS_M * np.sqrt(half)
    return {(i, j) for i, j in zip(*np.nonzero(chord <= within_m), strict=True) if i < j}


@pytest.mark.parametrize("latitude", [0.0, 61.0, -85.0, 89.99])
@pytest.mark.parametrize("longitude", [12.3, 180.0])
def test_near_pairs_are_all_pairs_that_are_near(latitude: float, longitude: float) -> None:
    rng = np.random.default_rng(4)
    spread = 60 / 111_195  # degrees of latitude: some hundred pairs within ten metres
    east = longitude + rng.uniform(-spread, spread, 400) / np.cos(np.radians(latitude))
    places = np.stack([(east + 180) % 360 - 180, latitude + rng.uniform(-spread, spread, 400)], axis=1)
    places[:, 1] = np.clip(places[:, 1], -90, 90)
    found = find_near_pairs(places, 10.0)
    assert {(int(one), int(other)) for one, other in found} == every_near_pair(places, 10.0)
    assert len(found) > 100


def test_no_pairs_are_near_where_there_are_none_or_no_distance() -> None:
    assert find_near_pairs(np.array([[0.0, 0.0]]), 10).shape == (0, 2)
    assert find_near_pairs(np.array([[0.0, 0.0], [0.0, 0.0]]), 0).shape == (0, 2)


def test_a_negative_zero_is_the_same_place_as_zero() -> None:
    nodes = nodes_of([(-1, 0), (0.0, 0.0)], [(-0.0, -0.0), (1, 0)], join_m=0)
    assert nodes.lower[0] == nodes.upper[1]


def test_equal_ends_meet_whatever_their_hash(monkeypatch: pytest.MonkeyPatch) -> None:
    lines = [[(-1, 0), (0, 0)], [(0, 0), (1, 0)], [(5, 5), (0, 0)]]
    expected = nodes_of(*lines)
    monkeypatch.setattr("watershedmap.network.nodes._MIX", (np.uint64(0), np.uint64(0)))
    found = nodes_of(*lines)
    assert found.lower[0] == found.upper[1] == found.lower[2]
    assert len({*found.upper, *found.lower}) == len({*expected.upper, *expected.lower}) == 4


def test_a_line_that_rises_is_turned_and_a_level_one_is_ambiguous() -> None:
    frame = pd.DataFrame(
        {"start_elevation_m": [5.0, 1.0, 3.0, np.nan], "end_elevation_m": [1.0, 5.0, 3.0, 2.0]}
    )
    turned, ambiguous = turn_by_elevation(frame)
    assert turned.tolist() == [False, True, False, False]
    assert ambiguous.tolist() == [False, False, True, True]


def test_without_elevations_every_line_is_ambiguous() -> None:
    turned, ambiguous = turn_by_elevation(pd.DataFrame({"start_elevation_m": [1.0, 2.0]}))
    assert not turned.any()
    assert ambiguous.all()


def test_junctions_that_nothing_enters_or_nothing_leaves_are_odd() -> None:
    nodes = nodes_of([(0, 0), (1, 0)], [(0, 0), (-1, 0)], [(-2, 0), (-1, 0)], [(1, 0), (2, 0)])
    all_leave, all_arrive = find_odd_junctions(nodes)
    assert np.flatnonzero(all_leave).tolist() == [nodes.upper[0]]
    assert np.flatnonzero(all_arrive).tolist() == [nodes.lower[1]]
