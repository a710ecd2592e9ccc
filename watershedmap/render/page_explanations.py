"""How the listed samples came to their scores, small enough to stand in the page.

`watershedmap.scoring.explain` does the arithmetic; here its lines are stored. A taxon with its value, a step
with its result, a hit of a check each stand once for the page; a sample holds positions in those lists, and
its counts. Where there are more samples than `MOST_EXPLAINED`, or the block would pass `MOST_BYTES`, it is
left out as a whole and the page names the command that shows one sample: both limits are our own choice,
the first for the time it takes (a few milliseconds a sample), the second for the size of the page.
"""

from __future__ import annotations

from collections import defaultdict
from typing import TYPE_CHECKING, Any, Final

from watershedmap.render.page_columns import shorten, texts
from watershedmap.render.page_json import to_json
from watershedmap.scoring.explain import explain_sample
from watershedmap.scoring.indices import score_index
from watershedmap.scoring.scales import MultimetricIndex, fix_percentiles

if TYPE_CHECKING:
    from collections.abc import Callable, Hashable, Sequence

    import pandas as pd

    from watershedmap.assessment import Assessment
    from watershedmap.scoring.explain import Explanation

MOST_EXPLAINED: Final = 1000
"""Samples up to which each is explained in the page."""
MOST_BYTES: Final = 1_500_000
"""Bytes up to which the explanations stand in the page."""
DIGITS: Final = 10
"""Digits of a result: as many as `watershedmap score --explain` prints."""


class Pool:
    """A list in which every item stands once."""

    def __init__(self) -> None:
        self.items: list[Hashable] = []
        self._places: dict[Hashable, int] = {}

    def place(self, item: Hashable) -> int:
        """Return the position of an item, which is added when it is new.

        Parameters
        ----------
        item
            Anything that can be a key.

        Returns
        -------
        int
            Position in `items`, from 0.
        """
        if item not in self._places:
            self._places[item] = len(self.items)
            self.items.append(item)
        return self._places[item]


def collect_explanations(assessment: Assessment, sample_ids: Sequence[str]) -> dict[str, Any] | None:
    """Collect how samples came to their scores.

    Parameters
    ----------
    assessment
        What was computed.
    sample_ids
        The samples to explain.

    Returns
    -------
    dict or None
        `texts` (sources and remarks), `taxa` (name, taken for, value, positions of source and remark),
        `steps` (text, result), `checks` (flag, value, limit, severity, what was done), and `samples`: one
        for each of `sample_ids`, holding positions of its taxa, its counts, positions of its steps and of its
        checks, and whether the arithmetic comes to its score. None where there would be too much of it.
    """
    if len(sample_ids) > MOST_EXPLAINED:
        return None
    said, taxa, steps, checks = Pool(), Pool(), Pool(), Pool()
    explain, hits = _explainer(assessment), _checks_by_sample(assessment)
    samples = []
    for sample_id in sample_ids:
        found = explain(sample_id)
        lines = [
            (line.name, line.taxon, _number(line.value), said.place(line.source), said.place(line.remark))
            for line in found.taxa
        ]
        samples.append(
            [
                [taxa.place(line) for line in lines],
                [_number(line.count) for line in found.taxa],
                [steps.place((step.text, _number(step.result))) for step in found.steps],
                [checks.place(hit) for hit in hits[sample_id]],
                int(found.agrees),
            ]
        )
    pools = {"texts": said, "taxa": taxa, "steps": steps, "checks": checks}
    block = {**{name: pool.items for name, pool in pools.items()}, "samples": samples}
    return block if len(to_json(block).encode()) <= MOST_BYTES else None


def _explainer(assessment: Assessment) -> Callable[[str], Explanation]:
    """Return what explains a sample from its own rows alone: to look through all each time is slow."""
    counts, taxa, index = assessment.survey.counts, assessment.taxa, assessment.index
    samples = assessment.samples
    if counts is None or taxa is None:
        return lambda sample_id: explain_sample(sample_id, samples, None, None, index=index)
    fixed = None
    if isinstance(index, MultimetricIndex):
        samples, fixed = _fix_scales(samples, counts, taxa, index)
    rows = dict(list(samples.groupby("sample_id")))
    parts, none = dict(list(counts.groupby("sample_id"))), counts.iloc[:0]
    return lambda sample_id: explain_sample(
        sample_id, rows[sample_id], parts.get(sample_id, none), taxa, index=index, fixed=fixed
    )


def _fix_scales(
    samples: pd.DataFrame, counts: pd.DataFrame, taxa: pd.DataFrame, index: MultimetricIndex
) -> tuple[pd.DataFrame, MultimetricIndex]:
    """Look up once what rests on all samples: metrics that are indices, and scales that are percentiles."""
    names = [item.metric for item in index.metrics]
    lacking = {name: score_index(name, counts, taxa)["score"] for name in names if name not in samples}
    filled = samples.assign(**{name: samples["sample_id"].map(scores) for name, scores in lacking.items()})
    counted = filled[filled["sample_id"].isin(counts["sample_id"])]
    return filled, fix_percentiles(index, counted.set_index("sample_id")[names].astype(float))


def _checks_by_sample(assessment: Assessment) -> dict[str, list[tuple[str, ...]]]:
    """Return the hits of each sample, as texts, in the order of the register."""
    frame = assessment.checks
    hits = defaultdict(list)
    columns = [texts(frame, name) for name in ("flag", "value", "limit", "severity", "done")]
    for sample_id, *hit in zip(texts(frame, "sample_id"), *columns, strict=True):
        hits[sample_id].append(tuple(hit))
    return hits


def _number(value: float | None) -> float | None:
    return None if value is None else shorten(float(f"{value:.{DIGITS}g}"))
