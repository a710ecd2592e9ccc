"""Condition of a sub-watershed: the length-weighted mean over its stretches of stream.

A reach that crosses a border counts on each side with the length that lies there. The share of stream
length that is assessed stands beside the score; a sub-watershed without any is not assessed.

Inferred reaches have no error that is known, so the interval covers measured reaches only, their errors
taken as independent: `measured_score` is the mean over measured stream, with its interval. The score itself
has an interval, and classes have probabilities, only where all that is assessed is measured; otherwise they
are unknown. Neither says anything of stream that is not assessed.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from watershedmap.condition.probability import bound_mean, pool_errors, rate_classes
from watershedmap.condition.reaches import MEASURED
from watershedmap.network.area_chain import main_areas

if TYPE_CHECKING:
    import geopandas as gpd

    from watershedmap.scoring.indices import Index

_SMALL = 1e-9
"""Share of the assessed length that may be inferred by rounding alone."""


def assess_subwatersheds(
    areas: gpd.GeoDataFrame,
    shares: pd.DataFrame,
    reaches: pd.DataFrame,
    *,
    site_area: np.ndarray,
    index: Index | None = None,
) -> pd.DataFrame:
    """Return the condition of every sub-watershed.

    Parameters
    ----------
    areas
        The sub-watersheds.
    shares
        One row a reach and area that meet: reach, area (rows of the two layers), length_km inside.
    reaches
        On the rows of the stream layer: evidence, score and, where known, score_se and score_df.
    site_area
        Row of the area that each site lies in; -1 for none.
    index
        The index, for its scale and the probability of each class; left out, there are none.

    Returns
    -------
    pandas.DataFrame
        On the rows of `areas`: stream_km, assessed_km, measured_km, assessed_share (missing without any
        stream), score, n_sites; measured_score (mean over measured stream), measured_score_low,
        measured_score_high and, with `index`, measured_probability_1 and so on and measured_class_certainty;
        score_low, score_high, score_se, score_df (missing where anything is inferred)
        and, with `index`, probability_1 (best class) to probability_k and class_certainty.
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
    return sums.join(_bound_areas(sums, shares, reaches, index))


def _bound_areas(
    sums: pd.DataFrame, shares: pd.DataFrame, reaches: pd.DataFrame, index: Index | None
) -> pd.DataFrame:
    """Return the mean over measured stream with its error, and that of the score where it is the same."""
    columns = ["evidence", "score", "score_se", "score_df"]
    parts = reaches.reindex(columns=columns).iloc[shares["reach"]].set_axis(shares.index)
    parts = parts.join(shares[["area", "length_km"]])
    parts = parts[(parts["evidence"] == MEASURED) & (parts["length_km"] > 0)]
    area, error = parts["area"], parts[["score_se", "score_df"]].astype(float)
    weight = parts["length_km"] / parts.groupby("area")["length_km"].transform("sum")
    errors = pool_errors(weight, error["score_se"], error["score_df"], area)
    errors.insert(0, "measured_score", (weight * parts["score"]).groupby(area).sum())
    errors = errors.reindex(sums.index)
    scale = (-np.inf, np.inf) if index is None else index.scale
    interval = bound_mean(errors["measured_score"], errors["score_se"], errors["score_df"], scale=scale)
    whole = sums["measured_km"] >= sums["assessed_km"] * (1 - _SMALL)
    own = errors[["score_se", "score_df"]].where(whole)
    found = pd.concat(
        [errors[["measured_score"]], interval.add_prefix("measured_"), interval.where(whole), own], axis=1
    )
    if index is None:
        return found
    measured = errors[["score_se", "score_df"]].assign(score=errors["measured_score"])
    found = found.join(rate_classes(own.assign(score=sums["score"]), index))
    return found.join(rate_classes(measured, index).add_prefix("measured_"))


def main_area(shares: pd.DataFrame, ids: pd.Series, n_reaches: int) -> pd.Series:
    """Return the id of the sub-watershed that holds most of each reach.

    Parameters
    ----------
    shares
        reach, area, share.
    ids
        Ids of the areas, by row.
    n_reaches
        How many reaches the stream layer has.

    Returns
    -------
    pandas.Series
        On the rows of the stream layer; missing where a reach lies in none.
    """
    return ids.reindex(main_areas(shares, n_reaches)).reset_index(drop=True)
