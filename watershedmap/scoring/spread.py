"""How sure a metric is, from the counts behind it.

`CLOSED_FORMS` says which way each metric goes:

`share`
    Percentages of individuals: Wilson's score interval of a binomial share (Wilson 1927, Journal of the
    American Statistical Association 22:209-212). The share of the most numerous taxon, or five, is treated as
    that of taxa named beforehand, which reads it a little too high where several are about equal.
`presence`
    Numbers of taxa: see `watershedmap.scoring.presence`. The interval is for the number expected from as many
    individuals, not for all that lives there.
`shannon`, `pielou`
    ``Var H = (sum(p ln(p)**2) - H**2) / n + (S - 1) / (2 n**2)`` (Hutcheson 1970, Journal of Theoretical
    Biology 29:151-154); Pielou's evenness divides by ln S, the number of taxa being held as found.
`simpson`
    The variance of the chance that two individuals are of one taxon, in full for n individuals (Simpson 1949,
    Nature 163:688).
`none`
    Totals of the sample say how much was sorted, and have no error of this kind.

Any other metric is resampled, rarefied richness among them, whose error comes out too small by up to a
third (see `watershedmap.scoring.resampling`). All formulas from memory, checked against resampling in the
tests.

Known bias: as for scores, individuals in a net come in clumps, and the true error is larger. Shannon's
diversity of a sample is below that of the community by about (S - 1) / (2 n); the interval is for the value
expected from as many individuals.
"""

from __future__ import annotations

from types import MappingProxyType
from typing import TYPE_CHECKING, Final

import numpy as np
import pandas as pd
from scipy.special import ndtri

from watershedmap.scoring.metrics import compute_metrics
from watershedmap.scoring.presence import estimate_errors
from watershedmap.scoring.resampling import DRAWS, centre_draws, resample_values
from watershedmap.scoring.richness import INTOLERANT_TO, count_below
from watershedmap.scoring.tally import make_tally

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping

    import numpy.typing as npt

    from watershedmap.scoring.metrics import MetricSettings
    from watershedmap.scoring.tally import Tally

    Floats = npt.NDArray[np.float64]
    Bools = npt.NDArray[np.bool_]

_ORDERS: Final = MappingProxyType(
    {
        "ephemeroptera_richness": "Ephemeroptera",
        "plecoptera_richness": "Plecoptera",
        "trichoptera_richness": "Trichoptera",
    }
)
CLOSED_FORMS: Final[Mapping[str, str]] = MappingProxyType(
    {
        "percent_ept": "share",
        "percent_dominant": "share",
        "percent_dominant_5": "share",
        "percent_chironomidae": "share",
        "percent_non_insect": "share",
        "percent_tolerant": "share",
        "taxa_recorded": "presence",
        "taxa_richness": "presence",
        "ept_richness": "presence",
        "intolerant_richness": "presence",
        **dict.fromkeys(_ORDERS, "presence"),
        "shannon_diversity": "shannon",
        "pielou_evenness": "pielou",
        "simpson_diversity": "simpson",
        "total_individuals": "none",
        "unknown_individuals": "none",
        "excluded_individuals": "none",
        "density_per_m2": "none",
    }
)
"""How the interval of each metric is found; metrics that are not named are resampled."""


def metric_intervals(
    counts: pd.DataFrame,
    taxa: pd.DataFrame,
    metrics: Iterable[str],
    *,
    confidence: float = 0.90,
    draws: int = DRAWS,
    effort: pd.DataFrame | None = None,
    settings: MetricSettings | None = None,
) -> pd.DataFrame:
    """Return the interval and standard error of metrics of every sample.

    Parameters
    ----------
    counts
        sample_id, taxon (as written), count.
    taxa
        What the names stand for, as from `watershedmap.taxa.resolve`.
    metrics
        Names of the register.
    confidence
        Share of such intervals that should hold the value expected from as many individuals of the same
        community, between 0 and 1.
    draws
        Resamples of each sample, for metrics without a closed form.
    effort, settings
        As for `watershedmap.scoring.metrics.compute_metrics`.

    Returns
    -------
    pandas.DataFrame
        Indexed by sample_id (sorted): for each metric its value under its own name, and <name>_low,
        <name>_high, <name>_se, in its unit; missing where the counts cannot tell.

    Raises
    ------
    ValueError
        `confidence` is not between 0 and 1, or a metric is not in the register.
    """
    if not 0 < confidence < 1:
        raise ValueError(f"confidence is not between 0 and 1: {confidence}")
    names = list(dict.fromkeys(metrics))
    computed = compute_metrics(counts, taxa, effort=effort, settings=settings)
    strange = [name for name in names if name not in computed]
    if strange:
        raise ValueError(f"not in the register of metrics: {', '.join(strange)}")
    values = computed[names].astype(np.float64)
    tally = make_tally(counts, taxa)
    score = float(ndtri(0.5 + confidence / 2))
    others = [one for one in names if one not in CLOSED_FORMS]
    drawn = _resample(values[others], counts, taxa, draws=draws, settings=settings) if others else {}
    parts = []
    for name in names:
        value = values[name].to_numpy()
        if CLOSED_FORMS.get(name) == "share":
            low, high = bound_share(value / 100, _count_whole(name, tally), score)
            low, high, error = 100 * low, 100 * high, 100 * (high - low) / (2 * score)
        else:
            error = drawn[name] if name in drawn else _find_error(name, value, tally)
            low, high = _cut(name, value - score * error, value + score * error)
        ends = {f"{name}_low": low, f"{name}_high": high, f"{name}_se": error}
        parts.append(pd.DataFrame({name: value, **ends}, index=values.index))
    return pd.concat(parts, axis=1) if parts else values


