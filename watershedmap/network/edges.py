"""Edges: which reach flows into which, and the cycles among them.

A cycle is a strongly connected component of more than one reach: from each of its reaches water comes back
to it. Two cycles that share a reach are one entry. A cycle is never cut open: nothing in a layer tells which
of its edges is wrong.
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


@dataclass(frozen=True, slots=True, eq=False)
class Neighbours:
    """For every reach, the reaches next to it in one direction."""

    first: npt.NDArray[np.int32]
    """Where the neighbours of each reach begin in `reach`; one entry more than there are reaches."""
    reach: npt.NDArray[np.int32]
    """Rows of the neighbours, reach after reach."""

    def of(self, reach: int) -> list[int]:
        """Return the rows of the neighbours of one reach."""
        rows: list[int] = self.reach[self.first[reach] : self.first[reach + 1]].tolist()
        return rows


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
    index, rows = pd.Index(ids), np.arange(len(ids))
    if not index.is_unique:  # a repeated id is a fault that the reader reports
        rows = np.flatnonzero(~index.duplicated())
        index = index[rows]
    found = index.get_indexer(pd.Index(downstream.to_numpy(dtype=object)))
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


def find_cycles(edges: Edges, size: int) -> list[list[int]]:
    """Find the cycles.

    Parameters
    ----------
    edges
        Without reaches that flow into themselves.
    size
        Number of reaches.

    Returns
    -------
    list of list of int
        Rows of the reaches of each cycle, along the flow from its first row; cycles that share a reach
        are one entry.
    """
    links = coo_array((np.ones(len(edges.up)), (edges.up, edges.down)), shape=(size, size))
    group = np.asarray(connected_components(links, directed=True, connection="strong")[1])
    rows = np.flatnonzero(np.bincount(group, minlength=1)[group] > 1)
    inside = group[edges.up] == group[edges.down]
    below = find_neighbours(edges.up[inside], edges.down[inside], size)
    members = pd.Series(rows).groupby(group[rows]).agg(list)
    return sorted(_walk_cycle(rows, below) for rows in members)


def drop_touching(edges: Edges, reaches: npt.NDArray[np.bool_]) -> Edges:
    """Take out the edges from and to some reaches.

    Parameters
    ----------
    edges
        Any.
    reaches
        Whether the edges of each reach are taken out.

    Returns
    -------
    Edges
        The others.
    """
    left = ~(reaches[edges.up] | reaches[edges.down])
    return Edges(up=edges.up[left], down=edges.down[left])


def find_neighbours(
    source: npt.NDArray[np.integer], target: npt.NDArray[np.integer], size: int
) -> Neighbours:
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
    pair = np.arange(len(source), dtype=np.int32)
    by_source = coo_array((np.ones(len(pair), dtype=bool), (source, pair)), shape=(size, len(pair))).tocsr()
    return Neighbours(
        first=by_source.indptr.astype(np.int32), reach=target[by_source.indices].astype(np.int32)
    )


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
