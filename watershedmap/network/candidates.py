"""Lines near points: every line within a distance of a point, and where on it the point comes nearest.

Lines are found by boxes in degrees about each point, drawn once more on the other side for points beside
the meridian of 180 degrees. Only the lines found are then taken apart. The segments of a line are compared
in a plane that touches the ellipsoid at the point, with metres per degree after its two radii of curvature
there (textbook geodesy); the offset told is the geodesic to the place found.

Known bias: the plane is good to a few parts in a million at a kilometre, but a named line hundreds of
kilometres away is touched at a place that is only roughly the nearest.
"""

from __future__ import annotations

from dataclasses import dataclass, fields, replace
from typing import TYPE_CHECKING

import numpy as np
import shapely

from watershedmap.network.distance import point_distance_m
from watershedmap.network.lines import Segments, merge_parts, split_segments

if TYPE_CHECKING:
    import geopandas as gpd
    import numpy.typing as npt

_CHUNK = 5_000  # points at a time
_MOST_VERTICES = 2_000_000  # of all lines of the pairs compared at a time, which bounds memory
_MICROMETRES = 6  # decimals of a metre that two distances are compared to, so that a shared node is a tie
_HALF_TURN, _TURN = 180.0, 360.0


@dataclass(frozen=True, slots=True, eq=False)
class LineIndex:
    """Lines ready to be searched."""

    lines: npt.NDArray[np.object_]
    """The lines, merged; those across the meridian of 180 degrees go on beyond 180. None for none."""
    tree: shapely.STRtree
    """Their boxes."""
    reaches_beyond: bool
    """Whether any of them goes on beyond 180."""


@dataclass(frozen=True, slots=True, eq=False)
class Candidates:
    """Pairs of a point and a line."""

    point: npt.NDArray[np.intp]
    """Row of the point."""
    line: npt.NDArray[np.intp]
    """Row of the line."""
    place: npt.NDArray[np.float64]
    """Longitude and latitude where the line comes nearest, degrees, two columns; NaN without a line."""
    along_m: npt.NDArray[np.float64]
    """Distance along the line to there from where it is drawn first, metres; NaN without a line."""
    offset_m: npt.NDArray[np.float64]
    """Geodesic distance from the point to the place, metres, to the micrometre; NaN without a line."""

    def take(self, rows: npt.NDArray[np.intp] | npt.NDArray[np.bool_]) -> Candidates:
        """Return some of the pairs, in the order asked for."""
        return Candidates(
            point=self.point[rows],
            line=self.line[rows],
            place=self.place[rows],
            along_m=self.along_m[rows],
            offset_m=self.offset_m[rows],
        )


def index_lines(geometries: npt.ArrayLike | gpd.GeoSeries) -> LineIndex:
    """Make lines ready to be searched.

    Parameters
    ----------
    geometries
        Lines or multi-part lines in longitude and latitude, or None.

    Returns
    -------
    LineIndex
        In the same order.
    """
    lines = np.asarray(geometries, dtype=object).copy()
    bounds = shapely.bounds(lines)
    across = bounds[:, 2] - bounds[:, 0] > _HALF_TURN
    if across.any():
        lines[across] = shapely.transform(lines[across], _unroll)
    merged = merge_parts(lines)
    return LineIndex(lines=merged, tree=shapely.STRtree(merged), reaches_beyond=bool(across.any()))


def find_candidates(points: npt.NDArray[np.float64], index: LineIndex, *, within_m: float) -> Candidates:
    """Find all lines within a distance of each point.

    Parameters
    ----------
    points
        Longitude and latitude, degrees, two columns; NaN for unknown places, which are near nothing.
    index
        The lines.
    within_m
        Lines farther away are not found, metres.

    Returns
    -------
    Candidates
        Ordered by point, then by offset, then by line.
    """
    none = np.zeros(0, dtype=np.intp)
    parts = [touch_lines(points[:0], index, none, none)]
    for start in range(0, len(points), _CHUNK):
        part = points[start : start + _CHUNK]
        point, line = _find_pairs(part, index, within_m)
        found = touch_lines(part, index, point, line)
        kept = found.take(found.offset_m <= within_m)
        kept = kept.take(np.lexsort([kept.line, kept.offset_m, kept.point]))
        parts.append(replace(kept, point=kept.point + start))
    return _concatenate(parts)


