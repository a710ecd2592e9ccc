"""How many more years until a change of a given size can be seen at a site.

Definition
    The scores of a site scatter about their median slope with a standard deviation s (residuals, n - 2
    degrees of freedom). A series is made up at the years already sampled and at m further years, one score a
    year, from a steady change a year plus normal errors of that spread. Power is the share of made-up series
    in which the Mann-Kendall test finds a trend. The answer is the smallest m with enough power.

Source
    Test: `watershedmap.trends.kendall`. Power by simulation is common practice, no source.

Known bias
    The change is taken to have run from the first year sampled on, at a steady rate, so that the years at
    hand count too: a change that begins only now takes longer to be seen. Errors are normal and independent
    from year to year; where a high year tends to follow a high year it takes longer. The spread from few
    years is itself uncertain: with five years it can be off by half.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache
from typing import TYPE_CHECKING, Final

import numpy as np

from watershedmap.trends.kendall import exact_p_value, pair_indices, score_variance
from watershedmap.trends.slopes import sen_slope

if TYPE_CHECKING:
    import numpy.typing as npt

LEAST_YEARS: Final = 4
"""With fewer years there is no spread about a slope worth the name."""
MOST_YEARS: Final = 30
"""Further years that are looked into."""
SERIES: Final = 500
"""Made-up series for each number of years; the error of a power of 0.8 is then 0.018."""
EXACT_UP_TO: Final = 10
"""Longest series that gets the exact test, as in `mann_kendall`."""


@dataclass(frozen=True, slots=True)
class Outlook:
    """When a change can be seen at a site."""

    residual_spread: float
    """Standard deviation about the median slope, units of the index; NaN when it is unknown."""
    more_years: int | None
    """Further years of one visit each; None when it is unknown or more than `MOST_YEARS`."""
    power_now: float
    """Power of the years at hand; NaN when the spread is unknown."""


def find_outlook(
    years: npt.NDArray[np.float64],
    scores: npt.NDArray[np.float64],
    *,
    change_per_year: float,
    next_year: int,
    alpha: float,
    power: float,
    seed: int,
) -> Outlook:
    """Find how many more years it takes.

    Parameters
    ----------
    years, scores
        The series of a site, one score a year, both finite.
    change_per_year
        Size of the change, units of the index a year.
    next_year
        First further year.
    alpha
        Two-sided level of the test.
    power
        Probability with which the change is to be found.
    seed
        Start of the random numbers.

    Returns
    -------
    Outlook
        Unknown with fewer than `LEAST_YEARS` years.
    """
    spread = find_spread(years, scores)
    if math.isnan(spread):
        return Outlook(spread, None, math.nan)

    def at(more: int) -> float:
        times = np.concatenate([years, np.arange(next_year, next_year + more, dtype=float)])
        return simulate_power(times, spread=spread, slope=change_per_year, alpha=alpha, seed=seed)

    now = at(0)
    if now >= power:
        return Outlook(spread, 0, now)
    if at(MOST_YEARS) < power:
        return Outlook(spread, None, now)
    low, high = 0, MOST_YEARS
    while high - low > 1:
        middle = (low + high) // 2
        low, high = (low, middle) if at(middle) >= power else (middle, high)
    return Outlook(spread, high, now)


def find_spread(years: npt.NDArray[np.float64], scores: npt.NDArray[np.float64]) -> float:
    """Find the standard deviation of scores about their median slope.

    Parameters
    ----------
    years, scores
        One score a year, both finite.

    Returns
    -------
    float
        Units of the index; NaN with fewer than `LEAST_YEARS` years.
    """
    if len(years) < LEAST_YEARS:
        return math.nan
    slope = sen_slope(scores, years).slope
    rest = scores - slope * years
    rest = rest - rest.mean()
    return float(np.sqrt((rest**2).sum() / (len(years) - 2)))


def simulate_power(
    times: npt.NDArray[np.float64], *, spread: float, slope: float, alpha: float, seed: int
) -> float:
    """Find the share of made-up series in which the trend test finds a trend.

    Parameters
    ----------
    times
        Years of the series, all different.
    spread
        Standard deviation of the errors, units of the index.
    slope
        Change a year, units of the index.
    alpha
        Two-sided level of the test.
    seed
        Start of the random numbers; the same errors are used for each site, so that sites compare fairly.

    Returns
    -------
    float
        0 to 1.
    """
    count = len(times)
    least = least_score(count, alpha)
    if least is None:
        return 0.0
    series = spread * _draw_errors(count, seed) + slope * (times - times[0])
    earlier, later = pair_indices(count)
    order = np.sign(times[later] - times[earlier])
    scores = (np.sign(series[:, later] - series[:, earlier]) * order).sum(axis=1)
    return float(np.mean(np.abs(scores) >= least))


@lru_cache(maxsize=256)
def least_score(count: int, alpha: float) -> int | None:
    """Find the smallest score S at which the test finds a trend in a series without ties.

    Parameters
    ----------
    count
        Years in the series.
    alpha
        Two-sided level of the test.

    Returns
    -------
    int or None
        None when no score of so short a series can.
    """
    pairs = count * (count - 1) // 2
    ones = (1,) * count
    deviation = math.sqrt(score_variance(ones, ones)) if count > 1 else 0.0
    for score in range(1, pairs + 1):
        exact = count <= EXACT_UP_TO
        p_value = exact_p_value(ones, score) if exact else math.erfc((score - 1) / deviation / math.sqrt(2))
        if p_value <= alpha:
            return score
    return None


@lru_cache(maxsize=128)
def _draw_errors(count: int, seed: int) -> npt.NDArray[np.float64]:
    errors = np.random.default_rng([seed, count]).standard_normal((SERIES, count))
    errors.flags.writeable = False
    return errors
