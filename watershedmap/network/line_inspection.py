"""What is odd about lines: ends that nearly meet, gaps, duplicates, lines against the flow, loops.

Near misses are looked for among places where lines end: at least one of the two places has a single end,
and no reach at one of them is, or flows into, a reach at the other. An end beside a line is one that meets
no other end and lies within the distance of the middle part of a line; where the flow is known, only ends
of reaches that flow nowhere are looked at. A gap is measured from a reach to the line that it flows into,
so that a tributary that joins a line between its ends has none. Duplicates have the same vertices, in the
same or in the opposite direction.

Known bias: two springs on both sides of a divide can be a near miss. Lines that run beside each other with
other vertices are not found to be duplicates. The point of a line that is nearest to another is found in
degrees, so at high latitudes a gap can be measured a little too wide.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pandas as pd
import shapely

from watershedmap.network.findings import Finding
from watershedmap.network.lines import measure_m
from watershedmap.network.nodes import EARTH_RADIUS_M, find_near_pairs, join_ends, to_sphere

if TYPE_CHECKING:
    import numpy.typing as npt

    from watershedmap.network.edges import Edges
    from watershedmap.network.nodes import Nodes
    from watershedmap.network.topology import Network


def inspect_lines(
    network: Network,
    edges: Edges,
    lines: npt.NDArray[np.object_],
    ends: npt.NDArray[np.float64],
    *,
    near_miss_m: float,
    join_m: float,
) -> list[Finding]:
    """List what is odd about the lines of reaches.

    Parameters
    ----------
    network
        The network of the reaches.
    edges
        Which reach flows into which, cycles and all.
    lines, ends
        From `watershedmap.network.lines.merge_parts` and `find_ends`.
    near_miss_m
        Ends nearer than this that do not meet are a near miss; a gap is wider than this, metres.
    join_m
        Ends not farther apart than this meet, metres.

    Returns
    -------
    list of Finding
        Near misses, gaps, reversed, duplicate and crossing lines, and reaches without a line.
    """
    nodes = join_ends(ends, join_m=join_m)
    middle = shapely.line_interpolate_point(lines, 0.5, normalized=True)
    return [
        *_find_near_misses(network.ids, edges, nodes, ends, near_miss_m),
        *_find_beside(network, nodes, lines, ends, near_miss_m),
        *_find_gaps(network.ids, edges, lines, ends, near_miss_m),
        *_find_reversed(network, middle),
        *_find_duplicates(network.ids, nodes, lines, middle),
        *_find_crossing(network.ids, lines, middle),
        *_find_missing(network.ids, lines),
    ]


def _find_near_misses(
    ids: npt.NDArray[np.object_],
    edges: Edges,
    nodes: Nodes,
    ends: npt.NDArray[np.float64],
    near_miss_m: float,
) -> list[Finding]:
    """List places where lines end near each other without meeting, the nearest first."""
    size = max(nodes.upper.max(initial=-1), nodes.lower.max(initial=-1)) + 1
    place = np.full((size, 2), np.nan)
    place[nodes.lower], place[nodes.upper] = ends[:, 1], ends[:, 0]
    known = np.flatnonzero(~np.isnan(place[:, 0]))
    pairs = np.sort(known[find_near_pairs(place[known], near_miss_m)], axis=1)
    degree = np.bincount(np.concatenate([nodes.upper, nodes.lower]), minlength=size)
    pairs = pairs[(degree[pairs] == 1).any(axis=1)]
    pairs = pairs[~_are_linked(pairs, edges, nodes, size)]
    apart_m = measure_m(place[pairs[:, 0]], place[pairs[:, 1]])
    nearest = np.argsort(apart_m, kind="stable")
    pairs, apart_m = pairs[nearest], apart_m[nearest]
    fix = "let both lines end in the same point if they meet there; nothing, if they do not"
    at_node = _gather_lines(nodes, pairs, size)
    rows = []
    for (one, other), metres in zip(pairs.tolist(), apart_m.tolist(), strict=True):
        named = map(str, ids[sorted({*at_node[one], *at_node[other]})])
        note = f"ends of these lines lie {metres:.1f} m apart and do not meet"
        point = shapely.Point(place[[one, other]].mean(axis=0))
        rows.append(Finding("near miss", "notice", "; ".join(named), note, fix, point))
    return rows


def _find_beside(
    network: Network,
    nodes: Nodes,
    lines: npt.NDArray[np.object_],
    ends: npt.NDArray[np.float64],
    near_miss_m: float,
) -> list[Finding]:
    """List ends that meet nothing and lie on or beside another line, away from its ends."""
    degree = np.bincount(np.concatenate([nodes.upper, nodes.lower]))
    lone = np.stack([degree[nodes.upper], degree[nodes.lower]], axis=1) == 1
    if network.has_flow:  # only the lower end of what flows nowhere is odd
        lone &= np.stack([network.runs_upstream, ~network.runs_upstream], axis=1)
        lone &= ((network.main_down < 0) & ~network.leaves_layer)[:, None]
    row, side = np.nonzero(lone & ~np.isnan(ends[:, :, 0]))
    if not len(row):
        return []
    place = ends[row, side]
    narrow = np.cos(np.radians(place[:, 1])).clip(0.01)
    points = np.asarray(shapely.points(place), dtype=object)
    within_deg = np.degrees(1.01 * near_miss_m / EARTH_RADIUS_M) / narrow
    found, other = shapely.STRtree(lines).query(points, predicate="dwithin", distance=within_deg)
    between = shapely.shortest_line(lines[other], points[found])
    nearest = shapely.get_coordinates(between).reshape(-1, 2, 2)[:, 0]
    apart_m = measure_m(place[found], nearest)
    from_ends_m = np.minimum(*(measure_m(nearest, ends[other, end]) for end in (0, 1)))
    odd = (other != row[found]) & (apart_m <= near_miss_m) & (from_ends_m > near_miss_m)
    fix = "cut the other line there, so that both meet in a point; nothing, if they do not meet"
    ids = network.ids
    return [
        Finding(
            "end beside a line",
            "notice",
            f"{ids[row[found[k]]]}; {ids[other[k]]}",
            f"an end of the first lies {apart_m[k]:.1f} m from the middle part of the second",
            fix,
            points[found[k]],
        )
        for k in np.flatnonzero(odd)[np.lexsort((other[odd], found[odd]))]
    ]


def _are_linked(pairs: npt.NDArray[np.intp], edges: Edges, nodes: Nodes, size: int) -> npt.NDArray[np.bool_]:
    """Tell which pairs of nodes are the ends of one line, or of two of which one flows into the other."""
    ends = (nodes.upper, nodes.lower)
    looked_at = np.zeros(size, dtype=bool)
    looked_at[pairs] = True
    sides = [ends] + [(one[edges.up], other[edges.down]) for one in ends for other in ends]
    keys = []
    for one, other in sides:
        both = looked_at[one] & looked_at[other]
        low, high = np.minimum(one[both], other[both]), np.maximum(one[both], other[both])
        keys.append(low * size + high)
    return np.isin(pairs[:, 0] * size + pairs[:, 1], np.concatenate(keys))


def _gather_lines(nodes: Nodes, pairs: npt.NDArray[np.intp], size: int) -> dict[int, list[int]]:
    """Return the rows of the lines that end at each node of the pairs."""
    looked_at = np.zeros(size, dtype=bool)
    looked_at[pairs] = True
    at_node: dict[int, list[int]] = {}
    for node in (nodes.upper, nodes.lower):
        rows = np.flatnonzero(looked_at[node])
        for number, row in zip(node[rows].tolist(), rows.tolist(), strict=True):
            at_node.setdefault(number, []).append(row)
    return at_node


def _find_gaps(
    ids: npt.NDArray[np.object_],
    edges: Edges,
    lines: npt.NDArray[np.object_],
    ends: npt.NDArray[np.float64],
    near_miss_m: float,
) -> list[Finding]:
    """List reaches that lie far from what they flow into."""
    places = to_sphere(ends)
    between = places[edges.up][:, :, None] - places[edges.down][:, None]
    chord = np.linalg.norm(between, axis=-1).min(axis=(1, 2))
    far = np.flatnonzero(chord > near_miss_m)  # false where a line is missing
    up, down = edges.up[far], edges.down[far]
    nearest = shapely.get_coordinates(shapely.shortest_line(lines[up], lines[down])).reshape(-1, 2, 2)
    metres = measure_m(nearest[:, 0], nearest[:, 1])
    fix = "correct the id of the next reach, or draw the missing piece; nothing, if it is a tunnel or a lake"
    return [
        Finding(
            "gap along the flow",
            "notice",
            f"{ids[up[k]]}; {ids[down[k]]}",
            f"{ids[up[k]]} flows into {ids[down[k]]}, which lies {metres[k]:,.0f} m away",
            fix,
            shapely.Point(nearest[k, 0]),
        )
        for k in np.flatnonzero(metres > near_miss_m)
    ]


def _find_reversed(network: Network, middle: npt.NDArray[np.object_]) -> list[Finding]:
    """List lines drawn against the flow that the layer tells by other means."""
    note = "the line is drawn from its lower to its upper end; it is traced the right way all the same"
    fix = "nothing; turn it round in the layer if other programs are to use it"
    return [
        Finding("reversed line", "notice", str(network.ids[row]), note, fix, middle[row])
        for row in np.flatnonzero(network.runs_upstream)
    ]


def _find_duplicates(
    ids: npt.NDArray[np.object_],
    nodes: Nodes,
    lines: npt.NDArray[np.object_],
    middle: npt.NDArray[np.object_],
) -> list[Finding]:
    """List lines that are drawn twice; only lines between the same two nodes are compared."""
    low, high = np.minimum(nodes.upper, nodes.lower), np.maximum(nodes.upper, nodes.lower)
    keys = pd.DataFrame({"low": low, "high": high, "points": shapely.get_num_coordinates(lines)})
    rows = np.flatnonzero(keys.duplicated(keep=False).to_numpy() & ~shapely.is_missing(lines))
    drawn = pd.Series(shapely.to_wkb(shapely.normalize(lines[rows])), index=rows)
    found = drawn[drawn.duplicated(keep=False)]
    same_way = pd.Series(shapely.to_wkb(lines[found.index]), index=found.index)
    fix = "take out all but one; what flows into the others must be given to the one that stays"
    result = []
    for group in found.groupby(found, sort=False).groups.values():
        turned = same_way[group].duplicated(keep=False).sum() < len(group)
        note = f"{len(group)} reaches have the same line" + (
            ", not all in the same direction" if turned else ""
        )
        named = "; ".join(map(str, ids[group]))
        result.append(Finding("duplicate line", "notice", named, note, fix, middle[group[0]]))
    return result


def _find_crossing(
    ids: npt.NDArray[np.object_], lines: npt.NDArray[np.object_], middle: npt.NDArray[np.object_]
) -> list[Finding]:
    note = "the line crosses or touches itself"
    fix = "draw it again without the loop; its length counts the loop as it is"
    return [
        Finding("line crosses itself", "notice", str(ids[row]), note, fix, middle[row])
        for row in np.flatnonzero(~shapely.is_simple(lines) & ~shapely.is_missing(lines))
    ]


def _find_missing(ids: npt.NDArray[np.object_], lines: npt.NDArray[np.object_]) -> list[Finding]:
    """List reaches without a line, unless the whole layer has none."""
    missing = shapely.is_missing(lines)
    if missing.all():
        return []
    note, fix = "this reach has no line, so no map shows it", "draw it in the layer"
    return [Finding("no line", "notice", str(ids[row]), note, fix, None) for row in np.flatnonzero(missing)]
