"""Next season's visits: which sites to revisit, and where to add new ones.

Definition
    Some visits are certain, in this order, until there are no more:

    1. the fixed sites;
    2. the sites whose trend has a clear direction that holds among all sites (`p_adjusted` at most
       `false_discovery`), smallest p-value first;
    3. one visit in each unsampled length of `gap_km` or more, longest first, up to half of the share of new
       places: at a site of old, if it has one, or else on the reach whose middle lies nearest to the
       length-weighted middle of that length. Room for these is kept before the trends are counted.

    The rest is drawn, spatially balanced (`watershedmap.planning.balance`), each candidate with a chance in
    proportion to its need to the power of `sharpness`, for a new place times the length of its reach; a
    chance that comes to 1 is certain too. Revisits and new places share the visits in expectation as
    `new_share` says. No need counts as less than `LEAST_NEED`, so that none is left without a chance.

Source
    Parts of the need: see `candidates`; the draw and its balance: see `balance`.

Known bias
    A plan of certain visits says nothing of streams in general; only the drawn part is a sample, and its
    chances stand beside it. How well the plan is spread is measured over the map, not along the flow.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np
import pandas as pd

from watershedmap.errors import Fault, SurveyError
from watershedmap.planning.access import find_access
from watershedmap.planning.balance import compare_balance, draw_balanced, find_chances, measure_balance
from watershedmap.planning.candidates import NEW, REVISIT, list_candidates, place_on_map
from watershedmap.planning.days import group_days, measure_way_km, order_day
from watershedmap.planning.power import find_outlook
from watershedmap.planning.reasons import CAUTION, give_reasons
from watershedmap.settings import SETTINGS_FILE
from watershedmap.trends.direction import IMPROVING, WORSENING

if TYPE_CHECKING:
    import numpy.typing as npt

    from watershedmap.assessment import Assessment
    from watershedmap.settings_plan import PlanSettings

LEAST_NEED: Final = 0.02
"""No need counts as less, so that each candidate has a chance."""

FIXED: Final = "fixed"
TREND: Final = "certain: trend"
GAP: Final = "certain: unsampled length"
NEED: Final = "certain: need"
DRAWN: Final = "drawn"
"""How a visit was chosen."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Plan:
    """Next season's visits and how they were chosen."""

    visits: pd.DataFrame
    """One row a visit, in the order of days; see `plan_visits`."""
    settings: PlanSettings
    """What they were chosen by."""
    asked: int
    """Visits that were asked for."""
    candidates: int
    """Places that could have been chosen."""
    balance: float
    """Voronoi balance of the plan over all candidates; 0 is perfect, NaN for an empty plan."""
    random_balance: float
    """Mean of the same over random draws with the same chances."""
    days: int
    """Days of field work."""
    way_km: float
    """Straight way between the visits of each day, all days together, kilometres."""
    title: str
    """Title of the survey."""


def plan_visits(
    assessment: Assessment,
    plan: PlanSettings,
    *,
    visits: int,
    access: npt.NDArray[np.object_] | None = None,
) -> Plan:
    """Choose next season's visits.

    Parameters
    ----------
    assessment
        The survey as assessed.
    plan
        Weights, what is fixed and what is left out.
    visits
        How many visits there can be.
    access
        Roads or access points in longitude and latitude; None when there is no such layer.

    Returns
    -------
    Plan
        Its frame holds: visit (number), day, place_id, kind, site_id (NA for a new place), name, reach_id,
        longitude, latitude, chosen, chance, need, part_<name>, reason, last_year, n_years, trend, class,
        class_certainty, gap_km, residual_spread, power_now, more_years (NA when unknown or more than 30),
        access_longitude, access_latitude, access_m (missing without such a layer), and caution.
        Fewer visits than asked for when there are fewer candidates.

    Raises
    ------
    SurveyError
        When [plan] names a site or reach that is not there, or fixes more sites than there are visits.
    """
    _check_names(assessment, plan, visits)
    candidates = list_candidates(assessment, plan)
    places = place_on_map(candidates)
    rate = assessment.survey.settings.options.false_discovery
    chosen, chances = _choose(candidates, places, plan, visits=visits, rate=rate)
    rows = np.flatnonzero(chosen != "")
    picked = candidates.iloc[rows].assign(chosen=chosen[rows], chance=chances[rows])
    picked, way_km = _lay_out_days(picked, places[rows], plan)
    picked = _add_outlook(picked, assessment, plan)
    picked = picked.join(find_access(picked, access))
    picked["reason"] = give_reasons(picked, assessment, plan)
    picked["caution"] = CAUTION
    return Plan(
        visits=picked,
        settings=plan,
        asked=visits,
        candidates=len(candidates),
        balance=measure_balance(places, chances, rows),
        random_balance=compare_balance(places, chances, draws=plan.random_draws, seed=plan.seed),
        days=int(picked["day"].max()) if len(picked) else 0,
        way_km=way_km,
        title=assessment.survey.settings.title,
    )


