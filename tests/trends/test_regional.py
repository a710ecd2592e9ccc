"""The common trend of many sites."""

from __future__ import annotations

import math

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from watershedmap.trends.direction import IMPROVING, NO_CLEAR_TREND, TOO_FEW_YEARS, WORSENING
from watershedmap.trends.kendall import mann_kendall
from watershedmap.trends.regional import regional_kendall, trends_of_groups
from watershedmap.trends.slopes import sen_slope

YEARS = np.arange(2010, 2020)


def _yearly(**sites: np.ndarray) -> pd.DataFrame:
    parts = [
        pd.DataFrame({"site_id": name, "year": YEARS[: len(scores)], "score": scores})
        for name, scores in sites.items()
    ]
    return pd.concat(parts, ignore_index=True)


def _members(**groups: str) -> pd.DataFrame:
    rows = [(group, site) for group, sites in groups.items() for site in sites.split()]
    return pd.DataFrame(rows, columns=["group", "site_id"])


def _noise(seed: int) -> np.ndarray:
    return np.random.default_rng(seed).normal(0, 0.4, 10)


FALLING = -0.2 * np.arange(10)
ONE_WAY = _yearly(a=5 + FALLING + _noise(1), b=8 + FALLING + _noise(2), c=3 + FALLING + _noise(3))


def test_one_site_is_the_plain_test() -> None:
    series = 5 + FALLING + _noise(4)
    found, plain = regional_kendall(series[:, None], YEARS), mann_kendall(series)
    line = sen_slope(series, YEARS)
    assert (found.s, found.variance, found.z) == pytest.approx((plain.s, plain.variance, plain.z))
    assert (found.slope, found.low, found.high) == pytest.approx((line.slope, line.low, line.high))
    assert math.isnan(found.heterogeneity_p)


def test_sites_that_repeat_each_other_count_once_with_the_covariances() -> None:
    series = np.round(5 + FALLING / 4 + _noise(5), 1)
    found = regional_kendall(np.tile(series[:, None], 6), YEARS)
    plain = mann_kendall(series)
    assert found.variance == pytest.approx(36 * plain.variance)
    assert found.variance_independent == pytest.approx(6 * plain.variance)
    assert found.p_value > found.p_value_independent
    assert found.z == pytest.approx(plain.s / math.sqrt(plain.variance), abs=0.2)


def test_shared_good_years_are_not_taken_for_a_trend() -> None:
    rng = np.random.default_rng(6)
    tables = [rng.normal(size=(10, 1)) + 0.3 * rng.normal(size=(10, 6)) for _ in range(200)]
    found = [regional_kendall(table, YEARS) for table in tables]
    assert np.mean([one.p_value_independent <= 0.05 for one in found]) > 0.25
    assert np.mean([one.p_value <= 0.05 for one in found]) < 0.10


def test_a_missing_year_makes_no_pair_and_is_not_filled_in() -> None:
    table = np.array([[1.0, np.nan], [2.0, 5.0], [np.nan, 4.0], [4.0, 3.0]])
    found = regional_kendall(table, [2000, 2001, 2003, 2007])
    assert found.s == 3 - 3
    assert (found.rising, found.falling) == (1, 1)
    slopes = [1, 3 / 7, 2 / 6, -1 / 2, -2 / 6, -1 / 4]
    assert found.slope == pytest.approx(np.median(slopes))
    assert found.variance_independent == pytest.approx(2 * 3 * 2 * 11 / 18)


def test_a_site_with_a_single_year_is_left_out() -> None:
    table = np.array([[1.0, np.nan, np.nan], [2.0, 5.0, np.nan], [3.0, np.nan, np.nan]])
    found = regional_kendall(table, [1, 2, 3])
    assert (found.n_sites, found.n_years, found.s) == (1, 3, 3)


def test_nothing_to_test_gives_no_figures() -> None:
    found = regional_kendall(np.zeros((0, 0)), [])
    assert (found.n_sites, found.n_years, found.s, found.p_value) == (0, 0, 0, 1.0)
    assert math.isnan(found.slope)


