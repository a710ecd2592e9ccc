"""Reads the definition of a multimetric index: a TOML file that a programme writes for its own region.

::

    [index]
    name = "north_hills"            # small letters, digits, underscores
    label = "Index of the north hills"
    combination = "sum"             # or "mean"
    decimals = 0                    # scores are rounded to them before they are classed
    source = "who published it"

    [percentiles]                   # only where a floor or ceiling is a percentile
    type = 7                        # or 6
    samples = ["S1", "S2"]          # left out: all samples of the survey

    [[metrics]]
    metric = "taxa_richness"
    scale = "1-3-5"
    cut_points = [28, 14]           # between 5 and 3, between 3 and 1
    at_cut_points = ["worse", "better"]   # which side has the cut point itself; left out: better

    [[metrics]]
    metric = "family_biotic_index"
    scale = "0-100"
    floor = 10                      # worth 0
    ceiling = "p5"                  # worth 100: a number, or a percentile
    better = "low"                  # only where the metric has no direction of its own, or another

    [[classes]]                     # best first
    label = "Good"
    limit = 36                      # the worse end; none for the last class
    closed = true                   # false: the limit itself is in the next class
    meaning = "like undisturbed streams"

Every fault of the file is gathered and named by key, value and fix; what the scores mean is said in
`watershedmap.scoring.scales`. Two files with the package show both scales; their figures are examples.
"""

from __future__ import annotations

import difflib
import math
import re
import tomllib
from functools import cache
from importlib.resources import files
from itertools import pairwise
from pathlib import Path
from types import MappingProxyType
from typing import TYPE_CHECKING, Any, Final, Literal

from watershedmap.errors import Fault
from watershedmap.scoring.classes import IndexClass, move_open_limit
from watershedmap.scoring.indices import INDICES
from watershedmap.scoring.metrics import METRICS
from watershedmap.scoring.reference import PERCENTILE_TYPES
from watershedmap.scoring.scales import CutPoints, MultimetricIndex, Percentile, Ramp, find_span
from watershedmap.scoring.sections import Reader

if TYPE_CHECKING:
    from collections.abc import Mapping

__all__ = ["MultimetricIndex", "list_examples", "read_definition"]

SCALES: Final = ("1-3-5", "0-100")
COMBINATIONS: Final = ("sum", "mean")
SIDES: Final = ("better", "worse")
MOST_DECIMALS: Final = 6
MOST_CLASSES: Final = 10
"""More cannot be told apart on a map."""
TAKEN_LABELS: Final = frozenset({"unassessed", "unknown", "not assessed"})
"""Words, without case, that stand for reaches without a class."""

_NAME: Final = re.compile(r"[a-z][a-z0-9_]*")
_PERCENTILE: Final = re.compile(r"p(\d+(?:\.\d+)?)")
_PERCENT: Final = 100.0
_FEWEST_CLASSES: Final = 2


def list_examples() -> tuple[Path, ...]:
    """List the definition files that come with the package.

    Returns
    -------
    tuple of pathlib.Path
        Sorted by name. They show the form; their figures are to be calibrated for the region.
    """
    folder = Path(str(files("watershedmap.scoring") / "definitions"))
    return tuple(sorted(folder.glob("*.toml")))


def read_definition(source: Path | str, *, file: str = "") -> tuple[MultimetricIndex | None, list[Fault]]:
    """Read and check the definition of a multimetric index.

    Parameters
    ----------
    source
        The file, or its text: a string with a line break is taken as text, any other as a path.
    file
        Name of the file in faults; the name of the path when empty.

    Returns
    -------
    MultimetricIndex or None
        None when there are faults that are not mere notices.
    list of Fault
        Everything that is wrong or worth a look.
    """
    is_text = isinstance(source, str) and "\n" in source
    name = file or ("definition" if is_text else Path(source).name)
    try:
        text = str(source) if is_text else Path(source).read_text(encoding="utf-8-sig")
        document = tomllib.loads(text)
    except OSError as error:
        fix = "name the definition file relative to the survey folder"
        return None, [Fault(name, None, "", "", f"the file cannot be read: {error.strerror}", fix)]
    except (tomllib.TOMLDecodeError, UnicodeDecodeError) as error:
        fix = "see https://toml.io for how such a file is written, and save it as UTF-8"
        return None, [Fault(name, None, "", "", f"this is not valid TOML: {error}", fix)]
    reader = Reader(name)
    definition = _read_document(reader.table(document, "", ""), reader)
    stopped = any(fault.severity == "fault" for fault in reader.faults)
    return (None if stopped else definition), reader.faults


