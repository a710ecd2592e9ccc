"""Metrics: plain figures of what a sample holds.

Definitions stand in `METRICS`, each with its source. They are figures of the sample as sorted: nothing is
scaled to the whole sample or to an area but `density_per_m2`. Animals that the taxa table leaves out are in
none of them but `excluded_individuals`.

Richness is of distinct taxa: an unresolved parent is no new taxon where a child of it stands in the same
sample (`watershedmap.scoring.richness`); `taxa_recorded` counts all. Shares are of all individuals, those of
unknown name included, but the share of tolerant ones, which is of the individuals that have a value. A name
nobody knows counts as one taxon, belongs to no order, and stays in every total.

Bias: richness grows with the number of animals sorted and with the level they are named to, so it is to be
compared only between samples of like effort and like level, or rarefied.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Final, Literal

import numpy as np
import pandas as pd

from watershedmap.scoring.affinity import DEFAULT_MODEL, check_model, measure_affinity
from watershedmap.scoring.diversity import (
    measure_pielou,
    measure_shannon,
    measure_simpson,
    name_top,
    order_by_number,
    share_of_top,
)
from watershedmap.scoring.effort import measure_density
from watershedmap.scoring.rarefaction import RAREFY_TO, check_individuals, rarefy_richness
from watershedmap.scoring.richness import count_below, count_intolerant, count_taxa
from watershedmap.scoring.tally import Tally, divide, make_tally

if TYPE_CHECKING:
    from collections.abc import Mapping

    import numpy.typing as npt

    Bools = npt.NDArray[np.bool_]
    Floats = npt.NDArray[np.float64]

TOLERANT_FROM: Final = 7.0
"""Animals with a tolerance value from this on, on the scale of 0 to 10, are tolerant."""
_TOP: Final = 5
_RBP: Final = "Barbour and others 1999, Rapid Bioassessment Protocols, EPA 841-B-99-002, tables 7-1 and 7-2"
_LIMIT: Final = f"{_RBP}; limit of the tolerance value: common practice, no source"
_RECORD: Final = "a measure of the record, not of the stream"


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


@dataclass(frozen=True, slots=True)
class MetricSettings:
    """What a survey may set of the metrics.

    Raises
    ------
    ValueError
        `rarefy_to` is not a whole number of 1 or more, or the model is none.
    """

    rarefy_to: int = RAREFY_TO
    """Individuals to which richness is rarefied."""
    model: Mapping[str, float] = field(default_factory=lambda: DEFAULT_MODEL)
    """Percent of each of the seven groups in the model of percent model affinity."""

    def __post_init__(self) -> None:
        """Refuse settings that nothing can be computed with."""
        check_individuals(self.rarefy_to)
        check_model(self.model)


METRICS: Final = (
    Metric(
        "total_individuals",
        "Individuals",
        "All individuals counted in the sample, unknown names included.",
        "neither",
        "individuals",
        0,
        "common practice, no source",
    ),
    Metric(
        "taxa_recorded",
        "Taxa recorded",
        "Different taxa found, at the level recorded; each unknown name counts as one.",
        "high",
        "taxa",
        0,
        f"common practice, no source; direction: {_RBP}",
    ),
    Metric(
        "taxa_richness",
        "Taxa",
        "Distinct taxa found: one named to a higher level counts only where nothing below it was found.",
        "high",
        "taxa",
        0,
        _RBP,
    ),
    Metric(
        "ept_richness",
        "EPT taxa",
        "Distinct taxa of mayflies, stoneflies and caddisflies found.",
        "high",
        "taxa",
        0,
        _RBP,
    ),
    Metric(
        "ephemeroptera_richness", "Mayfly taxa", "Distinct taxa of mayflies found.", "high", "taxa", 0, _RBP
    ),
    Metric(
        "plecoptera_richness", "Stonefly taxa", "Distinct taxa of stoneflies found.", "high", "taxa", 0, _RBP
    ),
    Metric(
        "trichoptera_richness",
        "Caddisfly taxa",
        "Distinct taxa of caddisflies found.",
        "high",
        "taxa",
        0,
        _RBP,
    ),
    Metric(
        "intolerant_richness",
        "Intolerant taxa",
        "Distinct taxa with a tolerance value of 3 or less; missing where none of the taxa has a value.",
        "high",
        "taxa",
        0,
        _LIMIT,
    ),
    Metric(
        "percent_ept",
        "EPT individuals",
        "Mayflies, stoneflies and caddisflies among all individuals, unknown names included.",
        "high",
        "%",
        1,
        _RBP,
    ),
    Metric(
        "percent_dominant",
        "Most numerous taxon",
        "Individuals of the most numerous taxon recorded among all individuals.",
        "low",
        "%",
        1,
        _RBP,
    ),
    Metric(
        "percent_dominant_5",
        "Five most numerous taxa",
        "Individuals of the five most numerous taxa recorded among all individuals.",
        "low",
        "%",
        1,
        _RBP,
    ),
    Metric(
        "percent_chironomidae",
        "Midges",
        "Individuals of Chironomidae among all individuals, unknown names included.",
        "low",
        "%",
        1,
        _RBP,
    ),
    Metric(
        "percent_non_insect",
        "Animals other than insects",
        "Individuals known not to be insects among all individuals, unknown names included.",
        "low",
        "%",
        1,
        f"common practice, no source; direction as for other Diptera and non-insects: {_RBP}",
    ),
    Metric(
        "percent_tolerant",
        "Tolerant individuals",
        "Individuals with a tolerance value of 7 or more among those that have a value.",
        "low",
        "%",
        1,
        _LIMIT,
    ),
    Metric(
        "shannon_diversity",
        "Shannon diversity",
        "Minus the sum over taxa recorded of p ln p, with p the taxon's share of all individuals.",
        "high",
        "nats",
        2,
        "Shannon 1948, Bell System Technical Journal 27:379-423; direction: common practice",
    ),
    Metric(
        "simpson_diversity",
        "Simpson diversity",
        "One minus the sum over taxa recorded of p squared, with p the taxon's share of all individuals.",
        "high",
        "",
        2,
        "Simpson 1949, Nature 163:688; direction: common practice",
    ),
    Metric(
        "pielou_evenness",
        "Evenness",
        "Shannon diversity divided by the logarithm of taxa recorded; missing for fewer than two taxa.",
        "high",
        "",
        2,
        "Pielou 1966, Journal of Theoretical Biology 13:131-144; direction: common practice",
    ),
    Metric(
        "rarefied_richness",
        "Rarefied taxa",
        "Distinct taxa expected among 100 individuals, or as many as the survey sets; missing where there "
        "are fewer.",
        "high",
        "taxa",
        1,
        f"Hurlbert 1971, Ecology 52:577-586, for distinct taxa; direction: {_RBP}",
    ),
    Metric(
        "percent_model_affinity",
        "Likeness to the model",
        "Sum over seven groups of the smaller of their percentages in the sample and in the model.",
        "high",
        "%",
        0,
        "Novak and Bode 1992, Journal of the North American Benthological Society 11:80-85; percentages of "
        "their model from memory",
    ),
    Metric(
        "density_per_m2",
        "Density",
        "Individuals divided by the fraction sorted and by the area sampled; missing where either is not "
        "known.",
        "neither",
        "individuals per m²",
        0,
        "Barbour and others 1999, Rapid Bioassessment Protocols, EPA 841-B-99-002, chapter 7; arithmetic",
    ),
    Metric(
        "unknown_individuals",
        "Of unknown name",
        "Individuals under a name that the tables of taxa do not know.",
        "neither",
        "individuals",
        0,
        _RECORD,
    ),
    Metric(
        "excluded_individuals",
        "Left out",
        "Individuals that no other figure holds, for the reason given in the table of taxa.",
        "neither",
        "individuals",
        0,
        _RECORD,
    ),
)
"""The metrics that are numbers, in order of their columns."""

_MAY_BE_MISSING: Final = frozenset({"intolerant_richness", "rarefied_richness"})
_WHOLE: Final = frozenset(
    metric.name for metric in METRICS if metric.unit in ("individuals", "taxa")
).difference(_MAY_BE_MISSING)


def compute_metrics(
    counts: pd.DataFrame,
    taxa: pd.DataFrame,
    *,
    effort: pd.DataFrame | None = None,
    settings: MetricSettings | None = None,
) -> pd.DataFrame:
    """Compute the metrics of every sample that has counts.

    Parameters
    ----------
    counts
        sample_id, taxon (as written), count (0 or more; 0 is looked for and not found, and makes no taxon).
    taxa
        What the names stand for, as from `watershedmap.taxa.resolve`; names with a reason in the column
        `excluded` are left out.
    effort
        One row a sample, sample_id as index or column, with any of fraction_sorted (above 0, to 1),
        grids_picked and grids_total, area_m2; without it there is no density.
    settings
        Individuals to rarefy to, and the model of percent model affinity; by default 100 and the model of
        Novak and Bode 1992.

    Returns
    -------
    pandas.DataFrame
        Indexed by sample_id (sorted): a column for each of `METRICS`, in their units (percentages 0 to 100),
        and dominant_taxon after percent_dominant (of equals the first by name). In a sample without
        individuals counts, taxa and density are 0; all else is missing.

    Raises
    ------
    ValueError
        A name in `counts` is not among `taxa`, a count is missing or below zero, or an effort is impossible.
    """
    tally = make_tally(counts, taxa)
    chosen = settings or MetricSettings()
    order = order_by_number(tally)
    total = tally.sum_by_sample(tally.individuals)
    by_id = pd.Series(total, index=tally.samples)
    below = count_below(tally)
    columns: dict[str, object] = {
        "total_individuals": total,
        **_count_richness(tally, below == 0),
        **_share_individuals(tally, total),
        "percent_dominant": share_of_top(tally, *order, taxa=1),
        "percent_dominant_5": share_of_top(tally, *order, taxa=_TOP),
        "shannon_diversity": measure_shannon(tally),
        "simpson_diversity": measure_simpson(tally),
        "pielou_evenness": measure_pielou(tally),
        "rarefied_richness": rarefy_richness(tally, below, individuals=chosen.rarefy_to),
        "percent_model_affinity": measure_affinity(tally, model=chosen.model),
        "density_per_m2": np.nan if effort is None else measure_density(by_id, effort),
        "unknown_individuals": tally.sum_by_sample(tally.individuals * ~_bools(tally, "known")),
        "excluded_individuals": tally.excluded,
    }
    frame = pd.DataFrame(columns, index=tally.samples)[[metric.name for metric in METRICS]]
    frame.insert(list(frame).index("percent_dominant") + 1, "dominant_taxon", name_top(tally, *order))
    return frame.assign(**{name: np.rint(frame[name]).astype(np.int64) for name in _WHOLE})


def _count_richness(tally: Tally, distinct: Bools) -> dict[str, Floats]:
    return {
        "taxa_recorded": tally.sum_by_sample(np.ones(len(tally.individuals))),
        "taxa_richness": count_taxa(tally, distinct),
        "ept_richness": tally.count_by_sample(distinct & _bools(tally, "ept")),
        "ephemeroptera_richness": count_taxa(tally, distinct, order="Ephemeroptera"),
        "plecoptera_richness": count_taxa(tally, distinct, order="Plecoptera"),
        "trichoptera_richness": count_taxa(tally, distinct, order="Trichoptera"),
        "intolerant_richness": count_intolerant(tally, distinct),
    }


def _share_individuals(tally: Tally, total: Floats) -> dict[str, Floats]:
    group = tally.taxa["group"].to_numpy()
    other = np.isin(group, ("Insecta", ""), invert=True)[tally.taxon]
    midge = (tally.taxa["family"] == "Chironomidae").to_numpy(dtype=bool)[tally.taxon]
    tolerance = tally.of_taxon("tolerance").astype(np.float64)
    valued = tally.sum_by_sample(tally.individuals * np.isfinite(tolerance))
    shares = {
        "percent_ept": (_bools(tally, "ept"), total),
        "percent_chironomidae": (midge, total),
        "percent_non_insect": (other, total),
        "percent_tolerant": (tolerance >= TOLERANT_FROM, valued),
    }
    return {
        name: 100 * divide(tally.sum_by_sample(tally.individuals * holds), whole)
        for name, (holds, whole) in shares.items()
    }


def _bools(tally: Tally, column: str) -> Bools:
    return tally.taxa[column].to_numpy(dtype=bool)[tally.taxon]
