"""Sites that are judged together: those of one sub-watershed, and those of one group of reaches.

The trend of a group is combined from the series of its sites by `watershedmap.trends.regional`. Groups of
reaches are named by the layer (column `group`); a site belongs to the group of its reach.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import pandas as pd

from watershedmap.trends.false_discovery import adjust_p_values
from watershedmap.trends.regional import trends_of_groups

if TYPE_CHECKING:
    from watershedmap.trends.direction import Better

SUBWATERSHED: Final = "sub-watershed"
REACH_GROUP: Final = "reach group"


def combine_trends(
    yearly: pd.DataFrame,
    sites: pd.DataFrame,
    reaches: pd.DataFrame,
    *,
    better: Better,
    min_years: int,
    alpha: float,
    confidence: float,
) -> pd.DataFrame:
    """Judge the common trend of the sites of each sub-watershed and each group of reaches.

    Parameters
    ----------
    yearly
        site_id, year, score.
    sites
        site_id, reach (row of the layer, -1 when on none), subwatershed_id.
    reaches
        The layer; its column group, where it has one, names the groups.
    better, min_years, alpha, confidence
        As for `watershedmap.trends.regional.trends_of_groups`.

    Returns
    -------
    pandas.DataFrame
        One row a group: kind (`sub-watershed` or `reach group`), group, what `trends_of_groups` gives, and
        p_adjusted over all groups tested.
    """
    tables = []
    for kind, group in (
        (SUBWATERSHED, sites["subwatershed_id"]),
        (REACH_GROUP, _group_of_reach(sites, reaches)),
    ):
        members = pd.DataFrame({"group": group, "site_id": sites["site_id"]}).dropna(subset="group")
        judged = trends_of_groups(
            yearly, members, better=better, min_years=min_years, alpha=alpha, confidence=confidence
        )
        tables.append(judged.reset_index().assign(kind=kind))
    frame = pd.concat(tables, ignore_index=True)
    frame.insert(0, "kind", frame.pop("kind"))
    frame["p_adjusted"] = adjust_p_values(frame["p_value"])
    return frame


def _group_of_reach(sites: pd.DataFrame, reaches: pd.DataFrame) -> pd.Series:
    """Name the group of the reach that each site lies on; missing where there is none."""
    if "group" not in reaches:
        return pd.Series(pd.NA, index=sites.index, dtype="str")
    named = reaches["group"].where(reaches["group"] != "")
    return named.reindex(sites["reach"]).set_axis(sites.index)
