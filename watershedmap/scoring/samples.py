"""Scores samples: metrics, the index, its class, flags, and whether a sample is used for condition."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from watershedmap.scoring.classes import classify
from watershedmap.scoring.indices import FAMILY_BIOTIC_INDEX, family_biotic_index
from watershedmap.scoring.metrics import compute_metrics
from watershedmap.scoring.quality import flag_samples

if TYPE_CHECKING:
    import pandas as pd

    from watershedmap.scoring.indices import Index
    from watershedmap.settings import Options

COMPUTED = (
    "total_individuals",
    "taxa_richness",
    "ept_richness",
    "percent_ept",
    "percent_dominant",
    "dominant_taxon",
    "shannon_diversity",
    "unknown_individuals",
    "scored_individuals",
    "individuals_without_tolerance",
)


def score_samples(
    samples: pd.DataFrame,
    counts: pd.DataFrame | None,
    taxa: pd.DataFrame | None,
    *,
    index: Index,
    options: Options,
) -> pd.DataFrame:
    """Score every sample.

    Parameters
    ----------
    samples
        One row a sample: sample_id, site_id, date, year, method, replicate, and score where it is brought in.
    counts
        sample_id, taxon, count; None when scores are brought in.
    taxa
        What each name was resolved to; None when scores are brought in.
    index
        The index that stands for condition.
    options
        From how many individuals on a sample is not small, whether small ones are used, and which methods.

    Returns
    -------
    pandas.DataFrame
        The samples with every metric, score, class, flags, and used (whether it enters condition and trend),
        sorted by site, date and id. What was not computed is missing, not zero.
    """
    scored = samples.copy()
    if counts is None or taxa is None:
        scored[list(COMPUTED)] = np.nan
        scored["dominant_taxon"] = None
    else:
        metrics = compute_metrics(counts, taxa)
        fbi = family_biotic_index(counts, taxa)
        values = fbi["score"] if index.name == FAMILY_BIOTIC_INDEX.name else metrics[index.name]
        parts = metrics.join(fbi.drop(columns="score")).assign(score=values)
        scored = scored.join(parts, on="sample_id")
    scored["class"] = classify(scored["score"], index)
    basis = "scored_individuals" if index.name == FAMILY_BIOTIC_INDEX.name else "total_individuals"
    scored["flags"] = flag_samples(scored, min_individuals=options.min_individuals, basis=basis)
    scored["used"] = _is_used(scored, options, basis)
    order = ["site_id", "date", "sample_id"]
    return scored.sort_values(order, kind="stable").reset_index(drop=True)


def _is_used(scored: pd.DataFrame, options: Options, basis: str) -> pd.Series:
    used = scored["score"].notna()
    if options.methods:
        used &= scored["method"].isin(options.methods)
    if not options.use_small_samples:
        used &= ~(scored[basis] < options.min_individuals)
    return used
