"""Reads the table of sites."""

from __future__ import annotations

from typing import TYPE_CHECKING

import geopandas as gpd
import pandas as pd
from pyproj import CRS, Transformer
from pyproj.exceptions import CRSError

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
        site_id, name, longitude, latitude (degrees, WGS 84), reach_id (missing where none is given), notes,
        and the point.
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
    longitude, latitude = _read_positions(table)
    reach_id = table.text("reach_id")
    table.known("reach_id", reach_ids, where="the layer of reaches", blank=True)
    frame = pd.DataFrame(
        {
            "site_id": site_id,
            "name": name.where(name != "", site_id),
            "longitude": longitude,
            "latitude": latitude,
            "reach_id": reach_id.where(reach_id != ""),
            "notes": table.text("notes"),
        }
    ).reset_index(drop=True)
    points = gpd.points_from_xy(frame["longitude"], frame["latitude"])
    return gpd.GeoDataFrame(frame, geometry=points, crs=WGS84), table.faults


_COLUMNS = ("site_id", "name", "longitude", "latitude", "crs", "reach_id", "notes")


def _read_positions(table: Table) -> tuple[pd.Series, pd.Series]:
    """Return longitude and latitude in WGS 84, from whatever system each row names."""
    systems = table.text("crs")
    longitude = table.number("longitude")
    latitude = table.number("latitude")
    for name in sorted(set(systems) - {""}):
        rows = systems == name
        try:
            system = CRS.from_user_input(name)
        except CRSError:
            table.report("crs", rows, "not a known coordinate system", "write an EPSG code such as EPSG:4326")
            longitude, latitude = longitude.mask(rows), latitude.mask(rows)
            continue
        change = Transformer.from_crs(system, WGS84, always_xy=True)
        longitude[rows], latitude[rows] = change.transform(longitude[rows], latitude[rows])
    fix = "give decimal degrees; if they are in another system, name it in a column crs; are the two swapped?"
    for column, values, limit in (("longitude", longitude, 180), ("latitude", latitude, 90)):
        outside = values.notna() & ~values.between(-limit, limit)
        table.report(column, outside, f"outside -{limit} to {limit} degrees", fix)
    inside = longitude.between(-180, 180) & latitude.between(-90, 90)
    return longitude.where(inside), latitude.where(inside)
