"""Indices: published ways to turn a sample into one number with classes.

The family biotic index is the mean tolerance of the arthropods of a sample, each individual weighing the
same::

    sum(n * t) / sum(n)        over families with a tolerance value t, n their individuals

Source: Hilsenhoff W.L. 1988, Rapid field assessment of organic pollution with a family-level biotic index,
Journal of the North American Benthological Society 7(1):65-68; rule, tolerance values and class limits from
memory. Animals without a value (worms, leeches, snails, clams, flatworms, families the table leaves out,
animals named to an order only) stay out of both sums. The source expects 100 arthropods or more in a sample.

The biotic index is the same mean over values of genera and species, with class limits of its own. Source:
Hilsenhoff W.L. 1987, An improved biotic index of organic stream pollution, Great Lakes Entomologist 20:31-39;
the limits 3.50 to 6.50 second-hand, 7.50 and 8.50 from memory. The built-in tables hold family values only:
the survey brings the values and says which column of them counts. The limits of the two are often mistaken
for each other: 4.40 is Very good by genera and species, and Good by families.

BMWP and ASPT are in `watershedmap.scoring.bmwp`, the streamside rating in `watershedmap.scoring.streamside`,
indices made of several metrics in `watershedmap.scoring.multimetric`.

Bias: a family-level index reads more polluted in clean streams and less polluted in polluted ones than the
index of genera and species (Hilsenhoff 1988, abstract). Both were made for organic pollution and say little
of other harm.
"""

from __future__ import annotations

from types import MappingProxyType
from typing import TYPE_CHECKING, Final

import numpy as np
import pandas as pd

from watershedmap.scoring.bmwp import ASPT, BMWP, aspt, bmwp
from watershedmap.scoring.classes import Index, IndexClass
from watershedmap.scoring.metrics import METRICS, compute_metrics
from watershedmap.scoring.scales import combine_scores, fix_percentiles, rate_metrics
from watershedmap.scoring.streamside import STREAMSIDE_RATING, streamside_rating
from watershedmap.scoring.tally import divide, make_tally

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping

    from watershedmap.scoring.scales import MultimetricIndex

__all__ = [
    "ASPT",
    "BIOTIC_INDEX",
    "BMWP",
    "FAMILY_BIOTIC_INDEX",
    "INDICES",
    "STREAMSIDE_RATING",
    "Index",
    "IndexClass",
    "aspt",
    "biotic_index",
    "bmwp",
    "family_biotic_index",
    "fix_definition",
    "score_index",
    "streamside_rating",
]

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

BIOTIC_INDEX: Final = Index(
    name="biotic_index",
    label="Biotic index of genera and species",
    unit="",
    better="low",
    decimals=2,
    classes=tuple(
        IndexClass(one.label, limit, one.meaning)
        for one, limit in zip(
            FAMILY_BIOTIC_INDEX.classes, (3.50, 4.50, 5.50, 6.50, 7.50, 8.50, None), strict=True
        )
    ),
    source=(
        "Hilsenhoff 1987, Great Lakes Entomologist 20:31-39; limits 3.50 to 6.50 second-hand, 7.50 and 8.50 "
        "from memory; tolerance values as the survey gives them"
    ),
    scale=(0.0, 10.0),
)
"""The biotic index of 1987, for values of genera and species: 0 (best) to 10 (worst)."""

INDICES: Final[Mapping[str, Index]] = MappingProxyType(
    {index.name: index for index in (FAMILY_BIOTIC_INDEX, BIOTIC_INDEX, BMWP, ASPT, STREAMSIDE_RATING)}
)
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
    return _average_tolerance(counts, taxa)


def biotic_index(counts: pd.DataFrame, taxa: pd.DataFrame) -> pd.DataFrame:
    """Compute the biotic index of genera and species of every sample that has counts.

    It is the mean tolerance over individuals that have a tolerance value (Hilsenhoff 1987); its classes are
    its own.

    Parameters
    ----------
    counts
        sample_id, taxon (as written), count (0 or more).
    taxa
        What the names stand for, as from `watershedmap.taxa.resolve` with the column of values of genera and
        species that the survey chose.

    Returns
    -------
    pandas.DataFrame
        As from `family_biotic_index`.

    Raises
    ------
    ValueError
        A name in `counts` is not among `taxa`, or a count is missing or below zero.
    """
    return _average_tolerance(counts, taxa)