def test_sites_that_never_change_show_no_trend() -> None:
    found = regional_kendall(np.full((6, 3), 2.5), np.arange(6))
    assert (found.s, found.p_value, found.slope) == (0, 1.0, 0.0)
    assert math.isnan(found.heterogeneity_p)


@settings(max_examples=40, deadline=None)
@given(st.integers(0, 10_000))
def test_the_order_of_years_and_sites_does_not_matter(seed: int) -> None:
    rng = np.random.default_rng(seed)
    table = rng.integers(0, 5, (7, 4)).astype(float)
    table[rng.random(table.shape) < 0.2] = np.nan
    years = np.array([1, 2, 4, 5, 8, 9, 11])
    rows, columns = rng.permutation(7), rng.permutation(4)
    one = regional_kendall(table, years)
    other = regional_kendall(table[rows][:, columns], years[rows])
    for name in ("s", "variance", "variance_independent", "slope", "heterogeneity", "n_sites"):
        assert getattr(other, name) == pytest.approx(getattr(one, name), nan_ok=True)


@pytest.mark.parametrize(
    ("table", "times", "complaint"),
    [
        ([1, 2, 3], [1, 2, 3], "one row for each"),
        ([[1], [2]], [1, 2, 3], "one row for each"),
        ([[1], [2]], [1, 1], "once"),
        ([[1], [2]], [1, math.nan], "once"),
    ],
)
def test_tables_that_do_not_fit_are_refused(table: list[object], times: list[float], complaint: str) -> None:
    with pytest.raises(ValueError, match=complaint):
        regional_kendall(table, times)  # type: ignore[arg-type]


def test_a_confidence_that_is_none_is_refused() -> None:
    with pytest.raises(ValueError, match="confidence"):
        regional_kendall([[1], [2]], [1, 2], confidence=90)


def test_direction_of_a_group_is_of_condition_whatever_the_index_says() -> None:
    low = trends_of_groups(ONE_WAY, _members(river="a b c"), better="low").loc["river"]
    high = trends_of_groups(ONE_WAY, _members(river="a b c"), better="high").loc["river"]
    assert (low["trend"], high["trend"]) == (IMPROVING, WORSENING)
    assert low["slope_per_year"] == high["slope_per_year"] == pytest.approx(-0.2, abs=0.05)
    assert low["slope_low"] < low["slope_per_year"] < low["slope_high"] < 0
    assert (low["n_sites"], low["first_year"], low["last_year"]) == (3, 2010, 2019)
    assert low["agreement"] == (
        "by their signs alone 0 worsening, 3 improving, 0 level; no more different than by chance"
    )


def test_figures_of_a_group_are_those_of_the_test() -> None:
    row = trends_of_groups(ONE_WAY, _members(river="a b c"), better="low").loc["river"]
    table = ONE_WAY.pivot_table(index="year", columns="site_id", values="score")
    found = regional_kendall(table.to_numpy(), table.index.to_numpy())
    assert row["p_value"] == pytest.approx(found.p_value)
    assert row["p_value_independent"] == pytest.approx(found.p_value_independent)
    assert row["heterogeneity_p"] == pytest.approx(found.heterogeneity_p)


def test_one_site_or_too_few_years_is_no_group_trend() -> None:
    yearly = _yearly(a=5 + FALLING, b=(5 + FALLING)[:4], c=(6 + FALLING)[:4], d=np.array([4.0]))
    found = trends_of_groups(yearly, _members(alone="a d", short="b c", none="x"), better="low")
    assert found.index.tolist() == ["alone", "none", "short"]
    assert found["trend"].tolist() == [TOO_FEW_YEARS] * 3
    assert found["n_sites"].tolist() == [1, 0, 2]
    figures = [
        "slope_per_year",
        "slope_low",
        "slope_high",
        "p_value",
        "p_value_independent",
        "heterogeneity_p",
    ]
    assert found[figures].isna().all(axis=None)
    assert found.loc["short", "agreement"] == "2 sites with two years or more, 4 years in all"
    assert found["first_year"].isna().tolist() == [False, True, False]


