"""Scores samples: metrics, the index with its interval, its class, the quality checks and what they do."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from watershedmap.scoring.bands import class_certainty, probability_columns
from watershedmap.scoring.classes import classify
from watershedmap.scoring.indices import score_index
from watershedmap.scoring.metrics import METRICS, compute_metrics
from watershedmap.scoring.quality import choose_basis, find_used, join_flags, run_checks
from watershedmap.scoring.scales import MultimetricIndex
from watershedmap.scoring.uncertainty import INTERVAL_COLUMNS, score_intervals

if TYPE_CHECKING:
    import pandas as pd

    from watershedmap.scoring.indices import Index
    from watershedmap.scoring.metrics import MetricSettings
    from watershedmap.settings import Options, Quality

PARTS = ("scored_individuals", "individuals_without_tolerance")


def score_samples(
    samples: pd.DataFrame,
    counts: pd.DataFrame | None,
    taxa: pd.DataFrame | None,
    *,
    index: Index,
    options: Options,
    quality: Quality,
    metric_settings: MetricSettings,
) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Score every sample, and ask every check of it.

    Parameters
    ----------
    samples
        One row a sample: sample_id, site_id, date, year, method, replicate, effort where it is given, and
        score where it is brought in.
    counts
        sample_id, taxon, count; None when scores are brought in.
    taxa
        What each name was resolved to; None when scores are brought in.
    index
        The index that stands for condition.
    options
        Which methods are used, and the bounds of the index period.
    quality
        Limit and action of each check.
    metric_settings
        What metrics are computed to.

    Returns
    -------
    samples : pandas.DataFrame
        The samples with every metric, score, score_low, score_high, score_se, class, the probability of each
        class, flags, and used (whether it enters condition and trend), sorted by site, date and id. What was
        not computed is missing, not zero.
    hits : pandas.DataFrame
        One row for each check that a sample failed, as from `watershedmap.scoring.quality.run_checks`.
    """
    scored = samples.copy()
    if counts is None or taxa is None:
        scored[_list_computed(index)] = np.nan
        scored["dominant_taxon"] = None
    else:
        metrics = compute_metrics(counts, taxa, effort=samples, settings=metric_settings)
        definition = index if isinstance(index, MultimetricIndex) else None
        parts = score_index(index.name, counts, taxa, metrics=metrics, definition=definition)
        intervals = score_intervals(counts, taxa, index, effort=samples, settings=metric_settings)
        scored = scored.join(metrics.join(parts).join(intervals), on="sample_id")
    scored["class"] = classify(scored["score"], index)
    scored["class_certainty"] = class_certainty(scored["score"], scored, index)
    hits = run_checks(scored, counts, taxa, quality=quality, options=options, basis=choose_basis(index))
    scored["flags"], scored["used"] = join_flags(scored, hits), find_used(scored, hits)
    order = ["site_id", "date", "sample_id"]
    return scored.sort_values(order, kind="stable").reset_index(drop=True), hits


def _list_computed(index: Index) -> list[str]:
    """Name the columns of numbers that counts would have given."""
    metrics = [metric.name for metric in METRICS]
    return [*metrics, *PARTS, *INTERVAL_COLUMNS, *probability_columns(index)]
