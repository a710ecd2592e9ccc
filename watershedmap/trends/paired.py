"""Paired tests: whether two places differ that were visited in the same years.

Definition
    Of n differences the sign test counts how many are positive among those that are not 0; its p-value is
    binomial with a half. The signed-rank test ranks the differences by size, zeros among them and ties by
    their mean rank, then drops the ranks of the zeros: ``W+`` is the sum of the ranks of the positive ones.
    Up to `EXACT_UP_TO` differences its p-value is exact, over all ways to give signs to the ranks that are
    there, ties and zeros included; beyond, it is normal with variance ``sum(rank ** 2) / 4`` and a continuity
    correction of one half. Two-sided p-values are twice the smaller of the two one-sided ones. The
    Hodges-Lehmann estimate is the median of the n (n + 1) / 2 Walsh averages ``(d_i + d_j) / 2``, i <= j. Its
    limits are the k-th smallest and k-th largest of them, with the largest k for which ``P(W+ <= k - 1) <= (1
    - confidence) / 2`` for n untied differences.

Source
    Wilcoxon 1945, Biometrics Bulletin 1:80-83; zeros: Pratt 1959, JASA 54:655-667 (zeros are ranked, so that
    a zero can never make the evidence stronger); estimate and limits: Hodges and Lehmann 1963, Ann. Math.
    Stat. 34:598-611; Hollander and Wolfe, Nonparametric Statistical Methods, section 3.3 (from memory).

Known bias
    The signed-rank test and the estimate take the differences as scattered evenly about their middle; the
    sign test does not. All take the differences as independent, which successive years may not be. Few pairs
    cannot give a small p-value: five never less than 0.0625. With ties the limits cover more than asked for.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache
from statistics import NormalDist
from typing import TYPE_CHECKING, Literal

import numpy as np
from scipy.stats import rankdata

if TYPE_CHECKING:
    from numpy.typing import ArrayLike, NDArray

PairedMethod = Literal["exact", "normal", "none"]

EXACT_UP_TO = 50
"""Most differences that get exact p-values and limits: up to here all counts are whole in a float."""


@dataclass(frozen=True, slots=True)
class PairedResult:
    """What a paired test found."""

    n: int
    """Differences used: the finite ones, zeros among them."""
    n_zero: int
    """How many of them are 0."""
    statistic: float
    """Positive differences (sign test), or the sum of their ranks (signed-rank test)."""
    expected: float
    """What the statistic is on average when there is no difference."""
    p_greater: float
    """One-sided probability of a statistic at least as large without any difference; NaN without a pair."""
    p_less: float
    """One-sided probability of a statistic at most as large; NaN without a pair."""
    p_value: float
    """Two-sided; NaN without a pair, 1 when all differences are 0."""
    method: PairedMethod
    """How the p-values were reached: `exact`, `normal`, or `none` without a pair."""


@dataclass(frozen=True, slots=True)
class Shift:
    """A typical difference and its interval."""

    estimate: float
    """Hodges-Lehmann estimate, in the unit of the differences; NaN without any."""
    low: float
    """Lower limit; NaN when there are too few differences for this confidence."""
    high: float
    """Upper limit; NaN when there are too few differences for this confidence."""
    n: int
    """Differences used."""
    confidence: float
    """Two-sided confidence asked for, between 0 and 1; the limits cover at least that much."""

    def __post_init__(self) -> None:
        """Hold the order of the limits."""
        if self.low > self.high:
            raise ValueError(f"the lower limit {self.low} is above the upper limit {self.high}")


def sign_test(differences: ArrayLike) -> PairedResult:
    """Test whether positive and negative differences are equally many.

    Parameters
    ----------
    differences
        One difference a pair; those that are not finite are left out, those that are 0 count for neither.

    Returns
    -------
    PairedResult
        The statistic is the number of positive differences.
    """
    kept = _keep_finite(differences)
    if not kept.size:
        return _nothing_tested()
    above, below = int((kept > 0).sum()), int((kept < 0).sum())
    zeros, untied = kept.size - above - below, above + below
    greater, less = _binomial_tail(untied, above), _binomial_tail(untied, below)
    both = min(1.0, 2 * min(greater, less))
    return PairedResult(kept.size, zeros, above, untied / 2, greater, less, both, "exact")


def signed_rank_test(differences: ArrayLike, *, exact_up_to: int = EXACT_UP_TO) -> PairedResult:
    """Test whether differences lie evenly about 0.

    Parameters
    ----------
    differences
        One difference a pair; those that are not finite are left out. Ties are ties only where they are equal
        to the last bit: round before where noise could part them.
    exact_up_to
        Most differences that get exact p-values, at most `EXACT_UP_TO`.

    Returns
    -------
    PairedResult
        The statistic is the sum of the ranks of the positive differences.

    Raises
    ------
    ValueError
        If `exact_up_to` is above `EXACT_UP_TO`.
    """
    if exact_up_to > EXACT_UP_TO:
        raise ValueError(f"exact_up_to must be at most {EXACT_UP_TO}, not {exact_up_to}")
    kept = _keep_finite(differences)
    if not kept.size:
        return _nothing_tested()
    ranks = rankdata(np.abs(kept))[kept != 0]
    statistic, total = float(rankdata(np.abs(kept))[kept > 0].sum()), float(ranks.sum())
    if kept.size <= exact_up_to:
        doubled = tuple(sorted((2 * ranks).astype(int).tolist()))
        ways = _count_sums(doubled)
        reached = round(2 * statistic)
        greater, less = float(ways[reached:].sum()), float(ways[: reached + 1].sum())
        greater, less = greater / 2.0**ranks.size, less / 2.0**ranks.size
    else:
        spread = math.sqrt(float((ranks**2).sum()) / 4)
        greater = _normal_tail(statistic - total / 2, spread)
        less = _normal_tail(total / 2 - statistic, spread)
    both = min(1.0, 2 * min(greater, less))
    method: PairedMethod = "exact" if kept.size <= exact_up_to else "normal"
    zeros = kept.size - ranks.size
    return PairedResult(kept.size, zeros, statistic, total / 2, greater, less, both, method)


def hodges_lehmann(differences: ArrayLike, *, confidence: float = 0.90) -> Shift:
    """Estimate the typical difference, with limits that assume no shape beyond symmetry.

    Parameters
    ----------
    differences
        One difference a pair; those that are not finite are left out.
    confidence
        Two-sided confidence of the limits, between 0 and 1.

    Returns
    -------
    Shift
        Limits are NaN where even the smallest and the largest difference cover less than the confidence: four
        differences or fewer at 90 %, five or fewer at 95 %.

    Raises
    ------
    ValueError
        If `confidence` is not between 0 and 1.
    """
    if not 0 < confidence < 1:
        raise ValueError(f"confidence must lie between 0 and 1, not {confidence}")
    kept = _keep_finite(differences)
    if not kept.size:
        return Shift(math.nan, math.nan, math.nan, 0, confidence)
    first, second = np.triu_indices(kept.size)
    averages = np.sort((kept[first] + kept[second]) / 2)
    rank = _limit_rank(kept.size, confidence)
    low = float(averages[rank - 1]) if rank else math.nan
    high = float(averages[-rank]) if rank else math.nan
    return Shift(float(np.median(averages)), low, high, kept.size, confidence)


def _keep_finite(differences: ArrayLike) -> NDArray[np.float64]:
    given = np.asarray(differences, dtype=np.float64).ravel()
    return given[np.isfinite(given)]


def _nothing_tested() -> PairedResult:
    return PairedResult(0, 0, 0.0, 0.0, math.nan, math.nan, math.nan, "none")


def _binomial_tail(n: int, least: int) -> float:
    """Return the probability of `least` heads or more among n tosses, rounded once."""
    heads = sum(math.comb(n, k) for k in range(least, n + 1))
    return float(heads / (1 << n))


def _normal_tail(excess: float, spread: float) -> float:
    """Return P(Z >= excess) with continuity correction; 1 where nothing can vary."""
    if spread == 0:
        return 1.0
    return math.erfc((excess - 0.5) / spread / math.sqrt(2)) / 2


@lru_cache(maxsize=1024)
def _count_sums(numbers: tuple[int, ...]) -> NDArray[np.float64]:
    """Count the subsets of whole numbers by their sum; up to 2 ** 50 of them, so that each count is whole."""
    ways = np.zeros(sum(numbers) + 1)
    ways[0] = 1.0
    for number in numbers:
        added = ways.copy()
        added[number:] += ways[: ways.size - number]
        ways = added
    ways.flags.writeable = False
    return ways


@lru_cache(maxsize=1024)
def _limit_rank(n: int, confidence: float) -> int:
    """Return which Walsh average from each end is the limit; 0 where none covers enough."""
    tail = (1 - confidence) / 2
    if n > EXACT_UP_TO:
        spread = math.sqrt(n * (n + 1) * (2 * n + 1) / 24)
        return math.floor(n * (n + 1) / 4 + 0.5 - NormalDist().inv_cdf(1 - tail) * spread)
    below = np.cumsum(_count_sums(tuple(range(1, n + 1)))) / 2.0**n
    return int(np.searchsorted(below, tail * (1 + _NOISE), side="right"))


_NOISE = 1e-12  # 1 - 0.9375 is not the half of a sixteenth to the last bit
