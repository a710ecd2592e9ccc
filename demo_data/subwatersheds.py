"""
The invented sub-watersheds: parts of like size, each all the land that drains through the foot of one reach.

Borders are taken from the grid as arcs between the points where three areas meet, and each arc is smoothed
and rounded once. Both neighbours are then built from the same arcs, so the areas tile the watershed without
gap or overlap.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import shapely
from scipy import ndimage
from streams import to_degrees
from terrain import find_basin

if TYPE_CHECKING:
    from numpy.typing import NDArray
    from streams import Reach
    from terrain import Floats, Flow, Ints

SMOOTHING = 7
"""Rounds of averaging along a border."""

SPACING = 3
"""One border vertex in so many is kept."""


def split_basin(flow: Flow, basin: NDArray[np.bool_], reaches: list[Reach], parts: int) -> Ints:
    """Cut the basin into parts of like size, each above the foot of one reach; cells outside get -1."""
    label = np.where(basin, 0, -1)
    for part in range(1, parts):
        wanted = np.count_nonzero(label == 0) / (parts - part + 1)
        best, best_miss = basin, np.inf
        for reach in reaches[1:]:
            foot = int(reach.cells[-2])
            if label[foot] == 0:
                upper = find_basin(flow, foot) & (label == 0)
                miss = abs(np.count_nonzero(upper) - wanted)
                if miss < best_miss:
                    best, best_miss = upper, miss
        label[best] = part
    return number_downwards(label, reaches)


def number_downwards(label: Ints, reaches: list[Reach]) -> Ints:
    """Return the parts numbered from 0 in the order in which the reaches meet them, from the outlet up."""
    met = list(dict.fromkeys(int(label[reach.cells[-2]]) for reach in reaches))
    return np.where(label < 0, -1, np.argsort(met)[label])


def settle_labels(label: Ints) -> Ints:
    """Give every scrap cut off from the main piece of its part (or of the outside) to a part beside it."""
    settled = label.copy()
    for _ in range(9):
        scraps = np.zeros(label.shape, dtype=bool)
        for part in np.unique(settled):
            pieces, _ = ndimage.label(settled == part)
            scraps |= (pieces > 0) & (pieces != np.bincount(pieces.ravel())[1:].argmax() + 1)
        if not scraps.any():
            break
        for row, col in np.argwhere(scraps):
            around = settled[[row - 1, row + 1, row, row], [col, col, col - 1, col + 1]].tolist()
            others = [value for value in around if value != settled[row, col]]
            settled[row, col] = max(others, key=others.count, default=settled[row, col])
    return settled


def find_borders(label: Ints, corner: Floats) -> list[Floats]:
    """Return the arcs between unlike cells on the bent plane, each from one meeting point to the next."""
    number = np.arange(label.size).reshape(label.shape)
    sides = label[:, 1:] != label[:, :-1]
    tops = label[1:, :] != label[:-1, :]
    upright = [number[:-1, 1:][sides[:-1]], number[1:, 1:][sides[:-1]]]
    level = [number[1:, :-1][tops[:, :-1]], number[1:, 1:][tops[:, :-1]]]
    pairs = np.column_stack([np.concatenate([upright[0], level[0]]), np.concatenate([upright[1], level[1]])])
    merged = shapely.line_merge(shapely.multilinestrings(shapely.linestrings(corner[pairs])))
    arcs = [shapely.get_coordinates(arc) for arc in shapely.get_parts(merged)]
    arcs = [arc if tuple(arc[0]) <= tuple(arc[-1]) else arc[::-1] for arc in arcs]
    return sorted(arcs, key=lambda arc: arc[[0, -1, len(arc) // 2]].ravel().tolist())


def smooth_border(arc: Floats) -> Floats:
    """Average each vertex with its neighbours, the ends fixed, and thin the vertices."""
    smooth = arc.copy()
    for _ in range(SMOOTHING):
        smooth[1:-1] = 0.25 * smooth[:-2] + 0.5 * smooth[1:-1] + 0.25 * smooth[2:]
    return np.vstack([smooth[:-1:SPACING], smooth[-1:]])


def make_polygons(label: Ints, corner: Floats) -> list[shapely.Polygon]:
    """Return the polygon of each part in order, built from shared borders in longitude and latitude."""
    borders = [shapely.LineString(to_degrees(smooth_border(arc))) for arc in find_borders(label, corner)]
    faces = [shapely.normalize(face) for face in shapely.get_parts(shapely.polygonize(borders))]
    tree = shapely.STRtree(faces)
    polygons = []
    for part in range(int(label.max()) + 1):
        inside = shapely.points(to_degrees(corner[np.flatnonzero(label.ravel() == part)]))
        _, face = tree.query(inside, predicate="within")
        polygons.append(faces[int(np.bincount(face).argmax())])
    return polygons
