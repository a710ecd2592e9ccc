"""Order, Strahler and three sums on random trees, beside networkx and beside a copy of the same bytes, in one run.

The trees have as many levels as twice the root of their size, and ids in random order, which is the worst case
for memory; with `--local`, ids run depth first, as those of most layers do. Ours is what the package runs
for a network: `sort_levels`, `rank_branching` and `total_down`. networkx begins with the same arrays: it makes
its graph of them, sorts that, and walks the nodes with their attributes; it is left out above a million
reaches. The copy is of all arrays that ours reads and writes: the pairs, three columns in and out, the order.

The code is numpy, level by level, with a plain loop where levels are thin. In a trial a compiled loop took
1.4 s on the largest size: too little gained for a compiler among the dependencies, whose first call alone costs
more than a whole pass over a hundred thousand reaches.

Usage: python tests/bench/network.py [--local] [--sizes 10000 100000 1000000 8500000]
"""

from __future__ import annotations

import argparse
import math
import statistics
import sys
import time
import tracemalloc
from typing import TYPE_CHECKING

import networkx as nx
import numpy as np

from watershedmap.network.edges import Edges
from watershedmap.network.levels import rank_branching, sort_levels, total_down

if TYPE_CHECKING:
    from collections.abc import Callable

SIZES = (10_000, 100_000, 1_000_000, 8_500_000)
MOST_FOR_GRAPH = 1_000_000
REPEATS = 5
COLUMNS = 3


def time_median(task: Callable[[], object], *, repeats: int = REPEATS) -> float:
    """Time a task a few times, in seconds."""
    times = []
    for _ in range(repeats):
        before = time.perf_counter()
        task()
        times.append(time.perf_counter() - before)
    return statistics.median(times)


def grow_tree(size: int, *, local: bool) -> Edges:
    """Draw a tree whose levels widen and narrow again, each reach flowing into any of the level below."""
    rng = np.random.default_rng(1)
    place = np.linspace(0, 1, 2 * math.isqrt(size))
    width = np.maximum(1, (place * (1 - place) * 6 * size / len(place)).astype(np.int64))
    width[-1] += max(0, size - width.sum())
    start = np.concatenate([[0], np.cumsum(width)])
    level = np.repeat(np.arange(len(width)), width)[:size]
    up = np.arange(width[0], size, dtype=np.int64)
    below = level[up] - 1
    down = start[below] + (rng.random(len(up)) * width[below]).astype(np.int64)
    names = _number_depth_first(up, down, size) if local else rng.permutation(size)
    edges = np.stack([names[up], names[down]])[:, np.argsort(names[up], kind="stable")].astype(np.int32)
    return Edges(up=edges[0], down=edges[1])


def _number_depth_first(up: np.ndarray, down: np.ndarray, size: int) -> np.ndarray:
    """Give each reach a number that all reaches upstream of it follow without a gap."""
    levels = sort_levels(Edges(up=up, down=down), size)
    above = total_down(levels, np.ones(size), None).astype(np.int64).tolist()
    lower = np.full(size, -1, dtype=np.int64)
    lower[up] = down
    next_free, names, roots = [0] * size, [0] * size, 0
    for reach, low in zip(levels.order[::-1].tolist(), lower[levels.order[::-1]].tolist(), strict=True):
        if low < 0:
            names[reach], roots = roots, roots + above[reach]
        else:
            names[reach] = next_free[low]
            next_free[low] += above[reach]
        next_free[reach] = names[reach] + 1
    return np.array(names)


