"""From counts of animals to numbers: metrics, indices, classes, and how far a sample can be relied on."""

from __future__ import annotations

from watershedmap.scoring.classes import class_rank, classify, round_half_away
from watershedmap.scoring.indices import FAMILY_BIOTIC_INDEX, INDICES, Index, IndexClass, family_biotic_index
from watershedmap.scoring.metrics import METRICS, Metric, compute_metrics
from watershedmap.scoring.quality import flag_samples

__all__ = [
    "FAMILY_BIOTIC_INDEX",
    "INDICES",
    "METRICS",
    "Index",
    "IndexClass",
    "Metric",
    "class_rank",
    "classify",
    "compute_metrics",
    "family_biotic_index",
    "flag_samples",
    "round_half_away",
]
