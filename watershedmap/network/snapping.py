"""Putting sites on reaches.

A site that names its reach is put on that one. Any other is put on the nearest reach, if that is within
the distance allowed; of reaches equally near, the first of the layer is taken. Candidates come from boxes
in degrees about each site; then all segments of the candidates are compared in a plane that touches the
ellipsoid at the site, with metres per degree after its two radii of curvature there (textbook geodesy). The
offset told is geodesic.

Known bias: the nearest line is not always the stream that was waded. Near a confluence a site given by a few
decimals falls on the wrong branch, so the offset is part of the result. Lines across the meridian of 180
degrees are not found from the other side.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd
import shapely

from watershedmap.errors import Fault
from watershedmap.network.distance import point_distance_m
from watershedmap.network.lines import Segments, merge_parts, split_segments
from watershedmap.network.reports import list_ids

if TYPE_CHECKING:
    import geopandas as gpd
    import numpy.typing as npt

    from watershedmap.network.topology import Network

SEARCH_FACTOR = 10.0
"""For a site that is placed nowhere, the nearest reach is told if it is within this many times the limit."""
_CHUNK = 5_000  # sites at a time, which bounds the memory that segments of candidates take
_TIE_M = 0.5  # two reaches that come this near to the place of a site meet there
_MICROMETRES = 6  # decimals of a metre that two distances are compared to, so that a shared node is a tie


@dataclass(frozen=True, slots=True, eq=False)
class Places:
    """Where sites touch lines; one entry a site."""

    line: npt.NDArray[np.intp]
    """Row of the line, -1 for none."""
    point: npt.NDArray[np.float64]
    """Longitude and latitude on the line, degrees, two columns; NaN for none."""
    along_m: npt.NDArray[np.float64]
    """Distance along the line from where it is drawn first, metres; NaN for none."""
    offset_m: npt.NDArray[np.float64]
    """Geodesic distance from the site to the line, metres; NaN for none."""


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
        Points in longitude and latitude; site_id for the report, and reach_id where a site names its reach
        (the column may be absent).
    reaches
        The layer that the network was built of.
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
        when the direction of flow is unknown), snapped_longitude and snapped_latitude (degrees).
    list of Fault
        Notices: sites placed nowhere, with the distance of the nearest reach if it is within ten times the
        limit; sites that name a reach farther away than the limit.
    """
    points = np.stack([shapely.get_x(sites.geometry), shapely.get_y(sites.geometry)], axis=1)
    lines = merge_parts(reaches.geometry)
    segments = split_segments(lines)
    named = _find_named(sites, network.ids)
    free = named == _NOT_NAMED
    given = np.flatnonzero(named >= 0)
    places = _no_places(len(points))
    _fill(places, given, _touch(points[given], np.arange(len(given)), named[given], segments))
    _fill(places, np.flatnonzero(free), find_nearest(points[free], lines, segments, within_m=within_m))
    places.line[given] = named[given]  # also where the reach named has no line
    lost = np.flatnonzero(free & (places.line < 0))
    far = find_nearest(points[lost], lines, segments, within_m=SEARCH_FACTOR * within_m)
    swapped = _looks_swapped(points[lost], reaches.total_bounds)
    found = _report_lost(sites, network.ids, lost, far, swapped=swapped, within_m=within_m, file=file)
    found += _report_named(sites, named, places, within_m=within_m, file=file)
    found += _report_tied(sites, network.ids, free, places, lines, file=file)
    return _tabulate(places, network, sites.index), found


def find_nearest(
    points: npt.NDArray[np.float64],
    lines: npt.NDArray[np.object_],
    segments: Segments,
    *,
    within_m: float,
) -> Places:
    """Find the nearest line of each point.

    Parameters
    ----------
    points
        Longitude and latitude, degrees, two columns; NaN for unknown places.
    lines
        The lines, or None.
    segments
        Their segments.
    within_m
        Lines farther away are not found, metres.

    Returns
    -------
    Places
        One entry a point; of lines equally near the first.
    """
    places = _no_places(len(points))
    tree = shapely.STRtree(lines)
    boxes = _draw_boxes(points, within_m)
    for start in range(0, len(points), _CHUNK):
        part = slice(start, start + _CHUNK)
        point, line = tree.query(boxes[part], predicate="intersects")
        _fill(places, np.arange(len(points))[part], _touch(points[part], point, line, segments))
    beyond = ~(places.offset_m <= within_m)
    places.line[beyond] = -1
    for values in (places.point, places.along_m, places.offset_m):
        values[beyond] = np.nan
    return places


