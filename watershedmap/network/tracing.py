"""Walking the flow: totals over everything upstream, paths, and the sites next to a reach.

`accumulate` adds along the edges in topological order, each reach giving its total on to what it flows into,
divided by the shares at a divergence; below the reunion of the branches the whole is together again. It
costs one pass over the edges. Distances along the flow are sums of geodesic lengths of reaches; where
several ways lead to a place, the shortest counts.

Known bias: equal shares at a divergence are a convention (see `watershedmap.network.topology`); between a
divergence and the reunion a branch carries its share, whatever its size.
"""

from __future__ import annotations

from heapq import heapify, heappop, heappush
from itertools import takewhile
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from watershedmap.network.edges import Neighbours, find_neighbours

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Iterator

    import numpy.typing as npt

    from watershedmap.network.topology import Network


def accumulate(network: Network, local: npt.NDArray[np.float64]) -> npt.NDArray[np.float64]:
    """Total a quantity over each reach and all reaches upstream of it.

    Parameters
    ----------
    network
        The stream network.
    local
        What each reach itself adds: one entry a reach, or one row a reach and a column for each quantity.

    Returns
    -------
    numpy.ndarray
        Totals in the shape of `local`; NaN downstream of a NaN, and everywhere when the direction of
        flow is unknown.

    Raises
    ------
    ValueError
        When `local` has not one row for each reach.
    """
    given = np.asarray(local, dtype=float)
    if len(given) != len(network.ids):
        raise ValueError(f"{len(given)} rows given for {len(network.ids)} reaches")
    if not network.has_flow:
        return np.full(given.shape, np.nan)
    columns = given.reshape(len(given), -1)
    edges = network.edge_up.tolist(), network.edge_down.tolist(), network.edge_share.tolist()
    totals = np.empty_like(columns)
    for number, column in enumerate(columns.T):
        total = column.tolist()
        for up, down, share in zip(*edges, strict=True):
            total[down] += share * total[up]
        totals[:, number] = total
    return totals.reshape(given.shape)


def upstream_of(network: Network, reach_index: int) -> npt.NDArray[np.object_]:
    """Return the ids of a reach and of all reaches upstream of it.

    Parameters
    ----------
    network
        The stream network.
    reach_index
        Row of the reach.

    Returns
    -------
    numpy.ndarray
        Ids in the order of the layer, that of the reach itself among them.

    Raises
    ------
    ValueError
        When the direction of flow is unknown.
    """
    _need_flow(network)
    above = find_neighbours(network.edge_down, network.edge_up, len(network.ids))
    seen, waiting = {reach_index}, [reach_index]
    while waiting:
        for reach in above.of(waiting.pop()):
            if reach not in seen:
                seen.add(reach)
                waiting.append(reach)
    return network.ids[sorted(seen)]


def downstream_path(network: Network, reach_index: int) -> npt.NDArray[np.object_]:
    """Return the ids from a reach down to the outlet, along the main branch at divergences.

    Parameters
    ----------
    network
        The stream network.
    reach_index
        Row of the reach.

    Returns
    -------
    numpy.ndarray
        Ids along the flow, the first that of the reach itself.

    Raises
    ------
    ValueError
        When the direction of flow is unknown.
    """
    _need_flow(network)
    path, reach = [], int(reach_index)
    while reach >= 0:
        path.append(reach)
        reach = int(network.main_down[reach])
    return network.ids[path]


