"""The way of the water from a place to the outlet, and what lies upstream of it.

The way follows the main branch at divergences. Distances are along the flow, from the place itself. What lies
upstream is that of the whole reach that the place lies on, its lower part included (see
`watershedmap.condition.upstream`); the sites listed as upstream are those above the place.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from watershedmap.network.tracing import downstream_path, upstream_of

if TYPE_CHECKING:
    from watershedmap.network.topology import Network


def follow_down(
    network: Network, reaches: pd.DataFrame, sites: pd.DataFrame, *, reach: int, position_m: float
) -> pd.DataFrame:
    """List reach by reach how the water goes on from a place.

    Parameters
    ----------
    network
        The stream network.
    reaches
        On its rows: reach_id, name, length_km, evidence, score, class.
    sites
        site_id, reach_id.
    reach
        Row of the reach that the place lies on.
    position_m
        Distance of the place up from the lower end of that reach, metres.

    Returns
    -------
    pandas.DataFrame
        One row a reach, the first that of the place: reach_id, name, distance_km (from the place to the lower
        end of the reach), evidence, score, class, site_ids (`; ` between).

    Raises
    ------
    ValueError
        When the direction of flow is unknown.
    """
    path = pd.Index(reaches["reach_id"]).get_indexer(pd.Index(downstream_path(network, reach)))
    columns = ["reach_id", "name", "evidence", "score", "class"]
    way = pd.DataFrame(reaches.iloc[path][columns]).reset_index(drop=True)
    lengths = np.append(position_m / 1000, network.length_km[path[1:]])
    way.insert(2, "distance_km", np.cumsum(lengths))
    on = sites.dropna(subset="reach_id").groupby("reach_id")["site_id"].agg("; ".join)
    way["site_ids"] = on.reindex(way["reach_id"]).fillna("").to_numpy()
    return way


def find_upstream(
    network: Network, reaches: pd.DataFrame, sites: pd.DataFrame, *, reach: int, position_m: float
) -> tuple[pd.DataFrame, pd.DataFrame]:
    """List the reaches and the sites upstream of a place.

    Parameters
    ----------
    network
        The stream network.
    reaches
        On its rows: reach_id.
    sites
        site_id, reach_id, position_m.
    reach
        Row of the reach that the place lies on.
    position_m
        Distance of the place up from the lower end of that reach, metres.

    Returns
    -------
    pandas.DataFrame
        The rows of `reaches` upstream, the reach of the place among them.
    pandas.DataFrame
        The rows of `sites` above the place.

    Raises
    ------
    ValueError
        When the direction of flow is unknown.
    """
    above = reaches["reach_id"].isin(upstream_of(network, reach).tolist())
    own = sites["reach_id"] == reaches["reach_id"].iloc[reach]
    known = sites["reach_id"].isin(reaches.loc[above, "reach_id"])
    return reaches[above], sites[known & (~own | (sites["position_m"] > position_m))]
