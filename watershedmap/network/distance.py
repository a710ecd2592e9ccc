"""Geodesic lengths and distances on the WGS 84 ellipsoid.

The geodesic is the shortest line on the ellipsoid, computed by pyproj (Karney 2013, Algorithms for
geodesics, J. Geodesy 87:43-55), so that no choice of projection shows in a length.

Known bias: a stream drawn with few vertices is shorter on the map than in the field, and all lengths and
distances along the flow inherit that.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import shapely

from watershedmap.network.lines import measure_m, split_segments

if TYPE_CHECKING:
    import geopandas as gpd
    import numpy.typing as npt


def line_length_km(geometries: npt.ArrayLike | gpd.GeoSeries) -> npt.NDArray[np.float64]:
    """Measure lines.

    Parameters
    ----------
    geometries
        One-dimensional: lines or multi-part lines in longitude and latitude (degrees, WGS 84), or None.

    Returns
    -------
    numpy.ndarray
        Length of each, kilometres; the gaps between parts are not counted. NaN where there is no geometry,
        0 for an empty one.
    """
    array = np.asarray(geometries, dtype=object)
    segments = split_segments(array)
    metres = np.bincount(segments.line, weights=segments.length_m, minlength=len(array))
    return np.where(shapely.is_missing(array), np.nan, metres / 1000.0)


def point_distance_m(
    longitude_a: npt.ArrayLike,
    latitude_a: npt.ArrayLike,
    longitude_b: npt.ArrayLike,
    latitude_b: npt.ArrayLike,
) -> npt.NDArray[np.float64]:
    """Measure from points to points.

    Parameters
    ----------
    longitude_a, latitude_a, longitude_b, latitude_b
        Degrees, WGS 84; they are broadcast against each other.

    Returns
    -------
    numpy.ndarray
        Geodesic distance, metres; NaN where a coordinate is NaN.
    """
    given = [np.asarray(value, dtype=float) for value in (longitude_a, latitude_a, longitude_b, latitude_b)]
    spread = np.broadcast_arrays(*given)
    flat = [value.ravel() for value in spread]
    metres = measure_m(np.stack(flat[:2], axis=1), np.stack(flat[2:], axis=1))
    return metres.reshape(spread[0].shape)
