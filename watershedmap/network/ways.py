"""Ways along the network from one place to another, and their length.

Places are flow-connected when water passes from one to the other; their distance is that along the flow.
Otherwise it is the shortest way along the lines, down to the confluence and up again: the sum of the two
downstream distances of Peterson and Ver Hoef (2010, A mixed-model moving-average approach to geostatistical
modeling in stream networks, Ecology 91:644-651). Reaches that only end at the same outlet are on different
networks.

Where no reach of the network flows into two others there is one way only, down from both places to where
the two meet. Otherwise the shortest is searched for (Dijkstra 1959, A note on two problems in connexion with
graphs, Numer. Math. 1:269-271).

Known bias: lengths are those of the drawn lines (see `watershedmap.network.distance`). Where streams divide,
the way between unconnected places may lead up one branch and down the other.
"""

from __future__ import annotations

from heapq import heapify, heappop, heappush
from itertools import pairwise
from math import fsum
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Iterator

    import numpy.typing as npt

    from watershedmap.network.topology import Network


class Way(NamedTuple):
    """The way between two reaches."""

    rows: list[int]
    """Rows of the reaches along it, first and last those of the two places; empty when there is none."""
    connected: bool
    """Whether water passes from one place to the other."""
    downstream: bool
    """Whether the way leaves the first reach by its lower end."""
    from_above: bool
    """Whether it comes to the last reach by its upper end."""


def path_between(network: Network, reach_a: int, reach_b: int) -> npt.NDArray[np.intp]:
    """Return the reaches along the way from one to another.

    Parameters
    ----------
    network
        The stream network.
    reach_a, reach_b
        Rows of the two reaches.

    Returns
    -------
    numpy.ndarray
        Rows of the reaches passed, both of these included. Flow-connected reaches are joined along the flow;
        others down to the confluence and up again, without the reach below it. Empty when the two lie on
        different networks.

    Raises
    ------
    ValueError
        When the direction of flow is unknown.
    """
    if not network.has_flow:
        raise ValueError("the direction of flow is unknown, so there is no way along it")
    half_a, half_b = (float(network.length_km[reach]) / 2.0 for reach in (reach_a, reach_b))
    return np.array(_find_way(network, reach_a, half_a, reach_b, half_b).rows, dtype=np.intp)


def flow_distance_km(
    network: Network, reach_a: int, position_a_m: float, reach_b: int, position_b_m: float
) -> tuple[float, bool]:
    """Measure between two places along the network.

    Parameters
    ----------
    network
        The stream network.
    reach_a, reach_b
        Rows of the two reaches.
    position_a_m, position_b_m
        Distances up from the lower ends of these reaches, metres.

    Returns
    -------
    float
        Kilometres; NaN when the places lie on different networks, or the direction of flow is unknown.
    bool
        Whether the places are flow-connected.
    """
    low_a, low_b = position_a_m / 1000.0, position_b_m / 1000.0
    if reach_a == reach_b:
        return abs(low_a - low_b), network.has_flow
    way = _find_way(network, reach_a, low_a, reach_b, low_b)
    if not way.rows:
        return float("nan"), False
    first = low_a if way.downstream else float(network.length_km[reach_a]) - low_a
    last = float(network.length_km[reach_b]) - low_b if way.from_above else low_b
    return fsum([first, *network.length_km[way.rows[1:-1]].tolist(), last]), way.connected


def follow_down(network: Network, reach: int) -> list[int]:
    """List the rows from a reach down to the outlet, along the main branch.

    Parameters
    ----------
    network
        The stream network.
    reach
        Row of the reach.

    Returns
    -------
    list of int
        Along the flow, the first that of the reach itself.
    """
    rows, row = [], int(reach)
    while row >= 0:
        rows.append(row)
        row = int(network.main_down[row])
    return rows


_NO_WAY = Way([], connected=False, downstream=False, from_above=False)


