"""What a layer of reaches has to say for itself: cycles, outlets, divergences, pieces, gaps, odd lines.

Each finding has its ids and a place to look at. Cycles are strongly connected components, as in
`watershedmap.network.edges`; a piece is what hangs together whatever the direction, and the largest piece
is none of the findings. Findings of the lines themselves are in `watershedmap.network.line_inspection`.

Known bias: where topology comes from line ends, the limit within which ends meet decides what is a piece and
what is an outlet. A finding is not always an error: streams divide, layers are cut, and islands have streams.
"""

from __future__ import annotations

from collections import defaultdict
from typing import TYPE_CHECKING

import numpy as np
import shapely

from watershedmap.network import reports
from watershedmap.network.edges import drop_self_flow, find_cycles, label_components
from watershedmap.network.findings import Finding, frame_findings
from watershedmap.network.line_inspection import inspect_lines
from watershedmap.network.lines import find_ends, merge_parts
from watershedmap.network.linking import Links, choose_source, link_reaches
from watershedmap.network.nodes import find_odd_junctions, turn_by_elevation

if TYPE_CHECKING:
    import geopandas as gpd
    import numpy.typing as npt

    from watershedmap.network.linking import Source
    from watershedmap.network.topology import Network

SEPARATOR = "; "
"""What stands between two ids."""


def inspect_reaches(
    reaches: gpd.GeoDataFrame,
    network: Network,
    *,
    near_miss_m: float = 20.0,
    join_m: float = 1.0,
    direction: str = "check",
    cycles: str = "stop",
    source: Source | None = None,
) -> gpd.GeoDataFrame:
    """List what is odd about a layer of reaches.

    Parameters
    ----------
    reaches
        As for `watershedmap.network.topology.build_network`.
    network
        The network made of them.
    near_miss_m
        Line ends nearer than this that do not meet are a near miss, metres; reaches that flow into one
        another and lie farther apart than this have a gap.
    join_m, direction, cycles, source
        As the network was built with.

    Returns
    -------
    geopandas.GeoDataFrame
        finding, severity ("fault" for cycles that stop a run, else "notice"), ids (joined by "; "), note,
        fix, and a point in longitude and latitude, or None: "cycle", "leaves the layer", "outlet" (where
        there are several), "divergence", "isolated piece", "direction unclear", "near miss", "end beside a
        line", "gap along the flow", "reversed line", "duplicate line", "line crosses itself", "no line".
    """
    chosen = choose_source(reaches, source)
    lines = merge_parts(reaches.geometry)
    ends = find_ends(lines)
    links = link_reaches(
        reaches, network.ids, ends, chosen, direction=direction, join_m=join_m, file="reaches"
    )
    lower = np.where(network.runs_upstream[:, None], ends[:, 0], ends[:, 1])
    rows = [
        *_find_cycles(network, links, lines, stop=cycles == "stop"),
        *_find_leaving(reaches, network, lower),
        *_find_outlets(network, lower),
        *_find_divergences(network, links, lower),
        *_find_pieces(network, links, lower),
        *(
            _find_unclear(reaches, network, links, lines, ends, direction=direction)
            if chosen == "line_ends"
            else []
        ),
        *inspect_lines(network, links.edges, lines, ends, near_miss_m=near_miss_m, join_m=join_m),
    ]
    return frame_findings(rows)


def count_reaches(network: Network) -> dict[str, float]:
    """Count what a network consists of.

    Parameters
    ----------
    network
        The network.

    Returns
    -------
    dict
        "km of stream", "outlets" (where the direction is known) and "leaving the layer".
    """
    counts: dict[str, float] = {"km of stream": float(network.length_km.sum())}
    if network.has_flow:
        ends = (network.main_down < 0) & ~network.leaves_layer & ~network.in_cycle & ~network.enters_cycle
        counts |= {"outlets": int(ends.sum()), "leaving the layer": int(network.leaves_layer.sum())}
    return counts


def point_at(place: npt.NDArray[np.float64]) -> shapely.Point | None:
    """Make a point of a longitude and a latitude; none where they are missing."""
    return None if np.isnan(place).any() else shapely.Point(place)


