"""Serial correlation, and the trend test that allows for it."""

from __future__ import annotations

import math

import numpy as np
import pytest

from watershedmap.trends.kendall import mann_kendall
from watershedmap.trends.serial import MIN_SERIAL_YEARS, serial_test


def _persistent(n: int, *, seed: int = 1, carried: float = 0.8) -> np.ndarray:
    rng = np.random.default_rng(seed)
    series = np.zeros(n)
    for year in range(1, n):
        series[year] = carried * series[year - 1] + rng.normal()
    return series


def test_a_short_series_is_told_nothing() -> None:
    short = serial_test(np.arange(9.0) ** 2, np.arange(9))
    assert MIN_SERIAL_YEARS == 10
    assert short.n == 9
    assert all(math.isnan(x) for x in (short.correlation, short.variance, short.z, short.p_value))
    assert math.isfinite(serial_test(np.arange(10.0) ** 2, np.arange(10)).correlation)


def test_years_without_a_value_do_not_count() -> None:
    values = [*np.arange(9.0) ** 2, math.nan]
    assert math.isnan(serial_test(values, np.arange(10)).p_value)


def test_lag_one_correlation_is_of_the_series_without_its_slope() -> None:
    # the median slope of a zigzag on a line is that of the line; what is left is +1 -1 +1 ...
    years = np.arange(2000, 2012)
    zigzag = np.where(years % 2 == 0, 1.0, -1.0)
    found = serial_test(zigzag + 10 * (years - 2000), years)
    rest = zigzag - zigzag.mean()
    assert found.correlation == pytest.approx((rest[1:] * rest[:-1]).sum() / (rest**2).sum(), abs=0.15)
    assert found.correlation < -0.7


def test_persistence_widens_the_variance_and_raises_the_p_value() -> None:
    series = _persistent(60)
    found, plain = serial_test(series, np.arange(60)), mann_kendall(series)
    assert found.correlation > 0.4
    assert found.variance > 1.5 * plain.variance
    assert found.p_value > plain.p_value


def test_variance_by_lag_one_is_that_of_the_formula() -> None:
    series, n = _persistent(30, seed=7, carried=0.5), 30
    found, plain = serial_test(series, np.arange(n)), mann_kendall(series)
    unbiased = (n * found.correlation + 2) / (n - 4)
    assert 0 < unbiased < 0.9
    lags = range(1, n)
    total = sum((n - k) * (n - k - 1) * (n - k - 2) * unbiased**k for k in lags)
    assert found.variance == pytest.approx(plain.variance * (1 + 2 * total / (n * (n - 1) * (n - 2))))
    assert found.z == pytest.approx((plain.s - np.sign(plain.s)) / math.sqrt(found.variance))


def test_false_alarms_of_persistent_series_become_fewer() -> None:
    series = [_persistent(40, seed=seed, carried=0.6) for seed in range(150)]
    plain = np.mean([mann_kendall(one).p_value <= 0.05 for one in series])
    allowed = np.mean([serial_test(one, np.arange(40)).p_value <= 0.05 for one in series])
    assert plain > 0.2
    assert allowed < 0.10


def test_independent_years_raise_no_more_alarms_than_the_plain_test() -> None:
    rng = np.random.default_rng(8)
    for years in (10, 20):
        for series in rng.normal(size=(40, years)):
            assert serial_test(series, np.arange(years)).variance >= mann_kendall(series).variance


def test_a_series_within_the_band_of_chance_is_not_corrected_by_significant_lags() -> None:
    free = np.random.default_rng(18).normal(size=(30, 14))
    plain = [mann_kendall(one).variance for one in free]
    found = [serial_test(one, np.arange(14), form="significant lags").variance for one in free]
    assert sum(a == pytest.approx(b) for a, b in zip(found, plain, strict=True)) >= 5


def test_a_zigzag_is_not_made_surer_than_the_plain_test_makes_it() -> None:
    years = np.arange(12)
    series = np.where(years % 2 == 0, 1.0, -1.0) + 0.05 * years
    assert serial_test(series, years).variance == pytest.approx(mann_kendall(series).variance)
    assert serial_test(series, years, form="significant lags").variance < mann_kendall(series).variance


def test_the_order_of_rows_does_not_matter() -> None:
    series, years = _persistent(20), np.arange(2000, 2020)
    mixed = np.random.default_rng(2).permutation(20)
    assert serial_test(series[mixed], years[mixed]) == serial_test(series, years)


def test_a_straight_line_leaves_nothing_to_correlate() -> None:
    found = serial_test(0.1 * np.arange(12), np.arange(2000, 2012))
    assert found.n == 12
    assert math.isnan(found.correlation)
    assert math.isnan(found.p_value)


def test_a_year_given_twice_is_no_series() -> None:
    years = [2000, *range(2000, 2011)]
    assert math.isnan(serial_test(_persistent(12), years).p_value)


def test_a_variance_that_is_not_positive_gives_no_p_value() -> None:
    # a zigzag whose correlations at even and odd lags cancel more than all of the variance
    series = [2.89, -2.48, 0.89, -2.0, 2.24, -1.35, 3.25, -0.86, 1.73, -1.2, 2.18, -1.45]
    found = serial_test(series, np.arange(12), form="significant lags")
    assert found.variance < 0
    assert math.isnan(found.z)
    assert math.isnan(found.p_value)
    assert 0 < serial_test(series, np.arange(12)).p_value <= 1


def test_lengths_that_differ_and_too_low_a_limit_are_refused() -> None:
    with pytest.raises(ValueError, match="each value needs its time"):
        serial_test([1, 2, 3], [1, 2])
    with pytest.raises(ValueError, match="at least 5"):
        serial_test([1, 2, 3], [1, 2, 3], min_years=4)
