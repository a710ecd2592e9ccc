"""The topology of a stream layer: which reach flows into which.

It comes from one of three sources: the id of the next reach downstream, the names of the nodes a reach goes
from and to, or the ends of the lines themselves (`watershedmap.network.nodes`).

At a divergence a reach flows into several others. Its outflow is then taken to be shared equally, and the
branch that stands first in the layer is taken for the main one. Both are conventions of this package; a
layer of lines does not say how water is shared.

Known bias: a ditch that leaves a river counts like half of the river until both meet again.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

import numpy as np

from watershedmap.network import reports
from watershedmap.network.distance import line_length_km
from watershedmap.network.edges import (
    Edges,
    drop_cycles,
    drop_self_flow,
    label_components,
    link_ids,
    link_nodes,
    sort_topologically,
)
from watershedmap.network.lines import find_ends, is_in_parts, merge_parts
from watershedmap.network.nodes import Nodes, check_direction, join_ends, read_nodes, to_sphere

if TYPE_CHECKING:
    import geopandas as gpd
    import numpy.typing as npt

    from watershedmap.errors import Fault

Source = Literal["downstream_id", "nodes", "line_ends"]

SOURCES: tuple[Source, ...] = ("downstream_id", "nodes", "line_ends")
"""Where topology can come from; the first that the columns allow is taken."""
DIRECTIONS = ("check", "drawn", "unknown")
"""How far the drawn direction of lines can be believed."""

_COLUMNS: dict[Source, tuple[str, ...]] = {
    "downstream_id": ("downstream_id",),
    "nodes": ("from_node", "to_node"),
    "line_ends": (),
}


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Network:
    """Reaches and the flow between them; arrays are by reach, in the order of the layer, or by edge."""

    ids: npt.NDArray[np.object_]
    """Id of each reach, text."""
    length_km: npt.NDArray[np.float64]
    """Geodesic length of each reach, kilometres; 0 for one without a line."""
    edge_up: npt.NDArray[np.intp]
    """Row of the reach that flows out of each edge's upper side; edges stand in topological order."""
    edge_down: npt.NDArray[np.intp]
    """Row of the reach that each edge flows into."""
    edge_share: npt.NDArray[np.float64]
    """Share of the upper reach's outflow that takes each edge; the shares of one reach sum to 1."""
    main_down: npt.NDArray[np.intp]
    """Row of the next reach downstream, the main branch at a divergence; -1 where the layer has none."""
    leaves_layer: npt.NDArray[np.bool_]
    """Whether a reach names a next one that is not in the layer."""
    order: npt.NDArray[np.intp]
    """Rows of all reaches in a topological order, upstream first."""
    runs_upstream: npt.NDArray[np.bool_]
    """Whether the line of a reach is drawn from its lower to its upper end."""
    has_flow: bool
    """Whether the direction of flow is known; without it there are no edges."""

    def __post_init__(self) -> None:
        """Check that the arrays belong together."""
        size, edges = len(self.ids), len(self.edge_up)
        by_reach = (self.length_km, self.main_down, self.leaves_layer, self.order, self.runs_upstream)
        if any(len(array) != size for array in by_reach):
            raise ValueError("every array by reach must have one entry for each id")
        if len(self.edge_down) != edges or len(self.edge_share) != edges:
            raise ValueError("every array by edge must have one entry for each edge")
        if edges and not self.has_flow:
            raise ValueError("a network without a known direction of flow has no edges")
        rank = rank_of(self.order)
        if (rank[self.edge_up] >= rank[self.edge_down]).any():
            raise ValueError("the order must put every reach after those that flow into it")
        if (np.diff(rank[self.edge_up]) < 0).any():
            raise ValueError("edges must stand in the order of their upper reaches")


