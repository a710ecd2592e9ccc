"""Visits grouped to days by nearness."""

from __future__ import annotations

import numpy as np
import pytest

from watershedmap.planning.days import group_days, measure_way_km, order_day


@pytest.mark.parametrize(("count", "most"), [(1, 4), (4, 4), (5, 4), (9, 4), (23, 5), (200, 7)])
def test_no_day_holds_too_many_and_days_are_even(count: int, most: int) -> None:
    places = np.random.default_rng(count).random((count, 3))
    sizes = np.bincount(group_days(places, most=most))
    assert len(sizes) == -(-count // most)
    assert sizes.max() <= most
    assert sizes.max() - sizes.min() <= 1


def test_two_clusters_are_two_days() -> None:
    places = np.array([[0, 0, 0], [100, 1, 0], [1, 1, 0], [101, 0, 0], [0, 1, 0], [100, 0, 0]], dtype=float)
    days = group_days(places, most=3)
    assert len(set(days[[0, 2, 4]])) == 1
    assert len(set(days[[1, 3, 5]])) == 1
    assert days[0] != days[1]


def test_days_of_near_visits_have_a_shorter_way_than_days_at_random() -> None:
    random = np.random.default_rng(2)
    places = random.random((40, 2))

    def way(days: np.ndarray) -> float:
        groups = [places[days == day] for day in np.unique(days)]
        return sum(measure_way_km(group, order_day(group, start=0)) for group in groups)

    days = group_days(places, most=5)
    assert way(days) < 0.6 * way(random.permutation(days))


def test_a_day_goes_on_to_the_nearest_place_left() -> None:
    places = np.array([[0.0, 0], [10, 0], [1, 0], [4, 0]])
    assert order_day(places, start=0) == [0, 2, 3, 1]
    assert measure_way_km(places * 1000, [0, 2, 3, 1]) == pytest.approx(10)


def test_no_visits_need_no_days() -> None:
    assert len(group_days(np.empty((0, 3)), most=4)) == 0
