"""Edges: which reach flows into which, in topological order, and the cycles that stand in its way.

The order is that of Kahn (1962, Topological sorting of large networks, Commun. ACM 5:558-562): a reach is
taken when all reaches that flow into it have been taken. What is never taken lies in a cycle or below one.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components

if TYPE_CHECKING:
    from collections.abc import Iterator

    import numpy.typing as npt

    from watershedmap.network.nodes import Nodes


@dataclass(frozen=True, slots=True, eq=False)
class Edges:
    """Pairs of reaches, the first flowing into the second."""

    up: npt.NDArray[np.intp]
    """Row of the reach that flows out."""
    down: npt.NDArray[np.intp]
    """Row of the reach it flows into."""


@dataclass(frozen=True, slots=True)
class Neighbours:
    """For every reach, the reaches next to it in one direction; lists, which are fast to walk one by one."""

    first: list[int]
    """Where the neighbours of each reach begin in `reach`; one entry more than there are reaches."""
    reach: list[int]
    """Rows of the neighbours, reach after reach."""

    def of(self, reach: int) -> list[int]:
        """Return the rows of the neighbours of one reach."""
        return self.reach[self.first[reach] : self.first[reach + 1]]


def link_ids(ids: npt.NDArray[np.object_], downstream: pd.Series) -> tuple[Edges, npt.NDArray[np.bool_]]:
    """Link reaches by the id of the next one downstream.

    Parameters
    ----------
    ids
        Id of each reach.
    downstream
        Id of the next one, missing at an outlet.

    Returns
    -------
    Edges
        At most one for a reach.
    numpy.ndarray
        Whether a reach names one that is not among the ids.
    """
    named = downstream.notna().to_numpy()
    rows = np.flatnonzero(~pd.Index(ids).duplicated())  # a repeated id is a fault that the reader reports
    found = pd.Index(ids[rows]).get_indexer(pd.Index(downstream.to_numpy(dtype=object)))
    target = np.where(named & (found >= 0), np.append(rows, -1)[found], -1)
    up = np.flatnonzero(target >= 0)
    return Edges(up=up, down=target[up].astype(np.intp)), named & (target < 0)


def link_nodes(nodes: Nodes) -> Edges:
    """Link each reach to all reaches that leave the node it goes to.

    Parameters
    ----------
    nodes
        The nodes of each reach.

    Returns
    -------
    Edges
        Ordered by the upper reach, then by the lower one.
    """
    leaving = np.argsort(nodes.upper, kind="stable")
    start = nodes.upper[leaving]
    first = np.searchsorted(start, nodes.lower, side="left")
    count = np.searchsorted(start, nodes.lower, side="right") - first
    up = np.repeat(np.arange(len(count)), count)
    within = np.arange(len(up)) - np.repeat(np.cumsum(count) - count, count)
    return Edges(up=up, down=leaving[np.repeat(first, count) + within])


def drop_self_flow(edges: Edges) -> tuple[Edges, npt.NDArray[np.intp]]:
    """Take out reaches that flow into themselves.

    Returns
    -------
    Edges
        Without them.
    numpy.ndarray
        Rows of the reaches that flow into themselves.
    """
    own = edges.up == edges.down
    return Edges(up=edges.up[~own], down=edges.down[~own]), edges.up[own]


def drop_cycles(edges: Edges, size: int) -> tuple[Edges, list[list[int]]]:
    """Take out the edges inside of cycles.

    Parameters
    ----------
    edges
        Without reaches that flow into themselves.
    size
        Number of reaches.

    Returns
    -------
    Edges
        Without those between two reaches of one cycle, so that a topological order exists.
    list of list of int
        Rows of the reaches of each cycle, along the flow from its first row; cycles that share a reach
        are one entry.
    """
    if len(sort_topologically(edges, size)) == size:
        return edges, []
    links = coo_array((np.ones(len(edges.up)), (edges.up, edges.down)), shape=(size, size))
    group = np.asarray(connected_components(links, directed=True, connection="strong")[1])
    inside = group[edges.up] == group[edges.down]
    cyclic = Edges(up=edges.up[inside], down=edges.down[inside])
    outside = Edges(up=edges.up[~inside], down=edges.down[~inside])
    below = find_neighbours(cyclic.up, cyclic.down, size)
    members = pd.Series(np.arange(size)).groupby(group).agg(list)
    cycles = [_walk_cycle(rows, below) for rows in members if len(rows) > 1]
    return outside, sorted(cycles)


def sort_topologically(edges: Edges, size: int) -> npt.NDArray[np.intp]:
    """Order reaches so that each comes after all that flow into it.

    Parameters
    ----------
    edges
        Any.
    size
        Number of reaches.

    Returns
    -------
    numpy.ndarray
        Rows, upstream first; those in a cycle or below one are left out.
    """
    below = find_neighbours(edges.up, edges.down, size)
    waiting = np.bincount(edges.down, minlength=size).tolist()
    order = [reach for reach in range(size) if not waiting[reach]]
    for reach in order:  # the list grows behind the reach in hand, which makes it the queue as well
        for lower in below.of(reach):
            waiting[lower] -= 1
            if not waiting[lower]:
                order.append(lower)
    return np.array(order, dtype=np.intp)


def find_neighbours(source: npt.NDArray[np.intp], target: npt.NDArray[np.intp], size: int) -> Neighbours:
    """Gather, for each source, its targets in the order given.

    Parameters
    ----------
    source, target
        Rows, pair by pair.
    size
        Number of reaches.

    Returns
    -------
    Neighbours
        Of every reach from 0 to size - 1.
    """
    by_source = np.argsort(source, kind="stable")
    first = np.searchsorted(source[by_source], np.arange(size + 1))
    return Neighbours(first=first.tolist(), reach=target[by_source].tolist())


def label_components(
    source: npt.NDArray[np.intp], target: npt.NDArray[np.intp], size: int
) -> npt.NDArray[np.intp]:
    """Tell what hangs together, whatever the direction.

    Parameters
    ----------
    source, target
        Pairs that hang together.
    size
        Number of things.

    Returns
    -------
    numpy.ndarray
        The number of the component of each.
    """
    links = coo_array((np.ones(len(source)), (source, target)), shape=(size, size))
    return np.asarray(connected_components(links, directed=False)[1], dtype=np.intp)


def _walk_cycle(rows: list[int], below: Neighbours) -> list[int]:
    """Order the reaches of a cycle along the flow; any that the walk misses come last."""
    return list(dict.fromkeys([*_follow(rows[0], below), *rows]))


def _follow(reach: int, below: Neighbours) -> Iterator[int]:
    seen: set[int] = set()
    while reach not in seen:
        seen.add(reach)
        yield reach
        reach = below.of(reach)[0]