def _read_document(document: Mapping[str, Any], reader: Reader) -> MultimetricIndex | None:
    head = reader.table(document.get("index", {}), "index", "index")
    name = _read_name(head, reader)
    combination = reader.choice(head, "index", "combination", COMBINATIONS)
    decimals = _read_decimals(head, reader)
    kind, samples = _read_percentiles(document, reader)
    metrics = _read_metrics(document, reader)
    classes = _read_classes(document, reader, decimals)
    label, source = reader.text(head, "index", "label"), reader.text(head, "index", "source")
    if any(fault.severity == "fault" for fault in reader.faults):
        return None
    span = find_span(metrics, combination)
    _check_reach(classes, span, reader)
    if any(fault.severity == "fault" for fault in reader.faults):
        return None
    return MultimetricIndex(
        name=name,
        label=label or name,
        unit="",
        better="high",
        decimals=decimals,
        classes=classes,
        source=source or f"defined in {reader.file}",
        scale=span,
        metrics=metrics,
        combination="mean" if combination == "mean" else "sum",
        percentile_type=kind,
        percentile_samples=samples,
        file=reader.file,
    )


def _read_name(head: Mapping[str, Any], reader: Reader) -> str:
    name = reader.text(head, "index", "name")
    if not _NAME.fullmatch(name):
        fix = "give it a name of small letters, digits and underscores"
        reader.fault("index.name", name, "the index has no name that can head a column", fix)
    elif name in _known_metrics() or name == "scores":
        reader.fault("index.name", name, "this name is taken", "choose another name")
    return name


def _read_decimals(head: Mapping[str, Any], reader: Reader) -> int:
    decimals = head.get("decimals", 0)
    if isinstance(decimals, int) and not isinstance(decimals, bool) and 0 <= decimals <= MOST_DECIMALS:
        return decimals
    reader.fault("index.decimals", decimals, "not a number of decimals", f"write 0 to {MOST_DECIMALS}")
    return 0


def _read_percentiles(document: Mapping[str, Any], reader: Reader) -> tuple[int, tuple[str, ...]]:
    section = reader.table(document.get("percentiles", {}), "percentiles", "percentiles")
    kind = section.get("type", 7)
    if not isinstance(kind, int) or isinstance(kind, bool) or kind not in PERCENTILE_TYPES:
        reader.fault("percentiles.type", kind, "no such type of percentile", "write 6 or 7")
        kind = 7
    samples = section.get("samples", [])
    if not isinstance(samples, list) or not all(isinstance(one, str) and one for one in samples):
        fix = 'write the ids of samples, each in quotation marks: ["S1", "S2"]'
        reader.fault("percentiles.samples", samples, "this is not a list of samples", fix)
        samples = []
    return kind, tuple(dict.fromkeys(samples))


def _read_metrics(document: Mapping[str, Any], reader: Reader) -> tuple[CutPoints | Ramp, ...]:
    blocks = reader.tables(document, "metrics")
    if not blocks:
        fix = "write one [[metrics]] block for each metric"
        reader.fault("metrics", None, "the index has no metrics", fix)
    read = [_read_metric(block, at, reader) for at, block in blocks]
    metrics = tuple(item for item in read if item is not None)
    seen: set[str] = set()
    for (at, _), item in zip(blocks, read, strict=True):
        if item is not None and item.metric in seen:
            fix = "keep one of the two blocks"
            reader.fault(f"{at}.metric", item.metric, "this metric stands here twice", fix)
        seen |= {item.metric} if item is not None else set()
    if len({item.span for item in metrics}) > 1:
        fix = "put all metrics on the same scale, unless the source of the index mixes them"
        problem = "metrics on 0-100 outweigh those on 1-3-5 by far"
        reader.fault("metrics", None, problem, fix, "notice")
    return metrics


def _read_metric(block: Mapping[str, Any], at: str, reader: Reader) -> CutPoints | Ramp | None:
    name = reader.text(block, at, "metric")
    known = _known_metrics()
    if name not in known:
        near = difflib.get_close_matches(name, known, n=1)
        fix = f"did you mean {near[0]}?" if near else f"choose from: {', '.join(known)}"
        reader.fault(f"{at}.metric", name, "there is no such metric", fix)
    better = _read_direction(block, at, name, reader)
    scale = reader.choice(block, at, "scale", SCALES)
    if scale == "1-3-5":
        return _read_cut_points(block, at, name, better, reader)
    return _read_ramp(block, at, name, better, reader) if scale else None


