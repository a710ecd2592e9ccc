"""Longitude and latitude on paper, and streams as chains of lines that are drawn alike.

A degree of longitude is drawn as long as a degree of latitude times the cosine of the middle latitude: near
enough to equal area for a watershed, north is up everywhere. The scale is true along the middle latitude; the
scale bar is geodesic and says so where the difference from edge to edge is more than two percent.

Reaches that are drawn alike and meet end to end are joined into chains, so that dashes run on across their
ends. Without that a network of short reaches shows no gap at all, and what was inferred would look measured.
A chain too short for a gap is cut short itself, for the same reason.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
import shapely

if TYPE_CHECKING:
    from collections.abc import Sequence

    import geopandas as gpd
    import numpy.typing as npt

    Floats = npt.NDArray[np.float64]
    Shapes = npt.NDArray[Any]

FINENESS = 0.15
"""How far a drawn line may lie from the line in the layer, points."""
EVEN_SCALE = 0.02
"""Difference of scale, from the middle to an edge, that goes without saying."""


@dataclass(frozen=True, slots=True)
class Paper:
    """Where places of a survey lie on a sheet."""

    west: float
    """Longitude of the left edge, degrees."""
    south: float
    """Latitude of the lower edge, degrees."""
    across: float
    """Points to a degree of longitude."""
    up: float
    """Points to a degree of latitude."""
    width: float
    """Width of the sheet, points."""
    height: float
    """Height of the sheet, points."""

    def place(self, longitude: npt.ArrayLike, latitude: npt.ArrayLike) -> tuple[Floats, Floats]:
        """Place points.

        Parameters
        ----------
        longitude, latitude
            Degrees.

        Returns
        -------
        tuple of numpy.ndarray
            Points from the left and from below; NaN where a coordinate is missing.
        """
        x = (np.asarray(longitude, dtype=float) - self.west) * self.across
        return x, (np.asarray(latitude, dtype=float) - self.south) * self.up

    def place_shapes(self, shapes: gpd.GeoSeries, fineness: float = FINENESS) -> Shapes:
        """Place lines or polygons, with no more vertices than can be seen.

        Parameters
        ----------
        shapes
            In degrees; some may be missing.
        fineness
            How far an edge may move, points.

        Returns
        -------
        numpy.ndarray
            Shapes in points.
        """
        flat = shapely.force_2d(np.asarray(shapes.array, dtype=object))
        factor, origin = np.array([self.across, self.up]), np.array([self.west, self.south])
        placed = shapely.transform(flat, lambda xy: (xy - origin) * factor)
        return np.asarray(shapely.simplify(placed, fineness, preserve_topology=True), dtype=object)

    @property
    def middle(self) -> tuple[float, float]:
        """Longitude and latitude of the middle of the sheet, degrees."""
        return self.west + self.width / 2 / self.across, self.south + self.height / 2 / self.up

    @property
    def uneven(self) -> bool:
        """Whether the scale differs visibly between the middle and an edge."""
        latitude = self.middle[1]
        half = self.height / 2 / self.up
        ends = [math.cos(math.radians(min(89.0, abs(latitude + way)))) for way in (-half, half)]
        here = math.cos(math.radians(min(89.0, abs(latitude))))
        return max(abs(end / here - 1) for end in ends) > EVEN_SCALE


def fit_paper(bounds: Sequence[float], width: float, height: float, margin: float) -> Paper:
    """Lay what lies in some bounds on a sheet, as large as it goes.

    Parameters
    ----------
    bounds
        West, south, east and north, degrees; any that is not finite stands for no place at all.
    width, height
        Of the sheet, points.
    margin
        Kept free at each edge, points.

    Returns
    -------
    Paper
        With the middle of the bounds in its middle.
    """
    west, south, east, north = bounds if np.isfinite(bounds).all() else (-1.0, -1.0, 1.0, 1.0)
    latitude = (south + north) / 2
    squeeze = max(0.02, math.cos(math.radians(latitude)))
    tall, wide = max(north - south, 1e-4), max((east - west) * squeeze, 1e-4)
    up = min((width - 2 * margin) / wide, (height - 2 * margin) / tall)
    across = up * squeeze
    left, low = (west + east) / 2 - width / 2 / across, latitude - height / 2 / up
    return Paper(left, low, across, up, width, height)


def join_lines(lines: Shapes) -> list[Floats]:
    """Join lines that meet end to end, and no third with them.

    Parameters
    ----------
    lines
        Lines or multi-part lines, in points; some may be missing or empty.

    Returns
    -------
    list of numpy.ndarray
        Vertices of each chain.
    """
    parts = shapely.get_parts(lines[~shapely.is_missing(lines)])
    parts = parts[shapely.get_type_id(parts) == shapely.GeometryType.LINESTRING]
    parts = parts[shapely.get_num_points(parts) > 1]
    if not len(parts):
        return []
    merged = shapely.get_parts(shapely.line_merge(shapely.multilinestrings(parts)))
    vertices, of_part = shapely.get_coordinates(merged, return_index=True)
    return np.split(vertices, np.flatnonzero(np.diff(of_part)) + 1)


def shorten_chains(chains: list[Floats], dash: float, gap: float) -> list[Floats]:
    """Cut chains that are too short for a gap, so that one is seen all the same.

    Parameters
    ----------
    chains
        As from `join_lines`.
    dash, gap
        Of the pattern they will be drawn in, points.

    Returns
    -------
    list of numpy.ndarray
        Chains at least as long as one dash and one gap as they were; of the others the middle.
    """
    lines = np.array([shapely.linestrings(chain) for chain in chains], dtype=object)
    lengths = shapely.length(lines)
    kept = dash / (dash + gap)
    return [
        chain if length >= dash + gap else _middle_part(chain, float(length), kept)
        for chain, length in zip(chains, lengths, strict=True)
    ]


def _middle_part(chain: Floats, length: float, share: float) -> Floats:
    along = np.append(0.0, np.cumsum(np.hypot(*np.diff(chain, axis=0).T)))
    ends = np.array([(1 - share) / 2, (1 + share) / 2]) * length
    inner = chain[(along > ends[0]) & (along < ends[1])]
    first, last = ([np.interp(end, along, chain[:, 0]), np.interp(end, along, chain[:, 1])] for end in ends)
    return np.vstack([first, inner, last])


def crowding(lines: Shapes, *, least: float = 0.2) -> float:
    """Say how much thinner lines are drawn where they lie close, or are short.

    Parameters
    ----------
    lines
        All lines, in points.
    least
        Share that they keep however many there are.

    Returns
    -------
    float
        1 where there is room; smaller where streams lie closer than `ROOMY` on average, or where half of them
        are shorter.
    """
    known = lines[~shapely.is_missing(lines) & ~shapely.is_empty(lines)]
    lengths = shapely.length(known)
    if not lengths.sum():
        return 1.0
    west, south, east, north = shapely.total_bounds(known)
    spacing = (east - west) * (north - south) / lengths.sum()
    room = float(np.median(lengths)) if spacing == 0 else min(spacing, float(np.median(lengths)))
    return float(np.clip(room / ROOMY, least, 1.0))


ROOMY = 9.0
"""Distance between streams and length of one, points, from which lines have their full width."""
LEAST_CLASSED = 0.4
"""Share of their full width that lines with a class keep, so that they are found among the others."""
