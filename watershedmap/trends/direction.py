"""Is the condition of a stream getting better or worse? Four words, always about condition.

Definition
    One score a year goes in. With fewer years than asked for, the answer is `too few years` and no figure is
    given. Otherwise the Mann-Kendall test decides whether there is a trend (p at most alpha) and the median
    slope says which way; the sign is read through the direction of the index, so that a falling score of an
    index where low is good is `improving`. A slope of exactly 0 is no trend, whatever the test says.
    Beside the word stand two figures that it does not use: the p-value adjusted for the number of sites that
    were judged, and for series of ten years or more the p-value that allows for serial correlation.

Source
    Test and slope: see `kendall` and `slopes`; many sites: see `false_discovery`; serial correlation: see
    `serial`. Five years as the least, 0.05 and a 90 % interval: common practice, no source.

Known bias
    `no clear trend` is not `no change`: a short or noisy series cannot show a slow change. The word of each
    site is by its own p-value: of many sites without any change up to one in twenty still gets a direction.
    `count_held` tells how many directions hold when all sites are looked at together.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from itertools import pairwise
from typing import TYPE_CHECKING, Final, Literal

import numpy as np
import pandas as pd

from watershedmap.trends.false_discovery import adjust_p_values
from watershedmap.trends.kendall import Method, mann_kendall
from watershedmap.trends.serial import MIN_SERIAL_YEARS, correct_test
from watershedmap.trends.slopes import sen_slope

if TYPE_CHECKING:
    from numpy.typing import NDArray

Better = Literal["low", "high"]
TrendWord = Literal["improving", "worsening", "no clear trend", "too few years"]

IMPROVING: Final = "improving"
WORSENING: Final = "worsening"
NO_CLEAR_TREND: Final = "no clear trend"
TOO_FEW_YEARS: Final = "too few years"

TREND_WORDS: Final[tuple[TrendWord, ...]] = (IMPROVING, WORSENING, NO_CLEAR_TREND, TOO_FEW_YEARS)
"""All words there are, in the order they are listed in a legend."""

NOISE_DECIMALS = 9
"""Scores that agree to this many decimals are tied: means of the same figures differ in the last bits."""


@dataclass(frozen=True, slots=True)
class Trend:
    """The trend of one series of yearly scores."""

    trend: TrendWord
    """`improving`, `worsening`, `no clear trend` or `too few years`: of condition."""
    slope_per_year: float
    """Change of the score a year, in units of the index; NaN with too few years."""
    slope_low: float
    """Lower limit of the slope; NaN with too few years."""
    slope_high: float
    """Upper limit of the slope; NaN with too few years."""
    intercept: float
    """Score of the line at year 0: line = intercept + slope_per_year * year; NaN with too few years."""
    p_value: float
    """Two-sided p-value of the test; NaN with too few years."""
    n_years: int
    """Different years with a score."""
    tau: float
    """Kendall's tau-a of the score (not of condition); NaN with too few years."""
    method: Method
    """How the p-value was reached: `exact`, `normal`, or `none` with too few years."""
    serial_correlation: float
    """Lag-one correlation of the scores about their slope; NaN below ten years."""
    p_value_serial: float
    """Two-sided p-value that allows for serial correlation; NaN below ten years."""


@dataclass(frozen=True, slots=True)
class Rules:
    """What a series is judged by."""

    better: Better
    """Which end of the index is good: `low` or `high`."""
    min_years: int
    """Fewest different years that are judged."""
    alpha: float
    """Largest two-sided p-value that counts as a trend."""
    confidence: float
    """Two-sided confidence of the limits of the slope."""

    def __post_init__(self) -> None:
        """Hold the values that each can have."""
        if self.better not in ("low", "high"):
            raise ValueError(f"better must be 'low' or 'high', not {self.better!r}")
        if not 0 < self.alpha < 1:
            raise ValueError(f"alpha must lie between 0 and 1, not {self.alpha}")
        if not 0 < self.confidence < 1:
            raise ValueError(f"confidence must lie between 0 and 1, not {self.confidence}")


def site_trend(
    yearly: pd.Series[float],
    *,
    better: Better,
    min_years: int = 5,
    alpha: float = 0.05,
    confidence: float = 0.90,
) -> Trend:
    """Judge the trend of one site.

    Parameters
    ----------
    yearly
        Score of each year, indexed by year. Years without a score are left out, never taken as 0.
    better
        Which end of the index is good: `low` or `high`.
    min_years
        Fewest different years that are judged.
    alpha
        Largest two-sided p-value that counts as a trend.
    confidence
        Two-sided confidence of the limits of the slope.

    Returns
    -------
    Trend
        The word and the figures behind it.

    Raises
    ------
    ValueError
        If `better`, `alpha` or `confidence` is none of the values it can have.
    """
    rules = Rules(better, min_years, alpha, confidence)
    return _judge(_floats(yearly.index), _floats(yearly), rules)


