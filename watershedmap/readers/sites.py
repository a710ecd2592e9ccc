"""Reads the table of sites."""

from __future__ import annotations

from typing import TYPE_CHECKING

import geopandas as gpd
import pandas as pd

from watershedmap.readers.positions import read_positions
from watershedmap.readers.tables import Table, read_table

if TYPE_CHECKING:
    from collections.abc import Collection
    from pathlib import Path

    from watershedmap.errors import Fault
    from watershedmap.settings import Settings

WGS84 = "EPSG:4326"


def read_sites(
    folder: Path, settings: Settings, *, reach_ids: Collection[str] = ()
) -> tuple[gpd.GeoDataFrame, list[Fault]]:
    """Read and check the sites.

    Parameters
    ----------
    folder
        The survey folder.
    settings
        Its settings.
    reach_ids
        Ids of the stream layer, against which a reach id in the table is checked.

    Returns
    -------
    geopandas.GeoDataFrame
        site_id, name, longitude, latitude (degrees, WGS 84), reach_id (missing where none is given), stream
        (name of the stream it lies on, empty where none is given), upstream_area_km2 (what drains to it,
        square kilometres, missing where none is given), notes, and the point.
    list of Fault
        All faults of the table.
    """
    names = {name: settings.column("sites", name) for name in _COLUMNS}
    table = read_table(folder, settings.tables["sites"], names, required=("site_id", "longitude", "latitude"))
    site_id = table.text("site_id", required=True)
    table.unique("site_id")
    fix = "use another character: a semicolon parts the ids where several stand in one cell"
    table.report("site_id", site_id.str.contains(";"), "a semicolon in an id", fix)
    name = table.text("name")
    longitude, latitude = read_positions(table)
    reach_id = table.text("reach_id")
    table.known("reach_id", reach_ids, where="the layer of reaches", blank=True)
    frame = pd.DataFrame(
        {
            "site_id": site_id,
            "name": name.where(name != "", site_id),
            "longitude": longitude,
            "latitude": latitude,
            "reach_id": reach_id.where(reach_id != ""),
            "stream": table.text("stream"),
            "upstream_area_km2": _read_area(table),
            "notes": table.text("notes"),
        }
    ).reset_index(drop=True)
    points = gpd.points_from_xy(frame["longitude"], frame["latitude"])
    return gpd.GeoDataFrame(frame, geometry=points, crs=WGS84), table.faults


_COLUMNS = (
    "site_id",
    "name",
    "longitude",
    "latitude",
    "crs",
    "reach_id",
    "stream",
    "upstream_area_km2",
    "notes",
)


def _read_area(table: Table) -> pd.Series:
    """Return drainage areas, missing where none is given."""
    area_km2 = table.number("upstream_area_km2", required=False)
    fix = "give the area that drains to the site in square kilometres, or leave the cell empty"
    table.report("upstream_area_km2", area_km2 <= 0, "a drainage area is more than 0", fix)
    return area_km2.where(area_km2 > 0)
