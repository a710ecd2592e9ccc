"""Links between reaches from the columns or the lines of a layer: four sources of one topology.

The id of the next reach downstream comes first, for it says what is meant; then the names of nodes, then
nested basin numbers (`watershedmap.network.nested`), then the ends of the lines
(`watershedmap.network.nodes`).

Lines alone do not say which way water goes. Where the layer gives the elevation of both ends, a line whose
end is the higher one is turned; lines with equal or missing elevations stay as drawn. Without elevations
the drawn direction is believed when the junctions look like confluences.

Known bias: an elevation taken from a coarse model can turn a flat reach the wrong way.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

import numpy as np

from watershedmap.network import reports, reports_topology
from watershedmap.network.edges import Edges, link_ids, link_nodes
from watershedmap.network.nested import link_codes
from watershedmap.network.nodes import (
    BELIEVED_SHARE,
    Nodes,
    check_direction,
    join_ends,
    read_nodes,
    turn_by_elevation,
)

if TYPE_CHECKING:
    import geopandas as gpd
    import numpy.typing as npt

    from watershedmap.errors import Fault

Source = Literal["downstream_id", "nodes", "nested_code", "line_ends"]

SOURCES: tuple[Source, ...] = ("downstream_id", "nodes", "nested_code", "line_ends")
"""Where topology can come from; the first that the columns allow is taken."""
DIRECTIONS = ("check", "drawn", "unknown")
"""How far the drawn direction of lines can be believed."""

_COLUMNS: dict[Source, tuple[str, ...]] = {
    "downstream_id": ("downstream_id",),
    "nodes": ("from_node", "to_node"),
    "nested_code": ("nested_code",),
    "line_ends": (),
}


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Links:
    """What one source says of the topology."""

    edges: Edges
    """As the source has them, cycles and all."""
    leaves_layer: npt.NDArray[np.bool_]
    """Whether a reach names a next one that is not in the layer."""
    nodes: Nodes | None = None
    """The nodes, where the source has them."""
    runs_upstream: npt.NDArray[np.bool_] | None = None
    """Whether each line is drawn against the flow, where the source tells."""
    has_flow: bool = True
    """Whether the direction of flow is known."""
    found: list[Fault]
    """What is to be said about it."""


def choose_source(reaches: gpd.GeoDataFrame, source: Source | None) -> Source:
    """Choose what the topology is taken from.

    Parameters
    ----------
    reaches
        The layer.
    source
        What was asked for; None for the first that the columns allow.

    Returns
    -------
    str
        One of `SOURCES`.

    Raises
    ------
    ValueError
        When the columns that it needs are not there.
    """
    present = set(reaches.columns)
    if source is None:
        return next(name for name in SOURCES if present.issuperset(_COLUMNS[name]))
    missing = sorted(set(_COLUMNS[source]) - present)
    if missing:
        raise ValueError(f"source {source} needs columns that are not there: {', '.join(missing)}")
    return source


def link_reaches(
    reaches: gpd.GeoDataFrame,
    ids: npt.NDArray[np.object_],
    ends: npt.NDArray[np.float64],
    source: Source,
    *,
    direction: str,
    join_m: float,
    file: str,
) -> Links:
    """Link reaches by what a source says.

    Parameters
    ----------
    reaches
        The layer, with the columns that the source needs.
    ids
        Id of each reach.
    ends
        Ends of the lines, as from `watershedmap.network.lines.find_ends`.
    source
        What to take the topology from.
    direction
        How far the drawn direction is believed; for line ends only.
    join_m
        Ends not farther apart than this meet, metres; for line ends only.
    file
        Name of the layer for the report.

    Returns
    -------
    Links
        Edges and what is to be said about them.
    """
    nowhere = np.zeros(len(reaches), dtype=bool)
    if source == "downstream_id":
        edges, leaves_layer = link_ids(ids, reaches["downstream_id"])
        names = reaches["downstream_id"][leaves_layer].tolist()
        return Links(edges=edges, leaves_layer=leaves_layer, found=reports.report_leaving(names, file=file))
    if source == "nodes":
        nodes = read_nodes(reaches)
        return Links(edges=link_nodes(nodes), leaves_layer=nowhere, nodes=nodes, found=[])
    if source == "nested_code":
        edges, unusable, repeated = link_codes(reaches["nested_code"])
        found = reports_topology.report_codes(ids, unusable=unusable, repeated=repeated, file=file)
        return Links(edges=edges, leaves_layer=nowhere, found=found)
    return _link_ends(reaches, ids, ends, direction=direction, join_m=join_m, file=file)


def _link_ends(
    reaches: gpd.GeoDataFrame,
    ids: npt.NDArray[np.object_],
    ends: npt.NDArray[np.float64],
    *,
    direction: str,
    join_m: float,
    file: str,
) -> Links:
    """Link lines by their ends, turned by their elevations where the drawn direction is in question."""
    size = len(ids)
    drawn = ~np.isnan(ends[:, 0, 0])
    turned, untold = (drawn & flag for flag in turn_by_elevation(reaches))
    if direction != "check":  # the survey says how lines are drawn, so elevations are not asked
        turned, untold = np.zeros(size, dtype=bool), drawn
    told = drawn.any() and 1.0 - untold.sum() / drawn.sum() >= BELIEVED_SHARE
    nodes = join_ends(np.where(turned[:, None, None], ends[:, ::-1], ends), join_m=join_m)
    check = check_direction(nodes)
    has_flow = direction == "drawn" or (direction == "check" and bool(told or check.believed))
    found = []
    if not told:
        found = reports.report_direction(check, asked=direction, believed=has_flow, file=file)
    if has_flow and (drawn & ~untold).any():
        found += reports_topology.report_elevations(ids, turned=turned, untold=untold, file=file)
    none = np.zeros(0, dtype=np.intp)
    return Links(
        edges=link_nodes(nodes) if has_flow else Edges(up=none, down=none),
        leaves_layer=np.zeros(size, dtype=bool),
        nodes=nodes,
        runs_upstream=turned & has_flow,
        has_flow=has_flow,
        found=found,
    )
