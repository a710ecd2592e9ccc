"""Putting sites on reaches.

A site that names its reach is put on that one, and how far it is, what it is called and what drains to it
are checked. Any other is put on one of the reaches within the distance allowed, chosen by offset, name and
drainage area (`watershedmap.network.preference`); without names and areas that is the nearest. Where another
would do as well, the site is marked (`watershedmap.network.ambiguity`). A site that is near no reach is put
on none and reported: it is never forced.

Known bias: the nearest line is not always the stream that was waded. Near a confluence a site given by a few
decimals falls on the wrong branch, so the offset and the doubt are part of the result. The distance allowed
counts from the line: on a river wider than twice that distance a site on the bank is near nothing.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd
import shapely

from watershedmap.network.ambiguity import find_doubts
from watershedmap.network.candidates import (
    Candidates,
    find_candidates,
    index_lines,
    touch_lines,
)
from watershedmap.network.placement import (
    report_ambiguous,
    report_lost,
    report_named,
    tell_differences,
    tell_doubts,
)
from watershedmap.network.preference import choose_cheapest, weigh_candidates

if TYPE_CHECKING:
    import geopandas as gpd
    import numpy.typing as npt

    from watershedmap.errors import Fault
    from watershedmap.network.topology import Network

SEARCH_FACTOR = 10.0
"""For a site that is placed nowhere, the nearest reach is told if it is within this many times the limit."""
PLACEMENTS = ("named", "nearest", "by name", "by area", "none")
"""Why a site lies where it does."""


@dataclass(frozen=True, slots=True, eq=False)
class _Choice:
    """The pairs taken for the sites that name no reach, and what else was near."""

    candidates: Candidates
    """All candidates of all sites; `point` is the row of the site."""
    chosen: npt.NDArray[np.intp]
    """Rows of the pairs taken."""
    penalty_m: npt.NDArray[np.float64]
    """What each pair is charged beside its offset."""
    placement: npt.NDArray[np.object_]
    """One of PLACEMENTS for each pair taken."""


def place_sites(
    sites: gpd.GeoDataFrame,
    reaches: gpd.GeoDataFrame,
    network: Network,
    *,
    within_m: float,
    file: str = "sites",
) -> tuple[pd.DataFrame, list[Fault]]:
    """Put each site on a reach.

    Parameters
    ----------
    sites
        Points in longitude and latitude. Columns used where there are any: site_id for the report, reach_id
        where a site names its reach, name, stream (name of its stream), upstream_area_km2 (what drains to
        it).
    reaches
        The layer that the network was built of. Columns used where there are any: name, width_m,
        upstream_area_km2 or area_km2.
    network
        The stream network.
    within_m
        A site farther than this from every line is placed on none, metres. It does not hold for sites that
        name their reach.
    file
        Name of the table of sites for the report.

    Returns
    -------
    pandas.DataFrame
        On the index of `sites`: reach (row, -1 for none), reach_id (missing for none), offset_m (metres from
        the site to the line), position_m (metres up from the lower end of the reach; from the end of the line
        when the direction of flow is unknown), snapped_longitude and snapped_latitude (degrees), placement
        (one of `PLACEMENTS`), candidates (ids of the reach taken and of those that would do as well, joined
        by "; "; empty when there are none), ambiguity (why the reach is in doubt, joined by "; "; empty when
        it is not).
    list of Fault
        Notices: sites placed nowhere, with the distance of the nearest reach if it is within ten times the
        limit; sites that name a reach farther away than the limit, of another name or another drainage area;
        sites that may lie on another reach.
    """
    points = np.stack([shapely.get_x(sites.geometry), shapely.get_y(sites.geometry)], axis=1)
    index = index_lines(reaches.geometry)
    named = _find_named(sites, network.ids)
    given, free = np.flatnonzero(named >= 0), np.flatnonzero(named == _NOT_NAMED)
    unnamed = np.full(points.shape, np.nan)
    unnamed[free] = points[free]
    near = find_candidates(unnamed, index, within_m=within_m)
    choice = _choose(near, sites, reaches, network, within_m=within_m)
    own = touch_lines(points, index, given, named[given])
    taken = choice.candidates.take(choice.chosen)
    frame = _tabulate((own, taken), choice.placement, network, sites.index)
    doubts = find_doubts(choice.candidates, choice.chosen, choice.penalty_m, reaches, index)
    told = tell_doubts(choice.candidates, choice.chosen, doubts, network.ids, len(sites))
    differs = tell_differences(frame["reach"].to_numpy(), sites, reaches, network)
    frame["candidates"] = told["candidates"].astype("str").to_numpy()
    frame["ambiguity"] = _join(told["ambiguity"], differs["ambiguity"])
    lost = np.setdiff1d(free, taken.point)
    far = find_candidates(points[lost], index, within_m=SEARCH_FACTOR * within_m)
    swapped = _looks_swapped(points[lost], reaches.total_bounds)
    found = report_lost(sites, network.ids, lost, far, swapped=swapped, within_m=within_m, file=file)
    found += report_named(sites, named, frame, within_m=within_m, file=file)
    found += report_ambiguous(sites, frame, told, differs, file=file)
    return frame, found


_NOT_NAMED, _UNKNOWN = -1, -2


def _find_named(sites: gpd.GeoDataFrame, ids: npt.NDArray[np.object_]) -> npt.NDArray[np.intp]:
    """Find the row of the reach that each site names; -1 for none, -2 when there is no such reach."""
    if "reach_id" not in sites:
        return np.full(len(sites), _NOT_NAMED, dtype=np.intp)
    names = sites["reach_id"].to_numpy(dtype=object)
    rows = pd.Index(ids).get_indexer(pd.Index(names, dtype=object))
    missing = sites["reach_id"].isna().to_numpy()
    return np.where(missing, _NOT_NAMED, np.where(rows < 0, _UNKNOWN, rows)).astype(np.intp)


def _choose(
    near: Candidates,
    sites: gpd.GeoDataFrame,
    reaches: gpd.GeoDataFrame,
    network: Network,
    *,
    within_m: float,
) -> _Choice:
    """Take one candidate for each site that has any."""
    cost = weigh_candidates(near, sites, reaches, network, within_m=within_m)
    penalty_m = cost.by_name_m + cost.by_area_m
    chosen = choose_cheapest(near.point, near.offset_m + penalty_m, cost.rank)
    nearest = choose_cheapest(near.point, near.offset_m, cost.rank)
    by_name = choose_cheapest(near.point, near.offset_m + cost.by_name_m, cost.rank)
    why = np.where(chosen == nearest, "nearest", np.where(chosen == by_name, "by name", "by area"))
    return _Choice(near, chosen, penalty_m, why.astype(object))


def _tabulate(
    parts: tuple[Candidates, Candidates],
    placement: npt.NDArray[np.object_],
    network: Network,
    index: pd.Index,
) -> pd.DataFrame:
    """Gather the places of the sites that name their reach, and of the others."""
    own, taken = parts
    rows = np.concatenate([own.point, taken.point])
    line = np.full(len(index), -1, dtype=np.intp)
    line[rows] = np.concatenate([own.line, taken.line])
    why = np.full(len(index), "none", dtype=object)
    why[rows] = [*["named"] * len(own.point), *placement]
    values = np.full((len(index), 4), np.nan)
    for part in parts:
        values[part.point] = np.column_stack([part.offset_m, part.along_m, part.place])
    # One entry more answers to -1, the row of a site that is placed on none.
    length_m = np.append(network.length_km * 1000.0, np.nan)[line]
    backwards = np.append(network.runs_upstream, [False])[line]
    along_m = np.where(length_m == 0, 0.0, values[:, 1])  # a reach without a line has but one place
    position_m = np.where(backwards, along_m, length_m - along_m)
    return pd.DataFrame(
        {
            "reach": line,
            "reach_id": pd.array(np.append(network.ids, [None])[line], dtype="str"),
            "offset_m": values[:, 0],
            "position_m": np.clip(position_m, 0.0, length_m),
            "snapped_longitude": values[:, 2],
            "snapped_latitude": values[:, 3],
            "placement": pd.array(why, dtype="str"),
        },
        index=index,
    )


def _join(first: pd.Series, second: pd.Series) -> npt.NDArray[np.object_]:
    joined = ["; ".join(filter(None, both)) for both in zip(first, second, strict=True)]
    return np.array(joined, dtype=object)


def _looks_swapped(points: npt.NDArray[np.float64], bounds: npt.NDArray[np.float64]) -> npt.NDArray[np.bool_]:
    """Tell which points lie outside the layer's box as they are, and inside it with the two swapped."""
    low, high = bounds[:2], bounds[2:]
    inside = ((points >= low) & (points <= high)).all(axis=1)
    turned = ((points[:, ::-1] >= low) & (points[:, ::-1] <= high)).all(axis=1)
    return np.logical_and(turned, ~inside)
