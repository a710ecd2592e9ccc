"""How sure a condition is: the interval of a mean and the probability of each class.

The error of a mean of independent parts is the root of the sum of their squares over their number. Where the
parts bring degrees of freedom of their own, the mean has those of Welch and Satterthwaite::

    sum(v)**2 / sum(v**2 / d)        v the variance that a part brings in, d its degrees of freedom

(Satterthwaite 1946, Biometrics Bulletin 2:110-114; Welch 1947, Biometrika 34:28-35; from memory). An error
from counts has no degrees of freedom to lose: its own are taken as infinite, which is written as missing.

Classes go by the rounding rule of the index (`watershedmap.scoring.bands`). `class_certainty` is the
probability of the class that is stated.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import numpy as np
import pandas as pd
from scipy.special import ndtri, stdtrit

from watershedmap.scoring.bands import class_certainty, class_probabilities

if TYPE_CHECKING:
    import numpy.typing as npt

    from watershedmap.scoring.indices import Index

    Floats = npt.NDArray[np.float64]

CONFIDENCE: Final = 0.90
"""Share of intervals that should hold the true value."""
Z: Final = float(ndtri(0.5 + CONFIDENCE / 2))
"""Quantile of the normal distribution that goes with it."""


def bound_mean(
    score: pd.Series,
    error: pd.Series,
    freedom: pd.Series,
    *,
    scale: tuple[float, float] = (-np.inf, np.inf),
) -> pd.DataFrame:
    """Return the 90 % interval of means.

    Parameters
    ----------
    score
        Means, index units.
    error
        Their standard errors; missing where not known.
    freedom
        Degrees of freedom of each error; missing for a normal error.
    scale
        Lowest and highest value that the index can take; the interval is cut there.

    Returns
    -------
    pandas.DataFrame
        On the same rows: score_low, score_high.
    """
    degrees = freedom.to_numpy(dtype=float, na_value=np.nan)
    known = np.isfinite(degrees)
    factor = np.where(known, stdtrit(np.where(known, degrees, 1.0), 0.5 + CONFIDENCE / 2), Z)
    half = factor * error
    return pd.DataFrame(
        {"score_low": (score - half).clip(lower=scale[0]), "score_high": (score + half).clip(upper=scale[1])}
    )


def pool_errors(weight: pd.Series, error: pd.Series, freedom: pd.Series, groups: pd.Series) -> pd.DataFrame:
    """Return the error of weighted means of parts with independent errors.

    Parameters
    ----------
    weight
        Weight of each part; those of a group sum to 1.
    error
        Standard error of each part; one that is missing leaves that of its group unknown.
    freedom
        Its degrees of freedom; missing for a normal error.
    groups
        Group that each part belongs to.

    Returns
    -------
    pandas.DataFrame
        Indexed by group: score_se, score_df (missing for a normal error, or where no part varies).
    """
    variance = (weight * error) ** 2
    parts = pd.DataFrame(
        {
            "variance": variance,
            "square": (variance**2 / freedom).fillna(0.0),
            "unknown": variance.isna(),
        }
    )
    sums = parts.groupby(groups).sum()
    total = sums["variance"].where(sums["unknown"] == 0)
    degrees = (total**2 / sums["square"].where(sums["square"] > 0)).where(total > 0)
    return pd.DataFrame({"score_se": np.sqrt(total), "score_df": degrees})


def rate_classes(frame: pd.DataFrame, index: Index) -> pd.DataFrame:
    """Return the probability of each class and that of the class stated.

    Parameters
    ----------
    frame
        score, score_se, score_df.
    index
        The index.

    Returns
    -------
    pandas.DataFrame
        On the same rows: probability_1 (best class) to probability_k, class_certainty; missing where there is
        no error.
    """
    chances = class_probabilities(frame["score"], frame["score_se"], index, freedom=frame["score_df"])
    return chances.join(class_certainty(frame["score"], chances, index))
