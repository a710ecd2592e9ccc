"""The topology of a stream layer: which reach flows into which.

It comes from the first of four sources that the layer has (`watershedmap.network.linking`). A cycle is cut
nowhere: its reaches are told, and have no edges. At a divergence the outflow is shared
(`watershedmap.network.divergence`), and the branch with the largest share is the main one; of equals, the one
that stands first in the layer.

Known bias: with equal shares, the default, a ditch that leaves a river counts like half of the river until
both meet again.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from watershedmap.network import reports, reports_topology
from watershedmap.network.distance import line_length_km
from watershedmap.network.divergence import RULES, Shares, share_outflow
from watershedmap.network.edges import (
    Edges,
    Neighbours,
    drop_self_flow,
    drop_touching,
    find_cycles,
    find_neighbours,
    label_components,
)
from watershedmap.network.levels import Levels, sort_levels
from watershedmap.network.lines import find_ends, is_in_parts, merge_parts
from watershedmap.network.linking import DIRECTIONS, SOURCES, Links, Source, choose_source, link_reaches
from watershedmap.network.nodes import to_sphere

if TYPE_CHECKING:
    import geopandas as gpd
    import numpy.typing as npt
    import pandas as pd

    from watershedmap.errors import Fault

__all__ = ["CYCLES", "DIRECTIONS", "SOURCES", "Network", "Source", "build_network", "find_reversed"]

CYCLES = ("stop", "leave_out")
"""What is done about cycles: they are faults, or they are noticed and left out of tracing."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Network:
    """Reaches and the flow between them; arrays are by reach, in the order of the layer, or by edge."""

    ids: npt.NDArray[np.object_]
    """Id of each reach, text."""
    length_km: npt.NDArray[np.float64]
    """Geodesic length of each reach, kilometres; without a line that of the layer's column, or 0."""
    area_km2: npt.NDArray[np.float64]
    """Own drainage area of each reach as the layer has it, square kilometres; NaN for none."""
    edge_up: npt.NDArray[np.intp]
    """Row of the reach that flows out of each edge's upper side; edges stand in topological order."""
    edge_down: npt.NDArray[np.intp]
    """Row of the reach that each edge flows into; edges into one reach follow each other."""
    edge_share: npt.NDArray[np.float64]
    """Share of the upper reach's outflow that takes each edge; the shares of one reach sum to 1."""
    main_down: npt.NDArray[np.intp]
    """Row of the next reach downstream, the main branch at a divergence; -1 where the layer has none."""
    leaves_layer: npt.NDArray[np.bool_]
    """Whether a reach names a next one that is not in the layer."""
    in_cycle: npt.NDArray[np.bool_]
    """Whether a reach lies in a cycle, or flows into itself; it has no edges then."""
    enters_cycle: npt.NDArray[np.bool_]
    """Whether a reach flows into one that lies in a cycle; where it goes from there is not known."""
    runs_upstream: npt.NDArray[np.bool_]
    """Whether the line of a reach is drawn from its lower to its upper end."""
    has_flow: bool
    """Whether the direction of flow is known; without it there are no edges."""
    levels: Levels
    """The reaches in levels, which passes over the whole network walk through."""
    above: Neighbours
    """The reaches that flow into each reach."""
    below: Neighbours
    """The reaches that each reach flows into."""

    @property
    def order(self) -> npt.NDArray[np.intp]:
        """Rows of all reaches in a topological order, upstream first."""
        return self.levels.order

    def __post_init__(self) -> None:
        """Check that the arrays belong together."""
        size, edges = len(self.ids), len(self.edge_up)
        flags = (self.leaves_layer, self.in_cycle, self.enters_cycle, self.runs_upstream)
        by_reach = (self.length_km, self.area_km2, self.main_down, self.order, *flags)
        if any(len(array) != size for array in by_reach):
            raise ValueError("every array by reach must have one entry for each id")
        if len(self.edge_down) != edges or len(self.edge_share) != edges:
            raise ValueError("every array by edge must have one entry for each edge")
        if edges and not self.has_flow:
            raise ValueError("a network without a known direction of flow has no edges")
        levels = self.levels
        if not (
            np.array_equal(levels.edge_up, self.edge_up) and np.array_equal(levels.edge_down, self.edge_down)
        ):
            raise ValueError("edges must be those of the levels, in their order")


