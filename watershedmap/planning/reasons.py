"""The reason for each visit, in words made from its figures; and what is said of the plan as a whole.

Only what is known is said. A visit is advised: whether it can be made safely and lawfully is decided on the
spot.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Any, Final

import numpy as np

from watershedmap.planning.power import MOST_YEARS
from watershedmap.settings_plan import PARTS
from watershedmap.trends.direction import IMPROVING, TOO_FEW_YEARS, WORSENING

if TYPE_CHECKING:
    import pandas as pd

    from watershedmap.assessment import Assessment
    from watershedmap.planning.visits import Plan
    from watershedmap.settings_plan import PlanSettings

CAUTION: Final = (
    "Advice only. Never go alone; check flow and weather before wading; get the landowner's leave and the "
    "permits for collecting; local rules and your own judgement come first."
)
"""Stands in every output that goes into the field."""

LEAST_SHOWN: Final = 0.2
"""A part below this is no reason."""
LEAST_CHANCE: Final = 0.01
LEAST_P: Final = 0.001
"""What is smaller is said to be below it."""


def give_reasons(visits: pd.DataFrame, assessment: Assessment, plan: PlanSettings) -> list[str]:
    """Write why each visit was chosen.

    Parameters
    ----------
    visits
        One row a visit, as in `watershedmap.planning.visits.plan_visits`, all but the reason.
    assessment
        The survey as assessed.
    plan
        What the visits were chosen by.

    Returns
    -------
    list of str
        One sentence or more a visit.
    """
    return [_give_reason(row, assessment, plan) for row in visits.to_dict("records")]


def _give_reason(row: dict[Any, Any], assessment: Assessment, plan: PlanSettings) -> str:
    parts = [_say_choice(row), *_say_parts(row, assessment, plan)]
    outlook = _say_outlook(row, plan)
    text = "; ".join(part for part in parts if part)
    return f"{text[:1].upper()}{text[1:]}.{outlook}{_say_access(row)}"


def _say_choice(row: dict[Any, Any]) -> str:
    chosen = str(row["chosen"])
    if chosen == "drawn":
        chance = _number(row["chance"])
        said = f"chance {chance:.2f}" if chance >= LEAST_CHANCE else f"chance below {LEAST_CHANCE}"
        return f"drawn for spread over the map, {said}"
    return {
        "fixed": "fixed in the settings",
        "certain: need": "certain, its need is among the highest",
        "certain: trend": "certain, to go on with its trend",
        "certain: unsampled length": "certain, to close a long unsampled length",
    }[chosen]


def _say_parts(row: dict[Any, Any], assessment: Assessment, plan: PlanSettings) -> list[str]:
    """Say each part that weighs, heaviest first."""
    weights = plan.weights()
    inferred = "inferred " if row["kind"] == "new place" else ""
    told = {
        "trend": _say_trend(row),
        "stale": _say_age(row, assessment.as_of_year),
        "border": f"{inferred}class {row['class']} only {_number(row['class_certainty']):.0%} sure",
        "unsampled": f"lies in {_number(row['gap_km']):.1f} km of connected stream that no site speaks for",
        "step": f"at the step of {_number(row['step_size']):.2f} between {row['step_sites']}",
        "reference": "reference site",
    }
    sizes = {name: _number(row[f"part_{name}"]) * (weights[name] > 0) for name in PARTS}
    shown = [name for name in PARTS if sizes[name] >= LEAST_SHOWN]
    return [told[name] for name in sorted(shown, key=lambda name: -sizes[name] * weights[name])]


def _say_trend(row: dict[Any, Any]) -> str:
    years = f"{int(_number(row['n_years']))} year(s)"
    if row["trend"] in (IMPROVING, WORSENING):
        return f"{row['trend']} over {years} ({_say_p(_number(row['p_value']))})"
    if row["trend"] == TOO_FEW_YEARS:
        return f"series of {years}, too few for a trend"
    return f"series of {years} to go on with"


def _say_p(p_value: float) -> str:
    return f"p = {p_value:.3f}" if p_value >= LEAST_P else f"p below {LEAST_P}"


def _say_age(row: dict[Any, Any], as_of_year: int) -> str:
    last = _number(row["last_year"])
    if math.isnan(last):
        return "never sampled"
    return f"last sampled in {int(last)}, {as_of_year - int(last)} year(s) before {as_of_year}"


def _say_outlook(row: dict[Any, Any], plan: PlanSettings) -> str:
    spread = _number(row["residual_spread"])
    if math.isnan(spread):
        return ""
    change = f"a steady change of {plan.change:g} in {plan.change_years} years"
    more = _number(row["more_years"])
    if math.isnan(more):
        return f" More than {MOST_YEARS} further years until {change} would be seen."
    if more == 0:
        return f" Its years are enough to see {change}."
    return f" About {int(more)} further year(s) until {change} would be seen."


def _say_access(row: dict[Any, Any]) -> str:
    metres = _number(row["access_m"])
    if math.isnan(metres):
        return ""
    return f" Nearest road or access point {metres:.0f} m away in a straight line."


def _number(value: object) -> float:
    """Return a number, NaN for a missing one of any kind."""
    return float(value) if isinstance(value, int | float | np.number) else math.nan


def describe_plan(plan: Plan) -> list[str]:
    """Say how the visits were chosen: numbers, weights, limits and balance.

    Parameters
    ----------
    plan
        The plan.

    Returns
    -------
    list of str
        One statement a line.
    """
    settings, visits = plan.settings, plan.visits
    share = f"{settings.new_share:g}"
    new = int((visits["kind"] == "new place").sum())
    counts = visits["chosen"].value_counts().sort_index()
    old = len(visits) - new
    lines = [
        f"{len(visits)} visit(s) of {plan.asked} asked for: {old} revisit(s), {new} new place(s)",
        f"Candidates: {plan.candidates}",
        f"Chosen: {', '.join(f'{word} {count}' for word, count in counts.items()) or 'none'}",
        f"{plan.days} day(s) of at most {settings.sites_per_day}; {plan.way_km:.1f} km straight within days",
        "Weights: " + ", ".join(f"{name} {weight:g}" for name, weight in settings.weights().items()),
        f"New places: expected share {share}; certain from {settings.gap_km:g} km unsampled on",
        f"Chances go by need to the power of {settings.sharpness:g}; seed {settings.seed}",
    ]
    unknown = [name for name in PARTS if len(visits) and visits[f"part_{name}"].isna().all()]
    if unknown:
        lines.append(f"Unknown for every visit, weight shared among the others: {', '.join(unknown)}")
    lines.append(_describe_balance(plan))
    lines.append(
        f"Outlook: a steady change of {settings.change:g} in {settings.change_years} years, found with "
        f"probability {settings.power:g}, had it run since the first year; normal errors, years independent"
    )
    return lines


def _describe_balance(plan: Plan) -> str:
    if math.isnan(plan.balance):
        return "Spread over the map: nothing to measure"
    word = "better than" if plan.balance < plan.random_balance else "not better than"
    return (
        f"Spread over the map (Voronoi balance, 0 is perfect): {plan.balance:.3f}, {word} the mean of "
        f"{plan.settings.random_draws} random draws with the same chances, {plan.random_balance:.3f}"
    )
