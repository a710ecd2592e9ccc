"""Classes: an index is one unbroken scale of classes, and a score lies in one of them.

Class limits are printed with a fixed number of decimals, so a score between two printed limits (3.755 between
3.75 and 3.76) has no class by the letter. The rule here: round the score to the decimals of the index, halves
away from zero, then compare; a limit belongs to the class it ends. So 3.754 is 3.75 and Excellent, 3.755 is
3.76 and Very good.

Where a source leaves the limit itself to the worse class ("good above 40, fair 20 to 40"), the better class
ends one unit of the last decimal further up: with one decimal at 40.1. Scores are rounded before they are
compared, so that says the same, and there is one kind of limit everywhere.

Source of the limits: the index's own. The rounding rule is common practice, no source.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from itertools import pairwise
from typing import Final, Literal

import numpy as np
import pandas as pd

_NOISE: Final = 1e-9
_FEWEST_CLASSES: Final = 2


@dataclass(frozen=True, slots=True)
class IndexClass:
    """One band of an index."""

    label: str
    """Name of the class, in the words of the index's source."""
    limit: float | None
    """Value at its worse end, which belongs to it; None for the worst class, which is open."""
    meaning: str
    """What it says of the stream."""


@dataclass(frozen=True, slots=True)
class Index:
    """A published index, with its direction and classes.

    Raises
    ------
    ValueError
        The classes do not make one unbroken scale from best to worst.
    """

    name: str
    """Name in settings and files."""
    label: str
    """What a reader calls it."""
    unit: str
    """Unit of its values; empty for a number without one."""
    better: Literal["low", "high"]
    """The end of the scale at which condition is better."""
    decimals: int
    """Decimals of its class limits: scores are rounded to them before they are compared."""
    classes: tuple[IndexClass, ...]
    """Classes from best to worst."""
    source: str
    """Where index and classes were published."""
    scale: tuple[float, float] = (-math.inf, math.inf)
    """Lowest and highest value that it can take."""

    def __post_init__(self) -> None:
        """Refuse classes that leave a gap, overlap, or share a name."""
        for problem in _find_problems(self):
            raise ValueError(f"index {self.name!r}: {problem}")

    @property
    def labels(self) -> tuple[str, ...]:
        """Labels of the classes, from best to worst."""
        return tuple(one.label for one in self.classes)

    @property
    def limits(self) -> tuple[float, ...]:
        """Limits of all classes but the last, from best to worst."""
        return tuple(one.limit for one in self.classes if one.limit is not None)


def _find_problems(index: Index) -> list[str]:
    limits = index.limits
    rising = [later - earlier for earlier, later in pairwise(limits)]
    sign = 1 if index.better == "low" else -1
    checks = {
        "better is neither 'low' nor 'high'": index.better in ("low", "high"),
        "decimals are below zero": index.decimals >= 0,
        "there are fewer than two classes": len(index.classes) >= _FEWEST_CLASSES,
        "a class has no label": all(index.labels),
        "two classes share a label": len(set(index.labels)) == len(index.labels),
        "only the last class has no limit, and it has none": (
            [one.limit is None for one in index.classes] == [*[False] * (len(index.classes) - 1), True]
        ),
        "a limit is not a finite number": all(map(math.isfinite, limits)),
        "limits do not run strictly from best to worst": all(sign * step > 0 for step in rising),
        "a limit has more decimals than the index": all(
            round(limit, index.decimals) == limit for limit in limits
        ),
    }
    return [problem for problem, holds in checks.items() if not holds]


def move_open_limit(limit: float, *, better: Literal["low", "high"], decimals: int) -> float:
    """Find the limit that leaves a printed one to the worse class.

    Parameters
    ----------
    limit
        The printed limit, which the better class does not reach.
    better
        The end of the scale at which condition is better.
    decimals
        Decimals that scores are rounded to.

    Returns
    -------
    float
        The limit one unit of the last decimal towards the better end.
    """
    step = 10.0**-decimals
    return round(limit + (step if better == "high" else -step), decimals)


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


def write_rounded(value: float, decimals: int) -> str:
    """Write one number as tables and classes round it.

    Parameters
    ----------
    value
        A number that is not missing.
    decimals
        Decimals to write, 0 or more.

    Returns
    -------
    str
        With all its decimals.
    """
    return f"{round_half_away(pd.Series([value]), decimals).iloc[0]:.{decimals}f}"


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