def nearest_sites(
    network: Network, site_reach: npt.NDArray[np.intp], site_position_m: npt.NDArray[np.float64]
) -> pd.DataFrame:
    """Find the nearest site upstream and downstream of each reach; sites on the reach itself do not count.

    Parameters
    ----------
    network
        The stream network.
    site_reach
        Row of the reach that each site lies on, -1 for none.
    site_position_m
        Distance of each site up from the lower end of its reach, metres.

    Returns
    -------
    pandas.DataFrame
        On the rows of the network: site_downstream, site_upstream (number of the site, -1 for none),
        site_downstream_km from the lower end of the reach, site_upstream_km from its upper end. Of sites at
        the same distance the first counts.
    """
    length, up, down = network.length_km.tolist(), network.edge_up.tolist(), network.edge_down.tolist()
    from_upper, from_lower = _first_sites(network, site_reach, site_position_m)
    below, above = [_NONE] * len(length), [_NONE] * len(length)
    for upper, lower in zip(reversed(up), reversed(down), strict=True):
        distance, site = below[lower]
        below[upper] = min(below[upper], from_upper.get(lower, _NONE), (distance + length[lower], site))
    for upper, lower in zip(up, down, strict=True):
        distance, site = above[upper]
        above[lower] = min(above[lower], from_lower.get(upper, _NONE), (distance + length[upper], site))
    columns = {}
    for name, nearest in (("site_downstream", below), ("site_upstream", above)):
        distances, sites = np.array(nearest).reshape(-1, 2).T
        found = np.isfinite(distances)
        columns[name] = np.where(found, sites, -1).astype(np.intp)
        columns[f"{name}_km"] = np.where(found, distances, np.nan)
    return pd.DataFrame(columns)


def sites_in_view(
    network: Network,
    site_reach: npt.NDArray[np.intp],
    site_position_m: npt.NDArray[np.float64],
    *,
    within_km: float,
) -> pd.DataFrame:
    """Find the sites that each reach without a site of its own sees along the flow.

    A reach looks from its midpoint up the flow and down the flow, never round a confluence, and no farther
    than the nearest reach that has sites: all sites of that reach are seen, nothing beyond it.

    Parameters
    ----------
    network
        The stream network.
    site_reach
        Row of the reach that each site lies on, -1 for none.
    site_position_m
        Distance of each site up from the lower end of its reach, metres.
    within_km
        Sites farther than this are not seen, kilometres.

    Returns
    -------
    pandas.DataFrame
        reach (row), site (number), distance_km from the midpoint of the reach, upstream (whether the site
        lies upstream of the reach); ordered by reach, distance and site.
    """
    size, length = len(network.ids), network.length_km.tolist()
    above = find_neighbours(network.edge_down, network.edge_up, size)
    below = find_neighbours(network.edge_up, network.edge_down, size)
    sampled = set(site_reach[site_reach >= 0].tolist())
    rows: list[tuple[int, int, float, bool]] = []
    for site, reach, from_lower in _known_sites(site_reach, site_position_m):
        for links, start, upstream in (
            (above, length[reach] - from_lower, False),
            (below, from_lower, True),
        ):
            seen = _look(reach, start, links, length, sampled)
            for other, distance in takewhile(lambda place: place[1] <= within_km, seen):
                if distance + length[other] / 2.0 <= within_km:
                    rows.append((other, site, distance + length[other] / 2.0, upstream))
    rows.sort(key=lambda row: (row[0], row[2], row[1]))
    frame = pd.DataFrame(rows, columns=["reach", "site", "distance_km", "upstream"])
    return frame.astype({"reach": int, "site": int, "distance_km": float, "upstream": bool})


def flow_distance_km(
    network: Network, reach_a: int, position_a_m: float, reach_b: int, position_b_m: float
) -> tuple[float, bool]:
    """Measure between two places along the network.

    Places are flow-connected when water passes from one to the other; their distance is that along the flow.
    Otherwise it is the shortest way along the lines, down to the confluence and up again: the sum of the two
    downstream distances of Peterson and Ver Hoef (2010, Ecology 91:644-651). Reaches that only end at the
    same outlet are on different networks.

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
    length = network.length_km.tolist()
    down_a, down_b = position_a_m / 1000.0, position_b_m / 1000.0
    if reach_a == reach_b:
        return abs(down_a - down_b), network.has_flow
    below = find_neighbours(network.edge_up, network.edge_down, len(length))
    up_a, up_b = length[reach_a] - down_a, length[reach_b] - down_b
    for reach, start, other, rest in ((reach_a, down_a, reach_b, up_b), (reach_b, down_b, reach_a, up_a)):
        ways = _from_tops(reach, start, below, length)
        distance = next((distance for place, distance in ways if place == other), None)
        if distance is not None:
            return distance + rest, True
    ways = _from_ends(network, reach_a, down_a, up_a)
    goals = {_lower_end(reach_b): down_b, _upper_end(reach_b): up_b}
    distances = [distance + goals[end] for end, distance in ways if end in goals]
    return min(distances, default=float("nan")), False


_NONE = (float("inf"), -1)
"""Distance and number of a site that is not there."""


def _need_flow(network: Network) -> None:
    if not network.has_flow:
        raise ValueError("the direction of flow is unknown, so nothing can be said of upstream or downstream")


def _known_sites(
    site_reach: npt.NDArray[np.intp], site_position_m: npt.NDArray[np.float64]
) -> Iterator[tuple[int, int, float]]:
    """Give number, reach, and kilometres up from the reach's lower end of each site that lies on a reach."""
    kilometres = np.asarray(site_position_m, dtype=float) / 1000.0
    for site, (reach, from_lower) in enumerate(zip(site_reach.tolist(), kilometres.tolist(), strict=True)):
        if reach >= 0:
            yield site, reach, from_lower


