"""The probability of each class of an index, given how a score is distributed.

A class is reached by rounding first (see `watershedmap.scoring.classes`), so its edge lies half a unit of
the last decimal beyond its limit: a limit of 4.25 with two decimals ends at 4.255. The probability of a
class is that of the values between its edges. It is to be read as the confidence that the true value lies
in that class, given the score and the error alone; nothing else that is known of the stream enters it.

The rule of the edges is common practice, no source.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import numpy as np
import pandas as pd
from scipy.special import ndtr, stdtr

from watershedmap.scoring.classes import class_rank, classify

if TYPE_CHECKING:
    import numpy.typing as npt

    from watershedmap.scoring.indices import Index

    Floats = npt.NDArray[np.float64]

_NOISE: Final = 1e-9


def class_edges(index: Index) -> Floats:
    """Return the values, rising, at which a class ends once scores are rounded.

    Parameters
    ----------
    index
        The index with its classes.

    Returns
    -------
    numpy.ndarray
        One fewer than there are classes: a value below the edge belongs to the lower class, one at it or
        above to the higher. They are a hair off the half, as the rounding itself is.
    """
    unit = 10.0**-index.decimals
    sign = 1.0 if index.better == "low" else -1.0
    edges = np.sort(np.array(index.limits) + sign * unit / 2)
    return edges - np.sign(edges) * unit * _NOISE


def split_classes(below: Floats, index: Index) -> Floats:
    """Turn probabilities below each edge into those of the classes.

    Parameters
    ----------
    below
        One row a score, one column an edge of `class_edges`; rising along a row, or NaN.
    index
        The index.

    Returns
    -------
    numpy.ndarray
        One row a score, one column a class, from best to worst; each row sums to 1.
    """
    ends = np.concatenate([np.zeros((len(below), 1)), below, np.ones((len(below), 1))], axis=1)
    shares = np.clip(np.diff(ends, axis=1), 0.0, 1.0)
    shares[np.isnan(below).any(axis=1)] = np.nan
    return shares if index.better == "low" else shares[:, ::-1]


def probability_columns(index: Index) -> list[str]:
    """Name the columns of class probabilities.

    Parameters
    ----------
    index
        The index.

    Returns
    -------
    list of str
        probability_1, the best class, to probability_k, the worst.
    """
    return [f"probability_{number + 1}" for number in range(len(index.classes))]


def class_probabilities(
    scores: pd.Series, errors: pd.Series, index: Index, *, freedom: pd.Series | None = None
) -> pd.DataFrame:
    """Return the probability of each class for scores with normal or Student's t errors.

    Parameters
    ----------
    scores
        Scores, index units.
    errors
        Their standard errors, index units; missing gives missing probabilities, 0 gives the class itself.
    index
        The index.
    freedom
        Degrees of freedom of each error; missing ones, or leaving it out, mean the normal distribution.

    Returns
    -------
    pandas.DataFrame
        probability_1 (best class) to probability_k on the rows of `scores`; a row sums to 1 or is missing.
    """
    score, error = _numbers(scores)[:, None], _numbers(errors)[:, None]
    degrees = np.full_like(score, np.nan) if freedom is None else _numbers(freedom)[:, None]
    away = class_edges(index)[None, :] - score
    with np.errstate(divide="ignore", invalid="ignore", over="ignore"):
        ratio = np.where(error > 0, away / error, np.copysign(np.inf, away))
    known = np.where(np.isnan(degrees), 1.0, degrees)
    below = np.where(np.isnan(degrees), ndtr(ratio), stdtr(known, ratio))
    below = np.where(np.isnan(score) | np.isnan(error), np.nan, below)
    return pd.DataFrame(split_classes(below, index), index=scores.index, columns=probability_columns(index))


def class_certainty(scores: pd.Series, probabilities: pd.DataFrame, index: Index) -> pd.Series:
    """Return the probability of the class that each score is stated to have.

    Parameters
    ----------
    scores
        Scores, index units, on the rows of `probabilities`.
    probabilities
        As from `class_probabilities`.
    index
        The index.

    Returns
    -------
    pandas.Series
        0 to 1, named `class_certainty`; missing where the score or its probabilities are.
    """
    rank = class_rank(classify(scores, index), index).to_numpy(dtype=float, na_value=np.nan)
    table = probabilities[probability_columns(index)].to_numpy(dtype=float)
    place = np.where(np.isnan(rank), 0, rank).astype(np.intp)
    found = np.take_along_axis(table, place[:, None], axis=1)[:, 0]
    return pd.Series(np.where(np.isnan(rank), np.nan, found), index=scores.index, name="class_certainty")


def _numbers(values: pd.Series) -> Floats:
    return values.to_numpy(dtype=np.float64, na_value=np.nan)
