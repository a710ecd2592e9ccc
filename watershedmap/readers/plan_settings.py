"""Reads and checks the section [plan] of `survey.toml`."""

from __future__ import annotations

from dataclasses import fields
from typing import TYPE_CHECKING, Any, Final

from watershedmap.readers.sections import LARGEST, has_kind_of, match_kind, name_kind, shown
from watershedmap.settings_plan import PARTS, PlanSettings

if TYPE_CHECKING:
    from collections.abc import Mapping

    from watershedmap.readers.sections import Section

PLAN_KEYS: Final = tuple(item.name for item in fields(PlanSettings))
"""What the section may hold."""

RANGES: Final[Mapping[str, tuple[float, float]]] = {
    **dict.fromkeys(PARTS, (0, 1000)),
    "new_share": (0, 1),
    "gap_km": (0.001, LARGEST),
    "sharpness": (0, 10),
    "sites_per_day": (1, 100),
    "seed": (0, LARGEST),
    "random_draws": (1, 1000),
    "change": (0.000001, LARGEST),
    "change_years": (1, 100),
    "power": (0.1, 0.99),
}
"""Lowest and highest value of each number."""


def read_plan_settings(section: Section) -> PlanSettings:
    """Read the section and check every value.

    Parameters
    ----------
    section
        The section; faults are added to it.

    Returns
    -------
    PlanSettings
        With defaults in place of what is missing or at fault.
    """
    default, checked = PlanSettings(), dict[str, Any]()
    for name in PLAN_KEYS:
        if name not in section.values:
            continue
        value, usual = section.values[name], getattr(default, name)
        low, high = RANGES.get(name, (0, 0))
        if not has_kind_of(value, usual):
            section.fault(name, value, f"not {name_kind(usual)}", f"the default is {shown(usual) or 'empty'}")
        elif name in RANGES and not low <= value <= high:
            section.fault(name, value, f"not from {low:g} to {high:g}", f"the default is {shown(usual)}")
        else:
            checked[name] = match_kind(value, usual)
    plan = PlanSettings(**checked)
    _check_whole(section, plan)
    return plan


def _check_whole(section: Section, plan: PlanSettings) -> None:
    if not any(plan.weights().values()):
        section.fault("", "0", "every weight is 0", f"give one of {', '.join(PARTS)} a weight above 0")
    for name in sorted(set(plan.fixed_sites) & set(plan.excluded_sites)):
        section.fault("excluded_sites", name, "this site is fixed too", "name it under one of the two")