def test_short_sites_are_told_together_what_each_cannot_tell_alone() -> None:
    # three panels of four years each, none of which alone could ever be judged
    panels = [YEARS[start::3] for start in (0, 1, 2, 0, 1, 2)]
    parts = [
        pd.DataFrame({"site_id": f"p{n}", "year": years, "score": 2019.0 - years})
        for n, years in enumerate(panels)
    ]
    found = trends_of_groups(pd.concat(parts), _members(all="p0 p1 p2 p3 p4 p5"), better="low")
    assert found.loc["all", "trend"] == IMPROVING
    assert found.loc["all", "n_sites"] == 6


def test_no_common_trend_is_named_where_sites_clearly_go_both_ways() -> None:
    steep = 3 * FALLING
    yearly = _yearly(a=9 + steep, b=8 + steep + _noise(1), c=7 + steep + _noise(2), d=2 - steep)
    found = trends_of_groups(yearly, _members(river="a b c d"), better="low").loc["river"]
    assert found["heterogeneity_p"] < 0.001
    assert found["trend"] == NO_CLEAR_TREND
    assert found["agreement"] == (
        "by their signs alone 1 worsening, 3 improving, 0 level; they differ by more than chance, and go both "
        "ways: no common trend is named"
    )


def test_sites_that_differ_but_go_one_way_keep_their_common_trend() -> None:
    flat = np.array([5.0, 1, 7, 3, 9, 2, 8, 4, 6, 5.5])
    yearly = _yearly(a=np.arange(10.0), b=np.arange(10.0) ** 2, c=flat, d=flat[::-1] + np.arange(10))
    table = yearly.pivot_table(index="year", columns="site_id", values="score").to_numpy()
    scores = [mann_kendall(column).s for column in table.T]
    assert min(scores) > 0
    found = trends_of_groups(yearly, _members(river="a b c d"), better="low").loc["river"]
    assert found["heterogeneity_p"] < 0.05
    assert found["trend"] == WORSENING
    assert found["agreement"].endswith("4 worsening, 0 improving, 0 level; they differ by more than chance")


def test_whether_sites_differ_is_not_told_where_but_one_can_change() -> None:
    yearly = _yearly(a=5 + FALLING + _noise(1), b=np.full(10, 4.0))
    found = trends_of_groups(yearly, _members(river="a b"), better="low").loc["river"]
    assert math.isnan(found["heterogeneity_p"])
    assert found["agreement"] == (
        "by their signs alone 0 worsening, 1 improving, 1 level; whether they differ cannot be told"
    )


def test_a_site_may_be_in_several_groups_and_rows_without_a_group_are_left_out() -> None:
    members = pd.concat([_members(one="a b", two="b c"), pd.DataFrame({"group": [None], "site_id": ["a"]})])
    found = trends_of_groups(ONE_WAY, members, better="low")
    assert found.index.tolist() == ["one", "two"]
    assert found["n_sites"].tolist() == [2, 2]


def test_columns_are_fixed_even_without_groups_and_input_is_unchanged() -> None:
    before = ONE_WAY.copy()
    members = _members(river="a b c")
    empty = trends_of_groups(ONE_WAY, members.head(0), better="low")
    full = trends_of_groups(ONE_WAY, members, better="low")
    assert empty.columns.tolist() == full.columns.tolist()
    assert empty.dtypes.tolist() == full.dtypes.tolist()
    assert len(empty) == 0
    pd.testing.assert_frame_equal(ONE_WAY, before)


def test_options_out_of_bounds_are_refused() -> None:
    with pytest.raises(ValueError, match="better"):
        trends_of_groups(ONE_WAY, _members(river="a b"), better="lower")  # type: ignore[arg-type]
