"""Time and memory of a whole run at 1, 10 and 100 times the demo, each in a process of its own.

The demo is copied side by side, a shift of 0.4 degrees east each, so that every size has the same mixture.
Usage: python tests/bench/bench_pipeline.py [copies ...]
"""

from __future__ import annotations

import os
import statistics
import subprocess
import sys
import tempfile
import time
from pathlib import Path

import geopandas as gpd
import pandas as pd

DEMO = Path(__file__).parents[2] / "demo_data"
LAYERS = DEMO.parent / "layers"
REPEATS = 3
SHIFT = 0.4


def copy_table(name: str, keys: tuple[str, ...], copies: int, folder: Path) -> None:
    """Write a table `copies` times under new ids, in the style of the demo."""
    source = pd.read_csv(DEMO / name, dtype=str, keep_default_na=False)
    parts = []
    for number in range(copies):
        part = source.copy()
        for key in keys:
            part[key] = f"{number}-" + part[key]
        if "longitude" in part:
            part["longitude"] = (part["longitude"].astype(float) + SHIFT * number).round(6).astype(str)
        parts.append(part)
    pd.concat(parts).to_csv(folder / name, index=False)


def copy_layer(name: str, keys: tuple[str, ...], copies: int, folder: Path) -> None:
    """Write a layer `copies` times under new ids, side by side."""
    source = gpd.read_file(LAYERS / name)
    parts = []
    for number in range(copies):
        part = source.copy()
        for key in keys:
            part[key] = (f"{number}-" + part[key]).where(part[key].notna())
        part["geometry"] = part.geometry.translate(SHIFT * number)
        parts.append(part)
    pd.concat(parts).to_file(folder / name)


def build(copies: int, folder: Path) -> None:
    """Write a survey of so many demos."""
    copy_table("sites.csv", ("site_id",), copies, folder)
    copy_table("samples.csv", ("sample_id", "site_id"), copies, folder)
    copy_table("counts.csv", ("sample_id",), copies, folder)
    copy_layer("streams.gpkg", ("reach_id", "downstream_id"), copies, folder)
    copy_layer("subwatersheds.gpkg", ("subwatershed_id",), copies, folder)
    text = (DEMO / "survey.toml").read_text(encoding="utf-8").replace("../layers/", "")
    (folder / "survey.toml").write_text(text, encoding="utf-8")


def measure(folder: Path) -> tuple[float, float]:
    """Run the command once; return seconds of wall time and peak memory in MB."""
    command = [
        sys.executable,
        "-m",
        "watershedmap",
        "run",
        "-q",
        str(folder),
        "-o",
        str(folder.parent / "out"),
    ]
    before = time.perf_counter()
    process = subprocess.Popen(command, stdout=subprocess.DEVNULL)
    _, _, usage = os.wait4(process.pid, 0)
    return time.perf_counter() - before, usage.ru_maxrss / 1024


def main(sizes: list[int]) -> None:
    """Print one line a size, and how cost grows from the first to the last."""
    print(f"{'copies':>6} {'reaches':>8} {'samples':>8} {'seconds':>8} {'MB':>6}  median of {REPEATS}")
    figures = []
    for copies in sizes:
        with tempfile.TemporaryDirectory() as scratch:
            folder = Path(scratch) / "survey"
            folder.mkdir()
            build(copies, folder)
            runs = [measure(folder) for _ in range(REPEATS)]
        seconds, memory = (statistics.median(values) for values in zip(*runs, strict=True))
        figures.append((copies, seconds))
        print(f"{copies:6d} {145 * copies:8d} {417 * copies:8d} {seconds:8.2f} {memory:6.0f}", flush=True)
    if len(figures) > 1:
        (small, first), (large, last) = figures[0], figures[-1]
        print(f"{large / small:.0f} times the data took {last / first:.1f} times the time")


if __name__ == "__main__":
    main([int(word) for word in sys.argv[1:]] or [1, 10, 100])
