"""Lines taken apart: merged parts, ends, and segments with their geodesic lengths.

A line runs straight in longitude and latitude between its vertices, as map layers draw it; each such
segment is given the length of the geodesic between its ends. Parts of a multi-part line that share ends are
merged into one line; parts that do not are taken in the order in which they are stored, and the gaps
between them have no length.

Known bias: a segment that crosses the meridian of 180 degrees is taken to go the long way round on the
map when a place is put on it; its length is right.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import shapely
from pyproj import Geod

if TYPE_CHECKING:
    import geopandas as gpd
    import numpy.typing as npt

WGS84 = Geod(ellps="WGS84")
"""The ellipsoid that all lengths, distances and areas are measured on."""


@dataclass(frozen=True, slots=True, eq=False)
class Segments:
    """The straight pieces of many lines, line after line, each in its drawn direction."""

    line: npt.NDArray[np.intp]
    """Row of the line that each segment belongs to, ascending."""
    start: npt.NDArray[np.float64]
    """Longitude and latitude where each segment starts, degrees, two columns."""
    end: npt.NDArray[np.float64]
    """Longitude and latitude where each segment ends, degrees, two columns."""
    length_m: npt.NDArray[np.float64]
    """Geodesic length of each segment, metres."""
    from_m: npt.NDArray[np.float64]
    """Length of the line before each segment, metres, from where the line is drawn first."""


def split_segments(geometries: npt.ArrayLike | gpd.GeoSeries) -> Segments:
    """Take lines apart into segments.

    Parameters
    ----------
    geometries
        Lines or multi-part lines, longitude and latitude; None, empty ones and points have no segments.

    Returns
    -------
    Segments
        All segments, ordered by line and then along it.
    """
    parts = np.asarray(geometries, dtype=object)
    line_of_part = np.arange(len(parts))
    if (shapely.get_num_geometries(parts) > 1).any():  # taking single lines apart only costs time
        parts, line_of_part = shapely.get_parts(parts, return_index=True)
    points, part = shapely.get_coordinates(parts, return_index=True)
    inside = part[1:] == part[:-1]
    line = line_of_part[part[1:][inside]].astype(np.intp)
    start, end = points[:-1][inside], points[1:][inside]
    length_m = measure_m(start, end)
    total = np.cumsum(length_m)
    first = np.searchsorted(line, line, side="left")
    before = np.concatenate([[0.0], total])
    return Segments(line=line, start=start, end=end, length_m=length_m, from_m=before[:-1] - before[first])


def measure_m(start: npt.NDArray[np.float64], end: npt.NDArray[np.float64]) -> npt.NDArray[np.float64]:
    """Measure the geodesics between pairs of points.

    Parameters
    ----------
    start, end
        Longitude and latitude, degrees, two columns.

    Returns
    -------
    numpy.ndarray
        Metres; NaN where a coordinate is NaN.
    """
    if not len(start):
        return np.zeros(0)
    _, _, metres = WGS84.inv(start[:, 0], start[:, 1], end[:, 0], end[:, 1], return_back_azimuth=False)
    return np.asarray(metres, dtype=float)


def merge_parts(geometries: npt.ArrayLike | gpd.GeoSeries) -> npt.NDArray[np.object_]:
    """Merge the parts of multi-part lines where they share ends.

    Parameters
    ----------
    geometries
        Lines, multi-part lines, or None.

    Returns
    -------
    numpy.ndarray
        Single lines as they are; merged lines; multi-part lines that have gaps or forks, in parts; None for
        missing and empty ones and for what is not a line.
    """
    lines = np.asarray(geometries, dtype=object).copy()
    kind = shapely.get_type_id(lines)
    lines[shapely.is_empty(lines) | ~np.isin(kind, [_LINE, _MULTI_LINE])] = None
    several = shapely.get_num_geometries(lines) > 1
    whole = np.asarray(shapely.line_merge(lines[several]), dtype=object)
    merged = lines.copy()
    # Parts that stay apart are kept as they were, for merging some of them puts all into another order.
    merged[several] = np.where(is_in_parts(whole), lines[several], whole)
    single = (shapely.get_num_geometries(lines) == 1) & (shapely.get_type_id(lines) == _MULTI_LINE)
    merged[single] = shapely.get_geometry(lines[single], 0)
    return merged


def find_ends(lines: npt.NDArray[np.object_]) -> npt.NDArray[np.float64]:
    """Return where each line is drawn from and to.

    Parameters
    ----------
    lines
        As from `merge_parts`.

    Returns
    -------
    numpy.ndarray
        Shape (lines, 2, 2): start and end, each longitude and latitude in degrees; NaN for missing lines. A
        line in several parts goes from the start of its first part to the end of its last.
    """
    count = shapely.get_num_coordinates(lines)
    points = shapely.get_coordinates(lines)
    ends = np.full((len(lines), 2, 2), np.nan)
    drawn, stop = count > 0, np.cumsum(count)
    ends[drawn, 0] = points[(stop - count)[drawn]]
    ends[drawn, 1] = points[stop[drawn] - 1]
    return ends


def is_in_parts(lines: npt.NDArray[np.object_]) -> npt.NDArray[np.bool_]:
    """Tell which lines are still in several parts after merging."""
    return np.asarray(shapely.get_num_geometries(lines) > 1)


_LINE = shapely.GeometryType.LINESTRING
_MULTI_LINE = shapely.GeometryType.MULTILINESTRING