def _check_names(assessment: Assessment, plan: PlanSettings, visits: int) -> None:
    """Refuse names that are not there: one that is misspelt would change the plan unnoticed."""
    known = {"sites": set(assessment.sites["site_id"]), "reaches": set(assessment.reaches["reach_id"])}
    faults = []
    for key in ("fixed_sites", "excluded_sites", "reference_sites", "excluded_reaches"):
        kind = key.split("_")[1]
        for name in getattr(plan, key):
            if name not in known[kind]:
                problem = f"there is no such id among the {kind}"
                fix = "write it as in the table or layer, or leave it out"
                faults.append(Fault(SETTINGS_FILE, None, f"plan.{key}", name, problem, fix))
    on = dict(zip(assessment.sites["site_id"], assessment.sites["reach_id"], strict=True))
    for name in plan.fixed_sites:
        if on.get(name) in set(plan.excluded_reaches):
            problem, fix = "this fixed site lies on an excluded reach", "leave one of the two out"
            faults.append(Fault(SETTINGS_FILE, None, "plan.fixed_sites", name, problem, fix))
    count = len(set(plan.fixed_sites))
    if count > visits:
        problem = f"{count} sites are fixed, but there are {visits} visits"
        faults.append(
            Fault(SETTINGS_FILE, None, "plan.fixed_sites", str(count), problem, "ask for more visits")
        )
    if faults:
        raise SurveyError(faults)


def _choose(
    candidates: pd.DataFrame,
    places: npt.NDArray[np.float64],
    plan: PlanSettings,
    *,
    visits: int,
    rate: float,
) -> tuple[npt.NDArray[np.object_], npt.NDArray[np.float64]]:
    """Return how each candidate was chosen, empty for one that was not, and its chance."""
    visits = min(visits, len(candidates))
    chosen = np.full(len(candidates), "", dtype=object)
    certain = _list_certain(candidates, places, plan, visits=visits, rate=rate)
    for row, why in certain.items():
        chosen[row] = why
    is_new = (candidates["kind"] == NEW).to_numpy()
    chances = _find_chances(candidates, plan, is_new, chosen != "", visits)
    drawn = draw_balanced(places, chances, seed=plan.seed)
    for row in drawn[chosen[drawn] == ""]:
        chosen[row] = DRAWN if chances[row] < 1 else NEED
    return chosen, chances


def _list_certain(
    candidates: pd.DataFrame,
    places: npt.NDArray[np.float64],
    plan: PlanSettings,
    *,
    visits: int,
    rate: float,
) -> dict[int, str]:
    """Return the rows that are certain of a visit, and why; no more than there are visits."""
    site = (candidates["kind"] == REVISIT).to_numpy()
    certain = dict.fromkeys(
        np.flatnonzero(site & candidates["site_id"].isin(plan.fixed_sites).to_numpy()).tolist(), FIXED
    )
    most = math.ceil(round(plan.new_share * visits) / 2)
    gaps = _pick_in_gaps(candidates, places, plan, most=most)
    room = visits - len(gaps)
    if plan.keep_trends:
        held = candidates["trend"].isin([IMPROVING, WORSENING]) & (candidates["p_adjusted"] <= rate)
        directed = candidates[site & held.to_numpy()]
        for row in directed.sort_values(["p_value", "site_id"], kind="stable").index:
            if len(certain) < room:
                certain.setdefault(int(row), TREND)
    for row in gaps[: visits - len(certain)]:
        certain.setdefault(row, GAP)
    return certain


