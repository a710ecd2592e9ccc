"""Reads the table of barriers: places where condition does not carry over along the flow.

A dam, a lake or an outfall is marked by the user; nothing in a layer tells them reliably. Whether a barrier
really stops an influence is the user's judgement: there is no published rule.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import geopandas as gpd
import pandas as pd

from watershedmap.readers.positions import read_positions
from watershedmap.readers.tables import read_table
from watershedmap.settings import TABLE_COLUMNS

if TYPE_CHECKING:
    from collections.abc import Collection
    from pathlib import Path

    from watershedmap.errors import Fault
    from watershedmap.settings import Settings

WGS84 = "EPSG:4326"


def read_barriers(
    folder: Path, settings: Settings, *, reach_ids: Collection[str] = ()
) -> tuple[gpd.GeoDataFrame, list[Fault]]:
    """Read and check the barriers, where the survey has such a table.

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
        barrier_id, name (the id where none is given), kind (free text, may be empty), reach_id (missing where
        none is given), and the point in longitude and latitude; no rows when the survey has no such table.
    list of Fault
        All faults of the table.
    """
    if "barriers" not in settings.tables:
        none = {name: pd.Series(dtype=str) for name in ("barrier_id", "name", "kind", "reach_id")}
        return gpd.GeoDataFrame(none, geometry=[], crs=WGS84), []
    names = {name: settings.column("barriers", name) for name in TABLE_COLUMNS["barriers"]}
    needed = ("barrier_id", "longitude", "latitude")
    table = read_table(folder, settings.tables["barriers"], names, required=needed)
    barrier_id = table.text("barrier_id", required=True)
    table.unique("barrier_id")
    name = table.text("name")
    longitude, latitude = read_positions(table)
    reach_id = table.text("reach_id")
    table.known("reach_id", reach_ids, where="the layer of reaches", blank=True)
    columns = {
        "barrier_id": barrier_id,
        "name": name.where(name != "", barrier_id),
        "kind": table.text("kind"),
        "reach_id": reach_id.where(reach_id != ""),
    }
    points = gpd.points_from_xy(longitude, latitude)
    return gpd.GeoDataFrame(
        pd.DataFrame(columns).reset_index(drop=True), geometry=points, crs=WGS84
    ), table.faults
