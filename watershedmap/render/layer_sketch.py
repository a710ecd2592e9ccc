"""A sketch of the layers for a page: lines and borders as one thin path, small however many there are.

Longitude is drawn shorter by the cosine of the middle latitude, so that a sketch in the size of a watershed
has the right shape; it is no map to measure on. Vertices are rounded to the units of the drawing, and those
that fall together are left out; where the path is still long, the units are made coarser, and at last
segments are left out.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Final, NamedTuple

import numpy as np
import pandas as pd
import shapely

if TYPE_CHECKING:
    from collections.abc import Sequence

    import geopandas as gpd
    import numpy.typing as npt

WIDTH: Final = 640
"""Width of a sketch in its own units."""
TALLEST: Final = 720
"""Greatest height, units; a layer that is longer from north to south is drawn narrower, not cut."""
LOWEST: Final = 160
"""Smallest height, units."""
MARGIN: Final = 18
"""Free rim, so that no mark is cut."""
COARSER: Final = (0.5, 1.0, 2.0, 4.0, 8.0)
"""Steps of the drawing that are tried, in its units."""
MOST_SEGMENTS: Final = 20_000
"""Most segments of a path, about 0.3 MB; on the coarsest grid evenly spread ones are left out."""

_CELLS = 2**15
"""More than a sketch has units."""


@dataclass(frozen=True, slots=True)
class Frame:
    """How longitude and latitude are put on the sketch."""

    west: float
    """Longitude of the left edge, degrees."""
    north: float
    """Latitude of the upper edge, degrees."""
    across: float
    """Units a degree of longitude."""
    along: float
    """Units a degree of latitude."""
    width: int
    """Width of the sketch, units."""
    height: int
    """Height of the sketch, units."""

    def place(self, points: npt.NDArray[np.float64]) -> npt.NDArray[np.float64]:
        """Put points on the sketch.

        Parameters
        ----------
        points
            Longitude and latitude, degrees, two columns.

        Returns
        -------
        numpy.ndarray
            Units to the right and down, two columns.
        """
        right = (points[:, 0] - self.west) * self.across + MARGIN
        down = (self.north - points[:, 1]) * self.along + MARGIN
        return np.stack([right, down], axis=1)


class _Segments(NamedTuple):
    """Straight pieces of lines, in units of the sketch."""

    start: npt.NDArray[np.float64]
    """Where each starts, two columns."""
    end: npt.NDArray[np.float64]
    """Where each ends, two columns."""
    line: npt.NDArray[np.intp]
    """Number of the line that each belongs to."""


def frame_layers(layers: Sequence[gpd.GeoDataFrame | gpd.GeoSeries]) -> Frame | None:
    """Choose a frame that holds some layers.

    Parameters
    ----------
    layers
        In longitude and latitude.

    Returns
    -------
    Frame or None
        None when nothing in them has a place.
    """
    bounds = np.array([layer.total_bounds for layer in layers if len(layer)]).reshape(-1, 4)
    bounds = bounds[~np.isnan(bounds).any(axis=1)]
    if not len(bounds):
        return None
    (west, south), (east, north) = bounds[:, :2].min(axis=0), bounds[:, 2:].max(axis=0)
    narrow = max(float(np.cos(np.radians((south + north) / 2))), 0.01)
    wide, high = max((east - west) * narrow, 1e-6), max(north - south, 1e-6)
    scale = min((WIDTH - 2 * MARGIN) / wide, (TALLEST - 2 * MARGIN) / high)
    size = (round(wide * scale) + 2 * MARGIN, round(high * scale) + 2 * MARGIN)
    width, height = WIDTH, max(size[1], LOWEST)
    # What is narrower or lower than the sketch stands in its middle.
    west -= (width - size[0]) / 2 / (scale * narrow)
    north += (height - size[1]) / 2 / scale
    return Frame(float(west), float(north), float(scale * narrow), float(scale), width, height)


def draw_path(shapes: gpd.GeoSeries, frame: Frame) -> str:
    """Draw lines, or the borders of polygons, as one path.

    Parameters
    ----------
    shapes
        In longitude and latitude; None is left out.
    frame
        From `frame_layers`.

    Returns
    -------
    str
        For the attribute `d` of an SVG path; figures and the letters M and L only.
    """
    drawn = np.asarray(shapes.to_numpy(), dtype=object)
    areas = shapely.get_dimensions(drawn) == 2  # noqa: PLR2004 - polygons
    drawn = np.where(areas, shapely.boundary(drawn), drawn)
    points, part = shapely.get_coordinates(shapely.get_parts(drawn), return_index=True)
    placed = frame.place(points)
    for unit in COARSER:
        segments = _find_segments(placed, part, unit)
        if len(segments.line) <= MOST_SEGMENTS:
            break
    return _write_path(segments)


def draw_dots(points: npt.NDArray[np.float64]) -> str:
    """Draw places as lines of no length, which round caps make dots.

    Parameters
    ----------
    points
        In units of the sketch, two columns; places that fall together are drawn once.

    Returns
    -------
    str
        For the attribute `d` of an SVG path.
    """
    cells = np.unique(np.round(points / 2).astype(int) * 2, axis=0)
    return "".join(f"M{x} {y}h0" for x, y in cells.tolist())


def _find_segments(points: npt.NDArray[np.float64], part: npt.NDArray[np.intp], unit: float) -> _Segments:
    """Put lines on a grid; what falls into one cell, and what was drawn before, is left out."""
    grid = np.round(points / unit).astype(np.int64)
    apart = (part[1:] == part[:-1]) & (grid[1:] != grid[:-1]).any(axis=1)
    start, end, line = grid[:-1][apart], grid[1:][apart], part[1:][apart]
    # A segment is the same in either direction: its ends are sorted by one number for each cell.
    one, other = (side[:, 0] * _CELLS + side[:, 1] for side in (start, end))
    keys = np.minimum(one, other) * _CELLS**2 + np.maximum(one, other)
    first = np.flatnonzero(~pd.Index(keys).duplicated())
    if unit == COARSER[-1] and len(first) > MOST_SEGMENTS:
        first = first[np.linspace(0, len(first) - 1, MOST_SEGMENTS).astype(int)]
    return _Segments(start[first] * unit, end[first] * unit, line[first])


def _write_path(segments: _Segments) -> str:
    """Write segments as a path; one that starts where the one before it ended goes on from there."""
    start, end, line = segments.start, segments.end, segments.line
    joined = np.zeros(len(line), dtype=bool)
    joined[1:] = (line[1:] == line[:-1]) & (start[1:] == end[:-1]).all(axis=1)
    pieces = []
    for goes_on, one, other in zip(joined.tolist(), start.tolist(), end.tolist(), strict=True):
        if not goes_on:
            pieces.append(f"M{one[0]:g} {one[1]:g}")
        pieces.append(f"L{other[0]:g} {other[1]:g}")
    return "".join(pieces)
