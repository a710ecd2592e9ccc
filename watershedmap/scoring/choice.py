"""The index of a survey: a built-in one, one of a definition file, or one that `survey.toml` defines.

A metric, or scores brought in, become an index once the survey says which end is good condition and where
the classes end; the tool has no limits of its own for them.
"""

from __future__ import annotations

import difflib
from dataclasses import replace
from pathlib import Path

from watershedmap.errors import Fault
from watershedmap.scoring.indices import INDICES, Index, IndexClass
from watershedmap.scoring.metrics import METRICS
from watershedmap.scoring.multimetric import MOST_CLASSES, TAKEN_LABELS, read_definition
from watershedmap.settings import SETTINGS_FILE, IndexSettings

ORDER_CLASSES = "list the classes from best to worst, each with its own label, all but the last with a limit"
SCORES = "scores"
"""Value of `index.use` for scores brought in."""


def choose_index(settings: IndexSettings, folder: Path | None = None) -> tuple[Index | None, list[Fault]]:
    """Return the index that a survey names or defines.

    Parameters
    ----------
    settings
        The section `[index]` of `survey.toml`.
    folder
        The survey folder, which a definition file is looked for in; None for the working folder.

    Returns
    -------
    Index or None
        A `MultimetricIndex` when a definition file is named; None when there are faults.
    list of Fault
        What is missing or does not fit; with an index only notices.
    """
    if settings.definition:
        return _read_file(settings, folder)
    if settings.use in INDICES:
        if settings.better:
            fix = "leave it out"
            return None, [_fault("index.better", settings.better, "this index has its own direction", fix)]
        return _replace_classes(INDICES[settings.use], settings)
    metrics = {metric.name: metric for metric in METRICS}
    choices = (*INDICES, *metrics, SCORES)
    if settings.use not in choices:
        near = difflib.get_close_matches(settings.use, choices, n=1)
        fix = f"did you mean {near[0]}?" if near else f"choose from: {', '.join(choices)}"
        return None, [_fault("index.use", settings.use, "there is no such index", fix)]
    metric = metrics.get(settings.use)
    label = settings.label or (metric.label if metric else "Score")
    return _define(settings, label=label, unit=metric.unit if metric else "")


def _replace_classes(index: Index, settings: IndexSettings) -> tuple[Index | None, list[Fault]]:
    """Return a built-in index, with the survey's own classes where it states some."""
    if not settings.classes:
        return index, []
    faults = _check_classes(settings)
    if faults:
        return None, faults
    said = settings.source or "survey.toml"
    classes = tuple(IndexClass(label=item.label, limit=item.limit, meaning="") for item in settings.classes)
    try:
        return replace(index, classes=classes, source=f"{index.source}; classes: {said}"), []
    except ValueError as error:
        return None, [_fault("index.classes", "", str(error), ORDER_CLASSES)]


def _check_classes(settings: IndexSettings) -> list[Fault]:
    """Fault more classes than can be told apart, and labels that mean something else on the pages."""
    faults = []
    if len(settings.classes) > MOST_CLASSES:
        fix = "join some: more classes than that cannot be told apart on a map"
        faults.append(_fault("index.classes", "", f"there are more than {MOST_CLASSES} classes", fix))
    for item in settings.classes:
        if item.label.casefold() in TAKEN_LABELS:
            fix = "choose another word: this one stands for reaches without a class"
            faults.append(_fault("index.classes", item.label, "this label has another meaning here", fix))
    return faults


def _read_file(settings: IndexSettings, folder: Path | None) -> tuple[Index | None, list[Fault]]:
    path = Path(settings.definition) if folder is None else folder / settings.definition
    definition, faults = read_definition(path, file=settings.definition)
    stated = {
        "better": settings.better,
        "classes": "; ".join(item.label for item in settings.classes),
        "label": settings.label,
        "source": settings.source,
    }
    fix = f"leave it out, or write it in {settings.definition}"
    problem = "the definition file says this for the index"
    faults += [_fault(f"index.{key}", value, problem, fix) for key, value in stated.items() if value]
    own = ("", IndexSettings().use, definition.name if definition else settings.use)
    if settings.use not in own:
        fix = "keep either `use` or `definition`"
        faults.append(_fault("index.use", settings.use, "two indices are named", fix))
    stopped = any(fault.severity == "fault" for fault in faults)
    return (None if stopped else definition), faults


def _define(settings: IndexSettings, *, label: str, unit: str) -> tuple[Index | None, list[Fault]]:
    faults = []
    if not settings.better:
        fix = 'write better = "low" or better = "high" under [index]'
        faults.append(_fault("index.better", "", "it is not said which end is good condition", fix))
    if not settings.classes:
        fix = (
            "write one [[index.classes]] block per class, best first, each with label and limit; to draw "
            "limits from reference sites write any two, then run watershedmap limits"
        )
        faults.append(_fault("index.classes", "", "the index has no classes", fix))
    faults += _check_classes(settings)
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
        return None, [_fault("index.classes", "", str(error), ORDER_CLASSES)]
    return index, []


def _fault(key: str, value: str, problem: str, fix: str) -> Fault:
    return Fault(SETTINGS_FILE, None, key, value, problem, fix)
