"""Coordinates as short whole numbers, for pages that carry their own map.

Definition
    Longitude and latitude are rounded to 1e-5 degree (about a metre) and written as the difference to the
    vertex before, through all parts of all shapes in one run: ``[dx, dy, dx, dy, ...]``. Beside it stand the
    number of vertices per part and the number of parts per shape. A part is one line, or one ring of a
    polygon.

Source
    Delta coding: common practice, no source.

Known bias
    A vertex moves by up to 0.6 m, and two that lie closer than that may fall on one another. Figures such
    as lengths are never taken from these coordinates.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np
import shapely

if TYPE_CHECKING:
    import geopandas as gpd
    from numpy.typing import NDArray

STEPS_PER_DEGREE = 100_000
"""Whole numbers per degree."""


def encode_lines(shapes: gpd.GeoSeries) -> dict[str, list[int]]:
    """Encode lines.

    Parameters
    ----------
    shapes
        Lines or multi-part lines, longitude and latitude.

    Returns
    -------
    dict
        `xy`, `sizes` (vertices per part) and `parts` (parts per shape; none for a missing line).
    """
    lines, owner = shapely.get_parts(_geometries(shapes), return_index=True)
    return _encode(lines, owner, len(shapes))


def encode_polygons(shapes: gpd.GeoSeries) -> dict[str, list[int]]:
    """Encode polygons as their rings; what lies inside an odd number of rings is inside.

    Parameters
    ----------
    shapes
        Polygons or multi-part polygons, longitude and latitude.

    Returns
    -------
    dict
        As from `encode_lines`, a ring being a part.
    """
    polygons, of_shape = shapely.get_parts(_geometries(shapes), return_index=True)
    rings, of_polygon = shapely.get_rings(polygons, return_index=True)
    return _encode(rings, of_shape[of_polygon], len(shapes))


def encode_points(longitude: Any, latitude: Any) -> dict[str, list[int | None]]:  # noqa: ANN401 - any column
    """Encode single points, each by itself.

    Parameters
    ----------
    longitude, latitude
        Columns of degrees.

    Returns
    -------
    dict
        `x` and `y` in steps of 1e-5 degree, None where there is no point.
    """
    return {"x": _steps_or_none(longitude), "y": _steps_or_none(latitude)}


def _geometries(shapes: gpd.GeoSeries) -> NDArray[Any]:
    return np.asarray(shapes.array, dtype=object)


def _encode(parts: NDArray[Any], owner: NDArray[np.int64], n_shapes: int) -> dict[str, list[int]]:
    vertices, of_part = shapely.get_coordinates(parts, return_index=True)
    steps = np.rint(vertices * STEPS_PER_DEGREE).astype(np.int64)
    return {
        "xy": np.diff(steps, axis=0, prepend=np.zeros((1, 2), dtype=np.int64)).ravel().tolist(),
        "sizes": np.bincount(of_part, minlength=len(parts)).tolist(),
        "parts": np.bincount(owner, minlength=n_shapes).tolist(),
    }


def _steps_or_none(degrees: Any) -> list[int | None]:  # noqa: ANN401 - any column
    values = np.asarray(degrees, dtype=np.float64)
    return [round(value * STEPS_PER_DEGREE) if np.isfinite(value) else None for value in values.tolist()]