def _read_direction(
    block: Mapping[str, Any], at: str, name: str, reader: Reader
) -> Literal["low", "high"] | None:
    own = _known_metrics().get(name, ("neither", "", 0.0))[0]
    if "better" not in block:
        if own == "neither" and name in _known_metrics():
            fix = 'write better = "low" or better = "high" in its block'
            reader.fault(f"{at}.better", None, f"{name} has no direction of its own", fix)
        return _direction(own)
    stated = reader.choice(block, at, "better", ("low", "high"))
    if stated and own not in ("neither", stated):
        fix = "leave the key out, unless the source of the index turns the metric round"
        problem = f"elsewhere {own} is the good end of {name}"
        reader.fault(f"{at}.better", stated, problem, fix, "notice")
    return _direction(stated)


def _direction(word: str) -> Literal["low", "high"] | None:
    return "low" if word == "low" else "high" if word == "high" else None


def _read_cut_points(
    block: Mapping[str, Any], at: str, name: str, better: Literal["low", "high"] | None, reader: Reader
) -> CutPoints | None:
    _refuse(block, at, ("floor", "ceiling"), "1-3-5", reader)
    key, cuts = f"{at}.cut_points", block.get("cut_points")
    form = "write two numbers, between 5 and 3 and between 3 and 1: [28, 14]"
    if not isinstance(cuts, list) or len(cuts) != 2:  # noqa: PLR2004 - three scores have two cut points
        reader.fault(key, cuts, f"{name} does not have two cut points", form)
        return None
    first, second = (reader.number(cut, key) for cut in cuts)
    for cut in (first, second):
        _check_range(cut, key, name, reader)
    sides = _read_sides(block, at, reader)
    if better is None or math.isnan(first) or math.isnan(second):
        return None
    if (first - second if better == "high" else second - first) <= 0:
        order = "the larger" if better == "high" else "the smaller"
        fix = f"where {better} is good, {order} number comes first"
        reader.fault(key, cuts, f"the scores of {name} overlap, or its cut points are out of order", fix)
        return None
    return CutPoints(name, better, (first, second), sides)


def _read_sides(block: Mapping[str, Any], at: str, reader: Reader) -> tuple[bool, bool]:
    sides = block.get("at_cut_points", ["better", "better"])
    if not isinstance(sides, list) or len(sides) != 2 or any(side not in SIDES for side in sides):  # noqa: PLR2004 - as above
        fix = 'write "better" or "worse" for each cut point: ["worse", "better"]'
        reader.fault(f"{at}.at_cut_points", sides, "it is not said which side a cut point is on", fix)
        return True, True
    return sides[0] == "better", sides[1] == "better"


def _read_ramp(
    block: Mapping[str, Any], at: str, name: str, better: Literal["low", "high"] | None, reader: Reader
) -> Ramp | None:
    _refuse(block, at, ("cut_points", "at_cut_points"), "0-100", reader)
    floor, ceiling = (_read_end(block.get(key), f"{at}.{key}", name, reader) for key in ("floor", "ceiling"))
    if floor is None or ceiling is None or better is None:
        return None
    if isinstance(floor, Percentile) == isinstance(ceiling, Percentile):
        low, high = (end.percent if isinstance(end, Percentile) else end for end in (floor, ceiling))
        if (high - low if better == "high" else low - high) <= 0:
            problem = (
                "floor and ceiling are the same"
                if low == high
                else "floor and ceiling are the wrong way round"
            )
            order = "below" if better == "high" else "above"
            fix = f"the floor is worth 0: where {better} is good it lies {order} the ceiling"
            reader.fault(f"{at}.floor", block.get("floor"), f"{name}: {problem}", fix)
            return None
    return Ramp(name, better, floor, ceiling)


def _read_end(value: object, key: str, name: str, reader: Reader) -> float | Percentile | None:
    if isinstance(value, str):
        match = _PERCENTILE.fullmatch(value.strip())
        if match and float(match[1]) <= _PERCENT:
            return Percentile(float(match[1]))
        problem = "a percentile over 100" if match else "neither a number nor a percentile"
        reader.fault(key, value, problem, 'write a number, or a percentile from "p0" to "p100"')
        return None
    number = reader.number(value, key)
    _check_range(number, key, name, reader)
    return None if math.isnan(number) else number