def build_network(
    reaches: gpd.GeoDataFrame,
    *,
    source: Source | None = None,
    direction: str = "check",
    join_m: float = 1.0,
    cycles: str = "stop",
    divergence: str = "equal",
    file: str = "reaches",
) -> tuple[Network, list[Fault]]:
    """Build the network of a stream layer and report what is wrong with it.

    Parameters
    ----------
    reaches
        On a RangeIndex: reach_id (unique text), the line in longitude and latitude or None; where the layer
        has them downstream_id (missing at an outlet), from_node and to_node, nested_code, share, area_km2,
        upstream_area_km2, length_km, stream_order, start_elevation_m and end_elevation_m.
    source
        What the topology is taken from; None for the first of the four that the columns allow.
    direction
        Only where it comes from line ends: `drawn` takes lines as drawn downstream, `unknown` does not,
        `check` turns lines by their elevations, and believes the direction when elevations tell it of at
        least 80 % of the lines, or at least 80 % of the junctions look like confluences.
    join_m
        Only where it comes from line ends: ends not farther apart than this meet, metres.
    cycles
        `stop` reports them as faults, `leave_out` as notices; the network is the same.
    divergence
        How outflow is shared where the layer gives no shares: `equal`, or all of it down the branch with
        the largest upstream `area` or the highest `order`.
    file
        Name of the layer for the report.

    Returns
    -------
    Network
        Free of cycles: their reaches have no edges. Totals are NaN at these reaches, and their order is 0.
    list of Fault
        Cycles and reaches that flow into themselves (unless left out) and repeated nested codes are faults;
        the rest are notices.

    Raises
    ------
    ValueError
        When the columns that the source needs are not there, or an argument is none of its words.
    """
    for name, word, words in (
        ("direction", direction, DIRECTIONS),
        ("cycles", cycles, CYCLES),
        ("divergence", divergence, RULES),
    ):
        if word not in words:
            raise ValueError(f"{name} must be one of {', '.join(words)}, not {word!r}")
    chosen = choose_source(reaches, source)
    ids = reaches["reach_id"].to_numpy(dtype=object)
    lines = merge_parts(reaches.geometry)
    ends = find_ends(lines)
    length_km, found = _measure(reaches, ids, lines, file)
    links = link_reaches(reaches, ids, ends, chosen, direction=direction, join_m=join_m, file=file)
    levels, in_cycle, of_cycles = _sort(links.edges, ids, from_ends=chosen == "line_ends", file=file)
    found += links.found + (of_cycles if cycles == "stop" else reports_topology.leave_out(of_cycles))
    shares = share_outflow(levels, reaches, rule=divergence)
    network = _assemble(
        levels,
        shares,
        links,
        ids=ids,
        length_km=length_km,
        area_km2=_column(reaches, "area_km2"),
        in_cycle=in_cycle,
        ends=ends,
    )
    found += reports_topology.report_shares(ids, shares, rule=divergence, file=file)
    return network, found + _report_components(network, links, file)


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
    gaps = _gaps(places[edges.down], places[edges.up])
    for side in (0, 1):
        np.minimum.at(to_upper[:, side], edges.down, gaps[:, side])
    told = to_lower[:, 0] != to_lower[:, 1]
    return np.where(told, to_lower[:, 0] < to_lower[:, 1], to_upper[:, 1] < to_upper[:, 0])


