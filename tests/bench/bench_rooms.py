"""Our rooms beside the obvious alternative, in one run, at sizes 10 to 100 times the demo.

Medians of several runs; machines are noisy, so read the ratios.
Usage: python tests/bench/bench_rooms.py
"""

from __future__ import annotations

import statistics
import time
import warnings
from typing import TYPE_CHECKING

import geopandas as gpd
import networkx as nx
import numpy as np
import pandas as pd
import pymannkendall
import shapely
import skbio.diversity.alpha

from watershedmap.network.snapping import place_sites
from watershedmap.network.topology import build_network
from watershedmap.network.tracing import accumulate
from watershedmap.scoring.metrics import compute_metrics
from watershedmap.taxa.lookup import resolve
from watershedmap.trends.direction import trends_by

if TYPE_CHECKING:
    from collections.abc import Callable

REPEATS = 5


def median_seconds(task: Callable[[], object]) -> float:
    """Time a task a few times."""
    times = []
    for _ in range(REPEATS):
        before = time.perf_counter()
        task()
        times.append(time.perf_counter() - before)
    return statistics.median(times)


def compare(what: str, size: int, ours: Callable[[], object], other: Callable[[], object]) -> None:
    """Print both medians and their ratio."""
    mine, theirs = median_seconds(ours), median_seconds(other)
    print(f"{what:52s} {size:8d} {mine:9.3f} {theirs:9.3f} {theirs / mine:8.1f}", flush=True)


def random_tree(size: int) -> gpd.GeoDataFrame:
    """Draw a tree of short lines, each flowing into one of the few before it."""
    random = np.random.default_rng(1)
    ends = np.zeros((size, 2))
    down = np.zeros(size, dtype=int)
    for reach in range(1, size):
        down[reach] = random.integers(max(0, reach - 40), reach)
        ends[reach] = ends[down[reach]] + random.normal(scale=0.01, size=2)
    lines = shapely.linestrings(np.stack([ends + random.normal(scale=0.01, size=ends.shape), ends], axis=1))
    ids = [f"r{reach}" for reach in range(size)]
    downstream = [None, *(f"r{reach}" for reach in down[1:])]
    return gpd.GeoDataFrame({"reach_id": ids, "downstream_id": downstream}, geometry=lines, crs="EPSG:4326")


def accumulate_by_graph(graph: nx.DiGraph, local: np.ndarray) -> np.ndarray:
    """Total along a networkx graph, node by node in topological order."""
    total = local.copy()
    for node in nx.topological_sort(graph):
        for below in graph.successors(node):
            total[below] += total[node]
    return total


def bench_network(size: int) -> None:
    """Totals upstream, and sites placed on reaches."""
    layer = random_tree(size)
    network, _ = build_network(layer)
    graph = nx.DiGraph(zip(network.edge_up.tolist(), network.edge_down.tolist(), strict=True))
    graph.add_nodes_from(range(size))
    local = network.length_km
    compare(
        "total upstream: accumulate / networkx",
        size,
        lambda: accumulate(network, local),
        lambda: accumulate_by_graph(graph, local),
    )
    points = layer.geometry.interpolate(0.5, normalized=True).translate(1e-4).iloc[:: max(size // 1000, 1)]
    sites = gpd.GeoDataFrame(
        {"site_id": [f"s{number}" for number in range(len(points))]},
        geometry=points.to_numpy(),
        crs="EPSG:4326",
    )
    metric = layer.to_crs("EPSG:3857"), sites.to_crs("EPSG:3857")
    compare(
        "sites on reaches: place_sites / sjoin_nearest",
        len(sites),
        lambda: place_sites(sites, layer, network, within_m=200.0),
        lambda: metric[1].sjoin_nearest(metric[0], max_distance=200.0),
    )


def bench_trends(size: int) -> None:
    """Trends of many series of 15 years."""
    random = np.random.default_rng(2)
    frame = pd.DataFrame(
        {
            "site_id": np.repeat([f"s{number}" for number in range(size)], 15),
            "year": np.tile(np.arange(2011, 2026), size),
            "score": random.normal(5, 1, size * 15),
        }
    )
    series = frame["score"].to_numpy().reshape(size, 15)
    compare(
        "trends: trends_by / loop over pymannkendall",
        size,
        lambda: trends_by(frame, "site_id", better="low"),
        lambda: [pymannkendall.original_test(values) for values in series],
    )


def bench_metrics(size: int) -> None:
    """Metrics of many samples of 20 taxa."""
    random = np.random.default_rng(3)
    names = [
        "Baetidae",
        "Perlidae",
        "Chironomidae",
        "Simuliidae",
        "Elmidae",
        "Asellidae",
        "Oligochaeta",
        "Gammaridae",
    ]
    names += [
        "Heptageniidae",
        "Hydropsychidae",
        "Tipulidae",
        "Leuctridae",
        "Nemouridae",
        "Caenidae",
        "Ephemeridae",
    ]
    names += ["Psephenidae", "Physidae", "Corydalidae", "Philopotamidae", "Glossosomatidae"]
    counts = pd.DataFrame(
        {
            "sample_id": np.repeat([f"s{number}" for number in range(size)], len(names)),
            "taxon": np.tile(names, size),
            "count": random.integers(1, 60, size * len(names)),
        }
    )
    taxa = resolve(names)
    table = counts["count"].to_numpy().reshape(size, len(names))
    compare(
        "all metrics: compute_metrics / Shannon alone, scikit-bio",
        size,
        lambda: compute_metrics(counts, taxa),
        lambda: [skbio.diversity.alpha.shannon(row, base=np.e) for row in table],
    )


def main() -> None:
    """Print one line a comparison."""
    warnings.simplefilter("ignore")
    print(f"{'ours / alternative':52s} {'size':>8s} {'ours s':>9s} {'other s':>9s} {'ratio':>8s}")
    for size in (1_450, 14_500, 100_000):
        bench_network(size)
    for size in (280, 2_800):
        bench_trends(size)
    for size in (4_170, 41_700):
        bench_metrics(size)


if __name__ == "__main__":
    main()