_NOT_NAMED, _UNKNOWN = -1, -2


def _find_named(sites: gpd.GeoDataFrame, ids: npt.NDArray[np.object_]) -> npt.NDArray[np.intp]:
    """Find the row of the reach that each site names; -1 for none, -2 when there is no such reach."""
    if "reach_id" not in sites:
        return np.full(len(sites), _NOT_NAMED, dtype=np.intp)
    names = sites["reach_id"].to_numpy(dtype=object)
    rows = pd.Index(ids).get_indexer(pd.Index(names, dtype=object))
    missing = sites["reach_id"].isna().to_numpy()
    return np.where(missing, _NOT_NAMED, np.where(rows < 0, _UNKNOWN, rows)).astype(np.intp)


def _no_places(size: int) -> Places:
    return Places(
        line=np.full(size, -1, dtype=np.intp),
        point=np.full((size, 2), np.nan),
        along_m=np.full(size, np.nan),
        offset_m=np.full(size, np.nan),
    )


def _fill(places: Places, rows: npt.NDArray[np.intp], part: Places) -> None:
    places.line[rows] = part.line
    places.point[rows] = part.point
    places.along_m[rows] = part.along_m
    places.offset_m[rows] = part.offset_m


def _metres_per_degree(latitude: npt.NDArray[np.float64]) -> npt.NDArray[np.float64]:
    """Return metres per degree of longitude and of latitude, two columns."""
    axis, flattening_2 = 6_378_137.0, 0.006_694_379_990_14  # of WGS 84
    phi = np.radians(latitude)
    root = np.sqrt(1.0 - flattening_2 * np.sin(phi) ** 2)
    east, north = axis / root * np.cos(phi), axis * (1.0 - flattening_2) / root**3
    per_degree: npt.NDArray[np.float64] = np.radians(np.stack([east, north], axis=1))
    return per_degree


def _draw_boxes(points: npt.NDArray[np.float64], within_m: float) -> npt.NDArray[np.object_]:
    """Draw boxes that hold all places within a distance of each point, with a margin."""
    reach = 1.01 * within_m
    north = reach / 110_574.0  # the shortest degree of latitude, at the equator
    top = np.minimum(np.abs(points[:, 1]) + north, 89.9)
    east = np.minimum(reach / _metres_per_degree(top)[:, 0], 180.0)
    x, y = points.T
    boxes: npt.NDArray[np.object_] = shapely.box(x - east, y - north, x + east, y + north)
    return np.where(np.isnan(points).any(axis=1), np.array(None), boxes)


def _touch(
    points: npt.NDArray[np.float64],
    point: npt.NDArray[np.intp],
    line: npt.NDArray[np.intp],
    segments: Segments,
) -> Places:
    """Find the nearest place on the candidate lines of each point, given as pairs of rows."""
    places = _no_places(len(points))
    first = np.searchsorted(segments.line, line, side="left")
    count = np.searchsorted(segments.line, line, side="right") - first
    of_point = np.repeat(point, count)
    within = np.arange(len(of_point)) - np.repeat(np.cumsum(count) - count, count)
    segment = np.repeat(first, count) + within
    scale = _metres_per_degree(points[:, 1])[of_point]
    start = (segments.start[segment] - points[of_point]) * scale
    step = (segments.end[segment] - points[of_point]) * scale - start
    share = _project(start, step)
    distance = np.hypot(*(start + share[:, None] * step).T).round(_MICROMETRES)
    best = np.lexsort([segment, distance, of_point])
    rows, leading = np.unique(of_point[best], return_index=True)
    chosen = best[leading]
    picked, part = segment[chosen], share[chosen]
    touched = segments.start[picked] * (1.0 - part[:, None]) + segments.end[picked] * part[:, None]
    places.line[rows] = segments.line[picked]
    places.point[rows] = touched
    places.along_m[rows] = segments.from_m[picked] + part * segments.length_m[picked]
    places.offset_m[rows] = point_distance_m(*points[rows].T, *touched.T)
    return places


def _project(start: npt.NDArray[np.float64], step: npt.NDArray[np.float64]) -> npt.NDArray[np.float64]:
    """Return how far along each segment, from 0 to 1, it comes nearest to the origin."""
    square = (step**2).sum(axis=1)
    reach = -(start * step).sum(axis=1)
    share: npt.NDArray[np.float64] = np.divide(reach, square, out=np.zeros_like(square), where=square > 0)
    return np.minimum(np.maximum(share, 0.0), 1.0)


