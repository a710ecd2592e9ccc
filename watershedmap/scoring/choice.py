"""The index of a survey: a built-in one, or one that `survey.toml` defines.

A metric, or scores brought in, become an index once the survey says which end is good condition and where
the classes end; the tool has no limits of its own for them.
"""

from __future__ import annotations

import difflib
from typing import TYPE_CHECKING

from watershedmap.errors import Fault
from watershedmap.scoring.indices import INDICES, Index, IndexClass
from watershedmap.scoring.metrics import METRICS
from watershedmap.settings import SETTINGS_FILE

if TYPE_CHECKING:
    from watershedmap.settings import IndexSettings

SCORES = "scores"
"""Value of `index.use` for scores brought in."""
MOST_CLASSES = 10
TAKEN_LABELS = frozenset({"unassessed", "unknown", "not assessed"})


def choose_index(settings: IndexSettings) -> tuple[Index | None, list[Fault]]:
    """Return the index that a survey names or defines.

    Parameters
    ----------
    settings
        The section `[index]` of `survey.toml`.

    Returns
    -------
    Index or None
        None when there are faults.
    list of Fault
        What is missing or does not fit.
    """
    if settings.use in INDICES:
        if settings.better or settings.classes:
            fix = "leave them out, or name a metric under another label"
            return None, [
                _fault("index.use", settings.use, "this index has its own direction and classes", fix)
            ]
        return INDICES[settings.use], []
    metrics = {metric.name: metric for metric in METRICS}
    choices = (*INDICES, *metrics, SCORES)
    if settings.use not in choices:
        near = difflib.get_close_matches(settings.use, choices, n=1)
        fix = f"did you mean {near[0]}?" if near else f"choose from: {', '.join(choices)}"
        return None, [_fault("index.use", settings.use, "there is no such index", fix)]
    metric = metrics.get(settings.use)
    label = settings.label or (metric.label if metric else "Score")
    return _define(settings, label=label, unit=metric.unit if metric else "")


def _define(settings: IndexSettings, *, label: str, unit: str) -> tuple[Index | None, list[Fault]]:
    faults = []
    if not settings.better:
        fix = 'write better = "low" or better = "high" under [index]'
        faults.append(_fault("index.better", "", "it is not said which end is good condition", fix))
    if not settings.classes:
        fix = "write one [[index.classes]] block per class, best first, each with label and limit"
        faults.append(_fault("index.classes", "", "the index has no classes", fix))
    if len(settings.classes) > MOST_CLASSES:
        fix = "join some: more classes than that cannot be told apart on a map"
        faults.append(_fault("index.classes", "", f"there are more than {MOST_CLASSES} classes", fix))
    for item in settings.classes:
        if item.label.casefold() in TAKEN_LABELS:
            fix = "choose another word: this one stands for reaches without a class"
            faults.append(_fault("index.classes", item.label, "this label has another meaning here", fix))
    if faults:
        return None, faults
    classes = tuple(IndexClass(label=item.label, limit=item.limit, meaning="") for item in settings.classes)
    try:
        index = Index(
            name=settings.use,
            label=label,
            unit=unit,
            better="low" if settings.better == "low" else "high",
            decimals=2,
            classes=classes,
            source=settings.source or "defined in survey.toml",
        )
    except ValueError as error:
        fix = "list the classes from best to worst, each with its own label, all but the last with a limit"
        return None, [_fault("index.classes", "", str(error), fix)]
    return index, []


def _fault(key: str, value: str, problem: str, fix: str) -> Fault:
    return Fault(SETTINGS_FILE, None, key, value, problem, fix)
