"""The Mann-Kendall test: whether a series rises or falls more steadily than chance would have it.

Definition
    ``S`` is the sum over all pairs of ``sgn(x_j - x_i) * sgn(t_j - t_i)``; a pair tied in time counts 0.
    ``Var S`` is Kendall's, corrected for ties in the values and, in its longer form, for ties in time.
    ``z = (S - sgn S) / sqrt(Var S)``, and 0 where ``S`` is 0. ``tau`` is tau-a, ``S / (n (n - 1) / 2)``.
    The p-value is two-sided. For short series it is exact, ``P(|S| >= |s|)`` over all orders of the observed
    values, ties included: with ``T`` untied pairs, ``S = T - 2 * inversions``, and the inversions of the
    orders of a multiset are counted by the coefficients of the q-multinomial.

Source
    Mann 1945, Econometrica 13:245; Kendall, Rank Correlation Methods (4th ed. 1975); Gilbert, Statistical
    Methods for Environmental Pollution Monitoring (1987), chapter 16; MacMahon, Combinatory Analysis (1915),
    for inversions of a multiset.

Known bias
    Years are taken as independent. Where a high year tends to follow a high year the p-value is too small. In
    short series it cannot become small at all: four distinct years never reach 0.05.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache
from typing import TYPE_CHECKING, Literal

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import ArrayLike, NDArray

Method = Literal["exact", "normal", "none"]

MIN_PAIRED = 2
"""Fewer points than this have no pair to compare."""


@dataclass(frozen=True, slots=True)
class KendallResult:
    """What the test found in one series."""

    n: int
    """Points used: those with both a value and a time."""
    s: int
    """Rising pairs less falling pairs."""
    variance: float
    """Variance of `s` when there is no trend, corrected for ties; 0 below two points."""
    z: float
    """Standard score of `s` with continuity correction; NaN below two points."""
    p_value: float
    """Two-sided probability of an `s` at least this far from 0 without any trend; NaN below two points."""
    tau: float
    """Kendall's tau-a, -1 to 1; ties hold it away from the ends; NaN below two points."""
    method: Method
    """How the p-value was reached: `exact`, `normal`, or `none` when there was nothing to test."""

    def __post_init__(self) -> None:
        """Hold the bounds that no series can leave."""
        if abs(self.s) > self.n * (self.n - 1) // 2:
            raise ValueError(f"|s| = {abs(self.s)} is more than the pairs among {self.n} points")
        if self.variance < 0:
            raise ValueError(f"the variance is negative: {self.variance}")


def mann_kendall(
    values: ArrayLike, *, times: ArrayLike | None = None, exact_up_to: int = 10
) -> KendallResult:
    """Test one series for a steady rise or fall.

    Parameters
    ----------
    values
        The series, in any order.
    times
        When each value was observed, in any unit; the order of `values` when left out.
    exact_up_to
        Longest series that gets the exact p-value. Points tied in time get the normal approximation anyhow.

    Returns
    -------
    KendallResult
        Pairs that lack a finite value or time are left out. All values equal: `s` 0 and p 1. Below two points
        there is nothing to test: `s` 0, `variance` 0, everything else NaN, method `none`.

    Raises
    ------
    ValueError
        If `values` and `times` differ in length.
    """
    kept, when = finite_pairs(values, times)
    n = kept.size
    if n < MIN_PAIRED:
        return KendallResult(n, 0, 0.0, math.nan, math.nan, math.nan, "none")
    value_ties, time_ties = tie_sizes(kept), tie_sizes(when)
    s = _score(kept, when)
    variance = score_variance(value_ties, time_ties)
    z = (s - math.copysign(1, s)) / math.sqrt(variance) if s else 0.0
    exact = n <= exact_up_to and len(time_ties) == n
    p_value = exact_p_value(value_ties, abs(s)) if exact else math.erfc(abs(z) / math.sqrt(2))
    tau = 2 * s / (n * (n - 1))
    return KendallResult(n, s, variance, z, p_value, tau, "exact" if exact else "normal")


