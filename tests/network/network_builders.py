"""Small layers and networks for the tests of this folder."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import geopandas as gpd
import networkx as nx
import numpy as np
import pandas as pd
import shapely
from hypothesis import strategies as st
from pyproj import Geod

from watershedmap.network.topology import Network, build_network

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

GEOD = Geod(ellps="WGS84")


def layer_of_ids(
    downstream: Mapping[str, str | None], lines: Sequence[object] | None = None
) -> gpd.GeoDataFrame:
    """Make a layer from the next id of each id."""
    geometry = np.full(len(downstream), None) if lines is None else lines
    columns = {
        "reach_id": list(downstream),
        "downstream_id": pd.Series(list(downstream.values()), dtype="str"),
    }
    return gpd.GeoDataFrame(columns, geometry=geometry, crs="EPSG:4326")


def layer_of_nodes(
    pairs: Sequence[tuple[str, str]], lines: Sequence[object] | None = None
) -> gpd.GeoDataFrame:
    """Make a layer of reaches r0, r1, ... from the names of their nodes."""
    geometry = np.full(len(pairs), None) if lines is None else lines
    columns = {
        "reach_id": [f"r{row}" for row in range(len(pairs))],
        "from_node": [pair[0] for pair in pairs],
        "to_node": [pair[1] for pair in pairs],
    }
    return gpd.GeoDataFrame(columns, geometry=geometry, crs="EPSG:4326")


def layer_of_lines(*lines: object) -> gpd.GeoDataFrame:
    """Make a layer that has nothing but lines, given as geometries or as lists of points."""
    shapes = [shapely.LineString(line) if isinstance(line, list) else line for line in lines]
    columns = {"reach_id": [f"r{row}" for row in range(len(lines))]}
    return gpd.GeoDataFrame(columns, geometry=np.array(shapes, dtype=object), crs="EPSG:4326")


def points_of(*places: tuple[float, float], **columns: object) -> gpd.GeoDataFrame:
    """Make a table of sites s0, s1, ..."""
    names = {"site_id": [f"s{row}" for row in range(len(places))], **columns}
    longitude, latitude = zip(*places, strict=True)
    return gpd.GeoDataFrame(names, geometry=gpd.points_from_xy(longitude, latitude), crs="EPSG:4326")


def with_lengths(layer: gpd.GeoDataFrame, length_km: Sequence[float]) -> Network:
    """Build a network and give its reaches lengths, for layers without lines."""
    network, _ = build_network(layer)
    return replace(network, length_km=np.asarray(length_km, dtype=float))


def row(network: Network, name: str) -> int:
    """Return the row of a reach."""
    return int(np.flatnonzero(network.ids == name)[0])


@st.composite
def trees(draw: st.DrawFn, *, most: int = 14) -> gpd.GeoDataFrame:
    """Draw layers whose reaches each flow into at most one other, in shuffled order."""
    size = draw(st.integers(1, most))
    lower = [None if number == 0 else draw(st.integers(-1, number - 1)) for number in range(size)]
    names = draw(st.permutations([f"r{number}" for number in range(size)]))
    links = {names[n]: None if low is None or low < 0 else names[low] for n, low in enumerate(lower)}
    return layer_of_ids({name: links[name] for name in draw(st.permutations(names))})


@st.composite
def acyclic_layers(draw: st.DrawFn, *, most: int = 14) -> gpd.GeoDataFrame:
    """Draw layers with confluences, divergences and parallel branches, without cycles."""
    nodes = draw(st.integers(2, 8))
    pair = st.tuples(st.integers(0, nodes - 1), st.integers(0, nodes - 1)).filter(
        lambda two: two[0] != two[1]
    )
    pairs = draw(st.lists(pair, min_size=1, max_size=most))
    return layer_of_nodes([(f"n{min(two)}", f"n{max(two)}") for two in pairs])


@st.composite
def lengths_of(draw: st.DrawFn, size: int) -> list[float]:
    """Draw lengths in half kilometres, so that sums are exact."""
    return [draw(st.integers(1, 12)) / 2 for _ in range(size)]


def flow_graph(layer: gpd.GeoDataFrame) -> nx.DiGraph:
    """Make the graph of rows that flow into rows, independently of the code under test."""
    graph = nx.DiGraph()
    graph.add_nodes_from(range(len(layer)))
    if "downstream_id" in layer:
        rows = {name: number for number, name in enumerate(layer["reach_id"])}
        named = layer["downstream_id"].dropna()
        graph.add_edges_from((number, rows[name]) for number, name in named.items())
    else:
        for up, end in enumerate(layer["to_node"]):
            graph.add_edges_from((up, down) for down, begin in enumerate(layer["from_node"]) if begin == end)
    return graph


def end_graph(graph: nx.DiGraph, length_km: Sequence[float]) -> nx.DiGraph:
    """Make the graph of ends of reaches, weighted by kilometres along the flow."""
    ends = nx.DiGraph()
    for reach in graph:
        ends.add_edge(("upper", reach), ("lower", reach), weight=length_km[reach])
    ends.add_weighted_edges_from((("lower", up), ("upper", down), 0.0) for up, down in graph.edges)
    return ends