def touch_lines(
    points: npt.NDArray[np.float64],
    index: LineIndex,
    point: npt.NDArray[np.intp],
    line: npt.NDArray[np.intp],
) -> Candidates:
    """Find where lines come nearest to points.

    Parameters
    ----------
    points
        Longitude and latitude, degrees, two columns.
    index
        The lines.
    point, line
        Rows of each pair.

    Returns
    -------
    Candidates
        One entry a pair, in the order given; of places equally near the first along the line.
    """
    if len(line) > 1 and shapely.get_num_coordinates(index.lines[line]).sum() > _MOST_VERTICES:
        half = len(line) // 2
        halves = (slice(None, half), slice(half, None))
        return _concatenate([touch_lines(points, index, point[part], line[part]) for part in halves])
    distinct, of_line = np.unique(line, return_inverse=True)
    segments = split_segments(index.lines[distinct])
    origin = _turn_towards(points[point], index.lines[distinct], of_line)
    pair, segment = _spread(segments, of_line)
    scale = _metres_per_degree(origin[:, 1])[pair]
    start = (segments.start[segment] - origin[pair]) * scale
    step = (segments.end[segment] - origin[pair]) * scale - start
    share = _project(start, step)
    distance = np.hypot(*(start + share[:, None] * step).T).round(_MICROMETRES)
    chosen = _first_least(pair, distance)
    rows, picked, part = pair[chosen], segment[chosen], share[chosen][:, None]
    place = np.full((len(point), 2), np.nan)
    along_m, offset_m = np.full(len(point), np.nan), np.full(len(point), np.nan)
    place[rows] = segments.start[picked] * (1.0 - part) + segments.end[picked] * part
    along_m[rows] = _walk_m(segments, picked) + part[:, 0] * segments.length_m[picked]
    offset_m[rows] = point_distance_m(*origin[rows].T, *place[rows].T).round(_MICROMETRES)
    beyond = np.abs(place[:, 0]) > _HALF_TURN
    place[beyond, 0] -= np.copysign(_TURN, place[beyond, 0])
    return Candidates(point=point, line=line, place=place, along_m=along_m, offset_m=offset_m)


def draw_boxes(points: npt.NDArray[np.float64], within_m: float) -> npt.NDArray[np.object_]:
    """Draw boxes that hold all places within a distance of each point, with a margin.

    Parameters
    ----------
    points
        Longitude and latitude, degrees, two columns.
    within_m
        The distance, metres.

    Returns
    -------
    numpy.ndarray
        Polygons in degrees, which may reach beyond 180; None for an unknown place.
    """
    reach = 1.01 * within_m
    north = reach / 110_574.0  # the shortest degree of latitude, at the equator
    top = np.minimum(np.abs(points[:, 1]) + north, 89.9)
    east = np.minimum(reach / _metres_per_degree(top)[:, 0], _HALF_TURN)
    x, y = points.T
    boxes: npt.NDArray[np.object_] = shapely.box(x - east, y - north, x + east, y + north)
    return np.where(np.isnan(points).any(axis=1), np.array(None), boxes)


def _concatenate(parts: list[Candidates]) -> Candidates:
    names = [field.name for field in fields(Candidates)]
    columns = {name: np.concatenate([getattr(part, name) for part in parts]) for name in names}
    return Candidates(**columns)


def _find_pairs(
    points: npt.NDArray[np.float64], index: LineIndex, within_m: float
) -> tuple[npt.NDArray[np.intp], npt.NDArray[np.intp]]:
    """Pair points with the lines that run through their boxes, each pair once."""
    boxes = draw_boxes(points, within_m)
    point, line = index.tree.query(boxes, predicate="intersects")
    bounds = shapely.bounds(boxes)
    to_west = bounds[:, 2] > _HALF_TURN
    to_east = (bounds[:, 0] < -_HALF_TURN) | (index.reaches_beyond & (points[:, 0] < 0))
    for asked, turn in ((to_west, -_TURN), (to_east, _TURN)):
        rows = np.flatnonzero(asked)
        more, on = index.tree.query(draw_boxes(points[rows] + (turn, 0.0), within_m), predicate="intersects")
        point, line = np.append(point, rows[more]), np.append(line, on)
    size = max(len(index.lines), 1)
    key = np.unique(point * size + line)
    return key // size, key % size


