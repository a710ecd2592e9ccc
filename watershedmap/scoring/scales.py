"""Multimetric indices: metrics put on one scale, and added up.

Two scales are known. On the scale 1-3-5 two cut points part the range of a metric: 5 as in the best streams,
3 between, 1 far from them. On the scale 0-100 a metric runs in a straight line from its floor, worth 0, to
its ceiling, worth 100, and no further::

    100 * (value - floor) / (ceiling - floor)       held between 0 and 100

Where low values are good the ceiling is the smaller number. Floor and ceiling are given, or are percentiles
of a set of samples: the 95th as ceiling of what falls with disturbance, the 5th of what rises.

Source: Barbour and others 1999, Rapid Bioassessment Protocols, EPA 841-B-99-002, chapter 9; the line for
metrics that rise with disturbance, 100 * (max - value) / (max - p5), from memory.

Rules of this package, no source:

- printed tables of cut points leave gaps ("[50,75)" and ">75": where is 75?) and share ends. Each cut point
  belongs to one side, the better unless the definition says `worse`;
- a value within a billionth of a cut point is at it: percentages are fractions, and 100 * 0.29 is not 29;
- a sample without a value of one metric has no score: a sum over fewer metrics is another index.

Bias: percentiles of the samples at hand make scores relative to them: more samples, other scores. An index
that is to be compared between years needs floors and ceilings that are given.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Final, Literal

import numpy as np
import pandas as pd

from watershedmap.errors import Fault, SurveyError
from watershedmap.scoring.classes import Index
from watershedmap.scoring.reference import find_percentile

if TYPE_CHECKING:
    from collections.abc import Sequence

    import numpy.typing as npt

    Floats = npt.NDArray[np.float64]

_NOISE: Final = 1e-9


@dataclass(frozen=True, slots=True)
class CutPoints:
    """A metric on the scale 1-3-5."""

    metric: str
    """Name of the metric or index."""
    better: Literal["low", "high"]
    """The end at which condition is better."""
    cuts: tuple[float, float]
    """Between 5 and 3, and between 3 and 1, in the unit of the metric."""
    to_better: tuple[bool, bool] = (True, True)
    """Whether a value at each cut point gets the better of the two scores."""

    @property
    def span(self) -> tuple[float, float]:
        """Lowest and highest score."""
        return (1.0, 5.0)

    def rate(self, values: pd.Series) -> pd.Series:
        """Give each value its score.

        Parameters
        ----------
        values
            Values of the metric; NaN stays NaN.

        Returns
        -------
        pandas.Series
            1, 3 or 5 on the same index.
        """
        sign = 1.0 if self.better == "high" else -1.0
        numbers = sign * values.to_numpy(dtype=np.float64, na_value=np.nan)
        score = np.ones(len(numbers))
        for cut, inside in zip(self.cuts, self.to_better, strict=True):
            edge = sign * cut - _NOISE if inside else sign * cut + _NOISE
            score += 2.0 * (numbers >= edge)
        return pd.Series(np.where(np.isnan(numbers), np.nan, score), index=values.index, name=values.name)


@dataclass(frozen=True, slots=True)
class Percentile:
    """An end of a scale that is taken from a set of samples."""

    percent: float
    """0 to 100."""


@dataclass(frozen=True, slots=True)
class Ramp:
    """A metric on the scale 0-100."""

    metric: str
    """Name of the metric or index."""
    better: Literal["low", "high"]
    """The end at which condition is better."""
    floor: float | Percentile
    """Value that is worth 0."""
    ceiling: float | Percentile
    """Value that is worth 100."""

    @property
    def span(self) -> tuple[float, float]:
        """Lowest and highest score."""
        return (0.0, 100.0)

    def rate(self, values: pd.Series) -> pd.Series:
        """Give each value its score.

        Parameters
        ----------
        values
            Values of the metric; NaN stays NaN.

        Returns
        -------
        pandas.Series
            0 to 100 on the same index.

        Raises
        ------
        TypeError
            Floor or ceiling is a percentile that was not yet taken from samples.
        """
        if isinstance(self.floor, Percentile) or isinstance(self.ceiling, Percentile):
            raise TypeError(f"{self.metric}: take the percentiles from samples first")
        share = (values.astype("float64") - self.floor) / (self.ceiling - self.floor)
        return (100.0 * share).clip(0.0, 100.0)


@dataclass(frozen=True, slots=True, kw_only=True)
class MultimetricIndex(Index):
    """An index that a definition file makes of several metrics; high is good.

    Raises
    ------
    ValueError
        The classes do not make one unbroken scale from best to worst.
    """

    metrics: tuple[CutPoints | Ramp, ...]
    """Its metrics, each with its scale."""
    combination: Literal["sum", "mean"]
    """How the scores of the metrics become one."""
    percentile_type: int = 7
    """Type of percentile, 6 or 7."""
    percentile_samples: tuple[str, ...] = ()
    """Samples that percentiles are taken from; empty for all."""
    file: str = ""
    """Definition file, as named in survey.toml."""


def fix_percentiles(definition: MultimetricIndex, values: pd.DataFrame) -> MultimetricIndex:
    """Take the percentiles of a definition from samples.

    Parameters
    ----------
    definition
        The index.
    values
        Its metrics (columns) by sample_id.

    Returns
    -------
    MultimetricIndex
        With a number for every floor and ceiling; the definition itself where it has no percentile.

    Raises
    ------
    SurveyError
        A sample that the definition names is not there, or floor and ceiling come out in the wrong order or
        the same.
    """
    ramps = [item for item in definition.metrics if isinstance(item, Ramp)]
    if not any(isinstance(end, Percentile) for item in ramps for end in (item.floor, item.ceiling)):
        return definition
    absent = [name for name in definition.percentile_samples if name not in values.index]
    if absent:
        fix = "write the ids as in the table of samples, and only of samples that have counts"
        problem = "percentiles are to be taken from samples that are not there"
        shown = ", ".join(absent)
        raise SurveyError([Fault(definition.file, None, "percentiles.samples", shown, problem, fix)])
    chosen = values.loc[list(definition.percentile_samples)] if definition.percentile_samples else values
    fixed = tuple(_fix(item, chosen, definition.percentile_type) for item in definition.metrics)
    faults = [
        _collapsed(definition.file, number, item)
        for number, item in enumerate(fixed, start=1)
        if isinstance(item, Ramp) and not _runs_right(item)
    ]
    if faults:
        raise SurveyError(faults)
    return replace(definition, metrics=fixed)


def rate_metrics(definition: MultimetricIndex, values: pd.DataFrame) -> pd.DataFrame:
    """Give each metric of each sample its score on the metric's own scale.

    Parameters
    ----------
    definition
        The index.
    values
        Its metrics (columns) by sample_id.

    Returns
    -------
    pandas.DataFrame
        One column a metric, in the order of the definition, on the same index.

    Raises
    ------
    SurveyError
        As for `fix_percentiles`.
    """
    fixed = fix_percentiles(definition, values)
    columns = {item.metric: item.rate(values[item.metric]) for item in fixed.metrics}
    return pd.DataFrame(columns, index=values.index)


def combine_scores(definition: MultimetricIndex, rated: pd.DataFrame) -> pd.Series:
    """Bring the scores of the metrics together.

    Parameters
    ----------
    definition
        The index.
    rated
        As from `rate_metrics`.

    Returns
    -------
    pandas.Series
        The index of each sample, named `score`, not rounded; NaN where one metric has no score.
    """
    total = rated.sum(axis="columns", skipna=False)
    score = total / len(definition.metrics) if definition.combination == "mean" else total
    return score.astype("float64").rename("score")


def find_span(metrics: Sequence[CutPoints | Ramp], combination: str) -> tuple[float, float]:
    """Find the lowest and the highest score an index can have.

    Parameters
    ----------
    metrics
        Its metrics, at least one.
    combination
        `sum` or `mean`.

    Returns
    -------
    tuple of float
        Lowest and highest.
    """
    parts = len(metrics) if combination == "mean" else 1
    return (
        sum(item.span[0] for item in metrics) / parts,
        sum(item.span[1] for item in metrics) / parts,
    )


def _fix(item: CutPoints | Ramp, values: pd.DataFrame, kind: int) -> CutPoints | Ramp:
    if isinstance(item, CutPoints):
        return item
    ends = [
        find_percentile(values[item.metric], end.percent, kind=kind) if isinstance(end, Percentile) else end
        for end in (item.floor, item.ceiling)
    ]
    return replace(item, floor=ends[0], ceiling=ends[1])


def _runs_right(item: Ramp) -> bool:
    if isinstance(item.floor, Percentile) or isinstance(item.ceiling, Percentile):
        return False
    sign = 1 if item.better == "high" else -1
    return sign * (item.ceiling - item.floor) > 0


def _collapsed(file: str, number: int, item: Ramp) -> Fault:
    return Fault(
        file,
        None,
        f"metrics {number}",
        item.metric,
        f"in these samples the floor ({item.floor:g}) and the ceiling ({item.ceiling:g}) leave no room "
        f"between them on a metric of which {item.better} is good",
        "take the percentiles from more samples, or write numbers for floor and ceiling",
    )
