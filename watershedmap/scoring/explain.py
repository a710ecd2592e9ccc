"""How one sample came to its score: every taxon, the value used, and the arithmetic line by line.

`explain_sample` does the sums of one sample anew, in the steps a reader would take with a pencil, and says
whether they come to the score that the sample was given. For an index that is a mean over individuals each
accepted taxon is one step; for one that adds up families or kinds each of those is; for a metric its
definition and its value are given; for an index of several metrics each metric's value, the ends or cut
points of its scale, percentiles as the samples gave them, and its score.

Source: the index's own (see `watershedmap.scoring.indices`). Bias: none; nothing is computed here that is
used elsewhere.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Final

import pandas as pd

from watershedmap.scoring.bmwp import ASPT, BMWP
from watershedmap.scoring.classes import classify, round_half_away
from watershedmap.scoring.indices import BIOTIC_INDEX, FAMILY_BIOTIC_INDEX, score_index
from watershedmap.scoring.metrics import METRICS
from watershedmap.scoring.scales import MultimetricIndex, Percentile, Ramp, fix_percentiles, rate_metrics
from watershedmap.scoring.streamside import STREAMSIDE_RATING, count_kinds, name_kinds
from watershedmap.scoring.tally import make_tally

if TYPE_CHECKING:
    from collections.abc import Callable, Hashable, Iterable, Mapping

    from watershedmap.scoring.classes import Index
    from watershedmap.scoring.scales import CutPoints

    Row = Mapping[Hashable, Any]

_NOISE: Final = 1e-9
_LETTERS: Final = {"R": "rare", "C": "common", "D": "dominant"}


@dataclass(frozen=True, slots=True)
class TaxonLine:
    """One name of the sample, as written."""

    name: str
    """Name on the sheet."""
    count: float
    """Individuals; 0: looked for, none found."""
    taxon: str
    """What it was taken for; empty for a name no table knows."""
    value: float | None
    """Value that the index uses; None when it has none."""
    source: str
    """Where the value is from, or why there is none."""
    remark: str
    """What else became of it: unknown, none found, left out; empty for most."""


@dataclass(frozen=True, slots=True)
class Step:
    """One line of the arithmetic."""

    text: str
    """What is done, with its figures."""
    result: float | None
    """What it comes to; None for a line that only says something."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Explanation:
    """One sample and all that led to its class."""

    sample_id: str
    """The sample."""
    index: str
    """Label of the index."""
    source: str
    """Where the index is published."""
    taxa: tuple[TaxonLine, ...]
    """Every name of the sample, the most numerous first; empty for a score brought in."""
    steps: tuple[Step, ...]
    """The arithmetic, ending with rounding and class."""
    score: float | None
    """Score that the sample was given, not rounded; None when it has none."""
    label: str | None
    """Its class; None without a score."""
    agrees: bool
    """Whether the arithmetic shown comes to the score that the sample was given."""


def explain_sample(
    sample_id: str,
    samples: pd.DataFrame,
    counts: pd.DataFrame | None,
    taxa: pd.DataFrame | None,
    *,
    index: Index,
    fixed: MultimetricIndex | None = None,
) -> Explanation:
    """Explain the score of one sample.

    Parameters
    ----------
    sample_id
        The sample.
    samples
        All scored samples: sample_id, score, and the metrics where the index is made of metrics.
    counts, taxa
        The counts of all samples, and what their names stand for; None when scores are brought in.
    index
        The index that stands for condition.
    fixed
        The same with its percentiles as numbers, where those of all samples are known already.

    Returns
    -------
    Explanation
        Taxa, steps, score and class.

    Raises
    ------
    KeyError
        There is no such sample.
    """
    own = samples.loc[samples["sample_id"] == sample_id]
    if own.empty:
        raise KeyError(sample_id)
    given = own["score"].iloc[0]
    score = None if pd.isna(given) else float(given)
    lines: tuple[TaxonLine, ...] = ()
    if counts is None or taxa is None:
        steps, found = [Step("Score as brought in", score)], score
    else:
        of_sample = counts.loc[counts["sample_id"] == sample_id]
        of_taxa = taxa.loc[taxa.index.isin(of_sample["taxon"])]
        lines = _list_taxa(of_sample, of_taxa, index)
        if isinstance(index, MultimetricIndex):
            steps, found = _add_metrics(sample_id, samples, counts, taxa, index=index, fixed=fixed)
        elif index.name in _STEPS:
            steps, found = _STEPS[index.name](of_sample, of_taxa)
        else:
            steps, found = _read_metric(own, index)
    label = classify(own["score"], index).iloc[0]
    return Explanation(
        sample_id=sample_id,
        index=index.label,
        source=index.source,
        taxa=lines,
        steps=(*steps, *_close(score, index)),
        score=score,
        label=None if pd.isna(label) else str(label),
        agrees=(score is None and found is None)
        or (score is not None and found is not None and abs(score - found) < _NOISE),
    )


