"""Walking the flow: totals over everything upstream, sets, stems, and the sites next to a reach.

`accumulate` adds along the edges in topological order, each reach giving its total on to what it flows into,
divided by the shares at a divergence; below the reunion of the branches the whole is together again. It
costs one pass over the edges (`watershedmap.network.levels`). Distances along the flow are sums of geodesic
lengths of reaches; where several ways lead to a place, the shortest counts.

Known bias: shares at a divergence are a convention where the layer gives none (see
`watershedmap.network.divergence`); between a divergence and the reunion a branch carries its share, whatever
its size. What flows through a cycle that is left out is missing from the totals below it.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from watershedmap.network.levels import total_down
from watershedmap.network.ways import follow_down

if TYPE_CHECKING:
    import numpy.typing as npt

    from watershedmap.network.edges import Neighbours
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
        Totals in the shape of `local`; NaN downstream of a NaN, for reaches in a cycle, and everywhere when
        the direction of flow is unknown.

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
    share = None if network.levels.upper is None else network.edge_share
    totals = total_down(network.levels, given.T, share).T
    totals[network.in_cycle] = np.nan
    return totals


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
    return network.ids[_gather(network.above, reach_index)]


def downstream_of(network: Network, reach_index: int) -> npt.NDArray[np.object_]:
    """Return the ids of a reach and of all reaches downstream of it, those of side branches too.

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
    return network.ids[_gather(network.below, reach_index)]


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
    return network.ids[follow_down(network, reach_index)]


def main_stem(network: Network, reach_index: int) -> npt.NDArray[np.object_]:
    """Return the ids from a reach up its main stem to the source.

    At each confluence the stem goes on in the reach with the largest drainage area, or, where the layer does
    not give every reach its area, with the greatest length of streams upstream; of equals, the first of the
    layer.

    Parameters
    ----------
    network
        The stream network.
    reach_index
        Row of the reach.

    Returns
    -------
    numpy.ndarray
        Ids against the flow, the first that of the reach itself.

    Raises
    ------
    ValueError
        When the direction of flow is unknown.
    """
    _need_flow(network)
    has_areas = not np.isnan(network.area_km2).any()
    total = accumulate(network, network.area_km2 if has_areas else network.length_km)
    rows, above = [int(reach_index)], network.above.of(reach_index)
    while above:
        rows.append(max(sorted(above), key=total.__getitem__))
        above = network.above.of(rows[-1])
    return network.ids[rows]


def distance_to_outlet_km(network: Network) -> npt.NDArray[np.float64]:
    """Measure from the lower end of each reach to the outlet, along the main branch at divergences.

    Parameters
    ----------
    network
        The stream network.

    Returns
    -------
    numpy.ndarray
        Kilometres, 0 at an outlet and where the network leaves the layer; NaN for reaches in a cycle or that
        flow into one, and everywhere when the direction of flow is unknown.
    """
    if not network.has_flow:
        return np.full(len(network.ids), np.nan)
    length, main_down = network.length_km.tolist(), network.main_down.tolist()
    lost = (network.in_cycle | network.enters_cycle) & (network.main_down < 0)
    distance = np.where(lost, np.nan, 0.0).tolist()
    for reach in reversed(network.order.tolist()):
        lower = main_down[reach]
        if lower >= 0:
            distance[reach] = distance[lower] + length[lower]
    return np.array(distance, dtype=float)


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


def place_on_reaches(
    network: Network, site_reach: npt.NDArray[np.intp], site_position_m: npt.NDArray[np.float64]
) -> npt.NDArray[np.float64]:
    """Return the distance of each site up from the lower end of its reach, kilometres.

    A site whose position is not known, on a reach without a line, is taken to lie at the middle.

    Parameters
    ----------
    network
        The stream network.
    site_reach
        Row of the reach that each site lies on, -1 for none.
    site_position_m
        Its position, metres; NaN where it is not known.

    Returns
    -------
    numpy.ndarray
        NaN for sites on no reach.
    """
    length = np.append(network.length_km, np.nan)[site_reach]
    known = np.asarray(site_position_m, dtype=float) / 1000.0
    return np.where(np.isnan(known), length / 2.0, known)


_NONE = (float("inf"), -1)
"""Distance and number of a site that is not there."""


def _need_flow(network: Network) -> None:
    if not network.has_flow:
        raise ValueError("the direction of flow is unknown, so nothing can be said of upstream or downstream")


def _gather(links: Neighbours, reach: int) -> list[int]:
    """List the rows of a reach and of all that are reached from it in one direction, ascending."""
    seen, waiting = {int(reach)}, [int(reach)]
    while waiting:
        for other in links.of(waiting.pop()):
            if other not in seen:
                seen.add(other)
                waiting.append(other)
    return sorted(seen)


def _first_sites(
    network: Network, site_reach: npt.NDArray[np.intp], site_position_m: npt.NDArray[np.float64]
) -> tuple[dict[int, tuple[float, int]], dict[int, tuple[float, int]]]:
    """Find distance and number of the site met first from the upper and the lower end of each reach."""
    from_upper: dict[int, tuple[float, int]] = {}
    from_lower: dict[int, tuple[float, int]] = {}
    places = place_on_reaches(network, site_reach, site_position_m).tolist()
    for site, (reach, distance) in enumerate(zip(site_reach.tolist(), places, strict=True)):
        if reach < 0:
            continue
        rest = max(0.0, float(network.length_km[reach]) - distance)
        from_upper[reach] = min(from_upper.get(reach, _NONE), (rest, site))
        from_lower[reach] = min(from_lower.get(reach, _NONE), (distance, site))
    return from_upper, from_lower