def _first_sites(
    network: Network, site_reach: npt.NDArray[np.intp], site_position_m: npt.NDArray[np.float64]
) -> tuple[dict[int, tuple[float, int]], dict[int, tuple[float, int]]]:
    """Find distance and number of the site met first from the upper and the lower end of each reach."""
    from_upper: dict[int, tuple[float, int]] = {}
    from_lower: dict[int, tuple[float, int]] = {}
    for site, reach, distance in _known_sites(site_reach, site_position_m):
        rest = max(0.0, float(network.length_km[reach]) - distance)
        from_upper[reach] = min(from_upper.get(reach, _NONE), (rest, site))
        from_lower[reach] = min(from_lower.get(reach, _NONE), (distance, site))
    return from_upper, from_lower


def _look(
    reach: int, start: float, links: Neighbours, length: list[float], sampled: set[int]
) -> Iterator[tuple[int, float]]:
    """Leave a reach in one direction; give each unsampled reach and the distance to its nearer end."""

    def step(place: int) -> Iterator[tuple[int, float]]:
        return ((other, length[place]) for other in links.of(place) if other not in sampled)

    return _spread([(max(0.0, start), other) for other in links.of(reach) if other not in sampled], step)


def _from_tops(
    reach: int, start: float, below: Neighbours, length: list[float]
) -> Iterator[tuple[int, float]]:
    """Go down from a reach; give each reach below and the distance to its upper end."""

    def step(place: int) -> Iterator[tuple[int, float]]:
        return ((other, length[place]) for other in below.of(place))

    return _spread([(start, other) for other in below.of(reach)], step)


def _from_ends(network: Network, reach: int, to_lower: float, to_upper: float) -> Iterator[tuple[int, float]]:
    """Go along the lines whatever the flow; give each end of a reach and the distance to it."""
    length = network.length_km.tolist()
    above = find_neighbours(network.edge_down, network.edge_up, len(length))
    below = find_neighbours(network.edge_up, network.edge_down, len(length))

    def step(end: int) -> Iterator[tuple[int, float]]:
        place, is_lower = divmod(end, 2)
        yield end ^ 1, length[place]
        for other in (below if is_lower else above).of(place):
            yield (_upper_end(other) if is_lower else _lower_end(other)), 0.0

    return _spread([(to_lower, _lower_end(reach)), (to_upper, _upper_end(reach))], step)


def _upper_end(reach: int) -> int:
    return 2 * reach


def _lower_end(reach: int) -> int:
    return 2 * reach + 1


def _spread(
    start: list[tuple[float, int]], step: Callable[[int], Iterable[tuple[int, float]]]
) -> Iterator[tuple[int, float]]:
    """Give places and their shortest distances, nearest first (Dijkstra 1959, Numer. Math. 1:269-271)."""
    heap, seen = list(start), set[int]()
    heapify(heap)
    while heap:
        distance, place = heappop(heap)
        if place in seen:
            continue
        seen.add(place)
        yield place, distance
        for other, further in step(place):
            if other not in seen:
                heappush(heap, (distance + further, other))
