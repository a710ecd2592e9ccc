"""What a reader of the results should know of the samples and places behind them.

Each function looks for one thing and returns notices; none of them changes a figure.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from watershedmap.errors import Fault
from watershedmap.scoring.checks import CHECKS
from watershedmap.settings import LEAVE_OUT

if TYPE_CHECKING:
    import geopandas as gpd
    import numpy as np
    import pandas as pd

    from watershedmap.survey import Survey

MOST_LISTED = 10
UNCOVERED_SHARE = 0.01
"""Share of stream length outside every sub-watershed from which on it is noticed."""


def notice_unused(samples: pd.DataFrame, checks: pd.DataFrame, survey: Survey) -> list[Fault]:
    """Notice how many samples enter neither condition nor trend, and why.

    Parameters
    ----------
    samples
        Scored samples: sample_id, used.
    checks
        What the checks of sample quality hit: check, sample_id, action.
    survey
        Where they come from.

    Returns
    -------
    list of Fault
        One notice, or none when every sample is used.
    """
    unused = samples[~samples["used"]]
    if unused.empty:
        return []
    reasons = checks.loc[checks["action"] == LEAVE_OUT, "check"].value_counts().sort_index()
    labels = {check.name: check.label for check in CHECKS}
    why = "; ".join(f"{labels.get(str(name), name)}: {number}" for name, number in reasons.items())
    problem = f"{len(unused)} of {len(samples)} samples are not used ({why})"
    if len(unused) == len(samples):
        problem += "; every site and reach stays unassessed"
    return [
        _notice(survey, "sample_id", list(unused["sample_id"]), problem, "see checks.csv and their flags")
    ]


def notice_methods(samples: pd.DataFrame, survey: Survey) -> list[Fault]:
    """Notice sites sampled with different methods.

    Parameters
    ----------
    samples
        Scored samples: site_id, method, used.
    survey
        Where they come from.

    Returns
    -------
    list of Fault
        One notice a site.
    """
    methods = samples[samples["used"]].groupby("site_id")["method"].unique()
    fix = "a change of method can look like a trend; name one under methods in [options] to use it alone"
    return [
        _notice(
            survey, "method", sorted(map(str, kinds)), f"site {site} was sampled with several methods", fix
        )
        for site, kinds in methods.items()
        if len(kinds) > 1
    ]


def notice_years(
    yearly: pd.DataFrame, sites: pd.DataFrame, survey: Survey, *, as_of_year: int
) -> list[Fault]:
    """Notice a last year that stands alone, and sites last sampled too long ago.

    Parameters
    ----------
    yearly
        site_id, year, score.
    sites
        site_id, n_samples, current.
    survey
        Where they come from.
    as_of_year
        Year that condition is stated for.

    Returns
    -------
    list of Fault
        At most two notices.
    """
    limit = survey.settings.options.stale_after_years
    found = []
    earlier = yearly.loc[yearly["year"] < as_of_year, "year"]
    if len(earlier) and as_of_year - earlier.max() > limit:
        problem = (
            f"the last year, {as_of_year}, comes {as_of_year - earlier.max()} years after the one before it"
        )
        fix = "see that it is no slip: condition is stated for the last year, and older sites are not current"
        found.append(_notice(survey, "date", [str(as_of_year)], problem, fix))
    stale = sites.loc[(sites["n_samples"] > 0) & ~sites["current"], "site_id"]
    if len(stale):
        problem = f"{len(stale)} site(s) were last sampled more than {limit} years before {as_of_year}"
        fix = (
            "they keep their score but say nothing of their reach today; raise stale_after_years to use them"
        )
        found.append(_notice(survey, "date", list(stale), problem, fix))
    return found


def notice_unordered(sites: pd.DataFrame, survey: Survey) -> list[Fault]:
    """Notice sites that share a reach in an order that is not known: they have no steps.

    Parameters
    ----------
    sites
        site_id, reach (-1 when on none), reach_id, position_m.
    survey
        Where they come from.

    Returns
    -------
    list of Fault
        One notice a reach.
    """
    placed = sites[sites["reach"] >= 0]
    fix = "use a layer with lines; without them their order is unknown, and steps do not pass this reach"
    file, column = survey.settings.tables["sites"], survey.settings.column("sites", "reach_id")
    return [
        Fault(
            file,
            None,
            column,
            _list(list(here["site_id"])),
            f"{len(here)} sites lie on reach {reach}, and which is above the other is not known",
            fix,
            "notice",
        )
        for reach, here in placed.groupby("reach_id")
        if len(here) > 1 and here["position_m"].isna().any()
    ]


def notice_uncovered(
    shares: pd.DataFrame, site_area: np.ndarray, reaches: gpd.GeoDataFrame, survey: Survey
) -> list[Fault]:
    """Notice streams and sites that lie in no sub-watershed.

    Parameters
    ----------
    shares
        length_km of each reach in each sub-watershed.
    site_area
        Row of the sub-watershed of each site; -1 for none.
    reaches
        length_km.
    survey
        Where they come from.

    Returns
    -------
    list of Fault
        One notice, or none when they are covered, or there are no sub-watersheds.
    """
    if survey.subwatersheds is None:
        return []
    total = reaches["length_km"].sum()
    outside = max(total - shares["length_km"].sum(), 0.0)
    lost = survey.sites.loc[site_area < 0, "site_id"]
    if outside <= UNCOVERED_SHARE * total and lost.empty:
        return []
    problem = f"{outside:.1f} of {total:.1f} km of stream and {len(lost)} site(s) lie in no sub-watershed"
    fix = "their figures enter no sub-watershed; use a layer that covers the streams"
    file = survey.settings.layers["subwatersheds"].path
    return [Fault(file, None, "", _list(list(lost)), problem, fix, "notice")]


def _notice(survey: Survey, column: str, values: list[str], problem: str, fix: str) -> Fault:
    """Return a notice of the table of samples, or of scores where those stand in its place."""
    table = "samples" if "samples" in survey.settings.tables else "scores"
    file, heading = survey.settings.tables[table], survey.settings.column(table, column)
    return Fault(file, None, heading, _list(values), problem, fix, "notice")


def _list(values: list[str]) -> str:
    shown = ", ".join(values[:MOST_LISTED])
    return shown if len(values) <= MOST_LISTED else f"{shown} and {len(values) - MOST_LISTED} more"