def _tabulate(places: Places, network: Network, index: pd.Index) -> pd.DataFrame:
    # One entry more answers to -1, the row of a site that is placed on none.
    length_m = np.append(network.length_km * 1000.0, np.nan)[places.line]
    backwards = np.append(network.runs_upstream, [False])[places.line]
    ids = np.append(network.ids, [None])
    along_m = np.where(length_m == 0, 0.0, places.along_m)  # a reach without a line has but one place
    position_m = np.where(backwards, along_m, length_m - along_m)
    return pd.DataFrame(
        {
            "reach": places.line,
            "reach_id": pd.array(ids[places.line], dtype="str"),
            "offset_m": places.offset_m,
            "position_m": np.clip(position_m, 0.0, length_m),
            "snapped_longitude": places.point[:, 0],
            "snapped_latitude": places.point[:, 1],
        },
        index=index,
    )


def _names(sites: gpd.GeoDataFrame) -> npt.NDArray[np.object_]:
    return np.asarray(sites.get("site_id", sites.index), dtype=object)


def _report_lost(
    sites: gpd.GeoDataFrame,
    ids: npt.NDArray[np.object_],
    lost: npt.NDArray[np.intp],
    far: Places,
    *,
    swapped: npt.NDArray[np.bool_],
    within_m: float,
    file: str,
) -> list[Fault]:
    """Notice each site that is placed on no reach."""
    found = []
    for name, line, offset, turned in zip(_names(sites)[lost], far.line, far.offset_m, swapped, strict=True):
        nearest = f"the nearest, {ids[line]}, is {offset:.0f} m away" if line >= 0 else "none is near"
        problem = f"this site is not within {within_m:g} m of any reach; {nearest}"
        fix = "see that its longitude and latitude are right, name its reach in reach_id, or raise snap_m"
        if turned:
            fix = "its longitude and latitude look swapped: turned round, it lies among the reaches"
        found.append(Fault(file, None, "site_id", str(name), problem, fix, "notice"))
    return found


def _looks_swapped(points: npt.NDArray[np.float64], bounds: npt.NDArray[np.float64]) -> npt.NDArray[np.bool_]:
    """Tell which points lie outside the layer's box as they are, and inside it with the two swapped."""
    low, high = bounds[:2], bounds[2:]
    inside = ((points >= low) & (points <= high)).all(axis=1)
    turned = ((points[:, ::-1] >= low) & (points[:, ::-1] <= high)).all(axis=1)
    return np.logical_and(turned, ~inside)


def _report_tied(
    sites: gpd.GeoDataFrame,
    ids: npt.NDArray[np.object_],
    free: npt.NDArray[np.bool_],
    places: Places,
    lines: npt.NDArray[np.object_],
    *,
    file: str,
) -> list[Fault]:
    """Notice each site whose place lies where reaches meet: which of them it belongs to cannot be told."""
    placed = np.flatnonzero(free & (places.line >= 0))
    site, line = shapely.STRtree(lines).query(
        _draw_boxes(places.point[placed], _TIE_M), predicate="intersects"
    )
    found = []
    for number in np.flatnonzero(np.bincount(site, minlength=len(placed)) > 1).tolist():
        row, meeting = placed[number], np.sort(line[site == number])
        problem = (
            f"the nearest place on a stream is where reaches {list_ids(ids[meeting])} meet; "
            f"the site is put on {ids[places.line[row]]}"
        )
        fix = "name the reach it belongs to in reach_id, or move the site off the junction"
        found.append(Fault(file, None, "site_id", str(_names(sites)[row]), problem, fix, "notice"))
    return found


def _report_named(
    sites: gpd.GeoDataFrame, named: npt.NDArray[np.intp], places: Places, *, within_m: float, file: str
) -> list[Fault]:
    """Notice each site whose own reach is unknown, has no line, or lies far away."""
    names, fix = _names(sites), "correct its reach_id, or its longitude and latitude"
    asked = ~np.isin(named, [_NOT_NAMED])
    found = []
    for row in np.flatnonzero(asked & ~(places.offset_m <= within_m)).tolist():
        value, offset = str(sites["reach_id"].iloc[row]), places.offset_m[row]
        if named[row] == _UNKNOWN:
            problem = f"site {names[row]} names a reach that is not in the layer; it is placed on none"
        elif np.isnan(offset):
            problem = f"site {names[row]} is put on the reach it names, but how far that is cannot be told"
        else:
            problem = f"site {names[row]} is put on the reach it names, though that is {offset:.0f} m away"
        found.append(Fault(file, None, "reach_id", value, problem, fix, "notice"))
    return found