_SCORE: Final[Mapping[str, Callable[[pd.DataFrame, pd.DataFrame], pd.DataFrame]]] = {
    FAMILY_BIOTIC_INDEX.name: family_biotic_index,
    BIOTIC_INDEX.name: biotic_index,
    BMWP.name: bmwp,
    ASPT.name: aspt,
    STREAMSIDE_RATING.name: streamside_rating,
}


def score_index(
    index_name: str,
    counts: pd.DataFrame,
    taxa: pd.DataFrame,
    *,
    metrics: pd.DataFrame | None = None,
    definition: MultimetricIndex | None = None,
) -> pd.DataFrame:
    """Compute an index or a metric of every sample that has counts, whichever is named.

    Parameters
    ----------
    index_name
        Name of a built-in index, of a metric, or of `definition`.
    counts
        sample_id, taxon (as written), count (0 or more).
    taxa
        What the names stand for, as from `watershedmap.taxa.resolve`.
    metrics
        As from `compute_metrics`, where it is at hand; computed when it is needed and not given.
    definition
        The multimetric index of that name.

    Returns
    -------
    pandas.DataFrame
        Indexed by sample_id (sorted): score (not rounded; NaN where there is none), scored_individuals and
        individuals_without_tolerance, which together are all individuals. For a metric and for a multimetric
        index the two say how many individuals have a tolerance value and how many have none.

    Raises
    ------
    ValueError
        The name is none of an index or metric, or the counts do not fit, as for `family_biotic_index`.
    SurveyError
        Percentiles that a definition asks for cannot be taken from these samples.
    """
    if definition is not None and definition.name == index_name:
        score = combine_scores(
            definition, rate_metrics(definition, _collect(definition, counts, taxa, metrics))
        )
    elif index_name in _SCORE:
        return _SCORE[index_name](counts, taxa)
    elif index_name in {metric.name for metric in METRICS}:
        table = compute_metrics(counts, taxa) if metrics is None else metrics
        score = table[index_name].astype("float64")
    else:
        raise ValueError(f"there is no index or metric {index_name!r}")
    parts = _average_tolerance(counts, taxa)
    return parts.assign(score=score.reindex(parts.index))


def fix_definition(
    definition: MultimetricIndex,
    counts: pd.DataFrame,
    taxa: pd.DataFrame,
    *,
    metrics: pd.DataFrame | None = None,
) -> MultimetricIndex:
    """Put numbers in place of the percentiles of a definition, once, from the samples of a survey.

    Scores of other counts by the definition returned are on the scale of these samples.

    Parameters
    ----------
    definition
        The index.
    counts, taxa, metrics
        As for `score_index`.

    Returns
    -------
    MultimetricIndex
        The same index with a number for every floor and ceiling.

    Raises
    ------
    SurveyError
        As for `score_index`.
    """
    return fix_percentiles(definition, _collect(definition, counts, taxa, metrics))


def _collect(
    definition: MultimetricIndex, counts: pd.DataFrame, taxa: pd.DataFrame, metrics: pd.DataFrame | None
) -> pd.DataFrame:
    """Bring the values of all metrics of a definition together; an index may be one of them."""
    names = [item.metric for item in definition.metrics]
    computed = {name: _SCORE[name](counts, taxa)["score"] for name in names if name in _SCORE}
    if len(computed) < len(names):
        table = compute_metrics(counts, taxa) if metrics is None else metrics
        computed |= {name: table[name] for name in names if name not in computed}
    return pd.DataFrame({name: computed[name] for name in names})


def _average_tolerance(counts: pd.DataFrame, taxa: pd.DataFrame) -> pd.DataFrame:
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
