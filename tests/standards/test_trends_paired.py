"""Published worked examples and general libraries: paired tests, many tests, serial correlation, regions."""

from __future__ import annotations

from itertools import permutations, product

import numpy as np
import pymannkendall
import pytest
from scipy import stats
from scipy.stats import PermutationMethod

from watershedmap.trends.false_discovery import adjust_p_values
from watershedmap.trends.kendall import mann_kendall
from watershedmap.trends.paired import hodges_lehmann, sign_test, signed_rank_test
from watershedmap.trends.regional import regional_kendall
from watershedmap.trends.serial import serial_test

SEEDS = range(20)

# Helsel and Hirsch, Statistical Methods in Water Resources, table 6.1: mayfly nymphs above and below in 12 streams.
# The data are those of the table; the book's own results were not seen, so the figures below are computed.
ABOVE = np.array([12, 15, 11, 41, 106, 63, 296, 53, 20, 110, 429, 185], dtype=float)
BELOW = np.array([9, 9, 38, 24, 48, 17, 11, 41, 14, 60, 53, 124], dtype=float)

# Benjamini and Hochberg 1995, section 4.1: fifteen p-values; adjusted as the documentation of
# scipy.stats.false_discovery_control prints them.
FIFTEEN = [0.0001, 0.0004, 0.0019, 0.0095, 0.0201, 0.0278, 0.0298, 0.0344, 0.0459]
FIFTEEN += [0.3240, 0.4262, 0.5719, 0.6528, 0.7590, 1.000]
FIFTEEN_ADJUSTED = [0.0015, 0.003, 0.0095, 0.035625, 0.0603, 0.06385714, 0.06385714, 0.0645, 0.0765]
FIFTEEN_ADJUSTED += [0.486, 0.58118182, 0.714875, 0.75323077, 0.81321429, 1.0]

# Shampoo sales over 36 months: Makridakis, Wheelwright and Hyndman 1998, Forecasting (3rd ed.).
SHAMPOO = [266.0, 145.9, 183.1, 119.3, 180.3, 168.5, 231.8, 224.5, 192.8, 122.9, 336.5, 185.9]
SHAMPOO += [194.3, 149.5, 210.1, 273.3, 191.4, 287.0, 226.0, 303.6, 289.9, 421.6, 264.5, 342.3]
SHAMPOO += [339.7, 440.4, 315.9, 439.3, 401.3, 437.4, 575.5, 407.6, 682.0, 475.3, 581.3, 646.9]

# EPA 2009 Unified Guidance, example 14-8/14-10: concentrations of twelve months in 1983, 1984 and 1985.
MONTHS = [
    [1.99, 2.10, 2.12, 2.12, 2.11, 2.15, 2.19, 2.18, 2.16, 2.08, 2.05, 2.08],
    [2.01, 2.10, 2.17, 2.13, 2.13, 2.18, 2.25, 2.24, 2.22, 2.13, 2.08, 2.16],
    [2.15, 2.17, 2.27, 2.23, 2.24, 2.26, 2.31, 2.32, 2.28, 2.22, 2.19, 2.22],
]


def test_mayfly_nymphs_signed_rank() -> None:
    found = signed_rank_test(ABOVE - BELOW)
    assert (found.n, found.n_zero, found.statistic) == (12, 0, 72.0)
    # Two differences are 6. By ranks 1 to 12 without ties 14 of the 4096 sign patterns are as extreme,
    # 0.00341797; with the two at their mean rank, which is exact for these data, it is 13.
    untied = stats.wilcoxon(ABOVE - BELOW, alternative="greater", method="exact").pvalue
    assert untied == pytest.approx(0.00341797, abs=5e-9)
    assert untied == 14 / 4096
    assert found.p_greater == 13 / 4096
    assert found.p_value == 26 / 4096


def test_mayfly_nymphs_signed_rank_of_logarithms() -> None:
    found = signed_rank_test(np.log(ABOVE / BELOW))
    assert found.statistic == 69.0
    assert found.p_greater == pytest.approx(0.00805664, abs=5e-9)


def test_mayfly_nymphs_sign_test() -> None:
    found = sign_test(ABOVE - BELOW)
    assert found.statistic == 11
    assert found.p_value == pytest.approx(0.00634766, abs=5e-9)


