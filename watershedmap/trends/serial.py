"""Serial correlation: a high year often follows a high year, and the plain test does not know.

Definition
    The median slope is taken out of the series. Its lag-one correlation is
    ``r = sum (e_t - m)(e_{t+1} - m) / sum (e_t - m) ** 2``. The variance of S is multiplied by
    ``1 + 2 / (n (n - 1)(n - 2)) * sum (n - k)(n - k - 1)(n - k - 2) r_k`` over lags k, and
    ``z = (S - sgn S) / sqrt(that)`` is read from the normal distribution. There are two forms of the ``r_k``.
    `lag one`, which the package uses: ``r_k = R ** k`` with ``R = (n r + 2) / (n - 4)``, which takes out the
    bias that r has in short series, held between 0 and 0.9. `significant lags`, as first published: the
    correlations of the ranks of what is left, at all lags where they lie beyond ``z(0.975) / sqrt(n)``.

Source
    Factor and significant lags: Hamed and Rao 1998, Journal of Hydrology 204:182-196. Bias of r after a trend
    is taken out: van Giersbergen 2005, Statistics and Probability Letters 73:259-267, and Hamed 2009, Journal
    of Hydrology 368:143-155 (both from memory). At least ten years, and the bounds of R: conventions of this
    package. The choice of form rests on a simulation (`tests/trends/test_serial.py` holds a small one): of
    series without trend whose years carry over 0, 0.3 and 0.6, the plain test at 0.05 called 0.06, 0.12 and
    0.21 a trend with 10 years, and 0.05, 0.13 and 0.26 with 20; by significant lags it was 0.08, 0.14, 0.22
    and 0.09, 0.14, 0.27; by lag one 0.03, 0.06, 0.09 and 0.03, 0.06, 0.09.

Known bias
    It is cautious where years are independent, and still a little too ready where they carry over strongly.
    It only ever weakens a finding: negative correlation is not counted. Lags count sampled years: years that
    were left out bring those about them together, which weakens the correlation that is found.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache
from statistics import NormalDist
from typing import TYPE_CHECKING, Final, Literal

import numpy as np
from scipy.stats import rankdata

from watershedmap.trends.kendall import finite_pairs, mann_kendall
from watershedmap.trends.slopes import sen_slope

if TYPE_CHECKING:
    from numpy.typing import ArrayLike, NDArray

    from watershedmap.trends.kendall import KendallResult

MIN_SERIAL_YEARS: Final = 10
"""Nothing is said of the serial correlation of a shorter series."""

Form = Literal["lag one", "significant lags"]
LAG_ONE: Final = "lag one"
SIGNIFICANT_LAGS: Final = "significant lags"

_MOST: Final = 0.9  # beyond, the series is hardly distinguishable from one that wanders off
_BAND: Final = NormalDist().inv_cdf(0.975)
_NOISE_DECIMALS = 9


@dataclass(frozen=True, slots=True)
class SerialResult:
    """The serial correlation of one series, and the trend test that allows for it."""

    n: int
    """Points used."""
    correlation: float
    """Lag-one correlation of the series without its slope; NaN when short, or when nothing is left over."""
    variance: float
    """Corrected variance of S; NaN as above."""
    z: float
    """Standard score of S by the corrected variance; NaN as above, or where that variance is not positive
    (significant lags only)."""
    p_value: float
    """Two-sided; NaN where `z` is."""


def serial_test(
    values: ArrayLike, times: ArrayLike, *, form: Form = LAG_ONE, min_years: int = MIN_SERIAL_YEARS
) -> SerialResult:
    """Test one series for a trend, with the variance corrected for serial correlation.

    Parameters
    ----------
    values
        The series, in any order.
    times
        When each value was observed, years.
    form
        `lag one`, or `significant lags` for the form first published.
    min_years
        Fewest points of which anything is said, 5 or more.

    Returns
    -------
    SerialResult
        Points that lack a finite value or time are left out. All figures are NaN for a short series, for one
        with a time given twice, and for one that its slope explains to the last.

    Raises
    ------
    ValueError
        If the lengths differ, or `min_years` is below 5.
    """
    if min_years < _FEWEST:
        raise ValueError(f"min_years must be at least {_FEWEST}, not {min_years}")
    kept, when = finite_pairs(values, times)
    if kept.size < min_years:
        return SerialResult(kept.size, math.nan, math.nan, math.nan, math.nan)
    test, slope = mann_kendall(kept, times=when), sen_slope(kept, when).slope
    return correct_test(kept, when, test=test, slope=slope, form=form)


def correct_test(
    values: NDArray[np.float64],
    times: NDArray[np.float64],
    *,
    test: KendallResult,
    slope: float,
    form: Form = LAG_ONE,
) -> SerialResult:
    """Correct a trend test that was made for serial correlation.

    Parameters
    ----------
    values, times
        A series without gaps in either, five points or more.
    test
        The plain test of it.
    slope
        Its median slope.
    form
        As for `serial_test`.

    Returns
    -------
    SerialResult
        As for `serial_test`.
    """
    order = np.argsort(times)
    when = times[order]
    rest = np.round(values[order] - slope * when, _NOISE_DECIMALS)
    about = rest - rest.sum() / rest.size
    squares = float(about @ about)
    if (when[1:] == when[:-1]).any() or (rest == rest[0]).all():
        return SerialResult(test.n, math.nan, math.nan, math.nan, math.nan)
    correlation = float(about[1:] @ about[:-1]) / squares
    if form == LAG_ONE:
        unbiased = (test.n * correlation + 2) / (test.n - 4)
        found = min(max(unbiased, 0.0), _MOST) ** np.arange(1, test.n)
    else:
        found = _correlations(np.asarray(rankdata(rest), dtype=np.float64))
        found = np.where(np.abs(found) > _BAND / math.sqrt(test.n), found, 0.0)
    variance = test.variance * _inflation(found)
    if not variance > 0:
        return SerialResult(test.n, correlation, variance, math.nan, math.nan)
    z = (test.s - math.copysign(1, test.s)) / math.sqrt(variance) if test.s else 0.0
    return SerialResult(test.n, correlation, variance, z, math.erfc(abs(z) / math.sqrt(2)))


_FEWEST = 5  # the correction of the correlation divides by (n - 4)


def _correlations(series: NDArray[np.float64]) -> NDArray[np.float64]:
    """Return the correlations at lags 1, 2, ... n - 1."""
    about = series - series.mean()
    products = np.asarray(np.correlate(about, about, "full"), dtype=np.float64)[series.size - 1 :]
    found: NDArray[np.float64] = products[1:] / products[0]
    return found


def _inflation(correlations: NDArray[np.floating]) -> float:
    """Return by how much the variance of S is to be multiplied, from the correlations at lags 1 to n - 1."""
    return 1.0 + float(_lag_weights(correlations.size + 1) @ correlations)


@lru_cache(maxsize=256)
def _lag_weights(n: int) -> NDArray[np.float64]:
    """Return what a correlation at each lag, 1 to n - 1, adds to the variance of S over n points."""
    left = n - np.arange(1.0, n)
    weight: NDArray[np.float64] = 2 / (n * (n - 1) * (n - 2)) * left * (left - 1) * (left - 2)
    weight.flags.writeable = False
    return weight
