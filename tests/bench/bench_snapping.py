"""Placing sites on reaches beside the nearest-line join of geopandas, in one run.

`geopandas.sjoin_nearest` gives the nearest line and its planar distance in Web Mercator, and a row more for
each tie; `place_sites` gives the place on the line, geodesic offset and position, and marks what is in doubt.
Machines are noisy, so read the ratios. Peak memory is that of the whole script, layer included.
Usage: python tests/bench/bench_snapping.py [REACHES SITES] ...
       (default: 10000 1000, 100000 10000, 1000000 100000)
"""

from __future__ import annotations

import resource
import statistics
import sys
import time
from typing import TYPE_CHECKING

import geopandas as gpd
import numpy as np
import shapely

from watershedmap.network.snapping import place_sites
from watershedmap.network.topology import build_network

if TYPE_CHECKING:
    from collections.abc import Callable

REPEATS = 3
SIZES = (10_000, 1_000, 100_000, 10_000, 1_000_000, 100_000)
VERTICES = 8
WITHIN_M = 200.0


def draw_layer(size: int) -> gpd.GeoDataFrame:
    """Draw combs: main stems that flow west, each reach joined by a tributary from the north."""
    random = np.random.default_rng(1)
    main = np.arange(size) % 2 == 0
    row, column = np.divmod(np.arange(size) // 2, 500)
    end = np.stack([10 + column * 0.005, 40 + row * 0.005], axis=1)
    step = np.where(main[:, None], (0.005, 0.0), (0.001, 0.004))
    share = np.linspace(1, 0, VERTICES)[None, :, None]
    wiggle = random.normal(scale=1e-4, size=(size, VERTICES, 2)) * (share * (1 - share)) * 4
    lines = shapely.linestrings(end[:, None] + share * step[:, None] + wiggle)
    ids = np.array([f"r{number}" for number in range(size)], dtype=object)
    below = np.where(main, np.arange(size) - 2, np.arange(size) - 3)
    next_id = np.where((column > 0) & (below >= 0), ids[below], None)
    return gpd.GeoDataFrame(
        {
            "reach_id": ids,
            "name": np.where(main, "Stem", "Tributary"),
            "downstream_id": next_id,
            "width_m": 5.0,
            "upstream_area_km2": np.where(main, 50.0, 2.0),
        },
        geometry=lines,
        crs="EPSG:4326",
    )


def draw_sites(layer: gpd.GeoDataFrame, size: int) -> gpd.GeoDataFrame:
    """Draw sites about 20 m from places along random reaches; every other one says what its stream is."""
    random = np.random.default_rng(2)
    chosen = random.integers(0, len(layer), size)
    lines = layer.geometry.to_numpy()[chosen]
    places = shapely.get_coordinates(
        shapely.line_interpolate_point(lines, random.random(size), normalized=True)
    )
    moved = places + random.normal(scale=1.5e-4, size=places.shape)
    given = random.random(size) < 0.5
    return gpd.GeoDataFrame(
        {
            "site_id": [f"s{number}" for number in range(size)],
            "name": "",
            "stream": np.where(given, layer["name"].to_numpy()[chosen], ""),
            "upstream_area_km2": np.where(given, layer["upstream_area_km2"].to_numpy()[chosen], np.nan),
        },
        geometry=gpd.points_from_xy(*moved.T),
        crs="EPSG:4326",
    )


def median_seconds(task: Callable[[], object]) -> float:
    """Time a task a few times."""
    times = []
    for _ in range(REPEATS):
        before = time.perf_counter()
        task()
        times.append(time.perf_counter() - before)
    return statistics.median(times)


def bench(reaches: int, sites: int) -> float:
    """Print one line; return our seconds."""
    layer = draw_layer(reaches)
    network, _ = build_network(layer)
    points = draw_sites(layer, sites)
    plain = points[["site_id", "geometry"]]
    metric = plain.to_crs("EPSG:3857"), layer[["reach_id", "geometry"]].to_crs("EPSG:3857")
    ours = median_seconds(lambda: place_sites(points, layer, network, within_m=WITHIN_M))
    bare = median_seconds(lambda: place_sites(plain, layer, network, within_m=WITHIN_M))
    theirs = median_seconds(lambda: gpd.sjoin_nearest(*metric, max_distance=1.5 * WITHIN_M))
    placed, found = place_sites(points, layer, network, within_m=WITHIN_M)
    peak_mb = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    print(
        f"{reaches:9d} {sites:8d} {ours:9.2f} {bare:9.2f} {theirs:9.2f} {theirs / bare:7.2f} {peak_mb:8.0f}   "
        f"{(placed['reach'] >= 0).sum()} placed, {len(found)} notices",
        flush=True,
    )
    return ours


def main() -> None:
    """Print a line for each pair of sizes, and the exponent of the cost in the number of sites."""
    sizes = [int(text) for text in sys.argv[1:]] or list(SIZES)
    print("  reaches    sites  ours [s] plain [s] sjoin [s]   ratio peak [MB]  (ratio: sjoin / plain)")
    pairs = list(zip(sizes[::2], sizes[1::2], strict=True))
    times = [bench(*pair) for pair in pairs]
    if len(pairs) > 1:
        slope = np.polyfit(np.log([pair[1] for pair in pairs]), np.log(times), 1)[0]
        print(f"cost grows with the number of sites, and of reaches along with it, to the power {slope:.2f}")


if __name__ == "__main__":
    main()
