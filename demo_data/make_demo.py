"""
Make the invented survey of the invented Larkwater watershed: tables in `demo_data`, layers in `layers`.

Run ``python demo_data/make_demo.py`` to write the files again. The same libraries write the same bytes:
every draw has a fixed seed, and the layers carry a fixed date in place of a clock. No place, stream, sample
or animal in it is real.
"""

from __future__ import annotations

import sys
from pathlib import Path
from typing import TYPE_CHECKING

import geopandas as gpd
import numpy as np
import pandas as pd
import pyogrio
import shapely
from story import SITES, STREAM_NAMES, SUBWATERSHED_NAMES
from streams import make_reaches, place_cells, to_degrees
from subwatersheds import make_polygons, settle_labels, split_basin
from terrain import end_at_outlet, make_flow
from visits import fill_samples, list_visits, spoil_tables

if TYPE_CHECKING:
    from streams import Reach

TERRAIN_SEED, VISIT_SEED, ANIMAL_SEED = 8, 2016, 2042
"""The last was picked among forty so that no site meant to be steady shows a trend by chance."""

GRID = (300, 320)
"""Rows and columns of the terrain; the watershed takes a part of it."""

AGES = 40
"""Time steps for which streams cut into the terrain."""

WRITTEN_AT = "2026-01-01T00:00:00.000Z"
"""The date the layers carry, whenever they are written."""


def make_layers() -> tuple[list[Reach], list[shapely.Polygon]]:
    """Return the reaches and the polygons of the sub-watersheds."""
    rng = np.random.Generator(np.random.PCG64(TERRAIN_SEED))
    flow, basin = end_at_outlet(make_flow(rng, GRID, AGES))
    corner, centre = place_cells(flow, basin, rng)
    reaches = make_reaches(flow, basin, centre)
    label = split_basin(flow, basin, reaches, len(SUBWATERSHED_NAMES))
    return reaches, make_polygons(settle_labels(label.reshape(flow.shape)), corner)


def tabulate_streams(reaches: list[Reach]) -> gpd.GeoDataFrame:
    """Return the stream layer: id, name and downstream id of every reach."""
    columns = {
        "reach_id": [reach.reach_id for reach in reaches],
        "name": [STREAM_NAMES.get(reaches[reach.stem].reach_id) for reach in reaches],
        "downstream_id": [reaches[r.downstream].reach_id if r.downstream >= 0 else None for r in reaches],
    }
    lines = [shapely.LineString(to_degrees(reach.line)) for reach in reaches]
    return gpd.GeoDataFrame(pd.DataFrame(columns, dtype=object), geometry=lines, crs="EPSG:4326")


def tabulate_subwatersheds(polygons: list[shapely.Polygon]) -> gpd.GeoDataFrame:
    """Return the area layer: id and name of every sub-watershed."""
    columns = {
        "subwatershed_id": [f"SW{number:02d}" for number in range(1, len(polygons) + 1)],
        "name": list(SUBWATERSHED_NAMES),
    }
    return gpd.GeoDataFrame(pd.DataFrame(columns, dtype=object), geometry=polygons, crs="EPSG:4326")


def tabulate_sites(reaches: list[Reach]) -> pd.DataFrame:
    """Return the table of sites, each set beside its reach at the distance the story gives."""
    lines = {reach.reach_id: shapely.LineString(reach.line) for reach in reaches}
    rows = []
    for site in SITES:
        line = lines[site.reach_id]
        here = site.along * line.length
        ends = [line.interpolate(here + step) for step in (-1, 0, 1)]
        (x0, y0), (x, y), (x1, y1) = (end.coords[0] for end in ends)
        left = np.array([y0 - y1, x1 - x0])
        spot = np.array([x, y]) + site.offset_m * left / np.sqrt((left**2).sum())
        longitude, latitude = to_degrees(spot[None, :])[0]
        rows.append((site.site_id, site.name, f"{longitude:.6f}", f"{latitude:.6f}", site.notes))
    return pd.DataFrame(rows, columns=["site_id", "name", "longitude", "latitude", "notes"])


def write_table(table: pd.DataFrame, path: Path) -> None:
    """Write a table as UTF-8 with a header and plain line ends."""
    table.to_csv(path, index=False, encoding="utf-8", lineterminator="\n")


def write_layer(layer: gpd.GeoDataFrame, path: Path) -> None:
    """Write a layer as a GeoPackage that carries a fixed date."""
    path.unlink(missing_ok=True)
    pyogrio.set_gdal_config_options({"OGR_CURRENT_DATE": WRITTEN_AT})
    try:
        layer.to_file(path, driver="GPKG", layer=path.stem, engine="pyogrio")
    finally:
        pyogrio.set_gdal_config_options({"OGR_CURRENT_DATE": None})


def main(folder: Path) -> None:
    """Write the tables to `folder/demo_data` and the layers to `folder/layers`."""
    tables, layers = folder / "demo_data", folder / "layers"
    for place in (tables, layers):
        place.mkdir(parents=True, exist_ok=True)
    reaches, polygons = make_layers()
    write_layer(tabulate_streams(reaches), layers / "streams.gpkg")
    write_layer(tabulate_subwatersheds(polygons), layers / "subwatersheds.gpkg")
    write_table(tabulate_sites(reaches), tables / "sites.csv")
    visits = list_visits(np.random.Generator(np.random.PCG64(VISIT_SEED)))
    write_table(visits[["sample_id", "site_id", "date", "method", "replicate"]], tables / "samples.csv")
    counts = fill_samples(np.random.Generator(np.random.PCG64(ANIMAL_SEED)), visits)
    counts = spoil_tables(visits, counts)
    write_table(counts, tables / "counts.csv")
    print(f"{len(reaches)} reaches, {len(SITES)} sites, {len(visits)} samples, {len(counts)} counts")


if __name__ == "__main__":
    main(Path(sys.argv[1]) if len(sys.argv) > 1 else Path(__file__).resolve().parent.parent)
