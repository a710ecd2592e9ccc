"""Nothing that is placed on a figure covers anything else that is placed on it."""

from __future__ import annotations

from itertools import combinations
from typing import TYPE_CHECKING

import numpy as np
import pytest
import shapely
from hypothesis import given
from hypothesis import strategies as st

from watershedmap.assessment import assess
from watershedmap.render import figure_map
from watershedmap.render.figure import build_map
from watershedmap.render.figure_layout import (
    MOST_TO_PART,
    Mark,
    Occupancy,
    box_about,
    label_lines,
    label_spots,
    part_sites,
    place_marks,
)
from watershedmap.render.figure_marks import BADGE, BADGE_RADII
from watershedmap.render.figure_style import drawing_rules

if TYPE_CHECKING:
    from pathlib import Path

places = st.tuples(st.floats(0, 300), st.floats(0, 300))


def overlap(first: tuple[float, ...], second: tuple[float, ...]) -> bool:
    return first[0] < second[2] and second[0] < first[2] and first[1] < second[3] and second[1] < first[3]


@given(st.lists(st.tuples(places, places), min_size=1, max_size=40), st.floats(1, 12), st.floats(0, 60))
def test_marks_never_overlap_and_stay_on_the_sheet(
    ends: list[tuple[tuple[float, float], tuple[float, float]]], radius: float, away: float
) -> None:
    lines = [shapely.LineString(pair) for pair in ends]
    marks = place_marks(
        range(len(lines)), lines, Occupancy(300, 300), radius=radius, gap=radius + 2, most_away=away
    )
    boxes = [box_about(mark.x, mark.y, radius) for mark in marks]
    assert not any(overlap(first, second) for first, second in combinations(boxes, 2))
    assert all(box[0] >= 0 and box[1] >= 0 and box[2] <= 300 and box[3] <= 300 for box in boxes)


def test_the_demo_draws_no_two_arrows_over_each_other(
    demo_folder: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    drawn: list[tuple[float, float, float]] = []
    monkeypatch.setattr(
        figure_map,
        "add_badge",
        lambda _axes, x, y, trend, *, scale: drawn.append((x, y, scale * BADGE_RADII[trend])),
    )
    with drawing_rules():
        build_map(assess(demo_folder))
    assert len(drawn) > 10
    for (x, y, r), (other_x, other_y, other_r) in combinations(drawn, 2):
        assert np.hypot(x - other_x, y - other_y) > r + other_r


def test_the_weightier_mark_gets_the_room() -> None:
    line = shapely.LineString([(50, 50), (52, 50)])
    marks = place_marks([1, 0], [line, line], Occupancy(100, 100), radius=BADGE, gap=4.0)
    assert marks[0].row == 1


def test_a_mark_stands_beside_its_line_and_knows_where() -> None:
    line = shapely.LineString([(10, 50), (90, 50)])
    (mark,) = place_marks([0], [line], Occupancy(100, 100), radius=4, gap=6)
    assert mark == Mark(0, 50.0, pytest.approx(56.0), 50.0, 50.0)


def test_a_place_without_a_line_gets_no_mark() -> None:
    lines = [None, shapely.LineString(), shapely.LineString([(5, 5), (5, 5)])]
    assert place_marks([0, 1, 2], lines, Occupancy(100, 100), radius=4, gap=6, most_away=30) == []


def test_sites_that_would_cover_each_other_are_parted_and_the_worst_stays() -> None:
    spots = part_sites(np.array([50.0, 51.0, np.nan]), np.array([50.0, 50.0, 1.0]), [0, 3, 5], 6.0)
    assert [spot.row for spot in spots] == [0, 1]
    moved, home = spots
    assert (home.x, home.y) == (51.0, 50.0)
    assert np.hypot(moved.x - home.x, moved.y - home.y) >= 1.8 * 6
    assert (moved.true_x, moved.true_y) == (50.0, 50.0)


def test_very_many_sites_stay_where_they_are() -> None:
    n = MOST_TO_PART + 1
    spots = part_sites(np.zeros(n), np.zeros(n), [0] * n, 2.0)
    assert all((spot.x, spot.y) == (0.0, 0.0) for spot in spots)


def test_a_name_that_finds_no_room_is_left_out() -> None:
    spots = part_sites(np.array([50.0]), np.array([50.0]), [0], 4.0)
    taken = Occupancy(100, 100)
    taken.take((0.0, 0.0, 100.0, 100.0))
    assert label_spots(spots, ["A"], [10.0], taken, radius=4.0) == []
    (label,) = label_spots(spots, ["A"], [10.0], Occupancy(100, 100), radius=4.0)
    assert label.y < 50 - 4


def test_a_stream_carries_its_name_once_along_a_straight_stretch() -> None:
    straight = np.array([[0.0, 50.0], [100.0, 60.0]])
    zigzag = np.array([[float(x), 20.0 + 12 * (x % 2)] for x in range(100)])
    labels = label_lines(
        {"Brook": [straight, straight + 20], "Bend": [zigzag], "Long name": [straight[:, ::-1]]},
        {"Brook": 30.0, "Bend": 40.0, "Long name": 900.0},
        Occupancy(200, 200),
        lift=8,
        tall=4,
    )
    assert [label.text for label in labels] == ["Brook"]
    assert labels[0].angle == pytest.approx(np.degrees(np.arctan2(10, 100)))


def test_text_along_a_stream_is_never_upside_down() -> None:
    backwards = np.array([[100.0, 60.0], [0.0, 50.0]])
    (label,) = label_lines({"Brook": [backwards]}, {"Brook": 30.0}, Occupancy(200, 200), lift=8, tall=4)
    assert -90 <= label.angle <= 90