def _find_way(network: Network, reach_a: int, low_a: float, reach_b: int, low_b: float) -> Way:
    """Find the way between two places, each given by its distance up from the lower end of its reach, km."""
    if reach_a == reach_b:
        return Way([reach_a], connected=True, downstream=True, from_above=True)
    if network.levels.upper is None:
        return _find_only(network, reach_a, reach_b)
    for begin, goal in ((reach_a, reach_b), (reach_b, reach_a)):
        rows = _search_down(network, begin, goal)
        if rows:
            down = begin == reach_a
            return Way(rows if down else rows[::-1], connected=True, downstream=down, from_above=down)
    return _search_around(network, reach_a, low_a, reach_b, low_b)


def _find_only(network: Network, reach_a: int, reach_b: int) -> Way:
    """Find the way in a network where no reach flows into two others."""
    down_a, down_b = follow_down(network, reach_a), follow_down(network, reach_b)
    on_b = {row: step for step, row in enumerate(down_b)}
    steps_a = next((step for step, row in enumerate(down_a) if row in on_b), None)
    if steps_a is None:
        return _NO_WAY
    steps_b = on_b[down_a[steps_a]]
    if not steps_b:
        return Way(down_a[: steps_a + 1], connected=True, downstream=True, from_above=True)
    if not steps_a:
        return Way(down_b[steps_b::-1], connected=True, downstream=False, from_above=False)
    rows = down_a[:steps_a] + down_b[:steps_b][::-1]
    return Way(rows, connected=False, downstream=True, from_above=False)


def _search_down(network: Network, begin: int, goal: int) -> list[int]:
    """Search the shortest way down; return its rows, none when water does not get there."""
    came: dict[int, int] = {}
    for place, before, _ in spread(
        [(0.0, begin)], lambda row: ((low, float(network.length_km[low])) for low in network.below.of(row))
    ):
        came[place] = before
        if place == goal:
            return _trace_back(came, goal)
    return []


def _search_around(network: Network, reach_a: int, low_a: float, reach_b: int, low_b: float) -> Way:
    """Search the shortest way along the lines, from end to end of reaches, whatever the flow."""
    length = network.length_km

    def step(end: int) -> Iterator[tuple[int, float]]:
        row, is_lower = divmod(end, 2)
        yield end ^ 1, float(length[row])
        for other in (network.below if is_lower else network.above).of(row):
            yield 2 * other + (1 - is_lower), 0.0

    goals = {2 * reach_b: float(length[reach_b]) - low_b, 2 * reach_b + 1: low_b}
    best, nearest, came = float("inf"), -1, dict[int, int]()
    start = [(float(length[reach_a]) - low_a, 2 * reach_a), (low_a, 2 * reach_a + 1)]
    for end, before, distance in spread(start, step):
        if distance >= best:
            break
        came[end] = before
        if distance + goals.get(end, float("inf")) < best:
            best, nearest = distance + goals[end], end
    if nearest < 0:
        return _NO_WAY
    ends = _trace_back(came, nearest)
    passed = [end // 2 for end, after in pairwise(ends) if end // 2 == after // 2]
    rows = [reach_a, *passed, reach_b]
    return Way(rows, connected=False, downstream=ends[0] % 2 == 1, from_above=nearest % 2 == 0)


def _trace_back(came: dict[int, int], place: int) -> list[int]:
    """List the places that led to one, from the first."""
    places = []
    while place >= 0:
        places.append(place)
        place = came[place]
    return places[::-1]


def spread(
    start: list[tuple[float, int]], step: Callable[[int], Iterable[tuple[int, float]]]
) -> Iterator[tuple[int, int, float]]:
    """Give places nearest first (Dijkstra 1959).

    Parameters
    ----------
    start
        Distances and numbers of the places to begin with.
    step
        Gives, for a place, the places next to it and how far they are.

    Yields
    ------
    int
        Number of the place.
    int
        The place before it on the shortest way; -1 for those of the start.
    float
        Its distance.
    """
    heap, seen = [(distance, place, -1) for distance, place in start], set[int]()
    heapify(heap)
    while heap:
        distance, place, before = heappop(heap)
        if place in seen:
            continue
        seen.add(place)
        yield place, before, distance
        for other, further in step(place):
            if other not in seen:
                heappush(heap, (distance + further, other, place))