def _pick_in_gaps(
    candidates: pd.DataFrame, places: npt.NDArray[np.float64], plan: PlanSettings, *, most: int
) -> list[int]:
    """Return one row for each of the longest unsampled lengths, longest first: that nearest to its middle."""
    long = (candidates["gap_km"] >= plan.gap_km) & (candidates["length_km"] > 0)
    # A length with a fixed site in it is closed by that.
    closed = candidates.loc[candidates["site_id"].isin(plan.fixed_sites), "gap"]
    able = candidates.loc[long & ~candidates["gap"].isin(closed), ["gap", "gap_km", "kind", "length_km"]]
    longest = able.drop_duplicates("gap").sort_values(["gap_km", "gap"], ascending=[False, True])
    found = []
    for gap in longest["gap"].head(most):
        members = able[able["gap"] == gap]
        middle = np.average(places[members.index], axis=0, weights=members["length_km"])
        old = members[members["kind"] == REVISIT]
        rows = (members if old.empty else old).index.to_numpy()
        found.append(int(rows[int(np.argmin(np.linalg.norm(places[rows] - middle, axis=1)))]))
    return found


def _find_chances(
    candidates: pd.DataFrame,
    plan: PlanSettings,
    is_new: npt.NDArray[np.bool_],
    certain: npt.NDArray[np.bool_],
    visits: int,
) -> npt.NDArray[np.float64]:
    """Share the visits that are left among the candidates that are not certain."""
    need = np.maximum(candidates["need"].fillna(0).to_numpy(dtype=float), LEAST_NEED) ** plan.sharpness
    need = np.where(is_new, need * candidates["length_km"].fillna(0).to_numpy(dtype=float), need)
    left = visits - int(certain.sum())
    new_left = min(max(plan.new_share * visits - (certain & is_new).sum(), 0.0), left)
    groups = {True: is_new & ~certain, False: ~is_new & ~certain}
    new_size = min(max(new_left, left - groups[False].sum()), float(groups[True].sum()))
    chances = certain.astype(float)
    for group, size in ((groups[True], new_size), (groups[False], left - new_size)):
        chances[group] = find_chances(need[group], size)
    return chances


def _lay_out_days(
    picked: pd.DataFrame, places: npt.NDArray[np.float64], plan: PlanSettings
) -> tuple[pd.DataFrame, float]:
    """Group the visits to days, put them in order and number them; days follow from north to south."""
    days = group_days(places, most=plan.sites_per_day)
    picked = picked.reset_index(drop=True)
    north = picked["latitude"].groupby(days).max()
    order, way_km = [], 0.0
    numbers = []
    for number, day in enumerate(north.sort_values(ascending=False, kind="stable").index, start=1):
        rows = np.flatnonzero(days == day)
        inner = order_day(places[rows], start=int(picked["latitude"].iloc[rows].to_numpy().argmax()))
        way_km += measure_way_km(places[rows], inner)
        order += rows[inner].tolist()
        numbers += [number] * len(rows)
    laid = picked.iloc[order].reset_index(drop=True)
    laid.insert(0, "visit", np.arange(1, len(laid) + 1))
    laid.insert(1, "day", np.array(numbers, dtype=int))
    return laid, way_km


def _add_outlook(picked: pd.DataFrame, assessment: Assessment, plan: PlanSettings) -> pd.DataFrame:
    """Add when a change can be seen at each site."""
    own_years = assessment.yearly[assessment.yearly["site_id"].isin(picked["site_id"])]
    series = dict(tuple(own_years.groupby("site_id")))
    empty = assessment.yearly.iloc[:0]
    found = []
    for site in picked["site_id"]:
        own = series.get(site, empty) if isinstance(site, str) else empty
        found.append(
            find_outlook(
                own["year"].to_numpy(dtype=float),
                own["score"].to_numpy(dtype=float),
                change_per_year=plan.change / plan.change_years,
                next_year=assessment.as_of_year + 1,
                alpha=assessment.survey.settings.options.trend_alpha,
                power=plan.power,
                seed=plan.seed,
            )
        )
    return picked.assign(
        residual_spread=[outlook.residual_spread for outlook in found],
        power_now=[outlook.power_now for outlook in found],
        more_years=pd.array([outlook.more_years for outlook in found], dtype="Int64"),
    )
