"""What a layer of sub-watersheds has to say for itself: codes, borders, overlaps, gaps.

Each finding has a place to look at. Overlaps and gaps count above one hectare, which is more than the slivers
that two drawings of one border leave. A gap is a hole that no polygon fills within all polygons together; the
outer boundary is none. A reach crosses a border when an area that does not hold most of it still holds a
tenth of its length and 100 m of it. The limits are ours; there are no published ones.

Known bias: a sliver that opens to the outside is no hole and is not found, nor is an area that is missing at
the rim; a true island or lake that was left out on purpose is a gap all the same.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely

from watershedmap.network.area_chain import chain_areas, link_by_codes, list_cycles, main_areas
from watershedmap.network.areas import area_km2, area_of_points, mend_polygons
from watershedmap.network.findings import Finding, frame_findings
from watershedmap.network.reports import list_ids

if TYPE_CHECKING:
    import numpy.typing as npt

    from watershedmap.network.topology import Network

LEAST_KM2 = 0.01
"""Overlaps and gaps that are smaller are drawing, square kilometres."""
LEAST_SHARE, LEAST_KM = 0.1, 0.1
"""A reach crosses a border when this share and this length of it, kilometres, lie beyond."""
CYCLE_OF_CODES = "cycle of codes"
"""The one kind that stops a survey: a chain that goes round has no end."""


def inspect_areas(
    reaches: gpd.GeoDataFrame,
    areas: gpd.GeoDataFrame,
    network: Network,
    shares: pd.DataFrame,
    *,
    sites: gpd.GeoDataFrame | None = None,
    chain: pd.DataFrame | None = None,
) -> gpd.GeoDataFrame:
    """List what is odd about sub-watersheds.

    Parameters
    ----------
    reaches
        Lines in longitude and latitude, with reach_id.
    areas
        Polygons in longitude and latitude, with subwatershed_id, and downstream_id where the layer has it.
    network
        The stream network of the reaches.
    shares
        From `watershedmap.network.areas.share_reaches`.
    sites
        Points with site_id, to list those that lie in no sub-watershed.
    chain
        From `chain_areas`, when that has been found already.

    Returns
    -------
    geopandas.GeoDataFrame
        finding, severity ("fault" for a circle of codes, else "notice"), ids (joined by "; "), note, fix, and
        a point in longitude and latitude, or None. What is found: "cycle of codes", "code not in the layer",
        "chain disagrees", "crosses a border", "overlap", "gap", "outside of all areas" (reaches, in one row),
        "site in no area".
    """
    links = chain_areas(areas, network, shares) if chain is None else chain
    rows = [
        *_find_code_cycles(areas),
        *_find_missing_codes(areas),
        *_find_disagreements(areas, links),
        *_find_crossings(reaches, areas, shares),
        *_find_overlaps(areas),
        *_find_gaps(areas),
        *_find_reaches_outside(reaches, shares),
        *([] if sites is None else _find_sites_outside(sites, areas)),
    ]
    return frame_findings(rows)


def _ids(areas: gpd.GeoDataFrame) -> npt.NDArray[np.object_]:
    return areas["subwatershed_id"].to_numpy(dtype=object)


def _inner_point(areas: gpd.GeoDataFrame, row: int) -> shapely.Point | None:
    shape = areas.geometry.iloc[row]
    return None if shape is None or shape.is_empty else shape.representative_point()


def _find_code_cycles(areas: gpd.GeoDataFrame) -> list[Finding]:
    found, ids = [], _ids(areas)
    for rows in list_cycles(link_by_codes(areas)):
        named = "; ".join(map(str, ids[rows]))
        note = f"the downstream codes of {len(rows)} sub-watershed(s) run in a circle; they are not followed"
        fix = "correct the downstream code that points back upstream"
        found.append(Finding(CYCLE_OF_CODES, "fault", named, note, fix, _inner_point(areas, rows[0])))
    return found


def _find_missing_codes(areas: gpd.GeoDataFrame) -> list[Finding]:
    if "downstream_id" not in areas:
        return []
    found, ids, codes = [], _ids(areas), areas["downstream_id"]
    for row in np.flatnonzero((codes.notna() & ~codes.isin(ids)).to_numpy()).tolist():
        note = f"its downstream code, {codes.iloc[row]}, is not in the layer; it is taken to flow out there"
        fix = "if the layer was cut out of a larger one this is as it should be; if not, correct the code"
        found.append(
            Finding("code not in the layer", "notice", str(ids[row]), note, fix, _inner_point(areas, row))
        )
    return found


def _find_disagreements(areas: gpd.GeoDataFrame, chain: pd.DataFrame) -> list[Finding]:
    found, ids = [], _ids(areas)
    fix = "see which of the two is right; by codes a chain is followed, by reaches streams are"
    for row in np.flatnonzero(~chain["agrees"].fillna(value=True).to_numpy(dtype=bool)).tolist():
        told = [chain[name].iloc[row] for name in ("by_codes", "by_reaches")]
        words = ["none" if pd.isna(name) else str(name) for name in told]
        note = f"by its code the next sub-watershed is {words[0]}, by the reaches that leave it {words[1]}"
        named = "; ".join(map(str, [ids[row], *(name for name in told if not pd.isna(name))]))
        found.append(Finding("chain disagrees", "notice", named, note, fix, _inner_point(areas, row)))
    return found


def _find_crossings(
    reaches: gpd.GeoDataFrame, areas: gpd.GeoDataFrame, shares: pd.DataFrame
) -> list[Finding]:
    main = main_areas(shares, len(reaches))[shares["reach"]]
    within = shares["area"] == main
    beyond = ~within & (shares["share"] >= LEAST_SHARE) & (shares["length_km"] >= LEAST_KM)
    parts = shares[shares["reach"].isin(shares["reach"][beyond]) & (beyond | within)]
    parts = parts.sort_values(["reach", "share", "area"], ascending=[True, False, True])
    ids, names = _ids(areas)[parts["area"]], reaches["reach_id"].to_numpy(dtype=object)
    told = [f"{name} {share:.0%}" for name, share in zip(ids, parts["share"], strict=True)]
    by_reach = pd.Series(told, index=parts["reach"]).groupby(level=0).agg(", ".join)
    rows = by_reach.index.to_numpy(dtype=np.intp)
    points = _cross_at(reaches.geometry.to_numpy()[rows], mend_polygons(areas.geometry)[_firsts(parts)])
    fix = "nothing, if streams do cross this border; its length is divided among them by these shares"
    return [
        Finding(
            "crosses a border",
            "notice",
            str(names[row]),
            f"the reach lies in several sub-watersheds: {text}",
            fix,
            point,
        )
        for row, text, point in zip(rows, by_reach, points, strict=True)
    ]


def _firsts(parts: pd.DataFrame) -> npt.NDArray[np.intp]:
    """Return the first area of each reach of a frame that is ordered by reach."""
    return parts.drop_duplicates("reach")["area"].to_numpy(dtype=np.intp)


def _cross_at(lines: npt.NDArray[np.object_], polygons: npt.NDArray[np.object_]) -> npt.NDArray[np.object_]:
    """Return where each line first meets the border of its polygon, or else the middle of the line."""
    cut = shapely.get_geometry(shapely.intersection(lines, shapely.boundary(polygons)), 0)
    is_line = shapely.get_type_id(cut) == shapely.GeometryType.LINESTRING
    point = np.where(is_line, shapely.get_point(cut, 0), cut)
    middle = shapely.line_interpolate_point(lines, 0.5, normalized=True)
    usable = shapely.get_type_id(point) == shapely.GeometryType.POINT
    return np.where(usable, point, middle)


def _find_overlaps(areas: gpd.GeoDataFrame) -> list[Finding]:
    polygons, ids = mend_polygons(areas.geometry), _ids(areas)
    one, other = shapely.STRtree(polygons).query(polygons, predicate="intersects")
    pairs = np.unique(np.stack([one[one < other], other[one < other]], axis=1), axis=0)
    # Neighbours that share no more than a border are most of the pairs, and told quickly.
    inside = ~shapely.touches(polygons[pairs[:, 0]], polygons[pairs[:, 1]])
    pairs = pairs[inside]
    common = shapely.intersection(polygons[pairs[:, 0]], polygons[pairs[:, 1]])
    sizes = area_km2(gpd.GeoSeries(common))
    found = []
    fix = "correct the border; a point in both counts for the first of them in the layer"
    for row in np.flatnonzero(sizes >= LEAST_KM2).tolist():
        named = "; ".join(map(str, ids[pairs[row]]))
        note = f"these two sub-watersheds overlap by {sizes[row]:.3g} km2"
        found.append(Finding("overlap", "notice", named, note, fix, common[row].representative_point()))
    return found


def _find_gaps(areas: gpd.GeoDataFrame) -> list[Finding]:
    polygons = mend_polygons(areas.geometry)
    whole = shapely.get_parts(shapely.union_all(polygons[~shapely.is_missing(polygons)]))
    rings = [ring for part in whole if part.geom_type == "Polygon" for ring in part.interiors]
    holes = shapely.polygons(rings) if rings else np.array([], dtype=object)
    sizes, tree, ids = area_km2(gpd.GeoSeries(holes)), shapely.STRtree(polygons), _ids(areas)
    found = []
    fix = "draw the missing sub-watershed, or move the borders together; what lies in the gap is in none"
    for row in np.flatnonzero(sizes >= LEAST_KM2).tolist():
        # An island within the hole is a part of its own and no part of the gap.
        gap = shapely.difference(holes[row], shapely.union_all(polygons[tree.query(holes[row])]))
        size = float(area_km2(gpd.GeoSeries([gap]))[0])
        if size < LEAST_KM2:
            continue
        about = np.sort(tree.query(holes[row], predicate="intersects"))
        note = f"a gap of {size:.3g} km2 between sub-watersheds"
        named = "; ".join(map(str, ids[about]))
        found.append(Finding("gap", "notice", named, note, fix, gap.representative_point()))
    return found


def _find_reaches_outside(reaches: gpd.GeoDataFrame, shares: pd.DataFrame) -> list[Finding]:
    drawn = ~(shapely.is_missing(reaches.geometry) | shapely.is_empty(reaches.geometry))
    rows = np.setdiff1d(np.flatnonzero(drawn), shares["reach"])
    if not len(rows):
        return []
    names = reaches["reach_id"].to_numpy(dtype=object)[rows]
    note = f"{len(rows)} reach(es) lie in no sub-watershed; they count for none"
    fix = "use a layer of sub-watersheds that covers the streams, or leave these reaches out"
    point = reaches.geometry.iloc[rows[0]].interpolate(0.5, normalized=True)
    return [Finding("outside of all areas", "notice", list_ids(names, between="; "), note, fix, point)]


def _find_sites_outside(sites: gpd.GeoDataFrame, areas: gpd.GeoDataFrame) -> list[Finding]:
    points = np.asarray(sites.geometry, dtype=object)
    known = ~(shapely.is_missing(points) | shapely.is_empty(points))
    names = np.asarray(sites.get("site_id", sites.index), dtype=object)
    note, fix = (
        "this site lies in no sub-watershed",
        "see that its place is right, and that the layer covers it",
    )
    return [
        Finding("site in no area", "notice", str(names[row]), note, fix, points[row])
        for row in np.flatnonzero(known & (area_of_points(sites.geometry, areas) < 0)).tolist()
    ]
