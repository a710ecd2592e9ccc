"""Metrics: plain figures of what a sample holds.

Definitions stand in `METRICS`, each with its source. They are figures of the sample as sorted: nothing is
scaled to an area or to a fixed count. All are taken over accepted taxa, at the level of the record.

Bias: richness grows with the number of animals sorted and with the level they are named to, so it is to be
compared only between samples of like effort and like level; a family recorded as such counts as a taxon of
its own beside its genera. A name nobody knows counts as one taxon, belongs to no order, and stays in every
total.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final, Literal

import numpy as np
import pandas as pd

from watershedmap.scoring.tally import Tally, divide, make_tally

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping

    import numpy.typing as npt

    Floats = npt.NDArray[np.float64]

_RBP = "Barbour and others 1999, Rapid Bioassessment Protocols, EPA 841-B-99-002, tables 7-1 and 7-2"


@dataclass(frozen=True, slots=True)
class Metric:
    """One figure of a sample."""

    name: str
    """Column that holds it."""
    label: str
    """What a reader calls it."""
    definition: str
    """What it is, in one sentence."""
    better: Literal["high", "low", "neither"]
    """The end at which condition is better; `neither` for a plain count."""
    unit: str
    """Unit of its values; empty for a number without one."""
    decimals: int
    """Decimals to show."""
    source: str
    """Where definition and direction come from."""


METRICS: Final = (
    Metric(
        name="total_individuals",
        label="Individuals",
        definition="All individuals counted in the sample, unknown names included.",
        better="neither",
        unit="individuals",
        decimals=0,
        source="common practice, no source",
    ),
    Metric(
        name="taxa_richness",
        label="Taxa",
        definition="Different taxa found, at the level recorded; each unknown name counts as one.",
        better="high",
        unit="taxa",
        decimals=0,
        source=_RBP,
    ),
    Metric(
        name="ept_richness",
        label="EPT taxa",
        definition="Different taxa of mayflies, stoneflies and caddisflies found, at the level recorded.",
        better="high",
        unit="taxa",
        decimals=0,
        source=_RBP,
    ),
    Metric(
        name="percent_ept",
        label="EPT individuals",
        definition="Mayflies, stoneflies and caddisflies among all individuals, unknown names included.",
        better="high",
        unit="%",
        decimals=1,
        source=_RBP,
    ),
    Metric(
        name="percent_dominant",
        label="Most numerous taxon",
        definition="Individuals of the most numerous taxon among all individuals.",
        better="low",
        unit="%",
        decimals=1,
        source=_RBP,
    ),
    Metric(
        name="shannon_diversity",
        label="Shannon diversity",
        definition="Minus the sum over taxa of p ln p, with p the taxon's share of all individuals.",
        better="high",
        unit="nats",
        decimals=2,
        source="Shannon 1948, Bell System Technical Journal 27:379-423; direction: common practice",
    ),
    Metric(
        name="unknown_individuals",
        label="Of unknown name",
        definition="Individuals under a name that the tables of taxa do not know.",
        better="neither",
        unit="individuals",
        decimals=0,
        source="a measure of the record, not of the stream",
    ),
)
"""The metrics that are numbers, in order of their columns."""


def compute_metrics(counts: pd.DataFrame, taxa: pd.DataFrame) -> pd.DataFrame:
    """Compute the metrics of every sample that has counts.

    Parameters
    ----------
    counts
        sample_id, taxon (as written), count (0 or more; 0 is looked for and not found, and makes no taxon).
    taxa
        What the names stand for, as from `watershedmap.taxa.resolve`.

    Returns
    -------
    pandas.DataFrame
        Indexed by sample_id (sorted): total_individuals, taxa_richness, ept_richness, percent_ept (0 to 100),
        percent_dominant (0 to 100), dominant_taxon (of equals the first by name), shannon_diversity (base e)
        and unknown_individuals. In a sample without individuals the counts are 0, all else is missing.

    Raises
    ------
    ValueError
        A name in `counts` is not among `taxa`, or a count is missing or below zero.
    """
    tally = make_tally(counts, taxa)
    columns: dict[str, object] = {}
    for metric in METRICS:
        values = _COMPUTE[metric.name](tally)
        columns[metric.name] = values if metric.unit not in _WHOLE else np.rint(values).astype(np.int64)
        if metric.name == "percent_dominant":
            columns["dominant_taxon"] = _name_dominant(tally)
    return pd.DataFrame(columns, index=tally.samples)


def _count_individuals(tally: Tally) -> Floats:
    return tally.sum_by_sample(tally.individuals)


def _count_taxa(tally: Tally) -> Floats:
    return tally.sum_by_sample(np.ones(len(tally.individuals)))


def _count_ept_taxa(tally: Tally) -> Floats:
    return tally.sum_by_sample(tally.of_taxon("ept").astype(np.float64))


def _share_ept(tally: Tally) -> Floats:
    ept = tally.sum_by_sample(tally.individuals * tally.of_taxon("ept").astype(np.float64))
    return 100 * divide(ept, _count_individuals(tally))


def _share_dominant(tally: Tally) -> Floats:
    most = np.zeros(len(tally.samples))
    np.maximum.at(most, tally.sample, tally.individuals)
    return 100 * divide(most, _count_individuals(tally))


def _name_dominant(tally: Tally) -> pd.Series:
    """Name the most numerous taxon; of equals the first by name, whatever the order of the file."""
    order = np.lexsort((tally.taxon, -tally.individuals, tally.sample))
    sample, first = np.unique(tally.sample[order], return_index=True)
    names = tally.taxa.index[tally.taxon[order][first]]
    return pd.Series(names, index=tally.samples[sample]).reindex(tally.samples)


def _measure_shannon(tally: Tally) -> Floats:
    total = _count_individuals(tally)
    share = tally.individuals / total[tally.sample]
    diversity = tally.sum_by_sample(-share * np.log(share))
    return np.where(total > 0, np.maximum(diversity, 0.0), np.nan)


def _count_unknown(tally: Tally) -> Floats:
    return tally.sum_by_sample(tally.individuals * (~tally.of_taxon("known").astype(bool)))


_COMPUTE: Final[Mapping[str, Callable[[Tally], Floats]]] = {
    "total_individuals": _count_individuals,
    "taxa_richness": _count_taxa,
    "ept_richness": _count_ept_taxa,
    "percent_ept": _share_ept,
    "percent_dominant": _share_dominant,
    "shannon_diversity": _measure_shannon,
    "unknown_individuals": _count_unknown,
}
_WHOLE: Final = frozenset({"individuals", "taxa"})
