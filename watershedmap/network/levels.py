"""Levels: the reaches sorted so that all of one level can be worked on at once.

The level of a reach is the longest way from it down to an outlet, counted in reaches. Levels are found from
the outlets up, by the rule of Kahn (1962, Topological sorting of large networks, Commun. ACM 5:558-562)
turned round: a reach is placed when all reaches that it flows into have been placed. What is never placed
lies in a cycle or above one. Reaches and edges are kept upstream first, so a pass down the network is a walk
through both from front to back; where no reach flows into two others, the upper reach of the n-th edge is the
n-th reach, and nothing need be looked up.

A level is worked on by array operations. Where levels are narrow, as in a long chain, these cost more than
they save, and the edges are walked one by one. Nothing recurses, so depth costs no more than width.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise, repeat
from typing import TYPE_CHECKING, NamedTuple, TypeVar, cast

import numpy as np
from scipy.sparse import coo_array

from watershedmap.network.edges import Neighbours

if TYPE_CHECKING:
    from collections.abc import Iterator

    import numpy.typing as npt

    from watershedmap.network.edges import Edges

Number = TypeVar("Number", bound=np.generic)

THIN = 32
"""Levels with fewer reaches or edges than this are walked one by one; measured, not critical."""


class Run(NamedTuple):
    """Consecutive levels that are worked on together: one wide level, or some thin ones."""

    edges: slice
    """The edges into these levels."""
    thin: bool
    """Whether they are to be walked one by one."""


@dataclass(frozen=True, slots=True, eq=False)
class Levels:
    """Reaches and edges in topological order, in levels; a place is a position in `order`."""

    order: npt.NDArray[np.intp]
    """Rows of the reaches, upstream first; those that could not be placed are left out."""
    starts: npt.NDArray[np.intp]
    """Place where each level starts, the one farthest from the outlets first; then the number of reaches."""
    lower: npt.NDArray[np.intp]
    """Place of the lower reach of each edge, ascending."""
    upper: npt.NDArray[np.int32] | None
    """Place of the upper reach of each edge; None where it is the number of the edge itself."""

    def __post_init__(self) -> None:
        """Check that the parts belong together."""
        if self.starts[-1] != len(self.order):
            raise ValueError("the levels must hold every reach")
        upper = np.arange(len(self.lower)) if self.upper is None else self.upper
        if len(upper) != len(self.lower):
            raise ValueError("every edge must have an upper reach")
        if (upper >= self.lower).any():
            raise ValueError("every reach must come after those that flow into it")

    @property
    def edge_up(self) -> npt.NDArray[np.intp]:
        """Row of the upper reach of each edge."""
        return self.order[: len(self.lower)] if self.upper is None else self.order[self.upper]

    @property
    def edge_down(self) -> npt.NDArray[np.intp]:
        """Row of the lower reach of each edge."""
        return self.order[self.lower]

    def runs(self) -> Iterator[Run]:
        """Give the runs of levels that something flows into, upstream first."""
        begins = np.searchsorted(self.lower, self.starts)
        thin = np.diff(begins) < THIN
        breaks = np.flatnonzero(~(thin[1:] & thin[:-1])) + 1
        bounds = np.unique(np.concatenate([[0], breaks, [len(thin)]]))
        parts = zip(pairwise(begins[bounds].tolist()), thin[bounds[:-1]].tolist(), strict=True)
        return (Run(slice(*part), is_thin) for part, is_thin in parts if part[1] > part[0])

    def pairs(self, edges: slice) -> Iterator[tuple[int, int]]:
        """Give the places of upper and lower reach of some edges, one by one."""
        upper = range(edges.start, edges.stop) if self.upper is None else self.upper[edges].tolist()
        return zip(upper, self.lower[edges].tolist(), strict=True)

    def take_upper(self, values: npt.NDArray[Number], edges: slice) -> npt.NDArray[Number]:
        """Copy the values, by place, of the upper reaches of some edges."""
        return values[edges].copy() if self.upper is None else values.take(self.upper[edges])


def sort_levels(edges: Edges, size: int) -> Levels:
    """Sort reaches and edges into levels.

    Parameters
    ----------
    edges
        Any; a pair that is there twice counts once.
    size
        Number of reaches.

    Returns
    -------
    Levels
        Without the reaches in a cycle or above one, and without their edges.
    """
    ones = np.ones(len(edges.up), dtype=np.int8)
    matrix = coo_array((ones, (edges.down, edges.up)), shape=(size, size)).tocsr()
    above = Neighbours(first=matrix.indptr, reach=matrix.indices)
    each = above.reach if len(above.reach) < len(edges.up) else edges.up
    waiting = np.bincount(each, minlength=size)  # how many reaches below have no place yet
    branching = bool(waiting.max(initial=0) > 1)
    order, count, starts = _place(above, waiting, branching=branching)
    lower = np.repeat(np.arange(len(order)), count)
    upper = _find_upper(above, order, count) if branching else None
    return Levels(order=order, starts=starts, lower=lower, upper=upper)


def total_down(
    levels: Levels, local: npt.NDArray[np.float64], share: npt.NDArray[np.float64] | None
) -> npt.NDArray[np.float64]:
    """Total quantities over each reach and what flows into it, level by level.

    Parameters
    ----------
    levels
        Of all reaches.
    local
        What each reach itself adds: one entry a reach, or a row for each quantity.
    share
        Share of the upper reach's total that each edge carries; None for all of it.

    Returns
    -------
    numpy.ndarray
        The total of each reach, in the shape of `local`.
    """
    totals = np.empty(np.atleast_2d(local).shape)
    for total, column in zip(totals, np.atleast_2d(local), strict=True):
        np.take(column, levels.order, out=total, mode="clip")  # every row is there; this way needs no check
    columns = list(totals)
    for edges, thin in levels.runs():
        part = None if share is None else share[edges]
        for total in columns:
            if thin:
                _total_thin(levels, edges, total, part)
                continue
            flow = levels.take_upper(total, edges)
            if part is not None:
                flow *= part
            np.add.at(total, levels.lower[edges], flow)
    for total in columns:
        total[:] = _by_row(levels, total)
    return totals.reshape(local.shape)


def _total_thin(
    levels: Levels,
    edges: slice,
    total: npt.NDArray[np.float64],
    share: npt.NDArray[np.float64] | None,
) -> None:
    """Add up thin levels one edge at a time."""
    cells = cast("memoryview[float]", total.data)
    parts = repeat(1.0) if share is None else share.tolist()
    for (upper, lower), part in zip(levels.pairs(edges), parts, strict=False):  # `repeat` has no end
        cells[lower] += part * cells[upper]


def rank_branching(levels: Levels, main: npt.NDArray[np.bool_] | None) -> npt.NDArray[np.int8]:
    """Order reaches after Strahler (1957), level by level.

    Parameters
    ----------
    levels
        Of all reaches.
    main
        Whether each edge carries the order on; None when all do.

    Returns
    -------
    numpy.ndarray
        The order of each reach, at least 1.
    """
    own = np.ones(len(levels.order), dtype=np.int8)
    for edges, thin in levels.runs():
        if thin:
            _rank_thin(levels, edges, own, None if main is None else main[edges])
            continue
        order, lower = levels.take_upper(own, edges), levels.lower[edges]
        if main is not None:
            order, lower = order[main[edges]], lower[main[edges]]
        np.maximum.at(own, lower, order)
        highest = lower[order == own.take(lower)]  # ascending, so that equals stand together
        own[highest[1:][highest[1:] == highest[:-1]]] += 1  # adds 1 once, however often a place is listed
    return _by_row(levels, own)


def _rank_thin(
    levels: Levels, edges: slice, own: npt.NDArray[np.int8], main: npt.NDArray[np.bool_] | None
) -> None:
    """Order the reaches of thin levels one by one; the edges into one reach follow each other."""
    cells = own.data
    carries = [True] * (edges.stop - edges.start) if main is None else main.tolist()
    reach, highest = -1, 0
    for (upper, lower), carried in zip(levels.pairs(edges), carries, strict=True):
        if lower != reach:
            reach, highest = lower, 0
        order = cells[upper] if carried else 0
        if order > highest:
            cells[lower] = highest = order
        elif order == highest > 0:
            cells[lower] = order + 1


def _place(
    above: Neighbours,
    waiting: npt.NDArray[np.intp],
    *,
    branching: bool,
) -> tuple[npt.NDArray[np.intp], npt.NDArray[np.int32], npt.NDArray[np.intp]]:
    """Place reaches from the outlets up, back to front; return them, how many flow into each, and levels."""
    first, reach = above.first, above.reach
    order, counts = np.empty(len(waiting), dtype=np.intp), np.empty(len(waiting), dtype=np.int32)
    starts = [len(waiting)]
    front = np.flatnonzero(waiting == 0).astype(np.int32)
    while len(front):
        if len(front) < THIN:
            end, front = starts[-1], _place_thin(front.tolist(), above, waiting, order, starts)
            placed = order[starts[-1] : end]
            counts[starts[-1] : end] = first[placed + 1] - first[placed]
            continue
        slot, count = first.take(front), first.take(front + 1)
        count -= slot
        places = slice(starts[-1] - len(front), starts[-1])
        order[places], counts[places] = front[::-1], count[::-1]
        starts.append(places.start)
        slot += count
        slot -= count.cumsum(dtype=np.int32)
        slots = slot.repeat(count)
        slots += np.arange(len(slots), dtype=np.int32)
        front = reach.take(slots)
        if branching:
            np.subtract.at(waiting, front, 1)
            front = np.unique(front[waiting[front] == 0])  # one may have been waiting for several of a level
    unplaced = starts[-1]
    return order[unplaced:], counts[unplaced:], np.array(starts[::-1], dtype=np.intp) - unplaced


def _place_thin(
    front: list[int],
    above: Neighbours,
    waiting: npt.NDArray[np.intp],
    order: npt.NDArray[np.intp],
    starts: list[int],
) -> npt.NDArray[np.int32]:
    """Place thin levels one reach at a time; return the first level that is wide, or none."""
    begins, uppers, left, placed = above.first.data, above.reach.data, waiting.data, order.data
    place = starts[-1]
    while 0 < len(front) < THIN:
        following = []
        for lower in front:
            place -= 1
            placed[place] = lower
            for slot in range(begins[lower], begins[lower + 1]):
                upper = uppers[slot]
                left[upper] -= 1
                if not left[upper]:
                    following.append(upper)
        starts.append(place)
        front = following
    return np.array(front, dtype=np.int32)


def _find_upper(
    above: Neighbours,
    order: npt.NDArray[np.intp],
    count: npt.NDArray[np.int32],
) -> npt.NDArray[np.int32]:
    """Return the place of the upper reach of each edge, the edges sorted by the place of the lower one."""
    place = np.full(len(above.first) - 1, -1, dtype=np.int32)
    place[order] = np.arange(len(order), dtype=np.int32)
    slots = np.repeat(above.first[order] - (np.cumsum(count, dtype=np.int32) - count), count)
    slots += np.arange(len(slots), dtype=np.int32)
    upper: npt.NDArray[np.int32] = place[above.reach[slots]]
    return upper


def _by_row(levels: Levels, values: npt.NDArray[Number]) -> npt.NDArray[Number]:
    """Bring values by place into the order of the rows."""
    result = np.empty_like(values)
    result[levels.order] = values
    return result
