"""The slope of a series that no single odd year can tilt.

Definition
    The slope is the median of ``(x_j - x_i) / (t_j - t_i)`` over all pairs that differ in time. With N such
    pairs and ``C = z * sqrt(Var S)``, the limits are the ``(N - C) / 2``-th and the ``(N + C) / 2 + 1``-th
    smallest of those slopes, interpolated between ranks. The line runs through the medians:
    ``intercept = median(x) - slope * median(t)``.

Source
    Theil 1950, Proc. Kon. Ned. Akad. Wet. A 53; Sen 1968, JASA 63:1379; interval: Gilbert, Statistical
    Methods for Environmental Pollution Monitoring (1987), section 16.5; intercept: Conover, Practical
    Nonparametric Statistics.

Known bias
    Where another routine rounds the ranks instead of interpolating, its limits differ slightly. With many
    ties the median slope is 0 although the test may find a direction. Years are taken as independent. The
    limits rest on the normal approximation even where the p-value is exact, so that in short series the two
    can disagree at the edge.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from statistics import NormalDist
from typing import TYPE_CHECKING

import numpy as np

from watershedmap.trends.kendall import finite_pairs, pair_indices, score_variance, tie_sizes

if TYPE_CHECKING:
    from numpy.typing import ArrayLike, NDArray


@dataclass(frozen=True, slots=True)
class SenSlope:
    """A median slope, its interval and the line that goes with it."""

    slope: float
    """Change of the value per unit of time; NaN when no pair differs in time."""
    low: float
    """Lower limit; NaN when the series is too short for this confidence."""
    high: float
    """Upper limit; NaN when the series is too short for this confidence."""
    intercept: float
    """Value of the line at time 0."""
    n_pairs: int
    """Pairs that differ in time."""
    confidence: float
    """Two-sided confidence of the interval, between 0 and 1."""

    def __post_init__(self) -> None:
        """Hold the order of the limits."""
        if self.low > self.high:
            raise ValueError(f"the lower limit {self.low} is above the upper limit {self.high}")


def sen_slope(values: ArrayLike, times: ArrayLike, *, confidence: float = 0.90) -> SenSlope:
    """Find the median slope of a series, with its interval.

    Parameters
    ----------
    values
        The series, in any order.
    times
        When each value was observed. The slope is per unit of it: give years, not ranks of years.
    confidence
        Two-sided confidence of the interval, between 0 and 1.

    Returns
    -------
    SenSlope
        Points that lack a finite value or time are left out. A limit is NaN where its rank falls outside the
        slopes that there are: the series is too short to bound the slope on that side.

    Raises
    ------
    ValueError
        If the lengths differ, or `confidence` is not between 0 and 1.
    """
    if not 0 < confidence < 1:
        raise ValueError(f"confidence must lie between 0 and 1, not {confidence}")
    kept, when = finite_pairs(values, times)
    slopes = _sorted_slopes(kept, when)
    if slopes.size == 0:
        return SenSlope(math.nan, math.nan, math.nan, math.nan, 0, confidence)
    slope = _median(slopes)
    intercept = _median(np.sort(kept)) - slope * _median(np.sort(when))
    spread = NormalDist().inv_cdf((1 + confidence) / 2) * math.sqrt(
        score_variance(tie_sizes(kept), tie_sizes(when))
    )
    low, high = interval_of(slopes, spread)
    return SenSlope(slope, low, high, intercept, slopes.size, confidence)


def interval_of(slopes: NDArray[np.float64], spread: float) -> tuple[float, float]:
    """Bound the median of sorted slopes.

    Parameters
    ----------
    slopes
        Slopes between pairs of points, rising.
    spread
        Quantile of the normal distribution times the standard deviation of S.

    Returns
    -------
    tuple of float
        The lower and the upper limit; NaN where the rank falls outside of the slopes that there are.
    """
    low = _at_rank(slopes, (slopes.size - spread) / 2)
    return low, _at_rank(slopes, (slopes.size + spread) / 2 + 1)


def _sorted_slopes(values: NDArray[np.float64], times: NDArray[np.float64]) -> NDArray[np.float64]:
    earlier, later = pair_indices(values.size)
    run = times[later] - times[earlier]
    apart = run != 0
    rise = values[later] - values[earlier]
    return np.sort(rise[apart] / run[apart])


def _median(ordered: NDArray[np.float64]) -> float:
    # np.median sorts again and checks for NaN; over ten thousand short series that is most of the time.
    middle = ordered.size // 2
    if ordered.size % 2:
        return float(ordered[middle])
    return float((ordered[middle - 1] + ordered[middle]) / 2)


def _at_rank(ordered: NDArray[np.float64], rank: float) -> float:
    if not 1 <= rank <= ordered.size:
        return math.nan
    below = math.floor(rank)
    above = min(below + 1, ordered.size)
    lower, upper = float(ordered[below - 1]), float(ordered[above - 1])
    return lower + (rank - below) * (upper - lower)