def run_ours(edges: Edges, local: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Sort, order, and total three columns."""
    levels = sort_levels(edges, local.shape[1])
    return rank_branching(levels, None), total_down(levels, local, None)


def run_graph(edges: Edges, local: np.ndarray) -> nx.DiGraph:
    """Do the same with networkx: make the graph, sort it, and work node by node."""
    graph = nx.DiGraph()
    columns = zip(*local.tolist(), strict=True)
    graph.add_nodes_from((node, {"totals": list(values)}) for node, values in enumerate(columns))
    graph.add_edges_from(zip(edges.up.tolist(), edges.down.tolist(), strict=True))
    for node in nx.topological_sort(graph):
        here, orders = graph.nodes[node], []
        for upper in graph.predecessors(node):
            above = graph.nodes[upper]
            orders.append(above["order"])
            here["totals"] = [own + more for own, more in zip(here["totals"], above["totals"], strict=True)]
        highest = max(orders, default=0)
        here["order"] = max(1, highest + (orders.count(highest) > 1))
    return graph


def run_networkx(edges: Edges, local: np.ndarray, ours: tuple[np.ndarray, np.ndarray]) -> float:
    """Time networkx, and check that it finds what we find."""
    seconds = []
    for _ in range(3 if local.shape[1] < MOST_FOR_GRAPH else 1):
        before = time.perf_counter()
        graph = run_graph(edges, local)
        seconds.append(time.perf_counter() - before)
    found = [data for _, data in sorted(graph.nodes(data=True), key=lambda node: node[0])]
    assert ours[0].tolist() == [data["order"] for data in found]
    np.testing.assert_allclose(ours[1].T, [data["totals"] for data in found], rtol=1e-9)
    return statistics.median(seconds)


def measure_gb(edges: Edges, columns: np.ndarray) -> float:
    """Measure the peak of all arrays, those that are given among them."""
    tracemalloc.start()
    run_ours(edges, columns)
    peak = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    return (peak + edges.up.nbytes + edges.down.nbytes + columns.nbytes) / 1e9


def bench(size: int, *, local: bool) -> float:
    """Print one line for one size; return the seconds that ours took."""
    edges = grow_tree(size, local=local)
    columns = np.random.default_rng(2).random((COLUMNS, size))
    order, totals = run_ours(edges, columns)
    levels = sort_levels(edges, size)
    given = (edges.up, edges.down, columns, order, totals)
    ours = time_median(lambda: run_ours(edges, columns))
    parts = [
        time_median(lambda: sort_levels(edges, size)),
        time_median(lambda: rank_branching(levels, None)),
        time_median(lambda: total_down(levels, columns, None)),
    ]
    copied = time_median(lambda: [array.copy() for array in given])
    line = f"{size:9d} {ours:8.4f} " + " ".join(f"{part:8.4f}" for part in parts)
    line += f" {copied:8.4f} {ours / copied:7.1f} {measure_gb(edges, columns):7.2f}"
    if size <= MOST_FOR_GRAPH:
        theirs = run_networkx(edges, columns, (order, totals))
        line += f" {theirs:9.3f} {theirs / ours:8.0f}"
    print(line, flush=True)
    return ours


def main() -> None:
    """Print a table, and the exponent of cost from the smallest to the largest size."""
    parser = argparse.ArgumentParser(description="Time the network core.")
    parser.add_argument("--sizes", type=int, nargs="+", default=SIZES)
    parser.add_argument("--local", action="store_true", help="number reaches depth first")
    options = parser.parse_args()
    print(
        f"{'reaches':>9s} {'ours s':>8s} {'order':>8s} {'Strahler':>8s} {'3 sums':>8s} {'copy s':>8s} "
        f"{'ratio':>7s} {'GB':>7s} {'networkx':>9s} {'times':>8s}"
    )
    seconds = [bench(size, local=options.local) for size in options.sizes]
    if len(seconds) > 1:
        slope = np.polyfit(np.log(options.sizes), np.log(seconds), 1)[0]
        last = math.log(seconds[-1] / seconds[-2]) / math.log(options.sizes[-1] / options.sizes[-2])
        print(f"cost exponent over all sizes {slope:.3f}, over the last two {last:.3f}")


if __name__ == "__main__":
    sys.exit(main())