def _check_range(number: float, key: str, name: str, reader: Reader) -> None:
    _, unit, most = _known_metrics().get(name, ("", "", math.inf))
    if number < 0:
        reader.fault(key, f"{number:g}", f"{name} is never below 0", "write a number from 0 on")
    elif number > most:
        problem = "a percentage over 100" if unit == "%" else f"{name} is never above {most:g}"
        reader.fault(key, f"{number:g}", problem, f"write a number from 0 to {most:g}")


def _refuse(block: Mapping[str, Any], at: str, keys: tuple[str, ...], scale: str, reader: Reader) -> None:
    for key in keys:
        if key in block:
            fix = "leave it out, or choose the other scale"
            reader.fault(f"{at}.{key}", block[key], f"the scale {scale} has no such key", fix)


def _read_classes(document: Mapping[str, Any], reader: Reader, decimals: int) -> tuple[IndexClass, ...]:
    blocks = reader.tables(document, "classes")
    if not _FEWEST_CLASSES <= len(blocks) <= MOST_CLASSES:
        fix = "write one [[classes]] block per class, best first, each with label and limit"
        problem = "the index has no classes" if not blocks else f"there are not 2 to {MOST_CLASSES} classes"
        reader.fault("classes", len(blocks) or None, problem, fix)
    classes = [
        _read_class(block, at, is_last=number == len(blocks), decimals=decimals, reader=reader)
        for number, (at, block) in enumerate(blocks, start=1)
    ]
    for (at, block), (better, worse) in zip(blocks[1:], pairwise(classes), strict=False):
        if better.limit is not None and worse.limit is not None and not worse.limit < better.limit:
            fix = "list the classes from best to worst: each limit below the one before"
            reader.fault(f"{at}.limit", block.get("limit"), "the classes overlap or are out of order", fix)
    labels = [one.label.casefold() for one in classes]
    for label in sorted({one for one in labels if one and labels.count(one) > 1}):
        reader.fault("classes", label, "two classes share a label", "give each its own")
    return tuple(classes)


def _read_class(
    block: Mapping[str, Any], at: str, *, is_last: bool, decimals: int, reader: Reader
) -> IndexClass:
    label = reader.text(block, at, "label")
    if not label:
        reader.fault(f"{at}.label", None, "the class has no label", "give it a word")
    elif label.casefold() in TAKEN_LABELS:
        fix = "choose another word: this one stands for reaches without a class"
        reader.fault(f"{at}.label", label, "this label has another meaning here", fix)
    limit = _read_limit(block, at, reader, is_last=is_last, decimals=decimals)
    return IndexClass(label, limit, reader.text(block, at, "meaning"))


def _read_limit(
    block: Mapping[str, Any], at: str, reader: Reader, *, is_last: bool, decimals: int
) -> float | None:
    key = f"{at}.limit"
    closed = block.get("closed", True)
    if not isinstance(closed, bool):
        reader.fault(f"{at}.closed", closed, "neither true nor false", "write true or false, without marks")
    if is_last:
        if "limit" in block:
            fix = "leave it out, or add the class below it"
            reader.fault(key, block["limit"], "the last class takes in all the rest and has no limit", fix)
        return None
    limit = reader.number(block.get("limit"), key)
    if math.isnan(limit):
        return None
    if round(limit, decimals) != limit:
        fix = f"write decimals under [index]: it is {decimals} now"
        reader.fault(key, limit, "the limit has more decimals than the index", fix)
    return limit if closed is True else move_open_limit(limit, better="high", decimals=decimals)


def _check_reach(classes: tuple[IndexClass, ...], span: tuple[float, float], reader: Reader) -> None:
    """Refuse limits that leave a class which no score can be in."""
    for number, one in enumerate(classes, start=1):
        if one.limit is not None and not span[0] < one.limit <= span[1]:
            problem = f"no score parts the classes here: scores run from {span[0]:g} to {span[1]:g}"
            fix = "write a limit within the scores that these metrics and this combination can give"
            reader.fault(f"classes {number}.limit", one.limit, problem, fix)


@cache
def _known_metrics() -> Mapping[str, tuple[str, str, float]]:
    """Direction, unit and highest value of all that can be a metric of a definition."""
    metrics = {
        metric.name: (str(metric.better), metric.unit, _PERCENT if metric.unit == "%" else math.inf)
        for metric in METRICS
    }
    indices = {index.name: (str(index.better), index.unit, index.scale[1]) for index in INDICES.values()}
    return MappingProxyType(metrics | indices)