def test_mayfly_nymphs_typical_ratio() -> None:
    found = hodges_lehmann(np.log(ABOVE / BELOW))
    assert found.estimate == pytest.approx(0.564654, abs=5e-7)
    assert np.exp(found.estimate) == pytest.approx(1.7588, abs=5e-5)


@pytest.mark.parametrize("seed", SEEDS)
@pytest.mark.parametrize("side", ["two-sided", "greater", "less"])
def test_signed_rank_agrees_with_scipy_without_ties(seed: int, side: str) -> None:
    rng = np.random.default_rng(seed)
    differences = rng.normal(0.3, 1, int(rng.integers(5, 50)))
    reference = stats.wilcoxon(differences, alternative=side, method="exact")
    found = signed_rank_test(differences)
    ours = {"two-sided": found.p_value, "greater": found.p_greater, "less": found.p_less}[side]
    assert ours == pytest.approx(reference.pvalue, rel=1e-9)


@pytest.mark.parametrize("seed", SEEDS)
def test_signed_rank_agrees_with_all_permutations_of_scipy_with_ties_and_zeros(seed: int) -> None:
    rng = np.random.default_rng(seed)
    differences = rng.integers(-3, 5, int(rng.integers(5, 11))).astype(float)
    every = PermutationMethod(n_resamples=2**11)  # more than there are, so that scipy goes through all
    for side in ("greater", "less"):
        reference = stats.wilcoxon(differences, zero_method="pratt", alternative=side, method=every)
        found = signed_rank_test(differences)
        ours = found.p_greater if side == "greater" else found.p_less
        assert ours == pytest.approx(reference.pvalue, rel=1e-9)


@pytest.mark.parametrize("seed", SEEDS)
def test_signed_rank_of_many_agrees_with_scipy_with_ties_and_zeros(seed: int) -> None:
    rng = np.random.default_rng(seed)
    differences = rng.integers(-9, 11, 80).astype(float)
    reference = stats.wilcoxon(differences, zero_method="pratt", correction=True, method="approx")
    assert signed_rank_test(differences).p_value == pytest.approx(reference.pvalue, rel=1e-9)


@pytest.mark.parametrize("seed", SEEDS)
def test_sign_test_agrees_with_scipy_binomtest(seed: int) -> None:
    rng = np.random.default_rng(seed)
    differences = rng.integers(-2, 4, int(rng.integers(3, 60))).astype(float)
    above, below = int((differences > 0).sum()), int((differences < 0).sum())
    found = sign_test(differences)
    assert found.p_value == pytest.approx(stats.binomtest(above, above + below).pvalue, rel=1e-9)
    one_sided = stats.binomtest(above, above + below, alternative="greater").pvalue
    assert found.p_greater == pytest.approx(one_sided, rel=1e-9)


def test_benjamini_and_hochberg_fifteen_p_values() -> None:
    found = adjust_p_values(FIFTEEN)
    assert found == pytest.approx(FIFTEEN_ADJUSTED, abs=5e-9)
    assert int((found <= 0.05).sum()) == 4  # as the paper rejects; Bonferroni rejects 3
    assert sum(p <= 0.05 / 15 for p in FIFTEEN) == 3


def test_five_p_values_as_a_statistics_library_documents_them() -> None:
    # documentation of a statistics library for JavaScript, seen second-hand
    found = adjust_p_values([0.008, 0.03, 0.123, 0.6, 0.2])
    assert found == pytest.approx([0.04, 0.075, 0.205, 0.6, 0.25])


@pytest.mark.parametrize("seed", SEEDS)
def test_adjusted_p_values_agree_with_scipy(seed: int) -> None:
    rng = np.random.default_rng(seed)
    given = np.round(rng.beta(0.4, 1.5, int(rng.integers(1, 80))), 3)
    assert adjust_p_values(given) == pytest.approx(stats.false_discovery_control(given), rel=1e-12)


def test_shampoo_sales_hamed_and_rao() -> None:
    # printed by a notebook of a general trend library
    months = np.arange(36)
    plain = mann_kendall(SHAMPOO)
    assert (plain.s, plain.variance) == (440, 5390)
    assert plain.z == pytest.approx(5.97957, abs=5e-6)
    found = serial_test(SHAMPOO, months, form="significant lags")
    assert found.variance == pytest.approx(7322.0112, abs=5e-5)
    assert found.z == pytest.approx(5.13038, abs=5e-6)


