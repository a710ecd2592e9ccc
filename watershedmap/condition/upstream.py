"""The upstream summary: what lies upstream of a reach, weighted by length.

The reach itself belongs to its own summary. At a divergence the figures are shared between the branches
(equal shares, see `watershedmap.network.topology`), so that nothing is counted twice below their
reunion. Where the direction of flow is unknown there is no summary.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from watershedmap.network.tracing import accumulate, nearest_sites, place_on_reaches

if TYPE_CHECKING:
    from watershedmap.network.topology import Network


def summarise_upstream(
    network: Network,
    score: pd.Series,
    *,
    class_rank: pd.Series,
    n_classes: int,
    n_sites: np.ndarray,
) -> pd.DataFrame:
    """Return length-weighted figures over everything upstream of each reach.

    Parameters
    ----------
    network
        The stream network.
    score
        Score of each reach, on the rows of the network; missing where unassessed.
    class_rank
        On its rows: 0 for the best class; missing for reaches without a class.
    n_classes
        How many classes the index has.
    n_sites
        How many sampled sites lie on each reach, current or not.

    Returns
    -------
    pandas.DataFrame
        upstream_km, upstream_assessed_km, upstream_score, upstream_sites, upstream_km_1 (best class) and so
        on, upstream_km_unassessed; all missing where flow is unknown.
    """
    length = network.length_km
    assessed = score.notna().to_numpy()
    rank = class_rank.to_numpy(dtype=float, na_value=np.nan)
    local = {
        "upstream_km": length,
        "upstream_assessed_km": np.where(assessed, length, 0.0),
        "upstream_score": np.where(assessed, length * score.fillna(0), 0.0),
        "upstream_sites": n_sites.astype(float),
        **{f"upstream_km_{n + 1}": np.where(rank == n, length, 0.0) for n in range(n_classes)},
        "upstream_km_unassessed": np.where(assessed, 0.0, length),
    }
    if not network.has_flow:
        return pd.DataFrame(np.nan, index=score.index, columns=list(local))
    totals = accumulate(network, np.column_stack(list(local.values())))
    frame = pd.DataFrame(totals, index=score.index, columns=list(local))
    assessed_km = frame["upstream_assessed_km"]
    frame["upstream_score"] = (frame["upstream_score"] / assessed_km).where(assessed_km > 0)
    return frame


def is_sampled(sites: pd.DataFrame) -> pd.Series:
    """Tell which sites lie on a reach and have a scored sample, however old."""
    return (sites["reach"] >= 0) & (sites["n_samples"] > 0)


def find_nearest_sites(network: Network, sites: pd.DataFrame) -> pd.DataFrame:
    """Return the nearest sampled site upstream and downstream of each reach.

    Parameters
    ----------
    network
        The stream network.
    sites
        site_id, reach (-1 when on none), position_m, n_samples.

    Returns
    -------
    pandas.DataFrame
        On the rows of the network: site_upstream, site_upstream_km, site_downstream, site_downstream_km;
        missing where there is none, or where flow is unknown. Sites on the reach itself are left out.
    """
    sampled = sites[is_sampled(sites)]
    ids = np.append(sampled["site_id"].to_numpy(dtype=object), [None])  # the last one answers to -1
    if not network.has_flow or sampled.empty:
        columns = ["site_upstream", "site_upstream_km", "site_downstream", "site_downstream_km"]
        frame = pd.DataFrame(np.nan, index=pd.RangeIndex(len(network.ids)), columns=columns)
        return frame.astype({"site_upstream": object, "site_downstream": object})
    found = nearest_sites(network, sampled["reach"].to_numpy(), sampled["position_m"].to_numpy())
    return pd.DataFrame(
        {
            "site_upstream": ids[found["site_upstream"].to_numpy()],
            "site_upstream_km": found["site_upstream_km"].to_numpy(),
            "site_downstream": ids[found["site_downstream"].to_numpy()],
            "site_downstream_km": found["site_downstream_km"].to_numpy(),
        }
    )


def find_neighbours(network: Network, sites: pd.DataFrame) -> pd.DataFrame:
    """Return the nearest sampled site upstream and downstream of each site, measured from the site itself.

    Parameters
    ----------
    network
        The stream network.
    sites
        site_id, reach (-1 when on none), position_m, n_samples.

    Returns
    -------
    pandas.DataFrame
        On the rows of `sites`: site_upstream, site_upstream_km, site_downstream, site_downstream_km; missing
        where there is none, where the site is on no reach, or where flow is unknown.
    """
    beyond = find_nearest_sites(network, sites).reindex(sites["reach"]).set_axis(sites.index)
    reach = sites["reach"].to_numpy()
    position = place_on_reaches(network, reach, sites["position_m"].to_numpy(dtype=float))
    length = np.append(network.length_km, np.nan)[reach]
    beyond["site_upstream_km"] += length - position
    beyond["site_downstream_km"] += position
    if not network.has_flow:
        return beyond
    known = is_sampled(sites) & sites["position_m"].notna()  # which lies above the other is not known else
    sampled = sites[known].sort_values(["reach", "position_m", "site_id"])
    for step, (column, sign) in ((-1, ("site_upstream", 1)), (1, ("site_downstream", -1))):
        other = sampled.groupby("reach")[["site_id", "position_m"]].shift(step)
        near = other["site_id"].dropna().index
        beyond.loc[near, column] = other.loc[near, "site_id"]
        gap = sign * (other["position_m"] - sampled["position_m"]) / 1000
        beyond.loc[near, f"{column}_km"] = gap.loc[near]
    return beyond
