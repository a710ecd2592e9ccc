"""The exact upper tail of S for series without ties.

Gilbert, Statistical Methods for Environmental Pollution Monitoring (1987), table A18, after Kendall, Rank
Correlation Methods (1970). The pages were not at hand: every figure here was computed by enumeration over all
orders.
"""

from __future__ import annotations

import math

import pytest

from watershedmap.trends.kendall import exact_p_value, inversion_counts

# P(S >= s) for n = 4 to 10, computed by enumeration
UPPER_TAIL = {
    4: {0: 0.625, 2: 0.375, 4: 0.16666666666666666, 6: 0.041666666666666664},
    5: {0: 0.5916666666666667, 2: 0.4083333333333333, 4: 0.24166666666666667, 6: 0.11666666666666667}
    | {8: 0.041666666666666664, 10: 0.008333333333333333},
    6: {1: 0.5, 3: 0.3597222222222222, 5: 0.23472222222222222, 7: 0.13611111111111113}
    | {9: 0.06805555555555556, 11: 0.027777777777777776, 13: 0.008333333333333333, 15: 0.001388888888888889},
    7: {1: 0.5, 3: 0.3863095238095238, 5: 0.28095238095238095, 7: 0.19067460317460316}
    | {9: 0.11944444444444445, 11: 0.06805555555555556, 13: 0.034523809523809526, 15: 0.01507936507936508}
    | {17: 0.005357142857142857, 19: 0.001388888888888889, 21: 0.0001984126984126984},
    8: {0: 0.5475694444444444, 8: 0.1993799603174603, 14: 0.05434027777777777, 16: 0.030505952380952384}
    | {18: 0.015575396825396826, 20: 0.007068452380952381, 28: 2.48015873015873e-05},
    9: {0: 0.540272266313933, 10: 0.17924382716049383, 16: 0.05971946649029983, 18: 0.037588183421516756}
    | {20: 0.02230764991181658, 22: 0.012370480599647267, 36: 2.7557319223985893e-06},
    10: {1: 0.5, 9: 0.24215636022927692, 19: 0.054156746031746035, 21: 0.03627507716049383}
    | {23: 0.02331128747795415, 25: 0.014304728835978837, 45: 2.755731922398589e-07},
}

# smallest S that reaches a one-sided level
CRITICAL = {
    0.05: {4: 6, 5: 8, 6: 11, 7: 13, 8: 16, 9: 18, 10: 21},
    0.025: {5: 10, 6: 13, 7: 15, 8: 18, 9: 20, 10: 23},
}


def _upper_tail(n: int, s: int) -> float:
    counts = inversion_counts((1,) * n)
    pairs = len(counts) - 1
    return sum(count for k, count in enumerate(counts) if pairs - 2 * k >= s) / math.factorial(n)


@pytest.mark.parametrize("n", UPPER_TAIL)
def test_upper_tail_is_as_tabulated(n: int) -> None:
    assert {s: _upper_tail(n, s) for s in UPPER_TAIL[n]} == pytest.approx(UPPER_TAIL[n], rel=1e-12)


@pytest.mark.parametrize("n", UPPER_TAIL)
def test_two_sided_p_value_is_twice_the_upper_tail(n: int) -> None:
    twice = {s: 2 * p for s, p in UPPER_TAIL[n].items() if s > 0}
    assert {s: exact_p_value((1,) * n, s) for s in twice} == pytest.approx(twice, rel=1e-12)


@pytest.mark.parametrize(("level", "n"), [(level, n) for level, row in CRITICAL.items() for n in row])
def test_critical_score_is_the_first_to_reach_the_level(level: float, n: int) -> None:
    critical = CRITICAL[level][n]
    assert _upper_tail(n, critical) <= level < _upper_tail(n, critical - 2)


def test_three_and_four_years_cannot_reach_two_sided_five_percent() -> None:
    assert _upper_tail(3, 3) == pytest.approx(1 / 6)
    assert exact_p_value((1, 1, 1, 1), 6) == pytest.approx(2 * 0.041666666666666664)
