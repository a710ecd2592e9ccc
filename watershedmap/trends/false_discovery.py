"""Many tests at once: how many of the findings may be false.

Definition
    Of m p-values, sorted, the i-th is adjusted to the smallest ``m * p_j / j`` over j >= i, at most 1.
    Findings whose adjusted value is at most q hold at false discovery rate q: among them, on average, no more
    than that share is false.

Source
    Benjamini and Hochberg 1995, J. R. Statist. Soc. B 57:289-300; that it also holds under positive
    dependence: Benjamini and Yekutieli 2001, Annals of Statistics 29:1165-1188 (from memory).

Known bias
    The rate is an average over many surveys, not a promise for this one. Where tests depend on each other in
    other ways than positively, it can be exceeded. Exact tests of short series cannot give a small p-value,
    so that among many of them nothing may hold although something is there.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import ArrayLike, NDArray


def adjust_p_values(p_values: ArrayLike) -> NDArray[np.float64]:
    """Adjust p-values for being many, after Benjamini and Hochberg.

    Parameters
    ----------
    p_values
        One-dimensional, each between 0 and 1. NaN where nothing was tested.

    Returns
    -------
    numpy.ndarray
        The adjusted p-values, in the order given. NaN stays NaN and does not count as a test.

    Raises
    ------
    ValueError
        If a p-value lies outside of 0 to 1.
    """
    given = np.asarray(p_values, dtype=np.float64)
    adjusted = np.full(given.shape, np.nan)
    tested = np.flatnonzero(~np.isnan(given))
    falling = tested[np.argsort(-given[tested], kind="stable")]
    if not falling.size:
        return adjusted
    if given[falling[0]] > 1 or given[falling[-1]] < 0:
        raise ValueError("p-values must lie between 0 and 1")
    ranks = np.arange(falling.size, 0, -1)
    adjusted[falling] = np.minimum(np.minimum.accumulate(given[falling] * (falling.size / ranks)), 1.0)
    return adjusted
