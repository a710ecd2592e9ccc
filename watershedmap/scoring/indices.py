"""Indices: published ways to turn a sample into one number with classes.

The family biotic index is the mean tolerance of the arthropods of a sample, each individual weighing the
same::

    sum(n * t) / sum(n)        over families with a tolerance value t, n their individuals

Source: Hilsenhoff W.L. 1988, Rapid field assessment of organic pollution with a family-level biotic index,
Journal of the North American Benthological Society 7(1):65-68; rule, tolerance values and class limits from
memory. Animals without a value (worms, leeches, snails, clams, flatworms, families the table leaves out,
animals named to an order only) stay out of both sums. The source expects 100 arthropods or more in a sample.

Bias: a family-level index reads more polluted in clean streams and less polluted in polluted ones than the
index of genera and species (Hilsenhoff 1988, abstract). It was made for organic pollution and says little of
other harm.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from itertools import pairwise
from types import MappingProxyType
from typing import TYPE_CHECKING, Final, Literal

import numpy as np
import pandas as pd

from watershedmap.scoring.tally import divide, make_tally

if TYPE_CHECKING:
    from collections.abc import Mapping

_FEWEST_CLASSES = 2


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


FAMILY_BIOTIC_INDEX: Final = Index(
    name="family_biotic_index",
    label="Family biotic index",
    unit="",
    better="low",
    decimals=2,
    classes=(
        IndexClass("Excellent", 3.75, "organic pollution unlikely"),
        IndexClass("Very good", 4.25, "possible slight organic pollution"),
        IndexClass("Good", 5.00, "some organic pollution probable"),
        IndexClass("Fair", 5.75, "fairly substantial organic pollution likely"),
        IndexClass("Fairly poor", 6.50, "substantial organic pollution likely"),
        IndexClass("Poor", 7.25, "very substantial organic pollution likely"),
        IndexClass("Very poor", None, "severe organic pollution likely"),
    ),
    source=(
        "Hilsenhoff 1988, Journal of the North American Benthological Society 7(1):65-68; class limits and "
        "tolerance values from memory"
    ),
    scale=(0.0, 10.0),
)
"""The family biotic index of 1988: 0 (best) to 10 (worst)."""

INDICES: Final[Mapping[str, Index]] = MappingProxyType({FAMILY_BIOTIC_INDEX.name: FAMILY_BIOTIC_INDEX})
"""The built-in indices by name."""


def family_biotic_index(counts: pd.DataFrame, taxa: pd.DataFrame) -> pd.DataFrame:
    """Compute the family biotic index of every sample that has counts.

    It is the mean tolerance over individuals that have a tolerance value (Hilsenhoff 1988, from memory).
    Bias: it reads more polluted in clean streams and less polluted in polluted ones than the index of genera
    and species (Hilsenhoff 1988, abstract).

    Parameters
    ----------
    counts
        sample_id, taxon (as written), count (0 or more).
    taxa
        What the names stand for, as from `watershedmap.taxa.resolve`.

    Returns
    -------
    pandas.DataFrame
        Indexed by sample_id (sorted): score (0 best to 10 worst, not rounded; NaN when no individual has a
        tolerance value), scored_individuals and individuals_without_tolerance, which together are all
        individuals.

    Raises
    ------
    ValueError
        A name in `counts` is not among `taxa`, or a count is missing or below zero.
    """
    tally = make_tally(counts, taxa)
    tolerance = tally.of_taxon("tolerance").astype(np.float64)
    scored = np.isfinite(tolerance)
    weighted = tally.sum_by_sample(tally.individuals * np.where(scored, tolerance, 0.0))
    individuals = tally.sum_by_sample(tally.individuals * scored)
    others = tally.sum_by_sample(tally.individuals * ~scored)
    return pd.DataFrame(
        {
            "score": divide(weighted, individuals),
            "scored_individuals": np.rint(individuals).astype(np.int64),
            "individuals_without_tolerance": np.rint(others).astype(np.int64),
        },
        index=tally.samples,
    )
