"""The four words: always about condition, and silent where there is too little to say."""

from __future__ import annotations

import math
import time

import numpy as np
import pandas as pd
import pytest

from watershedmap.trends.direction import (
    IMPROVING,
    NO_CLEAR_TREND,
    TOO_FEW_YEARS,
    TREND_WORDS,
    WORSENING,
    Better,
    count_held,
    site_trend,
    trends_by,
)
from watershedmap.trends.false_discovery import adjust_p_values
from watershedmap.trends.serial import serial_test


def _yearly(scores: list[float | None], first: int = 2010) -> pd.Series[float]:
    return pd.Series(scores, index=pd.RangeIndex(first, first + len(scores), name="year"), dtype="float64")


FALLING = _yearly([6.1, 5.8, 5.5, 5.1, 4.9, 4.6])
RISING = _yearly([4.1, 4.4, 4.9, 5.2, 5.6, 6.0])


@pytest.mark.parametrize(
    ("yearly", "better", "word"),
    [
        (FALLING, "low", IMPROVING),
        (RISING, "low", WORSENING),
        (FALLING, "high", WORSENING),
        (RISING, "high", IMPROVING),
    ],
)
def test_direction_is_of_condition_whatever_the_index_says(
    yearly: pd.Series[float], better: Better, word: str
) -> None:
    assert site_trend(yearly, better=better).trend == word


def test_slope_keeps_the_sign_of_the_index() -> None:
    found = site_trend(FALLING, better="low")
    assert found.slope_per_year < 0
    assert found.slope_low <= found.slope_per_year <= found.slope_high
    assert found.intercept + found.slope_per_year * 2012.5 == pytest.approx(FALLING.median())


def test_under_the_least_years_nothing_is_claimed() -> None:
    found = site_trend(_yearly([6.0, 5.0, 4.0, 3.0]), better="low")
    assert (found.trend, found.n_years, found.method) == (TOO_FEW_YEARS, 4, "none")
    figures = (
        found.slope_per_year,
        found.slope_low,
        found.slope_high,
        found.intercept,
        found.p_value,
        found.tau,
    )
    assert all(math.isnan(figure) for figure in figures)


def test_years_without_a_score_do_not_count_as_years() -> None:
    found = site_trend(_yearly([6.0, None, 5.0, 4.0, None, 3.0]), better="low")
    assert (found.trend, found.n_years) == (TOO_FEW_YEARS, 4)


def test_a_year_given_twice_is_one_year() -> None:
    twice = pd.Series([6.0, 5.9, 5.0, 4.0, 3.0], index=[2010, 2010, 2011, 2012, 2013])
    assert site_trend(twice, better="low").trend == TOO_FEW_YEARS


def test_gaps_between_years_are_counted_in_the_slope() -> None:
    yearly = pd.Series([6.0, 5.0, 4.0, 3.0, 2.0], index=[2000, 2002, 2004, 2006, 2008])
    assert site_trend(yearly, better="low").slope_per_year == pytest.approx(-0.5)


def test_the_order_of_rows_does_not_matter() -> None:
    assert site_trend(FALLING.iloc[::-1], better="low") == site_trend(FALLING, better="low")


def test_a_noisy_series_has_no_clear_trend() -> None:
    found = site_trend(_yearly([5.0, 5.4, 4.9, 5.2, 5.1, 5.3]), better="low")
    assert found.trend == NO_CLEAR_TREND
    assert found.p_value > 0.05
    assert not math.isnan(found.slope_per_year)


def test_equal_scores_have_no_clear_trend() -> None:
    found = site_trend(_yearly([5.0] * 6), better="low")
    assert (found.trend, found.slope_per_year, found.p_value) == (NO_CLEAR_TREND, 0.0, 1.0)


def test_slope_of_zero_is_no_trend_even_when_the_test_is_sure() -> None:
    yearly = _yearly([5.0] * 10 + [5.0] * 6 + [6.0] * 4)
    found = site_trend(yearly, better="low")
    assert found.p_value <= 0.05
    assert found.slope_per_year == 0
    assert found.trend == NO_CLEAR_TREND


def test_differences_in_the_last_bits_are_ties() -> None:
    noise = _yearly([0.1 + 0.2, 0.3, 0.3, 0.3, 0.1 + 0.2, 0.3])
    assert noise.iloc[0] != noise.iloc[1]
    assert site_trend(noise, better="low").p_value == 1.0


def test_alpha_is_the_largest_p_value_of_a_trend() -> None:
    five = _yearly([5.0, 4.0, 3.0, 2.0, 1.0])  # p = 2/120
    assert site_trend(five, better="low", alpha=2 / 120).trend == IMPROVING
    assert site_trend(five, better="low", alpha=0.0166).trend == NO_CLEAR_TREND


@pytest.mark.parametrize(
    ("options", "complaint"),
    [
        ({"better": "lower"}, "better"),
        ({"better": "low", "alpha": 5}, "alpha"),
        ({"better": "low", "confidence": 90}, "confidence"),
    ],
)
def test_options_out_of_bounds_are_refused(options: dict[str, object], complaint: str) -> None:
    with pytest.raises(ValueError, match=complaint):
        site_trend(FALLING, **options)  # type: ignore[arg-type]


def _frame() -> pd.DataFrame:
    parts = {"B-falls": FALLING, "A-rises": RISING, "C-short": FALLING.head(3)}
    rows = [
        {"site_id": site, "year": year, "score": score, "n_samples": 1}
        for site, yearly in parts.items()
        for year, score in yearly.items()
    ]
    rows += [{"site_id": "D-empty", "year": 2010, "score": math.nan, "n_samples": 1}]
    return pd.DataFrame(rows)