def finite_pairs(
    values: ArrayLike, times: ArrayLike | None = None
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Keep the points that have both a value and a time.

    Parameters
    ----------
    values
        The series.
    times
        When each was observed; 0, 1, 2, ... when left out.

    Returns
    -------
    tuple of arrays
        Values and times of the same length, in the order given.

    Raises
    ------
    ValueError
        If the two differ in length.
    """
    observed = np.asarray(values, dtype=np.float64).ravel()
    when = (
        np.arange(observed.size, dtype=np.float64)
        if times is None
        else np.asarray(times, dtype=np.float64).ravel()
    )
    if observed.size != when.size:
        raise ValueError(f"{observed.size} values but {when.size} times; each value needs its time")
    finite = np.isfinite(observed) & np.isfinite(when)
    return observed[finite], when[finite]


def tie_sizes(values: NDArray[np.float64]) -> tuple[int, ...]:
    """Count how often each distinct value occurs.

    Parameters
    ----------
    values
        Any finite numbers.

    Returns
    -------
    tuple of int
        One count a distinct value, rising, so that equal patterns of ties compare equal.
    """
    counts = np.unique(values, return_counts=True)[1]
    return tuple(sorted(counts.tolist()))


def score_variance(value_ties: tuple[int, ...], time_ties: tuple[int, ...]) -> float:
    """Compute the variance of S without a trend, by Kendall's form for ties in both rankings.

    Parameters
    ----------
    value_ties
        How often each distinct value occurs.
    time_ties
        How often each distinct time occurs.

    Returns
    -------
    float
        Zero when either ranking is one single tie.
    """
    n = sum(value_ties)
    main = n * (n - 1) * (2 * n + 5)
    main -= sum(t * (t - 1) * (2 * t + 5) for t in (*value_ties, *time_ties))
    pairs = _falling(value_ties, 2) * _falling(time_ties, 2)
    triples = _falling(value_ties, 3) * _falling(time_ties, 3)
    variance = main / 18
    variance += pairs / (2 * n * (n - 1)) if pairs else 0.0
    variance += triples / (9 * n * (n - 1) * (n - 2)) if triples else 0.0
    return max(variance, 0.0)


@lru_cache(maxsize=4096)
def exact_p_value(value_ties: tuple[int, ...], s: int) -> float:
    """Compute P(|S| >= s) over all orders of values with the given ties, at distinct times.

    Parameters
    ----------
    value_ties
        How often each distinct value occurs.
    s
        The absolute value of the observed S.

    Returns
    -------
    float
        A ratio of two whole numbers, rounded once.
    """
    orders = inversion_counts(value_ties)
    untied = len(orders) - 1
    extreme = sum(count for k, count in enumerate(orders) if abs(untied - 2 * k) >= s)
    return extreme / sum(orders)


@lru_cache(maxsize=1024)
def inversion_counts(value_ties: tuple[int, ...]) -> tuple[int, ...]:
    """Count the orders of a multiset by their number of inversions.

    Parameters
    ----------
    value_ties
        How often each distinct value occurs.

    Returns
    -------
    tuple of int
        At position k the number of distinct orders with k inversions: the coefficients of the q-multinomial
        ``[n]! / ([t_1]! [t_2]! ...)``. The last position is the number of untied pairs.
    """
    n = sum(value_ties)
    untied = (n * n - sum(t * t for t in value_ties)) // 2
    counts = [1] + [0] * untied
    for power in range(1, n + 1):  # times (1 - q^power), highest term first so that each is used unchanged
        for k in range(untied, power - 1, -1):
            counts[k] -= counts[k - power]
    for power in (p for t in value_ties for p in range(1, t + 1)):  # divided by (1 - q^power)
        for k in range(power, untied + 1):
            counts[k] += counts[k - power]
    return tuple(counts)


@lru_cache(maxsize=256)
def pair_indices(n: int) -> tuple[NDArray[np.intp], NDArray[np.intp]]:
    """Name every pair among n points once.

    Parameters
    ----------
    n
        Number of points.

    Returns
    -------
    tuple of arrays
        Positions of the earlier and of the later point of each pair, read-only because they are shared.
    """
    earlier, later = np.triu_indices(n, 1)
    earlier.flags.writeable = False
    later.flags.writeable = False
    return earlier, later


def _score(values: NDArray[np.float64], times: NDArray[np.float64]) -> int:
    earlier, later = pair_indices(values.size)
    rises = np.sign(values[later] - values[earlier]) * np.sign(times[later] - times[earlier])
    return int(rises.sum())


def _falling(ties: tuple[int, ...], order: int) -> int:
    return sum(math.perm(t, order) for t in ties)
