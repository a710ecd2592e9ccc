"""A whole run on a made-up network, everything but the map: time and memory, room by room, as sizes grow.

The streams are Scheidegger's (1967, Bull. Int. Assoc. Sci. Hydrol. 12:15-20): on a grid, every cell flows to one
of the three cells below it. Sites lie on random reaches, one sample a year for ten years.
Usage: python tests/bench/bench_whole.py [reaches ...]
"""

from __future__ import annotations

import multiprocessing
import resource
import sys
import tempfile
import time
from pathlib import Path

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely

YEARS = range(2015, 2025)
FAMILIES = [
    *("Baetidae", "Heptageniidae", "Perlidae", "Hydropsychidae", "Chironomidae", "Elmidae", "Simuliidae"),
    *("Gammaridae", "Asellidae", "Capniidae", "Leuctridae", "Philopotamidae", "Tipulidae", "Caenidae"),
    *("Rhyacophilidae", "Ephemerellidae"),
]
CELL = 0.01  # degrees


def draw_streams(size: int) -> gpd.GeoDataFrame:
    """Draw a network of about so many reaches of eight vertices each."""
    random = np.random.default_rng(1)
    side = round(size**0.5)
    row, column = np.divmod(np.arange(side * side), side)
    step = random.integers(-1, 2, side * side)
    below = np.clip(column + step, 0, side - 1)
    down = np.where(row > 0, (row - 1) * side + below, -1)
    at = np.stack([column, row], axis=1) * CELL + random.normal(scale=CELL / 12, size=(side * side, 2))
    to = np.where(down[:, None] >= 0, at[down], at - [0, CELL])
    share = np.linspace(0, 1, 8)[None, :, None]
    points = at[:, None] * (1 - share) + to[:, None] * share
    points[:, 1:-1] += random.normal(scale=CELL / 40, size=(side * side, 6, 2))
    ids = np.char.add("R", np.arange(side * side).astype(str))
    return gpd.GeoDataFrame(
        {"reach_id": ids, "downstream_id": np.where(down >= 0, ids[down], "")},
        geometry=shapely.linestrings(points),
        crs="EPSG:4326",
    )


def write_tables(folder: Path, streams: gpd.GeoDataFrame) -> None:
    """Write one site for twenty reaches, ten samples a site, a dozen taxa a sample."""
    random = np.random.default_rng(2)
    rows = random.choice(len(streams), len(streams) // 20, replace=False)
    middle = shapely.line_interpolate_point(streams.geometry.to_numpy()[rows], 0.5, normalized=True)
    ids = [f"S{number}" for number in range(len(rows))]
    places = {"longitude": shapely.get_x(middle).round(6), "latitude": shapely.get_y(middle).round(6)}
    pd.DataFrame({"site_id": ids, **places}).to_csv(folder / "sites.csv", index=False)
    samples = pd.DataFrame([(site, year) for site in ids for year in YEARS], columns=["site_id", "year"])
    samples["sample_id"] = samples["site_id"] + "-" + samples["year"].astype(str)
    samples["date"] = samples.pop("year").astype(str) + "-05-15"
    samples["method"] = "kick"
    samples.to_csv(folder / "samples.csv", index=False)
    counts = random.poisson(12, (len(samples), len(FAMILIES)))
    table = pd.DataFrame(
        {
            "sample_id": np.repeat(samples["sample_id"].to_numpy(dtype=object), len(FAMILIES)),
            "taxon": np.tile(np.array(FAMILIES, dtype=object), len(samples)),
            "count": counts.ravel(),
        }
    )
    table.to_csv(folder / "counts.csv", index=False)


def write_areas(folder: Path, streams: gpd.GeoDataFrame) -> None:
    """Write squares of about 250 reaches each."""
    west, south, east, north = streams.total_bounds
    width = 16 * CELL
    corners = [(x, y) for x in np.arange(west, east, width) for y in np.arange(south, north, width)]
    boxes = [shapely.box(x, y, x + width, y + width) for x, y in corners]
    ids = [f"A{number}" for number in range(len(boxes))]
    gpd.GeoDataFrame({"subwatershed_id": ids}, geometry=boxes, crs="EPSG:4326").to_file(folder / "areas.gpkg")


def write_survey(folder: Path, size: int) -> None:
    """Write the whole survey."""
    streams = draw_streams(size)
    streams.to_file(folder / "streams.gpkg")
    write_tables(folder, streams)
    write_areas(folder, streams)
    text = (
        '[survey]\ntitle = "Made up"\n[tables]\nsites = "sites.csv"\nsamples = "samples.csv"\n'
        'counts = "counts.csv"\n[layers]\nreaches = "streams.gpkg"\nsubwatersheds = "areas.gpkg"\n'
    )
    (folder / "survey.toml").write_text(text, encoding="utf-8")


def run(folder: Path) -> None:
    """Read, assess and write one survey, and print what each part took."""
    from watershedmap.assessment import assess_survey  # noqa: PLC0415 - a process of its own measures memory
    from watershedmap.render.geopackage import write_geopackage  # noqa: PLC0415 - the same
    from watershedmap.render.methods import write_methods  # noqa: PLC0415 - the same
    from watershedmap.render.tables import write_tables as write_results  # noqa: PLC0415 - the same
    from watershedmap.survey import read_survey  # noqa: PLC0415 - the same

    times = [time.perf_counter()]
    survey = read_survey(folder)
    times.append(time.perf_counter())
    assessment = assess_survey(survey)
    times.append(time.perf_counter())
    out = folder / "out"
    out.mkdir()
    write_results(assessment, out)
    write_geopackage(assessment, out / "condition.gpkg")
    write_methods(assessment, out / "methods.html")
    times.append(time.perf_counter())
    memory = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    parts = "".join(f"{seconds:9.1f}" for seconds in np.diff(times))
    print(
        f"{len(survey.reaches):9d}{len(survey.sites):7d}{len(survey.samples):9d}{parts}"
        f"{times[-1] - times[0]:9.1f}{memory:8.0f}",
        flush=True,
    )


def main(sizes: list[int]) -> None:
    """Print one line a size; each in a process of its own."""
    print("  reaches  sites  samples     read   assess    write    total      MB")
    for size in sizes:
        with tempfile.TemporaryDirectory() as scratch:
            write_survey(Path(scratch), size)
            process = multiprocessing.get_context("spawn").Process(target=run, args=(Path(scratch),))
            process.start()
            process.join()


if __name__ == "__main__":
    main([int(float(word)) for word in sys.argv[1:]] or [1_000, 10_000, 100_000])
