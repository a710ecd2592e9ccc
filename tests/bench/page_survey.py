"""A survey of any size for the bench of the page: meandering streams of one tree, few sites, invented data.

The streams are a spanning tree, by random weights, of jittered points about a kilometre apart, drained to one
corner. Each reach has 15 points along a gentle curve with noise. One reach in some hundred carries a site.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from scipy.sparse import coo_matrix
from scipy.sparse.csgraph import breadth_first_order, minimum_spanning_tree

if TYPE_CHECKING:
    from pathlib import Path

    from numpy.typing import NDArray

POINTS = 15
"""Points of a reach."""
SPACING = 0.01
"""Degrees between neighbouring confluences; about a kilometre."""
WEST, SOUTH = 10.0, 45.0
YEARS = range(2016, 2026)
NAMED_FROM = 40
"""Reaches upstream from which a stream has a name."""
LIMITS = {"A": 80, "B": 60, "C": 40, "D": 20, "E": None}
"""Classes of the scores, best first, and their worse ends."""


def draw_tree(size: int, random: np.random.Generator) -> tuple[NDArray[np.float64], NDArray[np.intp]]:
    """Draw points, and the point that each drains to; the first drains nowhere."""
    side = int(np.ceil(np.sqrt(size + 1)))
    cell = np.arange(size + 1)
    row, column = cell // side, cell % side
    points = np.column_stack([column, row]) + random.uniform(-0.35, 0.35, (size + 1, 2))
    across = cell[(column < side - 1) & (cell + 1 <= size)]
    along = cell[cell + side <= size]
    start = np.concatenate([across, along])
    end = np.concatenate([across + 1, along + side])
    weights = random.uniform(0.1, 1.0, len(start))
    graph = coo_matrix((weights, (start, end)), shape=(size + 1, size + 1))
    _, before = breadth_first_order(minimum_spanning_tree(graph), 0, directed=False)
    return points * SPACING + [WEST, SOUTH], before.astype(np.intp)


def draw_lines(
    upper: NDArray[np.float64], lower: NDArray[np.float64], random: np.random.Generator
) -> gpd.GeoSeries:
    """Draw a curve with noise from each upper to each lower end."""
    along = np.linspace(0.0, 1.0, POINTS)
    way = lower - upper
    across = np.column_stack([-way[:, 1], way[:, 0]])
    waves = sum(
        random.normal(0, 0.12 / n, (len(way), 1)) * np.sin(np.pi * n * along) for n in range(1, 5)
    ) + random.normal(0, 0.01, (len(way), POINTS)) * np.sin(np.pi * along)
    vertices = upper[:, None] + along[:, None] * way[:, None] + waves[:, :, None] * across[:, None]
    return gpd.GeoSeries(shapely.linestrings(vertices.round(6)), crs="EPSG:4326")


def name_streams(before: NDArray[np.intp], random: np.random.Generator) -> list[str]:
    """Name the way up from each confluence along its larger branch."""
    size = len(before)
    order = np.argsort(_depth(before), kind="stable")
    above = np.ones(size, dtype=int)
    for node in order[::-1][:-1]:
        above[before[node]] += above[node]
    largest = np.zeros(size, dtype=np.intp)
    for node in order[1:]:
        if above[node] > above[largest[before[node]]] or largest[before[node]] == 0:
            largest[before[node]] = node
    names = [""] * size
    for node in order[1:]:
        main = largest[before[node]] == node and before[node] != 0
        if above[node] >= NAMED_FROM:
            names[node] = names[before[node]] if main else f"Stream {random.integers(1, 10**6)}"
    return names[1:]


def _depth(before: NDArray[np.intp]) -> NDArray[np.intp]:
    """Count the steps to the root by doubling them."""
    far = np.where(before < 0, 0, before)
    depth = (np.arange(len(before)) != 0).astype(np.intp)
    while far.any():
        depth, far = depth + depth[far], far[far]
    return depth


def write_survey(size: int, folder: Path, *, sites: int = 300) -> None:
    """Write a survey folder with so many reaches."""
    random = np.random.default_rng(5)
    points, before = draw_tree(size, random)
    ids = np.array([f"R{number:06d}" for number in range(1, size + 1)], dtype=object)
    down = [None if before[node] == 0 else ids[before[node] - 1] for node in range(1, size + 1)]
    lines = draw_lines(points[1:], points[before[1:]], random)
    frame = {"reach_id": ids, "name": name_streams(before, random), "downstream_id": down}
    gpd.GeoDataFrame(frame, geometry=lines).to_file(folder / "streams.gpkg")
    chosen = random.choice(size, min(sites, size // 4), replace=False)
    at = shapely.get_coordinates(shapely.line_interpolate_point(lines.array[chosen], 0.5, normalized=True))
    keys = [f"S{number:04d}" for number in range(len(chosen))]
    pd.DataFrame({"site_id": keys, "name": keys, "longitude": at[:, 0], "latitude": at[:, 1]}).to_csv(
        folder / "sites.csv", index=False
    )
    level, slope = random.uniform(5, 95, len(keys)), random.normal(0, 2, len(keys))
    rows = [
        {
            "site_id": key,
            "date": f"{year}-05-04",
            "score": np.clip(base + rise * (year - 2016) + random.normal(0, 4), 0, 100),
        }
        for key, base, rise in zip(keys, level, slope, strict=True)
        for year in YEARS
    ]
    pd.DataFrame(rows).round(3).to_csv(folder / "scores.csv", index=False)
    (folder / "survey.toml").write_text(_settings(size), encoding="utf-8")


def _settings(size: int) -> str:
    bands = (
        f'[[index.classes]]\nlabel = "{label}"\n' + (f"limit = {limit}\n" if limit is not None else "")
        for label, limit in LIMITS.items()
    )
    return (
        f'[survey]\ntitle = "{size:,} reaches"\nabout = "Invented, for a bench."\n'
        '[tables]\nsites = "sites.csv"\nscores = "scores.csv"\n'
        '[layers]\nreaches = "streams.gpkg"\n[index]\nuse = "scores"\nbetter = "high"\n' + "".join(bands)
    )
