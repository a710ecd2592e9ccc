"""The median slope: its definition, its limits and what is too short for them."""

from __future__ import annotations

import math
from itertools import combinations
from statistics import median

import pytest
from hypothesis import given
from hypothesis import strategies as st

from watershedmap.trends.slopes import SenSlope, sen_slope

_SERIES = st.lists(st.tuples(st.integers(-50, 50), st.integers(1990, 2020)), min_size=2, max_size=12)


@given(_SERIES)
def test_slope_is_the_median_over_pairs_apart_in_time(points: list[tuple[int, int]]) -> None:
    slopes = [(v2 - v1) / (t2 - t1) for (v1, t1), (v2, t2) in combinations(points, 2) if t1 != t2]
    found = sen_slope([v for v, _ in points], [t for _, t in points])
    assert found.n_pairs == len(slopes)
    if slopes:
        assert found.slope == pytest.approx(median(slopes))
        middle = found.intercept + found.slope * median(t for _, t in points)
        assert middle == pytest.approx(median(v for v, _ in points), abs=1e-9)
    else:
        assert math.isnan(found.slope)


@given(_SERIES)
def test_limits_enclose_the_slope_and_widen_with_confidence(points: list[tuple[int, int]]) -> None:
    values, times = [v for v, _ in points], [t for _, t in points]
    narrow = sen_slope(values, times, confidence=0.5)
    wide = sen_slope(values, times, confidence=0.95)
    if not math.isnan(narrow.low):
        assert narrow.low <= narrow.slope + 1e-12
        assert math.isnan(wide.low) or wide.low <= narrow.low + 1e-12
    if not math.isnan(narrow.high):
        assert narrow.high >= narrow.slope - 1e-12
        assert math.isnan(wide.high) or wide.high >= narrow.high - 1e-12


def test_a_straight_line_is_found_exactly() -> None:
    found = sen_slope([5.0, 4.5, 3.5, 3.0], [2000, 2001, 2003, 2004], confidence=0.5)
    assert (found.slope, found.low, found.high, found.intercept) == (-0.5, -0.5, -0.5, 1005.0)


def test_one_wild_year_does_not_tilt_the_slope() -> None:
    assert sen_slope([1, 2, 3, 4, 500, 6, 7], range(7)).slope == pytest.approx(1.0)


def test_limits_are_unknown_where_the_ranks_fall_outside() -> None:
    found = sen_slope([1.0, 2.0, 3.0], [1, 2, 3], confidence=0.95)
    assert found.slope == 1.0
    assert math.isnan(found.low)
    assert math.isnan(found.high)


def test_limits_are_interpolated_between_ranks() -> None:
    # n 4, N 6, one tie of two: Var S = 138/18, C = 0.67449 * 2.76887 = 1.86758, ranks 2.06621 and 4.93379
    found = sen_slope([0.0, 3.0, 9.0, 9.0], [0, 3, 4, 6], confidence=0.5)
    slopes = sorted([3 / 3, 9 / 4, 9 / 6, 6 / 1, 6 / 3, 0 / 2])
    variance = (4 * 3 * 13 - 2 * 1 * 9) / 18
    half = 0.6744897501960817 * math.sqrt(variance) / 2
    low, high = 3 - half, 4 + half
    assert found.low == pytest.approx(slopes[1] + (low - 2) * (slopes[2] - slopes[1]))
    assert found.high == pytest.approx(slopes[3] + (high - 4) * (slopes[4] - slopes[3]))


@pytest.mark.parametrize(("values", "times"), [([], []), ([1.0], [2000]), ([1.0, 2.0], [2000, 2000])])
def test_without_a_pair_apart_in_time_nothing_is_known(values: list[float], times: list[int]) -> None:
    found = sen_slope(values, times)
    assert found.n_pairs == 0
    assert all(math.isnan(v) for v in (found.slope, found.low, found.high, found.intercept))


@pytest.mark.parametrize("confidence", [0.0, 1.0, 90.0, math.nan])
def test_a_confidence_that_is_no_share_is_refused(confidence: float) -> None:
    with pytest.raises(ValueError, match="between 0 and 1"):
        sen_slope([1, 2], [1, 2], confidence=confidence)


def test_crossed_limits_are_refused() -> None:
    with pytest.raises(ValueError, match="above the upper limit"):
        SenSlope(1.0, 2.0, 1.0, 0.0, 3, 0.9)
