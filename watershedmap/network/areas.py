"""Reaches, points and sizes by area: which sub-watershed a place or a piece of stream lies in.

Areas are taken to be straight in longitude and latitude between their vertices, like the lines. A reach that
lies wholly in one area belongs to it. Any other is cut at the borders, and a piece that runs along the border
of several areas belongs to the first of them in the layer, so that no piece counts twice.

Known bias: a sub-watershed's border drawn from another map than the stream can cut a reach to and fro; the
shares then add up all the same.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pandas as pd
import shapely

from watershedmap.network.distance import line_length_km
from watershedmap.network.lines import WGS84

if TYPE_CHECKING:
    import geopandas as gpd
    import numpy.typing as npt

_LEAST_KM = 1e-6  # pieces below a millimetre are rounding at a border


def share_reaches(reaches: gpd.GeoDataFrame, areas: gpd.GeoDataFrame) -> pd.DataFrame:
    """Divide the length of each reach among the areas that it runs through.

    Parameters
    ----------
    reaches
        Lines in longitude and latitude, or None.
    areas
        Polygons in longitude and latitude; invalid ones are mended first.

    Returns
    -------
    pandas.DataFrame
        reach (row), area (row), share (of the reach's length, 0 to 1) and length_km (in the area), ordered by
        reach and area. Shares of a reach add up to 1, or to less when part of it lies in no area.
    """
    lines = np.asarray(reaches.geometry, dtype=object)
    polygons = mend_polygons(areas.geometry)
    length_km = line_length_km(lines)
    reach, area = _pair(lines, polygons)
    piece_km = _cut(lines, polygons, reach, area)
    total = np.bincount(reach, weights=piece_km, minlength=len(lines))
    whole = np.fmax(length_km, total)[reach]  # a cut adds a vertex, and with it a little length
    keep = piece_km > _LEAST_KM
    frame = pd.DataFrame(
        {
            "reach": reach,
            "area": area,
            "share": piece_km / np.where(whole > 0, whole, 1.0),
            "length_km": piece_km,
        }
    )
    return frame[keep].reset_index(drop=True)


def area_of_points(points: gpd.GeoSeries, areas: gpd.GeoDataFrame) -> npt.NDArray[np.intp]:
    """Find the area that each point lies in.

    Parameters
    ----------
    points
        Longitude and latitude; missing and empty ones lie nowhere.
    areas
        Polygons in longitude and latitude; invalid ones are mended first.

    Returns
    -------
    numpy.ndarray
        Row of the area, the first one for a point on a shared border, -1 for none.
    """
    places = np.asarray(points, dtype=object)
    point, area = shapely.STRtree(mend_polygons(areas.geometry)).query(places, predicate="intersects")
    first = np.full(len(places), len(areas), dtype=np.intp)
    np.minimum.at(first, point, area)
    return np.where(first < len(areas), first, -1)


def area_km2(polygons: gpd.GeoSeries) -> npt.NDArray[np.float64]:
    """Measure polygons on the ellipsoid.

    Parameters
    ----------
    polygons
        Longitude and latitude; invalid ones are mended first.

    Returns
    -------
    numpy.ndarray
        Square kilometres; NaN for a missing polygon.
    """
    mended = mend_polygons(polygons)
    parts, row = shapely.get_parts(mended, return_index=True)
    flat = shapely.get_type_id(parts) == shapely.GeometryType.POLYGON
    square_m = [_measure_polygon(part) for part in parts[flat]]
    total = np.bincount(row[flat], weights=square_m, minlength=len(mended)) / 1e6
    return np.where(shapely.is_missing(mended), np.nan, total)


def _measure_polygon(polygon: shapely.Polygon) -> float:
    """Return the square metres of one polygon, whichever way its rings run."""
    rings = [polygon.exterior, *polygon.interiors]
    sizes = [abs(WGS84.geometry_area_perimeter(ring)[0]) for ring in rings]
    return float(sizes[0] - sum(sizes[1:]))


def mend_polygons(polygons: gpd.GeoSeries) -> npt.NDArray[np.object_]:
    """Make polygons valid.

    Parameters
    ----------
    polygons
        Polygons, or None.

    Returns
    -------
    numpy.ndarray
        Valid ones as they are; what crosses itself taken apart, which can leave lines beside polygons.
    """
    mended: npt.NDArray[np.object_] = np.asarray(polygons, dtype=object).copy()
    invalid = ~shapely.is_valid(mended) & ~shapely.is_missing(mended)
    mended[invalid] = shapely.make_valid(mended[invalid])
    return mended


def _pair(
    lines: npt.NDArray[np.object_], polygons: npt.NDArray[np.object_]
) -> tuple[npt.NDArray[np.intp], npt.NDArray[np.intp]]:
    """Pair each reach with its areas, ordered; with only one of them when it lies wholly in that."""
    tree = shapely.STRtree(polygons)
    reach, area = tree.query(lines, predicate="intersects")
    inside, within = tree.query(lines, predicate="covered_by")
    only = np.full(len(lines), len(polygons), dtype=np.intp)
    np.minimum.at(only, inside, within)
    keep = (only[reach] == len(polygons)) | (only[reach] == area)
    by_reach = np.lexsort([area[keep], reach[keep]])
    return reach[keep][by_reach], area[keep][by_reach]


def _cut(
    lines: npt.NDArray[np.object_],
    polygons: npt.NDArray[np.object_],
    reach: npt.NDArray[np.intp],
    area: npt.NDArray[np.intp],
) -> npt.NDArray[np.float64]:
    """Measure the piece of each pair, areas taking their pieces one after the other."""
    turn = np.arange(len(reach)) - np.searchsorted(reach, reach, side="left")
    rest = lines.copy()
    piece_km = np.zeros(len(reach))
    for number in range(int(turn.max(initial=-1)) + 1):
        now = turn == number
        before, cutter = rest[reach[now]], polygons[area[now]]
        piece_km[now] = line_length_km(shapely.intersection(before, cutter))
        more = np.isin(reach[now], reach[turn == number + 1])
        rest[reach[now][more]] = shapely.difference(before[more], cutter[more])
    return piece_km