def point_on(line: shapely.LineString | None) -> shapely.Point | None:
    """Return the middle of a line, or none."""
    return None if line is None else shapely.line_interpolate_point(line, 0.5, normalized=True)


def _join(names: npt.NDArray[np.object_]) -> str:
    return SEPARATOR.join(map(str, names))


def _find_cycles(
    network: Network, links: Links, lines: npt.NDArray[np.object_], *, stop: bool
) -> list[Finding]:
    """List cycles, and reaches that flow into themselves."""
    if not network.in_cycle.any():
        return []
    edges, own = drop_self_flow(links.edges)
    alone = np.unique(own).tolist()
    several = find_cycles(edges, len(network.ids))
    cost = "" if stop else "; they are left out of all tracing, and totals downstream do not count them"
    severity = "fault" if stop else "notice"
    other = reports.OR_LEAVE_OUT if stop else ""
    rows = []
    for cycle in [[row] for row in alone] + several:
        note = f"these {len(cycle)} reaches flow in a circle, in this order{cost}"
        fix = f"find the reach that points the wrong way and turn it round, or take it out{other}"
        if len(cycle) == 1:
            note = f"this reach flows into itself{cost.replace('they are', 'it is').replace('them', 'it')}"
            fix = (
                f"give it the id or node of what it flows into, or take it out if it is a closed line{other}"
            )
        place = point_on(lines[cycle[0]])
        rows.append(Finding("cycle", severity, _join(network.ids[cycle]), note, fix, place))
    return rows


def _find_leaving(
    reaches: gpd.GeoDataFrame, network: Network, lower: npt.NDArray[np.float64]
) -> list[Finding]:
    rows = np.flatnonzero(network.leaves_layer)
    if not len(rows):
        return []
    named = reaches["downstream_id"].to_numpy(dtype=object)
    fix = "nothing, if the layer was cut out of a larger one; otherwise correct the id"
    note = "flows into {}, which is not in the layer"
    return [
        Finding(
            "leaves the layer",
            "notice",
            str(network.ids[row]),
            note.format(named[row]),
            fix,
            point_at(lower[row]),
        )
        for row in rows
    ]


def _find_outlets(network: Network, lower: npt.NDArray[np.float64]) -> list[Finding]:
    """List outlets, where there are several and the direction is known."""
    ends = (network.main_down < 0) & ~network.leaves_layer & ~network.in_cycle & ~network.enters_cycle
    if not network.has_flow or ends.sum() < 2:  # noqa: PLR2004 - one outlet is as it should be
        return []
    note = f"nothing lies downstream of this reach; the layer has {int(ends.sum())} such outlets"
    fix = "nothing, if it flows into the sea, a lake or the ground; otherwise join it to what it flows into"
    return [
        Finding("outlet", "notice", str(network.ids[row]), note, fix, point_at(lower[row]))
        for row in np.flatnonzero(ends)
    ]


def _find_divergences(network: Network, links: Links, lower: npt.NDArray[np.float64]) -> list[Finding]:
    """List the places where water divides; reaches that meet there are one row."""
    if not network.has_flow:
        return []
    edges = links.edges
    dividing = np.bincount(edges.up, minlength=len(network.ids))[edges.up] > 1
    branches: dict[int, list[int]] = defaultdict(list)
    for up, down in zip(edges.up[dividing].tolist(), edges.down[dividing].tolist(), strict=True):
        branches[up].append(down)
    places: dict[tuple[int, ...], list[int]] = defaultdict(list)
    for up, into in branches.items():
        places[tuple(sorted(into))].append(up)
    held = np.isin(network.edge_up, np.fromiter(branches, dtype=np.intp, count=len(branches)))
    pairs = zip(network.edge_up[held].tolist(), network.edge_down[held].tolist(), strict=True)
    share = dict(zip(pairs, network.edge_share[held].tolist(), strict=True))
    fix = "nothing, if streams divide there; otherwise correct the layer, or give shares in a column share"
    rows = []
    for downs, above in places.items():
        told = [f"{network.ids[down]}{_percent(share.get((above[0], down)))}" for down in downs]
        note = f"flows into {len(downs)} reaches: {', '.join(told)}"
        rows.append(
            Finding("divergence", "notice", _join(network.ids[above]), note, fix, point_at(lower[above[0]]))
        )
    return rows


