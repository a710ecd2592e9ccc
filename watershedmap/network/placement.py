"""What placing sites has to say: doubts as words and ids, and notices with a remedy.

A reach differs from what its site says when both have a name of the stream and the two are not the same, or
when both have a drainage area and the two are more than a factor of two apart (our figure; a published area
and one measured on a map seldom differ by more).

Known bias: spelling counts. Names are compared without case, accents and punctuation, but "Mill Brook" and
"Mill Bk" are two names.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from watershedmap.errors import Fault
from watershedmap.network.ambiguity import MEETING, REASONS
from watershedmap.network.preference import area_factor, drainage_area_km2, read_names
from watershedmap.network.reports import list_ids

if TYPE_CHECKING:
    import geopandas as gpd
    import numpy.typing as npt

    from watershedmap.network.ambiguity import Doubts
    from watershedmap.network.candidates import Candidates
    from watershedmap.network.topology import Network

AREA_FACTOR = 2.0
"""Drainage areas of a site and its reach that are farther apart than this factor are noticed."""
OTHER_NAME = "another name"
OTHER_AREA = "another drainage area"


def tell_doubts(
    candidates: Candidates,
    chosen: npt.NDArray[np.intp],
    doubts: Doubts,
    ids: npt.NDArray[np.object_],
    size: int,
) -> pd.DataFrame:
    """Put into words on which other reaches sites may lie.

    Parameters
    ----------
    candidates
        Pairs of a site and a reach.
    chosen
        Rows of the pairs taken.
    doubts
        The other pairs in doubt, ordered by site.
    ids
        Id of each reach.
    size
        Number of sites.

    Returns
    -------
    pandas.DataFrame
        A row a site: candidates (ids joined by "; ", the one taken first) and ambiguity (reasons joined by
        "; "); both empty where there is no doubt.
    """
    joined = np.full((size, 2), "", dtype=object)
    taken = dict(zip(candidates.point[chosen].tolist(), candidates.line[chosen].tolist(), strict=True))
    site = candidates.point[doubts.pair]
    rows, first = np.unique(site, return_index=True)
    for row, start, end in zip(rows.tolist(), first, np.append(first, len(site))[1:], strict=True):
        part = slice(start, end)
        others = candidates.line[doubts.pair[part]].tolist()
        held = np.atleast_1d(doubts.reasons[part].any(axis=0))
        joined[row, 0] = "; ".join(str(ids[line]) for line in [taken[row], *others])
        joined[row, 1] = "; ".join(word for word, holds in zip(REASONS, held, strict=True) if holds)
    return pd.DataFrame(joined, columns=["candidates", "ambiguity"])


def tell_differences(
    reach: npt.NDArray[np.intp], sites: gpd.GeoDataFrame, reaches: gpd.GeoDataFrame, network: Network
) -> pd.DataFrame:
    """Compare what sites say of their stream with the reach they are put on.

    Parameters
    ----------
    reach
        Row of the reach of each site, -1 for none.
    sites
        With stream and upstream_area_km2, which may be absent.
    reaches
        With name, and upstream_area_km2 or area_km2, which may be absent.
    network
        The stream network of the reaches.

    Returns
    -------
    pandas.DataFrame
        A row a site: ambiguity ("another name", "another drainage area", joined by "; ", empty where nothing
        differs), and sentence (what differs, in words).
    """
    told = np.full((len(sites), 2), "", dtype=object)
    placed = np.flatnonzero(reach >= 0)
    line = reach[placed]
    if "stream" in sites and "name" in reaches:
        names = read_names(reaches.iloc[line], "name"), read_names(sites.iloc[placed], "stream")
        for row in placed[(names[0] != names[1]) & (names[0] != "") & (names[1] != "")].tolist():
            name, stream = reaches["name"].iloc[reach[row]], sites["stream"].iloc[row]
            told[row] = OTHER_NAME, f"the layer calls it {name}, the site is said to be on {stream}"
    if "upstream_area_km2" in sites and sites["upstream_area_km2"].notna().any():
        areas = drainage_area_km2(reaches, network), sites["upstream_area_km2"].to_numpy(dtype=float)
        for row in placed[area_factor(areas[0][line], areas[1][placed]) > AREA_FACTOR].tolist():
            sentence = f"{areas[0][reach[row]]:.4g} km2 drain to it, {areas[1][row]:.4g} km2 to the site"
            both = zip(told[row], (OTHER_AREA, sentence), strict=True)
            told[row] = ["; ".join(filter(None, pair)) for pair in both]
    return pd.DataFrame(told, columns=["ambiguity", "sentence"])


def report_lost(
    sites: gpd.GeoDataFrame,
    ids: npt.NDArray[np.object_],
    lost: npt.NDArray[np.intp],
    far: Candidates,
    *,
    swapped: npt.NDArray[np.bool_],
    within_m: float,
    file: str,
) -> list[Fault]:
    """Notice each site that is placed on no reach.

    Parameters
    ----------
    sites
        All sites.
    ids
        Id of each reach.
    lost
        Rows of the sites placed on none.
    far
        What lies farther away; `point` counts the sites lost.
    swapped
        Whether each of them looks as if its longitude and latitude were swapped.
    within_m
        Distance allowed, metres.
    file
        Name of the table of sites.

    Returns
    -------
    list of Fault
        One notice a site.
    """
    near, first = np.unique(far.point, return_index=True)
    text = np.full(len(lost), "none is near", dtype=object)
    text[near] = [f"the nearest, {ids[far.line[row]]}, is {far.offset_m[row]:.0f} m away" for row in first]
    found = []
    for name, nearest, turned in zip(_site_ids(sites)[lost], text, swapped, strict=True):
        problem = f"this site is not within {within_m:g} m of any reach; {nearest}"
        fix = "see that its longitude and latitude are right, name its reach in reach_id, or raise snap_m"
        if turned:
            fix = "its longitude and latitude look swapped: turned round, it lies among the reaches"
        found.append(Fault(file, None, "site_id", str(name), problem, fix, "notice"))
    return found


def report_named(
    sites: gpd.GeoDataFrame,
    named: npt.NDArray[np.intp],
    frame: pd.DataFrame,
    *,
    within_m: float,
    file: str,
) -> list[Fault]:
    """Notice each site whose own reach is unknown, has no line, or lies far away.

    Parameters
    ----------
    sites
        All sites.
    named
        Row of the reach that each names, -1 for none, -2 for one that is not in the layer.
    frame
        Where the sites were placed.
    within_m
        Distance allowed, metres.
    file
        Name of the table of sites.

    Returns
    -------
    list of Fault
        At most one notice a site.
    """
    ids, fix = _site_ids(sites), "correct its reach_id, or its longitude and latitude"
    offsets, found = frame["offset_m"].to_numpy(), []
    for row in np.flatnonzero((named != -1) & ~(offsets <= within_m)).tolist():
        value, offset = str(sites["reach_id"].iloc[row]), offsets[row]
        if named[row] < 0:
            problem = f"site {ids[row]} names a reach that is not in the layer; it is placed on none"
        elif np.isnan(offset):
            problem = (
                f"site {ids[row]} is put on the reach it names, but how far that is cannot be told; "
                "distances take it at the middle of the reach"
            )
        else:
            problem = f"site {ids[row]} is put on the reach it names, though that is {offset:.0f} m away"
        found.append(Fault(file, None, "reach_id", value, problem, fix, "notice"))
    return found


def report_ambiguous(
    sites: gpd.GeoDataFrame,
    frame: pd.DataFrame,
    told: pd.DataFrame,
    differs: pd.DataFrame,
    *,
    file: str,
) -> list[Fault]:
    """Notice each site that may lie on another reach.

    Parameters
    ----------
    sites
        All sites.
    frame
        Where they were placed.
    told, differs
        From `tell_doubts` and `tell_differences`.
    file
        Name of the table of sites.

    Returns
    -------
    list of Fault
        At most two notices a site: one of other reaches, one of what differs.
    """
    ids, reach, found = _site_ids(sites), frame["reach_id"].to_numpy(dtype=object), []
    fix = "name the reach it belongs to in reach_id, or move the site to where it was sampled"
    for row in np.flatnonzero(told["ambiguity"] != "").tolist():
        others = told["candidates"].iloc[row].split("; ")
        reasons = told["ambiguity"].iloc[row]
        if reasons.startswith(MEETING):
            start = f"the nearest place on a stream is where reaches {list_ids(sorted(others))} meet"
        else:
            start = f"this site may lie on reach {list_ids(others, between=' or ')} ({reasons})"
        problem = f"{start}; the site is put on {reach[row]}"
        found.append(Fault(file, None, "site_id", str(ids[row]), problem, fix, "notice"))
    fix = "correct the site's stream, drainage area or reach_id; if the layer is wrong, name the reach here"
    for row in np.flatnonzero(differs["sentence"] != "").tolist():
        problem = f"this site is put on reach {reach[row]}, but {differs['sentence'].iloc[row]}"
        found.append(Fault(file, None, "site_id", str(ids[row]), problem, fix, "notice"))
    return found


def _site_ids(sites: gpd.GeoDataFrame) -> npt.NDArray[np.object_]:
    return np.asarray(sites.get("site_id", sites.index), dtype=object)