def _list_taxa(counts: pd.DataFrame, taxa: pd.DataFrame, index: Index) -> tuple[TaxonLine, ...]:
    """Say of each written name what became of it; rows of one name are added up."""
    column, source = _find_column(index)
    kinds: Row = name_kinds(taxa).to_dict() if index.name == STREAMSIDE_RATING.name else {}
    rows = taxa.to_dict("index")
    lines = []
    for name, count in _add_up(zip(counts["taxon"], counts["count"], strict=True)).items():
        row = rows[name]
        value, said = _read_value(row, column, source)
        taxon = str(row["taxon"]) if row["known"] else ""
        lines.append(TaxonLine(name, count, taxon, value, said, _remark(row, count, kinds.get(name, ""))))
    return tuple(sorted(lines, key=lambda line: (-line.count, line.name)))


def _find_column(index: Index) -> tuple[str, str]:
    """Find the column of values that an index, or one of its metrics, uses; tolerance before others."""
    metrics = index.metrics if isinstance(index, MultimetricIndex) else ()
    used = [_VALUES[name] for name in (index.name, *(item.metric for item in metrics)) if name in _VALUES]
    return max(used, key=lambda pair: pair[0] == "tolerance", default=("", ""))


def _add_up(pairs: Iterable[tuple[str, float]]) -> dict[str, float]:
    """Add up the numbers of each name."""
    sums: dict[str, float] = {}
    for name, number in pairs:
        sums[name] = sums.get(name, 0.0) + float(number)
    return sums


def _read_value(row: Row, column: str, source: str) -> tuple[float | None, str]:
    """Return the value that the index uses and its source, or why there is none."""
    if not column or _text(row, "excluded"):
        return None, ""
    said = _text(row, f"{column}_source")
    number = float(row[column])
    if not math.isnan(number):
        return number, said or source
    return None, (said or "no value") if row["known"] else ""


def _text(row: Row, column: str) -> str:
    text = row.get(column, "")
    return text if isinstance(text, str) else ""


def _remark(row: Row, count: float, kind: str) -> str:
    excluded = _text(row, "excluded")
    words = (
        "none found" if count == 0 else "",
        f"left out: {excluded}" if excluded else "",
        "" if row["known"] else "no table knows this name",
        f"kind: {kind}" if kind else "",
    )
    return "; ".join(filter(None, words))


def _average(counts: pd.DataFrame, taxa: pd.DataFrame) -> tuple[list[Step], float | None]:
    """Weigh the tolerance of each accepted taxon by its individuals."""
    rows = taxa.to_dict("index")
    kept = [
        (str(rows[name]["taxon"]), count)
        for name, count in zip(counts["taxon"], counts["count"], strict=True)
        if count and not _text(rows[name], "excluded")
    ]
    values = {str(row["taxon"]): float(row["tolerance"]) for row in rows.values()}
    steps, weighted, number, others = [], 0.0, 0.0, 0.0
    for taxon, individuals in sorted(_add_up(kept).items()):
        value = values[taxon]
        if math.isnan(value):
            others += individuals
            continue
        product = individuals * value
        steps.append(Step(f"{taxon}: {individuals:g} x {value:g}", product))
        weighted, number = weighted + product, number + individuals
    if others:
        steps.append(Step("Individuals without a value, in neither sum", others))
    if not number:
        return [*steps, Step("No individual has a value: there is no score", None)], None
    steps.append(Step("Sum of individuals x value", weighted))
    steps.append(Step("Individuals with a value", number))
    steps.append(Step(f"Mean: {weighted:g} / {number:g}", weighted / number))
    return steps, weighted / number


