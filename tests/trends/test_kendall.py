"""The Mann-Kendall test against enumeration, and its rules for short and odd input."""

from __future__ import annotations

import math
from collections import Counter
from itertools import combinations, permutations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from watershedmap.trends.kendall import (
    KendallResult,
    exact_p_value,
    inversion_counts,
    mann_kendall,
    score_variance,
)


def _score(values: tuple[float, ...]) -> int:
    return sum((later > earlier) - (later < earlier) for earlier, later in combinations(values, 2))


def _ties(values: list[int]) -> tuple[int, ...]:
    return tuple(sorted(Counter(values).values()))


@settings(max_examples=40, deadline=None)
@given(st.lists(st.integers(0, 3), min_size=2, max_size=7))
def test_exact_p_value_equals_enumeration_of_all_orders_with_ties(values: list[int]) -> None:
    observed = abs(_score(tuple(values)))
    scores = [abs(_score(order)) for order in permutations(values)]
    expected = sum(s >= observed for s in scores) / len(scores)
    assert mann_kendall(values).p_value == pytest.approx(expected, rel=1e-12)


@settings(max_examples=40, deadline=None)
@given(st.lists(st.integers(0, 3), min_size=1, max_size=7))
def test_inversions_are_counted_like_an_enumeration_of_distinct_orders(values: list[int]) -> None:
    distinct = set(permutations(values))
    found = Counter(sum(a > b for a, b in combinations(order, 2)) for order in distinct)
    counts = inversion_counts(_ties(values))
    assert dict(found) == {k: count for k, count in enumerate(counts) if count}
    assert sum(counts) == math.factorial(len(values)) // math.prod(map(math.factorial, _ties(values)))


@settings(max_examples=30, deadline=None)
@given(st.lists(st.integers(0, 2), min_size=2, max_size=6))
def test_variance_equals_that_of_all_orders_with_ties_in_values(values: list[int]) -> None:
    scores = [_score(order) for order in permutations(values)]
    expected = sum(s * s for s in scores) / len(scores)
    assert score_variance(_ties(values), (1,) * len(values)) == pytest.approx(expected)


@settings(max_examples=30, deadline=None)
@given(st.lists(st.tuples(st.integers(0, 2), st.integers(0, 2)), min_size=3, max_size=6))
def test_variance_equals_that_of_all_orders_with_ties_in_both_rankings(points: list[tuple[int, int]]) -> None:
    values, times = [v for v, _ in points], [t for _, t in points]

    def score(order: tuple[int, ...]) -> int:
        pairs = combinations(zip(order, times, strict=True), 2)
        return sum(int(np.sign(v2 - v1) * np.sign(t2 - t1)) for (v1, t1), (v2, t2) in pairs)

    scores = [score(order) for order in permutations(values)]
    expected = sum(s * s for s in scores) / len(scores)
    assert score_variance(_ties(values), _ties(times)) == pytest.approx(expected)


@given(st.lists(st.integers(0, 5), min_size=0, max_size=14))
def test_reversing_a_series_turns_the_sign_and_keeps_the_p_value(values: list[int]) -> None:
    forth, back = mann_kendall(values), mann_kendall(values[::-1])
    assert back.s == -forth.s
    assert back.p_value == forth.p_value or math.isnan(forth.p_value)


@given(st.permutations(list(range(9))))
def test_times_and_not_the_order_of_rows_give_the_order(times: list[int]) -> None:
    values = [float(time**2) for time in times]
    assert mann_kendall(values, times=times).s == 36


def test_pairs_tied_in_time_count_nothing_and_get_the_normal_approximation() -> None:
    found = mann_kendall([1, 9, 2, 3], times=[2000, 2000, 2001, 2002])
    assert found.s == 1  # 1<2, 1<3, 2<3 less 9>2, 9>3; the pair within 2000 counts 0
    assert found.method == "normal"


def test_missing_values_and_missing_times_leave_the_point_out() -> None:
    found = mann_kendall([1, math.nan, 2, 3, 9], times=[1, 2, 3, 4, math.nan])
    assert (found.n, found.s) == (3, 3)


def test_equal_values_have_no_direction() -> None:
    for n in (2, 5, 12):
        found = mann_kendall([4.2] * n)
        assert (found.s, found.variance, found.z, found.p_value, found.tau) == (0, 0.0, 0.0, 1.0, 0.0)


def test_points_all_at_one_time_have_no_direction() -> None:
    found = mann_kendall([1, 2, 3], times=[5, 5, 5])
    assert (found.s, found.variance, found.p_value) == (0, 0.0, 1.0)


@pytest.mark.parametrize("values", [[], [3.0], [math.nan, math.nan], [math.nan, 1.0]])
def test_below_two_points_there_is_no_p_value(values: list[float]) -> None:
    found = mann_kendall(values)
    assert (found.s, found.variance, found.method) == (0, 0.0, "none")
    assert math.isnan(found.p_value)
    assert math.isnan(found.z)
    assert math.isnan(found.tau)


def test_the_exact_p_value_ends_where_asked() -> None:
    values = list(range(11))
    assert mann_kendall(values[:10]).method == "exact"
    assert mann_kendall(values).method == "normal"
    longer = mann_kendall(values, exact_up_to=11)
    assert longer.method == "exact"
    assert longer.p_value == 2 / math.factorial(11)


def test_four_distinct_years_never_reach_the_five_percent() -> None:
    assert mann_kendall([1, 2, 3, 4]).p_value == pytest.approx(2 / 24)


def test_s_at_the_very_centre_has_p_one() -> None:
    assert exact_p_value((1, 1, 1, 1), 0) == 1.0


def test_values_without_their_times_are_refused() -> None:
    with pytest.raises(ValueError, match="3 values but 2 times"):
        mann_kendall([1, 2, 3], times=[1, 2])


def test_a_result_that_no_series_can_have_is_refused() -> None:
    with pytest.raises(ValueError, match="more than the pairs"):
        KendallResult(3, 4, 1.0, 0.0, 1.0, 0.0, "exact")
    with pytest.raises(ValueError, match="negative"):
        KendallResult(3, 1, -1.0, 0.0, 1.0, 0.0, "exact")


def test_input_is_not_changed() -> None:
    values = np.array([3.0, math.nan, 1.0])
    mann_kendall(values)
    np.testing.assert_array_equal(values, [3.0, math.nan, 1.0])