@pytest.mark.parametrize("seed", SEEDS)
def test_significant_lags_agree_with_pymannkendall(seed: int) -> None:
    rng = np.random.default_rng(seed)
    # With an odd number of pairs the median slope is that of one pair, whose ends then tie; the library breaks
    # such ties by the last bits. Multiples of four have an even number of pairs.
    n = 4 * int(rng.integers(3, 15))
    series = np.convolve(rng.normal(size=n + 3), [1, 0.8, 0.6, 0.4], "valid") + 0.02 * np.arange(n)
    reference = pymannkendall.hamed_rao_modification_test(series)
    found = serial_test(series, np.arange(n), form="significant lags")
    assert found.variance == pytest.approx(reference.var_s, rel=1e-9)
    if found.variance > 0:
        assert found.z == pytest.approx(reference.z, rel=1e-9)
        assert found.p_value == pytest.approx(reference.p, rel=1e-6, abs=1e-12)


def test_epa_2009_example_14_10_sums_over_parts() -> None:
    found = regional_kendall(MONTHS, [1983, 1984, 1985], confidence=0.95)
    assert (found.n_sites, found.n_years, found.s) == (12, 3, 35)
    assert found.variance_independent == pytest.approx(43)  # eleven of 11 / 3, and 8 / 3 with a tie
    assert found.z_independent == pytest.approx(5.1849514, abs=5e-8)  # printed
    assert found.p_value_independent == pytest.approx(2.160712e-07, rel=1e-6)  # printed
    assert found.slope == pytest.approx(0.06)  # printed
    assert found.low_independent == pytest.approx(0.05786914, abs=5e-9)  # printed
    assert found.high_independent == pytest.approx(0.07213086, abs=5e-9)  # printed
    assert found.heterogeneity == pytest.approx(0.1071882, abs=5e-8)  # printed
    assert found.heterogeneity_df == 11  # printed
    assert found.heterogeneity_p == pytest.approx(1.0, abs=1e-6)  # printed


@pytest.mark.parametrize("seed", SEEDS)
def test_covariance_form_agrees_with_pymannkendall(seed: int) -> None:
    # its z has no continuity correction, so that the variance is compared
    rng = np.random.default_rng(seed)
    years, sites = int(rng.integers(5, 20)), int(rng.integers(2, 7))
    table = np.round(rng.normal(size=(years, sites)) + rng.normal(size=(years, 1)), 1)
    reference = pymannkendall.correlated_multivariate_test(table)
    found = regional_kendall(table, np.arange(years))
    assert found.s == reference.s
    assert found.variance == pytest.approx(reference.var_s, rel=1e-9)


@pytest.mark.parametrize("seed", range(8))
def test_covariance_form_is_the_variance_over_all_orders_of_the_years(seed: int) -> None:
    # Dietz and Killeen 1981: every year is moved as a whole, with its ties and its missing sites
    rng = np.random.default_rng(seed)
    table = rng.integers(0, 4, (6, 3)).astype(float)
    table[rng.random(table.shape) < 0.2] = np.nan
    table = table[:, np.isfinite(table).sum(axis=0) >= 2]
    sums = []
    for order in permutations(range(6)):
        moved = table[list(order)]
        pairs = [(i, j) for i, j in product(range(6), repeat=2) if i < j]
        sums.append(np.nansum([np.sign(moved[j] - moved[i]) for i, j in pairs]))
    assert np.mean(sums) == pytest.approx(0)
    assert regional_kendall(table, np.arange(6)).variance == pytest.approx(np.var(sums))


@pytest.mark.parametrize("seed", SEEDS)
def test_sums_over_sites_agree_with_the_seasonal_test_of_pymannkendall(seed: int) -> None:
    rng = np.random.default_rng(seed)
    years, sites = int(rng.integers(4, 12)), int(rng.integers(2, 9))
    table = np.round(rng.normal(size=(years, sites)), 1)
    table[rng.random(table.shape) < 0.1] = np.nan
    table = table[:, np.isfinite(table).sum(axis=0) >= 2]
    reference = pymannkendall.seasonal_test(table.ravel(), period=table.shape[1])
    found = regional_kendall(table, np.arange(years))
    assert found.s == reference.s
    assert found.variance_independent == pytest.approx(reference.var_s, rel=1e-9)
    assert found.z_independent == pytest.approx(reference.z, rel=1e-9)
    assert found.slope == pytest.approx(reference.slope, rel=1e-9, abs=1e-12)
