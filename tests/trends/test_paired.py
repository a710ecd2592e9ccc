"""Paired tests and the typical difference."""

from __future__ import annotations

import math
from itertools import product

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.stats import rankdata

from watershedmap.trends.paired import Shift, hodges_lehmann, sign_test, signed_rank_test

SMALL = st.lists(st.integers(-4, 4), min_size=1, max_size=9)


def _all_signs(differences: list[int]) -> tuple[float, float]:
    """Return P(W+ >= w) and P(W+ <= w) by going through every way to give signs to the ranks."""
    values = np.array(differences, dtype=float)
    ranks = rankdata(np.abs(values))[values != 0]
    observed = rankdata(np.abs(values))[values > 0].sum()
    sums = [sum(np.where(signs, ranks, 0)) for signs in product([False, True], repeat=ranks.size)]
    return float(np.mean(np.array(sums) >= observed)), float(np.mean(np.array(sums) <= observed))


@given(SMALL)
@settings(max_examples=60, deadline=None)
def test_signed_rank_is_exact_with_ties_and_zeros(differences: list[int]) -> None:
    found = signed_rank_test(differences)
    greater, less = _all_signs(differences)
    assert (found.p_greater, found.p_less) == pytest.approx((greater, less), abs=1e-12)
    assert found.p_value == pytest.approx(min(1, 2 * min(greater, less)), abs=1e-12)
    assert found.method == "exact"


@given(SMALL)
def test_turning_all_differences_round_turns_the_tests_round(differences: list[int]) -> None:
    for test in (sign_test, signed_rank_test):
        one, other = test(differences), test([-value for value in differences])
        assert one.p_value == other.p_value
        assert one.p_greater == other.p_less


def test_zeros_are_ranked_but_count_for_neither_side() -> None:
    # Pratt 1959: sizes 0 0 1 2 have ranks 1.5 1.5 3 4; of the four sign patterns of 3 and 4 one reaches 7
    found = signed_rank_test([0, 1, 0, 2])
    assert (found.n, found.n_zero, found.statistic, found.expected) == (4, 2, 7.0, 3.5)
    assert (found.p_greater, found.p_value) == (0.25, 0.5)


def test_differences_that_are_all_zero_show_nothing() -> None:
    for test in (sign_test, signed_rank_test):
        found = test([0.0, 0.0, 0.0])
        assert (found.n, found.n_zero, found.p_value) == (3, 3, 1.0)
    many = signed_rank_test(np.zeros(60))
    assert (many.method, many.p_value) == ("normal", 1.0)


@pytest.mark.parametrize("test", [sign_test, signed_rank_test])
@pytest.mark.parametrize("nothing", [[], [math.nan], [math.inf, math.nan]])
def test_without_a_pair_nothing_is_tested(test: object, nothing: list[float]) -> None:
    found = test(nothing)  # type: ignore[operator]
    assert (found.n, found.method) == (0, "none")
    assert math.isnan(found.p_value)


def test_pairs_that_lack_a_value_are_left_out() -> None:
    assert signed_rank_test([1, math.nan, 2, -3]) == signed_rank_test([1, 2, -3])
    assert sign_test([1, math.nan, 2, -3]) == sign_test([1, 2, -3])


@pytest.mark.parametrize(("n", "least"), [(4, 0.125), (5, 0.0625), (6, 0.03125)])
def test_few_pairs_cannot_give_a_small_p_value(n: int, least: float) -> None:
    assert signed_rank_test(np.arange(1, n + 1)).p_value == least
    assert sign_test(np.arange(1, n + 1)).p_value == least


def test_normal_and_exact_meet_where_one_takes_over_from_the_other() -> None:
    differences = np.random.default_rng(3).normal(0.3, 1, 50)
    exact = signed_rank_test(differences)
    normal = signed_rank_test(differences, exact_up_to=10)
    assert (exact.method, normal.method) == ("exact", "normal")
    assert exact.p_value != normal.p_value
    assert normal.p_value == pytest.approx(exact.p_value, rel=0.05)


def test_more_exact_than_counts_stay_whole_is_refused() -> None:
    with pytest.raises(ValueError, match="at most 50"):
        signed_rank_test([1, 2], exact_up_to=51)


def test_estimate_is_the_median_of_all_means_of_two() -> None:
    differences = [1.0, 2.0, 4.0, 8.0]
    means = [(a + b) / 2 for i, a in enumerate(differences) for b in differences[i:]]
    assert hodges_lehmann(differences).estimate == np.median(means)


@pytest.mark.parametrize(("confidence", "least"), [(0.90, 5), (0.95, 6), (0.99, 8)])
def test_limits_are_missing_where_too_few_pairs_cover_too_little(confidence: float, least: int) -> None:
    for n in range(1, 12):
        found = hodges_lehmann(np.arange(n) + 1.0, confidence=confidence)
        assert math.isfinite(found.low) is math.isfinite(found.high) is (n >= least)
        assert found.n == n


@pytest.mark.parametrize("seed", range(8))
def test_limits_hold_just_the_shifts_that_the_test_does_not_refuse(seed: int) -> None:
    rng = np.random.default_rng(seed)
    differences = rng.normal(1, 2, int(rng.integers(5, 16)))
    found = hodges_lehmann(differences, confidence=0.90)
    for limit, outward in ((found.low, -1), (found.high, 1)):
        assert signed_rank_test(differences - limit - outward * 1e-6).p_value <= 0.10
        assert signed_rank_test(differences - limit + outward * 1e-6).p_value > 0.10


def test_limits_of_many_pairs_stay_close_to_the_exact_ones() -> None:
    differences = np.random.default_rng(5).normal(1, 2, 60)
    found = hodges_lehmann(differences)
    assert signed_rank_test(differences - found.low).p_value == pytest.approx(0.10, abs=0.01)
    assert signed_rank_test(differences - found.high).p_value == pytest.approx(0.10, abs=0.01)


def test_the_interval_covers_at_least_as_often_as_it_says() -> None:
    rng = np.random.default_rng(11)
    covered = [
        shift.low <= 1 <= shift.high for shift in (hodges_lehmann(rng.normal(1, 1, 8)) for _ in range(1500))
    ]
    # of the 256 sign patterns of eight ranks 10 have a sum of at most 5, 14 of at most 6: the limits are the
    # sixth means from both ends, and cover 1 - 2 * 10 / 256
    assert np.mean(covered) == pytest.approx(1 - 2 * 10 / 256, abs=0.02)


def test_nothing_has_no_typical_difference() -> None:
    found = hodges_lehmann([])
    assert found.n == 0
    assert math.isnan(found.estimate)


@pytest.mark.parametrize("confidence", [0, 1, 90])
def test_a_confidence_that_is_none_is_refused(confidence: float) -> None:
    with pytest.raises(ValueError, match="confidence"):
        hodges_lehmann([1, 2], confidence=confidence)


def test_limits_the_wrong_way_round_are_refused() -> None:
    with pytest.raises(ValueError, match="above the upper limit"):
        Shift(1.0, 2.0, 0.0, 5, 0.9)
