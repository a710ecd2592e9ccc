"""Condition of a sub-watershed: the length-weighted mean over its stretches of stream.

A reach that crosses a border counts on each side with the length that lies there. The share of stream
length that is assessed stands beside the score; a sub-watershed without any is not assessed.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from watershedmap.condition.reaches import MEASURED

if TYPE_CHECKING:
    import geopandas as gpd


def assess_subwatersheds(
    areas: gpd.GeoDataFrame, shares: pd.DataFrame, reaches: pd.DataFrame, *, site_area: np.ndarray
) -> pd.DataFrame:
    """Return the condition of every sub-watershed.

    Parameters
    ----------
    areas
        The sub-watersheds.
    shares
        One row a reach and area that meet: reach, area (rows of the two layers), length_km inside.
    reaches
        On the rows of the stream layer: evidence, score.
    site_area
        Row of the area that each site lies in; -1 for none.

    Returns
    -------
    pandas.DataFrame
        On the rows of `areas`: stream_km, assessed_km, measured_km, assessed_share (missing without any
        stream), score, n_sites.
    """
    score = reaches["score"].to_numpy()[shares["reach"]]
    evidence = reaches["evidence"].to_numpy()[shares["reach"]]
    length = shares["length_km"]
    parts = pd.DataFrame(
        {
            "area": shares["area"],
            "stream_km": length,
            "assessed_km": length.where(~np.isnan(score), 0.0),
            "measured_km": length.where(evidence == MEASURED, 0.0),
            "product": length * np.nan_to_num(score),
        }
    )
    sums = parts.groupby("area").sum().reindex(pd.RangeIndex(len(areas)), fill_value=0.0)
    product = sums.pop("product")
    sums["assessed_share"] = (sums["assessed_km"] / sums["stream_km"]).where(sums["stream_km"] > 0)
    sums["score"] = (product / sums["assessed_km"]).where(sums["assessed_km"] > 0)
    sums["n_sites"] = np.bincount(site_area[site_area >= 0], minlength=len(areas))
    return sums


def main_area(shares: pd.DataFrame, ids: pd.Series, n_reaches: int) -> pd.Series:
    """Return the id of the sub-watershed that holds most of each reach.

    Parameters
    ----------
    shares
        reach, area, length_km.
    ids
        Ids of the areas, by row.
    n_reaches
        How many reaches the stream layer has.

    Returns
    -------
    pandas.Series
        On the rows of the stream layer; missing where a reach lies in none.
    """
    ordered = shares.sort_values(["reach", "length_km", "area"], ascending=[True, False, True])
    first = ordered.drop_duplicates("reach").set_index("reach")["area"]
    return ids.reindex(first).set_axis(first.index).reindex(pd.RangeIndex(n_reaches))
