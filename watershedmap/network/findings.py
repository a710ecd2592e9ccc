"""Findings: what there is to look at in a layer, one row a place, as one frame."""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

import geopandas as gpd
import numpy as np
import pandas as pd

if TYPE_CHECKING:
    from collections.abc import Iterable

    import shapely

COLUMNS = ("finding", "severity", "ids", "note", "fix")
"""Columns of the findings, before the point."""


class Finding(NamedTuple):
    """One row of an inspection."""

    finding: str
    """Kind, a few words."""
    severity: str
    """`fault` or `notice`."""
    ids: str
    """Ids concerned, joined by "; "."""
    note: str
    """What it is."""
    fix: str
    """Remedy."""
    point: shapely.Point | None
    """Where to look."""


def frame_findings(rows: Iterable[Finding]) -> gpd.GeoDataFrame:
    """Make a frame of findings.

    Parameters
    ----------
    rows
        In the order in which they are to stand.

    Returns
    -------
    geopandas.GeoDataFrame
        finding, severity, ids, note, fix as text, and a point in longitude and latitude, or None.
    """
    listed = list(rows)
    columns = {name: pd.Series([str(row[n]) for row in listed], dtype=str) for n, name in enumerate(COLUMNS)}
    points = np.array([row.point for row in listed], dtype=object)
    return gpd.GeoDataFrame(columns, geometry=points, crs="EPSG:4326")