def _add_families(counts: pd.DataFrame, taxa: pd.DataFrame) -> tuple[list[Step], float, int, bool]:
    """Take the points of each scoring family once."""
    tally = make_tally(counts, taxa)
    rows = tally.taxa.iloc[tally.taxon]
    best: dict[str, float] = {}
    for taxon, row in rows[rows["bmwp"].notna()].iterrows():
        family = str(row["bmwp_group"] or row["family"] or taxon)
        best[family] = max(best.get(family, 0.0), float(row["bmwp"]))
    steps = [Step(f"{family}: points", value) for family, value in sorted(best.items())]
    return steps, sum(best.values()), len(best), bool(len(tally.individuals))


def _sum_families(counts: pd.DataFrame, taxa: pd.DataFrame) -> tuple[list[Step], float | None]:
    steps, total, families, found = _add_families(counts, taxa)
    if not families and found:
        return [Step("None of the animals found scores: there is no score", None)], None
    return [*steps, Step("Sum of points", total)], total


def _average_families(counts: pd.DataFrame, taxa: pd.DataFrame) -> tuple[list[Step], float | None]:
    steps, total, families, _ = _add_families(counts, taxa)
    if not families:
        return [Step("There is no scoring family: there is no score", None)], None
    mean = total / families
    more = [Step("Sum of points", total), Step("Scoring families", float(families))]
    return [*steps, *more, Step(f"Mean: {total:g} / {families}", mean)], mean


def _add_kinds(counts: pd.DataFrame, taxa: pd.DataFrame) -> tuple[list[Step], float | None]:
    """Take the weight of each kind by its group and its number."""
    tally = make_tally(counts, taxa)
    steps, total = [], 0.0
    kinds = count_kinds(tally)[["kind", "sensitivity", "individuals", "letter", "weight"]]
    for kind, group, individuals, letter, weight in kinds.itertuples(index=False, name=None):
        text = f"{kind}: {individuals:g} individuals, {_LETTERS[letter]}, group {group:g}"
        steps.append(Step(text, float(weight)))
        total += float(weight)
    if not steps and len(tally.individuals):
        return [Step("None of the animals found has a group: there is no score", None)], None
    return [*steps, Step("Sum of weights", total)], total


def _read_metric(own: pd.DataFrame, index: Index) -> tuple[list[Step], float | None]:
    """Give the definition of a metric and its value."""
    definitions = {metric.name: metric.definition for metric in METRICS}
    value = own[index.name].iloc[0] if index.name in own else math.nan
    number = None if pd.isna(value) else float(value)
    text = definitions.get(index.name, "computed as its source says").rstrip(".")
    return [Step(f"{index.label}: {text}", number)], number


def _add_metrics(
    sample_id: str,
    samples: pd.DataFrame,
    counts: pd.DataFrame,
    taxa: pd.DataFrame,
    *,
    index: MultimetricIndex,
    fixed: MultimetricIndex | None,
) -> tuple[list[Step], float | None]:
    """Give value and score of each metric, and bring the scores together."""
    table = samples.set_index("sample_id")
    names = [item.metric for item in index.metrics]
    values = pd.DataFrame(
        {name: table[name] if name in table else score_index(name, counts, taxa)["score"] for name in names},
        index=table.index,
    ).astype(float)
    values = values.loc[values.index.isin(counts["sample_id"])]
    if sample_id not in values.index:
        return [Step("The sample has no counts: there is no score", None)], None
    fixed = fixed or fix_percentiles(index, values)
    rated = rate_metrics(fixed, values.loc[[sample_id]]).iloc[0]
    parts = zip(index.metrics, fixed.metrics, values.loc[sample_id], rated, strict=True)
    steps = [
        Step(f"{item.metric}: no value", None)
        if math.isnan(score)
        else Step(f"{item.metric}: {_rate(defined, item, float(value), float(score))}", float(score))
        for defined, item, value, score in parts
    ]
    if rated.isna().any():
        return [*steps, Step("A metric has no value: there is no score", None)], None
    total = float(rated.sum())
    steps.append(Step("Sum over metrics", total))
    if index.combination != "mean":
        return steps, total
    return [*steps, Step(f"Mean: {total:g} / {len(names)}", total / len(names))], total / len(names)


