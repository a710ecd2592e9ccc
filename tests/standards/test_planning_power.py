"""Power of the trend test against simulation with an independent library.

Source of the other side: pymannkendall (Hussain and Mahmud 2019, J. Open Source Softw. 4:1556), whose original
test is Mann-Kendall by the normal approximation with continuity correction, as ours is above ten years.
"""

from __future__ import annotations

import numpy as np
import pymannkendall
import pytest

from watershedmap.planning.power import find_outlook, find_spread, least_score, simulate_power
from watershedmap.trends.kendall import exact_p_value

SERIES = 400


@pytest.mark.parametrize(("count", "slope"), [(12, 0.10), (15, 0.08), (20, 0.0)])
def test_power_is_that_of_an_independent_simulation(count: int, slope: float) -> None:
    times = np.arange(2000.0, 2000 + count)
    ours = simulate_power(times, spread=0.4, slope=slope, alpha=0.05, seed=1)
    random = np.random.default_rng(99)
    found = [
        bool(pymannkendall.original_test(0.4 * random.standard_normal(count) + slope * times, alpha=0.05).h)
        for _ in range(SERIES)
    ]
    theirs = np.mean(found)
    # Three standard errors of the difference of two shares; at least that of a share of 0.05.
    share = max((ours + theirs) / 2, 0.05)
    assert abs(ours - theirs) < 3 * np.sqrt(share * (1 - share) * (1 / 500 + 1 / SERIES))


def test_the_least_score_of_a_short_series_is_that_of_the_exact_table() -> None:
    # Kendall, Rank Correlation Methods (1975), table of S: at n = 5 S = 10 has a two-sided p of 2/120 and
    # S = 8 one of 0.083; at n = 4 the largest, S = 6, has 0.083: no trend can be found.
    assert exact_p_value((1,) * 5, 8) == pytest.approx(10 / 120)
    assert least_score(5, 0.05) == 9  # S is even there: the first that counts is 10
    assert least_score(4, 0.05) is None


def test_a_larger_change_is_seen_sooner() -> None:
    random = np.random.default_rng(7)
    years = np.arange(2018.0, 2026)
    scores = 5 + 0.5 * random.standard_normal(8)
    waits = [
        find_outlook(
            years, scores, change_per_year=change, next_year=2026, alpha=0.05, power=0.8, seed=1
        ).more_years
        for change in (0.05, 0.1, 0.4)
    ]
    assert None not in waits
    assert waits[0] > waits[1] > waits[2] >= 0


def test_the_years_named_are_the_first_with_enough_power() -> None:
    years, scores = np.arange(2018.0, 2026), np.array([5, 5.6, 4.7, 5.2, 5.5, 4.6, 5.1, 5.3])
    outlook = find_outlook(years, scores, change_per_year=0.1, next_year=2026, alpha=0.05, power=0.8, seed=1)
    assert outlook.more_years is not None

    def power(more: int) -> float:
        times = np.arange(2018.0, 2026 + more)
        return simulate_power(times, spread=outlook.residual_spread, slope=0.1, alpha=0.05, seed=1)

    assert power(outlook.more_years) >= 0.8 > power(outlook.more_years - 1)


def test_few_years_leave_the_outlook_unknown() -> None:
    outlook = find_outlook(
        np.array([2020.0, 2021, 2022]),
        np.array([4.0, 5, 6]),
        change_per_year=0.1,
        next_year=2026,
        alpha=0.05,
        power=0.8,
        seed=1,
    )
    assert np.isnan(outlook.residual_spread)
    assert outlook.more_years is None


def test_the_spread_is_that_about_the_slope() -> None:
    years = np.arange(6.0)
    assert find_spread(years, 3 + 2 * years) == pytest.approx(0)
    assert find_spread(years, np.array([1.0, -1, 1, -1, 1, -1])) == pytest.approx(np.sqrt(6 / 4), rel=0.2)