def build_network(
    reaches: gpd.GeoDataFrame,
    *,
    source: Source | None = None,
    direction: str = "check",
    join_m: float = 1.0,
    file: str = "reaches",
) -> tuple[Network, list[Fault]]:
    """Build the network of a stream layer and report what is wrong with it.

    Parameters
    ----------
    reaches
        On a RangeIndex: reach_id (unique text), the line in longitude and latitude or None, and
        downstream_id (missing at an outlet) or from_node and to_node where the layer has them.
    source
        What the topology is taken from; None for the first of the three that the columns allow.
    direction
        Only where it comes from line ends: `drawn` takes lines as drawn downstream, `unknown` does not,
        `check` does so when at least 80 % of the junctions look like confluences.
    join_m
        Only where it comes from line ends: ends not farther apart than this meet, metres.
    file
        Name of the layer for the report.

    Returns
    -------
    Network
        Free of cycles: the edges inside a cycle are left out, and the cycle is reported.
    list of Fault
        Cycles and reaches that flow into themselves are faults; the rest are notices.

    Raises
    ------
    ValueError
        When the columns that the source needs are not there, or `direction` is none of the three.
    """
    if direction not in DIRECTIONS:
        raise ValueError(f"direction must be one of {', '.join(DIRECTIONS)}, not {direction!r}")
    chosen = _choose_source(reaches, source)
    ids = reaches["reach_id"].to_numpy(dtype=object)
    lines = merge_parts(reaches.geometry)
    ends = find_ends(lines)
    found = reports.report_lines(ids, missing=np.isnan(ends[:, 0, 0]), in_parts=is_in_parts(lines), file=file)
    if chosen == "downstream_id":
        links = _link_by_ids(reaches, ids, file)
    elif chosen == "nodes":
        links = _link_by_nodes(read_nodes(reaches))
    else:
        links = _link_by_ends(ends, direction, join_m, file)
    edges, own = drop_self_flow(links.edges)
    edges, cycles = drop_cycles(edges, len(ids))
    found += links.found + reports.report_cycles(ids, own, cycles, from_ends=chosen == "line_ends", file=file)
    as_drawn = chosen == "line_ends"
    network = _assemble(ids, line_length_km(lines), edges, links, None if as_drawn else ends)
    return network, found + _report_shape(network, links, file)


def rank_of(order: npt.NDArray[np.intp]) -> npt.NDArray[np.intp]:
    """Return the place of each row in an order of rows."""
    rank = np.empty(len(order), dtype=np.intp)
    rank[order] = np.arange(len(order))
    return rank


def find_reversed(
    edges: Edges, main_down: npt.NDArray[np.intp], ends: npt.NDArray[np.float64]
) -> npt.NDArray[np.bool_]:
    """Tell which lines are drawn against the flow.

    The lower end of a reach is the one nearer to an end of the next reach downstream. Where there is none,
    or both ends are equally near, the upper end is the one nearer to a reach that flows in. Where that
    does not tell either, the line is taken as drawn downstream.

    Parameters
    ----------
    edges
        Which reach flows into which.
    main_down
        Row of the next reach downstream, -1 for none.
    ends
        Shape (reaches, 2, 2), as from `watershedmap.network.lines.find_ends`.

    Returns
    -------
    numpy.ndarray
        True where the line starts at the lower end.
    """
    places = to_sphere(ends)
    to_lower = np.full((len(ends), 2), np.inf)  # from the start and the end of each line
    has_lower = np.flatnonzero(main_down >= 0)
    to_lower[has_lower] = _gaps(places[has_lower], places[main_down[has_lower]])
    to_upper = np.full((len(ends), 2), np.inf)
    np.minimum.at(to_upper, edges.down, _gaps(places[edges.down], places[edges.up]))
    told = to_lower[:, 0] != to_lower[:, 1]
    return np.where(told, to_lower[:, 0] < to_lower[:, 1], to_upper[:, 1] < to_upper[:, 0])


def _gaps(one: npt.NDArray[np.float64], other: npt.NDArray[np.float64]) -> npt.NDArray[np.float64]:
    """Measure from both ends of one line to the nearer end of the other; infinite when a line is missing."""
    gaps = np.linalg.norm(one[:, :, None] - other[:, None], axis=-1)
    nearer: npt.NDArray[np.float64] = np.where(np.isnan(gaps), np.inf, gaps).min(axis=-1)
    return nearer


