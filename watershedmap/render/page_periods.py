"""Condition by period for the page: what was scored in each run of years, and nothing inferred."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from watershedmap.condition.periods import average_periods, average_site_periods
from watershedmap.render.page_columns import numbers, picks, positions, ranks

if TYPE_CHECKING:
    import pandas as pd

    from watershedmap.assessment import Assessment


def collect_periods(assessment: Assessment) -> list[dict[str, Any]] | None:
    """Collect the periods, the first one first.

    Parameters
    ----------
    assessment
        What was computed.

    Returns
    -------
    list of dict or None
        For each period with a score its `first` and `last` year, its `label`, and `sites` and `reaches`: a
        list a column, of those that have a score in it. None with fewer than two periods, which leave nothing
        to choose from, and where no years of a period are set.
    """
    options = getattr(assessment.survey.settings, "options", None)
    if options is None:
        return None
    runs = {"as_of_year": assessment.as_of_year, "years": options.recent_years, "index": assessment.index}
    sites = average_site_periods(assessment.yearly, **runs)
    reaches = average_periods(assessment.yearly, assessment.sites, **runs)
    found = sites[["first_year", "last_year"]].drop_duplicates().astype(int)
    if len(found) < 2:  # noqa: PLR2004 - one period is no choice
        return None
    return [
        {
            "first": first,
            "last": last,
            "label": f"{first} to {last}" if first < last else str(first),
            "sites": _collect_sites(sites[sites["last_year"] == last], assessment),
            "reaches": _collect_reaches(reaches[reaches["last_year"] == last], assessment),
        }
        for first, last in found.to_numpy().tolist()
    ]


def _collect_sites(part: pd.DataFrame, assessment: Assessment) -> dict[str, Any]:
    return {
        "place": picks(part, "site_id", positions(assessment.sites["site_id"])),
        **_scored(part, assessment),
    }


def _collect_reaches(part: pd.DataFrame, assessment: Assessment) -> dict[str, Any]:
    return {
        "place": picks(part, "reach_id", positions(assessment.reaches["reach_id"])),
        "nSites": numbers(part, "n_sites", 0),
        **_scored(part, assessment),
    }


def _scored(part: pd.DataFrame, assessment: Assessment) -> dict[str, Any]:
    return {
        "score": numbers(part, "score", assessment.index.decimals),
        "rank": picks(part, "class", ranks(assessment.index)),
        "nYears": numbers(part, "n_years", 0),
    }