def _rate(defined: CutPoints | Ramp, item: CutPoints | Ramp, value: float, score: float) -> str:
    """Say how a value comes to its score on the scale of its metric."""
    if not isinstance(item, Ramp):
        return f"{_show(value)} is {_place(item, score)}: {score:g}"
    ends = [(name, getattr(defined, name), float(getattr(item, name))) for name in ("floor", "ceiling")]
    floor, ceiling = (number for _, _, number in ends)
    low, high = shown = [_show(number, decimal=isinstance(end, Percentile)) for _, end, number in ends]
    said = [
        f"{name} p{end.percent:g} = {text}"
        for (name, end, _), text in zip(ends, shown, strict=True)
        if isinstance(end, Percentile)
    ]
    raw = 100.0 * (value - floor) / (ceiling - floor)
    held = [] if abs(raw - score) < _NOISE else [f"held at {score:g}"]
    return ", ".join([f"100 x ({_show(value)} - {low}) / ({high} - {low})", *held, *said])


def _place(item: CutPoints, score: float) -> str:
    """Say between which cut points a score of 5, 3 or 1 lies."""
    over, under = ("over {}", "{} or more"), ("under {}", "{} or less")
    better, worse = (over, under) if item.better == "high" else (under, over)
    cuts = [(_show(cut), inside) for cut, inside in zip(item.cuts, item.to_better, strict=True)]
    best, middle = (better[inside].format(cut) for cut, inside in cuts)
    not_best, lowest = (worse[not inside].format(cut) for cut, inside in cuts)
    return {5.0: best, 3.0: f"{middle}, {not_best}", 1.0: lowest}[score]


def _show(number: float, *, decimal: bool = False) -> str:
    """Write a number shortly; with `decimal` one from samples shows that it need not be whole."""
    text = f"{number:.6g}"
    return f"{text}.0" if decimal and text.lstrip("-").isdigit() else text


def _close(score: float | None, index: Index) -> list[Step]:
    """Round the score and find its class, with the limits that it lies between."""
    if score is None:
        return [Step("Without a score there is no class", None)]
    one = pd.Series([score])
    rounded = float(round_half_away(one, index.decimals).iloc[0])
    label = str(classify(one, index).iloc[0])
    place = index.labels.index(label)
    better, worse = ("over", "up to") if index.better == "low" else ("under", "down to")
    parts = []
    if place:
        parts.append(f"{better} {index.limits[place - 1]:.{index.decimals}f}")
    if place < len(index.limits):
        parts.append(f"{worse} {index.limits[place]:.{index.decimals}f}")
    return [
        Step(f"Rounded to {index.decimals} decimals, halves away from zero", rounded),
        Step(f"Class: {label} ({', '.join(parts)})", None),
    ]


_VALUES: Final[Mapping[str, tuple[str, str]]] = {
    FAMILY_BIOTIC_INDEX.name: ("tolerance", ""),
    BIOTIC_INDEX.name: ("tolerance", ""),
    "intolerant_richness": ("tolerance", ""),
    "percent_tolerant": ("tolerance", ""),
    BMWP.name: ("bmwp", "points of the BMWP list"),
    ASPT.name: ("bmwp", "points of the BMWP list"),
    STREAMSIDE_RATING.name: ("sensitivity", "group of the streamside rating"),
}
"""Column of the value that an index or metric uses, and its source where the table of taxa tells none."""

_STEPS: Final[Mapping[str, Callable[[pd.DataFrame, pd.DataFrame], tuple[list[Step], float | None]]]] = {
    FAMILY_BIOTIC_INDEX.name: _average,
    BIOTIC_INDEX.name: _average,
    BMWP.name: _sum_families,
    ASPT.name: _average_families,
    STREAMSIDE_RATING.name: _add_kinds,
}
"""Arithmetic of the built-in indices."""