def _percent(share: float | None) -> str:
    return "" if share is None else f" ({share:.0%})"


def _find_pieces(network: Network, links: Links, lower: npt.NDArray[np.float64]) -> list[Finding]:
    """List what hangs together with nothing else, but for the largest piece."""
    size = len(network.ids)
    if links.nodes is None:
        piece = label_components(links.edges.up, links.edges.down, size)
    else:
        upper, end = links.nodes.upper, links.nodes.lower
        piece = label_components(upper, end, max(upper.max(initial=-1), end.max(initial=-1)) + 1)[upper]
    count = np.bincount(piece)
    km = np.bincount(piece, weights=network.length_km)
    order = np.argsort(piece, kind="stable")
    members = np.split(order, np.cumsum(count)[:-1])
    found = [rows for rows in members if len(rows)]
    largest = max(found, key=len)[0]
    fix = "nothing, if it is a stream of its own; otherwise join it, for a site says nothing of another piece"
    return [
        Finding(
            "isolated piece",
            "notice",
            reports.list_ids(network.ids[rows].tolist(), between=SEPARATOR),
            f"{len(rows)} reach(es), {km[piece[rows[0]]]:.1f} km, that hang together with nothing else",
            fix,
            point_at(lower[_lowest(network, rows)]),
        )
        for rows in sorted(found, key=lambda rows: int(rows[0]))
        if rows[0] != largest
    ]


def _lowest(network: Network, rows: npt.NDArray[np.intp]) -> int:
    """Return the first outlet of a piece, or its first reach."""
    return int(rows[np.argmax(network.main_down[rows] < 0)])


def _find_unclear(
    reaches: gpd.GeoDataFrame,
    network: Network,
    links: Links,
    lines: npt.NDArray[np.object_],
    ends: npt.NDArray[np.float64],
    *,
    direction: str,
) -> list[Finding]:
    """List lines that elevations leave open, and junctions where directions contradict each other."""
    turned, untold = turn_by_elevation(reaches)
    rows = []
    if direction == "check" and not untold.all():  # otherwise elevations are not asked
        fix = "see whether it flows as drawn; if not, turn it round"
        note = "the elevations at both ends are equal or not known; the line is taken to be drawn downstream"
        rows = [
            Finding("direction unclear", "notice", str(network.ids[row]), note, fix, point_on(lines[row]))
            for row in np.flatnonzero(untold & ~np.isnan(ends[:, 0, 0]))
        ]
    return rows + _find_contradictions(network.ids, links, ends, turned & network.runs_upstream)


def _find_contradictions(
    ids: npt.NDArray[np.object_],
    links: Links,
    ends: npt.NDArray[np.float64],
    turned: npt.NDArray[np.bool_],
) -> list[Finding]:
    """List junctions that all lines leave, or that all arrive at."""
    nodes, rows = links.nodes, []
    if nodes is None:
        return []
    upper, lower = (np.where(turned[:, None], ends[:, 1 - k], ends[:, k]) for k in (0, 1))
    fix = "turn round what is drawn the wrong way; nothing, if this is a spring, a divide or an outlet"
    all_leave, all_arrive = find_odd_junctions(nodes)
    sides = (
        (all_leave, "leave it, and none arrives", nodes.upper, upper),
        (all_arrive, "arrive, and none leaves it", nodes.lower, lower),
    )
    for odd, words, node, place in sides:
        meeting = np.flatnonzero(odd[node] & ~np.isnan(place[:, 0]))
        by_node = meeting[np.argsort(node[meeting], kind="stable")]
        for group in np.split(by_node, np.flatnonzero(np.diff(node[by_node])) + 1):
            if len(group):
                note = f"{len(group)} lines meet here: as drawn, all {words}"
                point = point_at(place[group[0]])
                rows.append(Finding("direction unclear", "notice", _join(ids[group]), note, fix, point))
    return rows
