"""Balanced draws and their measure: the corners that the published checks do not reach."""

from __future__ import annotations

import numpy as np
import pytest

from watershedmap.planning.balance import draw_balanced, find_chances, measure_balance

SQUARE = np.array([[0.0, 0], [2, 0], [0, 2], [2, 2], [1, 1]])


def test_a_unit_as_near_to_several_is_shared_among_them() -> None:
    # The middle is as far from all four corners: each cell holds its corner and a quarter of the middle.
    chances = np.full(5, 0.8)
    assert measure_balance(SQUARE, chances, np.arange(4)) == pytest.approx(0.0)


def test_certain_units_are_always_drawn_and_impossible_ones_never() -> None:
    chances = np.array([1.0, 0.0, 0.5, 0.5, 1.0])
    for seed in range(20):
        drawn = draw_balanced(SQUARE, chances, seed=seed)
        assert {0, 4} <= set(drawn.tolist())
        assert 1 not in drawn
        assert len(drawn) == 3


def test_units_at_one_place_are_drawn_like_any_other() -> None:
    places = np.zeros((200, 3))
    assert len(draw_balanced(places, np.full(200, 0.25), seed=1)) == 50


def test_neighbours_are_rarely_drawn_together() -> None:
    # Pairs of units at the same place, far from other pairs: chances of 1/2 leave one of each pair.
    places = np.repeat(np.arange(20.0) * 100, 2)[:, None]
    for seed in range(10):
        drawn = draw_balanced(places, np.full(40, 0.5), seed=seed)
        assert sorted(drawn // 2) == list(range(20))


def test_a_lone_unit_is_drawn_with_its_chance() -> None:
    often = sum(len(draw_balanced(np.zeros((1, 2)), np.array([0.3]), seed=seed)) for seed in range(500))
    assert abs(often / 500 - 0.3) < 4 * np.sqrt(0.3 * 0.7 / 500)


def test_nothing_drawn_has_no_balance() -> None:
    assert np.isnan(measure_balance(SQUARE, np.zeros(5), np.array([], dtype=int)))


def test_no_more_units_are_drawn_than_there_are() -> None:
    assert find_chances(np.array([1.0, 2.0]), 5) == pytest.approx([1, 1])
    assert find_chances(np.array([1.0, 2.0]), 0) == pytest.approx([0, 0])


@pytest.mark.parametrize("need", [-1.0, np.nan, np.inf])
def test_a_need_that_is_none_is_refused(need: float) -> None:
    with pytest.raises(ValueError, match="finite"):
        find_chances(np.array([1.0, need]), 1)
