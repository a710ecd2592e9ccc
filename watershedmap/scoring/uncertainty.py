"""How sure a score is, from the counts behind it.

The question answered: were as many individuals drawn again from the same community, each by itself, how far
would the score lie from this one? For an index that is a mean over individuals the answer is exact: the
distribution of the mean under resampling of the sample's individuals (see `watershedmap.scoring.lattice`),
stretched about the score by ``sqrt(n / (n - 1))`` so that its variance is the unbiased one. The interval runs
between its percentiles, a class has the probability of the values that round into it.

BMWP and ASPT have a closed form (`watershedmap.scoring.presence`), and a metric that stands as index goes as
`watershedmap.scoring.spread` says.

Any other index, multimetric ones and the streamside rating among them, is measured on random halves of the
sample (`watershedmap.scoring.resampling`), with a seed from the sample's own counts. Half the mean square
of the difference between two halves is the variance of a sample of half the size. That is taken for the
variance of the whole one: right for what is built on presence, which grows with the logarithm of the number
of animals, and too large by up to 2 for what is built on shares. Resampling with replacement was tried and
is far too narrow, since it loses rare taxa and never finds a new one (Smith and van Belle 1984, Biometrics
40:119-129, from memory): its 90 % intervals held the truth in 58 to 74 %.

Two kinds of metric of a multimetric index would not be those of the sample in its halves:

- totals, density among them, are held at the value of the sample. They say how much was sorted and on what
  area; the animals drawn again are as many on the same area by construction, so density adds no width. Its
  true error, from patches of the bed and from the fraction sorted, is not in the interval, and an index of
  totals alone has none;
- rarefied richness is rarefied to half of `rarefy_to`, so that a half has the animals wherever the sample
  has them, and is moved until the mean over the halves is the value of the sample. Its variance is taken for
  that of the whole as above; rarefied to 100, the error came out 1.05 to 1.16 times the true one for samples
  of 100, 150 and 400 individuals from one uneven community.

Coverage is printed by `tests/bench/bench_uncertainty.py`: 88 to 91 % for the mean over individuals at 100,
200 and 500 individuals. For 200 individuals from uneven communities (400 samples, so give or take 4): BMWP
89 %, ASPT 87 %; by halves 81 % for the streamside rating, 90 % for the worked definition with scales of
0-100, 75 % for that with scores of 1, 3 and 5, which jump. Intervals by halves are to be read as the least.

Source of resampling: Efron 1979, Annals of Statistics 7:1-26 (from memory). The use of halves is this
package's own working.

Known bias: individuals are taken as drawn one by one from the community. In a net they come in clumps, and a
site is not of one piece, so the true error is larger; replicates show by how much
(`watershedmap.scoring.replicates`). Subsampling, sorting and naming errors are not in it either. A sample
whose scored individuals all share one value has no interval: unknown, not zero.
"""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING, Final

import numpy as np
import pandas as pd
from scipy.special import ndtri

from watershedmap.scoring.bands import class_edges, class_probabilities, probability_columns, split_classes
from watershedmap.scoring.indices import INDICES, fix_definition, score_index
from watershedmap.scoring.lattice import Groups, resample_means
from watershedmap.scoring.metrics import METRICS, MetricSettings, compute_metrics
from watershedmap.scoring.presence import measure_points
from watershedmap.scoring.resampling import DRAWS, resample_values
from watershedmap.scoring.scales import MultimetricIndex
from watershedmap.scoring.spread import CLOSED_FORMS, metric_intervals
from watershedmap.scoring.tally import make_tally

if TYPE_CHECKING:
    import numpy.typing as npt

    from watershedmap.scoring.indices import Index
    from watershedmap.scoring.resampling import Measure
    from watershedmap.scoring.tally import Tally

    Floats = npt.NDArray[np.float64]

CONFIDENCE: Final = 0.90
MEAN_INDICES: Final = frozenset({"family_biotic_index", "biotic_index"})
"""Indices that are a mean over individuals of the taxon's tolerance value."""
PRESENCE_INDICES: Final = frozenset({"bmwp", "aspt"})
"""Indices that are a sum or mean over the families found."""
INTERVAL_COLUMNS: Final = ("score_low", "score_high", "score_se")
_TOTALS: Final = tuple(name for name, form in CLOSED_FORMS.items() if form == "none")
"""Metrics that say how much was sorted; halves have those of their sample."""