def bound_share(share: Floats, total: Floats, score: float) -> tuple[Floats, Floats]:
    """Return Wilson's score interval of a share of individuals.

    Parameters
    ----------
    share
        Shares, 0 to 1.
    total
        Individuals that they were found in.
    score
        Normal quantile of the confidence: 1.645 for 90 %.

    Returns
    -------
    low : numpy.ndarray
        Lower ends, 0 to `share`.
    high : numpy.ndarray
        Upper ends, `share` to 1.
    """
    with np.errstate(divide="ignore", invalid="ignore"):
        part = score**2 / total
        centre = (share + part / 2) / (1 + part)
        half = score / (1 + part) * np.sqrt(share * (1 - share) / total + part / (4 * total))
    return np.clip(np.fmin(centre - half, share), 0, 1), np.clip(np.fmax(centre + half, share), 0, 1)


def _count_whole(name: str, tally: Tally) -> Floats:
    """Count the individuals that a percentage is of: all, or those with a tolerance value."""
    if name != "percent_tolerant":
        return tally.sum_by_sample(tally.individuals)
    valued = np.isfinite(tally.of_taxon("tolerance").astype(np.float64))
    return tally.sum_by_sample(tally.individuals * valued)


def _cut(name: str, low: Floats, high: Floats) -> tuple[Floats, Floats]:
    """Cut an interval at the ends that no value can pass; a resampled percentage ends at 100."""
    top = 1.0 if CLOSED_FORMS.get(name) in ("simpson", "pielou") else np.inf
    if name.startswith("percent_"):
        top = 100.0
    return np.clip(low, 0.0, None), np.clip(high, None, top)


def _find_error(name: str, value: Floats, tally: Tally) -> Floats:
    form = CLOSED_FORMS[name]
    if form == "none":
        return np.full(len(value), np.nan)
    if form == "presence":
        holds = _list_taxa(name, tally)
        error = estimate_errors(
            tally.sample[holds], tally.individuals[holds], np.ones(holds.sum()), len(value)
        )
        anything = tally.sum_by_sample(tally.individuals) > 0
        return np.where(anything & np.isfinite(value), error, np.nan)
    with np.errstate(divide="ignore", invalid="ignore"):
        variance = _vary_simpson(tally) if form == "simpson" else _vary_shannon(tally)
        error = np.sqrt(np.where(variance > 0, variance, np.nan))
        if form == "pielou":
            error = error / np.log(tally.sum_by_sample(np.ones(len(tally.sample))))
    return np.where(np.isfinite(value), error, np.nan)


def _list_taxa(name: str, tally: Tally) -> Bools:
    """Tell which pairs of sample and taxon a number of taxa counts."""
    everything = np.ones(len(tally.sample), dtype=bool)
    if name == "taxa_recorded":
        return everything
    distinct = np.asarray(count_below(tally) == 0, dtype=bool)
    if name == "ept_richness":
        distinct &= tally.of_taxon("ept").astype(bool)
    if name == "intolerant_richness":
        distinct &= tally.of_taxon("tolerance").astype(np.float64) <= INTOLERANT_TO
    if name in _ORDERS:
        distinct &= np.asarray(tally.of_taxon("order") == _ORDERS[name], dtype=bool)
    return distinct


def _vary_shannon(tally: Tally) -> Floats:
    total = tally.sum_by_sample(tally.individuals)
    share = tally.individuals / total[tally.sample]
    log = np.log(share)
    number = tally.sum_by_sample(np.ones(len(share)))
    spread = tally.sum_by_sample(share * log**2) - tally.sum_by_sample(share * log) ** 2
    return np.where(number > 1, np.maximum(spread, 0) / total + (number - 1) / (2 * total**2), np.nan)


def _vary_simpson(tally: Tally) -> Floats:
    n = tally.sum_by_sample(tally.individuals)
    share = tally.individuals / n[tally.sample]
    pairs, triples = tally.sum_by_sample(share**2), tally.sum_by_sample(share**3)
    whole = 4 * (n - 2) * triples + 2 * pairs - 2 * (2 * n - 3) * pairs**2
    return np.where(pairs < 1, whole / (n * (n - 1)), np.nan)


def _resample(
    values: pd.DataFrame,
    counts: pd.DataFrame,
    taxa: pd.DataFrame,
    *,
    draws: int,
    settings: MetricSettings | None,
) -> dict[str, Floats]:
    """Return the standard error of each column of values, all of them metrics without a closed form."""
    names = [str(name) for name in values.columns]
    errors = pd.DataFrame(np.nan, index=values.index, columns=names)

    def measure(some: pd.DataFrame, kinds: pd.DataFrame) -> pd.DataFrame:
        return compute_metrics(some, kinds, settings=settings)[names]

    for ids, drawn in resample_values(counts, taxa, measure, draws=draws):
        for name in names:
            table = drawn[name].to_numpy(dtype=np.float64).reshape(len(ids), draws)
            errors.loc[ids, name] = centre_draws(table, values.loc[ids, name].to_numpy())[1]
    return {name: errors[name].to_numpy() for name in names}
