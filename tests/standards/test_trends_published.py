"""Published worked examples of the trend test and the median slope.

The figures of EPA 2009 are those printed for the Unified Guidance examples by a routine that reproduces the
guidance.
"""

from __future__ import annotations

import pytest

from watershedmap.trends.kendall import mann_kendall
from watershedmap.trends.slopes import sen_slope

# EPA QA/G-9S (2006), Data Quality Assessment: Statistical Methods for Practitioners, p. 109.
G9S = [10, 10, 10, 5, 10, 20, 18, 17, 15, 24, 15]

# EPA 2009 Unified Guidance, example 17-6: sulfate (ppm) at year.month as printed.
SULFATE = {
    89.6: 480,
    89.8: 450,
    90.1: 490,
    90.3: 520,
    90.6: 485,
    90.8: 510,
    91.1: 510,
    91.3: 530,
    91.6: 510,
    91.8: 560,
    92.1: 560,
    92.6: 540,
    93.1: 590,
    93.6: 550,
    94.1: 600,
    94.6: 700,
    95.1: 570,
    95.6: 610,
    95.8: 650,
    96.1: 620,
    96.3: 830,
    96.6: 720,
    96.8: 590,
}

# EPA 2009 Unified Guidance, example 17-7: sodium (ppm) at the dates as printed.
SODIUM = {
    89.6: 56,
    90.1: 53,
    90.8: 51,
    91.1: 55,
    92.1: 52,
    93.1: 60,
    94.1: 62,
    95.6: 59,
    96.1: 61,
    96.3: 63,
}


def test_epa_g9s_page_109_score_variance_and_z() -> None:
    found = mann_kendall(G9S)
    assert (found.n, found.s, found.method) == (11, 22, "normal")
    assert found.variance == pytest.approx(155.33, abs=0.005)  # printed
    assert found.z == pytest.approx(1.685, abs=0.0005)  # printed
    assert found.p_value == pytest.approx(0.091998, abs=5e-7)  # computed from the printed z
    assert found.tau == pytest.approx(0.4)


def test_epa_2009_example_17_6_test() -> None:
    found = mann_kendall(list(SULFATE.values()), times=list(SULFATE))
    assert (found.n, found.s, found.method) == (23, 194, "normal")
    assert found.variance == pytest.approx(1428)
    assert found.tau == pytest.approx(0.7667984, abs=5e-8)
    assert found.z == pytest.approx(5.107322, abs=5e-7)
    assert found.p_value == pytest.approx(3.267574e-07, rel=5e-7)


def test_epa_2009_example_17_6_slope_and_95_percent_limits() -> None:
    found = sen_slope(list(SULFATE.values()), list(SULFATE), confidence=0.95)
    assert found.slope == pytest.approx(26.6666667, abs=5e-8)
    assert found.intercept == pytest.approx(-1909.3333333, abs=5e-7)
    assert found.low == pytest.approx(20.00000, abs=5e-6)
    assert found.high == pytest.approx(35.71182, abs=5e-6)


def test_epa_2009_example_17_7_test() -> None:
    found = mann_kendall(list(SODIUM.values()), times=list(SODIUM), exact_up_to=0)
    assert (found.n, found.s, found.method) == (10, 25, "normal")
    assert found.variance == pytest.approx(125)
    assert found.tau == pytest.approx(0.5555556, abs=5e-8)
    assert found.z == pytest.approx(2.146625, abs=5e-7)
    assert found.p_value == pytest.approx(0.03182313, abs=5e-9)


def test_epa_2009_example_17_7_exact_p_value() -> None:
    # twice the one-sided 0.014304728835978837 for n 10, S 25; Gilbert 1987 table A18, computed by enumeration
    found = mann_kendall(list(SODIUM.values()), times=list(SODIUM))
    assert found.method == "exact"
    assert found.p_value == pytest.approx(0.0286094577, abs=5e-11)


def test_epa_2009_example_17_7_slope_and_95_percent_limits() -> None:
    found = sen_slope(list(SODIUM.values()), list(SODIUM), confidence=0.95)
    assert found.n_pairs == 45
    assert found.slope == pytest.approx(1.3333333, abs=5e-8)
    assert found.intercept == pytest.approx(-65.9666667, abs=5e-8)
    assert found.low == pytest.approx(0.3992083, abs=5e-8)
    assert found.high == pytest.approx(2.3333333, abs=5e-8)


def test_ranks_of_dates_in_place_of_dates_give_another_slope() -> None:
    # the same S, but a slope per sample instead of per year: 9.4444 (computed), not 26.6667
    by_rank = sen_slope(list(SULFATE.values()), range(len(SULFATE)))
    assert by_rank.slope == pytest.approx(9.4444, abs=5e-5)