def score_intervals(
    counts: pd.DataFrame,
    taxa: pd.DataFrame,
    index: Index,
    *,
    confidence: float = CONFIDENCE,
    draws: int = DRAWS,
    effort: pd.DataFrame | None = None,
    settings: MetricSettings | None = None,
) -> pd.DataFrame:
    """Return the interval, standard error and class probabilities of the score of every sample.

    Parameters
    ----------
    counts
        sample_id, taxon (as written), count.
    taxa
        What the names stand for, as from `watershedmap.taxa.resolve`.
    index
        The index, with its classes and scale. Percentiles that a multimetric index asks for are taken once,
        from `counts`, and are held while these are drawn again.
    confidence
        Share of such intervals that should hold the true value, between 0 and 1.
    draws
        Halves of each sample, where those are used.
    effort
        As for `watershedmap.scoring.metrics.compute_metrics`; without it a multimetric index with a density
        has no interval. A density is held at the sample's value while counts are drawn again, so it moves
        the interval and does not widen it; as index by itself it has none.
    settings
        What metrics are computed to, as for `watershedmap.scoring.metrics.compute_metrics`.

    Returns
    -------
    pandas.DataFrame
        Indexed by sample_id (sorted): score_low, score_high, score_se (index units), probability_1 (best
        class) to probability_k. Missing where the score is, and where the counts cannot tell.

    Raises
    ------
    ValueError
        `confidence` is not between 0 and 1, there is no such index, or an effort is impossible.
    SurveyError
        As for `watershedmap.scoring.indices.fix_definition`.
    """
    _check_confidence(confidence)
    if index.name in MEAN_INDICES:
        return _measure_means(counts, taxa, index, confidence)
    if index.name in PRESENCE_INDICES:
        found = measure_points(counts, taxa, averaged=index.name == "aspt")
        return _add_normal(found["score"], found["score_se"], index, confidence)
    if index.name in {metric.name for metric in METRICS}:
        return _measure_metric(counts, taxa, index, confidence, settings)
    whole = fixed = None
    if index.name not in INDICES:
        whole = compute_metrics(counts, taxa, effort=effort, settings=settings)
    if isinstance(index, MultimetricIndex):
        fixed = fix_definition(index, counts, taxa, metrics=whole)

    def measure(some: pd.DataFrame, kinds: pd.DataFrame) -> pd.DataFrame:
        metrics = None if whole is None else _measure_halves(some, kinds, whole, settings)
        return score_index(index.name, some, kinds, metrics=metrics, definition=fixed)[["score"]]

    scores = score_index(index.name, counts, taxa, metrics=whole, definition=fixed)["score"].sort_index()
    return _resample_scores(
        counts, taxa, measure, index=index, scores=scores, confidence=confidence, draws=draws
    )


def group_individuals(tally: Tally, column: str) -> Groups:
    """Bring the individuals of each sample together by the value of their taxon.

    Parameters
    ----------
    tally
        Sums by sample and taxon.
    column
        A column of numbers among the taxa; individuals without one are left out.

    Returns
    -------
    Groups
        One row a sample, in order of `tally.samples`.
    """
    value = tally.of_taxon(column).astype(np.float64)
    scored = np.isfinite(value)
    values, place = np.unique(value[scored], return_inverse=True)
    cells = tally.sample[scored] * max(len(values), 1) + place
    size = len(tally.samples) * len(values)
    table = np.bincount(cells, weights=tally.individuals[scored], minlength=size)[:size].astype(np.float64)
    return Groups(values=values, individuals=table.reshape(len(tally.samples), len(values)))


def _measure_means(counts: pd.DataFrame, taxa: pd.DataFrame, index: Index, confidence: float) -> pd.DataFrame:
    tally = make_tally(counts, taxa)
    groups = group_individuals(tally, "tolerance")
    score, error = groups.mean, groups.error
    tail = (1 - confidence) / 2
    # The normal distribution stands for samples too large for the exact one, and is replaced in all others.
    frame = _add_normal(
        pd.Series(score, index=tally.samples), pd.Series(error, index=tally.samples), index, confidence
    )
    table, edges = frame.to_numpy(dtype=np.float64, copy=True), class_edges(index)
    for batch in resample_means(groups):
        table[batch.rows, 0] = batch.quantile(tail)
        table[batch.rows, 1] = batch.quantile(1 - tail)
        table[batch.rows, len(INTERVAL_COLUMNS) :] = split_classes(batch.below(edges), index)
    table[:, 0] = np.clip(np.fmin(table[:, 0], score), index.scale[0], None)
    table[:, 1] = np.clip(np.fmax(table[:, 1], score), None, index.scale[1])
    table[np.isnan(error)] = np.nan
    return pd.DataFrame(table, index=frame.index, columns=frame.columns)


