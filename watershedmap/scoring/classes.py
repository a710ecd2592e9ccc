"""Classes: the band of an index that a score lies in.

Class limits are printed with a fixed number of decimals, so a score between two printed limits (3.755 between
3.75 and 3.76) has no class by the letter. The rule here: round the score to the decimals of the index, halves
away from zero, then compare; a limit belongs to the class it ends. So 3.754 is 3.75 and Excellent, 3.755 is
3.76 and Very good.

Source of the limits: the index's own. The rounding rule is common practice, no source.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import numpy as np
import pandas as pd

if TYPE_CHECKING:
    from watershedmap.scoring.indices import Index

_NOISE: Final = 1e-9


def round_half_away(values: pd.Series, decimals: int) -> pd.Series:
    """Round to a number of decimals, halves away from zero.

    A value within a billionth of a unit of the last decimal below a half counts as the half: 1.005 is stored
    a little below itself, and a mean over fewer than five hundred million individuals cannot lie that near
    without being it.

    Parameters
    ----------
    values
        Numbers; NaN stays NaN.
    decimals
        Decimals to keep, 0 or more.

    Returns
    -------
    pandas.Series
        Rounded values as floats, on the same index.
    """
    numbers = values.to_numpy(dtype=np.float64, na_value=np.nan)
    unit = 10.0**decimals
    rounded = np.floor(np.abs(numbers) * unit + 0.5 + _NOISE) / unit
    return pd.Series(np.copysign(rounded, numbers) + 0.0, index=values.index, name=values.name)


def classify(scores: pd.Series, index: Index) -> pd.Series:
    """Find the class of each score.

    Parameters
    ----------
    scores
        Scores of `index`, not rounded.
    index
        The index they belong to.

    Returns
    -------
    pandas.Series
        Labels of classes on the same index, named `class`; missing where the score is.
    """
    rounded = round_half_away(scores, index.decimals).to_numpy()
    sign = 1.0 if index.better == "low" else -1.0
    position = np.searchsorted(sign * np.array(index.limits), sign * rounded, side="left")
    labels = np.array([*index.labels, None], dtype=object)
    position[np.isnan(rounded)] = len(index.classes)
    return pd.Series(labels[position], index=scores.index, name="class", dtype=object)


def class_rank(labels: pd.Series, index: Index) -> pd.Series:
    """Give the rank of each class, from 0, the best, to the worst.

    Parameters
    ----------
    labels
        Labels of classes of `index`; may be missing.
    index
        The index they belong to.

    Returns
    -------
    pandas.Series
        Whole numbers that may be missing (`Int64`), on the same index.

    Raises
    ------
    ValueError
        A label is none of the index's classes.
    """
    ranks = labels.map({label: rank for rank, label in enumerate(index.labels)})
    strange = sorted({str(label) for label in labels[ranks.isna() & labels.notna()]})
    if strange:
        raise ValueError(f"not a class of {index.name}: {', '.join(strange)}")
    return ranks.astype("Float64").astype("Int64")