def test_groups_are_judged_like_single_sites_and_sorted_by_key() -> None:
    found = trends_by(_frame(), "site_id", better="low")
    assert found.index.tolist() == ["A-rises", "B-falls", "C-short", "D-empty"]
    assert found.index.name == "site_id"
    assert found["trend"].tolist() == [WORSENING, IMPROVING, TOO_FEW_YEARS, TOO_FEW_YEARS]
    assert found["trend_years"].tolist() == [6, 6, 3, 0]
    single = site_trend(FALLING, better="low")
    row = found.loc["B-falls"]
    assert row["slope_per_year"] == single.slope_per_year
    assert row["p_value"] == single.p_value
    assert row["trend_method"] == single.method == "exact"


def test_the_order_of_rows_does_not_matter_to_groups_and_the_frame_is_unchanged() -> None:
    frame = _frame()
    shuffled = frame.sample(frac=1, random_state=1)
    before = shuffled.copy()
    pd.testing.assert_frame_equal(
        trends_by(shuffled, "site_id", better="low"), trends_by(frame, "site_id", better="low")
    )
    pd.testing.assert_frame_equal(shuffled, before)


def test_columns_of_groups_are_fixed_even_without_rows() -> None:
    empty = trends_by(_frame().head(0), "site_id", better="low")
    full = trends_by(_frame(), "site_id", better="low")
    assert empty.columns.tolist() == full.columns.tolist()
    assert empty.columns.tolist() == [
        "trend",
        "slope_per_year",
        "slope_low",
        "slope_high",
        "intercept",
        "p_value",
        "trend_years",
        "trend_method",
        "p_adjusted",
        "serial_correlation",
        "p_value_serial",
    ]
    assert empty.dtypes.tolist() == full.dtypes.tolist()
    assert len(empty) == 0


def test_rows_without_a_group_are_left_out() -> None:
    frame = _frame()
    frame.loc[frame["site_id"] == "C-short", "site_id"] = None
    assert "C-short" not in trends_by(frame, "site_id", better="low").index


def test_only_the_four_words_are_used() -> None:
    rng = np.random.default_rng(7)
    frame = pd.DataFrame(
        {
            "site_id": np.repeat(np.arange(60), 8),
            "year": np.tile(np.arange(8), 60),
            "score": rng.normal(size=480) + np.repeat(rng.integers(-1, 2, 60), 8) * np.tile(np.arange(8), 60),
        }
    )
    frame.loc[frame["site_id"].eq(3) & frame["year"].gt(2), "score"] = math.nan
    assert set(trends_by(frame, "site_id", better="high")["trend"]) == set(TREND_WORDS)


def test_ten_thousand_series_take_less_than_five_seconds() -> None:
    groups, years = 10_000, 15
    rng = np.random.default_rng(1)
    frame = pd.DataFrame(
        {
            "site_id": np.repeat(np.arange(groups), years),
            "year": np.tile(np.arange(2000, 2000 + years), groups),
            "score": rng.normal(5, 1, groups * years).round(2),
        }
    )
    started = time.perf_counter()
    found = trends_by(frame, "site_id", better="low")
    assert time.perf_counter() - started < 5
    share = found["trend"].isin([IMPROVING, WORSENING]).mean()
    assert 0.04 < share < 0.06  # at alpha 0.05 pure noise gets a direction about that often


def test_p_values_are_adjusted_for_the_groups_judged_and_the_words_keep_their_own() -> None:
    found = trends_by(_frame(), "site_id", better="low")
    assert found["p_adjusted"].isna().tolist() == [False, False, True, True]
    assert found.loc["A-rises", "p_adjusted"] == adjust_p_values(found["p_value"])[0]
    # five years all in one direction have p 1/60; among nine others that is no finding
    short = pd.DataFrame({"site_id": "short", "year": range(2010, 2015), "score": [1.0, 2, 3, 4, 5]})
    flat = [short.assign(site_id=f"flat{n}", score=[3.0, 1, 4, 2, 3]) for n in range(9)]
    many = trends_by(pd.concat([short, *flat]), "site_id", better="high")
    assert many.loc["short", "trend"] == IMPROVING
    assert many.loc["short", "p_adjusted"] == pytest.approx(10 / 60)
    assert count_held(many) == 0
    assert count_held(many, rate=0.2) == 1


def test_count_held_passes_over_rows_without_a_trend() -> None:
    frame = pd.DataFrame(
        {"trend": [WORSENING, IMPROVING, NO_CLEAR_TREND, None], "p_adjusted": [0.01, None, 0.01, None]}
    )
    assert count_held(frame) == 1


def test_serial_correlation_is_told_from_ten_years_on() -> None:
    years = range(2010, 2020)
    scores = [5.0, 5.3, 5.1, 5.6, 5.2, 5.9, 5.8, 5.7, 6.2, 6.0]
    long = site_trend(pd.Series(scores, index=years), better="low")
    reference = serial_test(scores, list(years))
    assert (long.serial_correlation, long.p_value_serial) == (reference.correlation, reference.p_value)
    short = site_trend(pd.Series(scores[:9], index=years[:9]), better="low")
    assert math.isnan(short.serial_correlation)
    assert math.isnan(short.p_value_serial)
    assert math.isfinite(short.p_value)