def _add_normal(score: pd.Series, error: pd.Series, index: Index, confidence: float) -> pd.DataFrame:
    """Give interval and class probabilities for normal errors."""
    half = ndtri(0.5 + confidence / 2) * error
    interval = pd.DataFrame(
        {
            "score_low": (score - half).clip(lower=index.scale[0]),
            "score_high": (score + half).clip(upper=index.scale[1]),
            "score_se": error.where(score.notna()),
        }
    )
    return interval.join(class_probabilities(score, error, index))


def _measure_metric(
    counts: pd.DataFrame,
    taxa: pd.DataFrame,
    index: Index,
    confidence: float,
    settings: MetricSettings | None,
) -> pd.DataFrame:
    """Take the interval of a metric that stands as index, with normal errors for its classes."""
    found = metric_intervals(counts, taxa, [index.name], confidence=confidence, settings=settings)
    frame = _add_normal(found[index.name], found[f"{index.name}_se"], index, confidence)
    for end in ("low", "high"):
        frame[f"score_{end}"] = found[f"{index.name}_{end}"]
    return frame


def _measure_halves(
    halves: pd.DataFrame, taxa: pd.DataFrame, whole: pd.DataFrame, settings: MetricSettings | None
) -> pd.DataFrame:
    """Compute the metrics of halves so that each can stand beside that of its whole sample."""
    chosen = settings or MetricSettings()
    metrics = compute_metrics(halves, taxa, settings=replace(chosen, rarefy_to=max(1, chosen.rarefy_to // 2)))
    origin = halves.groupby("sample_id")["origin"].first().reindex(metrics.index)
    own = whole.loc[origin].set_axis(metrics.index)
    rarefied = metrics["rarefied_richness"]
    away = rarefied - rarefied.groupby(origin).transform("mean")
    held = {name: own[name] for name in _TOTALS}
    return metrics.assign(**held, rarefied_richness=own["rarefied_richness"] + away)


def _resample_scores(
    counts: pd.DataFrame,
    taxa: pd.DataFrame,
    measure: Measure,
    *,
    index: Index,
    scores: pd.Series,
    confidence: float,
    draws: int,
) -> pd.DataFrame:
    edges, tail = class_edges(index), (1 - confidence) / 2
    columns = [*INTERVAL_COLUMNS, *probability_columns(index)]
    parts = [pd.DataFrame(columns=columns, index=scores.index[:0], dtype=float)]
    even = 2 * max(draws // 2, 1)
    for ids, values in resample_values(counts, taxa, measure, draws=even, halves=True):
        score = scores.reindex(ids).to_numpy(dtype=np.float64)
        first, second = np.split(
            values["score"].to_numpy(dtype=np.float64).reshape(len(ids), even), 2, axis=1
        )
        away = (first - second) / np.sqrt(2)
        moved = score[:, None] + np.concatenate([away, -away], axis=1)
        error = np.sqrt(np.mean(away**2, axis=1))
        error = np.where(error > 0, error, np.nan)
        low, high = np.quantile(moved, [tail, 1 - tail], axis=1)
        below = (moved[:, :, None] < edges).mean(axis=1)
        below[np.isnan(error)] = np.nan
        low = np.clip(np.fmin(low, score), index.scale[0], None)
        high = np.clip(np.fmax(high, score), None, index.scale[1])
        table = np.column_stack([low, high, error, split_classes(below, index)])
        table[np.isnan(error)] = np.nan
        parts.append(pd.DataFrame(table, index=ids, columns=columns))
    return pd.concat([part for part in parts if len(part)] or parts).reindex(scores.index)


def _check_confidence(confidence: float) -> None:
    if not 0 < confidence < 1:
        raise ValueError(f"confidence is not between 0 and 1: {confidence}")
