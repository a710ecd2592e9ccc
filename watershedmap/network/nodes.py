"""Nodes: where line ends meet, from the ends themselves, and whether the drawn direction can be flow.

Ends with equal coordinates are one node. Nodes nearer to each other than `join_m` are made one, step by
step, so a chain of near nodes becomes one node as well; the two ends of one short line are not joined for
being near each other. Distances between nodes are chords of a sphere, which at a metre differ from the
ellipsoid by less than a centimetre. Equal ends are found by hashing; near ones by a KD-tree of only those
places that share a coarse cell with another, for most ends of a clean layer have no near neighbour.

The drawn direction is believed when it looks like a stream network: at a junction one line leaves and the
others arrive. Lines drawn without flow in mind fail this at many of their junctions. The limit of 80 % is
ours; there is no published one.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components
from scipy.spatial import cKDTree

if TYPE_CHECKING:
    import numpy.typing as npt

EARTH_RADIUS_M = 6_371_008.8
"""Mean radius of the Earth, metres (IUGG)."""
BELIEVED_SHARE = 0.8
"""Share of junctions that must look like confluences before the drawn direction is believed."""
ELEVATIONS = ("start_elevation_m", "end_elevation_m")
"""Columns of the elevation at the first and at the last vertex drawn."""

_NEAR_POLE = 0.001
"""Cosine of the latitude beyond which cells of longitude are of no use."""
_TURN = 360.0
_ROWS = np.int64(2**31)
"""More rows of cells than any grid has that is coarser than a decimetre."""
_MIX = (np.uint64(0x9E3779B97F4A7C15), np.uint64(0xC2B2AE3D27D4EB4F))
"""Odd numbers with well mixed bits, to hash two coordinates into one number."""


@dataclass(frozen=True, slots=True, eq=False)
class Nodes:
    """The two nodes of each reach."""

    upper: npt.NDArray[np.intp]
    """Number of the node that each reach comes from."""
    lower: npt.NDArray[np.intp]
    """Number of the node that each reach goes to."""


@dataclass(frozen=True, slots=True)
class DirectionCheck:
    """How far the drawn direction looks like flow."""

    junctions: int
    """Nodes that tell of direction: three or more ends meet, or two that both leave or both arrive."""
    confluences: int
    """Those of them where exactly one line leaves and several arrive."""

    @property
    def share(self) -> float:
        """Share of junctions that look like confluences; 0 when there are no junctions."""
        return self.confluences / self.junctions if self.junctions else 0.0

    @property
    def believed(self) -> bool:
        """Whether the drawn direction is taken for flow."""
        return self.junctions > 0 and self.share >= BELIEVED_SHARE


def read_nodes(reaches: pd.DataFrame) -> Nodes:
    """Take nodes from their names in the columns from_node and to_node.

    Parameters
    ----------
    reaches
        With from_node and to_node; a missing name is a node of its own.

    Returns
    -------
    Nodes
        One entry a reach.
    """
    names = pd.concat([reaches["from_node"], reaches["to_node"]], ignore_index=True)
    return _split_labels(_separate_missing(pd.factorize(names)[0]))


def join_ends(ends: npt.NDArray[np.float64], *, join_m: float) -> Nodes:
    """Make nodes of the ends of lines, taken as drawn from upper to lower end.

    Parameters
    ----------
    ends
        Shape (lines, 2, 2), as from `watershedmap.network.lines.find_ends`.
    join_m
        Ends not farther apart than this meet, metres.

    Returns
    -------
    Nodes
        One entry a line; a missing line has nodes of its own.
    """
    points = np.concatenate([ends[:, 0], ends[:, 1]])
    known = ~np.isnan(points).any(axis=1)
    labels = np.full(len(points), -1)
    labels[known], places = _label_equal(points[known])
    merged = _merge_near(places, _split_labels(labels), join_m)
    labels[known] = merged[labels[known]]
    return _split_labels(_separate_missing(labels))


def check_direction(nodes: Nodes) -> DirectionCheck:
    """Count the junctions, and those that look like confluences.

    A node that one line enters and one leaves says nothing: it looks the same with every line turned.

    Parameters
    ----------
    nodes
        Of lines taken as drawn downstream.

    Returns
    -------
    DirectionCheck
        The counts.
    """
    size = max(nodes.upper.max(initial=-1), nodes.lower.max(initial=-1)) + 1
    leaving = np.bincount(nodes.upper, minlength=size)
    arriving = np.bincount(nodes.lower, minlength=size)
    passed_through = (leaving == 1) & (arriving == 1)
    junction = (leaving + arriving >= 2) & ~passed_through  # noqa: PLR2004 - two ends make a junction
    confluence = junction & (leaving == 1)
    return DirectionCheck(junctions=int(junction.sum()), confluences=int(confluence.sum()))


def turn_by_elevation(reaches: pd.DataFrame) -> tuple[npt.NDArray[np.bool_], npt.NDArray[np.bool_]]:
    """Tell which lines are drawn uphill.

    Parameters
    ----------
    reaches
        With start_elevation_m and end_elevation_m, at the first and the last vertex drawn, where the layer
        has them.

    Returns
    -------
    turned : numpy.ndarray
        True where the end is the higher one.
    ambiguous : numpy.ndarray
        True where elevations tell nothing: equal, missing, or not in the layer at all.
    """
    rise = np.full(len(reaches), np.nan)
    if set(ELEVATIONS) <= set(reaches.columns):
        start, end = (reaches[name].to_numpy(dtype=float, na_value=np.nan) for name in ELEVATIONS)
        rise = end - start
    return rise > 0, ~(np.abs(rise) > 0)


def find_odd_junctions(nodes: Nodes) -> tuple[npt.NDArray[np.bool_], npt.NDArray[np.bool_]]:
    """Tell at which junctions the directions of the lines contradict each other.

    Parameters
    ----------
    nodes
        Of lines taken as drawn downstream, or turned.

    Returns
    -------
    all_leave : numpy.ndarray
        By node: two lines or more meet, and all of them leave it, so that nothing brings water there.
    all_arrive : numpy.ndarray
        By node: two lines or more meet, and all of them arrive, so that nothing takes it away. Unless there
        is a spring or an outlet, one of the lines at least is drawn the wrong way round.
    """
    size = max(nodes.upper.max(initial=-1), nodes.lower.max(initial=-1)) + 1
    leaving = np.bincount(nodes.upper, minlength=size)
    arriving = np.bincount(nodes.lower, minlength=size)
    several = leaving + arriving >= 2  # noqa: PLR2004 - two ends make a junction
    return several & (arriving == 0), several & (leaving == 0)


def to_sphere(points: npt.NDArray[np.float64]) -> npt.NDArray[np.float64]:
    """Place points on a sphere, where straight distances need no care at high latitudes.

    Parameters
    ----------
    points
        Longitude and latitude, degrees, along the last axis.

    Returns
    -------
    numpy.ndarray
        x, y, z in metres along the last axis.
    """
    longitude, latitude = np.radians(points[..., 0]), np.radians(points[..., 1])
    flat = np.cos(latitude)
    axes = [flat * np.cos(longitude), flat * np.sin(longitude), np.sin(latitude)]
    return EARTH_RADIUS_M * np.stack(axes, axis=-1)


def find_near_pairs(places: npt.NDArray[np.float64], within_m: float) -> npt.NDArray[np.intp]:
    """Find the pairs of places that lie near each other.

    Parameters
    ----------
    places
        Longitude and latitude, degrees, two columns, none missing.
    within_m
        Pairs not farther apart than this are found, metres.

    Returns
    -------
    numpy.ndarray
        Two columns of row numbers, the smaller first, in ascending order.
    """
    if within_m <= 0 or len(places) < 2:  # noqa: PLR2004 - a pair has two
        return np.zeros((0, 2), dtype=np.intp)
    rows = np.flatnonzero(_share_cell(places, within_m))
    pairs = rows[cKDTree(to_sphere(places[rows])).query_pairs(within_m, output_type="ndarray")]
    pairs = np.sort(pairs.reshape(-1, 2), axis=1)
    return np.asarray(pairs[np.lexsort((pairs[:, 1], pairs[:, 0]))], dtype=np.intp)


def _share_cell(places: npt.NDArray[np.float64], within_m: float) -> npt.NDArray[np.bool_]:
    """Tell which places can have another near them.

    Cells are twice as wide as the distance. Two places within it share a cell in at least one of four grids,
    each shifted by half a cell along one axis, along the other, or along both.
    """
    narrow = np.cos(np.radians(np.abs(places[:, 1]).max()))
    if narrow < _NEAR_POLE:
        return np.ones(len(places), dtype=bool)
    high = np.degrees(2.02 * within_m / EARTH_RADIUS_M)
    column, row = (places[:, 0] + _TURN) / (high / narrow), (places[:, 1] + _TURN) / high
    # Cells do not wrap round the earth, so all places beside the meridian of 180 degrees are looked at.
    shared: npt.NDArray[np.bool_] = np.abs(places[:, 0]) > _TURN / 2 - 2 * high / narrow
    for across in (0.0, 0.5):
        for along in (0.0, 0.5):
            cell = (column + across).astype(np.int64) * _ROWS + (row + along).astype(np.int64)
            shared |= pd.Index(cell).duplicated(keep=False)
    return shared


def _merge_near(places: npt.NDArray[np.float64], lines: Nodes, join_m: float) -> npt.NDArray[np.intp]:
    """Give near places one label, unless they are the two ends of one line."""
    pairs = find_near_pairs(places, join_m)
    if not len(pairs):
        return np.arange(len(places), dtype=np.intp)
    low, high = np.minimum(lines.upper, lines.lower), np.maximum(lines.upper, lines.lower)
    near = np.isin(low, pairs[:, 0])
    of_line = low[near] * len(places) + high[near]
    pairs = pairs[~np.isin(pairs[:, 0] * len(places) + pairs[:, 1], of_line)]
    links = coo_array((np.ones(len(pairs)), (pairs[:, 0], pairs[:, 1])), shape=(len(places), len(places)))
    return np.asarray(connected_components(links, directed=False)[1], dtype=np.intp)


def _label_equal(points: npt.NDArray[np.float64]) -> tuple[npt.NDArray[np.intp], npt.NDArray[np.float64]]:
    """Give each distinct point a number, in the order in which they come, and return the points."""
    bits = (points + 0.0).view(np.uint64)  # adding zero makes -0.0 the same as 0.0
    mixed = bits[:, 0] * _MIX[0] + (bits[:, 1] ^ (bits[:, 1] >> np.uint64(29))) * _MIX[1]
    labels, _ = pd.factorize(mixed)
    first = np.flatnonzero(~pd.Index(labels).duplicated())
    if not np.array_equal(points[first][labels], points):  # two points with one hash: one in 10^7 layers
        keys, first, labels = np.unique(points, axis=0, return_index=True, return_inverse=True)
        return labels.reshape(-1).astype(np.intp), keys
    return labels.astype(np.intp), points[first]


def _separate_missing(labels: npt.NDArray[np.intp]) -> npt.NDArray[np.intp]:
    """Give each missing label (-1) a number of its own."""
    missing = labels < 0
    return np.where(missing, labels.max(initial=-1) + np.cumsum(missing), labels)


def _split_labels(labels: npt.NDArray[np.intp]) -> Nodes:
    upper, lower = np.split(labels.astype(np.intp), 2)
    return Nodes(upper=upper, lower=lower)
