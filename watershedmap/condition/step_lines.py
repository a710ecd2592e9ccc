"""The lines of steps: the stretch of stream between two neighbouring sites, to be drawn on a map.

The reaches between are taken whole; those of the two sites are cut at their positions, measured along the
line by geodesic lengths. A reach whose line is in parts with gaps is taken whole, one without a line is left
out.

Known bias: at a divergence only the main branch is drawn.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import geopandas as gpd
import numpy as np
import shapely

from watershedmap.condition.steps import follow_steps
from watershedmap.network.lines import is_in_parts, measure_m, merge_parts

if TYPE_CHECKING:
    import pandas as pd

    from watershedmap.network.topology import Network


def step_lines(
    network: Network, reaches: gpd.GeoDataFrame, sites: pd.DataFrame, steps: pd.DataFrame
) -> gpd.GeoSeries:
    """Draw the stretch of stream of each step.

    Parameters
    ----------
    network
        The stream network.
    reaches
        The layer that it was built of.
    sites
        One row a site: site_id, reach (row in the network), position_m.
    steps
        As from `watershedmap.condition.steps.find_steps`.

    Returns
    -------
    geopandas.GeoSeries
        On the index of `steps`, longitude and latitude: a line along the flow, in several parts where the
        layer has gaps; None where there is nothing to draw.
    """
    paths = follow_steps(network, steps, sites)
    rows = sorted({row for path in paths for row in path})
    lines = dict(zip(rows, _orient(network, reaches, rows), strict=True))
    position = sites.set_index("site_id")["position_m"]
    starts = position.loc[steps["site_upstream"]].tolist()
    ends = position.loc[steps["site_downstream"]].tolist()
    shapes = np.full(len(paths), None, dtype=object)
    for number, (path, start, end) in enumerate(zip(paths, starts, ends, strict=True)):
        stretch = [lines[row] for row in path]
        stretch[-1] = cut_line(stretch[-1], above_m=end)
        stretch[0] = cut_line(stretch[0], below_m=start, above_m=end if len(path) == 1 else 0.0)
        shapes[number] = _join([piece for piece in stretch if piece is not None])
    return gpd.GeoSeries(shapes, index=steps.index, crs=reaches.crs)


def cut_line(
    line: shapely.Geometry | None, *, below_m: float = np.inf, above_m: float = 0.0
) -> shapely.Geometry | None:
    """Take the part of a line that lies between two distances from its lower end.

    Parameters
    ----------
    line
        Drawn downstream, longitude and latitude; None for none.
    below_m
        Only what is not farther up than this, metres; NaN for no limit.
    above_m
        Only what is farther up than this, metres; NaN for no limit.

    Returns
    -------
    shapely.LineString
        None where nothing is left. A line in several parts comes back whole.
    """
    if line is None or is_in_parts(np.array([line], dtype=object))[0]:
        return line
    points = shapely.get_coordinates(line)
    from_start = np.concatenate([[0.0], np.cumsum(measure_m(points[:-1], points[1:]))])
    from_lower = from_start[-1] - from_start  # falls along the line
    high = min(np.nan_to_num(below_m, nan=np.inf), from_lower[0])
    low = max(np.nan_to_num(above_m, nan=0.0), 0.0)
    if not high > low:
        return None
    inside = (from_lower < high) & (from_lower > low)
    cuts = from_start[-1] - np.array([high, low])
    ends = np.stack([np.interp(cuts, from_start, points[:, axis]) for axis in (0, 1)], axis=1)
    return shapely.LineString(np.concatenate([ends[:1], points[inside], ends[1:]]))


def _orient(network: Network, reaches: gpd.GeoDataFrame, rows: list[int]) -> np.ndarray:
    """Merge the lines of some rows and turn them downstream."""
    lines = merge_parts(shapely.force_2d(reaches.geometry.to_numpy()[rows]))
    turned: np.ndarray = np.where(network.runs_upstream[rows], shapely.reverse(lines), lines)
    return turned


def _join(pieces: list[shapely.Geometry]) -> shapely.Geometry | None:
    if not pieces:
        return None
    parts = shapely.get_parts(np.array(pieces, dtype=object)).tolist()
    return parts[0] if len(parts) == 1 else shapely.line_merge(shapely.MultiLineString(parts), directed=True)