def _unroll(coordinates: npt.NDArray[np.float64]) -> npt.NDArray[np.float64]:
    """Let longitudes run from 0 to 360."""
    x, y = coordinates.T
    return np.stack([np.where(x < 0, x + _TURN, x), y], axis=1)


def _turn_towards(
    points: npt.NDArray[np.float64], lines: npt.NDArray[np.object_], of_line: npt.NDArray[np.intp]
) -> npt.NDArray[np.float64]:
    """Shift longitudes by whole turns to where the line of each pair lies."""
    bounds = shapely.bounds(lines)
    middle = (bounds[:, 0] + bounds[:, 2])[of_line] / 2
    turns = np.nan_to_num(np.round((middle - points[:, 0]) / _TURN))
    return points + np.stack([turns * _TURN, np.zeros(len(points))], axis=1)


def _spread(
    segments: Segments, of_line: npt.NDArray[np.intp]
) -> tuple[npt.NDArray[np.intp], npt.NDArray[np.intp]]:
    """Pair each pair of rows with all segments of its line."""
    first = np.searchsorted(segments.line, of_line, side="left")
    count = np.searchsorted(segments.line, of_line, side="right") - first
    pair = np.repeat(np.arange(len(of_line)), count)
    within = np.arange(len(pair)) - np.repeat(np.cumsum(count) - count, count)
    return pair, np.repeat(first, count) + within


def _walk_m(segments: Segments, picked: npt.NDArray[np.intp]) -> npt.NDArray[np.float64]:
    """Return the length of the line before each segment picked, to the last digit whatever the other lines.

    `from_m` is a difference of running totals over all lines, whose rounding depends on which those are.
    """
    order = np.argsort(picked, kind="stable")  # so that the sums between two that are asked for are short
    first = np.searchsorted(segments.line, segments.line[picked[order]], side="left")
    slices = np.stack([first, picked[order]], axis=1)
    sums = np.add.reduceat(np.append(segments.length_m, 0.0), slices.ravel())[::2] if len(picked) else 0.0
    walked = np.zeros(len(picked))
    walked[order] = np.where(slices[:, 0] < slices[:, 1], sums, 0.0)
    return walked


def _first_least(group: npt.NDArray[np.intp], values: npt.NDArray[np.float64]) -> npt.NDArray[np.intp]:
    """Return where the first of the least values of each group stands; groups lie together."""
    if not len(group):
        return np.zeros(0, dtype=np.intp)
    starts = np.flatnonzero(np.append(True, group[1:] != group[:-1]))
    least = np.repeat(np.minimum.reduceat(values, starts), np.diff(np.append(starts, len(group))))
    at = np.flatnonzero(values == least)
    first: npt.NDArray[np.intp] = at[np.append(True, group[at][1:] != group[at][:-1])]
    return first


def _metres_per_degree(latitude: npt.NDArray[np.float64]) -> npt.NDArray[np.float64]:
    """Return metres per degree of longitude and of latitude, two columns."""
    axis, flattening_2 = 6_378_137.0, 0.006_694_379_990_14  # of WGS 84
    phi = np.radians(latitude)
    root = np.sqrt(1.0 - flattening_2 * np.sin(phi) ** 2)
    east, north = axis / root * np.cos(phi), axis * (1.0 - flattening_2) / root**3
    per_degree: npt.NDArray[np.float64] = np.radians(np.stack([east, north], axis=1))
    return per_degree


def _project(start: npt.NDArray[np.float64], step: npt.NDArray[np.float64]) -> npt.NDArray[np.float64]:
    """Return how far along each segment, from 0 to 1, it comes nearest to the origin."""
    square = (step**2).sum(axis=1)
    reach = -(start * step).sum(axis=1)
    share: npt.NDArray[np.float64] = np.divide(reach, square, out=np.zeros_like(square), where=square > 0)
    return np.minimum(np.maximum(share, 0.0), 1.0)
