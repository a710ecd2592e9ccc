"""Nodes: where line ends meet, from the ends themselves, and whether the drawn direction can be flow.

Ends with equal coordinates are one node. Nodes nearer to each other than `join_m` are made one, step by
step, so a chain of near nodes becomes one node as well; the two ends of one short line are not joined for
being near each other. Distances between nodes are chords of a sphere, which at a metre differ from the
ellipsoid by less than a centimetre.

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
    keys = points[known, 0] + 1j * points[known, 1]
    distinct, labels[known] = np.unique(keys, return_inverse=True)
    places = np.stack([distinct.real, distinct.imag], axis=1)
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


def _merge_near(places: npt.NDArray[np.float64], lines: Nodes, join_m: float) -> npt.NDArray[np.intp]:
    """Give near places one label, unless they are the two ends of one line."""
    if join_m <= 0 or not len(places):
        return np.arange(len(places), dtype=np.intp)
    pairs = cKDTree(to_sphere(places)).query_pairs(join_m, output_type="ndarray")
    low, high = np.minimum(lines.upper, lines.lower), np.maximum(lines.upper, lines.lower)
    of_line = low[low >= 0] * len(places) + high[low >= 0]
    pairs = pairs[~np.isin(pairs.min(axis=1) * len(places) + pairs.max(axis=1), of_line)]
    links = coo_array((np.ones(len(pairs)), (pairs[:, 0], pairs[:, 1])), shape=(len(places), len(places)))
    return np.asarray(connected_components(links, directed=False)[1], dtype=np.intp)


def _separate_missing(labels: npt.NDArray[np.intp]) -> npt.NDArray[np.intp]:
    """Give each missing label (-1) a number of its own."""
    missing = labels < 0
    return np.where(missing, labels.max(initial=-1) + np.cumsum(missing), labels)


def _split_labels(labels: npt.NDArray[np.intp]) -> Nodes:
    upper, lower = np.split(labels.astype(np.intp), 2)
    return Nodes(upper=upper, lower=lower)
