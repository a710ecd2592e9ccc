"""The error seen between replicates beside the one that the counts foretell.

Replicates are samples of one site, date and method. The spread of their scores about the mean of their group,
pooled over groups by degrees of freedom, is the observed error of a single sample; the root mean square of
their standard errors, weighted alike, is the predicted one::

    observed**2  = sum over groups of sum((score - mean)**2) / sum(m - 1)
    predicted**2 = sum over groups of (m - 1) * mean(score_se**2) / sum(m - 1)

The ratio has the interval ``ratio * sqrt(d / chi2(d, 0.95))`` to ``ratio * sqrt(d / chi2(d, 0.05))`` with d
degrees of freedom (90 %), the usual one of a standard deviation with normal errors (common practice, no
source). It takes the predicted error as known.

A ratio of 1 says that counting explains all of the difference between replicates. Above 1, animals come in
clumps or the site is patchy, and intervals from the counts are too narrow by about that factor. Below 1 with
an interval that leaves 1 out, replicates are more alike than independent samples can be: see whether they are
parts of one sample.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from scipy.special import chdtri

if TYPE_CHECKING:
    import pandas as pd

GROUP = ("site_id", "date", "method")


@dataclass(frozen=True, slots=True, kw_only=True)
class ReplicateComparison:
    """Observed and predicted error of a single sample."""

    groups: int
    """Groups of one site, date and method with two samples or more."""
    samples: int
    """Samples in them."""
    degrees_of_freedom: int
    """Samples less groups."""
    observed_sd: float
    """Standard deviation between replicates, index units; NaN without groups."""
    predicted_sd: float
    """Standard deviation that the counts foretell, index units; NaN when none of the scores has an error."""
    ratio: float
    """Observed by predicted."""
    ratio_low: float
    """Lower end of the interval of the ratio."""
    ratio_high: float
    """Upper end of the interval of the ratio."""

    def __post_init__(self) -> None:
        """Hold what is true of every comparison."""
        if self.degrees_of_freedom != self.samples - self.groups:
            raise ValueError("degrees of freedom are not samples less groups")
        if self.ratio_low > self.ratio or self.ratio > self.ratio_high:
            raise ValueError("the interval of the ratio does not hold it")


def compare_replicates(samples: pd.DataFrame, *, confidence: float = 0.90) -> ReplicateComparison:
    """Compare the error seen between replicates with the one predicted from the counts.

    Parameters
    ----------
    samples
        site_id, date, method, score and, where it is known, score_se. Samples without a score count for
        nothing. Where any group has errors, only samples with both are compared, so that both figures rest on
        the same samples.
    confidence
        Of the interval of the ratio, between 0 and 1.

    Returns
    -------
    ReplicateComparison
        Figures are NaN where there is nothing to compare.
    """
    scored = samples[samples["score"].notna()]
    if "score_se" not in scored:
        scored = scored.assign(score_se=np.nan)
    both = _keep_groups(scored[scored["score_se"].notna()])
    used = _keep_groups(scored) if both.empty else both
    groups = used.groupby(list(GROUP), dropna=False)
    sizes = groups["score"].size()
    freedom = int((sizes - 1).sum())
    observed = predicted = math.nan
    if freedom:
        within = used["score"] - groups["score"].transform("mean")
        observed = math.sqrt(float((within**2).sum()) / freedom)
        squares = used.assign(square=used["score_se"] ** 2).groupby(list(GROUP), dropna=False)["square"]
        predicted = math.sqrt(float((squares.mean() * (sizes - 1)).sum(skipna=False)) / freedom)
    ratio = observed / predicted if predicted > 0 else math.nan
    low, high = _bound_ratio(ratio, freedom, confidence)
    return ReplicateComparison(
        groups=len(sizes),
        samples=len(used),
        degrees_of_freedom=freedom,
        observed_sd=observed,
        predicted_sd=predicted,
        ratio=ratio,
        ratio_low=low,
        ratio_high=high,
    )


def _keep_groups(samples: pd.DataFrame) -> pd.DataFrame:
    """Keep the samples that have a replicate."""
    size = samples.groupby(list(GROUP), dropna=False)["score"].transform("size")
    return samples[size > 1]


def _bound_ratio(ratio: float, freedom: int, confidence: float) -> tuple[float, float]:
    if not freedom:
        return math.nan, math.nan
    tail = (1 - confidence) / 2
    low, high = (float(freedom / chdtri(freedom, side)) for side in (tail, 1 - tail))
    return min(ratio, ratio * math.sqrt(low)), max(ratio, ratio * math.sqrt(high))
