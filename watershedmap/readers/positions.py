"""Reads positions out of a table: longitude and latitude, or coordinates of any system that a row names."""

from __future__ import annotations

from typing import TYPE_CHECKING

from pyproj import CRS, Transformer
from pyproj.exceptions import CRSError

if TYPE_CHECKING:
    import pandas as pd

    from watershedmap.readers.tables import Table

WGS84 = "EPSG:4326"


def read_positions(table: Table) -> tuple[pd.Series, pd.Series]:
    """Return longitude and latitude in WGS 84, from whatever system each row names.

    Parameters
    ----------
    table
        With the columns longitude and latitude, and crs where a row is in another system. What is wrong with
        them is added to its faults.

    Returns
    -------
    longitude, latitude : pandas.Series
        Degrees; missing where a cell is at fault.
    """
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
