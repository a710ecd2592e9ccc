"""The chain of sub-watersheds: which of them each one flows into.

It is told in two ways, which check each other:

- by codes: the layer of sub-watersheds gives the id of the next one downstream; an empty code, or one that
  is not in the layer, means that there is none;
- by reaches: every reach belongs to the area that holds most of its length, and an area flows into the one
  where the largest of its reaches that leave it goes on, by the length of stream above. Reaches that end, or
  go on in no area, leave it for nowhere; a reach that leaves the layer does not tell where it goes.

Codes win where there are any. Areas whose links run in a circle have no next one: the circle is reported, and
followed nowhere. Upstream counts and areas are sums down the chain.

Known bias: a stream that runs along a border passes to and fro, and the area that it leaves last and largest
decides; a small coastal area with several outlets has one next only; an area without a reach of its own (one
that holds most of its length in it) tells nothing by reaches. Rules of this package; no published ones.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from watershedmap.network.areas import area_km2
from watershedmap.network.tracing import accumulate

if TYPE_CHECKING:
    import geopandas as gpd
    import numpy.typing as npt

    from watershedmap.network.topology import Network

NOWHERE, UNKNOWN = -1, -2
"""In place of the row of the next area: there is none, and it is not known."""


def chain_areas(areas: gpd.GeoDataFrame, network: Network, shares: pd.DataFrame) -> pd.DataFrame:
    """Find the sub-watershed that each one flows into.

    Parameters
    ----------
    areas
        With subwatershed_id, polygons in longitude and latitude, and downstream_id where the layer has it.
    network
        The stream network.
    shares
        From `watershedmap.network.areas.share_reaches`.

    Returns
    -------
    pandas.DataFrame
        On the index of `areas`: downstream_id (id of the next area; missing where there is none or it is not
        known), source ("codes", "reaches", or "none" where neither tells, or where the link is part of a
        circle), by_codes and by_reaches (id that each of them tells, missing for none), agrees (whether
        codes and reaches tell the same; missing where one of them tells nothing), order (1 for an area with
        none above, else one more than the highest above), upstream_areas (how many lie above, itself not
        counted), upstream_area_km2 (square kilometres, itself included), in_cycle (whether its code is part
        of a circle of codes).
    """
    codes, reaches = link_by_codes(areas), link_by_reaches(network, shares, len(areas))
    circle = find_cycles(codes)
    link = np.where((codes == UNKNOWN) | circle, reaches, codes)
    source = np.where(link == UNKNOWN, "none", np.where((codes == UNKNOWN) | circle, "reaches", "codes"))
    again = find_cycles(link)
    link, source = np.where(again, UNKNOWN, link), np.where(again, "none", source)
    level = _find_levels(link)
    sizes = np.column_stack([np.ones(len(areas)), area_km2(areas.geometry)])
    totals = _sum_down(link, level, sizes)
    both = (codes != UNKNOWN) & (reaches != UNKNOWN)
    agrees = pd.array(codes == reaches, dtype="boolean")
    agrees[~both] = pd.NA
    ids = np.append(areas["subwatershed_id"].to_numpy(dtype=object), [None, None])
    return pd.DataFrame(
        {
            "downstream_id": pd.array(ids[link], dtype="str"),
            "source": pd.array(source.astype(object), dtype="str"),
            "by_codes": pd.array(ids[codes], dtype="str"),
            "by_reaches": pd.array(ids[reaches], dtype="str"),
            "agrees": agrees,
            "order": level + 1,
            "upstream_areas": totals[:, 0].astype(int) - 1,
            "upstream_area_km2": totals[:, 1],
            "in_cycle": circle,
        },
        index=areas.index,
    )


def link_by_codes(areas: pd.DataFrame) -> npt.NDArray[np.intp]:
    """Read the next area of each from its code.

    Parameters
    ----------
    areas
        With subwatershed_id, and downstream_id where the layer has it.

    Returns
    -------
    numpy.ndarray
        Row of the next area; NOWHERE for an empty code, for an area's own, which is a way to write an outlet,
        and for one that is not in the layer; UNKNOWN for all when the layer has no codes.
    """
    if "downstream_id" not in areas or areas["downstream_id"].isna().all():
        return np.full(len(areas), UNKNOWN, dtype=np.intp)
    codes = areas["downstream_id"].to_numpy(dtype=object)
    ids = areas["subwatershed_id"].to_numpy(dtype=object)
    rows = pd.Series(np.arange(len(ids)), index=ids)
    first = rows[~rows.index.duplicated()]
    found = first.reindex(codes).fillna(NOWHERE).to_numpy(dtype=np.intp)
    return np.where(found == np.arange(len(ids)), NOWHERE, found)


def link_by_reaches(network: Network, shares: pd.DataFrame, size: int) -> npt.NDArray[np.intp]:
    """Read the next area of each from where its reaches go on.

    Parameters
    ----------
    network
        The stream network.
    shares
        From `watershedmap.network.areas.share_reaches`.
    size
        Number of areas.

    Returns
    -------
    numpy.ndarray
        Row of the next area; NOWHERE where the largest stream that leaves goes on in none; UNKNOWN for an
        area that no reach leaves, or that it leaves together with the layer, and for all when the direction
        of flow is unknown.
    """
    link = np.full(size, UNKNOWN, dtype=np.intp)
    if not network.has_flow or shares.empty:
        return link
    own = main_areas(shares, len(network.ids))
    above_km = accumulate(network, network.length_km)
    ends = np.setdiff1d(np.arange(len(network.ids)), network.edge_up)
    up = np.concatenate([network.edge_up, ends])
    beyond = np.where(network.leaves_layer[ends], UNKNOWN, NOWHERE)
    into = np.concatenate([own[network.edge_down], beyond])
    carried = np.concatenate([above_km[network.edge_up] * network.edge_share, above_km[ends]])
    leaves = np.flatnonzero((own[up] >= 0) & (own[up] != into))
    # The largest comes last and so stays; of equals the one that goes on in an area, the first of the layer.
    order = leaves[np.lexsort([-into[leaves], into[leaves] >= 0, carried[leaves].round(6)])]
    link[own[up[order]]] = into[order]
    return link


def main_areas(shares: pd.DataFrame, size: int) -> npt.NDArray[np.intp]:
    """Return the area that holds most of each reach.

    Parameters
    ----------
    shares
        From `watershedmap.network.areas.share_reaches`.
    size
        Number of reaches.

    Returns
    -------
    numpy.ndarray
        Row of the area, the first of equals; -1 for a reach in no area.
    """
    reach, area = shares["reach"].to_numpy(), shares["area"].to_numpy()
    order = np.lexsort([-area, shares["share"].to_numpy().round(9)])
    main = np.full(size, -1, dtype=np.intp)
    main[reach[order]] = area[order]
    return main


def find_cycles(link: npt.NDArray[np.intp]) -> npt.NDArray[np.bool_]:
    """Tell which areas are part of a circle.

    Parameters
    ----------
    link
        Row of the next area of each, below 0 for none.

    Returns
    -------
    numpy.ndarray
        Truth per area; one that only flows into a circle is not part of it.
    """
    left = np.ones(len(link), dtype=bool)
    inflows = np.bincount(link[link >= 0], minlength=len(link))
    waiting = np.flatnonzero(inflows == 0)
    while len(waiting):
        left[waiting] = False
        below = link[waiting][link[waiting] >= 0]
        np.subtract.at(inflows, below, 1)
        waiting = np.unique(below[inflows[below] == 0])
    return left


def list_cycles(link: npt.NDArray[np.intp]) -> list[list[int]]:
    """List the circles.

    Parameters
    ----------
    link
        Row of the next area of each, below 0 for none.

    Returns
    -------
    list of list of int
        Rows along the flow, each circle from its first row.
    """
    circles, seen = [], ~find_cycles(link)
    for row in range(len(link)):
        circle = []
        while not seen[row]:
            seen[row] = True
            circle.append(row)
            row = int(link[row])  # noqa: PLW2901 - walks on from the row that is due
        if circle:
            circles.append(circle)
    return circles


def _find_levels(link: npt.NDArray[np.intp]) -> npt.NDArray[np.intp]:
    """Return 0 for areas with none above, else one more than the highest above; there is no circle."""
    level = np.zeros(len(link), dtype=np.intp)
    now = np.flatnonzero(link >= 0)
    for number in range(1, len(link)):
        below = np.unique(link[now])
        if not len(below):
            break
        level[below] = number
        now = below[link[below] >= 0]
    return level


def _sum_down(
    link: npt.NDArray[np.intp], level: npt.NDArray[np.intp], own: npt.NDArray[np.float64]
) -> npt.NDArray[np.float64]:
    """Total columns over each area and all above it."""
    total = own.copy()
    for rows in np.split(np.argsort(level, kind="stable"), np.cumsum(np.bincount(level))[:-1]):
        flowing = rows[link[rows] >= 0]
        np.add.at(total, link[flowing], total[flowing])
    return total
