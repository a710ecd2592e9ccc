"""Reads and checks `[rank]` of `survey.toml`."""

from __future__ import annotations

from dataclasses import fields
from typing import TYPE_CHECKING, Any

from watershedmap.readers.sections import has_kind_of, is_number, match_kind, name_kind
from watershedmap.settings_rank import NEEDS, RankColumn, RankSettings, RankWeights

if TYPE_CHECKING:
    from watershedmap.readers.sections import Section

RANK_KEYS = tuple(item.name for item in fields(RankSettings))
_PLAIN = tuple(name for name in RANK_KEYS if name not in {"weights", "columns"})
_LEAST = {"full_km": 0.001, "downstream_km": 0.001, "step_classes": 0.001, "concentration": 1.0}
_FEWEST_DRAWS, _MOST_DRAWS = 100, 100_000


def read_rank(section: Section) -> RankSettings:
    """Read and check the section.

    Parameters
    ----------
    section
        `[rank]`; an absent one gives all defaults. Faults are added to it.

    Returns
    -------
    RankSettings
        With defaults in place of what is missing or at fault.
    """
    plain: dict[str, Any] = {}
    for name in _PLAIN:
        if name in section.values:
            value, default = section.values[name], getattr(RankSettings(), name)
            if has_kind_of(value, default):
                plain[name] = match_kind(value, default)
            else:
                section.fault(
                    name, value, f"not {name_kind(default)}", f"the default is {default or 'empty'}"
                )
    settings = RankSettings(**plain, weights=_read_weights(section), columns=_read_columns(section))
    for name, low in _LEAST.items():
        if getattr(settings, name) < low:
            section.fault(name, getattr(settings, name), f"less than {low}", f"give {low} or more")
    if not _FEWEST_DRAWS <= settings.draws <= _MOST_DRAWS:
        fix = f"give {_FEWEST_DRAWS} to {_MOST_DRAWS}"
        section.fault("draws", settings.draws, "too few or too many draws", fix)
    if settings.seed < 0:
        section.fault("seed", settings.seed, "less than 0", "give a whole number, 0 or more")
    given = [getattr(settings.weights, item.name) for item in fields(RankWeights)]
    if not any([*given, *(column.weight for column in settings.columns)]):
        section.fault("weights", "", "no part has any weight", "give at least one part a weight above 0")
    return settings


def _read_weights(section: Section) -> RankWeights:
    names = tuple(item.name for item in fields(RankWeights))
    inner = section.inner("weights", names)
    return RankWeights(
        **{name: _read_weight(inner, name, getattr(RankWeights(), name)) for name in names},
    )


def _read_weight(section: Section, name: str, default: float) -> float:
    value = section.values.get(name, default)
    if not is_number(value) or value < 0:
        section.fault(name, value, "not a number, 0 or more", f"the default is {default:g}")
        return default
    return float(value)


def _read_columns(section: Section) -> tuple[RankColumn, ...]:
    values = section.values.get("columns", {})
    outer = section.inner("columns", tuple(values) if isinstance(values, dict) else ())
    found: list[RankColumn] = []
    taken = {item.name for item in fields(RankWeights)}
    for name in sorted(outer.values):
        if name.lower() in taken:  # a map layer cannot hold two columns that differ by case alone
            outer.fault(name, name, "a part has this name already", "rename the column in the layer")
        taken.add(name.lower())
        inner = outer.inner(name, ("need", "weight", "least", "most"))
        ends = {end: _read_end(inner, end) for end in ("least", "most")}
        if ends["least"] is not None and ends["most"] is not None and ends["least"] >= ends["most"]:
            inner.fault("least", ends["least"], "not below most", "give the low end as least")
        need = inner.choice("need", NEEDS)
        if not need:
            inner.fault(
                "need", "", "it is not said at which end need is greater", 'write need = "high" or "low"'
            )
        weight = _read_weight(inner, "weight", RankColumn(name=name).weight)
        found.append(RankColumn(name=name, need=need or NEEDS[0], weight=weight, **ends))
    return tuple(found)


def _read_end(section: Section, name: str) -> float | None:
    value = section.values.get(name)
    if value is None:
        return None
    if not is_number(value):
        section.fault(name, value, "not a number", "give a number, or leave it out")
        return None
    return float(value)
