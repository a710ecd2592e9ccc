"""The trend test and slope against independent routines of general libraries, on random series."""

from __future__ import annotations

import math

import numpy as np
import pymannkendall
import pytest
from scipy import stats

from watershedmap.trends.kendall import mann_kendall
from watershedmap.trends.slopes import sen_slope

SEEDS = range(25)


@pytest.mark.parametrize("seed", SEEDS)
def test_exact_p_value_agrees_with_scipy_kendalltau_without_ties(seed: int) -> None:
    rng = np.random.default_rng(seed)
    values = rng.permutation(int(rng.integers(4, 11))).astype(float)
    reference = stats.kendalltau(np.arange(values.size), values, method="exact")
    found = mann_kendall(values)
    assert found.p_value == pytest.approx(reference.pvalue, rel=1e-9)
    assert found.tau == pytest.approx(reference.statistic)


@pytest.mark.parametrize("seed", SEEDS)
def test_normal_approximation_agrees_with_pymannkendall_with_ties(seed: int) -> None:
    rng = np.random.default_rng(seed)
    values = rng.integers(0, 9, int(rng.integers(11, 40))).astype(float)
    reference = pymannkendall.original_test(values)
    found = mann_kendall(values)
    assert found.s == reference.s
    assert found.variance == pytest.approx(reference.var_s)
    assert found.z == pytest.approx(reference.z)
    assert found.p_value == pytest.approx(reference.p, rel=1e-9, abs=1e-15)
    assert found.tau == pytest.approx(reference.Tau)


@pytest.mark.parametrize("seed", SEEDS)
def test_variance_with_ties_in_both_rankings_agrees_with_scipy(seed: int) -> None:
    # scipy's asymptotic p-value has no continuity correction: S / sqrt(Var S) is compared through it
    rng = np.random.default_rng(seed)
    n = int(rng.integers(12, 30))
    times, values = rng.integers(2000, 2009, n), rng.integers(0, 9, n)
    found = mann_kendall(values, times=times)
    reference = stats.kendalltau(times, values, method="asymptotic")
    uncorrected = abs(found.s) / math.sqrt(found.variance)
    assert math.erfc(uncorrected / math.sqrt(2)) == pytest.approx(reference.pvalue, rel=1e-9)


@pytest.mark.parametrize("seed", SEEDS)
def test_slope_agrees_with_scipy_theilslopes_and_limits_lie_within_one_rank(seed: int) -> None:
    rng = np.random.default_rng(seed)
    n = int(rng.integers(8, 30))
    times = np.sort(rng.choice(np.arange(1980, 2024), n, replace=False)).astype(float)
    values = np.round(rng.normal(5, 1, n) + 0.02 * (times - 2000), 2)
    reference = stats.theilslopes(values, times, alpha=0.90)
    found = sen_slope(values, times, confidence=0.90)
    assert found.slope == pytest.approx(reference.slope)
    assert found.intercept == pytest.approx(reference.intercept)
    # scipy rounds the ranks, this package interpolates: both limits lie between neighbouring slopes
    earlier, later = np.triu_indices(n, 1)
    slopes = np.sort((values[later] - values[earlier]) / (times[later] - times[earlier]))
    for ours, theirs in ((found.low, reference.low_slope), (found.high, reference.high_slope)):
        rank = int(np.searchsorted(slopes, theirs))
        assert slopes[max(rank - 1, 0)] - 1e-12 <= ours <= slopes[min(rank + 1, slopes.size - 1)] + 1e-12


@pytest.mark.parametrize("seed", SEEDS)
def test_slope_agrees_with_pymannkendall_on_even_steps(seed: int) -> None:
    rng = np.random.default_rng(seed)
    values = rng.normal(5, 1, int(rng.integers(5, 25)))
    reference = pymannkendall.sens_slope(values)
    assert sen_slope(values, np.arange(values.size)).slope == pytest.approx(reference.slope)