@dataclass(frozen=True, slots=True, eq=False)
class _Links:
    """What one source says of the topology."""

    edges: Edges
    """As the source has them, cycles and all."""
    leaves_layer: npt.NDArray[np.bool_]
    """Whether a reach names a next one that is not in the layer."""
    nodes: Nodes | None
    """The nodes, where the source has them."""
    has_flow: bool
    """Whether the direction of flow is known."""
    found: list[Fault]
    """What is to be said about it."""


def _choose_source(reaches: gpd.GeoDataFrame, source: Source | None) -> Source:
    present = set(reaches.columns)
    if source is None:
        return next(name for name in SOURCES if present.issuperset(_COLUMNS[name]))
    missing = sorted(set(_COLUMNS[source]) - present)
    if missing:
        raise ValueError(f"source {source} needs columns that are not there: {', '.join(missing)}")
    return source


def _link_by_ids(reaches: gpd.GeoDataFrame, ids: npt.NDArray[np.object_], file: str) -> _Links:
    edges, leaves_layer = link_ids(ids, reaches["downstream_id"])
    names = reaches["downstream_id"][leaves_layer].tolist()
    found = reports.report_leaving(names, file=file)
    return _Links(edges=edges, leaves_layer=leaves_layer, nodes=None, has_flow=True, found=found)


def _link_by_nodes(nodes: Nodes) -> _Links:
    nowhere = np.zeros(len(nodes.upper), dtype=bool)
    return _Links(edges=link_nodes(nodes), leaves_layer=nowhere, nodes=nodes, has_flow=True, found=[])


def _link_by_ends(ends: npt.NDArray[np.float64], direction: str, join_m: float, file: str) -> _Links:
    nodes = join_ends(ends, join_m=join_m)
    check = check_direction(nodes)
    has_flow = direction == "drawn" or (direction == "check" and check.believed)
    none = np.zeros(0, dtype=np.intp)
    return _Links(
        edges=link_nodes(nodes) if has_flow else Edges(up=none, down=none),
        leaves_layer=np.zeros(len(ends), dtype=bool),
        nodes=nodes,
        has_flow=has_flow,
        found=reports.report_direction(check, asked=direction, believed=has_flow, file=file),
    )


def _assemble(
    ids: npt.NDArray[np.object_],
    length_km: npt.NDArray[np.float64],
    edges: Edges,
    links: _Links,
    ends: npt.NDArray[np.float64] | None,
) -> Network:
    """Put edges into topological order and derive the rest; without ends, lines are drawn downstream."""
    size = len(ids)
    order = sort_topologically(edges, size)
    by_rank = np.lexsort([edges.down, rank_of(order)[edges.up]])
    up, down = edges.up[by_rank], edges.down[by_rank]
    main_down = np.full(size, -1, dtype=np.intp)
    branches, first = np.unique(up, return_index=True)
    main_down[branches] = down[first]
    backwards = np.zeros(size, dtype=bool) if ends is None else find_reversed(edges, main_down, ends)
    return Network(
        ids=ids,
        length_km=np.nan_to_num(length_km, nan=0.0),
        edge_up=up,
        edge_down=down,
        edge_share=1.0 / np.bincount(up, minlength=size)[up],
        main_down=main_down,
        leaves_layer=links.leaves_layer,
        order=order,
        runs_upstream=backwards,
        has_flow=links.has_flow,
    )


def _report_shape(network: Network, links: _Links, file: str) -> list[Fault]:
    """Report divergences and what does not hang together; nothing when the direction is unknown."""
    if not network.has_flow:
        return []
    size = len(network.ids)
    if links.nodes is None:
        component = label_components(network.edge_up, network.edge_down, size)
    else:
        upper, lower = links.nodes.upper, links.nodes.lower
        component = label_components(upper, lower, max(upper.max(initial=-1), lower.max(initial=-1)) + 1)[
            upper
        ]
    diverging = np.bincount(network.edge_up, minlength=size) > 1
    outlets = int((network.main_down < 0).sum())
    return [
        *reports.report_divergences(network.ids[diverging], file=file),
        *reports.report_components(np.bincount(component), outlets=outlets, file=file),
    ]