def _gaps(one: npt.NDArray[np.float64], other: npt.NDArray[np.float64]) -> npt.NDArray[np.float64]:
    """Square the ways from both ends of one line to the nearer end of the other; infinite without a line."""
    apart = one[:, :, None] - other[:, None]
    gaps = np.einsum("...k,...k->...", apart, apart)
    nearer: npt.NDArray[np.float64] = np.where(np.isnan(gaps), np.inf, gaps).min(axis=-1)
    return nearer


def _measure(
    reaches: gpd.GeoDataFrame, ids: npt.NDArray[np.object_], lines: npt.NDArray[np.object_], file: str
) -> tuple[npt.NDArray[np.float64], list[Fault]]:
    """Return the length of each reach, and notices about lines that are missing or in parts."""
    measured = line_length_km(lines)
    given = _column(reaches, "length_km")
    missing = np.isnan(measured)
    taken = missing & (given >= 0)
    found = reports.report_lines(ids, missing=missing & ~taken, in_parts=is_in_parts(lines), file=file)
    found += reports_topology.report_given_lengths(ids[taken], file=file)
    return np.select([taken, missing], [given, 0.0], measured), found


def _column(reaches: pd.DataFrame, name: str) -> npt.NDArray[np.float64]:
    """Return a column of numbers, all missing where the layer does not have it."""
    if name not in reaches:
        return np.full(len(reaches), np.nan)
    return reaches[name].to_numpy(dtype=float, na_value=np.nan)


def _sort(
    edges: Edges, ids: npt.NDArray[np.object_], *, from_ends: bool, file: str
) -> tuple[Levels, npt.NDArray[np.bool_], list[Fault]]:
    """Sort reaches into levels; those in cycles lose their edges and are reported."""
    size = len(ids)
    edges, own = drop_self_flow(edges)
    in_cycle = np.zeros(size, dtype=bool)
    in_cycle[own] = True
    levels, cycles = sort_levels(edges, size), []
    if len(levels.order) < size:
        cycles = find_cycles(edges, size)
        in_cycle[[row for cycle in cycles for row in cycle]] = True
    if in_cycle.any():
        levels = sort_levels(drop_touching(edges, in_cycle), size)
    return levels, in_cycle, reports.report_cycles(ids, own, cycles, from_ends=from_ends, file=file)


def _assemble(
    levels: Levels,
    shares: Shares,
    links: Links,
    *,
    ids: npt.NDArray[np.object_],
    length_km: npt.NDArray[np.float64],
    area_km2: npt.NDArray[np.float64],
    in_cycle: npt.NDArray[np.bool_],
    ends: npt.NDArray[np.float64],
) -> Network:
    """Put the parts together; where the source does not tell which lines run upstream, their ends do."""
    size, edges = len(ids), Edges(up=levels.edge_up, down=levels.edge_down)
    into = in_cycle[links.edges.down] & ~in_cycle[links.edges.up]
    enters_cycle = np.zeros(size, dtype=bool)
    enters_cycle[links.edges.up[into]] = True
    backwards = links.runs_upstream
    return Network(
        ids=ids,
        length_km=length_km,
        area_km2=area_km2,
        edge_up=edges.up,
        edge_down=edges.down,
        edge_share=shares.share,
        main_down=shares.main_down,
        leaves_layer=links.leaves_layer,
        in_cycle=in_cycle,
        enters_cycle=enters_cycle,
        runs_upstream=find_reversed(edges, shares.main_down, ends) if backwards is None else backwards,
        has_flow=links.has_flow,
        levels=levels,
        above=find_neighbours(edges.down, edges.up, size),
        below=find_neighbours(edges.up, edges.down, size),
    )


def _report_components(network: Network, links: Links, file: str) -> list[Fault]:
    """Report what does not hang together; nothing when the direction is unknown."""
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
    outlets = int(((network.main_down < 0) & ~network.in_cycle & ~network.enters_cycle).sum())
    return reports.report_components(np.bincount(component), outlets=outlets, file=file)