def trends_by(
    yearly_frame: pd.DataFrame,
    key: str,
    *,
    better: Better,
    min_years: int = 5,
    alpha: float = 0.05,
    confidence: float = 0.90,
) -> pd.DataFrame:
    """Judge the trend of every site, or of any other grouping of yearly scores.

    Parameters
    ----------
    yearly_frame
        Columns `key`, `year` and `score`, one row a year of a group; other columns are not looked at.
    key
        Column that names the groups. Rows without a name are left out.
    better, min_years, alpha, confidence
        As for `site_trend`.

    Returns
    -------
    DataFrame
        Indexed by `key`, sorted; columns `trend`, `slope_per_year`, `slope_low`, `slope_high`, `intercept`,
        `p_value`, `trend_years`, `trend_method`, `p_adjusted` (for the number of groups judged, after
        Benjamini and Hochberg), `serial_correlation` and `p_value_serial` (NaN below ten years). A group
        without any score is there, with `too few years`.

    Raises
    ------
    ValueError
        As for `site_trend`.
    """
    rules = Rules(better, min_years, alpha, confidence)
    ordered = yearly_frame.loc[yearly_frame[key].notna(), [key, "year", "score"]].sort_values([key, "year"])
    years, scores = _floats(ordered["year"]), _floats(ordered["score"])
    codes, names = pd.factorize(ordered[key])
    edges = [*np.flatnonzero(np.diff(codes, prepend=-1)).tolist(), codes.size]
    judged = [_judge(years[i:j], scores[i:j], rules) for i, j in pairwise(edges)]
    return _tabulate(judged, pd.Index(names, name=key))


def count_held(trends: pd.DataFrame, *, rate: float = 0.05) -> int:
    """Count the directions that hold when all sites are looked at together.

    Parameters
    ----------
    trends
        `trend` and `p_adjusted`, as from `trends_by`; either may be missing in a row.
    rate
        Share of false directions allowed among those that hold.

    Returns
    -------
    int
        Rows that are `improving` or `worsening` with an adjusted p-value of at most `rate`.
    """
    directed = trends["trend"].isin([IMPROVING, WORSENING])
    return int((directed & (trends["p_adjusted"] <= rate)).sum())


def _floats(column: pd.Series | pd.Index) -> NDArray[np.float64]:
    return np.asarray(column.to_numpy(dtype=np.float64, na_value=math.nan), dtype=np.float64)


def _judge(years: NDArray[np.float64], scores: NDArray[np.float64], rules: Rules) -> Trend:
    present = np.isfinite(scores) & np.isfinite(years)
    when, what = years[present], np.round(scores[present], NOISE_DECIMALS)
    n_years = len(set(when.tolist()))
    if n_years < rules.min_years:
        nan = math.nan
        return Trend(TOO_FEW_YEARS, nan, nan, nan, nan, nan, n_years, nan, "none", nan, nan)
    test = mann_kendall(what, times=when)
    line = sen_slope(what, when, confidence=rules.confidence)
    correlation = p_value_serial = math.nan
    if n_years >= MIN_SERIAL_YEARS:
        serial = correct_test(what, when, test=test, slope=line.slope)
        correlation, p_value_serial = serial.correlation, serial.p_value
    return Trend(
        trend=word_of(line.slope, test.p_value, rules),
        slope_per_year=line.slope,
        slope_low=line.low,
        slope_high=line.high,
        intercept=line.intercept,
        p_value=test.p_value,
        n_years=n_years,
        tau=test.tau,
        method=test.method,
        serial_correlation=correlation,
        p_value_serial=p_value_serial,
    )


def word_of(slope: float, p_value: float, rules: Rules) -> TrendWord:
    """Say which way condition goes.

    Parameters
    ----------
    slope
        Change of the score a year, units of the index.
    p_value
        Two-sided p-value of the test; NaN is no evidence.
    rules
        The direction of the index, and the largest p-value that counts.

    Returns
    -------
    str
        `improving`, `worsening` or `no clear trend`.
    """
    if not p_value <= rules.alpha or slope == 0:
        return NO_CLEAR_TREND
    return IMPROVING if (slope > 0) == (rules.better == "high") else WORSENING


def _tabulate(judged: list[Trend], index: pd.Index[str]) -> pd.DataFrame:
    p_values = [t.p_value for t in judged]
    return pd.DataFrame(
        {
            "trend": pd.Series([t.trend for t in judged], index=index, dtype="str"),
            "slope_per_year": pd.Series([t.slope_per_year for t in judged], index=index, dtype="float64"),
            "slope_low": pd.Series([t.slope_low for t in judged], index=index, dtype="float64"),
            "slope_high": pd.Series([t.slope_high for t in judged], index=index, dtype="float64"),
            "intercept": pd.Series([t.intercept for t in judged], index=index, dtype="float64"),
            "p_value": pd.Series(p_values, index=index, dtype="float64"),
            "trend_years": pd.Series([t.n_years for t in judged], index=index, dtype="int64"),
            "trend_method": pd.Series([t.method for t in judged], index=index, dtype="str"),
            "p_adjusted": pd.Series(adjust_p_values(p_values), index=index, dtype="float64"),
            "serial_correlation": pd.Series(
                [t.serial_correlation for t in judged], index=index, dtype="float64"
            ),
            "p_value_serial": pd.Series([t.p_value_serial for t in judged], index=index, dtype="float64"),
        },
        index=index,
    )
